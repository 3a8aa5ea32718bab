// Do the stated standard deviations hold? Random cells of known values are fitted, and it is
// counted how often the truth lies within 1.96 of them. Every case counts once in a line, with one
// SOC node drawn for it, so that the counts follow the binomial law. VOLTKEEL_COVERAGE_CELLS=1000
// takes that many cells in the fit of whole pulse tests.

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string>
#include <vector>

#include "support/coverage.hpp"
#include "support/example_cell.hpp"
#include "support/made_tests.hpp"
#include "voltkeel/cell/ocv.hpp"
#include "voltkeel/fit/fit_cell.hpp"
#include "voltkeel/fit/pulse_test.hpp"
#include "voltkeel/fit/single_pulse.hpp"

using voltkeel::Cell;
using voltkeel::fit_pulses;
using voltkeel::fit_single_pulse;
using voltkeel::Log;
using voltkeel::PulseFit;
using voltkeel::PulseFitSettings;
using voltkeel::PulseForm;
using voltkeel::SinglePulseFit;
using voltkeel::SinglePulseSettings;
using voltkeel_test::Band;
using voltkeel_test::made_log;
using voltkeel_test::MadeTester;
using voltkeel_test::Random;
using voltkeel_test::Table;
using voltkeel_test::Tally;
using voltkeel_test::text_of;

namespace {

double log_uniform(Random& random, double low, double high) {
    return low * std::pow(high / low, random.uniform(0, 1));
}

/// Values of a single pulse log, in the order of the fit's parameters.
struct PulseTruth {
    double ocv_V{0};
    double r0_ohm{0};
    double branch_ohm{0};
    double branch_time_s{0};
    double fifth{0};        ///< R2, or the slope of the OCV in V/Ah.
    double slow_time_s{0};  ///< 0 in the lumped form.
};

/// One to four pulses of any sign and length with rests in between, by superposition of the answers
/// to every change of current.
Log random_pulses(const PulseTruth& truth, double voltage_std_V, Random& random) {
    Log log;
    log.source = "pulses";
    const double step_s = truth.branch_time_s / random.uniform(5, 25);
    const bool uneven = random.whole(0, 2) == 0;
    const double swing_A = random.uniform(0.05, 0.3) / truth.r0_ohm;
    struct Change {
        double at_s, step_A;
    };
    std::vector<Change> changes;
    double t = 0;
    double flowing_A = 0;
    double charge_Ah = 0;
    const auto write = [&](double current_A) {
        double voltage_V = truth.ocv_V + truth.r0_ohm * current_A + voltage_std_V * random.normal();
        for (const Change& change : changes) {
            const double since_s = t - change.at_s;
            voltage_V -=
                change.step_A * truth.branch_ohm * std::expm1(-since_s / truth.branch_time_s);
            if (truth.slow_time_s > 0)
                voltage_V -= change.step_A * truth.fifth * std::expm1(-since_s / truth.slow_time_s);
        }
        if (!(truth.slow_time_s > 0)) voltage_V += truth.fifth * charge_Ah;
        log.time_s.push_back(t);
        log.current_A.push_back(current_A);
        log.voltage_V.push_back(voltage_V);
        log.temperature_degC.push_back(25);
    };
    const auto hold = [&](double current_A, double duration_s) {
        if (current_A != flowing_A) changes.push_back({t, current_A - flowing_A});
        flowing_A = current_A;
        const int rows = static_cast<int>(duration_s / step_s) + 2;
        for (int k = 0; k < rows; ++k) {
            const double dt_s = step_s * (uneven ? random.uniform(0.5, 1.5) : 1);
            t += dt_s;
            charge_Ah += current_A * dt_s / 3600;
            write(current_A);
        }
    };
    write(0);
    const int pulses = random.whole(1, 4);
    hold(0, 10 * step_s);
    for (int pulse = 0; pulse < pulses; ++pulse) {
        const double sign = random.whole(0, 1) == 0 ? -1 : 1;
        hold(sign * swing_A * random.uniform(0.5, 1), truth.branch_time_s * random.uniform(1, 8));
        hold(0, truth.branch_time_s * random.uniform(1, 12));
    }
    return log;
}

/// Cells of the fit of whole pulse tests.
int cells_asked_for() {
    const char* const text = std::getenv("VOLTKEEL_COVERAGE_CELLS");
    if (text == nullptr) return 40;
    const int cells = std::atoi(text);
    if (cells < 1) throw std::runtime_error("VOLTKEEL_COVERAGE_CELLS must be a whole number > 0");
    return cells;
}

/// A Gaussian over the SOC nodes: every node by itself about `mean`, second differences about 0.
std::vector<double> smooth_draw(const std::vector<double>& node_std,
                                const std::vector<double>& bend_std, Random& random) {
    const auto n = static_cast<Eigen::Index>(node_std.size());
    Eigen::MatrixXd precision = Eigen::MatrixXd::Zero(n, n);
    for (Eigen::Index k = 0; k < n; ++k) {
        const double std = node_std[static_cast<std::size_t>(k)];
        precision(k, k) += 1 / (std * std);
        if (k == 0 || k + 1 == n) continue;
        Eigen::VectorXd bend = Eigen::VectorXd::Zero(n);
        bend[k - 1] = bend[k + 1] = 1;
        bend[k] = -2;
        precision += bend * bend.transpose() / std::pow(bend_std[static_cast<std::size_t>(k)], 2);
    }
    Eigen::VectorXd z(n);
    for (Eigen::Index k = 0; k < n; ++k)
        z[k] = random.normal();
    const Eigen::VectorXd x = precision.llt().matrixU().solve(z);
    return {x.data(), x.data() + n};
}

/// How a level that all nodes share is drawn.
enum class Level {
    of_the_fit,  ///< As the fit holds it: every node by itself is near the usual value.
    stated,      ///< All nodes together, by the spread that the setting states for one.
};

/// What one cell is and how it was tested.
struct Drawn {
    Cell truth;
    Cell base;  ///< What the fit is given.
    Log log;
    double scale_V{0};
    double initial_soc{1};
};

constexpr double capacity_Ah = 5;

/// Median of voltage step over current step: what the fit measures its usual values by.
double edge_ohm_of(const Log& log) {
    std::vector<double> found;
    for (std::size_t k = 1; k < log.size(); ++k) {
        const double step_A = log.current_A[k] - log.current_A[k - 1];
        if (std::abs(step_A) >= 0.3 * capacity_Ah)
            found.push_back((log.voltage_V[k] - log.voltage_V[k - 1]) / step_A);
    }
    std::sort(found.begin(), found.end());
    return found[(found.size() - 1) / 2];
}

/// A cell out of the fit's own prior. The usual values and the spreads of 1.5 and 2 are not
/// settings; they are those of src/fit/pulse_test.cpp.
Drawn draw_cell(const PulseFitSettings& settings, Level level, double voltage_std_V,
                std::uint64_t salt, Random& random) {
    const int branches = settings.branches;
    const std::size_t n = static_cast<std::size_t>(settings.soc_nodes);
    voltkeel_test::MadeCellShape shape;
    shape.branches = branches;
    shape.soc_nodes = settings.soc_nodes;
    Drawn drawn;
    drawn.base = voltkeel_test::made_cell(shape);
    drawn.base.resistance = {};
    drawn.base.capacity_Ah_std = 0.004 * capacity_Ah;
    Cell& truth = drawn.truth;
    truth = drawn.base;
    truth.capacity_Ah = capacity_Ah * std::exp(0.004 * random.normal());

    const auto soc_at = [&](std::size_t k) {
        return static_cast<double>(k) / static_cast<double>(n - 1);
    };
    const auto nodes = voltkeel::ocv_nodes<double>(drawn.base.ocv);
    const voltkeel::OcvTable<double> ocv{nodes.data(), static_cast<int>(nodes.size()), 25};
    std::vector<double> ocv_node_std, ocv_bend_std;
    for (std::size_t k = 0; k < n; ++k) {
        const double slope_V = voltkeel::ocv_at(ocv, std::min(soc_at(k) + 0.01, 1.0), 25.0).slope_V;
        const double std_V = std::hypot(settings.ocv_std_V, settings.ocv_soc_std * slope_V);
        const double share = level == Level::stated ? std::sqrt(static_cast<double>(n)) : 1;
        ocv_node_std.push_back(share * std_V);
        ocv_bend_std.push_back(0.3 * std_V);
    }
    const std::vector<double> shift_V = smooth_draw(ocv_node_std, ocv_bend_std, random);
    for (std::size_t i = 0; i < truth.ocv.soc.size(); ++i) {
        const double at = truth.ocv.soc[i] * static_cast<double>(n - 1);
        const std::size_t k = std::min(static_cast<std::size_t>(at), n - 2);
        const double shift =
            shift_V[k] + (at - static_cast<double>(k)) * (shift_V[k + 1] - shift_V[k]);
        truth.ocv.discharge_V[i] += shift;
        truth.ocv.charge_V[i] += shift;
    }

    // ln R over a usual value, for R0, the branches and the charge transfer.
    std::vector<std::vector<double>> ln(static_cast<std::size_t>(branches) + 2);
    std::vector<double> share_of_edge(ln.size(), 0.5);
    for (std::size_t q = 0; q < ln.size(); ++q) {
        const bool slow = branches > 1 && q == static_cast<std::size_t>(branches);
        const double std = q == 0 ? 1.5 : slow ? settings.slow_log_std : 2.0;
        std::vector<double> bend_std;
        for (std::size_t k = 0; k < n; ++k) {
            const bool turns = q > 0 && (soc_at(k) < 0.22 || soc_at(k) > 0.9);
            bend_std.push_back(turns ? settings.smoothness_ends : settings.smoothness);
        }
        const double share =
            slow && level == Level::stated ? std::sqrt(static_cast<double>(n)) : 1.0;
        ln[q] = smooth_draw(std::vector<double>(n, share * std), bend_std, random);
        if (slow) share_of_edge[q] = 0.4;
    }
    share_of_edge[0] = 1;

    const std::vector<std::vector<double>> usual_s{{40}, {10, 1500}, {2, 40, 2400}};
    auto& grid = truth.resistance;
    grid.temperature_degC = {25};
    for (std::size_t k = 0; k < n; ++k)
        grid.soc.push_back(soc_at(k));
    grid.branches.resize(static_cast<std::size_t>(branches));
    // The logarithm of a time constant walks over the knots, from the one at middle SOC.
    const auto times_over_soc = [&](double usual, double log_std, double step_log_std) {
        const std::vector<double> knots{0, 0.08, 0.16, 0.3, 0.55, 0.8, 1};
        constexpr std::size_t middle = 4;
        std::vector<double> log_s(knots.size(), std::log(usual) + log_std * random.normal());
        for (std::size_t k = middle + 1; k < knots.size(); ++k)
            log_s[k] = log_s[k - 1] + step_log_std * random.normal();
        for (std::size_t k = middle; k-- > 0;)
            log_s[k] = log_s[k + 1] + step_log_std * random.normal();
        std::vector<double> time_s;
        for (std::size_t k = 0; k < n; ++k) {
            std::size_t j = 0;
            while (j + 2 < knots.size() && soc_at(k) >= knots[j + 1])
                ++j;
            const double share = (soc_at(k) - knots[j]) / (knots[j + 1] - knots[j]);
            time_s.push_back(std::exp(log_s[j] + share * (log_s[j + 1] - log_s[j])));
        }
        return time_s;
    };
    std::vector<std::vector<double>> times_s;
    for (int i = 0; i < branches; ++i) {
        const bool slow = branches > 1 && i + 1 == branches;
        times_s.push_back(times_over_soc(
            usual_s[static_cast<std::size_t>(branches - 1)][static_cast<std::size_t>(i)],
            slow ? settings.slow_time_log_std : settings.time_log_std,
            slow ? settings.slow_time_log_std : settings.time_step_log_std));
    }
    const std::vector<double> transfer_times_s =
        times_over_soc(0.5, settings.transfer_time_log_std, settings.time_step_log_std);
    drawn.scale_V = 0.06 * std::exp(settings.transfer_scale_log_std * random.normal());
    MadeTester tester{"made", 1 + settings.full_soc_std * random.normal(), 25, 0, 0, salt};
    const auto program = voltkeel_test::pulse_program(capacity_Ah);

    // R0 stands; the usual values of the others follow the edges, which they are part of.
    const double base_ohm = 0.09 / capacity_Ah;
    double edge_ohm = base_ohm;
    for (int turn = 0; turn < 4; ++turn) {
        const auto values = [&](std::size_t q) {
            std::vector<double> ohm;
            for (const double x : ln[q])
                ohm.push_back((q == 0 ? base_ohm : share_of_edge[q] * edge_ohm) * std::exp(x));
            return ohm;
        };
        grid.r0_ohm = {values(0)};
        for (std::size_t i = 0; i < grid.branches.size(); ++i) {
            grid.branches[i].resistance_ohm = {values(1 + i)};
            grid.branches[i].time_s = {times_s[i]};
        }
        if (settings.charge_transfer) {
            auto& transfer = grid.charge_transfer.emplace();
            transfer.scale_V = {std::vector<double>(n, drawn.scale_V)};
            transfer.time_s = {transfer_times_s};
            transfer.exchange_current_A.emplace_back();
            for (const double ohm : values(ln.size() - 1))
                transfer.exchange_current_A[0].push_back(drawn.scale_V / ohm);
        }
        if (turn < 3) edge_ohm = edge_ohm_of(made_log(truth, program, tester));
    }
    tester.voltage_std_V = voltage_std_V;
    drawn.initial_soc = tester.initial_soc;
    drawn.log = made_log(truth, program, tester);
    return drawn;
}

struct Coverage {
    Table one_node;  ///< One node a cell.
    Table all_nodes;
    int refused{0};
};

/// Fits random cells; quantities are told apart by `group`.
template <class Group>
Coverage cover(int cells, Level level, std::uint64_t salt, Group&& group) {
    Coverage found;
    for (int c = 0; c < cells; ++c) {
        Random random(salt + static_cast<std::uint64_t>(c));
        PulseFitSettings settings;
        settings.soc_nodes = 11;
        settings.branches = 1 + c % 3;
        settings.charge_transfer = c / 3 % 2 == 1;
        const double noise_V = log_uniform(random, 3e-4, 3e-3);
        const Drawn drawn =
            draw_cell(settings, level, noise_V, 2 * salt + static_cast<std::uint64_t>(c), random);
        const auto node = static_cast<std::size_t>(random.whole(1, 10));
        const std::string suffix = group(settings, noise_V);
        PulseFit fit;
        try {
            fit = fit_pulses({&drawn.log}, drawn.base, nullptr, settings);
        } catch (const voltkeel::Error&) {
            ++found.refused;
            continue;
        }
        const auto add = [&](const std::string& name, double error, double std) {
            found.one_node[name + suffix].add(error, std);
        };
        const auto add_nodes = [&](const std::string& name, const std::vector<double>& ohm,
                                   const std::vector<double>& log_std, const auto& true_ohm) {
            for (std::size_t k = 1; k < ohm.size(); ++k) {
                const double error = std::log(ohm[k] / true_ohm(k));
                found.all_nodes[name + suffix].add(error, log_std[k]);
                if (k == node) add(name, error, log_std[k]);
            }
        };
        const auto& grid = drawn.truth.resistance;
        add_nodes("R0", fit.r0_ohm, fit.r0_log_std,
                  [&](std::size_t k) { return grid.r0_ohm[0][k]; });
        // The branch and, where there are two fast ones, the node are drawn: one count a cell.
        const std::size_t fast_branches = std::max<std::size_t>(fit.branches.size(), 2) - 1;
        const std::size_t fast =
            static_cast<std::size_t>(random.whole(0, static_cast<int>(fast_branches) - 1));
        for (std::size_t i = 0; i < fit.branches.size(); ++i) {
            const bool slow = i >= fast_branches;
            if (!slow && i != fast) continue;
            const auto& branch = fit.branches[i];
            add_nodes(slow ? "slow R" : "fast R", branch.resistance_ohm, branch.resistance_log_std,
                      [&](std::size_t k) { return grid.branches[i].resistance_ohm[0][k]; });
            add(slow ? "slow time" : "fast time",
                std::log(branch.time_s[node] / grid.branches[i].time_s[0][node]),
                branch.time_log_std[node]);
        }
        add("capacity", fit.capacity_Ah - drawn.truth.capacity_Ah, fit.capacity_Ah_std);
        add("start SOC", fit.initial_soc[0] - drawn.initial_soc, fit.initial_soc_std[0]);
        if (!fit.charge_transfer) continue;
        const auto& transfer = *fit.charge_transfer;
        add_nodes("transfer R", transfer.resistance_ohm, transfer.resistance_log_std,
                  [&](std::size_t k) {
                      return drawn.scale_V / grid.charge_transfer->exchange_current_A[0][k];
                  });
        add("transfer time",
            std::log(transfer.time_s[node] / grid.charge_transfer->time_s[0][node]),
            transfer.time_log_std[node]);
        add("transfer scale", std::log(transfer.scale_V / drawn.scale_V), transfer.scale_log_std);
    }
    return found;
}

std::string title_of(const char* what, int cells, int refused) {
    return std::string(what) + ", " + std::to_string(cells) + " cells, " + std::to_string(refused) +
           " refused";
}

}  // namespace

TEST_CASE("95 % intervals of single pulses", "[fit][coverage]") {
    Table table;
    int refused = 0;
    constexpr int rounds = 1000;
    for (int round = 0; round < rounds; ++round) {
        Random random(81000 + static_cast<std::uint64_t>(round));
        const bool lumped = round % 2 == 1;
        PulseTruth truth;
        truth.ocv_V = random.uniform(3.1, 4.1);
        truth.r0_ohm = log_uniform(random, 5e-4, 0.1);
        truth.branch_ohm = truth.r0_ohm * log_uniform(random, 0.3, 2);
        truth.branch_time_s = log_uniform(random, 2, 60);
        truth.fifth =
            lumped ? random.uniform(0.01, 1) : truth.r0_ohm * log_uniform(random, 0.2, 1.5);
        truth.slow_time_s = lumped ? 0 : truth.branch_time_s * random.uniform(5, 20);
        const Log log = random_pulses(truth, log_uniform(random, 1e-4, 2e-3), random);
        SinglePulseSettings settings;
        settings.form = lumped ? PulseForm::lumped : PulseForm::two_branches;
        if (!lumped) settings.slow_time_s = truth.slow_time_s;
        SinglePulseFit fit;
        try {
            fit = fit_single_pulse(log, settings);
        } catch (const voltkeel::Error&) {
            ++refused;
            continue;
        }
        const std::string form = lumped ? "lumped: " : "two branches: ";
        table[form + "OCV"].add(fit.ocv_V - truth.ocv_V, fit.ocv_V_std);
        table[form + "R0"].add(fit.r0_ohm - truth.r0_ohm, fit.r0_ohm_std);
        table[form + "R1"].add(fit.branch_ohm - truth.branch_ohm, fit.branch_ohm_std);
        table[form + "time"].add(fit.branch_time_s - truth.branch_time_s, fit.branch_time_s_std);
        if (lumped) {
            table[form + "slope"].add(fit.ocv_slope_V_per_Ah - truth.fifth,
                                      fit.ocv_slope_V_per_Ah_std);
        } else {
            table[form + "R2"].add(fit.slow_ohm - truth.fifth, fit.slow_ohm_std);
        }
    }
    WARN(text_of(title_of("Single pulses", rounds, refused), table));
    CHECK(refused <= rounds / 20);
    for (const auto& [name, tally] : table) {
        const Band band(tally.cases);
        CAPTURE(name, tally.cases, tally.inside, band.low, band.high);
        CHECK(tally.inside >= band.low);
        CHECK(tally.inside <= band.high);
    }
}

TEST_CASE("95 % intervals of whole pulse tests", "[fit][coverage][long]") {
    const int cells = cells_asked_for();
    const Coverage found =
        cover(cells, Level::of_the_fit, 82000, [](const PulseFitSettings& settings, double noise) {
            return std::string(settings.charge_transfer ? ", transfer" : ", plain") +
                   (noise < 1e-3 ? ", below 1 mV" : ", 1 mV or more");
        });
    WARN(text_of(title_of("Pulse tests, one node a cell", cells, found.refused), found.one_node));
    WARN(text_of("The same, all nodes", found.all_nodes));
    int cases = 0;
    int inside = 0;
    for (const auto& [name, tally] : found.one_node) {
        cases += tally.cases;
        inside += tally.inside;
    }
    // The values of one cell are right or wrong together: taken as a third as many.
    const double chance = 3 * std::sqrt(0.95 * 0.05 * 3 / cases);
    CAPTURE(cases, inside, chance);
    CHECK(found.refused <= cells / 20);
    CHECK(inside >= (0.93 - chance) * cases);
    CHECK(inside <= (0.97 + chance) * cases);
}

TEST_CASE("95 % intervals with levels as the settings state them", "[fit][coverage][.]") {
    const int cells = cells_asked_for();
    const Coverage found =
        cover(cells, Level::stated, 84000, [](const PulseFitSettings& settings, double noise) {
            return std::string(settings.charge_transfer ? ", transfer" : ", plain") +
                   (noise < 1e-3 ? ", below 1 mV" : ", 1 mV or more");
        });
    WARN(text_of(title_of("Pulse tests, one node a cell", cells, found.refused), found.one_node));
}

TEST_CASE("95 % intervals of the entropy, and of where a test starts in mid-charge",
          "[fit][coverage][long]") {
    // Of cells whose entropy is as usual (a spread of 0.2 mV/K, see src/fit/fit_cell.cpp), from
    // pulse tests at 25 and 5 degC, the colder one from full or from where somebody left it: that
    // one says nothing of the entropy, as its rests were spent on where it starts.
    const int cells = cells_asked_for();
    Table table;
    for (int c = 0; c < cells; ++c) {
        Random random(86000 + static_cast<std::uint64_t>(c));
        voltkeel_test::MadeCellShape shape;
        shape.branches = 2;
        shape.entropy_V_per_K = 0.2e-3 * random.normal();
        const Cell truth = voltkeel_test::made_cell(shape);
        const auto salt = 3 * static_cast<std::uint64_t>(c) + 87000;
        const double noise_V = log_uniform(random, 3e-4, 3e-3);
        const bool from_full = c % 2 != 0;
        const double start_soc = from_full ? 1 : random.uniform(0.55, 0.9);
        const Log slow =
            made_log(truth, voltkeel_test::slow_program(5), {"slow", 1, 25, noise_V, 0, salt});
        const Log warm =
            made_log(truth, voltkeel_test::pulse_program(5), {"warm", 1, 25, noise_V, 0, salt + 1});
        const Log cold = made_log(truth, voltkeel_test::pulse_program(5, 6),
                                  {"cold", start_soc, 5, noise_V, 0, salt + 2});
        voltkeel::FitSettings settings;
        settings.choose_form = false;
        settings.passes = 2;
        settings.pulses.branches = 2;
        settings.pulses.charge_transfer = false;
        settings.pulses.soc_nodes = 21;
        const voltkeel::FitResult fit = fit_cell(slow, {warm, cold}, settings);
        const auto& ocv = fit.cell.ocv;
        const PulseFit& colder = fit.pulses.front();
        const std::size_t node =
            static_cast<std::size_t>(random.uniform(colder.soc_low + 0.02, start_soc) * 200);
        REQUIRE(ocv.entropy_V_per_K_std.size() == ocv.soc.size());
        table[from_full ? "entropy, cold test from full" : "entropy, cold test from mid-charge"]
            .add(ocv.entropy_V_per_K[node] - shape.entropy_V_per_K, ocv.entropy_V_per_K_std[node]);
        table[from_full ? "start SOC full, cold" : "start SOC in mid-charge"].add(
            colder.initial_soc[0] - start_soc, colder.initial_soc_std[0]);
        table["start SOC full"].add(fit.pulses.back().initial_soc[0] - 1,
                                    fit.pulses.back().initial_soc_std[0]);
    }
    WARN(text_of(title_of("Fits of cells", cells, 0), table));
    for (const auto& [name, tally] : table) {
        const Band band(tally.cases);
        CAPTURE(name, tally.cases, tally.inside, band.low, band.high);
        CHECK(tally.inside >= band.low);
        // Where a test starts is held by more than its prior knows of.
        if (name.find("entropy") == 0) CHECK(tally.inside <= band.high);
    }
}

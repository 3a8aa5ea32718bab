#include "voltkeel/fit/fit_cell.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

#include "fit/statistics.hpp"
#include "io/number_text.hpp"
#include "voltkeel/cell/model.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/fit/thermal.hpp"
#include "voltkeel/version.hpp"

namespace voltkeel {

namespace {

/// Logs that share a temperature, warmest group first.
std::vector<std::vector<std::size_t>> temperature_groups(const std::vector<Log>& pulses,
                                                         const FitSettings& settings) {
    std::vector<double> median_degC;
    for (const Log& log : pulses) {
        check_log(log);
        if (log.size() < 20) throw Error(log.source + ": a pulse test needs at least 20 rows");
        const double low = quantile(log.temperature_degC, 0.02);
        const double high = quantile(log.temperature_degC, 0.98);
        if (high - low > settings.widest_temperature_K) {
            throw Error(log.source + ": temperature_degC runs from " + number_text(low) + " to " +
                        number_text(high) + "; one pulse test must stay within " +
                        number_text(settings.widest_temperature_K) +
                        " K. Split the file by temperature");
        }
        median_degC.push_back(quantile(log.temperature_degC, 0.5));
    }
    std::vector<std::size_t> order(pulses.size());
    std::iota(order.begin(), order.end(), 0U);
    std::sort(order.begin(), order.end(),
              [&](std::size_t a, std::size_t b) { return median_degC[a] > median_degC[b]; });
    std::vector<std::vector<std::size_t>> groups;
    for (const std::size_t k : order) {
        if (groups.empty() ||
            median_degC[groups.back().front()] - median_degC[k] > settings.same_temperature_K)
            groups.emplace_back();
        groups.back().push_back(k);
    }
    return groups;
}

/// Writes the fits (warmest first) into the cell's grids (coldest first).
void set_resistance(Cell& cell, const std::vector<PulseFit>& fits) {
    ResistanceGrid grid;
    grid.soc = fits.front().soc;
    grid.branches.resize(fits.front().branches.size());
    const auto spread = [](const std::vector<double>& value, const std::vector<double>& log_std) {
        std::vector<double> result(value.size());
        for (std::size_t k = 0; k < value.size(); ++k)
            result[k] = value[k] * log_std[k];
        return result;
    };
    for (auto fit = fits.rbegin(); fit != fits.rend(); ++fit) {
        grid.temperature_degC.push_back(fit->temperature_degC);
        grid.r0_ohm.push_back(fit->r0_ohm);
        grid.r0_ohm_std.push_back(spread(fit->r0_ohm, fit->r0_log_std));
        for (std::size_t i = 0; i < grid.branches.size(); ++i) {
            const PulseFit::Branch& from = fit->branches[i];
            BranchGrid& to = grid.branches[i];
            to.resistance_ohm.push_back(from.resistance_ohm);
            to.resistance_ohm_std.push_back(spread(from.resistance_ohm, from.resistance_log_std));
            to.time_s.emplace_back(grid.soc.size(), from.time_s);
            to.time_s_std.emplace_back(grid.soc.size(), from.time_s * from.time_log_std);
        }
    }
    cell.resistance = std::move(grid);
}

/// What the current of the slow test puts on the OCV, row by row, according to the cell as fitted
/// so far.
std::vector<double> slow_overvoltage_V(const Log& log, const SlowTest& test, const Cell& cell) {
    return with_branches(cell.resistance.branches.size(), [&](auto n) {
        constexpr int branches = decltype(n)::value;
        const CellTables<double, branches> tables(cell);
        const CellParameters<double, branches> parameters = tables.parameters();
        CellState<double, branches> state;
        std::vector<double> overvoltage_V(log.size(), 0.0);
        for (std::size_t k = 0; k < log.size(); ++k) {
            const double temperature_degC = log.temperature_degC[k];
            state.soc = std::clamp(test.soc[k > 0 ? k - 1 : 0], 0.0, 1.0);
            if (k > 0)
                step(parameters,
                     {log.current_A[k], log.time_s[k] - log.time_s[k - 1], temperature_degC},
                     state);
            state.soc = std::clamp(test.soc[k], 0.0, 1.0);
            overvoltage_V[k] =
                voltage_at(parameters, state, log.current_A[k], temperature_degC).overvoltage_V;
        }
        return overvoltage_V;
    });
}

const PulseFit& nearest_fit(const std::vector<PulseFit>& fits, double temperature_degC) {
    return *std::min_element(fits.begin(), fits.end(), [&](const PulseFit& a, const PulseFit& b) {
        return std::abs(a.temperature_degC - temperature_degC) <
               std::abs(b.temperature_degC - temperature_degC);
    });
}

double at_soc(const PulseFit& fit, const std::vector<double>& values, double soc) {
    const AxisPosition<double> at =
        locate(uniform_axis(0.0, 1.0, static_cast<int>(fit.soc.size())), soc);
    const auto k = static_cast<std::size_t>(at.index);
    return values[k] + at.fraction * (values[k + 1] - values[k]);
}

/// Adds what the pulse tests at the reference temperature saw of the OCV in their rests.
void shift_ocv(OcvCurve& ocv, const PulseFit& fit) {
    for (std::size_t k = 0; k < ocv.soc.size(); ++k) {
        const double shift_V = at_soc(fit, fit.ocv_shift_V, ocv.soc[k]);
        ocv.discharge_V[k] += shift_V;
        ocv.charge_V[k] += shift_V;
        ocv.voltage_std_V[k] =
            std::hypot(ocv.voltage_std_V[k], at_soc(fit, fit.ocv_shift_std_V, ocv.soc[k]));
    }
    for (auto* branch : {&ocv.discharge_V, &ocv.charge_V}) {
        for (std::size_t k = 1; k < branch->size(); ++k)
            (*branch)[k] = std::max((*branch)[k], (*branch)[k - 1] + 1e-7);
    }
}

/// Change of the OCV with temperature, from the shifts at the tested temperatures: least squares
/// through the reference temperature, drawn towards what was known before.
std::vector<double> entropy_V_per_K(const std::vector<PulseFit>& fits, const OcvCurve& ocv) {
    const PulseFit& reference = nearest_fit(fits, ocv.reference_temperature_degC);
    constexpr double usual_std_V_per_K =
        0.2e-3;  // published range -0.4 .. +0.3 mV/K over chemistries (from memory, not re-read)
    std::vector<double> entropy(ocv.soc.size(), 0.0);
    for (std::size_t k = 0; k < ocv.soc.size(); ++k) {
        const double soc = ocv.soc[k];
        const double before = ocv.entropy_V_per_K.empty() ? 0.0 : ocv.entropy_V_per_K[k];
        double information = 1 / (usual_std_V_per_K * usual_std_V_per_K);
        double sum = 0;
        for (const PulseFit& fit : fits) {
            const double warmer_K = fit.temperature_degC - ocv.reference_temperature_degC;
            if (&fit == &reference || std::abs(warmer_K) < 3 || soc < fit.soc_low) continue;
            const double std_V = std::hypot(0.003, at_soc(fit, fit.ocv_shift_std_V, soc),
                                            at_soc(reference, reference.ocv_shift_std_V, soc));
            const double seen_V = at_soc(fit, fit.ocv_shift_V, soc) -
                                  at_soc(reference, reference.ocv_shift_V, soc) + before * warmer_K;
            information += warmer_K * warmer_K / (std_V * std_V);
            sum += warmer_K * seen_V / (std_V * std_V);
        }
        entropy[k] = std::clamp(sum / information, -1e-3, 1e-3);
    }
    return entropy;
}

/// The slow resistance to a charging current near full, from the rest that follows the slow charge:
/// how much more the voltage falls than the model says. Needs half an hour of rest.
void set_charge_rise(Cell& cell, const Log& log, const SlowTest& test) {
    cell.charge_rise = {};
    if (!(test.charge.charge_Ah > 0) || test.charge.last + 2 >= log.size()) return;
    constexpr double fast_is_over_s = 60;
    constexpr double shortest_rest_s = 1800;
    constexpr double longest_rest_s = 7200;
    const double end_s = log.time_s[test.charge.last];
    std::size_t from = 0;
    std::size_t to = 0;
    for (std::size_t k = test.charge.last + 1;
         k < log.size() && log.time_s[k] - end_s <= longest_rest_s; ++k) {
        if (std::abs(log.current_A[k]) > 0.1 * test.charge.mean_current_A) break;
        if (std::abs(log.temperature_degC[k] - log.temperature_degC[test.charge.last]) > 2) break;
        if (from == 0 && log.time_s[k] - end_s >= fast_is_over_s - 1) from = k;
        to = k;
    }
    const double soc = std::min(test.soc[test.charge.last], 1.0);
    if (from == 0 || log.time_s[to] - end_s < shortest_rest_s || soc < 0.9) return;
    with_branches(cell.resistance.branches.size(), [&](auto n) {
        constexpr int branches = decltype(n)::value;
        const CellTables<double, branches> tables(cell);
        const auto parameters = tables.parameters();
        const double temperature_degC = log.temperature_degC[test.charge.last];
        const double current_A = test.charge.mean_current_A;
        const auto node = resistance_at(parameters.resistance, soc, temperature_degC).value;
        const double from_s = log.time_s[from] - end_s;
        const double to_s = log.time_s[to] - end_s;
        // Every branch had hours to fill at this current; each then decays by itself.
        double model_V = 0;
        for (int i = 0; i < branches; ++i) {
            model_V += current_A * node.branch_ohm[i] *
                       (std::exp(-from_s / node.branch_time_s[i]) -
                        std::exp(-to_s / node.branch_time_s[i]));
        }
        const double slow_s = node.branch_time_s[branches - 1];
        const double share = std::exp(-from_s / slow_s) - std::exp(-to_s / slow_s);
        // A branch that is over before the first minute is tells nothing here: a millivolt of noise
        // would pass for a resistance as large as the cell's.
        constexpr double least_share = 0.3;
        if (share < least_share) return;
        const double rise = (soc - cell.charge_rise.soc_start) / (1 - cell.charge_rise.soc_start);
        const double per_ohm_V = current_A * share * rise;
        const double extra_ohm = (log.voltage_V[from] - log.voltage_V[to] - model_V) / per_ohm_V;
        if (extra_ohm > 0) {
            cell.charge_rise.resistance_ohm = extra_ohm;
            cell.charge_rise.resistance_ohm_std = std::hypot(0.002 / per_ohm_V, 0.3 * extra_ohm);
        }
    });
}

void set_defaults(Cell& cell, const SlowTest& slow, const std::vector<PulseFit>& fits) {
    const auto rounded = [](double value, double step) { return std::round(value / step) * step; };
    cell.window.voltage_min_V = rounded(slow.voltage_min_V, 0.01);
    cell.window.voltage_max_V = rounded(slow.voltage_max_V, 0.01);
    double discharge_A = 0;
    for (const PulseFit& fit : fits)
        discharge_A = std::max(discharge_A, fit.largest_discharge_A);
    const double c = cell.capacity_Ah;
    CurrentGrid table;
    table.duration_s = 30;
    table.soc = {0, 1};
    table.temperature_degC = {-20, 0, 10, 25, 45, 60};
    const auto row = [](double value) { return std::vector<double>{value, value}; };
    for (const double charge_A : {0.0, 0.0, 0.5 * c, c, c, 0.0})
        table.charge_A.push_back(row(charge_A));
    for (int k = 0; k < 5; ++k)
        table.discharge_A.push_back(row(discharge_A));
    table.discharge_A.push_back(row(0));
    cell.current_limits = {table};
    const double full_V = cell.window.voltage_max_V;
    cell.charge.zone_count = 2;
    cell.charge.zones[0] = {0, 10, 0.5 * c, full_V};
    cell.charge.zones[1] = {10, 45, c, full_V};
    cell.charge.end_current_A = 0.02 * c;
    auto& notes = cell.provenance.notes;
    notes.emplace_back(
        "Assumed, replace by the maker's data sheet: temperature windows, charge zones and the "
        "charge side of the current "
        "table are common practice (no charging below 0 degC, 0.5 C to 10 degC, 1 C to 45 degC, "
        "end at C/50).");
    notes.push_back(
        "The discharge side of the current table is the largest current met in the tests, " +
        number_text(discharge_A) + " A; the data sheet may allow less.");
    notes.emplace_back(
        "Assumed: the extra slow resistance near full (charge_rise), measured at one SOC in the "
        "rest after the slow charge, "
        "starts at 80 % SOC and is the same at every temperature.");
    notes.push_back("Assumed: hysteresis_rate " + number_text(cell.hysteresis_rate) + ".");
}

}  // namespace

FitResult fit_cell(const Log& slow, const std::vector<Log>& pulses, const FitSettings& settings,
                   const FitProgress& progress) {
    if (pulses.empty()) throw Error("a cell fit needs at least one pulse test");
    if (settings.passes < 1 || settings.passes > 20)
        throw Error("passes: " + std::to_string(settings.passes) + " is outside 1 .. 20");
    const auto report = [&](double share, const std::string& stage) {
        if (progress && !progress(share, stage)) throw Error("cancelled");
    };
    report(0, "slow test");
    FitResult result;
    Cell& cell = result.cell;
    result.slow = read_slow_test(slow, settings.slow);
    cell.name = settings.name;
    cell.capacity_Ah = result.slow.capacity_Ah;
    cell.capacity_Ah_std = result.slow.capacity_Ah_std;
    cell.hysteresis_rate = settings.hysteresis_rate;
    cell.ocv = ocv_curve(slow, result.slow, {}, settings.slow);

    const auto groups = temperature_groups(pulses, settings);
    std::vector<PulseFit> fits(groups.size());
    const double jobs = static_cast<double>(groups.size()) * settings.passes + 1;
    double done = 0;
    for (int pass = 0; pass < settings.passes; ++pass) {
        for (std::size_t g = 0; g < groups.size(); ++g) {
            std::vector<const Log*> logs;
            for (const std::size_t k : groups[g])
                logs.push_back(&pulses[k]);
            const double share = done / jobs;
            const std::string stage =
                "round " + std::to_string(pass + 1) + " of " + std::to_string(settings.passes) +
                ", " + number_text(quantile(logs.front()->temperature_degC, 0.5), "%.0f") + " degC";
            const auto keep_going = [&] { return !progress || progress(share, stage); };
            fits[g] =
                fit_pulses(logs, cell, g > 0 ? &fits[g - 1] : nullptr, settings.pulses, keep_going);
            done += 1;
        }
        set_resistance(cell, fits);
        if (cell.charge.zone_count == 0) set_defaults(cell, result.slow, fits);
        if (cell.thermal.heat_capacity_J_per_K <= 0) cell.thermal = {50, 25, 10, 10, "assumed"};
        set_charge_rise(cell, slow, result.slow);
        const std::vector<double> entropy = entropy_V_per_K(fits, cell.ocv);
        if (pass + 1 < settings.passes) {
            cell.ocv = ocv_curve(slow, result.slow, slow_overvoltage_V(slow, result.slow, cell),
                                 settings.slow);
        } else {
            shift_ocv(cell.ocv, nearest_fit(fits, cell.ocv.reference_temperature_degC));
        }
        cell.ocv.entropy_V_per_K = entropy;
    }
    report(done / jobs, "thermal");
    cell.thermal = fit_thermal(pulses, cell);

    Provenance& provenance = cell.provenance;
    provenance.made_by = "voltkeel " VOLTKEEL_VERSION;
    provenance.notes.insert(provenance.notes.begin(), result.slow.notes.begin(),
                            result.slow.notes.end());
    SourceFile slow_file;
    slow_file.role = "slow test";
    slow_file.name = slow.source;
    slow_file.rows = slow.size();
    slow_file.temperature_degC = result.slow.temperature_degC;
    provenance.files.push_back(slow_file);
    for (std::size_t g = 0; g < groups.size(); ++g) {
        for (std::size_t k = 0; k < groups[g].size(); ++k) {
            const Log& log = pulses[groups[g][k]];
            SourceFile file;
            file.role = "pulse test";
            file.name = log.source;
            file.rows = log.size();
            file.temperature_degC = fits[g].temperature_degC;
            file.initial_soc = fits[g].initial_soc[k];
            file.residual_rms_V = fits[g].residual_rms_V[k];
            provenance.files.push_back(file);
        }
    }
    std::reverse(fits.begin(), fits.end());
    result.pulses = std::move(fits);
    check(cell);
    report(1, "done");
    return result;
}

}  // namespace voltkeel

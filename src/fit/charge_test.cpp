#include "voltkeel/fit/charge_test.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>

#include "fit/least_squares.hpp"
#include "fit/open_loop.hpp"
#include "fit/statistics.hpp"
#include "io/number_text.hpp"
#include "voltkeel/cell/model.hpp"
#include "voltkeel/error.hpp"

namespace voltkeel {

namespace {

// Where the rise may start: the bounds of a logistic curve, well inside those of validate().
constexpr double lowest_start = 0.3;
constexpr double highest_start = 0.97;

double start_of(double x) {
    return lowest_start + (highest_start - lowest_start) / (1 + std::exp(-x));
}

/// One charge, and the rows of it that are compared.
struct ChargeLog {
    const Log* log{nullptr};
    std::size_t last{0};  ///< Last row of the charge.
    double largest_A{0};
    double temperature_degC{25};
    double charge_Ah{0};
    double counted_soc{0};  ///< At the first row, counted back from full.
    double counted_soc_std{0};
    std::vector<std::size_t> rows;
    std::vector<double> weight;  ///< Of each of them, by time and place.
    std::vector<bool> above;     ///< Charging, above `soc_from`.
    std::vector<double> std_V;   ///< Expected of the model there.
    double weight_share{1};      ///< One over the number of charges like this one.
};

[[noreturn]] void fail(const Log& log, const std::string& text) {
    throw Error(log.source + ": " + text);
}

ChargeLog read_charge(const Log& log, const Cell& cell, const ChargeTestSettings& settings) {
    check_log(log);
    if (log.size() < 10)
        fail(log, "a charge needs at least 10 rows, this log has " + std::to_string(log.size()));
    ChargeLog charge;
    charge.log = &log;
    charge.largest_A = *std::max_element(log.current_A.begin(), log.current_A.end());
    const double rest_A = 0.01 * cell.capacity_Ah;
    if (!(charge.largest_A > 2 * rest_A)) {
        fail(log, "no charge found: the largest current_A is " + number_text(charge.largest_A) +
                      "; charging is positive");
    }
    if (std::abs(log.current_A.front()) > rest_A) {
        fail(log, "starts under a current of " + number_text(log.current_A.front()) +
                      " A; cut it to start at rest");
    }
    // The charge ends where the current last was more than a trickle; what comes after is rest.
    const double trickle_A = std::min(rest_A, 0.01 * charge.largest_A);
    for (std::size_t k = 0; k < log.size(); ++k) {
        if (log.current_A[k] > trickle_A) charge.last = k;
    }
    const double end_A = log.current_A[charge.last];
    if (end_A > settings.taper_share * charge.largest_A) {
        fail(log, "row " + std::to_string(charge.last) + ": the charge ends at " +
                      number_text(end_A) + " A, above " +
                      number_text(settings.taper_share * charge.largest_A) +
                      " A: without its taper nothing says that the cell was full");
    }
    std::vector<double> temperatures;
    double gain = 0;
    for (std::size_t k = 1; k <= charge.last; ++k) {
        const double charge_Ah =
            log.current_A[k] * (log.time_s[k] - log.time_s[k - 1]) / seconds_per_hour<double>;
        charge.charge_Ah += charge_Ah;
        gain += (charge_Ah > 0 ? cell.coulombic_efficiency : 1) * charge_Ah / cell.capacity_Ah;
        gain -= cell.self_discharge_per_s * (log.time_s[k] - log.time_s[k - 1]);
        if (log.current_A[k] > trickle_A) temperatures.push_back(log.temperature_degC[k]);
    }
    charge.temperature_degC = quantile(temperatures, 0.5);
    charge.counted_soc = 1 - gain;
    charge.counted_soc_std =
        std::hypot(settings.full_soc_std, gain * cell.capacity_Ah_std / cell.capacity_Ah);
    if (charge.counted_soc < -0.05 - 3 * charge.counted_soc_std) {
        fail(log, "takes " + number_text(charge.charge_Ah) + " Ah until full, the cell holds " +
                      number_text(cell.capacity_Ah) + " Ah");
    }
    charge.counted_soc = std::clamp(charge.counted_soc, 0.0, 1.0);
    double since_s = settings.row_s;
    double soc = charge.counted_soc;
    for (std::size_t k = 1; k < log.size(); ++k) {
        const double dt_s = log.time_s[k] - log.time_s[k - 1];
        soc += log.current_A[k] * dt_s / (seconds_per_hour<double> * cell.capacity_Ah);
        since_s += dt_s;
        if (k > charge.last && log.time_s[k] - log.time_s[charge.last] > settings.rest_s) break;
        if (since_s < settings.row_s) continue;
        charge.rows.push_back(k);
        charge.weight.push_back(std::min(1.0, since_s / settings.independent_s) *
                                (soc > settings.soc_from ? 1 : settings.weight_below));
        charge.above.push_back(soc > settings.soc_from && k <= charge.last);
        since_s = 0;
    }
    return charge;
}

/// A charge of about the same current and temperature.
bool alike(const ChargeLog& a, const ChargeLog& b) {
    constexpr double same_current = 1.25;
    constexpr double same_temperature_K = 5;
    return a.largest_A < same_current * b.largest_A && b.largest_A < same_current * a.largest_A &&
           std::abs(a.temperature_degC - b.temperature_degC) < same_temperature_K;
}

template <int Branches, bool Transfer>
ChargeTestFit fit_with(std::vector<ChargeLog>& charges, const Cell& cell,
                       const ChargeTestSettings& settings,
                       const std::function<bool()>& keep_going) {
    const CellTables<double, Branches, Transfer> tables(cell);
    CellParameters<double, Branches, Transfer> parameters = tables.parameters();
    const double usual_ohm = direct_current_resistance_ohm(
        resistance_at(parameters.resistance, 0.5, charges.front().temperature_degC).value);

    const int branch = detail::usual_rise_branch(
        resistance_at(parameters.resistance, 1.0, charges.front().temperature_degC).value);
    parameters.charge_rise.branch = branch;

    // Unknowns: ln of the rise, start (logistic), then for every charge the SOC at its first row
    // and ln of the scale of all resistances.
    enum { log_resistance, start, first_soc };
    const auto logs = static_cast<Eigen::Index>(charges.size());
    const Eigen::Index first_scale = first_soc + logs;
    const Eigen::Index unknowns = first_scale + logs;
    Eigen::VectorXd x(unknowns);
    Eigen::VectorXd steps(unknowns);
    const double share = (settings.soc_start - lowest_start) / (highest_start - lowest_start);
    x[log_resistance] = std::log(usual_ohm);
    x[start] = std::log(share / (1 - share));
    steps[log_resistance] = steps[start] = 1e-4;
    Eigen::Index values = unknowns;
    for (Eigen::Index f = 0; f < logs; ++f) {
        x[first_soc + f] = charges[static_cast<std::size_t>(f)].counted_soc;
        steps[first_soc + f] = 1e-6;
        x[first_scale + f] = 0;
        steps[first_scale + f] = 1e-4;
        values += static_cast<Eigen::Index>(charges[static_cast<std::size_t>(f)].rows.size());
    }
    const auto run_charge = [&](const ChargeLog& charge, double initial_soc, double log_scale,
                                auto&& action) {
        CellState<double, Branches, Transfer> state;
        state.soc = initial_soc;
        state.resistance_scale = std::exp(log_scale);
        state.hysteresis = -1;  // emptied before it is filled
        detail::run_open_loop(parameters, *charge.log, state, charge.rows, action);
    };
    // With the overvoltage of the cell as it came: weights that moved with the unknowns would
    // favour a large overvoltage.
    for (ChargeLog& charge : charges) {
        run_charge(charge, charge.counted_soc, 0, [&](std::size_t, const auto&, const auto& point) {
            charge.std_V.push_back(std::hypot(
                settings.voltage_std_V, settings.overvoltage_share_std * point.overvoltage_V));
        });
    }
    const auto residuals = [&](const Eigen::VectorXd& at, Eigen::VectorXd& out, int moved) {
        parameters.charge_rise.resistance_ohm = std::exp(at[log_resistance]);
        parameters.charge_rise.soc_start = start_of(at[start]);
        out[log_resistance] =
            (at[log_resistance] - std::log(usual_ohm)) / settings.resistance_log_std;
        out[start] = (start_of(at[start]) - settings.soc_start) / settings.soc_start_std;
        Eigen::Index row = unknowns;
        for (Eigen::Index f = 0; f < logs; ++f) {
            const ChargeLog& charge = charges[static_cast<std::size_t>(f)];
            if (moved < first_soc || moved == first_soc + f || moved == first_scale + f) {
                // Charges that are alike share what the priors allow for, too.
                const double prior = std::sqrt(charge.weight_share);
                out[first_soc + f] =
                    prior * (at[first_soc + f] - charge.counted_soc) / charge.counted_soc_std;
                out[first_scale + f] = prior * at[first_scale + f] / settings.scale_log_std;
                run_charge(charge, at[first_soc + f], at[first_scale + f],
                           [&](std::size_t j, const auto&, const auto& point) {
                               out[row + static_cast<Eigen::Index>(j)] =
                                   std::sqrt(charge.weight[j] * charge.weight_share) *
                                   (point.voltage_V - charge.log->voltage_V[charge.rows[j]]) /
                                   charge.std_V[j];
                           });
            }
            row += static_cast<Eigen::Index>(charge.rows.size());
        }
    };
    const detail::DifferencedLeastSquares problem(steps, values, residuals, [&] {
        if (keep_going && !keep_going()) throw Error("cancelled");
    });
    const detail::Minimum minimum =
        detail::minimize(problem, x, {1e-8, 1e-7, settings.max_iterations});

    Eigen::VectorXd left(values);
    problem(x, left);
    Eigen::MatrixXd jacobian(values, x.size());
    problem.df(x, jacobian);
    const Eigen::MatrixXd covariance = detail::covariance_of(jacobian);
    // Where the model errs by more than the settings say, so do the unknowns.
    double weights = 0;
    for (const ChargeLog& charge : charges) {
        for (const double weight : charge.weight)
            weights += weight * charge.weight_share;
    }
    const double excess =
        std::sqrt(std::max(1.0, left.tail(values - unknowns).squaredNorm() / weights));

    ChargeTestFit fit;
    fit.iterations = minimum.iterations;
    const auto std_of = [&](Eigen::Index k) { return excess * std::sqrt(covariance(k, k)); };
    fit.rise.resistance_ohm = std::exp(x[log_resistance]);
    fit.rise.resistance_ohm_std = fit.rise.resistance_ohm * std_of(log_resistance);
    fit.rise.soc_start = start_of(x[start]);
    fit.rise.branch = branch + 1 == Branches ? -1 : branch;
    fit.soc_start_std = (fit.rise.soc_start - lowest_start) * (highest_start - fit.rise.soc_start) /
                        (highest_start - lowest_start) * std_of(start);
    const auto keep_rms = [&](std::vector<double>& rms, const ChargeRiseFit& rise) {
        parameters.charge_rise = {rise.soc_start, rise.resistance_ohm, rise.branch};
        for (std::size_t f = 0; f < charges.size(); ++f) {
            const ChargeLog& charge = charges[f];
            double sum = 0;
            run_charge(charge, x[first_soc + static_cast<Eigen::Index>(f)],
                       x[first_scale + static_cast<Eigen::Index>(f)],
                       [&](std::size_t j, const auto&, const auto& point) {
                           const double error_V =
                               point.voltage_V - charge.log->voltage_V[charge.rows[j]];
                           if (charge.above[j]) sum += error_V * error_V;
                       });
            const auto count = std::count(charge.above.begin(), charge.above.end(), true);
            rms.push_back(std::sqrt(sum / std::max(1.0, static_cast<double>(count))));
        }
    };
    keep_rms(fit.residual_before_rms_V, cell.charge_rise);
    keep_rms(fit.residual_rms_V, fit.rise);
    for (std::size_t f = 0; f < charges.size(); ++f) {
        const auto at = first_soc + static_cast<Eigen::Index>(f);
        fit.initial_soc.push_back(std::clamp(x[at], 0.0, 1.0));
        fit.initial_soc_std.push_back(std_of(at));
        fit.resistance_scale.push_back(std::exp(x[first_scale + static_cast<Eigen::Index>(f)]));
        fit.charge_Ah.push_back(charges[f].charge_Ah);
        fit.charge_rows_used.push_back(charges[f].rows.size());
        fit.rows_used += charges[f].rows.size();
    }
    if (fit.rise.resistance_ohm < 1.5 * fit.rise.resistance_ohm_std) {
        fit.notes.push_back("The charges hardly show a rise: " +
                            number_text(1e3 * fit.rise.resistance_ohm, "%.2g") + " mohm, std " +
                            number_text(1e3 * fit.rise.resistance_ohm_std, "%.2g") + ".");
    }
    if (excess > 1.5) {
        fit.notes.push_back("The model misses the charges by " + number_text(excess, "%.1f") +
                            " times what was expected of it; the spreads are grown by as much.");
    }
    return fit;
}

}  // namespace

ChargeTestFit fit_charge_rise(const std::vector<Log>& charges, const Cell& cell,
                              const ChargeTestSettings& settings,
                              const std::function<bool()>& keep_going) {
    if (charges.empty()) throw Error("a charge fit needs at least one charge");
    struct Bounded {
        const char* field;
        double value;
        double low;
        double high;
    };
    for (const Bounded& b :
         {Bounded{"soc_from", settings.soc_from, 0, 0.99},
          {"weight_below", settings.weight_below, 0, 1},
          {"taper_share", settings.taper_share, 1e-3, 0.9},
          {"full_soc_std", settings.full_soc_std, 1e-6, 0.2},
          {"voltage_std_V", settings.voltage_std_V, 1e-6, 1},
          {"overvoltage_share_std", settings.overvoltage_share_std, 0, 10},
          {"independent_s", settings.independent_s, 1e-3, 1e6},
          {"row_s", settings.row_s, 0, 3600},
          {"rest_s", settings.rest_s, 0, 1e6},
          {"scale_log_std", settings.scale_log_std, 1e-6, 5},
          {"resistance_log_std", settings.resistance_log_std, 1e-3, 20},
          {"soc_start", settings.soc_start, lowest_start + 0.01, highest_start - 0.01},
          {"soc_start_std", settings.soc_start_std, 1e-4, 10},
          {"max_iterations", static_cast<double>(settings.max_iterations), 1, 1e4}}) {
        if (!(b.value >= b.low) || !(b.value <= b.high)) {
            throw Error(std::string(b.field) + ": " + number_text(b.value) + " is outside " +
                        number_text(b.low) + " .. " + number_text(b.high));
        }
    }
    std::vector<ChargeLog> read;
    read.reserve(charges.size());
    for (const Log& log : charges)
        read.push_back(read_charge(log, cell, settings));
    for (ChargeLog& charge : read) {
        charge.weight_share = 1.0 / static_cast<double>(std::count_if(
                                        read.begin(), read.end(), [&](const ChargeLog& other) {
                                            return alike(charge, other);
                                        }));
    }
    return with_form(cell, [&](auto form) {
        return fit_with<decltype(form)::branches, decltype(form)::transfer>(read, cell, settings,
                                                                            keep_going);
    });
}

}  // namespace voltkeel

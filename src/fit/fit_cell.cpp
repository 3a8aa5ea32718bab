#include "voltkeel/fit/fit_cell.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>
#include <utility>

#include "fit/common_practice.hpp"
#include "fit/model_errors.hpp"
#include "fit/open_loop.hpp"
#include "fit/statistics.hpp"
#include "fit/unit_doubts.hpp"
#include "io/number_text.hpp"
#include "voltkeel/cell/model.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/fit/thermal.hpp"
#include "voltkeel/io/cell_file.hpp"
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
        if (fit->charge_transfer) {
            const ChargeTransferFit& from = *fit->charge_transfer;
            ChargeTransferGrid& to =
                grid.charge_transfer ? *grid.charge_transfer : grid.charge_transfer.emplace();
            std::vector<double> exchange_A;
            std::vector<double> exchange_log_std;
            for (std::size_t k = 0; k < grid.soc.size(); ++k) {
                exchange_A.push_back(from.scale_V / from.resistance_ohm[k]);
                exchange_log_std.push_back(
                    std::hypot(from.scale_log_std, from.resistance_log_std[k]));
            }
            to.scale_V.emplace_back(grid.soc.size(), from.scale_V);
            to.scale_V_std.emplace_back(grid.soc.size(), from.scale_V * from.scale_log_std);
            to.exchange_current_A.push_back(exchange_A);
            to.exchange_current_A_std.push_back(spread(exchange_A, exchange_log_std));
            to.time_s.push_back(from.time_s);
            to.time_s_std.push_back(spread(from.time_s, from.time_log_std));
        }
        for (std::size_t i = 0; i < grid.branches.size(); ++i) {
            const PulseFit::Branch& from = fit->branches[i];
            BranchGrid& to = grid.branches[i];
            to.resistance_ohm.push_back(from.resistance_ohm);
            to.resistance_ohm_std.push_back(spread(from.resistance_ohm, from.resistance_log_std));
            to.time_s.push_back(from.time_s);
            to.time_s_std.push_back(spread(from.time_s, from.time_log_std));
        }
    }
    cell.resistance = std::move(grid);
}

/// What the current of a test puts on the OCV, row by row, according to the cell as fitted so far.
/// \param soc at every row, counted
std::vector<double> overvoltage_along_V(const Log& log, const std::vector<double>& soc,
                                        const Cell& cell) {
    return with_form(cell, [&](auto form) {
        using Form = decltype(form);
        const CellTables<double, Form::branches, Form::transfer> tables(cell);
        const CellParameters<double, Form::branches, Form::transfer> parameters =
            tables.parameters();
        CellState<double, Form::branches, Form::transfer> state;
        std::vector<double> overvoltage_V(log.size(), 0.0);
        for (std::size_t k = 0; k < log.size(); ++k) {
            const double temperature_degC = log.temperature_degC[k];
            state.soc = std::clamp(soc[k > 0 ? k - 1 : 0], 0.0, 1.0);
            if (k > 0)
                step(parameters,
                     {log.current_A[k], log.time_s[k] - log.time_s[k - 1], temperature_degC},
                     state);
            state.soc = std::clamp(soc[k], 0.0, 1.0);
            overvoltage_V[k] =
                voltage_at(parameters, state, log.current_A[k], temperature_degC).overvoltage_V;
        }
        return overvoltage_V;
    });
}

/// The same for pulse tests that start full, of the cell's capacity.
std::vector<std::vector<double>> overvoltage_along_V(const std::vector<const Log*>& logs,
                                                     const Cell& cell) {
    std::vector<std::vector<double>> all;
    for (const Log* log : logs) {
        std::vector<double> soc(log->size(), 1.0);
        for (std::size_t k = 1; k < log->size(); ++k) {
            soc[k] = soc[k - 1] + log->current_A[k] * (log->time_s[k] - log->time_s[k - 1]) /
                                      (seconds_per_hour<double> * cell.capacity_Ah);
        }
        all.push_back(overvoltage_along_V(*log, soc, cell));
    }
    return all;
}

/// The log with its temperature followed late, as a resistance follows what warms it.
Log felt_log(Log log, double lag_s) {
    if (!(lag_s > 0)) return log;
    double felt_degC = log.temperature_degC.front();
    for (std::size_t k = 1; k < log.size(); ++k) {
        const double step_s = log.time_s[k] - log.time_s[k - 1];
        felt_degC += (log.temperature_degC[k] - felt_degC) * -std::expm1(-step_s / lag_s);
        log.temperature_degC[k] = felt_degC;
    }
    return log;
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

/// Change of the OCV with temperature over its nodes, and its standard deviation; the latter is
/// empty when no test was at another temperature.
struct Entropy {
    std::vector<double> V_per_K;
    std::vector<double> V_per_K_std;
};

/// The entropy from the shifts at the tested temperatures: least squares through the reference
/// temperature, drawn towards what was known before.
Entropy entropy_of(const std::vector<PulseFit>& fits, const OcvCurve& ocv) {
    const PulseFit& reference = nearest_fit(fits, ocv.reference_temperature_degC);
    constexpr double usual_std_V_per_K =
        0.2e-3;  // published range -0.4 .. +0.3 mV/K over chemistries (from memory, not re-read)
    constexpr double usual_information = 1 / (usual_std_V_per_K * usual_std_V_per_K);
    Entropy entropy{std::vector<double>(ocv.soc.size(), 0.0),
                    std::vector<double>(ocv.soc.size(), usual_std_V_per_K)};
    bool asked = false;
    for (std::size_t k = 0; k < ocv.soc.size(); ++k) {
        const double soc = ocv.soc[k];
        const double before = ocv.entropy_V_per_K.empty() ? 0.0 : ocv.entropy_V_per_K[k];
        const double reference_std_V = at_soc(reference, reference.ocv_shift_std_V, soc);
        double information = usual_information;
        double sum = 0;
        double weight = 0;       // of the reference's error, which all tests share
        double own_squares = 0;  // of the errors of the tests themselves, weighed
        for (const PulseFit& fit : fits) {
            const double warmer_K = fit.temperature_degC - ocv.reference_temperature_degC;
            if (&fit == &reference || std::abs(warmer_K) < 3 || soc < fit.soc_low) continue;
            asked = true;  // the usual spread counts, even where the rests say nothing
            if (!fit.starts_full) continue;
            // A cold rest lies: it has not reached the OCV, and what is missing looks like entropy.
            const double colder_K =
                std::max(0.0, ocv.reference_temperature_degC - fit.temperature_degC);
            const double own_std_V =
                std::hypot(0.003, 0.0002 * colder_K, at_soc(fit, fit.ocv_shift_std_V, soc));
            const double std_V = std::hypot(own_std_V, reference_std_V);
            const double seen_V = at_soc(fit, fit.ocv_shift_V, soc) -
                                  at_soc(reference, reference.ocv_shift_V, soc) + before * warmer_K;
            const double by_V = warmer_K / (std_V * std_V);
            information += warmer_K * by_V;
            sum += by_V * seen_V;
            weight += by_V;
            own_squares += by_V * by_V * own_std_V * own_std_V;
        }
        entropy.V_per_K[k] = std::clamp(sum / information, -1e-3, 1e-3);
        entropy.V_per_K_std[k] = std::sqrt(usual_information + own_squares +
                                           weight * weight * reference_std_V * reference_std_V) /
                                 information;
    }
    if (!asked) entropy.V_per_K_std.clear();
    return entropy;
}

/// What an error of the OCV as a whole adds to where a test starts. The pulse fit takes its nodes
/// for independent, so that it is surer of their level than the OCV is of itself.
void widen_initial_soc(std::vector<PulseFit>& fits, const OcvCurve& ocv) {
    const std::vector<OcvNode<double>> nodes = ocv_nodes<double>(ocv);
    const OcvTable<double> table{nodes.data(), static_cast<int>(nodes.size()),
                                 ocv.reference_temperature_degC};
    const auto at = [&](const std::vector<double>& values, double soc) {
        if (values.empty()) return 0.0;
        const auto above = std::lower_bound(ocv.soc.begin(), ocv.soc.end(), soc);
        return values[std::min(static_cast<std::size_t>(above - ocv.soc.begin()),
                               values.size() - 1)];
    };
    for (PulseFit& fit : fits) {
        const double warmer_K = fit.temperature_degC - ocv.reference_temperature_degC;
        for (std::size_t k = 0; k < fit.initial_soc.size(); ++k) {
            const double soc = std::clamp(fit.initial_soc[k], 0.0, 1.0);
            const double level_std_V =
                std::hypot(at(ocv.voltage_std_V, soc), at(ocv.entropy_V_per_K_std, soc) * warmer_K);
            constexpr double least_slope_V = 0.05;  // on a plateau the voltage told nothing
            const double slope_V =
                std::max(least_slope_V, ocv_at(table, soc, fit.temperature_degC).slope_V);
            fit.initial_soc_std[k] = std::hypot(fit.initial_soc_std[k], level_std_V / slope_V);
        }
    }
}

/// What the rest after a slow charge says of the resistance to a charging current near full.
struct RestedRise {
    ChargeRiseFit in_an_hour;  ///< What a charge of an hour meets: of the cell.
    ChargeRiseFit in_a_day;    ///< With all that fills meanwhile: along the slow charge itself.
};

/// How much more the voltage falls after the slow charge than the model says: until the branch of
/// the rise has emptied, and until the rest ends. Needs half an hour of rest.
RestedRise rested_rise(const Cell& cell, const Log& log, const SlowTest& test) {
    RestedRise found;
    if (!(test.charge.charge_Ah > 0) || test.charge.last + 2 >= log.size()) return found;
    constexpr double fast_is_over_s = 60;
    constexpr double shortest_rest_s = 1800;
    constexpr double longest_rest_s = 7200;
    const double end_s = log.time_s[test.charge.last];
    std::vector<std::size_t> rows;
    for (std::size_t k = test.charge.last + 1;
         k < log.size() && log.time_s[k] - end_s <= longest_rest_s; ++k) {
        if (std::abs(log.current_A[k]) > 0.1 * test.charge.mean_current_A) break;
        if (std::abs(log.temperature_degC[k] - log.temperature_degC[test.charge.last]) > 2) break;
        rows.push_back(k);
    }
    const auto first_after = [&](double rested_s) {
        return std::find_if(rows.begin(), rows.end(),
                            [&](std::size_t k) { return log.time_s[k] - end_s >= rested_s; });
    };
    const auto from = first_after(fast_is_over_s - 1);
    const double soc = std::min(test.soc[test.charge.last], 1.0);
    if (from == rows.end() || log.time_s[rows.back()] - end_s < shortest_rest_s || soc < 0.9)
        return found;
    with_form(cell, [&](auto form) {
        using Form = decltype(form);
        const CellTables<double, Form::branches, Form::transfer> tables(cell);
        const auto parameters = tables.parameters();
        const double current_A = test.charge.mean_current_A;
        const auto node =
            resistance_at(parameters.resistance, soc, log.temperature_degC[test.charge.last]).value;
        // Every branch had hours to fill at this current; each then decays by itself.
        const auto left_V = [&](double rested_s) {
            double sum_V = 0;
            for (int i = 0; i < Form::branches; ++i) {
                sum_V +=
                    current_A * node.branch_ohm[i] * std::exp(-rested_s / node.branch_time_s[i]);
            }
            return sum_V;
        };
        const double at_full = charge_rise_at(ChargeRise<double>{0.8, 1}, soc).value;
        // `share` of a branch's overvoltage is what fell, `model_V` of that known already.
        const auto rise_of = [&](int branch, double share, double fell_V, double model_V) {
            ChargeRiseFit rise;
            const double per_ohm_V = current_A * share * at_full;
            const double extra_ohm = (fell_V - model_V) / per_ohm_V;
            if (extra_ohm > 0) {
                rise.branch = branch;
                rise.resistance_ohm = extra_ohm;
                rise.resistance_ohm_std = std::hypot(0.002 / per_ohm_V, 0.3 * extra_ohm);
            }
            return rise;
        };
        const double begin_V = log.voltage_V[test.charge.last];
        const double steady_V = current_A * direct_current_resistance_ohm(node);
        const std::size_t last = rows.back();
        const double last_s = log.time_s[last] - end_s;
        const int branch = detail::usual_rise_branch(node);
        const double time_s = node.branch_time_s[branch];
        const auto emptied = first_after(4 * time_s);
        if (branch + 1 < Form::branches && emptied != rows.end()) {
            const double rested_s = log.time_s[*emptied] - end_s;
            found.in_an_hour =
                rise_of(branch, -std::expm1(-rested_s / time_s), begin_V - log.voltage_V[*emptied],
                        steady_V - left_V(rested_s));
            if (found.in_an_hour.resistance_ohm > 0) {
                found.in_a_day =
                    rise_of(-1, 1, begin_V - log.voltage_V[last], steady_V - left_V(last_s));
            }
            return;
        }
        // The slowest one it is. One that is over before the first minute is tells nothing here: a
        // millivolt of noise would pass for a resistance as large as the cell's.
        constexpr double least_share = 0.3;
        const double from_s = log.time_s[*from] - end_s;
        const double slow_s = node.branch_time_s[Form::branches - 1];
        const double share = std::exp(-from_s / slow_s) - std::exp(-last_s / slow_s);
        if (share < least_share) return;
        found.in_an_hour = rise_of(-1, share, log.voltage_V[*from] - log.voltage_V[last],
                                   left_V(from_s) - left_V(last_s));
        found.in_a_day = found.in_an_hour;
    });
    return found;
}

/// The hysteresis rate from the slow test and the pulse tests at the temperature of the OCV.
HysteresisRateFit hysteresis_of(const Cell& cell, const Log* slow, const SlowTest& slow_test,
                                const std::vector<Log>& pulses,
                                const std::vector<std::vector<std::size_t>>& groups,
                                const std::vector<PulseFit>& fits, const FitSettings& settings) {
    Cell assumed = cell;
    assumed.hysteresis_rate = settings.hysteresis_rate;
    std::vector<Log> logs;
    std::vector<double> initial_soc;
    if (slow) {
        logs.push_back(*slow);
        initial_soc.push_back(std::clamp(slow_test.soc.front(), 0.0, 1.0));
    }
    const PulseFit& fit = nearest_fit(fits, cell.ocv.reference_temperature_degC);
    const auto& group = groups[static_cast<std::size_t>(&fit - fits.data())];
    for (std::size_t k = 0; k < group.size(); ++k) {
        logs.push_back(pulses[group[k]]);
        initial_soc.push_back(std::clamp(fit.initial_soc[k], 0.0, 1.0));
    }
    return fit_hysteresis_rate(logs, assumed, initial_soc, settings.hysteresis);
}

/// The logs at the temperature nearest 25 degC, for an OCV from rests.
std::vector<const Log*> rested_logs(const std::vector<Log>& pulses,
                                    const std::vector<std::vector<std::size_t>>& groups) {
    constexpr double room_degC = 25;
    const auto away_K = [&](const std::vector<std::size_t>& group) {
        return std::abs(quantile(pulses[group.front()].temperature_degC, 0.5) - room_degC);
    };
    const auto& nearest =
        *std::min_element(groups.begin(), groups.end(),
                          [&](const auto& a, const auto& b) { return away_K(a) < away_K(b); });
    std::vector<const Log*> logs;
    logs.reserve(nearest.size());
    for (const std::size_t k : nearest)
        logs.push_back(&pulses[k]);
    return logs;
}

std::string charge_rise_note(const Cell& cell, const std::optional<ChargeTestFit>& charges,
                             bool slow) {
    if (!charges && !slow) {
        return "Nothing is known of the extra resistance near full (charge_rise): it takes a "
               "slow charge with its rest, or charges to full.";
    }
    if (!charges) {
        return "Assumed: the extra resistance near full (charge_rise), measured at one SOC in "
               "the rest after the slow charge, starts at 80 % SOC and is the same at every "
               "temperature.";
    }
    return "The extra resistance near full (charge_rise) is fitted to " +
           std::to_string(charges->charge_Ah.size()) +
           (charges->charge_Ah.size() == 1 ? " charge" : " charges") +
           " and replaces what the rest after the slow charge says; it starts at " +
           number_text(100 * cell.charge_rise.soc_start, "%.0f") + " % SOC (std " +
           number_text(100 * charges->soc_start_std, "%.2g") +
           "). Assumed: it is the same at every temperature.";
}

void set_defaults(Cell& cell, double voltage_min_V, double voltage_max_V,
                  const std::vector<PulseFit>& fits) {
    const auto rounded = [](double value, double step) { return std::round(value / step) * step; };
    cell.window.voltage_min_V = rounded(voltage_min_V, 0.01);
    cell.window.voltage_max_V = rounded(voltage_max_V, 0.01);
    double discharge_A = 0;
    for (const PulseFit& fit : fits)
        discharge_A = std::max(discharge_A, fit.largest_discharge_A);
    const double c = cell.capacity_Ah;
    set_usual_limits(cell, {c, discharge_A, c, 0.02 * c});
    auto& notes = cell.provenance.notes;
    notes.emplace_back(
        "Assumed, replace by the maker's data sheet: temperature windows, charge zones and the "
        "charge side of the current "
        "table are common practice (no charging below 0 degC, 0.5 C to 10 degC, 1 C to 45 degC, "
        "end at C/50).");
    notes.push_back(
        "The discharge side of the current table is the largest current met in the tests, " +
        number_text(discharge_A) + " A; the data sheet may allow less.");
}

/// Capacity from the slow test and from the pulse tests at its temperature, each as sure as it is:
/// the slow test is at the mercy of the current offset, the pulses at higher currents less so.
/// \param logs the logs that `fit` was made from
void set_capacity(Cell& cell, const SlowTest& slow, const PulseFit& fit,
                  const std::vector<Log>& pulses, const std::vector<std::size_t>& logs,
                  const FitSettings& settings) {
    double active_s = 0;
    double largest_A = 0;
    for (const std::size_t k : logs) {
        for (const double current_A : pulses[k].current_A)
            largest_A = std::max(largest_A, std::abs(current_A));
        for (std::size_t row = 1; row < pulses[k].size(); ++row) {
            if (pulses[k].current_A[row] != 0)
                active_s += pulses[k].time_s[row] - pulses[k].time_s[row - 1];
        }
    }
    const double offset_std_A =
        std::hypot(settings.slow.offset_std_A, settings.pulse_offset_share_std * largest_A);
    const double offset_Ah =
        offset_std_A * active_s / (seconds_per_hour<double> * static_cast<double>(logs.size()));
    // The fit has the slow test in it as a prior: what the pulses say without it.
    const auto information = [](double std) { return 1 / (std * std); };
    const double alone = information(fit.capacity_Ah_std) - information(slow.capacity_Ah_std);
    if (!(alone > 0.1 * information(slow.capacity_Ah_std))) return;
    const double alone_Ah = (information(fit.capacity_Ah_std) * fit.capacity_Ah -
                             information(slow.capacity_Ah_std) * slow.capacity_Ah) /
                            alone;
    const double pulse_std_Ah =
        std::hypot(1 / std::sqrt(alone), settings.slow.gain_std * alone_Ah, offset_Ah);
    const double slow_weight = 1 / (slow.capacity_Ah_std * slow.capacity_Ah_std);
    const double pulse_weight = 1 / (pulse_std_Ah * pulse_std_Ah);
    cell.capacity_Ah =
        (slow_weight * slow.capacity_Ah + pulse_weight * alone_Ah) / (slow_weight + pulse_weight);
    cell.capacity_Ah_std = 1 / std::sqrt(slow_weight + pulse_weight);
    cell.provenance.notes.push_back(
        "Capacity: " + number_text(slow.capacity_Ah, "%.3f") + " Ah (std " +
        number_text(slow.capacity_Ah_std, "%.3f") + ") from the slow test, " +
        number_text(alone_Ah, "%.3f") + " Ah (std " + number_text(pulse_std_Ah, "%.3f") +
        ") from the rests of the pulse test at " + number_text(fit.temperature_degC, "%.0f") +
        " degC; both weighed.");
}

/// Which pulses a fit may see, and which it is asked to foretell.
struct PulseRates {
    double parting_A{0};  ///< Slower ones are at most this fast; 0: they are all of one rate.
    double highest_A{0};  ///< Faster ones are none of the fit's.
};

/// What the model gets wrong where it has not looked: every test predicted from the fits at the
/// other temperatures, where it lies between them, and from fits that saw the slower pulses only.
/// \param slower fits without the fast pulses, empty when the tests have one rate only
ModelNoise cross_validated_noise(const Cell& cell, const std::vector<Log>& pulses,
                                 const std::vector<std::vector<std::size_t>>& groups,
                                 const std::vector<PulseFit>& fits,
                                 const std::vector<PulseFit>& slower) {
    std::vector<detail::RowError> errors;
    std::vector<double> log_scales;
    const auto look = [&](const Cell& model, std::size_t g) {
        Cell own = model;
        own.capacity_Ah = fits[g].capacity_Ah;
        for (std::size_t k = 0; k < groups[g].size(); ++k) {
            std::vector<detail::RowError> found = detail::model_errors(
                pulses[groups[g][k]], own, fits[g].initial_soc[k], log_scales.size());
            // The filter takes up a resistance that is off as a whole.
            double product = 0;
            double square = 0;
            for (const detail::RowError& e : found) {
                product += e.error_V * e.overvoltage_V;
                square += e.overvoltage_V * e.overvoltage_V;
            }
            const double share = std::clamp(product / std::max(square, 1e-12), -1.0, 0.9);
            for (detail::RowError& e : found)
                e.error_V -= share * e.overvoltage_V;
            log_scales.push_back(std::log1p(-share));
            errors.insert(errors.end(), found.begin(), found.end());
        }
    };
    for (std::size_t g = 1; g + 1 < fits.size(); ++g) {
        std::vector<PulseFit> others = fits;
        others.erase(others.begin() + static_cast<std::ptrdiff_t>(g));
        Cell model = cell;
        set_resistance(model, others);
        look(model, g);
    }
    if (!slower.empty()) {
        Cell model = cell;
        set_resistance(model, slower);
        for (std::size_t g = 0; g < fits.size(); ++g)
            look(model, g);
    }
    if (errors.empty()) {  // one temperature, one rate: the fit's own residuals have to do
        for (std::size_t g = 0; g < fits.size(); ++g)
            look(cell, g);
    }
    const VoltageNoise noise = detail::noise_of(errors);
    double squares = 0;
    for (const double log_scale : log_scales)
        squares += log_scale * log_scale;
    const detail::ErrorMemory memory = detail::memory_of(errors, noise);
    return {noise.voltage_std_V,
            noise.overvoltage_share_std,
            memory.share,
            memory.time_s,
            std::sqrt(squares / static_cast<double>(log_scales.size())),
            detail::scale_walk_per_sqrt_h(std::move(errors), noise),
            0,
            0};
}

/// How much a drop may be off for every doubling of the current beyond those that the resistances
/// rest on: rms over the faster pulses, as fits that saw the slower ones only foretell them. Below
/// 20 % SOC drops grow faster than any law of the model has it; LimitSettings::low_soc is for that.
/// \return 0 where there are too few pulses
double untested_share_std(const Cell& cell, const std::vector<Log>& pulses,
                          const std::vector<std::vector<std::size_t>>& groups,
                          const std::vector<PulseFit>& slower, const PulseRates& rates) {
    constexpr double least_soc = 0.2;
    constexpr int least_pulses = 4;
    Cell model = cell;
    set_resistance(model, slower);
    double squares = 0;
    int count = 0;
    for (std::size_t g = 0; g < slower.size(); ++g) {
        model.capacity_Ah = slower[g].capacity_Ah;
        std::vector<detail::DropError> drops;
        for (std::size_t k = 0; k < groups[g].size(); ++k) {
            const auto found = detail::drop_errors(pulses[groups[g][k]], model,
                                                   std::min(slower[g].initial_soc[k], 1.05));
            drops.insert(drops.end(), found.begin(), found.end());
        }
        double tested_A = 0;
        for (const detail::DropError& drop : drops) {
            if (drop.current_A <= rates.parting_A) tested_A = std::max(tested_A, drop.current_A);
        }
        for (const detail::DropError& drop : drops) {
            if (!(tested_A > 0) || drop.soc < least_soc || drop.current_A <= rates.parting_A ||
                drop.current_A > rates.highest_A) {
                continue;
            }
            const double doublings = std::log2(drop.current_A / tested_A);
            squares += std::pow(drop.share / std::max(doublings, 1.0), 2);
            ++count;
        }
    }
    return count < least_pulses ? 0 : std::sqrt(squares / count);
}

/// Parts slower pulses from faster ones at every temperature; `parting_A` is 0 when nothing does.
/// \param highest_rate_per_h faster pulses are none of the fit's
PulseRates pulse_rates(const std::vector<Log>& pulses,
                       const std::vector<std::vector<std::size_t>>& groups, double capacity_Ah,
                       double highest_rate_per_h) {
    const double least_A = 0.3 * capacity_Ah;
    PulseRates rates;
    rates.highest_A = highest_rate_per_h * capacity_Ah;
    double fastest_A = 0;
    for (const Log& log : pulses) {
        for (const double current_A : log.current_A) {
            const double size_A = std::abs(current_A);
            if (size_A <= rates.highest_A) fastest_A = std::max(fastest_A, size_A);
        }
    }
    const double parting_A = 0.6 * fastest_A;  // two rates often are in a ratio of two
    for (const auto& group : groups) {
        int slower = 0;
        int faster = 0;
        for (const std::size_t g : group) {
            const std::vector<double>& current_A = pulses[g].current_A;
            for (std::size_t k = 1; k < current_A.size(); ++k) {
                if (std::abs(current_A[k] - current_A[k - 1]) < least_A) continue;
                const double size_A = std::max(std::abs(current_A[k]), std::abs(current_A[k - 1]));
                if (size_A <= rates.highest_A) ++(size_A > parting_A ? faster : slower);
            }
        }
        if (slower < 8 || faster < 8) return rates;
    }
    rates.parting_A = parting_A;
    return rates;
}

/// Tries the forms of the model on all tests: first with and without charge transfer, then other
/// numbers of branches. Schwarz's Bayesian information criterion (Ann. Statist. 6 (1978) 461, from
/// memory, not re-read), with the parameters that the data hold and the rows that are independent.
/// \return all forms tried, the best first
template <class FitAll>
std::vector<FormTrial> try_forms(const PulseFitSettings& settings, std::vector<PulseFit>& fits,
                                 const FitAll& fit_all) {
    struct Trial {
        FormTrial form;
        std::vector<double> deviance;
        std::vector<double> parameters;
        std::vector<double> rows;
    };
    std::vector<Trial> trials;
    std::vector<double> repeats(fits.size(), std::numeric_limits<double>::infinity());
    const auto add = [&](int branches, bool transfer) {
        for (PulseFit& fit : fits)
            fit = {};
        PulseFitSettings used = settings;
        used.branches = branches;
        used.charge_transfer = transfer;
        used.soc_nodes = std::min(used.soc_nodes, 21);  // enough to compare with
        fit_all(used,
                std::to_string(branches) + " branches" + (transfer ? " and charge transfer" : ""));
        Trial trial{{branches, transfer, 0, 0}, {}, {}, {}};
        double squares = 0;
        double rows = 0;
        for (std::size_t g = 0; g < fits.size(); ++g) {
            const PulseFit& fit = fits[g];
            trial.deviance.push_back(fit.deviance);
            trial.parameters.push_back(fit.effective_parameters);
            trial.rows.push_back(static_cast<double>(fit.rows_used));
            repeats[g] = std::min(repeats[g], fit.noise.rows_per_independent_row);
            for (const double rms_V : fit.residual_rms_V)
                squares += rms_V * rms_V * static_cast<double>(fit.rows_used) /
                           static_cast<double>(fit.residual_rms_V.size());
            rows += static_cast<double>(fit.rows_used);
        }
        trial.form.residual_rms_V = std::sqrt(squares / rows);
        trials.push_back(trial);
    };
    // Rows that repeat each other are counted alike for all: as in the form that leaves the least.
    const auto judge = [&] {
        for (Trial& trial : trials) {
            trial.form.criterion = 0;
            for (std::size_t g = 0; g < repeats.size(); ++g) {
                trial.form.criterion += trial.deviance[g] / repeats[g] +
                                        trial.parameters[g] * std::log(trial.rows[g] / repeats[g]);
            }
        }
        std::sort(trials.begin(), trials.end(), [](const Trial& a, const Trial& b) {
            return a.form.criterion < b.form.criterion;
        });
    };
    add(3, false);
    add(3, true);
    judge();
    const bool transfer = trials.front().form.charge_transfer;
    for (const int branches : {4, 2, 1})
        add(branches, transfer);
    judge();
    for (PulseFit& fit : fits)
        fit = {};
    std::vector<FormTrial> forms;
    forms.reserve(trials.size());
    for (const Trial& trial : trials)
        forms.push_back(trial.form);
    return forms;
}

std::string in_words(const FormTrial& form) {
    return std::to_string(form.branches) + (form.branches == 1 ? " branch" : " branches") +
           (form.charge_transfer ? " and charge transfer" : "");
}

std::string choice_in_words(const std::vector<FormTrial>& forms) {
    std::string text =
        "Form chosen by the Bayesian information criterion: " + in_words(forms.front()) +
        ". Behind it:";
    for (std::size_t k = 1; k < forms.size(); ++k) {
        text += (k > 1 ? ", " : " ") + in_words(forms[k]) + " by " +
                number_text(forms[k].criterion - forms.front().criterion, "%.0f");
    }
    return text + ".";
}

/// \param slow null: the OCV comes from the rests of the pulse tests
FitResult fit_from(const Log* slow, const std::vector<Log>& pulses, const FitSettings& settings,
                   const FitProgress& progress, const std::vector<Log>& charges,
                   const std::vector<Log>& cycles) {
    if (pulses.empty()) throw Error("a cell fit needs at least one pulse test");
    if (settings.passes < 1 || settings.passes > 20)
        throw Error("passes: " + std::to_string(settings.passes) + " is outside 1 .. 20");
    if (!(settings.warmth_lag_s >= 0) || !std::isfinite(settings.warmth_lag_s)) {
        throw Error("warmth_lag_s: " + number_text(settings.warmth_lag_s) + " must be 0 or above");
    }
    const auto report = [&](double share, const std::string& stage) {
        if (progress && !progress(share, stage)) throw Error("cancelled");
    };
    report(0, slow ? "slow test" : "rests");
    FitResult result;
    Cell& cell = result.cell;
    cell.name = settings.name;
    cell.hysteresis_rate = settings.hysteresis_rate;
    result.hysteresis.rate = settings.hysteresis_rate;
    result.hysteresis.rate_log_std = std::numeric_limits<double>::infinity();
    result.hysteresis.note = "Assumed: hysteresis_rate " + number_text(settings.hysteresis_rate) +
                             ". It takes a second round (passes) to see more.";
    std::vector<Log> to_full = cycles;
    if (slow) to_full.push_back(*slow);
    if (to_full.empty()) {
        result.efficiency.efficiency_std = settings.efficiency.assumed_std;
        result.efficiency.note = "Assumed: coulombic efficiency 1 (std " +
                                 number_text(settings.efficiency.assumed_std) +
                                 "). Cycles from full to full would tell.";
    } else {
        result.efficiency = fit_coulombic_efficiency(to_full, settings.efficiency);
        cell.coulombic_efficiency = result.efficiency.efficiency;
        if (result.efficiency.told)
            cell.coulombic_efficiency_std = result.efficiency.efficiency_std;
    }
    std::vector<std::vector<std::size_t>> groups;
    std::vector<const Log*> rested;
    RestTestSettings rest_settings = settings.rests;
    // With and without a model that says what each row has on the OCV.
    const auto read_rests = [&](const std::vector<std::vector<double>>& overvoltage_V) {
        const RestTest& test =
            result.rests.emplace(read_rest_test(rested, rest_settings, overvoltage_V));
        cell.capacity_Ah = test.capacity_Ah;
        cell.capacity_Ah_std = test.capacity_Ah_std;
        cell.ocv = ocv_curve(test, rest_settings);
    };
    if (slow) {
        result.slow = read_slow_test(*slow, settings.slow);
        cell.capacity_Ah = result.slow.capacity_Ah;
        cell.capacity_Ah_std = result.slow.capacity_Ah_std;
        cell.ocv = ocv_curve(*slow, result.slow, {}, settings.slow);
        groups = temperature_groups(pulses, settings);
    } else {
        groups = temperature_groups(pulses, settings);
        rest_settings.hysteresis_rate = settings.hysteresis_rate;
        rest_settings.offset_share_std = settings.pulse_offset_share_std;
        rested = rested_logs(pulses, groups);
        read_rests({});
    }
    // The pulse tests with the temperature inside the cell, once its warmth is known.
    std::vector<Log> inside = pulses;
    std::vector<PulseFit> fits(groups.size());
    constexpr int trials = 5;
    const double jobs = static_cast<double>(groups.size()) *
                            (settings.passes + 1 + (settings.choose_form ? trials : 0)) +
                        1;
    double done = 0;
    const auto fit_all = [&](const PulseFitSettings& pulse_settings, const std::string& what) {
        for (std::size_t g = 0; g < groups.size(); ++g) {
            std::vector<const Log*> logs;
            for (const std::size_t k : groups[g])
                logs.push_back(&inside[k]);
            PulseFitSettings used = pulse_settings;
            // The sizes carry over; how far errors repeat is found anew, from a fit that follows
            // the data closely: what priors leave behind repeats, and would loosen the fit ever
            // more.
            if (fits[g].rows_used > 0) {
                used.noise.voltage_std_V = fits[g].noise.voltage_std_V;
                used.noise.overvoltage_share_std = fits[g].noise.overvoltage_share_std;
            }
            const double share = done / jobs;
            const std::string stage =
                what + ", " + number_text(quantile(logs.front()->temperature_degC, 0.5), "%.0f") +
                " degC";
            const auto keep_going = [&] { return !progress || progress(share, stage); };
            const PulseFit before = std::move(fits[g]);
            const bool same_form =
                before.rows_used > 0 &&
                before.branches.size() == static_cast<std::size_t>(used.branches) &&
                before.charge_transfer.has_value() == used.charge_transfer;
            fits[g] = fit_pulses(logs, cell, g > 0 ? &fits[g - 1] : nullptr, used, keep_going,
                                 same_form ? &before : nullptr);
            done += 1;
        }
    };
    PulseFitSettings pulse_settings = settings.pulses;
    if (!slow && !pulse_settings.drop_share_std) pulse_settings.drop_share_std = 0;
    if (settings.choose_form) {
        result.forms = try_forms(pulse_settings, fits, fit_all);
        pulse_settings.branches = result.forms.front().branches;
        pulse_settings.charge_transfer = result.forms.front().charge_transfer;
        cell.provenance.notes.push_back(choice_in_words(result.forms));
    }
    for (int pass = 0; pass < settings.passes; ++pass) {
        if (pass > 0) {
            cell.thermal = fit_thermal(pulses, cell);
            for (std::size_t k = 0; k < pulses.size(); ++k)
                inside[k] = felt_log(core_log(pulses[k], cell), settings.warmth_lag_s);
        }
        fit_all(pulse_settings,
                "round " + std::to_string(pass + 1) + " of " + std::to_string(settings.passes));
        set_resistance(cell, fits);
        if (cell.charge.zone_count == 0) {
            set_defaults(cell, slow ? result.slow.voltage_min_V : result.rests->voltage_min_V,
                         slow ? result.slow.voltage_max_V : result.rests->voltage_max_V, fits);
        }
        if (cell.thermal.heat_capacity_J_per_K <= 0) cell.thermal = fit_thermal({}, cell);
        Cell along_slow = cell;
        if (slow) {
            const RestedRise rise = rested_rise(cell, *slow, result.slow);
            cell.charge_rise = rise.in_an_hour;
            along_slow = cell;
            along_slow.charge_rise = rise.in_a_day;
        }
        // In the first round the overvoltage of the slow test is in the OCV and its gap.
        if (pass > 0) {
            result.hysteresis =
                hysteresis_of(along_slow, slow, result.slow, inside, groups, fits, settings);
            cell.hysteresis_rate =
                result.hysteresis.told ? result.hysteresis.rate : settings.hysteresis_rate;
            cell.hysteresis_rate_std.reset();
            if (result.hysteresis.told)
                cell.hysteresis_rate_std = result.hysteresis.rate * result.hysteresis.rate_log_std;
        }
        const Entropy entropy = entropy_of(fits, cell.ocv);
        if (pass + 1 < settings.passes) {
            if (slow) {
                cell.ocv = ocv_curve(*slow, result.slow,
                                     overvoltage_along_V(*slow, result.slow.soc, along_slow),
                                     settings.slow);
            } else {
                read_rests(overvoltage_along_V(rested, cell));
            }
        } else {
            shift_ocv(cell.ocv, nearest_fit(fits, cell.ocv.reference_temperature_degC));
        }
        cell.ocv.entropy_V_per_K = entropy.V_per_K;
        cell.ocv.entropy_V_per_K_std = entropy.V_per_K_std;
    }
    widen_initial_soc(fits, cell.ocv);
    std::vector<PulseFit> slower;
    const PulseRates rates =
        pulse_rates(pulses, groups, cell.capacity_Ah, pulse_settings.highest_rate_per_h);
    if (rates.parting_A > 0) {
        const std::vector<PulseFit> all = fits;
        PulseFitSettings seen = pulse_settings;
        seen.highest_rate_per_h = rates.parting_A / cell.capacity_Ah;
        fit_all(seen, "slower pulses only");
        slower = std::move(fits);
        fits = all;
    }
    cell.noise = cross_validated_noise(cell, inside, groups, fits, slower);
    for (const PulseFit& fit : fits) {
        cell.noise.tested_current_A =
            std::max({cell.noise.tested_current_A, fit.largest_discharge_A, fit.largest_charge_A});
    }
    if (!slower.empty())
        cell.noise.untested_share_std = untested_share_std(cell, inside, groups, slower, rates);
    const PulseFit& reference = nearest_fit(fits, cell.ocv.reference_temperature_degC);
    if (slow) {
        set_capacity(cell, result.slow, reference, pulses,
                     groups[static_cast<std::size_t>(&reference - fits.data())], settings);
    }
    // Only now: the OCV of the slow test goes by the rise that its own rest shows.
    if (!charges.empty()) {
        const auto keep_going = [&] { return !progress || progress(done / jobs, "charges"); };
        result.charges = fit_charge_rise(charges, cell, settings.charges, keep_going);
        cell.charge_rise = result.charges->rise;
        cell.charge_rise.soc_start_std = result.charges->soc_start_std;
    }
    report(done / jobs, "thermal");
    cell.thermal = fit_thermal(pulses, cell);

    Provenance& provenance = cell.provenance;
    provenance.made_by = "voltkeel " VOLTKEEL_VERSION;
    provenance.method = "fitted to tests";
    const std::vector<std::string>& first_notes = slow ? result.slow.notes : result.rests->notes;
    provenance.notes.insert(provenance.notes.begin(), first_notes.begin(), first_notes.end());
    provenance.notes.push_back(result.hysteresis.note);
    provenance.notes.push_back(result.efficiency.note);
    provenance.notes.push_back(charge_rise_note(cell, result.charges, slow != nullptr));
    if (slow) {
        SourceFile slow_file;
        slow_file.role = "slow test";
        slow_file.name = slow->source;
        slow_file.rows = slow->size();
        slow_file.rows_used = result.slow.used_rows.size();
        slow_file.temperature_degC = result.slow.temperature_degC;
        provenance.files.push_back(slow_file);
    }
    for (std::size_t g = 0; g < groups.size(); ++g) {
        for (std::size_t k = 0; k < groups[g].size(); ++k) {
            const Log& log = pulses[groups[g][k]];
            SourceFile file;
            file.role = "pulse test";
            file.name = log.source;
            file.rows = log.size();
            file.rows_used = fits[g].log_rows_used[k];
            file.temperature_degC = fits[g].temperature_degC;
            file.initial_soc = fits[g].initial_soc[k];
            file.initial_soc_std = fits[g].initial_soc_std[k];
            file.residual_rms_V = fits[g].residual_rms_V[k];
            provenance.files.push_back(file);
        }
    }
    for (const PulseFit& fit : fits)
        provenance.notes.insert(provenance.notes.end(), fit.findings.begin(), fit.findings.end());
    for (std::size_t k = 0; k < cycles.size(); ++k) {
        const Log& log = cycles[k];
        SourceFile file;
        file.role = "cycles";
        file.name = log.source;
        file.rows = log.size();
        file.rows_used = result.efficiency.told ? result.efficiency.rows[k] : 0;
        file.temperature_degC = quantile(log.temperature_degC, 0.5);
        provenance.files.push_back(file);
    }
    for (std::size_t k = 0; k < charges.size(); ++k) {
        SourceFile file;
        file.role = "charge";
        file.name = charges[k].source;
        file.rows = charges[k].size();
        file.rows_used = result.charges->charge_rows_used[k];
        file.temperature_degC = quantile(charges[k].temperature_degC, 0.5);
        file.initial_soc = result.charges->initial_soc[k];
        file.initial_soc_std = result.charges->initial_soc_std[k];
        file.residual_rms_V = result.charges->residual_rms_V[k];
        provenance.files.push_back(file);
    }
    if (result.charges) {
        provenance.notes.insert(provenance.notes.end(), result.charges->notes.begin(),
                                result.charges->notes.end());
    }
    std::reverse(fits.begin(), fits.end());
    result.pulses = std::move(fits);
    check(cell);
    (void)to_json(cell);  // what no file can hold is no result
    report(1, "done");
    return result;
}

}  // namespace

FitResult fit_cell(const Log& slow, const std::vector<Log>& pulses, const FitSettings& settings,
                   const FitProgress& progress, const std::vector<Log>& charges,
                   const std::vector<Log>& cycles) {
    return detail::with_unit_doubts(&slow, {&pulses, &charges, &cycles}, {}, [&] {
        return fit_from(&slow, pulses, settings, progress, charges, cycles);
    });
}

FitResult fit_cell(const std::vector<Log>& pulses, const FitSettings& settings,
                   const FitProgress& progress, const std::vector<Log>& charges,
                   const std::vector<Log>& cycles) {
    return detail::with_unit_doubts(
        nullptr, {&pulses, &charges, &cycles}, settings.rests.capacity_Ah,
        [&] { return fit_from(nullptr, pulses, settings, progress, charges, cycles); });
}

}  // namespace voltkeel

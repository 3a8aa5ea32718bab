#pragma once
/// \file fault_campaign.hpp
/// Every fault of a sensor on a log whose SOC is known: is it named, and does the band hold?

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <limits>
#include <string>
#include <vector>

#include "voltkeel/estimate/sensor_checks.hpp"

namespace voltkeel_test {

/// A log of one cell and its true SOC.
struct KnownLog {
    std::string name;
    std::vector<double> time_s, current_A, voltage_V, temperature_degC, soc;
    [[nodiscard]] std::size_t size() const { return time_s.size(); }
};

/// One row as sensors would have told it.
struct FaultyRow {
    double time_s, current_A, voltage_V, temperature_degC;
};

/// A fault, and the bit that names it.
struct CampaignFault {
    const char* name;
    std::uint32_t bits;  ///< One of them names it.
    /// Spoils a row; `held` is the last row before the fault, `since_s` the time since then.
    void (*spoil)(FaultyRow& row, const FaultyRow& held, double since_s, double capacity_Ah);
    double least_share{0};  ///< Of the rows of the fault that must carry the bit.
    double lasts_s{600};
};

inline const std::vector<CampaignFault>& campaign_faults() {
    using namespace voltkeel;
    constexpr double nan = std::numeric_limits<double>::quiet_NaN();
    constexpr double infinity = std::numeric_limits<double>::infinity();
    // Spikes come every half minute, for a second.
    static const auto spike = [](double since_s) { return std::fmod(since_s, 30) < 1; };
    static const std::vector<CampaignFault> all = {
        {"current NaN", sensor_current_missing,
         [](FaultyRow& r, const FaultyRow&, double, double) { r.current_A = nan; }, 1},
        {"current infinite", sensor_current_missing,
         [](FaultyRow& r, const FaultyRow&, double, double) { r.current_A = -infinity; }, 1},
        {"current out of range", sensor_current_range,
         [](FaultyRow& r, const FaultyRow&, double, double q) { r.current_A = 100 * q; }, 1},
        {"current spikes", sensor_current_jump | sensor_current_range,
         [](FaultyRow& r, const FaultyRow&, double s, double q) {
             if (spike(s)) r.current_A += 15 * q;
         }},
        {"current stuck", sensor_current_stuck,
         [](FaultyRow& r, const FaultyRow& h, double, double) { r.current_A = h.current_A; }},
        {"current drops to 0", sensor_current_stuck | sensor_current_jump,
         [](FaultyRow& r, const FaultyRow&, double, double) { r.current_A = 0; }},
        {"current sign swapped", sensor_current_sign,
         [](FaultyRow& r, const FaultyRow&, double, double) { r.current_A = -r.current_A; }},
        // What creeps in is told by the charge it makes up: it is given the rest of the log.
        {"current +0.5 C", sensor_current_drift | sensor_current_jump,
         [](FaultyRow& r, const FaultyRow&, double, double q) { r.current_A += 0.5 * q; }, 0, 1e9},
        {"current x 1.15", sensor_current_gain | sensor_current_jump | sensor_current_drift,
         [](FaultyRow& r, const FaultyRow&, double, double) { r.current_A *= 1.15; }, 0, 1e9},
        {"current creeps 0.1 C/h", sensor_current_gain | sensor_current_jump | sensor_current_drift,
         [](FaultyRow& r, const FaultyRow&, double s, double q) {
             r.current_A += 0.1 * q * s / 3600;
         },
         0, 1e9},
        {"voltage NaN", sensor_voltage_missing,
         [](FaultyRow& r, const FaultyRow&, double, double) { r.voltage_V = nan; }, 1},
        {"voltage infinite", sensor_voltage_missing,
         [](FaultyRow& r, const FaultyRow&, double, double) { r.voltage_V = infinity; }, 1},
        {"voltage drops to 0", sensor_voltage_range,
         [](FaultyRow& r, const FaultyRow&, double, double) { r.voltage_V = 0; }, 1},
        {"voltage sign swapped", sensor_voltage_range,
         [](FaultyRow& r, const FaultyRow&, double, double) { r.voltage_V = -r.voltage_V; }, 1},
        {"voltage spikes", sensor_voltage_jump,
         [](FaultyRow& r, const FaultyRow&, double s, double) {
             if (spike(s)) r.voltage_V += 0.4;
         }},
        {"voltage stuck", sensor_voltage_stuck | sensor_current_jump,
         [](FaultyRow& r, const FaultyRow& h, double, double) { r.voltage_V = h.voltage_V; }},
        {"voltage +0.2 V", sensor_voltage_jump,
         [](FaultyRow& r, const FaultyRow&, double, double) { r.voltage_V += 0.2; }},
        {"voltage x 0.95", sensor_voltage_jump,
         [](FaultyRow& r, const FaultyRow&, double, double) { r.voltage_V *= 0.95; }},
        {"temperature NaN", sensor_temperature_missing,
         [](FaultyRow& r, const FaultyRow&, double, double) { r.temperature_degC = nan; }, 1},
        {"temperature open", sensor_temperature_open,
         [](FaultyRow& r, const FaultyRow&, double, double) { r.temperature_degC = -60; }, 1},
        {"temperature shorted", sensor_temperature_short,
         [](FaultyRow& r, const FaultyRow&, double, double) { r.temperature_degC = 140; }, 1},
        {"temperature +25 K", sensor_temperature_rate,
         [](FaultyRow& r, const FaultyRow&, double, double) { r.temperature_degC += 25; }},
        {"time NaN", sensor_time_missing,
         [](FaultyRow& r, const FaultyRow&, double, double) { r.time_s = nan; }, 1},
        {"time 1 h back", sensor_time_backward,
         [](FaultyRow& r, const FaultyRow&, double, double) { r.time_s -= 3600; }},
        {"time 1 h on", sensor_time_jump,
         [](FaultyRow& r, const FaultyRow&, double, double) { r.time_s += 3600; }},
        {"clock stands", sensor_time_still,
         [](FaultyRow& r, const FaultyRow& h, double, double) { r.time_s = h.time_s; }},
    };
    return all;
}

/// What became of one fault on one log.
struct FaultOutcome {
    double named_after_s{-1};  ///< -1: never.
    double named_share{0};     ///< Of the fault's rows.
    double largest_error{0};   ///< From the start of the fault on.
    double outside_share{0};   ///< Of the rows from then on, beyond 1.96 standard deviations.
    double worst_sigmas{0};
    double end_error{0};
    double end_std{0};
    std::size_t false_rows{0};  ///< Rows before the fault with any bit.
    bool finite{true};
};

/// Runs filter and checks over a log with one fault (or none), which starts after `start` of the
/// log and lasts `lasts_s`.
template <class Filter, class Real = decltype(Filter{}.estimate().soc)>
FaultOutcome run_fault(Filter filter, const KnownLog& log, const CampaignFault* fault,
                       double start = 0.4) {
    voltkeel::SensorCheckSettings<Real> settings;
    settings.capacity_Ah = filter.cell().capacity_Ah;
    voltkeel::SensorChecks<Real> checks;
    FaultOutcome outcome;
    if (checks.configure(settings) != voltkeel::Status::ok) {
        outcome.finite = false;
        return outcome;
    }
    // A fault that begins together with a step of the load is harder to tell from it.
    std::size_t first = static_cast<std::size_t>(start * static_cast<double>(log.size()));
    while (first + 1 < log.size() && std::abs(log.current_A[first] - log.current_A[first - 1]) >
                                         0.02 * static_cast<double>(settings.capacity_Ah)) {
        ++first;
    }
    FaultyRow held{};
    double rows = 0;
    double bad_rows = 0;
    for (std::size_t k = 0; k < log.size(); ++k) {
        FaultyRow row{log.time_s[k], log.current_A[k], log.voltage_V[k], log.temperature_degC[k]};
        const double since_s = log.time_s[k] - log.time_s[first];
        const bool on = fault != nullptr && k >= first && since_s < fault->lasts_s;
        if (k < first) held = row;
        if (on) fault->spoil(row, held, since_s, static_cast<double>(settings.capacity_Ah));
        const auto checked =
            checks.step({voltkeel::time_us_of(row.time_s), static_cast<Real>(row.current_A),
                         static_cast<Real>(row.voltage_V), static_cast<Real>(row.temperature_degC)},
                        voltkeel::model_view(filter));
        const auto& estimate = filter.step(voltkeel::sample_of(checked));
        const double soc_std = static_cast<double>(estimate.soc_std);
        const double error = std::abs(static_cast<double>(estimate.soc) - log.soc[k]);
        outcome.finite = outcome.finite && std::isfinite(error) && std::isfinite(soc_std);
        if (k < first) {
            outcome.false_rows += checked.fault_bits != 0 ? 1 : 0;
            continue;
        }
        rows += 1;
        outcome.largest_error = std::max(outcome.largest_error, error);
        outcome.worst_sigmas = std::max(outcome.worst_sigmas, error / soc_std);
        outcome.outside_share += error > 1.96 * soc_std ? 1 : 0;
        outcome.end_error = error;
        outcome.end_std = soc_std;
        if (!on) continue;
        bad_rows += 1;
        if ((checked.fault_bits & fault->bits) != 0) {
            outcome.named_share += 1;
            if (outcome.named_after_s < 0) outcome.named_after_s = since_s;
        }
    }
    outcome.outside_share /= rows;
    if (bad_rows > 0) outcome.named_share /= bad_rows;
    return outcome;
}

/// One line of the table.
inline void print_outcome(const char* fault, const FaultOutcome& o) {
    std::printf("  %-22s", fault);
    if (o.named_after_s < 0) {
        std::printf("  not named       ");
    } else {
        std::printf("  %6.0f s %5.1f %%", o.named_after_s, 100 * o.named_share);
    }
    std::printf("  %6.2f  %5.1f %%  %5.2f  %6.2f +- %.2f\n", 100 * o.largest_error,
                100 * o.outside_share, o.worst_sigmas, 100 * o.end_error, 196 * o.end_std);
}

inline void print_campaign_head(const std::string& log) {
    std::printf(
        "%s\n  %-22s  named after, of  largest  outside  worst   at the end\n"
        "  %-22s       the rows   error    95 band  sigmas  (points of SOC)\n",
        log.c_str(), "fault for 10 min", "");
}

}  // namespace voltkeel_test

#include "voltkeel/io/replay.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>

#include "io/replay_parts.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/io/filter_settings.hpp"

namespace voltkeel {

namespace {

/// The first two minutes that have both a current and a voltage.
Log first_whole_rows(const Log& log) {
    constexpr double window_s = 120;
    Log whole;
    for (std::size_t k = 0; k < log.size(); ++k) {
        if (!std::isfinite(log.current_A[k]) || !std::isfinite(log.voltage_V[k])) continue;
        if (whole.size() > 0 && log.time_s[k] - whole.time_s[0] > window_s) break;
        whole.time_s.push_back(log.time_s[k]);
        whole.current_A.push_back(log.current_A[k]);
        whole.voltage_V.push_back(log.voltage_V[k]);
    }
    if (whole.size() == 0) throw Error(log.source + ": no row has both a current and a voltage");
    return whole;
}

template <int Branches, bool Transfer>
SocTrace replay_with(const Cell& cell, const Log& log, const ReplaySettings& settings,
                     const std::function<bool(double)>& progress) {
    const CellTables<double, Branches, Transfer> tables(cell);
    SocFilter<double, Branches, Transfer> filter;
    SocFilterSettings<double> filter_knobs =
        settings.filter ? *settings.filter : filter_settings(cell);
    filter_knobs.trace_every_sample = true;  // every row is written
    detail::need_valid(validate(filter_knobs));
    Status status = detail::take_age(filter_knobs, settings.age);
    if (status == Status::ok) status = filter.configure(tables.parameters(), filter_knobs);
    if (status == Status::ok) {
        const double first_degC = detail::first_known(log.temperature_degC);
        const Log first = first_whole_rows(log);
        UseAround<double> use = detail::first_use(log.time_s, log.current_A);
        use.voltage_V = first.voltage_V.front();
        use.current_A = first.current_A.front();
        const bool rested =
            settings.starts_at_rest.value_or(starts_at_rest(first, cell.capacity_Ah));
        if (rested && settings.initial_soc) {
            status = filter.start(*settings.initial_soc, settings.initial_soc_std, first_degC);
        } else if (!settings.initial_soc && (rested || detail::steady(use))) {
            status = filter.start_from_voltage(use.voltage_V, use.current_A, first_degC);
        } else {
            const auto told = detail::told_soc(settings.initial_soc, settings.initial_soc_std);
            status = filter.start_under_load(told.soc, told.std, use, first_degC);
        }
    }
    if (status != Status::ok)
        detail::fail_start(settings.initial_soc.value_or(NAN), settings.initial_soc_std, status);

    SocTrace trace;
    trace.time_s = log.time_s;
    for (auto* column : {&trace.soc, &trace.soc_std, &trace.voltage_predicted_V,
                         &trace.innovation_V, &trace.innovation_std_V, &trace.resistance_scale,
                         &trace.log_scale_std, &trace.hysteresis}) {
        column->resize(log.size());
    }
    trace.fault_bits.resize(log.size());
    trace.sensor_fault_bits.resize(log.size());
    detail::SensorRows<SocFilter<double, Branches, Transfer>> sensors(
        settings.sensors, cell, 1, detail::first_known(log.temperature_degC));
    for (std::size_t k = 0; k < log.size(); ++k) {
        if (progress && k % 65536 == 0 &&
            !progress(static_cast<double>(k) / static_cast<double>(log.size()))) {
            throw Error("cancelled");
        }
        const double step_s = k > 0 ? log.time_s[k] - log.time_s[k - 1] : 0.0;
        const CheckedReadings<double> now =
            sensors.step({time_us_of(log.time_s[k]), log.current_A[k], log.voltage_V[k],
                          log.temperature_degC[k]},
                         step_s, k == 0, filter);
        const SocEstimate<double>& estimate = filter.step(sample_of(now));
        trace.soc[k] = estimate.soc;
        trace.soc_std[k] = estimate.soc_std;
        trace.voltage_predicted_V[k] = estimate.voltage_predicted_V;
        trace.innovation_V[k] = estimate.innovation_V;
        trace.innovation_std_V[k] = estimate.innovation_std_V;
        trace.resistance_scale[k] = estimate.resistance_scale;
        trace.log_scale_std[k] = estimate.log_scale_std;
        trace.hysteresis[k] = filter.state().cell.hysteresis;
        trace.fault_bits[k] = estimate.fault_bits;
        trace.sensor_fault_bits[k] = now.fault_bits;
    }
    const auto& state = filter.state();
    trace.update_count = state.update_count;
    trace.rejected_count = state.rejected_count;
    trace.reset_count = state.reset_count;
    trace.end = model_state(state.cell, trace.soc.back(), trace.soc_std.back(),
                            state.last_temperature_degC);
    return trace;
}

}  // namespace

bool starts_at_rest(const Log& log, double capacity_Ah) {
    constexpr double least_s = 5;
    constexpr double longest_s = 30;
    constexpr double recovery_V = 3e-3;
    const double quiet_A = 0.1 * capacity_Ah;
    std::size_t quiet = 0;
    const auto since_s = [&](std::size_t k) { return log.time_s[k] - log.time_s[0]; };
    while (quiet < log.size() && std::abs(log.current_A[quiet]) < quiet_A &&
           since_s(quiet) < longest_s) {
        ++quiet;
    }
    if (quiet == 0) return false;
    // A log that ends so soon tells nothing else.
    if (quiet == log.size() && since_s(quiet - 1) < least_s) return true;
    // The current of a row flowed in the step that ends there.
    if (since_s(quiet - 1) < least_s && (quiet > 1 || since_s(1) < least_s)) return false;
    // The first third of the quiet time against the last.
    const double third_s = since_s(quiet - 1) / 3;
    struct Mean {
        double voltage_V{0}, current_A{0};
        double rows{0};
        void add(const Log& l, std::size_t k) {
            rows += 1;
            voltage_V += (l.voltage_V[k] - voltage_V) / rows;
            current_A += (l.current_A[k] - current_A) / rows;
        }
    } first, last;
    // Noise of a row, from neighbours: what moves slowly is not in it.
    double noise_V2 = 0;
    for (std::size_t k = 0; k < quiet; ++k) {
        if (since_s(k) <= third_s) first.add(log, k);
        if (since_s(k) >= since_s(quiet - 1) - third_s) last.add(log, k);
        if (k > 0) noise_V2 += 0.5 * std::pow(log.voltage_V[k] - log.voltage_V[k - 1], 2);
    }
    if (quiet > 1) noise_V2 /= static_cast<double>(quiet - 1);
    const double mean_std_V = std::sqrt(noise_V2 * (1 / first.rows + 1 / last.rows));
    // A current that moves up lifts the voltage by itself.
    const bool steady = last.current_A - first.current_A < 0.02 * capacity_Ah;
    return !(steady && last.voltage_V - first.voltage_V > std::max(recovery_V, 3 * mean_std_V));
}

SocTrace replay(const Cell& cell, const Log& log, const ReplaySettings& settings,
                const std::function<bool(double)>& progress) {
    if (log.size() == 0) throw Error(log.source + ": has no rows");
    check_log(log, settings.sensors.use == SensorUse::replaced);
    Cell used = aged_cell(cell, settings.age);
    if (settings.capacity_Ah) used.capacity_Ah = *settings.capacity_Ah;
    return with_form(used, [&](auto form) {
        return replay_with<decltype(form)::branches, decltype(form)::transfer>(used, log, settings,
                                                                               progress);
    });
}

std::vector<SeenSensorFault> sensor_faults(const SocTrace& trace) {
    std::vector<SeenSensorFault> found;
    std::uint32_t all = 0;
    for (const std::uint32_t bits : trace.sensor_fault_bits)
        all |= bits;
    for (std::uint32_t bit = 1; bit != 0; bit <<= 1U) {
        if ((all & bit) == 0) continue;
        SeenSensorFault fault{bit};
        bool before = false;
        for (std::size_t k = 0; k < trace.sensor_fault_bits.size(); ++k) {
            const bool now = (trace.sensor_fault_bits[k] & bit) != 0;
            if (now) {
                if (fault.rows == 0) fault.first_s = trace.time_s[k];
                fault.last_s = trace.time_s[k];
                ++fault.rows;
                if (!before) ++fault.times;
            }
            before = now;
        }
        found.push_back(fault);
    }
    return found;
}

void write_trace(const std::filesystem::path& path, const SocTrace& trace) {
    const std::vector<double> bits(trace.fault_bits.begin(), trace.fault_bits.end());
    const std::vector<double> sensor_bits(trace.sensor_fault_bits.begin(),
                                          trace.sensor_fault_bits.end());
    write_csv(path,
              {"time_s", "soc", "soc_std", "voltage_predicted_V", "innovation_V",
               "innovation_std_V", "fault_bits", "sensor_fault_bits"},
              {trace.time_s, trace.soc, trace.soc_std, trace.voltage_predicted_V,
               trace.innovation_V, trace.innovation_std_V, bits, sensor_bits});
}

}  // namespace voltkeel

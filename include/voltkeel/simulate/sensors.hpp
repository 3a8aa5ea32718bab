#pragma once
/// \file sensors.hpp
/// What measuring channels would have shown of a simulated run: sampled each at its own times,
/// late, off, noisy, in steps, and failing when told to.
///
///     reading = step * round((gain * truth(t - delay) + offset + noise) / step),  cut to the range
///
/// The truth between two rows of the run is a straight line; record rows as often as matters.

#include <cstdint>
#include <limits>
#include <string>
#include <vector>

#include "voltkeel/simulate/simulate.hpp"

namespace voltkeel {

/// How good a channel is. A channel without such settings shows the truth.
struct SensorSettings {
    std::string channel;  ///< Its name in the pack.
    double step{0};       ///< Of the converter, in the channel's unit; 0: none.
    double noise_std{0};
    double offset{0};
    double gain{1};
    double delay_s{0};        ///< A reading shows what was true so long ago.
    double value_shift_s{0};  ///< Each value of a channel is taken so much after the one before it.
    double low{-std::numeric_limits<double>::infinity()};  ///< Of the converter's range.
    double high{std::numeric_limits<double>::infinity()};
};

/// How a channel may fail.
enum class SensorFaultKind {
    stuck,    ///< Shows the last value before the fault.
    dropout,  ///< Shows nothing: NaN.
    offset,   ///< `amount` is added.
    gain,     ///< The truth is multiplied by `amount`.
    noise,    ///< Noise of the standard deviation `amount` is added.
};

/// Plain words for a fault; never null.
[[nodiscard]] const char* sensor_fault_name(SensorFaultKind kind) noexcept;

/// One fault, from a time to a time.
struct SensorFault {
    std::string channel;
    SensorFaultKind kind{SensorFaultKind::stuck};
    int value{-1};  ///< Which of the channel's values; -1: all.
    double start_s{0};
    double end_s{std::numeric_limits<double>::infinity()};
    double amount{0};
};

/// What a channel showed. Value j of sample k is at k * width + j.
struct SensorReadings {
    std::string channel;
    ChannelQuantity quantity{ChannelQuantity::pack_voltage};
    std::size_t width{1};        ///< Values a sample.
    std::vector<double> time_s;  ///< Of the samples, as the clock of the reader has them.
    std::vector<double> value;   ///< (samples, width); NaN where nothing came.
    std::vector<double> truth;   ///< (samples, width), at the same times, before anything was lost.
};

/// Reads every channel of a pack from a run.
/// \param result with groups recorded for group voltages, with cells for case temperatures
/// \param seed of the noise; a fault does not move the noise of what is sound
/// \throws Error for a channel that is not there, settings out of bounds, or a run that lacks what
/// is measured
[[nodiscard]] std::vector<SensorReadings> read_sensors(
    const Pack& pack, const SimulationResult& result,
    const std::vector<SensorSettings>& settings = {}, const std::vector<SensorFault>& faults = {},
    std::uint64_t seed = 1);

}  // namespace voltkeel

#pragma once
/// \file replay.hpp
/// The SOC filter along a log, for a cell whose branch count is only known at run time.

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <vector>

#include "voltkeel/estimate/sensor_checks.hpp"
#include "voltkeel/estimate/soc_filter.hpp"
#include "voltkeel/io/cell.hpp"
#include "voltkeel/io/cell_age.hpp"
#include "voltkeel/io/csv.hpp"
#include "voltkeel/io/model_state.hpp"

namespace voltkeel {

/// What becomes of the readings of a log that cannot be.
enum class SensorUse {
    off,       ///< They are not looked for.
    named,     ///< Their faults are named, the filter gets what stands in the log.
    replaced,  ///< The filter gets what SensorChecks knows better. Readings may be missing (NaN).
};

/// How the sensors of a log are looked at.
struct SensorReplay {
    SensorUse use{SensorUse::named};
    /// Without it the usual ones, of the cell's capacity, where a step of up to ten minutes is no
    /// fault. `series` is set by the replay.
    std::optional<SensorCheckSettings<double>> checks{};
};

/// How a replay starts and runs.
struct ReplaySettings {
    std::optional<double> initial_soc;                ///< Without it the first voltage tells.
    double initial_soc_std{0.2};                      ///< Used with `initial_soc`.
    std::optional<double> capacity_Ah;                ///< Replaces the cell's capacity.
    std::optional<SocFilterSettings<double>> filter;  ///< Without it filter_settings(cell).
    std::optional<bool> starts_at_rest;               ///< Without it starts_at_rest().
    CellAge age{};  ///< What the cell is known to have aged; `capacity_Ah` comes before it.
    SensorReplay sensors{};
};

/// The filter's answer at every row of a log; all vectors have its length.
struct SocTrace {
    std::vector<double> time_s, soc, soc_std, voltage_predicted_V, innovation_V, innovation_std_V,
        resistance_scale, log_scale_std, hysteresis;
    std::vector<std::uint32_t> fault_bits;         ///< See FaultBit.
    std::vector<std::uint32_t> sensor_fault_bits;  ///< See SensorFaultBit.
    std::uint32_t update_count{0};
    std::uint32_t rejected_count{0};
    std::uint32_t reset_count{0};
    ModelState end;  ///< State after the last row.
};

/// Whether a log begins at rest, or in the middle of use with branches that nobody has followed. At
/// rest it shows less than C/10 for five seconds at least (or for its first step, where that is
/// longer), and no voltage that goes on recovering: 3 mV or more, beyond noise,
/// from the first to the last third of its first half minute.
[[nodiscard]] bool starts_at_rest(const Log& log, double capacity_Ah);

/// Runs the filter along a log. The temperatures of the log are those of the case; where the cell's
/// warmth was measured (`follows_core`), the filter gets that of the core behind it. A log that
/// begins in the middle of use is started with its first reading and the current of its first two
/// minutes (`SocFilter::start_under_load`), anywhere in 0..1 without `initial_soc`; without it a
/// current that hardly moves, as that of a charge, tells too little of the branches, and the first
/// voltage is taken (`SocFilter::start_from_voltage`). Where sensors are replaced, the filter
/// starts from the first readings that came.
/// \param progress asked about every 65 536 rows with the share done; false cancels with an Error
/// \throws Error for an unusable cell, setting or log
[[nodiscard]] SocTrace replay(const Cell& cell, const Log& log, const ReplaySettings& settings = {},
                              const std::function<bool(double share)>& progress = {});

/// A fault of a sensor along a log.
struct SeenSensorFault {
    std::uint32_t bit{0};  ///< One of SensorFaultBit.
    std::size_t rows{0};   ///< Rows that have it.
    std::size_t times{0};  ///< Runs of rows that have it.
    double first_s{0};     ///< Time of the first such row, and of the last.
    double last_s{0};
};

/// The faults of sensors that a trace tells of, in the order of their bits.
[[nodiscard]] std::vector<SeenSensorFault> sensor_faults(const SocTrace& trace);

/// Writes the columns time_s, soc, soc_std, voltage_predicted_V, innovation_V, innovation_std_V,
/// fault_bits, sensor_fault_bits.
void write_trace(const std::filesystem::path& path, const SocTrace& trace);

}  // namespace voltkeel

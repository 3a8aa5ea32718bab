#pragma once
/// \file
/// What a test did, step by step.

#include <cstddef>
#include <optional>
#include <vector>

#include "voltkeel/io/csv.hpp"

namespace voltkeel {

/// Kind of a step.
enum class StepKind {
    rest,              ///< no current
    constant_current,  ///< one current, for longer than a pulse
    constant_voltage,  ///< one voltage, the current falls
    pulse,             ///< one current for a short time, after a rest
    drive,             ///< varying current
};

/// The word for a kind, such as "constant current".
[[nodiscard]] const char* step_kind_name(StepKind kind);

/// How steps are told apart.
struct StepSettings {
    std::optional<double> capacity_Ah;  ///< gives the rates and the smallest current; > 0

    /// No more than this is a rest, in A; >= 0. Left out: a hundredth of the capacity per hour or,
    /// without a capacity, 0.2 % of the largest current of the log.
    std::optional<double> rest_current_A;

    /// A constant current may differ by this share of itself from row to row, > 0 and < 1.
    double current_share = 0.02;

    /// A constant voltage stays within this band in V; > 0.
    double voltage_band_V = 0.005;

    /// A constant current between rests that lasts no longer is a pulse, in s; > 0.
    double longest_pulse_s = 60;

    /// A rest inside a drive that lasts no longer belongs to it, in s; >= 0.
    double longest_stop_s = 120;
};

/// A stretch of rows of one kind. The current of a row has flowed since the row before it, so a
/// step starts at the time of the row before its first.
struct Step {
    StepKind kind = StepKind::rest;
    std::size_t first_row = 0;         ///< from 0
    std::size_t last_row = 0;          ///< the last one that belongs to it
    double start_time_s = 0;           ///< time of the row before the first, if there is one
    double end_time_s = 0;             ///< time of the last row
    double duration_s = 0;             ///< end less start
    double mean_current_A = 0;         ///< over time; that of the row where the duration is 0
    double charge_Ah = 0;              ///< positive = charged
    double start_voltage_V = 0;        ///< in the row before the first, if there is one
    double end_voltage_V = 0;          ///< in the last row
    double mean_temperature_degC = 0;  ///< over time
    std::optional<double> rate_per_h;  ///< mean current over the capacity, where that is given
};

/// Divides a log into steps. Takes time linear in the rows.
/// \param log any log, see `check_log` \param settings bounds, see there
/// \return the steps; they follow each other without a hole from the first row to the last
/// \throws Error for a log that is none or without rows, or a setting out of range
[[nodiscard]] std::vector<Step> find_steps(const Log& log, const StepSettings& settings = {});

/// The largest current that counts as rest, in A, as `find_steps` takes it.
[[nodiscard]] double rest_current_A(const Log& log, const StepSettings& settings);

}  // namespace voltkeel

#pragma once
/// \file age_of_log.hpp
/// What a log shows of a cell's age: its capacity between rests and ends of charges, and its
/// resistance.

#include <optional>

#include "voltkeel/estimate/age.hpp"
#include "voltkeel/estimate/charge_end.hpp"
#include "voltkeel/estimate/rest.hpp"
#include "voltkeel/io/cell_age.hpp"
#include "voltkeel/io/csv.hpp"
#include "voltkeel/io/replay.hpp"

namespace voltkeel {

/// Knobs of what the age is read with.
struct AgeSettings {
    CapacitySettings<double> capacity;
    ResistanceGrowthSettings<double> resistance;
    RestSettings<double> rest;
    /// Without it the held voltage and the end current of the cell's charge plan.
    std::optional<ChargeEndSettings<double>> charge_end;
};

/// What a log shows.
struct AgeOfLog {
    CellAge age;                ///< After the log; what it does not show is as it was before.
    int rests{0};               ///< Rests whose voltage told the SOC.
    int full_charges{0};        ///< Charges that ended full.
    int capacity_intervals{0};  ///< Between those, with enough charge in between.
    int resistance_looks{0};    ///< One in ten minutes of current, if nothing else is set.
};

/// Follows the age along a log: a `CapacityEstimator` between rests, each SOC read from the voltage
/// at the end of the rest and the filter's hysteresis, and ends of charges, where it is 1; then
/// `ResistanceGrowth` on the scale of a filter that counts with this capacity, as with a wrong one
/// the scale bears what is wrong with the SOC. \param how how the log is replayed, and what is
/// known of the age when it begins
/// (`how.age`; a spread of 0 there is taken for that of the settings) \throws Error as `replay`
/// does, and for settings that cannot be used
[[nodiscard]] AgeOfLog age_of_log(const Cell& cell, const Log& log, const ReplaySettings& how = {},
                                  const AgeSettings& settings = {});

}  // namespace voltkeel

#pragma once
/// \file incremental_capacity.hpp
/// Incremental capacity dQ/dV over voltage: the peaks that wander and shrink as a cell ages.

#include <vector>

#include "voltkeel/io/cell.hpp"
#include "voltkeel/io/csv.hpp"

namespace voltkeel {

/// Knobs of the incremental capacity.
struct IncrementalCapacitySettings {
    double smoothing_V{0.005};  ///< Standard deviation of the Gaussian that smooths, > 0.
    double step_V{0.002};       ///< Distance of the voltages, > 0.
};

/// dQ/dV at evenly spaced voltages; both vectors have the same length.
struct IncrementalCapacity {
    std::vector<double> voltage_V;
    std::vector<double> charge_Ah_per_V;  ///< Not negative where the voltage follows the charge.
};

/// Incremental capacity of a slow charge or discharge.
///
/// The charge between two rows is spread over the voltages between them and smoothed with a
/// Gaussian whose part beyond the first and last voltage is given back, so that the whole adds up
/// to the charge counted. Noise of the voltage only widens the Gaussian; nothing is divided by a
/// small voltage step. \param log a slow test (C/20 or slower), current of each row held since the
/// row before \param charging which rows count: those that charge, or those that discharge \throws
/// Error when there are no such rows or a setting cannot be used
[[nodiscard]] IncrementalCapacity incremental_capacity(
    const Log& log, bool charging, const IncrementalCapacitySettings& settings = {});

/// The same of an OCV curve, straight between its nodes.
/// \param capacity_Ah charge between SOC 0 and 1 \param charging which of its two branches
[[nodiscard]] IncrementalCapacity incremental_capacity(
    const OcvCurve& curve, double capacity_Ah, bool charging,
    const IncrementalCapacitySettings& settings = {});

}  // namespace voltkeel

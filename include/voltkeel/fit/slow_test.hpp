#pragma once
/// \file slow_test.hpp
/// Capacity and open-circuit voltage from a slow discharge and charge.

#include <cstddef>
#include <string>
#include <vector>

#include "voltkeel/io/cell.hpp"
#include "voltkeel/io/csv.hpp"

namespace voltkeel {

/// Knobs of the slow-test evaluation.
struct SlowTestSettings {
    double fastest_rate_per_h{
        0.125};  ///< A mean current above this share of the capacity per hour is not "slow".
    int node_count{201};          ///< SOC nodes of the OCV curve.
    double kernel_soc{0.006};     ///< Half width of the local straight-line fit behind each node.
    double gain_std{0.001};       ///< Relative standard deviation of the current reading.
    double offset_std_A{0.0015};  ///< Standard deviation of the remaining current offset.
    double overvoltage_share_std{
        0.3};  ///< How well the overvoltage of the slow current is known, as a share of it.
};

/// A stretch of rows [first, last] with one direction of current.
struct LogSection {
    std::size_t first{0};
    std::size_t last{0};
    double charge_Ah{0};       ///< Signed.
    double mean_current_A{0};  ///< Signed.
};

/// What a slow test says.
struct SlowTest {
    double capacity_Ah{0};  ///< Put out between the full and the empty voltage.
    double capacity_Ah_std{0};
    double charged_Ah{0};         ///< Put in by the charge; 0 when the log has none.
    double temperature_degC{25};  ///< Median of the discharge.
    double voltage_min_V{0};      ///< Lowest voltage under current.
    double voltage_max_V{0};      ///< Highest voltage under current.
    LogSection discharge;
    LogSection charge;
    std::vector<double> soc;  ///< At every row of the log; 1 at the start of the discharge.
    std::vector<std::size_t> used_rows;  ///< Behind capacity and OCV, from 0, rising.
    std::vector<std::string> notes;
};

/// Finds the slow discharge and the slow charge and measures the capacity.
/// \throws Error when there is no full discharge, or when it is too fast, saying what is missing.
[[nodiscard]] SlowTest read_slow_test(const Log& log, const SlowTestSettings& settings = {});

/// OCV curve of a slow test.
/// \param overvoltage_V what the current adds to the OCV at every row (negative while discharging),
/// from a fitted
///        model; empty means nothing is known of it yet and it stays in the curve.
[[nodiscard]] OcvCurve ocv_curve(const Log& log, const SlowTest& test,
                                 const std::vector<double>& overvoltage_V,
                                 const SlowTestSettings& settings = {});

}  // namespace voltkeel

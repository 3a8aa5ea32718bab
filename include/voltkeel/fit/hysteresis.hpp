#pragma once
/// \file hysteresis.hpp
/// How fast the OCV goes over to the other branch when the current turns.

#include <cstddef>
#include <string>
#include <vector>

#include "voltkeel/io/cell.hpp"
#include "voltkeel/io/csv.hpp"

namespace voltkeel {

/// Knobs of the hysteresis fit.
struct HysteresisSettings {
    double fastest_rate_per_h{0.25};  ///< Rows under more current than this multiple of the
                                      ///< capacity per hour do not count; > 0.
    double rest_s{600};               ///< Rests count from here on; > 0.
    double soc_low{
        0.08};  ///< Below, the curve is too steep: an error of SOC passes for hysteresis.
    double soc_high{0.92};              ///< Above, likewise.
    double window_soc{0.15};            ///< Rows as close in SOC as this share one offset; > 0.
    double row_soc{0.002};              ///< Rows under current count once in so much SOC; > 0.
    double voltage_std_V{0.001};        ///< Least error of the model; > 0.
    double overvoltage_share_std{0.2};  ///< How well the overvoltage is known in each window; > 0.
    double gap_share_std{0.2};          ///< How well the gap between the branches is known; > 0.
    double slope_std_V{0.1};            ///< How well the slope of the OCV is known, V per SOC; > 0.
    double rate_low{3};                 ///< Rates that are tried; > 0.
    double rate_high{1000};
    double largest_log_std{0.69};  ///< Known no better than this (a factor of 2): not told; > 0.
};

/// What the logs say of the rate.
struct HysteresisRateFit {
    bool told{false};        ///< The data hold the rate; else read `note`.
    double rate{0};          ///< See Cell::hysteresis_rate; the best one, told or not.
    double rate_log_std{0};  ///< Of the natural logarithm; infinity where nothing is known.
    std::size_t turns{0};    ///< Changes of direction that were looked at.
    std::size_t rows{0};
    double residual_rms_V{0};
    std::string note;  ///< For a provenance: what was found, or why nothing can be.
};

/// Fits the hysteresis rate to logs in which the current turns half-way: partial cycles at slow
/// current, or rests after charges and discharges.
///
/// The model is run through each log without correction, from `initial_soc`, with its gap taken
/// off. What is left in rows at slow current and late in rests is explained, in windows of SOC in
/// which the current turns, by the walk between the branches at one rate, and by what is not known
/// of the model there: an offset and a slope of the OCV, a scale of the overvoltage, one scale of
/// the gap. For each rate these are linear and solved for; the profile of the sum of squares over
/// the rate gives the best one and its spread (rows that repeat each other count less).
/// \param initial_soc of each log; empty: every log starts full
/// \throws Error for an unusable log, cell or setting
[[nodiscard]] HysteresisRateFit fit_hysteresis_rate(const std::vector<Log>& logs, const Cell& cell,
                                                    const std::vector<double>& initial_soc = {},
                                                    const HysteresisSettings& settings = {});

}  // namespace voltkeel

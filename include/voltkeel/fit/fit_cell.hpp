#pragma once
/// \file fit_cell.hpp
/// From test logs to a cell: the whole job in one call.

#include <functional>
#include <string>
#include <vector>

#include "voltkeel/fit/pulse_test.hpp"
#include "voltkeel/fit/slow_test.hpp"
#include "voltkeel/io/cell.hpp"
#include "voltkeel/io/csv.hpp"

namespace voltkeel {

/// Knobs of the whole fit.
struct FitSettings {
    std::string name{"cell"};
    SlowTestSettings slow;
    PulseFitSettings pulses;
    double hysteresis_rate{
        30};  ///< Assumed: one thirtieth of the capacity turns the hysteresis by 63 %.
    double same_temperature_K{4};  ///< Pulse tests closer than this are fitted together.
    double widest_temperature_K{
        12};        ///< A pulse test that spans more is refused: split it by temperature.
    int passes{3};  ///< Rounds of pulse fit and OCV correction.
};

/// Called with the share of work done (0..1) and what is being done; return false to cancel.
using FitProgress = std::function<bool(double share, const std::string& stage)>;

/// Result of a fit: the cell, and the fit at each temperature behind it.
struct FitResult {
    Cell cell;
    std::vector<PulseFit> pulses;  ///< By rising temperature.
    SlowTest slow;
};

/// Makes a cell from a slow charge/discharge test and pulse tests at any mix of temperatures.
///
/// The two are fitted in turns: the slow test gives the OCV, the pulses the resistances, the
/// resistances the overvoltage that the slow current put on the OCV, and so on. \param slow log of
/// the slow test \param pulses logs of pulse tests, each starting at rest; the temperature comes
///        from the data
/// \throws Error that says which log lacks what; "cancelled" when `progress` returns false
[[nodiscard]] FitResult fit_cell(const Log& slow, const std::vector<Log>& pulses,
                                 const FitSettings& settings = {},
                                 const FitProgress& progress = {});

}  // namespace voltkeel

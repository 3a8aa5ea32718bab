#pragma once
/// \file thermal.hpp
/// Heat capacity and thermal resistances of a cell from the warmth of its case.

#include <cstddef>
#include <vector>

#include "voltkeel/io/cell.hpp"
#include "voltkeel/io/csv.hpp"

namespace voltkeel {

/// Fits core, case and the path to the surroundings to logged case temperatures.
///
/// The heat is the model's own, I (V - OCV) + I T dOCV/dT, at the logged voltage. The surroundings
/// are fitted too, a value of their own for every log that may drift slowly.
///
/// A sensor on the case shows the heat capacity, the resistance to the surroundings and, given
/// enough heat, how long the case lags behind the heat. It does not show how that lag splits into
/// core resistance and core mass: this much is taken as usual, and `source` and the standard
/// deviations say so.
/// \param logs pulse tests, drives, constant currents that warm the cell by at least 1 K; each is
/// best started at rest
/// \param cell capacity, OCV and resistances
/// \return the fit; when no log warms the cell enough, usual values per ampere-hour marked
/// "assumed".
[[nodiscard]] ThermalFit fit_thermal(const std::vector<Log>& logs, const Cell& cell);

/// How many rows of a log `fit_thermal` goes by: means over 5 s and more; 0 for a log of fewer than
/// 20 rows, which it leaves out.
/// \throws Error for an unusable log or cell
[[nodiscard]] std::size_t thermal_rows(const Log& log, const Cell& cell);

/// A log as the thermal part of a cell sees it; every vector has the length of `time_s`, rows of
/// the log are put together to 5 s and more.
struct ThermalTrace {
    std::vector<double> time_s;
    std::vector<double> heat_W;        ///< Made in the core, mean over the step that ends here.
    std::vector<double> ambient_degC;  ///< Surroundings, fitted to this log.
    std::vector<double> case_degC;     ///< From the heat and the surroundings.
    std::vector<double> core_degC;     ///< From the heat and the logged case temperature.
    double residual_rms_K{0};          ///< `case_degC` against the log.
};

/// Runs the thermal part of a cell over a log: how well it meets a log that it was not fitted to,
/// and how warm the core was. Start and surroundings are fitted to the log, nothing else.
/// \throws Error for an unusable log or cell
[[nodiscard]] ThermalTrace thermal_trace(const Log& log, const Cell& cell);

/// The same log with the temperature of the core in place of that of the case, row by row: what the
/// cell model goes by. The core starts as warm as the case.
/// \return the log as it is for a cell without a core, and where `follows_core` says no
/// \throws Error for an unusable log or cell
[[nodiscard]] Log core_log(const Log& log, const Cell& cell);

}  // namespace voltkeel

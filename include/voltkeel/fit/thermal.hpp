#pragma once
/// \file thermal.hpp
/// Heat capacity and thermal resistance of a cell from the warmth of its pulses.

#include <vector>

#include "voltkeel/io/cell.hpp"
#include "voltkeel/io/csv.hpp"

namespace voltkeel {

/// Fits one thermal mass with one path to the surroundings to the logged temperatures.
/// \param logs tests with currents high enough to warm the cell by at least 1 K; the surroundings
/// are taken as constant
///        over a log (fitted, one value each)
/// \param cell capacity and OCV
/// \return the fit; when the cell never warms enough, usual values per ampere-hour marked
/// "assumed".
[[nodiscard]] ThermalFit fit_thermal(const std::vector<Log>& logs, const Cell& cell);

}  // namespace voltkeel

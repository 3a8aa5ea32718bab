#pragma once
/// \file filter_settings.hpp
/// Settings of the SOC filter that follow how well a cell is known.

#include "voltkeel/estimate/soc_filter.hpp"
#include "voltkeel/io/cell.hpp"

namespace voltkeel {

/// Settings from what the cell file says of itself: the noise that its fit found in
/// cross-validation, and the standard deviations where they say that little is known.
///
/// Voltage noise is that of ModelNoise, grown by how much errors repeat from one update to the
/// next; a cell without it gets the defaults.
///
/// The error of a borrowed OCV curve is the same from second to second, so no number of samples
/// averages it out: it goes into the voltage spread and, through the slope of the curve between 20
/// and 80 % SOC, into the floor of the SOC spread. The spread of the resistance goes into the start
/// of the resistance scale, that of the capacity into the growth while counting.
/// \throws Error when the cell is not usable
[[nodiscard]] SocFilterSettings<double> filter_settings(const Cell& cell);

}  // namespace voltkeel

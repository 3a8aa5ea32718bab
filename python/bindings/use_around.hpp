#pragma once
/// \file use_around.hpp
/// The start in the middle of use, as the three filters take it.

#include <limits>
#include <optional>

#include "voltkeel/estimate/soc_filter.hpp"

namespace voltkeel::python {

/// \param voltage_V none: there is no reading of now
inline UseAround<double> use_around(double mean_current_A, double rms_current_A,
                                    std::optional<double> voltage_V, double current_A) {
    return {mean_current_A, rms_current_A,
            voltage_V.value_or(std::numeric_limits<double>::quiet_NaN()), current_A};
}

}  // namespace voltkeel::python

#pragma once
/// \file statistics.hpp
/// Order statistics that more than one part of the fit floor needs.

#include <algorithm>
#include <cstddef>
#include <vector>

namespace voltkeel {

/// The value below which a share (0..1) of `values` lies; values must not be empty.
inline double quantile(std::vector<double> values, double share) {
    const auto at = static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1));
    std::nth_element(values.begin(), values.begin() + at, values.end());
    return values[static_cast<std::size_t>(at)];
}

}  // namespace voltkeel

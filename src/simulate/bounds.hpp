#pragma once
/// \file
/// Checks of one number against its bounds, in words.

#include <cmath>
#include <string>

#include "io/number_text.hpp"
#include "voltkeel/error.hpp"

namespace voltkeel::detail {

/// Bounds of a speed and of a grade, either way.
inline constexpr double speed_largest_m_per_s = 150;
inline constexpr double grade_largest = 0.5;

/// \throws Error "FIELD: VALUE is outside LOW .. HIGH" unless low <= value <= high
inline void need_within(const std::string& field, double value, double low, double high) {
    if (value >= low && value <= high) return;  // false for NaN
    throw Error(field + ": " + number_text(value, "%.6g") + " is outside " +
                number_text(low, "%.6g") + " .. " + number_text(high, "%.6g"));
}

/// \throws Error unless 0 < value <= high
inline void need_positive(const std::string& field, double value, double high) {
    if (value > 0 && value <= high) return;
    throw Error(field + ": " + number_text(value, "%.6g") + " must be above 0 and at most " +
                number_text(high, "%.6g"));
}

}  // namespace voltkeel::detail

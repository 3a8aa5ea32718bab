#pragma once
/// \file finite.hpp
/// Telling numbers from NaN and infinity, and keeping them in bounds, without the C library. Needs
/// value-safe floating point, no fast-math.

namespace voltkeel::detail {

/// False for NaN and for both infinities.
template <class Real>
[[nodiscard]] constexpr bool finite(Real x) noexcept {
    return x - x == Real(0);
}

/// True for a number in [low, high]; false for NaN.
template <class Real>
[[nodiscard]] constexpr bool within(Real x, Real low, Real high) noexcept {
    return x >= low && x <= high;
}

/// The number in [low, high] that is nearest; NaN stays.
template <class Real>
[[nodiscard]] constexpr Real bounded(Real x, Real low, Real high) noexcept {
    return x < low ? low : (x > high ? high : x);
}

}  // namespace voltkeel::detail

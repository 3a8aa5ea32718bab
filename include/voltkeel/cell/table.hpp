#pragma once
/// \file table.hpp
/// Where a value lies on an evenly spaced axis. Tables are views over arrays that somebody else
/// owns: `constexpr` arrays in flash on a controller, vectors on a desktop.

#include <limits>

namespace voltkeel {

/// Evenly spaced axis: value of node k is first + k * step.
template <class Real>
struct UniformAxis {
    Real first{0};
    Real step{1};
    Real inverse_step{1};  ///< 1 / step, so that a lookup does not divide.
    int count{0};          ///< Number of nodes, at least 2.

    [[nodiscard]] constexpr Real last() const noexcept {
        return first + step * static_cast<Real>(count - 1);
    }
};

/// Axis with `count` nodes from `first` to `last`, count >= 2.
template <class Real>
[[nodiscard]] constexpr UniformAxis<Real> uniform_axis(Real first, Real last, int count) noexcept {
    const Real step = (last - first) / static_cast<Real>(count - 1);
    return {first, step, Real(1) / step, count};
}

/// A place on an axis: between node `index` and `index + 1`, `fraction` of the way.
template <class Real>
struct AxisPosition {
    int index{0};
    Real fraction{0};  ///< 0..1 inside the axis.
    bool inside{true};
};

/// Finds `value` on `axis`. Outside the axis the position is the nearest end (`inside` false); NaN
/// gives the first node.
template <class Real>
[[nodiscard]] inline AxisPosition<Real> locate(const UniformAxis<Real>& axis, Real value) noexcept {
    const Real t = (value - axis.first) * axis.inverse_step;
    if (!(t >= Real(0))) return {0, Real(0), false};
    const int last_interval = axis.count - 2;
    const Real top = static_cast<Real>(last_interval + 1);
    if (t >= top) {
        // A value equal to the last node may come out a rounding above it.
        constexpr Real slack = Real(1) + Real(8) * std::numeric_limits<Real>::epsilon();
        return {last_interval, Real(1), t <= top * slack};
    }
    const int index = static_cast<int>(t);
    return {index, t - static_cast<Real>(index), true};
}

}  // namespace voltkeel

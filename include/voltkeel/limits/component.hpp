#pragma once
/// \file component.hpp
/// What the parts beside the cells allow: fuse, contactor, cable, connector, charger, drive, and a
/// ceiling that the driver chooses.
///
/// A part that warms is one mass that the current heats and that cools towards its surroundings:
///
///     dw/dt = ((I / rated)^2 - w) / tau       tau = I2t / rated^2        w = 1: at its end
///
/// so that it carries its rated current for ever and short overloads in between (own derivation
/// from the heat balance of one mass; at short times it is the I2t that makers state). A maker's
/// time-current curve may stand beside or in place of it. Units and signs as in
/// voltkeel/units.hpp; currents of this page are magnitudes.

#include <cmath>
#include <limits>

#include "voltkeel/cell/bounds.hpp"
#include "voltkeel/cell/exponential.hpp"
#include "voltkeel/limits/current_limits.hpp"

namespace voltkeel {

/// A point of a maker's time-current curve: after `time_s` of this current the part is at its end.
template <class Real>
struct TimeCurrentPoint {
    Real time_s{0};
    Real current_A{0};
};

/// One part that carries the current of the pack or of a string.
template <class Real>
struct LimitComponent {
    static constexpr Real unlimited = std::numeric_limits<Real>::infinity();

    LimitReason kind{LimitReason::drive};  ///< `fuse` to `driver`.
    int string{-1};                        ///< Which string's current it carries; -1: the pack's.
    Real charge_A{unlimited};              ///< Never more, for no time.
    Real discharge_A{unlimited};           ///< Never more, for no time.
    Real rated_A{unlimited};               ///< Carried for ever, in both directions.
    Real i2t_A2s{0};  ///< Of the maker at short times; 0: nothing above `rated_A`.
    /// Maker's curve, times rising, currents falling, above `rated_A`; null: none. In between a
    /// straight line of the logarithms; beyond its last time `rated_A` counts.
    const TimeCurrentPoint<Real>* curve{nullptr};
    int curve_count{0};
    /// What may be used of I2t and of the curve's heat at a time: currents stay below by its root.
    Real used_share{Real(0.8)};
    Real warmth{0};  ///< w now, 0 cold .. 1; see warmth_after.
};

/// Checks one part; see validate(CellParameters). \param index of the part, for the finding
template <class Real>
[[nodiscard]] Finding<Real> validate(const LimitComponent<Real>& part, int index = -1) noexcept {
    const auto outside = [&](const char* field, Real value, Real bound) -> Finding<Real> {
        return {Status::out_of_range, field, index, value, bound};
    };
    if (part.kind < LimitReason::fuse || part.kind > LimitReason::driver) {
        return outside("kind", static_cast<Real>(part.kind), static_cast<Real>(LimitReason::fuse));
    }
    if (part.string < -1) return outside("string", static_cast<Real>(part.string), Real(-1));
    // Infinite means no bound; NaN fails every comparison.
    if (!(part.charge_A >= Real(0))) return outside("charge_A", part.charge_A, Real(0));
    if (!(part.discharge_A >= Real(0))) return outside("discharge_A", part.discharge_A, Real(0));
    if (!(part.rated_A > Real(0))) return outside("rated_A", part.rated_A, Real(0));
    const detail::BoundedField<Real> rows[] = {
        {"i2t_A2s", part.i2t_A2s, Real(0), Real(1e15)},
        {"used_share", part.used_share, Real(0.01), Real(1)},
        {"warmth", part.warmth, Real(0), Real(100)},
    };
    const Finding<Real> finding = detail::first_outside(rows, index);
    if (finding.status != Status::ok) return finding;
    if (part.i2t_A2s > Real(0) && !detail::finite(part.rated_A)) {
        return outside("rated_A", part.rated_A, part.i2t_A2s);
    }
    if (part.curve == nullptr) return {};
    if (part.curve_count < 2) {
        return {Status::missing_table, "curve", index, static_cast<Real>(part.curve_count),
                Real(2)};
    }
    for (int k = 0; k < part.curve_count; ++k) {
        const TimeCurrentPoint<Real>& point = part.curve[k];
        if (!detail::finite(point.time_s) || !detail::finite(point.current_A)) {
            return {Status::not_finite, "curve", k, point.current_A, Real(0)};
        }
        if (!(point.time_s > Real(0)))
            return {Status::out_of_range, "curve.time_s", k, point.time_s, Real(0)};
        if (!(point.current_A > Real(0))) {
            return {Status::out_of_range, "curve.current_A", k, point.current_A, Real(0)};
        }
        if (k > 0 && !(point.time_s > part.curve[k - 1].time_s)) {
            return {Status::not_increasing, "curve.time_s", k, point.time_s,
                    part.curve[k - 1].time_s};
        }
        if (k > 0 && point.current_A > part.curve[k - 1].current_A) {
            return {Status::out_of_range, "curve.current_A", k, point.current_A,
                    part.curve[k - 1].current_A};
        }
    }
    return {};
}

namespace detail {

/// Current of a time-current curve at a time within it.
template <class Real>
[[nodiscard]] inline Real curve_current_A(const LimitComponent<Real>& part, Real time_s) noexcept {
    if (time_s <= part.curve[0].time_s) return part.curve[0].current_A;
    int k = 0;
    while (k < part.curve_count - 2 && time_s >= part.curve[k + 1].time_s)
        ++k;
    const TimeCurrentPoint<Real>& a = part.curve[k];
    const TimeCurrentPoint<Real>& b = part.curve[k + 1];
    const Real share = logarithm(time_s / a.time_s) / logarithm(b.time_s / a.time_s);
    return a.current_A * exponential(share * logarithm(b.current_A / a.current_A));
}

}  // namespace detail

/// Largest current (A, magnitude) that the part carries over a horizon, from its warmth now.
/// \param part checked once with validate() \param horizon_s >= 0; infinite: for ever
template <class Real>
[[nodiscard]] inline Real component_current_A(const LimitComponent<Real>& part, bool charging,
                                              Real horizon_s) noexcept {
    const Real ceiling_A = charging ? part.charge_A : part.discharge_A;
    Real carried_A = part.rated_A;
    bool overload = false;
    if (part.i2t_A2s > Real(0)) {
        const Real tau_s = part.i2t_A2s / (part.rated_A * part.rated_A);
        const Real share =
            detail::finite(horizon_s) ? relaxed_fraction(horizon_s / tau_s) : Real(1);
        const Real room = part.used_share - part.warmth * (Real(1) - share);
        const Real square = room > Real(0) ? room / share : Real(0);  // of the rated current's
        carried_A = room > Real(0) && !(share > Real(0)) ? LimitComponent<Real>::unlimited
                                                         : part.rated_A * std::sqrt(square);
        overload = true;
    }
    if (part.curve != nullptr) {
        Real curve_A = part.rated_A;
        if (horizon_s <= part.curve[part.curve_count - 1].time_s) {
            curve_A = std::sqrt(part.used_share) * detail::curve_current_A(part, horizon_s);
            if (curve_A < part.rated_A && detail::finite(part.rated_A)) curve_A = part.rated_A;
        }
        if (!overload || curve_A < carried_A) carried_A = curve_A;
    }
    return carried_A < ceiling_A ? carried_A : ceiling_A;
}

/// Warmth of a part after a step: exact for a current held over it. A part without `i2t_A2s` has
/// none. \param current_A its sign does not matter
template <class Real>
[[nodiscard]] inline Real warmth_after(const LimitComponent<Real>& part, Real current_A,
                                       Real dt_s) noexcept {
    if (!(part.i2t_A2s > Real(0))) return Real(0);
    const Real per_rated = current_A / part.rated_A;
    const Real share = relaxed_fraction(dt_s * (part.rated_A * part.rated_A) / part.i2t_A2s);
    return part.warmth + share * (per_rated * per_rated - part.warmth);
}

}  // namespace voltkeel

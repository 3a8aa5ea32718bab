#pragma once
/// \file tracker.hpp
/// Limits over time: what a drive may be told from tick to tick.
///
/// - A limit closes at once and opens at a set rate, and only when there is more than a band to
/// gain,
///   so that it does not chatter around a constraint.
/// - When a group leaves its window the limit goes to nothing within a grace time, in a straight
///   line: a floor that no opening passes.
/// - A pulse is used up by using it: a limit for 10 s is spent after 10 s of it, and recovers while
///   less than the next longer limit flows. With b the share used, P the pulse limit, A what the
///   next longer horizon allows and h the horizon,
///
///       b'      = (I^2 - A^2) / (P^2 - A^2) / h               for |I| > A
///       b'      = -(A^2 - I^2) / A^2 / (h recovery_ratio)     for |I| <= A
///       allowed = sqrt(A^2 + (P^2 - A^2) (1 - b))
///
///   The squares stand for heat in a resistance (common practice, no source); who follows the limit
///   as it shrinks never uses it up.
///
/// Units and signs as in voltkeel/units.hpp. No clock: time is an argument.

#include <cmath>

#include "voltkeel/cell/bounds.hpp"
#include "voltkeel/limits/pack_limits.hpp"
#include "voltkeel/status.hpp"

namespace voltkeel {

/// Knobs of the tracker.
template <class Real>
struct TrackerSettings {
    Real opening_time_s{5};  ///< From nothing to what the limit is at present.
    Real band{Real(0.04)};   ///< A limit opens when it gains this share, and stays half below.
    Real grace_s{2};         ///< From a window left to nothing; 0: at once.
    Real recovery_ratio{4};  ///< A used-up pulse recovers at rest in this many horizons.
};

/// Checks the settings; see validate(CellParameters).
template <class Real>
[[nodiscard]] Finding<Real> validate(const TrackerSettings<Real>& s) noexcept {
    const detail::BoundedField<Real> rows[] = {
        {"opening_time_s", s.opening_time_s, Real(0), Real(3600)},
        {"band", s.band, Real(0), Real(0.5)},
        {"grace_s", s.grace_s, Real(0), Real(60)},
        {"recovery_ratio", s.recovery_ratio, Real(0.01), Real(1000)},
    };
    return detail::first_outside(rows);
}

/// Follows the limits of up to `MaxHorizons` horizons.
template <class Real, int MaxHorizons = 4>
class LimitTracker {
  public:
    /// \return ok, or as validate() says; the tracker is then as it was
    [[nodiscard]] Status set(const TrackerSettings<Real>& settings) noexcept {
        const Status status = validate(settings).status;
        if (status == Status::ok) settings_ = settings;
        return status;
    }

    /// Forgets everything: the next limits are taken as they are.
    void restart() noexcept { *this = with(settings_); }

    /// One tick.
    /// \param raw limits found now, `count` of them in the same order every time
    /// \param current_A mean of the measured current since the last tick, positive charging
    /// \param dt_s since the last tick, 0 to 10 s; the first call's is not read
    /// \param out receives `count` limits, never beyond `raw` but within a grace time
    /// \return ok; out_of_range for the count, sample_not_finite or time_step_invalid, with nothing
    ///         changed
    [[nodiscard]] Status update(const PackHorizonLimit<Real>* raw, int count, Real current_A,
                                Real dt_s, PackHorizonLimit<Real>* out) noexcept {
        if (raw == nullptr || out == nullptr || count < 1 || count > MaxHorizons) {
            return Status::out_of_range;
        }
        if (!detail::finite(current_A) || !detail::finite(dt_s)) return Status::sample_not_finite;
        for (int k = 0; k < count; ++k) {
            for (const PackDirectionLimit<Real>* limit : {&raw[k].charge, &raw[k].discharge}) {
                if (!detail::finite(limit->current_A)) return Status::sample_not_finite;
            }
        }
        if (dt_s < Real(0) || dt_s > Real(10)) return Status::time_step_invalid;
        const Real step_s = started_ && count == count_ ? dt_s : Real(0);
        if (count != count_) *this = with(settings_);
        count_ = count;
        // From the longest: each shorter one stands on the next longer.
        for (int k = count - 1; k >= 0; --k) {
            out[k].horizon_s = raw[k].horizon_s;
            follow(raw, out, k, current_A, step_s, charge_, &PackHorizonLimit<Real>::charge,
                   Real(1));
            follow(raw, out, k, current_A, step_s, discharge_, &PackHorizonLimit<Real>::discharge,
                   Real(-1));
        }
        started_ = true;
        return Status::ok;
    }

    /// Share of the pulse of horizon `k` that is used, 0..1.
    [[nodiscard]] Real charge_used(int k) const noexcept { return charge_[k].used; }
    [[nodiscard]] Real discharge_used(int k) const noexcept { return discharge_[k].used; }

  private:
    struct Side {
        Real allowed_A{0};  ///< Magnitude that was told.
        Real base_A{0};     ///< What the next longer horizon allowed.
        Real pulse_A{0};    ///< What the limit was.
        Real used{0};
        Real falling_from_A{-1};  ///< Where a grace ramp started; < 0: none runs.
    };

    [[nodiscard]] static LimitTracker with(const TrackerSettings<Real>& settings) noexcept {
        LimitTracker fresh;
        fresh.settings_ = settings;
        return fresh;
    }

    void follow(const PackHorizonLimit<Real>* raw, PackHorizonLimit<Real>* out, int k,
                Real current_A, Real dt_s, Side* sides,
                PackDirectionLimit<Real> PackHorizonLimit<Real>::*direction, Real sign) noexcept {
        Side& side = sides[k];
        const PackDirectionLimit<Real>& now = raw[k].*direction;
        PackDirectionLimit<Real>& told = out[k].*direction;
        use(side, raw[k].horizon_s, sign * current_A, dt_s);

        const Real found_A = sign * now.current_A;
        const bool last = k + 1 == count_;
        side.pulse_A = found_A;
        side.base_A = last ? found_A : sides[k + 1].allowed_A;
        if (side.base_A > found_A) side.base_A = found_A;
        const Real base_square = side.base_A * side.base_A;
        const Real square = base_square + (found_A * found_A - base_square) * (Real(1) - side.used);
        Real target_A = found_A;
        LimitReason reason = now.reason;
        if (side.used > Real(0) && found_A > side.base_A) {
            target_A = std::sqrt(square);
            reason = LimitReason::pulse_used;
        }
        const bool left = !(found_A > Real(0)) &&
                          (now.reason == LimitReason::voltage || now.reason == LimitReason::soc ||
                           now.reason == LimitReason::temperature);
        Real allowed_A = target_A;
        if (started_ && left && side.allowed_A > Real(0) && settings_.grace_s > Real(0)) {
            if (side.falling_from_A < Real(0)) side.falling_from_A = side.allowed_A;
            allowed_A = side.allowed_A - side.falling_from_A * (dt_s / settings_.grace_s);
            if (!(allowed_A > Real(0))) allowed_A = Real(0);
        } else {
            side.falling_from_A = Real(-1);
            if (started_ && target_A > side.allowed_A) {
                allowed_A = side.allowed_A;
                const Real most_A = target_A * (Real(1) - Real(0.5) * settings_.band);
                if (target_A > side.allowed_A * (Real(1) + settings_.band) &&
                    most_A > side.allowed_A) {
                    const Real opened_A =
                        settings_.opening_time_s > Real(0)
                            ? side.allowed_A + target_A * (dt_s / settings_.opening_time_s)
                            : most_A;
                    allowed_A = opened_A < most_A ? opened_A : most_A;
                    if (allowed_A < most_A) reason = LimitReason::opening;
                }
            }
        }
        // Horizons keep their order.
        if (!last && allowed_A < sides[k + 1].allowed_A && !(target_A < sides[k + 1].allowed_A)) {
            allowed_A = sides[k + 1].allowed_A;
        }
        side.allowed_A = allowed_A;
        told = at_current(now, sign * allowed_A);
        if (left && allowed_A > Real(0)) {
            // Within the grace time: the voltage is where it is.
            told.current_A = sign * allowed_A;
            told.power_W = told.current_A * told.end_voltage_V;
        }
        if (allowed_A < found_A) {
            told.reason = reason;
            if (reason == LimitReason::pulse_used) told.binding_value = side.used;
            if (reason == LimitReason::opening) told.binding_value = found_A;
        }
    }

    void use(Side& side, Real horizon_s, Real magnitude_A, Real dt_s) const noexcept {
        if (!(dt_s > Real(0)) || !(horizon_s > Real(0)) || !detail::finite(horizon_s)) return;
        const Real square = magnitude_A > Real(0) ? magnitude_A * magnitude_A : Real(0);
        const Real base = side.base_A * side.base_A;
        const Real pulse = side.pulse_A * side.pulse_A;
        const Real share = dt_s / horizon_s;
        if (square > base) {
            side.used += pulse > base ? share * (square - base) / (pulse - base) : Real(0);
        } else {
            const Real below = base > Real(0) ? (base - square) / base : Real(1);
            side.used -= share * below / settings_.recovery_ratio;
        }
        if (!(side.used > Real(0))) side.used = Real(0);
        if (side.used > Real(1)) side.used = Real(1);
    }

    TrackerSettings<Real> settings_{};
    Side charge_[MaxHorizons]{};
    Side discharge_[MaxHorizons]{};
    int count_{0};
    bool started_{false};
};

}  // namespace voltkeel

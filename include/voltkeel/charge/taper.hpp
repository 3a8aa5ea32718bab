#pragma once
/// \file taper.hpp
/// What completed charges teach about the taper: how long the current takes to fall at the held
/// voltage.
///
/// Towards the end of a charge the time left hangs on the slow diffusion near full, which pulse
/// tests do not show and an SOC known to a point does not tell. The current does: at the held
/// voltage it is the drop that the cell still has over its resistance, so it falls along nearly the
/// same curve in every charge to the same voltage. The learner keeps the time that each fall by a
/// factor of the square root of two took, over the rate (current over capacity), with a memory of a
/// few charges. Only charges that ended by their end current count.
///
/// The curve holds for the voltage, the temperatures and the age it was learned at; the memory
/// follows slow change. Where nothing was learned, the forecast's own taper stands, until the
/// charge under way has shown some falls of its own: they go on about as they went.

#include <cmath>

#include "voltkeel/cell/bounds.hpp"
#include "voltkeel/cell/exponential.hpp"
#include "voltkeel/cell/finite.hpp"
#include "voltkeel/charge/forecast.hpp"
#include "voltkeel/status.hpp"

namespace voltkeel {

/// Knobs of the learner.
template <class Real>
struct TaperSettings {
    Real capacity_Ah{0};     ///< Of a cell, > 0.
    Real memory_charges{4};  ///< A charge counts e-fold less after so many.
    Real spread{Real(0.1)};  ///< Of a fall's time from charge to charge, until they tell:
                             ///< standard deviation as a share (common practice, no source).
};

/// Checks the settings; see validate(CellParameters).
template <class Real>
[[nodiscard]] Finding<Real> validate(const TaperSettings<Real>& s) noexcept {
    const detail::BoundedField<Real> rows[] = {
        {"capacity_Ah", s.capacity_Ah, Real(1e-3), Real(1e5)},
        {"memory_charges", s.memory_charges, Real(1), Real(1000)},
        {"spread", s.spread, Real(0.001), Real(1)},
    };
    return detail::first_outside(rows);
}

/// What must survive a restart.
template <class Real>
struct TaperState {
    /// Rates fall by the square root of two from 4 /h: the last is below C/1000.
    static constexpr int falls = 24;
    Real time_s[falls]{};     ///< Sum of the times of each fall, weighed.
    Real square_s2[falls]{};  ///< Sum of their squares.
    Real weight[falls]{};     ///< Of both sums; 0: never seen.
    int charges{0};           ///< Completed.
};

/// Time left at the held voltage.
template <class Real>
struct TaperTime {
    Real time_s{0};
    Real std_s{0};
    int charges{0};           ///< Completed ones behind it.
    bool this_charge{false};  ///< The falls of the charge under way are in it.
};

/// Learns from completed charges.
template <class Real>
class TaperLearner {
  public:
    /// \return ok, or what validate() finds; the learner is then as it was
    [[nodiscard]] Status configure(const TaperSettings<Real>& settings) noexcept {
        const Status status = validate(settings).status;
        if (status != Status::ok) return status;
        settings_ = settings;
        state_ = {};
        configured_ = true;
        begin();
        return Status::ok;
    }

    /// A new charge; what was not completed is forgotten.
    void begin() noexcept {
        for (Real& time_s : fall_s_)
            time_s = Real(-1);
        next_ = -1;
        last_rate_ = Real(0);
        since_s_ = Real(-1);
        wait_s_ = Real(0);
    }

    /// One tick. \param current_A into a cell, measured \param holding the last voltage of the plan
    /// is held \param dt_s since the last tick, >= 0
    /// \return ok; not_started; sample_not_finite or time_step_invalid: the charge is then
    /// forgotten
    [[nodiscard]] Status step(Real current_A, bool holding, Real dt_s) noexcept {
        if (!configured_) return Status::not_started;
        if (!detail::finite(current_A) || !detail::finite(dt_s)) {
            begin();
            return Status::sample_not_finite;
        }
        if (dt_s < Real(0) || dt_s > Real(86400)) {
            begin();
            return Status::time_step_invalid;
        }
        const Real rate = current_A / settings_.capacity_Ah;
        if (!holding || !(rate > Real(0))) {
            // A pause lets the cell relax: what follows is another taper.
            begin();
            return Status::ok;
        }
        if (!(last_rate_ > Real(0))) {
            last_rate_ = rate;
            next_ = fall_below(rate);
            since_s_ = Real(-1);
            return Status::ok;
        }
        // Only what is lower than all before is a fall: noise is not.
        Real left_s = dt_s;
        if (rate >= last_rate_) {
            wait_s_ += dt_s;
            return Status::ok;
        }
        left_s += wait_s_;
        wait_s_ = Real(0);
        Real from_rate = last_rate_;
        while (next_ <= TaperState<Real>::falls && rate <= edge(next_)) {
            // Between two samples the logarithm falls in a straight line.
            const Real share = logarithm(from_rate / edge(next_)) / logarithm(from_rate / rate);
            const Real part_s = (share < Real(1) ? share : Real(1)) * left_s;
            if (since_s_ >= Real(0) && next_ > 0) fall_s_[next_ - 1] = since_s_ + part_s;
            since_s_ = Real(0);
            left_s -= part_s;
            from_rate = edge(next_);
            ++next_;
        }
        if (since_s_ >= Real(0)) since_s_ += left_s;
        last_rate_ = rate;
        return Status::ok;
    }

    /// The charge has ended by its end current: what it showed is kept. \return ok; not_started;
    /// not_reached when it showed no whole fall, nothing is kept then
    [[nodiscard]] Status complete() noexcept {
        if (!configured_) return Status::not_started;
        // The last fall is seen in part: a whole one takes as much longer.
        if (next_ > 0 && next_ <= TaperState<Real>::falls && since_s_ > Real(0)) {
            constexpr Real least_share = Real(0.1);
            const Real share = logarithm(edge(next_ - 1) / last_rate_) / half_ln2;
            if (share > least_share) fall_s_[next_ - 1] = since_s_ / share;
        }
        bool seen = false;
        const Real kept = exponential(Real(-1) / settings_.memory_charges);
        for (int k = 0; k < TaperState<Real>::falls; ++k) {
            if (!(fall_s_[k] > Real(0))) continue;
            seen = true;
            state_.time_s[k] = kept * state_.time_s[k] + fall_s_[k];
            state_.square_s2[k] = kept * state_.square_s2[k] + fall_s_[k] * fall_s_[k];
            state_.weight[k] = kept * state_.weight[k] + Real(1);
        }
        begin();
        if (!seen) return Status::not_reached;
        ++state_.charges;
        return Status::ok;
    }

    /// Time from one current to a lower one at the held voltage.
    /// \param from_A,end_A of a cell \return ok; not_started; sample_not_finite or out_of_range for
    /// currents that cannot be; not_reached where a part of the way was never seen: `out` is then
    /// untouched
    [[nodiscard]] Status time_left(Real from_A, Real end_A, TaperTime<Real>& out) const noexcept {
        if (!configured_) return Status::not_started;
        if (!detail::finite(from_A) || !detail::finite(end_A)) return Status::sample_not_finite;
        if (!(from_A > Real(0)) || !(end_A > Real(0))) return Status::out_of_range;
        TaperTime<Real> found;
        found.charges = state_.charges;
        const Real high = from_A / settings_.capacity_Ah;
        const Real low = end_A / settings_.capacity_Ah;
        if (high > edge(0)) return Status::out_of_range;
        Real mean_share_s = Real(0);
        for (int k = 0; high > low && k < TaperState<Real>::falls; ++k) {
            const Real top = edge(k) < high ? edge(k) : high;
            const Real bottom = edge(k + 1) > low ? edge(k + 1) : low;
            if (!(top > bottom)) continue;
            const Real share = logarithm(top / bottom) / half_ln2;
            // A part of a fall next to one that was seen goes as that one.
            const int seen = nearest(k);
            if (seen < 0) return Status::not_reached;
            const Real time_s = state_.time_s[seen] / state_.weight[seen];
            found.time_s += share * time_s;
            const Real spread2 = state_.square_s2[seen] / state_.weight[seen] - time_s * time_s;
            mean_share_s += share * std::sqrt((spread2 > Real(0) ? spread2 : Real(0)) +
                                              settings_.spread * settings_.spread * time_s *
                                                  time_s / state_.weight[seen]);
        }
        found.std_s = mean_share_s;  // the falls of one charge are slow or fast together
        out = found;
        return Status::ok;
    }

    /// Time to a lower current at the held voltage from what the charge under way has shown alone:
    /// that the logarithm of the current goes on falling as it fell last. It bends by about
    /// `spread` over as much fall as was seen, so that the standard deviation grows with what is
    /// left over what was seen.
    /// \param end_A of a cell \return ok; not_started; sample_not_finite or out_of_range for a
    /// current that cannot be; not_reached before two whole falls were seen: `out` is then
    /// untouched
    [[nodiscard]] Status time_left_as_now(Real end_A, TaperTime<Real>& out) const noexcept {
        if (!configured_) return Status::not_started;
        if (!detail::finite(end_A)) return Status::sample_not_finite;
        if (!(end_A > Real(0))) return Status::out_of_range;
        constexpr int enough = 2;
        int seen = 0;
        for (int k = next_ - 2; k >= 0 && fall_s_[k] > Real(0); --k)
            ++seen;
        if (seen < enough) return Status::not_reached;
        // The last whole fall, and the one under way as far as it went.
        const Real share = logarithm(edge(next_ - 1) / last_rate_) / half_ln2;
        const Real fall_s = (fall_s_[next_ - 2] + since_s_) / (Real(1) + share);
        const Real low = end_A / settings_.capacity_Ah;
        const Real left = low < last_rate_ ? logarithm(last_rate_ / low) / half_ln2 : Real(0);
        TaperTime<Real> found;
        found.time_s = left * fall_s - wait_s_;
        if (found.time_s < Real(0)) found.time_s = Real(0);
        found.std_s = settings_.spread * left * fall_s * left / (static_cast<Real>(seen) + share);
        found.this_charge = true;
        out = found;
        return Status::ok;
    }

    [[nodiscard]] const TaperSettings<Real>& settings() const noexcept { return settings_; }
    [[nodiscard]] const TaperState<Real>& state() const noexcept { return state_; }

    /// Goes on from a stored state. \return ok; not_started before configure(); out_of_range or
    /// sample_not_finite for a state that cannot be: nothing changes then
    [[nodiscard]] Status restore(const TaperState<Real>& state) noexcept {
        if (!configured_) return Status::not_started;
        for (int k = 0; k < TaperState<Real>::falls; ++k) {
            for (const Real value : {state.time_s[k], state.square_s2[k], state.weight[k]}) {
                if (!detail::finite(value)) return Status::sample_not_finite;
                if (value < Real(0)) return Status::out_of_range;
            }
        }
        if (state.charges < 0) return Status::out_of_range;
        state_ = state;
        begin();
        return Status::ok;
    }

  private:
    static constexpr Real half_ln2 = Real(0.34657359027997264);

    /// Rate at the start of fall `k`, in 1/h.
    [[nodiscard]] static Real edge(int k) noexcept {
        constexpr Real root_half = Real(0.70710678118654752);
        Real rate = Real(4);
        for (int n = 0; n < k / 2; ++n)
            rate *= Real(0.5);
        return k % 2 == 1 ? rate * root_half : rate;
    }
    [[nodiscard]] static int fall_below(Real rate) noexcept {
        int k = 0;
        while (k <= TaperState<Real>::falls && edge(k) >= rate)
            ++k;
        return k;
    }
    /// The fall itself, or a neighbour where it is the first or the last part of a taper.
    [[nodiscard]] int nearest(int k) const noexcept {
        for (const int at : {k, k + 1, k - 1}) {
            if (at >= 0 && at < TaperState<Real>::falls && state_.weight[at] > Real(0)) return at;
        }
        return -1;
    }

    TaperSettings<Real> settings_{};
    TaperState<Real> state_{};
    bool configured_{false};
    Real fall_s_[TaperState<Real>::falls]{};  ///< Of this charge; below 0: not seen.
    int next_{-1};                            ///< Edge that comes next.
    Real last_rate_{0};                       ///< Lowest so far.
    Real since_s_{-1};                        ///< Since the last edge; below 0: none yet.
    Real wait_s_{0};                          ///< Since the lowest.
};

/// A forecast with the taper that completed charges have shown, where they have; else, at the held
/// voltage, the forecast's own taper from the measured current on and what the charge under way has
/// shown, each weighed by how sure it is.
/// \param taper has followed the charge under way (step()) where its own falls are to count
/// \param measured_A current of a cell now, where it is at the held voltage already; 0: the
/// forecast's own
/// \param out the time; `std_s` is that of the taper alone
/// \param end_A at which the charge ends, of a cell; 0: that of the forecast, which has none of its
/// own where it takes the cell for full already
/// \return ok; not_reached where the limits end the charge before its end current does, and what
/// time_left() returns where nothing is known: the forecast's own time stands then
template <class Real>
[[nodiscard]] inline Status learned_time(const TaperLearner<Real>& taper,
                                         const ChargeForecast<Real>& forecast, Real measured_A,
                                         TaperTime<Real>& out, Real end_A = Real(0)) noexcept {
    // How far the model's own taper may be off: common practice, no source.
    constexpr Real model_share = Real(0.2);
    const bool held = measured_A > Real(0);
    if (!(end_A > Real(0))) end_A = forecast.end_current_A;
    out = {forecast.time_s, Real(0), 0};
    if (!forecast.reached || forecast.end_reason != LimitReason::none ||
        !(held || forecast.taper_s > Real(0))) {
        return Status::not_reached;
    }
    TaperTime<Real> left;
    const Status status = taper.time_left(held ? measured_A : forecast.taper_from_A, end_A, left);
    if (status != Status::ok) {
        if (!held) return status;
        // The model's taper. Where another current was measured, its SOC is wrong (then the taper
        // is that from the measured current on) or its overvoltage (then it is as long as the model
        // says): half of each.
        const bool falls = forecast.taper_s > Real(0) && forecast.taper_from_A > end_A;
        Real model_s = Real(0);
        Real model_std_s = Real(0);
        if (falls && measured_A > end_A) {
            const Real from_measured_s = forecast.taper_s * logarithm(measured_A / end_A) /
                                         logarithm(forecast.taper_from_A / end_A);
            model_s = Real(0.5) * (forecast.taper_s + from_measured_s);
            const Real apart_s = Real(0.5) * (forecast.taper_s - from_measured_s);
            const Real off_s = model_share * model_s;
            model_std_s = std::sqrt(off_s * off_s + apart_s * apart_s);
        }
        TaperTime<Real> own;
        if (taper.time_left_as_now(end_A, own) != Status::ok) {
            if (!falls) return Status::not_reached;
            left = {model_s, model_std_s, 0};
        } else if (!falls) {
            left = own;  // it should be full already: its current says otherwise
        } else {
            const Real model_s2 = model_std_s * model_std_s;
            const Real own_s2 = own.std_s * own.std_s;
            const Real share =
                model_s2 + own_s2 > Real(0) ? model_s2 / (model_s2 + own_s2) : Real(0);
            left.time_s = model_s + share * (own.time_s - model_s);
            left.std_s = own.std_s * std::sqrt(share);
            left.this_charge = true;
        }
    }
    left.time_s += forecast.time_s - forecast.taper_s;
    out = left;
    return Status::ok;
}

}  // namespace voltkeel

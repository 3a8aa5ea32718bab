#pragma once
/// \file age.hpp
/// How a cell has aged: capacity, resistance, and what each group drifts from the others.
///
/// Capacity is the charge over the SOC between two times at which the SOC is known without
/// counting: rests, ends of charge. Both sides of charge = capacity * (change of SOC) have errors,
/// and ordinary least squares, which knows errors of the charge only, ends too low. Total least
/// squares does not: with sums weighed by 1 / D, D = charge_var + Q^2 soc_var, and d the ratio of
/// the variances,
///
///     Q = (Syy - d Sxx + sqrt((Syy - d Sxx)^2 + 4 d Sxy^2)) / (2 Sxy)
///
/// which is of maximum likelihood where d is the same for all (Deming, Statistical Adjustment
/// of Data (1943); closed form from memory, not re-read). Older sums are forgotten by a factor.

#include <cmath>

#include "voltkeel/cell/bounds.hpp"
#include "voltkeel/cell/compensated_sum.hpp"
#include "voltkeel/cell/finite.hpp"
#include "voltkeel/status.hpp"
#include "voltkeel/units.hpp"

namespace voltkeel {

/// Knobs of the capacity.
template <class Real>
struct CapacitySettings {
    Real forgetting{Real(0.97)};          ///< Weight of all before at each new interval, (0.5, 1].
    Real soc_change_min{Real(0.15)};      ///< Shorter intervals are joined to the next.
    Real current_offset_std_A{0};         ///< Of the sensor, constant through an interval.
    Real current_share_std{Real(0.005)};  ///< Of the sensor's gain.
    Real initial_share_std{Real(0.05)};   ///< Of the capacity that it starts from.
    Real fade_per_cycle{Real(0.0005)};    ///< That the spread allows for, as a share, >= 0.
    Real longest_interval_h{Real(24 * 14)};  ///< Longer ones say nothing.
};

/// Checks the settings; see validate(CellParameters).
template <class Real>
[[nodiscard]] Finding<Real> validate(const CapacitySettings<Real>& s) noexcept {
    const detail::BoundedField<Real> rows[] = {
        {"forgetting", s.forgetting, Real(0.5), Real(1)},
        {"soc_change_min", s.soc_change_min, Real(0.01), Real(1)},
        {"current_offset_std_A", s.current_offset_std_A, Real(0), Real(1e4)},
        {"current_share_std", s.current_share_std, Real(0), Real(1)},
        {"initial_share_std", s.initial_share_std, Real(1e-4), Real(1)},
        {"fade_per_cycle", s.fade_per_cycle, Real(0), Real(0.1)},
        {"longest_interval_h", s.longest_interval_h, Real(0.01), Real(1e5)},
    };
    return detail::first_outside(rows);
}

/// Everything that must survive.
template <class Real>
struct CapacityState {
    Real capacity_Ah{0};
    Real capacity_std_Ah{0};
    int intervals{0};  ///< That it rests on so far.
    // Weighed sums.
    Real xx{0}, xy{0}, yy{0};
    Real soc_var_sum{0}, charge_var_sum{0};
    Real score_var{0};   ///< Variance of the sum of x (y - Q x) / D.
    Real last_score{0};  ///< x / D of the last interval, forgotten with the rest.
    Real mean_age{0};    ///< Cycles since what the sums rest on, in the mean.
    // The present interval.
    bool anchored{false};
    Real anchor_soc{0};
    Real anchor_soc_var{0};
    Real charge_Ah{0};
    Real charge_carry_Ah{0};
    Real hours{0};
    Real hours_carry{0};
};

/// Capacity from anchors of SOC and the charge between them.
///
///     capacity.count(current_A, dt_s);            // at every sample
///     capacity.anchor(soc, soc_std);              // when the SOC is known without counting
template <class Real>
class CapacityEstimator {
  public:
    using Settings = CapacitySettings<Real>;
    using State = CapacityState<Real>;
    /// What restore() takes beside counts and flags. The anchor may be beyond what anchor() takes
    /// by the rounding of what was stored.
    static constexpr detail::StoredNumber<State, Real> stored_numbers[] = {
        {&State::capacity_Ah, Real(1e-4), Real(1e6)},
        {&State::capacity_std_Ah, Real(0), Real(1e9)},
        {&State::xx, Real(0), Real(1e37)},
        {&State::xy, Real(-1e37), Real(1e37)},
        {&State::yy, Real(0), Real(1e37)},
        {&State::soc_var_sum, Real(0), Real(1e37)},
        {&State::charge_var_sum, Real(0), Real(1e37)},
        {&State::score_var, Real(0), Real(1e37)},
        {&State::last_score, Real(-1e37), Real(1e37)},
        {&State::mean_age, Real(0), Real(1e9)},
        {&State::anchor_soc, Real(-0.06), Real(1.06)},
        {&State::anchor_soc_var, Real(0), Real(1.01)},
        {&State::charge_Ah, Real(-1e18), Real(1e18)},
        {&State::charge_carry_Ah, Real(-1e18), Real(1e18)},
        {&State::hours, Real(0), Real(1e9)},
        {&State::hours_carry, Real(-1e9), Real(1e9)},
    };

    /// \param capacity_Ah to start from, > 0. On failure nothing changes.
    [[nodiscard]] Status configure(Real capacity_Ah, const Settings& settings = {}) noexcept {
        const Finding<Real> finding = validate(settings);
        if (finding.status != Status::ok) return finding.status;
        if (!detail::finite(capacity_Ah)) return Status::not_finite;
        if (!detail::within(capacity_Ah, Real(1e-4), Real(1e6))) return Status::out_of_range;
        settings_ = settings;
        state_ = State{};
        state_.capacity_Ah = capacity_Ah;
        state_.capacity_std_Ah = settings.initial_share_std * capacity_Ah;
        // The start counts as an interval from empty to full; the ratio of errors is that of the
        // rest.
        const Real var = square(state_.capacity_std_Ah);
        state_.xx = Real(1) / var;
        state_.xy = capacity_Ah / var;
        state_.yy = square(capacity_Ah) / var;
        state_.score_var = Real(1) / var;
        return Status::ok;
    }

    /// Whether a stored state can be: ok, not_finite or out_of_range.
    [[nodiscard]] Status check(const State& state) const noexcept {
        const Status status = detail::check_stored(stored_numbers, state);
        if (status != Status::ok) return status;
        if (!(state.xx > Real(0)) || !(state.score_var > Real(0)) || state.intervals < 0)
            return Status::out_of_range;
        return Status::ok;
    }
    /// Goes on from a stored state, its running interval too. \return what check() says of it;
    /// unless ok, nothing changes
    [[nodiscard]] Status restore(const State& state) noexcept {
        const Status status = check(state);
        if (status == Status::ok) state_ = state;
        return status;
    }

    /// Time in which nobody counted. Only where nothing flowed the interval goes on through it; a
    /// current that nobody measured ends it, as in count().
    /// \param off_s >= 0; what is no time ends the interval too
    /// \param no_current known: contactors were open
    void time_off(Real off_s, bool no_current) noexcept {
        if (off_s == Real(0)) return;
        if (!no_current || !detail::within(off_s, Real(0), Real(1e9))) {
            state_.anchored = false;
            return;
        }
        add_compensated(state_.hours, state_.hours_carry,
                        off_s * (Real(1) / seconds_per_hour<Real>));
    }

    /// Counts. A sample that is no number ends the interval: what flowed is not known.
    void count(Real current_A, Real dt_s) noexcept {
        if (!detail::within(current_A, Real(-1e6), Real(1e6)) ||
            !detail::within(dt_s, Real(0), Real(1e6))) {
            state_.anchored = false;
            return;
        }
        const Real hours = dt_s * (Real(1) / seconds_per_hour<Real>);
        add_compensated(state_.charge_Ah, state_.charge_carry_Ah, current_A * hours);
        add_compensated(state_.hours, state_.hours_carry, hours);
    }

    /// The SOC is known: from a rested voltage, at the end of a charge.
    /// \return ok when the interval was used; not_reached when it is the first anchor or the SOC
    /// has changed too little (the anchor that is better known is kept); sample_not_finite,
    /// out_of_range for numbers that cannot be
    Status anchor(Real soc, Real soc_std) noexcept {
        if (!detail::finite(soc) || !detail::finite(soc_std)) return Status::sample_not_finite;
        if (!detail::within(soc, Real(-0.05), Real(1.05)) || !(soc_std > Real(0)) ||
            soc_std > Real(1)) {
            return Status::out_of_range;
        }
        const Real soc_var = square(soc_std);
        if (!state_.anchored || state_.hours > settings_.longest_interval_h) {
            set_anchor(soc, soc_var);
            return Status::not_reached;
        }
        const Real x = soc - state_.anchor_soc;
        if (square(x) < square(settings_.soc_change_min)) {
            // An anchor that is known better is worth more than a longer interval.
            if (soc_var < state_.anchor_soc_var) set_anchor(soc, soc_var);
            return Status::not_reached;
        }
        const Real y = state_.charge_Ah;
        const Real x_var = soc_var + state_.anchor_soc_var;
        const Real y_var = square(settings_.current_offset_std_A * state_.hours) +
                           square(settings_.current_share_std * y) +
                           square(Real(1e-4) * state_.capacity_Ah);
        const Real q = state_.capacity_Ah;
        const Real weight = Real(1) / (y_var + q * q * x_var);
        const Real keep = settings_.forgetting;
        const Real half_cycle = Real(0.5) * (x < Real(0) ? -x : x);
        const Real kept_age = keep * state_.xx * (state_.mean_age + half_cycle);
        state_.xx = keep * state_.xx + weight * x * x;
        state_.xy = keep * state_.xy + weight * x * y;
        state_.yy = keep * state_.yy + weight * y * y;
        state_.soc_var_sum = keep * state_.soc_var_sum + weight * x_var;
        state_.charge_var_sum = keep * state_.charge_var_sum + weight * y_var;
        // Neighbours share an anchor, whose error enters both with opposite signs.
        const Real score = weight * x;
        state_.score_var =
            keep * keep * state_.score_var + weight * x * x -
            Real(2) * keep * score * state_.last_score * q * q * state_.anchor_soc_var;
        state_.last_score = score;
        state_.mean_age = kept_age / state_.xx;
        ++state_.intervals;
        solve();
        set_anchor(soc, soc_var);
        return Status::ok;
    }

    [[nodiscard]] Real capacity_Ah() const noexcept { return state_.capacity_Ah; }
    [[nodiscard]] Real capacity_std_Ah() const noexcept { return state_.capacity_std_Ah; }
    /// What ordinary least squares would say of the same intervals: too low.
    [[nodiscard]] Real ordinary_capacity_Ah() const noexcept { return state_.xy / state_.xx; }
    [[nodiscard]] const State& state() const noexcept { return state_; }
    [[nodiscard]] const Settings& settings() const noexcept { return settings_; }

  private:
    static constexpr Real square(Real x) noexcept { return x * x; }
    void set_anchor(Real soc, Real soc_var) noexcept {
        if (!state_.anchored) state_.last_score = Real(0);  // shares nothing
        state_.anchored = true;
        state_.anchor_soc = soc;
        state_.anchor_soc_var = soc_var;
        state_.charge_Ah = Real(0);
        state_.charge_carry_Ah = Real(0);
        state_.hours = Real(0);
        state_.hours_carry = Real(0);
    }
    void solve() noexcept {
        const Real before_Ah = state_.capacity_Ah;
        if (!(state_.xy > Real(0))) return;
        // In units of the present capacity, so that no square is out of a float's reach.
        const Real unit = before_Ah;
        const Real xx = state_.xx;
        const Real xy = state_.xy / unit;
        const Real yy = state_.yy / (unit * unit);
        const Real charge_var = state_.charge_var_sum / (unit * unit);
        Real q = xy / xx;
        if (state_.soc_var_sum > Real(0)) {
            const Real ratio = charge_var / state_.soc_var_sum;
            const Real half = Real(0.5) * (yy - ratio * xx);
            // Of the two forms of the root the one without a difference.
            const Real root = std::sqrt(half * half + ratio * xy * xy);
            q = half > Real(0) ? (half + root) / xy : ratio * xy / (root - half);
        }
        if (!detail::within(q, Real(0.3), Real(3))) return;
        state_.capacity_Ah = q * unit;
        // The part of the sum of squares that errors of the SOC have made is no information.
        const Real told = state_.xx - state_.soc_var_sum;
        const Real information = told > Real(0.1) * state_.xx ? told : Real(0.1) * state_.xx;
        state_.capacity_std_Ah =
            std::sqrt(state_.score_var / square(information) +
                      square(settings_.fade_per_cycle * state_.mean_age * state_.capacity_Ah));
    }

    Settings settings_{};
    State state_{};
};

/// Knobs of the resistance.
template <class Real>
struct ResistanceGrowthSettings {
    Real interval_s{600};                ///< Looked at this often: nearer ones repeat each other.
    Real model_log_std{Real(0.08)};      ///< Of one look, beyond what the filter says.
    Real std_per_sqrt_day{Real(0.003)};  ///< How fast ageing may go.
    Real initial_log_std{Real(0.2)};
    Real log_std_most{Real(0.12)};  ///< Looks that the filter knows no better are left out.
};

/// Resistance of a cell against its tables, slowly followed: what remains when temperature and load
/// have averaged out. 1 is the cell as it was tested.
template <class Real>
class ResistanceGrowth {
  public:
    using Settings = ResistanceGrowthSettings<Real>;
    struct State {
        Real log_growth{0};
        Real log_var{0};
        Real since_s{0};
        int looks{0};
    };
    /// What restore() takes beside the count.
    static constexpr detail::StoredNumber<State, Real> stored_numbers[] = {
        {&State::log_growth, Real(-3.01), Real(3.01)},
        {&State::log_var, Real(0), Real(1e6)},
        {&State::since_s, Real(0), Real(1e9)},
    };
    void configure(const Settings& settings = {}) noexcept {
        settings_ = settings;
        state_ = State{};
        state_.log_var = settings.initial_log_std * settings.initial_log_std;
    }
    /// \param log_scale ln r of a filter \param log_scale_std its standard deviation
    void step(Real log_scale, Real log_scale_std, Real dt_s) noexcept {
        if (!detail::within(dt_s, Real(0), Real(1e7)) ||
            !detail::within(log_scale, Real(-3), Real(3)) ||
            !detail::within(log_scale_std, Real(0), Real(10))) {
            return;
        }
        state_.since_s += dt_s;
        if (state_.since_s < settings_.interval_s) return;
        state_.log_var +=
            settings_.std_per_sqrt_day * settings_.std_per_sqrt_day * state_.since_s / Real(86400);
        state_.since_s = Real(0);
        if (log_scale_std > settings_.log_std_most) return;
        const Real look_var =
            log_scale_std * log_scale_std + settings_.model_log_std * settings_.model_log_std;
        const Real gain = state_.log_var / (state_.log_var + look_var);
        state_.log_growth += gain * (log_scale - state_.log_growth);
        state_.log_var -= gain * state_.log_var;
        ++state_.looks;
    }
    /// Time without a look: what is known of the cell gets older.
    /// \param off_s >= 0; what is no time is left out
    void time_off(Real off_s) noexcept {
        if (!detail::within(off_s, Real(0), Real(1e9))) return;
        state_.log_var +=
            settings_.std_per_sqrt_day * settings_.std_per_sqrt_day * off_s / Real(86400);
    }
    /// Whether a stored state can be: ok, not_finite or out_of_range.
    [[nodiscard]] Status check(const State& state) const noexcept {
        const Status status = detail::check_stored(stored_numbers, state);
        if (status != Status::ok) return status;
        if (state.looks < 0) return Status::out_of_range;
        return Status::ok;
    }
    /// Goes on from a stored state. \return what check() says of it; unless ok, nothing changes
    [[nodiscard]] Status restore(const State& state) noexcept {
        const Status status = check(state);
        if (status == Status::ok) state_ = state;
        return status;
    }
    [[nodiscard]] Real growth() const noexcept { return std::exp(state_.log_growth); }
    [[nodiscard]] Real log_growth_std() const noexcept { return std::sqrt(state_.log_var); }
    [[nodiscard]] const State& state() const noexcept { return state_; }

  private:
    Settings settings_{};
    State state_{};
};

/// What a group does against the others, from how its SOC difference moves: with time (a leak) and
/// with SOC (another capacity).
template <class Real>
struct GroupDrift {
    Real soc_per_day{0};  ///< Negative: it loses charge.
    Real soc_per_day_std{0};
    Real capacity_share{0};  ///< Its capacity is this share larger than the reference's.
    Real capacity_share_std{0};
    int looks{0};
};

/// Least squares with forgetting of difference = start + rate time - share (SOC - middle).
template <class Real>
class GroupDriftFit {
  public:
    struct State {
        Real information[6]{};  ///< Lower triangle over [start, rate, share].
        Real right[3]{};
        int looks{0};
        Real since_d{0};    ///< Since the last look.
        Real waiting_d{0};  ///< Time that the sums have not been moved by yet.
    };
    /// \param days_memory of looks, > 0 \param interval_h between looks, for the errors of one look
    /// last so long
    [[nodiscard]] Status configure(Real days_memory, Real interval_h = Real(1)) noexcept {
        if (!detail::within(days_memory, Real(0.1), Real(1e4)) ||
            !detail::within(interval_h, Real(0.01), Real(1000))) {
            return Status::out_of_range;
        }
        memory_d_ = days_memory;
        interval_d_ = interval_h / Real(24);
        state_ = State{};
        state_.since_d = interval_d_;
        return Status::ok;
    }
    /// Time goes on: what was seen so far moves into the past.
    void step(Real dt_s) noexcept {
        if (!detail::within(dt_s, Real(0), Real(1e9))) return;
        const Real days = dt_s / Real(86400);
        state_.since_d += days;
        state_.waiting_d += days;
    }
    /// A look at the group. Looks nearer than the interval are left out.
    void look(Real soc_difference, Real difference_std, Real soc) noexcept {
        if (state_.since_d < interval_d_ || !detail::within(soc_difference, Real(-1), Real(1)) ||
            !detail::within(difference_std, Real(1e-5), Real(1)) ||
            !detail::within(soc, Real(-0.1), Real(1.1))) {
            return;
        }
        state_.since_d = Real(0);
        shift(state_.waiting_d);
        state_.waiting_d = Real(0);
        const Real row[3] = {Real(1), Real(0), -(soc - Real(0.5))};
        const Real weight = Real(1) / (difference_std * difference_std);
        for (int i = 0; i < 3; ++i) {
            for (int k = 0; k <= i; ++k)
                at(i, k) += weight * row[i] * row[k];
            state_.right[i] += weight * row[i] * soc_difference;
        }
        ++state_.looks;
    }
    /// Whether a stored state can be: ok, not_finite or out_of_range.
    [[nodiscard]] Status check(const State& state) const noexcept {
        for (const Real number : state.information) {
            if (!detail::finite(number)) return Status::not_finite;
        }
        for (const Real number : state.right) {
            if (!detail::finite(number)) return Status::not_finite;
        }
        // The longest time off is a thousandth of this.
        for (const Real days : {state.since_d, state.waiting_d}) {
            if (!detail::finite(days)) return Status::not_finite;
            if (!detail::within(days, Real(0), Real(1e7))) return Status::out_of_range;
        }
        if (state.looks < 0) return Status::out_of_range;
        // Sums of squares and products, against rounding of what was stored. By their roots: a
        // float has no room for the square of such a sum.
        constexpr int diagonal[3] = {0, 2, 5};
        for (int i = 0; i < 3; ++i) {
            const Real own = state.information[diagonal[i]];
            if (own < Real(0)) return Status::out_of_range;
            for (int k = 0; k < i; ++k) {
                const Real most = std::sqrt(own) * std::sqrt(state.information[diagonal[k]]);
                const Real entry = state.information[i * (i + 1) / 2 + k];
                if (!detail::within(entry, -most * Real(1.01), most * Real(1.01)))
                    return Status::out_of_range;
            }
        }
        return Status::ok;
    }
    /// Goes on from a stored state. \return what check() says of it; unless ok, nothing changes
    [[nodiscard]] Status restore(const State& state) noexcept {
        const Status status = check(state);
        if (status == Status::ok) state_ = state;
        return status;
    }
    /// What is known so far. Priors: no drift within 5 % a day, equal capacities within 10 %.
    [[nodiscard]] GroupDrift<Real> drift() const noexcept {
        Real a[3][3];
        for (int i = 0; i < 3; ++i) {
            for (int k = 0; k < 3; ++k)
                a[i][k] = i >= k ? state_.information[i * (i + 1) / 2 + k]
                                 : state_.information[k * (k + 1) / 2 + i];
        }
        a[0][0] += Real(100);
        a[1][1] += Real(400);
        a[2][2] += Real(100);
        // Inverse by cofactors of a positive matrix.
        Real inverse[3][3];
        for (int i = 0; i < 3; ++i) {
            for (int k = 0; k < 3; ++k) {
                const int r0 = (k + 1) % 3;
                const int r1 = (k + 2) % 3;
                const int c0 = (i + 1) % 3;
                const int c1 = (i + 2) % 3;
                inverse[i][k] = a[r0][c0] * a[r1][c1] - a[r0][c1] * a[r1][c0];
            }
        }
        const Real determinant =
            a[0][0] * inverse[0][0] + a[0][1] * inverse[1][0] + a[0][2] * inverse[2][0];
        GroupDrift<Real> out;
        out.looks = state_.looks;
        if (!(determinant > Real(0))) {
            // Rounding has eaten what was known: the priors are left.
            out.soc_per_day_std = Real(0.05);
            out.capacity_share_std = Real(0.1);
            return out;
        }
        Real solved[3];
        for (int i = 0; i < 3; ++i) {
            solved[i] = (inverse[i][0] * state_.right[0] + inverse[i][1] * state_.right[1] +
                         inverse[i][2] * state_.right[2]) /
                        determinant;
        }
        const auto spread = [&](int i) {
            const Real var = inverse[i][i] / determinant;
            return var > Real(0) ? std::sqrt(var) : Real(1);
        };
        out.soc_per_day = solved[1];
        out.soc_per_day_std = spread(1);
        out.capacity_share = solved[2];
        out.capacity_share_std = spread(2);
        return out;
    }
    [[nodiscard]] const State& state() const noexcept { return state_; }

  private:
    Real& at(int i, int k) noexcept { return state_.information[i * (i + 1) / 2 + k]; }
    /// The start is always now: start' = start + rate days, so rows of the past get time - days.
    void shift(Real days) noexcept {
        if (!(days > Real(0))) return;
        const Real t = -days;
        auto& s = state_;
        at(1, 1) += t * (Real(2) * at(1, 0) + t * at(0, 0));
        at(2, 1) += t * at(2, 0);
        at(1, 0) += t * at(0, 0);
        s.right[1] += t * s.right[0];
        const Real keep = memory_d_ / (memory_d_ + days);
        for (Real& entry : s.information)
            entry *= keep;
        for (Real& entry : s.right)
            entry *= keep;
    }
    Real memory_d_{30};
    Real interval_d_{Real(1) / Real(24)};
    State state_{};
};

}  // namespace voltkeel

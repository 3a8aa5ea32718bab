#pragma once
/// \file consumption.hpp
/// What a vehicle takes per distance, remembered fast and slowly, and how far its energy goes.
///
/// Energy and distance are summed with two exponential memories over distance:
///
///     c = E / X      E' = dE - E dx / L      X' = dx - X dx / L
///
/// (exact for energy spread evenly over a step, so the step does not matter; energy drawn at a
/// standstill counts to the distance around it). The slow one is the habit, the fast one what goes
/// on now: a hill, a headwind, a heater. What the fast one is above the slow one is taken to fade
/// over its own memory, as a first-order Gauss-Markov deviation does:
///
///     E(D) = c_slow D + (c_fast - c_slow) L (1 - exp(-D / L))
///
/// and the variance around that, with V the variance of the deviation (Gillespie, "Exact numerical
/// simulation of the Ornstein-Uhlenbeck process and its integral", Phys. Rev. E 54 (1996) 2084,
/// eq. 2.10b, for a start that is known),
///
///     V L^2 (2 D / L - 3 + 4 exp(-D / L) - exp(-2 D / L))
///
/// besides D^2 times the variance of the slow mean. The distance left is where E(D) is the energy
/// that is left; the ends of its band are where E(D) and its doubt are.

#include <cmath>
#include <limits>

#include "voltkeel/cell/bounds.hpp"
#include "voltkeel/cell/compensated_sum.hpp"
#include "voltkeel/cell/exponential.hpp"
#include "voltkeel/status.hpp"
#include "voltkeel/units.hpp"

namespace voltkeel {

/// Knobs of the estimate. The memories are common practice without a source; the start is the
/// user's.
template <class Real>
struct ConsumptionSettings {
    Real fast_m{5000};        ///< Memory of what goes on now.
    Real slow_m{100000};      ///< Memory of the habit; more than twice as long.
    Real start_Wh_per_km{0};  ///< What is expected before anything was driven; above 0.
    /// How far off that may be, as a share of it (standard deviation); also the spread of the fast
    /// memory around the slow one until the way has shown it.
    Real start_std_share{Real(0.25)};
    Real start_m{10000};  ///< The expectation counts as much as this way.
};

/// Checks the settings; see validate(CellParameters).
template <class Real>
[[nodiscard]] Finding<Real> validate(const ConsumptionSettings<Real>& s) noexcept {
    const detail::BoundedField<Real> rows[] = {
        {"fast_m", s.fast_m, Real(10), Real(1e6)},
        {"slow_m", s.slow_m, Real(2) * s.fast_m, Real(1e7)},
        {"start_Wh_per_km", s.start_Wh_per_km, Real(0.01), Real(1e6)},
        {"start_std_share", s.start_std_share, Real(0.001), Real(3)},
        {"start_m", s.start_m, Real(1), s.slow_m},
    };
    return detail::first_outside(rows);
}

/// What must survive a restart.
template <class Real>
struct ConsumptionState {
    Real fast_J{0};
    Real fast_m{0};
    Real slow_J{0};
    Real slow_m{0};
    Real slow_s{0};        ///< Time, with the slow memory.
    Real deviation_J2{0};  ///< Sum of squares of fast less slow, over `deviation_m`, in J^2/m.
    Real deviation_m{0};
    Real driven_m{0};
    Real driven_carry{0};
};

/// What is known of the consumption.
template <class Real>
struct Consumption {
    Real fast_Wh_per_km{0};
    Real slow_Wh_per_km{0};
    Real slow_std_Wh_per_km{0};       ///< Of the slow mean.
    Real deviation_std_Wh_per_km{0};  ///< Of what goes on around the slow mean.
    /// Mean power of the slow memory, standstills included: the draw at which to ask for the usable
    /// energy. 0 until there is time in it.
    Real power_W{0};
    Real fast_m{5000};  ///< Memory over which the deviation fades.
};

/// How far it goes.
template <class Real>
struct DistanceLeft {
    Real distance_m{0};
    Real least_m{0};  ///< Lower end of the band.
    Real most_m{0};   ///< Upper end.
    /// Over the distance left, what goes on now and what is usual put together.
    Real mean_Wh_per_km{0};
    bool bounded{true};  ///< False: at this consumption the energy does not end.
};

/// Follows the consumption of a vehicle.
template <class Real>
class ConsumptionEstimator {
  public:
    /// \return ok, or what validate() finds; the estimator is then as it was
    [[nodiscard]] Status configure(const ConsumptionSettings<Real>& settings) noexcept {
        const Status status = validate(settings).status;
        if (status != Status::ok) return status;
        settings_ = settings;
        configured_ = true;
        state_ = {};
        const Real start_J_per_m = settings.start_Wh_per_km * joule_per_watt_hour / metre_per_km;
        state_.slow_m = settings.start_m;
        state_.slow_J = start_J_per_m * settings.start_m;
        state_.fast_m = settings.start_m < settings.fast_m ? settings.start_m : settings.fast_m;
        state_.fast_J = start_J_per_m * state_.fast_m;
        const Real std_J_per_m = settings.start_std_share * start_J_per_m;
        state_.deviation_m = settings.start_m;
        state_.deviation_J2 = Real(0.5) * std_J_per_m * std_J_per_m * settings.start_m;
        return Status::ok;
    }

    /// One stretch. \param energy_J drawn from the pack, >= 0 or below where it charged \param
    /// distance_m >= 0 \param dt_s its time, >= 0
    /// \return ok; not_started; sample_not_finite, out_of_range or time_step_invalid for what
    /// cannot be: nothing changes then
    [[nodiscard]] Status step(Real energy_J, Real distance_m, Real dt_s) noexcept {
        if (!configured_) return Status::not_started;
        if (!detail::finite(energy_J) || !detail::finite(distance_m) || !detail::finite(dt_s))
            return Status::sample_not_finite;
        if (distance_m < Real(0) || distance_m > Real(1e7)) return Status::out_of_range;
        if (dt_s < Real(0) || dt_s > Real(1e7)) return Status::time_step_invalid;
        const auto remember = [&](Real memory_m, Real& sum, Real amount) {
            if (!(distance_m > Real(0))) {
                sum += amount;
                return;
            }
            const Real gone = relaxed_fraction(distance_m / memory_m);
            sum += amount * memory_m / distance_m * gone - sum * gone;
        };
        remember(settings_.fast_m, state_.fast_J, energy_J);
        remember(settings_.fast_m, state_.fast_m, distance_m);
        remember(settings_.slow_m, state_.slow_J, energy_J);
        remember(settings_.slow_m, state_.slow_m, distance_m);
        remember(settings_.slow_m, state_.slow_s, dt_s);
        add_compensated(state_.driven_m, state_.driven_carry, distance_m);
        if (distance_m > Real(0)) {
            const Real off = state_.fast_J / state_.fast_m - state_.slow_J / state_.slow_m;
            remember(settings_.slow_m, state_.deviation_J2, off * off * distance_m);
            remember(settings_.slow_m, state_.deviation_m, apart() * distance_m);
        }
        return Status::ok;
    }

    /// What is known now. \return ok, or not_started
    [[nodiscard]] Status read(Consumption<Real>& out) const noexcept {
        if (!configured_) return Status::not_started;
        constexpr Real to_Wh_per_km = metre_per_km / joule_per_watt_hour;
        Consumption<Real> found;
        found.fast_Wh_per_km = state_.fast_J / state_.fast_m * to_Wh_per_km;
        found.slow_Wh_per_km = state_.slow_J / state_.slow_m * to_Wh_per_km;
        // A deviation with the memory of the fast mean shows half its variance in that mean.
        const Real variance = Real(2) * state_.deviation_J2 / state_.deviation_m;
        found.deviation_std_Wh_per_km = std::sqrt(variance) * to_Wh_per_km;
        // Mean of a deviation with this variance and memory over the way that the slow memory
        // holds (half the squares of its weights over the square of their sum), and what the
        // expectation at the start may be off, as far as it still counts.
        const Real way = relaxed_fraction((state_.driven_m + settings_.fast_m) / settings_.slow_m);
        const Real left = state_.driven_m < Real(40) * settings_.slow_m
                              ? settings_.start_m / state_.slow_m *
                                    (Real(1) - relaxed_fraction(state_.driven_m / settings_.slow_m))
                              : Real(0);
        const Real start_std_J_per_m = settings_.start_std_share * settings_.start_Wh_per_km *
                                       joule_per_watt_hour / metre_per_km * left;
        const Real driven = Real(1) - left;
        const Real mean_variance = driven * driven * variance * settings_.fast_m /
                                       settings_.slow_m * (Real(2) - way) / way +
                                   start_std_J_per_m * start_std_J_per_m;
        found.slow_std_Wh_per_km = std::sqrt(mean_variance) * to_Wh_per_km;
        found.power_W = state_.slow_s > Real(0) ? mean_power_W() : Real(0);
        found.fast_m = settings_.fast_m;
        out = found;
        return Status::ok;
    }

    [[nodiscard]] const ConsumptionState<Real>& state() const noexcept { return state_; }

    /// Goes on from a stored state. \return ok; not_started before configure(); sample_not_finite
    /// or out_of_range for a state that cannot be: nothing changes then
    [[nodiscard]] Status restore(const ConsumptionState<Real>& state) noexcept {
        if (!configured_) return Status::not_started;
        for (const Real value :
             {state.fast_J, state.fast_m, state.slow_J, state.slow_m, state.slow_s,
              state.deviation_J2, state.deviation_m, state.driven_m, state.driven_carry}) {
            if (!detail::finite(value)) return Status::sample_not_finite;
        }
        if (!(state.fast_m > Real(0)) || !(state.slow_m > Real(0)) ||
            !(state.deviation_m > Real(0)) || state.deviation_J2 < Real(0) ||
            state.slow_s < Real(0) || state.driven_m < Real(0)) {
            return Status::out_of_range;
        }
        state_ = state;
        return Status::ok;
    }

  private:
    static constexpr Real joule_per_watt_hour = Real(3600);
    static constexpr Real metre_per_km = Real(1000);

    /// Both memories share the way, at first nearly all of it: the share of the fast one's variance
    /// that its distance to the slow one shows, for a consumption without memory of its own.
    [[nodiscard]] Real apart() const noexcept {
        const Real fast_m = settings_.fast_m;
        const Real slow_m = settings_.slow_m;
        const Real both_m = fast_m * slow_m / (fast_m + slow_m);
        // Integrals of the squares of the weights over the way, over the squares of their sums.
        const auto square = [&](Real memory_m, Real sum_m, Real other_m) {
            return memory_m * relaxed_fraction(state_.driven_m / memory_m) / (sum_m * other_m);
        };
        const Real fast = square(Real(0.5) * fast_m, state_.fast_m, state_.fast_m);
        const Real slow = square(Real(0.5) * slow_m, state_.slow_m, state_.slow_m);
        const Real cross = square(both_m, state_.fast_m, state_.slow_m);
        const Real share = Real(2) * fast_m * (fast + slow - Real(2) * cross);
        return share > Real(0) ? share : Real(0);
    }

    /// Of the way that was driven: the expectation at the start has energy and no time.
    [[nodiscard]] Real mean_power_W() const noexcept {
        const Real gone = relaxed_fraction(state_.driven_m / settings_.slow_m);
        const Real expected = settings_.start_m * (Real(1) - gone);
        const Real driven_m = state_.slow_m - expected;
        if (!(driven_m > Real(0))) return Real(0);
        const Real start_J =
            settings_.start_Wh_per_km * joule_per_watt_hour / metre_per_km * expected;
        return (state_.slow_J - start_J) / state_.slow_s;
    }

    ConsumptionSettings<Real> settings_{};
    ConsumptionState<Real> state_{};
    bool configured_{false};
};

/// Energy that a distance is expected to take.
template <class Real>
[[nodiscard]] inline Real expected_Wh(const Consumption<Real>& c, Real distance_m) noexcept {
    const Real faded_m = c.fast_m * relaxed_fraction(distance_m / c.fast_m);
    return (c.slow_Wh_per_km * distance_m + (c.fast_Wh_per_km - c.slow_Wh_per_km) * faded_m) /
           Real(1000);
}

/// Variance of that, in Wh^2.
template <class Real>
[[nodiscard]] inline Real expected_var_Wh2(const Consumption<Real>& c, Real distance_m) noexcept {
    const Real x = distance_m / c.fast_m;
    const Real gone = relaxed_fraction(x);
    // 2 x - 3 + 4 e - e^2 with e = 1 - gone; near 0 it is 2/3 x^3, which the difference loses.
    const Real shape =
        x < Real(0.02) ? Real(2) / Real(3) * x * x * x : Real(2) * (x - gone) - gone * gone;
    const Real km = c.fast_m / Real(1000);
    const Real wander = c.deviation_std_Wh_per_km * km;
    const Real habit = c.slow_std_Wh_per_km * distance_m / Real(1000);
    return wander * wander * (shape > Real(0) ? shape : Real(0)) + habit * habit;
}

/// How far an energy goes.
/// \param usable_Wh what the pack still gives, >= 0 \param usable_std_Wh of it, >= 0
/// \param sigmas half width of the band in standard deviations; 1.96: 95 %
/// \param longest_m where the search ends; what goes further is told as this, `bounded` false
/// \return ok; not_reached where even the central distance is `longest_m`; sample_not_finite or
/// out_of_range for what cannot be, `out` is then untouched
template <class Real>
[[nodiscard]] inline Status distance_left(const Consumption<Real>& consumption, Real usable_Wh,
                                          Real usable_std_Wh, DistanceLeft<Real>& out,
                                          Real sigmas = Real(1.96),
                                          Real longest_m = Real(5e6)) noexcept {
    for (const Real value :
         {consumption.fast_Wh_per_km, consumption.slow_Wh_per_km, consumption.slow_std_Wh_per_km,
          consumption.deviation_std_Wh_per_km, usable_Wh, usable_std_Wh, sigmas, longest_m}) {
        if (!detail::finite(value)) return Status::sample_not_finite;
    }
    if (usable_Wh < Real(0) || usable_std_Wh < Real(0) || sigmas < Real(0) || sigmas > Real(10) ||
        !(longest_m > Real(0)) || !(consumption.fast_m > Real(0)) ||
        consumption.slow_std_Wh_per_km < Real(0) || consumption.deviation_std_Wh_per_km < Real(0)) {
        return Status::out_of_range;
    }
    const auto taken_Wh = [&](Real distance_m, Real side) {
        return expected_Wh(consumption, distance_m) +
               side * std::sqrt(expected_var_Wh2(consumption, distance_m) +
                                usable_std_Wh * usable_std_Wh);
    };
    // The first distance at which the energy is taken, by doubling and halving.
    const auto first_m = [&](Real side) {
        if (taken_Wh(Real(0), side) >= usable_Wh) return Real(0);
        Real low = Real(0);
        Real high = Real(1);
        while (taken_Wh(high, side) < usable_Wh) {
            low = high;
            if (high >= longest_m) return longest_m;
            high *= Real(1.25);
            if (high > longest_m) high = longest_m;
        }
        for (int turn = 0; turn < 60 && high - low > Real(1e-6) * high; ++turn) {
            const Real middle = low + Real(0.5) * (high - low);
            (taken_Wh(middle, side) < usable_Wh ? low : high) = middle;
        }
        return low + Real(0.5) * (high - low);
    };
    DistanceLeft<Real> found;
    found.distance_m = first_m(Real(0));
    found.least_m = first_m(sigmas);
    found.most_m = first_m(-sigmas);
    found.bounded = found.distance_m < longest_m;
    found.mean_Wh_per_km =
        found.distance_m > Real(0)
            ? Real(1000) * expected_Wh(consumption, found.distance_m) / found.distance_m
            : consumption.fast_Wh_per_km;
    out = found;
    return found.bounded ? Status::ok : Status::not_reached;
}

}  // namespace voltkeel

#pragma once
/// \file time_band.hpp
/// How sure a charge forecast is: the central time, and the band that the doubt about the state
/// leaves around it.
///
/// The forecast is run again from both ends of the band of each doubtful quantity (SOC, resistance,
/// capacity). What each moves the time, earlier and later by itself, adds up as squares
/// (propagation of independent errors, JCGM 100:2008 section 5.1.2, taken at the ends of the band
/// rather than by slopes, as times bend near full). The doubt of the model itself (the charge-side
/// resistance near full, say) is in the band as far as `resistance_log_std` says it.
///
/// While it charges, voltage and current are measured together, so SOC and resistance cannot be off
/// each by itself: a cell that is fuller than told has so much less resistance that the measured
/// current still gives the measured voltage. With `measured_current_A` the ends of the SOC are
/// taken with that resistance, and only as far as the resistance may be off. So a small current
/// towards the end of the constant voltage leaves little doubt, and the band does not jump where
/// that phase begins.

#include <cmath>
#include <limits>
#include <type_traits>

#include "voltkeel/cell/bounds.hpp"
#include "voltkeel/cell/exponential.hpp"
#include "voltkeel/charge/forecast.hpp"
#include "voltkeel/status.hpp"

namespace voltkeel {

/// What is doubtful about a charge.
template <class Real>
struct ChargeDoubt {
    Real soc_std{0};             ///< Of the SOC at the start, from the filter.
    Real resistance_log_std{0};  ///< Of the logarithm of the resistance scale, from the filter.
    Real capacity_log_std{0};    ///< Of the logarithm of the capacity.
    Real measured_current_A{0};  ///< Into a cell now, while it charges; 0: at rest or not known.
    Real sigmas{Real(1.96)};     ///< Half width of the band in standard deviations; 1.96: 95 %.
    /// Longest step of the runs at the ends of the band: it moves a band by less than a second in
    /// a thousand.
    Real step_s{30};
};

/// Checks the doubt; see validate(CellParameters).
template <class Real>
[[nodiscard]] Finding<Real> validate(const ChargeDoubt<Real>& d) noexcept {
    const detail::BoundedField<Real> rows[] = {
        {"soc_std", d.soc_std, Real(0), Real(1)},
        {"resistance_log_std", d.resistance_log_std, Real(0), Real(2)},
        {"capacity_log_std", d.capacity_log_std, Real(0), Real(2)},
        {"measured_current_A", d.measured_current_A, Real(0), Real(1e6)},
        {"sigmas", d.sigmas, Real(0), Real(10)},
        {"step_s", d.step_s, Real(0.1), Real(600)},
    };
    return detail::first_outside(rows);
}

/// Knobs of the central run: steps of 10 s, so that a charge of two hours with the band of SOC and
/// resistance takes less than 2 ms on a desktop core (tests/bench/bench_forecast.cpp).
template <class Real>
[[nodiscard]] constexpr ForecastSettings<Real> band_forecast() noexcept {
    ForecastSettings<Real> settings;
    settings.step_s = Real(10);
    return settings;
}

/// A forecast with its band.
template <class Real>
struct ChargeTimeBand {
    ChargeForecast<Real> central{};  ///< From the state as it is.
    Real earliest_s{0};              ///< Lower end of the band of `central.time_s`.
    Real latest_s{0};  ///< Upper end; infinite where the target may not be reached at all.
    Real std_s{0};     ///< Half the band over `sigmas`; 0 without a band, infinite likewise.
    int steps{0};      ///< Steps of all runs together: what it cost.
};

namespace detail {

/// A run from another state of the same charge.
template <class Real>
struct ChargeShift {
    Real soc{0};
    Real resistance{1};  ///< Factor.
    Real capacity{1};    ///< Factor.
};

/// Counts the steps and hands each point on.
template <class Observer>
struct CountingObserver {
    Observer& observer;
    int& steps;
    template <class Point>
    void operator()(const Point& point) const noexcept {
        ++steps;
        observer(point);
    }
};

template <class Real, int Branches, bool Transfer>
[[nodiscard]] inline Status shifted_forecast(
    const CellParameters<Real, Branches, Transfer>& cell, const ChargePlan<Real>& plan,
    const CellState<Real, Branches, Transfer>& state, const ChargeConditions<Real>& conditions,
    const Real* target_soc, const ForecastSettings<Real>& settings, const ChargeShift<Real>& shift,
    int& steps, ChargeForecast<Real>& out) noexcept {
    CellParameters<Real, Branches, Transfer> other = cell;
    other.capacity_Ah *= shift.capacity;
    CellState<Real, Branches, Transfer> from = state;
    from.soc += shift.soc;
    if (from.soc > Real(1)) from.soc = state.soc > Real(1) ? state.soc : Real(1);
    if (from.soc < Real(0)) from.soc = state.soc < Real(0) ? state.soc : Real(0);
    from.soc_carry = Real(0);
    from.resistance_scale *= shift.resistance;
    NoObserver nobody;
    return forecast_charge(other, plan, from, conditions, target_soc, settings,
                           CountingObserver<NoObserver>{nobody, steps}, out);
}

/// The SOC that is `width` off as far as the measured voltage allows, with the resistance that
/// goes with it.
/// \param most the factor by which the resistance may be off, > 1
template <class Real, int Branches, bool Transfer>
[[nodiscard]] inline ChargeShift<Real> measured_shift(
    const CellParameters<Real, Branches, Transfer>& cell,
    const CellState<Real, Branches, Transfer>& state, Real temperature_degC, Real current_A,
    Real width, Real most) noexcept {
    const auto voltage_V = [&](Real soc, Real scale) {
        CellState<Real, Branches, Transfer> at = state;
        at.soc = soc;
        at.resistance_scale = scale;
        return voltage_at(cell, at, current_A, temperature_degC).voltage_V;
    };
    const Real scale = state.resistance_scale;
    const Real measured_V = voltage_V(state.soc, scale);
    // The voltage is a straight line in the scale. False where no scale would do.
    const auto factor_at = [&](Real soc, Real& factor) {
        const Real open_V = voltage_V(soc, Real(0));
        const Real over_V = voltage_V(soc, scale) - open_V;
        if (!(over_V > Real(0))) return false;
        factor = (measured_V - open_V) / over_V;
        return factor >= Real(1) / most && factor <= most;
    };
    ChargeShift<Real> shift{width, Real(1), Real(1)};
    if (factor_at(state.soc + width, shift.resistance)) return shift;
    Real inside = Real(0);
    Real outside = width;
    Real factor = Real(1);
    shift = {Real(0), Real(1), Real(1)};
    for (int turn = 0; turn < 20; ++turn) {
        const Real middle = Real(0.5) * (inside + outside);
        if (factor_at(state.soc + middle, factor)) {
            inside = middle;
            shift = {middle, factor, Real(1)};
        } else {
            outside = middle;
        }
    }
    return shift;
}

template <class Real, int Branches, bool Transfer, class Observer>
[[nodiscard]] inline Status charge_time_band(
    const CellParameters<Real, Branches, Transfer>& cell, const ChargePlan<Real>& plan,
    const CellState<Real, Branches, Transfer>& given, const ChargeConditions<Real>& conditions,
    const Real* target_soc, const ChargeDoubt<Real>& doubt, const ForecastSettings<Real>& settings,
    Observer&& observer, ChargeTimeBand<Real>& out) noexcept {
    const Status sound = validate(doubt).status;
    if (sound != Status::ok) return sound;
    const CellState<Real, Branches, Transfer> state = lasting_scale(given, settings);
    ChargeTimeBand<Real> result;
    const Status status =
        forecast_charge(cell, plan, state, conditions, target_soc, settings,
                        CountingObserver<std::remove_reference_t<Observer>>{observer, result.steps},
                        result.central);
    if (!usable(status)) return status;
    const Real time_s = result.central.time_s;
    result.earliest_s = time_s;
    result.latest_s = time_s;
    if (status != Status::ok) {
        out = result;
        return status;
    }
    constexpr Real never = std::numeric_limits<Real>::infinity();
    ForecastSettings<Real> coarse = settings;
    if (coarse.step_s < doubt.step_s) coarse.step_s = doubt.step_s;
    coarse.least_resistance_scale = Real(0);  // the band reaches below
    Real earlier_s2 = Real(0);
    Real later_s2 = Real(0);
    bool lost = false;
    const auto look = [&](const ChargeShift<Real>& shift) {
        ChargeForecast<Real> run;
        if (shifted_forecast(cell, plan, state, conditions, target_soc, coarse, shift, result.steps,
                             run) != Status::ok) {
            lost = true;
            return time_s;
        }
        return run.time_s;
    };
    const auto both = [&](const ChargeShift<Real>& one, const ChargeShift<Real>& other) {
        const Real first_s = look(one) - time_s;
        const Real second_s = look(other) - time_s;
        const Real early_s = first_s < second_s ? first_s : second_s;
        const Real late_s = first_s < second_s ? second_s : first_s;
        if (early_s < Real(0)) earlier_s2 += early_s * early_s;
        if (late_s > Real(0)) later_s2 += late_s * late_s;
    };
    if (doubt.measured_current_A > Real(0)) {
        // Without a word about the resistance: 30 %.
        const Real told = doubt.sigmas * doubt.resistance_log_std;
        const Real most = exponential(told > Real(0.3) ? told : Real(0.3));
        const auto shifted = [&](Real width) {
            return measured_shift(cell, state, conditions.temperature_degC,
                                  doubt.measured_current_A, width, most);
        };
        const Real width = doubt.sigmas * doubt.soc_std;
        if (width > Real(0)) both(shifted(width), shifted(-width));
    } else if (doubt.soc_std > Real(0)) {
        const Real width = doubt.sigmas * doubt.soc_std;
        both({width, Real(1), Real(1)}, {-width, Real(1), Real(1)});
    }
    if (doubt.resistance_log_std > Real(0) && !(doubt.measured_current_A > Real(0))) {
        const Real factor = exponential(doubt.sigmas * doubt.resistance_log_std);
        both({Real(0), factor, Real(1)}, {Real(0), Real(1) / factor, Real(1)});
    }
    if (doubt.capacity_log_std > Real(0)) {
        const Real factor = exponential(doubt.sigmas * doubt.capacity_log_std);
        both({Real(0), Real(1), factor}, {Real(0), Real(1), Real(1) / factor});
    }
    const Real earlier_s = std::sqrt(earlier_s2);
    const Real later_s = std::sqrt(later_s2);
    result.earliest_s = earlier_s < time_s ? time_s - earlier_s : Real(0);
    result.latest_s = lost ? never : time_s + later_s;
    if (doubt.sigmas > Real(0)) {
        result.std_s = lost ? never : Real(0.5) * (earlier_s + later_s) / doubt.sigmas;
    }
    out = result;
    return Status::ok;
}

}  // namespace detail

/// Time until the cell is full, with its band; see time_to_full.
/// \param doubt what the filter says of its state
/// \param observer called along the central run
/// \return as time_to_full, and out_of_range for a doubt that cannot be; where the central run does
/// not reach the target the band is empty
template <class Real, int Branches, bool Transfer, class Observer = detail::NoObserver>
[[nodiscard]] inline Status time_to_full_band(
    const CellParameters<Real, Branches, Transfer>& cell, const ChargePlan<Real>& plan,
    const CellState<Real, Branches, Transfer>& state, const ChargeConditions<Real>& conditions,
    const ChargeDoubt<Real>& doubt, ChargeTimeBand<Real>& out,
    const ForecastSettings<Real>& settings = band_forecast<Real>(),
    Observer&& observer = {}) noexcept {
    const Real* const none = nullptr;
    return detail::charge_time_band(cell, plan, state, conditions, none, doubt, settings, observer,
                                    out);
}

/// Time until the cell reaches an SOC, with its band; see time_to_full_band.
template <class Real, int Branches, bool Transfer, class Observer = detail::NoObserver>
[[nodiscard]] inline Status time_to_soc_band(
    const CellParameters<Real, Branches, Transfer>& cell, const ChargePlan<Real>& plan,
    const CellState<Real, Branches, Transfer>& state, const ChargeConditions<Real>& conditions,
    Real target_soc, const ChargeDoubt<Real>& doubt, ChargeTimeBand<Real>& out,
    const ForecastSettings<Real>& settings = band_forecast<Real>(),
    Observer&& observer = {}) noexcept {
    return detail::charge_time_band(cell, plan, state, conditions, &target_soc, doubt, settings,
                                    observer, out);
}

}  // namespace voltkeel

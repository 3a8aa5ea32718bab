#pragma once
/// \file departure.hpp
/// Charging for a departure: the least current that is ready in time, and what the charge takes
/// from the socket and costs.
///
/// Less current is less heat in the cell, so a charge that has all night may take it; a charger may
/// turn less of the mains into charge at low power, which the energy from the socket shows. The
/// least current is searched between the charge that is missing over the time there is (less cannot
/// be enough) and what plan and supply allow, by false position over the reciprocal of the current,
/// in which the time of a charge is nearly straight. Every current that comes back has been run to
/// the end and was in time.
///
/// A forecast is no protection: the charger's own limits, the cell maker's data sheet and local
/// codes hold whatever it says.

#include "voltkeel/charge/forecast.hpp"
#include "voltkeel/charge/time_band.hpp"
#include "voltkeel/status.hpp"

namespace voltkeel {

/// What is asked for.
template <class Real>
struct Departure {
    Real ready_s{0};     ///< From now, > 0.
    Real target_soc{0};  ///< 0: full by the plan.
    /// The charge is in time at the late end of the band of this doubt; all zeros: at the central
    /// time.
    ChargeDoubt<Real> doubt{};
    Real tolerance{Real(0.002)};  ///< The current is searched to this share of `ready_s`.
    int max_turns{16};            ///< Bound on the work: forecasts of a current.
};

/// Checks it; see validate(CellParameters).
template <class Real>
[[nodiscard]] Finding<Real> validate(const Departure<Real>& d) noexcept {
    const detail::BoundedField<Real> rows[] = {
        {"ready_s", d.ready_s, Real(1), Real(1e7)},
        {"target_soc", d.target_soc, Real(0), Real(1)},
        {"tolerance", d.tolerance, Real(1e-5), Real(0.1)},
        {"max_turns", static_cast<Real>(d.max_turns), Real(2), Real(100)},
    };
    const Finding<Real> own = detail::first_outside(rows);
    return own.status != Status::ok ? own : validate(d.doubt);
}

/// The charge that is ready in time.
template <class Real>
struct DepartureCharge {
    Real current_A{0};              ///< Of one cell; the highest that flows in this charge.
    ChargeTimeBand<Real> charge{};  ///< With that current; `latest_s` is not after `ready_s`.
    int turns{0};                   ///< Currents that were tried.
    int steps{0};                   ///< Steps of all runs together.
};

/// The least current that is ready by a departure.
/// \param conditions `supply_current_A` and `supply` bound the current from above as in
/// time_to_full
/// \param settings `longest_s` need not be as long as `ready_s`: what takes longer is too late
/// \return ok: `out` holds a charge in time. not_reached: even the highest current is too late (or
/// never there), and `out` holds the charge with that. not_allowed and the others as time_to_full.
template <class Real, int Branches, bool Transfer>
[[nodiscard]] inline Status least_charge_current(
    const CellParameters<Real, Branches, Transfer>& cell, const ChargePlan<Real>& plan,
    const CellState<Real, Branches, Transfer>& state, const ChargeConditions<Real>& conditions,
    const Departure<Real>& departure, DepartureCharge<Real>& out,
    const ForecastSettings<Real>& settings = {}) noexcept {
    const Status asked = validate(departure).status;
    if (asked != Status::ok) return asked;
    const Status planned = validate(plan).status;
    if (planned != Status::ok) return planned;
    const Real* const target_soc = departure.target_soc > Real(0) ? &departure.target_soc : nullptr;
    const Real ready_s = departure.ready_s;
    // Long charges in longer steps: events are located inside them all the same.
    ForecastSettings<Real> knobs = settings;
    constexpr Real step_share = Real(1) / Real(1000);
    constexpr Real longest_step_s = Real(30);
    const Real long_step_s =
        step_share * ready_s < longest_step_s ? step_share * ready_s : longest_step_s;
    if (knobs.step_s < long_step_s) knobs.step_s = long_step_s;

    DepartureCharge<Real> best;
    int steps = 0;
    const auto run = [&](Real current_A, DepartureCharge<Real>& charge) {
        ChargeConditions<Real> with = conditions;
        with.supply_current_A = current_A;
        charge.current_A = current_A;
        const Status status =
            detail::charge_time_band(cell, plan, state, with, target_soc, departure.doubt, knobs,
                                     detail::NoObserver{}, charge.charge);
        steps += charge.charge.steps;
        return status;
    };

    // The highest first: is there a charge in time at all?
    Real most_A = Real(0);
    for (int k = 0; k < plan.zone_count; ++k)
        if (plan.zones[k].current_A > most_A) most_A = plan.zones[k].current_A;
    if (conditions.supply_current_A > Real(0) && conditions.supply_current_A < most_A)
        most_A = conditions.supply_current_A;
    const Status fastest = run(most_A, best);
    if (!usable(fastest)) return fastest;
    // What takes twice the time there is need not be known better.
    if (knobs.longest_s > Real(2) * ready_s) knobs.longest_s = Real(2) * ready_s;
    int turns = 1;
    const auto finish = [&](Status status) {
        best.turns = turns;
        best.steps = steps;
        out = best;
        return status;
    };
    if (fastest != Status::ok) return finish(fastest);
    if (best.charge.latest_s > ready_s) return finish(Status::not_reached);
    const Real missing_As = best.charge.central.charge_Ah * seconds_per_hour<Real>;
    if (!(missing_As > Real(0))) return finish(Status::ok);  // nothing to do

    // What flowed at most in it: above that a current changes nothing.
    Real high = best.current_A;  // in time
    Real high_s = best.charge.latest_s;
    Real low = missing_As / ready_s;  // too late, or in time to a hair
    Real low_s = Real(0);             // 0: not tried
    if (low > high) low = high;
    Real weight_high = Real(1);
    Real weight_low = Real(1);
    while (turns < departure.max_turns && ready_s - high_s > departure.tolerance * ready_s &&
           high - low > Real(1e-4) * high) {
        Real next = Real(0);
        if (low_s > Real(0)) {
            // Illinois variant of false position, over the reciprocal of the current.
            const Real above = weight_high * (high_s - ready_s);  // < 0
            const Real below = weight_low * (low_s - ready_s);    // > 0
            const Real x_high = Real(1) / high;
            const Real x_low = Real(1) / low;
            // A little towards the side that is in time, so that an end of the search is one.
            const Real aim = -Real(0.5) * departure.tolerance * ready_s;
            const Real x = x_high + (x_low - x_high) * (aim - above) / (below - above);
            next = Real(1) / x;
        } else {
            // The time scales with the reciprocal, but for what is not moved by the current.
            next = high * high_s / (ready_s * (Real(1) - Real(0.5) * departure.tolerance));
        }
        if (!(next > low) || !(next < high)) next = Real(0.5) * (low + high);
        DepartureCharge<Real> trial;
        const Status status = run(next, trial);
        ++turns;
        if (!usable(status)) return status;
        const bool in_time = status == Status::ok && trial.charge.latest_s <= ready_s;
        if (in_time) {
            best = trial;
            high = next;
            high_s = trial.charge.latest_s;
            weight_high = Real(1);
            weight_low *= Real(0.5);
        } else {
            low = next;
            // Far too late to be run to its end counts as twice the time.
            low_s = status == Status::ok && trial.charge.latest_s < Real(2) * ready_s
                        ? trial.charge.latest_s
                        : Real(2) * ready_s;
            weight_low = Real(1);
            weight_high *= Real(0.5);
        }
    }
    return finish(Status::ok);
}

/// Share of the energy from the socket that stays in the cells.
/// \param cells that the forecast speaks for: `series` times `parallel`
/// \return 0 where nothing was taken from a socket
template <class Real>
[[nodiscard]] inline Real charge_efficiency(const ChargeForecast<Real>& forecast,
                                            Real cells) noexcept {
    return forecast.socket_energy_Wh > Real(0)
               ? cells * forecast.stored_Wh / forecast.socket_energy_Wh
               : Real(0);
}

/// What the energy from the socket costs, in the currency of the price.
template <class Real>
[[nodiscard]] inline Real charge_cost(const ChargeForecast<Real>& forecast,
                                      Real price_per_kWh) noexcept {
    constexpr Real watt_hours_per_kilowatt_hour = Real(1000);
    return forecast.socket_energy_Wh / watt_hours_per_kilowatt_hour * price_per_kWh;
}

}  // namespace voltkeel

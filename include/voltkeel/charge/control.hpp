#pragma once
/// \file control.hpp
/// What to ask a charger for, tick by tick: the plan's stages for a pack of groups, inside what
/// limits and supply allow, with an end, faults and reasons.
///
/// The current follows the fullest group: from the measured current (or the last request, if that
/// is less) it goes up or down by what is left to the voltage over the group's resistance, so a
/// charger that lags or errs does not wind it up. It rises no faster than `rise_s` allows and falls
/// at once. The requested voltage is a backstop for the charger's own regulation.
///
/// This is no protection. Hardware that opens the contactors on voltage, current and temperature
/// must work when this software does not; the cell maker's data sheet, local codes and qualified
/// people come first.

#include <cstdint>

#include "voltkeel/cell/bounds.hpp"
#include "voltkeel/cell/compensated_sum.hpp"
#include "voltkeel/cell/exponential.hpp"
#include "voltkeel/cell/finite.hpp"
#include "voltkeel/charge/forecast.hpp"
#include "voltkeel/charge/plan.hpp"
#include "voltkeel/charge/supply.hpp"
#include "voltkeel/status.hpp"
#include "voltkeel/units.hpp"

namespace voltkeel {

/// Why the request is what it is. Numbers are frozen: they appear in logs. 1..9 what decides the
/// current; 10..19 why none flows now; 20..29 a good end; 30.. a fault.
enum class ChargeReason : std::uint8_t {
    none = 0,
    plan = 1,        ///< Current or power of stage and zone.
    limits = 2,      ///< What the pack may take.
    supply = 3,      ///< What the supply gives.
    voltage = 4,     ///< The fullest group is at its voltage.
    ramp = 5,        ///< The current is on its way up.
    next_stage = 6,  ///< Events only: the stage before is over, this one begins.
    zone = 7,        ///< Events only: another temperature zone, with its current and voltage.

    switched_off = 10,
    too_cold = 11,  ///< Colder than every zone, or in a gap of the plan.
    too_hot = 12,
    no_supply = 13,
    no_limits = 14,  ///< The limits allow no current.
    resting = 15,
    balancing = 16,
    missing_sample = 17,  ///< A measurement is missing, for a short time so far.
    starting_again = 18,  ///< Everything is there; wait whether it stays.

    taper_end = 20,   ///< The current has fallen to the end current at the voltage: full.
    limits_end = 21,  ///< The limits have let next to nothing in for long.
    plan_end = 22,    ///< The last stage was another one, and is over.

    over_voltage = 30,
    under_voltage = 31,  ///< A group is so low that it must not be charged this way.
    over_temperature = 32,
    under_temperature = 33,
    lost_measurement = 34,
    over_current = 35,     ///< More flows than was asked for.
    no_voltage_rise = 36,  ///< Charge goes in and no voltage rises.
    too_much_charge = 37,  ///< Far more went in than the pack holds.
    stage_timeout = 38,
    timeout = 39,
};

/// Plain words for a reason; never null.
[[nodiscard]] constexpr const char* message(ChargeReason reason) noexcept {
    switch (reason) {
        case ChargeReason::none:
            return "no reason";
        case ChargeReason::plan:
            return "the plan's current or power";
        case ChargeReason::limits:
            return "the pack's limits";
        case ChargeReason::supply:
            return "the supply";
        case ChargeReason::voltage:
            return "the fullest group is at its voltage";
        case ChargeReason::ramp:
            return "the current is rising";
        case ChargeReason::next_stage:
            return "the next stage begins";
        case ChargeReason::zone:
            return "another temperature zone";
        case ChargeReason::switched_off:
            return "switched off";
        case ChargeReason::too_cold:
            return "too cold to charge";
        case ChargeReason::too_hot:
            return "too hot to charge";
        case ChargeReason::no_supply:
            return "the supply gives nothing";
        case ChargeReason::no_limits:
            return "the limits allow no current";
        case ChargeReason::resting:
            return "resting, as planned";
        case ChargeReason::balancing:
            return "balancing, as planned";
        case ChargeReason::missing_sample:
            return "a measurement is missing";
        case ChargeReason::starting_again:
            return "waiting before starting again";
        case ChargeReason::taper_end:
            return "full: the current has fallen to its end";
        case ChargeReason::limits_end:
            return "the limits let no more in";
        case ChargeReason::plan_end:
            return "the plan is over";
        case ChargeReason::over_voltage:
            return "a group's voltage is too high";
        case ChargeReason::under_voltage:
            return "a group's voltage is too low to be charged";
        case ChargeReason::over_temperature:
            return "the temperature is too high";
        case ChargeReason::under_temperature:
            return "the temperature is too low";
        case ChargeReason::lost_measurement:
            return "a measurement was lost";
        case ChargeReason::over_current:
            return "more current than was asked for";
        case ChargeReason::no_voltage_rise:
            return "no voltage rises";
        case ChargeReason::too_much_charge:
            return "far more charge than the pack holds";
        case ChargeReason::stage_timeout:
            return "a stage lasted too long";
        case ChargeReason::timeout:
            return "the charge lasted too long";
    }
    return "unknown reason";
}

/// Knobs of the control. Those without a default of use (0) must be set.
template <class Real>
struct ChargeControlSettings {
    int series{0};        ///< Groups in series, 1..1000.
    int parallel{0};      ///< Cells in each: the plan is for one cell.
    Real capacity_Ah{0};  ///< Of the pack, that is of a group.
    /// Rise of a group's voltage per ampere of pack current within a tick or two (ohmic part and
    /// whatever is as fast), of a cold and aged group. Half or twice the true one still works.
    Real group_resistance_ohm{0};
    Real voltage_max_V{0};               ///< A group above this is a fault.
    Real voltage_min_V{0};               ///< A group below this is a fault.
    Real temperature_max_degC{60};       ///< Above this is a fault; zones of the plan pause.
    Real temperature_min_degC{-20};      ///< Likewise below.
    Real over_voltage_s{Real(0.5)};      ///< Faults of voltage must last this long.
    Real temperature_s{5};               ///< Faults of temperature likewise.
    Real lost_s{5};                      ///< A measurement may be missing this long.
    Real over_current_share{Real(0.1)};  ///< More than asked for by this share
    Real over_current_A{2};              ///< and this, for
    Real over_current_s{5};              ///< this long, is a fault.
    Real control_share{Real(0.5)};       ///< Of the way to the voltage, in one tick.
    Real voltage_margin_V{0};            ///< Kept below the voltage of plan and zone.
    Real hold_tolerance_V{Real(0.005)};  ///< The voltage counts as held this far below it.
    Real rise_s{10};         ///< From nothing to the plan's current in no less than this.
    Real restart_s{5};       ///< All must be well for this long before current flows again.
    Real end_dwell_s{30};    ///< The end of the taper must last this long.
    Real limits_end_s{900};  ///< Limits below the end current for this long end the charge.
    Real rise_charge_share{Real(0.3)};  ///< After this share of the capacity at a steady current
    Real rise_voltage_V{Real(0.002)};   ///< the voltage must have risen by this.
    Real overcharge_share{Real(0.2)};   ///< Beyond what was missing, of the capacity: a fault.
    Real longest_s{86400};              ///< Whole charge, pauses included.
};

/// Checks the settings; see validate(CellParameters).
template <class Real>
[[nodiscard]] Finding<Real> validate(const ChargeControlSettings<Real>& s) noexcept {
    const detail::BoundedField<Real> rows[] = {
        {"series", static_cast<Real>(s.series), Real(1), Real(1000)},
        {"parallel", static_cast<Real>(s.parallel), Real(1), Real(10000)},
        {"capacity_Ah", s.capacity_Ah, Real(1e-4), Real(1e6)},
        {"group_resistance_ohm", s.group_resistance_ohm, Real(1e-7), Real(100)},
        {"voltage_max_V", s.voltage_max_V, Real(0.1), Real(10)},
        {"voltage_min_V", s.voltage_min_V, Real(0), Real(10)},
        {"temperature_max_degC", s.temperature_max_degC, Real(-100), Real(200)},
        {"temperature_min_degC", s.temperature_min_degC, Real(-100), Real(200)},
        {"over_voltage_s", s.over_voltage_s, Real(0), Real(60)},
        {"temperature_s", s.temperature_s, Real(0), Real(600)},
        {"lost_s", s.lost_s, Real(0), Real(600)},
        {"over_current_share", s.over_current_share, Real(0), Real(1)},
        {"over_current_A", s.over_current_A, Real(0), Real(1000)},
        {"over_current_s", s.over_current_s, Real(0), Real(60)},
        {"control_share", s.control_share, Real(0.01), Real(1)},
        {"voltage_margin_V", s.voltage_margin_V, Real(0), Real(0.5)},
        {"hold_tolerance_V", s.hold_tolerance_V, Real(1e-4), Real(0.1)},
        {"rise_s", s.rise_s, Real(0), Real(3600)},
        {"restart_s", s.restart_s, Real(0), Real(3600)},
        {"end_dwell_s", s.end_dwell_s, Real(0), Real(3600)},
        {"limits_end_s", s.limits_end_s, Real(0), Real(1e6)},
        {"rise_charge_share", s.rise_charge_share, Real(0.01), Real(10)},
        {"rise_voltage_V", s.rise_voltage_V, Real(0), Real(1)},
        {"overcharge_share", s.overcharge_share, Real(0), Real(10)},
        {"longest_s", s.longest_s, Real(1), Real(1e7)},
    };
    const Finding<Real> outside = detail::first_outside(rows);
    if (outside.status != Status::ok) return outside;
    if (!(s.voltage_max_V > s.voltage_min_V)) {
        return {Status::out_of_range, "voltage_max_V", -1, s.voltage_max_V, s.voltage_min_V};
    }
    if (!(s.temperature_max_degC > s.temperature_min_degC)) {
        return {Status::out_of_range, "temperature_max_degC", -1, s.temperature_max_degC,
                s.temperature_min_degC};
    }
    return {};
}

/// What is measured at a tick.
template <class Real>
struct ChargeMeasurement {
    Real group_voltage_min_V{0};
    Real group_voltage_max_V{0};
    Real pack_voltage_V{0};  ///< At the terminals.
    Real current_A{0};       ///< Of the pack, positive when charging.
    Real temperature_min_degC{0};
    Real temperature_max_degC{0};
    bool voltage_valid{true};
    bool current_valid{true};
    bool temperature_valid{true};
};

/// Everything that a tick brings.
template <class Real>
struct ChargeInput {
    ChargeMeasurement<Real> measured{};
    Real allowed_A{0};  ///< Charge current that the pack's limits allow, >= 0.
    SupplyLimits<Real> supply{};
    Real soc{-1};         ///< Of the pack, 0..1; below 0 when it is not known.
    Real forecast_s{-1};  ///< Remaining time of a forecast made now; below 0 when there is none.
    Real dt_s{0};         ///< Since the last tick, 0..longest_tick_s.
    bool enabled{true};   ///< The driver wants to charge.
};

/// What to ask for.
template <class Real>
struct ChargeRequest {
    Real current_A{0};  ///< From the charger, >= 0.
    Real voltage_V{0};  ///< Highest pack voltage; 0 while no current is wanted.
    ChargePhase phase{ChargePhase::waiting};
    ChargeReason reason{ChargeReason::none};
    Real remaining_s{-1};  ///< Estimated time to the end; below 0 when nothing tells.
    int stage{0};
    bool balance{false};         ///< The groups may be bled.
    bool open_contactor{false};  ///< A fault: nothing may flow.
};

/// A change, for the log.
template <class Real>
struct ChargeEvent {
    Real time_s{0};  ///< Since the start.
    Real value{0};   ///< What decided, in its own unit: V, A, degC, Ah or s.
    ChargePhase phase{ChargePhase::waiting};
    ChargeReason reason{ChargeReason::none};
    std::uint8_t stage{0};
};

/// What must survive from tick to tick.
template <class Real>
struct ChargeControlState {
    static constexpr int event_capacity = 16;
    ChargePhase phase{ChargePhase::waiting};
    ChargeReason reason{ChargeReason::none};
    ChargeReason candidate{ChargeReason::none};  ///< Reason that is about to be taken over.
    Real candidate_s{0};
    int stage{0};
    Real time_s{0};
    Real time_carry{0};
    Real stage_s{0};  ///< Without pauses.
    Real stage_carry{0};
    Real charge_As{0};  ///< Put in since the start.
    Real charge_carry{0};
    Real request_A{0};     ///< Last one.
    Real last_group_V{0};  ///< Highest group at the last tick; 0 before.
    Real last_current_A{0};
    Real drift_V_per_s{0};  ///< Rise of that group without the current's share.
    ZoneSpan<Real> cold{};
    ZoneSpan<Real> hot{};
    Real zone_A{0};  ///< Of a cell, in the zone so far; 0: none yet.
    Real zone_V{0};
    Real well_s{0};  ///< How long nothing has stood in the way.
    Real over_voltage_s{0};
    Real under_voltage_s{0};
    Real over_temperature_s{0};
    Real under_temperature_s{0};
    Real lost_s{0};
    Real over_current_s{0};
    Real end_s{0};
    Real limits_s{0};
    Real rise_from_As{0};  ///< Charge, voltage and current since when a rise is looked for;
    Real rise_from_V{0};
    Real rise_from_A{0};  ///< 0: not yet.
    Real start_soc{-1};
    Real remaining_s{-1};
    Real taper_from_A{0};  ///< Current of the taper `taper_s` ago.
    Real taper_s{0};
    Real taper_time_s{0};  ///< Its time constant; 0 when it is not known.
    bool started{false};
    /// The last changes: event k of all is at k modulo the capacity.
    ChargeEvent<Real> events[event_capacity]{};
    std::uint32_t event_count{0};
};

/// A tick may be this long, in s.
template <class Real>
inline constexpr Real longest_tick_s = Real(10);

/// Charges a pack by a plan. Bounded work, no heap.
template <class Real>
class ChargeControl {
  public:
    using State = ChargeControlState<Real>;
    using Settings = ChargeControlSettings<Real>;

    /// Sets plan and knobs. On failure nothing changes.
    [[nodiscard]] Status configure(const ChargePlan<Real>& plan,
                                   const Settings& settings) noexcept {
        const Status planned = validate(plan).status;
        if (planned != Status::ok) return planned;
        const Status knobs = validate(settings).status;
        if (knobs != Status::ok) return knobs;
        for (int k = 0; k < plan.zone_count; ++k) {
            if (plan.zones[k].voltage_V > settings.voltage_max_V) return Status::out_of_range;
        }
        plan_ = plan;
        settings_ = settings;
        configured_ = true;
        forget();
        return Status::ok;
    }

    /// Begins a charge at the plan's first stage.
    [[nodiscard]] Status start() noexcept {
        if (!configured_) return Status::not_started;
        forget();
        state_.started = true;
        return Status::ok;
    }

    /// Goes on from a state that was kept.
    [[nodiscard]] Status restore(const State& state) noexcept {
        if (!configured_) return Status::not_started;
        if (state.stage < 0 || state.stage >= stage_count(plan_)) return Status::out_of_range;
        const Real sums[] = {state.time_s, state.stage_s, state.charge_As, state.request_A};
        for (const Real value : sums) {
            if (!detail::finite(value)) return Status::not_finite;
        }
        state_ = state;
        state_.started = true;
        state_.request_A = Real(0);
        state_.well_s = Real(0);
        state_.last_group_V = Real(0);
        return Status::ok;
    }

    /// One tick. `out` is always safe to pass on: no current where the call fails.
    /// \return ok; not_started; time_step_invalid for a dt_s that cannot be. Missing or impossible
    /// measurements are no failure of the call: they pause the charge, and stop it when they last
    [[nodiscard]] Status step(const ChargeInput<Real>& in, ChargeRequest<Real>& out) noexcept {
        out = {};
        if (!state_.started) return Status::not_started;
        if (!detail::within(in.dt_s, Real(0), longest_tick_s<Real>)) {
            state_.request_A = Real(0);
            state_.well_s = Real(0);
            out.phase = state_.phase;
            out.reason = state_.reason;
            out.stage = state_.stage;
            out.open_contactor = state_.phase == ChargePhase::fault;
            return Status::time_step_invalid;
        }
        if (!over()) {
            tick(in, out);
        } else {
            state_.request_A = Real(0);
        }
        out.current_A = state_.request_A;
        if (!(out.current_A > Real(0))) out.voltage_V = Real(0);
        out.phase = state_.phase;
        out.reason = state_.reason;
        out.stage = state_.stage;
        out.remaining_s = over() ? Real(0) : state_.remaining_s;
        out.open_contactor = state_.phase == ChargePhase::fault;
        return Status::ok;
    }

    /// The charge has ended, well or by a fault; start() begins another one.
    [[nodiscard]] bool over() const noexcept {
        return state_.phase == ChargePhase::done || state_.phase == ChargePhase::fault;
    }
    [[nodiscard]] const State& state() const noexcept { return state_; }
    [[nodiscard]] const Settings& settings() const noexcept { return settings_; }
    [[nodiscard]] const ChargePlan<Real>& plan() const noexcept { return plan_; }

  private:
    static constexpr Real reason_dwell_s = Real(2);
    static constexpr Real drift_filter_s = Real(1);
    static constexpr Real taper_window_s = Real(60);

    void forget() noexcept {
        const State fresh{};  // assigned in one go, GCC 12 fails on the array in it
        state_ = fresh;
    }
    [[nodiscard]] static bool possible(const ChargeMeasurement<Real>& m) noexcept {
        return m.voltage_valid && m.current_valid && m.temperature_valid &&
               detail::within(m.group_voltage_min_V, Real(-1), Real(10)) &&
               detail::within(m.group_voltage_max_V, m.group_voltage_min_V, Real(10)) &&
               detail::within(m.pack_voltage_V, Real(-10), Real(1e4)) &&
               detail::within(m.current_A, Real(-1e6), Real(1e6)) &&
               detail::within(m.temperature_min_degC, Real(-100), Real(200)) &&
               detail::within(m.temperature_max_degC, m.temperature_min_degC, Real(200));
    }
    [[nodiscard]] static bool possible(const SupplyLimits<Real>& s) noexcept {
        return detail::finite(s.voltage_min_V) && detail::finite(s.voltage_max_V) &&
               s.current_max_A >= Real(0) && s.power_max_W >= Real(0) &&
               detail::finite(s.current_max_A) && detail::finite(s.power_max_W);
    }

    /// True when `wrong` has lasted for `limit_s`.
    [[nodiscard]] static bool lasts(bool wrong, Real dt_s, Real limit_s, Real& counter_s) noexcept {
        if (!wrong) {
            counter_s = Real(0);
            return false;
        }
        counter_s += dt_s;
        return counter_s >= limit_s;
    }

    void record(ChargePhase phase, ChargeReason reason, Real value) noexcept {
        if (phase == state_.phase && reason == state_.reason) return;
        state_.phase = phase;
        state_.reason = reason;
        state_.candidate = reason;
        state_.candidate_s = Real(0);
        log(reason, value);
    }
    /// An event that leaves phase and reason as they are.
    void log(ChargeReason reason, Real value) noexcept {
        state_.events[state_.event_count % State::event_capacity] = {
            state_.time_s, value, state_.phase, reason, static_cast<std::uint8_t>(state_.stage)};
        ++state_.event_count;
    }
    void end(ChargePhase phase, ChargeReason reason, Real value) noexcept {
        state_.request_A = Real(0);
        record(phase, reason, value);
    }
    void fault(ChargeReason reason, Real value) noexcept { end(ChargePhase::fault, reason, value); }
    void pause(ChargePhase phase, ChargeReason reason, Real value) noexcept {
        state_.well_s = Real(0);
        state_.end_s = Real(0);
        state_.rise_from_A = Real(0);
        state_.taper_from_A = Real(0);
        end(phase, reason, value);
    }
    void next_stage(ChargeReason reason, Real value) noexcept {
        if (state_.stage + 1 >= stage_count(plan_)) {
            end(ChargePhase::done, reason, value);
            return;
        }
        ++state_.stage;
        state_.stage_s = Real(0);
        state_.stage_carry = Real(0);
        state_.end_s = Real(0);
        state_.rise_from_A = Real(0);
        state_.taper_from_A = Real(0);
        state_.taper_time_s = Real(0);
        log(ChargeReason::next_stage, value);
    }
    void follow_zone(const ZoneLimits<Real>& zone) noexcept {
        const bool same = !(zone.current_A < state_.zone_A || zone.current_A > state_.zone_A ||
                            zone.voltage_V < state_.zone_V || zone.voltage_V > state_.zone_V);
        if (same) return;
        const bool first = !(state_.zone_A > Real(0));
        state_.zone_A = zone.current_A;
        state_.zone_V = zone.voltage_V;
        if (!first) log(ChargeReason::zone, zone.current_A * static_cast<Real>(settings_.parallel));
    }

    /// Faults that need no plan. \return true when one has stopped the charge
    [[nodiscard]] bool stopped(const ChargeInput<Real>& in, bool complete) noexcept {
        const ChargeMeasurement<Real>& m = in.measured;
        const Settings& s = settings_;
        const Real dt_s = in.dt_s;
        if (lasts(!complete, dt_s, s.lost_s, state_.lost_s)) {
            fault(ChargeReason::lost_measurement, state_.lost_s);
        } else if (state_.time_s >= s.longest_s) {
            fault(ChargeReason::timeout, state_.time_s);
        } else if (complete) {
            const bool high = lasts(m.group_voltage_max_V > s.voltage_max_V, dt_s, s.over_voltage_s,
                                    state_.over_voltage_s);
            const bool low = lasts(m.group_voltage_min_V < s.voltage_min_V, dt_s, s.over_voltage_s,
                                   state_.under_voltage_s);
            const bool hot = lasts(m.temperature_max_degC > s.temperature_max_degC, dt_s,
                                   s.temperature_s, state_.over_temperature_s);
            const bool cold = lasts(m.temperature_min_degC < s.temperature_min_degC, dt_s,
                                    s.temperature_s, state_.under_temperature_s);
            const bool strong =
                lasts(m.current_A >
                          state_.request_A * (Real(1) + s.over_current_share) + s.over_current_A,
                      dt_s, s.over_current_s, state_.over_current_s);
            const Real missing = in_range(state_.start_soc) ? Real(1) - state_.start_soc : Real(1);
            const Real most_As =
                (missing + s.overcharge_share) * s.capacity_Ah * seconds_per_hour<Real>;
            if (high) {
                fault(ChargeReason::over_voltage, m.group_voltage_max_V);
            } else if (low) {
                fault(ChargeReason::under_voltage, m.group_voltage_min_V);
            } else if (hot) {
                fault(ChargeReason::over_temperature, m.temperature_max_degC);
            } else if (cold) {
                fault(ChargeReason::under_temperature, m.temperature_min_degC);
            } else if (strong) {
                fault(ChargeReason::over_current, m.current_A);
            } else if (state_.charge_As > most_As) {
                fault(ChargeReason::too_much_charge, state_.charge_As / seconds_per_hour<Real>);
            }
        }
        return over();
    }
    [[nodiscard]] static bool in_range(Real soc) noexcept {
        return detail::within(soc, Real(0), Real(1));
    }

    void tick(const ChargeInput<Real>& in, ChargeRequest<Real>& out) noexcept {
        const ChargeMeasurement<Real>& m = in.measured;
        const Settings& s = settings_;
        const Real dt_s = in.dt_s;
        const bool complete = possible(m) && in.allowed_A >= Real(0) &&
                              detail::finite(in.allowed_A) && possible(in.supply);
        add_compensated(state_.time_s, state_.time_carry, dt_s);
        if (complete) {
            add_compensated(state_.charge_As, state_.charge_carry, m.current_A * dt_s);
            if (!in_range(state_.start_soc) && in_range(in.soc) &&
                !(state_.charge_As > Real(0.001) * s.capacity_Ah * seconds_per_hour<Real>)) {
                state_.start_soc = in.soc;
            }
        }
        if (stopped(in, complete)) return;
        if (!complete) {
            pause(ChargePhase::waiting, ChargeReason::missing_sample, state_.lost_s);
            state_.last_group_V = Real(0);
            return;
        }
        follow_drift(m, dt_s);
        follow_temperature(m.temperature_min_degC, plan_.zone_hysteresis_K, state_.cold);
        follow_temperature(m.temperature_max_degC, plan_.zone_hysteresis_K, state_.hot);
        const ZoneLimits<Real> zone =
            zone_limits(plan_, state_.cold.low_degC, state_.hot.high_degC);
        const Real cells = static_cast<Real>(s.parallel);
        const Real groups = static_cast<Real>(s.series);

        if (!in.enabled) {
            pause(ChargePhase::waiting, ChargeReason::switched_off, Real(0));
            return;
        }
        if (!zone.allowed()) {
            const bool cold = zone_for(plan_, state_.cold.low_degC) == nullptr &&
                              state_.cold.low_degC < plan_.zones[0].temperature_min_degC;
            const bool hot =
                state_.hot.high_degC > plan_.zones[plan_.zone_count - 1].temperature_max_degC;
            pause(ChargePhase::not_allowed,
                  hot && !cold ? ChargeReason::too_hot : ChargeReason::too_cold,
                  hot && !cold ? m.temperature_max_degC : m.temperature_min_degC);
            return;
        }
        follow_zone(zone);
        ChargeStage<Real> stage = stage_at(plan_, state_.stage);
        // Stages of no current end by time, or when the groups are close.
        if (stage.kind == StageKind::rest || stage.kind == StageKind::balancing) {
            const bool balancing = stage.kind == StageKind::balancing;
            const Real spread_V = m.group_voltage_max_V - m.group_voltage_min_V;
            pause(balancing ? ChargePhase::balancing : ChargePhase::rest,
                  balancing ? ChargeReason::balancing : ChargeReason::resting,
                  balancing ? spread_V : Real(0));
            out.balance = balancing;
            count_down(in);
            add_compensated(state_.stage_s, state_.stage_carry, dt_s);
            const bool close =
                balancing &&
                (s.series == 1 || (stage.end_spread_V > Real(0) && spread_V <= stage.end_spread_V));
            // What the current left behind must fade before a spread counts.
            if (lasts(close, dt_s, s.end_dwell_s, state_.limits_s) ||
                state_.stage_s >= stage.longest_s) {
                state_.limits_s = Real(0);
                next_stage(ChargeReason::plan_end, spread_V);
            }
            return;
        }

        // What may flow.
        Real target_V = stage.voltage_V > Real(0) && stage.voltage_V < zone.voltage_V
                            ? stage.voltage_V
                            : zone.voltage_V;
        if (in.supply.voltage_max_V > Real(0) && in.supply.voltage_max_V < target_V * groups) {
            target_V = in.supply.voltage_max_V / groups;
        }
        target_V -= s.voltage_margin_V;
        const Real pack_V = m.pack_voltage_V > Real(0) ? m.pack_voltage_V : target_V * groups;
        Real most_A =
            (stage.current_A > Real(0) && stage.current_A < zone.current_A ? stage.current_A
                                                                           : zone.current_A) *
            cells;
        ChargeReason reason = ChargeReason::plan;
        const Real plan_A = most_A;
        const auto at_most = [&](Real ceiling_A, ChargeReason why) {
            if (ceiling_A < most_A) {
                most_A = ceiling_A;
                reason = why;
            }
        };
        if (stage.kind == StageKind::constant_power) {
            at_most(stage.power_W * cells * groups / pack_V, ChargeReason::plan);
        }
        at_most(in.allowed_A, ChargeReason::limits);
        AvailableCurrent<Real> available;
        (void)available_current(in.supply, pack_V, plan_A, available);
        at_most(available.current_A, ChargeReason::supply);
        if (!(available.current_A > Real(0))) {
            pause(ChargePhase::no_supply, ChargeReason::no_supply, pack_V);
            return;
        }

        // Next to nothing allowed for long is an end; nothing at all is a pause until then.
        const Real end_A = stage.end_current_A * cells;
        if (lasts(in.allowed_A <= end_A, dt_s, s.limits_end_s, state_.limits_s)) {
            end(ChargePhase::done, ChargeReason::limits_end, in.allowed_A);
            return;
        }
        if (!(in.allowed_A > Real(0))) {
            pause(ChargePhase::waiting, ChargeReason::no_limits, in.allowed_A);
            return;
        }
        if (state_.well_s < s.restart_s) {
            state_.well_s += dt_s;
            if (state_.well_s < s.restart_s) {
                // The reason of the pause stays in the log; a first start needs one.
                if (state_.reason == ChargeReason::none) {
                    record(ChargePhase::waiting, ChargeReason::starting_again, Real(0));
                }
                return;
            }
        }

        // Towards the voltage of the fullest group, with what it rises by itself until the next
        // tick.
        const Real left_V =
            target_V - m.group_voltage_max_V -
            (state_.drift_V_per_s > Real(0) ? state_.drift_V_per_s * dt_s : Real(0));
        const Real base_A = m.current_A < state_.request_A ? m.current_A : state_.request_A;
        const Real share = left_V > Real(0) ? s.control_share : Real(1);
        const Real by_voltage_A =
            (base_A > Real(0) ? base_A : Real(0)) + share * left_V / s.group_resistance_ohm;
        at_most(by_voltage_A > Real(0) ? by_voltage_A : Real(0), ChargeReason::voltage);
        if (s.rise_s > Real(0)) {
            at_most(state_.request_A + plan_A / s.rise_s * dt_s, ChargeReason::ramp);
        }
        state_.request_A = most_A;
        out.voltage_V = target_V * groups;
        add_compensated(state_.stage_s, state_.stage_carry, dt_s);

        const bool held = m.group_voltage_max_V >= target_V - s.hold_tolerance_V;
        report(stage,
               held && reason != ChargeReason::supply && reason != ChargeReason::limits
                   ? ChargeReason::voltage
                   : reason,
               dt_s, m.group_voltage_max_V, most_A);
        estimate_end(in, stage, held, end_A);

        if (stage.longest_s > Real(0) && state_.stage_s >= stage.longest_s) {
            fault(ChargeReason::stage_timeout, state_.stage_s);
            return;
        }
        const bool wanted =
            stage.kind == StageKind::constant_voltage ? held && m.current_A <= end_A : held;
        const Real dwell_s =
            stage.kind == StageKind::constant_voltage ? s.end_dwell_s : reason_dwell_s;
        if (lasts(wanted, dt_s, dwell_s, state_.end_s)) {
            next_stage(stage.kind == StageKind::constant_voltage ? ChargeReason::taper_end
                                                                 : ChargeReason::plan_end,
                       m.current_A);
            return;
        }
        look_for_rise(m, held);
    }

    /// How fast the fullest group rises without the current's doing.
    void follow_drift(const ChargeMeasurement<Real>& m, Real dt_s) noexcept {
        if (state_.last_group_V > Real(0) && dt_s > Real(0)) {
            const Real rise_V =
                m.group_voltage_max_V - state_.last_group_V -
                settings_.group_resistance_ohm * (m.current_A - state_.last_current_A);
            const Real weight = dt_s / (drift_filter_s + dt_s);
            state_.drift_V_per_s += weight * (rise_V / dt_s - state_.drift_V_per_s);
        } else {
            state_.drift_V_per_s = Real(0);
        }
        state_.last_group_V = m.group_voltage_max_V;
        state_.last_current_A = m.current_A;
    }

    /// Takes a reason over once it lasts, so that noise does not fill the log.
    void report(const ChargeStage<Real>& stage, ChargeReason reason, Real dt_s, Real group_V,
                Real current_A) noexcept {
        if (reason != state_.candidate) {
            state_.candidate = reason;
            state_.candidate_s = Real(0);
        }
        state_.candidate_s += dt_s;
        const bool flowing = state_.phase == ChargePhase::constant_current ||
                             state_.phase == ChargePhase::constant_power ||
                             state_.phase == ChargePhase::constant_voltage;
        if (flowing && reason != state_.reason && state_.candidate_s < reason_dwell_s) return;
        const bool voltage = reason == ChargeReason::voltage;
        const ChargePhase phase = voltage ? ChargePhase::constant_voltage
                                  : stage.kind == StageKind::constant_power
                                      ? ChargePhase::constant_power
                                      : ChargePhase::constant_current;
        record(phase, reason, voltage ? group_V : current_A);
    }

    /// A voltage that does not rise while charge goes in at a steady current.
    void look_for_rise(const ChargeMeasurement<Real>& m, bool held) noexcept {
        const Settings& s = settings_;
        const Real middle_V = Real(0.5) * (m.group_voltage_min_V + m.group_voltage_max_V) -
                              s.group_resistance_ohm * m.current_A;
        const Real change_A = m.current_A > state_.rise_from_A ? m.current_A - state_.rise_from_A
                                                               : state_.rise_from_A - m.current_A;
        if (held || !(m.current_A > Real(0)) || !(state_.rise_from_A > Real(0)) ||
            change_A > Real(0.1) * state_.rise_from_A) {
            state_.rise_from_A = held || !(m.current_A > Real(0)) ? Real(0) : m.current_A;
            state_.rise_from_V = middle_V;
            state_.rise_from_As = state_.charge_As;
            return;
        }
        if (state_.charge_As - state_.rise_from_As <
            s.rise_charge_share * s.capacity_Ah * seconds_per_hour<Real>) {
            return;
        }
        if (middle_V - state_.rise_from_V < s.rise_voltage_V) {
            fault(ChargeReason::no_voltage_rise, middle_V - state_.rise_from_V);
            return;
        }
        state_.rise_from_V = middle_V;
        state_.rise_from_As = state_.charge_As;
    }

    void count_down(const ChargeInput<Real>& in) noexcept {
        if (in.forecast_s >= Real(0) && detail::finite(in.forecast_s)) {
            state_.remaining_s = in.forecast_s;
        } else if (state_.remaining_s > Real(0)) {
            state_.remaining_s =
                state_.remaining_s > in.dt_s ? state_.remaining_s - in.dt_s : Real(0);
        }
    }

    /// Remaining time: a forecast counted down; else, in the last taper, the time constant with
    /// which the current falls; else what is missing over what flows.
    void estimate_end(const ChargeInput<Real>& in, const ChargeStage<Real>& stage, bool held,
                      Real end_A) noexcept {
        const Real current_A = in.measured.current_A;
        const bool forecast = in.forecast_s >= Real(0) && detail::finite(in.forecast_s);
        if (held && stage.kind == StageKind::constant_voltage && current_A > Real(0)) {
            if (!(state_.taper_from_A > Real(0))) {
                state_.taper_from_A = current_A;
                state_.taper_s = Real(0);
            }
            state_.taper_s += in.dt_s;
            if (state_.taper_s >= taper_window_s) {
                // -dI/dt over the mean current: no logarithm needed.
                const Real fall_A = state_.taper_from_A - current_A;
                const Real mean_A = Real(0.5) * (state_.taper_from_A + current_A);
                state_.taper_time_s =
                    fall_A > Real(0.002) * mean_A ? state_.taper_s * mean_A / fall_A : Real(0);
                state_.taper_from_A = current_A;
                state_.taper_s = Real(0);
                if (!forecast && state_.taper_time_s > Real(0)) {
                    const Real over = current_A > end_A ? logarithm(current_A / end_A) : Real(0);
                    state_.remaining_s = state_.taper_time_s * over + settings_.end_dwell_s;
                    return;
                }
            }
        } else {
            state_.taper_from_A = Real(0);
            if (!forecast && in_range(in.soc) && current_A > end_A) {
                state_.remaining_s =
                    (Real(1) - in.soc) * settings_.capacity_Ah * seconds_per_hour<Real> / current_A;
                return;
            }
        }
        count_down(in);
    }

    ChargePlan<Real> plan_{};
    Settings settings_{};
    State state_{};
    bool configured_{false};
};

}  // namespace voltkeel

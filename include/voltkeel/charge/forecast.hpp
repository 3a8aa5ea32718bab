#pragma once
/// \file forecast.hpp
/// When a cell will be full, or reach an SOC, on a plan: the cell model run forward.
///
/// The stages of the plan are run one after the other. The plan's zone for the present temperature
/// and the stage give current and voltage, the supply may lower the current, the cell warms itself.
/// Where a power decides, the current of a step is that power over the mean voltage of the step;
/// rests and balancing carry no current. Groups that are all as this cell are level: balancing
/// takes them no time, unless the stage looks at no spread and lasts its length whatever it finds
/// (io/pack_charge.hpp forecasts groups that differ). Where it keeps to limits, the maker's table
/// of lasting currents and the parts beside the cells may lower the current further; a table's
/// current moves with SOC and temperature, so a step takes the mean of its start and its end. Where
/// the limits let nothing in, the forecast ends there as it does outside every zone. At the highest
/// SOC of their window, where that is below 1, the charge is over: the cell is as full as it may be
/// (a controller that keeps to these limits says so after `limits_end_s` without current). The
/// rest of the limits (voltage and warmth of the next minutes) is for the plan and the control.
/// While the voltage stays below the zone's, the current is constant. Then it is what keeps the
/// voltage there: for a step, the held current that gives exactly the zone's voltage at the end of
/// the step, taken once over the whole step and once over its halves and extrapolated to a
/// vanishing step (Richardson; local error of third order, and a fast RC branch is damped, not
/// excited). What remains at the default step: a branch faster than the step follows the falling
/// current without its lag, worth less than a second of the charge. Full is when that current has
/// fallen to the plan's end current.
///
/// Every event (voltage reached or let go, zone left, SOC reached, end current reached) is located
/// inside its step to `event_tolerance_s`, so that the answer does not hang on the step length and
/// a forecast made later along its own run ends at the same instant. A zone or phase just entered
/// is kept for one step, so that zones that heat and cool in turn come to an end.
///
/// A forecast is no protection: the charger's own limits, the cell maker's data sheet and local
/// codes hold whatever it says.

#include <cstdint>
#include <limits>

#include "voltkeel/cell/bounds.hpp"
#include "voltkeel/cell/compensated_sum.hpp"
#include "voltkeel/cell/model.hpp"
#include "voltkeel/charge/plan.hpp"
#include "voltkeel/charge/supply.hpp"
#include "voltkeel/limits/current_limits.hpp"
#include "voltkeel/limits/window.hpp"
#include "voltkeel/status.hpp"
#include "voltkeel/units.hpp"

namespace voltkeel {

/// Where a charge stands. Numbers are frozen: they appear in logs.
enum class ChargePhase : std::uint8_t {
    constant_current = 0,  ///< The zone's, the supply's or the limits' current flows.
    constant_voltage = 1,  ///< The zone's voltage is held.
    done = 2,              ///< The target is reached.
    not_allowed = 3,       ///< The temperature is outside every zone.
    constant_power = 4,    ///< The stage's or the supply's power flows.
    rest = 5,              ///< No current, as the plan says.
    balancing = 6,         ///< No current while groups are bled.
    no_supply = 7,         ///< The supply gives nothing at this voltage.
    waiting = 8,           ///< Not now: switched off, no limits, a measurement missing.
    fault = 9,             ///< Stopped for good; somebody has to look.
};

/// Plain words for a phase; never null.
[[nodiscard]] constexpr const char* message(ChargePhase phase) noexcept {
    switch (phase) {
        case ChargePhase::constant_current:
            return "constant current";
        case ChargePhase::constant_voltage:
            return "constant voltage";
        case ChargePhase::done:
            return "done";
        case ChargePhase::not_allowed:
            return "not allowed at this temperature";
        case ChargePhase::constant_power:
            return "constant power";
        case ChargePhase::rest:
            return "rest";
        case ChargePhase::balancing:
            return "balancing";
        case ChargePhase::no_supply:
            return "no supply";
        case ChargePhase::waiting:
            return "waiting";
        case ChargePhase::fault:
            return "fault";
    }
    return "unknown phase";
}

/// Where and from what a cell is charged.
template <class Real>
struct ChargeConditions {
    Real temperature_degC{25};  ///< Inside of the cell at the start.
    Real ambient_degC{25};      ///< Surroundings, held.
    Real supply_current_A{
        0};  ///< Most the supply gives this cell; 0 means as much as the plan asks.
    Real core_over_case_K{0};  ///< How much warmer the core is than the case at the start; not read
                               ///< for a cell of one mass.
    /// What charges the whole pack, held as it is now; must outlive the call. Null means that
    /// nothing but the plan and `supply_current_A` bounds the current. A charger holds no more than
    /// its own highest voltage.
    const Supply<Real>* supply{nullptr};
    int series{1};    ///< Groups that share the supply's voltage, all as this cell.
    int parallel{1};  ///< Cells that share its current, all as this cell.
    /// What the charge keeps to: the charge temperatures and the highest SOC of the window and, of
    /// the maker's tables, the one that speaks for a lasting current; must outlive the call. Null:
    /// none of them.
    const CellLimits<Real>* limits{nullptr};
    /// Most that the parts beside the cells carry for ever (limits/component.hpp), of this cell's
    /// share.
    Real component_current_A{std::numeric_limits<Real>::infinity()};
    LimitReason component{LimitReason::drive};  ///< Which part that is, for the result.
    /// From the cell to where the plan's voltage is held (the joint of its group); the model knows
    /// nothing of it. All voltages and energies are those there.
    Real link_ohm{0};
};

/// Knobs of the forecast.
template <class Real>
struct ForecastSettings {
    Real longest_s{86400};  ///< The forecast ends here, reached or not.
    Real step_s{5};         ///< Longest step; shorter ones follow a change of phase or zone.
    Real event_tolerance_s{Real(0.001)};  ///< Events are located to this.
    int max_steps{50000};                 ///< Bound on the work; counts as not reached.
    /// A resistance scale below is taken for this. Ageing does not bring a cell below the one that
    /// was tested: what a filter finds there is of the SOC and the direction of the current it just
    /// has, and the charge goes on to others. 0: as told.
    Real least_resistance_scale{1};
    /// Limits that let in no more than the stage's end current for this long end the forecast, as
    /// they end a charge (ChargeControlSettings).
    Real limits_end_s{900};
};

/// Checks the settings; see validate(CellParameters).
template <class Real>
[[nodiscard]] Finding<Real> validate(const ForecastSettings<Real>& s) noexcept {
    const detail::BoundedField<Real> rows[] = {
        {"longest_s", s.longest_s, Real(1), Real(1e7)},
        {"step_s", s.step_s, Real(0.1), Real(600)},
        {"event_tolerance_s", s.event_tolerance_s, Real(1e-6), Real(1)},
        {"max_steps", static_cast<Real>(s.max_steps), Real(1), Real(1e7)},
        {"least_resistance_scale", s.least_resistance_scale, Real(0), Real(100)},
        {"limits_end_s", s.limits_end_s, Real(0), Real(1e6)},
    };
    return detail::first_outside(rows);
}

/// How a charge goes, to its target or as far as it gets.
template <class Real>
struct ChargeForecast {
    Real time_s{0};  ///< From now to the target, or to where the forecast ended.
    Real constant_current_s{0};
    Real constant_voltage_s{0};
    Real constant_power_s{0};
    Real rest_s{0};  ///< Rests and balancing.
    Real end_soc{0};
    Real end_temperature_degC{0};
    Real highest_temperature_degC{0};
    Real charge_Ah{0};  ///< Put into the cell at its terminals.
    Real energy_Wh{0};  ///< Likewise.
    /// What of it stays: charge times open-circuit voltage. The rest is heat.
    Real stored_Wh{0};
    /// From the socket, for the whole pack of `series` times `parallel` such cells; 0 without a
    /// supply. `stored_Wh` times the cells over this is the mean charge efficiency.
    Real socket_energy_Wh{0};
    Real end_current_A{0};
    /// Current at which the voltage is held for the last time, and how long it is held from there;
    /// 0: never.
    Real taper_from_A{0};
    Real taper_s{0};
    /// How long table or parts held the current below what plan and supply give, until when (from
    /// now), and which of them was the first to; 0 and none: never.
    Real limits_s{0};
    Real limits_until_s{0};
    LimitReason limits_reason{LimitReason::none};
    /// Soc: the window's highest SOC ended the charge before plan or target did.
    LimitReason end_reason{LimitReason::none};
    ChargePhase end_phase{ChargePhase::constant_current};
    bool reached{false};
};

/// One point of the curve, handed to an observer: at the start and after every step.
template <class Real, int Branches, bool Transfer = false>
struct ChargePoint {
    Real time_s{0};
    Real current_A{0};
    Real voltage_V{0};
    Real temperature_degC{0};
    ChargePhase phase{ChargePhase::constant_current};
    CellState<Real, Branches, Transfer> state{};
    Real case_degC{0};
    int stage{0};                                 ///< Of the plan.
    Real charge_Ah{0};                            ///< Put in since the start.
    Real target_V{0};                             ///< Voltage that is not exceeded here.
    LimitReason held_back_by{LimitReason::none};  ///< Table or part, below plan and supply.
};

namespace detail {

/// The state with the resistance scale that a whole charge may count on.
template <class Real, int Branches, bool Transfer>
[[nodiscard]] inline CellState<Real, Branches, Transfer> lasting_scale(
    CellState<Real, Branches, Transfer> state, const ForecastSettings<Real>& settings) noexcept {
    if (state.resistance_scale < settings.least_resistance_scale)
        state.resistance_scale = settings.least_resistance_scale;
    return state;
}

/// The cell has come to the highest SOC of its window. A window up to 1 does not end a charge: what
/// is full there, the plan says.
template <class Real>
[[nodiscard]] inline bool at_end_of_window(const CellWindow<Real>& window, Real soc) noexcept {
    return window.soc_max < Real(1) && soc >= window.soc_max;
}

/// A charge under way.
template <class Real, int Branches, bool Transfer = false>
class ChargeRun {
  public:
    ChargeRun(const CellParameters<Real, Branches, Transfer>& cell, const ChargePlan<Real>& plan,
              const CellState<Real, Branches, Transfer>& state,
              const ChargeConditions<Real>& conditions,
              const ForecastSettings<Real>& settings) noexcept
        : cell_(cell),
          plan_(plan),
          settings_(settings),
          ambient_degC_(conditions.ambient_degC),
          supply_(conditions.supply),
          series_(static_cast<Real>(conditions.series)),
          parallel_(static_cast<Real>(conditions.parallel)),
          supply_current_A_(conditions.supply_current_A),
          component_A_(conditions.component_current_A),
          component_(conditions.component),
          link_ohm_(conditions.link_ohm) {
        if (conditions.limits != nullptr) {
            window_ = &conditions.limits->window;
            table_ = table_for(*conditions.limits, continuous_horizon_s<Real>);
        }
        bounded_ = table_ != nullptr || component_A_ < std::numeric_limits<Real>::infinity();
        if (supply_ != nullptr) (void)supply_limits(*supply_, supply_limits_);
        now_.state = state;
        now_.temperature.core_degC = conditions.temperature_degC;
        now_.temperature.case_degC =
            conditions.temperature_degC -
            (cell.thermal.has_core() ? conditions.core_over_case_K : Real(0));
    }

    /// \param target_soc the SOC to end at, or null for full
    template <class Observer>
    [[nodiscard]] Status run(const Real* target_soc, Observer&& observer,
                             ChargeForecast<Real>& out) noexcept {
        ChargeForecast<Real> result;
        result.highest_temperature_degC = now_.temperature.core_degC;
        Real time_s = Real(0);
        Real time_carry = Real(0);
        Real charge_As = Real(0);
        Real charge_carry = Real(0);
        Real energy_J = Real(0);
        Real energy_carry = Real(0);
        Real stored_J = Real(0);
        Real stored_carry = Real(0);
        Real socket_J = Real(0);
        Real socket_carry = Real(0);
        const auto report = [&](ChargePhase phase) {
            const Real voltage_V = voltage_now_V(now_.current_A);
            observer(ChargePoint<Real, Branches, Transfer>{
                time_s, now_.current_A, voltage_V, now_.temperature.core_degC, phase, now_.state,
                now_.temperature.case_degC, stage_index_, charge_As / seconds_per_hour<Real>,
                target_V_,
                phase == ChargePhase::constant_voltage ? LimitReason::none : held_back_by()});
        };
        const auto finish = [&](Status status, ChargePhase phase) {
            result.time_s = time_s;
            result.end_soc = now_.state.soc;
            result.end_temperature_degC = now_.temperature.core_degC;
            result.charge_Ah = charge_As / seconds_per_hour<Real>;
            result.energy_Wh = energy_J / seconds_per_hour<Real>;
            result.stored_Wh = stored_J / seconds_per_hour<Real>;
            result.socket_energy_Wh = socket_J / seconds_per_hour<Real>;
            result.end_current_A = now_.current_A;
            result.end_phase = phase;
            result.reached = status == Status::ok;
            out = result;
            return status;
        };

        follow_temperature(now_.temperature.core_degC, plan_.zone_hysteresis_K, span_);
        zone_ = zone_limits(plan_, span_.low_degC, span_.high_degC);
        zone_held_s_ = settings_.step_s;
        phase_held_s_ = settings_.step_s;
        if (!zone_.allowed()) {
            report(ChargePhase::not_allowed);
            return finish(Status::not_allowed, ChargePhase::not_allowed);
        }
        if (!supplied()) {
            report(ChargePhase::no_supply);
            return finish(Status::not_allowed, ChargePhase::no_supply);
        }
        const bool stages_left = enter_stages(0);
        if (target_soc != nullptr ? now_.state.soc >= *target_soc : !stages_left) {
            report(ChargePhase::done);
            return finish(Status::ok, ChargePhase::done);
        }
        if (!stages_left) {
            report(ChargePhase::constant_voltage);
            return finish(Status::not_reached, ChargePhase::constant_voltage);
        }
        // As full as the limits have it: the end of a charge to full, short of a higher target.
        const auto end_of_window = [&] {
            result.end_reason = LimitReason::soc;
            const bool wanted = target_soc == nullptr;
            const ChargePhase last = wanted ? ChargePhase::done : ChargePhase::waiting;
            report(last);
            return finish(wanted ? Status::ok : Status::not_reached, last);
        };
        if (window_full(now_)) return end_of_window();
        ChargePhase stopped{};
        if (stopped_by_limits(now_, stopped)) {
            report(stopped);
            return finish(Status::not_allowed, stopped);
        }
        bool held_voltage = holds_voltage() && voltage_reached();
        ChargePhase phase = phase_of(held_voltage);
        report(phase);
        Real low_s = Real(0);  // how long the limits have let in next to nothing
        // Fast branches move most after a change: begin with short steps and double them.
        constexpr Real first_share = Real(1) / Real(16);
        Real dt_s = first_share * settings_.step_s;
        for (int count = 0; count < settings_.max_steps; ++count) {
            const Real left_s = settings_.longest_s - time_s;
            if (!(left_s > settings_.event_tolerance_s)) break;
            Real trial_s = dt_s < left_s ? dt_s : left_s;
            if (stage_.longest_s > Real(0) && trial_s > stage_.longest_s - stage_held_s_) {
                trial_s = stage_.longest_s - stage_held_s_;
            }
            Moment next = advance(trial_s, held_voltage);
            Real taken_s = trial_s;
            if (event(next, held_voltage, target_soc)) {
                // The first instant at which something happens.
                Real before_s = Real(0);
                for (int turn = 0; turn < 40 && taken_s - before_s > settings_.event_tolerance_s;
                     ++turn) {
                    const Real middle_s = before_s + Real(0.5) * (taken_s - before_s);
                    const Moment trial = advance(middle_s, held_voltage);
                    if (event(trial, held_voltage, target_soc)) {
                        taken_s = middle_s;
                        next = trial;
                    } else {
                        before_s = middle_s;
                    }
                }
            }
            const Real from_A = now_.current_A;
            now_ = next;
            add_compensated(time_s, time_carry, taken_s);
            add_compensated(charge_As, charge_carry, next.charge_As);
            add_compensated(energy_J, energy_carry, next.energy_J);
            add_compensated(stored_J, stored_carry, next.stored_J);
            if (supply_ != nullptr && taken_s > Real(0)) {
                const Real power_W = next.energy_J / taken_s * series_ * parallel_;
                add_compensated(socket_J, socket_carry,
                                socket_power_W(*supply_, power_W) * taken_s);
            }
            if (!held_voltage) {
                result.taper_s = result.taper_from_A = Real(0);
            } else {
                if (!(result.taper_s > Real(0))) result.taper_from_A = from_A;
                result.taper_s += taken_s;
            }
            (resting()                              ? result.rest_s
             : held_voltage                         ? result.constant_voltage_s
             : phase == ChargePhase::constant_power ? result.constant_power_s
                                                    : result.constant_current_s) += taken_s;
            stage_held_s_ += taken_s;
            if (now_.temperature.core_degC > result.highest_temperature_degC) {
                result.highest_temperature_degC = now_.temperature.core_degC;
            }
            zone_held_s_ += taken_s;
            phase_held_s_ += taken_s;
            if (bounded_) {
                follow_limits();
                const LimitReason holder = held_voltage ? LimitReason::none : held_back_by();
                if (holder != LimitReason::none) {
                    if (!(result.limits_s > Real(0))) result.limits_reason = holder;
                    result.limits_s += taken_s;
                    result.limits_until_s = time_s;
                }
            }

            if (target_soc != nullptr && now_.state.soc >= *target_soc) {
                report(ChargePhase::done);
                return finish(Status::ok, ChargePhase::done);
            }
            if (window_full(now_) && !over(now_, held_voltage)) return end_of_window();
            follow_temperature(now_.temperature.core_degC, plan_.zone_hysteresis_K, span_);
            const ZoneLimits<Real> zone = zone_limits(plan_, span_.low_degC, span_.high_degC);
            const bool time_is_up =
                stage_.longest_s > Real(0) &&
                !(stage_.longest_s - stage_held_s_ > settings_.event_tolerance_s);
            bool stage_over = resting() ? time_is_up : over(now_, held_voltage);
            if (!stage_over && !zone.allowed()) {
                report(ChargePhase::not_allowed);
                return finish(Status::not_allowed, ChargePhase::not_allowed);
            }
            if (!stage_over && time_is_up) break;
            if (!stage_over && bounded_) {
                low_s = !resting() && limits_A(now_) <= stage_.end_current_A ? low_s + taken_s
                                                                             : Real(0);
                if (low_s > settings_.limits_end_s) {
                    report(ChargePhase::waiting);
                    return finish(Status::not_reached, ChargePhase::waiting);
                }
            }
            bool changed = stage_over;
            if (zone.allowed() && !zone.same_zones(zone_)) {
                zone_ = zone;
                zone_held_s_ = Real(0);
                changed = true;
                if (!stage_over) {
                    enter_zone();
                    now_.current_A = current_now_A();
                    stage_over = over_now();
                }
            }
            if (stage_over && !enter_stages(stage_index_ + 1)) {
                const bool wanted = target_soc == nullptr;
                report(wanted ? ChargePhase::done : ChargePhase::constant_voltage);
                return wanted ? finish(Status::ok, ChargePhase::done)
                              : finish(Status::not_reached, ChargePhase::constant_voltage);
            }
            if (window_full(now_)) return end_of_window();
            if (stopped_by_limits(now_, stopped)) {
                report(stopped);
                return finish(Status::not_allowed, stopped);
            }
            // The held voltage is left when the full current does not lift the cell to it any more.
            const bool holds = holds_voltage() && (changed        ? voltage_reached()
                                                   : held_voltage ? next.limited
                                                                  : next.voltage_V >= target_V_);
            changed = changed || holds != held_voltage;
            if (changed) phase_held_s_ = Real(0);
            held_voltage = holds;
            phase = phase_of(held_voltage);
            report(phase);
            dt_s = changed
                       ? first_share * settings_.step_s
                       : (Real(2) * dt_s < settings_.step_s ? Real(2) * dt_s : settings_.step_s);
        }
        return finish(Status::not_reached, phase);
    }

  private:
    /// Where the charge stands, and what the step that led there moved.
    struct Moment {
        CellState<Real, Branches, Transfer> state{};
        CellTemperature<Real> temperature{};
        Real current_A{0};  ///< At this instant.
        Real voltage_V{0};  ///< At this instant, with the current held until then.
        Real charge_As{0};
        Real energy_J{0};
        Real stored_J{0};
        bool limited{false};  ///< The voltage, not the ceiling, gave the current.
    };

    [[nodiscard]] ChargePhase phase_of(bool held_voltage) const noexcept {
        if (stage_.kind == StageKind::rest) return ChargePhase::rest;
        if (stage_.kind == StageKind::balancing) return ChargePhase::balancing;
        if (held_voltage) return ChargePhase::constant_voltage;
        return power_W_ > Real(0) && now_.current_A < most_A_ ? ChargePhase::constant_power
                                                              : ChargePhase::constant_current;
    }
    [[nodiscard]] bool resting() const noexcept {
        return stage_.kind == StageKind::rest || stage_.kind == StageKind::balancing;
    }
    [[nodiscard]] bool holds_voltage() const noexcept {
        return stage_.kind == StageKind::constant_voltage;
    }
    /// The supply gives something at the voltage of the cell now.
    [[nodiscard]] bool supplied() const noexcept {
        if (supply_ == nullptr) return true;
        AvailableCurrent<Real> available;
        const Real pack_V = voltage_now_V(Real(0)) * series_;
        return available_current(supply_limits_, pack_V, supply_limits_.current_max_A, available) ==
                   Status::ok &&
               available.current_A > Real(0);
    }
    /// Enters a stage, or the first one after it that is not over at once. \return false when
    /// there is none
    bool enter_stages(int index) noexcept {
        for (; index < stage_count(plan_); ++index) {
            stage_index_ = index;
            stage_ = stage_at(plan_, index);
            stage_held_s_ = Real(0);
            enter_zone();
            now_.current_A = current_now_A();
            if (!over_now()) return true;
        }
        return false;
    }
    /// What zone, stage and supply allow together.
    void enter_zone() noexcept {
        const auto at_most = [](Real& value, Real ceiling) {
            if (ceiling < value) value = ceiling;
        };
        fixed_A_ = zone_.current_A;
        target_V_ = zone_.voltage_V;
        power_W_ = Real(0);
        if (stage_.current_A > Real(0)) at_most(fixed_A_, stage_.current_A);
        if (stage_.voltage_V > Real(0)) at_most(target_V_, stage_.voltage_V);
        if (stage_.kind == StageKind::constant_power) power_W_ = stage_.power_W;
        if (supply_current_A_ > Real(0)) at_most(fixed_A_, supply_current_A_);
        if (supply_ != nullptr) {
            at_most(fixed_A_, supply_limits_.current_max_A / parallel_);
            at_most(target_V_, supply_limits_.voltage_max_V / series_);
            const Real power_W = supply_limits_.power_max_W / (series_ * parallel_);
            if (!(power_W_ > Real(0)) || power_W < power_W_) power_W_ = power_W;
        }
        if (resting()) fixed_A_ = Real(0);
        held_ceiling_A_ = ceiling_at(target_V_, fixed_A_);
        follow_limits();
        slope_ohm_ = Real(0);
    }
    /// What zone, stage, supply and limits allow together now.
    void follow_limits() noexcept {
        most_A_ = most_A(now_);
        ceiling_A_ = ceiling_at(target_V_, most_A_);
    }
    /// What the limits let in at a moment.
    [[nodiscard]] Real limits_A(const Moment& at) const noexcept {
        if (table_ == nullptr) return component_A_;
        const Real table_A =
            table_value(*table_, table_->charge_A, at.state.soc, at.temperature.core_degC);
        return component_A_ < table_A ? component_A_ : table_A;
    }
    [[nodiscard]] Real most_A(const Moment& at) const noexcept {
        if (!bounded_) return fixed_A_;
        const Real let_in_A = limits_A(at);
        return let_in_A < fixed_A_ ? let_in_A : fixed_A_;
    }
    /// The limits let nothing in at a moment of a stage that wants a current.
    [[nodiscard]] bool stopped_by_limits(const Moment& at, ChargePhase& why) const noexcept {
        if (resting()) return false;
        if (window_ != nullptr &&
            !(at.temperature.core_degC >= window_->charge_temperature_min_degC &&
              at.temperature.core_degC <= window_->charge_temperature_max_degC)) {
            why = ChargePhase::not_allowed;
            return true;
        }
        why = ChargePhase::waiting;
        return bounded_ && !(limits_A(at) > Real(0));
    }
    /// The window of the limits is full at a moment of a stage that wants a current.
    [[nodiscard]] bool window_full(const Moment& at) const noexcept {
        return window_ != nullptr && !resting() && at_end_of_window(*window_, at.state.soc);
    }
    /// What holds the current below what plan and supply give now.
    [[nodiscard]] LimitReason held_back_by() const noexcept {
        if (resting()) return LimitReason::none;
        const Real let_in_A = limits_A(now_);
        const Real given_A = ceiling_at(now_.voltage_V, fixed_A_);
        if (!(let_in_A < given_A)) return LimitReason::none;
        return let_in_A < component_A_ ? LimitReason::maker_table : component_;
    }
    /// Most that may flow at a voltage, of a highest current.
    [[nodiscard]] Real ceiling_at(Real voltage_V, Real most_A) const noexcept {
        if (!(power_W_ > Real(0)) || !(power_W_ < most_A * voltage_V)) return most_A;
        return power_W_ / voltage_V;
    }
    /// The current that flows while no voltage is held, and the voltage with it. A current over
    /// resistance is small against the voltage, so this settles fast.
    [[nodiscard]] Real free_current_A() const noexcept {
        Real current_A = ceiling_A_;
        if (!(power_W_ > Real(0))) return current_A;
        for (int turn = 0; turn < 6; ++turn)
            current_A = ceiling_at(voltage_now_V(current_A), most_A_);
        return current_A;
    }

    [[nodiscard]] Real voltage_now_V(Real current_A) const noexcept {
        return voltage_at_V(now_, current_A);
    }
    [[nodiscard]] Real voltage_at_V(const Moment& at, Real current_A) const noexcept {
        return voltage_at(cell_, at.state, current_A, at.temperature.core_degC).voltage_V +
               link_ohm_ * current_A;
    }
    /// The full current would already lift the voltage to the zone's.
    [[nodiscard]] bool voltage_reached() const noexcept {
        return voltage_now_V(ceiling_A_) >= target_V_;
    }
    /// The stage has nothing to do at this instant.
    [[nodiscard]] bool over_now() const noexcept {
        if (stage_.kind == StageKind::balancing)
            return series_ < Real(2) || stage_.end_spread_V > Real(0);
        if (resting()) return false;
        if (!holds_voltage()) return voltage_reached();
        const Real least = stage_.end_current_A < ceiling_A_ ? stage_.end_current_A : ceiling_A_;
        return voltage_now_V(least) >= target_V_;
    }
    /// Current that flows at this instant. The voltage is a straight line in it.
    [[nodiscard]] Real current_now_A() const noexcept {
        const auto point = voltage_at(cell_, now_.state, ceiling_A_, now_.temperature.core_degC);
        const Real over_V = point.voltage_V + link_ohm_ * ceiling_A_ - target_V_;
        if (!(over_V > Real(0))) return free_current_A();
        const Real by_current_ohm = point.by_current + link_ohm_;
        if (!(by_current_ohm > Real(0))) return Real(0);
        const Real current_A = ceiling_A_ - over_V / by_current_ohm;
        return current_A > Real(0) ? current_A : Real(0);
    }

    /// The stage ends here. Rests end by time.
    [[nodiscard]] bool over(const Moment& at, bool held_voltage) const noexcept {
        if (resting()) return false;
        if (!holds_voltage()) return at.voltage_V >= target_V_;
        if (!held_voltage && at.voltage_V < target_V_) return false;
        const Real ceiling_A = bounded_ ? ceiling_at(target_V_, most_A(at)) : ceiling_A_;
        // With a supply below the end current, reaching the voltage is the end.
        if (!held_voltage) return ceiling_A <= stage_.end_current_A;
        return (at.limited || ceiling_A <= stage_.end_current_A) &&
               at.current_A <= stage_.end_current_A;
    }
    [[nodiscard]] bool event(const Moment& at, bool held_voltage,
                             const Real* target_soc) const noexcept {
        if (target_soc != nullptr && at.state.soc >= *target_soc) return true;
        if (window_full(at) || over(at, held_voltage)) return true;
        if (!resting() && !held_voltage && at.voltage_V >= target_V_) return true;
        ChargePhase why{};
        if (stopped_by_limits(at, why)) return true;
        // A zone or phase just entered is kept for a step: where one zone warms the cell and the
        // next cools it, the charge alternates between them, and must not do so in ever smaller
        // steps.
        if (held_voltage && !at.limited && phase_held_s_ >= settings_.step_s) return true;
        if (!(zone_held_s_ >= settings_.step_s)) return false;
        ZoneSpan<Real> span = span_;
        follow_temperature(at.temperature.core_degC, plan_.zone_hysteresis_K, span);
        return !zone_limits(plan_, span.low_degC, span.high_degC).same_zones(zone_);
    }

    [[nodiscard]] Moment advance(Real dt_s, bool held_voltage) noexcept {
        if (!held_voltage) return unheld(dt_s);
        const Real guess_A = now_.current_A < held_ceiling_A_ ? now_.current_A : held_ceiling_A_;
        const Moment whole = to_voltage(now_, dt_s, guess_A);
        const Moment half = to_voltage(now_, Real(0.5) * dt_s, guess_A);
        Moment end = to_voltage(half, Real(0.5) * dt_s, half.current_A);
        end.charge_As += half.charge_As;
        end.energy_J += half.energy_J;
        end.stored_J += half.stored_J;
        // At the ceiling nothing was solved, so there is nothing to extrapolate.
        if (!whole.limited || !half.limited || !end.limited) {
            return bounded_ && end.current_A > most_A(end) ? unheld(dt_s) : end;
        }

        const auto extrapolate = [](Real& fine, Real coarse) { fine += fine - coarse; };
        add_compensated(end.state.soc, end.state.soc_carry, end.state.soc - whole.state.soc);
        for (int i = 0; i < end.state.lags; ++i) {
            extrapolate(end.state.branch_V[i], whole.state.branch_V[i]);
        }
        extrapolate(end.state.hysteresis, whole.state.hysteresis);
        if (end.state.hysteresis > Real(1)) end.state.hysteresis = Real(1);
        if (end.state.hysteresis < Real(-1)) end.state.hysteresis = Real(-1);
        extrapolate(end.temperature.core_degC, whole.temperature.core_degC);
        extrapolate(end.temperature.case_degC, whole.temperature.case_degC);
        extrapolate(end.current_A, whole.current_A);
        if (end.current_A < Real(0)) end.current_A = Real(0);
        if (end.current_A > held_ceiling_A_) end.current_A = held_ceiling_A_;
        extrapolate(end.charge_As, whole.charge_As);
        extrapolate(end.energy_J, whole.energy_J);
        extrapolate(end.stored_J, whole.stored_J);
        // Where the limits let in less than the voltage needs, they decide and the voltage falls.
        return bounded_ && end.current_A > most_A(end) ? unheld(dt_s) : end;
    }

    /// One step without a held voltage: the ceiling, or the power over the mean voltage.
    [[nodiscard]] Moment unheld(Real dt_s) const noexcept {
        if (!(power_W_ > Real(0)) && table_ == nullptr) {
            return constant_current(now_, dt_s, most_A_);
        }
        const Real start_A = free_current_A();
        const Real start_V = voltage_now_V(start_A);
        Moment moment = constant_current(now_, dt_s, start_A);
        for (int turn = 0; turn < 2; ++turn) {
            const Real mean_V = Real(0.5) * (start_V + moment.voltage_V);
            const Real mean_A =
                table_ == nullptr ? most_A_ : Real(0.5) * (most_A_ + most_A(moment));
            moment = constant_current(now_, dt_s, ceiling_at(mean_V, mean_A));
        }
        moment.current_A = ceiling_at(moment.voltage_V, most_A(moment));
        if (table_ != nullptr) moment.voltage_V = voltage_at_V(moment, moment.current_A);
        return moment;
    }

    [[nodiscard]] Moment constant_current(const Moment& from, Real dt_s,
                                          Real current_A) const noexcept {
        HeldCell<Real, Branches, Transfer> held =
            begin_hold(cell_, from.state, from.temperature, current_A);
        const Real link_V = link_ohm_ * current_A;
        const Real start_V = held.point.voltage_V + link_V;
        const Real start_ocv_V = held.point.ocv_V;
        hold(cell_, current_A, dt_s, ambient_degC_, held);
        const Real charge_As = current_A * dt_s;
        const Real end_V = held.point.voltage_V + link_V;
        return {held.state,
                held.temperature,
                current_A,
                end_V,
                charge_As,
                Real(0.5) * (start_V + end_V) * charge_As,
                Real(0.5) * (start_ocv_V + held.point.ocv_V) * charge_As,
                false};
    }

    /// One step with the held current, between 0 and the ceiling, that gives the voltage to hold at
    /// its end: secant inside a bracket. The voltage rises with the current.
    [[nodiscard]] Moment to_voltage(const Moment& from, Real dt_s, Real guess_A) noexcept {
        constexpr Real close_V = sizeof(Real) == sizeof(double) ? Real(1e-9) : Real(1e-6);
        Real low = Real(0);
        Real high = held_ceiling_A_;
        bool low_tried = false;
        bool high_tried = false;
        Real slope = slope_ohm_;
        if (!(slope > Real(0))) {
            slope = direct_current_resistance_ohm(
                        resistance_at(cell_.resistance, from.state.soc, from.temperature.core_degC)
                            .value) *
                        from.state.resistance_scale +
                    link_ohm_;
        }
        Real x = guess_A;
        Real last_x = x;
        Real last_over = Real(0);
        Moment moment{};
        for (int turn = 0; turn < 40; ++turn) {
            moment = constant_current(from, dt_s, x);
            const Real over = moment.voltage_V - target_V_;
            moment.limited = true;
            if (over <= close_V && over >= -close_V) break;
            if (over < Real(0)) {
                if (x >= held_ceiling_A_) {
                    moment.limited = false;
                    return moment;
                }
                low = x;
                low_tried = true;
            } else {
                if (x <= Real(0)) break;  // above the voltage without any current
                high = x;
                high_tried = true;
            }
            if (turn > 0) {
                const Real measured = (over - last_over) / (x - last_x);
                if (measured > Real(0)) slope = measured;
            }
            last_x = x;
            last_over = over;
            Real next = slope > Real(0) ? x - over / slope : low;
            if (!(next > low)) next = low_tried ? low + Real(0.5) * (high - low) : low;
            if (!(next < high)) next = high_tried ? low + Real(0.5) * (high - low) : high;
            if (next == x) break;
            x = next;
        }
        slope_ohm_ = slope;
        moment.energy_J = moment.voltage_V * moment.charge_As;
        return moment;
    }

    const CellParameters<Real, Branches, Transfer>& cell_;
    const ChargePlan<Real>& plan_;
    const ForecastSettings<Real>& settings_;
    Real ambient_degC_;
    const Supply<Real>* supply_;
    SupplyLimits<Real> supply_limits_{};
    Real series_;
    Real parallel_;
    Real supply_current_A_;
    Real component_A_;
    LimitReason component_;
    Real link_ohm_;
    const CellWindow<Real>* window_{nullptr};
    const CurrentTable<Real>* table_{nullptr};
    bool bounded_{false};  ///< Table or parts bound the current.
    Moment now_{};
    ZoneSpan<Real> span_{};
    ZoneLimits<Real> zone_{};
    int stage_index_{0};
    ChargeStage<Real> stage_{};
    Real stage_held_s_{0};
    Real fixed_A_{0};   ///< Highest current, whatever the voltage.
    Real power_W_{0};   ///< Highest power; 0 for none.
    Real target_V_{0};  ///< Voltage that is not exceeded.
    Real zone_held_s_{0};
    Real phase_held_s_{0};
    Real most_A_{0};          ///< The highest current, or what the limits let in now.
    Real ceiling_A_{0};       ///< That of these at the voltage that is not exceeded.
    Real held_ceiling_A_{0};  ///< The same without the limits.
    Real slope_ohm_{
        0};  ///< Last slope of end voltage over held current: where the next search begins.
};

/// Checks what a forecast is given, then runs it.
template <class Real, int Branches, bool Transfer, class Observer>
[[nodiscard]] inline Status forecast_charge(
    const CellParameters<Real, Branches, Transfer>& cell, const ChargePlan<Real>& plan,
    const CellState<Real, Branches, Transfer>& state, const ChargeConditions<Real>& conditions,
    const Real* target_soc, const ForecastSettings<Real>& settings, Observer&& observer,
    ChargeForecast<Real>& out) noexcept {
    const Status tables = usable_tables(cell);
    if (tables != Status::ok) return tables;
    const Status planned = validate(plan).status;
    if (planned != Status::ok) return planned;
    const Status knobs = validate(settings).status;
    if (knobs != Status::ok) return knobs;
    if (!finite(state) || !finite(conditions.temperature_degC) ||
        !finite(conditions.ambient_degC) || !finite(conditions.supply_current_A) ||
        !finite(conditions.core_over_case_K) || (target_soc != nullptr && !finite(*target_soc))) {
        return Status::sample_not_finite;
    }
    if (!(state.resistance_scale > Real(0)) || conditions.supply_current_A < Real(0)) {
        return Status::out_of_range;
    }
    if (conditions.series < 1 || conditions.parallel < 1) return Status::out_of_range;
    if (!(conditions.component_current_A >= Real(0))) return Status::out_of_range;
    if (!within(conditions.link_ohm, Real(0), Real(1e3))) return Status::out_of_range;
    if (conditions.limits != nullptr) {
        const Status limited = validate(*conditions.limits).status;
        if (limited != Status::ok) return limited;
    }
    if (conditions.supply != nullptr) {
        const Status supplied = validate(*conditions.supply).status;
        if (supplied != Status::ok) return supplied;
        SupplyLimits<Real> ignored;
        const Status read = supply_limits(*conditions.supply, ignored);
        if (read != Status::ok) return read;
    }
    ChargeRun<Real, Branches, Transfer> run(cell, plan, lasting_scale(state, settings), conditions,
                                            settings);
    return run.run(target_soc, observer, out);
}

/// Observer that looks away.
struct NoObserver {
    template <class Point>
    void operator()(const Point& /*point*/) const noexcept {}
};

}  // namespace detail

/// Time until the cell is full: the constant-voltage current has fallen to the plan's end current.
/// \param cell,plan checked once with validate() when they are set; the plan again here
/// \param state present state, resistance scale included (> 0)
/// \param observer called with a ChargePoint at the start and after every step; must not throw
/// \param out receives the forecast. A cell that needs no more than the end current now is full:
/// time 0; so is one that has come to the highest SOC of the limits (`end_reason` soc).
/// \return ok; not_reached at `longest_s` (or `max_steps`) or when the limits have let in
/// no more than the end current for `limits_end_s` (phase waiting); not_allowed when the
/// temperature is or comes
///         outside every zone or the window of the limits, or the limits let nothing in (phase
///         waiting): `out` then tells how far the charge got, with `reached` false.
///         missing_table, out_of_range, not_finite, not_increasing or sample_not_finite for what
///         cannot be used: `out` is then untouched.
template <class Real, int Branches, bool Transfer, class Observer = detail::NoObserver>
[[nodiscard]] inline Status time_to_full(const CellParameters<Real, Branches, Transfer>& cell,
                                         const ChargePlan<Real>& plan,
                                         const CellState<Real, Branches, Transfer>& state,
                                         const ChargeConditions<Real>& conditions,
                                         ChargeForecast<Real>& out,
                                         const ForecastSettings<Real>& settings = {},
                                         Observer&& observer = {}) noexcept {
    const Real* const none = nullptr;
    return detail::forecast_charge(cell, plan, state, conditions, none, settings, observer, out);
}

/// Time until the cell reaches an SOC, in either phase; see time_to_full.
/// \param target_soc an SOC already reached takes time 0
/// \return also not_reached when the plan ends (the cell is full by its rule) or the limits do
/// (phase waiting, `end_reason` soc) below the target
template <class Real, int Branches, bool Transfer, class Observer = detail::NoObserver>
[[nodiscard]] inline Status time_to_soc(const CellParameters<Real, Branches, Transfer>& cell,
                                        const ChargePlan<Real>& plan,
                                        const CellState<Real, Branches, Transfer>& state,
                                        const ChargeConditions<Real>& conditions, Real target_soc,
                                        ChargeForecast<Real>& out,
                                        const ForecastSettings<Real>& settings = {},
                                        Observer&& observer = {}) noexcept {
    return detail::forecast_charge(cell, plan, state, conditions, &target_soc, settings, observer,
                                   out);
}

}  // namespace voltkeel

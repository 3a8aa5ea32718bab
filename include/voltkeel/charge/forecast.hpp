#pragma once
/// \file forecast.hpp
/// When a cell will be full, or reach an SOC, on a CC-CV plan: the cell model run forward.
///
/// The plan's zone for the present temperature gives current and voltage, the supply may lower the
/// current, the cell warms itself. While the voltage stays below the zone's, the current is
/// constant. Then it is what keeps the voltage there: for a step, the held current that gives
/// exactly the zone's voltage at the end of the step, taken once over the whole step and once over
/// its halves and extrapolated to a vanishing step (Richardson; local error of third order, and a
/// fast RC branch is damped, not excited). What remains at the default step: a branch faster than
/// the step follows the falling current without its lag, worth less than a second of the charge.
/// Full is when that current has fallen to the plan's end current.
///
/// Every event (voltage reached or let go, zone left, SOC reached, end current reached) is located
/// inside its step to `event_tolerance_s`, so that the answer does not hang on the step length and
/// a forecast made later along its own run ends at the same instant. A zone or phase just entered
/// is kept for one step, so that zones that heat and cool in turn come to an end.
///
/// A forecast is no protection: the charger's own limits, the cell maker's data sheet and local
/// codes hold whatever it says.

#include <cstdint>

#include "voltkeel/cell/compensated_sum.hpp"
#include "voltkeel/cell/model.hpp"
#include "voltkeel/charge/plan.hpp"
#include "voltkeel/limits/current_limits.hpp"
#include "voltkeel/status.hpp"
#include "voltkeel/units.hpp"

namespace voltkeel {

/// Where a charge stands. Numbers are frozen: they appear in logs.
enum class ChargePhase : std::uint8_t {
    constant_current = 0,  ///< The zone's or the supply's current flows.
    constant_voltage = 1,  ///< The zone's voltage is held.
    done = 2,              ///< The target is reached.
    not_allowed = 3,       ///< The temperature is outside every zone.
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
};

/// Knobs of the forecast.
template <class Real>
struct ForecastSettings {
    Real longest_s{86400};  ///< The forecast ends here, reached or not.
    Real step_s{5};         ///< Longest step; shorter ones follow a change of phase or zone.
    Real event_tolerance_s{Real(0.001)};  ///< Events are located to this.
    int max_steps{50000};                 ///< Bound on the work; counts as not reached.
};

/// Checks the settings; see validate(CellParameters).
template <class Real>
[[nodiscard]] Finding<Real> validate(const ForecastSettings<Real>& s) noexcept {
    struct Row {
        const char* field;
        Real value;
        Real low;
        Real high;
    };
    const Row rows[] = {
        {"longest_s", s.longest_s, Real(1), Real(1e7)},
        {"step_s", s.step_s, Real(0.1), Real(600)},
        {"event_tolerance_s", s.event_tolerance_s, Real(1e-6), Real(1)},
        {"max_steps", static_cast<Real>(s.max_steps), Real(1), Real(1e7)},
    };
    for (const Row& row : rows) {
        if (!detail::finite(row.value)) {
            return {Status::not_finite, row.field, -1, row.value, row.low};
        }
        if (row.value < row.low) return {Status::out_of_range, row.field, -1, row.value, row.low};
        if (row.value > row.high) return {Status::out_of_range, row.field, -1, row.value, row.high};
    }
    return {};
}

/// How a charge goes, to its target or as far as it gets.
template <class Real>
struct ChargeForecast {
    Real time_s{0};  ///< From now to the target, or to where the forecast ended.
    Real constant_current_s{0};
    Real constant_voltage_s{0};
    Real end_soc{0};
    Real end_temperature_degC{0};
    Real highest_temperature_degC{0};
    Real charge_Ah{0};  ///< Put into the cell at its terminals.
    Real energy_Wh{0};  ///< Likewise.
    Real end_current_A{0};
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
};

namespace detail {

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
          supply_current_A_(conditions.supply_current_A) {
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
        const auto report = [&](ChargePhase phase) {
            const Real voltage_V =
                voltage_at(cell_, now_.state, now_.current_A, now_.temperature.core_degC).voltage_V;
            observer(ChargePoint<Real, Branches, Transfer>{
                time_s, now_.current_A, voltage_V, now_.temperature.core_degC, phase, now_.state});
        };
        const auto finish = [&](Status status, ChargePhase phase) {
            result.time_s = time_s;
            result.end_soc = now_.state.soc;
            result.end_temperature_degC = now_.temperature.core_degC;
            result.charge_Ah = charge_As / seconds_per_hour<Real>;
            result.energy_Wh = energy_J / seconds_per_hour<Real>;
            result.end_current_A = now_.current_A;
            result.end_phase = phase;
            result.reached = status == Status::ok;
            out = result;
            return status;
        };

        zone_ = zone_for(plan_, now_.temperature.core_degC);
        zone_held_s_ = settings_.step_s;
        phase_held_s_ = settings_.step_s;
        if (zone_ != nullptr) {
            enter_zone();
            now_.current_A = current_now_A();
            if (target_soc != nullptr ? now_.state.soc >= *target_soc : full_now()) {
                report(ChargePhase::done);
                return finish(Status::ok, ChargePhase::done);
            }
            if (full_now()) {
                report(ChargePhase::constant_voltage);
                return finish(Status::not_reached, ChargePhase::constant_voltage);
            }
        }
        if (zone_ == nullptr) {
            report(ChargePhase::not_allowed);
            return finish(Status::not_allowed, ChargePhase::not_allowed);
        }
        bool held_voltage = voltage_reached();
        ChargePhase phase = phase_of(held_voltage);
        report(phase);
        // Fast branches move most after a change: begin with short steps and double them.
        constexpr Real first_share = Real(1) / Real(16);
        Real dt_s = first_share * settings_.step_s;
        for (int count = 0; count < settings_.max_steps; ++count) {
            const Real left_s = settings_.longest_s - time_s;
            if (!(left_s > settings_.event_tolerance_s)) break;
            const Real trial_s = dt_s < left_s ? dt_s : left_s;
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
            now_ = next;
            add_compensated(time_s, time_carry, taken_s);
            add_compensated(charge_As, charge_carry, next.charge_As);
            add_compensated(energy_J, energy_carry, next.energy_J);
            (held_voltage ? result.constant_voltage_s : result.constant_current_s) += taken_s;
            if (now_.temperature.core_degC > result.highest_temperature_degC) {
                result.highest_temperature_degC = now_.temperature.core_degC;
            }
            zone_held_s_ += taken_s;
            phase_held_s_ += taken_s;

            if (target_soc != nullptr && now_.state.soc >= *target_soc) {
                report(ChargePhase::done);
                return finish(Status::ok, ChargePhase::done);
            }
            bool zone_changed = false;
            const ChargeZone<Real>* const zone = zone_for(plan_, now_.temperature.core_degC);
            const bool was_full = full(now_, held_voltage);
            if (!was_full && zone == nullptr) {
                report(ChargePhase::not_allowed);
                return finish(Status::not_allowed, ChargePhase::not_allowed);
            }
            if (!was_full && zone != zone_) {
                zone_ = zone;
                zone_held_s_ = Real(0);
                zone_changed = true;
                enter_zone();
                now_.current_A = current_now_A();
            }
            if (was_full || (zone_changed && full_now())) {
                const bool wanted = target_soc == nullptr;
                report(wanted ? ChargePhase::done : ChargePhase::constant_voltage);
                return wanted ? finish(Status::ok, ChargePhase::done)
                              : finish(Status::not_reached, ChargePhase::constant_voltage);
            }
            // The held voltage is left when the full current does not lift the cell to it any more.
            const bool holds = zone_changed   ? voltage_reached()
                               : held_voltage ? next.limited
                                              : next.voltage_V >= zone_->voltage_V;
            const bool changed = zone_changed || holds != held_voltage;
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
        bool limited{false};  ///< The voltage, not the ceiling, gave the current.
    };

    [[nodiscard]] static ChargePhase phase_of(bool held_voltage) noexcept {
        return held_voltage ? ChargePhase::constant_voltage : ChargePhase::constant_current;
    }
    void enter_zone() noexcept {
        ceiling_A_ = zone_->current_A;
        if (supply_current_A_ > Real(0) && supply_current_A_ < ceiling_A_) {
            ceiling_A_ = supply_current_A_;
        }
        slope_ohm_ = Real(0);
    }

    [[nodiscard]] Real voltage_now_V(Real current_A) const noexcept {
        return voltage_at(cell_, now_.state, current_A, now_.temperature.core_degC).voltage_V;
    }
    /// The full current would already lift the voltage to the zone's.
    [[nodiscard]] bool voltage_reached() const noexcept {
        return voltage_now_V(ceiling_A_) >= zone_->voltage_V;
    }
    [[nodiscard]] bool full_now() const noexcept {
        const Real least = plan_.end_current_A < ceiling_A_ ? plan_.end_current_A : ceiling_A_;
        return voltage_now_V(least) >= zone_->voltage_V;
    }
    /// Current that flows at this instant. The voltage is a straight line in it.
    [[nodiscard]] Real current_now_A() const noexcept {
        const auto point = voltage_at(cell_, now_.state, ceiling_A_, now_.temperature.core_degC);
        const Real over_V = point.voltage_V - zone_->voltage_V;
        if (!(over_V > Real(0))) return ceiling_A_;
        if (!(point.by_current > Real(0))) return Real(0);
        const Real current_A = ceiling_A_ - over_V / point.by_current;
        return current_A > Real(0) ? current_A : Real(0);
    }

    [[nodiscard]] bool full(const Moment& at, bool held_voltage) const noexcept {
        if (!held_voltage) {
            // With a supply below the end current, reaching the voltage is the end.
            return at.voltage_V >= zone_->voltage_V && ceiling_A_ <= plan_.end_current_A;
        }
        return (at.limited || ceiling_A_ <= plan_.end_current_A) &&
               at.current_A <= plan_.end_current_A;
    }
    [[nodiscard]] bool event(const Moment& at, bool held_voltage,
                             const Real* target_soc) const noexcept {
        if (target_soc != nullptr && at.state.soc >= *target_soc) return true;
        if (full(at, held_voltage)) return true;
        if (!held_voltage && at.voltage_V >= zone_->voltage_V) return true;
        // A zone or phase just entered is kept for a step: where one zone warms the cell and the
        // next cools it, the charge alternates between them, and must not do so in ever smaller
        // steps.
        if (held_voltage && !at.limited && phase_held_s_ >= settings_.step_s) return true;
        return zone_held_s_ >= settings_.step_s &&
               zone_for(plan_, at.temperature.core_degC) != zone_;
    }

    [[nodiscard]] Moment advance(Real dt_s, bool held_voltage) noexcept {
        if (!held_voltage) return constant_current(now_, dt_s, ceiling_A_);
        const Real guess_A = now_.current_A < ceiling_A_ ? now_.current_A : ceiling_A_;
        const Moment whole = to_voltage(now_, dt_s, guess_A);
        const Moment half = to_voltage(now_, Real(0.5) * dt_s, guess_A);
        Moment end = to_voltage(half, Real(0.5) * dt_s, half.current_A);
        end.charge_As += half.charge_As;
        end.energy_J += half.energy_J;
        // At the ceiling nothing was solved, so there is nothing to extrapolate.
        if (!whole.limited || !half.limited || !end.limited) return end;

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
        if (end.current_A > ceiling_A_) end.current_A = ceiling_A_;
        extrapolate(end.charge_As, whole.charge_As);
        extrapolate(end.energy_J, whole.energy_J);
        return end;
    }

    [[nodiscard]] Moment constant_current(const Moment& from, Real dt_s,
                                          Real current_A) const noexcept {
        HeldCell<Real, Branches, Transfer> held =
            begin_hold(cell_, from.state, from.temperature, current_A);
        const Real start_V = held.point.voltage_V;
        hold(cell_, current_A, dt_s, ambient_degC_, held);
        const Real charge_As = current_A * dt_s;
        return {held.state, held.temperature,
                current_A,  held.point.voltage_V,
                charge_As,  Real(0.5) * (start_V + held.point.voltage_V) * charge_As,
                false};
    }

    /// One step with the held current, between 0 and the ceiling, that gives the zone's voltage at
    /// its end: secant inside a bracket. The voltage rises with the current.
    [[nodiscard]] Moment to_voltage(const Moment& from, Real dt_s, Real guess_A) noexcept {
        constexpr Real close_V = sizeof(Real) == sizeof(double) ? Real(1e-9) : Real(1e-6);
        Real low = Real(0);
        Real high = ceiling_A_;
        bool low_tried = false;
        bool high_tried = false;
        Real slope = slope_ohm_;
        if (!(slope > Real(0))) {
            slope = direct_current_resistance_ohm(
                        resistance_at(cell_.resistance, from.state.soc, from.temperature.core_degC)
                            .value) *
                    from.state.resistance_scale;
        }
        Real x = guess_A;
        Real last_x = x;
        Real last_over = Real(0);
        Moment moment{};
        for (int turn = 0; turn < 40; ++turn) {
            moment = constant_current(from, dt_s, x);
            const Real over = moment.voltage_V - zone_->voltage_V;
            moment.limited = true;
            if (over <= close_V && over >= -close_V) break;
            if (over < Real(0)) {
                if (x >= ceiling_A_) {
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
    Real supply_current_A_;
    Moment now_{};
    const ChargeZone<Real>* zone_{nullptr};
    Real zone_held_s_{0};
    Real phase_held_s_{0};
    Real ceiling_A_{0};
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
    ChargeRun<Real, Branches, Transfer> run(cell, plan, state, conditions, settings);
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
/// time 0. \return ok; not_reached at `longest_s` (or `max_steps`) and not_allowed when the
/// temperature is or comes
///         outside every zone: `out` then tells how far the charge got, with `reached` false.
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
/// \return also not_reached when the plan ends (the cell is full by its rule) below the target
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

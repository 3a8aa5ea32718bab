#pragma once
/// \file current_limits.hpp
/// How much current and power a cell may take or give for the next seconds, and what decides it.
///
/// For a horizon and a direction the limit is the largest magnitude I for which every current from
/// 0 to I, held constant over the horizon, keeps the cell inside its limits:
///
/// - voltage: at the first instant and at the end of every sub-step up to the horizon;
/// - SOC at the end of the horizon;
/// - temperature now inside the window of the direction, and at the end not above its maximum, with
///   the surroundings at the present temperature of the case; the temperature that counts is that
///   of the core;
/// - the maker's table for this duration, read at the present SOC and temperature.
///
/// Voltage and temperature are solved on the whole model (resistance follows SOC and temperature
/// while the current flows), never on a line drawn once. Only the side towards which a direction
/// moves counts: a cell above its SOC or voltage window may be discharged, one below may be
/// charged.
///
/// These are limits of one cell. Fuse, contactor, cable and drive have limits of their own, and the
/// cell maker's data sheet overrules the model wherever it is stricter.

#include <cstdint>

#include "voltkeel/cell/bounds.hpp"
#include "voltkeel/cell/heat.hpp"
#include "voltkeel/cell/model.hpp"
#include "voltkeel/limits/window.hpp"
#include "voltkeel/status.hpp"

namespace voltkeel {

/// What decides a limit. Numbers are frozen: they appear in logs.
enum class LimitReason : std::uint8_t {
    none = 0,         ///< Nothing up to the largest current that is searched.
    voltage = 1,      ///< The voltage would leave its window.
    soc = 2,          ///< The SOC would leave its window.
    temperature = 3,  ///< The temperature is outside its window, or would be at the end.
    maker_table = 4,  ///< The maker's table of allowed currents.
};

/// Plain words for a reason; never null.
[[nodiscard]] constexpr const char* message(LimitReason reason) noexcept {
    switch (reason) {
        case LimitReason::none:
            return "nothing within the currents searched";
        case LimitReason::voltage:
            return "the voltage reaches the end of its window";
        case LimitReason::soc:
            return "the SOC reaches the end of its window";
        case LimitReason::temperature:
            return "the temperature reaches the end of its window";
        case LimitReason::maker_table:
            return "the maker's table of allowed currents";
    }
    return "unknown reason";
}

/// What is allowed in one direction for one horizon.
template <class Real>
struct DirectionLimit {
    Real current_A{0};  ///< >= 0 for charge, <= 0 for discharge.
    /// What can be held to the end of the horizon: current times voltage at that end, signed like
    /// the current. Where more current would give less power (a discharge beyond the point of
    /// greatest power), it is that greatest power, which belongs to a smaller current than
    /// `current_A`.
    Real power_W{0};
    Real end_voltage_V{0};  ///< At the end of the horizon with `current_A`.
    LimitReason reason{LimitReason::none};
    /// The bound that decides: window side in V, 1 or degC, the maker's current in A (magnitude),
    /// or with reason none the largest current searched in A.
    Real binding_value{0};
};

/// Both directions for one horizon.
template <class Real>
struct HorizonLimit {
    Real horizon_s{0};
    DirectionLimit<Real> charge{};
    DirectionLimit<Real> discharge{};
};

/// Knobs of the search; the defaults need no change.
template <class Real>
struct LimitSettings {
    Real current_tolerance{Real(1e-3)};    ///< The limit is found to this share of itself, or
    Real current_tolerance_A{Real(1e-3)};  ///< to this, whichever is larger. Never above the limit.
    Real largest_rate_per_h{100};  ///< Currents up to this times the capacity are searched (100 C).
    /// The cell is taken fuller by this for charge, emptier for discharge, in everything that
    /// depends on SOC; for example two `soc_std` of the estimate.
    Real soc_margin{0};
    Real voltage_margin_V{0};  ///< The voltage window is narrowed by this on each side.
    Real core_over_case_K{0};  ///< How much warmer the core is than the case now; 0 for one mass.
};

/// Checks the settings; see validate(CellParameters).
template <class Real>
[[nodiscard]] Finding<Real> validate(const LimitSettings<Real>& s) noexcept {
    const detail::BoundedField<Real> rows[] = {
        {"current_tolerance", s.current_tolerance, Real(1e-5), Real(0.1)},
        {"current_tolerance_A", s.current_tolerance_A, Real(1e-6), Real(10)},
        {"largest_rate_per_h", s.largest_rate_per_h, Real(0.1), Real(1000)},
        {"soc_margin", s.soc_margin, Real(0), Real(1)},
        {"voltage_margin_V", s.voltage_margin_V, Real(0), Real(1)},
        {"core_over_case_K", s.core_over_case_K, Real(-100), Real(100)},
    };
    return detail::first_outside(rows);
}

/// The horizons a drive usually asks for, in s.
template <class Real>
inline constexpr Real default_horizons_s[3] = {Real(2), Real(10), Real(30)};

/// A longer horizon is refused: the sub-steps would become too coarse.
template <class Real>
inline constexpr Real longest_horizon_s = Real(600);

namespace detail {

/// A cell with its temperature while a current flows.
template <class Real, int Branches, bool Transfer = false>
struct HeldCell {
    CellState<Real, Branches, Transfer> state{};
    CellTemperature<Real> temperature{};
    VoltagePoint<Real, Branches, Transfer>
        point{};  ///< At this state, temperature and the held current.
};

template <class Real, int Branches, bool Transfer>
[[nodiscard]] inline HeldCell<Real, Branches, Transfer> begin_hold(
    const CellParameters<Real, Branches, Transfer>& cell,
    const CellState<Real, Branches, Transfer>& state, const CellTemperature<Real>& temperature,
    Real current_A) noexcept {
    return {state, temperature, voltage_at(cell, state, current_A, temperature.core_degC)};
}

/// Holds a current for one step, with the temperature it causes. Second order in the step: the
/// model step is taken at the temperature half-way, the heat is the mean of start and end. \param
/// held from begin_hold or a hold before, with the same current
template <class Real, int Branches, bool Transfer>
inline void hold(const CellParameters<Real, Branches, Transfer>& cell, Real current_A, Real dt_s,
                 Real ambient_degC, HeldCell<Real, Branches, Transfer>& held) noexcept {
    const auto heat_of = [&](const VoltagePoint<Real, Branches, Transfer>& at,
                             Real temperature_degC) {
        return heat_W(current_A, at.voltage_V, at.ocv_V, at.entropy_V_per_K, temperature_degC);
    };
    const ThermalStep<Real> warm = thermal_step(cell.thermal, dt_s);
    const CellTemperature<Real> start = held.temperature;
    const Real start_heat = heat_of(held.point, start.core_degC);
    const Real guess_degC = warm(start, ambient_degC, start_heat).core_degC;
    step(cell, CellInput<Real>{current_A, dt_s, Real(0.5) * (start.core_degC + guess_degC)},
         held.state);
    const VoltagePoint<Real, Branches, Transfer> guess =
        voltage_at(cell, held.state, current_A, guess_degC);
    const Real heat = Real(0.5) * (start_heat + heat_of(guess, guess_degC));
    held.temperature = warm(start, ambient_degC, heat);
    held.point = voltage_at(cell, held.state, current_A, held.temperature.core_degC);
}

template <class Real, int Branches, bool Transfer>
[[nodiscard]] inline bool finite(const CellState<Real, Branches, Transfer>& state) noexcept {
    bool all = finite(state.soc) && finite(state.soc_carry) && finite(state.hysteresis) &&
               finite(state.resistance_scale);
    for (int i = 0; i < state.lags; ++i)
        all = all && finite(state.branch_V[i]);
    return all;
}

/// What the tables must have for a lookup not to leave them; validate() checks the rest, once.
template <class Real, int Branches, bool Transfer>
[[nodiscard]] inline Status usable_tables(
    const CellParameters<Real, Branches, Transfer>& cell) noexcept {
    if (cell.ocv.nodes == nullptr || cell.ocv.count < 2 || cell.resistance.nodes == nullptr ||
        cell.resistance.soc.count < 2 || cell.resistance.temperature_degC.count < 2) {
        return Status::missing_table;
    }
    return cell.capacity_Ah > Real(0) ? Status::ok : Status::out_of_range;
}

/// One direction at one state: what a held current leads to, and the search for the largest one.
template <class Real, int Branches, bool Transfer = false>
class LimitSearch {
  public:
    /// \param sign +1 charge, -1 discharge
    LimitSearch(const CellParameters<Real, Branches, Transfer>& cell,
                const CellLimits<Real>& limits, const CellState<Real, Branches, Transfer>& state,
                Real temperature_degC, Real sign, const LimitSettings<Real>& settings) noexcept
        : cell_(cell),
          limits_(limits),
          settings_(settings),
          state_(state),
          temperature_degC_(temperature_degC),
          sign_(sign) {
        const CellWindow<Real>& w = limits.window;
        const bool charging = sign > Real(0);
        state_.soc += sign * settings.soc_margin;
        voltage_bound_V_ = charging ? w.voltage_max_V : w.voltage_min_V;
        voltage_target_V_ = voltage_bound_V_ - sign * settings.voltage_margin_V;
        soc_bound_ = charging ? w.soc_max : w.soc_min;
        cold_degC_ = charging ? w.charge_temperature_min_degC : w.discharge_temperature_min_degC;
        hot_degC_ = charging ? w.charge_temperature_max_degC : w.discharge_temperature_max_degC;
    }

    /// \param shorter the result for the horizon before, or null: what breaks a bound early breaks
    /// it on
    ///        a longer horizon too, and that far it has been looked at already, in finer steps
    [[nodiscard]] DirectionLimit<Real> find(Real horizon_s, Real shorter_s,
                                            const DirectionLimit<Real>* shorter) const noexcept {
        const Span span{shorter != nullptr ? shorter_s : Real(0), horizon_s};
        Ceiling ceiling = ceiling_for(horizon_s);
        if (shorter != nullptr) {
            ceiling.lower(sign_ * shorter->current_A, shorter->reason, shorter->binding_value);
        }
        if (!(ceiling.current_A > Real(0))) return answer(hold_for(Real(0), span), ceiling, span);

        // From below in quarters, so that the first crossing is found when there is more than one.
        constexpr int parts = 4;
        Trial low{};
        Trial high{};
        bool low_known = false;
        for (int part = 1; part <= parts; ++part) {
            const Real share = static_cast<Real>(part) / static_cast<Real>(parts);
            high = hold_for(share * ceiling.current_A, span);
            if (!(high.slack >= Real(0))) break;
            low = high;
            low_known = true;
        }
        if (high.slack >= Real(0)) return answer(high, ceiling, span);
        if (!low_known) {
            low = hold_for(Real(0), span);
            // Relaxation alone leads out of the window.
            if (!(low.slack >= Real(0))) return answer(low, reason_of(low), span);
        }
        close_in(span, low, high);
        return answer(low, reason_of(high), span);
    }

  private:
    /// From now to `end_s`; the voltage is watched after `watched_from_s`.
    struct Span {
        Real watched_from_s{0};
        Real end_s{0};
    };

    /// What holding a current leads to.
    struct Trial {
        Real current_A{0};  ///< Magnitude.
        Real end_voltage_V{0};
        Real slack{0};    ///< >= 0: inside every bound; the smaller of voltage and temperature.
        bool hot{false};  ///< The temperature has the smaller slack.
    };

    /// The smallest of the bounds that need no search.
    struct Ceiling {
        Real current_A{0};
        LimitReason reason{LimitReason::none};
        Real bound{0};

        void lower(Real candidate_A, LimitReason why, Real value) noexcept {
            if (candidate_A < current_A) *this = {candidate_A, why, value};
        }
    };

    [[nodiscard]] Ceiling ceiling_for(Real horizon_s) const noexcept {
        const bool charging = sign_ > Real(0);
        const CellWindow<Real>& w = limits_.window;
        if (temperature_degC_ < cold_degC_) return {Real(0), LimitReason::temperature, cold_degC_};
        if (temperature_degC_ > hot_degC_) return {Real(0), LimitReason::temperature, hot_degC_};
        if (sign_ * (soc_bound_ - state_.soc) < Real(0)) {
            return {Real(0), LimitReason::soc, charging ? w.soc_max : w.soc_min};
        }
        const auto now = voltage_at(cell_, state_, Real(0), temperature_degC_);
        const Real room_V = sign_ * (voltage_target_V_ - now.voltage_V);
        if (room_V < Real(0)) return {Real(0), LimitReason::voltage, voltage_bound_V_};

        const Real searched_A = settings_.largest_rate_per_h * cell_.capacity_Ah;
        Ceiling ceiling{searched_A, LimitReason::none, searched_A};
        if (const CurrentTable<Real>* table = table_for(limits_, horizon_s)) {
            const Real allowed_A =
                table_value(*table, charging ? table->charge_A : table->discharge_A, state_.soc,
                            temperature_degC_);
            ceiling.lower(allowed_A, LimitReason::maker_table, allowed_A);
        }
        const Real gain_per_A = sign_ * soc_gain(cell_, sign_, horizon_s);
        if (gain_per_A > Real(0)) {
            const Real end_soc = state_.soc - cell_.self_discharge_per_s * horizon_s;
            const Real room = sign_ * (soc_bound_ - end_soc);
            ceiling.lower(room > Real(0) ? room / gain_per_A : Real(0), LimitReason::soc,
                          soc_bound_);
        }
        if (now.by_current > Real(0)) {
            ceiling.lower(room_V / now.by_current, LimitReason::voltage, voltage_bound_V_);
        }
        return ceiling;
    }

    [[nodiscard]] Trial hold_for(Real magnitude_A, const Span& span) const noexcept {
        // Sub-steps short at the start, where the fast branches fill, and at the end, where the
        // answer is read; more of them when there is time to warm up. Against 3000 equal steps, of
        // cells that warm by 20 K, the voltage at its worst is within 0.5 % of what the current
        // moves.
        const int parts = span.end_s <= Real(3) ? 6 : 12;
        const Real current_A = sign_ * magnitude_A;
        const Real case_degC = cell_.thermal.has_core()
                                   ? temperature_degC_ - settings_.core_over_case_K
                                   : temperature_degC_;
        HeldCell<Real, Branches, Transfer> held =
            begin_hold(cell_, state_, {temperature_degC_, case_degC}, current_A);
        Real voltage_slack = Real(0);
        bool watched = false;
        Real time_s = Real(0);
        for (int part = 1; part <= parts; ++part) {
            const Real x = static_cast<Real>(part) / static_cast<Real>(parts);
            const Real next_s =
                part < parts ? span.end_s * x * x * (Real(3) - Real(2) * x) : span.end_s;
            hold(cell_, current_A, next_s - time_s, case_degC, held);
            time_s = next_s;
            if (part < parts && time_s <= span.watched_from_s) continue;
            const Real slack = sign_ * (voltage_target_V_ - held.point.voltage_V);
            if (!watched || !(slack >= voltage_slack)) voltage_slack = slack;
            watched = true;
        }
        // The scale only brings both to the same order for the interpolation.
        const Real temperature_slack = Real(0.01) * (hot_degC_ - held.temperature.core_degC);
        const bool hot = temperature_slack < voltage_slack;
        return {magnitude_A, held.point.voltage_V, hot ? temperature_slack : voltage_slack, hot};
    }

    /// Narrows a bracket (low inside, high outside) to the tolerance: false position with halving
    /// of the stale end (Illinois; Dowell, Jarratt, BIT 11 (1971) 168, from memory, not re-read),
    /// put a little across the root so that both ends close in, and a bisection in every third
    /// turn.
    void close_in(const Span& span, Trial& low, Trial& high) const noexcept {
        Real low_slack = low.slack;
        Real high_slack = high.slack;
        bool last_was_low = false;
        for (int turn = 0; turn < 40; ++turn) {
            const Real width = high.current_A - low.current_A;
            const Real share = settings_.current_tolerance * high.current_A;
            const Real tolerance_A =
                share > settings_.current_tolerance_A ? share : settings_.current_tolerance_A;
            if (!(width > tolerance_A)) return;
            Real x = low.current_A + Real(0.5) * width;
            const Real fall = low_slack - high_slack;
            if (turn % 3 != 2 && fall > Real(0)) {
                const Real nudge = Real(0.4) * tolerance_A;
                const Real root = low.current_A + width * (low_slack / fall);
                x = turn == 0 ? root : (last_was_low ? root + nudge : root - nudge);
                const Real least = low.current_A + Real(0.5) * nudge;
                const Real most = high.current_A - Real(0.5) * nudge;
                x = x < least ? least : (x > most ? most : x);
            }
            const Trial trial = hold_for(x, span);
            const bool inside = trial.slack >= Real(0);
            const bool again = turn > 0 && inside == last_was_low;
            if (inside) {
                low = trial;
                low_slack = trial.slack;
                if (again) high_slack *= Real(0.5);
            } else {
                high = trial;
                high_slack = trial.slack;
                if (again) low_slack *= Real(0.5);
            }
            last_was_low = inside;
        }
    }

    [[nodiscard]] Ceiling reason_of(const Trial& trial) const noexcept {
        if (trial.hot) return {trial.current_A, LimitReason::temperature, hot_degC_};
        return {trial.current_A, LimitReason::voltage, voltage_bound_V_};
    }

    [[nodiscard]] DirectionLimit<Real> answer(const Trial& trial, const Ceiling& why,
                                              const Span& span) const noexcept {
        DirectionLimit<Real> limit;
        limit.current_A = trial.current_A > Real(0) ? sign_ * trial.current_A : Real(0);
        limit.end_voltage_V = trial.end_voltage_V;
        limit.power_W = limit.current_A * trial.end_voltage_V;
        limit.reason = why.reason;
        limit.binding_value = why.bound;
        if (sign_ < Real(0) && trial.current_A > Real(0)) {
            limit.power_W = -greatest_power_W(trial, span);
        }
        return limit;
    }

    /// Greatest discharge power (magnitude) over the currents up to the limit: golden section,
    /// entered only when the power falls towards the limit.
    [[nodiscard]] Real greatest_power_W(const Trial& limit, const Span& span) const noexcept {
        const auto power_of = [&](Real magnitude_A) {
            return magnitude_A * hold_for(magnitude_A, span).end_voltage_V;
        };
        const Real at_limit_W = limit.current_A * limit.end_voltage_V;
        if (!(power_of(Real(0.98) * limit.current_A) > at_limit_W)) return at_limit_W;
        constexpr Real golden = Real(0.6180339887498949);
        Real low = Real(0);
        Real high = limit.current_A;
        Real a = high - golden * (high - low);
        Real b = low + golden * (high - low);
        Real power_a = power_of(a);
        Real power_b = power_of(b);
        for (int turn = 0; turn < 16; ++turn) {
            if (power_a > power_b) {
                high = b;
                b = a;
                power_b = power_a;
                a = high - golden * (high - low);
                power_a = power_of(a);
            } else {
                low = a;
                a = b;
                power_a = power_b;
                b = low + golden * (high - low);
                power_b = power_of(b);
            }
        }
        const Real best_W = power_a > power_b ? power_a : power_b;
        return best_W > at_limit_W ? best_W : at_limit_W;
    }

    const CellParameters<Real, Branches, Transfer>& cell_;
    const CellLimits<Real>& limits_;
    const LimitSettings<Real>& settings_;
    CellState<Real, Branches, Transfer> state_;
    Real temperature_degC_;
    Real sign_;
    Real voltage_bound_V_{0};
    Real voltage_target_V_{0};
    Real soc_bound_{0};
    Real cold_degC_{0};
    Real hot_degC_{0};
};

}  // namespace detail

/// Largest charge and discharge current and power for each horizon, and what decides them.
/// \param cell,limits checked once with validate() when they are set
/// \param state present state, resistance scale included (> 0)
/// \param temperature_degC inside of the cell; also taken for the surroundings
/// \param horizons_s `count` horizons, each from 0 to `longest_horizon_s`, rising
/// \param out receives `count` results; a longer horizon never allows more than a shorter one
/// \return ok; missing_table, out_of_range or not_finite for what cannot be used, not_increasing
/// for
///         the order of the horizons; sample_not_finite for a state, temperature or horizon that is
///         NaN or infinite. `out` is then untouched.
template <class Real, int Branches, bool Transfer>
[[nodiscard]] inline Status current_limits(const CellParameters<Real, Branches, Transfer>& cell,
                                           const CellLimits<Real>& limits,
                                           const CellState<Real, Branches, Transfer>& state,
                                           Real temperature_degC, const Real* horizons_s, int count,
                                           HorizonLimit<Real>* out,
                                           const LimitSettings<Real>& settings = {}) noexcept {
    const Status tables = detail::usable_tables(cell);
    if (tables != Status::ok) return tables;
    const Status knobs = validate(settings).status;
    if (knobs != Status::ok) return knobs;
    if (horizons_s == nullptr || out == nullptr || count < 1) return Status::out_of_range;
    if (!detail::finite(temperature_degC) || !detail::finite(state)) {
        return Status::sample_not_finite;
    }
    if (!(state.resistance_scale > Real(0))) return Status::out_of_range;
    for (int k = 0; k < count; ++k) {
        if (!detail::finite(horizons_s[k])) return Status::sample_not_finite;
        if (horizons_s[k] < Real(0) || horizons_s[k] > longest_horizon_s<Real>) {
            return Status::out_of_range;
        }
        if (k > 0 && !(horizons_s[k] > horizons_s[k - 1])) return Status::not_increasing;
    }
    using Search = detail::LimitSearch<Real, Branches, Transfer>;
    const Search charge(cell, limits, state, temperature_degC, Real(1), settings);
    const Search discharge(cell, limits, state, temperature_degC, Real(-1), settings);
    for (int k = 0; k < count; ++k) {
        HorizonLimit<Real>& limit = out[k];
        const HorizonLimit<Real>* const shorter = k > 0 ? &out[k - 1] : nullptr;
        limit.horizon_s = horizons_s[k];
        if (shorter == nullptr) {
            limit.charge = charge.find(limit.horizon_s, Real(0), nullptr);
            limit.discharge = discharge.find(limit.horizon_s, Real(0), nullptr);
        } else {
            limit.charge = charge.find(limit.horizon_s, shorter->horizon_s, &shorter->charge);
            limit.discharge =
                discharge.find(limit.horizon_s, shorter->horizon_s, &shorter->discharge);
        }
    }
    return Status::ok;
}

/// The same for the default horizons of 2, 10 and 30 s.
template <class Real, int Branches, bool Transfer>
[[nodiscard]] inline Status current_limits(const CellParameters<Real, Branches, Transfer>& cell,
                                           const CellLimits<Real>& limits,
                                           const CellState<Real, Branches, Transfer>& state,
                                           Real temperature_degC, HorizonLimit<Real> (&out)[3],
                                           const LimitSettings<Real>& settings = {}) noexcept {
    return current_limits(cell, limits, state, temperature_degC, default_horizons_s<Real>, 3, out,
                          settings);
}

}  // namespace voltkeel

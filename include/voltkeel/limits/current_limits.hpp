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
/// The continuous limit (`continuous_horizon_s`) is that of the longest horizon, and the
/// temperature that its mean heat would lead to for ever stays in the window as well.
///
/// Voltage and temperature are solved on the whole model (resistance follows SOC and temperature
/// while the current flows), never on a line drawn once. The resistance follows the warmth that the
/// current itself makes with a delay (`warmth_lag_s`), and near empty it is taken larger than the
/// model has it (`low_soc_margin`): measured cells fall off faster than the model there. So it is
/// with currents beyond those that the cell was tested with (`untested_sigmas`). Only the
/// side towards which a direction moves counts: a cell above its SOC or voltage window may be
/// discharged, one below may be charged.
///
/// These are limits of one cell. Fuse, contactor, cable and drive have limits of their own, and the
/// cell maker's data sheet overrules the model wherever it is stricter.

#include <cstdint>
#include <limits>

#include "voltkeel/cell/bounds.hpp"
#include "voltkeel/cell/exponential.hpp"
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
    // Of a pack only: a part beside the cells; see component.hpp.
    fuse = 5,
    contactor = 6,
    cable = 7,
    connector = 8,
    charger = 9,
    drive = 10,
    driver = 11,  ///< A ceiling from outside, chosen by the driver.
    // Of limits that are followed over time; see tracker.hpp.
    pulse_used = 12,  ///< The pulse has been used up and has to recover.
    opening = 13,     ///< The limit opens at its set rate.
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
        case LimitReason::fuse:
            return "the fuse";
        case LimitReason::contactor:
            return "the contactor";
        case LimitReason::cable:
            return "the cable";
        case LimitReason::connector:
            return "the connector";
        case LimitReason::charger:
            return "the charger";
        case LimitReason::drive:
            return "the drive";
        case LimitReason::driver:
            return "the ceiling that the driver chose";
        case LimitReason::pulse_used:
            return "the pulse is used up and recovers";
        case LimitReason::opening:
            return "the limit opens at its set rate";
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
    /// The temperature may be off by this: the cell is taken colder for its resistance and the cold
    /// side of its window and table, warmer for the hot side.
    Real temperature_margin_K{0};
    /// Within this distance from an end of its temperature window the current searched (the
    /// maker's, where there is a table) falls in a straight line to nothing at the end; 0: a cliff.
    Real temperature_taper_K{0};
    /// The same for the SOC window, on the side towards which the direction moves.
    Real soc_taper{0};
    /// The resistance follows what a current warms this much later; 0: at once. On public pulses of
    /// 10 s at 4C and 6C a cell did not gain from the heat of the pulse itself (README, accuracy):
    /// counting it promised up to a tenth too much.
    Real warmth_lag_s{80};
    /// Below this SOC the voltage of a discharge falls faster with the current than the model says
    /// (depletion): its resistance is taken larger by a share that grows in a straight line from
    /// nothing there to `low_soc_margin` at empty. On public pulses at 25 degC the model is 7 to
    /// 18 % short of the drop at 18 to 12 % SOC; the maker's data sheet knows better for other
    /// cells.
    Real low_soc{Real(0.2)};
    Real low_soc_margin{Real(0.6)};  ///< See `low_soc`; 0: the model as it is.
    /// Beyond the tested current (CellLimits) the voltage is taken to move further than the model
    /// says, by this many `untested_share_std` for every doubling of the current. The voltage that
    /// is told with a limit is still the model's.
    Real untested_sigmas{1};
    /// From the cell to where its voltage is measured and limited (welds, wires, a cell fuse); the
    /// model knows nothing of it, and its heat does not warm the cell.
    Real link_ohm{0};
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
        {"temperature_margin_K", s.temperature_margin_K, Real(0), Real(50)},
        {"temperature_taper_K", s.temperature_taper_K, Real(0), Real(50)},
        {"soc_taper", s.soc_taper, Real(0), Real(0.5)},
        {"warmth_lag_s", s.warmth_lag_s, Real(0), Real(3600)},
        {"low_soc", s.low_soc, Real(0), Real(1)},
        {"low_soc_margin", s.low_soc_margin, Real(0), Real(3)},
        {"untested_sigmas", s.untested_sigmas, Real(0), Real(10)},
        {"link_ohm", s.link_ohm, Real(0), Real(1e3)},
    };
    return detail::first_outside(rows);
}

/// The horizons a drive usually asks for, in s.
template <class Real>
inline constexpr Real default_horizons_s[3] = {Real(2), Real(10), Real(30)};

/// A longer horizon is refused: the sub-steps would become too coarse.
template <class Real>
inline constexpr Real longest_horizon_s = Real(600);

/// The horizon of the continuous limit.
template <class Real>
inline constexpr Real continuous_horizon_s = std::numeric_limits<Real>::infinity();

namespace detail {

/// Of a VoltagePoint what holding a current takes.
template <class Real>
struct HeldPoint {
    Real voltage_V{0};
    Real ocv_V{0};
    Real entropy_V_per_K{0};
    Real by_current{0};
};

template <class Real, int Branches, bool Transfer>
[[nodiscard]] inline HeldPoint<Real> held_point(
    const CellParameters<Real, Branches, Transfer>& cell,
    const CellState<Real, Branches, Transfer>& state, Real current_A,
    Real temperature_degC) noexcept {
    const auto at = voltage_at(cell, state, current_A, temperature_degC);
    return {at.voltage_V, at.ocv_V, at.entropy_V_per_K, at.by_current};
}

/// A voltage that a current moves at an instant.
template <class Real>
struct HeldLine {
    Real open_V{0};
    Real ohm{0};
};

/// A cell with its temperature while a current flows.
template <class Real, int Branches, bool Transfer = false>
struct HeldCell {
    CellState<Real, Branches, Transfer> state{};
    CellTemperature<Real> temperature{};
    HeldPoint<Real> point{};  ///< At this state, temperature and the held current.
    Real felt_degC{25};       ///< The temperature that the resistance has come to; see WarmthStep.
};

/// How the resistance follows the temperature of the core over one step: with one lag, exact for a
/// core that warms in a straight line over the step. As it is: at once.
template <class Real>
struct WarmthStep {
    Real kept{0};    ///< Share left of a gap at the start.
    Real behind{0};  ///< Share of the rise in the step that is not felt at its end.

    [[nodiscard]] Real operator()(Real felt_degC, Real start_degC, Real end_degC) const noexcept {
        return end_degC - kept * (start_degC - felt_degC) - behind * (end_degC - start_degC);
    }
};

template <class Real>
[[nodiscard]] inline WarmthStep<Real> warmth_step(Real lag_s, Real dt_s) noexcept {
    if (!(lag_s > Real(0)) || !(dt_s > Real(0))) return {};
    const Real gone = voltkeel::relaxed_fraction(dt_s / lag_s);
    return {Real(1) - gone, gone * lag_s / dt_s};
}

template <class Real, int Branches, bool Transfer>
[[nodiscard]] inline HeldCell<Real, Branches, Transfer> begin_hold(
    const CellParameters<Real, Branches, Transfer>& cell,
    const CellState<Real, Branches, Transfer>& state, const CellTemperature<Real>& temperature,
    Real current_A) noexcept {
    return {state, temperature, held_point(cell, state, current_A, temperature.core_degC),
            temperature.core_degC};
}

/// Holds a current for one step, with the temperature it causes. Second order in the step: the
/// model step is taken at the temperature half-way, the heat is the mean of start and end.
/// \param warm thermal step of this length
/// \param felt how the resistance follows the warmth, over a step of this length
/// \param tolerance_K by which the temperature of the voltage at the end may be off
/// \param held from begin_hold or a hold before, with the same current
template <class Real, int Branches, bool Transfer>
[[gnu::flatten]] inline void hold(const CellParameters<Real, Branches, Transfer>& cell,
                                  Real current_A, Real dt_s, Real ambient_degC,
                                  const ThermalStep<Real>& warm, const WarmthStep<Real>& felt,
                                  Real tolerance_K,
                                  HeldCell<Real, Branches, Transfer>& held) noexcept {
    const auto heat_of = [&](const HeldPoint<Real>& at, Real temperature_degC) {
        return heat_W(current_A, at.voltage_V, at.ocv_V, at.entropy_V_per_K, temperature_degC);
    };
    const CellTemperature<Real> start = held.temperature;
    const Real start_felt_degC = held.felt_degC;
    const Real start_heat = heat_of(held.point, start.core_degC);
    const Real guess_degC = warm(start, ambient_degC, start_heat).core_degC;
    const Real guess_felt_degC = felt(start_felt_degC, start.core_degC, guess_degC);
    step(cell, CellInput<Real>{current_A, dt_s, Real(0.5) * (start_felt_degC + guess_felt_degC)},
         held.state);
    held.point = held_point(cell, held.state, current_A, guess_felt_degC);
    const Real heat = Real(0.5) * (start_heat + heat_of(held.point, guess_degC));
    held.temperature = warm(start, ambient_degC, heat);
    held.felt_degC = felt(start_felt_degC, start.core_degC, held.temperature.core_degC);
    const Real off_K = held.felt_degC - guess_felt_degC;
    if (off_K > tolerance_K || off_K < -tolerance_K) {
        held.point = held_point(cell, held.state, current_A, held.felt_degC);
    }
}

/// The same for who takes one step of a length only, with a resistance that follows at once.
template <class Real, int Branches, bool Transfer>
inline void hold(const CellParameters<Real, Branches, Transfer>& cell, Real current_A, Real dt_s,
                 Real ambient_degC, HeldCell<Real, Branches, Transfer>& held) noexcept {
    hold(cell, current_A, dt_s, ambient_degC, thermal_step(cell.thermal, dt_s), WarmthStep<Real>{},
         Real(0), held);
}

/// How closely a horizon is stepped through.
enum class HoldDetail : std::uint8_t {
    whole,   ///< As closely as a limit needs.
    look,    ///< In a few steps.
    glance,  ///< In one step, or few where the heat of a long time counts.
};

/// The sub-steps of a horizon, worked out once for any number of trials.
template <class Real>
struct HoldPlan {
    static constexpr int most = 12;
    int parts{0};
    Real end_s{0};
    bool lasting{false};  ///< For ever: the temperature is watched beyond the end.
    bool coarse{false};   ///< For a glance: each lag counts where it is worse, start or end.
    Real part_s[most]{};
    ThermalStep<Real> warm[most]{};
    WarmthStep<Real> felt[most]{};
};

/// Sub-steps short at the start, where the fast branches fill, and at the end, where the answer is
/// read; more of them when there is time to warm up. Against 3000 equal steps, of cells that warm
/// by 20 K, the voltage at its worst is within 0.5 % of what the current moves. \param parts 0: as
/// many as the horizon needs
template <class Real>
[[nodiscard]] inline HoldPlan<Real> hold_plan(const ThermalParameters<Real>& thermal,
                                              Real horizon_s, Real warmth_lag_s,
                                              HoldDetail detail = HoldDetail::whole) noexcept {
    HoldPlan<Real> plan;
    plan.coarse = detail != HoldDetail::whole;
    plan.lasting = horizon_s > longest_horizon_s<Real>;
    plan.end_s = plan.lasting ? longest_horizon_s<Real> : horizon_s;
    plan.parts = plan.end_s <= Real(3) ? 6 : HoldPlan<Real>::most;
    if (detail == HoldDetail::look) plan.parts = 3;
    if (detail == HoldDetail::glance) plan.parts = plan.end_s <= Real(100) ? 1 : 3;
    Real time_s = Real(0);
    for (int part = 0; part < plan.parts; ++part) {
        const Real x = static_cast<Real>(part + 1) / static_cast<Real>(plan.parts);
        const Real next_s =
            part + 1 < plan.parts ? plan.end_s * x * x * (Real(3) - Real(2) * x) : plan.end_s;
        plan.part_s[part] = next_s - time_s;
        plan.warm[part] = thermal_step(thermal, plan.part_s[part]);
        plan.felt[part] = warmth_step(warmth_lag_s, plan.part_s[part]);
        time_s = next_s;
    }
    return plan;
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

/// Whether horizon `k` can be used, and comes after the one before.
template <class Real>
[[nodiscard]] inline Status usable_horizon(const Real* horizons_s, int k) noexcept {
    const Real horizon_s = horizons_s[k];
    if (!finite(horizon_s) && horizon_s != continuous_horizon_s<Real>) {
        return Status::sample_not_finite;
    }
    if (horizon_s < Real(0) ||
        (horizon_s > longest_horizon_s<Real> && horizon_s != continuous_horizon_s<Real>)) {
        return Status::out_of_range;
    }
    return k > 0 && !(horizon_s > horizons_s[k - 1]) ? Status::not_increasing : Status::ok;
}

/// One direction at one state: what a held current leads to, and the search for the largest one.
template <class Real, int Branches, bool Transfer = false>
class LimitSearch {
  public:
    using Cell = CellParameters<Real, Branches, Transfer>;
    using State = CellState<Real, Branches, Transfer>;

    /// What holding a current leads to.
    struct Trial {
        Real current_A{0};  ///< Magnitude.
        Real end_voltage_V{0};
        Real slack{0};    ///< >= 0: inside every bound; the smaller of voltage and temperature.
        bool hot{false};  ///< The temperature has the smaller slack.
        Real warming_K{0};
        Real voltage_slack_V{0};
        Real hot_slack_K{0};
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

    LimitSearch() = default;

    /// The arguments but `settings` are looked at again later and must outlive this object.
    /// \param sign +1 charge, -1 discharge
    LimitSearch(const Cell& cell, const CellLimits<Real>& limits, const State& state,
                Real temperature_degC, Real sign, const LimitSettings<Real>& settings) noexcept
        : cell_(&cell),
          limits_(&limits),
          settings_(settings),
          state_(state),
          temperature_degC_(temperature_degC),
          sign_(sign) {
        const CellWindow<Real>& w = limits.window;
        const bool charging = sign > Real(0);
        state_.soc += sign * settings.soc_margin;
        if (!charging && state_.soc < settings.low_soc) {
            const Real depth = (settings.low_soc - state_.soc) / settings.low_soc;
            state_.resistance_scale *=
                Real(1) + settings.low_soc_margin * (depth < Real(1) ? depth : Real(1));
        }
        voltage_bound_V_ = charging ? w.voltage_max_V : w.voltage_min_V;
        voltage_target_V_ = voltage_bound_V_ - sign * settings.voltage_margin_V;
        soc_bound_ = charging ? w.soc_max : w.soc_min;
        cold_degC_ = charging ? w.charge_temperature_min_degC : w.discharge_temperature_min_degC;
        hot_degC_ = charging ? w.charge_temperature_max_degC : w.discharge_temperature_max_degC;
        now_ = held_point(cell, state_, Real(0), held_degC());
        ceiling_ = ceiling_now();
    }

    /// \param shorter the result for the horizon before, or null: what breaks a bound early breaks
    /// it on
    ///        a longer horizon too, and that far it has been looked at already, in finer steps
    [[nodiscard]] DirectionLimit<Real> find(Real horizon_s, Real shorter_s,
                                            const DirectionLimit<Real>* shorter) const noexcept {
        const HoldPlan<Real> plan = hold_plan(cell_->thermal, horizon_s, settings_.warmth_lag_s);
        const HoldPlan<Real> glance =
            hold_plan(cell_->thermal, horizon_s, settings_.warmth_lag_s, HoldDetail::glance);
        const Span span{plan, shorter != nullptr ? shorter_s : Real(0)};
        Ceiling ceiling = ceiling_for(horizon_s);
        if (shorter != nullptr) {
            ceiling.lower(sign_ * shorter->current_A, shorter->reason, shorter->binding_value);
        }
        Trial at{};
        const Ceiling why = solve(span, glance, ceiling, at);
        return answer(at, why, span);
    }

    /// The sub-steps of a horizon; the voltage is watched after `watched_from_s`.
    struct Span {
        const HoldPlan<Real>& plan;
        Real watched_from_s{0};
        /// Of a current that moves: magnitudes now and at the end of every sub-step, a straight
        /// line in between. Null: one current is held.
        const Real* edge_A{nullptr};
        /// Receives, for the end of every sub-step, the voltage without current and what a current
        /// adds to it at once, in ohm. Null: nobody asks.
        HeldLine<Real>* lines{nullptr};
    };

    /// Largest current up to a ceiling.
    /// \param glance coarse plan of the same horizon, for a first guess
    /// \param at receives what that current leads to \return why no more
    [[nodiscard]] Ceiling solve(const Span& span, const HoldPlan<Real>& glance,
                                const Ceiling& ceiling, Trial& at) const noexcept {
        if (!(ceiling.current_A > Real(0))) {
            at = hold_for(Real(0), span);
            return ceiling;
        }
        Trial low{};
        Trial high{};
        bool low_known = false;
        const Real guess_A = guess(glance, ceiling.current_A);
        Trial first = hold_for(guess_A, span);
        if (first.slack >= Real(0) && !(guess_A < ceiling.current_A)) {
            if (!(first.warming_K > large_warming_K)) {
                at = first;
                return ceiling;
            }
        }
        if (first.warming_K > large_warming_K) {
            // A cell that warms may take a larger current better than a smaller one: from below in
            // quarters, so that the first crossing is found.
            constexpr int parts = 4;
            for (int part = 1; part <= parts; ++part) {
                const Real share = static_cast<Real>(part) / static_cast<Real>(parts);
                high = hold_for(share * ceiling.current_A, span);
                if (!(high.slack >= Real(0))) break;
                low = high;
                low_known = true;
            }
            if (high.slack >= Real(0)) {
                at = high;
                return ceiling;
            }
        } else {
            widen(span, glance, ceiling.current_A, first, low, low_known, high);
            if (high.slack >= Real(0)) {
                at = high;
                return ceiling;
            }
        }
        if (!low_known) {
            low = hold_for(Real(0), span);
            // Relaxation alone leads out of the window.
            if (!(low.slack >= Real(0))) {
                at = low;
                return reason_of(low);
            }
        }
        close_in(span, low, high);
        at = low;
        return reason_of(high);
    }

    /// The bounds that need no search.
    [[nodiscard]] Ceiling ceiling_for(Real horizon_s) const noexcept {
        Ceiling ceiling = ceiling_;
        if (!(ceiling.current_A > Real(0))) return ceiling;
        const bool charging = sign_ > Real(0);
        Real allowed_A = ceiling.current_A;
        if (const CurrentTable<Real>* table = table_for(*limits_, horizon_s)) {
            const Real* const values = charging ? table->charge_A : table->discharge_A;
            Real maker_A = table_value(*table, values, state_.soc, temperature_degC_);
            if (settings_.temperature_margin_K > Real(0)) {
                for (const Real sign : {Real(-1), Real(1)}) {
                    const Real off_A =
                        table_value(*table, values, state_.soc,
                                    temperature_degC_ + sign * settings_.temperature_margin_K);
                    if (off_A < maker_A) maker_A = off_A;
                }
            }
            ceiling.lower(maker_A, LimitReason::maker_table, maker_A);
            allowed_A = ceiling.current_A;
        }
        if (taper_ < Real(1)) ceiling.lower(taper_ * allowed_A, taper_reason_, taper_bound_);
        const Real walked_s =
            horizon_s > longest_horizon_s<Real> ? longest_horizon_s<Real> : horizon_s;
        const Real gain_per_A = sign_ * soc_gain(*cell_, sign_, walked_s);
        if (gain_per_A > Real(0)) {
            const Real end_soc = state_.soc - cell_->self_discharge_per_s * walked_s;
            const Real room = sign_ * (soc_bound_ - end_soc);
            ceiling.lower(room > Real(0) ? room / gain_per_A : Real(0), LimitReason::soc,
                          soc_bound_);
        }
        if (now_ohm() > Real(0)) {
            ceiling.lower(sign_ * (voltage_target_V_ - now_.voltage_V) / now_ohm(),
                          LimitReason::voltage, voltage_bound_V_);
        }
        return ceiling;
    }

    /// Holds a current over the sub-steps of a span.
    /// \param magnitude_A where it moves, the one that is told and that was tested or not
    [[nodiscard]] Trial hold_for(Real magnitude_A, const Span& span) const noexcept {
        Real current_A = sign_ * magnitude_A;
        Real link_V = settings_.link_ohm * current_A;
        if (span.edge_A != nullptr)
            current_A = sign_ * Real(0.5) * (span.edge_A[0] + span.edge_A[1]);
        const Real start_degC = held_degC();
        const Real case_degC =
            cell_->thermal.has_core() ? start_degC - settings_.core_over_case_K : start_degC;
        HeldCell<Real, Branches, Transfer> held{state_, {start_degC, case_degC}, now_, start_degC};
        held.point.voltage_V += now_.by_current * current_A;  // a straight line at an instant
        // The voltage at a temperature that is 0.01 K off differs by 0.03 % of what the current
        // moves; a glance is off by more.
        const Real tolerance_K = span.plan.coarse ? Real(0.5) : Real(0.01);
        Real voltage_slack = Real(0);
        bool watched = false;
        Real time_s = Real(0);
        Real heat_J = Real(0);
        Real last_V = Real(0);
        for (int part = 0; part < span.plan.parts; ++part) {
            Real end_A = current_A;  // at the end of the sub-step
            if (span.edge_A != nullptr) {
                end_A = sign_ * span.edge_A[part + 1];
                const Real mean_A = sign_ * Real(0.5) * (span.edge_A[part] + span.edge_A[part + 1]);
                held.point.voltage_V += held.point.by_current * (mean_A - current_A);
                current_A = mean_A;
                link_V = settings_.link_ohm * end_A;
            }
            const Real before_W = span.plan.lasting ? heat_now_W(held, current_A) : Real(0);
            hold(*cell_, current_A, span.plan.part_s[part], case_degC, span.plan.warm[part],
                 span.plan.felt[part], tolerance_K, held);
            time_s += span.plan.part_s[part];
            if (span.plan.lasting) {
                const Real mean_W = Real(0.5) * (before_W + heat_now_W(held, current_A));
                heat_J += mean_W * span.plan.part_s[part];
            }
            const Real end_V = held.point.voltage_V + held.point.by_current * (end_A - current_A);
            if (span.lines != nullptr) {
                span.lines[part] = {held.point.voltage_V - held.point.by_current * current_A,
                                    held.point.by_current + settings_.link_ohm};
            }
            last_V = end_V;
            if (part + 1 < span.plan.parts && time_s <= span.watched_from_s) continue;
            const Real slack = sign_ * (voltage_target_V_ - end_V - link_V);
            if (!watched || !(slack >= voltage_slack)) voltage_slack = slack;
            watched = true;
        }
        if (span.plan.coarse) {
            for (int i = 0; i < state_.lags; ++i) {
                const Real eased = sign_ * (state_.branch_V[i] - held.state.branch_V[i]);
                if (eased > Real(0)) voltage_slack -= state_.resistance_scale * eased;
            }
        }
        const Real moved_V = sign_ * (last_V - now_.voltage_V);
        if (moved_V > Real(0)) voltage_slack -= untested_share(magnitude_A) * moved_V;
        Real end_degC = held.temperature.core_degC;
        if (span.plan.lasting) {
            const Real heat = heat_J / span.plan.end_s;  // mean over the horizon
            const Real for_ever_degC = steady_core_degC(
                cell_->thermal, case_degC + heat * cell_->thermal.resistance_K_per_W, heat);
            if (for_ever_degC > end_degC) end_degC = for_ever_degC;
        }
        const Real hot_slack_K = hot_degC_ - Real(2) * settings_.temperature_margin_K - end_degC;
        // The scale only brings both to the same order for the interpolation.
        const Real temperature_slack = Real(0.01) * hot_slack_K;
        const bool hot = temperature_slack < voltage_slack;
        return {magnitude_A, last_V + link_V,       hot ? temperature_slack : voltage_slack,
                hot,         end_degC - start_degC, voltage_slack,
                hot_slack_K};
    }

    /// A first guess from glances: up to four of false position, between
    /// nothing and the ceiling. The ceiling itself when that holds.
    [[nodiscard]] Real guess(const HoldPlan<Real>& glance, Real ceiling_A) const noexcept {
        const Span span{glance, Real(0)};
        Real low_A = Real(0);
        Real high_A = ceiling_A;
        Real low_slack = sign_ * (voltage_target_V_ - now_.voltage_V);
        Real high_slack = hold_for(ceiling_A, span).slack;
        if (!(high_slack < Real(0))) return ceiling_A;
        if (!(low_slack > Real(0))) return Real(0.5) * ceiling_A;
        Real x = ceiling_A;
        for (int turn = 0; turn < 4; ++turn) {
            const Real before = x;
            x = low_A + (high_A - low_A) * (low_slack / (low_slack - high_slack));
            const Real moved = x > before ? x - before : before - x;
            if (moved < Real(0.005) * x) break;
            const Real slack = hold_for(x, span).slack;
            if (slack >= Real(0)) {
                low_A = x;
                low_slack = slack;
                high_slack *= turn > 0 ? Real(0.5) : Real(1);
            } else {
                high_A = x;
                high_slack = slack;
            }
        }
        return x;
    }

    /// Why a trial fails, at its current.
    [[nodiscard]] Ceiling reason_of(const Trial& trial) const noexcept {
        if (trial.hot) return {trial.current_A, LimitReason::temperature, hot_degC_};
        return {trial.current_A, LimitReason::voltage, voltage_bound_V_};
    }

    /// How much further than the model says a current is taken to move the voltage, as a share.
    [[nodiscard]] Real untested_share(Real magnitude_A) const noexcept {
        const Real tested_A = limits_->tested_current_A;
        if (!(tested_A > Real(0)) || !(magnitude_A > tested_A)) return Real(0);
        constexpr Real per_octave = Real(1.4426950408889634);  // 1 / ln 2
        return settings_.untested_sigmas * limits_->untested_share_std * per_octave *
               logarithm(magnitude_A / tested_A);
    }

    [[nodiscard]] const State& state() const noexcept { return state_; }
    [[nodiscard]] const Cell& cell() const noexcept { return *cell_; }
    [[nodiscard]] Real temperature_degC() const noexcept { return temperature_degC_; }
    [[nodiscard]] Real now_voltage_V() const noexcept {
        return now_.voltage_V;
    }  ///< Without current.
    /// From the voltage without current to the end of its window.
    [[nodiscard]] Real voltage_room_V() const noexcept {
        return sign_ * (voltage_target_V_ - now_.voltage_V);
    }
    [[nodiscard]] Real now_ohm() const noexcept {
        return now_.by_current + settings_.link_ohm;
    }  ///< At the first instant.

  private:
    /// Above it the search looks for the first of several crossings.
    static constexpr Real large_warming_K = Real(3);

    /// The temperature that the model is held at.
    [[nodiscard]] Real held_degC() const noexcept {
        return temperature_degC_ - settings_.temperature_margin_K;
    }

    [[nodiscard]] static Real heat_now_W(const HeldCell<Real, Branches, Transfer>& held,
                                         Real current_A) noexcept {
        return heat_W(current_A, held.point.voltage_V, held.point.ocv_V, held.point.entropy_V_per_K,
                      held.temperature.core_degC);
    }

    /// What does not depend on the horizon, and how far the tapers let the current through.
    [[nodiscard]] Ceiling ceiling_now() noexcept {
        const Real coldest_degC = temperature_degC_ - settings_.temperature_margin_K;
        const Real hottest_degC = temperature_degC_ + settings_.temperature_margin_K;
        if (coldest_degC < cold_degC_) return {Real(0), LimitReason::temperature, cold_degC_};
        if (hottest_degC > hot_degC_) return {Real(0), LimitReason::temperature, hot_degC_};
        const Real soc_room = sign_ * (soc_bound_ - state_.soc);
        if (soc_room < Real(0)) return {Real(0), LimitReason::soc, soc_bound_};
        if (sign_ * (voltage_target_V_ - now_.voltage_V) < Real(0)) {
            return {Real(0), LimitReason::voltage, voltage_bound_V_};
        }
        const auto taper = [&](Real room, Real width, LimitReason reason, Real bound) {
            if (!(room < taper_ * width)) return;
            taper_ = room / width;
            taper_reason_ = reason;
            taper_bound_ = bound;
        };
        taper(coldest_degC - cold_degC_, settings_.temperature_taper_K, LimitReason::temperature,
              cold_degC_);
        taper(hot_degC_ - hottest_degC, settings_.temperature_taper_K, LimitReason::temperature,
              hot_degC_);
        taper(soc_room, settings_.soc_taper, LimitReason::soc, soc_bound_);
        const Real searched_A = settings_.largest_rate_per_h * cell_->capacity_Ah;
        return {searched_A, LimitReason::none, searched_A};
    }

    /// From a first trial to a bracket, by the slope of glances there, a little further each time.
    void widen(const Span& span, const HoldPlan<Real>& glance, Real ceiling_A, const Trial& first,
               Trial& low, bool& low_known, Trial& high) const noexcept {
        const Span glanced{glance, Real(0)};
        constexpr Real less = Real(0.97);
        const Real fall = hold_for(less * first.current_A, glanced).slack -
                          hold_for(first.current_A, glanced).slack;
        // The way that takes a unit of slack.
        Real way_per_slack = fall > Real(0) && first.current_A > Real(0)
                                 ? (Real(1) - less) * first.current_A / fall
                                 : Real(0);
        high = first;
        Trial last = first;
        Real nudge = Real(0.4);
        for (int turn = 0; turn < 12; ++turn) {
            const bool inside = last.slack >= Real(0);
            if (inside) {
                low = last;
                low_known = true;
                high = last;
                if (!(last.current_A < ceiling_A)) return;
            } else {
                high = last;
            }
            const Real share = settings_.current_tolerance * last.current_A;
            const Real tolerance_A =
                share > settings_.current_tolerance_A ? share : settings_.current_tolerance_A;
            Real x = last.current_A + way_per_slack * last.slack +
                     (inside ? nudge : -nudge) * tolerance_A;
            if (inside && !(x < ceiling_A)) x = ceiling_A;
            if (!(x > Real(0))) return;
            const Trial before = last;
            last = hold_for(x, span);
            // From here on by what two trials have shown.
            const Real fell = (before.slack - last.slack) / (last.current_A - before.current_A);
            if (fell > Real(0)) way_per_slack = Real(1) / fell;
            if ((last.slack >= Real(0)) != inside) {
                (inside ? high : low) = last;
                low_known = true;
                return;
            }
            nudge *= Real(4);
        }
        if (low_known && high.slack >= Real(0)) high = hold_for(ceiling_A, span);
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

    const Cell* cell_{nullptr};
    const CellLimits<Real>* limits_{nullptr};
    LimitSettings<Real> settings_{};
    State state_{};
    Real temperature_degC_{25};
    Real sign_{1};
    HeldPoint<Real> now_{};  ///< Without current.
    Ceiling ceiling_{};
    Real taper_{1};
    LimitReason taper_reason_{LimitReason::none};
    Real taper_bound_{0};
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
/// \param horizons_s `count` horizons, each from 0 to `longest_horizon_s`, rising; the last may be
///        `continuous_horizon_s`
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
        const Status usable_horizon = detail::usable_horizon(horizons_s, k);
        if (usable_horizon != Status::ok) return usable_horizon;
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

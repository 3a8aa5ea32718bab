#pragma once
/// \file model.hpp
/// The cell model: exact step and terminal voltage, with their derivatives.
///
///     soc'  = soc + eta(I) I dt / (3600 Q) - leak dt
///     u_i'  = a_i u_i + (1 - a_i) R_i I          a_i = exp(-dt / tau_i)
///     w'    : charge transfer, see charge_transfer.hpp (a cell may have none)
///     h'    = b h + (1 - b) sign(I)              b   = exp(-gamma |dsoc|)
///     V     = OCV(soc, T) + M(soc) h + r (R0 I + sum u_i + w)
///
/// Exact for a current held over a step of any length at fixed R_i and tau_i, which are taken at
/// the SOC half-way through the step (second order in the SOC walked); for a charging current R_N
/// has the ChargeRise added. r is the resistance scale: 1 for the cell that was tested. Form of the
/// model: Plett, J. Power Sources 134 (2004) 262-276 (equations from memory, not re-read), with
/// charge-positive current.

#include <cmath>

#include "voltkeel/cell/compensated_sum.hpp"
#include "voltkeel/cell/exponential.hpp"
#include "voltkeel/cell/lanes.hpp"
#include "voltkeel/cell/parameters.hpp"
#include "voltkeel/units.hpp"

namespace voltkeel {

/// Overvoltages that take time: the branches and, when there is one, the charge transfer.
template <int Branches, bool Transfer>
inline constexpr int lag_count = Branches + (Transfer ? 1 : 0);

/// What changes in a cell. `soc - soc_carry` is the exact sum; read `soc`.
template <class Real, int Branches, bool Transfer = false>
struct CellState {
    static constexpr int lags = lag_count<Branches, Transfer>;
    Real soc{1};        ///< 0..1.
    Real soc_carry{0};  ///< Rounding kept back from `soc` (compensated sum).
    /// u_1 .. u_N, then w of a cell with charge transfer; for resistance scale 1, positive after
    /// charging.
    Real branch_V[lags]{};
    Real hysteresis{0};  ///< h in [-1, 1]: +1 on the charge branch, -1 on the discharge branch.
    Real resistance_scale{1};  ///< r: multiplies every resistance.
};

/// What is done to a cell during one step.
template <class Real>
struct CellInput {
    Real current_A{0};          ///< Positive charges; held over the step.
    Real dt_s{0};               ///< Length of the step, >= 0.
    Real temperature_degC{25};  ///< Inside of the cell.
};

/// Derivatives of one step. Derivatives of the state with respect to the state that are not listed
/// are zero (SOC keeps its value).
template <class Real, int Branches, bool Transfer = false>
struct StepJacobian {
    static constexpr int lags = lag_count<Branches, Transfer>;
    // Of u_1 .. u_N, then w of a cell with charge transfer.
    Real branch_by_branch[lags]{};   ///< d u_i' / d u_i = a_i.
    Real branch_by_soc[lags]{};      ///< d u_i' / d soc, through R_i and tau_i.
    Real branch_end_V[lags]{};       ///< Not a derivative: R_i I, where u_i' is heading.
    Real branch_by_end[lags]{};      ///< d u_i' / d end value = 1 - a_i, without cancellation.
    Real branch_by_current[lags]{};  ///< d u_i' / d I at the frozen R_i, tau_i.

    Real branch_by_resistance[Branches]{};  ///< d u_i' / d R_i = (1 - a_i) I.
    Real branch_by_time[Branches]{};        ///< d u_i' / d tau_i.
    Real transfer_by_log_scale{0};     ///< d w' / d ln s; this and the next two with Transfer only.
    Real transfer_by_log_exchange{0};  ///< d w' / d ln I0.
    Real transfer_by_log_time{0};      ///< d w' / d ln tau.
    Real hysteresis_by_hysteresis{1};  ///< b.
    Real hysteresis_by_end{0};         ///< 1 - b.
    Real soc_by_current{0};            ///< d soc' / d I.
    Real soc_by_capacity{0};           ///< d soc' / d Q, per Ah.
};

/// Voltage and its derivatives at one state and current.
template <class Real, int Branches, bool Transfer = false>
struct VoltagePoint {
    Real voltage_V{0};
    Real ocv_V{0};          ///< OCV of the walked branch: mean + h half_gap.
    Real overvoltage_V{0};  ///< voltage_V - ocv_V = r (R0 I + sum u_i).
    Real entropy_V_per_K{0};
    Real by_soc{0};                 ///< d V / d soc, R0's own slope included.
    Real ocv_by_soc{0};             ///< Of it, that of the OCV.
    Real by_branch{0};              ///< d V / d u_i = r, the same for every branch.
    Real by_hysteresis{0};          ///< d V / d h.
    Real by_log_scale{0};           ///< d V / d ln r.
    Real by_r0{0};                  ///< d V / d R0.
    Real by_current{0};             ///< d V / d I.
    bool temperature_inside{true};  ///< The resistance table covers this temperature.
};

/// SOC gained in a step by the current alone (leak not included).
template <class Real, int Branches, bool Transfer>
[[nodiscard]] inline Real soc_gain(const CellParameters<Real, Branches, Transfer>& cell,
                                   Real current_A, Real dt_s) noexcept {
    const Real efficiency = current_A > Real(0) ? cell.coulombic_efficiency : Real(1);
    return efficiency * current_A * dt_s / (seconds_per_hour<Real> * cell.capacity_Ah);
}

/// Moves the state on by one step.
/// \param temperature where input.temperature_degC lies on the axis of the resistance table: who
///        also asks for the voltage looks it up once.
/// \param place receives where in the resistance table the middle of the step lies.
/// \param jacobian when not null, receives the derivatives of this step.
template <class Real, int Branches, bool Transfer>
inline void step(const CellParameters<Real, Branches, Transfer>& cell, const CellInput<Real>& input,
                 const AxisPosition<Real>& temperature,
                 ResistancePlace<Real, Branches, Transfer>& place,
                 CellState<Real, Branches, Transfer>& state,
                 StepJacobian<Real, Branches, Transfer>* jacobian = nullptr) noexcept {
    const Real gain = soc_gain(cell, input.current_A, input.dt_s);
    const Real middle_soc = state.soc + Real(0.5) * gain;
    place = resistance_place(cell.resistance, middle_soc, temperature);
    const ValueAndSlope<Real> rise =
        input.current_A > Real(0) && cell.charge_rise.resistance_ohm > Real(0)
            ? charge_rise_at(cell.charge_rise, middle_soc)
            : ValueAndSlope<Real>{};
    if (jacobian != nullptr) {
        const Real per_current = input.current_A > Real(0) ? cell.coulombic_efficiency : Real(1);
        jacobian->soc_by_current =
            per_current * input.dt_s / (seconds_per_hour<Real> * cell.capacity_Ah);
        jacobian->soc_by_capacity = -gain / cell.capacity_Ah;
    }
    // The branches and the hysteresis side by side: both relax towards where the current drives
    // them.
    constexpr int lanes = Branches + 1;
    constexpr int at_hysteresis = Branches;
    using Values = detail::Lanes<Real, lanes>;
    using Node = ResistanceNode<Real, Branches, Transfer>;
    const auto time =
        place.blend_branches([](const Node& node) { return node.branch_time_s; }, Real(1));
    auto resistance = place.blend_branches([](const Node& node) { return node.branch_ohm; });
    if (rise.value > Real(0)) {
        const int at = rise_branch(cell.charge_rise.branch, Branches);
        resistance.value.set(at, resistance.value.get(at) + rise.value);
        resistance.slope.set(at, resistance.slope.get(at) + rise.slope);
    }
    const auto per_time = Real(1) / time.value;
    const Real walked = std::abs(gain);
    const Real target = input.current_A > Real(0)
                            ? Real(1)
                            : (input.current_A < Real(0) ? Real(-1) : state.hysteresis);
    const auto with_hysteresis = [](const auto& branches, Real hysteresis) {
        return Values::made_of([&](int i) { return i < Branches ? branches.get(i) : hysteresis; });
    };
    const Values x = with_hysteresis(per_time * input.dt_s, cell.hysteresis_rate * walked);
    const Values end = with_hysteresis(resistance.value * input.current_A, target);
    const Values now =
        with_hysteresis(detail::Lanes<Real, Branches>::load(state.branch_V), state.hysteresis);
    const Values share = detail::relaxed_fraction(x);
    const Values distance = end - now;
    const Values next = now + share * distance;
    if (jacobian != nullptr) {
        const Values kept = Real(1) - share;
        const auto branches = [](const Values& v) { return v.template resized<Branches>(); };
        const auto lost_by_time = branches(kept * x) * per_time * branches(distance);
        const auto by_resistance = branches(share) * input.current_A;
        const auto by_current = branches(share) * resistance.value;
        const auto by_soc = by_resistance * resistance.slope - lost_by_time * time.slope;
#pragma GCC unroll 4
        for (int i = 0; i < Branches; ++i) {
            jacobian->branch_by_branch[i] = kept.get(i);
            jacobian->branch_end_V[i] = end.get(i);
            jacobian->branch_by_end[i] = share.get(i);
            jacobian->branch_by_resistance[i] = by_resistance.get(i);
            jacobian->branch_by_time[i] = -lost_by_time.get(i);
            jacobian->branch_by_current[i] = by_current.get(i);
            jacobian->branch_by_soc[i] = by_soc.get(i);
        }
        jacobian->hysteresis_by_hysteresis = kept.get(at_hysteresis);
        jacobian->hysteresis_by_end = share.get(at_hysteresis);
    }
#pragma GCC unroll 4
    for (int i = 0; i < Branches; ++i)
        state.branch_V[i] = next.get(i);
    state.hysteresis = next.get(at_hysteresis);
    if constexpr (Transfer) {
        const auto scale = place.blend([](const Node& node) { return node.transfer.scale_V; });
        const auto exchange =
            place.blend([](const Node& node) { return node.transfer.exchange_current_A; });
        const auto transfer_time =
            place.blend([](const Node& node) { return node.transfer.time_s; });
        const ChargeTransferStep<Real> moved = charge_transfer_step(
            ChargeTransfer<Real>{scale.value, exchange.value, transfer_time.value},
            state.branch_V[Branches], input.current_A, input.dt_s);
        state.branch_V[Branches] = moved.voltage_V;
        if (jacobian != nullptr) {
            jacobian->branch_by_branch[Branches] = moved.by_voltage;
            jacobian->branch_end_V[Branches] = moved.end_V;
            jacobian->branch_by_end[Branches] = Real(1) - moved.by_voltage;
            jacobian->branch_by_current[Branches] = moved.by_current;
            jacobian->branch_by_soc[Branches] =
                moved.by_log_exchange * exchange.slope / exchange.value +
                moved.by_log_time * transfer_time.slope / transfer_time.value +
                (scale.value > Real(0) ? moved.by_log_scale * scale.slope / scale.value : Real(0));
            jacobian->transfer_by_log_scale = moved.by_log_scale;
            jacobian->transfer_by_log_exchange = moved.by_log_exchange;
            jacobian->transfer_by_log_time = moved.by_log_time;
        }
    }
    add_compensated(state.soc, state.soc_carry, gain - cell.self_discharge_per_s * input.dt_s);
}

/// The same, for who does not ask for the place.
template <class Real, int Branches, bool Transfer>
inline void step(const CellParameters<Real, Branches, Transfer>& cell, const CellInput<Real>& input,
                 const AxisPosition<Real>& temperature, CellState<Real, Branches, Transfer>& state,
                 StepJacobian<Real, Branches, Transfer>* jacobian = nullptr) noexcept {
    ResistancePlace<Real, Branches, Transfer> place;
    step(cell, input, temperature, place, state, jacobian);
}

/// The same, for who asks for one step only.
template <class Real, int Branches, bool Transfer>
inline void step(const CellParameters<Real, Branches, Transfer>& cell, const CellInput<Real>& input,
                 CellState<Real, Branches, Transfer>& state,
                 StepJacobian<Real, Branches, Transfer>* jacobian = nullptr) noexcept {
    step(cell, input, locate(cell.resistance.temperature_degC, input.temperature_degC), state,
         jacobian);
}

/// Terminal voltage, and its derivatives, at a state while `current_A` flows.
/// \param place where the SOC of the state and the temperature lie in the resistance table.
template <class Real, int Branches, bool Transfer>
[[nodiscard]] inline VoltagePoint<Real, Branches, Transfer> voltage_at(
    const CellParameters<Real, Branches, Transfer>& cell,
    const CellState<Real, Branches, Transfer>& state, Real current_A, Real temperature_degC,
    const ResistancePlace<Real, Branches, Transfer>& place) noexcept {
    const OcvPoint<Real> ocv = ocv_at(cell.ocv, state.soc, temperature_degC);
    const ValueAndSlope<Real> r0 = place.r0_ohm();
    Real sum = r0.value * current_A;
#pragma GCC unroll 4
    for (int i = 0; i < state.lags; ++i)
        sum += state.branch_V[i];
    const Real r = state.resistance_scale;
    VoltagePoint<Real, Branches, Transfer> point;
    point.overvoltage_V = r * sum;
    point.ocv_V = ocv.mean_V + state.hysteresis * ocv.half_gap_V;
    point.voltage_V = point.ocv_V + point.overvoltage_V;
    point.entropy_V_per_K = ocv.entropy_V_per_K;
    point.ocv_by_soc = ocv.slope_V + state.hysteresis * ocv.half_gap_slope_V;
    point.by_soc = point.ocv_by_soc + r * r0.slope * current_A;
    point.by_branch = r;
    point.by_hysteresis = ocv.half_gap_V;
    point.by_log_scale = point.overvoltage_V;
    point.by_r0 = r * current_A;
    point.by_current = r * r0.value;
    point.temperature_inside = place.temperature_inside;
    return point;
}

/// The same from where temperature_degC lies on the axis of the resistance table.
template <class Real, int Branches, bool Transfer>
[[nodiscard]] inline VoltagePoint<Real, Branches, Transfer> voltage_at(
    const CellParameters<Real, Branches, Transfer>& cell,
    const CellState<Real, Branches, Transfer>& state, Real current_A, Real temperature_degC,
    const AxisPosition<Real>& temperature) noexcept {
    return voltage_at(cell, state, current_A, temperature_degC,
                      resistance_place(cell.resistance, state.soc, temperature));
}

/// The same, for who asks for one voltage only.
template <class Real, int Branches, bool Transfer>
[[nodiscard]] inline VoltagePoint<Real, Branches, Transfer> voltage_at(
    const CellParameters<Real, Branches, Transfer>& cell,
    const CellState<Real, Branches, Transfer>& state, Real current_A,
    Real temperature_degC) noexcept {
    return voltage_at(cell, state, current_A, temperature_degC,
                      locate(cell.resistance.temperature_degC, temperature_degC));
}

}  // namespace voltkeel

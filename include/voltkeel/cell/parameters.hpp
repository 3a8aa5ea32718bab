#pragma once
/// \file parameters.hpp
/// What one cell (or one parallel group taken as a cell) is.

#include "voltkeel/cell/finite.hpp"
#include "voltkeel/cell/heat.hpp"
#include "voltkeel/cell/ocv.hpp"
#include "voltkeel/cell/resistance.hpp"
#include "voltkeel/status.hpp"

namespace voltkeel {

/// More resistance to a charging current near full, in one of the branches: pulse tests cannot show
/// it, a rest after a slow charge does. The extra rises with the square of the way from nothing at
/// `soc_start` to `resistance_ohm` at SOC 1.
template <class Real>
struct ChargeRise {
    Real soc_start{Real(0.8)};  ///< 0 .. 0.99.
    Real resistance_ohm{0};     ///< >= 0; 0 switches it off.
    int branch{-1};             ///< From 0, the fastest; -1 is the slowest.
};

/// The branch that has the rise. \param branches how many there are
[[nodiscard]] constexpr int rise_branch(int branch, int branches) noexcept {
    return branch < 0 || branch >= branches ? branches - 1 : branch;
}

/// Extra resistance of its branch to a charging current, and its slope with SOC.
template <class Real>
[[nodiscard]] inline ValueAndSlope<Real> charge_rise_at(const ChargeRise<Real>& rise,
                                                        Real soc) noexcept {
    if (!(soc > rise.soc_start)) return {Real(0), Real(0)};
    if (soc >= Real(1)) return {rise.resistance_ohm, Real(0)};
    const Real per_way = Real(1) / (Real(1) - rise.soc_start);
    const Real way = (soc - rise.soc_start) * per_way;
    return {rise.resistance_ohm * way * way, Real(2) * rise.resistance_ohm * way * per_way};
}

/// Parameters of the cell model. Tables are views; their owner must outlive this object.
template <class Real, int Branches, bool Transfer = false>
struct CellParameters {
    Real capacity_Ah{0};           ///< Charge between SOC 0 and 1, > 0.
    Real coulombic_efficiency{1};  ///< Share of the charge put in that stays, (0.5, 1].
    Real self_discharge_per_s{0};  ///< SOC lost per second, >= 0.
    Real hysteresis_rate{0};       ///< gamma: change of hysteresis per unit of SOC walked, >= 0.
    OcvTable<Real> ocv{};
    ResistanceTable<Real, Branches, Transfer> resistance{};
    ChargeRise<Real> charge_rise{};
    ThermalParameters<Real> thermal{};
};

/// Checks every field and table node.
/// \return the first finding, with field, index, value and the bound it broke; status ok when all
/// is well.
template <class Real, int Branches, bool Transfer>
[[nodiscard]] Finding<Real> validate(
    const CellParameters<Real, Branches, Transfer>& cell) noexcept {
    using detail::finite;
    const auto in_range = [](const char* field, int index, Real value, Real low,
                             Real high) -> Finding<Real> {
        if (!finite(value)) return {Status::not_finite, field, index, value, low};
        if (value < low) return {Status::out_of_range, field, index, value, low};
        if (value > high) return {Status::out_of_range, field, index, value, high};
        return {};
    };
    Finding<Real> f = in_range("capacity_Ah", -1, cell.capacity_Ah, Real(1e-4), Real(1e5));
    if (f.status != Status::ok) return f;
    f = in_range("coulombic_efficiency", -1, cell.coulombic_efficiency, Real(0.5), Real(1));
    if (f.status != Status::ok) return f;
    f = in_range("self_discharge_per_s", -1, cell.self_discharge_per_s, Real(0), Real(1e-3));
    if (f.status != Status::ok) return f;
    f = in_range("hysteresis_rate", -1, cell.hysteresis_rate, Real(0), Real(1e5));
    if (f.status != Status::ok) return f;
    if (cell.ocv.nodes == nullptr || cell.ocv.count < 2) {
        return {Status::missing_table, "ocv", -1, static_cast<Real>(cell.ocv.count), Real(2)};
    }
    for (int k = 0; k < cell.ocv.count; ++k) {
        const OcvNode<Real>& node = cell.ocv.nodes[k];
        f = in_range("ocv.mean_V", k, node.mean_V, Real(-10), Real(10));
        if (f.status != Status::ok) return f;
        f = in_range("ocv.half_gap_V", k, node.half_gap_V, Real(0), Real(1));
        if (f.status != Status::ok) return f;
        f = in_range("ocv.entropy_V_per_K", k, node.entropy_V_per_K, Real(-0.01), Real(0.01));
        if (f.status != Status::ok) return f;
        if (k > 0 && !(node.mean_V > cell.ocv.nodes[k - 1].mean_V)) {
            return {Status::not_increasing, "ocv.mean_V", k, node.mean_V,
                    cell.ocv.nodes[k - 1].mean_V};
        }
    }
    f = in_range("ocv.reference_temperature_degC", -1, cell.ocv.reference_temperature_degC,
                 Real(-100), Real(200));
    if (f.status != Status::ok) return f;
    const auto& table = cell.resistance;
    const UniformAxis<Real>* const axes[] = {&table.soc, &table.temperature_degC};
    const char* const names[] = {"resistance.soc", "resistance.temperature_degC"};
    for (int k = 0; k < 2; ++k) {
        const UniformAxis<Real>& axis = *axes[k];
        if (table.nodes == nullptr || axis.count < 2) {
            return {Status::missing_table, names[k], -1, static_cast<Real>(axis.count), Real(2)};
        }
        f = in_range(names[k], -1, axis.first, Real(-1e4), Real(1e4));
        if (f.status != Status::ok) return f;
        f = in_range(names[k], -1, axis.step, Real(1e-6), Real(1e4));
        if (f.status != Status::ok) return f;
        f = in_range(names[k], -1, axis.step * axis.inverse_step, Real(0.999), Real(1.001));
        if (f.status != Status::ok) return f;
    }
    const int nodes = table.soc.count * table.temperature_degC.count;
    for (int k = 0; k < nodes; ++k) {
        f = in_range("resistance.r0_ohm", k, table.nodes[k].r0_ohm, Real(0), Real(1e4));
        if (f.status != Status::ok) return f;
        for (int i = 0; i < Branches; ++i) {
            f = in_range("resistance.branch_ohm", k, table.nodes[k].branch_ohm[i], Real(0),
                         Real(1e4));
            if (f.status != Status::ok) return f;
            f = in_range("resistance.branch_time_s", k, table.nodes[k].branch_time_s[i], Real(1e-3),
                         Real(1e7));
            if (f.status != Status::ok) return f;
        }
        if constexpr (Transfer) {
            const ChargeTransfer<Real>& transfer = table.nodes[k].transfer;
            f = in_range("resistance.transfer.scale_V", k, transfer.scale_V, Real(0), Real(2));
            if (f.status != Status::ok) return f;
            f = in_range("resistance.transfer.exchange_current_A", k, transfer.exchange_current_A,
                         Real(1e-6), Real(1e6));
            if (f.status != Status::ok) return f;
            f = in_range("resistance.transfer.time_s", k, transfer.time_s, Real(1e-4), Real(1e6));
            if (f.status != Status::ok) return f;
        }
    }
    f = in_range("charge_rise.soc_start", -1, cell.charge_rise.soc_start, Real(0), Real(0.99));
    if (f.status != Status::ok) return f;
    f = in_range("charge_rise.resistance_ohm", -1, cell.charge_rise.resistance_ohm, Real(0),
                 Real(1e3));
    if (f.status != Status::ok) return f;
    f = in_range("charge_rise.branch", -1, static_cast<Real>(cell.charge_rise.branch), Real(-1),
                 Real(Branches - 1));
    if (f.status != Status::ok) return f;
    f = in_range("thermal.heat_capacity_J_per_K", -1, cell.thermal.heat_capacity_J_per_K,
                 Real(1e-3), Real(1e7));
    if (f.status != Status::ok) return f;
    f = in_range("thermal.resistance_K_per_W", -1, cell.thermal.resistance_K_per_W, Real(1e-5),
                 Real(1e5));
    if (f.status != Status::ok) return f;
    f = in_range("thermal.core_resistance_K_per_W", -1, cell.thermal.core_resistance_K_per_W,
                 Real(0), Real(1e5));
    if (f.status != Status::ok || !cell.thermal.has_core()) return f;
    f = in_range("thermal.core_resistance_K_per_W", -1, cell.thermal.core_resistance_K_per_W,
                 Real(1e-5), Real(1e5));
    if (f.status != Status::ok) return f;
    return in_range("thermal.core_heat_capacity_J_per_K", -1,
                    cell.thermal.core_heat_capacity_J_per_K,
                    Real(0.01) * cell.thermal.heat_capacity_J_per_K,
                    Real(0.99) * cell.thermal.heat_capacity_J_per_K);
}

}  // namespace voltkeel

#pragma once
/// \file resistance.hpp
/// Ohmic resistance, RC branches and charge transfer over SOC and temperature.

#include "voltkeel/cell/charge_transfer.hpp"
#include "voltkeel/cell/lanes.hpp"
#include "voltkeel/cell/table.hpp"

namespace voltkeel {

/// Values at one node. `Branches` is 1..4; branch 0 is the fastest. A cell with `Transfer` has a
/// charge-transfer branch besides.
template <class Real, int Branches, bool Transfer = false>
struct ResistanceNode {
    static_assert(Branches >= 1 && Branches <= 4, "a cell model has 1 to 4 RC branches");
    Real r0_ohm{0};                  ///< Seen at once.
    Real branch_ohm[Branches]{};     ///< End value of each branch per ampere.
    Real branch_time_s[Branches]{};  ///< Time constant of each branch.
};
/// With charge transfer. (Two definitions, so that a cell without it has not a byte more.)
template <class Real, int Branches>
struct ResistanceNode<Real, Branches, true> {
    static_assert(Branches >= 1 && Branches <= 4, "a cell model has 1 to 4 RC branches");
    Real r0_ohm{0};
    Real branch_ohm[Branches]{};
    Real branch_time_s[Branches]{};
    ChargeTransfer<Real> transfer{};
};

/// View of a table: node (t, s) is `nodes[t * soc.count + s]`. Linear in between, held at the ends.
/// The resistance law in temperature (Arrhenius) is worked into the node values when the table is
/// made, with nodes so close that the straight line between them stays within a fraction of a
/// percent (2.5 K where this library makes the table).
template <class Real, int Branches, bool Transfer = false>
struct ResistanceTable {
    const ResistanceNode<Real, Branches, Transfer>* nodes{nullptr};
    UniformAxis<Real> soc{};
    UniformAxis<Real> temperature_degC{};
};

/// Values and their derivative with SOC at one place.
template <class Real, int Branches, bool Transfer = false>
struct ResistancePoint {
    ResistanceNode<Real, Branches, Transfer> value{};
    ResistanceNode<Real, Branches, Transfer> slope{};  ///< d value / d soc; zero outside SOC 0..1.
    bool temperature_inside{true};
};

/// One quantity and its derivative with SOC.
template <class Real>
struct ValueAndSlope {
    Real value{0};
    Real slope{0};
};

namespace detail {
/// The same quantity of every branch.
template <class Real, int Branches>
struct BranchLanes {
    Lanes<Real, Branches> value;
    Lanes<Real, Branches> slope;
};
}  // namespace detail

/// A place in a resistance table: the four nodes around it and how far between them it lies.
template <class Real, int Branches, bool Transfer = false>
struct ResistancePlace {
    const ResistanceNode<Real, Branches, Transfer>* cold{
        nullptr};  ///< Node at lower SOC and temperature; cold[1] is at higher SOC.
    const ResistanceNode<Real, Branches, Transfer>* warm{
        nullptr};  ///< The same one temperature up.
    Real soc_fraction{0};
    Real temperature_fraction{0};
    Real per_soc{0};          ///< 1 / SOC step, 0 outside SOC 0..1 where values are held.
    Real soc_index{nowhere};  ///< Number of the node at lower SOC; `nowhere` outside SOC 0..1.
    bool temperature_inside{true};
    /// No SOC is so far from anywhere that it would seem to lie behind such a node.
    static constexpr Real nowhere = Real(1e9);

    /// Bilinear value of the quantity that `of` picks from a node.
    template <class Pick>
    [[nodiscard]] ValueAndSlope<Real> blend(Pick of) const noexcept {
        const Real left = of(cold[0]) + temperature_fraction * (of(warm[0]) - of(cold[0]));
        const Real step = (of(cold[1]) + temperature_fraction * (of(warm[1]) - of(cold[1]))) - left;
        return {left + soc_fraction * step, step * per_soc};
    }
    /// The same of an array with an entry for every branch; `fill` in the lanes beyond.
    template <class Pick>
    [[nodiscard]] detail::BranchLanes<Real, Branches> blend_branches(
        Pick of, Real fill = Real(0)) const noexcept {
        using Values = detail::Lanes<Real, Branches>;
        const auto at = [&](const auto& node) { return Values::load(of(node), fill); };
        const Values cold_left = at(cold[0]);
        const Values cold_right = at(cold[1]);
        const Values left = cold_left + temperature_fraction * (at(warm[0]) - cold_left);
        const Values step = (cold_right + temperature_fraction * (at(warm[1]) - cold_right)) - left;
        return {left + soc_fraction * step, step * per_soc};
    }
    [[nodiscard]] ValueAndSlope<Real> r0_ohm() const noexcept {
        return blend(
            [](const ResistanceNode<Real, Branches, Transfer>& node) { return node.r0_ohm; });
    }
};

/// Finds the nodes around an SOC and a place on the temperature axis; outside the table the nearest
/// edge.
template <class Real, int Branches, bool Transfer>
[[nodiscard]] inline ResistancePlace<Real, Branches, Transfer> resistance_place(
    const ResistanceTable<Real, Branches, Transfer>& table, Real soc,
    const AxisPosition<Real>& t) noexcept {
    const AxisPosition<Real> s = locate(table.soc, soc);
    ResistancePlace<Real, Branches, Transfer> place;
    place.cold = table.nodes + (t.index * table.soc.count + s.index);
    place.warm = place.cold + table.soc.count;
    place.soc_fraction = s.fraction;
    place.temperature_fraction = t.fraction;
    place.soc_index = s.inside ? static_cast<Real>(s.index) : place.nowhere;
    place.per_soc = s.inside ? table.soc.inverse_step : Real(0);
    place.temperature_inside = t.inside;
    return place;
}

/// Moves a place to another SOC at the same temperature: to the same bits as looking it up, at less
/// than half the work as long as the SOC stays between the same nodes.
template <class Real, int Branches, bool Transfer>
inline void move_place(const ResistanceTable<Real, Branches, Transfer>& table, Real soc,
                       const AxisPosition<Real>& t,
                       ResistancePlace<Real, Branches, Transfer>& place) noexcept {
    const Real fraction = (soc - table.soc.first) * table.soc.inverse_step - place.soc_index;
    if (fraction >= Real(0) && fraction < Real(1)) {
        place.soc_fraction = fraction;
    } else {
        place = resistance_place(table, soc, t);
    }
}

/// The same from a temperature.
template <class Real, int Branches, bool Transfer>
[[nodiscard]] inline ResistancePlace<Real, Branches, Transfer> resistance_place(
    const ResistanceTable<Real, Branches, Transfer>& table, Real soc,
    Real temperature_degC) noexcept {
    return resistance_place(table, soc, locate(table.temperature_degC, temperature_degC));
}

/// Bilinear lookup of all values at once.
template <class Real, int Branches, bool Transfer>
[[nodiscard]] inline ResistancePoint<Real, Branches, Transfer> resistance_at(
    const ResistanceTable<Real, Branches, Transfer>& table, Real soc,
    Real temperature_degC) noexcept {
    using Node = ResistanceNode<Real, Branches, Transfer>;
    const ResistancePlace<Real, Branches, Transfer> place =
        resistance_place(table, soc, temperature_degC);
    ResistancePoint<Real, Branches, Transfer> point;
    point.temperature_inside = place.temperature_inside;
    const auto set = [](ValueAndSlope<Real> from, Real& value, Real& slope) {
        value = from.value;
        slope = from.slope;
    };
    set(place.r0_ohm(), point.value.r0_ohm, point.slope.r0_ohm);
#pragma GCC unroll 4
    for (int i = 0; i < Branches; ++i) {
        set(place.blend([i](const Node& node) { return node.branch_ohm[i]; }),
            point.value.branch_ohm[i], point.slope.branch_ohm[i]);
        set(place.blend([i](const Node& node) { return node.branch_time_s[i]; }),
            point.value.branch_time_s[i], point.slope.branch_time_s[i]);
    }
    if constexpr (Transfer) {
        set(place.blend([](const Node& node) { return node.transfer.scale_V; }),
            point.value.transfer.scale_V, point.slope.transfer.scale_V);
        set(place.blend([](const Node& node) { return node.transfer.exchange_current_A; }),
            point.value.transfer.exchange_current_A, point.slope.transfer.exchange_current_A);
        set(place.blend([](const Node& node) { return node.transfer.time_s; }),
            point.value.transfer.time_s, point.slope.transfer.time_s);
    }
    return point;
}

/// Resistance of the cell to a small current that has flowed long enough: R0 plus every branch.
template <class Real, int Branches, bool Transfer>
[[nodiscard]] inline Real direct_current_resistance_ohm(
    const ResistanceNode<Real, Branches, Transfer>& node) noexcept {
    Real sum = node.r0_ohm;
#pragma GCC unroll 4
    for (int i = 0; i < Branches; ++i)
        sum += node.branch_ohm[i];
    if constexpr (Transfer) sum += node.transfer.scale_V / node.transfer.exchange_current_A;
    return sum;
}

}  // namespace voltkeel

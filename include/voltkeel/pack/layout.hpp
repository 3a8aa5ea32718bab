#pragma once
/// \file
/// How many cells a pack has and how they are joined: `parallel` cells make a group with one
/// voltage, `series` groups make the pack. Units and signs as in voltkeel/units.hpp.
///
/// The conversions take all cells to be equal, in capacity, resistance and temperature. In a real
/// pack the cells of a group share the current by their resistances, and the weakest group ends a
/// discharge: where single groups are measured, use the measurements.

#include "voltkeel/status.hpp"

namespace voltkeel {

/// Cells in parallel per group and groups in series. One string only; a pack of several strings is
/// several layouts.
template <class Real>
struct PackLayout {
    static constexpr int largest_count = 10000;  ///< Of each; keeps their product within an int.
    int series{1};                               ///< Groups in series, 1 to `largest_count`.
    int parallel{1};                             ///< Cells per group, 1 to `largest_count`.
};

/// Checks both counts; see validate(CellParameters).
template <class Real>
[[nodiscard]] constexpr Finding<Real> validate(const PackLayout<Real>& layout) noexcept {
    constexpr int largest = PackLayout<Real>::largest_count;
    const auto bound = [](int count) { return count < 1 ? Real(1) : Real(largest); };
    if (layout.series < 1 || layout.series > largest) {
        return {Status::out_of_range, "series", -1, static_cast<Real>(layout.series),
                bound(layout.series)};
    }
    if (layout.parallel < 1 || layout.parallel > largest) {
        return {Status::out_of_range, "parallel", -1, static_cast<Real>(layout.parallel),
                bound(layout.parallel)};
    }
    return {};
}

/// Number of cells in the pack.
template <class Real>
[[nodiscard]] constexpr int cell_count(const PackLayout<Real>& layout) noexcept {
    return layout.series * layout.parallel;
}

/// Current of each cell, in A, from the current of the pack; both positive when charging.
template <class Real>
[[nodiscard]] constexpr Real cell_current_A(const PackLayout<Real>& layout,
                                            Real pack_current_A) noexcept {
    return pack_current_A / static_cast<Real>(layout.parallel);
}

/// Current of the pack, in A, from the current of each cell; both positive when charging.
template <class Real>
[[nodiscard]] constexpr Real pack_current_A(const PackLayout<Real>& layout,
                                            Real cell_current_A) noexcept {
    return cell_current_A * static_cast<Real>(layout.parallel);
}

/// Voltage of the pack, in V, from the voltage that all groups have (or their mean). Without the
/// drop over busbars and fuses.
template <class Real>
[[nodiscard]] constexpr Real pack_voltage_V(const PackLayout<Real>& layout,
                                            Real group_voltage_V) noexcept {
    return group_voltage_V * static_cast<Real>(layout.series);
}

/// Capacity of the pack, in Ah, from that of each cell. A pack out of balance gives less.
template <class Real>
[[nodiscard]] constexpr Real pack_capacity_Ah(const PackLayout<Real>& layout,
                                              Real cell_capacity_Ah) noexcept {
    return cell_capacity_Ah * static_cast<Real>(layout.parallel);
}

/// Power of the pack, in W, from the power of each cell; both positive when charging.
template <class Real>
[[nodiscard]] constexpr Real pack_power_W(const PackLayout<Real>& layout,
                                          Real cell_power_W) noexcept {
    return cell_power_W * static_cast<Real>(cell_count(layout));
}

/// Power of each cell, in W, from the power of the pack; both positive when charging.
template <class Real>
[[nodiscard]] constexpr Real cell_power_W(const PackLayout<Real>& layout,
                                          Real pack_power_W) noexcept {
    return pack_power_W / static_cast<Real>(cell_count(layout));
}

}  // namespace voltkeel

#pragma once
/// \file plan.hpp
/// How a cell is charged: constant current, then constant voltage, in zones of temperature.

#include "voltkeel/cell/parameters.hpp"
#include "voltkeel/status.hpp"

namespace voltkeel {

/// Current and voltage allowed while the cell is between two temperatures.
template <class Real>
struct ChargeZone {
    Real temperature_min_degC{0};   ///< Included.
    Real temperature_max_degC{45};  ///< Excluded, except in the last zone.
    Real current_A{0};              ///< Constant-current phase, > 0.
    Real voltage_V{0};              ///< Constant-voltage phase.
};

/// A CC-CV plan: zones in order of temperature without overlap. Outside every zone nothing is
/// charged.
template <class Real>
struct ChargePlan {
    static constexpr int zone_capacity = 8;
    ChargeZone<Real> zones[zone_capacity]{};
    int zone_count{0};
    Real end_current_A{0};  ///< Full when the constant-voltage current has fallen to this.
};

/// The zone for a temperature, or null when charging is not allowed there.
template <class Real>
[[nodiscard]] inline const ChargeZone<Real>* zone_for(const ChargePlan<Real>& plan,
                                                      Real temperature_degC) noexcept {
    for (int k = 0; k < plan.zone_count; ++k) {
        const ChargeZone<Real>& zone = plan.zones[k];
        const bool below_top = k + 1 == plan.zone_count
                                   ? temperature_degC <= zone.temperature_max_degC
                                   : temperature_degC < zone.temperature_max_degC;
        if (temperature_degC >= zone.temperature_min_degC && below_top) return &zone;
    }
    return nullptr;
}

/// Checks the plan; see validate(CellParameters).
template <class Real>
[[nodiscard]] Finding<Real> validate(const ChargePlan<Real>& plan) noexcept {
    using detail::finite;
    if (plan.zone_count < 1 || plan.zone_count > ChargePlan<Real>::zone_capacity) {
        return {Status::out_of_range, "zone_count", -1, static_cast<Real>(plan.zone_count),
                static_cast<Real>(ChargePlan<Real>::zone_capacity)};
    }
    if (!finite(plan.end_current_A))
        return {Status::not_finite, "end_current_A", -1, plan.end_current_A, Real(0)};
    for (int k = 0; k < plan.zone_count; ++k) {
        const ChargeZone<Real>& zone = plan.zones[k];
        if (!finite(zone.temperature_min_degC) || !finite(zone.temperature_max_degC) ||
            !finite(zone.current_A) || !finite(zone.voltage_V)) {
            return {Status::not_finite, "zones", k, zone.current_A, Real(0)};
        }
        if (!(zone.temperature_min_degC < zone.temperature_max_degC)) {
            return {Status::out_of_range, "zones.temperature_max_degC", k,
                    zone.temperature_max_degC, zone.temperature_min_degC};
        }
        if (k > 0 && zone.temperature_min_degC < plan.zones[k - 1].temperature_max_degC) {
            return {Status::not_increasing, "zones.temperature_min_degC", k,
                    zone.temperature_min_degC, plan.zones[k - 1].temperature_max_degC};
        }
        if (!(zone.current_A > plan.end_current_A)) {
            return {Status::out_of_range, "zones.current_A", k, zone.current_A, plan.end_current_A};
        }
        if (!(zone.voltage_V > Real(0)))
            return {Status::out_of_range, "zones.voltage_V", k, zone.voltage_V, Real(0)};
    }
    if (!(plan.end_current_A > Real(0)))
        return {Status::out_of_range, "end_current_A", -1, plan.end_current_A, Real(0)};
    return {};
}

}  // namespace voltkeel

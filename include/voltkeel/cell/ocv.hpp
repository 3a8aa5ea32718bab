#pragma once
/// \file ocv.hpp
/// Open-circuit voltage over SOC and temperature: value, slope, hysteresis and inverse.
///
///     OCV(soc, T, h) = mean(soc) + (T - T_ref) * entropy(soc) + h * half_gap(soc),   h in [-1, 1]
///
/// `mean` lies midway between the charge branch (h = +1) and the discharge branch (h = -1);
/// `half_gap` is half their distance. Linear between nodes. Below SOC 0 and above SOC 1 the
/// outermost interval is extended, so that a filter slightly outside still sees a slope.

#include "voltkeel/cell/finite.hpp"
#include "voltkeel/cell/table.hpp"
#include "voltkeel/status.hpp"

namespace voltkeel {

/// One node of the table.
template <class Real>
struct OcvNode {
    Real mean_V{0};  ///< Midway between charge and discharge branch at the reference temperature.
    Real half_gap_V{0};       ///< (charge branch - discharge branch) / 2, not negative.
    Real entropy_V_per_K{0};  ///< dOCV/dT.
};

/// View of a table with nodes evenly spaced over SOC 0..1.
template <class Real>
struct OcvTable {
    const OcvNode<Real>* nodes{nullptr};
    int count{0};  ///< Nodes, at least 2; node 0 is SOC 0, the last one SOC 1.
    Real reference_temperature_degC{25};
};

/// Everything about the OCV at one SOC and temperature.
template <class Real>
struct OcvPoint {
    Real mean_V{0};
    Real slope_V{0};  ///< d mean / d soc, V per unit SOC.
    Real half_gap_V{0};
    Real half_gap_slope_V{0};  ///< d half_gap / d soc.
    Real entropy_V_per_K{0};
};

/// Looks up the OCV.
/// \param soc 0..1; outside, mean_V continues with the slope of the outermost interval.
template <class Real>
[[nodiscard]] inline OcvPoint<Real> ocv_at(const OcvTable<Real>& table, Real soc,
                                           Real temperature_degC) noexcept {
    const Real last = static_cast<Real>(table.count - 1);
    const Real t = soc * last;
    int index = 0;  // below, or NaN
    bool within = true;
    if (t >= last) {
        index = table.count - 2;
        within = t == last;
    } else if (t >= Real(0)) {
        index = static_cast<int>(t);
    } else {
        within = false;
    }
    const Real fraction = t - static_cast<Real>(index);
    const Real inside = within ? fraction : (t > Real(0) ? Real(1) : Real(0));
    const OcvNode<Real>& a = table.nodes[index];
    const OcvNode<Real>& b = table.nodes[index + 1];
    const Real above_reference_K = temperature_degC - table.reference_temperature_degC;
    const Real mean_step = b.mean_V - a.mean_V;
    const Real gap_step = b.half_gap_V - a.half_gap_V;
    const Real entropy_step = b.entropy_V_per_K - a.entropy_V_per_K;
    OcvPoint<Real> point;
    point.entropy_V_per_K = a.entropy_V_per_K + inside * entropy_step;
    point.mean_V = a.mean_V + fraction * mean_step + above_reference_K * point.entropy_V_per_K;
    point.slope_V = last * (mean_step + (within ? above_reference_K * entropy_step : Real(0)));
    point.half_gap_V = a.half_gap_V + inside * gap_step;
    point.half_gap_slope_V = within ? last * gap_step : Real(0);
    return point;
}

/// SOC at which the OCV equals `voltage_V`, by bisection over nodes and the exact inverse inside an
/// interval. \param hysteresis h in [-1, 1]: which branch is walked. \param soc receives the answer
/// in [0, 1]. \return ok; voltage_out_of_range when the voltage lies outside the table (soc is then
/// the nearest end);
///         sample_not_finite (soc unchanged) for NaN or infinity.
template <class Real>
[[nodiscard]] inline Status soc_from_ocv(const OcvTable<Real>& table, Real voltage_V,
                                         Real temperature_degC, Real hysteresis,
                                         Real& soc) noexcept {
    if (!detail::finite(voltage_V) || !detail::finite(temperature_degC) ||
        !detail::finite(hysteresis)) {
        return Status::sample_not_finite;
    }
    const Real above_reference_K = temperature_degC - table.reference_temperature_degC;
    const auto node_voltage = [&](int k) {
        const OcvNode<Real>& node = table.nodes[k];
        return node.mean_V + hysteresis * node.half_gap_V +
               above_reference_K * node.entropy_V_per_K;
    };
    int low = 0;
    int high = table.count - 1;
    if (voltage_V <= node_voltage(low)) {
        soc = Real(0);
        return voltage_V == node_voltage(low) ? Status::ok : Status::voltage_out_of_range;
    }
    if (voltage_V >= node_voltage(high)) {
        soc = Real(1);
        return voltage_V == node_voltage(high) ? Status::ok : Status::voltage_out_of_range;
    }
    while (high - low > 1) {
        const int middle = (low + high) / 2;
        (node_voltage(middle) <= voltage_V ? low : high) = middle;
    }
    const Real a = node_voltage(low);
    const Real b = node_voltage(high);
    const Real fraction = b > a ? (voltage_V - a) / (b - a) : Real(0);
    soc = (static_cast<Real>(low) + fraction) / static_cast<Real>(table.count - 1);
    return Status::ok;
}

/// How far the SOC of soc_from_ocv() is off when its voltage is off by `voltage_std_V`: the longer
/// way of both, along the curve. The slope at the place alone would be sure of a step between two
/// plateaus, where the voltage may as well belong to either. Beyond the ends of the curve the slope
/// there.
/// \param soc what soc_from_ocv() said of voltage_V
template <class Real>
[[nodiscard]] inline Real soc_std_from_ocv(const OcvTable<Real>& table, Real voltage_V,
                                           Real voltage_std_V, Real temperature_degC,
                                           Real hysteresis, Real soc) noexcept {
    Real below = soc;
    Real above = soc;
    const bool inside = soc_from_ocv(table, voltage_V - voltage_std_V, temperature_degC, hysteresis,
                                     below) == Status::ok &&
                        soc_from_ocv(table, voltage_V + voltage_std_V, temperature_degC, hysteresis,
                                     above) == Status::ok;
    Real farthest = soc - below > above - soc ? soc - below : above - soc;
    if (!inside) {
        const OcvPoint<Real> at = ocv_at(table, soc, temperature_degC);
        const Real slope_V = at.slope_V + hysteresis * at.half_gap_slope_V;
        constexpr Real least_slope_V = Real(0.02);
        const Real by_slope = voltage_std_V / (slope_V > least_slope_V ? slope_V : least_slope_V);
        if (by_slope > farthest) farthest = by_slope;
    }
    return farthest;
}

}  // namespace voltkeel

#pragma once
/// \file heat.hpp
/// Heat that a cell makes, and the temperature that follows.

///
/// Two masses in a row: the core, where the heat is made and which the cell model means by its
/// temperature, and the case, where a sensor sits and from where the heat leaves.
///
///     C_core dT_core/dt = heat - (T_core - T_case) / R_core
///     C_case dT_case/dt = (T_core - T_case) / R_core - (T_case - T_ambient) / R
///
/// Source: lumped two-state model of a cylindrical cell, Park, Jaura, SAE 2003-01-2286; Lin et al.,
/// IEEE Trans. Control Syst. Technol. 21 (2013) 1745 (from memory, not re-read). The steps below
/// are the closed solution for constant heat, not an integration: exact for any length, float
/// included, with nothing of the C library but a square root (which IEEE 754 rounds correctly).

#include <cmath>

#include "voltkeel/cell/exponential.hpp"
#include "voltkeel/units.hpp"

namespace voltkeel {

/// Thermal masses and paths of one cell. Without a core resistance the cell is one mass of one
/// temperature.
template <class Real>
struct ThermalParameters {
    Real heat_capacity_J_per_K{50};      ///< Of the whole cell: mass times specific heat, > 0.
    Real resistance_K_per_W{10};         ///< From the case to the surroundings, > 0.
    Real core_resistance_K_per_W{0};     ///< From core to case, >= 0; 0 means one mass.
    Real core_heat_capacity_J_per_K{0};  ///< The core's part of `heat_capacity_J_per_K`, 1 % to
                                         ///< 99 % of it; not read without a core resistance.

    [[nodiscard]] constexpr bool has_core() const noexcept {
        return core_resistance_K_per_W > Real(0);
    }
    /// How fast the core follows the case, in s: 63 % of the way after it.
    [[nodiscard]] constexpr Real core_time_s() const noexcept {
        return core_resistance_K_per_W * core_heat_capacity_J_per_K;
    }
};

/// Temperatures of one cell. Both are the same where the cell is one mass.
template <class Real>
struct CellTemperature {
    Real core_degC{25};  ///< Inside of the cell: what the cell model and the limits mean.
    Real case_degC{25};  ///< What a sensor on the cell shows.
};

/// Heat made in the cell (W, positive warms).
///
///     heat = I (V - OCV) + I T dOCV/dT        (charge-positive current, T in kelvin)
///
/// Source: Bernardi, Pawlikowski, Newman, J. Electrochem. Soc. 132 (1985) 5, eq. 21 without mixing
/// and phase terms (from memory, not re-read); sign changed for charge-positive current.
template <class Real>
[[nodiscard]] constexpr Real heat_W(Real current_A, Real voltage_V, Real ocv_V,
                                    Real entropy_V_per_K, Real temperature_degC) noexcept {
    return current_A * (voltage_V - ocv_V) +
           current_A * (temperature_degC + zero_celsius_K<Real>)*entropy_V_per_K;
}

/// Temperature after a step of constant heat, of a cell as one mass: exact for any length.
/// \param heat heat made in the cell in W \param ambient_degC temperature of the surroundings
template <class Real>
[[nodiscard]] inline Real temperature_after(const ThermalParameters<Real>& thermal,
                                            Real temperature_degC, Real ambient_degC, Real heat,
                                            Real dt_s) noexcept {
    const Real end_degC = ambient_degC + heat * thermal.resistance_K_per_W;
    const Real share =
        relaxed_fraction(dt_s / (thermal.heat_capacity_J_per_K * thermal.resistance_K_per_W));
    return temperature_degC + share * (end_degC - temperature_degC);
}

/// A step of one length, worked out once for any number of temperatures and heats. The step is
/// linear, so its members are its derivatives: with the end values E (both for ever at this heat)
///
///     T_core' = T_core + core_by_core (E_core - T_core) + core_by_case (E_case - T_case)
///     T_case' = T_case + case_by_core (E_core - T_core) + case_by_case (E_case - T_case)
template <class Real>
struct ThermalStep {
    Real resistance_K_per_W{0};       ///< d E_case / d heat.
    Real core_resistance_K_per_W{0};  ///< What d E_core / d heat is more.
    Real core_by_core{0};
    Real core_by_case{0};
    Real case_by_core{0};
    Real case_by_case{0};
    bool has_core{false};

    /// \param ambient_degC surroundings, held \param heat made in the core, held, in W
    [[nodiscard]] CellTemperature<Real> operator()(const CellTemperature<Real>& from,
                                                   Real ambient_degC, Real heat) const noexcept {
        const Real end_degC = ambient_degC + heat * resistance_K_per_W;
        const Real to_case_K = end_degC - from.case_degC;
        if (!has_core) {
            const Real degC = from.case_degC + case_by_case * to_case_K;
            return {degC, degC};
        }
        const Real to_core_K = (end_degC + heat * core_resistance_K_per_W) - from.core_degC;
        return {from.core_degC + (core_by_core * to_core_K + core_by_case * to_case_K),
                from.case_degC + (case_by_core * to_core_K + case_by_case * to_case_K)};
    }
};

/// The step of a cell over `dt_s` >= 0. A cell of one mass costs one exponential, a core another
/// and a square root.
///
/// With a = 1/(R_core C_core), b = 1/(R_core C_case), c = 1/(R C_case) the rates are those of
/// [[-a, a], [b, -(b + c)]]: real, apart and negative, because a b > 0. I - exp(A t) follows by
/// Sylvester's formula from how far each of both relaxes; written so that nothing but the two
/// relaxed fractions is ever subtracted.
template <class Real>
[[nodiscard]] inline ThermalStep<Real> thermal_step(const ThermalParameters<Real>& thermal,
                                                    Real dt_s) noexcept {
    ThermalStep<Real> step;
    step.resistance_K_per_W = thermal.resistance_K_per_W;
    if (!thermal.has_core()) {
        step.case_by_case =
            relaxed_fraction(dt_s / (thermal.heat_capacity_J_per_K * thermal.resistance_K_per_W));
        return step;
    }
    const Real case_J_per_K = thermal.heat_capacity_J_per_K - thermal.core_heat_capacity_J_per_K;
    const Real a = Real(1) / thermal.core_time_s();
    const Real b = Real(1) / (thermal.core_resistance_K_per_W * case_J_per_K);
    const Real c = Real(1) / (thermal.resistance_K_per_W * case_J_per_K);
    const Real half_gap = Real(0.5) * (a - (b + c));
    const Real root = std::sqrt(half_gap * half_gap + a * b);
    const Real large = root + (half_gap < Real(0) ? -half_gap : half_gap);
    const Real small = a * b / large;
    const Real more = half_gap < Real(0) ? small : large;  // root + half_gap
    const Real less = half_gap < Real(0) ? large : small;  // root - half_gap
    const Real fast_rate = Real(0.5) * (a + b + c) + root;
    const Real fast = relaxed_fraction(dt_s * fast_rate);
    const Real slow = relaxed_fraction(dt_s * (a * c / fast_rate));
    const Real scale = Real(0.5) / root;
    step.has_core = true;
    step.core_resistance_K_per_W = thermal.core_resistance_K_per_W;
    step.core_by_core = scale * (less * slow + more * fast);
    step.core_by_case = scale * a * (slow - fast);
    step.case_by_core = scale * b * (slow - fast);
    step.case_by_case = scale * (more * slow + less * fast);
    return step;
}

/// Temperatures after a step of constant heat: exact for any length.
/// \param heat heat made in the core in W \param ambient_degC temperature of the surroundings
template <class Real>
[[nodiscard]] inline CellTemperature<Real> temperature_after(const ThermalParameters<Real>& thermal,
                                                             const CellTemperature<Real>& from,
                                                             Real ambient_degC, Real heat,
                                                             Real dt_s) noexcept {
    return thermal_step(thermal, dt_s)(from, ambient_degC, heat);
}

/// Core temperature that constant heat leads to while the case stays at `case_degC`: where an
/// observer starts behind a case whose temperature is measured.
template <class Real>
[[nodiscard]] constexpr Real steady_core_degC(const ThermalParameters<Real>& thermal,
                                              Real case_degC, Real heat) noexcept {
    return case_degC + heat * thermal.core_resistance_K_per_W;
}

/// Core temperature after a step, from a case temperature measured at its start and end (a straight
/// line in between) and constant heat: exact for any length. The surroundings need not be known.
/// \param core_degC before the step \param heat heat made in the core in W
/// \return the case's temperature for a cell of one mass
template <class Real>
[[nodiscard]] inline Real core_temperature_after(const ThermalParameters<Real>& thermal,
                                                 Real core_degC, Real case_start_degC,
                                                 Real case_end_degC, Real heat,
                                                 Real dt_s) noexcept {
    if (!thermal.has_core()) return case_end_degC;
    if (!(dt_s > Real(0))) return core_degC;
    const Real x = dt_s / thermal.core_time_s();
    const Real share = relaxed_fraction(x);
    const Real target_degC = steady_core_degC(thermal, case_start_degC, heat);
    return core_degC + (share * (target_degC - core_degC) +
                        (Real(1) - share / x) * (case_end_degC - case_start_degC));
}

}  // namespace voltkeel

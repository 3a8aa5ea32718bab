#pragma once
/// \file heat.hpp
/// Heat that a cell makes, and the temperature that follows.

#include "voltkeel/cell/exponential.hpp"
#include "voltkeel/units.hpp"

namespace voltkeel {

/// One thermal mass with one path to the surroundings.
template <class Real>
struct ThermalParameters {
    Real heat_capacity_J_per_K{50};  ///< Mass times specific heat, > 0.
    Real resistance_K_per_W{10};     ///< From cell to surroundings, > 0.
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

/// Temperature after a step of constant heat: exact for any length.
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

}  // namespace voltkeel

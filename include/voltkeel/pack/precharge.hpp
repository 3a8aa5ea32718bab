#pragma once
/// \file
/// Charging a link capacitor through a resistor before a contactor closes. Units and signs as in
/// voltkeel/units.hpp.
///
///     u(t) = U exp(-t / (R C))        voltage across the resistor, and across the open contactor
///     energy in the resistor = C (U^2 - u^2) / 2
///
/// Source: the first-order RC circuit; "complete at 95 % or 5 time constants" from design guide
/// TIDUF73 (Texas Instruments, 2024), as quoted in the tests.

#include <cmath>

#include "voltkeel/cell/exponential.hpp"
#include "voltkeel/cell/finite.hpp"
#include "voltkeel/status.hpp"

namespace voltkeel {

/// The circuit.
template <class Real>
struct Precharge {
    Real resistance_ohm{Real(47)};    ///< > 0.
    Real capacitance_F{Real(0.001)};  ///< Of the link, with everything that is joined to it, > 0.
    Real complete_share{Real(0.95)};  ///< Of the voltage: closed on from here, [0.5, 1).
};

/// What one precharge takes.
template <class Real>
struct PrechargeResult {
    Real time_s{0};             ///< Until the share is reached.
    Real remaining_V{0};        ///< Across the contactor then.
    Real peak_current_A{0};     ///< At the start.
    Real peak_power_W{0};       ///< In the resistor, at the start.
    Real resistor_energy_J{0};  ///< Until the contactor closes.
    Real whole_energy_J{0};     ///< If it never closed: C U^2 / 2.
};

/// Checks every field; see validate(CellParameters).
template <class Real>
[[nodiscard]] Finding<Real> validate(const Precharge<Real>& circuit) noexcept {
    struct Bounded {
        const char* field;
        Real value;
        Real low;
        Real high;
    };
    const Bounded all[] = {{"resistance_ohm", circuit.resistance_ohm, Real(1e-3), Real(1e6)},
                           {"capacitance_F", circuit.capacitance_F, Real(1e-9), Real(1e3)},
                           {"complete_share", circuit.complete_share, Real(0.5), Real(0.99999)}};
    for (const Bounded& one : all) {
        if (!detail::finite(one.value))
            return {Status::not_finite, one.field, -1, one.value, one.low};
        if (one.value < one.low) return {Status::out_of_range, one.field, -1, one.value, one.low};
        if (one.value > one.high) return {Status::out_of_range, one.field, -1, one.value, one.high};
    }
    return {};
}

/// Works out a precharge over a voltage difference.
/// \param difference_V between pack and link at the start, any sign
/// \return ok; out_of_range or not_finite for a circuit that validate() refuses;
///   sample_not_finite for a difference that is no number. Then `result` is unchanged.
template <class Real>
[[nodiscard]] inline Status precharge(const Precharge<Real>& circuit, Real difference_V,
                                      PrechargeResult<Real>& result) noexcept {
    const Finding<Real> finding = validate(circuit);
    if (finding.status != Status::ok) return finding.status;
    if (!detail::finite(difference_V)) return Status::sample_not_finite;
    const Real start_V = difference_V < Real(0) ? -difference_V : difference_V;
    const Real left = Real(1) - circuit.complete_share;
    result.time_s = -circuit.resistance_ohm * circuit.capacitance_F * logarithm(left);
    result.remaining_V = left * start_V;
    result.peak_current_A = start_V / circuit.resistance_ohm;
    result.peak_power_W = start_V * result.peak_current_A;
    result.whole_energy_J = Real(0.5) * circuit.capacitance_F * start_V * start_V;
    result.resistor_energy_J = result.whole_energy_J * (Real(1) - left * left);
    return Status::ok;
}

}  // namespace voltkeel

#pragma once
/// \file charge_transfer.hpp
/// Charge transfer at the electrodes: an overvoltage that saturates with the current, fed through a
/// double layer.
///
/// The double layer takes the current that the reaction does not:
///
///     tau dw/dt = (s / I0) (I - I0 sinh(w / s))
///
/// At rest in time w = s asinh(I / I0); a small current sees the resistance s / I0 with the time
/// constant tau, a large one less of both. For a held current the solution is closed: y = w / s
/// makes e^y the solution of a Riccati equation with the roots e^Y and -e^-Y, Y = asinh(I / I0).
/// Source of the reaction law: Butler-Volmer kinetics with equal transfer coefficients, e.g. Newman
/// & Thomas-Alyea, Electrochemical Systems (2004), ch. 8 (from memory, not re-read); the solution
/// is derived here and checked against an ODE solver.

#include <cmath>

#include "voltkeel/cell/exponential.hpp"

namespace voltkeel {

/// The three numbers of the branch at one SOC and temperature.
template <class Real>
struct ChargeTransfer {
    Real scale_V{0};             ///< s: growth of the overvoltage per e-fold of a large current.
    Real exchange_current_A{1};  ///< I0: the current at which the saturation sets in, > 0.
    Real time_s{1};              ///< tau: time constant for small currents, > 0.
};

/// One step of the branch, with its derivatives.
template <class Real>
struct ChargeTransferStep {
    Real voltage_V{0};        ///< w at the end of the step.
    Real end_V{0};            ///< Not a derivative: s asinh(I / I0), where w is heading.
    Real by_voltage{0};       ///< d w' / d w.
    Real by_current{0};       ///< d w' / d I.
    Real by_log_scale{0};     ///< d w' / d ln s.
    Real by_log_exchange{0};  ///< d w' / d ln I0.
    Real by_log_time{0};      ///< d w' / d ln tau.
};

/// Steady overvoltage s asinh(I / I0).
template <class Real>
[[nodiscard]] inline Real charge_transfer_end_V(const ChargeTransfer<Real>& at,
                                                Real current_A) noexcept {
    const Real k = current_A / at.exchange_current_A;
    const Real size = k < Real(0) ? -k : k;
    const Real end = at.scale_V * logarithm(size + std::sqrt(size * size + Real(1)));
    return k < Real(0) ? -end : end;
}

/// Moves the branch on by `dt_s` >= 0 at a held current; exact for a step of any length.
template <class Real>
[[nodiscard]] inline ChargeTransferStep<Real> charge_transfer_step(const ChargeTransfer<Real>& at,
                                                                   Real voltage_V, Real current_A,
                                                                   Real dt_s) noexcept {
    ChargeTransferStep<Real> result;
    if (!(at.scale_V > Real(0))) return result;
    // The law is odd: turned so that the current is positive, every term below is positive too.
    const Real sign = current_A < Real(0) ? Real(-1) : Real(1);
    const Real inverse_scale = Real(1) / at.scale_V;
    const Real k = sign * current_A / at.exchange_current_A;
    const Real cosh_end = std::sqrt(k * k + Real(1));
    const Real up = k + cosh_end;    // e^Y
    const Real down = Real(1) / up;  // e^-Y
    const Real x = dt_s / at.time_s;
    const Real share = relaxed_fraction(x * cosh_end);
    const Real kept = Real(1) - share;
    const Real start = exponential(sign * voltage_V * inverse_scale);
    const Real inverse_bottom = Real(1) / (start * share + down + up * kept);
    const Real end = (start * (up + down * kept) + share) * inverse_bottom;
    const Real per_end = at.scale_V / end;

    result.voltage_V = sign * at.scale_V * logarithm(end);
    result.end_V = sign * at.scale_V * logarithm(up);
    result.by_voltage =
        Real(4) * kept * cosh_end * cosh_end * inverse_bottom * inverse_bottom * start / end;
    const Real by_kept = per_end * inverse_bottom * (start * down - Real(1) - end * (up - start));
    const Real by_end =
        per_end * inverse_bottom * (start * (up - down * kept) - end * (up * kept - down)) -
        by_kept * kept * x * k;
    result.by_current = by_end / (cosh_end * at.exchange_current_A);
    result.by_log_exchange = -sign * by_end * k / cosh_end;
    result.by_log_scale = result.voltage_V - result.by_voltage * voltage_V;
    result.by_log_time = sign * by_kept * kept * x * cosh_end;
    return result;
}

}  // namespace voltkeel

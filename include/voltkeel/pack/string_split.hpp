#pragma once
/// \file string_split.hpp
/// How the current of a pack divides between strings in parallel, each a voltage behind a
/// resistance at this instant (Kirchhoff's laws): strings that are closed share one voltage, and
/// their currents add up to that of the pack.

#include "voltkeel/cell/finite.hpp"
#include "voltkeel/status.hpp"

namespace voltkeel {

/// One string.
template <class Real>
struct StringSource {
    Real open_V{0};          ///< Voltage it would show without current.
    Real resistance_ohm{0};  ///< Of cells, joints, cables and contactor, > 0.
    bool closed{true};       ///< False: carries nothing.
};

/// Divides a current.
/// \param strings `count` of them \param current_A of the pack, positive charges
/// \param string_current_A receives as many; 0 for strings that are open
/// \param voltage_V receives the voltage they share
/// \return ok; missing_table for null, out_of_range for a count or a resistance that cannot be,
/// sample_not_finite for numbers that are none, not_allowed when current is asked for and no string
/// is closed. On failure nothing changes.
template <class Real>
[[nodiscard]] inline Status split_current(const StringSource<Real>* strings, int count,
                                          Real current_A, Real* string_current_A,
                                          Real& voltage_V) noexcept {
    if (strings == nullptr || string_current_A == nullptr) return Status::missing_table;
    if (count < 1) return Status::out_of_range;
    if (!detail::finite(current_A)) return Status::sample_not_finite;
    Real conductance_S = 0;
    Real short_circuit_A = 0;
    Real level_V = 0;  // differences to it lose no digits
    for (int k = 0; k < count; ++k) {
        const StringSource<Real>& string = strings[k];
        if (!string.closed) continue;
        if (!detail::finite(string.open_V) || !detail::finite(string.resistance_ohm))
            return Status::sample_not_finite;
        if (!(string.resistance_ohm > Real(0))) return Status::out_of_range;
        if (!(conductance_S > Real(0))) level_V = string.open_V;
        const Real share_S = Real(1) / string.resistance_ohm;
        conductance_S += share_S;
        short_circuit_A += (string.open_V - level_V) * share_S;
    }
    if (!(conductance_S > Real(0))) {
        if (current_A != Real(0)) return Status::not_allowed;
        for (int k = 0; k < count; ++k)
            string_current_A[k] = Real(0);
        voltage_V = Real(0);
        return Status::ok;
    }
    const Real above_V = (current_A + short_circuit_A) / conductance_S;
    for (int k = 0; k < count; ++k) {
        const StringSource<Real>& string = strings[k];
        string_current_A[k] =
            string.closed ? (above_V - (string.open_V - level_V)) / string.resistance_ohm : Real(0);
    }
    voltage_V = level_V + above_V;
    return Status::ok;
}

}  // namespace voltkeel

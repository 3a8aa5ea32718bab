#pragma once
/// \file compensated_sum.hpp
/// Adding a small number to a large one without losing it.

namespace voltkeel {

/// Adds `increment` to `sum`, keeping in `carry` what rounding would drop (Kahan 1965, Comm. ACM
/// 8(1), 40).
///
/// In float, 1 A for 10 ms on a 100 Ah cell adds exactly nothing to an SOC of 0.5; with the carry
/// it adds up. Needs value-safe floating point: never build with fast-math.
template <class Real>
inline void add_compensated(Real& sum, Real& carry, Real increment) noexcept {
    const Real corrected = increment - carry;
    const Real next = sum + corrected;
    carry = (next - sum) - corrected;
    sum = next;
}

}  // namespace voltkeel

#pragma once
/// \file exponential.hpp
/// How far an exponential relaxation gets in a step, exponential and logarithm, without the C
/// library.
///
/// `1 - exp(-x)` loses everything at small x in float (1.4e-3 relative at x = 1e-5), and the
/// exponentials of two C libraries differ in the last bit. Both matter on a controller: this one is
/// accurate for every x and gives the same bits on every IEEE machine when contraction is off.

#include <cstdint>
#include <cstring>
#include <type_traits>

#include "voltkeel/cell/lanes.hpp"

namespace voltkeel {

namespace detail {

/// 2^-k for 0 <= k <= 1022 (double) or 126 (float), by exponent bits.
[[nodiscard]] inline double power_of_half(int k, double) noexcept {
    const std::uint64_t bits = static_cast<std::uint64_t>(1023 - k) << 52U;
    double result = 0;
    std::memcpy(&result, &bits, sizeof result);
    return result;
}
[[nodiscard]] inline float power_of_half(int k, float) noexcept {
    const std::uint32_t bits = static_cast<std::uint32_t>(127 - k) << 23U;
    float result = 0;
    std::memcpy(&result, &bits, sizeof result);
    return result;
}

/// A number from 0 to 126 added to this is rounded to a whole one, k, which the last bits of the
/// sum then hold.
template <class Real>
inline constexpr Real counting = sizeof(Real) == sizeof(double) ? Real(6755399441055744.0)
                                                                : Real(12582912.0F);
/// 2^-k from counting + k, of a number or a packet of them: the bits of `counting` and the bias of
/// exponents, less the bits of the sum, and shifted. \tparam Bits as wide, of unsigned numbers
template <class Bits, class Value>
[[nodiscard]] inline Value power_of_half_counted(double, Value counted) noexcept {
    Bits bits{};
    std::memcpy(&bits, &counted, sizeof bits);
    bits = ((std::uint64_t(0x43380000) << 32U) + 1023U - bits) << 52U;
    std::memcpy(&counted, &bits, sizeof bits);
    return counted;
}
template <class Bits, class Value>
[[nodiscard]] inline Value power_of_half_counted(float, Value counted) noexcept {
    Bits bits{};
    std::memcpy(&bits, &counted, sizeof bits);
    bits = (0x4B400000U + 127U - bits) << 23U;
    std::memcpy(&counted, &bits, sizeof bits);
    return counted;
}

/// Takes a finite positive number apart: x = m 2^k with m in [1, 2). Subnormal numbers count as the
/// smallest normal one.
[[nodiscard]] inline double split_exponent(double x, int& k) noexcept {
    std::uint64_t bits = 0;
    std::memcpy(&bits, &x, sizeof bits);
    k = static_cast<int>(bits >> 52U) - 1023;
    bits = (bits & 0xFFFFFFFFFFFFFULL) | (std::uint64_t(1023) << 52U);
    double m = 0;
    std::memcpy(&m, &bits, sizeof m);
    return m;
}
[[nodiscard]] inline float split_exponent(float x, int& k) noexcept {
    std::uint32_t bits = 0;
    std::memcpy(&bits, &x, sizeof bits);
    k = static_cast<int>(bits >> 23U) - 127;
    bits = (bits & 0x7FFFFFU) | (std::uint32_t(127) << 23U);
    float m = 0;
    std::memcpy(&m, &bits, sizeof m);
    return m;
}

/// atanh(f) / f = 1 + z/3 + z^2/5 + ... for z = f^2 <= 0.0295.
[[nodiscard]] inline double inverse_tanh_series(double z) noexcept {
    double sum = 1.0 / 21.0;
    sum = sum * z + 1.0 / 19.0;
    sum = sum * z + 1.0 / 17.0;
    sum = sum * z + 1.0 / 15.0;
    sum = sum * z + 1.0 / 13.0;
    sum = sum * z + 1.0 / 11.0;
    sum = sum * z + 1.0 / 9.0;
    sum = sum * z + 1.0 / 7.0;
    sum = sum * z + 1.0 / 5.0;
    sum = sum * z + 1.0 / 3.0;
    return sum * z + 1.0;
}
[[nodiscard]] inline float inverse_tanh_series(float z) noexcept {
    float sum = 1.0F / 9.0F;
    sum = sum * z + 1.0F / 7.0F;
    sum = sum * z + 1.0F / 5.0F;
    sum = sum * z + 1.0F / 3.0F;
    return sum * z + 1.0F;
}

/// ln 2 in two parts, the first with so few digits that a small multiple of it is exact.
template <class Real>
inline constexpr Real ln2_high = sizeof(Real) == sizeof(double) ? Real(0.693147180369123816490)
                                                                : Real(0.693145751953125);
template <class Real>
inline constexpr Real ln2_low = sizeof(Real) == sizeof(double) ? Real(1.90821492927058770002e-10)
                                                               : Real(1.428606765330187e-06);

template <class Real>
inline constexpr Real log2_e = Real(1.4426950408889634);
/// From here on 1 - exp(-x) rounds to 1.
template <class Real>
inline constexpr Real saturation = sizeof(Real) == sizeof(double) ? Real(40) : Real(18);

/// exp(r) = (even + odd) / (even - odd) for a small r, to a common factor.
template <class Value>
struct PadeParts {
    Value even;
    Value odd;
};
/// Diagonal Pade form of order (6,6): error below 2e-19 relative to 1 for |r| <= ln(2)/2. `Value`
/// is a number or lanes of numbers.
template <class Value>
[[nodiscard]] inline PadeParts<Value> pade_parts_of(double, const Value& r) noexcept {
    const Value z = r * r;
    return {665280.0 + z * (75600.0 + z * (840.0 + z)), r * (332640.0 + z * (10080.0 + z * 42.0))};
}
/// The same with order (3,3), error below 2e-8.
template <class Value>
[[nodiscard]] inline PadeParts<Value> pade_parts_of(float, const Value& r) noexcept {
    const Value z = r * r;
    return {120.0F + 12.0F * z, r * (60.0F + z)};
}
/// Order (4,4), for r so small that 1 - exp(-r) is as good as with order (6,6).
template <class Value>
[[nodiscard]] inline PadeParts<Value> short_pade_parts_of(double, const Value& r) noexcept {
    const Value z = r * r;
    return {1680.0 + z * (180.0 + z), r * (840.0 + z * 20.0)};
}
/// Order (2,2) for (3,3).
template <class Value>
[[nodiscard]] inline PadeParts<Value> short_pade_parts_of(float, const Value& r) noexcept {
    return {12.0F + r * r, r * 6.0F};
}
/// Up to here the short form is good to a unit in the last place.
template <class Real>
inline constexpr Real short_pade_most = sizeof(Real) == sizeof(double) ? Real(0.08) : Real(0.06);
template <class Real>
[[nodiscard]] inline PadeParts<Real> pade_parts(Real r) noexcept {
    return pade_parts_of(Real(0), r);
}
/// 1 - exp(-r) for |r| <= ln(2)/2.
template <class Real>
[[nodiscard]] inline Real small_relaxed_fraction(Real r) noexcept {
    const PadeParts<Real> parts = pade_parts(r);
    return Real(2) * parts.odd / (parts.even + parts.odd);
}

/// 1 - exp(-x) for x from 0 to `saturation`, of a number or a packet of them: by exp(-x) = 2^-k
/// exp(-r), with ln 2 in two parts so that r keeps its digits.
template <class Real, class Bits, class Value>
[[nodiscard]] inline Value reduced_relaxed_fraction(const Value& x) noexcept {
    const Value counted = x * log2_e<Real> + counting<Real>;
    const Value k = counted - counting<Real>;
    const Value r = (x - k * ln2_high<Real>)-k * ln2_low<Real>;
    const Value scale = power_of_half_counted<Bits>(Real(0), counted);
    const PadeParts<Value> parts = pade_parts_of(Real(0), r);
    return (Real(1) - scale) + scale * (Real(2) * parts.odd / (parts.even + parts.odd));
}

}  // namespace detail

/// Share of the way to its end value that a first-order lag covers: 1 - exp(-x).
/// \param x time over time constant, x >= 0; NaN or negative gives 0.
/// \return a value in [0, 1], relative error below 4 units in the last place for every x.
/// Source: Pade approximants of the exponential, e.g. Higham, Functions of Matrices (2008),
/// eq. 10.23.
template <class Real>
[[nodiscard]] inline Real relaxed_fraction(Real x) noexcept {
    constexpr Real unreduced = Real(0.34);  // below ln(2)/2, where k is 0
    if (!(x > Real(0))) return Real(0);
    if (x <= unreduced) return detail::small_relaxed_fraction(x);
    if (x >= detail::saturation<Real>) return Real(1);
    using Bits = std::conditional_t<sizeof(Real) == sizeof(double), std::uint64_t, std::uint32_t>;
    return detail::reduced_relaxed_fraction<Real, Bits>(x);
}

namespace detail {
/// The same of several numbers, to the same error; bit for bit the same where one of them is above
/// the short forms.
template <class Real, int Size>
[[nodiscard]] inline Lanes<Real, Size> relaxed_fraction(const Lanes<Real, Size>& x) noexcept {
    constexpr Real half_ln2 = Real(0.34657359027997264);
    Real sum = x.get(0);
#pragma GCC unroll 8
    for (int k = 1; k < Size; ++k)
        sum += x.get(k);
    // Then each of them is as small.
    if (sum <= short_pade_most<Real>) {
        const auto parts = short_pade_parts_of(Real(0), x);
        return (parts.odd + parts.odd) / (parts.even + parts.odd);
    }
    if (sum <= half_ln2) {
        const auto parts = pade_parts_of(Real(0), x);
        return (parts.odd + parts.odd) / (parts.even + parts.odd);
    }
    Lanes<Real, Size> share = x;
    if constexpr (Lanes<Real, Size>::width == 1) {
        for (int k = 0; k < Size; ++k)
            share.set(k, voltkeel::relaxed_fraction(x.get(k)));
    } else {
#pragma GCC unroll 8
        for (int k = 0; k < share.count; ++k) {
            share.packet[k] = reduced_relaxed_fraction<Real, typename Packet<Real>::bits>(
                Packet<Real>::clamped(x.packet[k], saturation<Real>));
        }
    }
    return share;
}
}  // namespace detail

/// exp(x), relative error below 4 units in the last place; |x| is cut at 80.
/// \param x a finite number
template <class Real>
[[nodiscard]] inline Real exponential(Real x) noexcept {
    constexpr Real most = Real(80);
    const bool negative = x < Real(0);
    Real size = negative ? -x : x;
    if (!(size < most)) size = most;
    const int k = static_cast<int>(size * detail::log2_e<Real> + Real(0.5));
    const Real r = (size - static_cast<Real>(k) * detail::ln2_high<Real>)-static_cast<Real>(k) *
                   detail::ln2_low<Real>;
    const detail::PadeParts<Real> parts = detail::pade_parts(r);
    const Real up = parts.even + parts.odd;
    const Real down = parts.even - parts.odd;
    const Real half_power = detail::power_of_half(k, Real(0));
    return negative ? half_power * (down / up) : up / (down * half_power);
}

/// ln(x), relative error below 4 units in the last place of the larger of |ln x| and 1.
/// \param x a finite number above 0
/// Source: ln((1 + f) / (1 - f)) = 2 (f + f^3/3 + f^5/5 + ...), Abramowitz & Stegun (1964), 4.1.27
/// (from memory, not re-read).
template <class Real>
[[nodiscard]] inline Real logarithm(Real x) noexcept {
    int k = 0;
    Real m = detail::split_exponent(x, k);  // in [1, 2)
    constexpr Real root_two = Real(1.4142135623730951);
    if (m > root_two) {
        m *= Real(0.5);
        ++k;
    }
    const Real f = (m - Real(1)) / (m + Real(1));
    const Real z = f * f;
    const Real power = static_cast<Real>(k);
    return power * detail::ln2_high<Real> +
           (power * detail::ln2_low<Real> + Real(2) * f * detail::inverse_tanh_series(z));
}

/// exp(x) for |x| <= 1.5, to ten units in the last place and without a branch.
template <class Real>
[[nodiscard]] inline Real modest_exponential(Real x) noexcept {
    const detail::PadeParts<Real> parts = detail::pade_parts(Real(0.25) * x);
    const Real quarter = (parts.even + parts.odd) / (parts.even - parts.odd);
    const Real half = quarter * quarter;
    return half * half;
}

}  // namespace voltkeel

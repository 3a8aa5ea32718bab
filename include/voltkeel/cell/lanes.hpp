#pragma once
/// \file lanes.hpp
/// A few numbers worked on side by side.
///
/// Where one instruction takes two doubles or four floats, and the compiler lets us say so, a
/// packet holds that many; elsewhere it holds one. No lane sees another, so the bits of a result do
/// not depend on the width - but for the sums over lanes, whose order is that of a packet of two.

#include <cmath>
#include <cstdint>
#include <cstring>
#include <limits>
#if defined(__SSE2__)
#include <emmintrin.h>
#endif

namespace voltkeel::detail {

#if defined(__GNUC__) && (defined(__SSE2__) || defined(__aarch64__))
template <class Real>
struct Packet;
template <>
struct Packet<double> {
    static constexpr int width = 2;
    using type = double __attribute__((vector_size(16)));
    using bits = std::uint64_t __attribute__((vector_size(16)));
    /// The larger one in every lane, `b` where either is NaN.
    [[nodiscard]] static type larger(type a, type b) noexcept {
#if defined(__SSE2__)
        return _mm_max_pd(a, b);
#else
        return a > b ? a : b;
#endif
    }
    /// From 0 to `most`; 0 for NaN.
    [[nodiscard]] static type clamped(type a, double most) noexcept {
#if defined(__SSE2__)
        return _mm_min_pd(_mm_max_pd(a, all(0)), all(most));
#else
        const type positive = a > all(0) ? a : all(0);
        return positive < all(most) ? positive : all(most);
#endif
    }
    [[nodiscard]] static type all(double value) noexcept {
        return type{value, value};
    }
    /// The first number from memory.
    [[nodiscard]] static type part(const double* from, int /*rest*/, double fill) noexcept {
        return type{from[0], fill};
    }
};
template <>
struct Packet<float> {
    static constexpr int width = 4;
    using type = float __attribute__((vector_size(16)));
    using bits = std::uint32_t __attribute__((vector_size(16)));
    /// The larger one in every lane, `b` where either is NaN.
    [[nodiscard]] static type larger(type a, type b) noexcept {
#if defined(__SSE2__)
        return _mm_max_ps(a, b);
#else
        return a > b ? a : b;
#endif
    }
    /// From 0 to `most`; 0 for NaN.
    [[nodiscard]] static type clamped(type a, float most) noexcept {
#if defined(__SSE2__)
        return _mm_min_ps(_mm_max_ps(a, all(0)), all(most));
#else
        const type positive = a > all(0) ? a : all(0);
        return positive < all(most) ? positive : all(most);
#endif
    }
    [[nodiscard]] static type all(float value) noexcept {
        return type{value, value, value, value};
    }
    /// The first one to three numbers from memory.
    [[nodiscard]] static type part(const float* from, int rest, float fill) noexcept {
        return type{from[0], rest > 1 ? from[1] : fill, rest > 2 ? from[2] : fill, fill};
    }
};
#else
template <class Real>
struct Packet {
    static constexpr int width = 1;
    using type = Real;
    [[nodiscard]] static type all(Real value) noexcept { return value; }
    [[nodiscard]] static type part(const Real* from, int /*rest*/, Real /*fill*/) noexcept {
        return from[0];
    }
};
#endif

/// `Size` numbers in as many packets as they need. Lanes beyond `Size` hold whatever comes out.
template <class Real, int Size>
struct Lanes {
    using Type = typename Packet<Real>::type;
    static constexpr int width = Packet<Real>::width;
    static constexpr int count = (Size + width - 1) / width;  ///< Packets.
    static constexpr int padded = count * width;              ///< Numbers in them.
    Type packet[count];

    /// The same number in every lane.
    [[nodiscard]] static Lanes all(Real value) noexcept {
        Lanes lanes{};
#pragma GCC unroll 8
        for (int k = 0; k < count; ++k)
            lanes.packet[k] = Packet<Real>::all(value);
        return lanes;
    }
    /// Lane k holds `at(k)`, lanes beyond `Size` hold 0.
    template <class At>
    [[nodiscard]] static Lanes made_of(At at) noexcept {
        const auto or_none = [&](int lane) { return lane < Size ? at(lane) : Real(0); };
        Lanes lanes{};
#pragma GCC unroll 8
        for (int k = 0; k < count; ++k) {
            if constexpr (width == 1) {
                lanes.packet[k] = at(k);
            } else if constexpr (width == 2) {
                lanes.packet[k] = Type{or_none(2 * k), or_none(2 * k + 1)};
            } else {
                lanes.packet[k] = Type{or_none(4 * k), or_none(4 * k + 1), or_none(4 * k + 2),
                                       or_none(4 * k + 3)};
            }
        }
        return lanes;
    }
    /// `Size` numbers from memory, `fill` in the lanes beyond.
    [[nodiscard]] static Lanes load(const Real* from, Real fill = Real(0)) noexcept {
        Lanes lanes{};
#pragma GCC unroll 8
        for (int k = 0; k < count; ++k) {
            const int rest = Size - k * width;
            if (rest < width) {
                lanes.packet[k] = Packet<Real>::part(from + k * width, rest, fill);
            } else {
                std::memcpy(&lanes.packet[k], from + k * width, sizeof(Type));
            }
        }
        return lanes;
    }
    /// All lanes from memory that holds `padded` numbers, aligned to packets.
    [[nodiscard]] static Lanes load_padded(const Real* from) noexcept {
        Lanes lanes{};
#pragma GCC unroll 8
        for (int k = 0; k < count; ++k)
            std::memcpy(&lanes.packet[k], aligned(from + k * width), sizeof(Type));
        return lanes;
    }
    /// All lanes, `padded` numbers aligned to packets.
    void store_padded(Real* to) const noexcept {
#pragma GCC unroll 8
        for (int k = 0; k < count; ++k)
            std::memcpy(aligned(to + k * width), &packet[k], sizeof(Type));
    }

    [[nodiscard]] Real get(int lane) const noexcept {
        if constexpr (width == 1) {
            return packet[lane];
        } else {
            return packet[lane / width][lane % width];
        }
    }
    void set(int lane, Real value) noexcept {
        if constexpr (width == 1) {
            packet[lane] = value;
        } else {
            packet[lane / width][lane % width] = value;
        }
    }
    /// Adds to one lane.
    void add(int lane, Real value) noexcept {
        if constexpr (width == 1) {
            packet[lane] += value;
        } else {
            Type only{};
            only[lane % width] = value;
            packet[lane / width] += only;
        }
    }
    /// All lanes added up: two by two where a packet holds two numbers, else one after the other.
    [[nodiscard]] Real sum() const noexcept {
        constexpr int whole = Size / width;  // packets without a lane too many
        if constexpr (width == 2 && whole > 0) {
            Type sums = packet[0];
#pragma GCC unroll 8
            for (int k = 1; k < whole; ++k)
                sums += packet[k];
            const Real total = sums[0] + sums[1];
            return Size % width == 0 ? total : total + get(Size - 1);
        } else {
            Real total = get(0);
#pragma GCC unroll 8
            for (int k = 1; k < Size; ++k)
                total += get(k);
            return total;
        }
    }
    /// Raises one lane to `least` where it is less or NaN.
    void raise(int lane, Real least) noexcept {
        if constexpr (width == 1) {
            packet[lane] = packet[lane] > least ? packet[lane] : least;
        } else {
            Type floor = Packet<Real>::all(-std::numeric_limits<Real>::max());
            floor[lane % width] = least;
            packet[lane / width] = Packet<Real>::larger(packet[lane / width], floor);
        }
    }
    /// The first `Fewer` or `More` of these; lanes that come in addition hold 0.
    template <int Other>
    [[nodiscard]] Lanes<Real, Other> resized() const noexcept {
        Lanes<Real, Other> other{};
#pragma GCC unroll 8
        for (int k = 0; k < other.count; ++k)
            other.packet[k] = k < count ? packet[k] : Type{};
        return other;
    }

  private:
    template <class Pointer>
    static Pointer aligned(Pointer at) noexcept {
#if defined(__GNUC__)
        return static_cast<Pointer>(__builtin_assume_aligned(at, sizeof(Type)));
#else
        return at;
#endif
    }

  public:
    friend Lanes operator+(Lanes a, const Lanes& b) noexcept {
#pragma GCC unroll 8
        for (int k = 0; k < count; ++k)
            a.packet[k] += b.packet[k];
        return a;
    }
    friend Lanes operator-(Lanes a, const Lanes& b) noexcept {
#pragma GCC unroll 8
        for (int k = 0; k < count; ++k)
            a.packet[k] -= b.packet[k];
        return a;
    }
    friend Lanes operator*(Lanes a, const Lanes& b) noexcept {
#pragma GCC unroll 8
        for (int k = 0; k < count; ++k)
            a.packet[k] *= b.packet[k];
        return a;
    }
    friend Lanes operator/(Lanes a, const Lanes& b) noexcept {
#pragma GCC unroll 8
        for (int k = 0; k < count; ++k)
            a.packet[k] /= b.packet[k];
        return a;
    }
    friend Lanes operator+(const Lanes& a, Real b) noexcept {
        return a + all(b);
    }
    friend Lanes operator+(Real a, const Lanes& b) noexcept {
        return all(a) + b;
    }
    friend Lanes operator-(Real a, const Lanes& b) noexcept {
        return all(a) - b;
    }
    friend Lanes operator*(Real a, const Lanes& b) noexcept {
        return all(a) * b;
    }
    friend Lanes operator/(Real a, const Lanes& b) noexcept {
        return all(a) / b;
    }
    friend Lanes operator*(const Lanes& a, Real b) noexcept {
        return a * all(b);
    }
};

/// Square root without the C library's word on negative numbers.
[[nodiscard]] inline double root(double x) noexcept {
#if defined(__SSE2__)
    const __m128d v = _mm_set_sd(x);
    return _mm_cvtsd_f64(_mm_sqrt_sd(v, v));
#else
    return std::sqrt(x);
#endif
}
[[nodiscard]] inline float root(float x) noexcept {
    return std::sqrt(x);
}

}  // namespace voltkeel::detail

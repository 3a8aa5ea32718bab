#pragma once
/// \file random.hpp
/// Random numbers that are the same on every machine and with every C++ library: the engine is
/// defined by the standard to the last bit, the distributions of the standard library are not.

#include <cmath>
#include <cstdint>
#include <random>

#include "voltkeel/cell/exponential.hpp"

namespace voltkeel {

/// Draws from std::mt19937_64.
class PortableRandom {
  public:
    explicit PortableRandom(std::uint64_t seed) : engine_(seed) {}

    /// In [0, 1), every multiple of 2^-53 as likely as any other.
    double uniform() { return static_cast<double>(engine_() >> 11U) * 0x1p-53; }

    /// Standard normal, by the polar method: Marsaglia & Bray, SIAM Review 6 (1964) 260 (from
    /// memory, not re-read). Uses nothing of the C library but a square root.
    double normal() {
        if (has_spare_) {
            has_spare_ = false;
            return spare_;
        }
        double u = 0;
        double v = 0;
        double s = 0;
        do {
            u = 2 * uniform() - 1;
            v = 2 * uniform() - 1;
            s = u * u + v * v;
        } while (s >= 1 || s < 1e-300);
        const double scale = std::sqrt(-2 * logarithm(s) / s);
        spare_ = scale * v;
        has_spare_ = true;
        return scale * u;
    }

    /// The same without what lies further out than `cut`, which is drawn again. \param cut > 0
    double normal_within(double cut) {
        double x = normal();
        while (!(std::abs(x) <= cut))
            x = normal();
        return x;
    }

  private:
    std::mt19937_64 engine_;
    double spare_{0};
    bool has_spare_{false};
};

}  // namespace voltkeel

#include "voltkeel/simulate/efficiency.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>

#include "simulate/bounds.hpp"
#include "voltkeel/error.hpp"

namespace voltkeel {

namespace {

/// One straight piece: efficiency = start + slope * fraction, up to `end`.
struct Piece {
    double start{0};
    double slope{0};
    double end{0};
};

Piece piece_of(const EfficiencyCurve& curve, std::size_t k) {
    const auto& f = curve.power_fraction;
    const auto& e = curve.efficiency;
    const double slope = (e[k + 1] - e[k]) / (f[k + 1] - f[k]);
    return {e[k] - slope * f[k], slope, f[k + 1]};
}

}  // namespace

double EfficiencyCurve::at(double fraction) const {
    const auto next = std::upper_bound(power_fraction.begin(), power_fraction.end(), fraction);
    if (next == power_fraction.begin()) return efficiency.front();
    if (next == power_fraction.end()) return efficiency.back();
    const auto k = static_cast<std::size_t>(next - power_fraction.begin());
    const double share =
        (fraction - power_fraction[k - 1]) / (power_fraction[k] - power_fraction[k - 1]);
    return efficiency[k - 1] + share * (efficiency[k] - efficiency[k - 1]);
}

void check_efficiency_curve(const std::string& field, const EfficiencyCurve& curve) {
    const auto& f = curve.power_fraction;
    if (f.empty() || f.size() != curve.efficiency.size()) {
        throw Error(field + ": has " + std::to_string(f.size()) + " power fractions and " +
                    std::to_string(curve.efficiency.size()) +
                    " efficiencies, needs as many, at least 1");
    }
    const auto place = [&](const char* column, std::size_t k) {
        return field + "." + column + "[" + std::to_string(k) + "]";
    };
    for (std::size_t k = 0; k < f.size(); ++k) {
        detail::need_within(place("power_fraction", k), f[k], 0, 1);
        detail::need_positive(place("efficiency", k), curve.efficiency[k], 1);
        if (k == 0) continue;
        if (!(f[k] > f[k - 1]))
            throw Error(place("power_fraction", k) + ": " + number_text(f[k], "%.6g") +
                        " must be above " + number_text(f[k - 1], "%.6g"));
        const Piece piece = piece_of(curve, k - 1);
        if (!(piece.start > 0))
            throw Error(place("efficiency", k) + ": " + number_text(curve.efficiency[k], "%.6g") +
                        " is more than " +
                        number_text(curve.efficiency[k - 1] * f[k] / f[k - 1], "%.6g") +
                        ": the power that goes in would fall while the one that comes out rises");
        if (!(piece.start + 2 * piece.slope * f[k] > 0))
            throw Error(place("efficiency", k) + ": " + number_text(curve.efficiency[k], "%.6g") +
                        " is so far below the one before that more power in would give less out");
    }
}

double motor_fraction(const EfficiencyCurve& curve, double electric_fraction) {
    // On each piece fraction = electric (start + slope fraction).
    double fraction = electric_fraction * curve.efficiency.front();
    if (fraction <= curve.power_fraction.front()) return fraction;
    for (std::size_t k = 0; k + 1 < curve.power_fraction.size(); ++k) {
        const Piece piece = piece_of(curve, k);
        if (piece.end > electric_fraction * curve.efficiency[k + 1]) {
            fraction = electric_fraction * piece.start / (1 - electric_fraction * piece.slope);
            return std::min(std::max(fraction, curve.power_fraction[k]), piece.end);
        }
    }
    return electric_fraction * curve.efficiency.back();
}

double generator_fraction(const EfficiencyCurve& curve, double electric_fraction) {
    // On each piece electric = fraction (start + slope fraction).
    const double fraction = electric_fraction / curve.efficiency.front();
    if (fraction <= curve.power_fraction.front()) return fraction;
    for (std::size_t k = 0; k + 1 < curve.power_fraction.size(); ++k) {
        const Piece piece = piece_of(curve, k);
        if (piece.end * curve.efficiency[k + 1] > electric_fraction) {
            const double square = piece.start * piece.start + 4 * piece.slope * electric_fraction;
            const double root = 2 * electric_fraction / (piece.start + std::sqrt(square));
            return std::min(std::max(root, curve.power_fraction[k]), piece.end);
        }
    }
    return electric_fraction / curve.efficiency.back();
}

}  // namespace voltkeel

#pragma once
/// \file
/// How the efficiency of a drive depends on its power.

#include <string>
#include <vector>

namespace voltkeel {

/// Efficiency over the mechanical power, as a fraction of a rated power: straight lines between the
/// points, held outside.
struct EfficiencyCurve {
    std::vector<double> power_fraction;  ///< Rising, 0 .. 1, at least one.
    std::vector<double> efficiency;      ///< One for each, above 0 .. 1.

    [[nodiscard]] double at(double fraction) const;
};

/// Checks a curve. The electric side must rise with the mechanical side, for a motor (electric =
/// mechanical / efficiency) and for a generator (electric = mechanical * efficiency) alike.
/// \param field what to call it in messages \throws Error naming field, value and bound
void check_efficiency_curve(const std::string& field, const EfficiencyCurve& curve);

/// Mechanical power, as a fraction of the rated one, at which a motor takes `electric_fraction` of
/// it, or at which a generator gives it. Inverse of fraction / at(fraction) and of
/// fraction * at(fraction). \param curve one that passes its check \param electric_fraction >= 0
[[nodiscard]] double motor_fraction(const EfficiencyCurve& curve, double electric_fraction);
[[nodiscard]] double generator_fraction(const EfficiencyCurve& curve, double electric_fraction);

}  // namespace voltkeel

#pragma once

/// \file
/// Closed-form OCV curves from papers, with their derivatives, typed in for the tests alone.

#include <cmath>

namespace voltkeel_test {

/// 5 Ah 21700 cell, NMC 811 against graphite with silicon oxide: Chen et al., J. Electrochem. Soc.
/// 167 (2020) 080534, coefficients of the paper; windows x 0.0279..0.9014 and y 0.9084..0.2661 for
/// empty to full (windows from memory, not re-read).
struct Curve21700 {
    static constexpr double x_empty = 0.0279, x_full = 0.9014;
    static constexpr double y_empty = 0.9084, y_full = 0.2661;

    static double negative_V(double x) {
        return 1.9793 * std::exp(-39.3631 * x) + 0.2482 -
               0.0909 * std::tanh(29.8538 * (x - 0.1234)) -
               0.04478 * std::tanh(14.9159 * (x - 0.2769)) -
               0.0205 * std::tanh(30.4444 * (x - 0.6103));
    }
    static double positive_V(double y) {
        return -0.8090 * y + 4.4875 - 0.0428 * std::tanh(18.5138 * (y - 0.5542)) -
               17.7326 * std::tanh(15.7890 * (y - 0.3117)) +
               17.5842 * std::tanh(15.9308 * (y - 0.3120));
    }
    static double ocv_V(double soc) {
        return positive_V(y_empty + soc * (y_full - y_empty)) -
               negative_V(x_empty + soc * (x_full - x_empty));
    }
    /// d OCV / d soc, differentiated by hand.
    static double slope_V(double soc) {
        const double x = x_empty + soc * (x_full - x_empty);
        const double y = y_empty + soc * (y_full - y_empty);
        const auto bell = [](double gain, double steepness, double distance) {
            const double c = std::cosh(steepness * distance);
            return gain * steepness / (c * c);
        };
        const double negative =
            -1.9793 * 39.3631 * std::exp(-39.3631 * x) - bell(0.0909, 29.8538, x - 0.1234) -
            bell(0.04478, 14.9159, x - 0.2769) - bell(0.0205, 30.4444, x - 0.6103);
        const double positive = -0.8090 - bell(0.0428, 18.5138, y - 0.5542) -
                                bell(17.7326, 15.7890, y - 0.3117) +
                                bell(17.5842, 15.9308, y - 0.3120);
        return positive * (y_full - y_empty) - negative * (x_full - x_empty);
    }
};

/// 850 mAh lithium polymer cell: Chen, Rincon-Mora, IEEE Trans. Energy Convers. 21 (2006) 504
/// (coefficients from memory, not re-read).
struct CurvePolymer {
    static double ocv_V(double soc) {
        return -1.031 * std::exp(-35 * soc) + 3.685 + 0.2156 * soc - 0.1178 * soc * soc +
               0.3201 * soc * soc * soc;
    }
    static double slope_V(double soc) {
        return 1.031 * 35 * std::exp(-35 * soc) + 0.2156 - 2 * 0.1178 * soc +
               3 * 0.3201 * soc * soc;
    }
    static double r0_ohm(double soc) { return 0.1562 * std::exp(-24.37 * soc) + 0.07446; }
    static double r1_ohm(double soc) { return 0.3208 * std::exp(-29.14 * soc) + 0.04669; }
    static double c1_F(double soc) { return -752.9 * std::exp(-13.51 * soc) + 703.6; }
    static double r2_ohm(double soc) { return 6.603 * std::exp(-155.2 * soc) + 0.04984; }
    static double c2_F(double soc) { return -6056 * std::exp(-27.12 * soc) + 4475; }
};

}  // namespace voltkeel_test

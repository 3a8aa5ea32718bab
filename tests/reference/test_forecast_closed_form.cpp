// Time to full of a cell whose charge can be written down: OCV = a + b s, one resistance R.
//   s1 = (V - I R - a) / b        SOC at which the voltage V is reached with the current I
//   t_cc = (s1 - s0) Q / I
//   tau = R Q / b                 the constant-voltage current falls as I exp(-t / tau)
//   t_cv = tau ln(I / I_end)      charge in that phase (I - I_end) tau
// Source: own derivation from V = a + b s + R I with s' = I / Q; values in 30-digit arithmetic.
// a 3.4 V, b 0.8 V, R 50 mohm, Q 3 Ah, I 3 A, V 4.2 V, I_end 0.15 A, s0 0.2: s1 0.8125, t_cc 2205
// s, tau 675 s, t_cv 2022.119285 s, total 4227.119285 s, SOC at the end 0.990625.

#include <catch2/catch.hpp>
#include <cmath>

#include "support/straight_cell.hpp"
#include "voltkeel/charge/forecast.hpp"

namespace {

using voltkeel::ChargeConditions;
using voltkeel::ChargeForecast;
using voltkeel::ForecastSettings;
using voltkeel::Status;
using voltkeel_test::StraightCell;

// Double: the constant-voltage steps leave (5 s / tau)^2 / 6 of t_cv = 0.02 s. Float: the voltage
// is solved to 1 uV, which is 0.1 s of the last, slow decay per step.
template <class Real>
constexpr double time_tolerance_s = sizeof(Real) == sizeof(double) ? 0.1 : 2.0;

}  // namespace

TEMPLATE_TEST_CASE("CC-CV time to full equals the closed form", "[forecast][reference]", float,
                   double) {
    using Real = TestType;
    const StraightCell<Real> c;
    ChargeForecast<Real> f;
    REQUIRE(voltkeel::time_to_full(c.cell, c.plan, c.state, ChargeConditions<Real>{}, f) ==
            Status::ok);
    CHECK(f.reached);
    CHECK(double(f.time_s) == Approx(4227.119285).margin(time_tolerance_s<Real>));
    CHECK(double(f.constant_current_s) == Approx(2205).margin(time_tolerance_s<Real> / 2));
    CHECK(double(f.constant_voltage_s) == Approx(2022.119285).margin(time_tolerance_s<Real>));
    CHECK(double(f.end_soc) ==
          Approx(0.990625).margin(sizeof(Real) == sizeof(double) ? 1e-7 : 2e-6));
    CHECK(double(f.end_current_A) == Approx(0.15).epsilon(2e-4));
    // 2205 s at 3 A, then (3 - 0.15) A times 675 s.
    CHECK(double(f.charge_Ah) == Approx((2205 * 3 + 2.85 * 675) / 3600).epsilon(1e-5));
    // V rises as a + b s + R I over the first phase, then stays: mean of 3.71 V and 4.2 V, and 4.2
    // V.
    CHECK(double(f.energy_Wh) ==
          Approx((2205 * 3 * 0.5 * (3.71 + 4.2) + 2.85 * 675 * 4.2) / 3600).epsilon(1e-5));
}

TEST_CASE("the error falls with the square of the step", "[forecast][reference]") {
    const StraightCell<double> c;
    const auto error_s = [&](double step_s) {
        ForecastSettings<double> settings;
        settings.step_s = step_s;
        settings.event_tolerance_s = 1e-5;
        ChargeForecast<double> f;
        REQUIRE(voltkeel::time_to_full(c.cell, c.plan, c.state, ChargeConditions<double>{}, f,
                                       settings) == Status::ok);
        return f.time_s - 4227.119285;
    };
    const double coarse_s = error_s(40);
    const double middle_s = error_s(20);
    const double fine_s = error_s(10);
    CHECK(std::abs(coarse_s) < 1.2);
    CHECK(coarse_s / middle_s == Approx(4).epsilon(0.1));
    CHECK(middle_s / fine_s == Approx(4).epsilon(0.1));
}

TEMPLATE_TEST_CASE("time to an SOC equals the closed form in both phases", "[forecast][reference]",
                   float, double) {
    using Real = TestType;
    const StraightCell<Real> c;
    const double tau_s = 675;
    for (const double soc : {0.3, 0.5, 0.8, 0.8125, 0.85, 0.9, 0.95, 0.98}) {
        // In the second phase s = s1 + (I tau / Q) (1 - exp(-t / tau)), Q in A s.
        const double expected_s =
            soc <= 0.8125 ? (soc - 0.2) * 3600
                          : 2205 - tau_s * std::log(1 - (soc - 0.8125) * 10800 / (3 * tau_s));
        ChargeForecast<Real> f;
        CAPTURE(soc);
        REQUIRE(voltkeel::time_to_soc(c.cell, c.plan, c.state, ChargeConditions<Real>{},
                                      static_cast<Real>(soc), f) == Status::ok);
        CHECK(f.reached);
        CHECK(double(f.time_s) == Approx(expected_s).margin(time_tolerance_s<Real>));
        CHECK(double(f.end_soc) == Approx(soc).margin(1e-6));
    }
}

TEMPLATE_TEST_CASE("a weaker supply: the closed form with its current", "[forecast][reference]",
                   float, double) {
    using Real = TestType;
    const StraightCell<Real> c;
    ChargeConditions<Real> conditions;
    conditions.supply_current_A = Real(1);
    ChargeForecast<Real> f;
    REQUIRE(voltkeel::time_to_full(c.cell, c.plan, c.state, conditions, f) == Status::ok);
    // s1 = (4.2 - 0.05 - 3.4) / 0.8 = 0.9375; t_cc = 0.7375 * 10800; t_cv = 675 ln(1 / 0.15).
    CHECK(double(f.constant_current_s) == Approx(0.7375 * 10800).margin(time_tolerance_s<Real>));
    CHECK(double(f.constant_voltage_s) ==
          Approx(675 * std::log(1 / 0.15)).margin(time_tolerance_s<Real>));
}

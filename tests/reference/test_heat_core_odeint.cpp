// Core and case against a general integrator: Boost.Odeint, Dormand-Prince 5(4) with controlled
// error 1e-13, on the differential equations of both masses, written out here once more.

#include <array>
#include <boost/numeric/odeint.hpp>
#include <catch2/catch.hpp>
#include <cmath>

#include "support/example_cell.hpp"
#include "voltkeel/cell/heat.hpp"

using voltkeel::CellTemperature;
using voltkeel::ThermalParameters;
using voltkeel_test::Random;

namespace {

using Vector = std::array<double, 3>;  // core, case, joules lost

Vector integrated(const ThermalParameters<double>& thermal, Vector x, double ambient_degC,
                  double heat, double time_s) {
    namespace odeint = boost::numeric::odeint;
    const double core_J_per_K = thermal.core_heat_capacity_J_per_K;
    const double case_J_per_K = thermal.heat_capacity_J_per_K - core_J_per_K;
    const auto slope = [&](const Vector& at, Vector& d, double) {
        const double inner_W = (at[0] - at[1]) / thermal.core_resistance_K_per_W;
        const double outer_W = (at[1] - ambient_degC) / thermal.resistance_K_per_W;
        d = {(heat - inner_W) / core_J_per_K, (inner_W - outer_W) / case_J_per_K, outer_W};
    };
    odeint::integrate_adaptive(
        odeint::make_controlled(1e-13, 1e-13, odeint::runge_kutta_dopri5<Vector>()), slope, x, 0.0,
        time_s, 1e-3);
    return x;
}

}  // namespace

TEMPLATE_TEST_CASE("core and case follow the integrator", "[heat][reference]", float, double) {
    Random random(61);
    for (int k = 0; k < 60; ++k) {
        const double whole = random.uniform(30, 3000);
        const ThermalParameters<TestType> thermal{
            static_cast<TestType>(whole), static_cast<TestType>(random.uniform(0.5, 20)),
            static_cast<TestType>(random.uniform(0.2, 5)),
            static_cast<TestType>(whole * random.uniform(0.1, 0.95))};
        const ThermalParameters<double> exact{
            static_cast<double>(thermal.heat_capacity_J_per_K),
            static_cast<double>(thermal.resistance_K_per_W),
            static_cast<double>(thermal.core_resistance_K_per_W),
            static_cast<double>(thermal.core_heat_capacity_J_per_K)};
        Vector x{random.uniform(-10, 40), random.uniform(-10, 40), 0};
        CellTemperature<TestType> now{static_cast<TestType>(x[0]), static_cast<TestType>(x[1])};
        for (int n = 0; n < 10; ++n) {
            // Whole watts and seconds: the same number in both scalars.
            const double heat = random.whole(-1, 6);
            const double time_s = random.whole(1, 400);
            x = integrated(exact, x, 20, heat, time_s);
            now = temperature_after(thermal, now, TestType(20), static_cast<TestType>(heat),
                                    static_cast<TestType>(time_s));
            CAPTURE(k, n, time_s, whole);
            const double bound_K = std::is_same_v<TestType, float> ? 3e-4 : 1e-9;
            REQUIRE(voltkeel_test::apart(now.core_degC, x[0]) < bound_K);
            REQUIRE(voltkeel_test::apart(now.case_degC, x[1]) < bound_K);
        }
    }
}

TEST_CASE("heat made is warmth stored and heat lost, by the integrator's account of the loss",
          "[heat][reference]") {
    const ThermalParameters<double> thermal{45, 8, 2, 40};
    const Vector end = integrated(thermal, {20, 20, 0}, 20, 2.5, 300);
    const auto own = temperature_after(thermal, CellTemperature<double>{20, 20}, 20.0, 2.5, 300.0);
    const double stored_J = 40 * (own.core_degC - 20) + 5 * (own.case_degC - 20);
    CHECK(std::abs(2.5 * 300 - stored_J - end[2]) < 1e-9 * 2.5 * 300);
}

// Heat made in a cell and the temperature that follows.

#include <catch2/catch.hpp>
#include <cmath>

#include "support/example_cell.hpp"
#include "support/scalars.hpp"
#include "voltkeel/cell/heat.hpp"

using voltkeel::heat_W;
using voltkeel::temperature_after;
using voltkeel::ThermalParameters;
using voltkeel_test::apart;

TEMPLATE_TEST_CASE("losses always warm, entropy warms or cools", "[heat]", VOLTKEEL_SCALARS) {
    const auto heat = [](double current_A, double voltage_V, double ocv_V, double entropy_V_per_K) {
        return static_cast<double>(heat_W(
            static_cast<TestType>(current_A), static_cast<TestType>(voltage_V),
            static_cast<TestType>(ocv_V), static_cast<TestType>(entropy_V_per_K), TestType(25)));
    };
    // 50 mohm, 10 A either way: 5 W. Float loses digits in V - OCV: 2.4e-7 V times 10 A.
    CHECK(std::abs(heat(10, 4.2, 3.7, 0) - 5) < 1e-5);
    CHECK(std::abs(heat(-10, 3.2, 3.7, 0) - 5) < 1e-5);
    CHECK(heat(0, 3.6, 3.7, 0.0003) == 0);
    CHECK(std::abs(heat(10, 3.7, 3.7, 0.0003) - 10 * 298.15 * 0.0003) < 1e-6);
    CHECK(std::abs(heat(-10, 3.7, 3.7, 0.0003) + 10 * 298.15 * 0.0003) < 1e-6);
}

TEST_CASE("reversible heat of a full cobalt oxide cell", "[heat]") {
    // dS = -29.78 J/(mol K), 298 K x 29.78 = 8.874 kJ/mol: Huang, Yan, Jiang, J. Power Sources 156
    // (2006) 541. dU/dT = dS / F = -0.3086 mV/K with F = 96485.332 C/mol (CODATA 2018).
    const double faraday_C_per_mol = 96485.33212;
    const double entropy_V_per_K = -29.78 / faraday_C_per_mol;
    CHECK(std::abs(entropy_V_per_K + 0.3086e-3) < 5.1e-8);
    // One mole of charge in one second at 298 K.
    const double heat_J = heat_W(faraday_C_per_mol, 4.0, 4.0, entropy_V_per_K, 298 - 273.15);
    CHECK(std::abs(heat_J + 8874) < 0.5);
}

TEMPLATE_TEST_CASE("temperature follows the closed form in one step of any length", "[heat]",
                   VOLTKEEL_SCALARS) {
    voltkeel_test::Random random(1);
    const double bound = std::is_same_v<TestType, float> ? 2e-5 : 1e-12;
    for (int k = 0; k < 2000; ++k) {
        const ThermalParameters<TestType> thermal{static_cast<TestType>(random.uniform(20, 5000)),
                                                  static_cast<TestType>(random.uniform(0.2, 20))};
        const TestType start_degC = static_cast<TestType>(random.uniform(-20, 45));
        const TestType ambient_degC = static_cast<TestType>(random.uniform(-20, 45));
        const TestType heat = static_cast<TestType>(random.uniform(-1, 5));
        const TestType dt_s = static_cast<TestType>(std::pow(10.0, random.uniform(-3, 6)));
        const double time_s = static_cast<double>(thermal.heat_capacity_J_per_K) *
                              static_cast<double>(thermal.resistance_K_per_W);
        const double end_degC =
            static_cast<double>(ambient_degC) +
            static_cast<double>(heat) * static_cast<double>(thermal.resistance_K_per_W);
        const double expected = end_degC + (static_cast<double>(start_degC) - end_degC) *
                                               std::exp(-static_cast<double>(dt_s) / time_s);
        const TestType got = temperature_after(thermal, start_degC, ambient_degC, heat, dt_s);
        CAPTURE(k, dt_s, time_s, got, expected);
        REQUIRE(apart(got, expected) < bound * 20);
        // Many short steps arrive at the same place as one long one.
        TestType walked = start_degC;
        for (int n = 0; n < 16; ++n)
            walked = temperature_after(thermal, walked, ambient_degC, heat, dt_s / TestType(16));
        REQUIRE(apart(walked, got) < bound * 20);
    }
}

TEMPLATE_TEST_CASE("no time changes no temperature, long time reaches the end", "[heat]",
                   VOLTKEEL_SCALARS) {
    const ThermalParameters<TestType> thermal{TestType(100), TestType(4)};
    CHECK(temperature_after(thermal, TestType(31), TestType(20), TestType(2), TestType(0)) ==
          TestType(31));
    CHECK(temperature_after(thermal, TestType(31), TestType(20), TestType(2), TestType(1e6)) ==
          TestType(28));
    // Energy balance of a short step: 2 W into 100 J/K for 1 s while no temperature difference
    // drives heat out.
    CHECK(apart(temperature_after(thermal, TestType(20), TestType(20), TestType(2), TestType(1)),
                20.02) < 5e-5);
}

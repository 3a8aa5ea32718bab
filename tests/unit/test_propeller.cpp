// Propeller load: the law, its integral over straight lines, the bound of the motor, bad input.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <string>

#include "support/example_cell.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/simulate/propeller.hpp"

using voltkeel::Boat;
using voltkeel::Error;
using voltkeel::propeller_load;
using voltkeel::PropellerLoad;
using voltkeel::SpeedTrace;
using voltkeel_test::Random;

namespace {

std::string refusal(void (*change)(Boat&)) {
    Boat boat;
    boat.name = "tender";
    change(boat);
    try {
        voltkeel::check_boat(boat);
    } catch (const Error& error) {
        return error.what();
    }
    return "";
}

}  // namespace

TEST_CASE("the law of the third power") {
    Boat boat;
    CHECK(voltkeel::shaft_power_W(boat, 3) == Approx(15e3).epsilon(1e-15));
    CHECK(voltkeel::shaft_power_W(boat, 1.5) == Approx(15e3 / 8).epsilon(1e-15));
    CHECK(voltkeel::shaft_power_W(boat, 3.3) == Approx(15e3 * 1.331).epsilon(1e-14));
    CHECK(voltkeel::shaft_power_W(boat, 0) == 0);
}

TEST_CASE("an exponent from two speeds of a trial gives both powers again") {
    Random random(711);
    for (int k = 0; k < 200; ++k) {
        Boat boat;
        boat.exponent = random.uniform(1, 6);
        const double slow = random.uniform(0.5, 3);
        const double fast = slow + random.uniform(0.1, 5);
        CAPTURE(k, boat.exponent, slow, fast);
        CHECK(voltkeel::propeller_exponent(fast, voltkeel::shaft_power_W(boat, fast), slow,
                                           voltkeel::shaft_power_W(boat, slow)) ==
              Approx(boat.exponent).epsilon(1e-10));
    }
    CHECK_THROWS_WITH(voltkeel::shaft_power_W(Boat{}, -2),
                      Catch::Contains("speed_m_per_s: -2 is outside 0 .. 150"));
    CHECK_THROWS_WITH(voltkeel::propeller_exponent(2, 1e3, 2, 2e3),
                      Catch::Contains("speed_2_m_per_s: 2 is the first speed again"));
    CHECK_THROWS_WITH(voltkeel::propeller_exponent(2, -1e3, 3, 2e3),
                      Catch::Contains("power_1_W: -1000"));
}

TEST_CASE("means over straight lines are those of the integral in closed form") {
    Random random(712);
    for (int k = 0; k < 300; ++k) {
        Boat boat;
        boat.exponent = random.uniform(1, 5);
        boat.shaft_power_max_W = 1e9;
        boat.drive_efficiency = random.uniform(0.5, 1);
        const double from = random.whole(0, 3) == 0 ? 0 : random.uniform(0, 6);
        const double to = random.whole(0, 3) == 0 ? from : random.uniform(0, 6);
        CAPTURE(k, boat.exponent, from, to);
        const PropellerLoad load = propeller_load(boat, {{10, 14}, {from, to}, {}, ""});
        const double n = boat.exponent;
        const double mean =
            from == to ? std::pow(from, n)
                       : (std::pow(to, n + 1) - std::pow(from, n + 1)) / ((n + 1) * (to - from));
        const double shaft_W = boat.reference_shaft_power_W * mean / std::pow(3.0, n);
        // Near from = to the closed form loses digits, not the load.
        CHECK(load.shaft_power_W[1] == Approx(shaft_W).epsilon(1e-8).margin(1e-9));
        CHECK(load.power_W[1] ==
              Approx(-load.shaft_power_W[1] / boat.drive_efficiency - 400).epsilon(1e-14));
        CHECK(load.net_Wh == Approx(load.power_W[1] * 4 / 3600).epsilon(1e-13));
        CHECK(load.shortfall_W[1] == 0);
    }
}

TEST_CASE("above its bound the motor gives the bound, and the rest is told") {
    Boat boat;
    boat.shaft_power_max_W = boat.reference_shaft_power_W;  // met at 3 m/s
    // 0 to 6 m/s in 6 s: delivered 15 kW / 4 on average for 3 s, then 15 kW for 3 s.
    const PropellerLoad load = propeller_load(boat, {{0, 6}, {0, 6}, {}, ""});
    CHECK(load.shaft_power_W[1] == Approx((15e3 / 4 + 15e3) / 2).epsilon(1e-12));
    const double asked_W = 15e3 * 8 / 4;
    CHECK(load.shaft_power_W[1] + load.shortfall_W[1] == Approx(asked_W).epsilon(1e-12));
    CHECK(load.shortfall_Wh == Approx(load.shortfall_W[1] * 6 / 3600).epsilon(1e-14));
    CHECK(load.distance_m == 18);
}

TEST_CASE("a boat out of bounds is refused, and so is a trace with hills") {
    CHECK(refusal([](Boat&) {}).empty());
    CHECK(refusal([](Boat& b) { b.reference_speed_m_per_s = 0; }) ==
          "boat 'tender': reference_speed_m_per_s: 0 must be above 0 and at most 150");
    CHECK_THAT(refusal([](Boat& b) { b.reference_shaft_power_W = -1; }),
               Catch::Contains("reference_shaft_power_W: -1"));
    CHECK_THAT(refusal([](Boat& b) { b.exponent = 0; }),
               Catch::Contains("exponent: 0 is outside 0.5 .. 8"));
    CHECK_THAT(refusal([](Boat& b) { b.drive_efficiency = 2; }),
               Catch::Contains("drive_efficiency: 2"));
    CHECK_THAT(refusal([](Boat& b) { b.shaft_power_max_W = 0; }),
               Catch::Contains("shaft_power_max_W: 0"));
    CHECK_THAT(refusal([](Boat& b) { b.auxiliary_power_W = std::nan(""); }),
               Catch::Contains("auxiliary_power_W: nan"));
    CHECK_THROWS_WITH(propeller_load(Boat{}, {{0, 1}, {1, 1}, {0, 0}, "way.csv"}),
                      Catch::Contains("way.csv: has a grade"));
    CHECK_THROWS_WITH(propeller_load(Boat{}, {{0, 1}, {1, -1}, {}, "way.csv"}),
                      Catch::Contains("speed_m_per_s[1]: -1"));
}

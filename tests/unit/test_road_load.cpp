// Road load: balances of energy that must close whatever the trace, bounds of the drive, bad input.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <string>
#include <vector>

#include "support/example_cell.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/simulate/road_load.hpp"

using voltkeel::CoastDown;
using voltkeel::Error;
using voltkeel::road_load;
using voltkeel::RoadLoad;
using voltkeel::RoadVehicle;
using voltkeel::SpeedTrace;
using voltkeel_test::Random;

namespace {

SpeedTrace random_trace(Random& random, int rows) {
    SpeedTrace trace;
    double time_s = random.uniform(-100, 100);
    double speed = random.uniform(0, 30);
    const bool hilly = random.whole(0, 1) == 1;
    for (int k = 0; k < rows; ++k) {
        trace.time_s.push_back(time_s);
        trace.speed_m_per_s.push_back(speed);
        if (hilly) trace.grade.push_back(random.uniform(-0.12, 0.12));
        time_s += random.whole(0, 3) == 0 ? random.uniform(0.1, 20) : 1.0;
        // Stops, constant speeds and everything between.
        const int what = random.whole(0, 9);
        if (what == 0) speed = 0;
        if (what > 1) speed = std::min(60.0, std::max(0.0, speed + random.uniform(-4, 4)));
    }
    return trace;
}

RoadVehicle random_vehicle(Random& random) {
    RoadVehicle vehicle;
    vehicle.mass_kg = random.uniform(200, 20000);
    vehicle.rotating_mass_factor = random.uniform(1, 1.2);
    vehicle.rolling_resistance = random.uniform(0, 0.03);
    vehicle.drag_area_m2 = random.uniform(0, 5);
    if (random.whole(0, 2) == 0) {
        vehicle.coast_down =
            CoastDown{random.uniform(0, 300), random.uniform(-3, 5), random.uniform(0.1, 1)};
    }
    vehicle.drive_efficiency = random.uniform(0.3, 1);
    vehicle.regeneration_efficiency = random.uniform(0.1, 1);
    vehicle.regeneration_share = random.uniform(0, 1);
    vehicle.regeneration_start_m_per_s = random.uniform(0, 5);
    vehicle.regeneration_full_m_per_s =
        vehicle.regeneration_start_m_per_s + (random.whole(0, 1) == 0 ? 0 : random.uniform(0, 10));
    vehicle.regeneration_power_max_W = random.uniform(0, 4e4);
    vehicle.drive_power_max_W = random.uniform(1e3, 2e5);
    vehicle.auxiliary_power_W = random.uniform(0, 2000);
    return vehicle;
}

std::string refusal(void (*change)(RoadVehicle&)) {
    RoadVehicle vehicle;
    vehicle.name = "van";
    change(vehicle);
    try {
        voltkeel::check_road_vehicle(vehicle);
    } catch (const Error& error) {
        return error.what();
    }
    return "";
}

}  // namespace

TEST_CASE("energy balances close on any trace") {
    Random random(701);
    for (int k = 0; k < 300; ++k) {
        CAPTURE(k);
        const RoadVehicle vehicle = random_vehicle(random);
        const SpeedTrace trace = random_trace(random, random.whole(2, 60));
        const RoadLoad load = road_load(vehicle, trace);
        const voltkeel::RoadEnergy& e = load.energy;
        const double scale = 1e-9 * (e.traction_Wh + e.braking_Wh + 1e-9);
        CHECK(std::abs(e.traction_Wh - e.braking_Wh -
                       (e.resistance_Wh + e.drag_Wh + e.climb_Wh + e.kinetic_Wh)) < scale);
        CHECK(std::abs(e.traction_Wh - e.drive_Wh * vehicle.drive_efficiency - e.shortfall_Wh) <
              scale);
        const double at_wheels = e.braking_Wh - e.friction_brake_Wh;
        CHECK(std::abs(at_wheels * vehicle.regeneration_efficiency - e.regenerated_Wh) < scale);
        CHECK(e.friction_brake_Wh >= -scale);
        CHECK(at_wheels <= vehicle.regeneration_share * e.braking_Wh + scale);

        // The kinetic energy is that of the ends, whatever lies between.
        const double first = trace.speed_m_per_s.front();
        const double last = trace.speed_m_per_s.back();
        const double kinetic_J =
            0.5 * vehicle.rotating_mass_factor * vehicle.mass_kg * (last * last - first * first);
        CHECK(std::abs(e.kinetic_Wh - kinetic_J / 3600) < scale);

        double net_J = 0;
        for (std::size_t row = 1; row < trace.size(); ++row) {
            net_J += load.power_W[row] * (trace.time_s[row] - trace.time_s[row - 1]);
            CHECK(load.power_W[row] <=
                  vehicle.regeneration_power_max_W - vehicle.auxiliary_power_W + 1e-6);
            CHECK(load.power_W[row] >=
                  -vehicle.drive_power_max_W - vehicle.auxiliary_power_W - 1e-6);
        }
        CHECK(std::abs(net_J / 3600 - e.net_Wh) < scale + 1e-9 * std::abs(e.net_Wh));
    }
}

TEST_CASE("rows put in between do not change the energy") {
    // A trace is straight lines: halving every step is the same trace.
    Random random(702);
    for (int k = 0; k < 60; ++k) {
        CAPTURE(k);
        const RoadVehicle vehicle = random_vehicle(random);
        const SpeedTrace trace = random_trace(random, 20);
        SpeedTrace fine;
        for (std::size_t row = 0; row < trace.size(); ++row) {
            if (row > 0) {
                fine.time_s.push_back(0.5 * (trace.time_s[row - 1] + trace.time_s[row]));
                fine.speed_m_per_s.push_back(
                    0.5 * (trace.speed_m_per_s[row - 1] + trace.speed_m_per_s[row]));
                if (!trace.grade.empty()) fine.grade.push_back(trace.grade[row]);
            }
            fine.time_s.push_back(trace.time_s[row]);
            fine.speed_m_per_s.push_back(trace.speed_m_per_s[row]);
            if (!trace.grade.empty()) fine.grade.push_back(trace.grade[row]);
        }
        const voltkeel::RoadEnergy coarse = road_load(vehicle, trace).energy;
        const voltkeel::RoadEnergy finer = road_load(vehicle, fine).energy;
        CHECK(finer.drive_Wh == Approx(coarse.drive_Wh).epsilon(1e-9).margin(1e-9));
        CHECK(finer.regenerated_Wh == Approx(coarse.regenerated_Wh).epsilon(1e-9).margin(1e-9));
        CHECK(finer.shortfall_Wh == Approx(coarse.shortfall_Wh).epsilon(1e-8).margin(1e-9));
    }
}

TEST_CASE("a stop from 20 m/s returns what the bounds let through") {
    RoadVehicle vehicle;
    vehicle.mass_kg = 1000;
    vehicle.rotating_mass_factor = 1;
    vehicle.rolling_resistance = 0;
    vehicle.drag_area_m2 = 0;
    vehicle.regeneration_share = 0.5;
    vehicle.regeneration_efficiency = 0.8;
    vehicle.regeneration_start_m_per_s = 5;
    vehicle.regeneration_full_m_per_s = 5;
    vehicle.auxiliary_power_W = 0;
    const SpeedTrace stop{{0, 10}, {20, 0}, {}, ""};
    // Kinetic energy from 20 to 5 m/s, half of it taken, at 80 %.
    CHECK(road_load(vehicle, stop).energy.regenerated_Wh ==
          Approx(0.5 * 1000 * (400 - 25) * 0.5 * 0.8 / 3600).epsilon(1e-12));
    // Power is 2000 N times v; 10 kW into the pack are met at 12.5 m/s. Above it 10 kW flow for
    // 3.75 s, below it energy from 12.5 to 5 m/s.
    vehicle.regeneration_power_max_W = 10e3;
    CHECK(road_load(vehicle, stop).energy.regenerated_Wh ==
          Approx((10e3 * 3.75 + 0.5 * 1000 * (156.25 - 25) * 0.4) / 3600).epsilon(1e-9));
    vehicle.regeneration_share = 0;
    CHECK(road_load(vehicle, stop).energy.regenerated_Wh == 0);
    CHECK(road_load(vehicle, stop).energy.friction_brake_Wh ==
          Approx(0.5 * 1000 * 400 / 3600.0).epsilon(1e-12));
}

TEST_CASE("what the drive cannot give is told, not hidden") {
    RoadVehicle vehicle;
    vehicle.drive_power_max_W = 20e3;
    const SpeedTrace start{{0, 10}, {0, 25}, {}, ""};
    const RoadLoad load = road_load(vehicle, start);
    CHECK(load.shortfall_W[1] > 0);
    CHECK(load.power_W[1] > -20e3 - vehicle.auxiliary_power_W);
    const SpeedTrace slow{{0, 100}, {0, 5}, {}, ""};
    CHECK(road_load(vehicle, slow).shortfall_W[1] == 0);
}

TEST_CASE("standing still costs the auxiliaries only, on a hill too") {
    RoadVehicle vehicle;
    const RoadLoad load = road_load(vehicle, {{0, 60, 120}, {0, 0, 0}, {0, 0.2, -0.2}, ""});
    for (const double power : load.power_W)
        CHECK(power == -vehicle.auxiliary_power_W);
    CHECK(load.energy.net_Wh == Approx(-vehicle.auxiliary_power_W * 120 / 3600).epsilon(1e-14));
    CHECK(load.distance_m == 0);
}

TEST_CASE("a vehicle out of bounds is refused by field, value and bound") {
    const double nan = std::numeric_limits<double>::quiet_NaN();
    CHECK(refusal([](RoadVehicle&) {}).empty());
    CHECK(refusal([](RoadVehicle& v) { v.mass_kg = 0; }) ==
          "vehicle 'van': mass_kg: 0 is outside 1 .. 1e+06");
    CHECK_THAT(refusal([](RoadVehicle& v) { v.rotating_mass_factor = 0.9; }),
               Catch::Contains("rotating_mass_factor: 0.9"));
    CHECK_THAT(refusal([](RoadVehicle& v) { v.rolling_resistance = -0.01; }),
               Catch::Contains("rolling_resistance"));
    CHECK_THAT(refusal([](RoadVehicle& v) { v.drag_area_m2 = -1; }),
               Catch::Contains("drag_area_m2"));
    CHECK_THAT(refusal([](RoadVehicle& v) { v.air_density_kg_per_m3 = 12; }),
               Catch::Contains("air_density_kg_per_m3"));
    CHECK_THAT(refusal([](RoadVehicle& v) {
                   v.coast_down = CoastDown{-1, 0, 0};
               }),
               Catch::Contains("coast_down.a_N"));
    CHECK_THAT(refusal([](RoadVehicle& v) { v.drive_efficiency = 0; }),
               Catch::Contains("drive_efficiency: 0 must be above 0 and at most 1"));
    CHECK_THAT(refusal([](RoadVehicle& v) { v.drive_efficiency = 1.01; }),
               Catch::Contains("drive_efficiency"));
    CHECK_THAT(refusal([](RoadVehicle& v) { v.regeneration_efficiency = 1.1; }),
               Catch::Contains("regeneration_efficiency"));
    CHECK_THAT(refusal([](RoadVehicle& v) { v.regeneration_share = -0.1; }),
               Catch::Contains("regeneration_share"));
    CHECK_THAT(refusal([](RoadVehicle& v) { v.regeneration_full_m_per_s = 1; }),
               Catch::Contains("regeneration_full_m_per_s: 1 is outside 1.5 .. 150"));
    CHECK_THAT(refusal([](RoadVehicle& v) { v.regeneration_power_max_W = -1; }),
               Catch::Contains("regeneration_power_max_W"));
    CHECK_THAT(refusal([](RoadVehicle& v) { v.drive_power_max_W = 0; }),
               Catch::Contains("drive_power_max_W"));
    CHECK_THAT(refusal([](RoadVehicle& v) { v.auxiliary_power_W = -1; }),
               Catch::Contains("auxiliary_power_W"));
    RoadVehicle vehicle;
    vehicle.mass_kg = nan;
    CHECK_THROWS_AS(road_load(vehicle, {{0, 1}, {0, 1}, {}, ""}), Error);
    CHECK_THROWS_WITH(road_load(RoadVehicle{}, {{0, 0}, {0, 1}, {}, "x.csv"}),
                      Catch::Contains("x.csv: time_s[1]"));
}

TEST_CASE("forces and powers of one instant are refused out of bounds") {
    const RoadVehicle vehicle;
    const double nan = std::numeric_limits<double>::quiet_NaN();
    CHECK_THROWS_WITH(voltkeel::traction_force_N(vehicle, -1),
                      Catch::Contains("speed_m_per_s: -1 is outside 0 .. 150"));
    CHECK_THROWS_WITH(voltkeel::traction_force_N(vehicle, 1, nan),
                      Catch::Contains("acceleration_m_per_s2: nan"));
    CHECK_THROWS_WITH(voltkeel::traction_force_N(vehicle, 1, 0, 5),
                      Catch::Contains("grade: 5 is outside -0.5 .. 0.5"));
    CHECK_THROWS_WITH(voltkeel::road_pack_power_W(vehicle, nan, 1),
                      Catch::Contains("traction_power_W: nan"));
    CHECK_THROWS_WITH(voltkeel::road_pack_power_W(vehicle, 1e3, 151),
                      Catch::Contains("speed_m_per_s: 151"));
    RoadVehicle light;
    light.mass_kg = 0;
    CHECK_THROWS_WITH(voltkeel::traction_force_N(light, 1), Catch::Contains("mass_kg: 0"));
    CHECK_THROWS_WITH(voltkeel::road_pack_power_W(light, 1, 1), Catch::Contains("mass_kg: 0"));
    // Times too near for the change of speed: not a force of infinity.
    CHECK_THROWS_WITH(road_load(vehicle, {{0, 1, 1.0001}, {0, 1, 2}, {}, "way.csv"}),
                      Catch::Contains("way.csv: speed_m_per_s[2]: from 1 to 2 in 0.0001 s is more "
                                      "than 1000 m/s^2"));
    CHECK_THROWS_AS(road_load(vehicle, {{0, 1e-320}, {0, 1}, {}, ""}), Error);
}

TEST_CASE("power of the pack at an instant is that of a trace which stays there") {
    Random random(703);
    for (int k = 0; k < 100; ++k) {
        CAPTURE(k);
        const RoadVehicle vehicle = random_vehicle(random);
        const double speed = random.uniform(0, 40);
        const double grade = random.uniform(-0.12, 0.12);
        const double wheels_W = speed * voltkeel::traction_force_N(vehicle, speed, 0, grade);
        const RoadLoad load = road_load(vehicle, {{0, 7}, {speed, speed}, {0, grade}, ""});
        CHECK(load.traction_power_W[1] == Approx(wheels_W).epsilon(1e-12).margin(1e-9));
        CHECK(load.power_W[1] ==
              Approx(voltkeel::road_pack_power_W(vehicle, wheels_W, speed)).epsilon(1e-12));
    }
}

TEST_CASE("a long trace reports progress and can be cancelled") {
    SpeedTrace trace;
    for (int k = 0; k < 20000; ++k) {
        trace.time_s.push_back(k);
        trace.speed_m_per_s.push_back(10 + 5 * std::sin(0.05 * k));
    }
    std::vector<double> shares;
    (void)road_load(RoadVehicle{}, trace, [&](double share) {
        shares.push_back(share);
        return true;
    });
    REQUIRE(shares.size() >= 3);
    CHECK(std::is_sorted(shares.begin(), shares.end()));
    CHECK(shares.back() < 1);
    CHECK_THROWS_WITH(road_load(RoadVehicle{}, trace, [](double) { return false; }),
                      Catch::Contains("cancelled"));
}

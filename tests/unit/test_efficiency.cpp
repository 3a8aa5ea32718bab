// Efficiencies over power: the curve itself, loads against sums over fine steps, files, bad input.

#include <catch2/catch.hpp>
#include <cmath>
#include <string>
#include <variant>
#include <vector>

#include "support/error_text.hpp"
#include "support/example_cell.hpp"
#include "support/scalars.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/simulate/vehicle_file.hpp"

using namespace voltkeel;
using voltkeel_test::error_text;
using voltkeel_test::Random;

namespace {

/// Usual for an electric drive: poor at small powers, best at half, a little less at full.
/// Invented.
EfficiencyCurve usual_curve() {
    return {{0.02, 0.1, 0.5, 1}, {0.55, 0.82, 0.93, 0.9}};
}

EfficiencyCurve random_curve(Random& random) {
    EfficiencyCurve curve;
    double fraction = random.uniform(0, 0.1);
    double efficiency = random.uniform(0.4, 0.8);
    for (int k = 0; k < 5; ++k) {
        curve.power_fraction.push_back(fraction);
        curve.efficiency.push_back(efficiency);
        const double next = fraction + random.uniform(0.05, 0.2);
        // So that power in and power out rise together.
        const double most = fraction > 0 ? 0.9 * efficiency * next / fraction : 0.99;
        efficiency = std::min(std::min(0.98, most), efficiency + random.uniform(-0.02, 0.12));
        fraction = next;
    }
    return curve;
}

/// Mean over a straight line of speed, by so many midpoints that kinks do not matter.
template <class Function>
double fine_mean(const Function& f, double from, double to) {
    const int pieces = 4000;
    double sum = 0;
    for (int k = 0; k < pieces; ++k)
        sum += f(from + (to - from) * (k + 0.5) / pieces);
    return sum / pieces;
}

}  // namespace

TEST_CASE("an efficiency follows straight lines and is held outside") {
    const EfficiencyCurve curve = usual_curve();
    CHECK(curve.at(0) == 0.55);
    CHECK(curve.at(0.06) == Approx(0.685));
    CHECK(curve.at(0.5) == Approx(0.93));
    CHECK(curve.at(1) == 0.9);
    CHECK(curve.at(2) == 0.9);
}

TEST_CASE("mechanical powers are found back from electric ones") {
    Random random(811);
    for (int k = 0; k < 300; ++k) {
        const EfficiencyCurve curve = random_curve(random);
        check_efficiency_curve("curve", curve);
        const double fraction = random.uniform(0, 1.3);
        CAPTURE(k, fraction, curve.power_fraction, curve.efficiency);
        CHECK(motor_fraction(curve, fraction / curve.at(fraction)) ==
              Approx(fraction).epsilon(1e-12).margin(1e-15));
        CHECK(generator_fraction(curve, fraction * curve.at(fraction)) ==
              Approx(fraction).epsilon(1e-12).margin(1e-15));
    }
}

TEST_CASE("a road load with curves is the mean of its instants") {
    Random random(812);
    for (int round = 0; round < VOLTKEEL_CASES(12, 3); ++round) {
        RoadVehicle vehicle;
        vehicle.mass_kg = random.uniform(800, 3000);
        vehicle.drive_power_max_W = random.uniform(30e3, 90e3);
        vehicle.regeneration_power_max_W = random.uniform(5e3, 40e3);
        vehicle.drive_efficiency_curve = random_curve(random);
        vehicle.regeneration_efficiency_curve = random_curve(random);
        SpeedTrace trace;
        for (int k = 0; k < 5; ++k) {
            trace.time_s.push_back(8.0 * k);
            trace.speed_m_per_s.push_back(random.uniform(0, 30));
        }
        const RoadLoad load = road_load(vehicle, trace);
        for (std::size_t k = 1; k < trace.size(); ++k) {
            const double from = trace.speed_m_per_s[k - 1];
            const double to = trace.speed_m_per_s[k];
            const double acceleration = (to - from) / 8;
            const double mean_W = fine_mean(
                [&](double v) {
                    return road_pack_power_W(vehicle,
                                             v * traction_force_N(vehicle, v, acceleration), v);
                },
                from, to);
            CAPTURE(round, k, from, to);
            CHECK(load.power_W[k] == Approx(mean_W).epsilon(1e-6).margin(0.02));
        }
        const RoadEnergy& sum = load.energy;
        CHECK(sum.traction_Wh == Approx(sum.delivered_Wh + sum.shortfall_Wh).epsilon(1e-9));
        CHECK(sum.braking_Wh == Approx(sum.taken_Wh + sum.friction_brake_Wh).epsilon(1e-12));
        CHECK(sum.delivered_Wh < sum.drive_Wh);
        CHECK(sum.regenerated_Wh <= sum.taken_Wh);
        CHECK((sum.friction_brake_Wh > 0) == (sum.braking_Wh > 0));
        CHECK(sum.net_Wh ==
              Approx(sum.regenerated_Wh - sum.drive_Wh - sum.auxiliary_Wh).epsilon(1e-12));
    }
}

TEST_CASE("a drive with a curve gives all that its electric bound allows") {
    RoadVehicle vehicle;
    vehicle.auxiliary_power_W = 0;
    vehicle.drive_efficiency_curve = usual_curve();
    // f = 0.96 - 0.06 f on the last piece: f = 0.96 / 1.06.
    const double most_W = 120e3 * 0.96 / 1.06;
    CHECK(road_pack_power_W(vehicle, most_W * (1 - 1e-9), 20) == Approx(-120e3));
    CHECK(road_pack_power_W(vehicle, 1e6, 20) == -120e3);
    CHECK(road_pack_power_W(vehicle, 0.06 * 120e3, 20) == Approx(-0.06 * 120e3 / 0.685));
    SpeedTrace trace;
    trace.time_s = {0, 1};
    trace.speed_m_per_s = {30, 40};
    const RoadLoad load = road_load(vehicle, trace);
    CHECK(load.power_W[1] == Approx(-120e3));
    CHECK(load.traction_power_W[1] - load.shortfall_W[1] == Approx(most_W).epsilon(1e-9));
}

TEST_CASE("a propeller load with a curve is the mean of its instants") {
    Random random(813);
    for (int round = 0; round < 60; ++round) {
        Boat boat;
        boat.exponent = random.uniform(1, 4.5);
        boat.shaft_power_max_W = random.uniform(10e3, 30e3);
        boat.drive_efficiency_curve = random_curve(random);
        const double from = round % 4 == 0 ? 0 : random.uniform(0, 5);
        const double to = random.uniform(0, 5);
        const PropellerLoad load = propeller_load(boat, {{0, 100}, {from, to}, {}, ""});
        const double mean_W = fine_mean(
            [&](double v) {
                const double shaft_W = std::min(shaft_power_W(boat, v), boat.shaft_power_max_W);
                return shaft_W / boat.drive_efficiency_curve->at(shaft_W / boat.shaft_power_max_W);
            },
            from, to);
        CAPTURE(round, boat.exponent, from, to);
        CHECK(load.power_W[1] == Approx(-mean_W - 400).epsilon(1e-6));
        CHECK(load.drive_Wh == Approx(mean_W * 100 / 3600).epsilon(1e-6));
        CHECK(load.net_Wh == Approx(-load.drive_Wh - load.auxiliary_Wh).epsilon(1e-12));
    }
}

TEST_CASE("a flat curve is a constant") {
    RoadVehicle constant;
    constant.drive_efficiency = 0.85;
    constant.regeneration_efficiency = 0.7;
    RoadVehicle flat = constant;
    flat.drive_efficiency_curve = EfficiencyCurve{{0, 1}, {0.85, 0.85}};
    flat.regeneration_efficiency_curve = EfficiencyCurve{{0.3}, {0.7}};
    const SpeedTrace trace = {{0, 5, 10, 20, 25}, {0, 20, 35, 10, 0}, {}, ""};
    const RoadLoad one = road_load(constant, trace);
    const RoadLoad other = road_load(flat, trace);
    for (std::size_t k = 0; k < trace.size(); ++k) {
        CHECK(one.power_W[k] == Approx(other.power_W[k]).epsilon(1e-12));
        CHECK(one.shortfall_W[k] == Approx(other.shortfall_W[k]).epsilon(1e-9).margin(1e-6));
    }
    CHECK(one.energy.friction_brake_Wh == Approx(other.energy.friction_brake_Wh).epsilon(1e-12));
    CHECK(one.energy.delivered_Wh == Approx(0.85 * one.energy.drive_Wh).epsilon(1e-12));
    CHECK(one.energy.regenerated_Wh == Approx(0.7 * one.energy.taken_Wh).epsilon(1e-12));
    Boat boat;
    Boat flat_boat = boat;
    flat_boat.drive_efficiency_curve = EfficiencyCurve{{0, 1}, {0.88, 0.88}};
    CHECK(propeller_load(boat, {{0, 10}, {0, 4}, {}, ""}).power_W[1] ==
          Approx(propeller_load(flat_boat, {{0, 10}, {0, 4}, {}, ""}).power_W[1]).epsilon(1e-10));
}

TEST_CASE("curves stand in vehicle files") {
    const auto read = [](const std::string& fields) {
        return parse_vehicle(
            R"({"format": "voltkeel.vehicle", "format_version": 1, "name": "x", )" + fields + "}",
            "x.json");
    };
    const auto road = std::get<RoadVehicle>(read(R"("road": {"mass_kg": 900,
            "drive_efficiency_curve": {"power_fraction": [0, 0.5], "efficiency": [0.6, 0.9]},
            "regeneration_efficiency_curve": {"power_fraction": [0.5], "efficiency": [0.8]}})"));
    REQUIRE(road.drive_efficiency_curve);
    CHECK(road.drive_efficiency_curve->efficiency == std::vector<double>{0.6, 0.9});
    REQUIRE(road.regeneration_efficiency_curve);
    CHECK(road.regeneration_efficiency_curve->power_fraction == std::vector<double>{0.5});
    const auto refused = [&](const std::string& curve) {
        return error_text([&] {
            (void)read(R"("boat": {"reference_speed_m_per_s": 2, "reference_shaft_power_W": 5000,
                "drive_efficiency_curve": )" +
                       curve + "}");
        });
    };
    CHECK(refused(R"({"power_fraction": [0, 1], "efficiency": [0.6, 0.9]})").empty());
    CHECK(refused(R"({"power_fraction": [0, 1], "efficiency": [0.6]})") ==
          "x.json: boat 'x': drive_efficiency_curve: has 2 power fractions and 1 efficiencies, "
          "needs as many, at least 1");
    CHECK(refused(R"({"power_fraction": [0.5, 0.5], "efficiency": [0.6, 0.7]})") ==
          "x.json: boat 'x': drive_efficiency_curve.power_fraction[1]: 0.5 must be above 0.5");
    CHECK_THAT(refused(R"({"power_fraction": [0.1, 0.2], "efficiency": [0.4, 0.9]})"),
               Catch::Contains("drive_efficiency_curve.efficiency[1]: 0.9 is more than 0.8"));
    CHECK_THAT(refused(R"({"power_fraction": [0.5, 0.6], "efficiency": [0.9, 0.5]})"),
               Catch::Contains("more power in would give less out"));
    CHECK_THAT(refused(R"({"power_fraction": [0, 1.5], "efficiency": [0.6, 0.7]})"),
               Catch::StartsWith("x.json: /boat/drive_efficiency_curve/power_fraction/1: 1.5"));
    CHECK_THAT(error_text([] {
                   check_efficiency_curve("curve", {{0, NAN}, {0.5, 0.5}});
               }),
               Catch::StartsWith("curve.power_fraction[1]: nan is outside"));
}

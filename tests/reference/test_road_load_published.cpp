// Road load against numbers from outside: worked powers at the wheels, and the distance and energy
// of a published driving cycle.

#include <catch2/catch.hpp>
#include <cmath>
#include <string>
#include <utility>
#include <vector>

#include "voltkeel/simulate/propeller.hpp"
#include "voltkeel/simulate/road_load.hpp"

using voltkeel::RoadVehicle;
using voltkeel::SpeedTrace;

namespace {

constexpr double kmh = 1 / 3.6;

RoadVehicle worked_vehicle() {
    RoadVehicle vehicle;
    vehicle.mass_kg = 1500;
    vehicle.rolling_resistance = 0.01;
    vehicle.drag_area_m2 = 0.65;
    vehicle.air_density_kg_per_m3 = 1.2041;
    vehicle.rotating_mass_factor = 1.04;
    return vehicle;
}

/// The New European Driving Cycle: UN Regulation 83, Annex 4 (four elementary urban cycles and one
/// extra-urban). Breakpoints (s, km/h) from memory, not re-read.
using Points = std::vector<std::pair<double, double>>;

const Points& urban() {
    static const Points points = {{0, 0},    {11, 0},   {15, 15},  {23, 15},  {25, 10},
                                  {28, 0},   {49, 0},   {54, 15},  {56, 15},  {61, 32},
                                  {85, 32},  {93, 10},  {96, 0},   {117, 0},  {122, 15},
                                  {124, 15}, {133, 35}, {135, 35}, {143, 50}, {155, 50},
                                  {163, 35}, {178, 35}, {185, 10}, {188, 0},  {195, 0}};
    return points;
}

const Points& extra_urban() {
    static const Points points = {
        {0, 0},     {20, 0},    {25, 15},  {27, 15},  {36, 35},  {38, 35},  {46, 50},   {48, 50},
        {61, 70},   {111, 70},  {119, 50}, {188, 50}, {201, 70}, {251, 70}, {286, 100}, {316, 100},
        {336, 120}, {346, 120}, {362, 80}, {370, 50}, {380, 0},  {400, 0}};
    return points;
}

void append(SpeedTrace& trace, const Points& points) {
    const double start = trace.time_s.empty() ? 0 : trace.time_s.back();
    for (const auto& [time_s, speed] : points) {
        if (!trace.time_s.empty() && time_s == 0) continue;
        trace.time_s.push_back(start + time_s);
        trace.speed_m_per_s.push_back(speed * kmh);
    }
}

SpeedTrace whole_cycle() {
    SpeedTrace trace;
    for (int k = 0; k < 4; ++k)
        append(trace, urban());
    append(trace, extra_urban());
    return trace;
}

}  // namespace

TEST_CASE("power at the wheels of a worked example") {
    // 1500 kg, 0.01, 0.65 m^2, 1.2041 kg/m^3, inertia 1.04: computed apart from this code with 30
    // digits from the equation at the top of road_load.hpp.
    const RoadVehicle vehicle = worked_vehicle();
    const auto power_kW = [&](double speed_km_per_h, double acceleration) {
        const double v = speed_km_per_h * kmh;
        return v * voltkeel::traction_force_N(vehicle, v, acceleration) / 1000;
    };
    CHECK(std::abs(power_kW(50, 0) - 3.0915) < 5e-5);
    CHECK(std::abs(power_kW(100, 0) - 12.4737) < 5e-5);
    CHECK(std::abs(power_kW(120, 0) - 19.3971) < 5e-5);
    CHECK(std::abs(power_kW(50, 1) - 24.7582) < 5e-5);
    CHECK(std::abs(voltkeel::traction_force_N(vehicle, 0) - 147.10) < 5e-3);
    CHECK(std::abs(voltkeel::traction_force_N(vehicle, 100 * kmh) - 147.10 - 301.95) < 1e-2);
    // 5 % uphill: m g sin(atan(0.05)) = 734.58 N more; the weight on the wheels is 0.125 % less.
    const double climb = voltkeel::traction_force_N(vehicle, 10, 0, 0.05) -
                         voltkeel::traction_force_N(vehicle, 10, 0, 0);
    CHECK(climb == Approx(1500 * 9.80665 *
                          (std::sin(std::atan(0.05)) + 0.01 * (std::cos(std::atan(0.05)) - 1)))
                       .epsilon(1e-12));
}

TEST_CASE("distance of the New European Driving Cycle") {
    // 1180 s, 11.007 km; extra-urban part 400 s, 6.955 km; highest speed 120 km/h, urban 50 km/h
    // (UN Regulation 83, from memory, not re-read). The extra-urban distance is exact to the last
    // digit printed; the urban one differs in how its gear changes are counted.
    const SpeedTrace trace = whole_cycle();
    CHECK(trace.time_s.back() == 1180);
    CHECK(std::abs(voltkeel::distance_m(trace) - 11007) < 0.005 * 11007);
    SpeedTrace fast;
    append(fast, extra_urban());
    CHECK(fast.time_s.back() == 400);
    CHECK(std::abs(voltkeel::distance_m(fast) - 6955) < 0.5);
}

TEST_CASE("energy of the cycle against sums worked by hand from its breakpoints") {
    // Without regeneration and at efficiency 1 the pack gives what the wheels take. On straight
    // lines of speed the textbook sums are: rolling A s, drag C times the integral of v^3. Braking
    // is what is left of the kinetic energy in the decelerations, all of which here brake harder
    // than the road does.
    RoadVehicle vehicle = worked_vehicle();
    vehicle.drive_efficiency = 1;
    vehicle.regeneration_share = 0;
    vehicle.auxiliary_power_W = 0;
    vehicle.drive_power_max_W = 1e6;
    const SpeedTrace trace = whole_cycle();
    const double a = 0.01 * 1500 * 9.80665;
    const double c = 0.5 * 1.2041 * 0.65;
    double traction_J = 0;
    for (std::size_t k = 1; k < trace.size(); ++k) {
        const double from = trace.speed_m_per_s[k - 1];
        const double to = trace.speed_m_per_s[k];
        const double dt = trace.time_s[k] - trace.time_s[k - 1];
        if (to < from) {
            // No step of this cycle turns from braking to driving on the way.
            REQUIRE(1.04 * 1500 * (from - to) / dt > a + c * from * from);
            continue;
        }
        traction_J += 0.5 * 1.04 * 1500 * (to * to - from * from) + a * 0.5 * (from + to) * dt +
                      c * 0.25 * (from + to) * (from * from + to * to) * dt;
    }
    const voltkeel::RoadLoad load = voltkeel::road_load(vehicle, trace);
    CHECK(load.energy.traction_Wh == Approx(traction_J / 3600).epsilon(1e-12));
    CHECK(load.energy.net_Wh == Approx(-traction_J / 3600).epsilon(1e-12));
}

TEST_CASE("the propeller law of the Admiralty coefficient") {
    // P = D^(2/3) V^3 / C (Molland, Turnock, Hudson, Ship Resistance and Propulsion; from memory,
    // not re-read): the same hull at 10 % more speed takes 33.1 % more, at half an eighth, and
    // miles per charge go with the inverse square of the speed.
    voltkeel::Boat boat;
    boat.auxiliary_power_W = 0;
    const auto metres_per_Wh = [&](double speed) {
        const auto load = voltkeel::propeller_load(boat, {{0, 1000}, {speed, speed}, {}, ""});
        return load.distance_m / -load.net_Wh;
    };
    CHECK(voltkeel::shaft_power_W(boat, 2.2) / voltkeel::shaft_power_W(boat, 2) ==
          Approx(1.331).epsilon(1e-12));
    CHECK(metres_per_Wh(1.5) / metres_per_Wh(3) == Approx(4).epsilon(1e-12));
}

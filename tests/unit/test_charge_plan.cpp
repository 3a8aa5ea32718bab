// Zones with hysteresis, and the stages of a plan, run by the forecast.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdint>
#include <filesystem>
#include <limits>
#include <random>
#include <string>

#include "support/error_text.hpp"
#include "support/scalars.hpp"
#include "support/seed.hpp"
#include "support/small_cell.hpp"
#include "voltkeel/charge/plan.hpp"
#include "voltkeel/io/cell_file.hpp"
#include "voltkeel/io/charge_plan_file.hpp"
#include "voltkeel/io/model_state.hpp"

using voltkeel::ChargePhase;
using voltkeel::ChargePlan;
using voltkeel::ChargePlanDescription;
using voltkeel::ChargeStage;
using voltkeel::ModelState;
using voltkeel::PackSupply;
using voltkeel::StageKind;
using voltkeel::Status;
using voltkeel::SupplyKind;
using voltkeel::ZoneLimits;
using voltkeel::ZoneSpan;

namespace {

/// Zones of the JEITA guideline as a published design note of a semiconductor vendor has them: none
/// below 0 degC, half the current to 10, 4.15 V to 50 degC, 4.10 V to 60, none above.
template <class Real>
ChargePlan<Real> jeita() {
    ChargePlan<Real> plan;
    const double zones[4][4] = {
        {0, 10, 2.5, 4.2}, {10, 45, 5, 4.2}, {45, 50, 5, 4.15}, {50, 60, 5, 4.1}};
    for (const auto& z : zones) {
        plan.zones[plan.zone_count++] = {static_cast<Real>(z[0]), static_cast<Real>(z[1]),
                                         static_cast<Real>(z[2]), static_cast<Real>(z[3])};
    }
    plan.end_current_A = static_cast<Real>(0.25);
    plan.zone_hysteresis_K = 2;
    return plan;
}

template <class Real>
ZoneLimits<Real> at(const ChargePlan<Real>& plan, double degC, ZoneSpan<Real>& span) {
    follow_temperature(static_cast<Real>(degC), plan.zone_hysteresis_K, span);
    return zone_limits(plan, span.low_degC, span.high_degC);
}

}  // namespace

TEMPLATE_TEST_CASE("zones: stricter at once, gentler only past the hysteresis", "[charge_plan]",
                   VOLTKEEL_SCALARS) {
    const ChargePlan<TestType> plan = jeita<TestType>();
    REQUIRE(validate(plan).status == Status::ok);
    struct Row {
        double degC;
        double current_A;
        double voltage_V;
    };
    const Row walk[] = {
        {-0.1, 0, 0},     {0.5, 0, 0},      {1.8, 0, 0},    {2, 2.5, 4.2}, {9.9, 2.5, 4.2},
        {10, 2.5, 4.2},   {11.9, 2.5, 4.2}, {12, 5, 4.2},   {10, 5, 4.2},  {9.9, 2.5, 4.2},
        {11.8, 2.5, 4.2}, {12, 5, 4.2},     {44.9, 5, 4.2}, {45, 5, 4.15}, {44.9, 5, 4.15},
        {43.1, 5, 4.15},  {42.9, 5, 4.2},   {50, 5, 4.1},   {49, 5, 4.1},  {47.9, 5, 4.15},
        {60, 5, 4.1},     {60.1, 0, 0},     {59, 0, 0},     {58, 5, 4.1},  {30, 5, 4.2},
    };
    ZoneSpan<TestType> span;
    for (const Row& row : walk) {
        const ZoneLimits<TestType> got = at(plan, row.degC, span);
        CAPTURE(row.degC, span.low_degC, span.high_degC);
        CHECK(got.allowed() == (row.current_A > 0));
        CHECK(static_cast<double>(got.current_A) == Approx(row.current_A).margin(1e-9));
        CHECK(static_cast<double>(got.voltage_V) == Approx(row.voltage_V).margin(1e-9));
    }
}

TEMPLATE_TEST_CASE("zones: random walks never get more than the zone they are in, nor chatter",
                   "[charge_plan]", VOLTKEEL_SCALARS) {
    const std::uint64_t seed = voltkeel_test::seed();
    std::mt19937_64 random(seed);
    const ChargePlan<TestType> plan = jeita<TestType>();
    std::normal_distribution<double> noise(0, 0.3);
    for (const double edge : {0.0, 10.0, 45.0, 50.0, 60.0}) {
        // A temperature that hovers about an edge changes zone once, not with its noise.
        ZoneSpan<TestType> span;
        ZoneLimits<TestType> last = at(plan, edge, span);
        int changes = 0;
        for (int k = 0; k < 5000; ++k) {
            const double degC = edge + std::max(-0.9, std::min(0.9, noise(random)));
            const ZoneLimits<TestType> now = at(plan, degC, span);
            changes += now.allowed() != last.allowed() || now.current_A != last.current_A ||
                       now.voltage_V != last.voltage_V;
            last = now;
            const auto* const zone = zone_for(plan, static_cast<TestType>(degC));
            CAPTURE(seed, edge, degC);
            CHECK(now.current_A <= (zone == nullptr ? 0 : zone->current_A));
            CHECK(now.voltage_V <= (zone == nullptr ? 0 : zone->voltage_V));
        }
        CHECK(changes <= 1);
    }
    // A gap between zones is not bridged.
    ChargePlan<TestType> gap = plan;
    gap.zones[0].temperature_max_degC = 8;
    ZoneSpan<TestType> span;
    CHECK(at(gap, 7, span).allowed());
    CHECK_FALSE(at(gap, 9, span).allowed());
    CHECK_FALSE(at(gap, 10.5, span).allowed());
    CHECK_FALSE(at(gap, 11.9, span).allowed());
    CHECK(at(gap, 12.1, span).allowed());
}

TEST_CASE("a plan that cannot be is named with field, index, value and bound", "[charge_plan]") {
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const auto wrong = [](auto change, Status status, const std::string& field, int index) {
        ChargePlan<double> plan = jeita<double>();
        plan.stage_count = 2;
        plan.stages[0].kind = StageKind::constant_power;
        plan.stages[0].power_W = 10;
        change(plan);
        const auto finding = validate(plan);
        CAPTURE(field);
        CHECK(finding.status == status);
        CHECK(finding.field == field);
        CHECK(finding.index == index);
    };
    const Status range = Status::out_of_range;
    wrong([](auto&) {}, Status::ok, "", -1);
    wrong([](auto& p) { p.stage_count = 13; }, range, "stage_count", -1);
    wrong([](auto& p) { p.stage_count = -1; }, range, "stage_count", -1);
    wrong([](auto& p) { p.zone_hysteresis_K = -1; }, range, "zone_hysteresis_K", -1);
    wrong([&](auto& p) { p.zone_hysteresis_K = nan; }, Status::not_finite, "zone_hysteresis_K", -1);
    wrong([](auto& p) { p.stages[0].power_W = 0; }, range, "stages.power_W", 0);
    wrong([&](auto& p) { p.stages[1].voltage_V = nan; }, Status::not_finite, "stages.voltage_V", 1);
    wrong([](auto& p) { p.stages[1].voltage_V = 42; }, range, "stages.voltage_V", 1);
    wrong([](auto& p) { p.stages[1].current_A = -2; }, range, "stages.current_A", 1);
    wrong([](auto& p) { p.stages[1].kind = StageKind::rest; }, range, "stages.longest_s", 1);
    wrong([](auto& p) { p.stages[1].kind = StageKind::balancing; }, range, "stages.longest_s", 1);
    wrong([](auto& p) { p.stages[1].kind = static_cast<StageKind>(9); }, range, "stages.kind", 1);
}

TEST_CASE("stages that say what zones say anyway change nothing", "[charge_plan]") {
    const voltkeel::Cell cell = voltkeel_test::small_cell();
    ModelState start;
    start.soc = 0.2;
    ChargePlan<double> plan = cell.charge;
    plan.zones[0].voltage_V = 3.95;
    const auto plain = time_to_full(cell, start, plan, 25);
    REQUIRE(plain.status == Status::ok);
    plan.stage_count = 1;
    const auto staged = time_to_full(cell, start, plan, 25);
    CHECK(staged.forecast.time_s == plain.forecast.time_s);
    CHECK(staged.forecast.end_soc == plain.forecast.end_soc);
    plan.stage_count = 2;
    plan.stages[0].kind = StageKind::constant_current;
    const auto split = time_to_full(cell, start, plan, 25);
    REQUIRE(split.status == Status::ok);
    CHECK(split.forecast.time_s == Approx(plain.forecast.time_s).epsilon(1e-5));
    CHECK(split.forecast.constant_current_s ==
          Approx(plain.forecast.constant_current_s).epsilon(1e-5));
}

TEST_CASE("each stage of a plan does what it says", "[charge_plan]") {
    const voltkeel::Cell cell = voltkeel_test::small_cell();
    ModelState start;
    start.soc = 0.2;
    ChargePlan<double> plan = cell.charge;
    plan.zones[0] = {5, 45, 2.5, 3.95};
    plan.stage_count = 5;
    plan.stages[0] = {StageKind::constant_current, 2, 3.5, 0, 0, 0, 0};
    plan.stages[1] = {StageKind::constant_power, 0, 3.8, 5, 0, 0, 0};
    plan.stages[2] = {StageKind::rest, 0, 0, 0, 0, 600, 0};
    plan.stages[3] = {StageKind::constant_voltage, 0, 0, 0, 0.5, 0, 0};
    plan.stages[4] = {StageKind::balancing, 0, 0, 0, 0, 1200, 0.01};
    const auto run = time_to_full(cell, start, plan, 25);
    REQUIRE(run.status == Status::ok);
    // One cell has nothing to be balanced against.
    CHECK(run.forecast.rest_s == Approx(600).margin(0.01));
    CHECK(run.forecast.constant_current_s + run.forecast.constant_voltage_s +
              run.forecast.constant_power_s + run.forecast.rest_s ==
          Approx(run.forecast.time_s).epsilon(1e-9));
    double highest_V = 0;
    for (const auto& point : run.curve) {
        CAPTURE(point.time_s);
        highest_V = std::max(highest_V, point.voltage_V);
        switch (point.phase) {
            case ChargePhase::constant_power:
                CHECK(point.current_A * point.voltage_V == Approx(5).epsilon(1e-4));
                CHECK(point.voltage_V < 3.8 + 1e-6);
                break;
            case ChargePhase::rest:
            case ChargePhase::balancing:
                CHECK(point.current_A == 0);
                break;
            case ChargePhase::constant_current:
                // The first stage's, or the zone's before the last voltage is reached.
                CHECK((point.current_A == 2 || point.current_A == 2.5));
                break;
            default:
                break;
        }
    }
    CHECK(highest_V == Approx(3.95).epsilon(1e-6));
    // A bound of a stage that is too short ends it.
    plan.stages[0].longest_s = 60;
    const auto cut = time_to_full(cell, start, plan, 25);
    CHECK(cut.status == Status::not_reached);
    CHECK(cut.forecast.time_s == Approx(60).margin(0.01));
}

// Constant power into a source E behind a resistance R gives I = (sqrt(E^2 + 4 R P) - E) / (2 R).
// With the straight OCV E = a + b q of the small cell, without branches, the time for a charge q is
// the integral of dq / I, here by Simpson's rule: another road to the same answer.
TEST_CASE("constant power takes the time that the integral of dq / I says", "[charge_plan]") {
    voltkeel::Cell cell = voltkeel_test::small_cell();
    cell.resistance.branches[0].resistance_ohm = {{1e-9, 1e-9}};
    cell.thermal.heat_capacity_J_per_K = 1e6;
    const double ohm = 0.02;
    const double power_W = 12;
    ModelState start;
    start.soc = 0.1;
    ChargePlan<double> plan = cell.charge;
    plan.zones[0] = {5, 45, 100, 4.1};
    plan.stage_count = 1;
    plan.stages[0] = {StageKind::constant_power, 0, 0, power_W, 0, 0, 0};
    const auto run = time_to_soc(cell, start, plan, 25, 0.8);
    REQUIRE(run.status == Status::ok);
    const auto inverse_A = [&](double soc) {
        const double emf_V = 3 + soc;
        return 2 * ohm / (std::sqrt(emf_V * emf_V + 4 * ohm * power_W) - emf_V);
    };
    constexpr int intervals = 1000;
    double sum = inverse_A(0.1) + inverse_A(0.8);
    for (int k = 1; k < intervals; ++k)
        sum += (k % 2 == 1 ? 4 : 2) * inverse_A(0.1 + 0.7 * k / intervals);
    const double time_s = sum * 0.7 / intervals / 3 * 5 * 3600;
    CHECK(run.forecast.time_s == Approx(time_s).epsilon(1e-5));
    CHECK(run.forecast.constant_power_s == Approx(time_s).epsilon(1e-5));
    CHECK(run.forecast.energy_Wh == Approx(power_W * time_s / 3600).epsilon(1e-5));
    // Stored: 5 Ah times the mean OCV of 3.1 to 3.8 V.
    CHECK(run.forecast.stored_Wh == Approx(0.7 * 5 * 3.45).epsilon(1e-5));
}

TEST_CASE("a supply bounds the forecast and tells the energy from the socket", "[charge_plan]") {
    const voltkeel::Cell cell = voltkeel_test::small_cell();
    ModelState start;
    start.soc = 0.2;
    ChargePlan<double> plan = cell.charge;
    plan.zones[0] = {5, 45, 2.5, 3.95};
    PackSupply pack;
    pack.series = 14;
    pack.parallel = 4;
    pack.supply.kind = SupplyKind::dc_station;
    pack.supply.station = {30, 100, 100, 14 * 4 * 5.0};
    const auto station = time_to_full(cell, start, plan, 25, pack);
    REQUIRE(station.status == Status::ok);
    // The same power as a stage of constant power, then constant voltage.
    ChargePlan<double> staged = plan;
    staged.stage_count = 2;
    staged.stages[0] = {StageKind::constant_power, 0, 0, 5, 0, 0, 0};
    const auto by_stage = time_to_full(cell, start, staged, 25);
    CHECK(station.forecast.time_s == Approx(by_stage.forecast.time_s).epsilon(1e-4));
    CHECK(station.forecast.socket_energy_Wh ==
          Approx(station.forecast.energy_Wh * 56).epsilon(1e-9));
    CHECK(station.forecast.stored_Wh < station.forecast.energy_Wh);

    pack.supply = {};
    pack.supply.ac.outlet_current_A = 6;
    pack.supply.charger.voltage_min_V = 30;
    pack.supply.charger.voltage_max_V = 60;
    pack.supply.charger.current_max_A = 40;
    pack.supply.charger.efficiency.efficiency[0] = 0.8;
    const auto mains = time_to_full(cell, start, plan, 25, pack);
    REQUIRE(mains.status == Status::ok);
    CHECK(mains.forecast.socket_energy_Wh ==
          Approx(mains.forecast.energy_Wh * 56 / 0.8).epsilon(1e-9));
    for (const auto& point : mains.curve) {
        CHECK(point.current_A * 4 <= 40 * (1 + 1e-9));
        CHECK(point.current_A * 4 * point.voltage_V * 14 <= 6 * 230 * 0.8 * (1 + 1e-4));
    }
    // No charger holds more than its own highest voltage.
    pack.supply.charger.voltage_max_V = 14 * 3.8;
    const auto low = time_to_full(cell, start, plan, 25, pack);
    REQUIRE(low.status == Status::ok);
    CHECK(low.forecast.end_soc < 0.81);
    for (const auto& point : low.curve)
        CHECK(point.voltage_V < 3.8 + 1e-6);
    // Nothing comes out of a pilot at rest, nor below the charger's window.
    pack.supply.ac.has_pilot = true;
    pack.supply.ac.duty_cycle_percent = 100;
    const auto off = time_to_full(cell, start, plan, 25, pack);
    CHECK(off.status == Status::not_allowed);
    CHECK(off.forecast.end_phase == ChargePhase::no_supply);
    CHECK(off.forecast.time_s == 0);
    pack.supply.ac.has_pilot = false;
    pack.supply.charger.voltage_min_V = 50;
    CHECK(time_to_full(cell, start, plan, 25, pack).forecast.end_phase == ChargePhase::no_supply);

    pack.series = 0;
    CHECK(voltkeel_test::error_text([&] {
              (void)time_to_full(cell, start, plan, 25, pack);
          }).find("series: 0") != std::string::npos);
    pack.series = 14;
    pack.supply.charger.efficiency.efficiency[0] = 80;
    CHECK(voltkeel_test::error_text([&] {
              (void)time_to_full(cell, start, plan, 25, pack);
          }).find("charger.efficiency") != std::string::npos);
}

TEST_CASE("a plan file that is written and read back is the same", "[charge_plan]") {
    const auto path = std::filesystem::temp_directory_path() /
                      ("voltkeel_plan_" + std::to_string(std::random_device{}()) + ".json");
    ChargePlanDescription description{"invented", "a test", 2, jeita<double>()};
    description.plan.stage_count = 5;
    for (int k = 0; k < 5; ++k) {
        description.plan.stages[k] = {
            static_cast<StageKind>(k), 0.1 * k, 4, 5, 0.1, 60.0 + k, 0.01};
    }
    voltkeel::save_charge_plan(path, description);
    const auto again = voltkeel::load_charge_plan(path);
    std::filesystem::remove(path);
    CHECK(again.name == description.name);
    CHECK(again.source == description.source);
    CHECK(again.for_capacity_Ah == 2);
    CHECK(again.plan.zone_count == 4);
    CHECK(again.plan.zones[2].voltage_V == 4.15);
    CHECK(again.plan.zone_hysteresis_K == 2);
    CHECK(again.plan.stage_count == 5);
    for (int k = 0; k < 5; ++k) {
        CHECK(again.plan.stages[k].kind == description.plan.stages[k].kind);
        CHECK(again.plan.stages[k].current_A == description.plan.stages[k].current_A);
        CHECK(again.plan.stages[k].longest_s == description.plan.stages[k].longest_s);
        CHECK(again.plan.stages[k].end_spread_V == 0.01);
    }
    const ChargePlan<double> large = plan_for(again, 10);
    CHECK(large.zones[1].current_A == 25);
    CHECK(large.end_current_A == 1.25);
    CHECK(large.stages[2].power_W == 25);
    CHECK(large.stages[2].voltage_V == 4);
}

TEST_CASE("the ready plans can be used and say what they are", "[charge_plan]") {
    for (const char* const name : {"nmc_nca", "lfp"}) {
        const auto plan =
            voltkeel::load_charge_plan(std::filesystem::path(VOLTKEEL_SOURCE_DIR) / "data" /
                                       "plan" / (name + std::string(".json")));
        CAPTURE(name);
        CHECK(plan.source.find("replaced by the cell maker's data sheet") != std::string::npos);
        CHECK(plan.for_capacity_Ah == 1);
        CHECK(voltkeel::zone_for(plan.plan, -0.1) == nullptr);
        CHECK(voltkeel::zone_for(plan.plan, 50.1) == nullptr);
    }
}

TEST_CASE("a wrong plan file is named with its place; a cell file takes no stages",
          "[charge_plan]") {
    const auto says = [](const std::string& fields, const std::string& part) {
        const std::string text = voltkeel_test::error_text([&] {
            (void)voltkeel::parse_charge_plan(
                R"({"format": "voltkeel.charge_plan", "format_version": 1, "name": "x",
                    "source": "a test", "end_current_A": 0.1, "zones": [{"temperature_min_degC": 0,
                    "temperature_max_degC": 45, "current_A": 1, "voltage_V": 4.2}])" +
                    fields + "}",
                "plan.json");
        });
        CAPTURE(text);
        CHECK(text.find("plan.json") != std::string::npos);
        CHECK(text.find(part) != std::string::npos);
    };
    says(R"(, "stages": [{"kind": "trickle"}])", "/stages/0/kind");
    says(R"(, "stages": [{"kind": "rest"}])", "stages.longest_s[0]");
    says(R"(, "stages": [{"kind": "rest", "longest_h": 1}])", "longest_h");
    says(R"(, "zone_hysteresis_K": 30)", "zone_hysteresis_K");
    voltkeel::Cell cell = voltkeel_test::small_cell();
    cell.charge.stage_count = 1;
    CHECK(voltkeel_test::error_text([&] { (void)voltkeel::to_json(cell); }).find("plan file") !=
          std::string::npos);
    CHECK(voltkeel_test::error_text([&] { (void)voltkeel::plan_for({}, 0); }).find("capacity_Ah") !=
          std::string::npos);
}

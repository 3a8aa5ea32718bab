// Core and case: two masses in a row, and the core behind a measured case.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstring>
#include <type_traits>

#include "support/example_cell.hpp"
#include "support/scalars.hpp"
#include "voltkeel/cell/heat.hpp"
#include "voltkeel/charge/forecast.hpp"
#include "voltkeel/limits/current_limits.hpp"

using voltkeel::ChargeConditions;
using voltkeel::ChargeForecast;
using voltkeel::Status;

using voltkeel::CellTemperature;
using voltkeel::core_temperature_after;
using voltkeel::temperature_after;
using voltkeel::thermal_step;
using voltkeel::ThermalParameters;
using voltkeel_test::apart;

namespace {

template <class Real>
ThermalParameters<Real> random_thermal(voltkeel_test::Random& random) {
    const double whole = std::pow(10.0, random.uniform(1, 4));
    return {static_cast<Real>(whole), static_cast<Real>(std::pow(10.0, random.uniform(-1, 1.5))),
            static_cast<Real>(std::pow(10.0, random.uniform(-2, 1))),
            static_cast<Real>(whole * random.uniform(0.05, 0.95))};
}

}  // namespace

TEMPLATE_TEST_CASE("a cell of one mass keeps its bits", "[heat]", VOLTKEEL_SCALARS) {
    voltkeel_test::Random random(51);
    for (int k = 0; k < 2000; ++k) {
        const ThermalParameters<TestType> thermal{static_cast<TestType>(random.uniform(20, 5000)),
                                                  static_cast<TestType>(random.uniform(0.2, 20))};
        const TestType start = static_cast<TestType>(random.uniform(-20, 45));
        const TestType ambient = static_cast<TestType>(random.uniform(-20, 45));
        const TestType heat = static_cast<TestType>(random.uniform(-1, 5));
        const TestType dt_s = static_cast<TestType>(std::pow(10.0, random.uniform(-3, 6)));
        const CellTemperature<TestType> got = temperature_after(
            thermal, CellTemperature<TestType>{start, start}, ambient, heat, dt_s);
        REQUIRE(got.core_degC == temperature_after(thermal, start, ambient, heat, dt_s));
        REQUIRE(got.case_degC == got.core_degC);
    }
}

TEMPLATE_TEST_CASE("one long step of core and case is many short ones", "[heat]",
                   VOLTKEEL_SCALARS) {
    voltkeel_test::Random random(52);
    // In units of the span of temperatures that the step is about.
    const double bound = std::is_same_v<TestType, float> ? 4e-6 : 8e-15;
    for (int k = 0; k < 2000; ++k) {
        const ThermalParameters<TestType> thermal = random_thermal<TestType>(random);
        const CellTemperature<TestType> start{static_cast<TestType>(random.uniform(-20, 45)),
                                              static_cast<TestType>(random.uniform(-20, 45))};
        const TestType ambient = static_cast<TestType>(random.uniform(-20, 45));
        const TestType heat = static_cast<TestType>(random.uniform(-1, 5));
        const TestType dt_s = static_cast<TestType>(std::pow(10.0, random.uniform(-3, 5)));
        const auto whole = temperature_after(thermal, start, ambient, heat, dt_s);
        CellTemperature<TestType> walked = start;
        for (int n = 0; n < 16; ++n)
            walked = temperature_after(thermal, walked, ambient, heat, dt_s / TestType(16));
        const double span_K =
            100 + std::abs(static_cast<double>(
                      heat * (thermal.resistance_K_per_W + thermal.core_resistance_K_per_W)));
        CAPTURE(k, dt_s, thermal.heat_capacity_J_per_K, thermal.core_heat_capacity_J_per_K,
                thermal.resistance_K_per_W, thermal.core_resistance_K_per_W);
        REQUIRE(apart(walked.core_degC, whole.core_degC) < bound * span_K);
        REQUIRE(apart(walked.case_degC, whole.case_degC) < bound * span_K);
    }
}

TEST_CASE("core and case close the energy balance", "[heat]") {
    // Heat made = warmth stored + heat lost. What is lost in a step follows from the same closed
    // form: the mean temperature of the case over a step is that of many short steps' midpoints
    // only in the limit, so the loss is integrated here by Gauss' rule of order 10 on sub-steps.
    constexpr double node[5] = {-0.9061798459386640, -0.5384693101056831, 0, 0.5384693101056831,
                                0.9061798459386640};
    constexpr double weight[5] = {0.2369268850561891, 0.4786286704993665, 0.5688888888888889,
                                  0.4786286704993665, 0.2369268850561891};
    voltkeel_test::Random random(53);
    for (int k = 0; k < 40; ++k) {
        const ThermalParameters<double> thermal{45, random.uniform(2, 20), random.uniform(0.5, 4),
                                                random.uniform(20, 42)};
        const CellTemperature<double> start{random.uniform(0, 40), random.uniform(0, 40)};
        CellTemperature<double> now = start;
        const double ambient_degC = 20;
        double made_J = 0;
        double lost_J = 0;
        for (int n = 0; n < 1000; ++n) {
            const double heat = random.uniform(0, 4);
            constexpr double dt_s = 0.5;
            made_J += heat * dt_s;
            for (int g = 0; g < 5; ++g) {
                const double at_s = 0.5 * dt_s * (1 + node[g]);
                const auto middle = temperature_after(thermal, now, ambient_degC, heat, at_s);
                lost_J += 0.5 * dt_s * weight[g] * (middle.case_degC - ambient_degC) /
                          thermal.resistance_K_per_W;
            }
            now = temperature_after(thermal, now, ambient_degC, heat, dt_s);
        }
        const double case_J_per_K =
            thermal.heat_capacity_J_per_K - thermal.core_heat_capacity_J_per_K;
        const double stored_J =
            thermal.core_heat_capacity_J_per_K * (now.core_degC - start.core_degC) +
            case_J_per_K * (now.case_degC - start.case_degC);
        CAPTURE(k, made_J, lost_J, stored_J);
        REQUIRE(std::abs(made_J - lost_J - stored_J) < 1e-9 * made_J);
    }
}

TEMPLATE_TEST_CASE("core and case rest where Ohm's law of heat says", "[heat]", VOLTKEEL_SCALARS) {
    const ThermalParameters<TestType> thermal{TestType(45), TestType(8), TestType(2), TestType(40)};
    const auto end = temperature_after(thermal, CellTemperature<TestType>{TestType(3), TestType(9)},
                                       TestType(20), TestType(2), TestType(1e6));
    CHECK(end.case_degC == TestType(36));
    CHECK(end.core_degC == TestType(40));
    const CellTemperature<TestType> start{TestType(31), TestType(30)};
    const auto none = temperature_after(thermal, start, TestType(20), TestType(2), TestType(0));
    CHECK(none.core_degC == start.core_degC);
    CHECK(none.case_degC == start.case_degC);
    // Heat warms the core first: 2 W into 40 J/K for 0.1 s, the case does not yet know.
    const CellTemperature<TestType> even{TestType(20), TestType(20)};
    const auto soon = temperature_after(thermal, even, TestType(20), TestType(2), TestType(0.1));
    CHECK(apart(soon.core_degC, 20.005) < 1e-5);
    CHECK(apart(soon.case_degC, 20) < 3e-5);
    // Without heat and with the surroundings at the same temperature nothing moves.
    const auto still = temperature_after(thermal, even, TestType(20), TestType(0), TestType(100));
    CHECK(still.core_degC == TestType(20));
    CHECK(still.case_degC == TestType(20));
}

TEMPLATE_TEST_CASE("the core behind a measured case is the core of the whole model", "[heat]",
                   VOLTKEEL_SCALARS) {
    voltkeel_test::Random random(54);
    for (int k = 0; k < 50; ++k) {
        const ThermalParameters<TestType> thermal{TestType(45),
                                                  static_cast<TestType>(random.uniform(3, 15)),
                                                  static_cast<TestType>(random.uniform(1, 3)),
                                                  static_cast<TestType>(random.uniform(30, 42))};
        CellTemperature<TestType> truth{TestType(22), TestType(20)};
        TestType core_degC = truth.core_degC;
        TestType cold_start_degC = truth.case_degC;
        double worst_K = 0;
        for (int n = 0; n < 600; ++n) {
            const TestType heat = n / 60 % 2 == 0 ? TestType(4) : TestType(0);
            const TestType case_degC = truth.case_degC;
            truth = temperature_after(thermal, truth, TestType(20), heat, TestType(1));
            core_degC = core_temperature_after(thermal, core_degC, case_degC, truth.case_degC, heat,
                                               TestType(1));
            cold_start_degC = core_temperature_after(thermal, cold_start_degC, case_degC,
                                                     truth.case_degC, heat, TestType(1));
            worst_K = std::max(worst_K, apart(core_degC, truth.core_degC));
        }
        CAPTURE(k, worst_K);
        // A straight line stands for the bend of the case's curve within a second.
        REQUIRE(worst_K < 0.02);
        // Wrong at the start by 2 K, forgotten after ten minutes.
        REQUIRE(apart(cold_start_degC, core_degC) <
                2.1 * std::exp(-600.0 / static_cast<double>(thermal.core_time_s())) + 1e-4);
    }
}

TEMPLATE_TEST_CASE("the core follows a straight line of the case exactly", "[heat]",
                   VOLTKEEL_SCALARS) {
    // y' = (u - y) / tau with u = u0 + m t + P R: y = u - m tau + (y0 - u(0) + m tau) exp(-t /
    // tau).
    const ThermalParameters<TestType> thermal{TestType(45), TestType(8), TestType(2), TestType(40)};
    for (const double dt_s : {1e-4, 0.1, 1.0, 30.0, 80.0, 1000.0, 1e5}) {
        const double rise_K = 3;
        const double slope = rise_K / dt_s;
        const double expected =
            20 + rise_K + 1.5 * 2 - slope * 80 + (25 - 20 - 3 + slope * 80) * std::exp(-dt_s / 80);
        const double got = static_cast<double>(
            core_temperature_after(thermal, TestType(25), TestType(20), TestType(23), TestType(1.5),
                                   static_cast<TestType>(dt_s)));
        CAPTURE(dt_s, got, expected);
        // The formula above, not the code, loses digits at small steps: slope * 80 is 2.4e6 at
        // 1e-4.
        CHECK(std::abs(got - expected) < (std::is_same_v<TestType, float> ? 1e-5 : 3e-9));
    }
    CHECK(core_temperature_after(thermal, TestType(25), TestType(20), TestType(23), TestType(1),
                                 TestType(0)) == TestType(25));
    CHECK(core_temperature_after(ThermalParameters<TestType>{}, TestType(25), TestType(20),
                                 TestType(23), TestType(1), TestType(5)) == TestType(23));
}

TEST_CASE("the step of core and case has the digits of the matrix exponential", "[heat]") {
    // 1 - exp(A t) for C = 45, R = 8, R_core = 2, C_core = 40, t = 10 s: Taylor series of the
    // matrix in decimal arithmetic of 50 digits (Python's decimal), outside this library.
    const auto step = thermal_step(ThermalParameters<double>{45, 8, 2, 40}, 10.0);
    CHECK(std::abs(step.core_by_core - 0.07793428567184933493) < 3e-16);
    CHECK(std::abs(step.core_by_case - -0.0675811008419946756) < 3e-16);
    CHECK(std::abs(step.case_by_core - -0.5406488067359574055) < 3e-16);
    CHECK(std::abs(step.case_by_case - 0.68616419324980141619) < 3e-16);
}

TEST_CASE("a core resistance needs a core heat capacity within the cell's", "[heat]") {
    const auto owned = voltkeel_test::linear_cell<double, 2>({});
    auto cell = owned.view();
    cell.thermal = {45, 8, 2, 40};
    CHECK(validate(cell).status == voltkeel::Status::ok);
    for (const double bad : {0.0, -1.0, 0.449, 44.56, 45.0, 1000.0}) {
        cell.thermal.core_heat_capacity_J_per_K = bad;
        const auto finding = validate(cell);
        CAPTURE(bad);
        CHECK(finding.status == voltkeel::Status::out_of_range);
        CHECK(std::strcmp(finding.field, "thermal.core_heat_capacity_J_per_K") == 0);
        CHECK(finding.value == bad);
    }
    cell.thermal.core_heat_capacity_J_per_K = std::nan("");
    CHECK(validate(cell).status == voltkeel::Status::not_finite);
    cell.thermal = {45, 8, 0, -7};  // not read without a core
    CHECK(validate(cell).status == voltkeel::Status::ok);
    for (const double bad : {-1.0, 1e-6, 2e5}) {
        cell.thermal = {45, 8, bad, 40};
        CHECK(validate(cell).status == voltkeel::Status::out_of_range);
    }
    cell.thermal = {45, 8, std::nan(""), 40};
    CHECK(validate(cell).status == voltkeel::Status::not_finite);
}

namespace {

/// 3 Ah, 40 mohm in all and the same at every temperature, so that only heat changes the limits.
voltkeel_test::OwnedCell<double, 1> warm_cell() {
    auto cell = voltkeel_test::linear_cell<double, 1>({});
    for (auto& node : cell.resistance) {
        node.r0_ohm = 0.04;
        node.branch_ohm[0] = 1e-6;
    }
    cell.scalars.capacity_Ah = 3;
    cell.scalars.thermal = {45, 8, 2, 40};
    return cell;
}

}  // namespace

TEST_CASE("limits on temperature bind at the core", "[heat][limits]") {
    const auto owned = warm_cell();
    const auto cell = owned.view();
    voltkeel::CellLimits<double> limits;
    limits.window = {0.5, 6.0, 0, 1, 0, 45, -20, 45};
    voltkeel::CellState<double, 1> state;
    state.soc = 0.6;
    constexpr double start_degC = 40;
    const auto end_of = [&](double current_A, const ThermalParameters<double>& thermal,
                            double case_degC) {
        // The heat of a constant resistance; no entropy in this cell.
        return temperature_after(thermal, CellTemperature<double>{start_degC, case_degC}, case_degC,
                                 0.04 * current_A * current_A, 30.0);
    };
    const double horizon_s[] = {30};
    voltkeel::HorizonLimit<double> with_core;
    REQUIRE(current_limits(cell, limits, state, start_degC, horizon_s, 1, &with_core) ==
            Status::ok);
    CHECK(with_core.discharge.reason == voltkeel::LimitReason::temperature);
    const auto end = end_of(with_core.discharge.current_A, cell.thermal, start_degC);
    CAPTURE(with_core.discharge.current_A, end.core_degC, end.case_degC);
    CHECK(end.core_degC <= 45);
    CHECK(end.core_degC > 44.9);
    CHECK(end.case_degC < 44.5);

    auto one_mass = cell;
    one_mass.thermal = {45, 8};
    voltkeel::HorizonLimit<double> without;
    REQUIRE(current_limits(one_mass, limits, state, start_degC, horizon_s, 1, &without) ==
            Status::ok);
    CHECK(with_core.discharge.current_A > without.discharge.current_A);  // both negative

    // A core that is already warmer than its case gives heat away: more is allowed.
    voltkeel::LimitSettings<double> settings;
    settings.core_over_case_K = 3;
    voltkeel::HorizonLimit<double> warm_core;
    REQUIRE(current_limits(cell, limits, state, start_degC, horizon_s, 1, &warm_core, settings) ==
            Status::ok);
    CHECK(warm_core.discharge.current_A < with_core.discharge.current_A);
    const auto warm_end = end_of(warm_core.discharge.current_A, cell.thermal, start_degC - 3);
    CHECK(warm_end.core_degC <= 45);
    CHECK(warm_end.core_degC > 44.9);
    // A cell of one mass has no such difference.
    voltkeel::HorizonLimit<double> same;
    REQUIRE(current_limits(one_mass, limits, state, start_degC, horizon_s, 1, &same, settings) ==
            Status::ok);
    CHECK(same.discharge.current_A == without.discharge.current_A);
    settings.core_over_case_K = 101;
    CHECK(current_limits(cell, limits, state, start_degC, horizon_s, 1, &same, settings) ==
          Status::out_of_range);
    settings.core_over_case_K = std::nan("");
    CHECK(current_limits(cell, limits, state, start_degC, horizon_s, 1, &same, settings) ==
          Status::not_finite);
}

TEST_CASE("a charge forecast warms the core, and its zones go by it", "[heat][charge]") {
    const auto owned = warm_cell();
    const auto cell = owned.view();
    voltkeel::ChargePlan<double> plan;
    plan.zone_count = 1;
    plan.zones[0] = {0, 60, 6, 6};
    plan.end_current_A = 0.1;
    voltkeel::CellState<double, 1> state;
    state.soc = 0.1;
    ChargeConditions<double> conditions{25, 25};
    ChargeForecast<double> forecast;
    const auto check_against_hand = [&](double core_over_case_K) {
        conditions.core_over_case_K = core_over_case_K;
        REQUIRE(time_to_soc(cell, plan, state, conditions, 0.5, forecast) == Status::ok);
        // 6 A all the way, so the heat is constant and one step says it all.
        const auto end =
            temperature_after(cell.thermal, CellTemperature<double>{25, 25 - core_over_case_K},
                              25.0, 0.04 * 36, forecast.time_s);
        CHECK(std::abs(forecast.time_s - 0.4 * 3 * 3600 / 6) < 0.01);
        CHECK(std::abs(forecast.end_temperature_degC - end.core_degC) < 1e-3);
        CHECK(end.core_degC - end.case_degC > 2);
    };
    check_against_hand(0);
    check_against_hand(2);
    // A zone that ends where only the core gets to ends the charge.
    plan.zones[0].temperature_max_degC = 27;
    conditions.core_over_case_K = 0;
    CHECK(time_to_soc(cell, plan, state, conditions, 0.5, forecast) == Status::not_allowed);
    CHECK(forecast.end_temperature_degC >= 27);
    CHECK(forecast.end_temperature_degC < 27.01);
    conditions.core_over_case_K = std::nan("");
    CHECK(time_to_soc(cell, plan, state, conditions, 0.5, forecast) == Status::sample_not_finite);
}

// Heat capacity and thermal resistance found again from logs of a cell that warms by known laws.

#include <catch2/catch.hpp>
#include <cmath>
#include <cstdint>
#include <string>
#include <vector>

#include "support/made_tests.hpp"
#include "voltkeel/fit/thermal.hpp"

using Catch::Contains;
using voltkeel::Cell;
using voltkeel::fit_thermal;
using voltkeel::Log;
using voltkeel::ThermalFit;
using voltkeel_test::made_cell;

namespace {

struct Warmth {
    double heat_capacity_J_per_K{60};
    double resistance_K_per_W{8};
    double ambient_degC{25};
    double rate_per_h{1};
    double temperature_std_K{0};
    std::uint64_t salt{0};
};

/// A cell at half charge, five minutes up and five down for two hours, then an hour of rest. The
/// thermal law is stepped ten times a second, the tester writes once a second.
Log warm_log(const Cell& truth, const Warmth& warmth) {
    const voltkeel::CellTables<double, 3> tables(truth);
    const auto cell = tables.parameters();
    voltkeel::CellState<double, 3> state;
    state.soc = 0.5;
    voltkeel_test::Random random(warmth.salt);
    Log log;
    log.source = "warm";
    double temperature_degC = warmth.ambient_degC;
    for (int second = 0; second <= 3 * 3600; ++second) {
        const bool rest = second == 0 || second > 2 * 3600;
        const double sign = (second - 1) / 300 % 2 == 0 ? -1 : 1;
        const double current_A = rest ? 0 : sign * warmth.rate_per_h * cell.capacity_Ah;
        double voltage_V = 0;
        for (int tenth = 0; tenth < (second == 0 ? 1 : 10); ++tenth) {
            const double dt_s = second == 0 ? 0 : 0.1;
            voltkeel::step(cell, {current_A, dt_s, 25}, state);
            const auto point = voltage_at(cell, state, current_A, 25.0);
            voltage_V = point.voltage_V;
            // Newton's law of cooling, one mass: by hand, in steps a hundred times below its time.
            const double heat_W = current_A * point.overvoltage_V;
            temperature_degC +=
                dt_s / warmth.heat_capacity_J_per_K *
                (heat_W - (temperature_degC - warmth.ambient_degC) / warmth.resistance_K_per_W);
        }
        log.time_s.push_back(second);
        log.current_A.push_back(current_A);
        log.voltage_V.push_back(voltage_V);
        log.temperature_degC.push_back(temperature_degC +
                                       warmth.temperature_std_K * random.normal());
    }
    return log;
}

Cell without_gap() {
    voltkeel_test::MadeCellShape shape;
    shape.half_gap_V = 0;  // the thermal fit takes the mean of both branches
    return made_cell(shape);
}

}  // namespace

TEST_CASE("heat capacity and thermal resistance are found again", "[fit]") {
    const Cell truth = without_gap();
    for (const Warmth& warmth : {Warmth{60, 8, 25, 1, 0.05, 41}, Warmth{120, 4, 10, 1.5, 0.05, 42},
                                 Warmth{75, 20, 30, 0.7, 0.05, 43}}) {
        const ThermalFit fit = fit_thermal({warm_log(truth, warmth)}, truth);
        CAPTURE(warmth.heat_capacity_J_per_K, fit.heat_capacity_J_per_K,
                fit.heat_capacity_J_per_K_std, fit.resistance_K_per_W, fit.resistance_K_per_W_std);
        CHECK(std::abs(fit.heat_capacity_J_per_K / warmth.heat_capacity_J_per_K - 1) < 0.05);
        CHECK(std::abs(fit.resistance_K_per_W / warmth.resistance_K_per_W - 1) < 0.05);
        CHECK(fit.heat_capacity_J_per_K_std > 0);
        CHECK(fit.resistance_K_per_W_std > 0);
        CHECK_THAT(fit.source, Contains("fitted"));
    }
}

TEST_CASE("logs in different surroundings are fitted together", "[fit]") {
    const Cell truth = without_gap();
    const ThermalFit fit = fit_thermal(
        {warm_log(truth, {60, 8, 25, 1, 0.05, 44}), warm_log(truth, {60, 8, 5, 1.3, 0.05, 45})},
        truth);
    CHECK(std::abs(fit.heat_capacity_J_per_K / 60 - 1) < 0.05);
    CHECK(std::abs(fit.resistance_K_per_W / 8 - 1) < 0.05);
}

TEST_CASE("the reported spread grows with the noise of the sensor", "[fit]") {
    const Cell truth = without_gap();
    const ThermalFit quiet = fit_thermal({warm_log(truth, {60, 8, 25, 1, 0.02, 46})}, truth);
    const ThermalFit loud = fit_thermal({warm_log(truth, {60, 8, 25, 1, 0.2, 46})}, truth);
    CHECK(loud.heat_capacity_J_per_K_std > 4 * quiet.heat_capacity_J_per_K_std);
    CHECK(loud.resistance_K_per_W_std > 4 * quiet.resistance_K_per_W_std);
    CHECK(std::abs(loud.heat_capacity_J_per_K - 60) < 4 * loud.heat_capacity_J_per_K_std);
    CHECK(std::abs(loud.resistance_K_per_W - 8) < 4 * loud.resistance_K_per_W_std);
}

TEST_CASE("a cell that does not warm by 1 K gets usual values, and they are marked", "[fit]") {
    const Cell truth = without_gap();
    const ThermalFit fit = fit_thermal({warm_log(truth, {60, 8, 25, 0.1, 0, 47})}, truth);
    CHECK_THAT(fit.source, Contains("assumed"));
    // 45 g of cell for every 3 Ah at 1000 J/(kg K).
    CHECK(std::abs(fit.heat_capacity_J_per_K - 75) < 1e-9);
    CHECK(fit.heat_capacity_J_per_K_std > 0.3 * fit.heat_capacity_J_per_K);
    CHECK(fit.resistance_K_per_W > 0);
    CHECK(fit.resistance_K_per_W_std == fit.resistance_K_per_W);
    CHECK_THAT(fit_thermal({}, truth).source, Contains("assumed"));
}

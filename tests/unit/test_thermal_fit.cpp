// Heat capacity and thermal resistances found again from logs of a cell that warms by known laws.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <string>
#include <vector>

#include "support/made_tests.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/fit/thermal.hpp"

using Catch::Contains;
using voltkeel::Cell;
using voltkeel::core_log;
using voltkeel::fit_thermal;
using voltkeel::Log;
using voltkeel::thermal_trace;
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
    double core_resistance_K_per_W{0};  ///< 0: one mass.
    double core_heat_capacity_J_per_K{0};
    double drift_K_per_h{0};     ///< Of the surroundings.
    double slow_error_std_K{0};  ///< Error of the sensor that repeats itself over two minutes.
};

/// A cell at half charge, five minutes up and five down for two hours, then an hour of rest. The
/// thermal law is stepped ten times a second, the tester writes once a second.
Log warm_log(const Cell& truth, const Warmth& warmth, std::vector<double>* core = nullptr) {
    const voltkeel::CellTables<double, 3> tables(truth);
    const auto cell = tables.parameters();
    voltkeel::CellState<double, 3> state;
    state.soc = 0.5;
    voltkeel_test::Random random(warmth.salt);
    Log log;
    log.source = "warm";
    double temperature_degC = warmth.ambient_degC;  // of the case
    double core_degC = warmth.ambient_degC;
    double slow_error_K = 0;
    const double kept = std::exp(-1.0 / 120);
    for (int second = 0; second <= 3 * 3600; ++second) {
        const bool rest = second == 0 || second > 2 * 3600;
        const double sign = (second - 1) / 300 % 2 == 0 ? -1 : 1;
        const double current_A = rest ? 0 : sign * warmth.rate_per_h * cell.capacity_Ah;
        const double ambient_degC = warmth.ambient_degC + warmth.drift_K_per_h * second / 3600;
        double voltage_V = 0;
        for (int tenth = 0; tenth < (second == 0 ? 1 : 10); ++tenth) {
            const double dt_s = second == 0 ? 0 : 0.1;
            voltkeel::step(cell, {current_A, dt_s, 25}, state);
            const auto point = voltage_at(cell, state, current_A, 25.0);
            voltage_V = point.voltage_V;
            // Newton's law of cooling by hand, in steps a hundred times below any of its times.
            const double heat_W = current_A * point.overvoltage_V;
            const double case_J_per_K =
                warmth.heat_capacity_J_per_K - warmth.core_heat_capacity_J_per_K;
            for (int part = 0; part < 4; ++part) {
                const double inner_W =
                    warmth.core_resistance_K_per_W > 0
                        ? (core_degC - temperature_degC) / warmth.core_resistance_K_per_W
                        : heat_W;
                const double outer_W =
                    (temperature_degC - ambient_degC) / warmth.resistance_K_per_W;
                if (warmth.core_resistance_K_per_W > 0) {
                    core_degC += dt_s / 4 / warmth.core_heat_capacity_J_per_K * (heat_W - inner_W);
                }
                temperature_degC += dt_s / 4 / case_J_per_K * (inner_W - outer_W);
            }
        }
        slow_error_K = kept * slow_error_K +
                       warmth.slow_error_std_K * std::sqrt(1 - kept * kept) * random.normal();
        if (core != nullptr) core->push_back(core_degC);
        log.time_s.push_back(second);
        log.current_A.push_back(current_A);
        log.voltage_V.push_back(voltage_V);
        log.temperature_degC.push_back(temperature_degC + slow_error_K +
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
    for (const Warmth& warmth :
         {Warmth{60, 8, 25, 1, 0.05, 41, 1.2, 52}, Warmth{120, 4, 10, 1.5, 0.05, 42, 1, 105},
          Warmth{75, 20, 30, 0.7, 0.05, 43, 1.5, 66}}) {
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
    const ThermalFit fit = fit_thermal({warm_log(truth, {60, 8, 25, 1, 0.05, 44, 1.2, 52}),
                                        warm_log(truth, {60, 8, 5, 1.3, 0.05, 45, 1.2, 52})},
                                       truth);
    CHECK(std::abs(fit.heat_capacity_J_per_K / 60 - 1) < 0.05);
    CHECK(std::abs(fit.resistance_K_per_W / 8 - 1) < 0.05);
}

TEST_CASE("the reported spread grows with the noise of the sensor", "[fit]") {
    Cell truth = without_gap();
    // Noise alone: without what an uncertain OCV makes of the heat.
    std::fill(truth.ocv.voltage_std_V.begin(), truth.ocv.voltage_std_V.end(), 0.0);
    const ThermalFit quiet =
        fit_thermal({warm_log(truth, {60, 8, 25, 1, 0.02, 46, 1.2, 52})}, truth);
    const ThermalFit loud = fit_thermal({warm_log(truth, {60, 8, 25, 1, 0.4, 46, 1.2, 52})}, truth);
    // The heat capacity is known together with the lag of the core only, R C + R_core C_core, and
    // of that lag no noise tells more than what is usual: its spread has a floor.
    CHECK(loud.heat_capacity_J_per_K_std > 1.1 * quiet.heat_capacity_J_per_K_std);
    CHECK(quiet.heat_capacity_J_per_K_std < 0.35 * 1.2 * 52 / 8);
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
    // 2 K/W and 80 s at 2.9 Ah, the time the same for every size.
    CHECK(std::abs(fit.core_resistance_K_per_W - 2 * 2.9 / 5) < 1e-9);
    CHECK(std::abs(fit.core_resistance_K_per_W * fit.core_heat_capacity_J_per_K - 80) < 5);
    CHECK(fit.core_resistance_K_per_W_std > 0.3 * fit.core_resistance_K_per_W);
    CHECK_THAT(fit_thermal({}, truth).source, Contains("assumed"));
}

TEST_CASE("the spreads of the thermal fit cover the truth", "[fit]") {
    // Cells drawn from what the fit takes as usual; sensors with white noise, and with an error
    // that repeats itself over minutes; surroundings that drift.
    const Cell truth = without_gap();
    for (const double slow_error_std_K : {0.0, 0.15}) {
        voltkeel_test::Random random(48);
        constexpr int cells = 40;
        int within_1 = 0;
        int within_2 = 0;
        double worst = 0;
        double spread[4] = {};
        for (int k = 0; k < cells; ++k) {
            Warmth warmth{75 * std::exp(random.uniform(-0.4, 0.4)),
                          9 * std::exp(random.uniform(-0.6, 0.6)),
                          25,
                          1,
                          0.03,
                          static_cast<std::uint64_t>(100 + k)};
            warmth.core_resistance_K_per_W = 1.16 * std::exp(0.35 * random.normal());
            const double share =
                0.01 + 0.98 / (1 + std::exp(-(std::log(8.8) + 0.5 * random.normal())));
            warmth.core_heat_capacity_J_per_K = share * warmth.heat_capacity_J_per_K;
            warmth.drift_K_per_h = 0.2 * random.normal();
            warmth.slow_error_std_K = slow_error_std_K;
            const ThermalFit fit = fit_thermal({warm_log(truth, warmth)}, truth);
            const double off[4] = {
                (fit.heat_capacity_J_per_K - warmth.heat_capacity_J_per_K) /
                    fit.heat_capacity_J_per_K_std,
                (fit.resistance_K_per_W - warmth.resistance_K_per_W) / fit.resistance_K_per_W_std,
                (fit.core_resistance_K_per_W - warmth.core_resistance_K_per_W) /
                    fit.core_resistance_K_per_W_std,
                (fit.core_heat_capacity_J_per_K - warmth.core_heat_capacity_J_per_K) /
                    fit.core_heat_capacity_J_per_K_std};
            for (int i = 0; i < 4; ++i) {
                within_1 += std::abs(off[i]) < 1 ? 1 : 0;
                within_2 += std::abs(off[i]) < 2 ? 1 : 0;
                worst = std::max(worst, std::abs(off[i]));
                spread[i] += off[i] * off[i] / cells;
            }
        }
        std::printf(
            "thermal fit, repeating error %.2f K: %d %% within 1 std, %d %% within 2, worst %.1f; "
            "rms of error over std: C %.2f, R %.2f, core R %.2f, core C %.2f\n",
            slow_error_std_K, 100 * within_1 / (4 * cells), 100 * within_2 / (4 * cells), worst,
            std::sqrt(spread[0]), std::sqrt(spread[1]), std::sqrt(spread[2]), std::sqrt(spread[3]));
        CHECK(within_1 >= 4 * cells * 55 / 100);
        CHECK(within_2 >= 4 * cells * 88 / 100);
        CHECK(within_2 < 4 * cells);  // nor so wide that they say nothing
        for (const double s : spread)
            CHECK(std::sqrt(s) < 1.5);
        // The spread of R allows for the spread of the OCV, of which these cells make no use.
        for (const int i : {0, 2, 3})
            CHECK(std::sqrt(spread[i]) > 0.5);
        CHECK(worst < 4);
    }
}

TEST_CASE("the fit says what a sensor on the case does not show", "[fit]") {
    const Cell truth = without_gap();
    Warmth warmth{75, 9, 25, 2, 0.01, 49, 1.16, 66.75};
    const ThermalFit loud = fit_thermal({warm_log(truth, warmth)}, truth);
    CAPTURE(loud.source);
    CHECK_THAT(loud.source, Contains("the case lags by"));
    CHECK_THAT(loud.source, Contains("taken as usual"));
    // ln(R_core C_core C_case / C): what it does show.
    const auto lag_s = [](double resistance, double core, double whole) {
        return resistance * core * (whole - core) / whole;
    };
    const double found_s = lag_s(loud.core_resistance_K_per_W, loud.core_heat_capacity_J_per_K,
                                 loud.heat_capacity_J_per_K);
    CHECK(std::abs(found_s / lag_s(1.16, 66.75, 75) - 1) < 0.1);
    // A weak current and a sensor of tenths: nothing is said of the lag.
    warmth.rate_per_h = 0.5;
    warmth.temperature_std_K = 0.3;
    const ThermalFit quiet = fit_thermal({warm_log(truth, warmth)}, truth);
    CAPTURE(quiet.source);
    CHECK_THAT(quiet.source,
               Contains("core taken as usual: the case alone does not show its lag below"));
    CHECK(std::abs(quiet.core_resistance_K_per_W / 1.16 - 1) < 0.3);
    CHECK(quiet.core_resistance_K_per_W_std > 0.25 * quiet.core_resistance_K_per_W);
}

TEST_CASE("a thermal trace meets a log of the same cell that was not fitted", "[fit]") {
    Cell cell = without_gap();
    const Warmth warmth{75, 9, 10, 1.2, 0.05, 50, 1.16, 66.75, 0.1};
    cell.thermal = {75, 0, 9, 0, "invented", 1.16, 0, 66.75, 0};
    const Log log = warm_log(cell, warmth);
    const auto trace = thermal_trace(log, cell);
    REQUIRE(trace.time_s.size() > 500);
    CHECK(trace.time_s.back() == log.time_s.back());
    CAPTURE(trace.residual_rms_K);
    CHECK(trace.residual_rms_K < 0.06);
    CHECK(trace.residual_rms_K > 0.04);
    double worst_ambient_K = 0;
    double warmest_core_K = 0;
    for (std::size_t k = 0; k < trace.time_s.size(); ++k) {
        worst_ambient_K = std::max(
            worst_ambient_K, std::abs(trace.ambient_degC[k] - (10 + 0.1 * trace.time_s[k] / 3600)));
        if (trace.time_s[k] > 600 && trace.time_s[k] < 7200) {
            warmest_core_K = std::max(warmest_core_K, trace.core_degC[k] - trace.case_degC[k]);
            // Mean heat about 2 W through 1.16 K/W.
            CHECK(std::abs(trace.core_degC[k] - trace.case_degC[k] - 1.16 * trace.heat_W[k]) < 1);
        }
    }
    CHECK(worst_ambient_K < 0.1);
    CHECK(warmest_core_K > 1);
    CHECK(std::abs(trace.core_degC.back() - trace.case_degC.back()) < 0.3);  // an hour of rest
    // The wrong cell meets it worse.
    cell.thermal.heat_capacity_J_per_K *= 1.5;
    CHECK(thermal_trace(log, cell).residual_rms_K > 0.1);

    Log one = log;
    for (auto* column : {&one.time_s, &one.current_A, &one.voltage_V, &one.temperature_degC})
        column->resize(1);
    CHECK_THROWS_WITH(thermal_trace(one, cell), Contains("at least 2 rows"));
    Log backward = log;
    backward.time_s[5] = 0;
    CHECK_THROWS_AS(thermal_trace(backward, cell), voltkeel::Error);
    CHECK_THROWS_AS(fit_thermal({backward}, cell), voltkeel::Error);
}

TEST_CASE("the core behind a measured case is followed row by row", "[fit]") {
    Cell cell = without_gap();
    const Warmth warmth{75, 9, 10, 1.2, 0, 50, 1.16, 66.75, 0.1};
    cell.thermal = {75, 3, 9, 1, "invented", 1.16, 0.2, 66.75, 5};
    std::vector<double> truth_degC;
    const Log log = warm_log(cell, warmth, &truth_degC);
    REQUIRE(voltkeel::follows_core(cell.thermal));
    const Log inside = core_log(log, cell);
    CHECK(inside.source == log.source);
    CHECK(inside.time_s == log.time_s);
    CHECK(inside.voltage_V == log.voltage_V);
    double worst_K = 0;
    double warmest_K = 0;
    for (std::size_t k = 0; k < log.size(); ++k) {
        worst_K = std::max(worst_K, std::abs(inside.temperature_degC[k] - truth_degC[k]));
        warmest_K = std::max(warmest_K, truth_degC[k] - log.temperature_degC[k]);
    }
    CAPTURE(worst_K, warmest_K);
    CHECK(warmest_K > 1);
    CHECK(worst_K < 0.02);

    SECTION("a cell of one mass has the temperature of its case") {
        cell.thermal.core_resistance_K_per_W = 0;
        cell.thermal.core_heat_capacity_J_per_K = 0;
        CHECK_FALSE(voltkeel::follows_core(cell.thermal));
        CHECK(core_log(log, cell).temperature_degC == log.temperature_degC);
    }
    SECTION("what is taken as usual is not followed") {
        cell.thermal = fit_thermal({}, cell);
        CHECK(cell.thermal.core_resistance_K_per_W > 0);
        CHECK_FALSE(voltkeel::follows_core(cell.thermal));
        CHECK(core_log(log, cell).temperature_degC == log.temperature_degC);
    }
    SECTION("a log that runs backward is refused") {
        Log backward = log;
        backward.time_s[5] = 0;
        CHECK_THROWS_AS(core_log(backward, cell), voltkeel::Error);
    }
}

TEST_CASE("a log that starts under load starts at the right SOC", "[fit]") {
    Cell cell = without_gap();
    cell.thermal = {75, 0, 9, 0, "invented", 1.16, 0, 66.75, 0};
    Log log = warm_log(cell, {75, 9, 25, 1, 0, 51, 1.16, 66.75});
    const auto whole = thermal_trace(log, cell);
    for (auto* column : {&log.time_s, &log.current_A, &log.voltage_V, &log.temperature_degC})
        column->erase(column->begin());
    REQUIRE(log.current_A.front() != 0);
    const auto cut = thermal_trace(log, cell);
    // What the fastest branch did in the second before the log starts passes for OCV: up to a tenth
    // of the overvoltage here. All of the overvoltage did, heat would be off by more than its size.
    CHECK(std::abs(cut.heat_W[40] / whole.heat_W[40] - 1) < 0.1);
}

// Capacity and OCV from the rests of pulse tests, of cells whose values are known; and what is said
// when the rests cannot give them.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdint>
#include <string>
#include <vector>

#include "support/made_tests.hpp"
#include "support/seed.hpp"
#include "voltkeel/fit/fit_cell.hpp"
#include "voltkeel/fit/rest_test.hpp"

using Catch::Contains;
using voltkeel::Cell;
using voltkeel::fit_cell;
using voltkeel::FitResult;
using voltkeel::FitSettings;
using voltkeel::Log;
using voltkeel::monotone_cubic;
using voltkeel::ocv_curve;
using voltkeel::OcvCurve;
using voltkeel::read_rest_test;
using voltkeel::rested_voltage;
using voltkeel::RestedVoltage;
using voltkeel::RestTest;
using voltkeel::RestTestSettings;
using voltkeel_test::error_text;
using voltkeel_test::HeldCurrent;
using voltkeel_test::made_cell;
using voltkeel_test::made_log;
using voltkeel_test::made_ocv_V;
using voltkeel_test::MadeCellShape;
using voltkeel_test::MadeTester;
using voltkeel_test::pulse_program;
using voltkeel_test::pulse_resistance_ohm;
using voltkeel_test::Random;

namespace {

/// A made cell whose voltage falls steeply below 5 %, as real ones do.
Cell steep_cell(const MadeCellShape& shape = {}) {
    Cell cell = made_cell(shape);
    for (auto* branch : {&cell.ocv.discharge_V, &cell.ocv.charge_V}) {
        for (std::size_t k = 0; k < branch->size(); ++k)
            (*branch)[k] -= 0.5 * std::exp(-cell.ocv.soc[k] / 0.015);
    }
    cell.window.voltage_min_V = 2.5;
    return cell;
}

/// A pulse test down to 10 % and then at C/3 until the voltage is that of the empty cell at rest.
Log to_the_floor(const Cell& truth, const MadeTester& tester, int lowest = 1) {
    std::vector<HeldCurrent> program = pulse_program(truth.capacity_Ah, lowest);
    program.push_back({-truth.capacity_Ah / 3, 0.5 * 3600, 10, 5});
    Log log = made_log(truth, program, tester);
    const double floor_V = truth.ocv.discharge_V.front();
    const double from_s = log.time_s.back() - 0.5 * 3600;
    for (std::size_t k = 0; k < log.size(); ++k) {
        if (log.time_s[k] < from_s || log.voltage_V[k] > floor_V) continue;
        for (auto* column : {&log.time_s, &log.current_A, &log.voltage_V, &log.temperature_degC})
            column->resize(k + 1);
    }
    return log;
}

/// A rest as rows of V(t), every ten seconds, behind one row under current.
template <class Voltage>
Log rest_of(double duration_s, Voltage&& voltage_V) {
    Log log;
    log.source = "rest.csv";
    const auto add = [&](double time_s, double current_A, double voltage) {
        log.time_s.push_back(time_s);
        log.current_A.push_back(current_A);
        log.voltage_V.push_back(voltage);
        log.temperature_degC.push_back(25);
    };
    add(0, -1, 3.5);
    for (double t = 10; t <= duration_s + 1e-9; t += 10)
        add(t, 0, voltage_V(t));
    return log;
}

}  // namespace

TEST_CASE("a relaxation with one time constant is carried on to its end", "[rest]") {
    for (const double time_s : {120.0, 600.0, 1200.0}) {
        const Log log = rest_of(1800, [&](double t) { return 3.7 - 0.02 * std::exp(-t / time_s); });
        const RestedVoltage rested = rested_voltage(log, 1, log.size() - 1, 1e-7);
        CAPTURE(time_s);
        CHECK(std::abs(rested.voltage_V - 3.7) < 1e-6);
        CHECK(std::abs(rested.time_s / time_s - 1) < 1e-3);
        CHECK(rested.last_voltage_V < rested.voltage_V);
        // A share of what was missing is never sure.
        CHECK(rested.voltage_std_V >= 0.29 * (rested.voltage_V - rested.last_voltage_V));
    }
    const Log level = rest_of(1800, [](double) { return 3.7; });
    CHECK(std::abs(rested_voltage(level, 1, level.size() - 1).voltage_V - 3.7) < 1e-9);
}

TEST_CASE("a slower process than the one that is seen lies within the spread", "[rest][property]") {
    Random random(201);
    int inside = 0;
    constexpr int cases = 200;
    for (int n = 0; n < cases; ++n) {
        const double fast_V = 0.02 * random.uniform(0, 1);
        const double slow_V = 0.006 * random.uniform(0, 1);
        const double fast_s = 100 + 300 * random.uniform(0, 1);
        const double slow_s = 1200 + 2400 * random.uniform(0, 1);
        const Log log = rest_of(2700, [&](double t) {
            return 3.7 - fast_V * std::exp(-t / fast_s) - slow_V * std::exp(-t / slow_s) +
                   0.3e-3 * random.normal();
        });
        const RestedVoltage rested = rested_voltage(log, 1, log.size() - 1, 0.3e-3);
        inside += std::abs(rested.voltage_V - 3.7) < 2 * rested.voltage_std_V ? 1 : 0;
        CAPTURE(voltkeel_test::seed(), n, fast_V, slow_V, fast_s, slow_s, rested.voltage_V,
                rested.voltage_std_V);
        CHECK(std::abs(rested.voltage_V - 3.7) < 5 * rested.voltage_std_V);
    }
    CAPTURE(voltkeel_test::seed(), inside);
    CHECK(inside >= 0.9 * cases);
}

TEST_CASE("the interpolation meets its points and rises with them", "[rest][property]") {
    Random random(202);
    for (int n = 0; n < 200; ++n) {
        std::vector<double> x{0};
        std::vector<double> y{3};
        const int count = 2 + static_cast<int>(12 * random.uniform(0, 1));
        for (int k = 1; k < count; ++k) {
            x.push_back(x.back() + 0.01 + 0.2 * random.uniform(0, 1));
            y.push_back(y.back() + 0.3 * std::pow(random.uniform(0, 1), 3));
        }
        CAPTURE(voltkeel_test::seed(), n, x, y);
        for (std::size_t k = 0; k < x.size(); ++k)
            CHECK(std::abs(monotone_cubic(x, y, x[k]) - y[k]) < 1e-12);
        double last = monotone_cubic(x, y, x.front() - 0.1);
        for (double at = x.front() - 0.1; at < x.back() + 0.1; at += 0.003) {
            const double value = monotone_cubic(x, y, at);
            CHECK(value >= last - 1e-12);
            last = value;
        }
    }
    CHECK(monotone_cubic({0, 1, 3}, {1, 3, 7}, 2.2) == Approx(5.4));  // a straight line
    CHECK_THAT(error_text([] { (void)monotone_cubic({0}, {1}, 0); }),
               Contains("at least 2 points"));
    CHECK_THAT(error_text([] {
                   (void)monotone_cubic({0, 1, 1}, {1, 2, 3}, 0);
               }),
               Contains("point 2") && Contains("above the one before"));
}

TEST_CASE("rests alone give capacity and OCV, each relaxation by itself", "[rest]") {
    const Cell truth = steep_cell();
    const Log log = to_the_floor(truth, {"pulses.csv", 1, 25, 5e-4, 0, 211});
    const RestTest test = read_rest_test({&log});
    CHECK(std::abs(test.capacity_Ah - 5) < 2 * test.capacity_Ah_std);
    CHECK(test.capacity_Ah_std < 0.1);
    CHECK_FALSE(test.capacity_given);
    REQUIRE(test.floor_voltage_V);
    CHECK(test.half_gap_V == 0);
    const OcvCurve curve = ocv_curve(test);
    CHECK(curve.charge_V == curve.discharge_V);
    for (std::size_t k = 1; k < curve.soc.size(); ++k)
        CHECK(curve.discharge_V[k] > curve.discharge_V[k - 1]);
    int inside = 0;
    int all = 0;
    for (std::size_t k = 20; k <= 190; ++k) {
        const double off_V = curve.discharge_V[k] - truth.ocv.discharge_V[k];
        CAPTURE(curve.soc[k], off_V, curve.voltage_std_V[k]);
        CHECK(std::abs(off_V) < 0.012);
        inside += std::abs(off_V) < 2 * curve.voltage_std_V[k] ? 1 : 0;
        ++all;
    }
    CHECK(inside > 0.9 * all);
    // Between the rests less is known than at them, and least below the last one.
    CHECK(curve.voltage_std_V[109] > curve.voltage_std_V[100]);
    CHECK(curve.voltage_std_V[0] > curve.voltage_std_V[100]);
}

TEST_CASE("a capacity handed in takes the place of the discharge to empty", "[rest]") {
    const Cell truth = steep_cell();
    const Log log = made_log(truth, pulse_program(5), {"pulses.csv", 1, 25, 5e-4, 0, 212});
    CHECK_THAT(
        error_text([&] { (void)read_rest_test({&log}); }),
        Contains("pulses.csv") && Contains("does not fall steeply yet") && Contains("capacity_Ah"));
    RestTestSettings settings;
    settings.capacity_Ah = 5.0;
    const RestTest test = read_rest_test({&log}, settings);
    CHECK(test.capacity_given);
    CHECK(test.capacity_Ah == 5.0);
    CHECK(test.capacity_Ah_std == Approx(0.05));
    CHECK(test.floor.empty());
    const OcvCurve curve = ocv_curve(test, settings);
    for (std::size_t k = 20; k <= 190; ++k)
        CHECK(std::abs(curve.discharge_V[k] - truth.ocv.discharge_V[k]) < 0.012);
    // Nothing is known below the last rest.
    CHECK(curve.voltage_std_V[0] > 0.05);

    settings.capacity_Ah.reset();
    settings.floor_voltage_V = 3.0;
    CHECK_THAT(error_text([&] { (void)read_rest_test({&log}, settings); }),
               Contains("above the floor of 3 V"));
}

TEST_CASE("a sensor that reads noise at rest needs to be told what a rest is", "[rest]") {
    const Cell truth = steep_cell();
    Log log = made_log(truth, pulse_program(5), {"noisy.csv", 1, 25, 5e-4, 0, 214});
    Random random(204);
    for (double& current_A : log.current_A) {
        if (current_A == 0) current_A = 0.05 * random.normal();
    }
    RestTestSettings settings;
    settings.capacity_Ah = 5.0;
    CHECK_THAT(error_text([&] { (void)read_rest_test({&log}, settings); }),
               Contains("rest_current_A") || Contains("starts under a current"));
    settings.rest_current_A = 0.3;
    const OcvCurve curve = ocv_curve(read_rest_test({&log}, settings), settings);
    for (std::size_t k = 20; k <= 190; ++k)
        CHECK(std::abs(curve.discharge_V[k] - truth.ocv.discharge_V[k]) < 0.015);
}

TEST_CASE("hysteresis is claimed where rests are met from both sides, and nowhere else", "[rest]") {
    const double half_gap_V = GENERATE(0.0, 0.006, 0.02);
    MadeCellShape shape;
    shape.half_gap_V = half_gap_V;
    const Cell truth = steep_cell(shape);
    // Down in tenths, up again in tenths, half an hour of rest at each.
    std::vector<HeldCurrent> program{{0, 300, 1, 60}};
    for (int tenth = 10; tenth > 1; --tenth) {
        program.push_back({-5.0 / 3, 1080, 10, 60});
        program.push_back({0, 3600, 10, 60});
    }
    for (int tenth = 1; tenth < 9; ++tenth) {
        program.push_back({5.0 / 3, 1080, 10, 60});
        program.push_back({0, 3600, 10, 60});
    }
    const Log log = made_log(truth, program, {"both.csv", 1, 25, 5e-4, 0, 213});
    RestTestSettings settings;
    settings.capacity_Ah = 5.0;
    const RestTest test = read_rest_test({&log}, settings);
    CAPTURE(half_gap_V, test.half_gap_V, test.half_gap_V_std);
    if (half_gap_V == 0) {
        CHECK(test.half_gap_V < 0.003);  // what relaxations leave passes for hysteresis
        return;
    }
    REQUIRE(test.half_gap_V > 0);
    CHECK(std::abs(test.half_gap_V - half_gap_V) < 0.003);
    const OcvCurve curve = ocv_curve(test, settings);
    for (std::size_t k = 30; k <= 160; k += 10) {
        CAPTURE(curve.soc[k]);
        CHECK(std::abs(curve.discharge_V[k] - truth.ocv.discharge_V[k]) < 0.012);
        CHECK(std::abs(curve.charge_V[k] - truth.ocv.charge_V[k]) < 0.012);
    }
}

TEST_CASE("rests that cannot give an OCV say why", "[rest]") {
    const Cell truth = steep_cell();
    const Log good = to_the_floor(truth, {"good.csv"});
    const auto said = [&](const Log& log, const RestTestSettings& settings = {}) {
        return error_text([&] { (void)ocv_curve(read_rest_test({&log}, settings), settings); });
    };
    CHECK(said(good).empty());
    CHECK_THAT(error_text([] { (void)read_rest_test({}); }), Contains("at least one pulse test"));

    RestTestSettings given;
    given.capacity_Ah = 5.0;
    const Log no_rest = made_log(truth, {{0, 300}, {-1, 12000}, {0, 60}}, {"none.csv"});
    CHECK_THAT(said(no_rest, given),
               Contains("none.csv") && Contains("0 rests") && Contains("shortest_rest_s"));

    std::vector<HeldCurrent> program{{0, 300}, {1, 3600, 10, 60}};
    for (int k = 0; k < 5; ++k) {
        program.push_back({-1, 1800, 10, 60});
        program.push_back({0, 1800, 10, 60});
    }
    const Log not_full = made_log(truth, program, {"half.csv", 0.5});
    CHECK_THAT(said(not_full, given), Contains("half.csv") && Contains("did not start full"));

    const Log low = made_log(truth, pulse_program(5, 7), {"low.csv", 0.8});
    CHECK_THAT(error_text([&] {
                   (void)read_rest_test({&good, &low});
               }),
               Contains("low.csv") && Contains("did not start full"));

    Log turned = good;
    for (double& current_A : turned.current_A)
        current_A = -current_A;
    CHECK_THAT(said(turned), Contains("sign"));

    Log running = good;
    running.current_A.front() = -1;
    CHECK_THAT(said(running), Contains("starts under a current of -1 A"));

    RestTestSettings small;
    small.capacity_Ah = 3.0;
    CHECK_THAT(said(good, small), Contains("come out of a cell of 3 Ah"));

    const Log narrow = made_log(
        truth, {{0, 300}, {-1, 900}, {0, 1800}, {-1, 900}, {0, 1800}, {-1, 900}, {0, 1800}},
        {"narrow.csv"});
    CHECK_THAT(said(narrow, given), Contains("at least 3 places over 30 %"));

    for (const auto& [field, change] :
         std::vector<std::pair<std::string, void (*)(RestTestSettings&)>>{
             {"capacity_Ah", [](RestTestSettings& s) { s.capacity_Ah = -1.0; }},
             {"capacity_share_std", [](RestTestSettings& s) { s.capacity_share_std = 0; }},
             {"floor_voltage_V", [](RestTestSettings& s) { s.floor_voltage_V = 0.0; }},
             {"rest_current_A", [](RestTestSettings& s) { s.rest_current_A = -1.0; }},
             {"shortest_rest_s", [](RestTestSettings& s) { s.shortest_rest_s = 0; }},
             {"merge_soc", [](RestTestSettings& s) { s.merge_soc = 0.5; }},
             {"node_count", [](RestTestSettings& s) { s.node_count = 1; }},
             {"voltage_std_V", [](RestTestSettings& s) { s.voltage_std_V = std::nan(""); }},
             {"missing_share_std", [](RestTestSettings& s) { s.missing_share_std = 0; }},
             {"gain_std", [](RestTestSettings& s) { s.gain_std = -1; }},
             {"offset_share_std", [](RestTestSettings& s) { s.offset_share_std = -1; }},
             {"hysteresis_rate", [](RestTestSettings& s) { s.hysteresis_rate = -1; }}}) {
        RestTestSettings settings;
        change(settings);
        CAPTURE(field);
        CHECK_THAT(said(good, settings), Contains(field));
    }
    CHECK_THAT(error_text([&] { (void)read_rest_test({&good}, {}, {{0.0}}); }),
               Contains("overvoltage_V has 1 rows"));
    CHECK_THAT(error_text([&] { (void)rested_voltage(good, 5, 6); }), Contains("at least 3 rows"));
    CHECK_THAT(error_text([&] { (void)rested_voltage(good, 0, good.size() - 1); }),
               Contains("a rest has none"));
    CHECK_THAT(error_text([&] { (void)rested_voltage(good, 0, good.size()); }),
               Contains("the log has"));
}

TEST_CASE("a cell is found again from its pulse tests alone", "[fit][rest][property][long]") {
    Random random(203);
    int inside = 0;
    int all = 0;
    for (int n = 0; n < 6; ++n) {
        MadeCellShape shape;
        shape.capacity_Ah = 2 + 6 * random.uniform(0, 1);
        shape.half_gap_V = 0.004 * random.uniform(0, 1);
        shape.branches = 3;
        const Cell truth = steep_cell(shape);
        const auto salt = static_cast<std::uint64_t>(220 + 2 * n);
        const Log warm = to_the_floor(truth, {"warm.csv", 1, 25, 5e-4, 0, salt});
        const Log cold = made_log(truth, pulse_program(shape.capacity_Ah),
                                  {"cold.csv", 1, 5, 5e-4, 0, salt + 1});
        FitSettings settings;
        settings.choose_form = false;
        settings.pulses.branches = 3;
        settings.pulses.charge_transfer = false;
        settings.pulses.soc_nodes = 21;
        settings.pulses.smoothness = 0.06;
        const FitResult result = fit_cell({cold, warm}, settings);
        const Cell& cell = result.cell;
        CAPTURE(voltkeel_test::seed(), n, shape.capacity_Ah, shape.half_gap_V, cell.capacity_Ah,
                cell.capacity_Ah_std);
        CHECK(std::abs(cell.capacity_Ah / shape.capacity_Ah - 1) < 0.01);
        CHECK(std::abs(cell.capacity_Ah - shape.capacity_Ah) < 2.5 * cell.capacity_Ah_std);
        REQUIRE(result.rests);
        CHECK(result.slow.capacity_Ah == 0);
        CHECK(cell.ocv.reference_temperature_degC == 25);
        double squares = 0;
        for (std::size_t k = 20; k <= 200; ++k) {
            const double off_V = cell.ocv.discharge_V[k] - truth.ocv.discharge_V[k];
            CAPTURE(cell.ocv.soc[k], off_V, cell.ocv.voltage_std_V[k]);
            CHECK(std::abs(off_V) < 0.01);
            squares += off_V * off_V;
            inside += std::abs(off_V) < 2 * cell.ocv.voltage_std_V[k] ? 1 : 0;
            ++all;
        }
        CHECK(std::sqrt(squares / 181) < 0.005);
        for (const double degC : {5.0, 25.0}) {
            for (const double soc : {0.15, 0.3, 0.5, 0.7, 0.9}) {
                CAPTURE(degC, soc);
                CHECK(std::abs(pulse_resistance_ohm(cell, soc, degC, 10) /
                                   pulse_resistance_ohm(truth, soc, degC, 10) -
                               1) < 0.05);
            }
        }
        std::string notes;
        for (const std::string& note : cell.provenance.notes)
            notes += note + "\n";
        CHECK_THAT(notes, Contains("that the current left in the cell") &&
                              Contains("met from one side only") &&
                              Contains("Assumed: hysteresis_rate 30") &&
                              Contains("Assumed: coulombic efficiency 1"));
        CHECK(cell.provenance.files.size() == 2);
        CHECK_NOTHROW(check(cell));
    }
    CAPTURE(voltkeel_test::seed(), inside, all);
    CHECK(inside >= 0.9 * all);
}

TEST_CASE("the model carries rests on better than each relaxation by itself", "[fit][rest]") {
    const Cell truth = steep_cell();
    // Rests of 20 minutes, half a slow time constant.
    std::vector<HeldCurrent> program = pulse_program(5, 1, 1200);
    program.push_back({-5.0 / 3, 1080, 10, 5});
    const Log log = made_log(truth, program, {"short.csv", 1, 25, 5e-4, 0, 231});
    FitSettings settings;
    settings.choose_form = false;
    settings.pulses.charge_transfer = false;
    settings.pulses.soc_nodes = 21;
    settings.rests.capacity_Ah = 5.0;
    const FitResult result = fit_cell({log}, settings);
    const RestTest alone = read_rest_test({&log}, settings.rests);
    double with_V2 = 0;
    double without_V2 = 0;
    REQUIRE(alone.rests.size() == result.rests->rests.size());
    for (std::size_t k = 0; k < alone.rests.size(); ++k) {
        const double true_V = made_ocv_V(alone.rests[k].soc) - 0.004;
        if (alone.rests[k].first_row == 0) continue;
        with_V2 += std::pow(result.rests->rests[k].voltage_V - true_V, 2);
        without_V2 += std::pow(alone.rests[k].voltage_V - true_V, 2);
    }
    CAPTURE(std::sqrt(with_V2 / 9), std::sqrt(without_V2 / 9));
    CHECK(with_V2 < without_V2);
}

TEST_CASE("rests beside a slow test draw an OCV that reads too high down", "[fit][rest]") {
    const Cell truth = steep_cell();
    Log slow = made_log(truth, voltkeel_test::slow_program(5), {"slow.csv", 1, 25, 5e-4, 0, 241});
    for (double& voltage_V : slow.voltage_V)
        voltage_V += 0.004;  // another channel of the tester
    const Log pulses = made_log(truth, pulse_program(5), {"pulses.csv", 1, 25, 5e-4, 0, 242});
    FitSettings settings;
    settings.choose_form = false;
    settings.pulses.charge_transfer = false;
    settings.pulses.soc_nodes = 21;
    const FitResult result = fit_cell(slow, {pulses}, settings);
    CHECK_FALSE(result.rests);
    double sum_V = 0;
    for (std::size_t k = 30; k <= 180; ++k) {
        const double off_V = result.cell.ocv.discharge_V[k] - truth.ocv.discharge_V[k];
        CAPTURE(result.cell.ocv.soc[k], off_V, result.cell.ocv.voltage_std_V[k]);
        CHECK(std::abs(off_V) < 0.003);
        CHECK(std::abs(off_V) < 3 * result.cell.ocv.voltage_std_V[k]);
        sum_V += off_V;
    }
    CAPTURE(sum_V / 151);
    // The prior holds all nodes together: about half of it is taken back, and the spread says so.
    CHECK(std::abs(sum_V / 151) < 0.0025);
}

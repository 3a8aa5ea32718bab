// Checks of sensors: each fault by name, and what becomes of the SOC.

#include <catch2/catch.hpp>
#include <cmath>
#include <cstdio>
#include <limits>
#include <string>
#include <utility>

#include "support/example_cell.hpp"
#include "support/fault_campaign.hpp"
#include "support/scalars.hpp"
#include "support/simulated_string.hpp"
#include "voltkeel/estimate/sensor_checks.hpp"
#include "voltkeel/io/cell.hpp"

using voltkeel::CheckedReadings;
using voltkeel::ModelView;
using voltkeel::SensorChecks;
using voltkeel::SensorCheckSettings;
using voltkeel::SensorSample;
using voltkeel::Status;
using voltkeel_test::campaign_faults;
using voltkeel_test::FaultOutcome;
using voltkeel_test::KnownLog;

namespace {

/// A drive of one cell by the simulator.
KnownLog simulated_log(double temperature_degC, std::uint64_t salt, voltkeel::Cell& cell) {
    voltkeel_test::StringShape shape;
    shape.groups = 1;
    shape.capacity_log_std = 0;
    shape.resistance_log_std = 0.1;
    shape.soc_std = 0;
    shape.temperature_degC = temperature_degC;
    shape.salt = salt;
    const auto run = voltkeel_test::simulated_string(shape);
    cell = run.cell;
    KnownLog log;
    log.name = "simulated drive at " + std::to_string(static_cast<int>(temperature_degC)) + " degC";
    log.time_s = run.time_s;
    log.current_A = run.current_A;
    log.voltage_V = run.voltage_V;
    log.soc = run.soc;
    log.temperature_degC.assign(run.size(), temperature_degC);
    return log;
}

}  // namespace

TEMPLATE_TEST_CASE("every fault of a sensor on simulated drives is named and survived",
                   "[sensor_checks]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    CAPTURE(voltkeel_test::seed());
    for (const double temperature_degC : {25.0, 5.0}) {
        voltkeel::Cell cell;
        const KnownLog log =
            simulated_log(temperature_degC, static_cast<std::uint64_t>(temperature_degC), cell);
        const voltkeel::CellTables<Real, 2> tables(cell);
        voltkeel::SocFilter<Real, 2> filter;
        REQUIRE(filter.configure(tables.parameters()) == Status::ok);
        REQUIRE(filter.start(Real(0.9), Real(0.02), static_cast<Real>(temperature_degC)) ==
                Status::ok);
        voltkeel_test::print_campaign_head(log.name);
        const FaultOutcome sound = run_fault(filter, log, nullptr);
        voltkeel_test::print_outcome("none", sound);
        CHECK(sound.false_rows == 0);
        CHECK(sound.outside_share == 0);
        double outside = 0;
        for (const auto& fault : campaign_faults()) {
            CAPTURE(fault.name);
            const FaultOutcome outcome = run_fault(filter, log, &fault);
            voltkeel_test::print_outcome(fault.name, outcome);
            CHECK(outcome.finite);
            CHECK(outcome.named_after_s >= 0);
            CHECK(outcome.named_share >= fault.least_share);
            CHECK(outcome.end_error < 2.58 * outcome.end_std);
            outside += outcome.outside_share;
        }
        // The 95 % band, from the beginning of each fault to the end of the log. Errors of one run
        // hang together, so the runs are counted together.
        CHECK(outside < 0.05 * static_cast<double>(campaign_faults().size()));
    }
}

namespace {

template <class Real>
SensorChecks<Real> made_checks(SensorCheckSettings<Real> settings = {}) {
    settings.capacity_Ah = Real(10);
    SensorChecks<Real> checks;
    REQUIRE(checks.configure(settings) == Status::ok);
    return checks;
}

}  // namespace

TEMPLATE_TEST_CASE("a clock that errs is named and the usual step is taken", "[sensor_checks]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    auto checks = made_checks<Real>();
    const auto at = [&](double time_s) {
        SensorSample<Real> readings;
        readings.time_us = voltkeel::time_us_of(time_s);
        readings.voltage_V = Real(3.7);
        return checks.step(readings);
    };
    // A clock that counts for years: differences of float times would be lost.
    const double start_s = 1.9e9;
    CHECK(at(start_s).dt_s == Real(0));
    CHECK(at(start_s + 0.5).dt_s == Real(0.5));
    const auto back = at(start_s - 100);
    CHECK(back.fault_bits == voltkeel::sensor_time_backward);
    CHECK(back.dt_s == Real(0.5));
    CHECK(at(start_s - 99.5).fault_bits == 0);
    const auto on = at(start_s + 7200);
    CHECK(on.fault_bits == voltkeel::sensor_time_jump);
    CHECK(on.dt_s == Real(0.5));
    // Two hours in which up to 1 C flowed, or nothing.
    CHECK(static_cast<double>(on.current_std_A * on.dt_s) == Approx(10 * 7299.5).epsilon(1e-3));
    CHECK(at(std::numeric_limits<double>::quiet_NaN()).fault_bits == voltkeel::sensor_time_missing);
    CHECK(at(start_s + 7201).fault_bits == 0);
    const auto twice = at(start_s + 7201);
    CHECK(twice.fault_bits == 0);  // a row told twice
    CHECK(twice.dt_s == Real(0));
    CHECK(at(start_s + 7201).dt_s == Real(0));
    const auto still = at(start_s + 7201);
    CHECK(still.fault_bits == voltkeel::sensor_time_still);
    CHECK(still.dt_s == Real(0.5));
    CHECK(at(start_s + 7201.5).fault_bits == 0);
}

TEMPLATE_TEST_CASE("a temperature that cannot be is replaced by the last one", "[sensor_checks]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    auto checks = made_checks<Real>();
    double time_s = 0;
    const auto at = [&](Real temperature_degC) {
        SensorSample<Real> readings;
        readings.time_us = voltkeel::time_us_of(time_s);
        readings.voltage_V = Real(3.7);
        readings.temperature_degC = temperature_degC;
        time_s += 1;
        return checks.step(readings);
    };
    CHECK(at(Real(20)).fault_bits == 0);
    CHECK(at(Real(22)).temperature_degC == Real(22));
    for (const auto& [value, bit] :
         {std::pair<double, std::uint32_t>{-50, voltkeel::sensor_temperature_open},
          {-273, voltkeel::sensor_temperature_open},
          {115, voltkeel::sensor_temperature_short},
          {1e6, voltkeel::sensor_temperature_short},
          {26, voltkeel::sensor_temperature_rate},
          {std::numeric_limits<double>::infinity(), voltkeel::sensor_temperature_missing},
          {std::numeric_limits<double>::quiet_NaN(), voltkeel::sensor_temperature_missing}}) {
        const auto checked = at(static_cast<Real>(value));
        CHECK(checked.fault_bits == bit);
        CHECK(checked.temperature_degC == Real(22));
    }
    CHECK(at(Real(23)).temperature_degC == Real(23));
}

TEMPLATE_TEST_CASE("groups that do not add up, and current through open contactors, are told",
                   "[sensor_checks]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    SensorCheckSettings<Real> settings;
    settings.series = Real(96);
    auto checks = made_checks<Real>(settings);
    SensorSample<Real> readings;
    readings.voltage_V = Real(96 * 3.7);
    readings.other_voltage_V = Real(96 * 3.7 + 1);
    CHECK(checks.step(readings).fault_bits == 0);
    readings.time_us = 1000000;
    readings.other_voltage_V = Real(96 * 3.7 - 3.7);  // one group short
    CHECK(checks.step(readings).fault_bits == voltkeel::sensor_voltage_sum);
    readings.other_voltage_V = Real(96 * 3.7);
    // 0.2 A with contactors open: told, counted as nothing, and taken off afterwards.
    readings.no_current = true;
    for (int tick = 0; tick < 100; ++tick) {
        readings.time_us += 1000000;
        readings.current_A = Real(0.2);
        const auto checked = checks.step(readings);
        CHECK(checked.fault_bits == voltkeel::sensor_current_offset);
        CHECK(checked.current_A == Real(0));
    }
    readings.no_current = false;
    readings.time_us += 1000000;
    readings.current_A = Real(-4.8);
    CHECK(static_cast<double>(checks.step(readings).current_A) == Approx(-5).epsilon(1e-3));
}

TEMPLATE_TEST_CASE("whatever sensors show, what is given out is a number", "[sensor_checks]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    voltkeel_test::Random random(31);
    CAPTURE(voltkeel_test::seed());
    auto checks = made_checks<Real>();
    const auto wild = [&](double usual) {
        switch (random.whole(0, 12)) {
            case 0:
                return std::numeric_limits<double>::quiet_NaN();
            case 1:
                return std::numeric_limits<double>::infinity();
            case 2:
                return -1e30;
            case 3:
                return random.uniform(-1e4, 1e4);
            default:
                return usual;
        }
    };
    for (int tick = 0; tick < 50000; ++tick) {
        SensorSample<Real> readings;
        readings.time_us = random.whole(0, 9) == 0 ? std::numeric_limits<std::int64_t>::max()
                                                   : voltkeel::time_us_of(wild(tick));
        readings.current_A = static_cast<Real>(wild(random.uniform(-20, 20)));
        readings.voltage_V = static_cast<Real>(wild(random.uniform(3, 4.2)));
        readings.temperature_degC = static_cast<Real>(wild(20));
        readings.other_voltage_V = static_cast<Real>(wild(3.7));
        readings.no_current = random.whole(0, 20) == 0;
        const ModelView<Real> view{static_cast<Real>(wild(3.7)), static_cast<Real>(wild(0.01)),
                                   static_cast<Real>(wild(0.5)), static_cast<Real>(wild(0.02))};
        const CheckedReadings<Real> out = checks.step(readings, view);
        if (!(std::isfinite(out.current_A) && std::isfinite(out.current_std_A) &&
              out.current_std_A >= 0 && std::isfinite(out.temperature_degC) &&
              std::isfinite(out.dt_s) && out.dt_s >= 0)) {
            CAPTURE(tick, out.current_A, out.current_std_A, out.temperature_degC, out.dt_s);
            FAIL("not a number");
        }
    }
}

TEMPLATE_TEST_CASE("days of noise are no jump of the voltage, and a jump in them is one",
                   "[sensor_checks][property]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    for (const double noise_V : {0.0003, 0.0012, 0.003}) {
        voltkeel_test::Random random(37);
        CAPTURE(voltkeel_test::seed(), noise_V);
        auto checks = made_checks<Real>();
        const ModelView<Real> view{Real(3.7), Real(0.02), Real(0.5), Real(0.01)};
        // Told in whole millivolts.
        const auto row = [&](int tick, double jump_V) {
            SensorSample<Real> readings;
            readings.time_us = voltkeel::time_us_of(tick);
            const double current_A = -0.3 + 0.012 * random.normal();
            readings.current_A = static_cast<Real>(current_A);
            const double voltage_V = 3.7 + 0.02 * current_A + noise_V * random.normal() + jump_V;
            readings.voltage_V = static_cast<Real>(std::round(1000 * voltage_V) / 1000);
            readings.temperature_degC = Real(20);
            return checks.step(readings, view).fault_bits;
        };
        int named = 0;
        const int ticks = VOLTKEEL_CASES(250000, 50000);
        for (int tick = 0; tick < ticks; ++tick)
            named += row(tick, 0) != 0 ? 1 : 0;
        CHECK(named == 0);
        bool jump = false;
        for (int tick = 0; tick < 4; ++tick)
            jump = jump || (row(ticks + tick, 0.06) & voltkeel::sensor_voltage_jump) != 0;
        CHECK(jump);
    }
}

TEMPLATE_TEST_CASE("settings of the checks are checked", "[sensor_checks]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    SensorChecks<Real> checks;
    SensorCheckSettings<Real> settings;
    CHECK(checks.configure(settings) == Status::out_of_range);
    CHECK(validate(settings).field == std::string("capacity_Ah"));
    settings.capacity_Ah = Real(10);
    CHECK(checks.configure(settings) == Status::ok);
    settings.voltage_high_V = Real(0.1);
    CHECK(checks.configure(settings) == Status::out_of_range);
    CHECK(validate(settings).field == std::string("voltage_high_V"));
    settings.voltage_high_V = std::numeric_limits<Real>::quiet_NaN();
    CHECK(checks.configure(settings) == Status::not_finite);
    CHECK(checks.settings().voltage_high_V == Real(5.5));
}

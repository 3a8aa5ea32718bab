// Steps of a test: on made logs whose steps are known, on the demo, and on random logs.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>
#include <limits>
#include <map>
#include <random>
#include <string>
#include <vector>

#include "support/made_log.hpp"
#include "support/seed.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/fit/steps.hpp"

using voltkeel::Error;
using voltkeel::find_steps;
using voltkeel::Log;
using voltkeel::Step;
using voltkeel::StepKind;
using voltkeel::StepSettings;
using voltkeel_test::MadeLog;

namespace {

std::string kinds_of(const std::vector<Step>& steps) {
    std::string text;
    for (const Step& step : steps)
        text += "RCVPD"[static_cast<std::size_t>(step.kind)];
    return text;
}

std::map<StepKind, int> counts_of(const std::vector<Step>& steps) {
    std::map<StepKind, int> counts;
    for (const Step& step : steps)
        ++counts[step.kind];
    return counts;
}

/// Steps follow each other without a hole, and their charge is that of the log, counted here.
void check_whole(const Log& log, const std::vector<Step>& steps) {
    REQUIRE_FALSE(steps.empty());
    REQUIRE(steps.front().first_row == 0);
    REQUIRE(steps.back().last_row == log.size() - 1);
    double charge_Ah = 0;
    double duration_s = 0;
    for (std::size_t i = 0; i != steps.size(); ++i) {
        REQUIRE(steps[i].first_row <= steps[i].last_row);
        if (i != 0) {
            REQUIRE(steps[i].first_row == steps[i - 1].last_row + 1);
            REQUIRE(steps[i].start_time_s == steps[i - 1].end_time_s);
            REQUIRE(steps[i].start_voltage_V == steps[i - 1].end_voltage_V);
        }
        charge_Ah += steps[i].charge_Ah;
        duration_s += steps[i].duration_s;
    }
    double counted_Ah = 0;
    double size_Ah = 0;
    for (std::size_t row = 1; row != log.size(); ++row) {
        const double step_s = log.time_s[row] - log.time_s[row - 1];
        counted_Ah += log.current_A[row] * step_s / 3600;
        size_Ah += std::fabs(log.current_A[row]) * step_s / 3600;
    }
    REQUIRE(std::fabs(charge_Ah - counted_Ah) <= 1e-10 * (1 + size_Ah));
    REQUIRE(duration_s == Approx(log.time_s.back() - log.time_s.front()).epsilon(1e-9));
}

}  // namespace

TEST_CASE("the steps of a made test are those it was made of") {
    const Log log = voltkeel_test::made_test();
    StepSettings settings;
    settings.capacity_Ah = 3;
    const std::vector<Step> steps = find_steps(log, settings);
    check_whole(log, steps);
    CHECK(kinds_of(steps) == "RPRPRCRPRPRCRPRPRCRPRPRCRCR");
    const Step& pulse = steps[1];
    CHECK(pulse.first_row == 61);
    CHECK(pulse.last_row == 70);
    CHECK(pulse.start_time_s == 60);
    CHECK(pulse.end_time_s == 70);
    CHECK(pulse.duration_s == 10);
    CHECK(pulse.mean_current_A == Approx(-3).epsilon(1e-12));
    CHECK(pulse.charge_Ah == Approx(-3.0 * 10 / 3600).epsilon(1e-12));
    REQUIRE(pulse.rate_per_h.has_value());
    CHECK(*pulse.rate_per_h == Approx(-1).epsilon(1e-12));
    CHECK(pulse.start_voltage_V == log.voltage_V[60]);
    CHECK(pulse.end_voltage_V == log.voltage_V[70]);
    const Step& discharge = steps[5];
    CHECK(discharge.duration_s == 1080);
    CHECK(discharge.charge_Ah == Approx(-0.3).epsilon(1e-12));
    CHECK_FALSE(find_steps(log)[1].rate_per_h.has_value());
    CHECK(kinds_of(find_steps(log)) == kinds_of(steps));
}

TEST_CASE("a charge is a constant current and a constant voltage") {
    MadeLog made(0.3);
    made.run(0, 120, 10);
    while (made.log.voltage_V.back() < 4.2)
        made.run(1.5, 10, 10);
    made.hold(4.2, 0.05, 10).run(0, 600, 10);
    const std::vector<Step> steps = find_steps(made.log);
    check_whole(made.log, steps);
    CHECK(kinds_of(steps) == "RCVR");
    CHECK(made.log.current_A[steps[2].last_row] < 0.06);
    CHECK(steps[1].mean_current_A == Approx(1.5));
    // The same, discharging: a tester that empties a cell at one voltage.
    Log turned = made.log;
    for (std::size_t row = 0; row != turned.size(); ++row) {
        turned.current_A[row] = -turned.current_A[row];
        turned.voltage_V[row] = 7 - turned.voltage_V[row];
    }
    CHECK(kinds_of(find_steps(turned)) == "RCVR");
}

TEST_CASE("charges of any rate and sampling are a constant current and a constant voltage") {
    std::mt19937_64 random(voltkeel_test::seed());
    std::uniform_real_distribution<double> any(0, 1);
    for (int round = 0; round != 60; ++round) {
        const double current_A = 0.3 * std::pow(10.0, any(random));  // C/10 to 1C
        const double row_s = std::floor(std::pow(60.0, any(random)));
        CAPTURE(voltkeel_test::seed(), round, current_A, row_s);
        MadeLog made(0.7, random());
        made.run(0, 300, row_s);
        while (made.voltage_at(current_A) < 4.2)
            made.run(current_A, row_s, row_s);
        made.hold(4.2, 0.1 * current_A, row_s).run(0, 300, row_s);
        const std::vector<Step> steps = find_steps(made.log);
        check_whole(made.log, steps);
        REQUIRE(kinds_of(steps) == "RCVR");
    }
}

TEST_CASE("varying current is a drive, with its stops") {
    std::mt19937_64 random(voltkeel_test::seed());
    std::normal_distribution<double> load_A(-2, 3);
    MadeLog made(0.9);
    made.run(0, 300, 1);
    for (int block = 0; block != 10; ++block) {
        for (int i = 0; i != 120; ++i)
            made.run(load_A(random), 1, 1);
        made.run(0, 40, 1);
    }
    made.run(0, 600, 1);
    const std::vector<Step> steps = find_steps(made.log);
    CAPTURE(voltkeel_test::seed());
    check_whole(made.log, steps);
    CHECK(kinds_of(steps) == "RDR");
    // A longer stop ends the drive.
    StepSettings settings;
    settings.longest_stop_s = 20;
    CHECK(counts_of(find_steps(made.log, settings))[StepKind::drive] == 10);
}

TEST_CASE("what is a pulse") {
    const auto kinds = [](double pulse_s, double rest_s) {
        MadeLog made(0.5);
        made.run(0, 100, 1).run(-3, pulse_s, 1).run(0, rest_s, 1).run(-1, 600, 1);
        return kinds_of(find_steps(made.log));
    };
    CHECK(kinds(10, 40) == "RPRC");
    CHECK(kinds(60, 40) == "RPRC");
    CHECK(kinds(61, 40) == "RCRC");  // longer than a pulse
    // A pulse into a discharge, as where the next level is sought at once.
    MadeLog made(0.5);
    made.run(0, 100, 1).run(2, 10, 1).run(-1, 600, 1);
    CHECK(kinds_of(find_steps(made.log)) == "RPC");
    // Its current falls at the voltage limit: still one pulse.
    MadeLog limited(0.9);
    limited.run(0, 100, 1).run(1, 1, 1).run(2.5, 3, 1);
    for (int i = 0; i != 8; ++i)
        limited.run(2.4 - 0.15 * i, 1, 1);
    limited.run(0, 100, 1);
    CHECK(kinds_of(find_steps(limited.log)) == "RPR");
}

TEST_CASE("current noise and offset do not cut steps") {
    std::mt19937_64 random(voltkeel_test::seed());
    std::normal_distribution<double> noise_A(0.002, 0.004);
    Log log = voltkeel_test::made_test();
    const std::string kinds = kinds_of(find_steps(log));
    for (double& current_A : log.current_A)
        current_A += noise_A(random);
    StepSettings settings;
    settings.capacity_Ah = 3;
    CAPTURE(voltkeel_test::seed());
    CHECK(kinds_of(find_steps(log, settings)) == kinds);
}

TEST_CASE("steps of any log cover it") {
    std::mt19937_64 random(voltkeel_test::seed());
    for (int round = 0; round != 400; ++round) {
        Log log;
        log.source = "random";
        double time_s = 0;
        double current_A = 0;
        const std::size_t rows = 1 + random() % 300;
        for (std::size_t row = 0; row != rows; ++row) {
            if (random() % 4 == 0) {
                const auto kind = random() % 4;
                current_A = kind == 0 ? 0 : static_cast<double>(random() % 2001) / 100 - 10;
                if (kind == 3) current_A *= 1e-3;
            }
            time_s += random() % 20 == 0 ? 500 : static_cast<double>(1 + random() % 100) / 10;
            log.time_s.push_back(time_s);
            log.current_A.push_back(current_A);
            log.voltage_V.push_back(3.7 + 0.001 * static_cast<double>(random() % 4));
            log.temperature_degC.push_back(20);
        }
        CAPTURE(voltkeel_test::seed(), round, rows);
        check_whole(log, find_steps(log));
    }
}

// The numbers are those that data/demo/README.md tells of the tests.
TEST_CASE("steps of the demo data") {
    const std::filesystem::path demo = std::filesystem::path(VOLTKEEL_SOURCE_DIR) / "data" / "demo";
    const auto steps_of = [&](const char* name) {
        const Log log = voltkeel::read_log(demo / name).log;
        std::vector<Step> steps = find_steps(log);
        check_whole(log, steps);
        return steps;
    };
    // Eleven levels: three discharge pulses each, and a charge pulse where the cell is not full.
    CHECK(counts_of(steps_of("pulses_25degC.csv"))[StepKind::pulse] == 11 * 3 + 10);
    CHECK(counts_of(steps_of("pulses_10degC.csv"))[StepKind::pulse] == 11 * 3 + 10);
    CHECK(counts_of(steps_of("pulses_0degC.csv"))[StepKind::pulse] == 11 * 3);
    CHECK(counts_of(steps_of("pulses_25degC.csv"))[StepKind::drive] == 0);
    CHECK(kinds_of(steps_of("slow_test_25degC.csv")) == "RCRCR");
    CHECK(kinds_of(steps_of("shore_charge.csv")) == "RCVR");
    CHECK(kinds_of(steps_of("harbour_day.csv")) == "RDR");
}

TEST_CASE("logs and settings that cannot be used are refused") {
    Log log = voltkeel_test::made_test();
    const auto refused = [&](auto change) {
        StepSettings settings;
        change(settings);
        try {
            (void)find_steps(log, settings);
        } catch (const Error& error) {
            return std::string(error.what());
        }
        return std::string();
    };
    CHECK(refused([](StepSettings& s) { s.capacity_Ah = 0; }) ==
          "StepSettings: capacity_Ah = 0 must be > 0 and finite");
    CHECK(refused([](StepSettings& s) { s.rest_current_A = -1; }) ==
          "StepSettings: rest_current_A = -1 must be >= 0 and finite");
    CHECK(refused([](StepSettings& s) { s.current_share = 1; }).find("current_share") !=
          std::string::npos);
    CHECK(refused([](StepSettings& s) { s.voltage_band_V = 0; }).find("voltage_band_V") !=
          std::string::npos);
    CHECK(refused([](StepSettings& s) { s.longest_pulse_s = -1; }).find("longest_pulse_s") !=
          std::string::npos);
    CHECK(refused([](StepSettings& s) { s.longest_stop_s = -1; }).find("longest_stop_s") !=
          std::string::npos);
    log.voltage_V[3] = std::numeric_limits<double>::quiet_NaN();
    CHECK(refused([](StepSettings&) {}) == "made.csv: voltage_V[3] is not a finite number");
    log = {};
    log.source = "none.csv";
    CHECK(refused([](StepSettings&) {}) == "none.csv: the log has no rows");
}

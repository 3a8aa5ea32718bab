// Faults of data: each check finds its fault in a made log that has exactly that one, and is silent
// on the same log without it.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdio>
#include <limits>
#include <optional>
#include <random>
#include <string>
#include <vector>

#include "support/made_log.hpp"
#include "support/seed.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/fit/data_check.hpp"

using voltkeel::check_data;
using voltkeel::correct_log;
using voltkeel::CorrectedLog;
using voltkeel::DataCheckSettings;
using voltkeel::DataFault;
using voltkeel::DataFinding;
using voltkeel::DataSeverity;
using voltkeel::Error;
using voltkeel::Log;
using voltkeel::LogCorrections;
using voltkeel::LogReading;
using voltkeel::LogReadSettings;
using voltkeel::offset_from_balance;
using voltkeel::parse_log;
using voltkeel_test::made_test;
using voltkeel_test::MadeLog;

namespace {

DataCheckSettings usual() {
    DataCheckSettings settings;
    settings.steps.capacity_Ah = MadeLog::capacity_Ah;
    return settings;
}

/// Findings that are more than a note.
std::vector<DataFinding> serious(const Log& log, const DataCheckSettings& settings = usual(),
                                 const voltkeel::LogReport* report = nullptr) {
    std::vector<DataFinding> findings = check_data(log, settings, report);
    findings.erase(
        std::remove_if(findings.begin(), findings.end(),
                       [](const DataFinding& f) { return f.severity == DataSeverity::note; }),
        findings.end());
    return findings;
}

/// The one serious finding of a log, which is of this kind.
DataFinding only(const Log& log, DataFault kind, const DataCheckSettings& settings = usual()) {
    const std::vector<DataFinding> findings = serious(log, settings);
    for (const DataFinding& finding : findings)
        UNSCOPED_INFO(voltkeel::data_fault_name(finding.kind) << ": " << finding.text);
    REQUIRE(findings.size() == 1);
    REQUIRE(findings[0].kind == kind);
    REQUIRE_FALSE(findings[0].text.empty());
    return findings[0];
}

std::optional<DataFinding> note(const Log& log, DataFault kind,
                                const voltkeel::LogReport* report = nullptr) {
    for (const DataFinding& finding : check_data(log, usual(), report)) {
        if (finding.kind == kind) return finding;
    }
    return std::nullopt;
}

/// Moves all rows from `row` on by some time.
Log with_hole(Log log, std::size_t row, double hole_s) {
    for (; row < log.size(); ++row)
        log.time_s[row] += hole_s;
    return log;
}

/// First row of the constant discharge of the first level, and of the rest behind it.
constexpr std::size_t discharge_row = 201;
constexpr std::size_t rest_row = discharge_row + 108;

/// A cell that is charged full, emptied and charged full again, some times, with a sensor that
/// reads less than what flows.
Log cycled(double reads_less_A, int cycles = 2, double row_s = 10) {
    MadeLog made(1.0 - 0.02);
    made.reads_less_A = reads_less_A;
    made.run(0, 600, 60);
    for (int cycle = 0; cycle <= cycles; ++cycle) {
        while (made.log.voltage_V.back() < 4.195)
            made.run(1, row_s, row_s);
        made.hold(4.2, 0.05, row_s).run(0, 3600, 60);
        if (cycle != cycles) made.run(-1, 9000, row_s).run(0, 3600, 60);
    }
    return made.log;
}

}  // namespace

TEST_CASE("a log without a fault has no serious finding") {
    CHECK(serious(made_test()).empty());
    CHECK(serious(made_test(), {}).empty());  // without a capacity too
    CHECK(serious(cycled(0)).empty());
}

TEST_CASE("gaps") {
    const Log log = made_test();
    const DataFinding gap = only(with_hole(log, rest_row, 1000), DataFault::gap);
    CHECK(gap.row == rest_row);
    CHECK(gap.value == Approx(1010));
    CHECK(gap.text.find("the charge in between is not known") != std::string::npos);
    // In a rest it is worth a note.
    const Log rest_hole = with_hole(log, rest_row + 20, 1000);
    CHECK(serious(rest_hole).empty());
    REQUIRE(note(rest_hole, DataFault::gap).has_value());
    CHECK(note(rest_hole, DataFault::gap)->row == rest_row + 20);
    CHECK_FALSE(note(log, DataFault::gap).has_value());
    CHECK_FALSE(note(with_hole(log, rest_row + 20, 500), DataFault::gap).has_value());
    // Many are one finding.
    Log many = log;
    for (std::size_t i = 0; i != 5; ++i)
        many = with_hole(many, rest_row + 20 + i, 1000 + 10.0 * static_cast<double>(i));
    CHECK(note(many, DataFault::gap)->text.find("5 times") == 0);
    CHECK(note(many, DataFault::gap)->value == Approx(1050));
}

TEST_CASE("clock jumps") {
    const Log log = made_test();
    // An hour of daylight saving in the middle of a discharge that went on.
    const DataFinding jump = only(with_hole(log, discharge_row + 50, 3600), DataFault::clock_jump);
    CHECK(jump.row == discharge_row + 50);
    CHECK(jump.value == Approx(3610));
    // The same hole with the voltage of an hour later is a gap.
    Log gone = with_hole(log, discharge_row + 50, 3600);
    for (std::size_t row = discharge_row + 50; row != gone.size(); ++row)
        gone.voltage_V[row] -= 0.3;
    only(gone, DataFault::gap);

    const std::string header = "time_s,current_A,voltage_V,temperature_degC\n";
    const LogReading back =
        parse_log(header + "0,0,3.7,20\n10,0,3.7,20.1\n5,0,3.7,20\n12,0,3.7,20\n", "log.csv");
    const auto found = serious(back.log, usual(), &back.report);
    REQUIRE(found.size() == 1);
    CHECK(found[0].kind == DataFault::clock_jump);
    CHECK(found[0].line == 4U);
    CHECK(found[0].value == -5);
    const LogReading straight =
        parse_log(header + "0,0,3.7,20\n10,0,3.7,20.1\n12,0,3.7,20\n", "log.csv");
    CHECK(serious(straight.log, usual(), &straight.report).empty());
}

TEST_CASE("repeated rows and frozen channels") {
    const std::string header = "time_s,current_A,voltage_V,temperature_degC\n";
    const LogReading twice =
        parse_log(header + "0,0,3.7,20\n1,0,3.7,20\n1,0,3.7,20\n2,0,3.7,20\n", "log.csv");
    const auto repeated = note(twice.log, DataFault::repeated_row, &twice.report);
    REQUIRE(repeated.has_value());
    CHECK(repeated->value == 1);
    CHECK(repeated->line == 4U);
    const LogReading once = parse_log(header + "0,0,3.7,20\n1,0,3.7,20\n2,0,3.7,20\n", "log.csv");
    CHECK_FALSE(note(once.log, DataFault::repeated_row, &once.report).has_value());

    Log log = made_test();
    const auto freeze = [&](std::size_t first, std::size_t last) {
        Log frozen = log;
        for (std::size_t row = first; row <= last; ++row) {
            frozen.voltage_V[row] = frozen.voltage_V[first];
            frozen.temperature_degC[row] = frozen.temperature_degC[first];
        }
        return frozen;
    };
    const DataFinding frozen =
        only(freeze(discharge_row + 20, discharge_row + 60), DataFault::frozen);
    CHECK(frozen.row == discharge_row + 20);
    CHECK(frozen.value == Approx(400));
    // A short time, or a rest, in which nothing has to move.
    CHECK(serious(freeze(discharge_row + 20, discharge_row + 27)).empty());
    CHECK(serious(freeze(rest_row + 5, rest_row + 100)).empty());
}

TEST_CASE("spikes of the voltage and of the temperature") {
    const Log log = made_test();
    for (const double height_V : {0.1, -0.05}) {
        Log bad = log;
        bad.voltage_V[discharge_row + 30] += height_V;
        const DataFinding spike = only(bad, DataFault::spike);
        CHECK(spike.row == discharge_row + 30);
        CHECK(spike.value == Approx(height_V).margin(0.005));
    }
    Log warm = log;
    warm.temperature_degC[rest_row + 30] += 30;
    CHECK(only(warm, DataFault::spike).value == Approx(30).margin(0.5));
    // Two rows of a pulse are no spike, nor is one row that the current has made.
    MadeLog made(0.5);
    made.run(0, 60, 1).run(-3, 1, 1).run(0, 60, 1);
    CHECK(serious(made.log).empty());
}

TEST_CASE("the step of a channel") {
    Log log = made_test();
    const auto round_to = [](std::vector<double> values, double step) {
        for (double& value : values)
            value = step * std::round(value / step);
        return values;
    };
    CHECK_FALSE(note(log, DataFault::quantisation).has_value());
    Log fine = log;
    fine.voltage_V = round_to(log.voltage_V, 0.001);
    REQUIRE(note(fine, DataFault::quantisation).has_value());
    CHECK(note(fine, DataFault::quantisation)->value == Approx(0.001).epsilon(1e-6));
    CHECK(note(fine, DataFault::quantisation)->text.find("voltage") != std::string::npos);
    CHECK(serious(fine).empty());
    Log coarse = log;
    coarse.voltage_V = round_to(log.voltage_V, 0.02);
    const DataFinding step = only(coarse, DataFault::quantisation);
    CHECK(step.value == Approx(0.02).epsilon(1e-6));
}

TEST_CASE("the offset of the current, from rests") {
    Log log = made_test();
    REQUIRE(note(log, DataFault::current_offset).has_value());
    CHECK(note(log, DataFault::current_offset)->text.find("exactly 0 A: they tell nothing") !=
          std::string::npos);
    std::mt19937_64 random(voltkeel_test::seed());
    std::normal_distribution<double> noise_A(0, 0.002);
    Log noisy = log;
    for (double& current_A : noisy.current_A)
        current_A += noise_A(random);
    CAPTURE(voltkeel_test::seed());
    CHECK_FALSE(note(noisy, DataFault::current_offset).has_value());
    for (double& current_A : noisy.current_A)
        current_A -= 0.006;
    const DataFinding offset = only(noisy, DataFault::current_offset);
    CHECK(offset.value == Approx(0.006).margin(0.0005));
}

TEST_CASE("the offset of the current, from a balance of charge") {
    for (const double reads_less_A : {0.009, -0.02, 0.0}) {
        CAPTURE(reads_less_A);
        const Log log = cycled(reads_less_A);
        const auto balance = offset_from_balance(log, usual());
        REQUIRE(balance.has_value());
        CHECK(balance->balances == 2);
        CHECK(balance->current_offset_A_std > 0);
        CHECK(balance->current_offset_A_std < 0.002);
        CHECK(std::fabs(balance->current_offset_A - reads_less_A) <
              3 * balance->current_offset_A_std);
        CHECK(serious(log).size() == (reads_less_A == 0 ? 0U : 1U));
    }
    // Settled rests serve where no charge ends at constant voltage; their difference counts.
    MadeLog slow(0.985);
    slow.reads_less_A = 0.009;
    slow.run(0, 600, 60)
        .run(-0.15, 60000, 60)
        .run(0, 3600, 60)
        .run(0.15, 59000, 60)
        .run(0, 3600, 60);
    const auto rested = offset_from_balance(slow.log, usual());
    REQUIRE(rested.has_value());
    CHECK(std::fabs(rested->current_offset_A - 0.009) < 0.0005);
    // The start counts as full only when that is said.
    MadeLog once(0.98);
    once.reads_less_A = 0.009;
    once.run(-1, 7200, 10).run(0, 60, 10);
    while (once.log.voltage_V.back() < 4.195)
        once.run(1, 10, 10);
    once.hold(4.2, 0.05, 10);
    CHECK_FALSE(offset_from_balance(once.log, usual()).has_value());
    DataCheckSettings full = usual();
    full.starts_full = true;
    const auto from_start = offset_from_balance(once.log, full);
    REQUIRE(from_start.has_value());
    // This cell was at 98 %, the end of the charge is elsewhere: what the balance cannot know.
    const double wrong_Ah = (once.soc() - 0.98) * MadeLog::capacity_Ah;
    const double expected_A = 0.009 - wrong_Ah / (from_start->time_s / 3600);
    CHECK(from_start->current_offset_A == Approx(expected_A).margin(1e-4));
}

TEST_CASE("the sign of the current") {
    Log log = made_test();
    for (double& current_A : log.current_A)
        current_A = -current_A;
    const DataFinding turned = only(log, DataFault::current_sign);
    CHECK(turned.severity == DataSeverity::error);
    // Without edges the voltage tells.
    MadeLog made(0.9);
    made.run(-1, 3600, 10);
    Log steady = made.log;
    CHECK(serious(steady).empty());
    for (double& current_A : steady.current_A)
        current_A = -current_A;
    CHECK(only(steady, DataFault::current_sign).text.find("said to charge") != std::string::npos);
}

TEST_CASE("units that look like others") {
    Log milli = made_test();
    for (double& voltage_V : milli.voltage_V)
        voltage_V *= 1000;
    milli.voltage_V[0] = milli.voltage_V[1];
    CHECK(only(milli, DataFault::voltage_unit).text.find("mV") != std::string::npos);
    Log pack = made_test();
    for (double& voltage_V : pack.voltage_V)
        voltage_V *= 14;
    CHECK(only(pack, DataFault::voltage_unit).severity == DataSeverity::warning);
    Log current = made_test();
    for (double& current_A : current.current_A)
        current_A *= 1000;
    DataCheckSettings settings = usual();
    bool found = false;
    for (const DataFinding& finding : serious(current, settings))
        found = found || finding.kind == DataFault::current_unit;
    CHECK(found);
    Log kelvin = made_test();
    for (double& temperature : kelvin.temperature_degC)
        temperature += 273.15;
    CHECK(only(kelvin, DataFault::temperature_unit).text.find("looks like K") != std::string::npos);
    Log fahrenheit = made_test();
    for (double& temperature : fahrenheit.temperature_degC)
        temperature = 32 + 1.8 * temperature;
    CHECK(only(fahrenheit, DataFault::temperature_unit).text.find("degF") != std::string::npos);
}

TEST_CASE("currents in mA are seen without a capacity, and those of large cells are not mistaken") {
    const auto current_unit = [](const Log& log, const DataCheckSettings& settings) {
        std::string text;
        for (const DataFinding& finding : check_data(log, settings)) {
            if (finding.kind == DataFault::current_unit) text += finding.text;
        }
        return text;
    };
    const auto times = [](Log log, double factor) {
        for (double& current_A : log.current_A)
            current_A *= factor;
        return log;
    };
    // 3 Ah of 30 mohm: pulses of some minutes by their resistance, all of the charge by its amount.
    CHECK(current_unit(times(made_test(), 1000), {}).find("30 uohm") != std::string::npos);
    MadeLog slow(1);
    slow.run(-0.15, 70000, 60);
    CHECK(current_unit(times(slow.log, 1000), {}).find("more than any cell holds") !=
          std::string::npos);
    // A slow test stays below 100 C in mA: by what a step of it moves.
    DataCheckSettings of_cell;
    of_cell.steps.capacity_Ah = 3;
    CHECK(current_unit(times(slow.log, 1000), of_cell).find("with a capacity of 3 Ah") !=
          std::string::npos);
    CHECK(current_unit(slow.log, of_cell).empty());
    CHECK(current_unit(slow.log, {}).empty());
    CHECK(current_unit(made_test(), {}).empty());
    // Discharge after discharge, the charges between them not logged: 60 Ah of a 3 Ah cell.
    Log often;
    for (int discharge = 0; discharge < 20; ++discharge) {
        MadeLog one(1);
        one.run(0, 600, 60).run(-1, 10800, 60).run(0, 600, 60);
        const double from_s = often.size() == 0 ? 0 : often.time_s.back() + 7200;
        for (std::size_t row = 0; row < one.log.size(); ++row) {
            often.time_s.push_back(from_s + one.log.time_s[row]);
            often.current_A.push_back(one.log.current_A[row]);
            often.voltage_V.push_back(one.log.voltage_V[row]);
            often.temperature_degC.push_back(one.log.temperature_degC[row]);
        }
    }
    CHECK(current_unit(often, of_cell).empty());
    CHECK_FALSE(current_unit(times(often, 1000), of_cell).empty());
    // 1000 Ah of 0.09 mohm, as if 333 of these cells stood in parallel.
    CHECK(current_unit(times(made_test(), 333), {}).empty());
    CHECK(current_unit(times(slow.log, 333), {}).empty());
}

TEST_CASE("findings of units name the column of the file") {
    voltkeel::LogReport report;
    report.columns = {{"time_s", "t", "s"},
                      {"current_A", "I", "A"},
                      {"voltage_V", "U cell", "V"},
                      {"temperature_degC", "T1", "degC"}};
    const auto text_of = [&](const Log& log, DataFault kind) {
        const std::optional<DataFinding> found = note(log, kind, &report);
        return found ? found->text : std::string();
    };
    Log log = made_test();
    for (std::size_t row = 0; row != log.size(); ++row) {
        log.current_A[row] *= -1000;
        log.voltage_V[row] *= 1000;
        log.temperature_degC[row] += 273.15;
    }
    CHECK(text_of(log, DataFault::voltage_unit).find("the voltage (column 'U cell') is 3") == 0);
    CHECK(
        text_of(log, DataFault::current_unit).find("the current (column 'I') goes up to 3000 A") ==
        0);
    CHECK(text_of(log, DataFault::current_sign)
              .find("the sign of the current (column 'I') looks wrong") == 0);
    CHECK(text_of(log, DataFault::temperature_unit).find("the temperature (column 'T1') is 29") ==
          0);
    // The other way round: right numbers, read in too small a unit or on too low a scale.
    log = made_test();
    for (std::size_t row = 0; row != log.size(); ++row) {
        log.voltage_V[row] /= 1000;
        log.temperature_degC[row] -= 273.15;
    }
    CHECK(text_of(log, DataFault::voltage_unit).find("V read as mV") != std::string::npos);
    CHECK(text_of(log, DataFault::temperature_unit).find("degC read as K") != std::string::npos);
}

TEST_CASE("temperatures that cannot be") {
    Log cold = made_test();
    for (double& temperature : cold.temperature_degC)
        temperature -= 70;
    CHECK(only(cold, DataFault::temperature_range).value < -40);
    Log jumping = made_test();
    for (std::size_t row = rest_row + 10; row != jumping.size(); ++row)
        jumping.temperature_degC[row] += 15;
    const DataFinding jump = only(jumping, DataFault::temperature_jump);
    CHECK(jump.row == rest_row + 10);
    CHECK(jump.value == Approx(15).margin(0.5));

    MadeLog made(0.9);
    made.run(-2, 2400, 10);
    CHECK(serious(made.log).empty());
    Log constant = made.log;
    std::fill(constant.temperature_degC.begin(), constant.temperature_degC.end(), 25.0);
    only(constant, DataFault::temperature_constant);
    // Where nothing warmed the cell it may stand still.
    MadeLog slow(0.9);
    slow.run(-0.1, 2400, 10);
    std::fill(slow.log.temperature_degC.begin(), slow.log.temperature_degC.end(), 25.0);
    CHECK(serious(slow.log).empty());
    // A file without the column says so itself.
    std::string text = "time_s,current_A,voltage_V\n";
    for (int row = 0; row != 200; ++row) {
        text += std::to_string(10 * row) + ",-2," + std::to_string(4.1 - 0.001 * row) + "\n";
    }
    LogReadSettings reading;
    reading.temperature_degC = 20;
    const LogReading filled = parse_log(text, "log.csv", reading);
    CHECK(serious(filled.log, usual(), &filled.report).empty());
    CHECK(note(filled.log, DataFault::temperature_constant, &filled.report)
              ->text.find("has no temperature") != std::string::npos);
}

TEST_CASE("rows too far apart at the edges of pulses") {
    MadeLog made(0.5);
    for (int i = 0; i != 4; ++i)
        made.run(0, 60, 10).run(-3, 10, 10);
    made.run(0, 60, 10);
    const DataFinding slow = only(made.log, DataFault::slow_sampling);
    CHECK(slow.value == Approx(10));
    CHECK(slow.text.find("4 of 4 pulses") != std::string::npos);
    MadeLog quick(0.5);
    for (int i = 0; i != 4; ++i)
        quick.run(0, 60, 10).run(-3, 10, 1);
    quick.run(0, 60, 10);
    CHECK(serious(quick.log).empty());
}

TEST_CASE("lines of the file stand beside rows") {
    const Log log = made_test();
    std::string text = "remark\nremark\ntime_s,current_A,voltage_V,temperature_degC\n";
    const std::size_t spike = discharge_row + 30;
    for (std::size_t row = 0; row != log.size(); ++row) {
        char line[128];
        std::snprintf(line, sizeof line, "%.3f,%.4f,%.5f,%.3f\n", log.time_s[row],
                      log.current_A[row], log.voltage_V[row] + (row == spike ? 0.2 : 0),
                      log.temperature_degC[row]);
        text += line;
        if (row == 5 || row == 100) text += line;  // repeated
    }
    const LogReading reading = parse_log(text, "log.csv");
    const auto found = serious(reading.log, usual(), &reading.report);
    REQUIRE(found.size() == 1);
    CHECK(found[0].row == spike);
    CHECK(found[0].line == 3 + 1 + spike + 2);
    CHECK(found[0].line == reading.report.line_of(spike));
}

TEST_CASE("corrections do what they say, and nothing unasked") {
    const Log log = made_test();
    const CorrectedLog same = correct_log(log, {});
    CHECK(same.log.voltage_V == log.voltage_V);
    CHECK(same.log.current_A == log.current_A);
    CHECK(same.record.empty());

    Log bad = log;
    for (double& v : bad.voltage_V)
        v *= 1000;
    for (double& i : bad.current_A)
        i *= -1000;
    for (double& t : bad.temperature_degC)
        t += 273.15;
    LogCorrections corrections;
    corrections.voltage_from_mV = true;
    corrections.current_from_mA = true;
    corrections.temperature_from_K = true;
    corrections.turn_current = true;
    const CorrectedLog mended = correct_log(bad, corrections);
    CHECK(mended.record.size() == 4);
    CHECK(mended.record[0] == "made.csv: voltages read as mV");
    CHECK(serious(mended.log).empty());
    for (std::size_t row = 0; row != log.size(); ++row) {
        REQUIRE(mended.log.voltage_V[row] == Approx(log.voltage_V[row]).epsilon(1e-14));
        REQUIRE(mended.log.current_A[row] == Approx(log.current_A[row]).epsilon(1e-14));
        REQUIRE(mended.log.temperature_degC[row] ==
                Approx(log.temperature_degC[row]).epsilon(1e-12));
    }

    corrections = {};
    corrections.current_offset_A = 0.009;
    const Log shifted = correct_log(log, corrections).log;
    for (std::size_t row = 0; row != log.size(); ++row) {
        REQUIRE(shifted.current_A[row] ==
                (log.current_A[row] == 0 ? 0 : log.current_A[row] + 0.009));
    }

    // Spikes go, the other rows stay.
    Log spiky = log;
    spiky.voltage_V[discharge_row + 30] += 0.1;
    spiky.temperature_degC[rest_row + 30] += 30;
    corrections = {};
    corrections.drop_spikes = true;
    const CorrectedLog clean = correct_log(spiky, corrections);
    CHECK(clean.log.size() == log.size() - 2);
    REQUIRE(clean.record.size() == 1);
    CHECK(clean.record[0].find("made.csv: 2 spikes left out, at time ") == 0);
    CHECK(serious(clean.log).empty());
    Log expected = log;
    for (auto* column :
         {&expected.time_s, &expected.current_A, &expected.voltage_V, &expected.temperature_degC}) {
        column->erase(column->begin() + rest_row + 30);
        column->erase(column->begin() + discharge_row + 30);
    }
    CHECK(clean.log.time_s == expected.time_s);
    CHECK(clean.log.voltage_V == expected.voltage_V);
    CHECK(correct_log(log, corrections).record.empty());

    corrections = {};
    corrections.temperature_from_K = true;
    corrections.temperature_from_degF = true;
    CHECK_THROWS_AS(correct_log(log, corrections), Error);
    corrections = {};
    corrections.current_offset_A = std::numeric_limits<double>::quiet_NaN();
    CHECK_THROWS_AS(correct_log(log, corrections), Error);
}

TEST_CASE("the checks take any log, and refuse none that is one") {
    std::mt19937_64 random(voltkeel_test::seed());
    for (int round = 0; round != 300; ++round) {
        Log log;
        log.source = "random";
        const std::size_t rows = 1 + random() % 120;
        double time_s = 0;
        for (std::size_t row = 0; row != rows; ++row) {
            time_s += static_cast<double>(1 + random() % 2000) / 2;
            log.time_s.push_back(time_s);
            log.current_A.push_back(random() % 2 == 0 ? 0
                                                      : static_cast<double>(random() % 200) - 100);
            log.voltage_V.push_back(static_cast<double>(random() % 5000) / 1000);
            log.temperature_degC.push_back(static_cast<double>(random() % 300) - 100);
        }
        CAPTURE(voltkeel_test::seed(), round, rows);
        for (const DataFinding& finding : check_data(log)) {
            REQUIRE_FALSE(finding.text.empty());
            REQUIRE(std::isfinite(finding.value));
            REQUIRE((!finding.row || *finding.row < rows));
        }
        LogCorrections corrections;
        corrections.drop_spikes = true;
        const Log out = correct_log(log, corrections).log;
        REQUIRE(out.size() <= rows);
        REQUIRE(out.size() >= 1);
    }
    Log broken = made_test();
    broken.current_A[7] = std::numeric_limits<double>::infinity();
    CHECK_THROWS_WITH(check_data(broken), "made.csv: current_A[7] is not a finite number");
    DataCheckSettings settings;
    settings.gap_s = 0;
    CHECK_THROWS_WITH(check_data(made_test(), settings),
                      "DataCheckSettings: gap_s = 0 must be > 0");
    settings = {};
    settings.temperature_min_degC = 90;
    CHECK_THROWS_AS(check_data(made_test(), settings), Error);
}

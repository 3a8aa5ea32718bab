// Logs of other writers: their column names, units, time stamps, decimal commas and the lines above
// the header. What is refused, and in which words.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <ctime>
#include <random>
#include <string>
#include <utility>
#include <vector>

#include "support/seed.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/io/csv.hpp"

using voltkeel::Error;
using voltkeel::Log;
using voltkeel::LogReading;
using voltkeel::LogReadSettings;
using voltkeel::parse_log;
using voltkeel::TimeFormat;

namespace {

const std::string header = "time_s,current_A,voltage_V,temperature_degC\n";

std::string refusal(const std::string& text, const LogReadSettings& settings = {}) {
    try {
        (void)parse_log(text, "log.csv", settings);
    } catch (const Error& error) {
        return error.what();
    }
    return "";
}

/// A log of two rows with the given times, everything else plain.
std::string with_times(const std::string& one, const std::string& other) {
    return header + one + ",1,3.7,20\n" + other + ",1,3.7,20\n";
}

std::string names_of(const LogReading& reading) {
    std::string text;
    for (const auto& column : reading.report.columns)
        text += column.quantity + "<" + column.name + "[" + column.unit + "] ";
    return text;
}

}  // namespace

// Names of the Battery Data Format: from memory, not re-read.
TEST_CASE("columns of the Battery Data Format are found by themselves, ours first") {
    const std::string rows = "0,1,3.7,20\n1,2,3.8,21\n";
    for (const std::string& names :
         {std::string("Test Time / s,Current / A,Voltage / V,Surface Temperature T1 / degC\n"),
          std::string(
              "test_time_second,current_ampere,voltage_volt,surface_temperature_t1_celsius\n"),
          std::string("Test Time / s,current_A,voltage_volt,Ambient Temperature / degC\n"),
          std::string("time_s,Current / A,voltage_V,ambient_temperature_celsius\n")}) {
        CAPTURE(names);
        const LogReading reading = parse_log(names + rows, "log.csv");
        CHECK(reading.log.time_s == std::vector<double>{0, 1});
        CHECK(reading.log.current_A == std::vector<double>{1, 2});
        CHECK(reading.log.voltage_V == std::vector<double>{3.7, 3.8});
        CHECK(reading.log.temperature_degC == std::vector<double>{20, 21});
    }
    const LogReading both = parse_log(
        "Voltage / V,Ambient Temperature / degC,voltage_V,time_s,current_A,"
        "Surface Temperature T1 / degC\n1,2,3.7,0,5,24\n",
        "log.csv");
    CHECK(both.log.voltage_V == std::vector<double>{3.7});
    CHECK(both.log.temperature_degC == std::vector<double>{24});  // of the cell, not of the room
    CHECK(names_of(both) ==
          "time_s<time_s[s] current_A<current_A[A] voltage_V<voltage_V[V] "
          "temperature_degC<Surface Temperature T1 / degC[degC] ");
    CHECK(both.report.summary().find("Columns: time_s from 'time_s' in s, ") != std::string::npos);
    // A name that was asked for is not replaced by another.
    LogReadSettings settings;
    settings.columns.voltage = "Pack";
    CHECK(refusal("Test Time / s,Current / A,Voltage / V,T\n0,1,2,3\n", settings)
              .find("no column 'Pack'") != std::string::npos);
    // The units of these columns stand in their names: settings for ours leave them alone.
    settings = {};
    settings.units.voltage = "mV";
    settings.temperature_degC = 20;
    CHECK(parse_log("Test Time / s,Current / A,Voltage / V\n0,1,2\n", "", settings)
              .log.voltage_V[0] == 2);
    CHECK(parse_log("time_s,current_A,voltage_V\n0,1,2000\n", "", settings).log.voltage_V[0] == 2);
}

TEST_CASE("a header further down is found, and the lines are counted from the top") {
    const std::string remarks =
        "Tester 4, channel 2\n\nOperator: \"N\n# time_s is in the first column\n1,2,3\n";
    const LogReading reading =
        parse_log(remarks + header + "0,1,2,3\n0,1,2,3\n1,1,2,3\n", "log.csv");
    CHECK(reading.log.size() == 2);
    CHECK(reading.report.header_line == 6);
    CHECK(reading.report.first_row_line == 7);
    REQUIRE(reading.report.findings.size() == 1);
    CHECK(reading.report.findings[0].line == 8);
    CHECK(reading.report.line_of(0) == 7);
    CHECK(reading.report.line_of(1) == 9);
    CHECK(refusal(remarks + header + "0,1,x,3\n") ==
          "log.csv:7: column 'voltage_V' (3): 'x' is not a number");

    LogReadSettings settings;
    settings.header_line = 2;
    settings.lines_after_header = 1;
    const std::string twice =
        "time_s,current_A,voltage_V,temperature_degC\nt,i,u,T\ns,A,V,degC\n0,1,2,3\n";
    settings.columns = {"t", "i", "u", "T"};
    const LogReading second = parse_log(twice, "log.csv", settings);
    CHECK(second.log.voltage_V == std::vector<double>{2});
    CHECK(second.report.first_row_line == 4);
    settings.header_line = 9;
    CHECK(refusal(twice, settings) == "log.csv:5: the file ends before header_line");
    settings.header_line = 3;
    CHECK(refusal(twice, settings).find("log.csv:3: no column 't'; the header has 's', ") == 0);
    // None anywhere: the first line is named, as before.
    CHECK(refusal("a,b\n1,2\n").find("log.csv:1: no column 'time_s'; the header has 'a', 'b'") ==
          0);
    // Windows line ends and a byte order mark.
    std::string windows = "\xEF\xBB\xBFremark\r\n" + header + "0,1,2,3\r\n";
    windows.replace(windows.find("degC\n"), 5, "degC\r\n");
    CHECK(parse_log(windows, "").log.size() == 1);
}

TEST_CASE("units are turned into ours") {
    const auto read = [](const char* time, const char* current, const char* voltage,
                         const char* temperature, const std::string& row) {
        LogReadSettings settings;
        settings.units = {time, current, voltage, temperature};
        return parse_log(header + row, "log.csv", settings).log;
    };
    CHECK(read("min", "mA", "mV", "K", "1.5,-2500,3651,298.15\n").time_s[0] == 90);
    CHECK(read("h", "mA", "mV", "K", "1.5,-2500,3651,298.15\n").time_s[0] == 5400);
    CHECK(read("ms", "mA", "mV", "K", "1500,-2500,3651,298.15\n").time_s[0] == 1.5);
    const Log log = read("s", "mA", "mV", "K", "1,-2500.5,3651.5,298.15\n");
    // A number of mA that a double holds exactly becomes the nearest number of A, not one beside
    // it.
    CHECK(log.current_A[0] == -2.5005);
    CHECK(log.voltage_V[0] == 3.6515);
    CHECK(log.temperature_degC[0] == Approx(25).epsilon(1e-12));
    // -40 is the same in both, 212 degF is the boiling point, 98.6 degF is 37 degC.
    CHECK(read("s", "A", "V", "degF", "1,1,1,-40\n").temperature_degC[0] == -40);
    CHECK(read("s", "A", "V", "F", "1,1,1,212\n").temperature_degC[0] == 100);
    CHECK(read("s", "A", "V", "degF", "1,1,1,98.6\n").temperature_degC[0] ==
          Approx(37).epsilon(1e-12));
    CHECK(read("s", "A", "V",
               "\xC2\xB0"
               "C",
               "1,1,1,21\n")
              .temperature_degC[0] == 21);

    LogReadSettings settings;
    settings.units.temperature = "K";
    settings.units.current = "mA";
    settings.units.time = "min";
    settings.temperature_degC = 10;
    settings.current_offset_A = 0.009;  // in A, whatever the file holds
    const LogReading filled =
        parse_log(header + "0,1000,3.7,\n0.5,0,3.7,300.15\n11,5,3.7,\n", "", settings);
    CHECK(filled.log.temperature_degC[0] == 10);
    CHECK(filled.log.temperature_degC[1] == Approx(27).epsilon(1e-12));
    CHECK(filled.log.current_A[0] == Approx(1.009).epsilon(1e-14));
    CHECK(filled.log.current_A[1] == 0);
    CHECK(filled.log.current_A[2] == Approx(0.014).epsilon(1e-14));
    REQUIRE(filled.report.findings.size() == 1);  // 630 s, though the numbers differ by 10.5
    CHECK(filled.report.findings[0].step_s == 630);

    settings.units.voltage = "kV";
    CHECK(refusal(header + "0,1,2,3\n", settings) ==
          "LogReadSettings: units.voltage 'kV' must be one of V, mV, volt");
    settings.units.voltage = "A";
    CHECK(refusal(header + "0,1,2,3\n", settings).find("units.voltage 'A'") != std::string::npos);
    settings = {};
    settings.units.time = "h";
    CHECK(refusal(header + "1e308,1,2,3\n", settings) ==
          "log.csv:2: the time in s is beyond the range of a double");
}

TEST_CASE("units stand in the header where that is asked for") {
    LogReadSettings settings;
    settings.units_from_header = true;
    settings.columns = {"Time", "Current", "Voltage", "Temp"};
    for (const std::string& names : {std::string("Time [min],Current (mA),Voltage / V,Temp / K\n"),
                                     std::string("Time/min, Current [mA] ,Voltage(V),Temp[K]\n")}) {
        CAPTURE(names);
        const LogReading reading = parse_log(names + "2,-500,3.7,293.15\n", "log.csv", settings);
        CHECK(reading.log.time_s[0] == 120);
        CHECK(reading.log.current_A[0] == -0.5);
        CHECK(reading.log.voltage_V[0] == 3.7);
        CHECK(reading.log.temperature_degC[0] == Approx(20).epsilon(1e-12));
        CHECK(reading.report.columns[1].unit == "mA");
    }
    // No unit: that of the settings. The whole name may be given too.
    settings.units.time = "h";
    settings.columns.current = "Current (mA)";
    CHECK(parse_log("Time,Current (mA),Voltage / mV,Temp\n1,1,3700,20\n", "", settings)
              .log.time_s[0] == 3600);
    CHECK(refusal("Time [min],Current (mA),Voltage (kV),Temp\n1,1,1,1\n", settings) ==
          "log.csv:1: column 'Voltage (kV)': the unit 'kV' is none of V, mV, volt");
    CHECK(refusal("Time [min],Time [s],Current (mA),Voltage (V),Temp\n1,1,1,1,1\n", settings) ==
          "log.csv:1: column 'Time' stands more than once in the header");
    // Not asked for: a name is a name.
    settings.units_from_header = false;
    CHECK(refusal("Time [min],Current (mA),Voltage,Temp\n1,1,1,1\n", settings)
              .find("no column 'Time'") != std::string::npos);
}

TEST_CASE("a degree sign in Latin-1 is one") {
    LogReadSettings settings;
    settings.units_from_header = true;
    settings.columns = {"t", "I", "U", "T"};
    const LogReading reading = parse_log(
        "t [s],I [A],U [V],T [\xB0"
        "F]\n0,1,3.7,212\n",
        "", settings);
    CHECK(reading.log.temperature_degC[0] == 100);
    CHECK(reading.report.columns[3].name ==
          "T [\xC2\xB0"
          "F]");
    settings.units_from_header = false;
    settings.columns = {"t", "I", "U",
                        "T/\xC2\xB0"
                        "C"};
    CHECK(parse_log("t,I,U,T/\xB0"
                    "C\n0,1,3.7,21\n",
                    "", settings)
              .log.temperature_degC[0] == 21);
    CHECK(parse_log("t,I,U,T/\xC2\xB0"
                    "C\n0,1,3.7,21\n",
                    "", settings)
              .log.temperature_degC[0] == 21);
}

TEST_CASE("time stamps and elapsed times") {
    const auto times = [](const std::string& one, const std::string& other) {
        return parse_log(with_times(one, other), "log.csv").log;
    };
    // 2024-03-01 00:00 UTC is 1709251200 s after 1970-01-01: 54 years with 13 leap days and two
    // months of a leap year, (54 * 365 + 13 + 60) * 86400.
    constexpr double march_s = (54 * 365 + 13 + 60) * 86400.0;
    const Log log = times("2024-03-01T12:00:00.5", "2024-03-01T12:00:01.25");
    CHECK(log.time_s == std::vector<double>{0.5, 1.25});
    CHECK(log.clock_origin_s == march_s + 43200);
    CHECK(times("2024-02-29 23:59:59", "2024-03-01 00:00:01").time_s == std::vector<double>{0, 2});
    CHECK(times("2023-02-28 23:59", "2023-03-01 00:00").time_s == std::vector<double>{0, 60});
    CHECK(times("2024-03-01T01:00:00+01:00", "2024-03-01T00:00:01Z").clock_origin_s == march_s);
    CHECK(times("2024-02-29T18:30:00-0530", "2024-03-01T00:00:01Z").time_s ==
          std::vector<double>{0, 1});
    CHECK(times("2024-03-01T01:00:00+01", "\"2024-03-01T00:00:01,5Z\"").time_s ==
          std::vector<double>{0, 1.5});

    const Log elapsed = times("00:00:00.000", "125:30:01.5");
    CHECK(elapsed.time_s == std::vector<double>{0, 125 * 3600 + 30 * 60 + 1.5});
    CHECK_FALSE(elapsed.clock_origin_s.has_value());
    CHECK_FALSE(times("0", "1").clock_origin_s.has_value());
    const LogReading stamped =
        parse_log(with_times("2024-03-01 12:00:00", "2024-03-01 11:00:00"), "");
    CHECK(stamped.report.columns[0].unit == "timestamp");
    REQUIRE(stamped.report.findings.size() == 1);  // the clock was set back
    CHECK(stamped.report.findings[0].step_s == -3600);
}

TEST_CASE("the comma of a fraction of a second needs quotes or another separator") {
    LogReadSettings settings;
    settings.separator = ';';
    settings.decimal_comma = true;
    const std::string text =
        "time_s;current_A;voltage_V;temperature_degC\n2024-03-01 12:00:00,5;1;3,7;20\n"
        "2024-03-01 12:00:01,0;1;3,8;20\n";
    CHECK(parse_log(text, "", settings).log.time_s == std::vector<double>{0.5, 1});
}

TEST_CASE("times that are none are refused with their place") {
    for (const char* const bad : {"2024-02-30 00:00:00",
                                  "2023-02-29 00:00:00",
                                  "2024-13-01 00:00:00",
                                  "2024-00-01 00:00:00",
                                  "2024-01-00 00:00:00",
                                  "2024-01-01 24:00:00",
                                  "2024-01-01 12:60:00",
                                  "2024-01-01 12:00:60",
                                  "2024-01-01",
                                  "2024-01-01 12",
                                  "2024-01-01 12:00:00.",
                                  "2024-01-01 12:00:00 UTC",
                                  "2024-01-01T12:00:00+25:00",
                                  "2024-01-01T12:00:00Zx",
                                  "01/03/2024 12:00:00",
                                  "12:30",
                                  "-1:00:00",
                                  "1:2:3",
                                  "12:00:00Z",
                                  "::"}) {
        CAPTURE(bad);
        const std::string message = refusal(with_times(bad, bad));
        CHECK(message.find("log.csv:2: column 'time_s' (1): '" + std::string(bad) + "' is n") == 0);
    }
    CHECK(refusal(with_times("2024-03-01 12:00:00", "2024-03-01T12:00:01Z")) ==
          "log.csv:3: column 'time_s' (1): some time stamps name their zone and some do not");
    CHECK(refusal(with_times("2024-03-01 12:00:00", "12:00:01")) ==
          "log.csv:3: column 'time_s' (1): '12:00:01' is no time stamp YYYY-MM-DD HH:MM:SS");
    CHECK(refusal(with_times("00:00:00", "1")) ==
          "log.csv:3: column 'time_s' (1): '1' is no elapsed time HH:MM:SS");
    CHECK(refusal(with_times("00:00:00", "")) ==
          "log.csv:3: column 'time_s' (1): the cell is empty");
    CHECK(refusal(with_times("0", "00:00:01")).find("is neither a number, a time stamp") !=
          std::string::npos);
    LogReadSettings settings;
    settings.time_format = TimeFormat::number;
    CHECK(refusal(with_times("00:00:00", "00:00:01"), settings).find("log.csv:2:") == 0);
    settings.time_format = TimeFormat::timestamp;
    CHECK(refusal(with_times("0", "1"), settings) ==
          "log.csv:2: column 'time_s' (1): '0' is no time stamp YYYY-MM-DD HH:MM:SS");
}

// timegm: an independent calendar, that of the C library.
TEST_CASE("time stamps of all years are those of the C library") {
    std::mt19937_64 random(voltkeel_test::seed());
    std::uniform_int_distribution<std::int64_t> any_s(-2208988800, 4102444800);  // 1900 .. 2100
    for (int round = 0; round != 5000; ++round) {
        const std::time_t stamp_s = static_cast<std::time_t>(any_s(random));
        std::tm date{};
        REQUIRE(gmtime_r(&stamp_s, &date) != nullptr);
        char text[40];
        REQUIRE(std::strftime(text, sizeof text, "%Y-%m-%dT%H:%M:%SZ", &date) > 0);
        CAPTURE(voltkeel_test::seed(), round, text);
        const Log log = parse_log(header + text + ",1,3.7,20\n", "").log;
        REQUIRE(log.clock_origin_s == static_cast<double>(timegm(&date)));
    }
}

TEST_CASE("a decimal comma reads as the point does, bit by bit") {
    std::mt19937_64 random(voltkeel_test::seed());
    std::string with_point = "time_s;current_A;voltage_V\n";
    std::uniform_real_distribution<double> any(-1000, 1000);
    char text[64];
    for (int row = 0; row != 5000; ++row) {
        const char* const format = row % 3 == 0 ? "%d;%.17g;%.4f\n" : "%d;%.3f;%.12e\n";
        std::snprintf(text, sizeof text, format, row, any(random), any(random));
        with_point += text;
    }
    std::string with_comma = with_point;
    std::replace(with_comma.begin(), with_comma.end(), '.', ',');
    LogReadSettings settings;
    settings.separator = ';';
    settings.temperature_degC = 20;
    const Log expected = parse_log(with_point, "", settings).log;
    settings.decimal_comma = true;
    const Log log = parse_log(with_comma, "", settings).log;
    CAPTURE(voltkeel_test::seed());
    CHECK(log.current_A == expected.current_A);
    CHECK(log.voltage_V == expected.voltage_V);
    const std::string start = "time_s;current_A;voltage_V\n0;";
    CHECK(refusal(start + "1.5;2\n", settings) ==
          "log.csv:2: column 'current_A' (2): '1.5' is not a number");
    CHECK(refusal(start + "1.234,5;2\n", settings).find("'1.234,5' is not a number") !=
          std::string::npos);
    CHECK(refusal(start + "1,2,3;2\n", settings).find("'1,2,3' is not a number") !=
          std::string::npos);
    settings.separator = ',';
    CHECK(refusal(start, settings) ==
          "LogReadSettings: with decimal_comma the separator cannot be ','; is it ';'?");
}

TEST_CASE("damaged text of other layouts gives an error or a log, never anything else") {
    std::mt19937_64 random(voltkeel_test::seed());
    const std::string good =
        "Bench 3\n\nTime [min];I (mA);U;Temp / K\n;;;\n2024-03-01 12:00:00,5;-1000,5;3,7;298\n"
        "2024-03-01T12:00:01;0;3,71;298,1\n2024-03-01 12:00:09;5e2;3,72;\n";
    const std::string bytes = ";,:-T Z\n\r\"0123456789.+e[]()/";
    LogReadSettings settings;
    settings.columns = {"Time", "I", "U", "Temp"};
    settings.units_from_header = true;
    settings.decimal_comma = true;
    settings.separator = ';';
    settings.lines_after_header = 1;
    settings.temperature_degC = 20;
    REQUIRE(parse_log(good, "log.csv", settings).log.size() == 3);
    std::size_t logs = 0;
    std::size_t errors = 0;
    for (int round = 0; round != 10000; ++round) {
        std::string text = good;
        for (std::uint64_t edits = 1 + random() % 3; edits != 0 && !text.empty(); --edits) {
            const std::size_t place = random() % text.size();
            switch (random() % 4) {
                case 0:
                    text[place] = bytes[random() % bytes.size()];
                    break;
                case 1:
                    text.insert(place, 1, bytes[random() % bytes.size()]);
                    break;
                case 2:
                    text.erase(place, 1 + random() % 3);
                    break;
                default:
                    if (random() % 4 == 0) text.resize(place);
                    break;
            }
        }
        CAPTURE(voltkeel_test::seed(), round, text);
        try {
            const LogReading reading = parse_log(text, "log.csv", settings);
            ++logs;
            REQUIRE(reading.log.size() > 0);
            REQUIRE(reading.report.rows == reading.log.size());
            for (std::size_t row = 0; row != reading.log.size(); ++row) {
                REQUIRE(std::isfinite(reading.log.time_s[row] + reading.log.current_A[row] +
                                      reading.log.voltage_V[row] +
                                      reading.log.temperature_degC[row]));
                REQUIRE((row == 0 || reading.log.time_s[row] > reading.log.time_s[row - 1]));
            }
        } catch (const Error& error) {
            ++errors;
            REQUIRE(std::string(error.what()).compare(0, 8, "log.csv:") == 0);
        }
    }
    CHECK(logs > 1000);
    CHECK(errors > 1000);
}

// Logs with a voltage for each group: which columns are found, and what is refused in which words.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstddef>
#include <filesystem>
#include <fstream>
#include <limits>
#include <string>
#include <vector>

#include "support/error_text.hpp"
#include "support/example_cell.hpp"
#include "support/seed.hpp"
#include "voltkeel/io/group_log.hpp"

using Catch::Contains;
using voltkeel::GroupLog;
using voltkeel::GroupLogReading;
using voltkeel::LogReadSettings;
using voltkeel::parse_group_log;
using voltkeel_test::error_text;

namespace {

std::string refusal(const std::string& text, const LogReadSettings& settings = {}) {
    return error_text([&] { (void)parse_group_log(text, "log.csv", settings); });
}

LogReadSettings named(const std::string& name) {
    LogReadSettings settings;
    settings.columns.voltage = name;
    return settings;
}

const std::string start = "time_s,current_A,temperature_degC,";

}  // namespace

TEST_CASE("columns of groups are found by their numbers, in any order", "[group_log]") {
    // A voltage of the whole string, and a name with letters for a number, are other columns.
    const GroupLogReading reading = parse_group_log(
        "voltage_2_V,time_s,voltage_V,voltage_003_V,current_A,voltage_max_V,temperature_degC,"
        "voltage_1_V\n"
        "3.2,0,9.6,3.3,-1,8,20,3.1\n"
        ",1,9.7,nan,2,8,21,3.15\n"
        "3.25, 2,9.8,-inf,2,8,22, 3.16 \n",
        "log.csv");
    const GroupLog& log = reading.log;
    CHECK(log.groups == 3);
    CHECK(log.first_number == 1);
    CHECK(log.time_s == std::vector<double>{0, 1, 2});
    CHECK(log.current_A == std::vector<double>{-1, 2, 2});
    CHECK(log.temperature_degC == std::vector<double>{20, 21, 22});
    REQUIRE(log.voltage_V.size() == 9);
    CHECK(std::vector<double>(log.voltage_V.begin(), log.voltage_V.begin() + 4) ==
          std::vector<double>{3.1, 3.2, 3.3, 3.15});
    CHECK(std::isnan(log.voltage_V[4]));
    CHECK(std::isnan(log.voltage_V[5]));
    CHECK(log.voltage_V[6] == 3.16);
    CHECK(log.voltage_V[7] == 3.25);
    CHECK(std::isnan(log.voltage_V[8]));
    CHECK(reading.report.rows == 3);
    // No word about columns that have the names they should have.
    CHECK(reading.report.summary() == "3 rows kept, 0 left out.");
    check_log(log);
}

TEST_CASE("names and units of the columns of groups come from the settings", "[group_log]") {
    LogReadSettings settings = named("Cell {} (mV)");
    settings.units.voltage = "mV";
    settings.current_sign = voltkeel::CurrentSign::discharge_positive;
    const GroupLogReading reading = parse_group_log(
        start + "Cell 0 (mV),Cell 1 (mV)\n0,1,20,3100,3200\n1,2,20,3101,\n", "log.csv", settings);
    CHECK(reading.log.first_number == 0);
    CHECK(reading.log.groups == 2);
    CHECK(reading.log.voltage_V[0] == 3.1);
    CHECK(reading.log.voltage_V[2] == 3.101);
    CHECK(std::isnan(reading.log.voltage_V[3]));
    CHECK(reading.log.current_A == std::vector<double>{-1, -2});
    CHECK_THAT(reading.report.summary(), Contains("voltage_{}_V from \"Cell {} (mV)\" in mV") ||
                                             Contains("voltage_{}_V from 'Cell {} (mV)' in mV"));

    LogReadSettings by_header = named("Cell {}");
    by_header.units_from_header = true;
    by_header.decimal_comma = true;
    by_header.separator = ';';
    const GroupLogReading read = parse_group_log(
        "Remark;of;the;logger\ntime_s [min];current_A [A];temperature_degC;Cell 1 [mV];Cell 2 "
        "[mV]\n0,5;1;20;3100,5;3200\n",
        "log.csv", by_header);
    CHECK(read.log.voltage_V == std::vector<double>{3.1005, 3.2});
    CHECK(read.log.time_s == std::vector<double>{30});
    CHECK(read.report.header_line == 2);
}

TEST_CASE("the voltage of the pack stands beside those of the groups", "[group_log]") {
    const std::string rows = "0,-1,20,3.1,3.2,6.3\n1,2,21,3.1,3.2,\n";
    const GroupLog log =
        parse_group_log(start + "voltage_0_V,voltage_1_V,pack_voltage_V\n" + rows, "log.csv").log;
    REQUIRE(log.pack_voltage_V.size() == 2);
    CHECK(log.pack_voltage_V[0] == 6.3);
    CHECK(std::isnan(log.pack_voltage_V[1]));
    CHECK(log.groups == 2);
    // Another name, and its own unit in the header.
    LogReadSettings settings = named("Cell {}");
    settings.columns.pack_voltage = "Stack";
    settings.units_from_header = true;
    const GroupLogReading other = parse_group_log(
        start + "Cell 0 (mV),Cell 1 (mV),Stack (V)\n0,-1,20,3100,3200,6.3\n", "log.csv", settings);
    CHECK(other.log.pack_voltage_V == std::vector<double>{6.3});
    CHECK(other.log.voltage_V == std::vector<double>{3.1, 3.2});
    CHECK(other.report.columns.back().quantity == "pack_voltage_V");
    CHECK(other.report.columns.back().name == "Stack (V)");
    // Not asked for, not there.
    settings.columns.pack_voltage.clear();
    CHECK(parse_group_log(start + "Cell 0 (mV),Stack (V)\n0,-1,20,3100,6.3\n", "log.csv", settings)
              .log.pack_voltage_V.empty());
    settings.columns.pack_voltage = "Sum";
    CHECK_THAT(refusal(start + "Cell 0 (mV),Stack (V)\n0,-1,20,3100,6.3\n", settings),
               Contains("log.csv") && Contains("'Sum'") && Contains("pack"));
    CHECK_THAT(refusal(start + "voltage_0_V,pack_voltage_V,pack_voltage_V\n0,-1,20,3.1,3.1,3.1\n"),
               Contains("pack_voltage_V") && Contains("more than once"));
    CHECK_THAT(refusal(start + "voltage_0_V,pack_voltage_V\n0,-1,20,3.1,x\n"),
               Contains("log.csv:2") && Contains("not a number"));
    GroupLog broken = log;
    broken.pack_voltage_V.pop_back();
    CHECK_THAT(error_text([&] { check_log(broken); }), Contains("pack_voltage_V has 1 values"));
}

TEST_CASE("rows that are left out take their voltages with them", "[group_log]") {
    const GroupLogReading reading = parse_group_log(
        start +
            "voltage_1_V,voltage_2_V\n0,0,20,1,2\n5,0,20,3,4\n5,0,20,5,6\n4,0,20,7,8\n6,0,20,"
            "9,10\n",
        "log.csv");
    CHECK(reading.report.rows_dropped == 2);
    CHECK(reading.log.voltage_V == std::vector<double>{1, 2, 3, 4, 9, 10});
}

TEST_CASE("what is no log of groups is refused in plain words", "[group_log]") {
    const std::string row = "0,0,20,3.1,3.2\n";
    CHECK_THAT(refusal(start + "voltage_1_V,voltage_3_V\n" + row),
               Contains("log.csv:1: no column 'voltage_2_V', but 'voltage_3_V'"));
    CHECK_THAT(refusal(start + "voltage_2_V,voltage_3_V\n" + row),
               Contains("no column 'voltage_1_V', but 'voltage_3_V'"));
    CHECK_THAT(refusal(start + "voltage_1_V,voltage_01_V\n" + row),
               Contains("columns 'voltage_1_V' and 'voltage_01_V' both are group 1"));
    CHECK_THAT(refusal(start + "cell 1,cell 2\n" + row),
               Contains("no column 'voltage_0_V or voltage_1_V'; the header has"));
    CHECK_THAT(refusal(start + "voltage_1_V,voltage_2_V\n0,0,20,3.1,x\n"),
               Contains("log.csv:2: column 'voltage_2_V' (5): 'x' is not a number"));
    CHECK_THAT(refusal(start + "voltage_1_V,voltage_2_V\n0,0,20,3.1,1e999\n"),
               Contains("beyond the range of a double"));
    CHECK_THAT(refusal(start + "voltage_1_V,voltage_2_V\n0,0,20,3.1\n"),
               Contains("the row has 4 fields, the header has 5"));
    CHECK_THAT(refusal(start + "voltage_1_V,voltage_2_V\n0,,20,3.1,3.2\n"),
               Contains("column 'current_A' (2): the cell is empty"));
    CHECK_THAT(refusal("time_s,voltage_1_V\n0,3.1\n"), Contains("no column 'current_A'"));
    CHECK_THAT(refusal(start + "voltage_1_V\n"), Contains("no data rows"));
    CHECK_THAT(refusal("x", named("Cell")), Contains("must hold {} once"));
    CHECK_THAT(refusal("x", named("{}Cell{}")), Contains("must hold {} once"));
    LogReadSettings by_header = named("Cell {}");
    by_header.units_from_header = true;
    CHECK_THAT(refusal(start + "Cell 1 [mV],Cell 2 [V]\n" + row, by_header),
               Contains("column 'Cell 2 [V]' is in V, 'Cell 1 [mV]' in mV"));
    // One voltage asked for by the name of many.
    CHECK_THAT(error_text([&] {
                   (void)voltkeel::parse_log(start + "voltage_1_V,voltage_2_V\n" + row, "log.csv",
                                             named("voltage_{}_V"));
               }),
               Contains("{} stands for the number of a group"));
}

TEST_CASE("as many groups as can be, and one more", "[group_log]") {
    const auto with = [](std::size_t groups) {
        std::string names = start;
        std::string row = "0,0,20,";
        for (std::size_t g = 0; g < groups; ++g) {
            const std::string comma = g + 1 < groups ? "," : "\n";
            names += "voltage_" + std::to_string(g + 1) + "_V" + comma;
            row += std::to_string(3 + 0.001 * static_cast<double>(g)) + comma;
        }
        return names + row;
    };
    const GroupLog log = parse_group_log(with(voltkeel::most_log_groups), "log.csv").log;
    CHECK(log.groups == voltkeel::most_log_groups);
    CHECK(log.voltage_V.back() == 3.511);
    CHECK_THAT(refusal(with(voltkeel::most_log_groups + 1)),
               Contains("513 columns of groups are more than 512"));
}

TEST_CASE("a file says by its header whether it has groups", "[group_log]") {
    const std::filesystem::path path =
        std::filesystem::temp_directory_path() / "voltkeel_group_columns.csv";
    const auto count = [&](const std::string& text, const LogReadSettings& settings = {}) {
        std::ofstream(path) << text;
        return voltkeel::group_column_count(path, settings);
    };
    CHECK(count(start + "voltage_1_V,voltage_2_V\n0,0,20,3,3\n") == 2);
    CHECK(count("remark\n" + start + "voltage_V,voltage_1_V\n0,0,20,3,3\n") == 1);
    CHECK(count(start + "voltage_V\n0,0,20,3\n") == 0);
    CHECK(count("current_A,voltage_1_V\n0,3\n") == 0);  // read_log says what is missing
    CHECK(count("") == 0);
    // Who names one column wants that one.
    CHECK(count(start + "voltage_1_V,voltage_2_V\n0,0,20,3,3\n", named("voltage_2_V")) == 0);
    CHECK(count(start + "Cell 1,Cell 2,Cell 4\n0,0,20,3,3,3\n", named("Cell {}")) == 3);
    std::filesystem::remove(path);
    CHECK_THAT(error_text([&] { (void)voltkeel::group_column_count(path); }),
               Contains("voltkeel_group_columns.csv"));
}

TEST_CASE("random tables come back as they were written", "[group_log]") {
    voltkeel_test::Random random(11);
    for (int round = 0; round < 50; ++round) {
        CAPTURE(voltkeel_test::seed(), round);
        const auto groups = static_cast<std::size_t>(random.whole(1, 40));
        const auto rows = static_cast<std::size_t>(random.whole(1, 20));
        const int first = random.whole(0, 1);
        std::vector<std::size_t> order;  // of the columns
        for (std::size_t g = 0; g < groups; ++g)
            order.insert(order.begin() + random.whole(0, static_cast<int>(g)), g);
        std::string text = "time_s,current_A,temperature_degC";
        for (const std::size_t g : order)
            text += ",voltage_" + std::to_string(first + static_cast<int>(g)) + "_V";
        std::vector<double> truth;
        for (std::size_t row = 0; row < rows; ++row) {
            std::vector<double> row_V;
            for (std::size_t g = 0; g < groups; ++g)
                row_V.push_back(random.whole(0, 9) == 0 ? std::numeric_limits<double>::quiet_NaN()
                                                        : random.whole(-99999, 99999) / 1e4);
            text += "\n" + std::to_string(row) + ",0,20";
            for (const std::size_t g : order) {
                char number[32];
                std::snprintf(number, sizeof number, "%.4f", row_V[g]);
                text += std::isnan(row_V[g]) ? "," : std::string(",") + number;
            }
            truth.insert(truth.end(), row_V.begin(), row_V.end());
        }
        const GroupLog log = parse_group_log(text + "\n", "log.csv").log;
        REQUIRE(log.groups == groups);
        CHECK(log.first_number == first);
        REQUIRE(log.voltage_V.size() == truth.size());
        const bool same =
            std::equal(truth.begin(), truth.end(), log.voltage_V.begin(),
                       [](double a, double b) { return std::isnan(a) ? std::isnan(b) : a == b; });
        CHECK(same);
    }
}

TEST_CASE("a log of groups from memory is checked", "[group_log]") {
    const GroupLog good{{0, 1}, {0, 0}, {20, 20}, {3, 3, 3, NAN}, 2, 0, "memory"};
    check_log(good);
    const auto text = [&](auto change) {
        GroupLog log = good;
        change(log);
        return error_text([&] { check_log(log); });
    };
    CHECK_THAT(text([](GroupLog& log) { log.voltage_V.pop_back(); }),
               Contains("voltage_V has 3 values, needs 2 rows of 2 groups"));
    CHECK_THAT(text([](GroupLog& log) { log.groups = 0; }), Contains("groups 0 must be from 1"));
    CHECK_THAT(text([](GroupLog& log) { log.groups = 513; }), Contains("groups 513"));
    CHECK_THAT(text([](GroupLog& log) { log.first_number = 2; }), Contains("first_number 2"));
    CHECK_THAT(text([](GroupLog& log) { log.current_A[1] = NAN; }),
               Contains("current_A[1] is not a finite number"));
    CHECK_THAT(text([](GroupLog& log) { log.time_s[1] = 0; }), Contains("is not after"));
    CHECK_THAT(text([](GroupLog& log) { log.temperature_degC.pop_back(); }),
               Contains("temperature_degC has 1 values"));
}

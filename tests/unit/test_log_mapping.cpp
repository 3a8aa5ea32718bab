// Mapping files: what they say is what is read, and what they cannot say is refused.

#include <catch2/catch.hpp>
#include <filesystem>
#include <random>
#include <string>

#include "voltkeel/error.hpp"
#include "voltkeel/io/log_mapping.hpp"

using voltkeel::CurrentSign;
using voltkeel::Error;
using voltkeel::load_log_mapping;
using voltkeel::LogReadSettings;
using voltkeel::parse_log_mapping;
using voltkeel::save_log_mapping;
using voltkeel::TimeFormat;

namespace {

std::string refusal(const std::string& fields) {
    try {
        (void)parse_log_mapping(
            R"({"format": "voltkeel.log_mapping", "format_version": 1)" + fields + "}",
            "bench.json");
    } catch (const Error& error) {
        return error.what();
    }
    return "";
}

}  // namespace

TEST_CASE("what a mapping leaves out keeps its default") {
    const LogReadSettings settings = parse_log_mapping(
        R"({"format": "voltkeel.log_mapping", "format_version": 1})", "bench.json");
    const LogReadSettings usual;
    CHECK(settings.columns.time == usual.columns.time);
    CHECK(settings.units.temperature == usual.units.temperature);
    CHECK(settings.current_sign == usual.current_sign);
    CHECK(settings.current_offset_A == usual.current_offset_A);
    CHECK(settings.gap_s == usual.gap_s);
    CHECK(settings.separator == usual.separator);
    CHECK(settings.time_format == usual.time_format);
    CHECK_FALSE(settings.temperature_degC.has_value());
    CHECK_FALSE(settings.units_from_header);
}

TEST_CASE("a mapping that is written and read back is the same") {
    const auto path = std::filesystem::temp_directory_path() /
                      ("voltkeel_mapping_" + std::to_string(std::random_device{}()) + ".json");
    LogReadSettings settings;
    settings.columns = {"Zeit", "I", "U \"Zelle\"", "T", "U Stapel"};
    settings.units = {"min", "mA", "mV", "K"};
    settings.units_from_header = true;
    settings.time_format = TimeFormat::elapsed;
    settings.current_sign = CurrentSign::discharge_positive;
    settings.current_offset_A = -0.009;
    settings.gap_s = 30;
    settings.temperature_degC = -5.5;
    settings.separator = '\t';
    settings.decimal_comma = true;
    settings.header_line = 7;
    settings.lines_after_header = 2;
    save_log_mapping(path, settings);
    const LogReadSettings back = load_log_mapping(path);
    std::filesystem::remove(path);
    CHECK(back.columns.time == settings.columns.time);
    CHECK(back.columns.current == settings.columns.current);
    CHECK(back.columns.voltage == settings.columns.voltage);
    CHECK(back.columns.temperature == settings.columns.temperature);
    CHECK(back.columns.pack_voltage == settings.columns.pack_voltage);
    CHECK(back.units.time == "min");
    CHECK(back.units.current == "mA");
    CHECK(back.units.voltage == "mV");
    CHECK(back.units.temperature == "K");
    CHECK(back.units_from_header);
    CHECK(back.time_format == TimeFormat::elapsed);
    CHECK(back.current_sign == CurrentSign::discharge_positive);
    CHECK(back.current_offset_A == -0.009);
    CHECK(back.gap_s == 30);
    CHECK(back.temperature_degC == -5.5);
    CHECK(back.separator == '\t');
    CHECK(back.decimal_comma);
    CHECK(back.header_line == 7);
    CHECK(back.lines_after_header == 2);
    // Other spellings of a unit are written as the schema has them.
    settings.units.temperature =
        "\xC2\xB0"
        "F";
    save_log_mapping(path, settings);
    CHECK(load_log_mapping(path).units.temperature == "degF");
    std::filesystem::remove(path);
    settings.units.voltage = "kV";
    CHECK_THROWS_AS(save_log_mapping(path, settings), Error);
    CHECK_FALSE(std::filesystem::exists(path));
}

TEST_CASE("a mapping that says something else is refused by its field") {
    CHECK(refusal(R"(, "unit": {})").find("bench.json: /unit") == 0);
    CHECK(refusal(R"(, "units": {"voltage": "kV"})").find("bench.json: /units/voltage: ") == 0);
    CHECK(refusal(R"(, "columns": {"time": ""})").find("bench.json: /columns/time: ") == 0);
    CHECK(refusal(R"(, "positive_current": "in")").find("bench.json: /positive_current: ") == 0);
    CHECK(refusal(R"(, "gap_s": 0)").find("bench.json: /gap_s: ") == 0);
    CHECK(refusal(R"(, "header_line": 1.5)").find("bench.json: /header_line: ") == 0);
    CHECK(refusal(R"(, "separator": ";;")") ==
          "bench.json: /separator: ';;' must be one ASCII character");
    CHECK(refusal(R"(, "separator": "\u00b0")").find("must be one ASCII character") !=
          std::string::npos);
    CHECK_THROWS_WITH(load_log_mapping("/nonexistent/bench.json"),
                      Catch::Contains("/nonexistent/bench.json"));
}

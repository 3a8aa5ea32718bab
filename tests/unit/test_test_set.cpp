// A set of tests: what it says of each log, and how it is refused.

#include <catch2/catch.hpp>
#include <filesystem>
#include <string>
#include <vector>

#include "support/error_text.hpp"
#include "voltkeel/io/log_mapping.hpp"
#include "voltkeel/io/test_set.hpp"

using Catch::Contains;
using Catch::StartsWith;
using voltkeel::CurrentSign;
using voltkeel::parse_test_set;
using voltkeel::reading_in_words;
using voltkeel::TestFile;
using voltkeel_test::error_text;

namespace {

const std::filesystem::path examples = std::filesystem::path(VOLTKEEL_SOURCE_DIR) / "examples";

std::vector<TestFile> read(const std::string& files) {
    return parse_test_set(
        R"({"format": "voltkeel.test_set", "format_version": 1, "files": [)" + files + "]}",
        "tests.json", examples);
}

}  // namespace

TEST_CASE("a set gives every log its role and its way of writing") {
    const std::vector<TestFile> files = read(R"(
        {"path": "slow.csv", "role": "slow test"},
        {"path": "/data/pulses.csv", "role": "pulse test", "mapping": "tester_mapping.json",
         "current_offset_A": 0.002},
        {"path": "cold/pulses.csv", "role": "pulse test", "mapping": "tester_mapping.json",
         "positive_current": "charge", "temperature_degC": -10})");
    REQUIRE(files.size() == 3);
    CHECK(files[0].path == examples / "slow.csv");
    CHECK(files[0].role == "slow test");
    CHECK(files[0].mapping.empty());
    CHECK(files[0].settings.columns.current == "current_A");
    CHECK(reading_in_words(files[0].settings).empty());

    CHECK(files[1].path == "/data/pulses.csv");
    CHECK(files[1].mapping == examples / "tester_mapping.json");
    CHECK(files[1].settings.columns.voltage == "Cell voltage");
    CHECK(files[1].settings.current_sign == CurrentSign::discharge_positive);
    CHECK(files[1].settings.current_offset_A == 0.002);
    CHECK(reading_in_words(files[1].settings) == "discharge positive");

    // What the set says comes before the mapping.
    CHECK(files[2].settings.current_sign == CurrentSign::charge_positive);
    CHECK(files[2].settings.units.temperature == "K");
    CHECK(reading_in_words(files[2].settings) == "-10 degC where it has no temperature");
}

TEST_CASE("the example of a set names logs that are there") {
    const std::vector<TestFile> files = voltkeel::load_test_set(examples / "invented_tests.json");
    CHECK(files.size() == 4);
    for (const TestFile& file : files)
        CHECK(std::filesystem::exists(file.path));
}

TEST_CASE("a set that says something else is refused by its field") {
    const auto refusal = [](const std::string& files) {
        return error_text([&] { (void)read(files); });
    };
    CHECK_THAT(refusal(""), StartsWith("tests.json: /files: "));
    CHECK_THAT(refusal(R"({"path": "a.csv"})"), StartsWith("tests.json: /files/0"));
    CHECK_THAT(refusal(R"({"path": "a.csv", "role": "drive"})"),
               StartsWith("tests.json: /files/0/role: "));
    CHECK_THAT(refusal(R"({"path": "a.csv", "role": "heat", "sign": 1})"),
               StartsWith("tests.json: /files/0/sign"));
    CHECK_THAT(refusal(R"({"path": "a.csv", "role": "heat", "current_offset_A": 2000})"),
               StartsWith("tests.json: /files/0/current_offset_A: "));
    CHECK_THAT(refusal(R"({"path": "a.csv", "role": "heat", "mapping": "none.json"})"),
               StartsWith("tests.json: /files/0/mapping: ") && Contains("none.json"));
    CHECK_THAT(error_text([] { (void)voltkeel::load_test_set("/nonexistent/set.json"); }),
               Contains("/nonexistent/set.json"));
}

// Logs: what the reader accepts, what it refuses and in which words, and that nothing gets lost on
// the way.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <limits>
#include <random>
#include <string>
#include <utility>
#include <vector>

#include "support/seed.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/io/csv.hpp"

using Catch::Contains;
using voltkeel::CurrentSign;
using voltkeel::Error;
using voltkeel::Log;
using voltkeel::LogReading;
using voltkeel::LogReadSettings;
using voltkeel::parse_log;
using voltkeel::read_log;
using voltkeel::TimeFinding;
using voltkeel::write_csv;

namespace {

const std::string header = "time_s,current_A,voltage_V,temperature_degC\n";

const std::vector<std::string> log_names = {"time_s", "current_A", "voltage_V", "temperature_degC"};

/// The message of the Error that reading `text` throws; empty when it throws none.
std::string refusal(const std::string& text, const LogReadSettings& settings = {}) {
    try {
        (void)parse_log(text, "log.csv", settings);
    } catch (const Error& error) {
        return error.what();
    }
    return "";
}

/// A folder of its own for one test, removed with all that is in it.
class Folder {
  public:
    Folder()
        : path(std::filesystem::temp_directory_path() /
               ("voltkeel_test_" + std::to_string(std::random_device{}()))) {
        std::filesystem::create_directory(path);
    }
    Folder(const Folder&) = delete;
    Folder& operator=(const Folder&) = delete;
    ~Folder() {
        std::error_code ignored;
        std::filesystem::remove_all(path, ignored);
    }
    [[nodiscard]] std::size_t file_count() const {
        return static_cast<std::size_t>(
            std::distance(std::filesystem::directory_iterator(path), {}));
    }

    const std::filesystem::path path;
};

std::string text_of(const std::filesystem::path& path) {
    std::ifstream file(path, std::ios::binary);
    return {std::istreambuf_iterator<char>(file), {}};
}

std::uint64_t bits(double value) {
    std::uint64_t result = 0;
    std::memcpy(&result, &value, sizeof result);
    return result;
}

/// What every log must be, whatever the file held.
void check_is_log(const Log& log) {
    REQUIRE(log.current_A.size() == log.size());
    REQUIRE(log.voltage_V.size() == log.size());
    REQUIRE(log.temperature_degC.size() == log.size());
    for (std::size_t i = 0; i != log.size(); ++i) {
        REQUIRE((i == 0 || log.time_s[i] > log.time_s[i - 1]));
        for (const double value :
             {log.time_s[i], log.current_A[i], log.voltage_V[i], log.temperature_degC[i]}) {
            REQUIRE(std::isfinite(value));
        }
    }
}

/// A number of any size and sign.
double random_number(std::mt19937_64& random) {
    for (;;) {
        const std::uint64_t pattern = random();
        double value = 0;
        std::memcpy(&value, &pattern, sizeof value);
        if (std::isfinite(value)) return value;
    }
}

/// A decimal as loggers and spreadsheets write it, from short and plain to long and with an
/// exponent.
std::string random_decimal(std::mt19937_64& random) {
    const auto up_to = [&](std::uint64_t most) { return random() % (most + 1); };
    const auto digits = [&](std::uint64_t count) {
        std::string text;
        while (text.size() < count)
            text += static_cast<char>('0' + up_to(9));
        return text;
    };
    const std::string sign = std::string("-+  ").substr(up_to(3), 1);
    const std::uint64_t longest = up_to(3) == 0 ? 24 : 9;
    std::string text = (sign == " " ? "" : sign) + digits(1 + up_to(longest));
    if (up_to(4) != 0) text += "." + digits(up_to(longest));
    if (up_to(9) == 0) {
        text += (up_to(1) == 0 ? "e" : "E") + std::string("-+").substr(up_to(1), 1) +
                std::to_string(up_to(270));
    }
    return text;
}

}  // namespace

TEST_CASE("a log is read whatever the order of its columns and the dialect of its writer") {
    const std::string plain = header + "0,0,13.2,18.5\n1.5,-12.25,13.1,18.75\n3,+4,1.35e1,-0.5\n";
    const std::string odd =
        "\xEF\xBB\xBFvoltage_V, remark ,\"temperature_degC\",time_s,current_A\r\n"
        "13.2,\"quay, north\r\nside \"\"B\"\"\",18.5,0,0\r\n"
        "  13.1\t,, \"18.75\" ,1.5,-12.25\r\n"
        "1.35e1,idle,-.5,3.,+4\r\n"
        " \r\n\r\n";
    for (const std::string& text : {plain, odd}) {
        const LogReading reading = parse_log(text, "boat.csv");
        CHECK(reading.log.time_s == std::vector<double>{0, 1.5, 3});
        CHECK(reading.log.current_A == std::vector<double>{0, -12.25, 4});
        CHECK(reading.log.voltage_V == std::vector<double>{13.2, 13.1, 13.5});
        CHECK(reading.log.temperature_degC == std::vector<double>{18.5, 18.75, -0.5});
        CHECK(reading.log.source == "boat.csv");
        CHECK(reading.log.size() == 3);
        CHECK(reading.report.rows == 3);
        CHECK(reading.report.findings.empty());
        CHECK(reading.report.summary() == "3 rows kept, 0 left out.");
    }
}

// RFC 4180, section 2, rules 1, 2, 5, 6 and 7 (from memory, not re-read): CRLF line ends, the last
// one optional; quotes around fields optional; line ends, quotes and separators inside quotes; a
// quote inside quotes is doubled.
TEST_CASE("quoted fields follow RFC 4180") {
    const std::string text =
        "note,time_s,current_A,voltage_V,temperature_degC\r\n"
        "\"aaa\",\"0\",\"1\",\"2\",\"3\"\r\n"
        "\"b \r\nbb\",1,1,2,3\r\n"
        "\"b\"\"bb, c\",2,1,2,3";
    CHECK(parse_log(text, "log.csv").log.time_s == std::vector<double>{0, 1, 2});
    // The line is counted through the line end inside the quotes.
    CHECK(refusal(text + "x") == "log.csv:5: column 'temperature_degC' (5): '3x' is not a number");
    CHECK(refusal("a,\"time_s\"\"\",current_A,voltage_V\n") ==
          "log.csv:1: no column 'time_s'; the header has 'a', 'time_s\\\"', 'current_A', "
          "'voltage_V'; if 'time_s\\\"' is the time in s, set columns.time to it");
    CHECK(refusal("a,time_s\n\"x,1\n2,3\n") ==
          "log.csv:1: no column 'current_A'; the header has 'a', 'time_s'; set columns.current to "
          "the one that holds the current in A");
    CHECK(refusal("note," + header + "ok,0,1,2,3\n\"x,1,1,2,3\ny,2,1,2,3\n") ==
          "log.csv:3: the quote that opens on this line is never closed");
    CHECK(refusal("note," + header + "\"x\"y,0,1,2,3\n") ==
          "log.csv:2: text after the closing quote of a field");
}

TEST_CASE("separators other than the comma") {
    LogReadSettings settings;
    for (const char separator : {';', '\t', '|', ' '}) {
        settings.separator = separator;
        std::string text = header + "0,1,2,3\n1,1,2,4\n";
        std::replace(text.begin(), text.end(), ',', separator);
        CHECK(parse_log(text, "log.csv", settings).log.temperature_degC ==
              std::vector<double>{3, 4});
    }
}

TEST_CASE("the sign and the offset of the current are the ones that were asked for") {
    const std::string text = header + "0,0,13,20\n1,-0.0,13,20\n2,5,13,20\n3,-7,13,20\n";
    LogReadSettings settings;
    CHECK(parse_log(text, "", settings).log.current_A == std::vector<double>{0, 0, 5, -7});
    settings.current_sign = CurrentSign::discharge_positive;
    const std::vector<double> turned = parse_log(text, "", settings).log.current_A;
    CHECK(turned == std::vector<double>{0, 0, -5, 7});
    CHECK_FALSE(std::signbit(turned[0]));
    CHECK_FALSE(std::signbit(turned[1]));
    // True current = logged + offset, charge positive; the open circuit stays 0.
    settings.current_offset_A = 0.25;
    CHECK(parse_log(text, "", settings).log.current_A == std::vector<double>{0, 0, -4.75, 7.25});
    settings.current_offset_A = 1.7e308;
    CHECK(refusal(header + "0,-1.7e308,13,20\n", settings) ==
          "log.csv:2: the current with current_offset_A added is too large");
}

TEST_CASE("other column names are mapped, and a missing one says how") {
    const std::string text = "Elapsed Time,I,Pack Volts,Temp 1\n0,1,2,3\n";
    LogReadSettings settings;
    CHECK(refusal(text) ==
          "log.csv:1: no column 'time_s'; the header has 'Elapsed Time', 'I', 'Pack Volts', "
          "'Temp 1'; if 'Elapsed Time' is the time in s, set columns.time to it");
    settings.columns.time = "Elapsed Time";
    CHECK(refusal(text, settings) ==
          "log.csv:1: no column 'current_A'; the header has 'Elapsed Time', 'I', 'Pack Volts', "
          "'Temp 1'; set columns.current to the one that holds the current in A");
    settings.columns.current = "I";
    settings.columns.voltage = "Pack Volts";
    CHECK(refusal(text, settings) ==
          "log.csv:1: no column 'temperature_degC'; the header has 'Elapsed Time', 'I', "
          "'Pack Volts', 'Temp 1'; if 'Temp 1' is the temperature in degC, set columns.temperature "
          "to it, or give temperature_degC for the whole log");
    settings.columns.temperature = "Temp 1";
    const Log log = parse_log(text, "log.csv", settings).log;
    CHECK(log.time_s == std::vector<double>{0});
    CHECK(log.current_A == std::vector<double>{1});
    CHECK(log.voltage_V == std::vector<double>{2});
    CHECK(log.temperature_degC == std::vector<double>{3});
}

TEST_CASE("a missing temperature is filled only when one is given, and counted") {
    const std::string some = header + "0,1,2,\n1,1,2,21\n2,1,2, \n2,1,2,\n";
    const std::string none = "time_s,current_A,voltage_V\n0,1,2\n1,1,2\n";
    CHECK(refusal(some) ==
          "log.csv:2: column 'temperature_degC' (4): the cell is empty; set temperature_degC to "
          "fill such cells");
    CHECK(refusal(none) ==
          "log.csv:1: no column 'temperature_degC'; the header has 'time_s', 'current_A', "
          "'voltage_V'; set columns.temperature to the one that holds the temperature in degC, or "
          "give temperature_degC for the whole log");
    LogReadSettings settings;
    settings.temperature_degC = 10;
    const LogReading filled = parse_log(some, "", settings);
    CHECK(filled.log.temperature_degC == std::vector<double>{10, 21, 10});
    CHECK(filled.report.temperatures_filled == 2);  // the repeated row is not in the log
    const LogReading whole = parse_log(none, "", settings);
    CHECK(whole.log.temperature_degC == std::vector<double>{10, 10});
    CHECK(whole.report.temperatures_filled == 2);
    CHECK(whole.report.summary() ==
          "2 rows kept, 0 left out.\n2 temperatures missing, filled with the given one.");
    // Only the temperature may be missing.
    CHECK(refusal(header + "0,,2,3\n", settings) ==
          "log.csv:2: column 'current_A' (2): the cell is empty");
    // Text is not an empty cell.
    CHECK(refusal(header + "0,1,2,n/a\n", settings) ==
          "log.csv:2: column 'temperature_degC' (4): 'n/a' is not a number");
}

TEST_CASE("a cell that is no finite number is refused with its place") {
    const auto refused = [](const std::string& cell) {
        CAPTURE(cell);
        const std::string place = "log.csv:3: column 'voltage_V' (3): ";
        const std::string message = refusal(header + "0,1,2,3\n1,1," + cell + ",3\n");
        REQUIRE(message.compare(0, place.size(), place) == 0);
        return message.substr(place.size());
    };
    for (const char* const cell :
         {"abc", "1.2.3", "12V", "1 2", "1e",    "e5",    "0x10",     "--1",   "+-1",  "-+1",
          "++1", "+",     "-",   ".",   "1_000", "1'000", "infinite", "1e5.0", "+inf", "1;2"}) {
        CHECK(refused(cell) == "'" + std::string(cell) + "' is not a number");
    }
    CHECK(refused("\"1,5\"") == "'1,5' is not a number");
    CHECK(refused("1\r2") == "'1\\r2' is not a number");
    CHECK(refused(std::string("\0\0", 2)) == "'\\u0000\\u0000' is not a number");
    CHECK(refused("") == "the cell is empty");
    CHECK(refused("  ") == "the cell is empty");
    CHECK(refused("\"\"") == "the cell is empty");
    for (const char* const cell : {"nan", "NaN", "-nan", "inf", "-inf", "INFINITY"}) {
        CHECK(refused(cell) == "'" + std::string(cell) + "' is not a finite number");
    }
    for (const char* const cell : {"1e309", "-1.8e308", "1e99999", "+1e400", "1e-99999"}) {
        CHECK(refused(cell) == "'" + std::string(cell) + "' is beyond the range of a double");
    }
    const std::string long_cell(100, 'x');
    CHECK(refused(long_cell) == "'" + long_cell.substr(0, 40) + "...' is not a number");
    // Latin-1 must not make the message anything but UTF-8: U+FFFD stands for the byte.
    CHECK(refused("20\xB0") == "'20\xEF\xBF\xBD' is not a number");
}

TEST_CASE("a reading that did not come is kept as such where that is asked for") {
    const std::string text =
        header + "0,,3.7,20\n1,nan,3.7,20\n2,1,-inf,20\n3,1,3.7,\n4,1,3.7,21\n";
    LogReadSettings settings;
    settings.keep_missing = true;
    settings.current_offset_A = 0.5;
    settings.current_sign = CurrentSign::discharge_positive;
    const auto reading = parse_log(text, "day.csv", settings);
    const Log& log = reading.log;
    REQUIRE(log.size() == 5);
    CHECK(std::isnan(log.current_A[0]));
    CHECK(std::isnan(log.current_A[1]));
    CHECK(log.current_A[2] == -0.5);
    CHECK(std::isnan(log.voltage_V[2]));
    CHECK(std::isnan(log.temperature_degC[3]));
    CHECK(log.temperature_degC[4] == 21);
    CHECK(reading.report.readings_missing == 4);
    CHECK_THAT(reading.report.summary(), Contains("4 readings missing"));
    check_log(log, true);
    CHECK_THROWS_WITH(check_log(log), Contains("current_A[0]"));
    // A temperature that is given stands in first; units are taken off what came.
    settings.temperature_degC = 18;
    settings.units.voltage = "mV";
    const auto filled = parse_log(text, "day.csv", settings);
    CHECK(filled.log.temperature_degC[3] == 18);
    CHECK(filled.log.voltage_V[0] == Approx(3.7e-3));
    CHECK(std::isnan(filled.log.voltage_V[2]));
    CHECK(filled.report.readings_missing == 3);
    // A time must come, and a word is no reading.
    CHECK_THAT(refusal(header + ",1,3.7,20\n", settings),
               Contains("log.csv:2") && Contains("empty"));
    CHECK_THAT(refusal(header + "0,off,3.7,20\n", settings),
               Contains("log.csv:2") && Contains("not a number"));
}

TEST_CASE("a row with the wrong number of fields is refused, also when a cell in it is bad") {
    CHECK(refusal(header + "0,1,2,3\n1,1,2\n2,1,2,3\n") ==
          "log.csv:3: the row has 3 fields, the header has 4");
    CHECK(refusal(header + "0,1,2,3,4\n") == "log.csv:2: the row has 5 fields, the header has 4");
    CHECK(refusal(header + "0,1,2,3,\n") == "log.csv:2: the row has 5 fields, the header has 4");
    CHECK(refusal(header + "0,x,3\n") == "log.csv:2: the row has 3 fields, the header has 4");
    CHECK(refusal(header + "0,1,2,3\n1,1,2.") ==
          "log.csv:3: the row has 3 fields, the header has 4; the file ends inside this row");
    CHECK(refusal(header + "0,1,2,3\n1") ==
          "log.csv:3: the row has 1 field, the header has 4; the file ends inside this row");
    CHECK(refusal(header + "0,1,2,3\n\n1,1,2,3\n") == "log.csv:3: a blank line between the rows");
}

TEST_CASE("a file without a usable header or without rows is refused") {
    CHECK(refusal("") == "log.csv:1: the file is empty; a header row is required");
    CHECK(refusal("\xEF\xBB\xBF \r\n\n") ==
          "log.csv:1: the file is empty; a header row is required");
    CHECK(refusal(header) == "log.csv:2: no data rows after the header");
    CHECK(refusal(header + "\n \n") == "log.csv:4: no data rows after the header");
    CHECK(refusal(header.substr(0, header.size() - 1)) ==
          "log.csv:1: no data rows after the header");
    CHECK(
        refusal("0,1,2,3\n1,1,2,3\n") ==
        "log.csv:1: no column 'time_s'; the header has '0', '1', '2', '3'; the first row must name "
        "the columns");
    CHECK(refusal("time_s;current_A;voltage_V\n0;1;2\n") ==
          "log.csv:1: no column 'time_s'; the header has 'time_s;current_A;voltage_V'; is ';' the "
          "separator?");
    CHECK(refusal("time_s,current_A,voltage_V,temperature_degC,time_s\n0,1,2,3,4\n") ==
          "log.csv:1: column 'time_s' stands more than once in the header");
    CHECK(refusal(std::string("\xFF\xFEt\0i\0", 6)) ==
          "log.csv:1: the file is UTF-16; save it as UTF-8");
}

TEST_CASE("settings out of range are refused") {
    const std::string text = header + "0,1,2,3\n";
    const auto refused = [&](auto change) {
        LogReadSettings settings;
        change(settings);
        return refusal(text, settings);
    };
    const double nan = std::numeric_limits<double>::quiet_NaN();
    for (const double bad_gap_s : {0.0, -1.0, nan}) {
        CHECK(refused([&](LogReadSettings& s) {
                  s.gap_s = bad_gap_s;
              }).find("LogReadSettings: gap_s = ") == 0);
    }
    CHECK(refused([&](LogReadSettings& s) {
              s.gap_s = std::numeric_limits<double>::infinity();
          }).empty());
    CHECK(refused([&](LogReadSettings& s) { s.current_offset_A = nan; }) ==
          "LogReadSettings: current_offset_A = nan must be finite");
    CHECK(refused([&](LogReadSettings& s) { s.temperature_degC = nan; }) ==
          "LogReadSettings: temperature_degC = nan must be finite");
    CHECK(refused([&](LogReadSettings& s) { s.columns.voltage = s.columns.current; }) ==
          "LogReadSettings: columns.current and columns.voltage both are 'current_A'");
    for (const char bad : {'a', 'Z', '0', '.', '+', '-', '"', '\n', '\r', '\0'}) {
        CHECK(refused([&](LogReadSettings& s) {
                  s.separator = bad;
              }).find("LogReadSettings: separator ") == 0);
    }
}

TEST_CASE("odd times are all reported, with their lines") {
    const LogReading reading = parse_log(header +
                                             "10,1,2,3\n"   // line 2
                                             "10,1,2,4\n"   // repeated
                                             "9,1,2,5\n"    // backward
                                             "11,1,2,6\n"   // line 5
                                             "611,1,2,7\n"  // 600 s: not longer than gap_s
                                             "1311,1,2,8\n"
                                             "1311,1,2,9\n"
                                             "-3,1,2,10\n"
                                             "2011.5,1,2,11",
                                         "log.csv");
    CHECK(reading.log.time_s == std::vector<double>{10, 11, 611, 1311, 2011.5});
    CHECK(reading.log.temperature_degC == std::vector<double>{3, 6, 7, 8, 11});
    CHECK(reading.report.rows == 5);
    CHECK(reading.report.rows_dropped == 4);
    CHECK(reading.report.last_line_open);
    struct Expected {
        TimeFinding kind;
        std::size_t line;
        double time_s;
        double step_s;
    };
    const std::vector<Expected> expected = {
        {TimeFinding::repeated, 3, 10, 0},     {TimeFinding::backward, 4, 9, -1},
        {TimeFinding::gap, 7, 1311, 700},      {TimeFinding::repeated, 8, 1311, 0},
        {TimeFinding::backward, 9, -3, -1314}, {TimeFinding::gap, 10, 2011.5, 700.5},
    };
    REQUIRE(reading.report.findings.size() == expected.size());
    for (std::size_t i = 0; i != expected.size(); ++i) {
        CAPTURE(i);
        CHECK(reading.report.findings[i].kind == expected[i].kind);
        CHECK(reading.report.findings[i].line == expected[i].line);
        CHECK(reading.report.findings[i].time_s == expected[i].time_s);
        CHECK(reading.report.findings[i].step_s == expected[i].step_s);
    }
    CHECK(reading.report.summary() ==
          "5 rows kept, 4 left out.\n"
          "2 gaps in time (lines 7, 10), the longest 700.5 s before line 10.\n"
          "2 rows left out with the time of the row before (lines 3, 8).\n"
          "2 rows left out with a time before that of the last row kept (lines 4, 9).\n"
          "The last row has no line end: its last value may have been cut short.");
}

TEST_CASE("a long list of lines is shortened in the summary only") {
    std::string text = header;
    for (int i = 0; i != 9; ++i)
        text += "5,1,2,3\n";
    const LogReading reading = parse_log(text, "log.csv");
    CHECK(reading.report.findings.size() == 8);
    CHECK(reading.report.summary() ==
          "1 row kept, 8 left out.\n"
          "8 rows left out with the time of the row before (lines 3, 4, 5, 6, 7 and 3 more).");
}

// strtod of the C library stands outside the project; glibc documents it as correctly rounded.
TEST_CASE("numbers are rounded as strtod rounds them, bit for bit") {
    std::vector<std::string> decimals = {"0",
                                         "-0",
                                         "0.0",
                                         "00012.500",
                                         "0.1",
                                         "0.3",
                                         "1e23",
                                         "8.5e-3",
                                         "5e-324",
                                         "3e-324",
                                         "2e-324",
                                         "1e-324",
                                         "1e-400",
                                         "2.2250738585072011e-308",
                                         "2.2250738585072014e-308",
                                         "1.7976931348623157e308",
                                         "999999999999999",
                                         "9999999999999999",
                                         "9007199254740991",
                                         "9007199254740993",
                                         "0.999999999999999",
                                         ".999999999999999",
                                         "99999999999999.9",
                                         "123456789012345.",
                                         "0.000000000000001",
                                         "0.0000000000000001",
                                         "000000000000001",
                                         "0000000000000001",
                                         "18446744073709551616",
                                         "99999999999999999999999999",
                                         "1.00000000000000011102230246251565",
                                         "3.3424",
                                         "-0.8689",
                                         "47.1999999999999957"};
    std::mt19937_64 random(voltkeel_test::seed());
    for (int i = 0; i != 300000; ++i)
        decimals.push_back(random_decimal(random));
    std::string text = "time_s,current_A,voltage_V\n";
    for (std::size_t i = 0; i != decimals.size(); ++i) {
        text += std::to_string(i) + ",1," + decimals[i] + "\n";
    }
    LogReadSettings settings;
    settings.temperature_degC = 20;
    const Log log = parse_log(text, "log.csv", settings).log;
    REQUIRE(log.size() == decimals.size());
    std::size_t different = 0;
    for (std::size_t i = 0; i != decimals.size(); ++i) {
        if (bits(log.voltage_V[i]) == bits(std::strtod(decimals[i].c_str(), nullptr))) continue;
        ++different;
        UNSCOPED_INFO("seed " << voltkeel_test::seed() << ": " << decimals[i]);
    }
    CHECK(different == 0);
}

TEST_CASE("a log that is written and read back is the same log") {
    const Folder folder;
    std::mt19937_64 random(voltkeel_test::seed());
    for (int round = 0; round != 40; ++round) {
        CAPTURE(voltkeel_test::seed(), round);
        std::vector<std::vector<double>> columns(4);
        const std::size_t rows = 1 + random() % 300;
        for (auto& column : columns) {
            for (std::size_t i = 0; i != rows; ++i)
                column.push_back(random_number(random));
        }
        std::sort(columns[0].begin(), columns[0].end());
        const auto path = folder.path / "log.csv";
        write_csv(path, log_names, columns, 17);
        const LogReading reading = read_log(path);
        REQUIRE(reading.report.rows_dropped == 0);
        CHECK_FALSE(reading.report.last_line_open);
        CHECK(reading.log.time_s == columns[0]);
        CHECK(reading.log.current_A == columns[1]);
        CHECK(reading.log.voltage_V == columns[2]);
        CHECK(reading.log.temperature_degC == columns[3]);
        CHECK(reading.log.source == path.string());
    }
}

TEST_CASE("a number written with fewer digits is off by half a unit of the last one at most") {
    const Folder folder;
    const auto path = folder.path / "log.csv";
    std::mt19937_64 random(voltkeel_test::seed());
    std::vector<std::vector<double>> columns(4);
    std::uniform_real_distribution<double> mantissa(-10, 10);
    for (int i = 0; i != 900; ++i) {
        columns[0].push_back(i);
        for (std::size_t column = 1; column != 4; ++column) {
            columns[column].push_back(mantissa(random) * std::pow(10.0, i % 25 - 12));
        }
    }
    for (const int digits : {3, 6, 9, 16}) {
        write_csv(path, log_names, columns, digits);
        const Log log = read_log(path).log;
        REQUIRE(log.size() == columns[0].size());
        for (std::size_t i = 0; i != log.size(); ++i) {
            CAPTURE(voltkeel_test::seed(), digits, i, columns[2][i], log.voltage_V[i]);
            // Reading rounds once more, to half a unit of the last binary digit.
            const double allowed =
                std::fabs(columns[2][i]) * (0.5 * std::pow(10.0, 1 - digits) + std::pow(2.0, -53));
            CHECK(std::fabs(log.voltage_V[i] - columns[2][i]) <= allowed);
        }
    }
}

TEST_CASE("damaged text gives an error or a log, never anything else") {
    std::mt19937_64 random(voltkeel_test::seed());
    const std::string good =
        "note," + header +
        "\"a\",0,1.25,13.1,20\nb,1,-2.5e0,13.2,20.5\n\"c\"\"d\",1,+3,13.3,\n,700,4,13,9\n";
    const std::string bytes =
        ",\"\n\r\t .+-eE0123456789naif;\xEF\xBB\xBF\xFF" + std::string(1, '\0');
    std::size_t logs = 0;
    std::size_t errors = 0;
    LogReadSettings settings;
    settings.temperature_degC = 20;
    for (int round = 0; round != 20000; ++round) {
        std::string text = good;
        for (std::uint64_t edits = 1 + random() % 4; edits != 0 && !text.empty(); --edits) {
            const std::size_t place = random() % text.size();
            const char byte = bytes[random() % bytes.size()];
            switch (random() % 4) {
                case 0:
                    text[place] = byte;
                    break;
                case 1:
                    text.insert(place, 1, byte);
                    break;
                case 2:
                    text.erase(place, 1 + random() % 3);
                    break;
                default:
                    text.resize(place);
                    break;
            }
        }
        CAPTURE(voltkeel_test::seed(), round, text);
        try {
            const LogReading reading = parse_log(text, "log.csv", settings);
            ++logs;
            check_is_log(reading.log);
            REQUIRE(reading.report.rows == reading.log.size());
            REQUIRE(reading.log.size() > 0);
        } catch (const Error& error) {
            ++errors;
            REQUIRE(std::string(error.what()).compare(0, 8, "log.csv:") == 0);
        }
    }
    // Both happen often, or this test looks at one side only.
    CHECK(logs > 1000);
    CHECK(errors > 1000);
}

TEST_CASE("a file cut at any byte loses nothing in silence") {
    const std::string text = header + "0,1,13.5,20\n1,-2,13.25,21\n2,3,13,22\n";
    const Log whole = parse_log(text, "log.csv").log;
    for (std::size_t length = 0; length != text.size(); ++length) {
        CAPTURE(length);
        const std::string cut = text.substr(0, length);
        const auto complete_rows = std::count(cut.begin(), cut.end(), '\n') - 1;
        LogReading reading;
        try {
            reading = parse_log(cut, "log.csv");
        } catch (const Error&) {
            // No row at all, or one that is visibly not whole.
            CHECK((complete_rows < 1 || cut.back() != '\n'));
            continue;
        }
        REQUIRE((cut.back() == '\n') != reading.report.last_line_open);
        const auto kept = static_cast<std::ptrdiff_t>(reading.log.size());
        CHECK(kept == complete_rows + (reading.report.last_line_open ? 1 : 0));
        CHECK(std::equal(reading.log.voltage_V.begin(), reading.log.voltage_V.end(),
                         whole.voltage_V.begin()));
    }
}

TEST_CASE("a file that cannot be read is named, with the reason") {
    const Folder folder;
    const auto missing = folder.path / "none.csv";
    CHECK_THROWS_WITH(read_log(missing),
                      missing.string() + ": cannot be opened: No such file or directory");
    CHECK_THROWS_WITH(read_log(folder.path), folder.path.string() + ": is a folder, not a file");
    const auto empty = folder.path / "empty.csv";
    std::ofstream(empty).flush();
    CHECK_THROWS_WITH(read_log(empty),
                      empty.string() + ":1: the file is empty; a header row is required");
}

TEST_CASE("a CSV file is written with quotes where they are needed") {
    const Folder folder;
    const auto path = folder.path / "out.csv";
    write_csv(path, {"time_s", "a,b", "say \"x\"", " c"},
              {{0, 0.1}, {1e-9, -2}, {1.0 / 3, 1e300}, {-0.0, 5}});
    CHECK(text_of(path) ==
          "time_s,\"a,b\",\"say \"\"x\"\"\",\" c\"\n0,1e-09,0.333333333,-0\n0.1,-2,1e+300,5\n");
    write_csv(path, {"x"}, {{0.1, 2.0 / 3}}, 17);
    CHECK(text_of(path) == "x\n0.1\n0.6666666666666666\n");
    write_csv(path, {"x"}, {{}});
    CHECK(text_of(path) == "x\n");
    CHECK(folder.file_count() == 1);
}

TEST_CASE("writing that fails leaves the old file and nothing half-written") {
    const Folder folder;
    const auto path = folder.path / "out.csv";
    write_csv(path, {"x"}, {{1}});
    const std::string file = path.string();
    const double nan = std::numeric_limits<double>::quiet_NaN();
    CHECK_THROWS_WITH(write_csv(path, {"x", "y"}, {{1}}), file + ": 2 names for 1 column");
    CHECK_THROWS_WITH(write_csv(path, {"x", "y"}, {{1}, {1, 2}}),
                      file + ": column 'y' has 2 rows, column 'x' has 1");
    CHECK_THROWS_WITH(write_csv(path, {"x"}, {{1, nan}}),
                      file + ": column 'x', row 2: nan is not a finite number");
    CHECK_THROWS_WITH(write_csv(path, {}, {}), file + ": no columns to write");
    CHECK_THROWS_WITH(write_csv(path, {"x"}, {{1}}, 18),
                      file + ": significant_digits = 18 must be from 1 to 17");
    CHECK_THROWS_AS(write_csv(path, {"x"}, {{1}}, 0), Error);
    CHECK(text_of(path) == "x\n1\n");

    // A folder stands where the file should go: the rename fails, after all was written.
    const auto blocked = folder.path / "folder";
    std::filesystem::create_directory(blocked);
    std::ofstream(blocked / "inside").flush();
    CHECK_THROWS_AS(write_csv(blocked, {"x"}, {{1}}), Error);
    CHECK_THROWS_AS(write_csv(folder.path / "none" / "out.csv", {"x"}, {{1}}), Error);
    CHECK(folder.file_count() == 2);
}

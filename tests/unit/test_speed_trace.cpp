// Speed traces: units come from the name of the column, and what is wrong is named with its line.

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <string>

#include "voltkeel/error.hpp"
#include "voltkeel/simulate/speed_trace.hpp"

using voltkeel::Error;
using voltkeel::parse_speed_trace;
using voltkeel::SpeedTrace;
using voltkeel::SpeedUnit;

namespace {

std::string refusal(const std::string& text, SpeedUnit unit = SpeedUnit::from_name) {
    try {
        (void)parse_speed_trace(text, "way.csv", unit);
    } catch (const Error& error) {
        return error.what();
    }
    return "";
}

std::string refusal(const SpeedTrace& trace) {
    try {
        voltkeel::check_speed_trace(trace);
    } catch (const Error& error) {
        return error.what();
    }
    return "";
}

}  // namespace

TEST_CASE("each unit of speed is read as metres per second") {
    const auto last = [](const char* header, SpeedUnit unit) {
        return parse_speed_trace(std::string(header) + "\n0,0\n1,10\n", "way.csv", unit)
            .speed_m_per_s.back();
    };
    CHECK(last("time_s,speed_m_per_s", SpeedUnit::from_name) == 10);
    CHECK(last("time_s,speed_km_per_h", SpeedUnit::from_name) == Approx(10 / 3.6).epsilon(1e-15));
    CHECK(last("time_s,speed_mi_per_h", SpeedUnit::from_name) == Approx(4.4704).epsilon(1e-15));
    CHECK(last("time_s,speed_kn", SpeedUnit::from_name) == Approx(18520.0 / 3600).epsilon(1e-15));
    CHECK(last("time_s,speed", SpeedUnit::m_per_s) == 10);
    CHECK(last("time_s,speed", SpeedUnit::km_per_h) == Approx(10 / 3.6).epsilon(1e-15));
    CHECK(last("time_s,speed", SpeedUnit::mi_per_h) == Approx(4.4704).epsilon(1e-15));
    CHECK(last("time_s,speed", SpeedUnit::kn) == Approx(18520.0 / 3600).epsilon(1e-15));
    CHECK(last("time_s,speed_kn", SpeedUnit::kn) == Approx(18520.0 / 3600).epsilon(1e-15));
    CHECK(refusal("time_s,speed_m_per_s\n0,0\n1,10\n", SpeedUnit::kn) ==
          "way.csv:1: the column 'speed_m_per_s' is not in the unit that was given");
}

TEST_CASE("columns in any order, other columns, quotes, blanks, line ends") {
    const SpeedTrace trace = parse_speed_trace(
        "\xEF\xBB\xBF\"grade\", note ,speed_m_per_s,time_s\r\n"
        "0.5,\"a, or b\", +3 ,-1\r\n-0.02,b,4.5,0.5\r\n\r\n",
        "way.csv");
    REQUIRE(trace.size() == 2);
    CHECK(trace.time_s[0] == -1);
    CHECK(trace.speed_m_per_s[1] == 4.5);
    CHECK(trace.grade[1] == -0.02);
    CHECK(trace.source == "way.csv");
    CHECK(voltkeel::distance_m(trace) == Approx(1.5 * 3.75).epsilon(1e-15));
}

TEST_CASE("what is wrong with a file is named with its line") {
    CHECK(refusal("") == "way.csv: is empty, needs a header row");
    CHECK_THAT(refusal("time_s,v\n0,1\n1,1\n"), Catch::Contains("way.csv:1: has no speed column"));
    CHECK_THAT(refusal("t,speed_kn\n0,1\n1,1\n"), Catch::Contains("has no column 'time_s'"));
    CHECK_THAT(refusal("time_s,speed\n0,1\n1,1\n"), Catch::Contains("does not tell its unit"));
    CHECK_THAT(refusal("time_s,speed_kn,speed_m_per_s\n0,1,1\n1,1,1\n"),
               Catch::Contains("two speed columns"));
    CHECK_THAT(refusal("time_s,speed_kn,speed_kn\n0,1,1\n1,1,1\n"),
               Catch::Contains("has two columns 'speed_kn'"));
    CHECK_THAT(refusal("time_s,speed_kn\n0,1\n"), Catch::Contains("has 1 data rows"));
    CHECK_THAT(refusal("time_s,speed_kn\n0,1\n1\n"),
               Catch::Contains("way.csv:3: has 1 fields, the header has 2"));
    CHECK_THAT(refusal("time_s,speed_kn\n0,1\n1,x1\n"),
               Catch::Contains("way.csv:3: speed_kn: 'x1' is not a finite number"));
    CHECK_THAT(refusal("time_s,speed_kn\n0,1\n1,\n"), Catch::Contains("is not a finite number"));
    CHECK_THAT(refusal("time_s,speed_kn\n0,1\n1,nan\n"), Catch::Contains("is not a finite number"));
    CHECK_THAT(refusal("time_s,speed_kn\n0,1\n1,1e999\n"),
               Catch::Contains("is not a finite number"));
    CHECK_THAT(refusal("time_s,speed_kn\n0,1\n1,+-2\n"), Catch::Contains("is not a finite number"));
    // What is no UTF-8 is replaced, so that the message is.
    CHECK_THAT(refusal("time_s,speed_kn\n0,1\n1,\xFF\n"),
               Catch::Contains("speed_kn: '\xEF\xBF\xBD' is not a finite number"));
    CHECK_THAT(refusal("time_s,speed_kn\n0,1\n1e300,1\n"),
               Catch::Contains("way.csv:3: time_s: '1e300' is outside -1e12 .. 1e12"));
    CHECK_THAT(refusal("time_s,speed_kn\n0,1\n1,-0.1\n"), Catch::Contains("outside 0 .. 150 m/s"));
    CHECK_THAT(refusal("time_s,speed_m_per_s\n0,1\n1,150.1\n"),
               Catch::Contains("outside 0 .. 150 m/s"));
    CHECK_THAT(refusal("time_s,speed_kn\n0,1\n0,1\n"),
               Catch::Contains("way.csv:3: time_s: '0' is not after the row before it"));
    CHECK_THAT(refusal("time_s,speed_kn,grade\n0,1,0\n1,1,5\n"), Catch::Contains("not percent"));
    CHECK_THAT(refusal("time_s,speed_kn\n0,1\n\n1,1\n"),
               Catch::Contains("way.csv:4: a row behind a blank line"));
    CHECK_THAT(refusal("time_s,speed_kn\n0,1\n1,2x\n"), Catch::Contains("is not a finite number"));
    CHECK_THROWS_WITH(voltkeel::read_speed_trace("no/such/way.csv"),
                      Catch::Contains("no/such/way.csv"));
}

TEST_CASE("a trace made by hand is checked as well") {
    const double nan = std::numeric_limits<double>::quiet_NaN();
    CHECK(refusal(SpeedTrace{{0, 1}, {0, 1}, {}, ""}).empty());
    CHECK(refusal(SpeedTrace{{0}, {0}, {}, ""}) == "speed trace: has 1 rows, needs 2 or more");
    CHECK(refusal(SpeedTrace{{0, 1}, {0}, {}, "x"}) ==
          "x: speed_m_per_s has 1 values, time_s has 2");
    CHECK(refusal(SpeedTrace{{0, 1}, {0, 1}, {0}, "x"}) == "x: grade has 1 values, time_s has 2");
    CHECK(refusal(SpeedTrace{{0, nan}, {0, 1}, {}, "x"}) ==
          "x: time_s[1]: nan is outside -1e+12 .. 1e+12");
    CHECK(refusal(SpeedTrace{{0, -1}, {0, 1}, {}, "x"}) == "x: time_s[1]: -1 is not after 0");
    CHECK(refusal(SpeedTrace{{0, 1}, {nan, 1}, {}, "x"}) ==
          "x: speed_m_per_s[0]: nan is outside 0 .. 150");
    CHECK(refusal(SpeedTrace{{0, 1}, {0, 1}, {0, -0.6}, "x"}) ==
          "x: grade[1]: -0.6 is outside -0.5 .. 0.5");
}

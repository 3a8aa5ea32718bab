// Several files as one log.

#include <catch2/catch.hpp>
#include <cstdint>
#include <optional>
#include <random>
#include <string>
#include <vector>

#include "support/made_log.hpp"
#include "support/seed.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/io/join.hpp"

using voltkeel::Error;
using voltkeel::join_doubts;
using voltkeel::join_logs;
using voltkeel::Log;
using voltkeel_test::MadeLog;

namespace {

Log made(const std::string& name, const std::vector<double>& time_s,
         std::optional<double> clock_origin_s = {}) {
    Log log;
    log.source = name;
    log.time_s = time_s;
    log.current_A.assign(time_s.size(), 1);
    log.voltage_V.assign(time_s.size(), 3.7);
    log.temperature_degC.assign(time_s.size(), 20);
    log.clock_origin_s = clock_origin_s;
    return log;
}

}  // namespace

TEST_CASE("logs without a clock follow each other by the pause") {
    const std::vector<Log> logs = {made("a.csv", {5, 6}), made("b.csv", {100, 100.5, 103}),
                                   made("c.csv", {-7})};
    CHECK(join_logs(logs).time_s == std::vector<double>{5, 6, 7, 7.5, 10, 11});
    CHECK(join_logs(logs, {30}).time_s == std::vector<double>{5, 6, 36, 36.5, 39, 69});
    CHECK(join_logs(logs).source == "a.csv + b.csv + c.csv");
    CHECK(join_logs({logs[1]}).time_s == logs[1].time_s);
}

TEST_CASE("logs with a clock keep the time between them") {
    const Log joined = join_logs({made("a.csv", {0.5, 1.5}, 1000), made("b.csv", {0, 2}, 1100),
                                  made("c.csv", {0.25}, 4000)});
    CHECK(joined.time_s == std::vector<double>{0.5, 1.5, 100, 102, 3000.25});
    CHECK(joined.clock_origin_s == 1000.0);
    CHECK_THROWS_WITH(join_logs({made("a.csv", {0, 200}, 1000), made("b.csv", {0, 2}, 1100)}),
                      "b.csv: starts 100 s before the end of a.csv; the files must stand in the "
                      "order of their time stamps");
    CHECK_THROWS_WITH(
        join_logs({made("a.csv", {0}, 1000), made("b.csv", {0})}),
        "b.csv: has no time stamps, a.csv has some: the time between them is not known");
    CHECK_THROWS_WITH(join_logs({made("a.csv", {0}), made("b.csv", {0}, 1000)}),
                      "b.csv: has time stamps, a.csv has none: the time between them is not known");
}

TEST_CASE("a time column without stamps tells the order where it goes on") {
    const Log first = made("a.csv", {0, 10, 20, 30});
    const Log second = made("b.csv", {40, 50, 60});
    CHECK(join_logs({first, second}).size() == 7);
    CHECK_THROWS_WITH(join_logs({second, first}),
                      "a.csv: its time column ends at 30 s, and that of b.csv in front of it goes "
                      "on at 40 s: the files stand in the wrong order");
    // Each from its own zero, or from the start of the logger: nothing to tell.
    CHECK(join_logs({first, first}).size() == 8);
    CHECK(join_logs({made("late.csv", {500, 510}), first}).size() == 6);
}

TEST_CASE("a voltage that jumps between files by more than a rest explains is told") {
    // A slow test of 3 Ah in three files: down to half, down to empty, up again, a rest before
    // each.
    MadeLog test(1, 7);
    std::vector<Log> parts;
    const auto part = [&](const char* name, double current_A, double duration_s) {
        test.log = {};
        test.log.source = name;
        test.run(0, 600, 60).run(current_A, duration_s, 60).run(0, 600, 60);
        parts.push_back(test.log);
    };
    part("down.csv", -0.15, 36000);
    part("empty.csv", -0.15, 36000);
    part("up.csv", 0.15, 72000);
    CHECK(join_doubts({parts[0], parts[1], parts[2]}).empty());
    // Up first is a test as well.
    CHECK(join_doubts({parts[2], parts[0], parts[1]}).empty());
    const std::vector<std::string> swapped = join_doubts({parts[1], parts[0], parts[2]});
    REQUIRE(swapped.size() == 2);
    CHECK_THAT(swapped[0], Catch::Contains("end of empty.csv to the start of down.csv") &&
                               Catch::Contains("jumps from 3.05") && Catch::Contains("to 4.15"));
    const std::vector<std::string> missing = join_doubts({parts[0], parts[2]});
    REQUIRE(missing.size() == 1);
    CHECK_THAT(missing[0], Catch::Contains("none missing?"));

    // A rest of hours between the files, behind an empty cell and behind a half-full one.
    const auto moved = [](Log log, double by_V) {
        for (double& voltage_V : log.voltage_V)
            voltage_V += by_V;
        return log;
    };
    CHECK(join_doubts({parts[1], moved(parts[2], 0.5)}).empty());
    CHECK(join_doubts({parts[0], moved(parts[1], 0.05)}).empty());
    CHECK(join_doubts({parts[0], moved(parts[1], 0.3)}).size() == 1);
    // No rest lets the voltage fall behind a discharge.
    CHECK(join_doubts({parts[1], moved(parts[2], -0.2)}).size() == 1);
    CHECK_THROWS_WITH(join_doubts({}), "join_logs: no logs");
}

TEST_CASE("what cannot be joined is named") {
    CHECK_THROWS_WITH(join_logs({}), "join_logs: no logs");
    CHECK_THROWS_WITH(join_logs({made("a.csv", {0}), made("b.csv", {})}),
                      "b.csv: the log has no rows");
    CHECK_THROWS_WITH(join_logs({made("a.csv", {0}), made("b.csv", {1, 1})}),
                      Catch::StartsWith("b.csv: time_s[1]"));
    Log bent = made("b.csv", {0, 1});
    bent.voltage_V.pop_back();
    CHECK_THROWS_WITH(join_logs({bent}), Catch::StartsWith("b.csv: voltage_V has 1"));
    CHECK_THROWS_AS(join_logs({made("a.csv", {0})}, {0}), Error);
    // 1e-9 s is lost beside 1e9 s: said, not made two rows of one time.
    CHECK_THROWS_WITH(join_logs({made("a.csv", {0, 1e9}), made("b.csv", {0, 1e-9})}),
                      Catch::Contains("b.csv: ") && Catch::Contains("too close"));
}

TEST_CASE("joining loses nothing: pieces of a log are that log") {
    std::mt19937_64 random(voltkeel_test::seed());
    for (int round = 0; round != 200; ++round) {
        CAPTURE(voltkeel_test::seed(), round);
        Log whole;
        const std::size_t rows = 2 + random() % 60;
        double time_s = 0;
        for (std::size_t row = 0; row != rows; ++row) {
            time_s += static_cast<double>(1 + random() % 1000) / 8;  // exact in binary
            whole.time_s.push_back(time_s);
            whole.current_A.push_back(static_cast<double>(random() % 100));
            whole.voltage_V.push_back(static_cast<double>(random() % 100));
            whole.temperature_degC.push_back(static_cast<double>(random() % 100));
        }
        std::vector<Log> pieces;
        for (std::size_t row = 0; row != rows;) {
            const std::size_t end = row + 1 + random() % (rows - row);
            Log piece = made("piece", {}, 1e6 + whole.time_s[row]);
            const auto cut = [&](const std::vector<double>& from) {
                return std::vector<double>(from.begin() + static_cast<std::ptrdiff_t>(row),
                                           from.begin() + static_cast<std::ptrdiff_t>(end));
            };
            piece.time_s = cut(whole.time_s);
            for (double& t : piece.time_s)
                t -= whole.time_s[row];
            piece.current_A = cut(whole.current_A);
            piece.voltage_V = cut(whole.voltage_V);
            piece.temperature_degC = cut(whole.temperature_degC);
            pieces.push_back(piece);
            row = end;
        }
        const Log joined = join_logs(pieces);
        REQUIRE(joined.size() == rows);
        for (std::size_t row = 0; row != rows; ++row)
            REQUIRE(joined.time_s[row] == whole.time_s[row] - whole.time_s[0]);
        CHECK(joined.current_A == whole.current_A);
        CHECK(joined.voltage_V == whole.voltage_V);
        CHECK(joined.temperature_degC == whole.temperature_degC);
    }
}

// What a log shows of a cell's age, the file of it, and what replays make of it.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstddef>
#include <cstdio>
#include <filesystem>
#include <string>

#include "support/error_text.hpp"
#include "support/example_cell.hpp"
#include "support/made_pack.hpp"
#include "support/seed.hpp"
#include "voltkeel/cell/model.hpp"
#include "voltkeel/io/age_of_log.hpp"
#include "voltkeel/io/group_replay.hpp"

using Catch::Contains;
using voltkeel::AgeOfLog;
using voltkeel::Cell;
using voltkeel::CellAge;
using voltkeel::Log;
using voltkeel_test::error_text;

namespace {

/// A cell without a core, so that the truth needs no heat.
Cell tested() {
    Cell cell = voltkeel_test::made_cell();
    cell.thermal.core_resistance_K_per_W = 0;
    cell.thermal.core_heat_capacity_J_per_K = 0;
    return cell;
}

/// A log of days: driven from full to low and charged again, a long rest behind each. The cell
/// holds less and resists more than the tested one; the sensors have noise.
Log days_of(double capacity_scale, double resistance_scale, int cycles, std::uint64_t salt) {
    Cell cell = tested();
    cell.capacity_Ah *= capacity_scale;
    const voltkeel::CellTables<double, 2> tables(cell);
    voltkeel::CellState<double, 2> state;
    state.soc = 0.92;
    state.resistance_scale = resistance_scale;
    voltkeel_test::Random random(salt);
    Log log;
    log.source = "days.csv";
    double time_s = 0;
    const auto run = [&](double current_A, double duration_s) {
        constexpr double row_s = 10;
        for (double t = 0; t < duration_s; t += row_s) {
            voltkeel::step(tables.parameters(), {current_A, row_s, 20}, state);
            time_s += row_s;
            log.time_s.push_back(time_s);
            log.current_A.push_back(current_A);
            log.voltage_V.push_back(
                voltkeel::voltage_at(tables.parameters(), state, current_A, 20.0).voltage_V +
                0.001 * random.normal());
            log.temperature_degC.push_back(20);
        }
    };
    run(0, 7200);
    for (int cycle = 0; cycle < cycles; ++cycle) {
        const double low = random.uniform(0.15, 0.4);
        while (state.soc > low)
            run(random.uniform(-60, -5), 60);
        run(0, 7200);
        const double high = random.uniform(0.75, 0.92);
        while (state.soc < high)
            run(20, 60);
        run(0, 7200);
    }
    return log;
}

AgeOfLog age_of(const Log& log, const CellAge& before = {}) {
    voltkeel::ReplaySettings how;
    how.age = before;
    return voltkeel::age_of_log(tested(), log, how);
}

voltkeel::SocTrace replayed(const Log& log, const CellAge& age) {
    voltkeel::ReplaySettings settings;
    settings.age = age;
    return voltkeel::replay(tested(), log, settings);
}

}  // namespace

TEST_CASE("a log shows how much a cell has aged", "[age]") {
    for (const double capacity_scale : {1.0, 0.88}) {
        for (const double resistance_scale : {1.0, 1.4}) {
            const Log log = days_of(capacity_scale, resistance_scale, 3, 5);
            CAPTURE(voltkeel_test::seed(), capacity_scale, resistance_scale);
            const AgeOfLog found = age_of(log);
            std::printf(
                "age from 3 cycles: capacity %.3f (std %.3f, true %.2f), resistance %.3f (std "
                "%.3f, true %.2f), %d rests\n",
                found.age.capacity_scale, found.age.capacity_log_std, capacity_scale,
                found.age.resistance_scale, found.age.resistance_log_std, resistance_scale,
                found.rests);
            CHECK(found.rests == 7);
            CHECK(found.capacity_intervals == 6);
            CHECK(found.resistance_looks >= 15);
            // The prior of 5 % still counts after three cycles.
            CHECK(std::abs(found.age.capacity_scale / capacity_scale - 1) < 0.02);
            CHECK(std::abs(std::log(found.age.capacity_scale / capacity_scale)) <
                  3 * found.age.capacity_log_std);
            CHECK(found.age.capacity_log_std < 0.02);
            CHECK(std::abs(std::log(found.age.resistance_scale / resistance_scale)) <
                  std::max(0.03, 3 * found.age.resistance_log_std));
        }
    }
}

TEST_CASE("what is known of the age goes on into the next log", "[age]") {
    const Log first = days_of(0.9, 1.3, 2, 6);
    const Log second = days_of(0.9, 1.3, 2, 7);
    CAPTURE(voltkeel_test::seed());
    const CellAge after_first = age_of(first).age;
    const CellAge after_second = age_of(second, after_first).age;
    CHECK(after_second.capacity_log_std < after_first.capacity_log_std);
    CHECK(std::abs(after_second.capacity_scale - 0.9) < 0.015);
    CHECK(after_second.resistance_log_std < after_first.resistance_log_std);
    CHECK(std::abs(after_second.resistance_scale - 1.3) < 0.05);

    // A log that shows nothing leaves it as it was.
    Log drive = second;
    for (auto* column :
         {&drive.time_s, &drive.current_A, &drive.voltage_V, &drive.temperature_degC}) {
        column->erase(column->begin(), column->begin() + 720);
        column->resize(50);
    }
    const AgeOfLog nothing = age_of(drive, after_first);
    CHECK(nothing.rests == 0);
    CHECK(nothing.capacity_intervals == 0);
    CHECK(nothing.resistance_looks == 0);
    CHECK(nothing.age.capacity_scale == after_first.capacity_scale);
    CHECK(nothing.age.resistance_scale == after_first.resistance_scale);
}

TEST_CASE("a replay that knows the age starts with it", "[age][replay]") {
    const Log log = days_of(0.88, 1.5, 1, 8);
    CellAge age;
    age.capacity_scale = 0.88;
    age.capacity_log_std = 0.01;
    age.resistance_scale = 1.5;
    age.resistance_log_std = 0.02;
    const voltkeel::SocTrace as_new = replayed(log, {});
    const voltkeel::SocTrace as_old = replayed(log, age);
    CHECK(as_old.resistance_scale[0] == Approx(1.5).epsilon(0.02));
    CHECK(as_new.resistance_scale[0] == Approx(1.0).epsilon(0.02));
    CHECK(as_old.log_scale_std[0] < as_new.log_scale_std[0]);
    CHECK(as_old.log_scale_std[0] == Approx(std::hypot(0.02, 0.08)).epsilon(0.05));
    // Where nobody tells how sure it is, the filter is as open as ever.
    age.resistance_log_std = 0;
    CHECK(replayed(log, age).log_scale_std[0] == Approx(as_new.log_scale_std[0]).epsilon(0.05));
    // The truth along the log, counted back from its definition.
    double soc = 0.92;
    double off_new = 0;
    double off_old = 0;
    for (std::size_t k = 0; k < log.size(); ++k) {
        soc += log.current_A[k] * 10 / 3600 / (0.88 * tested().capacity_Ah);
        off_new = std::max(off_new, std::abs(as_new.soc[k] - soc));
        off_old = std::max(off_old, std::abs(as_old.soc[k] - soc));
    }
    CAPTURE(voltkeel_test::seed(), off_new, off_old);
    CHECK(off_old < 0.015);
    CHECK(off_old < off_new);

    // The same of groups, whose states then carry both scales.
    const voltkeel::GroupLog groups{
        log.time_s, log.current_A, log.temperature_degC, log.voltage_V, 1, 0, "one group"};
    voltkeel::GroupReplaySettings settings;
    settings.age = age;
    const voltkeel::GroupTrace trace = voltkeel::replay_groups(tested(), groups, settings);
    CHECK(trace.reference.resistance_scale[0] == Approx(1.5).epsilon(0.02));
    CHECK(trace.end[0].capacity_scale == Approx(0.88).epsilon(1e-12));
    CHECK(trace.end[0].capacity_log_std == 0.01);
    CHECK(trace.end[0].state.resistance_scale == Approx(1.5).epsilon(0.05));
    settings.capacity_Ah = tested().capacity_Ah;  // comes before the age
    CHECK(voltkeel::replay_groups(tested(), groups, settings).end[0].capacity_scale == 1);
    settings.age.resistance_scale = 9;
    CHECK_THAT(error_text([&] { (void)voltkeel::replay_groups(tested(), groups, settings); }),
               Contains("an aged resistance scale 0.25 .. 4"));
    CHECK_THAT(error_text([&] { (void)replayed(log, settings.age); }),
               Contains("an aged resistance scale 0.25 .. 4"));
}

TEST_CASE("an aged cell holds what it holds now", "[age]") {
    Cell cell = tested();
    cell.capacity_Ah_std = 0.5;
    CellAge age;
    age.capacity_scale = 0.8;
    const Cell now = voltkeel::aged_cell(cell, age);
    CHECK(now.capacity_Ah == 0.8 * cell.capacity_Ah);
    CHECK(now.capacity_Ah_std == 0.4);
    CHECK(now.resistance.r0_ohm == cell.resistance.r0_ohm);
    age.capacity_log_std = 0.02;
    CHECK(voltkeel::aged_cell(cell, age).capacity_Ah_std == Approx(0.02 * 0.8 * cell.capacity_Ah));
}

TEST_CASE("an age file reads back, and a wrong one is refused", "[age]") {
    const std::filesystem::path path =
        std::filesystem::temp_directory_path() / "voltkeel_cell_age.json";
    voltkeel_test::Random random(9);
    for (int round = 0; round < 20; ++round) {
        CAPTURE(voltkeel_test::seed(), round);
        const CellAge age{random.uniform(0.1, 2),
                          random.uniform(0, 2),
                          random.uniform(0.1, 10),
                          random.uniform(0, 2),
                          {"invented"}};
        voltkeel::save_cell_age(path, age);
        const CellAge again = voltkeel::load_cell_age(path);
        CHECK(again.capacity_scale == age.capacity_scale);
        CHECK(again.capacity_log_std == age.capacity_log_std);
        CHECK(again.resistance_scale == age.resistance_scale);
        CHECK(again.resistance_log_std == age.resistance_log_std);
        CHECK(again.notes == age.notes);
    }
    std::filesystem::remove(path);
    const std::string head = R"({"format": "voltkeel.cell_age", "format_version": 1)";
    const CellAge plain = voltkeel::parse_cell_age(head + "}", "age.json");
    CHECK(plain.capacity_scale == 1);
    CHECK(plain.resistance_scale == 1);
    const auto refused = [&](const std::string& fields) {
        return error_text([&] { (void)voltkeel::parse_cell_age(head + fields + "}", "age.json"); });
    };
    CHECK_THAT(refused(R"(, "capacity_scale": 0)"), Contains("age.json: /capacity_scale"));
    CHECK_THAT(refused(R"(, "resistance_scale": 11)"), Contains("/resistance_scale"));
    CHECK_THAT(refused(R"(, "capacity_std": 0.1)"), Contains("capacity_std"));
    CHECK_THAT(error_text([] { (void)voltkeel::parse_cell_age("{}", "age.json"); }),
               Contains("format"));
    CellAge bad;
    bad.capacity_scale = std::nan("");
    CHECK_THAT(error_text([&] { voltkeel::check(bad); }), Contains("capacity_scale"));
    CHECK_THAT(error_text([&] { voltkeel::save_cell_age(path, bad); }), Contains("number"));
    bad = {};
    bad.resistance_log_std = -1;
    CHECK_THAT(error_text([&] { (void)voltkeel::aged_cell(tested(), bad); }),
               Contains("resistance_log_std: -1 must be from 0 to 2"));
    const Log log = days_of(1, 1, 0, 1);
    voltkeel::AgeSettings settings;
    settings.rest.settle_s = 0;
    CHECK_THAT(error_text([&] { (void)voltkeel::age_of_log(tested(), log, {}, settings); }),
               Contains("settle_s"));
    settings = {};
    settings.capacity.forgetting = 0;
    CHECK_THAT(error_text([&] { (void)voltkeel::age_of_log(tested(), log, {}, settings); }),
               Contains("forgetting"));
    CHECK_THAT(error_text([&] { (void)voltkeel::age_of_log(tested(), {}); }),
               Contains("has no rows"));
    voltkeel::ReplaySettings how;
    how.capacity_Ah = 3 * tested().capacity_Ah;
    CHECK_THAT(error_text([&] { (void)voltkeel::age_of_log(tested(), log, how); }),
               Contains("capacity_scale: 3 must be from 0.1 to 2"));
}

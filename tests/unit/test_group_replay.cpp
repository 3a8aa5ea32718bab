// The pack filter along a log with the voltage of every group: the same filter as on a controller,
// held against the truth of a simulated string.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <limits>
#include <memory>
#include <string>
#include <vector>

#include "support/error_text.hpp"
#include "support/simulated_string.hpp"
#include "voltkeel/io/filter_settings.hpp"
#include "voltkeel/io/group_replay.hpp"

using Catch::Contains;
using voltkeel::GroupLog;
using voltkeel::GroupReplaySettings;
using voltkeel::GroupTrace;
using voltkeel::replay_groups;
using voltkeel_test::error_text;
using voltkeel_test::simulated_string;
using voltkeel_test::SimulatedString;
using voltkeel_test::StringShape;

namespace {

constexpr double nothing = std::numeric_limits<double>::quiet_NaN();

GroupLog log_of(const SimulatedString& run) {
    return {run.time_s,    run.current_A, std::vector<double>(run.size(), run.temperature_degC),
            run.voltage_V, run.width(),   1,
            "made.csv"};
}

StringShape small() {
    StringShape shape;
    shape.groups = 5;
    shape.duration_s = 1500;
    return shape;
}

/// Largest error of the told SOC from a row of the log on, and how often the 95 % band holds.
struct Score {
    double furthest{0};
    double inside{0};
};
Score score(const SimulatedString& run, const GroupTrace& trace, double from_s) {
    Score found;
    double count = 0;
    for (std::size_t at = 0; at < trace.row.size(); ++at) {
        const std::size_t row = trace.row[at];
        if (run.time_s[row] < from_s) continue;
        for (std::size_t g = 0; g < trace.groups; ++g) {
            const std::size_t place = at * trace.groups + g;
            const double off =
                std::abs(trace.soc[place] - run.at(run.soc, row, static_cast<int>(g)));
            found.furthest = std::max(found.furthest, off);
            found.inside += off < 1.96 * trace.soc_std[place] ? 1 : 0;
            count += 1;
        }
    }
    found.inside /= count;
    return found;
}

}  // namespace

TEST_CASE("a replay of groups is the pack filter step by step", "[group_replay]") {
    for (const double row_s : {1.0, 0.2, 3.0}) {
        StringShape shape = small();
        shape.row_s = row_s;
        SimulatedString run = simulated_string(shape);
        run.cell.thermal.core_resistance_K_per_W = 0;  // the case is all there is
        run.cell.thermal.core_heat_capacity_J_per_K = 0;
        CAPTURE(voltkeel_test::seed(), row_s);
        GroupReplaySettings from_rest;
        from_rest.starts_at_rest = true;
        const GroupTrace trace = replay_groups(run.cell, log_of(run), from_rest);

        const voltkeel::CellTables<double, 2> tables(run.cell);
        const auto filter = std::make_unique<voltkeel::PackFilter<double, 2, false, 16>>();
        voltkeel::PackFilterSettings<double> settings;
        settings.reference = voltkeel::filter_settings(run.cell);
        REQUIRE(filter->configure(tables.parameters(), 5, settings) == voltkeel::Status::ok);
        REQUIRE(filter->start_from_voltages(run.voltage_V.data(), run.current_A[0], 20) ==
                voltkeel::Status::ok);
        std::size_t at = 0;
        std::size_t looked = 0;
        bool same = true;
        for (std::size_t row = 0; row < run.size(); ++row) {
            voltkeel::PackSample<double> sample;
            sample.current_A = run.current_A[row];
            sample.temperature_degC = 20;
            sample.dt_s = row > 0 ? run.time_s[row] - run.time_s[row - 1] : 0;
            sample.voltage_V = run.voltage_V.data() + row * 5;
            const auto& told = filter->step(sample);
            looked += told.updated ? 1 : 0;
            same = same && trace.reference.soc[row] == told.reference.soc &&
                   trace.reference.fault_bits[row] == told.reference.fault_bits &&
                   trace.soc_min[row] == filter->spread().soc_min &&
                   trace.soc_max[row] == filter->spread().soc_max;
            if (!told.updated && row != 0 && row + 1 != run.size()) continue;
            REQUIRE(at < trace.row.size());
            REQUIRE(trace.row[at] == row);
            for (int g = 0; g < 5; ++g) {
                const std::size_t place = 5 * at + static_cast<std::size_t>(g);
                same = same && trace.soc[place] == filter->soc(g) &&
                       trace.soc_std[place] == filter->soc_std(g) &&
                       trace.resistance_scale[place] == filter->resistance_scale(g) &&
                       trace.fault_bits[place] == filter->group_faults(g);
            }
            ++at;
        }
        CHECK(same);
        CHECK(at == trace.row.size());
        CHECK(trace.looked == looked);
        CHECK(trace.reference.time_s == run.time_s);
        REQUIRE(trace.end.size() == 5);
        for (int g = 0; g < 5; ++g) {
            const auto& end = trace.end[static_cast<std::size_t>(g)];
            CHECK(end.state.soc == filter->soc(g));
            CHECK(end.state.soc_std == filter->soc_std(g));
            CHECK(end.state.resistance_scale == filter->resistance_scale(g));
            CHECK(end.state.branch_V.size() == 2);
            CHECK(end.capacity_scale == 1);
            CHECK_FALSE(end.voltage_flagged);
        }
    }
}

TEST_CASE("every group is followed to one point, and its band holds", "[group_replay]") {
    StringShape shape;
    shape.groups = 24;
    const SimulatedString run = simulated_string(shape);
    CAPTURE(voltkeel_test::seed());
    GroupReplaySettings settings;
    const Score from_voltages = score(run, replay_groups(run.cell, log_of(run), settings), 900);
    CHECK(from_voltages.furthest < 0.015);
    CHECK(from_voltages.inside > 0.95);
    settings.initial_soc = 0.7;  // 20 points wrong
    settings.initial_soc_std = 0.2;
    const Score from_soc = score(run, replay_groups(run.cell, log_of(run), settings), 900);
    CHECK(from_soc.furthest < 0.015);
    CHECK(from_soc.inside > 0.95);
}

TEST_CASE("one group is the replay of a cell", "[group_replay]") {
    StringShape shape = small();
    shape.groups = 1;
    const SimulatedString whole = simulated_string(shape);
    CAPTURE(voltkeel_test::seed());
    const auto loaded = std::find_if(whole.current_A.begin() + 300, whole.current_A.end(),
                                     [](double current_A) { return std::abs(current_A) > 5; });
    REQUIRE(loaded != whole.current_A.end());
    const bool core = GENERATE(true, false);
    const bool in_use = GENERATE(true, false);
    SimulatedString run = whole;
    if (in_use) {
        const auto rows = loaded - whole.current_A.begin();
        for (auto* column : {&run.time_s, &run.current_A, &run.voltage_V})
            column->erase(column->begin(), column->begin() + rows);
    }
    if (!core) {
        run.cell.thermal.core_resistance_K_per_W = 0;
        run.cell.thermal.core_heat_capacity_J_per_K = 0;
    }
    REQUIRE(voltkeel::follows_core(run.cell.thermal) == core);
    const voltkeel::Log plain{run.time_s, run.current_A, run.voltage_V,
                              std::vector<double>(run.size(), run.temperature_degC), "made"};
    voltkeel::ReplaySettings settings;
    GroupReplaySettings of_groups;
    settings.initial_soc = of_groups.initial_soc = 0.8;
    const voltkeel::SocTrace one = voltkeel::replay(run.cell, plain, settings);
    const GroupTrace groups = replay_groups(run.cell, log_of(run), of_groups);
    double soc_off = 0;
    double std_off = 0;
    double degC_off = std::abs(one.end.temperature_degC - groups.reference.end.temperature_degC);
    for (std::size_t k = 0; k < run.size(); ++k) {
        soc_off = std::max(soc_off, std::abs(one.soc[k] - groups.reference.soc[k]));
        std_off = std::max(std_off, std::abs(one.soc_std[k] - groups.reference.soc_std[k]));
    }
    CAPTURE(core, in_use, soc_off, std_off, degC_off);
    CHECK(soc_off < 1e-9);
    CHECK(std_off < 1e-9);
    CHECK(degC_off < 1e-6);
    CHECK(((one.end.temperature_degC > 20.05) == core));
}

TEST_CASE("what does not come is counted on and flagged", "[group_replay]") {
    const SimulatedString run = simulated_string();
    GroupLog log = log_of(run);
    for (std::size_t row = 0; row < log.size(); ++row) {
        double* const row_V = log.voltage_V.data() + row * log.groups;
        if (row < 3 || (row > 3000 && row < 3300))
            std::fill(row_V, row_V + log.groups, nothing);  // no group at all
        if (row > 1800) row_V[4] = nothing;
        if (row > 1800 && row < 2400) row_V[7] = 0;
    }
    const GroupTrace trace = replay_groups(run.cell, log);
    const Score found = score(run, trace, 900);
    CAPTURE(voltkeel_test::seed(), found.furthest, found.inside);
    CHECK(found.furthest < 0.02);
    CHECK(found.inside > 0.95);
    const auto bits = [&](std::size_t row, std::size_t group) {
        return trace.fault_bits[row * log.groups + group];
    };
    CHECK(bits(2000, 4) == voltkeel::group_missing);
    CHECK(bits(2000, 7) == voltkeel::group_outside);
    CHECK(bits(2000, 0) == 0);
    CHECK(bits(3100, 0) == voltkeel::group_missing);
    CHECK(bits(3500, 7) == 0);
    CHECK((trace.reference.fault_bits[3100] & voltkeel::fault_voltage_not_finite) != 0);
    CHECK(trace.looked == log.size());
    CHECK(trace.coasted[0] == 3 + 299);
    CHECK(trace.coasted[4] == 3 + log.size() - 1801);
    CHECK(trace.coasted[7] == 3 + 599 + 299);
    CHECK(trace.end[4].voltage_flagged);
    CHECK_FALSE(trace.end[7].voltage_flagged);
}

TEST_CASE("sensors of a log of groups are named, and on demand replaced", "[group_replay]") {
    StringShape shape;
    shape.groups = 8;
    const SimulatedString run = simulated_string(shape);
    CAPTURE(voltkeel_test::seed());
    GroupLog log = log_of(run);
    for (std::size_t row = 0; row < log.size(); ++row) {
        double sum_V = 0;
        for (std::size_t g = 0; g < log.groups; ++g)
            sum_V += log.voltage_V[row * log.groups + g];
        log.pack_voltage_V.push_back(sum_V + 0.05);  // a little off, as sensors are
    }
    GroupReplaySettings settings;
    GroupReplaySettings replaced;
    replaced.sensors.use = voltkeel::SensorUse::replaced;
    const auto bits_of = [](const GroupTrace& trace, std::size_t from, std::size_t to) {
        std::uint32_t bits = 0;
        for (std::size_t row = from; row < to; ++row)
            bits |= trace.reference.sensor_fault_bits[row];
        return bits;
    };
    const GroupTrace sound = replay_groups(run.cell, log, settings);
    CHECK(bits_of(sound, 0, log.size()) == 0);
    settings.sensors.use = voltkeel::SensorUse::off;
    CHECK(replay_groups(run.cell, log, settings).soc == sound.soc);
    settings = {};

    SECTION("groups that do not add up to the pack") {
        GroupLog off = log;
        for (std::size_t row = 2000; row < 3000; ++row)
            off.pack_voltage_V[row] *= 0.98;
        // Where a group did not come, the sum says nothing.
        for (std::size_t row = 2500; row < 2600; ++row)
            off.voltage_V[row * off.groups + 3] = nothing;
        const GroupTrace trace = replay_groups(run.cell, off, settings);
        CHECK(bits_of(trace, 0, 2000) == 0);
        CHECK(bits_of(trace, 2000, 2500) == voltkeel::sensor_voltage_sum);
        CHECK(bits_of(trace, 2500, 2600) == 0);
        CHECK(bits_of(trace, 3000, log.size()) == 0);
        const auto faults = voltkeel::sensor_faults(trace.reference);
        REQUIRE(faults.size() == 1);
        CHECK(faults[0].rows == 900);
        CHECK(faults[0].times == 2);
    }
    SECTION("a current that does not come, or stands") {
        for (const bool missing : {true, false}) {
            GroupLog off = log;
            for (std::size_t row = 2000; row < 2600; ++row)
                off.current_A[row] = missing ? nothing : off.current_A[1999];
            const std::uint32_t bit =
                missing ? voltkeel::sensor_current_missing : voltkeel::sensor_current_stuck;
            if (missing) {
                CHECK_THAT(error_text([&] { (void)replay_groups(run.cell, off, settings); }),
                           Contains("current_A[2000]"));
            }
            const GroupTrace trace = replay_groups(run.cell, off, replaced);
            CHECK((bits_of(trace, 2000, 2600) & bit) != 0);
            const Score found = score(run, trace, 900);
            CAPTURE(missing, found.furthest, found.inside);
            // Until a current that stands is told from a voltage that jumped, only the band knows.
            CHECK(found.furthest < (missing ? 0.03 : 0.2));
            CHECK(found.inside > 0.95);
        }
    }
    SECTION("a front end whose reference jumps") {
        GroupLog off = log;
        for (std::size_t at = 2000 * off.groups; at < 2600 * off.groups; ++at)
            off.voltage_V[at] *= 0.95;
        off.pack_voltage_V.clear();
        const GroupTrace trace = replay_groups(run.cell, off, replaced);
        CHECK((bits_of(trace, 2000, 2600) & voltkeel::sensor_voltage_jump) != 0);
        const Score found = score(run, trace, 900);
        const Score trusted = score(run, replay_groups(run.cell, off, settings), 900);
        CAPTURE(found.furthest, found.inside, trusted.furthest);
        CHECK(found.furthest < 0.03);
        CHECK(found.inside > 0.95);
        CHECK(trusted.furthest > found.furthest);
    }
    SECTION("groups that are asked once in five rows, or in turn, are none that is missing") {
        GroupLog seldom = log;
        GroupLog in_turn = log;
        for (std::size_t row = 0; row < log.size(); ++row) {
            for (std::size_t g = 0; g < log.groups; ++g) {
                if (row % 5 != 0) seldom.voltage_V[row * log.groups + g] = nothing;
                if (row % 4 != g % 4) in_turn.voltage_V[row * log.groups + g] = nothing;
            }
        }
        CHECK(bits_of(replay_groups(run.cell, seldom, replaced), 0, log.size()) == 0);
        CHECK(bits_of(replay_groups(run.cell, in_turn, replaced), 0, log.size()) == 0);
        // And between them a current that stands is still seen.
        for (std::size_t row = 2000; row < 2600; ++row)
            seldom.current_A[row] = seldom.current_A[1999];
        const GroupTrace trace = replay_groups(run.cell, seldom, replaced);
        CHECK((bits_of(trace, 2000, 2600) & voltkeel::sensor_current_stuck) != 0);
        const Score found = score(run, trace, 900);
        CAPTURE(found.furthest, found.inside);
        CHECK(found.inside > 0.95);
    }
}

TEST_CASE("days of a log tell a group that leaks from one that holds less", "[group_replay]") {
    const voltkeel::Cell cell = simulated_string(small()).cell;
    constexpr int groups = 5;
    constexpr int leaks = 2;
    constexpr int holds_less = 4;
    constexpr double leak_per_day = 0.02;
    constexpr double capacity_share = -0.05;
    voltkeel_test::Random random(12);
    voltkeel::Cell less = cell;
    less.capacity_Ah *= 1 + capacity_share;
    const voltkeel::CellTables<double, 2> tables(cell);
    const voltkeel::CellTables<double, 2> tables_of_less(less);
    std::vector<voltkeel::CellState<double, 2>> states(groups);
    for (auto& state : states)
        state.soc = 0.6;
    GroupLog log;
    log.groups = groups;
    log.source = "days.csv";
    constexpr double row_s = 20;
    for (int row = 0; row < 4 * 86400 / static_cast<int>(row_s); ++row) {
        const double time_s = row * row_s;
        const double current_A = 0.25 * cell.capacity_Ah * std::cos(time_s / 4500);
        log.time_s.push_back(time_s);
        log.current_A.push_back(current_A);
        log.temperature_degC.push_back(20);
        for (int g = 0; g < groups; ++g) {
            const auto& parameters =
                g == holds_less ? tables_of_less.parameters() : tables.parameters();
            auto& state = states[static_cast<std::size_t>(g)];
            if (row > 0) {
                const double leak_A = g == leaks ? leak_per_day * cell.capacity_Ah / 24 : 0;
                voltkeel::step(parameters, {current_A - leak_A, row_s, 20}, state);
            }
            log.voltage_V.push_back(
                voltkeel::voltage_at(parameters, state, current_A, 20.0).voltage_V +
                0.001 * random.normal());
        }
    }
    const GroupTrace trace = replay_groups(cell, log);
    REQUIRE(trace.drift.size() == groups);
    // Against the mean of all: a fifth of what one does is in the reference.
    for (int g = 0; g < groups; ++g) {
        const auto& drift = trace.drift[static_cast<std::size_t>(g)];
        const double rate = (g == leaks ? -leak_per_day : 0) + leak_per_day / groups;
        const double share = (g == holds_less ? capacity_share : 0) - capacity_share / groups;
        CAPTURE(voltkeel_test::seed(), g, drift.soc_per_day, drift.soc_per_day_std,
                drift.capacity_share, drift.capacity_share_std);
        CHECK(drift.looks >= 80);
        CHECK(std::abs(drift.soc_per_day - rate) < 0.003);
        CHECK(std::abs(drift.soc_per_day - rate) < 3 * drift.soc_per_day_std);
        CHECK(std::abs(drift.capacity_share - share) < 0.01);
        CHECK(std::abs(drift.capacity_share - share) < 3 * drift.capacity_share_std);
    }
    CHECK(trace.drift[leaks].soc_per_day < -5 * trace.drift[leaks].soc_per_day_std);
    CHECK(trace.drift[holds_less].capacity_share < -3 * trace.drift[holds_less].capacity_share_std);
}

TEST_CASE("cells in parallel share the current of the string", "[group_replay]") {
    const SimulatedString run = simulated_string(small());
    GroupLog log = log_of(run);
    const GroupTrace one = replay_groups(run.cell, log);
    for (double& current_A : log.current_A)
        current_A *= 4;
    GroupReplaySettings settings;
    settings.parallel = 4;
    const GroupTrace four = replay_groups(run.cell, log, settings);
    CHECK(four.soc == one.soc);
    CHECK(four.reference.soc_std == one.reference.soc_std);
    settings.parallel = 1;
    CHECK(replay_groups(run.cell, log, settings).soc != one.soc);
}

TEST_CASE("known capacities of groups are counted with", "[group_replay]") {
    StringShape shape;
    shape.capacity_log_std = 0.08;
    shape.soc_std = 0;
    const SimulatedString run = simulated_string(shape);
    CAPTURE(voltkeel_test::seed());
    // Voltages are worth next to nothing here: what is left is counting.
    GroupReplaySettings settings;
    settings.initial_soc = shape.soc;
    settings.initial_soc_std = 0.001;
    settings.filter.emplace();
    settings.filter->soc_std_initial = 0.001;
    settings.filter->group_voltage_std_V = 1;
    settings.filter->reference.voltage_std_V = 1;
    const Score alike = score(run, replay_groups(run.cell, log_of(run), settings), 0);
    settings.capacity_scale = run.capacity_factor;
    const GroupTrace known = replay_groups(run.cell, log_of(run), settings);
    CHECK(alike.furthest > 0.03);
    CHECK(score(run, known, 0).furthest < 0.2 * alike.furthest);
    for (std::size_t g = 0; g < known.groups; ++g)
        CHECK(known.end[g].capacity_scale == Approx(run.capacity_factor[g]).epsilon(1e-12));
    // A capacity of the whole string is a scale of all.
    settings.capacity_Ah = 2 * run.cell.capacity_Ah;
    for (double& scale : settings.capacity_scale)
        scale /= 2;
    const GroupTrace doubled = replay_groups(run.cell, log_of(run), settings);
    CHECK(score(run, doubled, 0).furthest < 0.2 * alike.furthest);
}

TEST_CASE("a log that begins in the middle of use starts with branches under way",
          "[group_replay]") {
    const SimulatedString run = simulated_string();
    GroupLog log = log_of(run);
    std::size_t from = 1800;
    while (std::abs(log.current_A[from]) < 20 || log.current_A[from] != log.current_A[from + 5])
        ++from;
    const auto cut = [&](std::vector<double>& column, std::size_t width) {
        column.erase(column.begin(), column.begin() + static_cast<std::ptrdiff_t>(from * width));
    };
    cut(log.time_s, 1);
    cut(log.current_A, 1);
    cut(log.temperature_degC, 1);
    cut(log.voltage_V, log.groups);
    GroupReplaySettings settings;
    settings.initial_soc = run.at(run.soc, from, 0);
    settings.initial_soc_std = 0.02;
    const GroupTrace under_load = replay_groups(run.cell, log, settings);
    settings.starts_at_rest = true;
    const GroupTrace as_rested = replay_groups(run.cell, log, settings);
    // What is known of the branches at the first look is how far a voltage may be off.
    CHECK(under_load.reference.innovation_std_V[1] > as_rested.reference.innovation_std_V[1]);
    settings.starts_at_rest = false;
    CHECK(replay_groups(run.cell, log, settings).soc == under_load.soc);
}

TEST_CASE("a pack says how many cells share the current", "[group_replay]") {
    const SimulatedString run = simulated_string(small());
    const GroupLog log = log_of(run);
    voltkeel::Pack pack = voltkeel_test::made_pack(1, 5, 3);
    GroupReplaySettings settings;
    const GroupTrace by_pack = replay_groups(pack, log, settings);
    settings.parallel = 3;
    CHECK(by_pack.soc == replay_groups(run.cell, log, settings).soc);
    CHECK_THAT(error_text([&] { (void)replay_groups(pack, log, settings); }),
               Contains("parallel: 3 must be left at 1"));
    const auto refused = [&](const voltkeel::Pack& p) {
        return error_text([&] { (void)replay_groups(p, log); });
    };
    CHECK_THAT(refused(voltkeel_test::made_pack(2, 5, 3)), Contains("has 2 strings"));
    CHECK_THAT(refused(voltkeel_test::made_pack(1, 6, 3)),
               Contains("voltages of 5 groups, the pack harbour workboat has 6"));
    pack.modules[0].layout.series = 2;
    pack.modules.push_back(pack.modules[0]);
    pack.modules[1].name = "other";
    pack.modules[1].layout.series = 3;
    pack.strings[0].modules = {"block", "other"};
    CHECK(refused(pack).empty());
    pack.modules[1].layout.parallel = 2;
    CHECK_THAT(refused(pack), Contains("'block' and 'other' differ"));
}

TEST_CASE("replays of groups refuse what they cannot use", "[group_replay]") {
    const SimulatedString run = simulated_string(small());
    const auto refused = [&](auto change) {
        GroupLog log = log_of(run);
        GroupReplaySettings settings;
        change(log, settings);
        return error_text([&] { (void)replay_groups(run.cell, log, settings); });
    };
    CHECK(refused([](GroupLog&, GroupReplaySettings&) {}).empty());
    CHECK_THAT(refused([](GroupLog& log, auto&) { log = {}; }), Contains("has no rows"));
    CHECK_THAT(refused([](GroupLog& log, auto&) { log.voltage_V.pop_back(); }),
               Contains("made.csv: voltage_V has"));
    CHECK_THAT(refused([](GroupLog& log, auto&) {
                   std::fill(log.voltage_V.begin(), log.voltage_V.end(), nothing);
               }),
               Contains("no group has a usable voltage in any row"));
    CHECK_THAT(refused([](auto&, GroupReplaySettings& s) { s.parallel = 0; }),
               Contains("parallel: 0 must be from 1"));
    CHECK_THAT(refused([](auto&, GroupReplaySettings& s) {
                   s.capacity_scale = {1, 1};
               }),
               Contains("capacity_scale: has 2 values, needs one for each of 5 groups"));
    CHECK_THAT(refused([](auto&, GroupReplaySettings& s) {
                   s.capacity_scale = {1, 1, 0.01, 1, 1};
               }),
               Contains("capacity_scale[2]: 0.01 must be from 0.2 to 5"));
    CHECK_THAT(refused([](auto&, GroupReplaySettings& s) { s.initial_soc = 1.5; }),
               Contains("initial soc 1.5"));
    CHECK_THAT(refused([](auto&, GroupReplaySettings& s) {
                   s.filter.emplace();
                   s.filter->gate = 0;
               }),
               Contains("gate"));
    CHECK_THAT(refused([](auto&, GroupReplaySettings& s) { s.capacity_Ah = -1; }),
               Contains("capacity_Ah"));
    const GroupLog log = log_of(run);
    CHECK_THAT(
        error_text([&] { (void)replay_groups(run.cell, log, {}, [](double) { return false; }); }),
        Contains("cancelled"));
}

TEST_CASE("the trace of groups is written in two files", "[group_replay]") {
    const SimulatedString run = simulated_string(small());
    GroupLog log = log_of(run);
    log.voltage_V.back() = nothing;
    const GroupTrace trace = replay_groups(run.cell, log);
    const auto folder = std::filesystem::temp_directory_path();
    const auto path = folder / "voltkeel_group_trace.csv";
    const auto groups_path = folder / "voltkeel_group_trace.groups.csv";
    voltkeel::write_group_trace(path, groups_path, trace);
    const auto column = [](const std::filesystem::path& file, const std::string& name) {
        voltkeel::LogReadSettings settings;
        settings.columns.current = name;
        settings.columns.voltage = "";
        settings.temperature_degC = 20;
        return voltkeel::read_log(file, settings).log.current_A;
    };
    CHECK(column(path, "soc").size() == log.size());
    CHECK(column(path, "soc_min").back() == Approx(trace.soc_min.back()).margin(1e-8));
    CHECK(column(path, "innovation_std_V").back() ==
          Approx(trace.reference.innovation_std_V.back()).epsilon(1e-6));
    const std::vector<double> third = column(groups_path, "soc_3");  // numbers of the log, from 1
    REQUIRE(third.size() == trace.row.size());
    for (std::size_t at = 0; at < third.size(); at += 100)
        CHECK(std::abs(third[at] - trace.soc[5 * at + 2]) < 0.6e-6);
    CHECK(std::abs(column(groups_path, "soc_std_5").back() - trace.soc_std.back()) < 0.6e-6);
    CHECK(column(groups_path, "fault_bits_5").back() == voltkeel::group_missing);
    CHECK(column(groups_path, "fault_bits_4").back() == 0);
    std::filesystem::remove(path);
    std::filesystem::remove(groups_path);
}

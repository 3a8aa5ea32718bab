// The SOC filter along a log: the same filter as on a controller, bit for bit.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <fstream>
#include <limits>
#include <random>
#include <sstream>
#include <string>
#include <vector>

#include "support/made_tests.hpp"
#include "voltkeel/fit/thermal.hpp"
#include "voltkeel/io/filter_settings.hpp"
#include "voltkeel/io/replay.hpp"

using Catch::Contains;
using voltkeel::Cell;
using voltkeel::Log;
using voltkeel::replay;
using voltkeel::ReplaySettings;
using voltkeel::SocFilter;
using voltkeel::SocTrace;
using voltkeel::Status;
using voltkeel_test::error_text;
using voltkeel_test::made_cell;
using voltkeel_test::made_log;
using voltkeel_test::MadeCellShape;

namespace {

Cell cell_with(int branches) {
    MadeCellShape shape;
    shape.branches = branches;
    return made_cell(shape);
}

Log drive(const Cell& truth, double initial_soc = 0.9, int salt = 91) {
    std::vector<voltkeel_test::HeldCurrent> program{{0, 60, 60, 60}};
    voltkeel_test::Random random(salt);
    for (int k = 0; k < 60; ++k) {
        program.push_back({random.uniform(-10, 3), random.uniform(5, 90), 1e9, 1});
        if (k % 10 == 9) program.push_back({0, 120, 1e9, 1});
    }
    const auto noise = static_cast<std::uint64_t>(salt) + 1;
    return made_log(truth, program, {"drive.csv", initial_soc, 25, 2e-3, 0.01, noise});
}

/// A log from a row on.
Log from_row(Log log, std::size_t first) {
    for (auto* column : {&log.time_s, &log.current_A, &log.voltage_V, &log.temperature_degC})
        column->erase(column->begin(), column->begin() + static_cast<std::ptrdiff_t>(first));
    return log;
}

/// What such a drive, from 90 % on, leaves at every row, without the offset of its sensor.
std::vector<double> counted_soc(const Log& log, double capacity_Ah) {
    std::vector<double> soc{0.9};
    for (std::size_t k = 1; k < log.size(); ++k) {
        const double true_A = log.current_A[k] == 0 ? 0 : log.current_A[k] - 0.01;
        soc.push_back(soc.back() +
                      true_A * (log.time_s[k] - log.time_s[k - 1]) / (3600 * capacity_Ah));
    }
    return soc;
}

}  // namespace

TEST_CASE("a replay goes by the core where its warmth was measured", "[replay]") {
    Cell cell = cell_with(2);
    const Log log = drive(cell);  // the case stays at 25 degC
    ReplaySettings settings;
    settings.initial_soc = 0.9;
    settings.initial_soc_std = 0.02;
    const SocTrace by_case = replay(cell, log, settings);
    const double mass_J_per_K = 10 * cell.capacity_Ah;
    const double core_K_per_W = 20 / cell.capacity_Ah;
    cell.thermal = {mass_J_per_K, 0, core_K_per_W,       0, "invented",
                    core_K_per_W, 0, 0.9 * mass_J_per_K, 0};
    const SocTrace by_core = replay(cell, log, settings);
    const Log inside = voltkeel::core_log(log, cell);
    cell.thermal.core_resistance_K_per_W = 0;
    cell.thermal.core_heat_capacity_J_per_K = 0;
    const SocTrace told = replay(cell, inside, settings);
    double far_V = 0;
    double near_V = 0;
    for (std::size_t k = 0; k < log.size(); ++k) {
        far_V =
            std::max(far_V, std::abs(by_case.voltage_predicted_V[k] - told.voltage_predicted_V[k]));
        near_V = std::max(near_V,
                          std::abs(by_core.voltage_predicted_V[k] - told.voltage_predicted_V[k]));
    }
    CAPTURE(far_V, near_V);
    CHECK(far_V > 2e-3);
    CHECK(near_V < 0.1 * far_V);
    CHECK(by_core.end.temperature_degC > 25.2);
}

TEST_CASE("a replay is the filter stepped by hand, bit for bit", "[replay]") {
    const int branches = GENERATE(1, 2, 3, 4);
    const bool known_start = GENERATE(true, false);
    const Cell cell = cell_with(branches);
    const Log log = drive(cell);
    ReplaySettings settings;
    if (known_start) {
        settings.initial_soc = 0.7;
        settings.initial_soc_std = 0.15;
    }
    settings.filter.emplace();
    settings.filter->voltage_std_V = 0.01;
    settings.filter->update_interval_s = 2;
    settings.filter->gate = 3;
    const SocTrace trace = replay(cell, log, settings);
    REQUIRE(trace.time_s == log.time_s);
    voltkeel::with_form(static_cast<std::size_t>(branches), false, [&](auto form) {
        constexpr int n = decltype(form)::branches;
        const voltkeel::CellTables<double, n> tables(cell);
        SocFilter<double, n> filter;
        voltkeel::SocFilterSettings<double> knobs = *settings.filter;
        knobs.trace_every_sample = true;  // as a replay, which writes every row
        REQUIRE(filter.configure(tables.parameters(), knobs) == Status::ok);
        const Status started = known_start
                                   ? filter.start(0.7, 0.15, log.temperature_degC[0])
                                   : filter.start_from_voltage(log.voltage_V[0], log.current_A[0],
                                                               log.temperature_degC[0]);
        REQUIRE(started == Status::ok);
        for (std::size_t k = 0; k < log.size(); ++k) {
            const double dt_s = k > 0 ? log.time_s[k] - log.time_s[k - 1] : 0;
            const auto& e =
                filter.step({log.current_A[k], log.voltage_V[k], log.temperature_degC[k], dt_s});
            CAPTURE(branches, known_start, k);
            REQUIRE(trace.soc[k] == e.soc);
            REQUIRE(trace.soc_std[k] == e.soc_std);
            REQUIRE(trace.voltage_predicted_V[k] == e.voltage_predicted_V);
            REQUIRE(trace.innovation_V[k] == e.innovation_V);
            REQUIRE(trace.innovation_std_V[k] == e.innovation_std_V);
            REQUIRE(trace.resistance_scale[k] == e.resistance_scale);
            REQUIRE(trace.fault_bits[k] == e.fault_bits);
        }
        const auto& state = filter.state();
        CHECK(trace.update_count == state.update_count);
        CHECK(trace.rejected_count == state.rejected_count);
        CHECK(trace.reset_count == state.reset_count);
        CHECK(trace.update_count > 100);
        CHECK(trace.end.soc == trace.soc.back());
        CHECK(trace.end.soc_std == trace.soc_std.back());
        REQUIRE(trace.end.branch_V.size() == static_cast<std::size_t>(n));
        for (int i = 0; i < n; ++i)
            CHECK(trace.end.branch_V[static_cast<std::size_t>(i)] == state.cell.branch_V[i]);
        CHECK(trace.end.hysteresis == state.cell.hysteresis);
        CHECK(trace.end.resistance_scale == state.cell.resistance_scale);
        CHECK(trace.end.temperature_degC == log.temperature_degC.back());
    });
}

TEST_CASE("a log tells whether it begins at rest", "[replay][property]") {
    const Cell cell = cell_with(3);
    CAPTURE(voltkeel_test::seed());
    using voltkeel::starts_at_rest;
    const double q = cell.capacity_Ah;
    int loaded = 0;
    int stops = 0;
    int recovering = 0;
    for (const int salt : {91, 191, 291, 391}) {
        const Log log = drive(cell, 0.9, salt);
        CHECK(starts_at_rest(log, q));
        for (std::size_t k = 70; k + 40 < log.size(); ++k) {
            const bool under_load = std::abs(log.current_A[k]) > 0.1 * q;
            if (under_load) {
                ++loaded;
                CAPTURE(salt, k, log.current_A[k]);
                REQUIRE_FALSE(starts_at_rest(from_row(log, k), q));
            } else if (std::abs(log.current_A[k - 1]) > 0.1 * q &&
                       std::abs(log.current_A[k + 35]) < 0.01 * q) {
                // The first row of a stop of two minutes: the voltage recovers.
                ++stops;
                recovering += starts_at_rest(from_row(log, k + 1), q) ? 0 : 1;
            }
        }
    }
    CAPTURE(loaded, stops, recovering);
    CHECK(loaded > 5000);
    CHECK(stops >= 18);
    // One after a charge, or after next to no current, cannot be told from a rest.
    CHECK(recovering > 0.6 * stops);

    const Log log = drive(cell);
    const auto from = [&](std::size_t first) { return from_row(log, first); };
    // One row, rows a minute apart, a rest too short to be one.
    Log one = from(0);
    for (auto* column : {&one.time_s, &one.current_A, &one.voltage_V, &one.temperature_degC})
        column->resize(1);
    CHECK(starts_at_rest(one, q));
    one.current_A[0] = -0.2 * q;
    CHECK_FALSE(starts_at_rest(one, q));
    Log coarse;
    coarse.time_s = {0, 60, 120};
    coarse.current_A = {0, 2.5, 2.5};
    coarse.voltage_V = {3.6, 3.7, 3.71};
    coarse.temperature_degC = {25, 25, 25};
    CHECK(starts_at_rest(coarse, q));
    coarse.time_s = {0, 2, 4};
    CHECK_FALSE(starts_at_rest(coarse, q));
}

TEST_CASE("a log cut out of the middle of use keeps the truth in its band", "[replay][property]") {
    const Cell cell = cell_with(3);
    CAPTURE(voltkeel_test::seed());
    double inside = 0;
    double inside_as_rested = 0;
    double rows = 0;
    double inside_untold = 0;
    double untold_rows = 0;
    double untold_error2 = 0;
    for (const int salt : {91, 191, 291, 391}) {
        const Log log = drive(cell, 0.9, salt);
        const std::vector<double> truth = counted_soc(log, cell.capacity_Ah);
        for (std::size_t first = 400; first + 600 < log.size(); first += 197) {
            if (std::abs(log.current_A[first]) < 0.1 * cell.capacity_Ah) continue;
            const Log cut = from_row(log, first);
            // Nothing told: after a minute some points are left, and the band knows.
            const SocTrace untold = replay(cell, cut);
            for (std::size_t k = 0; k < 600; ++k) {
                const double error = untold.soc[k] - truth[first + k];
                inside_untold += std::abs(error) < 1.96 * untold.soc_std[k] ? 1 : 0;
                if (k >= 60) untold_error2 += error * error;
                untold_rows += 1;
            }
            for (const double off : {-0.2, 0.2}) {
                ReplaySettings settings;
                settings.initial_soc = truth[first] + off;
                if (*settings.initial_soc > 1 || *settings.initial_soc < 0) continue;
                const SocTrace by_load = replay(cell, cut, settings);
                settings.starts_at_rest = true;
                const SocTrace as_rested = replay(cell, cut, settings);
                for (std::size_t k = 0; k < 600; ++k) {
                    const auto holds = [&](const SocTrace& t) {
                        return std::abs(t.soc[k] - truth[first + k]) < 1.96 * t.soc_std[k] ? 1.0
                                                                                           : 0.0;
                    };
                    inside += holds(by_load);
                    inside_as_rested += holds(as_rested);
                    rows += 1;
                }
            }
        }
    }
    REQUIRE(rows > 5000);
    CAPTURE(inside / rows, inside_as_rested / rows);
    CHECK(inside > 0.95 * rows);
    CHECK(inside > inside_as_rested);
    CAPTURE(inside_untold / untold_rows, std::sqrt(untold_error2 / (0.9 * untold_rows)));
    CHECK(inside_untold > 0.95 * untold_rows);
    CHECK(untold_error2 < 0.03 * 0.03 * 0.9 * untold_rows);
}

TEST_CASE("a log of a steady current starts from its first voltage", "[replay]") {
    const Cell cell = cell_with(3);
    const auto first_soc = [&](const Log& log) { return replay(cell, log).soc.front(); };
    const voltkeel_test::HeldCurrent charge{2, 900, 1e9, 1};
    const Log log = made_log(cell, {charge}, {"charge.csv", 0.3, 25, 0, 0, 5});
    const voltkeel::CellTables<double, 3> tables(cell);
    voltkeel::SocFilter<double, 3> filter;
    REQUIRE(filter.configure(tables.parameters(), voltkeel::filter_settings(cell)) ==
            voltkeel::Status::ok);
    REQUIRE(filter.start_from_voltage(log.voltage_V[0], log.current_A[0],
                                      log.temperature_degC[0]) == voltkeel::Status::ok);
    CHECK(first_soc(log) ==
          Approx(static_cast<double>(
              filter.step({log.current_A[0], log.voltage_V[0], log.temperature_degC[0], 0}).soc)));
    CHECK(std::abs(first_soc(log) - 0.3) < 0.05);
}

TEST_CASE("a replay of a made drive ends at the SOC that was counted", "[replay]") {
    const Cell cell = cell_with(3);
    const Log log = drive(cell);
    const double true_soc = counted_soc(log, 5).back();
    ReplaySettings settings;
    settings.initial_soc = 0.7;
    const SocTrace trace = replay(cell, log, settings);
    CAPTURE(true_soc, trace.soc.back(), trace.soc_std.back());
    CHECK(std::abs(trace.soc.back() - true_soc) < 0.01);
    CHECK(std::abs(trace.soc.front() - 0.9) < 0.05);  // one look at a rested voltage
}

TEST_CASE("a capacity handed in replaces that of the cell, and only there", "[replay]") {
    const Cell cell = cell_with(2);
    const Log log = drive(cell);
    ReplaySettings settings;
    settings.initial_soc = 0.9;
    settings.initial_soc_std = 0.01;
    const SocTrace as_is = replay(cell, log, settings);
    settings.capacity_Ah = 4;
    const SocTrace replaced = replay(cell, log, settings);
    CHECK(cell.capacity_Ah == 5);
    Cell smaller = cell;
    smaller.capacity_Ah = 4;
    settings.capacity_Ah.reset();
    const SocTrace expected = replay(smaller, log, settings);
    CHECK(replaced.soc == expected.soc);
    CHECK(replaced.innovation_V == expected.innovation_V);
    CHECK(replaced.soc != as_is.soc);
}

TEST_CASE("a replay that cannot run says why", "[replay]") {
    const Cell cell = cell_with(2);
    const Log log = drive(cell);
    const auto said = [&](const Log& with, const ReplaySettings& settings = {}) {
        return error_text([&] { (void)replay(cell, with, settings); });
    };
    CHECK(said(log).empty());
    Log none;
    none.source = "drive.csv";
    CHECK_THAT(said(none), Contains("drive.csv") && Contains("no rows"));
    Log ragged = log;
    ragged.voltage_V.pop_back();
    CHECK_THAT(said(ragged), Contains("drive.csv") && Contains("voltage_V"));
    Log broken = log;
    broken.current_A[5] = std::numeric_limits<double>::infinity();
    CHECK_THAT(said(broken), Contains("drive.csv") && Contains("current_A[5]"));
    Log backward = log;
    backward.time_s[5] = backward.time_s[3];
    CHECK_THAT(said(backward), Contains("drive.csv") && Contains("time_s[5]"));

    ReplaySettings settings;
    settings.initial_soc = 1.2;
    CHECK_THAT(said(log, settings), Contains("initial soc 1.2"));
    settings.initial_soc = 0.5;
    settings.initial_soc_std = -0.1;
    CHECK_THAT(said(log, settings), Contains("std -0.1"));
    settings = {};
    settings.filter.emplace().gate = 0.5;
    CHECK_THAT(said(log, settings), Contains("gate") && Contains("0.5"));
    settings = {};
    settings.capacity_Ah = -1;
    CHECK_THAT(said(log, settings), Contains("capacity_Ah"));

    Cell no_branch = cell;
    no_branch.resistance.branches.clear();
    CHECK_THAT(error_text([&] { (void)replay(no_branch, log); }), Contains("1 to 4 branches"));
}

namespace {

std::uint32_t all_bits(const SocTrace& trace) {
    std::uint32_t bits = 0;
    for (const std::uint32_t row : trace.sensor_fault_bits)
        bits |= row;
    return bits;
}

/// Ten minutes of a log spoiled, from a third of it on.
template <class Spoil>
Log spoiled(Log log, Spoil spoil) {
    const double from_s = log.time_s[log.size() / 3];
    for (std::size_t k = 0; k < log.size(); ++k) {
        if (log.time_s[k] >= from_s && log.time_s[k] < from_s + 600) spoil(log, k);
    }
    return log;
}

}  // namespace

TEST_CASE("faults of sensors in a log are named, and on demand replaced", "[replay][property]") {
    const Cell cell = cell_with(2);
    CAPTURE(voltkeel_test::seed());
    ReplaySettings as_is;
    as_is.initial_soc = 0.9;
    as_is.initial_soc_std = 0.02;
    ReplaySettings off = as_is;
    off.sensors.use = voltkeel::SensorUse::off;
    ReplaySettings replaced = as_is;
    replaced.sensors.use = voltkeel::SensorUse::replaced;
    constexpr double nothing = std::numeric_limits<double>::quiet_NaN();
    // Where the filter follows such a current, the voltage seems to jump.
    constexpr std::uint32_t stuck_current =
        voltkeel::sensor_current_stuck | voltkeel::sensor_voltage_jump;
    // Told from the SOC that it leaves: a fault may pass for it.
    constexpr std::uint32_t quick = ~voltkeel::SensorChecks<double>::slow_faults;
    struct Spoilt {
        const char* name;
        std::uint32_t bit;
        bool missing;  ///< The log has NaN, which only a replay that replaces takes.
        Log log;
    };

    int runs = 0;
    int left_band = 0;
    int far_off = 0;
    for (const int salt : {91, 191, 291, 391, 491, 591}) {
        CAPTURE(salt);
        const Log log = drive(cell, 0.9, salt);
        const std::vector<double> truth = counted_soc(log, cell.capacity_Ah);
        const SocTrace sound = replay(cell, log, as_is);
        CHECK(all_bits(sound) == 0);
        CHECK(voltkeel::sensor_faults(sound).empty());
        const SocTrace unwatched = replay(cell, log, off);
        CHECK(sound.soc == unwatched.soc);
        CHECK(sound.soc_std == unwatched.soc_std);
        CHECK(unwatched.sensor_fault_bits == std::vector<std::uint32_t>(log.size(), 0));

        const double held_V = log.voltage_V[log.size() / 3 - 1];
        const double held_A = log.current_A[log.size() / 3 - 1];
        const Spoilt all[] = {
            {"voltage +0.2 V", voltkeel::sensor_voltage_jump, false,
             spoiled(log, [](Log& l, std::size_t k) { l.voltage_V[k] += 0.2; })},
            {"voltage stuck", voltkeel::sensor_voltage_stuck, false,
             spoiled(log, [&](Log& l, std::size_t k) { l.voltage_V[k] = held_V; })},
            {"voltage 0", voltkeel::sensor_voltage_range, false,
             spoiled(log, [](Log& l, std::size_t k) { l.voltage_V[k] = 0; })},
            {"current stuck", stuck_current, false,
             spoiled(log, [&](Log& l, std::size_t k) { l.current_A[k] = held_A; })},
            {"current out of range", voltkeel::sensor_current_range, false,
             spoiled(log, [](Log& l, std::size_t k) { l.current_A[k] = 3000; })},
            {"temperature open", voltkeel::sensor_temperature_open, false,
             spoiled(log, [](Log& l, std::size_t k) { l.temperature_degC[k] = -60; })},
            {"current missing", voltkeel::sensor_current_missing, true,
             spoiled(log, [](Log& l, std::size_t k) { l.current_A[k] = nothing; })},
            {"voltage missing", voltkeel::sensor_voltage_missing, true,
             spoiled(log, [](Log& l, std::size_t k) { l.voltage_V[k] = nothing; })},
            {"temperature missing", voltkeel::sensor_temperature_missing, true,
             spoiled(log, [](Log& l, std::size_t k) { l.temperature_degC[k] = nothing; })},
        };
        for (const Spoilt& one : all) {
            CAPTURE(one.name);
            const SocTrace told = replay(cell, one.log, replaced);
            CHECK((all_bits(told) & one.bit) != 0);
            if (one.missing) {
                CHECK_THAT(error_text([&] { (void)replay(cell, one.log, as_is); }),
                           Contains("is not a finite number"));
            } else {
                // A filter that gets a fault as it stands does not make others of it.
                const SocTrace watched = replay(cell, one.log, as_is);
                CHECK((all_bits(watched) & quick) == (all_bits(told) & quick));
            }
            double outside = 0;
            double largest = 0;
            for (std::size_t k = 0; k < log.size(); ++k) {
                const double error = std::abs(told.soc[k] - truth[k]);
                largest = std::max(largest, error);
                outside += error > 1.96 * told.soc_std[k] ? 1 : 0;
                REQUIRE(std::isfinite(told.soc[k]));
            }
            ++runs;
            left_band += outside > 0.05 * static_cast<double>(log.size()) ? 1 : 0;
            // Until a current that stands is told from a voltage that jumped, only the band knows.
            far_off += largest > (one.bit == stuck_current ? 0.2 : 0.03) ? 1 : 0;
        }

        // What is told of them: where, how long, how often.
        Log twice = spoiled(log, [](Log& l, std::size_t k) { l.temperature_degC[k] = -60; });
        twice.temperature_degC[3] = -60;
        const auto faults = voltkeel::sensor_faults(replay(cell, twice, as_is));
        REQUIRE(faults.size() == 1);
        CHECK(faults[0].bit == voltkeel::sensor_temperature_open);
        CHECK(faults[0].times == 2);
        CHECK(faults[0].first_s == log.time_s[3]);
        CHECK(faults[0].last_s < log.time_s[log.size() / 3] + 600);
        CHECK(faults[0].rows > 100);
    }
    // A voltage that jumps in the second in which the current steps passes for the current.
    CAPTURE(runs, left_band, far_off);
    CHECK(runs == 54);
    CHECK(left_band <= 1);
    CHECK(far_off <= 1);

    // Nothing at all is no start.
    const Log log = drive(cell);
    Log blind = log;
    std::fill(blind.voltage_V.begin(), blind.voltage_V.end(), nothing);
    CHECK_THAT(error_text([&] { (void)replay(cell, blind, replaced); }),
               Contains("drive.csv") && Contains("no row has both a current and a voltage"));
    replaced.sensors.checks.emplace().gap_s = -1;
    CHECK_THAT(error_text([&] { (void)replay(cell, log, replaced); }), Contains("capacity_Ah"));
    replaced.sensors.checks->capacity_Ah = 5;
    CHECK_THAT(error_text([&] { (void)replay(cell, log, replaced); }),
               Contains("gap_s") && Contains("-1"));
}

TEST_CASE("a replay asks now and then whether to go on", "[replay]") {
    const Cell cell = cell_with(1);
    Log log;
    for (int k = 0; k < 70000; ++k) {
        log.time_s.push_back(k);
        log.current_A.push_back(0);
        log.voltage_V.push_back(3.75);
        log.temperature_degC.push_back(25);
    }
    std::vector<double> shares;
    (void)replay(cell, log, {}, [&](double share) {
        shares.push_back(share);
        return true;
    });
    CHECK(shares == std::vector<double>{0, 65536.0 / 70000});
    int asked = 0;
    CHECK(error_text([&] { (void)replay(cell, log, {}, [&](double) { return ++asked < 2; }); }) ==
          "cancelled");
    CHECK(asked == 2);
}

TEST_CASE("a trace is written with all its columns", "[replay]") {
    const Cell cell = cell_with(2);
    SocTrace trace = replay(cell, drive(cell));
    trace.fault_bits[7] = 0xFFU;
    trace.sensor_fault_bits[7] = voltkeel::sensor_time_still;
    const auto path = std::filesystem::temp_directory_path() /
                      ("voltkeel_trace_" + std::to_string(std::random_device{}()) + ".csv");
    write_trace(path, trace);
    std::ifstream file(path);
    std::string line;
    std::getline(file, line);
    CHECK(line ==
          "time_s,soc,soc_std,voltage_predicted_V,innovation_V,innovation_std_V,fault_bits,"
          "sensor_fault_bits");
    std::size_t row = 0;
    for (; std::getline(file, line); ++row) {
        REQUIRE(row < trace.time_s.size());
        std::istringstream cells(line);
        std::string cell_text;
        for (const auto* column :
             {&trace.time_s, &trace.soc, &trace.soc_std, &trace.voltage_predicted_V,
              &trace.innovation_V, &trace.innovation_std_V}) {
            REQUIRE(std::getline(cells, cell_text, ','));
            REQUIRE(std::abs(std::stod(cell_text) - (*column)[row]) <=
                    1e-8 * std::abs((*column)[row]));
        }
        REQUIRE(std::getline(cells, cell_text, ','));
        REQUIRE(std::stoul(cell_text) == trace.fault_bits[row]);
        REQUIRE(std::getline(cells, cell_text, ','));
        REQUIRE(std::stoul(cell_text) == trace.sensor_fault_bits[row]);
        REQUIRE(!std::getline(cells, cell_text, ','));
    }
    file.close();
    CHECK(row == trace.time_s.size());
    std::filesystem::remove(path);
}

// A state in plain numbers, and limits and forecasts from it: what comes back is what the
// controller floors say, for every number of branches.

#include <catch2/catch.hpp>
#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

#include "support/made_tests.hpp"
#include "voltkeel/io/model_state.hpp"
#include "voltkeel/io/replay.hpp"

using Catch::Contains;
using voltkeel::Cell;
using voltkeel::cell_state;
using voltkeel::CellState;
using voltkeel::ChargeForecast;
using voltkeel::ChargeOutlook;
using voltkeel::HorizonLimit;
using voltkeel::ModelState;
using voltkeel::Status;
using voltkeel_test::error_text;
using voltkeel_test::made_cell;
using voltkeel_test::MadeCellShape;

namespace {

Cell cell_with(int branches) {
    MadeCellShape shape;
    shape.branches = branches;
    shape.charge_rise_ohm = 0.02;
    Cell cell = made_cell(shape);
    voltkeel::CurrentGrid table;
    table.duration_s = 30;
    table.temperature_degC = {0, 10, 45};
    table.soc = {0, 1};
    table.charge_A = {{0, 0}, {4, 3}, {8, 6}};
    table.discharge_A = {{5, 10}, {20, 25}, {30, 30}};
    cell.current_limits = {table};
    return cell;
}

/// Where a replay of a short drive ends: a state as it is handed on in earnest.
ModelState state_after_drive(const Cell& cell) {
    const voltkeel::Log log = voltkeel_test::made_log(
        cell, {{0, 60}, {-6, 300}, {2, 40}, {-3, 200}}, {"drive", 0.6, 18, 1e-3, 0, 95});
    voltkeel::ReplaySettings settings;
    settings.initial_soc = 0.6;
    settings.initial_soc_std = 0.02;
    return replay(cell, log, settings).end;
}

void check_equal(const voltkeel::DirectionLimit<double>& a,
                 const voltkeel::DirectionLimit<double>& b) {
    CHECK(a.current_A == b.current_A);
    CHECK(a.power_W == b.power_W);
    CHECK(a.end_voltage_V == b.end_voltage_V);
    CHECK(a.reason == b.reason);
    CHECK(a.binding_value == b.binding_value);
}

void check_equal(const ChargeForecast<double>& a, const ChargeForecast<double>& b) {
    CHECK(a.time_s == b.time_s);
    CHECK(a.constant_current_s == b.constant_current_s);
    CHECK(a.constant_voltage_s == b.constant_voltage_s);
    CHECK(a.end_soc == b.end_soc);
    CHECK(a.end_temperature_degC == b.end_temperature_degC);
    CHECK(a.highest_temperature_degC == b.highest_temperature_degC);
    CHECK(a.charge_Ah == b.charge_Ah);
    CHECK(a.energy_Wh == b.energy_Wh);
    CHECK(a.end_current_A == b.end_current_A);
    CHECK(a.end_phase == b.end_phase);
    CHECK(a.reached == b.reached);
}

}  // namespace

TEST_CASE("a state in plain numbers is the state of the model", "[model_state]") {
    const ModelState state{0.42, 0.03, {0.01, -0.02, 0.003}, -0.7, 1.2, 15};
    const CellState<double, 3> model = cell_state<3>(state);
    CHECK(model.soc == 0.42);
    CHECK(model.soc_carry == 0);
    CHECK(model.branch_V[0] == 0.01);
    CHECK(model.branch_V[1] == -0.02);
    CHECK(model.branch_V[2] == 0.003);
    CHECK(model.hysteresis == -0.7);
    CHECK(model.resistance_scale == 1.2);
    // No branches given means at rest.
    ModelState rested;
    rested.soc = 0.5;
    const CellState<double, 4> at_rest = cell_state<4>(rested);
    for (const double branch_V : at_rest.branch_V)
        CHECK(branch_V == 0);
}

TEST_CASE("a state that is none is refused with field, value and bound", "[model_state]") {
    const auto said = [](const auto& change) {
        ModelState state;
        state.branch_V = {0, 0};
        change(state);
        return error_text([&] { (void)cell_state<2>(state); });
    };
    using State = ModelState;
    CHECK(said([](State&) {}).empty());
    CHECK_THAT(said([](State& s) { s.branch_V = {0}; }),
               Contains("branch_V") && Contains("1 values") && Contains("2 branches"));
    CHECK_THAT(said([](State& s) { s.soc = 1.06; }), Contains("soc: 1.06") && Contains("1.05"));
    CHECK_THAT(said([](State& s) { s.soc = -0.06; }), Contains("soc: -0.06"));
    CHECK_THAT(said([](State& s) { s.soc = std::nan(""); }), Contains("soc: nan"));
    CHECK_THAT(said([](State& s) { s.branch_V[1] = 11; }), Contains("branch_V: 11"));
    CHECK_THAT(said([](State& s) { s.hysteresis = -1.5; }), Contains("hysteresis: -1.5"));
    CHECK_THAT(said([](State& s) { s.resistance_scale = 0; }), Contains("resistance_scale: 0 "));
    CHECK_THAT(said([](State& s) { s.temperature_degC = 250; }), Contains("temperature_degC: 250"));
}

TEST_CASE("limits from a replayed state are those of the controller floor", "[model_state]") {
    const int branches = GENERATE(1, 2, 3, 4);
    const Cell cell = cell_with(branches);
    const ModelState state = state_after_drive(cell);
    const std::vector<double> horizons_s{0, 5, 20, 300};
    voltkeel::LimitSettings<double> settings;
    settings.soc_margin = 2 * state.soc_std;
    settings.voltage_margin_V = 0.02;
    const auto limits = current_limits(cell, state, horizons_s, settings);
    REQUIRE(limits.size() == horizons_s.size());
    voltkeel::with_form(static_cast<std::size_t>(branches), false, [&](auto form) {
        constexpr int n = decltype(form)::branches;
        const voltkeel::CellTables<double, n> tables(cell);
        CellState<double, n> model;
        model.soc = state.soc;
        for (int i = 0; i < n; ++i)
            model.branch_V[i] = state.branch_V[static_cast<std::size_t>(i)];
        model.hysteresis = state.hysteresis;
        model.resistance_scale = state.resistance_scale;
        HorizonLimit<double> expected[4];
        REQUIRE(current_limits(tables.parameters(), tables.limits(), model, state.temperature_degC,
                               horizons_s.data(), 4, expected, settings) == Status::ok);
        for (std::size_t k = 0; k < 4; ++k) {
            CAPTURE(branches, k);
            CHECK(limits[k].horizon_s == expected[k].horizon_s);
            check_equal(limits[k].charge, expected[k].charge);
            check_equal(limits[k].discharge, expected[k].discharge);
        }
    });
    CHECK(limits[1].discharge.current_A < -1);
    CHECK(limits[1].charge.current_A > 1);
    const auto usual = current_limits(cell, state);
    REQUIRE(usual.size() == 3);
    CHECK(usual[0].horizon_s == 2);
    CHECK(usual[2].horizon_s == 30);
}

TEST_CASE("forecasts from a replayed state are those of the controller floor", "[model_state]") {
    const int branches = GENERATE(1, 2, 3, 4);
    const Cell cell = cell_with(branches);
    const ModelState state = state_after_drive(cell);
    for (const bool to_full : {true, false}) {
        const ChargeOutlook outlook = to_full ? time_to_full(cell, state, cell.charge, 15, 2)
                                              : time_to_soc(cell, state, cell.charge, 15, 0.8, 2);
        CAPTURE(branches, to_full);
        voltkeel::with_form(static_cast<std::size_t>(branches), false, [&](auto form) {
            constexpr int n = decltype(form)::branches;
            const voltkeel::CellTables<double, n> tables(cell);
            ChargeForecast<double> expected;
            const voltkeel::ChargeConditions<double> conditions{state.temperature_degC, 15, 2};
            std::size_t point = 0;
            const auto compare = [&](const auto& p) {
                REQUIRE(point < outlook.curve.size());
                const auto& q = outlook.curve[point++];
                REQUIRE(q.time_s == p.time_s);
                REQUIRE(q.current_A == p.current_A);
                REQUIRE(q.voltage_V == p.voltage_V);
                REQUIRE(q.temperature_degC == p.temperature_degC);
                REQUIRE(q.soc == p.state.soc);
                REQUIRE(q.phase == p.phase);
            };
            const auto start = cell_state<n>(state);
            const Status status =
                to_full ? voltkeel::time_to_full(tables.parameters(), cell.charge, start,
                                                 conditions, expected, {}, compare)
                        : voltkeel::time_to_soc(tables.parameters(), cell.charge, start, conditions,
                                                0.8, expected, {}, compare);
            CHECK(status == Status::ok);
            CHECK(outlook.status == status);
            CHECK(point == outlook.curve.size());
            check_equal(outlook.forecast, expected);
        });
        CHECK(outlook.forecast.reached);
        CHECK(outlook.forecast.time_s > 600);
        CHECK(outlook.curve.front().time_s == 0);
        CHECK(outlook.curve.front().soc == state.soc);
        CHECK(outlook.curve.front().temperature_degC == state.temperature_degC);
        CHECK(outlook.curve.back().time_s == outlook.forecast.time_s);
        if (!to_full) CHECK(std::abs(outlook.forecast.end_soc - 0.8) < 1e-6);
    }
}

TEST_CASE("a charge that does not get there says so without an error", "[model_state]") {
    const Cell cell = cell_with(2);
    ModelState state;
    state.soc = 0.3;
    state.temperature_degC = -5;
    CHECK(time_to_full(cell, state, cell.charge, -5).status == Status::not_allowed);
    state.temperature_degC = 25;
    voltkeel::ForecastSettings<double> settings;
    settings.longest_s = 600;
    const ChargeOutlook outlook = time_to_full(cell, state, cell.charge, 25, 0, settings);
    CHECK(outlook.status == Status::not_reached);
    CHECK(!outlook.forecast.reached);
    CHECK(std::abs(outlook.forecast.time_s - 600) < 1e-6);
}

TEST_CASE("limits and forecasts that cannot start say why", "[model_state]") {
    const Cell cell = cell_with(2);
    ModelState state;
    state.soc = 0.5;
    const auto limits = [&](const std::vector<double>& horizons_s, const ModelState& from,
                            const voltkeel::LimitSettings<double>& settings = {}) {
        return error_text([&] { (void)current_limits(cell, from, horizons_s, settings); });
    };
    CHECK(limits({2, 10}, state).empty());
    CHECK_THAT(limits({10, 2}, state), Contains("horizons must rise from 0 to 600 s"));
    CHECK_THAT(limits({2, 601}, state), Contains("600 s"));
    CHECK_THAT(limits({-1}, state), Contains("from 0"));
    voltkeel::LimitSettings<double> settings;
    settings.voltage_margin_V = -1;
    CHECK_THAT(limits({2}, state, settings), Contains("settings"));
    ModelState three = state;
    three.branch_V = {0, 0, 0};
    CHECK_THAT(limits({2}, three), Contains("branch_V") && Contains("3 values"));

    const auto forecast = [&](const voltkeel::ChargePlan<double>& plan, double ambient_degC,
                              double target_soc) {
        return error_text([&] { (void)time_to_soc(cell, state, plan, ambient_degC, target_soc); });
    };
    CHECK(forecast(cell.charge, 25, 0.9).empty());
    CHECK_THAT(forecast(cell.charge, 25, 0), Contains("target_soc: 0 "));
    CHECK_THAT(forecast(cell.charge, 25, 1.1), Contains("target_soc: 1.1"));
    CHECK_THAT(forecast(cell.charge, std::nan(""), 0.9), Contains("ambient nan"));
    voltkeel::ChargePlan<double> plan = cell.charge;
    plan.zones[0].current_A = 0.01;
    CHECK_THAT(forecast(plan, 25, 0.9), Contains("charge.zones.current_A[0]: 0.01"));
    plan = cell.charge;
    plan.zone_count = 0;
    CHECK_THAT(forecast(plan, 25, 0.9), Contains("charge.zone_count"));
    Cell broken = cell;
    broken.capacity_Ah = 0;
    CHECK_THAT(error_text([&] { (void)time_to_full(broken, state, cell.charge, 25); }),
               Contains("capacity_Ah"));
}

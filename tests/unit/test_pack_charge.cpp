// The charge of a pack: against the simulator, which solves all groups at every instant, and the
// order that must hold between its parts.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <string>
#include <vector>

#include "support/error_text.hpp"
#include "support/made_pack.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/io/pack_charge.hpp"
#include "voltkeel/simulate/simulate.hpp"

namespace {

using voltkeel::ChargeCase;
using voltkeel::GroupState;
using voltkeel::Pack;
using voltkeel::PackChargeOutlook;

voltkeel::ChargePlan<double> plan_of_50_Ah() {
    voltkeel::ChargePlan<double> plan;
    plan.zone_count = 1;
    plan.zones[0] = {0, 60, 25, 4.1};
    plan.end_current_A = 2.5;
    return plan;
}

/// Six groups of two cells: one fuller, one with more resistance.
std::vector<GroupState> unequal_groups() {
    std::vector<GroupState> groups(6);
    for (std::size_t g = 0; g < groups.size(); ++g) {
        groups[g].state.soc = 0.40;
        groups[g].state.temperature_degC = 20;
    }
    groups[2].state.soc = 0.43;
    groups[4].state.resistance_scale = 1.6;
    return groups;
}

/// The charge of `plan_of_50_Ah` by the simulator, of groups of two cells.
voltkeel::SimulationResult simulated_charge(const Pack& pack,
                                            const std::vector<GroupState>& groups) {
    voltkeel::SimulationSettings settings;
    settings.soc = 0.4;
    settings.temperature_degC = 20;
    for (const GroupState& group : groups) {
        for (int cell = 0; cell < 2; ++cell) {
            settings.differences.soc_offset.push_back(group.state.soc - 0.4);
            settings.differences.resistance_factor.push_back(group.state.resistance_scale);
        }
    }
    settings.output_interval_s = 30;
    voltkeel::LoadStep step = voltkeel::current_load(50, 5 * 3600);
    step.group_voltage_max_V = 4.1;
    step.end_current_A = 5;
    return voltkeel::simulate(pack, {step}, settings);
}

}  // namespace

TEST_CASE("the charge of a pack is that of the simulator", "[charge][pack]") {
    const Pack pack =
        voltkeel::single_string_pack("six", "HW-50", voltkeel_test::made_cell(), {6, 2});
    const std::vector<GroupState> groups = unequal_groups();
    ChargeCase what;
    what.ambient_degC = 20;
    const PackChargeOutlook outlook = voltkeel::pack_charge(pack, groups, plan_of_50_Ah(), what);
    CHECK(outlook.forecast.reached);

    // The group with more resistance is first at the voltage, the fuller one ends the charge.
    CHECK(outlook.group == 2);
    CHECK(outlook.handovers >= 1);

    const voltkeel::SimulationResult truth = simulated_charge(pack, groups);
    REQUIRE_FALSE(truth.events.empty());
    CHECK(truth.events.back().kind == voltkeel::SimulationEventKind::end_current);
    CHECK(outlook.forecast.time_s == Approx(truth.time_s.back()).epsilon(1e-3));
    CHECK(outlook.forecast.highest_temperature_degC ==
          Approx(*std::max_element(truth.core_max_degC.begin(), truth.core_max_degC.end()))
              .margin(0.05));
    CHECK(outlook.curve.back().soc_min == Approx(truth.soc_min.back()).margin(5e-4));
    CHECK(outlook.curve.back().soc_max == Approx(truth.soc_max.back()).margin(5e-4));
    CHECK(outlook.weakest_soc == Approx(outlook.curve.back().soc_min));
    CHECK(outlook.curve.back().voltage_V == Approx(truth.voltage_V.back()).epsilon(1e-4));
}

TEST_CASE("within limits the strictest group decides until one comes to its voltage",
          "[charge][pack][limits]") {
    voltkeel::Cell cell = voltkeel_test::made_cell();
    cell.current_limits = {{600,
                            {0, 10, 25},
                            {0, 0.5, 0.8, 1},
                            {{1, 1, 1, 1}, {14, 12, 8, 5}, {30, 28, 20, 9}},
                            {{99, 99, 99, 99}, {99, 99, 99, 99}, {99, 99, 99, 99}}}};
    const Pack pack = voltkeel::single_string_pack("six", "HW-50", cell, {6, 2});
    std::vector<GroupState> groups = unequal_groups();
    for (GroupState& group : groups)
        group.state.temperature_degC = 14;
    groups[0].state.temperature_degC = 8;  // the coldest is the strictest, and warms
    ChargeCase what;
    what.ambient_degC = 22;
    what.within_limits = true;
    const PackChargeOutlook outlook = voltkeel::pack_charge(pack, groups, plan_of_50_Ah(), what);
    REQUIRE(outlook.status == voltkeel::Status::ok);
    CHECK(outlook.handovers >= 1);
    CHECK(outlook.forecast.limits_reason == voltkeel::LimitReason::maker_table);

    // All groups at every second: the least of plan, tables and what takes a group to its voltage.
    const voltkeel::CellTables<double, 2, false> tables(cell);
    const auto limits = tables.limits();
    const auto& lasting = limits.tables[limits.table_count - 1];
    struct Group {
        voltkeel::CellState<double, 2, false> state;
        voltkeel::CellTemperature<double> warmth;
    };
    std::vector<Group> all;
    for (const GroupState& group : groups) {
        all.push_back({voltkeel::cell_state<2, false>(group.state),
                       {group.state.temperature_degC, group.state.temperature_degC}});
    }
    double time_s = 0;
    double limits_s = 0;
    for (double current_A = 25; time_s < 86400; time_s += 1) {
        double table_A = 25;
        double held_A = 1e9;
        for (const Group& g : all) {
            table_A =
                std::min(table_A, voltkeel::detail::table_value(lasting, lasting.charge_A,
                                                                g.state.soc, g.warmth.core_degC));
            const auto open =
                voltkeel::voltage_at(tables.parameters(), g.state, 0.0, g.warmth.core_degC);
            held_A = std::min(held_A, (4.1 - open.voltage_V) / open.by_current);
        }
        current_A = std::min(table_A, held_A);
        if (held_A <= 2.5) break;
        if (table_A < 25 && table_A < held_A) limits_s += 1;
        for (Group& g : all) {
            auto held =
                voltkeel::detail::begin_hold(tables.parameters(), g.state, g.warmth, current_A);
            voltkeel::detail::hold(tables.parameters(), current_A, 1.0, 22.0, held);
            g.state = held.state;
            g.warmth = held.temperature;
        }
    }
    CAPTURE(outlook.handovers, outlook.forecast.limits_s, limits_s);
    CHECK(outlook.forecast.time_s == Approx(time_s).epsilon(1e-3));
    CHECK(outlook.forecast.limits_s == Approx(limits_s).margin(20));
    double soc_min = 2;
    for (const Group& g : all)
        soc_min = std::min(soc_min, g.state.soc);
    CHECK(outlook.curve.back().soc_min == Approx(soc_min).margin(5e-4));
    for (const auto& point : outlook.curve)
        CHECK(point.group_voltage_max_V < 4.1 + 2e-3);

    // A fuse of 20 A, four fifths of whose heat may be used: 20 A sqrt(0.8) for two cells.
    ChargeCase with_fuse = what;
    voltkeel::PackPart fuse;
    fuse.kind = voltkeel::LimitReason::fuse;
    fuse.rated_A = 20;
    fuse.i2t_A2s = 8000;
    with_fuse.parts = {fuse};
    const auto slower = voltkeel::pack_charge(pack, groups, plan_of_50_Ah(), with_fuse);
    double most_A = 0;
    for (const auto& point : slower.curve)
        most_A = std::max(most_A, point.current_A);
    CHECK(most_A == Approx(20 * std::sqrt(0.8)));
    CHECK(slower.forecast.time_s > outlook.forecast.time_s);
    // The group that comes first to the highest SOC of its window ends the charge of all.
    voltkeel::Cell narrow = cell;
    narrow.window.soc_max = 0.7;
    const Pack to_70 = voltkeel::single_string_pack("six", "HW-50", narrow, {6, 2});
    const auto part = voltkeel::pack_charge(to_70, groups, plan_of_50_Ah(), what);
    CHECK(part.status == voltkeel::Status::ok);
    CHECK(part.forecast.end_reason == voltkeel::LimitReason::soc);
    CHECK(part.forecast.end_phase == voltkeel::ChargePhase::done);
    CHECK(part.curve.back().soc_max == Approx(0.7).margin(2e-3));
    CHECK(part.curve.back().soc_max >= 0.7);
    CHECK(part.forecast.end_soc == Approx(part.curve.back().soc_max));
    CHECK(part.forecast.time_s < outlook.forecast.time_s);
    // On the way the charge is the one it was.
    const auto& same = *std::find_if(outlook.curve.begin(), outlook.curve.end(),
                                     [](const auto& p) { return p.soc_max >= 0.7; });
    CHECK(part.forecast.time_s == Approx(same.time_s).margin(15));
    // One group outside the window stops all of them.
    groups[3].state.temperature_degC = -1;
    const auto cold = voltkeel::pack_charge(pack, groups, plan_of_50_Ah(), what);
    CHECK(cold.status == voltkeel::Status::not_allowed);
    CHECK(cold.forecast.end_phase == voltkeel::ChargePhase::not_allowed);
    CHECK(cold.forecast.time_s == 0);
    CHECK(cold.group == 3);
}

TEST_CASE("a balancing stage takes the time that its groups need", "[charge][pack]") {
    // A straight OCV of 1 V and a resistance without branches to speak of: a spread in volts is one
    // of SOC.
    voltkeel::Cell cell = voltkeel_test::made_cell();
    cell.ocv.soc = {0, 1};
    cell.ocv.discharge_V = cell.ocv.charge_V = {3.2, 4.2};
    cell.ocv.voltage_std_V = cell.ocv.entropy_V_per_K = {0, 0};
    Pack pack = voltkeel::single_string_pack("three", "HW-50", cell, {3, 2});
    pack.bleed = voltkeel::BleedResistors{10, 0.5, 0};
    std::vector<GroupState> groups(3);
    for (GroupState& group : groups)
        group.state.soc = 0.5;
    voltkeel::ChargePlan<double> plan = plan_of_50_Ah();
    plan.stage_count = 3;
    plan.stages[0].voltage_V = 4.0;
    plan.stages[1].kind = voltkeel::StageKind::balancing;
    plan.stages[1].longest_s = 10 * 3600;
    plan.stages[1].end_spread_V = 0.01;
    ChargeCase what;
    what.ambient_degC = 25;
    // Nothing to be bled: no time.
    const auto level = voltkeel::pack_charge(pack, groups, plan, what);
    REQUIRE(level.status == voltkeel::Status::ok);
    CHECK(level.forecast.rest_s == 0);
    const auto one = voltkeel::charge_time_band(cell, groups[0].state, plan, what, {});
    CHECK(level.forecast.time_s == Approx(one.band.central.time_s).epsilon(1e-3));
    // One group 1.4 % fuller: at 4 V, 10 ohm and half of the time 0.2 A, of 100 Ah. Bled until it
    // is within 10 mV, which is 1 %; the last steps of 20 s.
    groups[1].state.soc = 0.514;
    const auto bled = voltkeel::pack_charge(pack, groups, plan, what);
    REQUIRE(bled.status == voltkeel::Status::ok);
    const double bleed_A = 4.0 / 10 * 0.5;
    // The bled current, half of it a cell, leaves a little on the branches (1.5 mOhm).
    const double left_V = 0.004 - 0.5 * bleed_A * 1.5e-3;
    CHECK(bled.forecast.rest_s == Approx(left_V * 100 / bleed_A * 3600).epsilon(0.005).margin(20));
    CHECK(bled.forecast.time_s == Approx(bled.forecast.constant_current_s +
                                         bled.forecast.constant_voltage_s + bled.forecast.rest_s));
    CHECK(bled.curve.back().soc_max - bled.curve.back().soc_min == Approx(0.01).margin(5e-4));
    // A stage that is too short ends with its time; without resistors nothing becomes closer; a
    // stage that looks at no spread lasts its length.
    plan.stages[1].longest_s = 3600;
    const auto cut = voltkeel::pack_charge(pack, groups, plan, what);
    CHECK(cut.forecast.rest_s == Approx(3600));
    CHECK(cut.curve.back().soc_max - cut.curve.back().soc_min ==
          Approx(0.014 - bleed_A / 100).margin(2e-4));
    pack.bleed.reset();
    const auto none = voltkeel::pack_charge(pack, groups, plan, what);
    CHECK(none.forecast.rest_s == Approx(3600));
    CHECK(none.curve.back().soc_max - none.curve.back().soc_min == Approx(0.014).margin(1e-6));
    plan.stages[1].end_spread_V = 0;
    CHECK(voltkeel::pack_charge(pack, {groups[0]}, plan, what).forecast.rest_s == Approx(3600));
    // As the last stage; and a target that is reached before it.
    plan.stages[1].end_spread_V = 0.01;
    plan.stage_count = 2;
    const auto last = voltkeel::pack_charge(pack, groups, plan, what);
    CHECK(last.status == voltkeel::Status::ok);
    CHECK(last.forecast.end_phase == voltkeel::ChargePhase::done);
    CHECK(last.forecast.rest_s == Approx(3600));
    what.target_soc = 0.6;
    const auto short_one = voltkeel::pack_charge(pack, groups, plan, what);
    CHECK(short_one.status == voltkeel::Status::ok);
    CHECK(short_one.forecast.rest_s == 0);
    what.target_soc = 0.99;
    CHECK(voltkeel::pack_charge(pack, groups, plan, what).status == voltkeel::Status::not_reached);
}

TEST_CASE("the voltage of a pack's plan is held behind the links of its cells", "[charge][pack]") {
    Pack pack = voltkeel::single_string_pack("six", "HW-50", voltkeel_test::made_cell(), {6, 2});
    pack.modules[0].cell_link_ohm = 1.5e-3;
    const std::vector<GroupState> groups = unequal_groups();
    ChargeCase what;
    what.ambient_degC = 20;
    const PackChargeOutlook outlook = voltkeel::pack_charge(pack, groups, plan_of_50_Ah(), what);
    const voltkeel::SimulationResult truth = simulated_charge(pack, groups);
    CHECK(outlook.forecast.time_s == Approx(truth.time_s.back()).epsilon(1e-3));
    CHECK(outlook.curve.back().soc_max == Approx(truth.soc_max.back()).margin(5e-4));
    CHECK(outlook.curve.back().voltage_V == Approx(truth.voltage_V.back()).epsilon(1e-4));
}

TEST_CASE("the voltage of no group passes the plan's, and the books close", "[charge][pack]") {
    const Pack pack =
        voltkeel::single_string_pack("six", "HW-50", voltkeel_test::made_cell(), {6, 2});
    ChargeCase what;
    what.ambient_degC = 20;
    voltkeel::PackSupply supply;
    supply.supply.kind = voltkeel::SupplyKind::dc_station;
    supply.supply.station.voltage_max_V = 30;
    supply.supply.station.current_max_A = 100;
    supply.supply.station.power_max_W = 700;
    what.supply = supply;
    const PackChargeOutlook outlook =
        voltkeel::pack_charge(pack, unequal_groups(), plan_of_50_Ah(), what);
    REQUIRE(outlook.forecast.reached);
    double charge_Ah = 0;
    for (std::size_t k = 0; k < outlook.curve.size(); ++k) {
        const auto& point = outlook.curve[k];
        CHECK(point.group_voltage_max_V < 4.1 + 1.1e-3);
        CHECK(point.current_A * point.voltage_V < 700 * 1.001);
        CHECK(point.soc_min <= point.soc_max);
        if (k == 0) continue;
        CHECK(point.time_s >= outlook.curve[k - 1].time_s);
        charge_Ah += 0.5 * (point.current_A + outlook.curve[k - 1].current_A) *
                     (point.time_s - outlook.curve[k - 1].time_s) / 3600;
    }
    const auto& f = outlook.forecast;
    CHECK(f.charge_Ah == Approx(charge_Ah).epsilon(2e-3));
    CHECK(f.time_s ==
          Approx(f.constant_current_s + f.constant_voltage_s + f.constant_power_s + f.rest_s));
    CHECK(f.constant_power_s > 0);
    CHECK(f.stored_Wh < f.energy_Wh);
    CHECK(f.stored_Wh > 0.9 * f.energy_Wh);
    CHECK(f.socket_energy_Wh >= f.energy_Wh * 0.999);
}

TEST_CASE("groups all alike charge as one of their cells", "[charge][pack]") {
    const voltkeel::Cell cell = voltkeel_test::made_cell(50, true);
    const Pack pack = voltkeel::single_string_pack("four", "HW-50", cell, {4, 3});
    GroupState group;
    group.state.soc = 0.3;
    group.state.temperature_degC = 10;
    ChargeCase what;
    what.ambient_degC = 10;
    const PackChargeOutlook outlook = voltkeel::pack_charge(pack, {group}, plan_of_50_Ah(), what);
    const auto one = voltkeel::charge_time_band(cell, group.state, plan_of_50_Ah(), what, {});
    CHECK(outlook.forecast.time_s == Approx(one.band.central.time_s));
    CHECK(outlook.forecast.charge_Ah == Approx(3 * one.band.central.charge_Ah));
    CHECK(outlook.forecast.energy_Wh == Approx(12 * one.band.central.energy_Wh).epsilon(1e-3));
    CHECK(outlook.forecast.stored_Wh == Approx(12 * one.band.central.stored_Wh).epsilon(2e-3));
    CHECK(outlook.handovers == 0);
}

TEST_CASE("the band of a pack and its least current for a departure", "[charge][pack]") {
    const Pack pack =
        voltkeel::single_string_pack("six", "HW-50", voltkeel_test::made_cell(), {6, 2});
    std::vector<GroupState> groups = unequal_groups();
    ChargeCase what;
    what.ambient_degC = 20;
    const PackChargeOutlook sure = voltkeel::pack_charge_band(pack, groups, plan_of_50_Ah(), what);
    CHECK(sure.earliest_s == sure.latest_s);
    for (GroupState& group : groups)
        group.state.soc_std = 0.02;
    const PackChargeOutlook doubtful =
        voltkeel::pack_charge_band(pack, groups, plan_of_50_Ah(), what);
    // 1.96 x 2 % of 50 Ah at 25 A are 282 s.
    CHECK(doubtful.latest_s - doubtful.forecast.time_s == Approx(282).margin(15));
    CHECK(doubtful.forecast.time_s - doubtful.earliest_s == Approx(282).margin(15));

    const auto departure =
        voltkeel::least_pack_charge_current(pack, groups, plan_of_50_Ah(), what, 6 * 3600);
    CHECK(departure.status == voltkeel::Status::ok);
    CHECK(departure.charge.latest_s <= 6 * 3600);
    CHECK(departure.charge.latest_s > 0.99 * 6 * 3600);
    CHECK(departure.current_A < 10);
    const auto late =
        voltkeel::least_pack_charge_current(pack, groups, plan_of_50_Ah(), what, 1800);
    CHECK(late.status == voltkeel::Status::not_reached);
    CHECK(late.current_A == 25);
}

TEST_CASE("a pack that cannot be charged so is refused by name", "[charge][pack]") {
    Pack pack = voltkeel::single_string_pack("six", "HW-50", voltkeel_test::made_cell(), {6, 2});
    const auto text_of = [&](const std::vector<GroupState>& groups, const ChargeCase& what) {
        return voltkeel_test::error_text(
            [&] { (void)voltkeel::pack_charge(pack, groups, plan_of_50_Ah(), what); });
    };
    CHECK(text_of(std::vector<GroupState>(5), {}).find("groups: has 5") != std::string::npos);
    ChargeCase what;
    what.target_soc = 1.5;
    CHECK(text_of({GroupState{}}, what).find("target_soc: 1.5") != std::string::npos);
    pack.strings[0].contactor.closed = false;
    CHECK(text_of({GroupState{}}, {}).find("contactor.closed") != std::string::npos);
}

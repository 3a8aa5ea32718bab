// A pack in time: shares of the current, loads, cut-offs, heat and books, against closed solutions.

#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <functional>
#include <limits>
#include <random>

#include "support/error_text.hpp"
#include "support/made_pack.hpp"
#include "support/seed.hpp"
#include "voltkeel/cell/model.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/simulate/closing.hpp"
#include "voltkeel/simulate/simulate.hpp"

using namespace voltkeel;
using voltkeel_test::error_text;
using voltkeel_test::made_cell;
using voltkeel_test::made_pack;

namespace {

/// A cell whose OCV is the straight line 3 V + 1 V * SOC behind one resistance: everything about it
/// has a closed solution. Its branch is too small to see.
Cell straight_cell(double capacity_Ah = 10, double r0_ohm = 0.01) {
    Cell cell = made_cell(capacity_Ah);
    cell.ocv.soc = {0, 1};
    cell.ocv.discharge_V = cell.ocv.charge_V = {3, 4};
    cell.ocv.voltage_std_V = {0, 0};
    cell.ocv.entropy_V_per_K = {};
    cell.resistance.temperature_degC = {25};
    cell.resistance.soc = {0, 1};
    cell.resistance.r0_ohm = {{r0_ohm, r0_ohm}};
    cell.resistance.branches = {{{{1e-9, 1e-9}}, {}, {{10, 10}}, {}}};
    cell.window.voltage_min_V = 3.1;
    cell.window.voltage_max_V = 3.95;
    return cell;
}

Pack straight_pack(int strings, int series, int parallel) {
    Pack pack = made_pack(strings, series, parallel);
    PackModule& kind = pack.modules[0];
    kind.cell = straight_cell();
    kind.cell_link_ohm = kind.interconnect_ohm = kind.group_link_W_per_K = 0;
    for (PackString& string : pack.strings) {
        string.busbar_ohm = 0;
        string.contactor.resistance_ohm = string.fuse.resistance_ohm = 0;
    }
    pack.busbar_ohm = 0;
    return pack;
}

SimulationSettings isothermal(double soc) {
    SimulationSettings settings;
    settings.soc = soc;
    settings.heat = false;
    return settings;
}

class Random {
  public:
    explicit Random(std::uint64_t seed) : engine_(seed) {}
    double operator()(double low, double high) {
        return low + (high - low) * static_cast<double>(engine_() >> 11U) * 0x1p-53;
    }

  private:
    std::mt19937_64 engine_;
};

}  // namespace

TEST_CASE("one cell takes the model's own exact step, whatever its length") {
    Pack pack = made_pack(1, 1, 1);
    pack.modules[0].cell_link_ohm = 0;
    // Resistances that do not change, so that a step of any length is the same.
    for (auto* grid : {&pack.modules[0].cell.resistance.r0_ohm,
                       &pack.modules[0].cell.resistance.branches[0].resistance_ohm,
                       &pack.modules[0].cell.resistance.branches[1].resistance_ohm}) {
        for (auto& row : *grid)
            row.assign(row.size(), (*grid)[1][2]);
    }
    pack.strings[0].busbar_ohm = pack.busbar_ohm = 0;
    pack.strings[0].contactor.resistance_ohm = pack.strings[0].fuse.resistance_ohm = 0;
    const CellTables<double, 2> tables(pack.modules[0].cell);
    CellState<double, 2> state;
    state.soc = 0.8;
    const SimulationResult result =
        simulate(pack, {current_load(-30, 500), current_load(15, 37.5), current_load(0, 3)},
                 isothermal(0.8));
    REQUIRE(result.size() == 4);
    std::size_t row = 1;
    for (const auto& [current_A, dt_s] :
         {std::pair{-30.0, 500.0}, std::pair{15.0, 37.5}, std::pair{0.0, 3.0}}) {
        step(tables.parameters(), {current_A, dt_s, 25}, state);
        CHECK(result.voltage_V[row] ==
              Approx(voltage_at(tables.parameters(), state, current_A, 25.0).voltage_V)
                  .margin(1e-12));
        CHECK(result.soc_mean[row] == Approx(state.soc).margin(1e-15));
        ++row;
    }
    CHECK(result.rejected_count == 0);
}

TEST_CASE("strings share by their resistances, and equal out as two capacitors do") {
    Pack pack = straight_pack(2, 10, 1);
    pack.strings[1].busbar_ohm = 0.1;  // 0.1 ohm beside 0.2 ohm
    SimulationSettings settings = isothermal(0.5);
    settings.string_soc = {0.6, 0.4};
    settings.output_interval_s = 100;
    const SimulationResult rest = simulate(pack, {current_load(0, 3000)}, settings);
    // Each string is C = 36000 As / 10 V behind its resistance: 2 V fall as exp(-t / tau) with
    // tau = (R1 + R2) C / 2.
    const double tau_s = 0.3 * 3600 / 2;
    for (std::size_t k = 0; k < rest.size(); ++k) {
        const double expected_A = 2.0 / 0.3 * std::exp(-rest.time_s[k] / tau_s);
        CHECK(rest.string_current_A[2 * k] == Approx(-expected_A).margin(2e-5));
        CHECK(rest.string_current_A[2 * k + 1] == Approx(expected_A).margin(2e-5));
        // The joint sits at the fuller string's OCV less its drop.
        const double soc = 0.6 - 0.1 * (1 - std::exp(-rest.time_s[k] / tau_s));
        CHECK(rest.voltage_V[k] == Approx(30 + 10 * soc - 0.1 * expected_A).margin(1e-5));
    }
    // With a load on top the shares at the first instant are those of the resistances.
    settings.string_soc = {0.5, 0.5};
    const SimulationResult loaded = simulate(pack, {current_load(-9, 1)}, settings);
    CHECK(loaded.string_current_A[0] == Approx(-6).margin(1e-12));
    CHECK(loaded.string_current_A[1] == Approx(-3).margin(1e-12));
}

TEST_CASE("cells in parallel obey Kirchhoff's laws at every row") {
    Random uniform(voltkeel_test::seed());
    for (int round = 0; round < 8; ++round) {
        Pack pack = made_pack(1 + round % 3, 2 + round % 2, 3, round % 2 == 1);
        SpreadSettings spread{voltkeel_test::seed() + static_cast<std::uint64_t>(round),
                              0.03,
                              0.2,
                              0.02,
                              1e-3,
                              0.5,
                              2,
                              3};
        SimulationSettings settings;
        settings.soc = uniform(0.3, 0.8);
        settings.differences = draw_differences(pack, spread);
        settings.record_cells = true;
        settings.output_interval_s = 10;
        const double current_A = uniform(-200, 200);
        CAPTURE(round, settings.soc, current_A);
        const SimulationResult result =
            simulate(pack, {current_load(current_A, 60), current_load(0, 60)}, settings);
        const std::size_t strings = pack.strings.size();
        const std::size_t cells = result.cell_group.size();
        for (std::size_t row = 0; row < result.size(); ++row) {
            double sum_A = 0;
            for (std::size_t s = 0; s < strings; ++s)
                sum_A += result.string_current_A[row * strings + s];
            CHECK(sum_A == Approx(result.current_A[row]).margin(1e-10));
            std::vector<double> group_A(result.group_string.size(), 0.0);
            for (std::size_t k = 0; k < cells; ++k)
                group_A[static_cast<std::size_t>(result.cell_group[k])] +=
                    result.cell_current_A[row * cells + k];
            for (std::size_t g = 0; g < group_A.size(); ++g)
                CHECK(group_A[g] ==
                      Approx(result.string_current_A[row * strings + static_cast<std::size_t>(
                                                                         result.group_string[g])])
                          .margin(1e-10));
        }
    }
}

TEST_CASE("cells that equal out take few steps, however quick their branches") {
    // With charge transfer and little ohmic resistance the exchange has parts of tenths of seconds
    // and parts of hours. Against the same with a tolerance that is twenty times as tight.
    Random uniform(voltkeel_test::seed());
    for (int round = 0; round < 4; ++round) {
        Pack pack = made_pack(1 + round % 2, 2, 2 + round / 2, true);
        for (std::vector<double>& row : pack.modules[0].cell.resistance.r0_ohm) {
            for (double& ohm : row)
                ohm *= 0.1;
        }
        SimulationSettings settings;
        settings.soc = 0.5;
        settings.cut_off.voltage = false;
        settings.output_interval_s = 300;
        settings.record_cells = true;
        for (int k = 0; k < cell_count(pack); ++k)
            settings.differences.soc_offset.push_back(uniform(-0.4, 0.4));
        CAPTURE(round, settings.differences.soc_offset);
        const std::vector<LoadStep> load = {current_load(0, 9000), power_load(-300, 1800),
                                            current_load(0, 7200)};
        const SimulationResult result = simulate(pack, load, settings);
        CHECK(result.step_count < 25000);
        settings.voltage_tolerance_V = 1e-10;
        const SimulationResult tight = simulate(pack, load, settings);
        CHECK(tight.step_count > 2 * result.step_count);
        for (std::size_t row = 0; row < result.size(); ++row)
            CHECK(result.voltage_V[row] == Approx(tight.voltage_V[row]).margin(2e-6));
        for (std::size_t k = 0; k < result.cell_current_A.size(); ++k) {
            CHECK(std::abs(result.cell_current_A[k] - tight.cell_current_A[k]) < 2e-4);
            CHECK(std::abs(result.cell_core_degC[k] - tight.cell_core_degC[k]) < 1e-4);
        }
        const EnergyBalance& sum = result.balance;
        CHECK(std::abs(sum.electric_error_J()) < 1e-9 * (std::abs(sum.stored_J) + sum.joint_J));
        CHECK(std::abs(sum.heat_error_J()) < 1e-9 * std::abs(sum.heat_J));
        CHECK(sum.charge_error_Ah < 1e-9);
    }
}

TEST_CASE("charge and energy are booked without a gap") {
    Random uniform(voltkeel_test::seed());
    for (int round = 0; round < 6; ++round) {
        Pack pack = made_pack(2, 3, 2, round % 2 == 1);
        pack.bleed = BleedResistors{20, 0.8};
        pack.strings[0].module_link_W_per_K = 0.7;
        pack.strings[0].modules = {"block", "block"};
        pack.strings[1].modules = {"block", "block"};
        if (round % 3 == 2) pack.modules[0].group_link_W_per_K = 0;
        SpreadSettings spread{
            voltkeel_test::seed() + static_cast<std::uint64_t>(round), 0.03, 0.2, 0.02, 0, 0, 2, 3};
        SimulationSettings settings;
        settings.soc = 0.6;
        settings.differences = draw_differences(pack, spread);
        settings.balancing.active = true;
        settings.cut_off.voltage = false;
        std::vector<LoadStep> load;
        for (int k = 0; k < 20; ++k) {
            load.push_back(k % 2 == 0 ? power_load(uniform(-2000, 2000), uniform(1, 60))
                                      : current_load(uniform(-100, 100), uniform(1, 60)));
        }
        CAPTURE(round);
        const SimulationResult result = simulate(pack, load, settings);
        const EnergyBalance& sum = result.balance;
        const double moved_J = std::abs(sum.stored_J) + sum.overvoltage_J + sum.joint_J;
        CHECK(std::abs(sum.electric_error_J()) < 1e-9 * moved_J);
        CHECK(std::abs(sum.heat_error_J()) < 1e-9 * (std::abs(sum.heat_J) + 1));
        CHECK(sum.heat_J == Approx(sum.overvoltage_J + sum.reversible_J).epsilon(1e-12));
        CHECK(sum.charge_error_Ah < 1e-9);
        CHECK(sum.bleed_J > 0);
        // What every group's cells hold more is what its string brought less what was bled: SOC
        // times capacity against the books, string by string from the end state.
        double held_Ah = 0;
        for (std::size_t k = 0; k < result.end.soc.size(); ++k) {
            const double start = std::min(1.0, 0.6 + settings.differences.soc_offset[k]);
            held_Ah += 50 * settings.differences.capacity_factor[k] * (result.end.soc[k] - start);
        }
        double bled_Ah = 0;
        for (const double one : result.bled_Ah)
            bled_Ah += one;
        CHECK(held_Ah == Approx(6 * sum.terminal_Ah - bled_Ah).epsilon(1e-9).margin(1e-9));
    }
}

TEST_CASE("stored energy is the area under the OCV") {
    Pack pack = straight_pack(1, 2, 1);
    const SimulationResult result = simulate(pack, {current_load(-5, 3600)}, isothermal(0.9));
    // 10 Ah from 0.9 to 0.4: 2 * 5 Ah * (3.9 + 3.4) / 2 V.
    CHECK(result.balance.stored_J == Approx(-2 * 5 * 3.65 * 3600).epsilon(1e-12));
    CHECK(result.balance.overvoltage_J == Approx(2 * 25 * 0.01 * 3600).epsilon(1e-6));
    CHECK(result.balance.terminal_J ==
          Approx(-2 * 5 * 3.65 * 3600 + 2 * 25 * 0.01 * 3600).epsilon(1e-8));
}

TEST_CASE("a load is what it says at every row") {
    Pack pack = made_pack(2, 4, 2);
    SimulationSettings settings;
    settings.soc = 0.6;
    settings.string_soc = {0.62, 0.58};
    const SimulationResult result =
        simulate(pack,
                 {current_load(-40, 20), power_load(-1500, 20), power_load(900, 20),
                  resistance_load(0.3, 20), voltage_load(15.6, 20)},
                 settings);
    REQUIRE(result.size() == 6);
    CHECK(result.current_A[1] == -40);
    CHECK(result.current_A[2] * result.voltage_V[2] == Approx(-1500).epsilon(1e-12));
    CHECK(result.current_A[2] < 0);
    CHECK(result.current_A[3] * result.voltage_V[3] == Approx(900).epsilon(1e-12));
    CHECK(result.voltage_V[4] == Approx(-0.3 * result.current_A[4]).epsilon(1e-12));
    CHECK(result.voltage_V[5] == Approx(15.6).epsilon(1e-12));
    CHECK(result.events.empty());
}

TEST_CASE("a cut-off is found to a millisecond") {
    Pack pack = straight_pack(1, 3, 1);
    // V = 3 + soc - 0.01 I falls by I / 36000 a second: 3.1 V at soc = 0.1 + 0.01 I.
    for (const double current_A : {1.0, 7.3, 20.0}) {
        const SimulationResult result =
            simulate(pack, {current_load(-current_A, 1e5)}, isothermal(0.9));
        const double expected_s = (0.9 - 0.1 - 0.01 * current_A) * 36000 / current_A;
        REQUIRE(result.events.size() == 1);
        CHECK(result.events[0].kind == SimulationEventKind::voltage_min);
        CHECK(result.events[0].string == 0);
        CHECK(result.events[0].time_s == Approx(expected_s).margin(2e-4));
        CHECK(result.time_s.back() == result.events[0].time_s);
        CHECK(result.end.soc[0] == Approx(0.1 + 0.01 * current_A).margin(1e-7));
    }
    // SOC, on the way up, and of the weakest cell of all.
    SimulationSettings settings = isothermal(0.5);
    settings.differences.capacity_factor = {1, 0.8, 1};
    settings.cut_off.soc_max = 0.7;
    settings.cut_off.voltage = false;
    const SimulationResult up = simulate(pack, {current_load(6, 1e5)}, settings);
    REQUIRE(up.events.size() == 1);
    CHECK(up.events[0].kind == SimulationEventKind::soc_max);
    CHECK(up.events[0].group == 1);
    CHECK(up.events[0].time_s == Approx(0.2 * 0.8 * 36000 / 6).margin(2e-4));
    // A load that starts beyond the limit ends where it starts.
    const SimulationResult at_once = simulate(pack, {current_load(-50, 10)}, isothermal(0.3));
    REQUIRE(at_once.events.size() == 1);
    CHECK(at_once.events[0].time_s == 0);
    CHECK(at_once.size() == 1);
}

TEST_CASE("a cut-off under a held power or resistance is found to a millisecond") {
    Pack pack = straight_pack(1, 3, 1);
    // From soc to soc the time is the integral of 36000 As / I(soc), here by Simpson's rule.
    const auto time_s = [](double from, double to, const std::function<double(double)>& current_A) {
        const int pieces = 2000;
        const double width = (from - to) / pieces;
        double sum = 0;
        for (int k = 0; k < pieces; ++k) {
            const double soc = to + k * width;
            sum +=
                1 / current_A(soc) + 4 / current_A(soc + 0.5 * width) + 1 / current_A(soc + width);
        }
        return 36000 * sum * width / 6;
    };
    // Power: (E - 0.01 I) I = 25 W a cell, at 3.1 V.
    const auto by_power = [](double soc) {
        const double E = 3 + soc;
        return (E - std::sqrt(E * E - 4 * 0.01 * 25)) / 0.02;
    };
    const double power_end = 0.1 + 0.01 * 25 / 3.1;
    const SimulationResult power = simulate(pack, {power_load(-75, 1e5)}, isothermal(0.9));
    REQUIRE(power.events.size() == 1);
    CHECK(power.events[0].kind == SimulationEventKind::voltage_min);
    CHECK(power.events[0].time_s == Approx(time_s(0.9, power_end, by_power)).margin(1e-3));
    // Resistance: 0.3 ohm a cell besides its own 0.01 ohm.
    const auto by_resistance = [](double soc) { return (3 + soc) / 0.31; };
    const double resistance_end = 3.1 * 0.31 / 0.3 - 3;
    const SimulationResult resistance =
        simulate(pack, {resistance_load(0.9, 1e5)}, isothermal(0.9));
    REQUIRE(resistance.events.size() == 1);
    CHECK(resistance.events[0].time_s ==
          Approx(time_s(0.9, resistance_end, by_resistance)).margin(1e-3));
}

TEST_CASE("constant current and constant voltage in one step follow the closed solution") {
    // The closed form of published-style worked examples: OCV = a + b soc, resistance R, then
    // t = (s1 - s0) Q / I at constant current and tau ln(I / Ic), tau = R Q / b, at constant
    // voltage. With a 3.4, b 0.8, R 50 mohm, 3 Ah, 3 A, 4.2 V, 0.15 A, s0 0.2: 4227.119285 s, end
    // SOC 0.990625 (own derivation, 30-digit arithmetic).
    Pack pack = straight_pack(1, 1, 1);
    Cell& cell = pack.modules[0].cell;
    cell = straight_cell(3, 0.05);
    cell.ocv.discharge_V = cell.ocv.charge_V = {3.4, 4.2};
    cell.window.voltage_max_V = 4.3;
    LoadStep charge = current_load(3, 1e5);
    charge.voltage_max_V = 4.2;
    charge.end_current_A = 0.15;
    const SimulationResult result = simulate(pack, {charge}, isothermal(0.2));
    REQUIRE(result.events.size() == 1);
    CHECK(result.events[0].kind == SimulationEventKind::end_current);
    CHECK(result.events[0].time_s == Approx(4227.119285).margin(1e-3));
    CHECK(result.end.soc[0] == Approx(0.990625).margin(1e-9));
    // Nothing else that could end the run: the end current counts from the limit on only.
    SimulationSettings bare = isothermal(0.2);
    bare.cut_off.voltage = false;
    const SimulationResult alone = simulate(pack, {charge}, bare);
    REQUIRE(alone.events.size() == 1);
    CHECK(alone.events[0].time_s == Approx(result.events[0].time_s).margin(1e-3));
    LoadStep hold = voltage_load(3.56, 1e5);  // 3.4 + 0.8 * 0.2: hardly any current
    hold.end_current_A = 0.15;
    const SimulationResult at_once = simulate(pack, {hold}, bare);
    REQUIRE(at_once.events.size() == 1);
    CHECK(at_once.events[0].time_s == 0);
    // The same limit on a group instead of the terminals.
    charge.voltage_max_V = std::numeric_limits<double>::infinity();
    charge.group_voltage_max_V = 4.2;
    const SimulationResult group = simulate(pack, {charge}, isothermal(0.2));
    REQUIRE(group.events.size() == 1);
    CHECK(group.events[0].time_s == Approx(result.events[0].time_s).margin(1e-3));
}

TEST_CASE("the end of a charge is found to a millisecond") {
    // The closed form above with other numbers; strings and groups that are alike change nothing,
    // but for the resistance of their joints.
    Random uniform(voltkeel_test::seed());
    for (int round = 0; round < 20; ++round) {
        const double capacity_Ah = uniform(2, 60);
        const double ohm = uniform(0.02, 0.08) * 3 / capacity_Ah;
        const double current_A = capacity_Ah * uniform(0.3, 1.2);
        const double end_A = current_A * uniform(0.03, 0.3);
        const double from = uniform(0.05, 0.4);
        const double limit_V = uniform(3.85, 3.99);  // a cell, OCV 3 + soc
        Pack pack = straight_pack(1 + round % 3, 1 + round % 2, 1);
        pack.modules[0].cell = straight_cell(capacity_Ah, ohm);
        pack.modules[0].cell.window.voltage_max_V = 4.1;
        const double strings = static_cast<double>(pack.strings.size());
        const double series = pack.modules[0].layout.series;
        LoadStep charge = current_load(strings * current_A, 1e5);
        charge.voltage_max_V = series * limit_V;
        charge.end_current_A = strings * end_A;
        const double full_As = 3600 * capacity_Ah;
        const double expected_s = (limit_V - 3 - ohm * current_A - from) * full_As / current_A +
                                  ohm * full_As * std::log(current_A / end_A);
        CAPTURE(round, capacity_Ah, ohm, current_A, end_A, from, limit_V, expected_s);
        const SimulationResult result = simulate(pack, {charge}, isothermal(from));
        REQUIRE(result.events.size() == 1);
        CHECK(result.events[0].kind == SimulationEventKind::end_current);
        CHECK(result.events[0].time_s == Approx(expected_s).margin(1e-3));
        CHECK(result.step_count < 20000);
    }
}

TEST_CASE("a power beyond the largest one is told, and its onset found") {
    Pack pack = straight_pack(1, 1, 1);
    pack.modules[0].cell.window.voltage_min_V = 0.5;
    // E^2 / (4 R) with E = 3 + soc: 240.25 W at SOC 0.1.
    SimulationSettings settings = isothermal(0.5);
    const SimulationResult result = simulate(pack, {power_load(-240.25, 1000)}, settings);
    REQUIRE(result.events.size() == 1);
    CHECK(result.events[0].kind == SimulationEventKind::power_not_available);
    CHECK(result.end.soc[0] == Approx(0.1).margin(2e-5));
}

TEST_CASE("without an end the run goes on to the next load step") {
    Pack pack = straight_pack(1, 2, 1);
    SimulationSettings settings = isothermal(0.2);
    settings.cut_off.ends_run = false;
    const SimulationResult result =
        simulate(pack, {current_load(-5, 1e4), current_load(5, 100)}, settings);
    REQUIRE(result.events.size() == 1);
    CHECK(result.time_s.back() == Approx(result.events[0].time_s + 100).margin(1e-9));
    CHECK(result.current_A.back() == 5);
}

TEST_CASE("heat warms to the closed solution and to the steady state") {
    Pack pack = straight_pack(1, 2, 1);
    SimulationSettings settings = isothermal(0.9);
    settings.heat = true;
    settings.temperature_degC = 20;
    settings.cut_off.voltage = false;
    // Plus and minus 20 A in turns of a second: 4 W in each cell at all times, SOC in place.
    std::vector<LoadStep> load;
    for (int k = 0; k < 3000; ++k)
        load.push_back(current_load(k % 2 == 0 ? -20 : 20, 1));
    const SimulationResult result = simulate(pack, load, settings);
    const ThermalFit& from = pack.modules[0].cell.thermal;
    const ThermalParameters<double> thermal{from.heat_capacity_J_per_K, from.resistance_K_per_W,
                                            from.core_resistance_K_per_W,
                                            from.core_heat_capacity_J_per_K};
    const CellTemperature<double> expected =
        temperature_after(thermal, CellTemperature<double>{20, 20}, 20.0, 4.0, 3000.0);
    CHECK(result.end.core_degC[0] == Approx(expected.core_degC).margin(1e-6));
    CHECK(result.end.case_degC[1] == Approx(expected.case_degC).margin(1e-6));
    CHECK(result.hottest_degC == Approx(expected.core_degC).margin(1e-6));
    CHECK(result.hottest_time_s == 3000);
}

TEST_CASE("neighbours pass heat on, between modules too") {
    Pack pack = straight_pack(1, 1, 1);
    pack.strings[0].modules = {"block", "block", "block"};
    pack.strings[0].module_link_W_per_K = 0.4;
    pack.modules[0].cell.thermal = {100, 0, 1e4, 0, "assumed", 0, 0, 0, 0};
    SimulationSettings settings = isothermal(0.5);
    settings.heat = true;
    settings.differences.temperature_offset_K = {9, 0, 0};
    settings.output_interval_s = 50;
    settings.record_cells = true;
    const SimulationResult result = simulate(pack, {current_load(0, 1000)}, settings);
    // Nearly isolated: three masses in a row, modes 0, -k/C, -3k/C with k/C = 0.004 / s. The
    // surroundings are those of each cell at its start and take 1e-6 / s: below 0.01 K.
    for (std::size_t row = 0; row < result.size(); ++row) {
        const double t = result.time_s[row];
        const double slow = 4.5 * std::exp(-0.004 * t);
        const double fast = 1.5 * std::exp(-0.012 * t);
        CHECK(result.cell_core_degC[3 * row] == Approx(25 + 3 + slow + fast).margin(0.01));
        CHECK(result.cell_core_degC[3 * row + 1] == Approx(25 + 3 - 2 * fast).margin(0.01));
        CHECK(result.cell_core_degC[3 * row + 2] == Approx(25 + 3 - slow + fast).margin(0.01));
    }
    CHECK(std::abs(result.balance.heat_error_J()) < 1e-7);
}

TEST_CASE("groups of equal cells may be one cell each") {
    Pack pack = made_pack(2, 3, 4);
    SimulationSettings settings;
    settings.soc = 0.7;
    settings.string_soc = {0.72, 0.7};
    settings.string_temperature_degC = {15, 25};
    std::vector<LoadStep> load = {current_load(-150, 200), power_load(500, 100)};
    const SimulationResult all = simulate(pack, load, settings);
    settings.each_cell = false;
    const SimulationResult few = simulate(pack, load, settings);
    CHECK(few.voltage_V.back() == Approx(all.voltage_V.back()).margin(1e-6));
    CHECK(few.string_current_A.back() == Approx(all.string_current_A.back()).margin(1e-4));
    CHECK(few.core_max_degC.back() == Approx(all.core_max_degC.back()).margin(1e-5));
    CHECK(few.end.soc.size() == all.end.soc.size());
    CHECK(few.balance.heat_J == Approx(all.balance.heat_J).epsilon(1e-6));
}

TEST_CASE("a run can be cut in two") {
    Pack pack = made_pack(2, 3, 2, true);
    SimulationSettings settings;
    settings.soc = 0.7;
    settings.string_temperature_degC = {15, 25};
    const LoadStep load = current_load(-100, 300);
    const SimulationResult whole = simulate(pack, {load, load}, settings);
    const SimulationResult first = simulate(pack, {load}, settings);
    settings.start = first.end;
    const SimulationResult second = simulate(pack, {load}, settings);
    CHECK(second.voltage_V.back() == Approx(whole.voltage_V.back()).margin(1e-6));
    CHECK(second.end.core_degC[3] == Approx(whole.end.core_degC[3]).margin(1e-5));
}

TEST_CASE("open strings rest, closed ones carry all") {
    Pack pack = made_pack(2, 3, 1);
    pack.strings[1].contactor.closed = false;
    SimulationSettings settings;
    settings.soc = 0.8;
    const LoadStep alone = current_load(-20, 60);
    LoadStep both = alone;
    both.closed = {true, true};
    LoadStep none = alone;
    none.closed = {false, false};
    const SimulationResult result = simulate(pack, {alone, both, none}, settings);
    REQUIRE(result.size() == 4);
    CHECK(result.string_current_A[2] == -20);
    CHECK(result.string_current_A[3] == 0);
    CHECK(std::abs(result.string_current_A[5]) > 9);
    CHECK(result.current_A[3] == 0);
    CHECK(result.voltage_V[3] == 0);
}

TEST_CASE("ratings that are passed are told once") {
    Pack pack = straight_pack(2, 10, 1);
    pack.strings[0].fuse.current_A = 15;
    pack.strings[1].contactor.making_current_A = 5;
    pack.strings[1].contactor.closed = false;
    SimulationSettings settings = isothermal(0.5);
    settings.string_soc = {0.6, 0.4};
    LoadStep join = current_load(0, 10);
    join.closed = {true, true};
    const SimulationResult result =
        simulate(pack, {current_load(-20, 1), current_load(-20, 1), join}, settings);
    REQUIRE(result.events.size() == 2);
    CHECK(result.events[0].kind == SimulationEventKind::fuse_rating);
    CHECK(result.events[0].time_s == 0);
    CHECK(result.events[0].bound == 15);
    CHECK(result.events[1].kind == SimulationEventKind::making_current);
    CHECK(result.events[1].string == 1);
    // 2 V less the fraction discharged meanwhile, over 0.2 ohm.
    CHECK(result.events[1].value == Approx(10).epsilon(0.01));
}

// ---------------------------------------------------------------- fuses

TEST_CASE("a fuse carries its rating for ever, and short pulses up to its I2t") {
    Fuse fuse;
    fuse.current_A = 100;
    fuse.i2t_A2s = 36000;
    CHECK(fuse_opening_time_s(fuse, 100) == std::numeric_limits<double>::infinity());
    CHECK(fuse_opening_time_s(fuse, -99) == std::numeric_limits<double>::infinity());
    CHECK(fuse_opening_time_s(fuse, 101) > 10);
    // 20 times the rating: I2t over I^2, within the 0.13 % that it cools meanwhile.
    CHECK(fuse_opening_time_s(fuse, -2000) == Approx(36000 / 4e6).epsilon(2e-3));
    CHECK(fuse_opening_time_s(fuse, 200) == Approx(3.6 * std::log(4.0 / 3.0)).epsilon(1e-12));
    fuse.i2t_A2s = 0;
    CHECK(fuse_time_constant_s(fuse) == 20);
    // What the default is said to do (times of general-purpose fuses, from memory).
    CHECK(fuse_opening_time_s(fuse, 600) < 0.6);
    CHECK(fuse_opening_time_s(fuse, 1500) < 0.1);
}

TEST_CASE("a fuse opens after its time, and the other string goes on alone") {
    Random uniform(voltkeel_test::seed());
    for (int round = 0; round < 10; ++round) {
        Pack pack = straight_pack(2, 10, 1);
        pack.strings[0].fuse.current_A = 15;
        pack.strings[0].fuse.i2t_A2s = uniform(100, 4000);
        pack.strings[1].fuse.current_A = 1000;
        // Alike strings share evenly, whatever their SOC.
        const double current_A = uniform(33, 90);
        const double expected_s = fuse_opening_time_s(pack.strings[0].fuse, 0.5 * current_A);
        CAPTURE(round, pack.strings[0].fuse.i2t_A2s, current_A, expected_s);
        SimulationSettings settings = isothermal(0.5);
        settings.cut_off.voltage = false;
        settings.output_interval_s = 1;
        const SimulationResult result =
            simulate(pack, {current_load(-current_A, expected_s + 30)}, settings);
        REQUIRE(result.events.size() == 2);
        CHECK(result.events[0].kind == SimulationEventKind::fuse_rating);
        CHECK(result.events[1].kind == SimulationEventKind::fuse_opened);
        CHECK(result.events[1].string == 0);
        CHECK(result.events[1].value == Approx(-0.5 * current_A).epsilon(1e-6));
        CHECK(result.events[1].bound == 15);
        CHECK(result.events[1].time_s == Approx(expected_s).margin(2e-4));
        CHECK(result.time_s.back() == Approx(expected_s + 30));
        for (std::size_t row = 0; row < result.size(); ++row) {
            const bool open = result.time_s[row] > result.events[1].time_s;
            CHECK(result.string_current_A[2 * row] ==
                  Approx(open ? 0 : -0.5 * current_A).margin(1e-4));
            CHECK(result.current_A[row] == -current_A);
        }
        CHECK(result.end.fuse_open == std::vector<bool>{true, false});
        CHECK(result.end.closed == std::vector<bool>{false, true});
        CHECK(result.end.fuse_warmth[0] ==
              Approx(std::exp(-30 / fuse_time_constant_s(pack.strings[0].fuse))).epsilon(1e-4));
        CHECK(std::abs(result.balance.electric_error_J()) <
              1e-9 * std::abs(result.balance.stored_J));
        // For good: neither a load nor a later run closes it, and its closing is refused.
        settings.start = result.end;
        LoadStep both = current_load(-20, 5);
        both.closed = {true, true};
        const SimulationResult later = simulate(pack, {both}, settings);
        CHECK(later.string_current_A.back() == -20);
        CHECK(later.end.closed == std::vector<bool>{false, true});
        CHECK(error_text([&] { (void)check_closing(pack, result.end, "port"); }) ==
              "the fuse of \"port\" has opened");
    }
}

TEST_CASE("a fuse remembers pulses, and rests cool it") {
    Pack pack = straight_pack(1, 10, 1);
    pack.strings[0].fuse.current_A = 10;
    pack.strings[0].fuse.i2t_A2s = 1000;  // tau 10 s
    SimulationSettings settings = isothermal(0.9);
    settings.cut_off.voltage = false;
    // 20 A for 2 s from cold: 4 (1 - e^-0.2) = 0.725; a rest of 5 s leaves e^-0.5 of it.
    const std::vector<LoadStep> pulses = {current_load(-20, 2), current_load(0, 5),
                                          current_load(-20, 2)};
    const SimulationResult result = simulate(pack, pulses, settings);
    const double before = 4 * (1 - std::exp(-0.2)) * std::exp(-0.5);
    const double expected_s = 7 + 10 * std::log((4 - before) / (4 - 1));
    REQUIRE_FALSE(result.events.empty());
    CHECK(result.events.back().kind == SimulationEventKind::fuse_opened);
    CHECK(result.events.back().time_s == Approx(expected_s).margin(2e-4));
    // A run that goes on from the state of another knows of its pulse.
    const SimulationResult first = simulate(pack, {pulses[0], pulses[1]}, settings);
    CHECK(first.end.fuse_warmth[0] == Approx(before).epsilon(1e-9));
    settings.start = first.end;
    const SimulationResult second = simulate(pack, {pulses[2]}, settings);
    CHECK(second.events.back().time_s == Approx(expected_s - 7).margin(2e-4));
    // After a longer rest it holds.
    settings.start.reset();
    const SimulationResult rested =
        simulate(pack, {pulses[0], current_load(0, 60), pulses[2]}, settings);
    for (const SimulationEvent& event : rested.events)
        CHECK(event.kind == SimulationEventKind::fuse_rating);
}

TEST_CASE("when one fuse opens the next may follow, and then the load gets nothing") {
    Pack pack = straight_pack(2, 10, 1);
    pack.strings[1].busbar_ohm = 0.02;  // the first string carries more
    for (PackString& string : pack.strings) {
        string.fuse.current_A = 15;
        string.fuse.i2t_A2s = 500;
    }
    SimulationSettings settings = isothermal(0.6);
    settings.cut_off.voltage = false;
    settings.output_interval_s = 1;
    bool told = true;
    settings.cooling_interval_s = 0.5;
    settings.heat = true;
    settings.cooling = [&](const CoolingStep& step) {
        told = step.connected;
        step.pack_power_W = step.connected ? 50 : 0;
    };
    const SimulationResult result =
        simulate(pack, {current_load(-40, 30), power_load(300, 10)}, settings);
    std::vector<SimulationEvent> opened;
    for (const SimulationEvent& event : result.events) {
        if (event.kind == SimulationEventKind::fuse_opened) opened.push_back(event);
    }
    REQUIRE(opened.size() == 2);
    CHECK(opened[0].string == 0);
    CHECK(opened[1].string == 1);
    CHECK(opened[1].time_s > opened[0].time_s);
    CHECK(opened[1].value < -40);  // all of it, with the plant
    CHECK(result.time_s.back() == 40);
    CHECK(result.current_A.back() == 0);
    CHECK(result.voltage_V.back() == 0);
    CHECK(result.plant_power_W.back() == 0);
    CHECK_FALSE(told);
    CHECK(result.balance.plant_J == Approx(50 * opened[1].time_s).epsilon(1e-9));
    const double moved_J = std::abs(result.balance.stored_J) + result.balance.overvoltage_J;
    CHECK(std::abs(result.balance.electric_error_J()) < 1e-9 * moved_J);
    // What is left falls below its window at once: that ends the run as ever.
    pack.modules[0].cell.window.voltage_min_V = 3.4;
    settings.cut_off.voltage = true;
    settings.cooling = nullptr;
    settings.heat = false;
    const SimulationResult cut = simulate(pack, {current_load(-36, 30)}, settings);
    CHECK(cut.events.back().kind == SimulationEventKind::voltage_min);
    CHECK(cut.events.back().string == 1);
    const SimulationEvent& before = cut.events[cut.events.size() - 2];
    CHECK(before.kind == SimulationEventKind::fuse_opened);
    CHECK(cut.events.back().time_s == before.time_s);
    // A state whose fuse is at its end has it open.
    PackState spent = start_state(pack, settings);
    spent.fuse_warmth = {1, 0};
    settings.start = spent;
    settings.cut_off.voltage = false;
    const SimulationResult without = simulate(pack, {current_load(-5, 1)}, settings);
    CHECK(without.events.empty());
    CHECK(without.string_current_A.front() == 0);
    settings.start->fuse_warmth = {1.5, 0};
    CHECK(error_text([&] { (void)simulate(pack, {current_load(-5, 1)}, settings); }) ==
          "start.fuse_warmth: 1.5 is outside 0 .. 1");
}

// ---------------------------------------------------------------- closing

TEST_CASE("closing is allowed up to the making current and not beyond") {
    Pack pack = straight_pack(2, 10, 1);
    pack.strings[1].contactor.closed = false;
    pack.strings[1].contactor.making_current_A = 8;
    SimulationSettings settings = isothermal(0.5);
    settings.string_soc = {0.55, 0.45};  // 1 V apart over 0.2 ohm
    const ClosingCheck fits = check_closing(pack, start_state(pack, settings), "starboard");
    CHECK(fits.difference_V == Approx(-1));
    CHECK(fits.current_A == Approx(5));
    CHECK(fits.string_current_A[0] == Approx(-5));
    CHECK(fits.limit_A == 8);
    CHECK(fits.difference_limit_V == Approx(1.6));
    CHECK(fits.allowed);
    CHECK_FALSE(fits.precharge);
    settings.string_soc = {0.6, 0.4};
    const ClosingCheck over = check_closing(pack, start_state(pack, settings), "starboard");
    CHECK(over.current_A == Approx(10));
    CHECK_FALSE(over.allowed);
    // A load that pulls the closed string down brings both nearer.
    CHECK(check_closing(pack, start_state(pack, settings), "starboard", -12).current_A ==
          Approx(4));
    // The other string has limits too.
    pack.strings[0].fuse.current_A = 4;
    settings.string_soc = {0.55, 0.45};
    CHECK_FALSE(check_closing(pack, start_state(pack, settings), "starboard").allowed);
    CHECK(error_text([&] { (void)check_closing(pack, start_state(pack, settings), "port"); }) ==
          "the contactor of \"port\" is closed already");
    CHECK(error_text([&] { (void)check_closing(pack, start_state(pack, settings), "aft"); }) ==
          "there is no string \"aft\"");
}

TEST_CASE("the first string meets the link and is told its precharge") {
    Pack pack = straight_pack(1, 10, 1);
    pack.strings[0].contactor.closed = false;
    pack.strings[0].contactor.making_current_A = 20;
    pack.precharge = Precharge<double>{47, 1e-3, 0.95};
    const ClosingCheck check = check_closing(pack, start_state(pack, isothermal(0.5)), "port");
    CHECK(check.difference_V == Approx(35));
    CHECK(check.current_A == Approx(-350));
    CHECK_FALSE(check.allowed);
    CHECK(check.difference_limit_V == Approx(2));  // 20 A times 0.1 ohm
    REQUIRE(check.precharge);
    // To 2 V of 35 V is 94.3 %; the circuit waits for its 95 %.
    CHECK(check.precharge->remaining_V == Approx(1.75));
    CHECK(check.precharge->time_s == Approx(0.047 * std::log(20.0)));
    pack.strings[0].contactor.making_current_A = 5;  // 0.5 V: longer than to 95 %
    const ClosingCheck strict = check_closing(pack, start_state(pack, isothermal(0.5)), "port");
    REQUIRE(strict.precharge);
    CHECK(strict.precharge->remaining_V == Approx(0.5));
    CHECK(strict.precharge->time_s == Approx(0.047 * std::log(70.0)));
    CHECK(check_closing(pack, start_state(pack, isothermal(0.5)), "port", 0, 34.9).allowed);
}

// ---------------------------------------------------------------- balancing

TEST_CASE("bleed resistors take the current of the handbook and bring groups together") {
    // Web handbook batterydesign.net (passive balancing): 33 ohm at 4.1 V pass 124 mA, 0.51 W; and
    // delta SOC * Q / I: 1 % of 50 Ah at 100 mA takes 5.0 h.
    Pack pack = straight_pack(1, 2, 1);
    pack.bleed = BleedResistors{33, 1};
    Cell& cell = pack.modules[0].cell;
    cell = straight_cell(50);
    cell.ocv.discharge_V = cell.ocv.charge_V = {4.1, 4.1 + 1e-3};
    cell.window.voltage_max_V = 4.2;
    SimulationSettings settings = isothermal(0.5);
    settings.differences.soc_offset = {0.01, 0};
    settings.balancing.active = true;
    settings.balancing.threshold_V = 1e-7;
    settings.balancing.hysteresis_V = 0;
    settings.balancing.interval_s = 60;
    settings.output_interval_s = 600;
    const SimulationResult result = simulate(pack, {current_load(0, 8 * 3600)}, settings);
    // By the same arithmetic: 0.5 Ah at 4.1 V / 33 ohm are 4.024 h.
    const double current_A = result.bled_Ah[0] * 3600 / (4.024 * 3600);
    CHECK(result.bled_Ah[0] == Approx(0.5).margin(0.01));
    CHECK(current_A == Approx(0.1242).epsilon(0.02));
    CHECK(result.bled_J[0] == Approx(4.1 * 0.5 * 3600).epsilon(0.02));
    CHECK(result.bled_Ah[1] == 0);
    CHECK(result.end.soc[0] == Approx(result.end.soc[1]).margin(2e-4));
    double done_s = 0;
    for (std::size_t row = 0; row < result.size(); ++row) {
        if (result.group_soc[2 * row] - result.group_soc[2 * row + 1] > 2e-4)
            done_s = result.time_s[row];
    }
    CHECK(done_s / 3600 == Approx(4.024).margin(0.2));
}

TEST_CASE("a duty below one bleeds less in proportion") {
    Pack pack = straight_pack(1, 2, 1);
    pack.bleed = BleedResistors{33, 1};
    SimulationSettings settings = isothermal(0.5);
    settings.differences.soc_offset = {0.2, 0};
    settings.balancing.active = true;
    const double all_Ah = simulate(pack, {current_load(0, 600)}, settings).bled_Ah[0];
    pack.bleed->duty = 0.25;
    const double quarter_Ah = simulate(pack, {current_load(0, 600)}, settings).bled_Ah[0];
    CHECK(quarter_Ah == Approx(0.25 * all_Ah).epsilon(1e-3));
}

TEST_CASE("a stated share of the bleed resistors' heat warms their cells") {
    for (const bool touching : {false, true}) {
        Pack pack = straight_pack(1, 2, 3);
        pack.bleed = BleedResistors{2, 1, 0.4};
        if (touching) {
            pack.modules[0].cell_link_W_per_K = 0.2;  // odeint's path; alike cells pass nothing on
        }
        Cell& cell = pack.modules[0].cell;
        cell = straight_cell(1e4);  // as good as a source of 3.5 V
        cell.thermal = {900, 0, 4, 0, "assumed", 1.5, 0, 700, 0};
        SimulationSettings settings = isothermal(0.5);
        settings.heat = true;
        settings.temperature_degC = 20;
        settings.record_cells = true;
        PackState start = start_state(pack, settings);
        start.bleeding = {true, false};
        settings.start = start;
        const SimulationResult result = simulate(pack, {current_load(0, 36000)}, settings);
        // Steady: the case is q R above the surroundings, the core as warm; 4 K/W, 3600 s.
        const double bled_W = result.bled_J[0] / 36000;
        CHECK(bled_W == Approx(3.5 * 3.5 / 2).epsilon(0.01));
        const double own_W = std::pow(std::sqrt(bled_W / 2) / 3, 2) * 0.01;  // I^2 R of each cell
        const double expected_K = (0.4 * bled_W / 3 + own_W) * 4;
        CAPTURE(touching);
        CHECK(result.end.case_degC[1] == Approx(20 + expected_K).margin(2e-3));
        CHECK(result.end.core_degC[1] == Approx(20 + expected_K + 1.5 * own_W).margin(2e-3));
        CHECK(result.end.core_degC[4] == Approx(20).margin(1e-9));
        const EnergyBalance& sum = result.balance;
        CHECK(sum.bleed_to_cells_J == Approx(0.4 * sum.bleed_J).epsilon(1e-12));
        CHECK(std::abs(sum.heat_error_J()) < 1e-9 * sum.bleed_to_cells_J);
        CHECK(std::abs(sum.electric_error_J()) < 1e-9 * sum.bleed_J);
        // One cell for three gives the same.
        settings.each_cell = false;
        CHECK(simulate(pack, {current_load(0, 36000)}, settings).end.case_degC[1] ==
              Approx(result.end.case_degC[1]).margin(1e-6));
        settings.each_cell = true;
        pack.bleed->heat_to_cells = 0;
        const SimulationResult cold = simulate(pack, {current_load(0, 36000)}, settings);
        CHECK(cold.end.core_degC[1] == Approx(20 + 5.5 * own_W).margin(2e-4));
        CHECK(cold.balance.bleed_to_cells_J == 0);
    }
}

// ---------------------------------------------------------------- spread

TEST_CASE("differences are drawn alike for one seed and as widely as asked") {
    const Pack pack = made_pack(1, 5000, 2);
    SpreadSettings spread{voltkeel_test::seed(), 0.02, 0.15, 0.01, 1e-3, 0.5, 3, 3};
    const CellDifferences one = draw_differences(pack, spread);
    const CellDifferences again = draw_differences(pack, spread);
    CHECK(one.capacity_factor == again.capacity_factor);
    spread.soc_std = 0;
    const CellDifferences fewer = draw_differences(pack, spread);
    CHECK(fewer.soc_offset.empty());
    CHECK(fewer.leak_A == one.leak_A);
    spread.seed += 1;
    CHECK(draw_differences(pack, spread).capacity_factor != one.capacity_factor);
    const auto log_std = [](const std::vector<double>& factor) {
        double sum = 0;
        double square = 0;
        for (const double f : factor) {
            sum += std::log(f);
            square += std::log(f) * std::log(f);
        }
        const double n = static_cast<double>(factor.size());
        return std::sqrt(square / n - sum * sum / n / n);
    };
    // A normal distribution cut at 3 std has 0.9866 of its std; 10 000 draws know it to 0.7 %.
    CHECK(log_std(one.capacity_factor) == Approx(0.9866 * 0.02).epsilon(0.03));
    CHECK(log_std(one.resistance_factor) == Approx(0.9866 * 0.15).epsilon(0.03));
    CHECK(log_std(one.leak_A) == Approx(0.9866 * 0.5).epsilon(0.03));
    for (const double offset : one.soc_offset)
        CHECK(std::abs(offset) <= 0.03);
}

TEST_CASE("a leak empties its cell alone") {
    Pack pack = straight_pack(1, 2, 1);
    SimulationSettings settings = isothermal(0.5);
    settings.differences.leak_A = {0.01, 0};
    const SimulationResult result = simulate(pack, {current_load(0, 36000)}, settings);
    CHECK(result.end.soc[0] == Approx(0.5 - 0.01).margin(1e-12));
    CHECK(result.end.soc[1] == 0.5);
}

// ---------------------------------------------------------------- bad input

TEST_CASE("what cannot be simulated is named") {
    const Pack pack = made_pack(2, 2, 1);
    const auto told = [&](const std::vector<LoadStep>& load,
                          const std::function<void(SimulationSettings&)>& change) {
        SimulationSettings settings;
        change(settings);
        return error_text([&] { (void)simulate(pack, load, settings); });
    };
    const auto nothing = [](SimulationSettings&) {};
    CHECK(told({}, nothing) == "load: has no step");
    CHECK_THAT(told({current_load(1, 0)}, nothing),
               Catch::StartsWith("load[0].duration_s: 0 is outside"));
    CHECK_THAT(told({current_load(NAN, 1)}, nothing),
               Catch::StartsWith("load[0].current_A: nan is outside"));
    CHECK_THAT(told({current_load(1, 1), resistance_load(0, 1)}, nothing),
               Catch::StartsWith("load[1].resistance_ohm: 0 is outside"));
    LoadStep odd = current_load(1, 1);
    odd.closed = {true};
    CHECK(told({odd}, nothing) == "load[0].closed: has 1 values, needs one for each of 2 strings");
    const std::vector<LoadStep> good = {current_load(1, 1)};
    CHECK(told(good, [](auto& s) { s.soc = 1.2; }) == "soc: 1.2 is outside 0 .. 1");
    CHECK(told(good, [](auto& s) { s.string_soc = {0.5}; }) ==
          "string_soc: has 1 values, needs one for each of 2 strings");
    CHECK(told(good, [](auto& s) {
              s.differences.leak_A = {0, 0, -1, 0};
          }) == "differences.leak_A[2]: -1 is outside 0 .. 10000");
    CHECK(told(good, [](auto& s) { s.balancing.active = true; }) ==
          "balancing.active: the pack has no bleed resistors");
    CHECK(told(good, [](auto& s) { s.start.emplace(); }) ==
          "start.soc: has 0 values, needs one for each of 4 cells");
    int asked = 0;
    std::vector<LoadStep> many(100000, current_load(1, 0.1));
    CHECK_THAT(
        error_text([&] { (void)simulate(pack, many, {}, [&](double) { return ++asked < 2; }); }),
        Catch::StartsWith("simulation: cancelled at"));
}

TEST_CASE("a load from columns holds each row's value since the row before") {
    const auto load = load_from_columns(LoadKind::power, {10, 11, 13}, {99, -5, 7});
    REQUIRE(load.size() == 2);
    CHECK(load[0].power_W == -5);
    CHECK(load[0].duration_s == 1);
    CHECK(load[1].power_W == 7);
    CHECK(load[1].duration_s == 2);
    CHECK(error_text([] {
              (void)load_from_columns(LoadKind::current, {1, 1}, {0, 0});
          }) == "time_s[1]: 1 must be above 1");
    CHECK(error_text([] {
              (void)load_from_columns(LoadKind::voltage, {1, 2}, {0, 0});
          }) == "kind: a load from columns is a current or a power");
}

TEST_CASE("a load is read from a file by its current or its power") {
    const auto path = std::filesystem::temp_directory_path() /
                      ("voltkeel_test_" + std::to_string(std::random_device{}()) + ".csv");
    const auto read = [&](const std::string& text) {
        std::ofstream(path) << text;
        return read_load(path);
    };
    const auto power = read("time_s,power_W\n0,0\n10,-500\n60,300\n");
    REQUIRE(power.size() == 2);
    CHECK(power[0].kind == LoadKind::power);
    CHECK(power[0].power_W == -500);
    CHECK(power[1].duration_s == 50);
    const auto current = read("current_A,time_s,power_W\n0,0,0\n-4,10,-500\n");
    REQUIRE(current.size() == 1);
    CHECK(current[0].kind == LoadKind::current);
    CHECK(current[0].current_A == -4);
    const auto told = [&](const std::string& text) {
        return error_text([&] { (void)read(text); }).substr(path.string().size());
    };
    CHECK_THAT(told("time_s,volt\n0,0\n1,1\n"),
               Catch::StartsWith(":1: no column 'current_A'; the header has 'time_s', 'volt'") &&
                   Catch::EndsWith("(nor is there a column 'power_W')"));
    CHECK_THAT(told("time_s,power_W\n0,0\n1,x\n"), Catch::StartsWith(":3: "));
    CHECK_THAT(told("time_s,current_A\n0,0\n1,x\n"), Catch::StartsWith(":3: "));
    std::filesystem::remove(path);
}

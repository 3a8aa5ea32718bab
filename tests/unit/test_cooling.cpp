// Air and liquid cooling against steady states and sums that must close.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <functional>
#include <string>
#include <vector>

#include "support/error_text.hpp"
#include "support/made_pack.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/simulate/cooling.hpp"

using namespace voltkeel;
using voltkeel_test::error_text;
using voltkeel_test::made_pack;

namespace {

/// Some 4 W in each cell at all times: plus and minus 2 C in turns.
std::vector<LoadStep> warming_load(double current_A, int seconds) {
    std::vector<LoadStep> load;
    for (int k = 0; k < seconds / 10; ++k)
        load.push_back(current_load(k % 2 == 0 ? -current_A : current_A, 10));
    return load;
}

/// Effectiveness of a cross-flow exchanger by its equations, hot stream along x, cold along y:
/// dh/dx = -n (h - k), dk/dy = n c (h - k), on a grid of midpoints.
double streams_on_a_grid(double n, double c) {
    const int size = 400;
    const double d = 1.0 / size;
    std::vector<double> hot(size, 1.0);  // at this x, over y
    double sum = 0;
    for (int i = 0; i < size; ++i) {
        double cold = 0;
        for (int j = 0; j < size; ++j) {
            // Both along the same cell, solved together for their means.
            const double gap =
                (hot[static_cast<std::size_t>(j)] - cold) / (1 + 0.5 * d * n * (1 + c));
            hot[static_cast<std::size_t>(j)] -= d * n * gap;
            cold += d * n * c * gap;
        }
    }
    for (const double one : hot)
        sum += (1 - one) * d;
    return sum;
}

/// A pack whose cells make the same heat at any temperature.
Pack steady_pack(int strings, int series) {
    Pack pack = made_pack(strings, series, 1);
    ResistanceGrid& grid = pack.modules[0].cell.resistance;
    grid.temperature_degC = {25};
    grid.r0_ohm = {grid.r0_ohm[1]};
    for (BranchGrid& branch : grid.branches) {
        branch.resistance_ohm = {branch.resistance_ohm[1]};
        branch.time_s = {branch.time_s[1]};
    }
    return pack;
}

SimulationSettings half_full(double degC) {
    SimulationSettings settings;
    settings.soc = 0.5;
    settings.temperature_degC = degC;
    settings.cut_off.voltage = false;
    settings.output_interval_s = 60;
    return settings;
}

}  // namespace

TEST_CASE("the cross-flow exchanger keeps to the limits of its textbook") {
    CHECK(cross_flow_effectiveness(0, 0.5) == 0);
    CHECK(cross_flow_effectiveness(1, 0) == Approx(1 - std::exp(-1.0)));
    // The two streams' own equations on a grid: the correlation errs by up to 0.01, most
    // for a small exchanger between equal streams.
    for (const double n : {0.3, 1.0, 3.0}) {
        for (const double c : {0.25, 0.6, 1.0}) {
            CAPTURE(n, c);
            CHECK(cross_flow_effectiveness(n, c) == Approx(streams_on_a_grid(n, c)).margin(0.01));
        }
    }
    for (double n = 0.1; n < 10; n *= 1.5) {
        for (double c = 0; c <= 1; c += 0.25) {
            // Between a parallel-flow and a counter-flow exchanger of the same size (their closed
            // forms: the same source).
            const double parallel = (1 - std::exp(-n * (1 + c))) / (1 + c);
            const double counter =
                c < 1 ? (1 - std::exp(-n * (1 - c))) / (1 - c * std::exp(-n * (1 - c)))
                      : n / (1 + n);
            CAPTURE(n, c);
            CHECK(cross_flow_effectiveness(n, c) > parallel - 0.01);
            CHECK(cross_flow_effectiveness(n, c) < counter + 1e-3);
        }
    }
}

TEST_CASE("a switch has hysteresis both ways") {
    const ThermalSwitch cools{30, 25};
    CHECK_FALSE(cools.next(false, 29));
    CHECK(cools.next(false, 31));
    CHECK(cools.next(true, 26));
    CHECK_FALSE(cools.next(true, 24));
    const ThermalSwitch warms{5, 10};
    CHECK(warms.next(false, 4));
    CHECK_FALSE(warms.next(false, 7));
    CHECK(warms.next(true, 7));
    CHECK_FALSE(warms.next(true, 11));
    CHECK_FALSE(ThermalSwitch{}.next(false, 99));
}

TEST_CASE("moving air cools more than still air, and its fan has hysteresis") {
    const Pack pack = made_pack(1, 6, 1);
    CoolingSettings cooling;
    cooling.air_temperature.degC = {22};
    cooling.air.fan = {};
    CoolingPlant still(pack, cooling);
    SimulationSettings settings = half_full(22);
    settings.cooling = std::ref(still);
    const auto load = warming_load(60, 7200);
    const double still_degC = simulate(pack, load, settings).hottest_degC;
    cooling.air.fan = {30, 28};
    cooling.air.fan_power_W = 12;
    CoolingPlant moving(pack, cooling);
    settings.cooling = std::ref(moving);
    const SimulationResult result = simulate(pack, load, settings);
    REQUIRE(still_degC > 32);
    CHECK(result.hottest_degC < still_degC - 1);
    const CoolingTrace& trace = moving.trace();
    double on_s = 0;
    int switched = 0;
    for (std::size_t k = 1; k < trace.time_s.size(); ++k) {
        on_s += trace.flowing[k - 1] * (trace.time_s[k] - trace.time_s[k - 1]);
        switched += trace.flowing[k] != trace.flowing[k - 1] ? 1 : 0;
    }
    CHECK(switched >= 1);
    CHECK(trace.electric_J == Approx(12 * on_s));
    CHECK(trace.from_cells_J == Approx(result.balance.to_ambient_J).epsilon(1e-9));
}

TEST_CASE("air that warms on its way makes the last group the hottest") {
    Pack pack = steady_pack(1, 6);
    pack.modules[0].group_link_W_per_K = 0;
    CoolingSettings cooling;
    cooling.air.fan = {-100, -200};  // always on
    cooling.air.flow_W_per_K = 8;
    CoolingPlant plant(pack, cooling);
    SimulationSettings settings = half_full(25);
    settings.cooling = std::ref(plant);
    const SimulationResult result = simulate(pack, warming_load(60, 14400), settings);
    CHECK(result.hottest_cell == 5);
    // Steady: each cell warms the air by its heat over 8 W/K; the last sees five and a half.
    const std::size_t last = result.size() - 1;
    const double heat_W = result.balance.heat_J / 14400 / 6;
    const double rise_K = result.group_core_degC[last * 6 + 5] - result.group_core_degC[last * 6];
    CHECK(rise_K == Approx(5 * heat_W / 8).epsilon(0.03));
}

TEST_CASE("the books of a liquid loop close, and its radiator meets the steady state") {
    const Pack pack = steady_pack(2, 6);
    CoolingSettings cooling;
    cooling.kind = CoolingKind::liquid;
    cooling.air_temperature.degC = {20};
    LiquidLoop& loop = cooling.liquid;
    loop.start_degC = 20;
    loop.pump = {-100, -200};
    loop.flow_W_per_K = 300;
    loop.heat_capacity_J_per_K = 5000;
    loop.radiator.conductance_W_per_K = 40;
    loop.radiator.air_W_per_K = 100;
    loop.radiator.fan = {-100, -200};
    loop.drive_loss_share = 0.05;
    loop.charger_loss_share = 0.03;
    CoolingPlant plant(pack, cooling);
    SimulationSettings settings = half_full(20);
    settings.cooling = std::ref(plant);
    const SimulationResult result = simulate(pack, warming_load(100, 14400), settings);
    const CoolingTrace& trace = plant.trace();
    CHECK(trace.from_cells_J == Approx(result.balance.to_ambient_J).epsilon(1e-9));
    CHECK(trace.from_cells_J + trace.from_drive_J + trace.from_heater_J ==
          Approx(trace.to_radiator_J + trace.to_chiller_J + trace.kept_J).epsilon(1e-9));
    CHECK(trace.from_drive_J > 0);
    // Steady: heat over e C_min, the mean of the second half.
    CoolingPlant until_then(pack, cooling);
    settings.cooling = std::ref(until_then);
    (void)simulate(pack, warming_load(100, 7200), settings);
    const double carried = 100 * cross_flow_effectiveness(40.0 / 100, 100.0 / 300);
    double mean_degC = 0;
    double count = 0;
    for (std::size_t k = 0; k < trace.time_s.size(); ++k) {
        if (trace.time_s[k] < 7200) continue;
        mean_degC += trace.coolant_degC[k];
        count += 1;
    }
    mean_degC /= count;
    const double heat_W = (trace.to_radiator_J - until_then.trace().to_radiator_J) / 7200;
    CHECK(mean_degC == Approx(20 + heat_W / carried).margin(0.01 * heat_W / carried));
}

TEST_CASE("a chiller keeps the window on a hot day where the radiator cannot") {
    const Pack pack = made_pack(1, 6, 1);
    CoolingSettings cooling;
    cooling.kind = CoolingKind::liquid;
    cooling.air_temperature = {{0, 7200, 14400}, {32, 42, 38}};
    LiquidLoop& loop = cooling.liquid;
    loop.start_degC = 30;
    loop.heat_capacity_J_per_K = 4000;
    loop.radiator.conductance_W_per_K = 60;
    const auto load = warming_load(100, 14400);
    SimulationSettings settings = half_full(30);
    CoolingPlant warm(pack, cooling);
    settings.cooling = std::ref(warm);
    const WindowAnswer without = temperature_window(simulate(pack, load, settings), 0, 40);
    CHECK_FALSE(without.kept);
    CHECK(without.above_s > 600);
    CHECK(without.first_left_s > 0);
    CHECK(without.below_s == 0);
    loop.chiller.power_W = 300;
    loop.radiator.fan = {};
    CoolingPlant cold(pack, cooling);
    settings.cooling = std::ref(cold);
    const WindowAnswer with = temperature_window(simulate(pack, load, settings), 0, 40);
    CHECK(with.kept);
    CHECK(with.first_left_s == -1);
    CHECK(with.hottest_degC < 40);
    CHECK(cold.trace().electric_J == Approx(cold.trace().to_chiller_J / 2.5));
}

TEST_CASE("the heater says how long to warm up before charging") {
    Pack pack = made_pack(1, 6, 1);
    CoolingSettings cooling;
    cooling.kind = CoolingKind::liquid;
    cooling.air_temperature.degC = {-10};
    LiquidLoop& loop = cooling.liquid;
    loop.start_degC = -10;
    loop.heat_capacity_J_per_K = 2000;
    loop.heater.power_W = 200;
    loop.heater.element = {5, 12};
    const SimulationSettings settings = half_full(-10);
    const WarmUp answer = warm_up(pack, cooling, settings, 5);
    CHECK(answer.reached);
    // At least the heat that cells and coolant need for 15 K: (6 * 900 + 2000) * 15 / 200 s.
    CHECK(answer.time_s > 7400.0 * 15 / 200 * 0.95);
    CHECK(answer.time_s < 7400.0 * 15 / 200 * 2);
    CHECK(answer.coldest_degC == Approx(5).margin(1e-3));
    CHECK(answer.electric_J == Approx(200 * answer.time_s).epsilon(0.01));
    loop.heater.power_W = 0;
    const WarmUp never = warm_up(pack, cooling, settings, 5, 3600);
    CHECK_FALSE(never.reached);
    CHECK(never.time_s == 3600);
}

TEST_CASE("cooling that cannot be is named") {
    const Pack pack = made_pack(1, 2, 1);
    const auto told = [&](const std::function<void(CoolingSettings&)>& change) {
        CoolingSettings cooling;
        cooling.kind = CoolingKind::liquid;
        change(cooling);
        return error_text([&] { (void)CoolingPlant(pack, cooling); });
    };
    CHECK(told([](auto&) {}).empty());
    CHECK(told([](auto& c) { c.liquid.flow_W_per_K = 0; }) ==
          "liquid.flow_W_per_K: 0 is outside 0.001 .. 1e+07");
    CHECK(told([](auto& c) {
              c.air_temperature = {{0, 0}, {1, 2}};
          }) == "air_temperature.time_s[1]: 0 must be above 0");
    CHECK_THAT(told([](auto& c) {
                   c.air_temperature = {{0}, {}};
               }),
               Catch::StartsWith("air_temperature: has 1 times and 0 temperatures"));
    CHECK(told([](auto& c) { c.liquid.heater.power_W = NAN; }) ==
          "liquid.heater.power_W: nan is outside 0 .. 1e+07");
    CoolingPlant other(made_pack(1, 3, 1), {});
    SimulationSettings settings;
    settings.cooling = std::ref(other);
    CHECK_THAT(error_text([&] { (void)simulate(pack, {current_load(0, 1)}, settings); }),
               Catch::StartsWith("cooling: is for 3 modelled cells, the run has 2"));
}

TEST_CASE("who pays for the plant: the books of the pack have it, or not") {
    const Pack pack = steady_pack(2, 6);
    CoolingSettings cooling;
    cooling.kind = CoolingKind::liquid;
    cooling.air_temperature.degC = {28};
    LiquidLoop& loop = cooling.liquid;
    loop.start_degC = 28;
    loop.heat_capacity_J_per_K = 4000;
    loop.pump_power_W = 20;
    loop.radiator.conductance_W_per_K = 60;
    loop.radiator.fan_power_W = 15;
    loop.chiller.power_W = 200;
    std::vector<LoadStep> load;
    for (int k = 0; k < 40; ++k) {
        load.push_back(power_load(-2500, 60));
        load.push_back(current_load(60, 60));
        load.push_back(resistance_load(0.5, 30));
        LoadStep limited = current_load(400, 60);
        limited.voltage_max_V = 6 * 3.7;
        load.push_back(limited);
        load.push_back(voltage_load(6 * 3.6, 10));
    }
    SimulationSettings settings = half_full(28);
    for (const CoolingSupply supply : {CoolingSupply::pack, CoolingSupply::outside}) {
        cooling.supply = supply;
        CoolingPlant plant(pack, cooling);
        settings.cooling = std::ref(plant);
        const SimulationResult result = simulate(pack, load, settings);
        const EnergyBalance& sum = result.balance;
        const bool by_pack = supply == CoolingSupply::pack;
        CAPTURE(by_pack);
        CHECK(result.events.empty());
        REQUIRE(plant.trace().electric_J > 1e5);
        CHECK(sum.plant_J ==
              Approx(by_pack ? plant.trace().electric_J : 0.0).epsilon(1e-9).margin(1e-12));
        const double moved_J = std::abs(sum.stored_J) + sum.overvoltage_J + sum.joint_J;
        CHECK(std::abs(sum.electric_error_J()) < 1e-9 * moved_J);
        CHECK(std::abs(sum.heat_error_J()) < 1e-9 * std::abs(sum.heat_J));
        CHECK(sum.charge_error_Ah < 1e-9);
        CHECK(*std::max_element(result.plant_power_W.begin(), result.plant_power_W.end()) ==
              (by_pack ? Approx(100) : Approx(0)));  // pump and compressor
        CHECK((result_columns(result)[4].first == "plant_power_W") == by_pack);
    }
}

TEST_CASE("at every instant load and plant add up at the terminals") {
    const Pack pack = steady_pack(2, 4);
    const double plant_W = 300;
    SimulationSettings settings = half_full(25);
    settings.output_interval_s = 0;
    settings.cooling = [&](const CoolingStep& step) {
        CHECK(step.connected);
        step.pack_power_W = plant_W;
    };
    LoadStep charge = current_load(300, 20);
    charge.voltage_max_V = 14.9;
    LoadStep starved = current_load(-400, 20);
    starved.group_voltage_min_V = 3.6;
    LoadStep full = current_load(100, 20);
    full.voltage_max_V = 14;
    const SimulationResult result =
        simulate(pack,
                 {current_load(-40, 20), power_load(900, 20), resistance_load(0.4, 20), charge,
                  starved, current_load(0, 20), voltage_load(14.7, 20), full},
                 settings);
    REQUIRE(result.size() == 9);
    CHECK(result.events.empty());
    const auto load_A = [&](std::size_t row) {
        return result.current_A[row] + plant_W / result.voltage_V[row];
    };
    CHECK(load_A(1) == Approx(-40).epsilon(1e-12));
    CHECK(load_A(2) * result.voltage_V[2] == Approx(900).epsilon(1e-12));
    CHECK(load_A(3) == Approx(-result.voltage_V[3] / 0.4).epsilon(1e-12));
    CHECK(result.voltage_V[4] == Approx(14.9).epsilon(1e-12));
    CHECK(load_A(4) > 0);
    CHECK(result.group_voltage_min_V[5] == Approx(3.6).epsilon(1e-12));
    CHECK(load_A(5) < 0);
    CHECK(load_A(6) == Approx(0).margin(1e-10));
    CHECK(result.voltage_V[7] == Approx(14.7).epsilon(1e-12));
    // Above its limit already: no charge, and the plant goes on.
    CHECK(load_A(8) == Approx(0).margin(1e-10));
    CHECK(result.balance.plant_J == Approx(300 * 160).epsilon(1e-12));
}

TEST_CASE("a plant that asks for more than the pack has ends the run") {
    Pack pack = steady_pack(1, 2);
    SimulationSettings settings = half_full(25);
    settings.cooling = [](const CoolingStep& step) {
        step.pack_power_W = step.time_s < 5 ? 100 : 1e5;
    };
    const SimulationResult result = simulate(pack, {current_load(1, 20)}, settings);
    REQUIRE(result.events.size() == 1);
    CHECK(result.events[0].kind == SimulationEventKind::power_not_available);
    CHECK(result.events[0].time_s == Approx(5).margin(1e-3));
    settings.cooling = [](const CoolingStep& step) { step.pack_power_W = -1; };
    CHECK_THAT(error_text([&] { (void)simulate(pack, {current_load(1, 20)}, settings); }),
               Catch::StartsWith("cooling: pack_power_W: -1 is outside 0 .. "));
}

TEST_CASE("with every string open only an outside supply feeds the plant") {
    const Pack pack = steady_pack(1, 4);
    CoolingSettings cooling;
    cooling.kind = CoolingKind::liquid;
    cooling.liquid.pump_power_W = 30;
    cooling.liquid.pump = {-100, -200};
    LoadStep open = current_load(0, 100.5);
    open.closed = {false};
    LoadStep closed = current_load(-5, 99.5);
    closed.closed = {true};
    SimulationSettings settings = half_full(25);
    for (const CoolingSupply supply : {CoolingSupply::pack, CoolingSupply::outside}) {
        cooling.supply = supply;
        CoolingPlant plant(pack, cooling);
        settings.cooling = std::ref(plant);
        const SimulationResult result = simulate(pack, {closed, open, closed}, settings);
        const double on_s = supply == CoolingSupply::pack ? 199 : 299.5;
        CHECK(plant.trace().flow_use.on_s == Approx(on_s).epsilon(1e-12));
        CHECK(plant.trace().electric_J == Approx(30 * on_s).epsilon(1e-12));
        CHECK(result.balance.plant_J ==
              Approx(supply == CoolingSupply::pack ? 30 * on_s : 0).epsilon(1e-12));
    }
}

// What balancing gains and costs, by hand and against the simulator.

#include <catch2/catch.hpp>
#include <cmath>
#include <functional>
#include <string>

#include "support/made_pack.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/simulate/balancing.hpp"

using namespace voltkeel;
using voltkeel_test::made_pack;

TEST_CASE("a string gives what its emptiest and its fullest group let it") {
    Pack pack = made_pack(1, 3, 2);
    pack.bleed = BleedResistors{33, 0.5};
    SimulationSettings settings;
    settings.soc = 0.5;
    // Groups of 100, 95 and 100 Ah at 50, 54 and 48 %.
    settings.differences.capacity_factor = {1, 1, 0.95, 0.95, 1, 1};
    settings.differences.soc_offset = {0, 0, 0.04, 0.04, -0.02, -0.02};
    const auto all = balancing_outlook(pack, start_state(pack, settings), settings.differences);
    REQUIRE(all.size() == 1);
    const BalancingOutlook& port = all[0];
    // Least held 48 Ah, least room 95 * 0.46 = 43.7 Ah.
    CHECK(port.usable_Ah == Approx(48 + 43.7));
    CHECK(port.balanced_Ah == Approx(95));
    CHECK(port.gain_Ah == Approx(3.3));
    // Headrooms 50, 43.7 and 52 Ah.
    CHECK(port.group_bleed_Ah[0] == Approx(2));
    CHECK(port.group_bleed_Ah[1] == Approx(8.3));
    CHECK(port.group_bleed_Ah[2] == Approx(0).margin(1e-12));
    CHECK(port.bleed_Ah == Approx(10.3));
    const double middle_V = port.hottest_W > 0 ? std::sqrt(port.hottest_W * 33) : 0;
    CHECK(middle_V > 3.5);
    CHECK(port.time_s == Approx(8.3 * 3600 / (0.5 * middle_V / 33)));
}

TEST_CASE("balancing time is that of the handbook") {
    // Web handbook batterydesign.net (passive balancing): delta SOC * Q / I; 33 ohm at 4.1 V pass
    // 124 mA and make 0.51 W, so 1 % of 50 Ah takes 4.02 h.
    Pack pack = made_pack(1, 2, 1);
    pack.bleed = BleedResistors{33, 1};
    Cell& cell = pack.modules[0].cell;
    cell.ocv.soc = {0, 1};
    cell.ocv.discharge_V = cell.ocv.charge_V = {4.0999, 4.1001};
    cell.ocv.voltage_std_V = {0, 0};
    cell.ocv.entropy_V_per_K = {};
    SimulationSettings settings;
    settings.soc = 0.5;
    settings.differences.soc_offset = {0.01, 0};
    const auto all = balancing_outlook(pack, start_state(pack, settings));
    CHECK(all[0].time_s / 3600 == Approx(0.5 / 0.12424).epsilon(1e-3));
    CHECK(all[0].hottest_W == Approx(0.51).epsilon(2e-3));
    // 0.2 mV over all of the SOC: the monitor sees nothing.
    CHECK(all[0].resolved_share == 0);
    CHECK(all[0].threshold_soc == Approx(0.005 / 2e-4).epsilon(1e-6));
}

TEST_CASE("a string that was bled as told is full everywhere at once") {
    Pack pack = made_pack(1, 4, 2);
    pack.bleed = BleedResistors{33, 1};
    SpreadSettings spread{3, 0.02, 0, 0.02, 0, 0, 0, 3};
    SimulationSettings settings;
    settings.soc = 0.5;
    settings.heat = false;
    settings.differences = draw_differences(pack, spread);
    PackState state = start_state(pack, settings);
    const BalancingOutlook before = balancing_outlook(pack, state, settings.differences)[0];
    REQUIRE(before.gain_Ah > 0.1);
    for (std::size_t k = 0; k < state.soc.size(); ++k) {
        const std::size_t group = k / 2;
        const double capacity_Ah = 50 * (settings.differences.capacity_factor[2 * group] +
                                         settings.differences.capacity_factor[2 * group + 1]);
        state.soc[k] -= before.group_bleed_Ah[group] / capacity_Ah;
    }
    const BalancingOutlook after = balancing_outlook(pack, state, settings.differences)[0];
    CHECK(after.gain_Ah == Approx(0).margin(1e-9));
    CHECK(after.bleed_Ah == Approx(0).margin(1e-9));
    CHECK(after.balanced_Ah == Approx(before.balanced_Ah));
    // And the simulator brings all groups to full within a hair.
    settings.start = state;
    settings.cut_off.voltage = false;
    settings.cut_off.soc_max = 0.999;
    const SimulationResult run = simulate(pack, {current_load(5, 1e5)}, settings);
    for (std::size_t g = 0; g < 4; ++g)
        CHECK(run.group_soc[(run.size() - 1) * 4 + g] > 0.97);
}

TEST_CASE("what cannot be looked at is named") {
    const Pack pack = made_pack(1, 2, 1);
    const auto told = [](const std::function<void()>& work) {
        try {
            work();
        } catch (const Error& error) {
            return std::string(error.what());
        }
        return std::string();
    };
    CHECK(told([&] { (void)balancing_outlook(pack, {}); }) == "state: has 0 cells, the pack has 2");
    CHECK(told([&] {
              (void)balancing_outlook(pack, start_state(pack), {}, {-1, 0.003, 0.02});
          }) == "threshold_V: -1 is outside 0 .. 1");
}

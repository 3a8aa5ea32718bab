// The limits of a pack, held in the simulated pack: the group that decides comes to the end of its
// window, no other one passes it, where the voltage of a group is measured behind the links of its
// cells.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdint>
#include <random>
#include <vector>

#include "support/made_pack.hpp"
#include "support/scalars.hpp"
#include "support/seed.hpp"
#include "voltkeel/io/pack_limits.hpp"
#include "voltkeel/simulate/simulate.hpp"

namespace {

using voltkeel::GroupState;
using voltkeel::Pack;
using voltkeel::PackDirectionLimit;

/// Nothing kept back: what the model says.
voltkeel::PackLimitSettings<double> plain() {
    voltkeel::PackLimitSettings<double> settings;
    settings.sigmas = 0;
    settings.every_group = true;
    settings.search = {};
    settings.search.current_tolerance = 1e-4;
    settings.search.warmth_lag_s = 0;
    settings.search.low_soc_margin = 0;
    return settings;
}

}  // namespace

TEST_CASE("a pack held at its limit meets the window where its groups are measured",
          "[limits][pack][property]") {
    const std::uint64_t seed = voltkeel_test::seed();
    int by_voltage = 0;
    double worst_off_V = 0;
    for (int run = 0; run < VOLTKEEL_CASES(60, 15); ++run) {
        std::mt19937_64 random(seed + 104729 * static_cast<std::uint64_t>(run));
        const auto between = [&](double low, double high) {
            return std::uniform_real_distribution<double>(low, high)(random);
        };
        const auto count = [&](int low, int high) {
            return std::uniform_int_distribution<int>(low, high)(random);
        };
        const int series = count(2, 6);
        const int parallel = count(1, 4);
        Pack pack = voltkeel_test::made_pack(1, series, parallel);
        // Up to twice the cell's own resistance.
        pack.modules[0].cell_link_ohm = run % 4 == 0 ? 0.0 : between(0, 5e-3);
        pack.modules[0].group_link_W_per_K = 0;
        const double degC = between(5, 35);
        const double soc = between(0.1, 0.9);
        std::vector<GroupState> groups(static_cast<std::size_t>(series));
        voltkeel::SimulationSettings settings;
        settings.soc = soc;
        settings.temperature_degC = degC;
        for (GroupState& group : groups) {
            group.state.soc = soc + between(-0.05, 0.05);
            group.state.temperature_degC = degC;
            group.state.resistance_scale = between(0.8, 1.5);
            for (int cell = 0; cell < parallel; ++cell) {
                settings.differences.soc_offset.push_back(group.state.soc - soc);
                settings.differences.resistance_factor.push_back(group.state.resistance_scale);
            }
        }
        const double horizon_s = run % 2 == 0 ? 10 : 30;
        settings.output_interval_s = horizon_s / 200;  // a cell that warms may be worst on the way
        const auto limit = voltkeel::pack_limits(pack, groups, {horizon_s}, {}, plain()).front();
        const auto& window = pack.modules[0].cell.window;
        for (const bool charging : {true, false}) {
            const PackDirectionLimit<double>& way = charging ? limit.charge : limit.discharge;
            const auto load = voltkeel::current_load(way.current_A, horizon_s);
            const auto truth = voltkeel::simulate(pack, {load}, settings);
            const auto& seen_V = charging ? truth.group_voltage_max_V : truth.group_voltage_min_V;
            const double worst_V = charging ? *std::max_element(seen_V.begin(), seen_V.end())
                                            : *std::min_element(seen_V.begin(), seen_V.end());
            const double bound_V = charging ? window.voltage_max_V : window.voltage_min_V;
            const double over_V = charging ? worst_V - bound_V : bound_V - worst_V;
            CAPTURE(seed, run, charging, series, parallel, soc, degC, pack.modules[0].cell_link_ohm,
                    way.current_A, way.binding_value, worst_V);
            CHECK(over_V < 1e-3);
            if (way.reason != voltkeel::LimitReason::voltage) continue;
            ++by_voltage;
            worst_off_V = std::max(worst_off_V, std::abs(over_V));
            CHECK(over_V > -2e-3);
        }
    }
    CAPTURE(worst_off_V);
    CHECK(by_voltage > VOLTKEEL_CASES(60, 12));
}

// A workboat pulls a barge off the mud: what its pack allows, second by second. The limits of all
// groups are found anew at every tick, an older group decides, a tracker uses up the ten-second
// pulse and lets it recover, and the torque of the drive follows. Boat, pack and drive are
// invented; the simulated groups stand for the pack. Run from the top of the source tree;
// examples/09_pull_off.py is the same in Python.
//
// Caution: this is no protection. Hardware that opens the contactors on voltage, current and
// temperature, the cell maker's data sheet, local codes and qualified people come first.
#include <cstddef>
#include <cstdio>
#include <string>
#include <vector>

#include "voltkeel/cell/model.hpp"
#include "voltkeel/io/pack_file.hpp"
#include "voltkeel/io/pack_limits.hpp"
#include "voltkeel/limits/tracker.hpp"

using namespace voltkeel;

int main() {
    constexpr double degC = 4;
    constexpr double shaft_rad_s = 60;
    const Pack pack = load_pack("examples/invented_pack.json");
    const CellTables<double, 2> tables(pack.modules[0].cell);
    const auto cell = tables.parameters();
    // Both strings are alike and share evenly.
    const double parallel =
        pack.modules[0].layout.parallel * static_cast<double>(pack.strings.size());

    std::vector<CellState<double, 2>> groups(static_cast<std::size_t>(group_count(pack)));
    for (std::size_t g = 0; g < groups.size(); ++g) {
        groups[g].soc = 0.11 + 0.002 * static_cast<double>(g % 4);
        groups[g].resistance_scale = g == 9 ? 1.35 : 1.1;
    }
    LimitTracker<double> tracker;
    TrackerSettings<double> settings;
    settings.opening_time_s = 4;
    if (tracker.set(settings) != Status::ok) return 1;
    TorqueDrive<double> drive;
    drive.torque_max_Nm = 180;
    drive.efficiency = 0.88;
    drive.regeneration_efficiency = 0.8;
    drive.auxiliary_W = 250;

    std::printf("  s  10 s found A  told A  pulls A  used %%  motoring Nm  found because\n");
    double current_A = 0;
    for (int second = 0; second <= 80; ++second) {
        std::vector<GroupState> known;
        for (const CellState<double, 2>& group : groups) {
            GroupState state;
            state.state.soc = group.soc;
            state.state.soc_std = 0.01;
            state.state.branch_V.assign(group.branch_V, group.branch_V + 2);
            state.state.hysteresis = group.hysteresis;
            state.state.resistance_scale = group.resistance_scale;
            state.state.temperature_degC = degC;
            state.resistance_log_std = 0.03;
            known.push_back(state);
        }
        const auto found = pack_limits(pack, known);
        PackHorizonLimit<double> told[4];
        if (tracker.update(found.data(), 4, current_A, 1, told) != Status::ok) return 2;
        const PackDirectionLimit<double>& limit = told[1].discharge;
        const TorqueLimit<double> torque =
            torque_limits(drive, told[1].charge.power_W, limit.power_W, shaft_rad_s, nullptr);
        const bool pulls = (second >= 5 && second < 25) || second >= 70;
        current_A = pulls ? limit.current_A : 0.1 * limit.current_A;
        if (second % 5 == 0) {
            const PackDirectionLimit<double>& why = found[1].discharge;
            const std::string group = why.group >= 0 ? ", group " + std::to_string(why.group) : "";
            std::printf("%3d  %12.1f %7.1f %8.1f  %6.1f  %11.1f  %s%s\n", second, why.current_A,
                        limit.current_A, current_A, 100 * tracker.discharge_used(1),
                        torque.motoring_Nm, message(why.reason), group.c_str());
        }
        for (CellState<double, 2>& group : groups)
            step(cell, {current_A / parallel, 1, degC}, group);
    }
}

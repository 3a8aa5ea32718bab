// An afternoon's log has the voltage of every group of a string, two cells each: one group was put
// in half charged, one has aged, and half-way a wire of the monitor comes loose. Which group is the
// weakest, how sure is that, and what may the string still give? Cell, string and load are
// invented. Run from the top of the source tree; examples/12_groups_of_a_log.py is the same in
// Python.
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <limits>
#include <vector>

#include "voltkeel/io/cell_file.hpp"
#include "voltkeel/io/group_replay.hpp"
#include "voltkeel/simulate/simulate.hpp"

using namespace voltkeel;

int main() {
    const Cell cell = load_cell("examples/invented_cell.json");
    const Pack pack = single_string_pack("launch", "invented_cell.json", cell, {8, 2});
    SimulationSettings settings;
    settings.soc = 0.85;
    settings.heat = false;
    for (int k = 0; k < 16; ++k) {  // cell by cell, two in each group
        settings.differences.soc_offset.push_back(k / 2 == 2 ? -0.05 : 0);
        settings.differences.resistance_factor.push_back(k / 2 == 5 ? 1.3 : 1);
    }
    std::vector<LoadStep> load;
    for (int second = 0; second < 3600; ++second) {
        const int at = second % 60;
        load.push_back(current_load(at < 25 ? -16 : (at < 45 ? -2 : 6), 1));
    }
    const SimulationResult run = simulate(pack, load, settings);

    // The monitor writes millivolts, and nothing for the group whose wire is loose.
    const std::filesystem::path path = "build/invented_groups_cpp.csv";
    std::filesystem::create_directories(path.parent_path());
    {
        std::ofstream file(path);
        file << "time_s,current_A,temperature_degC";
        for (int k = 0; k < 8; ++k)
            file << ",U" << k + 1 << " (mV)";
        file << "\n";
        for (std::size_t row = 0; row < run.size(); ++row) {
            char text[64];
            std::snprintf(text, sizeof text, "%.0f,%.3f,25.0", run.time_s[row], run.current_A[row]);
            file << text;
            for (std::size_t k = 0; k < 8; ++k) {
                std::snprintf(text, sizeof text, ",%.0f", 1e3 * run.group_voltage_V[8 * row + k]);
                file << (k == 6 && run.time_s[row] > 1800 ? "," : text);
            }
            file << "\n";
        }
    }

    LogReadSettings reading;
    reading.columns.voltage = "U{} (mV)";
    reading.units.voltage = "mV";
    const GroupLog log = read_group_log(path, reading).log;
    const GroupTrace trace = replay_groups(pack, log);
    std::printf("%zu rows, %zu groups, voltages looked at %zu times\n", log.size(), log.groups,
                trace.looked);
    std::printf("group   SOC %%  +- (95 %%)  true %%  resistance x  not used %%\n");
    std::size_t low = 0;
    std::size_t high = 0;
    for (std::size_t k = 0; k < 8; ++k) {
        const ModelState& state = trace.end[k].state;
        if (state.soc < trace.end[low].state.soc) low = k;
        if (state.soc > trace.end[high].state.soc) high = k;
        std::printf(
            "%5d  %6.1f  %9.1f  %6.1f  %12.2f  %10.0f\n", trace.first_number + static_cast<int>(k),
            100 * state.soc, 196 * state.soc_std, 100 * run.group_soc[8 * (run.size() - 1) + k],
            state.resistance_scale,
            100 * static_cast<double>(trace.coasted[k]) / static_cast<double>(trace.looked));
    }
    std::printf("weakest %d, fullest %d: %.1f points\n", trace.first_number + static_cast<int>(low),
                trace.first_number + static_cast<int>(high),
                100 * (trace.end[high].state.soc - trace.end[low].state.soc));
    for (const auto& limit :
         pack_limits(pack, trace.end, {10, std::numeric_limits<double>::infinity()})) {
        if (std::isinf(limit.horizon_s)) {
            std::printf("for ever: ");
        } else {
            std::printf("for %.0f s: ", limit.horizon_s);
        }
        std::printf("%.1f A (%s, group %d)\n", limit.discharge.current_A,
                    message(limit.discharge.reason), trace.first_number + limit.discharge.group);
    }
}

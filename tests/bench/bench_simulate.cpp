// Speed of the pack simulator: the hour of a 96-group pack of two strings, and how cost grows with
// the number of groups. Packs and loads are invented; times are of the processor.

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <ctime>

#include "../support/made_pack.hpp"
#include "voltkeel/cell/model.hpp"
#include "voltkeel/simulate/simulate.hpp"

using namespace voltkeel;

namespace {

double run_s(const Pack& pack, const std::vector<LoadStep>& load,
             const SimulationSettings& settings, SimulationResult& result) {
    // Of the processor, so that a busy machine tells the same.
    const std::clock_t start = std::clock();
    result = simulate(pack, load, settings);
    return static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC;
}

std::vector<LoadStep> harbour_load(double capacity_Ah, int rows) {
    std::vector<LoadStep> load;
    for (int k = 0; k < rows; ++k) {
        const double t = 0.1 * k;
        load.push_back(current_load(
            capacity_Ah * (-0.5 + 0.6 * std::sin(t / 7) + 0.3 * std::sin(t / 1.3)), 0.1));
    }
    return load;
}

}  // namespace

int main() {
    SimulationResult result;
    SimulationSettings settings;
    settings.soc = 0.9;
    settings.string_temperature_degC = {20, 27};
    for (const bool links : {false, true}) {
        Pack pack = voltkeel_test::made_pack(2, 96, 1);
        if (!links) pack.modules[0].group_link_W_per_K = 0;
        SpreadSettings spread{1, 0.02, 0.1, 0.01, 0, 0, 1, 3};
        settings.differences = draw_differences(pack, spread);
        const auto load = harbour_load(2 * pack.modules[0].cell.capacity_Ah, 36000);
        double best_s = 1e9;
        for (int k = 0; k < 3; ++k)
            best_s = std::min(best_s, run_s(pack, load, settings, result));
        std::printf(
            "96 groups, 2 strings, heat%s, 1 h at 10 Hz: %.2f s, %lld sub-steps, %.0f ns a "
            "cell and step\n",
            links ? " and neighbours" : "", best_s, static_cast<long long>(result.step_count),
            1e9 * best_s / (192.0 * static_cast<double>(result.step_count)));
    }
    {
        const CellTables<double, 2> tables(voltkeel_test::made_cell());
        const CellParameters<double, 2> cell = tables.parameters();
        std::vector<CellState<double, 2>> states(192);
        double best_s = 1e9;
        const int rounds = 20000;
        for (int run = 0; run < 5; ++run) {
            for (CellState<double, 2>& state : states)
                state = {};
            const std::clock_t start = std::clock();
            for (int k = 0; k < rounds; ++k) {
                for (CellState<double, 2>& state : states)
                    step(cell, {k % 2 == 0 ? -30.0 : 29.0, 0.1, 21.3}, state);
            }
            best_s = std::min(best_s, static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC);
        }
        std::printf("\nexact step, 2 branches, table parameters: %.1f ns a cell (SOC %.4f)\n",
                    1e9 * best_s / (192.0 * rounds), states[0].soc);
    }
    std::printf("\n  groups   rows at 1 Hz       s   ns a group and row\n");
    for (const int groups : {10, 100, 1000, 10000}) {
        const Pack pack = voltkeel_test::made_pack(1, groups, 1);
        SimulationSettings plain;
        plain.soc = 0.9;
        plain.record_groups = false;
        const int rows = std::max(300, 600000 / groups);
        std::vector<LoadStep> load;
        for (int k = 0; k < rows; ++k)
            load.push_back(
                current_load(pack.modules[0].cell.capacity_Ah * 0.5 * std::sin(0.1 * k), 1));
        const double took_s = run_s(pack, load, plain, result);
        std::printf("%8d %14d %7.3f %20.0f\n", groups, rows, took_s,
                    1e9 * took_s / (static_cast<double>(rows) * groups));
    }
    return 0;
}

// A controller is reset while its machine is at work on a cold morning, and nothing is stored. What
// becomes of a SOC that somebody remembers, 20 points too high, or of none at all, when the filter
// takes the pack as rested, and when it is told how the pack was used in the last five minutes?
// Cell and load are invented. Run from the top of the source tree; examples/14_start_in_use.py is
// the same in Python.
#include <cmath>
#include <cstdio>
#include <functional>
#include <utility>
#include <vector>

#include "voltkeel/estimate/soc_filter.hpp"
#include "voltkeel/io/cell_file.hpp"
#include "voltkeel/io/filter_settings.hpp"
#include "voltkeel/io/pack.hpp"
#include "voltkeel/simulate/simulate.hpp"

using namespace voltkeel;

int main() {
    constexpr double degC = 5;
    const Cell cell = load_cell("examples/invented_cell.json");
    const Pack pack = single_string_pack("loader", "invented_cell.json", cell, {1, 1});
    std::vector<LoadStep> load;
    for (int second = 0; second < 4500; ++second) {
        const int at = second % 60;
        load.push_back(current_load(at < 15 ? -14 : (at < 35 ? 0 : 1.5), 1));
    }
    SimulationSettings settings;
    settings.soc = 0.85;
    settings.temperature_degC = degC;
    settings.heat = false;
    const SimulationResult run = simulate(pack, load, settings);
    const std::vector<double>& current_A = run.current_A;
    const std::vector<double>& voltage_V = run.group_voltage_V;
    const std::vector<double>& truth = run.group_soc;

    constexpr std::size_t start = 3600;
    UseAround<double> use;
    double squares_A2 = 0;
    for (std::size_t k = start - 299; k <= start; ++k) {
        use.mean_current_A += current_A[k] / 300;
        squares_A2 += current_A[k] * current_A[k] / 300;
    }
    use.rms_current_A = std::sqrt(squares_A2);
    use.voltage_V = voltage_V[start];
    use.current_A = current_A[start];
    const double remembered = truth[start] + 0.2;

    const CellTables<double, 2> tables(cell);
    using Filter = SocFilter<double, 2>;
    const std::pair<const char*, std::function<Status(Filter&)>> starts[] = {
        {"remembered, taken as rested",
         [&](Filter& filter) { return filter.start(remembered, 0.1, degC); }},
        {"remembered, in use",
         [&](Filter& filter) { return filter.start_under_load(remembered, 0.1, use, degC); }},
        {"from one voltage",
         [&](Filter& filter) {
             return filter.start_from_voltage(use.voltage_V, use.current_A, degC);
         }},
        {"nothing remembered, in use",
         [&](Filter& filter) { return filter.start_under_load(0.5, 0.3, use, degC); }},
    };
    std::printf("SOC less the true one in points, and its standard deviation\n");
    std::printf("                                   at once       a minute    ten minutes later\n");
    for (const auto& [name, begin] : starts) {
        Filter filter;
        if (filter.configure(tables.parameters(), filter_settings(cell)) != Status::ok ||
            begin(filter) != Status::ok) {
            return 1;
        }
        std::printf("%-30s", name);
        for (std::size_t k = start; k <= start + 600; ++k) {
            if (k > start) filter.step({current_A[k], voltage_V[k], degC, 1});
            if (k - start != 0 && k - start != 60 && k - start != 600) continue;
            const SocEstimate<double>& estimate = filter.estimate();
            std::printf("   %+5.1f (%4.1f)", 100 * (estimate.soc - truth[k]),
                        100 * estimate.soc_std);
        }
        std::printf("\n");
    }
}

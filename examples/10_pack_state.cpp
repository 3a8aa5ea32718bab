// Eight groups in a row, one of them a little emptier and one with more resistance. Half-way one
// group's reading sticks and the current sensor falls silent for ten minutes: what does the pack
// still know of every group, and how sure is it? In the evening the state is stored; ten hours
// later another filter goes on from the bytes. Cell and load are invented. Run from the top of the
// source tree; examples/10_pack_state.py is the same in Python.
#include <cmath>
#include <cstdio>
#include <limits>
#include <memory>
#include <vector>

#include "voltkeel/estimate/pack_filter.hpp"
#include "voltkeel/estimate/sensor_checks.hpp"
#include "voltkeel/estimate/snapshot.hpp"
#include "voltkeel/io/cell_file.hpp"
#include "voltkeel/io/filter_settings.hpp"
#include "voltkeel/io/pack.hpp"
#include "voltkeel/simulate/simulate.hpp"

using namespace voltkeel;

int main() {
    const Cell cell = load_cell("examples/invented_cell.json");
    const Pack pack = single_string_pack("launch", "invented_cell.json", cell, {8, 1});
    SimulationSettings settings;
    settings.soc = 0.85;
    settings.heat = false;
    settings.differences.soc_offset = {0, 0, -0.04, 0, 0, 0, 0, 0};
    settings.differences.resistance_factor = {1, 1, 1, 1, 1, 1.3, 1, 1};
    std::vector<LoadStep> load;
    for (int minute = 0; minute < 60; ++minute) {
        for (int second = 0; second < 60; ++second) {
            const double current_A = second < 25 ? -8 : (second < 45 ? -1 : 3);
            load.push_back(current_load(current_A, 1));
        }
    }
    const SimulationResult run = simulate(pack, load, settings);

    const CellTables<double, 2> tables(cell);
    const auto filter = std::make_unique<PackFilter<double, 2, false, 8>>();
    PackFilterSettings<double> knobs;
    knobs.reference = filter_settings(cell);
    SensorChecks<double> checks;
    SensorCheckSettings<double> check_settings;
    check_settings.capacity_Ah = cell.capacity_Ah;
    if (filter->configure(tables.parameters(), 8, knobs) != Status::ok ||
        checks.configure(check_settings) != Status::ok ||
        filter->start(0.8, 0.1, 25) != Status::ok) {
        return 1;
    }
    double stuck_V = 0;
    for (std::size_t row = 0; row < run.size(); ++row) {
        std::vector<double> voltage_V(8);
        double sum_V = 0;
        for (std::size_t k = 0; k < 8; ++k) {
            voltage_V[k] = run.group_voltage_V[8 * row + k];
            sum_V += voltage_V[k];
        }
        if (run.time_s[row] < 1800) stuck_V = voltage_V[7];
        if (run.time_s[row] >= 1800) voltage_V[7] = stuck_V;
        const bool silent = run.time_s[row] >= 1800 && run.time_s[row] < 2400;
        SensorSample<double> readings;
        readings.time_us = time_us_of(run.time_s[row]);
        readings.current_A = silent ? std::numeric_limits<double>::quiet_NaN() : run.current_A[row];
        readings.voltage_V = sum_V / 8;
        const auto checked = checks.step(readings, model_view(filter->reference()));
        PackSample<double> sample;
        sample.current_A = checked.current_A;
        sample.current_std_A = checked.current_std_A;
        sample.temperature_degC = checked.temperature_degC;
        sample.dt_s = checked.dt_s;
        sample.voltage_V = voltage_V.data();
        (void)filter->step(sample);
        if (row != 1799 && row != 2390 && row != 3599) continue;
        std::printf("after %2.0f min, sensor faults %x\n", run.time_s[row] / 60,
                    static_cast<unsigned>(checked.fault_bits));
        for (int k : {0, 2, 5, 7}) {
            std::printf(
                "  group %d: %5.1f %% +- %4.1f (true %5.1f), resistance x %.2f, faults %x\n", k,
                100 * filter->soc(k), 196 * filter->soc_std(k),
                100 * run.group_soc[8 * row + static_cast<std::size_t>(k)],
                filter->resistance_scale(k), static_cast<unsigned>(filter->group_faults(k)));
        }
    }

    std::uint8_t bytes[snapshot_size<2, false, 8, false>];
    if (write_snapshot(*filter, {nullptr, nullptr, &checks}, bytes) != Status::ok) return 1;
    const auto morning = std::make_unique<PackFilter<double, 2, false, 8>>();
    TimeOff<double> night;
    night.off_s = 10 * 3600;
    night.temperature_degC = 12;
    night.no_current = true;
    if (morning->configure(tables.parameters(), 8, knobs) != Status::ok ||
        start_from_snapshot(bytes, static_cast<int>(sizeof bytes), night, *morning,
                            {nullptr, nullptr, &checks}) != Status::ok) {
        return 1;
    }
    std::printf("ten hours later, from what was stored\n");
    for (int k : {0, 2}) {
        std::printf("  group %d: %5.1f %% +- %4.1f\n", k, 100 * morning->soc(k),
                    196 * morning->soc_std(k));
    }
}

// A day's log in which sensors fail in turn: the current is missing for ten minutes, the wire of
// the thermistor is open for an hour, and the voltage reads 0.2 V too much for a while. What is
// named, and what becomes of the SOC when the filter takes the log as it stands, or the best that
// is known? Cell and day are invented. Run from the top of the source tree;
// examples/13_bad_sensors.py is the same in Python.
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <limits>
#include <utility>
#include <vector>

#include "voltkeel/io/cell_file.hpp"
#include "voltkeel/io/replay.hpp"
#include "voltkeel/simulate/simulate.hpp"

using namespace voltkeel;

int main() {
    const Cell cell = load_cell("examples/invented_cell.json");
    const Pack pack = single_string_pack("launch", "invented_cell.json", cell, {1, 1});
    SimulationSettings settings;
    settings.soc = 0.9;
    settings.heat = false;
    std::vector<LoadStep> load;
    for (int second = 0; second < 7200; ++second) {
        const int at = second % 60;
        load.push_back(current_load(at < 25 ? -8 : (at < 45 ? -1 : 3), 1));
    }
    const SimulationResult run = simulate(pack, load, settings);

    Log log{run.time_s, run.current_A, run.group_voltage_V, std::vector<double>(run.size(), 25),
            "launch"};
    const auto during = [&](double from_s, double to_s, auto spoil) {
        for (std::size_t k = 0; k < log.size(); ++k) {
            if (log.time_s[k] >= from_s && log.time_s[k] < to_s) spoil(k);
        }
    };
    during(1200, 4800, [&](std::size_t k) { log.temperature_degC[k] = -60; });
    during(2400, 3000, [&](std::size_t k) { log.voltage_V[k] += 0.2; });
    ReplaySettings replaying;
    replaying.initial_soc = 0.9;
    replaying.initial_soc_std = 0.02;
    const SocTrace as_it_stands = replay(cell, log, replaying);

    // Only a replay that replaces readings takes missing ones.
    during(4200, 4800,
           [&](std::size_t k) { log.current_A[k] = std::numeric_limits<double>::quiet_NaN(); });
    replaying.sensors.use = SensorUse::replaced;
    const SocTrace replaced = replay(cell, log, replaying);

    std::printf("bit  from s   to s  rows\n");
    for (const SeenSensorFault& fault : sensor_faults(replaced)) {
        std::printf("%6x  %5.0f  %5.0f  %4zu\n", fault.bit, fault.first_s, fault.last_s,
                    fault.rows);
    }
    for (const auto& [name, trace] :
         {std::pair{"as it stands", &as_it_stands}, std::pair{"best known", &replaced}}) {
        double largest = 0;
        double outside = 0;
        for (std::size_t k = 0; k < run.size(); ++k) {
            const double error = std::abs(trace->soc[k] - run.group_soc[k]);
            largest = std::max(largest, error);
            outside += error > 1.96 * trace->soc_std[k] ? 1 : 0;
        }
        std::printf("%s: largest error %.1f points, outside the 95 %% band %.0f %% of the time\n",
                    name, 100 * largest, 100 * outside / static_cast<double>(run.size()));
    }
    return 0;
}

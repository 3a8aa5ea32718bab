// Two strings of unequal temperature share a load, and only one of them has its groups measured:
// how far apart do they run, what do the sensors show, and may a string that was left out join
// again? The pack is invented. Run from the top of the source tree; examples/06_two_strings.py is
// the same in Python.
#include <algorithm>
#include <cmath>
#include <cstdio>

#include "voltkeel/io/pack_file.hpp"
#include "voltkeel/simulate/closing.hpp"
#include "voltkeel/simulate/sensors.hpp"
#include "voltkeel/simulate/simulate.hpp"

using namespace voltkeel;

int main() {
    const Pack pack = load_pack("examples/invented_pack.json");
    SpreadSettings spread;
    spread.seed = 7;
    spread.capacity_log_std = 0.02;
    spread.resistance_log_std = 0.1;
    SimulationSettings settings;
    settings.soc = 0.9;
    settings.string_temperature_degC = {8, 24};  // starboard lies beside the engine room
    settings.differences = draw_differences(pack, spread);
    settings.output_interval_s = 60;
    settings.record_cells = true;
    std::vector<LoadStep> load;
    for (int round = 0; round < 6; ++round) {
        load.push_back(power_load(-2500, 300));  // transit
        load.push_back(power_load(-300, 300));   // alongside
    }
    const SimulationResult run = simulate(pack, load, settings);

    std::printf("  min  port A  starboard A  port degC  starboard degC  port mV of spread\n");
    const auto readings = read_sensors(pack, run, {}, {{"port groups", SensorFaultKind::stuck, 3}});
    for (std::size_t row = 0; row < run.size(); row += 10) {
        double low_V = 1e9;
        double high_V = 0;
        for (std::size_t group = 0; group < 14; ++group) {
            low_V = std::min(low_V, run.group_voltage_V[row * 28 + group]);
            high_V = std::max(high_V, run.group_voltage_V[row * 28 + group]);
        }
        std::printf("%5.0f  %6.1f  %11.1f  %9.1f  %14.1f  %17.1f\n", run.time_s[row] / 60,
                    run.string_current_A[2 * row], run.string_current_A[2 * row + 1],
                    run.cell_core_degC[row * 112], run.cell_core_degC[row * 112 + 56],
                    1000 * (high_V - low_V));
    }
    const SensorReadings& groups = readings[2];
    const std::size_t last = groups.time_s.size() - 1;
    std::printf("group 3 stuck at %.3f V, truly %.3f V\n", groups.value[last * 14 + 3],
                groups.truth[last * 14 + 3]);
    const double share = run.balance.electric_error_J() / run.balance.terminal_J;
    std::printf("energy unaccounted for: %s\n", std::abs(share) < 1e-12 ? "none" : "some");

    // Starboard was left out for a while and stayed fuller.
    SimulationSettings apart;
    apart.string_soc = {0.60, 0.68};
    PackState state = start_state(pack, apart);
    state.closed = {true, false};
    const ClosingCheck check = check_closing(pack, state, "starboard");
    std::printf("closing starboard: %.2f V apart, %.1f A, limit %.0f A: %s\n", check.difference_V,
                check.current_A, check.limit_A, check.allowed ? "allowed" : "not allowed");
}

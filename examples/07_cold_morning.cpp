// A boat lies in the frost. How long does the heater of its own loop take before the pack may be
// charged, who pays for it, and does the pack then stay in its window while it is driven? Pack and
// plant are invented. Run from the top of the source tree; examples/07_cold_morning.py is the same
// in Python.
#include <algorithm>
#include <cstdio>
#include <functional>

#include "voltkeel/io/pack_file.hpp"
#include "voltkeel/simulate/cooling_file.hpp"

using namespace voltkeel;

int main() {
    const Pack pack = load_pack("examples/invented_pack.json");
    CoolingSettings cooling = load_cooling("examples/invented_cooling.json");
    const double air_degC = cooling.air_temperature.at(0);
    const TemperatureWindow needed = allowed_temperature(pack, true);
    SimulationSettings settings;
    settings.soc = 0.4;
    settings.temperature_degC = air_degC;
    settings.output_interval_s = 60;

    cooling.supply = CoolingSupply::outside;  // the boat lies at the quay
    const WarmUp warm = warm_up(pack, cooling, settings, needed.low_degC + 5);
    std::printf("air %.0f degC, charging from %.0f degC\n", air_degC, needed.low_degC);
    std::printf("warm by 5 K more after %.1f min and %.3f kWh\n", warm.time_s / 60,
                warm.electric_J / 3.6e6);

    cooling.supply = CoolingSupply::pack;  // and now it is under way
    CoolingPlant plant(pack, cooling);
    settings.cooling = std::ref(plant);
    const SimulationResult run =
        simulate(pack, {current_load(0, 1800), power_load(-900, 3600)}, settings);
    const CoolingTrace& trace = plant.trace();
    const WindowAnswer window = temperature_window(run, needed.low_degC, needed.high_degC);
    std::printf("below %.0f degC for %.1f min, above %.0f degC for %.1f min\n", needed.low_degC,
                window.below_s / 60, needed.high_degC, window.above_s / 60);
    std::printf("heater on %.1f min, coolant up to %.1f degC\n", trace.heater_use.on_s / 60,
                *std::max_element(trace.coolant_degC.begin(), trace.coolant_degC.end()));
    std::printf("load %.3f kWh, plant %.3f kWh, pack %.3f kWh\n",
                (run.balance.terminal_J + run.balance.plant_J) / 3.6e6, run.balance.plant_J / 3.6e6,
                run.balance.terminal_J / 3.6e6);
}

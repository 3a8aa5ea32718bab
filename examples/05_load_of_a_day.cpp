// What a shift in the harbour asks of the pack, and what going slower would save. Boat and shift
// are invented. Run from the top of the source tree; examples/05_load_of_a_day.py is the same in
// Python.
#include <algorithm>
#include <cstdio>
#include <variant>

#include "voltkeel/simulate/vehicle_file.hpp"

using namespace voltkeel;

int main() {
    const Boat boat = std::get<Boat>(load_vehicle("examples/invented_workboat.json"));
    const SpeedTrace shift = read_speed_trace("examples/harbour_shift.csv");
    const PropellerLoad load = propeller_load(boat, shift);
    std::printf("%.2f nautical miles in %.0f min\n", load.distance_m / 1852,
                shift.time_s.back() / 60);
    std::printf("pack %+.2f kWh, of it auxiliaries %.2f kWh\n", load.net_Wh / 1000,
                -load.auxiliary_Wh / 1000);
    std::printf("strongest discharge %.1f kW\n",
                *std::min_element(load.power_W.begin(), load.power_W.end()) / 1000);
    std::printf("   kn  pack kW  Wh per nautical mile\n");
    for (const int speed_kn : {3, 4, 5, 6, 7}) {
        const double speed_m_per_s = speed_kn * 1852.0 / 3600;
        const double power_W =
            -shaft_power_W(boat, speed_m_per_s) / boat.drive_efficiency - boat.auxiliary_power_W;
        std::printf("%5d  %7.2f  %20.0f\n", speed_kn, power_W / 1000, -power_W / speed_kn);
    }
}

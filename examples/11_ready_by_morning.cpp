// A workboat ties up at ten in the evening, one group fuller and one emptier than the rest, and
// leaves at half past six: what is the least current that is ready, what does the night cost, and
// how far will the boat go in the cold morning, with a headwind on the way? Boat, pack, quay and
// price are invented.
//
// Caution: this is no protection. Hardware that opens the contactors on voltage, current and
// temperature, the cell maker's data sheet, local codes and qualified people come first.
//
// examples/11_ready_by_morning.py is the same in Python.

#include <cstdio>
#include <vector>

#include "voltkeel/io/charge_plan_file.hpp"
#include "voltkeel/io/pack_charge.hpp"
#include "voltkeel/io/pack_energy.hpp"
#include "voltkeel/io/pack_file.hpp"
#include "voltkeel/io/supply_file.hpp"

using namespace voltkeel;

namespace {

constexpr double price_per_kWh = 0.35;

/// All groups alike, but group 3 fuller and group 9 emptier; the filter knows them to 1 %.
std::vector<GroupState> groups_at(const Pack& pack, double soc, double temperature_degC) {
    std::vector<GroupState> groups(static_cast<std::size_t>(group_count(pack)));
    for (GroupState& group : groups) {
        group.state.soc = soc;
        group.state.soc_std = 0.01;
        group.state.temperature_degC = temperature_degC;
    }
    groups[3].state.soc += 0.02;
    groups[9].state.soc -= 0.03;
    return groups;
}

void print(const char* name, const PackChargeOutlook& charge, double current_A) {
    const ChargeForecast<double>& f = charge.forecast;
    std::printf("%-16s %8.2f %10.2f h %8.2f to %.2f h %9.1f %% %9.3f kWh %6.2f\n", name, current_A,
                f.time_s / 3600, charge.earliest_s / 3600, charge.latest_s / 3600, 100 * f.end_soc,
                f.socket_energy_Wh / 1e3, charge_cost(f, price_per_kWh));
}

}  // namespace

int main() {
    const Pack pack = load_pack("examples/invented_pack.json");
    const ChargePlan<double> plan =
        plan_for(load_charge_plan("data/plan/nmc_nca.json"), pack.modules.front().cell.capacity_Ah);
    const std::vector<GroupState> evening = groups_at(pack, 0.25, 12);
    ChargeCase at_the_quay;
    at_the_quay.ambient_degC = 12;
    at_the_quay.supply = PackSupply{load_supply("examples/invented_shore_supply.json").supply};
    std::printf(
        "charge           A a cell  ready after         95 %% band  fullest at  from socket   "
        "cost\n");
    print("at once", pack_charge_band(pack, evening, plan, at_the_quay),
          plan.zones[plan.zone_count - 1].current_A);
    const PackDeparture night =
        least_pack_charge_current(pack, evening, plan, at_the_quay, 8.5 * 3600);
    print("by half past six", night.charge, night.current_A);
    std::printf("group %d ends the charge at %.1f %%, the weakest is group %d with %.1f %%\n",
                night.charge.group, 100 * night.charge.forecast.end_soc, night.charge.weakest_group,
                100 * night.charge.weakest_soc);

    std::printf("\nmorning at   draw   usable energy        95 %% band  ended by\n");
    UsableEnergyBand<double> energy;
    for (const double degC : {12.0, -5.0}) {
        for (const double power_W : {800.0, 3200.0}) {
            UsableEnergySettings<double> outside;
            outside.ambient_degC = degC;
            energy = usable_energy(pack, groups_at(pack, 0.93, degC), {power_W, 0}, outside);
            const UsableEnergy<double>& end = energy.central;
            std::printf("%6.0f C %6.1f kW %9.3f kWh %10.3f to %.3f  group %d: %s\n", degC,
                        power_W / 1e3, end.energy_Wh / 1e3, energy.least_Wh / 1e3,
                        energy.most_Wh / 1e3, end.group, message(end.reason));
        }
    }

    std::printf("\nafter   km gone  Wh/km now  usual  distance left      95 %% band\n");
    ConsumptionSettings<double> settings;
    settings.fast_m = 1000;
    settings.slow_m = 20000;
    settings.start_m = 2000;
    settings.start_Wh_per_km = 110;
    ConsumptionEstimator<double> way;
    if (way.configure(settings) != Status::ok) return 1;
    double left_Wh = energy.central.energy_Wh;
    for (int second = 0; second < 3600; ++second) {
        const double power_W = 1500 <= second && second < 2400 ? 1800 : 1100;  // the headwind
        if (way.step(power_W, 3, 1) != Status::ok) return 2;
        left_Wh -= power_W / 3600;
        if (second % 600 != 599) continue;
        Consumption<double> now;
        DistanceLeft<double> goes;
        if (way.read(now) != Status::ok ||
            distance_left(now, left_Wh, energy.std_Wh, goes) != Status::ok) {
            return 3;
        }
        std::printf("%3.0f min %6.1f %9.0f %7.0f %10.1f km %9.1f to %.1f\n", (second + 1) / 60.0,
                    3 * (second + 1) / 1e3, now.fast_Wh_per_km, now.slow_Wh_per_km,
                    goes.distance_m / 1e3, goes.least_m / 1e3, goes.most_m / 1e3);
    }
}

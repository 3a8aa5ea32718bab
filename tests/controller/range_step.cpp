// Time to full with its band, and with a taper that was learned, the least current for a departure,
// usable energy of twelve groups and the distance it leaves along a way with a hill, on a
// controller.

#include <cstdint>

#include "print_bits.hpp"
#include "voltkeel/charge/consumption.hpp"
#include "voltkeel/charge/departure.hpp"
#include "voltkeel/charge/taper.hpp"
#include "voltkeel/charge/usable_energy.hpp"

namespace {

constexpr int group_count = 12;
constexpr int string_count = 2;

const voltkeel::OcvNode<float> ocv[5] = {{3.0F, 0.004F, -1e-4F},
                                         {3.5F, 0.004F, 0.0F},
                                         {3.65F, 0.003F, 1e-4F},
                                         {3.85F, 0.003F, 5e-5F},
                                         {4.18F, 0.002F, 0.0F}};
voltkeel::ResistanceNode<float, 2> nodes[9];
voltkeel::FixedDrainWorkspace<float, 2, false, group_count, string_count> workspace;
voltkeel::ConsumptionEstimator<float> consumption;
voltkeel::TaperLearner<float> taper;

voltkeel::CellParameters<float, 2> make_cell() {
    for (int t = 0; t < 3; ++t) {
        for (int s = 0; s < 3; ++s) {
            voltkeel::ResistanceNode<float, 2>& node = nodes[3 * t + s];
            const float cold = t == 0 ? 3.0F : t == 1 ? 1.4F : 1.0F;
            node.r0_ohm = 0.0015F * cold * (s == 0 ? 1.6F : 1.0F);
            node.branch_ohm[0] = 0.0006F * cold;
            node.branch_time_s[0] = 6.0F;
            node.branch_ohm[1] = 0.0009F * cold;
            node.branch_time_s[1] = 120.0F;
        }
    }
    voltkeel::CellParameters<float, 2> cell;
    cell.capacity_Ah = 40.0F;
    cell.ocv = {ocv, 5, 25.0F};
    cell.resistance = {nodes, voltkeel::uniform_axis(0.0F, 1.0F, 3),
                       voltkeel::uniform_axis(-20.0F, 30.0F, 3)};
    cell.thermal = {800.0F, 3.0F};
    return cell;
}

}  // namespace

int main() {
    const voltkeel::CellParameters<float, 2> cell = make_cell();
    voltkeel::ChargePlan<float> plan;
    plan.zone_count = 1;
    plan.zones[0] = {0.0F, 45.0F, 20.0F, 4.12F};
    plan.end_current_A = 2.0F;
    voltkeel::CellState<float, 2> state;
    state.soc = 0.35F;
    voltkeel::ChargeConditions<float> conditions;
    conditions.temperature_degC = 12.0F;
    conditions.ambient_degC = 15.0F;
    voltkeel::ForecastSettings<float> settings = voltkeel::band_forecast<float>();
    settings.step_s = 60.0F;  // few steps on a controller
    settings.max_steps = 2000;
    voltkeel::Departure<float> departure;
    departure.ready_s = 4.0F * 3600.0F;
    departure.doubt.soc_std = 0.02F;
    departure.doubt.step_s = 120.0F;
    voltkeel::ChargeTimeBand<float> band;
    voltkeel::DepartureCharge<float> least;
    if (time_to_full_band(cell, plan, state, conditions, departure.doubt, band, settings) !=
            voltkeel::Status::ok ||
        least_charge_current(cell, plan, state, conditions, departure, least, settings) !=
            voltkeel::Status::ok) {
        puts0("no charge in time\n");
        return 1;
    }
    const float times[] = {band.earliest_s, band.central.time_s, band.latest_s, least.current_A,
                           least.charge.latest_s};
    print_bits(1, times, 5);

    // A completed charge whose current fell by half a percent every four seconds.
    voltkeel::TaperSettings<float> cells;
    cells.capacity_Ah = cell.capacity_Ah;
    if (taper.configure(cells) != voltkeel::Status::ok) return 8;
    float falling_A = 20.0F;
    for (; falling_A > 2.0F; falling_A *= 0.995F) {
        if (taper.step(falling_A, true, 4.0F) != voltkeel::Status::ok) return 9;
    }
    voltkeel::TaperTime<float> learned;
    if (taper.complete() != voltkeel::Status::ok ||
        learned_time(taper, band.central, 0.0F, learned) != voltkeel::Status::ok) {
        puts0("nothing was learned\n");
        return 10;
    }
    const float tapers[] = {learned.time_s, learned.std_s, band.central.taper_s,
                            band.central.taper_from_A};
    print_bits(3, tapers, 4);

    voltkeel::CellLimits<float> limits;
    limits.window = {2.9F, 4.2F, 0.0F, 1.0F, 0.0F, 45.0F, -20.0F, 60.0F};
    const voltkeel::LimitString<float> strings[string_count] = {{0, 6, 0.001F, true},
                                                                {6, 6, 0.002F, true}};
    voltkeel::LimitPack<float, 2> pack;
    pack.cells = &cell;
    pack.limits = &limits;
    pack.group_count = group_count;
    pack.strings = strings;
    pack.string_count = string_count;
    float soc[group_count];
    float temperature_degC[group_count];
    float soc_std[group_count];
    for (int g = 0; g < group_count; ++g) {
        soc[g] = 0.6F + 0.005F * static_cast<float>(g % 5);
        temperature_degC[g] = -5.0F + 0.5F * static_cast<float>(g % 3);
        soc_std[g] = 0.02F;
    }
    voltkeel::GroupStates<float> states;
    states.soc = soc;
    states.temperature_degC = temperature_degC;
    states.soc_std = soc_std;
    voltkeel::UsableEnergySettings<float> coarse;
    coarse.ambient_degC = -5.0F;
    coarse.soc_step = 0.04F;
    coarse.voltage_step_V = 0.08F;
    voltkeel::UsableEnergyBand<float> usable;
    if (usable_energy_band(pack, states, voltkeel::Draw<float>{1500.0F, 0.0F}, workspace.view(),
                           usable, coarse) != voltkeel::Status::ok) {
        puts0("no usable energy\n");
        return 2;
    }
    const float energies[] = {usable.least_Wh, usable.central.energy_Wh, usable.most_Wh,
                              usable.central.time_s, usable.central.loss_Wh};
    print_bits(2, energies, 5);

    voltkeel::ConsumptionSettings<float> habits;
    habits.start_Wh_per_km = 90.0F;
    if (consumption.configure(habits) != voltkeel::Status::ok) return 3;
    float shortest_m = 1e9F;
    for (int k = 0; k < 2000; ++k) {
        // 20 m a second, and a hill between 20 and 24 km.
        const float power_W = k >= 1000 && k < 1200 ? 18000.0F : 6000.0F;
        if (consumption.step(power_W, 20.0F, 1.0F) != voltkeel::Status::ok) return 4;
        if (k % 200 != 199) continue;
        voltkeel::Consumption<float> now;
        voltkeel::DistanceLeft<float> left;
        if (consumption.read(now) != voltkeel::Status::ok ||
            distance_left(now, usable.central.energy_Wh, usable.std_Wh, left) !=
                voltkeel::Status::ok) {
            return 5;
        }
        if (left.distance_m < shortest_m) shortest_m = left.distance_m;
        const float values[] = {now.fast_Wh_per_km, now.slow_Wh_per_km, left.least_m,
                                left.distance_m, left.most_m};
        print_bits(10 + k / 200, values, 5);
        if (!(left.least_m < left.distance_m && left.distance_m < left.most_m)) return 6;
    }
    // It must have worked, not only have done the same on both sides.
    if (!(band.earliest_s < band.central.time_s && least.charge.latest_s <= departure.ready_s &&
          usable.least_Wh < usable.central.energy_Wh && shortest_m > 1000.0F)) {
        puts0("the answers are not in order\n");
        return 7;
    }
    return 0;
}

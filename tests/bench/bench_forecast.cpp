// Cost of a charge time with its band, of the least current for a departure, and of the usable
// energy of a pack. Cells are invented; times are of the processor, the best of many.

#include <algorithm>
#include <cstdio>
#include <ctime>
#include <memory>
#include <vector>

#include "bench/bench_cell.hpp"
#include "voltkeel/charge/departure.hpp"
#include "voltkeel/charge/usable_energy.hpp"

using namespace voltkeel;

namespace {

template <class Action>
double best_ms(const Action& action) {
    double best_s = 1e9;
    for (int k = 0; k < 25; ++k) {
        const std::clock_t start = std::clock();
        action();
        best_s = std::min(best_s, static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC);
    }
    return 1e3 * best_s;
}

template <class Real>
void print(const char* scalar) {
    const auto tables = voltkeel_test::cell_cast<Real>(voltkeel_test::bench_cell<3>());
    auto cell = tables.view();
    cell.thermal = {Real(900), Real(2.5)};
    ChargePlan<Real> plan;
    plan.zone_count = 2;
    plan.zones[0] = {Real(0), Real(15), Real(10), Real(4.1)};
    plan.zones[1] = {Real(15), Real(45), Real(25), Real(4.1)};
    plan.end_current_A = Real(2.5);
    CellState<Real, 3> state;
    state.soc = Real(0.2);
    ChargeConditions<Real> conditions;
    conditions.temperature_degC = Real(14);
    conditions.ambient_degC = Real(20);
    ChargeDoubt<Real> doubt;
    ChargeTimeBand<Real> band;
    const auto run = [&] {
        if (time_to_full_band(cell, plan, state, conditions, doubt, band) != Status::ok)
            std::puts("failed");
    };
    std::printf("%s, time to full: %.2f ms", scalar, best_ms(run));
    doubt.soc_std = Real(0.02);
    std::printf(", with the band of the SOC %.2f ms", best_ms(run));
    doubt.resistance_log_std = Real(0.05);
    std::printf(", and of the resistance %.2f ms; %.0f min, %.0f to %.0f\n", best_ms(run),
                double(band.central.time_s) / 60, double(band.earliest_s) / 60,
                double(band.latest_s) / 60);
    Departure<Real> departure;
    departure.ready_s = Real(8 * 3600);
    DepartureCharge<Real> found;
    const double least_ms = best_ms([&] {
        if (least_charge_current(cell, plan, state, conditions, departure, found) != Status::ok)
            std::puts("failed");
    });
    std::printf("%s, least current for 8 h: %.2f ms, %d forecasts\n", scalar, least_ms,
                found.turns);

    constexpr int groups = 96;
    CellLimits<Real> limits;
    limits.window = {Real(3.0), Real(4.2), Real(0),   Real(1),
                     Real(0),   Real(45),  Real(-20), Real(60)};
    LimitPack<Real, 3> pack;
    pack.cells = &cell;
    pack.limits = &limits;
    pack.group_count = groups;
    std::vector<Real> soc;
    const std::vector<Real> degC(groups, Real(-5));
    for (int g = 0; g < groups; ++g)
        soc.push_back(static_cast<Real>(0.8 + 0.0002 * (g * 37 % groups)));
    GroupStates<Real> states;
    states.soc = soc.data();
    states.temperature_degC = degC.data();
    const auto work = std::make_unique<FixedDrainWorkspace<Real, 3, false, groups>>();
    UsableEnergySettings<Real> settings;
    settings.ambient_degC = Real(-5);
    UsableEnergy<Real> energy;
    const double energy_ms = best_ms([&] {
        if (usable_energy(pack, states, Draw<Real>{Real(10000), Real(0)}, work->view(), energy,
                          settings) != Status::ok)
            std::puts("failed");
    });
    std::printf("%s, usable energy of 96 groups at 10 kW: %.2f ms, %d steps, %.3f kWh\n", scalar,
                energy_ms, energy.steps, double(energy.energy_Wh) / 1000);
}

}  // namespace

int main() {
    print<double>("double");
    print<float>("float");
}

// A night at the quay: the control of a charger is asked every second, the pilot of the quay post
// falls when a neighbour plugs in, the power is gone for ten minutes, and the pack of unequal
// groups still ends full. Quay, boat and cell are invented; the simulated groups stand for the
// pack. Run from the top of the source tree; examples/08_quay_charge.py is the same in Python.
//
// Caution: this is no protection. Hardware that opens the contactors on voltage, current and
// temperature, the cell maker's data sheet, local codes and qualified people come first.
#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <cstdio>

#include "voltkeel/cell/model.hpp"
#include "voltkeel/charge/control.hpp"
#include "voltkeel/io/cell_file.hpp"
#include "voltkeel/io/charge_plan_file.hpp"
#include "voltkeel/io/supply_file.hpp"

using namespace voltkeel;

int main() {
    constexpr int series = 14;
    constexpr int parallel = 8;
    constexpr double degC = 12;
    const Cell cell = load_cell("examples/invented_cell.json");
    const CellTables<double, 2> tables(cell);
    const auto parameters = tables.parameters();
    const ChargePlan<double> plan =
        plan_for(load_charge_plan("data/plan/nmc_nca.json"), cell.capacity_Ah);
    Supply<double> quay = load_supply("examples/invented_shore_supply.json").supply;

    std::array<CellState<double, 2>, series> groups{};
    for (int g = 0; g < series; ++g) {
        groups[static_cast<std::size_t>(g)].soc = 0.30 + 0.003 * (g % 5);
        groups[static_cast<std::size_t>(g)].resistance_scale = 1.0 + 0.05 * (g % 3);
    }
    ChargeControlSettings<double> settings;
    settings.series = series;
    settings.parallel = parallel;
    settings.capacity_Ah = parallel * cell.capacity_Ah;
    settings.group_resistance_ohm = 0.004;
    settings.voltage_max_V = 4.25;
    settings.voltage_min_V = 2.5;
    ChargeControl<double> control;
    if (control.configure(plan, settings) != Status::ok || control.start() != Status::ok) return 1;

    std::printf(" min   asks A  gets A  highest V  spread mV  phase              because\n");
    ChargeInput<double> tick;
    tick.allowed_A = 60;
    tick.dt_s = 1;
    ChargeRequest<double> request;
    double current_A = 0;
    for (int second = 0; !control.over(); ++second) {
        double low_V = 10;
        double high_V = 0;
        double sum_V = 0;
        for (CellState<double, 2>& group : groups) {
            step(parameters, {current_A / parallel, 1.0, degC}, group);
            const double group_V =
                voltage_at(parameters, group, current_A / parallel, degC).voltage_V;
            low_V = std::min(low_V, group_V);
            high_V = std::max(high_V, group_V);
            sum_V += group_V;
        }
        const double minute = second / 60.0;
        quay.ac = {};
        quay.ac.outlet_current_A = 16;
        quay.ac.has_pilot = true;
        quay.ac.duty_cycle_percent = minute >= 70 && minute < 80   ? 100.0
                                     : minute >= 40 && minute < 70 ? 10.0
                                                                   : 20.0;
        quay.ac.has_cable = true;
        quay.ac.proximity_ohm = 680;
        if (supply_limits(quay, tick.supply) != Status::ok) return 1;
        tick.measured = {low_V, high_V, sum_V, current_A, degC, degC, true, true, true};
        if (control.step(tick, request) != Status::ok) return 1;
        current_A = 0.99 * request.current_A;  // the charger gives a little less than asked for
        if (second % 1200 == 0) {
            std::printf("%4.0f  %7.2f %7.2f  %9.4f  %9.1f  %-17s  %s\n", minute, request.current_A,
                        current_A, high_V, 1000 * (high_V - low_V), message(request.phase),
                        message(request.reason));
        }
    }

    std::printf("What the log kept:\n");
    const ChargeControlState<double>& state = control.state();
    constexpr std::uint32_t kept = ChargeControlState<double>::event_capacity;
    for (std::uint32_t k = state.event_count - std::min(state.event_count, kept);
         k < state.event_count; ++k) {
        const ChargeEvent<double>& event = state.events[k % kept];
        std::printf("%6.1f min  %-17s  %s\n", event.time_s / 60, message(event.phase),
                    message(event.reason));
    }
    std::printf("%.1f Ah put in\n", state.charge_As / seconds_per_hour<double>);
}

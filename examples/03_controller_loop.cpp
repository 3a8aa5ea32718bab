// The controller's side: everything in float, tables constant (in flash on a controller), no heap,
// no exceptions, no clock. Each tick takes one sample and gives the state of charge, the current
// allowed for ten seconds and why. Here the ticks come from a made-up load; on a controller they
// come from the cell monitor. The cell is invented.
//
// Caution: limits from a model are no protection. Hardware that opens the contactors on voltage,
// current and temperature, the cell maker's data sheet, local codes and qualified people come
// first.
#include <cstdio>

#include "voltkeel/estimate/soc_filter.hpp"
#include "voltkeel/limits/current_limits.hpp"

using namespace voltkeel;

namespace {

constexpr OcvNode<float> ocv_nodes[] = {
    {3.00F, 0.01F, 0.0F}, {3.40F, 0.01F, 0.0F}, {3.52F, 0.01F, 0.0F},
    {3.60F, 0.01F, 0.0F}, {3.70F, 0.01F, 0.0F}, {3.80F, 0.01F, 0.0F},
    {3.90F, 0.01F, 0.0F}, {4.02F, 0.01F, 0.0F}, {4.18F, 0.01F, 0.0F}};
// Rows: -10, 10, 30 degC; columns: SOC 0, 0.5, 1. {R0, {branch}, {time}}.
constexpr ResistanceNode<float, 1> resistance_nodes[] = {
    {0.006F, {0.012F}, {60.0F}}, {0.004F, {0.006F}, {60.0F}}, {0.004F, {0.007F}, {60.0F}},
    {0.003F, {0.005F}, {40.0F}}, {0.002F, {0.002F}, {40.0F}}, {0.002F, {0.003F}, {40.0F}},
    {0.002F, {0.003F}, {30.0F}}, {0.001F, {0.001F}, {30.0F}}, {0.001F, {0.002F}, {30.0F}}};

CellParameters<float, 1> make_cell() {
    CellParameters<float, 1> cell;
    cell.capacity_Ah = 60.0F;
    cell.hysteresis_rate = 30.0F;
    cell.ocv = {ocv_nodes, 9, 25.0F};
    cell.resistance = {resistance_nodes, uniform_axis(0.0F, 1.0F, 3),
                       uniform_axis(-10.0F, 30.0F, 3)};
    cell.thermal = {900.0F, 2.0F};
    return cell;
}

CellLimits<float> make_limits() {
    CellLimits<float> limits;
    limits.window.voltage_min_V = 3.0F;
    limits.window.voltage_max_V = 4.15F;
    limits.window.soc_min = 0.05F;
    limits.window.soc_max = 0.98F;
    return limits;
}

}  // namespace

int main() {
    const CellParameters<float, 1> cell = make_cell();
    const CellLimits<float> limits = make_limits();
    SocFilter<float, 1> filter;
    if (filter.configure(cell) != Status::ok || validate(limits).status != Status::ok) return 1;
    if (filter.start_from_voltage(3.95F, 0.0F, 12.0F) != Status::ok) return 1;

    CellState<float, 1> truth;  // stands for the real cell
    truth.soc = 0.83F;
    for (int tick = 0; tick <= 36000; ++tick) {  // one hour at 10 Hz
        const float current_A = tick % 600 < 200 ? -90.0F : -20.0F;
        step(cell, {current_A, 0.1F, 12.0F}, truth);
        const float voltage_V = voltage_at(cell, truth, current_A, 12.0F).voltage_V;
        const SocEstimate<float>& estimate = filter.step({current_A, voltage_V, 12.0F, 0.1F});
        if (tick % 6000 != 0) continue;
        HorizonLimit<float> allowed[3];
        if (current_limits(cell, limits, filter.state().cell, 12.0F, allowed) != Status::ok)
            return 1;
        std::printf("%2d min  SOC %5.1f %%  faults %u  10 s: %+7.1f A (%s), %+6.1f A (%s)\n",
                    tick / 600, 100 * static_cast<double>(estimate.soc), estimate.fault_bits,
                    static_cast<double>(allowed[1].discharge.current_A),
                    message(allowed[1].discharge.reason),
                    static_cast<double>(allowed[1].charge.current_A),
                    message(allowed[1].charge.reason));
    }
}

// The state of a pack on a controller: checks of sensors, mean filter and filters of differences,
// capacity and the stored state, with six groups of the filter's own model as the pack. A group's
// reading sticks, the current sensor fails for a while, and the controller is off for a night.

#include <cstdint>
#include <limits>

#include "pack_cell.hpp"
#include "print_bits.hpp"
#include "voltkeel/estimate/sensor_checks.hpp"
#include "voltkeel/estimate/snapshot.hpp"

namespace {

constexpr int groups = 6;
using Filter = voltkeel::PackFilter<float, 1, false, 8>;

Filter filter;
Filter woken;
voltkeel::SensorChecks<float> checks;
voltkeel::CapacityEstimator<float> capacity;
std::uint8_t bytes[voltkeel::snapshot_size<1, false, 8, false>];

}  // namespace

int main() {
    const voltkeel::CellParameters<float, 1> cell = pack_cell::make_cell();
    voltkeel::SensorCheckSettings<float> settings;
    settings.capacity_Ah = 60.0F;
    if (filter.configure(cell, groups) != voltkeel::Status::ok ||
        woken.configure(cell, groups) != voltkeel::Status::ok ||
        checks.configure(settings) != voltkeel::Status::ok ||
        capacity.configure(62.0F) != voltkeel::Status::ok ||
        filter.start(0.8F, 0.05F, 20.0F) != voltkeel::Status::ok) {
        puts0("set-up failed\n");
        return 1;
    }
    (void)capacity.anchor(0.8F, 0.01F);
    voltkeel::CellState<float, 1> truth[groups];
    for (int k = 0; k < groups; ++k) {
        truth[k].soc = 0.8F + 0.01F * static_cast<float>(k - 3);
        truth[k].resistance_scale = 1.0F + 0.05F * static_cast<float>(k - 2);
    }
    std::uint32_t seen = 0;
    std::uint8_t seen_of_group = 0;
    float stuck_V = 0.0F;
    for (int tick = 0; tick < 3000; ++tick) {
        const float current_A = tick % 40 < 15 ? -90.0F : (tick % 40 < 30 ? -20.0F : 30.0F);
        float volt[groups];
        float mean_V = 0.0F;
        for (int k = 0; k < groups; ++k) {
            voltkeel::step(cell, {current_A, 1.0F, 20.0F}, truth[k]);
            volt[k] = voltkeel::voltage_at(cell, truth[k], current_A, 20.0F).voltage_V;
            mean_V += volt[k] / static_cast<float>(groups);
        }
        if (tick == 1500) stuck_V = volt[4];
        if (tick >= 1500 && tick < 2000) volt[4] = stuck_V;
        voltkeel::SensorSample<float> readings;
        readings.time_us = static_cast<std::int64_t>(tick) * 1000000;
        readings.current_A =
            tick >= 1000 && tick < 1060 ? std::numeric_limits<float>::quiet_NaN() : current_A;
        readings.voltage_V = mean_V;
        readings.temperature_degC = 20.0F;
        const voltkeel::CheckedReadings<float> checked =
            checks.step(readings, voltkeel::model_view(filter.reference()));
        voltkeel::PackSample<float> sample;
        sample.current_A = checked.current_A;
        sample.current_std_A = checked.current_std_A;
        sample.temperature_degC = checked.temperature_degC;
        sample.dt_s = checked.dt_s;
        sample.voltage_V = volt;
        const voltkeel::PackEstimate<float>& estimate = filter.step(sample);
        capacity.count(current_A, 1.0F);
        seen |= checked.fault_bits;
        seen_of_group = static_cast<std::uint8_t>(seen_of_group | filter.group_faults(4));
        if (tick % 100 == 0) {
            const float values[] = {estimate.reference.soc, filter.soc(4), filter.soc_std(4),
                                    filter.resistance_scale(5), checked.current_A};
            print_bits(tick / 10, values, 5);
        }
    }
    // The interval of the capacity ends in the next morning: nothing flowed in the night.
    if (voltkeel::write_snapshot(filter, {&capacity, nullptr, &checks}, bytes) !=
        voltkeel::Status::ok) {
        return 2;
    }
    if (voltkeel::start_from_snapshot(bytes, static_cast<int>(sizeof bytes),
                                      {30000.0F, 15.0F, true}, woken,
                                      {&capacity, nullptr, &checks}) != voltkeel::Status::ok) {
        return 3;
    }
    if (capacity.anchor(truth[3].soc, 0.01F) != voltkeel::Status::ok) return 5;
    const float values[] = {woken.soc(0), woken.soc_std(0), woken.resistance_scale(0),
                            capacity.capacity_Ah(), capacity.capacity_std_Ah()};
    print_bits(999, values, 5);
    // It must have worked, not only have done the same on both sides.
    float furthest = 0.0F;
    for (int k = 0; k < groups; ++k) {
        const float off = woken.soc(k) - truth[k].soc;
        furthest = off > furthest ? off : (-off > furthest ? -off : furthest);
    }
    if (!(furthest < 0.015F) || (seen & voltkeel::sensor_current_missing) == 0 ||
        (seen_of_group & voltkeel::group_stuck) == 0 || !(capacity.capacity_Ah() < 61.5F)) {
        puts0("a group was lost\n");
        return 4;
    }
    return 0;
}

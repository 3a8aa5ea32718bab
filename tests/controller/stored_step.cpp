// All that is stored of a pack on a controller: filter, capacity with the interval under way,
// growth of the resistance, what lasts of the checks of sensors, and the drift of six groups.
// Half-way the controller is off for a night, and everything goes on in other objects.

#include <cstdint>

#include "pack_cell.hpp"
#include "print_bits.hpp"
#include "voltkeel/estimate/snapshot.hpp"

namespace {

constexpr int groups = 6;

/// What goes on after the night.
struct Watch {
    voltkeel::PackFilter<float, 1, false, 8> filter;
    voltkeel::CapacityEstimator<float> capacity;
    voltkeel::ResistanceGrowth<float> growth;
    voltkeel::SensorChecks<float> checks;
    voltkeel::GroupDriftFit<float> drift[groups];
};
Watch evening;
Watch morning;
std::uint8_t bytes[voltkeel::snapshot_size<1, false, 8>];

bool configure(Watch& watch, const voltkeel::CellParameters<float, 1>& cell) {
    voltkeel::SensorCheckSettings<float> settings;
    settings.capacity_Ah = 60.0F;
    watch.growth.configure();
    bool ok = watch.filter.configure(cell, groups) == voltkeel::Status::ok &&
              watch.checks.configure(settings) == voltkeel::Status::ok &&
              watch.capacity.configure(62.0F) == voltkeel::Status::ok;
    for (voltkeel::GroupDriftFit<float>& fit : watch.drift)
        ok = ok && fit.configure(30.0F, 0.1F) == voltkeel::Status::ok;
    return ok;
}

voltkeel::CellState<float, 1> truth[groups];

void drive(Watch& watch, const voltkeel::CellParameters<float, 1>& cell, int seconds) {
    for (int tick = 0; tick < seconds; ++tick) {
        const float current_A = tick % 40 < 15 ? -90.0F : (tick % 40 < 30 ? -20.0F : 30.0F);
        float volt[groups];
        for (int k = 0; k < groups; ++k) {
            voltkeel::step(cell, {current_A, 1.0F, 20.0F}, truth[k]);
            volt[k] = voltkeel::voltage_at(cell, truth[k], current_A, 20.0F).voltage_V;
        }
        voltkeel::PackSample<float> sample;
        sample.current_A = current_A;
        sample.temperature_degC = 20.0F;
        sample.dt_s = 1.0F;
        sample.voltage_V = volt;
        const voltkeel::SocEstimate<float> reference = watch.filter.step(sample).reference;
        watch.capacity.count(current_A, 1.0F);
        watch.growth.step(watch.filter.reference().state().log_scale, reference.log_scale_std,
                          1.0F);
        for (int k = 0; k < groups; ++k) {
            watch.drift[k].step(1.0F);
            watch.drift[k].look(watch.filter.soc(k) - reference.soc,
                                watch.filter.soc_difference_std(k), reference.soc);
        }
    }
}

void print(int line, const Watch& watch) {
    const voltkeel::GroupDrift<float> drift = watch.drift[4].drift();
    const float values[] = {watch.filter.soc(4), watch.growth.growth(),
                            watch.growth.log_growth_std(), drift.soc_per_day,
                            watch.capacity.capacity_Ah()};
    print_bits(line, values, 5);
}

}  // namespace

int main() {
    const voltkeel::CellParameters<float, 1> cell = pack_cell::make_cell();
    if (!configure(evening, cell) || !configure(morning, cell) ||
        evening.filter.start(0.8F, 0.05F, 20.0F) != voltkeel::Status::ok) {
        puts0("set-up failed\n");
        return 1;
    }
    voltkeel::SensorCheckState<float> learnt = evening.checks.state();
    learnt.reversed = true;
    learnt.offset_A = 0.3F;
    if (evening.checks.restore(learnt) != voltkeel::Status::ok) return 1;
    for (int k = 0; k < groups; ++k)
        truth[k].soc = 0.8F + 0.01F * static_cast<float>(k - 3);
    (void)evening.capacity.anchor(0.8F, 0.01F);
    drive(evening, cell, 2000);
    print(1, evening);
    if (voltkeel::write_snapshot(
            evening.filter, {&evening.capacity, &evening.growth, &evening.checks, evening.drift},
            bytes) != voltkeel::Status::ok) {
        return 2;
    }
    if (voltkeel::start_from_snapshot(
            bytes, static_cast<int>(sizeof bytes), {30000.0F, 15.0F, true}, morning.filter,
            {&morning.capacity, &morning.growth, &morning.checks, morning.drift}) !=
        voltkeel::Status::ok) {
        return 3;
    }
    print(2, morning);
    if (morning.drift[4].drift().soc_per_day != evening.drift[4].drift().soc_per_day ||
        !(morning.growth.log_growth_std() > evening.growth.log_growth_std())) {
        puts0("the night was lost\n");
        return 4;
    }
    for (voltkeel::CellState<float, 1>& state : truth)
        voltkeel::step(cell, {0.0F, 30000.0F, 15.0F}, state);
    drive(morning, cell, 2000);
    // The interval that began in the evening ends here.
    const voltkeel::Status joined = morning.capacity.anchor(truth[3].soc, 0.01F);
    print(3, morning);
    if (joined != voltkeel::Status::ok || !(morning.capacity.capacity_Ah() < 61.5F) ||
        !morning.checks.state().reversed || morning.checks.state().offset_A != 0.3F ||
        !(morning.drift[4].drift().looks > evening.drift[4].drift().looks)) {
        puts0("something was lost\n");
        return 5;
    }
    return 0;
}

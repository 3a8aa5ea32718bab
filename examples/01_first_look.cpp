// From cell tests to a model, a state of charge, limits and a charging time, on the invented demo
// data. Run from the top of the source tree; examples/01_first_look.py is the same in Python.
#include <cstdio>

#include "voltkeel/fit/fit_cell.hpp"
#include "voltkeel/io/model_state.hpp"
#include "voltkeel/io/replay.hpp"

using namespace voltkeel;

int main() {
    const Log slow = read_log("data/demo/slow_test_25degC.csv").log;
    const std::vector<Log> pulses{read_log("data/demo/pulses_25degC.csv").log,
                                  read_log("data/demo/pulses_0degC.csv").log};
    const Cell cell = fit_cell(slow, pulses).cell;
    const SocTrace day = replay(cell, read_log("data/demo/harbour_day.csv").log);
    std::printf("%.2f Ah, SOC %.1f %% +- %.1f\n", cell.capacity_Ah, 100 * day.end.soc,
                100 * day.end.soc_std);
    for (const HorizonLimit<double>& limit : current_limits(cell, day.end)) {
        std::printf("%2.0f s: %+.1f A (%s)\n", limit.horizon_s, limit.discharge.current_A,
                    message(limit.discharge.reason));
    }
    const ChargeOutlook charge = time_to_full(cell, day.end, cell.charge, 14.0);
    std::printf("full in %.0f min\n", charge.forecast.time_s / 60);
}

"""From cell tests to a model, a state of charge, limits and a charging time, on the invented demo data.

Run from the top of the source tree; examples/01_first_look.cpp is the same in C++.
"""

import voltkeel as vk

slow, _ = vk.read_log("data/demo/slow_test_25degC.csv")
pulses = [vk.read_log(f"data/demo/pulses_{t}degC.csv")[0] for t in (25, 0)]
cell = vk.fit_cell(slow, pulses).cell
day = vk.replay(cell, vk.read_log("data/demo/harbour_day.csv")[0])
print(f"{cell.capacity_Ah:.2f} Ah, SOC {100 * day.end.soc:.1f} % +- {100 * day.end.soc_std:.1f}")
for limit in vk.current_limits(cell, day.end):
    print(f"{limit.horizon_s:2.0f} s: {limit.discharge.current_A:+.1f} A ({limit.discharge.reason.message})")
charge = vk.time_to_full(cell, day.end, cell.charge, ambient_degC=14.0)
print(f"full in {charge.forecast.time_s / 60:.0f} min")

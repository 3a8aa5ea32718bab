"""A controller is reset while its machine is at work on a cold morning, and nothing is stored. What becomes of a SOC
that somebody remembers, 20 points too high, or of none at all, when the filter takes the pack as rested, and when it is
told how the pack was used in the last five minutes? Cell and load are invented.

examples/14_start_in_use.cpp is the same in C++.
"""

import math
from collections.abc import Callable

import voltkeel as vk

cell = vk.load_cell("examples/invented_cell.json")
pack = vk.single_string_pack("loader", "invented_cell.json", cell, vk.PackLayout(series=1, parallel=1))
minute = [vk.current_load(-14.0 if second < 15 else 0.0 if second < 35 else 1.5, 1.0) for second in range(60)]
run = vk.simulate(pack, minute * 75, vk.SimulationSettings(soc=0.85, temperature_degC=5.0, heat=False))
current_A, voltage_V, truth = run.current_A, run.group_voltage_V[:, 0], run.group_soc[:, 0]

start = 3600
recent_A = current_A[start - 299 : start + 1]
reading = {"voltage_V": voltage_V[start], "current_A": current_A[start], "temperature_degC": 5.0}
use = {"mean_current_A": recent_A.mean(), "rms_current_A": math.sqrt((recent_A**2).mean()), **reading}
remembered = truth[start] + 0.2

starts: dict[str, Callable[[vk.SocFilter], None]] = {
    "remembered, taken as rested": lambda soc_filter: soc_filter.start(remembered, 0.1, 5.0),
    "remembered, in use": lambda soc_filter: soc_filter.start_under_load(remembered, 0.1, **use),
    "from one voltage": lambda soc_filter: soc_filter.start_from_voltage(**reading),
    "nothing remembered, in use": lambda soc_filter: soc_filter.start_under_load(0.5, 0.3, **use),
}
print("SOC less the true one in points, and its standard deviation")
print("                                   at once       a minute    ten minutes later")
for name, begin in starts.items():
    soc_filter = vk.SocFilter(cell)
    begin(soc_filter)
    told = ""
    for row in range(start, start + 601):
        if row > start:
            soc_filter.step(current_A[row], voltage_V[row], 5.0, 1.0)
        if row - start in (0, 60, 600):
            state = soc_filter.state
            told += f"   {100 * (state.soc - truth[row]):+5.1f} ({100 * state.soc_std:4.1f})"
    print(f"{name:<30s}{told}")

"""An afternoon's log has the voltage of every group of a string, two cells each: one group was put in half charged, one
has aged, and half-way a wire of the monitor comes loose. Which group is the weakest, how sure is that, and what may the
string still give? Cell, string and load are invented. From a shell: voltkeel replay LOG.csv --pack pack.json.

examples/12_groups_of_a_log.cpp is the same in C++.
"""

import math
from pathlib import Path

import numpy as np
import voltkeel as vk

cell = vk.load_cell("examples/invented_cell.json")
pack = vk.single_string_pack("launch", "invented_cell.json", cell, vk.PackLayout(series=8, parallel=2))
settings = vk.SimulationSettings(soc=0.85, heat=False)
settings.differences = vk.CellDifferences(
    soc_offset=[-0.05 if k // 2 == 2 else 0.0 for k in range(16)],  # cell by cell, two in each group
    resistance_factor=[1.3 if k // 2 == 5 else 1.0 for k in range(16)],
)
minute = [vk.current_load(-16.0 if second < 25 else -2.0 if second < 45 else 6.0, 1.0) for second in range(60)]
run = vk.simulate(pack, minute * 60, settings)

# The monitor writes millivolts, and nothing for the group whose wire is loose.
path = Path("build/invented_groups.csv")
path.parent.mkdir(exist_ok=True)
with path.open("w", encoding="utf-8") as file:
    file.write("time_s,current_A,temperature_degC," + ",".join(f"U{k + 1} (mV)" for k in range(8)) + "\n")
    for row in range(len(run)):
        cells = [f"{1e3 * voltage_V:.0f}" for voltage_V in run.group_voltage_V[row]]
        if run.time_s[row] > 1800:
            cells[6] = ""
        file.write(f"{run.time_s[row]:.0f},{run.current_A[row]:.3f},25.0," + ",".join(cells) + "\n")

columns = vk.LogColumns(voltage="U{} (mV)")
log, report = vk.read_group_log(path, vk.LogReadSettings(columns=columns, units=vk.LogUnits(voltage="mV")))
trace = vk.replay_groups(pack, log)
soc = np.array([group.state.soc for group in trace.end])
print(f"{len(log)} rows, {log.groups} groups, voltages looked at {trace.looked} times")
print("group   SOC %  +- (95 %)  true %  resistance x  not used %")
for k in range(8):
    state = trace.end[k].state
    print(
        f"{trace.first_number + k:5d}  {100 * state.soc:6.1f}  {196 * state.soc_std:9.1f}"
        f"  {100 * run.group_soc[-1, k]:6.1f}  {state.resistance_scale:12.2f}"
        f"  {100 * trace.coasted[k] / trace.looked:10.0f}"
    )
low, high = int(soc.argmin()), int(soc.argmax())
points = 100 * (soc[high] - soc[low])
print(f"weakest {trace.first_number + low}, fullest {trace.first_number + high}: {points:.1f} points")
for limit in vk.pack_limits(pack, trace.end, [10.0, math.inf]):
    name = "for ever" if math.isinf(limit.horizon_s) else f"for {limit.horizon_s:.0f} s"
    group = trace.first_number + limit.discharge.group
    print(f"{name}: {limit.discharge.current_A:.1f} A ({limit.discharge.reason.message}, group {group})")

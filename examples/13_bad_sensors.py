"""A day's log in which sensors fail in turn: the current is missing for ten minutes, the wire of the thermistor is open
for an hour, and the voltage reads 0.2 V too much for a while. What is named, and what becomes of the SOC when the
filter takes the log as it stands, or the best that is known? Cell and day are invented. From a shell: voltkeel replay
LOG.csv --cell cell.json --check-sensors.

examples/13_bad_sensors.cpp is the same in C++.
"""

import math

import numpy as np
import voltkeel as vk

cell = vk.load_cell("examples/invented_cell.json")
minute = [vk.current_load(-8.0 if second < 25 else -1.0 if second < 45 else 3.0, 1.0) for second in range(60)]
pack = vk.single_string_pack("launch", "invented_cell.json", cell, vk.PackLayout(series=1, parallel=1))
run = vk.simulate(pack, minute * 120, vk.SimulationSettings(soc=0.9, heat=False))
time_s, truth = run.time_s, run.group_soc[:, 0]

current, voltage, temperature = run.current_A.copy(), run.group_voltage_V[:, 0].copy(), np.full(len(run), 25.0)
temperature[(time_s >= 1200) & (time_s < 4800)] = -60.0
voltage[(time_s >= 2400) & (time_s < 3000)] += 0.2
as_it_stands = vk.replay(cell, vk.Log(time_s, current, voltage, temperature), initial_soc=0.9, initial_soc_std=0.02)

current[(time_s >= 4200) & (time_s < 4800)] = math.nan  # only a replay that replaces readings takes these
log = vk.Log(time_s, current, voltage, temperature, missing_allowed=True)
replaced = vk.replay(
    cell, log, initial_soc=0.9, initial_soc_std=0.02, sensors=vk.SensorReplay(use=vk.SensorUse.replaced)
)

print("sensor fault         from s   to s  rows")
for fault in vk.sensor_faults(replaced):
    print(f"{fault.bit.name:<20s}  {fault.first_s:5.0f}  {fault.last_s:5.0f}  {fault.rows:4d}")
for name, trace in (("as it stands", as_it_stands), ("best known", replaced)):
    error = np.abs(trace.soc - truth)
    outside = np.mean(error > 1.96 * trace.soc_std)
    print(
        f"{name}: largest error {100 * error.max():.1f} points, outside the 95 % band {100 * outside:.0f} % of the time"
    )

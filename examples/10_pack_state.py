"""Eight groups in a row, one of them a little emptier and one with more resistance. Half-way one group's reading sticks
and the current sensor falls silent for ten minutes: what does the pack still know of every group, and how sure is it?
In the evening the state is stored; ten hours later another filter goes on from the bytes. Cell and load are invented.

examples/10_pack_state.cpp is the same in C++.
"""

import math

import voltkeel as vk

cell = vk.load_cell("examples/invented_cell.json")
pack = vk.single_string_pack("launch", "invented_cell.json", cell, vk.PackLayout(series=8, parallel=1))
settings = vk.SimulationSettings(
    soc=0.85,
    heat=False,
    differences=vk.CellDifferences(
        soc_offset=[0.0, 0.0, -0.04, 0.0, 0.0, 0.0, 0.0, 0.0],
        resistance_factor=[1.0, 1.0, 1.0, 1.0, 1.0, 1.3, 1.0, 1.0],
    ),
)
minute = [vk.current_load(-8.0 if second < 25 else -1.0 if second < 45 else 3.0, 1.0) for second in range(60)]
run = vk.simulate(pack, minute * 60, settings)

state = vk.PackFilter(cell, 8)
state.start(0.8, 0.1)
checks = vk.SensorChecks(vk.SensorCheckSettings(capacity_Ah=cell.capacity_Ah))
stuck_V = 0.0
for row in range(len(run)):
    time_s = run.time_s[row]
    voltage_V = run.group_voltage_V[row].copy()
    mean_V = sum(voltage_V) / 8
    if time_s < 1800:
        stuck_V = voltage_V[7]
    else:
        voltage_V[7] = stuck_V
    current_A = math.nan if 1800 <= time_s < 2400 else run.current_A[row]
    checked = checks.step(time_s, current_A, mean_V, 25.0, state.model_view)
    state.step(
        checked.current_A,
        voltage_V,
        checked.temperature_degC,
        checked.dt_s,
        current_std_A=checked.current_std_A,
    )
    if row not in (1799, 2390, 3599):
        continue
    print(f"after {time_s / 60:2.0f} min, sensor faults {checked.fault_bits:x}")
    for k in (0, 2, 5, 7):
        print(
            f"  group {k}: {100 * state.soc[k]:5.1f} % +- {196 * state.soc_std[k]:4.1f}"
            f" (true {100 * run.group_soc[row, k]:5.1f}), resistance x {state.resistance_scale[k]:.2f},"
            f" faults {state.group_fault_bits[k]:x}"
        )

stored = state.snapshot(checks=checks)
morning = vk.PackFilter(cell, 8)
morning.start_from_snapshot(stored, 10 * 3600.0, 12.0, no_current=True, checks=checks)
print("ten hours later, from what was stored")
for k in (0, 2):
    print(f"  group {k}: {100 * morning.soc[k]:5.1f} % +- {196 * morning.soc_std[k]:4.1f}")

"""Two strings of unequal temperature share a load, and only one of them has its groups measured: how far apart do they
run, what do the sensors show, and may a string that was left out join again? The pack is invented.

examples/06_two_strings.cpp is the same in C++.
"""

import voltkeel as vk

pack = vk.load_pack("examples/invented_pack.json")
spread = vk.SpreadSettings(seed=7, capacity_log_std=0.02, resistance_log_std=0.1)
settings = vk.SimulationSettings(
    soc=0.9,
    string_temperature_degC=[8.0, 24.0],  # starboard lies beside the engine room
    differences=vk.draw_differences(pack, spread),
    output_interval_s=60.0,
    record_cells=True,
)
load = [vk.power_load(-2500.0, 300.0), vk.power_load(-300.0, 300.0)] * 6  # transit and alongside, in turns
run = vk.simulate(pack, load, settings)

print("  min  port A  starboard A  port degC  starboard degC  port mV of spread")
stuck = vk.SensorFault(channel="port groups", kind=vk.SensorFaultKind.stuck, value=3)
readings = vk.read_sensors(pack, run, faults=[stuck])
for row in range(0, len(run), 10):
    port_V = run.group_voltage_V[row, :14]
    print(
        f"{run.time_s[row] / 60:5.0f}  {run.string_current_A[row, 0]:6.1f}  {run.string_current_A[row, 1]:11.1f}"
        f"  {run.cell_core_degC[row, 0]:9.1f}  {run.cell_core_degC[row, 56]:14.1f}"
        f"  {1000 * (port_V.max() - port_V.min()):17.1f}"
    )
groups = readings[2]
print(f"group 3 stuck at {groups.value[-1, 3]:.3f} V, truly {groups.truth[-1, 3]:.3f} V")
share = run.balance.electric_error_J / run.balance.terminal_J
print(f"energy unaccounted for: {'none' if abs(share) < 1e-12 else 'some'}")

# Starboard was left out for a while and stayed fuller.
state = vk.start_state(pack, vk.SimulationSettings(string_soc=[0.60, 0.68]))
state.closed = [True, False]
check = vk.check_closing(pack, state, "starboard")
print(f"closing starboard: {check.difference_V:.2f} V apart, ", end="")
print(f"{check.current_A:.1f} A, limit {check.limit_A:.0f} A: {'allowed' if check.allowed else 'not allowed'}")

"""What a shift in the harbour asks of the pack, and what going slower would save. Boat and shift are invented.

Run from the top of the source tree; examples/05_load_of_a_day.cpp is the same in C++.
"""

import voltkeel as vk

boat = vk.load_vehicle("examples/invented_workboat.json")
assert isinstance(boat, vk.Boat)
shift = vk.read_speed_trace("examples/harbour_shift.csv")
load = vk.propeller_load(boat, shift)
print(f"{load.distance_m / 1852:.2f} nautical miles in {shift.time_s[-1] / 60:.0f} min")
print(f"pack {load.net_Wh / 1000:+.2f} kWh, of it auxiliaries {-load.auxiliary_Wh / 1000:.2f} kWh")
print(f"strongest discharge {load.power_W.min() / 1000:.1f} kW")
print("   kn  pack kW  Wh per nautical mile")
for speed_kn in (3, 4, 5, 6, 7):
    speed_m_per_s = speed_kn * 1852 / 3600
    power_W = -vk.shaft_power_W(boat, speed_m_per_s) / boat.drive_efficiency - boat.auxiliary_power_W
    print(f"{speed_kn:5d}  {power_W / 1000:7.2f}  {-power_W / speed_kn:20.0f}")

"""A boat lies in the frost. How long does the heater of its own loop take before the pack may be charged, who pays for
it, and does the pack then stay in its window while it is driven? Pack and plant are invented.

examples/07_cold_morning.cpp is the same in C++.
"""

import voltkeel as vk

pack = vk.load_pack("examples/invented_pack.json")
cooling = vk.load_cooling("examples/invented_cooling.json")
air_degC = cooling.air_temperature.at(0.0)
needed = vk.allowed_temperature(pack, charging=True)
settings = vk.SimulationSettings(soc=0.4, temperature_degC=air_degC, output_interval_s=60.0)

cooling.supply = vk.CoolingSupply.outside  # the boat lies at the quay
warm = vk.warm_up(pack, cooling, settings, needed.low_degC + 5)
print(f"air {air_degC:.0f} degC, charging from {needed.low_degC:.0f} degC")
print(f"warm by 5 K more after {warm.time_s / 60:.1f} min and {warm.electric_J / 3.6e6:.3f} kWh")

cooling.supply = vk.CoolingSupply.pack  # and now it is under way
plant = vk.CoolingPlant(pack, cooling)
run = vk.simulate(pack, [vk.current_load(0.0, 1800.0), vk.power_load(-900.0, 3600.0)], settings, plant)
trace = plant.trace
window = vk.temperature_window(run, needed.low_degC, needed.high_degC)
print(
    f"below {needed.low_degC:.0f} degC for {window.below_s / 60:.1f} min, above {needed.high_degC:.0f} degC for ",
    end="",
)
print(f"{window.above_s / 60:.1f} min")
print(f"heater on {trace.heater_use.on_s / 60:.1f} min, coolant up to {trace.coolant_degC.max():.1f} degC")
print(f"load {(run.balance.terminal_J + run.balance.plant_J) / 3.6e6:.3f} kWh, ", end="")
print(f"plant {run.balance.plant_J / 3.6e6:.3f} kWh, pack {run.balance.terminal_J / 3.6e6:.3f} kWh")

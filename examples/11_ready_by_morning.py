"""A workboat ties up at ten in the evening, one group fuller and one emptier than the rest, and leaves at half past
six: what is the least current that is ready, what does the night cost, and how far will the boat go in the cold
morning, with a headwind on the way? Boat, pack, quay and price are invented.

Caution: this is no protection. Hardware that opens the contactors on voltage, current and temperature, the cell maker's
data sheet, local codes and qualified people come first.

examples/11_ready_by_morning.cpp is the same in C++.
"""

import voltkeel as vk

PRICE_PER_KWH = 0.35
pack = vk.load_pack("examples/invented_pack.json")
cell = pack.modules[0].cell
plan = vk.plan_for(vk.load_charge_plan("data/plan/nmc_nca.json"), cell.capacity_Ah)
quay = vk.load_supply("examples/invented_shore_supply.json").supply


def groups_at(soc: float, temperature_degC: float) -> list[vk.GroupState]:
    """Give all groups alike, but group 3 fuller and group 9 emptier; the filter knows them to 1 %."""
    offset = {3: 0.02, 9: -0.03}
    return [
        vk.GroupState(
            state=vk.ModelState(soc=soc + offset.get(g, 0.0), soc_std=0.01, temperature_degC=temperature_degC)
        )
        for g in range(vk.group_count(pack))
    ]


evening = groups_at(0.25, 12.0)
case = vk.ChargeCase(ambient_degC=12.0, supply=vk.PackSupply(supply=quay))
print("charge           A a cell  ready after         95 % band  fullest at  from socket   cost")
for name, charge, current_A in (
    ("at once", vk.pack_charge(pack, evening, plan, case), plan.zones[-1].current_A),
    (
        "by half past six",
        (night := vk.least_pack_charge_current(pack, evening, plan, case, 8.5 * 3600)).charge,
        night.current_A,
    ),
):
    forecast = charge.forecast
    print(
        f"{name:16s} {current_A:8.2f} {forecast.time_s / 3600:10.2f} h {charge.earliest_s / 3600:8.2f} to "
        f"{charge.latest_s / 3600:.2f} h {100 * forecast.end_soc:9.1f} % {forecast.socket_energy_Wh / 1e3:9.3f} kWh"
        f" {vk.charge_cost(forecast, PRICE_PER_KWH):6.2f}"
    )
print(
    f"group {charge.group} ends the charge at {100 * forecast.end_soc:.1f} %, the weakest is group "
    f"{charge.weakest_group} with {100 * charge.weakest_soc:.1f} %"
)

print("\nmorning at   draw   usable energy        95 % band  ended by")
for degC in (12.0, -5.0):
    for power_W in (800.0, 3200.0):
        energy = vk.usable_energy(
            pack, groups_at(0.93, degC), vk.Draw(power_W=power_W), vk.UsableEnergySettings(ambient_degC=degC)
        )
        end = energy.central
        print(
            f"{degC:6.0f} C {power_W / 1e3:6.1f} kW {end.energy_Wh / 1e3:9.3f} kWh {energy.least_Wh / 1e3:10.3f} to "
            f"{energy.most_Wh / 1e3:.3f}  group {end.group}: {end.reason.message}"
        )

print("\nafter   km gone  Wh/km now  usual  distance left      95 % band")
way = vk.ConsumptionEstimator(vk.ConsumptionSettings(fast_m=1000, slow_m=20000, start_m=2000, start_Wh_per_km=110))
left_Wh = energy.central.energy_Wh
for second in range(3600):
    power_W = 1800.0 if 1500 <= second < 2400 else 1100.0  # the headwind
    way.step(power_W, 3.0, 1.0)
    left_Wh -= power_W / 3600
    if second % 600 == 599:
        now = way.consumption
        goes = vk.distance_left(now, left_Wh, energy.std_Wh)
        print(
            f"{(second + 1) / 60:3.0f} min {3 * (second + 1) / 1e3:6.1f} {now.fast_Wh_per_km:9.0f} "
            f"{now.slow_Wh_per_km:7.0f} {goes.distance_m / 1e3:10.1f} km {goes.least_m / 1e3:9.1f} to "
            f"{goes.most_m / 1e3:.1f}"
        )

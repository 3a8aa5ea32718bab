"""A night at the quay: the control of a charger is asked every second, the pilot of the quay post falls when a
neighbour plugs in, the power is gone for ten minutes, and the pack of unequal groups still ends full. Quay, boat and
cell are invented; the simulated groups stand for the pack.

Caution: this is no protection. Hardware that opens the contactors on voltage, current and temperature, the cell maker's
data sheet, local codes and qualified people come first.

examples/08_quay_charge.cpp is the same in C++.
"""

import voltkeel as vk

SERIES, PARALLEL, DEGC = 14, 8, 12.0
cell = vk.load_cell("examples/invented_cell.json")
plan = vk.plan_for(vk.load_charge_plan("data/plan/nmc_nca.json"), cell.capacity_Ah)
quay = vk.load_supply("examples/invented_shore_supply.json").supply

groups = []
for g in range(SERIES):
    model = vk.CellModel(cell)
    model.reset(vk.ModelState(soc=0.30 + 0.003 * (g % 5), resistance_scale=1.0 + 0.05 * (g % 3)))
    groups.append(model)
control = vk.ChargeControl(
    plan,
    vk.ChargeControlSettings(
        series=SERIES,
        parallel=PARALLEL,
        capacity_Ah=PARALLEL * cell.capacity_Ah,
        group_resistance_ohm=0.004,
        voltage_max_V=4.25,
        voltage_min_V=2.5,
    ),
)

print(" min   asks A  gets A  highest V  spread mV  phase              because")
tick = vk.ChargeInput(allowed_A=60.0, dt_s=1.0)
request = None
current_A, second = 0.0, 0
while not control.over():
    voltages = [model.step(current_A / PARALLEL, 1.0, DEGC) for model in groups]
    minute = second / 60
    quay.ac = vk.AcSupply(
        outlet_current_A=16.0,
        has_pilot=True,
        duty_cycle_percent=100.0 if 70 <= minute < 80 else (10.0 if 40 <= minute < 70 else 20.0),
        has_cable=True,
        proximity_ohm=680.0,
    )
    tick.supply = vk.supply_limits(quay)
    tick.measured = vk.ChargeMeasurement(
        group_voltage_min_V=min(voltages),
        group_voltage_max_V=max(voltages),
        pack_voltage_V=sum(voltages),
        current_A=current_A,
        temperature_min_degC=DEGC,
        temperature_max_degC=DEGC,
    )
    request = control.step(tick)
    current_A = 0.99 * request.current_A  # the charger gives a little less than it is asked for
    if second % 1200 == 0:
        print(
            f"{minute:4.0f}  {request.current_A:7.2f} {current_A:7.2f}  {max(voltages):9.4f}"
            f"  {1000 * (max(voltages) - min(voltages)):9.1f}  {request.phase.message:<17}  {request.reason.message}"
        )
    second += 1

print("What the log kept:")
for event in control.events:
    print(f"{event.time_s / 60:6.1f} min  {event.phase.message:<17}  {event.reason.message}")
print(f"{control.charge_Ah:.1f} Ah put in")

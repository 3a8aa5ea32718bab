"""A workboat pulls a barge off the mud: what its pack allows, second by second. The limits of all groups are found
anew at every tick, an older group decides, a tracker uses up the ten-second pulse and lets it recover, and the torque
of the drive follows. Boat, pack and drive are invented; the simulated groups stand for the pack.

Caution: this is no protection. Hardware that opens the contactors on voltage, current and temperature, the cell maker's
data sheet, local codes and qualified people come first.

examples/09_pull_off.cpp is the same in C++.
"""

import voltkeel as vk

DEGC, SHAFT_RAD_S = 4.0, 60.0
pack = vk.load_pack("examples/invented_pack.json")
cell = pack.modules[0].cell
parallel = pack.modules[0].layout.parallel * len(pack.strings)  # both strings are alike and share evenly

groups = []
for g in range(vk.group_count(pack)):
    model = vk.CellModel(cell)
    model.reset(vk.ModelState(soc=0.11 + 0.002 * (g % 4), resistance_scale=1.35 if g == 9 else 1.1))
    groups.append(model)
tracker = vk.LimitTracker(vk.TrackerSettings(opening_time_s=4.0))
drive = vk.TorqueDrive(torque_max_Nm=180.0, efficiency=0.88, regeneration_efficiency=0.8, auxiliary_W=250.0)

print("  s  10 s found A  told A  pulls A  used %  motoring Nm  found because")
current_A = 0.0
for second in range(81):
    known = []
    for model in groups:
        state = model.state
        state.soc_std = 0.01
        state.temperature_degC = DEGC
        known.append(vk.GroupState(state=state, resistance_log_std=0.03))
    found = vk.pack_limits(pack, known)
    told = tracker.update(found, current_A, 1.0)
    limit = told[1].discharge
    torque = vk.torque_limits(drive, told[1].charge.power_W, limit.power_W, SHAFT_RAD_S)
    pulls = 5 <= second < 25 or second >= 70
    current_A = limit.current_A if pulls else 0.1 * limit.current_A
    if second % 5 == 0:
        why = found[1].discharge
        group = f", group {why.group}" if why.group >= 0 else ""
        print(
            f"{second:3d}  {why.current_A:12.1f} {limit.current_A:7.1f} {current_A:8.1f}"
            f"  {100 * tracker.discharge_used(1):6.1f}  {torque.motoring_Nm:11.1f}  {why.reason.message}{group}"
        )
    for model in groups:
        model.step(current_A / parallel, 1.0, DEGC)

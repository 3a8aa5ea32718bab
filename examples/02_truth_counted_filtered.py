"""How far counting charge drifts when the current sensor reads low and the start is not known, and what the filter
makes of the same readings. Truth, counted and filtered are printed side by side; the cell is invented.

examples/02_truth_counted_filtered.cpp is the same in C++ (with other random numbers).
"""

import numpy as np
import voltkeel as vk

cell = vk.load_cell("examples/invented_cell.json")
truth = vk.CellModel(cell)
truth.reset(vk.ModelState(soc=0.9, resistance_scale=1.3, temperature_degC=15.0))  # an aged cell at 90 %
filter = vk.SocFilter(cell)
filter.start(soc=0.6, soc_std=0.2, temperature_degC=15.0)  # told 60 %, and that it may be 20 points off
counted = 0.6

random = np.random.default_rng(7)
print("  min  truth  counted  filtered   +-  resistance")
for second in range(5401):
    # Manoeuvres, transit, idling; positive charges.
    load_A = -9.0 if second % 300 < 60 else (-3.0 if second % 300 < 240 else 0.0)
    voltage_V = truth.step(load_A, 1.0, 15.0) + 0.003 * random.normal()
    read_A = load_A + 0.15 + 0.05 * random.normal()  # reads 0.15 A too much charge
    counted += read_A / 3600 / cell.capacity_Ah
    estimate = filter.step(read_A, voltage_V, 15.0, 1.0)
    if second % 900 == 0:
        print(
            f"{second // 60:5d}  {100 * truth.state.soc:5.1f}    {100 * counted:5.1f}     {100 * estimate.soc:5.1f}"
            f"  {100 * estimate.soc_std:3.1f}        {estimate.resistance_scale:4.2f}"
        )

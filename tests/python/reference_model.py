"""The cell model a second time, for tests: the equations of include/voltkeel/cell/model.hpp as differential equations.

Written from the doc comments, with NumPy's interpolation, so that it shares no line with the library. Tables are
read straight from the fields of a cell file.
"""

from __future__ import annotations

import numpy as np
import voltkeel as vk
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

Array = NDArray[np.float64]
KELVIN = 273.15


class ReferenceCell:
    """One cell: its tables at any SOC and at tested temperatures, and its state equations."""

    def __init__(self, cell: vk.Cell) -> None:
        self.capacity_As = 3600 * cell.capacity_Ah
        self.efficiency = cell.coulombic_efficiency
        self.leak_per_s = cell.self_discharge_per_s
        self.hysteresis_rate = cell.hysteresis_rate
        self.heat_capacity_J_per_K = cell.thermal.heat_capacity_J_per_K
        self.thermal_resistance_K_per_W = cell.thermal.resistance_K_per_W
        self.rise_start, self.rise_ohm = cell.charge_rise.soc_start, cell.charge_rise.resistance_ohm
        self.rise_branch = cell.charge_rise.branch
        ocv = cell.ocv
        self.reference_degC = ocv.reference_temperature_degC
        self.ocv_soc = ocv.soc
        self.mean_V = (ocv.charge_V + ocv.discharge_V) / 2
        self.half_gap_V = (ocv.charge_V - ocv.discharge_V) / 2
        self.entropy_V_per_K = ocv.entropy_V_per_K
        grid = cell.resistance
        self.tested_K = grid.temperature_degC + KELVIN
        self.soc = grid.soc
        self.branches = len(grid.branches)
        # One stack of grids [quantity, temperature, soc]: R0, then every branch resistance, then every time.
        self.log_grids = np.log(
            [grid.r0_ohm, *[b.resistance_ohm for b in grid.branches], *[b.time_s for b in grid.branches]]
        )
        self._nodes: dict[float, Array] = {}

    def arrhenius(self, temperature_degC: float) -> Array:
        """Give R0, branch resistances and times over SOC: ln R straight in 1/T (between tested temperatures)."""
        inverse = 1 / self.tested_K
        at = 1 / (temperature_degC + KELVIN)
        assert inverse[-1] <= at <= inverse[0], "the reference does not extrapolate"
        return np.exp([[np.interp(at, inverse[::-1], column[::-1]) for column in grid.T] for grid in self.log_grids])

    def columns(self, temperature_degC: float) -> Array:
        """Give the same the way a controller's table holds it: Arrhenius at every 2.5 K, straight in between."""
        below = 2.5 * np.floor(temperature_degC / 2.5)
        share = (temperature_degC - below) / 2.5
        low = self._node(below)
        return low if share == 0 else low + share * (self._node(below + 2.5) - low)

    def _node(self, temperature_degC: float) -> Array:
        if temperature_degC not in self._nodes:
            self._nodes[temperature_degC] = self.arrhenius(temperature_degC)
        return self._nodes[temperature_degC]

    def resistances(self, soc: float, temperature_degC: float) -> tuple[float, Array, Array]:
        """Give R0, branch resistances and times; held outside SOC 0..1."""
        values = np.array([np.interp(soc, self.soc, column) for column in self.columns(temperature_degC)])
        return values[0], values[1 : 1 + self.branches], values[1 + self.branches :]

    def rise(self, soc: float) -> float:
        """Give the extra resistance to a charging current near full."""
        return self.rise_ohm * float(np.interp(soc, [self.rise_start, 1.0], [0.0, 1.0])) ** 2

    def ocv(self, soc: float, temperature_degC: float, hysteresis: float) -> float:
        entropy = np.interp(soc, self.ocv_soc, self.entropy_V_per_K)
        return float(
            np.interp(soc, self.ocv_soc, self.mean_V)
            + (temperature_degC - self.reference_degC) * entropy
            + hysteresis * np.interp(soc, self.ocv_soc, self.half_gap_V)
        )

    def voltage(self, state: Array, current_A: float, temperature_degC: float) -> float:
        """Terminal voltage of a state [soc, u_1 .. u_N, h]."""
        r0 = self.resistances(state[0], temperature_degC)[0]
        return self.ocv(state[0], temperature_degC, state[-1]) + r0 * current_A + float(state[1:-1].sum())

    def slope(self, state: Array, current_A: float, temperature_degC: float) -> Array:
        """Time derivative of [soc, u_1 .. u_N, h] while a current flows."""
        _, ohm, time_s = self.resistances(state[0], temperature_degC)
        if current_A > 0:
            ohm[self.rise_branch] += self.rise(state[0])
        by_current = (self.efficiency if current_A > 0 else 1.0) * current_A / self.capacity_As
        turn = self.hysteresis_rate * abs(by_current) * (np.sign(current_A) - state[-1])
        return np.concatenate(([by_current - self.leak_per_s], (ohm * current_A - state[1:-1]) / time_s, [turn]))

    def heat_W(self, state: Array, current_A: float, temperature_degC: float) -> float:
        """I (V - OCV) + I T dOCV/dT, see include/voltkeel/cell/heat.hpp."""
        entropy = float(np.interp(state[0], self.ocv_soc, self.entropy_V_per_K))
        over_V = self.voltage(state, current_A, temperature_degC) - self.ocv(state[0], temperature_degC, state[-1])
        return current_A * (over_V + (temperature_degC + KELVIN) * entropy)

    def slope_with_heat(self, state: Array, current_A: float, ambient_degC: float) -> Array:
        """Time derivative of [soc, u_1 .. u_N, h, temperature]."""
        cell, temperature_degC = state[:-1], float(state[-1])
        heat_W = self.heat_W(cell, current_A, temperature_degC)
        lost_W = (temperature_degC - ambient_degC) / self.thermal_resistance_K_per_W
        warming = (heat_W - lost_W) / self.heat_capacity_J_per_K
        return np.append(self.slope(cell, current_A, temperature_degC), warming)

    def slope_with_late_warmth(
        self, state: Array, current_A: float, ambient_degC: float, scale: float, lag_s: float
    ) -> Array:
        """Time derivative of [soc, u_1 .. u_N, h, temperature, the temperature that voltages have come to].

        The limits' own law, see LimitSettings in include/voltkeel/limits/current_limits.hpp. `scale` is that of the
        resistances.
        """
        cell, temperature_degC, felt_degC = state[:-2], float(state[-2]), float(state[-1])
        entropy = float(np.interp(state[0], self.ocv_soc, self.entropy_V_per_K))
        over_V = self.scaled_voltage(state, current_A, scale) - self.ocv(state[0], felt_degC, state[-3])
        heat_W = current_A * (over_V + (temperature_degC + KELVIN) * entropy)
        lost_W = (temperature_degC - ambient_degC) / self.thermal_resistance_K_per_W
        warming = (heat_W - lost_W) / self.heat_capacity_J_per_K
        late = (temperature_degC - felt_degC) / lag_s
        return np.concatenate((self.slope(cell, current_A, felt_degC), [warming, late]))

    def scaled_voltage(self, state: Array, current_A: float, scale: float) -> float:
        """Terminal voltage of such a state."""
        ocv = self.ocv(state[0], float(state[-1]), state[-3])
        return ocv + scale * (self.voltage(state[:-2], current_A, float(state[-1])) - ocv)

    def integrate(self, state: Array, current_A: float, temperature_degC: float, time_s: Array) -> Array:
        """States at `time_s` (from 0) at a held current and temperature."""
        solution = solve_ivp(
            lambda _, x: self.slope(x, current_A, temperature_degC),
            (0.0, float(time_s[-1])),
            state,
            method="DOP853",
            t_eval=time_s,
            rtol=1e-10,
            atol=1e-12,
            max_step=5.0,  # the tables have kinks
        )
        assert solution.success, solution.message
        return solution.y

"""The simulator against SciPy: cells, Kirchhoff's laws and heat written a second time, integrated by solve_ivp.

The circuit is solved here as one linear system of all laws at once, not by collecting sources as the library does;
cells follow reference_model.py; temperatures follow their differential equations.
"""

from __future__ import annotations

import numpy as np
import pytest
import voltkeel as vk
from conftest import make_cell
from reference_model import KELVIN, ReferenceCell
from scipy.integrate import solve_ivp


class ReferencePack:
    """Strings of groups of cells, all of one kind: laws of current, voltage and heat."""

    def __init__(self, pack: vk.Pack, differ: vk.CellDifferences, bleeding: list[bool]) -> None:
        kind = pack.modules[0]
        self.reference = ReferenceCell(kind.cell)
        self.thermal = kind.cell.thermal
        self.pack, self.kind = pack, kind
        self.parallel = kind.layout.parallel
        self.series = kind.layout.series
        self.strings = len(pack.strings)
        self.groups = self.strings * self.series
        self.cells = self.groups * self.parallel
        ones = np.ones(self.cells)
        self.capacity = differ.capacity_factor if len(differ.capacity_factor) else ones
        self.resistance = differ.resistance_factor if len(differ.resistance_factor) else ones
        self.bleed_heat_share = pack.bleed.heat_to_cells
        self.leak_A = differ.leak_A if len(differ.leak_A) else 0 * ones
        self.bleed_S = np.where(bleeding, pack.bleed.duty / pack.bleed.resistance_ohm, 0.0)
        # soc, u_1 .. u_N, w of a charge transfer, h, core, case
        transfer = kind.cell.resistance.charge_transfer
        self.transfer = None
        if transfer is not None:  # the same everywhere in these tests
            self.transfer = (transfer.scale_V[0, 0], transfer.exchange_current_A[0, 0], transfer.time_s[0, 0])
        self.size = self.reference.branches + 4 + (self.transfer is not None)

    def look(self, x: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Give voltage without current, resistance and OCV of every cell."""
        emf, ohm, ocv = np.empty(self.cells), np.empty(self.cells), np.empty(self.cells)
        for k, state in enumerate(x):
            core = state[-2]
            ocv[k] = self.reference.ocv(state[0], core, state[-3])
            ohm[k] = self.resistance[k] * self.reference.resistances(state[0], core)[0]
            emf[k] = ocv[k] + self.resistance[k] * state[1:-3].sum()
        return emf, ohm, ocv

    def solve(self, x: np.ndarray, kind: str, amount: float) -> dict[str, np.ndarray]:
        """Solve for currents and voltages of one instant from all laws at once.

        Unknowns: cell currents, group voltages, string currents, joint voltage, terminal voltage, pack current.
        """
        emf, ohm, _ = self.look(x)
        c, g, s = self.cells, self.groups, self.strings
        n = c + g + s + 3
        joint, terminal, total = n - 3, n - 2, n - 1
        laws, right = np.zeros((n, n)), np.zeros(n)
        row = 0
        for k in range(c):  # V_group = emf + (ohm + link) I
            laws[row, c + k // self.parallel] = 1
            laws[row, k] = -(ohm[k] + self.kind.cell_link_ohm)
            right[row] = emf[k]
            row += 1
        for j in range(g):  # string current = cells + bleed
            laws[row, c + g + j // self.series] = 1
            laws[row, j * self.parallel : (j + 1) * self.parallel] = -1
            laws[row, c + j] = -self.bleed_S[j]
            row += 1
        for i, string in enumerate(self.pack.strings):  # joint = groups + drops of the string
            series_ohm = (
                string.busbar_ohm
                + string.contactor.resistance_ohm
                + string.fuse.resistance_ohm
                + (self.series - 1) * self.kind.interconnect_ohm
            )
            laws[row, joint] = 1
            laws[row, c + i * self.series : c + (i + 1) * self.series] = -1
            laws[row, c + g + i] = -series_ohm
            row += 1
        laws[row, total] = 1
        laws[row, c + g : c + g + s] = -1
        laws[row + 1, [terminal, joint, total]] = 1, -1, -self.pack.busbar_ohm
        if kind == "current":
            laws[row + 2, total], right[row + 2] = 1, amount
            found = np.linalg.solve(laws, right)
        elif kind == "resistance":
            laws[row + 2, [terminal, total]] = 1, amount
            found = np.linalg.solve(laws, right)
        elif kind == "voltage":
            laws[row + 2, terminal], right[row + 2] = 1, amount
            found = np.linalg.solve(laws, right)
        else:  # power, by Newton's method on the current
            current = 0.0
            for _ in range(50):
                laws[row + 2], right[row + 2] = 0, current
                laws[row + 2, total] = 1
                found = np.linalg.solve(laws, right)
                slope = np.linalg.solve(laws, np.eye(n)[row + 2])[terminal]
                change = (found[terminal] * current - amount) / (found[terminal] + slope * current)
                current -= change
                if abs(change) < 1e-13 * max(1.0, abs(current)):
                    break
        return {
            "cell_A": found[:c],
            "group_V": found[c : c + g],
            "string_A": found[c + g : c + g + s],
            "voltage_V": found[terminal],
            "current_A": found[total],
        }

    def slope(self, flat: np.ndarray, kind: str, amount: float, ambient: np.ndarray) -> np.ndarray:
        x = flat.reshape(self.cells, self.size)
        at = self.solve(x, kind, amount)
        emf, ohm, ocv = self.look(x)
        out = np.zeros_like(x)
        thermal, kind_ = self.thermal, self.kind
        case_J_per_K = thermal.heat_capacity_J_per_K - thermal.core_heat_capacity_J_per_K
        for k in range(self.cells):
            current, core = at["cell_A"][k], x[k, -2]
            cell = x[k, :-2]
            if self.transfer is None:
                by = self.reference.slope(cell, current, core)
            else:  # tau dw/dt = (s / I0) (I - I0 sinh(w / s)), see include/voltkeel/cell/charge_transfer.hpp
                by = self.reference.slope(np.delete(cell, -2), current, core)
                scale, exchange, time_s = self.transfer
                moved = scale / exchange * (current - exchange * np.sinh(cell[-2] / scale)) / time_s
                by = np.insert(by, -1, moved)
            # The reference cell has the capacity of the file; one of more fills and turns more slowly.
            gain = (by[0] + self.reference.leak_per_s) / self.capacity[k]
            lost = self.leak_A[k] / (self.reference.capacity_As * self.capacity[k])
            by[0] = gain - self.reference.leak_per_s - lost
            by[-1] /= self.capacity[k]
            out[k, :-2] = by
            entropy = np.interp(x[k, 0], self.reference.ocv_soc, self.reference.entropy_V_per_K)
            heat = current * (emf[k] - ocv[k] + ohm[k] * current) + current * (core + KELVIN) * entropy
            through = (core - x[k, -1]) / thermal.core_resistance_K_per_W
            out[k, -2] = (heat - through) / thermal.core_heat_capacity_J_per_K
            out[k, -1] = through - (x[k, -1] - ambient[k]) / thermal.resistance_K_per_W
            group = k // self.parallel
            bled_W = at["group_V"][group] ** 2 * self.bleed_S[group]
            out[k, -1] += self.bleed_heat_share * bled_W / self.parallel
        for k in range(self.cells):  # the neighbour in the next group of the string, and in the group
            if k // self.parallel % self.series < self.series - 1:
                over = kind_.group_link_W_per_K / self.parallel * (x[k, -1] - x[k + self.parallel, -1])
                out[k, -1] -= over
                out[k + self.parallel, -1] += over
            if k % self.parallel < self.parallel - 1:
                over = kind_.cell_link_W_per_K * (x[k, -1] - x[k + 1, -1])
                out[k, -1] -= over
                out[k + 1, -1] += over
        out[:, -1] /= case_J_per_K
        return out.ravel()


def small_pack(
    random: np.random.Generator, strings: int, series: int, parallel: int, branches: int, transfer: bool
) -> vk.Pack:
    cell = make_cell(branches)
    if transfer:
        resistance = cell.resistance
        shape = resistance.r0_ohm.shape
        resistance.charge_transfer = vk.ChargeTransferGrid(
            scale_V=np.full(shape, 0.024), exchange_current_A=np.full(shape, 1.1), time_s=np.full(shape, 0.8)
        )
        cell.resistance = resistance
    thermal = cell.thermal
    thermal.core_resistance_K_per_W, thermal.core_heat_capacity_J_per_K = 1.8, 36.0
    cell.thermal = thermal
    module = vk.PackModule(
        name="block",
        cell_file="cell.json",
        cell=cell,
        layout=vk.PackLayout(series=series, parallel=parallel),
        cell_link_ohm=random.uniform(0, 2e-3),
        interconnect_ohm=random.uniform(0, 1e-3),
        group_link_W_per_K=random.uniform(0.05, 0.5),
        cell_link_W_per_K=random.uniform(0, 0.3),
    )
    return vk.Pack(
        name="boat",
        modules=[module],
        strings=[
            vk.PackString(
                name=f"string {k}",
                modules=["block"],
                busbar_ohm=random.uniform(0, 5e-3),
                contactor=vk.Contactor(resistance_ohm=random.uniform(0, 1e-3)),
                fuse=vk.Fuse(resistance_ohm=random.uniform(0, 1e-3)),
            )
            for k in range(strings)
        ],
        busbar_ohm=random.uniform(0, 1e-3),
        bleed=vk.BleedResistors(resistance_ohm=33.0, duty=0.7, heat_to_cells=random.uniform(0, 1)),
    )


@pytest.mark.parametrize(("strings", "branches"), [(1, 1), (1, 2), (2, 2)])
def test_the_end_of_a_charge_is_found_to_a_millisecond(random, strings, branches):
    """Constant current, then constant voltage down to an end current, of unequal strings: by solve_ivp's own events."""
    pack = small_pack(random, strings, 1, 1, branches, transfer=False)
    cells = strings
    differ = vk.draw_differences(pack, vk.SpreadSettings(seed=int(random.integers(2**63)), resistance_log_std=0.2))
    soc = 0.6
    settings = vk.SimulationSettings(soc=soc, temperature_degC=25.0, differences=differ, heat=False)
    current_A, end_A = 2.0 * strings, 0.5 * strings
    reference = ReferencePack(pack, differ, [False] * cells)
    x = np.zeros((cells, reference.size))
    x[:, 0], x[:, -2:] = soc, 25.0

    def slope(_: float, y: np.ndarray, kind: str, amount: float) -> np.ndarray:
        by = reference.slope(y, kind, amount, np.full(cells, 25.0)).reshape(cells, reference.size)
        by[:, -2:] = 0  # no heat
        return by.ravel()

    def solved(y: np.ndarray, kind: str, amount: float) -> dict[str, np.ndarray]:
        return reference.solve(y.reshape(cells, reference.size), kind, amount)

    options = {"method": "DOP853", "rtol": 1e-11, "atol": 1e-13, "max_step": 2.0}
    limit_V = float(solved(x.ravel(), "current", current_A)["voltage_V"]) + 0.06

    def full(_: float, y: np.ndarray) -> float:
        return float(solved(y, "current", current_A)["voltage_V"]) - limit_V

    def ended(_: float, y: np.ndarray) -> float:
        return float(solved(y, "voltage", limit_V)["current_A"]) - end_A

    full.terminal = ended.terminal = True  # type: ignore[attr-defined]
    rise = solve_ivp(lambda t, y: slope(t, y, "current", current_A), (0, 5000), x.ravel(), events=full, **options)
    fall = solve_ivp(lambda t, y: slope(t, y, "voltage", limit_V), (0, 9000), rise.y[:, -1], events=ended, **options)
    expected_s = float(rise.t_events[0][0] + fall.t_events[0][0])
    charge = vk.current_load(current_A, 1e5)
    charge.voltage_max_V, charge.end_current_A = limit_V, end_A
    result = vk.simulate(pack, [charge], settings)
    print(f"{expected_s:.6f} s, {1e3 * (result.events[-1].time_s - expected_s):+.3f} ms, {result.step_count} sub-steps")
    assert result.events[-1].kind == vk.SimulationEventKind.end_current
    assert result.events[-1].time_s == pytest.approx(expected_s, abs=1e-3)


@pytest.mark.parametrize(
    ("strings", "series", "parallel", "branches", "transfer"),
    [(1, 2, 2, 2, False), (2, 2, 1, 3, False), (2, 1, 3, 1, False), (3, 2, 2, 2, False), (2, 1, 2, 2, True)],
)
def test_small_packs_follow_the_differential_equations(random, strings, series, parallel, branches, transfer):
    """Voltage within 0.01 mV, split within 0.1 mA, temperature within 1 mK (the project's own bounds)."""
    pack = small_pack(random, strings, series, parallel, branches, transfer)
    cells = strings * series * parallel
    differ = vk.draw_differences(
        pack,
        vk.SpreadSettings(
            seed=int(random.integers(2**63)),
            capacity_log_std=0.03,
            resistance_log_std=0.2,
            soc_std=0.02,
            leak_median_A=1e-3,
            leak_log_std=0.5,
            temperature_std_K=3.0,
        ),
    )
    settings = vk.SimulationSettings(
        soc=float(random.uniform(0.35, 0.65)),
        hysteresis=float(random.uniform(-0.5, 0.5)),
        temperature_degC=16.0,
        differences=differ,
        record_cells=True,
        output_interval_s=10.0,
    )
    start = vk.start_state(pack, settings)
    start.bleeding = [bool(b) for b in random.random(strings * series) < 0.5]
    settings.start = start
    top = strings * parallel
    voltage = series * 3.5
    load = [
        ("current", float(-3.0 * top)),
        ("power", float(2.0 * top * voltage)),
        ("resistance", voltage / (2.5 * top)),
        ("current", 0.0),
        ("voltage", voltage * 1.02),
    ]
    length_s = 60.0
    make = {
        "current": vk.current_load,
        "power": vk.power_load,
        "resistance": vk.resistance_load,
        "voltage": vk.voltage_load,
    }
    result = vk.simulate(pack, [make[kind](amount, length_s) for kind, amount in load], settings)
    assert not result.events, [(e.time_s, e.kind.message) for e in result.events]

    reference = ReferencePack(pack, differ, start.bleeding)
    x = np.zeros((cells, reference.size))
    x[:, 0], x[:, -3], x[:, -2], x[:, -1] = start.soc, start.hysteresis, start.core_degC, start.case_degC
    worst = {"voltage_V": 0.0, "group_V": 0.0, "string_A": 0.0, "cell_A": 0.0, "soc": 0.0, "core": 0.0, "case": 0.0}
    row = 1
    for kind, amount in load:
        times = np.arange(10.0, length_s + 1, 10.0)
        solution = solve_ivp(
            lambda _, y, kind=kind, amount=amount: reference.slope(y, kind, amount, start.ambient_degC),
            (0.0, length_s),
            x.ravel(),
            method="DOP853",
            t_eval=times,
            rtol=1e-9,
            atol=1e-11,
            max_step=2.0,  # the tables have kinks
        )
        assert solution.success, solution.message
        for y in solution.y.T:
            x = y.reshape(cells, reference.size)
            at = reference.solve(x, kind, amount)
            found = {
                "voltage_V": result.voltage_V[row],
                "group_V": result.group_voltage_V[row],
                "string_A": result.string_current_A[row],
                "cell_A": result.cell_current_A[row],
            }
            expected = {**at, "soc": x[:, 0], "core": x[:, -2], "case": x[:, -1]}
            found |= {"soc": result.cell_soc[row], "core": result.cell_core_degC[row]}
            found["case"] = result.cell_case_degC[row]
            for name in worst:
                worst[name] = max(worst[name], float(np.abs(np.asarray(found[name]) - expected[name]).max()))
            row += 1
    assert row == len(result)
    print({name: f"{value:.2g}" for name, value in worst.items()}, result.step_count, "sub-steps")
    assert worst["voltage_V"] < 1e-5
    assert worst["group_V"] < 1e-5
    assert worst["string_A"] < 1e-4
    assert worst["cell_A"] < 1e-4
    assert worst["soc"] < 1e-7
    assert worst["core"] < 1e-3
    assert worst["case"] < 1e-3

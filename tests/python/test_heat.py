"""Core and case against SciPy's integrator, and the thermal fit of a log that was made with it."""

from __future__ import annotations

import re

import numpy as np
import pytest
import voltkeel as vk
from conftest import make_cell
from scipy.integrate import solve_ivp

AMBIENT_DEGC = 21.0


@pytest.fixture
def warm_cell() -> vk.Cell:
    """The shared invented cell with a core, one OCV branch and no entropy, so that heat is I (V - OCV)."""
    cell = make_cell()
    cell.ocv.charge_V = cell.ocv.discharge_V
    cell.ocv.entropy_V_per_K = np.zeros(len(cell.ocv.soc))
    cell.thermal = vk.ThermalFit(
        heat_capacity_J_per_K=45.0,
        resistance_K_per_W=8.0,
        core_resistance_K_per_W=2.0,
        core_heat_capacity_J_per_K=40.0,
        source="invented",
    )
    return cell


def temperatures(cell: vk.Cell, time_s: np.ndarray, heat_W: np.ndarray, start_degC: tuple[float, float]) -> np.ndarray:
    """Core and case at every time, heat held over the interval that ends there: solve_ivp, rtol 1e-9."""
    t = cell.thermal
    case_J_per_K = t.heat_capacity_J_per_K - t.core_heat_capacity_J_per_K
    rows = [np.array(start_degC)]
    for k in range(1, len(time_s)):

        def slope(_, x, heat=heat_W[k]):
            inner = (x[0] - x[1]) / t.core_resistance_K_per_W
            outer = (x[1] - AMBIENT_DEGC) / t.resistance_K_per_W
            return [(heat - inner) / t.core_heat_capacity_J_per_K, (inner - outer) / case_J_per_K]

        solved = solve_ivp(slope, (0, time_s[k] - time_s[k - 1]), rows[-1], rtol=1e-9, atol=1e-9)
        rows.append(solved.y[:, -1])
    return np.array(rows)


def warm_log(cell: vk.Cell) -> tuple[vk.Log, np.ndarray]:
    """Ten minutes of 3 C discharge and charge in turns, then half an hour of rest; the core's temperatures too."""
    model = vk.CellModel(cell)
    model.reset(vk.ModelState(soc=0.6))
    current = np.concatenate(([0.0], np.tile([-1.0] * 12 + [1.0] * 12, 5) * 3 * cell.capacity_Ah, np.zeros(360)))
    time = 5.0 * np.arange(len(current))
    voltage = np.array([model.step(i, 5.0 * (k > 0), 25.0) for k, i in enumerate(current)])
    # Heat by hand: SOC counted here, the OCV read from the cell's table.
    soc = 0.6 + np.cumsum(current * 5.0) / (3600 * cell.capacity_Ah)
    ocv = np.array([model.ocv_V(s, 25.0) for s in soc])
    heat = current * (voltage - ocv)
    both = temperatures(cell, time, heat, (AMBIENT_DEGC, AMBIENT_DEGC))
    return vk.Log(time, current, voltage, both[:, 1], source="warm"), both[:, 0]


def test_trace_finds_the_core_and_the_surroundings(warm_cell):
    log, core_degC = warm_log(warm_cell)
    trace = vk.thermal_trace(log, warm_cell)
    at = np.searchsorted(log.time_s, trace.time_s)
    assert np.array_equal(log.time_s[at], trace.time_s)
    assert core_degC.max() - log.temperature_degC.max() > 3
    # The trace reads the OCV at the case's temperature and at the SOC of its own start: 1 % of the rise.
    assert np.abs(trace.core_degC - core_degC[at]).max() < 0.01 * (core_degC.max() - AMBIENT_DEGC) + 0.02
    assert np.abs(trace.ambient_degC - AMBIENT_DEGC).max() < 0.15
    assert trace.residual_rms_K < 0.05


def test_fit_finds_the_values_of_the_log(warm_cell):
    log, _ = warm_log(warm_cell)
    fit = vk.fit_thermal([log], warm_cell)
    truth = warm_cell.thermal
    assert fit.source.startswith("fitted to the case temperatures of 1 log")
    for name in (
        "heat_capacity_J_per_K",
        "resistance_K_per_W",
        "core_resistance_K_per_W",
        "core_heat_capacity_J_per_K",
    ):
        value, std = getattr(fit, name), getattr(fit, name + "_std")
        assert 0 < std < 0.6 * value, name
        assert abs(value - getattr(truth, name)) < 3 * std, (name, value, std)


def test_bad_input_is_named(warm_cell):
    log, _ = warm_log(warm_cell)
    short = vk.Log(log.time_s[:1], log.current_A[:1], log.voltage_V[:1], log.temperature_degC[:1], source="short")
    with pytest.raises(vk.DataError, match="short: a thermal trace needs at least 2 rows"):
        vk.thermal_trace(short, warm_cell)
    warm_cell.thermal.core_heat_capacity_J_per_K = 45.0
    with pytest.raises(vk.DataError, match=r"thermal\.core_heat_capacity_J_per_K"):
        vk.thermal_trace(log, warm_cell)


def test_core_takes_part_in_limits_and_charge(warm_cell):
    warm_cell.window.discharge_temperature_max_degC = 45.0
    hot = vk.ModelState(soc=0.5, temperature_degC=44.0)
    even = vk.current_limits(warm_cell, hot, [30.0])[0].discharge
    hot.core_over_case_K = 4.0
    cooler_case = vk.current_limits(warm_cell, hot, [30.0])[0].discharge
    assert even.reason == vk.LimitReason.temperature
    assert cooler_case.current_A < even.current_A < 0
    hot.core_over_case_K = 500.0
    with pytest.raises(vk.DataError, match="core_over_case_K: 500"):
        vk.current_limits(warm_cell, hot, [30.0])
    state = vk.ModelState(soc=0.2, temperature_degC=20.0)
    with_core = vk.time_to_full(warm_cell, state, warm_cell.charge, 20.0).forecast
    warm_cell.thermal.core_resistance_K_per_W = 0.0
    one_mass = vk.time_to_full(warm_cell, state, warm_cell.charge, 20.0).forecast
    assert with_core.highest_temperature_degC > one_mass.highest_temperature_degC


def test_old_files_load_as_one_mass(warm_cell):
    text = "\n".join(line for line in vk.to_json(warm_cell).splitlines() if '"core_' not in line)
    cell = vk.parse_cell(text)
    assert cell.thermal.core_resistance_K_per_W == 0
    assert cell.thermal.heat_capacity_J_per_K == 45.0


def test_public_cell_a_meets_logs_it_was_not_fitted_to(cell_a_data, cell_a_fit):
    """Kollmeyer 2018: the case of drives, from pulse tests alone."""

    def read(name: str) -> vk.Log:
        return vk.read_log(cell_a_data / f"{name}.csv", current_offset_A=0.009)[0]

    cell = cell_a_fit.cell
    heat = cell.thermal
    assert heat.source.startswith("fitted")
    # 46 to 48 g of 18650 at 830 to 1000 J/(kg K) (published range, from memory, not re-read): 38 to 48 J/K.
    assert abs(heat.heat_capacity_J_per_K - 43) < 5 + 2 * heat.heat_capacity_J_per_K_std
    for name, bound_K in (
        ("drive_25degC_US06", 0.4),
        ("drive_10degC_US06", 0.3),
        ("drive_0degC_Cycle_4", 0.3),
        ("discharge_1C_25degC_03-09", 0.6),
    ):
        log = read(name)
        trace = vk.thermal_trace(log, cell)
        rise_K = log.temperature_degC.max() - log.temperature_degC.min()
        print(f"{name}: {trace.residual_rms_K:.2f} K of {rise_K:.1f} K rise")
        assert trace.residual_rms_K < bound_K < 0.1 * rise_K, name


def test_demo_against_the_truth_of_its_generator(demo, demo_fit):
    """The generator steps core and case by itself, with surroundings that wander; the fit sees the case."""
    text = (demo / "make_demo.py").read_text(encoding="utf-8")
    core, case, inner = (
        float(re.search(rf"^{name} = ([\d.]+)$", text, re.MULTILINE)[1])
        for name in ("CORE_J_K", "CASE_J_K", "CORE_TO_CASE_K_W")
    )
    outer = 6.0  # Place(..., 6.0) of every pulse test
    heat = demo_fit.cell.thermal
    # The entropy is known to 0.1 mV/K, and in the slow discharges between pulses that is half of the heat.
    assert heat.resistance_K_per_W_std < 0.25 * heat.resistance_K_per_W
    assert abs(heat.resistance_K_per_W - outer) < 2 * heat.resistance_K_per_W_std
    # The two time constants that a case shows, as their sum and as their product over the sum.
    slow_s = heat.resistance_K_per_W * heat.heat_capacity_J_per_K
    slow_s += heat.core_resistance_K_per_W * heat.core_heat_capacity_J_per_K
    assert abs(slow_s / (outer * (core + case) + inner * core) - 1) < 0.03
    share = heat.core_heat_capacity_J_per_K / heat.heat_capacity_J_per_K
    lag_s = heat.core_resistance_K_per_W * heat.core_heat_capacity_J_per_K * (1 - share)
    assert abs(lag_s / (inner * core * case / (core + case)) - 1) < 0.35
    # How they split is what is usual, and the spreads allow for this cell, which is not.
    for name, truth in (
        ("heat_capacity_J_per_K", core + case),
        ("resistance_K_per_W", outer),
        ("core_resistance_K_per_W", inner),
        ("core_heat_capacity_J_per_K", core),
    ):
        value, std = getattr(heat, name), getattr(heat, name + "_std")
        assert abs(value - truth) < 3 * std, (name, value, std)

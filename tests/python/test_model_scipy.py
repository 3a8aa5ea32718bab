"""The model against SciPy: its differential equations integrated, its OCV inverted, its law of temperature."""

from __future__ import annotations

import numpy as np
import pytest
import voltkeel as vk
from conftest import make_cell
from reference_model import ReferenceCell
from scipy.optimize import brentq

BLOCK_S = 60


def profile(random: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Currents and temperatures, each held for a block: charge, discharge and rests over most of the SOC."""
    current = random.uniform(-5, 1.5, 80)
    current[random.random(80) < 0.15] = 0.0
    current[:3] = 1.5, 0.4, 1.5  # from 90 % up, where the charge rise acts
    net_A = -0.7 * 3.0 * 3600 / BLOCK_S  # whatever the seed, 70 % of 3 Ah are taken out in the end
    current[current < 0] *= (net_A - current[current > 0].sum()) / current[current < 0].sum()
    temperature = random.uniform(-9.5, 29.5, 80)
    return current, temperature


def reference_run(reference: ReferenceCell, start, current, temperature):
    """Voltage and SOC at the end of every second."""
    state = start
    voltage, soc = [], []
    seconds = np.arange(1.0, BLOCK_S + 1)
    for i, t in zip(current, temperature, strict=True):
        states = reference.integrate(state, i, t, seconds)
        voltage += [reference.voltage(x, i, t) for x in states.T]
        soc += list(states[0])
        state = states[:, -1]
    return np.array(voltage), np.array(soc)


def model_run(cell: vk.Cell, start, current, temperature, step_s: int):
    """The same from the library, with steps of `step_s`."""
    model = vk.CellModel(cell)
    model.reset(vk.ModelState(soc=start[0], branch_V=list(start[1:-1]), hysteresis=start[-1]))
    per_block = BLOCK_S // step_s
    time_s = np.arange(len(current) * per_block + 1.0) * step_s
    with_start = lambda x: np.concatenate((x[:1], np.repeat(x, per_block)))  # noqa: E731
    voltage, soc = model.run(time_s, with_start(current), with_start(temperature))
    return voltage[1:], soc[1:]


@pytest.mark.parametrize("branches", [1, 3, 4])
def test_steps_follow_the_differential_equations(random, branches):
    cell = make_cell(branches)
    reference = ReferenceCell(cell)
    current, temperature = profile(random)
    start = np.concatenate(([0.90], 0.004 * random.standard_normal(branches), [-0.3]))
    voltage_V, soc = reference_run(reference, start, current, temperature)
    assert 0.05 < soc.min() < 0.3, "the profile is to walk most of the SOC"
    assert soc.max() > 0.91
    model_V, model_soc = model_run(cell, start, current, temperature, 1)
    assert np.abs(model_soc - soc).max() < 1e-9
    worst = np.abs(model_V - voltage_V).max()
    assert worst < 1e-4, f"{1e3 * worst:.4f} mV"

    # Second order in the step, seen where all steps end: four times less for half the step.
    every = 10
    errors = []
    for step_s in (10, 5, 2, 1):
        coarse_V, _ = model_run(cell, start, current, temperature, step_s)
        difference_V = coarse_V[every // step_s - 1 :: every // step_s] - voltage_V[every - 1 :: every]
        errors.append(float(np.sqrt(np.mean(difference_V**2))))
    orders = np.log(np.divide(errors[:-1], errors[1:])) / np.log([2, 2.5, 2])
    assert ((orders > 1.75) & (orders < 2.25)).all(), f"rms errors {errors} V at 10, 5, 2, 1 s: orders {orders}"


def test_run_is_many_steps(cell, random):
    current = random.uniform(-3, 3, 200)
    dt = random.uniform(0.05, 30, 200)
    temperature = random.uniform(0, 30, 200)
    one, other = vk.CellModel(cell), vk.CellModel(cell)
    start = vk.ModelState(soc=0.6)
    one.reset(start)
    other.reset(start)
    time_s = np.concatenate(([0.0], np.cumsum(dt)))
    voltage, soc = one.run(time_s, np.concatenate(([0], current)), np.concatenate(([25], temperature)))
    stepped = [
        other.step(float(i), float(t1 - t0), float(t))
        for i, t0, t1, t in zip(current, time_s, time_s[1:], temperature, strict=False)
    ]
    assert np.array_equal(voltage[1:], stepped)
    assert one.state.soc == other.state.soc == soc[-1]


def test_a_refused_run_changes_nothing(cell):
    model = vk.CellModel(cell)
    model.reset(vk.ModelState(soc=0.6))
    for time, current, temperature, text in (
        ([0, 1, 2], [0, 1, np.nan], [25.0], r"current_A\[2\]"),
        ([0, 1, 2], [0, 1, 2], [25.0, np.inf, 25.0], r"temperature_degC\[1\]"),
        ([0, 2, 1], [0, 1, 2], [25.0], r"time_s\[2\]: 1.0* is before 2"),
        ([0, 1, 2], [0, 1], [25.0], "current_A: has 2 values, time_s has 3"),
    ):
        with pytest.raises(vk.DataError, match=text):
            model.run(time, current, temperature)
        assert model.state.soc == 0.6
        assert model.state.branch_V == [0, 0, 0]


@pytest.mark.parametrize("hysteresis", [-1.0, 0.0, 0.4, 1.0])
def test_ocv_inverse_against_brentq(cell, random, hysteresis):
    reference = ReferenceCell(cell)
    model = vk.CellModel(cell)
    for temperature in (-10.0, 22.0, 40.0):
        ends = [reference.ocv(s, temperature, hysteresis) for s in (0, 1)]
        for voltage in random.uniform(*ends, 50):
            expected = brentq(lambda s, v=voltage, t=temperature: reference.ocv(s, t, hysteresis) - v, 0, 1, xtol=1e-13)
            found = model.soc_from_ocv(float(voltage), temperature, hysteresis)
            assert abs(found - expected) < 1e-10, (voltage, temperature)
        for outside in (ends[0] - 1e-3, ends[1] + 1e-3):
            with pytest.raises(vk.DataError, match=r"voltage_V: .* outside the table"):
                model.soc_from_ocv(outside, temperature, hysteresis)


def test_ocv_and_slope_against_interpolation(cell):
    reference = ReferenceCell(cell)
    model = vk.CellModel(cell)
    soc = np.linspace(0.0012, 0.9987, 331)
    expected = [reference.ocv(s, 5.0, -0.5) for s in soc]
    assert np.abs(model.ocv_V(soc, 5.0, -0.5) - expected).max() < 1e-13
    step = 1e-7
    slope = (model.ocv_V(soc + step, 5.0) - model.ocv_V(soc - step, 5.0)) / (2 * step)
    assert np.abs(model.ocv_slope_V(soc, 5.0) - slope).max() < 1e-7


def test_resistances_follow_arrhenius(cell):
    """Within the 1 % that include/voltkeel/cell/resistance.hpp promises for straight lines between nodes."""
    reference = ReferenceCell(cell)
    model = vk.CellModel(cell)
    for temperature in np.linspace(-10, 30, 41):
        exact = reference.arrhenius(float(temperature))[:, 3]
        got = model.resistance_at(0.3, float(temperature))
        values = np.concatenate(([got["r0_ohm"]], got["branch_ohm"], got["branch_time_s"]))
        assert np.abs(values / exact - 1).max() < (1e-12 if temperature % 2.5 == 0 else 0.01)

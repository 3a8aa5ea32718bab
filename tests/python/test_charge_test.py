"""The fit to charges and the refinement from Python; the numbers behind them are tested in C++."""

from __future__ import annotations

import numpy as np
import pytest
import voltkeel as vk
from conftest import make_cell
from scipy.optimize import brentq, least_squares


def model_of(cell: vk.Cell, soc: float, hysteresis: float) -> vk.CellModel:
    model = vk.CellModel(cell)
    model.reset(vk.ModelState(soc=soc, hysteresis=hysteresis))
    return model


def charge_log(cell: vk.Cell, start: float, current_A: float, held_V: float, end_A: float) -> vk.Log:
    """A CC-CV charge in rows of 20 s: what each row takes is found by Brent's method on the model's voltage."""
    rows = [(0.0, 0.0)] * 15
    model = model_of(cell, start, -1.0)
    state = model.state
    flowing = current_A
    while flowing > end_A:

        def over_V(current: float, state: vk.ModelState = state) -> float:
            model.reset(state)
            return float(model.step(current, 20.0, 25.0)) - held_V

        flowing = current_A if over_V(current_A) <= 0 else brentq(over_V, 0.0, current_A, xtol=1e-9)
        over_V(flowing)
        state = model.state
        rows.append((20.0, flowing))
    rows += [(20.0, 0.0)] * 30
    current = np.array([row[1] for row in rows])
    time = 20.0 * np.arange(len(rows))
    voltage, _ = model_of(cell, start, -1.0).run(time, current, [25.0])
    return vk.Log(time, current, voltage, 25.0, source="charge")


@pytest.fixture(scope="module")
def charged() -> tuple[vk.Cell, vk.Log]:
    cell = make_cell()
    cell.charge_rise = vk.ChargeRiseFit(soc_start=0.75, resistance_ohm=0.05, branch=1)
    cell.coulombic_efficiency = 1.0
    full_V = float(vk.CellModel(cell).ocv_V(1.0, 25.0, 1.0))
    return cell, charge_log(cell, 0.1, 1.5, full_V + 0.002, 0.06)


def test_rise_comes_back_and_agrees_with_least_squares(charged):
    truth, log = charged
    cell = vk.parse_cell(vk.to_json(truth))
    cell.charge_rise = vk.ChargeRiseFit(resistance_ohm=0.0)
    settings = vk.ChargeTestSettings(full_soc_std=0.02, voltage_std_V=1e-3, overvoltage_share_std=0.0, row_s=0.0)
    fit = vk.fit_charge_rise([log], cell, settings)
    rise = fit.rise
    assert abs(rise.resistance_ohm - 0.05) < 3 * rise.resistance_ohm_std
    assert abs(rise.resistance_ohm / 0.05 - 1) < 0.05
    assert abs(rise.soc_start - 0.75) < 0.01
    assert abs(fit.initial_soc[0] - 0.1) < 0.002
    assert fit.charge_Ah[0] == pytest.approx(np.sum(log.current_A) * 20 / 3600)
    assert fit.residual_rms_V[0] < 2e-4 < fit.residual_before_rms_V[0]

    # The same unknowns for SciPy (Levenberg-Marquardt of MINPACK), without priors.
    def error_V(x):
        probe = vk.parse_cell(vk.to_json(cell))
        probe.charge_rise = vk.ChargeRiseFit(soc_start=x[1], resistance_ohm=np.exp(x[0]), branch=1)
        voltage, _ = model_of(probe, x[2], -1.0).run(log.time_s, log.current_A, [25.0])
        return voltage - log.voltage_V

    reference = least_squares(error_V, [np.log(0.03), 0.8, 0.1], method="lm", x_scale=[1, 0.1, 0.01])
    assert reference.success
    assert rise.resistance_ohm == pytest.approx(np.exp(reference.x[0]), rel=0.05)
    assert rise.soc_start == pytest.approx(reference.x[1], abs=0.01)
    assert fit.initial_soc[0] == pytest.approx(reference.x[2], abs=0.002)


def test_charges_that_cannot_be_used_are_named(charged):
    cell, log = charged
    with pytest.raises(vk.DataError, match="at least one charge"):
        vk.fit_charge_rise([], cell)
    part = vk.Log(*(c[:80] for c in (log.time_s, log.current_A, log.voltage_V, log.temperature_degC)), source="part")
    with pytest.raises(vk.DataError, match=r"part: row 79: the charge ends at 1\.5 A"):
        vk.fit_charge_rise([part], cell)
    with pytest.raises(vk.DataError, match="soc_from: 2 is outside"):
        vk.fit_charge_rise([log], cell, vk.ChargeTestSettings(soc_from=2.0))
    with pytest.raises(vk.DataError, match="cancelled"):
        vk.fit_charge_rise([log], cell, progress=lambda: False)


def day(cell: vk.Cell, random: np.random.Generator, noise_V: float = 1e-3) -> vk.Log:
    """Three hours of steps between -3 and +1 A, from 90 %, at rest first."""
    current = np.repeat(random.uniform(-3, 1, 150), 72)
    current[:120] = 0.0
    time = 1.0 * np.arange(len(current))
    voltage, _ = model_of(cell, 0.9, 0.0).run(time, current, [20.0])
    return vk.Log(time, current, voltage + noise_V * random.standard_normal(len(time)), 20.0, source="day")


def test_refinement_finds_what_a_cell_is_wrong_by(random):
    truth = make_cell()
    log = day(truth, random)
    cell = make_cell()
    grid = cell.resistance
    grid.r0_ohm = grid.r0_ohm / 1.2
    cell.resistance = grid
    told: list[float] = []
    result = vk.refine_cell(cell, [log], vk.RefineSettings(initial_soc=[0.9]), lambda share, stage: told.append(share))
    factors = {factor.name: factor for factor in result.factors}
    assert list(factors) == [
        "r0",
        *(f"branch {k} {what}" for k in (1, 2, 3) for what in ("resistance", "time")),
        "capacity",
    ]
    assert factors["r0"].factor == pytest.approx(1.2, rel=0.02)
    for name, factor in factors.items():
        expected = 1.2 if name == "r0" else 1.0
        assert abs(np.log(factor.factor / expected)) < 3 * factor.log_std, name
    assert result.improved
    assert result.held_out_rms_V < 1.2e-3 < result.held_out_before_rms_V
    assert np.allclose(result.cell.resistance.r0_ohm, factors["r0"].factor * cell.resistance.r0_ohm)
    assert told == sorted(told)
    assert "Refined on 1 log" in result.cell.provenance.notes[-1]
    # Nothing to gain: the same cell comes back.
    nothing = vk.refine_cell(truth, [log])
    assert not nothing.improved
    assert vk.to_json(nothing.cell) == vk.to_json(truth)
    assert "not met better" in nothing.notes[0]


def test_what_a_refinement_cannot_use_is_named(random):
    cell = make_cell()
    log = day(cell, random)
    for logs, settings, text in (
        ([], vk.RefineSettings(), "at least one log"),
        ([log], vk.RefineSettings(block_min=1e4), "block_min: with blocks of"),
        ([log], vk.RefineSettings(initial_soc=[0.5, None]), "initial_soc: has 2 values for 1 logs"),
        ([log], vk.RefineSettings(ocv_soc=[0.5, 0.5]), r"ocv_soc\[1\]: 0.5 must rise"),
        ([log], vk.RefineSettings(max_rows=1), "max_rows: 1 is outside"),
    ):
        with pytest.raises(vk.DataError, match=text):
            vk.refine_cell(cell, logs, settings)
    with pytest.raises(vk.DataError, match="cancelled"):
        vk.refine_cell(cell, [log], progress=lambda share, stage: False)

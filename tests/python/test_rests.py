"""Rests of pulse tests against SciPy, and the fit without a slow test on the invented demo data."""

from __future__ import annotations

import numpy as np
import pytest
import voltkeel as vk
from scipy.interpolate import PchipInterpolator
from scipy.optimize import least_squares


def test_the_monotone_curve_is_the_pchip_of_scipy(random):
    """scipy.interpolate.PchipInterpolator, the same slopes inside and at the ends; rising, falling and level parts."""
    for round in range(100):
        count = int(random.integers(2, 15))
        x = np.cumsum(random.uniform(0.01, 0.3, count))
        y = np.cumsum(random.choice([1, 1, 1, 0, -1], count) * random.uniform(0, 1, count) ** 3)
        curve = PchipInterpolator(x, y)
        at = np.linspace(x[0], x[-1], 101)
        ours = [vk.monotone_cubic(x, y, value) for value in at]
        assert np.allclose(ours, curve(at), rtol=0, atol=1e-12), (round, x, y)


def a_rest(random, std_V: float) -> tuple[vk.Log, float]:
    """One row under current, then a rest of 20 to 60 minutes whose rows stand ever further apart; its end in V."""
    duration_s = random.uniform(1200, 3600)
    time_s = [0.0]
    while time_s[-1] < duration_s:
        time_s.append(time_s[-1] + max(1.0, 0.1 * time_s[-1]) * random.uniform(0.5, 1))
    time_s = np.minimum(time_s, duration_s)
    end_V = random.uniform(3.3, 4.1)
    voltage_V = end_V - random.uniform(0.002, 0.03) * np.exp(-time_s / (duration_s * random.uniform(0.1, 0.5)))
    voltage_V += std_V * random.standard_normal(len(time_s))
    current_A = np.where(time_s == 0, -1.0, 0.0)
    return vk.Log(time_s, current_A, voltage_V, [25.0] * len(time_s), "rest"), end_V


def test_the_rested_voltage_is_what_scipy_finds(random):
    """The same three parameters by scipy.optimize.least_squares, from several starts, within the same bounds."""
    for round in range(40):
        log, _ = a_rest(random, 1e-5)
        rested = vk.rested_voltage(log, 1, len(log) - 1, voltage_std_V=1e-5)
        duration_s = log.time_s[-1]
        rows = np.flatnonzero(log.time_s >= 0.25 * duration_s)
        time_s = log.time_s[rows] - log.time_s[rows[0]]
        # Each row stands for half the time to its neighbours.
        weight = np.convolve(np.diff(time_s, prepend=0, append=time_s[-1]), [0.5, 0.5], "valid")
        root = np.sqrt(weight)
        window_s = time_s[-1]

        def residual(p, root=root, time_s=time_s, volt=log.voltage_V[rows]):
            return 1e3 * root * (p[0] + p[1] * np.exp(-time_s / np.exp(p[2])) - volt)

        low, high = np.log(window_s / 20), np.log(window_s)
        found = min(
            (
                least_squares(
                    residual,
                    [log.voltage_V[-1], -0.005, start],
                    bounds=([2, -1, low], [5, 1, high]),
                    x_scale=[1e-3, 1e-3, 0.1],
                    xtol=1e-14,
                    ftol=1e-14,
                    gtol=1e-14,
                )
                for start in np.linspace(low + 0.1, high - 0.1, 5)
            ),
            key=lambda result: result.cost,
        )
        assert abs(rested.voltage_V - found.x[0]) < 2e-6, (round, rested.voltage_V, found.x)
        if low + 0.05 < found.x[2] < high - 0.05:
            assert abs(np.log(rested.time_s) - found.x[2]) < 1e-2, (round, rested.time_s, np.exp(found.x[2]))


@pytest.fixture(scope="module")
def demo_tests(demo):
    slow = vk.read_log(demo / "slow_test_25degC.csv")[0]
    return slow, [vk.read_log(demo / f"pulses_{t}degC.csv")[0] for t in (25, 10, 0)]


def test_the_demo_cell_without_its_slow_test(demo_tests):
    """Truth in data/demo/README.md: 4.950 Ah. The test ends at 5 %, so the capacity is handed in."""
    slow, pulses = demo_tests
    settings = vk.FitSettings(rests=vk.RestTestSettings(capacity_Ah=4.95))
    alone = vk.fit_cell(None, pulses, settings)
    # Drops of pulses count with a slow test only: left out here, so that the OCV is what differs.
    both = vk.fit_cell(slow, pulses, vk.FitSettings(pulses=vk.PulseFitSettings(drop_share_std=0.0)))
    soc = alone.cell.ocv.soc
    above = soc >= 0.1
    ours = alone.cell.ocv.discharge_V[above]
    theirs = np.interp(soc, both.cell.ocv.soc, both.cell.ocv.discharge_V)[above]
    rms_V = np.sqrt(np.mean((ours - theirs) ** 2))
    print(f"\nOCV from rests against OCV with the slow test: {1e3 * rms_V:.1f} mV rms")
    assert rms_V < 0.006
    assert alone.slow.capacity_Ah == 0
    assert both.rests is None
    assert alone.rests.capacity_given
    assert alone.rests.half_gap_V == 0
    assert not alone.hysteresis.told
    assert not alone.efficiency.told
    assert alone.cell.coulombic_efficiency == 1
    assert (np.diff(alone.cell.ocv.discharge_V) > 0).all()
    assert [rest.soc for rest in alone.rests.rests] == sorted((r.soc for r in alone.rests.rests), reverse=True)
    for fit, other in zip(alone.pulses, both.pulses, strict=True):
        assert fit.residual_rms_V[0] < 1.2 * other.residual_rms_V[0]
        assert fit.r0_ohm[20] == pytest.approx(other.r0_ohm[20], rel=0.03)
    notes = "\n".join(alone.cell.provenance.notes)
    assert "4.95 Ah was handed in" in notes
    assert "met from one side only" in notes


def test_without_a_slow_test_the_demo_asks_for_the_capacity(demo_tests):
    _, pulses = demo_tests
    with pytest.raises(vk.DataError, match=r"pulses_25degC\.csv: no discharge from full to the floor.*capacity_Ah"):
        vk.fit_cell(None, pulses)


def test_what_a_slow_test_says_of_rate_and_efficiency(demo_tests):
    """One slow cycle with its turns at empty and full: neither is told, and the notes say why."""
    slow, _ = demo_tests
    efficiency = vk.fit_coulombic_efficiency([slow])
    assert not efficiency.told
    assert efficiency.efficiency == 1.0
    assert efficiency.efficiency_std > 0
    assert "cycles of different duration" in efficiency.note or "No log comes back" in efficiency.note
    assert all(b.charged_Ah > 4 for b in vk.full_balances(slow))

"""The five-parameter pulse fit against scipy.optimize.least_squares on the same rows."""

from __future__ import annotations

import numpy as np
import pytest
import voltkeel as vk
from scipy.optimize import least_squares
from scipy.signal import lfilter


def profile(step_s: float, rows: int) -> tuple[np.ndarray, np.ndarray]:
    """Return time and unit current: 10 s rest, 10 s discharge, 40 s rest, 10 s charge at 0.75, rest.

    As pulse test manuals have it (INL/EXT-15-34184, from memory, not re-read).
    """
    time = step_s * np.arange(rows)
    current = np.zeros(rows)
    current[(time > 10) & (time <= 20)] = -1.0
    current[(time > 60) & (time <= 70)] = 0.75
    return time, current


def held(current: np.ndarray, step_s: float, tau_s: float) -> np.ndarray:
    """Current through a lag, each row's current held since the row before."""
    kept = np.exp(-step_s / tau_s)
    out = lfilter([1 - kept], [1, -kept], current[1:])
    return np.concatenate(([0.0], out))


def ramp(current: np.ndarray, step_s: float, tau_s: float) -> np.ndarray:
    """The lumped-parameter recursion (PNGV manual, appendix D; from memory, not re-read)."""
    x = step_s / tau_s
    e = np.exp(-x)
    out = lfilter([1 - (1 - e) / x, (1 - e) / x - e], [1, -e], current)
    return out - lfilter([1 - (1 - e) / x, 0], [1, -e], np.eye(1, len(current))[0] * current[0])


def reference(residual, start):
    """The least cost that SciPy finds, from the truth and from a second start."""
    found = [
        least_squares(residual, x, x_scale="jac", xtol=1e-14, ftol=1e-14, gtol=1e-14, max_nfev=2000)
        for x in (start, start * np.array([1, 1.2, 0.8, 1.1, 1.1]))
    ]
    return min(found, key=lambda result: result.cost)


@pytest.mark.parametrize("round", range(12))
def test_two_branches_cost_what_scipy_finds(random, round):
    random = np.random.default_rng(random.integers(2**32) + round)
    step_s = float(random.choice([0.05, 0.1, 0.2]))
    time, unit = profile(step_s, 3000)
    r0 = random.uniform(2e-3, 0.08)
    truth = np.array(
        [random.uniform(3.2, 4.1), r0, r0 * random.uniform(0.4, 1.5), np.log(random.uniform(2, 8)), 0.6 * r0]
    )
    slow_s = random.uniform(60, 200)
    current = unit * 0.1 / r0

    def model(x):
        branches = x[2] * held(current, step_s, np.exp(x[3])) + x[4] * held(current, step_s, slow_s)
        return x[0] + x[1] * current + branches

    voltage = model(truth) + 3e-4 * random.standard_normal(len(time))
    best = reference(lambda x: model(x) - voltage, truth)
    fit = vk.fit_single_pulse(vk.Log(time, current, voltage, 25.0), vk.SinglePulseSettings(slow_time_s=slow_s))
    case = (round, step_s, truth.tolist(), slow_s, fit.cost_V2, best.cost)
    assert abs(fit.cost_V2 / best.cost - 1) < 1e-6, case
    found = np.array([fit.ocv_V, fit.r0_ohm, fit.branch_ohm, np.log(fit.branch_time_s), fit.slow_ohm])
    spread = np.array(
        [fit.ocv_V_std, fit.r0_ohm_std, fit.branch_ohm_std, fit.branch_time_s_std / fit.branch_time_s, fit.slow_ohm_std]
    )
    assert (np.abs(found - best.x) < 1e-3 * spread).all(), case
    # Spread and correlation from SciPy's own Jacobian.
    covariance = np.linalg.inv(best.jac.T @ best.jac) * 2 * best.cost / (len(time) - 5)
    expected = np.sqrt(np.diag(covariance))
    assert spread / np.sqrt(fit.rows_per_independent_row) == pytest.approx(expected, rel=1e-3), case
    assert fit.correlation == pytest.approx(covariance / np.outer(expected, expected), abs=1e-3), case


@pytest.mark.parametrize("round", range(8))
def test_the_lumped_form_costs_what_scipy_finds(random, round):
    random = np.random.default_rng(random.integers(2**32) + 100 + round)
    step_s = 0.1
    time, unit = profile(step_s, 1200)
    r0 = random.uniform(2e-3, 0.08)
    current = unit * 0.1 / r0
    charge = np.concatenate(([0.0], np.cumsum(0.5 * (current[1:] + current[:-1])))) * step_s / 3600
    truth = np.array([3.7, r0, r0 * random.uniform(0.4, 1.5), np.log(random.uniform(3, 20)), random.uniform(0.1, 1)])

    def model(x):
        return x[0] + x[1] * current + x[2] * ramp(current, step_s, np.exp(x[3])) + x[4] * charge

    voltage = model(truth) + 3e-4 * random.standard_normal(len(time))
    best = reference(lambda x: model(x) - voltage, truth)
    settings = vk.SinglePulseSettings(form=vk.PulseForm.lumped, hold=vk.CurrentHold.ramp)
    fit = vk.fit_single_pulse(vk.Log(time, current, voltage, 25.0), settings)
    case = (round, truth.tolist(), fit.cost_V2, best.cost)
    assert abs(fit.cost_V2 / best.cost - 1) < 1e-6, case
    assert fit.ocv_slope_V_per_Ah == pytest.approx(best.x[4], abs=1e-3 * fit.ocv_slope_V_per_Ah_std), case
    assert fit.slow_ohm == 0.0
    assert fit.slow_ohm_std == 0.0


def test_uneven_rows_are_fitted_as_well(random):
    """Logger rows that come when they come, by a loop over the closed step instead of a filter."""
    step = random.uniform(0.05, 0.3, 1500)
    time = np.concatenate(([0.0], np.cumsum(step)))
    current = np.where((time > 10) & (time <= 60), -4.0, 0.0)
    truth = np.array([3.65, 0.02, 0.014, np.log(6.0), 0.012])

    def lag(tau_s):
        out = np.zeros(len(time))
        for k, dt in enumerate(step):
            out[k + 1] = out[k] - np.expm1(-dt / tau_s) * (current[k + 1] - out[k])
        return out

    slow = lag(90.0)

    def model(x):
        return x[0] + x[1] * current + x[2] * lag(np.exp(x[3])) + x[4] * slow

    voltage = model(truth) + 2e-4 * random.standard_normal(len(time))
    best = reference(lambda x: model(x) - voltage, truth)
    fit = vk.fit_single_pulse(vk.Log(time, current, voltage, 25.0), vk.SinglePulseSettings(slow_time_s=90.0))
    assert abs(fit.cost_V2 / best.cost - 1) < 1e-6
    assert fit.branch_time_s == pytest.approx(np.exp(best.x[3]), rel=1e-5)


def test_bad_rows_and_settings_are_named(random):
    time, unit = profile(0.1, 900)
    voltage = 3.7 + 0.02 * unit + 1e-4 * random.standard_normal(len(time))
    log = vk.Log(time, unit, voltage, 25.0, source="pulse")
    for settings, text in (
        ({"slow_time_s": 0.0}, "slow_time_s: 0"),
        ({"first_row": 150}, "must start at rest"),
        ({"first_row": 5000}, "do not lie in its 900 rows"),
        ({"row_count": 5}, "at least 10 rows"),
        ({"max_evaluations": 1}, "max_evaluations: 1"),
    ):
        with pytest.raises(vk.DataError, match=text):
            vk.fit_single_pulse(log, vk.SinglePulseSettings(**settings))
    with pytest.raises(vk.DataError, match="other sign"):
        vk.fit_single_pulse(vk.Log(time, -unit, voltage, 25.0))
    with pytest.raises(TypeError, match="no field 'tau'"):
        vk.SinglePulseSettings(tau=3)

"""The fit against scipy.optimize.least_squares, against the truth of the demo data, and what it says when it cannot."""

from __future__ import annotations

import numpy as np
import pytest
import voltkeel as vk
from scipy.optimize import least_squares

CAPACITY_AH = 2.0


def ocv(soc):
    return 3.2 + 0.9 * soc + 0.05 * np.sin(4 * soc)


def response(time_s, current_A, r0, r1, tau):
    """Voltage of R0 and one RC branch over an OCV, current held over each interval, from SOC 1."""
    dt = np.diff(time_s, prepend=time_s[0])
    soc = 1 + np.cumsum(current_A * dt) / (3600 * CAPACITY_AH)
    branch = np.zeros(len(dt))
    for k in range(1, len(dt)):
        share = -np.expm1(-dt[k] / tau)
        branch[k] = branch[k - 1] + share * (r1 * current_A[k] - branch[k - 1])
    return ocv(soc) + r0 * current_A + branch


def slow_log(r0, r1, tau) -> vk.Log:
    current = np.concatenate((np.zeros(30), np.full(1200, -0.1), np.zeros(60), np.full(1200, 0.1), np.zeros(60)))
    time = 60.0 * np.arange(len(current))
    return vk.Log(time, current, response(time, current, r0, r1, tau), 25.0, source="slow")


def pulse_log(random, r0, r1, tau) -> vk.Log:
    """From full down to 15 %: a 1C and a 2C pulse, then a tenth of the capacity, 40 min rest."""
    current = [np.zeros(60)]
    for _ in range(9):
        current += [np.full(10, -2.0), np.zeros(120), np.full(10, -4.0), np.zeros(120)]
        current += [np.full(620, -1.0), np.zeros(2400)]
    current = np.concatenate(current)
    time = 1.0 * np.arange(len(current))
    voltage = response(time, current, r0, r1, tau) + 2e-4 * random.standard_normal(len(time))
    return vk.Log(time, current, voltage, 25.0, source="pulses")


def free_settings(**pulses) -> vk.FitSettings:
    """Priors so wide that the data alone decides."""
    return vk.FitSettings(
        hysteresis_rate=0.0,
        pulses=vk.PulseFitSettings(
            branches=1,
            soc_nodes=5,
            time_log_std=20.0,
            time_step_log_std=1e-3,
            slow_time_log_std=20.0,
            slow_log_std=20.0,
            ocv_std_V=1e-5,
            ocv_soc_std=1e-6,
            full_soc_std=1e-6,
            **pulses,
        ),
    )


def test_one_branch_against_least_squares(random):
    truth = (0.040, 0.030, 60.0)
    log = pulse_log(random, *truth)
    result = vk.fit_cell(slow_log(*truth), [log], free_settings())
    reference = least_squares(
        lambda x: response(log.time_s, log.current_A, *np.exp(x)) - log.voltage_V,
        np.log([0.03, 0.02, 40.0]),
        xtol=1e-12,
    )
    r0, r1, tau = np.exp(reference.x)
    assert reference.success
    fit = result.pulses[0]
    assert fit.residual_rms_V[0] < 4e-4  # the noise is 0.2 mV
    inside = (fit.soc > 0.2) & (fit.soc < 1)  # nodes with pulses on both sides
    assert inside.sum() == 3
    branch = fit.branches[0]
    assert np.abs(fit.r0_ohm[inside] / r0 - 1).max() < 0.005
    assert np.abs(branch.resistance_ohm[inside] / r1 - 1).max() < 0.01
    assert np.abs(branch.time_s / tau - 1).max() < 0.01
    # And the voltage that a fit is for.
    cell = result.cell
    model = vk.CellModel(cell)
    model.reset(vk.ModelState(soc=1.0))
    voltage, _ = model.run(log.time_s, log.current_A, [25.0])
    assert np.sqrt(np.mean((voltage - log.voltage_V) ** 2)) < 1e-3


def test_capacity_of_a_slow_test_is_the_charge_counted():
    log = slow_log(0.04, 0.03, 60.0)
    test = vk.read_slow_test(log)
    assert test.capacity_Ah == pytest.approx(0.1 * 1200 * 60 / 3600, rel=1e-12)
    assert test.charged_Ah == pytest.approx(0.1 * 1200 * 60 / 3600, rel=1e-12)
    assert test.voltage_min_V == log.voltage_V[log.current_A < 0].min()
    assert test.temperature_degC == 25.0
    # 0.1 % of the current and 1.5 mA over 20 h, as the settings say.
    assert test.capacity_Ah_std == pytest.approx(np.hypot(0.001 * 2.0, 0.0015 * 20), rel=0.05)


def test_the_demo_cell_comes_back(demo_fit, demo):
    """Against the truth that data/demo/README.md states."""
    cell = demo_fit.cell
    assert abs(cell.capacity_Ah - 4.950) < 2 * cell.capacity_Ah_std
    assert abs(cell.capacity_Ah / 4.950 - 1) < 0.01
    model = vk.CellModel(cell)
    # Resistance over a 10 s discharge at 1C (V_start - V_10s) / I at 50 %; warm, cool and cold.
    for temperature, truth_ohm in ((25, 0.0282), (10, 0.0434), (0, 0.0564)):
        model.reset(vk.ModelState(soc=0.5, temperature_degC=temperature))
        start_V = model.ocv_V(0.5, temperature)
        end_V = model.step(-4.95, 10.0, temperature)
        ohm = (start_V - end_V) / 4.95
        assert abs(ohm / truth_ohm - 1) < 0.10, (temperature, ohm, truth_ohm)
    temperatures = [fit.temperature_degC for fit in demo_fit.pulses]
    assert np.allclose(temperatures, [0, 10, 25], atol=1.0)
    for fit in demo_fit.pulses:
        # Along SOC the three temperatures keep their order.
        assert (fit.r0_ohm > 0).all()
    r0 = np.array([fit.r0_ohm for fit in demo_fit.pulses])
    assert (np.diff(r0, axis=0) < 0).all(), "colder is more resistance"
    # Everything has a spread, and the cell says what it was made of.
    assert (cell.resistance.r0_ohm_std > 0).all()
    assert len(cell.provenance.files) == 4
    assert {f.role for f in cell.provenance.files} == {"slow test", "pulse test"}
    assert cell.provenance.notes


def test_the_harbour_day_is_followed(demo_fit, demo):
    """The true SOC, told only 80 % at the start and nothing at all."""
    log = vk.read_log(demo / "harbour_day.csv")[0]
    truth = np.loadtxt(demo / "harbour_day_truth.csv", delimiter=",", skiprows=1)
    for start in ({"initial_soc": 0.8, "initial_soc_std": 0.2}, {}):
        trace = vk.replay(demo_fit.cell, log, **start)
        error = np.interp(truth[:, 0], trace.time_s, trace.soc) - truth[:, 1]
        late = truth[:, 0] > 600
        assert np.sqrt(np.mean(error[late] ** 2)) < 0.01
        inside = np.abs(error) < 1.96 * np.interp(truth[:, 0], trace.time_s, trace.soc_std)
        assert inside[late].mean() >= 0.95


# ---------------------------------------------------------------- what it says


def test_progress_rises_and_can_cancel(random):
    truth = (0.040, 0.030, 60.0)
    slow, pulses = slow_log(*truth), pulse_log(random, *truth)
    told: list[tuple[float, str]] = []
    vk.fit_cell(slow, [pulses], free_settings(), lambda share, stage: told.append((share, stage)))
    shares = [share for share, _ in told]
    assert shares == sorted(shares)
    assert 0 <= shares[0] < shares[-1] <= 1
    assert all(stage for _, stage in told)
    with pytest.raises(vk.DataError, match="cancelled"):
        vk.fit_cell(slow, [pulses], free_settings(), lambda share, stage: share < 0.3)
    with pytest.raises(KeyError, match="mine"):
        vk.fit_cell(slow, [pulses], free_settings(), lambda share, stage: {}["mine"])


def cut(log: vk.Log, rows, **columns) -> vk.Log:
    part = {name: getattr(log, name)[rows] for name in ("time_s", "current_A", "voltage_V", "temperature_degC")}
    return vk.Log(**{**part, **columns}, source=log.source)


def test_what_is_missing_is_named(random):
    truth = (0.040, 0.030, 60.0)
    slow, pulses = slow_log(*truth), pulse_log(random, *truth)
    every = slice(None)
    rows = len(pulses)
    for slow_test, pulse_tests, text in (
        (slow, [], "at least one pulse test"),
        (
            cut(slow, every, current_A=-slow.current_A),
            [pulses],
            "slow: the voltage rises .* while current_A is negative.*sign",
        ),
        (cut(slow, every, current_A=np.abs(slow.current_A)), [pulses], "slow: no discharge found.*sign"),
        (cut(slow, slice(10)), [pulses], "slow: .*at least 20 rows, this log has 10"),
        (cut(slow, every, time_s=slow.time_s / 10), [pulses], "slow: the discharge runs at"),
        (slow, [cut(pulses, slice(10))], "pulses: .*at least 20 rows"),
        (slow, [cut(pulses, slice(65, None))], "pulses: starts under a current of -2"),
        (slow, [cut(pulses, slice(50))], "pulses: 0 current steps"),
        (slow, [cut(pulses, every, temperature_degC=np.linspace(0, 30, rows))], "pulses: temperature_degC runs from"),
    ):
        with pytest.raises(vk.DataError, match=text):
            vk.fit_cell(slow_test, pulse_tests, free_settings())


@pytest.mark.parametrize(
    ("settings", "text"),
    [
        (vk.FitSettings(passes=0), "passes: 0"),
        (
            vk.FitSettings(choose_form=False, pulses=vk.PulseFitSettings(branches=5)),
            "branches: 5 is outside 1 .. 4",
        ),
        (vk.FitSettings(pulses=vk.PulseFitSettings(soc_nodes=2)), "soc_nodes: 2"),
    ],
)
def test_a_setting_that_cannot_be_used_is_named(random, settings, text):
    truth = (0.040, 0.030, 60.0)
    with pytest.raises(vk.DataError, match=text):
        vk.fit_cell(slow_log(*truth), [pulse_log(random, *truth)], settings)

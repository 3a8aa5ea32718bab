"""The SOC filter against a dense extended Kalman filter in NumPy, and what it must never do."""

from __future__ import annotations

import math

import numpy as np
import pytest
import voltkeel as vk
from conftest import make_cell
from hypothesis import given
from hypothesis import strategies as st
from reference_model import ReferenceCell

SOC_START = 0.6037  # beside the nodes of the tables, where both sides of a kink would be right


class DenseFilter:
    """Extended Kalman filter on [soc, u_1 .. u_N, h, ln r] with full matrices and the Joseph form.

    The prediction is the exact step for a held current with resistances half-way through the step, as in the doc
    comment of include/voltkeel/cell/model.hpp; every derivative is worked out here, from piecewise straight tables.
    Process and measurement noise: doc comments of SocFilterSettings. Source of the filter equations: Bar-Shalom,
    Li, Kirubarajan (2001), ch. 5, Joseph form eq. 5.2.3-18 (from memory, not re-read).
    """

    def __init__(self, cell: vk.Cell, settings: vk.SocFilterSettings, soc: float, soc_std: float) -> None:
        self.cell = ReferenceCell(cell)
        self.settings = settings
        self.n = self.cell.branches
        self.x = np.zeros(self.n + 3)
        self.x[0] = soc
        self.p = np.diag(
            [soc_std**2]
            + [settings.rest_std_V**2] * self.n
            + [settings.hysteresis_std_initial**2, settings.log_scale_std_initial**2]
        )
        self.since_update_s = settings.update_interval_s

    def low_soc_factor(self, soc: float) -> float:
        return 1 + self.settings.low_soc_growth * max(0.0, 1 - soc / self.settings.low_soc)

    def tables(self, soc: float, temperature_degC: float) -> np.ndarray:
        """Values of [R0, R_1.., tau_1..]; what they change over SOC tells the filter nothing of the SOC."""
        columns = self.cell.columns(temperature_degC)
        nodes = self.cell.soc
        k = int(np.clip(np.searchsorted(nodes, soc, side="right") - 1, 0, len(nodes) - 2))
        slope = (columns[:, k + 1] - columns[:, k]) / (nodes[k + 1] - nodes[k])
        if not 0 <= soc <= 1:
            return columns[:, 0 if soc < 0 else -1]
        return columns[:, k] + slope * (soc - nodes[k])

    def predict(self, current: float, dt: float, temperature: float) -> None:
        s, n, cell = self.settings, self.n, self.cell
        gain = (cell.efficiency if current > 0 else 1) * current * dt / cell.capacity_As
        middle = self.x[0] + gain / 2
        value = self.tables(middle, temperature)
        ohm, tau = value[1 : 1 + n].copy(), value[1 + n :]
        if current > 0:
            ohm[cell.rise_branch] += cell.rise(middle)
        a = np.exp(-dt / tau)
        f = np.eye(n + 3)
        for i in range(n):
            f[1 + i, 1 + i] = a[i]
        b = math.exp(-cell.hysteresis_rate * abs(gain))
        f[n + 1, n + 1] = b
        q = np.zeros(n + 3)
        q[0] = s.soc_std_per_sqrt_h**2 * dt / 3600
        q[1 : 1 + n] = (1 - a**2) * ((s.branch_share_std * ohm * current) ** 2 + s.rest_std_V**2)
        q[n + 1] = (1 - b**2) * s.hysteresis_std_walked**2
        q[n + 2] = s.log_scale_std_per_sqrt_h**2 * dt / 3600
        self.x[1 : 1 + n] = a * self.x[1 : 1 + n] + (1 - a) * ohm * current
        self.x[n + 1] = b * self.x[n + 1] + (1 - b) * np.sign(current)
        self.x[0] += gain - cell.leak_per_s * dt
        self.p = f @ self.p @ f.T + np.diag(q)

    def step(self, current: float, voltage: float, temperature: float, dt: float) -> bool:
        """One sample; True when the voltage was fused."""
        s, n, cell = self.settings, self.n, self.cell
        if dt > 0:
            self.predict(current, dt, temperature)
        self.since_update_s += dt
        soc, hysteresis, scale = self.x[0], self.x[n + 1], math.exp(self.x[n + 2])
        value = self.tables(soc, temperature)
        over = scale * (value[0] * current + self.x[1 : 1 + n].sum())
        k = int(np.clip(np.searchsorted(cell.ocv_soc, soc, side="right") - 1, 0, len(cell.ocv_soc) - 2))
        per_soc = 1 / (cell.ocv_soc[k + 1] - cell.ocv_soc[k])
        rise = [np.diff(y[k : k + 2])[0] * per_soc for y in (cell.mean_V, cell.half_gap_V, cell.entropy_V_per_K)]
        h = np.ones(n + 3) * scale
        h[0] = rise[0] + (temperature - cell.reference_degC) * rise[2] + hysteresis * rise[1]
        h[n + 1] = np.interp(soc, cell.ocv_soc, cell.half_gap_V)
        h[n + 2] = over
        r = self.low_soc_factor(soc) ** 2 * (s.voltage_std_V**2 + (s.overvoltage_share_std * over) ** 2)
        innovation = voltage - cell.ocv(soc, temperature, hysteresis) - over
        variance = h @ self.p @ h + r
        if self.since_update_s < s.update_interval_s - dt / 2:
            return False
        self.since_update_s = 0.0
        if innovation**2 > s.gate**2 * variance:
            return False
        gain = self.p @ h / variance
        keep = np.eye(n + 3) - np.outer(gain, h)
        self.p = keep @ self.p @ keep.T + r * np.outer(gain, gain)
        self.x += gain * innovation
        self.x[n + 1] = np.clip(self.x[n + 1], -1, 1)
        return True


def drive(cell: vk.Cell, random: np.random.Generator, rows: int, dt_s: float):
    """Samples of a cell that is not quite the filter's: 8 % more resistance, noise, a few wild voltages."""
    model = vk.CellModel(cell)
    model.reset(vk.ModelState(soc=0.85, resistance_scale=1.08))
    current = np.repeat(random.uniform(-6, 2, rows // 20), 20) * (random.random(rows) < 0.8)
    temperature = np.interp(np.arange(rows), [0, rows], [4.0, 28.0]).round(1)
    voltage, soc = model.run(np.arange(rows) * dt_s, current, temperature)
    voltage = voltage + 0.003 * random.standard_normal(rows)
    voltage[random.random(rows) < 0.01] += 0.9
    return current, voltage, temperature, soc


@pytest.mark.parametrize(("branches", "dt_s"), [(1, 1.0), (3, 1.0), (4, 0.25)])
def test_against_a_dense_filter(random, branches, dt_s):
    cell = make_cell(branches)
    settings = vk.SocFilterSettings()
    settings.trace_every_sample = True  # every step worked into the covariance by itself, as here
    current, voltage, temperature, soc = drive(cell, random, 2000, dt_s)
    ours = vk.SocFilter(cell, settings)
    ours.start(SOC_START, 0.2, temperature[0])
    dense = DenseFilter(cell, settings, SOC_START, 0.2)
    fused = 0
    refused = 0
    for k in range(2000):
        sample = float(current[k]), float(voltage[k]), float(temperature[k]), dt_s if k else 0.0
        estimate = ours.step(*sample)
        updated = dense.step(*sample)
        assert estimate.updated == updated, k
        fused += updated
        refused += bool(estimate.fault_bits & vk.FaultBit.voltage_rejected)
        assert abs(estimate.soc - dense.x[0]) < 1e-9, k
        assert abs(estimate.soc_std - math.hypot(math.sqrt(dense.p[0, 0]), settings.soc_std_floor)) < 1e-9, k
    assert fused > 1800 * min(dt_s, 1.0)
    assert refused > 0, "the wild voltages are to be refused"
    assert abs(estimate.resistance_scale - math.exp(dense.x[-1])) < 1e-9
    assert np.abs(ours.state.branch_V - dense.x[1:-2]).max() < 1e-9
    scale = np.sqrt(np.outer(np.diag(dense.p), np.diag(dense.p)))
    assert (np.abs(ours.covariance - dense.p) / scale).max() < 1e-7
    # And both found the truth, from 25 points off.
    assert abs(estimate.soc - soc[-1]) < 0.02
    assert abs(estimate.soc - soc[-1]) < 3 * estimate.soc_std


def test_run_and_replay_are_many_steps(cell, random):
    current, voltage, temperature, _ = drive(cell, random, 500, 1.0)
    log = vk.Log(np.arange(500.0), current, voltage, temperature)
    settings = vk.filter_settings(cell)
    settings.trace_every_sample = True  # as replay has it
    one = vk.SocFilter(cell, settings)
    one.start(0.7, 0.1, temperature[0])
    stepped = [
        one.step(float(i), float(v), float(t), 1.0 if k else 0.0)
        for k, (i, v, t) in enumerate(zip(current, voltage, temperature, strict=True))
    ]
    other = vk.SocFilter(cell, settings)
    other.start(0.7, 0.1, temperature[0])
    soc, soc_std, fault_bits = other.run(log)
    trace = vk.replay(cell, log, initial_soc=0.7, initial_soc_std=0.1, starts_at_rest=True)
    for name, values in (("soc", soc), ("soc_std", soc_std), ("fault_bits", fault_bits)):
        assert np.array_equal(values, [getattr(e, name) for e in stepped]), name
        assert np.array_equal(values, getattr(trace, name)), name
    assert np.array_equal(trace.innovation_V, [e.innovation_V for e in stepped])
    assert trace.end.soc == soc[-1]
    assert trace.update_count == sum(e.updated for e in stepped)
    assert len(trace) == 500


anything = st.floats(allow_nan=True, allow_infinity=True, width=64)
usual = st.one_of(
    anything, st.floats(-20, 20), st.sampled_from([0.0, -0.0, 1e-300, -1e300, math.nan, math.inf, -math.inf])
)


# What no cell can show counts as not finite (doc comments of FaultBit); a NaN fails every comparison.
def possible_current(current_A: float) -> bool:
    return abs(current_A) <= 1000 * make_cell().capacity_Ah


def possible_voltage(voltage_V: float) -> bool:
    return abs(voltage_V) <= 1000


def possible_temperature(temperature_degC: float) -> bool:
    return -100 <= temperature_degC <= 200


@given(
    branches=st.integers(1, 4),
    start=st.tuples(st.floats(0, 1), st.floats(0, 1), st.floats(-60, 90)),
    samples=st.lists(st.tuples(usual, usual, usual, usual), min_size=1, max_size=40),
)
def test_whatever_comes_in_the_answer_is_finite(branches, start, samples):
    filter_ = vk.SocFilter(make_cell(branches))
    filter_.start(*start)
    for sample in [*samples, (0.0, 3.7, 25.0, 1.0)]:
        e = filter_.step(*sample)
        for name in ("soc", "soc_std", "voltage_predicted_V", "resistance_scale", "log_scale_std", "innovation_std_V"):
            assert math.isfinite(getattr(e, name)), (name, sample)
        assert 0 <= e.soc <= 1
        current, voltage, temperature, dt = sample
        for bit, bad in (
            (vk.FaultBit.current_not_finite, not possible_current(current)),
            (vk.FaultBit.voltage_not_finite, not possible_voltage(voltage)),
            (vk.FaultBit.temperature_not_finite, not possible_temperature(temperature)),
            (vk.FaultBit.time_step_invalid, not 0 <= dt <= vk.SocFilterSettings().longest_step_s),
        ):
            assert bool(e.fault_bits & bit) == bad, (bit, sample)
        p = filter_.covariance
        assert np.isfinite(p).all()
        assert np.array_equal(p, p.T)
        spread = np.linalg.eigvalsh(p)  # a covariance has no negative one
        assert spread[0] >= -1e-12 * spread[-1], (spread, sample)


@given(voltage=anything, current=anything, temperature=anything)
def test_a_start_from_any_voltage_answers_or_refuses(voltage, current, temperature):
    filter_ = vk.SocFilter(make_cell(2))
    if possible_voltage(voltage) and possible_current(current) and possible_temperature(temperature):
        filter_.start_from_voltage(voltage, current, temperature)
        e = filter_.step(0.0, 3.6, 25.0, 1.0)
        assert math.isfinite(e.soc)
        assert math.isfinite(e.soc_std)
    else:
        with pytest.raises(vk.DataError, match="start_from_voltage: a sample is not"):
            filter_.start_from_voltage(voltage, current, temperature)


def test_before_the_start_every_answer_says_so(cell):
    assert vk.SocFilter(cell).step(0.0, 3.7, 25.0, 1.0).fault_bits == int(vk.FaultBit.not_started)


@pytest.mark.parametrize(("soc", "std"), [(-0.1, 0.1), (1.1, 0.1), (0.5, -0.1), (0.5, 1.5), (math.nan, 0.1)])
def test_a_start_outside_its_bounds_is_refused(cell, soc, std):
    with pytest.raises(vk.DataError, match="start: "):
        vk.SocFilter(cell).start(soc, std)


def test_a_setting_outside_its_bounds_is_named(cell):
    for name, value in (("gate", 0.5), ("voltage_std_V", 0.0), ("soc_std_floor", math.nan)):
        with pytest.raises(vk.DataError, match=name):
            vk.SocFilter(cell, vk.SocFilterSettings(**{name: value}))


def test_progress_is_told_and_can_cancel(cell):
    rows = 150_000
    log = vk.Log(np.arange(rows) * 0.1, np.full(rows, -0.1), np.full(rows, 3.7), 25.0)
    shares: list[float] = []
    vk.replay(cell, log, progress=shares.append)  # append returns None: that goes on
    assert shares == sorted(shares)
    assert len(shares) >= 2
    with pytest.raises(vk.DataError, match="cancelled"):
        vk.replay(cell, log, progress=lambda share: False)
    with pytest.raises(ZeroDivisionError):
        vk.replay(cell, log, progress=lambda share: 1 / 0 > 0)

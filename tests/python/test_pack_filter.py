"""The state of a pack from Python: the filter of groups, checks of sensors, capacity and the stored state."""

from __future__ import annotations

import math
import subprocess
import sys

import numpy as np
import pytest
import voltkeel as vk

GROUPS = 6


@pytest.fixture(scope="module")
def cell(root) -> vk.Cell:
    return vk.load_cell(root / "examples" / "invented_cell.json")


@pytest.fixture(scope="module")
def run(cell) -> vk.SimulationResult:
    """Forty minutes of an invented load on groups that differ."""
    pack = vk.single_string_pack("launch", "invented_cell.json", cell, vk.PackLayout(series=GROUPS, parallel=1))
    spread = vk.SpreadSettings(seed=5, capacity_log_std=0.02, resistance_log_std=0.1, soc_std=0.01)
    settings = vk.SimulationSettings(soc=0.8, heat=False, differences=vk.draw_differences(pack, spread))
    minute = [vk.current_load(-8.0 if second < 25 else -1.0 if second < 45 else 3.0, 1.0) for second in range(60)]
    return vk.simulate(pack, minute * 40, settings)


def started(cell: vk.Cell) -> vk.PackFilter:
    state = vk.PackFilter(cell, GROUPS)
    state.start(0.75, 0.1)
    return state


def along(state: vk.PackFilter, run: vk.SimulationResult) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    return state.run(run.time_s, run.current_A, run.group_voltage_V, np.full(len(run), 25.0))


def test_every_group_is_followed(cell, run):
    state = started(cell)
    soc, soc_std, bits = along(state, run)
    error = np.abs(soc - run.group_soc)[900:]
    assert error.max() < 0.01
    assert (error < 1.96 * soc_std[900:]).mean() > 0.95
    assert not bits.any()
    assert soc.shape == (len(run), GROUPS)
    assert np.allclose(soc[-1], state.soc)


def test_step_and_run_are_the_same(cell, run):
    stepped = started(cell)
    soc, _, _ = along(started(cell), run)
    for row in range(200):
        dt_s = run.time_s[row] - run.time_s[row - 1] if row else 0.0
        stepped.step(run.current_A[row], run.group_voltage_V[row], 25.0, dt_s)
        assert np.array_equal(stepped.soc, soc[row])


def test_a_missing_group_is_flagged(cell, run):
    voltage = run.group_voltage_V.copy()
    voltage[1200:, 2] = np.nan
    state = started(cell)
    soc, _, bits = state.run(run.time_s, run.current_A, voltage, np.full(len(run), 25.0))
    assert bits[-1, 2] == int(vk.GroupFaultBit.missing)
    assert np.abs(soc - run.group_soc)[900:].max() < 0.015


def test_the_stored_state_comes_back(cell, run):
    state = started(cell)
    along(state, run)
    stored = state.snapshot()
    woken = vk.PackFilter(cell, GROUPS)
    woken.start_from_snapshot(stored, 3600.0, 20.0)
    assert np.abs(woken.soc - state.soc).max() < 1e-3
    assert (woken.soc_std >= state.soc_std).all()
    for damaged in (stored[:-1], stored[:100] + bytes([stored[100] ^ 1]) + stored[101:], b""):
        with pytest.raises(vk.DataError, match="cut or damaged"):
            woken.start_from_snapshot(damaged)
    with pytest.raises(vk.DataError, match="another version, model or number of groups"):
        vk.PackFilter(cell, GROUPS + 1).start_from_snapshot(stored)


def parts_of(cell):
    return {
        "capacity": vk.CapacityEstimator(0.9 * cell.capacity_Ah),
        "resistance": vk.ResistanceGrowth(),
        "checks": vk.SensorChecks(vk.SensorCheckSettings(capacity_Ah=cell.capacity_Ah)),
        "drift": [vk.GroupDriftFit(interval_h=0.1) for _ in range(GROUPS)],
    }


def test_all_parts_are_stored_and_come_back(cell, run):
    state, parts = started(cell), parts_of(cell)
    parts["capacity"].anchor(float(run.group_soc[0].mean()), 0.005)
    for row in range(len(run)):
        dt_s = run.time_s[row] - run.time_s[row - 1] if row else 0.0
        # The sensor is built in the wrong way round.
        checked = parts["checks"].step(
            run.time_s[row], -run.current_A[row], run.group_voltage_V[row].mean(), 25.0, state.model_view
        )
        estimate = state.step(run.current_A[row], run.group_voltage_V[row], 25.0, dt_s)
        parts["capacity"].count(run.current_A[row], dt_s)
        parts["resistance"].step(math.log(estimate.reference.resistance_scale), estimate.reference.log_scale_std, dt_s)
        for k, fit in enumerate(parts["drift"]):
            fit.step(dt_s)
            fit.look(state.soc[k] - estimate.reference.soc, state.soc_difference_std[k], estimate.reference.soc)
    assert checked.fault_bits & int(vk.SensorFaultBit.current_sign)
    assert parts["resistance"].looks > 0
    stored = state.snapshot(**parts)
    assert len(state.snapshot()) < len(stored)  # no room for the drift

    woken, again = vk.PackFilter(cell, GROUPS), parts_of(cell)
    woken.start_from_snapshot(stored, 8 * 3600.0, 20.0, no_current=True, **again)
    slept_std = woken.estimate.reference.soc_std
    assert slept_std == pytest.approx(math.hypot(state.estimate.reference.soc_std, 0.0005 * math.sqrt(8)), rel=1e-5)
    assert again["resistance"].looks == parts["resistance"].looks
    assert again["resistance"].growth == pytest.approx(parts["resistance"].growth, rel=1e-6)
    # Ageing is a random walk: variances add up.
    rate = vk.ResistanceGrowthSettings().std_per_sqrt_day
    expected = math.hypot(parts["resistance"].log_growth_std, rate * math.sqrt(8 / 24))
    assert again["resistance"].log_growth_std == pytest.approx(expected, rel=1e-5)
    for before, after in zip(parts["drift"], again["drift"], strict=True):
        assert after.drift.looks == before.drift.looks > 0
        assert after.drift.capacity_share == pytest.approx(before.drift.capacity_share, abs=1e-6)
    first = again["checks"].step(0.0, 3.0, 3.7, 25.0)
    assert first.fault_bits & int(vk.SensorFaultBit.current_sign)
    assert first.current_A == -3.0
    # The interval of the capacity goes on where nothing flowed, and only there.
    end_soc = float(run.group_soc[-1].mean())
    assert parts["capacity"].anchor(end_soc, 0.005)
    assert again["capacity"].anchor(end_soc, 0.005)
    assert again["capacity"].capacity_Ah == pytest.approx(parts["capacity"].capacity_Ah, rel=1e-6)
    unsure = parts_of(cell)
    woken.start_from_snapshot(stored, 8 * 3600.0, 20.0, capacity=unsure["capacity"])
    # Hours in which something may have flowed are hours of counting.
    assert woken.estimate.reference.soc_std > math.hypot(slept_std, 0.9 * 0.01 * math.sqrt(8))
    assert not unsure["capacity"].anchor(end_soc, 0.005)
    assert unsure["resistance"].looks == 0  # not asked for

    # Refused, and nothing changed.
    untouched = parts_of(cell)
    with pytest.raises(vk.DataError, match="cut or damaged"):
        woken.start_from_snapshot(stored[:-1], **untouched)
    with pytest.raises(vk.DataError, match="drift: needs one for each of 6 groups, has 2"):
        woken.start_from_snapshot(stored, drift=untouched["drift"][:2])
    with pytest.raises(vk.DataError, match="drift: needs one for each of 6 groups, has 7"):
        state.snapshot(drift=[*parts["drift"], vk.GroupDriftFit()])
    with pytest.raises(vk.DataError, match=r"drift\[1\]: is None"):
        state.snapshot(drift=[parts["drift"][0], None, *parts["drift"][2:]])
    assert untouched["resistance"].looks == 0
    assert untouched["drift"][0].drift.looks == 0
    # Bytes without parts leave them as they are.
    woken.start_from_snapshot(state.snapshot(), **untouched)
    assert untouched["drift"][0].drift.looks == 0


def test_checks_replace_a_silent_current_sensor(cell):
    filter_of_cell = vk.SocFilter(cell)
    filter_of_cell.start(0.8, 0.02)
    model = vk.CellModel(cell)
    model.reset(vk.ModelState(soc=0.8, temperature_degC=25.0))
    time_s = np.arange(1200.0)
    current = np.where(time_s % 60 < 25, -8.0, np.where(time_s % 60 < 45, -1.0, 3.0))
    voltage, soc = model.run(time_s, current, np.full(len(time_s), 25.0))
    checks = vk.SensorChecks(vk.SensorCheckSettings(capacity_Ah=cell.capacity_Ah))
    for k in range(len(time_s)):
        silent = 600 <= k < 900
        checked = checks.step(
            time_s[k], math.nan if silent else current[k], voltage[k], 25.0, filter_of_cell.model_view
        )
        if silent:
            assert checked.fault_bits & int(vk.SensorFaultBit.current_missing)
            assert checked.current_std_A > 0
        estimate = filter_of_cell.step(
            checked.current_A, checked.voltage_V, checked.temperature_degC, checked.dt_s, checked.current_std_A
        )
        assert abs(estimate.soc - soc[k]) < max(0.01, 1.96 * estimate.soc_std)


def test_capacity_from_anchors(random):
    settings = vk.CapacitySettings(initial_share_std=0.1)
    estimator = vk.CapacityEstimator(55.0, settings)
    soc = 0.9
    assert not estimator.anchor(soc, 0.005)
    for k in range(40):
        target = 0.2 if k % 2 == 0 else 0.9
        estimator.count((target - soc) * 50.0, 3600.0)
        soc = target
        assert estimator.anchor(soc + 0.005 * random.standard_normal(), 0.005)
    assert abs(estimator.capacity_Ah - 50.0) < 4 * estimator.capacity_std_Ah
    assert estimator.capacity_std_Ah < 0.5
    assert estimator.intervals == 40
    with pytest.raises(vk.DataError):
        estimator.anchor(math.nan, 0.01)
    with pytest.raises(vk.DataError, match="forgetting"):
        vk.CapacityEstimator(50.0, vk.CapacitySettings(forgetting=0.1))


def test_strings_share_by_their_resistance():
    currents, voltage = vk.split_current([100.0, 101.0, 90.0], [0.1, 0.2, 0.1], -30.0, [True, True, False])
    assert currents[2] == 0
    assert np.isclose(currents.sum(), -30.0)
    assert np.allclose(np.array([100.0, 101.0]) + np.array([0.1, 0.2]) * currents[:2], voltage)
    with pytest.raises(vk.DataError, match="allowed windows"):
        vk.split_current([100.0], [0.1], -30.0, [False])


def test_bad_arguments_say_what_is_wrong(cell):
    with pytest.raises(vk.DataError, match="groups"):
        vk.PackFilter(cell, 0)
    with pytest.raises(vk.DataError, match="gate"):
        vk.PackFilter(cell, 4, vk.PackFilterSettings(gate=0.0))
    with pytest.raises(TypeError, match="no field"):
        vk.PackFilterSettings(gates=1)
    state = started(cell)
    with pytest.raises(vk.DataError, match="voltage_V: needs one value for each of 6 groups"):
        state.step(0.0, np.zeros(5), 25.0, 1.0)
    with pytest.raises(vk.DataError, match="set_capacity"):
        state.set_capacity(6, 8.0)
    with pytest.raises(vk.DataError, match="capacity_Ah"):
        vk.SensorChecks(vk.SensorCheckSettings())
    with pytest.raises(vk.DataError, match="rows of 6 groups"):
        state.run([0.0, 1.0], [0.0, 0.0], np.zeros((2, 5)), [25.0, 25.0])


def test_the_example_knows_every_group(root):
    said = subprocess.run(
        [sys.executable, "examples/10_pack_state.py"], capture_output=True, text=True, check=True, cwd=root
    ).stdout.splitlines()
    assert len(said) == 18
    assert said[10] == "after 60 min, sensor faults 0"
    assert said[14].endswith("faults 8")  # the stuck one
    # A night without current changes what is known of the groups by little.
    assert said[15].startswith("ten hours later")
    for evening, morning in ((said[11], said[16]), (said[12], said[17])):
        assert abs(float(evening.split()[2]) - float(morning.split()[2])) < 0.5

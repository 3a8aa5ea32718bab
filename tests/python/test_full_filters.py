"""Filters beside SocFilter and PackFilter: sigma points, a full filter for every group, strings in parallel."""

from __future__ import annotations

import math

import numpy as np
import pytest
import voltkeel as vk

GROUPS = 5


@pytest.fixture(scope="module")
def cell(root) -> vk.Cell:
    return vk.load_cell(root / "examples" / "invented_cell.json")


def load(share: float = 1.0) -> list[vk.LoadStep]:
    """Half an hour of an invented load."""
    minute = [(-8.0 if second < 25 else -1.0 if second < 45 else 3.0) for second in range(60)]
    return [vk.current_load(share * current_A, 1.0) for current_A in minute * 30]


def invented(cell: vk.Cell, strings: int) -> vk.Pack:
    pack = vk.single_string_pack("launch", "invented_cell.json", cell, vk.PackLayout(series=GROUPS, parallel=1))
    if strings > 1:
        module = pack.strings[0].modules
        pack.strings = [vk.PackString(name=f"string {s}", modules=module, busbar_ohm=0.002) for s in range(strings)]
    return pack


def drawn(pack: vk.Pack) -> vk.CellDifferences:
    spread = vk.SpreadSettings(seed=5, capacity_log_std=0.02, resistance_log_std=0.1, soc_std=0.01)
    return vk.draw_differences(pack, spread)


@pytest.fixture(scope="module")
def run(cell) -> vk.SimulationResult:
    pack = invented(cell, 1)
    settings = vk.SimulationSettings(soc=0.8, heat=False, differences=drawn(pack))
    return vk.simulate(pack, load(), settings)


def warm(run: vk.SimulationResult) -> np.ndarray:
    return np.full(len(run), 25.0)


def test_sigma_points_agree_with_derivatives_and_the_truth(cell, run):
    log = vk.Log(run.time_s, run.current_A, run.group_voltage_V[:, 2], 25.0)
    sigma, slopes = vk.SigmaFilter(cell), vk.SocFilter(cell)
    for state in (sigma, slopes):
        state.start(0.7, 0.1)
    soc, soc_std, bits = sigma.run(log)
    by_slopes, slopes_std, _ = slopes.run(log)
    assert np.abs(soc - by_slopes)[600:].max() < 0.005
    assert np.abs(soc_std / slopes_std - 1)[600:].max() < 0.2
    error = np.abs(soc - run.group_soc[:, 2])[600:]
    assert (error < 1.96 * soc_std[600:]).mean() > 0.95
    assert not bits.any()
    # What is told is the covariance and the floor.
    covariance = sigma.covariance
    assert np.allclose(covariance, covariance.T, rtol=1e-12, atol=0)
    assert np.linalg.eigvalsh(covariance).min() > 0
    floor = vk.filter_settings(cell).soc_std_floor
    assert soc_std[-1] == pytest.approx(math.sqrt(covariance[0, 0] + floor**2), rel=1e-9)
    assert sigma.state.soc == sigma.estimate.soc == soc[-1]
    assert len(sigma.state.branch_V) == len(slopes.state.branch_V)


def test_sigma_points_step_as_they_run(cell, run):
    stepped, ran = vk.SigmaFilter(cell), vk.SigmaFilter(cell)
    voltage = run.group_voltage_V[:, 0]
    for state in (stepped, ran):
        state.start_from_voltage(float(voltage[0]), float(run.current_A[0]))
    soc, _, _ = ran.run(vk.Log(run.time_s, run.current_A, voltage, 25.0))
    for row in range(100):
        dt_s = run.time_s[row] - run.time_s[row - 1] if row else 0.0
        assert stepped.step(run.current_A[row], voltage[row], 25.0, dt_s).soc == soc[row]
    told = stepped.step(math.nan, math.nan, 25.0, 1.0)
    assert told.fault_bits & int(vk.FaultBit.current_not_finite)
    assert told.fault_bits & int(vk.FaultBit.voltage_not_finite)


def test_full_filters_are_one_filter_for_each_group(cell, run):
    every = vk.GroupFilters(cell, GROUPS)
    every.start_from_voltages(run.group_voltage_V[0], float(run.current_A[0]))
    soc, soc_std, bits = every.run(run.time_s, run.current_A, run.group_voltage_V, warm(run))
    assert soc.shape == soc_std.shape == bits.shape == (len(run), GROUPS)
    for k in range(GROUPS):
        one = vk.SocFilter(cell)
        one.start_from_voltage(float(run.group_voltage_V[0, k]), float(run.current_A[0]))
        alone, alone_std, _ = one.run(vk.Log(run.time_s, run.current_A, run.group_voltage_V[:, k], 25.0))
        assert np.abs(soc[:, k] - alone).max() < 1e-9
        assert np.abs(soc_std[:, k] - alone_std).max() < 1e-9
        assert every.resistance_scale[k] == pytest.approx(one.state.resistance_scale, rel=1e-9)
    assert np.array_equal(every.soc, soc[-1])
    assert [state.soc for state in every.states] == list(soc[-1])
    # What PackFilter does for a fraction of the cost.
    few = vk.PackFilter(cell, GROUPS)
    few.start_from_voltages(run.group_voltage_V[0], float(run.current_A[0]))
    quick, _, _ = few.run(run.time_s, run.current_A, run.group_voltage_V, warm(run))
    assert np.abs(quick - soc)[900:].max() < 0.01


def test_full_filters_flag_and_refuse(cell, run):
    every = vk.GroupFilters(cell, GROUPS)
    every.start(0.8, 0.05)
    voltage = run.group_voltage_V[0].copy()
    voltage[3] = math.nan
    assert every.step(float(run.current_A[0]), voltage, 25.0, 1.0)
    assert [bool(bits & int(vk.FaultBit.voltage_not_finite)) for bits in every.fault_bits] == [
        k == 3 for k in range(GROUPS)
    ]
    assert not every.step(0.0, voltage, 25.0, 0.1)  # too soon after the last look
    before = every.soc
    with pytest.raises(vk.DataError, match="start_from_voltages: group 3"):
        every.start_from_voltages(voltage)
    assert np.array_equal(every.soc, before)
    with pytest.raises(vk.DataError, match="voltage_V: needs one value for each of 5 groups"):
        every.step(0.0, voltage[:4], 25.0, 1.0)
    with pytest.raises(vk.DataError, match="rows of 5 groups"):
        every.run([0.0], [0.0], np.zeros((1, 4)), [25.0])
    with pytest.raises(vk.DataError, match="start"):
        every.start(1.5, 0.05)
    for groups in (0, 513):
        with pytest.raises(vk.DataError, match="groups"):
            vk.GroupFilters(cell, groups)
    with pytest.raises(vk.DataError, match="gate"):
        vk.GroupFilters(cell, 2, vk.SocFilterSettings(gate=0.0))
    with pytest.raises(vk.DataError, match="gate"):
        vk.SigmaFilter(cell, vk.SocFilterSettings(gate=0.0))
    with pytest.raises(vk.DataError, match="start_from_voltage"):
        vk.SigmaFilter(cell).start_from_voltage(math.nan)


def test_sigma_points_start_under_load_as_derivatives_do(cell):
    sigma, slopes = vk.SigmaFilter(cell), vk.SocFilter(cell)
    for state in (sigma, slopes):
        state.start_under_load(0.6, 0.1, -8.0, 20.0)
    assert sigma.state.branch_V == slopes.state.branch_V
    assert max(sigma.state.branch_V) < 0
    assert np.array_equal(sigma.covariance, slopes.covariance)
    with pytest.raises(vk.DataError, match="start_under_load"):
        sigma.start_under_load(0.6, 0.1, math.nan)
    assert sigma.estimate.soc == 0.6


@pytest.fixture(scope="module")
def two_strings(cell) -> tuple[vk.SimulationResult, np.ndarray]:
    """Two strings of unequal groups, the second with more resistance, and the (strings, groups) factors."""
    pack = invented(cell, 2)
    differences = drawn(pack)
    factor = np.array(differences.resistance_factor)
    factor[GROUPS:] *= 1.3
    differences.resistance_factor = factor
    settings = vk.SimulationSettings(soc=0.8, heat=False, differences=differences)
    return vk.simulate(pack, load(2.0), settings), factor.reshape(2, GROUPS)


def by_string(run: vk.SimulationResult, columns: np.ndarray) -> np.ndarray:
    return columns.reshape(len(run), 2, GROUPS)


@pytest.mark.parametrize("own_sensors", [False, True])
def test_strings_share_what_the_model_says_or_sensors_show(cell, two_strings, own_sensors):
    run, factor = two_strings
    voltage, truth = by_string(run, run.group_voltage_V), by_string(run, run.group_soc)
    strings = vk.ParallelStrings(cell, 2, GROUPS, joint_ohm=0.002)
    strings.start_from_voltages(voltage[0], run.string_current_A[0])
    sensors = run.string_current_A if own_sensors else None
    soc, soc_std, bits, carried = strings.run(run.time_s, run.current_A, voltage, warm(run), sensors)
    assert soc.shape == soc_std.shape == bits.shape == (len(run), 2, GROUPS)
    assert np.abs(soc - truth)[900:].max() < 0.015
    assert (np.abs(soc - truth) < 1.96 * soc_std)[900:].mean() > 0.95
    assert not bits.any()
    assert np.allclose(carried.sum(axis=1), run.current_A, atol=1e-6)
    off_A = np.abs(carried - run.string_current_A)
    if own_sensors:
        assert off_A.max() == 0
    else:
        evenly_A = np.abs(run.current_A[:, None] / 2 - run.string_current_A)
        assert off_A[900:].mean() < 0.8 * evenly_A[900:].mean()
    assert np.array_equal(strings.soc, soc[-1])
    assert np.abs(strings.resistance_scale / factor - 1).max() < (0.08 if own_sensors else 0.15)
    assert (strings.soc_difference_std < strings.soc_std).all()
    assert [estimate.used for estimate in strings.estimates] == [GROUPS, GROUPS]


def test_open_strings_carry_nothing(cell):
    strings = vk.ParallelStrings(cell, 3, 2)
    strings.start(0.6, 0.05)
    voltage = np.full((3, 2), 3.7)
    assert strings.step(-6.0, voltage, 25.0, 1.0, closed=[True, False, True])
    assert strings.string_current_A == pytest.approx([-3.0, 0.0, -3.0], abs=1e-9)
    # One sensor is silent: its string carries what the others leave.
    readings = [-1.0, math.nan, -2.0]
    assert strings.step(-6.0, voltage, 25.0, 1.0, string_current_A=readings)
    assert strings.string_current_A == pytest.approx([-1.0, -3.0, -2.0], abs=1e-9)
    assert not strings.step(math.nan, voltage, 25.0, 1.0)
    assert strings.string_current_A == pytest.approx([-1.0, -3.0, -2.0], abs=1e-9)
    assert not strings.step(-6.0, voltage, 25.0, 1.0, closed=[False] * 3)
    voltage[1, 0] = math.nan
    strings.step(0.0, voltage, 25.0, 1.0)
    assert strings.group_fault_bits[1, 0] & int(vk.GroupFaultBit.missing)


def test_strings_know_of_readings_taken_earlier(cell):
    # One current for six steps of 10 s, then another; half of the groups are read some seconds before the end.
    time_s = np.arange(4001.0)
    current_A = np.where((np.ceil(time_s / 10) - 1) // 6 % 2 == 0, -2.0, 1.5)
    model = vk.CellModel(cell)
    model.reset(vk.ModelState(soc=0.8, temperature_degC=25.0))
    voltage_V, soc = model.run(time_s, current_A, np.full(len(time_s), 25.0))
    lag = np.zeros((2, GROUPS))
    lag[:, ::2] = [[3.0], [8.0]]
    found = {}
    for told in (True, False):
        strings = vk.ParallelStrings(cell, 2, GROUPS)
        strings.start_from_voltages(np.full((2, GROUPS), voltage_V[0]))
        alone = [vk.PackFilter(cell, GROUPS) for _ in range(2)]
        for one in alone:
            one.start_from_voltages(np.full(GROUPS, voltage_V[0]))
        for row in range(10, len(time_s), 10):
            early = voltage_V[(row - lag).astype(int)]
            own_A = np.full(2, current_A[row])
            assert strings.step(
                float(own_A.sum()), early, 25.0, 10.0, string_current_A=own_A, lag_s=lag if told else None
            )
            for one, read, early_s in zip(alone, early, lag, strict=True):
                one.step(current_A[row], read, 25.0, 10.0, lag_s=early_s if told else None)
        # Each string is the filter of its own groups, with its own lags.
        assert np.array_equal(strings.soc, [one.soc for one in alone])
        found[told] = strings.soc
    assert np.abs(found[True] - soc[-1]).max() < 0.001
    assert np.abs(found[True] - found[False]).max() > 1e-5
    voltage = np.full((1, 2, GROUPS), voltage_V[-1])
    with pytest.raises(vk.DataError, match="lag_s: needs 2 strings of 5 groups"):
        strings.step(0.0, voltage[0], 25.0, 1.0, lag_s=np.zeros((2, 2)))
    strings.step(0.0, voltage[0], 25.0, 1.0, lag_s=np.full((2, GROUPS), 2.0))
    assert (strings.group_fault_bits & int(vk.GroupFaultBit.late)).all()


def test_bad_strings_say_what_is_wrong(cell):
    for counts in ((0, 2), (17, 2), (2, 0), (2, 513)):
        with pytest.raises(vk.DataError, match="strings, groups, joint_ohm"):
            vk.ParallelStrings(cell, *counts)
    with pytest.raises(vk.DataError, match="joint_ohm"):
        vk.ParallelStrings(cell, 2, 2, joint_ohm=-1.0)
    with pytest.raises(vk.DataError, match="gate"):
        vk.ParallelStrings(cell, 2, 2, settings=vk.PackFilterSettings(gate=0.0))
    strings = vk.ParallelStrings(cell, 2, 2)
    strings.start(0.6, 0.05)
    with pytest.raises(vk.DataError, match="needs 2 strings of 2 groups"):
        strings.step(0.0, np.zeros(4), 25.0, 1.0)
    with pytest.raises(vk.DataError, match="string_current_A: needs one value for each of 2 strings"):
        strings.step(0.0, np.zeros((2, 2)), 25.0, 1.0, string_current_A=[0.0])
    with pytest.raises(vk.DataError, match="closed"):
        strings.step(0.0, np.zeros((2, 2)), 25.0, 1.0, closed=[True])
    with pytest.raises(vk.DataError, match="rows of 2 strings of 2 groups"):
        strings.run([0.0], [0.0], np.zeros((1, 2)), [25.0])
    before = strings.soc
    with pytest.raises(vk.DataError, match="start_from_voltages: string 1"):
        strings.start_from_voltages([[3.9, 3.9], [math.nan, math.nan]])
    assert np.array_equal(strings.soc, before)

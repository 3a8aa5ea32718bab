"""Counting, rests, growth of the resistance and drift of a group: each against a few lines of NumPy."""

from __future__ import annotations

import math

import numpy as np
import pytest
import voltkeel as vk
from conftest import make_cell


def test_counting_is_a_sum(random):
    settings = vk.CoulombCounterSettings(
        capacity_Ah=5.0, coulombic_efficiency=0.99, capacity_share_std=0.03, current_offset_std_A=0.02
    )
    counter = vk.CoulombCounter(settings)
    counter.start(0.6, 0.01)
    current = random.uniform(-4, 3, 2000)
    for one in current:
        estimate = counter.step(float(one), 0.5)
    moved = np.sum(np.where(current > 0, 0.99, 1.0) * current) * 0.5 / 3600 / 5
    assert estimate.soc == pytest.approx(0.6 + moved, abs=1e-12)
    share = math.hypot(0.03, settings.current_share_std)
    expected = math.sqrt(0.01**2 + (share * moved) ** 2 + (0.02 * 1000 / 3600 / 5) ** 2)
    assert estimate.soc_std == pytest.approx(expected, rel=1e-9)
    assert counter.estimate.soc == estimate.soc
    assert counter.step(math.nan, 1.0).fault_bits & vk.FaultBit.current_not_finite
    with pytest.raises(vk.DataError, match="capacity_Ah"):
        vk.CoulombCounter(vk.CoulombCounterSettings())
    with pytest.raises(vk.DataError, match="start"):
        counter.start(1.5, 0.1)


def test_a_rested_voltage_tells_the_soc():
    cell = make_cell(3)
    detector = vk.RestDetector(cell)
    ocv = cell.ocv
    mean_V = 0.5 * (ocv.discharge_V + ocv.charge_V)
    voltage = float(np.interp(0.62, ocv.soc, mean_V))
    degC = float(ocv.reference_temperature_degC)
    told = [detector.step(0.0, voltage, degC, 60.0) for _ in range(60)]
    assert not any(told[:25])  # 30 min at 20 degC and above
    assert all(told[31:])
    assert detector.rested
    assert detector.resting_s == pytest.approx(3600)
    assert detector.soc == pytest.approx(0.62, abs=2e-3)
    assert 0 < detector.soc_std < 0.05
    # A load wakes it, and so does what is no number.
    assert not detector.step(-cell.capacity_Ah, voltage, degC, 60.0)
    assert detector.resting_s == 0
    assert not detector.step(math.nan, voltage, degC, 60.0)
    with pytest.raises(vk.DataError, match="settle_s"):
        vk.RestDetector(cell, vk.RestSettings(settle_s=0.0))


def test_growth_of_the_resistance_is_a_scalar_kalman_filter(random):
    settings = vk.ResistanceGrowthSettings()
    growth = vk.ResistanceGrowth()
    log_growth, variance = 0.0, settings.initial_log_std**2
    for look in 0.18 + 0.05 * random.standard_normal(200):
        growth.step(float(look), 0.03, settings.interval_s)
        variance += settings.std_per_sqrt_day**2 * settings.interval_s / 86400
        gain = variance / (variance + 0.03**2 + settings.model_log_std**2)
        log_growth += gain * (look - log_growth)
        variance *= 1 - gain
    assert math.log(growth.growth) == pytest.approx(log_growth, abs=1e-12)
    assert growth.log_growth_std == pytest.approx(math.sqrt(variance), rel=1e-9)
    assert growth.looks == 200
    assert growth.growth == pytest.approx(math.exp(0.18), rel=0.02)
    growth.step(math.nan, 0.03, 600.0)
    growth.step(0.18, 0.5, 600.0)  # known too badly
    assert growth.looks == 200


def test_drift_of_a_group_is_found(random):
    """A leak of half a percent a day and 2 % more capacity, seen with 0.2 points of noise twice a day."""
    fit = vk.GroupDriftFit(days_memory=1e4, interval_h=1.0)
    days = np.arange(0, 40, 0.5)
    soc = 0.5 + 0.4 * np.sin(2 * np.pi * days / 3.3)
    seen = 0.01 - 0.005 * days - 0.02 * (soc - 0.5) + 0.002 * random.standard_normal(len(days))
    for k in range(len(days)):
        fit.step(43200.0)
        fit.look(float(seen[k]), 0.002, float(soc[k]))
    drift = fit.drift
    assert drift.looks == len(days)
    straight, *_ = np.linalg.lstsq(np.column_stack([np.ones_like(days), days, 0.5 - soc]), seen, rcond=None)
    assert drift.soc_per_day == pytest.approx(straight[1], abs=drift.soc_per_day_std)
    assert drift.capacity_share == pytest.approx(straight[2], abs=drift.capacity_share_std)
    assert abs(drift.soc_per_day + 0.005) < 3 * drift.soc_per_day_std < 1e-3
    assert abs(drift.capacity_share - 0.02) < 4 * drift.capacity_share_std < 0.01
    with pytest.raises(vk.DataError):
        vk.GroupDriftFit(days_memory=0.0)


def test_a_log_tells_whether_it_begins_at_rest():
    time = np.arange(0, 60, 1.0)
    rest = vk.Log(time, np.where(time < 20, 0.0, -3.0), np.where(time < 20, 3.8, 3.7), np.full(60, 25.0))
    assert vk.starts_at_rest(rest, 3.0)
    driven = vk.Log(time, np.full(60, -3.0), np.full(60, 3.7), np.full(60, 25.0))
    assert not vk.starts_at_rest(driven, 3.0)
    recovering = vk.Log(time, np.zeros(60), 3.8 - 0.05 * np.exp(-time / 15), np.full(60, 25.0))
    assert not vk.starts_at_rest(recovering, 3.0)
    # Started in the middle of use the branches follow from the mean current, with a wide spread.
    cell = make_cell(2)
    as_found = vk.replay(cell, driven, initial_soc=0.5, initial_soc_std=0.1)
    as_rested = vk.replay(cell, driven, initial_soc=0.5, initial_soc_std=0.1, starts_at_rest=True)
    assert as_found.soc_std[-1] > as_rested.soc_std[-1]
    f = vk.SocFilter(cell)
    f.start_under_load(0.5, 0.1, -3.0, 25.0)
    assert max(f.state.branch_V) < 0
    with pytest.raises(vk.DataError, match="start_under_load"):
        f.start_under_load(0.5, 0.1, math.nan, 25.0)

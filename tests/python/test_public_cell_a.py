"""A 2.9 Ah 18650 cell, measured: fit, SOC along drive cycles, time to full.

Data: Phillip Kollmeyer (2018), "Panasonic 18650PF Li-ion Battery Data", Mendeley Data, V1,
doi 10.17632/wykht8y7tg.1, CC BY 4.0; selected tests as CSV with the columns that `read_log` expects.

The tester reads the current 9 mA low while its channel is active, exactly 0 otherwise (charge balances of 40 tests
from full to full close with that correction and with no other): read with current_offset_A=0.009.

Reference SOC: 1 at the start (charged with 1C to 4.2 V until 50 mA before every test), then counted charge over the
capacity of the cell at that temperature and age: 2.85 Ah at 25 and 10 degC, 2.79 Ah at 0 degC.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import voltkeel as vk
from conftest import load_program

OFFSET_A = 0.009
# File: capacity for the reference, bound of the RMS error. The 1C discharge lasts an hour without a rest: told 80 % it
# has little to go by, and gets a wider bound.
DRIVES = {
    "drive_25degC_Cycle_1": (2.85, 0.020),
    "drive_25degC_US06": (2.85, 0.020),
    "drive_10degC_US06": (2.85, 0.020),
    "drive_0degC_Cycle_4": (2.79, 0.030),
    "discharge_1C_25degC_03-09": (2.85, 0.025),
}


@pytest.fixture(scope="module")
def read(cell_a_data):
    return lambda name: vk.read_log(cell_a_data / f"{name}.csv", current_offset_A=OFFSET_A)[0]


@pytest.fixture(scope="module")
def fit(cell_a_fit) -> vk.FitResult:
    return cell_a_fit


def quick_ohm(one: vk.PulseFit, node: int) -> float:
    branches = [branch.resistance_ohm[node] for branch in one.branches if branch.time_s[node] < 2.0]
    return one.r0_ohm[node] + one.charge_transfer.resistance_ohm[node] + sum(branches)


def test_fit(fit):
    cell = fit.cell
    print(f"\ncapacity {cell.capacity_Ah:.3f} Ah (std {cell.capacity_Ah_std:.3f})")
    for one in fit.pulses:
        print(
            f"{one.temperature_degC:6.1f} degC: residual {1e3 * one.residual_rms_V[0]:5.1f} mV rms over "
            f"{one.rows_used} rows, start {100 * one.initial_soc[0]:.1f} %"
        )
    # C/20 discharge counted with the corrected current: 2.81 Ah.
    assert abs(fit.slow.capacity_Ah - 2.81) < 0.005
    # What the authors' drives went by at 25 degC: 2.85 Ah.
    assert abs(cell.capacity_Ah - 2.85) < 2 * cell.capacity_Ah_std
    assert np.allclose([one.temperature_degC for one in fit.pulses], [-10, 0, 10, 25], atol=1.5)
    # All that answers within two seconds: how it falls to R0, the transfer and a fast branch is open where it is warm.
    quick = np.array([quick_ohm(one, 10) for one in fit.pulses])
    assert (np.diff(quick) < 0).all(), "colder is more resistance"
    residuals = np.array([one.residual_rms_V[0] for one in fit.pulses])
    assert (residuals[:-1] > residuals[-1]).all()
    assert residuals[-1] < 0.020


@pytest.mark.parametrize("name", DRIVES)
def test_soc_along_a_discharge(read, fit, name):
    """Told 100 %, or wrongly 80 %; with the capacity of the reference, or the fitted one."""
    reference_Ah, bound = DRIVES[name]
    log = read(name)
    dt_s = np.diff(log.time_s, prepend=log.time_s[0])
    reference = 1 + np.cumsum(log.current_A * dt_s) / (3600 * reference_Ah)
    assert reference[-1] < 0.25, "the cycle is to walk most of the SOC"
    late = log.time_s > 600
    print(f"\n{name}\n  start      capacity   rms   max after 10 min   in the 95 % band")
    for start, std in ((1.0, 0.02), (0.8, 0.2)):
        for label, capacity in ((f"{reference_Ah:.2f} Ah", reference_Ah), ("fitted ", None)):
            trace = vk.replay(fit.cell, log, initial_soc=start, initial_soc_std=std, capacity_Ah=capacity)
            error = trace.soc - reference
            rms = np.sqrt(np.average(error**2, weights=dt_s))
            inside = np.average((np.abs(error) < 1.96 * trace.soc_std)[late], weights=dt_s[late])
            print(
                f"  {100 * start:3.0f} +-{100 * std:3.0f} %  {label}  {100 * rms:5.2f}"
                f"  {100 * np.abs(error[late]).max():8.2f}  {100 * inside:17.1f} %"
            )
            assert rms < bound, (start, label)
            assert trace.reset_count == 0


@pytest.fixture(scope="module")
def accuracy():
    """Give the program that writes the tables of README.md: the charges are asked in one way only."""
    return load_program("accuracy")


def test_charges_tell_the_resistance_near_full(read, fit, accuracy):
    both = [read(name.removesuffix(".csv")) for name in accuracy.CHARGES]
    dc_ohm = sum(resistance(fit.cell, 0.5))
    for charges in ([both[0]], [both[1]], both):
        found = vk.fit_charge_rise(charges, fit.cell)
        print(
            f"\nrise {1e3 * found.rise.resistance_ohm:.0f} mohm (std {1e3 * found.rise.resistance_ohm_std:.0f}) from "
            f"{100 * found.rise.soc_start:.0f} % (std {100 * found.soc_start_std:.0f}), residual "
            f"{1e3 * found.residual_rms_V} mV, without the charges {1e3 * found.residual_before_rms_V} mV"
        )
        # "Two to three times the mid value near full": at least as much again, in the slow branch alone.
        assert 0.5 * dc_ohm < found.rise.resistance_ohm < 3 * dc_ohm
        assert found.rise.resistance_ohm_std < found.rise.resistance_ohm / 1.5
        assert (found.residual_rms_V < found.residual_before_rms_V).all()


def resistance(cell: vk.Cell, soc: float) -> list[float]:
    at = vk.CellModel(cell).resistance_at(soc, 25.0)
    return [at["r0_ohm"], *at["branch_ohm"]]


def test_time_to_full(fit, accuracy, cell_a_data):
    """Asked while charging, from nothing but the log so far; the rise near full in three ways."""
    found = accuracy.charges(fit.cell, cell_a_data)
    ways = next(iter(found.values())).keys()
    rms = {way: np.sqrt(np.mean([np.square(f[way]) for f in found.values()], axis=0)) for way in ways}
    for way, values in rms.items():
        print(f"{way:40s} rms at {accuracy.SHARES}: {np.round(values, 1)} min")
    guess = rms["always guessing 100 min"][1:3]
    pooled = {way: float(np.sqrt(np.mean(np.square(values[1:3])))) for way, values in rms.items()}
    # 7.3 min: error of guessing one time for all charges of this data set, our own evaluation of it.
    assert pooled["and the rest after the slow charge"] < 7.3
    assert pooled["and the rest after the slow charge"] < guess.min()
    # Minutes at SHARES that a charging screen should keep to, before and after a completed charge: a wish, no source.
    assert (rms["and the rest after the slow charge"] < (5, 4.5, 3, 2.5)).all()
    assert (rms["and its taper"] < (4, 4, 2.5, 1.5)).all()
    assert (rms["and the other charge"][:3] < 0.6 * rms["pulse tests alone"][:3]).all()


def test_a_fit_without_the_slow_test(read, fit):
    """The same pulse tests alone: OCV and capacity from their rests and the discharge to 2.5 V at the end of one.

    Judged by what it was not fitted to: the slow test, and the drives.
    """
    pulses = [read(f"hppc_{t}degC") for t in ("25", "10", "0", "n10")]
    alone = vk.fit_cell(None, pulses, vk.FitSettings(pulse_offset_share_std=0.0))
    ocv, other = alone.cell.ocv, fit.cell.ocv
    above = ocv.soc >= 0.1
    error_V = (ocv.discharge_V - np.interp(ocv.soc, other.soc, other.discharge_V))[above]
    rms_V = np.sqrt(np.mean(error_V**2))
    inside = np.mean(np.abs(error_V) < 1.96 * ocv.voltage_std_V[above])
    print(
        f"\nOCV above 10 % {1e3 * rms_V:.1f} mV rms, largest {1e3 * np.abs(error_V).max():.1f} mV from the discharge "
        f"branch with the slow test, {100 * inside:.0f} % in the 95 % band; capacity {alone.cell.capacity_Ah:.3f} Ah "
        f"(std {alone.cell.capacity_Ah_std:.3f}), with the slow test {fit.cell.capacity_Ah:.3f}"
    )
    assert rms_V < 0.012
    assert inside > 0.9
    # What the authors' drives went by at 25 degC: 2.85 Ah.
    assert abs(alone.cell.capacity_Ah - 2.85) < 2 * alone.cell.capacity_Ah_std
    assert alone.cell.capacity_Ah_std < 0.05
    pooled_V = [np.sqrt(np.mean([p.residual_rms_V[0] ** 2 for p in fitted.pulses])) for fitted in (alone, fit)]
    print(f"residual of the pulse tests {1e3 * pooled_V[0]:.1f} mV, with the slow test {1e3 * pooled_V[1]:.1f} mV")
    assert pooled_V[0] < 1.15 * pooled_V[1]
    for name, (reference_Ah, bound) in DRIVES.items():
        log = read(name)
        dt_s = np.diff(log.time_s, prepend=log.time_s[0])
        reference = 1 + np.cumsum(log.current_A * dt_s) / (3600 * reference_Ah)
        # Every one follows a rest, also the discharge, whose first row is under current already.
        trace = vk.replay(alone.cell, log, initial_soc=0.8, initial_soc_std=0.2, starts_at_rest=True)
        rms = np.sqrt(np.average((trace.soc - reference) ** 2, weights=dt_s))
        print(f"  {name}: {100 * rms:.2f} points rms from 20 points low")
        assert rms < bound, name


def test_what_these_tests_do_not_tell(fit):
    """One slow cycle that turns at empty only; one balance from full to full: rate and efficiency stay assumed."""
    assert not fit.hysteresis.told
    assert "between 8 and 92 % SOC" in fit.hysteresis.note
    assert not fit.efficiency.told
    assert fit.efficiency.balances == 1
    assert fit.cell.coulombic_efficiency == 1
    assert fit.cell.hysteresis_rate == 30


def test_the_group_that_decides_is_found_on_measured_tables(fit, random):
    """Tables of a fit scatter from node to node; trying every group is the reference.

    At most one limit in a thousand may be off by more than 0.15 %.
    """
    pack = vk.single_string_pack("pack", "cell.json", fit.cell, vk.PackLayout(series=24, parallel=1))
    horizons_s = [2.0, 10.0, 30.0, math.inf]
    limits = missed = 0
    largest = 0.0
    for _ in range(500):
        spread = 10 ** random.uniform(-2.5, -0.7) * random.normal(size=24)
        soc = np.clip(random.uniform(0.04, 0.97) + spread, 0.01, 0.99)
        warm_degC = random.uniform(-10, 40) + random.uniform(0, 8) * random.uniform(-1, 1, 24)
        resistance = np.exp(0.1 * random.normal(size=24))
        groups = [
            vk.GroupState(state=vk.ModelState(soc=s, temperature_degC=t, resistance_scale=r))
            for s, t, r in zip(soc, warm_degC, resistance, strict=True)
        ]
        found = vk.pack_limits(pack, groups, horizons_s)
        wanted = vk.pack_limits(pack, groups, horizons_s, [], vk.PackLimitSettings(every_group=True))
        for one, other in zip(found, wanted, strict=True):
            for direction in ("charge", "discharge"):
                found_A = getattr(one, direction).current_A
                wanted_A = getattr(other, direction).current_A
                off_A = abs(found_A - wanted_A)
                limits += 1
                if off_A > 1.5e-3 * abs(wanted_A) + 2e-3:
                    missed += 1
                    largest = max(largest, off_A / max(abs(wanted_A), 0.01 * fit.cell.capacity_Ah))
    print(f"{missed} of {limits} limits missed, the largest by {100 * largest:.1f} %")
    assert limits == 4000
    assert missed <= limits / 1000

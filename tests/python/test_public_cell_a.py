"""A 2.9 Ah 18650 cell, measured: fit, SOC along drive cycles, time to full.

Data: Phillip Kollmeyer (2018), "Panasonic 18650PF Li-ion Battery Data", Mendeley Data, V1,
doi 10.17632/wykht8y7tg.1, CC BY 4.0; selected tests as CSV with the columns that `read_log` expects.

The tester reads the current 9 mA low while its channel is active, exactly 0 otherwise (charge balances of 40 tests
from full to full close with that correction and with no other): read with current_offset_A=0.009.

Reference SOC: 1 at the start (charged with 1C to 4.2 V until 50 mA before every test), then counted charge over the
capacity of the cell at that temperature and age: 2.85 Ah at 25 and 10 degC, 2.79 Ah at 0 degC.
"""

from __future__ import annotations

import numpy as np
import pytest
import voltkeel as vk

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
CHARGES = ("charge_25degC_charge1_03-20", "charge_25degC_charge2_03-19")


@pytest.fixture(scope="module")
def read(cell_a_data):
    return lambda name: vk.read_log(cell_a_data / f"{name}.csv", current_offset_A=OFFSET_A)[0]


@pytest.fixture(scope="module")
def fit(read) -> vk.FitResult:
    return vk.fit_cell(read("ocv_c20_25degC"), [read(f"hppc_{t}degC") for t in ("25", "10", "0", "n10")])


def test_fit(fit):
    cell = fit.cell
    print(f"\ncapacity {cell.capacity_Ah:.3f} Ah (std {cell.capacity_Ah_std:.3f})")
    for one in fit.pulses:
        print(
            f"{one.temperature_degC:6.1f} degC: residual {1e3 * one.residual_rms_V[0]:5.1f} mV rms over "
            f"{one.rows_used} rows, start {100 * one.initial_soc[0]:.1f} %"
        )
    # C/20 discharge counted with the corrected current: 2.81 Ah.
    assert abs(cell.capacity_Ah - 2.81) < 0.005
    assert np.allclose([one.temperature_degC for one in fit.pulses], [-10, 0, 10, 25], atol=1.5)
    r0 = np.array([one.r0_ohm[10] for one in fit.pulses])
    assert (np.diff(r0) < 0).all(), "colder is more resistance"
    residuals = np.array([one.residual_rms_V[0] for one in fit.pulses])
    assert (np.diff(residuals) < 0).all()
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


def test_time_to_full(read, fit):
    """Asked while charging, from nothing but the log so far; 2.9 A to 4.2 V, then down to 50 mA."""
    # The tester ended at 50 mA by its own reading, 59 mA corrected. The plan asks for the 50 mA of the procedure, as a
    # user would; with 59 mA the forecasts are about 6 min shorter and the error at 25 and 50 % is 6.2 min rms.
    plan = vk.ChargePlan(
        zones=[vk.ChargeZone(temperature_min_degC=0, temperature_max_degC=45, current_A=2.9, voltage_V=4.2)],
        end_current_A=0.05,
    )
    errors: dict[int, list[float]] = {}
    guesses: list[float] = []
    print("\nfile                          asked at   SOC      forecast   in truth   error, min")
    for name in CHARGES:
        log = read(name)
        flows = np.flatnonzero(log.current_A > 0)
        begin_s, end_s = log.time_s[flows[0] - 1], log.time_s[flows[-1]]
        for share in (0, 25, 50, 75):
            # The last row by then.
            last = np.searchsorted(log.time_s, begin_s + share / 100 * (end_s - begin_s), side="right")
            so_far = vk.Log(*(c[:last] for c in (log.time_s, log.current_A, log.voltage_V, log.temperature_degC)))
            now = vk.replay(fit.cell, so_far).end
            outlook = vk.time_to_full(fit.cell, now, plan, ambient_degC=float(log.temperature_degC[0]))
            assert outlook.forecast.reached
            left_s = end_s - so_far.time_s[-1]
            error_min = (outlook.forecast.time_s - left_s) / 60
            errors.setdefault(share, []).append(error_min)
            if share in (25, 50):
                guesses.append(100 - (end_s - begin_s) / 60)
            print(
                f"{name:28}  {share:4} %   {100 * now.soc:5.1f} %  {outlook.forecast.time_s / 60:7.1f}"
                f"  {left_s / 60:9.1f}  {error_min:+9.2f}"
            )
    rms = float(np.sqrt(np.mean(np.square(errors[25] + errors[50]))))
    guess = float(np.sqrt(np.mean(np.square(guesses))))
    print(f"rms at 25 and 50 %: {rms:.2f} min; always guessing 100 min in total: {guess:.2f} min")
    # 7.3 min: error of guessing one time for all charges of this data set, our own evaluation of it.
    assert rms < 7.3
    assert rms < guess

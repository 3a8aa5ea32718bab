"""Accuracy on public data: prints the tables of README.md. Needs VOLTKEEL_DATA.

P. Kollmeyer (2018), "Panasonic 18650PF Li-ion Battery Data", doi 10.17632/wykht8y7tg.1, CC BY 4.0, as CSV files in the
folder cell_a_18650: a slow test, pulse tests at four temperatures, four drives and two charges, current positive when
charging. The tester reads 9 mA low while it is active (full-to-full balances of the data set), which is handed in as
the sensor offset.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import NamedTuple

import numpy as np
import voltkeel as vk

OFFSET_A = 0.009
PULSE_TESTS = ("hppc_25degC.csv", "hppc_10degC.csv", "hppc_0degC.csv", "hppc_n10degC.csv")
# Drive and its reference: full at the start, then counted over the capacity at that temperature.
DRIVES = (
    ("drive_25degC_Cycle_1.csv", 2.85),
    ("drive_25degC_US06.csv", 2.85),
    ("drive_10degC_US06.csv", 2.85),
    ("drive_0degC_Cycle_4.csv", 2.79),
)
CHARGES = ("charge_25degC_charge2_03-19.csv", "charge_25degC_charge1_03-20.csv")
SHARES = (0.0, 0.25, 0.5, 0.75)
CONSTANT_GUESS_MIN = 100.0


class DriveResult(NamedTuple):
    """Errors along a drive, in points of SOC; coverage is the share of time inside the 95 % band."""

    name: str
    start: float
    rms: float
    largest: float
    coverage: float


def read(folder: Path, name: str) -> vk.Log:
    return vk.read_log(folder / name, current_offset_A=OFFSET_A)[0]


def fit(folder: Path) -> vk.Cell:
    return vk.fit_cell(read(folder, "ocv_c20_25degC.csv"), [read(folder, name) for name in PULSE_TESTS]).cell


def drives(cell: vk.Cell, folder: Path, given_capacity: bool) -> list[DriveResult]:
    """Replay every drive from the right start and from 20 points below it.

    With `given_capacity` the filter is told the reference's capacity, otherwise it uses the fitted one.
    """
    results = []
    for name, capacity_Ah in DRIVES:
        log = read(folder, name)
        charge_Ah = np.concatenate([[0.0], np.cumsum(log.current_A[1:] * np.diff(log.time_s))]) / 3600
        reference = 1.0 + charge_Ah / capacity_Ah
        for start, std in ((1.0, 0.05), (0.8, 0.2)):
            trace = vk.replay(
                cell,
                log,
                initial_soc=start,
                initial_soc_std=std,
                capacity_Ah=capacity_Ah if given_capacity else None,
            )
            error = 100 * (trace.soc - reference)
            results.append(
                DriveResult(
                    name,
                    start,
                    float(np.sqrt(np.mean(error**2))),
                    float(np.abs(error[log.time_s > 600]).max()),
                    float(np.mean(np.abs(error) < 196 * trace.soc_std)),
                )
            )
    return results


def charge_errors(cell: vk.Cell, folder: Path) -> list[list[float]]:
    """Error in minutes of the time to full, asked at SHARES of the time, for every charge."""
    plan = vk.ChargePlan(
        zones=[
            vk.ChargeZone(temperature_min_degC=0.0, temperature_max_degC=45.0, current_A=2.9, voltage_V=4.2),
        ],
        end_current_A=0.05,
    )
    results = []
    for name in CHARGES:
        log = read(folder, name)
        charging = np.flatnonzero(log.current_A > 0.04)
        first, last = int(charging[0]) - 1, int(charging[-1])
        begin_s, end_s = log.time_s[first], log.time_s[last]
        row = []
        for share in SHARES:
            k = max(int(np.searchsorted(log.time_s, begin_s + share * (end_s - begin_s), side="right")), first + 1)
            so_far = vk.Log(log.time_s[:k], log.current_A[:k], log.voltage_V[:k], log.temperature_degC[:k])
            outlook = vk.time_to_full(cell, vk.replay(cell, so_far).end, plan, 25.0)
            row.append(float(outlook.forecast.time_s - (end_s - so_far.time_s[-1])) / 60)
        results.append(row)
    return results


def charge_minutes(folder: Path) -> list[float]:
    """How long every charge took."""
    minutes = []
    for name in CHARGES:
        log = read(folder, name)
        charging = np.flatnonzero(log.current_A > 0.04)
        minutes.append(float(log.time_s[charging[-1]] - log.time_s[charging[0] - 1]) / 60)
    return minutes


def main() -> int:
    root = os.environ.get("VOLTKEEL_DATA")
    if not root:
        print("VOLTKEEL_DATA is not set; fetch doi 10.17632/wykht8y7tg.1", file=sys.stderr)
        return 2
    folder = Path(root) / "cell_a_18650"
    cell = fit(folder)
    print(f"fitted capacity {cell.capacity_Ah:.3f} Ah (std {cell.capacity_Ah_std:.3f})")
    print()
    print("drive                       told at start   rms   largest after 10 min   inside 95 % band")
    for given, title in ((True, "capacity of the reference"), (False, "fitted capacity")):
        print(f"-- {title}")
        for result in drives(cell, folder, given):
            print(
                f"{result.name:27s}         {100 * result.start:5.0f} %  {result.rms:4.2f}   "
                f"{result.largest:20.1f}   {100 * result.coverage:14.0f} %"
            )
    print()
    print("time to full, error in minutes, asked after       0 %    25 %    50 %    75 % of the time")
    for name, row, minutes in zip(CHARGES, charge_errors(cell, folder), charge_minutes(folder), strict=True):
        print(f"{name:33s} ({minutes:3.0f} min)   " + "  ".join(f"{error:+6.1f}" for error in row))
        print(f"{'  always guessing 100 min':45s} " + "  ".join([f"{CONSTANT_GUESS_MIN - minutes:+6.1f}"] * len(row)))
    return 0


if __name__ == "__main__":
    sys.exit(main())

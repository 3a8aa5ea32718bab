"""A start in the middle of use: what it says of the branches against the driving cycles of UN GTR 15."""

from __future__ import annotations

import math
import re
import subprocess
import sys

import numpy as np
import pytest
import voltkeel as vk
from conftest import make_cell

SOC = 0.5
TEMPERATURE_DEGC = 20.0
AROUND_S = 120
CYCLES = ("class1", "class2", "class3a", "class3b")


def cycle_current_A(name: str, rms_A: float) -> np.ndarray:
    """Current of a pack in the default road vehicle, second by second through a cycle, scaled to an rms value.

    Source of the speeds: UN GTR 15 (WLTP), the traces that the package wltp carries.
    """
    cycles = pytest.importorskip(
        f"wltp.cycles.{name[:6]}", reason="pip install --no-deps 'wltp>=0.1.2a0' for the traces"
    )
    data = {"class3a": "class_data_a", "class3b": "class_data_b"}.get(name, "class_data")
    speed = np.array(getattr(cycles, data)()["cycle"]) / 3.6
    load = vk.road_load(vk.RoadVehicle(), vk.SpeedTrace(time_s=np.arange(len(speed)), speed_m_per_s=speed))
    return np.asarray(load.power_W) * rms_A / np.sqrt(np.mean(np.square(load.power_W)))


# Use about as hard as the start takes for granted, and harder; calmer use is wider by intention (no less than C/2).
@pytest.mark.parametrize("rms_share", [0.5, 0.7])
@pytest.mark.parametrize("name", CYCLES)
def test_branches_are_as_far_off_as_the_start_says(name, rms_share):
    cell = make_cell(branches=4)
    one = cycle_current_A(name, rms_share * cell.capacity_Ah)
    rounds = math.ceil(7200 / len(one)) + 2
    current = np.tile(one, rounds)
    node = vk.CellModel(cell).resistance_at(SOC, TEMPERATURE_DEGC)
    ohm, time_s = np.array(node["branch_ohm"]), np.array(node["branch_time_s"])
    kept = np.exp(-1 / time_s)
    branch_V = np.zeros((len(current), len(ohm)))
    for k in range(1, len(current)):
        branch_V[k] = kept * branch_V[k - 1] + (1 - kept) * ohm * current[k]

    state = vk.SocFilter(cell)
    errors, variances = [], []
    last = len(current) - AROUND_S - 1
    for k in range(last - len(one), last, 7):
        around = current[k + 1 : k + 1 + AROUND_S]
        state.start_under_load(
            SOC, 0.0, around.mean(), TEMPERATURE_DEGC, rms_current_A=float(np.sqrt(np.mean(around**2)))
        )
        spread = state.covariance[1 : 1 + len(ohm), 1 : 1 + len(ohm)]
        off = branch_V[k] - state.state.branch_V
        errors.append([*off, off.sum()])
        variances.append([*np.diag(spread), spread.sum()])
    share = np.square(errors) / np.array(variances)
    inside = np.mean(share < 1.96**2, axis=0)
    overall = np.sqrt(np.sum(np.square(errors), axis=0) / np.sum(variances, axis=0))
    print(name, rms_share, "rms of errors over what was said:", overall.round(2), "inside:", inside.round(2))
    # Each branch, and their sum, which is what a voltage shows.
    assert np.all(overall > 0.5)
    assert np.all(overall < 1.5)
    # The slowest (two and a half hours) has come further in the two hours here than in the hour that is taken.
    assert np.all(np.delete(inside, 3) > 0.85)


def test_the_example_is_as_sure_as_it_may_be(root):
    said = subprocess.run(
        [sys.executable, "examples/14_start_in_use.py"], capture_output=True, text=True, check=True, cwd=root
    ).stdout.splitlines()
    inside = {}
    for line in said[2:]:
        told = re.findall(r"([+-]\d+\.\d) \( *(\d+\.\d)\)", line)
        assert len(told) == 3
        inside[line.split("  ")[0]] = [abs(float(error)) < 2 * float(std) for error, std in told]
    assert len(inside) == 4
    assert all(all(row) for name, row in inside.items() if name.endswith("in use"))
    assert not inside["remembered, taken as rested"][2]
    assert not inside["from one voltage"][2]

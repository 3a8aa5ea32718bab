"""A cell from a data sheet: from the library, from the command line, and what it is worth on measured drives."""

from __future__ import annotations

import json
import subprocess
import sys

import jsonschema
import numpy as np
import pytest
import voltkeel as vk
from scipy.integrate import trapezoid


def sheet(**fields) -> vk.DataSheet:
    return vk.DataSheet(
        **{
            "name": "HW-50 (invented)",
            "chemistry": vk.Chemistry.nmc,
            "capacity_Ah": 5.0,
            "resistance_ac_ohm": 0.0165,
            "resistance_dc_ohm": 0.0282,
            "voltage_min_V": 2.5,
            "voltage_max_V": 4.2,
            **fields,
        }
    )


def run(*words: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "voltkeel.command_line", *map(str, words)], capture_output=True, text=True, check=False
    )


DRAFT = ("draft", "--chemistry", "nmc", "--capacity-Ah", 5, "--resistance-ac-mohm", 16.5, "--resistance-dc-mohm", 28.2)


def test_the_harbour_day_is_followed_inside_the_band(demo):
    """The demo boat's cell by its sheet alone; its resistances in the data differ in shape and in the cold."""
    cell = vk.cell_from_data_sheet(sheet())
    log = vk.read_log(demo / "harbour_day.csv")[0]
    truth = np.loadtxt(demo / "harbour_day_truth.csv", delimiter=",", skiprows=1)
    late = truth[:, 0] > 600
    for start in ({"initial_soc": 0.8, "initial_soc_std": 0.2}, {}):
        trace = vk.replay(cell, log, settings=vk.filter_settings(cell), **start)
        error = (np.interp(truth[:, 0], trace.time_s, trace.soc) - truth[:, 1])[late]
        band = 1.96 * np.interp(truth[late, 0], trace.time_s, trace.soc_std)
        print(f"data sheet only, harbour day: SOC rms error {100 * np.sqrt(np.mean(error**2)):.2f} points")
        assert np.sqrt(np.mean(error**2)) < 0.025
        assert (np.abs(error) < band).mean() >= 0.95
        assert trace.reset_count == 0


def test_public_drives_are_followed_inside_the_band(cell_a_data):
    """A measured 2.9 Ah cell with no test of it used.

    1 kHz resistance and capacity are round values of that size; the pulse resistance is the 10 s value of its pulse
    test at 25 degC, as a sheet would print it. Kollmeyer 2018, doi 10.17632/wykht8y7tg.1.
    """
    cell = vk.cell_from_data_sheet(
        sheet(chemistry=vk.Chemistry.nca, capacity_Ah=2.8, resistance_ac_ohm=0.020, resistance_dc_ohm=0.037)
    )
    for name, capacity_Ah in (
        ("drive_25degC_Cycle_1.csv", 2.85),
        ("drive_25degC_US06.csv", 2.85),
        ("drive_10degC_US06.csv", 2.85),
        ("drive_0degC_Cycle_4.csv", 2.79),
    ):
        log = vk.read_log(cell_a_data / name, current_offset_A=0.009)[0]
        counted = np.concatenate([[0.0], np.cumsum(log.current_A[1:] * np.diff(log.time_s))]) / 3600
        trace = vk.replay(cell, log, initial_soc=0.8, initial_soc_std=0.2, settings=vk.filter_settings(cell))
        error = trace.soc - (1 + counted / capacity_Ah)
        print(f"data sheet only, {name}: SOC rms error {100 * np.sqrt(np.mean(error**2)):.2f} points")
        assert np.sqrt(np.mean(error**2)) < 0.08
        assert (np.abs(error) < 1.96 * trace.soc_std).mean() >= 0.95


def test_a_fitted_cell_takes_the_noise_of_its_fit_and_else_the_defaults(demo_fit):
    cell = demo_fit.cell
    found = vk.filter_settings(cell)
    defaults = vk.SocFilterSettings()
    names = [name for name in dir(defaults) if not name.startswith("_")]
    assert len(names) > 10
    moved = [name for name in names if getattr(found, name) != getattr(defaults, name)]
    assert sorted(moved) == ["overvoltage_share_std", "voltage_std_V"]
    noise = cell.noise
    grown = np.sqrt(1 + 2 * noise.lasting_share * min(noise.correlation_time_s, 30) / found.update_interval_s)
    assert found.voltage_std_V == pytest.approx(grown * noise.voltage_std_V)
    assert found.overvoltage_share_std == pytest.approx(grown * noise.overvoltage_share_std)


def test_the_curves_are_the_published_ones():
    soc = np.linspace(0, 1, 11)
    # Chen et al., J. Electrochem. Soc. 167 (2020) 080534, computed with 30 digits (windows from memory, not re-read).
    curve = [2.49766, 3.25772, 3.44930, 3.54830, 3.63431, 3.70776, 3.80892, 3.92364, 4.02154, 4.09405, 4.19291]
    assert vk.published_ocv_V(vk.Chemistry.nmc, curve[0], curve[-1], soc) == pytest.approx(curve, abs=6e-6)
    with pytest.raises(vk.DataError, match="soc: must increase from 0 to 1"):
        vk.published_ocv_V(vk.Chemistry.nmc, 2.5, 4.2, soc[1:])


@pytest.mark.parametrize("chemistry", list(vk.Chemistry.__members__))
def test_draft_makes_a_cell_that_every_command_takes(tmp_path, demo, root, chemistry):
    out = tmp_path / "cell.json"
    done = run(*DRAFT[:2], chemistry, *DRAFT[3:], "--out", out)
    assert done.returncode == 0, done.stderr
    assert "data sheet only: not measured" in done.stdout
    assert "Measure next" in done.stdout
    document = json.loads(out.read_text(encoding="utf-8"))
    jsonschema.validate(document, json.loads((root / "data/schema/cell.schema.json").read_text(encoding="utf-8")))
    assert document["provenance"]["method"] == "data sheet only: not measured"
    assert document["provenance"]["made_at"]
    for words in (
        ("replay", demo / "harbour_day.csv", "--cell", out, "--initial-soc", 0.8, "--out", tmp_path / "soc.csv"),
        ("limits", "--cell", out, "--soc", 0.5, "--temperature-degC", -10),
        ("charge", "--cell", out, "--soc", 0.2, "--temperature-degC", 20),
        ("charge", "--cell", out, "--from-log", demo / "harbour_day.csv", "--initial-soc", 0.8),
    ):
        done = run(*words)
        assert done.returncode == 0, (words, done.stderr)


def test_draft_takes_the_limits_of_the_sheet(tmp_path):
    out = tmp_path / "cell.json"
    done = run(
        *DRAFT, "--dc-pulse-s", 30, "--voltage-min-V", 2.8, "--voltage-max-V", 4.15, "--charge-A", 2,
        "--max-charge-A", 4, "--max-discharge-A", 15, "--end-current-A", 0.1, "--charge-temperature-degC", 5, 40,
        "--discharge-temperature-degC", -15, 55, "--mass-kg", 0.07, "--name", "HW-50 (invented)", "--out", out,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "Common practice, replace" not in done.stdout
    cell = vk.load_cell(out)
    window = cell.window
    assert (window.voltage_min_V, window.voltage_max_V) == (2.8, 4.15)
    assert (window.charge_temperature_min_degC, window.charge_temperature_max_degC) == (5, 40)
    assert (window.discharge_temperature_min_degC, window.discharge_temperature_max_degC) == (-15, 55)
    assert cell.charge.end_current_A == 0.1
    assert [zone.current_A for zone in cell.charge.zones] == [1, 2]
    at = vk.CellModel(cell).resistance_at(0.5, 25)
    pulse = at["r0_ohm"] + sum(
        r * -np.expm1(-30 / t) for r, t in zip(at["branch_ohm"], at["branch_time_s"], strict=True)
    )
    assert pulse == pytest.approx(0.0282, rel=1e-9)


@pytest.mark.parametrize(
    ("change", "text"),
    [
        (("--capacity-Ah", "x"), "'x' is not a number"),
        (("--capacity-Ah", "0"), "capacity 0 is outside"),
        (("--chemistry", "lead"), "invalid choice: 'lead'"),
        (("--resistance-dc-mohm", "10"), "resistance_dc_ohm: 0.01 must be above resistance_ac_ohm, 0.0165"),
        (("--voltage-max-V", "4.7"), "voltage_max_V: 4.7 is outside"),
        (("--dc-pulse-s", "500"), "pulse 500 is outside"),
        (("--charge-temperature-degC", "50", "10"), "charge_temperature_min_degC: 50"),
        (("--charge-A", "3", "--max-charge-A", "2"), "charge_current_A: 3 is above"),
    ],
)
def test_draft_names_what_it_cannot_use(tmp_path, change, text):
    out = tmp_path / "cell.json"
    done = run(*DRAFT, *change, "--out", out)
    assert done.returncode == 2
    assert text in done.stderr
    assert not out.exists()


def test_a_sheet_that_cannot_be_used_is_named():
    for fields, text in (
        ({"capacity_Ah": -1.0}, "capacity_Ah: -1"),
        ({"resistance_ac_ohm": float("nan")}, "resistance_ac_ohm: nan"),
        ({"end_current_A": 2.0}, "end_current_A: 2 must be below half"),
        ({"chemistry": vk.Chemistry.lfp}, "voltage_max_V: 4.2 is outside"),
    ):
        with pytest.raises(vk.DataError, match=text):
            vk.cell_from_data_sheet(sheet(**fields))


# ---------------------------------------------------------------- incremental capacity


def test_incremental_capacity_of_the_demo_cell(demo, demo_fit):
    """The slow test and the curve fitted to it show the same peaks; the charge adds up."""
    log = vk.read_log(demo / "slow_test_25degC.csv")[0]
    settings = vk.IncrementalCapacitySettings(smoothing_V=0.01)
    counted = vk.read_slow_test(log).capacity_Ah
    for charging in (False, True):
        c = vk.incremental_capacity(log, charging, settings)
        total = trapezoid(c.charge_Ah_per_V, c.voltage_V)
        assert total == pytest.approx(counted, rel=0.03)
    fitted = vk.incremental_capacity(demo_fit.cell.ocv, demo_fit.cell.capacity_Ah, True, settings)
    inside = (fitted.voltage_V > 3.4) & (fitted.voltage_V < 4.1)
    measured = vk.incremental_capacity(log, True, settings)
    # The slow current shifts the peaks by its few millivolts; the largest stands at the same place.
    peak_fit = fitted.voltage_V[inside][fitted.charge_Ah_per_V[inside].argmax()]
    inside = (measured.voltage_V > 3.4) & (measured.voltage_V < 4.1)
    peak = measured.voltage_V[inside][measured.charge_Ah_per_V[inside].argmax()]
    assert abs(peak - peak_fit) < 0.03


def test_incremental_capacity_names_what_it_lacks(demo):
    log = vk.read_log(demo / "slow_test_25degC.csv")[0]
    with pytest.raises(vk.DataError, match="smoothing_V: 0"):
        vk.incremental_capacity(log, True, vk.IncrementalCapacitySettings(smoothing_V=0.0))
    with pytest.raises(vk.DataError, match="no row charges"):
        vk.incremental_capacity(vk.Log([0, 1], [0, 0], [3.7, 3.7], 25.0), True)

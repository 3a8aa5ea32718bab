"""Logs with the voltage of every group: read, replayed from Python and from the command line."""

from __future__ import annotations

import csv
import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import voltkeel as vk

GROUPS = 6
STUCK, MISSING = 3, 1


def run(*words: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "voltkeel.command_line", *map(str, words)], capture_output=True, text=True, check=False
    )


@pytest.fixture(scope="module")
def cell_path(root) -> Path:
    return root / "examples" / "invented_cell.json"


@pytest.fixture(scope="module")
def cell(cell_path) -> vk.Cell:
    return vk.load_cell(cell_path)


@pytest.fixture(scope="module")
def truth(cell) -> vk.SimulationResult:
    """Forty minutes of an invented load on groups that differ."""
    pack = vk.single_string_pack("launch", "invented_cell.json", cell, vk.PackLayout(series=GROUPS, parallel=1))
    spread = vk.SpreadSettings(seed=5, capacity_log_std=0.02, resistance_log_std=0.1, soc_std=0.01)
    settings = vk.SimulationSettings(soc=0.8, heat=False, differences=vk.draw_differences(pack, spread))
    minute = [vk.current_load(-8.0 if second < 25 else -1.0 if second < 45 else 3.0, 1.0) for second in range(60)]
    return vk.simulate(pack, minute * 40, settings)


@pytest.fixture(scope="module")
def log_path(truth, tmp_path_factory) -> Path:
    """The log of its monitor, in millivolt: one group stops answering, another one sticks."""
    path: Path = tmp_path_factory.mktemp("log") / "launch.csv"
    voltage = truth.group_voltage_V.copy()
    voltage[1200:, STUCK] = voltage[1200, STUCK]
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["time_s", "current_A", "temperature_degC", *[f"U{k + 1} (mV)" for k in range(GROUPS)]])
        for row in range(len(truth)):
            cells = [f"{1e3 * volt:.2f}" for volt in voltage[row]]
            if row >= 600:
                cells[MISSING] = ""
            writer.writerow([f"{truth.time_s[row]:.1f}", f"{truth.current_A[row]:.4f}", "25", *cells])
    return path


def settings() -> vk.LogReadSettings:
    return vk.LogReadSettings(columns=vk.LogColumns(voltage="U{} (mV)"), units=vk.LogUnits(voltage="mV"))


def test_a_log_of_groups_is_read(truth, log_path):
    log, report = vk.read_group_log(log_path, settings())
    assert log.groups == GROUPS
    assert log.first_number == 1
    assert log.voltage_V.shape == (len(truth), GROUPS)
    assert np.abs(log.voltage_V[:600] - truth.group_voltage_V[:600]).max() < 1e-5
    assert np.isnan(log.voltage_V[600:, MISSING]).all()
    assert [column.unit for column in report.columns] == ["s", "A", "degC", "mV"]
    assert vk.group_column_count(log_path, settings()) == GROUPS
    assert vk.group_column_count(log_path) == 0


def test_groups_are_followed_from_arrays(cell, truth, log_path):
    read, _ = vk.read_group_log(log_path, settings())
    log = vk.GroupLog(read.time_s, read.current_A, read.voltage_V, 25.0)
    trace = vk.replay_groups(cell, log, initial_soc=0.75, initial_soc_std=0.1)
    assert trace.soc.shape == trace.soc_std.shape == trace.fault_bits.shape == (len(trace.row), GROUPS)
    error = np.abs(trace.soc - truth.group_soc[trace.row])[900:]
    assert error.max() < 0.015
    assert (error < 1.96 * trace.soc_std[900:]).mean() > 0.95
    assert trace.fault_bits[-1, MISSING] == int(vk.GroupFaultBit.missing)
    assert trace.fault_bits[-1, STUCK] == int(vk.GroupFaultBit.stuck)
    assert list(trace.coasted > 0) == [k in (STUCK, MISSING) for k in range(GROUPS)]
    assert np.allclose(trace.soc_min[trace.row], trace.soc.min(axis=1))
    # The states go on to the limits of the pack.
    pack = vk.single_string_pack("launch", "cell.json", cell, vk.PackLayout(series=GROUPS, parallel=1))
    assert [group.voltage_flagged for group in trace.end] == [k in (STUCK, MISSING) for k in range(GROUPS)]
    limits = vk.pack_limits(pack, trace.end, [10.0])
    assert limits[0].discharge.current_A < 0


def test_the_replay_is_the_filter_along_the_log(cell, truth):
    log = vk.GroupLog(truth.time_s, truth.current_A, truth.group_voltage_V, 25.0)
    plain = vk.load_cell("examples/invented_cell.json")
    trace = vk.replay_groups(plain, log, initial_soc=0.75, initial_soc_std=0.1, starts_at_rest=True)
    state = vk.PackFilter(plain, GROUPS)
    state.start(0.75, 0.1)
    soc, soc_std, bits = state.run(truth.time_s, truth.current_A, truth.group_voltage_V, np.full(len(truth), 25.0))
    assert np.array_equal(trace.soc, soc[trace.row])
    assert np.array_equal(trace.soc_std, soc_std[trace.row])
    assert np.array_equal(trace.fault_bits, bits[trace.row])


def test_a_pack_says_who_shares_the_current(cell, truth):
    log = vk.GroupLog(truth.time_s, 3 * truth.current_A, truth.group_voltage_V, 25.0)
    pack = vk.single_string_pack("launch", "cell.json", cell, vk.PackLayout(series=GROUPS, parallel=3))
    by_pack = vk.replay_groups(pack, log)
    assert np.array_equal(by_pack.soc, vk.replay_groups(cell, log, parallel=3).soc)
    with pytest.raises(vk.DataError, match="parallel: 3 must be left at 1"):
        vk.replay_groups(pack, log, parallel=3)
    longer = vk.single_string_pack("launch", "cell.json", cell, vk.PackLayout(series=GROUPS + 1, parallel=3))
    with pytest.raises(vk.DataError, match="voltages of 6 groups, the pack launch has 7"):
        vk.replay_groups(longer, log)


def test_a_filter_of_a_string_starts_under_load(cell):
    state = vk.PackFilter(cell, 2)
    state.start_under_load(0.6, 0.05, -8.0, 25.0)
    assert np.allclose(state.soc, 0.6)
    with pytest.raises(vk.DataError, match="start_under_load"):
        state.start_under_load(0.6, 0.05, float("nan"))


def test_bad_arrays_say_what_is_wrong(cell):
    time_s, current_A = [0.0, 1.0], [0.0, 0.0]
    with pytest.raises(vk.DataError, match="voltage_V needs a row of groups for each of 2 rows"):
        vk.GroupLog(time_s, current_A, [3.7, 3.7], 25.0)
    with pytest.raises(vk.DataError, match="needs 2 rows of 2 groups"):
        vk.GroupLog(time_s, current_A, [[3.7, 3.7]], 25.0)
    with pytest.raises(vk.DataError, match="groups 513"):
        vk.GroupLog(time_s, current_A, np.full((2, 513), 3.7), 25.0)
    with pytest.raises(vk.DataError, match=r"temperature_degC\[0\] is not a finite number"):
        vk.GroupLog(time_s, current_A, [[3.7], [3.7]], float("nan"))
    with pytest.raises(vk.DataError, match="first_number 4"):
        vk.GroupLog(time_s, current_A, [[3.7], [3.7]], 25.0, first_number=4)
    nothing = vk.GroupLog(time_s, current_A, [[np.nan], [9.0]], 25.0)
    with pytest.raises(vk.DataError, match="no group has a usable voltage"):
        vk.replay_groups(cell, nothing)
    log = vk.GroupLog(time_s, current_A, [[3.7], [3.7]], 25.0)
    with pytest.raises(vk.DataError, match="capacity_scale: has 2 values"):
        vk.replay_groups(cell, log, capacity_scale=[1.0, 1.0])
    with pytest.raises(vk.DataError, match="cancelled"):
        vk.replay_groups(cell, log, progress=lambda share: False)


NAMED = ("--voltage-column", "U{} (mV)", "--units-from-header")


def test_the_command_tells_of_every_group(truth, cell_path, log_path, tmp_path):
    out = tmp_path / "estimate.csv"
    words = ("replay", log_path, *NAMED, "--out", out, "--initial-soc", 0.75, "--initial-soc-std", 0.1)
    done = run(*words, "--cell", cell_path, "--plot", tmp_path / "groups.png")
    assert done.returncode == 0, done.stderr
    assert f"2401 rows over 40 min, {GROUPS} groups" in done.stdout
    table = {line.split()[0]: line for line in done.stdout.splitlines() if line.strip()}
    soc = truth.group_soc[-1]
    assert table["emptiest"].split()[1] == str(soc.argmin() + 1)
    assert table["fullest"].split()[1] == str(soc.argmax() + 1)
    assert "missing; not used 75 %" in done.stdout
    assert "stuck; not used" in done.stdout
    assert (tmp_path / "groups.png").stat().st_size > 10_000
    with out.open(encoding="utf-8") as file:
        assert next(csv.reader(file))[-2:] == ["soc_min", "soc_max"]
    with (tmp_path / "estimate.groups.csv").open(encoding="utf-8") as file:
        rows = list(csv.reader(file))
    numbers = range(1, GROUPS + 1)
    names = [f"{name}_{k}" for name in ("soc", "soc_std", "fault_bits") for k in numbers]
    assert rows[0] == ["time_s", *names]
    last = np.array(rows[-1][1 : GROUPS + 1], dtype=float)
    assert np.abs(last - soc).max() < 0.015
    provenance = json.loads((tmp_path / "estimate.provenance.json").read_text(encoding="utf-8"))
    assert provenance["cell"]["name"] == "invented_cell.json"
    assert provenance["groups"]["count"] == GROUPS
    assert provenance["groups"]["coasted"][MISSING] == 1801


def test_the_command_takes_a_pack_and_one_column(cell, cell_path, log_path, tmp_path, root):
    pack_path = tmp_path / "pack.json"
    file = cell_path.as_posix()
    vk.save_pack(pack_path, vk.single_string_pack("launch", file, cell, vk.PackLayout(series=GROUPS, parallel=1)))
    done = run("replay", log_path, *NAMED, "--pack", pack_path, "--out", tmp_path / "p.csv")
    assert done.returncode == 0, done.stderr
    by_cell = run("replay", log_path, *NAMED, "--cell", cell_path, "--parallel", 1, "--out", tmp_path / "c.csv")
    assert (tmp_path / "p.groups.csv").read_bytes() == (tmp_path / "c.groups.csv").read_bytes()
    assert by_cell.stdout.splitlines()[1:-1] == done.stdout.splitlines()[1:-1]
    one = ("replay", log_path, "--voltage-column", "U1 (mV)", "--units-from-header", "--out", tmp_path / "one.csv")
    done = run(*one, "--cell", cell_path)
    assert done.returncode == 0, done.stderr
    assert not (tmp_path / "one.groups.csv").exists()
    for words, said in (
        ((*one, "--pack", pack_path), "--pack: "),
        ((*one, "--cell", cell_path, "--parallel", 2), "has no voltages of groups"),
        (("replay", log_path, *NAMED, "--pack", pack_path, "--parallel", 2, "--out", "x.csv"), "the pack file says it"),
        (("replay", log_path, *NAMED, "--cell", cell_path, "--drop-spikes", "--out", "x.csv"), "one voltage"),
        (("replay", log_path, "--voltage-column", "V{}", "--cell", cell_path, "--out", "x.csv"), "'V0 or V1'"),
        (("replay", log_path, "--cell", cell_path, "--out", "x.csv"), "no column 'voltage_V'"),
        (
            ("replay", log_path, *NAMED, "--pack", root / "examples" / "invented_pack.json", "--out", "x.csv"),
            "strings; a replay follows one",
        ),
    ):
        done = run(*words)
        assert done.returncode == 2, words
        assert said in done.stderr
        assert "Traceback" not in done.stderr


def test_plain_names_of_groups_are_found_without_a_word(truth, cell_path, tmp_path):
    path = tmp_path / "plain.csv"
    names = ["time_s", "current_A", "temperature_degC", "voltage_V", *[f"voltage_{k}_V" for k in range(GROUPS)]]
    columns = [truth.time_s, truth.current_A, np.full(len(truth), 25.0), truth.group_voltage_V.sum(axis=1)]
    vk.write_csv(path, names, [*columns, *truth.group_voltage_V.T])
    done = run("replay", path, "--cell", cell_path, "--out", tmp_path / "x.csv")
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert f"{GROUPS} groups" in done.stdout
    gone = [name for name in names if name != "voltage_2_V"]
    vk.write_csv(path, gone, [*columns, *np.delete(truth.group_voltage_V.T, 2, axis=0)])
    done = run("replay", path, "--cell", cell_path, "--out", tmp_path / "y.csv")
    assert done.returncode == 2
    assert "plain.csv:1: no column 'voltage_2_V', but 'voltage_5_V'" in done.stderr
    assert not (tmp_path / "y.csv").exists()


def test_pack_voltage_is_held_against_the_groups(truth, cell_path, tmp_path: Path) -> None:
    path = tmp_path / "launch.csv"
    total = truth.group_voltage_V.sum(axis=1)
    total[1200:1500] *= 0.97
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        names = [f"voltage_{k + 1}_V" for k in range(GROUPS)]
        writer.writerow(["time_s", "current_A", "temperature_degC", *names, "Stack"])
        for row in range(len(truth)):
            cells = [f"{volt:.4f}" for volt in truth.group_voltage_V[row]]
            current = "" if 1800 <= row < 1900 else f"{truth.current_A[row]:.4f}"
            writer.writerow([f"{truth.time_s[row]:.1f}", current, "25", *cells, f"{total[row]:.3f}"])
    out = tmp_path / "estimate.csv"
    words = ("replay", path, "--cell", cell_path, "--out", out, "--pack-voltage-column", "Stack")
    refused = run(*words)
    assert refused.returncode == 2
    assert "launch.csv:1802" in refused.stderr
    done = run(*words, "--check-sensors")
    assert done.returncode == 0, done.stderr
    assert "100 readings missing" in done.stderr
    faults = json.loads((tmp_path / "estimate.provenance.json").read_text(encoding="utf-8"))["sensor_faults"]
    assert {fault["name"]: fault["rows"] for fault in faults} == {"current_missing": 100, "voltage_sum": 300}
    missing = run("replay", path, "--cell", cell_path, "--out", out, "--pack-voltage-column", "Sum")
    assert missing.returncode == 2
    assert "'Sum'" in missing.stderr

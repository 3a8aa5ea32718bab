"""The age of a cell: found along a log, kept in a file, and what replays, limits and charges make of it."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import voltkeel as vk

CAPACITY, RESISTANCE = 0.9, 1.3


def run(*words: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "voltkeel.command_line", *map(str, words)], capture_output=True, text=True, check=False
    )


def told(*words: object) -> dict:
    done = run(*words, "--json")
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@pytest.fixture(scope="module")
def cell_path(root) -> Path:
    return root / "examples" / "invented_cell.json"


@pytest.fixture(scope="module")
def cell(cell_path) -> vk.Cell:
    return vk.load_cell(cell_path)


@pytest.fixture(scope="module")
def log(cell) -> vk.Log:
    """Days of an invented cell that holds a tenth less than the tested one and resists a third more."""
    old = vk.aged_cell(cell, vk.CellAge(capacity_scale=CAPACITY))
    model = vk.CellModel(old)
    model.reset(vk.ModelState(soc=0.9, resistance_scale=RESISTANCE, temperature_degC=25.0))
    held_Ah = old.capacity_Ah
    stretches = [(0.0, 7200.0)]
    for high, low, next_high in ((0.9, 0.25, 0.85), (0.85, 0.3, 0.9)):
        stretches += [(-0.5 * held_Ah, (high - low) / 0.5 * 3600), (0.0, 7200.0)]
        stretches += [(0.3 * held_Ah, (next_high - low) / 0.3 * 3600), (0.0, 7200.0)]
    current = np.concatenate([np.full(round(seconds / 10), amps) for amps, seconds in stretches])
    time_s = 10.0 * np.arange(len(current))
    current[current < 0] *= np.where(np.arange((current < 0).sum()) % 6 < 3, 1.8, 0.2)  # as a drive changes
    voltage, _ = model.run(time_s, current, np.full(len(current), 25.0))
    noise = 0.001 * np.random.default_rng(3).standard_normal(len(current))
    return vk.Log(time_s, current, voltage + noise, 25.0)


@pytest.fixture(scope="module")
def log_path(log, tmp_path_factory) -> Path:
    path: Path = tmp_path_factory.mktemp("log") / "days.csv"
    names = ["time_s", "current_A", "voltage_V", "temperature_degC"]
    vk.write_csv(path, names, [log.time_s, log.current_A, log.voltage_V, log.temperature_degC], 17)
    return path


@pytest.fixture(scope="module")
def age_path(cell_path, log_path, tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("age")
    done = run("replay", log_path, "--cell", cell_path, "--out", folder / "x.csv", "--age-out", folder / "age.json")
    assert done.returncode == 0, done.stderr
    assert "seen 4 times between rests and ends of charges" in done.stdout
    return folder / "age.json"


def test_a_log_tells_the_age(cell, log):
    found = vk.age_of_log(cell, log)
    assert (found.rests, found.capacity_intervals) == (5, 4)
    age = found.age
    assert age.capacity_scale == pytest.approx(CAPACITY, abs=max(0.01, 3 * age.capacity_log_std))
    assert 0 < age.capacity_log_std < 0.02
    assert found.resistance_looks > 5
    assert age.resistance_scale == pytest.approx(RESISTANCE, abs=2 * RESISTANCE * age.resistance_log_std)
    assert 0 < age.resistance_log_std < 0.05
    # Looked at once more it is known better, and stays.
    again = vk.age_of_log(cell, log, age=age).age
    assert again.capacity_log_std < age.capacity_log_std
    assert again.capacity_scale == pytest.approx(CAPACITY, abs=0.01)
    with pytest.raises(vk.DataError, match="settle_s"):
        vk.age_of_log(cell, log, settings=vk.AgeSettings(rest=vk.RestSettings(settle_s=0.0)))


def test_a_replay_that_knows_the_age_is_nearer(cell, log):
    soc = 0.9 + np.concatenate([[0.0], np.cumsum(log.current_A[1:] * np.diff(log.time_s))]) / 3600 / (
        CAPACITY * cell.capacity_Ah
    )
    age = vk.CellAge(capacity_scale=CAPACITY, capacity_log_std=0.01, resistance_scale=RESISTANCE)
    new = vk.replay(cell, log, initial_soc=0.9, initial_soc_std=0.02)
    old = vk.replay(cell, log, initial_soc=0.9, initial_soc_std=0.02, age=age)
    assert np.abs(old.soc - soc).max() < 0.5 * np.abs(new.soc - soc).max()
    assert old.resistance_scale[0] == pytest.approx(RESISTANCE, rel=0.02)
    assert len(old.log_scale_std) == len(log)
    groups = vk.GroupLog(log.time_s, log.current_A, np.column_stack([log.voltage_V] * 2), 25.0)
    trace = vk.replay_groups(cell, groups, age=age)
    assert [group.capacity_scale for group in trace.end] == pytest.approx([CAPACITY] * 2)
    assert trace.reference.resistance_scale[0] == pytest.approx(RESISTANCE, rel=0.02)


def test_an_age_is_kept_in_a_file(tmp_path, root):
    from jsonschema import Draft202012Validator

    age = vk.CellAge(capacity_scale=0.93, capacity_log_std=0.01, resistance_scale=1.2, notes=["invented"])
    vk.save_cell_age(tmp_path / "age.json", age)
    schema = json.loads((root / "data" / "schema" / "cell_age.schema.json").read_text(encoding="utf-8"))
    Draft202012Validator(schema).validate(json.loads((tmp_path / "age.json").read_text(encoding="utf-8")))
    again = vk.load_cell_age(tmp_path / "age.json")
    assert (again.capacity_scale, again.resistance_scale, again.notes) == (0.93, 1.2, ["invented"])
    with pytest.raises(vk.DataError, match="capacity_scale"):
        vk.parse_cell_age('{"format": "voltkeel.cell_age", "format_version": 1, "capacity_scale": 3}')
    with pytest.raises(vk.DataError, match=r"resistance_scale: 0 must be from 0\.1 to 10"):
        vk.check(vk.CellAge(resistance_scale=0.0))


def test_limits_of_an_aged_cell_are_those_of_its_state(cell, cell_path, age_path, tmp_path):
    age = vk.load_cell_age(age_path)
    words = ("limits", "--cell", cell_path, "--soc", 0.3, "--temperature-degC", 5)
    aged = told(*words, "--age", age_path)
    state = vk.ModelState(soc=0.3, temperature_degC=5.0, resistance_scale=age.resistance_scale)
    settings = vk.PackLimitSettings().search  # a cell's limits end as softly as a pack's
    direct = vk.current_limits(vk.aged_cell(cell, age), state, [2.0, 10.0, 30.0, math.inf], settings)
    for row, limit in zip(aged["horizons"], direct, strict=True):
        assert row["discharge"]["current_A"] == pytest.approx(limit.discharge.current_A, rel=1e-12)
    by_hand = told(*words, "--capacity-scale", age.capacity_scale, "--resistance-scale", age.resistance_scale)
    assert by_hand["horizons"] == aged["horizons"]
    assert (aged["capacity_scale"], aged["resistance_scale"]) == (age.capacity_scale, age.resistance_scale)
    assert abs(aged["horizons"][2]["discharge"]["power_W"]) < abs(told(*words)["horizons"][2]["discharge"]["power_W"])
    # An option comes before the file.
    new = told(*words, "--age", age_path, "--capacity-scale", 1, "--resistance-scale", 1)
    assert new["horizons"] == told(*words)["horizons"]
    # Of a pack, where what is not known of the age counts as well.
    pack_path = tmp_path / "pack.json"
    pack = vk.single_string_pack("launch", cell_path.as_posix(), cell, vk.PackLayout(series=4, parallel=2))
    vk.save_pack(pack_path, pack)
    of_pack = ("limits", "--pack", pack_path, "--soc", 0.3, "--temperature-degC", 5)
    group = vk.GroupState(
        state=state,
        capacity_scale=age.capacity_scale,
        capacity_log_std=age.capacity_log_std,
        resistance_log_std=age.resistance_log_std,
    )
    found = told(*of_pack, "--age", age_path)["horizons"]
    for row, limit in zip(found, vk.pack_limits(pack, [group] * 4), strict=True):
        assert row["discharge"]["current_A"] == pytest.approx(limit.discharge.current_A, rel=2e-3)
    new = told(*of_pack)["horizons"]
    assert abs(found[1]["discharge"]["current_A"]) <= abs(new[1]["discharge"]["current_A"])


def test_an_aged_cell_is_full_sooner_and_its_band_is_wider(cell, cell_path, age_path, tmp_path):
    age = vk.load_cell_age(age_path)
    words = ("charge", "--cell", cell_path, "--soc", 0.2, "--temperature-degC", 20, "--current-A", 4, "--to-soc", 0.6)
    new, old = told(*words), told(*words, "--age", age_path)
    assert old["charge_Ah"] == pytest.approx(age.capacity_scale * new["charge_Ah"], rel=1e-3)
    assert old["latest_s"] - old["earliest_s"] > new["latest_s"] - new["earliest_s"]
    assert old["start"]["resistance_scale"] == age.resistance_scale
    assert old["start"]["capacity_Ah"] == pytest.approx(age.capacity_scale * cell.capacity_Ah)
    by_hand = told(*words, "--capacity-scale", age.capacity_scale, "--resistance-scale", age.resistance_scale)
    assert by_hand["time_s"] == pytest.approx(old["time_s"], rel=1e-9)
    assert by_hand["latest_s"] - by_hand["earliest_s"] < old["latest_s"] - old["earliest_s"]
    pack_path = tmp_path / "pack.json"
    pack = vk.single_string_pack("launch", cell_path.as_posix(), cell, vk.PackLayout(series=4, parallel=2))
    vk.save_pack(pack_path, pack)
    of_pack = ("charge", "--pack", pack_path, "--soc", 0.2, "--temperature-degC", 20, "--to-soc", 0.6)
    new, old = told(*of_pack), told(*of_pack, "--age", age_path)
    assert old["charge_Ah"] == pytest.approx(age.capacity_scale * new["charge_Ah"], rel=2e-3)
    assert old["start"]["capacity_scale"] == age.capacity_scale
    energy = ("range", "--pack", pack_path, "--soc", 0.6, "--temperature-degC", 20, "--power-W", 100)
    assert told(*energy, "--age", age_path)["energy_Wh"] < 0.93 * told(*energy)["energy_Wh"]


def test_a_replay_goes_on_from_the_age(cell_path, log_path, age_path, tmp_path):
    out = tmp_path / "x.csv"
    words = ("replay", log_path, "--cell", cell_path, "--out", out, "--age", age_path, "--age-out", tmp_path / "b.json")
    done = run(*words)
    assert done.returncode == 0, done.stderr
    provenance = json.loads((tmp_path / "x.provenance.json").read_text(encoding="utf-8"))
    before, after = vk.load_cell_age(age_path), vk.load_cell_age(tmp_path / "b.json")
    assert provenance["age"]["capacity_scale"] == before.capacity_scale
    assert provenance["capacity_Ah"] == pytest.approx(before.capacity_scale * vk.load_cell(cell_path).capacity_Ah)
    assert after.capacity_log_std < before.capacity_log_std
    assert len(after.notes) == 2
    start = ("charge", "--cell", cell_path, "--from-log", log_path, "--to-soc", 0.95)
    assert told(*start, "--age", age_path)["start"]["capacity_Ah"] == provenance["capacity_Ah"]


def test_bad_ages_are_refused(cell_path, log_path, tmp_path):
    bad = tmp_path / "age.json"
    bad.write_text('{"format": "voltkeel.cell_age", "format_version": 1, "capacity_scale": 5}', encoding="utf-8")
    limits = ("limits", "--cell", cell_path, "--soc", 0.3, "--temperature-degC", 5)
    for words, said in (
        ((*limits, "--age", bad), "/capacity_scale"),
        ((*limits, "--age", tmp_path / "none.json"), "none.json"),
        ((*limits, "--capacity-scale", "3"), "0.1 .. 2"),
        ((*limits, "--ceiling-A", "3"), "are for --pack"),
        (
            ("replay", log_path, "--cell", cell_path, "--out", tmp_path / "x.csv", "--resistance-scale", 8),
            "an aged resistance scale 0.25 .. 4",
        ),
    ):
        done = run(*words)
        assert done.returncode == 2, words
        assert said in done.stderr
        assert "Traceback" not in done.stderr

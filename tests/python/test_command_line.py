"""The command ``voltkeel`` as a person and as a script use it, on the invented demo data."""

import csv
import json
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import voltkeel as vk

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "data" / "demo"


def run(*words: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "voltkeel.command_line", *map(str, words)], capture_output=True, text=True, check=False
    )


def run_ok(*words: object) -> str:
    done = run(*words)
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def cell(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("cell") / "cell.json"
    text = run_ok(
        "fit",
        "--ocv",
        DEMO / "slow_test_25degC.csv",
        "--pulses",
        DEMO / "pulses_25degC.csv",
        DEMO / "pulses_0degC.csv",
        "--out",
        path,
        "--current-offset-A",
        "0.001",
        "--plot",
        path.with_suffix(".png"),
    )
    assert "R0 mohm" in text
    assert path.with_suffix(".png").stat().st_size > 10_000
    return path


def test_fit_records_where_the_numbers_come_from(cell: Path) -> None:
    provenance = json.loads(cell.read_text(encoding="utf-8"))["provenance"]
    assert [file["name"] for file in provenance["files"]] == [
        "slow_test_25degC.csv",
        "pulses_25degC.csv",
        "pulses_0degC.csv",
    ]
    assert {len(file["sha256"]) for file in provenance["files"]} == {64}
    assert {file["current_offset_A"] for file in provenance["files"]} == {0.001}
    for file in provenance["files"]:
        log = vk.read_log(DEMO / file["name"])[0]
        assert file["rows"] == len(log)
        assert 0 < file["rows_used"] < file["rows"]
        assert ("initial_soc_std" in file) == (file["role"] == "pulse test")
    # Discharge and charge with the row that each starts from; the rests tell nothing of the OCV, nor do the rows in
    # which the charge, whose efficiency is below 1, counts further than 0.6 % beyond full.
    slow = vk.read_log(DEMO / "slow_test_25degC.csv", current_offset_A=0.001)[0]
    charge_As = np.cumsum(slow.current_A * np.diff(slow.time_s, prepend=slow.time_s[0]))
    beyond_full = charge_As > -0.006 * charge_As.min()
    assert 0 < np.count_nonzero(beyond_full & (slow.current_A > 0)) < 20
    rows = np.count_nonzero(slow.current_A < 0) + np.count_nonzero(~beyond_full & (slow.current_A > 0)) + 2
    assert provenance["files"][0]["rows_used"] == rows
    assert any("data sheet" in note for note in provenance["notes"])


def test_fit_takes_further_logs_for_the_heat_alone(cell: Path, tmp_path: Path) -> None:
    path = tmp_path / "warm.json"
    words = ("--ocv", DEMO / "slow_test_25degC.csv", "--pulses", DEMO / "pulses_25degC.csv", DEMO / "pulses_0degC.csv")
    text = run_ok("fit", *words, "--out", path, "--current-offset-A", "0.001", "--heat", DEMO / "harbour_day.csv")
    assert re.search(r"Heat: [\d.]+ J/K \(std [\d.]+\), [\d.]+ K/W from case to surroundings", text)
    told = re.search(r"Tested up to ([\d.]+) A; beyond, a drop may be off by ([\d.]+) % for every doubling", text)
    assert told is not None, text
    both = [json.loads(p.read_text(encoding="utf-8")) for p in (cell, path)]
    assert float(told[1]) == pytest.approx(both[1]["noise"]["tested_current_A"], rel=0.01)
    assert float(told[2]) == pytest.approx(100 * both[1]["noise"]["untested_share_std"], rel=0.1)
    assert "2 logs" in both[0]["thermal"]["source"]
    assert "3 logs" in both[1]["thermal"]["source"]
    assert both[1]["thermal"]["core_resistance_K_per_W"] > 0
    assert both[0]["resistance"] == both[1]["resistance"]
    heat = both[1]["provenance"]["files"][-1]
    assert (heat["role"], heat["rows"]) == ("heat", 9601)
    # Means over 5 to 60 s of 2 h 40 min.
    assert 9600 / 60 <= heat["rows_used"] <= 9600 / 5


def test_fit_takes_charges_for_the_resistance_near_full(cell: Path, tmp_path: Path) -> None:
    path = tmp_path / "charged.json"
    words = ("--ocv", DEMO / "slow_test_25degC.csv", "--pulses", DEMO / "pulses_25degC.csv", DEMO / "pulses_0degC.csv")
    text = run_ok("fit", *words, "--charges", DEMO / "shore_charge.csv", "--out", path, "--current-offset-A", "0.001")
    assert re.search(r"Near full: [\d.]+ mohm more \(std [\d.]+\)", text)
    with_charge, without = (json.loads(p.read_text(encoding="utf-8")) for p in (path, cell))
    file = with_charge["provenance"]["files"][-1]
    assert (file["role"], file["name"], len(file["sha256"])) == ("charge", "shore_charge.csv", 64)
    assert any(
        "replaces what the rest after the slow charge says" in note for note in with_charge["provenance"]["notes"]
    )
    assert with_charge["charge_rise"] != without["charge_rise"]
    cut = tmp_path / "cut.csv"
    lines = (DEMO / "shore_charge.csv").read_text(encoding="utf-8").splitlines()
    cut.write_text("\n".join(lines[:200]) + "\n", encoding="utf-8")
    done = run("fit", *words, "--charges", cut, "--out", tmp_path / "none.json")
    assert done.returncode == 2
    assert "cut.csv: row 198: the charge ends at" in done.stderr
    assert not (tmp_path / "none.json").exists()


def test_fit_without_a_slow_test(tmp_path: Path) -> None:
    path = tmp_path / "rests.json"
    words = ("fit", "--pulses", DEMO / "pulses_25degC.csv", DEMO / "pulses_0degC.csv", "--out", path, "--branches", "3")
    done = run(*words)
    assert done.returncode == 2
    assert "pulses_25degC.csv: no discharge from full to the floor" in done.stderr
    assert not path.exists()
    text = run_ok(*words, "--capacity-Ah", "4.95", "--plot", path.with_suffix(".png"))
    assert "4.950 Ah (std 0.050), 2 pulse tests" in text
    assert "Note: Hysteresis: the rests are met from one side only" in text
    assert path.with_suffix(".png").stat().st_size > 10_000
    provenance = json.loads(path.read_text(encoding="utf-8"))["provenance"]
    assert [file["name"] for file in provenance["files"]] == ["pulses_25degC.csv", "pulses_0degC.csv"]
    done = run(*words, "--floor-V", "2.5")
    assert done.returncode == 2
    assert "above the floor of 2.5 V" in done.stderr
    done = run(*words, "--capacity-Ah", "4.95", "--ocv", DEMO / "slow_test_25degC.csv")
    assert done.returncode == 2
    assert "--capacity-Ah and --floor-V are for a fit without --ocv" in done.stderr


def test_fit_says_what_cycles_tell_of_the_efficiency(tmp_path: Path) -> None:
    words = ("fit", "--pulses", DEMO / "pulses_25degC.csv", "--out", tmp_path / "c.json", "--branches", "2", "--linear")
    text = run_ok(*words, "--capacity-Ah", "4.95", "--cycles", DEMO / "slow_test_25degC.csv")
    files = json.loads((tmp_path / "c.json").read_text(encoding="utf-8"))["provenance"]["files"]
    assert [(file["role"], file["name"], len(file["sha256"])) for file in files][1:] == [
        ("cycles", "slow_test_25degC.csv", 64)
    ]
    assert re.search(r"Note: Assumed: coulombic efficiency 1 \(std 0\.003\)\. The cycles \(1 balance", text)


def test_refine_is_judged_on_the_held_out_half(cell: Path, tmp_path: Path) -> None:
    out = tmp_path / "refined.json"
    words = ("refine", DEMO / "harbour_day.csv", "--cell", cell, "--out", out)
    document = json.loads(run_ok(*words, "--initial-soc", "-", "--json"))
    assert document["improved"]
    assert document["held_out_rms_V"] < 0.9 * document["held_out_before_rms_V"]
    log = document["logs"][0]
    assert log["name"] == "harbour_day.csv"
    refined = json.loads(out.read_text(encoding="utf-8"))
    file = refined["provenance"]["files"][-1]
    assert (file["role"], file["name"], len(file["sha256"])) == ("log", "harbour_day.csv", 64)
    notes = "\n".join(refined["provenance"]["notes"])
    blocks = " ".join(map(str, log["fitted_blocks"]))
    assert f"Blocks of 10 min, seed 1, fitted blocks harbour_day.csv: {blocks} of 0..{log['block_count'] - 1}" in notes
    assert "Refined from cell.json, SHA-256" in notes
    text = run_ok(*words)
    for piece in ("held out: before", "branch 1 resistance", "OCV shift:", f"Wrote {out}"):
        assert piece in text
    # From a log of the cell's own model there is nothing to gain: no file.
    random = np.random.default_rng(1)
    current = np.concatenate([np.zeros(60), np.repeat(random.uniform(-3, 1, 100), 40)])
    model = vk.CellModel(vk.load_cell(cell))
    time = 1.0 * np.arange(len(current))
    inside = 25 + 0 * time  # the case stays at 25 degC, the core behind it warms by what the model itself loses
    for _ in range(3):
        model.reset(vk.ModelState(soc=0.9))
        voltage, _ = model.run(time, current, inside)
        inside = vk.core_log(vk.Log(time, current, voltage, 25 + 0 * time), vk.load_cell(cell)).temperature_degC
    own = tmp_path / "own.csv"
    columns = np.column_stack([time, current, voltage + 1e-3 * random.standard_normal(len(time)), 25 + 0 * time])
    np.savetxt(own, columns, "%.6f", ",", header="time_s,current_A,voltage_V,temperature_degC", comments="")
    again = tmp_path / "again.json"
    text = run_ok("refine", own, "--cell", cell, "--out", again)
    assert "Nothing written: cell.json stands" in text
    assert "not met better" in text
    assert not again.exists()
    for extra, said in (
        (("--initial-soc", "0.5", "0.6"), "--initial-soc: has 2 values for 1 logs"),
        (("--initial-soc", "1.2"), "1.2 is outside 0 .. 1"),
        (("--block-min", "600"), "--block-min: with blocks of 600 min"),
        (("--seed", "-1"), "'-1' is not a whole number"),
    ):
        done = run("refine", DEMO / "harbour_day.csv", "--cell", cell, "--out", again, *extra)
        assert done.returncode == 2
        assert said in done.stderr
        assert not again.exists()


def test_replay_names_sensors_and_replaces_what_they_show(cell: Path, tmp_path: Path) -> None:
    lines = (DEMO / "harbour_day.csv").read_text(encoding="utf-8").splitlines()
    truth = np.loadtxt(DEMO / "harbour_day_truth.csv", delimiter=",", skiprows=1)
    out = tmp_path / "x.csv"
    start = ("--cell", cell, "--initial-soc", f"{truth[0, 1]}", "--initial-soc-std", "0.02", "--out", out)

    def spoiled(name: str, column: int, text: str) -> Path:
        log = tmp_path / name
        rows = [line.split(",") for line in lines]
        for row in rows[3001:3601]:
            row[column] = text
        log.write_text("\n".join(",".join(row) for row in rows) + "\n", encoding="utf-8")
        return log

    assert "Sensors that showed" not in run_ok("replay", DEMO / "harbour_day.csv", *start)
    assert json.loads((tmp_path / "x.provenance.json").read_text(encoding="utf-8"))["sensor_faults"] == []

    open_wire = spoiled("open.csv", 3, "-60")
    said = run_ok("replay", open_wire, *start)
    assert "temperature open" in said
    assert "--check-sensors" in said
    provenance = json.loads((tmp_path / "x.provenance.json").read_text(encoding="utf-8"))
    assert provenance["sensors"] == "named"
    # As it stands, the filter believes -60 degC, and what follows from it looks odd too.
    assert {fault["name"]: fault["rows"] for fault in provenance["sensor_faults"]}["temperature_open"] == 600

    for column, text, name in (
        (1, "", "current_missing"),
        (2, "nan", "voltage_missing"),
        (3, "-60", "temperature_open"),
    ):
        log = spoiled("bad.csv", column, text)
        if name.endswith("missing"):
            refused = run("replay", log, *start)
            assert refused.returncode == 2
            assert "bad.csv:3002" in refused.stderr
        said = run_ok("replay", log, *start, "--check-sensors")
        assert name.replace("_", " ") in said
        provenance = json.loads((tmp_path / "x.provenance.json").read_text(encoding="utf-8"))
        assert provenance["sensors"] == "replaced"
        assert name in [fault["name"] for fault in provenance["sensor_faults"]]
        values = np.loadtxt(out, delimiter=",", skiprows=1)
        error = np.abs(values[:, 1] - np.interp(values[:, 0], truth[:, 0], truth[:, 1]))
        assert np.mean(error > 1.96 * values[:, 2]) < 0.05
        assert error.max() < 0.06


def test_replay_writes_the_promised_columns(cell: Path, tmp_path: Path) -> None:
    out = tmp_path / "estimate.csv"
    run_ok(
        "replay",
        DEMO / "harbour_day.csv",
        "--cell",
        cell,
        "--initial-soc",
        "0.8",
        "--out",
        out,
        "--current-offset-A",
        "0.006",
    )
    with out.open(encoding="utf-8") as file:
        rows = list(csv.reader(file))
    assert (
        ",".join(rows[0])
        == "time_s,soc,soc_std,voltage_predicted_V,innovation_V,innovation_std_V,fault_bits,sensor_fault_bits"
    )
    assert len(rows) - 1 == sum(1 for _ in (DEMO / "harbour_day.csv").open(encoding="utf-8")) - 1
    values = np.array(rows[1:], dtype=float)
    truth = np.loadtxt(DEMO / "harbour_day_truth.csv", delimiter=",", skiprows=1)
    error = values[:, 1] - np.interp(values[:, 0], truth[:, 0], truth[:, 1])
    assert np.sqrt(np.mean(error[values[:, 0] > 600] ** 2)) < 0.02
    provenance = json.loads((tmp_path / "estimate.provenance.json").read_text(encoding="utf-8"))
    assert provenance["current_offset_A"] == 0.006
    assert provenance["log"]["name"] == "harbour_day.csv"


def test_limits_for_machines_and_people(cell: Path) -> None:
    document = json.loads(run_ok("limits", "--cell", cell, "--soc", "0.5", "--temperature-degC", "-10", "--json"))
    assert [row["horizon_s"] for row in document["horizons"]] == [2, 10, 30, "continuous"]
    for row in document["horizons"]:
        assert row["charge"]["current_A"] == 0  # below the plating limit
        assert row["charge"]["reason"] == "temperature"
        assert row["discharge"]["current_A"] < 0
    text = run_ok("limits", "--cell", cell, "--soc", "0.5", "--temperature-degC", "-10")
    assert "temperature 0 degC" in text
    assert "Caution" in text


def test_limits_as_csv_name_their_reasons(cell: Path, tmp_path: Path) -> None:
    words = ("limits", "--cell", cell, "--soc", "0.5", "--temperature-degC", "20")
    run_ok(*words, "--csv", tmp_path / "limits.csv", "--horizon-s", "30", "2", "30")
    rows = [line.split(",") for line in (tmp_path / "limits.csv").read_text(encoding="utf-8").splitlines()]
    assert [row[0] for row in rows] == ["horizon_s", "2", "30"]  # in order, each once
    place = rows[0].index("discharge_reason")
    document = json.loads(run_ok(*words, "--horizon-s", "2", "30", "--json"))
    assert [row[place] for row in rows[1:]] == [one["discharge"]["reason"] for one in document["horizons"]]
    # Near the cold end the charge falls to nothing, without a cliff.
    cold = [
        json.loads(run_ok(*words[:-1], degC, "--json"))["horizons"][1]["charge"]["current_A"]
        for degC in ("0.2", "2", "6")
    ]
    assert 0 < cold[0] < 0.2 * cold[2]
    assert cold[0] < cold[1] < cold[2]


def test_a_map_for_machines(cell: Path, tmp_path: Path) -> None:
    document = json.loads(run_ok("limits", "--cell", cell, "--map", tmp_path / "map.png", "--json"))
    assert len(document["temperature_degC"]) == len(document["charge_A"]) == len(document["charge_reason"])
    assert len(document["soc"]) == len(document["discharge_A"][0])
    assert document["horizon_s"] == 10


def test_outputs_are_looked_at_before_any_work(cell: Path, tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    log.write_text("time_s,current_A,voltage_V,temperature_degC\n0,0,3.7,20\n1,-1,3.6,20\n", encoding="utf-8")
    mine = tmp_path / "cell.json"
    mine.write_bytes(cell.read_bytes())
    for words, said in (
        (("replay", log, "--cell", mine, "--out", log), "log.csv is read or written by this command already"),
        (("replay", log, "--cell", mine, "--out", mine), "cell.json is read or written by this command already"),
        (("fit", "--pulses", log, "--out", log), "log.csv is read or written by this command already"),
        (("replay", log, "--cell", mine, "--out", tmp_path / "no" / "x.csv"), "does not exist"),
        (("replay", log, "--cell", mine, "--out", tmp_path), "is a folder"),
    ):
        done = run(*words)
        assert done.returncode == 2, words
        assert said in done.stderr, done.stderr
    assert mine.read_bytes() == cell.read_bytes()
    assert log.read_text(encoding="utf-8").startswith("time_s")


def test_a_log_that_does_not_fit_the_cell_is_said_to(cell: Path, tmp_path: Path) -> None:
    rows = [f"{k},{-1000 if k % 40 < 20 else 0},{3.70 if k % 40 < 20 else 3.71},20" for k in range(2000)]
    log = tmp_path / "milliamperes.csv"
    log.write_text("\n".join(["time_s,current_A,voltage_V,temperature_degC", *rows]) + "\n", encoding="utf-8")
    text = run_ok("replay", log, "--cell", cell, "--out", tmp_path / "x.csv", "--initial-soc", "0.8")
    assert "Warning: the voltage of this log does not fit this cell, do not believe the SOC" in text
    written = json.loads((tmp_path / "x.provenance.json").read_text(encoding="utf-8"))
    assert len(written["warnings"]) == 1


def test_a_plan_above_the_window_of_the_cell_is_refused(cell: Path, tmp_path: Path) -> None:
    root = Path(__file__).parents[2]
    plan = json.loads((root / "data/plan/nmc_nca.json").read_text(encoding="utf-8"))
    for zone in plan["zones"]:
        zone["voltage_V"] = 4.5
    path = tmp_path / "plan.json"
    path.write_text(json.dumps(plan), encoding="utf-8")
    done = run("charge", "--cell", cell, "--soc", "0.2", "--temperature-degC", "20", "--plan", path)
    assert done.returncode == 2
    assert "4.5 V is above the" in done.stderr
    # The maker's table of the cell holds back a plan that asks for more, and it is said.
    done = run("charge", "--cell", cell, "--soc", "0.2", "--temperature-degC", "20", "--current-A", "1000")
    assert "the maker's table of allowed currents holds the charge below its plan" in done.stderr


def test_charge_answers_with_time_phases_and_end_temperature(cell: Path) -> None:
    words = ("charge", "--cell", cell, "--soc", "0.2", "--temperature-degC", "15", "--current-A", "2.5", "--json")
    full = json.loads(run_ok(*words))
    part = json.loads(run_ok(*words, "--to-soc", "0.8"))
    assert full["reached"]
    assert part["reached"]
    assert part["time_s"] < full["time_s"]
    assert full["time_s"] == pytest.approx(sum(phase["time_s"] for phase in full["phases"]))
    assert full["highest_temperature_degC"] > 15
    assert part["end_soc"] == pytest.approx(0.8, abs=1e-4)
    cold = json.loads(run_ok("charge", "--cell", cell, "--soc", "0.2", "--temperature-degC", "-10", "--json"))
    assert not cold["reached"]


def test_charge_from_a_log(cell: Path, tmp_path: Path) -> None:
    lines = (DEMO / "shore_charge.csv").read_text(encoding="utf-8").splitlines()
    log = tmp_path / "so_far.csv"
    log.write_text("\n".join(lines[:200]) + "\n", encoding="utf-8")
    document = json.loads(
        run_ok(
            "charge",
            "--cell",
            cell,
            "--from-log",
            log,
            "--end-current-A",
            "0.25",
            "--current-offset-A",
            "0.006",
            "--json",
        )
    )
    assert document["provenance"]["current_offset_A"] == 0.006
    assert document["provenance"]["current_A"] == pytest.approx(2.5, rel=0.02)
    times = [float(line.split(",")[0]) for line in lines[1:]]
    currents = [float(line.split(",")[1]) for line in lines[1:]]
    end = max(t for t, current in zip(times, currents, strict=True) if current > 0.02)
    assert document["time_s"] == pytest.approx(end - times[198], rel=0.06)


@pytest.mark.parametrize("command", ["inspect", "fit", "refine", "replay", "limits", "charge", "load", "simulate"])
def test_help_has_an_example(command: str) -> None:
    assert f"example: voltkeel {command}" in run_ok(command, "--help")


def bad_log(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "bad.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_bad_input_ends_with_2_and_says_where(cell: Path, tmp_path: Path) -> None:
    header = "time_s,current_A,voltage_V,temperature_degC\n"
    out = tmp_path / "x.csv"
    cases: list[tuple[tuple[object, ...], tuple[str, ...]]] = [
        (
            ("replay", bad_log(tmp_path, header + "0,0,3.7,25\n1,abc,3.7,25\n"), "--cell", cell, "--out", out),
            ("bad.csv:3", "current_A", "abc"),
        ),
        (("replay", tmp_path / "none.csv", "--cell", cell, "--out", out), ("none.csv",)),
        (("replay", DEMO / "harbour_day.csv", "--cell", DEMO / "harbour_day.csv", "--out", out), ("harbour_day.csv",)),
        (("limits", "--cell", cell, "--soc", "1.5", "--temperature-degC", "20"), ("--soc", "1.5", "0 .. 1")),
        (("charge", "--cell", cell, "--soc", "0.5"), ("--temperature-degC",)),
        (
            ("charge", "--cell", cell, "--current-A", "-3", "--soc", "0.5", "--temperature-degC", "20"),
            ("--current-A", "-3"),
        ),
        (
            ("fit", "--ocv", DEMO / "harbour_day.csv", "--pulses", DEMO / "pulses_0degC.csv", "--out", out),
            ("harbour_day.csv",),
        ),
        (("nonsense",), ("nonsense",)),
    ]
    for words, expected in cases:
        done = run(*words)
        assert done.returncode == 2, (words, done.stdout, done.stderr)
        for text in expected:
            assert text in done.stderr, (words, done.stderr)
        assert "Traceback" not in done.stderr
    assert not out.exists()


def test_wrong_sign_is_explained(cell: Path, tmp_path: Path) -> None:
    rows = (DEMO / "slow_test_25degC.csv").read_text(encoding="utf-8").splitlines()
    charge_only = [
        rows[0],
        *[",".join([r.split(",")[0], str(abs(float(r.split(",")[1]))), *r.split(",")[2:]]) for r in rows[1:]],
    ]
    path = bad_log(tmp_path, "\n".join(charge_only) + "\n")
    done = run("fit", "--ocv", path, "--pulses", DEMO / "pulses_0degC.csv", "--out", tmp_path / "c.json")
    assert done.returncode == 2
    assert "sign" in done.stderr
    assert not (tmp_path / "c.json").exists()


def demo_with(path: Path, name: str, header: str, change: Callable[[list[float]], list[float]]) -> Path:
    """Write a demo log once more with another header and other numbers."""
    lines = (DEMO / name).read_text(encoding="utf-8").splitlines()[1:]
    rows = (change([float(text) for text in line.split(",")]) for line in lines)
    path.write_text("\n".join([header, *(",".join(repr(x) for x in row) for row in rows)]) + "\n", encoding="utf-8")
    return path


HEADER = "time_s,I,U,T1"
NAMES = ("--current-column", "I", "--voltage-column", "U", "--temperature-column", "T1")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda r: [r[0], 1000 * r[1], r[2], r[3]], ("current (column 'I')", "looks like mA, not A")),
        (lambda r: [r[0], r[1], 1000 * r[2], r[3]], ("voltage (column 'U')", "looks like mV, not V")),
        (lambda r: [r[0], -r[1], r[2], r[3]], ("sign of the current (column 'I')", "looks wrong")),
        (lambda r: [r[0], r[1], r[2], r[3] + 273.15], ("temperature (column 'T1')", "looks like K (2", "not degC")),
    ],
)
def test_a_wrong_unit_is_named_with_file_and_column(tmp_path: Path, change, said) -> None:
    pulses = demo_with(tmp_path / "bench.csv", "pulses_25degC.csv", HEADER, change)
    slow = demo_with(tmp_path / "slow.csv", "slow_test_25degC.csv", HEADER, lambda row: row)
    inspected = run_ok("inspect", pulses, *NAMES)
    form = ("--branches", "1", "--linear")
    done = run("fit", "--ocv", slow, "--pulses", pulses, "--out", tmp_path / "c.json", *form, *NAMES)
    assert done.returncode == 2
    for text in said:
        assert text in inspected
        assert text in done.stderr
    assert "bench.csv: error: the " in done.stderr
    # The error itself begins with the cause; the inner field comes last.
    cause, inner = done.stderr.split("voltkeel fit: ")[1].split("(it failed with: ")
    assert inner.strip()
    assert said[-1] in cause
    assert "bench.csv: the " in cause
    assert "slow.csv:" not in cause


def test_degF_is_told_and_does_not_stop_a_fit(tmp_path: Path) -> None:
    def change(row: list[float]) -> list[float]:
        return [*row[:3], 32 + 1.8 * row[3]]

    slow = demo_with(tmp_path / "slow.csv", "slow_test_25degC.csv", HEADER, change)
    pulses = demo_with(tmp_path / "bench.csv", "pulses_25degC.csv", HEADER, change)
    words = ("--ocv", slow, "--pulses", pulses, "--out", tmp_path / "c.json", "--branches", "1", "--linear", *NAMES)
    done = run("fit", *words)
    assert done.returncode == 0, done.stderr
    assert "bench.csv: warning: the temperature (column 'T1') is 7" in done.stderr
    assert "if it were degF" in done.stderr
    notes = json.loads((tmp_path / "c.json").read_text(encoding="utf-8"))["provenance"]["notes"]
    assert sum("Doubtful" in note and "degF" in note for note in notes) == 2


def test_tests_of_several_benches_in_one_fit(tmp_path: Path) -> None:
    demo_with(
        tmp_path / "other.csv",
        "pulses_25degC.csv",
        "Zeit,I,U,T1",
        lambda r: [r[0], -1000 * (r[1] - 0.002 if r[1] != 0 else 0), r[2], 32 + 1.8 * r[3]],
    )
    mapping = tmp_path / "other.json"
    document = {
        "format": "voltkeel.log_mapping",
        "format_version": 1,
        "columns": {"time": "Zeit", "current": "I", "voltage": "U", "temperature": "T1"},
        "units": {"current": "mA", "temperature": "degF"},
    }
    mapping.write_text(json.dumps(document), encoding="utf-8")
    lines = (DEMO / "slow_test_25degC.csv").read_text(encoding="utf-8").splitlines()
    halves = (lines[: len(lines) // 3], [lines[0], *lines[len(lines) // 3 :]])
    for name, half in zip(("slow_1.csv", "slow_2.csv"), halves, strict=True):
        (tmp_path / name).write_text("\n".join(half) + "\n", encoding="utf-8")
    own = {"mapping": "other.json", "positive_current": "discharge", "current_offset_A": 0.002}
    files = [
        {"path": "slow_1.csv", "role": "slow test"},
        {"path": "slow_2.csv", "role": "slow test"},
        {"path": "other.csv", "role": "pulse test", **own},
    ]
    tests = tmp_path / "tests.json"
    tests.write_text(json.dumps({"format": "voltkeel.test_set", "format_version": 1, "files": files}), encoding="utf-8")
    form = ("--branches", "1", "--linear")
    text = run_ok("fit", "--tests", tests, "--out", tmp_path / "set.json", *form)
    assert "1 pulse test" in text
    plain = ("--ocv", tmp_path / "slow_1.csv", tmp_path / "slow_2.csv", "--pulses", DEMO / "pulses_25degC.csv")
    run_ok("fit", *plain, "--out", tmp_path / "plain.json", *form)
    from_set, alone = (json.loads((tmp_path / name).read_text(encoding="utf-8")) for name in ("set.json", "plain.json"))
    # An offset that is known weighs the pulse tests more in the capacity; the rest is the same test.
    assert from_set["capacity_Ah"] == pytest.approx(alone["capacity_Ah"], rel=1e-3)
    assert np.allclose(from_set["resistance"]["r0_ohm"], alone["resistance"]["r0_ohm"], rtol=1e-3)
    one, two, pulses = from_set["provenance"]["files"]
    assert [file["name"] for file in (one, two, pulses)] == ["slow_1.csv", "slow_2.csv", "other.csv"]
    slow = vk.join_logs([vk.read_log(tmp_path / name)[0] for name in ("slow_1.csv", "slow_2.csv")])
    assert one["rows"] + two["rows"] == len(slow)
    assert one["rows_used"] + two["rows_used"] == len(vk.read_slow_test(slow).used_rows)
    # A third of the rows is discharge, but for the rest before it.
    assert one["rows_used"] == np.count_nonzero(slow.current_A[: one["rows"]]) + 1
    assert one["read_as"] == ""
    assert re.fullmatch(r"mapping other\.json \(SHA-256 [0-9a-f]{64}\), discharge positive", pulses["read_as"])
    assert (one["current_offset_A"], pulses["current_offset_A"]) == (0, 0.002)

    # What a set says wrongly is named by its place.
    files[2]["mapping"] = "none.json"
    tests.write_text(json.dumps({"format": "voltkeel.test_set", "format_version": 1, "files": files}), encoding="utf-8")
    done = run("fit", "--tests", tests, "--out", tmp_path / "none.json", *form)
    assert done.returncode == 2
    assert "tests.json: /files/2/mapping: " in done.stderr
    done = run("fit", "--out", tmp_path / "none.json")
    assert done.returncode == 2
    assert "--pulses FILE" in done.stderr
    done = run(
        "fit", "--ocv", tmp_path / "slow_2.csv", tmp_path / "slow_1.csv", *plain[3:], "--out", tmp_path / "no.json"
    )
    assert done.returncode == 2
    assert "slow_1.csv: its time column ends at" in done.stderr
    assert "wrong order" in done.stderr


FIT = ("fit", "--pulses", DEMO / "pulses_25degC.csv")
DAY = DEMO / "harbour_day.csv"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((*FIT, "--capacity-Ah", "0"), "--capacity-Ah: capacity 0 is outside 0.001 .. 100000"),
        ((*FIT, "--capacity-Ah", "2"), "Ah come out of a cell of 2 Ah (--capacity-Ah)"),
        ((*FIT, "--floor-V", "9"), "--floor-V: voltage 9 is outside 0.5 .. 5"),
        ((*FIT, "--floor-V", "0.6"), "--floor-V"),
        ((*FIT, "--branches", "5"), "--branches: invalid choice"),
        ((*FIT, "--current-offset-A", "2e3"), "--current-offset-A: current offset 2e3 is outside -1000 .. 1000"),
        ((*FIT, "--log-temperature-degC", "x"), "--log-temperature-degC: 'x' is not a number"),
        ((*FIT, "--separator", ";;"), "--separator: must be one character"),
        ((*FIT, "--separator", "x"), "--separator 'x'"),
        ((*FIT, "--decimal-comma"), "with --decimal-comma the --separator cannot be ','"),
        ((*FIT, "--discharge-positive"), "say so with --discharge-positive"),
        (("refine", DAY, "--block-min", "0"), "--block-min: block 0 is outside 0.1 .. 100000"),
        (("refine", DAY, "--block-min", "1000"), "--block-min: with blocks of 1000 min"),
        (("refine", DAY, "--initial-soc", "1.5"), "--initial-soc: SOC 1.5 is outside 0 .. 1"),
        (("refine", DAY, "--initial-soc", "0.5", "0.6"), "--initial-soc: has 2 values for 1 logs"),
        (("refine", DAY, "--initial-soc-std", "0"), "--initial-soc-std: SOC 0 is outside 1e-06 .. 1"),
        (("refine", DAY, "--seed", "-1"), "--seed"),
        (("refine", DAY, "--separator", "1"), "--separator '1'"),
    ],
)
def test_bad_values_name_the_option(cell: Path, tmp_path: Path, words, said) -> None:
    own = ("--cell", cell) if words[0] == "refine" else ()
    done = run(*words, *own, "--out", tmp_path / "none.json")
    assert done.returncode == 2, done.stdout
    assert said in done.stderr
    assert "Traceback" not in done.stderr
    for field in ("LogReadSettings", "floor_voltage_V", "(capacity_Ah)", "block_min", "initial_soc", "sign option"):
        assert field not in done.stderr
    assert not (tmp_path / "none.json").exists()

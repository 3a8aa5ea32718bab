"""What a cycler wrote: layouts against pandas, joining, steps, the data check and the command ``inspect``."""

from __future__ import annotations

import json
import subprocess
import sys

import numpy as np
import pandas as pd
import pytest
import voltkeel as vk
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

COLUMNS = ("time_s", "current_A", "voltage_V", "temperature_degC")
CAPACITY_A_AH = 2.9
CAPACITY_B_AH = 30.0


def run(*words: object) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "voltkeel.command_line", *map(str, words)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def run_ok(*words: object) -> str:
    done = run(*words)
    assert done.returncode == 0, done.stderr
    return done.stdout


def frame_of(log: vk.Log) -> pd.DataFrame:
    return pd.DataFrame({name: getattr(log, name) for name in COLUMNS})


@pytest.fixture(scope="module")
def charge(demo) -> vk.Log:
    return vk.read_log(demo / "shore_charge.csv")[0]


@pytest.fixture
def tester(charge, tmp_path):
    """The demo's charge as an invented tester writes it: remarks above, mA, minutes, decimal commas, other sign."""
    frame = pd.DataFrame(
        {
            "Step": 1,
            "Zeit [min]": charge.time_s / 60,
            "Strom (mA)": -1000 * charge.current_A,
            "Spannung / mV": 1000 * charge.voltage_V,
            "Temp / K": charge.temperature_degC + 273.15,
        }
    )
    path = tmp_path / "tester.csv"
    text = frame.to_csv(sep=";", decimal=",", index=False, float_format="%.15g")
    path.write_text('Tester 4; channel 2\nOperator: "N; time_s\n\n' + text, encoding="utf-8")
    return path


MAPPING = {
    "format": "voltkeel.log_mapping",
    "format_version": 1,
    "columns": {"time": "Zeit", "current": "Strom", "voltage": "Spannung", "temperature": "Temp"},
    "units_from_header": True,
    "positive_current": "discharge",
    "separator": ";",
    "decimal_comma": True,
}


@pytest.fixture
def mapping(tmp_path, root):
    schema = json.loads((root / "data" / "schema" / "log_mapping.schema.json").read_text(encoding="utf-8"))
    Draft202012Validator(schema).validate(MAPPING)
    path = tmp_path / "tester.json"
    path.write_text(json.dumps(MAPPING), encoding="utf-8")
    return path


# ---------------------------------------------------------------- layouts


def test_a_mapped_file_reads_as_pandas_reads_it(tester, mapping, charge):
    log, report = vk.read_log(tester, vk.load_log_mapping(mapping))
    frame = pd.read_csv(tester, sep=";", decimal=",", skiprows=2)
    assert np.allclose(log.time_s, 60 * frame["Zeit [min]"], rtol=1e-15)
    assert np.allclose(log.current_A, -frame["Strom (mA)"] / 1000, rtol=1e-15)
    assert np.allclose(log.voltage_V, frame["Spannung / mV"] / 1000, rtol=1e-15)
    assert np.allclose(log.temperature_degC, frame["Temp / K"] - 273.15, rtol=0, atol=1e-12)
    for name in COLUMNS:  # and all of it is the log it was made from
        assert np.allclose(getattr(log, name), getattr(charge, name), rtol=0, atol=1e-8), name
    assert [(column.quantity, column.name, column.unit) for column in report.columns] == [
        ("time_s", "Zeit [min]", "min"),
        ("current_A", "Strom (mA)", "mA"),
        ("voltage_V", "Spannung / mV", "mV"),
        ("temperature_degC", "Temp / K", "K"),
    ]
    assert (report.header_line, report.first_row_line) == (4, 5)
    assert report.line_of(3) == 8
    assert "voltage_V from 'Spannung / mV' in mV" in report.summary()


def test_the_mapping_of_the_readme_reads_what_it_tells(root, tmp_path):
    path = tmp_path / "invented.csv"
    text = "Bench 7\nElapsed [min];Current (mA);Cell voltage / V;Case\n0;1500,5;3,7;298,15\n1,5;-20;3,71;299,15\n"
    path.write_text(text, encoding="utf-8")
    log, _ = vk.read_log(path, vk.load_log_mapping(root / "examples" / "tester_mapping.json"))
    assert np.allclose(log.time_s, [0, 90])
    assert np.allclose(log.current_A, [-1.5005, 0.02])
    assert np.allclose(log.voltage_V, [3.7, 3.71])
    assert np.allclose(log.temperature_degC, [25, 26])


def test_a_latin_1_header_is_text_in_python(tmp_path):
    path = tmp_path / "latin.csv"
    path.write_bytes("time_s,current_A,voltage_V,T/°C\n0,0,3.7,21\n".encode("latin-1"))
    log, report = vk.read_log(path, temperature="T/°C")
    assert log.temperature_degC[0] == 21
    assert report.columns[3].name == "T/°C"
    with pytest.raises(vk.DataError, match="'T/°C'"):
        vk.read_log(path)


def test_arguments_come_before_the_mapping(tester, mapping):
    settings = vk.load_log_mapping(mapping)
    plain, _ = vk.read_log(tester, settings)
    other, _ = vk.read_log(tester, settings, discharge_positive=False, current_offset_A=0.5)
    flows = plain.current_A != 0
    assert np.allclose(other.current_A[flows], 0.5 - plain.current_A[flows])
    assert settings.current_sign == vk.CurrentSign.discharge_positive  # not changed by the call


def test_a_mapping_written_from_python_reads_back(tmp_path, root):
    settings = vk.LogReadSettings(
        columns=vk.LogColumns(time="t", current="i", voltage="u", temperature="T"),
        units=vk.LogUnits(current="mA", temperature="K"),
        time_format=vk.TimeFormat.elapsed,
        temperature_degC=12.5,
        separator="\t",
    )
    path = tmp_path / "m.json"
    vk.save_log_mapping(path, settings)
    schema = json.loads((root / "data" / "schema" / "log_mapping.schema.json").read_text(encoding="utf-8"))
    Draft202012Validator(schema).validate(json.loads(path.read_text(encoding="utf-8")))
    again = vk.load_log_mapping(path)
    assert (again.columns.time, again.units.current, again.separator) == ("t", "mA", "\t")
    assert (again.time_format, again.temperature_degC) == (vk.TimeFormat.elapsed, 12.5)
    with pytest.raises(vk.DataError, match="separator: must be one character"):
        settings.separator = ";;"
    with pytest.raises(vk.DataError, match=r"m: /units/time: "):
        vk.parse_log_mapping('{"format": "voltkeel.log_mapping", "format_version": 1, "units": {"time": "d"}}', "m")


# Names of the Battery Data Format: from memory, not re-read.
@pytest.mark.parametrize(
    "names",
    [
        ("Test Time / s", "Current / A", "Voltage / V", "Surface Temperature T1 / degC"),
        ("test_time_second", "current_ampere", "voltage_volt", "ambient_temperature_celsius"),
    ],
)
def test_battery_data_format_needs_no_mapping(tmp_path, charge, names):
    path = tmp_path / "bdf.csv"
    frame = frame_of(charge).set_axis(names, axis=1)
    frame.insert(0, "Cycle Count / 1", 1)
    frame.to_csv(path, index=False)
    log, report = vk.read_log(path)
    for name in COLUMNS:
        assert np.array_equal(getattr(log, name), getattr(charge, name)), name
    assert [column.name for column in report.columns] == list(names)


stamps = st.datetimes(min_value=pd.Timestamp("1930-01-01"), max_value=pd.Timestamp("2100-01-01"))


@given(start=stamps, steps=st.lists(st.integers(1, 10**9), min_size=1, max_size=20))
def test_time_stamps_are_those_of_pandas(tmp_path_factory, start, steps):
    times = pd.Timestamp(start) + pd.to_timedelta(np.cumsum([0, *steps]), unit="ms")
    path = tmp_path_factory.mktemp("stamps") / "log.csv"
    frame = pd.DataFrame({"time_s": [t.isoformat() for t in times], "current_A": 1.0, "voltage_V": 3.7})
    frame.to_csv(path, index=False)
    log, _ = vk.read_log(path, temperature_degC=20)
    since = times - pd.Timestamp("1970-01-01")
    assert log.clock_origin_s == since[0] // pd.Timedelta(seconds=1)
    exact = (since - pd.to_timedelta(log.clock_origin_s, unit="s")) / pd.Timedelta(seconds=1)
    assert np.allclose(log.time_s, exact, rtol=1e-15, atol=1e-12)


def test_files_are_joined_by_their_time_stamps(tmp_path):
    def write(name: str, start: str) -> vk.Log:
        times = pd.date_range(start, periods=4, freq="500ms")
        frame = pd.DataFrame({"time_s": times.strftime("%Y-%m-%d %H:%M:%S.%f"), "current_A": 1.0, "voltage_V": 3.7})
        frame.to_csv(tmp_path / name, index=False)
        return vk.read_log(tmp_path / name, temperature_degC=20)[0]

    one, other = write("a.csv", "2024-02-28 23:59:59"), write("b.csv", "2024-03-01 00:00:00.25")
    joined = vk.join_logs([one, other])
    assert np.array_equal(joined.time_s, [0, 0.5, 1, 1.5, 86401.25, 86401.75, 86402.25, 86402.75])
    with pytest.raises(vk.DataError, match=r"a\.csv: starts 8.*e\+04 s before the end of .*b\.csv"):
        vk.join_logs([other, one])
    plain = vk.Log([5.0, 6.0], [1, 1], [3.7, 3.7], 20)
    assert np.array_equal(vk.join_logs([plain, plain], pause_s=10).time_s, [5, 6, 16, 17])
    with pytest.raises(vk.DataError, match=r"memory: has no time stamps, .*a\.csv has some"):
        vk.join_logs([one, plain])


# ---------------------------------------------------------------- steps


def check_steps(log: vk.Log, steps: list[vk.Step]) -> pd.DataFrame:
    """Compare the table with what pandas counts over the same rows."""
    table = pd.DataFrame(vk.steps_table(steps))
    frame = frame_of(log)
    frame["step_s"] = frame.time_s.diff().fillna(0)
    frame["charge_Ah"] = frame.current_A * frame.step_s / 3600
    frame["step"] = np.repeat(np.arange(len(table)), table.last_row - table.first_row + 1)
    groups = frame.groupby("step")
    assert np.allclose(groups.charge_Ah.sum(), table.charge_Ah, rtol=1e-9, atol=1e-12)
    assert np.allclose(groups.step_s.sum(), table.duration_s, rtol=1e-9, atol=1e-9)
    assert np.array_equal(groups.voltage_V.last(), table.end_voltage_V)
    lasts = table.duration_s > 0
    mean = groups.charge_Ah.sum()[lasts] * 3600 / groups.step_s.sum()[lasts]
    assert np.allclose(mean, table.mean_current_A[lasts], rtol=1e-9, atol=1e-12)
    return table


def test_steps_are_objects_and_a_table(demo):
    log, _ = vk.read_log(demo / "pulses_25degC.csv")
    steps = vk.find_steps(log, vk.StepSettings(capacity_Ah=5.0))
    table = check_steps(log, steps)
    pulses = table[table.kind == "pulse"]
    assert len(pulses) == 43  # data/demo/README.md: eleven levels, three pulses and, but for full, one of charge
    assert sorted(pulses.rate_per_h.round(1).unique()) == [-2.0, -1.0, -0.5, 0.5]
    assert np.allclose(pulses.duration_s, 10, atol=0.01)
    assert steps[1].kind == vk.StepKind.pulse
    assert steps[1].kind.message == "pulse"
    assert np.isnan(vk.steps_table(vk.find_steps(log))["rate_per_h"]).all()
    assert vk.rest_current_A(log, vk.StepSettings(capacity_Ah=5.0)) == 0.05
    with pytest.raises(vk.DataError, match="capacity_Ah = -1 must be > 0"):
        vk.find_steps(log, vk.StepSettings(capacity_Ah=-1))


def kinds(log: vk.Log, capacity_Ah: float) -> dict[str, int]:
    table = check_steps(log, vk.find_steps(log, vk.StepSettings(capacity_Ah=capacity_Ah)))
    return table.kind.value_counts().to_dict()


def test_steps_of_public_cell_a(cell_a_data):
    """The README beside the data tells the procedures: five pulses of 10 s a level, CC-CV charges, drives."""
    for name, levels in (("hppc_25degC.csv", 13), ("hppc_n10degC.csv", 9)):
        log, _ = vk.read_log(cell_a_data / name)
        steps = vk.find_steps(log, vk.StepSettings(capacity_Ah=CAPACITY_A_AH))
        table = check_steps(log, steps)
        pulses = table[table.kind == "pulse"]
        assert len(pulses) >= 5 * levels
        assert np.allclose(pulses.duration_s, 10, atol=2.5) or (pulses.duration_s < 10.5).all()
        assert "drive" not in set(table.kind)
    for name in ("charge_25degC_charge2_03-19.csv", "charge_25degC_charge1_03-20.csv"):
        log, _ = vk.read_log(cell_a_data / name)
        steps = vk.find_steps(log, vk.StepSettings(capacity_Ah=CAPACITY_A_AH))
        assert [step.kind.name for step in steps] == ["rest", "constant_current", "constant_voltage", "rest"]
        assert steps[1].mean_current_A == pytest.approx(2.9, rel=0.01)
        assert steps[2].end_voltage_V == pytest.approx(4.2, abs=0.002)
        assert log.current_A[steps[2].last_row] == pytest.approx(0.05, abs=0.005)
    for name in ("drive_25degC_US06.csv", "drive_25degC_Cycle_1.csv", "drive_0degC_Cycle_4.csv"):
        assert kinds(vk.read_log(cell_a_data / name)[0], CAPACITY_A_AH) == {"drive": 1, "rest": 1}
    assert kinds(vk.read_log(cell_a_data / "ocv_c20_25degC.csv")[0], CAPACITY_A_AH) == {
        "rest": 3,
        "constant current": 2,
    }


def test_steps_of_public_cell_b(cell_b_data):
    """30 s discharge pulse, 40 s rest, 10 s charge pulse, discharge to the next level, 1 h rest."""
    log, _ = vk.read_log(cell_b_data / "hppc_25degC.csv", temperature_degC=25)
    steps = vk.find_steps(log, vk.StepSettings(capacity_Ah=CAPACITY_B_AH))
    pulses = [step for step in steps if step.kind == vk.StepKind.pulse]
    out = [step for step in pulses if step.mean_current_A < 0]
    back = [step for step in pulses if step.mean_current_A > 0]
    assert len(out) == len(back) == 10
    assert [step.duration_s for step in out] == pytest.approx([30] * 10, abs=0.5)
    assert [step.duration_s for step in back] == pytest.approx([10] * 10, abs=0.5)
    log, _ = vk.read_log(cell_b_data / "cycling_c15_10_24_40degC.csv", temperature_degC=24)
    counts = kinds(log, CAPACITY_B_AH)
    assert counts["constant voltage"] == 8
    assert "drive" not in counts
    assert "pulse" not in counts


# ---------------------------------------------------------------- data check


def serious(log: vk.Log, settings: vk.DataCheckSettings | None = None) -> list[vk.DataFinding]:
    found = vk.check_data(log, settings or vk.DataCheckSettings())
    return [finding for finding in found if finding.severity != vk.DataSeverity.note]


def test_the_demo_data_is_clean(demo):
    for path in sorted(demo.glob("*.csv")):
        if not path.stem.endswith("_truth"):
            assert serious(vk.read_log(path)[0]) == [], path.name


def test_the_offset_of_the_demo_bench_is_found(demo):
    """data/demo/README.md: the small range of the bench reads 0.6 mA too much."""
    balance = vk.offset_from_balance(vk.read_log(demo / "slow_test_25degC.csv")[0])
    assert balance is not None
    assert balance.current_offset_A == pytest.approx(-0.0006, abs=2 * balance.current_offset_A_std)
    assert balance.current_offset_A_std < 0.0005


@pytest.mark.parametrize(
    ("fault", "kind", "corrections"),
    [
        ({"voltage_V": lambda v: 1000 * v}, vk.DataFault.voltage_unit, {"voltage_from_mV": True}),
        ({"current_A": lambda i: -i}, vk.DataFault.current_sign, {"turn_current": True}),
        ({"current_A": lambda i: 1000 * i}, vk.DataFault.current_unit, {"current_from_mA": True}),
        ({"temperature_degC": lambda t: t + 273.15}, vk.DataFault.temperature_unit, {"temperature_from_K": True}),
        ({"temperature_degC": lambda t: 32 + 1.8 * t}, vk.DataFault.temperature_unit, {"temperature_from_degF": True}),
    ],
)
def test_wrong_units_are_told_and_mended(demo, fault, kind, corrections):
    good, _ = vk.read_log(demo / "pulses_25degC.csv")
    columns = [fault.get(name, lambda x: x)(getattr(good, name)) for name in COLUMNS]
    bad = vk.Log(*columns, source="bench")
    assert [finding.kind for finding in serious(bad)] == [kind]
    mended = vk.correct_log(bad, vk.LogCorrections(**corrections))
    assert len(mended.record) == 1
    assert mended.record[0].startswith("bench: ")
    for name in COLUMNS:
        assert np.allclose(getattr(mended.log, name), getattr(good, name), rtol=1e-12, atol=1e-12), name
    assert serious(mended.log) == []


UNIT_OR_SIGN = {
    vk.DataFault.current_sign,
    vk.DataFault.current_unit,
    vk.DataFault.voltage_unit,
    vk.DataFault.temperature_unit,
}


def assert_units_look_right(folder, capacity_Ah):
    paths = sorted(folder.glob("*.csv"))
    assert len(paths) >= 5
    for path in paths:
        if path.stem.endswith("_truth") or "current_A" not in path.read_text(encoding="utf-8").partition("\n")[0]:
            continue
        log, report = vk.read_log(path, temperature_degC=25.0)  # some have none
        for steps in (vk.StepSettings(), vk.StepSettings(capacity_Ah=capacity_Ah)):
            found = vk.check_data(log, vk.DataCheckSettings(steps=steps), report)
            assert [f.text for f in found if f.kind in UNIT_OR_SIGN] == [], path.name


def test_no_unit_of_the_demo_data_looks_wrong(demo):
    assert_units_look_right(demo, 5.0)


def test_no_unit_of_the_public_cells_looks_wrong(cell_a_data, cell_b_data):
    assert_units_look_right(cell_a_data, 2.9)
    assert_units_look_right(cell_b_data, 33.0)


def test_units_of_public_cell_a_that_are_wrong_are_told(cell_a_data):
    """The other side of the same: every test of the cell, with each channel in a wrong unit."""
    tests = [*sorted(cell_a_data.glob("hppc_*.csv")), cell_a_data / "ocv_c20_25degC.csv"]
    assert len(tests) == 5
    for path in tests:
        good, _ = vk.read_log(path)
        faults = {
            vk.DataFault.current_sign: (good.voltage_V, -good.current_A, good.temperature_degC),
            vk.DataFault.current_unit: (good.voltage_V, 1000 * good.current_A, good.temperature_degC),
            vk.DataFault.voltage_unit: (1000 * good.voltage_V, good.current_A, good.temperature_degC),
            vk.DataFault.temperature_unit: (good.voltage_V, good.current_A, good.temperature_degC + 273.15),
        }
        for kind, (voltage_V, current_A, temperature_degC) in faults.items():
            bad = vk.Log(good.time_s, current_A, voltage_V, temperature_degC, source=path.name)
            of_cell = vk.DataCheckSettings(steps=vk.StepSettings(capacity_Ah=CAPACITY_A_AH))
            assert kind in [finding.kind for finding in serious(bad, of_cell)], (path.name, kind)
            assert kind in [finding.kind for finding in serious(bad)], (path.name, kind)


def test_the_offset_of_public_cell_a(cell_a_data):
    """Its README, from 40 balances: true current = logged + 0.009 A, give or take 0.0015 A."""
    log, _ = vk.read_log(cell_a_data / "ocv_c20_25degC.csv")
    settings = vk.DataCheckSettings(steps=vk.StepSettings(capacity_Ah=CAPACITY_A_AH))
    balance = vk.offset_from_balance(log, settings)
    assert balance is not None
    assert balance.current_offset_A == pytest.approx(0.009, abs=0.0015)
    corrected = vk.correct_log(log, vk.LogCorrections(current_offset_A=balance.current_offset_A)).log
    assert abs(vk.offset_from_balance(corrected, settings).current_offset_A) < 1e-6
    # A drive from full and the charge after it: shorter, and so less sure; the band must hold the truth.
    full = vk.DataCheckSettings(steps=settings.steps, starts_full=True)
    for drive, charge in (
        ("drive_25degC_Cycle_1.csv", "charge_25degC_charge2_03-19.csv"),
        ("drive_25degC_US06.csv", "charge_25degC_charge1_03-20.csv"),
    ):
        pair = vk.join_logs([vk.read_log(cell_a_data / name)[0] for name in (drive, charge)])
        balance = vk.offset_from_balance(pair, full)
        assert balance.current_offset_A_std < 0.01
        assert balance.current_offset_A == pytest.approx(0.009, abs=2 * balance.current_offset_A_std)


def test_public_data_raises_no_false_alarm(cell_a_data, cell_b_data):
    expected = {"ocv_c20_25degC.csv": {"current offset"}}
    for folder, capacity_Ah, filled in ((cell_a_data, CAPACITY_A_AH, None), (cell_b_data, CAPACITY_B_AH, 25)):
        settings = vk.DataCheckSettings(steps=vk.StepSettings(capacity_Ah=capacity_Ah))
        for path in sorted(folder.glob("*.csv")):
            if path.stem == "temperature_1C":
                continue
            log, report = vk.read_log(path, temperature_degC=filled)
            found = vk.check_data(log, settings, report)
            told = {finding.kind.message for finding in found if finding.severity != vk.DataSeverity.note}
            # Rows up to 8 hours apart under current: the README beside the data says so.
            assert told == ({"gap"} if path.stem.startswith("dis5") else expected.get(path.name, set())), path.name


# ---------------------------------------------------------------- the command


def test_inspect_prints_report_steps_and_findings(tester, mapping):
    text = run_ok("inspect", tester, "--mapping", mapping, "--capacity-Ah", 5)
    assert "voltage_V from 'Spannung / mV' in mV" in text
    assert "4 steps: 2 rest (12 min), 1 constant current (1 h 17 min), 1 constant voltage (45 min)" in text
    assert "C-rate" in text
    assert "Findings" in text
    assert "they tell nothing about the offset" in text


def test_inspect_for_machines(demo, tmp_path):
    lines = (demo / "harbour_day.csv").read_text(encoding="utf-8").splitlines()
    spike = lines[9400].split(",")
    lines[9400] = ",".join([*spike[:2], f"{float(spike[2]) + 0.4:.4f}", spike[3]])
    path = tmp_path / "day.csv"
    path.write_text("\n".join([*lines[:9001], lines[9000], *lines[9001:]]) + "\n", encoding="utf-8")
    document = json.loads(run_ok("inspect", path, "--json"))
    assert [step["kind"] for step in document["steps"]] == ["rest", "drive", "rest"]
    assert document["steps"][0]["rate_per_h"] is None
    assert document["files"][0]["rows_dropped"] == 1
    (found,) = [finding for finding in document["findings"] if finding["kind"] == "spike"]
    assert (found["severity"], found["row"], found["line"]) == ("warning", 9399, 9402)
    assert found["value"] == pytest.approx(0.4, abs=0.01)
    assert [finding["line"] for finding in document["findings"] if finding["kind"] == "repeated_row"] == [9002]


def test_inspect_takes_several_files_as_one_test(demo, tmp_path):
    lines = (demo / "slow_test_25degC.csv").read_text(encoding="utf-8").splitlines()
    parts = [tmp_path / "one.csv", tmp_path / "two.csv"]
    parts[0].write_text("\n".join(lines[:1300]) + "\n", encoding="utf-8")
    parts[1].write_text("\n".join([lines[0], *lines[1300:]]) + "\n", encoding="utf-8")
    document = json.loads(run_ok("inspect", *parts, "--json"))
    assert [step["kind"] for step in document["steps"]] == ["rest", "constant_current"] * 2 + ["rest"]
    assert {finding["file"] for finding in document["findings"]} == {"one.csv", "two.csv", "all files"}
    # The fit takes them too, and says where the numbers come from.
    pulses = demo / "pulses_25degC.csv"
    out = {}
    for name, slow in (("whole", [demo / "slow_test_25degC.csv"]), ("parts", parts)):
        out[name] = tmp_path / f"{name}.json"
        run_ok("fit", "--ocv", *slow, "--pulses", pulses, "--branches", 1, "--out", out[name])
    whole, joined = (json.loads(out[name].read_text(encoding="utf-8")) for name in ("whole", "parts"))
    assert joined["capacity_Ah"] == pytest.approx(whole["capacity_Ah"], rel=1e-4)
    files = joined["provenance"]["files"]
    assert [file["name"] for file in files] == ["one.csv", "two.csv", "pulses_25degC.csv"]
    assert {len(file["sha256"]) for file in files} == {64}
    assert files[0]["rows"] + files[1]["rows"] == whole["provenance"]["files"][0]["rows"]


def test_a_mapped_file_replays_as_the_plain_one(demo, tester, mapping, tmp_path, demo_fit):
    cell = tmp_path / "cell.json"
    vk.save_cell(cell, demo_fit.cell)
    traces = {}
    for name, words in (("plain", [demo / "shore_charge.csv"]), ("mapped", [tester, "--mapping", mapping])):
        run_ok("replay", *words, "--cell", cell, "--initial-soc", 0.18, "--out", tmp_path / f"{name}.csv")
        traces[name] = pd.read_csv(tmp_path / f"{name}.csv")
    assert np.allclose(traces["plain"].soc, traces["mapped"].soc, rtol=0, atol=1e-6)
    provenance = json.loads((tmp_path / "mapped.provenance.json").read_text(encoding="utf-8"))
    assert provenance["mapping"]["name"] == "tester.json"
    assert len(provenance["mapping"]["sha256"]) == 64


def test_dropped_spikes_are_recorded(demo, tmp_path, demo_fit):
    cell = tmp_path / "cell.json"
    vk.save_cell(cell, demo_fit.cell)
    lines = (demo / "shore_charge.csv").read_text(encoding="utf-8").splitlines()
    cells = lines[100].split(",")
    lines[100] = ",".join([*cells[:2], f"{float(cells[2]) + 0.3:.4f}", cells[3]])
    path = tmp_path / "spiky.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    run_ok("replay", path, "--cell", cell, "--drop-spikes", "--out", tmp_path / "x.csv")
    provenance = json.loads((tmp_path / "x.provenance.json").read_text(encoding="utf-8"))
    assert provenance["corrections"] == [f"spiky.csv: 1 spike left out, at time {float(cells[0]):g} s"]
    assert len(pd.read_csv(tmp_path / "x.csv")) == len(lines) - 2
    run_ok("replay", path, "--cell", cell, "--out", tmp_path / "y.csv")
    assert json.loads((tmp_path / "y.provenance.json").read_text(encoding="utf-8"))["corrections"] == []


HEADER = "time_s,current_A,voltage_V,temperature_degC\n"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (HEADER + "0,0,3.7,20\n1,nan,3.7,20\n", r"bad\.csv:3: column 'current_A' \(2\): 'nan' is not a finite"),
        (HEADER + "0,0,3.7,20\n1,0,3", r"bad\.csv:3: the row has 3 fields, the header has 4; the file ends inside"),
        (HEADER + "0,0,3.7,20\n1,0,3.7\n2,0,3.7,20,4\n", r"bad\.csv:3: the row has 3 fields"),
        (HEADER + "0,0,3.7,20\n2024-03-01 12:00:00,0,3.7,20\n", r"bad\.csv:3: column 'time_s' \(1\): '2024-03-01"),
        (HEADER + "2024-03-01 12:00:00,0,3.7,20\n5,0,3.7,20\n", r"bad\.csv:3: .* is no time stamp"),
        ("a,b\n1,2\n", r"bad\.csv:1: no column 'time_s'; the header has 'a', 'b'"),
        (HEADER, r"bad\.csv:2: no data rows"),
    ],
)
def test_what_inspect_cannot_read_ends_with_2_and_one_line(tmp_path, text, says):
    path = tmp_path / "bad.csv"
    path.write_text(text, encoding="utf-8")
    done = run("inspect", path)
    assert done.returncode == 2
    assert len(done.stderr.strip().splitlines()) == 1
    with pytest.raises(vk.DataError, match=says):
        vk.read_log(path)
    assert path.name in done.stderr


def test_a_mapping_that_is_none_ends_with_2(tmp_path, demo):
    path = tmp_path / "m.json"
    path.write_text('{"format": "voltkeel.log_mapping", "format_version": 1, "colums": {}}', encoding="utf-8")
    for command in (("inspect", demo / "shore_charge.csv"), ("replay", demo / "shore_charge.csv", "--cell", "c.json")):
        out = () if command[0] == "inspect" else ("--out", tmp_path / "x.csv")
        done = run(*command, "--mapping", path, *out)
        assert done.returncode == 2
        assert "m.json: /colums: " in done.stderr
        assert "Traceback" not in done.stderr

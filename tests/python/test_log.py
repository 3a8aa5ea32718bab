"""Columns of numbers in, logs out: every kind of array, and what is refused with which words."""

from __future__ import annotations

import csv

import numpy as np
import pandas as pd
import pytest
import voltkeel as vk
from hypothesis import given
from hypothesis import strategies as st

TIME = [0.0, 1.0, 2.5, 4.0]
CURRENT = [0.0, -1.5, -1.5, 0.25]
VOLTAGE = [3.75, 3.5, 3.5, 3.625]
TEMPERATURE = [20.0, 20.5, 21.0, 21.5]  # all of these are exact in single precision


def strided(column):
    wide = np.full(2 * len(column), np.nan)
    wide[::2] = column
    view = wide[::2]
    assert not view.flags.c_contiguous
    return view


def read_only(column):
    array = np.array(column)
    array.flags.writeable = False
    return array


FORMS = {
    "list": list,
    "tuple": tuple,
    "array": np.array,
    "single precision": lambda c: np.array(c, dtype=np.float32),
    "big endian": lambda c: np.array(c, dtype=">f8"),
    "every other element": strided,
    "backwards": lambda c: np.array(c[::-1])[::-1],
    "read only": read_only,
    "column of a matrix": lambda c: np.column_stack((c, c))[:, 1],
    "pandas column": lambda c: pd.DataFrame({"a": c})["a"],
    "pandas column with another index": lambda c: pd.Series(c, index=[7, 3, 5, 1]),
    "range": None,
}


@pytest.mark.parametrize("form", FORMS)
def test_every_kind_of_column_reads_the_same(form):
    if form == "range":
        log = vk.Log(range(4), range(4), range(4), range(4))
        assert np.array_equal(log.time_s, [0, 1, 2, 3])
        return
    make = FORMS[form]
    log = vk.Log(make(TIME), make(CURRENT), make(VOLTAGE), make(TEMPERATURE), source="bench")
    assert len(log) == 4
    assert log.source == "bench"
    for name, column in zip(
        ("time_s", "current_A", "voltage_V", "temperature_degC"), (TIME, CURRENT, VOLTAGE, TEMPERATURE), strict=True
    ):
        values = getattr(log, name)
        assert values.dtype == np.float64
        assert np.array_equal(values, column)


def test_columns_are_copies():
    time = np.array(TIME)
    log = vk.Log(time, CURRENT, VOLTAGE, TEMPERATURE)
    time[1] = 99.0
    log.time_s[2] = 77.0
    assert np.array_equal(log.time_s, TIME)
    assert log.time_s.flags.owndata or log.time_s.base is not None
    values = log.voltage_V
    del log
    assert np.array_equal(values, VOLTAGE)


@pytest.mark.parametrize("temperature", [25, 25.0, np.float64(25), np.float32(25), np.int64(25), np.array(25.0)])
def test_one_temperature_stands_for_all_rows(temperature):
    assert np.array_equal(vk.Log(TIME, CURRENT, VOLTAGE, temperature).temperature_degC, [25.0] * 4)


@pytest.mark.parametrize(
    ("place", "value", "text"),
    [
        (0, [0.0, 1.0, 1.0, 2.0], r"bench: time_s\[2\]: 1.0* is not after 1"),
        (0, [0.0, 2.0, 1.0, 3.0], r"bench: time_s\[2\]"),
        (0, [0.0, np.nan, 1.0, 3.0], r"bench: time_s\[1\] is not a finite number"),
        (1, [0.0, 1.0, np.inf, 0.0], r"bench: current_A\[2\] is not a finite number"),
        (2, [0.0, 1.0, 2.0, -np.inf], r"bench: voltage_V\[3\] is not a finite number"),
        (3, [np.nan, 1.0, 2.0, 3.0], r"bench: temperature_degC\[0\] is not a finite number"),
        (3, np.nan, r"bench: temperature_degC\[0\] is not a finite number"),
        (1, [0.0, 1.0, 2.0], "bench: current_A has 3 values, time_s has 4"),
        (3, [20.0], "bench: temperature_degC has 1 values, time_s has 4"),
        (2, [[3.7, 3.5], [3.5, 3.6]], "voltage_V: has 2 dimensions, needs 1"),
        (0, np.zeros((4, 1)), "time_s: has 2 dimensions, needs 1"),
        (0, 5.0, "time_s: has 0 dimensions, needs 1"),
        (3, "warm", "bench: temperature_degC is no column of numbers"),
        (3, None, "bench: temperature_degC"),
        (3, ["a", "b", "c", "d"], "bench: temperature_degC is no column of numbers"),
    ],
)
def test_what_is_wrong_is_named(place, value, text):
    columns = [TIME, CURRENT, VOLTAGE, TEMPERATURE]
    columns[place] = value
    with pytest.raises(vk.DataError, match=text):
        vk.Log(*columns, source="bench")


def test_text_in_a_column_is_a_type_error():
    with pytest.raises(TypeError):
        vk.Log(TIME, ["a", "b", "c", "d"], VOLTAGE, TEMPERATURE)


def test_data_error_is_a_value_error():
    assert issubclass(vk.DataError, ValueError)
    with pytest.raises(ValueError, match="current_A"):
        vk.Log(TIME, [0.0], VOLTAGE, TEMPERATURE)


finite = st.floats(allow_nan=False, allow_infinity=False)


@given(rows=st.lists(st.tuples(finite, finite, finite, finite), min_size=1, max_size=30))
def test_a_log_keeps_every_bit_or_says_which_row(rows):
    time, current, voltage, temperature = (list(c) for c in zip(*rows, strict=True))
    bad = [k for k in range(1, len(time)) if not time[k] > time[k - 1]]
    if bad:
        with pytest.raises(vk.DataError, match=rf"time_s\[{bad[0]}\]"):
            vk.Log(time, current, voltage, temperature)
    else:
        log = vk.Log(time, current, voltage, temperature)
        assert log.time_s.tobytes() == np.array(time).tobytes()
        assert log.current_A.tobytes() == np.array(current).tobytes()
        assert log.temperature_degC.tobytes() == np.array(temperature).tobytes()


# ---------------------------------------------------------------- files


def test_a_file_reads_as_python_reads_it(demo):
    """Every number correctly rounded, as float() does it."""
    for path in sorted(demo.glob("*.csv")):
        if path.stem.endswith("_truth"):
            continue
        log, report = vk.read_log(path)
        with path.open(newline="") as lines:
            rows = list(csv.DictReader(lines))
        for name in ("time_s", "current_A", "voltage_V", "temperature_degC"):
            assert np.array_equal(getattr(log, name), [float(row[name]) for row in rows]), (path.name, name)
        assert report.rows == len(log) == len(rows)
        assert report.rows_dropped == 0
        assert log.source == str(path)


def test_another_layout(tmp_path):
    path = tmp_path / "tester.csv"
    frame = pd.DataFrame({"U/V": VOLTAGE, "note": "x", "I/A": CURRENT, "t/s": TIME})
    frame.to_csv(path, sep=";", index=False)
    log, report = vk.read_log(
        path,
        time="t/s",
        current="I/A",
        voltage="U/V",
        temperature_degC=18.0,
        separator=";",
        discharge_positive=True,
        current_offset_A=0.5,
        gap_s=1.2,
    )
    assert np.array_equal(log.current_A, [0.0, 2.0, 2.0, 0.25])  # -I + offset, and 0 stays 0
    assert np.array_equal(log.temperature_degC, [18.0] * 4)
    assert report.temperatures_filled == 4
    assert [(f.kind, f.line, f.step_s) for f in report.findings] == [
        (vk.TimeFinding.gap, 4, 1.5),
        (vk.TimeFinding.gap, 5, 1.5),
    ]
    assert report.summary()


def test_odd_times_are_reported_not_kept(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text(
        "time_s,current_A,voltage_V,temperature_degC\n0,0,3.7,20\n1,0,3.7,20\n1,0,3.6,20\n0.5,0,3.6,20\n2,0,3.7,20\n"
    )
    log, report = vk.read_log(path)
    assert np.array_equal(log.time_s, [0, 1, 2])
    assert report.rows_dropped == 2
    assert [(f.kind, f.line) for f in report.findings] == [
        (vk.TimeFinding.repeated, 4),
        (vk.TimeFinding.backward, 5),
    ]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("time_s,current_A,voltage_V\n0,0,3.7\n", "temperature_degC"),
        ("time_s,current_A,voltage_V,temperature_degC\n0,0,3.7,20\n1,x,3.7,20\n", r":3.*current_A.*x"),
        ("time_s,current_A,voltage_V,temperature_degC\n0,0,nan,20\n", r":2.*voltage_V.*nan"),
        ("time_s,current_A,voltage_V,temperature_degC\n", ""),
        ("", ""),
    ],
)
def test_a_file_that_cannot_be_used_says_where(tmp_path, text, says):
    path = tmp_path / "log.csv"
    path.write_text(text)
    with pytest.raises(vk.DataError, match=f"log.csv.*{says}"):
        vk.read_log(path)


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(vk.DataError, match=r"no\.csv"):
        vk.read_log(tmp_path / "no.csv")


def test_a_trace_reads_back(cell, tmp_path):
    log = vk.Log(np.arange(50.0), np.linspace(0, -2, 50), np.linspace(3.8, 3.6, 50), 20.0)
    trace = vk.replay(cell, log, initial_soc=0.6)
    vk.write_trace(tmp_path / "trace.csv", trace)
    frame = pd.read_csv(tmp_path / "trace.csv")
    assert list(frame) == [
        "time_s",
        "soc",
        "soc_std",
        "voltage_predicted_V",
        "innovation_V",
        "innovation_std_V",
        "fault_bits",
        "sensor_fault_bits",
    ]
    for name in frame:
        assert np.allclose(frame[name], getattr(trace, name), rtol=1e-8, atol=1e-12), name


# ---------------------------------------------------------------- fields of structs


def test_fields_take_and_give_copies(cell):
    curve = vk.OcvCurve(soc=[0, 1], discharge_V=np.array([3.0, 4.0], dtype=np.float32), charge_V=(3.0, 4.0))
    assert np.array_equal(curve.discharge_V, [3.0, 4.0])
    with pytest.raises(vk.DataError, match="charge_V: has 2 dimensions, needs 1"):
        curve.charge_V = [[3.0], [4.0]]
    assert np.array_equal(curve.charge_V, [3.0, 4.0])
    grid = vk.ResistanceGrid()
    with pytest.raises(vk.DataError, match="a grid has 1 dimensions, needs 2"):
        grid.r0_ohm = [0.1, 0.2]
    transposed = np.array([[0.1, 0.2], [0.3, 0.4]]).T
    grid.r0_ohm = transposed
    assert np.array_equal(grid.r0_ohm, transposed)


def test_a_list_of_structs_outlives_its_owner():
    """A reference into a vector that was set again would be freed memory."""
    grid = vk.ResistanceGrid(branches=[vk.BranchGrid(time_s=[[1.0, 2.0]]), vk.BranchGrid(time_s=[[3.0, 4.0]])])
    first = grid.branches[0]
    grid.branches = [vk.BranchGrid(time_s=[[5.0, 6.0]])] * 4
    assert np.array_equal(first.time_s, [[1.0, 2.0]])
    first.time_s = [[7.0, 8.0]]
    assert np.array_equal(grid.branches[0].time_s, [[5.0, 6.0]])
    del grid
    assert np.array_equal(first.time_s, [[7.0, 8.0]])


def test_an_unknown_field_is_a_type_error():
    with pytest.raises(TypeError, match="no field 'voltage_maxV'"):
        vk.CellWindow(voltage_maxV=4.2)
    with pytest.raises(AttributeError):
        vk.CellWindow().voltage_maxV = 4.2

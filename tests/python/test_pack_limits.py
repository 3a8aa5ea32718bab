"""Limits of a pack: against SciPy (root finding over solve_ivp), and what Python adds."""

from __future__ import annotations

import json
import math
import subprocess
import sys

import numpy as np
import pytest
import voltkeel as vk
from conftest import SEED
from jsonschema import Draft202012Validator
from reference_model import ReferenceCell
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

CONTINUOUS = float("inf")
LAG_S = vk.LimitSettings().warmth_lag_s


def copy_of(cell: vk.Cell, **fields) -> vk.Cell:
    changed = vk.parse_cell(vk.to_json(cell))
    for name, value in fields.items():
        setattr(changed, name, value)
    return changed


def wide_cell(cell: vk.Cell, **window) -> vk.Cell:
    """Without a maker's table, so that voltage and temperature decide."""
    usual = {
        "voltage_min_V": 2.9,
        "voltage_max_V": 4.2,
        "soc_min": 0.0,
        "soc_max": 1.0,
        "charge_temperature_min_degC": -5.0,
        "charge_temperature_max_degC": 45.0,
        "discharge_temperature_min_degC": -20.0,
        "discharge_temperature_max_degC": 60.0,
    }
    return copy_of(cell, current_limits=[], window=vk.CellWindow(**{**usual, **window}))


def plain() -> vk.PackLimitSettings:
    """Without tapers and margins."""
    search = vk.LimitSettings(current_tolerance=2e-4)
    return vk.PackLimitSettings(sigmas=0.0, search=search)


def series_pack(cell: vk.Cell, series: int, parallel: int = 1) -> vk.Pack:
    return vk.single_string_pack("invented", "cell.json", cell, vk.PackLayout(series=series, parallel=parallel))


def slack(reference: ReferenceCell, window: vk.CellWindow, state: vk.ModelState, current_A: float, horizon_s: float):
    """Distance to the nearer of voltage and temperature bound, scaled to volts, while a current is held."""
    start_degC, r = state.temperature_degC, state.resistance_scale
    start = np.array([state.soc, *state.branch_V, state.hysteresis, start_degC, start_degC])

    def slope(_: float, x: np.ndarray) -> np.ndarray:
        return reference.slope_with_late_warmth(x, current_A, start_degC, r, LAG_S)

    solution = solve_ivp(
        slope,
        (0, horizon_s),
        start,
        t_eval=np.linspace(0, horizon_s, 16),
        rtol=1e-7,
        atol=1e-9,
        max_step=horizon_s / 12,
    )
    volts = np.array([reference.scaled_voltage(x, current_A, r) for x in solution.y.T])
    if current_A > 0:
        room_V = window.voltage_max_V - volts.max()
        hot = window.charge_temperature_max_degC
    else:
        room_V = volts.min() - window.voltage_min_V
        hot = window.discharge_temperature_max_degC
    return min(room_V, 0.01 * (hot - solution.y[-2, -1]))


def random_state(random: np.random.Generator, low_degC: float = 2.0, high_degC: float = 9.0) -> vk.ModelState:
    return vk.ModelState(
        soc=random.uniform(0.25, 0.8),
        branch_V=list(random.uniform(-0.01, 0.01, 3)),
        hysteresis=random.uniform(-1, 1),
        resistance_scale=random.uniform(0.9, 1.4),
        temperature_degC=random.uniform(low_degC, high_degC),
    )


@pytest.mark.parametrize("case", range(4))
def test_the_limits_are_those_of_scipy(cell, case):
    """SciPy looks for the current at which the worst group just meets its bound: agreement 0.1 %."""
    random = np.random.default_rng([SEED, case])
    cell = wide_cell(cell, voltage_min_V=random.uniform(2.9, 3.2), voltage_max_V=random.uniform(4.15, 4.3))
    reference = ReferenceCell(cell)
    groups = [vk.GroupState(state=random_state(random)) for _ in range(3)]
    horizon_s = [2.0, 10.0, 30.0][case % 3]
    (limit,) = vk.pack_limits(series_pack(cell, 3), groups, [horizon_s], settings=plain())
    for direction in (limit.charge, limit.discharge):
        found_A = direction.current_A
        assert abs(found_A) > 0.5

        def worst(current_A: float) -> float:
            return min(slack(reference, cell.window, group.state, current_A, horizon_s) for group in groups)

        expected_A = brentq(worst, 0.9 * found_A, 1.1 * found_A, xtol=1e-5, rtol=1e-6)
        assert found_A == pytest.approx(expected_A, rel=1e-3), (SEED, case, direction.reason)
        slacks = [slack(reference, cell.window, group.state, expected_A, horizon_s) for group in groups]
        assert direction.group == int(np.argmin(slacks))


@pytest.mark.parametrize("case", range(2))
def test_the_continuous_limit_is_that_of_scipy(cell, case):
    """Ten minutes by solve_ivp, and where their mean heat leads to for ever."""
    random = np.random.default_rng([SEED, 100 + case])
    hot = {} if case == 0 else {"voltage_min_V": 0.5, "voltage_max_V": 5.5}
    degC = 45.0 if case == 0 else 24.0
    cell = wide_cell(cell, charge_temperature_max_degC=degC, discharge_temperature_max_degC=degC, **hot)
    reference = ReferenceCell(cell)
    groups = [vk.GroupState(state=random_state(random, 10.0, 12.0)) for _ in range(2)]
    for group in groups:
        state = group.state
        state.soc = random.uniform(0.45, 0.55)
        group.state = state
    (limit,) = vk.pack_limits(series_pack(cell, 2), groups, [CONTINUOUS], settings=plain())

    def room(state: vk.ModelState, current_A: float) -> float:
        r, start_degC = state.resistance_scale, state.temperature_degC

        def slope(_: float, x: np.ndarray) -> np.ndarray:
            change = reference.slope_with_late_warmth(x[:-1], current_A, start_degC, r, LAG_S)
            lost_W = (x[-3] - start_degC) / reference.thermal_resistance_K_per_W
            return np.append(change, change[-2] * reference.heat_capacity_J_per_K + lost_W)

        start = np.array([state.soc, *state.branch_V, state.hysteresis, start_degC, start_degC, 0.0])
        times = np.linspace(0, 600, 31)
        x = solve_ivp(slope, (0, 600), start, t_eval=times, rtol=1e-7, atol=1e-9, max_step=10).y
        volts = np.array([reference.scaled_voltage(c[:-1], current_A, r) for c in x.T])
        bound_V = cell.window.voltage_max_V - volts.max() if current_A > 0 else volts.min() - cell.window.voltage_min_V
        for_ever = start_degC + x[-1, -1] / 600 * reference.thermal_resistance_K_per_W
        return min(bound_V, 0.01 * (degC - max(x[-3, -1], for_ever)))

    for direction in (limit.charge, limit.discharge):
        expected = vk.LimitReason.voltage if case == 0 else vk.LimitReason.temperature
        assert direction.reason == expected
        low_A, high_A = 0.9 * direction.current_A, 1.1 * direction.current_A
        expected_A = brentq(lambda a: min(room(g.state, a) for g in groups), low_A, high_A, rtol=1e-6)
        assert direction.current_A == pytest.approx(expected_A, rel=1.5e-3), (SEED, case)


def test_heat_decides_like_in_scipy(cell):
    cell = wide_cell(cell, voltage_min_V=0.5, voltage_max_V=5.5, discharge_temperature_max_degC=22.0)
    reference = ReferenceCell(cell)
    random = np.random.default_rng(SEED)
    groups = [vk.GroupState(state=random_state(random, 19.0, 21.0)) for _ in range(3)]
    (limit,) = vk.pack_limits(series_pack(cell, 3), groups, [30.0], settings=plain())
    assert limit.discharge.reason == vk.LimitReason.temperature
    assert limit.discharge.binding_value == 22

    def worst(current_A: float) -> float:
        return min(slack(reference, cell.window, group.state, current_A, 30.0) for group in groups)

    expected_A = brentq(worst, 0.9 * limit.discharge.current_A, 1.1 * limit.discharge.current_A, rtol=1e-6)
    assert limit.discharge.current_A == pytest.approx(expected_A, rel=1e-3)


def test_a_pack_of_one_cell_is_the_cell(cell):
    state = vk.ModelState(soc=0.4, temperature_degC=11.0)
    horizons_s = [2.0, 10.0, 30.0, CONTINUOUS]
    alone = vk.current_limits(cell, state, horizons_s)
    pack = vk.pack_limits(series_pack(cell, 5, 3), [vk.GroupState(state=state)], settings=plain())
    assert [limit.horizon_s for limit in pack] == horizons_s
    for one, all_ in zip(alone, pack, strict=True):
        for of_one, of_all in ((one.charge, all_.charge), (one.discharge, all_.discharge)):
            assert of_all.current_A == pytest.approx(3 * of_one.current_A, rel=2e-3)
            assert of_all.power_W == pytest.approx(15 * of_one.power_W, rel=5e-3)
            assert of_all.reason == of_one.reason


def test_contactor_fuse_and_parts_of_a_pack_count(root):
    pack = vk.load_pack(root / "examples" / "invented_pack.json")
    groups = [vk.GroupState(state=vk.ModelState(soc=0.6, temperature_degC=25.0))]
    short, *_, lasting = vk.pack_limits(pack, groups)
    # Two fuses of 50 A: 50 sqrt(0.8) each for ever, more for 2 s.
    assert lasting.discharge.current_A >= -2 * 50 * math.sqrt(0.8) - 0.1
    assert short.discharge.current_A < lasting.discharge.current_A
    ceiling = vk.PackPart(kind=vk.LimitReason.driver, discharge_A=20.0, charge_A=20.0)
    cable = vk.PackPart(
        kind=vk.LimitReason.cable, string="port", rated_A=5.0, curve_time_s=[1, 100], curve_current_A=[9, 6]
    )
    limited = vk.pack_limits(pack, groups, parts=[ceiling])
    assert {limit.discharge.current_A for limit in limited} == {-20.0}
    assert {limit.discharge.reason for limit in limited} == {vk.LimitReason.driver}
    by_cable = vk.pack_limits(pack, groups, [CONTINUOUS], [cable])[0].discharge
    assert by_cable.reason == vk.LimitReason.cable
    assert by_cable.string == 0
    assert by_cable.current_A == pytest.approx(-10, rel=1e-3)  # the other string takes as much
    string = pack.strings
    string[0].contactor.closed = False
    pack.strings = string
    alone = vk.pack_limits(pack, groups, [CONTINUOUS])[0].discharge
    assert alone.string == 1
    assert alone.current_A == pytest.approx(lasting.discharge.current_A / 2, rel=2e-3)


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"groups": 2}, "2 states, the pack has 5 groups"),
        ({"soc": 1.2}, r"groups\[0\]\.soc: 1\.2 is outside -0\.05 \.\. 1\.05"),
        ({"soc_std": -0.1}, r"groups\[0\]\.soc_std: -0\.1 is outside 0 \.\. 1"),
        ({"capacity_scale": 0.0}, r"groups\[0\]\.capacity_scale: 0 is outside 0\.01 \.\. 10"),
        ({"part": {"kind": vk.LimitReason.soc}}, r"kind\[0\]: 2 against 5"),
        ({"part": {"kind": vk.LimitReason.fuse, "string": "stern"}}, 'there is no string "stern"'),
        ({"part": {"kind": vk.LimitReason.fuse, "curve_time_s": [1, 2]}}, "curve_current_A has 0"),
        ({"horizons_s": [10.0, 2.0]}, "must rise"),
        ({"settings": vk.PackLimitSettings(sigmas=-1.0)}, r"settings\.sigmas: -1 against 0"),
    ],
)
def test_what_cannot_be_used_is_named(cell, change, text):
    pack = series_pack(cell, 5)
    state = vk.ModelState(soc=change.get("soc", 0.5), soc_std=change.get("soc_std", 0.0))
    group = vk.GroupState(state=state, capacity_scale=change.get("capacity_scale", 1.0))
    parts = [vk.PackPart(**change["part"])] if "part" in change else []
    with pytest.raises(vk.DataError, match=text):
        vk.pack_limits(
            pack,
            [group] * change.get("groups", 1),
            change.get("horizons_s", [10.0]),
            parts,
            change.get("settings", vk.PackLimitSettings()),
        )


def test_a_map_holds_what_single_calls_give(cell):
    soc, degC = [0.1, 0.5, 0.95], [-10.0, 3.0, 25.0]
    found = vk.limit_map(cell, soc, degC, 30.0)
    pack = series_pack(cell, 4, 2)
    of_pack = vk.limit_map(pack, soc, degC, 30.0)
    assert found.charge_A.shape == of_pack.discharge_W.shape == (3, 3)
    for row, temperature_degC in enumerate(degC):
        for column, s in enumerate(soc):
            state = vk.ModelState(soc=s, temperature_degC=temperature_degC)
            (one,) = vk.current_limits(cell, state, [30.0])
            assert found.charge_A[row, column] == one.charge.current_A
            assert found.discharge_W[row, column] == one.discharge.power_W
            assert found.discharge_reason[row][column] == one.discharge.reason
            (all_,) = vk.pack_limits(pack, [vk.GroupState(state=state)], [30.0])
            assert of_pack.charge_A[row, column] == all_.charge.current_A
            assert of_pack.charge_reason[row][column] == all_.charge.reason
    assert np.all(found.charge_A[0] == 0)  # below the plating temperature
    with pytest.raises(vk.DataError, match="soc: has no values"):
        vk.limit_map(cell, [], degC)


def test_charge_tapers_to_the_plating_temperature(cell):
    """Never a cliff: 0.25 K change the limit by no more than a twentieth of the whole."""
    degC = np.arange(-2.0, 12.0, 0.25)
    found = vk.limit_map(series_pack(cell, 3), [0.5], degC, 10.0)
    current_A = found.charge_A[:, 0]
    assert np.all(current_A[degC < cell.window.charge_temperature_min_degC] == 0)
    assert np.all(np.diff(current_A) >= -1e-6)
    assert np.abs(np.diff(current_A)).max() <= 0.06 * current_A.max()


def test_a_tracker_uses_up_pulses_and_lets_them_recover(cell):
    pack = series_pack(cell, 4)
    limits = vk.pack_limits(pack, [vk.GroupState(state=vk.ModelState(soc=0.6, temperature_degC=25.0))])
    tracker = vk.LimitTracker(vk.TrackerSettings(opening_time_s=0.0, band=0.0))
    told = tracker.update(limits, 0.0, 0.1)
    assert told[1].discharge.current_A == limits[1].discharge.current_A
    for _ in range(100):
        told = tracker.update(limits, limits[1].discharge.current_A, 0.1)
    assert tracker.discharge_used(1) == pytest.approx(1.0, abs=1e-6)
    for _ in range(2000):
        told = tracker.update(limits, 0.0, 0.1)
    assert told[1].discharge.current_A == pytest.approx(limits[1].discharge.current_A)
    with pytest.raises(vk.DataError, match="band"):
        vk.LimitTracker(vk.TrackerSettings(band=0.7))
    with pytest.raises(vk.DataError, match="not a number"):
        tracker.update(limits, math.nan, 0.1)
    with pytest.raises(IndexError):
        tracker.discharge_used(99)


def test_torque_from_power():
    drive = vk.TorqueDrive(torque_max_Nm=200.0, efficiency=0.9, auxiliary_W=300.0)
    limit = vk.torque_limits(drive, 5e3, -20e3, 150.0)
    assert limit.motoring_Nm == pytest.approx((20e3 - 300) * 0.9 / 150, rel=1e-5)
    assert limit.regeneration_Nm == pytest.approx(-5e3 / 0.9 / 150, rel=1e-5)
    grid = vk.EfficiencyGrid(speed_rad_s=[0, 300], torque_Nm=[0, 200], efficiency=[[0.8, 0.8], [0.8, 0.8]])
    tabled = vk.torque_limits(drive, 5e3, -20e3, 150.0, grid, grid)
    assert tabled.motoring_Nm == pytest.approx((20e3 - 300) * 0.8 / 150, rel=1e-5)
    grid.efficiency = [[0.8, 0.8], [0.8, 1.2]]
    with pytest.raises(vk.DataError, match=r"drive\.efficiency_table\.efficiency"):
        vk.torque_limits(drive, 5e3, -20e3, 150.0, grid)
    grid.efficiency = [[0.8, 0.8]]
    with pytest.raises(vk.DataError, match="efficiency: has 1 rows"):
        vk.torque_limits(drive, 5e3, -20e3, 150.0, grid)
    with pytest.raises(vk.DataError, match="charge_power_W -1 must be"):
        vk.torque_limits(drive, -1.0, -20e3, 150.0)


def test_files_of_parts(root, tmp_path):
    example = root / "examples" / "invented_parts.json"
    parts = vk.load_pack_parts(example)
    assert [part.kind.name for part in parts] == ["cable", "connector", "drive"]
    assert list(parts[0].curve_current_A) == [400, 210, 140, 100]
    assert math.isinf(parts[0].charge_A)
    vk.save_pack_parts(tmp_path / "again.json", parts, "a test")
    again = vk.load_pack_parts(tmp_path / "again.json")
    for one, other in zip(parts, again, strict=True):
        for field in ("kind", "string", "charge_A", "discharge_A", "rated_A", "i2t_A2s", "used_share", "warmth"):
            assert getattr(one, field) == getattr(other, field)
        assert list(one.curve_time_s) == list(other.curve_time_s)
    schema = json.loads((root / "data" / "schema" / "pack_parts.schema.json").read_text(encoding="utf-8"))
    document = json.loads((tmp_path / "again.json").read_text(encoding="utf-8"))
    Draft202012Validator(schema).validate(document)
    for change, text in (
        ({"kind": "keel"}, r"made: /parts/0/kind"),
        ({"kind": "fuse", "rated_a": 3}, "rated_A"),
        ({"kind": "fuse", "rated_A": -3}, r"/parts/0/rated_A: -3"),
        ({"kind": "fuse", "i2t_A2s": 3}, r"made: parts\[0\]\.rated_A: inf"),
        ({"kind": "fuse", "curve_time_s": [1, 2]}, "has 2 values, curve_current_A has 0"),
        ({"kind": "fuse", "curve_time_s": [2, 1], "curve_current_A": [3, 2]}, r"parts\[0\]\.curve\.time_s\[1\]"),
    ):
        with pytest.raises(vk.DataError, match=text):
            vk.parse_pack_parts(json.dumps({**document, "parts": [change]}), "made")


def run(*options: object) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "voltkeel.command_line", "limits", *[str(option) for option in options]]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def test_the_command_for_a_pack(root, tmp_path):
    pack = root / "examples" / "invented_pack.json"
    shown = run("--pack", pack, "--soc", 0.3, "--temperature-degC", 12)
    assert shown.returncode == 0, shown.stderr
    assert "continuous" in shown.stdout
    assert "allowed for the pack" in shown.stdout
    machine = run("--pack", pack, "--soc", 0.3, "--temperature-degC", 12, "--json", "--csv", tmp_path / "l.csv")
    document = json.loads(machine.stdout)
    assert [h["horizon_s"] for h in document["horizons"]] == [2, 10, 30, "continuous"]
    expected = vk.pack_limits(vk.load_pack(pack), [vk.GroupState(state=vk.ModelState(soc=0.3, temperature_degC=12))])
    assert document["horizons"][1]["discharge"]["current_A"] == pytest.approx(expected[1].discharge.current_A)
    assert document["horizons"][1]["discharge"]["string"] in ("port", "starboard")
    assert (tmp_path / "l.csv").read_text().startswith("horizon_s,charge_A")
    worse = run("--pack", pack, "--soc", *([0.3] * 5 + [0.04] + [0.3] * 22), "--temperature-degC", 12, "--json")
    first = json.loads(worse.stdout)["horizons"][1]["discharge"]
    assert (first["string"], first["group"]) == ("port", 5)
    parts = root / "examples" / "invented_parts.json"
    driven = run("--pack", pack, "--soc", 0.7, "--temperature-degC", 25, "--parts", parts, "--json")
    by_drive = json.loads(driven.stdout)["horizons"][0]["discharge"]
    assert (by_drive["reason"], by_drive["current_A"]) == ("drive", -110)
    wrong = run("--pack", pack, "--soc", 0.3, 0.4, "--temperature-degC", 12)
    assert wrong.returncode != 0
    assert "--soc: has 2 values, needs 1 or one for each of 28 groups" in wrong.stderr


def test_the_command_draws_a_map(root, tmp_path):
    cell = root / "examples" / "invented_cell.json"
    picture, numbers = tmp_path / "map.png", tmp_path / "map.csv"
    done = run("--cell", cell, "--map", picture, "--csv", numbers)
    assert done.returncode == 0, done.stderr
    assert picture.read_bytes().startswith(b"\x89PNG")
    rows = numbers.read_text().splitlines()
    names = "temperature_degC,soc,charge_A,discharge_A,charge_W,discharge_W,charge_reason,discharge_reason"
    assert rows[0] == names
    assert len(rows) == 1 + 51 * 37
    both = run(
        "--pack", root / "examples" / "invented_pack.json", "--map", tmp_path / "map.svg", "--horizon-s", "continuous"
    )
    assert both.returncode == 0, both.stderr
    needed = run("--cell", cell, "--soc", 0.5)
    assert needed.returncode != 0
    assert "--temperature-degC are both needed" in needed.stderr


def test_twins_say_the_same(root):
    """The example in C++ is run by CTest; where it is built, both must print the same."""
    program = root / "build" / "release" / "examples" / "09_pull_off"
    python = subprocess.run(
        [sys.executable, "examples/09_pull_off.py"], capture_output=True, text=True, check=True, cwd=root
    )
    assert "the voltage reaches the end of its window, group 9" in python.stdout
    if not program.exists():
        pytest.skip("the C++ examples are not built")
    cpp = subprocess.run([program], capture_output=True, text=True, check=True, cwd=root)
    assert cpp.stdout == python.stdout


def limits_command(*words: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "voltkeel.command_line", "limits", *map(str, words)],
        capture_output=True,
        text=True,
        check=False,
    )


def test_command_takes_sigmas_flags_and_a_drive(root, tmp_path):
    path = root / "examples" / "invented_pack.json"
    pack = vk.load_pack(path)
    words = ["--pack", path, "--soc", 0.3, "--temperature-degC", 20, "--soc-std", 0.03, "--horizon-s", 10, "--json"]

    def horizon(*more: object) -> dict:
        done = limits_command(*words, *more)
        assert done.returncode == 0, done.stderr
        return json.loads(done.stdout)["horizons"][0]

    def expected(current_flagged: bool = False, sigmas: float = 2.0, **flags: bool) -> vk.PackHorizonLimit:
        groups = []
        for g in range(vk.group_count(pack)):
            state = vk.ModelState(soc=0.3, soc_std=0.03, temperature_degC=20)
            groups.append(vk.GroupState(state=state, **(flags if g == 3 else {})))
        settings = vk.PackLimitSettings(every_group=True, sigmas=sigmas)
        return vk.pack_limits(pack, groups, [10.0], [], settings, current_flagged)[0]

    usual = horizon()
    assert usual["discharge"]["current_A"] == pytest.approx(expected().discharge.current_A, rel=1e-12)
    sure = horizon("--sigmas", 0)
    assert sure["discharge"]["current_A"] == pytest.approx(expected(sigmas=0.0).discharge.current_A, rel=1e-12)
    for option, flags in (
        ("--voltage-flagged", {"voltage_flagged": True}),
        ("--temperature-flagged", {"temperature_flagged": True}),
    ):
        flagged = horizon(option, 3)
        assert flagged["discharge"]["current_A"] == pytest.approx(expected(**flags).discharge.current_A, rel=1e-12)
        assert abs(flagged["discharge"]["current_A"]) <= abs(usual["discharge"]["current_A"])
    by_current = horizon("--current-flagged")
    assert by_current["discharge"]["current_A"] == pytest.approx(expected(True).discharge.current_A, rel=1e-12)

    # Where the pack decides, motoring T w / e and the auxiliary load are its power; braking, T w e is.
    speed_rad_s, efficiency, auxiliary_W = 100.0, 0.8, 300.0
    drive = ["--speed-rad-s", speed_rad_s, "--torque-max-Nm", 1000, "--efficiency", efficiency]
    drive += ["--regeneration-efficiency", 0.7, "--auxiliary-W", auxiliary_W]
    driven = horizon(*drive)
    motoring_Nm = (-driven["discharge"]["power_W"] - auxiliary_W) * efficiency / speed_rad_s
    assert driven["torque"]["motoring_Nm"] == pytest.approx(motoring_Nm, rel=1e-5)
    assert driven["torque"]["motoring_by_pack"]
    braking_Nm = -driven["charge"]["power_W"] / 0.7 / speed_rad_s
    assert driven["torque"]["regeneration_Nm"] == pytest.approx(braking_Nm, rel=1e-5)
    table = limits_command(*words[:-1], *drive)
    assert f"Torque at {speed_rad_s:g} rad/s" in table.stdout
    assert f"{driven['torque']['motoring_Nm']:.2f}" in table.stdout
    done = limits_command(*words[:-1], *drive, "--csv", tmp_path / "limits.csv")
    assert done.returncode == 0, done.stderr
    names, values = (tmp_path / "limits.csv").read_text(encoding="utf-8").splitlines()
    row = dict(zip(names.split(","), values.split(","), strict=True))
    assert float(row["motoring_Nm"]) == pytest.approx(driven["torque"]["motoring_Nm"], rel=1e-5)
    small = horizon("--speed-rad-s", speed_rad_s, "--torque-max-Nm", 2)
    assert small["torque"]["motoring_Nm"] == 2
    assert not small["torque"]["motoring_by_pack"]


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (("--voltage-flagged", 28), "--voltage-flagged: 28 is outside 0 .. 27"),
        (("--voltage-flagged", -1), "-1"),
        (("--speed-rad-s", 10), "give --torque-max-Nm"),
        (("--efficiency", 0.9), "--efficiency tells of a drive"),
        (("--speed-rad-s", 10, "--torque-max-Nm", 5, "--efficiency", 1.5), "1.5"),
        (("--sigmas", 11), "11"),
    ],
)
def test_command_names_what_of_it_is_wrong(root, words, part):
    path = root / "examples" / "invented_pack.json"
    done = limits_command("--pack", path, "--soc", 0.3, "--temperature-degC", 20, *words)
    assert done.returncode == 2
    assert part in done.stderr


@pytest.mark.parametrize("words", [("--voltage-flagged", 0), ("--current-flagged",), ("--speed-rad-s", 1)])
def test_command_of_a_cell_has_no_groups_and_no_drive(root, words):
    path = root / "examples" / "invented_cell.json"
    done = limits_command("--cell", path, "--soc", 0.3, "--temperature-degC", 20, *words)
    assert done.returncode == 2
    assert f"{words[0]} is for --pack" in done.stderr

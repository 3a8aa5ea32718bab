"""Loads from speed traces, against an integration by SciPy of equations written down here, and from a shell."""

from __future__ import annotations

import csv
import itertools
import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import voltkeel as vk
from scipy.integrate import quad
from scipy.optimize import brentq

ROOT = Path(__file__).resolve().parents[2]
TRACE = ROOT / "examples" / "harbour_shift.csv"
BOAT = ROOT / "examples" / "invented_workboat.json"


def pack_power_W(v: vk.RoadVehicle, speed: float, acceleration: float, grade: float) -> float:
    """The whole chain, written anew: angle of the road, forces, wheels, drive or brakes, pack."""
    angle = np.arctan(grade)
    force = (
        v.rolling_resistance * v.mass_kg * 9.80665 * np.cos(angle)
        + 0.5 * v.air_density_kg_per_m3 * v.drag_area_m2 * speed**2
        + v.mass_kg * 9.80665 * np.sin(angle)
        + v.rotating_mass_factor * v.mass_kg * acceleration
    )
    wheels = force * speed
    if wheels >= 0:
        return -min(wheels / v.drive_efficiency, v.drive_power_max_W) - v.auxiliary_power_W
    fade = np.clip(
        (speed - v.regeneration_start_m_per_s) / (v.regeneration_full_m_per_s - v.regeneration_start_m_per_s), 0, 1
    )
    back = -wheels * v.regeneration_share * fade * v.regeneration_efficiency
    return min(back, v.regeneration_power_max_W) - v.auxiliary_power_W


def test_road_load_is_the_integral_that_scipy_finds(random):
    vehicle = vk.RoadVehicle(
        mass_kg=1234, drive_power_max_W=25e3, regeneration_power_max_W=9e3, regeneration_full_m_per_s=8
    )
    time_s = np.cumsum(random.uniform(0.5, 6, 80))
    speed = np.abs(np.cumsum(random.normal(0, 3, 80)))
    speed[random.uniform(size=80) < 0.1] = 0
    grade = random.uniform(-0.08, 0.08, 80)
    load = vk.road_load(vehicle, vk.SpeedTrace(time_s=time_s, speed_m_per_s=speed, grade=grade))
    kinks = 0
    for k in range(1, 80):
        dt = time_s[k] - time_s[k - 1]
        acceleration = (speed[k] - speed[k - 1]) / dt

        def power(t: float, k: int = k, acceleration: float = acceleration) -> float:
            return pack_power_W(vehicle, speed[k - 1] + acceleration * t, acceleration, grade[k])

        # In pieces, so that SciPy sees every bend.
        ends = np.linspace(0, dt, 201)
        expected = sum(quad(power, a, b)[0] for a, b in itertools.pairwise(ends)) / dt
        assert load.power_W[k] == pytest.approx(expected, rel=1e-6, abs=1e-3), k
        kinks += load.shortfall_W[k] > 0
    assert kinks > 3  # the bound was met
    assert load.power_W.max() > 0  # and braking charged


def test_propeller_load_is_the_integral_that_scipy_finds(random):
    boat = vk.Boat(exponent=3.4, shaft_power_max_W=20e3)
    time_s = np.cumsum(random.uniform(1, 60, 40))
    speed = random.uniform(0, 4, 40)
    load = vk.propeller_load(boat, vk.SpeedTrace(time_s=time_s, speed_m_per_s=speed))
    bend = brentq(lambda v: 15e3 * (v / 3) ** 3.4 - 20e3, 1, 10)
    for k in range(1, 40):
        a, b = sorted(speed[k - 1 : k + 1])
        shaft, _ = quad(lambda v: min(15e3 * (v / 3) ** 3.4, 20e3), a, b, points=[bend] if a < bend < b else None)
        assert load.power_W[k] == pytest.approx(-shaft / (b - a) / 0.88 - 400, rel=1e-9), k


def test_progress_is_told_and_cancels():
    n = 20_000
    trace = vk.SpeedTrace(time_s=np.arange(n), speed_m_per_s=10 + np.sin(np.arange(n)))
    shares: list[float] = []
    vk.road_load(vk.RoadVehicle(), trace, shares.append)
    assert shares == sorted(shares)
    assert len(shares) >= 3
    with pytest.raises(vk.DataError, match="cancelled"):
        vk.road_load(vk.RoadVehicle(), trace, lambda share: False)


def test_write_csv_from_python(tmp_path):
    path = tmp_path / "x.csv"
    vk.write_csv(path, ["time_s", "power_W"], [[0, 1], np.array([0.1, -1 / 3])], significant_digits=17)
    read = np.loadtxt(path, delimiter=",", skiprows=1)
    assert read.tolist() == [[0, 0.1], [1, -1 / 3]]
    with pytest.raises(vk.DataError):
        vk.write_csv(path, ["time_s"], [[0, np.nan]])
    assert np.loadtxt(path, delimiter=",", skiprows=1).tolist() == read.tolist()


def test_an_efficiency_depends_on_the_power():
    """A curve of two points: at half the rated power the mean of both efficiencies, and its inverse by NumPy."""
    curve = vk.EfficiencyCurve(power_fraction=[0.0, 1.0], efficiency=[0.7, 0.9])
    boat = vk.Boat(drive_efficiency_curve=curve, shaft_power_max_W=30e3, auxiliary_power_W=0.0)
    trace = vk.SpeedTrace(time_s=[0, 10], speed_m_per_s=[3, 3])  # 15 kW at the shaft
    load = vk.propeller_load(boat, trace)
    assert load.power_W[1] == pytest.approx(-15e3 / 0.8, rel=1e-12)
    assert load.drive_Wh == pytest.approx(15e3 / 0.8 * 10 / 3600, rel=1e-12)
    fractions = np.linspace(0, 1, 10001)
    efficiencies = np.interp(fractions, curve.power_fraction, curve.efficiency)
    for electric in (0.1, 0.5, 0.8):
        motor = np.interp(electric, fractions / efficiencies, fractions)
        assert vk.motor_fraction(curve, electric) == pytest.approx(motor, rel=1e-6)
        generator = np.interp(electric, fractions * efficiencies, fractions)
        assert vk.generator_fraction(curve, electric) == pytest.approx(generator, rel=1e-6)
    with pytest.raises(vk.DataError, match=r"curve.efficiency\[1\]: 1.5 must be above 0 and at most 1"):
        vk.check_efficiency_curve("curve", vk.EfficiencyCurve(power_fraction=[0, 1], efficiency=[0.7, 1.5]))


def test_the_schema_has_the_fields_defaults_and_bounds_of_the_code():
    schema = json.loads((ROOT / "data" / "schema" / "vehicle.schema.json").read_text(encoding="utf-8"))
    for kind, thing, check in (
        ("road", vk.RoadVehicle(regeneration_full_m_per_s=150), vk.check_road_vehicle),
        ("boat", vk.Boat(), vk.check_boat),
    ):
        usual = type(thing)()
        part = schema["properties"][kind]
        fields = part["properties"]
        assert {name for name in dir(thing) if not name.startswith("_")} == {"name", *fields}
        for name, field in fields.items():
            if name == "coast_down" or name.endswith("_curve"):
                assert getattr(usual, name) is None
                continue
            assert ("default" in field) != (name in part["required"]), name
            if "default" in field:
                assert getattr(usual, name) == field["default"], name
            for bound in ("minimum", "maximum", "exclusiveMinimum"):
                if bound not in field:
                    continue
                inside = bound != "exclusiveMinimum"
                at = field[bound]
                beyond = at + (1e-6 * abs(at) + 1e-9) * (1 if bound == "maximum" else -1)
                for value, allowed in ((at, inside), (beyond, False)):
                    changed = type(thing)(**{key: getattr(thing, key) for key in fields} | {name: value})
                    if name == "regeneration_full_m_per_s":
                        changed.regeneration_start_m_per_s = 0
                    if allowed:
                        check(changed)
                    else:
                        with pytest.raises(vk.DataError, match=name):
                            check(changed)


# Time in s and distance in m of published driving cycles; the traces come from whoever runs the tests.
CYCLES = {
    "udds": (1369, 7.45 * 1609.344),  # 40 CFR 86 appendix I(a): 7.45 to 7.5 miles as listed
    "hwfet": (765, 10.26 * 1609.344),  # 40 CFR 600
    "us06": (596, 8.01 * 1609.344),  # the appendix, 40 CFR 86 I(g), is from memory
}


@pytest.mark.parametrize("name", CYCLES)
def test_distance_of_a_published_cycle(name, drive_cycles):
    path = drive_cycles / f"{name}.csv"
    if not path.is_file():
        pytest.skip(f"{path} is not there")
    trace = vk.read_speed_trace(path)
    time_s, distance_m = CYCLES[name]
    assert trace.time_s[-1] - trace.time_s[0] == pytest.approx(time_s, abs=5)
    assert vk.distance_m(trace) == pytest.approx(distance_m, rel=5e-3)


def test_distance_of_the_worldwide_cycle():
    """UN GTR 15, class 3b: 1800 s, 23 266 m, at most 131.3 km/h; the trace is the one the package wltp carries."""
    cycles = pytest.importorskip("wltp.cycles.class3", reason="pip install --no-deps 'wltp>=0.1.2a0' for the trace")
    speed_km_per_h = np.array(cycles.class_data_b()["cycle"])
    trace = vk.SpeedTrace(time_s=np.arange(len(speed_km_per_h)), speed_m_per_s=speed_km_per_h / 3.6)
    assert trace.time_s[-1] - trace.time_s[0] == 1800
    assert vk.distance_m(trace) == pytest.approx(23266, rel=5e-3)
    assert max(trace.speed_m_per_s) * 3.6 == pytest.approx(131.3)
    # Of the phases only the memory of a reader tells: low, medium, high and extra high, in m.
    ends = [0, 589, 1022, 1477, 1800]
    for start, end, distance_m in zip(ends[:-1], ends[1:], (3095, 4756, 7162, 8254), strict=True):
        part = vk.SpeedTrace(time_s=trace.time_s[start : end + 1], speed_m_per_s=trace.speed_m_per_s[start : end + 1])
        assert vk.distance_m(part) == pytest.approx(distance_m, rel=5e-3)


# ---------------------------------------------------------------- from a shell


def run(*words: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "voltkeel.command_line", "load", *map(str, words)],
        capture_output=True,
        text=True,
        check=False,
    )


def test_load_of_the_invented_boat(tmp_path):
    out = tmp_path / "load.csv"
    done = run("--speed", TRACE, "--vehicle", BOAT, "--out", out, "--plot", tmp_path / "load.png")
    assert done.returncode == 0, done.stderr
    assert "kWh" in done.stdout
    assert (tmp_path / "load.png").stat().st_size > 10_000
    with out.open(encoding="utf-8") as file:
        rows = [{key: float(value) for key, value in row.items()} for row in csv.DictReader(file)]
    boat = vk.load_vehicle(BOAT)
    load = vk.propeller_load(boat, vk.read_speed_trace(TRACE))
    assert [row["power_W"] for row in rows] == pytest.approx(load.power_W, rel=1e-8)
    assert all(row["power_W"] < 0 for row in rows)  # driving discharges
    document = json.loads((tmp_path / "load.provenance.json").read_text(encoding="utf-8"))
    assert document["net_Wh"] == load.net_Wh
    assert document["speed"]["rows"] == len(rows)
    assert len(document["vehicle"]["sha256"]) == 64


def test_load_of_a_road_vehicle_for_machines(tmp_path):
    vehicle, speed, out = tmp_path / "van.json", tmp_path / "way.csv", tmp_path / "load.csv"
    vk.save_vehicle(vehicle, vk.RoadVehicle(name="van (invented)", mass_kg=1800))
    speed.write_text("time_s,speed\n0,0\n20,50\n60,50\n75,0\n", encoding="utf-8")
    done = run("--speed", speed, "--vehicle", vehicle, "--out", out, "--speed-unit", "km_per_h", "--json")
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    assert document["kind"] == "road"
    assert document["distance_m"] == pytest.approx((10 + 40 + 7.5) * 50 / 3.6)
    assert document["power_max_W"] > 0 > document["net_Wh"]


@pytest.mark.parametrize(
    ("trace", "said"),
    [
        ("time_s,speed\n0,0\n1,1\n", "does not tell its unit"),
        ("time_s,speed_kn\n0,0\n1,-1\n", "way.csv:3: speed_kn: '-1' is outside"),
        (None, "way.csv"),
    ],
)
def test_what_cannot_be_used_ends_with_one_line(tmp_path, trace, said):
    speed, out = tmp_path / "way.csv", tmp_path / "load.csv"
    if trace is not None:
        speed.write_text(trace, encoding="utf-8")
    done = run("--speed", speed, "--vehicle", BOAT, "--out", out)
    assert done.returncode == 2
    assert said in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert list(tmp_path.glob("load*")) == []


def test_an_output_that_cannot_be_is_refused_before_anything_is_written(tmp_path):
    speed = tmp_path / "way.csv"
    text = "time_s,speed_kn\n0,0\n60,4\n"
    speed.write_text(text, encoding="utf-8")
    done = run("--speed", speed, "--vehicle", BOAT, "--out", speed)
    assert done.returncode == 2
    assert "way.csv is read or written by this command already" in done.stderr
    done = run("--speed", speed, "--vehicle", BOAT, "--out", tmp_path / "load.csv", "--plot", tmp_path / "load.xyz")
    assert done.returncode == 2
    assert "must end in .png, .pdf or .svg" in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["way.csv"]
    assert speed.read_text(encoding="utf-8") == text


def test_times_of_a_clock_keep_their_steps(tmp_path):
    speed, vehicle, out = tmp_path / "way.csv", tmp_path / "van.json", tmp_path / "load.csv"
    vk.save_vehicle(vehicle, vk.RoadVehicle(name="van (invented)"))
    speed.write_text("time_s,speed_m_per_s\n1700000000.00,0\n1700000000.05,0.1\n1700000000.10,0.2\n", encoding="utf-8")
    done = run("--speed", speed, "--vehicle", vehicle, "--out", out, "--plot", tmp_path / "load.svg")
    assert done.returncode == 0, done.stderr
    assert [line.split(",")[0] for line in out.read_text(encoding="utf-8").splitlines()[1:]] == [
        "1700000000",
        "1700000000.05",
        "1700000000.1",
    ]
    assert "<svg" in (tmp_path / "load.svg").read_text(encoding="utf-8")


def test_plot_of_hours_beyond_the_drive(tmp_path):
    from voltkeel import plots

    load = vk.road_load(
        vk.RoadVehicle(drive_power_max_W=5e3),
        vk.SpeedTrace(time_s=[0, 3600, 7200, 14400], speed_m_per_s=[0, 30, 30, 0]),
    )
    plots.plot_load(load, tmp_path / "load.png", "van (invented)")
    assert (tmp_path / "load.png").stat().st_size > 10_000

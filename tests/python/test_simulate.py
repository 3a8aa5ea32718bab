"""The simulator from Python and from the command line: shapes, frames, cancelling, published numbers, bad input."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import voltkeel as vk

ROOT = Path(__file__).resolve().parents[2]
PACK = ROOT / "examples" / "invented_pack.json"
COOLING = ROOT / "examples" / "invented_cooling.json"


@pytest.fixture(scope="module")
def pack() -> vk.Pack:
    return vk.load_pack(PACK)


def run(*words: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "voltkeel.command_line", "simulate", *map(str, words)],
        capture_output=True,
        text=True,
        check=False,
    )


def csv_columns(path: Path) -> tuple[list[str], list[np.ndarray]]:
    names = path.read_text(encoding="utf-8").splitlines()[0].split(",")
    return names, list(np.loadtxt(path, delimiter=",", skiprows=1).T)


def test_a_run_comes_as_arrays_and_as_a_frame(pack):
    settings = vk.SimulationSettings(soc=0.8, output_interval_s=10.0, record_cells=True)
    result = vk.simulate(pack, [vk.power_load(-1000.0, 60.0)], settings)
    assert len(result) == 7
    assert result.time_s.tolist() == [0, 10, 20, 30, 40, 50, 60]
    assert result.string_current_A.shape == (7, 2)
    assert result.group_voltage_V.shape == (7, 28)
    assert result.cell_core_degC.shape == (7, 112)
    np.testing.assert_allclose(result.string_current_A.sum(axis=1), result.current_A, atol=1e-10)
    np.testing.assert_allclose(result.current_A * result.voltage_V, -1000.0, rtol=1e-12)
    np.testing.assert_allclose(result.group_voltage_V.min(axis=1), result.group_voltage_min_V)
    pandas = pytest.importorskip("pandas")
    frame = result.frame()
    assert isinstance(frame, pandas.DataFrame)
    assert list(frame.columns[:4]) == ["time_s", "current_A", "voltage_V", "power_W"]
    np.testing.assert_array_equal(frame["group_voltage_V:starboard:13"], result.group_voltage_V[:, 27])


def test_a_run_without_groups_has_none(pack):
    result = vk.simulate(pack, [vk.current_load(-1.0, 1.0)], vk.SimulationSettings(record_groups=False))
    assert result.group_voltage_V.shape == (2, 0)
    assert not any(name.startswith("group_voltage_V:") for name in result.columns())


def test_work_is_watched_and_cancelled(pack):
    seen: list[float] = []

    def watch(share: float) -> bool:
        seen.append(share)
        return len(seen) < 3

    load = [vk.current_load(-1.0 + 0.01 * (k % 7), 0.1) for k in range(50000)]
    with pytest.raises(vk.DataError, match="cancelled at"):
        vk.simulate(pack, load, progress=watch)
    assert 0 < seen[0] < seen[1] < seen[2] < 1


def test_differences_come_from_numpy(pack):
    factor = np.ones(112)
    factor[5] = 0.9
    settings = vk.SimulationSettings(soc=0.8, differences=vk.CellDifferences(capacity_factor=factor))
    result = vk.simulate(pack, [vk.current_load(-20.0, 600.0)], settings)
    assert np.argmin(result.end.soc) == 5
    settings.differences = vk.CellDifferences(capacity_factor=[1, 1, 1])
    with pytest.raises(vk.DataError, match=r"differences.capacity_factor: has 3 values"):
        vk.simulate(pack, [vk.current_load(-20.0, 600.0)], settings)


def test_a_stuck_group_is_seen_through_the_rig(pack):
    settings = vk.SimulationSettings(soc=0.8, output_interval_s=0.1, record_cells=True)
    result = vk.simulate(pack, [vk.current_load(-30.0, 20.0), vk.current_load(0.0, 20.0)], settings)
    fault = vk.SensorFault(channel="port groups", kind=vk.SensorFaultKind.stuck, value=2, start_s=10.0, end_s=30.0)
    shunt = vk.SensorSettings(channel="shunt", step=0.05, noise_std=0.02)
    readings = {r.channel: r for r in vk.read_sensors(pack, result, [shunt], [fault], seed=3)}
    groups = readings["port groups"]
    assert groups.value.shape == (81, 14)
    failing = (groups.time_s >= 10) & (groups.time_s < 30)
    assert np.ptp(groups.value[failing, 2]) == 0
    np.testing.assert_array_equal(groups.value[:, 3], groups.truth[:, 3])
    np.testing.assert_allclose(readings["shunt"].value / 0.05, np.round(readings["shunt"].value / 0.05), atol=1e-9)


def test_cooling_warms_up_before_charging(pack):
    loop = vk.LiquidLoop(start_degC=-10.0, heat_capacity_J_per_K=2000.0)
    loop.heater = vk.Heater(power_W=300.0)
    cooling = vk.CoolingSettings(kind=vk.CoolingKind.liquid, liquid=loop)
    cooling.air_temperature = vk.AirTemperature(time_s=[0.0], degC=[-10.0])
    answer = vk.warm_up(pack, cooling, vk.SimulationSettings(soc=0.3, temperature_degC=-10.0), 5.0)
    assert answer.reached
    assert answer.coldest_degC == pytest.approx(5.0, abs=1e-3)
    plant = vk.CoolingPlant(pack, cooling)
    settings = vk.SimulationSettings(soc=0.3, temperature_degC=-10.0, output_interval_s=60.0)
    result = vk.simulate(pack, [vk.current_load(0.0, answer.time_s)], settings, plant)
    assert result.core_min_degC[-1] == pytest.approx(5.0, abs=0.01)
    assert plant.trace.electric_J == pytest.approx(answer.electric_J, rel=1e-3)
    window = vk.temperature_window(result, 0.0, 40.0)
    assert not window.kept
    assert 0 < window.below_s < answer.time_s


def test_precharge_gives_the_published_numbers():
    """A resistor maker's calculator: 800 V, 47 ohm, 1 mF give 141 ms, 17.0 A, 13 617 W, 320 J."""
    result = vk.precharge(vk.Precharge(resistance_ohm=47.0, capacitance_F=1e-3), 800.0)
    assert result.time_s == pytest.approx(0.141, rel=2e-3)
    assert result.peak_current_A == pytest.approx(17.0, rel=2e-3)
    assert result.peak_power_W == pytest.approx(13617, rel=1e-4)
    assert result.whole_energy_J == pytest.approx(320)


# ---------------------------------------------------------------- command line


def test_the_command_answers_and_writes(tmp_path):
    load = tmp_path / "load.csv"
    load.write_text("time_s,power_W\n0,0\n300,-1500\n600,-100\n", encoding="utf-8")
    out, plot = tmp_path / "run.csv", tmp_path / "run.png"
    words = ("--pack", PACK, "--load", load, "--soc", "0.9", "--temperature-degC", "8", "24")
    words += ("--capacity-std", "0.02", "--output-interval-s", "10")
    done = run(*words, "--out", out, "--plot", plot)
    assert done.returncode == 0, done.stderr
    assert "string starboard" in done.stdout
    assert plot.stat().st_size > 10_000
    rows = out.read_text(encoding="utf-8").splitlines()
    assert len(rows) == 62
    assert rows[0].startswith("time_s,current_A,voltage_V,power_W")
    beside = [p for p in tmp_path.iterdir() if p.suffix == ".json"]
    assert len(beside) == 1
    said = json.loads(beside[0].read_text(encoding="utf-8"))
    assert said["pack"]["name"] == "invented_pack.json"
    assert len(said["load"]["load"]["sha256"]) == 64
    again = run(*words, "--json")
    document = json.loads(again.stdout)
    assert document["charge_Ah"] == said["charge_Ah"], "the same seed gives the same run"
    assert document["energy_Wh"] == pytest.approx((-1500 * 300 - 100 * 300) / 3600, rel=1e-9)
    assert document["events"] == []
    assert "Caution" in document["caution"]


def test_the_command_takes_a_speed_trace(tmp_path):
    boat = vk.load_vehicle(ROOT / "examples" / "invented_workboat.json")
    boat.reference_shaft_power_W, boat.auxiliary_power_W = 1500.0, 45.0  # a dinghy: the pack is small
    vehicle, cycle = tmp_path / "dinghy.json", ROOT / "examples" / "harbour_shift.csv"
    vk.save_vehicle(vehicle, boat)
    done = run("--pack", PACK, "--cycle", cycle, "--vehicle", vehicle, "--json")
    assert done.returncode == 0, done.stderr
    load = vk.propeller_load(boat, vk.read_speed_trace(cycle))
    document = json.loads(done.stdout)
    assert [event["kind"] for event in document["events"] if event["kind"] != "fuse_rating"] == []
    assert document["energy_Wh"] == pytest.approx(load.net_Wh, rel=1e-9)


def test_a_cooling_plant_comes_from_a_file(tmp_path):
    cooling = vk.load_cooling(COOLING)
    assert cooling.kind == vk.CoolingKind.liquid
    assert cooling.liquid.start_degC == cooling.air_temperature.at(0.0) == -4.0
    vk.save_cooling(tmp_path / "again.json", cooling)
    again = vk.load_cooling(tmp_path / "again.json")
    assert again.liquid.heater.element.off_degC == 12.0
    again.liquid = vk.LiquidLoop(flow_W_per_K=-1.0)
    with pytest.raises(vk.DataError, match=r"liquid.flow_W_per_K: -1 is outside"):
        vk.check_cooling(again)


def test_the_cooling_schema_has_the_fields_and_defaults_of_the_code():
    schema = json.loads((ROOT / "data" / "schema" / "cooling.schema.json").read_text(encoding="utf-8"))
    properties = schema["properties"]
    loop = properties["liquid"]["properties"]
    pairs = [
        (properties["air"]["properties"], vk.AirCooling()),
        (loop, vk.LiquidLoop()),
        (loop["radiator"]["properties"], vk.Radiator()),
        (loop["chiller"]["properties"], vk.Chiller()),
        (loop["heater"]["properties"], vk.Heater()),
    ]
    for fields, usual in pairs:
        assert {name for name in dir(usual) if not name.startswith("_")} == set(fields)
        for name, field in fields.items():
            value = getattr(usual, name)
            if isinstance(value, vk.ThermalSwitch):
                assert (
                    f"on {'above' if value.on_degC > value.off_degC else 'below'} {value.on_degC:g}"
                    in (field["description"])
                )
                assert (
                    f"off {'below' if value.on_degC > value.off_degC else 'above'} {value.off_degC:g} degC"
                    in (field["description"])
                )
            elif "default" in field:
                assert value == field["default"], name


@pytest.mark.parametrize(
    ("plant", "part"),
    [
        ({"air": {"fan": {"held": "off"}}}, None),
        ({"air": {"fan_power_W": 20, "fan": {"on_degC": 31, "off_degC": 30.5}}}, "flow"),
        (
            {
                "liquid": {
                    "pump": {"held": "on"},
                    "drive_loss_share": 0.05,
                    "charger_loss_share": 0.06,
                    "radiator": {"conductance_W_per_K": 40, "fan": {"held": "on"}},
                }
            },
            "radiator_fan",
        ),
        ({"liquid": {"chiller": {"power_W": 400, "compressor": {"on_degC": 29, "off_degC": 28}}}}, "chiller"),
    ],
)
def test_the_command_takes_every_kind_of_plant(tmp_path, plant, part):
    """Still air, moving air, a loop shared with drive and charger, a loop of the pack's own."""
    file, out, plot = tmp_path / "plant.json", tmp_path / "run.csv", tmp_path / "run.png"
    head = {"format": "voltkeel.cooling", "format_version": 1, "name": "invented"}
    head["air_temperature"] = {"time_s": [0, 3600], "degC": [30, 33]}
    file.write_text(json.dumps(head | plant), encoding="utf-8")
    words = ("--pack", PACK, "--power-W", "-3000", "--duration-s", "1800", "--soc", "0.9", "--cooling", file)
    done = run(*words, "--out", out, "--plot", plot, "--json", "--window-degC", "0", "30.2")
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    assert document["window"]["high_degC"] == 30.2
    assert document["window"]["kept"] == (part == "chiller")  # the only one that cools below the air
    assert (document["window"]["above_s"] == 0) == (part == "chiller")
    assert document["hottest"]["place"]["string"] in ("port", "starboard")
    assert document["warm_up"] == pytest.approx(
        {"target_degC": 0.0, "reached": True, "time_s": 0.0, "electric_Wh": 0.0, "coldest_degC": 30.0}
    )
    parts = document["cooling"]["parts"]
    on_s = {name: use["on_s"] for name, use in parts.items()}
    if part is None:
        assert set(on_s.values()) == {0.0}
    else:
        assert on_s[part] > 0
        assert parts[part]["starts"] >= 1
    columns = dict(zip(*csv_columns(out), strict=True))
    assert columns["air_degC"][-1] == pytest.approx(31.5, abs=1e-6)
    assert columns["coolant_degC"].max() == pytest.approx(document["cooling"]["coolant_degC"]["max"], abs=0.01)
    assert columns["flowing"].mean() * 1800 == pytest.approx(on_s["flow"], abs=2)
    assert plot.stat().st_size > 10_000
    beside = json.loads(next(p for p in tmp_path.glob("run.*json")).read_text(encoding="utf-8"))
    assert beside["load"]["cooling"]["name"] == "plant.json"
    shown = run(*words)
    assert "electricity of the plant" in shown.stdout
    assert "warm enough at the start" in shown.stdout


def test_the_plant_is_paid_by_the_pack_or_from_outside():
    words = ("--pack", PACK, "--power-W", "-500", "--duration-s", "600", "--soc", "0.5", "--cooling", COOLING, "--json")
    paid = {}
    for supply in ("pack", "outside"):
        paid[supply] = json.loads(run(*words, "--cooling-supply", supply).stdout)
        assert paid[supply]["cooling"]["supply"] == supply
        assert paid[supply]["cooling"]["electric_Wh"] > 10
    assert json.loads(run(*words).stdout) == paid["pack"], "the default of the file"
    assert paid["outside"]["plant_Wh"] == 0
    assert paid["pack"]["plant_Wh"] == pytest.approx(paid["pack"]["cooling"]["electric_Wh"], rel=1e-9)
    assert paid["outside"]["energy_Wh"] == pytest.approx(-500 / 6, rel=1e-9)
    assert paid["pack"]["energy_Wh"] == pytest.approx(-500 / 6 - paid["pack"]["plant_Wh"], rel=1e-9)


def test_the_command_tells_how_long_to_warm_up(pack):
    words = ("--pack", PACK, "--power-W", "-100", "--duration-s", "60", "--soc", "0.5", "--cooling", COOLING)
    said = json.loads(run(*words, "--warm-degC", "3", "--json").stdout)["warm_up"]
    settings = vk.SimulationSettings(soc=0.5, temperature_degC=-4.0)
    answer = vk.warm_up(pack, vk.load_cooling(COOLING), settings, 3.0)
    assert said["time_s"] == pytest.approx(answer.time_s)
    assert said["reached"]
    # All of the heater goes into cells and coolant: the air takes nothing while the radiator rests.
    thermal = pack.modules[0].cell.thermal
    least_J = (112 * thermal.heat_capacity_J_per_K + 12000.0) * 7.0
    assert least_J / 600.0 * 0.9 < said["time_s"] < least_J / 600.0 * 1.5
    # The cells start as cold as the air unless told.
    assert "from the start, at rest, to 0 degC" in run(*words).stdout


def test_the_command_tells_what_ended_the_run():
    done = run("--pack", PACK, "--current-A", "-40", "--soc", "0.2", "--no-heat")
    assert done.returncode == 0, done.stderr
    assert "a group fell below its voltage window (string port, group 0)" in done.stdout


def test_the_command_tells_that_a_fuse_opened(pack):
    done = run("--pack", PACK, "--current-A", "-240", "--duration-s", "30", "--soc", "0.9", "--no-heat", "--json")
    opened = [event for event in json.loads(done.stdout)["events"] if event["kind"] == "fuse_opened"]
    # Alike strings share evenly: 120 A through fuses of 50 A.
    alike_s = vk.fuse_opening_time_s(pack.strings[0].fuse, 120.0)
    assert [event["string"] for event in opened] == [0, 1]
    assert opened[0]["time_s"] == pytest.approx(alike_s, abs=2e-3)
    shown = run("--pack", PACK, "--current-A", "-240", "--duration-s", "30", "--soc", "0.9", "--no-heat")
    assert "a fuse opened (string port)" in shown.stdout


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--power-W", "-100", "--soc", "1", "1", "1"), "--soc: has 3 values, needs 1 or one for each of 2 strings"),
        (("--load", "nowhere.csv"), "nowhere.csv"),
        (("--load", "nowhere.csv", "--duration-s", "5"), "a file tells its own time"),
        (("--cycle", "nowhere.csv"), "--cycle needs --vehicle"),
        (("--current-A", "1", "--vehicle", "boat.json"), "--vehicle and --speed-unit go with --cycle"),
        (("--current-A", "1", "--soc", "1.5"), "SOC"),
        (("--current-A", "1", "--power-W", "1"), "not allowed with"),
        (("--current-A", "1", "--cooling", "nowhere.json"), "nowhere.json"),
        (("--current-A", "1", "--cooling", PACK), "/format"),
        (("--current-A", "1", "--cooling", COOLING, "--no-heat"), "there is nothing to cool"),
        (("--current-A", "1", "--warm-degC", "5"), "--warm-degC goes with --cooling"),
        (("--current-A", "1", "--cooling-supply", "pack"), "--cooling-supply goes with --cooling"),
        (("--current-A", "1", "--window-degC", "5", "1"), "must be below high_degC"),
        ((), "required"),
    ],
)
def test_bad_input_ends_with_2(words, says):
    done = run("--pack", PACK, *words)
    assert done.returncode == 2
    assert says in done.stderr

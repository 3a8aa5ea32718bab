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


def test_the_command_tells_what_ended_the_run():
    done = run("--pack", PACK, "--current-A", "-40", "--soc", "0.2", "--no-heat")
    assert done.returncode == 0, done.stderr
    assert "a group fell below its voltage window (string port, group 0)" in done.stdout


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
        ((), "required"),
    ],
)
def test_bad_input_ends_with_2(words, says):
    done = run("--pack", PACK, *words)
    assert done.returncode == 2
    assert says in done.stderr

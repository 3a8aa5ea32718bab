"""Usable energy, consumption and charge times: against SciPy, and the commands as a user runs them."""

from __future__ import annotations

import hashlib
import json
import subprocess
import sys
from pathlib import Path

import jsonschema
import numpy as np
import pytest
import voltkeel as vk
from conftest import make_cell
from reference_model import ReferenceCell
from scipy.integrate import solve_ivp

NAN = float("nan")


def run(*words: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "voltkeel.command_line", *map(str, words)], capture_output=True, text=True, check=False
    )


def scipy_energy_Wh(
    cell: vk.Cell, groups: list[vk.GroupState], power_W: float, parallel: int, ambient_degC: float
) -> float:
    """Integrate all groups under a held power until the first is at its lowest voltage or SOC."""
    reference = ReferenceCell(cell)
    size = reference.branches + 3  # soc, branches, hysteresis, temperature
    scale = np.array([group.state.resistance_scale for group in groups])

    def parts(y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        open_V, ohm = np.empty(len(groups)), np.empty(len(groups))
        for g, x in enumerate(y.reshape(len(groups), size)):
            r0 = reference.resistances(x[0], x[-1])[0]
            open_V[g] = reference.ocv(x[0], x[-1], x[-2]) + scale[g] * x[1:-2].sum()
            ohm[g] = scale[g] * r0
        return open_V, ohm

    def current_A(open_V: np.ndarray, ohm: np.ndarray) -> float:
        source_V, pack_ohm = open_V.sum(), ohm.sum() / parallel
        return -(source_V - np.sqrt(source_V**2 - 4 * pack_ohm * power_W)) / (2 * pack_ohm) / parallel

    def slope(_: float, y: np.ndarray) -> np.ndarray:
        open_V, ohm = parts(y)
        cell_A = current_A(open_V, ohm)
        result = np.empty_like(y).reshape(len(groups), size)
        for g, x in enumerate(y.reshape(len(groups), size)):
            result[g, :-1] = reference.slope(x[:-1], cell_A, x[-1])
            entropy = float(np.interp(x[0], reference.ocv_soc, reference.entropy_V_per_K))
            over_V = open_V[g] + ohm[g] * cell_A - reference.ocv(x[0], x[-1], x[-2])
            heat_W = cell_A * (over_V + (x[-1] + 273.15) * entropy)
            lost_W = (x[-1] - ambient_degC) / reference.thermal_resistance_K_per_W
            result[g, -1] = (heat_W - lost_W) / reference.heat_capacity_J_per_K
        return result.ravel()

    def room(_: float, y: np.ndarray) -> float:
        open_V, ohm = parts(y)
        volts = open_V + ohm * current_A(open_V, ohm)
        soc = y.reshape(len(groups), size)[:, 0]
        return float(min((volts - cell.window.voltage_min_V).min(), (soc - cell.window.soc_min).min()))

    room.terminal = True
    start = np.array(
        [
            [group.state.soc, *[0.0] * reference.branches, group.state.hysteresis, group.state.temperature_degC]
            for group in groups
        ]
    )
    end = solve_ivp(slope, (0.0, 2e5), start.ravel(), method="RK45", events=room, rtol=1e-6, atol=1e-8, max_step=120.0)
    assert end.status == 1
    return power_W * float(end.t[-1]) / 3600


def test_usable_energy_as_solve_ivp_has_it(random):
    cell = make_cell(2)
    for case in range(2):
        groups = [
            vk.GroupState(
                state=vk.ModelState(
                    soc=0.5 + random.uniform(-0.03, 0.03),
                    temperature_degC=5.0 + random.uniform(-2, 2),
                    resistance_scale=random.uniform(0.9, 1.4),
                    hysteresis=random.uniform(-1, 1),
                )
            )
            for _ in range(3)
        ]
        pack = vk.single_string_pack("three", "cell", cell, vk.PackLayout(series=3, parallel=2))
        power_W = 3 * 2 * 3.6 * cell.capacity_Ah * random.uniform(0.3, 1.2)
        found = vk.usable_energy(
            pack, groups, vk.Draw(power_W=power_W), vk.UsableEnergySettings(ambient_degC=5.0)
        ).central
        assert found.reached
        assert found.energy_Wh == pytest.approx(scipy_energy_Wh(cell, groups, power_W, 2, 5.0), rel=1e-3), case


def test_the_band_of_a_charge_and_the_least_current(cell):
    plan = cell.charge
    state = vk.ModelState(soc=0.3, temperature_degC=20.0)
    what = vk.ChargeCase(ambient_degC=20.0)
    sure = vk.charge_time_band(cell, state, plan, what, vk.ChargeDoubt())
    doubtful = vk.charge_time_band(cell, state, plan, what, vk.ChargeDoubt(soc_std=0.02))
    assert sure.band.earliest_s == sure.band.latest_s == sure.band.central.time_s
    assert sure.band.central.time_s == pytest.approx(vk.time_to_full(cell, state, plan, 20.0).forecast.time_s, abs=2.0)
    assert doubtful.band.earliest_s < sure.band.central.time_s < doubtful.band.latest_s
    assert doubtful.curve["soc"][0] == 0.3

    asked = vk.Departure(ready_s=6 * 3600.0, doubt=vk.ChargeDoubt(soc_std=0.02))
    found = vk.least_charge_current(cell, state, plan, what, asked)
    assert found.in_time
    assert 0.99 * asked.ready_s < found.departure.charge.latest_s <= asked.ready_s
    assert float(np.max(found.curve["current_A"])) == pytest.approx(found.departure.current_A)
    late = vk.least_charge_current(cell, state, plan, what, vk.Departure(ready_s=600.0))
    assert not late.in_time
    for wrong, word in (
        (vk.Departure(ready_s=-1.0), "ready_s"),
        (vk.Departure(ready_s=9.0, tolerance=5.0), "tolerance"),
    ):
        with pytest.raises(vk.DataError, match=word):
            vk.least_charge_current(cell, state, plan, what, wrong)
    with pytest.raises(vk.DataError, match="soc_std"):
        vk.charge_time_band(cell, state, plan, what, vk.ChargeDoubt(soc_std=NAN))


def test_consumption_follows_a_trip_and_refuses_a_wrong_one():
    estimator = vk.ConsumptionEstimator(vk.ConsumptionSettings(start_Wh_per_km=200.0))
    time_s = np.arange(0.0, 3600.0)
    estimator.follow(time_s, np.full(3600, 9000.0), np.full(3600, 20.0))
    now = estimator.consumption
    assert now.fast_Wh_per_km == pytest.approx(125.0, rel=1e-3)
    assert now.power_W == pytest.approx(9000.0, rel=1e-3)
    left = vk.distance_left(now, 5000.0, 100.0)
    assert left.least_m < left.distance_m < left.most_m
    before = now.slow_Wh_per_km
    with pytest.raises(vk.DataError, match="row 2"):
        estimator.follow([0.0, 1.0, 2.0], [0.0, 10.0, NAN], [1.0, 1.0, 1.0])
    assert estimator.consumption.slow_Wh_per_km == before
    with pytest.raises(vk.DataError, match="start_Wh_per_km"):
        vk.ConsumptionEstimator(vk.ConsumptionSettings())
    with pytest.raises(vk.DataError, match="draw"):
        vk.usable_energy(make_cell(1), vk.GroupState(), vk.Draw())


def test_the_taper_of_a_completed_charge_is_learned(cell):
    state = vk.ModelState(soc=0.5, temperature_degC=25.0)
    curve = vk.time_to_full(cell, state, cell.charge, 25.0).curve
    log = vk.Log(curve["time_s"], curve["current_A"], curve["voltage_V"], np.full(len(curve["time_s"]), 25.0))
    taper = vk.TaperLearner(vk.TaperSettings(capacity_Ah=cell.capacity_Ah))
    assert not taper.learn(log, 4.30, 0.1)  # never held there
    assert taper.charges == 0
    assert taper.learn(log, 4.15, 0.1001)
    held = curve["voltage_V"] > 4.149
    at = int(np.flatnonzero(held & (curve["current_A"] < 1.0))[0])
    truth_s = curve["time_s"][-1] - curve["time_s"][at]
    assert taper.time_left(curve["current_A"][at], 0.1).time_s == pytest.approx(truth_s, rel=5e-3)
    forecast = vk.time_to_full(cell, vk.ModelState(soc=0.4, temperature_degC=25.0), cell.charge, 25.0).forecast
    learned = vk.learned_time(taper, forecast)
    assert learned.charges == 1
    assert learned.time_s == pytest.approx(forecast.time_s, rel=0.01)
    with pytest.raises(vk.DataError, match="voltage_V"):
        taper.learn(log, NAN, 0.1)
    with pytest.raises(vk.DataError, match="capacity_Ah"):
        vk.TaperLearner(vk.TaperSettings())


def test_a_learned_taper_is_kept_in_a_file(cell, tmp_path):
    curve = vk.time_to_full(cell, vk.ModelState(soc=0.5, temperature_degC=25.0), cell.charge, 25.0).curve
    log = vk.Log(curve["time_s"], curve["current_A"], curve["voltage_V"], np.full(len(curve["time_s"]), 25.0))
    assert vk.held_voltage_V(cell.charge) == pytest.approx(4.15)
    taper = vk.LearnedTaper(cell=cell.name, settings=vk.TaperSettings(capacity_Ah=cell.capacity_Ah), voltage_V=4.15)
    assert not taper.learn(log, 0.01)  # the charge ended above that
    assert taper.charges == 0
    assert taper.learn(log, 0.1001)
    taper.provenance = vk.Provenance(made_by="a test", files=[vk.SourceFile(role="charge", name="a.csv")])
    vk.save_taper(tmp_path / "taper.json", taper)
    again = vk.load_taper(tmp_path / "taper.json")
    assert (again.cell, again.charges, again.voltage_V) == (cell.name, 1, 4.15)
    assert (again.temperature_min_degC, again.temperature_max_degC) == (25.0, 25.0)
    assert [file.name for file in again.provenance.files] == ["a.csv"]
    assert again.learner().time_left(1.0, 0.1).time_s == taper.learner().time_left(1.0, 0.1).time_s
    document = json.loads((tmp_path / "taper.json").read_text(encoding="utf-8"))
    schema = json.loads((Path(__file__).parents[2] / "data/schema/taper.schema.json").read_text(encoding="utf-8"))
    jsonschema.validate(document, schema)
    document["falls"]["weight"][0] = -1
    with pytest.raises(vk.DataError, match=r"t\.json: /falls/weight/0"):
        vk.parse_taper(json.dumps(document), "t.json")
    vk.check_taper(taper)
    vk.check_taper_fits(taper, cell.charge)
    again.voltage_V = 4.05
    with pytest.raises(vk.DataError, match=r"4\.05 V.*4\.15 V"):
        vk.check_taper_fits(again, cell.charge)
    again.voltage_V = NAN
    with pytest.raises(vk.DataError, match="voltage_V"):
        vk.save_taper(tmp_path / "none.json", again)
    assert not (tmp_path / "none.json").exists()


def write_charge(path: Path, end_A: float, tau_s: float) -> Path:
    """An invented charge of the example cell: 2 A to 4.2 V, there a current that falls as exp(-t / tau)."""
    rows = ["time_s,current_A,voltage_V,temperature_degC", "0,0,3.70,20"]
    rows += [f"{60 * k},2,{3.75 + 0.0075 * k:.4f},20" for k in range(1, 60)]
    t_s = 0.0
    while True:
        current_A = 2.0 * np.exp(-t_s / tau_s)
        rows.append(f"{3600 + t_s:g},{current_A:.5f},4.2,20")
        if current_A <= end_A:
            break
        t_s += 20.0
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def test_a_taper_is_learned_and_used_on_the_command_line(root, tmp_path):
    cell = root / "examples/invented_cell.json"
    log = write_charge(tmp_path / "full.csv", 0.15, 630.0)
    taper = tmp_path / "taper.json"

    def charge(*words):
        return run("charge", "--cell", cell, "--end-current-A", 0.15, *words)

    def answer(*words):
        done = charge(*words, "--json")
        assert done.returncode == 0, done.stderr
        return json.loads(done.stdout)

    answer("--from-log", log, "--learn-out", taper)
    written = json.loads(taper.read_text(encoding="utf-8"))
    assert written["charges"] == 1
    assert written["provenance"]["files"] == [
        {"name": "full.csv", "sha256": hashlib.sha256(log.read_bytes()).hexdigest()}
    ]
    # In the middle of the held voltage the current tells what is left: tau ln(I / I_end).
    part = tmp_path / "part.csv"
    rows = log.read_text(encoding="utf-8").splitlines()[:-60]
    part.write_text("\n".join(rows) + "\n", encoding="utf-8")
    current_A = float(rows[-1].split(",")[1])
    plain = answer("--from-log", part)
    learned = answer("--from-log", part, "--learned", taper)
    truth_s = 630.0 * np.log(current_A / 0.15)
    assert (plain["learned_charges"], learned["learned_charges"]) == (0, 1)
    assert learned["time_s"] == pytest.approx(truth_s, rel=0.02)
    assert abs(plain["time_s"] - truth_s) > 0.1 * truth_s
    assert learned["earliest_s"] < truth_s < learned["latest_s"]
    assert sum(phase["time_s"] for phase in learned["phases"]) == pytest.approx(learned["time_s"])
    assert learned["provenance"]["learned"]["sha256"] == hashlib.sha256(taper.read_bytes()).hexdigest()
    # A second charge goes on from the file, in place.
    slower = write_charge(tmp_path / "slower.csv", 0.15, 770.0)
    answer("--from-log", slower, "--learned", taper, "--learn-out", taper)
    written = json.loads(taper.read_text(encoding="utf-8"))
    assert written["charges"] == 2
    assert [file["name"] for file in written["provenance"]["files"]] == ["full.csv", "slower.csv"]
    kept = np.exp(-1 / 4)
    mixed = answer("--from-log", part, "--learned", taper)
    assert mixed["time_s"] == pytest.approx(truth_s * (kept + 11 / 9) / (kept + 1), rel=0.02)
    # From a state at rest the model's part stays, the taper is the learned one.
    start = ("--soc", 0.3, "--temperature-degC", 20, "--current-A", 2)
    text = charge(*start, "--learned", taper)
    assert text.returncode == 0, text.stderr
    assert "2 completed charge(s)" in text.stdout
    # What cannot be learned or used.
    other = tmp_path / "other.json"
    for words, said in (
        (("--from-log", part, "--learn-out", other), ("part.csv", "nothing to learn", "0.15 A")),
        ((*start, "--learn-out", other), ("--from-log",)),
        ((*start, "--to-soc", 0.8, "--learned", taper), ("--to-soc",)),
        ((*start, "--until", "06:00", "--learned", taper), ("--until",)),
        ((*start, "--learned", tmp_path / "none.json"), ("none.json",)),
        ((*start, "--learned", cell), ("invented_cell.json", "/format")),
    ):
        done = charge(*words)
        assert done.returncode == 2, (words, done.stdout)
        for word in said:
            assert word in done.stderr, (words, done.stderr)
    assert not other.exists()
    written["voltage_V"] = 4.05
    taper.write_text(json.dumps(written), encoding="utf-8")
    done = charge(*start, "--learned", taper)
    assert done.returncode == 2
    assert "taper.json: voltage_V" in done.stderr


def test_moments_of_a_charge_on_the_command_line(root, tmp_path):
    """Asked at several moments: each goes by the rows up to it, and by nothing after."""
    cell = root / "examples/invented_cell.json"
    log = write_charge(tmp_path / "full.csv", 0.15, 900.0)
    common = ("charge", "--cell", cell, "--current-A", 2, "--voltage-V", 4.15, "--end-current-A", 0.15)

    def answer(*words):
        done = run(*common, *words, "--json")
        assert done.returncode == 0, done.stderr
        return json.loads(done.stdout)

    held = ("--voltage-V", 4.2)  # the later one counts
    asked = [1200.0, 3605.0, 4800.0]
    words = [word for at_s in asked for word in ("--at", at_s)]
    told = answer(*held, "--from-log", log, *words)
    assert [moment["at_s"] for moment in told["moments"]] == asked
    assert [moment["row_s"] for moment in told["moments"]] == [1200.0, 3600.0, 4800.0]
    for moment in told["moments"]:
        assert moment["reached"]
        assert moment["earliest_s"] <= moment["remaining_s"] <= moment["latest_s"]
    assert [moment["this_charge"] for moment in told["moments"]] == [False, False, True]
    # The same from a log that ends there.
    lines = log.read_text(encoding="utf-8").splitlines()
    for moment in told["moments"]:
        part = tmp_path / "part.csv"
        rows = [line for line in lines[1:] if float(line.split(",")[0]) <= moment["at_s"]]
        part.write_text("\n".join([lines[0], *rows]) + "\n", encoding="utf-8")
        alone = answer(*held, "--from-log", part, "--at", moment["row_s"])["moments"][0]
        passed_s = moment["at_s"] - moment["row_s"]
        assert moment["remaining_s"] == pytest.approx(alone["remaining_s"] - passed_s)
        assert (moment["soc"], moment["current_A"]) == (alone["soc"], alone["current_A"])
        whole = answer(*held, "--from-log", part)
        assert whole["time_s"] == pytest.approx(alone["remaining_s"])
        assert whole["this_charge"] == alone["this_charge"]
    # A current that has fallen as exp(-t / 900 s) for 1200 s goes on about so, whatever the model says.
    current_A = told["moments"][2]["current_A"]
    truth_s = 900.0 * np.log(current_A / 0.15)
    assert told["moments"][2]["remaining_s"] == pytest.approx(truth_s, rel=0.15)
    # With a taper learned, and as text.
    taper = tmp_path / "taper.json"
    answer(*held, "--from-log", log, "--learn-out", taper)
    learned = answer(*held, "--from-log", log, *words, "--learned", taper)["moments"][2]
    assert learned["learned_charges"] == 1
    assert learned["remaining_s"] == pytest.approx(truth_s, rel=0.02)
    text = run(*common, *held, "--from-log", log, *words)
    assert text.returncode == 0, text.stderr
    for part_of in ("asked at s", "1200", "3605", "4800", "Caution"):
        assert part_of in text.stdout
    # A lower voltage is reached sooner: less time at a voltage that is not held any more counts from the model.
    low = answer("--from-log", log, "--at", 1200)["moments"][0]
    assert low["remaining_s"] < told["moments"][0]["remaining_s"]
    for words_of, said in (
        (("--from-log", log, "--at", 1e5), ("--at: 100000 s", "full.csv", "0 ..")),
        (("--from-log", log, "--at", -1), ("--at: -1 s",)),
        (("--at", 10, "--soc", 0.5, "--temperature-degC", 20), ("--from-log",)),
        (("--from-log", log, "--at", 10, "--until", "06:00"), ("--until",)),
        (("--from-log", log, "--at", 10, "--plot", tmp_path / "x.png"), ("--plot",)),
        (("--from-log", log, "--at", "soon"), ("--at", "'soon' is not a number")),
        (("--from-log", log, "--voltage-V", 4.6), ("--voltage-V: 4.6", "4.2 V")),
    ):
        done = run(*common, *words_of)
        assert done.returncode == 2, (words_of, done.stdout)
        for word in said:
            assert word in done.stderr, (words_of, done.stderr)


@pytest.fixture
def pack_file(root: Path) -> Path:
    return root / "examples" / "invented_pack.json"


def test_charge_until_a_departure_on_the_command_line(root):
    words = ["--cell", root / "examples/invented_cell.json", "--soc", 0.3, "--temperature-degC", 15]
    night = run("charge", *words, "--soc-std", 0.02, "--until", "06:30", "--start", "22:00", "--json")
    assert night.returncode == 0, night.stderr
    document = json.loads(night.stdout)
    assert document["departure"]["ready_s"] == 8.5 * 3600
    assert document["departure"]["in_time"]
    assert document["earliest_s"] < document["time_s"] < document["latest_s"] <= 8.5 * 3600
    late = run("charge", *words, "--until", "22:20", "--start", "22:00")
    assert late.returncode == 0
    assert "Too late (from 22:00 to 22:20, 20 min)" in late.stdout
    for wrong, text in (
        (["--until", "25:00"], "time of day"),
        (["--start", "06:00"], "--until"),
        (["--price-per-kWh", "0.3"], "--supply"),
    ):
        refused = run("charge", *words, *wrong)
        assert refused.returncode == 2
        assert text in refused.stderr


def test_charge_of_a_pack_file_on_the_command_line(root, pack_file, tmp_path):
    soc = [0.4, *[0.38] * 27]
    words = ["charge", "--pack", pack_file, "--soc", *soc, "--temperature-degC", 15]
    plot = tmp_path / "charge.png"
    supply = root / "examples/invented_shore_supply.json"
    made = run(*words, "--supply", supply, "--price-per-kWh", 0.3, "--plot", plot, "--json")
    assert made.returncode == 0, made.stderr
    document = json.loads(made.stdout)
    assert document["reached"]
    assert document["deciding_group"] == 0
    assert document["weakest_soc"] < document["end_soc"]
    assert document["cost"] == pytest.approx(0.3 * document["supply"]["socket_energy_Wh"] / 1e3)
    assert plot.stat().st_size > 10000
    text = run(*words)
    assert "Group 0 of port decides the end" in text.stdout
    refused = run("charge", "--pack", pack_file, "--soc", 0.3, 0.4, "--temperature-degC", 15)
    assert refused.returncode == 2
    assert "28 groups" in refused.stderr


def test_range_on_the_command_line(pack_file, tmp_path):
    words = ["range", "--pack", pack_file, "--soc", 0.7, "--temperature-degC", -5, "--soc-std", 0.02]
    made = run(*words, "--consumption-Wh-per-km", 120, "--speed-km-per-h", 12, "--json")
    assert made.returncode == 0, made.stderr
    document = json.loads(made.stdout)
    assert document["draw"]["power_W"] == 1440
    assert document["least_Wh"] < document["energy_Wh"] < document["most_Wh"]
    assert document["distance"]["distance_m"] == pytest.approx(1000 * document["energy_Wh"] / 120)
    trip = tmp_path / "trip.csv"
    rows = [f"{second},-1440,{12 / 3.6:.6f}" for second in range(1800)]
    trip.write_text("time_s,power_W,speed_m_per_s\n" + "\n".join(rows) + "\n", encoding="utf-8")
    driven = run(*words, "--trip", trip, "--json")
    assert driven.returncode == 0, driven.stderr
    assert json.loads(driven.stdout)["consumption"]["slow_Wh_per_km"] == pytest.approx(120, rel=1e-3)
    assert json.loads(driven.stdout)["draw"]["power_W"] == pytest.approx(1440, rel=1e-3)
    warm = run(*words[:5], "--temperature-degC", 25, "--power-W", 1440)
    assert warm.returncode == 0
    assert "usable energy" in warm.stdout
    refused = run(*words)
    assert refused.returncode == 2
    assert "--power-W" in refused.stderr


def test_balance_on_the_command_line(root, tmp_path):
    cell = root / "examples/invented_cell.json"
    pack = tmp_path / "pack.json"
    document = {"format": "voltkeel.pack", "format_version": 1, "name": "four", "cell": str(cell)}
    document |= {"series": 4, "parallel": 2}
    pack.write_text(json.dumps(document), encoding="utf-8")
    words = ["balance", "--pack", pack, "--temperature-degC", 20, "--soc", 0.90, 0.93, 0.91, 0.90, "--bleed-ohm", 33]
    made = run(*words, "--json")
    assert made.returncode == 0, made.stderr
    groups = json.loads(made.stdout)["groups"]
    capacity_Ah = 2 * vk.load_cell(cell).capacity_Ah
    assert groups[1]["charge_Ah"] == pytest.approx(0.03 * capacity_Ah, rel=1e-6)
    assert groups[0]["charge_Ah"] == 0
    cool = json.loads(run(*words, "--heat-max-W", 0.2, "--json").stdout)
    assert cool["module_heat_W"] <= 0.2 * 1.0001
    assert cool["time_s"] > json.loads(made.stdout)["time_s"]
    assert "Groups" in run(*words).stdout
    refused = run(*words[:-2])
    assert refused.returncode == 2
    assert "--bleed-ohm" in refused.stderr

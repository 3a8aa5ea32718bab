"""Supply, plan and control of a charge: against SciPy, from files and from the command line."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import voltkeel as vk
from jsonschema import Draft202012Validator
from scipy.integrate import solve_ivp
from scipy.optimize import brentq


def run(*words: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "voltkeel.command_line", *map(str, words)], capture_output=True, text=True, check=False
    )


@pytest.fixture
def examples(root: Path) -> Path:
    return root / "examples"


def excess_W(output_W: float, nodes: np.ndarray, efficiency: np.ndarray, input_W: float) -> float:
    return output_W / np.interp(output_W, nodes, efficiency) - input_W


def test_output_power_is_the_root_that_scipy_finds(random):
    for _ in range(50):
        nodes = np.sort(random.uniform(50, 6000, 5))
        efficiency = np.clip(0.7 + 0.25 * (1 - np.exp(-nodes / 800)) + random.uniform(-0.01, 0.01, 5), 0.01, 1)
        table = vk.PowerEfficiency(nodes, efficiency)
        for input_W in random.uniform(10, 8000, 10):
            root = brentq(excess_W, 1e-6, input_W + 1, args=(nodes, efficiency, input_W))
            assert vk.output_power_W(table, input_W) == pytest.approx(root, rel=1e-9)
            assert vk.efficiency_at(table, root) == pytest.approx(np.interp(root, nodes, efficiency), rel=1e-12)


def straight_cell(root: Path) -> tuple[vk.Cell, dict[str, float]]:
    """A cell with a straight OCV, constant resistances and no warming: few numbers, easily written down again."""
    document = json.loads((root / "examples" / "invented_cell.json").read_text(encoding="utf-8"))
    numbers = {"q_Ah": 8.0, "empty_V": 3.2, "full_V": 4.15, "r0": 0.02, "r1": 0.012, "t1": 25.0, "r2": 0.01}
    numbers["t2"] = 700.0
    document["hysteresis_rate"] = 0
    document["ocv"] = {
        "reference_temperature_degC": 25,
        "soc": [0, 1],
        "discharge_V": [3.2, 4.15],
        "charge_V": [3.2, 4.15],
        "voltage_std_V": [0, 0],
    }
    document["resistance"] = {
        "temperature_degC": [25],
        "soc": [0, 1],
        "r0_ohm": [[0.02, 0.02]],
        "branches": [
            {"resistance_ohm": [[0.012, 0.012]], "time_s": [[25, 25]]},
            {"resistance_ohm": [[0.01, 0.01]], "time_s": [[700, 700]]},
        ],
    }
    document["thermal"]["heat_capacity_J_per_K"] = 1e7
    return vk.parse_cell(json.dumps(document), "straight"), numbers


def free_then_held(slope, free_A, held_A, end_A: float, start: list[float], rtol: float, free_step_s: float):
    """Solve a charge: with the free current to the voltage, then with what holds it down to the end current."""

    def reached(_t, y):
        return held_A(y) - free_A(y)

    def ended(_t, y):
        return held_A(y) - end_A

    reached.terminal = ended.terminal = True  # type: ignore[attr-defined]
    options = {"rtol": rtol, "atol": 0.01 * rtol, "method": "DOP853"}
    first = solve_ivp(slope(free_A), (0, 1e6), start, events=reached, max_step=free_step_s, **options)
    second = solve_ivp(slope(held_A), (0, 1e6), first.y[:, -1], events=ended, max_step=20, **options)
    return first, second


@pytest.mark.parametrize("power_W", [18.0, 30.0, 45.0])
def test_constant_power_then_constant_voltage_as_solve_ivp_has_it(root, power_W):
    cell, n = straight_cell(root)
    target_V, end_A = 4.0, 0.5
    plan = vk.ChargePlan(
        zones=[vk.ChargeZone(temperature_min_degC=0, temperature_max_degC=45, current_A=12.0, voltage_V=target_V)],
        end_current_A=end_A,
    )
    station = vk.DcStation(voltage_min_V=20, voltage_max_V=100, current_max_A=14.0 * 4, power_max_W=power_W * 14 * 4)
    pack = vk.PackSupply(supply=vk.Supply(kind=vk.SupplyKind.dc_station, station=station), series=14, parallel=4)
    start = vk.ModelState(soc=0.15, temperature_degC=25)
    ours = vk.time_to_full(cell, start, plan, 25.0, pack, vk.ForecastSettings(step_s=1.0))

    def emf_V(y: np.ndarray) -> float:
        return n["empty_V"] + (n["full_V"] - n["empty_V"]) * y[0] + y[1] + y[2]

    def free_A(y: np.ndarray) -> float:
        e = emf_V(y)
        by_power = (np.sqrt(e * e + 4 * n["r0"] * power_W) - e) / (2 * n["r0"])
        return min(12.0, by_power)

    def held_A(y: np.ndarray) -> float:
        return (target_V - emf_V(y)) / n["r0"]

    def slope(current):
        def f(_t, y):
            i = current(y)
            return [
                i / 3600 / n["q_Ah"],
                (n["r1"] * i - y[1]) / n["t1"],
                (n["r2"] * i - y[2]) / n["t2"],
                i * (emf_V(y) + n["r0"] * i),
                i * (n["empty_V"] + (n["full_V"] - n["empty_V"]) * y[0]),
            ]

        return f

    first, second = free_then_held(slope, free_A, held_A, end_A, [0.15, 0, 0, 0, 0], rtol=1e-10, free_step_s=20)
    forecast = ours.forecast
    assert forecast.reached
    assert forecast.constant_power_s + forecast.constant_current_s == pytest.approx(first.t[-1], rel=1e-4)
    assert forecast.time_s == pytest.approx(first.t[-1] + second.t[-1], rel=5e-4)
    assert forecast.end_soc == pytest.approx(second.y[0, -1], abs=2e-4)
    assert forecast.energy_Wh == pytest.approx(second.y[3, -1] / 3600, rel=5e-4)
    assert forecast.stored_Wh == pytest.approx(second.y[4, -1] / 3600, rel=5e-4)
    assert forecast.socket_energy_Wh == pytest.approx(56 * forecast.energy_Wh, rel=1e-9)


def with_table(root: Path, soc: list[float], charge_A: list[float]) -> vk.Cell:
    """The straight cell with a maker's table of lasting currents that is the same at every temperature."""
    cell, _ = straight_cell(root)
    both = np.array([charge_A, charge_A])
    cell.current_limits = [
        vk.CurrentGrid(duration_s=600, temperature_degC=[0, 40], soc=soc, charge_A=both, discharge_A=both)
    ]
    return cell


def test_charge_within_a_table_as_solve_ivp_has_it(root):
    plain, n = straight_cell(root)
    soc, charge_A = [0.0, 0.3, 0.5, 0.8, 1.0], [3.0, 10.0, 4.0, 3.0, 1.5]
    cell = with_table(root, soc, charge_A)
    target_V, plan_A, end_A = 4.0, 6.0, 0.5
    plan = vk.ChargePlan(
        zones=[vk.ChargeZone(temperature_min_degC=0, temperature_max_degC=45, current_A=plan_A, voltage_V=target_V)],
        end_current_A=end_A,
    )
    start = vk.ModelState(soc=0.15, temperature_degC=25)
    what = vk.ChargeCase(ambient_degC=25, within_limits=True, settings=vk.ForecastSettings(step_s=1.0))
    ours = vk.charge_time_band(cell, start, plan, what, vk.ChargeDoubt()).band.central

    def emf_V(y: np.ndarray) -> float:
        return n["empty_V"] + (n["full_V"] - n["empty_V"]) * y[0] + y[1] + y[2]

    def free_A(y: np.ndarray) -> float:
        return min(plan_A, float(np.interp(y[0], soc, charge_A)))

    def held_A(y: np.ndarray) -> float:
        return (target_V - emf_V(y)) / n["r0"]

    def slope(current):
        def f(_t, y):
            i = current(y)
            held_back = 1.0 if i < plan_A and current is free_A else 0.0
            return [i / 3600 / n["q_Ah"], (n["r1"] * i - y[1]) / n["t1"], (n["r2"] * i - y[2]) / n["t2"], held_back]

        return f

    first, second = free_then_held(slope, free_A, held_A, end_A, [0.15, 0, 0, 0], rtol=1e-9, free_step_s=2)
    assert ours.reached
    assert ours.constant_current_s == pytest.approx(first.t[-1], rel=1e-4)
    assert ours.time_s == pytest.approx(first.t[-1] + second.t[-1], rel=5e-4)
    assert ours.end_soc == pytest.approx(second.y[0, -1], abs=2e-4)
    assert ours.limits_reason == vk.LimitReason.maker_table
    assert ours.limits_s == pytest.approx(first.y[3, -1], abs=3.0)
    assert ours.limits_until_s == pytest.approx(ours.constant_current_s, abs=1.0)
    # Unasked nothing of it counts.
    what.within_limits = False
    free = vk.charge_time_band(cell, start, plan, what, vk.ChargeDoubt()).band.central
    assert free.time_s == vk.charge_time_band(plain, start, plan, what, vk.ChargeDoubt()).band.central.time_s
    assert free.time_s < ours.time_s
    assert free.limits_s == 0


def test_command_keeps_to_the_table_of_the_cell(root, tmp_path):
    plain, _ = straight_cell(root)
    cell = with_table(root, [0.0, 0.5, 1.0], [1.0, 2.0, 2.0])
    words = ["--soc", "0.2", "--temperature-degC", "25", "--voltage-V", "4.0", "--end-current-A", "0.5"]
    paths = {}
    for name, one in (("plain", plain), ("table", cell)):
        paths[name] = tmp_path / f"{name}.json"
        vk.save_cell(paths[name], one)
    done = run("charge", "--cell", paths["table"], *words, "--json")
    assert done.returncode == 0, done.stderr
    assert "the maker's table of allowed currents holds the charge below its plan until" in done.stderr
    found = json.loads(done.stdout)
    state = vk.ModelState(soc=0.2, temperature_degC=25, hysteresis=-1.0)
    plan = cell.charge
    plan.end_current_A = 0.5
    zones = plan.zones
    zones[0].voltage_V = 4.0
    plan.zones = zones
    what = vk.ChargeCase(ambient_degC=25, within_limits=True, settings=vk.ForecastSettings())
    expected = vk.charge_time_band(cell, state, plan, what, vk.ChargeDoubt()).band.central
    assert found["time_s"] == pytest.approx(expected.time_s, rel=1e-9)
    assert found["held_back"]["reason"] == "maker_table"
    assert found["held_back"]["until_s"] == pytest.approx(expected.limits_until_s, rel=1e-9)
    free = json.loads(run("charge", "--cell", paths["plain"], *words, "--json").stdout)
    assert free["held_back"] is None
    assert free["time_s"] < found["time_s"]
    # Of a pack of such cells likewise, and of what its parts carry: two cells share the current.
    of = vk.single_string_pack("four", "table.json", cell, vk.PackLayout(series=4, parallel=2))
    vk.save_pack(tmp_path / "pack.json", of)
    of_pack = json.loads(run("charge", "--pack", tmp_path / "pack.json", *words, "--json").stdout)
    assert of_pack["time_s"] == pytest.approx(found["time_s"], rel=1e-3)
    assert of_pack["held_back"]["reason"] == "maker_table"
    parts = [vk.PackPart(kind=vk.LimitReason.cable, rated_A=1.5)]
    vk.save_pack_parts(tmp_path / "parts.json", parts, "invented")
    done = run("charge", "--pack", tmp_path / "pack.json", *words, "--parts", tmp_path / "parts.json", "--json")
    cabled = json.loads(done.stdout)
    assert cabled["held_back"]["reason"] == "cable"
    assert "the cable holds the charge below its plan" in done.stderr
    assert cabled["current_max_A"] == pytest.approx(1.5)
    done = run("charge", "--cell", paths["plain"], *words, "--parts", tmp_path / "parts.json")
    assert done.returncode == 2
    assert "--parts is for --pack" in done.stderr


def test_command_ends_at_the_highest_soc_of_the_window(root, tmp_path):
    cell, _ = straight_cell(root)
    words = ["--soc", "0.2", "--temperature-degC", "25", "--voltage-V", "4.0", "--end-current-A", "0.5", "--json"]
    vk.save_cell(tmp_path / "whole.json", cell)
    window = cell.window
    window.soc_max = 0.6
    cell.window = window
    vk.save_cell(tmp_path / "narrow.json", cell)
    whole = run("charge", "--cell", tmp_path / "whole.json", *words, "--to-soc", "0.6")
    until = json.loads(whole.stdout)
    assert until["reached"]
    assert not until["end_of_window"]
    assert "highest SOC" not in whole.stderr
    done = run("charge", "--cell", tmp_path / "narrow.json", *words)
    found = json.loads(done.stdout)
    assert found["reached"]
    assert found["end_of_window"]
    assert found["end_soc"] == pytest.approx(0.6, abs=1e-6)
    assert found["time_s"] == pytest.approx(until["time_s"], rel=1e-6)
    assert "60.0 % is the highest SOC of the cell's window: the charge ends there" in done.stderr
    beyond = run("charge", "--cell", tmp_path / "narrow.json", *words[:-1], "--to-soc", "0.8")
    assert "Not reached: 60.0 % is the highest SOC of the cell's window" in beyond.stdout
    of = vk.single_string_pack("four", "narrow.json", cell, vk.PackLayout(series=4, parallel=2))
    vk.save_pack(tmp_path / "pack.json", of)
    of_pack = run("charge", "--pack", tmp_path / "pack.json", *words)
    assert json.loads(of_pack.stdout)["end_of_window"]
    assert json.loads(of_pack.stdout)["time_s"] == pytest.approx(found["time_s"], rel=1e-3)
    assert "highest SOC of the cell's window" in of_pack.stderr


def test_files_of_the_project_fit_their_schemas(root):
    for name, files in {
        "supply": [root / "examples" / "invented_shore_supply.json"],
        "charge_plan": sorted((root / "data" / "plan").glob("*.json")),
    }.items():
        schema = json.loads((root / "data" / "schema" / f"{name}.schema.json").read_text(encoding="utf-8"))
        assert files
        for file in files:
            Draft202012Validator(schema).validate(json.loads(file.read_text(encoding="utf-8")))


def test_defaults_of_the_schemas_are_those_of_the_structs(root):
    schema = json.loads((root / "data" / "schema" / "supply.schema.json").read_text(encoding="utf-8"))
    text = {"voltage_min_V": 40, "voltage_max_V": 60, "current_max_A": 60, "power_max_W": 100}
    supply = vk.parse_supply(
        json.dumps({"format": "voltkeel.supply", "format_version": 1, "name": "x", "charger": text}), "x"
    ).supply
    for part, fields in (("ac", supply.ac), ("charger", supply.charger)):
        for name, field in schema["properties"][part]["properties"].items():
            if "default" in field and name not in ("efficiency", "proximity_windows", "power_max_W"):
                assert getattr(fields, name) == field["default"], name
    assert supply.charger.efficiency.efficiency == [
        schema["properties"]["charger"]["properties"]["efficiency"]["default"]
    ]
    stage = json.loads((root / "data" / "schema" / "charge_plan.schema.json").read_text(encoding="utf-8"))
    for name, field in stage["properties"]["stages"]["items"]["properties"].items():
        if "default" in field:
            assert getattr(vk.ChargeStage(), name) == field["default"], name


def test_command_takes_a_supply_and_a_plan(root, examples):
    words = ("charge", "--cell", examples / "invented_cell.json", "--soc", 0.2, "--temperature-degC", 25)
    supply = ("--supply", examples / "invented_shore_supply.json", "--series", 14, "--parallel", 8)
    plan = ("--plan", root / "data" / "plan" / "nmc_nca.json")
    shown = run(*words, *supply, *plan)
    assert shown.returncode == 0, shown.stderr
    assert "kWh from the socket" in shown.stdout
    assert "replaced by the cell maker's data sheet" in shown.stderr
    document = json.loads(run(*words, *supply, *plan, "--json").stdout)
    drawn = document["supply"]
    # Pilot of 20 % is 12 A, 2760 W; the table has 93.3 % there.
    assert drawn["line_current_max_A"] == 12
    assert drawn["power_max_W"] == pytest.approx(2760 * 0.932, rel=2e-3)
    assert drawn["charger_efficiency"] == pytest.approx(
        14 * 8 * document["energy_Wh"] / drawn["socket_energy_Wh"], rel=1e-9
    )
    assert 0.85 < drawn["charge_efficiency"] < drawn["charger_efficiency"] < 0.94
    assert sum(phase["time_s"] for phase in document["phases"]) == pytest.approx(document["time_s"], rel=1e-6)
    # At full current the quay decides, and it takes longer.
    fast = json.loads(run(*words, "--json", "--current-A", 8, "--end-current-A", 0.4).stdout)
    slow = json.loads(run(*words, *supply, "--json", "--current-A", 8, "--end-current-A", 0.4).stdout)
    assert slow["time_s"] > 1.1 * fast["time_s"]
    assert slow["supply"]["reason"] == vk.SupplyReason.pilot.message
    assert fast["supply"] is None


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (("--series", 14), "--supply"),
        (("--supply", "nothing.json"), "nothing.json"),
        (("--plan", "{plan}", "--current-A", 2), "--current-A"),
        (("--supply", "{supply}", "--series", 0), "0 is no whole number"),
        (("--supply", "{plan}"), "format"),
    ],
)
def test_command_names_what_is_wrong(root, examples, words, part):
    places = {"plan": root / "data" / "plan" / "lfp.json", "supply": examples / "invented_shore_supply.json"}
    filled = [str(word).format(**places) for word in words]
    done = run("charge", "--cell", examples / "invented_cell.json", "--soc", 0.2, "--temperature-degC", 20, *filled)
    assert done.returncode == 2
    assert part in done.stderr


def test_pack_on_a_supply_names_why_no_more(root, examples):
    words = (
        "charge",
        "--pack",
        examples / "invented_pack.json",
        "--soc",
        0.2,
        "--temperature-degC",
        25,
        "--current-A",
        8,
    )
    supply = ("--supply", examples / "invented_shore_supply.json")
    drawn = json.loads(run(*words, *supply, "--json").stdout)["supply"]
    of_cell = (
        "charge",
        "--cell",
        examples / "invented_cell.json",
        "--soc",
        0.2,
        "--temperature-degC",
        25,
        "--current-A",
        8,
    )
    alike = json.loads(run(*of_cell, *supply, "--series", 14, "--parallel", 8, "--json").stdout)["supply"]
    assert drawn["reason"] == alike["reason"] == vk.SupplyReason.pilot.message
    # The joints of the pack take a little of the power.
    assert drawn["current_A"] == pytest.approx(alike["current_A"], rel=0.01)
    assert drawn["power_max_W"] == alike["power_max_W"]
    assert f"A (why no more: {drawn['reason']})" in run(*words, *supply).stdout
    # In the cold the maker's table lets in less than the quay gives.
    cold = ("charge", "--pack", examples / "invented_pack.json", "--soc", 0.2, "--temperature-degC", 2)
    held = json.loads(run(*cold, *supply, "--json").stdout)["supply"]
    assert held["reason"] == vk.LimitReason.maker_table.message
    assert held["current_A"] == pytest.approx(8 * 8 * 2 / 25, rel=1e-6)


def test_plan_of_another_chemistry_is_refused(root, examples, tmp_path):
    words = ("charge", "--cell", examples / "invented_cell.json", "--soc", 0.2, "--temperature-degC", 20)
    done = run(*words, "--plan", root / "data" / "plan" / "lfp.json")
    assert done.returncode == 2
    assert "3.6 V is the open-circuit voltage of HW-8" in done.stderr
    assert "the plan is for another chemistry" in done.stderr
    # A plan that stops well below full says so.
    plan = json.loads((root / "data" / "plan" / "nmc_nca.json").read_text(encoding="utf-8"))
    assert "what it calls full" not in run(*words, "--plan", root / "data" / "plan" / "nmc_nca.json").stderr
    for zone in plan["zones"]:
        zone["voltage_V"] = 4.0
    low = tmp_path / "low.json"
    low.write_text(json.dumps(plan), encoding="utf-8")
    done = run(*words, "--plan", low)
    assert done.returncode == 0
    assert "4 V is the open-circuit voltage of HW-8" in done.stderr
    assert "what it calls full is not much more" in done.stderr


def test_no_answer_is_above_full(examples):
    # The plan's voltage is above the open-circuit voltage at 100 %.
    for words in (("--pack", examples / "invented_pack.json"), ("--cell", examples / "invented_cell.json")):
        done = run("charge", *words, "--soc", 0.9, "--temperature-degC", 25, "--json")
        document = json.loads(done.stdout)
        assert document["end_soc"] == 1.0
        assert "above the 4.175 V" in done.stderr
        assert "more than the tested capacity" in done.stderr
        text = run("charge", *words, "--soc", 0.9, "--temperature-degC", 25).stdout
        assert "100.0 % SOC" in text
        assert "100.1" not in text
        assert "101." not in text


def test_control_from_python():
    plan = vk.ChargePlan(
        zones=[vk.ChargeZone(temperature_min_degC=0, temperature_max_degC=45, current_A=2.5, voltage_V=4.15)],
        end_current_A=0.25,
    )
    settings = vk.ChargeControlSettings(
        series=14, parallel=4, capacity_Ah=20, group_resistance_ohm=0.01, voltage_max_V=4.2, voltage_min_V=2.5
    )
    control = vk.ChargeControl(plan, settings)
    measured = vk.ChargeMeasurement(
        group_voltage_min_V=3.6,
        group_voltage_max_V=3.61,
        pack_voltage_V=50.4,
        temperature_min_degC=20,
        temperature_max_degC=22,
    )
    supply = vk.SupplyLimits(voltage_max_V=65, current_max_A=30, power_max_W=3000)
    tick = vk.ChargeInput(measured=measured, allowed_A=40, supply=supply, dt_s=0.5)
    for _ in range(100):
        request = control.step(tick)
        tick.measured.current_A = request.current_A
    assert request.current_A == pytest.approx(10)
    assert request.phase == vk.ChargePhase.constant_current
    tick.measured.group_voltage_max_V = float("nan")
    for _ in range(12):
        request = control.step(tick)
        assert request.current_A == 0
    assert request.reason == vk.ChargeReason.lost_measurement
    assert request.open_contactor
    assert control.over()
    assert [event.reason for event in control.events][-2:] == [
        vk.ChargeReason.missing_sample,
        vk.ChargeReason.lost_measurement,
    ]
    assert control.charge_Ah == pytest.approx(10 * 40 / 3600, rel=0.1)
    with pytest.raises(vk.DataError, match=r"dt_s: 20"):
        control.step(vk.ChargeInput(dt_s=20))
    settings.voltage_max_V = 4.1
    with pytest.raises(vk.DataError, match=r"voltage_max_V: 4\.1"):
        vk.ChargeControl(plan, settings)
    settings.series = 0
    with pytest.raises(vk.DataError, match=r"series: 0"):
        vk.ChargeControl(plan, settings)


def test_pilot_and_cable_from_python():
    assert vk.pilot_signal(16).current_A == pytest.approx(9.6)
    assert vk.pilot_signal(5).meaning == vk.PilotMeaning.digital_communication
    assert vk.cable_rating(220).current_A == 32
    with pytest.raises(vk.DataError, match="duty_cycle_percent"):
        vk.pilot_signal(101)
    with pytest.raises(vk.DataError, match="resistance_ohm"):
        vk.cable_rating(-1)
    with pytest.raises(vk.DataError, match="power_W has 2"):
        vk.PowerEfficiency([1, 2], [0.9])


def test_balancing_from_python():
    groups = [
        vk.BalancingGroup(soc=soc, capacity_Ah=50, voltage_V=4.1, ocv_slope_V=1.0, module=k // 2)
        for k, soc in enumerate((0.80, 0.81, 0.80, 0.83))
    ]
    settings = vk.BalancingPlanSettings(bleed_ohm=41, module_heat_max_W=0.2)
    plan, bleeds = vk.plan_balancing(groups, settings)
    assert [bleed.reason.name for bleed in bleeds] == ["level", "bleed", "level", "bleed"]
    assert bleeds[1].charge_Ah == pytest.approx(0.5)
    assert bleeds[1].resistor_s == pytest.approx(5 * 3600)
    # 0.41 W while it conducts, 0.2 W are allowed.
    assert bleeds[3].share == pytest.approx(0.2 / 0.41)
    assert plan.time_s == pytest.approx(15 * 3600 * 0.41 / 0.2)
    assert plan.module_heat_W == pytest.approx(0.2)
    assert plan.usable_after_Ah - plan.usable_Ah == pytest.approx(1.5)
    with pytest.raises(vk.DataError, match="bleed_ohm: 0"):
        vk.plan_balancing(groups, vk.BalancingPlanSettings(bleed_ohm=0))
    groups[0].capacity_Ah = float("nan")
    with pytest.raises(vk.DataError, match="groups: 4"):
        vk.plan_balancing(groups)


def test_twins_say_the_same(root):
    """The example in C++ is run by CTest; where it is built, both must print the same."""
    program = root / "build" / "release" / "examples" / "08_quay_charge"
    python = subprocess.run(
        [sys.executable, "examples/08_quay_charge.py"], capture_output=True, text=True, check=True, cwd=root
    )
    assert "full: the current has fallen to its end" in python.stdout
    if not program.exists():
        pytest.skip("the C++ examples are not built")
    cpp = subprocess.run([program], capture_output=True, text=True, check=True, cwd=root)
    assert cpp.stdout == python.stdout

"""C++ and Python carry the same names and numbers, every public thing says what it is, and the types hold."""

from __future__ import annotations

import enum
import importlib.util
import inspect
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
import voltkeel as vk

PUBLIC = [name for name in vk.__all__ if not name.startswith("_")]
WITH_PRIVATE_PARTS = (
    "SocFilter",
    "CoolingPlant",
    "ChargeControl",
    "PackFilter",
    "SensorChecks",
    "ChargeEndDetector",
    "CapacityEstimator",
    "ConsumptionEstimator",
    "TaperLearner",
    "CoulombCounter",
    "GroupDriftFit",
    "GroupFilters",
    "LimitTracker",
    "ParallelStrings",
    "SigmaFilter",
    "ResistanceGrowth",
    "RestDetector",
)
CLASSES = [name for name in PUBLIC if inspect.isclass(getattr(vk, name))]
FUNCTIONS = [name for name in PUBLIC if name not in CLASSES and callable(getattr(vk, name))]

# C++ names that Python does not have under the same name, and what serves there instead.
WITHOUT_TWIN = {
    "AxisPosition": "tables are looked up through CellModel",
    "CapacityState": "inside CapacityEstimator",
    "CellInput": "the arguments of CellModel.step",
    "CellLimits": "views of a controller; Cell owns the tables",
    "CellParameters": "views of a controller; Cell owns the tables",
    "CellSample": "the arguments of SocFilter.step",
    "CellState": "ModelState",
    "CellTables": "made from a Cell inside the calls",
    "CellTemperature": "ModelState.temperature_degC and core_over_case_K",
    "ChargeConditions": "the arguments of time_to_full",
    "ChargeControlState": "ChargeControl.events, time_s and charge_Ah",
    "ChargeCurvePoint": "ChargeOutlook.curve, as arrays",
    "ChargePoint": "ChargeOutlook.curve, as arrays",
    "ChargeRise": "ChargeRiseFit, in Cell",
    "ChargeTransfer": "ChargeTransferGrid, in Cell",
    "ChargeTransferStep": "inside CellModel.step",
    "ConsumptionState": "inside ConsumptionEstimator",
    "CoolingStep": "between simulate and CoolingPlant",
    "CurrentTable": "CurrentGrid",
    "DrainWorkspace": "inside usable_energy",
    "Error": "DataError",
    "Finding": "the text of a DataError",
    "GroupLogReading": "the pair that read_group_log returns",
    "GroupReplaySettings": "the arguments of replay_groups",
    "JoinSettings": "the argument of join_logs",
    "LogReading": "the pair that read_log returns",
    "LogSection": "rows of a SlowTest, only for the fit",
    "ModelForm": "CellModel and SocFilter choose by themselves",
    "EfficiencyTable": "EfficiencyGrid",
    "FixedDrainWorkspace": "inside usable_energy",
    "FixedPackLimitWorkspace": "inside pack_limits",
    "GroupFlag": "GroupState.voltage_flagged and temperature_flagged",
    "GroupStates": "a list of GroupState",
    "LimitComponent": "PackPart",
    "LimitPack": "views of a controller; Pack owns what they show",
    "LimitString": "views of a controller; PackString",
    "OcvNode": "CellModel.ocv_V",
    "OcvPoint": "CellModel.ocv_V and ocv_slope_V",
    "OcvTable": "OcvCurve",
    "PackChargePoint": "PackChargeOutlook.curve, as arrays",
    "PackLimitWorkspace": "inside pack_limits",
    "PackSample": "the arguments of PackFilter.step",
    "PackSpread": "PackFilter.soc, as an array",
    "PortableRandom": "draw_differences and read_sensors, by their seeds",
    "ReplaySettings": "the arguments of replay",
    "ResistanceNode": "CellModel.resistance_at",
    "ResistancePlace": "CellModel.resistance_at",
    "ResistancePoint": "CellModel.resistance_at",
    "ResistanceStd": "the dict that resistance_with_std returns",
    "ResistanceTable": "ResistanceGrid",
    "SchemaViolation": "the lines of a DataError",
    "SensorBlock": "inside SensorChecks",
    "SensorCheckState": "inside SensorChecks",
    "SensorSample": "the arguments of SensorChecks.step",
    "SnapshotParts": "the keywords of PackFilter.snapshot",
    "SocFilterState": "SocFilter.state and covariance",
    "Status": "raised as DataError; ChargeOutlook.message",
    "StepJacobian": "for filters and fits only",
    "StringSource": "the arguments of split_current",
    "StringsSample": "the arguments of ParallelStrings.step",
    "SymmetricMatrix": "SocFilter.covariance",
    "TaperState": "inside TaperLearner",
    "ThermalParameters": "ThermalFit, in Cell",
    "ThermalStep": "inside limits, forecasts and thermal_trace",
    "TimeOff": "the arguments of PackFilter.start_from_snapshot",
    "TimeCurrentPoint": "PackPart.curve_time_s and curve_current_A",
    "UniformAxis": "tables are looked up through CellModel",
    "UseAround": "the arguments of SocFilter.start_under_load",
    "ValueAndSlope": "CellModel.resistance_at",
    "ValueStd": "the pairs that resistance_with_std returns",
    "VoltagePoint": "the voltage that CellModel.step returns",
    "ZoneLimits": "inside the forecast and ChargeControl",
    "ZoneSpan": "inside the forecast and ChargeControl",
    "arrhenius_value": "CellModel.resistance_at",
    "cell_state": "inside the calls that take a ModelState",
    "channel_quantity_name": "ChannelQuantity.name",
    "check_log": "the constructor of Log",
    "data_fault_name": "DataFault.message",
    "data_severity_name": "DataSeverity.message",
    "fit_pulses": "fit_cell",
    "follow_charge": "TaperLearner.follow",
    "learn_charge": "TaperLearner.learn and LearnedTaper.learn",
    "model_state": "SocFilter.state and CellModel.state",
    "ocv_nodes": "CellModel.ocv_V",
    "pack_charge_band": "pack_charge, whose sigmas make the band",
    "parse_group_log": "GroupLog, from columns",
    "parse_json": "the json module",
    "parse_log": "Log, from columns",
    "sensor_fault_name": "SensorFaultKind.message",
    "simulation_event_name": "SimulationEventKind.message",
    "step_kind_name": "StepKind.message",
    "taper_learner": "LearnedTaper.learner",
    "validate": "the constructors and calls, which raise DataError",
    "with_form": "CellModel and SocFilter choose by themselves",
}
# C++ fields without a Python attribute of the same name: (struct, field).
FIELDS_WITHOUT_TWIN = {
    ("ChargePlan", "zone_count"): "len(zones)",
    ("ChargePlan", "stage_count"): "len(stages)",
    ("ChargePlan", "stage_capacity"): "a bound of stages, in its error",
    ("PowerEfficiency", "count"): "len(efficiency)",
    ("PowerEfficiency", "capacity"): "a bound, in its error",
    ("ChargePlan", "zone_capacity"): "a bound of zones, in its error",
    ("ChargeOutlook", "status"): "message",
    ("LearnedTaper", "state"): "charges and learner",
    ("ChargeTimeOutlook", "status"): "message",
    ("DepartureOutlook", "status"): "message",
    ("PackChargeOutlook", "status"): "message",
    ("PackDeparture", "status"): "message",
    ("TorqueDrive", "motoring_table"): "the argument of torque_limits",
    ("TorqueDrive", "regeneration_table"): "the argument of torque_limits",
    ("PackLayout", "largest_count"): "a bound, in the errors",
    ("SlowTest", "discharge"): "a section of rows, only for the fit",
    ("SlowTest", "charge"): "a section of rows, only for the fit",
    ("SlowTest", "soc"): "only for the fit",
    ("SimulationSettings", "cooling"): "the argument of simulate",
}


def bare(text: str) -> str:
    """Headers without comments and without what stands in `namespace detail`."""
    text = re.sub(
        r"^namespace (voltkeel::)?detail \{.*?^\}  // namespace (voltkeel::)?detail$",
        "",
        text,
        flags=re.DOTALL | re.MULTILINE,
    )
    return re.sub(r"//[^\n]*", "", text)


@pytest.fixture(scope="module")
def headers(root) -> dict[str, str]:
    folder = root / "include" / "voltkeel"
    found = {p.relative_to(folder).as_posix(): bare(p.read_text(encoding="utf-8")) for p in folder.rglob("*.hpp")}
    assert len(found) > 20
    return found


def structs(headers: dict[str, str]) -> dict[str, str]:
    """Public structs and classes at namespace level, with their bodies."""
    form = re.compile(r"^(?:struct|class) (\w+)(?: final)?(?: : [^{;]*)? \{(.*?)^\};", re.DOTALL | re.MULTILINE)
    return {name: body for text in headers.values() for name, body in form.findall(text)}


def functions(headers: dict[str, str]) -> set[str]:
    """Free functions of the desktop headers and of pack/, the ones a binding can name."""
    form = re.compile(
        r"^(?!struct|class|enum|using|return|template)[\w\[][\w\[\]:<>,&* \n]*?\b([a-z]\w*)\(", re.MULTILINE
    )
    found = set()
    for path, text in headers.items():
        if path.split("/")[0] in ("io", "fit", "pack", "simulate"):
            outside = re.sub(r"^(?:struct|class) .*?^\};", "", text, flags=re.DOTALL | re.MULTILINE)
            found |= {name for name in form.findall(outside) if name not in ("decltype", "sizeof")}
    return found


def enumerators(headers: dict[str, str], name: str) -> dict[str, int]:
    """Names and numbers of a C++ enum."""
    body = re.search(rf"enum (?:class )?{name}\b[^{{]*\{{(.*?)\}};", "\n".join(headers.values()), re.DOTALL)
    assert body, name
    found: dict[str, int] = {}
    for item in filter(None, (part.strip() for part in body[1].split(","))):
        key, _, value = (part.strip() for part in item.partition("="))
        # Of a literal or a shifted one, 1U << 3U.
        found[key] = eval(re.sub(r"(?<=\d)U\b", "", value)) if value else len(found)
    return found


@pytest.mark.parametrize(
    ("name", "prefix"),
    [("FaultBit", "fault_"), ("GroupFaultBit", "group_"), ("SensorFaultBit", "sensor_")]
    + [(name, "") for name in ("LimitReason", "ChargePhase", "TimeFinding", "Chemistry", "PulseForm", "CurrentHold")]
    + [(name, "") for name in ("PilotMeaning", "CableMeaning", "ProximityWindows", "SupplyKind", "SupplyReason")]
    + [("StageKind", ""), ("ChargeReason", ""), ("BleedReason", "")]
    + [(name, "") for name in ("TimeFormat", "StepKind", "DataFault", "DataSeverity", "SpeedUnit")]
    + [(name, "") for name in ("ChannelQuantity", "LoadKind", "SimulationEventKind", "CoolingKind", "SensorFaultKind")]
    + [("CoolingSupply", "")],
)
def test_enums_have_the_numbers_of_the_headers(headers, name, prefix):
    cpp = {key.removeprefix(prefix): value for key, value in enumerators(headers, name).items()}
    assert len(cpp) >= 2
    python = {key: int(value) for key, value in getattr(vk, name).__members__.items()}
    assert python == cpp


def test_messages_of_enums_are_those_of_the_headers(headers):
    text = "\n".join(headers.values())
    supply = ("PilotMeaning", "CableMeaning", "SupplyReason")
    for name in ("LimitReason", "ChargePhase", "StageKind", "ChargeReason", "BleedReason", *supply):
        for key, value in getattr(vk, name).__members__.items():
            said = re.search(rf'case {name}::{key}:\s*return "([^"]*)"', text)
            assert said, key
            assert value.message == said[1]


def test_every_public_type_of_cpp_has_a_twin(headers):
    found = set(structs(headers)) | set(
        re.findall(r"^enum (?:class )?(\w+)", "\n".join(headers.values()), re.MULTILINE)
    )
    assert {"Cell", "SocFilter", "Log", "FaultBit", "PulseFitSettings"} <= found
    assert sorted(found - set(PUBLIC) - set(WITHOUT_TWIN)) == []


def test_every_desktop_function_of_cpp_has_a_twin(headers):
    found = functions(headers)
    assert {"fit_cell", "read_log", "time_to_full", "cell_power_W", "check", "replay", "load_pack"} <= found
    assert sorted(found - set(PUBLIC) - set(WITHOUT_TWIN)) == []


def test_the_list_of_exceptions_is_not_out_of_date(headers):
    text = "\n".join(headers.values())
    assert [name for name in WITHOUT_TWIN if not re.search(rf"\b{name}\b", text)] == []
    assert [name for name in WITHOUT_TWIN if name in PUBLIC] == []
    bodies = structs(headers)
    for struct, field in FIELDS_WITHOUT_TWIN:
        assert re.search(rf"\b{field}\b", bodies[struct]), (struct, field)
        assert not hasattr(getattr(vk, struct), field), (struct, field)


def test_every_python_name_comes_from_cpp(headers):
    text = "\n".join(headers.values())
    own = {"DataError", "CellModel", "PulseFitBranch", "steps_table"}
    assert [name for name in PUBLIC if name not in own and not re.search(rf"\b{name}\b", text)] == []


def test_every_field_of_a_struct_has_a_twin(headers):
    """A knob that is added in C++ must not be missed in Python."""
    member = re.compile(r"^    [\w:<>, *]+? (\w+(?:, \w+)*)(?:\[\w*\])?\s*(?:\{[^;]*\}|=[^;]*)?;", re.MULTILINE)
    count = 0
    for name, body in structs(headers).items():
        if name not in PUBLIC or name in WITH_PRIVATE_PARTS:
            continue
        body = re.sub(r"^    struct .*?^    \};", "", body, flags=re.DOTALL | re.MULTILINE)
        for fields in member.findall(body):
            for field in fields.split(", "):
                count += 1
                assert hasattr(getattr(vk, name), field) or (name, field) in FIELDS_WITHOUT_TWIN, f"{name}.{field}"
    assert count > 150


@pytest.mark.parametrize("name", CLASSES + FUNCTIONS)
def test_everything_says_what_it_is(name):
    thing = getattr(vk, name)
    text = inspect.getdoc(thing)
    assert text, name
    # What pybind11 writes by itself, signature and members, does not count.
    said = [line for line in text.splitlines() if line and not re.match(rf"{name}\(|Members:|  \w+$", line)]
    assert said, name
    if name in CLASSES and not issubclass(thing, (Exception, enum.Enum)):
        for key, method in vars(thing).items():
            if not key.startswith("_") and callable(method) and not isinstance(method, thing):
                lines = (method.__doc__ or "").splitlines()
                assert [x for x in lines if x and not x.startswith(f"{key}(")], f"{name}.{key}"


def test_signatures_show_no_address():
    for name in FUNCTIONS:
        assert " at 0x" not in getattr(vk, name).__doc__
    assert " at 0x" not in vk.SocFilter.__init__.__doc__


def test_version_is_that_of_the_header(root):
    text = (root / "include" / "voltkeel" / "version.hpp").read_text(encoding="utf-8")
    numbers = [re.search(rf"VOLTKEEL_VERSION_{part} (\d+)", text)[1] for part in ("MAJOR", "MINOR", "PATCH")]
    assert vk.__version__ == ".".join(numbers)


# ---------------------------------------------------------------- types

USE = """
import numpy as np
import voltkeel as vk

log, report = vk.read_log("day.csv", current_offset_A=0.01)
cell: vk.Cell = vk.fit_cell(log, [log], vk.FitSettings(name="x"), lambda share, stage: True).cell
trace = vk.replay(cell, log, initial_soc=0.8, progress=lambda share: None)
worst: float = float(np.abs(trace.innovation_V).max())
limits: list[vk.HorizonLimit] = vk.current_limits(cell, trace.end, [2, 10])
reason: str = limits[0].charge.reason.message
full: bool = vk.time_to_full(cell, trace.end, cell.charge, 20).forecast.reached
bits: int = vk.SocFilter(cell).step(0.0, 3.7, 25.0, 1).fault_bits & int(vk.FaultBit.reset)
"""


@pytest.fixture(scope="module")
def cache(tmp_path_factory) -> Path:
    """What mypy learns of NumPy, which takes seconds, learnt once."""
    return tmp_path_factory.mktemp("mypy")


def run_mypy(folder: Path, cache: Path, text: str, root: Path) -> subprocess.CompletedProcess[str]:
    pytest.importorskip("mypy", reason="mypy is not installed")
    (folder / "use.py").write_text(text, encoding="utf-8")
    package = Path(vk.__file__).parent
    assert (package / "py.typed").is_file()
    # mypy is to look at the package's own files, wherever it lies.
    command = [sys.executable, "-m", "mypy", "--strict", "--cache-dir", str(cache), str(folder / "use.py")]
    environment = {**os.environ, "MYPYPATH": str(root / "python"), "MYPY_FORCE_COLOR": "0"}
    return subprocess.run(command, capture_output=True, text=True, cwd=root, env=environment, check=False)


def test_types_hold_in_strict_mypy(tmp_path, cache, root):
    result = run_mypy(tmp_path, cache, USE, root)
    assert result.returncode == 0, result.stdout + result.stderr


@pytest.mark.parametrize(
    ("wrong", "code"),
    [
        ("cell: vk.Cell = vk.load_cell(3)", "arg-type"),
        ("x: str = vk.PackLayout().series", "assignment"),
        ("vk.SocEstimate().soc_of_charge", "attr-defined"),
        ("vk.current_limits()", "call-arg"),
    ],
)
def test_types_catch_mistakes(tmp_path, cache, root, wrong, code):
    result = run_mypy(tmp_path, cache, f"import voltkeel as vk\n{wrong}\n", root)
    assert result.returncode == 1
    assert f"[{code}]" in result.stdout


def test_the_stub_is_that_of_the_module(root, tmp_path):
    """Write it anew with: pybind11-stubgen voltkeel._voltkeel -o python."""
    if importlib.util.find_spec("pybind11_stubgen") is None:
        pytest.skip("pybind11-stubgen is not installed: the stub was not compared with the module")
    command = [sys.executable, "-m", "pybind11_stubgen", "voltkeel._voltkeel", "-o", str(tmp_path)]
    subprocess.run(command, capture_output=True, text=True, check=True)
    written = (tmp_path / "voltkeel" / "_voltkeel.pyi").read_text(encoding="utf-8")
    kept = (root / "python" / "voltkeel" / "_voltkeel.pyi").read_text(encoding="utf-8")
    assert written.splitlines() == kept.splitlines(), test_the_stub_is_that_of_the_module.__doc__

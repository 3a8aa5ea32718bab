"""Seeds, data folders and the cells that several tests share."""

from __future__ import annotations

import importlib.util
import os
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
import voltkeel as vk
from hypothesis import settings

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "data" / "demo"

# The same name and default as in the C++ tests.
SEED = int(os.environ.get("VOLTKEEL_SEED") or 20260101)

# Hypothesis prints a failing case as code; derandomize takes the cases from the test itself, the same each run.
settings.register_profile("voltkeel", derandomize=True, deadline=None, max_examples=200, print_blob=True)
settings.load_profile("voltkeel")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The blocks of the README take longest: first, so that no core waits for them at the end."""
    items.sort(key=lambda item: item.path.name != "test_readme.py")


def pytest_report_header() -> str:
    return f"VOLTKEEL_SEED={SEED}, VOLTKEEL_DATA={os.environ.get('VOLTKEEL_DATA', '(not set)')}"


def load_program(name: str) -> ModuleType:
    """Load a program that lies beside the tests as a module: what it does is then done in one way only."""
    spec = importlib.util.spec_from_file_location(name, ROOT / "tests" / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def random() -> np.random.Generator:
    """Random numbers that repeat with VOLTKEEL_SEED."""
    return np.random.default_rng(SEED)


@pytest.fixture(scope="session")
def root() -> Path:
    return ROOT


@pytest.fixture(scope="session")
def demo() -> Path:
    """The folder of the invented demo data."""
    return DEMO


def _public_data(folder: str, source: str) -> Path:
    given = os.environ.get("VOLTKEEL_DATA")
    path = Path(given) / folder if given else None
    if path is None or not path.is_dir():
        pytest.skip(f"public data not found: fetch {source} and set VOLTKEEL_DATA to the folder that holds {folder}")
    return path


@pytest.fixture(scope="session")
def cell_a_data() -> Path:
    """Tests of a 2.9 Ah 18650 cell, current positive when charging."""
    return _public_data(
        "cell_a_18650",
        "Kollmeyer 2018, doi 10.17632/wykht8y7tg.1 (as CSV with the columns time_s, current_A positive when "
        "charging, voltage_V, temperature_degC)",
    )


@pytest.fixture(scope="session")
def cell_b_data() -> Path:
    """Tests of a 33 Ah pouch cell, current positive when charging, no temperature."""
    return _public_data(
        "cell_b_pouch33",
        "Wiggins, Allu, Wang 2019, doi 10.5281/zenodo.2580327 (as CSV with the columns time_s, current_A positive "
        "when charging, voltage_V, temperature_degC)",
    )


@pytest.fixture(scope="session")
def drive_cycles() -> Path:
    """Traces of published driving cycles, with a time and a speed column each."""
    return _public_data(
        "drive_cycles",
        "the traces of 40 CFR 86 and 40 CFR 600 (as udds.csv, hwfet.csv, us06.csv)",
    )


def make_cell(branches: int = 3) -> vk.Cell:
    """Make an invented 3 Ah cell whose every parameter depends on SOC and temperature.

    The OCV has a node at every half percent, where the model's own table has them, so that straight lines
    between its nodes are what the model walks.
    """
    soc = np.linspace(0, 1, 201)
    mean = 3.1 + 0.55 * soc + 0.45 * soc**3 + 0.12 * np.tanh(12 * (soc - 0.08)) + 0.02 * np.sin(9 * soc)
    half_gap = 0.004 + 0.006 * (1 - soc) ** 2
    nodes = np.linspace(0, 1, 11)
    temperatures = np.array([-10.0, 10.0, 30.0])
    cold = np.exp(2500 * (1 / (temperatures[:, None] + 273.15) - 1 / 303.15))
    shape = 1 + 0.9 * (1 - nodes) ** 4 + 0.2 * nodes**6
    time_s = [3.0, 45.0, 1500.0, 9000.0] if branches == 4 else [3.0, 45.0, 1500.0]
    return vk.Cell(
        name="invented 3 Ah cell",
        capacity_Ah=3.0,
        capacity_Ah_std=0.03,
        coulombic_efficiency=0.997,
        self_discharge_per_s=1e-9,
        hysteresis_rate=40.0,
        ocv=vk.OcvCurve(
            reference_temperature_degC=22.0,
            soc=soc,
            discharge_V=mean - half_gap,
            charge_V=mean + half_gap,
            voltage_std_V=np.full(201, 0.002),
            entropy_V_per_K=2e-4 * np.sin(6 * soc) - 1e-4,
        ),
        resistance=vk.ResistanceGrid(
            temperature_degC=temperatures,
            soc=nodes,
            r0_ohm=0.020 * np.sqrt(cold) * shape,
            r0_ohm_std=0.001 * cold * shape,
            branches=[
                vk.BranchGrid(
                    resistance_ohm=0.010 * (1 + 0.3 * k) * cold * shape,
                    resistance_ohm_std=0.001 * cold * shape,
                    time_s=time_s[k] * cold**0.4 * (1 + 0.4 * nodes * (1 - nodes)),
                    time_s_std=0.2 * time_s[k] * cold * shape,
                )
                for k in range(branches)
            ],
        ),
        charge_rise=vk.ChargeRiseFit(soc_start=0.8, resistance_ohm=0.02),
        thermal=vk.ThermalFit(heat_capacity_J_per_K=45.0, resistance_K_per_W=8.0, source="invented"),
        window=vk.CellWindow(
            voltage_min_V=2.9,
            voltage_max_V=4.2,
            soc_min=0.02,
            soc_max=0.98,
            charge_temperature_min_degC=0.0,
            charge_temperature_max_degC=45.0,
            discharge_temperature_min_degC=-20.0,
            discharge_temperature_max_degC=60.0,
        ),
        current_limits=[
            vk.CurrentGrid(
                duration_s=10,
                temperature_degC=[0.0, 25.0],
                soc=[0.0, 0.5, 1.0],
                charge_A=[[0.5, 1.0, 0.2], [30.0, 30.0, 30.0]],
                discharge_A=[[2.0, 6.0, 9.0], [60.0, 60.0, 60.0]],
            )
        ],
        charge=vk.ChargePlan(
            zones=[vk.ChargeZone(temperature_min_degC=0, temperature_max_degC=45, current_A=1.5, voltage_V=4.15)],
            end_current_A=0.1,
        ),
    )


@pytest.fixture(scope="session")
def cell() -> vk.Cell:
    return make_cell()


@pytest.fixture(scope="session")
def demo_fit(demo: Path) -> vk.FitResult:
    """The demo cell, fitted with default settings."""
    slow = vk.read_log(demo / "slow_test_25degC.csv")[0]
    pulses = [vk.read_log(demo / f"pulses_{t}degC.csv")[0] for t in (25, 10, 0)]
    return vk.fit_cell(slow, pulses)


@pytest.fixture(scope="session")
def cell_a_fit(cell_a_data):
    """Slow test and all pulse tests of the public 18650 cell; the tester's offset is known (see its README)."""

    def read(name: str) -> vk.Log:
        return vk.read_log(cell_a_data / f"{name}.csv", current_offset_A=0.009)[0]

    pulses = [read(f"hppc_{t}degC") for t in ("25", "10", "0", "n10")]
    return vk.fit_cell(read("ocv_c20_25degC"), pulses, vk.FitSettings(pulse_offset_share_std=0.0))

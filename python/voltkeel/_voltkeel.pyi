"""
Compiled part of voltkeel: the same code as the C++ library, with the same names.
"""
from __future__ import annotations
import collections.abc
import numpy
import numpy.typing
import os
import typing
__all__: list[str] = ['BranchGrid', 'Cell', 'CellModel', 'CellWindow', 'ChargeForecast', 'ChargeOutlook', 'ChargePhase', 'ChargePlan', 'ChargeRiseFit', 'ChargeZone', 'CurrentGrid', 'DataError', 'DirectionLimit', 'FaultBit', 'FitResult', 'FitSettings', 'ForecastSettings', 'HorizonLimit', 'LimitReason', 'LimitSettings', 'Log', 'LogFinding', 'LogReport', 'ModelState', 'OcvCurve', 'Pack', 'PackLayout', 'Provenance', 'PulseFit', 'PulseFitBranch', 'PulseFitSettings', 'ResistanceGrid', 'SlowTest', 'SlowTestSettings', 'SocEstimate', 'SocFilter', 'SocFilterSettings', 'SocTrace', 'SourceFile', 'ThermalFit', 'TimeFinding', 'cell_count', 'cell_current_A', 'cell_power_W', 'check', 'current_limits', 'fit_cell', 'load_cell', 'load_pack', 'pack_capacity_Ah', 'pack_current_A', 'pack_power_W', 'pack_voltage_V', 'parse_cell', 'read_log', 'read_slow_test', 'replay', 'save_cell', 'save_pack', 'time_to_full', 'time_to_soc', 'to_json', 'write_trace']
class DataError(ValueError):
    """
    Data or a setting cannot be used; the text names file, line, field, value and bound.
    """
class OcvCurve:
    """
    Open-circuit voltage as measured; every array has the length of soc.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def charge_V(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) branch walked while charging
        """
    @charge_V.setter
    def charge_V(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def discharge_V(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) branch walked while discharging
        """
    @discharge_V.setter
    def discharge_V(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def entropy_V_per_K(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) dOCV/dT, or empty
        """
    @entropy_V_per_K.setter
    def entropy_V_per_K(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def reference_temperature_degC(self) -> float:
        ...
    @reference_temperature_degC.setter
    def reference_temperature_degC(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) from 0 to 1
        """
    @soc.setter
    def soc(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def voltage_std_V(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) standard deviation
        """
    @voltage_std_V.setter
    def voltage_std_V(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
class BranchGrid:
    """
    One RC branch over [temperature][soc].
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def resistance_ohm(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (t, s)
        """
    @resistance_ohm.setter
    def resistance_ohm(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def resistance_ohm_std(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (t, s)
        """
    @resistance_ohm_std.setter
    def resistance_ohm_std(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def time_s(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (t, s)
        """
    @time_s.setter
    def time_s(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def time_s_std(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (t, s)
        """
    @time_s_std.setter
    def time_s_std(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
class ResistanceGrid:
    """
    Resistances as fitted, over [temperature][soc].
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def branches(self) -> list[BranchGrid]:
        """
        list of 1 to 4 BranchGrid, fastest first (a copy in each direction)
        """
    @branches.setter
    def branches(self, arg1: collections.abc.Sequence[BranchGrid]) -> None:
        ...
    @property
    def r0_ohm(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (t, s) ohmic resistance
        """
    @r0_ohm.setter
    def r0_ohm(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def r0_ohm_std(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (t, s) standard deviation
        """
    @r0_ohm_std.setter
    def r0_ohm_std(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def soc(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (s,) from 0 to 1
        """
    @soc.setter
    def soc(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def temperature_degC(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (t,) tested temperatures
        """
    @temperature_degC.setter
    def temperature_degC(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
class ChargeRiseFit:
    """
    Extra slow resistance to a charging current near full.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def resistance_ohm(self) -> float:
        ...
    @resistance_ohm.setter
    def resistance_ohm(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def resistance_ohm_std(self) -> float:
        ...
    @resistance_ohm_std.setter
    def resistance_ohm_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc_start(self) -> float:
        ...
    @soc_start.setter
    def soc_start(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class ThermalFit:
    """
    One thermal mass with one path to the surroundings.
    """
    source: str
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def heat_capacity_J_per_K(self) -> float:
        ...
    @heat_capacity_J_per_K.setter
    def heat_capacity_J_per_K(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def heat_capacity_J_per_K_std(self) -> float:
        ...
    @heat_capacity_J_per_K_std.setter
    def heat_capacity_J_per_K_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def resistance_K_per_W(self) -> float:
        ...
    @resistance_K_per_W.setter
    def resistance_K_per_W(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def resistance_K_per_W_std(self) -> float:
        ...
    @resistance_K_per_W_std.setter
    def resistance_K_per_W_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class CellWindow:
    """
    Voltage, SOC and temperature windows of one cell.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def charge_temperature_max_degC(self) -> float:
        ...
    @charge_temperature_max_degC.setter
    def charge_temperature_max_degC(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def charge_temperature_min_degC(self) -> float:
        ...
    @charge_temperature_min_degC.setter
    def charge_temperature_min_degC(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def discharge_temperature_max_degC(self) -> float:
        ...
    @discharge_temperature_max_degC.setter
    def discharge_temperature_max_degC(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def discharge_temperature_min_degC(self) -> float:
        ...
    @discharge_temperature_min_degC.setter
    def discharge_temperature_min_degC(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc_max(self) -> float:
        ...
    @soc_max.setter
    def soc_max(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc_min(self) -> float:
        ...
    @soc_min.setter
    def soc_min(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_max_V(self) -> float:
        ...
    @voltage_max_V.setter
    def voltage_max_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_min_V(self) -> float:
        ...
    @voltage_min_V.setter
    def voltage_min_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class CurrentGrid:
    """
    Allowed currents for one duration, magnitudes over [temperature][soc].
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def charge_A(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (t, s)
        """
    @charge_A.setter
    def charge_A(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def discharge_A(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (t, s)
        """
    @discharge_A.setter
    def discharge_A(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def duration_s(self) -> float:
        ...
    @duration_s.setter
    def duration_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (s,)
        """
    @soc.setter
    def soc(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def temperature_degC(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (t,)
        """
    @temperature_degC.setter
    def temperature_degC(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
class ChargeZone:
    """
    Charge current and voltage between two temperatures.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def current_A(self) -> float:
        ...
    @current_A.setter
    def current_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def temperature_max_degC(self) -> float:
        ...
    @temperature_max_degC.setter
    def temperature_max_degC(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def temperature_min_degC(self) -> float:
        ...
    @temperature_min_degC.setter
    def temperature_min_degC(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_V(self) -> float:
        ...
    @voltage_V.setter
    def voltage_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class ChargePlan:
    """
    CC-CV plan: zones of temperature and the end current.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def end_current_A(self) -> float:
        ...
    @end_current_A.setter
    def end_current_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def zones(self) -> list[ChargeZone]:
        """
        list of 1 to 8 ChargeZone in order of temperature
        """
    @zones.setter
    def zones(self, arg1: collections.abc.Sequence[ChargeZone]) -> None:
        ...
class SourceFile:
    """
    A file that a cell was made from.
    """
    name: str
    role: str
    sha256: str
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def current_offset_A(self) -> float:
        ...
    @current_offset_A.setter
    def current_offset_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def initial_soc(self) -> float:
        ...
    @initial_soc.setter
    def initial_soc(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def residual_rms_V(self) -> float:
        ...
    @residual_rms_V.setter
    def residual_rms_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def rows(self) -> int:
        ...
    @rows.setter
    def rows(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def temperature_degC(self) -> float:
        ...
    @temperature_degC.setter
    def temperature_degC(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class Provenance:
    """
    Where the numbers of a cell come from.
    """
    made_at: str
    made_by: str
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def files(self) -> list[SourceFile]:
        """
        list of SourceFile (a copy in each direction)
        """
    @files.setter
    def files(self, arg1: collections.abc.Sequence[SourceFile]) -> None:
        ...
    @property
    def notes(self) -> list[str]:
        ...
    @notes.setter
    def notes(self, arg0: collections.abc.Sequence[str]) -> None:
        ...
class Cell:
    """
    One cell: everything a cell.json holds.
    """
    charge: ChargePlan
    charge_rise: ChargeRiseFit
    name: str
    ocv: OcvCurve
    provenance: Provenance
    resistance: ResistanceGrid
    thermal: ThermalFit
    window: CellWindow
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    def __repr__(self) -> str:
        ...
    @property
    def capacity_Ah(self) -> float:
        ...
    @capacity_Ah.setter
    def capacity_Ah(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def capacity_Ah_std(self) -> float:
        ...
    @capacity_Ah_std.setter
    def capacity_Ah_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def coulombic_efficiency(self) -> float:
        ...
    @coulombic_efficiency.setter
    def coulombic_efficiency(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def current_limits(self) -> list[CurrentGrid]:
        """
        list of CurrentGrid, rising duration (a copy in each direction)
        """
    @current_limits.setter
    def current_limits(self, arg1: collections.abc.Sequence[CurrentGrid]) -> None:
        ...
    @property
    def hysteresis_rate(self) -> float:
        ...
    @hysteresis_rate.setter
    def hysteresis_rate(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def self_discharge_per_s(self) -> float:
        ...
    @self_discharge_per_s.setter
    def self_discharge_per_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class ModelState:
    """
    State of a cell model: where limits and forecasts start from.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def branch_V(self) -> list[float]:
        """
        One per branch; empty means at rest.
        """
    @branch_V.setter
    def branch_V(self, arg0: collections.abc.Sequence[typing.SupportsFloat | typing.SupportsIndex]) -> None:
        ...
    @property
    def hysteresis(self) -> float:
        """
        -1 (discharge branch) .. 1 (charge branch)
        """
    @hysteresis.setter
    def hysteresis(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def resistance_scale(self) -> float:
        """
        1 for the cell that was tested
        """
    @resistance_scale.setter
    def resistance_scale(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc(self) -> float:
        """
        0..1
        """
    @soc.setter
    def soc(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc_std(self) -> float:
        ...
    @soc_std.setter
    def soc_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def temperature_degC(self) -> float:
        ...
    @temperature_degC.setter
    def temperature_degC(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class CellModel:
    """
    The cell model: exact steps of any length at constant current.
    """
    def __init__(self, cell: Cell) -> None:
        """
        A model of a cell, full and at rest.
        """
    def ocv_V(self, soc: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], temperature_degC: typing.SupportsFloat | typing.SupportsIndex = 25.0, hysteresis: typing.SupportsFloat | typing.SupportsIndex = 0.0) -> typing.Any:
        """
        Open-circuit voltage in V.
        """
    def ocv_slope_V(self, soc: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], temperature_degC: typing.SupportsFloat | typing.SupportsIndex = 25.0) -> typing.Any:
        """
        Slope of the mean open-circuit voltage, V per unit SOC.
        """
    def reset(self, state: ModelState) -> None:
        """
        Set the state.
        """
    def resistance_at(self, soc: typing.SupportsFloat | typing.SupportsIndex, temperature_degC: typing.SupportsFloat | typing.SupportsIndex = 25.0) -> dict:
        """
        Resistances and time constants at a place, as a dict.
        """
    def run(self, time_s: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], current_A: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], temperature_degC: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> tuple[numpy.typing.NDArray[numpy.float64], numpy.typing.NDArray[numpy.float64]]:
        """
        Run along a current; the current of a row flows in the interval that ends there.
        
        Parameters
        ----------
        time_s, current_A : (n,)
        temperature_degC : (n,) or (1,)
        
        Returns
        -------
        (voltage_V (n,), soc (n,))
        """
    def soc_from_ocv(self, voltage_V: typing.SupportsFloat | typing.SupportsIndex, temperature_degC: typing.SupportsFloat | typing.SupportsIndex = 25.0, hysteresis: typing.SupportsFloat | typing.SupportsIndex = 0.0) -> float:
        """
        SOC at which the open-circuit voltage is voltage_V; raises DataError outside the table.
        """
    def step(self, current_A: typing.SupportsFloat | typing.SupportsIndex, dt_s: typing.SupportsFloat | typing.SupportsIndex, temperature_degC: typing.SupportsFloat | typing.SupportsIndex = 25.0) -> float:
        """
        Hold a current (A, positive charges) for dt_s and return the terminal voltage (V) at the end.
        """
    @property
    def state(self) -> ModelState:
        """
        The present ModelState.
        """
class Log:
    """
    A log: one entry per row in each column, time strictly increasing, current positive when charging.
    """
    def __init__(self, time_s: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], current_A: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], voltage_V: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], temperature_degC: typing.Any, source: str = 'memory') -> None:
        """
        A log from columns of one length (lists, arrays or data frame columns).
        
        Parameters
        ----------
        time_s : (n,) strictly increasing
        current_A : (n,) positive when charging
        voltage_V : (n,)
        temperature_degC : (n,) or one number
        source : name used in messages
        
        Raises
        ------
        DataError
            Names column, row and value that cannot be used.
        """
    def __len__(self) -> int:
        ...
    def __repr__(self) -> str:
        ...
    @property
    def current_A(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) current in A, positive when charging
        """
    @property
    def source(self) -> str:
        """
        Name used in messages.
        """
    @source.setter
    def source(self, arg0: str) -> None:
        ...
    @property
    def temperature_degC(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) temperature in degC
        """
    @property
    def time_s(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) time in s
        """
    @property
    def voltage_V(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) terminal voltage in V
        """
class TimeFinding:
    """
    What can be odd about the time of a row.
    
    Members:
    
      gap
    
      repeated
    
      backward
    """
    __members__: typing.ClassVar[dict[str, TimeFinding]]
    backward: typing.ClassVar[TimeFinding]
    gap: typing.ClassVar[TimeFinding]
    repeated: typing.ClassVar[TimeFinding]
    @typing.overload
    def __eq__(self, other: TimeFinding) -> bool:
        ...
    @typing.overload
    def __eq__(self, other: typing.Any) -> bool:
        ...
    def __getstate__(self) -> int:
        ...
    def __hash__(self) -> int:
        ...
    def __index__(self) -> int:
        ...
    def __init__(self, value: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    def __int__(self) -> int:
        ...
    @typing.overload
    def __ne__(self, other: TimeFinding) -> bool:
        ...
    @typing.overload
    def __ne__(self, other: typing.Any) -> bool:
        ...
    def __repr__(self) -> str:
        ...
    def __setstate__(self, state: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    def __str__(self) -> str:
        ...
    @property
    def name(self) -> str:
        ...
    @property
    def value(self) -> int:
        ...
class LogFinding:
    """
    One row with an odd time.
    """
    @property
    def kind(self) -> TimeFinding:
        ...
    @property
    def line(self) -> int:
        """
        Line of the file, counted from 1.
        """
    @property
    def step_s(self) -> float:
        """
        Time since the last row kept.
        """
    @property
    def time_s(self) -> float:
        ...
class LogReport:
    """
    What reading a log came across.
    """
    def summary(self) -> str:
        """
        The report in plain words.
        """
    @property
    def findings(self) -> list[LogFinding]:
        ...
    @property
    def last_line_open(self) -> bool:
        ...
    @property
    def rows(self) -> int:
        ...
    @property
    def rows_dropped(self) -> int:
        ...
    @property
    def temperatures_filled(self) -> int:
        ...
class PackLayout:
    """
    Groups in series and cells in parallel per group.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def parallel(self) -> int:
        ...
    @parallel.setter
    def parallel(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def series(self) -> int:
        ...
    @series.setter
    def series(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
class Pack:
    """
    One pack: its layout and the cell it is made of.
    """
    cell: Cell
    cell_file: str
    layout: PackLayout
    name: str
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def notes(self) -> list[str]:
        ...
    @notes.setter
    def notes(self, arg0: collections.abc.Sequence[str]) -> None:
        ...
class SocFilterSettings:
    """
    Knobs of the SOC filter; every one has a default that needs no tuning.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def branch_share_std(self) -> float:
        ...
    @branch_share_std.setter
    def branch_share_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def gate(self) -> float:
        """
        Innovations beyond this many standard deviations are refused.
        """
    @gate.setter
    def gate(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def hysteresis_std_initial(self) -> float:
        ...
    @hysteresis_std_initial.setter
    def hysteresis_std_initial(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def hysteresis_std_walked(self) -> float:
        ...
    @hysteresis_std_walked.setter
    def hysteresis_std_walked(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def log_scale_std_initial(self) -> float:
        ...
    @log_scale_std_initial.setter
    def log_scale_std_initial(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def log_scale_std_per_sqrt_h(self) -> float:
        ...
    @log_scale_std_per_sqrt_h.setter
    def log_scale_std_per_sqrt_h(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def longest_step_s(self) -> float:
        ...
    @longest_step_s.setter
    def longest_step_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def overvoltage_share_std(self) -> float:
        """
        Part that grows with |overvoltage|.
        """
    @overvoltage_share_std.setter
    def overvoltage_share_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def reset_after_s(self) -> float:
        ...
    @reset_after_s.setter
    def reset_after_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def reset_soc_std(self) -> float:
        ...
    @reset_soc_std.setter
    def reset_soc_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def rest_std_V(self) -> float:
        ...
    @rest_std_V.setter
    def rest_std_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc_std_floor(self) -> float:
        ...
    @soc_std_floor.setter
    def soc_std_floor(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc_std_per_sqrt_h(self) -> float:
        """
        Growth of the SOC spread by counting alone.
        """
    @soc_std_per_sqrt_h.setter
    def soc_std_per_sqrt_h(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def update_interval_s(self) -> float:
        """
        The voltage is fused at most this often.
        """
    @update_interval_s.setter
    def update_interval_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_std_V(self) -> float:
        """
        Constant part of the voltage model error.
        """
    @voltage_std_V.setter
    def voltage_std_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class FaultBit:
    """
    Bits of the fault word.
    
    Members:
    
      current_not_finite
    
      voltage_not_finite
    
      temperature_not_finite
    
      time_step_invalid
    
      voltage_rejected
    
      reset
    
      soc_bounded
    
      temperature_outside
    
      not_started
    """
    __members__: typing.ClassVar[dict[str, FaultBit]]
    current_not_finite: typing.ClassVar[FaultBit]
    not_started: typing.ClassVar[FaultBit]
    reset: typing.ClassVar[FaultBit]
    soc_bounded: typing.ClassVar[FaultBit]
    temperature_not_finite: typing.ClassVar[FaultBit]
    temperature_outside: typing.ClassVar[FaultBit]
    time_step_invalid: typing.ClassVar[FaultBit]
    voltage_not_finite: typing.ClassVar[FaultBit]
    voltage_rejected: typing.ClassVar[FaultBit]
    @typing.overload
    def __and__(self, other: FaultBit) -> int:
        ...
    @typing.overload
    def __and__(self, other: typing.SupportsInt | typing.SupportsIndex) -> int:
        ...
    @typing.overload
    def __eq__(self, other: FaultBit) -> bool:
        ...
    @typing.overload
    def __eq__(self, other: typing.SupportsInt | typing.SupportsIndex) -> bool:
        ...
    @typing.overload
    def __eq__(self, other: typing.Any) -> bool:
        ...
    @typing.overload
    def __ge__(self, other: FaultBit) -> bool:
        ...
    @typing.overload
    def __ge__(self, other: typing.SupportsInt | typing.SupportsIndex) -> bool:
        ...
    def __getstate__(self) -> int:
        ...
    @typing.overload
    def __gt__(self, other: FaultBit) -> bool:
        ...
    @typing.overload
    def __gt__(self, other: typing.SupportsInt | typing.SupportsIndex) -> bool:
        ...
    def __hash__(self) -> int:
        ...
    def __index__(self) -> int:
        ...
    def __init__(self, value: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    def __int__(self) -> int:
        ...
    def __invert__(self) -> typing.Any:
        ...
    @typing.overload
    def __le__(self, other: FaultBit) -> bool:
        ...
    @typing.overload
    def __le__(self, other: typing.SupportsInt | typing.SupportsIndex) -> bool:
        ...
    @typing.overload
    def __lt__(self, other: FaultBit) -> bool:
        ...
    @typing.overload
    def __lt__(self, other: typing.SupportsInt | typing.SupportsIndex) -> bool:
        ...
    @typing.overload
    def __ne__(self, other: FaultBit) -> bool:
        ...
    @typing.overload
    def __ne__(self, other: typing.SupportsInt | typing.SupportsIndex) -> bool:
        ...
    @typing.overload
    def __ne__(self, other: typing.Any) -> bool:
        ...
    @typing.overload
    def __or__(self, other: FaultBit) -> int:
        ...
    @typing.overload
    def __or__(self, other: typing.SupportsInt | typing.SupportsIndex) -> int:
        ...
    @typing.overload
    def __rand__(self, other: FaultBit) -> int:
        ...
    @typing.overload
    def __rand__(self, other: typing.SupportsInt | typing.SupportsIndex) -> int:
        ...
    def __repr__(self) -> str:
        ...
    @typing.overload
    def __ror__(self, other: FaultBit) -> int:
        ...
    @typing.overload
    def __ror__(self, other: typing.SupportsInt | typing.SupportsIndex) -> int:
        ...
    @typing.overload
    def __rxor__(self, other: FaultBit) -> int:
        ...
    @typing.overload
    def __rxor__(self, other: typing.SupportsInt | typing.SupportsIndex) -> int:
        ...
    def __setstate__(self, state: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    def __str__(self) -> str:
        ...
    @typing.overload
    def __xor__(self, other: FaultBit) -> int:
        ...
    @typing.overload
    def __xor__(self, other: typing.SupportsInt | typing.SupportsIndex) -> int:
        ...
    @property
    def name(self) -> str:
        ...
    @property
    def value(self) -> int:
        ...
class SocEstimate:
    """
    What comes back from each sample.
    """
    def __repr__(self) -> str:
        ...
    @property
    def fault_bits(self) -> int:
        ...
    @property
    def innovation_V(self) -> float:
        """
        Measured minus predicted.
        """
    @property
    def innovation_std_V(self) -> float:
        ...
    @property
    def log_scale_std(self) -> float:
        ...
    @property
    def resistance_scale(self) -> float:
        ...
    @property
    def soc(self) -> float:
        """
        0..1
        """
    @property
    def soc_std(self) -> float:
        ...
    @property
    def test_ratio(self) -> float:
        """
        Above 1 the voltage is refused.
        """
    @property
    def updated(self) -> bool:
        ...
    @property
    def voltage_predicted_V(self) -> float:
        ...
class SocFilter:
    """
    SOC of one cell from current, voltage and temperature (extended Kalman filter).
    """
    def __init__(self, cell: Cell, settings: SocFilterSettings = ...) -> None:
        """
        A filter for a cell; it answers once it has been started.
        """
    def run(self, log: Log) -> tuple[numpy.typing.NDArray[numpy.float64], numpy.typing.NDArray[numpy.float64], numpy.typing.NDArray[numpy.uint32]]:
        """
        Run along a log; returns (soc, soc_std, fault_bits), each (n,).
        """
    def start(self, soc: typing.SupportsFloat | typing.SupportsIndex, soc_std: typing.SupportsFloat | typing.SupportsIndex, temperature_degC: typing.SupportsFloat | typing.SupportsIndex = 25.0) -> None:
        """
        Start at rest from a known SOC (0..1) with a standard deviation.
        """
    def start_from_voltage(self, voltage_V: typing.SupportsFloat | typing.SupportsIndex, current_A: typing.SupportsFloat | typing.SupportsIndex = 0.0, temperature_degC: typing.SupportsFloat | typing.SupportsIndex = 25.0) -> None:
        """
        Start from one voltage: at rest the OCV, under load with a wide spread.
        """
    def step(self, current_A: typing.SupportsFloat | typing.SupportsIndex, voltage_V: typing.SupportsFloat | typing.SupportsIndex, temperature_degC: typing.SupportsFloat | typing.SupportsIndex, dt_s: typing.SupportsFloat | typing.SupportsIndex) -> SocEstimate:
        """
        Take one sample (current positive when charging) and return the SocEstimate.
        """
    @property
    def covariance(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (m, m) covariance of [soc, branch voltages, hysteresis, ln resistance scale].
        """
    @property
    def state(self) -> ModelState:
        """
        The present ModelState.
        """
class SocTrace:
    """
    The filter's answer at every row of a log.
    """
    def __len__(self) -> int:
        ...
    @property
    def end(self) -> ModelState:
        """
        ModelState after the last row.
        """
    @property
    def fault_bits(self) -> numpy.typing.NDArray[numpy.uint32]:
        ...
    @property
    def innovation_V(self) -> numpy.typing.NDArray[numpy.float64]:
        ...
    @property
    def innovation_std_V(self) -> numpy.typing.NDArray[numpy.float64]:
        ...
    @property
    def rejected_count(self) -> int:
        ...
    @property
    def reset_count(self) -> int:
        ...
    @property
    def resistance_scale(self) -> numpy.typing.NDArray[numpy.float64]:
        ...
    @property
    def soc(self) -> numpy.typing.NDArray[numpy.float64]:
        ...
    @property
    def soc_std(self) -> numpy.typing.NDArray[numpy.float64]:
        ...
    @property
    def time_s(self) -> numpy.typing.NDArray[numpy.float64]:
        ...
    @property
    def update_count(self) -> int:
        ...
    @property
    def voltage_predicted_V(self) -> numpy.typing.NDArray[numpy.float64]:
        ...
class LimitReason:
    """
    What decides a limit. Numbers are frozen.
    
    Members:
    
      none
    
      voltage
    
      soc
    
      temperature
    
      maker_table
    """
    __members__: typing.ClassVar[dict[str, LimitReason]]
    maker_table: typing.ClassVar[LimitReason]
    none: typing.ClassVar[LimitReason]
    soc: typing.ClassVar[LimitReason]
    temperature: typing.ClassVar[LimitReason]
    voltage: typing.ClassVar[LimitReason]
    @typing.overload
    def __eq__(self, other: LimitReason) -> bool:
        ...
    @typing.overload
    def __eq__(self, other: typing.Any) -> bool:
        ...
    def __getstate__(self) -> int:
        ...
    def __hash__(self) -> int:
        ...
    def __index__(self) -> int:
        ...
    def __init__(self, value: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    def __int__(self) -> int:
        ...
    @typing.overload
    def __ne__(self, other: LimitReason) -> bool:
        ...
    @typing.overload
    def __ne__(self, other: typing.Any) -> bool:
        ...
    def __repr__(self) -> str:
        ...
    def __setstate__(self, state: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    def __str__(self) -> str:
        ...
    @property
    def message(self) -> str:
        """
        In plain words.
        """
    @property
    def name(self) -> str:
        ...
    @property
    def value(self) -> int:
        ...
class DirectionLimit:
    """
    What is allowed in one direction for one horizon.
    """
    @property
    def binding_value(self) -> float:
        """
        The bound that decides, in its own unit.
        """
    @property
    def current_A(self) -> float:
        """
        >= 0 for charge, <= 0 for discharge.
        """
    @property
    def end_voltage_V(self) -> float:
        ...
    @property
    def power_W(self) -> float:
        """
        What can be held to the end of the horizon, signed like the current.
        """
    @property
    def reason(self) -> LimitReason:
        ...
class HorizonLimit:
    """
    Both directions for one horizon.
    """
    @property
    def charge(self) -> DirectionLimit:
        ...
    @property
    def discharge(self) -> DirectionLimit:
        ...
    @property
    def horizon_s(self) -> float:
        ...
class LimitSettings:
    """
    Knobs of the limit search.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def current_tolerance(self) -> float:
        ...
    @current_tolerance.setter
    def current_tolerance(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def current_tolerance_A(self) -> float:
        ...
    @current_tolerance_A.setter
    def current_tolerance_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def largest_rate_per_h(self) -> float:
        ...
    @largest_rate_per_h.setter
    def largest_rate_per_h(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc_margin(self) -> float:
        ...
    @soc_margin.setter
    def soc_margin(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_margin_V(self) -> float:
        ...
    @voltage_margin_V.setter
    def voltage_margin_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class ChargePhase:
    """
    Where a charge stands. Numbers are frozen.
    
    Members:
    
      constant_current
    
      constant_voltage
    
      done
    
      not_allowed
    """
    __members__: typing.ClassVar[dict[str, ChargePhase]]
    constant_current: typing.ClassVar[ChargePhase]
    constant_voltage: typing.ClassVar[ChargePhase]
    done: typing.ClassVar[ChargePhase]
    not_allowed: typing.ClassVar[ChargePhase]
    @typing.overload
    def __eq__(self, other: ChargePhase) -> bool:
        ...
    @typing.overload
    def __eq__(self, other: typing.Any) -> bool:
        ...
    def __getstate__(self) -> int:
        ...
    def __hash__(self) -> int:
        ...
    def __index__(self) -> int:
        ...
    def __init__(self, value: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    def __int__(self) -> int:
        ...
    @typing.overload
    def __ne__(self, other: ChargePhase) -> bool:
        ...
    @typing.overload
    def __ne__(self, other: typing.Any) -> bool:
        ...
    def __repr__(self) -> str:
        ...
    def __setstate__(self, state: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    def __str__(self) -> str:
        ...
    @property
    def message(self) -> str:
        """
        In plain words.
        """
    @property
    def name(self) -> str:
        ...
    @property
    def value(self) -> int:
        ...
class ForecastSettings:
    """
    Knobs of the charge forecast.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def event_tolerance_s(self) -> float:
        ...
    @event_tolerance_s.setter
    def event_tolerance_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def longest_s(self) -> float:
        ...
    @longest_s.setter
    def longest_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def max_steps(self) -> int:
        ...
    @max_steps.setter
    def max_steps(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def step_s(self) -> float:
        ...
    @step_s.setter
    def step_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class ChargeForecast:
    """
    How a charge goes, to its target or as far as it gets.
    """
    @property
    def charge_Ah(self) -> float:
        ...
    @property
    def constant_current_s(self) -> float:
        ...
    @property
    def constant_voltage_s(self) -> float:
        ...
    @property
    def end_current_A(self) -> float:
        ...
    @property
    def end_phase(self) -> ChargePhase:
        ...
    @property
    def end_soc(self) -> float:
        ...
    @property
    def end_temperature_degC(self) -> float:
        ...
    @property
    def energy_Wh(self) -> float:
        ...
    @property
    def highest_temperature_degC(self) -> float:
        ...
    @property
    def reached(self) -> bool:
        ...
    @property
    def time_s(self) -> float:
        ...
class ChargeOutlook:
    """
    A forecast, how it ended, and its curve.
    """
    @property
    def curve(self) -> dict[str, numpy.typing.NDArray[numpy.float64]]:
        """
        dict of arrays: time_s, current_A, voltage_V, temperature_degC, soc, phase
        """
    @property
    def forecast(self) -> ChargeForecast:
        ...
    @property
    def message(self) -> str:
        """
        How it ended, in plain words.
        """
class SlowTestSettings:
    """
    Knobs of the slow-test evaluation.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def fastest_rate_per_h(self) -> float:
        ...
    @fastest_rate_per_h.setter
    def fastest_rate_per_h(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def gain_std(self) -> float:
        ...
    @gain_std.setter
    def gain_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def kernel_soc(self) -> float:
        ...
    @kernel_soc.setter
    def kernel_soc(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def node_count(self) -> int:
        ...
    @node_count.setter
    def node_count(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def offset_std_A(self) -> float:
        ...
    @offset_std_A.setter
    def offset_std_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def overvoltage_share_std(self) -> float:
        ...
    @overvoltage_share_std.setter
    def overvoltage_share_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class PulseFitSettings:
    """
    Knobs of the pulse fit.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def branches(self) -> int:
        """
        1 to 4; the last one is slow
        """
    @branches.setter
    def branches(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def full_above_soc(self) -> float:
        ...
    @full_above_soc.setter
    def full_above_soc(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def full_soc_std(self) -> float:
        ...
    @full_soc_std.setter
    def full_soc_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def initial_soc_std(self) -> float:
        ...
    @initial_soc_std.setter
    def initial_soc_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def max_iterations(self) -> int:
        ...
    @max_iterations.setter
    def max_iterations(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def ocv_soc_std(self) -> float:
        ...
    @ocv_soc_std.setter
    def ocv_soc_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def ocv_std_V(self) -> float:
        ...
    @ocv_std_V.setter
    def ocv_std_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def overvoltage_share_std(self) -> float:
        ...
    @overvoltage_share_std.setter
    def overvoltage_share_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def rows_per_independent_row(self) -> float:
        ...
    @rows_per_independent_row.setter
    def rows_per_independent_row(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def slow_log_std(self) -> float:
        ...
    @slow_log_std.setter
    def slow_log_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def slow_time_log_std(self) -> float:
        ...
    @slow_time_log_std.setter
    def slow_time_log_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def smoothness(self) -> float:
        ...
    @smoothness.setter
    def smoothness(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def smoothness_ends(self) -> float:
        ...
    @smoothness_ends.setter
    def smoothness_ends(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc_nodes(self) -> int:
        ...
    @soc_nodes.setter
    def soc_nodes(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def time_log_std(self) -> float:
        ...
    @time_log_std.setter
    def time_log_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_std_V(self) -> float:
        ...
    @voltage_std_V.setter
    def voltage_std_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class FitSettings:
    """
    Knobs of the whole fit.
    """
    name: str
    pulses: PulseFitSettings
    slow: SlowTestSettings
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def hysteresis_rate(self) -> float:
        ...
    @hysteresis_rate.setter
    def hysteresis_rate(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def passes(self) -> int:
        ...
    @passes.setter
    def passes(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def same_temperature_K(self) -> float:
        ...
    @same_temperature_K.setter
    def same_temperature_K(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def widest_temperature_K(self) -> float:
        ...
    @widest_temperature_K.setter
    def widest_temperature_K(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class PulseFitBranch:
    """
    One RC branch at one temperature.
    """
    @property
    def resistance_log_std(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (s,) of the logarithm
        """
    @property
    def resistance_ohm(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (s,)
        """
    @property
    def time_log_std(self) -> float:
        ...
    @property
    def time_s(self) -> float:
        ...
class PulseFit:
    """
    The fit at one temperature.
    """
    @property
    def branches(self) -> list[PulseFitBranch]:
        ...
    @property
    def initial_soc(self) -> list[float]:
        """
        Of each log.
        """
    @property
    def iterations(self) -> int:
        ...
    @property
    def largest_charge_A(self) -> float:
        ...
    @property
    def largest_discharge_A(self) -> float:
        ...
    @property
    def ocv_shift_V(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (s,)
        """
    @property
    def ocv_shift_std_V(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (s,)
        """
    @property
    def r0_log_std(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (s,) of the logarithm
        """
    @property
    def r0_ohm(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (s,)
        """
    @property
    def residual_rms_V(self) -> list[float]:
        """
        Of each log.
        """
    @property
    def rows_used(self) -> int:
        ...
    @property
    def soc(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (s,)
        """
    @property
    def soc_high(self) -> float:
        ...
    @property
    def soc_low(self) -> float:
        ...
    @property
    def temperature_degC(self) -> float:
        ...
class SlowTest:
    """
    What a slow test says.
    """
    @property
    def capacity_Ah(self) -> float:
        ...
    @property
    def capacity_Ah_std(self) -> float:
        ...
    @property
    def charged_Ah(self) -> float:
        ...
    @property
    def notes(self) -> list[str]:
        ...
    @property
    def temperature_degC(self) -> float:
        ...
    @property
    def voltage_max_V(self) -> float:
        ...
    @property
    def voltage_min_V(self) -> float:
        ...
class FitResult:
    """
    A cell, and the fit at each temperature behind it.
    """
    @property
    def cell(self) -> Cell:
        ...
    @property
    def pulses(self) -> list[PulseFit]:
        """
        By rising temperature.
        """
    @property
    def slow(self) -> SlowTest:
        ...
def cell_count(layout: PackLayout) -> int:
    """
    Number of cells in the pack.
    """
def cell_current_A(layout: PackLayout, pack_current_A: typing.SupportsFloat | typing.SupportsIndex) -> float:
    """
    Current of each cell.
    """
def cell_power_W(layout: PackLayout, pack_power_W: typing.SupportsFloat | typing.SupportsIndex) -> float:
    """
    Power of each cell.
    """
def check(cell: Cell) -> None:
    """
    Check that a cell can be used; raises DataError naming field, value and bound.
    """
def current_limits(cell: Cell, state: ModelState, horizons_s: collections.abc.Sequence[typing.SupportsFloat | typing.SupportsIndex] = [2.0, 10.0, 30.0], settings: LimitSettings = ...) -> list[HorizonLimit]:
    """
    Largest charge and discharge current and power of one cell for each horizon, and what decides them.
    
    Parameters
    ----------
    cell : Cell
    state : ModelState, its temperature included
    horizons_s : rising, each from 0 to 600
    
    Returns
    -------
    list of HorizonLimit
    """
def fit_cell(slow: Log, pulses: collections.abc.Sequence[Log], settings: FitSettings = ..., progress: collections.abc.Callable[[float, str], bool | None] | None = None) -> FitResult:
    """
    Make a cell from a slow charge/discharge test and pulse tests at any mix of temperatures.
    
    Parameters
    ----------
    slow : Log of the slow test
    pulses : list of Log, each starting at rest; the temperature comes from the data
    settings : FitSettings
    progress : called with (share, stage); returning False cancels
    
    Returns
    -------
    FitResult
    
    Raises
    ------
    DataError
        Says which log lacks what.
    """
def load_cell(path: os.PathLike | str | bytes) -> Cell:
    """
    Read and check a cell.json. Raises DataError naming every field that is wrong.
    """
def load_pack(path: os.PathLike | str | bytes) -> Pack:
    """
    Read and check a pack.json and the cell file it names.
    """
def pack_capacity_Ah(layout: PackLayout, cell_capacity_Ah: typing.SupportsFloat | typing.SupportsIndex) -> float:
    """
    Capacity of the pack.
    """
def pack_current_A(layout: PackLayout, cell_current_A: typing.SupportsFloat | typing.SupportsIndex) -> float:
    """
    Current of the pack.
    """
def pack_power_W(layout: PackLayout, cell_power_W: typing.SupportsFloat | typing.SupportsIndex) -> float:
    """
    Power of the pack.
    """
def pack_voltage_V(layout: PackLayout, group_voltage_V: typing.SupportsFloat | typing.SupportsIndex) -> float:
    """
    Voltage of the pack.
    """
def parse_cell(json: str, source: str = 'memory') -> Cell:
    """
    A cell from JSON text.
    """
def read_log(path: os.PathLike | str | bytes, *, time: str = 'time_s', current: str = 'current_A', voltage: str = 'voltage_V', temperature: str = 'temperature_degC', discharge_positive: bool = False, current_offset_A: typing.SupportsFloat | typing.SupportsIndex = 0.0, gap_s: typing.SupportsFloat | typing.SupportsIndex = 600.0, temperature_degC: typing.SupportsFloat | typing.SupportsIndex | None = None, separator: str = ',') -> tuple[Log, LogReport]:
    """
    Read a CSV log.
    
    Parameters
    ----------
    path : file with a header row
    time, current, voltage, temperature : names of the columns
    discharge_positive : the file writes discharge as positive
    current_offset_A : added to every reading that is not exactly zero, charge positive
    gap_s : longer steps are reported
    temperature_degC : stands in for missing temperatures
    
    Returns
    -------
    (Log, LogReport)
    
    Raises
    ------
    DataError
        Names file, line, column and text of the first cell that cannot be used.
    """
def read_slow_test(log: Log, settings: SlowTestSettings = ...) -> SlowTest:
    """
    Capacity from a slow test.
    """
def replay(cell: Cell, log: Log, *, initial_soc: typing.SupportsFloat | typing.SupportsIndex | None = None, initial_soc_std: typing.SupportsFloat | typing.SupportsIndex = 0.2, capacity_Ah: typing.SupportsFloat | typing.SupportsIndex | None = None, settings: SocFilterSettings = ..., progress: collections.abc.Callable[[float], bool | None] | None = None) -> SocTrace:
    """
    Run the SOC filter along a log.
    
    Parameters
    ----------
    cell : Cell
    log : Log
    initial_soc : 0..1; None takes it from the first voltage
    initial_soc_std : used with initial_soc
    capacity_Ah : replaces the cell's capacity
    settings : SocFilterSettings
    progress : called with the share done; returning False cancels
    
    Returns
    -------
    SocTrace
    """
def save_cell(path: os.PathLike | str | bytes, cell: Cell) -> None:
    """
    Write a cell.json; the file appears complete or not at all.
    """
def save_pack(path: os.PathLike | str | bytes, pack: Pack) -> None:
    """
    Write a pack.json; the file appears complete or not at all.
    """
def time_to_full(cell: Cell, state: ModelState, plan: ChargePlan, ambient_degC: typing.SupportsFloat | typing.SupportsIndex, supply_current_A: typing.SupportsFloat | typing.SupportsIndex = 0.0, settings: ForecastSettings = ...) -> ChargeOutlook:
    """
    Time until the cell is full on a CC-CV plan, by running the model forward.
    
    Parameters
    ----------
    cell : Cell
    state : ModelState, its temperature included
    plan : ChargePlan, for example cell.charge
    ambient_degC : surroundings
    supply_current_A : most the supply gives; 0 means as much as the plan asks
    
    Returns
    -------
    ChargeOutlook
    """
def time_to_soc(cell: Cell, state: ModelState, plan: ChargePlan, ambient_degC: typing.SupportsFloat | typing.SupportsIndex, target_soc: typing.SupportsFloat | typing.SupportsIndex, supply_current_A: typing.SupportsFloat | typing.SupportsIndex = 0.0, settings: ForecastSettings = ...) -> ChargeOutlook:
    """
    Time until an SOC is reached; see time_to_full.
    """
def to_json(cell: Cell) -> str:
    """
    A cell as JSON text.
    """
def write_trace(path: os.PathLike | str | bytes, trace: SocTrace) -> None:
    """
    Write time_s, soc, soc_std, voltage_predicted_V, innovation_V, innovation_std_V, fault_bits as CSV.
    """
__version__: str = '0.1.0'

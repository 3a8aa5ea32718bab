"""
Compiled part of voltkeel: the same code as the C++ library, with the same names.
"""
from __future__ import annotations
import collections.abc
import numpy
import numpy.typing
import os
import pathlib
import typing
__all__: list[str] = ['AcSupply', 'AgeOfLog', 'AgeSettings', 'AirCooling', 'AirTemperature', 'AvailableCurrent', 'BalancingGroup', 'BalancingOutlook', 'BalancingOutlookSettings', 'BalancingPlan', 'BalancingPlanSettings', 'BalancingSettings', 'BleedReason', 'BleedResistors', 'Boat', 'BranchGrid', 'CableMeaning', 'CableRating', 'CapacityEstimator', 'CapacitySettings', 'Cell', 'CellAge', 'CellDifferences', 'CellModel', 'CellWindow', 'Channel', 'ChannelQuantity', 'ChargeCase', 'ChargeControl', 'ChargeControlSettings', 'ChargeDoubt', 'ChargeEndDetector', 'ChargeEndSettings', 'ChargeEvent', 'ChargeForecast', 'ChargeInput', 'ChargeMeasurement', 'ChargeOutlook', 'ChargePhase', 'ChargePlan', 'ChargePlanDescription', 'ChargeReason', 'ChargeRequest', 'ChargeRiseFit', 'ChargeStage', 'ChargeTestFit', 'ChargeTestSettings', 'ChargeTimeBand', 'ChargeTimeOutlook', 'ChargeTransferFit', 'ChargeTransferGrid', 'ChargeZone', 'Charger', 'CheckedReadings', 'Chemistry', 'Chiller', 'ClosingCheck', 'CoastDown', 'Consumption', 'ConsumptionEstimator', 'ConsumptionSettings', 'Contactor', 'CoolingKind', 'CoolingPlant', 'CoolingSettings', 'CoolingSupply', 'CoolingTrace', 'CorrectedLog', 'CoulombCounter', 'CoulombCounterSettings', 'CoulombicEfficiencyFit', 'CoulombicEfficiencySettings', 'CurrentGrid', 'CurrentHold', 'CurrentSign', 'CutOffSettings', 'DataCheckSettings', 'DataError', 'DataFault', 'DataFinding', 'DataSeverity', 'DataSheet', 'DcStation', 'Departure', 'DepartureCharge', 'DepartureOutlook', 'DirectionLimit', 'DistanceLeft', 'Draw', 'EfficiencyCurve', 'EfficiencyGrid', 'EnergyBalance', 'FaultBit', 'FitResult', 'FitSettings', 'ForecastSettings', 'FormTrial', 'FullBalance', 'Fuse', 'GroupBleed', 'GroupDrift', 'GroupDriftFit', 'GroupFaultBit', 'GroupFilters', 'GroupLog', 'GroupState', 'GroupTrace', 'Heater', 'HorizonLimit', 'HysteresisRateFit', 'HysteresisSettings', 'IncrementalCapacity', 'IncrementalCapacitySettings', 'LearnedTaper', 'LimitMap', 'LimitReason', 'LimitSettings', 'LimitTracker', 'LiquidLoop', 'LoadKind', 'LoadStep', 'Log', 'LogColumnTaken', 'LogColumns', 'LogCorrections', 'LogFinding', 'LogReadSettings', 'LogReport', 'LogUnits', 'ModelNoise', 'ModelState', 'ModelView', 'OcvCurve', 'OffsetBalance', 'Pack', 'PackChargeOutlook', 'PackDeparture', 'PackDirectionLimit', 'PackEstimate', 'PackFilter', 'PackFilterSettings', 'PackHorizonLimit', 'PackLayout', 'PackLimitSettings', 'PackModule', 'PackPart', 'PackState', 'PackString', 'PackSupply', 'ParallelStrings', 'PartUse', 'PilotMeaning', 'PilotSignal', 'PowerEfficiency', 'Precharge', 'PrechargeResult', 'PropellerLoad', 'Provenance', 'ProximityWindows', 'PulseFit', 'PulseFitBranch', 'PulseFitSettings', 'PulseForm', 'Radiator', 'RefineFactor', 'RefineLog', 'RefineResult', 'RefineSettings', 'ResistanceGrid', 'ResistanceGrowth', 'ResistanceGrowthSettings', 'Rest', 'RestDetector', 'RestSettings', 'RestTest', 'RestTestSettings', 'RestedVoltage', 'RoadEnergy', 'RoadLoad', 'RoadVehicle', 'SeenSensorFault', 'SensorCheckSettings', 'SensorChecks', 'SensorFault', 'SensorFaultBit', 'SensorFaultKind', 'SensorReadings', 'SensorReplay', 'SensorSettings', 'SensorUse', 'SigmaFilter', 'SimulationEvent', 'SimulationEventKind', 'SimulationResult', 'SimulationSettings', 'SinglePulseFit', 'SinglePulseSettings', 'SlowTest', 'SlowTestSettings', 'SocEstimate', 'SocFilter', 'SocFilterSettings', 'SocTrace', 'SourceFile', 'SpeedTrace', 'SpeedUnit', 'SpreadSettings', 'StageKind', 'Step', 'StepKind', 'StepSettings', 'Supply', 'SupplyDescription', 'SupplyKind', 'SupplyLimits', 'SupplyReason', 'TaperLearner', 'TaperSettings', 'TaperTime', 'TemperatureWindow', 'TestFile', 'ThermalFit', 'ThermalSwitch', 'ThermalTrace', 'TimeFinding', 'TimeFormat', 'TorqueDrive', 'TorqueLimit', 'TrackerSettings', 'UsableEnergy', 'UsableEnergyBand', 'UsableEnergySettings', 'VoltageNoise', 'WalkedPoint', 'WarmUp', 'WindowAnswer', 'age_of_log', 'aged_cell', 'allowed_temperature', 'available_current', 'balancing_outlook', 'cable_rating', 'cell_count', 'cell_current_A', 'cell_from_data_sheet', 'cell_power_W', 'charge_cost', 'charge_efficiency', 'charge_time_band', 'check', 'check_boat', 'check_charge_plan', 'check_closing', 'check_cooling', 'check_data', 'check_efficiency_curve', 'check_pack_parts', 'check_road_vehicle', 'check_speed_trace', 'check_supply', 'check_taper', 'check_taper_fits', 'cooling_columns', 'core_log', 'correct_log', 'cross_flow_effectiveness', 'current_limits', 'current_load', 'distance_left', 'distance_m', 'draw_differences', 'efficiency_at', 'equal_layout', 'filter_settings', 'find_steps', 'fit_cell', 'fit_charge_rise', 'fit_coulombic_efficiency', 'fit_hysteresis_rate', 'fit_single_pulse', 'fit_thermal', 'follows_core', 'full_balances', 'fuse_opening_time_s', 'fuse_time_constant_s', 'generator_fraction', 'group_column_count', 'group_count', 'held_voltage_V', 'incremental_capacity', 'join_doubts', 'join_logs', 'learned_time', 'least_charge_current', 'least_pack_charge_current', 'limit_map', 'load_cell', 'load_cell_age', 'load_charge_plan', 'load_cooling', 'load_from_columns', 'load_log_mapping', 'load_pack', 'load_pack_parts', 'load_supply', 'load_taper', 'load_test_set', 'load_vehicle', 'module_named', 'monotone_cubic', 'motor_fraction', 'ocv_curve', 'offset_from_balance', 'output_power_W', 'pack_capacity_Ah', 'pack_charge', 'pack_current_A', 'pack_limits', 'pack_power_W', 'pack_voltage_V', 'parse_cell', 'parse_cell_age', 'parse_charge_plan', 'parse_cooling', 'parse_log_mapping', 'parse_pack_parts', 'parse_speed_trace', 'parse_supply', 'parse_taper', 'parse_test_set', 'parse_vehicle', 'pilot_signal', 'plan_balancing', 'plan_for', 'power_load', 'precharge', 'propeller_exponent', 'propeller_load', 'published_ocv_V', 'read_group_log', 'read_load', 'read_log', 'read_rest_test', 'read_sensors', 'read_slow_test', 'read_speed_trace', 'reading_in_words', 'refine_cell', 'replay', 'replay_groups', 'resistance_load', 'resistance_with_std', 'rest_current_A', 'rested_voltage', 'result_columns', 'road_load', 'road_pack_power_W', 'save_cell', 'save_cell_age', 'save_charge_plan', 'save_cooling', 'save_log_mapping', 'save_pack', 'save_pack_parts', 'save_supply', 'save_taper', 'save_vehicle', 'sensor_faults', 'shaft_power_W', 'simulate', 'single_string_pack', 'socket_power_W', 'split_current', 'standard_gravity_m_per_s2', 'start_state', 'starts_at_rest', 'steps_table', 'supply_limits', 'temperature_window', 'thermal_rows', 'thermal_trace', 'time_to_full', 'time_to_soc', 'to_json', 'torque_limits', 'traction_force_N', 'usable_energy', 'voltage_load', 'warm_up', 'write_csv', 'write_group_trace', 'write_simulation', 'write_trace']
class DataError(ValueError):
    """
    Data or a setting cannot be used; the text names file, line, field, value and bound.
    """
class StageKind:
    """
    What a stage of a charge does. Numbers are frozen.
    
    Members:
    
      constant_current
    
      constant_voltage
    
      constant_power
    
      rest
    
      balancing
    """
    __members__: typing.ClassVar[dict[str, StageKind]]
    balancing: typing.ClassVar[StageKind]
    constant_current: typing.ClassVar[StageKind]
    constant_power: typing.ClassVar[StageKind]
    constant_voltage: typing.ClassVar[StageKind]
    rest: typing.ClassVar[StageKind]
    @typing.overload
    def __eq__(self, other: StageKind) -> bool:
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
    def __ne__(self, other: StageKind) -> bool:
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
class ChargeStage:
    """
    One stage of a charge, for one cell. Zero means what the zone or the plan says; rest and balancing last longest_s.
    """
    kind: StageKind
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
    def end_current_A(self) -> float:
        ...
    @end_current_A.setter
    def end_current_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def end_spread_V(self) -> float:
        ...
    @end_spread_V.setter
    def end_spread_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def longest_s(self) -> float:
        ...
    @longest_s.setter
    def longest_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def power_W(self) -> float:
        ...
    @power_W.setter
    def power_W(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_V(self) -> float:
        ...
    @voltage_V.setter
    def voltage_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
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
    A plan: zones of temperature and stages; without stages CC-CV.
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
    def stages(self) -> list[ChargeStage]:
        """
        list of up to 12 ChargeStage in order; empty for CC-CV
        """
    @stages.setter
    def stages(self, arg1: collections.abc.Sequence[ChargeStage]) -> None:
        ...
    @property
    def zone_hysteresis_K(self) -> float:
        ...
    @zone_hysteresis_K.setter
    def zone_hysteresis_K(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def zones(self) -> list[ChargeZone]:
        """
        list of 1 to 8 ChargeZone in order of temperature
        """
    @zones.setter
    def zones(self, arg1: collections.abc.Sequence[ChargeZone]) -> None:
        ...
class ChargePlanDescription:
    """
    A plan with its name and where it comes from.
    """
    name: str
    plan: ChargePlan
    source: str
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def for_capacity_Ah(self) -> float:
        ...
    @for_capacity_Ah.setter
    def for_capacity_Ah(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
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
    def entropy_V_per_K_std(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,), empty: no test told
        """
    @entropy_V_per_K_std.setter
    def entropy_V_per_K_std(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
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
class ChargeTransferGrid:
    """
    Charge transfer over [temperature][soc].
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def exchange_current_A(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (t, s)
        """
    @exchange_current_A.setter
    def exchange_current_A(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def exchange_current_A_std(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (t, s)
        """
    @exchange_current_A_std.setter
    def exchange_current_A_std(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def scale_V(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (t, s)
        """
    @scale_V.setter
    def scale_V(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def scale_V_std(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (t, s)
        """
    @scale_V_std.setter
    def scale_V_std(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
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
class ModelNoise:
    """
    How far the model is off on tests it was not fitted to.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def correlation_time_s(self) -> float:
        ...
    @correlation_time_s.setter
    def correlation_time_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def lasting_share(self) -> float:
        ...
    @lasting_share.setter
    def lasting_share(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def overvoltage_share_std(self) -> float:
        ...
    @overvoltage_share_std.setter
    def overvoltage_share_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def resistance_log_std(self) -> float:
        ...
    @resistance_log_std.setter
    def resistance_log_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def resistance_log_std_per_sqrt_h(self) -> float:
        ...
    @resistance_log_std_per_sqrt_h.setter
    def resistance_log_std_per_sqrt_h(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def tested_current_A(self) -> float:
        """
        Largest that the resistances rest on; 0: not known.
        """
    @tested_current_A.setter
    def tested_current_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def untested_share_std(self) -> float:
        """
        Of a pulse's drop, for every doubling of the current beyond.
        """
    @untested_share_std.setter
    def untested_share_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_std_V(self) -> float:
        ...
    @voltage_std_V.setter
    def voltage_std_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
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
    def charge_transfer(self) -> ChargeTransferGrid | None:
        """
        ChargeTransferGrid or None
        """
    @charge_transfer.setter
    def charge_transfer(self, arg0: ChargeTransferGrid | None) -> None:
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
    Extra resistance to a charging current near full.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def branch(self) -> int:
        """
        That has it, from 0, the fastest; -1 is the slowest.
        """
    @branch.setter
    def branch(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
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
    @property
    def soc_start_std(self) -> float | None:
        """
        None: assumed
        """
    @soc_start_std.setter
    def soc_start_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex | None) -> None:
        ...
class ThermalFit:
    """
    Thermal masses and paths: core, case, surroundings.
    """
    source: str
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def core_heat_capacity_J_per_K(self) -> float:
        """
        The core's part of heat_capacity_J_per_K.
        """
    @core_heat_capacity_J_per_K.setter
    def core_heat_capacity_J_per_K(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def core_heat_capacity_J_per_K_std(self) -> float:
        ...
    @core_heat_capacity_J_per_K_std.setter
    def core_heat_capacity_J_per_K_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def core_resistance_K_per_W(self) -> float:
        """
        From core to case; 0 means one mass.
        """
    @core_resistance_K_per_W.setter
    def core_resistance_K_per_W(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def core_resistance_K_per_W_std(self) -> float:
        ...
    @core_resistance_K_per_W_std.setter
    def core_resistance_K_per_W_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
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
    def initial_soc_std(self) -> float | None:
        """
        None: counted, not fitted
        """
    @initial_soc_std.setter
    def initial_soc_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex | None) -> None:
        ...
    @property
    def read_as(self) -> str:
        """
        how, where not as the library writes logs
        """
    @read_as.setter
    def read_as(self, arg0: str) -> None:
        ...
    @property
    def residual_rms_V(self) -> float:
        ...
    @residual_rms_V.setter
    def residual_rms_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def rows(self) -> int:
        """
        in the file
        """
    @rows.setter
    def rows(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def rows_used(self) -> int | None:
        """
        that the result rests on, see the schema of cell.json; None: not known
        """
    @rows_used.setter
    def rows_used(self, arg0: typing.SupportsInt | typing.SupportsIndex | None) -> None:
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
    method: str
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
    noise: ModelNoise
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
    def coulombic_efficiency_std(self) -> float | None:
        """
        None: assumed, no test told
        """
    @coulombic_efficiency_std.setter
    def coulombic_efficiency_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex | None) -> None:
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
    def hysteresis_rate_std(self) -> float | None:
        """
        None: assumed, no test told
        """
    @hysteresis_rate_std.setter
    def hysteresis_rate_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex | None) -> None:
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
        One per branch, then the charge transfer; empty means at rest.
        """
    @branch_V.setter
    def branch_V(self, arg0: collections.abc.Sequence[typing.SupportsFloat | typing.SupportsIndex]) -> None:
        ...
    @property
    def core_over_case_K(self) -> float:
        """
        How much warmer the core (temperature_degC) is than the case.
        """
    @core_over_case_K.setter
    def core_over_case_K(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
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
        Resistances and time constants at a place, as a dict; with charge transfer also transfer_scale_V, exchange_current_A, transfer_time_s.
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
class CellAge:
    """
    How a cell has aged against the cell that was tested.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def capacity_log_std(self) -> float:
        """
        Of its logarithm; 0: not told.
        """
    @capacity_log_std.setter
    def capacity_log_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def capacity_scale(self) -> float:
        """
        Capacity over that of the cell file, 0.1 .. 2.
        """
    @capacity_scale.setter
    def capacity_scale(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def notes(self) -> list[str]:
        """
        Where the numbers come from; set the list.
        """
    @notes.setter
    def notes(self, arg0: collections.abc.Sequence[str]) -> None:
        ...
    @property
    def resistance_log_std(self) -> float:
        """
        Of its logarithm; 0: not told.
        """
    @resistance_log_std.setter
    def resistance_log_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def resistance_scale(self) -> float:
        """
        All resistances over those of the cell file, 0.1 .. 10.
        """
    @resistance_scale.setter
    def resistance_scale(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class Log:
    """
    A log: one entry per row in each column, time strictly increasing, current positive when charging.
    """
    def __init__(self, time_s: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], current_A: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], voltage_V: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], temperature_degC: typing.Any, source: str = 'memory', *, missing_allowed: bool = False) -> None:
        """
        A log from columns of one length (lists, arrays or data frame columns).
        
        Parameters
        ----------
        time_s : (n,) strictly increasing
        current_A : (n,) positive when charging
        voltage_V : (n,)
        temperature_degC : (n,) or one number
        source : name used in messages
        missing_allowed : NaN may stand for a current, a voltage and a temperature, for SensorUse.replaced
        
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
    def clock_origin_s(self) -> float | None:
        """
        Seconds from 1970-01-01 to time_s = 0 on the clock of the file's time stamps; None without stamps.
        """
    @clock_origin_s.setter
    def clock_origin_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex | None) -> None:
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
class CurrentSign:
    """
    Direction of current a file writes as positive.
    
    Members:
    
      charge_positive
    
      discharge_positive
    """
    __members__: typing.ClassVar[dict[str, CurrentSign]]
    charge_positive: typing.ClassVar[CurrentSign]
    discharge_positive: typing.ClassVar[CurrentSign]
    @typing.overload
    def __eq__(self, other: CurrentSign) -> bool:
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
    def __ne__(self, other: CurrentSign) -> bool:
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
class TimeFormat:
    """
    How the time column is written.
    
    Members:
    
      automatic : as the first row has it
    
      number
    
      timestamp : 2024-03-01 12:00:00.5, with T, Z or +01:00
    
      elapsed : HH:MM:SS
    """
    __members__: typing.ClassVar[dict[str, TimeFormat]]
    automatic: typing.ClassVar[TimeFormat]
    elapsed: typing.ClassVar[TimeFormat]
    number: typing.ClassVar[TimeFormat]
    timestamp: typing.ClassVar[TimeFormat]
    @typing.overload
    def __eq__(self, other: TimeFormat) -> bool:
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
    def __ne__(self, other: TimeFormat) -> bool:
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
class LogColumns:
    """
    Names of the columns. A default name also finds that of the open Battery Data Format.
    """
    current: str
    temperature: str
    time: str
    voltage: str
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def pack_voltage(self) -> str:
        """
        In a log of groups: of all in series, from another sensor.
        """
    @pack_voltage.setter
    def pack_voltage(self, arg0: str) -> None:
        ...
class LogUnits:
    """
    Units of the columns.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def current(self) -> str:
        """
        A or mA
        """
    @current.setter
    def current(self, arg0: str) -> None:
        ...
    @property
    def temperature(self) -> str:
        """
        degC, K or degF
        """
    @temperature.setter
    def temperature(self, arg0: str) -> None:
        ...
    @property
    def time(self) -> str:
        """
        s, ms, min or h
        """
    @time.setter
    def time(self, arg0: str) -> None:
        ...
    @property
    def voltage(self) -> str:
        """
        V or mV
        """
    @voltage.setter
    def voltage(self, arg0: str) -> None:
        ...
class LogReadSettings:
    """
    How to read a log; kept in a file by save_log_mapping.
    """
    columns: LogColumns
    current_sign: CurrentSign
    decimal_comma: bool
    time_format: TimeFormat
    units: LogUnits
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def current_offset_A(self) -> float:
        """
        Added to every reading that is not exactly zero, charge positive.
        """
    @current_offset_A.setter
    def current_offset_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def gap_s(self) -> float:
        """
        Longer steps are reported.
        """
    @gap_s.setter
    def gap_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def header_line(self) -> int:
        """
        From 1; 0 looks for it.
        """
    @header_line.setter
    def header_line(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def keep_missing(self) -> bool:
        """
        An empty, NaN or infinite cell is a reading that did not come, and no error; for SensorUse.replaced.
        """
    @keep_missing.setter
    def keep_missing(self, arg0: bool) -> None:
        ...
    @property
    def lines_after_header(self) -> int:
        """
        Lines to pass over behind the header.
        """
    @lines_after_header.setter
    def lines_after_header(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def separator(self) -> str:
        """
        Between the fields of a row, one character.
        """
    @separator.setter
    def separator(self, arg1: str) -> None:
        ...
    @property
    def temperature_degC(self) -> float | None:
        """
        Stands in for missing temperatures.
        """
    @temperature_degC.setter
    def temperature_degC(self, arg0: typing.SupportsFloat | typing.SupportsIndex | None) -> None:
        ...
    @property
    def units_from_header(self) -> bool:
        """
        'Voltage / V', 'Current (mA)' and 'Time [min]' tell their units.
        """
    @units_from_header.setter
    def units_from_header(self, arg0: bool) -> None:
        ...
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
class LogColumnTaken:
    """
    A column that was read.
    """
    @property
    def name(self) -> str:
        """
        Its name in the file.
        """
    @property
    def quantity(self) -> str:
        """
        Our name of it.
        """
    @property
    def unit(self) -> str:
        """
        The unit it was read in.
        """
class LogReport:
    """
    What reading a log came across.
    """
    def line_of(self, row: typing.SupportsInt | typing.SupportsIndex) -> int:
        """
        Line of the file that holds a row.
        """
    def summary(self) -> str:
        """
        The report in plain words.
        """
    @property
    def columns(self) -> list[LogColumnTaken]:
        ...
    @property
    def findings(self) -> list[LogFinding]:
        ...
    @property
    def first_row_line(self) -> int:
        ...
    @property
    def header_line(self) -> int:
        ...
    @property
    def last_line_open(self) -> bool:
        ...
    @property
    def readings_missing(self) -> int:
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
class TestFile:
    """
    One log of a set of tests.
    """
    @property
    def mapping(self) -> pathlib.Path | None:
        """
        its mapping file, or None
        """
    @property
    def path(self) -> pathlib.Path:
        ...
    @property
    def role(self) -> str:
        """
        'slow test', 'pulse test', 'charge', 'cycles' or 'heat'
        """
    @property
    def settings(self) -> LogReadSettings:
        """
        LogReadSettings for read_log
        """
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
class PackModule:
    """
    One kind of module.
    """
    cell: Cell
    layout: PackLayout
    name: str
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def cell_file(self) -> str:
        """
        Path from the folder of the file.
        """
    @cell_file.setter
    def cell_file(self, arg0: str) -> None:
        ...
    @property
    def cell_link_W_per_K(self) -> float:
        """
        Heat from case to case between neighbouring cells of a group.
        """
    @cell_link_W_per_K.setter
    def cell_link_W_per_K(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def cell_link_ohm(self) -> float:
        """
        Of each cell to its group.
        """
    @cell_link_ohm.setter
    def cell_link_ohm(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def group_link_W_per_K(self) -> float:
        """
        Heat from case to case between neighbouring groups.
        """
    @group_link_W_per_K.setter
    def group_link_W_per_K(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def interconnect_ohm(self) -> float:
        """
        Between two groups.
        """
    @interconnect_ohm.setter
    def interconnect_ohm(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class Contactor:
    """
    What opens and closes a string.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def closed(self) -> bool:
        """
        At the start.
        """
    @closed.setter
    def closed(self, arg0: bool) -> None:
        ...
    @property
    def current_A(self) -> float:
        """
        Continuous rating.
        """
    @current_A.setter
    def current_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def making_current_A(self) -> float:
        """
        Most it may close on.
        """
    @making_current_A.setter
    def making_current_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def resistance_ohm(self) -> float:
        ...
    @resistance_ohm.setter
    def resistance_ohm(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_V(self) -> float:
        """
        Rating; the string stays below.
        """
    @voltage_V.setter
    def voltage_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class Fuse:
    """
    What opens a string once and for all.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def current_A(self) -> float:
        """
        Continuous rating.
        """
    @current_A.setter
    def current_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def i2t_A2s(self) -> float:
        """
        Of its maker at short times; 0: 20 s times the square of the rating.
        """
    @i2t_A2s.setter
    def i2t_A2s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def resistance_ohm(self) -> float:
        ...
    @resistance_ohm.setter
    def resistance_ohm(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class PackString:
    """
    Modules in series.
    """
    contactor: Contactor
    fuse: Fuse
    name: str
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def busbar_ohm(self) -> float:
        """
        All busbars and cables together.
        """
    @busbar_ohm.setter
    def busbar_ohm(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def module_link_W_per_K(self) -> float:
        """
        Heat from case to case between neighbouring modules.
        """
    @module_link_W_per_K.setter
    def module_link_W_per_K(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def modules(self) -> list[str]:
        """
        Names of kinds, from the negative end.
        """
    @modules.setter
    def modules(self, arg0: collections.abc.Sequence[str]) -> None:
        ...
class ChannelQuantity:
    """
    What a channel measures.
    
    Members:
    
      pack_current
    
      pack_voltage
    
      string_current
    
      string_voltage
    
      group_voltage
    
      case_temperature
    
      ambient_temperature
    """
    __members__: typing.ClassVar[dict[str, ChannelQuantity]]
    ambient_temperature: typing.ClassVar[ChannelQuantity]
    case_temperature: typing.ClassVar[ChannelQuantity]
    group_voltage: typing.ClassVar[ChannelQuantity]
    pack_current: typing.ClassVar[ChannelQuantity]
    pack_voltage: typing.ClassVar[ChannelQuantity]
    string_current: typing.ClassVar[ChannelQuantity]
    string_voltage: typing.ClassVar[ChannelQuantity]
    @typing.overload
    def __eq__(self, other: ChannelQuantity) -> bool:
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
    def __ne__(self, other: ChannelQuantity) -> bool:
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
class Channel:
    """
    A measuring channel.
    """
    name: str
    quantity: ChannelQuantity
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def cell(self) -> int:
        """
        Of the group, for temperatures.
        """
    @cell.setter
    def cell(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def first_group(self) -> int:
        ...
    @first_group.setter
    def first_group(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def group_count(self) -> int:
        """
        One value each.
        """
    @group_count.setter
    def group_count(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def interval_s(self) -> float:
        ...
    @interval_s.setter
    def interval_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def offset_s(self) -> float:
        """
        Time of the first value.
        """
    @offset_s.setter
    def offset_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def string(self) -> str:
        """
        Empty for quantities of the pack.
        """
    @string.setter
    def string(self, arg0: str) -> None:
        ...
class BleedResistors:
    """
    One for every group.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def duty(self) -> float:
        """
        Largest share of time, up to 1.
        """
    @duty.setter
    def duty(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def heat_to_cells(self) -> float:
        """
        Share of its heat that warms its group's cells; the rest leaves the pack.
        """
    @heat_to_cells.setter
    def heat_to_cells(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def resistance_ohm(self) -> float:
        ...
    @resistance_ohm.setter
    def resistance_ohm(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class Precharge:
    """
    How the link is charged first.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def capacitance_F(self) -> float:
        ...
    @capacitance_F.setter
    def capacitance_F(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def complete_share(self) -> float:
        """
        Closed on from here.
        """
    @complete_share.setter
    def complete_share(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def resistance_ohm(self) -> float:
        ...
    @resistance_ohm.setter
    def resistance_ohm(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class PrechargeResult:
    """
    What one precharge takes.
    """
    @property
    def peak_current_A(self) -> float:
        ...
    @property
    def peak_power_W(self) -> float:
        ...
    @property
    def remaining_V(self) -> float:
        """
        Across the contactor then.
        """
    @property
    def resistor_energy_J(self) -> float:
        ...
    @property
    def time_s(self) -> float:
        """
        Until the share is reached.
        """
    @property
    def whole_energy_J(self) -> float:
        """
        If it never closed.
        """
class Pack:
    """
    Modules, strings, what joins them and is measured.
    """
    name: str
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def bleed(self) -> BleedResistors | None:
        """
        BleedResistors or None.
        """
    @bleed.setter
    def bleed(self, arg0: BleedResistors | None) -> None:
        ...
    @property
    def busbar_ohm(self) -> float:
        """
        From the joint of the strings on.
        """
    @busbar_ohm.setter
    def busbar_ohm(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def channels(self) -> list[Channel]:
        """
        What is measured; set the list.
        """
    @channels.setter
    def channels(self, arg1: collections.abc.Sequence[Channel]) -> None:
        ...
    @property
    def modules(self) -> list[PackModule]:
        """
        Kinds, each with a name of its own; set the list.
        """
    @modules.setter
    def modules(self, arg1: collections.abc.Sequence[PackModule]) -> None:
        ...
    @property
    def notes(self) -> list[str]:
        ...
    @notes.setter
    def notes(self, arg0: collections.abc.Sequence[str]) -> None:
        ...
    @property
    def precharge(self) -> Precharge | None:
        """
        Precharge or None.
        """
    @precharge.setter
    def precharge(self, arg0: Precharge | None) -> None:
        ...
    @property
    def strings(self) -> list[PackString]:
        """
        In parallel; set the list.
        """
    @strings.setter
    def strings(self, arg1: collections.abc.Sequence[PackString]) -> None:
        ...
class SensorCheckSettings:
    """
    Knobs of the checks; voltages are those of one cell.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def capacity_Ah(self) -> float:
        """
        Of the cell or group: the measure of all currents.
        """
    @capacity_Ah.setter
    def capacity_Ah(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def current_latch_s(self) -> float:
        ...
    @current_latch_s.setter
    def current_latch_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def current_max_per_h(self) -> float:
        ...
    @current_max_per_h.setter
    def current_max_per_h(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def current_share_std(self) -> float:
        ...
    @current_share_std.setter
    def current_share_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def current_std_per_h(self) -> float:
        ...
    @current_std_per_h.setter
    def current_std_per_h(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def current_unknown_per_h(self) -> float:
        ...
    @current_unknown_per_h.setter
    def current_unknown_per_h(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def gap_s(self) -> float:
        ...
    @gap_s.setter
    def gap_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def jump_V(self) -> float:
        ...
    @jump_V.setter
    def jump_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def model_std_V(self) -> float:
        ...
    @model_std_V.setter
    def model_std_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def offset_per_h(self) -> float:
        ...
    @offset_per_h.setter
    def offset_per_h(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def series(self) -> float:
        """
        Groups whose voltages are added up in voltage_V.
        """
    @series.setter
    def series(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def settle_s(self) -> float:
        ...
    @settle_s.setter
    def settle_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def stuck_V(self) -> float:
        ...
    @stuck_V.setter
    def stuck_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def sum_share(self) -> float:
        ...
    @sum_share.setter
    def sum_share(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def temperature_high_degC(self) -> float:
        ...
    @temperature_high_degC.setter
    def temperature_high_degC(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def temperature_low_degC(self) -> float:
        ...
    @temperature_low_degC.setter
    def temperature_low_degC(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def temperature_rate_K_per_s(self) -> float:
        ...
    @temperature_rate_K_per_s.setter
    def temperature_rate_K_per_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def temperature_step_K(self) -> float:
        ...
    @temperature_step_K.setter
    def temperature_step_K(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_high_V(self) -> float:
        ...
    @voltage_high_V.setter
    def voltage_high_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_latch_s(self) -> float:
        ...
    @voltage_latch_s.setter
    def voltage_latch_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_low_V(self) -> float:
        ...
    @voltage_low_V.setter
    def voltage_low_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class SensorFaultBit:
    """
    Bits of the word of sensor faults.
    
    Members:
    
      current_missing
    
      current_range
    
      current_jump
    
      current_stuck
    
      current_sign
    
      current_offset
    
      current_drift
    
      current_gain
    
      voltage_missing
    
      voltage_range
    
      voltage_jump
    
      voltage_stuck
    
      voltage_sum
    
      temperature_missing
    
      temperature_open
    
      temperature_short
    
      temperature_rate
    
      time_missing
    
      time_backward
    
      time_jump
    
      time_still
    """
    __members__: typing.ClassVar[dict[str, SensorFaultBit]]
    current_drift: typing.ClassVar[SensorFaultBit]
    current_gain: typing.ClassVar[SensorFaultBit]
    current_jump: typing.ClassVar[SensorFaultBit]
    current_missing: typing.ClassVar[SensorFaultBit]
    current_offset: typing.ClassVar[SensorFaultBit]
    current_range: typing.ClassVar[SensorFaultBit]
    current_sign: typing.ClassVar[SensorFaultBit]
    current_stuck: typing.ClassVar[SensorFaultBit]
    temperature_missing: typing.ClassVar[SensorFaultBit]
    temperature_open: typing.ClassVar[SensorFaultBit]
    temperature_rate: typing.ClassVar[SensorFaultBit]
    temperature_short: typing.ClassVar[SensorFaultBit]
    time_backward: typing.ClassVar[SensorFaultBit]
    time_jump: typing.ClassVar[SensorFaultBit]
    time_missing: typing.ClassVar[SensorFaultBit]
    time_still: typing.ClassVar[SensorFaultBit]
    voltage_jump: typing.ClassVar[SensorFaultBit]
    voltage_missing: typing.ClassVar[SensorFaultBit]
    voltage_range: typing.ClassVar[SensorFaultBit]
    voltage_stuck: typing.ClassVar[SensorFaultBit]
    voltage_sum: typing.ClassVar[SensorFaultBit]
    @typing.overload
    def __and__(self, other: SensorFaultBit) -> int:
        ...
    @typing.overload
    def __and__(self, other: typing.SupportsInt | typing.SupportsIndex) -> int:
        ...
    @typing.overload
    def __eq__(self, other: SensorFaultBit) -> bool:
        ...
    @typing.overload
    def __eq__(self, other: typing.SupportsInt | typing.SupportsIndex) -> bool:
        ...
    @typing.overload
    def __eq__(self, other: typing.Any) -> bool:
        ...
    @typing.overload
    def __ge__(self, other: SensorFaultBit) -> bool:
        ...
    @typing.overload
    def __ge__(self, other: typing.SupportsInt | typing.SupportsIndex) -> bool:
        ...
    def __getstate__(self) -> int:
        ...
    @typing.overload
    def __gt__(self, other: SensorFaultBit) -> bool:
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
    def __le__(self, other: SensorFaultBit) -> bool:
        ...
    @typing.overload
    def __le__(self, other: typing.SupportsInt | typing.SupportsIndex) -> bool:
        ...
    @typing.overload
    def __lt__(self, other: SensorFaultBit) -> bool:
        ...
    @typing.overload
    def __lt__(self, other: typing.SupportsInt | typing.SupportsIndex) -> bool:
        ...
    @typing.overload
    def __ne__(self, other: SensorFaultBit) -> bool:
        ...
    @typing.overload
    def __ne__(self, other: typing.SupportsInt | typing.SupportsIndex) -> bool:
        ...
    @typing.overload
    def __ne__(self, other: typing.Any) -> bool:
        ...
    @typing.overload
    def __or__(self, other: SensorFaultBit) -> int:
        ...
    @typing.overload
    def __or__(self, other: typing.SupportsInt | typing.SupportsIndex) -> int:
        ...
    @typing.overload
    def __rand__(self, other: SensorFaultBit) -> int:
        ...
    @typing.overload
    def __rand__(self, other: typing.SupportsInt | typing.SupportsIndex) -> int:
        ...
    def __repr__(self) -> str:
        ...
    @typing.overload
    def __ror__(self, other: SensorFaultBit) -> int:
        ...
    @typing.overload
    def __ror__(self, other: typing.SupportsInt | typing.SupportsIndex) -> int:
        ...
    @typing.overload
    def __rxor__(self, other: SensorFaultBit) -> int:
        ...
    @typing.overload
    def __rxor__(self, other: typing.SupportsInt | typing.SupportsIndex) -> int:
        ...
    def __setstate__(self, state: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    def __str__(self) -> str:
        ...
    @typing.overload
    def __xor__(self, other: SensorFaultBit) -> int:
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
class ModelView:
    """
    What the model expects before a sample.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def open_V(self) -> float:
        """
        Voltage without current, overvoltages included.
        """
    @open_V.setter
    def open_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def resistance_ohm(self) -> float:
        """
        What a step of the current shows at once; 0: no model.
        """
    @resistance_ohm.setter
    def resistance_ohm(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc(self) -> float:
        ...
    @soc.setter
    def soc(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc_std(self) -> float:
        ...
    @soc_std.setter
    def soc_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class CheckedReadings:
    """
    What to give the filter.
    """
    @property
    def current_A(self) -> float:
        ...
    @property
    def current_std_A(self) -> float:
        """
        How far it may be off for as long as the step lasts.
        """
    @property
    def dt_s(self) -> float:
        ...
    @property
    def fault_bits(self) -> int:
        """
        See SensorFaultBit.
        """
    @property
    def temperature_degC(self) -> float:
        ...
    @property
    def voltage_V(self) -> float:
        """
        Of one cell; NaN: not to be used.
        """
class SensorChecks:
    """
    Looks at what sensors show before it reaches a filter.
    """
    def __init__(self, settings: SensorCheckSettings) -> None:
        ...
    def step(self, time_s: typing.SupportsFloat | typing.SupportsIndex, current_A: typing.SupportsFloat | typing.SupportsIndex, voltage_V: typing.SupportsFloat | typing.SupportsIndex, temperature_degC: typing.SupportsFloat | typing.SupportsIndex, view: ModelView | None = None, *, other_voltage_V: typing.SupportsFloat | typing.SupportsIndex = ..., no_current: bool = False, voltage_asked: bool = True) -> CheckedReadings:
        """
        Look at one row and return CheckedReadings.
        
        Parameters
        ----------
        time_s : of any clock
        current_A : positive when charging
        voltage_V : of the cell, or of series groups
        temperature_degC : of the cell
        view : what the model expects; without one current and voltage do not watch each other
        other_voltage_V : the same voltage from another sensor
        no_current : contactors are known to be open
        voltage_asked : False where voltages come once in so many ticks, and not in this one
        """
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
    def log_scale_initial(self) -> float:
        """
        ln r at the start: what age is known to have left.
        """
    @log_scale_initial.setter
    def log_scale_initial(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
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
    def low_soc(self) -> float:
        """
        Below this SOC voltage_std_V and overvoltage_share_std grow in a straight line,
        """
    @low_soc.setter
    def low_soc(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def low_soc_growth(self) -> float:
        """
        by this many times themselves when empty.
        """
    @low_soc_growth.setter
    def low_soc_growth(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
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
    def trace_every_sample(self) -> bool:
        """
        Predicted voltage, innovation and test ratio for every sample; without, those of the
        last voltage tried.
        """
    @trace_every_sample.setter
    def trace_every_sample(self, arg0: bool) -> None:
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
    def __init__(self, cell: Cell, settings: SocFilterSettings | None = None) -> None:
        """
        A filter for a cell; it answers once it has been started. Without settings it takes filter_settings(cell).
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
    def start_under_load(self, soc: typing.SupportsFloat | typing.SupportsIndex, soc_std: typing.SupportsFloat | typing.SupportsIndex, mean_current_A: typing.SupportsFloat | typing.SupportsIndex, temperature_degC: typing.SupportsFloat | typing.SupportsIndex = 25.0, *, rms_current_A: typing.SupportsFloat | typing.SupportsIndex = 0.0, voltage_V: typing.SupportsFloat | typing.SupportsIndex | None = None, current_A: typing.SupportsFloat | typing.SupportsIndex = 0.0) -> None:
        """
        Start in the middle of use: SOC (0..1) and its standard deviation (0.5 and 0.3 where
        nothing is known), mean and rms of the current of the minutes around, positive when
        charging, and, best, one reading of voltage and current of now. The branch voltages
        follow with the spread that driving cycles show; what the SOC was told counts as far as
        the reading allows.
        """
    def step(self, current_A: typing.SupportsFloat | typing.SupportsIndex, voltage_V: typing.SupportsFloat | typing.SupportsIndex, temperature_degC: typing.SupportsFloat | typing.SupportsIndex, dt_s: typing.SupportsFloat | typing.SupportsIndex, current_std_A: typing.SupportsFloat | typing.SupportsIndex = 0.0) -> SocEstimate:
        """
        Take one sample (current positive when charging) and return the SocEstimate. current_std_A: how far the current may be off for as long as the step lasts.
        """
    @property
    def covariance(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (m, m) covariance of [soc, branch voltages, hysteresis, ln resistance scale].
        """
    @property
    def model_view(self) -> ModelView:
        """
        What the filter expects before the next sample, for SensorChecks.step.
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
    def hysteresis(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        -1..1
        """
    @property
    def innovation_V(self) -> numpy.typing.NDArray[numpy.float64]:
        ...
    @property
    def innovation_std_V(self) -> numpy.typing.NDArray[numpy.float64]:
        ...
    @property
    def log_scale_std(self) -> numpy.typing.NDArray[numpy.float64]:
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
    def sensor_fault_bits(self) -> numpy.typing.NDArray[numpy.uint32]:
        """
        (n,) see SensorFaultBit
        """
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
class SensorUse:
    """
    What becomes of the readings of a log that cannot be.
    
    Members:
    
      off : They are not looked for.
    
      named : Named; the filter gets what stands in the log.
    
      replaced : The filter gets what SensorChecks knows better. Readings may be missing (NaN).
    """
    __members__: typing.ClassVar[dict[str, SensorUse]]
    named: typing.ClassVar[SensorUse]
    off: typing.ClassVar[SensorUse]
    replaced: typing.ClassVar[SensorUse]
    @typing.overload
    def __eq__(self, other: SensorUse) -> bool:
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
    def __ne__(self, other: SensorUse) -> bool:
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
class SensorReplay:
    """
    How the sensors of a log are looked at.
    """
    use: SensorUse
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def checks(self) -> SensorCheckSettings | None:
        """
        SensorCheckSettings; None: the usual ones, of the cell's capacity, where a step of up to ten minutes is no fault.
        """
    @checks.setter
    def checks(self, arg0: SensorCheckSettings | None) -> None:
        ...
class SeenSensorFault:
    """
    A fault of a sensor along a log.
    """
    @property
    def bit(self) -> SensorFaultBit:
        """
        SensorFaultBit
        """
    @property
    def first_s(self) -> float:
        """
        Time of the first such row.
        """
    @property
    def last_s(self) -> float:
        """
        Time of the last such row.
        """
    @property
    def rows(self) -> int:
        """
        Rows that have it.
        """
    @property
    def times(self) -> int:
        """
        Runs of rows that have it.
        """
class SigmaFilter:
    """
    SOC of one cell by sigma points in place of derivatives: a cross-check of SocFilter with the same calls, for an OCV that bends much within the spread. Several times slower.
    """
    def __init__(self, cell: Cell, settings: SocFilterSettings | None = None) -> None:
        """
        A filter for a cell; it answers once it has been started. Without settings it takes filter_settings(cell).
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
    def start_under_load(self, soc: typing.SupportsFloat | typing.SupportsIndex, soc_std: typing.SupportsFloat | typing.SupportsIndex, mean_current_A: typing.SupportsFloat | typing.SupportsIndex, temperature_degC: typing.SupportsFloat | typing.SupportsIndex = 25.0, *, rms_current_A: typing.SupportsFloat | typing.SupportsIndex = 0.0, voltage_V: typing.SupportsFloat | typing.SupportsIndex | None = None, current_A: typing.SupportsFloat | typing.SupportsIndex = 0.0) -> None:
        """
        Start in the middle of use; see SocFilter.start_under_load.
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
    def estimate(self) -> SocEstimate:
        """
        The last SocEstimate.
        """
    @property
    def state(self) -> ModelState:
        """
        The present ModelState.
        """
class CapacitySettings:
    """
    Knobs of the capacity.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def current_offset_std_A(self) -> float:
        ...
    @current_offset_std_A.setter
    def current_offset_std_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def current_share_std(self) -> float:
        ...
    @current_share_std.setter
    def current_share_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def fade_per_cycle(self) -> float:
        ...
    @fade_per_cycle.setter
    def fade_per_cycle(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def forgetting(self) -> float:
        """
        Weight of all before at each new interval.
        """
    @forgetting.setter
    def forgetting(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def initial_share_std(self) -> float:
        ...
    @initial_share_std.setter
    def initial_share_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def longest_interval_h(self) -> float:
        ...
    @longest_interval_h.setter
    def longest_interval_h(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc_change_min(self) -> float:
        ...
    @soc_change_min.setter
    def soc_change_min(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class CapacityEstimator:
    """
    Capacity by total least squares from the charge between times at which the SOC is known without counting.
    """
    def __init__(self, capacity_Ah: typing.SupportsFloat | typing.SupportsIndex, settings: CapacitySettings | None = None) -> None:
        ...
    def anchor(self, soc: typing.SupportsFloat | typing.SupportsIndex, soc_std: typing.SupportsFloat | typing.SupportsIndex) -> bool:
        """
        The SOC is known: from a rested voltage, at the end of a charge. True when an interval was used.
        """
    def count(self, current_A: typing.SupportsFloat | typing.SupportsIndex, dt_s: typing.SupportsFloat | typing.SupportsIndex) -> None:
        """
        Count one sample; one that is no number ends the interval.
        """
    @property
    def capacity_Ah(self) -> float:
        ...
    @property
    def capacity_std_Ah(self) -> float:
        ...
    @property
    def intervals(self) -> int:
        ...
    @property
    def ordinary_capacity_Ah(self) -> float:
        """
        Of ordinary least squares on the same intervals: too low.
        """
class CoulombCounterSettings:
    """
    What the counter counts with.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def capacity_Ah(self) -> float:
        ...
    @capacity_Ah.setter
    def capacity_Ah(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def capacity_share_std(self) -> float:
        ...
    @capacity_share_std.setter
    def capacity_share_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def coulombic_efficiency(self) -> float:
        """
        Share of the charge put in that stays.
        """
    @coulombic_efficiency.setter
    def coulombic_efficiency(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def current_offset_std_A(self) -> float:
        ...
    @current_offset_std_A.setter
    def current_offset_std_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def current_share_std(self) -> float:
        ...
    @current_share_std.setter
    def current_share_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def longest_step_s(self) -> float:
        ...
    @longest_step_s.setter
    def longest_step_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def self_discharge_per_s(self) -> float:
        ...
    @self_discharge_per_s.setter
    def self_discharge_per_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class CoulombCounter:
    """
    SOC by counting charge alone: the baseline that a filter has to beat. An error of the
    start stays, an error of the sensor adds up, and the spread says so.
    """
    def __init__(self, settings: CoulombCounterSettings) -> None:
        ...
    def start(self, soc: typing.SupportsFloat | typing.SupportsIndex, soc_std: typing.SupportsFloat | typing.SupportsIndex) -> None:
        """
        Start from a SOC (0..1) with a standard deviation.
        """
    def step(self, current_A: typing.SupportsFloat | typing.SupportsIndex, dt_s: typing.SupportsFloat | typing.SupportsIndex) -> SocEstimate:
        """
        Count one sample, positive when charging; returns SocEstimate.
        """
    @property
    def estimate(self) -> SocEstimate:
        ...
class RestSettings:
    """
    Knobs of the recognition of rests.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def current_per_h(self) -> float:
        """
        Less, as a multiple of the capacity, is no current.
        """
    @current_per_h.setter
    def current_per_h(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def hysteresis_std(self) -> float:
        ...
    @hysteresis_std.setter
    def hysteresis_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def settle_s(self) -> float:
        """
        At 20 degC and above; twice as long for each 15 K below.
        """
    @settle_s.setter
    def settle_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc_std_most(self) -> float:
        """
        What is known no better is no anchor.
        """
    @soc_std_most.setter
    def soc_std_most(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_std_V(self) -> float:
        ...
    @voltage_std_V.setter
    def voltage_std_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class RestDetector:
    """
    Recognises a rest, and reads the SOC from the rested voltage: an anchor for the
    capacity, free of any counting.
    """
    def __init__(self, cell: Cell, settings: RestSettings | None = None) -> None:
        ...
    def step(self, current_A: typing.SupportsFloat | typing.SupportsIndex, voltage_V: typing.SupportsFloat | typing.SupportsIndex, temperature_degC: typing.SupportsFloat | typing.SupportsIndex, dt_s: typing.SupportsFloat | typing.SupportsIndex, hysteresis: typing.SupportsFloat | typing.SupportsIndex = 0.0) -> bool:
        """
        Take one sample; True when soc and soc_std are those of a rested voltage. One that is no
        number ends the rest. hysteresis is h of the filter, -1..1, 0 where nothing is known.
        """
    @property
    def rested(self) -> bool:
        ...
    @property
    def resting_s(self) -> float:
        ...
    @property
    def soc(self) -> float:
        """
        Of the last rested voltage.
        """
    @property
    def soc_std(self) -> float:
        ...
class ResistanceGrowthSettings:
    """
    Knobs of the growth.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def initial_log_std(self) -> float:
        ...
    @initial_log_std.setter
    def initial_log_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def interval_s(self) -> float:
        ...
    @interval_s.setter
    def interval_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def log_std_most(self) -> float:
        ...
    @log_std_most.setter
    def log_std_most(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def model_log_std(self) -> float:
        ...
    @model_log_std.setter
    def model_log_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def std_per_sqrt_day(self) -> float:
        ...
    @std_per_sqrt_day.setter
    def std_per_sqrt_day(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class ResistanceGrowth:
    """
    Resistance of a cell against its tables, slowly followed: what remains when temperature
    and load have averaged out. 1 is the cell as it was tested.
    """
    def __init__(self, settings: ResistanceGrowthSettings | None = None) -> None:
        ...
    def step(self, log_scale: typing.SupportsFloat | typing.SupportsIndex, log_scale_std: typing.SupportsFloat | typing.SupportsIndex, dt_s: typing.SupportsFloat | typing.SupportsIndex) -> None:
        """
        Take ln r of a filter and its standard deviation (SocEstimate.resistance_scale,
        log_scale_std). What is no number is left out.
        """
    @property
    def growth(self) -> float:
        """
        1 when new.
        """
    @property
    def log_growth_std(self) -> float:
        ...
    @property
    def looks(self) -> int:
        ...
class GroupDrift:
    """
    What a group does against the others.
    """
    @property
    def capacity_share(self) -> float:
        """
        Its capacity is this share larger than the reference's.
        """
    @property
    def capacity_share_std(self) -> float:
        ...
    @property
    def looks(self) -> int:
        ...
    @property
    def soc_per_day(self) -> float:
        """
        Negative: it loses charge.
        """
    @property
    def soc_per_day_std(self) -> float:
        ...
class GroupDriftFit:
    """
    How the SOC difference of a group moves: with time (a leak) and with SOC (another
    capacity), by least squares with forgetting.
    """
    def __init__(self, days_memory: typing.SupportsFloat | typing.SupportsIndex = 30.0, interval_h: typing.SupportsFloat | typing.SupportsIndex = 1.0) -> None:
        ...
    def look(self, soc_difference: typing.SupportsFloat | typing.SupportsIndex, difference_std: typing.SupportsFloat | typing.SupportsIndex, soc: typing.SupportsFloat | typing.SupportsIndex) -> None:
        """
        A look at the group; looks nearer than the interval are left out.
        """
    def step(self, dt_s: typing.SupportsFloat | typing.SupportsIndex) -> None:
        """
        Time goes on.
        """
    @property
    def drift(self) -> GroupDrift:
        """
        What is known so far, as GroupDrift.
        """
class ChargeEndSettings:
    """
    How the end of a charge is told.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def end_current_A(self) -> float:
        """
        At which it ends, of a cell.
        """
    @end_current_A.setter
    def end_current_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def end_share(self) -> float:
        """
        The current may stop so much before its end, as a share.
        """
    @end_share.setter
    def end_share(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def full_soc_std(self) -> float:
        """
        How exactly full is met.
        """
    @full_soc_std.setter
    def full_soc_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def temperature_min_degC(self) -> float:
        """
        Colder cells are not full: common practice, no source.
        """
    @temperature_min_degC.setter
    def temperature_min_degC(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def tolerance_V(self) -> float:
        """
        Held from so far below on.
        """
    @tolerance_V.setter
    def tolerance_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_V(self) -> float:
        """
        At which the charge is held, of a cell.
        """
    @voltage_V.setter
    def voltage_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class ChargeEndDetector:
    """
    Recognises the end of a charge to full, where the SOC is known without counting.
    """
    def __init__(self, settings: ChargeEndSettings) -> None:
        ...
    def step(self, current_A: typing.SupportsFloat | typing.SupportsIndex, voltage_V: typing.SupportsFloat | typing.SupportsIndex, temperature_degC: typing.SupportsFloat | typing.SupportsIndex) -> bool:
        """
        Take one sample; True once, where the current of a full cell has stopped.
        """
    @property
    def soc(self) -> float:
        """
        1, for CapacityEstimator.anchor.
        """
    @property
    def soc_std(self) -> float:
        ...
class AgeSettings:
    """
    Knobs of what the age is read with.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def capacity(self) -> CapacitySettings:
        """
        CapacitySettings.
        """
    @capacity.setter
    def capacity(self, arg0: CapacitySettings) -> None:
        ...
    @property
    def charge_end(self) -> ChargeEndSettings | None:
        """
        ChargeEndSettings; None: the held voltage and the end current of the cell's charge plan.
        """
    @charge_end.setter
    def charge_end(self, arg0: ChargeEndSettings | None) -> None:
        ...
    @property
    def resistance(self) -> ResistanceGrowthSettings:
        """
        ResistanceGrowthSettings.
        """
    @resistance.setter
    def resistance(self, arg0: ResistanceGrowthSettings) -> None:
        ...
    @property
    def rest(self) -> RestSettings:
        """
        RestSettings.
        """
    @rest.setter
    def rest(self, arg0: RestSettings) -> None:
        ...
class AgeOfLog:
    """
    What a log shows of a cell's age.
    """
    @property
    def age(self) -> CellAge:
        """
        CellAge after the log; what it does not show is as it was before.
        """
    @property
    def capacity_intervals(self) -> int:
        """
        Between rests and ends of charges, with enough charge in between.
        """
    @property
    def full_charges(self) -> int:
        """
        Charges that ended full.
        """
    @property
    def resistance_looks(self) -> int:
        ...
    @property
    def rests(self) -> int:
        """
        Whose voltage told the SOC.
        """
class PackFilterSettings:
    """
    Knobs of the pack filter.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def capacity_std(self) -> float:
        """
        Unknown difference of capacities, as a share.
        """
    @capacity_std.setter
    def capacity_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def gate(self) -> float:
        ...
    @gate.setter
    def gate(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def group_offset_std_V(self) -> float:
        """
        Of a reading that is off the same way all the time.
        """
    @group_offset_std_V.setter
    def group_offset_std_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def group_voltage_std_V(self) -> float:
        """
        Of a reading against the other groups.
        """
    @group_voltage_std_V.setter
    def group_voltage_std_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def hysteresis_std(self) -> float:
        """
        Difference of the hysteresis between groups.
        """
    @hysteresis_std.setter
    def hysteresis_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def overvoltage_share_std(self) -> float:
        ...
    @overvoltage_share_std.setter
    def overvoltage_share_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def reference(self) -> SocFilterSettings:
        """
        SocFilterSettings of the full filter; its interval counts for all groups.
        """
    @reference.setter
    def reference(self, arg0: SocFilterSettings) -> None:
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
    def resistance_share_std(self) -> float:
        ...
    @resistance_share_std.setter
    def resistance_share_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def share_std_per_sqrt_h(self) -> float:
        ...
    @share_std_per_sqrt_h.setter
    def share_std_per_sqrt_h(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc_std_floor(self) -> float:
        ...
    @soc_std_floor.setter
    def soc_std_floor(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc_std_initial(self) -> float:
        """
        Of the groups around the reference at the start.
        """
    @soc_std_initial.setter
    def soc_std_initial(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc_std_per_sqrt_h(self) -> float:
        ...
    @soc_std_per_sqrt_h.setter
    def soc_std_per_sqrt_h(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def stuck_move_V(self) -> float:
        ...
    @stuck_move_V.setter
    def stuck_move_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_high_V(self) -> float:
        ...
    @voltage_high_V.setter
    def voltage_high_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_low_V(self) -> float:
        ...
    @voltage_low_V.setter
    def voltage_low_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class GroupFaultBit:
    """
    Bits of the fault byte of a group.
    
    Members:
    
      missing
    
      outside
    
      late
    
      stuck
    
      implausible
    
      reset
    
      bounded
    """
    __members__: typing.ClassVar[dict[str, GroupFaultBit]]
    bounded: typing.ClassVar[GroupFaultBit]
    implausible: typing.ClassVar[GroupFaultBit]
    late: typing.ClassVar[GroupFaultBit]
    missing: typing.ClassVar[GroupFaultBit]
    outside: typing.ClassVar[GroupFaultBit]
    reset: typing.ClassVar[GroupFaultBit]
    stuck: typing.ClassVar[GroupFaultBit]
    @typing.overload
    def __and__(self, other: GroupFaultBit) -> int:
        ...
    @typing.overload
    def __and__(self, other: typing.SupportsInt | typing.SupportsIndex) -> int:
        ...
    @typing.overload
    def __eq__(self, other: GroupFaultBit) -> bool:
        ...
    @typing.overload
    def __eq__(self, other: typing.SupportsInt | typing.SupportsIndex) -> bool:
        ...
    @typing.overload
    def __eq__(self, other: typing.Any) -> bool:
        ...
    @typing.overload
    def __ge__(self, other: GroupFaultBit) -> bool:
        ...
    @typing.overload
    def __ge__(self, other: typing.SupportsInt | typing.SupportsIndex) -> bool:
        ...
    def __getstate__(self) -> int:
        ...
    @typing.overload
    def __gt__(self, other: GroupFaultBit) -> bool:
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
    def __le__(self, other: GroupFaultBit) -> bool:
        ...
    @typing.overload
    def __le__(self, other: typing.SupportsInt | typing.SupportsIndex) -> bool:
        ...
    @typing.overload
    def __lt__(self, other: GroupFaultBit) -> bool:
        ...
    @typing.overload
    def __lt__(self, other: typing.SupportsInt | typing.SupportsIndex) -> bool:
        ...
    @typing.overload
    def __ne__(self, other: GroupFaultBit) -> bool:
        ...
    @typing.overload
    def __ne__(self, other: typing.SupportsInt | typing.SupportsIndex) -> bool:
        ...
    @typing.overload
    def __ne__(self, other: typing.Any) -> bool:
        ...
    @typing.overload
    def __or__(self, other: GroupFaultBit) -> int:
        ...
    @typing.overload
    def __or__(self, other: typing.SupportsInt | typing.SupportsIndex) -> int:
        ...
    @typing.overload
    def __rand__(self, other: GroupFaultBit) -> int:
        ...
    @typing.overload
    def __rand__(self, other: typing.SupportsInt | typing.SupportsIndex) -> int:
        ...
    def __repr__(self) -> str:
        ...
    @typing.overload
    def __ror__(self, other: GroupFaultBit) -> int:
        ...
    @typing.overload
    def __ror__(self, other: typing.SupportsInt | typing.SupportsIndex) -> int:
        ...
    @typing.overload
    def __rxor__(self, other: GroupFaultBit) -> int:
        ...
    @typing.overload
    def __rxor__(self, other: typing.SupportsInt | typing.SupportsIndex) -> int:
        ...
    def __setstate__(self, state: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    def __str__(self) -> str:
        ...
    @typing.overload
    def __xor__(self, other: GroupFaultBit) -> int:
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
class PackEstimate:
    """
    What comes back from each sample of a string.
    """
    @property
    def group_fault_bits(self) -> int:
        """
        All groups together.
        """
    @property
    def reference(self) -> SocEstimate:
        """
        SocEstimate of the reference cell.
        """
    @property
    def updated(self) -> bool:
        """
        Voltages were looked at in this step.
        """
    @property
    def used(self) -> int:
        """
        Groups whose voltage was used.
        """
class PackFilter:
    """
    SOC of every group of a string: a full filter for a reference cell, and a small one for what each group differs by in SOC and resistance.
    """
    def __init__(self, cell: Cell, groups: typing.SupportsInt | typing.SupportsIndex, settings: PackFilterSettings | None = None) -> None:
        """
        A filter for so many groups, each a cell of this kind (1 .. 512). Without settings the reference takes filter_settings(cell).
        """
    def run(self, time_s: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], current_A: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], voltage_V: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], temperature_degC: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> tuple:
        """
        Run along a log with voltage_V (n, groups); returns (soc, soc_std, group_fault_bits), each (n, groups).
        """
    def set_capacity(self, group: typing.SupportsInt | typing.SupportsIndex, capacity_Ah: typing.SupportsFloat | typing.SupportsIndex) -> None:
        """
        Take what is known of a group's capacity.
        """
    def snapshot(self, *, capacity: CapacityEstimator | None = None, resistance: ResistanceGrowth | None = None, checks: SensorChecks | None = None, drift: collections.abc.Sequence[GroupDriftFit] | None = None) -> bytes:
        """
        The state in bytes, for start_from_snapshot.
        
        Parameters
        ----------
        capacity : with the interval under way
        resistance : its growth
        checks : what lasts of them: sign, offset, faults that have not ended, what steps have taught, the slow balance
        drift : (groups,) one for each group
        
        Raises
        ------
        DataError
            When the filter was not started, or drift has another length.
        """
    def start(self, soc: typing.SupportsFloat | typing.SupportsIndex, soc_std: typing.SupportsFloat | typing.SupportsIndex, temperature_degC: typing.SupportsFloat | typing.SupportsIndex = 25.0) -> None:
        """
        Start at rest from one SOC (0..1) of all groups.
        """
    def start_from_snapshot(self, snapshot: bytes, off_s: typing.SupportsFloat | typing.SupportsIndex = 0.0, temperature_degC: typing.SupportsFloat | typing.SupportsIndex = 25.0, *, no_current: bool = False, capacity: CapacityEstimator | None = None, resistance: ResistanceGrowth | None = None, checks: SensorChecks | None = None, drift: collections.abc.Sequence[GroupDriftFit] | None = None) -> None:
        """
        Start from stored bytes.
        
        Parameters
        ----------
        off_s : time since, >= 0
        temperature_degC : now
        no_current : contactors are known to have been open, and nothing drew from groups beside them; only then does the SOC grow unsure no faster than at rest, and the interval of the capacity goes on through the time off
        capacity, resistance, checks, drift : made with their settings; what is stored of them goes on in them, and one of which nothing is stored stays as it is
        
        Raises
        ------
        DataError
            For bytes that were cut or changed, or of another version, model or number of groups, and for a state that cannot be; then nothing changes.
        """
    def start_from_voltages(self, voltage_V: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], current_A: typing.SupportsFloat | typing.SupportsIndex = 0.0, temperature_degC: typing.SupportsFloat | typing.SupportsIndex = 25.0) -> None:
        """
        Start from the (groups,) voltages; NaN where nothing came.
        """
    def start_under_load(self, soc: typing.SupportsFloat | typing.SupportsIndex, soc_std: typing.SupportsFloat | typing.SupportsIndex, mean_current_A: typing.SupportsFloat | typing.SupportsIndex, temperature_degC: typing.SupportsFloat | typing.SupportsIndex = 25.0, *, rms_current_A: typing.SupportsFloat | typing.SupportsIndex = 0.0, voltage_V: typing.SupportsFloat | typing.SupportsIndex | None = None, current_A: typing.SupportsFloat | typing.SupportsIndex = 0.0) -> None:
        """
        Start in the middle of use from one SOC (0..1) of all groups; see
        SocFilter.start_under_load. Currents are those of the string, the voltage is the mean of
        the groups.
        """
    def step(self, current_A: typing.SupportsFloat | typing.SupportsIndex, voltage_V: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], temperature_degC: typing.SupportsFloat | typing.SupportsIndex, dt_s: typing.SupportsFloat | typing.SupportsIndex, *, lag_s: typing.Annotated[numpy.typing.ArrayLike, numpy.float64] | None = None, group_current_A: typing.Annotated[numpy.typing.ArrayLike, numpy.float64] | None = None, current_std_A: typing.SupportsFloat | typing.SupportsIndex = 0.0) -> PackEstimate:
        """
        Take one sample and return the PackEstimate.
        
        Parameters
        ----------
        current_A : of the string, positive when charging
        voltage_V : (groups,), NaN where nothing came
        temperature_degC : of the cells
        dt_s : since the sample before
        lag_s : (groups,) each voltage was taken so long before the end of the step, 0 .. dt_s
        group_current_A : (groups,) beside the current of the string, bleed resistors negative
        current_std_A : how far the current may be off for as long as the step lasts
        """
    @property
    def estimate(self) -> PackEstimate:
        """
        The last PackEstimate.
        """
    @property
    def group_fault_bits(self) -> numpy.typing.NDArray[numpy.uint8]:
        """
        (groups,) see GroupFaultBit.
        """
    @property
    def model_view(self) -> ModelView:
        """
        What the reference expects before the next sample, for SensorChecks.step.
        """
    @property
    def resistance_scale(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (groups,)
        """
    @property
    def soc(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (groups,) 0..1
        """
    @property
    def soc_difference_std(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (groups,) of the difference to the reference, which is what balancing goes by.
        """
    @property
    def soc_std(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (groups,)
        """
class GroupFilters:
    """
    A full SocFilter for every group of a string, behind the calls of PackFilter: for groups that differ in more than SOC and resistance, and as a measure for PackFilter.
    """
    def __init__(self, cell: Cell, groups: typing.SupportsInt | typing.SupportsIndex, settings: SocFilterSettings | None = None) -> None:
        """
        Filters for so many groups, each a cell of this kind (1 .. 512). Without settings they take filter_settings(cell).
        """
    def run(self, time_s: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], current_A: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], voltage_V: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], temperature_degC: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> tuple:
        """
        Run along a log with voltage_V (n, groups); returns (soc, soc_std, fault_bits), each (n, groups).
        """
    def start(self, soc: typing.SupportsFloat | typing.SupportsIndex, soc_std: typing.SupportsFloat | typing.SupportsIndex, temperature_degC: typing.SupportsFloat | typing.SupportsIndex = 25.0) -> None:
        """
        Start all groups at rest from one SOC (0..1).
        """
    def start_from_voltages(self, voltage_V: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], current_A: typing.SupportsFloat | typing.SupportsIndex = 0.0, temperature_degC: typing.SupportsFloat | typing.SupportsIndex = 25.0) -> None:
        """
        Start each group from its (groups,) voltage; DataError names one that is no number.
        """
    def step(self, current_A: typing.SupportsFloat | typing.SupportsIndex, voltage_V: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], temperature_degC: typing.SupportsFloat | typing.SupportsIndex, dt_s: typing.SupportsFloat | typing.SupportsIndex) -> bool:
        """
        Take one sample; True when the voltages were looked at.
        
        Parameters
        ----------
        current_A : of the string, positive when charging
        voltage_V : (groups,), NaN where nothing came
        temperature_degC : of the cells
        dt_s : since the sample before
        """
    @property
    def fault_bits(self) -> numpy.typing.NDArray[numpy.uint32]:
        """
        (groups,) see FaultBit; of the last look.
        """
    @property
    def resistance_scale(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (groups,) 1 for the tested cell.
        """
    @property
    def soc(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (groups,) 0..1, what was counted since the last look included.
        """
    @property
    def soc_std(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (groups,) as of the last look.
        """
    @property
    def states(self) -> list[ModelState]:
        """
        A ModelState for each group, for limits and forecasts.
        """
class ParallelStrings:
    """
    SOC of every group of strings in parallel, a PackFilter for each. Strings without a current sensor of their own share what is left of the pack's current as the model has their voltages and resistances.
    """
    def __init__(self, cell: Cell, strings: typing.SupportsInt | typing.SupportsIndex, groups: typing.SupportsInt | typing.SupportsIndex, *, joint_ohm: typing.SupportsFloat | typing.SupportsIndex = 0.0, settings: PackFilterSettings | None = None) -> None:
        """
        Filters for so many strings (1 .. 16) of so many groups (1 .. 512).
        
        Parameters
        ----------
        cell : a group as a cell: capacity and resistances are those of all its cells together
        strings, groups : of the pack, of each string
        joint_ohm : cables, fuse and contactor of one string
        settings : PackFilterSettings; None takes filter_settings(cell) for the references
        """
    def run(self, time_s: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], current_A: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], voltage_V: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], temperature_degC: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], string_current_A: typing.Annotated[numpy.typing.ArrayLike, numpy.float64] | None = None) -> tuple:
        """
        Run along a log with voltage_V (n, strings, groups) and perhaps string_current_A (n, strings), all contactors closed; returns (soc, soc_std, group_fault_bits), each (n, strings, groups), and the (n, strings) currents that were taken.
        """
    def start(self, soc: typing.SupportsFloat | typing.SupportsIndex, soc_std: typing.SupportsFloat | typing.SupportsIndex, temperature_degC: typing.SupportsFloat | typing.SupportsIndex = 25.0) -> None:
        """
        Start all strings at rest from one SOC (0..1).
        """
    def start_from_voltages(self, voltage_V: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], string_current_A: typing.Annotated[numpy.typing.ArrayLike, numpy.float64] | None = None, temperature_degC: typing.SupportsFloat | typing.SupportsIndex = 25.0) -> None:
        """
        Start from the (strings, groups) voltages, NaN where nothing came; string_current_A (strings,) that flows, none if left out. DataError names a string without a voltage.
        """
    def step(self, current_A: typing.SupportsFloat | typing.SupportsIndex, voltage_V: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], temperature_degC: typing.SupportsFloat | typing.SupportsIndex, dt_s: typing.SupportsFloat | typing.SupportsIndex, *, string_current_A: typing.Annotated[numpy.typing.ArrayLike, numpy.float64] | None = None, closed: collections.abc.Sequence[bool] | None = None, lag_s: typing.Annotated[numpy.typing.ArrayLike, numpy.float64] | None = None) -> bool:
        """
        Take one sample.
        
        Parameters
        ----------
        current_A : of the pack, positive when charging; with string_current_A read only where one of them is NaN
        voltage_V : (strings, groups), NaN where nothing came
        temperature_degC : of the cells
        dt_s : since the sample before
        string_current_A : (strings,) of sensors, NaN where one gives nothing; None: one sensor for all
        closed : (strings,) contactors; None: all
        lag_s : (strings, groups) each voltage was taken so long before the end of the step, 0 .. dt_s; None: at the end
        
        Returns
        -------
        bool
            False when current is said to flow and no string is closed, or it is no number: the strings are then taken to carry what they carried before.
        """
    @property
    def estimates(self) -> list[PackEstimate]:
        """
        The last PackEstimate of each string.
        """
    @property
    def group_fault_bits(self) -> numpy.typing.NDArray[numpy.uint8]:
        """
        (strings, groups) see GroupFaultBit.
        """
    @property
    def resistance_scale(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (strings, groups) 1 for the tested cell.
        """
    @property
    def soc(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (strings, groups) 0..1
        """
    @property
    def soc_difference_std(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (strings, groups) of the difference to the reference of the string.
        """
    @property
    def soc_std(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (strings, groups)
        """
    @property
    def string_current_A(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (strings,) that the last step took each to carry.
        """
class LimitReason:
    """
    What decides a limit. Numbers are frozen.
    
    Members:
    
      none
    
      voltage
    
      soc
    
      temperature
    
      maker_table
    
      fuse
    
      contactor
    
      cable
    
      connector
    
      charger
    
      drive
    
      driver
    
      pulse_used
    
      opening
    """
    __members__: typing.ClassVar[dict[str, LimitReason]]
    cable: typing.ClassVar[LimitReason]
    charger: typing.ClassVar[LimitReason]
    connector: typing.ClassVar[LimitReason]
    contactor: typing.ClassVar[LimitReason]
    drive: typing.ClassVar[LimitReason]
    driver: typing.ClassVar[LimitReason]
    fuse: typing.ClassVar[LimitReason]
    maker_table: typing.ClassVar[LimitReason]
    none: typing.ClassVar[LimitReason]
    opening: typing.ClassVar[LimitReason]
    pulse_used: typing.ClassVar[LimitReason]
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
    def core_over_case_K(self) -> float:
        """
        Added to that of the state.
        """
    @core_over_case_K.setter
    def core_over_case_K(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
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
    def link_ohm(self) -> float:
        """
        From the cell to where its voltage is measured and limited; its heat does not warm the cell.
        """
    @link_ohm.setter
    def link_ohm(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def low_soc(self) -> float:
        """
        Below this SOC a discharge meets more resistance than the model has.
        """
    @low_soc.setter
    def low_soc(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def low_soc_margin(self) -> float:
        """
        By this share at empty; nothing at low_soc.
        """
    @low_soc_margin.setter
    def low_soc_margin(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc_margin(self) -> float:
        ...
    @soc_margin.setter
    def soc_margin(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc_taper(self) -> float:
        """
        The same for the SOC window.
        """
    @soc_taper.setter
    def soc_taper(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def temperature_margin_K(self) -> float:
        """
        The temperature may be off by this.
        """
    @temperature_margin_K.setter
    def temperature_margin_K(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def temperature_taper_K(self) -> float:
        """
        Before an end of the temperature window the current falls to nothing.
        """
    @temperature_taper_K.setter
    def temperature_taper_K(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def untested_sigmas(self) -> float:
        """
        Beyond the cell's tested current its voltage is taken to move further than the model says, by this many untested_share_std for every doubling.
        """
    @untested_sigmas.setter
    def untested_sigmas(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_margin_V(self) -> float:
        ...
    @voltage_margin_V.setter
    def voltage_margin_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def warmth_lag_s(self) -> float:
        """
        The resistance follows what a current warms this much later; 0: at once.
        """
    @warmth_lag_s.setter
    def warmth_lag_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class PackDirectionLimit:
    """
    What a pack is allowed in one direction for one horizon.
    """
    @property
    def binding_value(self) -> float:
        """
        The bound that decides, in its own unit.
        """
    @property
    def component(self) -> int:
        """
        Which component decides; -1: none.
        """
    @property
    def current_A(self) -> float:
        """
        >= 0 for charge, <= 0 for discharge.
        """
    @property
    def end_voltage_V(self) -> float:
        """
        At the end of the horizon with that current.
        """
    @property
    def group(self) -> int:
        """
        Which group decides; -1: a component does.
        """
    @property
    def power_W(self) -> float:
        """
        At the terminals; what can be held to the end of the horizon.
        """
    @property
    def reason(self) -> LimitReason:
        ...
    @property
    def rest_voltage_V(self) -> float:
        """
        Now, without current.
        """
    @property
    def string(self) -> int:
        """
        Its string; -1: the whole pack.
        """
class PackHorizonLimit:
    """
    Both directions for one horizon.
    """
    @property
    def charge(self) -> PackDirectionLimit:
        ...
    @property
    def discharge(self) -> PackDirectionLimit:
        ...
    @property
    def horizon_s(self) -> float:
        """
        inf: the continuous limit.
        """
class PackLimitSettings:
    """
    How careful the limits are.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def every_group(self) -> bool:
        """
        Try every group at the limit, not only those that come near.
        """
    @every_group.setter
    def every_group(self, arg0: bool) -> None:
        ...
    @property
    def flagged_current_share(self) -> float:
        """
        Of every limit, with a flagged current sensor.
        """
    @flagged_current_share.setter
    def flagged_current_share(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def flagged_soc_margin(self) -> float:
        """
        With a flagged voltage.
        """
    @flagged_soc_margin.setter
    def flagged_soc_margin(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def flagged_temperature_margin_K(self) -> float:
        """
        With a flagged temperature.
        """
    @flagged_temperature_margin_K.setter
    def flagged_temperature_margin_K(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def search(self) -> LimitSettings:
        """
        LimitSettings; its margins are added to those above.
        """
    @search.setter
    def search(self, arg0: LimitSettings) -> None:
        ...
    @property
    def sigmas(self) -> float:
        """
        Standard deviations of margin.
        """
    @sigmas.setter
    def sigmas(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class PackPart:
    """
    A part beside the cells that the pack file does not hold.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def charge_A(self) -> float:
        """
        Never more.
        """
    @charge_A.setter
    def charge_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def curve_current_A(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        Same length, falling.
        """
    @curve_current_A.setter
    def curve_current_A(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def curve_time_s(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        Maker's curve, rising.
        """
    @curve_time_s.setter
    def curve_time_s(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def discharge_A(self) -> float:
        """
        Never more.
        """
    @discharge_A.setter
    def discharge_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def i2t_A2s(self) -> float:
        """
        Of its maker at short times.
        """
    @i2t_A2s.setter
    def i2t_A2s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def kind(self) -> LimitReason:
        """
        LimitReason, fuse to driver.
        """
    @kind.setter
    def kind(self, arg0: LimitReason) -> None:
        ...
    @property
    def rated_A(self) -> float:
        """
        Carried for ever.
        """
    @rated_A.setter
    def rated_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def string(self) -> str:
        """
        Name of the string; empty: the whole pack.
        """
    @string.setter
    def string(self, arg0: str) -> None:
        ...
    @property
    def used_share(self) -> float:
        """
        Share of I2t and curve used.
        """
    @used_share.setter
    def used_share(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def warmth(self) -> float:
        """
        0 cold .. 1 at its end.
        """
    @warmth.setter
    def warmth(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class GroupState:
    """
    What is known of one group.
    """
    temperature_flagged: bool
    voltage_flagged: bool
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def capacity_log_std(self) -> float:
        ...
    @capacity_log_std.setter
    def capacity_log_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def capacity_scale(self) -> float:
        """
        1: as the tested cell.
        """
    @capacity_scale.setter
    def capacity_scale(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def resistance_log_std(self) -> float:
        ...
    @resistance_log_std.setter
    def resistance_log_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def state(self) -> ModelState:
        """
        ModelState of one of its cells.
        """
    @state.setter
    def state(self, arg0: ModelState) -> None:
        ...
    @property
    def temperature_std_K(self) -> float:
        ...
    @temperature_std_K.setter
    def temperature_std_K(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class LimitMap:
    """
    Limits over temperature (rows) and SOC (columns) for one horizon.
    """
    @property
    def charge_A(self) -> numpy.typing.NDArray[numpy.float64]:
        ...
    @property
    def charge_W(self) -> numpy.typing.NDArray[numpy.float64]:
        ...
    @property
    def charge_reason(self) -> list[list[LimitReason]]:
        ...
    @property
    def discharge_A(self) -> numpy.typing.NDArray[numpy.float64]:
        ...
    @property
    def discharge_W(self) -> numpy.typing.NDArray[numpy.float64]:
        ...
    @property
    def discharge_reason(self) -> list[list[LimitReason]]:
        ...
    @property
    def horizon_s(self) -> float:
        ...
    @property
    def soc(self) -> numpy.typing.NDArray[numpy.float64]:
        ...
    @property
    def temperature_degC(self) -> numpy.typing.NDArray[numpy.float64]:
        ...
class TrackerSettings:
    """
    Knobs of the limits over time.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def band(self) -> float:
        """
        A limit opens when it gains this share.
        """
    @band.setter
    def band(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def grace_s(self) -> float:
        """
        From a window left to nothing.
        """
    @grace_s.setter
    def grace_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def opening_time_s(self) -> float:
        """
        From nothing to what the limit is at present.
        """
    @opening_time_s.setter
    def opening_time_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def recovery_ratio(self) -> float:
        """
        A used-up pulse recovers at rest in this many horizons.
        """
    @recovery_ratio.setter
    def recovery_ratio(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class LimitTracker:
    """
    Limits over time: closing at once, opening at a rate, pulses that are used up and recover.
    """
    def __init__(self, settings: TrackerSettings = ...) -> None:
        ...
    def charge_used(self, horizon: typing.SupportsInt | typing.SupportsIndex) -> float:
        """
        Share of the pulse of a horizon (by its place) that is used.
        """
    def discharge_used(self, horizon: typing.SupportsInt | typing.SupportsIndex) -> float:
        """
        Share of the pulse of a horizon (by its place) that is used.
        """
    def restart(self) -> None:
        """
        Forget everything: the next limits are taken as is.
        """
    def update(self, limits: collections.abc.Sequence[PackHorizonLimit], current_A: typing.SupportsFloat | typing.SupportsIndex, dt_s: typing.SupportsFloat | typing.SupportsIndex) -> list[PackHorizonLimit]:
        """
        One tick: limits found now, mean current since the last tick, its length.
        
        Returns
        -------
        list of PackHorizonLimit: what may be told to a drive
        """
class TorqueDrive:
    """
    A drive: converter, machine and shaft.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def auxiliary_W(self) -> float:
        """
        What the pack feeds besides.
        """
    @auxiliary_W.setter
    def auxiliary_W(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def auxiliary_share_braking(self) -> float:
        """
        Share of it that is sure to be drawn while the drive brakes.
        """
    @auxiliary_share_braking.setter
    def auxiliary_share_braking(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def efficiency(self) -> float:
        """
        Motoring, where there is no table.
        """
    @efficiency.setter
    def efficiency(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def power_max_W(self) -> float:
        """
        At the shaft.
        """
    @power_max_W.setter
    def power_max_W(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def regeneration_efficiency(self) -> float:
        ...
    @regeneration_efficiency.setter
    def regeneration_efficiency(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def speed_max_rad_s(self) -> float:
        """
        Beyond: no torque.
        """
    @speed_max_rad_s.setter
    def speed_max_rad_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def standstill_speed_rad_s(self) -> float:
        """
        Slower counts as this.
        """
    @standstill_speed_rad_s.setter
    def standstill_speed_rad_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def torque_max_Nm(self) -> float:
        """
        Magnitude, both directions.
        """
    @torque_max_Nm.setter
    def torque_max_Nm(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def winding_loss_W_per_Nm2(self) -> float:
        """
        Not in the efficiency; there at standstill too.
        """
    @winding_loss_W_per_Nm2.setter
    def winding_loss_W_per_Nm2(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class EfficiencyGrid:
    """
    Efficiency over speed (rows) and torque (columns).
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def efficiency(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        0.01 .. 1.
        """
    @efficiency.setter
    def efficiency(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def speed_rad_s(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        Increasing.
        """
    @speed_rad_s.setter
    def speed_rad_s(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def torque_Nm(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        Increasing.
        """
    @torque_Nm.setter
    def torque_Nm(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
class TorqueLimit:
    """
    Torque limits at one speed.
    """
    @property
    def highest_Nm(self) -> float:
        """
        >= 0, in the shaft's coordinate.
        """
    @property
    def lowest_Nm(self) -> float:
        """
        <= 0, in the shaft's coordinate.
        """
    @property
    def motoring_Nm(self) -> float:
        """
        >= 0, with the rotation.
        """
    @property
    def motoring_by_pack(self) -> bool:
        """
        The pack decides, not the drive.
        """
    @property
    def regeneration_Nm(self) -> float:
        """
        <= 0, against the rotation.
        """
    @property
    def regeneration_by_pack(self) -> bool:
        """
        Likewise.
        """
class GroupLog:
    """
    A log with a voltage for each group of a string: time strictly increasing, current of the string positive when charging.
    """
    def __init__(self, time_s: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], current_A: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], voltage_V: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], temperature_degC: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], *, first_number: typing.SupportsInt | typing.SupportsIndex = 0, source: str = 'memory', pack_voltage_V: typing.Annotated[numpy.typing.ArrayLike, numpy.float64] | None = None, missing_allowed: bool = False) -> None:
        """
        A log from columns (lists, arrays or data frame columns).
        
        Parameters
        ----------
        time_s : (n,) strictly increasing
        current_A : (n,) of the string, positive when charging
        voltage_V : (n, groups), NaN where nothing came
        temperature_degC : (n,) or one number
        first_number : what files call the first group, 0 or 1
        source : name used in messages
        pack_voltage_V : (n,) of all groups from another sensor
        missing_allowed : NaN may stand for a current and a temperature, for SensorUse.replaced
        
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
    def clock_origin_s(self) -> float | None:
        """
        See Log.
        """
    @clock_origin_s.setter
    def clock_origin_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex | None) -> None:
        ...
    @property
    def current_A(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) of the string, positive when charging
        """
    @property
    def first_number(self) -> int:
        """
        What files call the first group, 0 or 1.
        """
    @property
    def groups(self) -> int:
        ...
    @property
    def pack_voltage_V(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) of all groups from another sensor; (0,) without one
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
        ...
    @property
    def time_s(self) -> numpy.typing.NDArray[numpy.float64]:
        ...
    @property
    def voltage_V(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n, groups), NaN where nothing came
        """
class GroupTrace:
    """
    The answer for a reference cell at every row of a log, and for the groups at the rows in which their voltages were looked at.
    """
    def __len__(self) -> int:
        ...
    @property
    def coasted(self) -> numpy.typing.NDArray[numpy.uint64]:
        """
        (groups,) of these, how often each group was counted on
        """
    @property
    def drift(self) -> list[GroupDrift]:
        """
        A GroupDrift for each group, against the reference: known after days, or much charge.
        """
    @property
    def end(self) -> list[GroupState]:
        """
        A GroupState for each group after the last row, for pack_limits and pack_charge.
        """
    @property
    def fault_bits(self) -> numpy.typing.NDArray[numpy.uint8]:
        """
        (m, groups) see GroupFaultBit
        """
    @property
    def first_number(self) -> int:
        """
        See GroupLog.
        """
    @property
    def group_reset_count(self) -> int:
        ...
    @property
    def groups(self) -> int:
        ...
    @property
    def looked(self) -> int:
        """
        How often voltages were looked at.
        """
    @property
    def reference(self) -> SocTrace:
        """
        SocTrace of the reference cell, whose voltage is the mean of the groups. What belongs to a voltage is of the last time voltages were looked at.
        """
    @property
    def resistance_scale(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (m, groups) 1 for the tested cell
        """
    @property
    def row(self) -> numpy.typing.NDArray[numpy.uint64]:
        """
        (m,) rows of the log that soc, soc_std, resistance_scale and fault_bits tell of: the first, the last and all in which voltages were looked at
        """
    @property
    def soc(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (m, groups)
        """
    @property
    def soc_max(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) of the fullest
        """
    @property
    def soc_min(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) of the emptiest group, at every row
        """
    @property
    def soc_std(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (m, groups)
        """
class PilotMeaning:
    """
    What the duty cycle of a control pilot says. Numbers are frozen.
    
    Members:
    
      no_charging
    
      digital_communication
    
      current
    """
    __members__: typing.ClassVar[dict[str, PilotMeaning]]
    current: typing.ClassVar[PilotMeaning]
    digital_communication: typing.ClassVar[PilotMeaning]
    no_charging: typing.ClassVar[PilotMeaning]
    @typing.overload
    def __eq__(self, other: PilotMeaning) -> bool:
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
    def __ne__(self, other: PilotMeaning) -> bool:
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
class PilotSignal:
    """
    A control pilot, read; current_A is per line.
    """
    @property
    def current_A(self) -> float:
        ...
    @property
    def meaning(self) -> PilotMeaning:
        ...
class CableMeaning:
    """
    What the proximity resistor says of the cable. Numbers are frozen.
    
    Members:
    
      none
    
      fault
    
      rated
    """
    __members__: typing.ClassVar[dict[str, CableMeaning]]
    fault: typing.ClassVar[CableMeaning]
    none: typing.ClassVar[CableMeaning]
    rated: typing.ClassVar[CableMeaning]
    @typing.overload
    def __eq__(self, other: CableMeaning) -> bool:
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
    def __ne__(self, other: CableMeaning) -> bool:
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
class ProximityWindows:
    """
    Where one coding of a cable ends and the next begins: without gaps, or with a fault between.
    
    Members:
    
      joined
    
      separate
    """
    __members__: typing.ClassVar[dict[str, ProximityWindows]]
    joined: typing.ClassVar[ProximityWindows]
    separate: typing.ClassVar[ProximityWindows]
    @typing.overload
    def __eq__(self, other: ProximityWindows) -> bool:
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
    def __ne__(self, other: ProximityWindows) -> bool:
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
class CableRating:
    """
    A proximity contact, read; current_A is per line.
    """
    @property
    def current_A(self) -> float:
        ...
    @property
    def meaning(self) -> CableMeaning:
        ...
class PowerEfficiency:
    """
    Efficiency of a charger over the power it puts out; one value is a plain number.
    """
    def __init__(self, power_W: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], efficiency: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        """
        (n,) W put out, increasing, and (n,).
        """
    @property
    def efficiency(self) -> numpy.typing.NDArray[numpy.float64]:
        ...
    @property
    def power_W(self) -> numpy.typing.NDArray[numpy.float64]:
        ...
class AcSupply:
    """
    The mains with socket and cable, up to the charger.
    """
    has_cable: bool
    has_pilot: bool
    windows: ProximityWindows
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def duty_cycle_percent(self) -> float:
        ...
    @duty_cycle_percent.setter
    def duty_cycle_percent(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def mains_voltage_V(self) -> float:
        ...
    @mains_voltage_V.setter
    def mains_voltage_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def outlet_current_A(self) -> float:
        ...
    @outlet_current_A.setter
    def outlet_current_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def phases(self) -> int:
        ...
    @phases.setter
    def phases(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def power_factor(self) -> float:
        ...
    @power_factor.setter
    def power_factor(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def proximity_ohm(self) -> float:
        ...
    @proximity_ohm.setter
    def proximity_ohm(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class Charger:
    """
    A charger between mains and pack. Ceilings of 0 are not there.
    """
    efficiency: PowerEfficiency
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def current_max_A(self) -> float:
        ...
    @current_max_A.setter
    def current_max_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def input_current_max_A(self) -> float:
        ...
    @input_current_max_A.setter
    def input_current_max_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def phases(self) -> int:
        ...
    @phases.setter
    def phases(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def power_max_W(self) -> float:
        ...
    @power_max_W.setter
    def power_max_W(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
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
class DcStation:
    """
    A DC station: what it says it can give now.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def current_max_A(self) -> float:
        ...
    @current_max_A.setter
    def current_max_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def power_max_W(self) -> float:
        ...
    @power_max_W.setter
    def power_max_W(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
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
class SupplyKind:
    """
    Kinds of supply.
    
    Members:
    
      ac_charger
    
      dc_station
    """
    __members__: typing.ClassVar[dict[str, SupplyKind]]
    ac_charger: typing.ClassVar[SupplyKind]
    dc_station: typing.ClassVar[SupplyKind]
    @typing.overload
    def __eq__(self, other: SupplyKind) -> bool:
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
    def __ne__(self, other: SupplyKind) -> bool:
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
class Supply:
    """
    Whatever charges the pack. Only the members of its kind are read.
    """
    ac: AcSupply
    charger: Charger
    kind: SupplyKind
    station: DcStation
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
class SupplyReason:
    """
    What decides the current that a supply gives. Numbers are frozen.
    
    Members:
    
      battery
    
      pilot
    
      cable
    
      outlet
    
      charger_input
    
      charger_current
    
      charger_power
    
      charger_voltage
    
      station_current
    
      station_power
    
      station_voltage
    
      pilot_off
    
      pilot_digital
    
      no_plug
    
      cable_fault
    """
    __members__: typing.ClassVar[dict[str, SupplyReason]]
    battery: typing.ClassVar[SupplyReason]
    cable: typing.ClassVar[SupplyReason]
    cable_fault: typing.ClassVar[SupplyReason]
    charger_current: typing.ClassVar[SupplyReason]
    charger_input: typing.ClassVar[SupplyReason]
    charger_power: typing.ClassVar[SupplyReason]
    charger_voltage: typing.ClassVar[SupplyReason]
    no_plug: typing.ClassVar[SupplyReason]
    outlet: typing.ClassVar[SupplyReason]
    pilot: typing.ClassVar[SupplyReason]
    pilot_digital: typing.ClassVar[SupplyReason]
    pilot_off: typing.ClassVar[SupplyReason]
    station_current: typing.ClassVar[SupplyReason]
    station_power: typing.ClassVar[SupplyReason]
    station_voltage: typing.ClassVar[SupplyReason]
    @typing.overload
    def __eq__(self, other: SupplyReason) -> bool:
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
    def __ne__(self, other: SupplyReason) -> bool:
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
class SupplyLimits:
    """
    What a supply can put into a pack: the least of all on the way.
    """
    current_reason: SupplyReason
    power_reason: SupplyReason
    voltage_reason: SupplyReason
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def current_max_A(self) -> float:
        ...
    @current_max_A.setter
    def current_max_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def line_current_A(self) -> float:
        ...
    @line_current_A.setter
    def line_current_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def power_max_W(self) -> float:
        ...
    @power_max_W.setter
    def power_max_W(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
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
class AvailableCurrent:
    """
    Charge current with what decides it.
    """
    @property
    def current_A(self) -> float:
        ...
    @property
    def reason(self) -> SupplyReason:
        ...
class SupplyDescription:
    """
    A supply with its name.
    """
    name: str
    supply: Supply
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
class ChargePhase:
    """
    Where a charge stands. Numbers are frozen.
    
    Members:
    
      constant_current
    
      constant_voltage
    
      done
    
      not_allowed
    
      constant_power
    
      rest
    
      balancing
    
      no_supply
    
      waiting
    
      fault
    """
    __members__: typing.ClassVar[dict[str, ChargePhase]]
    balancing: typing.ClassVar[ChargePhase]
    constant_current: typing.ClassVar[ChargePhase]
    constant_power: typing.ClassVar[ChargePhase]
    constant_voltage: typing.ClassVar[ChargePhase]
    done: typing.ClassVar[ChargePhase]
    fault: typing.ClassVar[ChargePhase]
    no_supply: typing.ClassVar[ChargePhase]
    not_allowed: typing.ClassVar[ChargePhase]
    rest: typing.ClassVar[ChargePhase]
    waiting: typing.ClassVar[ChargePhase]
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
    def least_resistance_scale(self) -> float:
        """
        A resistance scale below is taken for this (1: ageing does not bring a cell below the tested one); 0: as told.
        """
    @least_resistance_scale.setter
    def least_resistance_scale(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def limits_end_s(self) -> float:
        """
        Limits that let in no more than the end current for this long end the forecast.
        """
    @limits_end_s.setter
    def limits_end_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
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
    def constant_power_s(self) -> float:
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
    def end_reason(self) -> LimitReason:
        """
        LimitReason.soc: the window's highest SOC ended the charge before plan or target did.
        """
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
    def limits_reason(self) -> LimitReason:
        """
        LimitReason, which of them was the first to.
        """
    @property
    def limits_s(self) -> float:
        """
        How long the maker's table or the parts held the current below what plan and supply give.
        """
    @property
    def limits_until_s(self) -> float:
        """
        When they last did, from now.
        """
    @property
    def reached(self) -> bool:
        ...
    @property
    def rest_s(self) -> float:
        ...
    @property
    def socket_energy_Wh(self) -> float:
        ...
    @property
    def stored_Wh(self) -> float:
        ...
    @property
    def taper_from_A(self) -> float:
        """
        Current at which the voltage is held for the last time; 0: never.
        """
    @property
    def taper_s(self) -> float:
        """
        How long it is held from there.
        """
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
        dict of arrays: time_s, current_A, voltage_V, temperature_degC, soc, phase, held_back_by (LimitReason)
        """
    @property
    def forecast(self) -> ChargeForecast:
        ...
    @property
    def message(self) -> str:
        """
        How it ended, in plain words.
        """
class PackSupply:
    """
    What charges a pack, and the pack: series groups of parallel cells.
    """
    supply: Supply
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
class ChargeDoubt:
    """
    What is doubtful about a charge.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def capacity_log_std(self) -> float:
        ...
    @capacity_log_std.setter
    def capacity_log_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def measured_current_A(self) -> float:
        """
        Into a cell now, while it charges; 0: at rest or not known.
        """
    @measured_current_A.setter
    def measured_current_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def resistance_log_std(self) -> float:
        """
        Of the logarithm of the resistance scale.
        """
    @resistance_log_std.setter
    def resistance_log_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def sigmas(self) -> float:
        """
        Half width of the band; 1.96: 95 %.
        """
    @sigmas.setter
    def sigmas(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc_std(self) -> float:
        """
        Of the SOC at the start, from the filter.
        """
    @soc_std.setter
    def soc_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def step_s(self) -> float:
        """
        Longest step at the ends of the band.
        """
    @step_s.setter
    def step_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class ChargeTimeBand:
    """
    A forecast with its band.
    """
    @property
    def central(self) -> ChargeForecast:
        """
        ChargeForecast from the state as it is.
        """
    @property
    def earliest_s(self) -> float:
        ...
    @property
    def latest_s(self) -> float:
        """
        inf where the target may not be reached at all.
        """
    @property
    def std_s(self) -> float:
        ...
    @property
    def steps(self) -> int:
        """
        Of all runs together: what it cost.
        """
class ChargeCase:
    """
    What a charge is asked about.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def ambient_degC(self) -> float:
        """
        Surroundings, held.
        """
    @ambient_degC.setter
    def ambient_degC(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def parts(self) -> list[PackPart]:
        """
        PackPart, of a pack, beside its file's.
        """
    @parts.setter
    def parts(self, arg0: collections.abc.Sequence[PackPart]) -> None:
        ...
    @property
    def settings(self) -> ForecastSettings:
        """
        ForecastSettings; steps of 10 s.
        """
    @settings.setter
    def settings(self, arg0: ForecastSettings) -> None:
        ...
    @property
    def supply(self) -> PackSupply | None:
        """
        PackSupply, or None.
        """
    @supply.setter
    def supply(self, arg0: PackSupply | None) -> None:
        ...
    @property
    def supply_current_A(self) -> float:
        """
        Most that flows into a cell; 0: as much as the plan asks.
        """
    @supply_current_A.setter
    def supply_current_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def target_soc(self) -> float | None:
        """
        None: full by the plan.
        """
    @target_soc.setter
    def target_soc(self, arg0: typing.SupportsFloat | typing.SupportsIndex | None) -> None:
        ...
    @property
    def within_limits(self) -> bool:
        """
        Keep to the charge temperatures and the highest SOC of the window, the maker's table of lasting currents and, of a pack, what its parts carry for ever.
        """
    @within_limits.setter
    def within_limits(self, arg0: bool) -> None:
        ...
class ChargeTimeOutlook:
    """
    A time with its band, how it ended, and its curve.
    """
    @property
    def band(self) -> ChargeTimeBand:
        ...
    @property
    def curve(self) -> dict[str, numpy.typing.NDArray[numpy.float64]]:
        """
        dict of arrays: time_s, current_A, voltage_V, temperature_degC, soc, phase, held_back_by (LimitReason)
        """
    @property
    def message(self) -> str:
        ...
class Departure:
    """
    When a charge must be ready.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def doubt(self) -> ChargeDoubt:
        """
        In time at the late end of its band.
        """
    @doubt.setter
    def doubt(self, arg0: ChargeDoubt) -> None:
        ...
    @property
    def max_turns(self) -> int:
        """
        Currents that are tried at most.
        """
    @max_turns.setter
    def max_turns(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def ready_s(self) -> float:
        """
        From now.
        """
    @ready_s.setter
    def ready_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def target_soc(self) -> float:
        """
        0: full by the plan.
        """
    @target_soc.setter
    def target_soc(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def tolerance(self) -> float:
        """
        Of the time, as a share of ready_s.
        """
    @tolerance.setter
    def tolerance(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class DepartureCharge:
    """
    The charge that is ready in time.
    """
    @property
    def charge(self) -> ChargeTimeBand:
        """
        ChargeTimeBand with that current.
        """
    @property
    def current_A(self) -> float:
        """
        Of one cell.
        """
    @property
    def steps(self) -> int:
        ...
    @property
    def turns(self) -> int:
        ...
class DepartureOutlook:
    """
    The least current that is ready in time, and its curve.
    """
    @property
    def curve(self) -> dict[str, numpy.typing.NDArray[numpy.float64]]:
        """
        dict of arrays: time_s, current_A, voltage_V, temperature_degC, soc, phase, held_back_by (LimitReason)
        """
    @property
    def departure(self) -> DepartureCharge:
        ...
    @property
    def in_time(self) -> bool:
        ...
    @property
    def message(self) -> str:
        ...
class TaperSettings:
    """
    Knobs of the taper learner.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def capacity_Ah(self) -> float:
        """
        Of a cell.
        """
    @capacity_Ah.setter
    def capacity_Ah(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def memory_charges(self) -> float:
        ...
    @memory_charges.setter
    def memory_charges(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def spread(self) -> float:
        """
        Share, until the charges tell.
        """
    @spread.setter
    def spread(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class TaperTime:
    """
    Time left, from completed charges.
    """
    @property
    def charges(self) -> int:
        """
        Completed ones behind it.
        """
    @property
    def std_s(self) -> float:
        ...
    @property
    def this_charge(self) -> bool:
        """
        The falls of the charge under way are in it. Neither: the forecast's own.
        """
    @property
    def time_s(self) -> float:
        ...
class TaperLearner:
    """
    How long the current takes to fall at the held voltage, learned from completed charges.
    """
    def __init__(self, settings: TaperSettings) -> None:
        ...
    def begin(self) -> None:
        """
        A new charge; what was not completed is forgotten.
        """
    def complete(self) -> bool:
        """
        The charge has ended by its end current. Returns whether it showed anything.
        """
    def follow(self, log: Log, voltage_V: typing.SupportsFloat | typing.SupportsIndex, tolerance_V: typing.SupportsFloat | typing.SupportsIndex = 0.01) -> None:
        """
        Follow the charge of one cell that the log ends with, not completed yet.
        """
    def learn(self, log: Log, voltage_V: typing.SupportsFloat | typing.SupportsIndex, end_current_A: typing.SupportsFloat | typing.SupportsIndex, tolerance_V: typing.SupportsFloat | typing.SupportsIndex = 0.01) -> bool:
        """
        Learn from a logged charge of one cell. Returns whether it ended so.
        """
    def step(self, current_A: typing.SupportsFloat | typing.SupportsIndex, holding: bool, dt_s: typing.SupportsFloat | typing.SupportsIndex) -> None:
        """
        One tick: current into a cell, whether the last voltage of the plan is held.
        """
    def time_left(self, from_A: typing.SupportsFloat | typing.SupportsIndex, end_A: typing.SupportsFloat | typing.SupportsIndex) -> TaperTime:
        """
        Time from one current to a lower one.
        """
    def time_left_as_now(self, end_A: typing.SupportsFloat | typing.SupportsIndex) -> TaperTime:
        """
        Time to a lower current, from the charge under way alone.
        """
    @property
    def charges(self) -> int:
        ...
class LearnedTaper:
    """
    What completed charges of a cell showed of the taper, and the voltage and temperatures it holds for; kept in a file.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    def learn(self, log: Log, end_current_A: typing.SupportsFloat | typing.SupportsIndex, tolerance_V: typing.SupportsFloat | typing.SupportsIndex = 0.01) -> bool:
        """
        Learn from a logged charge of one cell that was held at voltage_V. Returns whether it ended by its end current; nothing changes otherwise.
        """
    def learner(self) -> TaperLearner:
        """
        TaperLearner that goes on from here.
        """
    @property
    def cell(self) -> str:
        """
        Name of the cell that was charged.
        """
    @cell.setter
    def cell(self, arg0: str) -> None:
        ...
    @property
    def charges(self) -> int:
        ...
    @property
    def provenance(self) -> Provenance:
        """
        made_by, made_at and the logs.
        """
    @provenance.setter
    def provenance(self, arg0: Provenance) -> None:
        ...
    @property
    def settings(self) -> TaperSettings:
        """
        TaperSettings, with the cell's capacity.
        """
    @settings.setter
    def settings(self, arg0: TaperSettings) -> None:
        ...
    @property
    def temperature_max_degC(self) -> float:
        """
        Highest.
        """
    @property
    def temperature_min_degC(self) -> float:
        """
        Lowest while it was held, over all charges.
        """
    @property
    def voltage_V(self) -> float:
        """
        At which the cell was held.
        """
    @voltage_V.setter
    def voltage_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class PackChargeOutlook:
    """
    How the charge of a pack goes.
    """
    @property
    def curve(self) -> dict[str, numpy.typing.NDArray[numpy.float64]]:
        """
        dict of arrays: time_s, current_A and voltage_V of the pack, lowest and highest group voltage, temperature and SOC, phase, group that decides, held_back_by (LimitReason)
        """
    @property
    def earliest_s(self) -> float:
        ...
    @property
    def forecast(self) -> ChargeForecast:
        """
        ChargeForecast; charge, energies and end current of the pack, end_soc of the group that decides, temperatures of the hottest.
        """
    @property
    def group(self) -> int:
        """
        Which decides at the end.
        """
    @property
    def handovers(self) -> int:
        """
        How often the deciding group changed.
        """
    @property
    def latest_s(self) -> float:
        ...
    @property
    def message(self) -> str:
        ...
    @property
    def weakest_group(self) -> int:
        """
        With the least charge at the end.
        """
    @property
    def weakest_soc(self) -> float:
        ...
class PackDeparture:
    """
    The least current that is ready in time.
    """
    @property
    def charge(self) -> PackChargeOutlook:
        ...
    @property
    def current_A(self) -> float:
        """
        Of one cell.
        """
    @property
    def in_time(self) -> bool:
        ...
    @property
    def message(self) -> str:
        ...
class Draw:
    """
    What the pack gives while it is emptied; one of both above 0.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def current_A(self) -> float:
        """
        Of the pack, drawn: >= 0.
        """
    @current_A.setter
    def current_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def power_W(self) -> float:
        """
        At the terminals, drawn: >= 0.
        """
    @power_W.setter
    def power_W(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class UsableEnergySettings:
    """
    Knobs and surroundings.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def ambient_degC(self) -> float:
        ...
    @ambient_degC.setter
    def ambient_degC(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def capacity_sigmas(self) -> float:
        ...
    @capacity_sigmas.setter
    def capacity_sigmas(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
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
    def longest_step_s(self) -> float:
        ...
    @longest_step_s.setter
    def longest_step_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def max_steps(self) -> int:
        ...
    @max_steps.setter
    def max_steps(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def resistance_sigmas(self) -> float:
        ...
    @resistance_sigmas.setter
    def resistance_sigmas(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc_sigmas(self) -> float:
        """
        The state is taken this many standard deviations off.
        """
    @soc_sigmas.setter
    def soc_sigmas(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc_step(self) -> float:
        """
        Most of a group's SOC in a step.
        """
    @soc_step.setter
    def soc_step(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_step_V(self) -> float:
        ...
    @voltage_step_V.setter
    def voltage_step_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class UsableEnergy:
    """
    What the pack gave until its end.
    """
    @property
    def charge_Ah(self) -> float:
        ...
    @property
    def end_current_A(self) -> float:
        ...
    @property
    def end_soc(self) -> float:
        """
        Of that group.
        """
    @property
    def end_temperature_degC(self) -> float:
        ...
    @property
    def end_voltage_V(self) -> float:
        ...
    @property
    def energy_Wh(self) -> float:
        """
        At the terminals, drawn.
        """
    @property
    def group(self) -> int:
        """
        The group that ended it; -1: none.
        """
    @property
    def loss_Wh(self) -> float:
        """
        Heat in cells and links.
        """
    @property
    def power_missing(self) -> bool:
        """
        No current gives the power.
        """
    @property
    def reached(self) -> bool:
        ...
    @property
    def reason(self) -> LimitReason:
        """
        LimitReason that ended it.
        """
    @property
    def steps(self) -> int:
        ...
    @property
    def time_s(self) -> float:
        ...
class UsableEnergyBand:
    """
    Usable energy with its band.
    """
    @property
    def central(self) -> UsableEnergy:
        ...
    @property
    def least_Wh(self) -> float:
        ...
    @property
    def most_Wh(self) -> float:
        ...
    @property
    def std_Wh(self) -> float:
        ...
class ConsumptionSettings:
    """
    Knobs of the consumption.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def fast_m(self) -> float:
        """
        Memory of what goes on now.
        """
    @fast_m.setter
    def fast_m(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def slow_m(self) -> float:
        """
        Memory of the habit.
        """
    @slow_m.setter
    def slow_m(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def start_Wh_per_km(self) -> float:
        """
        Expected before anything was driven; above 0.
        """
    @start_Wh_per_km.setter
    def start_Wh_per_km(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def start_m(self) -> float:
        """
        It counts as much as this way.
        """
    @start_m.setter
    def start_m(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def start_std_share(self) -> float:
        ...
    @start_std_share.setter
    def start_std_share(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class Consumption:
    """
    What is known of the consumption.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def deviation_std_Wh_per_km(self) -> float:
        """
        Of what goes on around the slow mean.
        """
    @deviation_std_Wh_per_km.setter
    def deviation_std_Wh_per_km(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def fast_Wh_per_km(self) -> float:
        ...
    @fast_Wh_per_km.setter
    def fast_Wh_per_km(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def fast_m(self) -> float:
        """
        Memory over which the deviation fades.
        """
    @fast_m.setter
    def fast_m(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def power_W(self) -> float:
        """
        Mean power, standstills included.
        """
    @power_W.setter
    def power_W(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def slow_Wh_per_km(self) -> float:
        ...
    @slow_Wh_per_km.setter
    def slow_Wh_per_km(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def slow_std_Wh_per_km(self) -> float:
        """
        Of the slow mean.
        """
    @slow_std_Wh_per_km.setter
    def slow_std_Wh_per_km(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class ConsumptionEstimator:
    """
    Follows the consumption of a vehicle with a fast and a slow memory.
    """
    def __init__(self, settings: ConsumptionSettings) -> None:
        ...
    def follow(self, time_s: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], drawn_W: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], speed_m_per_s: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        """
        A whole trip: the power of a row is the mean over the step that ends in it, drawn positive; the speed is a straight line between rows.
        """
    def step(self, energy_J: typing.SupportsFloat | typing.SupportsIndex, distance_m: typing.SupportsFloat | typing.SupportsIndex, dt_s: typing.SupportsFloat | typing.SupportsIndex) -> None:
        """
        One stretch: energy drawn (below 0 where it charged), way, time.
        """
    @property
    def consumption(self) -> Consumption:
        ...
class DistanceLeft:
    """
    How far it goes.
    """
    @property
    def bounded(self) -> bool:
        """
        False: the energy does not end.
        """
    @property
    def distance_m(self) -> float:
        ...
    @property
    def least_m(self) -> float:
        ...
    @property
    def mean_Wh_per_km(self) -> float:
        ...
    @property
    def most_m(self) -> float:
        ...
class ChargeReason:
    """
    Why the request is what it is. Numbers are frozen.
    
    Members:
    
      none
    
      plan
    
      limits
    
      supply
    
      voltage
    
      ramp
    
      next_stage
    
      zone
    
      switched_off
    
      too_cold
    
      too_hot
    
      no_supply
    
      no_limits
    
      resting
    
      balancing
    
      missing_sample
    
      starting_again
    
      taper_end
    
      limits_end
    
      plan_end
    
      over_voltage
    
      under_voltage
    
      over_temperature
    
      under_temperature
    
      lost_measurement
    
      over_current
    
      no_voltage_rise
    
      too_much_charge
    
      stage_timeout
    
      timeout
    """
    __members__: typing.ClassVar[dict[str, ChargeReason]]
    balancing: typing.ClassVar[ChargeReason]
    limits: typing.ClassVar[ChargeReason]
    limits_end: typing.ClassVar[ChargeReason]
    lost_measurement: typing.ClassVar[ChargeReason]
    missing_sample: typing.ClassVar[ChargeReason]
    next_stage: typing.ClassVar[ChargeReason]
    no_limits: typing.ClassVar[ChargeReason]
    no_supply: typing.ClassVar[ChargeReason]
    no_voltage_rise: typing.ClassVar[ChargeReason]
    none: typing.ClassVar[ChargeReason]
    over_current: typing.ClassVar[ChargeReason]
    over_temperature: typing.ClassVar[ChargeReason]
    over_voltage: typing.ClassVar[ChargeReason]
    plan: typing.ClassVar[ChargeReason]
    plan_end: typing.ClassVar[ChargeReason]
    ramp: typing.ClassVar[ChargeReason]
    resting: typing.ClassVar[ChargeReason]
    stage_timeout: typing.ClassVar[ChargeReason]
    starting_again: typing.ClassVar[ChargeReason]
    supply: typing.ClassVar[ChargeReason]
    switched_off: typing.ClassVar[ChargeReason]
    taper_end: typing.ClassVar[ChargeReason]
    timeout: typing.ClassVar[ChargeReason]
    too_cold: typing.ClassVar[ChargeReason]
    too_hot: typing.ClassVar[ChargeReason]
    too_much_charge: typing.ClassVar[ChargeReason]
    under_temperature: typing.ClassVar[ChargeReason]
    under_voltage: typing.ClassVar[ChargeReason]
    voltage: typing.ClassVar[ChargeReason]
    zone: typing.ClassVar[ChargeReason]
    @typing.overload
    def __eq__(self, other: ChargeReason) -> bool:
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
    def __ne__(self, other: ChargeReason) -> bool:
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
class ChargeControlSettings:
    """
    Knobs of the charge control. series, parallel, capacity_Ah, group_resistance_ohm and voltage_max_V have no default of use.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def capacity_Ah(self) -> float:
        ...
    @capacity_Ah.setter
    def capacity_Ah(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def control_share(self) -> float:
        ...
    @control_share.setter
    def control_share(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def end_dwell_s(self) -> float:
        ...
    @end_dwell_s.setter
    def end_dwell_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def group_resistance_ohm(self) -> float:
        ...
    @group_resistance_ohm.setter
    def group_resistance_ohm(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def hold_tolerance_V(self) -> float:
        ...
    @hold_tolerance_V.setter
    def hold_tolerance_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def limits_end_s(self) -> float:
        ...
    @limits_end_s.setter
    def limits_end_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def longest_s(self) -> float:
        ...
    @longest_s.setter
    def longest_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def lost_s(self) -> float:
        ...
    @lost_s.setter
    def lost_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def over_current_A(self) -> float:
        ...
    @over_current_A.setter
    def over_current_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def over_current_s(self) -> float:
        ...
    @over_current_s.setter
    def over_current_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def over_current_share(self) -> float:
        ...
    @over_current_share.setter
    def over_current_share(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def over_voltage_s(self) -> float:
        ...
    @over_voltage_s.setter
    def over_voltage_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def overcharge_share(self) -> float:
        ...
    @overcharge_share.setter
    def overcharge_share(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def parallel(self) -> int:
        ...
    @parallel.setter
    def parallel(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def restart_s(self) -> float:
        ...
    @restart_s.setter
    def restart_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def rise_charge_share(self) -> float:
        ...
    @rise_charge_share.setter
    def rise_charge_share(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def rise_s(self) -> float:
        ...
    @rise_s.setter
    def rise_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def rise_voltage_V(self) -> float:
        ...
    @rise_voltage_V.setter
    def rise_voltage_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def series(self) -> int:
        ...
    @series.setter
    def series(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
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
    def temperature_s(self) -> float:
        ...
    @temperature_s.setter
    def temperature_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_margin_V(self) -> float:
        ...
    @voltage_margin_V.setter
    def voltage_margin_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
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
class ChargeMeasurement:
    """
    What is measured at a tick.
    """
    current_valid: bool
    temperature_valid: bool
    voltage_valid: bool
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
    def group_voltage_max_V(self) -> float:
        ...
    @group_voltage_max_V.setter
    def group_voltage_max_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def group_voltage_min_V(self) -> float:
        ...
    @group_voltage_min_V.setter
    def group_voltage_min_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def pack_voltage_V(self) -> float:
        ...
    @pack_voltage_V.setter
    def pack_voltage_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
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
class ChargeInput:
    """
    Everything that a tick brings: measurements, limits, supply, time.
    """
    enabled: bool
    measured: ChargeMeasurement
    supply: SupplyLimits
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def allowed_A(self) -> float:
        ...
    @allowed_A.setter
    def allowed_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def dt_s(self) -> float:
        ...
    @dt_s.setter
    def dt_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def forecast_s(self) -> float:
        ...
    @forecast_s.setter
    def forecast_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc(self) -> float:
        ...
    @soc.setter
    def soc(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class ChargeRequest:
    """
    What to ask the charger for.
    """
    @property
    def balance(self) -> bool:
        ...
    @property
    def current_A(self) -> float:
        ...
    @property
    def open_contactor(self) -> bool:
        ...
    @property
    def phase(self) -> ChargePhase:
        ...
    @property
    def reason(self) -> ChargeReason:
        ...
    @property
    def remaining_s(self) -> float:
        ...
    @property
    def stage(self) -> int:
        ...
    @property
    def voltage_V(self) -> float:
        ...
class ChargeEvent:
    """
    A change of phase or reason, for the log.
    """
    @property
    def phase(self) -> ChargePhase:
        ...
    @property
    def reason(self) -> ChargeReason:
        ...
    @property
    def stage(self) -> int:
        ...
    @property
    def time_s(self) -> float:
        ...
    @property
    def value(self) -> float:
        ...
class ChargeControl:
    """
    What to ask a charger for, tick by tick. No protection: hardware that works without this software comes first.
    """
    def __init__(self, plan: ChargePlan, settings: ChargeControlSettings) -> None:
        """
        Ready for the first tick.
        """
    def over(self) -> bool:
        """
        The charge has ended, well or by a fault.
        """
    def start(self) -> None:
        """
        Begins another charge.
        """
    def step(self, tick: ChargeInput) -> ChargeRequest:
        """
        One tick. Returns a ChargeRequest.
        """
    @property
    def charge_Ah(self) -> float:
        """
        Put in since the start.
        """
    @property
    def events(self) -> list[ChargeEvent]:
        """
        list of the last 16 ChargeEvent
        """
    @property
    def plan(self) -> ChargePlan:
        ...
    @property
    def settings(self) -> ChargeControlSettings:
        ...
    @property
    def time_s(self) -> float:
        """
        Since the start.
        """
class BleedReason:
    """
    Why a group is bled or not. Numbers are frozen.
    
    Members:
    
      bleed
    
      level
    
      flat
    
      low_voltage
    
      invalid
    """
    __members__: typing.ClassVar[dict[str, BleedReason]]
    bleed: typing.ClassVar[BleedReason]
    flat: typing.ClassVar[BleedReason]
    invalid: typing.ClassVar[BleedReason]
    level: typing.ClassVar[BleedReason]
    low_voltage: typing.ClassVar[BleedReason]
    @typing.overload
    def __eq__(self, other: BleedReason) -> bool:
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
    def __ne__(self, other: BleedReason) -> bool:
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
class BalancingGroup:
    """
    What is known of a group to be balanced.
    """
    valid: bool
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def capacity_Ah(self) -> float:
        ...
    @capacity_Ah.setter
    def capacity_Ah(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def module(self) -> int:
        ...
    @module.setter
    def module(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def ocv_slope_V(self) -> float:
        ...
    @ocv_slope_V.setter
    def ocv_slope_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc(self) -> float:
        ...
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
    def voltage_V(self) -> float:
        ...
    @voltage_V.setter
    def voltage_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class BalancingPlanSettings:
    """
    Knobs of the balancing plan.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def bleed_ohm(self) -> float:
        ...
    @bleed_ohm.setter
    def bleed_ohm(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def module_heat_max_W(self) -> float:
        ...
    @module_heat_max_W.setter
    def module_heat_max_W(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def sigmas(self) -> float:
        ...
    @sigmas.setter
    def sigmas(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc_resolution(self) -> float:
        ...
    @soc_resolution.setter
    def soc_resolution(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc_step_min(self) -> float:
        ...
    @soc_step_min.setter
    def soc_step_min(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_error_V(self) -> float:
        ...
    @voltage_error_V.setter
    def voltage_error_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_min_V(self) -> float:
        ...
    @voltage_min_V.setter
    def voltage_min_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class GroupBleed:
    """
    What to do with a group.
    """
    @property
    def charge_Ah(self) -> float:
        ...
    @property
    def reason(self) -> BleedReason:
        ...
    @property
    def resistor_s(self) -> float:
        ...
    @property
    def share(self) -> float:
        ...
    @property
    def time_s(self) -> float:
        ...
class BalancingPlan:
    """
    What comes of bleeding the groups.
    """
    @property
    def bleeding(self) -> int:
        ...
    @property
    def charge_Ah(self) -> float:
        ...
    @property
    def heat_J(self) -> float:
        ...
    @property
    def module_heat_W(self) -> float:
        ...
    @property
    def time_s(self) -> float:
        ...
    @property
    def usable_Ah(self) -> float:
        ...
    @property
    def usable_after_Ah(self) -> float:
        ...
class ChargeTestSettings:
    """
    Knobs of the fit to charges.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def full_soc_std(self) -> float:
        ...
    @full_soc_std.setter
    def full_soc_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def independent_s(self) -> float:
        ...
    @independent_s.setter
    def independent_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def max_iterations(self) -> int:
        ...
    @max_iterations.setter
    def max_iterations(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def overvoltage_share_std(self) -> float:
        ...
    @overvoltage_share_std.setter
    def overvoltage_share_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def resistance_log_std(self) -> float:
        ...
    @resistance_log_std.setter
    def resistance_log_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def rest_s(self) -> float:
        ...
    @rest_s.setter
    def rest_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def row_s(self) -> float:
        ...
    @row_s.setter
    def row_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def scale_log_std(self) -> float:
        """
        How far all resistances together may lie from the cell's.
        """
    @scale_log_std.setter
    def scale_log_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc_from(self) -> float:
        """
        Rows above this SOC count in full.
        """
    @soc_from.setter
    def soc_from(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc_start(self) -> float:
        ...
    @soc_start.setter
    def soc_start(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc_start_std(self) -> float:
        ...
    @soc_start_std.setter
    def soc_start_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def taper_share(self) -> float:
        ...
    @taper_share.setter
    def taper_share(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_std_V(self) -> float:
        ...
    @voltage_std_V.setter
    def voltage_std_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def weight_below(self) -> float:
        ...
    @weight_below.setter
    def weight_below(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class ChargeTestFit:
    """
    What charges say about the rise of the resistance near full; arrays have one entry a charge.
    """
    @property
    def charge_Ah(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) put in from the first row to the end of the charge
        """
    @property
    def charge_rows_used(self) -> list[int]:
        """
        of each charge
        """
    @property
    def initial_soc(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) at the first row, counted back from full and fitted
        """
    @property
    def initial_soc_std(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,)
        """
    @property
    def iterations(self) -> int:
        ...
    @property
    def notes(self) -> list[str]:
        ...
    @property
    def residual_before_rms_V(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) with the rise that the cell came with
        """
    @property
    def residual_rms_V(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) above soc_from while charging, with the rise
        """
    @property
    def resistance_scale(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) of all resistances during the charge
        """
    @property
    def rise(self) -> ChargeRiseFit:
        ...
    @property
    def rows_used(self) -> int:
        ...
    @property
    def soc_start_std(self) -> float:
        ...
class StepKind:
    """
    Kind of a step of a test.
    
    Members:
    
      rest
    
      constant_current
    
      constant_voltage
    
      pulse
    
      drive
    """
    __members__: typing.ClassVar[dict[str, StepKind]]
    constant_current: typing.ClassVar[StepKind]
    constant_voltage: typing.ClassVar[StepKind]
    drive: typing.ClassVar[StepKind]
    pulse: typing.ClassVar[StepKind]
    rest: typing.ClassVar[StepKind]
    @typing.overload
    def __eq__(self, other: StepKind) -> bool:
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
    def __ne__(self, other: StepKind) -> bool:
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
        In words.
        """
    @property
    def name(self) -> str:
        ...
    @property
    def value(self) -> int:
        ...
class StepSettings:
    """
    How steps are told apart.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def capacity_Ah(self) -> float | None:
        """
        Gives the rates and the smallest current.
        """
    @capacity_Ah.setter
    def capacity_Ah(self, arg0: typing.SupportsFloat | typing.SupportsIndex | None) -> None:
        ...
    @property
    def current_share(self) -> float:
        ...
    @current_share.setter
    def current_share(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def longest_pulse_s(self) -> float:
        ...
    @longest_pulse_s.setter
    def longest_pulse_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def longest_stop_s(self) -> float:
        """
        A longer rest ends a drive.
        """
    @longest_stop_s.setter
    def longest_stop_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def rest_current_A(self) -> float | None:
        """
        No more than this is a rest; None takes C/100, or 0.2 % of the largest.
        """
    @rest_current_A.setter
    def rest_current_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex | None) -> None:
        ...
    @property
    def voltage_band_V(self) -> float:
        ...
    @voltage_band_V.setter
    def voltage_band_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class Step:
    """
    A stretch of rows of one kind.
    """
    def __repr__(self) -> str:
        ...
    @property
    def charge_Ah(self) -> float:
        """
        Positive = charged.
        """
    @property
    def duration_s(self) -> float:
        ...
    @property
    def end_time_s(self) -> float:
        ...
    @property
    def end_voltage_V(self) -> float:
        ...
    @property
    def first_row(self) -> int:
        """
        From 0.
        """
    @property
    def kind(self) -> StepKind:
        ...
    @property
    def last_row(self) -> int:
        """
        The last one that belongs to it.
        """
    @property
    def mean_current_A(self) -> float:
        """
        Over time.
        """
    @property
    def mean_temperature_degC(self) -> float:
        """
        Over time.
        """
    @property
    def rate_per_h(self) -> float | None:
        """
        Over the capacity, if that is given.
        """
    @property
    def start_time_s(self) -> float:
        """
        Of the row before the first.
        """
    @property
    def start_voltage_V(self) -> float:
        """
        In the row before the first.
        """
class DataFault:
    """
    What can be wrong with a log.
    
    Members:
    
      gap
    
      clock_jump
    
      repeated_row
    
      frozen
    
      spike
    
      quantisation
    
      current_offset
    
      current_sign
    
      current_unit
    
      voltage_unit
    
      temperature_unit
    
      temperature_range
    
      temperature_constant
    
      temperature_jump
    
      slow_sampling
    """
    __members__: typing.ClassVar[dict[str, DataFault]]
    clock_jump: typing.ClassVar[DataFault]
    current_offset: typing.ClassVar[DataFault]
    current_sign: typing.ClassVar[DataFault]
    current_unit: typing.ClassVar[DataFault]
    frozen: typing.ClassVar[DataFault]
    gap: typing.ClassVar[DataFault]
    quantisation: typing.ClassVar[DataFault]
    repeated_row: typing.ClassVar[DataFault]
    slow_sampling: typing.ClassVar[DataFault]
    spike: typing.ClassVar[DataFault]
    temperature_constant: typing.ClassVar[DataFault]
    temperature_jump: typing.ClassVar[DataFault]
    temperature_range: typing.ClassVar[DataFault]
    temperature_unit: typing.ClassVar[DataFault]
    voltage_unit: typing.ClassVar[DataFault]
    @typing.overload
    def __eq__(self, other: DataFault) -> bool:
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
    def __ne__(self, other: DataFault) -> bool:
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
        In words.
        """
    @property
    def name(self) -> str:
        ...
    @property
    def value(self) -> int:
        ...
class DataSeverity:
    """
    How much a finding matters.
    
    Members:
    
      note : good to know
    
      warning : look at it before fitting
    
      error : a fit would be wrong
    """
    __members__: typing.ClassVar[dict[str, DataSeverity]]
    error: typing.ClassVar[DataSeverity]
    note: typing.ClassVar[DataSeverity]
    warning: typing.ClassVar[DataSeverity]
    @typing.overload
    def __eq__(self, other: DataSeverity) -> bool:
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
    def __ne__(self, other: DataSeverity) -> bool:
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
        In words.
        """
    @property
    def name(self) -> str:
        ...
    @property
    def value(self) -> int:
        ...
class DataFinding:
    """
    One thing that is odd.
    """
    def __repr__(self) -> str:
        ...
    @property
    def kind(self) -> DataFault:
        ...
    @property
    def line(self) -> int | None:
        """
        Of the file, where a report was given.
        """
    @property
    def row(self) -> int | None:
        """
        From 0; None for the whole log.
        """
    @property
    def severity(self) -> DataSeverity:
        ...
    @property
    def text(self) -> str:
        """
        In plain words.
        """
    @property
    def value(self) -> float:
        """
        The size, in the unit that the text names.
        """
class DataCheckSettings:
    """
    What counts as odd.
    """
    steps: StepSettings
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def edge_s(self) -> float:
        ...
    @edge_s.setter
    def edge_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def efficiency_std(self) -> float:
        ...
    @efficiency_std.setter
    def efficiency_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def frozen_charge_share(self) -> float:
        ...
    @frozen_charge_share.setter
    def frozen_charge_share(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def full_share_std(self) -> float:
        ...
    @full_share_std.setter
    def full_share_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def gap_s(self) -> float:
        ...
    @gap_s.setter
    def gap_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def starts_full(self) -> bool:
        """
        The cell is full at the first row.
        """
    @starts_full.setter
    def starts_full(self, arg0: bool) -> None:
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
    def temperature_rate_K_per_s(self) -> float:
        ...
    @temperature_rate_K_per_s.setter
    def temperature_rate_K_per_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def temperature_spike_K(self) -> float:
        ...
    @temperature_spike_K.setter
    def temperature_spike_K(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_spike_V(self) -> float:
        ...
    @voltage_spike_V.setter
    def voltage_spike_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class OffsetBalance:
    """
    An offset of the current, from a balance of charge.
    """
    @property
    def balances(self) -> int:
        """
        Pairs of full cells behind it.
        """
    @property
    def current_offset_A(self) -> float:
        """
        True current = logged current + this.
        """
    @property
    def current_offset_A_std(self) -> float:
        ...
    @property
    def time_s(self) -> float:
        """
        With current, between them.
        """
class LogCorrections:
    """
    What to change in a log; nothing unasked.
    """
    current_from_mA: bool
    drop_spikes: bool
    temperature_from_K: bool
    temperature_from_degF: bool
    turn_current: bool
    voltage_from_mV: bool
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
class CorrectedLog:
    """
    A corrected log, and what was done to it.
    """
    @property
    def log(self) -> Log:
        ...
    @property
    def record(self) -> list[str]:
        """
        One line per correction.
        """
class FullBalance:
    """
    Charge between two times at which the cell was equally full.
    """
    @property
    def active_s(self) -> float:
        """
        with current
        """
    @property
    def charged_Ah(self) -> float:
        """
        put in between, as logged
        """
    @property
    def discharged_Ah(self) -> float:
        """
        taken out, as logged
        """
    @property
    def first_row(self) -> int:
        ...
    @property
    def gained_Ah(self) -> float:
        """
        by which it was fuller at the end, from rested voltages
        """
    @property
    def last_row(self) -> int:
        ...
    @property
    def std_Ah(self) -> float:
        """
        of charged - discharged - gained
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
class VoltageNoise:
    """
    What is left between model and measurement in a fit.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def overvoltage_share_std(self) -> float:
        """
        part that grows with the overvoltage
        """
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
    def voltage_std_V(self) -> float:
        """
        constant part
        """
    @voltage_std_V.setter
    def voltage_std_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
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
    def charge_transfer(self) -> bool:
        """
        fit an overvoltage that saturates with the current
        """
    @charge_transfer.setter
    def charge_transfer(self, arg0: bool) -> None:
        ...
    @property
    def drop_share_std(self) -> float | None:
        """
        How closely the drops over pulses should be met, as a share; 0: rows only. None: 0.005, without a slow test 0.
        """
    @drop_share_std.setter
    def drop_share_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex | None) -> None:
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
    def highest_rate_per_h(self) -> float:
        """
        faster pulses and the rests after them do not count
        """
    @highest_rate_per_h.setter
    def highest_rate_per_h(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def initial_soc_std(self) -> float:
        ...
    @initial_soc_std.setter
    def initial_soc_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def least_capacity_std(self) -> float:
        ...
    @least_capacity_std.setter
    def least_capacity_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def max_iterations(self) -> int:
        ...
    @max_iterations.setter
    def max_iterations(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def noise(self) -> VoltageNoise:
        """
        to start from
        """
    @noise.setter
    def noise(self, arg0: VoltageNoise) -> None:
        ...
    @property
    def noise_rounds(self) -> int:
        ...
    @noise_rounds.setter
    def noise_rounds(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
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
    def ratio_smoothness(self) -> float:
        ...
    @ratio_smoothness.setter
    def ratio_smoothness(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
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
        """
        at middle SOC
        """
    @time_log_std.setter
    def time_log_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def time_step_log_std(self) -> float:
        """
        change of a time constant over SOC from knot to knot
        """
    @time_step_log_std.setter
    def time_step_log_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def transfer_scale_log_std(self) -> float:
        ...
    @transfer_scale_log_std.setter
    def transfer_scale_log_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def transfer_time_log_std(self) -> float:
        ...
    @transfer_time_log_std.setter
    def transfer_time_log_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class RestTestSettings:
    """
    Knobs of the evaluation of rests.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def capacity_Ah(self) -> float | None:
        """
        None: from a discharge from full to the floor
        """
    @capacity_Ah.setter
    def capacity_Ah(self, arg0: typing.SupportsFloat | typing.SupportsIndex | None) -> None:
        ...
    @property
    def capacity_share_std(self) -> float:
        """
        how well a capacity handed in is known, relative
        """
    @capacity_share_std.setter
    def capacity_share_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def floor_voltage_V(self) -> float | None:
        """
        voltage that counts as empty; None: where a steady discharge ends steeply
        """
    @floor_voltage_V.setter
    def floor_voltage_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex | None) -> None:
        ...
    @property
    def gain_std(self) -> float:
        ...
    @gain_std.setter
    def gain_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def hysteresis_rate(self) -> float:
        ...
    @hysteresis_rate.setter
    def hysteresis_rate(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def merge_soc(self) -> float:
        """
        rests closer than this are one
        """
    @merge_soc.setter
    def merge_soc(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def missing_share_std(self) -> float:
        """
        how well what a rest lacks is known, as a share of it
        """
    @missing_share_std.setter
    def missing_share_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def node_count(self) -> int:
        ...
    @node_count.setter
    def node_count(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def offset_share_std(self) -> float:
        ...
    @offset_share_std.setter
    def offset_share_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def rest_current_A(self) -> float | None:
        """
        no more than this is a rest; None: 0.2 % of the largest current
        """
    @rest_current_A.setter
    def rest_current_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex | None) -> None:
        ...
    @property
    def shortest_rest_s(self) -> float:
        ...
    @shortest_rest_s.setter
    def shortest_rest_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_std_V(self) -> float:
        ...
    @voltage_std_V.setter
    def voltage_std_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class RestedVoltage:
    """
    A relaxation carried on to its end.
    """
    @property
    def last_voltage_V(self) -> float:
        ...
    @property
    def time_s(self) -> float:
        ...
    @property
    def voltage_V(self) -> float:
        ...
    @property
    def voltage_std_V(self) -> float:
        ...
class Rest:
    """
    A rest with what it says of the OCV.
    """
    @property
    def charge_Ah(self) -> float:
        """
        since full, not positive
        """
    @property
    def duration_s(self) -> float:
        ...
    @property
    def first_row(self) -> int:
        ...
    @property
    def hysteresis(self) -> float:
        """
        -1 met after discharge, +1 after charge
        """
    @property
    def last_row(self) -> int:
        ...
    @property
    def last_voltage_V(self) -> float:
        ...
    @property
    def log(self) -> int:
        """
        which of the logs
        """
    @property
    def soc(self) -> float:
        ...
    @property
    def voltage_V(self) -> float:
        """
        carried on to its end
        """
    @property
    def voltage_std_V(self) -> float:
        ...
class WalkedPoint:
    """
    A place on a steady discharge, the overvoltage taken off.
    """
    @property
    def charge_Ah(self) -> float:
        ...
    @property
    def soc(self) -> float:
        ...
    @property
    def voltage_V(self) -> float:
        ...
    @property
    def voltage_std_V(self) -> float:
        ...
class RestTest:
    """
    What the rests of pulse tests say.
    """
    @property
    def between(self) -> list[WalkedPoint]:
        ...
    @property
    def capacity_Ah(self) -> float:
        ...
    @property
    def capacity_Ah_std(self) -> float:
        ...
    @property
    def capacity_given(self) -> bool:
        ...
    @property
    def floor(self) -> list[WalkedPoint]:
        ...
    @property
    def floor_voltage_V(self) -> float | None:
        ...
    @property
    def half_gap_V(self) -> float:
        ...
    @property
    def half_gap_V_std(self) -> float:
        ...
    @property
    def notes(self) -> list[str]:
        ...
    @property
    def rests(self) -> list[Rest]:
        """
        By falling SOC.
        """
    @property
    def temperature_degC(self) -> float:
        ...
    @property
    def voltage_max_V(self) -> float:
        ...
    @property
    def voltage_min_V(self) -> float:
        ...
class HysteresisSettings:
    """
    Knobs of the hysteresis fit.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def fastest_rate_per_h(self) -> float:
        """
        rows under more current do not count
        """
    @fastest_rate_per_h.setter
    def fastest_rate_per_h(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def gap_share_std(self) -> float:
        ...
    @gap_share_std.setter
    def gap_share_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def largest_log_std(self) -> float:
        ...
    @largest_log_std.setter
    def largest_log_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def overvoltage_share_std(self) -> float:
        ...
    @overvoltage_share_std.setter
    def overvoltage_share_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def rate_high(self) -> float:
        ...
    @rate_high.setter
    def rate_high(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def rate_low(self) -> float:
        ...
    @rate_low.setter
    def rate_low(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def rest_s(self) -> float:
        """
        rests count from here on
        """
    @rest_s.setter
    def rest_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def row_soc(self) -> float:
        ...
    @row_soc.setter
    def row_soc(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def slope_std_V(self) -> float:
        ...
    @slope_std_V.setter
    def slope_std_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc_high(self) -> float:
        ...
    @soc_high.setter
    def soc_high(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc_low(self) -> float:
        ...
    @soc_low.setter
    def soc_low(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_std_V(self) -> float:
        ...
    @voltage_std_V.setter
    def voltage_std_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def window_soc(self) -> float:
        ...
    @window_soc.setter
    def window_soc(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class HysteresisRateFit:
    """
    What the logs say of the rate.
    """
    @property
    def note(self) -> str:
        ...
    @property
    def rate(self) -> float:
        ...
    @property
    def rate_log_std(self) -> float:
        """
        of the logarithm
        """
    @property
    def residual_rms_V(self) -> float:
        ...
    @property
    def rows(self) -> int:
        ...
    @property
    def told(self) -> bool:
        """
        the data hold the rate
        """
    @property
    def turns(self) -> int:
        ...
class CoulombicEfficiencySettings:
    """
    Knobs of the efficiency fit.
    """
    balance: DataCheckSettings
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def assumed_std(self) -> float:
        ...
    @assumed_std.setter
    def assumed_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def largest_std(self) -> float:
        ...
    @largest_std.setter
    def largest_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def offset_std_A(self) -> float | None:
        """
        how well the offset of the current is known; 0: known; None: not at all
        """
    @offset_std_A.setter
    def offset_std_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex | None) -> None:
        ...
class CoulombicEfficiencyFit:
    """
    Coulombic efficiency with what it rests on.
    """
    @property
    def balances(self) -> int:
        ...
    @property
    def charged_Ah(self) -> float:
        ...
    @property
    def current_offset_A(self) -> float:
        ...
    @property
    def current_offset_A_std(self) -> float:
        ...
    @property
    def efficiency(self) -> float:
        ...
    @property
    def efficiency_std(self) -> float:
        ...
    @property
    def note(self) -> str:
        ...
    @property
    def rows(self) -> list[int]:
        """
        Of each log, between full cells.
        """
    @property
    def told(self) -> bool:
        ...
class FitSettings:
    """
    Knobs of the whole fit.
    """
    charges: ChargeTestSettings
    efficiency: CoulombicEfficiencySettings
    hysteresis: HysteresisSettings
    name: str
    pulses: PulseFitSettings
    slow: SlowTestSettings
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def choose_form(self) -> bool:
        """
        choose branches and charge transfer by the information criterion
        """
    @choose_form.setter
    def choose_form(self, arg0: bool) -> None:
        ...
    @property
    def hysteresis_rate(self) -> float:
        """
        assumed where no test tells
        """
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
    def pulse_offset_share_std(self) -> float:
        """
        offset in the pulse tests, a share of their largest current; 0: known
        """
    @pulse_offset_share_std.setter
    def pulse_offset_share_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def rests(self) -> RestTestSettings:
        """
        without a slow test
        """
    @rests.setter
    def rests(self, arg0: RestTestSettings) -> None:
        ...
    @property
    def same_temperature_K(self) -> float:
        ...
    @same_temperature_K.setter
    def same_temperature_K(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def warmth_lag_s(self) -> float:
        """
        how late the resistances follow the warmth that the pulses make
        """
    @warmth_lag_s.setter
    def warmth_lag_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
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
    def time_log_std(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (s,) of the logarithm
        """
    @property
    def time_s(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (s,)
        """
class ChargeTransferFit:
    """
    Charge transfer at one temperature.
    """
    @property
    def resistance_log_std(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (s,) of the logarithm
        """
    @property
    def resistance_ohm(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (s,) to small currents
        """
    @property
    def scale_V(self) -> float:
        ...
    @property
    def scale_log_std(self) -> float:
        ...
    @property
    def time_log_std(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (s,) of the logarithm
        """
    @property
    def time_s(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (s,)
        """
class FormTrial:
    """
    One form of the model, tried on all pulse tests.
    """
    @property
    def branches(self) -> int:
        ...
    @property
    def charge_transfer(self) -> bool:
        ...
    @property
    def criterion(self) -> float:
        """
        Bayesian information criterion; the lowest wins.
        """
    @property
    def residual_rms_V(self) -> float:
        ...
class PulseFit:
    """
    The fit at one temperature.
    """
    @property
    def branches(self) -> list[PulseFitBranch]:
        ...
    @property
    def capacity_Ah(self) -> float:
        """
        that brings the rested voltages onto the OCV
        """
    @property
    def capacity_Ah_std(self) -> float:
        ...
    @property
    def charge_transfer(self) -> ChargeTransferFit | None:
        """
        or None
        """
    @property
    def deviance(self) -> float:
        ...
    @property
    def effective_parameters(self) -> float:
        ...
    @property
    def findings(self) -> list[str]:
        """
        What the tests leave open.
        """
    @property
    def initial_soc(self) -> list[float]:
        """
        Of each log.
        """
    @property
    def initial_soc_std(self) -> list[float]:
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
    def log_rows_used(self) -> list[int]:
        """
        The same of each log.
        """
    @property
    def noise(self) -> VoltageNoise:
        """
        VoltageNoise of the residuals.
        """
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
        """
        Compared with the model, after thinning.
        """
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
    def starts_full(self) -> bool:
        """
        A log does; else the rests say nothing of how high the whole OCV lies.
        """
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
    def used_rows(self) -> numpy.typing.NDArray[numpy.uint64]:
        """
        Rows behind capacity and OCV, from 0, rising.
        """
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
    def charges(self) -> ChargeTestFit | None:
        """
        None when no charges were handed in.
        """
    @property
    def efficiency(self) -> CoulombicEfficiencyFit:
        ...
    @property
    def forms(self) -> list[FormTrial]:
        """
        Forms tried, the chosen one first.
        """
    @property
    def hysteresis(self) -> HysteresisRateFit:
        ...
    @property
    def pulses(self) -> list[PulseFit]:
        """
        By rising temperature.
        """
    @property
    def rests(self) -> RestTest | None:
        """
        RestTest when there was no slow test, else None.
        """
    @property
    def slow(self) -> SlowTest:
        """
        Of capacity 0 when there was none.
        """
class Chemistry:
    """
    Positive electrode against graphite; decides the published OCV curve.
    
    Members:
    
      nmc
    
      nca
    
      lco
    
      lmo
    
      lfp
    """
    __members__: typing.ClassVar[dict[str, Chemistry]]
    lco: typing.ClassVar[Chemistry]
    lfp: typing.ClassVar[Chemistry]
    lmo: typing.ClassVar[Chemistry]
    nca: typing.ClassVar[Chemistry]
    nmc: typing.ClassVar[Chemistry]
    @typing.overload
    def __eq__(self, other: Chemistry) -> bool:
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
    def __ne__(self, other: Chemistry) -> bool:
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
class DataSheet:
    """
    What a data sheet says of one cell; None where it says nothing.
    """
    chemistry: Chemistry
    name: str
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def capacity_Ah(self) -> float:
        ...
    @capacity_Ah.setter
    def capacity_Ah(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def charge_current_A(self) -> float | None:
        """
        standard charge
        """
    @charge_current_A.setter
    def charge_current_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex | None) -> None:
        ...
    @property
    def charge_current_max_A(self) -> float | None:
        ...
    @charge_current_max_A.setter
    def charge_current_max_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex | None) -> None:
        ...
    @property
    def charge_temperature_max_degC(self) -> float | None:
        ...
    @charge_temperature_max_degC.setter
    def charge_temperature_max_degC(self, arg0: typing.SupportsFloat | typing.SupportsIndex | None) -> None:
        ...
    @property
    def charge_temperature_min_degC(self) -> float | None:
        ...
    @charge_temperature_min_degC.setter
    def charge_temperature_min_degC(self, arg0: typing.SupportsFloat | typing.SupportsIndex | None) -> None:
        ...
    @property
    def dc_pulse_s(self) -> float:
        """
        0.5 .. 120
        """
    @dc_pulse_s.setter
    def dc_pulse_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def discharge_current_max_A(self) -> float | None:
        """
        a magnitude
        """
    @discharge_current_max_A.setter
    def discharge_current_max_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex | None) -> None:
        ...
    @property
    def discharge_temperature_max_degC(self) -> float | None:
        ...
    @discharge_temperature_max_degC.setter
    def discharge_temperature_max_degC(self, arg0: typing.SupportsFloat | typing.SupportsIndex | None) -> None:
        ...
    @property
    def discharge_temperature_min_degC(self) -> float | None:
        ...
    @discharge_temperature_min_degC.setter
    def discharge_temperature_min_degC(self, arg0: typing.SupportsFloat | typing.SupportsIndex | None) -> None:
        ...
    @property
    def end_current_A(self) -> float | None:
        ...
    @end_current_A.setter
    def end_current_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex | None) -> None:
        ...
    @property
    def mass_kg(self) -> float | None:
        ...
    @mass_kg.setter
    def mass_kg(self, arg0: typing.SupportsFloat | typing.SupportsIndex | None) -> None:
        ...
    @property
    def resistance_ac_ohm(self) -> float:
        """
        at 1 kHz, 25 degC
        """
    @resistance_ac_ohm.setter
    def resistance_ac_ohm(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def resistance_dc_ohm(self) -> float:
        """
        after dc_pulse_s, 25 degC, half full
        """
    @resistance_dc_ohm.setter
    def resistance_dc_ohm(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_max_V(self) -> float | None:
        ...
    @voltage_max_V.setter
    def voltage_max_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex | None) -> None:
        ...
    @property
    def voltage_min_V(self) -> float | None:
        ...
    @voltage_min_V.setter
    def voltage_min_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex | None) -> None:
        ...
class PulseForm:
    """
    Which five parameters describe a pulse.
    
    Members:
    
      two_branches
    
      lumped
    """
    __members__: typing.ClassVar[dict[str, PulseForm]]
    lumped: typing.ClassVar[PulseForm]
    two_branches: typing.ClassVar[PulseForm]
    @typing.overload
    def __eq__(self, other: PulseForm) -> bool:
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
    def __ne__(self, other: PulseForm) -> bool:
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
class CurrentHold:
    """
    What the current did between two rows.
    
    Members:
    
      held
    
      ramp
    """
    __members__: typing.ClassVar[dict[str, CurrentHold]]
    held: typing.ClassVar[CurrentHold]
    ramp: typing.ClassVar[CurrentHold]
    @typing.overload
    def __eq__(self, other: CurrentHold) -> bool:
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
    def __ne__(self, other: CurrentHold) -> bool:
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
class SinglePulseSettings:
    """
    Knobs of the single-pulse fit.
    """
    form: PulseForm
    hold: CurrentHold
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def first_row(self) -> int:
        ...
    @first_row.setter
    def first_row(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def max_evaluations(self) -> int:
        ...
    @max_evaluations.setter
    def max_evaluations(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def ocv_slope_V_per_Ah(self) -> float:
        """
        known slope of the OCV (two_branches)
        """
    @ocv_slope_V_per_Ah.setter
    def ocv_slope_V_per_Ah(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def row_count(self) -> int:
        """
        0 means all that follow
        """
    @row_count.setter
    def row_count(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def slow_time_s(self) -> float:
        """
        time constant of the second branch (two_branches)
        """
    @slow_time_s.setter
    def slow_time_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class SinglePulseFit:
    """
    Five parameters of one pulse.
    """
    @property
    def branch_ohm(self) -> float:
        ...
    @property
    def branch_ohm_std(self) -> float:
        ...
    @property
    def branch_time_s(self) -> float:
        ...
    @property
    def branch_time_s_std(self) -> float:
        ...
    @property
    def correlation(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (5, 5): ocv_V, r0_ohm, branch_ohm, ln branch_time_s, slow_ohm or ocv_slope_V_per_Ah
        """
    @property
    def cost_V2(self) -> float:
        """
        half the sum of squared residuals
        """
    @property
    def evaluations(self) -> int:
        ...
    @property
    def ocv_V(self) -> float:
        ...
    @property
    def ocv_V_std(self) -> float:
        ...
    @property
    def ocv_slope_V_per_Ah(self) -> float:
        ...
    @property
    def ocv_slope_V_per_Ah_std(self) -> float:
        ...
    @property
    def r0_ohm(self) -> float:
        ...
    @property
    def r0_ohm_std(self) -> float:
        ...
    @property
    def residual_rms_V(self) -> float:
        ...
    @property
    def rows(self) -> int:
        ...
    @property
    def rows_per_independent_row(self) -> float:
        ...
    @property
    def slow_ohm(self) -> float:
        ...
    @property
    def slow_ohm_std(self) -> float:
        ...
class IncrementalCapacitySettings:
    """
    Knobs of the incremental capacity.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def smoothing_V(self) -> float:
        """
        standard deviation of the Gaussian
        """
    @smoothing_V.setter
    def smoothing_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def step_V(self) -> float:
        """
        distance of the voltages
        """
    @step_V.setter
    def step_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class IncrementalCapacity:
    """
    dQ/dV over voltage.
    """
    @property
    def charge_Ah_per_V(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,)
        """
    @property
    def voltage_V(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) evenly spaced
        """
class ThermalTrace:
    """
    A log as the thermal part of a cell sees it, in rows of 5 s and more.
    """
    @property
    def ambient_degC(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) surroundings, fitted to this log
        """
    @property
    def case_degC(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) from the heat and the surroundings
        """
    @property
    def core_degC(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) from the heat and the logged case temperature
        """
    @property
    def heat_W(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) made in the core, mean over the step that ends here
        """
    @property
    def residual_rms_K(self) -> float:
        """
        case_degC against the log.
        """
    @property
    def time_s(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,)
        """
class RefineSettings:
    """
    Knobs of the refinement.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def block_min(self) -> float:
        ...
    @block_min.setter
    def block_min(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def factor_log_std(self) -> float:
        ...
    @factor_log_std.setter
    def factor_log_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def initial_soc(self) -> list[float | None]:
        """
        SOC at the first row of each log, None where its first voltage tells (a copy in each direction).
        """
    @initial_soc.setter
    def initial_soc(self, arg0: collections.abc.Sequence[typing.SupportsFloat | typing.SupportsIndex | None]) -> None:
        ...
    @property
    def initial_soc_std(self) -> float:
        ...
    @initial_soc_std.setter
    def initial_soc_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def keep_unimproved(self) -> bool:
        """
        Return the refined cell even where it does not.
        """
    @keep_unimproved.setter
    def keep_unimproved(self, arg0: bool) -> None:
        ...
    @property
    def least_capacity_std(self) -> float:
        ...
    @least_capacity_std.setter
    def least_capacity_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def least_improvement(self) -> float:
        """
        The held-out rms must fall by this share at least.
        """
    @least_improvement.setter
    def least_improvement(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def max_iterations(self) -> int:
        ...
    @max_iterations.setter
    def max_iterations(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def max_rows(self) -> int:
        ...
    @max_rows.setter
    def max_rows(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def ocv_soc(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (k,) knots of the OCV shift
        """
    @ocv_soc.setter
    def ocv_soc(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
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
    def seed(self) -> int:
        """
        Which block of each pair is fitted.
        """
    @seed.setter
    def seed(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_std_V(self) -> float:
        ...
    @voltage_std_V.setter
    def voltage_std_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class RefineLog:
    """
    How one log is met, by half.
    """
    @property
    def block_count(self) -> int:
        ...
    @property
    def fitted_before_rms_V(self) -> float:
        ...
    @property
    def fitted_blocks(self) -> list[int]:
        """
        From 0; the others were held out.
        """
    @property
    def fitted_rms_V(self) -> float:
        ...
    @property
    def fitted_rows(self) -> int:
        ...
    @property
    def held_out_before_rms_V(self) -> float:
        ...
    @property
    def held_out_rms_V(self) -> float:
        ...
    @property
    def held_out_rows(self) -> int:
        ...
    @property
    def initial_soc(self) -> float:
        ...
    @property
    def initial_soc_std(self) -> float:
        ...
    @property
    def rows_used(self) -> int:
        """
        of these, after thinning
        """
    @property
    def source(self) -> str:
        ...
class RefineFactor:
    """
    One factor on a quantity of the cell.
    """
    @property
    def factor(self) -> float:
        """
        New over old.
        """
    @property
    def log_std(self) -> float:
        """
        Of its logarithm.
        """
    @property
    def name(self) -> str:
        ...
class RefineResult:
    """
    A refinement and how it did.
    """
    @property
    def block_s(self) -> float:
        ...
    @property
    def cell(self) -> Cell:
        """
        Refined; the old one when it was not improved.
        """
    @property
    def factors(self) -> list[RefineFactor]:
        ...
    @property
    def fitted_before_rms_V(self) -> float:
        ...
    @property
    def fitted_rms_V(self) -> float:
        ...
    @property
    def held_out_before_rms_V(self) -> float:
        ...
    @property
    def held_out_rms_V(self) -> float:
        ...
    @property
    def improved(self) -> bool:
        """
        The held-out half is met better.
        """
    @property
    def iterations(self) -> int:
        ...
    @property
    def logs(self) -> list[RefineLog]:
        ...
    @property
    def notes(self) -> list[str]:
        ...
    @property
    def ocv_shift_V(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (k,)
        """
    @property
    def ocv_shift_std_V(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (k,)
        """
    @property
    def ocv_soc(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (k,) knots
        """
    @property
    def rows_per_independent_row(self) -> float:
        ...
    @property
    def rows_used(self) -> int:
        ...
    @property
    def seed(self) -> int:
        ...
class SpeedUnit:
    """
    Unit of a column that is called 'speed'.
    
    Members:
    
      from_name
    
      m_per_s
    
      km_per_h
    
      mi_per_h
    
      kn
    """
    __members__: typing.ClassVar[dict[str, SpeedUnit]]
    from_name: typing.ClassVar[SpeedUnit]
    km_per_h: typing.ClassVar[SpeedUnit]
    kn: typing.ClassVar[SpeedUnit]
    m_per_s: typing.ClassVar[SpeedUnit]
    mi_per_h: typing.ClassVar[SpeedUnit]
    @typing.overload
    def __eq__(self, other: SpeedUnit) -> bool:
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
    def __ne__(self, other: SpeedUnit) -> bool:
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
class SpeedTrace:
    """
    Speed over time, straight lines between the rows.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    def __len__(self) -> int:
        ...
    @property
    def grade(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) rise over run of the way that ends in the row, or empty: level
        """
    @grade.setter
    def grade(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def source(self) -> str:
        """
        The file, for messages.
        """
    @source.setter
    def source(self, arg0: str) -> None:
        ...
    @property
    def speed_m_per_s(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) 0 .. 150
        """
    @speed_m_per_s.setter
    def speed_m_per_s(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def time_s(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) strictly increasing
        """
    @time_s.setter
    def time_s(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
class CoastDown:
    """
    Resistance found by letting a vehicle coast on a level road: A + B v + C v^2.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def a_N(self) -> float:
        ...
    @a_N.setter
    def a_N(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def b_N_s_per_m(self) -> float:
        ...
    @b_N_s_per_m.setter
    def b_N_s_per_m(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def c_N_s2_per_m2(self) -> float:
        ...
    @c_N_s2_per_m2.setter
    def c_N_s2_per_m2(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class EfficiencyCurve:
    """
    Efficiency over the mechanical power as a fraction of a rated power, straight lines between the points, held outside.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    def at(self, fraction: typing.SupportsFloat | typing.SupportsIndex) -> float:
        """
        Efficiency at a fraction.
        """
    @property
    def efficiency(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) above 0 .. 1
        """
    @efficiency.setter
    def efficiency(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def power_fraction(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) rising, 0 .. 1
        """
    @power_fraction.setter
    def power_fraction(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
class RoadVehicle:
    """
    A road vehicle as the pack feels it.
    """
    name: str
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def air_density_kg_per_m3(self) -> float:
        ...
    @air_density_kg_per_m3.setter
    def air_density_kg_per_m3(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def auxiliary_power_W(self) -> float:
        """
        Out of the pack, always.
        """
    @auxiliary_power_W.setter
    def auxiliary_power_W(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def coast_down(self) -> CoastDown | None:
        """
        CoastDown or None; replaces rolling resistance and drag.
        """
    @coast_down.setter
    def coast_down(self, arg0: CoastDown | None) -> None:
        ...
    @property
    def drag_area_m2(self) -> float:
        """
        Drag coefficient times frontal area.
        """
    @drag_area_m2.setter
    def drag_area_m2(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def drive_efficiency(self) -> float:
        """
        From pack to wheels.
        """
    @drive_efficiency.setter
    def drive_efficiency(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def drive_efficiency_curve(self) -> EfficiencyCurve | None:
        """
        EfficiencyCurve over the power at the wheels by drive_power_max_W, or None; replaces drive_efficiency.
        """
    @drive_efficiency_curve.setter
    def drive_efficiency_curve(self, arg0: EfficiencyCurve | None) -> None:
        ...
    @property
    def drive_power_max_W(self) -> float:
        """
        Out of the pack.
        """
    @drive_power_max_W.setter
    def drive_power_max_W(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def mass_kg(self) -> float:
        """
        Laden.
        """
    @mass_kg.setter
    def mass_kg(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def regeneration_efficiency(self) -> float:
        """
        From wheels to pack.
        """
    @regeneration_efficiency.setter
    def regeneration_efficiency(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def regeneration_efficiency_curve(self) -> EfficiencyCurve | None:
        """
        The same for regeneration_efficiency.
        """
    @regeneration_efficiency_curve.setter
    def regeneration_efficiency_curve(self, arg0: EfficiencyCurve | None) -> None:
        ...
    @property
    def regeneration_full_m_per_s(self) -> float:
        """
        The whole share comes back from this speed on.
        """
    @regeneration_full_m_per_s.setter
    def regeneration_full_m_per_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def regeneration_power_max_W(self) -> float:
        """
        Into the pack.
        """
    @regeneration_power_max_W.setter
    def regeneration_power_max_W(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def regeneration_share(self) -> float:
        """
        Of the braking power that the drive takes, 0 .. 1.
        """
    @regeneration_share.setter
    def regeneration_share(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def regeneration_start_m_per_s(self) -> float:
        """
        Nothing comes back up to this speed.
        """
    @regeneration_start_m_per_s.setter
    def regeneration_start_m_per_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def rolling_resistance(self) -> float:
        """
        Force over weight.
        """
    @rolling_resistance.setter
    def rolling_resistance(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def rotating_mass_factor(self) -> float:
        """
        Inertia over mass.
        """
    @rotating_mass_factor.setter
    def rotating_mass_factor(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class RoadEnergy:
    """
    Energies over a trace in Wh.
    """
    @property
    def auxiliary_Wh(self) -> float:
        """
        Out of the pack.
        """
    @property
    def braking_Wh(self) -> float:
        """
        At the wheels while braking.
        """
    @property
    def climb_Wh(self) -> float:
        """
        Signed, positive uphill.
        """
    @property
    def delivered_Wh(self) -> float:
        """
        At the wheels: by the drive, of traction.
        """
    @property
    def drag_Wh(self) -> float:
        """
        Of the air; C of a coast-down.
        """
    @property
    def drive_Wh(self) -> float:
        """
        Out of the pack for driving.
        """
    @property
    def friction_brake_Wh(self) -> float:
        """
        Turned into heat by brakes.
        """
    @property
    def kinetic_Wh(self) -> float:
        """
        Signed: of the end less that of the start.
        """
    @property
    def net_Wh(self) -> float:
        """
        Of the pack, positive charges.
        """
    @property
    def regenerated_Wh(self) -> float:
        """
        Into the pack by braking.
        """
    @property
    def resistance_Wh(self) -> float:
        """
        Rolling; A and B of a coast-down.
        """
    @property
    def shortfall_Wh(self) -> float:
        """
        At the wheels: left undone by the bound.
        """
    @property
    def taken_Wh(self) -> float:
        """
        At the wheels: by the drive, of braking.
        """
    @property
    def traction_Wh(self) -> float:
        """
        At the wheels while driving.
        """
class RoadLoad:
    """
    What a trace asks of the pack; powers are means over the step that ends in the row.
    """
    @property
    def distance_m(self) -> float:
        ...
    @property
    def energy(self) -> RoadEnergy:
        ...
    @property
    def power_W(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) of the pack, positive charges
        """
    @property
    def shortfall_W(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) at the wheels: asked, but above the drive's bound
        """
    @property
    def speed_m_per_s(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) at the row
        """
    @property
    def time_s(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,)
        """
    @property
    def traction_power_W(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) at the wheels, positive drives
        """
class Boat:
    """
    A boat as the pack feels it: shaft power = reference power (speed / reference speed)^exponent.
    """
    name: str
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def auxiliary_power_W(self) -> float:
        """
        Out of the pack, always.
        """
    @auxiliary_power_W.setter
    def auxiliary_power_W(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def drive_efficiency(self) -> float:
        """
        From pack to shaft.
        """
    @drive_efficiency.setter
    def drive_efficiency(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def drive_efficiency_curve(self) -> EfficiencyCurve | None:
        """
        EfficiencyCurve over shaft power by shaft_power_max_W, or None; replaces drive_efficiency.
        """
    @drive_efficiency_curve.setter
    def drive_efficiency_curve(self, arg0: EfficiencyCurve | None) -> None:
        ...
    @property
    def exponent(self) -> float:
        """
        3 for a displacement hull below hull speed.
        """
    @exponent.setter
    def exponent(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def reference_shaft_power_W(self) -> float:
        """
        At that speed.
        """
    @reference_shaft_power_W.setter
    def reference_shaft_power_W(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def reference_speed_m_per_s(self) -> float:
        """
        Through the water.
        """
    @reference_speed_m_per_s.setter
    def reference_speed_m_per_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def shaft_power_max_W(self) -> float:
        """
        Of the motor.
        """
    @shaft_power_max_W.setter
    def shaft_power_max_W(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class PropellerLoad:
    """
    What a trace asks of the pack; powers are means over the step that ends in the row.
    """
    @property
    def auxiliary_Wh(self) -> float:
        """
        Out of the pack.
        """
    @property
    def distance_m(self) -> float:
        """
        Through the water.
        """
    @property
    def drive_Wh(self) -> float:
        """
        Out of the pack for the shaft.
        """
    @property
    def net_Wh(self) -> float:
        """
        Of the pack, positive charges: negative here.
        """
    @property
    def power_W(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) of the pack, positive charges
        """
    @property
    def shaft_Wh(self) -> float:
        """
        Delivered at the shaft.
        """
    @property
    def shaft_power_W(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) positive drives
        """
    @property
    def shortfall_W(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) at the shaft: asked, but above the motor's bound
        """
    @property
    def shortfall_Wh(self) -> float:
        """
        Not delivered.
        """
    @property
    def speed_m_per_s(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) through the water
        """
    @property
    def time_s(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,)
        """
class ThermalSwitch:
    """
    A switch with hysteresis; on in the warm where on_degC is above off_degC, in the cold otherwise; both inf: always off, both -inf: always on.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    def next(self, on: bool, degC: typing.SupportsFloat | typing.SupportsIndex) -> bool:
        """
        Where it stands next.
        """
    @property
    def off_degC(self) -> float:
        ...
    @off_degC.setter
    def off_degC(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def on_degC(self) -> float:
        ...
    @on_degC.setter
    def on_degC(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class AirTemperature:
    """
    Outside air over the day, straight lines between points.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    def at(self, now_s: typing.SupportsFloat | typing.SupportsIndex) -> float:
        """
        Temperature at a time.
        """
    @property
    def degC(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,)
        """
    @degC.setter
    def degC(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def time_s(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) rising
        """
    @time_s.setter
    def time_s(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
class AirCooling:
    """
    Cells in still or moving air.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def fan(self) -> ThermalSwitch:
        """
        By the warmest core.
        """
    @fan.setter
    def fan(self, arg0: ThermalSwitch) -> None:
        ...
    @property
    def fan_power_W(self) -> float:
        ...
    @fan_power_W.setter
    def fan_power_W(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def flow_W_per_K(self) -> float:
        """
        Capacity rate of the air past each string; 0: so much it does not warm.
        """
    @flow_W_per_K.setter
    def flow_W_per_K(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def moving_factor(self) -> float:
        """
        The same with the fan on.
        """
    @moving_factor.setter
    def moving_factor(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def still_factor(self) -> float:
        """
        On the cell files' resistance.
        """
    @still_factor.setter
    def still_factor(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class Radiator:
    """
    Air to coolant, cross-flow.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def air_W_per_K(self) -> float:
        """
        Capacity rate of the air.
        """
    @air_W_per_K.setter
    def air_W_per_K(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def conductance_W_per_K(self) -> float:
        """
        UA; 0: none.
        """
    @conductance_W_per_K.setter
    def conductance_W_per_K(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def fan(self) -> ThermalSwitch:
        """
        By the coolant.
        """
    @fan.setter
    def fan(self, arg0: ThermalSwitch) -> None:
        ...
    @property
    def fan_power_W(self) -> float:
        ...
    @fan_power_W.setter
    def fan_power_W(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class Chiller:
    """
    Takes heat out of the coolant.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def compressor(self) -> ThermalSwitch:
        """
        By the coolant.
        """
    @compressor.setter
    def compressor(self, arg0: ThermalSwitch) -> None:
        ...
    @property
    def performance(self) -> float:
        """
        Heat over electric power.
        """
    @performance.setter
    def performance(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def power_W(self) -> float:
        """
        Heat taken out; 0: none.
        """
    @power_W.setter
    def power_W(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class Heater:
    """
    Warms the coolant by electricity.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def coolant_max_degC(self) -> float:
        """
        Off above.
        """
    @coolant_max_degC.setter
    def coolant_max_degC(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def element(self) -> ThermalSwitch:
        """
        By the coldest core.
        """
    @element.setter
    def element(self, arg0: ThermalSwitch) -> None:
        ...
    @property
    def power_W(self) -> float:
        """
        0: none.
        """
    @power_W.setter
    def power_W(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class LiquidLoop:
    """
    A liquid loop, of the pack's own or shared.
    """
    chiller: Chiller
    heater: Heater
    radiator: Radiator
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def charger_loss_share(self) -> float:
        """
        Of the charge power.
        """
    @charger_loss_share.setter
    def charger_loss_share(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def drive_loss_share(self) -> float:
        """
        Of the discharge power.
        """
    @drive_loss_share.setter
    def drive_loss_share(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def flow_W_per_K(self) -> float:
        """
        All strings together.
        """
    @flow_W_per_K.setter
    def flow_W_per_K(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def flowing_factor(self) -> float:
        """
        On the cell files' resistance.
        """
    @flowing_factor.setter
    def flowing_factor(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def heat_capacity_J_per_K(self) -> float:
        ...
    @heat_capacity_J_per_K.setter
    def heat_capacity_J_per_K(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def pump(self) -> ThermalSwitch:
        """
        By the warmest core.
        """
    @pump.setter
    def pump(self, arg0: ThermalSwitch) -> None:
        ...
    @property
    def pump_power_W(self) -> float:
        ...
    @pump_power_W.setter
    def pump_power_W(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def standing_factor(self) -> float:
        """
        The same with the pump off.
        """
    @standing_factor.setter
    def standing_factor(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def start_degC(self) -> float:
        ...
    @start_degC.setter
    def start_degC(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class CoolingKind:
    """
    Which of both a pack has.
    
    Members:
    
      air
    
      liquid
    """
    __members__: typing.ClassVar[dict[str, CoolingKind]]
    air: typing.ClassVar[CoolingKind]
    liquid: typing.ClassVar[CoolingKind]
    @typing.overload
    def __eq__(self, other: CoolingKind) -> bool:
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
    def __ne__(self, other: CoolingKind) -> bool:
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
class CoolingSupply:
    """
    Who pays for fans, pump, compressor and heater.
    
    Members:
    
      pack
    
      outside
    """
    __members__: typing.ClassVar[dict[str, CoolingSupply]]
    outside: typing.ClassVar[CoolingSupply]
    pack: typing.ClassVar[CoolingSupply]
    @typing.overload
    def __eq__(self, other: CoolingSupply) -> bool:
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
    def __ne__(self, other: CoolingSupply) -> bool:
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
class CoolingSettings:
    """
    A way to cool.
    """
    air: AirCooling
    air_temperature: AirTemperature
    kind: CoolingKind
    liquid: LiquidLoop
    name: str
    supply: CoolingSupply
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
class PartUse:
    """
    How much a part was used.
    """
    @property
    def on_s(self) -> float:
        ...
    @property
    def starts(self) -> int:
        """
        Times it was switched on.
        """
class CoolingTrace:
    """
    What cooling did, one entry a call.
    """
    @property
    def air_degC(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,)
        """
    @property
    def chiller(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) 1 with the compressor on
        """
    @property
    def chiller_use(self) -> PartUse:
        ...
    @property
    def coolant_degC(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) of the tank
        """
    @property
    def electric_J(self) -> float:
        """
        Fans, pump, compressor, heater.
        """
    @property
    def flow_use(self) -> PartUse:
        """
        Pump or fan past the cells.
        """
    @property
    def flowing(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) 1 with pump or fan on
        """
    @property
    def from_cells_J(self) -> float:
        ...
    @property
    def from_drive_J(self) -> float:
        """
        Drive and charger.
        """
    @property
    def from_heater_J(self) -> float:
        ...
    @property
    def heater(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) 1 with the element on
        """
    @property
    def heater_use(self) -> PartUse:
        ...
    @property
    def kept_J(self) -> float:
        """
        In warmer coolant.
        """
    @property
    def radiator_fan(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,) 1 with the fan on
        """
    @property
    def radiator_fan_use(self) -> PartUse:
        ...
    @property
    def time_s(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (n,)
        """
    @property
    def to_chiller_J(self) -> float:
        ...
    @property
    def to_radiator_J(self) -> float:
        ...
class CoolingPlant:
    """
    A cooling model for simulate(cooling=...).
    """
    def __init__(self, pack: Pack, settings: CoolingSettings, each_cell: bool = True) -> None:
        """
        Raises DataError naming field, value and bound.
        """
    @property
    def trace(self) -> CoolingTrace:
        """
        What it did.
        """
class WindowAnswer:
    """
    How long a temperature window was left.
    """
    @property
    def above_s(self) -> float:
        ...
    @property
    def below_s(self) -> float:
        ...
    @property
    def coldest_degC(self) -> float:
        ...
    @property
    def first_left_s(self) -> float:
        """
        -1: never.
        """
    @property
    def hottest_degC(self) -> float:
        ...
    @property
    def kept(self) -> bool:
        ...
class WarmUp:
    """
    How long a resting pack takes to warm.
    """
    @property
    def coldest_degC(self) -> float:
        """
        At the end.
        """
    @property
    def electric_J(self) -> float:
        ...
    @property
    def reached(self) -> bool:
        ...
    @property
    def time_s(self) -> float:
        ...
class TemperatureWindow:
    """
    The narrowest temperature window over the cells of a pack.
    """
    @property
    def high_degC(self) -> float:
        ...
    @property
    def low_degC(self) -> float:
        ...
class LoadKind:
    """
    Which of the four a load step holds.
    
    Members:
    
      current
    
      power
    
      resistance
    
      voltage
    """
    __members__: typing.ClassVar[dict[str, LoadKind]]
    current: typing.ClassVar[LoadKind]
    power: typing.ClassVar[LoadKind]
    resistance: typing.ClassVar[LoadKind]
    voltage: typing.ClassVar[LoadKind]
    @typing.overload
    def __eq__(self, other: LoadKind) -> bool:
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
    def __ne__(self, other: LoadKind) -> bool:
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
class LoadStep:
    """
    One step of a load, with limits.
    """
    kind: LoadKind
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def closed(self) -> list[bool]:
        """
        Contactors from here on; empty: as they are.
        """
    @closed.setter
    def closed(self, arg0: collections.abc.Sequence[bool]) -> None:
        ...
    @property
    def current_A(self) -> float:
        """
        Positive charges.
        """
    @current_A.setter
    def current_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def duration_s(self) -> float:
        ...
    @duration_s.setter
    def duration_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def end_current_A(self) -> float:
        """
        Ends the step when a limit has brought the current down to it; 0: never.
        """
    @end_current_A.setter
    def end_current_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def group_voltage_max_V(self) -> float:
        """
        Of every group.
        """
    @group_voltage_max_V.setter
    def group_voltage_max_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def group_voltage_min_V(self) -> float:
        ...
    @group_voltage_min_V.setter
    def group_voltage_min_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def power_W(self) -> float:
        """
        At the terminals, positive charges.
        """
    @power_W.setter
    def power_W(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def resistance_ohm(self) -> float:
        ...
    @resistance_ohm.setter
    def resistance_ohm(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_V(self) -> float:
        ...
    @voltage_V.setter
    def voltage_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_max_V(self) -> float:
        """
        Of the terminals.
        """
    @voltage_max_V.setter
    def voltage_max_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_min_V(self) -> float:
        ...
    @voltage_min_V.setter
    def voltage_min_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class CellDifferences:
    """
    One value per cell, or none: no difference.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def capacity_factor(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (cells,)
        """
    @capacity_factor.setter
    def capacity_factor(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def leak_A(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (cells,)
        """
    @leak_A.setter
    def leak_A(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def resistance_factor(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (cells,)
        """
    @resistance_factor.setter
    def resistance_factor(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def soc_offset(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (cells,) at the start
        """
    @soc_offset.setter
    def soc_offset(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def temperature_offset_K(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (cells,) at the start, with the surroundings
        """
    @temperature_offset_K.setter
    def temperature_offset_K(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
class SpreadSettings:
    """
    What cells are drawn from.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def capacity_log_std(self) -> float:
        """
        New cells: 0.01 to 0.03.
        """
    @capacity_log_std.setter
    def capacity_log_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def cut_std(self) -> float:
        """
        What lies further out is drawn again.
        """
    @cut_std.setter
    def cut_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def leak_log_std(self) -> float:
        ...
    @leak_log_std.setter
    def leak_log_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def leak_median_A(self) -> float:
        ...
    @leak_median_A.setter
    def leak_median_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def resistance_log_std(self) -> float:
        """
        New cells: 0.1 to 0.2.
        """
    @resistance_log_std.setter
    def resistance_log_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def seed(self) -> int:
        ...
    @seed.setter
    def seed(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
    @property
    def soc_std(self) -> float:
        ...
    @soc_std.setter
    def soc_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def temperature_std_K(self) -> float:
        ...
    @temperature_std_K.setter
    def temperature_std_K(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class PackState:
    """
    State of every cell of a pack.
    """
    lag_room: typing.ClassVar[int] = 5
    @property
    def ambient_degC(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (cells,) their surroundings
        """
    @ambient_degC.setter
    def ambient_degC(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def bleeding(self) -> list[bool]:
        """
        Of each group.
        """
    @bleeding.setter
    def bleeding(self, arg0: collections.abc.Sequence[bool]) -> None:
        ...
    @property
    def branch_V(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (cells * lag_room,)
        """
    @branch_V.setter
    def branch_V(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def case_degC(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (cells,)
        """
    @case_degC.setter
    def case_degC(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def closed(self) -> list[bool]:
        """
        Contactor of each string.
        """
    @closed.setter
    def closed(self, arg0: collections.abc.Sequence[bool]) -> None:
        ...
    @property
    def core_degC(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (cells,)
        """
    @core_degC.setter
    def core_degC(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def fuse_open(self) -> list[bool]:
        """
        Of each string; empty: none.
        """
    @fuse_open.setter
    def fuse_open(self, arg0: collections.abc.Sequence[bool]) -> None:
        ...
    @property
    def fuse_warmth(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (strings,) 0 .. 1; empty: cold
        """
    @fuse_warmth.setter
    def fuse_warmth(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def hysteresis(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (cells,) -1 .. 1
        """
    @hysteresis.setter
    def hysteresis(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def soc(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (cells,)
        """
    @soc.setter
    def soc(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
    @property
    def soc_carry(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (cells,) rounding kept back
        """
    @soc_carry.setter
    def soc_carry(self, arg1: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> None:
        ...
class BalancingSettings:
    """
    When bleed resistors conduct.
    """
    active: bool
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def hysteresis_V(self) -> float:
        ...
    @hysteresis_V.setter
    def hysteresis_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def interval_s(self) -> float:
        ...
    @interval_s.setter
    def interval_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def resting_current_A(self) -> float:
        """
        Not while more flows.
        """
    @resting_current_A.setter
    def resting_current_A(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def threshold_V(self) -> float:
        """
        On above the lowest group by this.
        """
    @threshold_V.setter
    def threshold_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_min_V(self) -> float:
        ...
    @voltage_min_V.setter
    def voltage_min_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class CutOffSettings:
    """
    What ends a run.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def ends_run(self) -> bool:
        """
        Otherwise the next load step follows.
        """
    @ends_run.setter
    def ends_run(self, arg0: bool) -> None:
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
    def temperature_max_degC(self) -> float:
        """
        Of any core.
        """
    @temperature_max_degC.setter
    def temperature_max_degC(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage(self) -> bool:
        """
        A group leaves the window of its cell file.
        """
    @voltage.setter
    def voltage(self, arg0: bool) -> None:
        ...
    @property
    def warm_degC(self) -> float:
        """
        Every core is at least this warm.
        """
    @warm_degC.setter
    def warm_degC(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class SimulationSettings:
    """
    How a run starts and goes on.
    """
    balancing: BalancingSettings
    cut_off: CutOffSettings
    differences: CellDifferences
    record_cells: bool
    record_groups: bool
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def cooling_interval_s(self) -> float:
        ...
    @cooling_interval_s.setter
    def cooling_interval_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def each_cell(self) -> bool:
        """
        Otherwise every group is one cell.
        """
    @each_cell.setter
    def each_cell(self, arg0: bool) -> None:
        ...
    @property
    def heat(self) -> bool:
        """
        Otherwise temperatures stay.
        """
    @heat.setter
    def heat(self, arg0: bool) -> None:
        ...
    @property
    def hysteresis(self) -> float:
        ...
    @hysteresis.setter
    def hysteresis(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def longest_step_s(self) -> float:
        ...
    @longest_step_s.setter
    def longest_step_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def output_interval_s(self) -> float:
        """
        0: a row at the end of every load step.
        """
    @output_interval_s.setter
    def output_interval_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def soc(self) -> float:
        ...
    @soc.setter
    def soc(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def start(self) -> PackState | None:
        """
        PackState to go on from, or None.
        """
    @start.setter
    def start(self, arg0: PackState | None) -> None:
        ...
    @property
    def string_soc(self) -> list[float]:
        """
        One per string instead.
        """
    @string_soc.setter
    def string_soc(self, arg0: collections.abc.Sequence[typing.SupportsFloat | typing.SupportsIndex]) -> None:
        ...
    @property
    def string_temperature_degC(self) -> list[float]:
        """
        One per string instead.
        """
    @string_temperature_degC.setter
    def string_temperature_degC(self, arg0: collections.abc.Sequence[typing.SupportsFloat | typing.SupportsIndex]) -> None:
        ...
    @property
    def temperature_degC(self) -> float:
        """
        Of cells and surroundings.
        """
    @temperature_degC.setter
    def temperature_degC(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def temperature_tolerance_K(self) -> float:
        ...
    @temperature_tolerance_K.setter
    def temperature_tolerance_K(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_tolerance_V(self) -> float:
        """
        Of one sub-step.
        """
    @voltage_tolerance_V.setter
    def voltage_tolerance_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class SimulationEventKind:
    """
    What happened.
    
    Members:
    
      voltage_min
    
      voltage_max
    
      soc_min
    
      soc_max
    
      temperature_max
    
      warm
    
      power_not_available
    
      end_current
    
      fuse_rating
    
      contactor_rating
    
      making_current
    
      fuse_opened
    """
    __members__: typing.ClassVar[dict[str, SimulationEventKind]]
    contactor_rating: typing.ClassVar[SimulationEventKind]
    end_current: typing.ClassVar[SimulationEventKind]
    fuse_opened: typing.ClassVar[SimulationEventKind]
    fuse_rating: typing.ClassVar[SimulationEventKind]
    making_current: typing.ClassVar[SimulationEventKind]
    power_not_available: typing.ClassVar[SimulationEventKind]
    soc_max: typing.ClassVar[SimulationEventKind]
    soc_min: typing.ClassVar[SimulationEventKind]
    temperature_max: typing.ClassVar[SimulationEventKind]
    voltage_max: typing.ClassVar[SimulationEventKind]
    voltage_min: typing.ClassVar[SimulationEventKind]
    warm: typing.ClassVar[SimulationEventKind]
    @typing.overload
    def __eq__(self, other: SimulationEventKind) -> bool:
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
    def __ne__(self, other: SimulationEventKind) -> bool:
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
class SimulationEvent:
    """
    One event, with where it happened.
    """
    @property
    def bound(self) -> float:
        ...
    @property
    def group(self) -> int:
        """
        Within the string; -1: all of it.
        """
    @property
    def kind(self) -> SimulationEventKind:
        ...
    @property
    def string(self) -> int:
        """
        -1: the pack.
        """
    @property
    def time_s(self) -> float:
        ...
    @property
    def value(self) -> float:
        ...
class EnergyBalance:
    """
    Where charge and energy went; energies in J.
    """
    @property
    def bleed_J(self) -> float:
        ...
    @property
    def bleed_to_cells_J(self) -> float:
        """
        Of it into the cells as heat.
        """
    @property
    def charge_error_Ah(self) -> float:
        ...
    @property
    def electric_error_J(self) -> float:
        """
        Rounding.
        """
    @property
    def heat_J(self) -> float:
        """
        Made in all cells.
        """
    @property
    def heat_error_J(self) -> float:
        """
        Rounding.
        """
    @property
    def heat_kept_J(self) -> float:
        ...
    @property
    def joint_J(self) -> float:
        """
        Lost in links, busbars, contactors and fuses.
        """
    @property
    def overvoltage_J(self) -> float:
        """
        Lost in the cells.
        """
    @property
    def plant_J(self) -> float:
        """
        Taken at the terminals by the cooling plant.
        """
    @property
    def reversible_J(self) -> float:
        """
        Entropic heat, positive warms.
        """
    @property
    def stored_J(self) -> float:
        """
        Open-circuit voltage times current.
        """
    @property
    def terminal_Ah(self) -> float:
        ...
    @property
    def terminal_J(self) -> float:
        ...
    @property
    def to_ambient_J(self) -> float:
        ...
class SimulationResult:
    """
    A run: one row per output time.
    """
    def __len__(self) -> int:
        ...
    def columns(self) -> dict[str, numpy.typing.NDArray[numpy.float64]]:
        """
        Columns by name, one value a row each.
        """
    def frame(self) -> typing.Any:
        """
        The same as a pandas.DataFrame; needs pandas.
        """
    @property
    def ambient_degC(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (rows,) mean of the cells' surroundings
        """
    @property
    def balance(self) -> EnergyBalance:
        ...
    @property
    def bled_Ah(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (groups,)
        """
    @property
    def bled_J(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (groups,)
        """
    @property
    def cell_case_degC(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (rows, cells)
        """
    @property
    def cell_core_degC(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (rows, cells)
        """
    @property
    def cell_current_A(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (rows, cells)
        """
    @property
    def cell_group(self) -> list[int]:
        """
        Group of each cell.
        """
    @property
    def cell_soc(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (rows, cells)
        """
    @property
    def core_max_degC(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (rows,) over the cells
        """
    @property
    def core_mean_degC(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (rows,) over the cells
        """
    @property
    def core_min_degC(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (rows,) over the cells
        """
    @property
    def current_A(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (rows,) of the pack, positive charges
        """
    @property
    def end(self) -> PackState:
        """
        PackState to go on from.
        """
    @property
    def events(self) -> list[SimulationEvent]:
        ...
    @property
    def group_core_degC(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (rows, groups) warmest core
        """
    @property
    def group_soc(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (rows, groups) weighed by capacity
        """
    @property
    def group_string(self) -> list[int]:
        """
        String of each group.
        """
    @property
    def group_voltage_V(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (rows, groups)
        """
    @property
    def group_voltage_max_V(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (rows,)
        """
    @property
    def group_voltage_mean_V(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (rows,)
        """
    @property
    def group_voltage_min_V(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (rows,)
        """
    @property
    def hottest_cell(self) -> int:
        ...
    @property
    def hottest_degC(self) -> float:
        ...
    @property
    def hottest_time_s(self) -> float:
        ...
    @property
    def plant_power_W(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (rows,) of it taken by the cooling plant
        """
    @property
    def rejected_count(self) -> int:
        ...
    @property
    def soc_max(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (rows,) over the cells
        """
    @property
    def soc_mean(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (rows,) weighed by capacity
        """
    @property
    def soc_min(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (rows,) over the cells
        """
    @property
    def step_count(self) -> int:
        ...
    @property
    def string_current_A(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (rows, strings)
        """
    @property
    def string_names(self) -> list[str]:
        ...
    @property
    def string_voltage_V(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (rows, strings) in the contactor
        """
    @property
    def time_s(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (rows,)
        """
    @property
    def voltage_V(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (rows,) 0 while no string is closed
        """
class BalancingOutlook:
    """
    What balancing a string would gain and cost.
    """
    @property
    def balanced_Ah(self) -> float:
        """
        The smallest group.
        """
    @property
    def bleed_Ah(self) -> float:
        """
        All groups together.
        """
    @property
    def bleed_J(self) -> float:
        ...
    @property
    def gain_Ah(self) -> float:
        ...
    @property
    def group_bleed_Ah(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (groups of the string,)
        """
    @property
    def hottest_W(self) -> float:
        """
        Of one resistor while it conducts.
        """
    @property
    def resolved_share(self) -> float:
        """
        Of the SOC range in which a monitor can tell the SOC step.
        """
    @property
    def seen_V(self) -> float:
        """
        Spread of the rested voltages.
        """
    @property
    def string(self) -> str:
        ...
    @property
    def threshold_soc(self) -> float:
        """
        What the threshold stands for.
        """
    @property
    def time_s(self) -> float:
        """
        Of the group that needs longest.
        """
    @property
    def usable_Ah(self) -> float:
        """
        As it is.
        """
class BalancingOutlookSettings:
    """
    What is assumed of the monitor.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def soc_step(self) -> float:
        """
        Difference that is to be seen.
        """
    @soc_step.setter
    def soc_step(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def threshold_V(self) -> float:
        ...
    @threshold_V.setter
    def threshold_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def voltage_error_V(self) -> float:
        ...
    @voltage_error_V.setter
    def voltage_error_V(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class ClosingCheck:
    """
    What closing a contactor would do at the first instant.
    """
    @property
    def allowed(self) -> bool:
        """
        No string goes above its own limit.
        """
    @property
    def current_A(self) -> float:
        """
        Into the string at the instant of closing.
        """
    @property
    def difference_V(self) -> float:
        """
        Of the open string to what it is joined to.
        """
    @property
    def difference_limit_V(self) -> float:
        ...
    @property
    def limit_A(self) -> float:
        ...
    @property
    def precharge(self) -> PrechargeResult | None:
        """
        PrechargeResult, or None beside a closed string.
        """
    @property
    def string_current_A(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (strings,) at that instant
        """
class SensorSettings:
    """
    How good a channel is.
    """
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def channel(self) -> str:
        """
        Its name in the pack.
        """
    @channel.setter
    def channel(self, arg0: str) -> None:
        ...
    @property
    def delay_s(self) -> float:
        ...
    @delay_s.setter
    def delay_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def gain(self) -> float:
        ...
    @gain.setter
    def gain(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def high(self) -> float:
        ...
    @high.setter
    def high(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def low(self) -> float:
        """
        Of the converter's range.
        """
    @low.setter
    def low(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def noise_std(self) -> float:
        ...
    @noise_std.setter
    def noise_std(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def offset(self) -> float:
        ...
    @offset.setter
    def offset(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def step(self) -> float:
        """
        Of the converter, in the channel's unit; 0: none.
        """
    @step.setter
    def step(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def value_shift_s(self) -> float:
        """
        From one value of it to the next.
        """
    @value_shift_s.setter
    def value_shift_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
class SensorFaultKind:
    """
    How a channel may fail.
    
    Members:
    
      stuck
    
      dropout
    
      offset
    
      gain
    
      noise
    """
    __members__: typing.ClassVar[dict[str, SensorFaultKind]]
    dropout: typing.ClassVar[SensorFaultKind]
    gain: typing.ClassVar[SensorFaultKind]
    noise: typing.ClassVar[SensorFaultKind]
    offset: typing.ClassVar[SensorFaultKind]
    stuck: typing.ClassVar[SensorFaultKind]
    @typing.overload
    def __eq__(self, other: SensorFaultKind) -> bool:
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
    def __ne__(self, other: SensorFaultKind) -> bool:
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
class SensorFault:
    """
    One fault, from a time to a time.
    """
    channel: str
    kind: SensorFaultKind
    def __init__(self, **kwargs: typing.Any) -> None:
        """
        Every field can be given as a keyword; the others keep their default.
        """
    @property
    def amount(self) -> float:
        ...
    @amount.setter
    def amount(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def end_s(self) -> float:
        ...
    @end_s.setter
    def end_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def start_s(self) -> float:
        ...
    @start_s.setter
    def start_s(self, arg0: typing.SupportsFloat | typing.SupportsIndex) -> None:
        ...
    @property
    def value(self) -> int:
        """
        Which of the channel's values; -1: all.
        """
    @value.setter
    def value(self, arg0: typing.SupportsInt | typing.SupportsIndex) -> None:
        ...
class SensorReadings:
    """
    What a channel showed.
    """
    @property
    def channel(self) -> str:
        ...
    @property
    def quantity(self) -> ChannelQuantity:
        ...
    @property
    def time_s(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (samples,)
        """
    @property
    def truth(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (samples, width)
        """
    @property
    def value(self) -> numpy.typing.NDArray[numpy.float64]:
        """
        (samples, width); NaN where nothing came
        """
    @property
    def width(self) -> int:
        """
        Values a sample.
        """
def age_of_log(cell: Cell, log: Log, *, initial_soc: typing.SupportsFloat | typing.SupportsIndex | None = None, initial_soc_std: typing.SupportsFloat | typing.SupportsIndex = 0.2, age: CellAge | None = None, settings: AgeSettings | None = None) -> AgeOfLog:
    """
    Follow the age along a log: the capacity between rests, each SOC read from the voltage at the end of the rest, and ends of charges to full; then the resistance from a filter that counts with this capacity.
    
    Parameters
    ----------
    cell : Cell as tested
    log : Log
    initial_soc, initial_soc_std : as in replay
    age : CellAge when the log begins; None: as tested
    settings : AgeSettings
    
    Returns
    -------
    AgeOfLog
    """
def aged_cell(cell: Cell, age: CellAge) -> Cell:
    """
    The cell with the capacity that it has now. Its resistances are those of the test: the scale goes with the state (ModelState, GroupState).
    """
def allowed_temperature(pack: Pack, charging: bool) -> TemperatureWindow:
    """
    Window in which every cell of the pack may be charged, or discharged.
    """
def available_current(limits: SupplyLimits, pack_voltage_V: typing.SupportsFloat | typing.SupportsIndex, allowed_A: typing.SupportsFloat | typing.SupportsIndex) -> AvailableCurrent:
    """
    Charge current at a pack voltage: the least of what the supply gives and the pack takes.
    """
def balancing_outlook(pack: Pack, state: PackState, differences: CellDifferences = ..., settings: BalancingOutlookSettings = ...) -> list[BalancingOutlook]:
    """
    What balancing every string would gain and cost, and whether its chemistry lets a monitor see the imbalance.
    
    Returns
    -------
    list of BalancingOutlook, one for each string
    """
def cable_rating(resistance_ohm: typing.SupportsFloat | typing.SupportsIndex, phases: typing.SupportsInt | typing.SupportsIndex = 1, windows: ProximityWindows = ...) -> CableRating:
    """
    Rating of a cable by its proximity resistor (IEC 61851-1, Annex B).
    """
@typing.overload
def cell_count(layout: PackLayout) -> int:
    """
    Number of cells in the pack.
    """
@typing.overload
def cell_count(pack: Pack) -> int:
    """
    Cells of all strings.
    """
def cell_current_A(layout: PackLayout, pack_current_A: typing.SupportsFloat | typing.SupportsIndex) -> float:
    """
    Current of each cell.
    """
def cell_from_data_sheet(sheet: DataSheet) -> Cell:
    """
    Make a first cell from a data sheet alone.
    
    Parameters
    ----------
    sheet : DataSheet
    
    Returns
    -------
    Cell
        With a wide spread on every value; its provenance says what was assumed and what to measure next. Give the filter filter_settings(cell).
    
    Raises
    ------
    DataError
        Names field, value and bound.
    """
def cell_power_W(layout: PackLayout, pack_power_W: typing.SupportsFloat | typing.SupportsIndex) -> float:
    """
    Power of each cell.
    """
def charge_cost(forecast: ChargeForecast, price_per_kWh: typing.SupportsFloat | typing.SupportsIndex) -> float:
    """
    What the energy from the socket costs, in the currency of the price.
    """
def charge_efficiency(forecast: ChargeForecast, cells: typing.SupportsFloat | typing.SupportsIndex) -> float:
    """
    Share of the energy from the socket that stays in the cells (series times parallel); 0 without a socket.
    """
def charge_time_band(cell: Cell, state: ModelState, plan: ChargePlan, what: ChargeCase, doubt: ChargeDoubt) -> ChargeTimeOutlook:
    """
    Time until full or until an SOC, with the band that the doubt about the state leaves.
    
    Parameters
    ----------
    cell : Cell
    state : ModelState
    plan : ChargePlan
    what : ChargeCase, surroundings, target and supply
    doubt : ChargeDoubt, standard deviations of SOC, resistance and capacity
    
    Returns
    -------
    ChargeTimeOutlook
    """
@typing.overload
def check(cell: Cell) -> None:
    """
    Check that a cell can be used; raises DataError naming field, value and bound.
    """
@typing.overload
def check(age: CellAge) -> None:
    """
    Check an age; raises DataError naming field, value and bound.
    """
@typing.overload
def check(pack: Pack) -> None:
    """
    Check that a pack can be built; raises DataError naming field, value and bound.
    """
def check_boat(boat: Boat) -> None:
    """
    Raise DataError, naming field, value and bound, unless the boat can be used.
    """
def check_charge_plan(plan: ChargePlan) -> None:
    """
    Raise DataError, naming field, value and bound, unless the plan can be used.
    """
def check_closing(pack: Pack, state: PackState, string: str, load_current_A: typing.SupportsFloat | typing.SupportsIndex = 0.0, link_voltage_V: typing.SupportsFloat | typing.SupportsIndex = 0.0) -> ClosingCheck:
    """
    Check the closing of a string's contactor, and work out its precharge.
    """
def check_cooling(settings: CoolingSettings) -> None:
    """
    Raise DataError, naming field, value and bound, unless the plant can be used.
    """
def check_data(log: Log, settings: DataCheckSettings = ..., report: LogReport | None = None) -> list[DataFinding]:
    """
    Look a log over: a list of findings, empty for a clean bill.
    
    Parameters
    ----------
    log : Log
    settings : DataCheckSettings
    report : LogReport of its reading, for lines of the file and rows left out
    """
def check_efficiency_curve(field: str, curve: EfficiencyCurve) -> None:
    """
    Raise DataError, naming field, value and bound, unless the curve can be used.
    """
def check_pack_parts(parts: collections.abc.Sequence[PackPart]) -> None:
    """
    Check parts by themselves; raises DataError naming part, field, value and bound.
    """
def check_road_vehicle(vehicle: RoadVehicle) -> None:
    """
    Raise DataError, naming field, value and bound, unless the vehicle can be used.
    """
def check_speed_trace(trace: SpeedTrace) -> None:
    """
    Raise DataError unless the trace can be used.
    """
def check_supply(supply: Supply) -> None:
    """
    Raise DataError, naming field, value and bound, unless the supply can be used.
    """
def check_taper(taper: LearnedTaper) -> None:
    """
    Raise DataError, naming field, value and bound, unless the taper can be used.
    """
def check_taper_fits(taper: LearnedTaper, plan: ChargePlan, tolerance_V: typing.SupportsFloat | typing.SupportsIndex = 0.01) -> None:
    """
    Raise DataError unless the plan ends at the voltage that the taper was learned at.
    """
def cooling_columns(trace: CoolingTrace, time_s: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> dict[str, numpy.typing.NDArray[numpy.float64]]:
    """
    What cooling did at other times, by column name: air_degC and coolant_degC in straight lines between the calls; flowing, radiator_fan, chiller and heater (0 or 1) as they stood.
    
    Parameters
    ----------
    trace : CoolingTrace
    time_s : (n,) in s
    """
def core_log(log: Log, cell: Cell) -> Log:
    """
    Give a log the temperature of the core in place of that of the case, row by row.
    
    That is what the cell model goes by. A cell without a core, or whose warmth was not measured,
    leaves the log as it is.
    
    Parameters
    ----------
    log : Log
    cell : Cell
    
    Returns
    -------
    Log
    
    Raises
    ------
    DataError
        For a log or cell that cannot be used.
    """
def correct_log(log: Log, corrections: LogCorrections, settings: DataCheckSettings = ...) -> CorrectedLog:
    """
    Apply corrections: units, sign, offset, spikes, in this order.
    """
def cross_flow_effectiveness(transfer_units: typing.SupportsFloat | typing.SupportsIndex, capacity_ratio: typing.SupportsFloat | typing.SupportsIndex) -> float:
    """
    Share of the largest possible heat that a cross-flow heat exchanger carries.
    """
def current_limits(cell: Cell, state: ModelState, horizons_s: collections.abc.Sequence[typing.SupportsFloat | typing.SupportsIndex] = [2.0, 10.0, 30.0], settings: LimitSettings = ...) -> list[HorizonLimit]:
    """
    Largest charge and discharge current and power of one cell for each horizon, and what decides them.
    
    Parameters
    ----------
    cell : Cell
    state : ModelState, its temperature included
    horizons_s : rising, each from 0 to 600, the last may be inf (continuous)
    
    Returns
    -------
    list of HorizonLimit
    """
def current_load(current_A: typing.SupportsFloat | typing.SupportsIndex, duration_s: typing.SupportsFloat | typing.SupportsIndex) -> LoadStep:
    """
    A held current, positive charges.
    """
def distance_left(consumption: Consumption, usable_Wh: typing.SupportsFloat | typing.SupportsIndex, usable_std_Wh: typing.SupportsFloat | typing.SupportsIndex = 0.0, sigmas: typing.SupportsFloat | typing.SupportsIndex = 1.96) -> DistanceLeft:
    """
    How far an energy goes, with its band.
    
    Returns
    -------
    DistanceLeft
    """
def distance_m(trace: SpeedTrace) -> float:
    """
    Distance along a trace in m, exact for straight lines between the rows.
    """
def draw_differences(pack: Pack, settings: SpreadSettings) -> CellDifferences:
    """
    Draw the differences of every cell, the same on every machine for one seed.
    """
def efficiency_at(table: PowerEfficiency, power_W: typing.SupportsFloat | typing.SupportsIndex) -> float:
    """
    Efficiency at a power put out.
    """
def equal_layout(pack: Pack) -> PackLayout:
    """
    The counts of a pack whose groups are all alike; raises DataError otherwise.
    """
def filter_settings(cell: Cell) -> SocFilterSettings:
    """
    Settings from the noise that the cell's fit found in cross-validation, opened where its standard deviations say that little is known.
    
    Parameters
    ----------
    cell : Cell
    
    Returns
    -------
    SocFilterSettings
    """
def find_steps(log: Log, settings: StepSettings = ...) -> list[Step]:
    """
    Divide a log into steps that follow each other without a hole.
    """
def fit_cell(slow: Log | None, pulses: collections.abc.Sequence[Log], settings: FitSettings = ..., progress: collections.abc.Callable[[float, str], bool | None] | None = None, charges: collections.abc.Sequence[Log] = [], cycles: collections.abc.Sequence[Log] = []) -> FitResult:
    """
    Make a cell from pulse tests at any mix of temperatures, with or without a slow charge/discharge test.
    
    Parameters
    ----------
    slow : Log of the slow test, or None: capacity and OCV then come from the rests of the pulse tests nearest 25 degC, which start full and go on to empty unless settings.rests.capacity_Ah is given
    pulses : list of Log, each starting at rest; the temperature comes from the data
    settings : FitSettings
    progress : called with (share, stage); returning False cancels
    charges : list of Log of charges that end full; they give the extra slow resistance near full
    cycles : list of Log that come back to full more than once; they give the coulombic efficiency
    
    Returns
    -------
    FitResult
    
    Raises
    ------
    DataError
        Says which log lacks what.
    """
def fit_charge_rise(charges: collections.abc.Sequence[Log], cell: Cell, settings: ChargeTestSettings = ..., progress: collections.abc.Callable[[], bool | None] | None = None) -> ChargeTestFit:
    """
    Fit the rise of the resistance near full to CC-CV charges that end at the taper.
    
    Parameters
    ----------
    charges : list of Log, each starting at rest
    cell : Cell, its capacity, OCV and resistances
    settings : ChargeTestSettings
    progress : called before every iteration; returning False cancels
    
    Returns
    -------
    ChargeTestFit
        Its rise can be set as the cell's charge_rise.
    
    Raises
    ------
    DataError
        Says which log does not start at rest or does not end full.
    """
def fit_coulombic_efficiency(logs: collections.abc.Sequence[Log], settings: CoulombicEfficiencySettings = ...) -> CoulombicEfficiencyFit:
    """
    Efficiency from cycles that come back to full, told apart from the current offset.
    
    Parameters
    ----------
    logs : list of Log of one tester
    settings : CoulombicEfficiencySettings
    
    Returns
    -------
    CoulombicEfficiencyFit
        Where `told` is False the efficiency is 1 and `note` says why.
    
    Raises
    ------
    DataError
    """
def fit_hysteresis_rate(logs: collections.abc.Sequence[Log], cell: Cell, initial_soc: collections.abc.Sequence[typing.SupportsFloat | typing.SupportsIndex] = [], settings: HysteresisSettings = ...) -> HysteresisRateFit:
    """
    Fit the hysteresis rate to logs in which the current turns half-way.
    
    Parameters
    ----------
    logs : list of Log
    cell : Cell, its branches apart
    initial_soc : of each log; empty: every log starts full
    settings : HysteresisSettings
    
    Returns
    -------
    HysteresisRateFit
        Where `told` is False, `note` says why.
    
    Raises
    ------
    DataError
    """
def fit_single_pulse(log: Log, settings: SinglePulseSettings = ...) -> SinglePulseFit:
    """
    Fit five parameters to one pulse, with or without the rest after it.
    
    Parameters
    ----------
    log : Log, at rest in its first row; temperatures are not used
    settings : SinglePulseSettings
    
    Returns
    -------
    SinglePulseFit
    
    Raises
    ------
    DataError
        Says what the rows lack.
    """
def fit_thermal(logs: collections.abc.Sequence[Log], cell: Cell) -> ThermalFit:
    """
    Fit core, case and the path to the surroundings to logged case temperatures.
    
    Parameters
    ----------
    logs : list of Log; pulse tests, drives, constant currents that warm the cell by at least 1 K
    cell : Cell, its capacity, OCV and resistances
    
    Returns
    -------
    ThermalFit
        Its source says what was fitted and what the case does not show.
    
    Raises
    ------
    DataError
        For a log or cell that cannot be used.
    """
def follows_core(thermal: ThermalFit) -> bool:
    """
    Whether the temperature of the core is worth following behind that of the case.
    
    There is one, and the warmth of the cell was measured: what is taken as usual has a larger spread.
    
    Parameters
    ----------
    thermal : ThermalFit, Cell.thermal
    
    Returns
    -------
    bool
    """
def full_balances(log: Log, settings: DataCheckSettings = ..., current_offset_A: typing.SupportsFloat | typing.SupportsIndex = 0.0) -> list[FullBalance]:
    """
    The balances behind offset_from_balance, one by one; the charges as logged.
    """
def fuse_opening_time_s(fuse: Fuse, current_A: typing.SupportsFloat | typing.SupportsIndex) -> float:
    """
    Time after which a cold fuse opens at a held current; inf at its rating and below.
    """
def fuse_time_constant_s(fuse: Fuse) -> float:
    """
    Time constant of the fuse's element in s.
    """
def generator_fraction(curve: EfficiencyCurve, electric_fraction: typing.SupportsFloat | typing.SupportsIndex) -> float:
    """
    Mechanical power at which a generator gives an electric one, both as fractions of the rated power.
    """
def group_column_count(path: os.PathLike | str | bytes, settings: LogReadSettings | None = None) -> int:
    """
    How many columns of group voltages the header of a file has; 0 where read_log is to read it.
    """
@typing.overload
def group_count(pack: Pack) -> int:
    """
    Groups of all strings.
    """
@typing.overload
def group_count(pack: Pack, string: PackString) -> int:
    """
    Groups in series of a string.
    """
def held_voltage_V(plan: ChargePlan) -> float:
    """
    Voltage at which a plan's charge ends.
    """
@typing.overload
def incremental_capacity(log: Log, charging: bool, settings: IncrementalCapacitySettings = ...) -> IncrementalCapacity:
    """
    Smoothed dQ/dV of the rows of a slow test that charge, or discharge.
    
    Parameters
    ----------
    log : Log of a slow test, C/20 or so
    charging : which rows count
    settings : IncrementalCapacitySettings
    
    Returns
    -------
    IncrementalCapacity
    """
@typing.overload
def incremental_capacity(curve: OcvCurve, capacity_Ah: typing.SupportsFloat | typing.SupportsIndex, charging: bool, settings: IncrementalCapacitySettings = ...) -> IncrementalCapacity:
    """
    Smoothed dQ/dV of one branch of an OCV curve.
    
    Parameters
    ----------
    curve : OcvCurve
    capacity_Ah : between SOC 0 and 1
    charging : which branch
    settings : IncrementalCapacitySettings
    
    Returns
    -------
    IncrementalCapacity
    """
def join_doubts(logs: collections.abc.Sequence[Log]) -> list[str]:
    """
    Say what speaks against logs being one test in the order given.
    
    Parameters
    ----------
    logs : list of Log
    
    Returns
    -------
    list of str
        One line for each place where the voltage jumps by more than a rest explains.
    
    Raises
    ------
    DataError
        As join_logs does.
    """
def join_logs(logs: collections.abc.Sequence[Log], pause_s: typing.SupportsFloat | typing.SupportsIndex = 1.0) -> Log:
    """
    Join logs to one, in the order given, with time that goes on.
    
    Parameters
    ----------
    logs : list of Log; by their time stamps where all have some
    pause_s : time between a log and the next where they have none
    
    Returns
    -------
    Log
    
    Raises
    ------
    DataError
        Names the log that starts before the one in front of it ends.
    """
def learned_time(taper: TaperLearner, forecast: ChargeForecast, measured_A: typing.SupportsFloat | typing.SupportsIndex = 0.0, end_A: typing.SupportsFloat | typing.SupportsIndex = 0.0) -> TaperTime:
    """
    A forecast with the taper that completed charges have shown; where they have not, its own weighed with what the charge under way has shown.
    
    Parameters
    ----------
    taper : TaperLearner
    forecast : ChargeForecast to full
    measured_A : of a cell now, where it is at the held voltage already
    end_A : at which the charge ends, of a cell; 0: that of the forecast, which has none of its own where it takes the cell for full already
    
    Returns
    -------
    TaperTime
    """
def least_charge_current(cell: Cell, state: ModelState, plan: ChargePlan, what: ChargeCase, departure: Departure) -> DepartureOutlook:
    """
    The least current with which the late end of the band is ready by a departure; where even the highest is too late, that one, and in_time is false. The target is that of `departure`.
    
    Returns
    -------
    DepartureOutlook
    """
def least_pack_charge_current(pack: Pack, groups: collections.abc.Sequence[GroupState], plan: ChargePlan, what: ChargeCase, ready_s: typing.SupportsFloat | typing.SupportsIndex, sigmas: typing.SupportsFloat | typing.SupportsIndex = 1.96, tolerance: typing.SupportsFloat | typing.SupportsIndex = 0.002) -> PackDeparture:
    """
    The least current of a cell with which the late end of the pack's band is ready in `ready_s`.
    
    Returns
    -------
    PackDeparture
    """
@typing.overload
def limit_map(cell: Cell, soc: collections.abc.Sequence[typing.SupportsFloat | typing.SupportsIndex], temperature_degC: collections.abc.Sequence[typing.SupportsFloat | typing.SupportsIndex], horizon_s: typing.SupportsFloat | typing.SupportsIndex = 10.0, state: ModelState = ..., settings: LimitSettings = ...) -> LimitMap:
    """
    Limits of one cell over SOC and temperature; SOC and temperature of `state` are not read.
    """
@typing.overload
def limit_map(pack: Pack, soc: collections.abc.Sequence[typing.SupportsFloat | typing.SupportsIndex], temperature_degC: collections.abc.Sequence[typing.SupportsFloat | typing.SupportsIndex], horizon_s: typing.SupportsFloat | typing.SupportsIndex = 10.0, group: GroupState = ..., parts: collections.abc.Sequence[PackPart] = (), settings: PackLimitSettings = ...) -> LimitMap:
    """
    Limits of a pack whose groups are all alike, likewise.
    """
def load_cell(path: os.PathLike | str | bytes) -> Cell:
    """
    Read and check a cell.json. Raises DataError naming every field that is wrong.
    """
def load_cell_age(path: os.PathLike | str | bytes) -> CellAge:
    """
    Read an age file. Raises DataError naming every field that is wrong.
    """
def load_charge_plan(path: os.PathLike | str | bytes) -> ChargePlanDescription:
    """
    Read and check a plan file.
    """
def load_cooling(path: os.PathLike | str | bytes) -> CoolingSettings:
    """
    Read and check a cooling plant from a JSON file (data/schema/cooling.schema.json).
    
    Returns
    -------
    CoolingSettings
    
    Raises
    ------
    DataError
        Naming the file and every field that is wrong.
    """
def load_from_columns(kind: LoadKind, time_s: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], value: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> list[LoadStep]:
    """
    A load from columns.
    
    Parameters
    ----------
    kind : LoadKind.current (A) or LoadKind.power (W)
    time_s : (n,) rising
    value : (n,) held since the row before; the first only tells when it starts
    
    Returns
    -------
    list of LoadStep
    """
def load_log_mapping(path: os.PathLike | str | bytes) -> LogReadSettings:
    """
    Read a mapping file. Raises DataError naming every field that is wrong.
    """
def load_pack(path: os.PathLike | str | bytes) -> Pack:
    """
    Read and check a pack.json and the cell files it names.
    """
def load_pack_parts(path: os.PathLike | str | bytes) -> list[PackPart]:
    """
    Read and check a file of parts; a list of PackPart.
    """
def load_supply(path: os.PathLike | str | bytes) -> SupplyDescription:
    """
    Read and check a supply file.
    """
def load_taper(path: os.PathLike | str | bytes) -> LearnedTaper:
    """
    Read and check a taper file.
    """
def load_test_set(path: os.PathLike | str | bytes) -> list[TestFile]:
    """
    Read a set of tests (data/schema/test_set.schema.json) and the mappings it names.
    
    Parameters
    ----------
    path : relative paths in the file start at its folder
    
    Returns
    -------
    list of TestFile
    
    Raises
    ------
    DataError
        Names the file and every field that is wrong.
    """
def load_vehicle(path: os.PathLike | str | bytes) -> RoadVehicle | Boat:
    """
    Read and check a vehicle.json; gives a RoadVehicle or a Boat.
    """
def module_named(pack: Pack, name: str) -> PackModule:
    """
    The kind of module with a name.
    """
def monotone_cubic(x: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], y: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], at: typing.SupportsFloat | typing.SupportsIndex) -> float:
    """
    Shape-preserving cubic interpolation; outside the points the slope of the end goes on.
    """
def motor_fraction(curve: EfficiencyCurve, electric_fraction: typing.SupportsFloat | typing.SupportsIndex) -> float:
    """
    Mechanical power at which a motor takes an electric one, both as fractions of the rated power.
    """
def ocv_curve(test: RestTest, settings: RestTestSettings = ...) -> OcvCurve:
    """
    OCV curve through the rests, monotone.
    """
def offset_from_balance(log: Log, settings: DataCheckSettings = ...) -> OffsetBalance | None:
    """
    The offset of the current from the charge between times at which the cell was equally full; None when the log has no two such times.
    """
def output_power_W(table: PowerEfficiency, input_W: typing.SupportsFloat | typing.SupportsIndex) -> float:
    """
    Power that a charger puts out when it takes input_W.
    """
def pack_capacity_Ah(layout: PackLayout, cell_capacity_Ah: typing.SupportsFloat | typing.SupportsIndex) -> float:
    """
    Capacity of the pack.
    """
def pack_charge(pack: Pack, groups: collections.abc.Sequence[GroupState], plan: ChargePlan, what: ChargeCase, sigmas: typing.SupportsFloat | typing.SupportsIndex = 1.96) -> PackChargeOutlook:
    """
    The charge of a pack of unequal groups: the group with the highest voltage decides, the others take the same current.
    
    Parameters
    ----------
    pack : Pack, strings of equal counts
    groups : GroupState of every group, string by string, or one for all
    plan : ChargePlan of one cell
    what : ChargeCase; supply_current_A of one cell, counts of its supply are not read
    sigmas : half width of the band from the groups' standard deviations
    
    Returns
    -------
    PackChargeOutlook
    """
def pack_current_A(layout: PackLayout, cell_current_A: typing.SupportsFloat | typing.SupportsIndex) -> float:
    """
    Current of the pack.
    """
def pack_limits(pack: Pack, groups: collections.abc.Sequence[GroupState], horizons_s: collections.abc.Sequence[typing.SupportsFloat | typing.SupportsIndex] = ..., parts: collections.abc.Sequence[PackPart] = (), settings: PackLimitSettings = ..., current_flagged: bool = False) -> list[PackHorizonLimit]:
    """
    Largest charge and discharge current and power of a pack for each horizon, the group and what decides them.
    
    Parameters
    ----------
    pack : Pack
    groups : GroupState of every group, string by string, or one for all
    horizons_s : rising, each from 0 to 600, the last may be inf (continuous)
    parts : PackPart, what else carries the current
    current_flagged : the sensor of the pack's current
    
    Returns
    -------
    list of PackHorizonLimit
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
def parse_cell_age(json: str, source: str = 'memory') -> CellAge:
    """
    An age from JSON text.
    """
def parse_charge_plan(text: str, source: str) -> ChargePlanDescription:
    """
    Read a plan from JSON text, as load_charge_plan does.
    """
def parse_cooling(text: str, source: str) -> CoolingSettings:
    """
    Read a cooling plant from JSON text, as load_cooling does.
    """
def parse_log_mapping(json: str, source: str = 'memory') -> LogReadSettings:
    """
    A mapping from JSON text.
    """
def parse_pack_parts(text: str, source: str = 'memory') -> list[PackPart]:
    """
    Read parts from JSON text.
    """
def parse_speed_trace(text: str, source: str, unit: SpeedUnit = ...) -> SpeedTrace:
    """
    Read a speed trace from CSV text, as read_speed_trace does.
    """
def parse_supply(text: str, source: str) -> SupplyDescription:
    """
    Read a supply from JSON text, as load_supply does.
    """
def parse_taper(text: str, source: str) -> LearnedTaper:
    """
    Read a learned taper from JSON text, as load_taper does.
    """
def parse_test_set(json: str, source: str = 'memory', folder: os.PathLike | str | bytes = '.') -> list[TestFile]:
    """
    A set of tests from JSON text; relative paths start at `folder`.
    """
def parse_vehicle(text: str, source: str) -> RoadVehicle | Boat:
    """
    Read a vehicle from JSON text, as load_vehicle does.
    """
def pilot_signal(duty_cycle_percent: typing.SupportsFloat | typing.SupportsIndex) -> PilotSignal:
    """
    Line current that a control pilot allows (IEC 61851-1, Annex A); 0..100 percent.
    """
def plan_balancing(groups: collections.abc.Sequence[BalancingGroup], settings: BalancingPlanSettings = ...) -> tuple[BalancingPlan, list[GroupBleed]]:
    """
    Which groups to bleed and how long, so that all are full at the same time.
    
    Parameters
    ----------
    groups : list of BalancingGroup, in series
    settings : BalancingPlanSettings
    
    Returns
    -------
    (BalancingPlan, list of GroupBleed)
    """
def plan_for(description: ChargePlanDescription, capacity_Ah: typing.SupportsFloat | typing.SupportsIndex) -> ChargePlan:
    """
    The plan for a cell: currents and powers grow with its capacity where the file says so.
    """
def power_load(power_W: typing.SupportsFloat | typing.SupportsIndex, duration_s: typing.SupportsFloat | typing.SupportsIndex) -> LoadStep:
    """
    A held power at the terminals, positive charges.
    """
def precharge(circuit: Precharge, difference_V: typing.SupportsFloat | typing.SupportsIndex) -> PrechargeResult:
    """
    Work out a precharge over a voltage difference in V, any sign.
    
    Raises
    ------
    DataError
        For a circuit or difference that cannot be used.
    """
def propeller_exponent(speed_1_m_per_s: typing.SupportsFloat | typing.SupportsIndex, power_1_W: typing.SupportsFloat | typing.SupportsIndex, speed_2_m_per_s: typing.SupportsFloat | typing.SupportsIndex, power_2_W: typing.SupportsFloat | typing.SupportsIndex) -> float:
    """
    Exponent of the propeller law through two speeds of a trial, in either order. Raises DataError.
    """
def propeller_load(boat: Boat, trace: SpeedTrace, progress: collections.abc.Callable[[float], bool | None] | None = None) -> PropellerLoad:
    """
    Compute the power that a trace of the speed through the water asks of the pack.
    
    Parameters
    ----------
    boat : Boat
    trace : SpeedTrace without a grade
    progress : callable(share) or None; returning False cancels
    
    Returns
    -------
    PropellerLoad
    
    Raises
    ------
    DataError
        For a boat or trace that cannot be used, or when cancelled.
    """
def published_ocv_V(chemistry: Chemistry, voltage_min_V: typing.SupportsFloat | typing.SupportsIndex, voltage_max_V: typing.SupportsFloat | typing.SupportsIndex, soc: typing.Annotated[numpy.typing.ArrayLike, numpy.float64]) -> numpy.typing.NDArray[numpy.float64]:
    """
    OCV of a chemistry from published curves, drawn to two voltages.
    
    Parameters
    ----------
    chemistry : Chemistry
    voltage_min_V, voltage_max_V : empty and full
    soc : (n,) increasing from 0 to 1
    
    Returns
    -------
    (n,) V
    """
def read_group_log(path: os.PathLike | str | bytes, settings: LogReadSettings | None = None) -> tuple[GroupLog, LogReport]:
    """
    Read a CSV log with one column of voltages for each group.
    
    Parameters
    ----------
    path : file with a header row
    settings : LogReadSettings, whose columns.voltage has {} where the number of the group stands, as in 'Cell {} (mV)'; left at its default it is 'voltage_{}_V'. Numbers go up by one from 0 or 1, from the negative end.
    
    Returns
    -------
    (GroupLog, LogReport)
    
    Raises
    ------
    DataError
        Names file, line, column and text of the first cell that cannot be used. One that is empty or NaN is a voltage that did not come. A column pack_voltage_V (see LogColumns) is the voltage of all groups from another sensor.
    """
def read_load(path: os.PathLike | str | bytes, settings: LogReadSettings = ...) -> list[LoadStep]:
    """
    Read a load from a CSV file with the columns time_s and current_A or power_W.
    """
def read_log(path: os.PathLike | str | bytes, settings: LogReadSettings | None = None, *, time: str | None = None, current: str | None = None, voltage: str | None = None, temperature: str | None = None, discharge_positive: bool | None = None, current_offset_A: typing.SupportsFloat | typing.SupportsIndex | None = None, gap_s: typing.SupportsFloat | typing.SupportsIndex | None = None, temperature_degC: typing.SupportsFloat | typing.SupportsIndex | None = None, separator: str | None = None) -> tuple[Log, LogReport]:
    """
    Read a CSV log.
    
    Parameters
    ----------
    path : file with a header row
    settings : LogReadSettings, as load_log_mapping gives; what is given beside it comes first
    time, current, voltage, temperature : names of the columns; left out, ours (time_s, current_A, voltage_V, temperature_degC) or those of the open Battery Data Format
    discharge_positive : the file writes discharge as positive
    current_offset_A : added to every reading that is not exactly zero, charge positive
    gap_s : longer steps are reported (600)
    temperature_degC : stands in for missing temperatures
    separator : between fields (',')
    
    Returns
    -------
    (Log, LogReport)
    
    Raises
    ------
    DataError
        Names file, line, column and text of the first cell that cannot be used.
    """
def read_rest_test(logs: collections.abc.Sequence[Log], settings: RestTestSettings = ...) -> RestTest:
    """
    Read the rests of pulse tests that start full, at one temperature.
    
    Parameters
    ----------
    logs : list of Log
    settings : RestTestSettings
    
    Returns
    -------
    RestTest
        Each relaxation carried on by itself; fit_cell does better, with its model.
    
    Raises
    ------
    DataError
        Says which log lacks what.
    """
def read_sensors(pack: Pack, result: SimulationResult, settings: collections.abc.Sequence[SensorSettings] = [], faults: collections.abc.Sequence[SensorFault] = [], seed: typing.SupportsInt | typing.SupportsIndex = 1) -> list[SensorReadings]:
    """
    Read every channel of a pack from a run.
    
    Parameters
    ----------
    pack : Pack with channels
    result : SimulationResult with groups (and cells) recorded
    settings : list of SensorSettings
    faults : list of SensorFault
    seed : of the noise
    
    Returns
    -------
    list of SensorReadings, one for each channel
    """
def read_slow_test(log: Log, settings: SlowTestSettings = ...) -> SlowTest:
    """
    Capacity from a slow test.
    """
def read_speed_trace(path: os.PathLike | str | bytes, unit: SpeedUnit = ...) -> SpeedTrace:
    """
    Read a speed trace from a CSV file.
    
    Parameters
    ----------
    path : file with a column time_s, one of speed_m_per_s, speed_km_per_h, speed_mi_per_h, speed_kn or speed, and perhaps grade
    unit : SpeedUnit; of a column called speed; a column whose name says another is refused
    
    Returns
    -------
    SpeedTrace
    
    Raises
    ------
    DataError
        Naming file, line and column.
    """
def reading_in_words(settings: LogReadSettings) -> str:
    """
    Say how a log was read where it is not written as the library writes logs: sign, temperature; empty for one that is.
    """
def refine_cell(cell: Cell, logs: collections.abc.Sequence[Log], settings: RefineSettings = ..., progress: collections.abc.Callable[[float, str], bool | None] | None = None) -> RefineResult:
    """
    Draw a cell closer to whole logs: factors on resistances and time constants, a small OCV shift, the capacity.
    
    Blocks of the logs that were not fitted decide whether the result is worth having.
    
    Parameters
    ----------
    cell : Cell
    logs : list of Log, of the cell as it is now
    settings : RefineSettings
    progress : called with (share, stage); returning False cancels
    
    Returns
    -------
    RefineResult
    
    Raises
    ------
    DataError
        Names the log or setting that cannot be used.
    """
def replay(cell: Cell, log: Log, *, initial_soc: typing.SupportsFloat | typing.SupportsIndex | None = None, initial_soc_std: typing.SupportsFloat | typing.SupportsIndex = 0.2, capacity_Ah: typing.SupportsFloat | typing.SupportsIndex | None = None, settings: SocFilterSettings | None = None, starts_at_rest: bool | None = None, age: CellAge | None = None, sensors: SensorReplay | None = None, progress: collections.abc.Callable[[float], bool | None] | None = None) -> SocTrace:
    """
    Run the SOC filter along a log.
    
    Parameters
    ----------
    cell : Cell
    log : Log
    initial_soc : 0..1; None takes it from the first voltage
    initial_soc_std : used with initial_soc
    capacity_Ah : replaces the cell's capacity
    settings : SocFilterSettings; None takes filter_settings(cell)
    starts_at_rest : None looks at the first rows: a log that begins in the middle of use starts with its first reading and branches led by the current of its first two minutes
    age : CellAge that the filter starts from; capacity_Ah comes before it
    sensors : SensorReplay; None names faults of sensors and lets the filter have the log as it stands
    progress : called with the share done; returning False cancels
    
    Returns
    -------
    SocTrace
    """
@typing.overload
def replay_groups(cell: Cell, log: GroupLog, *, parallel: typing.SupportsInt | typing.SupportsIndex = 1, initial_soc: typing.SupportsFloat | typing.SupportsIndex | None = None, initial_soc_std: typing.SupportsFloat | typing.SupportsIndex = 0.2, capacity_Ah: typing.SupportsFloat | typing.SupportsIndex | None = None, capacity_scale: typing.Annotated[numpy.typing.ArrayLike, numpy.float64] | None = None, settings: PackFilterSettings | None = None, starts_at_rest: bool | None = None, age: CellAge | None = None, sensors: SensorReplay | None = None, progress: collections.abc.Callable[[float], bool | None] | None = None) -> GroupTrace:
    """
    Run the pack filter along a log that has the voltage of every group.
    
    Parameters
    ----------
    cell : Cell, or the Pack of one string that the log is of
    log : GroupLog
    parallel : cells in each group, which share its current; a pack says it
    initial_soc : 0..1 of all groups; None lets their first voltages tell
    initial_soc_std : used with initial_soc
    capacity_Ah : of a cell, replaces the cell's capacity
    capacity_scale : (groups,) of each against that, 1 if left out
    settings : PackFilterSettings; None takes filter_settings(cell) for the reference
    starts_at_rest : as in replay
    age : CellAge of all groups; capacity_Ah comes before it
    sensors : SensorReplay for current, temperature, clock and the mean of the groups; each group's own voltage the filter looks at
    progress : called with the share done; returning False cancels
    
    Returns
    -------
    GroupTrace
    """
@typing.overload
def replay_groups(pack: Pack, log: GroupLog, *, parallel: typing.SupportsInt | typing.SupportsIndex = 1, initial_soc: typing.SupportsFloat | typing.SupportsIndex | None = None, initial_soc_std: typing.SupportsFloat | typing.SupportsIndex = 0.2, capacity_Ah: typing.SupportsFloat | typing.SupportsIndex | None = None, capacity_scale: typing.Annotated[numpy.typing.ArrayLike, numpy.float64] | None = None, settings: PackFilterSettings | None = None, starts_at_rest: bool | None = None, age: CellAge | None = None, sensors: SensorReplay | None = None, progress: collections.abc.Callable[[float], bool | None] | None = None) -> GroupTrace:
    """
    The same for the groups of a pack of one string.
    """
def resistance_load(resistance_ohm: typing.SupportsFloat | typing.SupportsIndex, duration_s: typing.SupportsFloat | typing.SupportsIndex) -> LoadStep:
    """
    A resistor across the terminals.
    """
def resistance_with_std(cell: Cell, soc: typing.SupportsFloat | typing.SupportsIndex, temperature_degC: typing.SupportsFloat | typing.SupportsIndex = 25.0) -> dict:
    """
    Resistances at a place as (value, standard deviation), as a dict. Beyond the tested temperatures (`tested` False) the standard deviation grows.
    """
def rest_current_A(log: Log, settings: StepSettings = ...) -> float:
    """
    The largest current that counts as rest.
    """
def rested_voltage(log: Log, first_row: typing.SupportsInt | typing.SupportsIndex, last_row: typing.SupportsInt | typing.SupportsIndex, voltage_std_V: typing.SupportsFloat | typing.SupportsIndex = 0.001, missing_share_std: typing.SupportsFloat | typing.SupportsIndex = 0.3) -> RestedVoltage:
    """
    Carry the voltage of a rest on to its end.
    
    Parameters
    ----------
    log : Log
    first_row, last_row : of the rest, from 0; no current between
    voltage_std_V : of a reading
    missing_share_std : how well what is missing is known, as a share of it
    
    Returns
    -------
    RestedVoltage
    
    Raises
    ------
    DataError
        Names row and value.
    """
def result_columns(result: SimulationResult) -> list[tuple[str, list[float]]]:
    """
    Names and columns of a run, as write_simulation writes them.
    """
def road_load(vehicle: RoadVehicle, trace: SpeedTrace, progress: collections.abc.Callable[[float], bool | None] | None = None) -> RoadLoad:
    """
    Compute the power that a speed trace asks of the pack.
    
    Parameters
    ----------
    vehicle : RoadVehicle
    trace : SpeedTrace
    progress : callable(share) or None; returning False cancels
    
    Returns
    -------
    RoadLoad
        The trace is taken as driven even where the drive cannot; see shortfall_W.
    
    Raises
    ------
    DataError
        For a vehicle or trace that cannot be used, or when cancelled.
    """
def road_pack_power_W(vehicle: RoadVehicle, traction_power_W: typing.SupportsFloat | typing.SupportsIndex, speed_m_per_s: typing.SupportsFloat | typing.SupportsIndex) -> float:
    """
    Power of the pack in W, positive charges, for a power at the wheels (positive drives). Raises DataError out of bounds.
    """
def save_cell(path: os.PathLike | str | bytes, cell: Cell) -> None:
    """
    Write a cell.json; the file appears complete or not at all.
    """
def save_cell_age(path: os.PathLike | str | bytes, age: CellAge) -> None:
    """
    Write an age file; it appears complete or not at all.
    """
def save_charge_plan(path: os.PathLike | str | bytes, description: ChargePlanDescription) -> None:
    """
    Write a plan file; it appears complete or not at all.
    """
def save_cooling(path: os.PathLike | str | bytes, cooling: CoolingSettings) -> None:
    """
    Write a cooling plant; the file appears complete or not at all.
    """
def save_log_mapping(path: os.PathLike | str | bytes, settings: LogReadSettings) -> None:
    """
    Write a mapping file; it appears complete or not at all.
    """
def save_pack(path: os.PathLike | str | bytes, pack: Pack) -> None:
    """
    Write a pack.json; the file appears complete or not at all.
    """
def save_pack_parts(path: os.PathLike | str | bytes, parts: collections.abc.Sequence[PackPart], origin: str) -> None:
    """
    Write a file of parts, with where its numbers come from; the file appears complete or not at all.
    """
def save_supply(path: os.PathLike | str | bytes, description: SupplyDescription) -> None:
    """
    Write a supply file; it appears complete or not at all.
    """
def save_taper(path: os.PathLike | str | bytes, taper: LearnedTaper) -> None:
    """
    Write a taper file; it appears complete or not at all.
    """
def save_vehicle(path: os.PathLike | str | bytes, vehicle: RoadVehicle | Boat) -> None:
    """
    Write a vehicle.json; the file appears complete or not at all.
    """
def sensor_faults(trace: SocTrace) -> list[SeenSensorFault]:
    """
    The faults of sensors that a SocTrace tells of, as SeenSensorFault, in the order of their bits.
    """
def shaft_power_W(boat: Boat, speed_m_per_s: typing.SupportsFloat | typing.SupportsIndex) -> float:
    """
    Shaft power in W that a speed asks for, whatever the motor can. Raises DataError out of bounds.
    """
def simulate(pack: Pack, load: collections.abc.Sequence[LoadStep], settings: SimulationSettings = ..., cooling: CoolingPlant | None = None, progress: collections.abc.Callable[[float], bool | None] | None = None) -> SimulationResult:
    """
    Run a load on a pack.
    
    Parameters
    ----------
    pack : Pack
    load : list of LoadStep
    settings : SimulationSettings
    cooling : CoolingPlant or None: surroundings stay as they are
    progress : callable(share) or None; returning False cancels
    
    Returns
    -------
    SimulationResult
        Arrays, events, balances; frame() gives a data frame.
    
    Raises
    ------
    DataError
        For a pack, load or setting that cannot be used, or when cancelled.
    """
def single_string_pack(name: str, cell_file: str, cell: Cell, layout: PackLayout) -> Pack:
    """
    A pack of equal cells in one string.
    """
def socket_power_W(supply: Supply, power_W: typing.SupportsFloat | typing.SupportsIndex) -> float:
    """
    Power drawn from the socket while power_W flows into the pack.
    """
def split_current(open_V: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], resistance_ohm: typing.Annotated[numpy.typing.ArrayLike, numpy.float64], current_A: typing.SupportsFloat | typing.SupportsIndex, closed: collections.abc.Sequence[bool] | None = None) -> tuple[numpy.typing.NDArray[numpy.float64], float]:
    """
    How the current of a pack divides between strings in parallel.
    
    Parameters
    ----------
    open_V : (strings,) voltage without current
    resistance_ohm : (strings,)
    current_A : of the pack, positive when charging
    closed : (strings,) contactors; None: all
    
    Returns
    -------
    (strings,) currents, and the voltage they share
    """
def start_state(pack: Pack, settings: SimulationSettings = ...) -> PackState:
    """
    State that a run with these settings starts from.
    """
def starts_at_rest(log: Log, capacity_Ah: typing.SupportsFloat | typing.SupportsIndex) -> bool:
    """
    Whether a log begins at rest, or in the middle of use with branches that nobody has followed: at rest it shows less than C/10 for five seconds at least (or for its first step, where that is longer), and no voltage that goes on recovering.
    """
def steps_table(steps: collections.abc.Sequence[Step]) -> dict:
    """
    Steps as a dict of columns, which pandas.DataFrame takes: kind in words, the other fields of Step as arrays; rate_per_h is nan where no capacity was given.
    """
def supply_limits(supply: Supply) -> SupplyLimits:
    """
    Least of outlet, pilot, cable and charger; power 0 and the reason when nothing may be drawn.
    """
def temperature_window(result: SimulationResult, low_degC: typing.SupportsFloat | typing.SupportsIndex, high_degC: typing.SupportsFloat | typing.SupportsIndex) -> WindowAnswer:
    """
    Whether all cores stayed in a window, and how long they did not.
    """
def thermal_rows(log: Log, cell: Cell) -> int:
    """
    Give how many rows of a log fit_thermal goes by: means over 5 s and more; 0 for a log of fewer than 20 rows, which it leaves out.
    """
def thermal_trace(log: Log, cell: Cell) -> ThermalTrace:
    """
    Run the thermal part of a cell over a log: the core temperature, and how well the case is met.
    
    Parameters
    ----------
    log : Log
    cell : Cell
    
    Returns
    -------
    ThermalTrace
    
    Raises
    ------
    DataError
        For a log or cell that cannot be used.
    """
@typing.overload
def time_to_full(cell: Cell, state: ModelState, plan: ChargePlan, ambient_degC: typing.SupportsFloat | typing.SupportsIndex, supply: PackSupply, settings: ForecastSettings = ...) -> ChargeOutlook:
    """
    Time until a pack of such cells is full on a supply; the forecast is of one cell, its socket_energy_Wh of the whole pack.
    """
@typing.overload
def time_to_full(cell: Cell, state: ModelState, plan: ChargePlan, ambient_degC: typing.SupportsFloat | typing.SupportsIndex, supply_current_A: typing.SupportsFloat | typing.SupportsIndex = 0.0, settings: ForecastSettings = ...) -> ChargeOutlook:
    """
    Time until the cell is full on a plan, by running the model forward.
    
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
@typing.overload
def time_to_soc(cell: Cell, state: ModelState, plan: ChargePlan, ambient_degC: typing.SupportsFloat | typing.SupportsIndex, target_soc: typing.SupportsFloat | typing.SupportsIndex, supply: PackSupply, settings: ForecastSettings = ...) -> ChargeOutlook:
    """
    Time until an SOC is reached on a supply; see time_to_full.
    """
@typing.overload
def time_to_soc(cell: Cell, state: ModelState, plan: ChargePlan, ambient_degC: typing.SupportsFloat | typing.SupportsIndex, target_soc: typing.SupportsFloat | typing.SupportsIndex, supply_current_A: typing.SupportsFloat | typing.SupportsIndex = 0.0, settings: ForecastSettings = ...) -> ChargeOutlook:
    """
    Time until an SOC is reached; see time_to_full.
    """
def to_json(cell: Cell) -> str:
    """
    A cell as JSON text.
    """
def torque_limits(drive: TorqueDrive, charge_power_W: typing.SupportsFloat | typing.SupportsIndex, discharge_power_W: typing.SupportsFloat | typing.SupportsIndex, speed_rad_s: typing.SupportsFloat | typing.SupportsIndex, motoring: EfficiencyGrid | None = None, regeneration: EfficiencyGrid | None = None) -> TorqueLimit:
    """
    Torque limits from power limits at a shaft speed.
    
    Parameters
    ----------
    drive : TorqueDrive
    charge_power_W : >= 0
    discharge_power_W : <= 0
    speed_rad_s : either sign
    motoring, regeneration : EfficiencyGrid in place of the numbers of the drive
    
    Returns
    -------
    TorqueLimit
    """
def traction_force_N(vehicle: RoadVehicle, speed_m_per_s: typing.SupportsFloat | typing.SupportsIndex, acceleration_m_per_s2: typing.SupportsFloat | typing.SupportsIndex = 0.0, grade: typing.SupportsFloat | typing.SupportsIndex = 0.0) -> float:
    """
    Force at the wheels in N, positive drives; grade is rise over run. Raises DataError out of bounds.
    """
@typing.overload
def usable_energy(pack: Pack, groups: collections.abc.Sequence[GroupState], draw: Draw, settings: UsableEnergySettings = ..., sigmas: typing.SupportsFloat | typing.SupportsIndex = 1.96) -> UsableEnergyBand:
    """
    What a pack still gives at a draw until its weakest group ends it, with its band.
    
    Parameters
    ----------
    pack : Pack
    groups : GroupState of every group, string by string, or one for all; their standard deviations make the band
    draw : Draw, a power or a current
    settings : UsableEnergySettings
    sigmas : half width of the band in standard deviations
    
    Returns
    -------
    UsableEnergyBand
    """
@typing.overload
def usable_energy(cell: Cell, state: GroupState, draw: Draw, settings: UsableEnergySettings = ..., sigmas: typing.SupportsFloat | typing.SupportsIndex = 1.96) -> UsableEnergyBand:
    """
    The same of one cell.
    """
def voltage_load(voltage_V: typing.SupportsFloat | typing.SupportsIndex, duration_s: typing.SupportsFloat | typing.SupportsIndex) -> LoadStep:
    """
    A source that holds the terminals.
    """
def warm_up(pack: Pack, cooling: CoolingSettings, settings: SimulationSettings, target_degC: typing.SupportsFloat | typing.SupportsIndex, longest_s: typing.SupportsFloat | typing.SupportsIndex = 86400.0) -> WarmUp:
    """
    How long a resting pack takes until its coldest core is warm.
    """
def write_csv(path: os.PathLike | str | bytes, names: collections.abc.Sequence[str], columns: collections.abc.Sequence[typing.Annotated[numpy.typing.ArrayLike, numpy.float64]], significant_digits: typing.SupportsInt | typing.SupportsIndex = 9) -> None:
    """
    Write columns of numbers as a CSV file; it appears complete or not at all.
    
    Parameters
    ----------
    path : file
    names : one per column
    columns : arrays of one length, every value finite
    significant_digits : 1 .. 17; 17 reads back to the same numbers
    """
def write_group_trace(path: os.PathLike | str | bytes, groups_path: os.PathLike | str | bytes, trace: GroupTrace) -> None:
    """
    Write the columns of write_trace of the reference, soc_min and soc_max to path; time_s and soc, soc_std and fault_bits of each group, as in soc_1, to groups_path.
    """
def write_simulation(path: os.PathLike | str | bytes, result: SimulationResult, cooling: CoolingTrace | None = None) -> None:
    """
    Write the columns of a run as CSV, with those of its cooling (a CoolingTrace) beside them; the file appears complete or not at all.
    """
def write_trace(path: os.PathLike | str | bytes, trace: SocTrace) -> None:
    """
    Write time_s, soc, soc_std, voltage_predicted_V, innovation_V, innovation_std_V, fault_bits, sensor_fault_bits as CSV.
    """
__version__: str = '0.1.0'
standard_gravity_m_per_s2: float = 9.80665

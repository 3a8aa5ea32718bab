"""Write the demo data: bench tests, a working day and a shore charge of an invented cell.

Nothing here was measured. A truth model, richer than the model Voltkeel fits and written without it,
plays an invented 21700-like NMC cell "HW-50" (5 Ah, 2.5 .. 4.2 V) of an invented harbour workboat, and
invented sensors read it. Current is positive when it charges the cell.

The truth model:

- open-circuit voltage from the electrode curves of Chen et al., J. Electrochem. Soc. 167 (2020) 080534,
  doi 10.1149/1945-7111/ab9050 (doi from memory, not re-read), with an entropy term and a few millivolt
  of dynamic hysteresis;
- an ohmic resistance with an activation energy;
- a double layer beside a Butler-Volmer charge transfer (transfer coefficient 1/2), whose resting current
  flow is ``I = 2 I0 sinh(F eta / 2RT)``, solved in closed form over each step;
- a diffusion ladder of seven terms, 3 s to 3 h at 25 degC, slower and larger in the cold, larger towards
  both ends of the charge range;
- a hot core inside a case, which is where the temperature sensor sits.

Run ``python make_demo.py`` to write the files beside this script, ``python make_demo.py --check`` to
compare what it would write with what is there, byte for byte.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from scipy.optimize import brentq

GAS_J_mol_K = 8.314462618
FARADAY_C_mol = 96485.33212
ZERO_degC_K = 273.15
REFERENCE_K = 298.15

# Charge between the stoichiometry limits of `ocv_25degC_V`; a test can use a little less (`slow_limits`).
WINDOW_Ah = 4.989
LOWEST_V = 2.5
HIGHEST_V = 4.2
RATED_Ah = 5.0
TESTED_Ah = 4.95  # what the bench steps its charge by, as if read off the slow test

OHMIC_25degC_ohm = 0.0165
OHMIC_J_mol = 15e3
EXCHANGE_25degC_A = 3.4
EXCHANGE_J_mol = 48e3
DOUBLE_LAYER_F = 14.0
DIFFUSION_25degC_ohm = 0.024
DIFFUSION_J_mol = 25e3
# Even steps on a log scale. Shares rise about as the root of time (diffusion into a half space) and fall
# once the particle is full.
LADDER_25degC_s = tuple(3.0 * 3600.0 ** (k / 6.0) for k in range(7))
LADDER_SHARE = (0.07, 0.11, 0.17, 0.23, 0.22, 0.13, 0.07)
HYSTERESIS_RATE = 40.0  # per fraction of charge moved: half the way in 1.7 % of the charge

CORE_J_K = 56.0
CASE_J_K = 9.0
CORE_TO_CASE_K_W = 2.8


def arrhenius(activation_J_mol: float, temperature_degC: float) -> float:
    """Return how many times slower than at 25 degC a process of this activation energy is."""
    temperature_K = temperature_degC + ZERO_degC_K
    return math.exp(activation_J_mol / GAS_J_mol_K * (1.0 / temperature_K - 1.0 / REFERENCE_K))


def ocv_25degC_V(fill: float) -> float:
    """Return the open-circuit voltage at 25 degC, curves and windows of Chen et al. (2020).

    `fill` is 0 and 1 at the published stoichiometry limits, not at the voltage limits of a test.
    """
    x = 0.0279 + fill * (0.9014 - 0.0279)
    y = 0.9084 + fill * (0.2661 - 0.9084)
    negative_V = (
        1.9793 * math.exp(-39.3631 * x)
        + 0.2482
        - 0.0909 * math.tanh(29.8538 * (x - 0.1234))
        - 0.04478 * math.tanh(14.9159 * (x - 0.2769))
        - 0.0205 * math.tanh(30.4444 * (x - 0.6103))
    )
    positive_V = (
        -0.8090 * y
        + 4.4875
        - 0.0428 * math.tanh(18.5138 * (y - 0.5542))
        - 17.7326 * math.tanh(15.7890 * (y - 0.3117))
        + 17.5842 * math.tanh(15.9308 * (y - 0.3120))
    )
    return positive_V - negative_V


def entropy_V_K(fill: float) -> float:
    """Return the change of open-circuit voltage with temperature, about -0.1 mV/K."""
    return -1e-4 * (1.0 + 0.6 * math.cos(2.0 * math.pi * fill))


def hysteresis_V(fill: float) -> float:
    """Return half the distance of the charge from the discharge branch of the open-circuit voltage."""
    return 0.0025 + 0.004 * math.exp(-max(fill, 0.0) / 0.15)


@dataclass(frozen=True)
class Specimen:
    """One cell of the batch: the same design, made with a small spread."""

    resistance_scale: float = 1.0
    capacity_scale: float = 1.0


@dataclass(frozen=True)
class Place:
    """Where the cell is kept: surroundings that wander slowly, and how well they take its heat."""

    ambient_degC: float
    to_ambient_K_W: float
    wander_degC: float = 0.0
    wander_period_s: float = 1500.0
    rise_degC_s: float = 0.0

    def at(self, time_s: float) -> float:
        """Return the temperature of the surroundings."""
        wander_degC = self.wander_degC * math.sin(2.0 * math.pi * time_s / self.wander_period_s)
        return self.ambient_degC + self.rise_degC_s * time_s + wander_degC


@dataclass(frozen=True)
class Truth:
    """What the cell really is at an instant."""

    fill: float
    hysteresis: float
    core_degC: float
    case_degC: float
    transfer_V: float = 0.0
    ladder_A: tuple[float, ...] = (0.0,) * len(LADDER_25degC_s)


def transfer_after_V(
    start_V: float, current_A: float, exchange_A: float, temperature_degC: float, step_s: float
) -> float:
    """Return the charge-transfer voltage after a step at constant current.

    ``C deta/dt = I - 2 I0 sinh(eta / s)``, ``s = 2RT/F``, is a Riccati equation with constant
    coefficients in ``exp(eta / s)`` and so has a closed form.
    """
    if current_A < 0.0:  # the positive root below would lose its digits
        return -transfer_after_V(-start_V, -current_A, exchange_A, temperature_degC, step_s)
    scale_V = 2.0 * GAS_J_mol_K * (temperature_degC + ZERO_degC_K) / FARADAY_C_mol
    drive = current_A / (2.0 * exchange_A)
    root = math.hypot(drive, 1.0)
    upper, lower = drive + root, -1.0 / (drive + root)
    start = math.exp(start_V / scale_V)
    decay = math.exp(-2.0 * exchange_A * root * step_s / (scale_V * DOUBLE_LAYER_F))
    ratio = (start - upper) / (start - lower) * decay
    return scale_V * math.log((upper - lower * ratio) / (1.0 - ratio))


def exchange_A(truth: Truth) -> float:
    """Return the exchange current: smaller in the cold, and where an electrode is nearly full or empty."""
    fill = min(max(truth.fill, 0.0), 1.0)
    shape = 0.35 + 0.65 * math.sqrt(4.0 * fill * (1.0 - fill))
    return EXCHANGE_25degC_A * shape / arrhenius(EXCHANGE_J_mol, truth.core_degC)


def ohmic_ohm(truth: Truth) -> float:
    """Return the ohmic resistance."""
    return OHMIC_25degC_ohm * arrhenius(OHMIC_J_mol, truth.core_degC)


def diffusion_ohm(truth: Truth) -> float:
    """Return the sum of the ladder's resistances."""
    ends = 1.0 + 1.8 * math.exp(-max(truth.fill, 0.0) / 0.07) + 0.5 * math.exp(-abs(1.0 - truth.fill) / 0.05)
    return DIFFUSION_25degC_ohm * ends * arrhenius(DIFFUSION_J_mol, truth.core_degC)


def open_circuit_V(truth: Truth) -> float:
    """Return the open-circuit voltage with entropy and hysteresis."""
    warmer_K = truth.core_degC + ZERO_degC_K - REFERENCE_K
    return ocv_25degC_V(truth.fill) + entropy_V_K(truth.fill) * warmer_K + hysteresis_V(truth.fill) * truth.hysteresis


def terminal_V(truth: Truth, current_A: float, specimen: Specimen) -> float:
    """Return the voltage at the terminals while `current_A` flows."""
    diffusion_A = sum(share * flow_A for share, flow_A in zip(LADDER_SHARE, truth.ladder_A, strict=True))
    over_V = ohmic_ohm(truth) * current_A + truth.transfer_V + diffusion_ohm(truth) * diffusion_A
    return open_circuit_V(truth) + specimen.resistance_scale * over_V


def advance(
    truth: Truth, current_A: float, step_s: float, ambient_degC: float, specimen: Specimen, place: Place
) -> Truth:
    """Return the cell after `step_s` (5 s at most, for the temperatures' sake) at constant current."""
    moved = current_A * step_s / (3600.0 * WINDOW_Ah * specimen.capacity_scale)
    slower = arrhenius(DIFFUSION_J_mol, truth.core_degC)
    keep = [math.exp(-step_s / (slower * time_s)) for time_s in LADDER_25degC_s]
    along = math.exp(-HYSTERESIS_RATE * abs(moved))
    heat_W = current_A * (terminal_V(truth, current_A, specimen) - open_circuit_V(truth))
    heat_W += current_A * (truth.core_degC + ZERO_degC_K) * entropy_V_K(truth.fill)
    to_case_W = (truth.core_degC - truth.case_degC) / CORE_TO_CASE_K_W
    to_ambient_W = (truth.case_degC - ambient_degC) / place.to_ambient_K_W
    return Truth(
        fill=truth.fill + moved,
        hysteresis=along * truth.hysteresis + (1.0 - along) * math.copysign(1.0, current_A),
        core_degC=truth.core_degC + step_s * (heat_W - to_case_W) / CORE_J_K,
        case_degC=truth.case_degC + step_s * (to_case_W - to_ambient_W) / CASE_J_K,
        transfer_V=transfer_after_V(truth.transfer_V, current_A, exchange_A(truth), truth.core_degC, step_s),
        ladder_A=tuple(
            current_A + kept * (flow_A - current_A) for kept, flow_A in zip(keep, truth.ladder_A, strict=True)
        ),
    )


@dataclass(frozen=True)
class Sensors:
    """How the logger reads the cell. A current channel that carries nothing reads exactly zero."""

    voltage_offset_V: float = 0.0015
    voltage_noise_std_V: float = 0.001
    voltage_step_V: float = 0.001
    current_gain: float = 1.002
    current_offset_A: float = 0.006
    current_noise_std_A: float = 0.004
    current_step_A: float = 0.004
    temperature_noise_std_degC: float = 0.05
    temperature_step_degC: float = 0.1


# A bench measures C/20 on its small range: on the large one the offset alone would be 2.4 % of the charge.
SMALL_RANGE = Sensors(current_offset_A=0.0006, current_noise_std_A=0.0004, current_step_A=0.0004)

TICK_s = 0.1  # a bench or charger ends its steps on whole ticks

Row = tuple[float, float, float, float]


@dataclass
class Rig:
    """A cell in its place, a source or load that drives it, and a logger that writes rows."""

    truth: Truth
    specimen: Specimen
    place: Place
    sensors: Sensors
    seed: int
    time_s: float = 0.0
    removed_Ah: float = 0.0
    rows: list[Row] = field(default_factory=list)

    def __post_init__(self) -> None:
        # The older generator, because numpy promises that its numbers never change.
        self.random = np.random.RandomState(self.seed)

    def voltage_V(self, current_A: float) -> float:
        """Return the true terminal voltage."""
        return terminal_V(self.truth, current_A, self.specimen)

    def after(self, current_A: float, step_s: float) -> Truth:
        """Return where a step would lead."""
        ambient_degC = self.place.at(self.time_s)
        return advance(self.truth, current_A, step_s, ambient_degC, self.specimen, self.place)

    def go(self, current_A: float, step_s: float) -> None:
        """Take a step."""
        self.truth = self.after(current_A, step_s)
        self.time_s += step_s
        self.removed_Ah -= current_A * step_s / 3600.0

    def log(self, current_A: float) -> None:
        """Write what the sensors read now."""
        sensors = self.sensors
        voltage_noise, current_noise, temperature_noise = (float(n) for n in self.random.standard_normal(3))
        read_A = 0.0
        if current_A != 0.0:
            read_A = sensors.current_gain * current_A + sensors.current_offset_A
            read_A += sensors.current_noise_std_A * current_noise
        read_V = self.voltage_V(current_A) + sensors.voltage_offset_V
        read_V += sensors.voltage_noise_std_V * voltage_noise
        read_degC = self.truth.case_degC + sensors.temperature_noise_std_degC * temperature_noise
        self.rows.append(
            (
                self.time_s,
                round(read_A / sensors.current_step_A) * sensors.current_step_A,
                round(read_V / sensors.voltage_step_V) * sensors.voltage_step_V,
                round(read_degC / sensors.temperature_step_degC) * sensors.temperature_step_degC,
            )
        )

    def hold(
        self,
        current_A: float,
        row_times_s: Iterable[float],
        until_removed_Ah: float | None = None,
        longest_step_s: float = 1.0,
    ) -> bool:
        """Hold a current and write rows at these times after its start.

        Parameters
        ----------
        current_A
            Positive when it charges.
        row_times_s
            Rising; the last one ends the step.
        until_removed_Ah
            Ends a discharge early, once this much charge has left the cell since the test began.
        longest_step_s
            Upper bound of the integration step.

        Returns
        -------
        bool
            True if the step ended at a voltage limit of the cell. The row of that moment is written.
        """
        start_s = self.time_s
        for row_time_s in row_times_s:
            while (left_s := start_s + row_time_s - self.time_s) > 1e-9:
                step_s = min(left_s, longest_step_s)
                last = False
                if until_removed_Ah is not None:
                    wanted_s = (until_removed_Ah - self.removed_Ah) * 3600.0 / -current_A
                    wanted_s = max(round(wanted_s / TICK_s) * TICK_s, 0.0)
                    last = wanted_s <= step_s
                    step_s = min(step_s, wanted_s)
                if current_A != 0.0 and step_s > 0.0 and self.beyond_V(current_A, step_s) > 0.0:
                    step_s = self.limit_after_s(current_A, step_s)
                    self.go(current_A, step_s)
                    self.log(current_A)
                    return True
                self.go(current_A, step_s)
                if last:
                    self.log(current_A)
                    return False
            self.time_s = start_s + row_time_s  # no creeping sum of rounding errors
            self.log(current_A)
        return False

    def beyond_V(self, current_A: float, step_s: float) -> float:
        """Return by how much a step would pass the voltage limit, negative if it would not."""
        reached_V = terminal_V(self.after(current_A, step_s), current_A, self.specimen)
        return reached_V - HIGHEST_V if current_A > 0.0 else LOWEST_V - reached_V

    def limit_after_s(self, current_A: float, step_s: float) -> float:
        """Return the first tick of the bench at which the voltage limit has been met."""
        if self.beyond_V(current_A, 1e-3) > 0.0:
            return TICK_s
        part_s = float(brentq(lambda part_s: self.beyond_V(current_A, part_s), 1e-3, step_s, xtol=1e-6))
        return math.ceil(part_s / TICK_s) * TICK_s

    def hold_voltage(self, until_A: float, row_every_s: float) -> None:
        """Charge at the highest voltage, writing rows, until the current has fallen to `until_A`."""
        step_s, start_s, count = 1.0, self.time_s, 0
        while True:

            def over_V(current_A: float) -> float:
                return terminal_V(self.after(current_A, step_s), current_A, self.specimen) - HIGHEST_V

            current_A = float(brentq(over_V, 0.0, RATED_Ah, xtol=1e-9))
            self.go(current_A, step_s)
            count += 1
            self.time_s = start_s + count * step_s
            if current_A <= until_A or count % round(row_every_s / step_s) == 0:
                self.log(current_A)
            if current_A <= until_A:
                return


def every(step_s: float, duration_s: float, first_s: float | None = None) -> Iterator[float]:
    """Yield row times at a fixed distance, the end of the step included."""
    if first_s is not None:
        yield first_s
    yield from (k * step_s for k in range(1, math.ceil(duration_s / step_s)))
    yield duration_s


def thinning(duration_s: float) -> Iterator[float]:
    """Yield the row times of a pulse test: close behind an edge, then ever wider, the end included."""
    times_s = [TICK_s, *range(1, 31), *range(40, 151, 10), *range(210, math.ceil(duration_s) + 60, 60)]
    yield from (float(time_s) for time_s in times_s if time_s < duration_s)
    yield duration_s


def rested(fill: float, hysteresis: float, ambient_degC: float) -> Truth:
    """Return a cell that has rested for days."""
    return Truth(fill=fill, hysteresis=hysteresis, core_degC=ambient_degC, case_degC=ambient_degC)


def slow_limits(specimen: Specimen) -> tuple[float, float]:
    """Return the fill at which a C/20 discharge meets 2.5 V and a C/20 charge meets 4.2 V, at 25 degC.

    These are SOC 0 and 1 of the specimen: charge counted between them, over all of it, is the true SOC.
    """
    limits = []
    for start, current_A in ((0.5, -0.05 * RATED_Ah), (0.5, 0.05 * RATED_Ah)):
        place = Place(25.0, 6.0)
        truth = rested(start, math.copysign(1.0, current_A), place.ambient_degC)
        rig = Rig(truth, specimen, place, SMALL_RANGE, seed=0)
        rig.hold(current_A, every(3600.0, 40 * 3600.0), longest_step_s=5.0)
        limits.append(rig.truth.fill)
    return limits[0], limits[1]


@dataclass(frozen=True)
class Scale:
    """What turns the fill of one specimen into SOC."""

    empty: float
    full: float
    capacity_Ah: float

    @classmethod
    def of(cls, specimen: Specimen) -> Scale:
        """Return the scale of a specimen, found by discharging and charging it slowly."""
        empty, full = slow_limits(specimen)
        return cls(empty, full, (full - empty) * WINDOW_Ah * specimen.capacity_scale)

    def soc(self, truth: Truth) -> float:
        """Return the true state of charge."""
        return (truth.fill - self.empty) / (self.full - self.empty)

    def fill(self, soc: float) -> float:
        """Return the fill at a state of charge."""
        return self.empty + soc * (self.full - self.empty)


# Two bench cells and the boat's cell: a percent or two apart, as cells of a batch are.
BENCH_CELL = Specimen()
SECOND_BENCH_CELL = Specimen(resistance_scale=1.015, capacity_scale=0.998)
BOAT_CELL = Specimen(resistance_scale=0.985, capacity_scale=1.003)


def slow_test() -> list[Row]:
    """Run the slow discharge and charge that give capacity and open-circuit voltage."""
    place = Place(25.1, 6.0, wander_degC=0.1)
    truth = rested(Scale.of(BENCH_CELL).full, 1.0, place.ambient_degC)
    rig = Rig(truth, BENCH_CELL, place, SMALL_RANGE, seed=101)
    rig.log(0.0)
    rig.hold(0.0, every(60.0, 1800.0))
    for current_A in (-0.05 * RATED_Ah, 0.05 * RATED_Ah):
        rig.hold(current_A, every(60.0, 40 * 3600.0, first_s=1.0), longest_step_s=5.0)
        rig.hold(0.0, every(60.0, 3600.0, first_s=1.0))
    return rig.rows


def pulse_test(specimen: Specimen, place: Place, charge_pulses: bool, seed: int) -> list[Row]:
    """Run pulses at every tenth of the charge and at 5 %, until the voltage limit ends the test."""
    truth = rested(Scale.of(specimen).full, 1.0, place.ambient_degC)
    rig = Rig(truth, specimen, place, Sensors(), seed)
    rig.log(0.0)
    rig.hold(0.0, every(60.0, 300.0))
    for left_percent in (100, 90, 80, 70, 60, 50, 40, 30, 20, 10, 5):
        if left_percent < 100:
            removed_Ah = (1.0 - left_percent / 100.0) * TESTED_Ah
            stopped = rig.hold(-RATED_Ah / 3.0, thinning(7200.0), until_removed_Ah=removed_Ah)
            rig.hold(0.0, thinning(2700.0))
            if stopped:
                break
        pulses = [(-0.5, 120.0), (-1.0, 300.0), (-2.0, 600.0)]
        if charge_pulses and left_percent < 100:
            pulses.append((0.5, 600.0))
        stopped = False
        for rate, rest_s in pulses:
            limited = rig.hold(rate * RATED_Ah, thinning(10.0))
            stopped = limited and rate < 0.0
            rig.hold(0.0, thinning(2700.0 if stopped else rest_s))
            if stopped:
                break
        if stopped:
            break
    return rig.rows


def harbour_load_A() -> list[float]:
    """Return the invented working day's current through one cell, one value a second."""
    random = np.random.RandomState(7)
    load_A: list[float] = []

    def ease(target_A: float, duration_s: int, gust_A: float, lag_s: float = 2.5) -> None:
        """Approach a current as a drive's ramp does, and let waves and a busy helmsman disturb it."""
        flow_A, wave_A = (load_A[-1] if load_A else 0.0), 0.0
        for _ in range(duration_s):
            flow_A += (target_A - flow_A) / lag_s
            wave_A += -wave_A / 6.0 + gust_A * float(random.standard_normal()) * math.sqrt(2.0 / 6.0)
            load_A.append(flow_A + wave_A)

    def idle(duration_s: int) -> None:
        """Pumps, lights and radio."""
        ease(-0.28, duration_s, 0.015, lag_s=1.5)

    def transit(duration_s: int, rate: float = 0.6) -> None:
        ease(-rate * RATED_Ah, duration_s, 0.09, lag_s=5.0)

    def manoeuvre(duration_s: int) -> None:
        """Bursts ahead and astern; the propeller gives a little back when it is stopped."""
        end = len(load_A) + duration_s
        while len(load_A) < end:
            burst_A = -RATED_Ah * float(random.uniform(0.5, 2.0))
            ease(burst_A, int(random.randint(4, 14)), 0.12, lag_s=1.4)
            if random.uniform() < 0.3:
                ease(float(random.uniform(0.8, 2.0)), int(random.randint(3, 7)), 0.03, lag_s=1.3)
            ease(-0.35, int(random.randint(8, 32)), 0.02, lag_s=1.3)

    def push() -> None:
        ease(-2.2 * RATED_Ah, 30, 0.05, lag_s=1.4)
        ease(1.5, 5, 0.03, lag_s=1.3)

    load_A.extend([0.0] * 60)
    idle(360)
    ease(-2.0 * RATED_Ah, 8, 0.1, lag_s=1.4)  # off the berth: nothing returned, the pack is full
    idle(40)
    ease(-1.4 * RATED_Ah, 12, 0.1, lag_s=1.4)
    idle(25)
    transit(930)
    manoeuvre(360)
    push()
    idle(900)
    transit(720)
    manoeuvre(300)
    idle(1050)
    transit(660, rate=0.65)
    manoeuvre(420)
    push()
    idle(900)
    transit(990)
    manoeuvre(300)
    idle(9000 - len(load_A))
    load_A.extend([0.0] * 600)
    return load_A


def harbour_day() -> tuple[list[Row], list[tuple[float, float]]]:
    """Run the working day, and return the log and the true SOC every 10 s."""
    scale = Scale.of(BOAT_CELL)
    place = Place(12.0, 11.0, wander_degC=0.3, wander_period_s=4100.0, rise_degC_s=1.5 / 9600.0)
    rig = Rig(rested(scale.full, 1.0, place.ambient_degC), BOAT_CELL, place, Sensors(), seed=105)
    rig.log(0.0)
    soc = [(0.0, scale.soc(rig.truth))]
    for second, current_A in enumerate(harbour_load_A(), start=1):
        rig.hold(current_A, (1.0,), longest_step_s=0.5)
        if second % 10 == 0:
            soc.append((rig.time_s, scale.soc(rig.truth)))
    return rig.rows, soc


def shore_charge() -> list[Row]:
    """Run the charge at the berth: constant current, then constant voltage."""
    scale = Scale.of(BOAT_CELL)
    place = Place(14.0, 11.0, wander_degC=0.2, wander_period_s=5200.0)
    rig = Rig(rested(scale.fill(0.18), -1.0, place.ambient_degC), BOAT_CELL, place, Sensors(), seed=106)
    rig.log(0.0)
    rig.hold(0.0, every(10.0, 120.0))
    rig.hold(0.5 * RATED_Ah, every(10.0, 4 * 3600.0, first_s=1.0))
    rig.hold_voltage(0.05 * RATED_Ah, row_every_s=10.0)
    rig.hold(0.0, every(10.0, 600.0, first_s=1.0))
    return rig.rows


def log_text(rows: list[Row]) -> str:
    """Return a log as CSV."""
    lines = ["time_s,current_A,voltage_V,temperature_degC"]
    # Adding zero turns -0.0 into 0.0.
    lines += [f"{t:.1f},{i + 0.0:.4f},{v:.4f},{c + 0.0:.1f}" for t, i, v, c in rows]
    return "\n".join(lines) + "\n"


def soc_text(soc: list[tuple[float, float]]) -> str:
    """Return the true SOC as CSV."""
    return "\n".join(["time_s,soc", *(f"{t:.1f},{s:.5f}" for t, s in soc)]) + "\n"


def day_files() -> dict[str, str]:
    """Return the log and the truth of the working day."""
    rows, soc = harbour_day()
    return {"harbour_day.csv": log_text(rows), "harbour_day_truth.csv": soc_text(soc)}


MAKERS: tuple[Callable[[], dict[str, str]], ...] = (
    lambda: {"slow_test_25degC.csv": log_text(slow_test())},
    lambda: {
        "pulses_25degC.csv": log_text(
            pulse_test(BENCH_CELL, Place(25.2, 6.0, wander_degC=0.1), charge_pulses=True, seed=102)
        )
    },
    lambda: {
        "pulses_10degC.csv": log_text(
            pulse_test(SECOND_BENCH_CELL, Place(10.2, 6.0, wander_degC=0.15), charge_pulses=True, seed=103)
        )
    },
    lambda: {
        "pulses_0degC.csv": log_text(
            pulse_test(SECOND_BENCH_CELL, Place(0.3, 6.0, wander_degC=0.15), charge_pulses=False, seed=104)
        )
    },
    day_files,
    lambda: {"shore_charge.csv": log_text(shore_charge())},
)


def resistance_10s_ohm(specimen: Specimen, temperature_degC: float, soc: float, rate: float) -> float:
    """Return voltage change over current change of a true 10 s pulse."""
    place = Place(temperature_degC, 6.0)
    truth = rested(Scale.of(specimen).fill(soc), -1.0, temperature_degC)
    rig = Rig(truth, specimen, place, Sensors(), seed=0)
    before_V = rig.voltage_V(0.0)
    current_A = rate * RATED_Ah
    for _ in range(100):
        rig.go(current_A, 0.1)
    return (rig.voltage_V(current_A) - before_V) / current_A


def describe() -> None:
    """Print what the truth is, for the page beside the data."""
    for name, specimen in (
        ("bench cell", BENCH_CELL),
        ("second bench cell", SECOND_BENCH_CELL),
        ("boat cell", BOAT_CELL),
    ):
        print(f"{name}: capacity {Scale.of(specimen).capacity_Ah:.3f} Ah at 25 degC")
    for specimen, temperature_degC in (
        (BENCH_CELL, 25.0),
        (SECOND_BENCH_CELL, 10.0),
        (SECOND_BENCH_CELL, 0.0),
    ):
        truth = rested(Scale.of(specimen).fill(0.5), -1.0, temperature_degC)
        ohmic_mohm = 1e3 * specimen.resistance_scale * ohmic_ohm(truth)
        pulses = ", ".join(
            f"{1e3 * resistance_10s_ohm(specimen, temperature_degC, 0.5, -rate):.1f} at {rate:g}C"
            for rate in (0.5, 1.0, 2.0)
        )
        print(f"{temperature_degC:g} degC, half full: ohmic {ohmic_mohm:.1f} mohm, 10 s discharge {pulses} mohm")


def first_difference(name: str, wanted: bytes, found: bytes) -> str:
    """Return where two texts part."""
    pairs = zip(wanted.split(b"\n"), found.split(b"\n"), strict=False)
    for number, (new, old) in enumerate(pairs, start=1):
        if new != old:
            return f"{name}, line {number}: the script gives {new.decode()!r}, the file has {old.decode()!r}"
    return f"{name}: the script gives {len(wanted)} bytes, the file has {len(found)}"


def main() -> int:
    """Write, check or describe the demo data."""
    parser = argparse.ArgumentParser(description="Write the invented demo data beside this script.")
    choice = parser.add_mutually_exclusive_group()
    choice.add_argument("--check", action="store_true", help="compare with the files instead of writing them")
    choice.add_argument("--describe", action="store_true", help="print the truth's capacity and resistance")
    options = parser.parse_args()
    if options.describe:
        describe()
        return 0
    folder = Path(__file__).resolve().parent
    differences = []
    for maker in MAKERS:
        for name, text in maker().items():
            wanted = text.encode("ascii")
            path = folder / name
            if not options.check:
                path.write_bytes(wanted)
                print(f"{name}: {len(wanted)} bytes")
            elif not path.is_file():
                differences.append(f"{name}: missing")
            elif (found := path.read_bytes()) != wanted:
                differences.append(first_difference(name, wanted, found))
            else:
                print(f"{name}: as written by the script")
    for difference in differences:
        print(difference, file=sys.stderr)
    return 1 if differences else 0


if __name__ == "__main__":
    sys.exit(main())

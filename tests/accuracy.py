"""Accuracy on public data: prints the tables of README.md. Needs VOLTKEEL_DATA.

    python tests/accuracy.py                          all tables
    python tests/accuracy.py --state                  the state of charge alone
    python tests/accuracy.py --state --held-out       and a pulse test 10 K colder than any that was fitted
    python tests/accuracy.py --counting               the filter beside plain counting
    python tests/accuracy.py --state --set low_soc_growth=0 --set soc_std_per_sqrt_h=0.005
                                                      the same with other settings beside it

P. Kollmeyer (2018), "Panasonic 18650PF Li-ion Battery Data", doi 10.17632/wykht8y7tg.1, CC BY 4.0, as CSV files in the
folder cell_a_18650: a slow test, pulse tests at four temperatures, four drives and two charges, current positive when
charging. The tester reads 9 mA low while it is active (full-to-full balances of the data set), which is handed in as
the sensor offset.
"""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path
from typing import NamedTuple

import numpy as np
import voltkeel as vk
from numpy.typing import NDArray

Array = NDArray[np.float64]

OFFSET_A = 0.009
PULSE_TESTS = ("hppc_25degC.csv", "hppc_10degC.csv", "hppc_0degC.csv", "hppc_n10degC.csv")
# Drive and its reference: full at the start, then counted over the capacity at that temperature.
DRIVES = (
    ("drive_25degC_Cycle_1.csv", 2.85),
    ("drive_25degC_US06.csv", 2.85),
    ("drive_10degC_US06.csv", 2.85),
    ("drive_0degC_Cycle_4.csv", 2.79),
)
HELD_V = 4.2
CHARGES = ("charge_25degC_charge2_03-19.csv", "charge_25degC_charge1_03-20.csv")
SHARES = (0.1, 0.25, 0.5, 0.75)
# The tester ends a charge at 50 mA by its own reading.
READ_END_CURRENT_A = 0.05
END_CURRENT_A = READ_END_CURRENT_A + OFFSET_A
CONSTANT_GUESS_MIN = 100.0
LAG_S = vk.LimitSettings().warmth_lag_s

# The window after a restart in the middle of use, and how near the answer has to be.
RESTART_S = 1800.0
RESTART_POINTS = 3.0


class SensorError(NamedTuple):
    """What a log is read with: added to each channel, noise of the voltage, a gain of the current."""

    current_A: float = 0.0
    gain: float = 1.0
    voltage_V: float = 0.0
    voltage_noise_V: float = 0.0
    temperature_K: float = 0.0


class Way(NamedTuple):
    """One way to run the filter over every drive."""

    title: str
    start: float = 1.0
    std: float = 0.05
    error: SensorError = SensorError()
    capacity_factor: float = 1.0


WAYS = (
    Way("right start"),
    Way("20 points low, at rest", 0.8, 0.2),
    Way("+50 mA, +1 %, +2 mV, 2 mV noise", error=SensorError(0.05, 1.01, 0.002, 0.002)),
    Way("-50 mA, -1 %, -2 mV, 2 mV noise", error=SensorError(-0.05, 0.99, -0.002, 0.002)),
    Way("+110 mA, +4 mV, +5 K", error=SensorError(0.11, 1.0, 0.004, 0.0, 5.0)),
    Way("-110 mA, -4 mV, -5 K", error=SensorError(-0.11, 1.0, -0.004, 0.0, -5.0)),
    Way("told 3 % too much capacity", capacity_factor=1.03),
    Way("told 5 % too much capacity", capacity_factor=1.05),
    Way("told 7 % too much capacity", capacity_factor=1.07),
)


class StateScore(NamedTuple):
    """Errors of one run in points of SOC, and its band."""

    rms: float
    largest: float  # after ten minutes
    coverage: float  # share of time inside the 95 % band
    width: float  # median half width of the band


class CountingScore(NamedTuple):
    """The filter beside plain counting of the same current over the same capacity, from a known start."""

    title: str
    filtered: StateScore
    counted_rms: float
    counted_largest: float


class TrueDrive(NamedTuple):
    """A drive of the simulated cell; the temperature goes in a straight line."""

    title: str
    first_degC: float
    last_degC: float
    current_share: float = 1.0  # of the driven current
    capacity_factor: float = 1.0  # of the true cell against what the filter is told


TRUE_DRIVES = (
    TrueDrive("25 degC", 25.0, 25.0),
    TrueDrive("0 degC", 0.0, 0.0, 0.7),
    TrueDrive("-20 degC, 10 K below the fit", -20.0, -20.0, 0.25),
    TrueDrive("rising from 10 to 30 degC", 10.0, 30.0),
    TrueDrive("rising from -20 to 10 degC", -20.0, 10.0, 0.25),
    TrueDrive("25 degC, aged by 7 %", 25.0, 25.0, 1.0, 0.93),
)
TRUE_CAPACITY_AH = 2.85
MARGIN_POINTS = 0.2


class FastPulse(NamedTuple):
    """One pulse, and how far off its drop and the current it stands for were foretold (shares; above 0: too much)."""

    rate: int
    soc: float
    span_s: float
    drop: float
    limit: float


class DriveResult(NamedTuple):
    """Errors along a drive, in points of SOC; coverage is the share of time inside the 95 % band."""

    name: str
    start: float
    rms: float
    largest: float
    coverage: float


def read(folder: Path, name: str) -> vk.Log:
    return vk.read_log(folder / name, current_offset_A=OFFSET_A)[0]


def fit_result(folder: Path, **settings: object) -> vk.FitResult:
    pulses = [read(folder, name) for name in PULSE_TESTS]
    known_offset = vk.FitSettings(pulse_offset_share_std=0.0, **settings)
    return vk.fit_cell(read(folder, "ocv_c20_25degC.csv"), pulses, known_offset)


def fit(folder: Path) -> vk.Cell:
    return fit_result(folder).cell


def open_loop_V(cell: vk.Cell, log: vk.Log, capacity_Ah: float, initial_soc: float = 1.0) -> tuple[Array, Array]:
    """Give voltage and SOC of the model alone along a log."""
    own = vk.parse_cell(vk.to_json(cell))
    own.capacity_Ah = capacity_Ah
    model = vk.CellModel(own)
    model.reset(vk.ModelState(soc=initial_soc, temperature_degC=log.temperature_degC[0]))
    return model.run(log.time_s, log.current_A, vk.core_log(log, own).temperature_degC)


def voltage_rms_mV(cell: vk.Cell, folder: Path) -> dict[str, float]:
    """Voltage of the model alone along the drives, above 10 % SOC."""
    errors = {}
    for name, capacity_Ah in DRIVES:
        log = read(folder, name)
        voltage, soc = open_loop_V(cell, log, capacity_Ah)
        error = (voltage - log.voltage_V)[soc > 0.1]
        errors[name] = 1e3 * float(np.sqrt(np.mean(error**2)))
    return errors


def fast_pulse_errors(folder: Path, forms: vk.FormTrial) -> tuple[dict[str, list[FastPulse]], vk.ModelNoise]:
    """Pulses of 4C and 6C, foretold by a fit that saw pulses up to 2C only and by the limits as they are asked for.

    The limit is that of a cell which may fall just as far as it was measured to, in the time it was measured over; the
    drop is that of the model with the current that flowed, the warmth felt as late as the limits have it. Also what
    that fit states of currents beyond those it saw.
    """
    seen = vk.PulseFitSettings(branches=forms.branches, charge_transfer=forms.charge_transfer, highest_rate_per_h=2.5)
    result = fit_result(folder, choose_form=False, pulses=seen)
    starts = {round(one.temperature_degC): one for one in result.pulses}
    own = vk.parse_cell(vk.to_json(result.cell))
    own.current_limits = []
    found: dict[str, list[FastPulse]] = {}
    for name in PULSE_TESTS:
        log = read(folder, name)
        nearest = starts[min(starts, key=lambda degC: abs(degC - np.median(log.temperature_degC)))]
        own.capacity_Ah = nearest.capacity_Ah
        model = vk.CellModel(own)
        model.reset(vk.ModelState(soc=min(nearest.initial_soc[0], 1.05), temperature_degC=log.temperature_degC[0]))
        time, current, core = log.time_s, log.current_A, vk.core_log(log, own).temperature_degC
        begins = np.flatnonzero((np.abs(np.diff(current)) > 0.5) & (np.abs(current[:-1]) < 0.05))
        done = 0
        found[name] = []
        for begin in begins:
            end = begin + 1
            while end + 1 < len(current) and abs(current[end + 1]) > 0.05:
                end += 1
            rate = round(float(-current[end]) / 2.9)
            span_s = time[end] - time[begin]
            if span_s > 15 or rate not in (4, 6):
                continue
            before, after = slice(done, begin + 1), slice(begin, end + 1)
            voltage, _ = model.run(time[before], current[before], core[before])
            state = model.state
            state.temperature_degC = core[begin]
            felt = np.full(end + 1 - begin, core[begin])
            for k in range(1, len(felt)):
                step_s = time[begin + k] - time[begin + k - 1]
                felt[k] = felt[k - 1] + (core[begin + k] - felt[k - 1]) * -np.expm1(-step_s / LAG_S)
            fallen, _ = model.run(time[after], current[after], felt)
            drop_V = log.voltage_V[begin] - log.voltage_V[end]
            own.window = vk.CellWindow(
                voltage_min_V=voltage[-1] - drop_V,
                voltage_max_V=5.0,
                soc_min=0.0,
                soc_max=1.1,
                charge_temperature_min_degC=-60.0,
                charge_temperature_max_degC=100.0,
                discharge_temperature_min_degC=-60.0,
                discharge_temperature_max_degC=100.0,
            )
            (limit,) = vk.current_limits(own, state, [span_s])
            mean_A = np.sum(current[begin + 1 : end + 1] * np.diff(time[begin : end + 1])) / span_s
            found[name].append(
                FastPulse(
                    rate=rate,
                    soc=state.soc,
                    span_s=span_s,
                    drop=(voltage[-1] - fallen[-1]) / drop_V - 1,
                    limit=limit.discharge.current_A / mean_A - 1,
                )
            )
            done = end
    return found, result.cell.noise


def print_fast_pulses(found: dict[str, list[FastPulse]], stated: vk.ModelNoise) -> None:
    """Print what they come to, for pulses that ran their 10 s; those that the tester cut at 2.5 V in a line."""
    print(
        "from a fit up to 2C, %: drop and implied current limit of pulses that ran their 10 s, above 20 % SOC and below"
    )
    print(
        f"it states {100 * stated.untested_share_std:.1f} % of a drop (std) for every doubling of the current beyond "
        f"{stated.tested_current_A:.2f} A"
    )
    print(
        "pulse test              rate   pulses   drop rms   limit rms   most too much   "
        "below: pulses   limit rms   most too much"
    )
    for name, pulses in found.items():
        for rate in (4, 6):
            whole = [p for p in pulses if p.rate == rate and p.span_s > 9.5]
            line = f"{name:22s} {rate:4d}C"
            for part, low in (([p for p in whole if p.soc >= 0.2], False), ([p for p in whole if p.soc < 0.2], True)):
                if not part:
                    line += "            -" if low else "        -          -           -               -"
                    continue
                limits = np.array([p.limit for p in part])
                rms = 100 * np.sqrt(np.mean(limits**2))
                drop = 100 * np.sqrt(np.mean([p.drop**2 for p in part]))
                line += f"{len(part):16d}" if low else f"{len(part):9d}   {drop:8.1f}"
                line += f"   {rms:9.1f}   {100 * limits.max():+13.1f}"
            print(line)
    cut = np.array([p.limit for pulses in found.values() for p in pulses if p.span_s <= 9.5])
    print(
        f"{len(cut)} pulses cut short by the tester: limit {100 * np.sqrt(np.mean(cut**2)):.1f} rms, "
        f"{100 * cut.min():+.1f} .. {100 * cut.max():+.1f}"
    )


def counted(log: vk.Log, capacity_Ah: float) -> Array:
    """SOC along a log that starts full, from its current alone."""
    return 1.0 + np.concatenate([[0.0], np.cumsum(log.current_A[1:] * np.diff(log.time_s))]) / 3600 / capacity_Ah


def drives(cell: vk.Cell, folder: Path, given_capacity: bool) -> list[DriveResult]:
    """Replay every drive from the right start and from 20 points below it.

    With `given_capacity` the filter is told the reference's capacity, otherwise it uses the fitted one.
    """
    results = []
    for name, capacity_Ah in DRIVES:
        log = read(folder, name)
        reference = counted(log, capacity_Ah)
        for start, std in ((1.0, 0.05), (0.8, 0.2)):
            trace = vk.replay(
                cell,
                log,
                initial_soc=start,
                initial_soc_std=std,
                capacity_Ah=capacity_Ah if given_capacity else None,
            )
            error = 100 * (trace.soc - reference)
            results.append(
                DriveResult(
                    name,
                    start,
                    float(np.sqrt(np.mean(error**2))),
                    float(np.abs(error[log.time_s > 600]).max()),
                    float(np.mean(np.abs(error) < 196 * trace.soc_std)),
                )
            )
    return results


def known(folder: Path) -> list[tuple[str, vk.Log, float, Array]]:
    """Name, log, capacity and reference SOC of every drive."""
    drives = []
    for name, capacity_Ah in DRIVES:
        log = read(folder, name)
        drives.append((name, log, capacity_Ah, counted(log, capacity_Ah)))
    return drives


def seen_with(log: vk.Log, error: SensorError) -> vk.Log:
    noise = error.voltage_noise_V * np.random.default_rng(1).standard_normal(len(log.time_s))
    return vk.Log(
        log.time_s,
        log.current_A * error.gain + error.current_A,
        log.voltage_V + error.voltage_V + noise,
        log.temperature_degC + error.temperature_K,
    )


def score(error_points: Array, std_points: Array, time_s: Array) -> StateScore:
    return StateScore(
        float(np.sqrt(np.mean(error_points**2))),
        float(np.abs(error_points[time_s - time_s[0] > 600]).max()),
        float(np.mean(np.abs(error_points) < 1.96 * std_points)),
        1.96 * float(np.median(std_points)),
    )


def state_scores(
    cell: vk.Cell, folder: Path, settings: vk.SocFilterSettings | None = None
) -> dict[str, list[StateScore]]:
    """Every way over every drive; the reference knows the capacity at the drive's temperature."""
    found: dict[str, list[StateScore]] = {way.title: [] for way in WAYS}
    for _, log, capacity_Ah, reference in known(folder):
        for way in WAYS:
            trace = vk.replay(
                cell,
                seen_with(log, way.error),
                initial_soc=way.start,
                initial_soc_std=way.std,
                capacity_Ah=way.capacity_factor * capacity_Ah,
                settings=settings,
            )
            error = 100 * (trace.soc - reference)
            found[way.title].append(score(error, 100 * trace.soc_std, log.time_s))
    return found


class RestartScore(NamedTuple):
    """Restarts in the middle of one drive, without history."""

    median_s: float  # until within RESTART_POINTS for good; RESTART_S when never
    coverage: float  # share of the half hours inside the 95 % band
    coverage_first: float  # the same of their first five minutes


# What a restart is told, added to the true SOC; None: nothing.
RESTARTS: dict[str, tuple[float | None, ...]] = {
    "20 points too low or too high": (-0.2, 0.2),
    "no SOC told": (None,),
}


def restarts(
    cell: vk.Cell, folder: Path, told: tuple[float | None, ...], settings: vk.SocFilterSettings | None = None
) -> list[RestartScore]:
    found = []
    for _, log, capacity_Ah, reference in known(folder):
        waits, inside, inside_first = [], [], []
        for share in np.arange(0.1, 0.86, 0.075):
            first = int(share * len(log.time_s))
            last = int(np.searchsorted(log.time_s, log.time_s[first] + RESTART_S))
            cut = vk.Log(*(c[first:last] for c in (log.time_s, log.current_A, log.voltage_V, log.temperature_degC)))
            for off in told:
                start = None if off is None else reference[first] + off
                if start is not None and not 0 <= start <= 1:
                    continue
                trace = vk.replay(
                    cell, cut, initial_soc=start, initial_soc_std=0.2, capacity_Ah=capacity_Ah, settings=settings
                )
                error = 100 * np.abs(trace.soc - reference[first:last])
                since_s = cut.time_s - cut.time_s[0]
                far = np.flatnonzero(error > RESTART_POINTS)
                near_at_end = len(far) == 0 or far[-1] + 1 < len(error)
                waits.append(0.0 if len(far) == 0 else since_s[far[-1]] if near_at_end else RESTART_S)
                holds = error < 196 * trace.soc_std
                inside.append(holds.mean())
                inside_first.append(holds[since_s < 300].mean())
        found.append(RestartScore(float(np.median(waits)), float(np.mean(inside)), float(np.mean(inside_first))))
    return found


def counting_score(cell: vk.Cell, log: vk.Log, reference: Array, capacity_Ah: float, title: str) -> CountingScore:
    """Full at the start, which both are told; the filter also has the voltage."""
    trace = vk.replay(cell, log, initial_soc=1.0, initial_soc_std=0.05, capacity_Ah=capacity_Ah)
    plain = score(100 * (counted(log, capacity_Ah) - reference), 100 * trace.soc_std, log.time_s)
    filtered = score(100 * (trace.soc - reference), 100 * trace.soc_std, log.time_s)
    return CountingScore(title, filtered, plain.rms, plain.largest)


def counting_on_drives(cell: vk.Cell, folder: Path) -> list[CountingScore]:
    """Every way with a right start, over every drive. Counting with the reference's own numbers is the reference."""
    return [
        counting_score(
            cell, seen_with(log, way.error), reference, way.capacity_factor * capacity_Ah, f"{way.title}: {name}"
        )
        for way in WAYS
        if way.start == 1.0
        for name, log, capacity_Ah, reference in known(folder)
    ]


def counting_on_truth(folder: Path) -> list[CountingScore]:
    """Drives of a simulated cell that is richer than the model of the filter, the truth known.

    The true cell is the chosen form of the fit carried on below -10 degC by its Arrhenius line; the filter has one
    branch less, fitted to the same tests and ending at the coldest of them. The current is that of a public drive, the
    voltage has 2 mV of noise, and the core warms behind the case whose temperature the filter is shown.
    """
    true_cell = fit(folder)
    fewer = len(true_cell.resistance.branches) - 1
    plainer = fit_result(folder, choose_form=False, pulses=vk.PulseFitSettings(branches=fewer)).cell
    driven = read(folder, DRIVES[1][0])
    scores = []
    for drive in TRUE_DRIVES:
        span = (driven.time_s - driven.time_s[0]) / (driven.time_s[-1] - driven.time_s[0])
        degC = drive.first_degC + (drive.last_degC - drive.first_degC) * span
        current_A = drive.current_share * driven.current_A
        own = vk.parse_cell(vk.to_json(true_cell))
        own.capacity_Ah = drive.capacity_factor * TRUE_CAPACITY_AH
        model = vk.CellModel(own)
        core_degC = degC
        for _ in range(3):  # the voltage makes the heat, the heat the voltage
            model.reset(vk.ModelState(soc=1.0, temperature_degC=drive.first_degC))
            voltage_V, soc = model.run(driven.time_s, current_A, core_degC)
            core_degC = vk.core_log(vk.Log(driven.time_s, current_A, voltage_V, degC), own).temperature_degC
        ended = (voltage_V < 2.5) | (soc < 0.0)
        end = int(np.argmax(ended)) if ended.any() else len(soc)
        cut = vk.Log(driven.time_s[:end], current_A[:end], voltage_V[:end], degC[:end])
        log = seen_with(cut, SensorError(voltage_noise_V=0.002))
        title = f"{drive.title} ({100 * soc[end - 1]:.0f} % at the end)"
        scores.append(counting_score(plainer, log, soc[:end], TRUE_CAPACITY_AH, title))
    return scores


def print_counting(scores: list[CountingScore], title: str) -> None:
    """Print them. Where nothing is wrong with current and capacity, counting is the reference itself: 0.00."""
    print(f"{title}; from a known start, points of SOC: rms and largest after 10 min, inside the 95 % band")
    print(f"{'':58s}       filter   in band      counting   worse than counting by more than {MARGIN_POINTS}")
    for one in scores:
        f = one.filtered
        worse = f.rms - one.counted_rms
        print(
            f"{one.title:58s}  {f.rms:5.2f} {f.largest:5.1f}    {100 * f.coverage:4.0f} %   "
            f"{one.counted_rms:5.2f} {one.counted_largest:5.1f}   "
            + (f"yes, {worse:.2f}" if worse > MARGIN_POINTS else "no")
        )
    worse_count = sum(one.filtered.rms - one.counted_rms > MARGIN_POINTS for one in scores)
    print(f"worse in {worse_count} of {len(scores)}")


def held_out(folder: Path) -> StateScore:
    """The pulse test at -10 degC with a cell fitted to the warmer ones only: 10 K beyond what it has seen."""
    warmer = [read(folder, name) for name in PULSE_TESTS[:3]]
    cell = vk.fit_cell(read(folder, "ocv_c20_25degC.csv"), warmer, vk.FitSettings(pulse_offset_share_std=0.0)).cell
    log = read(folder, PULSE_TESTS[3])
    capacity_Ah = DRIVES[-1][1]  # what the cell gives at 0 degC
    reference = counted(log, capacity_Ah)
    trace = vk.replay(cell, log, initial_soc=1.0, initial_soc_std=0.05, capacity_Ah=capacity_Ah)
    # By time, not by row: pulses have a hundred times the rows of a rest.
    every = np.searchsorted(log.time_s, np.arange(log.time_s[0], log.time_s[-1], 10.0))
    return score(100 * (trace.soc - reference)[every], 100 * trace.soc_std[every], log.time_s[every])


def print_state(cell: vk.Cell, folder: Path, settings: vk.SocFilterSettings | None = None) -> None:
    drives = known(folder)
    names = [name.removeprefix("drive_").removesuffix(".csv") for name, *_ in drives]
    print("rms, largest after 10 min, share of time inside the 95 % band, its half width; points of SOC")
    print(f"{'':33s}" + "".join(f"{name:>24s}" for name in names) + "   all rms")
    for title, scores in state_scores(cell, folder, settings).items():
        cells = [f"{s.rms:5.2f} {s.largest:4.1f} {100 * s.coverage:4.0f} % {s.width:4.1f}" for s in scores]
        together = float(np.sqrt(np.mean([s.rms**2 for s in scores])))
        print(f"{title:33s}" + "".join(f"{one:>24s}" for one in cells) + f"{together:10.2f}")
    print(
        f"restart in the middle: median time until within {RESTART_POINTS:.0f} points, inside the band in half an hour "
        "and in its first five minutes"
    )
    for title, told in RESTARTS.items():
        cells = [
            f"{s.median_s:4.0f} s {100 * s.coverage:3.0f} % {100 * s.coverage_first:3.0f} %"
            for s in restarts(cell, folder, told, settings)
        ]
        print(f"{title:33s}" + "".join(f"{one:>24s}" for one in cells))


def charge_window(log: vk.Log) -> tuple[int, float, float]:
    """Row before a charge begins, when it begins, and when it ends."""
    charging = np.flatnonzero(log.current_A > 0.04)
    before = int(charging[0]) - 1
    return before, float(log.time_s[before]), float(log.time_s[charging[-1]])


def charge_minutes(log: vk.Log) -> float:
    """How long a charge took."""
    _, begin_s, end_s = charge_window(log)
    return (end_s - begin_s) / 60


def charge_errors(
    cell: vk.Cell, log: vk.Log, taper: vk.TaperLearner | None = None, end_current_A: float = END_CURRENT_A
) -> list[float]:
    """Error in minutes of the time to full, asked at SHARES of the time from nothing but the log so far."""
    plan = vk.ChargePlan(
        zones=[
            vk.ChargeZone(temperature_min_degC=0.0, temperature_max_degC=45.0, current_A=2.9, voltage_V=4.2),
        ],
        end_current_A=end_current_A,
    )
    before, begin_s, end_s = charge_window(log)
    known = vk.TaperLearner(vk.TaperSettings(capacity_Ah=cell.capacity_Ah)) if taper is None else taper
    errors = []
    for share in SHARES:
        k = max(int(np.searchsorted(log.time_s, begin_s + share * (end_s - begin_s), side="right")), before + 1)
        so_far = vk.Log(log.time_s[:k], log.current_A[:k], log.voltage_V[:k], log.temperature_degC[:k])
        outlook = vk.time_to_full(cell, vk.replay(cell, so_far).end, plan, 25.0)
        known.follow(so_far, HELD_V)
        held = so_far.voltage_V[-1] > HELD_V - 0.01
        measured_A = float(so_far.current_A[-1]) if held else 0.0
        time_s = vk.learned_time(known, outlook.forecast, measured_A, end_current_A).time_s
        errors.append(float(time_s - (end_s - so_far.time_s[-1])) / 60)
    return errors


def charges(cell: vk.Cell, folder: Path) -> dict[str, dict[str, list[float]]]:
    """Errors of every way to know the resistance near full, for every charge; no charge is asked of itself."""
    logs = {name: read(folder, name) for name in CHARGES}
    raw = {name: vk.read_log(folder / name)[0] for name in CHARGES}

    def errors(log: vk.Log, rise: vk.ChargeRiseFit, taper: vk.TaperLearner | None = None) -> list[float]:
        asked = vk.parse_cell(vk.to_json(cell))
        asked.charge_rise = rise
        return charge_errors(asked, log, taper)

    def learned(completed: list[vk.Log], end_current_A: float = END_CURRENT_A) -> vk.TaperLearner:
        taper = vk.TaperLearner(vk.TaperSettings(capacity_Ah=cell.capacity_Ah))
        for charge in completed:
            taper.learn(charge, HELD_V, 1.02 * end_current_A)
        return taper

    results = {}
    for name, log in logs.items():
        others = [other for key, other in logs.items() if key != name]
        results[name] = {
            "pulse tests alone": errors(log, vk.ChargeRiseFit(resistance_ohm=0.0)),
            "and the rest after the slow charge": errors(log, cell.charge_rise),
            "and the other charge": errors(log, vk.fit_charge_rise(others, cell).rise),
            "and its taper": errors(log, vk.fit_charge_rise(others, cell).rise, learned(others)),
            "the rest alone, all currents as read": charge_errors(cell, raw[name], None, READ_END_CURRENT_A),
            "and the other charge's taper, as read": charge_errors(
                cell,
                raw[name],
                learned([other for key, other in raw.items() if key != name], READ_END_CURRENT_A),
                READ_END_CURRENT_A,
            ),
            "always guessing 100 min": [CONSTANT_GUESS_MIN - charge_minutes(log)] * len(SHARES),
        }
    return results


def main() -> int:
    parser = argparse.ArgumentParser(description="Accuracy on public data.")
    parser.add_argument("--state", action="store_true", help="the state of charge alone")
    parser.add_argument("--counting", action="store_true", help="the filter beside plain counting alone")
    parser.add_argument(
        "--cell", type=Path, metavar="FILE", help="with --state or --counting: a cell file in place of the fit"
    )
    parser.add_argument(
        "--held-out", action="store_true", help="with --state: a pulse test colder than the fit has seen"
    )
    parser.add_argument("--set", action="append", default=[], metavar="NAME=VALUE", help="a setting of the filter")
    options = parser.parse_args()
    root = os.environ.get("VOLTKEEL_DATA")
    if not root:
        print("VOLTKEEL_DATA is not set; fetch doi 10.17632/wykht8y7tg.1", file=sys.stderr)
        return 2
    folder = Path(root) / "cell_a_18650"
    if options.counting:
        counting_cell = vk.load_cell(options.cell) if options.cell else fit(folder)
        print_counting(counting_on_drives(counting_cell, folder), "public drives")
        print_counting(counting_on_truth(folder), "simulated cell, richer than the model of the filter")
        return 0
    if options.state:
        state_cell = vk.load_cell(options.cell) if options.cell else fit(folder)
        print_state(state_cell, folder)
        if options.set:
            other = vk.filter_settings(state_cell)
            for text in options.set:
                setting, value = text.split("=")
                setattr(other, setting, float(value))
            print(f"\nwith {', '.join(options.set)}")
            print_state(state_cell, folder, other)
        if options.held_out:
            far = held_out(folder)
            print(
                f"\npulse test at -10 degC, fitted to 25, 10 and 0 degC: {far.rms:.2f} rms, {far.largest:.1f} largest, "
                f"{100 * far.coverage:.0f} % inside, half width {far.width:.1f}"
            )
        return 0
    result = fit_result(folder)
    cell = result.cell
    form = result.forms[0]
    print(f"fitted capacity {cell.capacity_Ah:.3f} Ah (std {cell.capacity_Ah_std:.3f})")
    print(f"form chosen: {form.branches} branches, charge transfer: {'yes' if form.charge_transfer else 'no'}")
    print()
    fast, stated = fast_pulse_errors(folder, form)
    print("pulse test              residual")
    for fit_of, name in zip(reversed(result.pulses), PULSE_TESTS, strict=True):
        print(f"{name:22s} {1e3 * fit_of.residual_rms_V[0]:6.1f} mV")
    print_fast_pulses(fast, stated)
    print("voltage of the model alone along the drives, above 10 % SOC")
    for name, rms in voltage_rms_mV(cell, folder).items():
        print(f"{name:27s} {rms:5.1f} mV rms")
    print()
    print("drive                       told at start   rms   largest after 10 min   inside 95 % band")
    for given, title in ((True, "capacity of the reference"), (False, "fitted capacity")):
        print(f"-- {title}")
        for driven in drives(cell, folder, given):
            print(
                f"{driven.name:27s}         {100 * driven.start:5.0f} %  {driven.rms:4.2f}   "
                f"{driven.largest:20.1f}   {100 * driven.coverage:14.0f} %"
            )
    print()
    print_state(cell, folder)
    print()
    asked = "    ".join(f"{100 * share:.0f} %" for share in SHARES)
    print(f"time to full, error in minutes, asked after     {asked} of the time")
    found = charges(cell, folder)
    for name, ways in found.items():
        print(f"{name} ({charge_minutes(read(folder, name)):.0f} min)")
        for way, errors in ways.items():
            print(f"  {way:42s}" + "  ".join(f"{error:+6.1f}" for error in errors))
    print("all, rms")
    for way in next(iter(found.values())):
        rms = np.sqrt(np.mean([np.square(ways[way]) for ways in found.values()], axis=0))
        print(f"  {way:42s}" + "  ".join(f"{value:6.1f}" for value in rms))
    return 0


if __name__ == "__main__":
    sys.exit(main())

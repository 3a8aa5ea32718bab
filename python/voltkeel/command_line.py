"""The command ``voltkeel``: inspect, fit, draft, replay, limits, charge, load and simulate from a shell."""

from __future__ import annotations

import argparse
import csv
import datetime
import hashlib
import io
import itertools
import json
import math
import os
import re
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

import numpy as np

import voltkeel as vk

HELD_TOLERANCE_V = 0.01  # below its voltage a charge counts as held
CAUTION = (
    "Caution: model results for one cell, no protection. Lithium cells and high voltage can injure and kill: hardware "
    "protection, the cell maker's data sheet, local codes and qualified people come first."
)
PACK_CAUTION = CAUTION.replace("one cell", "a pack")
BAR_AFTER_S = 2.0


class _Parser(argparse.ArgumentParser):
    """Argument errors end with exit code 2 and one line that says what is wrong."""

    def error(self, message: str) -> NoReturn:
        self.exit(2, f"{self.prog}: {message}\nTry '{self.prog} --help'.\n")


@contextmanager
def _progress_bar(title: str) -> Iterator[Callable[[float, str], bool]]:
    """Give a callback ``(share, stage)`` that draws a bar on stderr once the work has lasted two seconds."""
    started = time.monotonic()
    bar: Any = None
    task: Any = None

    def update(share: float, stage: str = "") -> bool:
        nonlocal bar, task
        if bar is None and time.monotonic() - started > BAR_AFTER_S:
            from rich.console import Console
            from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

            bar = Progress(
                TextColumn("{task.description}"),
                BarColumn(),
                TextColumn("{task.percentage:>3.0f} %"),
                TimeRemainingColumn(),
                console=Console(stderr=True),
                transient=True,
            )
            bar.start()
            task = bar.add_task(title, total=1.0)
        if bar is not None:
            bar.update(task, completed=share, description=f"{title}: {stage}" if stage else title)
        return True

    try:
        yield update
    finally:
        if bar is not None:
            bar.stop()


def _number_of(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def _sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _now() -> str:
    return datetime.datetime.now(datetime.timezone.utc).isoformat(timespec="seconds")


def _write_text(path: Path, text: str) -> None:
    """Write a file that appears complete or not at all."""
    part = path.with_name(path.name + ".part")
    part.write_text(text, encoding="utf-8", newline="")
    part.replace(path)


def _write_json(path: Path, document: dict[str, Any]) -> None:
    _write_text(path, json.dumps(document, indent=2) + "\n")


def _option(name: str) -> str:
    return f"--{name.replace('_', '-')}"


def _first_given(options: argparse.Namespace, *names: str) -> str | None:
    """Give the first of some options that was given, as it is typed."""
    return next((_option(name) for name in names if getattr(options, name) is not None), None)


def _log_settings(options: argparse.Namespace) -> vk.LogReadSettings:
    """Give the settings of the mapping file, with the options put before them."""
    settings = vk.LogReadSettings() if options.mapping is None else vk.load_log_mapping(options.mapping)
    columns = settings.columns
    for role in ("time", "current", "voltage", "temperature"):
        name = getattr(options, f"{role}_column")
        if name is not None:
            setattr(columns, role, name)
    if getattr(options, "pack_voltage_column", None) is not None:
        columns.pack_voltage = options.pack_voltage_column
    settings.columns = columns
    settings.keep_missing = getattr(options, "check_sensors", False)
    if options.units_from_header:
        settings.units_from_header = True
    if options.decimal_comma:
        settings.decimal_comma = True
    if options.discharge_positive:
        settings.current_sign = vk.CurrentSign.discharge_positive
    if options.current_offset_A is not None:
        settings.current_offset_A = options.current_offset_A
    if options.log_temperature_degC is not None:
        settings.temperature_degC = options.log_temperature_degC
    if options.separator is not None:
        settings.separator = options.separator
    return settings


_UNIT_OR_SIGN = (
    vk.DataFault.current_sign,
    vk.DataFault.current_unit,
    vk.DataFault.voltage_unit,
    vk.DataFault.temperature_unit,
)


def _read_log(
    path: Path,
    options: argparse.Namespace,
    settings: vk.LogReadSettings | None = None,
    capacity_Ah: float | None = None,
) -> vk.Log:
    """Read a log and say on stderr what was odd; what was corrected or is doubtful is noted in ``options.corrections``.

    ``settings`` are those of the options if left out; a capacity that is known sharpens the checks.
    """
    log, report = vk.read_log(path, options.log_settings if settings is None else settings)
    other_names = any(column.name != column.quantity for column in report.columns)
    odd = report.findings or report.temperatures_filled or report.readings_missing or report.last_line_open
    if odd or other_names:
        print(f"{path.name}: {report.summary().strip()}", file=sys.stderr)
    checks = vk.DataCheckSettings(steps=vk.StepSettings(capacity_Ah=capacity_Ah))
    # Where readings are missing, the replay that asked for it says what came of them.
    for finding in [] if report.readings_missing else vk.check_data(log, checks, report):
        doubtful = finding.kind in _UNIT_OR_SIGN and finding.severity == vk.DataSeverity.warning
        if doubtful or finding.severity == vk.DataSeverity.error:
            print(f"{path.name}: {finding.severity.message}: {finding.text}", file=sys.stderr)
        if doubtful or (finding.kind in _UNIT_OR_SIGN and finding.severity == vk.DataSeverity.error):
            options.corrections.append(f"Doubtful: {path.name}: {finding.text}")
    if options.drop_spikes:
        corrected = vk.correct_log(log, vk.LogCorrections(drop_spikes=True))
        log = corrected.log
        for line in corrected.record:
            text = line.replace(str(path), path.name)
            options.corrections.append(text)
            print(text, file=sys.stderr)
    return log


@dataclass(frozen=True)
class _Test:
    """A log of a fit: where it is and how it is written."""

    path: Path
    settings: vk.LogReadSettings
    mapping: Path | None


def _read_as(settings: vk.LogReadSettings, mapping: Path | None) -> str:
    """Say for a provenance how a file was read."""
    by = "" if mapping is None else f"mapping {mapping.name} (SHA-256 {_sha256(mapping)})"
    return ", ".join(text for text in (by, vk.reading_in_words(settings)) if text)


def _tests_of(options: argparse.Namespace) -> dict[str, list[_Test]]:
    """Give the logs of a fit by their role: those of the options, then those of ``--tests``."""
    settings = options.log_settings
    tests = {
        role: [_Test(path, settings, options.mapping) for path in paths]
        for role, paths in (
            ("slow test", options.ocv),
            ("pulse test", options.pulses),
            ("charge", options.charges),
            ("cycles", options.cycles),
            ("heat", options.heat),
        )
    }
    if options.tests is not None:
        for file in vk.load_test_set(options.tests):
            mapping = None if file.mapping is None else Path(file.mapping)
            tests[file.role].append(_Test(Path(file.path), file.settings, mapping))
    if not tests["pulse test"]:
        raise vk.DataError("a fit needs a pulse test: --pulses FILE, or one in the set of --tests")
    for one in tests.values():
        for k, test in enumerate(one):
            for other in one[:k]:
                if _sha256(test.path) == _sha256(other.path):
                    raise vk.DataError(f"{test.path} is {other.path} once more: the same rows would count twice")
    if options.out.resolve() in {test.path.resolve() for one in tests.values() for test in one}:
        raise vk.DataError(f"--out: {options.out} is read by this command already; name another file")
    return tests


def _short_names(text: str, paths: Sequence[Path]) -> str:
    for path in paths:
        text = text.replace(str(path), path.name)
    return text


def _joined(logs: Sequence[vk.Log], say: Callable[[str], None]) -> vk.Log:
    """Join files of one test; what speaks against their order is said."""
    if len(logs) == 1:
        return logs[0]
    joined = vk.join_logs(logs)
    for doubt in vk.join_doubts(logs):
        say(doubt)
    return joined


def _age(options: argparse.Namespace) -> vk.CellAge:
    """Give the age of the cells: that of the file, with the options put before it."""
    age = vk.CellAge() if options.age is None else vk.load_cell_age(options.age)
    for name in ("capacity", "resistance"):
        scale = getattr(options, f"{name}_scale")
        if scale is not None:
            setattr(age, f"{name}_scale", scale)
            setattr(age, f"{name}_log_std", 0.0)  # told by somebody who says nothing of it
    return age


def _age_document(age: vk.CellAge) -> dict[str, float]:
    return {
        "capacity_scale": age.capacity_scale,
        "capacity_log_std": age.capacity_log_std,
        "resistance_scale": age.resistance_scale,
        "resistance_log_std": age.resistance_log_std,
    }


def _aged_group(age: vk.CellAge, state: vk.ModelState) -> vk.GroupState:
    state.resistance_scale = age.resistance_scale
    return vk.GroupState(
        state=state,
        resistance_log_std=age.resistance_log_std,
        capacity_scale=age.capacity_scale,
        capacity_log_std=age.capacity_log_std,
    )


def _mapping_document(options: argparse.Namespace) -> dict[str, str] | None:
    path: Path | None = options.mapping
    return None if path is None else {"name": path.name, "sha256": _sha256(path)}


def _print_table(title: str, columns: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    table = Table(title=title, title_justify="left", box=box.SIMPLE_HEAD)
    for k, column in enumerate(columns):
        table.add_column(column, justify="left" if k == 0 else "right")
    for row in rows:
        table.add_row(*row)
    Console(width=None if sys.stdout.isatty() else 110).print(table)


def _minutes(seconds: float) -> str:
    minutes = round(seconds / 60)
    return f"{minutes // 60} h {minutes % 60:02d} min" if minutes >= 60 else f"{minutes} min"


# ----------------------------------------------------------------------------------------------------------------------
# inspect

STEPS_SHOWN = 40


def _inspect_findings(
    logs: Sequence[vk.Log], reports: Sequence[vk.LogReport], joined: vk.Log, settings: vk.DataCheckSettings
) -> list[tuple[str, vk.DataFinding]]:
    """Give the findings of each file and, where several are one test, those that need all of it."""
    if len(logs) == 1:
        return [(Path(logs[0].source).name, found) for found in vk.check_data(logs[0], settings, reports[0])]
    alone = vk.DataCheckSettings(steps=settings.steps, gap_s=settings.gap_s)
    found = [
        (Path(log.source).name, finding)
        for log, report in zip(logs, reports, strict=True)
        for finding in vk.check_data(log, alone, report)
        if finding.kind != vk.DataFault.current_offset
    ]
    return found + [
        ("all files", finding)
        for finding in vk.check_data(joined, settings)
        if finding.kind == vk.DataFault.current_offset
    ]


def _step_document(step: vk.Step) -> dict[str, Any]:
    fields = ("first_row", "last_row", "start_time_s", "end_time_s", "duration_s", "mean_current_A", "charge_Ah")
    more = ("start_voltage_V", "end_voltage_V", "mean_temperature_degC", "rate_per_h")
    return {"kind": step.kind.name, **{name: getattr(step, name) for name in (*fields, *more)}}


def _inspect(options: argparse.Namespace) -> int:
    paths: list[Path] = options.logs
    read = [vk.read_log(path, options.log_settings) for path in paths]
    logs, reports = [log for log, _ in read], [report for _, report in read]
    doubts: list[str] = []
    joined = _joined(logs, lambda text: doubts.append(_short_names(text, paths)))
    settings = vk.DataCheckSettings(
        steps=vk.StepSettings(capacity_Ah=options.capacity_Ah),
        gap_s=options.log_settings.gap_s,
        starts_full=options.starts_full,
    )
    steps = vk.find_steps(joined, settings.steps)
    findings = _inspect_findings(logs, reports, joined, settings)
    if options.json:
        document = {
            "files": [
                {
                    "name": path.name,
                    "sha256": _sha256(path),
                    "rows": report.rows,
                    "rows_dropped": report.rows_dropped,
                    "header_line": report.header_line,
                    "columns": [
                        {"quantity": column.quantity, "name": column.name, "unit": column.unit}
                        for column in report.columns
                    ],
                    "summary": report.summary(),
                }
                for path, report in zip(paths, reports, strict=True)
            ],
            "mapping": _mapping_document(options),
            "capacity_Ah": options.capacity_Ah,
            "order": doubts,
            "steps": [_step_document(step) for step in steps],
            "findings": [
                {
                    "file": name,
                    "kind": finding.kind.name,
                    "severity": finding.severity.name,
                    "row": finding.row,
                    "line": finding.line,
                    "value": finding.value,
                    "text": finding.text,
                }
                for name, finding in findings
            ],
        }
        print(json.dumps(document, indent=2, allow_nan=False))
        return 0
    for path, log, report in zip(paths, logs, reports, strict=True):
        span = _minutes(float(log.time_s[-1] - log.time_s[0]))
        print(f"{path.name}: {span}. {report.summary().strip()}")
    _print_steps(steps, options.capacity_Ah is not None)
    print("Findings" if findings or doubts else "Findings: none")
    for doubt in doubts:
        print(f"  warning: {doubt}")
    for name, finding in findings:
        where = f"{name}: " if len(paths) > 1 else ""
        print(f"  {finding.severity.message}: {where}{finding.text}")
    return 0


def _print_steps(steps: Sequence[vk.Step], with_rate: bool) -> None:
    kinds: dict[str, list[vk.Step]] = {}
    for step in steps:
        kinds.setdefault(step.kind.message, []).append(step)
    counts = ", ".join(
        f"{len(group)} {kind} ({_minutes(sum(step.duration_s for step in group))})" for kind, group in kinds.items()
    )
    rows = [
        [
            step.kind.message,
            f"{step.start_time_s:.0f}",
            f"{step.duration_s:.1f}",
            f"{step.mean_current_A:.4g}",
            *([f"{step.rate_per_h:.3f}"] if step.rate_per_h is not None else []),
            f"{step.charge_Ah:.4f}",
            f"{step.start_voltage_V:.3f}",
            f"{step.end_voltage_V:.3f}",
            f"{step.mean_temperature_degC:.1f}",
        ]
        for step in steps[:STEPS_SHOWN]
    ]
    rate = ["C-rate"] if with_rate else []
    columns = ["step", "from s", "for s", "mean A", *rate, "Ah", "from V", "to V", "degC"]
    print(f"{_number_of(len(steps), 'step')}: {counts}")
    _print_table("Steps", columns, rows)
    if len(steps) > STEPS_SHOWN:
        print(f"... and {len(steps) - STEPS_SHOWN} more steps; --json lists them all")


# ----------------------------------------------------------------------------------------------------------------------
# fit


def _transfer_ohm(at: dict[str, float]) -> float:
    """Give the resistance of the charge transfer to small currents, 0 for a cell without it."""
    return at["transfer_scale_V"] / at["exchange_current_A"] if "transfer_scale_V" in at else 0.0


def _fit_options(options: argparse.Namespace) -> list[str]:
    """Give the options that shape a fit, for the provenance of the cell."""
    told = [
        f"{_option(name)} {value.name if isinstance(value, Path) else value}"
        for name in (
            "capacity_Ah",
            "floor_V",
            "branches",
            "tests",
            "mapping",
            "time_column",
            "current_column",
            "voltage_column",
            "temperature_column",
            "log_temperature_degC",
            "separator",
        )
        if (value := getattr(options, name)) is not None
    ]
    told += [
        _option(name)
        for name in ("linear", "discharge_positive", "decimal_comma", "units_from_header", "drop_spikes")
        if getattr(options, name)
    ]
    return [f"Options of the fit: {', '.join(told)}"] if told else []


def _entropy_text(ocv: vk.OcvCurve) -> str:
    if len(ocv.entropy_V_per_K_std) == 0:
        return "OCV with temperature: taken as the same. Pulse tests at a second temperature would tell."
    value, std = (
        1e3 * float(np.interp(0.5, ocv.soc, column)) for column in (ocv.entropy_V_per_K, ocv.entropy_V_per_K_std)
    )
    if not np.any(ocv.entropy_V_per_K):
        return f"OCV with temperature: taken as the same, to {std:.2f} mV/K. Colder tests that start full would tell."
    return f"OCV with temperature: {value:+.2f} mV/K at 50 % SOC (std {std:.2f})."


def _untested_text(noise: vk.ModelNoise) -> str:
    if noise.untested_share_std > 0.0:
        beyond = f"a drop may be off by {100 * noise.untested_share_std:.2g} % for every doubling (std)"
    else:
        beyond = "nothing tells how far the model holds: pulses of two rates would"
    return f"Tested up to {noise.tested_current_A:.3g} A; beyond, {beyond}."


def _capacity_of_slow_test(slow: vk.Log) -> float | None:
    """Give the capacity that tells whether other logs fit a slow test, none where the fit will refuse it."""
    try:
        return vk.read_slow_test(slow).capacity_Ah
    except vk.DataError:
        return None


def _heat_rows(log: vk.Log, cell: vk.Cell) -> int:
    """Give how many means of a log the fit of the warmth went by."""
    return vk.thermal_rows(log, cell) if cell.thermal.source.startswith("fitted") else 0


def _fit(options: argparse.Namespace) -> int:
    tests = _tests_of(options)
    if tests["slow test"] and (options.capacity_Ah is not None or options.floor_V is not None):
        raise vk.DataError("--capacity-Ah and --floor-V are for a fit without --ocv: a slow test tells both")

    def doubt(text: str) -> None:
        text = _short_names(text, [test.path for test in tests["slow test"]])
        print(f"warning: {text}", file=sys.stderr)
        options.corrections.append(f"Doubtful: {text}")

    slow_parts = [_read_log(test.path, options, test.settings) for test in tests["slow test"]]
    slow = _joined(slow_parts, doubt) if slow_parts else None
    capacity_Ah = _capacity_of_slow_test(slow) if slow is not None else options.capacity_Ah
    pulses, charges, cycles, warmed = (
        [_read_log(test.path, options, test.settings, capacity_Ah) for test in tests[role]]
        for role in ("pulse test", "charge", "cycles", "heat")
    )
    settings = vk.FitSettings(name=options.name or options.out.stem)
    settings.rests = vk.RestTestSettings(capacity_Ah=options.capacity_Ah, floor_voltage_V=options.floor_V)
    if options.current_offset_A or all(test.settings.current_offset_A != 0 for test in tests["pulse test"]):
        settings.pulse_offset_share_std = 0.0  # the offset is known
    if options.branches is not None:
        settings.choose_form = False
        settings.pulses = vk.PulseFitSettings(branches=options.branches, charge_transfer=not options.linear)
    with _progress_bar("Fitting") as progress:
        result = vk.fit_cell(slow, pulses, settings, progress, charges, cycles)
    cell = result.cell
    if warmed:
        cell.thermal = vk.fit_thermal([*pulses, *warmed], cell)
    provenance = cell.provenance
    provenance.made_at = _now()
    files = provenance.files
    files += [
        vk.SourceFile(
            role="heat",
            name=log.source,
            rows=len(log),
            rows_used=_heat_rows(log, cell),
            temperature_degC=float(np.median(log.temperature_degC)),
        )
        for log in warmed
    ]
    if len(slow_parts) > 1:
        joined = files[0]
        ends = np.searchsorted(result.slow.used_rows, np.cumsum([0, *(len(part) for part in slow_parts)]))
        used = [int(end - start) for start, end in itertools.pairwise(ends)]
        parts = [
            vk.SourceFile(
                role=joined.role,
                name=part.source,
                rows=len(part),
                rows_used=rows,
                temperature_degC=float(np.median(part.temperature_degC)),
                initial_soc=joined.initial_soc,
                residual_rms_V=joined.residual_rms_V,
            )
            for part, rows in zip(slow_parts, used, strict=True)
        ]
        files = [*parts, *files[1:]]
    for file in files:
        test = next(test for test in tests[file.role] if str(test.path) == file.name)
        file.sha256 = _sha256(test.path)
        file.name = test.path.name
        file.current_offset_A = test.settings.current_offset_A
        file.read_as = _read_as(test.settings, test.mapping)
    provenance.files = files
    provenance.notes = [*provenance.notes, *options.corrections, *_fit_options(options)]
    cell.provenance = provenance
    vk.save_cell(options.out, cell)
    if options.plot is not None:
        from voltkeel import plots

        plots.plot_fit(result, options.plot)

    print(
        f"{cell.name}: {cell.capacity_Ah:.3f} Ah (std {cell.capacity_Ah_std:.3f}), "
        f"{_number_of(len(pulses), 'pulse test')}"
    )
    model = vk.CellModel(cell)
    rows = []
    for fit in result.pulses:
        at = model.resistance_at(0.5, fit.temperature_degC)
        rows.append(
            [
                f"{fit.temperature_degC:.1f} degC",
                f"{1e3 * at['r0_ohm']:.1f}",
                f"{1e3 * (at['r0_ohm'] + sum(at['branch_ohm']) + _transfer_ohm(at)):.1f}",
                ", ".join(f"{branch.time_s[len(fit.soc) // 2]:.3g}" for branch in fit.branches),
                ", ".join(
                    f"{100 * soc:.1f} ({100 * std:.1f})"
                    for soc, std in zip(fit.initial_soc, fit.initial_soc_std, strict=True)
                ),
                ", ".join(f"{1e3 * rms:.1f}" for rms in fit.residual_rms_V),
                str(fit.rows_used),
            ]
        )
    _print_table(
        "Resistance at 50 % SOC, and how well each pulse test is met",
        [
            "temperature",
            "R0 mohm",
            "R dc mohm",
            "time constants s",
            "start SOC % (std)",
            "residual mV",
            "rows used",
        ],
        rows,
    )
    if result.charges is not None:
        rise = result.charges.rise
        print(
            f"Near full: {1e3 * rise.resistance_ohm:.3g} mohm more (std {1e3 * rise.resistance_ohm_std:.2g}) at 100 % "
            f"SOC, from {100 * rise.soc_start:.0f} % (std {100 * result.charges.soc_start_std:.2g}); charges met to "
            f"{', '.join(f'{1e3 * rms:.1f}' for rms in result.charges.residual_rms_V)} mV."
        )
    print(_entropy_text(cell.ocv))
    print(_untested_text(cell.noise))
    heat = cell.thermal
    print(
        f"Heat: {heat.heat_capacity_J_per_K:.3g} J/K (std {heat.heat_capacity_J_per_K_std:.2g}), "
        f"{heat.resistance_K_per_W:.3g} K/W from case to surroundings (std {heat.resistance_K_per_W_std:.2g}), "
        f"{heat.core_resistance_K_per_W:.3g} K/W from core to case (std {heat.core_resistance_K_per_W_std:.2g}); "
        f"{heat.source}."
    )
    for note in provenance.notes:
        print(f"Note: {note}")
    print(f"Wrote {options.out}")
    return 0


# ----------------------------------------------------------------------------------------------------------------------
# refine


def _refine_document(result: vk.RefineResult, options: argparse.Namespace) -> dict[str, Any]:
    def half(part: vk.RefineLog | vk.RefineResult) -> dict[str, float]:
        return {
            "fitted_before_rms_V": part.fitted_before_rms_V,
            "fitted_rms_V": part.fitted_rms_V,
            "held_out_before_rms_V": part.held_out_before_rms_V,
            "held_out_rms_V": part.held_out_rms_V,
        }

    return {
        "cell": result.cell.name,
        "improved": result.improved,
        "written": options.out.name if result.improved or options.keep_unimproved else None,
        **half(result),
        "logs": [
            {
                "name": Path(log.source).name,
                "initial_soc": log.initial_soc,
                "initial_soc_std": log.initial_soc_std,
                "block_count": log.block_count,
                "fitted_blocks": log.fitted_blocks,
                "fitted_rows": log.fitted_rows,
                "rows_used": log.rows_used,
                "held_out_rows": log.held_out_rows,
                **half(log),
            }
            for log in result.logs
        ],
        "factors": [
            {"name": factor.name, "factor": factor.factor, "log_std": factor.log_std} for factor in result.factors
        ],
        "ocv_soc": result.ocv_soc.tolist(),
        "ocv_shift_V": result.ocv_shift_V.tolist(),
        "ocv_shift_std_V": result.ocv_shift_std_V.tolist(),
        "block_s": result.block_s,
        "seed": result.seed,
        "rows_used": result.rows_used,
        "rows_per_independent_row": result.rows_per_independent_row,
        "notes": result.notes,
    }


def _print_refinement(result: vk.RefineResult) -> None:
    def row(name: str, part: vk.RefineLog | vk.RefineResult) -> list[str]:
        numbers = (part.fitted_before_rms_V, part.fitted_rms_V, part.held_out_before_rms_V, part.held_out_rms_V)
        return [name, *(f"{1e3 * rms:.1f}" for rms in numbers)]

    rows = [[*row(Path(log.source).name, log), f"{100 * log.initial_soc:.1f}"] for log in result.logs]
    if len(result.logs) > 1:
        rows.append([*row("all", result), ""])
    _print_table(
        f"Model against log, mV rms, in blocks of {result.block_s / 60:g} min (seed {result.seed})",
        ["log", "fitted: before", "after", "held out: before", "after", "start SOC %"],
        rows,
    )
    _print_table(
        "Factors on the cell, with the standard deviation of their logarithm",
        ["of", "factor", "std"],
        [[factor.name, f"{factor.factor:.3f}", f"{factor.log_std:.3f}"] for factor in result.factors],
    )
    shifts = zip(result.ocv_soc, result.ocv_shift_V, result.ocv_shift_std_V, strict=True)
    print(
        "OCV shift: "
        + ", ".join(f"{1e3 * shift:+.1f} mV (std {1e3 * std:.1f}) at {100 * soc:.0f} %" for soc, shift, std in shifts)
    )
    for note in result.notes:
        print(f"Note: {note}")


def _refine(options: argparse.Namespace) -> int:
    cell = vk.load_cell(options.cell)
    logs = [_read_log(path, options) for path in options.logs]
    settings = vk.RefineSettings(
        initial_soc=options.initial_soc,
        initial_soc_std=options.initial_soc_std,
        block_min=options.block_min,
        seed=options.seed,
        keep_unimproved=options.keep_unimproved,
    )
    with _progress_bar("Refining") as progress:
        result = vk.refine_cell(cell, logs, settings, progress)
    write = result.improved or options.keep_unimproved
    if write:
        refined = result.cell
        provenance = refined.provenance
        provenance.made_at = _now()
        known = len(provenance.files) - len(logs)
        files = provenance.files
        for file, path in zip(files[known:], options.logs, strict=True):
            file.name = path.name
            file.sha256 = _sha256(path)
            file.current_offset_A = options.log_settings.current_offset_A
            file.read_as = _read_as(options.log_settings, options.mapping)
        provenance.files = files
        names = {str(path): path.name for path in options.logs}
        notes = provenance.notes
        for long, short in names.items():
            notes[-1] = notes[-1].replace(long, short)
        from_note = f"Refined from {options.cell.name}, SHA-256 {_sha256(options.cell)}."
        provenance.notes = [*notes, from_note, *options.corrections]
        refined.provenance = provenance
        vk.save_cell(options.out, refined)
    if options.json:
        print(json.dumps(_refine_document(result, options), indent=2))
        return 0
    _print_refinement(result)
    print(f"Wrote {options.out}" if write else f"Nothing written: {options.cell.name} stands")
    return 0


# ----------------------------------------------------------------------------------------------------------------------
# draft


def _draft(options: argparse.Namespace) -> int:
    def ohm(milliohm: float) -> float:
        return milliohm * 1e-3

    sheet = vk.DataSheet(
        name=options.name or options.out.stem,
        chemistry=getattr(vk.Chemistry, options.chemistry),
        capacity_Ah=options.capacity_Ah,
        resistance_ac_ohm=ohm(options.resistance_ac_mohm),
        resistance_dc_ohm=ohm(options.resistance_dc_mohm),
        dc_pulse_s=options.dc_pulse_s,
        voltage_min_V=options.voltage_min_V,
        voltage_max_V=options.voltage_max_V,
        charge_current_A=options.charge_A,
        charge_current_max_A=options.max_charge_A,
        discharge_current_max_A=options.max_discharge_A,
        end_current_A=options.end_current_A,
        mass_kg=options.mass_kg,
    )
    if options.charge_temperature_degC is not None:
        sheet.charge_temperature_min_degC, sheet.charge_temperature_max_degC = options.charge_temperature_degC
    if options.discharge_temperature_degC is not None:
        sheet.discharge_temperature_min_degC, sheet.discharge_temperature_max_degC = options.discharge_temperature_degC
    cell = vk.cell_from_data_sheet(sheet)
    provenance = cell.provenance
    provenance.made_at = _now()
    cell.provenance = provenance
    vk.save_cell(options.out, cell)
    print(f"{cell.name}: {cell.capacity_Ah:.3f} Ah (std {cell.capacity_Ah_std:.3f}), {provenance.method}")
    for note in provenance.notes:
        print(f"Note: {note}")
    print(f"Wrote {options.out}")
    print(CAUTION)
    return 0


# ----------------------------------------------------------------------------------------------------------------------
# replay


def _provenance_path(out: Path) -> Path:
    return out.with_name(out.stem + ".provenance.json")


def _has_groups(options: argparse.Namespace) -> bool:
    """Say whether the log has a voltage for each group; a name of one column asks for that one alone."""
    name: str | None = options.voltage_column
    if name is not None and "{}" not in name:
        return False
    settings: vk.LogReadSettings = options.log_settings
    return "{}" in settings.columns.voltage or vk.group_column_count(options.log, settings) > 0


def _read_group_log(path: Path, options: argparse.Namespace) -> vk.GroupLog:
    """Read a log of groups and say on stderr what was odd."""
    if options.drop_spikes:
        raise vk.DataError("--drop-spikes is for a log of one voltage: of groups, single readings are refused")
    log, report = vk.read_group_log(path, options.log_settings)
    other_names = any(column.name != column.quantity for column in report.columns)
    odd = report.findings or report.temperatures_filled or report.readings_missing or report.last_line_open
    if odd or other_names:
        print(f"{path.name}: {report.summary().strip()}", file=sys.stderr)
    return log


def _replay_document(options: argparse.Namespace, rows: int, trace: vk.SocTrace) -> dict[str, Any]:
    source: Path = options.cell if options.cell is not None else options.pack
    return {
        "made_by": f"voltkeel {vk.__version__}",
        "made_at": _now(),
        "log": {"name": options.log.name, "sha256": _sha256(options.log), "rows": rows},
        "cell" if options.cell is not None else "pack": {"name": source.name, "sha256": _sha256(source)},
        "mapping": _mapping_document(options),
        "corrections": options.corrections,
        "current_offset_A": options.log_settings.current_offset_A,
        "initial_soc": options.initial_soc,
        "initial_soc_std": options.initial_soc_std if options.initial_soc is not None else None,
        "age": _age_document(options.known_age),
        "sensors": _sensor_replay(options).use.name,
        "sensor_faults": [
            {
                "name": fault.bit.name,
                "rows": fault.rows,
                "times": fault.times,
                "first_s": fault.first_s,
                "last_s": fault.last_s,
            }
            for fault in vk.sensor_faults(trace)
        ],
        "update_count": trace.update_count,
        "rejected_count": trace.rejected_count,
        "reset_count": trace.reset_count,
        "warnings": _doubts(trace),
    }


def _sensor_replay(options: argparse.Namespace) -> vk.SensorReplay:
    return vk.SensorReplay(use=vk.SensorUse.replaced if options.check_sensors else vk.SensorUse.named)


def _print_sensor_faults(options: argparse.Namespace, trace: vk.SocTrace) -> None:
    """Say which sensors showed what cannot be, and what became of it."""
    faults = vk.sensor_faults(trace)
    if not faults:
        return
    _print_table(
        "Sensors that showed what cannot be",
        ["fault", "from s", "to s", "times", "share of rows %"],
        [
            [
                fault.bit.name.replace("_", " "),
                f"{fault.first_s:.0f}",
                f"{fault.last_s:.0f}",
                str(fault.times),
                f"{100 * fault.rows / len(trace):.2g}",
            ]
            for fault in faults
        ],
    )
    if options.check_sensors:
        print("The filter had the best that is known in their place.")
    else:
        print("The filter had the log as it stands; --check-sensors gives it the best that is known in their place.")


def _doubts(trace: vk.SocTrace) -> list[str]:
    """Say where a voltage fits the cell so badly that its SOC is not to be believed: common practice, no source."""
    tried = trace.update_count + trace.rejected_count
    innovation_V = float(np.sqrt(np.mean(np.square(trace.innovation_V))))
    if trace.reset_count < 3 and trace.rejected_count <= 0.2 * tried and innovation_V < 0.5:
        return []
    return [
        "the voltage of this log does not fit this cell, do not believe the SOC. Look at the units, the sign of the "
        "current (--discharge-positive), the capacity and the cell file; voltkeel inspect looks at the log itself."
    ]


def _print_replay(options: argparse.Namespace, trace: vk.SocTrace, soc_text: str, more: str = "") -> None:
    time_s = trace.time_s
    innovation = float(np.sqrt(np.mean(np.square(trace.innovation_V))))
    print(f"{options.log.name}: {len(time_s)} rows over {_minutes(float(time_s[-1] - time_s[0]))}{more}")
    print(soc_text)
    print(f"Resistance {trace.end.resistance_scale:.2f} of the tested cell's")
    print(
        f"Voltage fused {trace.update_count} times, refused {trace.rejected_count}, resets {trace.reset_count}; "
        f"measured minus predicted {1e3 * innovation:.1f} mV rms"
    )
    _print_sensor_faults(options, trace)
    for line in _doubts(trace):
        print(f"Warning: {line}")


def _group_faults(trace: vk.GroupTrace, group: int) -> str:
    """Say what was wrong with a group's voltage along the log, and for how much of it."""
    bits = int(np.bitwise_or.reduce(trace.fault_bits[:, group]))
    names = [bit.name for bit in vk.GroupFaultBit.__members__.values() if bits & int(bit)]
    if not names:
        return "none"
    share = 100 * int(trace.coasted[group]) / max(1, trace.looked)
    return f"{', '.join(names)}; not used {share:.2g} %"


GROUPS_SHOWN = 8


def _print_groups(trace: vk.GroupTrace) -> None:
    soc = np.array([group.state.soc for group in trace.end])
    scale = np.array([group.state.resistance_scale for group in trace.end])
    shown = {"emptiest": int(soc.argmin()), "fullest": int(soc.argmax()), "most resistance": int(scale.argmax())}
    faulty = [k for k in range(trace.groups) if trace.fault_bits[:, k].any()]
    rows = list(shown.items())
    rows += [("with faults", k) for k in faulty[:GROUPS_SHOWN]]
    _print_table(
        f"Groups at the end, {100 * (soc.max() - soc.min()):.1f} points from the emptiest to the fullest",
        ["", "group", "SOC %", "+- (95 %)", "resistance", "faults"],
        [
            [
                name,
                str(trace.first_number + k),
                f"{100 * soc[k]:.1f}",
                f"{196 * trace.end[k].state.soc_std:.1f}",
                f"{scale[k]:.2f}",
                _group_faults(trace, k),
            ]
            for name, k in rows
        ],
    )
    if len(faulty) > GROUPS_SHOWN:
        print(f"{len(faulty) - GROUPS_SHOWN} more groups with faults stand in the files.")


def _print_drifts(trace: vk.GroupTrace) -> None:
    """Say which groups lose charge against the others, or hold more or less, beyond doubt."""
    a_day = 24  # looks: less may be a lasting error of the model
    for group, drift in enumerate(trace.drift):
        if drift.looks < a_day:
            continue
        number = trace.first_number + group
        if abs(drift.soc_per_day) > 3 * drift.soc_per_day_std:
            way = "loses" if drift.soc_per_day < 0 else "gains"
            print(
                f"Group {number} {way} {100 * abs(drift.soc_per_day):.2g} points a day against the others "
                f"(std {100 * drift.soc_per_day_std:.1g})"
            )
        if abs(drift.capacity_share) > 3 * drift.capacity_share_std:
            way = "less" if drift.capacity_share < 0 else "more"
            print(
                f"Group {number} holds {100 * abs(drift.capacity_share):.2g} % {way} than the others "
                f"(std {100 * drift.capacity_share_std:.1g})"
            )


def _groups_path(out: Path) -> Path:
    return out.with_name(f"{out.stem}.groups{out.suffix or '.csv'}")


def _capacity_now_Ah(options: argparse.Namespace, cell: vk.Cell) -> float:
    told: float | None = options.capacity_Ah
    return told if told is not None else vk.aged_cell(cell, options.known_age).capacity_Ah


def _write_age(options: argparse.Namespace, cell: vk.Cell, log: vk.Log) -> None:
    """Write what the log shows of the cell's age, and say it."""
    known = options.known_age
    if options.capacity_Ah is not None:
        known.capacity_scale, known.capacity_log_std = options.capacity_Ah / cell.capacity_Ah, 0.0
    found = vk.age_of_log(
        cell, log, initial_soc=options.initial_soc, initial_soc_std=options.initial_soc_std, age=known
    )
    age = found.age
    age.notes = [
        *age.notes,
        f"{options.log.name}: {_number_of(found.rests, 'rest')}, {_number_of(found.full_charges, 'charge')} to full, "
        f"{found.resistance_looks} looks at the resistance",
    ]
    vk.save_cell_age(options.age_out, age)
    times = "once" if found.capacity_intervals == 1 else f"{found.capacity_intervals} times"
    if found.capacity_intervals > 0:
        now_Ah = age.capacity_scale * cell.capacity_Ah
        print(
            f"Capacity {now_Ah:.4g} Ah (std {age.capacity_log_std * now_Ah:.2g}), {age.capacity_scale:.3f} of the "
            f"tested cell's, seen {times} between rests and ends of charges"
        )
    else:
        print("Capacity as before: the log has no two rests or ends of charges with enough charge in between")
    if found.resistance_looks > 0:
        scale, std = age.resistance_scale, age.resistance_scale * age.resistance_log_std
        print(f"Resistance by age {scale:.3f} of the tested cell's (std {std:.2g})")
    else:
        print("Resistance by age as before: the log is too short")


def _replay_groups(options: argparse.Namespace) -> int:
    if options.age_out is not None:
        raise vk.DataError("--age-out is for a log of one voltage")
    source: vk.Cell | vk.Pack = vk.load_cell(options.cell) if options.cell is not None else vk.load_pack(options.pack)
    log = _read_group_log(options.log, options)
    given: dict[str, Any] = {
        "initial_soc": options.initial_soc,
        "initial_soc_std": options.initial_soc_std,
        "capacity_Ah": options.capacity_Ah,
        "age": options.known_age,
        "sensors": _sensor_replay(options),
    }
    with _progress_bar("Replaying") as progress:
        given["progress"] = lambda share: progress(share, "")
        if isinstance(source, vk.Pack):
            if options.parallel is not None:
                raise vk.DataError("--parallel is for --cell: the pack file says it")
            trace = vk.replay_groups(source, log, **given)
        else:
            trace = vk.replay_groups(source, log, parallel=options.parallel or 1, **given)
    groups_out = _groups_path(options.out)
    vk.write_group_trace(options.out, groups_out, trace)
    cell = source.modules[0].cell if isinstance(source, vk.Pack) else source
    document = _replay_document(options, len(log), trace.reference)
    document["capacity_Ah"] = _capacity_now_Ah(options, cell)
    document["groups"] = {
        "count": trace.groups,
        "first_number": trace.first_number,
        "looked": trace.looked,
        "coasted": [int(count) for count in trace.coasted],
        "reset_count": trace.group_reset_count,
        "soc": [group.state.soc for group in trace.end],
        "soc_std": [group.state.soc_std for group in trace.end],
        "resistance_scale": [group.state.resistance_scale for group in trace.end],
        "drift": [
            {
                "soc_per_day": drift.soc_per_day,
                "soc_per_day_std": drift.soc_per_day_std,
                "capacity_share": drift.capacity_share,
                "capacity_share_std": drift.capacity_share_std,
                "looks": drift.looks,
            }
            for drift in trace.drift
        ],
    }
    _write_json(_provenance_path(options.out), document)
    if options.plot is not None:
        from voltkeel import plots

        plots.plot_group_replay(log, trace, options.plot)
    end = trace.reference.end
    _print_replay(
        options,
        trace.reference,
        f"SOC at the end, mean of the groups, {100 * end.soc:.1f} % +- {196 * end.soc_std:.1f} (95 %)",
        f", {trace.groups} groups",
    )
    _print_groups(trace)
    _print_drifts(trace)
    print(f"Wrote {options.out} and {groups_out}")
    return 0


def _replay(options: argparse.Namespace) -> int:
    if _has_groups(options):
        return _replay_groups(options)
    if options.pack is not None or options.parallel is not None:
        option = "--pack" if options.pack is not None else "--parallel"
        raise vk.DataError(f"{option}: {options.log} has no voltages of groups, such as columns voltage_1_V and so on")
    cell = vk.load_cell(options.cell)
    log = _read_log(options.log, options)
    with _progress_bar("Replaying") as progress:
        trace = vk.replay(
            cell,
            log,
            initial_soc=options.initial_soc,
            initial_soc_std=options.initial_soc_std,
            capacity_Ah=options.capacity_Ah,
            age=options.known_age,
            sensors=_sensor_replay(options),
            progress=lambda share: progress(share, ""),
        )
    vk.write_trace(options.out, trace)
    document = _replay_document(options, len(log), trace)
    document["capacity_Ah"] = _capacity_now_Ah(options, cell)
    _write_json(_provenance_path(options.out), document)
    if options.plot is not None:
        from voltkeel import plots

        plots.plot_replay(log, trace, options.plot)
    band = 100 * 1.96 * trace.end.soc_std
    _print_replay(options, trace, f"SOC at the end {100 * trace.end.soc:.1f} % +- {band:.1f} (95 %)")
    if options.age_out is not None:
        _write_age(options, cell, log)
    print(f"Wrote {options.out}")
    return 0


# ----------------------------------------------------------------------------------------------------------------------
# limits


_REASON_UNIT = {"voltage": " V", "soc": "", "temperature": " degC"}
_CONTINUOUS = float("inf")


def _horizon_text(horizon_s: float) -> str:
    return "continuous" if math.isinf(horizon_s) else f"{horizon_s:g} s"


def _horizon_document(horizon_s: float) -> float | str:
    return "continuous" if math.isinf(horizon_s) else horizon_s


def _direction_document(limit: vk.DirectionLimit | vk.PackDirectionLimit, pack: vk.Pack | None) -> dict[str, Any]:
    document = {
        "current_A": limit.current_A,
        "power_W": limit.power_W,
        "end_voltage_V": limit.end_voltage_V,
        "reason": limit.reason.name,
        "binding_value": limit.binding_value,
    }
    if pack is not None and isinstance(limit, vk.PackDirectionLimit):
        document["string"] = pack.strings[limit.string].name if limit.string >= 0 else None
        document["group"] = _group_of_string(limit, pack)
    return document


def _group_of_string(limit: vk.PackDirectionLimit, pack: vk.Pack) -> int | None:
    """Count from 0 within the string, as the pack file does."""
    if limit.group < 0:
        return None
    return limit.group - sum(vk.group_count(pack, string) for string in pack.strings[: limit.string])


def _reason_text(limit: vk.DirectionLimit | vk.PackDirectionLimit, pack: vk.Pack | None = None) -> str:
    name = limit.reason.name
    words = {"maker_table": "maker's table", "soc": "SOC", "none": "none found", "driver": "ceiling"}.get(name, name)
    text = f"{words} {limit.binding_value:.4g}{_REASON_UNIT.get(name, ' A')}"
    if pack is None or not isinstance(limit, vk.PackDirectionLimit) or limit.string < 0:
        return text
    group = _group_of_string(limit, pack)
    place = pack.strings[limit.string].name
    return f"{text}, {place}" if group is None else f"{text}, group {group} of {place}"


def _per_group(values: list[float], count: int, option: str) -> list[float]:
    """Give one value for all groups, or one for each."""
    if len(values) not in (1, count):
        raise vk.DataError(f"{option}: has {len(values)} values, needs 1 or one for each of {count} groups")
    return values * count if len(values) == 1 else values


def _limits_state(options: argparse.Namespace, soc: float, temperature_degC: float) -> vk.ModelState:
    return vk.ModelState(
        soc=soc,
        soc_std=options.soc_std,
        temperature_degC=temperature_degC,
        resistance_scale=options.known_age.resistance_scale,
    )


def _cell_limit_settings(soc_std: float, sigmas: float = 2.0) -> vk.LimitSettings:
    settings = vk.PackLimitSettings().search
    settings.soc_margin = sigmas * soc_std
    return settings


def _flag_groups(options: argparse.Namespace, groups: list[vk.GroupState]) -> None:
    """Flag the sensors of groups, counted from 0 over all strings of the pack."""
    for name in ("voltage_flagged", "temperature_flagged"):
        for group in getattr(options, name) or []:
            if group >= len(groups):
                raise vk.DataError(f"{_option(name)}: {group} is outside 0 .. {len(groups) - 1}")
            setattr(groups[group], name, True)


def _torque_drive(options: argparse.Namespace) -> vk.TorqueDrive | None:
    if options.speed_rad_s is None:
        unused = _first_given(
            options, "torque_max_Nm", "drive_power_max_W", "efficiency", "regeneration_efficiency", "auxiliary_W"
        )
        if unused is not None:
            raise vk.DataError(f"{unused} tells of a drive: give --speed-rad-s as well")
        return None
    if options.torque_max_Nm is None:
        raise vk.DataError("--speed-rad-s asks for a torque: give --torque-max-Nm, the most that the drive gives")
    drive = vk.TorqueDrive(torque_max_Nm=options.torque_max_Nm)
    for name, value in (
        ("power_max_W", options.drive_power_max_W),
        ("efficiency", options.efficiency),
        ("regeneration_efficiency", options.regeneration_efficiency),
        ("auxiliary_W", options.auxiliary_W),
    ):
        if value is not None:
            setattr(drive, name, value)
    return drive


def _torque_document(torque: vk.TorqueLimit) -> dict[str, Any]:
    return {
        "motoring_Nm": torque.motoring_Nm,
        "regeneration_Nm": torque.regeneration_Nm,
        "highest_Nm": torque.highest_Nm,
        "lowest_Nm": torque.lowest_Nm,
        "motoring_by_pack": torque.motoring_by_pack,
        "regeneration_by_pack": torque.regeneration_by_pack,
    }


def _limits_map(
    options: argparse.Namespace, source: vk.Cell | vk.Pack, parts: list[vk.PackPart], settings: vk.LimitSettings
) -> vk.LimitMap:
    soc = [k / 50 for k in range(51)]
    temperature_degC = [2.5 * k - 30 for k in range(37)]
    state = _limits_state(options, 0.5, 25.0)
    horizon_s = options.horizon_s[0] if options.horizon_s else 10.0
    if isinstance(source, vk.Pack):
        group = _aged_group(options.known_age, state)
        pack_settings = vk.PackLimitSettings(sigmas=options.sigmas)
        return vk.limit_map(source, soc, temperature_degC, horizon_s, group, parts, pack_settings)
    return vk.limit_map(source, soc, temperature_degC, horizon_s, state, settings)


def _write_rows(path: Path, columns: dict[str, Sequence[object]]) -> None:
    """Write columns of numbers (six digits) and words."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    for row in zip(*columns.values(), strict=True):
        writer.writerow([f"{value:.6g}" if isinstance(value, float) else value for value in row])
    _write_text(path, text.getvalue())


def _write_map(path: Path, found: vk.LimitMap) -> None:
    rows = [(degC, s) for degC in found.temperature_degC for s in found.soc]
    _write_rows(
        path,
        {
            "temperature_degC": [float(degC) for degC, _ in rows],
            "soc": [float(s) for _, s in rows],
            "charge_A": found.charge_A.ravel().tolist(),
            "discharge_A": found.discharge_A.ravel().tolist(),
            "charge_W": found.charge_W.ravel().tolist(),
            "discharge_W": found.discharge_W.ravel().tolist(),
            "charge_reason": [reason.name for row in found.charge_reason for reason in row],
            "discharge_reason": [reason.name for row in found.discharge_reason for reason in row],
        },
    )


def _map_document(name: str, pack: vk.Pack | None, found: vk.LimitMap) -> dict[str, Any]:
    return {
        "cell" if pack is None else "pack": name,
        "horizon_s": _horizon_document(found.horizon_s),
        "temperature_degC": found.temperature_degC.tolist(),
        "soc": found.soc.tolist(),
        "charge_A": found.charge_A.tolist(),
        "discharge_A": found.discharge_A.tolist(),
        "charge_W": found.charge_W.tolist(),
        "discharge_W": found.discharge_W.tolist(),
        "charge_reason": [[reason.name for reason in row] for row in found.charge_reason],
        "discharge_reason": [[reason.name for reason in row] for row in found.discharge_reason],
        "caution": CAUTION,
    }


def _write_limits(
    path: Path,
    limits: Sequence[vk.HorizonLimit] | Sequence[vk.PackHorizonLimit],
    pack: vk.Pack | None,
    torques: Sequence[vk.TorqueLimit],
) -> None:
    columns: dict[str, Sequence[object]] = {"horizon_s": [_horizon_document(limit.horizon_s) for limit in limits]}
    for way in ("charge", "discharge"):
        found = [_direction_document(getattr(limit, way), pack) for limit in limits]
        columns[f"{way}_A"] = [one["current_A"] for one in found]
        columns[f"{way}_W"] = [one["power_W"] for one in found]
        columns[f"{way}_reason"] = [one["reason"] for one in found]
        columns[f"{way}_binding_value"] = [one["binding_value"] for one in found]
        if pack is not None:
            columns[f"{way}_string"] = [one["string"] for one in found]
            columns[f"{way}_group"] = [one["group"] for one in found]
    if torques:
        for name in _torque_document(torques[0]):
            columns[name] = [_torque_document(torque)[name] for torque in torques]
    _write_rows(path, columns)


def _limits(options: argparse.Namespace) -> int:
    age: vk.CellAge = options.known_age
    source: vk.Cell | vk.Pack = (
        vk.aged_cell(vk.load_cell(options.cell), age) if options.cell is not None else vk.load_pack(options.pack)
    )
    pack = source if isinstance(source, vk.Pack) else None
    if pack is None and (options.ceiling_A or options.parts):
        raise vk.DataError("--ceiling-A and --parts are for --pack")
    of_pack = _first_given(options, "voltage_flagged", "temperature_flagged", "speed_rad_s")
    if pack is None and (of_pack is not None or options.current_flagged):
        raise vk.DataError(f"{of_pack or '--current-flagged'} is for --pack")
    drive = _torque_drive(options)
    parts = [] if options.parts is None else vk.load_pack_parts(options.parts)
    if options.ceiling_A is not None:
        ceiling = vk.PackPart(kind=vk.LimitReason.driver, charge_A=options.ceiling_A, discharge_A=options.ceiling_A)
        parts.append(ceiling)
    # A pack takes the standard deviations by itself. A cell's limits end as softly as a pack's.
    settings = _cell_limit_settings(options.soc_std, options.sigmas)
    if options.map is not None:
        from voltkeel import plots

        found = _limits_map(options, source, parts, settings)
        plots.plot_limit_map(found, options.map, source.name)
        print(f"Wrote {options.map}", file=sys.stderr)
        if options.soc is None and options.temperature_degC is None:
            alone = _first_given(options, "voltage_flagged", "temperature_flagged", "speed_rad_s")
            if alone is not None or options.current_flagged:
                raise vk.DataError(f"{alone or '--current-flagged'} is of the limits now: give --soc as well")
            if options.csv is not None:
                _write_map(options.csv, found)
                print(f"Wrote {options.csv}", file=sys.stderr)
            if options.json:
                print(json.dumps(_map_document(source.name, pack, found), indent=2))
            return 0
    if options.soc is None or options.temperature_degC is None:
        raise vk.DataError("--soc and --temperature-degC are both needed, but for a map alone")
    horizons_s = sorted(set(options.horizon_s or [2.0, 10.0, 30.0, _CONTINUOUS]))
    limits: Sequence[vk.HorizonLimit] | Sequence[vk.PackHorizonLimit]
    if isinstance(source, vk.Pack):
        count = vk.group_count(source)
        soc = _per_group(options.soc, count, "--soc")
        temperature_degC = _per_group(options.temperature_degC, count, "--temperature-degC")
        groups = [
            _aged_group(age, _limits_state(options, s, degC)) for s, degC in zip(soc, temperature_degC, strict=True)
        ]
        _flag_groups(options, groups)
        careful = vk.PackLimitSettings(every_group=True, sigmas=options.sigmas)
        limits = vk.pack_limits(source, groups, horizons_s, parts, careful, options.current_flagged)
    else:
        soc = _per_group(options.soc, 1, "--soc")
        temperature_degC = _per_group(options.temperature_degC, 1, "--temperature-degC")
        limits = vk.current_limits(source, _limits_state(options, soc[0], temperature_degC[0]), horizons_s, settings)
    each: list[vk.HorizonLimit | vk.PackHorizonLimit] = [*limits]
    torques = (
        []
        if drive is None
        else [
            vk.torque_limits(drive, limit.charge.power_W, limit.discharge.power_W, options.speed_rad_s)
            for limit in limits
        ]
    )
    if options.csv is not None:
        _write_limits(options.csv, limits, pack, torques)
        print(f"Wrote {options.csv}", file=sys.stderr)
    if options.json:
        alike = len(set(soc)) == 1 and len(set(temperature_degC)) == 1
        document = {
            "cell" if pack is None else "pack": source.name,
            "soc": soc[0] if alike else soc,
            "temperature_degC": temperature_degC[0] if alike else temperature_degC,
            "resistance_scale": age.resistance_scale,
            "capacity_scale": age.capacity_scale,
            "sigmas": options.sigmas,
            "speed_rad_s": options.speed_rad_s,
            "horizons": [
                {
                    "horizon_s": _horizon_document(limit.horizon_s),
                    "charge": _direction_document(limit.charge, pack),
                    "discharge": _direction_document(limit.discharge, pack),
                    **({"torque": _torque_document(torques[k])} if torques else {}),
                }
                for k, limit in enumerate(each)
            ],
            "caution": CAUTION,
        }
        print(json.dumps(document, indent=2))
        return 0

    def span(values: Sequence[float], form: str) -> str:
        low, high = format(min(values), form), format(max(values), form)
        return low if low == high else f"{low} to {high}"

    percent = span([100 * s for s in soc], ".0f")
    whose = "one cell" if pack is None else "the pack"
    _print_table(
        f"{source.name} at {percent} % SOC and {span(temperature_degC, 'g')} degC: allowed for {whose}",
        ["for", "charge A", "W", "because of", "discharge A", "W", "because of"],
        [
            [
                _horizon_text(limit.horizon_s),
                f"{limit.charge.current_A:.2f}",
                f"{limit.charge.power_W:.1f}",
                _reason_text(limit.charge, pack),
                f"{limit.discharge.current_A:.2f}",
                f"{limit.discharge.power_W:.1f}",
                _reason_text(limit.discharge, pack),
            ]
            for limit in limits
        ],
    )
    if torques:
        _print_table(
            f"Torque at {options.speed_rad_s:g} rad/s",
            ["for", "motoring Nm", "because of", "regeneration Nm", "because of"],
            [
                [
                    _horizon_text(limit.horizon_s),
                    f"{torque.motoring_Nm:.2f}",
                    "the pack" if torque.motoring_by_pack else "the drive",
                    f"{torque.regeneration_Nm:.2f}",
                    "the pack" if torque.regeneration_by_pack else "the drive",
                ]
                for limit, torque in zip(each, torques, strict=True)
            ],
        )
    print(CAUTION)
    return 0


# ----------------------------------------------------------------------------------------------------------------------
# charge


def _full_V(cell: vk.Cell) -> float:
    """Open-circuit voltage at 100 % SOC, between both branches."""
    return 0.5 * float(cell.ocv.discharge_V[-1] + cell.ocv.charge_V[-1])


def _rested_soc(cell: vk.Cell, voltage_V: float) -> float:
    """SOC at which the open-circuit voltage, between both branches, first comes to a voltage."""
    middle_V = np.maximum.accumulate(0.5 * (cell.ocv.discharge_V + cell.ocv.charge_V))
    return float(np.interp(voltage_V, middle_V, cell.ocv.soc))


def _end_soc(soc: float, cell: vk.Cell, plan: vk.ChargePlan) -> float:
    """Give the SOC at the end of a charge, 100 % at most: a plan may hold more than the voltage of a full cell."""
    if soc > 1.0005:
        print(
            f"Note: the plan's {max(zone.voltage_V for zone in plan.zones):g} V is above the {_full_V(cell):.3f} V of "
            f"{cell.name} at 100 % SOC: it puts in {100 * (soc - 1):.1f} % more than the tested capacity.",
            file=sys.stderr,
        )
    return min(soc, 1.0)


def _charge_plan(
    cell: vk.Cell, options: argparse.Namespace, current_A: float | None, quiet: bool = False
) -> vk.ChargePlan:
    """Give the cell's plan with the asked current in its full-current zones; gentler zones stay gentler."""
    plan = cell.charge
    if options.plan is not None:
        if current_A is not None or options.end_current_A is not None or options.voltage_V is not None:
            raise vk.DataError("--plan says it all: leave out --current-A, --voltage-V and --end-current-A")
        described = vk.load_charge_plan(options.plan)
        if not quiet:
            print(f"Note: plan {described.name}. {described.source}", file=sys.stderr)
        plan = vk.plan_for(described, cell.capacity_Ah)
        highest_V = max(zone.voltage_V for zone in plan.zones)
        if highest_V > cell.window.voltage_max_V + 1e-4:
            raise vk.DataError(
                f"{options.plan}: {highest_V:g} V is above the {cell.window.voltage_max_V:g} V of the window of "
                f"{cell.name}"
            )
        rested_soc = _rested_soc(cell, highest_V)
        if rested_soc < 0.5:
            raise vk.DataError(
                f"{options.plan}: {highest_V:g} V is the open-circuit voltage of {cell.name} at "
                f"{100 * rested_soc:.0f} % SOC, full is {_full_V(cell):.2f} V: the plan is for another chemistry"
            )
        if rested_soc < 0.95 and not quiet:
            print(
                f"Note: the plan's {highest_V:g} V is the open-circuit voltage of {cell.name} at "
                f"{100 * rested_soc:.0f} % SOC; what it calls full is not much more.",
                file=sys.stderr,
            )
        return plan
    if current_A is not None:
        zones = plan.zones
        full_A = max(zone.current_A for zone in zones)
        if current_A > full_A * 1.001 and not quiet:
            print(
                f"Note: {current_A:g} A is more than the {full_A:.2f} A of the cell's charge plan.",
                file=sys.stderr,
            )
        for zone in zones:
            zone.current_A = current_A if zone.current_A >= full_A * 0.999 else min(zone.current_A, current_A)
        plan.zones = zones
    if options.voltage_V is not None:
        most_V = cell.window.voltage_max_V
        if options.voltage_V > most_V:
            raise vk.DataError(f"--voltage-V: {options.voltage_V:g} is above the {most_V:g} V of the cell's window")
        zones = plan.zones
        full_V = max(zone.voltage_V for zone in zones)
        for zone in zones:
            whole = zone.voltage_V >= full_V - 1e-4
            zone.voltage_V = options.voltage_V if whole else min(zone.voltage_V, options.voltage_V)
        plan.zones = zones
    if options.end_current_A is not None:
        plan.end_current_A = options.end_current_A
    return plan


def _note_limits(limit: vk.DirectionLimit | vk.PackDirectionLimit, start_A: float, pack: vk.Pack | None = None) -> None:
    """Say when a forecast begins with more than the limits let in: a forecast follows the plan."""
    if start_A > 1.02 * limit.current_A + 0.01:
        print(
            f"Note: the limits let in {limit.current_A:.3g} A now ({_reason_text(limit, pack)}); this is the plan's "
            f"charge, which begins with {start_A:.3g} A. A charge that keeps to the limits takes longer.",
            file=sys.stderr,
        )


def _note_held_back(forecast: vk.ChargeForecast, start_A: float) -> None:
    """Say what holds a charge within limits below its plan, and until when."""
    if forecast.limits_s > 0:
        print(
            f"Note: {forecast.limits_reason.message} holds the charge below its plan until "
            f"{_minutes(forecast.limits_until_s)} from now, {_minutes(forecast.limits_s)} in all; it begins with "
            f"{start_A:.3g} A.",
            file=sys.stderr,
        )


def _note_end_of_window(forecast: vk.ChargeForecast) -> None:
    """Say when the window ends a charge to full short of its plan."""
    if forecast.reached and forecast.end_reason == vk.LimitReason.soc:
        print(
            f"Note: {100 * forecast.end_soc:.1f} % is the highest SOC of the cell's window: the charge ends there, "
            "short of its plan.",
            file=sys.stderr,
        )


def _states_limits(cell: vk.Cell) -> bool:
    """Tell whether the cell's file states limits that a charge has to keep to."""
    return len(cell.current_limits) > 0 or cell.window.soc_max < 1.0


def _held_back_document(forecast: vk.ChargeForecast) -> dict[str, Any] | None:
    if not forecast.limits_s > 0:
        return None
    return {
        "reason": forecast.limits_reason.name,
        "time_s": forecast.limits_s,
        "until_s": forecast.limits_until_s,
    }


def _why_not(outlook: vk.ChargeTimeOutlook | vk.PackChargeOutlook, forecast: vk.ChargeForecast) -> str:
    if forecast.end_reason == vk.LimitReason.soc:
        return f"{100 * forecast.end_soc:.1f} % is the highest SOC of the cell's window"
    if forecast.end_phase == vk.ChargePhase.waiting:
        return "the limits let in next to nothing"
    if forecast.end_phase == vk.ChargePhase.not_allowed:
        return forecast.end_phase.message
    return outlook.message


def _drawn(
    source: vk.SupplyDescription, curve: dict[str, Any], series: int, parallel: int, forecast: vk.ChargeForecast
) -> dict[str, Any]:
    """Say what the supply gives at the start of a curve and why no more, and what a whole charge takes from the socket.

    ``series`` and ``parallel`` lead from the curve to the pack: 1 where it is the pack's own.
    """
    limits = vk.supply_limits(source.supply)
    start_A, start_V = parallel * float(curve["current_A"][0]), series * float(curve["voltage_V"][0])
    # Where the cells take less than the supply could give, the battery decides, or what holds its charge back.
    given = vk.available_current(limits, max(start_V, 1e-3), max(start_A, 0.0))
    could = vk.available_current(limits, max(start_V, 1e-3), 1e9)
    reason = (could if could.current_A <= start_A * 1.001 else given).reason.message
    holder = vk.LimitReason(int(curve["held_back_by"][0]))
    if holder != vk.LimitReason.none:
        reason = holder.message
    taken_Wh = forecast.socket_energy_Wh
    return {
        "name": source.name,
        "current_A": start_A,
        "reason": reason,
        "line_current_max_A": limits.line_current_A,
        "power_max_W": limits.power_max_W,
        "socket_energy_Wh": taken_Wh,
        "charger_efficiency": series * parallel * forecast.energy_Wh / taken_Wh if taken_Wh > 0 else 0.0,
        "charge_efficiency": vk.charge_efficiency(forecast, series * parallel),
    }


DAY_S = 86400.0


def _clock_text(seconds: float) -> str:
    minutes = round(seconds / 60) % 1440
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def _departure(options: argparse.Namespace) -> tuple[float, float] | None:
    """Give the start as seconds of the day and the time there is, or nothing without --until; over midnight too."""
    if options.until is None:
        if options.start is not None:
            raise vk.DataError("--start is when charging begins: it goes with --until")
        return None
    if options.start is not None:
        start_s = float(options.start)
    else:
        now = datetime.datetime.now()
        start_s = 3600.0 * now.hour + 60.0 * now.minute + now.second
    ready_s = (float(options.until) - start_s) % DAY_S
    return start_s, ready_s if ready_s > 0.0 else DAY_S


def _ready_document(
    options: argparse.Namespace, departure: tuple[float, float], in_time: bool, current_A: float
) -> Any:
    start_s, ready_s = departure
    return {
        "start": _clock_text(start_s),
        "until": _clock_text(options.until),
        "ready_s": ready_s,
        "in_time": in_time,
        "current_A": current_A,
    }


def _print_departure(
    departure: tuple[float, float], in_time: bool, current_A: float, time_s: float, latest_s: float, most: str
) -> None:
    start_s, ready_s = departure
    there = f"from {_clock_text(start_s)} to {_clock_text(start_s + ready_s)}, {_minutes(ready_s)}"
    if in_time:
        print(
            f"In time ({there}): {current_A:.3g} A into {most} is the least that is; ready at "
            f"{_clock_text(start_s + time_s)}"
            + (f", by {_clock_text(start_s + latest_s)} at the latest." if latest_s > time_s else ".")
        )
    elif math.isfinite(latest_s):
        print(
            f"Too late ({there}): even with all that plan and supply allow, {current_A:.3g} A into {most}, it takes "
            f"{_minutes(latest_s)}."
        )
    else:
        print(f"Too late ({there}): it may not be reached at all.")


def _print_band(time_s: float, earliest_s: float, latest_s: float) -> None:
    if latest_s > earliest_s:
        last = _minutes(latest_s) if math.isfinite(latest_s) else "never"
        print(f"95 % band of the time: {_minutes(earliest_s)} to {last}.")


def _cost(options: argparse.Namespace, forecast: vk.ChargeForecast) -> float | None:
    if options.price_per_kWh is None:
        return None
    if options.supply is None:
        raise vk.DataError("--price-per-kWh is for energy from a socket: give --supply as well")
    return vk.charge_cost(forecast, options.price_per_kWh)


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _learn_taper(
    options: argparse.Namespace, cell: vk.Cell, plan: vk.ChargePlan, log: vk.Log, before: vk.LearnedTaper | None
) -> vk.LearnedTaper:
    """Learn the taper of the charge in the log, after those of an earlier file, and write it."""
    taper = before
    if taper is None:
        taper = vk.LearnedTaper(
            cell=cell.name,
            settings=vk.TaperSettings(capacity_Ah=cell.capacity_Ah),
            voltage_V=vk.held_voltage_V(plan),
        )
    if not taper.learn(log, plan.end_current_A):
        raise vk.DataError(
            f"{options.from_log}: nothing to learn: no charge that was held at {taper.voltage_V:g} V until its current "
            f"had fallen to {plan.end_current_A:g} A (--end-current-A)"
        )
    source = vk.SourceFile(role="charge", name=options.from_log.name, sha256=_sha256(options.from_log))
    taper.provenance = vk.Provenance(
        made_by=f"voltkeel {vk.__version__}", made_at=_now(), files=[*taper.provenance.files, source]
    )
    vk.save_taper(options.learn_out, taper)
    return taper


def _with_taper(
    options: argparse.Namespace,
    cell: vk.Cell,
    plan: vk.ChargePlan,
    outlook: vk.ChargeTimeOutlook,
    doubt: vk.ChargeDoubt,
    log: vk.Log | None,
    taper: vk.LearnedTaper | None,
) -> tuple[float, float, float, int, bool]:
    """Give time, earliest and latest with what is known of the taper, the charges behind it, and whether this one is.

    The taper's doubt stands beside that of the model; where the voltage is held already, the measured current tells
    the time left whatever the SOC, and the taper's doubt is all there is.
    """
    band, forecast = outlook.band, outlook.band.central
    model = forecast.time_s, band.earliest_s, band.latest_s, 0, False
    if not forecast.reached or options.to_soc is not None or options.until is not None:
        return model
    learner = taper.learner() if taper is not None else vk.TaperLearner(vk.TaperSettings(capacity_Ah=cell.capacity_Ah))
    held_A = 0.0
    if log is not None:
        held_V = vk.held_voltage_V(plan)
        learner.follow(log, held_V, HELD_TOLERANCE_V)
        if float(log.voltage_V[-1]) > held_V - HELD_TOLERANCE_V:
            held_A = doubt.measured_current_A
    known = vk.learned_time(learner, forecast, held_A, plan.end_current_A)
    if known.charges == 0 and held_A == 0.0:
        return model
    own_s = doubt.sigmas * known.std_s
    if held_A > 0.0:
        below_s = above_s = own_s
    else:
        below_s = math.hypot(forecast.time_s - band.earliest_s, own_s)
        above_s = math.hypot(band.latest_s - forecast.time_s, own_s)
    return (
        known.time_s,
        max(0.0, known.time_s - below_s),
        known.time_s + above_s,
        known.charges,
        known.this_charge,
    )


def _usual_current_A(log: vk.Log) -> float | None:
    """Give the current that a log charges with, or None where it does not."""
    charging = log.current_A[log.current_A > 0.0]
    return float(np.quantile(charging, 0.9)) if charging.size > 0 else None


def _state_of_log(options: argparse.Namespace, tested: vk.Cell, log: vk.Log) -> vk.ModelState:
    trace = vk.replay(
        tested,
        log,
        initial_soc=options.initial_soc,
        initial_soc_std=options.initial_soc_std,
        capacity_Ah=options.capacity_Ah,
        age=options.known_age,
    )
    state = trace.end
    if options.temperature_degC is not None:
        state.temperature_degC = _per_group(options.temperature_degC, 1, "--temperature-degC")[0]
    if options.soc_std is not None:
        state.soc_std = options.soc_std
    return state


def _charge_doubt(options: argparse.Namespace, state: vk.ModelState, log: vk.Log | None) -> vk.ChargeDoubt:
    age: vk.CellAge = options.known_age
    doubt = vk.ChargeDoubt(
        soc_std=state.soc_std,
        resistance_log_std=age.resistance_log_std,
        capacity_log_std=0.0 if options.capacity_Ah is not None else age.capacity_log_std,
    )
    if log is not None and float(log.current_A[-1]) > 0.0:
        doubt.measured_current_A = float(log.current_A[-1])  # it charges already
    return doubt


def _charge_case(
    options: argparse.Namespace, cell: vk.Cell, ambient_degC: float, source: vk.SupplyDescription | None
) -> vk.ChargeCase:
    settings = vk.ForecastSettings(least_resistance_scale=min(1.0, options.known_age.resistance_scale))
    what = vk.ChargeCase(ambient_degC=ambient_degC, target_soc=options.to_soc, settings=settings)
    what.within_limits = _states_limits(cell)
    if source is not None:
        what.supply = vk.PackSupply(supply=source.supply, series=options.series, parallel=options.parallel)
    return what


def _rows_until(options: argparse.Namespace, log: vk.Log, at_s: float) -> vk.Log:
    """Give the rows of a log up to a moment of its own clock."""
    first_s, last_s = float(log.time_s[0]), float(log.time_s[-1])
    if not first_s <= at_s <= last_s:
        raise vk.DataError(f"--at: {at_s:g} s is outside {options.from_log}, {first_s:g} .. {last_s:g} s")
    rows = int(np.searchsorted(log.time_s, at_s, side="right"))
    return vk.Log(log.time_s[:rows], log.current_A[:rows], log.voltage_V[:rows], log.temperature_degC[:rows])


def _charge_moments(options: argparse.Namespace) -> int:
    """Tell the time left at each moment that was asked, from nothing but the rows up to it."""
    unlike = _first_given(options, "learn_out", "until", "plot", "price_per_kWh")
    if unlike is not None:
        raise vk.DataError(f"--at asks for the time left at moments of a log: leave out {unlike}")
    if options.from_log is None:
        raise vk.DataError("--at asks for moments of a log: give its --from-log")
    tested = vk.load_cell(options.cell)
    cell = vk.aged_cell(tested, options.known_age)
    if options.capacity_Ah is not None:
        cell.capacity_Ah = options.capacity_Ah
    log = _read_log(options.from_log, options)
    source = vk.load_supply(options.supply) if options.supply is not None else None
    taper = vk.load_taper(options.learned) if options.learned is not None else None
    ambient_degC = float(log.temperature_degC[0]) if options.ambient_degC is None else options.ambient_degC
    what = _charge_case(options, cell, ambient_degC, source)
    moments: list[dict[str, Any]] = []
    for at_s in options.at:
        so_far = _rows_until(options, log, at_s)
        current_A = options.current_A
        if current_A is None and options.plan is None:
            current_A = _usual_current_A(so_far)
        plan = _charge_plan(cell, options, current_A, quiet=bool(moments))
        if taper is not None:
            _check_taper(options, taper, plan)
        state = _state_of_log(options, tested, so_far)
        doubt = _charge_doubt(options, state, so_far)
        outlook = vk.charge_time_band(cell, state, plan, what, doubt)
        forecast = outlook.band.central
        time_s, earliest_s, latest_s, charges, this_charge = _with_taper(
            options, cell, plan, outlook, doubt, so_far, taper
        )
        # The forecast starts at the last row; while it charges, what has passed since then has passed.
        since_s = at_s - float(so_far.time_s[-1]) if doubt.measured_current_A > 0.0 else 0.0
        moments.append(
            {
                "at_s": at_s,
                "row_s": float(so_far.time_s[-1]),
                "reached": forecast.reached,
                "message": outlook.message,
                "remaining_s": max(0.0, time_s - since_s) if forecast.reached else None,
                "earliest_s": max(0.0, earliest_s - since_s) if forecast.reached else None,
                "latest_s": _finite(max(0.0, latest_s - since_s)) if forecast.reached else None,
                "soc": state.soc,
                "soc_std": state.soc_std,
                "temperature_degC": state.temperature_degC,
                "current_A": float(so_far.current_A[-1]),
                "learned_charges": charges,
                "this_charge": this_charge,
            }
        )
    target = "full" if options.to_soc is None else f"{100 * options.to_soc:.0f} %"
    if options.json:
        document = {
            "cell": cell.name,
            "target": "full" if options.to_soc is None else options.to_soc,
            "moments": moments,
            "provenance": {
                "made_by": f"voltkeel {vk.__version__}",
                "log": options.from_log.name,
                "age": options.age.name if options.age is not None else None,
                "current_offset_A": options.log_settings.current_offset_A,
                "capacity_Ah": cell.capacity_Ah,
                "ambient_degC": ambient_degC,
                "current_A": options.current_A,
                "voltage_V": options.voltage_V,
                "end_current_A": options.end_current_A,
                "plan": options.plan.name if options.plan is not None else None,
                "supply": options.supply.name if options.supply is not None else None,
                "learned": options.learned.name if options.learned is not None else None,
            },
            "caution": CAUTION,
        }
        print(json.dumps(document, indent=2))
        return 0
    rows = []
    for moment in moments:
        if moment["reached"]:
            last_s = moment["latest_s"]
            left = [
                _minutes(moment["remaining_s"]),
                _minutes(moment["earliest_s"]),
                "never" if last_s is None else _minutes(last_s),
            ]
        else:
            left = [moment["message"], "-", "-"]
        rows.append([f"{moment['at_s']:g}", f"{100 * moment['soc']:.1f}", f"{moment['current_A']:.3g}", *left])
    _print_table(
        f"{cell.name}: time until {target}, each moment from the rows of {options.from_log.name} up to it",
        ["asked at s", "SOC %", "current A", "time left", "earliest", "latest (95 %)"],
        rows,
    )
    print(CAUTION)
    return 0


def _check_taper(options: argparse.Namespace, taper: vk.LearnedTaper, plan: vk.ChargePlan) -> None:
    try:
        vk.check_taper_fits(taper, plan)
    except vk.DataError as error:
        raise vk.DataError(f"{options.learned}: {error}") from None


def _charge(options: argparse.Namespace) -> int:
    if options.pack is not None:
        return _charge_pack(options)
    if options.soc is not None and options.from_log is not None:
        raise vk.DataError("--soc and --from-log exclude each other: the log tells the SOC")
    if options.learned is not None and (options.to_soc is not None or options.until is not None):
        raise vk.DataError("--learned tells the end of a charge to full: leave out --to-soc and --until")
    if options.supply is None and (options.series != 1 or options.parallel != 1):
        raise vk.DataError("--series and --parallel say what a supply charges: give --supply as well")
    if options.at is not None:
        return _charge_moments(options)
    if options.parts is not None:
        raise vk.DataError("--parts is for --pack")
    if options.learn_out is not None and options.from_log is None:
        raise vk.DataError("--learn-out learns from a charge: give its --from-log")
    age: vk.CellAge = options.known_age
    tested = vk.load_cell(options.cell)
    cell = vk.aged_cell(tested, age)
    if options.capacity_Ah is not None:
        cell.capacity_Ah = options.capacity_Ah
    current_A: float | None = options.current_A
    if options.from_log is not None:
        log = _read_log(options.from_log, options)
        state = _state_of_log(options, tested, log)
        ambient_degC = float(log.temperature_degC[0])
        if current_A is None and options.plan is None:
            current_A = _usual_current_A(log)
    else:
        if options.soc is None or options.temperature_degC is None:
            raise vk.DataError("give --soc and --temperature-degC, or --from-log")
        soc = _per_group(options.soc, 1, "--soc")[0]
        temperature_degC = _per_group(options.temperature_degC, 1, "--temperature-degC")[0]
        state = vk.ModelState(
            soc=soc,
            soc_std=options.soc_std or 0.0,
            temperature_degC=temperature_degC,
            hysteresis=-1.0,
            resistance_scale=age.resistance_scale,
        )
        ambient_degC = temperature_degC
    if options.ambient_degC is not None:
        ambient_degC = options.ambient_degC
    plan = _charge_plan(cell, options, current_A)
    taper = vk.load_taper(options.learned) if options.learned is not None else None
    learned_sha256 = _sha256(options.learned) if options.learned is not None else None
    if taper is not None:
        _check_taper(options, taper, plan)
        if taper.cell != cell.name:
            print(f"Note: the taper was learned on {taper.cell}, not on {cell.name}.", file=sys.stderr)
        if not taper.temperature_min_degC - 5.0 <= state.temperature_degC <= taper.temperature_max_degC + 5.0:
            print(
                f"Note: the taper was learned at {taper.temperature_min_degC:.0f} to "
                f"{taper.temperature_max_degC:.0f} degC, the cell has {state.temperature_degC:.0f}.",
                file=sys.stderr,
            )
    if options.learn_out is not None:
        written = _learn_taper(options, cell, plan, log, taper)
        print(f"Wrote {options.learn_out}: the taper of {written.charges} charge(s)", file=sys.stderr)
        taper = written if taper is not None else None
    source = vk.load_supply(options.supply) if options.supply is not None else None
    what = _charge_case(options, cell, ambient_degC, source)
    departure = _departure(options)
    so_far = log if options.from_log is not None else None
    doubt = _charge_doubt(options, state, so_far)
    in_time, chosen_A = True, 0.0
    if departure is not None:
        asked = vk.Departure(ready_s=departure[1], target_soc=options.to_soc or 0.0, doubt=doubt)
        found = vk.least_charge_current(cell, state, plan, what, asked)
        in_time, chosen_A = found.in_time, found.departure.current_A
        what.supply_current_A = chosen_A
    outlook = vk.charge_time_band(cell, state, plan, what, doubt)
    allowed = vk.current_limits(cell, state, [_CONTINUOUS], _cell_limit_settings(state.soc_std))[0].charge
    _note_limits(allowed, float(outlook.curve["current_A"][0]))
    band = outlook.band
    end_soc = _end_soc(band.central.end_soc, cell, plan)
    _note_held_back(band.central, float(outlook.curve["current_A"][0]))
    _note_end_of_window(band.central)
    if options.plot is not None:
        from voltkeel import plots

        plots.plot_charge(outlook, options.plot)
    forecast = band.central
    time_s, earliest_s, latest_s, charges, this_charge = _with_taper(options, cell, plan, outlook, doubt, so_far, taper)
    if taper is not None and forecast.reached and charges == 0:
        print(
            f"Note: {options.learned} does not reach from {forecast.taper_from_A:.3g} A to "
            f"{forecast.end_current_A:.3g} A: the taper is the model's.",
            file=sys.stderr,
        )
    cost = _cost(options, forecast)
    target = "full" if options.to_soc is None else f"{100 * options.to_soc:.0f} %"
    drawn = None
    if source is not None:
        drawn = _drawn(source, outlook.curve, options.series, options.parallel, forecast)
        drawn.update(series=options.series, parallel=options.parallel)
    phases = [
        ("constant_current", forecast.constant_current_s),
        ("constant_voltage", max(0.0, forecast.constant_voltage_s + time_s - forecast.time_s)),
        *([("constant_power", forecast.constant_power_s)] if forecast.constant_power_s > 0 else []),
        *([("rest", forecast.rest_s)] if forecast.rest_s > 0 else []),
    ]
    if options.json:
        document = {
            "cell": cell.name,
            "target": "full" if options.to_soc is None else options.to_soc,
            "reached": forecast.reached,
            "message": outlook.message,
            "held_back": _held_back_document(forecast),
            "end_of_window": forecast.end_reason == vk.LimitReason.soc,
            "time_s": time_s,
            "earliest_s": earliest_s,
            "latest_s": _finite(latest_s),
            "learned_charges": charges,
            "this_charge": this_charge,
            "departure": _ready_document(options, departure, in_time, chosen_A) if departure is not None else None,
            "cost": cost,
            "phases": [{"phase": name, "time_s": seconds} for name, seconds in phases],
            "end_soc": end_soc,
            "end_temperature_degC": forecast.end_temperature_degC,
            "highest_temperature_degC": forecast.highest_temperature_degC,
            "end_current_A": forecast.end_current_A,
            "charge_Ah": forecast.charge_Ah,
            "energy_Wh": forecast.energy_Wh,
            "stored_Wh": forecast.stored_Wh,
            "supply": drawn,
            "start": {
                "soc": state.soc,
                "soc_std": state.soc_std,
                "temperature_degC": state.temperature_degC,
                "ambient_degC": ambient_degC,
                "resistance_scale": state.resistance_scale,
                "capacity_Ah": cell.capacity_Ah,
            },
            "provenance": {
                "made_by": f"voltkeel {vk.__version__}",
                "log": options.from_log.name if options.from_log is not None else None,
                "age": options.age.name if options.age is not None else None,
                "current_offset_A": options.log_settings.current_offset_A,
                "current_A": max(zone.current_A for zone in plan.zones),
                "end_current_A": plan.end_current_A,
                "plan": options.plan.name if options.plan is not None else None,
                "supply": options.supply.name if options.supply is not None else None,
                "learned": {"name": options.learned.name, "sha256": learned_sha256} if taper is not None else None,
            },
            "caution": CAUTION,
        }
        print(json.dumps(document, indent=2))
        return 0
    print(
        f"{cell.name}: from {100 * state.soc:.1f} % SOC at {state.temperature_degC:.1f} degC, "
        f"surroundings {ambient_degC:.1f} degC, to {target}"
    )
    if not forecast.reached:
        print(
            f"Not reached: {_why_not(outlook, forecast)}; the charge ends at {100 * end_soc:.1f} % SOC "
            f"and {forecast.end_temperature_degC:.1f} degC."
        )
    _print_table(
        f"{_minutes(time_s)} until {target}" if forecast.reached else "As far as it gets",
        ["phase", "time", "share"],
        [
            [name.replace("_", " "), _minutes(seconds), f"{100 * seconds / max(time_s, 1e-9):.0f} %"]
            for name, seconds in phases
        ],
    )
    _print_band(time_s, earliest_s, latest_s)
    if charges > 0:
        print(f"The end of the charge as {charges} completed charge(s) have shown it; the rest is the model's.")
    elif this_charge:
        print("The end of the charge as the model and the fall of the current so far have it.")
    if departure is not None:
        _print_departure(departure, in_time, chosen_A, forecast.time_s, band.latest_s, "each cell")
    print(
        f"Ends at {100 * end_soc:.1f} % SOC, {forecast.end_temperature_degC:.1f} degC "
        f"(highest {forecast.highest_temperature_degC:.1f}), {forecast.end_current_A:.3g} A; "
        f"{forecast.charge_Ah:.3f} Ah and {forecast.energy_Wh:.2f} Wh into one cell."
    )
    if drawn is not None:
        print(
            f"{drawn['name']}: at the start {drawn['current_A']:.1f} A into {options.series} groups of "
            f"{options.parallel} (why no more: {drawn['reason']}); {drawn['socket_energy_Wh'] / 1e3:.3f} kWh from the "
            f"socket, {100 * drawn['charger_efficiency']:.1f} % of it into the pack, "
            f"{100 * drawn['charge_efficiency']:.1f} % of it stored."
            + (f" It costs {cost:.2f}." if cost is not None else "")
        )
    print(CAUTION)
    return 0


def _groups_of(options: argparse.Namespace, pack: vk.Pack, hysteresis: float) -> list[vk.GroupState]:
    """States of all groups of a pack, from one value or one for each."""
    if options.soc is None or options.temperature_degC is None:
        raise vk.DataError("give --soc and --temperature-degC, one value or one for each group")
    count = vk.group_count(pack)
    soc = _per_group(options.soc, count, "--soc")
    temperature_degC = _per_group(options.temperature_degC, count, "--temperature-degC")
    age: vk.CellAge = getattr(options, "known_age", vk.CellAge())
    return [
        _aged_group(
            age,
            vk.ModelState(soc=s, soc_std=options.soc_std or 0.0, temperature_degC=degC, hysteresis=hysteresis),
        )
        for s, degC in zip(soc, temperature_degC, strict=True)
    ]


def _place(pack: vk.Pack, group: int) -> str:
    """Say which group of which string."""
    first = 0
    for string in pack.strings:
        count = vk.group_count(pack, string)
        if group < first + count:
            return f"group {group - first} of {string.name}" if len(pack.strings) > 1 else f"group {group}"
        first += count
    return f"group {group}"


def _charge_pack(options: argparse.Namespace) -> int:
    of_a_cell = _first_given(options, "from_log", "capacity_Ah", "initial_soc", "learned", "learn_out", "at")
    if of_a_cell is not None:
        raise vk.DataError(f"{of_a_cell} is for --cell")
    if options.series != 1 or options.parallel != 1:
        raise vk.DataError("--series and --parallel are for --cell: the pack file says them")
    pack = vk.load_pack(options.pack)
    groups = _groups_of(options, pack, -1.0)
    cell = pack.modules[0].cell
    plan = _charge_plan(cell, options, options.current_A)
    source = vk.load_supply(options.supply) if options.supply is not None else None
    ambient_degC = groups[0].state.temperature_degC if options.ambient_degC is None else options.ambient_degC
    what = vk.ChargeCase(ambient_degC=ambient_degC, target_soc=options.to_soc)
    what.parts = [] if options.parts is None else vk.load_pack_parts(options.parts)
    stated = [
        *(_states_limits(module.cell) for module in pack.modules),
        *(math.isfinite(string.contactor.current_A) or math.isfinite(string.fuse.current_A) for string in pack.strings),
        len(what.parts) > 0,
    ]
    what.within_limits = any(stated)
    if source is not None:
        what.supply = vk.PackSupply(supply=source.supply)
    departure = _departure(options)
    in_time, chosen_A = True, 0.0
    if departure is not None:
        found = vk.least_pack_charge_current(pack, groups, plan, what, departure[1])
        in_time, chosen_A, outlook = found.in_time, found.current_A, found.charge
    else:
        outlook = vk.pack_charge(pack, groups, plan, what)
    if options.plot is not None:
        from voltkeel import plots

        plots.plot_pack_charge(outlook, options.plot)
    if outlook.curve["current_A"].size > 0:
        allowed = vk.pack_limits(pack, groups, [_CONTINUOUS], what.parts)[0].charge
        _note_limits(allowed, float(outlook.curve["current_A"][0]), pack)
        _note_held_back(outlook.forecast, float(outlook.curve["current_A"][0]))
        _note_end_of_window(outlook.forecast)
    forecast = outlook.forecast
    end_soc, weakest_soc = _end_soc(forecast.end_soc, cell, plan), min(outlook.weakest_soc, 1.0)
    cost = _cost(options, forecast)
    curve = outlook.curve
    target = "full" if options.to_soc is None else f"{100 * options.to_soc:.0f} %"
    phases = [
        ("constant_current", forecast.constant_current_s),
        ("constant_voltage", forecast.constant_voltage_s),
        *([("constant_power", forecast.constant_power_s)] if forecast.constant_power_s > 0 else []),
        *([("rest", forecast.rest_s)] if forecast.rest_s > 0 else []),
    ]
    drawn = _drawn(source, curve, 1, 1, forecast) if source is not None else None
    soc = [group.state.soc for group in groups]
    if options.json:
        document = {
            "pack": pack.name,
            "target": "full" if options.to_soc is None else options.to_soc,
            "reached": forecast.reached,
            "message": outlook.message,
            "held_back": _held_back_document(forecast),
            "end_of_window": forecast.end_reason == vk.LimitReason.soc,
            "time_s": forecast.time_s,
            "earliest_s": outlook.earliest_s,
            "latest_s": _finite(outlook.latest_s),
            "departure": _ready_document(options, departure, in_time, chosen_A) if departure is not None else None,
            "cost": cost,
            "phases": [{"phase": name, "time_s": seconds} for name, seconds in phases],
            "deciding_group": outlook.group,
            "weakest_group": outlook.weakest_group,
            "weakest_soc": weakest_soc,
            "handovers": outlook.handovers,
            "end_soc": end_soc,
            "highest_temperature_degC": forecast.highest_temperature_degC,
            "current_max_A": float(np.max(curve["current_A"])),
            "end_current_A": forecast.end_current_A,
            "end_voltage_V": float(curve["voltage_V"][-1]),
            "charge_Ah": forecast.charge_Ah,
            "energy_Wh": forecast.energy_Wh,
            "stored_Wh": forecast.stored_Wh,
            "supply": drawn,
            "start": {
                "soc": soc,
                "soc_std": options.soc_std or 0.0,
                "ambient_degC": ambient_degC,
                "resistance_scale": options.known_age.resistance_scale,
                "capacity_scale": options.known_age.capacity_scale,
            },
            "provenance": {
                "made_by": f"voltkeel {vk.__version__}",
                "plan": options.plan.name if options.plan is not None else None,
                "supply": options.supply.name if options.supply is not None else None,
            },
            "caution": PACK_CAUTION,
        }
        print(json.dumps(document, indent=2))
        return 0
    spread = f"{100 * min(soc):.1f}" + (f" to {100 * max(soc):.1f}" if max(soc) > min(soc) else "")
    print(f"{pack.name}: from {spread} % SOC, surroundings {ambient_degC:.1f} degC, to {target}")
    if not forecast.reached:
        print(f"Not reached: {_why_not(outlook, forecast)}; the fullest group ends at {100 * end_soc:.1f} % SOC.")
    _print_table(
        f"{_minutes(forecast.time_s)} until {target}" if forecast.reached else "As far as it gets",
        ["phase", "time", "share"],
        [
            [name.replace("_", " "), _minutes(seconds), f"{100 * seconds / max(forecast.time_s, 1e-9):.0f} %"]
            for name, seconds in phases
        ],
    )
    _print_band(forecast.time_s, outlook.earliest_s, outlook.latest_s)
    if departure is not None:
        _print_departure(departure, in_time, chosen_A, forecast.time_s, outlook.latest_s, "each cell")
    print(
        f"{_place(pack, outlook.group)[0].upper()}{_place(pack, outlook.group)[1:]} decides the end at "
        f"{100 * end_soc:.1f} % SOC; the weakest is {_place(pack, outlook.weakest_group)} with "
        f"{100 * weakest_soc:.1f} %."
    )
    print(
        f"Highest {float(np.max(curve['current_A'])):.1f} A, ends at {forecast.end_current_A:.2f} A and "
        f"{float(curve['voltage_V'][-1]):.2f} V, hottest group {forecast.highest_temperature_degC:.1f} degC; "
        f"{forecast.charge_Ah:.2f} Ah and {forecast.energy_Wh / 1e3:.3f} kWh into the pack."
    )
    if drawn is not None:
        print(
            f"{drawn['name']}: at the start {drawn['current_A']:.1f} A (why no more: {drawn['reason']}); "
            f"{drawn['socket_energy_Wh'] / 1e3:.3f} kWh from the socket, "
            f"{100 * drawn['charger_efficiency']:.1f} % of it into the pack, "
            f"{100 * drawn['charge_efficiency']:.1f} % of it stored."
            + (f" It costs {cost:.2f}." if cost is not None else "")
        )
    print(PACK_CAUTION)
    return 0


# ----------------------------------------------------------------------------------------------------------------------
# balance


def _balance(options: argparse.Namespace) -> int:
    pack = vk.load_pack(options.pack)
    if len(pack.strings) != 1:
        raise vk.DataError("balance looks at one string: strings in parallel are balanced each for itself")
    states = _groups_of(options, pack, 0.0)
    bleed_ohm = options.bleed_ohm
    duty = 1.0
    if bleed_ohm is None:
        if pack.bleed is None:
            raise vk.DataError("the pack file has no bleed resistors: give --bleed-ohm")
        bleed_ohm, duty = pack.bleed.resistance_ohm, pack.bleed.duty
    groups = []
    at = 0
    for number, name in enumerate(pack.strings[0].modules):
        kind = vk.module_named(pack, name)
        model = vk.CellModel(kind.cell)
        for _ in range(kind.layout.series):
            state = states[at].state
            groups.append(
                vk.BalancingGroup(
                    soc=state.soc,
                    soc_std=state.soc_std,
                    capacity_Ah=kind.cell.capacity_Ah * kind.layout.parallel,
                    voltage_V=float(model.ocv_V(state.soc, state.temperature_degC)),
                    ocv_slope_V=float(model.ocv_slope_V(state.soc, state.temperature_degC)),
                    module=number,
                )
            )
            at += 1
    # A resistor that may conduct a share of the time is a larger one.
    settings = vk.BalancingPlanSettings(bleed_ohm=bleed_ohm / duty, module_heat_max_W=options.heat_max_W or 0.0)
    plan, bleeds = vk.plan_balancing(groups, settings)
    if options.json:
        document = {
            "pack": pack.name,
            "time_s": plan.time_s,
            "charge_Ah": plan.charge_Ah,
            "heat_J": plan.heat_J,
            "module_heat_W": plan.module_heat_W,
            "usable_Ah": plan.usable_Ah,
            "usable_after_Ah": plan.usable_after_Ah,
            "groups": [
                {
                    "group": g,
                    "module": group.module,
                    "soc": group.soc,
                    "charge_Ah": bleed.charge_Ah,
                    "time_s": bleed.time_s,
                    "share": duty * bleed.share,
                    "reason": bleed.reason.message,
                }
                for g, (group, bleed) in enumerate(zip(groups, bleeds, strict=True))
            ],
            "caution": PACK_CAUTION,
        }
        print(json.dumps(document, indent=2))
        return 0
    if plan.bleeding == 0:
        print(f"{pack.name}: nothing to bleed")
    else:
        print(f"{pack.name}: {plan.bleeding} of {len(groups)} groups are bled, done after {_minutes(plan.time_s)}")
    _print_table(
        "Groups",
        ["group", "module", "SOC %", "bleed Ah", "time", "share of the time", "why"],
        [
            [
                str(g),
                str(group.module),
                f"{100 * group.soc:.1f}",
                f"{bleed.charge_Ah:.3f}" if bleed.charge_Ah > 0 else "",
                _minutes(bleed.time_s) if bleed.charge_Ah > 0 else "",
                f"{100 * duty * bleed.share:.0f} %" if bleed.charge_Ah > 0 else "",
                bleed.reason.message,
            ]
            for g, (group, bleed) in enumerate(zip(groups, bleeds, strict=True))
        ],
    )
    print(
        f"{plan.charge_Ah:.3f} Ah and {plan.heat_J / 3600:.2f} Wh become heat, at most {plan.module_heat_W:.2f} W in a "
        f"module; usable charge {plan.usable_Ah:.2f} Ah now, {plan.usable_after_Ah:.2f} Ah afterwards."
    )
    print(f"Bleed resistors get hot. {PACK_CAUTION}")
    return 0


# ----------------------------------------------------------------------------------------------------------------------
# range


def _consumption_of(options: argparse.Namespace) -> vk.Consumption | None:
    """Consumption from a trip, a number, or nothing."""
    start = options.consumption_Wh_per_km
    if options.trip is None:
        if start is None:
            return None
        share = options.consumption_std_share
        return vk.Consumption(
            fast_Wh_per_km=start,
            slow_Wh_per_km=start,
            slow_std_Wh_per_km=share * start,
            power_W=0.0 if options.speed_km_per_h is None else start * options.speed_km_per_h,
        )
    trace = vk.read_speed_trace(options.trip)
    load = vk.read_load(options.trip)
    if any(step.kind != vk.LoadKind.power for step in load):
        raise vk.DataError(f"{options.trip.name}: needs the columns time_s, power_W and speed_m_per_s")
    time_s = np.asarray(trace.time_s)
    speed = np.asarray(trace.speed_m_per_s)
    # Drawn is positive here; the power of a row is the mean over the step that ends in it.
    drawn_W = np.array([0.0, *(-step.power_W for step in load)])[-len(time_s) :]
    if len(drawn_W) != len(time_s):
        raise vk.DataError(f"{options.trip.name}: {len(load)} powers for {len(time_s)} speeds")
    way_km = float(np.sum(0.5 * (speed[1:] + speed[:-1]) * np.diff(time_s))) / 1e3
    if way_km <= 0.0:
        raise vk.DataError(f"{options.trip.name}: stands still all the time; no consumption per distance")
    if start is None:
        # Without an expectation the trip itself is one, and counts as little as can be.
        start = max(float(np.sum(drawn_W[1:] * np.diff(time_s))) / 3600.0 / way_km, 0.01)
        settings = vk.ConsumptionSettings(start_Wh_per_km=start, start_m=1.0)
    else:
        settings = vk.ConsumptionSettings(start_Wh_per_km=start, start_std_share=options.consumption_std_share)
    estimator = vk.ConsumptionEstimator(settings)
    estimator.follow(time_s, drawn_W, speed)
    return estimator.consumption


def _range(options: argparse.Namespace) -> int:
    pack = vk.load_pack(options.pack) if options.pack is not None else None
    if pack is None:
        pack = vk.single_string_pack("", "cell", vk.load_cell(options.cell), vk.PackLayout(series=1, parallel=1))
        pack.name = pack.modules[0].cell.name
    groups = _groups_of(options, pack, 1.0)
    ambient_degC = groups[0].state.temperature_degC if options.ambient_degC is None else options.ambient_degC
    consumption = _consumption_of(options)
    draw = vk.Draw()
    if options.current_A is not None:
        draw.current_A = options.current_A
    else:
        power_W = options.power_W
        if power_W is None and consumption is not None and consumption.power_W > 0.0:
            power_W = consumption.power_W
        if power_W is None:
            raise vk.DataError(
                "give the draw: --power-W, --current-A, a --trip, or --consumption-Wh-per-km with --speed-km-per-h"
            )
        draw.power_W = power_W
    band = vk.usable_energy(pack, groups, draw, vk.UsableEnergySettings(ambient_degC=ambient_degC))
    end = band.central
    left = None if consumption is None else vk.distance_left(consumption, end.energy_Wh, band.std_Wh)
    if not end.reached:
        why = "not reached within the time bound"
    elif end.power_missing:
        why = "no current gives the power any more"
    else:
        why = f"{end.reason.message}, {_place(pack, end.group)}" if end.group >= 0 else end.reason.message
    drawn = f"{draw.power_W / 1e3:.3g} kW" if draw.power_W > 0 else f"{draw.current_A:.3g} A"
    if options.json:
        document: dict[str, Any] = {
            "name": pack.name,
            "draw": {"power_W": draw.power_W, "current_A": draw.current_A},
            "energy_Wh": end.energy_Wh,
            "least_Wh": band.least_Wh,
            "most_Wh": band.most_Wh,
            "time_s": end.time_s,
            "charge_Ah": end.charge_Ah,
            "loss_Wh": end.loss_Wh,
            "reached": end.reached,
            "because": why,
            "group": end.group,
            "end_soc": end.end_soc,
            "end_temperature_degC": end.end_temperature_degC,
            "end_voltage_V": end.end_voltage_V,
            "end_current_A": end.end_current_A,
            "consumption": None
            if consumption is None
            else {
                "fast_Wh_per_km": consumption.fast_Wh_per_km,
                "slow_Wh_per_km": consumption.slow_Wh_per_km,
                "slow_std_Wh_per_km": consumption.slow_std_Wh_per_km,
                "deviation_std_Wh_per_km": consumption.deviation_std_Wh_per_km,
                "power_W": consumption.power_W,
            },
            "distance": None
            if left is None
            else {
                "distance_m": left.distance_m,
                "least_m": left.least_m,
                "most_m": left.most_m,
                "mean_Wh_per_km": left.mean_Wh_per_km,
                "bounded": left.bounded,
            },
            "start": {
                "soc": [group.state.soc for group in groups],
                "soc_std": options.soc_std or 0.0,
                "temperature_degC": [group.state.temperature_degC for group in groups],
                "ambient_degC": ambient_degC,
                "resistance_scale": options.known_age.resistance_scale,
                "capacity_scale": options.known_age.capacity_scale,
            },
            "caution": PACK_CAUTION,
        }
        print(json.dumps(document, indent=2))
        return 0
    rows = [
        ["usable energy", f"{end.energy_Wh / 1e3:.3f} kWh", f"{band.least_Wh / 1e3:.3f} to {band.most_Wh / 1e3:.3f}"],
        ["time", _minutes(end.time_s), ""],
    ]
    if left is not None and consumption is not None:
        rows.append(
            [
                "distance left",
                f"{left.distance_m / 1e3:.1f} km",
                f"{left.least_m / 1e3:.1f} to {left.most_m / 1e3:.1f}",
            ]
        )
        rows.append(["consumption now", f"{consumption.fast_Wh_per_km:.0f} Wh/km", ""])
        rows.append(
            [
                "consumption usual",
                f"{consumption.slow_Wh_per_km:.0f} Wh/km",
                f"+- {1.96 * consumption.slow_std_Wh_per_km:.0f}",
            ]
        )
    print(f"{pack.name}: drawing {drawn}, surroundings {ambient_degC:.1f} degC")
    _print_table("What is left", ["", "", "95 % band"], rows)
    print(
        f"Ends because: {why}, there at {100 * end.end_soc:.1f} % SOC and {end.end_temperature_degC:.1f} degC; "
        f"{end.end_voltage_V:.2f} V at {end.end_current_A:.3g} A. Lost as heat on the way: {end.loss_Wh / 1e3:.3f} kWh."
    )
    if left is not None and not left.bounded:
        print("At this consumption the energy does not end within 5000 km.")
    print(PACK_CAUTION)
    return 0


# ----------------------------------------------------------------------------------------------------------------------
# load


def _load_rows(load: vk.RoadLoad | vk.PropellerLoad) -> list[list[str]]:
    duration_s = float(load.time_s[-1] - load.time_s[0])
    if isinstance(load, vk.RoadLoad):
        energy = load.energy
        net_Wh, shortfall_Wh = energy.net_Wh, energy.shortfall_Wh
        unit, units, unit_m = "km", "km", 1000.0
        parts = [
            ["for driving", f"{0 - energy.drive_Wh / 1e3:+.3f} kWh"],
            ["back from braking", f"{energy.regenerated_Wh / 1e3:+.3f} kWh"],
            ["auxiliaries", f"{0 - energy.auxiliary_Wh / 1e3:+.3f} kWh"],
        ]
    else:
        net_Wh, shortfall_Wh = load.net_Wh, load.shortfall_Wh
        unit, units, unit_m = "nautical mile", "nautical miles", 1852.0
        parts = [
            ["for the propeller", f"{(net_Wh + load.auxiliary_Wh) / 1e3:+.3f} kWh"],
            ["auxiliaries", f"{0 - load.auxiliary_Wh / 1e3:+.3f} kWh"],
        ]
    rows = [
        ["time", _minutes(duration_s)],
        ["distance", f"{load.distance_m / unit_m:.2f} {units}"],
        ["energy of the pack", f"{net_Wh / 1e3:+.3f} kWh"],
        *parts,
        ["mean power", f"{3.6 * net_Wh / duration_s:+.2f} kW"],
    ]
    lowest_W, highest_W = float(load.power_W.min()), float(load.power_W.max())
    if lowest_W < 0:
        rows.append(["strongest discharge", f"{lowest_W / 1e3:+.2f} kW"])
    if highest_W > 0:
        rows.append(["strongest charge", f"{highest_W / 1e3:+.2f} kW"])
    if load.distance_m > 0:
        rows.append([f"per {unit}", f"{-unit_m * net_Wh / load.distance_m:.1f} Wh"])
    if shortfall_Wh > 0:
        rows.append(["not delivered", f"{shortfall_Wh / 1e3:.3f} kWh, the trace asks for more than the drive has"])
    return rows


def _load_document(load: vk.RoadLoad | vk.PropellerLoad) -> dict[str, Any]:
    road = isinstance(load, vk.RoadLoad)
    energies = load.energy if isinstance(load, vk.RoadLoad) else load
    return {
        "kind": "road" if road else "boat",
        "distance_m": load.distance_m,
        "power_min_W": float(load.power_W.min()),
        "power_max_W": float(load.power_W.max()),
        **{name: getattr(energies, name) for name in sorted(dir(energies)) if name.endswith("_Wh")},
    }


def _load(options: argparse.Namespace) -> int:
    vehicle = vk.load_vehicle(options.vehicle)
    unit = vk.SpeedUnit.from_name if options.speed_unit is None else vk.SpeedUnit.__members__[options.speed_unit]
    trace = vk.read_speed_trace(options.speed, unit)
    load: vk.RoadLoad | vk.PropellerLoad
    with _progress_bar("Computing the load") as progress:

        def watch(share: float) -> bool:
            return progress(share, "")

        if isinstance(vehicle, vk.RoadVehicle):
            load = vk.road_load(vehicle, trace, watch)
            mechanical = {"traction_power_W": load.traction_power_W}
        else:
            load = vk.propeller_load(vehicle, trace, watch)
            mechanical = {"shaft_power_W": load.shaft_power_W}
    columns = {
        "time_s": load.time_s,
        "power_W": load.power_W,
        "speed_m_per_s": load.speed_m_per_s,
        **mechanical,
        "shortfall_W": load.shortfall_W,
    }
    # Twelve digits keep hundredths of a second of a Unix time.
    vk.write_csv(options.out, list(columns), list(columns.values()), significant_digits=12)
    _write_json(
        _provenance_path(options.out),
        {
            "made_by": f"voltkeel {vk.__version__}",
            "made_at": _now(),
            "speed": {"name": options.speed.name, "sha256": _sha256(options.speed), "rows": len(trace)},
            "vehicle": {"name": options.vehicle.name, "sha256": _sha256(options.vehicle)},
            **_load_document(load),
        },
    )
    if options.plot is not None:
        from voltkeel import plots

        plots.plot_load(load, options.plot, vehicle.name)
    if options.json:
        print(json.dumps(_load_document(load), indent=2))
    else:
        _print_table(
            f"{vehicle.name}: load along {options.speed.name} (positive charges)", ["", "whole trace"], _load_rows(load)
        )
        print(f"Wrote {options.out}")
    return 0


# ----------------------------------------------------------------------------------------------------------------------
# simulate


def _per_string(values: list[float] | None, pack: vk.Pack, option: str) -> tuple[float | None, list[float]]:
    """Give one value for all strings, or one for each."""
    if values is None:
        return None, []
    if len(values) == 1:
        return values[0], []
    if len(values) != len(pack.strings):
        raise vk.DataError(
            f"{option}: has {len(values)} values, needs 1 or one for each of {len(pack.strings)} strings"
        )
    return None, values


def _simulate_load(options: argparse.Namespace) -> list[vk.LoadStep]:
    if (options.vehicle is not None or options.speed_unit is not None) and options.cycle is None:
        raise vk.DataError("--vehicle and --speed-unit go with --cycle")
    if options.load is not None or options.cycle is not None:
        if options.duration_s is not None:
            raise vk.DataError("--duration-s is for a held current or power: a file tells its own time")
        if options.load is not None:
            return vk.read_load(options.load)
        if options.vehicle is None:
            raise vk.DataError("--cycle needs --vehicle: a speed alone asks for no power")
        vehicle = vk.load_vehicle(options.vehicle)
        unit = vk.SpeedUnit.from_name if options.speed_unit is None else vk.SpeedUnit.__members__[options.speed_unit]
        trace = vk.read_speed_trace(options.cycle, unit)
        asked: vk.RoadLoad | vk.PropellerLoad
        if isinstance(vehicle, vk.RoadVehicle):
            asked = vk.road_load(vehicle, trace)
        else:
            asked = vk.propeller_load(vehicle, trace)
        return vk.load_from_columns(vk.LoadKind.power, asked.time_s, asked.power_W)
    duration_s = 3600.0 if options.duration_s is None else options.duration_s
    if options.power_W is not None:
        return [vk.power_load(options.power_W, duration_s)]
    return [vk.current_load(options.current_A, duration_s)]


def _simulate_cooling(options: argparse.Namespace) -> vk.CoolingSettings | None:
    if options.cooling is None:
        if options.warm_degC is not None:
            raise vk.DataError("--warm-degC goes with --cooling: without a plant nothing warms the pack")
        if options.cooling_supply is not None:
            raise vk.DataError("--cooling-supply goes with --cooling")
        return None
    if options.no_heat:
        raise vk.DataError("--cooling and --no-heat: where temperatures stay there is nothing to cool")
    cooling = vk.load_cooling(options.cooling)
    if options.cooling_supply is not None:
        cooling.supply = vk.CoolingSupply.__members__[options.cooling_supply]
    return cooling


def _simulate_settings(
    pack: vk.Pack, cooling: vk.CoolingSettings | None, options: argparse.Namespace
) -> vk.SimulationSettings:
    usual_degC = 25.0 if cooling is None else cooling.air_temperature.at(0.0)
    soc, string_soc = _per_string(options.soc, pack, "--soc")
    degC, string_degC = _per_string(options.temperature_degC, pack, "--temperature-degC")
    return vk.SimulationSettings(
        soc=1.0 if soc is None else soc,
        string_soc=string_soc,
        temperature_degC=usual_degC if degC is None else degC,
        string_temperature_degC=string_degC,
        differences=vk.draw_differences(
            pack,
            vk.SpreadSettings(
                seed=options.seed,
                capacity_log_std=options.capacity_std,
                resistance_log_std=options.resistance_std,
                soc_std=options.soc_std,
            ),
        ),
        heat=not options.no_heat,
        balancing=vk.BalancingSettings(active=options.balance),
        output_interval_s=options.output_interval_s,
    )


def _cell_place(result: vk.SimulationResult, cell: int) -> dict[str, Any]:
    """Say where a cell is: string, group of the string, cell of the group."""
    group = result.cell_group[cell]
    string = result.group_string[group]
    return {
        "string": result.string_names[string],
        "group": group - result.group_string.index(string),
        "cell": cell - result.cell_group.index(group),
    }


def _window_answer(
    pack: vk.Pack, result: vk.SimulationResult, options: argparse.Namespace
) -> tuple[float, float, vk.WindowAnswer]:
    """Give the window that was asked for, or the one of the cells when discharging, and whether it was kept."""
    if options.window_degC is not None:
        low, high = options.window_degC
    else:
        allowed = vk.allowed_temperature(pack, charging=False)
        low, high = allowed.low_degC, allowed.high_degC
    return low, high, vk.temperature_window(result, low, high)


def _window_text(answer: vk.WindowAnswer) -> str:
    if answer.kept:
        return "kept"
    sides = [("below", answer.below_s), ("above", answer.above_s)]
    left = ", ".join(f"{_minutes(time_s)} {side}" for side, time_s in sides if time_s > 0)
    return f"left at {_minutes(answer.first_left_s)}: {left}" if left else "left at the start"


def _warm_up(
    pack: vk.Pack, cooling: vk.CoolingSettings, settings: vk.SimulationSettings, options: argparse.Namespace
) -> tuple[float, vk.WarmUp]:
    """Give the temperature at which the pack may be charged, and how long it takes to get there at rest."""
    target = options.warm_degC
    if target is None:
        target = vk.allowed_temperature(pack, charging=True).low_degC
    return target, vk.warm_up(pack, cooling, settings, target)


def _warm_up_text(answer: vk.WarmUp) -> str:
    if answer.reached and answer.time_s == 0:
        return "warm enough at the start"
    needs = f"{_minutes(answer.time_s)}, {answer.electric_J / 3.6e6:.3f} kWh of electricity"
    return needs if answer.reached else f"not reached: {answer.coldest_degC:.1f} degC after {needs}"


PLANT_PARTS = ("flow", "radiator_fan", "chiller", "heater")


def _cooling_document(cooling: vk.CoolingSettings, trace: vk.CoolingTrace) -> dict[str, Any]:
    coolant = trace.coolant_degC
    return {
        "name": cooling.name,
        "kind": cooling.kind.name,
        "supply": cooling.supply.name,
        "coolant_degC": {"min": float(coolant.min()), "max": float(coolant.max()), "end": float(coolant[-1])},
        "electric_Wh": trace.electric_J / 3600,
        "from_cells_Wh": trace.from_cells_J / 3600,
        "from_drive_Wh": trace.from_drive_J / 3600,
        "from_heater_Wh": trace.from_heater_J / 3600,
        "to_radiator_Wh": trace.to_radiator_J / 3600,
        "to_chiller_Wh": trace.to_chiller_J / 3600,
        "parts": {
            part: {"on_s": getattr(trace, f"{part}_use").on_s, "starts": getattr(trace, f"{part}_use").starts}
            for part in PLANT_PARTS
        },
    }


def _cooling_rows(cooling: vk.CoolingSettings, trace: vk.CoolingTrace) -> list[list[str]]:
    liquid = cooling.kind == vk.CoolingKind.liquid
    names = ("pump on" if liquid else "fan on", "radiator fan on", "chiller on", "heater on")
    rows = []
    for part, name in zip(PLANT_PARTS, names, strict=True):
        use = getattr(trace, f"{part}_use")
        if part == "flow" or use.starts > 0:
            started = f", {use.starts} times" if use.starts > 1 else ""
            rows.append([name, f"{_minutes(use.on_s)}{started}"])
    coolant = trace.coolant_degC
    rows.append(["coolant" if liquid else "air", f"{coolant.min():.1f} .. {coolant.max():.1f} degC"])
    payer = "the pack" if cooling.supply == vk.CoolingSupply.pack else "outside"
    rows.append([f"electricity of the plant, from {payer}", f"{trace.electric_J / 3.6e6:.3f} kWh"])
    return rows


def _event_text(event: vk.SimulationEvent, result: vk.SimulationResult) -> str:
    where = "" if event.string < 0 else f"string {result.string_names[event.string]}"
    if event.group >= 0:
        where += f", group {event.group}"
    return f"{event.kind.message}{f' ({where})' if where else ''}: {event.value:.4g} against {event.bound:.4g}"


def _simulate_document(result: vk.SimulationResult) -> dict[str, Any]:
    balance = result.balance
    return {
        "time_s": float(result.time_s[-1]),
        "charge_Ah": balance.terminal_Ah,
        "energy_Wh": balance.terminal_J / 3600,
        "plant_Wh": balance.plant_J / 3600,
        "lost_in_cells_Wh": balance.overvoltage_J / 3600,
        "lost_in_joints_Wh": balance.joint_J / 3600,
        "bled_Wh": balance.bleed_J / 3600,
        "end_soc": {
            "min": float(result.soc_min[-1]),
            "mean": float(result.soc_mean[-1]),
            "max": float(result.soc_max[-1]),
        },
        "hottest": {
            "cell": result.hottest_cell,
            "place": _cell_place(result, result.hottest_cell),
            "temperature_degC": result.hottest_degC,
            "time_s": result.hottest_time_s,
        },
        "strings": [
            {
                "name": name,
                "current_min_A": float(result.string_current_A[:, k].min()),
                "current_max_A": float(result.string_current_A[:, k].max()),
            }
            for k, name in enumerate(result.string_names)
        ],
        "events": [
            {
                "time_s": event.time_s,
                "kind": event.kind.name,
                "string": event.string,
                "group": event.group,
                "value": event.value,
                "bound": event.bound,
            }
            for event in result.events
        ],
    }


def _simulate_rows(result: vk.SimulationResult) -> list[list[str]]:
    balance = result.balance
    spread_mV = 1e3 * (result.group_voltage_max_V - result.group_voltage_min_V)
    place = _cell_place(result, result.hottest_cell)
    hottest = f"string {place['string']}, group {place['group']}, cell {place['cell']}"
    rows = [
        ["time", _minutes(float(result.time_s[-1]))],
        ["charge", f"{balance.terminal_Ah:+.2f} Ah"],
        ["energy", f"{balance.terminal_J / 3.6e6:+.3f} kWh"],
        ["lost in cells", f"{balance.overvoltage_J / 3.6e6:.3f} kWh"],
        ["lost in joints", f"{balance.joint_J / 3.6e6:.3f} kWh"],
        ["SOC at the end", f"{100 * result.soc_min[-1]:.1f} .. {100 * result.soc_max[-1]:.1f} %"],
        ["widest spread of groups", f"{spread_mV.max():.1f} mV"],
        ["hottest inside", f"{result.hottest_degC:.1f} degC: {hottest}"],
    ]
    for k, name in enumerate(result.string_names):
        current_A = result.string_current_A[:, k]
        rows.append([f"string {name}", f"{current_A.min():+.1f} .. {current_A.max():+.1f} A"])
    return rows


def _simulate(options: argparse.Namespace) -> int:
    pack = vk.load_pack(options.pack)
    load = _simulate_load(options)
    cooling = _simulate_cooling(options)
    settings = _simulate_settings(pack, cooling, options)
    plant = None if cooling is None else vk.CoolingPlant(pack, cooling)
    with _progress_bar("Simulating") as progress:
        result = vk.simulate(pack, load, settings, plant, lambda share: progress(share, ""))
    low_degC, high_degC, window = _window_answer(pack, result, options)
    document = _simulate_document(result)
    document["window"] = {
        "low_degC": low_degC,
        "high_degC": high_degC,
        "kept": window.kept,
        "below_s": window.below_s,
        "above_s": window.above_s,
        "first_left_s": window.first_left_s if window.first_left_s >= 0 else None,
    }
    rows = _simulate_rows(result)
    rows.append([f"window {low_degC:g} .. {high_degC:g} degC", _window_text(window)])
    trace = None if plant is None else plant.trace
    if cooling is not None and trace is not None:
        target_degC, warm = _warm_up(pack, cooling, settings, options)
        document["cooling"] = _cooling_document(cooling, trace)
        document["warm_up"] = {
            "target_degC": target_degC,
            "reached": warm.reached,
            "time_s": warm.time_s,
            "electric_Wh": warm.electric_J / 3600,
            "coldest_degC": warm.coldest_degC,
        }
        rows += _cooling_rows(cooling, trace)
        rows.append([f"from the start, at rest, to {target_degC:g} degC", _warm_up_text(warm)])
    if options.out is not None:
        vk.write_simulation(options.out, result, trace)
        _write_json(
            _provenance_path(options.out),
            {
                "made_by": f"voltkeel {vk.__version__}",
                "made_at": _now(),
                "pack": {"name": options.pack.name, "sha256": _sha256(options.pack)},
                "load": {
                    name: {"name": path.name, "sha256": _sha256(path)}
                    for name in ("load", "cycle", "vehicle", "cooling")
                    if (path := getattr(options, name)) is not None
                },
                "seed": options.seed,
                **document,
            },
        )
    if options.plot is not None:
        from voltkeel import plots

        plots.plot_simulation(result, options.plot, pack.name, trace)
    if options.json:
        print(json.dumps({"pack": pack.name, **document, "caution": CAUTION}, indent=2))
        return 0
    _print_table(f"{pack.name}, simulated (positive charges)", ["", ""], rows)
    for event in result.events:
        print(f"at {event.time_s:.3f} s: {_event_text(event, result)}")
    if options.out is not None:
        print(f"Wrote {options.out}")
    print(CAUTION)
    return 0


# ----------------------------------------------------------------------------------------------------------------------
# arguments


def _number(name: str, low: float, high: float) -> Callable[[str], float]:
    def convert(text: str) -> float:
        try:
            value = float(text)
        except ValueError:
            raise argparse.ArgumentTypeError(f"'{text}' is not a number") from None
        if not low <= value <= high:
            raise argparse.ArgumentTypeError(f"{name} {text} is outside {low:g} .. {high:g}")
        return value

    return convert


_soc = _number("SOC", 0.0, 1.0)
_temperature = _number("temperature", -60.0, 100.0)
_current = _number("current", 1e-4, 1e5)
_capacity = _number("capacity", 1e-3, 1e5)
_signed_current = _number("current", -1e5, 1e5)
_signed_power = _number("power", -1e8, 1e8)
_duration = _number("time", 1e-3, 1e8)
_moment = _number("time", -1e12, 1e12)
_share = _number("standard deviation", 0.0, 0.5)
_sigmas = _number("number of standard deviations", 0.0, 10.0)
_shaft_speed = _number("speed", -1e5, 1e5)
_torque = _number("torque", 1e-3, 1e7)
_efficiency = _number("efficiency", 0.01, 1.0)
_auxiliary = _number("power", 0.0, 1e7)
_milliohm = _number("resistance", 1e-3, 1e5)
_voltage = _number("voltage", 0.5, 5.0)
_price = _number("price", 0.0, 1e6)
_drawn_power = _number("power", 1e-3, 1e8)
_consumption = _number("consumption", 0.01, 1e6)
_speed_km_per_h = _number("speed", 0.01, 1000.0)
_ohm = _number("resistance", 1e-3, 1e5)
_heat = _number("heat", 1e-3, 1e5)


def _horizon(text: str) -> float:
    return math.inf if text == "continuous" else _number("horizon", 0.0, 600.0)(text)


def _clock(text: str) -> float:
    """Seconds of the day of a time like 06:45."""
    try:
        at = datetime.datetime.strptime(text, "%H:%M")
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is not a time of day like 06:45") from None
    return 3600.0 * at.hour + 60.0 * at.minute


def _count(text: str) -> int:
    try:
        value = int(text)
    except ValueError:
        value = 0
    if not 1 <= value <= 10000:
        raise argparse.ArgumentTypeError(f"{text} is no whole number from 1 to 10000")
    return value


def _group_number(text: str) -> int:
    if text.isascii() and text.isdigit() and len(text) <= 6:
        return int(text)
    raise argparse.ArgumentTypeError(f"{text!r} is no number of a group, 0 or more")


def _soc_or_none(text: str) -> float | None:
    return None if text == "-" else _soc(text)


def _seed(text: str) -> int:
    if not text.isdecimal() or int(text) >= 2**64:
        raise argparse.ArgumentTypeError(f"'{text}' is not a whole number from 0 to 2^64 - 1")
    return int(text)


def _plot_file(text: str) -> Path:
    if Path(text).suffix.lower() not in (".png", ".pdf", ".svg"):
        raise argparse.ArgumentTypeError(f"'{text}' must end in .png, .pdf or .svg")
    return Path(text)


def _add_log_options(parser: argparse.ArgumentParser, corrects: bool = True) -> None:
    group = parser.add_argument_group(
        "reading logs",
        "CSV with a header; columns time_s, current_A (positive when charging), voltage_V, temperature_degC, or those "
        "of the open Battery Data Format",
    )
    group.add_argument(
        "--mapping",
        type=Path,
        metavar="FILE",
        help="how the files are written (data/schema/log_mapping.schema.json); the options here come before it",
    )
    group.add_argument(
        "--current-offset-A",
        type=_number("current offset", -1e3, 1e3),
        metavar="A",
        help="known sensor offset, added to every reading that is not exactly zero",
    )
    group.add_argument("--discharge-positive", action="store_true", help="the file writes discharge as positive")
    group.add_argument("--time-column", metavar="NAME")
    group.add_argument("--current-column", metavar="NAME")
    group.add_argument(
        "--voltage-column",
        metavar="NAME",
        help="replay takes {} for the number of a group, from 0 or 1, and finds voltage_{}_V by itself",
    )
    group.add_argument("--temperature-column", metavar="NAME")
    group.add_argument(
        "--log-temperature-degC",
        type=_temperature,
        metavar="T",
        help="stands in where the file has no temperature",
    )
    group.add_argument("--separator", metavar="CHARACTER", help="between fields; a comma if left out")
    group.add_argument("--decimal-comma", action="store_true", help="numbers are written 3,7")
    group.add_argument(
        "--units-from-header", action="store_true", help="the header tells the units: 'Current (mA)', 'Time [min]'"
    )
    if corrects:
        group.add_argument("--drop-spikes", action="store_true", help="leave out single rows that stand apart; noted")


def _add_age_options(parser: argparse.ArgumentParser) -> None:
    group = parser.add_argument_group("age of the cells")
    group.add_argument(
        "--age",
        type=Path,
        metavar="FILE",
        help="as replay --age-out writes it (data/schema/cell_age.schema.json); the options here come before it",
    )
    group.add_argument(
        "--resistance-scale", type=_number("scale", 0.1, 10.0), metavar="R", help="1, if left out: as the tested cell"
    )
    group.add_argument(
        "--capacity-scale", type=_number("scale", 0.1, 2.0), metavar="Q", help="1, if left out: as the tested cell"
    )


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="voltkeel",
        description="From cell tests to a model, from a log to a state of charge, from there to limits and charging.",
        epilog=f"example: voltkeel limits --cell cell.json --soc 0.5 --temperature-degC -10\n\n{CAUTION}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"voltkeel {vk.__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")

    def command(
        name: str, run: Callable[[argparse.Namespace], int], text: str, example: str
    ) -> argparse.ArgumentParser:
        made = commands.add_parser(
            name,
            help=text,
            description=text[0].upper() + text[1:] + ".",
            epilog=f"example: {example}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        made.set_defaults(run=run)
        return made

    inspect = command(
        "inspect",
        _inspect,
        "show what a log holds: columns, steps, and what is odd about it",
        "voltkeel inspect slow_test.csv --capacity-Ah 2.9",
    )
    inspect.add_argument(
        "logs", type=Path, nargs="+", metavar="LOG.csv", help="several are one test, in the order given"
    )
    inspect.add_argument("--capacity-Ah", type=_capacity, metavar="AH", help="of the cell: gives C-rates")
    inspect.add_argument(
        "--starts-full", action="store_true", help="the cell is full at the first row: for the balance of charge"
    )
    inspect.add_argument("--json", action="store_true", help="for machines")
    _add_log_options(inspect, corrects=False)

    fit = command(
        "fit",
        _fit,
        "make a cell.json from pulse tests, with or without a slow test",
        "voltkeel fit --ocv slow_test.csv --pulses pulses_25degC.csv pulses_0degC.csv --out cell.json",
    )
    fit.add_argument(
        "--ocv",
        type=Path,
        nargs="+",
        default=[],
        metavar="FILE",
        help="slow discharge and charge, C/20 or so; several files are one test, in the order given; without it "
        "capacity and OCV come from the rests of the pulse tests",
    )
    fit.add_argument(
        "--capacity-Ah",
        type=_capacity,
        metavar="AH",
        help="without --ocv: of the cell, where no pulse test goes from full to empty",
    )
    fit.add_argument(
        "--floor-V",
        type=_voltage,
        metavar="V",
        help="without --ocv: voltage that counts as empty; found from the pulse tests if left out",
    )
    fit.add_argument(
        "--cycles",
        type=Path,
        nargs="+",
        action="extend",
        default=[],
        metavar="FILE",
        help="logs that come back to full more than once, at different rates: they tell the coulombic efficiency",
    )
    fit.add_argument(
        "--pulses",
        type=Path,
        nargs="+",
        action="extend",
        default=[],
        metavar="FILE",
        help="pulse tests, each starting at rest",
    )
    fit.add_argument(
        "--tests",
        type=Path,
        metavar="FILE",
        help="a set of logs, each with its role, mapping, sign, offset and temperature "
        "(data/schema/test_set.schema.json), beside or in place of those of the other options",
    )
    fit.add_argument("--out", type=Path, required=True, metavar="FILE", help="the cell file to write")
    fit.add_argument("--name", help="name of the cell; the name of the file if left out")
    fit.add_argument(
        "--heat",
        type=Path,
        nargs="+",
        action="extend",
        default=[],
        metavar="FILE",
        help="further logs that warm the cell (drives, constant current), for its heat alone",
    )
    fit.add_argument(
        "--charges",
        type=Path,
        nargs="+",
        action="extend",
        default=[],
        metavar="FILE",
        help="CC-CV charges from rest to the end of the taper: they tell the resistance near full",
    )
    fit.add_argument(
        "--branches",
        type=int,
        choices=(1, 2, 3, 4),
        help="RC branches; without it their number and the charge transfer are chosen by an information criterion",
    )
    fit.add_argument("--linear", action="store_true", help="with --branches: no charge transfer, resistances only")
    fit.add_argument("--plot", type=_plot_file, metavar="FILE", help="draw the fit (PNG, PDF or SVG)")
    _add_log_options(fit)

    refine = command(
        "refine",
        _refine,
        "draw a cell closer to whole logs, judged on the half that was not fitted",
        "voltkeel refine day1.csv day2.csv --cell cell.json --out refined.json",
    )
    refine.add_argument("logs", type=Path, nargs="+", metavar="LOG", help="of the cell as it is now")
    refine.add_argument("--cell", type=Path, required=True, metavar="FILE")
    refine.add_argument(
        "--out", type=Path, required=True, metavar="FILE", help="the cell file to write; none when nothing is gained"
    )
    refine.add_argument(
        "--initial-soc",
        type=_soc_or_none,
        nargs="+",
        default=[],
        metavar="SOC",
        help="0..1 at the first row of each log, '-' where the first voltage, at rest, tells",
    )
    refine.add_argument(
        "--initial-soc-std", type=_number("SOC", 1e-6, 1.0), default=0.01, metavar="STD", help="default 0.01"
    )
    refine.add_argument(
        "--block-min",
        type=_number("block", 0.1, 1e5),
        default=10.0,
        metavar="MIN",
        help="length of the blocks that are fitted or held out in turn (default 10 min)",
    )
    refine.add_argument("--seed", type=_seed, default=1, help="picks the block of each pair that is fitted (default 1)")
    refine.add_argument(
        "--keep-unimproved", action="store_true", help="write the refined cell even where the held-out half loses"
    )
    refine.add_argument("--json", action="store_true", help="for machines")
    _add_log_options(refine)

    draft = command(
        "draft",
        _draft,
        "make a first cell.json from a data sheet alone",
        "voltkeel draft --chemistry nmc --capacity-Ah 5 --resistance-ac-mohm 15 --resistance-dc-mohm 25 "
        "--max-discharge-A 10 --out cell.json",
    )
    draft.add_argument(
        "--chemistry",
        choices=list(vk.Chemistry.__members__),
        required=True,
        help="decides which published OCV curve is taken",
    )
    draft.add_argument("--capacity-Ah", type=_capacity, required=True, metavar="AH", help="typical capacity")
    draft.add_argument(
        "--resistance-ac-mohm", type=_milliohm, required=True, metavar="MOHM", help="at 1 kHz and 25 degC"
    )
    draft.add_argument(
        "--resistance-dc-mohm",
        type=_milliohm,
        required=True,
        metavar="MOHM",
        help="voltage change over current at the end of a pulse, 25 degC, half full",
    )
    draft.add_argument(
        "--dc-pulse-s",
        type=_number("pulse", 0.5, 120.0),
        default=10.0,
        metavar="S",
        help="length of that pulse (default 10)",
    )
    draft.add_argument("--out", type=Path, required=True, metavar="FILE", help="the cell file to write")
    draft.add_argument("--name", help="name of the cell; the name of the file if left out")
    sheet = draft.add_argument_group(
        "limits of the data sheet", "left out, common practice stands in and the cell file says so"
    )
    sheet.add_argument("--voltage-min-V", type=_voltage, metavar="V", help="end of discharge")
    sheet.add_argument("--voltage-max-V", type=_voltage, metavar="V", help="end of charge")
    sheet.add_argument("--charge-A", type=_current, metavar="A", help="standard charge")
    sheet.add_argument("--max-charge-A", type=_current, metavar="A", help="continuous")
    sheet.add_argument("--max-discharge-A", type=_current, metavar="A", help="continuous, a magnitude")
    sheet.add_argument("--end-current-A", type=_current, metavar="A", help="end of the standard charge")
    for way in ("charge", "discharge"):
        sheet.add_argument(f"--{way}-temperature-degC", type=_temperature, nargs=2, metavar=("MIN", "MAX"))
    sheet.add_argument("--mass-kg", type=_number("mass", 1e-4, 1e4), metavar="KG", help="gives the heat capacity")

    replay = command(
        "replay",
        _replay,
        "estimate the state of charge along a log, of a cell or of every group of a string",
        "voltkeel replay day.csv --cell cell.json --initial-soc 0.8 --initial-soc-std 0.2 --out estimate.csv",
    )
    replay.add_argument("log", type=Path, metavar="LOG.csv")
    replayed = replay.add_mutually_exclusive_group(required=True)
    replayed.add_argument("--cell", type=Path, metavar="FILE")
    replayed.add_argument(
        "--pack", type=Path, metavar="FILE", help="of one string, for a log with the voltage of every group"
    )
    replay.add_argument(
        "--parallel", type=_count, metavar="N", help="with --cell: cells in each group, which share the log's current"
    )
    replay.add_argument(
        "--out",
        type=Path,
        required=True,
        metavar="FILE",
        help="CSV to write; its provenance goes beside it, and of a log of groups FILE.groups.csv with each of them",
    )
    replay.add_argument(
        "--initial-soc",
        type=_soc,
        metavar="SOC",
        help="0..1; left out, the first voltage tells, in the middle of use with the currents around",
    )
    replay.add_argument(
        "--initial-soc-std", type=_soc, default=0.2, metavar="STD", help="how sure that is (default 0.2)"
    )
    replay.add_argument("--capacity-Ah", type=_capacity, metavar="AH", help="replaces the capacity of the cell file")
    replay.add_argument(
        "--check-sensors",
        action="store_true",
        help="give the filter the best that is known in place of a reading that cannot be or did not come (an empty "
        "or NaN cell); without it such readings are named only",
    )
    replay.add_argument(
        "--pack-voltage-column",
        metavar="NAME",
        help="in a log of groups: the voltage of all in series from another sensor, held against their sum "
        "(default pack_voltage_V, where the log has it)",
    )
    replay.add_argument("--plot", type=_plot_file, metavar="FILE", help="draw the estimate (PNG, PDF or SVG)")
    replay.add_argument(
        "--age-out",
        type=Path,
        metavar="FILE",
        help="write what the log shows of the cell's capacity, between rests and ends of charges, and resistance, "
        "for --age",
    )
    _add_age_options(replay)
    _add_log_options(replay)

    limits = command(
        "limits",
        _limits,
        "allowed currents and powers of a cell or a pack now, and why no more",
        "voltkeel limits --cell cell.json --soc 0.5 --temperature-degC -10",
    )
    what = limits.add_mutually_exclusive_group(required=True)
    what.add_argument("--cell", type=Path, metavar="FILE", help="limits of one cell")
    what.add_argument("--pack", type=Path, metavar="FILE", help="limits of a pack, at its terminals")
    limits.add_argument("--soc", type=_soc, nargs="+", metavar="SOC", help="0..1; of a pack one, or one per group")
    limits.add_argument(
        "--temperature-degC", type=_temperature, nargs="+", metavar="T", help="of a pack one, or one per group"
    )
    limits.add_argument(
        "--soc-std", type=_share, default=0.0, metavar="SOC", help="--sigmas of these are kept as a margin; default 0"
    )
    limits.add_argument(
        "--sigmas", type=_sigmas, default=2.0, metavar="N", help="standard deviations of margin; default 2"
    )
    for name in ("voltage", "temperature"):
        limits.add_argument(
            f"--{name}-flagged",
            type=_group_number,
            nargs="+",
            metavar="G",
            help=f"groups of a pack, from 0 over all strings, whose {name} is not to be trusted",
        )
    limits.add_argument("--current-flagged", action="store_true", help="the current of the pack is not to be trusted")
    limits.add_argument("--speed-rad-s", type=_shaft_speed, metavar="W", help="torque of a drive at this shaft speed")
    limits.add_argument("--torque-max-Nm", type=_torque, metavar="T", help="of the drive, with --speed-rad-s")
    limits.add_argument("--drive-power-max-W", type=_drawn_power, metavar="W", help="of the drive, at the shaft")
    limits.add_argument("--efficiency", type=_efficiency, metavar="E", help="of the drive, motoring; default 0.9")
    limits.add_argument("--regeneration-efficiency", type=_efficiency, metavar="E", help="likewise; default 0.9")
    limits.add_argument("--auxiliary-W", type=_auxiliary, metavar="W", help="what the pack feeds besides; default 0")
    limits.add_argument(
        "--parts",
        type=Path,
        metavar="FILE",
        help="cables, connectors, charger, drive and more beside the cells of a pack",
    )
    limits.add_argument("--ceiling-A", type=_current, metavar="I", help="a ceiling from outside, of a pack")
    limits.add_argument(
        "--horizon-s",
        type=_horizon,
        nargs="+",
        metavar="S",
        help="default 2 10 30 continuous",
    )
    limits.add_argument(
        "--map",
        type=_plot_file,
        metavar="FILE",
        help="draw the limits over SOC and temperature, for the first horizon or 10 s (PNG, PDF or SVG)",
    )
    limits.add_argument("--csv", type=Path, metavar="FILE", help="the numbers; those of the map where it stands alone")
    limits.add_argument("--json", action="store_true", help="for machines")
    _add_age_options(limits)

    charge = command(
        "charge",
        _charge,
        "time until full or until an SOC",
        "voltkeel charge --cell cell.json --soc 0.2 --temperature-degC 10 --current-A 2.9 --to-soc 0.8",
    )
    charged = charge.add_mutually_exclusive_group(required=True)
    charged.add_argument("--cell", type=Path, metavar="FILE", help="charge of one cell")
    charged.add_argument(
        "--pack", type=Path, metavar="FILE", help="charge of a pack: its fullest group decides the end"
    )
    charge.add_argument("--soc", type=_soc, nargs="+", help="0..1, at rest; of a pack one, or one per group")
    charge.add_argument(
        "--temperature-degC",
        type=_temperature,
        nargs="+",
        metavar="T",
        help="at the start; of a pack one, or one per group",
    )
    charge.add_argument("--soc-std", type=_share, metavar="STD", help="of the SOC: gives the time a band")
    charge.add_argument(
        "--until", type=_clock, metavar="HH:MM", help="charge with the least current that is ready by then"
    )
    charge.add_argument("--start", type=_clock, metavar="HH:MM", help="of the charge, with --until; now if left out")
    charge.add_argument(
        "--price-per-kWh", type=_price, metavar="P", help="of the energy from the socket, with --supply"
    )
    charge.add_argument("--ambient-degC", type=_temperature, metavar="T", help="surroundings; as the cell if left out")
    charge.add_argument("--current-A", type=_current, metavar="A", help="current of the constant-current phase")
    charge.add_argument("--voltage-V", type=_voltage, metavar="V", help="voltage of a cell that is held until full")
    charge.add_argument("--end-current-A", type=_current, metavar="A", help="full when the current has fallen to this")
    charge.add_argument("--plan", type=Path, metavar="FILE", help="charge plan, instead of the one in the cell file")
    charge.add_argument("--supply", type=Path, metavar="FILE", help="mains and charger or DC station, for the pack")
    charge.add_argument("--parts", type=Path, metavar="FILE", help="cables and more beside the cells of a pack")
    charge.add_argument("--series", type=_count, default=1, metavar="N", help="groups that the supply charges")
    charge.add_argument("--parallel", type=_count, default=1, metavar="N", help="cells in each of them")
    charge.add_argument("--to-soc", type=_soc, metavar="SOC", help="stop here instead of full")
    charge.add_argument("--from-log", type=Path, metavar="LOG.csv", help="start from the state at the end of this log")
    charge.add_argument(
        "--at",
        type=_moment,
        action="append",
        metavar="S",
        help="time left at this moment of the log's clock, from its rows up to it alone; can stand more than once",
    )
    charge.add_argument(
        "--learn-out",
        type=Path,
        metavar="FILE",
        help="write what the completed charge of --from-log shows of its taper; with --learned, after what that knows",
    )
    charge.add_argument(
        "--learned", type=Path, metavar="FILE", help="such a file: the time to full with the taper learned"
    )
    charge.add_argument("--initial-soc", type=_soc, metavar="SOC", help="of the log; left out, its first voltage tells")
    charge.add_argument("--initial-soc-std", type=_soc, default=0.2, metavar="STD")
    charge.add_argument("--capacity-Ah", type=_capacity, metavar="AH", help="replaces the capacity of the cell file")
    charge.add_argument("--plot", type=_plot_file, metavar="FILE", help="draw the forecast (PNG, PDF or SVG)")
    charge.add_argument("--json", action="store_true", help="for machines")
    _add_age_options(charge)
    _add_log_options(charge)

    balance = command(
        "balance",
        _balance,
        "which groups of a string to bleed, and how long",
        "voltkeel balance --pack pack.json --temperature-degC 20 --soc 0.80 0.82 0.81 0.80 --soc-std 0.002",
    )
    balance.add_argument("--pack", type=Path, required=True, metavar="FILE", help="a pack of one string")
    balance.add_argument("--soc", type=_soc, nargs="+", required=True, metavar="SOC", help="0..1, one per group")
    balance.add_argument("--temperature-degC", type=_temperature, nargs="+", required=True, metavar="T")
    balance.add_argument(
        "--soc-std", type=_share, default=0.0, metavar="STD", help="of the differences: two of these are not bled"
    )
    balance.add_argument("--bleed-ohm", type=_ohm, metavar="R", help="of each group; that of the pack file if left out")
    balance.add_argument("--heat-max-W", type=_heat, metavar="W", help="mean heat that a module's resistors may make")
    balance.add_argument("--json", action="store_true", help="for machines")

    distance = command(
        "range",
        _range,
        "usable energy of a pack or a cell at a draw, and how far it goes",
        "voltkeel range --pack pack.json --soc 0.7 --temperature-degC -5 --trip load.csv",
    )
    emptied = distance.add_mutually_exclusive_group(required=True)
    emptied.add_argument("--cell", type=Path, metavar="FILE", help="of one cell")
    emptied.add_argument("--pack", type=Path, metavar="FILE", help="of a pack: its weakest group decides the end")
    distance.add_argument("--soc", type=_soc, nargs="+", required=True, metavar="SOC", help="one, or one per group")
    distance.add_argument(
        "--temperature-degC", type=_temperature, nargs="+", required=True, metavar="T", help="likewise"
    )
    distance.add_argument(
        "--ambient-degC", type=_temperature, metavar="T", help="surroundings; as the cells if left out"
    )
    distance.add_argument("--soc-std", type=_share, metavar="STD", help="of the SOC: gives the energy a band")
    drawing = distance.add_mutually_exclusive_group()
    drawing.add_argument("--power-W", type=_drawn_power, metavar="W", help="draw; mean power of the trip if left out")
    drawing.add_argument("--current-A", type=_current, metavar="A", help="draw as a current of the pack")
    distance.add_argument(
        "--trip",
        type=Path,
        metavar="FILE",
        help="columns time_s, power_W (charge positive), speed_m_per_s: as 'load' writes",
    )
    distance.add_argument(
        "--consumption-Wh-per-km", type=_consumption, metavar="C", help="expected; with a trip as its start"
    )
    distance.add_argument(
        "--consumption-std-share", type=_number("share", 0.001, 3.0), default=0.25, metavar="S", help="default 0.25"
    )
    distance.add_argument(
        "--speed-km-per-h", type=_speed_km_per_h, metavar="V", help="with --consumption-Wh-per-km: gives the draw"
    )
    distance.add_argument("--json", action="store_true", help="for machines")
    _add_age_options(distance)

    load = command(
        "load",
        _load,
        "power that a speed trace asks of the pack, on the road or on the water",
        "voltkeel load --speed trace.csv --vehicle vehicle.json --out load.csv",
    )
    load.add_argument(
        "--speed",
        type=Path,
        required=True,
        metavar="TRACE.csv",
        help="columns time_s, one of speed_m_per_s, speed_km_per_h, speed_mi_per_h, speed_kn or speed, perhaps grade",
    )
    load.add_argument(
        "--vehicle",
        type=Path,
        required=True,
        metavar="FILE",
        help="road vehicle or boat (data/schema/vehicle.schema.json)",
    )
    load.add_argument(
        "--out",
        type=Path,
        required=True,
        metavar="FILE",
        help="CSV to write: mean power of the pack in each step, positive when charging; its provenance goes beside it",
    )
    load.add_argument(
        "--speed-unit",
        choices=[name for name in vk.SpeedUnit.__members__ if name != "from_name"],
        help="of a column called speed",
    )
    load.add_argument("--plot", type=_plot_file, metavar="FILE", help="draw speed, power and energy (PNG, PDF or SVG)")
    load.add_argument("--json", action="store_true", help="for machines")

    simulate = command(
        "simulate",
        _simulate,
        "what a pack would do under a load",
        "voltkeel simulate --pack pack.json --load load.csv --soc 0.9 --temperature-degC 12 20 --plot run.png",
    )
    simulate.add_argument(
        "--pack", type=Path, required=True, metavar="FILE", help="pack file, with its cell files beside"
    )
    asked = simulate.add_mutually_exclusive_group(required=True)
    asked.add_argument(
        "--load", type=Path, metavar="FILE", help="CSV with time_s and current_A or power_W, positive when charging"
    )
    asked.add_argument("--cycle", type=Path, metavar="TRACE.csv", help="speed trace as voltkeel load takes it")
    asked.add_argument("--power-W", type=_signed_power, metavar="W", help="held, positive charges")
    asked.add_argument("--current-A", type=_signed_current, metavar="A", help="held, positive charges")
    simulate.add_argument("--vehicle", type=Path, metavar="FILE", help="for --cycle: road vehicle or boat")
    simulate.add_argument(
        "--speed-unit",
        choices=[name for name in vk.SpeedUnit.__members__ if name != "from_name"],
        help="for --cycle: of a column called speed",
    )
    simulate.add_argument(
        "--duration-s", type=_duration, metavar="S", help="of a held current or power; one hour if left out"
    )
    simulate.add_argument(
        "--soc", type=_soc, nargs="+", help="at the start, of all strings or of each; full if left out"
    )
    simulate.add_argument(
        "--temperature-degC",
        type=_temperature,
        nargs="+",
        metavar="T",
        help="at the start, of all strings or of each; left out, 25, with --cooling that of its air",
    )
    simulate.add_argument("--seed", type=_seed, default=1, help="of the spread of the cells")
    simulate.add_argument(
        "--capacity-std", type=_share, default=0.0, metavar="STD", help="0.02 is 2 %% from cell to cell"
    )
    simulate.add_argument("--resistance-std", type=_share, default=0.0, metavar="STD")
    simulate.add_argument("--soc-std", type=_share, default=0.0, metavar="STD")
    simulate.add_argument(
        "--cooling", type=Path, metavar="FILE", help="cooling plant (data/schema/cooling.schema.json)"
    )
    simulate.add_argument(
        "--cooling-supply",
        choices=list(vk.CoolingSupply.__members__),
        help="who pays for fans, pump, compressor and heater; left out, as the cooling file says",
    )
    simulate.add_argument(
        "--window-degC",
        type=_temperature,
        nargs=2,
        metavar=("LOW", "HIGH"),
        help="in which all cells should stay; left out, that of the cell files when discharging",
    )
    simulate.add_argument(
        "--warm-degC",
        type=_temperature,
        metavar="T",
        help="with --cooling: how long until all cells are this warm; left out, what the cell files want for charging",
    )
    simulate.add_argument("--no-heat", action="store_true", help="temperatures stay")
    simulate.add_argument("--balance", action="store_true", help="bleed resistors work; the pack file has them")
    simulate.add_argument("--output-interval-s", type=_duration, default=1.0, metavar="S", help="from row to row")
    simulate.add_argument("--out", type=Path, metavar="FILE", help="CSV to write; its provenance goes beside it")
    simulate.add_argument(
        "--plot", type=_plot_file, metavar="FILE", help="spread, temperatures, currents (PNG, PDF or SVG)"
    )
    simulate.add_argument("--json", action="store_true", help="for machines")
    return parser


_OUTPUTS = ("out", "age_out", "learn_out", "csv", "plot", "map")
# A file that a command goes on from may be the one that it writes.
_IN_PLACE = {("age_out", "age"), ("learn_out", "learned")}


def _check_paths(options: argparse.Namespace) -> None:
    """Refuse, before any work, what cannot be written and what would write over an input."""
    paths = [
        (name, path)
        for name, value in vars(options).items()
        for path in (value if isinstance(value, list) else [value])
        if isinstance(path, Path)
    ]
    for name, path in paths:
        if name not in _OUTPUTS:
            continue
        option = _option(name)
        if not path.resolve().parent.is_dir():
            raise vk.DataError(f"{option}: the folder of {path} does not exist")
        if path.is_dir():
            raise vk.DataError(f"{option}: {path} is a folder")
        for other, there in paths:
            if there is path or (name, other) in _IN_PLACE or there.resolve() != path.resolve():
                continue
            raise vk.DataError(f"{option}: {path} is read or written by this command already; name another file")


# What the library calls a setting, and the option that a person gave for it.
_OPTION_OF_FIELD = (
    ("LogReadSettings: separator", "--separator"),
    ("LogReadSettings: with decimal_comma the separator", "with --decimal-comma the --separator"),
    ("separator: must be", "--separator: must be"),
    ("the current with current_offset_A added", "the current with --current-offset-A added"),
    ("say so with the sign option", "say so with --discharge-positive"),
    ("(shortest_rest_s, rest_current_A) ", ""),
    ("(capacity_Ah)", "(--capacity-Ah)"),
    ("(floor_voltage_V)", "(--floor-V)"),
    ("floor_voltage_V: ", "--floor-V: "),
    ("block_min: ", "--block-min: "),
    ("initial_soc: ", "--initial-soc: "),
    ("initial_soc_std: ", "--initial-soc-std: "),
)


def _in_options(text: str, options: argparse.Namespace) -> str:
    """Say an error of the library in the options of the command, where it has them."""
    for field, said in _OPTION_OF_FIELD:
        names = re.findall(r"--([A-Za-z-]+)", said)
        if all(hasattr(options, name.replace("-", "_")) for name in names):
            text = text.replace(field, said)
    return text


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command.

    Parameters
    ----------
    arguments
        Words after ``voltkeel``; those of the process when None.

    Returns
    -------
    int
        0 when an answer was given, 2 for input that cannot be used, 130 when interrupted.
    """
    options = _parser().parse_args(arguments)
    run: Callable[[argparse.Namespace], int] = options.run
    try:
        _check_paths(options)
        if hasattr(options, "age"):
            options.known_age = _age(options)
        if hasattr(options, "mapping"):
            options.log_settings = _log_settings(options)
            options.corrections = []
        return run(options)
    except BrokenPipeError:
        # Who reads has enough (head, less): no error, and nothing to say at the end either.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except (vk.DataError, OSError) as error:
        print(f"voltkeel {options.command}: {_in_options(str(error), options)}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print(f"voltkeel {options.command}: interrupted, nothing written", file=sys.stderr)
        return 130


if __name__ == "__main__":
    sys.exit(main())

"""The command ``voltkeel``: fit, replay, limits and charge from a shell."""

from __future__ import annotations

import argparse
import datetime
import hashlib
import json
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NoReturn

import numpy as np

import voltkeel as vk

CAUTION = (
    "Caution: model results for one cell, no protection. Lithium cells and high voltage can injure and kill: hardware "
    "protection, the cell maker's data sheet, local codes and qualified people come first."
)
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


def _sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _now() -> str:
    return datetime.datetime.now(datetime.timezone.utc).isoformat(timespec="seconds")


def _write_json(path: Path, document: dict[str, Any]) -> None:
    """Write a JSON file that appears complete or not at all."""
    part = path.with_name(path.name + ".part")
    part.write_text(json.dumps(document, indent=2) + "\n", encoding="utf-8")
    part.replace(path)


def _read_log(path: Path, options: argparse.Namespace) -> vk.Log:
    log, report = vk.read_log(
        path,
        time=options.time_column,
        current=options.current_column,
        voltage=options.voltage_column,
        temperature=options.temperature_column,
        discharge_positive=options.discharge_positive,
        current_offset_A=options.current_offset_A,
        temperature_degC=options.log_temperature_degC,
        separator=options.separator,
    )
    if report.findings or report.temperatures_filled or report.last_line_open:
        print(f"{path.name}: {report.summary().strip()}", file=sys.stderr)
    return log


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
# fit


def _fit(options: argparse.Namespace) -> int:
    slow_path: Path = options.ocv
    pulse_paths: list[Path] = options.pulses
    slow = _read_log(slow_path, options)
    pulses = [_read_log(path, options) for path in pulse_paths]
    settings = vk.FitSettings(
        name=options.name or options.out.stem, pulses=vk.PulseFitSettings(branches=options.branches)
    )
    with _progress_bar("Fitting") as progress:
        result = vk.fit_cell(slow, pulses, settings, progress)
    cell = result.cell
    provenance = cell.provenance
    provenance.made_at = _now()
    digests = {str(path): _sha256(path) for path in [slow_path, *pulse_paths]}
    files = provenance.files
    for file in files:
        path = Path(file.name)
        file.sha256 = digests.get(str(path), "")
        file.name = path.name
        file.current_offset_A = options.current_offset_A
    provenance.files = files
    cell.provenance = provenance
    vk.save_cell(options.out, cell)
    if options.plot is not None:
        from voltkeel import plots

        plots.plot_fit(result, options.plot)

    print(f"{cell.name}: {cell.capacity_Ah:.3f} Ah (std {cell.capacity_Ah_std:.3f}), {len(pulses)} pulse tests")
    model = vk.CellModel(cell)
    rows = []
    for fit in result.pulses:
        at = model.resistance_at(0.5, fit.temperature_degC)
        rows.append(
            [
                f"{fit.temperature_degC:.1f} degC",
                f"{1e3 * at['r0_ohm']:.1f}",
                f"{1e3 * (at['r0_ohm'] + sum(at['branch_ohm'])):.1f}",
                ", ".join(f"{branch.time_s:.3g}" for branch in fit.branches),
                ", ".join(f"{100 * soc:.1f}" for soc in fit.initial_soc),
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
            "start SOC %",
            "residual mV",
            "rows used",
        ],
        rows,
    )
    for note in provenance.notes:
        print(f"Note: {note}")
    print(f"Wrote {options.out}")
    return 0


# ----------------------------------------------------------------------------------------------------------------------
# replay


def _provenance_path(out: Path) -> Path:
    return out.with_name(out.stem + ".provenance.json")


def _replay(options: argparse.Namespace) -> int:
    cell = vk.load_cell(options.cell)
    log = _read_log(options.log, options)
    with _progress_bar("Replaying") as progress:
        trace = vk.replay(
            cell,
            log,
            initial_soc=options.initial_soc,
            initial_soc_std=options.initial_soc_std,
            capacity_Ah=options.capacity_Ah,
            progress=lambda share: progress(share, ""),
        )
    vk.write_trace(options.out, trace)
    _write_json(
        _provenance_path(options.out),
        {
            "made_by": f"voltkeel {vk.__version__}",
            "made_at": _now(),
            "log": {"name": options.log.name, "sha256": _sha256(options.log), "rows": len(log)},
            "cell": {"name": options.cell.name, "sha256": _sha256(options.cell)},
            "current_offset_A": options.current_offset_A,
            "initial_soc": options.initial_soc,
            "initial_soc_std": options.initial_soc_std if options.initial_soc is not None else None,
            "capacity_Ah": options.capacity_Ah if options.capacity_Ah is not None else cell.capacity_Ah,
            "update_count": trace.update_count,
            "rejected_count": trace.rejected_count,
            "reset_count": trace.reset_count,
        },
    )
    if options.plot is not None:
        from voltkeel import plots

        plots.plot_replay(log, trace, options.plot)
    end = trace.end
    innovation = float(np.sqrt(np.mean(np.square(trace.innovation_V))))
    print(f"{options.log.name}: {len(log)} rows over {_minutes(float(log.time_s[-1] - log.time_s[0]))}")
    band = 100 * 1.96 * end.soc_std
    print(f"SOC at the end {100 * end.soc:.1f} % +- {band:.1f} (95 %)")
    print(f"Resistance {end.resistance_scale:.2f} of the tested cell's")
    print(
        f"Voltage fused {trace.update_count} times, refused {trace.rejected_count}, resets {trace.reset_count}; "
        f"measured minus predicted {1e3 * innovation:.1f} mV rms"
    )
    print(f"Wrote {options.out}")
    return 0


# ----------------------------------------------------------------------------------------------------------------------
# limits


def _direction_document(limit: vk.DirectionLimit) -> dict[str, Any]:
    return {
        "current_A": limit.current_A,
        "power_W": limit.power_W,
        "end_voltage_V": limit.end_voltage_V,
        "reason": limit.reason.name,
        "binding_value": limit.binding_value,
    }


_REASON_UNIT = {"voltage": " V", "soc": "", "temperature": " degC", "maker_table": " A", "none": " A"}


def _reason_text(limit: vk.DirectionLimit) -> str:
    name = limit.reason.name
    words = {"maker_table": "maker's table", "soc": "SOC", "none": "none found"}.get(name, name)
    return f"{words} {limit.binding_value:.4g}{_REASON_UNIT[name]}"


def _limits(options: argparse.Namespace) -> int:
    cell = vk.load_cell(options.cell)
    state = vk.ModelState(
        soc=options.soc, temperature_degC=options.temperature_degC, resistance_scale=options.resistance_scale
    )
    limits = vk.current_limits(cell, state, options.horizon_s)
    if options.json:
        document = {
            "cell": cell.name,
            "soc": options.soc,
            "temperature_degC": options.temperature_degC,
            "resistance_scale": options.resistance_scale,
            "horizons": [
                {
                    "horizon_s": limit.horizon_s,
                    "charge": _direction_document(limit.charge),
                    "discharge": _direction_document(limit.discharge),
                }
                for limit in limits
            ],
            "caution": CAUTION,
        }
        print(json.dumps(document, indent=2))
        return 0
    _print_table(
        f"{cell.name} at {100 * options.soc:.0f} % SOC and {options.temperature_degC:g} degC: allowed for one cell",
        ["for", "charge A", "W", "because of", "discharge A", "W", "because of"],
        [
            [
                f"{limit.horizon_s:g} s",
                f"{limit.charge.current_A:.2f}",
                f"{limit.charge.power_W:.1f}",
                _reason_text(limit.charge),
                f"{limit.discharge.current_A:.2f}",
                f"{limit.discharge.power_W:.1f}",
                _reason_text(limit.discharge),
            ]
            for limit in limits
        ],
    )
    print(CAUTION)
    return 0


# ----------------------------------------------------------------------------------------------------------------------
# charge


def _charge_plan(cell: vk.Cell, options: argparse.Namespace, current_A: float | None) -> vk.ChargePlan:
    """Give the cell's plan with the asked current in its full-current zones; gentler zones stay gentler."""
    plan = cell.charge
    if current_A is not None:
        zones = plan.zones
        full_A = max(zone.current_A for zone in zones)
        if current_A > full_A * 1.001:
            print(
                f"Note: {current_A:g} A is more than the {full_A:.2f} A of the cell's charge plan.",
                file=sys.stderr,
            )
        for zone in zones:
            zone.current_A = current_A if zone.current_A >= full_A * 0.999 else min(zone.current_A, current_A)
        plan.zones = zones
    if options.end_current_A is not None:
        plan.end_current_A = options.end_current_A
    return plan


def _charge(options: argparse.Namespace) -> int:
    cell = vk.load_cell(options.cell)
    if options.capacity_Ah is not None:
        cell.capacity_Ah = options.capacity_Ah
    current_A: float | None = options.current_A
    if options.from_log is not None:
        if options.soc is not None:
            raise vk.DataError("--soc and --from-log exclude each other: the log tells the SOC")
        log = _read_log(options.from_log, options)
        trace = vk.replay(cell, log, initial_soc=options.initial_soc, initial_soc_std=options.initial_soc_std)
        state = trace.end
        ambient_degC = float(log.temperature_degC[0])
        if options.temperature_degC is not None:
            state.temperature_degC = options.temperature_degC
        charging = log.current_A[log.current_A > 0.0]
        if current_A is None and charging.size > 0:
            current_A = float(np.quantile(charging, 0.9))
    else:
        if options.soc is None or options.temperature_degC is None:
            raise vk.DataError("give --soc and --temperature-degC, or --from-log")
        state = vk.ModelState(soc=options.soc, temperature_degC=options.temperature_degC, hysteresis=-1.0)
        ambient_degC = options.temperature_degC
    if options.ambient_degC is not None:
        ambient_degC = options.ambient_degC
    plan = _charge_plan(cell, options, current_A)
    if options.to_soc is None:
        outlook = vk.time_to_full(cell, state, plan, ambient_degC)
    else:
        outlook = vk.time_to_soc(cell, state, plan, ambient_degC, options.to_soc)
    if options.plot is not None:
        from voltkeel import plots

        plots.plot_charge(outlook, options.plot)
    forecast = outlook.forecast
    target = "full" if options.to_soc is None else f"{100 * options.to_soc:.0f} %"
    if options.json:
        document = {
            "cell": cell.name,
            "target": "full" if options.to_soc is None else options.to_soc,
            "reached": forecast.reached,
            "message": outlook.message,
            "time_s": forecast.time_s,
            "phases": [
                {"phase": "constant_current", "time_s": forecast.constant_current_s},
                {"phase": "constant_voltage", "time_s": forecast.constant_voltage_s},
            ],
            "end_soc": forecast.end_soc,
            "end_temperature_degC": forecast.end_temperature_degC,
            "highest_temperature_degC": forecast.highest_temperature_degC,
            "end_current_A": forecast.end_current_A,
            "charge_Ah": forecast.charge_Ah,
            "energy_Wh": forecast.energy_Wh,
            "start": {
                "soc": state.soc,
                "soc_std": state.soc_std,
                "temperature_degC": state.temperature_degC,
                "ambient_degC": ambient_degC,
                "resistance_scale": state.resistance_scale,
            },
            "provenance": {
                "made_by": f"voltkeel {vk.__version__}",
                "log": options.from_log.name if options.from_log is not None else None,
                "current_offset_A": options.current_offset_A,
                "current_A": max(zone.current_A for zone in plan.zones),
                "end_current_A": plan.end_current_A,
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
            f"Not reached: {outlook.message}; the charge ends at {100 * forecast.end_soc:.1f} % SOC "
            f"and {forecast.end_temperature_degC:.1f} degC."
        )
    _print_table(
        f"{_minutes(forecast.time_s)} until {target}" if forecast.reached else "As far as it gets",
        ["phase", "time", "share"],
        [
            [name, _minutes(seconds), f"{100 * seconds / max(forecast.time_s, 1e-9):.0f} %"]
            for name, seconds in (
                ("constant current", forecast.constant_current_s),
                ("constant voltage", forecast.constant_voltage_s),
            )
        ],
    )
    print(
        f"Ends at {100 * forecast.end_soc:.1f} % SOC, {forecast.end_temperature_degC:.1f} degC "
        f"(highest {forecast.highest_temperature_degC:.1f}), {forecast.end_current_A:.3g} A; "
        f"{forecast.charge_Ah:.3f} Ah and {forecast.energy_Wh:.2f} Wh into one cell."
    )
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


def _add_log_options(parser: argparse.ArgumentParser) -> None:
    group = parser.add_argument_group("reading logs", "CSV with a header; current positive when charging")
    group.add_argument(
        "--current-offset-A",
        type=_number("current offset", -1e3, 1e3),
        default=0.0,
        metavar="A",
        help="known sensor offset, added to every reading that is not exactly zero",
    )
    group.add_argument("--discharge-positive", action="store_true", help="the file writes discharge as positive")
    group.add_argument("--time-column", default="time_s", metavar="NAME")
    group.add_argument("--current-column", default="current_A", metavar="NAME")
    group.add_argument("--voltage-column", default="voltage_V", metavar="NAME")
    group.add_argument("--temperature-column", default="temperature_degC", metavar="NAME")
    group.add_argument(
        "--log-temperature-degC",
        type=_temperature,
        metavar="T",
        help="stands in where the file has no temperature",
    )
    group.add_argument("--separator", default=",", metavar="CHARACTER")


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

    fit = command(
        "fit",
        _fit,
        "make a cell.json from a slow test and pulse tests",
        "voltkeel fit --ocv slow_test.csv --pulses pulses_25degC.csv pulses_0degC.csv --out cell.json",
    )
    fit.add_argument("--ocv", type=Path, required=True, metavar="FILE", help="slow discharge and charge, C/20 or so")
    fit.add_argument(
        "--pulses",
        type=Path,
        required=True,
        nargs="+",
        action="extend",
        metavar="FILE",
        help="pulse tests, each starting at rest",
    )
    fit.add_argument("--out", type=Path, required=True, metavar="FILE", help="the cell file to write")
    fit.add_argument("--name", help="name of the cell; the name of the file if left out")
    fit.add_argument("--branches", type=int, choices=(1, 2, 3, 4), default=3, help="RC branches (default 3)")
    fit.add_argument("--plot", type=Path, metavar="FILE", help="draw the fit (PNG, PDF or SVG)")
    _add_log_options(fit)

    replay = command(
        "replay",
        _replay,
        "estimate the state of charge along a log",
        "voltkeel replay day.csv --cell cell.json --initial-soc 0.8 --initial-soc-std 0.2 --out estimate.csv",
    )
    replay.add_argument("log", type=Path, metavar="LOG.csv")
    replay.add_argument("--cell", type=Path, required=True, metavar="FILE")
    replay.add_argument(
        "--out", type=Path, required=True, metavar="FILE", help="CSV to write; its provenance goes beside it"
    )
    replay.add_argument("--initial-soc", type=_soc, metavar="SOC", help="0..1; left out, the first voltage tells")
    replay.add_argument(
        "--initial-soc-std", type=_soc, default=0.2, metavar="STD", help="how sure that is (default 0.2)"
    )
    replay.add_argument("--capacity-Ah", type=_capacity, metavar="AH", help="replaces the capacity of the cell file")
    replay.add_argument("--plot", type=Path, metavar="FILE", help="draw the estimate (PNG, PDF or SVG)")
    _add_log_options(replay)

    limits = command(
        "limits",
        _limits,
        "allowed currents and powers of one cell now, and why no more",
        "voltkeel limits --cell cell.json --soc 0.5 --temperature-degC -10",
    )
    limits.add_argument("--cell", type=Path, required=True, metavar="FILE")
    limits.add_argument("--soc", type=_soc, required=True, help="0..1")
    limits.add_argument("--temperature-degC", type=_temperature, required=True, metavar="T")
    limits.add_argument(
        "--resistance-scale",
        type=_number("scale", 0.1, 10.0),
        default=1.0,
        metavar="R",
        help="1 for the tested cell",
    )
    limits.add_argument(
        "--horizon-s",
        type=_number("horizon", 0.0, 600.0),
        nargs="+",
        default=[2.0, 10.0, 30.0],
        metavar="S",
        help="default 2 10 30",
    )
    limits.add_argument("--json", action="store_true", help="for machines")

    charge = command(
        "charge",
        _charge,
        "time until full or until an SOC",
        "voltkeel charge --cell cell.json --soc 0.2 --temperature-degC 10 --current-A 2.9 --to-soc 0.8",
    )
    charge.add_argument("--cell", type=Path, required=True, metavar="FILE")
    charge.add_argument("--soc", type=_soc, help="0..1, the cell at rest")
    charge.add_argument("--temperature-degC", type=_temperature, metavar="T", help="of the cell at the start")
    charge.add_argument("--ambient-degC", type=_temperature, metavar="T", help="surroundings; as the cell if left out")
    charge.add_argument("--current-A", type=_current, metavar="A", help="current of the constant-current phase")
    charge.add_argument("--end-current-A", type=_current, metavar="A", help="full when the current has fallen to this")
    charge.add_argument("--to-soc", type=_soc, metavar="SOC", help="stop here instead of full")
    charge.add_argument("--from-log", type=Path, metavar="LOG.csv", help="start from the state at the end of this log")
    charge.add_argument("--initial-soc", type=_soc, metavar="SOC", help="of the log; left out, its first voltage tells")
    charge.add_argument("--initial-soc-std", type=_soc, default=0.2, metavar="STD")
    charge.add_argument("--capacity-Ah", type=_capacity, metavar="AH", help="replaces the capacity of the cell file")
    charge.add_argument("--plot", type=Path, metavar="FILE", help="draw the forecast (PNG, PDF or SVG)")
    charge.add_argument("--json", action="store_true", help="for machines")
    _add_log_options(charge)
    return parser


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
        return run(options)
    except (vk.DataError, OSError) as error:
        print(f"voltkeel {options.command}: {error}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print(f"voltkeel {options.command}: interrupted, nothing written", file=sys.stderr)
        return 130


if __name__ == "__main__":
    sys.exit(main())

"""Last step of examples/demo.sh: the estimate beside the truth, which only invented data can have."""

import sys
from pathlib import Path

import numpy as np
import voltkeel as vk
from rich import box
from rich.console import Console
from rich.table import Table
from voltkeel import plots


def read_columns(path: Path) -> dict[str, "np.typing.NDArray[np.float64]"]:
    names = path.open(encoding="utf-8").readline().strip().split(",")
    values = np.loadtxt(path, delimiter=",", skiprows=1)
    return {name: values[:, k] for k, name in enumerate(names)}


def main() -> None:
    data, out = Path(sys.argv[1]), Path(sys.argv[2])
    cell = vk.load_cell(out / "cell.json")
    day, _ = vk.read_log(data / "harbour_day.csv")
    truth = read_columns(data / "harbour_day_truth.csv")
    charge, _ = vk.read_log(data / "shore_charge.csv")

    counted = np.concatenate([[0.0], np.cumsum(day.current_A[1:] * np.diff(day.time_s))]) / 3600 / cell.capacity_Ah
    settled = day.time_s > 600
    expected = np.interp(day.time_s, truth["time_s"], truth["soc"])
    table = Table(title="State of charge along the harbour day, in points", title_justify="left", box=box.SIMPLE_HEAD)
    for name in ("method", "told at the start", "error at the end", "rms error", "largest after 10 min"):
        table.add_column(name, justify="left" if name == "method" else "right")

    def row(method: str, start: str, soc: "np.typing.NDArray[np.float64]") -> None:
        error = 100 * (soc - expected)
        table.add_row(
            method,
            start,
            f"{error[-1]:+.1f}",
            f"{np.sqrt(np.mean(error**2)):.1f}",
            f"{np.abs(error[settled]).max():.1f}",
        )

    row("counting charge", "100 %", 1.0 + counted)
    row("counting charge", "80 %", 0.8 + counted)
    row("filter", "100 %", vk.replay(cell, day, initial_soc=1.0, initial_soc_std=0.05).soc)
    trace = vk.replay(cell, day, initial_soc=0.8, initial_soc_std=0.2)
    row("filter", "80 % +- 20", trace.soc)
    row("filter", "nothing", vk.replay(cell, day).soc)
    console = Console(width=None if sys.stdout.isatty() else 110)
    console.print(table)

    charging = np.flatnonzero(charge.current_A > 0.02)
    first, last = int(charging[0]) - 1, int(charging[-1])
    begin, end = charge.time_s[first], charge.time_s[last]
    plan = cell.charge
    zones = plan.zones
    for zone in zones:
        zone.current_A = 2.5
    plan.zones = zones
    plan.end_current_A = 0.25
    table = Table(
        title="Time to full on shore power, asked along the charge", title_justify="left", box=box.SIMPLE_HEAD
    )
    for name in ("asked after", "SOC then", "forecast", "in truth", "error"):
        table.add_column(name, justify="right")
    for share in (0.0, 0.25, 0.5, 0.75):
        k = int(np.searchsorted(charge.time_s, begin + share * (end - begin), side="right"))
        k = max(k, first + 1)
        so_far = vk.Log(charge.time_s[:k], charge.current_A[:k], charge.voltage_V[:k], charge.temperature_degC[:k])
        state = vk.replay(cell, so_far).end
        forecast = vk.time_to_full(cell, state, plan, float(charge.temperature_degC[0])).forecast
        left = float(end - so_far.time_s[-1])
        table.add_row(
            f"{(so_far.time_s[-1] - begin) / 60:.0f} min",
            f"{100 * state.soc:.1f} %",
            f"{forecast.time_s / 60:.0f} min",
            f"{left / 60:.0f} min",
            f"{(forecast.time_s - left) / 60:+.1f} min",
        )
    console.print(table)
    plots.plot_replay(day, trace, out / "estimate.png", truth=(truth["time_s"].tolist(), truth["soc"].tolist()))
    print(f"Plots: {out}/fit.png, {out}/estimate.png, {out}/charge.png")


if __name__ == "__main__":
    main()

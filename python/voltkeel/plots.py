"""Plots for people: a fit, a cell or groups along a log, a charge forecast, a map of limits, a load, a simulation."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import matplotlib as mpl
import numpy as np
import numpy.typing as npt

import voltkeel as vk

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# Blue to amber by temperature or order: told apart by every kind of colour vision, and in grey.
_SHADES = ("#1b3a57", "#2f6f8f", "#5aa0a0", "#c9963a", "#a3541c")


def _figure(rows: int, columns: int, size: tuple[float, float], **options: Any) -> tuple[Figure, npt.NDArray[Any]]:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure as NewFigure

    figure = NewFigure(figsize=size, layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.subplots(rows, columns, squeeze=False, **options)
    for axis in axes.flat:
        axis.grid(visible=True, color="#e4e4e4", linewidth=0.6)
        axis.set_axisbelow(True)
        axis.spines[["top", "right"]].set_visible(False)
    return figure, axes


def _save(figure: Figure, path: Path) -> None:
    with mpl.rc_context({"svg.hashsalt": "voltkeel"}):
        figure.savefig(path, dpi=130)


def _shade(k: int, count: int) -> str:
    return _SHADES[round(k * (len(_SHADES) - 1) / max(1, count - 1))]


def _plot_forms(axis: Axes, forms: Sequence[vk.FormTrial]) -> None:
    axis.set(title="Forms of the model", xlabel="information criterion above the best")
    if not forms:
        axis.text(0.5, 0.5, "the form was given", ha="center", transform=axis.transAxes)
        return
    names = [f"{form.branches} RC{' + transfer' if form.charge_transfer else ''}" for form in forms]
    above = [form.criterion - forms[0].criterion for form in forms]
    axis.barh(range(len(names)), above, color=_SHADES[1])
    axis.set_yticks(range(len(names)), names)
    axis.invert_yaxis()
    for k, form in enumerate(forms):
        axis.text(above[k], k, f" {above[k]:.0f}  ({1e3 * form.residual_rms_V:.1f} mV)", va="center")
    axis.margins(x=0.25)


def plot_fit(result: vk.FitResult, path: Path | str) -> None:
    """Draw the fitted cell: OCV, resistances over SOC and temperature, residuals.

    Parameters
    ----------
    result : FitResult
    path : file to write; its ending chooses the format
    """
    cell = result.cell
    figure, axes = _figure(2, 3, (15.0, 7.5))
    ocv: Axes = axes[0, 0]
    soc = 100 * cell.ocv.soc
    ocv.plot(soc, cell.ocv.charge_V, color=_SHADES[4], label="charge branch")
    ocv.plot(soc, cell.ocv.discharge_V, color=_SHADES[0], label="discharge branch")
    ocv.set(title="Open-circuit voltage", xlabel="SOC in %", ylabel="V")
    ocv.legend(frameon=False)
    count = len(result.pulses)
    for k, fit in enumerate(result.pulses):
        label = f"{fit.temperature_degC:.0f} degC"
        tested = (fit.soc >= fit.soc_low - 1e-9) & (fit.soc <= fit.soc_high + 1e-9)
        total = fit.r0_ohm + sum(branch.resistance_ohm for branch in fit.branches)
        transfer = fit.charge_transfer
        if transfer is not None:
            total = total + transfer.resistance_ohm
            axes[0, 2].semilogy(
                100 * fit.soc[tested],
                transfer.scale_V / transfer.resistance_ohm[tested],
                color=_shade(k, count),
                marker=".",
                label=f"{label}, {1e3 * transfer.scale_V:.0f} mV per e-fold",
            )
        for axis, values, log_std in (
            (axes[0, 1], fit.r0_ohm, fit.r0_log_std),
            (axes[1, 0], total, None),
        ):
            colour = _shade(k, count)
            axis.semilogy(100 * fit.soc[tested], 1e3 * values[tested], color=colour, marker=".", label=label)
            if log_std is not None:
                low, high = values * np.exp(-log_std), values * np.exp(log_std)
                axis.fill_between(
                    100 * fit.soc[tested],
                    1e3 * low[tested],
                    1e3 * high[tested],
                    color=colour,
                    alpha=0.15,
                    linewidth=0,
                )
    axes[0, 1].set(title="Ohmic resistance R0 (band: one std)", xlabel="SOC in %", ylabel="mohm")
    axes[1, 0].set(title="Resistance to a small lasting current", xlabel="SOC in %", ylabel="mohm")
    axes[0, 1].legend(frameon=False)
    residual: Axes = axes[1, 1]
    names = [f"{fit.temperature_degC:.0f} degC" for fit in result.pulses for _ in fit.residual_rms_V]
    values_mV = [1e3 * rms for fit in result.pulses for rms in fit.residual_rms_V]
    residual.barh(range(len(names)), values_mV, color=_SHADES[1])
    residual.set_yticks(range(len(names)), names)
    for k, value in enumerate(values_mV):
        residual.text(value, k, f" {value:.1f}", va="center")
    residual.set(title="Residual of each pulse test", xlabel="mV rms")
    exchange: Axes = axes[0, 2]
    exchange.set(title="Charge transfer: exchange current", xlabel="SOC in %", ylabel="A")
    if result.pulses[0].charge_transfer is None:
        exchange.text(0.5, 0.5, "none: all resistances are linear", ha="center", transform=exchange.transAxes)
    else:
        bottom, top = exchange.get_ylim()
        exchange.set_ylim(bottom * (bottom / top) ** 0.45, top)  # room for the legend
        exchange.legend(frameon=False, loc="lower center")
    _plot_forms(axes[1, 2], result.forms)
    figure.suptitle(f"{cell.name}: {cell.capacity_Ah:.3f} Ah (std {cell.capacity_Ah_std:.3f})")
    _save(figure, Path(path))


def plot_replay(
    log: vk.Log,
    trace: vk.SocTrace,
    path: Path | str,
    truth: tuple[Sequence[float], Sequence[float]] | None = None,
) -> None:
    """Draw the estimate along a log.

    Parameters
    ----------
    log, trace : what was replayed and what came out
    path : file to write
    truth : (time_s, soc) to compare with, when it is known
    """
    figure, axes = _figure(3, 1, (11.0, 8.0), sharex=True, height_ratios=[2.2, 1.2, 1.2])
    hours = trace.time_s / 3600
    top: Axes = axes[0, 0]
    band = 100 * 1.96 * trace.soc_std
    top.fill_between(
        hours,
        100 * trace.soc - band,
        100 * trace.soc + band,
        color=_SHADES[2],
        alpha=0.3,
        linewidth=0,
        label="95 % band",
    )
    top.plot(hours, 100 * trace.soc, color=_SHADES[0], label="estimate")
    if truth is not None:
        top.plot(
            np.asarray(truth[0]) / 3600,
            100 * np.asarray(truth[1]),
            color=_SHADES[4],
            linestyle="--",
            label="truth",
        )
    top.set(ylabel="SOC in %", title=f"State of charge along {Path(log.source).name}")
    top.set_ylim(max(-5.0, 100 * float(trace.soc.min()) - 10), min(105.0, 100 * float(trace.soc.max()) + 10))
    top.legend(frameon=False)
    middle: Axes = axes[1, 0]
    middle.plot(hours, 1e3 * trace.innovation_V, color=_SHADES[1], linewidth=0.5)
    limit = 1e3 * 1.96 * trace.innovation_std_V
    middle.plot(hours, limit, color=_SHADES[3], linewidth=0.7)
    middle.plot(hours, -limit, color=_SHADES[3], linewidth=0.7, label="95 % expected")
    middle.set(ylabel="measured minus\npredicted, mV")
    middle.legend(frameon=False, loc="upper right")
    bottom: Axes = axes[2, 0]
    bottom.plot(hours, log.current_A, color=_SHADES[0], linewidth=0.5)
    bottom.set(ylabel="current in A\n(positive charges)", xlabel="hours")
    _save(figure, Path(path))


def plot_group_replay(log: vk.GroupLog, trace: vk.GroupTrace, path: Path | str) -> None:
    """Draw the groups of a string along a log.

    Parameters
    ----------
    log, trace : what was replayed and what came out
    path : file to write
    """
    from matplotlib.ticker import MaxNLocator

    figure, axes = _figure(4, 1, (11.0, 9.5), sharex=True, height_ratios=[2.0, 1.6, 0.8, 1.0])
    reference = trace.reference
    hours = reference.time_s / 3600
    told_hours = hours[trace.row]
    soc = 100 * trace.soc
    mean = soc.mean(axis=1)
    top: Axes = axes[0, 0]
    band = 196 * reference.soc_std
    top.fill_between(
        hours,
        100 * reference.soc - band,
        100 * reference.soc + band,
        color=_SHADES[2],
        alpha=0.3,
        linewidth=0,
        label="95 % band of the mean",
    )
    top.plot(hours, 100 * trace.soc_max, color=_SHADES[3], linewidth=0.9, label="fullest")
    top.plot(hours, 100 * reference.soc, color=_SHADES[0], label="mean")
    top.plot(hours, 100 * trace.soc_min, color=_SHADES[4], linewidth=0.9, label="emptiest")
    title = f"State of charge of {trace.groups} groups along {Path(log.source).name}"
    top.set(ylabel="SOC in %", title=title)
    top.set_ylim(max(-5.0, 100 * float(trace.soc_min.min()) - 10), min(105.0, 100 * float(trace.soc_max.max()) + 10))
    top.legend(frameon=False)
    middle: Axes = axes[1, 0]
    low, high = int(soc[-1].argmin()), int(soc[-1].argmax())
    for k in range(trace.groups):
        marked = {low: _SHADES[4], high: _SHADES[3]}.get(k)
        middle.plot(
            told_hours,
            soc[:, k] - mean,
            color=marked or _SHADES[2],
            linewidth=1.2 if marked else 0.5,
            zorder=3 if marked else 2,
        )
    for k in {low, high}:
        text = f" {trace.first_number + k}"
        middle.annotate(text, (float(told_hours[-1]), float(soc[-1, k] - mean[-1])), va="center")
    middle.set(ylabel="each group less\nthe mean, points")
    faults: Axes = axes[2, 0]
    at, group = np.nonzero(trace.fault_bits)
    faults.scatter(told_hours[at], trace.first_number + group, s=4, marker="|", color=_SHADES[4])
    faults.set(ylabel="groups\nwith faults")
    faults.set_ylim(trace.first_number - 1, trace.first_number + trace.groups)
    faults.yaxis.set_major_locator(MaxNLocator(nbins=4, integer=True))
    bottom: Axes = axes[3, 0]
    bottom.plot(hours, log.current_A, color=_SHADES[0], linewidth=0.5)
    bottom.set(ylabel="current in A\n(positive charges)", xlabel="hours")
    _save(figure, Path(path))


def plot_charge(outlook: vk.ChargeOutlook | vk.ChargeTimeOutlook, path: Path | str) -> None:
    """Draw a charge forecast: SOC, current, voltage and temperature over time.

    Parameters
    ----------
    outlook : ChargeOutlook or ChargeTimeOutlook
    path : file to write
    """
    forecast = outlook.forecast if isinstance(outlook, vk.ChargeOutlook) else outlook.band.central
    curve = outlook.curve
    minutes = curve["time_s"] / 60
    figure, axes = _figure(2, 2, (11.0, 6.5), sharex=True)
    for axis, key, factor, label, colour in (
        (axes[0, 0], "soc", 100.0, "SOC in %", _SHADES[0]),
        (axes[0, 1], "current_A", 1.0, "current in A", _SHADES[1]),
        (axes[1, 0], "voltage_V", 1.0, "voltage in V", _SHADES[3]),
        (axes[1, 1], "temperature_degC", 1.0, "temperature in degC", _SHADES[4]),
    ):
        axis.plot(minutes, factor * curve[key], color=colour)
        axis.set(ylabel=label)
    for axis in axes[1]:
        axis.set(xlabel="minutes")
    switch = forecast.constant_current_s / 60
    if forecast.constant_voltage_s > 0:
        for axis in axes.flat:
            axis.axvline(switch, color="#999999", linewidth=0.8, linestyle=":")
    ending = "" if forecast.reached else f" ({outlook.message})"
    figure.suptitle(f"Charge forecast: {minutes[-1]:.0f} min{ending}")
    _save(figure, Path(path))


def plot_pack_charge(outlook: vk.PackChargeOutlook, path: Path | str) -> None:
    """Draw the charge of a pack: SOC, pack current, group voltages and temperatures over time, from lowest to highest.

    Parameters
    ----------
    outlook : PackChargeOutlook
    path : file to write
    """
    curve = outlook.curve
    minutes = curve["time_s"] / 60
    figure, axes = _figure(2, 2, (11.0, 6.5), sharex=True)
    axes[0, 1].plot(minutes, curve["current_A"], color=_SHADES[1])
    axes[0, 1].set(ylabel="current of the pack in A")
    for axis, low, high, factor, label, colour in (
        (axes[0, 0], "soc_min", "soc_max", 100.0, "SOC of the groups in %", _SHADES[0]),
        (axes[1, 0], "group_voltage_min_V", "group_voltage_max_V", 1.0, "group voltage in V", _SHADES[3]),
        (axes[1, 1], "temperature_min_degC", "temperature_max_degC", 1.0, "temperature in degC", _SHADES[4]),
    ):
        axis.fill_between(minutes, factor * curve[low], factor * curve[high], color=colour, alpha=0.25, linewidth=0)
        axis.plot(minutes, factor * curve[low], color=colour, linewidth=0.9, linestyle="--", label="lowest")
        axis.plot(minutes, factor * curve[high], color=colour, label="highest")
        axis.set(ylabel=label)
        axis.legend(loc="lower right", frameon=False)
    for axis in axes[1]:
        axis.set(xlabel="minutes")
    ending = "" if outlook.forecast.reached else f" ({outlook.message})"
    figure.suptitle(
        f"Charge of the pack: {minutes[-1]:.0f} min{ending}, {curve['voltage_V'][0]:.1f} V to "
        f"{curve['voltage_V'][-1]:.1f} V at the terminals"
    )
    _save(figure, Path(path))


def plot_limit_map(limits: vk.LimitMap, path: Path | str, name: str = "") -> None:
    """Draw limits over SOC and temperature, charge beside discharge; lines part what decides.

    Parameters
    ----------
    limits : LimitMap
    path : file to write
    name : of the cell or pack
    """
    figure, axes = _figure(1, 2, (11.0, 4.8), sharex=True, sharey=True)
    soc = 100 * limits.soc
    for axis, values, reasons, title in (
        (axes[0, 0], limits.charge_A, limits.charge_reason, "charge"),
        (axes[0, 1], -limits.discharge_A, limits.discharge_reason, "discharge"),
    ):
        drawn = axis.pcolormesh(
            soc, limits.temperature_degC, values, shading="nearest", cmap="cividis", rasterized=True
        )
        figure.colorbar(drawn, ax=axis, label="current in A")
        numbers = np.array([[int(reason) for reason in row] for row in reasons])
        for number in np.unique(numbers):
            inside = (numbers == number).astype(float)
            if inside.min() < inside.max():
                axis.contour(soc, limits.temperature_degC, inside, levels=[0.5], colors="#ffffff", linewidths=0.7)
            rows, columns = np.nonzero(inside)
            middle = np.argmin((rows - np.median(rows)) ** 2 + (columns - np.median(columns)) ** 2)
            if len(rows) > inside.size // 40:
                place = (soc[columns[middle]], limits.temperature_degC[rows[middle]])
                text = vk.LimitReason(int(number)).name.replace("_", " ")
                box = {"facecolor": "#ffffff", "alpha": 0.7, "edgecolor": "none", "pad": 1.5}
                axis.annotate(text, place, ha="center", va="center", fontsize=8, bbox=box)
        axis.set(title=title, xlabel="SOC in %")
    axes[0, 0].set(ylabel="temperature in degC")
    horizon = "held for ever" if np.isinf(limits.horizon_s) else f"for {limits.horizon_s:g} s"
    figure.suptitle(f"{name + ': ' if name else ''}allowed current {horizon}")
    _save(figure, Path(path))


def plot_load(load: vk.RoadLoad | vk.PropellerLoad, path: Path | str, name: str = "") -> None:
    """Draw a load: speed, power of the pack and its energy over time.

    Parameters
    ----------
    load : RoadLoad or PropellerLoad
        Of a PropellerLoad the speed is drawn in knots. Where the drive has less than the trace asks for, the speed is
        shaded.
    path : file to write
    name : of the vehicle, for the title
    """
    afloat = isinstance(load, vk.PropellerLoad)
    elapsed_s = load.time_s - load.time_s[0]
    in_hours = elapsed_s[-1] > 3 * 3600
    time = elapsed_s / (3600 if in_hours else 60)
    figure, axes = _figure(3, 1, (11.0, 8.0), sharex=True, height_ratios=[1, 1.6, 1])
    speed: Axes = axes[0, 0]
    speed.plot(time, (3600 / 1852 if afloat else 3.6) * load.speed_m_per_s, color=_SHADES[0])
    speed.set(ylabel="speed in kn" if afloat else "speed in km/h")
    speed.set_ylim(bottom=0)
    short = load.shortfall_W > 0
    if short.any():
        top = np.where(short, speed.get_ylim()[1], 0.0)
        speed.fill_between(time, top, step="pre", color=_SHADES[3], alpha=0.35, linewidth=0, label="beyond the drive")
        speed.legend(frameon=False, loc="upper right")
    # A mean over the step that ends in the row: a step is drawn as a step.
    power: Axes = axes[1, 0]
    power.fill_between(time, load.power_W / 1e3, step="pre", color=_SHADES[1], alpha=0.35, linewidth=0)
    power.step(time, load.power_W / 1e3, where="pre", color=_SHADES[1], linewidth=0.8)
    power.axhline(0, color="#999999", linewidth=0.8)
    power.set(ylabel="power of the pack in kW\n(positive charges)")
    energy: Axes = axes[2, 0]
    energy_J = np.cumsum(load.power_W * np.diff(elapsed_s, prepend=0.0))
    energy.plot(time, energy_J / 3.6e6, color=_SHADES[4])
    energy.set(ylabel="energy of the pack\nin kWh", xlabel="hours" if in_hours else "minutes")
    way = f"{load.distance_m / 1852:.2f} nautical miles" if afloat else f"{load.distance_m / 1e3:.2f} km"
    figure.suptitle(f"{name}: {way}" if name else way)
    _save(figure, Path(path))


def _draw_cooling(temperatures: Axes, switches: Axes, cooling: vk.CoolingTrace) -> None:
    """Draw coolant and air, and below them when each part was on."""
    hours = cooling.time_s / 3600
    temperatures.plot(hours, cooling.coolant_degC, color=_SHADES[1], linewidth=0.9, label="coolant")
    temperatures.plot(hours, cooling.air_degC, color="#888888", linewidth=0.8, linestyle=":", label="air")
    temperatures.legend(frameon=False, loc="best")
    temperatures.set(ylabel="cooling in degC")
    parts = {
        "flow": cooling.flowing,
        "radiator fan": cooling.radiator_fan,
        "chiller": cooling.chiller,
        "heater": cooling.heater,
    }
    shown = [name for name, on in parts.items() if name == "flow" or on.any()]
    for k, name in enumerate(shown):
        on = parts[name]
        edges = np.flatnonzero(np.diff(on, prepend=0.0, append=0.0))
        ends = np.append(hours, hours[-1])
        spans = [(ends[start], ends[stop] - ends[start]) for start, stop in zip(edges[::2], edges[1::2], strict=True)]
        switches.broken_barh(spans, (-k - 0.4, 0.8), color=_SHADES[k % len(_SHADES)])
    switches.set_yticks([-k for k in range(len(shown))], shown)
    switches.set_ylim(-len(shown) + 0.4, 0.6)
    switches.set(ylabel="on")


def plot_simulation(
    result: vk.SimulationResult, path: Path | str, title: str = "", cooling: vk.CoolingTrace | None = None
) -> None:
    """Draw a simulated pack: spread of its groups, temperatures, currents of its strings, and what cooled it.

    Parameters
    ----------
    result : SimulationResult
    path : file to write
    title : above the plot
    cooling : what its cooling plant did, for two more panels
    """
    hours = result.time_s / 3600
    ratios = [1.0] * 4 if cooling is None else [1.0] * 5 + [0.5]
    figure, axes = _figure(len(ratios), 1, (11.0, 2.5 * sum(ratios)), sharex=True, height_ratios=ratios)

    def spread(axis: Axes, low: npt.NDArray[Any], mean: npt.NDArray[Any], high: npt.NDArray[Any], shade: int) -> None:
        axis.fill_between(hours, low, high, color=_SHADES[shade], alpha=0.25, linewidth=0, label="least to most")
        axis.plot(hours, mean, color=_SHADES[shade], linewidth=0.9, label="mean")
        axis.legend(frameon=False, loc="best")

    spread(axes[0, 0], result.group_voltage_min_V, result.group_voltage_mean_V, result.group_voltage_max_V, 1)
    axes[0, 0].set(ylabel="groups in V")
    spread(axes[1, 0], 100 * result.soc_min, 100 * result.soc_mean, 100 * result.soc_max, 0)
    axes[1, 0].set(ylabel="SOC of the cells in %")
    spread(axes[2, 0], result.core_min_degC, result.core_mean_degC, result.core_max_degC, 4)
    axes[2, 0].plot(hours, result.ambient_degC, color="#888888", linewidth=0.8, linestyle=":")
    axes[2, 0].set(ylabel="inside of the cells in degC\n(dotted: surroundings)")
    currents: Axes = axes[3, 0]
    count = len(result.string_names)
    for k, name in enumerate(result.string_names):
        currents.plot(hours, result.string_current_A[:, k], color=_shade(k, count), linewidth=0.8, label=name)
    currents.legend(frameon=False, loc="best")
    currents.set(ylabel="strings in A\n(positive charges)")
    if cooling is not None:
        _draw_cooling(axes[4, 0], axes[5, 0], cooling)
    axes[-1, 0].set(xlabel="hours")
    for event in result.events:
        for axis in axes.flat:
            axis.axvline(event.time_s / 3600, color="#999999", linewidth=0.8, linestyle=":")
    if title:
        figure.suptitle(title)
    _save(figure, Path(path))

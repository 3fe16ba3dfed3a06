"""Curves of pumps and blowers with what the plant asks for, as one drawing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, BinaryIO

from cyclesim.said.words import plain
from cyclesim.shown.pictures.drawing import save

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from cyclesim.decide.sizing.blower_sizing import BlowerSizing
    from cyclesim.decide.sizing.pump_sizing import PumpSizing

_SHADES = ("0.35", "#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9")
_L_MIN = 60_000.0


def pump_figure(sizing: PumpSizing) -> Figure:
    """Every candidate's curves, the plant's own, where they meet, and what the jets ask for."""
    figure, axes = _sheet(f"{sizing.scenario.title}: a pump in the place of {sizing.pump}")
    names = list(dict.fromkeys(pump for pump, _, _ in sizing.curves))
    for pump, speed, points in sizing.curves:
        label = pump if speed == "on" else f"{pump}, {speed}"
        _curve(axes, points, 1.0, label, _shade(names, pump), "--" if speed == "low" else "-")
    for given in sizing.given:
        _point(axes, given.flow_m3_s, given.head_m, _shade(names, given.pump), ringed=given is sizing.best)
    _curve(axes, sizing.system, 1.0, "these pipes", "black", width=1.8)
    _cross(axes, sizing.asked.flow_m3_s, sizing.asked.head_m, "what the jets ask for")
    axes.set_xlabel("flow, L/min")
    axes.set_ylabel("head, m")
    _finish(axes, 1.1 * max(h for _, _, points in sizing.curves for _, h in points))
    return figure


def blower_figure(sizing: BlowerSizing) -> Figure:
    """Likewise, pressure over flow."""
    figure, axes = _sheet(f"{sizing.scenario.title}: the blower")
    names = [blown.blower for blown in sizing.given]
    for name, points in sizing.curves:
        _curve(axes, points, 1e-3, name, _shade(names, name))
    for blown in sizing.given:
        _point(
            axes, blown.flow_m3_s, blown.pressure_pa * 1e-3, _shade(names, blown.blower), blown is sizing.best
        )
    _curve(axes, sizing.system, 1e-3, "depth and pipe", "black", width=1.8)
    axes.axhline(sizing.depth_pa * 1e-3, color="0.5", lw=0.8, ls=":", label="depth alone")
    if sizing.wanted_m3_s is not None and sizing.wanted_pa is not None:
        _cross(axes, sizing.wanted_m3_s, sizing.wanted_pa * 1e-3, "what is wanted")
    axes.set_xlabel("flow at the intake, L/min")
    axes.set_ylabel("pressure, kPa")
    pressures = [p for _, points in sizing.curves for _, p in points]
    _finish(axes, 1.1 * max([*pressures, sizing.depth_pa]) * 1e-3)
    return figure


def _shade(names: list[str], name: str) -> str:
    return _SHADES[names.index(name) % len(_SHADES)]


def _curve(
    axes: Axes,
    points: Sequence[tuple[float, float]],
    scale: float,
    label: str,
    color: str,
    line: str = "-",
    width: float = 1.3,
) -> None:
    flows, heights = [q * _L_MIN for q, _ in points], [h * scale for _, h in points]
    axes.plot(flows, heights, line, color=color, lw=width, label=label)


def _point(axes: Axes, flow_m3_s: float, height: float, color: str, ringed: bool) -> None:
    """Where a machine's curve meets what is asked."""
    size, ring = (11, "black") if ringed else (6, color)
    axes.plot([flow_m3_s * _L_MIN], [height], "o", color=color, ms=size, mec=ring, mew=1.5)


def _cross(axes: Axes, flow_m3_s: float, height: float, label: str) -> None:
    axes.plot([flow_m3_s * _L_MIN], [height], "X", color="black", ms=11, mec="white", label=label)


def _sheet(title: str) -> tuple[Figure, Axes]:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9.0, 5.4))
    axes = figure.add_axes((0.08, 0.11, 0.63, 0.78))
    figure.text(0.08, 0.94, plain(title), weight="bold", size=10)
    return figure, axes


def _finish(axes: Axes, top: float) -> None:
    axes.set_ylim(0.0, top)
    axes.set_xlim(0.0, None)
    axes.grid(color="0.9", lw=0.6)
    axes.legend(frameon=False, loc="upper left", bbox_to_anchor=(1.01, 1.0), title="ringed: see the advice")
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def write_pump_figure(sizing: PumpSizing, stream: BinaryIO, form: str) -> None:
    """Draw to a binary stream as ".svg", ".pdf" or ".png"; the same sizing gives the same bytes."""
    save(lambda: pump_figure(sizing), stream, form)


def write_blower_figure(sizing: BlowerSizing, stream: BinaryIO, form: str) -> None:
    """Likewise, a blower."""
    save(lambda: blower_figure(sizing), stream, form)

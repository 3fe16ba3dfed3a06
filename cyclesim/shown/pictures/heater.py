"""A heat source in several sizes as one drawing: how long warming up takes, and what a year costs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, BinaryIO

from cyclesim.said.heater_drawn import From, HeaterDrawn
from cyclesim.said.words import number, plain
from cyclesim.shown.pictures.drawing import save
from cyclesim.shown.reader import sentence

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_BLUE, _RED, _GREEN, _GREY = "#0072B2", "#D55E00", "#009E73", "0.45"
_WIDE = 9.2
_CHAR_INCHES = 0.08
"""How wide a character of 10 pt is, rather too wide."""
_LOOKS: dict[From, tuple[str, str, float]] = {
    "filled, coldest": ("o-", _BLUE, 2.0),
    "filled, mild": ("s-", _GREEN, 1.4),
    "set-back": ("^-", _RED, 2.0),
    "handbook with losses": ("--", _GREY, 1.0),
    "handbook": (":", _GREY, 1.4),
}


def write_heater_figure(
    drawn: HeaterDrawn, stream: BinaryIO, form: str, mark: str = "", *, us: bool = False
) -> None:
    """Draw as `.svg`, `.pdf` or `.png`; the same sizing gives the same bytes."""
    save(lambda: heater_figure(drawn, us), stream, form, mark)


def heater_figure(drawn: HeaterDrawn, us: bool = False) -> Figure:
    """Hours to warm up above, cost of a year below, over the same sizes; in US units where *us*."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(_WIDE, 7.4))
    times = figure.add_axes((0.09, 0.4, 0.88, 0.37))
    costs = figure.add_axes((0.09, 0.09, 0.88, 0.23))
    _draw_times(times, drawn, us)
    _draw_costs(costs, drawn)
    for axes in (times, costs):
        _size_axis(axes, drawn)
    figure.text(0.02, 0.965, plain(drawn.title), fontsize=12, fontweight="bold", va="center")
    figure.text(0.02, 0.935, drawn.note, va="center")
    key = "yellow: advised; " if drawn.advised_kw is not None else ""
    if drawn.limit:
        key += f"hatched: more than the breaker carries beside what may run with it, above {drawn.limit}"
    figure.text(0.02, 0.91, key, va="center")
    return figure


def _draw_times(axes: Axes, drawn: HeaterDrawn, us: bool) -> None:
    for times in drawn.times:
        look, colour, width = _LOOKS[times.start]
        points = zip(drawn.sizes_kw, times.hours, strict=True)
        known = [(size_kw, hours) for size_kw, hours in points if hours is not None]
        if known:
            xy = zip(*known, strict=True)
            axes.plot(*xy, look, color=colour, lw=width, ms=5, label=sentence(times.label, us), zorder=3)
    axes.set_yscale("log")
    low_h, high_h = axes.get_ylim()
    axes.set_ylim(min(low_h, 0.8 * drawn.need_h), max(high_h, 1.6 * drawn.need_h))
    _, colour, _ = _LOOKS[drawn.need_from]
    axes.axhline(drawn.need_h, color=colour, lw=1.4, ls=(0, (6, 2)), label=sentence(drawn.need, us), zorder=2)
    from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

    low_h, high_h = axes.get_ylim()
    ticks = [t for t in (0.25, 0.5, 1, 2, 3, 6, 12, 24, 48, 96, 192, 384) if low_h <= t <= high_h]
    axes.yaxis.set_major_locator(FixedLocator(ticks))
    axes.yaxis.set_minor_locator(NullLocator())
    axes.yaxis.set_major_formatter(FuncFormatter(lambda t, _: f"{t:g} h"))
    axes.grid(axis="y", color="0.9", lw=0.5)
    axes.set_title(sentence(drawn.times_of, us), loc="left", fontsize=10, fontweight="bold", pad=44)
    axes.legend(loc="lower left", bbox_to_anchor=(-0.01, 1.0), ncols=3, frameon=False, fontsize=8.5)


def _draw_costs(axes: Axes, drawn: HeaterDrawn) -> None:
    axes.plot(drawn.sizes_kw, drawn.costs, "o-", color=_BLUE, lw=1.6, ms=5, zorder=3)
    for size_kw, cost, cold in zip(drawn.sizes_kw, drawn.costs, drawn.cold_sessions, strict=True):
        below = f"\n{cold} cold" if cold else ""
        axes.annotate(f"{number(cost)}{below}", (size_kw, cost), xytext=(0, 6),
                      textcoords="offset points", ha="center", va="bottom", fontsize=8,
                      bbox={"fc": "white", "ec": "none", "pad": 0.8, "alpha": 0.85})  # fmt: skip
    axes.set_ylim(0.0, 1.35 * max(drawn.costs))
    axes.grid(axis="y", color="0.9", lw=0.5)
    axes.set_title(drawn.costs_of, loc="left", fontsize=10, fontweight="bold")
    axes.set_xlabel("size of the heater")


def staggered(names: Sequence[str], at_inches: Sequence[float]) -> list[str]:
    """Names beneath an axis, each as many lines lower as it takes to stand clear of those before it."""
    lower, ends = list[str](), list[float]()
    for name, at in zip(names, at_inches, strict=True):
        half = 0.5 * _CHAR_INCHES * len(name)
        line = next((k for k, end in enumerate(ends) if at - half > end), len(ends))
        ends[line : line + 1] = [at + half + _CHAR_INCHES]
        lower.append("\n" * line + name)
    return lower


def _size_axis(axes: Axes, drawn: HeaterDrawn) -> None:
    """One axis of sizes; the advised one as a band, what the breaker does not carry hatched."""
    from matplotlib.ticker import NullLocator

    axes.set_xscale("log")
    left, right = drawn.sizes_kw[0] / 1.15, drawn.sizes_kw[-1] * 1.15
    axes.set_xlim(left, right)
    inches = axes.get_position().width * _WIDE / math.log(right / left)
    at = [inches * math.log(size_kw / left) for size_kw in drawn.sizes_kw]
    axes.set_xticks(drawn.sizes_kw, staggered(drawn.names, at))
    axes.xaxis.set_minor_locator(NullLocator())
    if (advised := drawn.advised_kw) is not None:
        axes.axvspan(advised / 1.06, advised * 1.06, fc="#FFE9A8", ec="none", zorder=0)
    if (limit := drawn.limit_kw) is not None and limit < right:
        axes.axvspan(max(limit, left), right, fc="none", ec="0.8", hatch="///", lw=0.0, zorder=0)
        axes.axvline(limit, color="black", lw=1.0, ls=(0, (5, 3)), zorder=2)

"""A heater in several sizes as one drawing: how long warming up takes, and what a year costs."""

from __future__ import annotations

from typing import TYPE_CHECKING, BinaryIO

from cyclesim.analysis.amounts import lasting
from cyclesim.said.size_heater import degrees, kw, limit_kw
from cyclesim.said.words import number, plain
from cyclesim.shown.pictures.drawing import save

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from cyclesim.decide.sizing.heater_sizing import HeaterSizing

_BLUE, _RED, _GREEN, _GREY = "#0072B2", "#D55E00", "#009E73", "0.45"


def write_heater_figure(sizing: HeaterSizing, stream: BinaryIO, form: str) -> None:
    """Draw as `.svg`, `.pdf` or `.png`; the same sizing gives the same bytes."""
    save(lambda: heater_figure(sizing), stream, form)


def heater_figure(sizing: HeaterSizing) -> Figure:
    """Hours to warm up above, cost of a year below, over the same sizes."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9.2, 7.4))
    times = figure.add_axes((0.09, 0.4, 0.88, 0.37))
    costs = figure.add_axes((0.09, 0.09, 0.88, 0.23))
    _draw_times(times, sizing)
    _draw_costs(costs, sizing)
    for axes in (times, costs):
        _size_axis(axes, sizing)
    figure.text(0.02, 0.965, plain(sizing.scenario.title), fontsize=12, fontweight="bold", va="center")
    chosen = sizing.recommended
    verdict = f"advised: {kw(chosen.size_w)}" if chosen else "no size does everything"
    note = f"{sizing.source} in several sizes, * as in the file; {verdict}"
    figure.text(0.02, 0.935, note, va="center")
    key = "yellow: advised; " if chosen else ""
    if sizing.supply_limit_w is not None:
        key += f"hatched: more than the breaker carries beside what may run with it, above {limit_kw(sizing)}"
    figure.text(0.02, 0.91, key, va="center")
    return figure


def _draw_times(axes: Axes, sizing: HeaterSizing) -> None:
    months = sizing.seasons
    fill, low, need = sizing.fill_c, sizing.set_back_c, sizing.need
    lines = (
        ("filled_coldest_s", f"filled at {degrees(fill)} °C, {months.coldest_week:%B}", "o-", _BLUE, 2.0),
        ("filled_mild_s", f"filled at {degrees(fill)} °C, {months.mild_day:%B}", "s-", _GREEN, 1.4),
        ("from_set_back_s", f"from {degrees(low)} °C, {months.coldest_day:%B}", "^-", _RED, 2.0),
        ("with_losses_s", "handbook with losses, filled", "--", _GREY, 1.0),
        ("without_losses_s", "handbook m c dT / P, filled", ":", _GREY, 1.4),
    )
    for field, label, look, colour, width in lines:
        points = [(s.size_w / 1000.0, getattr(s, field)) for s in sizing.sizes]
        known = [(size_kw, t / 3600.0) for size_kw, t in points if t is not None]
        if known:
            axes.plot(*zip(*known, strict=True), look, color=colour, lw=width, ms=5, label=label, zorder=3)
    axes.set_yscale("log")
    low_h, high_h = axes.get_ylim()
    need_h = need.within_s / 3600.0
    axes.set_ylim(min(low_h, 0.8 * need_h), max(high_h, 1.6 * need_h))
    judged, colour = (f"from {degrees(low)} °C", _RED) if need.from_set_back else ("when filled", _BLUE)
    label = f"to be warm within {lasting(need.within_s)} {judged}"
    axes.axhline(need_h, color=colour, lw=1.4, ls=(0, (6, 2)), label=label, zorder=2)
    from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

    low_h, high_h = axes.get_ylim()
    ticks = [t for t in (0.25, 0.5, 1, 2, 3, 6, 12, 24, 48, 96, 192, 384) if low_h <= t <= high_h]
    axes.yaxis.set_major_locator(FixedLocator(ticks))
    axes.yaxis.set_minor_locator(NullLocator())
    axes.yaxis.set_major_formatter(FuncFormatter(lambda t, _: f"{t:g} h"))
    axes.grid(axis="y", color="0.9", lw=0.5)
    title = f"Time to reach {degrees(sizing.to_c)} °C"
    axes.set_title(title, loc="left", fontsize=10, fontweight="bold", pad=44)
    axes.legend(loc="lower left", bbox_to_anchor=(-0.01, 1.0), ncols=3, frameon=False, fontsize=8.5)


def _draw_costs(axes: Axes, sizing: HeaterSizing) -> None:
    sizes_kw = [s.size_w / 1000.0 for s in sizing.sizes]
    costs = [s.cost for s in sizing.sizes]
    axes.plot(sizes_kw, costs, "o-", color=_BLUE, lw=1.6, ms=5, zorder=3)
    for size_kw, size in zip(sizes_kw, sizing.sizes, strict=True):
        cold = f"\n{size.cold_sessions} cold" if size.cold_sessions else ""
        axes.annotate(f"{number(size.cost)}{cold}", (size_kw, size.cost), xytext=(0, 6),
                      textcoords="offset points", ha="center", va="bottom", fontsize=8,
                      bbox={"fc": "white", "ec": "none", "pad": 0.8, "alpha": 0.85})  # fmt: skip
    axes.set_ylim(0.0, 1.35 * max(costs))
    axes.grid(axis="y", color="0.9", lw=0.5)
    legend = "; cold = sessions in water too cold" if any(s.cold_sessions for s in sizing.sizes) else ""
    title = f"Energy of a year, {sizing.currency}, pumps and all{legend}"
    axes.set_title(title, loc="left", fontsize=10, fontweight="bold")
    axes.set_xlabel("size of the heater")


def _size_axis(axes: Axes, sizing: HeaterSizing) -> None:
    """One axis of sizes; the advised one as a band, what the breaker does not carry hatched."""
    from matplotlib.ticker import NullLocator

    sizes_kw = [s.size_w / 1000.0 for s in sizing.sizes]
    axes.set_xscale("log")
    left, right = sizes_kw[0] / 1.15, sizes_kw[-1] * 1.15
    axes.set_xlim(left, right)
    axes.set_xticks(sizes_kw, [f"{kw(s.size_w)}{'*' if s.is_own else ''}" for s in sizing.sizes])
    axes.xaxis.set_minor_locator(NullLocator())
    if sizing.recommended is not None:
        advised_kw = sizing.recommended.size_w / 1000.0
        axes.axvspan(advised_kw / 1.06, advised_kw * 1.06, fc="#FFE9A8", ec="none", zorder=0)
    _draw_limit(axes, sizing, sizes_kw, right)


def _draw_limit(axes: Axes, sizing: HeaterSizing, sizes_kw: Sequence[float], right: float) -> None:
    limit = None if sizing.supply_limit_w is None else sizing.supply_limit_w / 1000.0
    if limit is None or limit >= right:
        return
    axes.axvspan(max(limit, sizes_kw[0] / 1.15), right, fc="none", ec="0.8", hatch="///", lw=0.0, zorder=0)
    axes.axvline(limit, color="black", lw=1.0, ls=(0, (5, 3)), zorder=2)

"""Plants side by side as one drawing: what they cost, how fresh their water is, what moves the answer."""

from __future__ import annotations

from operator import itemgetter
from typing import TYPE_CHECKING, BinaryIO

import numpy as np

from cyclesim.said.compare_drawn import ComparisonDrawn, DifferencesDrawn
from cyclesim.said.words import number, plain
from cyclesim.shown.pictures.drawing import save

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_BLUE, _ORANGE, _GREY = "#0072B2", "#D55E00", "0.6"
_SHADES = (_BLUE, _ORANGE, "#009E73", "#CC79A7", "#E69F00", "#56B4E9")
_PARTS = (
    ("bought at the start", "", "0.75"),
    ("bought again", "////", "white"),
    ("energy", "..", _BLUE),
)
_BARE = {"fc": "white", "ec": "none", "pad": 0.3}
_WIDE, _HIGH, _ROW = 11.0, 3.6, 0.26  # inches


def compare_figure(drawn: ComparisonDrawn) -> Figure:
    """Cost and water of each plant; with futures how the difference is spread; with ends what moves it."""
    from matplotlib.figure import Figure

    swings = len(drawn.swings)
    lower = 0.95 + _ROW * swings if swings else 0.0
    head = 0.2 + 0.2 * len(drawn.titles)
    high = head + _HIGH + lower
    figure = Figure(figsize=(_WIDE, high))
    for k, (letter, title) in enumerate(drawn.titles.items()):
        figure.text(0.03, 1.0 - (0.25 + 0.2 * k) / high, f"{letter}  {plain(title)}", weight="bold")
    bottom, tall = (lower + 0.5) / high, (_HIGH - 0.85) / high
    count = 3 if drawn.spread else 2
    wide = 0.92 / count
    axes = [figure.add_axes((0.07 + k * wide, bottom, wide - 0.075, tall)) for k in range(count)]
    _costs(axes[0], drawn)
    _ages(axes[1], drawn)
    if drawn.spread:
        _spread(axes[2], drawn.spread, drawn.unit)
    if swings:
        _swings(figure.add_axes((0.36, 0.5 / high, 0.56, _ROW * swings / high)), drawn)
    for panel in figure.axes:
        for side_ in ("top", "right"):
            panel.spines[side_].set_visible(False)
    return figure


def _costs(axes: Axes, drawn: ComparisonDrawn) -> None:
    letters = list(drawn.costs)
    if not drawn.by_total:
        values = [cost for (cost,) in drawn.costs.values()]
        axes.bar(letters, values, color=_SHADES[: len(values)], width=0.6)
        axes.set_title(f"energy and fuel, {drawn.unit}", loc="left", fontsize=9)
    else:
        floor = np.zeros(len(letters))
        for (label, hatch, shade), costs in zip(_PARTS, zip(*drawn.costs.values(), strict=True), strict=True):
            part = np.array(costs)
            bars = axes.bar(letters, part, 0.6, floor, label=label, color=shade, hatch=hatch)
            for bar in bars:
                bar.set(edgecolor="0.2", linewidth=0.6)
            floor += part
        for k, total in enumerate(floor):
            axes.text(k, total, f" {total:.0f}", ha="center", va="bottom")
        axes.set_ylim(0.0, float(np.max(floor)) * 1.45)
        axes.legend(frameon=False, fontsize=7, loc="upper right")
        axes.set_title(drawn.unit, loc="left", fontsize=9)


def _ages(axes: Axes, drawn: ComparisonDrawn) -> None:
    """The oldest water of each leg, as a point a plant."""
    legs, limit_h = drawn.legs, drawn.limit_h
    for k, (letter, own) in enumerate(drawn.oldest_h.items()):
        known = [(own[name], row) for row, name in enumerate(legs) if name in own]
        ages = [age for age, _ in known if age is not None]
        rows = [row for age, row in known if age is not None]
        axes.plot(ages, rows, "os^DvP"[k], ms=6, color=_SHADES[k], label=letter, alpha=0.9)
    for row, name in enumerate(legs):
        if dead := [letter for letter, own in drawn.oldest_h.items() if own.get(name, 0.0) is None]:
            text = f"{' and '.join(dead)}: never moves "
            axes.text(limit_h, row, text, ha="right", va="center", color="0.35", fontsize=7)
    axes.axvline(limit_h, color=_GREY, lw=0.8, ls="--")
    axes.text(limit_h, -0.85, "limit", ha="center", va="bottom", color="0.35", fontsize=7)
    axes.set_yticks(range(len(legs)), [plain(name) for name in legs], fontsize=7)
    axes.set_ylim(len(legs) - 0.4, -0.8)
    axes.set_xlim(0.0, None)
    axes.set_title("oldest water, h", loc="left", fontsize=9)
    axes.legend(frameon=False, fontsize=8, loc="upper right", bbox_to_anchor=(-0.02, -0.02), ncols=6,
                columnspacing=0.8, handletextpad=0.1, borderaxespad=0.0)  # fmt: skip
    axes.set_position(_moved(axes, by=0.075))


def _moved(axes: Axes, by: float) -> tuple[float, float, float, float]:
    """Room for names on the left."""
    box = axes.get_position()
    return (box.x0 + by, box.y0, box.width - by, box.height)


def _spread(axes: Axes, spread: DifferencesDrawn, unit: str) -> None:
    """The second plant's cost minus the first's over all futures."""
    change, versus = spread.changes, spread.versus
    axes.hist(change, bins=min(30, max(5, len(change) // 8)), color="0.8", ec="0.4", lw=0.5)
    top = axes.get_ylim()[1]
    for value, name in ((versus.low, "5th"), (versus.median, "median"), (versus.high, "95th")):
        axes.axvline(value, color=_BLUE, lw=1.2, ls="-" if name == "median" else ":")
        raised, side = (1.06, "center") if name == "median" else (0.98, "right" if name == "5th" else "left")
        axes.text(value, top * raised, f" {name} ", ha=side, va="bottom", fontsize=7, color=_BLUE)
    axes.axvline(0.0, color="black", lw=0.8)
    axes.set_ylim(0.0, top * 1.16)
    axes.set_ylabel("futures")
    less = versus.of - versus.less - versus.same
    axes.set_title(f"B - A, {unit}: B less in {less} of {versus.of}", loc="left", fontsize=9)


def _swings(axes: Axes, drawn: ComparisonDrawn) -> None:
    """Bars from end to end, the longest first."""
    now = drawn.now
    for row, swing in enumerate(drawn.swings):
        ends = (swing.at_low, swing.low), (swing.at_high, swing.high)
        (low, first), (high, last) = sorted(ends, key=itemgetter(0))
        axes.barh(row, high - low, left=low, height=0.6, color=_ORANGE if swing.flips else _BLUE)
        if high == low:
            text = f" {first} to {last}: no change"
            axes.annotate(text, (high, row), ha="left", va="center", fontsize=6.5, color="0.3", bbox=_BARE)
            continue
        axes.annotate(f"{first} ", (low, row), ha="right", va="center", fontsize=6.5, color="0.3", bbox=_BARE)
        axes.annotate(f" {last}", (high, row), ha="left", va="center", fontsize=6.5, color="0.3", bbox=_BARE)
    axes.axvline(now, color="0.3", lw=0.8, ls=":")
    edge = [end for swing in drawn.swings for end in (swing.at_low, swing.at_high)]
    if min(edge) <= 0.0 <= max(edge):
        axes.axvline(0.0, color="black", lw=0.8)
    room = (max(edge) - min(edge)) * 0.18 or 1.0
    axes.set_xlim(min(edge) - room, max(edge) + room)
    axes.set_yticks(range(len(drawn.swings)), [swing.assumption for swing in drawn.swings], fontsize=7.5)
    axes.set_ylim(len(drawn.swings) - 0.5, -0.6)
    axes.set_title(
        f"What moves the answer: B - A in {drawn.unit}, each assumption alone at its ends "
        f"(told: {number(now)})",
        loc="left", fontsize=9, x=-0.42,
    )  # fmt: skip


def write_compare_figure(drawn: ComparisonDrawn, stream: BinaryIO, form: str) -> None:
    """Draw to a binary stream as ".svg", ".pdf" or ".png"; the same comparison gives the same bytes."""
    save(lambda: compare_figure(drawn), stream, form)

"""Plants side by side as one drawing: what they cost, how fresh their water is, what moves the answer."""

from __future__ import annotations

from operator import itemgetter
from typing import TYPE_CHECKING, BinaryIO

import numpy as np

from cyclesim.said.compare_drawn import ComparisonDrawn, DifferencesDrawn
from cyclesim.said.words import number, plain, signed
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
_BESIDE = 0.36
"""How far apart, of a row, the dots of the first plant and the last are."""
_BARE = {"fc": "white", "ec": "none", "pad": 0.3}
_WIDE, _HIGH, _ROW = 11.0, 3.6, 0.26  # inches


def compare_figure(drawn: ComparisonDrawn) -> Figure:
    """Cost and water of each plant; with futures how the difference is spread; with ends what moves it."""
    from matplotlib.figure import Figure

    swings = len(drawn.swings)
    lower = 1.0 + _ROW * swings if swings else 0.0
    head = 0.2 + 0.2 * len(drawn.titles)
    high = head + _HIGH + lower
    figure = Figure(figsize=(_WIDE, high))
    for k, letter in enumerate(drawn.titles):
        figure.text(
            0.03, 1.0 - (0.25 + 0.2 * k) / high, f"{letter}  {_told_apart(drawn, letter)}", weight="bold"
        )
    bottom, tall = (lower + 0.72) / high, (_HIGH - 1.07) / high
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


def _told_apart(drawn: ComparisonDrawn, letter: str) -> str:
    """The title of a plant, with the name of its file where another has the same title."""
    title, name = drawn.titles[letter], drawn.names[letter]
    same = list(drawn.titles.values()).count(title) > 1
    return plain(f"{title} ({name})" if same and name != title else title)


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
            axes.text(k, total, number(float(total)), ha="center", va="bottom", weight="bold")
        axes.set_ylim(0.0, float(np.max(floor)) * 1.08)
        axes.legend(frameon=False, fontsize=7, loc="upper center", bbox_to_anchor=(0.5, -0.09), ncols=3,
                    columnspacing=1.0, handlelength=1.6)  # fmt: skip
        axes.set_title(drawn.unit, loc="left", fontsize=9)
    axes.yaxis.set_major_formatter(lambda value, _: number(value, 0))


def _ages(axes: Axes, drawn: ComparisonDrawn) -> None:
    """The oldest water of each leg, as a point a plant."""
    legs, limit_h, count = drawn.legs, drawn.limit_h, len(drawn.oldest_h)
    for k, (letter, own) in enumerate(drawn.oldest_h.items()):
        beside = _BESIDE * (k - 0.5 * (count - 1)) / max(1, count - 1)
        known = [(own[name], row + beside) for row, name in enumerate(legs) if name in own]
        ages = [age for age, _ in known if age is not None]
        rows = [row for age, row in known if age is not None]
        axes.plot(ages, rows, ls="", marker="os^DvP"[k], ms=5, color=_SHADES[k], label=letter)
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
    axes.legend(frameon=False, fontsize=8, loc="upper center", bbox_to_anchor=(0.5, -0.09), ncols=6,
                columnspacing=1.2, handletextpad=0.1)  # fmt: skip
    for row in range(len(legs)):
        axes.axhline(row, color="0.92", lw=0.5, zorder=0)
    axes.set_position(_moved(axes, by=0.075))


def _moved(axes: Axes, by: float) -> tuple[float, float, float, float]:
    """Room for names on the left."""
    box = axes.get_position()
    return (box.x0 + by, box.y0, box.width - by, box.height)


def _spread(axes: Axes, spread: DifferencesDrawn, unit: str) -> None:
    """The second plant's cost minus the first's over all futures."""
    from matplotlib.ticker import MaxNLocator

    change, versus = spread.changes, spread.versus
    axes.hist(change, bins=min(30, max(5, len(change) // 8)), color="0.8", ec="0.4", lw=0.5)
    top = axes.get_ylim()[1]
    for value, name, look in (
        (versus.median, "median", "-"),
        (versus.low, "5th and 95th of 100", ":"),
        (versus.high, "", ":"),
    ):
        axes.axvline(value, color=_BLUE, lw=1.2, ls=look, label=name or None)
    left, right = axes.get_xlim()
    if left <= 0.0 <= right or min(abs(left), abs(right)) < 0.3 * (right - left):
        axes.axvline(0.0, color="black", lw=0.8, label="the same cost")
    axes.legend(frameon=False, fontsize=7, loc="upper center", bbox_to_anchor=(0.5, -0.09), ncols=3,
                columnspacing=1.0, handlelength=1.6)  # fmt: skip
    axes.xaxis.set_major_formatter(lambda value, _: signed(value, 0))
    axes.xaxis.set_major_locator(MaxNLocator(nbins=5))
    axes.set_ylim(0.0, top * 1.05)
    axes.set_ylabel("futures")
    less = versus.of - versus.less - versus.same
    axes.set_title(f"B - A, {unit}: B less in {less} of {versus.of}", loc="left", fontsize=9)


def _swings(axes: Axes, drawn: ComparisonDrawn) -> None:
    """Bars from end to end, the longest first."""
    now = drawn.now
    for row, swing in enumerate(drawn.swings):
        ends = (swing.at_low, swing.low), (swing.at_high, swing.high)
        (low, first), (high, last) = sorted(ends, key=itemgetter(0))
        shade, hatch = (_ORANGE, "////") if swing.flips else (_BLUE, "")
        axes.barh(row, high - low, left=low, height=0.6, fc=shade, ec="white", hatch=hatch, lw=0.0)
        if high == low:
            text = f" {first} to {last}: no change"
            axes.annotate(text, (high, row), ha="left", va="center", fontsize=6.5, color="0.3", bbox=_BARE)
            continue
        axes.annotate(f"{first} ", (low, row), ha="right", va="center", fontsize=6.5, color="0.3", bbox=_BARE)
        axes.annotate(f" {last}", (high, row), ha="left", va="center", fontsize=6.5, color="0.3", bbox=_BARE)
    axes.axvline(now, color="0.3", lw=0.8, ls=":")
    axes.xaxis.set_major_formatter(lambda value, _: signed(value, 0))
    edge = [end for swing in drawn.swings for end in (swing.at_low, swing.at_high)]
    if min(edge) <= 0.0 <= max(edge):
        axes.axvline(0.0, color="black", lw=0.8)
    room = (max(edge) - min(edge)) * 0.18 or 1.0
    axes.set_xlim(min(edge) - room, max(edge) + room)
    axes.set_yticks(range(len(drawn.swings)), [swing.assumption for swing in drawn.swings], fontsize=7.5)
    axes.set_ylim(len(drawn.swings) - 0.5, -0.6)
    axes.set_title(
        f"What moves the answer: B - A in {drawn.unit}, each assumption alone at its ends "
        f"(dotted: as told, {signed(now)}; hatched: it turns the answer)",
        loc="left", fontsize=9, x=-0.42,
    )  # fmt: skip


def write_compare_figure(drawn: ComparisonDrawn, stream: BinaryIO, form: str, mark: str = "") -> None:
    """Draw to a binary stream as ".svg", ".pdf" or ".png"; the same comparison gives the same bytes."""
    save(lambda: compare_figure(drawn), stream, form, mark)

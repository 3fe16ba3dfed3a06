"""Plants side by side as one drawing: what they cost, how fresh their water is, what moves the answer."""

from __future__ import annotations

from typing import TYPE_CHECKING, BinaryIO

import numpy as np

from cyclesim.decide.comparing.comparison import Comparison
from cyclesim.said.compare_words import LETTERS
from cyclesim.said.words import number, plain
from cyclesim.shown.pictures.drawing import save

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_BLUE, _ORANGE, _GREY = "#0072B2", "#D55E00", "0.6"
_SHADES = (_BLUE, _ORANGE, "#009E73", "#CC79A7", "#E69F00", "#56B4E9")
_PARTS = (
    ("purchase", "bought at the start", "", "0.75"),
    ("replacements", "bought again", "////", "white"),
    ("energy", "energy", "..", _BLUE),
)
_BARE = {"fc": "white", "ec": "none", "pad": 0.3}
_WIDE, _HIGH, _ROW = 11.0, 3.6, 0.26  # inches


def compare_figure(found: Comparison) -> Figure:
    """Cost and water of each plant; with futures how the difference is spread; with ends what moves it."""
    from matplotlib.figure import Figure

    swings = len(found.swings)
    lower = 0.95 + _ROW * swings if swings else 0.0
    head = 0.2 + 0.2 * len(found.sides)
    high = head + _HIGH + lower
    figure = Figure(figsize=(_WIDE, high))
    for k, (letter, side) in enumerate(zip(LETTERS, found.sides, strict=False)):
        figure.text(
            0.03, 1.0 - (0.25 + 0.2 * k) / high, f"{letter}  {plain(side.scenario.title)}", weight="bold"
        )
    bottom, tall = (lower + 0.5) / high, (_HIGH - 0.85) / high
    count = 3 if found.futures else 2
    wide = 0.92 / count
    axes = [figure.add_axes((0.07 + k * wide, bottom, wide - 0.075, tall)) for k in range(count)]
    _costs(axes[0], found)
    _ages(axes[1], found)
    if found.futures:
        _spread(axes[2], found)
    if swings:
        _swings(figure.add_axes((0.36, 0.5 / high, 0.56, _ROW * swings / high)), found)
    for one in figure.axes:
        for side_ in ("top", "right"):
            one.spines[side_].set_visible(False)
    return figure


def _costs(axes: Axes, found: Comparison) -> None:
    letters = LETTERS[: len(found.sides)]
    if not found.by_total:
        values = [side.cost_a_year for side in found.sides]
        axes.bar(list(letters), values, color=_SHADES[: len(values)], width=0.6)
        axes.set_title(f"energy and fuel, {found.currency} a year", loc="left", fontsize=9)
    else:
        floor = np.zeros(len(found.sides))
        for name, label, hatch, shade in _PARTS:
            part = np.array([getattr(side.owning, name) for side in found.sides])
            bars = axes.bar(list(letters), part, 0.6, floor, label=label, color=shade, hatch=hatch)
            for bar in bars:
                bar.set(edgecolor="0.2", linewidth=0.6)
            floor += part
        for k, total in enumerate(floor):
            axes.text(k, total, f" {total:.0f}", ha="center", va="bottom")
        axes.set_ylim(0.0, float(np.max(floor)) * 1.45)
        axes.legend(frameon=False, fontsize=7, loc="upper right")
        axes.set_title(f"{found.currency} over {found.years} years", loc="left", fontsize=9)


def _ages(axes: Axes, found: Comparison) -> None:
    """The oldest water of each leg, as a point a plant."""
    legs = list(dict.fromkeys(name for side in found.sides for name in side.outcome.legs))
    for k, side in enumerate(found.sides):
        own = side.outcome.legs
        known = [(own[name].oldest_water_h, row) for row, name in enumerate(legs) if name in own]
        ages = [age for age, _ in known if age is not None]
        rows = [row for age, row in known if age is not None]
        axes.plot(ages, rows, "os^DvP"[k], ms=6, color=_SHADES[k], label=LETTERS[k], alpha=0.9)
    limit_h = found.sides[0].scenario.limits.water_age_s / 3600.0
    for row, name in enumerate(legs):
        beside = [(letter, s.outcome.legs.get(name)) for letter, s in zip(LETTERS, found.sides, strict=False)]
        if dead := [letter for letter, leg in beside if leg is not None and leg.oldest_water_h is None]:
            said = f"{' and '.join(dead)}: never moves "
            axes.text(limit_h, row, said, ha="right", va="center", color="0.35", fontsize=7)
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


def _spread(axes: Axes, found: Comparison) -> None:
    """The second plant's cost minus the first's over all futures."""
    measure = "total" if found.by_total else "cost_a_year"
    change = found.changes(0, 1, measure)
    low, median, high = np.percentile(change, (5.0, 50.0, 95.0))
    axes.hist(change, bins=min(30, max(5, len(change) // 8)), color="0.8", ec="0.4", lw=0.5)
    top = axes.get_ylim()[1]
    for at, name in ((low, "5th"), (median, "median"), (high, "95th")):
        axes.axvline(at, color=_BLUE, lw=1.2, ls="-" if name == "median" else ":")
        raised, side = (1.06, "center") if name == "median" else (0.98, "right" if name == "5th" else "left")
        axes.text(at, top * raised, f" {name} ", ha=side, va="bottom", fontsize=7, color=_BLUE)
    axes.axvline(0.0, color="black", lw=0.8)
    axes.set_ylim(0.0, top * 1.16)
    axes.set_ylabel("futures")
    less = int(np.sum(change < 0.0))
    years = f" over {found.years} years" if found.by_total else " a year"
    axes.set_title(
        f"B - A, {found.currency}{years}: B less in {less} of {len(change)}", loc="left", fontsize=9
    )


def _swings(axes: Axes, found: Comparison) -> None:
    """Bars from end to end, the longest first."""
    now_a, now_b = found.sides[0], found.sides[1]
    now = (
        now_b.owning.total - now_a.owning.total
        if now_a.owning is not None and now_b.owning is not None
        else now_b.cost_a_year - now_a.cost_a_year
    )
    for row, swing in enumerate(found.swings):
        low, high = sorted((swing.at_low, swing.at_high))
        axes.barh(row, high - low, left=low, height=0.6, color=_ORANGE if swing.flips else _BLUE)
        if high == low:
            text = f" {swing.low} to {swing.high}: no change"
            axes.annotate(text, (high, row), ha="left", va="center", fontsize=6.5, color="0.3", bbox=_BARE)
            continue
        first, last = (swing.low, swing.high) if swing.at_low <= swing.at_high else (swing.high, swing.low)
        axes.annotate(f"{first} ", (low, row), ha="right", va="center", fontsize=6.5, color="0.3", bbox=_BARE)
        axes.annotate(f" {last}", (high, row), ha="left", va="center", fontsize=6.5, color="0.3", bbox=_BARE)
    axes.axvline(now, color="0.3", lw=0.8, ls=":")
    edge = [x for swing in found.swings for x in (swing.at_low, swing.at_high)]
    if min(edge) <= 0.0 <= max(edge):
        axes.axvline(0.0, color="black", lw=0.8)
    room = (max(edge) - min(edge)) * 0.18 or 1.0
    axes.set_xlim(min(edge) - room, max(edge) + room)
    axes.set_yticks(range(len(found.swings)), [swing.assumption for swing in found.swings], fontsize=7.5)
    axes.set_ylim(len(found.swings) - 0.5, -0.6)
    unit = f"{found.currency} over {found.years} years" if found.by_total else f"{found.currency} a year"
    axes.set_title(
        f"What moves the answer: B - A in {unit}, each assumption alone at its ends (told: {_told(now)})",
        loc="left", fontsize=9, x=-0.42,
    )  # fmt: skip


def _told(value: float) -> str:
    return f"-{number(-value)}" if value < 0.0 else number(value)


def write_compare_figure(found: Comparison, stream: BinaryIO, form: str) -> None:
    """Draw to a binary stream as ".svg" or ".png"; the same comparison gives the same bytes."""
    save(lambda: compare_figure(found), stream, form)

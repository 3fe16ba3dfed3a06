"""The programmes of a tuning as one drawing: a strip of the day for each, and what it comes to beside it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, BinaryIO

from cyclesim.decide.tuning.space import FILTER, bathed, quiet
from cyclesim.decide.tuning.tuning import Choice, Tuning
from cyclesim.said.tune import in_short, spread
from cyclesim.said.words import number, plain
from cyclesim.shown.pictures.drawing import save

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_BLUE, _ORANGE, _GREY, _GREEN = "#0072B2", "#D55E00", "0.88", "#BFE3D5"
_WIDE, _ROW, _HEAD, _FOOT = 11.0, 0.46, 1.0, 0.95  # inches
_HOURS = 24.0
"""What a strip is long."""
_COLUMNS = (25.0, 27.7, 30.2, 33.2, 35.8)


def tune_figure(tuning: Tuning) -> Figure:
    """A strip of the day for each of the best programmes, the file's own and the rules of thumb."""
    from matplotlib.figure import Figure

    rows = [*spread(tuning.best, tuning.recommended), tuning.own, *tuning.thumbs]
    if tuning.recommended is None and tuning.nearest is not None and not tuning.nearest.name:
        rows.insert(0, tuning.nearest)
    high = _HEAD + _ROW * len(rows) + _FOOT
    figure = Figure(figsize=(_WIDE, high))
    axes = figure.add_axes((0.235, _FOOT / high, 0.75, _ROW * len(rows) / high))
    axes.set_xlim(0.0, 37.0)
    axes.set_ylim(len(rows) - 0.5, -0.5)
    axes.set_xticks(range(0, 25, 3), [f"{hour:02d}:00" for hour in range(0, 25, 3)])
    axes.set_yticks([])
    for side in ("top", "right", "left", "bottom"):
        axes.spines[side].set_visible(False)
    for start, end in _windows(quiet(tuning.scenario)):
        axes.axvspan(start, end, color=_GREY, lw=0, zorder=0)
    for start, end in _windows(bathed(tuning.scenario)):
        axes.axvspan(start, end, color=_GREEN, lw=0, zorder=0)
    heads = (
        f"{tuning.own.outcome.currency}\na year",
        "pumps\nh a day",
        "starts\na day",
        "loud\nmin a day",
        "oldest\nwater, h",
    )
    for at, head in zip(_COLUMNS, heads, strict=True):
        axes.text(at + 1.2, -0.62, head, ha="right", va="bottom")
    for row, choice in enumerate(rows):
        _strip(axes, tuning, row, choice)
    if tuning.best:
        axes.axhline(len(rows) - len(tuning.thumbs) - 1.5, color="0.4", lw=0.6)
    figure.text(0.012, 1 - 0.3 / high, plain(tuning.scenario.title), weight="bold", size=10)
    said = (
        "daily programmes, each run for a year" if tuning.days >= 365 else f"each run for {tuning.days} days"
    )
    figure.text(0.012, 1 - 0.5 / high, said, color="0.3")
    _key(figure, tuning, high)
    return figure


def _strip(axes: Axes, tuning: Tuning, row: int, choice: Choice) -> None:
    chosen = choice is tuning.recommended
    name = choice.name or in_short(choice.programme)
    axes.text(
        -0.4,
        row,
        f"{'> ' if chosen else ''}{name}",
        ha="right",
        va="center",
        weight="bold" if chosen else "normal",
    )
    axes.plot((0.0, _HOURS), (row, row), color="0.6", lw=0.5, zorder=1)
    for entry in choice.programme.entries:
        for start in entry.starts:
            at = start.hour + start.minute / 60.0
            if entry.does == FILTER:
                _bar(axes, row, at, entry.lasts_s / 3600.0)
            else:
                axes.plot((at,), (row,), marker="v", ms=8, color=_ORANGE, mec="white", mew=0.5, zorder=4)
    out, days = choice.outcome, tuning.days
    oldest = "never" if math.isinf(out.oldest_water_h) else number(out.oldest_water_h)
    told = (
        number(out.cost * 365.0 / days),
        number(out.pump_h / days),
        number(out.pump_starts / days),
        number(out.loud_min_a_day),
        oldest,
    )
    for at, text in zip(_COLUMNS, told, strict=True):
        axes.text(at + 1.2, row, text, ha="right", va="center", weight="bold" if chosen else "normal")
    if choice.refused:
        axes.text(
            12.0,
            row + 0.36,
            f"breaks {choice.refused[0].rule}",
            ha="center",
            va="center",
            size=7,
            color=_ORANGE,
        )


def _bar(axes: Axes, row: int, start: float, lasts: float) -> None:
    """A filter run, which may pass midnight."""
    for shift in (0.0, -_HOURS):
        left, right = max(0.0, start + shift), min(_HOURS, start + shift + lasts)
        if right > left:
            axes.barh(row, right - left, left=left, height=0.34, color=_BLUE, lw=0, zorder=3)


def _windows(seconds: list[tuple[int, int]]) -> list[tuple[float, float]]:
    """Windows of the day [h], those over midnight in two."""
    found = []
    for opens, closes in seconds:
        start, end = opens / 3600.0, closes / 3600.0
        if end <= start:
            found += [(start, _HOURS), (0.0, end)]
        elif end > _HOURS:
            found += [(start, _HOURS), (0.0, end - _HOURS)]
        else:
            found.append((start, end))
    return found


def _key(figure: Figure, tuning: Tuning, high: float) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    marks: list[Line2D | Patch] = [
        Patch(color=_BLUE, label="filter run"),
        Line2D([], [], marker="v", ls="", ms=8, color=_ORANGE, label="line flush"),
    ]
    if quiet(tuning.scenario):
        marks.append(Patch(color=_GREY, label="quiet hours"))
    if bathed(tuning.scenario):
        marks.append(Patch(color=_GREEN, label="people may be in the water"))
    figure.legend(handles=marks, loc="lower left", bbox_to_anchor=(0.225, 0.02), ncols=4, frameon=False)
    figure.text(
        0.012,
        0.1 / high,
        "flushes; filter runs" + (". > is recommended" if tuning.recommended else ""),
        color="0.3",
        size=7,
    )


def write_tune_figure(tuning: Tuning, stream: BinaryIO, form: str) -> None:
    """Draw to a binary stream as ".svg" or ".png"; the same tuning gives the same bytes."""
    save(lambda: tune_figure(tuning), stream, form)

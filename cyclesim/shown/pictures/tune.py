"""The programmes of a tuning as one drawing: a strip of the day for each, and what it comes to beside it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, BinaryIO

from cyclesim.said.page import Column
from cyclesim.said.strips import DAY_H as _HOURS
from cyclesim.said.strips import Strip, Strips
from cyclesim.said.words import plain
from cyclesim.shown.cells import shown
from cyclesim.shown.pictures.drawing import save

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_NUMBER = Column("")
_BLUE, _ORANGE, _GREY, _GREEN = "#0072B2", "#D55E00", "0.88", "#BFE3D5"
_BATHED: dict[str, Any] = {"fc": _GREEN, "ec": "#5FA88C", "hatch": "....", "lw": 0}
_WIDE, _ROW, _HEAD, _FOOT = 11.0, 0.58, 1.0, 0.95  # inches
_COLUMNS = (25.0, 27.7, 30.2, 33.2, 35.8)


def tune_figure(drawn: Strips) -> Figure:
    """A strip of the day for each of the best programmes, the file's own and the rules of thumb."""
    from matplotlib.figure import Figure

    rows = drawn.strips
    high = _HEAD + _ROW * len(rows) + _FOOT
    figure = Figure(figsize=(_WIDE, high))
    axes = figure.add_axes((0.235, _FOOT / high, 0.75, _ROW * len(rows) / high))
    axes.set_xlim(0.0, 37.0)
    axes.set_ylim(len(rows) - 0.5, -0.5)
    axes.set_xticks(range(0, 25, 3), [f"{hour:02d}:00" for hour in range(0, 25, 3)])
    axes.set_yticks([])
    for side in ("top", "right", "left", "bottom"):
        axes.spines[side].set_visible(False)
    for start, end in drawn.quiet_h:
        axes.axvspan(start, end, color=_GREY, lw=0, zorder=0)
    for start, end in drawn.bathed_h:
        axes.axvspan(start, end, **_BATHED, zorder=0)
    heads = (
        f"{drawn.currency}\na year",
        "pumps\nh a day",
        "starts\na day",
        "loud\nmin a day",
        "oldest\nwater, h",
    )
    for column_h, head in zip(_COLUMNS, heads, strict=True):
        axes.text(column_h + 1.2, -0.62, head, ha="right", va="bottom")
    for row, strip in enumerate(rows):
        _strip(axes, row, strip)
    if drawn.best:
        axes.axhline(drawn.best - 0.5, color="0.4", lw=0.6)
    figure.text(0.012, 1 - 0.3 / high, plain(drawn.title), weight="bold", size=10)
    note = "daily programmes, each run for a year" if drawn.days >= 365 else f"each run for {drawn.days} days"
    figure.text(0.012, 1 - 0.5 / high, note, color="0.3")
    _key(figure, drawn, high)
    return figure


def _strip(axes: Axes, row: int, strip: Strip) -> None:
    weight = "bold" if strip.is_advised else "normal"
    name = f"{'> ' if strip.is_advised else ''}{strip.name}"
    axes.text(-0.4, row, name, ha="right", va="center", weight=weight)
    axes.plot((0.0, _HOURS), (row, row), color="0.6", lw=0.5, zorder=1)
    for start, end in strip.filters_h:
        _bar(axes, row, start, end)
        axes.text(start + 0.1, row + 0.3, _clock(start), va="center", size=6.0, color=_BLUE)
    for flush_h in strip.flushes_h:
        axes.text(flush_h, row - 0.32, _clock(flush_h), ha="center", va="center", size=6.0, color=_ORANGE)
        axes.plot((flush_h,), (row,), marker="v", ms=8, color=_ORANGE, mec="white", mew=0.5, zorder=4)
    for column_h, value in zip(_COLUMNS, strip.numbers, strict=True):
        axes.text(column_h + 1.2, row, shown(value, _NUMBER), ha="right", va="center", weight=weight)
    if strip.breaks or strip.lacks:
        text = f"breaks {strip.breaks}" if strip.breaks else "less than is asked for"
        axes.text(-0.4, row + 0.3, text, ha="right", va="center", size=7, color=_ORANGE)


def _clock(hour: float) -> str:
    return f"{int(hour):02d}:{round(60.0 * (hour % 1.0)):02d}"


def _bar(axes: Axes, row: int, start: float, end: float) -> None:
    """A filter run, which may pass midnight."""
    for shift in (0.0, -_HOURS):
        left, right = max(0.0, start + shift), min(_HOURS, end + shift)
        if right > left:
            axes.barh(row, right - left, left=left, height=0.34, color=_BLUE, lw=0, zorder=3)


def _key(figure: Figure, drawn: Strips, high: float) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    marks: list[Line2D | Patch] = [
        Patch(color=_BLUE, label="filter run"),
        Line2D([], [], marker="v", ls="", ms=8, color=_ORANGE, label="line flush"),
    ]
    if drawn.quiet_h:
        marks.append(Patch(color=_GREY, label="quiet hours"))
    if drawn.bathed_h:
        marks.append(Patch(**_BATHED, label="people may be in the water"))
    figure.legend(handles=marks, loc="lower left", bbox_to_anchor=(0.225, 0.02), ncols=4, frameon=False)
    figure.text(
        0.012,
        0.2 / high,
        "flushes; filter runs" + (". > is recommended" if drawn.advises else ""),
        color="0.3",
        size=7,
    )


def write_tune_figure(drawn: Strips, stream: BinaryIO, form: str, mark: str = "") -> None:
    """Draw to a binary stream as ".svg", ".pdf" or ".png"; the same tuning gives the same bytes."""
    save(lambda: tune_figure(drawn), stream, form, mark)

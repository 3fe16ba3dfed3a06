"""Readings from the finished plant beside what its file predicts, as one drawing: a row for each."""

from __future__ import annotations

from textwrap import fill
from typing import TYPE_CHECKING, BinaryIO

from cyclesim.said.measured_drawn import FURTHEST, ReadingDrawn, ReadingsDrawn
from cyclesim.said.words import plain
from cyclesim.shown.pictures.drawing import save
from cyclesim.shown.reader import sentence

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_BLUE, _ORANGE, _GREY = "#0072B2", "#D55E00", "0.8"
_COLOURS = {"agrees": _BLUE, "differs": _ORANGE, "cannot be": _ORANGE}
_MARKS = {"agrees": "o", "differs": "D", "cannot be": "X"}
_WIDE, _ROW, _HEAD, _FOOT = 11.0, 0.42, 1.0, 1.05  # inches
_LEFT, _AXES = 0.3, 0.36
_NAME_CHARS = 48


def write_measured_figure(
    drawn: ReadingsDrawn, us: bool, stream: BinaryIO, form: str, mark: str = ""
) -> None:
    """Draw to a binary stream as `.svg`, `.pdf` or `.png`; the same readings give the same bytes."""
    save(lambda: measured_figure(drawn, us), stream, form, mark)


def measured_figure(drawn: ReadingsDrawn, us: bool = False) -> Figure:
    """Each reading with its tolerance, over the prediction with its own; in US units where *us*."""
    from matplotlib.figure import Figure

    high = _HEAD + _ROW * max(1, len(drawn.rows)) + _FOOT
    figure = Figure(figsize=(_WIDE, high))
    axes = figure.add_axes((_LEFT, _FOOT / high, _AXES, 1.0 - (_HEAD + _FOOT) / high))
    axes.set_xlim(-FURTHEST - 1.2, FURTHEST + 1.2)
    axes.set_ylim(max(1, len(drawn.rows)) - 0.5, -0.5)
    axes.set_yticks([])
    axes.set_xticks([-3, -2, -1, 0, 1, 2, 3])
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.axvline(0.0, color="0.4", lw=0.8, zorder=1)
    for edge in (-1.0, 1.0):
        axes.axvline(edge, color="0.6", lw=0.6, ls=":", zorder=1)
    axes.set_xlabel(
        "measured less predicted, over what both may be off by\n"
        "(the report's apart counts from the middle of what is likely, where that is nearer)"
    )
    axis = axes.get_yaxis_transform()
    for x, head in ((1.22, "measured"), (1.57, "the file predicts")):
        axes.text(x, -0.62, head, transform=axis, ha="right", va="bottom", weight="bold")
    for place, row in enumerate(drawn.rows):
        _row(axes, place, row, us)
    figure.text(0.012, 1 - 0.3 / high, plain(drawn.title), weight="bold", size=10)
    figure.text(0.012, 1 - 0.5 / high, plain(drawn.note), color="0.3")
    _key(figure, drawn)
    return figure


def _row(axes: Axes, place: int, row: ReadingDrawn, us: bool) -> None:
    colour, axis = _COLOURS[row.verdict], axes.get_yaxis_transform()
    name = fill(plain(sentence(row.name, us)), _NAME_CHARS)
    axes.text(-0.02, place, name, transform=axis, ha="right", va="center", linespacing=1.1)
    axes.barh(
        place, 2 * row.predicted_half, left=-row.predicted_half, height=0.5, color=_GREY, lw=0, zorder=2
    )
    if row.beyond:
        axes.plot(row.at, place, marker=">" if row.at > 0 else "<", ms=8, color=colour, zorder=4)
    else:
        axes.errorbar(row.at, place, xerr=row.measured_half, fmt=_MARKS[row.verdict], ms=6, color=colour,
                      lw=1.4, capsize=3, zorder=4)  # fmt: skip
    for x, text in ((1.22, row.measured), (1.57, row.predicted)):
        axes.text(x, place, sentence(text, us), transform=axis, ha="right", va="center")
    weight = "normal" if row.verdict == "agrees" else "bold"
    axes.text(1.62, place, row.verdict, transform=axis, va="center", color=colour, weight=weight)


def _key(figure: Figure, drawn: ReadingsDrawn) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    marks: list[Line2D | Patch] = [Patch(color=_GREY, label="prediction, ± what it may be off by")]
    for verdict, mark in _MARKS.items():
        if any(row.verdict == verdict and not row.beyond for row in drawn.rows):
            label = f"reading, ± what it may be off by: {verdict}"
            marks.append(Line2D([], [], marker=mark, ls="", ms=6, color=_COLOURS[verdict], label=label))
    if any(row.beyond for row in drawn.rows):
        label = "reading further off than is drawn"
        marks.append(Line2D([], [], marker=">", ls="", ms=8, color=_ORANGE, label=label))
    figure.legend(handles=marks, loc="lower left", bbox_to_anchor=(0.005, 0.02), ncols=4, frameon=False)

"""Curves of pumps and blowers with what the plant asks for, as one drawing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, BinaryIO

from cyclesim.said.curves_drawn import CurvesDrawn
from cyclesim.said.words import plain
from cyclesim.shown.pictures.drawing import save, told_in

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis
    from matplotlib.figure import Figure

_BARE = {"fc": "white", "ec": "none", "pad": 0.4, "alpha": 0.8}
_SHADES = ("0.35", "#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9")


def curves_figure(drawn: CurvesDrawn, us: bool = False) -> Figure:
    """Every machine's curves, the plant's own, where they meet, and what is wanted; *us*: in US units."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9.0, 5.4))
    axes = figure.add_axes((0.08, 0.11, 0.8, 0.77))
    figure.text(0.08, 0.945, plain(drawn.title), weight="bold", size=10)
    figure.text(0.08, 0.91, "ringed: see the advice;  dashed: low speed", color="0.3")
    shades = {name: _SHADES[k % len(_SHADES)] for k, name in enumerate(drawn.machines)}
    for curve in drawn.curves:
        _line(axes, curve.points, curve.label, shades[curve.machine], "--" if curve.is_low else "-")
    for meeting in drawn.meetings:
        shade = shades[meeting.machine]
        size, ring = (11, "black") if meeting.is_best else (6, shade)
        axes.plot(*([at] for at in meeting.at), "o", color=shade, ms=size, mec=ring, mew=1.5)
    _line(axes, drawn.asked, drawn.asked_by, "black", width=1.8)
    if drawn.at_rest is not None:
        label, height = drawn.at_rest
        axes.axhline(height, color="0.5", lw=0.8, ls=":")
        axes.annotate(label, (0.99, height), xycoords=axes.get_yaxis_transform(), ha="right", va="bottom",
                      size=7.5, color="0.3")  # fmt: skip
    if drawn.wanted is not None:
        label, flow, height = drawn.wanted
        axes.plot([flow], [height], "X", color="black", ms=11, mec="white")
        axes.annotate(label, (flow, height), xytext=(-10, 1), textcoords="offset points", weight="bold",
                      size=7.5, ha="right", va="center", bbox=_BARE)  # fmt: skip
    axes.set_xlabel(_in_units(drawn.across, axes.xaxis, us))
    axes.set_ylabel(_in_units(drawn.up, axes.yaxis, us))
    axes.set_ylim(0.0, 1.1 * drawn.highest)
    axes.set_xlim(0.0, None)
    axes.grid(color="0.9", lw=0.6)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    return figure


def _in_units(label: str, axis: Axis, us: bool) -> str:
    """The label of an axis in the reader's units, whose round numbers are then marked on it."""
    what, _, unit = label.rpartition(", ")
    return f"{what}, {told_in(axis, unit, us)}"


def _line(
    axes: Axes,
    points: Sequence[tuple[float, float]],
    label: str,
    color: str,
    look: str = "-",
    width: float = 1.3,
) -> None:
    axes.plot(*zip(*points, strict=True), look, color=color, lw=width)
    at, offset, va = (points[0], (5, 2), "bottom") if look == "--" else (points[-1], (4, 0), "center")
    axes.annotate(label, at, xytext=offset, textcoords="offset points", color=color, size=7.5, va=va,
                  bbox=_BARE, annotation_clip=False)  # fmt: skip


def write_curves_figure(
    drawn: CurvesDrawn, stream: BinaryIO, form: str, mark: str = "", us: bool = False
) -> None:
    """Draw to a binary stream as ".svg", ".pdf" or ".png"; the same sizing gives the same bytes."""
    save(lambda: curves_figure(drawn, us), stream, form, mark)

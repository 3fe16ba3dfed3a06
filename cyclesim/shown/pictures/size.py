"""Curves of pumps and blowers with what the plant asks for, as one drawing."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, BinaryIO

from cyclesim.said.curves_drawn import CurvesDrawn
from cyclesim.said.words import plain
from cyclesim.shown.pictures.drawing import save
from cyclesim.units import slope_for, unit_for

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_BARE, _SMALL = {"fc": "white", "ec": "none", "pad": 0.4, "alpha": 0.8}, 7.5
_SHADES = ("0.35", "#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9")


def curves_figure(drawn: CurvesDrawn, us: bool = False) -> Figure:
    """Every machine's curves, the plant's own, where they meet, what is wanted; in US units where *us*."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9.0, 5.4))
    axes = figure.add_axes((0.08, 0.11, 0.8, 0.77))
    figure.text(0.08, 0.945, plain(drawn.title), weight="bold", size=10)
    figure.text(0.08, 0.91, "ringed: see the advice;  dashed: low speed", color="0.3")
    along, up = (slope_for(unit) if us else 1.0 for unit in (drawn.flow_unit, drawn.up_unit))

    def at(points: Iterable[tuple[float, float]]) -> tuple[list[float], list[float]]:
        """Flows and heights in the reader's units."""
        flows, heights = zip(*points, strict=True)
        return [along * q for q in flows], [up * h for h in heights]

    shades = {name: _SHADES[k % len(_SHADES)] for k, name in enumerate(drawn.machines)}
    for curve in drawn.curves:
        shade, points = shades[curve.machine], at(curve.points)
        axes.plot(*points, "--" if curve.is_low else "-", color=shade, lw=1.3)
        _name(axes, curve.label, points, shade, begins=curve.is_low)
    for meeting in drawn.meetings:
        shade = shades[meeting.machine]
        size, ring = (11, "black") if meeting.is_best else (6, shade)
        axes.plot(*at([meeting.at]), "o", color=shade, ms=size, mec=ring, mew=1.5)
    axes.plot(*at(drawn.asked), "-", color="black", lw=1.8)
    _name(axes, drawn.asked_by, at(drawn.asked), "black")
    if drawn.at_rest is not None:
        label, height = drawn.at_rest
        axes.axhline(up * height, color="0.5", lw=0.8, ls=":", label=label)
        axes.annotate(label, (0.99, up * height), xycoords=axes.get_yaxis_transform(), ha="right",
                      va="bottom", size=_SMALL, color="0.3")  # fmt: skip
    if drawn.wanted is not None:
        label, *place = drawn.wanted
        (flow,), (height,) = at([(place[0], place[1])])
        axes.plot([flow], [height], "X", color="black", ms=11, mec="white")
        axes.annotate(label, (flow, height), xytext=(-10, 1), textcoords="offset points", weight="bold",
                      size=_SMALL, ha="right", va="center", bbox=_BARE)  # fmt: skip
    axes.set_xlabel(f"{drawn.across}, {unit_for(drawn.flow_unit, us)}")
    axes.set_ylabel(f"{drawn.up}, {unit_for(drawn.up_unit, us)}")
    axes.set_ylim(0.0, 1.1 * up * drawn.highest)
    axes.set_xlim(0.0, None)
    axes.grid(color="0.9", lw=0.6)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    return figure


def _name(
    axes: Axes, name: str, points: tuple[list[float], list[float]], shade: str, *, begins: bool = False
) -> None:
    """The name of a curve where it ends, or above where it *begins*."""
    k, offset, side = (0, (5, 2), "bottom") if begins else (-1, (4, 0), "center")
    axes.annotate(name, (points[0][k], points[1][k]), xytext=offset, textcoords="offset points",
                  color=shade, size=_SMALL, va=side, bbox=_BARE, annotation_clip=False)  # fmt: skip


def write_curves_figure(
    drawn: CurvesDrawn, stream: BinaryIO, form: str, mark: str = "", *, us: bool = False
) -> None:
    """Draw to a binary stream as ".svg", ".pdf" or ".png"; the same sizing gives the same bytes."""
    save(lambda: curves_figure(drawn, us), stream, form, mark)

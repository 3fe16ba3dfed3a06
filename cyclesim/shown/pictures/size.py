"""Curves of pumps and blowers with what the plant asks for, as one drawing."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, BinaryIO

from cyclesim.said.curves_drawn import CurvesDrawn
from cyclesim.said.words import plain
from cyclesim.shown.pictures.drawing import save
from cyclesim.units import slope_for, unit_for

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_SHADES = ("0.35", "#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9")


def curves_figure(drawn: CurvesDrawn, us: bool = False) -> Figure:
    """Every machine's curves, the plant's own, where they meet, what is wanted; in US units where *us*."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9.0, 5.4))
    axes = figure.add_axes((0.08, 0.11, 0.63, 0.78))
    figure.text(0.08, 0.94, plain(drawn.title), weight="bold", size=10)
    along, up = (slope_for(unit) if us else 1.0 for unit in (drawn.flow_unit, drawn.up_unit))

    def at(points: Iterable[tuple[float, float]]) -> tuple[list[float], list[float]]:
        """Flows and heights in the reader's units."""
        flows, heights = zip(*points, strict=True)
        return [along * q for q in flows], [up * h for h in heights]

    shades = {name: _SHADES[k % len(_SHADES)] for k, name in enumerate(drawn.machines)}
    for curve in drawn.curves:
        look = "--" if curve.is_low else "-"
        axes.plot(*at(curve.points), look, color=shades[curve.machine], lw=1.3, label=curve.label)
    for meeting in drawn.meetings:
        shade = shades[meeting.machine]
        size, ring = (11, "black") if meeting.is_best else (6, shade)
        axes.plot(*at([meeting.at]), "o", color=shade, ms=size, mec=ring, mew=1.5)
    axes.plot(*at(drawn.asked), "-", color="black", lw=1.8, label=drawn.asked_by)
    if drawn.at_rest is not None:
        label, height = drawn.at_rest
        axes.axhline(up * height, color="0.5", lw=0.8, ls=":", label=label)
    if drawn.wanted is not None:
        label, *place = drawn.wanted
        axes.plot(*at([(place[0], place[1])]), "X", color="black", ms=11, mec="white", label=label)
    axes.set_xlabel(f"{drawn.across}, {unit_for(drawn.flow_unit, us)}")
    axes.set_ylabel(f"{drawn.up}, {unit_for(drawn.up_unit, us)}")
    axes.set_ylim(0.0, 1.1 * up * drawn.highest)
    axes.set_xlim(0.0, None)
    axes.grid(color="0.9", lw=0.6)
    axes.legend(frameon=False, loc="upper left", bbox_to_anchor=(1.01, 1.0), title="ringed: see the advice")
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    return figure


def write_curves_figure(drawn: CurvesDrawn, stream: BinaryIO, form: str, *, us: bool = False) -> None:
    """Draw to a binary stream as ".svg", ".pdf" or ".png"; the same sizing gives the same bytes."""
    save(lambda: curves_figure(drawn, us), stream, form)

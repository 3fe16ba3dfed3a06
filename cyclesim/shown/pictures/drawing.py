"""How every drawing looks and is written: the same drawing gives the same bytes."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, BinaryIO

from cyclesim.units import unit_for, value_for

if TYPE_CHECKING:
    from matplotlib.axis import Axis
    from matplotlib.figure import Figure

_LOOK: dict[Any, Any] = {
    "font.family": "DejaVu Sans",
    "font.size": 8.0,
    "text.parse_math": False,  # a title with two dollar signs is no formula
    "svg.hashsalt": "cyclesim",
    "svg.fonttype": "path",
    "axes.linewidth": 0.6,
    "hatch.linewidth": 0.6,
    "path.simplify": False,
}

ADVICE = "Simulated; advice, not a controller"
"""What stands in the corner of every drawing."""


def told_in(axis: Axis, unit: str, us: bool, most: int = 8) -> str:
    """Mark round numbers of the reader's unit on an axis whose values are in *unit*; what that unit is."""
    from matplotlib.ticker import FuncFormatter, MaxNLocator

    begin = value_for(0.0, unit) if us else 0.0
    each = value_for(1.0, unit) - begin if us else 1.0

    class Round(MaxNLocator):
        def tick_values(self, vmin: float, vmax: float) -> Any:
            there = super().tick_values(begin + vmin * each, begin + vmax * each)
            return [(tick - begin) / each for tick in there]

    axis.set_major_locator(Round(nbins=most, steps=[1, 2, 2.5, 5, 10]))
    axis.set_major_formatter(FuncFormatter(lambda value, _: f"{float(f'{begin + value * each:.4g}'):,g}"))
    return unit_for(unit, us)


def save(draw: Callable[[], Figure], stream: BinaryIO, form: str, mark: str = "") -> None:
    """Draw to a binary stream as ".svg", ".pdf" or ".png"; *mark*: of which file it is."""
    from matplotlib import rc_context, rcdefaults, rcParams

    with rc_context(), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing")  # a box stands for it, no more is lost
        rcdefaults()
        rcParams.update(_LOOK)
        drawing = draw()
        drawing.text(0.995, 0.004, ADVICE, ha="right", va="bottom", size=7.0, color="0.35")
        drawing.text(0.005, 0.004, mark, ha="left", va="bottom", size=7.0, color="0.35")
        if form == ".svg":
            drawing.savefig(stream, format="svg", metadata={"Date": None})
        elif form == ".pdf":
            drawing.savefig(stream, format="pdf", metadata={"CreationDate": None})
        else:
            drawing.savefig(stream, format="png", dpi=150)

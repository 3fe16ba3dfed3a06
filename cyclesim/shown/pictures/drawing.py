"""How every drawing looks and is written: the same drawing gives the same bytes."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, BinaryIO

if TYPE_CHECKING:
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


def save(draw: Callable[[], Figure], stream: BinaryIO, form: str) -> None:
    """Draw to a binary stream as ".svg", ".pdf" or ".png"."""
    from matplotlib import rc_context, rcdefaults, rcParams

    with rc_context(), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing")  # a box stands for it, no more is lost
        rcdefaults()
        rcParams.update(_LOOK)
        drawing = draw()
        drawing.text(0.995, 0.004, ADVICE, ha="right", va="bottom", size=7.0, color="0.35")
        if form == ".svg":
            drawing.savefig(stream, format="svg", metadata={"Date": None})
        elif form == ".pdf":
            drawing.savefig(stream, format="pdf", metadata={"CreationDate": None})
        else:
            drawing.savefig(stream, format="png", dpi=150)

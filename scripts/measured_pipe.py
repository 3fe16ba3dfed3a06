"""The picture of warm water through a pipe, measured and computed, for `scripts/gallery.py`.

What is drawn is what the evidence judges (`tests/evidence/carried.py`): the measured inlet is sent
through the functions that a run uses.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.figure import Figure

ROOT = Path(__file__).resolve().parent.parent
_MINUTES, _POINTS = 60.0, 300
_FOOTER = 0.03
"""The share of the height that the line in the corner of every drawing takes."""


def draw(to: Path) -> None:
    """Four experiments, a panel each: what comes in, what came out, and what cyclesim says comes out."""
    from cyclesim.shown.pictures.drawing import save

    sys.path.insert(0, str(ROOT))
    with to.open("wb") as stream:
        save(measured_figure, stream, to.suffix)


def measured_figure() -> Figure:
    """A panel for each experiment, what its lines are below them."""
    from matplotlib.figure import Figure
    from matplotlib.layout_engine import ConstrainedLayoutEngine

    from tests.evidence.carried import RUNS, run, tanks_of

    above = ConstrainedLayoutEngine(rect=(0.0, _FOOTER, 1.0, 1.0 - _FOOTER))
    figure = Figure(figsize=(7.4, 5.0), layout=above)
    figure.suptitle("Warm water through 39 m of 2-inch steel pipe: measured (University of Liege), computed")
    for axes, name in zip(figure.subplots(2, 2).flat, RUNS, strict=True):
        it = run(name)
        few = slice(None, None, 1 + len(it.at_s) // _POINTS)
        minutes = it.at_s[few] / _MINUTES
        axes.plot(minutes, it.inlet_c[few], color="0.6", lw=0.8, label="inlet, measured")
        axes.plot(minutes, it.outlet_c[few], color="black", lw=1.2, label="outlet, measured")
        axes.plot(minutes, it.ours_c[few], color="#D55E00", lw=1.2, label="outlet, computed in order")
        if tanks := tanks_of(name):
            count, outlet_c, at_s = tanks
            few = slice(None, None, 1 + len(at_s) // _POINTS)
            label = "outlet, computed as tanks in a row"
            axes.plot(at_s[few] / _MINUTES, outlet_c[few], color="#0072B2", lw=1.0, ls="--", label=label)
            axes.text(0.97, 0.05, f"{count} tanks", color="#0072B2", ha="right", transform=axes.transAxes)
        axes.set_title(f"{it.kg_s:.2f} kg/s", loc="left")
        axes.set_xlabel("minutes")
        axes.set_ylabel("°C")
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
    handles, labels = figure.axes[0].get_legend_handles_labels()
    figure.legend(handles, labels, frameon=False, ncols=4, loc="outside lower center", borderaxespad=1.8)
    return figure

"""The jets of a leg: their names, those of the stretches between them, and what one takes."""

from __future__ import annotations

import math

from cyclesim.physics import water
from cyclesim.scenario.blocks.plant import Manifold


def jet_name(leg: str, k: int) -> str:
    """Name of the k-th jet of a leg's manifold, counted from the pump room."""
    return f"{leg} jet {k}"


def stretch_name(leg: str, k: int) -> str:
    """Name of the stretch of manifold that leads to the k-th jet, for k > 1."""
    return f"{leg} to jet {k}"


def last_stretch(leg: str) -> str:
    """Name under which the last stretch of a leg's manifold is reported."""
    return f"{leg}, last jet"


_NOZZLE_CD = 0.9  # a smooth converging nozzle; common practice, no source


def rated_jet(manifold: Manifold) -> tuple[float, float]:
    """Head [m] and flow [m3/s] of one jet, off its data sheet or from the bore of its nozzle."""
    if manifold.each is not None:
        return manifold.each.head_m, manifold.each.flow_m3_s
    bore_m = manifold.nozzle_m or 0.0
    head_m = 5.0
    return head_m, _NOZZLE_CD * math.pi / 4.0 * bore_m**2 * math.sqrt(2.0 * water.G * head_m)

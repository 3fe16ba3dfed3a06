"""Pipes side by side in one trench, which warm each other's soil: an image for each, and all equally warm.

Each pipe is a line source at its axis with a sink as far above the surface as it lies below it, so that the
surface is as warm as if no pipe were there. What pipe j adds to the soil at pipe i, x away, both z deep, is
ln(sqrt(x^2 + 4 z^2) / x) / (2 pi k) of its heat per metre: Kusuda (1981), as an open library of building
models has it (read), and the mutual term of EN 13941 (quoted from memory; document not checked). What it adds
to itself is the shape factor of a pipe alone, so that one pipe is what it was.

Each pipe has one conductance to the soil far away, as if all of them were equally warm. That is so while
water moves through all, and while all stand. A pipe that alone is warm loses more than is said here, about as
much as a pipe alone, and what it then gives to its neighbours is left out. The soil's own warming up is left
out, as it is for a pipe alone.

Beside the field itself, worked out all round each pipe: two to four pipes of PVC lose within 0.3 % in all and
5 % each, even where they all but touch, of PE within 0.7 % and 10 %. Bare metal is within 1.2 % in all and
12 % each at two diameters from axis to axis; where it touches it is within 4 % in all, and the middle one's
share is told far too small.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import pi
from typing import NamedTuple

import numpy as np

from cyclesim.physics import walls

_LEAST_SHARE = 0.02
"""No pipe loses less than this share of what it would alone; only bare metal that touches comes to it."""


class BuriedPipe(NamedTuple):
    """A pipe in a trench: its bare diameters and insulation [m], and its material."""

    bore_m: float
    outside_m: float
    insulation_m: float
    of: str


def side_by_side_ua_per_m(
    pipes: Sequence[BuriedPipe], spacing_m: float, depth_m: float, off: walls.Off = walls.AS_ASSUMED
) -> list[float]:
    """Conductance [W/(m K)] of each of the *pipes* to the soil far away, all as warm as each other.

    *spacing_m* [m] from axis to axis of two neighbours, in the order given; *depth_m* [m] of all axes; *off*
    by what factors materials and soil are off.
    Raises ValueError where a pipe is no pipe or breaks the surface, or two overlap.
    """
    skins_m = [pipe.outside_m + 2.0 * pipe.insulation_m for pipe in pipes]
    if any(a + b > 2.0 * spacing_m * (1.0 + 1e-9) for a, b in pairwise(skins_m)):
        raise ValueError(f"pipes {max(skins_m)} m thick overlap at {spacing_m} m from axis to axis")
    alone = [
        1.0 / walls.pipe_ua_per_m(*pipe[:3], of=pipe.of, depth_m=depth_m, off=off) for pipe in pipes
    ]  # of wall, insulation and soil
    number = np.arange(len(pipes))
    apart_m = spacing_m * np.abs(number[:, None] - number) + np.eye(len(pipes))  # any length for itself
    shared_mk_w = np.log(np.hypot(apart_m, 2.0 * depth_m) / apart_m) / (
        2.0 * pi * walls.SOIL_W_MK.value * off.soil
    )
    per_heat = np.where(number[:, None] == number, np.diag(alone), shared_mk_w)
    heats: list[float] = np.linalg.solve(per_heat, np.ones(len(pipes))).tolist()
    return [max(heat, _LEAST_SHARE / resists) for heat, resists in zip(heats, alone, strict=True)]

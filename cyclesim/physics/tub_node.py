"""The tub, and with it the water that follows its temperature, as one node of two heat capacities."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from cyclesim.physics.heat import TwoNode
from cyclesim.physics.warmth import Floats


@dataclass(frozen=True, slots=True)
class TubNode:
    """The tub: heat capacities [J/K], conductances [W/K], and the zones it loses heat to."""

    water_j_k: float
    shell_j_k: float
    g_w_k: float
    ua_cover_w_k: float
    cover_zone: str
    ua_shell_w_k: float
    shell_zone: str


class Node(NamedTuple):
    """Tub and the water that follows it as one node; without the cover where it is off."""

    two: TwoNode
    capacity_j_k: float
    cover_w_k: float
    lost_w: Floats | None
    """Factors of what the water that follows it loses."""
    lags_s: int
    """How long the slowest of it takes round, where that is long; otherwise 0."""


def node_of(
    tub: TubNode, held_j_k: float, lost_w: Sequence[Floats], *, covered: bool, lags_s: int = 0
) -> Node:
    """The tub with water of *held_j_k* [J/K] that follows it and loses *lost_w*; *covered* or not."""
    cover = tub.ua_cover_w_k if covered else 0.0
    lost = np.sum(lost_w, axis=0) if lost_w else None
    ua = cover if lost is None else cover + float(lost[0])
    capacity = tub.water_j_k + held_j_k
    two = TwoNode(capacity, tub.shell_j_k, tub.g_w_k, ua, tub.ua_shell_w_k)
    return Node(two, capacity, cover, lost, lags_s)

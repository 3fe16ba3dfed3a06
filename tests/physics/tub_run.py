"""A tub and bodies of water through time, with what they report."""

import math
from dataclasses import dataclass, field, replace

import numpy as np
from hypothesis import strategies as st
from numpy.typing import NDArray

from cyclesim.physics.pieces import Piece
from cyclesim.physics.stays import Body, Stay
from cyclesim.physics.tub_heat import TubHeat
from cyclesim.physics.tub_node import TubNode
from cyclesim.physics.warmth import Reach
from cyclesim.physics.ways import Ways

L = 1e-3
PER_M3_K = 4.2e6
HOUR_S = 3600
# 1500 L measured at 10 degC and the mean heat capacity from 10 to 38 degC: IAPWS-IF97, iapws 1.5.5
WATER_J_K = 1499.55 * 117148.0 / 28.0

AIR = [8.0 + 6.0 * math.sin(k / 24 * 2 * math.pi) + (k % 5) for k in range(400)]
SOIL = [11.0 + k / 400 for k in range(400)]
ROOM = [19.0 if k % 7 else 12.0 for k in range(400)]
ZONES = {"air": AIR, "soil": SOIL, "room": ROOM}

TUB = TubNode(6.2e6, 2.6e6, 209.0, 5.0, "air", 4.0, "soil")
BODIES = [
    Body("leg", 20 * L, 9.0e4, 6.0, "soil"),
    Body("filter", 30 * L, 1.3e5, 1.5, "room"),
    Body("return", 8 * L, 3.6e4, 2.5, "air"),
]


def still(temp_c: float) -> dict[str, list[float]]:
    """One zone that never changes."""
    return {"z": [temp_c] * 400}


def tight(water_j_k: float = WATER_J_K, ua_w_k: float = 0.0) -> TubNode:
    """Water in a shell without heat capacity or loss of its own."""
    return TubNode(water_j_k, 0.0, 1e-9, ua_w_k, "z", 0.0, "z")


@dataclass
class Run:
    """A tub with what it reported."""

    tub: TubNode
    bodies: list[Body]
    """Each between tub and tub; those whose name begins with "behind" follow the one before."""
    zones: dict[str, list[float]]
    water_c: float = 38.0
    start_s: int = 0
    suns_w: dict[int, list[float]] = field(default_factory=dict)
    pieces: list[Piece] = field(default_factory=list)
    stays: list[Stay] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.now_s = self.start_s
        self.heat = TubHeat(
            self.tub,
            Ways(self.reaches(), PER_M3_K),
            range(len(self.bodies)),
            self.zones,
            self.start_s // HOUR_S * HOUR_S,
            self.start_s,
            self.water_c,
            self.pieces.append,
            self.told,
            suns_w=self.suns_w,
        )

    def told(self, _: int, rows: NDArray[np.float64]) -> None:
        """Some stays have been closed, maybe after later ones."""
        self.stays.extend(Stay(*row) for row in np.atleast_2d(rows))
        self.stays.sort(key=lambda stay: stay.start_s)

    def reaches(self) -> list[Reach]:
        """A reach for each body."""
        found: list[Reach] = []
        for k, body in enumerate(self.bodies):
            a = "tub"
            if body.name.startswith("behind"):
                a, before = f"node {k}", found[-1]
                found[-1] = replace(before, b=a)
            found.append(Reach(body.name, a, "tub", body.capacity_j_k, body.ua_w_k, body.zone))
        return found

    def advance(self, by_s: int) -> None:
        """Onwards by some seconds."""
        self.now_s += by_s
        assert self.heat.advance(self.now_s) is None

    def bodies_c(self) -> list[float]:
        """Temperature of each body now."""
        return [self.heat.body_c(i, self.now_s) for i in range(len(self.bodies))]


flows = st.sampled_from([0.0, 0.0, 1e-9, 0.002 * L, 0.01 * L, 0.3 * L, 2.0 * L, -0.3 * L])
powers = st.sampled_from([0.0, 500.0, 3000.0])
steps = st.tuples(
    st.tuples(flows, flows, flows),
    st.tuples(powers, powers),
    st.integers(1, 90) | st.integers(100, 4000) | st.integers(10_000, 60_000),
)
Step = tuple[tuple[float, float, float], tuple[float, float], int]
histories = st.lists(steps, min_size=1, max_size=8)
IN_LINE = [BODIES[0], Body("behind it", 30 * L, 1.3e5, 1.5, "room"), BODIES[2]]


def lived(run: Run, history: list[Step]) -> float:
    """Live a history: the first two bodies share one flow, and are heated; the heat that came in [J]."""
    came_in = 0.0
    for flow, heat, lasts in history:
        run.heat.change((flow[0], flow[0], flow[2]), dict(enumerate(heat)))
        run.advance(lasts)
        came_in += sum(heat) * lasts
    return came_in

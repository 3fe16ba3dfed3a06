"""Parts: warm water through a pipe that takes its heat, beside what was measured on one (see data)."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from functools import cache, partial
from itertools import pairwise
from math import pi
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from cyclesim.physics import walls, warmth
from cyclesim.physics.dispersion import MEASURED_TANKS, left_by_tanks
from cyclesim.physics.water import density_kg_m3, heat_capacity_j_kg_k
from tests.evidence.record import READ, YARDSTICK, Check, near

DATA = Path(__file__).parent / "data" / "measured_pipe"
RUNS = ("step_150801", "step_151202", "step_151204_1", "step_160104_2")
SOURCE = "measured at the University of Liege, data of the IBPSA library (see tests/evidence/data)"
AIR_C, LENGTH_M, BORE_M, OUTSIDE_M = 18.0, 39.0, 0.05248, 0.0603
METAL_J_M3_K = 7800.0 * 480.0
WATER_C = 35.0  # at which its density and heat capacity are taken
_FOAM_W_MK, _FILM_W_M2K, _FOAM_M = 0.04, 5.0, 0.013
_TANKS = (5, 10, 15, 18, 20, 22, 25, 28, 30, 35, 50, 100, 200, 500)

Floats = NDArray[np.float64]


class Run(NamedTuple):
    """One experiment: what was measured, and what cyclesim says of the outlet at the same seconds."""

    at_s: Floats
    kg_s: float
    inlet_c: Floats
    outlet_c: Floats
    ours_c: Floats
    ours_lost_j: Floats
    """Heat given to pipe and air since the start."""
    passes_s: float
    """How long a front of warmth takes."""
    ntu: float

    @property
    def warmest(self) -> int:
        """The row at which the measured outlet is warmest: the step up ends, a cooling may follow."""
        return int(np.argmax(self.outlet_c))

    @property
    def lost_j(self) -> Floats:
        """Heat measured to be given to pipe and air since the start: what came in less what went out."""
        apart = self.kg_s * heat_capacity_j_kg_k(WATER_C) * (self.inlet_c - self.outlet_c)
        return np.concatenate(([0.0], np.cumsum(0.5 * (apart[1:] + apart[:-1]) * np.diff(self.at_s))))

    def half_s(self, outlet_c: Floats) -> float:
        """When an outlet has first risen half of the way that the measured one rises."""
        level = 0.5 * (self.outlet_c[0] + self.outlet_c[self.warmest])
        k = int(np.argmax(outlet_c >= level))
        return float(np.interp(level, outlet_c[k - 1 : k + 1], self.at_s[k - 1 : k + 1]))


@cache
def run(name: str) -> Run:
    """Send the measured inlet through `warmth.push`, sample by sample."""
    with (DATA / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        table = np.array([[float(x) for x in row] for row in list(csv.reader(file))[1:]])
    at_s, kg_s, inlet_c, outlet_c = table[:, 0], float(table[0, 1]), table[:, 5], table[:, 3]
    assert np.all(table[:, 1] == kg_s)
    per_m3_k = density_kg_m3(WATER_C) * heat_capacity_j_kg_k(WATER_C)
    flow = kg_s / density_kg_m3(WATER_C)
    off = walls.Off(pipe_foam=_FOAM_W_MK / walls.MATERIALS["pipe foam"].conductivity_w_mk)
    ua = LENGTH_M * walls.pipe_ua_per_m(
        BORE_M, OUTSIDE_M, _FOAM_M, of="carbon steel", film_w_m2k=_FILM_W_M2K, off=off
    )
    metal_m2 = pi / 4.0 * (OUTSIDE_M**2 - BORE_M**2)
    capacity = LENGTH_M * (pi / 4.0 * BORE_M**2 * per_m3_k + metal_m2 * METAL_J_M3_K)
    reach = warmth.Reach("pipe", "in", "out", capacity, ua, "air")
    k_s = warmth.drive_k_s(reach, warmth.Surroundings(AIR_C))
    content = [(capacity / per_m3_k, float(outlet_c[0]), float(inlet_c[0]))]
    ours, lost = [float(outlet_c[0])], [0.0]
    samples = zip(at_s.tolist(), inlet_c.tolist(), strict=True)
    for (since, before), (until, after) in pairwise(samples):
        stream = [(until - since, before, after)]
        content, out = warmth.push(content, stream, flow, reach.rate_1_s, k_s)
        ours.append(out[-1][2])
        lost.append(lost[-1] + flow * per_m3_k * (warmth.warmth(stream) - warmth.warmth(out)))
    passes_s = capacity / per_m3_k / flow
    ntu = reach.rate_1_s * passes_s
    return Run(at_s, kg_s, inlet_c, outlet_c, np.array(ours), np.array(lost), passes_s, ntu)


@cache
def spread(name: str) -> dict[int, float]:
    """By number of tanks in series: rms [K] of the outlet, loss and mean delay as in order; 0 is in order."""
    it = run(name)
    at_s = np.arange(0.0, it.at_s[-1], 1.0)
    outlet, ours = (np.interp(at_s, it.at_s, x) for x in (it.outlet_c, it.ours_c))
    rms = {0: float(np.sqrt(np.mean((ours - outlet) ** 2)))}
    for tanks in _TANKS:
        rms[tanks] = float(np.sqrt(np.mean((_by_tanks(it, at_s, tanks) - outlet) ** 2)))
    return rms


def _by_tanks(it: Run, at_s: Floats, tanks: int) -> Floats:
    """The outlet [degC] in every second, as a row of tanks would spread what comes in."""
    inlet, passes_s, kept = np.interp(at_s, it.at_s, it.inlet_c), it.passes_s, float(np.exp(-it.ntu))
    stays = np.arange(0.0, 4.0 * passes_s)
    padded = np.concatenate((np.full(len(stays), it.outlet_c[0]), inlet))
    left = np.array([left_by_tanks(t, passes_s, tanks) for t in (*stays, stays[-1] + 1.0)])
    spread_c = np.convolve(padded, -np.diff(left))[len(stays) : len(stays) + len(at_s)]
    found: Floats = AIR_C + kept * (spread_c - AIR_C)
    return found


def tanks_of(name: str) -> tuple[int, Floats, Floats] | None:
    """How many tanks spread like the front, the outlet [degC] then, when [s]; None where it is no step."""
    if name not in RUNS[:3]:
        return None
    it, rms = run(name), spread(name)
    tanks, at_s = min(rms, key=lambda n: rms[n]), np.arange(0.0, it.at_s[-1], 1.0)
    return tanks, _by_tanks(it, at_s, tanks), at_s


def _fitted() -> float:
    """The middle one of the three steps' numbers of tanks."""
    return float(np.median([found[0] for name in RUNS[:3] if (found := tanks_of(name))]))


def _fronts() -> str:
    best = {name: min(rms, key=lambda n: rms[n]) for name in RUNS[:3] for rms in (spread(name),)}
    in_order = [spread(name)[0] for name in best]
    tanks = [spread(name)[n] for name, n in best.items()]
    return (
        f"The front spreads, which water in order does not: {min(in_order):.1f} to {max(in_order):.1f} K rms "
        f"in order, {min(tanks):.1f} to {max(tanks):.1f} K as {min(best.values())} to {max(best.values())} "
        "tanks in series over 39 m of straight pipe."
    )


def checks() -> Iterator[Check]:
    """Half of the rise, the end, and the heat of every experiment; what cools and spreads is shown."""
    for name in RUNS:
        it = run(name)
        inputs = f"{name}: {LENGTH_M:g} m of 2-inch steel, {it.kg_s:.3g} kg/s, air {AIR_C:g} degC"
        warmest, last = it.warmest, len(it.at_s) - 1
        yield near(
            f"carried {name}, half",
            "parts",
            "half of the rise at the outlet",
            inputs,
            "s",
            partial(it.half_s, it.outlet_c),
            partial(it.half_s, it.ours_c),
            0.06,
            SOURCE,
            READ,
        )
        yield near(
            f"carried {name}, end",
            "parts",
            "water at the outlet at the end",
            inputs,
            "degC",
            float(it.outlet_c[last]),
            float(it.ours_c[last]),
            0.4,
            SOURCE,
            READ,
            relative=False,
        )
        yield near(
            f"carried {name}, heat",
            "parts",
            "heat to pipe and air until the outlet is warmest",
            inputs,
            "kJ",
            float(it.lost_j[warmest]) / 1e3,
            float(it.ours_lost_j[warmest]) / 1e3,
            0.10,
            SOURCE,
            READ,
        )
        if it.at_s[last] - it.at_s[warmest] > 600.0:
            yield near(
                f"carried {name}, cooling",
                "parts",
                "heat to pipe and air while it cools afterwards",
                inputs,
                "kJ",
                float(it.lost_j[last] - it.lost_j[warmest]) / 1e3,
                float(it.ours_lost_j[last] - it.ours_lost_j[warmest]) / 1e3,
                0.10,
                SOURCE,
                YARDSTICK,
            )
        yield near(
            f"carried {name}, front",
            "parts",
            "rms at the outlet: as the best of tanks, in order",
            inputs,
            "K",
            partial(_best, name),
            spread(name)[0],
            0.3,
            SOURCE,
            YARDSTICK,
            relative=False,
            conclusion=_fronts if name == RUNS[0] else None,
        )
    yield near(
        "carried, tanks",
        "parts",
        "tanks in a row that spread a front likewise, the middle of three steps",
        f"{', '.join(RUNS[:3])}",
        "",
        _fitted,
        MEASURED_TANKS,
        0.10,
        SOURCE,
        READ,
    )


def _best(name: str) -> float:
    return min(spread(name).values())

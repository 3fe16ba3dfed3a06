"""Positions of valves that nothing in a check can tell apart: one of each sort is enough.

A state knows of its valves what water is to devices and their sensors, and no more. Where that is the same in
two positions whatever runs and however other valves stand, the same follows from both, so that no order of
events is lost with one of them. It must be the same under every fault that moves water elsewhere, too.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

from cyclesim.simulation.assembly import Positions
from cyclesim.simulation.wired import Wiring


def told_apart(wirings: Sequence[Wiring]) -> dict[str, tuple[str, ...]]:
    """Of each valve its usual position, and of each further sort the first.

    *wirings* are those of one plant and one part of its controller: sound, and with each fault in question.
    """
    turnable, sorts = wirings[0].plant.turnable, dict[str, tuple[str, ...]]()
    every = list(product(*(valve.positions for valve in turnable.values())))
    for v, (name, valve) in enumerate(turnable.items()):
        kept = list[str]()
        for position in valve.positions:
            there = [at for at in every if at[v] == position]
            if not any(
                all(_alike(wiring, at, (*at[:v], first, *at[v + 1 :])) for wiring in wirings for at in there)
                for first in kept
            ):
                kept.append(position)
        sorts[name] = tuple(kept)
    return sorts


def _alike(wiring: Wiring, one: Positions, other: Positions) -> bool:
    """Whether devices and sensors are told the same in two positions, whatever runs."""
    pumps = wiring.controller.pumps
    levels = product(*(range(len(p.speeds) + 1) if p.name in wiring.plant.pumps else (0,) for p in pumps))
    return all(
        wiring.water(at, closed, one, low=low).told == wiring.water(at, closed, other, low=low).told
        for at in levels
        for closed in (False, True)
        for low in (False, True)
    )

"""Why no programme can be placed, found by leaving out one thing at a time."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from cyclesim.analysis.amounts import lasting
from cyclesim.analysis.pumped import in_a_body, reached_s, slowest
from cyclesim.decide.tuning.placing import MANY, Order, solve
from cyclesim.decide.tuning.space import Space


@dataclass(frozen=True, slots=True)
class Obstacle:
    """What stands in the way of every placement, and the legs that it keeps too old."""

    text: str
    legs: tuple[str, ...] = ()


def obstacles(space: Space) -> Iterator[Obstacle]:
    """What no placement gets past."""
    for leg in space.unmoved:
        text = f"{leg}: no flush or filter run on offer gets tub water to its far end"
        yield Obstacle(text + _soonest(space, leg), (leg,))
    order = Order.of(space)
    if solve(space, order).runs is not None:
        return
    explained, legs = False, tuple(order.within_s)
    for leg in order.within_s:
        if solve(space, order._replace(within_s={k: v for k, v in order.within_s.items() if k != leg})).runs:
            explained = True
            yield Obstacle(
                f"{leg}: its water gets older than {lasting(order.within_s[leg])} at any placing", (leg,)
            )
    for does, most in space.most.items():
        if most is not None and solve(replace(space, most={**space.most, does: None}), order).runs:
            explained = True
            many = does if most == 1 else MANY[does]
            yield Obstacle(f"the controller takes {most} {many} a day, and more are needed", legs)
    free = [replace(kind, allowed=(True,) * len(kind.allowed)) for kind in space.kinds]
    if solve(space, order._replace(kinds=tuple(free))).runs:
        explained = True
        yield Obstacle("quiet hours or bathing leave too long a stretch without a flush", legs)
    if solve(space, order._replace(wanted_m3=0.0)).runs:
        explained = True
        yield Obstacle("the filter runs on offer pass too little water for the turnovers asked for")
    if not explained:
        yield Obstacle("several limits together leave no placing", legs)


def _soonest(space: Space, leg: str) -> str:
    """How long the run that gets there soonest would have to last, and what holds its water up on the way."""
    plug = space.plant.reported.get(leg)
    if plug is None:
        return ""
    name, plant = space.plant.plugs[plug].name, space.plant
    pumpings = dict.fromkeys(kind.pumping for kind in space.kinds)
    once_s, k = min((reached_s(plant, one, name), k) for k, one in enumerate(pumpings))
    if math.isinf(once_s):
        return ""
    soonest = list(pumpings)[k]
    held = in_a_body(plant, slowest(plant, soonest, name), name)
    return f"; the soonest is {soonest} after {lasting(once_s)}{held}"

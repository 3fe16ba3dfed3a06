"""What a run of the schedule moves, be it by one pump, by several at once or by one after the other."""

from __future__ import annotations

import math
from collections.abc import Iterator

from cyclesim.scenario.forms.pumping import Pumping
from cyclesim.simulation.assembly import Assembly, PlantDuty


def duties_of(plant: Assembly, pumping: Pumping) -> Iterator[PlantDuty]:
    """What moves the water in each part of a run, with valves as usual."""
    for part in pumping.parts(pumping.stagger_s * len(pumping.pumps) + 1):  # long enough for all at once
        yield plant.duty(plant.at_once(part.pumps))


def reached_s(plant: Assembly, pumping: Pumping, plug: str) -> float:
    """How long tub water takes to the end of a plug [s], in the part of a run in which it takes longest.

    Infinite where it never gets there. Each pump runs for the whole length of its run, and another beside it
    as a rule only slows what it moves: so a run of twice this time replaces the water twice.
    """
    return max(
        (duty.reached_s[plug] for duty in duties_of(plant, pumping) if plug in duty.reached_s),
        default=math.inf,
    )


def filtered_m3(plant: Assembly, pumping: Pumping, lasts_s: float) -> float:
    """What passes the filters in one run, if each pump runs for *lasts_s* [m3]."""
    return sum(
        (part.end_s - part.start_s) * plant.duty(plant.at_once(part.pumps)).filtered_m3_s
        for part in pumping.parts(lasts_s)
    )

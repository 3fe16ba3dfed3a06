"""What a run of the schedule moves, be it by one pump, by several at once or by one after the other."""

from __future__ import annotations

import math
from collections.abc import Iterator

from cyclesim.analysis.amounts import lasting
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.scenario.forms.pumping import Pumping
from cyclesim.simulation.assembly import Assembly, PlantDuty

_LARGE = 0.25
"""A body is told that takes so much of the time until tub water is at an end: our choice."""


def duties_of(plant: Assembly, pumping: Pumping) -> Iterator[PlantDuty]:
    """What moves the water in each part of a run, with valves as usual."""
    for part in pumping.parts(pumping.stagger_s * len(pumping.pumps) + 1):  # long enough for all at once
        yield plant.duty(plant.at_once(part.pumps))


def reached_s(plant: Assembly, pumping: Pumping, plug: str) -> float:
    """How long tub water takes to the end of a plug [s], in the part of a run in which it takes longest.

    Infinite where it never gets there. Each pump runs for the whole length of its run, and another beside it
    as a rule only slows what it moves: so a run of twice this time replaces the water twice.
    """
    duty = slowest(plant, pumping, plug)
    return duty.reached_s[plug] if duty else math.inf


def slowest(plant: Assembly, pumping: Pumping, plug: str) -> PlantDuty | None:
    """The part of a run in which tub water takes longest to the end of a plug; None where none moves it."""
    moving = (duty for duty in duties_of(plant, pumping) if plug in duty.reached_s)
    return max(moving, key=lambda duty: duty.reached_s[plug], default=None)


def way(plant: Assembly, duty: PlantDuty, plug: str) -> list[str]:
    """The elements that the slowest water passes from the tub to the end of *plug*, that one first."""
    moving = [
        (one.name, one.a, one.b) if q > 0 else (one.name, one.b, one.a)
        for one, q in zip(plant.plugs, duty.plug_flows_m3_s, strict=True)
        if abs(q) > STILL_M3_S
    ]
    passed = [plug]
    node = next(a for name, a, _ in moving if name == plug)
    while node != "tub":
        into = [(duty.reached_s[name], name, a) for name, a, b in moving if b == node]
        _, name, node = max(into)
        if name in passed:  # water that circles passes no tub
            break
        passed.append(name)
    return passed


def in_a_body(plant: Assembly, duty: PlantDuty | None, plug: str) -> str:
    """`, 36 s of it in the 60 L of boiler`: what holds up tub water on its way to the end of a plug.

    Of filters and heat sources the one that it is in for longest; "" where that is no large part of the time.
    """
    if duty is None or not math.isfinite(duty.reached_s.get(plug, math.inf)):
        return ""
    bodies = plant.sheet.equipment.keys() | plant.sheet.heat_sources.keys()
    held = {one.name: one.volume_m3 for one in plant.plugs if one.name in bodies}
    passed = [
        (held[name] / abs(duty.flow_m3_s(name)), name) for name in way(plant, duty, plug) if name in held
    ]
    inside_s, name = max(passed, default=(0.0, ""))
    if inside_s < _LARGE * duty.reached_s[plug]:
        return ""
    return f", {lasting(inside_s)} of it in the {1000.0 * held[name]:.0f} L of {name}"


def filtered_m3(plant: Assembly, pumping: Pumping, lasts_s: float) -> float:
    """What passes the filters in one run, if each pump runs for *lasts_s* [m3]."""
    return sum(
        (part.end_s - part.start_s) * plant.duty(plant.at_once(part.pumps)).filtered_m3_s
        for part in pumping.parts(lasts_s)
    )

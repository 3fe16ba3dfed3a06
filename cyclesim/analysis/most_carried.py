"""The most that a circuit carries: as the controller's interlocks let things come together, and without them.

Whoever counts on the lesser sum is told the interlocks on which it rests. A timetable is none: whatever is
asked for may be asked for at once.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from itertools import combinations, product
from typing import NamedTuple

from cyclesim.analysis.interlocked import holding, keeps_apart, parting
from cyclesim.analysis.supply import Carried, Load, carried, counts_lasting, less_of_either, loads
from cyclesim.analysis.truth import LASTING_S, Closed, Inertia
from cyclesim.control.demands import BlockInterlock, PumpControl
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import HEATING, Programme
from cyclesim.simulation.trace import joined

_ALIKE_A = 1e-9  # however a sum of currents is rounded
Way = tuple[str, ...]
"""The speeds, or the active state, at which one machine's contacts are closed."""


class Most(NamedTuple):
    """The most that one circuit carries."""

    kept: Carried
    """With what no interlock that holds at every moment keeps apart, whatever is asked for when."""
    without: Carried
    """With all that may be on if no interlock kept anything off."""
    by: tuple[BlockInterlock, ...]
    """The interlocks on which the lesser sum rests; none where both sums are one."""
    despite: tuple[BlockInterlock, ...] = ()
    """The interlocks between what is counted together: for a moment they let both be on."""


def most_carried(plant: Assembly, circuit: str, having: Closed, *, heating_lasts: bool = True) -> Most:
    """The most that a circuit carries with something on, at the worst that may come together.

    *having* is a pump and its speed, or another thing and "on"; it is the first of the loads.
    *heating_lasts*: heating has its sources and its pump on for 3 h or more in one go.
    """
    [most] = _mosts(plant, circuit, [having], heating_lasts=heating_lasts)
    return most


def most_of_all(plant: Assembly, circuit: str) -> Most:
    """The most that a circuit carries at all."""
    rows = most_together(plant, circuit)
    kept = max(rows, key=lambda row: row.kept.counted_a)
    without = max(rows, key=lambda row: row.without.counted_a)
    less = kept.kept.counted_a < without.without.counted_a - _ALIKE_A
    return without._replace(kept=kept.kept, by=without.by if less else (), despite=kept.despite)


def most_together(plant: Assembly, circuit: str) -> list[Most]:
    """The most that a circuit carries with each thing that is switched on it; or what it always carries.

    Of a room's heater and fan that are never on at once, first with the one that draws more, then the other.
    """
    feeds = plant.scenario.circuits[circuit].feeds
    fed = [name for name in feeds if name not in plant.scenario.always_on]
    having = [(name, speed) for name in fed for speed in plant.speeds.get(name, ("on",))]
    others = list(loads(plant, ()))
    always = carried(plant, circuit, others)
    rows = _mosts(plant, circuit, having, heating_lasts=True) or [Most(always, always, ())]
    less = less_of_either(plant, [load for load in others if load.name in feeds])
    return rows + [_instead(plant, row, load) for row in rows for load in others if load.name == less]


def _instead(plant: Assembly, row: Most, other: Load) -> Most:
    """A row with the lesser of the room's heater and fan in place of the one that draws more."""
    either = plant.sheet.pump_room.either if plant.sheet.pump_room else ()

    def instead(of: Carried) -> Carried:
        return of._replace(loads=(*(load for load in of.loads if load.name not in either), other))

    return row._replace(kept=instead(row.kept), without=instead(row.without))


def _mosts(plant: Assembly, circuit: str, having: Iterable[Closed], *, heating_lasts: bool) -> list[Most]:
    """With each of these on, the most that the circuit carries."""
    programme = Programme(plant.scenario)
    lasting = may_last(plant, programme, heating_lasts=heating_lasts)
    feeds, opens_s = plant.scenario.circuits[circuit].feeds, Inertia.of(plant).opens_s
    blocks = holding(programme.controller, opens_s, feeds)
    ways = {name: of for name, of in _ways(plant, programme, opens_s) if name in feeds}
    unswitched = [name for name in feeds if name not in (*ways, *plant.scenario.always_on)]
    ways |= {name: [(), ("on",)] for name in unswitched}

    def with_(on: Iterable[Closed], first: Closed) -> Carried:
        return carried(plant, circuit, loads(plant, sorted(on, key=lambda at: at != first), lasting))

    rows = []
    for first in having:
        state = next(s for way in ways[first[0]] for s in way if _closed(plant, first[0], s) == first)
        of = {**ways, first[0]: [way for way in ways[first[0]] if state in way]}
        on, all_on = (_hungriest(plant, of, some, lasting) for some in (blocks, ()))
        kept, without = (with_(_contacts(plant, each), first) for each in (on, all_on))
        less = kept.counted_a < without.counted_a - _ALIKE_A
        by = tuple(b for b in blocks if less and keeps_apart(b, all_on))
        despite = tuple(b for b in parting(programme.controller) if keeps_apart(b, on))
        rows.append(Most(kept, without if less else kept, by, despite))
    return rows


def _closed(plant: Assembly, name: str, state: str) -> Closed:
    """A contact as loads name it: a source's active state is "on"."""
    return name, state if name in plant.speeds else "on"


def _contacts(plant: Assembly, on: Mapping[str, Way]) -> list[Closed]:
    return [_closed(plant, name, state) for name, way in on.items() for state in way]


def _ways(
    plant: Assembly, programme: Programme, opens_s: Mapping[str, float]
) -> Iterator[tuple[str, list[Way]]]:
    """Of each machine every set of contacts that may be closed at once, by the controller and past it."""
    controller = programme.controller
    for machine in controller.machines:
        name, pump = machine.name, plant.pumps.get(machine.name)
        states = machine.speeds if isinstance(machine, PumpControl) else (machine.active,)
        past = {starter.speed or states[0] for starter in controller.starters if starter.target == name}
        if pump is not None and len(states) > 1 and opens_s[name] >= pump.changeover_s:
            past.update(states)  # the one opens after the other has closed
        most = 1 if pump is not None and pump.contactors_lock else len(states)
        sets = [set(some) for n in range(most + 1) for some in combinations(states, n)]
        yield name, [tuple(s for s in states if s in some) for some in sets if len(some - past) < 2]


def _hungriest(
    plant: Assembly,
    ways: Mapping[str, Sequence[Way]],
    blocks: Iterable[BlockInterlock],
    lasting: Collection[Closed],
) -> dict[str, Way]:
    """One of its *ways* for each machine, so that all draw the most that these blocks let come together."""
    blocks = list(blocks)
    parted = {name for block in blocks for name in (block.target, block.condition.subject)}

    def drawn_a(name: str, way: Way) -> float:
        on = loads(plant, _contacts(plant, {name: way}), lasting, plant.scenario.always_on)
        return sum(load.counted_a for load in on)

    drawn = {name: {way: drawn_a(name, way) for way in of} for name, of in ways.items()}
    free = {name: max(of, key=lambda way: of[way]) for name, of in drawn.items() if name not in parted}
    tied = [name for name in ways if name in parted]
    sets = (dict(zip(tied, some, strict=True)) for some in product(*(drawn[name] for name in tied)))
    may_be = (on for on in sets if not any(keeps_apart(block, on) for block in blocks))
    most = max(may_be, key=lambda on: sum(drawn[name][way] for name, way in on.items()))
    return {name: {**free, **most}[name] for name in ways}


def may_last(plant: Assembly, programme: Programme, *, heating_lasts: bool) -> frozenset[Closed]:
    """What may be on for 3 h or more in one go, where the region counts that: by the year's schedule.

    What a sensor or a contact beside the controller has on may last, and with a source the pump that is kept
    for it. Sessions that are drawn by chance are those of seed 0.
    """
    if not counts_lasting(plant):
        return frozenset()
    controller, year = programme.controller, plant.scenario.place.year
    begins = [datetime(y, 1, 1, tzinfo=programme.zone).astimezone(UTC) for y in (year, year + 1)]
    raised = programme.raised(begins[0], round((begins[1] - begins[0]).total_seconds()))

    def lasts(demands: list[str]) -> bool:
        endless = [name for name in demands if name not in raised]
        spans = joined(sorted(span for name in demands for span in raised.get(name, ())))
        return bool(endless) or any(end - start >= LASTING_S for start, end in spans)

    asking = [d for d in controller.demands if heating_lasts or d.kind != HEATING]
    lasting = {(s.target, s.speed or "on") for s in controller.starters}
    for source in controller.sources:
        if lasts([d.name for d in asking if source.name in d.calls]):
            lasting.add((source.name, "on"))
            lasting |= {(keep.pump, keep.speed) for keep in controller.keeps if keep.after == source.name}
    for pump in controller.pumps:
        for k, speed in enumerate(pump.speeds):  # a higher speed that is blocked becomes this one
            if lasts([d.name for d in asking if d.pump == pump.name and d.speed in pump.speeds[k:]]):
                lasting.add((pump.name, speed))
    return frozenset(lasting)

"""What truly happened: machines with their inertia, as a timeline of snapshots that rules of state can judge.

Water still moves for as long as a pump coasts; a contactor opens a little after it is told to. The same
snapshot can be made of any state and facts that somebody wants judged, whether it ever happened or not.

A coasting pump still counts as flow for interlocks and rules, for as long as it `coasts`, but moves no water,
so a flush is never longer than it was asked to be.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from itertools import islice
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from cyclesim.analysis.kept_out import KeptOut, kept_out
from cyclesim.analysis.spans import (
    NONE,
    Ints,
    Spans,
    after,
    edges_of,
    join,
    longer,
    meet,
    spans,
    where,
    while_in,
    without,
)
from cyclesim.analysis.spans import covers as covered
from cyclesim.control.demands import Demand
from cyclesim.simulation.assembly import Assembly, PlantDuty
from cyclesim.simulation.programme import AIR, AIR_FLUSH
from cyclesim.simulation.trace import Stream, Trace
from cyclesim.simulation.wired import water_at

_BEFORE_S = -1e9
"""What is so when the span begins has been so since this: the trace does not know since when."""


_MOST = 2**62
"""Numbers below this are whole in 64 bits."""

LASTING_S = 3.0 * 3600.0
"""What runs for so long is a continuous load; NEC article 100, from memory, not opened."""

Closed = tuple[str, str]
"""A pump and its speed; a blower, a circulator or a heat source and "on"."""


class SourceTruth(NamedTuple):
    """What is true of one heat source. `flow` is "none", "back", "low" (below what it needs) or "enough"."""

    hot: bool
    """Its heat is on, its contactor's opening time included."""
    flow: str
    past_grace: bool
    """Its heat has been on without enough flow for longer than the grace."""
    flow_lasted: bool
    """Enough flow has lasted for the proof time without a break."""
    own_still: bool = False
    """Its own water stands, which a plate exchanger parts from the tub's."""


class Snapshot(NamedTuple):
    """One instant: the controller's states by machine, and what is true of pumps and heat sources."""

    states: tuple[tuple[str, str], ...]
    contacts: tuple[tuple[str, tuple[str, ...]], ...]
    """Per pump, blower, circulator, room heater and fan the speeds that are on; one not named may be on."""
    sources: tuple[tuple[str, SourceTruth], ...]
    lasting: frozenset[Closed] = frozenset()
    """What runs, now, for 3 h or more without a break; looked at where the region counts it."""
    people: bool = False
    """Whether somebody is in the water: under a closed cover nobody bathes."""
    flushing: tuple[tuple[str, str], ...] = ()
    """(pump or blower, demand) of each flush that decides one."""
    treatments: tuple[tuple[str, SourceTruth], ...] = ()
    """As `sources`, of treatment devices."""
    started: frozenset[str] = frozenset()
    """Contacts beside the controller that are closed."""
    low: bool = False
    """Whether the water is below the suction fittings."""
    air: bool = False
    """Whether the controller is asked for air: by a session, or to flush the air lines."""
    kept_out: tuple[KeptOut, ...] = ()
    """Steered collectors through which water has run for a while though it should not, and why."""


class Timeline(NamedTuple):
    """The snapshots of a trace: every distinct one, and for each of them the set of its time."""

    snapshots: tuple[tuple[Snapshot, Spans], ...]
    hot: dict[str, Spans]
    """Per source, when its heat is truly on."""
    some_flow: dict[str, Spans]
    enough_flow: dict[str, Spans]
    closed: dict[Closed, Spans]
    """When each contact is closed, each source hot, and the room's own heater and fan on."""
    people: Spans
    """When somebody is in the water."""


class Inertia(NamedTuple):
    """What lasts on, and what counts only once it has lasted [s]: the same for a trace and for a search."""

    coasts_s: dict[str, float]
    """Pump -> how long water moves on at its last speed, unless it starts before."""
    opens_s: dict[str, float]
    """Pump or heat source -> how long after its command a contact opens; what is not named opens at once."""
    grace_s: float
    """Heat without enough flow counts once it has lasted for longer than this."""
    proof_s: float
    """Flow has lasted once there has been enough of it for as long as this."""

    @classmethod
    def of(cls, plant: Assembly) -> Inertia:
        """That of a plant."""
        limits, sheet = plant.scenario.limits, plant.sheet
        opening = {**plant.pumps, **sheet.heat_sources}
        return cls(
            {name: pump.coasts_s for name, pump in plant.pumps.items()},
            {name: machine.opens_within_s for name, machine in opening.items()},
            limits.heat_without_flow_grace_s,
            limits.proof_time_s,
        )


def source_truth(
    hot: bool,
    moves: bool,
    back: bool,
    enough: bool,
    past_grace: bool,
    lasted: bool,
    own_still: bool = False,
) -> SourceTruth:
    """What is true of a device, of which water *moves*, perhaps *back* through it, and may be *enough*.

    *hot*, *past_grace*, *lasted* and *own_still* as in `SourceTruth`.
    """
    flow = "enough" if enough else "back" if back else "low" if moves else "none"
    return SourceTruth(hot, flow, past_grace, lasted, own_still)


Lasting = tuple[float, float, PlantDuty]
"""A duty, and from when to when it lasts."""


def duties_over_time(plant: Assembly, trace: Trace, *, coasting: bool) -> list[Lasting]:
    """What moves the water over the span: pumps, each with its coasting or without, valves, and the level."""
    coasts_s = Inertia.of(plant).coasts_s
    lanes: list[list[tuple[float, Any]]] = [
        _lane(trace.pumps[n], coasts_s[n] if coasting else 0.0) for n in plant.pumps
    ]
    lanes += [
        [(float(start), stream.labels[code]) for start, code in zip(stream.starts, stream.codes, strict=True)]
        for stream in (trace.positions, trace.level)
    ]
    edges = np.unique(np.concatenate([np.array([t for t, _ in lane]) for lane in lanes]))
    edges = edges[edges < trace.span_s]
    codes = [np.searchsorted(np.array([t for t, _ in lane]), edges, side="right") - 1 for lane in lanes]
    settings = zip(
        *(([lane[i][1] for i in code]) for lane, code in zip(lanes, codes, strict=True)), strict=True
    )
    ends = [*edges[1:].tolist(), float(trace.span_s)]
    known: dict[tuple[Any, ...], PlantDuty] = {}
    for row in set(rows := list(settings)):
        *speeds, positions, level = row
        known[row] = plant.duty(plant.turning(tuple(speeds)), positions or plant.usually, dry=level == "low")
    return [(a, b, known[row]) for a, b, row in zip(edges.tolist(), ends, rows, strict=True)]


def _lane(stream: Stream[str], coasts_s: float) -> list[tuple[float, str]]:
    """(since, speed) of one pump; a speed outlasts its stop by *coasts_s*, but not the next start."""
    lane: list[tuple[float, str]] = []
    for start_s, code in zip(stream.starts, stream.codes, strict=True):
        speed = stream.labels[code]
        if speed not in ("stopped", "changing"):
            while lane and lane[-1][0] >= start_s:
                lane.pop()
            lane.append((float(start_s), speed))
        elif not lane:
            lane.append((float(start_s), "stopped"))
        elif lane[-1][1] != "stopped":
            lane.append((start_s + coasts_s, "stopped"))
    return lane


def running(trace: Trace, plant: Assembly, name: str, speed: str) -> Spans:
    """When a pump ran at a speed, at any where its name alone is meant, or a blower or a circulator ran."""
    own = plant.speeds.get(name, ("on",))
    streams = {**trace.pumps, **trace.blowers, **trace.circulators}
    return while_in(streams[name], *([speed] if speed in own else own))


def people_in(trace: Trace) -> Spans:
    """When somebody is in the water: under a closed cover nobody bathes."""
    anybody = without(spans([(0.0, float(trace.span_s))]), while_in(trace.people, "0"))
    return meet(anybody, while_in(trace.cover, "off"))


def timeline(plant: Assembly, trace: Trace, flushes: Collection[Demand] = ()) -> Timeline:
    """The trace as snapshots of what is true. *flushes* are the demands that flush lines."""
    any_flow, back, enough = _flows(plant, trace)
    inertia, devices = Inertia.of(plant), [*trace.sources, *trace.treatments]
    closed = _closed(plant, trace, inertia)
    hot = {name: closed[name, "on"] for name in devices}
    facts: list[Spans] = []
    for name in devices:
        unfed = after(without(hot[name], enough[name]), inertia.grace_s)
        since_ever = _since_ever(enough[name])
        lasted = _clipped(after(since_ever, inertia.proof_s), trace)
        stands = own_still(plant, trace, name)
        facts += [hot[name], any_flow[name], back[name], enough[name], unfed, lasted, stands]
    contacts = [key for key in closed if key[0] not in devices]
    facts += [closed[key] for key in contacts]
    lasting = _lasting(closed) if plant.scenario.supply.region == "north_america" else {}
    facts += lasting.values()
    people = people_in(trace)
    flushing = _flushing(trace, flushes)
    started = {name: while_in(stream, "closed") for name, stream in trace.starters.items()}
    facts += [people, *flushing.values(), *started.values(), while_in(trace.level, "low"), _asked_air(trace)]
    out = kept_out(plant, trace, any_flow, {name: own_still(plant, trace, name) for name in plant.steered})
    facts += out.values()
    turned = (*trace.pumps.values(), *trace.blowers.values(), *trace.circulators.values())
    streams = [*turned, *trace.sources.values()]
    streams += trace.treatments.values()
    changes = [np.array(stream.starts, dtype=float) for stream in streams]
    edges = np.unique(np.concatenate([edges_of(NONE, *facts), *changes, [0.0, float(trace.span_s)]]))
    begins = edges[:-1]
    columns = [
        np.array(stream.codes, dtype=np.int64)[np.searchsorted(starts, begins, side="right") - 1]
        for stream, starts in zip(streams, changes, strict=True)
    ]
    columns += [covered(fact, begins).astype(np.int64) for fact in facts]
    rows, row_of_piece = _distinct(columns)
    snapshots = []
    for k, row in enumerate(rows):
        codes, true = row[: len(streams)], iter([bool(fact) for fact in row[len(streams) :]])
        states = tuple((s.name, s.labels[code]) for s, code in zip(streams, codes, strict=True))
        truths = tuple((name, source_truth(*islice(true, 7))) for name in devices)
        on = [key for key in contacts if next(true)]
        switched = (*plant.pumps, *trace.blowers, *trace.circulators, *trace.loads)
        snapshot = Snapshot(
            states,
            tuple((name, tuple(s for n, s in on if n == name)) for name in switched),
            truths[: len(trace.sources)],
            frozenset(key for key in lasting if next(true)),
            next(true),
            tuple(key for key in flushing if next(true)),
            truths[len(trace.sources) :],
            frozenset(name for name in started if next(true)),
            next(true),
            next(true),
            tuple(key for key in out if next(true)),
        )
        snapshots.append((snapshot, where(edges, row_of_piece == k)))
    return Timeline(tuple(snapshots), hot, any_flow, enough, closed, people)


def _asked_air(trace: Trace) -> Spans:
    """When all blowers are asked for: every demand for air is one for each of them."""
    asking = [
        stream for name, stream in trace.demands.items() if name == AIR_FLUSH or name.endswith(f", {AIR}")
    ]
    return join(NONE, *(while_in(stream, "raised") for stream in asking))


def _flushing(trace: Trace, flushes: Collection[Demand]) -> dict[tuple[str, str], Spans]:
    """When each flush decides its pump; a blower, of which no decider is kept, blows for no other."""
    names = {demand.name for demand in flushes}
    found = {
        (pump, name): while_in(stream, name)
        for pump, stream in trace.deciding.items()
        for name in stream.labels
        if name in names
    }
    raised = {name: while_in(stream, "raised") for name, stream in trace.demands.items()}
    for demand in flushes:
        if demand.pump in trace.blowers:
            first = [when for name, when in raised.items() if name.endswith(f", {AIR}")]
            alone = without(raised[demand.name], join(NONE, *first))
            found[demand.pump, demand.name] = meet(alone, while_in(trace.blowers[demand.pump], "on"))
    return found


def _distinct(columns: Sequence[NDArray[np.int64]]) -> tuple[list[list[int]], NDArray[np.int64]]:
    """The distinct rows of a table of codes from 0 on, in order, and which of them each row is.

    A row is read as the digits of one number, which sorts far sooner than rows do.
    """
    number, below = np.zeros_like(columns[0]), 1
    for column in columns:
        base = int(column.max(initial=0)) + 1
        if below * base > _MOST:
            number = np.unique(number, return_inverse=True)[1]
            below = int(number.max(initial=0)) + 1
        number, below = number * base + column, below * base
    _, first, row_of = np.unique(number, return_index=True, return_inverse=True)
    return np.column_stack([column[first] for column in columns]).tolist(), row_of


def _closed(plant: Assembly, trace: Trace, inertia: Inertia) -> dict[Closed, Spans]:
    """When the contacts of pumps, blowers and heat sources are closed; they open a little late."""
    on = {
        (p, speed): while_in(trace.pumps[p], speed) for p, speeds in plant.speeds.items() for speed in speeds
    }
    for pump, speed in on:
        if pump in trace.seconds:
            on[pump, speed] = join(on[pump, speed], while_in(trace.seconds[pump], speed))
    turned = {**trace.blowers, **trace.circulators, **trace.loads}
    on |= {(name, "on"): while_in(stream, "on") for name, stream in turned.items()}
    on |= {(name, "on"): while_in(stream, "firing") for name, stream in trace.sources.items()}
    on |= {(name, "on"): while_in(stream, "on") for name, stream in trace.treatments.items()}
    return {
        key: _clipped(longer(when, inertia.opens_s[key[0]]), trace) if key[0] in inertia.opens_s else when
        for key, when in on.items()
    }


def _lasting(closed: dict[Closed, Spans]) -> dict[Closed, Spans]:
    """Those spells of each that last long enough for a continuous load, from their first second."""
    return {key: a[a[:, 1] - a[:, 0] >= LASTING_S] for key, a in closed.items()}


def _flows(plant: Assembly, trace: Trace) -> tuple[dict[str, Spans], ...]:
    """Per device, when any water moves through it, when it moves backwards, and when as much as it needs."""
    devices = [*trace.sources, *trace.treatments]
    lasting = duties_over_time(plant, trace, coasting=True)
    distinct = {id(duty): duty for _, _, duty in lasting}
    known = {key: water_at(plant, devices, duty) for key, duty in distinct.items()}
    bounds = np.array([(start, end) for start, end, _ in lasting]).reshape(-1, 2)
    enough, still, back = np.array([known[id(duty)] for _, _, duty in lasting]).reshape(-1, 3).T

    def of_each(bits: Ints) -> dict[str, Spans]:
        return {name: spans(bounds[bits >> k & 1 == 1]) for k, name in enumerate(devices)}

    return of_each(~still), of_each(back), of_each(enough)


def own_still(plant: Assembly, trace: Trace, name: str) -> Spans:
    """When the own water of a source stands; never where it has none."""
    source = plant.sheet.heat_sources.get(name)
    if source is None or source.own_water is None:
        return NONE
    circulator, span = source.own_water.circulator, spans([(0.0, float(trace.span_s))])
    if circulator in plant.broken.dead:
        return span
    return without(span, while_in(trace.circulators[circulator], "on"))


def _since_ever(a: Spans) -> Spans:
    """The set with what is so at 0 going back before the span."""
    return join(a, spans([(_BEFORE_S, 0.0)])) if len(a) and a[0, 0] == 0.0 else a


def _clipped(a: Spans, trace: Trace) -> Spans:
    return meet(a, spans([(0.0, float(trace.span_s))]))

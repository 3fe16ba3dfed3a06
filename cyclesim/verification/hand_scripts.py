"""What a person can do by hand on a finished plant, and look at with a watch."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Literal

from cyclesim.control.demands import Condition
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.trace import Span
from cyclesim.verification.faults import PlantFault
from cyclesim.verification.held_by import PlantBarrier, fault

BEGIN_S, LOOK_S, SPARE_S = 60, 120, 30
"""When a test begins; how long one looks for what must not come; what a person takes: our choice."""
TestKind = Literal[
    "stays off", "wire off", "own start", "goes off", "low water", "runs on", "changes over", "comes on"
]
"""What is done and looked at; the words are those of `cyclesim.said.papers.commissioning`."""


@dataclass(frozen=True)
class HandTest:
    """One test and what it read on the plant as drawn."""

    kind: TestKind
    subject: str
    """What is looked at."""
    demand: str
    """What is called first: a demand of the controller, or a contact beside it."""
    done: str
    """What is done to it: the pump that is isolated, the valve that is shut, what is called second."""
    source: str = ""
    """The heat source after which a pump runs on, or whose contact starts it."""
    called_s: int = 0
    """How long the first call lasts before the second thing is done [s]."""
    look_s: int = LOOK_S
    """How long one looks [s]."""
    reads_s: float | None = None
    """What the watch shows on the plant as drawn [s]; None where nothing comes."""
    tells: tuple[Told, ...] = ()
    """The barriers that it tells."""
    facts: Mapping[str, tuple[Span, ...]] = field(default_factory=dict, repr=False)
    faults: frozenset[PlantFault] = frozenset()


@dataclass(frozen=True)
class Told:
    """A barrier that a test tells, and what the test reads where it is missing."""

    barrier: PlantBarrier
    reads_s: float | None
    breaks: tuple[str, ...]
    """The rules that are then broken during the test."""


def scripts(plant: Assembly, programme: Programme) -> Iterator[HandTest]:
    """Every test that might tell something of a plant."""
    devices = {**{n: plant.sheet.heat_sources[n] for n in programme.switched}, **plant.sheet.treatment}
    for name, device in devices.items():
        for demand, calls in _calls(programme, name):
            long_s = BEGIN_S + _takes_s(programme, name) + LOOK_S
            facts = _during(calls, BEGIN_S, long_s)
            off = partial(HandTest, subject=name, demand=demand, look_s=long_s - BEGIN_S, facts=facts)
            for pump in _pumps_of(programme, calls):
                yield off("stays off", done=pump, faults=frozenset({fault("no start", pump)}))
            if circuit := getattr(device, "own_water", None):
                yield off("stays off", done=circuit.circulator,
                          faults=frozenset({fault("no start", circuit.circulator)}))  # fmt: skip
            for valve, sheet in plant.sheet.valves.items():
                if sheet.usual != "shut":
                    yield off("stays off", done=valve, faults=frozenset({fault("valve shut", valve)}))
            if device.proof.by in ("flow_switch", "pressure_switch"):
                yield off("wire off", done=name, faults=frozenset({fault("false no", name)}))
        for beside in programme.beside:
            if beside.starter.target != name or beside.line.contact_of:
                continue
            contact = beside.starter.name
            long_s = BEGIN_S + round(device.own_flow_switch_s or 0) + LOOK_S
            facts = {f"{contact}.closed": ((BEGIN_S, long_s),)}
            still = frozenset(fault("no start", pump) for pump in plant.pumps)
            yield HandTest("own start", name, contact, ", ".join(plant.pumps), look_s=long_s - BEGIN_S,
                           facts=facts, faults=still)  # fmt: skip
            yield from _by_contact(programme, name, contact)
    yield from _blocked(programme)
    yield from _runs_on(programme)
    yield from _changes_over(plant, programme)
    yield from _low_water(plant, programme)


def _by_contact(programme: Programme, source: str, contact: str) -> Iterator[HandTest]:
    """A heat source that calls a pump by a contact of its own."""
    for beside in programme.beside:
        if beside.line.contact_of == source:
            facts = {f"{contact}.closed": ((BEGIN_S, BEGIN_S + LOOK_S),)}
            yield HandTest("comes on", beside.starter.target, contact, "", source, facts=facts)


def _blocked(programme: Programme) -> Iterator[HandTest]:
    controller = programme.controller
    for block in controller.blocks:
        for demand, calls in _calls_at(programme, block.target, block.speed):
            lead_s = _takes_s(programme, block.target) + SPARE_S
            begin, ends = BEGIN_S + lead_s, BEGIN_S + lead_s + LOOK_S
            if block.condition.negated:  # off where the other is not: end what keeps the other on
                for other, other_calls in _calls_at(programme, block.condition.subject, None):
                    facts = _during(calls, BEGIN_S, ends)
                    facts |= _during(other_calls, BEGIN_S, begin)
                    yield HandTest(
                        "goes off", block.target, demand, f"end {other}", called_s=lead_s, facts=facts
                    )
                continue
            for other, other_calls in _that(programme, block.condition):
                facts = _during(calls, BEGIN_S, ends) | _during(other_calls, begin, ends)
                yield HandTest("goes off", block.target, demand, other, called_s=lead_s, facts=facts)


def _runs_on(programme: Programme) -> Iterator[HandTest]:
    for keep in programme.controller.keeps:
        for demand, calls in _calls(programme, keep.after):
            least = programme.scenario.plant.heat_sources[keep.after].minimum_run_s
            lead_s = _takes_s(programme, keep.after) + SPARE_S + round(least)
            lasting = programme.run_on_s(keep.after)
            facts = _during(calls, BEGIN_S, BEGIN_S + lead_s)
            yield HandTest(
                "runs on", keep.pump, demand, "", keep.after, lead_s, lasting + LOOK_S, facts=facts
            )


def _changes_over(plant: Assembly, programme: Programme) -> Iterator[HandTest]:
    for name, pump in plant.pumps.items():
        if len(pump.speeds) < 2:
            continue
        low, high = pump.speeds
        for first, first_calls in _calls_at(programme, name, low):
            for then, then_calls in _calls_at(programme, name, high):
                lead_s = round(pump.minimum_run_s) + SPARE_S
                begin, ends = BEGIN_S + lead_s, BEGIN_S + lead_s + LOOK_S
                facts = _during(first_calls, BEGIN_S, ends) | _during(then_calls, begin, ends)
                yield HandTest("changes over", name, first, then, called_s=lead_s, facts=facts)


def _low_water(plant: Assembly, programme: Programme) -> Iterator[HandTest]:
    if not plant.sheet.tub.level_switch:
        return
    for name, pump in plant.pumps.items():
        speed = next(iter(pump.speeds))
        for demand, calls in _calls_at(programme, name, speed):
            begin, ends = BEGIN_S + SPARE_S, BEGIN_S + SPARE_S + LOOK_S
            facts = _during(calls, BEGIN_S, ends) | {"level.low": ((begin, ends),)}
            yield HandTest("low water", name, demand, "tub", called_s=SPARE_S, facts=facts)


def _during(calls: Iterable[str], begin_s: int, end_s: int) -> dict[str, tuple[Span, ...]]:
    """Every one of these facts, true for one while."""
    return dict.fromkeys(calls, ((begin_s, end_s),))


Called = tuple[str, tuple[str, ...]]
"""What is called, and the facts that say so."""


def _calls(programme: Programme, device: str) -> list[Called]:
    """What calls a heat source or a treatment device: heating, or its own demand."""
    demands = programme.controller.demands
    by = [d for d in demands if device in d.calls]
    heating = tuple(f"{d.name}.raised" for d in demands if d.kind == "heating" and not d.calls and d.pump)
    return [(d.name, (f"{d.name}.raised", *(heating[:1] if d.kind == "heating" else ()))) for d in by[:1]]


def _calls_at(programme: Programme, target: str, speed: str | None) -> list[Called]:
    """The first demand that asks for a pump at a speed (or at any), or that calls a device."""
    if target not in programme.scenario.plant.pumps and target not in programme.scenario.plant.air:
        return _calls(programme, target)
    asks = [d for d in programme.controller.demands if d.pump == target and speed in (None, d.speed)]
    asks.sort(key=lambda d: d.kind not in ("line flush", "filter run"))  # a programme, not a person
    return [(d.name, (f"{d.name}.raised",)) for d in asks[:1]]


def _that(programme: Programme, condition: Condition) -> list[Called]:
    """What brings about that which an interlock reads."""
    speed = condition.state if condition.state in ("low", "high") else None
    return _calls_at(programme, condition.subject, speed)


def _pumps_of(programme: Programme, calls: tuple[str, ...]) -> list[str]:
    """The pumps that these calls run."""
    demands = programme.controller.demands
    return list(dict.fromkeys(d.pump for d in demands if d.pump and f"{d.name}.raised" in calls))


def _takes_s(programme: Programme, device: str) -> int:
    """How long a device takes to come on once it is called [s]."""
    known = programme.scenario.plant
    sheet = known.heat_sources.get(device) or known.treatment.get(device)
    own = getattr(sheet, "own_flow_switch_s", None) or 0
    return (programme.proof_s(device) or 0) + round(own) if sheet is not None else 0

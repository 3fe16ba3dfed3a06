"""What is to be verified of a plant: each rule of one instant, for each thing that it is about."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

from cyclesim.analysis.findings import Rule
from cyclesim.analysis.rules import RULES
from cyclesim.analysis.supply import carried, loads
from cyclesim.simulation.assembly import Plant
from cyclesim.simulation.programme import Programme
from cyclesim.verification.automaton import Automaton
from cyclesim.verification.cone import groups
from cyclesim.verification.search import Judge

STATE_RULES = {rule.id: rule for rule in RULES if rule.kind == "state"}
_MOST_SETS = 60


@dataclass(frozen=True)
class Check:
    """Rules of one subject that are judged in one search."""

    rules: tuple[str, ...]
    subject: str
    machines: tuple[str, ...]
    """What the rules look at; the cone is theirs."""
    watched: tuple[str, ...] = ()
    late: bool = False
    people: bool = False
    flush: bool = False
    hot: tuple[str, ...] = ()


def checks(plant: Plant, programme: Programme) -> Iterator[Check]:
    """Every check, in the order of the rules."""
    loops, sheet, controller = groups(plant), plant.sheet, programme.controller
    for name, source in sheet.heat_sources.items():
        if source.switched:
            yield Check(("heat-without-flow", "heat-before-proof"), name, (name,), (name,))
        else:
            pumps = tuple(p for p in plant.pumps if loops.get(p) == loops.get(name))
            yield Check(("heat-without-flow",), name, pumps, (name,), hot=(name,))
    for pump in controller.pumps:
        if len(pump.speeds) > 1:
            yield Check(("both-speeds-at-once",), pump.name, (pump.name,), late=True)
    for demand in controller.demands:
        if demand.kind == "line flush":
            yield Check(("flush-onto-people",), demand.name, (demand.pump,), people=True, flush=True)
    for name in plant.pumps:
        yield Check(("dry-running",), name, (name,))
    kinds = {"dosing": "dosing", "ozone": "gas", "salt_cell": "gas", "uv": "lamp"}
    for name, device in sheet.treatment.items():
        yield Check((f"{kinds[device.kind]}-without-flow",), name, (name,), (name,))
    for circuit in plant.scenario.circuits:
        for machines in overloads(plant, circuit):
            yield Check(("supply-overload",), circuit, machines, late=True)


def judges(check: Check, automaton: Automaton) -> dict[str, Judge]:
    """Per rule, why a state breaks it for this subject."""

    def judge(rule: Rule) -> Judge:
        known: dict[object, str] = {}

        def why(node: object) -> str:
            snapshot = automaton.snapshot(node)  # type: ignore[arg-type]
            found = known.get(id(snapshot))
            if found is None:
                breaches = rule.function(snapshot, automaton.plant)
                found = known[id(snapshot)] = next(
                    (b.cause for b in breaches if b.subject == check.subject), ""
                )
            return found

        return why

    return {name: judge(STATE_RULES[name]) for name in check.rules}


def overloads(plant: Plant, circuit: str) -> list[tuple[str, ...]]:
    """Every least set of machines that together can draw more than a circuit's breaker bears.

    Of a pump both speeds are counted: a weld closes both.
    """
    sheet = plant.scenario.circuits[circuit]
    if not sheet.breaker_a:
        return []
    switched = {name for name, source in plant.sheet.heat_sources.items() if source.switched}
    machines = {*plant.pumps, *plant.sheet.air, *plant.sheet.treatment, *switched}
    fed = [name for name in sheet.feeds if name in machines]

    def over(names: tuple[str, ...]) -> bool:
        on = [(name, speed) for name in names for speed in plant.speeds.get(name, ("on",))]
        most = carried(plant, circuit, loads(plant, on, lasting=on))
        return not most.within(most.counted_a)

    found: list[tuple[str, ...]] = []
    for n in range(len(fed) + 1):
        for some in combinations(fed, n):
            if over(some) and not any(set(less) <= set(some) for less in found):
                found.append(some)
    return [tuple(fed)] if len(found) > _MOST_SETS else found

"""The cone of influence: the pumps, sources and demands that what a rule looks at can depend on.

A cone for each rule: only the pumps, sources and facts that its text can see are kept, demands by what they
command; tests compare the verdict with that of the whole product.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from cyclesim.control.step import ControlLogic
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme

_TUB = "tub"


@dataclass(frozen=True)
class Cone:
    """The machines inside, in the controller's order, and the controller cut down to them."""

    names: tuple[str, ...]
    controller: ControlLogic


def groups(plant: Assembly) -> dict[str, int]:
    """Element -> the loop it lies in; what meets only in the tub cannot move each other's water."""
    above: dict[str, str] = {}

    def root(node: str) -> str:
        while above.setdefault(node, node) != node:
            node = above[node]
        return node

    def ends(name: str, a: str, b: str) -> tuple[str, ...]:
        return (f"element {name}", *(end for end in (a, b) if end != _TUB))

    for link in plant.links:
        first, *others = ends(link.name, link.a, link.b)
        for other in others:
            above[root(other)] = root(first)
    roots = {link.name: root(f"element {link.name}") for link in plant.links}
    number = {node: k for k, node in enumerate(dict.fromkeys(roots.values()))}
    return {name: number[node] for name, node in roots.items()}


def cone_of(
    plant: Assembly,
    programme: Programme,
    subjects: Iterable[str],
    *,
    whole: bool = False,
    alone: bool = False,
) -> Cone:
    """The cone of some machines: what blocks or keeps them, and what moves their water, and so on.

    *alone*: these machines and nothing else, for a rule that looks at what demands decide; a keep or a block
    that is left out could only decide less. *whole*: every machine.
    """
    full, loops = programme.controller, groups(plant)
    devices = {source.name for source in full.sources}
    inside: set[str] = set()
    waiting = [m.name for m in full.machines] if whole else list(subjects)
    while waiting:
        name = waiting.pop()
        if name in inside:
            continue
        inside.add(name)
        if alone:
            continue
        waiting += [block.condition.subject for block in full.blocks if block.target == name]
        waiting += [keep.after for keep in full.keeps if keep.pump == name]
        if name in devices or name in plant.sheet.heat_sources:
            loop = loops.get(plant.fed_through(name))
            sheet = plant.sheet.treatment.get(name) or plant.sheet.heat_sources[name]
            circuit = getattr(sheet, "own_water", None)
            waiting += [circuit.circulator] if circuit else []
            any_pump = sheet.proof.by == "pump_contact"  # it knows of a pump that runs, whichever
            felt = {loop, loops.get(sheet.proof.in_ or plant.fed_through(name))}
            waiting += [pump for pump in plant.pumps if any_pump or loops.get(pump) in felt]
    return Cone(tuple(m.name for m in full.machines if m.name in inside), _cut(full, inside))


def _cut(full: ControlLogic, inside: set[str]) -> ControlLogic:
    """The same controller with what lies outside left out."""
    demands = []
    for demand in full.demands:
        calls = tuple(name for name in demand.calls if name in inside)
        circulators = tuple(name for name in demand.circulators if name in inside)
        pump = demand.pump if demand.pump in inside else ""
        if calls or pump or circulators:
            demands.append(replace(demand, pump=pump, calls=calls, circulators=circulators))
    return ControlLogic(
        pumps=tuple(p for p in full.pumps if p.name in inside),
        sources=tuple(s for s in full.sources if s.name in inside),
        demands=tuple(demands),
        blocks=tuple(b for b in full.blocks if {b.target, b.condition.subject} <= inside),
        keeps=tuple(k for k in full.keeps if {k.pump, k.after} <= inside),
        dwell_s={name: times for name, times in full.dwell_s.items() if name in inside},
        starters=tuple(s for s in full.starters if s.target in inside),
        hand_switched=tuple(n for n in full.hand_switched if n in inside),
        reads_level=full.reads_level,
    )

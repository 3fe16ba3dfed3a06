"""What might mend a broken rule of state: interlocks, means of proof, wiring, plumbing, each a change."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Any, NamedTuple

from cyclesim.analysis.amounts import at_least
from cyclesim.analysis.combinations import as_written, while_at
from cyclesim.analysis.findings import Change, Rule, Subject
from cyclesim.scenario.blocks.heat_sources import Proof
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.schedule import DEMANDS, Block
from cyclesim.scenario.reading.edit import Edit
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import AIR_FLUSH, Programme


class _Made(NamedTuple):
    """A change of a scenario, and the same in its text."""

    of: Callable[[Scenario], Scenario]
    edits: tuple[Edit, ...]


def changes(rule: Rule, plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """Changes that might make a rule hold for its subject, the smallest first."""
    yield from rule.changes(plant, programme, about)
    for name in about.machines:
        for kind in ("pumps", "heat_sources", "treatment", "air"):
            sheet: Any = getattr(plant.sheet, kind).get(name)
            if sheet is not None and sheet.also_started_by:
                sentence = (
                    f"disconnect the contacts that start {as_written(name, 'on')} without the controller"
                )
                yield _change(sentence, _with_value((), "plant", kind, name, "also_started_by"))


def flow_proven(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """Heat or treatment without its flow: prove it, block it, keep the thing off by itself, plumb it."""
    scenario, name = plant.scenario, about.name
    kind = "treatment" if name in plant.sheet.treatment else "heat_sources"
    device = plant.sheet.treatment.get(name) or plant.sheet.heat_sources[name]
    if not getattr(device, "switched", True):
        return
    proof_s = at_least(max(scenario.limits.proof_time_s, programme.proof_s(name) or 0))
    line = f"{{block: {name}, unless: flow proven, for: {proof_s}}}"
    proofs = (isinstance(i, Block) and i.block == name and bool(i.unless) for i in scenario.interlocks)
    wired_at = next((k for k, proves in enumerate(proofs) if proves), None)
    proven = _block({"block": name, "unless": "flow proven", "for": proof_s}, wired_at)
    switch = _with_value(Proof.model_validate({"by": "flow_switch"}), "plant", kind, name, "proof")
    if programme.proof_s(name) is None and device.proof.by != "none":
        yield _change(f"wire {line}", proven)
    elif (programme.proof_s(name) or 0) < scenario.limits.proof_time_s and device.proof.by != "none":
        yield _change(f"prove the flow for longer: {line}", proven)
    if device.proof.by != "flow_switch":
        yield _change(f"prove the flow by a flow switch, and {line}", _chained(proven, switch))
    if device.proof.in_ not in (None, plant.fed_through(name)):
        here = _with_value(None, "plant", kind, name, "proof", "in_")
        yield _change(f"put its flow switch into {plant.fed_through(name)}, out of {device.proof.in_}", here)
    for pump, speeds in plant.speeds.items():
        for speed in speeds:
            duty = plant.duty(plant.at(pump, speed))
            heating = scenario.schedule.heating
            own = heating is not None and tuple(heating.pump) == (pump, speed)
            if not plant.has_flow(name, duty) and not own:
                yield _blocked_while(name, while_at(pump, speed))
    if device.own_flow_switch_s is None:
        own_s = math.ceil(scenario.limits.proof_time_s)
        own_switch = _with_value(float(own_s), "plant", kind, name, "own_flow_switch_s")
        sentence = f"give {name} a flow switch of its own: own_flow_switch: {at_least(own_s)}"
        yield _change(sentence, own_switch)
        if programme.proof_s(name) is not None or device.proof.by != "none":
            yield _change(f"a flow switch of its own, and {line}", _chained(proven, own_switch))
    for valve, turnable in plant.turnable.items():
        if len(turnable.positions) > 1:
            where = "valves" if valve in plant.sheet.valves else "diverters"
            sentence = f"a stop on {valve}, so that it stays {turnable.usual}"
            yield _change(sentence, _with_value((), "plant", where, valve, "may_be"))
    for pump, sheet in plant.pumps.items():
        if not sheet.check_valve and len(plant.pumps) > 1:
            yield _change(
                f"a check valve in {pump}", _with_value(True, "plant", "pumps", pump, "check_valve")
            )


def longer_changeover(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """A changeover in which the contacts of the other speed have opened."""
    del programme
    sheet = plant.pumps[about.name]
    due_s = float(math.floor(sheet.opens_within_s) + 1)
    if due_s > sheet.changeover_s:
        changeover = _with_value(due_s, "plant", "pumps", about.name, "changeover_s")
        yield _change(f"a changeover of {at_least(due_s)}", changeover)
    if not sheet.contactors_lock:
        locked = _with_value(True, "plant", "pumps", about.name, "contactors_lock")
        yield _change("contactors that lock each other: contactors_lock: true", locked)


def flush_away_from_people(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """Bathing above flushes, or no flush by the schedule."""
    schedule = plant.scenario.schedule
    ranks = [k for k in (schedule.ranks or DEMANDS) if k != "bathing"]
    if schedule.ranks and schedule.ranks[0] != "bathing":
        above = _with_value(("bathing", *ranks), "schedule", "ranks")
        yield _change("let bathing stand above all in schedule.ranks", above)
    if about.name == AIR_FLUSH:
        yield _change("take it out of the schedule", _with_value((), "schedule", "air_line_flushes"))
        return
    run = next(t.run for t in programme.timed if t.demand.name == about.name)
    other_flushes = tuple(r for r in schedule.line_flushes if r is not run)
    sentence = "flush by hand when nobody bathes, and take it out of the schedule"
    away = Edit(("schedule", "line_flushes", schedule.line_flushes.index(run)), None)
    yield Change(
        sentence, _with_value(other_flushes, "schedule", "line_flushes").of, (away,) if other_flushes else ()
    )


def level_switch(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """A switch that stops pumps when the water is low."""
    del programme, about
    if not plant.sheet.tub.level_switch:
        switch = _with_value(True, "plant", "tub", "level_switch")
        yield _change("a level switch that stops it: level_switch: true", switch)


def shed(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """Block what heats while another thing of the same circuit runs."""
    del programme
    heating, machines = plant.scenario.schedule.heating, about.machines
    hot = [m for m in machines if m in plant.sheet.heat_sources]
    for source in hot:
        for pump in (m for m in machines if m in plant.speeds):
            for speed in plant.speeds[pump]:
                if heating is None or tuple(heating.pump) != (pump, speed):
                    yield _blocked_while(source, while_at(pump, speed))
    for source in hot:
        for other in (m for m in machines if m in plant.sheet.air or (m in hot and m != source)):
            state = "running" if other in plant.sheet.air else "firing"
            yield _blocked_while(source, f"{other} {state}")


# -- changes of a scenario -----------------------------------------------------------------------------------


def _change(sentence: str, made: _Made) -> Change:
    return Change(sentence, made.of, made.edits)


def _with_value(value: Any, *path: str) -> _Made:
    """The thing at the path replaced: seconds, true, names, a means of proof; what is empty is taken out."""
    written = "true" if value is True else None
    if isinstance(value, float):
        written = f"{value:g} s"
    elif isinstance(value, Proof):
        written = f"{{by: {value.by}}}"
    elif value and isinstance(value, tuple):
        written = f"[{', '.join(map(str, value))}]"
    edit = Edit((*path[:-1], path[-1].removesuffix("_s").rstrip("_")), written)
    return _Made(lambda scenario: replaced(scenario, value, *path), (edit,))


def replaced(model: Any, value: Any, *path: str) -> Any:
    """A copy of a frozen model, or a dict, with the thing at the path replaced."""
    if not path:
        return value
    key, rest = path[0], path[1:]
    if isinstance(model, dict):
        return {**model, key: replaced(model[key], value, *rest)}
    return model.model_copy(update={key: replaced(getattr(model, key), value, *rest)})


def _chained(first: _Made, then: _Made) -> _Made:
    return _Made(lambda scenario: then.of(first.of(scenario)), (*first.edits, *then.edits))


def _blocked_while(name: str, condition: str) -> Change:
    return _change(f"wire {{block: {name}, while: {condition}}}", _block({"block": name, "while": condition}))


def _block(line: dict[str, str], at: int | None = None) -> _Made:
    """A block wired; where it is a proof of flow, in place of the one there is, the *at*-th interlock."""
    block = Block.model_validate(line)
    text = ", ".join(f"{key}: {value}" for key, value in line.items())

    def again(interlock: object) -> bool:
        same = isinstance(interlock, Block) and interlock.block == block.block
        return same and bool(interlock.unless and block.unless)  # type: ignore[attr-defined]

    def wired(scenario: Scenario) -> Scenario:
        others = tuple(interlock for interlock in scenario.interlocks if not again(interlock))
        return scenario.model_copy(update={"interlocks": (*others, block)})

    edit = Edit(("interlocks",), f"{{{text}}}", adds=True)
    return _Made(wired, (edit if at is None else Edit(("interlocks", at), f"{{{text}}}"),))

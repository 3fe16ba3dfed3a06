"""What might mend a broken rule: interlocks, means of proof, wiring, plumbing, each a changed scenario."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Any

from cyclesim.analysis.amounts import at_least
from cyclesim.analysis.combinations import said, while_at
from cyclesim.scenario.blocks.heat_sources import Proof
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.schedule import KINDS, Block
from cyclesim.simulation.assembly import Plant
from cyclesim.simulation.programme import Programme
from cyclesim.verification.subjects import Check

Candidate = tuple[str, Scenario]


def candidates(plant: Plant, programme: Programme, rule: str, check: Check) -> Iterator[Candidate]:
    """Changes that might make a rule hold for its subject, the smallest first."""
    makers: dict[str, Callable[[Plant, Programme, str], Iterator[Candidate]]] = {
        "both-speeds-at-once": _changeover,
        "flush-onto-people": _flush,
        "dry-running": _level,
    }
    if rule == "supply-overload":
        yield from _breaker(plant, check)
    else:
        yield from makers.get(rule, _flow)(plant, programme, check.subject)
    yield from _contacts_off(plant, check.machines)


def changed(model: Any, value: Any, *path: str) -> Any:
    """A copy of a frozen model, or a dict, with the thing at the path replaced."""
    if not path:
        return value
    key, rest = path[0], path[1:]
    if isinstance(model, dict):
        return {**model, key: changed(model[key], value, *rest)}
    return model.model_copy(update={key: changed(getattr(model, key), value, *rest)})


def _with_block(scenario: Scenario, **line: str) -> Scenario:
    block = Block.model_validate(line)
    kept = tuple(
        i
        for i in scenario.interlocks
        if not (isinstance(i, Block) and i.block == block.block and i.unless and block.unless)
    )
    return scenario.model_copy(update={"interlocks": (*kept, block)})


def _flow(plant: Plant, programme: Programme, name: str) -> Iterator[Candidate]:
    """Heat or treatment without its flow: prove it, block it, keep the thing off by itself, plumb it."""
    scenario, kind = plant.scenario, "treatment" if name in plant.sheet.treatment else "heat_sources"
    device = plant.sheet.treatment.get(name) or plant.sheet.heat_sources[name]
    if not getattr(device, "switched", True):
        return
    proof_s = at_least(max(scenario.limits.proof_time_s, programme.proof_s(name) or 0))
    line = f"{{block: {name}, unless: flow proven, for: {proof_s}}}"
    proven = _with_block(scenario, block=name, unless="flow proven", **{"for": proof_s})
    switch = Proof.model_validate({"by": "flow_switch"})
    if programme.proof_s(name) is None and device.proof.by != "none":
        yield f"wire {line}", proven
    elif (programme.proof_s(name) or 0) < scenario.limits.proof_time_s and device.proof.by != "none":
        yield f"prove the flow for longer: {line}", proven
    if device.proof.by != "flow_switch":
        yield (
            f"prove the flow by a flow switch, and {line}",
            changed(proven, switch, "plant", kind, name, "proof"),
        )
    for pump, speeds in plant.speeds.items():
        for speed in speeds:
            duty = plant.duty(plant.at(pump, speed))
            heating = scenario.schedule.heating
            own = heating is not None and tuple(heating.pump) == (pump, speed)
            if not plant.has_flow(name, duty) and not own:
                condition = while_at(pump, speed)
                yield (
                    f"wire {{block: {name}, while: {condition}}}",
                    _with_block(scenario, block=name, **{"while": condition}),
                )
    if device.own_flow_switch_s is None:
        own_s = math.ceil(scenario.limits.proof_time_s)
        yield (
            f"give {name} a flow switch of its own: own_flow_switch: {at_least(own_s)}",
            changed(scenario, float(own_s), "plant", kind, name, "own_flow_switch_s"),
        )
        if programme.proof_s(name) is not None or device.proof.by != "none":
            yield (
                f"a flow switch of its own, and {line}",
                changed(proven, float(own_s), "plant", kind, name, "own_flow_switch_s"),
            )
    for valve, thing in plant.turnable.items():
        if len(thing.positions) > 1:
            where = "valves" if valve in plant.sheet.valves else "diverters"
            yield (
                f"a stop on {valve}, so that it stays {thing.usual}",
                changed(scenario, (), "plant", where, valve, "may_be"),
            )
    for pump, sheet in plant.pumps.items():
        if not sheet.check_valve and len(plant.pumps) > 1:
            yield f"a check valve in {pump}", changed(scenario, True, "plant", "pumps", pump, "check_valve")


def _changeover(plant: Plant, programme: Programme, name: str) -> Iterator[Candidate]:
    del programme
    opens_s = plant.pumps[name].opens_within_s
    due_s = float(math.floor(opens_s) + 1)
    if due_s > plant.pumps[name].changeover_s:
        yield (
            f"a changeover of {at_least(due_s)}",
            changed(plant.scenario, due_s, "plant", "pumps", name, "changeover_s"),
        )


def _flush(plant: Plant, programme: Programme, name: str) -> Iterator[Candidate]:
    scenario = plant.scenario
    ranks = [k for k in (scenario.schedule.ranks or KINDS) if k != "bathing"]
    if scenario.schedule.ranks and scenario.schedule.ranks[0] != "bathing":
        yield (
            "let bathing stand above all in schedule.ranks",
            changed(scenario, ("bathing", *ranks), "schedule", "ranks"),
        )
    run = next(t.run for t in programme.timed if t.demand.name == name)
    left = tuple(r for r in scenario.schedule.line_flushes if r is not run)
    yield (
        "flush by hand when nobody bathes, and take it out of the schedule",
        changed(scenario, left, "schedule", "line_flushes"),
    )


def _level(plant: Plant, programme: Programme, name: str) -> Iterator[Candidate]:
    del programme, name
    if not plant.sheet.tub.level_switch:
        yield (
            "a level switch that stops it: level_switch: true",
            changed(plant.scenario, True, "plant", "tub", "level_switch"),
        )


def _breaker(plant: Plant, check: Check) -> Iterator[Candidate]:
    """Block what heats while another thing of the same circuit runs."""
    scenario, heating = plant.scenario, plant.scenario.schedule.heating
    hot = [m for m in check.machines if m in plant.sheet.heat_sources]
    for source in hot:
        for pump in (m for m in check.machines if m in plant.speeds):
            for speed in plant.speeds[pump]:
                if heating is None or tuple(heating.pump) != (pump, speed):
                    condition = while_at(pump, speed)
                    yield (
                        f"wire {{block: {source}, while: {condition}}}",
                        _with_block(scenario, block=source, **{"while": condition}),
                    )
    for source in hot:
        for other in (m for m in check.machines if m in plant.sheet.air or (m in hot and m != source)):
            condition = f"{other} {'running' if other in plant.sheet.air else 'firing'}"
            yield (
                f"wire {{block: {source}, while: {condition}}}",
                _with_block(scenario, block=source, **{"while": condition}),
            )


def _contacts_off(plant: Plant, machines: tuple[str, ...]) -> Iterator[Candidate]:
    """Take off what starts a machine past the controller."""
    for name in machines:
        for kind in ("pumps", "heat_sources", "treatment", "air"):
            sheet: Any = getattr(plant.sheet, kind).get(name)
            if sheet is not None and sheet.also_started_by:
                yield (
                    f"take the contacts off that start {said(name, 'on')} past the controller",
                    changed(plant.scenario, (), "plant", kind, name, "also_started_by"),
                )

"""What might mend a broken rule of state: interlocks, means of proof, wiring, plumbing, each a change."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator
from itertools import chain
from typing import Any, NamedTuple

from cyclesim.analysis.amounts import at_least
from cyclesim.analysis.combinations import as_written, combinations, while_at
from cyclesim.analysis.findings import Change, Rule, Subject
from cyclesim.errors import CycleSimError
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.scenario.blocks.heat_sources import Proof
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.schedule import DEMANDS, Block
from cyclesim.scenario.reading.edit import Edit
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import AIR_FLUSH, Programme
from cyclesim.units import written_in_us

RUN_FOR_IT = "run a pump through it for as long as it is hot: nobody can switch it off"


class MadeMend(NamedTuple):
    """A change of a scenario, and the same in its text."""

    of: Callable[[Scenario], Scenario]
    edits: tuple[Edit, ...]


def changes(rule: Rule, plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """Changes that might make a rule hold for its subject, the smallest first; none that the file has.

    What they write is in the units in which most of the file is written.
    """
    offered = [rule.changes(plant, programme, about), *(disconnected(plant, name) for name in about.machines)]
    for one in chain.from_iterable(offered):
        try:
            if one.of(plant.scenario) == plant.scenario:
                continue
        except (CycleSimError, ValueError):
            pass  # told for what it is where it is tried
        if plant.scenario.in_us_units:
            texts = (edit.text and written_in_us(edit.text) for edit in one.edits)
            one = one._replace(edits=tuple(e._replace(text=t) for e, t in zip(one.edits, texts, strict=True)))
        yield one


def disconnected(plant: Assembly, name: str) -> Iterator[Change]:
    """A device that nothing but the controller starts or stops any more."""
    for kind in ("pumps", "heat_sources", "treatment", "air", "circulators"):
        sheet: Any = getattr(plant.sheet, kind).get(name)
        if sheet is not None and sheet.also_started_by:
            sentence = f"disconnect the contacts that start {as_written(name, 'on')} without the controller"
            yield change(sentence, with_value((), "plant", kind, name, "also_started_by"))


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
    proven = wired_block({"block": name, "unless": "flow proven", "for": proof_s}, wired_at)
    switch = with_value(Proof.model_validate({"by": "flow_switch"}), "plant", kind, name, "proof")
    itself = list(_own_switch(plant, programme, name, kind, f"and {line}", proven))
    if device.also_started_by:  # whatever the controller is told, it does not stop what starts without it
        yield from itself
    if programme.proof_s(name) is None and device.proof.by != "none":
        yield change(f"wire {line}", proven)
    elif (programme.proof_s(name) or 0) < scenario.limits.proof_time_s and device.proof.by != "none":
        yield change(f"prove the flow for longer: {line}", proven)
    if device.proof.by != "flow_switch":
        yield change(f"prove the flow by a flow switch, and {line}", chained(proven, switch))
    if device.proof.in_ not in (None, plant.fed_through(name)):
        here = with_value(None, "plant", kind, name, "proof", "in_")
        yield change(f"put its flow switch into {plant.fed_through(name)}, out of {device.proof.in_}", here)
    for pump, speeds in plant.speeds.items():
        for speed in speeds:
            duty = plant.duty(plant.at(pump, speed))
            heating = scenario.schedule.heating
            own = heating is not None and tuple(heating.pump) == (pump, speed)
            if not plant.has_flow(name, duty) and not own:
                yield blocked_while(name, while_at(pump, speed))
    if not device.also_started_by:
        yield from itself
    for valve, turnable in plant.turnable.items():
        if len(turnable.positions) > 1:
            where = "valves" if valve in plant.sheet.valves else "diverters"
            sentence = f"a stop on {valve}, so that it stays {turnable.usual}"
            yield change(sentence, with_value((), "plant", where, valve, "may_be"))
    through = plant.fed_through(name)
    back = any(plant.forward_m3_s(through, duty) < -STILL_M3_S for duty in combinations(plant, plant.speeds))
    for pump, sheet in plant.pumps.items():
        if back and not sheet.check_valve:
            yield change(f"a check valve in {pump}", with_value(True, "plant", "pumps", pump, "check_valve"))


def _own_switch(
    plant: Assembly, programme: Programme, name: str, kind: str, line: str, proven: MadeMend
) -> Iterator[Change]:
    """A flow switch of the device's own, alone and with its proof wired."""
    device = plant.sheet.treatment.get(name) or plant.sheet.heat_sources[name]
    if device.own_flow_switch_s is None:
        own_s = math.ceil(plant.scenario.limits.proof_time_s)
        own_switch = with_value(float(own_s), "plant", kind, name, "own_flow_switch_s")
        yield change(f"give {name} a flow switch of its own: own_flow_switch: {at_least(own_s)}", own_switch)
        if programme.proof_s(name) is not None or device.proof.by != "none":
            yield change(f"a flow switch of its own, {line}", chained(proven, own_switch))


def longer_changeover(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """A changeover in which the contacts of the other speed have opened."""
    del programme
    sheet = plant.pumps[about.name]
    due_s = float(math.floor(sheet.opens_within_s) + 1)
    if due_s > sheet.changeover_s:
        changeover = with_value(due_s, "plant", "pumps", about.name, "changeover_s")
        yield change(f"a changeover of {at_least(due_s)}", changeover)
    if not sheet.contactors_lock:
        locked = with_value(True, "plant", "pumps", about.name, "contactors_lock")
        yield change("contactors that lock each other: contactors_lock: true", locked)


def flush_away_from_people(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """Bathing above flushes, or no flush by the schedule."""
    schedule = plant.scenario.schedule
    ranks = [k for k in (schedule.ranks or DEMANDS) if k != "bathing"]
    if schedule.ranks and schedule.ranks[0] != "bathing":
        above = with_value(("bathing", *ranks), "schedule", "ranks")
        yield change("let bathing stand above all in schedule.ranks", above)
    if about.name == AIR_FLUSH:
        yield change("take it out of the schedule", with_value((), "schedule", "air_line_flushes"))
        return
    run = next(t.run for t in programme.timed if t.demand.name == about.name)
    other_flushes = tuple(r for r in schedule.line_flushes if r is not run)
    sentence = "flush by hand when nobody bathes, and take it out of the schedule"
    away = with_value(other_flushes, "schedule", "line_flushes")
    if other_flushes:
        place = schedule.line_flushes.index(run)
        away = MadeMend(away.of, (Edit(("schedule", "line_flushes", place), None),))
    yield change(sentence, away)


def level_switch(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """A switch that stops pumps when the water is low."""
    del programme, about
    if not plant.sheet.tub.level_switch:
        switch = with_value(True, "plant", "tub", "level_switch")
        yield change("a level switch that stops it: level_switch: true", switch)


def resumed() -> Change:
    """A controller that goes on by itself, at the right time, when power is back."""
    made = with_text("resume", "resume", "controller", "after_power_cut")
    return change("a controller that keeps the time, and resumes by itself: after_power_cut: resume", made)


def preferred(plant: Assembly, sources: list[str]) -> list[str]:
    """Heat sources as heating prefers them: of two that may not be on together the later one waits."""
    heating = plant.scenario.schedule.heating
    order = heating.sources if heating else ()
    return sorted(sources, key=lambda name: order.index(name) if name in order else len(order))


def shed(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """Block what heats while another thing of the same circuit runs."""
    del programme
    heating, machines = plant.scenario.schedule.heating, about.machines
    hot = preferred(plant, [m for m in machines if m in plant.sheet.heat_sources])[::-1]
    for source in hot:
        for pump in (m for m in machines if m in plant.speeds):
            for speed in plant.speeds[pump]:
                if heating is None or tuple(heating.pump) != (pump, speed):
                    yield blocked_while(source, while_at(pump, speed))
    for source in hot:
        for other in (m for m in machines if m in plant.sheet.air or (m in hot and m != source)):
            state = "running" if other in plant.sheet.air else "firing"
            yield blocked_while(source, f"{other} {state}")


# -- changes of a scenario -----------------------------------------------------------------------------------


def change(sentence: str, made: MadeMend) -> Change:
    """A change under the sentence that it is told by."""
    return Change(sentence, made.of, made.edits)


def with_value(value: Any, *path: str | int) -> MadeMend:
    """The thing at the path replaced: seconds, true, names, a means of proof; what is empty is taken out."""
    written = "true" if value is True else None
    if isinstance(value, float):
        written = f"{value:g} s"
    elif isinstance(value, Proof):
        written = f"{{by: {value.by}}}"
    elif value and isinstance(value, tuple):
        written = f"[{', '.join(map(str, value))}]"
    return with_text(value, written, *path)


def with_text(value: Any, written: str | None, *path: str | int) -> MadeMend:
    """The thing at the path replaced, as the file writes it; taken out where that is None."""
    *above, last = path
    key = re.sub("_[sck]$", "", last).rstrip("_") if isinstance(last, str) else last
    return MadeMend(lambda scenario: replaced(scenario, value, *path), (Edit((*above, key), written),))


def replaced(thing: Any, value: Any, *path: str | int) -> Any:
    """A copy of a frozen model, a dict or a tuple, with the thing at the path replaced."""
    if not path:
        return value
    key, rest = path[0], path[1:]
    if isinstance(thing, tuple):
        return tuple(replaced(one, value, *rest) if k == key else one for k, one in enumerate(thing))
    if isinstance(thing, dict):
        return {**thing, key: replaced(thing[key], value, *rest)}
    return thing.model_copy(update={key: replaced(getattr(thing, str(key)), value, *rest)})


def chained(first: MadeMend, then: MadeMend) -> MadeMend:
    """One after the other."""
    return MadeMend(lambda scenario: then.of(first.of(scenario)), (*first.edits, *then.edits))


def not_blocked(plant: Assembly, name: str) -> Iterator[Change]:
    """Each block of a device taken out, so that it is on when it is asked for."""
    interlocks = plant.scenario.interlocks
    for k, line in enumerate(interlocks):
        if isinstance(line, Block) and line.while_ and str(line.block).partition(" ")[0] == name:
            left = tuple(other for other in interlocks if other is not line)
            made = with_value((), "interlocks")
            if left:
                made = MadeMend(with_value(left, "interlocks").of, (Edit(("interlocks", k), None),))
            why = f" (it stands there for: {line.because})" if line.because else ""
            yield change(f"take out {{block: {line.block}, while: {line.while_}}}{why}", made)


def blocked_while(name: str, condition: str) -> Change:
    """Something is off while something else is so."""
    line = wired_block({"block": name, "while": condition})
    return change(f"wire {{block: {name}, while: {condition}}}", line)


def wired_block(line: dict[str, str], at: int | None = None) -> MadeMend:
    """A block wired; where it is a proof of flow, in place of the one there is, the *at*-th interlock."""
    block = Block.model_validate(line)
    text = ", ".join(f"{key}: {value}" for key, value in line.items())

    def again(interlock: object) -> bool:
        same = isinstance(interlock, Block) and interlock.block == block.block
        return same and bool(interlock.unless and block.unless)  # type: ignore[attr-defined]

    def wired(scenario: Scenario) -> Scenario:
        if any(
            isinstance(one, Block) and one.model_copy(update={"because": None}) == block
            for one in scenario.interlocks
        ):
            return scenario
        others = tuple(interlock for interlock in scenario.interlocks if not again(interlock))
        return scenario.model_copy(update={"interlocks": (*others, block)})

    edit = Edit(("interlocks",), f"{{{text}}}", adds=True)
    return MadeMend(wired, (edit if at is None else Edit(("interlocks", at), f"{{{text}}}"),))

"""Where control comes to a stop, and what the calendar asks for in vain."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from itertools import pairwise

from cyclesim.analysis.amounts import lasting, listed
from cyclesim.analysis.combinations import as_written
from cyclesim.analysis.findings import Breach
from cyclesim.analysis.history import History
from cyclesim.analysis.plant_rules import programme_does_not_fit
from cyclesim.analysis.spans import meet, spans, total_s, without
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import FROST, HEATING, TREATMENT, Programme
from cyclesim.verification.answer import DeadEnd
from cyclesim.verification.automaton import Automaton, Made, Move, Node
from cyclesim.verification.calendar_order import Calendar
from cyclesim.verification.cone import cone_of
from cyclesim.verification.environment import Environment
from cyclesim.verification.frost_ends import frost_ends
from cyclesim.verification.search import TooManyStatesError, search

_LONGEST_SETTLE = 60
"""Passes after which a settle is taken for one that never ends; no chain of machines is so long."""


def dead_ends(
    plant: Assembly, programme: Programme, calendar: Calendar, year: History | None = None
) -> Iterator[DeadEnd]:
    """Every dead end of control and of frost protection, then the contradictions of the calendar.

    *year*: a year of the plant, for the hours that it has until ice.
    """
    reported: set[tuple[str, str, str]] = set()
    frost = frost_ends(plant, programme, calendar, year)
    for end in (*_of_control(plant, programme, calendar), *frost, *_of_calendar(plant, programme, calendar)):
        if (key := (end.kind, end.subject, end.said)) not in reported:
            reported.add(key)
            yield end


def _of_control(plant: Assembly, programme: Programme, calendar: Calendar) -> Iterator[DeadEnd]:
    controller, done = programme.controller, list[set[str]]()
    for name in [*(source.name for source in controller.sources), *(pump.name for pump in controller.pumps)]:
        cone = cone_of(plant, programme, [name])
        if not any(set(cone.names) <= names for names in done):
            done.append(set(cone.names))
            env = Environment(plant, programme, calendar, cone)
            try:
                yield from _stops(Automaton(plant, cone, env))
            except TooManyStatesError:
                yield DeadEnd("not looked at", name, "there are too many states")
    if programme.scenario.controller.after_power_cut == "wait":
        yield DeadEnd("left only by a person", "controller", "it waits after every power cut")


def _stops(automaton: Automaton) -> Iterator[DeadEnd]:
    """States that nothing leaves, or a person alone; settles that never rest; sources that never fire."""
    explored, made = search(automaton, {}), Made()
    exits: dict[tuple[int, int], set[bool]] = defaultdict(set)
    on = [False] * len(automaton.controller.sources)
    restless: dict[str, tuple[int, str]] = {}
    for node in explored.came_from:
        effect = automaton.flows.effect(node.state, node.env, node.feedback)
        on = [a or b for a, b in zip(on, effect.on, strict=True)]
        if automaton.is_due(node):
            for name, needs, sentence in _restless(automaton, node):
                if name not in restless or needs < restless[name][0]:
                    restless[name] = needs, sentence
        for i, state in enumerate(node.state):
            _ = exits[i, state]
        for move, after in automaton.moves(node, made):
            for i, (old, new) in enumerate(zip(node.state, after.state, strict=True)):
                if old != new:
                    exits[i, old].add(move.event[0] == "resets")
    for name, (_, sentence) in restless.items():
        yield DeadEnd("never comes to rest", name, sentence)
    machines = automaton.controller.machines
    for (i, state), by in sorted(exits.items()):
        name, state_name = machines[i].name, machines[i].table.states[state]
        state_count = sum(1 for m, _ in exits if m == i)
        if by == {True}:
            yield DeadEnd("left only by a person", name, f"once it is {state_name}, somebody has to reset it")
        elif not by and state_count > 1:
            yield DeadEnd("deadlock", name, f"once it is {state_name}, nothing leaves it")
    for source, fires in zip(automaton.controller.sources, on, strict=True):
        is_asked_for = any(source.name in demand.calls for demand in automaton.controller.demands)
        if is_asked_for and not fires:
            yield DeadEnd("asked for in vain", source.name, "in no modelled order of events does it come on")


def _restless(automaton: Automaton, node: Node) -> Iterator[tuple[str, int, str]]:
    """Each machine that pass after pass switches for ever, with nothing around it changing.

    Its name, how many things must be so for it, and what would be seen.
    """
    current, passes = node, list[tuple[str, ...]]()
    for n in range(2 * _LONGEST_SETTLE):
        if not automaton.is_due(current):
            return
        current = automaton.after(current, current.env, Move(), 1).on(current.env, current.order)
        if n >= _LONGEST_SETTLE:
            passes.append(_appearance(automaton, current))
    names = [machine.name for machine in automaton.controller.machines]
    columns = dict(zip(names, zip(*passes, strict=True), strict=True))
    steady = [
        f"{name} {is_[0]}" for name, is_ in columns.items() if is_[0] != "is off" and len(set(is_)) == 1
    ]
    so = [*_around(automaton, current), *steady]
    while_ = f" while {listed(so)}" if so else ""
    for name, is_ in columns.items():
        states = sorted(set(is_), key=is_.index)
        if len(states) > 1:
            every_pass = all(a != b for a, b in pairwise(is_))
            often = "every second" if every_pass else "again and again within seconds"
            behaviour = "switches on and off"
            if "is off" not in states:
                behaviour = f"changes between {listed([state.rpartition(' ')[2] for state in states])}"
            yield name, len(so), f"it {behaviour} {often}{while_}"


def _appearance(automaton: Automaton, node: Node) -> tuple[str, ...]:
    """What is to be seen of each machine: `is off`, `runs`, `runs at low`, `fires`, `is on`."""
    controller, effect = automaton.controller, automaton.flows.effect(node.state, node.env, node.feedback)
    pumps = (
        (f"runs at {pump.speeds[levels[-1] - 1]}" if len(pump.speeds) > 1 else "runs") if levels else "is off"
        for pump, levels in zip(controller.pumps, effect.contacts, strict=True)
    )
    active = ("fires" if source.active == "firing" else "is on" for source in controller.sources)
    sources = (word if on else "is off" for word, on in zip(active, effect.on, strict=True))
    return (*pumps, *sources)


def _around(automaton: Automaton, node: Node) -> list[str]:
    """What is asked for and closed around the controller, how valves are turned, and low water."""
    values = [dim.values[k] for dim, k in zip(automaton.dims, node.env, strict=True)]
    around, plant = automaton.flows.around(node.env), automaton.plant
    contacts = {starter.name for starter in automaton.controller.starters}
    raised = [
        f"the {name} is closed" if name in contacts else f"{name.removesuffix(f', {TREATMENT}')} is asked for"
        for name in sorted({name for value in values for name in value.raised})
    ]
    turned = [plant.positions_text(around.positions)] if around.positions != plant.usually else []
    return [*raised, *turned, *(["the water is low"] if around.low else [])]


def _of_calendar(plant: Assembly, programme: Programme, calendar: Calendar) -> Iterator[DeadEnd]:
    yield from _starved(programme, calendar)
    yield from _overlapping(programme, calendar)
    yield from _in_quiet_hours(programme, calendar)
    yield from _still_in_quiet_hours(plant, programme, calendar)
    yield from _too_few_hours(plant, programme, calendar)
    yield from _treated_without_flow(plant, programme, calendar)
    yield from _kept_and_blocked(plant, programme)
    for breach in programme_does_not_fit(plant, programme):
        if isinstance(breach, Breach):
            yield DeadEnd(
                "does not fit the controller", breach.subject, f"{breach.cause}; {breach.text}".rstrip("; ")
            )


def _starved(programme: Programme, calendar: Calendar) -> Iterator[DeadEnd]:
    """A demand whose every raise falls wholly under higher ones that ask its pump for less, or for other."""
    when = {name.removesuffix(".raised"): spans(s) for name, s in calendar.spans.items()}
    for entry in programme.timed:
        mine = when.get(entry.demand.name)
        if mine is None or not len(mine):
            continue
        unserved, above = mine, []
        for other in programme.timed:
            higher = other.demand.rank < entry.demand.rank and other.demand.pump == entry.demand.pump
            if higher and other.demand.speed != entry.demand.speed and other.demand.name in when:
                if total_s(meet(unserved, when[other.demand.name])):
                    above.append(other.demand.name)
                unserved = without(unserved, when[other.demand.name])
        if above and not total_s(unserved):
            yield DeadEnd("always starved", entry.demand.name, f"{' and '.join(above)} always has its pump")


def _overlapping(programme: Programme, calendar: Calendar) -> Iterator[DeadEnd]:
    """Two filter runs, or two flushes, that ask one pump for two speeds at once."""
    timed = programme.timed
    for k, entry in enumerate(timed):
        for other in timed[k + 1 :]:
            a, b = entry.demand, other.demand
            if a.pump == b.pump and a.kind == b.kind and a.speed != b.speed:
                overlap = meet(*(spans(calendar.spans.get(f"{n}.raised", [])) for n in (a.name, b.name)))
                if total_s(overlap):
                    yield DeadEnd(
                        "contradict each other",
                        f"{a.name} and {b.name}",
                        f"they overlap, at {as_written(a.pump, a.speed)} and {as_written(b.pump, b.speed)}",
                    )


def _in_quiet_hours(programme: Programme, calendar: Calendar) -> Iterator[DeadEnd]:
    quiet = programme.scenario.schedule.quiet_hours
    if quiet is None:
        return
    hours = spans(programme.quiet_spans(calendar.begin, calendar.span_s))
    by_clock = [timed.demand for timed in programme.timed]
    by_clock += [*programme.air_flushes, *(demand for demand, _ in programme.air)]
    for demand in by_clock:
        asks = (demand.pump, demand.speed)
        stays_off = any(
            target[0] == asks[0] and target[1] in (asks[1], "running", None) for target in quiet.applies_to
        )
        if stays_off and total_s(meet(hours, spans(calendar.spans.get(f"{demand.name}.raised", [])))):
            said = f"it runs {as_written(*asks)}, which is to be off then"
            yield DeadEnd("inside quiet hours", demand.name, said)
    schedule = programme.scenario.schedule
    for name, asked in ((HEATING, schedule.heating), (FROST, schedule.frost_protection)):
        if asked is not None and tuple(asked.pump) in _quiet(programme):
            night_h = _longest_h(programme, calendar)
            said = (
                f"it may ask for {asked.pump} at any time, which is to be off for {night_h:.1f} h at a time"
            )
            yield DeadEnd("inside quiet hours", name, said)


def _quiet(programme: Programme) -> set[tuple[str, str]]:
    """The pumps and speeds that are to be off in the quiet hours."""
    quiet, pumps = programme.scenario.schedule.quiet_hours, programme.controller.pumps
    speeds = {pump.name: pump.speeds for pump in pumps}
    return {(pump, own) for pump, speed in (quiet.applies_to if quiet else ())
            for own in speeds[pump] if speed in (own, "on")}  # fmt: skip


def _longest_h(programme: Programme, calendar: Calendar) -> float:
    """How long the quiet hours last, in the longest night."""
    nights = programme.quiet_spans(calendar.begin, calendar.span_s)
    return max((b - a for a, b in nights), default=0) / 3600.0


def _still_in_quiet_hours(plant: Assembly, programme: Programme, calendar: Calendar) -> Iterator[DeadEnd]:
    """A leg that nothing may move for longer than its water may be old, whatever is programmed."""
    quiet, limit_h = programme.scenario.schedule.quiet_hours, plant.scenario.limits.water_age_s / 3600.0
    if quiet is None:
        return
    longest_h, off = _longest_h(programme, calendar), _quiet(programme)
    every = [(pump, speed) for pump, speeds in plant.speeds.items() for speed in speeds]
    for name in plant.sheet.legs if longest_h > limit_h else ():
        moves = [at for at in every if abs(plant.duty(plant.at(*at)).flow_m3_s(name)) > STILL_M3_S]
        if moves and off.issuperset(moves):
            yield DeadEnd(
                "cannot be met",
                name,
                f"the quiet hours keep off all that moves it for {longest_h:.1f} h, and its water may be "
                f"{limit_h:.1f} h old",
            )


def _too_few_hours(plant: Assembly, programme: Programme, calendar: Calendar) -> Iterator[DeadEnd]:
    """More turnovers than the hours outside the quiet ones hold, whatever is programmed."""
    limit, off = plant.scenario.limits.turnovers_per_day, _quiet(programme)
    every = [(pump, speed) for pump, speeds in plant.speeds.items() for speed in speeds]
    rates = {at: plant.duty(plant.at(*at)).filtered_m3_s for at in every}
    if not off or max(rates.values()) <= STILL_M3_S:
        return
    left_h = 24.0 - _longest_h(programme, calendar)
    turned = 3600.0 / plant.volume_m3 * (
        left_h * max(rates.values()) + (24.0 - left_h) * max((q for at, q in rates.items() if at not in off),
                                                             default=0.0)
    )  # fmt: skip
    if turned < limit:
        best = as_written(*max(rates, key=lambda at: rates[at]))
        said = f"{limit:g} turnovers a day are asked for, and {best} through the {left_h:.1f} h outside the "
        yield DeadEnd("cannot be met", "turnovers", f"{said}quiet hours makes {turned:.1f} at most")


def _treated_without_flow(plant: Assembly, programme: Programme, calendar: Calendar) -> Iterator[DeadEnd]:
    """A treatment device that its clock calls for longer than anything may move its water."""
    for name, demand in programme.treating.items():
        called = spans(calendar.spans.get(f"{demand.name}.raised", []))
        fed = [d for d in programme.controller.demands if d.pump in plant.pumps
               and plant.has_flow(name, plant.duty(plant.asked(d)))]  # fmt: skip
        beside = any(b.starter.target in plant.pumps for b in programme.beside)
        free = any(f"{d.name}.raised" not in calendar.spans for d in fed)
        if not len(called) or free or beside or not plant.sheet.treatment[name].runs:
            continue
        alone = called
        for one in fed:
            alone = without(alone, spans(calendar.spans[f"{one.name}.raised"]))
        days = calendar.span_s / 86_400.0
        called_h, alone_h = total_s(called) / 3600.0 / days, total_s(alone) / 3600.0 / days
        if alone_h > 0.05:
            said = (
                f"its runs are {called_h:.1f} h a day, and in {alone_h:.1f} h of them nothing moves its water"
            )
            yield DeadEnd("cannot be met", name, said)


def _kept_and_blocked(plant: Assembly, programme: Programme) -> Iterator[DeadEnd]:
    """A pump that one interlock keeps on and another blocks: the keep has the last word."""
    controller = programme.controller
    for keep in controller.keeps:
        for block in controller.blocks:
            own = list(plant.speeds.get(keep.pump, ()))
            if block.target == keep.pump and own.index(str(block.speed)) <= own.index(keep.speed):
                kept = as_written(keep.pump, keep.speed)
                said = f"{kept} is kept on for {lasting(programme.run_on_s(keep.after))} after {keep.after}, "
                said += f"and a block wants it off {block.condition}: the keep has the last word"
                yield DeadEnd("contradict each other", f"keep and block of {keep.pump}", said)

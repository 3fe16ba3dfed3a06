"""Rules of one instant: each judges a snapshot, whether a run passed through it or a search did."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import combinations

from cyclesim.analysis import mends
from cyclesim.analysis.amounts import apart, at_least, flow, lasting, listed
from cyclesim.analysis.combinations import as_written, while_at
from cyclesim.analysis.findings import CHOICE, PRACTICE, Breach, Rule, Subject
from cyclesim.analysis.history import HALTS
from cyclesim.analysis.supply import (
    CONTINUOUS_SHARE,
    Carried,
    Load,
    carried,
    loads,
    loads_at,
    overloads,
)
from cyclesim.analysis.truth import Snapshot
from cyclesim.control.demands import FLUSHES
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.scenario.blocks.data_sheets import Pump
from cyclesim.scenario.blocks.heat_sources import Solar
from cyclesim.scenario.blocks.schedule import Block
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme


def heat_without_flow(snapshot: Snapshot, plant: Assembly) -> Iterator[Breach]:
    """A source's heat has been on past the grace without the flow that it needs.

    Collectors are built to stand hot, which is more than little water or water that runs backwards."""
    for name, truth in snapshot.sources:
        if not (truth.hot and truth.past_grace) or isinstance(plant.sheet.heat_sources[name], Solar):
            continue
        needs = flow(plant.sheet.heat_sources[name].needs_flow_m3_s)
        if truth.flow == "none":
            lack = "with no water flowing"
        elif truth.flow == "back":
            lack = "with water running backwards through it"
        else:
            lack = f"with less water than the {needs} it needs"
        cause = f"it is on {lack}"
        mend = _proof(name, plant) if plant.sheet.heat_sources[name].switched else mends.RUN_FOR_IT
        if way := _past(name, snapshot):
            cause, mend = f"its {way} runs it {lack}", _own_switch(name, plant)
        yield Breach(name, cause, None, "s", "", mend)


_FALSE_YES = {
    "pump_contact": "a pump contact knows nothing of water",
    "pressure_switch": "a pressure switch is content with a pump against a shut valve",
    "temperature_rise": "a rise of temperature is seen only once heat is on",
}


def heat_before_proof(snapshot: Snapshot, plant: Assembly) -> Iterator[Breach]:
    """A source's heat is on while its flow is there, but has not lasted for the proof time."""
    for name, truth in snapshot.sources:
        proves = plant.sheet.heat_sources[name].switched
        if proves and truth.hot and truth.flow == "enough" and not truth.flow_lasted:
            proof = lasting(plant.scenario.limits.proof_time_s)
            cause, mend = f"it fires before water has flowed for {proof}", _proof(name, plant)
            if way := _past(name, snapshot):
                cause, mend = (
                    f"its {way} starts it before water has flowed for {proof}",
                    _own_switch(name, plant),
                )
            yield Breach(name, cause, None, "s", "", mend)


def _past(name: str, snapshot: Snapshot) -> str:
    """What has a thing on past the controller: `own thermostat`; "" if nothing has."""
    ways = [
        started.partition(", ")[2] for started in sorted(snapshot.started) if started.startswith(f"{name}, ")
    ]
    return ways[0] if ways else ""


def _own_switch(name: str, plant: Assembly) -> str:
    """What keeps a thing off that is started past the controller, whose interlocks cannot."""
    needs = f"give it own_flow_switch: {at_least(plant.scenario.limits.proof_time_s)}"
    return f"{needs}, or disconnect the contact that starts {name} without the controller"


def _proof(name: str, plant: Assembly) -> str:
    """What would see to it that a source fires on a proven flow only."""
    by = (plant.sheet.treatment.get(name) or plant.sheet.heat_sources[name]).proof.by
    need_s = plant.scenario.limits.proof_time_s
    block = f"{{block: {name}, unless: flow proven, for: {at_least(need_s)}}}"
    blocks = [b for b in plant.scenario.interlocks if isinstance(b, Block) and b.block == name and b.for_s]
    if by == "none":
        return f"give it a flow switch and wire it: {block}"
    if not blocks:
        return f"wire its proof: {block}"
    if place := (plant.sheet.treatment.get(name) or plant.sheet.heat_sources[name]).proof.in_:
        return f"put its flow switch into {plant.fed_through(name)}: in {place} it feels other water"
    if by in _FALSE_YES:
        return f"prove its flow with a flow switch: {_FALSE_YES[by]}"
    if max(b.for_s or 0.0 for b in blocks) < need_s:
        return f"let the flow be proven for longer: {block}"
    return "see that its contactor opens faster than the water stops"


def both_speeds_at_once(snapshot: Snapshot, plant: Assembly) -> Iterator[Breach]:
    """The contacts of two speeds of one pump are closed, or were but for a pass's second."""
    changing = {name for name, state in snapshot.states if state == "changing"}
    for pump, closed in snapshot.contacts:
        if pump in plant.pumps and plant.pumps[pump].contactors_lock:
            continue  # the second closes only when the first is open, however late that is
        if len(closed) > 1 or (pump in changing and _unseen(plant.sheet.pumps[pump])):
            cause, mend = _too_short(plant.sheet.pumps[pump])
            if way := _past(pump, snapshot) if len(closed) > 1 else "":
                cause = f"its {way} closes one speed while the controller has the other on"
                mend = f"contactors that lock each other, or the {way} off"
            yield Breach(pump, cause, None, "s", "", mend)


def _unseen(pump: Pump) -> bool:
    """Whether a changeover is too short by less than the second in which a pass hides it."""
    return pump.changeover_s <= pump.opens_within_s <= max(pump.changeover_s, 1.0)


def _too_short(pump: Pump) -> tuple[str, str]:
    """Why the contacts of two speeds meet, and what mends it."""
    opens, changes = lasting(pump.opens_within_s), lasting(pump.changeover_s)
    if pump.changeover_s > pump.opens_within_s:
        return "both are closed, whatever its changeover", "contactors that lock each other"
    cause = f"its contactors open within {opens}, its changeover takes {changes}"
    return cause, f"a changeover of more than {opens}, or contactors that lock each other"


def changeover_too_short(plant: Assembly, programme: Programme) -> Iterator[Breach]:
    """A changeover that is not longer than the contactors take to open, whoever asks for which speed when."""
    del programme
    for name, pump in plant.pumps.items():
        if len(pump.speeds) > 1 and not pump.contactors_lock and pump.changeover_s <= pump.opens_within_s:
            cause, mend = _too_short(pump)
            yield Breach(name, cause, None, "s", "", mend)


def supply_overload(snapshot: Snapshot, plant: Assembly) -> Iterator[Breach]:
    """What is on draws more from a circuit than its breaker is rated for, or than it may for hours on end."""
    everything = loads_at(snapshot, plant)
    for name in plant.scenario.circuits:
        yield from _too_much(carried(plant, name, everything), plant)


def overloaded_by_one(plant: Assembly, programme: Programme) -> Iterator[Breach]:
    """One thing that is asked for draws too much for its circuit, with no more than what is always on.

    What it draws for 3 h or more counts as any other here: whether it runs so long, only a run knows.
    """
    asked = {(starter.target, starter.speed or "on") for starter in programme.controller.starters}
    for demand in programme.controller.demands:
        asked |= {(demand.pump, demand.speed), *demand.beside}
        asked |= {(name, "on") for name in (*demand.calls, *demand.circulators)}
    for circuit, sheet in plant.scenario.circuits.items():
        contacts = [[], *([at] for at in sorted(asked) if at[0] in sheet.feeds)]
        over = [b for on in contacts for b in _too_much(carried(plant, circuit, loads(plant, on)), plant)]
        yield from over[: 1 if len(over) == len(contacts) else None]  # what is always on is too much alone


def _too_much(fed: Carried, plant: Assembly) -> Iterator[Breach]:
    """What a circuit carries, where that is more than its breaker takes."""
    if not fed.breaker_a or fed.within(fed.counted_a):
        return
    drawn, on = fed.drawn_a, fed.loads
    cause = f"{listed(_written(on))} {'at once' if len(on) > 1 else 'alone'}"
    if fed.within(drawn):
        long = [load for load in on if load.lasting]
        cause += f", {listed(_written(long))} for 3 h or more and so counted {CONTINUOUS_SHARE:.0%}"
        on = tuple(load._replace(current_a=load.counted_a) for load in on)
        drawn = fed.counted_a
    value, limit = apart(drawn, fed.breaker_a, 1)
    mend = _overload_mend(on, drawn, fed.breaker_a, plant)
    yield Breach(fed.circuit, cause, drawn, "A", f"{value} A of {limit} A", mend)


def _written(loads_: Iterable[Load]) -> list[str]:
    return [as_written(load.name, load.speed) for load in loads_]


def _overload_mend(fed: Sequence[Load], drawn_a: float, breaker_a: float, plant: Assembly) -> str:
    """A block if one is enough and heating can go on with it; else less on the supply, or more of it."""
    heating = plant.scenario.schedule.heating
    hot = sorted(
        (load for load in fed if load.name in plant.sheet.heat_sources), key=lambda load: -load.current_a
    )
    motors = sorted(
        (load for load in fed if load.name in (*plant.pumps, *plant.sheet.air)),
        key=lambda load: -load.current_a,
    )
    for motor in motors if hot else ():
        source = hot[0]
        if heating is not None and source.name in heating.sources and heating.pump == motor[:2]:
            continue  # such a block would keep the source off for good
        if max(drawn_a - source.current_a, drawn_a - motor.current_a) <= breaker_a:
            condition = while_at(motor.name, motor.speed)
            return f"wire {{block: {source.name}, while: {condition}, because: the breaker}}"
    for first, other in combinations(mends.preferred(plant, [load.name for load in hot]), 2):
        if drawn_a - next(load.current_a for load in hot if load.name == other) <= breaker_a:
            return f"wire {{block: {other}, while: {first} firing, because: the breaker}}"
    due_a = math.ceil(10.0 * drawn_a - 1e-6) / 10.0
    if hot:
        return f"a larger circuit, of at least {due_a:g} A, a smaller element or a smaller pump"
    return f"take something off the supply, or have one laid for at least {due_a:g} A"


def flush_onto_people(snapshot: Snapshot, plant: Assembly) -> Iterator[Breach]:
    """A flush decides a pump or a blower while people are in the water: what stood in the lines comes out.

    A pump that feeds none of the plant's jets and spouts moves its water as a filter run does; how warm that
    is, other rules judge.
    """
    for pump, demand in snapshot.flushing if snapshot.people else ():
        if _comes_out_at_people(plant, pump):
            yield Breach(demand, f"it runs {pump} while people are in the water", None, "s", "")


def _comes_out_at_people(plant: Assembly, pump: str) -> bool:
    """Whether a pump by itself feeds jets or a spout at any position of the valves.

    A blower does; and so does any pump where the file does not say which legs have them.
    """
    legs = plant.sheet.legs
    outlets = [name for name, leg in legs.items() if leg.manifold or leg.outlet_above_water_m > 0.0]
    return (
        pump in plant.sheet.air
        or not outlets
        or any(
            plant.duty(plant.at(pump, speed), positions).flow_m3_s(outlet) > STILL_M3_S
            for speed in plant.speeds[pump]
            for positions in plant.may_be_left
            for outlet in outlets
        )
    )


def air_onto_people(snapshot: Snapshot, plant: Assembly) -> Iterator[Breach]:
    """A blower's contact is closed while people are in the water, and the controller has not asked for it."""
    for blower, closed in snapshot.contacts if snapshot.people and not snapshot.air else ():
        if blower in plant.sheet.air and closed:
            cause, mend = "its contact stays closed while people are in the water", "a contact that opens"
            if way := _past(blower, snapshot):
                cause = f"its {way} runs it while people are in the water"
                mend = f"have their session ask for it (air: true), and take its {way} away"
            yield Breach(blower, cause, None, "s", "", mend)


def treated_still(*kinds: str) -> Callable[[Snapshot, Assembly], Iterator[Breach]]:
    """A treatment device of some kinds has been on, for longer than the grace, without its flow."""

    def judge(snapshot: Snapshot, plant: Assembly) -> Iterator[Breach]:
        for name, truth in snapshot.treatments:
            device = plant.sheet.treatment[name]
            if device.kind not in kinds or not (truth.hot and truth.past_grace):
                continue
            place = device.in_
            lack = f"with no water flowing through {place}"
            if truth.flow == "back":
                lack = f"with water running backwards through {place}"
            elif truth.flow == "low":
                lack = f"with less water through {place} than the {flow(device.needs_flow_m3_s)} it needs"
            cause = f"it is on {lack}"
            if way := _past(name, snapshot):
                cause, mend = f"its {way} runs it {lack}", _own_switch(name, plant)
            else:
                mend = _proof(name, plant)
            yield Breach(name, cause, None, "s", "", mend)

    return judge


def dry_running(snapshot: Snapshot, plant: Assembly) -> Iterator[Breach]:
    """A pump runs while the water is below the suction fittings."""
    for pump, closed in snapshot.contacts if snapshot.low else ():
        if closed and pump in plant.pumps:
            mend = "a level switch that stops it: level_switch: true"
            if way := _past(pump, snapshot):
                mend = f"lead its {way} through the level switch"
            elif plant.sheet.tub.level_switch:
                mend = "see why its contactor stays closed"
            yield Breach(pump, HALTS["low"][0], None, "s", "", mend)


# -- what each is about, for a search ------------------------------------------------------------------------


def _sources(plant: Assembly, programme: Programme) -> Iterator[Subject]:
    """Every heat source but collectors, which are built to stand hot."""
    del programme
    for name, source in plant.sheet.heat_sources.items():
        if isinstance(source, Solar):
            continue
        yield Subject(name, (name,), (name,), hot=() if source.switched else (name,))


def _switched(plant: Assembly, programme: Programme) -> Iterator[Subject]:
    """Every heat source that the controller switches."""
    yield from (about for about in _sources(plant, programme) if about.name in programme.switched)


def _pumps_of_two_speeds(plant: Assembly, programme: Programme) -> Iterator[Subject]:
    del plant
    for pump in programme.controller.pumps:
        if len(pump.speeds) > 1:
            yield Subject(pump.name, (pump.name,), late=True)


def _flushes(plant: Assembly, programme: Programme) -> Iterator[Subject]:
    """Every line flush that comes out at people, where somebody bathes."""
    for demand in programme.controller.demands if plant.scenario.schedule.bathing else ():
        if demand.kind in FLUSHES and _comes_out_at_people(plant, demand.pump):
            yield Subject(demand.name, (demand.pump,), people=True, flush=True)


def _blowers(plant: Assembly, programme: Programme) -> Iterator[Subject]:
    """Every blower, where somebody bathes; what nothing starts past the controller only a fault has on."""
    del programme
    for name, sheet in plant.sheet.air.items() if plant.scenario.schedule.bathing else ():
        yield Subject(name, (name,), people=True, by_fault=not sheet.also_started_by)


def _pumps(plant: Assembly, programme: Programme) -> Iterator[Subject]:
    """Every pump; without a spell of low water in the file only a fault takes its water."""
    del programme
    for name in plant.pumps:
        yield Subject(name, (name,), late=True, by_fault=not plant.scenario.schedule.low_water)


def treating(*kinds: str) -> Callable[[Assembly, Programme], Iterator[Subject]]:
    """Every treatment device of some kinds."""

    def subjects(plant: Assembly, programme: Programme) -> Iterator[Subject]:
        del programme
        for name, device in plant.sheet.treatment.items():
            if device.kind in kinds:
                yield Subject(name, (name,), (name,))

    return subjects


def _overloading(plant: Assembly, programme: Programme) -> Iterator[Subject]:
    """Every circuit, once for each least set of machines that overloads it."""
    del programme
    for circuit in plant.scenario.circuits:
        for machines in overloads(plant, circuit):
            yield Subject(circuit, machines, late=True)


_PROVEN = "flow proven for 5 to 30 s before heat: common practice, no source"

RULES: tuple[Rule, ...] = (
    Rule(
        "heat-without-flow",
        "state",
        "danger",
        sentence="No heat source but collectors is on without the flow it needs for longer than the grace.",
        source=f"the grace: {CHOICE}",
        mend="prove the flow before it fires, and open it when the flow ends",
        judge=heat_without_flow,
        principles=(
            _PROVEN,
            "an independent high limit, and software never the only barrier: IEC 60335-1 and -2-60, IEC "
            "60730, principle quoted from memory; document not checked",
        ),
        subjects=_sources,
        nothing="the file has no heat source",
        changes=mends.flow_proven,
        limited=True,
    ),
    Rule(
        "heat-before-proof",
        "state",
        "danger",  # a flow that has only just come may be air, or about to end
        sentence="A heat source is on only while its flow has lasted for the proof time.",
        source=f"5 to 30 s: {PRACTICE}",
        mend="prove the flow before it fires",
        judge=heat_before_proof,
        principles=(_PROVEN,),
        subjects=_switched,
        nothing="the controller switches no heat source",
        changes=mends.flow_proven,
        limited=True,
    ),
    Rule(
        "both-speeds-at-once",
        "state",
        "danger",  # two windings against each other are a short circuit
        sentence="Never are the contacts of two speeds of one pump closed together.",
        source=f"break before make: {PRACTICE}",
        mend="a longer changeover, or contactors that lock each other",
        judge=both_speeds_at_once,
        principles=(
            "break before make: common practice; 0.5 to 10 s from high to low: seen second-hand, not a "
            "standard",
        ),
        subjects=_pumps_of_two_speeds,
        nothing="no pump has two speeds",
        changes=mends.longer_changeover,
        by_plant=changeover_too_short,
    ),
    Rule(
        "flush-onto-people",
        "state",
        "danger",  # jets come on unasked, and what stood in the lines comes out onto people
        sentence="No flush of lines to jets or a spout, by water or by air, runs while people are in the "
        "water.",
        source=PRACTICE,
        mend="move the flush, or let bathing stand above it in schedule.ranks",
        judge=flush_onto_people,
        programmes="as now",
        subjects=_flushes,
        nothing="nobody bathes, or nothing in the schedule flushes lines to jets or a spout",
        changes=mends.flush_away_from_people,
    ),
    Rule(
        "air-onto-people",
        "state",
        "hygiene",  # what stood in the air pipe comes out onto people, unasked, and cold air cools them
        sentence="A blower blows while people are in the water only where their session asks for air.",
        source=PRACTICE,
        mend="have their session ask for it, or take away what starts it",
        judge=air_onto_people,
        subjects=_blowers,
        nothing="nobody bathes, or only a contact that stays closed starts a blower: --faults 1 tries that",
    ),
    Rule(
        "dry-running",
        "state",
        "danger",  # its seal burns, and what it then pumps is air into people or a heater
        sentence="No pump runs while the water is below the suction fittings.",
        source=PRACTICE,
        mend="a level switch that stops it",
        judge=dry_running,
        subjects=_pumps,
        nothing="low water is a fault: it is tried with --faults 1, or with schedule.low_water",
        changes=mends.level_switch,
    ),
    Rule(
        "dosing-without-flow",
        "state",
        "danger",  # a slug of acid or chlorine comes out of the next jet; the two together make gas
        sentence="Nothing is dosed into water that does not move.",
        source=f"interlock of dosing with flow: {PRACTICE}; the grace: {CHOICE}",
        mend="prove the flow before it doses",
        judge=treated_still("dosing"),
        subjects=treating("dosing"),
        nothing="nothing is dosed",
        changes=mends.flow_proven,
    ),
    Rule(
        "gas-without-flow",
        "state",
        "danger",  # hydrogen of a cell burns; ozone hurts who breathes it
        sentence="No ozone generator and no salt cell is on without the flow that carries its gas away.",
        source=f"interlock of gas with flow: {PRACTICE}; the grace: {CHOICE}",
        mend="prove the flow before it is on",
        judge=treated_still("ozone", "salt_cell"),
        subjects=treating("ozone", "salt_cell"),
        nothing="there is no ozone generator and no salt cell",
        changes=mends.flow_proven,
    ),
    Rule(
        "lamp-without-flow",
        "state",
        "wear",  # it cooks what stands around it and dies early
        sentence="No UV lamp is on without the flow that cools it.",
        source=f"{PRACTICE}; the grace: {CHOICE}",
        mend="prove the flow before it is on",
        judge=treated_still("uv"),
        subjects=treating("uv"),
        nothing="there is no UV lamp",
        changes=mends.flow_proven,
    ),
    Rule(
        "supply-overload",
        "state",
        "danger",
        sentence="What is on at once draws no more from a circuit than its breaker is rated for.",
        source=(
            "the breaker's rating; in north_america what runs for 3 h or more counts 125 %: NEC 210.19, "
            "210.20, "
            "quoted from memory; document not checked; local code decides"
        ),
        mend="block one thing while the other is on",
        judge=supply_overload,
        principles=("the sum of what is on stays within the circuit: arithmetic; local code decides",),
        subjects=_overloading,
        nothing="all that is on each circuit together draws no more than its breaker bears",
        changes=mends.shed,
        continuous=True,
        by_plant=overloaded_by_one,
    ),
)

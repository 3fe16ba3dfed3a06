"""Rules of one instant: each judges a snapshot, whether a run passed through it or a search did."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence

from cyclesim.analysis.amounts import apart, at_least, flow, lasting, listed
from cyclesim.analysis.combinations import said, while_at
from cyclesim.analysis.findings import Breach
from cyclesim.analysis.supply import CONTINUOUS_SHARE, Load, carried, loads_at
from cyclesim.analysis.truth import Snapshot
from cyclesim.scenario.blocks.schedule import Block
from cyclesim.simulation.assembly import Plant


def heat_without_flow(snapshot: Snapshot, plant: Plant) -> Iterator[Breach]:
    """A source's heat has been on, for longer than the grace, without the flow that it needs."""
    for name, truth in snapshot.sources:
        if not (truth.hot and truth.past_grace):
            continue
        needs = flow(plant.sheet.heat_sources[name].needs_flow_m3_s)
        if truth.flow == "none":
            cause = "no water moves through it"
        else:
            cause = f"less water moves through it than the {needs} it needs"
        mend = _proof(name, plant) if plant.sheet.heat_sources[name].switched else _RUN_FOR_IT
        if way := _past(name, snapshot):
            cause, mend = f"its {way} has it on, and {cause}", _own_switch(name, plant)
        yield Breach(name, cause, None, "s", "", mend)


_FALSE_YES = {
    "pump_contact": "a pump contact knows nothing of water",
    "pressure_switch": "a pressure switch is content with a pump against a shut valve",
    "temperature_rise": "a rise of temperature is seen only once heat is on",
}
_RUN_FOR_IT = "run a pump through it for as long as it is hot: nobody can switch it off"


def heat_before_proof(snapshot: Snapshot, plant: Plant) -> Iterator[Breach]:
    """A source's heat is on while its flow is there, but has not lasted for the proof time."""
    for name, truth in snapshot.sources:
        proves = plant.sheet.heat_sources[name].switched
        if proves and truth.hot and truth.flow == "enough" and not truth.flow_lasted:
            proof = lasting(plant.scenario.limits.proof_time_s)
            cause, mend = f"it fires before its flow has lasted {proof}", _proof(name, plant)
            if way := _past(name, snapshot):
                cause, mend = (
                    f"its {way} has it on before its flow has lasted {proof}",
                    _own_switch(name, plant),
                )
            yield Breach(name, cause, None, "s", "", mend)


def _past(name: str, snapshot: Snapshot) -> str:
    """What has a thing on past the controller: `own thermostat`; "" if nothing has."""
    ways = [
        started.partition(", ")[2] for started in sorted(snapshot.started) if started.startswith(f"{name}, ")
    ]
    return ways[0] if ways else ""


def _own_switch(name: str, plant: Plant) -> str:
    """What keeps a thing off that is started past the controller, whose interlocks cannot."""
    needs = f"give it own_flow_switch: {at_least(plant.scenario.limits.proof_time_s)}"
    return f"{needs}, or take the contact off that starts {name} past the controller"


def _proof(name: str, plant: Plant) -> str:
    """What would see to it that a source fires on a proven flow only."""
    by = (plant.sheet.treatment.get(name) or plant.sheet.heat_sources[name]).proof.by
    need_s = plant.scenario.limits.proof_time_s
    block = f"{{block: {name}, unless: flow proven, for: {at_least(need_s)}}}"
    blocks = [b for b in plant.scenario.interlocks if isinstance(b, Block) and b.block == name and b.for_s]
    if by == "none":
        return f"give it a flow switch and wire it: {block}"
    if not blocks:
        return f"wire its proof: {block}"
    if by in _FALSE_YES:
        return f"prove its flow with a flow switch: {_FALSE_YES[by]}"
    if max(b.for_s or 0.0 for b in blocks) < need_s:
        return f"let the flow be proven for longer: {block}"
    return "see that its contactor opens faster than the water stops"


def both_speeds_at_once(snapshot: Snapshot, plant: Plant) -> Iterator[Breach]:
    """The contacts of two speeds of one pump are closed."""
    for pump, closed in snapshot.contacts:
        if len(closed) > 1:
            sheet = plant.sheet.pumps[pump]
            opens, changes = lasting(sheet.opens_within_s), lasting(sheet.changeover_s)
            cause = f"its contactors open within {opens}, its changeover takes {changes}"
            mend = f"a changeover of more than {opens}, or contactors that lock each other"
            if way := _past(pump, snapshot):
                cause = f"its {way} closes one speed while the controller has the other on"
                mend = f"contactors that lock each other, or the {way} off"
            yield Breach(pump, cause, None, "s", "", mend)


def supply_overload(snapshot: Snapshot, plant: Plant) -> Iterator[Breach]:
    """What is on draws more from a circuit than its breaker is rated for, or than it may for hours on end."""
    everything = loads_at(snapshot, plant)
    for name in plant.scenario.circuits:
        fed = carried(plant, name, everything)
        if not fed.breaker_a or fed.within(fed.counted_a):
            continue
        drawn, on = fed.drawn_a, fed.loads
        cause = f"{listed(_said(on))} {'at once' if len(on) > 1 else 'alone'}"
        if fed.within(drawn):
            long = [x for x in on if x.lasting]
            cause += f", {listed(_said(long))} for 3 h or more and so counted {CONTINUOUS_SHARE:.0%}"
            on = tuple(x._replace(current_a=x.counted_a) for x in on)
            drawn = fed.counted_a
        value, limit = apart(drawn, fed.breaker_a, 1)
        yield Breach(
            name,
            cause,
            drawn,
            "A",
            f"{value} A of {limit} A",
            _overload_mend(on, drawn, fed.breaker_a, plant),
        )


def _said(loads_: Iterable[Load]) -> list[str]:
    return [said(x.name, x.speed) for x in loads_]


def _overload_mend(fed: Sequence[Load], drawn_a: float, breaker_a: float, plant: Plant) -> str:
    """A block if one is enough and heating can go on with it; else less on the supply, or more of it."""
    heating = plant.scenario.schedule.heating
    hot = sorted((x for x in fed if x.name in plant.sheet.heat_sources), key=lambda x: -x.current_a)
    others = sorted(
        (x for x in fed if x.name in (*plant.pumps, *plant.sheet.air)), key=lambda x: -x.current_a
    )
    for other in others if hot else ():
        source = hot[0]
        if heating is not None and source.name in heating.sources and heating.pump == other[:2]:
            continue  # such a block would keep the source off for good
        if max(drawn_a - source.current_a, drawn_a - other.current_a) <= breaker_a:
            condition = while_at(other.name, other.speed)
            return f"wire {{block: {source.name}, while: {condition}, because: the breaker}}"
    due_a = math.ceil(10.0 * drawn_a - 1e-6) / 10.0
    if hot:
        return f"a larger circuit, of at least {due_a:g} A, a smaller element or a smaller pump"
    return f"take something off the supply, or have one laid for at least {due_a:g} A"


def flush_onto_people(snapshot: Snapshot, plant: Plant) -> Iterator[Breach]:
    """A line flush decides a pump while people are in the water: jets come on, and old water comes in."""
    del plant
    for pump, demand in snapshot.flushing if snapshot.people else ():
        yield Breach(demand, f"it runs {pump} while people are in the water", None, "s", "")


def dosing_without_flow(snapshot: Snapshot, plant: Plant) -> Iterator[Breach]:
    """A dosing device has put its liquid into water that does not move: it comes out as a slug."""
    yield from _treats_still_water(snapshot, plant, ("dosing",))


def gas_without_flow(snapshot: Snapshot, plant: Plant) -> Iterator[Breach]:
    """Ozone, or the gas of a salt cell, gathers in water that does not move."""
    yield from _treats_still_water(snapshot, plant, ("ozone", "salt_cell"))


def lamp_without_flow(snapshot: Snapshot, plant: Plant) -> Iterator[Breach]:
    """A UV lamp heats and bakes what stands around it."""
    yield from _treats_still_water(snapshot, plant, ("uv",))


def _treats_still_water(snapshot: Snapshot, plant: Plant, kinds: tuple[str, ...]) -> Iterator[Breach]:
    """A treatment device of these kinds has been on, for longer than the grace, without its flow."""
    for name, truth in snapshot.treatments:
        device = plant.sheet.treatment[name]
        if device.kind not in kinds or not (truth.hot and truth.past_grace):
            continue
        at = device.in_
        cause = f"no water moves through {at}"
        if truth.flow != "none":
            cause = f"less water moves through {at} than the {flow(device.needs_flow_m3_s)} it needs"
        if way := _past(name, snapshot):
            cause, mend = f"its {way} has it on, and {cause}", _own_switch(name, plant)
        else:
            mend = _proof(name, plant)
        yield Breach(name, cause, None, "s", "", mend)


def dry_running(snapshot: Snapshot, plant: Plant) -> Iterator[Breach]:
    """A pump runs while the water is below the suction fittings."""
    for pump, closed in snapshot.contacts if snapshot.low else ():
        if closed and pump in plant.pumps:
            mend = "a level switch that stops it: level_switch: true"
            if way := _past(pump, snapshot):
                mend = f"lead its {way} through the level switch"
            elif plant.sheet.tub.level_switch:
                mend = "see why its contactor stays closed"
            yield Breach(pump, "the water is below the suction fittings", None, "s", "", mend)

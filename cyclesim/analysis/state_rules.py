"""Rules of one instant: each judges a snapshot, whether a run passed through it or a search did."""

from __future__ import annotations

import math
from collections.abc import Iterator

from cyclesim.analysis.combinations import while_at
from cyclesim.analysis.findings import Breach
from cyclesim.analysis.truth import Snapshot, current_a
from cyclesim.analysis.words import apart, at_least, flow, lasting, listed
from cyclesim.scenario.schedule import Block
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
        yield Breach(name, cause, None, "s", "", _proof(name, plant))


def heat_before_proof(snapshot: Snapshot, plant: Plant) -> Iterator[Breach]:
    """A source's heat is on while its flow is there, but has not lasted for the proof time."""
    for name, truth in snapshot.sources:
        if truth.hot and truth.flow == "enough" and not truth.flow_lasted:
            proof = lasting(plant.scenario.limits.proof_time_s)
            yield Breach(
                name, f"it fires before its flow has lasted {proof}", None, "s", "", _proof(name, plant)
            )


def _proof(name: str, plant: Plant) -> str:
    """What would see to it that a source fires on a proven flow only."""
    by = plant.sheet.heat_sources[name].proof.by
    need_s = plant.scenario.limits.proof_time_s
    block = f"{{block: {name}, unless: flow proven, for: {at_least(need_s)}}}"
    blocks = [b for b in plant.scenario.interlocks if isinstance(b, Block) and b.block == name and b.for_s]
    if by == "none":
        return f"give it a flow switch and wire it: {block}"
    if not blocks:
        return f"wire its proof: {block}"
    if by == "pump_contact":
        return "prove its flow with a flow switch: a pump contact knows nothing of water"
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
            yield Breach(pump, cause, None, "s", "", mend)


def supply_overload(snapshot: Snapshot, plant: Plant) -> Iterator[Breach]:
    """What is on draws more than the breaker is rated for."""
    drawn, breaker = current_a(snapshot, plant), plant.scenario.supply.breaker_a
    if breaker is None or drawn <= breaker:
        return
    pumps = [(pump, speed) for pump, closed in snapshot.contacts for speed in closed]
    hot = [name for name, truth in snapshot.sources if truth.hot]
    loads = [pump if speed == "on" else f"{pump} {speed}" for pump, speed in pumps] + hot
    loads += list(plant.scenario.supply.also_on_it)
    mend = _overload_mend(pumps, hot, drawn, breaker, plant)
    at_once = "at once" if len(loads) > 1 else "alone"
    value, limit = apart(drawn, breaker, 1)
    yield Breach("supply", f"{listed(loads)} {at_once}", drawn, "A", f"{value} A of {limit} A", mend)


def _overload_mend(
    pumps: list[tuple[str, str]], hot: list[str], drawn_a: float, breaker_a: float, plant: Plant
) -> str:
    """A block if one is enough and heating can go on with it; else less on the supply, or more of it."""
    heating = plant.scenario.schedule.heating
    if pumps and hot:
        source = max(hot, key=lambda name: plant.sheet.heat_sources[name].output_w)
        source_a = plant.sheet.heat_sources[source].output_w / plant.voltage_v
        for pump, speed in sorted(pumps, key=lambda pair: plant.current_a(*pair), reverse=True):
            if heating is not None and source in heating.sources and heating.pump == (pump, speed):
                continue  # such a block would keep the source off for good
            if max(drawn_a - source_a, drawn_a - plant.current_a(pump, speed)) <= breaker_a:
                return f"wire {{block: {source}, while: {while_at(pump, speed)}, because: the breaker}}"
    due_a = math.ceil(10.0 * drawn_a - 1e-6) / 10.0
    if hot:
        return f"a larger circuit, of at least {due_a:g} A, a smaller element or a smaller pump"
    return f"take something off the supply, or have one laid for at least {due_a:g} A"

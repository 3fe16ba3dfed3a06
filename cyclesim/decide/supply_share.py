"""What a heat source's circuit carries beside it, with whatever may run while it fires."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from cyclesim.analysis.supply import CONTINUOUS_SHARE, load_a
from cyclesim.simulation.assembly import Plant
from cyclesim.simulation.programme import Programme


@dataclass(frozen=True, slots=True)
class SupplyShare:
    """The most that a circuit carries while a source fires; what lasts 3 h counts as its region has it."""

    circuit: str
    breaker_a: float
    source_a: float
    drawn_a: float
    counted_a: float
    beside: tuple[str, ...]
    """What runs with it, by name."""

    @property
    def share(self) -> float:
        """Of the breaker's rating."""
        return self.counted_a / self.breaker_a


def supply_share(plant: Plant, source: str, *, lasts: bool) -> SupplyShare | None:
    """The circuit that feeds *source*, at the worst that interlocks allow; None where none does.

    *lasts*: the source and the pump of heating run for 3 h or more in one go.
    """
    scenario = plant.scenario
    circuits = ((n, c) for n, c in scenario.circuits.items() if source in c.feeds and c.breaker_a)
    name, circuit = next(circuits, ("", None))
    if circuit is None:
        return None
    most = CONTINUOUS_SHARE if scenario.supply.region == "north_america" else 1.0
    long = most if lasts else 1.0
    heating = scenario.schedule.heating
    programme = Programme(scenario)
    own_a = load_a(plant, source)
    drawn, counted, beside = own_a, own_a * long, list[str]()
    for other in circuit.feeds:
        ways = []
        if other in scenario.supply.also_on_it:
            ways = [(load_a(plant, other), most, other)]
        elif other != source:
            for speed in _with(plant, programme, source, other):
                steady = heating is not None and heating.pump == (other, speed)
                said = other if speed == "on" else f"{other} {speed}"
                ways.append((load_a(plant, other, speed), long if steady else 1.0, said))
        if ways:
            amps, factor, said = max(ways, key=lambda way: way[0] * way[1])
            if amps:
                drawn, counted = drawn + amps, counted + factor * amps
                beside.append(said)
    return SupplyShare(name, circuit.breaker_a, own_a, drawn, counted, tuple(beside))


def largest_w(plant: Plant, source: str, *, lasts: bool) -> float | None:
    """The largest size that the circuit carries; None where nothing limits it, as a boiler's fan does not."""
    share, sheet = supply_share(plant, source, lasts=lasts), plant.sheet.heat_sources[source]
    if share is None or not share.source_a or sheet.kind == "boiler":
        return None
    own = share.source_a * (
        CONTINUOUS_SHARE if lasts and plant.scenario.supply.region == "north_america" else 1.0
    )
    return sheet.output_w * max(0.0, share.breaker_a - share.counted_a + own) / own


def _with(plant: Plant, programme: Programme, source: str, other: str) -> Iterator[str]:
    """The speeds of another thing at which no interlock keeps the two apart."""
    if other in plant.pumps:
        speeds = list(plant.speeds[other])
    elif other in (*plant.sheet.air, *plant.sheet.heat_sources, *plant.sheet.treatment):
        speeds = ["on"]
    else:
        return
    for speed in speeds:
        if not any(_apart(programme, one, them, source, other, speed)
                   for one, them in ((source, other), (other, source))):  # fmt: skip
            yield speed


def _apart(programme: Programme, blocked: str, by: str, source: str, other: str, speed: str) -> bool:
    """Whether a block keeps *blocked* off while *by* is on; what starts past the controller heeds none."""
    if blocked in programme.past:
        return False
    states = {"firing", "on", "running"} if by == source else {speed, "running"}
    if by == other and other in (*programme.switched, *programme.scenario.plant.treatment):
        states = {"firing", "on"}
    return any(
        block.target == blocked
        and block.condition.subject == by
        and not block.condition.negated
        and block.condition.state in states
        and (blocked == source or block.speed in (None, speed))
        for block in programme.controller.blocks
    )

"""What a heat source's circuit carries beside it, with whatever may run while it fires."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, product

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
    long, programme = most if lasts else 1.0, Programme(scenario)
    heating = scenario.schedule.heating
    own_a = load_a(plant, source)
    always = [(load_a(plant, n), most, n) for n in circuit.feeds if n in scenario.supply.also_on_it]
    others = [n for n in circuit.feeds if n != source and n not in scenario.supply.also_on_it]
    best: tuple[float, float, tuple[str, ...]] = (-1.0, 0.0, ())
    for chosen in product(*(_ways(plant, name) for name in others)):
        on = [(n, speed) for n, speed in zip(others, chosen, strict=True) if speed]
        pairs = combinations([(source, "on"), *on], 2)
        if any(_apart(programme, one, other) for one, other in pairs):
            continue
        drawn, counted, said = own_a, own_a * long, list[str]()
        for n, speed in on:
            steady = heating is not None and (heating.pump == (n, speed) or n in heating.sources)
            drawn += load_a(plant, n, speed)
            counted += load_a(plant, n, speed) * (long if steady else 1.0)
            said.append(n if speed == "on" else f"{n} {speed}")
        if counted > best[0]:
            best = (counted, drawn, tuple(said))
    return SupplyShare(
        name,
        circuit.breaker_a,
        own_a,
        best[1] + sum(amps for amps, _, _ in always),
        best[0] + sum(amps * factor for amps, factor, _ in always),
        (*best[2], *(n for _, _, n in always)),
    )


def largest_w(plant: Plant, source: str, *, lasts: bool) -> float | None:
    """The largest size that the circuit carries; None where nothing limits it, as a boiler's fan does not."""
    share, sheet = supply_share(plant, source, lasts=lasts), plant.sheet.heat_sources[source]
    if share is None or not share.source_a or sheet.kind == "boiler":
        return None
    own = share.source_a * (
        CONTINUOUS_SHARE if lasts and plant.scenario.supply.region == "north_america" else 1.0
    )
    return sheet.output_w * max(0.0, share.breaker_a - share.counted_a + own) / own


def _ways(plant: Plant, name: str) -> list[str]:
    """What a thing may be at: off ("") or one of its speeds, those without current left out."""
    if name in plant.pumps:
        speeds = list(plant.speeds[name])
    elif name in (*plant.sheet.air, *plant.sheet.heat_sources, *plant.sheet.treatment):
        speeds = ["on"]
    else:
        speeds = []
    return ["", *(speed for speed in speeds if load_a(plant, name, speed))]


def _apart(programme: Programme, one: tuple[str, str], other: tuple[str, str]) -> bool:
    """Whether an interlock keeps two things from being on at once; what starts past it heeds none."""
    return _blocked(programme, one, other) or _blocked(programme, other, one)


def _blocked(programme: Programme, target: tuple[str, str], by: tuple[str, str]) -> bool:
    states = {by[1], "running"}
    if by[0] not in programme.scenario.plant.pumps:
        states |= {"firing", "on"}
    return target[0] not in programme.past and any(
        block.target == target[0]
        and block.speed in (None, target[1])
        and block.condition.subject == by[0]
        and not block.condition.negated
        and block.condition.state in states
        for block in programme.controller.blocks
    )

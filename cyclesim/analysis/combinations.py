"""Which pump speeds come together, what then may fire, and the same plant with another bore."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import product

from cyclesim.control.demands import Condition
from cyclesim.simulation.assembly import Assembly, PlantDuty
from cyclesim.simulation.programme import Programme


def as_written(pump: str, speed: str) -> str:
    """A pump at a speed as the file writes it: `main low`, or `circulator` where it has one speed."""
    return pump if speed == "on" else f"{pump} {speed}"


def while_at(pump: str, speed: str) -> str:
    """A pump at a speed as an interlock's `while` writes it: `main low`, `circulator running`."""
    return f"{pump} running" if speed == "on" else f"{pump} {speed}"


def combinations(plant: Assembly, speeds: Mapping[str, Iterable[str]]) -> list[PlantDuty]:
    """Every duty of these speeds, each pump stopped too, with valves as usual; but not all stopped."""
    rows = product(*(("stopped", *speeds[name]) for name in plant.pumps))
    return [plant.duty(row) for row in rows if set(row) != {"stopped"}]


def running(plant: Assembly, duty: PlantDuty) -> dict[str, str]:
    """The speed of each pump that runs in a duty."""
    return {n: s for n, s in zip(plant.pumps, duty.speeds, strict=True) if s != "stopped"}


def true_of(condition: Condition, plant: Assembly, duty: PlantDuty) -> bool | None:
    """Whether an interlock's condition is true at a duty; None if it reads something other than a pump."""
    if condition.subject not in plant.pumps:
        return None
    return condition.holds(running(plant, duty).get(condition.subject, "stopped"))


def together(plant: Assembly, programme: Programme) -> list[tuple[PlantDuty, list[str]]]:
    """Every duty that the schedule can ask for at once, with the demands that ask for it.

    Demands of different pumps may overlap; what a block of a pump's speed rules out is left out.
    """
    demands_at: dict[str, dict[str, list[str]]] = {name: {} for name in plant.pumps}
    for demand in programme.controller.demands:
        if demand.pump in demands_at:  # a blower moves no water
            demands_at[demand.pump].setdefault(demand.speed, []).append(demand.name)
    duties = []
    for duty in combinations(plant, demands_at):
        speeds = running(plant, duty)
        blocks = (b for b in programme.controller.blocks if b.speed and speeds.get(b.target) == b.speed)
        if not any(true_of(b.condition, plant, duty) for b in blocks):
            duties.append(
                (duty, [name for pump, speed in speeds.items() for name in demands_at[pump][speed]])
            )
    return duties


def asked_for(plant: Assembly, programme: Programme) -> dict[str, list[str]]:
    """The demands by the name of the duty they ask for: as usual, then as motor valves let the sun in."""
    found = dict[str, list[str]]()
    rows = together(plant, programme)
    for positions in plant.as_steered:
        for duty, demands in rows:
            found.setdefault(plant.duty(duty.speeds, positions).name, demands)
    return found


def can_fire(plant: Assembly, programme: Programme, source: str, duty: PlantDuty) -> bool:
    """Whether neither a block nor the means of proof keeps a source off at a duty."""
    if programme.proof_s(source) is not None and not plant.sensed(source, duty):
        return False
    blocks = (b for b in programme.controller.blocks if b.target == source)
    return not any(true_of(b.condition, plant, duty) for b in blocks)


def with_bore(plant: Assembly, leg: str, bore_m: float) -> Assembly:
    """The same plant with another bore of one leg, so that its flows follow the bore."""
    scenario = plant.scenario
    sheet = scenario.plant.legs[leg].model_copy(
        update={"pipe": None, "stated_bore_m": bore_m, "stated_outside_m": None}
    )
    built = scenario.plant.model_copy(update={"legs": {**scenario.plant.legs, leg: sheet}})
    return Assembly(scenario.model_copy(update={"plant": built}))


def feeding_speed(plant: Assembly, programme: Programme, source: str) -> str | None:
    """The lowest speed of heating's pump above its own that gives a source enough; None where none does."""
    heating = plant.scenario.schedule.heating
    assert heating is not None
    pump, own = heating.pump
    speeds = list(plant.speeds[pump])
    for speed in speeds[speeds.index(own) + 1 :]:
        duty = plant.duty(plant.at(pump, speed))
        if plant.has_flow(source, duty) and can_fire(plant, programme, source, duty):
            return speed
    return None


def more_flow(plant: Assembly, programme: Programme, source: str) -> str:
    """What gives a source the flow that it lacks at heating's own speed: a higher one if it is enough."""
    heating = plant.scenario.schedule.heating
    assert heating is not None
    pump, own = heating.pump
    enough = feeding_speed(plant, programme, source)
    if enough is not None:
        return f"heat at {as_written(pump, enough)}, which gives it enough"
    return f"{as_written(pump, own)} alone gives it too little: a larger pump or a larger bore"

"""What becomes of each leg if somebody leaves valves in another position: the worst of all that may be.

Valves left turned are judged by running the year at every other combination of positions (of more than 16,
with one valve turned at a time), with nobody who turns them back.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from cyclesim.analysis.metrics import LegMetrics
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.assembly import Assembly, Positions

_ALL_UP_TO = 16
"""So many combinations of positions are all run; of more, only those in which one valve is turned."""
_OLDER, _STARVED = 1.01, 0.5
"""Worse is water that is older by more than this, or else less than this of the flow; project choices."""


@dataclass(frozen=True, slots=True)
class LeftLeg:
    """One leg, last stretch or housing at the usual positions, and at the worst that may be left.

    Water that nothing moves has no age: None.
    """

    oldest_usual_h: float | None
    most_flow_usual_l_min: float
    """At the speed that moves it most, of those that the plant has."""
    worst_left: str
    """What is not as usual; "" where no position makes its water older or takes half of its flow."""
    oldest_left_h: float | None
    most_flow_left_l_min: float


def positions_left(plant: Assembly) -> list[Positions]:
    """The combinations of positions to try, without the usual one."""
    unusual = [positions for positions in plant.may_be_left if positions != plant.usually]
    if len(unusual) < _ALL_UP_TO:
        return unusual
    return [positions for positions in unusual if len(plant.not_as_usual(positions)) == 1]


def left_so(scenario: Scenario, plant: Assembly, positions: Positions) -> Scenario:
    """The scenario with these positions as the usual ones, and nobody who turns a valve."""
    sheet, position_of = scenario.plant, dict(zip(plant.turnable, positions, strict=True))

    def turned(turnables: Mapping[str, object]) -> dict[str, object]:
        return {n: turnable.model_copy(update={"usual": position_of[n]}) for n, turnable in turnables.items()}  # type: ignore[attr-defined]

    built = sheet.model_copy(
        update={"valves": turned(sheet.valves), "diverters": turned(sheet.diverters)},
    )
    schedule = scenario.schedule.model_copy(update={"valves_turned": ()})
    return scenario.model_copy(update={"plant": built, "schedule": schedule})


def worst_left(
    plant: Assembly, usual: Mapping[str, LegMetrics], left: Mapping[Positions, Mapping[str, LegMetrics]]
) -> dict[str, LeftLeg]:
    """Each element at the usual positions and at the worst of those *left*; metrics by positions."""
    flows = {positions: dict(_most_flow(plant, positions)) for positions in (plant.usually, *left)}
    legs = {}
    for name, leg in usual.items():
        if name not in flows[plant.usually]:
            continue  # a dead end has no position that helps or harms

        def age(positions: Positions, name: str = name) -> float:
            oldest = left[positions][name].oldest_water_h
            return float("inf") if oldest is None else oldest

        worst = max(left, key=lambda positions: (age(positions), -flows[positions][name]))
        own = float("inf") if leg.oldest_water_h is None else leg.oldest_water_h
        if age(worst) <= own * _OLDER:
            worst = min(left, key=lambda positions: flows[positions][name])
            if flows[worst][name] >= _STARVED * flows[plant.usually][name]:
                worst = plant.usually
        legs[name] = LeftLeg(
            leg.oldest_water_h,
            flows[plant.usually][name],
            plant.positions_text(worst),
            leg.oldest_water_h if worst == plant.usually else left[worst][name].oldest_water_h,
            flows[worst][name],
        )
    return legs


def _most_flow(plant: Assembly, positions: Positions) -> Iterator[tuple[str, float]]:
    duties = [d for d in plant.duties() if d.positions == positions]
    for name, plug in plant.reported.items():
        if name in plant.sheet.legs and plant.sheet.legs[name].dead_end:
            continue
        yield name, max(abs(d.plug_flows_m3_s[plug]) for d in duties) * 60_000.0

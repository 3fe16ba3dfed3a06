"""What a change of the plumbing does to the duties: jets, heat sources, volumes, how soon tub water comes."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

from cyclesim.analysis.amounts import flow, lasting
from cyclesim.analysis.combinations import combinations
from cyclesim.analysis.pumped import duties_of
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.assembly import Assembly, PlantDuty, Speeds
from cyclesim.simulation.jets import jet_name, stretch_name


class BeforeAfter(NamedTuple):
    """One number before and after; None for a leg that is not there, or water that never comes."""

    what: str
    unit: str
    """m3/s, m3 or s."""
    before: float | None
    after: float | None

    @property
    def text(self) -> str:
        """As a line of a report: `weakest jet of left at jets: 34.1 L/min, was 36 L/min`."""
        return f"{self.what}: {self._formatted(self.after)}, was {self._formatted(self.before)}"

    def _formatted(self, value: float | None) -> str:
        if value is None:
            return "never" if self.unit == "s" else "none"
        if self.unit == "m3":
            return f"{1000.0 * value:.1f} L"
        return lasting(value) if self.unit == "s" else flow(value)

    @property
    def shows(self) -> bool:
        """Whether before and after read differently."""
        return self._formatted(self.before) != self._formatted(self.after)


def duty_effect(before: Scenario, after: Scenario) -> tuple[BeforeAfter, ...]:
    """What a change of pipes alters at the same speeds of the pumps: the numbers that read differently."""
    return tuple(effect for effect in _effects(Assembly(before), Assembly(after)) if effect.shows)


def _effects(before: Assembly, after: Assembly) -> Iterator[BeforeAfter]:
    legs = dict.fromkeys([*before.sheet.legs, *after.sheet.legs])
    jets = [name for name in before.sheet.legs if before.sheet.legs[name].manifold]
    both = before, after
    for name in jets:
        best = best_duty(before, name)
        flows = (weakest_jet_m3_s(plant, plant.duty(best.speeds), name) for plant in both)
        yield BeforeAfter(f"weakest jet of {name} at {best.name}", "m3/s", *flows)
    steady = list(_steady(before))
    heating = before.scenario.schedule.heating
    if heating:
        for name in heating.sources:
            flows = (abs(plant.duty(plant.at(*heating.pump)).flow_m3_s(name)) for plant in both)
            yield BeforeAfter(f"flow through {name} as it heats", "m3/s", *flows)
    for name in legs:
        volumes = (plant.leg_volume_m3(name) if name in plant.sheet.legs else None for plant in both)
        yield BeforeAfter(f"water in {name}", "m3", *volumes)
    for name in jets:
        for speeds in dict.fromkeys([best_duty(before, name).speeds, *steady]):
            duties = (plant.duty(speeds) for plant in both)
            times = (reached_s(duty, end_of(before, name)) for duty in duties)
            yield BeforeAfter(
                f"tub water at the last jet of {name} at {before.duty(speeds).name}, after", "s", *times
            )


def _steady(plant: Assembly) -> Iterator[Speeds]:
    """The pumps and speeds that filter and heat."""
    schedule = plant.scenario.schedule
    for run in schedule.filter_runs:
        yield from (duty.speeds for duty in duties_of(plant, run.pumping))
    if schedule.heating:
        yield plant.at(*schedule.heating.pump)


def best_duty(plant: Assembly, leg: str) -> PlantDuty:
    """The duty, valves as usual, at which a leg's weakest jet gets the most, with the fewest pumps for it."""
    duties = combinations(plant, plant.speeds)
    return max(duties, key=lambda d: (round(weakest_jet_m3_s(plant, d, leg), 9), d.speeds.count("stopped")))


def weakest_jet_m3_s(plant: Assembly, duty: PlantDuty, leg: str) -> float:
    """Flow of a leg's weakest jet at a duty."""
    manifold = plant.sheet.legs[leg].manifold
    count = manifold.jets if manifold else 0
    return min(abs(duty.flow_m3_s(jet_name(leg, k + 1))) for k in range(count))


def end_of(plant: Assembly, leg: str) -> str:
    """The last run of pipe of a leg: what leads to its last jet."""
    manifold = plant.sheet.legs[leg].manifold
    return stretch_name(leg, manifold.jets) if manifold and manifold.jets > 1 else leg


def reached_s(duty: PlantDuty, plug: str) -> float | None:
    """Seconds until tub water is at the far end of a run of pipe; None where it never is."""
    after_s = duty.reached_s.get(plug, math.inf)
    moves = abs(duty.flow_m3_s(plug)) > STILL_M3_S
    return after_s if moves and math.isfinite(after_s) else None

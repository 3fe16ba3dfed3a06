"""What each pump draws and through which fittings, and the head that is left at its inlet.

Entrapment is judged at every duty that can occur, not only at those asked for: somebody may switch a pump on
by hand. Pumps that share a suction leg count together.
"""

from __future__ import annotations

from dataclasses import dataclass

from cyclesim.analysis.combinations import running, together
from cyclesim.analysis.metrics import SuctionMetrics
from cyclesim.physics.links import TUB
from cyclesim.physics.suction import air_pressure_pa, npsh_available_m
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.scenario.blocks.pump_room import Suction
from cyclesim.simulation.assembly import Assembly, PlantDuty
from cyclesim.simulation.programme import Programme


@dataclass(frozen=True)
class Draw:
    """What a pump draws at one duty: the fittings of the legs that feed it, and the flow through them all.

    The flow is that of the legs, so that of every pump that draws on them.
    """

    duty: PlantDuty
    flow_m3_s: float
    covers: tuple[Suction, ...]

    @property
    def fittings(self) -> int:
        """How many fittings no valve can shut off."""
        return sum(cover.always_open for cover in self.covers)

    @property
    def speed_m_s(self) -> float | None:
        """Speed through what stays open with the largest cover blocked; None where nothing does."""
        area_m2 = sum(cover.always_open * cover.open_area_m2 for cover in self.covers)
        left_m2 = area_m2 - max(cover.open_area_m2 for cover in self.covers)
        return self.flow_m3_s / left_m2 if self.fittings > 1 else None


def feeding(plant: Assembly, pump: str, duty: PlantDuty) -> list[str]:
    """The legs that draw from the tub what a pump takes in at a duty, found by going against the flow."""
    flows = {link: duty.flow_m3_s(link.name) for link in plant.links}
    own = next(link for link in plant.links if link.name == pump)
    if flows[own] <= STILL_M3_S:
        return []
    legs, visited, todo = list[str](), {own.a}, [own.a]
    while todo:
        node = todo.pop()
        for link, q in flows.items():
            tail, head = (link.a, link.b) if q > 0 else (link.b, link.a)
            if head != node or abs(q) <= STILL_M3_S:
                continue
            if tail == TUB:
                legs.append(link.name)
            elif tail not in visited:
                visited.add(tail)
                todo.append(tail)
    return sorted(legs)


def draws(plant: Assembly, pump: str) -> tuple[list[Draw], list[str]]:
    """What a pump draws at each duty that can occur, and what feeds it without fittings being described."""
    known, unknown = list[Draw](), dict[str, None]()
    for duty in plant.duties():
        legs = feeding(plant, pump, duty) if pump in running(plant, duty) else []
        sheets = {name: plant.sheet.legs[name].suction for name in legs if name in plant.sheet.legs}
        covers = tuple(sheet for sheet in sheets.values() if sheet is not None)
        unknown |= dict.fromkeys(name for name in legs if sheets.get(name) is None)
        if covers and len(covers) == len(legs):
            known.append(Draw(duty, sum(abs(duty.flow_m3_s(name)) for name in legs), covers))
    return known, list(unknown)


def warmest_c(plant: Assembly) -> float:
    """The highest set point of the file [degC]: warm water boils sooner."""
    heating = plant.scenario.schedule.heating
    return max([plant.temp_c, *(step.keep_at_c for step in heating.plan)] if heating else [plant.temp_c])


def least_npsh(plant: Assembly, programme: Programme, pump: str) -> tuple[float, PlantDuty] | None:
    """The NPSH [m] at a pump's inlet in the worst duty that the schedule can ask for; None if unknown."""
    above_m, node = plant.pumps[pump].above_water_m, _inlet(plant, pump)
    if above_m is None:
        return None
    air_pa = air_pressure_pa(plant.scenario.place.altitude_m)
    rows = [
        (npsh_available_m(duty.duty.heads_m[node], above_m, warmest_c(plant), air_pa), duty)
        for duty, _ in together(plant, programme)
        if pump in running(plant, duty) and node in duty.duty.heads_m
    ]
    return min(rows, key=lambda row: (round(row[0], 6), len(running(plant, row[1])))) if rows else None


def _inlet(plant: Assembly, pump: str) -> str:
    return next(link.a for link in plant.links if link.name == pump)


def measure_suction(plant: Assembly, programme: Programme) -> dict[str, SuctionMetrics]:
    """What is known of the suction side of each pump."""
    by_pump = {}
    for name, sheet in plant.pumps.items():
        known, unknown = draws(plant, name)
        known = [] if unknown else known
        speeds = [draw.speed_m_s for draw in known]
        npsh = least_npsh(plant, programme, name)
        by_pump[name] = SuctionMetrics(
            sheet.above_water_m,
            npsh[0] if npsh else None,
            npsh[1].name if npsh else None,
            sheet.npsh_needed_m,
            min((draw.fittings for draw in known), default=None),
            None if None in speeds else max((speed for speed in speeds if speed), default=None),
        )
    return by_pump

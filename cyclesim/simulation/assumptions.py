"""What the model takes for granted beyond the file: numbers nobody gave, and the plant with each of them off.

Each has its value, spread and source, and says how a plant is made in which it is so many times as large.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from cyclesim.physics import blowing, climate, evaporation, laws, walls
from cyclesim.physics.own_water import GLYCOL_HEAT
from cyclesim.scenario.blocks.heat_sources import HeatPump
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.rated import highest_cop
from cyclesim.scenario.reading.defaults import Default
from cyclesim.simulation.exchanges import AIR_HEAT, rated
from cyclesim.simulation.tolerance import AS_TOLD
from cyclesim.simulation.variant import Variant, with_each
from cyclesim.spreads import Assumption, NoRange, Spread

_FIT = "COP by its fraction of Carnot, output exponential; a modelling choice"
_PRACTICE = "common practice, no source"
_PLATES = "scale on the plates; less at less flow, more at more; common practice, no source"
Off = Callable[[Scenario, float], Variant]
"""The plant of a scenario with one number so many times as large."""


@dataclass(frozen=True, slots=True)
class Granted(Default):
    """One such number."""

    off: Off | None = None


def assumptions(scenario: Scenario) -> tuple[Granted, ...]:
    """Every such number that this scenario's answers rest on, in the manner of the filled-in defaults."""
    return tuple(_all(scenario))


def _all(scenario: Scenario) -> Iterator[Granted]:
    plant, zones = scenario.plant, scenario.place.zones
    tub = plant.tub
    buried_tub = zones[tub.shell.zone].depth_m is not None
    buried = [name for name, leg in plant.legs.items() if zones[leg.zone].depth_m is not None]
    wall, foam = walls.MATERIALS[tub.shell.of].conductivity, walls.MATERIALS["foam"].conductivity
    yield _number(f"conductivity of {tub.shell.of}", wall, "W/(m K)", _of_walls("wall"))
    if tub.shell.insulation_m or tub.cover != "none":
        yield _number("conductivity of the tub's foam", foam, "W/(m K)", _of_walls("foam"))
    bathing = scenario.schedule.bathing
    if tub.cover == "none" or any(session.cover == "off" for session in bathing):
        of_ashrae, of_black = "times the ASHRAE form", "of a black surface"
        yield _number("activity of open water", evaporation.ACTIVITY, of_ashrae, _factor("activity"))
        yield _number("emissivity of open water", evaporation.EMISSIVITY, of_black, _factor("emissivity"))
    if bathing:
        yield _number("heat of a bather", laws.BATHER_W, "W", _factor("bather_heat"))
        yield _number("water a bather carries out", laws.BATHER_LITRES_H, "L/h", _factor("bather_water"))
    if tub.cover != "none":
        fit, name = walls.COVER_FIT[tub.cover.fit], f"loss of a cover of {tub.cover.fit} fit"
        yield _number(name, fit, "times a tight one's", _of_walls("cover_fit"))
    if not buried_tub:
        film = walls.OUTSIDE_FILM_W_M2K
        yield _number("film outside the shell", film, "W/(m2 K)", _of_walls("outside_film"))
    if buried_tub or buried:
        yield _number("conductivity of the soil", walls.SOIL_W_MK, "W/(m K)", _of_walls("soil"))
        soil = Assumption(climate.SOIL_M2_S * 1e6, 0.2, 1.0, _PRACTICE)
        yield _number("diffusivity of the soil", soil, "mm2/s", _diffusivity_off)
    if len(buried) < len(plant.legs):
        film = walls.PIPE_FILM_W_M2K
        yield _number("film outside pipes in air", film, "W/(m2 K)", _of_walls("pipe_film"))
    if plant.equipment or plant.heat_sources:
        film, name = walls.HOUSING_FILM_W_M2K, "film outside filter and heater housings"
        yield _number(name, film, "W/(m2 K)", _of_walls("housing_film"))
    if plant.air:
        unfelt = "no number here feels it: it moves the blower's pressure alone"
        yield replace(_number("air in the blower's pipe", blowing.LINE_AIR_C, "degC"), not_varied=unfelt)
        text, spread = f"{100.0 * AIR_HEAT:.0f} % of its power", Spread(50, 90, "%")
        name, off = "heat of the blower in its air", _factor("blower_heat")
        yield Granted(name, text, spread, _PRACTICE, AIR_HEAT, off=off)
    own = [source.own_water for source in plant.heat_sources.values() if source.own_water]
    if own:
        text, spread = "as stated at every flow", Spread(-30, 10, "%", off=True)
        yield Granted("what plates pass", text, spread, _PLATES, 1.0, off=_factor("plates"))
    if any(circuit.glycol for circuit in own):
        name, off = "heat capacity that water loses by its share of glycol", _factor("glycol_heat")
        yield _number(name, GLYCOL_HEAT, "times that", off)
    for name, sheet in plant.heat_sources.items():
        if isinstance(sheet, HeatPump):
            text, spread = (
                f"within {100.0 * rated(sheet).misfit():.0f} % of them",
                Spread(-15, 15, "%", off=True),
            )
            yield Granted(
                f"{name} between its rated points", text, spread, _FIT, 1.0, off=partial(_cop_off, name)
            )
    handbooks, spread = (
        "a flow-of-fluids handbook, quoted from memory; document not checked",
        Spread(-25, 25, "%", off=True),
    )
    off = _factor("fittings")
    yield Granted("losses of fittings", "handbook values", spread, handbooks, 1.0, off=off)
    in_order, mixed = "assumed not to mix", NoRange("a filter that mixes clears more slowly")
    yield Granted("water in filters and pipes", in_order, mixed, "a modelling choice")


def _number(path: str, number: Assumption, unit: str, off: Off | None = None) -> Granted:
    """The row of a number of the model."""
    text, spread = f"{number.value:g} {unit}", Spread(number.low, number.high, unit)
    return Granted(path, text, spread, number.source, number.value, off=off)


def _factor(name: str) -> Off:
    """The plant with one factor of its tolerance."""

    def off(scenario: Scenario, factor: float) -> Variant:
        factors: dict[str, Any] = {name: factor}
        return Variant(scenario, replace(AS_TOLD, **factors))

    return off


def _of_walls(name: str) -> Off:
    """The plant with one factor on what its heat passes."""
    return lambda scenario, factor: Variant(
        scenario, replace(AS_TOLD, walls=walls.AS_ASSUMED._replace(**{name: factor}))
    )


def _cop_off(name: str, scenario: Scenario, factor: float) -> Variant:
    """A heat pump with all its rated COPs so many times as high, but none beyond what can be."""
    sheet = scenario.plant.heat_sources[name]
    assert isinstance(sheet, HeatPump)
    points = []
    for point in sheet.rated:
        most = 0.999 * highest_cop(point.air_c, point.water_c)
        points.append(point.model_copy(update={"cop": max(1.0, min(point.cop * factor, most))}))
    changed = sheet.model_copy(update={"rated": tuple(points)})
    return Variant(
        with_each(scenario, "heat_sources", lambda source: changed if source is sheet else source), AS_TOLD
    )


def _diffusivity_off(scenario: Scenario, factor: float) -> Variant:
    """Soil zones as if deeper or shallower, but never so shallow that a pipe breaks the surface."""
    deeper = 1.0 / math.sqrt(factor)
    for leg in scenario.plant.legs.values():
        depth_m = scenario.place.zones[leg.zone].depth_m
        if depth_m is not None:
            deeper = max(deeper, 0.51 * (leg.outside_m + 2.0 * leg.insulation_m) / depth_m)
    zones = {
        name: zone if zone.depth_m is None else zone.model_copy(update={"depth_m": zone.depth_m * deeper})
        for name, zone in scenario.place.zones.items()
    }
    place = scenario.place.model_copy(update={"zones": zones})
    return Variant(scenario.model_copy(update={"place": place}), replace(AS_TOLD, soil_depth=deeper))

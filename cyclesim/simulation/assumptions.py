"""What the model takes for granted beyond the file: numbers nobody gave, with their spread and source."""

from __future__ import annotations

from collections.abc import Iterator

from cyclesim.physics import blowing, climate, evaporation, laws, walls
from cyclesim.physics.walls import Assumption
from cyclesim.scenario.blocks.heat_sources import HeatPump
from cyclesim.scenario.blocks.model import Default, Scenario
from cyclesim.simulation.exchanges import AIR_HEAT, rated

_FIT = "COP by its fraction of Carnot, output exponential; a modelling choice"


def assumptions(scenario: Scenario) -> tuple[Default, ...]:
    """Every such number that this scenario's answers rest on, in the manner of the filled-in defaults."""
    return tuple(_all(scenario))


def _all(scenario: Scenario) -> Iterator[Default]:
    plant, zones = scenario.plant, scenario.place.zones
    tub = plant.tub
    buried_tub = zones[tub.shell.zone].depth_m is not None
    buried = [name for name, leg in plant.legs.items() if zones[leg.zone].depth_m is not None]
    wall = walls.MATERIALS[tub.shell.of]
    low, high = wall.spread_w_mk
    yield Default(
        f"conductivity of {tub.shell.of}",
        f"{wall.conductivity_w_mk:g} W/(m K)",
        f"{low:g} to {high:g}",
        wall.source,
    )
    if tub.shell.insulation_m or tub.cover != "none":
        foam = walls.MATERIALS["foam"]
        low, high = foam.spread_w_mk
        text = f"{foam.conductivity_w_mk:g} W/(m K)"
        yield Default("conductivity of the tub's foam", text, f"{low:g} to {high:g}", foam.source)
    bathing = scenario.schedule.bathing
    if tub.cover == "none" or any(session.cover == "off" for session in bathing):
        yield _said("activity of open water", evaporation.ACTIVITY, "times the ASHRAE form")
        yield _said("emissivity of open water", evaporation.EMISSIVITY, "of a black surface")
    if bathing:
        yield _said("heat of a bather", laws.BATHER_W, "W")
        yield _said("water a bather carries out", laws.BATHER_LITRES_H, "L/h")
    if tub.cover != "none":
        yield _said(
            f"loss of a cover of {tub.cover.fit} fit", walls.COVER_FIT[tub.cover.fit], "times a tight one's"
        )
    if not buried_tub:
        yield _said("film outside the shell", walls.OUTSIDE_FILM_W_M2K, "W/(m2 K)")
    if buried_tub or buried:
        yield _said("conductivity of the soil", walls.SOIL_W_MK, "W/(m K)")
        text = f"{climate.SOIL_M2_S * 1e6:g} mm2/s"
        yield Default("diffusivity of the soil", text, "0.2 to 1", "common practice, no source")
    if len(buried) < len(plant.legs):
        yield _said("film outside pipes in air", walls.PIPE_FILM_W_M2K, "W/(m2 K)")
    if plant.equipment or plant.heat_sources:
        yield _said("film outside filter and heater housings", walls.HOUSING_FILM_W_M2K, "W/(m2 K)")
    if plant.air:
        yield _said("air in the blower's pipe", blowing.LINE_AIR_C, "degC")
        text, source = f"{AIR_HEAT:.0%} of its power".replace("%", " %"), "common practice, no source"
        yield Default("heat of the blower in its air", text, "50 to 90 %", source)
    for name, sheet in plant.heat_sources.items():
        if isinstance(sheet, HeatPump):
            off = 100.0 * rated(sheet).misfit()
            yield Default(
                f"{name} between its rated points", f"within {off:.0f} % of them", "-15 to +15 %", _FIT
            )
    fittings = "TP-410, from memory, not opened"
    yield Default("losses of fittings", "handbook values", "-25 to +25 %", fittings)
    yield Default(
        "water in filters and pipes", "passes in order", "stirred housings lag", "a modelling choice"
    )


def _said(path: str, number: Assumption, unit: str) -> Default:
    return Default(path, f"{number.value:g} {unit}", f"{number.low:g} to {number.high:g}", number.source)

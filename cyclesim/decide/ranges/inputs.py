"""What may be off: each input with its likely lowest and highest, as a scenario and a plant's tolerance."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Any

from cyclesim.decide.ranges.paths import at, changed, field_at
from cyclesim.decide.ranges.spreads import WORDS, read_spread
from cyclesim.decide.ranges.stated import stated
from cyclesim.decide.sweeps.variant import Input, Variant, with_each
from cyclesim.physics import evaporation, laws, walls
from cyclesim.physics.climate import SOIL_M2_S
from cyclesim.scenario.blocks.heat_sources import HeatPump, highest_cop
from cyclesim.scenario.blocks.model import Default, Scenario
from cyclesim.simulation.assumptions import assumptions
from cyclesim.simulation.exchanges import AIR_HEAT
from cyclesim.simulation.hourly_weather import mean_air_c
from cyclesim.simulation.tolerance import AS_TOLD


@dataclass(frozen=True, slots=True)
class NotVaried:
    """A default that is not varied, and why."""

    input: str
    why: str


def inputs(scenario: Scenario) -> tuple[tuple[Input, ...], tuple[NotVaried, ...]]:
    """All that is varied of this scenario, and what of its defaults is not, with the reason."""
    found, skipped = list(stated(scenario)), list[NotVaried]()
    for name, group in _grouped((*scenario.defaults, *assumptions(scenario))):
        why = _why_not(group[0])
        if why:
            skipped.append(NotVaried(name, why))
        elif group[0].path in _factors(scenario):
            found.append(_assumed(scenario, group[0]))
        else:
            found.append(_default(scenario, name, group))
    return tuple(one for one in found if one.low or one.high), tuple(skipped)


def _why_not(one: Default) -> str:
    """Why a default is not varied; empty where it is."""
    if one.spread_text in WORDS:
        return f"no range: {one.spread_text}"
    if one.path.startswith("limits.") or one.path.endswith(".needs"):
        return "what is judged by, no input"
    if one.path == "air in the blower's pipe":
        return "no number here feels it: it moves the blower's pressure alone"
    return ""


def _grouped(defaults: Sequence[Default]) -> Iterator[tuple[str, list[Default]]]:
    """The same key of several elements of one block together: they are off together."""

    def key(one: Default) -> tuple[str, ...]:
        steps = one.path.split(".")
        if len(steps) == 1:
            return (one.path,)
        speed = f"{steps[-2]} " if steps[-2] in ("low", "high") else ""
        return (steps[0], steps[min(1, len(steps) - 2)], f"{speed}{steps[-1]}")

    for steps, group in groupby(sorted(defaults, key=key), key):
        said = f"{steps[2]} ({steps[1]})".replace("_", " ") if len(steps) == 3 else steps[0]
        yield said, list(group)


def _factors(scenario: Scenario) -> Mapping[str, tuple[str, float]]:
    """Assumptions of the model by the path they are listed under: their factor and their value."""
    shell, cover = scenario.plant.tub.shell, scenario.plant.tub.cover
    found = {
        f"conductivity of {shell.of}": ("walls.wall", walls.MATERIALS[shell.of].conductivity_w_mk),
        "conductivity of the tub's foam": ("walls.foam", walls.MATERIALS["foam"].conductivity_w_mk),
        "activity of open water": ("activity", evaporation.ACTIVITY.value),
        "emissivity of open water": ("emissivity", evaporation.EMISSIVITY.value),
        "heat of a bather": ("bather_heat", laws.BATHER_W.value),
        "water a bather carries out": ("bather_water", laws.BATHER_LITRES_H.value),
        "film outside the shell": ("walls.outside_film", walls.OUTSIDE_FILM_W_M2K.value),
        "conductivity of the soil": ("walls.soil", walls.SOIL_W_MK.value),
        "diffusivity of the soil": ("diffusivity", SOIL_M2_S * 1e6),
        "film outside pipes in air": ("walls.pipe_film", walls.PIPE_FILM_W_M2K.value),
        "film outside filter and heater housings": ("walls.housing_film", walls.HOUSING_FILM_W_M2K.value),
        "heat of the blower in its air": ("blower_heat", AIR_HEAT),
        "losses of fittings": ("fittings", 1.0),
    }
    if cover != "none":
        fit = walls.COVER_FIT[cover.fit].value
        found[f"loss of a cover of {cover.fit} fit"] = ("walls.cover_fit", fit)
    for name, sheet in scenario.plant.heat_sources.items():
        if isinstance(sheet, HeatPump):
            found[f"{name} between its rated points"] = ("cop", 1.0)
    return found


def _assumed(scenario: Scenario, one: Default) -> Input:
    """An assumption of the model at the two ends of its spread."""
    factor, value = _factors(scenario)[one.path]
    ends = read_spread(one.spread_text).around(value, "fraction")
    variants = [_factored(scenario, one.path, factor, end / value) for end in ends]
    return Input(one.path, *_ends_said(one), one.source_text, *variants)


def _factored(scenario: Scenario, path: str, name: str, factor: float) -> Variant:
    part, _, inner = name.partition(".")
    if inner:
        return Variant(scenario, replace(AS_TOLD, walls=walls.AS_ASSUMED._replace(**{inner: factor})))
    if name == "cop":
        return Variant(_cops(scenario, path.removesuffix(" between its rated points"), factor), AS_TOLD)
    if name == "diffusivity":
        return _soil(scenario, 1.0 / math.sqrt(factor))
    told: dict[str, Any] = {part: factor}
    return Variant(scenario, replace(AS_TOLD, **told))


def _cops(scenario: Scenario, name: str, factor: float) -> Scenario:
    sheet = scenario.plant.heat_sources[name]
    assert isinstance(sheet, HeatPump)
    points = []
    for point in sheet.rated:
        most = 0.999 * highest_cop(point.air_c, point.water_c)
        points.append(point.model_copy(update={"cop": max(1.0, min(point.cop * factor, most))}))
    changed_ = sheet.model_copy(update={"rated": tuple(points)})
    return with_each(scenario, "heat_sources", lambda source: changed_ if source is sheet else source)


def _soil(scenario: Scenario, factor: float) -> Variant:
    """Soil zones as if so many times as deep, but never so shallow that a pipe breaks the surface."""
    least = factor
    for leg in scenario.plant.legs.values():
        depth_m = scenario.place.zones[leg.zone].depth_m
        if depth_m is not None:
            least = max(least, 0.51 * (leg.outside_m + 2.0 * leg.insulation_m) / depth_m)
    zones = {
        name: zone if zone.depth_m is None else zone.model_copy(update={"depth_m": zone.depth_m * least})
        for name, zone in scenario.place.zones.items()
    }
    place = scenario.place.model_copy(update={"zones": zones})
    return Variant(scenario.model_copy(update={"place": place}), replace(AS_TOLD, soil_depth=least))


def _default(scenario: Scenario, name: str, group: list[Default]) -> Input:
    """One key that the file left out, at the two ends of its spread in every element that left it out."""
    ends: list[Variant | None] = []
    for side in (0, 1):
        varied, moves = scenario, False
        for one in group:
            value = _end(scenario, one, side)
            moves |= value != field_at(scenario, one.path).value
            varied = changed(varied, one.path, value)
        ends.append(Variant(varied, AS_TOLD) if moves else None)
    return Input(name, *_ends_said(group[0]), group[0].source_text, *ends)


def _end(scenario: Scenario, one: Default, side: int) -> Any:
    """The value of a key at one end of its spread, in SI."""
    spread, (owner, value, kind) = read_spread(one.spread_text), field_at(scenario, one.path)
    steps = one.path.split(".")
    if steps[-1] == "fill_water":
        return max(0.0, spread.around(mean_air_c(scenario.place.weather), "temperature")[side])
    if spread.high_unit == "x bore":
        return owner.bore_m * spread.around(1.0)[side]
    if steps[-1] == "power" and steps[-2] in ("low", "high"):  # left out, it follows from the other speed
        value = at(scenario, steps[:-2]).speeds[steps[-2]].power_w
    found = spread.around(value or 0.0, kind)[side]
    return round(found) if isinstance(value, int) else found


def _ends_said(one: Default) -> tuple[str, str]:
    spread = read_spread(one.spread_text)
    sign, unit = "+" if spread.about else "", one.value_text.partition(" ")[2]
    low_unit, high_unit = spread.low_unit or unit, spread.high_unit or unit
    return f"{spread.low:{sign}g} {low_unit}".strip(), f"{spread.high:{sign}g} {high_unit}".strip()

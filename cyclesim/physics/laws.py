"""Laws of heat: what adds heat to the water or takes it, depending on the water's own temperature.

A law is called with an hour of the weather series and a water temperature and answers linearised there.
"""

from collections.abc import Callable, Sequence
from typing import NamedTuple

from cyclesim.spreads import Assumption

from .blowing import blown_air
from .evaporation import ACTIVITY, EMISSIVITY, WATER_J_KG_K, WIND_AT_WATER, surface_and_slope
from .sources import HeatPumpRating

BATHER_W = Assumption(
    100.0,
    -100.0,
    150.0,
    "common practice, no source; about resting metabolism. Water warmer than the skin heats the bather first,"
    " then the sign may turn",
)
BATHER_LITRES_H = Assumption(5.0, 1.0, 20.0, "splashed and carried out by each, common practice, no source")

_HALF_STEP_K = 0.025


class Exchange(NamedTuple):
    """Heat into the water and the power drawn for it, with their slopes over the water's temperature.

    heat_w: W into the water, positive warms; slope_w_k: its slope, never above 0. input_w: electric or fuel
    power, W; input_slope_w_k. evaporated_kg_s: water that leaves and is made up; for bathers what they carry
    out; evaporated_kg_s_k its slope. Heat to warm its make-up is in heat_w.
    """

    heat_w: float
    slope_w_k: float
    input_w: float
    input_slope_w_k: float
    evaporated_kg_s: float
    evaporated_kg_s_k: float = 0.0


Law = Callable[[int, float], Exchange]
"""(hour of the weather series, water temperature in degC) -> the exchange linearised there."""


def surface_law(
    area_m2: float,
    air_c: Sequence[float],
    humidity: Sequence[float],
    wind_m_s: Sequence[float],
    sky_c: Sequence[float],
    *,
    makeup_c: float,
    activity: float = ACTIVITY.value,
    wind_share: float = WIND_AT_WATER.value,
    emissivity: float = EMISSIVITY.value,
) -> Law:
    """An open surface under hourly weather, with cold make-up for what evaporates; slope exact [W, W/K].

    area_m2 [m2]; hourly air_c [degC], humidity [0 to 1], wind_m_s [m/s] and sky_c [degC], as for
    `open_surface`, with activity and emissivity; makeup_c: of what is filled up [degC]. wind_share turns the
    weather's wind into that over the water. Condensed water is let go, not made up.
    """

    def law(hour: int, water_c: float) -> Exchange:
        wind = wind_m_s[hour] * wind_share
        loss, loss_k, evaporated_k = surface_and_slope(
            area_m2, air_c[hour], humidity[hour], wind, sky_c[hour], water_c, activity, emissivity
        )
        lost_w = loss.evaporation_w + loss.convection_w + loss.radiation_w
        return _with_makeup(lost_w, loss_k, loss.evaporated_kg_s, evaporated_k, water_c - makeup_c)

    return law


def air_law(
    flow_m3_s: float,
    air_c: Sequence[float],
    humidity: Sequence[float],
    *,
    makeup_c: float,
    air_heat_w: float = 0.0,
) -> Law:
    """Air blown through the water [W], drawn where air_c and humidity are hourly known; slope exact [W/K].

    flow_m3_s: at the intake [m3/s]; makeup_c: of what replaces the evaporated water [degC]; air_heat_w is
    what the blower puts into the air [W]. The blower's own power is not in input_w.
    """

    def law(hour: int, water_c: float) -> Exchange:
        take = blown_air(flow_m3_s, air_c[hour], humidity[hour], water_c, air_heat_w)
        return _with_makeup(
            take.heat_w,
            take.heat_slope_w_k,
            take.evaporated_kg_s,
            take.evaporated_slope_kg_s_k,
            water_c - makeup_c,
        )

    return law


def heat_pump_law(pump: HeatPumpRating, air_c: Sequence[float], humidity: Sequence[float]) -> Law:
    """A running heat pump [W] in hourly air_c [degC] and humidity [0 to 1]; slopes [W/K] over 0.05 K."""

    def law(hour: int, water_c: float) -> Exchange:
        air, wet = air_c[hour], humidity[hour]
        colder, less = pump.at(air, wet, water_c - _HALF_STEP_K)
        warmer, more = pump.at(air, wet, water_c + _HALF_STEP_K)
        per_k = 0.5 / _HALF_STEP_K
        mean_w, mean_input_w = 0.5 * (colder + warmer), 0.5 * (less + more)
        return Exchange(mean_w, (warmer - colder) * per_k, mean_input_w, (more - less) * per_k, 0.0)

    return law


def constant_law(heat_w: float | Sequence[float], input_w: float = 0.0) -> Law:
    """A source that does not mind the water's temperature: one value [W], or one an hour (sun, wood)."""
    if isinstance(heat_w, Sequence):
        hourly = heat_w
        return lambda hour, _: Exchange(hourly[hour], 0.0, input_w, 0.0, 0.0)
    same = Exchange(heat_w, 0.0, input_w, 0.0, 0.0)
    return lambda _, __: same


def bather_law(
    people: int,
    each_w: float = BATHER_W.value,
    litres_per_person_h: float = BATHER_LITRES_H.value,
    *,
    makeup_c: float,
) -> Law:
    """People in the water: their heat [W], and the cold make-up [degC] for the litres that they carry out."""
    carried_kg_s = people * litres_per_person_h / 3600.0  # a litre counts as a kilogram
    slope_w_k = -carried_kg_s * WATER_J_KG_K

    def law(_: int, water_c: float) -> Exchange:
        heat_w = people * each_w + slope_w_k * (water_c - makeup_c)
        return Exchange(heat_w, slope_w_k, 0.0, 0.0, carried_kg_s)

    return law


def _with_makeup(
    lost_w: float, lost_k: float, evaporated: float, evaporated_k: float, colder_k: float
) -> Exchange:
    """The exchange of a loss in W and W/K whose evaporated kg/s are replaced by water colder_k colder."""
    if evaporated > 0.0:
        lost_w += evaporated * WATER_J_KG_K * colder_k
        lost_k += WATER_J_KG_K * (evaporated_k * colder_k + evaporated)
    return Exchange(-lost_w, -lost_k, 0.0, 0.0, evaporated, evaporated_k)

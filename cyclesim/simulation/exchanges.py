"""The laws of heat that a plant has, each under a name: open water, bathers, blown air, heat pumps.

A heat pump without flow gives nothing and draws nothing (its own pressure switch); an element without flow
heats what is trapped in it; collectors stand hot and give nothing, dry unless the file says what they lose.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from cyclesim.physics import laws
from cyclesim.physics.evaporation import ACTIVITY, EMISSIVITY, saturation
from cyclesim.physics.laws import Law
from cyclesim.physics.sources import HeatPumpRating, RatedPoint, SolarCollector, WoodStove
from cyclesim.scenario.blocks.heat_sources import HeatPump as HeatPumpSheet
from cyclesim.scenario.blocks.heat_sources import Solar, Wood
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.hourly_weather import Weather, fill_c, standard_time
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.trace import Zones

OPEN_WATER, BATHERS = "open water", "bathers"
AIR_HEAT = 0.7
"""Share of a blower's power that warms its air; common practice, no source."""

_SUMMER_DAY_H, _WINTER_DAY_H = 16.0, 8.0
"""Hours of sun at midsummer and midwinter, about 48 degrees of latitude; a declared profile."""
_DEAD_FIRE = 8
"""Time constants after which a fire that dies down is out."""

Numbered = tuple[int, Law]


class Exchanges:
    """Laws by number; `names` are what the trace books them under."""

    def __init__(
        self, plant: Assembly, weather: Weather, zones: Zones, fires: Mapping[str, Sequence[float]]
    ) -> None:
        self.names: list[str] = []
        self._plant, self._weather, self._zones = plant, weather, zones
        self._known: dict[tuple[str, int], Numbered] = {}
        self.fires = dict(fires)
        """Hourly heat of the sources that nobody switches [W], in the hours of the weather."""
        self.makeup_c = fill_c(plant.scenario)
        """Temperature of what is filled up [degC]: as the file says, or the year's mean air."""

    def _numbered(self, name: str, key: int, law: Law) -> Numbered:
        if name not in self.names:
            self.names.append(name)
        numbered = self._known[name, key] = (self.names.index(name), law)
        return numbered

    def open_water(self) -> Numbered:
        """Evaporation, convection and sky radiation of the tub's surface, with its make-up."""
        w, off = self._weather, self._plant.tolerance
        return self._known.get((OPEN_WATER, 0)) or self._numbered(
            OPEN_WATER,
            0,
            laws.surface_law(
                self._plant.sheet.tub.surface_m2,
                w.air_c,
                w.humidity,
                w.wind_m_s,
                w.sky_c,
                makeup_c=self.makeup_c,
                activity=ACTIVITY.value * off.activity,
                emissivity=EMISSIVITY.value * off.emissivity,
                wind_share=1.0,  # the weather's wind is that at the water already
            ),
        )

    def bathers(self, people: int) -> Numbered:
        """So many people in the water."""
        off = self._plant.tolerance
        each_w, litres_h = (
            laws.BATHER_W.value * off.bather_heat,
            laws.BATHER_LITRES_H.value * off.bather_water,
        )
        return self._known.get((BATHERS, people)) or self._numbered(
            BATHERS, people, laws.bather_law(people, each_w, litres_h, makeup_c=self.makeup_c)
        )

    def blown(self, blower: str) -> Numbered:
        """Air that a blower sends through the water."""
        sheet = self._plant.sheet.air[blower]
        return self._known.get((blower, 0)) or self._numbered(
            blower,
            0,
            laws.air_law(
                self._plant.air_duty(blower).flow_m3_s,
                self._zones.series[sheet.air_from],
                self._humidity(sheet.air_from),
                makeup_c=self.makeup_c,
                air_heat_w=AIR_HEAT * self._plant.tolerance.blower_heat * sheet.power_w,
            ),
        )

    def heat_pump(self, name: str) -> Numbered:
        """A heat pump that runs with water moving through it."""
        numbered = self._known.get((name, 0))
        if numbered is None:
            sheet = self._plant.sheet.heat_sources[name]
            assert isinstance(sheet, HeatPumpSheet)
            air_c = self._zones.series[sheet.outside]
            law = laws.heat_pump_law(rated(sheet), air_c, self._humidity(sheet.outside))
            numbered = self._numbered(name, 0, law)
        return numbered

    def by_itself(self, name: str) -> Numbered:
        """A stove or a collector that nobody switches, while water moves through it."""
        return self._known.get((name, 0)) or self._numbered(name, 0, laws.constant_law(self.fires[name]))

    def _humidity(self, zone: str) -> Sequence[float]:
        """Relative humidity of a zone: that outdoors, with the vapour kept where the zone is warmer."""
        if zone == "outdoors":
            return self._weather.humidity
        pairs = zip(self._weather.air_c, self._zones.series[zone], self._weather.humidity, strict=True)
        return [min(1.0, rh * saturation(out)[0] / saturation(inside)[0]) for out, inside, rh in pairs]


def rated(sheet: HeatPumpSheet) -> HeatPumpRating:
    """A heat pump from its data sheet; a point rated in frost already has its defrosting in it."""
    points = [RatedPoint(p.air_c, p.water_c, p.output_w, p.cop) for p in sheet.rated]
    given = "defrost_share" in sheet.model_fields_set
    return HeatPumpRating.from_points(
        points,
        lowest_air_c=sheet.lowest_air_c,
        defrost_below_c=sheet.defrost_below_c,
        defrost_share=sheet.defrost_share if given else None,
    )


def fires(plant: Assembly, programme: Programme, origin: datetime, hours: int) -> dict[str, list[float]]:
    """Hourly heat [W] of every stove and collector from *origin* (UTC) on."""
    heats: dict[str, list[float]] = {}
    for name, sheet in plant.sheet.heat_sources.items():
        if isinstance(sheet, Solar):
            heats[name] = sun_w(plant, name, origin, hours)
        elif isinstance(sheet, Wood):
            heats[name] = _burning(sheet, programme, origin, hours)
    return heats


def sun_w(plant: Assembly, name: str, origin: datetime, hours: int) -> list[float]:
    """Hourly heat [W] that the sun gives collectors from *origin* (UTC) on."""
    sheet = plant.sheet.heat_sources[name]
    assert isinstance(sheet, Solar)
    sun = SolarCollector(sheet.summer_peak_w, sheet.winter_peak_w, _SUMMER_DAY_H, _WINTER_DAY_H)
    return sun.hourly_w(standard_time(origin, ZoneInfo(plant.scenario.place.time_zone)), hours)


def _burning(sheet: Wood, programme: Programme, origin: datetime, hours: int) -> list[float]:
    """Mean heat of each hour [W] of a stove that is lit by the calendar."""
    watts = [0.0] * hours
    early = timedelta(days=2)  # a fire lit before the run may still burn
    for burn in sheet.burns:
        stove = WoodStove(sheet.output_w, burn.lasts_s, sheet.dies_down_s)
        out_s = burn.lasts_s + _DEAD_FIRE * sheet.dies_down_s
        for lit in programme.occurrences(burn, origin - early, 3600 * hours + int(early.total_seconds())):
            lit_s = lit.start_s - int(early.total_seconds())
            for hour in range(max(0, lit_s // 3600), min(hours, int(lit_s + out_s) // 3600 + 1)):
                since = 3600 * hour - lit_s
                watts[hour] += (stove.given_j(since + 3600) - stove.given_j(since)) / 3600.0
    return watts

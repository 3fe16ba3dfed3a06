"""The laws of heat that a plant has, each under a name: open water, bathers, blown air, heat pumps."""

from __future__ import annotations

from collections.abc import Sequence

from cyclesim.physics import laws
from cyclesim.physics.laws import Law
from cyclesim.physics.sources import HeatPump, RatedPoint
from cyclesim.scenario.heat_sources import HeatPump as HeatPumpSheet
from cyclesim.simulation.assembly import Plant
from cyclesim.simulation.trace import Zones
from cyclesim.simulation.weather import Weather, mean_air_c

OPEN_WATER, BATHERS = "open water", "bathers"
_AIR_HEAT = 0.7
"""Share of a blower's power that warms its air; common practice, no source."""

Numbered = tuple[int, Law]


class Exchanges:
    """Laws by number; `names` are what the trace books them under."""

    def __init__(self, plant: Plant, weather: Weather, zones: Zones) -> None:
        self.names: list[str] = []
        self._plant, self._weather, self._zones = plant, weather, zones
        self._known: dict[tuple[str, int], Numbered] = {}
        given = plant.sheet.tub.fill_water_c
        self.makeup_c = mean_air_c(plant.scenario.place.weather) if given is None else given
        """Temperature of what is filled up [degC]: as the file says, or the year's mean air."""

    def _numbered(self, name: str, key: int, law: Law) -> Numbered:
        if name not in self.names:
            self.names.append(name)
        found = self._known[name, key] = (self.names.index(name), law)
        return found

    def open_water(self) -> Numbered:
        """Evaporation, convection and sky radiation of the tub's surface, with its make-up."""
        w = self._weather
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
                wind_share=1.0,  # the weather's wind is that at the water already
            ),
        )

    def bathers(self, people: int) -> Numbered:
        """So many people in the water."""
        return self._known.get((BATHERS, people)) or self._numbered(
            BATHERS, people, laws.bather_law(people, makeup_c=self.makeup_c)
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
                air_heat_w=_AIR_HEAT * sheet.power_w,
            ),
        )

    def heat_pump(self, name: str) -> Numbered:
        """A heat pump that runs with water moving through it."""
        found = self._known.get((name, 0))
        if found is None:
            sheet = self._plant.sheet.heat_sources[name]
            assert isinstance(sheet, HeatPumpSheet)
            air_c = self._zones.series[sheet.outside]
            law = laws.heat_pump_law(rated(sheet), air_c, self._humidity(sheet.outside))
            found = self._numbered(name, 0, law)
        return found

    def _humidity(self, zone: str) -> Sequence[float]:
        """Relative humidity of a zone: that outdoors, with the vapour kept where the zone is warmer."""
        if zone == "outdoors":
            return self._weather.humidity
        from cyclesim.physics.evaporation import saturation

        pairs = zip(self._weather.air_c, self._zones.series[zone], self._weather.humidity, strict=True)
        return [min(1.0, rh * saturation(out)[0] / saturation(inside)[0]) for out, inside, rh in pairs]


def rated(sheet: HeatPumpSheet) -> HeatPump:
    """A heat pump from its data sheet; a point rated in frost already has its defrosting in it."""
    points = [RatedPoint(p.air_c, p.water_c, p.output_w, p.cop) for p in sheet.rated]
    given = "defrost_share" in sheet.model_fields_set
    return HeatPump.from_points(
        points,
        lowest_air_c=sheet.lowest_air_c,
        defrost_below_c=sheet.defrost_below_c,
        defrost_share=sheet.defrost_share if given else None,
    )

"""The air that blower and heat pump draw, against a psychrometric library."""

from pathlib import Path

import psychrolib
import pytest

from cyclesim.scenario.reading.load import load
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.exchanges import Exchanges
from cyclesim.simulation.hourly_weather import Weather
from cyclesim.simulation.trace import Zones

psychrolib.SetUnitSystem(psychrolib.SI)
LONG_TABLE = Path(__file__).parents[2] / "schedules" / "long-table.yaml"
AIR_PA = 101_325.0


@pytest.mark.parametrize(("outdoors_c", "cellar_c", "share"), [(0.0, 12.0, 0.80), (14.0, 8.0, 0.60)])
def test_air_of_a_zone_has_the_vapour_of_the_air_outdoors(
    outdoors_c: float, cellar_c: float, share: float
) -> None:
    """Air that is warmed or cooled keeps its humidity ratio; it leaves the water saturated and as warm.

    Water taken up: (W of saturated air at 36.5 degC - W outdoors) times the dry air that is drawn, by
    psychrolib.
    """
    plant = Assembly(load(LONG_TABLE, sets=("plant.air.blower.air_from=cellar",)))
    weather = Weather(0, [outdoors_c], [share], [0.0], [outdoors_c])
    exchanges = Exchanges(plant, weather, Zones(0, {"outdoors": [outdoors_c], "cellar": [cellar_c]}), {})
    _, law = exchanges.blown("blower")
    ratio = psychrolib.GetHumRatioFromRelHum(outdoors_c, share, AIR_PA)
    saturated = psychrolib.GetHumRatioFromRelHum(36.5, 1.0, AIR_PA)
    dry_kg_s = plant.air_duty("blower").flow_m3_s / psychrolib.GetMoistAirVolume(cellar_c, ratio, AIR_PA)
    assert dry_kg_s * (saturated - ratio) == pytest.approx(law(0, 36.5).evaporated_kg_s, rel=2e-3)

"""What `check` tells of a plant before anything runs."""

import pytest

from cyclesim.analysis.rules import check_plant
from cyclesim.said.check import check_page
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.shown.terminal import printed
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme


@pytest.mark.parametrize(
    ("sets", "told"),
    [
        ((), ""),
        # beside 1.5 A of the pump at low, 60 and 300 W at 230 V: 39.1 + 1.5 + 1.6
        (("plant.heat_sources.element.output=9 kW",), "42.2 A in all, more than the breaker's 20 A; element "
         "alone draws 39.1 A. cyclesim run and verify tell"),
        # 4.4 kW fit alone, but not beside the pump
        (("plant.heat_sources.element.output=4.4 kW",), "22.2 A in all, more than the breaker's 20 A. "),
        # 1.25 x (13.0 + 1.5 + 1.6) as all of it may run for 3 h
        (("supply.region=north_america",), "20.1 A in all, more than the breaker's 20 A; what runs "
         "for 3 h or more counts 125 %"),
        (("supply.region=north_america", "supply.breaker=21 A"), ""),
    ],
)  # fmt: skip
def test_more_than_a_breaker_takes_is_told_before_a_run(sets: tuple[str, ...], told: str) -> None:
    """No rule judges it without a run; whoever draws a heater too large for the supply learns it at once."""
    scenario = load_text(starter_text(), "tub.yaml", sets=sets)
    plant, programme = Assembly(scenario), Programme(scenario)
    text = printed(check_page("tub.yaml", plant, programme, *check_plant(plant, programme)))
    said = " ".join(text.split())
    assert bool(told) == ("may come together" in said)
    assert told in said

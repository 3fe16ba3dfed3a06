"""Every cause at every shipped plant: it can be built, changes something, and its text for the file loads."""

from datetime import date
from pathlib import Path

import pytest

import cyclesim
from cyclesim.analysis.result import simulate
from cyclesim.decide.readings.built import AsBuilt, BuiltPlant
from cyclesim.decide.readings.causes import causes
from cyclesim.decide.readings.doubts import doubts
from cyclesim.decide.readings.follows import year
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.simulation.assembly import Assembly

FILES = sorted((Path(__file__).parents[2] / "schedules").glob("*.yaml"))


@pytest.fixture(scope="module", params=FILES, ids=lambda file: file.stem)
def plant(request: pytest.FixtureRequest) -> tuple[Path, Scenario]:
    """A shipped plant and its file."""
    return request.param, cyclesim.load(request.param)


def test_every_cause_changes_the_plant_and_can_be_built(plant: tuple[Path, Scenario]) -> None:
    """At both ends of its range; a cause of an amount at its told amount changes nothing."""
    _, scenario = plant
    for cause in causes(scenario):
        for share in (0.0, 1.0):
            built = cause.change(AsBuilt(scenario), cause.at(share))
            assert built != AsBuilt(scenario), cause.name
            other = BuiltPlant(built)
            assert other.duties()
            assert other.bodies
            assert other.tub_node.water_j_k > 0.0
        assert cause.low <= cause.high
    assert len({cause.name for cause in causes(scenario)}) == len(causes(scenario))


def test_every_doubt_that_a_cause_replaces_is_one(plant: tuple[Path, Scenario]) -> None:
    """By its name; a pump's share of heat and a cover's fit may be stated, and are then no doubt."""
    _, scenario = plant
    known = {doubt.name for doubt in doubts(scenario)} | {"heat to water (pumps)"}
    assert {cause.doubt for cause in causes(scenario)} - {""} <= known


def test_what_the_file_would_say_is_the_plant_with_the_cause(plant: tuple[Path, Scenario]) -> None:
    """Loaded with those keys, duties and bodies are those of the plant with the cause, to its digits."""
    file, scenario = plant
    for cause in causes(scenario):
        if cause.written is None:
            continue
        value = float(f"{cause.at(0.3):.2g}")
        if cause.unit == "elbows' worth":
            value = min(round(value), 20)
        texts = cause.written(scenario, value)
        said = cyclesim.load(file, sets=[f"{path}={text}" for path, text in texts.items()])
        own = cause.change(AsBuilt(scenario), value)
        pairs = zip(Assembly(said).duties(), BuiltPlant(own).duties(), strict=False)
        for as_said, as_built in list(pairs)[:4]:
            if as_said.positions != as_built.positions:
                continue
            for name, flow in as_built.duty.flows_m3_s.items():
                assert as_said.duty.flows_m3_s[name] == pytest.approx(flow, rel=5e-3, abs=2e-6), cause.name
        for ours, told in zip(BuiltPlant(own).bodies, Assembly(said).bodies, strict=True):
            assert ours.ua_w_k == pytest.approx(told.ua_w_k, rel=5e-3), cause.name


def test_swapped_speeds_are_each_other_s_duties() -> None:
    """Also where the lower one is a share of the other's turns."""
    scenario = cyclesim.load("schedules/mill-race.yaml")
    cause = next(cause for cause in causes(scenario) if "swapped" in cause.name)
    drawn, swapped = Assembly(scenario), BuiltPlant(cause.change(AsBuilt(scenario), 1.0))
    for one, other in (("low", "high"), ("high", "low")):
        flows = swapped.duty((one,)).duty.flows_m3_s
        assert flows == pytest.approx(drawn.duty((other,)).duty.flows_m3_s, rel=1e-6)
        assert swapped.speeds["main"][one].power_w == drawn.speeds["main"][other].power_w


def test_a_year_of_a_plant_as_built_takes_fuel_too() -> None:
    """A boiler's electricity is a few kWh; what it burns is the bill."""
    scenario = load_text(starter_text("boiler"), "tub.yaml")
    first = date(2027, 1, 5)
    energy = simulate(scenario, days=2, start=first).metrics.energy
    assert energy.fuel_kwh > energy.energy_kwh
    assert pytest.approx(energy.energy_kwh + energy.fuel_kwh) == year(AsBuilt(scenario), first, 2).energy_kwh

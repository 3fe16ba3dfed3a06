"""Rules of the pump room's own heater, fan and sump pump: each with a plant that breaks it and its twin."""

from collections.abc import Callable

import pytest

from cyclesim.analysis import room_rules
from cyclesim.analysis.findings import Breach, NotJudged
from cyclesim.analysis.result import simulate
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme

Build = Callable[..., Scenario]
ROOM = "pump_room: {below_ground: true, drain: true, "
SUMP = "power: 400 W, float: true, backed_up: false, lifts: 100 L/min, inflow: 20 L/h, holds: 200 L"
TWO = (
    "breaker: 20 A,",
    "circuits: {left: {breaker: 16 A, feeds: [main, lights, sump_pump]}, "
    "right: {breaker: 16 A, feeds: element}},",
)


def sump(words: str) -> tuple[str, str]:
    """The room with a sump pump."""
    return ROOM, f"{ROOM}sump_pump: {{{words}}}, "


def judged(scenario: Scenario) -> list[Breach | NotJudged]:
    """What room-floods says."""
    return list(room_rules.room_floods(Assembly(scenario), Programme(scenario)))


def test_a_sump_that_fills_within_a_day_without_power(scenario: Build) -> None:
    """200 L at 20 L/h are 10 h; at 8 L/h they are 25 h, and a battery lifts at any time."""
    (breach,) = judged(scenario(sump(SUMP)))
    assert isinstance(breach, Breach)
    assert ("its sump pump stands in a power cut", pytest.approx(10.0)) == (breach.cause, breach.worst)
    assert "10.0 h until water is at its electrics, where 24 h are looked for" == breach.text
    for sound in (SUMP.replace("20 L/h", "8 L/h"), SUMP.replace("up: false", "up: true")):
        assert [] == judged(scenario(sump(sound)))


def test_a_circuit_that_trips_with_the_sump_is_told_with_what_else_it_feeds(scenario: Build) -> None:
    """What trips the pump's circuit stops the sump pump too."""
    (breach,) = judged(scenario(sump(SUMP), TWO))
    assert isinstance(breach, Breach)
    assert breach.cause.endswith("or when left trips, which also feeds main and lights")


def test_a_longer_cut_of_the_file_counts(scenario: Build) -> None:
    """25 h of dryness are too few for a cut of 30 h, of all power or of its own circuit; not of another's."""
    slow = sump(SUMP.replace("20 L/h", "8 L/h"))

    def cut(which: str) -> list[Breach | NotJudged]:
        at = f"  outages: [{{from: 2027-01-05 03:00, lasts: 30 h{which}}}]\n  quiet_hours:"
        return judged(scenario(slow, TWO, ("  quiet_hours:", at)))

    assert 1 == len(cut("")) == len(cut(", circuit: left"))
    assert [] == cut(", circuit: right")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("power: 400 W", "the file does not say of the sump pump: float, backed_up"),
        (
            "power: 400 W, float: true, backed_up: false",
            "the file does not say of the sump pump: inflow, holds, "
            "so how soon the room floods without power",
        ),
    ],
)
def test_what_the_file_does_not_say_is_not_judged(scenario: Build, words: str, said: str) -> None:
    """No hours are made up."""
    assert [NotJudged(said)] == judged(scenario(sump(words)))


def test_a_sump_pump_that_nothing_starts_or_that_lifts_too_little(scenario: Build) -> None:
    """Without a float; with 7,200 L/h running in where it lifts 6,000 L/h."""
    up = SUMP.replace("up: false", "up: true")
    (breach,) = judged(scenario(sump(up.replace("float: true", "float: false"))))
    assert isinstance(breach, Breach)
    assert "no float" in breach.cause
    (breach,) = judged(scenario(sump(up.replace("20 L/h", "7200 L/h"))))
    assert isinstance(breach, Breach)
    assert "120 L/min where it lifts 100 L/min" == breach.text


def test_a_sump_pump_needs_no_drain_beside_it(scenario: Build) -> None:
    """It is what the drain would be."""
    up = SUMP.replace("up: false", "up: true")
    undrained = (ROOM, f"pump_room: {{below_ground: true, sump_pump: {{{up}}}, ")
    assert [] == judged(scenario(undrained))


STEADY = "weather: {{mean: {} degC, seasonal_swing: 0 K, daily_swing: 0 K, coldest_day: 20 January}}"
WEATHER = "weather: {mean: 12 degC, seasonal_swing: 8 K, daily_swing: 4 K, coldest_day: 20 January}"
OWN = ("room: {follows: weather, above_by: 2 K}", "room: {follows: weather, loses: 30 W/K, stores: 300 kJ/K}")


def found(scenario: Scenario, rule: str) -> list[str]:
    """What a run of three days tells of a rule."""
    return [f.cause for f in simulate(scenario, days=3).findings if f.rule == rule]


@pytest.mark.parametrize(("watts", "causes"), [(100, 1), (900, 0)])
def test_a_heater_that_is_too_small(scenario: Build, watts: int, causes: int) -> None:
    """In -15 degC a room that loses 30 W/K needs 30 x 20 = 600 W for 5 degC, less what its pump gives."""
    heater = f"heater: {{zone: room, power: {watts} W, starts_below: 5 degC, stops_above: 7 degC}}, "
    built = scenario((ROOM, ROOM + heater), OWN, (WEATHER, STEADY.format(-15)))
    assert causes == len(found(built, "room-too-cold"))


@pytest.mark.parametrize(("conductance", "causes"), [(1, 1), (300, 0)])
def test_a_fan_that_airs_too_little(scenario: Build, conductance: int, causes: int) -> None:
    """In 36 degC main high gives 0.3 x 1,500 W to a room that loses 30 W/K: 15 K more, less with a fan."""
    levels = f"starts_above: 38 degC, stops_below: 36.5 degC, loses: {conductance} W/K"
    fan = f"fan: {{zone: room, power: 30 W, {levels}}}, "
    runs = ('filter_runs: [{pump: main low, start: ["03:00", "15:00"], lasts: 2 h}]',
            'filter_runs: [{pump: main high, start: "03:00", lasts: 20 h}]')  # fmt: skip
    pump = ("      above_water: -300 mm", "      zone: room\n      above_water: -300 mm")
    built = scenario((ROOM, ROOM + fan), OWN, runs, pump, (WEATHER, STEADY.format(36)))
    assert causes == len(found(built, "room-too-hot"))


def test_a_sump_pump_costs_its_share_of_the_time(scenario: Build) -> None:
    """50 L/min in where it lifts 100: half of 400 W for three days is 14.4 kWh; 8 h of a cut take 1.6 off."""
    wet = sump(SUMP.replace("20 L/h", "3000 L/h"))
    devices = simulate(scenario(wet), days=3).metrics.energy.by_device
    assert pytest.approx(14.4) == devices["sump_pump"].energy_kwh
    cut = ("  quiet_hours:", "  outages: [{from: 2027-01-02 03:00, lasts: 8 h}]\n  quiet_hours:")
    devices = simulate(scenario(wet, cut), days=3).metrics.energy.by_device
    assert pytest.approx(14.4 - 1.6) == devices["sump_pump"].energy_kwh

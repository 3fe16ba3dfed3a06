"""Days as cold as a place has seen: where they lie, how cold they are, what soil and parts make of them."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from scipy.special import erfc

from cyclesim.analysis.metrics import ColdSpellMetrics
from cyclesim.analysis.result import simulate
from cyclesim.decide.sizing.heat_up import seasons
from cyclesim.physics.climate import SOIL_M2_S
from cyclesim.said.cold_table import say_cold_spell
from cyclesim.said.page import Page
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.defaults import filled_in
from cyclesim.scenario.reading.load import load, load_text
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.shown.terminal import printed
from cyclesim.simulation.cold_spell import ColdDays, colder_by, worst_hour
from cyclesim.simulation.hourly_weather import cold_days, weather, zones

DAY_S = 86_400


def starter(*sets: str) -> Scenario:
    """The starter in Lisbon: 15 degC on the mean, 3 degC in the coldest night of 20 January."""
    return load_text(starter_text(), "starter.yaml", sets=sets)


def hours(scenario: Scenario, first: date, days: int, zone: str = "outdoors") -> np.ndarray:
    """Hourly temperatures of a zone from a local midnight on."""
    begin = datetime.combine(first, datetime.min.time(), ZoneInfo(scenario.place.time_zone)).astimezone(UTC)
    return np.array(zones(scenario, begin, 0, days * DAY_S).series[zone][: 24 * days])


def test_the_record_is_the_coldest_hour_of_three_days_and_other_days_are_as_before() -> None:
    """Three days from 19 January, the middle one the coldest of the year, each hour colder by the same."""
    plain, cold = starter(), starter("place.record_low=-7 degC")
    spell = cold_days(cold)
    assert spell is not None
    assert (datetime(2027, 1, 19), 72, True) == spell[:2] + spell[3:]
    before, after = (hours(scenario, date(2027, 1, 17), 8) for scenario in (plain, cold))
    colder = before - after
    assert not colder[:48].any()
    assert not colder[48 + 72 :].any()
    assert pytest.approx(spell.colder_by_k) == colder[48 : 48 + 72]
    assert pytest.approx(-7.0) == after.min()
    assert "3 days" == next(d.value_text for d in filled_in(starter("place.cold_spell={lowest: -7 degC}"))
                            if d.path == "place.cold_spell.lasts")  # fmt: skip


def test_where_it_is_as_cold_as_that_anyway_nothing_is_colder() -> None:
    """3 degC is what the described weather has."""
    assert 0.0 == cold_days(starter("place.record_low=6 degC")).colder_by_k  # type: ignore[union-attr]
    assert None is cold_days(starter())


def test_an_absence_within_the_coldest_weeks_is_the_worst_date() -> None:
    """From 4 to 9 January nobody is there, and the water is kept at 8 degC."""
    away = "schedule.heating.absences=[{from: 2027-01-04, to: 2027-01-09, keep_at: 8 degC}]"
    spell = cold_days(starter("place.record_low=-7 degC", away))
    assert spell is not None
    assert datetime(2027, 1, 4) <= spell.begins <= datetime(2027, 1, 7)


def test_the_worst_hour_by_hand() -> None:
    """Ten days, the sixth the coldest; the third is 0.8 K warmer and kept cooler, the eighth 1.5 K warmer."""
    daily = [9.0, 9.0, 2.8, 9.0, 9.0, 2.0, 9.0, 3.5, 9.0, 9.0]
    kept = [36.0, 36.0, 20.0, 36.0, 36.0, 36.0, 36.0, 8.0, 36.0, 36.0]
    air, water = np.repeat(daily, 24).tolist(), np.repeat(kept, 24).tolist()
    assert 5 * 24 == worst_hour(air, None, 24)
    assert 2 * 24 == worst_hour(air, water, 24)
    assert 0 == worst_hour(air, None, 240)


def test_soil_follows_as_a_half_space_does() -> None:
    """A pulse of the surface, erfc by scipy (Carslaw & Jaeger, from memory): 10 K for 3 days, 0.3 m deep."""
    spell = ColdDays(datetime(2027, 1, 19), 72, 10.0, True)
    found = colder_by(spell, datetime(2027, 1, 19), 20 * 24, 0.3)
    at_s = 3600.0 * (np.arange(1, 20 * 24) + 0.5)

    def step(since_s: np.ndarray) -> np.ndarray:
        late = np.maximum(since_s, 1e-9)
        return np.where(since_s > 0.0, erfc(0.3 / (2.0 * np.sqrt(SOIL_M2_S * late))), 0.0)

    expected = 10.0 * (step(at_s) - step(at_s - 72 * 3600.0))
    mean_k = 10.0 * 72 / (366 * 24)  # what the year's mean is colder: the series repeats
    assert np.abs(found[1:] - expected).max() < 0.05 + mean_k
    assert 4.0 < expected.max() < 6.0, "by the end of the spell, half of it is there"
    assert int(np.argmax(found)) > 72, "and it comes later"


def test_it_comes_back_every_year_unless_it_is_dated() -> None:
    """A run over two Januaries; a dated spell happens once, 29 February on the 28th of other years."""
    first, count = datetime(2027, 1, 1), 731 * 24
    yearly = colder_by(ColdDays(datetime(2027, 1, 19), 24, 5.0, True), first, count)
    assert [18 * 24, (365 + 18) * 24] == np.flatnonzero(np.diff(yearly, prepend=0.0) > 0).tolist()
    dated = colder_by(ColdDays(datetime(2027, 1, 19), 24, 5.0, False), first, count)
    assert 24 == np.count_nonzero(dated)
    leap = colder_by(ColdDays(datetime(2028, 2, 29), 24, 5.0, True), first, count)
    assert [58 * 24, (365 + 58) * 24] == np.flatnonzero(np.diff(leap, prepend=0.0) > 0).tolist()


def test_weather_and_sky_are_as_cold_as_the_zones() -> None:
    """Open water and heat pumps see the same hours."""
    cold, begin = starter("place.record_low=-7 degC"), datetime(2027, 1, 18, tzinfo=UTC)
    found, plain = (weather(scenario, begin, 0, 3 * DAY_S) for scenario in (cold, starter()))
    assert zones(cold, begin, 0, 3 * DAY_S).series["outdoors"] == found.air_c
    assert all(a < b for a, b in zip(found.sky_c[24:48], plain.sky_c[24:48], strict=True))


def test_a_short_weather_file_has_its_coldest_days(tmp_path: object) -> None:
    """Twelve days of a file; the ninth is the coldest that is whole on any clock."""
    from pathlib import Path

    assert isinstance(tmp_path, Path)
    lines = ["time,temperature [degC]"]
    for hour in range(12 * 24):
        at = datetime(2027, 2, 1) + timedelta(hours=hour)
        lines.append(f"{at:%Y-%m-%d %H:%M},{1.0 if hour // 24 == 8 else 5.0}")
    (tmp_path / "town.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    text = starter_text()
    a, b = text.index("  weather: "), text.index("  zones: ")
    text = (
        text[:a] + "  weather: {file: town.csv}\n  cold_spell: {lowest: -9 degC, lasts: 1 day}\n" + text[b:]
    )
    (tmp_path / "tub.yaml").write_text(text.replace("{depth: 600 mm}", "{always: 12 degC}"), encoding="utf-8")
    scenario = load(tmp_path / "tub.yaml")
    assert ColdDays(datetime(2027, 2, 9), 24, 10.0, True) == cold_days(scenario)
    assert pytest.approx([-9.0] * 24) == hours(scenario, date(2027, 2, 9), 1)


def test_a_heater_is_sized_for_it() -> None:
    """The coldest day and week of sizing are those of the spell."""
    dated = "place.cold_spell={lowest: -12 degC, from: 2027-03-03}"
    when = seasons(starter(dated))
    assert date(2027, 3, 3) <= when.coldest_day <= date(2027, 3, 5)
    assert date(2027, 2, 27) <= when.coldest_week <= date(2027, 3, 3)


@pytest.fixture(scope="module")
def frozen() -> ColdSpellMetrics:
    """The starter without frost protection, in five days of January with two at -12 degC."""
    sets = ("place.cold_spell={lowest: -12 degC, lasts: 2 days, from: 2027-01-21}", "schedule.heating=null",
            "place.zones.pump_room={follows: weather}", "schedule.frost_protection=null",
            "schedule.bathing=[]", "schedule.filter_runs=[]", "schedule.line_flushes=[]",
            "interlocks=[]")  # fmt: skip
    run = simulate(starter(*sets), days=5, start=date(2027, 1, 19))
    spell = run.metrics.cold_spell
    assert spell is not None
    assert {f.subject for f in run.findings if f.rule == "frost-in-plant"} >= {"filter", "element"}
    # the tub cools until the run ends, a day after the spell
    assert spell.coldest_c["tub"] == pytest.approx(run.metrics.tub.coldest_c)
    return spell


def test_with_nothing_running_power_makes_no_difference(frozen: ColdSpellMetrics) -> None:
    """Two ways to the same hours: the run's own temperatures, and those of a power cut."""
    assert ("2027-01-21T00:00:00+00:00", 48.0) == (frozen.from_local, frozen.lasts_h)
    assert pytest.approx(-12.0) == frozen.lowest_c
    begins, fails = map(datetime.fromisoformat, (frozen.from_local, frozen.power_fails_at))
    later_h = (fails - begins).total_seconds() / 3600.0
    assert 0.0 < later_h < 48.0
    for part in ("filter", "element"):
        until = frozen.until_zero_h[part]
        assert until is not None
        expected = max(0.0, until - later_h)
        assert pytest.approx(expected, abs=0.02) == frozen.until_zero_without_power_h[part]
        assert frozen.coldest_c[part] < 0.0  # type: ignore[operator]
    assert frozen.until_zero_without_power_h["filter"]
    assert None is frozen.until_zero_h["tub"]
    assert frozen.coldest_c["tub"] > 0.0  # type: ignore[operator]


def test_a_plant_that_runs_outlasts_it_as_long_as_there_is_power() -> None:
    """Frost protection keeps the pump room's parts; without power they would freeze."""
    cold = starter("place.cold_spell={lowest: -15 degC, from: 2027-01-21}")
    run = simulate(cold, days=5, start=date(2027, 1, 20))
    spell = run.metrics.cold_spell
    assert spell is not None
    assert set(spell.until_zero_h.values()) == {None}
    assert spell.until_zero_without_power_h["element"] is not None
    assert not [f for f in run.findings if f.rule == "frost-in-plant"]
    assert None is simulate(cold, days=1, start=date(2027, 1, 25)).metrics.cold_spell


def test_what_the_tub_moves_through_all_the_time_gets_as_cold_as_the_tub() -> None:
    """Away until the spell is nearly over: what circles was at 15 degC, though it ends warm."""
    cold = starter(
        "place.cold_spell={lowest: -15 degC, from: 2027-01-21}",
        "schedule.heating.absences=[{from: 2027-01-14, to: 2027-01-22, keep_at: 15 degC}]",
    )
    spell = simulate(cold, days=5, start=date(2027, 1, 20)).metrics.cold_spell
    assert spell is not None
    tub_c = spell.coldest_c["tub"]
    assert tub_c is not None
    assert 12.0 < tub_c < 16.0
    for part, coldest_c in spell.coldest_c.items():
        assert coldest_c is not None, part
        assert coldest_c <= tub_c + 0.1, part


def test_the_report_has_the_first_to_freeze_first(frozen: ColdSpellMetrics) -> None:
    """What does not freeze is told as that."""
    page = Page()
    made = replace(
        frozen,
        coldest_c={"tub": 20.0, "filter": -3.0, "element": -9.0},
        until_zero_h={"tub": None, "filter": 20.0, "element": 10.0},
        until_zero_without_power_h={"tub": None, "filter": 9.0, "element": 3.0},
    )
    say_cold_spell(page, made)
    text = " ".join(printed(page).split())
    assert "From 21 Jan 2027 00:00 for 2 days, down to -12.0 °C" in text
    assert text.index("element -9.0 10 h 3 h") < text.index("filter -3.0 20 h 9 h")
    assert "tub 20.0 not reached over 10 days" in text
    assert "Judged until 24 h after the spell" in text
    nothing = Page()
    say_cold_spell(nothing, None)
    assert [] == nothing.blocks

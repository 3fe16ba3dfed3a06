"""The engine in winter: people, heat pump and element, plans, absences, power cuts, drawn sessions."""

import hashlib
import os
import subprocess
import sys
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.engine import simulate_trace
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.sessions import sessions

HOUR, DAY = 3600, 86_400
NOBODY = ("schedule.bathing=[]", "schedule.filter_runs=[]", "schedule.air_line_flushes=[]")
PLAIN = (
    *NOBODY,
    "schedule.line_flushes=[]",
    "schedule.outages=[]",
    "schedule.heating.plan=[]",
    "schedule.heating.absences=[]",
    "schedule.frost_protection.starts_below=-30 degC",
)
FLOWING = (
    *PLAIN[:-1],
    "schedule.frost_protection.starts_below=24 degC",
    "schedule.frost_protection.stops_above=25 degC",
)
"""The pump always runs, so that no cold water of the legs comes into the tub when it starts."""
MILD = ("place.weather.mean=15 degC", "place.weather.seasonal_swing=2 K")


def run_of(scenario, days, **kwargs):
    """Plant and trace of *days* days."""
    plant = Assembly(scenario)
    return plant, simulate_trace(plant, Programme(scenario), days=days, **kwargs)


def overlap(spans, other):
    """Seconds that two lists of spans share."""
    return sum(max(0, min(b, d) - max(a, c)) for a, b in spans for c, d in other)


def starts_at(trace):
    """Tub temperature at the start of every piece."""
    return dict(zip(trace.tub.start_s, trace.tub.water_c, strict=True))


def bathed(trace):
    """Spans in which anyone is in the water."""
    return trace.people.spans(*(n for n in trace.people.labels if n != "0"))


@pytest.fixture(scope="module")
def sixty(winter):
    """The whole winter plant over 60 days."""
    return run_of(winter(), 60)


def test_energy_balances(sixty):
    """Heat put in is heat lost and heat still there, to a millionth of a kilowatt-hour in 60 days."""
    plant, trace = sixty
    main = plant.pumps["main"]
    put_in = sum(
        main.heat_to_water * speed.power_w * trace.pumps["main"].seconds(name)
        for name, speed in main.speeds.items()
    )
    put_in += 3000.0 * trace.sources["element"].seconds("firing")
    put_in += sum(rows.heat_j.sum() for rows in trace.exchanges.values())
    lost = trace.tub.cover_loss_j.sum() + trace.tub.shell_loss_j.sum()
    lost += sum(stay.loss_j.sum() for stay in trace.stays.values())
    start, end = trace.heat_content_j
    assert {"heat_pump", "blower", "open water", "bathers"} == set(trace.exchanges)
    assert put_in > 500 * 3.6e6
    assert pytest.approx(put_in, abs=1e-6 * 3.6e6) == lost + end - start


def test_every_stream_tiles_the_span(sixty):
    """Intervals follow each other without gap or overlap; what a law did lies within a piece of the tub."""
    _, trace = sixty
    for _, stream in trace.streams():
        spans = list(stream)
        assert (0, trace.span_s) == (spans[0].start_s, spans[-1].end_s), stream.name
        assert all(a.end_s == b.start_s and a.state != b.state for a, b in pairwise(spans)), stream.name
    for rows in (*trace.ages.values(), *trace.stays.values(), trace.tub):
        assert (0, trace.span_s) == (rows.start_s[0], rows.end_s[-1]), rows.name
        assert np.array_equal(rows.end_s[:-1], rows.start_s[1:]), rows.name
    pieces = set(zip(trace.tub.start_s, trace.tub.end_s, strict=True))
    for rows in trace.exchanges.values():
        assert set(zip(rows.start_s, rows.end_s, strict=True)) <= pieces, rows.name


def test_cover_is_off_exactly_while_people_are_in(sixty):
    """Off from the first who comes to the last who leaves, on otherwise, and water is open just then."""
    _, trace = sixty
    assert len(bathed(trace)) > 20
    assert bathed(trace) == trace.cover.spans("off")
    open_s = (trace.exchanges["open water"].end_s - trace.exchanges["open water"].start_s).sum()
    assert trace.cover.seconds("off") == open_s


def test_a_power_cut_stops_everything_and_the_calendar_goes_on(winter):
    """A run in a cut of 8 h is lost, one that reaches out of it runs for its rest, the next as ever."""
    scenario = winter(
        *PLAIN,
        'schedule.filter_runs=[{pump: main low, start: ["03:00", "09:00", "15:00"], lasts: 4 h}]',
        'schedule.bathing=[{start: "10:00", lasts: 90 min, air: true}]',
        "schedule.outages=[{from: 2027-01-03 02:00, lasts: 9 h}]",
    )
    _, trace = run_of(scenario, 4)
    begin = 2 * DAY
    cut = [(begin + 2 * HOUR, begin + 11 * HOUR)]
    assert cut == trace.power.spans("lost")
    assert 0 == overlap(cut, trace.pumps["main"].spans("low", "high", "changing"))
    assert 0 == overlap(cut, trace.blowers["blower"].spans("on"))
    assert 0 == overlap(cut, [s for source in trace.sources.values() for s in source.spans("firing")])
    day = [(max(a, begin), min(b, begin + DAY)) for a, b in trace.pumps["main"].spans("low")]
    day = [(a - begin, b - begin) for a, b in day if b - a > 3 * HOUR / 2]
    assert [(11 * HOUR, 13 * HOUR), (15 * HOUR, 19 * HOUR)] == day
    assert (begin + 11 * HOUR, begin + 11.5 * HOUR) in trace.blowers["blower"].spans("on")
    assert (begin + 10 * HOUR, begin + 11.5 * HOUR) in trace.cover.spans("off"), "people stay"


def test_a_power_cut_stops_what_fires(winter):
    """Sources stop firing with the power, in the same second, whatever minimum run they have."""
    scenario = winter("schedule.heating.plan=[]", "schedule.outages=[]", "schedule.bathing=[]", *NOBODY[1:])
    _, trace = run_of(scenario, 14)
    at = trace.sources["heat_pump"].spans("firing")[0][0] + 120
    local = trace.local(at - at % 60 + 60)
    cut = f"schedule.outages=[{{from: {local:%Y-%m-%d %H:%M}, lasts: 1 h}}]"
    scenario = winter("schedule.heating.plan=[]", "schedule.bathing=[]", *NOBODY[1:], cut)
    _, trace = run_of(scenario, 14)
    [(start, end)] = trace.power.spans("lost")
    before = [s for s in trace.sources["heat_pump"].spans("firing") if s[0] < start]
    assert start == before[-1][1]
    assert before[-1][1] - before[-1][0] < 300, "less than its minimum run"
    assert 0 == overlap([(start, end)], trace.pumps["main"].spans("low", "high"))
    assert any(a >= end for a, _ in trace.sources["heat_pump"].spans("firing"))


def test_after_bathing_begins_when_the_last_leaves(winter):
    """Two sessions that overlap have one run after them, from the end of the later one."""
    scenario = winter(
        *PLAIN,
        'schedule.bathing=[{start: "10:00", lasts: 50 min}, {start: "10:30", lasts: 1 h}, '
        '{start: "18:00", lasts: 30 min}]',
        "schedule.filter_runs=[{pump: main low, after: bathing, lasts: 2 h, name: after}]",
    )
    _, trace = run_of(scenario, 3)
    due = [(11.5, 13.5), (18.5, 20.5)]
    expected = [(d * DAY + int(a * HOUR), d * DAY + int(b * HOUR)) for d in range(3) for a, b in due]
    assert expected == trace.demands["after"].spans("raised")
    assert sum(b - a for a, b in expected) == overlap(expected, trace.pumps["main"].spans("low"))


def test_buttons_time_out(winter):
    """Pressed twice in 50 min, jets go 20 min from each press and air 10; a longer time-out ends with it."""
    entry = (
        '{{start: "10:00", lasts: 50 min, pump: main high, jets_at_most: {jets} min, presses: 2, '
        "air: true, air_at_most: 10 min, name: one}}"
    )
    for jets, due in ((20, [(0, 20), (25, 45)]), (30, [(0, 50)])):
        scenario = winter(
            *PLAIN,
            *MILD,
            "schedule.heating.keep_at=10 degC",
            f"schedule.bathing=[{entry.format(jets=jets)}]",
        )
        _, trace = run_of(scenario, 1)
        ten = 10 * HOUR
        expected = [(ten + 60 * a, ten + 60 * b) for a, b in due]
        assert expected == trace.demands["one"].spans("raised")
        assert expected == trace.pumps["main"].spans("high")
        air = [(ten, ten + 600), (ten + 1500, ten + 2100)]
        assert air == trace.blowers["blower"].spans("on")


def test_draws_hang_on_seed_entry_and_date_only(winter):
    """The same sessions when the run starts later, goes on a year longer, or the plant is another."""

    def drawn(scenario, origin, days, seed=3):
        found = sessions(scenario, origin, days * DAY, seed)
        return {
            (origin + timedelta(seconds=s.start_s), s.end_s - s.start_s, s.people)
            for s in found
            if s.entry == 1
        }

    first = datetime(2027, 1, 1, tzinfo=UTC)
    year = drawn(winter(), first, 365)
    assert 70 < len(year) < 140, "two a week"
    later = first + timedelta(days=100)
    assert {s for s in year if s[0] >= later + timedelta(hours=2)} == {
        s for s in drawn(winter(), later, 265) if s[0] >= later + timedelta(hours=2)
    }
    longer = drawn(winter(), first, 730)
    assert year == {s for s in longer if s[0] < first + timedelta(days=365)}
    other = winter("plant.tub.water=900 L", "schedule.heating.keep_at=20 degC", "schedule.line_flushes=[]")
    assert year == drawn(other, first, 365)
    assert year != drawn(winter(), first, 365, seed=4)
    twice = winter(
        "schedule.bathing=["
        + ", ".join(
            ["{drawn: {per_week: 2, between: [17:00, 22:00], lasts: [20 min, 60 min], people: [1, 3]}}"] * 2
        )
        + "]"
    )
    by_entry = [
        {(s.start_s, s.people) for s in sessions(twice, first, 365 * DAY, 3) if s.entry == k} for k in (0, 1)
    ]
    assert by_entry[0] != by_entry[1], "each entry has chance of its own"
    assert year == drawn(twice, first, 365), "and the second keeps its own when the first becomes another"


def test_nobody_comes_on_a_day_that_the_calendar_skips(winter):
    """Samoa had no 30 December 2011: as many people come there on the 29th and 31st as in New Zealand."""
    drawn = "{drawn: {per_week: 21, between: [17:00, 22:00], lasts: [20 min, 60 min], people: [1, 3]}}"

    def came_on(name):
        scenario = winter(f"schedule.bathing=[{drawn}]", f"place.time_zone={name}")
        zone = ZoneInfo(name)
        begin, end = (datetime(*at, tzinfo=zone).astimezone(UTC) for at in ((2011, 12, 29), (2012, 1, 1)))
        found = sessions(scenario, begin, round((end - begin).total_seconds()), 3)
        days = [(begin + timedelta(seconds=s.start_s)).astimezone(zone).day for s in found]
        return {day: days.count(day) for day in (29, 30, 31)}

    usual = came_on("Pacific/Auckland")
    assert min(usual.values()) > 0
    assert {**usual, 30: 0} == came_on("Pacific/Apia")


def test_nobody_comes_on_the_days_of_an_absence(winter):
    """Local days from 1 to 14 February have no session; every other session is as without an absence."""
    first = datetime(2027, 1, 1, tzinfo=UTC)
    away = winter(
        "schedule.heating.absences=[{from: 2027-02-01, to: 2027-02-14, keep_at: 15 degC}]",
    )
    at_home = winter("schedule.heating.absences=[]")
    zone = ZoneInfo(away.place.time_zone)

    def missed(session):
        day = (first + timedelta(seconds=session.start_s)).astimezone(zone).date()
        return date(2027, 2, 1) <= day <= date(2027, 2, 14)

    everyone = sessions(at_home, first, 90 * DAY, 3)
    assert any(map(missed, everyone))
    assert [s for s in everyone if not missed(s)] == sessions(away, first, 90 * DAY, 3)


def test_a_run_that_starts_later_sees_the_same_people(winter, sixty):
    """People of the trace come and go at the same instants in a run from 10 January."""
    _, whole = sixty
    _, later = run_of(winter(), 20, start=date(2027, 1, 10))
    begin = 9 * DAY
    assert begin == (later.begin_utc - whole.begin_utc).total_seconds()
    shared = [(a - begin, b - begin) for a, b in bathed(whole) if begin <= a and b <= begin + later.span_s]
    assert len(shared) > 5
    assert shared == bathed(later)


def test_ready_by_in_mild_weather(winter):
    """The water is within 0.3 K of the level when it is due; half a day before a Friday's it was not."""
    scenario = winter(
        *MILD,
        "schedule.outages=[]",
        "schedule.heating.absences=[]",
        'schedule.bathing=[{days: [friday, saturday], start: "20:00", lasts: 50 min, pump: main high}]',
    )
    _, trace = run_of(scenario, 56)
    assert 16 == len(trace.ready), "Fridays and Saturdays of eight weeks"
    for at, water_c, wanted_c in trace.ready:
        assert "19:00" == f"{trace.local(at):%H:%M}"
        assert trace.local(at).weekday() in (4, 5)
        assert 38.0 == wanted_c
        assert pytest.approx(38.0, abs=0.3) == water_c
    at = starts_at(trace)
    fridays = [t for t, _, _ in trace.ready if trace.local(t).weekday() == 4]
    assert all(at[t - 12 * HOUR] < 33.0 for t in fridays)


def test_ready_by_that_cannot_be(winter):
    """Sources that are too weak leave the water too cold, and the trace says how cold."""
    scenario = winter("schedule.heating.with=[element]", "plant.heat_sources.element.output=500 W")
    _, trace = run_of(scenario, 14)
    assert 4 == len(trace.ready)
    at = starts_at(trace)
    assert all(water_c < wanted_c - 0.3 for _, water_c, wanted_c in trace.ready)
    assert all(at[t] == pytest.approx(water_c, abs=1e-3) for t, water_c, _ in trace.ready)


def test_an_absence_lets_the_water_cool(sixty):
    """From 1 to 14 February nothing heats water above 12 degC, and nothing is made ready."""
    _, trace = sixty
    start, end = 31 * DAY, 45 * DAY
    assert "2027-02-01 00:00" == f"{trace.local(start):%Y-%m-%d %H:%M}"
    at = starts_at(trace)
    away = [(start + 600, end)]
    fired = [
        s for n in ("heating by heat_pump", "heating by element") for s in trace.demands[n].spans("raised")
    ]
    assert all(at[max(a, start)] <= 12.0 for a, b in fired if a < end and b > start + 1)
    assert at[end] < 13.0 < at[start]
    assert not [t for t, _, _ in trace.ready if start <= t < end]
    assert [t for t, _, _ in trace.ready if t >= end]
    assert 0 < overlap([(end, end + HOUR)], fired), "heated again from the first second after it"
    assert overlap(away, fired) < 0.2 * (end - start)


def test_the_second_source_joins_lower(winter):
    """The heat pump is called at 29 degC; it is too weak, and at 28.2 the element joins."""
    weak = "plant.heat_sources.heat_pump.rated=[{air: 7 degC, water: 35 degC, output: 300 W, cop: 3}]"
    _, trace = run_of(winter(*FLOWING, weak, "schedule.heating.next_below=0.8 K"), 40)
    at = starts_at(trace)
    called = {
        n: [s for s in trace.demands[f"heating by {n}"].spans("raised") if s[0] > 0]
        for n in ("heat_pump", "element")
    }
    joins = called["element"]
    assert len(joins) > 2
    assert all(28.2 - 0.05 < at[a] <= 28.2 + 1e-5 for a, _ in joins)
    firsts = [a for a, _ in called["heat_pump"]]
    assert firsts
    assert all(at[a] <= 29.0 + 1e-5 for a in firsts)
    stops = {b for _, b in trace.demands["heating by heat_pump"].spans("raised")}
    assert {b for _, b in joins} <= stops | {trace.span_s}, "both stop at 30"
    assert all(30.0 - 1e-5 <= at[b] < 30.01 for _, b in joins if b < trace.span_s)


def test_a_heat_pump_is_passed_over_when_too_cold(winter):
    """In hours below its lowest air it is not called, and the element takes its place at 29 degC."""
    scenario = winter(*FLOWING, "plant.heat_sources.heat_pump.lowest_air=-2 degC")
    _, trace = run_of(scenario, 40)
    air, origin = trace.zones.series["outdoors"], trace.zones.origin_s
    cold = [(t, t + HOUR) for t in range(0, trace.span_s, HOUR) if air[(t - origin) // HOUR] < -2.0]
    called = {n: trace.demands[f"heating by {n}"].spans("raised") for n in ("heat_pump", "element")}
    assert len(cold) > 100
    assert 0 == overlap(cold, called["heat_pump"])
    assert HOUR < overlap(cold, called["element"])
    at = starts_at(trace)
    from_above = [a for a, _ in called["element"] if a % HOUR and at[a] < 29.5]
    assert from_above
    assert all(28.9 < at[a] <= 29.0 + 1e-5 for a in from_above)
    lasts_on = trace.sources["heat_pump"].spans("firing")
    assert overlap(cold, lasts_on) <= 300 * len(lasts_on), "its minimum run may reach into such an hour"


def test_minimum_run_of_a_heat_pump(winter):
    """Far too strong for a band of 0.1 K, it runs five minutes each time, longer than it is called."""
    scenario = winter(
        *FLOWING,
        "schedule.heating.with=[heat_pump]",
        "schedule.heating.within=0.1 K",
        "plant.heat_sources.heat_pump.rated=[{air: 7 degC, water: 35 degC, output: 40 kW, cop: 4}]",
    )
    _, trace = run_of(scenario, 10)
    spans = [s for s in trace.sources["heat_pump"].spans("firing") if 0 < s[0] and s[1] < trace.span_s]
    assert len(spans) > 5
    assert {300} == {b - a for a, b in spans}
    called = [b - a for a, b in trace.demands["heating"].spans("raised")]
    assert min(called) < 200


def test_the_heat_pump_draws_what_its_sheet_says(sixty):
    """Electricity of the winter over its heat lies between the two rated COPs, or a little beside them."""
    _, trace = sixty
    rows = trace.exchanges["heat_pump"]
    assert 2.4 < rows.heat_j.sum() / rows.input_j.sum() < 4.2
    both = overlap(trace.sources["heat_pump"].spans("firing"), trace.pumps["main"].spans("low", "high"))
    assert both == (rows.end_s - rows.start_s).sum(), "it gives heat just while water moves through it"
    power_w = rows.heat_j / (rows.end_s - rows.start_s)
    assert 3500.0 < power_w.min() < power_w.max() <= 6000.0, "nothing above the warmest rating"


SCRIPT = """
import hashlib, sys
from cyclesim.scenario.reading.load import load
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.engine import simulate_trace
from cyclesim.simulation.programme import Programme
scenario = load(sys.argv[1])
trace = simulate_trace(Assembly(scenario), Programme(scenario), days=25, seed=5)
digest = hashlib.sha256()
for kind, stream in trace.streams():
    digest.update(repr((kind, stream.name, list(stream))).encode())
for rows in (*trace.ages.values(), *trace.stays.values(), *trace.exchanges.values(), trace.tub):
    digest.update(rows.name.encode())
    for field in rows.record._fields:
        digest.update(getattr(rows, field).tobytes())
digest.update(repr(trace.ready).encode())
print(digest.hexdigest())
"""


def test_same_bytes_whatever_the_hash_seed(winter_text, tmp_path):
    """Two processes with different hash seeds leave the same trace of the winter plant to the last bit."""
    file = tmp_path / "winter.yaml"
    file.write_text(winter_text, encoding="utf-8")
    digests = {
        subprocess.run(
            [sys.executable, "-c", SCRIPT, str(file)],
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("1", "2027")
    }
    assert 1 == len(digests)
    assert hashlib.sha256().digest_size * 2 == len(digests.pop().strip())


def test_a_tub_without_a_cover_evaporates_from_the_first_second(loop, run):
    """`cover: none`: the whole loss upward is that of open water; it takes several times a cover's."""
    schedule = """
schedule:
  heating: {with: [element], pump: main low, keep_at: 30 degC, within: 1 K}
"""
    _, covered = run(loop(schedule=schedule), 10)
    _, bare = run(loop("plant.tub.cover=none", schedule=schedule), 10)
    assert 0.0 == bare.tub.cover_loss_j.sum() == covered.cover.seconds("off")
    assert bare.span_s == bare.cover.seconds("off")
    assert -bare.exchanges["open water"].heat_j.sum() > 5 * covered.tub.cover_loss_j.sum()
    assert "open water" not in covered.exchanges

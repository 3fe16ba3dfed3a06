"""Water care: spells of old water against sampled ages; disinfectant, refills and filter by hand."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from cyclesim.analysis.ages import AgeRows
from cyclesim.analysis.care_rules import refill_overdue, residual_lost
from cyclesim.analysis.disinfectant import bathers_per_day, older_than
from cyclesim.analysis.history import History
from cyclesim.analysis.result import measure, simulate
from cyclesim.analysis.spans import covers, total_s
from cyclesim.physics.age_book import Emitted, Floats
from cyclesim.physics.circuit_age import WaterAge
from cyclesim.physics.water_age import Plug
from cyclesim.said.answer import answer
from cyclesim.said.run import run_page
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.shown.terminal import printed

Run = Callable[..., History]
H = 3600.0


def care(*lines: str) -> tuple[str, str]:
    """A change that adds water care to the plant of these tests."""
    return "interlocks:\n", f"water_care: {{{', '.join(lines)}}}\ninterlocks:\n"


# half-lives of 3 and 6 h; two of them from 4 down to 1 mg/L: below from 6 h and from 12 h on
FADES = "disinfectant: {residual: 4 mg/L, half_life: [3 h, 6 h], at_least: 1 mg/L}"


def rows_of(*rows: tuple[float, float, float, float, float]) -> AgeRows:
    """Rows (start, end, flow, oldest peak, integral of the oldest)."""
    columns = np.array(rows, dtype=float).T
    return AgeRows(*columns[:5], columns[4], 0.0 * columns[0])


def stay(start: float, end: float, first: float) -> tuple[float, float, float, float, float]:
    """Standing water that is *first* old at the start."""
    lasts = end - start
    return start, end, 0.0, first + lasts, (first + 0.5 * lasts) * lasts


def stand(history: History, name: str, *rows: tuple[float, float, float, float]) -> None:
    """Rows (start h, end h, flow m3/s, oldest at the end h) of one element; a flow leaves it new in 1 s."""
    for start, end, flow, oldest in rows:
        t0, t1, peak = start * H, end * H, oldest * H
        integral = peak if flow else (peak - 0.5 * (t1 - t0)) * (t1 - t0)
        history.trace.ages[name].put(Emitted(0, t0, t1, flow, peak, integral, integral, 0.0))


# -- spells ------------------------------------------------------------------------------------------------


def test_standing_water_is_older_from_the_second_on_that_it_gets_there() -> None:
    """From 20 s old at 100: 50 s old at 130, to the second; never where it stays younger."""
    rows = rows_of(stay(100, 200, 20))
    assert [[130.0, 200.0]] == older_than(rows, 50.0).spells.tolist()
    assert [120.0] == older_than(rows, 50.0).peak_s.tolist()
    assert 0 == len(older_than(rows, 120.0).spells), "as old is not older"
    assert [[100.0, 200.0]] == older_than(rows, 10.0).spells.tolist()


def test_a_flow_ends_the_spell_of_the_water_that_it_replaces() -> None:
    """100 s old water leaves in 10 s of a flow of 60 s (1050 s2), 1 s old water follows (50 s2)."""
    rows = rows_of(stay(0, 100, 0), (100, 160, 1e-3, 110, 1050 + 50), stay(160, 200, 1))
    ((begin, end),) = older_than(rows, 50.0).spells.tolist()
    assert 50.0 == begin
    assert 110.0 <= end <= 100.0 + 1100.0 / 50.0


def test_old_water_that_a_flow_brings_joins_the_stay_after_it() -> None:
    """New water, then 80 s old water that the flow leaves there: one spell up to when it stands."""
    rows = rows_of((0, 60, 1e-3, 80, 800), stay(60, 100, 80))
    assert [[44.0, 100.0]] == older_than(rows, 50.0).spells.tolist()


def test_a_flow_between_two_stays_of_old_water_parts_them_only_if_it_brings_new() -> None:
    """All of it old: one spell. Half of it new by its integral: two."""
    before, behind = stay(0, 100, 0), stay(160, 200, 90)
    assert 1 == len(older_than(rows_of(before, (100, 160, 1e-3, 110, 6000), behind), 50.0).spells)
    parted = older_than(rows_of(before, (100, 160, 1e-3, 110, 1500), behind), 50.0)
    assert [[50.0, 115.0], [145.0, 200.0]] == parted.spells.tolist()
    assert [110.0, 130.0] == parted.peak_s.tolist()


PLUGS = (
    Plug("suction", "tub", "A", 4e-3),
    Plug("left", "A", "tub", 6e-3),
    Plug("right", "A", "tub", 9e-3),
)
STILL, FLOWS = (0.0, 0.0, 0.0), ((6e-4, 3e-4, 3e-4), (5e-4, 5e-4, 0.0), (4e-4, 0.0, 4e-4))
STEP_S = 0.5


@settings(max_examples=30, deadline=None)
@given(
    st.lists(st.tuples(st.integers(5, 60), st.integers(0, 2), st.integers(2, 40)), min_size=1, max_size=4),
    st.integers(8, 90),
)
def test_spells_are_those_of_the_age_looked_at_every_half_second(
    told: list[tuple[int, int, int]], whole_s: int
) -> None:
    """Random stays and flows through three pipes: up-crossings and stays exactly, flows at most."""
    age_s = whole_s + 0.0917  # no pipe's water is just as old while it flows: a tie is nobody's crossing
    emitted: list[Emitted] = []

    def put(_: int, rows: Floats) -> None:
        emitted.extend(Emitted(*row) for row in rows)

    run, looked = (WaterAge(PLUGS, (0, 1, 2), 1e9, 0.0, to) for to in (put, lambda *_: None))
    patterns = [[one.pattern(flows) for flows in (STILL, *FLOWS)] for one in (run, looked)]
    at, ages = 0, list[list[float]]()
    for stands, which, flows_for in told:
        for lasts, k in ((stands, 0), (flows_for, 1 + which)):
            for one, known in zip((run, looked), patterns, strict=True):
                one.change(at, known[k])
            for i in range(round(lasts / STEP_S)):
                t = at + (i + 0.5) * STEP_S
                ages.append([t, *(looked.ages(plug, t)[0] for plug in range(3))])
            at += lasts
    run.close(at)
    table = np.array(ages)
    for plug in range(3):
        mine = [e for e in emitted if e.plug == plug]
        rows = AgeRows(*(np.array([getattr(e, field) for e in mine]) for field in AgeRows._fields))
        found, old = older_than(rows, age_s), table[:, 1 + plug] > age_s
        clear = np.abs(table[:, 1 + plug] - age_s) > 1e-6
        seen = covers(found.spells, table[:, 0])
        for start, end, flow in zip(rows.start_s, rows.end_s, rows.flow_m3_s, strict=True):
            inside = (table[:, 0] > start) & (table[:, 0] < end)
            if flow == 0.0:
                assert (old == seen)[inside & clear].all(), "standing: to the half second"
                continue
            assert STEP_S * np.sum(old[inside]) <= STEP_S * (np.sum(seen[inside]) + 2), "at most"
            assert np.any(seen[inside]) or not np.any(old[inside & clear])
            turns = np.diff(np.concatenate(([0], old[inside].astype(int), [0])))
            assume(np.sum(turns > 0) <= 1)
        assume(np.all(np.diff(found.spells.ravel()) > 2 * STEP_S))  # shorter ones pass between two looks
        assert np.sum(np.diff(np.concatenate(([0], old.astype(int)))) > 0) == len(found.spells)


# -- disinfectant ------------------------------------------------------------------------------------------


def test_what_is_left_in_a_leg_that_stands_for_ten_hours(run: Run) -> None:
    """4 mg/L, 10 h: 4 x 2^(-10/3) = 0.397 and 4 x 2^(-10/6) = 1.260 mg/L; below 1 for 4 h at fast decay."""
    history = run(care(FADES))
    stand(history, "suction", (0, 10, 0.0, 10), (10, 11, 1e-3, 10), (11, 15, 0.0, 4), (15, 24, 1e-3, 4))
    told = measure(history).water_care
    assert told is not None
    assert told.disinfectant is not None
    assert (6.0, 12.0) == (told.disinfectant.until_below_fast_h, told.disinfectant.until_below_slow_h)
    leg = told.disinfectant.legs["suction"]
    assert pytest.approx(0.397, abs=5e-4) == leg.least_fast_mg_l
    assert pytest.approx(1.260, abs=5e-4) == leg.least_slow_mg_l
    assert (1, 0, 0.0) == (leg.times_below_fast, leg.times_below_slow, leg.below_slow_h)
    assert pytest.approx(4.0, abs=1e-3) == leg.below_fast_h
    assert (None, None) == (told.refill, told.filter)
    assert [] == list(residual_lost(history))


def test_water_that_never_moved_has_no_residual_to_tell(run: Run) -> None:
    """Its age is unknown, and so is what is left."""
    history = run(care(FADES))
    stand(history, "suction", (0, 24, 0.0, 48))
    told = measure(history).water_care
    assert told is not None
    assert told.disinfectant is not None
    assert (None, None) == (
        told.disinfectant.legs["suction"].least_slow_mg_l,
        told.disinfectant.legs["suction"].times_below_slow,
    )


def test_a_residual_lost_at_slow_decay_is_a_finding(run: Run) -> None:
    """18 h: 4 x 2^(-3) = 0.5 mg/L, below from 12 h on for 6 h; a leg speaks for its last jet."""
    history = run(care(FADES))
    for name in ("bench", "bench, last jet"):
        stand(history, name, (0, 18, 0.0, 18), (18, 24, 1e-3, 18))
    (breach,) = residual_lost(history)
    assert ("bench", 12.0 * H, "0.50 of at least 1 mg/L") == (breach.subject, breach.at_s, breach.text)
    assert pytest.approx(0.5) == breach.worst
    assert pytest.approx(6.0 * H, abs=2.0) == breach.lasts_s
    assert "lasts 12 h" in breach.cause
    assert "line flush" in breach.mend


def test_water_that_comes_in_old_calls_for_a_longer_flush(run: Run) -> None:
    """No stay is longer than 12 h, and yet the water is 15 h old."""
    history = run(care(FADES))
    stand(history, "bench", (0, 9, 0.0, 15), (9, 10, 1e-3, 15), (10, 19, 0.0, 9), (19, 24, 1e-3, 9))
    (breach,) = residual_lost(history)
    assert "longer flushes" in breach.mend


def test_without_the_block_nothing_is_judged_or_told(run: Run) -> None:
    """Old water is another rule's business."""
    history = run()
    stand(history, "bench", (0, 24, 0.0, 24))
    assert ([], []) == (list(residual_lost(history)), list(refill_overdue(history)))
    assert measure(history).water_care is None


# -- refills -----------------------------------------------------------------------------------------------

# two people at 10:00, a third from 10:20 to 10:40, two under a closed cover at 15:00; 2 days: 1.5 a day
PEOPLE = ((36_000, "2"), (37_200, "3"), (38_400, "2"), (39_600, "0"), (54_000, "2"), (57_600, "0"))
COVER = ((0, "on"), (36_000, "off"), (39_600, "on"))


def test_bathers_are_counted_as_they_step_in(run: Run) -> None:
    """Who leaves is no new bather; nobody bathes under a cover; who was there before is not counted."""
    assert 1.5 == bathers_per_day(run(hours=48.0, people=PEOPLE, cover=COVER).trace)
    assert 0.0 == bathers_per_day(run(people=((0, "2"), (3600, "0"))).trace)
    assert 0.0 == bathers_per_day(run().trace)


def test_refills_are_set_beside_what_the_bathers_suggest(run: Run) -> None:
    """1500 L are 396.26 US gal; / 3 / 1.5 a day: 88.06 days. 61 days from 1 January to 3 March."""
    lines = ("refill_every: 40 days", "last_refill: 2027-01-01")
    told = measure(run(care(*lines), hours=48.0, people=PEOPLE, cover=COVER)).water_care
    assert told is not None
    assert told.refill is not None
    assert pytest.approx(88.06, abs=0.01) == told.refill.suggested_refill_days
    assert 61 - 40 == told.refill.since_refill_days, "kept up every 40 days"
    told = measure(run(care(lines[1]), hours=48.0)).water_care
    assert told is not None
    assert told.refill is not None
    assert (61.0, None) == (told.refill.since_refill_days, told.refill.suggested_refill_days)


@pytest.mark.parametrize(
    ("line", "text"),
    [
        ("refill_every: 88 days", None),
        ("refill_every: 89 days", "89 of at most 88 days"),
        ("last_refill: 2026-12-05", None),  # 88 days before 3 March
        ("last_refill: 2026-12-01", "92 of at most 88 days"),
        ("last_refill: 2027-12-01", None),  # after the span
        ("clean_filter_every: 14 days", None),
    ],
)
def test_a_refill_is_overdue_after_what_the_bathers_suggest(run: Run, line: str, text: str | None) -> None:
    """By the interval, else by the days since the last."""
    breaches = list(refill_overdue(run(care(line), hours=48.0, people=PEOPLE, cover=COVER)))
    assert [text] * (text is not None) == [breach.text for breach in breaches]
    assert all(breach.mend == "refill_every: 88 days" for breach in breaches)


def test_a_tub_that_nobody_uses_is_not_overdue(run: Run) -> None:
    """Nothing suggests how often."""
    assert [] == list(refill_overdue(run(care("refill_every: 900 days"))))


@pytest.mark.parametrize(
    ("lines", "count"),
    [
        (("refill_every: 20 days",), 3),  # 21 March, 10 and 30 April
        (("refill_every: 20 days", "last_refill: 2027-01-05"), 3),  # 6 and 26 March, 15 April
        (("refill_every: 20 days", "last_refill: 2027-04-25"), 1),
        (("last_refill: 2027-03-05",), 1),
        (("last_refill: 2027-03-01",), 0),  # the tub is full as the span begins
        (("last_refill: 2027-05-02",), 0),
        (("refill_every: 400 days", "last_refill: 2026-12-01"), 0),
    ],
)
def test_refills_are_counted_by_their_dates(run: Run, lines: tuple[str, ...], count: int) -> None:
    """61 days from 1 March, the dates counted on a calendar."""
    told = measure(run(care(*lines), hours=61 * 24.0)).water_care
    assert told is not None
    assert told.refill is not None
    assert count == told.refill.refills


def test_a_refill_is_warmed_at_what_heat_costs(scenario: Callable[..., Scenario]) -> None:
    """1.5 m3 from 12 degC, the year's mean air, at 993.7 kg/m3 and 4178 J/(kg K) (steam tables, from memory).

    An element gives a kilowatt-hour of heat for one of electricity, at 0.20 EUR.
    """
    result = simulate(scenario(care("refill_every: 2 days")), days=4)
    told, mean_c = result.metrics.water_care, result.metrics.tub.mean_c
    assert told is not None
    assert told.refill is not None
    assert mean_c is not None
    assert 1 == told.refill.refills
    kwh = 1.5 * 993.7 * 4178.0 * (mean_c - 12.0) / 3.6e6
    assert pytest.approx(kwh, rel=0.003) == told.refill.refills_heat_kwh
    assert pytest.approx(0.20 * kwh, rel=0.003) == told.refill.refills_heat_cost
    said = " ".join(printed(run_page(result)).split())
    assert f"Not in it: warming 1 refill, about {kwh:.1f} kWh of heat or {0.2 * kwh:.1f} EUR" in said


def test_what_keeps_a_room_warm_is_told_to_be_outside_the_bill(scenario: Callable[..., Scenario]) -> None:
    """At 0 degC the room, 2 K warmer by itself, is kept at 3 degC all 48 h; the house has its own bill.

    A room that never gets so cold asks for nothing, and a heater of the pump room is metered.
    """
    steady = ("mean: 12 degC, seasonal_swing: 8 K, daily_swing: 4 K",
              "mean: 0 degC, seasonal_swing: 0 K, daily_swing: 0 K")  # fmt: skip
    kept, room = "what keeps room at 3.0 °C, needed for 2 days", "{follows: weather, above_by: 2 K"
    metered = (
        "distance: 6 m",
        "distance: 6 m, heater: {zone: room, power: 500 W, starts_below: 3 degC, stops_above: 5 degC}",
    )
    for changes, told in (
        ([steady, (room, f"{room}, never_below: 3 degC")], f". Not in it: {kept}"),
        ([steady, (room, f"{room}, never_below: 3 degC, kept_by: house")], ""),
        ([steady, (room, f"{room}, never_below: 1 degC")], ""),
        ([steady, (room, f"{room}, loses: 20 W/K, stores: 200 kJ/K"), metered], ""),
    ):
        assert answer(simulate(scenario(*changes), days=2)).money.partition("kWh of electricity")[2] == told


# -- the filter --------------------------------------------------------------------------------------------


def test_filter_flow_between_two_cleanings(run: Run) -> None:
    """Six hours of low in a day: 84 h in 14 days, at the flow of the duty."""
    history = run(care("clean_filter_every: 14 days"), pumps={"main": ((0, "low"), (21_600, "stopped"))})
    told = measure(history).water_care
    assert told is not None
    assert told.filter is not None
    flow_m3_s = history.plant.duty(("low",)).flow_m3_s("filter")
    assert pytest.approx(84.0) == told.filter.flow_between_cleans_h
    assert pytest.approx(84.0 * H * flow_m3_s) == told.filter.passed_between_cleans_m3


# -- whole runs --------------------------------------------------------------------------------------------


def test_one_run_judges_and_tells_it_all(scenario: Callable[..., Scenario]) -> None:
    """What halves in 2 h at the slowest is below a third after 3.2 h; lines stand for longer than that."""
    fades = "disinfectant: {residual: 3 mg/L, half_life: [1 h, 2 h], at_least: 1 mg/L}"
    built = scenario(
        care(fades, "refill_every: 90 days", "last_refill: 2027-01-01", "clean_filter_every: 14 days"),
    )
    result = simulate(built, days=4)
    assert {"residual-lost"} == {finding.rule for finding in result.findings}
    told = result.metrics.water_care
    assert told is not None
    assert told.disinfectant is not None
    leg, metrics = told.disinfectant.legs["bench"], result.metrics.legs["bench"]
    assert metrics.oldest_water_h is not None
    assert pytest.approx(3.0 * 2.0 ** (-metrics.oldest_water_h / 2.0)) == leg.least_slow_mg_l
    (finding,) = (f for f in result.findings if f.subject == "bench")
    assert leg.times_below_slow == finding.times
    assert leg.below_slow_h == finding.total_h


def test_at_the_rules_own_limit_the_spells_are_as_long_as_the_trace_counts(
    scenario: Callable[..., Scenario],
) -> None:
    """The run itself counts the time above limits.water_age exactly; spells are longer by seconds at most."""
    history_limit = ("interlocks:\n", "limits: {water_age: 5 h}\ninterlocks:\n")
    result = simulate(scenario(history_limit), days=5)
    some = 0.0
    for name in result.trace.ages:
        rows = AgeRows(*(getattr(result.trace.ages[name], field) for field in AgeRows._fields))
        counted, found_s = float(np.sum(rows.above_limit_s)), total_s(older_than(rows, 5 * H).spells)
        assert counted - 1e-6 <= found_s <= counted + 60.0 * np.count_nonzero(rows.flow_m3_s)
        some += counted
    assert some > 0.0

"""Rules of a whole run: each with a history that breaks it and one that does not."""

from collections.abc import Callable
from datetime import date

import pytest

from cyclesim.analysis.findings import Breach, NotJudged
from cyclesim.analysis.history import History
from cyclesim.analysis.programme_mends import ranked_before
from cyclesim.analysis.result import simulate
from cyclesim.analysis.rules import RULES, judge
from cyclesim.physics.age_book import Emitted
from cyclesim.physics.stays import Stay
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.starter import starter_text

Run = Callable[..., History]
H = 3600.0


def told(history: History, rule_id: str) -> list[Breach]:
    """What breaks one rule, all of which could be judged."""
    rule = RULES[rule_id]
    found = list(judge(rule, history))
    assert all(isinstance(b, Breach) for b in found)
    return [b for b in found if isinstance(b, Breach)]


def put(history: History, name: str, *rows: tuple[float, float, float, float, float]) -> None:
    """Rows (start h, end h, flow m3/s, oldest peak h, hours above the limit)."""
    for start, end, flow, peak, above in rows:
        history.trace.ages[name].put(Emitted(0, start * H, end * H, flow, peak * H, 0.0, 0.0, above * H))


# -- stale water, warm stagnation


def test_stale_water_of_a_leg_that_stands_too_long(run: Run) -> None:
    """30 h without flow: above 24 h for the last 6 h, and 36 s into the flush that ends it: one spell."""
    history = run(hours=48)
    put(history, "bench", (0, 30, 0.0, 30, 6), (30, 30.1, 1e-3, 30, 0.01), (30.1, 48, 0.0, 18, 0))
    (breach,) = told(history, "stale-water")
    assert ("bench", 24 * H, pytest.approx(6.01 * H)) == (breach.subject, breach.at_s, breach.lasts_s)
    assert (30.0, "30 h old") == (breach.worst, breach.text)
    assert "line flush" in breach.cause
    assert "nothing does" in breach.cause


def test_water_within_the_limit_is_not_stale(run: Run) -> None:
    """24 h exactly are allowed."""
    history = run(hours=48)
    put(history, "bench", (0, 24, 0.0, 24, 0), (24, 24.1, 1e-3, 24, 0), (24.1, 48, 0.0, 23.9, 0))
    assert [] == told(history, "stale-water")


@pytest.mark.parametrize(
    ("lasts", "mend"), [("2 s", "have line flush last at least"), ("40 s", "line flush move it")]
)
def test_stale_water_of_a_leg_that_moves_too_little(run: Run, lasts: str, mend: str) -> None:
    """Flushes of 1 L every 12 h through 20 L: a longer run mends it, unless the file has it long enough.

    The pump's most, 600 L/min, changes 20 L twice in 4 s: 2 s are too short; for 40 s, 60 L/min are enough.
    """
    history = run(("lasts: 40 s", f"lasts: {lasts}"), hours=48)
    rows = []
    for k in range(4):
        rows += [(12 * k, 12 * k + 11.99, 0.0, 40, 11.99), (12 * k + 11.99, 12 * k + 12, 1e-3 / 36, 40, 0.01)]
    put(history, "bench", *rows)
    (breach,) = told(history, "stale-water")
    assert "moves less than its volume" in breach.cause
    assert mend in breach.mend


def test_a_last_jet_is_judged_by_itself(run: Run) -> None:
    """Its leg is fresh, the last stretch is not."""
    history = run(hours=48)
    put(history, "bench", (0, 24, 1e-3, 0.1, 0), (24, 48, 1e-3, 0.1, 0))
    put(history, "bench, last jet", (0, 48, 0.0, 48, 24))
    assert ["bench, last jet"] == [b.subject for b in told(history, "stale-water")]


def test_a_leg_speaks_for_a_last_jet_that_is_stale_for_the_same_cause(run: Run) -> None:
    """Leg and last stretch stand for the same 40 h: one subject."""
    history = run(hours=48)
    put(history, "bench", (0, 40, 0.0, 40, 16), (40, 48, 1e-3, 40, 0.1))
    put(history, "bench, last jet", (0, 40, 0.0, 40, 16), (40, 48, 1e-3, 40, 0.1))
    assert ["bench"] == [b.subject for b in told(history, "stale-water")]


AUTUMN = date(2027, 10, 30)  # the clocks go back in the night to the 31st


def daily(history: History, *starts_h: float) -> None:
    """The bench flushed for 36 s at these hours; it was fresh when the span began."""
    fresh = 0.0
    for start in (*starts_h, history.trace.span_s / H):
        stood = start - fresh
        put(history, "bench", (fresh, start, 0.0, stood, max(0.0, stood - 24)))
        if start < history.trace.span_s / H:
            put(history, "bench", (start, start + 0.01, 1e-3, stood, 0.01 if stood > 24 else 0.0))
        fresh = start + 0.01


def test_the_longer_night_is_named_and_not_the_flush_that_comes_daily(run: Run) -> None:
    """A flush at 07:30 by the clock, 25 h after the last: the mend is a second one, or an hour more."""
    history = run(hours=73, first_day=AUTUMN)
    daily(history, 7.5, 32.5, 56.5)
    (breach,) = told(history, "stale-water")
    assert "the night of the clock change is an hour longer" == breach.cause
    assert "add a second flush a day, or accept water_age: 25 h" == breach.mend


def test_a_longer_night_is_no_excuse_for_more_than_its_hour(run: Run) -> None:
    """26 h between two flushes over the same night, and 25 h in a night like others."""
    late = run(hours=73, first_day=AUTUMN)
    daily(late, 7.5, 33.6, 56.5)
    usual = run(hours=72, first_day=date(2027, 3, 1))
    daily(usual, 7.5, 32.5, 56.5)
    for history in (late, usual):
        (breach,) = told(history, "stale-water")
        assert "clock change" not in breach.cause


def test_a_flush_that_is_asked_for_daily_and_does_not_run_is_not_asked_for_again(run: Run) -> None:
    """The flush is raised every 12 h, the bench stands for 30 h: something keeps it off."""
    raised = {"line flush": [x for k in range(4) for x in ((k * 43_200, "raised"), (k * 43_200 + 40, ""))]}
    history = run(hours=48, demands=raised)
    put(history, "bench", (0, 30, 0.0, 30, 6), (30, 48, 1e-3, 30, 0.01))
    (breach,) = told(history, "stale-water")
    assert "see what keeps line flush off: it is asked for often enough" == breach.mend
    never = run(hours=48)
    put(never, "bench", (0, 30, 0.0, 30, 6), (30, 48, 1e-3, 30, 0.01))
    (breach,) = told(never, "stale-water")
    assert "have line flush move it at least every 24 h" == breach.mend


def test_warm_stagnation_over_the_longer_night(run: Run) -> None:
    """25 h warm and still over the clock change; in March the same 25 h have the usual cause."""
    history = run(hours=49, first_day=AUTUMN, zone_c=30.0)
    warm(history, "bench", 30.0, (7.5, 32.5))
    (breach,) = told(history, "warm-stagnation")
    assert "the night of the clock change is an hour longer" == breach.cause
    assert "add a second flush a day, or accept warm_stagnation: 25 h" == breach.mend
    usual = run(hours=48, zone_c=30.0)
    warm(usual, "bench", 30.0, (7.5, 32.5))
    assert "clock change" not in told(usual, "warm-stagnation")[0].cause


def warm(history: History, name: str, temp_c: float, *stands: tuple[float, float]) -> None:
    """A body that is as warm as its zone throughout, and stands in these hours."""
    end = history.trace.span_s
    history.trace.stays[name].put(Stay(0, 0, end, False, temp_c, temp_c, 0.0, temp_c, temp_c))
    at = 0.0
    for start, stop in stands:
        put(history, name, (at, start, 1e-3, 0, 0), (start, stop, 0.0, stop - start, 0))
        at = stop


def test_warm_stagnation(run: Run) -> None:
    """30 h still at 30 degC, inside 20 to 45 degC, are more than 24 h; at 15 degC they are none of it."""
    history = run(hours=48, zone_c=30.0)
    warm(history, "bench", 30.0, (1, 31), (32, 48))
    (breach,) = told(history, "warm-stagnation")
    assert ("bench", 1 * H, 30 * H, 30.0) == (breach.subject, breach.at_s, breach.lasts_s, breach.worst)
    cold = run(hours=48, zone_c=15.0)
    warm(cold, "bench", 15.0, (1, 31), (32, 48))
    assert [] == told(cold, "warm-stagnation")


def test_a_leg_speaks_for_its_last_jet(run: Run) -> None:
    """One finding, not two, where both stand for the same time."""
    history = run(hours=48, zone_c=30.0)
    warm(history, "bench", 30.0, (1, 31), (32, 48))
    put(
        history,
        "bench, last jet",
        (0, 1, 1e-3, 0, 0),
        (1, 31, 0.0, 30, 0),
        (31, 32, 1e-3, 0, 0),
        (32, 48, 0, 16, 0),
    )
    assert ["bench"] == [b.subject for b in told(history, "warm-stagnation")]


# -- turnovers


def test_too_few_turnovers_on_a_day_and_the_hours_that_would_do(run: Run) -> None:
    """Two days, the second with 10 min of filtering: limit x volume / flow hours are due."""
    history = run(
        hours=48, pumps={"main": [(0, "low"), (86_400, "stopped"), (90_000, "low"), (90_600, "stopped")]}
    )
    (breach,) = told(history, "too-few-turnovers")
    flow = history.plant.duty(("low",)).filtered_m3_s
    assert (86_400.0, pytest.approx(flow * 600 / 1.5)) == (breach.at_s, breach.worst)
    due_h = float(breach.mend.split("at least ")[1].split(" h")[0])
    assert 0.0 <= due_h - 2.0 * 1.5 / flow / 3600.0 < 0.1


@pytest.mark.parametrize("runs", range(1, 40))
def test_just_as_many_turnovers_as_asked_for_are_enough(run: Run, runs: int) -> None:
    """So many runs of 500 s pass flow x time; that asked for is kept, a millionth more is not."""
    steps = [step for k in range(runs) for step in ((1000 * k, "low"), (1000 * k + 500, "stopped"))]
    flow = run(hours=24).plant.duty(("low",)).filtered_m3_s
    for share, broken in ((1.0, 0), (1.000001, 1)):
        history = run(hours=24, pumps={"main": steps})
        scenario = history.plant.scenario
        limits = scenario.limits.model_copy(update={"turnovers_per_day": flow * 500 * runs / 1.5 * share})
        history.plant.scenario = scenario.model_copy(update={"limits": limits})
        assert broken == len(told(history, "too-few-turnovers"))


def test_a_part_of_a_day_is_not_judged_for_turnovers(run: Run) -> None:
    """A run of 12 h has no whole calendar day."""
    rule = RULES["too-few-turnovers"]
    assert [NotJudged("the run has no whole calendar day")] == list(judge(rule, run(hours=12)))


def test_a_plant_without_a_filter_has_no_turnovers(run: Run) -> None:
    """Without equipment of kind filter nobody can say how often it turns over."""
    rule = RULES["too-few-turnovers"]
    history = run(("kind: filter, drop", "kind: other, drop"))
    assert [NotJudged("the plant has no filter")] == list(judge(rule, history))


# -- run-on

NO_KEEP = ("  - {keep: main low, after: element, lasting: 60 s}\n", "")


def heated(stops_at: int, *more: tuple[int, str]) -> dict[str, object]:
    """The element fires from 200 to 1000 s, the pump stops at a time."""
    return {
        "pumps": {"main": [(100, "low"), (stops_at, "stopped"), *more]},
        "sources": {"element": [(200, "firing"), (1000, "off")]},
    }


def test_no_run_on(run: Run) -> None:
    """The pump stops with the element: water runs for its coasting of 1 s, of 30 s."""
    (breach,) = told(run(NO_KEEP, **heated(1000)), "no-run-on")
    assert ("element", 1000.0, 1.0) == (breach.subject, breach.at_s, breach.worst)
    assert "nothing keeps a pump running after it" == breach.cause
    assert "{keep: main low, after: element, lasting: 30 s}" in breach.mend


def test_a_run_on_of_the_limit_is_enough(run: Run) -> None:
    """29 s of pump and 1 s of coasting make the 30 s of the limit; one second less does not."""
    assert [] == told(run(**heated(1029)), "no-run-on")
    assert 1 == len(told(run(**heated(1028)), "no-run-on"))


def test_a_short_keep_is_named_as_the_cause(run: Run) -> None:
    """A keep of 10 s is there, and too short."""
    (breach,) = told(run(("lasting: 60 s", "lasting: 10 s"), **heated(1010)), "no-run-on")
    assert "its run-on is 10 s" == breach.cause
    assert "keep it for longer: {keep: main low, after: element, lasting: 30 s}" == breach.mend


def test_who_keeps_for_a_minute_is_not_told_to_keep_for_30_s(run: Run) -> None:
    """Kept for 60 s, stopped after 10: something else stops the pump."""
    (breach,) = told(run(**heated(1010)), "no-run-on")
    assert "the pump stops though it is kept" == breach.cause
    assert "see what stops main: its hand switch, low water, or its breaker" == breach.mend


def test_a_change_of_speed_does_not_end_the_run_on(run: Run) -> None:
    """Two seconds of changeover are within the grace of 5 s: the water runs on."""
    history = run(
        pumps={"main": [(100, "low"), (1000, "changing"), (1002, "high"), (1100, "stopped")]},
        sources={"element": [(200, "firing"), (1000, "off")]},
    )
    assert [] == told(history, "no-run-on")


def test_heat_at_the_end_of_the_span_is_not_judged(run: Run) -> None:
    """Nobody knows what comes after."""
    history = run(pumps={"main": [(100, "low")]}, sources={"element": [(200, "firing"), (86_390, "off")]})
    assert [] == told(history, "no-run-on")


# -- starts


def test_short_cycling_names_who_starts_whom(run: Run) -> None:
    """40 s of 75 s of rest between a filter run and a flush; the next pause is long enough."""
    history = run(
        pumps={"main": [(100, "low"), (1000, "stopped"), (1040, "high"), (1080, "stopped"), (1155, "low")]},
        deciding={
            "main": [(100, "filter run"), (1000, ""), (1040, "line flush"), (1080, ""), (1155, "heating")]
        },
    )
    (breach,) = told(history, "short-cycling")
    assert ("main", 1040.0, 40.0) == (breach.subject, breach.at_s, breach.worst)
    assert "line flush starts it soon after filter run" == breach.cause


def test_a_change_of_speed_is_no_stop(run: Run) -> None:
    """Two seconds of changing between low and high are no rest that is too short."""
    history = run(pumps={"main": [(100, "low"), (500, "changing"), (502, "high"), (600, "stopped")]})
    assert [] == told(history, "short-cycling")


def test_rest_counts_from_where_the_motor_was_switched_off(run: Run) -> None:
    """Low until 500, changing to 502, stopped, low again at 570: 70 s without power."""
    steps = [(100, "low"), (500, "changing"), (502, "stopped"), (570, "low")]
    (breach,) = told(run(pumps={"main": steps}), "short-cycling")
    assert 70.0 == breach.worst


# -- quiet hours, demands


def test_quiet_hours_count_what_runs_in_them_by_its_cause(run: Run) -> None:
    """High from 21:00 to 23:00 is loud from 22:00 on; low at night is not asked to be off."""
    history = run(
        pumps={"main": [(0, "low"), (21 * 3600, "high"), (23 * 3600, "low")]},
        deciding={"main": [(0, "filter run"), (21 * 3600, "line flush"), (23 * 3600, "filter run")]},
    )
    (breach,) = told(history, "quiet-hours")
    assert ("main high", "line flush") == (breach.subject, breach.cause)
    assert (22 * H, H) == (breach.at_s, breach.lasts_s)
    assert "22:00 to 07:00" in breach.mend


def test_a_pump_named_alone_is_quiet_at_every_speed(run: Run) -> None:
    """`applies_to: [main]` takes low in, too: 7 h after midnight and 2 h before it."""
    history = run(("applies_to: [main high]", "applies_to: [main]"), pumps={"main": [(0, "low")]})
    assert {(0.0, 7 * H), (22 * H, 2 * H)} == {(b.at_s, b.lasts_s) for b in told(history, "quiet-hours")}


def test_quiet_hours_shrink_with_the_night_of_the_clock_change(run: Run) -> None:
    """On 28 March 2027 the hour from 01:00 is left out: 6 h after midnight."""
    history = run(
        hours=23, first_day=date(2027, 3, 28), pumps={"main": [(0, "high"), (12 * 3600, "stopped")]}
    )
    assert [(0.0, 6 * H)] == [(b.at_s, b.lasts_s) for b in told(history, "quiet-hours")]


def test_a_demand_that_another_pre_empts_is_not_served(run: Run) -> None:
    """A flush is raised for 40 s while a filter run keeps the pump on low; the first second is reaction."""
    last = (
        "  quiet_hours",
        "  ranks: [bathing, frost_protection, heating, filter_run, line_flush]\n  quiet_hours",
    )
    history = run(
        last,
        pumps={"main": [(100, "low"), (900, "stopped")]},
        demands={"line flush": [(200, "raised"), (240, "")], "filter run": [(100, "raised"), (900, "")]},
        deciding={"main": [(100, "filter run"), (900, "")]},
    )
    (breach,) = told(history, "demand-not-served")
    assert ("line flush", "filter run stands above it") == (breach.subject, breach.cause)
    assert (201.0, 39.0) == (breach.at_s, breach.lasts_s)
    whole = "[bathing, frost_protection, heating, line_flush, filter_run]"
    assert f"move one of them, or schedule.ranks: {whole}" == breach.mend


def test_slow_frost_protection_is_told_to_run_as_fast_as_it_is_asked_for(run: Run) -> None:
    """It has the pump at low for 900 s while heating asks for high."""
    frost = "  frost_protection: {watches: room, starts_below: 4 degC, stops_above: 6 degC, pump: main low}\n"
    history = run(
        ("  quiet_hours", f"{frost}  quiet_hours"),
        ("heating: {with: [element], pump: main low", "heating: {with: [element], pump: main high"),
        pumps={"main": [(100, "low"), (1000, "stopped")]},
        demands={"heating": [(200, "raised"), (240, "")], "frost protection": [(100, "raised"), (1000, "")]},
        deciding={"main": [(100, "frost protection"), (1000, "")]},
    )
    (breach,) = told(history, "demand-not-served")
    assert ("heating", "frost protection stands above it") == (breach.subject, breach.cause)
    assert breach.mend == "let frost protection run at main high"


@pytest.mark.parametrize(
    ("kind", "above", "ranks"),
    [
        (
            "line flush",
            "frost protection",
            "bathing, line_flush, frost_protection, heating, filter_run",
        ),
        ("filter run", "heating", "bathing, frost_protection, line_flush, filter_run, heating"),
        ("filter run", "frost protection", ""),
        ("line flush", "bathing", ""),
        ("line flush", "filter run", ""),
    ],
)
def test_ranks_are_told_whole_and_taken_as_told(scenario, kind: str, above: str, ranks: str) -> None:
    """By hand, from the usual order, as `explain schedule.ranks` tells it; the file takes what is told."""
    assert ", ".join(ranked_before(scenario(), kind, above)) == ranks
    if ranks:
        written = ("  quiet_hours", f"  ranks: [{ranks}]\n  quiet_hours")
        assert ", ".join(scenario(written).schedule.ranks) == ranks


def test_ranks_do_not_part_two_demands_of_one_kind(run: Run) -> None:
    """Two line flushes with one rank: only another time parts them."""
    two = (
        'line_flushes: [{pump: main high, start: ["07:30", "19:30"], lasts: 40 s}]',
        'line_flushes: [{pump: main low, start: "07:30", lasts: 40 s, name: slow}, '
        '{pump: main high, start: "07:30", lasts: 40 s, name: fast}]',
    )
    history = run(
        two,
        pumps={"main": [(100, "low"), (900, "stopped")]},
        demands={"fast": [(200, "raised"), (240, "")]},
        deciding={"main": [(100, "slow"), (900, "")]},
    )
    (breach,) = told(history, "demand-not-served")
    assert "move one of them" == breach.mend


def test_more_than_the_asked_speed_serves_a_demand(run: Run) -> None:
    """A filter run asks for low; a flush turns the pump to high and back: served, changes included."""
    steps = [
        (100, "low"),
        (200, "changing"),
        (202, "high"),
        (240, "changing"),
        (242, "low"),
        (900, "stopped"),
    ]
    history = run(
        pumps={"main": steps},
        demands={"line flush": [(200, "raised"), (240, "")], "filter run": [(100, "raised"), (900, "")]},
        deciding={"main": [(100, "filter run"), (200, "line flush"), (240, "filter run"), (900, "")]},
    )
    assert [] == told(history, "demand-not-served")


def test_a_declared_rest_is_on_the_way(run: Run) -> None:
    """A pump that must rest for 60 s starts 50 s late, and no second more is forgiven."""
    rest = ("changeover: 2 s", "changeover: 2 s\n      rest: 60 s")
    raised = {"filter run": [(1010, "raised"), (5000, "")]}
    on_time = run(rest, pumps={"main": [(100, "low"), (1000, "stopped"), (1061, "low")]}, demands=raised)
    assert [] == told(on_time, "demand-not-served")
    late = run(rest, pumps={"main": [(100, "low"), (1000, "stopped"), (1071, "low")]}, demands=raised)
    assert [(1061.0, 10.0)] == [(b.at_s, b.lasts_s) for b in told(late, "demand-not-served")]


@pytest.mark.parametrize(("lasts_s", "starts_s"), [(480, 2480), (120, 2300)])
def test_a_rest_explains_nothing_of_the_power_cut_that_began_it(
    run: Run, lasts_s: int, starts_s: int
) -> None:
    """A rest of 300 s, and no power from 2000 s on: all of a cut of 8 or of 2 min is told, and then no more.

    After 8 min the pump starts at once, after 2 min it has 3 min to rest.
    """
    rest = ("changeover: 2 s", "changeover: 2 s\n      rest: 300 s")
    history = run(
        rest,
        pumps={"main": [(100, "low"), (2000, "stopped"), (starts_s, "low"), (5000, "stopped")]},
        demands={"filter run": [(100, "raised"), (5000, "")]},
        power=[(2000, "lost"), (2000 + lasts_s, "on")],
    )
    (breach,) = told(history, "demand-not-served")
    assert (2000.0, lasts_s, "there is no power") == (breach.at_s, breach.lasts_s, breach.cause)


def test_a_blocked_speed_is_named_as_the_cause(run: Run) -> None:
    """The demand decides its pump, and an interlock keeps it from that speed."""
    history = run(
        (
            "  - {block: element, while: main high, because: the breaker}",
            "  - {block: main high, while: element firing, because: one of the two}",
        ),
        pumps={"main": [(100, "low"), (900, "stopped")]},
        demands={"line flush": [(200, "raised"), (240, "")]},
        deciding={"main": [(100, "heating"), (200, "line flush"), (240, "heating")]},
    )
    (breach,) = told(history, "demand-not-served")
    assert "its speed is blocked: one of the two" == breach.cause


def test_air_that_is_asked_for_and_does_not_blow(run: Run, winter: tuple[tuple[str, str], ...]) -> None:
    """The blower starts 60 s late; in the second session it blows at once."""
    steps = [(1060, "on"), (1300, "stopped"), (5001, "on"), (5300, "stopped")]
    asked = [(1000, "raised"), (1300, ""), (5000, "raised"), (5300, "")]
    history = run(*winter, blowers={"blower": steps}, demands={"bathing, air": asked})
    (breach,) = told(history, "demand-not-served")
    assert ("bathing, air", 1001.0, 59.0) == (breach.subject, breach.at_s, breach.lasts_s)


def test_what_a_power_cut_keeps_from_a_demand_has_a_cause_of_its_own(run: Run) -> None:
    """Raised from 1000 to 2000 s; no power until 1600 s, and then the pump stands for no reason told."""
    history = run(demands={"filter run": [(1000, "raised"), (2000, "")]}, power=[(900, "lost"), (1600, "on")])
    first, second = told(history, "demand-not-served")
    assert ("there is no power", 1001.0, 599.0) == (first.cause, first.at_s, first.lasts_s)
    assert ("the controller does not start its pump", 400.0) == (second.cause, second.lasts_s)


def test_where_only_people_move_the_water_a_flush_is_advised() -> None:
    """Nobody can be told to bathe more often."""
    scenario = load_text(starter_text("two-pumps"), sets=["schedule.line_flushes=null"])
    stale = [f for f in simulate(scenario, days=8).findings if f.rule == "stale-water"]
    assert stale
    assert {"add a line flush that moves it at least every 24 h"} == {f.mend for f in stale}

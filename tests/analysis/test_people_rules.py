"""People in the water, motors and air pipes: histories that break a rule and ones that do not."""

from collections.abc import Callable
from math import inf
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cyclesim.analysis.energy import within_an_hour
from cyclesim.analysis.findings import NotJudged
from cyclesim.analysis.history import History
from cyclesim.analysis.result import measure, simulate
from cyclesim.analysis.rules import RULES, judge
from cyclesim.physics.tub_heat import TubHeat
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load
from cyclesim.simulation import water_and_heat
from tests.analysis.by_hand import H, told, tub
from tests.analysis.conftest import WINTER

Run = Callable[..., History]
Changes = tuple[tuple[str, str], ...]
SCHEDULES = Path(__file__).parents[2] / "schedules"


# -- sessions


def test_a_session_too_long(run: Run) -> None:
    """A second more than 60 min; exactly 60 min, and any time under a cover, is none."""
    (breach,) = told(run(people=[(H, "2"), (H + 3601, "0")]), "session-too-long")
    assert ("bathing", H, 3601.0) == (breach.subject, breach.at_s, breach.lasts_s)
    assert [] == told(run(people=[(H, "2"), (2 * H, "0")]), "session-too-long")
    assert [] == told(run(people=[(H, "2"), (9 * H, "0")], cover=[(0, "on")]), "session-too-long")


def test_who_comes_and_goes_does_not_end_a_session(run: Run) -> None:
    """Two, then three, then one, for 90 min in all: somebody is in the water throughout."""
    history = run(people=[(H, "2"), (H + 1800, "3"), (2 * H, "1"), (2 * H + 1800, "0")])
    assert [5400.0] == [b.lasts_s for b in told(history, "session-too-long")]


def steps_in(
    run: Run, water_c: float, *changes: tuple[str, str], at_h: int = 20, **streams: object
) -> History:
    """People step in while the water has so many degrees."""
    history = run(*changes, people=[(at_h * H, "2"), (at_h * H + 1800, "0")], **streams)
    tub(history, (0, water_c), end_c=water_c)
    return history


def test_cold_water_at_a_session(run: Run) -> None:
    """36 degC are kept: 34.9 is more than 1 K below, 35.0 is not."""
    (breach,) = told(steps_in(run, 34.9), "cold-at-session")
    assert ("bathing", 20 * H, pytest.approx(1.1), "K") == (
        breach.subject, breach.at_s, breach.worst, breach.unit,
    )  # fmt: skip
    assert "34.9 of 36 degC" == breach.text
    assert [] == told(steps_in(run, 35.0), "cold-at-session")


def test_a_hair_below_the_limit_is_no_cold_water(run: Run) -> None:
    """A thermostat `within: 1 K` starts at 35.0: 34.96 reads 35.0 in tenths, 34.94 reads 34.9."""
    assert [] == told(steps_in(run, 34.96), "cold-at-session")
    assert 1 == len(told(steps_in(run, 34.94), "cold-at-session"))


def test_the_set_point_is_that_of_the_moment(run: Run) -> None:
    """30 degC suffice at 20:00 where the plan keeps 30 from 18:00 to 22:00, and not at 17:00."""
    plan = ("within: 1 K", 'within: 1 K, plan: [{from: "18:00", until: "22:00", keep_at: 30 degC}]')
    assert [] == told(steps_in(run, 30.0, plan), "cold-at-session")
    assert 1 == len(told(steps_in(run, 30.0, plan, at_h=17), "cold-at-session"))


@pytest.mark.parametrize(
    ("streams", "cause"),
    [
        ({"power": [(9 * H, "lost"), (10 * H, "on")]}, "the power failed in the day before"),
        ({"sources": {"element": [(18 * H, "firing")]}}, "heating is still at it"),
        ({}, "no source fires just before"),
    ],
)
def test_why_it_is_cold(run: Run, streams: dict, cause: str) -> None:  # type: ignore[type-arg]
    """A power cut, heating that is late, and heating that is off have a cause each."""
    (breach,) = told(steps_in(run, 20.0, **streams), "cold-at-session")
    assert cause == breach.cause


@pytest.mark.parametrize(
    ("days", "mend"),
    [
        (", days: [tuesday]", "let them end on 2027-02-28 (absences: to): to be warm takes 24 h or more"),
        ("", "let them end 24 h before somebody bathes: to be warm takes 24 h or more"),
    ],
)
def test_cold_after_days_away_is_mended_by_their_end(run: Run, days: str, mend: str) -> None:
    """From 12 degC at the end of 1 March the water gains 20 K in 20 h, and 24 K are wanted by Tuesday 20:00.

    Who ends a day sooner has 44 h before Tuesday; where people bathe daily, they then bathe on Monday.
    """
    away = "within: 1 K, absences: [{from: 2027-02-20, to: 2027-03-01, keep_at: 12 degC}]"
    bathing = f'  bathing: [{{start: "20:00", lasts: 30 min{days}}}]\n  quiet_hours:'
    history = run(
        ("within: 1 K", away), ("  quiet_hours:", bathing), hours=48.0,
        people=[(44 * H, "2"), (44 * H + 1800, "0")], sources={"element": [(24 * H, "firing")]},
    )  # fmt: skip
    tub(history, (0, 12.0), (24, 12.0), (44, 32.0), end_c=32.0)
    (breach,) = told(history, "cold-at-session")
    assert breach.cause == "the days away end 20 h before, and nothing heats for it until then"
    assert breach.mend.startswith(mend)
    (out,) = told(history, "cold-at-end")
    assert (out.cause, out.mend) == ("it was cold when they stepped in", breach.mend)


@pytest.mark.parametrize(
    ("plan", "mend"),
    [
        ("", "a stronger source, or a narrower band: it is kept at 36 degC all the time"),
        (
            ', plan: [{from: "00:00", until: "12:00", keep_at: 30 degC}]',
            "let it begin earlier: plan: [{ready_by: ...}], or a stronger source",
        ),
    ],
)
def test_heating_begins_earlier_only_where_less_was_kept_before(run: Run, plan: str, mend: str) -> None:
    """Where 36 degC are kept all day heating has no earlier beginning; where 30 are until noon it has."""
    firing = {"element": [(18 * H, "firing")]}
    (breach,) = told(
        steps_in(run, 34.0, ("within: 1 K", f"within: 1 K{plan}"), sources=firing), "cold-at-session"
    )
    assert (breach.cause, breach.mend) == ("heating is still at it", mend)


@pytest.mark.parametrize(("water_c", "banded"), [(34.4, True), (33.0, False)])
def test_water_within_a_band_that_is_wider_than_is_allowed_asks_for_a_narrower_one(
    run: Run, water_c: float, banded: bool
) -> None:
    """36 degC within 2 K may be 34 when people come, though 1 K is allowed; at 33 something else is wrong."""
    history = steps_in(run, water_c, ("within: 1 K", "within: 2 K"))
    (breach,) = told(history, "cold-at-session")
    assert banded == (breach.cause == "heating starts 2.0 K below the set point, 1 K are allowed")
    assert banded == (breach.mend == "a narrower band: within: 1 K")


@pytest.mark.parametrize(
    ("fires", "mend"),
    [
        (["unit"], "let element join sooner: next_below, or a stronger source, or a narrower band: "),
        (["element"], "let boiler join sooner: next_below, or a stronger source, or a narrower band: "),
        (["unit", "element", "boiler"], "a stronger source, or a narrower band: "),
    ],
)
def test_a_source_that_waits_to_join_is_told(run: Run, fires: list[str], mend: str) -> None:
    """Of three in a row the one after the last that fires waits; where all fire none does."""
    firing = {name: [(18 * H, "firing")] for name in fires}
    (breach,) = told(steps_in(run, 34.0, *WINTER[:2], sources=firing), "cold-at-session")
    assert breach.mend == mend + "it is kept at 36 degC all the time"


# -- the water at step-out


def cools(run: Run, in_c: float, lowest_c: float, out_c: float) -> History:
    """In at 20:00; the lowest at 20:15, out at 20:30. 36 degC are kept."""
    history = run(people=[(20 * H, "2"), (20 * H + 1800, "0")])
    tub(history, (0, in_c), (20, in_c), (20.25, lowest_c), (20.5, out_c), end_c=out_c)
    return history


def test_each_session_tells_its_temperatures(run: Run) -> None:
    """36.1 in, 34.0 in the middle, 34.4 out; one that the span cuts off has no end."""
    (session,) = measure(cools(run, 36.1, 34.0, 34.4)).sessions
    assert ("2027-03-01T20:00:00+00:00", 0.5, 36.0) == (
        session.from_local,
        session.lasts_h,
        session.set_point_c,
    )
    assert pytest.approx((36.1, 34.0, 34.4)) == (session.in_c, session.coldest_c, session.out_c)
    begun = run(people=[(23 * H, "2")])
    tub(begun, (0, 36.0), end_c=35.0)
    (session,) = measure(begun).sessions
    assert None is session.out_c
    assert pytest.approx((36.0 - 23 / 24, 35.0)) == (session.in_c, session.coldest_c)


def test_the_jets_of_a_session_are_its_own(run: Run) -> None:
    """Two starts in the session: 12 degC for 20 s, 30 degC for 25 s; one at its end belongs to no session."""
    history = cools(run, 36.1, 34.0, 34.4)
    for row in ((20 * H, 12.0, 20.0), (20 * H + 900, 30.0, 25.0), (20 * H + 1800, 5.0, 60.0)):
        history.trace.at_jets.put(row)
    (session,) = measure(history).sessions
    assert (12.0, 25.0) == (session.coldest_at_jet_c, session.cold_at_jet_s)
    (quiet,) = measure(cools(run, 36.1, 34.0, 34.4)).sessions
    assert (None, None) == (quiet.coldest_at_jet_c, quiet.cold_at_jet_s)


def test_jets_give_what_stood_in_their_pipes(scenario: Callable[..., Scenario]) -> None:
    """In the run, the first water of a session is as cold as the leg that leads to the jets."""
    bathing = '  bathing: [{start: "12:00", lasts: 30 min, pump: main high}]\n  quiet_hours:'
    trace = simulate(scenario(("  quiet_hours:", bathing)), days=3).trace
    at_s, leg = trace.at_jets.start_s, trace.stays["bench"]
    assert [12 * H, 36 * H, 60 * H] == at_s.tolist()
    for at, coldest_c, cold_s in zip(at_s, trace.at_jets.coldest_c, trace.at_jets.cold_s, strict=True):
        k = int(np.flatnonzero(leg.end_s == at)[0])
        assert leg.joined[k] == 0.0
        assert pytest.approx(leg.end_c[k], abs=0.3) == coldest_c
        assert 0.0 <= cold_s < 60.0


@pytest.mark.parametrize("cold_k", [3.0, -1.0])
def test_jets_that_are_left_out_change_no_session(monkeypatch: pytest.MonkeyPatch, cold_k: float) -> None:
    """The other way: all that comes out of jets is told, in a week in which they start again and again.

    Where even what is 1 K warmer than the tub counts as cold, nothing is left out.
    """
    monkeypatch.setattr(water_and_heat, "COLD_JET_K", cold_k)
    scenario = load(SCHEDULES / "long-table.yaml")
    some = simulate(scenario, days=7)
    monkeypatch.setattr(TubHeat, "arrives_above_c", lambda _: -inf)
    whole = simulate(scenario, days=7)
    assert (cold_k > 0.0) == (len(some.trace.at_jets) < len(whole.trace.at_jets))
    assert some.metrics.sessions == whole.metrics.sessions


def test_the_means_of_stepping_in_and_out_are_of_whole_sessions(run: Run) -> None:
    """Two sessions, 36 and 35 degC in, 34 and 35 out: 35.5 and 34.5."""
    history = run(people=[(10 * H, "2"), (11 * H, "0"), (20 * H, "2"), (21 * H, "0")])
    tub(history, (0, 36.0), (10, 36.0), (11, 34.0), (20, 35.0), (21, 35.0), end_c=35.0)
    measured = measure(history).tub
    assert pytest.approx((35.5, 34.5)) == (measured.mean_at_session_start_c, measured.mean_at_session_end_c)


def test_cold_water_at_the_end(run: Run) -> None:
    """36 degC are kept: 33.4 is more than 2.5 K below, 33.5 is not, nor is 33 in the middle."""
    (breach,) = told(cools(run, 36.0, 34.0, 33.4), "cold-at-end")
    assert ("bathing", 20 * H + 1800, pytest.approx(2.6), "33.4 of 36 degC") == (
        breach.subject,
        breach.at_s,
        breach.worst,
        breach.text,
    )
    assert "cools while they bathe" in breach.cause
    assert [] == told(cools(run, 36.0, 33.0, 33.5), "cold-at-end")


def test_what_was_cold_at_the_start_is_no_loss_of_the_session(run: Run) -> None:
    """34 degC in and 33 out, with 36 kept: two of the three kelvin were missing before."""
    (breach,) = told(cools(run, 34.0, 33.0, 33.0), "cold-at-end")
    assert "cold when they stepped in" in breach.cause
    assert "ready_by" in breach.mend


def test_what_was_not_ready_in_time(run: Run) -> None:
    """36.9 of 38 degC at a ready-by is told, 37.0 is not."""
    history = run()
    history.trace.ready += [(5 * H, 36.9, 38.0), (6 * H, 37.0, 38.0)]
    (breach,) = told(history, "cold-at-session")
    assert ("ready by", 5 * H, "36.9 of 38 degC") == (breach.subject, breach.at_s, breach.text)


# -- flush-onto-people


def flushes(run: Run, people_from: int) -> History:
    """A line flush from 19:30:00 to 19:30:40; two people from then on."""
    demand = "line flush"
    at = 19 * H + 1800
    return run(
        pumps={"main": [(at, "high"), (at + 40, "stopped")]},
        demands={demand: [(at, "raised"), (at + 40, "")]},
        deciding={"main": [(at, demand), (at + 40, "")]},
        people=[(people_from, "2"), (people_from + 600, "0")],
    )


def test_a_flush_onto_people(run: Run) -> None:
    """People who stepped in 10 s into the flush have 30 s of it; those who come as it ends have none."""
    at = 19 * H + 1800
    (breach,) = told(flushes(run, at + 10), "flush-onto-people")
    assert ("line flush", at + 10, 30.0) == (breach.subject, breach.at_s, breach.lasts_s)
    assert [] == told(flushes(run, at + 40), "flush-onto-people")


# -- motors


def starts(run: Run, *at_s: int) -> History:
    """The pump starts at these seconds, for a minute each."""
    return run(pumps={"main": [step for t in at_s for step in ((t, "low"), (t + 60, "stopped"))]})


def test_too_many_starts_within_an_hour(run: Run) -> None:
    """Nine from 05:00 on, where NEMA MG 10 has 8.1 for 5 hp, 2-pole (seen second-hand); eight are borne."""
    nine = [5 * H + 300 * k for k in range(9)]
    (breach,) = told(starts(run, *nine), "too-many-starts")
    assert ("main", 9.0, 5 * H) == (breach.subject, breach.worst, breach.at_s)
    assert "9 of at most 8 starts in an hour" == breach.text
    assert [] == told(starts(run, *nine[:8]), "too-many-starts")
    (late,) = told(starts(run, *[t + 1500 for t in nine]), "too-many-starts")  # seven, and two in the next
    assert (9.0, 5 * H + 1500) == (late.worst, late.at_s)


def test_starts_on_both_sides_of_a_full_hour_count_together(run: Run) -> None:
    """Twelve from 07:30 to 08:20, seven and five by the clock; the finding and the table agree."""
    twelve = [7 * H + 1800 + 270 * k for k in range(12)]
    history = starts(run, *twelve)
    (breach,) = told(history, "too-many-starts")
    assert (12.0, 7 * H + 1800) == (breach.worst, breach.at_s)
    assert 12 == measure(history).pumps["main"].most_starts_in_an_hour


@given(st.lists(st.integers(1, 20_000), unique=True, max_size=60))
def test_starts_within_an_hour_are_those_counted_one_by_one(at_s: list[int]) -> None:
    """The fullest hour is the fullest of all hours that begin at any second, not only at a start."""
    seconds = np.zeros(24_000, dtype=int)
    seconds[at_s] = 1
    hours = np.lib.stride_tricks.sliding_window_view(seconds, H).sum(axis=1)
    assert hours.max() == max(within_an_hour(np.array(sorted(at_s), dtype=float)).tolist(), default=0)


def test_an_hour_later_to_the_second_is_another_hour(run: Run) -> None:
    """Eight starts, the ninth 3600 s after the first: never nine within an hour."""
    assert [] == told(starts(run, *[5 * H + 300 * k for k in range(8)], 6 * H), "too-many-starts")
    assert [9.0] == [b.worst for b in told(starts(run, *[5 * H + 300 * k for k in range(8)], 6 * H - 70),
                                           "too-many-starts")]  # fmt: skip


# -- the air pipe


def test_an_air_pipe_without_protection(run: Run, winter: Changes) -> None:
    """Neither check valve nor loop: told, with its 3 L that no pump moves; either one suffices.

    Where the file says nothing of one of them, nobody knows.
    """
    bare = ("check_valve: true, zone", "check_valve: false, loop_above_water: 0 mm, zone")
    (breach,) = told(run(*winter, bare), "airline-unprotected")
    assert ("blower", "3.0 L stand in the pipe, not refreshed by a flush") == (breach.subject, breach.text)
    assert [] == told(run(*winter), "airline-unprotected")
    looped = ("check_valve: true, zone", "loop_above_water: 300 mm, zone")
    assert [] == told(run(*winter, looped), "airline-unprotected")
    for said, unsaid in (("", "check_valve, loop_above_water"), ("check_valve: false, ", "loop_above_water")):
        silent = ("check_valve: true, zone", f"{said}zone")
        why = NotJudged(f"the file does not say of blower: {unsaid}")
        assert [why] == list(judge(RULES["airline-unprotected"], run(*winter, silent)))

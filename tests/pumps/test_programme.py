"""When each pump of an entry is asked for, in seconds worked out by hand."""

from datetime import UTC, datetime
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cyclesim.scenario.forms.fields import PumpSpeed
from cyclesim.scenario.forms.pumping import Part, Pumping
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.trace import Span
from tests.pumps.conftest import FLUSH, SESSION, Build

A_DAY, H = 86_400, 3600
NEW_YEAR = datetime(2027, 1, 1, tzinfo=UTC)
MORNING, EVENING, BATHING = 7 * H + 1800, 19 * H + 1800, 21 * H
LEFT, RIGHT = PumpSpeed("left", "on"), PumpSpeed("right", "on")


def raised(programme: Programme) -> dict[str, list[Span]]:
    """What is asked for on the first day."""
    return programme.raised(NEW_YEAR, A_DAY)


def test_at_once(build: Build) -> None:
    """One flush, two demands: both pumps from 07:30:00 to 07:31:00, and again in the evening."""
    programme = Programme(build())
    twice = [(MORNING, MORNING + 60), (EVENING, EVENING + 60)]
    assert twice == raised(programme)["line flush, left"] == raised(programme)["line flush, right"]
    first, second = (d for d in programme.controller.demands if d.kind == "line flush")
    assert (first.rank, (("right", "on"),)) == (second.rank, first.beside)
    assert ["line flush", "bathing", "filter run"] == sorted(
        (timed.entry for timed in programme.entries), key=["line flush", "bathing", "filter run"].index
    )


def test_one_after_the_other(build: Build) -> None:
    """The second begins in the second in which the first ends; nothing runs beside it."""
    programme = Programme(build((FLUSH, FLUSH.replace("lasts: 60 s", "lasts: 60 s, in_turn: true"))))
    spans = raised(programme)
    assert [(MORNING, MORNING + 60), (EVENING, EVENING + 60)] == spans["line flush, left"]
    assert [(MORNING + 60, MORNING + 120), (EVENING + 60, EVENING + 120)] == spans["line flush, right"]
    assert {()} == {d.beside for d in programme.controller.demands if d.kind == "line flush"}


def test_one_after_the_other_over_midnight(build: Build) -> None:
    """The second pump of a flush that began before the span runs in it."""
    late = '[{pumps: [left, right], start: "23:59", lasts: 60 s, in_turn: true}]'
    spans = raised(Programme(build((FLUSH, late))))
    assert [(A_DAY - 60, A_DAY)] == spans["line flush, left"]
    assert [(0, 60)] == spans["line flush, right"]


def test_a_staggered_flush_is_as_long_for_each(build: Build) -> None:
    """7 s apart: the second runs from 7 s to 67 s."""
    staggered = FLUSH.replace("lasts: 60 s", "lasts: 60 s, stagger: 7 s")
    spans = raised(Programme(build((FLUSH, staggered))))
    assert (MORNING, MORNING + 60) == spans["line flush, left"][0]
    assert (MORNING + 7, MORNING + 67) == spans["line flush, right"][0]


def test_the_pumps_of_a_session_stop_together(build: Build) -> None:
    """People press once: 10 s later the second starts, and both stop as the session ends."""
    spans = raised(Programme(build()))
    assert [(BATHING, BATHING + 3000)] == spans["bathing, left"]
    assert [(BATHING + 10, BATHING + 3000)] == spans["bathing, right"]


def test_each_press_starts_them_one_after_the_other_again(build: Build) -> None:
    """Two presses in 50 min, each of 20 min: at 0 s and 1500 s."""
    pressed = SESSION.replace("people: 3", "people: 3, jets_at_most: 20 min, presses: 2")
    spans = raised(Programme(build((SESSION, pressed))))
    assert [(BATHING, BATHING + 1200), (BATHING + 1500, BATHING + 2700)] == spans["bathing, left"]
    assert [(BATHING + 10, BATHING + 1200), (BATHING + 1510, BATHING + 2700)] == spans["bathing, right"]


def test_after_bathing(build: Build) -> None:
    """The session ends at 21:50: the first pump from then on, the second a minute later."""
    after = "[{pumps: [left, right], after: bathing, lasts: 60 s, in_turn: true}]"
    spans, out = raised(Programme(build((FLUSH, after)))), BATHING + 3000
    # the evening before people bathed, too, and that flush is over
    assert [(out, out + 60)] == [span for span in spans["line flush, left"] if span[1] > 0]
    assert [(out + 60, out + 120)] == [span for span in spans["line flush, right"] if span[1] > 0]


@pytest.mark.parametrize(
    ("pumping", "said", "written", "whole_s"),
    [
        (Pumping((LEFT,)), "left", "pump: left", 60),
        (Pumping((LEFT, RIGHT)), "left and right", "pumps: [left, right]", 60),
        (Pumping((LEFT, RIGHT), 10), "left and right, 10 s apart", "pumps: [left, right], stagger: 10 s", 70),
        (Pumping((LEFT, RIGHT), 0, True), "left, then right", "pumps: [left, right], in_turn: true", 120),
    ],
)
def test_how_pumps_are_said(pumping: Pumping, said: str, written: str, whole_s: int) -> None:
    """In a sentence, in a file, and from the first start to the last stop."""
    assert (said, written, whole_s) == (str(pumping), pumping.written, pumping.whole_s(60.0))


def test_the_parts_of_a_staggered_run() -> None:
    """Three pumps 10 s apart for 15 s each: never more than two at once."""
    a, b, c = (PumpSpeed(name, "on") for name in "abc")
    expected = [
        Part(0, 10, (a,)), Part(10, 15, (a, b)), Part(15, 20, (b,)), Part(20, 25, (b, c)), Part(25, 35, (c,)),
    ]  # fmt: skip
    assert expected == Pumping((a, b, c), 10).parts(15.0)


def test_a_clock_change_is_told_once_for_an_entry(build: Build) -> None:
    """At 02:30 on 28 March 2027 no clock in Paris shows that time; both pumps are in one line."""
    early = FLUSH.replace('["07:30", "19:30"]', '"02:30"')
    programme = Programme(build((FLUSH, early), ("time_zone: UTC", "time_zone: Europe/Paris")))
    march = datetime(2027, 3, 26, tzinfo=UTC)
    (note,) = programme.clock_notes(march, 4 * A_DAY)
    assert note.startswith("line flush: ")


@given(
    count=st.integers(1, 4), stagger_s=st.integers(0, 90), in_turn=st.booleans(), lasts_s=st.integers(1, 120)
)
def test_each_pump_runs_for_the_whole_length(count: int, stagger_s: int, in_turn: bool, lasts_s: int) -> None:
    """However they follow each other: parts tile the run, and each pump's add up to the length."""
    pumps = tuple(PumpSpeed(name, "on") for name in "abcd"[:count])
    pumping = Pumping(pumps, 0 if in_turn else stagger_s, in_turn)
    parts = pumping.parts(lasts_s)
    assert (0, pumping.whole_s(lasts_s)) == (parts[0].start_s, parts[-1].end_s)
    assert all(a.end_s == b.start_s for a, b in pairwise(parts))
    for pump in pumps:
        assert lasts_s == sum(part.end_s - part.start_s for part in parts if pump in part.pumps)
    together = any(len(part.pumps) == count for part in parts)
    assert together == (count == 1 or pumping.meet(lasts_s))

"""The controller's clock: identity where nothing is wrong with it, and a reset that shows midnight."""

from datetime import UTC, datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cyclesim.scenario.blocks.schedule import Controller
from cyclesim.simulation.own_clock import OwnClock, somebody_by
from cyclesim.simulation.setpoints import Level, ReadyBy, SetPoints

HOUR, DAY = 3600, 86_400
UTC_ZONE = ZoneInfo("UTC")
ORIGIN = datetime(2027, 1, 1, tzinfo=UTC)
SPANS = st.lists(st.tuples(st.integers(0, 9 * DAY), st.integers(1, DAY)), max_size=6).map(
    lambda pairs: [(a, a + b) for a, b in pairs if a + b <= 10 * DAY]
)


def clock(cuts=(), away=(), **said):
    """A clock of ten days from 1 January, UTC."""
    return OwnClock(Controller.model_validate(said), list(cuts), ORIGIN, UTC_ZONE, 10 * DAY, away)


@given(SPANS, st.sampled_from(["resume", "wait"]))
def test_a_right_clock_changes_nothing(spans, after):
    """Power cuts do not move the clock of a controller that keeps it."""
    kept = clock([(DAY, DAY + HOUR)], after_power_cut=after)
    assert spans == kept.real(spans)


@given(SPANS, st.floats(-600, 600))
def test_a_clock_that_gains_keeps_order_and_length(spans, gains):
    """Every span that is not cut off comes once, shorter by what the clock gains, in the same order."""
    fast = clock(clock_gains=f"{gains:.3f} s")
    real = fast.real(sorted(spans))
    assert real == sorted(real)
    rate = 1.0 + round(gains, 3) / DAY
    inside = [(a, b) for a, b in sorted(spans) if b / rate < 10 * DAY - 1]
    for (a, b), (start, end) in zip(inside, real, strict=False):
        assert abs((end - start) - (b - a) / rate) <= 1.0
        assert abs(start - a / rate) <= 0.5 + 1e-9


def test_a_reset_shows_midnight_until_somebody_comes():
    """Power is back at 06:00 on the second day: what is due at 01:00 comes at 07:00, then again at 25:00."""
    reset = clock([(DAY + 5 * HOUR, DAY + 6 * HOUR)], after_power_cut="midnight", person_within="10 h")
    one = (DAY + HOUR, DAY + 2 * HOUR)
    assert [one, (DAY + 7 * HOUR, DAY + 8 * HOUR)] == reset.real([one])
    assert [(DAY + 6 * HOUR, DAY + 16 * HOUR)] == reset.wrong
    # due at 12:00, the clock shows 10:00 when somebody sets it to 16:00: it never shows 12:00 that day
    assert [] == reset.real([(DAY + 12 * HOUR, DAY + 13 * HOUR)])


def test_nobody_comes_on_days_away():
    """2 h of 10 at home before the third day begins; the other 8 are counted when the fifth is over."""
    cut = [(DAY + 21 * HOUR, DAY + 22 * HOUR)]
    reset = clock(cut, away=[(2 * DAY, 5 * DAY)], after_power_cut="midnight", person_within="10 h")
    assert [(DAY + 22 * HOUR, 5 * DAY + 8 * HOUR)] == reset.wrong
    assert 12 * HOUR == somebody_by(2 * HOUR, 10 * HOUR, [(0, HOUR), (12 * HOUR, DAY)])
    # of two absences that overlap no second counts twice
    assert 3 * DAY + HOUR == somebody_by(DAY, HOUR, [(0, 2 * DAY), (DAY, 3 * DAY)])


def test_a_second_cut_before_somebody_came_starts_again():
    """The first reset is forgotten by the second one."""
    cuts = [(2 * HOUR, 3 * HOUR), (8 * HOUR, 9 * HOUR)]
    reset = clock(cuts, after_power_cut="midnight", person_within="24 h")
    assert [0, 3 * HOUR, 9 * HOUR, 33 * HOUR] == [one.start_s for one in reset.stretches]
    assert [0.0, 0.0, 0.0, 33.0 * HOUR] == [one.shows_s for one in reset.stretches]


def test_set_points_follow_the_clock():
    """A level due at 04:00 comes at 10:00 after a reset at 06:00; what is to be ready follows too."""
    reset = clock([(5 * HOUR, 6 * HOUR)], after_power_cut="midnight", person_within="12 h")
    points = SetPoints((Level(0, 30.0), Level(4 * HOUR, 38.0)), (ReadyBy(2 * HOUR, 4 * HOUR, 38.0),))
    real = reset.real_points(points)
    assert (
        Level(0, 30.0),
        Level(4 * HOUR, 38.0),
        Level(6 * HOUR, 30.0),
        Level(10 * HOUR, 38.0),
    ) == real.levels
    assert (
        ReadyBy(2 * HOUR, 4 * HOUR, 38.0),
        ReadyBy(8 * HOUR, 10 * HOUR, 38.0),
    ) == real.ready


@pytest.mark.parametrize("gains", ["0 s", "5 s"])
def test_stretches_tile_the_span(gains):
    """From the origin to the end without a gap."""
    cuts = [(DAY, DAY + HOUR), (3 * DAY, 3 * DAY + HOUR)]
    made = clock(cuts, after_power_cut="midnight", clock_gains=gains).stretches
    assert 0 == made[0].start_s
    assert 10 * DAY == made[-1].end_s
    assert all(a.end_s == b.start_s for a, b in pairwise(made))


def test_a_clock_without_a_reserve_is_late_by_every_cut():
    """Cuts of 2 h and 1 h: due at 30:00 it comes at 32:00, at 60:00 at 63:00; in a cut it shows nothing."""
    late = OwnClock.of_device(0.0, [(26 * HOUR, 28 * HOUR), (50 * HOUR, 51 * HOUR)], 10 * DAY)
    due = [(20 * HOUR, 21 * HOUR), (25 * HOUR, 27 * HOUR), (30 * HOUR, 31 * HOUR), (60 * HOUR, 61 * HOUR)]
    real = [(20, 21), (25, 26), (28, 29), (32, 33), (63, 64)]
    assert [(a * HOUR, b * HOUR) for a, b in real] == sorted(late.real(due))


def test_a_clock_of_a_devices_own_that_gains():
    """10 s a day are 100 s in ten days."""
    fast = OwnClock.of_device(10.0, [], 11 * DAY)
    assert [(10 * DAY - 100, 10 * DAY + HOUR - 100)] == [
        (round(a, -1), round(b, -1)) for a, b in fast.real([(10 * DAY, 10 * DAY + HOUR)])
    ]

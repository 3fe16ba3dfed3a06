"""What comes into the tub when water begins to move, and what a stay tells of what stood."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cyclesim.physics.stays import Body
from cyclesim.physics.warmth import below_s, cut, total, warmth
from tests.physics.tub_run import IN_LINE, PER_M3_K, TUB, ZONES, L, Run, Step, histories, still, tight


def test_what_comes_into_the_tub_first_is_what_stood_in_front_of_it() -> None:
    """Two pipes of 20 L in line, one in still air of 10, one of 0 degC, for 5 time constants, then 1 L/s.

    20 s of the last pipe's water, then 20 s of the one before: 28 and 38 K apart from the tub, times exp(-5).
    """
    capacity = 20 * L * PER_M3_K
    pipes = [Body("pipe", 20 * L, capacity, capacity / 7200.0, "warm"),
             Body("behind it", 20 * L, capacity, capacity / 7200.0, "cold")]  # fmt: skip
    zones = {"z": [20.0] * 400, "warm": [10.0] * 400, "cold": [0.0] * 400}
    run = Run(tight(), pipes, zones)
    assert [] == run.heat.arriving()
    run.advance(36_000)
    tub_c = run.heat.water_c
    run.heat.change((1 * L, 1 * L), {})
    (stream,) = run.heat.arriving()
    assert pytest.approx(40.0) == total(stream)
    stood = [10.0 + 28.0 * math.exp(-5.0), 38.0 * math.exp(-5.0)]
    middles = [warmth(cut(cut(stream, at - 1.0)[1], 2.0)[0]) / 2.0 for at in (5.0, 15.0, 25.0, 35.0)]
    assert pytest.approx([stood[1], stood[1], stood[0], stood[0]], abs=0.1) == middles
    assert 40.0 == pytest.approx(below_s(stream, tub_c - 3.0))
    assert 20.0 == pytest.approx(below_s(stream, 5.0), abs=0.1)
    run.heat.change((-1 * L, -1 * L), {})
    assert pytest.approx(stood[1] * (1.0 - 40.0 / 7200.0) - 0.1, abs=1e-9) == run.heat.arrives_above_c()
    (backwards,) = run.heat.arriving()
    assert pytest.approx(stood[0], abs=0.1) == backwards[0][1]
    run.advance(600)
    assert [] == run.heat.arriving(), "nothing has been changed now"
    assert math.inf == run.heat.arrives_above_c()
    run.heat.change((0.0, 0.0), {})
    assert [] == run.heat.arriving()


@settings(max_examples=30, deadline=None)
@given(history=histories, chills_w=st.sampled_from([0.0, 0.0, -2000.0]))
def test_what_comes_into_the_tub_is_nowhere_colder_than_told(history: list[Step], chills_w: float) -> None:
    """Followed slug by slug, at each change of drawn histories, with heat put in and taken out."""
    run = Run(TUB, IN_LINE, ZONES)
    for (first, _, third), (one_w, two_w), lasts_s in history:
        run.heat.change((first, first, third), {0: one_w + chills_w, 1: two_w})
        coldest_c = min((t for s in run.heat.arriving() for slug in s for t in slug[1:]), default=math.inf)
        assert run.heat.arrives_above_c() <= coldest_c
        run.advance(lasts_s)


def test_the_time_below_a_level_of_a_slug_that_runs_through_it() -> None:
    """10 s from 30 to 20 degC are 4 s below 24; 5 s at 24 are not below it, 3 s at 23 are."""
    assert 7.0 == pytest.approx(below_s([(10.0, 30.0, 20.0), (5.0, 24.0, 24.0), (3.0, 23.0, 23.0)], 24.0))


def test_a_stay_tells_both_ends_of_what_stands() -> None:
    """Half of a cold pipe is filled with tub water: it stands with 38 degC at one end, 0 at the other."""
    capacity = 20 * L * PER_M3_K
    pipe = Body("pipe", 20 * L, capacity, capacity / 7200.0, "cold")
    run = Run(tight(), [pipe], {**still(20.0), "cold": [0.0] * 400})
    run.advance(20 * 3600)
    run.heat.change((1 * L,), {})
    run.advance(10)
    tub_c = run.heat.water_c
    run.heat.change((0.0,), {})
    run.advance(600)
    run.heat.close()
    stay = run.stays[-1]
    assert not stay.joined
    assert pytest.approx([0.0, 38.0], abs=0.1) == [stay.coldest_c, stay.warmest_c]
    assert pytest.approx(0.5 * tub_c, abs=0.2) == stay.start_c


def test_cold_water_is_told_in_the_stay_that_it_passed_in_where_what_follows_bends() -> None:
    """What stood at 0 degC passes the leg behind, which stood at 20: told there, and not after the stop.

    30 W/K of 0.2 L/s are 0.036 transfer units, so that the settled legs bend by more than one slug may.
    """
    bodies = [Body("leg", 20 * L, 9e4, 30.0, "z"), Body("behind", 20 * L, 9e4, 30.0, "warm")]
    run = Run(tight(), bodies, still(0.0) | {"warm": [20.0] * 400})
    run.advance(500_000)
    for flow, lasts_s in ((0.2 * L, 3600), (0.0, 60)):
        run.heat.change([flow, flow], {})
        run.advance(lasts_s)
    run.heat.close()
    _, moving, stood = (stay for stay in run.stays if stay.body == 1)
    assert pytest.approx(0.0, abs=1e-6) == moving.coldest_c
    assert stood.coldest_c > 30.0

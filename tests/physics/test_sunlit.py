"""Water that stands in the sun: worked out as it comes, beside being told of it hour by hour."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from cyclesim.physics.stays import Body
from tests.physics.tub_run import AIR, HOUR_S, TUB, ZONES, L, Run, lived

PANELS = [
    Body("to the panels", 9 * L, 4.5e4, 3.0, "room"),
    Body("behind it: the panels", 6 * L, 6.9e4, 12.0, "air"),
    Body("behind it: back", 9 * L, 4.5e4, 3.0, "room"),
]
HOURS = 60
watts = st.lists(st.sampled_from([0.0, 0.0, 180.0, 750.0, 1900.0]), min_size=HOURS, max_size=HOURS)
flows = st.sampled_from([0.0, 0.0, 0.03 * L, 0.4 * L, -0.2 * L])
lasting = st.integers(1, 4000) | st.integers(4000, 70_000)
days = st.lists(st.tuples(flows, st.sampled_from([0.0, 0.0, 400.0]), lasting), min_size=1, max_size=6)


def lived_in_sun(run, history, sun_w, *, as_it_comes):
    """Live a history in which the water stands or moves, with heat into the first pipe, in the sun.

    Told of each hour of sun, or only while water moves.
    """
    seen = []
    for flow, heat_w, lasts in history:
        until = run.now_s + lasts
        while run.now_s < until:
            hour = run.now_s // HOUR_S
            heats_w = {0: heat_w, 1: sun_w[hour] if hour < HOURS else 0.0}
            if as_it_comes and not flow:
                heats_w.pop(1)
            run.heat.change((flow,) * 3, heats_w)
            ends = until if as_it_comes and not flow else min(until, HOUR_S * (hour + 1))
            run.advance(ends - run.now_s)
        seen.append([run.heat.water_c, *run.bodies_c()])
    run.heat.close()
    return np.array(seen)


@settings(max_examples=40)
@given(days, watts)
def test_it_is_as_if_told_of_each_hour(history, sun_w):
    """To the tub, the panels and the pipes, and in what each has lost."""
    told = Run(TUB, PANELS, ZONES)
    hourly_c = lived_in_sun(told, history, sun_w, as_it_comes=False)
    alone = Run(TUB, PANELS, ZONES, suns_w={1: sun_w})
    assert lived_in_sun(alone, history, sun_w, as_it_comes=True) == pytest.approx(hourly_c, abs=1e-6)
    assert alone.heat.heat_content_j() == pytest.approx(told.heat.heat_content_j(), rel=1e-9)
    for body in range(3):
        sums = [sum(s.loss_j for s in run.stays if s.body == body) for run in (told, alone)]
        assert sums[1] == pytest.approx(sums[0], rel=1e-6, abs=20.0)
        ends = [{s.end_s: s.end_c for s in run.stays if s.body == body} for run in (told, alone)]
        for end_s in ends[0].keys() & ends[1].keys():
            assert ends[1][end_s] == pytest.approx(ends[0][end_s], abs=1e-6)


@settings(max_examples=40)
@given(watts, st.integers(0, 5 * HOUR_S), st.integers(1, 40))
def test_its_course_by_the_hour_is_what_it_comes_to(sun_w, since, hours):
    """By scipy, from the sun that comes and the air that takes."""
    run = Run(TUB, PANELS, ZONES, suns_w={1: sun_w})
    lived(run, [((0.4 * L,) * 3, (0.0, 0.0), 1800)])
    run.heat.change((0.0,) * 3, {})
    run.advance(since)
    assert run.heat.is_lit(1)
    course_c, (panels, begins_s) = run.heat.lit_c(1, hours), (PANELS[1], run.now_s)
    temp_c = run.heat.body_c(1, begins_s)
    for end_c in course_c:
        hour = begins_s // HOUR_S
        w, air = sun_w[hour], AIR[hour]

        def warms(_, t, w=w, air=air):
            return [(w - panels.ua_w_k * (t[0] - air)) / panels.capacity_j_k]

        ends_s = HOUR_S * (hour + 1)
        found = solve_ivp(warms, (begins_s, ends_s), [temp_c], rtol=1e-10, atol=1e-10)
        temp_c, begins_s = float(found.y[0][-1]), ends_s
        assert end_c == pytest.approx(temp_c, abs=1e-6)
        assert run.heat.body_c(1, ends_s) == pytest.approx(temp_c, abs=1e-6)
    assert len(course_c) == hours


def test_long_days_are_told_in_full():
    """More hours of sun than stays are told of at once (500), each with its own row."""
    hours = 800
    sun_w = [100.0 + k % 7 for k in range(hours)]
    run = Run(
        TUB,
        [Body("panels", 6 * L, 6.9e4, 12.0, "air")],
        {n: c + c for n, c in ZONES.items()},
        suns_w={0: sun_w},
    )
    course_c = run.heat.lit_c(0, hours + 50)
    run.advance(hours * HOUR_S)
    assert len(course_c) == hours  # to the end of what is known, and no further
    assert course_c[-1] == pytest.approx(run.heat.body_c(0, run.now_s), abs=1e-6)
    run.heat.close()
    assert len(run.stays) == hours
    fell_j = 6.9e4 * (38.0 - run.stays[-1].end_c)
    assert sum(s.loss_j for s in run.stays) == pytest.approx(fell_j + HOUR_S * sum(sun_w), rel=1e-9)

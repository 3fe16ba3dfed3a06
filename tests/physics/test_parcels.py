"""Parcels: cutting, mixing and pushing, against arithmetic by hand and against plain sampling."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cyclesim.physics import parcels
from cyclesim.physics.parcels import Parcel

A, B, C = (2.0, 0.0, 4.0, 1.0, 5.0), (3.0, 7.0, 7.0, 8.0, 8.0), (1.0, 9.0, 10.0, 9.0, 11.0)

births = st.floats(-1e5, 0.0)


@st.composite
def lines(draw: st.DrawFn, whole: float | None = None) -> list[Parcel]:
    """Some parcels, the earliest birth never after the mean; *whole* is their total, if given."""
    sizes = draw(st.lists(st.floats(0.01, 5.0), min_size=1, max_size=6))
    factor = 1.0 if whole is None else whole / sum(sizes)
    out: list[Parcel] = []
    for size in sizes:
        of, ob = draw(births), draw(births)
        later = st.floats(0.0, 1e3)
        out.append((size * factor, of, ob, of + draw(later), ob + draw(later)))
    return out


def at(line: list[Parcel], place: float) -> tuple[float, float]:
    """Earliest and mean birth at a place, counted from the front."""
    for v, of, ob, mf, mb in line:
        if place <= v:
            return of + place / v * (ob - of), mf + place / v * (mb - mf)
        place -= v
    return line[-1][2], line[-1][4]


def births_times_volume(line: list[Parcel]) -> float:
    """Integral of the mean birth over volume."""
    return sum(v * (mf + mb) / 2 for v, _, _, mf, mb in line)


@pytest.mark.parametrize(
    ("volume", "first", "rest"),
    [
        (0.0, [], [A, B, C]),
        (2.0, [A], [B, C]),  # at a boundary
        (2.0 * (1 + 1e-14), [A], [B, C]),  # at it but for rounding
        (5.0, [A, B], [C]),
        (6.0, [A, B, C], []),
        (7.0, [A, B, C], []),  # more than there is
        (0.5, [(0.5, 0.0, 1.0, 1.0, 2.0)], [(1.5, 1.0, 4.0, 2.0, 5.0), B, C]),
        (5.5, [A, B, (0.5, 9.0, 9.5, 9.0, 10.0)], [(0.5, 9.5, 10.0, 10.0, 11.0)]),
    ],
)
def test_cut_divides_a_parcel_on_its_own_line(volume: float, first: list[Parcel], rest: list[Parcel]) -> None:
    """A cut inside a parcel shares its births out in proportion; a cut at an edge leaves parcels whole."""
    assert (first, rest) == parcels.cut([A, B, C], volume)


def test_the_other_end_and_back_again() -> None:
    """Turned parcels show their last end first, and turning twice changes nothing."""
    assert parcels.turned([A, B]) == [(3.0, 7.0, 7.0, 8.0, 8.0), (2.0, 4.0, 0.0, 5.0, 1.0)]
    assert parcels.turned(parcels.turned([A, B, C])) == [A, B, C]


def test_shift_and_scale_touch_one_thing_each() -> None:
    """A shift moves the four births, a scale the volume."""
    assert parcels.shifted([A], 10.0) == [(2.0, 10.0, 14.0, 11.0, 15.0)]
    assert parcels.scaled([A], 0.5) == [(1.0, 0.0, 4.0, 1.0, 5.0)]


def test_neighbours_join_only_where_one_continues_the_other() -> None:
    """Two halves of one line become one parcel; a kink or a jump, of either birth, keeps them apart."""
    whole = (4.0, 0.0, 8.0, 1.0, 9.0)
    first, rest = parcels.cut([whole], 1.0)
    assert [whole] == parcels.joined([*first, *rest], 1e-9)
    kink = [first[0], (3.0, 2.0, 2.0, 3.0, 9.0)]
    jump = [first[0], (3.0, 2.0, 8.0, 3.5, 9.0)]
    assert kink == parcels.joined(kink, 1e-9)
    assert jump == parcels.joined(jump, 1e-9)
    assert parcels.joined([], 1e-9) == []


def test_one_stream_passes_a_junction_unchanged() -> None:
    """Where nothing meets, nothing is mixed."""
    assert parcels.mix([(3.0, [A, B])]) == [A, B]


@pytest.mark.parametrize("order", list(itertools.permutations(range(3))))
def test_three_streams_whose_oldest_cross(order: tuple[int, ...]) -> None:
    """The mixture is as old as the oldest at each instant, and its mean is weighted by flow.

    Over 10 s births run t, 8 - t/2 and 4 at flows 1, 1 and 2. The least of them: t up to 4 s, then 4, and
    from 8 s on 8 - t/2. The mean: (t + 8 - t/2 + 2 x 4) / 4 = 4 + t/8.
    """
    streams = [
        (1.0, [(10.0, 0.0, 10.0, 0.0, 10.0)]),
        (1.0, [(10.0, 8.0, 3.0, 8.0, 3.0)]),
        (2.0, [(10.0, 4.0, 4.0, 4.0, 4.0)]),
    ]
    mixed = parcels.mix([streams[k] for k in order])
    known = [(4.0, 0.0, 4.0, 4.0, 4.5), (4.0, 4.0, 4.0, 4.5, 5.0), (2.0, 4.0, 3.0, 5.0, 5.25)]
    assert [pytest.approx(p) for p in known] == parcels.joined(mixed, 1e-9)


def test_equal_births_mix_into_themselves() -> None:
    """Two branches of one stream give that stream back when they meet in step."""
    assert [pytest.approx(p) for p in (A, B, C)] == parcels.mix([(1.0, [A, B, C]), (2.5, [A, B, C])])


def test_streams_cut_at_different_instants() -> None:
    """The mixture is cut wherever either stream is: births 0 to 3 s, 6 after; 2 to 5 s, 9 after.

    Flows 1 and 2: mean (0 + 4)/3, then (6 + 4)/3, then (6 + 18)/3; earliest 0, 2, 6.
    """
    one = [(3.0, 0.0, 0.0, 0.0, 0.0), (4.0, 6.0, 6.0, 6.0, 6.0)]
    two = [(5.0, 2.0, 2.0, 2.0, 2.0), (2.0, 9.0, 9.0, 9.0, 9.0)]
    known = [(3.0, 0.0, 0.0, 4 / 3, 4 / 3), (2.0, 2.0, 2.0, 10 / 3, 10 / 3), (2.0, 6.0, 6.0, 8.0, 8.0)]
    assert [pytest.approx(p) for p in known] == parcels.mix([(1.0, one), (2.0, two)])


@settings(deadline=None)
@given(one=lines(60.0), two=lines(60.0), three=lines(60.0), share=st.floats(0.01, 1.0))
def test_mixing_agrees_with_a_look_at_any_instant(
    one: list[Parcel], two: list[Parcel], three: list[Parcel], share: float
) -> None:
    """At every instant: the earliest of the three, the flow-weighted mean of the three, no time lost."""
    streams = [(1.0, one), (share, two), (2.0, three)]
    mixed = parcels.mix(streams)
    assert pytest.approx(60.0, rel=1e-9) == parcels.total(mixed)
    t = 0.0
    for p in mixed:
        for x in (0.25, 0.5, 0.75):
            if p[0] < 1e-6:  # in so short a one rounding decides which parcel a look falls into
                continue
            looks = [at(stream, t + x * p[0]) for _, stream in streams]
            assert pytest.approx(min(look[0] for look in looks), abs=1e-3) == p[1] + x * (p[2] - p[1])
            mean = sum(q * look[1] for (q, _), look in zip(streams, looks, strict=True)) / (3.0 + share)
            assert pytest.approx(mean, abs=1e-3) == p[3] + x * (p[4] - p[3])
        t += p[0]


def test_part_of_a_plug_is_pushed_out() -> None:
    """10 L born at 0, from 100 s on 4 L of new water at 1 L/s.

    Oldest: 100 + t. Mean: ((10 - t)(100 + t) + t x t/2) / 10 = 100 - 9 t - t2/20; its integral over 4 s is
    400 - 72 - 64/60.
    """
    passage = parcels.push([(10.0, 0.0, 0.0, 0.0, 0.0)], [(4.0, 100.0, 104.0, 100.0, 104.0)], 1.0, 100.0)
    assert passage.out == [(4.0, 0.0, 0.0, 0.0, 0.0)]
    assert passage.content == [(6.0, 0.0, 0.0, 0.0, 0.0), (4.0, 100.0, 104.0, 100.0, 104.0)]
    assert passage.knots == [(0.0, 100.0), (4.0, 104.0)]
    assert pytest.approx(400.0 - 72.0 - 64.0 / 60.0) == passage.mean_integral_s2


def test_three_volumes_are_pushed_through() -> None:
    """10 L born at 0, from 100 s on 30 L at 1 L/s: old water is gone after 10 s, then all stays 10 s.

    Oldest: 100 to 110 in the first 10 s (integral 1050), then 10 for 20 s (200). Mean from 10 s on: 5.
    In the first 10 s: 100 - 9 t - t2/20, integral 1000 - 450 - 1000/60.
    """
    passage = parcels.push([(10.0, 0.0, 0.0, 0.0, 0.0)], [(30.0, 100.0, 130.0, 100.0, 130.0)], 1.0, 100.0)
    assert [pytest.approx((10.0, 120.0, 130.0, 120.0, 130.0))] == passage.content
    assert parcels.peak_s(passage.knots) == 110.0
    assert pytest.approx(1250.0) == parcels.integral_s2(passage.knots)
    assert pytest.approx(1000.0 - 450.0 - 1000.0 / 60.0 + 100.0) == passage.mean_integral_s2
    assert pytest.approx(10.0) == parcels.above_s(passage.knots, 50.0)
    assert pytest.approx(5.0) == parcels.above_s(passage.knots, 105.0)
    assert pytest.approx(10.0) == parcels.above_s(passage.knots, 10.001)  # what stays 10 s is not above
    assert pytest.approx(30.0) == parcels.above_s(passage.knots, 9.0)


def test_the_oldest_is_what_leaves_until_something_behind_it_is_older() -> None:
    """Born from 0 s at the front to 10 s behind it, and all behind that at 5 s; new water at 1 m3/s.

    After t the front was born at 10 t, so until 0.5 s it is the oldest, and then what was born at 5 s is.
    """
    content = [(1.0, 0.0, 10.0, 0.0, 10.0), (1.0, 5.0, 5.0, 5.0, 5.0)]
    passage = parcels.push(content, [(1.0, 100.0, 101.0, 100.0, 101.0)], 1.0, 100.0)
    assert [(0.0, 100.0), (0.5, 95.5), (1.0, 96.0)] == passage.knots


@pytest.mark.parametrize(
    ("stood", "comes", "knots"),
    [
        ((5.0, 5.0), (0.0, 10.0), [(0.0, 100.0), (1.0, 101.0)]),  # the first that came in, to the end
        ((9.0, 5.0), (6.0, 0.0), [(0.0, 95.0), (1 / 6, 95.0 + 1 / 6), (1.0, 101.0)]),
        ((0.0, 9.0), (9.0, 9.0), [(0.0, 100.0), (1.0, 92.0)]),
    ],
)
def test_the_oldest_of_what_stood_and_what_comes_in(
    stood: tuple[float, float], comes: tuple[float, float], knots: list[tuple[float, float]]
) -> None:
    """One volume at 1 m3/s from 100 s on, in two parcels, each born from its front to its back.

    In the second case what was born at 5 s leaves last, but from 1/6 s on what comes in is older: 6 s - 6 t.
    In the third the oldest leaves first, and what is left behind it was born at 9 t.
    """
    passage = parcels.push([(1.0, *stood, *stood)], [(1.0, *comes, *comes)], 1.0, 100.0)
    for look in (0.0, 0.1, 1 / 6, 0.3, 0.5, 0.8, 1.0):
        expected, found = (np.interp(look, *zip(*some, strict=True)) for some in (knots, passage.knots))
        assert pytest.approx(expected) == found


def test_older_water_that_comes_in_behind_is_the_oldest_at_once() -> None:
    """10 L born at 100 s, and 30 L that come from 100 s on at 1 L/s, each drop a second older than the last.

    The drop that comes in at t was born at 90 - t: it is 10 s + 2 t old then, and none is older.
    """
    passage = parcels.push([(10.0, 100.0, 100.0, 100.0, 100.0)], [(30.0, 90.0, 60.0, 90.0, 60.0)], 1.0, 100.0)
    assert [pytest.approx(10.0 + 2.0 * t) for t, _ in passage.knots] == [age for _, age in passage.knots]
    assert pytest.approx(30.0 * 10.0 + 30.0**2) == parcels.integral_s2(passage.knots)


def test_exactly_one_volume() -> None:
    """The last old drop leaves as the push ends, and only new water is left."""
    new = (10.0, 100.0, 110.0, 100.0, 110.0)
    passage = parcels.push([(10.0, 0.0, 0.0, 0.0, 0.0)], [new], 1.0, 100.0)
    assert ([(10.0, 0.0, 0.0, 0.0, 0.0)], [new]) == (passage.out, passage.content)


@settings(deadline=None, max_examples=60)
@given(content=lines(8.0), inflow=lines(), flow=st.floats(0.1, 10.0))
def test_a_push_agrees_with_plain_sampling(content: list[Parcel], inflow: list[Parcel], flow: float) -> None:
    """Nothing is lost, and oldest and mean age follow a window that is looked through point by point."""
    passage = parcels.push(content, inflow, flow, 0.0)
    moved = parcels.total(inflow)
    duration, everything = moved / flow, [*content, *inflow]
    assert pytest.approx(moved, rel=1e-9) == parcels.total(passage.out)
    assert pytest.approx(8.0, rel=1e-9) == parcels.total(passage.content)
    kept = births_times_volume(passage.out) + births_times_volume(passage.content)
    assert pytest.approx(births_times_volume(everything), rel=1e-9, abs=1e-6) == kept
    assert pytest.approx((0.0, duration)) == (passage.knots[0][0], passage.knots[-1][0])

    steps = 200
    oldest_sum = mean_sum = 0.0
    edges = [0.0]
    for p in everything:
        edges.append(edges[-1] + p[0])
    for k in range(steps):
        y = moved * (k + 0.5) / steps
        inside = [x for x in edges if y < x < y + 8.0]
        marks = [y, *inside, y + 8.0]
        ends = [at(everything, x + d) for x in inside for d in (-1e-9, 1e-9)]
        age = duration * (k + 0.5) / steps
        oldest_sum += age - min(e[0] for e in [at(everything, y), at(everything, y + 8.0), *ends])
        stretches = itertools.pairwise(marks)
        mean_sum += age - sum((b - a) * at(everything, (a + b) / 2)[1] for a, b in stretches) / 8.0
    oldest = min(min(p[1:3]) for p in everything)
    off = 20.0 * (duration - oldest) * duration / steps  # a jump falls somewhere in a step; 11 can happen
    assert math.isclose(oldest_sum * duration / steps, parcels.integral_s2(passage.knots), abs_tol=off)
    assert math.isclose(mean_sum * duration / steps, passage.mean_integral_s2, abs_tol=off / 100.0)
    assert passage.mean_integral_s2 <= parcels.integral_s2(passage.knots) * (1 + 1e-9) + 1e-6


def test_dust_of_rounding_goes_to_a_neighbour():
    """A sliver of 1e-12 is no water of its own: the volume stays, its birth does not count."""
    line = [
        (1.0, 10.0, 11.0, 10.0, 11.0),
        (1e-12, -500.0, -500.0, -500.0, -500.0),
        (2.0, 11.0, 13.0, 11.0, 13.0),
    ]
    kept = parcels.swept(line, 1e-9)
    assert [10.0, 11.0] == [p[1] for p in kept]
    assert parcels.total(line) == parcels.total(kept)
    assert [line[1]] == parcels.swept(line[1:2], 1e-9), "what is all there is stays"
    last = parcels.swept(line[:2], 1e-9)
    assert (1, parcels.total(line[:2])) == (len(last), parcels.total(last))


def test_what_is_just_large_enough_is_no_dust():
    """Of 1, 0.5 and 0.25 with 0.5 as the least only the last is given away; its neighbour takes it, once."""
    line = [(1.0, 1.0, 2.0, 3.0, 4.0), (0.5, 5.0, 6.0, 7.0, 8.0), (0.25, 9.0, 9.0, 9.0, 9.0)]
    assert line[:2] == parcels.swept(line[:2], 0.5)
    assert [line[0], (0.75, 5.0, 6.0, 7.0, 8.0)] == parcels.swept(line, 0.5)
    last_first = [(1.25, 1.0, 2.0, 3.0, 4.0), line[1]]
    assert last_first == parcels.swept([line[2], *line[:2]], 0.5)


def test_dust_beside_dust_is_all_kept():
    """Two slivers in a row, in front, between and behind: 0.125 + 0.25 go to a neighbour each time."""
    small = [(0.125, 9.0, 9.0, 9.0, 9.0), (0.25, 8.0, 8.0, 8.0, 8.0)]
    line = [*small, (1.0, 1.0, 2.0, 3.0, 4.0), *small, (2.0, 5.0, 6.0, 7.0, 8.0), *small]
    assert [(1.375, 1.0, 2.0, 3.0, 4.0), (2.75, 5.0, 6.0, 7.0, 8.0)] == parcels.swept(line, 0.5)


def test_neighbours_join_at_just_the_change_that_is_allowed():
    """Births 0 and 2 in equal parts: on one line the seam is at 1, which changes either side by 1."""
    line = [(1.0, 0.0, 0.0, 0.0, 0.0), (1.0, 2.0, 2.0, 2.0, 2.0)]
    assert [(2.0, 0.0, 2.0, 0.0, 2.0)] == parcels.joined(line, 1.0)
    assert line == parcels.joined(line, 0.99)


def test_a_crossing_at_an_end_makes_no_sliver():
    """Births that cross a 1e-13th of the way before either end are one parcel, not one and a sliver."""
    still = [(10.0, 0.0, 0.0, 0.0, 0.0)]
    for front, back in ((1.0, -1e-13), (-1e-13, 1.0)):
        other = [(10.0, front, back, front, back)]
        (only,) = parcels.mix([(1.0, still), (1.0, other)])
        assert pytest.approx((10.0, 0.0, 0.0, front / 2, back / 2), abs=1e-12) == only


def test_what_counts_as_dust_is_a_share_of_the_plug():
    """In 10 m3 a drop of 5e-9 m3 is dust, coming in or left behind; in 0.01 m3 it is water of its own."""
    drop, new = 5e-9, (4.0, 100.0, 104.0, 100.0, 104.0)
    old = (10.0, 0.0, 0.0, 0.0, 0.0)
    passage = parcels.push([old], [new, (drop, 50.0, 50.0, 50.0, 50.0)], 1.0, 100.0)
    assert [(0.0, 0.0), (100.0, 104.0)] == [p[1:3] for p in passage.content]
    drops = [(0.004, 1.0, 1.0, 1.0, 1.0), (drop, 0.0, 0.0, 0.0, 0.0)]
    small = parcels.push([(0.01, 0.0, 0.0, 0.0, 0.0)], drops, 1.0, 9.0)
    assert [0.0, 1.0, 0.0] == [p[1] for p in small.content]

    layers = [(6.0, -9.0, -9.0, -9.0, -9.0), (4.0, 0.0, 0.0, 0.0, 0.0)]
    left = parcels.push(layers, [(6.0 - drop, 100.0, 100.0, 100.0, 100.0)], 1.0, 100.0)
    assert [0.0, 100.0] == [p[1] for p in left.content]
    assert pytest.approx(10.0, rel=1e-12) == parcels.total(left.content)
    thin = [(0.006, -9.0, -9.0, -9.0, -9.0), (0.004, 0.0, 0.0, 0.0, 0.0)]
    kept = parcels.push(thin, [(0.006 - drop, 100.0, 100.0, 100.0, 100.0)], 1.0, 100.0)
    assert [-9.0, 0.0, 100.0] == [p[1] for p in kept.content]


def test_at_the_limit_is_not_above_it():
    """An age that stays at the limit, or only touches it, is never above; one that falls to it always is."""
    assert 0.0 == parcels.above_s([(0.0, 10.0), (5.0, 10.0)], 10.0)
    assert 0.0 == parcels.above_s([(0.0, 5.0), (5.0, 10.0), (5.0, 2.0), (8.0, 5.0)], 10.0)
    assert 5.0 == parcels.above_s([(0.0, 20.0), (5.0, 10.0)], 10.0)

"""Water age: random histories against slugs of water moved one by one."""

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from cyclesim.physics import parcels
from cyclesim.physics.age_book import Emitted
from cyclesim.physics.circuit_age import WaterAge
from tests.physics.water_slugs import (
    FLOWS,
    LIMIT_S,
    PLUGS,
    SLUG_M3,
    SLUGS,
    TICK_S,
    Exact,
    Slugs,
    follow,
    histories,
    into,
    network,
    speeds,
    summed,
)


def compare(history: list[tuple[int, int]], finer: int) -> tuple[float, float, float, float]:
    """The worst plug's difference from slugs, as a share of the whole time: integrals of oldest and of mean
    age, time above the limit beyond what three ticks of age explain, and peak."""
    slugs = Slugs(finer)
    slugs.run(history)
    _, rows = follow(history)
    whole = slugs.now_s
    differences = []
    for i in PLUGS:
        oldest, mean, above, peak = summed(rows, i)
        differences.append(
            (
                abs(oldest - slugs.oldest[i]) / whole**2,
                abs(mean - slugs.mean[i]) / whole**2,
                max(above - slugs.nearly_above[i], slugs.well_above[i] - above) / whole,
                abs(peak - slugs.peak[i]) / whole,
            )
        )
    oldests, means, aboves, peaks = zip(*differences, strict=True)
    return max(oldests), max(means), max(aboves), max(peaks)


@settings(deadline=None, max_examples=40)
@given(history=histories)
@example(history=[(8, 111), (0, 21)])  # water circles for long, then the suction before it runs on alone
@example(history=[(0, 53), (9, 103), (9, 97)])  # the oldest water comes round to where it is not just now
def test_integrals_agree_with_slugs_moved_one_by_one(history: list[tuple[int, int]]) -> None:
    """Series, split, merge, reversal, valves and loops: ages over time are those of slugs, to their size."""
    # A change of flow may bring a jump of age to a plug, and each comes a tick or two late or early.
    ticks = (4.0 + 2.0 * len(history)) / (2.0 * sum(ticks for _, ticks in history))
    assert max(compare(history, 2)) <= ticks


def test_finer_slugs_come_nearer() -> None:
    """A long history of every pattern: with slugs of a quarter the size the difference falls to a quarter."""
    still, first = [(4, 60), (0, 7), (4, 90)], [(2, 30), (5, 9), (4, 20), (8, 25)]
    history = [*still, *first, (3, 40), (6, 11), (9, 30), (7, 12), (1, 80)]
    coarse, fine = compare(history, 2), compare(history, 8)
    assert max(coarse[:2]) < 0.005
    for k in (0, 1):
        assert coarse[k] / 6.5 < fine[k] < coarse[k] / 2.5


@settings(deadline=None, max_examples=60)
@given(history=histories)
def test_what_always_is_so(history: list[tuple[int, int]]) -> None:
    """Volume is kept, intervals tile the time, no oldest lies below its mean, no peak below its ends."""
    rows: list[Emitted] = []
    age = WaterAge(network(), PLUGS, LIMIT_S, 0.0, into(rows))
    patterns = [age.pattern(speeds(flows)) for flows in FLOWS]
    now, throughput, read = 0.0, [0.0] * 7, {(i, 0.0): 0.0 for i in PLUGS}
    for k, ticks in history:
        age.change(now, patterns[k])
        now += ticks * TICK_S
        for i in PLUGS:
            throughput[i] += abs(FLOWS[k][i]) * ticks * SLUG_M3
            oldest, mean = age.ages(i, now)
            assert oldest >= mean - 1e-4
            read[i, now] = oldest
            volume = SLUGS[i] * SLUG_M3
            off = abs(parcels.total(age.contents(i)) - volume)
            assert off <= 1e-9 * throughput[i] + 1e-15 * volume
    age.close(now)
    for i in PLUGS:
        mine = [r for r in rows if r.plug == i]
        assert 0.0 == mine[0].start_s
        assert now == mine[-1].end_s
        assert [r.end_s for r in mine[:-1]] == [r.start_s for r in mine[1:]]
        for r in mine:
            lasts = r.end_s - r.start_s
            assert lasts > 0.0
            assert 0.0 <= r.above_limit_s <= lasts * (1 + 1e-9)
            assert r.oldest_integral_s2 >= r.mean_integral_s2 - 1e-4 * lasts
            assert r.oldest_peak_s * lasts >= r.oldest_integral_s2 * (1 - 1e-9)
            assert r.oldest_peak_s >= max(read[i, r.start_s], read[i, r.end_s]) - 1e-4


@settings(deadline=None, max_examples=60)
@given(history=histories)
@example(history=[(0, 49), (9, 65), (1, 20), (8, 84)])  # rounding left dust of old water at an end
@example(history=[(0, 49), (0, 2), (9, 65), (0, 20), (9, 84)])
def test_remembered_passages_equal_those_followed(history: list[tuple[int, int]]) -> None:
    """What is read off per pair of patterns is what following every parcel gives, to 1e-9."""
    twice = history + history  # so that pairs come again
    (one, rows), (other, exact) = follow(twice), follow(twice, Exact)
    assert [r[:4] for r in exact] == [r[:4] for r in rows]
    for a, b in zip(exact, rows, strict=True):
        assert pytest.approx(a[4:], rel=1e-9, abs=1e-6) == b[4:]
    end = sum(ticks for _, ticks in twice) * TICK_S
    for i in PLUGS:
        assert pytest.approx(other.ages(i, end), rel=1e-9, abs=1e-6) == one.ages(i, end)


long_ones = st.lists(st.tuples(st.integers(0, len(FLOWS) - 1), st.integers(90, 500)), min_size=2, max_size=6)


@settings(deadline=None, max_examples=60)
@given(history=long_ones)
@example(history=[(1, 200), (0, 90), (4, 300), (0, 200), (1, 150), (0, 90), (4, 90)])
def test_plugs_that_stood_for_different_times_are_remembered_too(history: list[tuple[int, int]]) -> None:
    """Stretches that clear what they move, of parts of the network: as if every parcel were followed."""
    twice = history + history
    (_, rows), (_, exact) = follow(twice), follow(twice, Exact)
    for a, b in zip(exact, rows, strict=True):
        assert pytest.approx(a[4:], rel=1e-8, abs=1e-5) == b[4:]


def test_the_order_of_standing_times_is_worked_out_once() -> None:
    """Part of the network runs each day before all of it does, at other hours: one passage of two groups."""
    age = WaterAge(network(), PLUGS, LIMIT_S, 0.0, lambda *_: None)
    part, whole = (age.pattern(speeds(FLOWS[k])) for k in (3, 1))
    assert set(part.moving) < set(whole.moving)
    now = 0.0
    for before, between in ((9000.0, 5000.0), (8000.0, 7000.0), (20_000.0, 4000.0)):
        for stood, pattern in ((before, part), (between, whole)):
            age.change(now + stood, pattern)
            now += stood + 1000.0
            age.change(now, age.still)
    assert [2, 2] == [len(patterns) for patterns in whole.memo]  # from the start, and from profiles


def test_a_pair_of_patterns_is_worked_out_once() -> None:
    """Daily flushes that clear the network read one passage off; the days between may differ in length."""
    age = WaterAge(network(), PLUGS, LIMIT_S, 0.0, lambda *_: None)
    run = age.pattern(speeds(FLOWS[1]))
    now = 0.0
    for stood in (4000.0, 3000.0, 86_400.0, 50.0):
        age.change(now + stood, run)
        now += stood + 1000.0
        age.change(now, age.still)
    assert 2 == len(run.memo)  # from the start, and from its own profile


@settings(deadline=None, max_examples=60)
@given(
    steps=st.lists(
        st.tuples(st.integers(0, 3), st.floats(0.0, 2.0), st.integers(1, 60)), min_size=1, max_size=10
    )
)
def test_more_flow_never_ages_a_plug(steps: list[tuple[int, float, int]]) -> None:
    """With the same split at all times, a history whose flow is nowhere less has nowhere older water."""
    rows: list[Emitted] = []
    more_rows: list[Emitted] = []
    age = WaterAge(network(), PLUGS, LIMIT_S, 0.0, into(rows))
    more = WaterAge(network(), PLUGS, LIMIT_S, 0.0, into(more_rows))
    now = 0.0
    for level, extra, ticks in steps:
        age.change(now, age.pattern(speeds(FLOWS[2], level)))
        more.change(now, more.pattern(speeds(FLOWS[2], level + extra)))
        now += ticks * TICK_S
        for i in PLUGS:
            (oldest, mean), (more_oldest, more_mean) = age.ages(i, now), more.ages(i, now)
            assert more_oldest <= oldest + 1e-6
            assert more_mean <= mean + 1e-6
    age.close(now)
    more.close(now)
    for i in PLUGS:
        for a, b in zip(summed(more_rows, i), summed(rows, i), strict=True):
            assert a <= b * (1 + 1e-9) + 1e-6


@settings(deadline=None, max_examples=20)
@given(history=histories)
def test_the_same_history_gives_the_same_rows(history: list[tuple[int, int]]) -> None:
    """Twice the same, to the last bit."""
    assert follow(history)[1] == follow(history)[1]

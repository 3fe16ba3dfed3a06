"""Water age: whole small plants and loops by hand."""

import math

import pytest

from cyclesim.physics import parcels, water_age
from cyclesim.physics.age_book import Emitted
from cyclesim.physics.circuit_age import WaterAge
from cyclesim.physics.water_age import Plug, reached
from tests.physics.water_slugs import DAY_S, L, into, started

# -- by hand -----------------------------------------------------------------------------------------------


def test_one_leg_flushed_by_half_once_a_day() -> None:
    """20 L, each day 10 L in 20 s at 0.5 L/s: half the water is always a day older than the other half.

    Just before a flush the back half was born over 20 s a day ago, the front half a day before that: oldest
    2 D; mean age, halves D - 10 s and 2 D - 10 s, is 1.5 D - 10 s. At t into the flush the front half keeps
    the drops born u > t into theirs, so the oldest is 2 D + t - u with u = t: 2 D all along. As the flush
    ends the oldest is the first drop of the flush before, D + 20 s, and the mean (D + 10 + 10) / 2. Mean over
    the flush, of (20 - t) drops of mean age 2 D + t - (20 + t)/2, 20 of D + t - 10 and t of t/2: its integral
    is 20 D exactly.
    """
    age, flush, rows = started([Plug("leg", "tub", "tub", 20 * L)], [0.5 * L])
    for day in (1, 2, 3):
        if day == 3:
            assert pytest.approx((2 * DAY_S, 1.5 * DAY_S - 10.0)) == age.ages(0, day * DAY_S)
        age.change(day * DAY_S, flush)
        age.change(day * DAY_S + 20.0, age.still)
    assert pytest.approx((DAY_S + 20.0, DAY_S / 2 + 10.0)) == age.ages(0, 3 * DAY_S + 20.0)
    age.close(4 * DAY_S)
    *_, third, after = rows
    assert (3 * DAY_S, 3 * DAY_S + 20.0, 0.5 * L) == (third.start_s, third.end_s, third.flow_m3_s)
    assert pytest.approx((2 * DAY_S, 40.0 * DAY_S)) == (third.oldest_peak_s, third.oldest_integral_s2)
    assert pytest.approx(20.0 * DAY_S) == third.mean_integral_s2
    assert pytest.approx(20.0) == third.above_limit_s
    stood = DAY_S - 20.0
    assert pytest.approx(2 * DAY_S) == after.oldest_peak_s
    assert pytest.approx((DAY_S + 20.0 + stood / 2) * stood) == after.oldest_integral_s2
    assert pytest.approx(stood) == after.above_limit_s


def test_which_water_reaches_which_jet_and_when() -> None:
    """After 12 h the first water in the jet legs is the stale water of suction (6 L) and equipment (4 L).

    At 1 L/s tub water is through the suction after 6 s, through the equipment after 10 s; a 10 L leg at
    0.6 L/s has it at its end after 10 + 10/0.6 s, a 20 L leg at 0.4 L/s after 10 + 50 s. When the short leg
    has moved its own volume (10/0.6 s) its first 6 L are still stale, and only 4 L are new.
    """
    plugs = [
        Plug("suction", "tub", "A", 6 * L),
        Plug("equipment", "A", "B", 4 * L),
        Plug("short", "B", "tub", 10 * L),
        Plug("long", "B", "tub", 20 * L),
    ]
    flows = [L, L, 0.6 * L, 0.4 * L]
    assert pytest.approx((6.0, 10.0, 10.0 + 10.0 / 0.6, 60.0)) == reached(plugs, flows)
    begin = 43_200.0
    for after, oldest in [
        (5.99, (begin + 5.99,) * 4),
        (6.01, (6.0, *(begin + 6.01,) * 3)),
        (10.01, (6.0, 10.0, *(begin + 10.01,) * 2)),
        (10.0 / 0.6, (6.0, 10.0, *(begin + 10.0 / 0.6,) * 2)),
        (26.66, (6.0, 10.0, *(begin + 26.66,) * 2)),
        (26.67, (6.0, 10.0, 10.0 + 10.0 / 0.6, begin + 26.67)),
        (59.99, (6.0, 10.0, 10.0 + 10.0 / 0.6, begin + 59.99)),
        (60.0, (6.0, 10.0, 10.0 + 10.0 / 0.6, 60.0)),
        (500.0, (6.0, 10.0, 10.0 + 10.0 / 0.6, 60.0)),
    ]:
        age, run, _ = started(plugs, flows)
        age.change(begin, run)
        assert pytest.approx(oldest) == tuple(age.ages(i, begin + after)[0] for i in range(4)), after
    age, run, _ = started(plugs, flows)
    age.change(begin, run)
    age.change(begin + 10.0 / 0.6, age.still)
    stale, new = parcels.joined(age.contents(2), 1e-6)
    assert pytest.approx((6 * L, 0.0, 0.0, 0.0, 0.0)) == stale
    assert pytest.approx((4 * L, begin, begin + 10 / 0.6 - 10, begin, begin + 10 / 0.6 - 10)) == new


@pytest.mark.parametrize("volumes", [(5, 20), (20, 5)])
def test_where_branches_meet_the_slower_one_decides(volumes: tuple[int, int]) -> None:
    """5 and 20 L side by side at 1 L/s each, then 10 L at 2 L/s: new water alone is at its end after 25 s.

    Half of it is 5 s old at the junction and half 20 s: mean 12.5 s there and 12.5 + 5/2 s in the last leg.
    """
    plugs = [Plug(str(v), "tub", "A", v * L) for v in volumes] + [Plug("last", "A", "tub", 10 * L)]
    flows = [L, L, 2 * L]
    assert pytest.approx((*volumes, 25.0)) == reached(plugs, flows)
    age, run, _ = started(plugs, flows)
    age.change(1000.0, run)
    assert pytest.approx(1024.99) == age.ages(2, 1024.99)[0]
    assert pytest.approx((25.0, 15.0)) == age.ages(2, 1025.0)
    assert pytest.approx((25.0, 15.0)) == age.ages(2, 1100.0)


def test_a_flush_of_exactly_one_volume() -> None:
    """20 L at 0.5 L/s: after 39 s the oldest water is that of the start, after 40 s it is 40 s old."""
    for lasts, known in [(39.0, 1039.0), (40.0, 40.0), (41.0, 40.0)]:
        age, flush, _ = started([Plug("leg", "tub", "tub", 20 * L)], [0.5 * L])
        age.change(1000.0, flush)
        age.change(1000.0 + lasts, age.still)
        assert pytest.approx(known) == age.ages(0, 1000.0 + lasts)[0]


@pytest.mark.parametrize(("bore_m", "litres", "seconds"), [(0.0452, 16.05, 7.22), (0.0525, 21.65, 9.74)])
def test_a_plug_flow_line_turns_over_in_volume_by_flow(bore_m: float, litres: float, seconds: float) -> None:
    """10 m of pipe at 8 m3/h: the age at the outlet is A L / Q, exact in plug flow."""
    volume_m3 = math.pi / 4 * bore_m**2 * 10.0
    assert pytest.approx(litres, abs=0.005) == volume_m3 / L
    plug = Plug("line", "tub", "tub", volume_m3)
    flow_m3_s = 8.0 / 3600.0
    assert pytest.approx(seconds, abs=0.005) == reached([plug], [flow_m3_s])[0]
    age, flush, _ = started([plug], [flow_m3_s])
    age.change(100.0, flush)
    assert pytest.approx((seconds, seconds / 2), abs=0.005) == age.ages(0, 120.0)


def test_a_reversed_leg_is_replaced_from_its_far_end() -> None:
    """10 L stand; 4 L come in at end b at 1 L/s: end b is new and end a is old."""
    age, back, rows = started([Plug("leg", "tub", "tub", 10 * L)], [-L])
    age.change(100.0, back)
    age.change(104.0, age.still)
    age.close(104.0)
    new, old = parcels.joined(age.contents(0), 1e-9)
    assert pytest.approx((4 * L, 104.0, 100.0, 104.0, 100.0)) == new
    assert pytest.approx((6 * L, 0.0, 0.0, 0.0, 0.0)) == old
    assert -L == rows[-1].flow_m3_s


def test_a_drip_counts_as_still() -> None:
    """Below 0.6 mL/min nothing moves: the water ages as it stands."""
    age, drip, rows = started([Plug("leg", "tub", "tub", 10 * L)], [0.9 * water_age.STILL_M3_S])
    age.change(10.0, drip)
    age.close(1000.0)
    assert [(0, 0.0, 1000.0, 0.0)] == [r[:4] for r in rows]
    assert pytest.approx((1000.0, 1000.0)) == age.ages(0, 1000.0)


# -- loops -------------------------------------------------------------------------------------------------

BACK_FED = [
    Plug("suction", "tub", "A", 5 * L),
    Plug("running", "A", "B", 2 * L),
    Plug("idle", "A", "B", 1.37 * L),
    Plug("jets", "B", "tub", 8 * L),
]
BACK_FED_FLOWS = [3 * L, 4 * L, -1 * L, 3 * L]


def test_water_that_circles_has_a_mean_age_and_no_oldest() -> None:
    """A running pump feeds 1 of its 4 L/s back through an idle one.

    The age a at the running pump's inlet: 3/4 of tub water that was 5/3 s in the suction, 1/4 of a + 2/4 s +
    1.37 s from round the loop: a = (5 + a + 1.87) / 4 = 2.29 s. Means: suction 5/6; running a + 1/4; idle
    a + 1/2 + 1.37/2; jets a + 1/2 + 4/3. A drop in four goes round again, so the oldest never leaves.
    """
    assert (5 / 3, math.inf, math.inf, math.inf) == reached(BACK_FED, BACK_FED_FLOWS)
    age, run, rows = started(BACK_FED, BACK_FED_FLOWS)
    age.change(1000.0, run)
    a = 2.29
    means = (5 / 6, a + 0.25, a + 0.5 + 1.37 / 2, a + 0.5 + 4 / 3)
    found = [age.ages(i, 5000.0) for i in range(4)]
    assert pytest.approx(means, abs=1e-4) == [mean for _, mean in found]
    assert pytest.approx((5 / 3, 5000.0, 5000.0, 5000.0)) == [oldest for oldest, _ in found]
    age.close(6000.0)
    last = [r for r in rows if r.end_s == 6000.0]
    assert pytest.approx([1000.0 * mean for mean in means], abs=0.5) == [r.mean_integral_s2 for r in last]
    assert pytest.approx([1666.667, 5.5e6, 5.5e6, 5.5e6], rel=1e-3) == [r.oldest_integral_s2 for r in last]


def test_beside_water_that_circles_what_is_asked_for_is_told_alone() -> None:
    """Of the suction: what stood for 1000 s leaves it in 5/3 s; from then on its oldest is 5/3 s."""
    rows: list[Emitted] = []
    age = WaterAge(BACK_FED, [0], DAY_S, 0.0, into(rows))
    age.change(1000.0, age.pattern(BACK_FED_FLOWS))
    age.close(1010.0)
    t = 5 / 3
    assert [0, 0] == [row.plug for row in rows]
    assert pytest.approx(1000 * t + t * t / 2 + t * (10 - t)) == rows[-1].oldest_integral_s2


@pytest.mark.parametrize(("fresh", "within"), [(3 * L, 3e-3), (0.3 * L, 0.05)])
def test_a_long_stretch_of_circling_water_fades_as_if_followed(
    monkeypatch: pytest.MonkeyPatch, fresh: float, within: float
) -> None:
    """Stirred after 64 slices or followed drop by drop: the same oldest water, the same mean ages.

    With 3 L/s from the tub the loop's 3.37 L are fresh long before. With a tenth of that the leg before it
    is clear after 17 s and a quarter of the loop's old water is left after the 32 s of the slices; it fades
    with 3.37 L / 0.3 L/s = 11 s. The leg behind it, 27 s long, is told to fade likewise: within 5 %.
    """
    flows = [fresh, 4 * L, fresh - 4 * L, fresh]

    def rows_of() -> list[Emitted]:
        age, run, rows = started(BACK_FED, flows)
        age.change(500.0, run)
        age.change(700.0, age.still)
        age.change(900.0, run)
        age.close(1100.0)
        return rows + [Emitted(i, 0, 0, 0, *age.ages(i, 1100.0), 0, 0) for i in range(4)]

    stirred = rows_of()
    monkeypatch.setattr(water_age, "_FOLLOWED", math.inf)
    followed = rows_of()
    assert [r[:4] for r in followed] == [r[:4] for r in stirred]
    for one, other in zip(followed, stirred, strict=True):
        assert pytest.approx(one[4:6], rel=1e-6, abs=1e-3) == other[4:6], one
        assert pytest.approx(one.mean_integral_s2, rel=within, abs=20.0) == other.mean_integral_s2
        assert pytest.approx(one.above_limit_s, abs=1e-3) == other.above_limit_s


def test_the_number_of_parcels_on_a_loop_stays_small() -> None:
    """Hours round a loop leave one parcel in each plug, and not one for each time round."""
    age, run, _ = started(BACK_FED, BACK_FED_FLOWS)
    age.change(1000.0, run)
    age.close(4600.0)
    assert [1, 1, 1, 1] == [len(parcels.joined(age.contents(i), 1e-5)) for i in range(4)]
    assert max(len(age.contents(i)) for i in range(4)) < 10
    assert pytest.approx([p.volume_m3 for p in BACK_FED]) == [
        parcels.total(age.contents(i)) for i in range(4)
    ]


RING = [
    Plug("suction", "tub", "A", 5 * L),
    Plug("out", "A", "B", 2 * L),
    Plug("back", "B", "A", 3 * L),
    Plug("jets", "B", "tub", 8 * L),
]


def test_water_that_circles_without_the_tub_only_grows_older() -> None:
    """Valves shut to the tub: out, 60 s old on the mean after a flush of 0.1 L/s, and back, 1000 s old.

    Tub water takes 50 s to A and 20 s more to B: ages from 50 to 70 s in out, 60 s on the mean. Stirred with
    back: (2 * 60 + 3 * 1000) / 5 = 624 s, and the oldest 1000 s; both grow by the second from there.
    """
    age, flush, rows = started(RING, [0.1 * L, 0.1 * L, 0.0, 0.1 * L])
    age.change(800.0, flush)
    ring = age.pattern([0.0, 4 * L, 4 * L, 0.0])
    assert (0.0, math.inf, math.inf, 0.0) == ring.reached_s
    age.change(1000.0, ring)
    age.close(3000.0)
    for i in (1, 2):
        assert pytest.approx((3000.0, 2624.0)) == age.ages(i, 3000.0)
    circling = [r for r in rows if r.plug in (1, 2) and r.end_s == 3000.0]
    assert pytest.approx([3000.0] * 2) == [r.oldest_peak_s for r in circling]
    assert pytest.approx([(1000.0 + 1000.0) * 2000.0] * 2) == [r.oldest_integral_s2 for r in circling]
    assert pytest.approx([(624.0 + 1000.0) * 2000.0] * 2) == [r.mean_integral_s2 for r in circling]


def test_a_loop_without_volume_is_refused() -> None:
    """Water cannot circle through valves alone: the junctions are named."""
    plugs = [Plug("leg", "tub", "A", L), Plug("v", "A", "B", 0.0), Plug("w", "B", "A", 0.0)]
    with pytest.raises(ValueError, match="water circles without volume at A, B"):
        reached(plugs, [L, 2 * L, L])


def test_a_fast_circle_beside_a_slow_way_is_followed_in_few_slices(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ages when tub water has yet to clear the slow way: those of following every slice, to 2 %."""
    plugs = [
        Plug("in", "tub", "n", 0.01), Plug("round", "n", "m", 0.002), Plug("back", "m", "n", 0.001),
        Plug("out", "m", "tub", 0.05), Plug("slow", "tub", "m", 0.004),
    ]  # fmt: skip
    flows = [1e-4, 5.1e-3, 5e-3, 1.02e-4, 2e-6]

    def ages() -> list[tuple[float, float]]:
        water = WaterAge(plugs, range(len(plugs)), 86_400.0, 0.0, lambda *_: None)
        water.change(0.0, water.pattern(flows))
        water.close(1500.0)
        return [water.ages(i, 1500.0) for i in range(len(plugs))]

    few = ages()
    monkeypatch.setattr(water_age, "_MOST_SLICES", 10**9)
    for (oldest, mean), (exact_oldest, exact_mean) in zip(few, ages(), strict=True):
        assert exact_oldest == pytest.approx(oldest, rel=0.02)
        assert exact_mean == pytest.approx(mean, rel=0.02)

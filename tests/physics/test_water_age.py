"""Water age: whole small plants by hand, and random histories against slugs of water moved one by one."""

import math
from collections import deque
from collections.abc import Callable, Sequence

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from cyclesim.physics import parcels, water_age
from cyclesim.physics.age_book import Emitted, Floats
from cyclesim.physics.circuit_age import WaterAge
from cyclesim.physics.water_age import Pattern, Plug, reached

L = 1e-3
DAY_S = 86_400.0
LIMIT_S = 123.4

# Suction and equipment in series, a second branch beside the equipment, a valve, then three legs to the tub.
# Volumes are counted in slugs; flows in slugs per tick.
SLUGS = (24, 12, 0, 18, 30, 20, 10)
ENDS = (("tub", "A"), ("A", "B"), ("B", "C"), ("C", "tub"), ("C", "tub"), ("B", "tub"), ("A", "B"))
FORWARD = [
    (2, 2, 2, 1, 1, 0, 0),  # two legs in parallel
    (3, 3, 2, 1, 1, 1, 0),  # all three
    (3, 2, 3, 1, 2, 0, 1),  # branches that split and meet again
    (1, 1, 0, 0, 0, 1, 0),
    (0, 0, 0, 0, 0, 0, 0),
]
REVERSED = [(-2, -2, -2, -1, -1, 0, 0), (0, 0, 0, 1, -1, 0, 0), (0, 0, 2, 1, 1, -2, 0)]
LOOPS = [(2, 3, 2, 1, 1, 0, -1), (1, -1, 0, 0, 0, 1, 2)]  # one branch back-fed by the other
FLOWS = FORWARD + REVERSED + LOOPS
TICK_S, SLUG_M3 = 8.0, 1e-4

lengths = st.integers(1, 6) | st.integers(20, 150)
histories = st.lists(st.tuples(st.integers(0, len(FLOWS) - 1), lengths), min_size=1, max_size=9)


class Slugs:
    """The same network as equal slugs of water, each with its earliest and mean birth, moved tick by tick."""

    def __init__(self, finer: int) -> None:
        self.finer, self.tick_s, self.now_s = finer, TICK_S / finer, 0.0
        self.plugs = [deque([(0.0, 0.0)] * (n * finer)) for n in SLUGS]  # from end a to end b
        self.oldest, self.mean, self.peak = [0.0] * 7, [0.0] * 7, [0.0] * 7
        self.well_above, self.nearly_above = [0.0] * 7, [0.0] * 7  # by three ticks

    def tick(self, flows: Sequence[int]) -> None:
        """What leaves a plug in this tick is mixed where it arrives; the tub's water is born in mid-tick."""
        born = self.now_s + self.tick_s / 2
        left: dict[int, list[tuple[float, float]]] = {}
        for i, q in enumerate(flows):
            if q and SLUGS[i]:
                plug = self.plugs[i]
                left[i] = [plug.pop() if q > 0 else plug.popleft() for _ in range(abs(q))]

        def arriving(node: str) -> tuple[float, float]:
            if node == "tub":
                return born, born
            slugs: list[tuple[float, float]] = []
            for i, q in enumerate(flows):
                start, end = ENDS[i] if q > 0 else ENDS[i][::-1]
                if q and end == node:
                    slugs += left[i] if SLUGS[i] else [arriving(start)] * abs(q)
            return min(s[0] for s in slugs), sum(s[1] for s in slugs) / len(slugs)

        for i, q in enumerate(flows):
            if q and SLUGS[i]:
                slug = arriving(ENDS[i][0] if q > 0 else ENDS[i][1])
                for _ in range(abs(q)):
                    self.plugs[i].appendleft(slug) if q > 0 else self.plugs[i].append(slug)
        self.now_s += self.tick_s
        for i, plug in enumerate(self.plugs):
            if plug:
                oldest, mean = self.ages(i)
                self.oldest[i] += (oldest - self.tick_s / 2) * self.tick_s
                self.mean[i] += (mean - self.tick_s / 2) * self.tick_s
                self.well_above[i] += self.tick_s if oldest - 3 * self.tick_s > LIMIT_S else 0.0
                self.nearly_above[i] += self.tick_s if oldest + 3 * self.tick_s > LIMIT_S else 0.0
                self.peak[i] = max(self.peak[i], oldest)

    def ages(self, i: int) -> tuple[float, float]:
        """Oldest and mean age now."""
        plug = self.plugs[i]
        return self.now_s - min(s[0] for s in plug), self.now_s - sum(s[1] for s in plug) / len(plug)

    def run(self, history: list[tuple[int, int]]) -> None:
        """Follow a history of (pattern, ticks)."""
        for k, ticks in history:
            for _ in range(ticks * self.finer):
                self.tick(FLOWS[k])


class Exact(WaterAge):
    """Follows every parcel always, and remembers no passage."""

    def _advance(self, p: Pattern, t0: float, t1: float, _: object) -> None:
        self._advance_exact(p, t0, t1 - t0, 0.0)


def network() -> list[Plug]:
    """The network above."""
    return [Plug(str(i), *ENDS[i], n * SLUG_M3) for i, n in enumerate(SLUGS)]


def speeds(flows: Sequence[float], factor: float = 1.0) -> list[float]:
    """Slugs per tick in m3/s."""
    return [q * factor * SLUG_M3 / TICK_S for q in flows]


PLUGS = [i for i, n in enumerate(SLUGS) if n]


def follow(history: list[tuple[int, int]], kind: type[WaterAge] = WaterAge) -> tuple[WaterAge, list[Emitted]]:
    """The history of (pattern, ticks) through the module itself."""
    rows: list[Emitted] = []
    age = kind(network(), PLUGS, LIMIT_S, 0.0, into(rows))
    patterns = [age.pattern(speeds(flows)) for flows in FLOWS]
    now = 0.0
    for k, ticks in history:
        age.change(now, patterns[k])
        now += ticks * TICK_S
    age.close(now)
    return age, rows


def into(rows: list[Emitted]) -> Callable[[int, Floats], None]:
    """What puts intervals into *rows*."""
    return lambda _, table: rows.extend(Emitted(*row) for row in table)


def summed(rows: list[Emitted], plug: int) -> tuple[float, float, float, float]:
    """Integrals of oldest and mean age, time above the limit, and peak, of one plug."""
    mine = [r for r in rows if r.plug == plug]
    return (
        sum(r.oldest_integral_s2 for r in mine),
        sum(r.mean_integral_s2 for r in mine),
        sum(r.above_limit_s for r in mine),
        max(r.oldest_peak_s for r in mine),
    )


def started(plugs: list[Plug], flows: list[float]) -> tuple[WaterAge, Pattern, list[Emitted]]:
    """Tub water everywhere at 0 s, standing; one pattern to run."""
    rows: list[Emitted] = []
    age = WaterAge(plugs, range(len(plugs)), DAY_S, 0.0, into(rows))
    return age, age.pattern(flows), rows


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


# -- random histories --------------------------------------------------------------------------------------


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
    assert [2, 2] == [1 + max(groups) for _, groups in whole.memo]  # from the start, and from profiles


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

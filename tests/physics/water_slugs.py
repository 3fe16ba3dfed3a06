"""A network as slugs of water moved one by one, and the same followed by the module."""

from collections import deque
from collections.abc import Callable, Sequence

from hypothesis import strategies as st

from cyclesim.physics.age_book import Emitted, Floats
from cyclesim.physics.circuit_age import WaterAge
from cyclesim.physics.water_age import Pattern, Plug

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

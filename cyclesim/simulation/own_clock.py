"""The controller's clock against the real one: what it gains or loses, and where a power cut resets it.

A time clock of a device's own may gain or lose, or stand while it has no power; nobody sets it right.

The controller's clock is a mapping from what it shows to real seconds (`own_clock`): drift, midnight after a
cut, somebody who sets it. Bathers, weather and clocks of devices keep real time.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

from cyclesim.scenario.blocks.schedule import Controller
from cyclesim.simulation.setpoints import Level, ReadyBy, SetPoints
from cyclesim.simulation.trace import Span

_DAY_S = 86_400.0


class ClockStretch(NamedTuple):
    """From *start_s* to *end_s* (real) the clock runs on from *shows_s*, *rate* seconds a second."""

    start_s: int
    end_s: int
    shows_s: float
    rate: float

    @property
    def last_s(self) -> float:
        """What it shows at the end."""
        return self.shows_s + self.rate * (self.end_s - self.start_s)

    @property
    def is_right(self) -> bool:
        """Whether it shows the real time throughout, from the origin on."""
        return self.rate == 1.0 and self.start_s == self.shows_s == 0

    def real_s(self, shows_s: float) -> int:
        """When it shows this."""
        return self.start_s + round((shows_s - self.shows_s) / self.rate)


class OwnClock:
    """What the controller takes for the time, in seconds from the same origin as the real seconds.

    It is set right at the origin and whenever somebody comes after a power cut that reset it; on days *away*
    nobody does. A reset shows midnight of the same day.
    """

    def __init__(
        self,
        controller: Controller,
        cuts: Sequence[Span],
        origin: datetime,
        zone: ZoneInfo,
        span_s: int,
        away: Sequence[Span] = (),
    ) -> None:
        rate = 1.0 + controller.clock_gains_s / _DAY_S
        set_right: list[tuple[int, float]] = [(0, 0.0)]
        for _, end in cuts if controller.after_power_cut == "midnight" else ():
            local = (origin + timedelta(seconds=end)).astimezone(zone)
            since_midnight = 3600.0 * local.hour + 60.0 * local.minute + local.second
            come = somebody_by(end, round(controller.person_within_s), away)
            set_right = [
                setting for setting in set_right if setting[0] < end
            ]  # nobody came before the next cut
            set_right += [(end, end - since_midnight), (come, float(come))]
        starts = [setting for setting in set_right if setting[0] < span_s]
        ends = [*(start for start, _ in starts[1:]), span_s]
        self.stretches = tuple(
            ClockStretch(start, end, shows, rate)
            for (start, shows), end in zip(starts, ends, strict=True)
            if end > start
        )

    @property
    def wrong(self) -> list[Span]:
        """When it shows another time since a power cut reset it."""
        return [(one.start_s, one.end_s) for one in self.stretches if one.shows_s != one.start_s]

    @classmethod
    def of_device(cls, gains_s: float, cuts: Sequence[Span], span_s: int) -> OwnClock:
        """A device's own time clock, right at the origin, that nobody sets: it stands through *cuts* [s].

        *gains_s*: what it gains a day [s]; *span_s*: how long it is followed [s].
        """
        rate, clock = 1.0 + gains_s / _DAY_S, cls.__new__(cls)
        starts, shows, stretches = 0, 0.0, list[ClockStretch]()
        for begin, end in (*cuts, (span_s, span_s)):
            if begin > starts:
                stretches.append(ClockStretch(starts, begin, shows, rate))
                shows = stretches[-1].last_s
            starts = end
        clock.stretches = tuple(stretches)
        return clock

    def real(self, spans: Iterable[Span]) -> list[Span]:
        """When it shows these spans; one may come twice, or never."""
        if len(self.stretches) == 1 and self.stretches[0].is_right:
            last_s = self.stretches[0].end_s
            return [(max(a, 0), min(b, last_s)) for a, b in spans if b > 0 and a < last_s and a < b]
        lasting = [(stretch, stretch.shows_s, stretch.last_s) for stretch in self.stretches]
        return [
            (start, end)
            for a, b in spans
            for stretch, first_s, last_s in lasting
            if b > first_s and a < last_s
            for start, end in [
                (max(stretch.real_s(a), stretch.start_s), min(stretch.real_s(b), stretch.end_s))
            ]
            if start < end
        ]

    def real_points(self, points: SetPoints) -> SetPoints:
        """Set points by its time, as they come in real time."""
        levels: list[Level] = []
        for stretch in self.stretches:
            before = [level for level in points.levels if level.at_s <= stretch.shows_s] or list(
                points.levels[:1]
            )
            inside = [level for level in points.levels if stretch.shows_s < level.at_s < stretch.last_s]
            found = [(stretch.start_s, before[-1].keep_at_c)]
            found += [(stretch.real_s(level.at_s), level.keep_at_c) for level in inside]
            for at, keep_at_c in found:
                if not levels or levels[-1].keep_at_c != keep_at_c:
                    levels.append(Level(at, keep_at_c))
        ready = []
        for r in points.ready:
            for stretch in self.stretches:
                if stretch.shows_s <= r.ready_s < stretch.last_s:
                    due = stretch.real_s(r.ready_s)
                    ready.append(
                        ReadyBy(max(stretch.start_s, due - (r.ready_s - r.from_s)), due, r.keep_at_c)
                    )
        return SetPoints(tuple(levels), tuple(sorted(ready)))


def somebody_by(since_s: int, within_s: int, away: Sequence[Span]) -> int:
    """When somebody has come who comes within so long [s] of an instant; no second of days away counts.

    >>> somebody_by(10, 20, [(15, 100)])
    115
    """
    by_s = since_s + within_s
    for start, end in sorted(away):
        if start < by_s and end > since_s:
            by_s += end - max(start, since_s)
            since_s = end
    return by_s

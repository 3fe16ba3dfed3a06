"""The programmes of a tuning as strips of the day: when each flushes and filters, and what it comes to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import time

from cyclesim.decide.tuning.space import FILTER, FLUSH, bathed, quiet
from cyclesim.decide.tuning.tuning import Choice, Tuning
from cyclesim.said.tune import a_day, in_short, spread

DAY_H = 24.0
Hours = tuple[float, float]
"""Start and end on a day [h]."""


@dataclass(frozen=True, slots=True)
class Strip:
    """One programme on one day."""

    name: str
    is_advised: bool
    flushes_h: list[float]
    """Where each begins [h]."""
    filters_h: list[Hours]
    numbers: tuple[float, ...]
    """As `said.tune.a_day` has them."""
    breaks: str
    """The first rule that it breaks, if any."""
    lacks: str
    """What it is short of beside the margins and minimums that the file asks for, if anything."""


@dataclass(frozen=True, slots=True)
class Strips:
    """The best programmes, then the file's own and the rules of thumb."""

    title: str
    days: int
    currency: str
    strips: list[Strip]
    best: int
    """How many, the best or else the nearest, come before the file's own."""
    quiet_h: list[Hours]
    bathed_h: list[Hours]

    @property
    def advises(self) -> bool:
        """Whether one of them is advised."""
        return any(strip.is_advised for strip in self.strips)


def strips(tuning: Tuning) -> Strips:
    """What there is to see of a tuning, by the hours of a day."""
    best, others = _chosen(tuning)
    return Strips(
        title=tuning.scenario.title,
        days=tuning.days,
        currency=tuning.own.outcome.currency,
        strips=[_strip(tuning, choice) for choice in (*best, *others)],
        best=len(best),
        quiet_h=_of_a_day(quiet(tuning.scenario)),
        bathed_h=_of_a_day(bathed(tuning.scenario)),
    )


def shown_choices(tuning: Tuning) -> list[Choice]:
    """The programmes of the strips, in their order."""
    best, others = _chosen(tuning)
    return [*best, *others]


def _chosen(tuning: Tuning) -> tuple[list[Choice], list[Choice]]:
    """The best programmes, then the file's own and the rules of thumb."""
    best = [choice for choice in spread(tuning.best, tuning.recommended) if choice is not tuning.own]
    if tuning.recommended is None and tuning.nearest is not None and not tuning.nearest.name:
        best.insert(0, tuning.nearest)
    return best, [tuning.own, *tuning.thumbs]


def _strip(tuning: Tuning, choice: Choice) -> Strip:
    entries = choice.programme.entries
    filters = [
        (_hour(hour), entry.lasts_s) for entry in entries if entry.does == FILTER for hour in entry.starts
    ]
    return Strip(
        choice.name or in_short(choice.programme),
        choice is tuning.recommended,
        [_hour(hour) for entry in entries if entry.does == FLUSH for hour in entry.starts],
        [(hour, hour + lasts_s / 3600.0) for hour, lasts_s in filters],
        a_day(tuning, choice),
        choice.refused[0].rule if choice.refused else "",
        "; ".join(choice.lacks),
    )


def _hour(clock: time) -> float:
    return clock.hour + clock.minute / 60.0


def _of_a_day(seconds: Sequence[tuple[int, int]]) -> list[Hours]:
    """Windows of the day [h], those over midnight in two."""
    windows: list[Hours] = []
    for opens, closes in seconds:
        start, end = opens / 3600.0, closes / 3600.0
        if end <= start:
            windows += [(start, DAY_H), (0.0, end)]
        elif end > DAY_H:
            windows += [(start, DAY_H), (0.0, end - DAY_H)]
        else:
            windows.append((start, end))
    return windows

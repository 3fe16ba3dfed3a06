"""Programmes ranked by a few days of each season, so that only those that may be best run the whole span.

Beside a programme of the same plant whose whole span is known, four times four days tell what another costs
within some 2 % (of 38 on the shipped pair 0.7 % off on average, 2.3 % at most), in a seventh of a year's
time: heat and water remember little that is older than a day. They only tell which to leave out: what is
reported of a programme comes from the whole span.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from typing import NamedTuple

from cyclesim.decide.sweeps.brief import Brief, brief
from cyclesim.decide.sweeps.outcome import Outcome
from cyclesim.decide.sweeps.pool import each
from cyclesim.decide.sweeps.sweep import How, Job, as_it_runs, built
from cyclesim.simulation.drive import by_calendar
from cyclesim.simulation.engine import DAY_S, PlantRun
from cyclesim.simulation.uncollected import uncollected

_PARTS = 4
_PART_DAYS = 4
_WARM_UP_DAYS = 1
_SHORTEST_DAYS = 4 * _PARTS * (_PART_DAYS + _WARM_UP_DAYS)
"""A span that is no longer is run whole."""
NEAR = 0.03
"""What is worse by less than this share is about as good."""
_STRAYS = 0.02
"""So far a rough number may be off, as a share."""


class Marks(NamedTuple):
    """What programmes are compared by; less is better."""

    cost: float
    pump_h: float
    pump_starts: float
    loud_min: float
    oldest_water_h: float


def marks(out: Outcome | Brief) -> Marks:
    """Those of a run."""
    return Marks(out.cost, out.pump_h, float(out.pump_starts), out.loud_min, out.oldest_water_h)


def ranks(days: int) -> bool:
    """Whether a span is so long that ranking by some of its days is worth it."""
    return days > _SHORTEST_DAYS


def rough(jobs: Sequence[Job], how: How) -> list[Marks]:
    """What some days make of each; what runs alike is run once, judged by the first one's quiet hours."""
    alike: dict[str, list[int]] = {}
    for i, task in enumerate(jobs):
        alike.setdefault(repr(as_it_runs(task)), []).append(i)
    places, found = list(alike.values()), dict[int, Marks]()
    for number, made in each(_in_parts, [jobs[i] for i, *_ in places], how.workers):
        found.update(dict.fromkeys(places[number], made))
        if how.on_run is not None:
            how.on_run(len(found), len(jobs))
    return [found[i] for i in range(len(jobs))]


@uncollected()
def _in_parts(whole: Job) -> Marks:
    """Some days of a span, scaled up to all; with rooms that nothing in them warms."""
    plant, programme = built(whole)
    first, ran = whole.start or date(plant.scenario.place.year, 1, 1), []
    for part in range(_PARTS):
        middle = round((part + 0.5) * whole.days / _PARTS)
        begin = first + timedelta(days=middle - _PART_DAYS // 2)
        warm_up_s = _WARM_UP_DAYS * DAY_S
        drive = by_calendar(plant, programme, begin, _PART_DAYS, seed=whole.seed, warm_up_s=warm_up_s)
        days = PlantRun(plant, programme.controller, drive)
        days.warm_up()
        ran.append(marks(brief(plant, programme, days.finish(), _PART_DAYS)))
    times = whole.days / (_PARTS * _PART_DAYS)
    summed = Marks(*(times * sum(numbers) for numbers in zip(*ran, strict=True)))
    return summed._replace(oldest_water_h=max(made.oldest_water_h for made in ran))


def beside(known: Marks, known_roughly: Marks, roughly: Marks) -> Marks:
    """What the whole span makes of a programme, by the days and by one that is known both ways."""
    return Marks(
        *(
            whole if a == b else whole + b - a
            for whole, a, b in zip(known, known_roughly, roughly, strict=True)
        )
    )


def surely_dearer(mine: Marks, than: Marks) -> bool:
    """Whether a rough cost is above another, however far it is off."""
    return than.cost < mine.cost - _STRAYS * abs(mine.cost)


def surely_beaten(mine: Marks, others: Iterable[Marks]) -> bool:
    """Whether one of the others is surely cheaper and about as good in everything else."""
    return any(
        surely_dearer(mine, than)
        and all(b <= a * (1.0 + NEAR - _STRAYS) for a, b in zip(mine[1:], than[1:], strict=True))
        for than in others
    )

"""Margins and minimums that a file asks of a tuned programme, for the placing and for what a run came to."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from cyclesim.analysis.amounts import exactly, lasting
from cyclesim.decide.sweeps.outcome import Outcome
from cyclesim.decide.tuning.placing import MANY
from cyclesim.decide.tuning.programmes import Daily
from cyclesim.decide.tuning.space import FILTER, FLUSH, Space

_ROUNDING = 1e-6


def wished(space: Space) -> Space:
    """The space in which a placement keeps its margins and does its least."""
    wishes = space.scenario.tuning
    return replace(
        space,
        legs={leg: within_s * (1.0 - wishes.margin) for leg, within_s in space.legs.items()},
        wanted_m3=space.wanted_m3 * (1.0 + wishes.margin),
        least=_least(space),
        least_filter_s=wishes.filter_hours_s if _least(space)[FILTER] else 0.0,
    )


def asks_more(space: Space) -> bool:
    """Whether the file wishes for anything beyond the limits."""
    wishes = space.scenario.tuning
    return wishes.margin > 0.0 or any(_least(space).values())


def _least(space: Space) -> dict[str, int]:
    """So many runs of each kind at least, as far as pumps and controller have them."""
    wishes, least = space.scenario.tuning, dict[str, int]()
    for does, wish in ((FILTER, wishes.filter_runs_a_day), (FLUSH, wishes.flushes_a_day)):
        most = space.most[does] if any(kind.does == does for kind in space.kinds) else 0
        least[does] = wish if most is None else min(wish, most)
    return least


def lacks(space: Space, programme: Daily, outcome: Outcome) -> Iterator[str]:
    """What a programme is short of beside the wishes, in words; nothing where it keeps them all."""
    wishes, limits = space.scenario.tuning, space.scenario.limits
    limit_h = limits.water_age_s / 3600.0
    if outcome.oldest_water_h > limit_h * (1.0 - wishes.margin) + _ROUNDING:
        yield f"water {lasting(3600.0 * outcome.oldest_water_h)} old, {lasting(limits.water_age_s)} allowed"
    fewest = outcome.fewest_turnovers_in_a_day
    if fewest is not None and fewest < limits.turnovers_per_day * (1.0 + wishes.margin) - _ROUNDING:
        yield f"{fewest:.1f} turnovers on its worst day, {limits.turnovers_per_day:g} required"
    for does, least in _least(space).items():
        has = programme.count(does)
        if has < least:
            yield f"{has or 'no'} {does if has == 1 else MANY[does]} a day, {least} wished"
    filters_s = sum(entry.lasts_s * len(entry.starts) for entry in programme.entries if entry.does == FILTER)
    if _least(space)[FILTER] and filters_s < wishes.filter_hours_s:
        yield f"{exactly(filters_s)} of filtering a day, {exactly(wishes.filter_hours_s)} wished"


def in_words(space: Space) -> str:
    """The wishes as one sentence."""
    wishes, least = space.scenario.tuning, _least(space)
    return (
        f"{100.0 * wishes.margin:.0f} % away from the limits of water age and turnovers, at least "
        f"{' and '.join(f'{n} {does if n == 1 else MANY[does]}' for does, n in least.items())} a day, "
        f"{exactly(wishes.filter_hours_s)} of filtering"
    )

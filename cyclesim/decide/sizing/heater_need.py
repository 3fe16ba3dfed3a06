"""How soon the water must be warm, and how cold it was: by the file, by who asks, or by what is usual."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, time
from itertools import pairwise
from zoneinfo import ZoneInfo

from cyclesim.analysis.amounts import lasting
from cyclesim.control.calendar import localize
from cyclesim.decide.sizing.heat_up import heating_of, set_back_c
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.setpoints import LONGEST_LEAD_S, ReadyBy, SetPoints, set_points

USUAL_SET_BACK_C = 30.0
USUAL_WITHIN_S = 129_600.0
"""How long a filled tub may take where the file has no ready_by: 36 h; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Need:
    """How long warming up may take: from the set-back, or of a tub that is just filled."""

    within_s: float
    from_set_back: bool
    why: str


def set_back_of(scenario: Scenario, stated_c: float | None) -> tuple[float, str]:
    """The water to warm up from [degC], and whose word that is."""
    if stated_c is not None:
        return stated_c, "as told"
    lowest = set_back_c(heating_of(scenario))
    if lowest is not None:
        return lowest, "the file's lowest set point"
    return USUAL_SET_BACK_C, "the file has no set-back; --from tells another"


def need_of(scenario: Scenario, stated_s: float | None = None) -> Need:
    """How long warming up may take, and whose word that is.

    With a ready_by in the file: the shortest time that the set point is low before one, as far ahead as
    heating looks. Else a filled tub is to be warm within 36 h.
    """
    gaps = _low_before_ready(scenario)
    if gaps:
        if stated_s is not None:
            return Need(stated_s, True, "as told")
        if min(gaps) > LONGEST_LEAD_S:
            reason = f"heating looks {lasting(LONGEST_LEAD_S)} ahead of a ready_by and no further"
            return Need(float(LONGEST_LEAD_S), True, reason)
        return Need(min(gaps), True, "the file's shortest set-back before a ready_by")
    if stated_s is not None:
        return Need(stated_s, False, "as told")
    return Need(
        USUAL_WITHIN_S, False, "common practice, no source: the file has no ready_by; --within tells another"
    )


def _low_before_ready(scenario: Scenario) -> list[float]:
    place = scenario.place
    origin = localize(datetime(place.year, 1, 1), ZoneInfo(place.time_zone))[0]
    points = set_points(scenario, origin, 366 * 86_400, ())
    return [low for low in (_low_s(points, ready) for ready in points.ready) if low is not None]


def _low_s(points: SetPoints, ready: ReadyBy) -> float | None:
    """How long the set point is low before a ready-by; None where it was not as warm before."""
    since: float | None = None
    for level, after in pairwise(points.levels):
        if after.at_s < ready.ready_s and level.keep_at_c >= ready.keep_at_c > after.keep_at_c:
            since = float(ready.ready_s - after.at_s)
    return since


def ready_clock(scenario: Scenario) -> tuple[time | None, str]:
    """The time of day by which it is to be warm: of a ready_by, else of the first bathers."""
    ready = [step.ready_by for step in heating_of(scenario).plan if step.ready_by is not None]
    if ready:
        return min(ready), "the file's ready_by"
    starts = [t for entry in scenario.schedule.bathing for t in entry.start or ()]
    starts += [e.drawn.between[0] for e in scenario.schedule.bathing if e.drawn is not None]
    return (min(starts), "the first bathers") if starts else (None, "")

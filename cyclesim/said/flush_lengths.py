"""How long the flushes of a tuned programme must be, and what makes them so."""

from __future__ import annotations

from collections.abc import Iterator

from cyclesim.analysis.amounts import exactly
from cyclesim.analysis.flush_rules import slowest_end
from cyclesim.analysis.history import FLUSH_VOLUMES
from cyclesim.analysis.pumped import in_a_body
from cyclesim.decide.tuning.programmes import Daily, scheduled
from cyclesim.decide.tuning.space import FLUSH
from cyclesim.decide.tuning.tuning import Tuning
from cyclesim.simulation.programme import Programme


def held_up(tuning: Tuning, programme: Daily) -> Iterator[str]:
    """What flushes must be as long as where much of their time the water is in a filter or heat source."""
    plant, keyed = tuning.space.plant, Programme(scheduled(tuning.scenario, programme))
    for pumping in dict.fromkeys(e.pumping for e in programme.entries if e.does == FLUSH):
        end = slowest_end(plant, keyed, pumping)
        if end and in_a_body(plant, end.duty, end.plug):
            yield f"At {pumping} {end.said(plant)}; a flush lasts {FLUSH_VOLUMES:g} times that or more."


def none_is_long_enough(tuning: Tuning) -> Iterator[str]:
    """That every length on offer is too short with any pump and speed, and which of those comes nearest."""
    plant, offered = tuning.space.plant, tuning.scenario.controller.flush_lengths_s
    programme = Programme(tuning.scenario)
    pumpings = dict.fromkeys(kind.pumping for kind in tuning.space.kinds if kind.does == FLUSH)
    ends = [(one, end) for one in pumpings if (end := slowest_end(plant, programme, one))]
    if not offered or not ends:
        return
    pumping, end = min(ends, key=lambda found: found[1].reached_s)
    if max(offered) < FLUSH_VOLUMES * end.reached_s:
        yield (
            f"No flush on offer is long enough: at {pumping} {end.said(plant)}; a flush lasts "
            f"{FLUSH_VOLUMES:g} times that or more, and the controller takes {exactly(max(offered))} at most."
        )

"""Rules of the plant and its schedule as drawn: whether every leg's water is moved, and far enough."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import product
from typing import NamedTuple

from cyclesim.analysis import programme_mends as mends
from cyclesim.analysis.amounts import apart, at_least, exactly, lasting
from cyclesim.analysis.combinations import as_written, combinations
from cyclesim.analysis.findings import Breach, Change, Judged, Rule, Subject
from cyclesim.analysis.history import FLUSH_VOLUMES, movers, moves_at, turned_away
from cyclesim.analysis.pumped import duties_of, in_a_body, reached_s, slowest
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.scenario.blocks.schedule import Run
from cyclesim.scenario.forms.fields import PumpSpeed
from cyclesim.scenario.forms.pumping import Pumping
from cyclesim.simulation.assembly import Assembly, PlantDuty
from cyclesim.simulation.jets import stretch_name
from cyclesim.simulation.programme import Programme


def never_flushed(plant: Assembly, programme: Programme) -> Judged:
    """No duty of the schedule moves the water of a leg."""
    everything = combinations(plant, plant.speeds)
    for name, leg in plant.sheet.legs.items():
        if leg.dead_end:
            mend = "cut it off at the tee, or join it to a loop that a flush moves"
            yield Breach(name, "it is capped: nothing ever moves its water", None, "", "", mend)
        elif not movers(plant, programme, name):
            could = next((d.name for d in everything if abs(d.flow_m3_s(name)) > STILL_M3_S), None)
            valve = None if could else turned_away(plant, name, [d.speeds for d in everything])
            cause, mend = "no demand of the schedule moves its water", "give it a pump that moves its water"
            if could:
                mend = f"add a line flush at {could}"
            elif valve:
                usual, other = valve
                cause = f"{usual}, as usual, keeps its water still"
                mend = f"flush it with {other}, or drain it while {usual}"
            yield Breach(name, cause, None, "", "", mend)


def flush_too_short(plant: Assembly, programme: Programme) -> Judged:
    """A line flush replaces the water up to the slowest end that it is for less than twice.

    That is a last jet, or the far end of a leg without jets that nothing but flushes and bathers move.
    """
    for timed in programme.entries:
        if timed.demand.kind != "line flush" or not isinstance(timed.run, Run):
            continue
        end = slowest_end(plant, programme, timed.run.pumping)
        if end is None:
            continue
        once_s, lasts_s = end.reached_s, timed.run.lasts_s
        if lasts_s >= FLUSH_VOLUMES * once_s:
            continue
        if math.isinf(once_s):
            cause, mend = f"tub water never reaches {end.leg}: it circles", "shut what lets the water circle"
        else:
            cause = end.said(plant)
            mend = _longer_flush(plant, programme, timed.run.pumping, FLUSH_VOLUMES * once_s)
        volumes = lasts_s / once_s
        yield Breach(
            timed.entry,
            cause,
            volumes,
            "volumes",
            f"{lasting(lasts_s)} are {' volumes of at least '.join(apart(volumes, FLUSH_VOLUMES, 1))}",
            mend,
            less_is_worse=True,
        )


class SlowestEnd(NamedTuple):
    """Where tub water comes last in a flush: the end of a leg, the run of pipe before it, and when [s]."""

    leg: str
    plug: str
    reached_s: float
    duty: PlantDuty | None

    def said(self, plant: Assembly) -> str:
        """How long tub water takes there, and in which filter or heat source if much of it is in one."""
        end = "last jet" if plant.sheet.legs[self.leg].manifold else "far end"
        held = in_a_body(plant, self.duty, self.plug)
        return f"tub water takes {lasting(self.reached_s)} to the {end} of {self.leg}{held}"


def slowest_end(plant: Assembly, programme: Programme, pumping: Pumping) -> SlowestEnd | None:
    """The end that tub water reaches last with these pumps, of those that a flush is for."""
    moved, ends = {plug for duty in duties_of(plant, pumping) for plug in duty.reached_s}, list[SlowestEnd]()
    for name, leg in plant.sheet.legs.items():
        plug = name
        if leg.manifold is not None and leg.manifold.jets > 1:
            plug = stretch_name(name, leg.manifold.jets)
        moved_else = any(d.kind not in ("line flush", "bathing") for d in movers(plant, programme, name))
        if plug in moved and (leg.manifold is not None or not moved_else):
            duty = slowest(plant, pumping, plug)
            ends.append(SlowestEnd(name, plug, reached_s(plant, pumping, plug), duty))
    return max(ends, key=lambda end: end.reached_s, default=None)


def _longer_flush(plant: Assembly, programme: Programme, pumping: Pumping, need_s: float) -> str:
    """The flush length to key in, of those that the controller takes; else a speed at which one will do."""
    lengths, due = plant.scenario.controller.flush_lengths_s, at_least(need_s)
    if lengths is None:
        return f"lengthen the flush to at least {due}"
    long_enough = [length_s for length_s in lengths if length_s >= need_s]
    if long_enough:
        return f"lengthen the flush to {exactly(min(long_enough))}: it needs at least {due}"
    pump, speed = pumping.pumps[0]
    speeds = list(plant.speeds[pump])
    for higher in speeds[speeds.index(speed) + 1 :] if len(pumping.pumps) == 1 else ():
        end = slowest_end(plant, programme, Pumping((PumpSpeed(pump, higher),)))
        enough = [length_s for length_s in lengths if end and length_s >= FLUSH_VOLUMES * end.reached_s]
        if enough:
            return f"flush at {as_written(pump, higher)} for {exactly(min(enough))}"
    offers = f"a controller that offers at least {due}"
    return f"it needs {due}, more than the controller takes: a larger pump, another bore, or {offers}"


def _lengthened(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """A flush that replaces the water twice."""
    pumping = next(t.run.in_one for t in programme.entries if t.entry == about.name)
    end = slowest_end(plant, programme, pumping) if pumping else None
    if end:
        yield from mends.longer_flush(plant, programme, about, FLUSH_VOLUMES * end.reached_s)


def _flushed(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """A flush for a leg that nothing moves; a capped one nothing can."""
    if not plant.sheet.legs[about.name].dead_end:
        yield from mends.flushed(plant, programme, about)


def left_without_flush(plant: Assembly, programme: Programme) -> Judged:
    """In a position in which a valve may be left, nothing moves a leg that is moved as a rule."""
    by_hand = list(product(*(thing.positions for thing in plant.turnable.values())))
    for name in plant.sheet.legs:
        asked = [plant.asked(d) for d in movers(plant, programme, name)]
        moved_by = [speeds for speeds in asked if moves_at(plant, speeds, name)]
        unmoved_at = [
            positions
            for positions in by_hand
            if not any(moves_at(plant, speeds, name, positions) for speeds in moved_by)
        ]
        if moved_by and unmoved_at:
            fewest = min(unmoved_at, key=lambda positions: len(plant.not_as_usual(positions)))
            mend = "fit a stop so it cannot close fully, or add a bypass"
            yield Breach(
                name, f"with {plant.positions_text(fewest)}, nothing flushes this leg", None, "", "", mend
            )


RULES: tuple[Rule, ...] = (
    Rule(
        "never-flushed",
        "plant",
        "hygiene",
        sentence="Some demand of the schedule moves the water of every leg.",
        source=(
            "no dead legs: HSE/HPA Management of spa pools (2006) 190-191; HSG274 part 2, seen second-hand"
        ),
        mend="move its water, or take it out",
        judge=never_flushed,
        changes=_flushed,
        programmes="as now",
    ),
    Rule(
        "flush-too-short",
        "plant",
        "hygiene",
        sentence=(
            "A line flush replaces the water as far as the last jet twice, and likewise to the end of a leg "
            "without jets that only flushes move."
        ),
        source="two volumes: common practice, no source",
        mend="a longer flush",
        judge=flush_too_short,
        changes=_lengthened,
        applies=lambda plant, _: bool(plant.scenario.schedule.line_flushes),
        programmes="as now",
    ),
    Rule(
        "left-without-flush",
        "plant",
        "hygiene",
        sentence=(
            "In no position in which a valve may be left is a leg cut off from all that moves its water."
        ),
        source=(
            "no dead legs: HSE/HPA Management of spa pools (2006) 190-191; HSG274 part 2, seen second-hand"
        ),
        mend="a stop on the valve",
        judge=left_without_flush,
        changes=mends.turned_no_more,
        applies=lambda plant, _: len(plant.may_be_left) > 1,
    ),
)

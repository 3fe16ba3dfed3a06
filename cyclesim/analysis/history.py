"""One run as metrics and rules read it: the plant, its programme, the trace, and what is worked out once."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import cached_property

from cyclesim.analysis.ages import (
    AgeRows,
    Ends,
    Temperatures,
    age_rows,
    body_of,
    coldest_of,
    standing_ends,
    warm,
)
from cyclesim.analysis.amounts import listed
from cyclesim.analysis.energy import prices
from cyclesim.analysis.spans import NONE, Spans, join, meet, spans, total_s, while_in, without
from cyclesim.analysis.truth import Lasting, Timeline, duties_over_time, timeline
from cyclesim.analysis.tub import Filtered, filtered
from cyclesim.control.demands import FLUSHES, Demand
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.simulation.assembly import Assembly, Positions, Speeds
from cyclesim.simulation.prices import dearer
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.setpoints import SetPoints, set_points
from cyclesim.simulation.trace import Trace


@dataclass(frozen=True)
class History:
    """A run, with what several metrics and rules read of it."""

    plant: Assembly
    programme: Programme
    trace: Trace

    @cached_property
    def truth(self) -> Timeline:
        """What truly happened."""
        flushes = [d for d in self.programme.controller.demands if d.kind in FLUSHES]
        return timeline(self.plant, self.trace, flushes)

    @cached_property
    def ages(self) -> dict[str, AgeRows]:
        """Water age by reported element."""
        return {name: age_rows(self.trace, name) for name in self.trace.ages}

    @cached_property
    def standing(self) -> dict[str, Spans]:
        """When the water of each reported element stood."""
        return {name: rows.standing for name, rows in self.ages.items()}

    @cached_property
    def ends(self) -> dict[str, Ends | None]:
        """Temperatures of each body's coldest and warmest end while it stands."""
        return {name: standing_ends(self.plant, self.trace, name) for name in self.trace.stays}

    @cached_property
    def coldest(self) -> dict[str, Temperatures | None]:
        """Temperature of each body's coldest end while it stands."""
        return {name: ends and ends.coldest for name, ends in self.ends.items()}

    @cached_property
    def coldest_c(self) -> dict[str, float | None]:
        """The coldest that each body was [degC], standing or not; None where nothing tells."""
        return {name: coldest_of(self.trace, name, temps) for name, temps in self.coldest.items()}

    @cached_property
    def warm_and_still(self) -> dict[str, Spans]:
        """When the water of each reported element stood and some of it was inside the growth band."""
        band = self.plant.scenario.limits.growth_band_c
        warm_by_body = {name: warm(ends, band) for name, ends in self.ends.items()}
        return {
            name: meet(still, warm_by_body.get(body_of(self.plant, name), NONE))
            for name, still in self.standing.items()
        }

    @cached_property
    def set_points(self) -> SetPoints:
        """What the heating is asked for over the span, as the run itself was told it."""
        scenario, trace, dear = self.plant.scenario, self.trace, list[tuple[int, int]]()
        heating = scenario.schedule.heating
        if heating and heating.when_dear:
            dear = dearer(*prices(scenario.supply.tariff, trace), heating.when_dear.above.amount)
        return set_points(scenario, trace.begin_utc, trace.span_s, dear)

    @cached_property
    def duties(self) -> list[Lasting]:
        """What pumps move, and from when to when; coasting moves nothing."""
        return duties_over_time(self.plant, self.trace, coasting=False)

    @cached_property
    def filtered(self) -> Filtered:
        """The filtered flow."""
        return filtered(self.duties)


FLUSH_VOLUMES = 2.0
"""How often a flush must replace the water up to the far end; common practice, no source."""

HALTS = {
    "waits": (
        "the controller waits for a person after a power cut",
        "a controller that resumes by itself: after_power_cut: resume, or somebody who comes sooner: "
        "person_within",
    ),
    "lost": ("there is no power", "nothing in the schedule mends it"),
    "circuit": (
        "its circuit has no power",
        "nothing in the schedule mends it: have what tripped it found before it is closed again",
    ),
    "low": (
        "the water is below the suction fittings",
        "fill the tub up, and find where the water went",
    ),
}
"""Cause and mend of what moves no water, whatever the schedule asks for: by the state of the power, that of a
circuit alone, and the level."""
HALTED = frozenset(cause for cause, _ in HALTS.values())
"""The causes alone."""

CLOCK_RESET = (
    "the controller's clock started at midnight after a power cut",
    "a controller that keeps the time: after_power_cut: resume, or somebody who sets its clock sooner: "
    "person_within",
)
"""Cause and mend of what a clock runs at a wrong time since then."""


def halted(history: History, why: str, things: Collection[str]) -> Spans:
    """When it was so for a reason of `HALTS`; for the circuit's, that of what feeds any of *things*."""
    trace = history.trace
    if why != "circuit":
        return while_in(trace.level if why == "low" else trace.power, why)
    feeds = {name: circuit.feeds for name, circuit in history.plant.scenario.circuits.items()}
    lost = [while_in(s, "lost") for n, s in trace.circuits.items() if not set(things).isdisjoint(feeds[n])]
    return without(join(NONE, *lost), while_in(trace.power, "lost"))


def why_halted(
    history: History, start_s: float, end_s: float, limit_s: float, things: Collection[str]
) -> tuple[str, str] | None:
    """Cause and mend where a while is above a limit only for the time in it in which *things* are halted."""
    during = spans([(start_s, end_s)])
    times = {why: total_s(meet(halted(history, why, things), during)) for why in HALTS}
    together = total_s(meet(join(*(halted(history, why, things) for why in HALTS)), during))
    if not together or end_s - start_s - together > limit_s:
        return None
    return HALTS[max(times, key=lambda why: times[why])]


def moves_at(plant: Assembly, speeds: Speeds, name: str, positions: Positions | None = None) -> bool:
    """Whether pumps move the water of a reported element, or of a pump, at these positions, None as usual."""
    plug = plant.reported.get(name, plant.reach_at.get(name, -1))
    return abs(plant.duty(speeds, positions).plug_flows_m3_s[plug]) > STILL_M3_S


def shut_off(history: History, name: str, by: Collection[Speeds]) -> dict[str, Spans]:
    """What somebody had turned, in words, and when, where it kept pumps from moving what they usually do."""
    plant, found = history.plant, dict[str, Spans]()
    if not any(moves_at(plant, speeds, name) for speeds in by):
        return found
    for begins, ends, positions in history.trace.positions:
        if positions in ((), *plant.as_steered) or any(moves_at(plant, s, name, positions) for s in by):
            continue
        text = plant.positions_text(positions)
        found[text] = join(found.get(text, NONE), spans([(begins, ends)]))
    return found


def turned_away(plant: Assembly, name: str, by: Collection[Speeds]) -> tuple[str, str] | None:
    """(usual position, other position) of the valve that alone keeps pumps from a leg, if there is one."""
    for valve, turnable in plant.turnable.items():
        for position in turnable.known:
            if any(moves_at(plant, speeds, name, plant.turned(valve, position)) for speeds in by):
                return plant.position_text(valve, turnable.usual), plant.position_text(valve, position)
    return None


def only_in_sun(plant: Assembly, name: str, moved_by: Sequence[Demand]) -> tuple[str, str] | None:
    """Cause and mend of water that no demand moves but while a motor valve lets the sun in."""
    if not moved_by or any(moves_at(plant, plant.asked(d), name) for d in moved_by):
        return None
    asked = [plant.asked(demand) for demand in moved_by]
    let_in = next(p for p in plant.as_steered if any(moves_at(plant, speeds, name, p) for speeds in asked))
    cause = f"only {listed([d.name for d in moved_by])} with {plant.positions_text(let_in)} moves it"
    return cause, "let a pump run while the sun shines, or give the collectors a pump of their own"


def movers(plant: Assembly, programme: Programme, name: str) -> list[Demand]:
    """The demands whose duty moves the water of a reported element, as usual or as a motor valve lets it.

    Of several pumps that one entry runs at once, those that would move it alone stand for the others.
    """

    def moves(speeds: Speeds) -> bool:
        return any(moves_at(plant, speeds, name, positions) for positions in plant.as_steered)

    found = [d for d in programme.controller.demands if moves(plant.asked(d))]
    alone = [d for d in found if not d.beside or moves(plant.at(d.pump, d.speed))]
    spoken_for = {programme.entry_of.get(d.name) for d in alone}
    return [d for d in found if d in alone or programme.entry_of[d.name] not in spoken_for]


def stood_before(history: History, name: str, moved_by: Sequence[Demand], limit_s: float) -> list[str]:
    """What water comes through on its way to an element, and stood in for longer than a limit [s] in the run.

    As usual, or as a motor valve lets it.
    """
    plant, at = history.plant, history.plant.reported[name]
    circuit = next(g for g, members in enumerate(plant.ways.circuits) if at in members)
    before = set[int]()
    for demand in moved_by:
        for positions in plant.as_steered:
            flows = plant.duty(plant.asked(demand), positions).plug_flows_m3_s
            way = plant.ways.of(circuit, flows)
            before.update(*(met for plug, met in way.upstream if plug == at) if way else ())
    passed = (one for one, plug in plant.reported.items() if plug in before - {at})
    spells = {one: history.standing[one] for one in passed if one in history.standing}
    return [one for one, still in spells.items() if len(still) and max(still[:, 1] - still[:, 0]) > limit_s]

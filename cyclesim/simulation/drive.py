"""What drives a run from outside: demands and power over time, people, turned valves, weather, what breaks.

The engine takes this and nothing else from the calendar, so that a story can be run as well as a schedule.
All times are seconds of the run: the span that counts begins at 0, its warm-up at `start_s`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from cyclesim.control.step import LEVEL_LOW, POWER_LOST, WAITS
from cyclesim.scenario.blocks.collectors import Steered
from cyclesim.scenario.blocks.heat_sources import HeatPump
from cyclesim.scenario.blocks.heating import Heating
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.wiring import Watch
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.exchanges import fires
from cyclesim.simulation.hourly_weather import Weather, below, weather, zones
from cyclesim.simulation.prices import Floats, dearer, prices
from cyclesim.simulation.programme import FROST, Programme, WiredContact
from cyclesim.simulation.sessions import sessions, together
from cyclesim.simulation.setpoints import Level, ReadyBy, SetPoints, set_points
from cyclesim.simulation.trace import Span, Zones


class Begins(NamedTuple):
    """A run that begins cold: all water at one temperature [degC], from a clock time of its first day on.

    The shell is in balance with that water and its zone; *just_filled*, it is still as its zone is.
    """

    water_c: float
    clock: time = time()
    just_filled: bool = False


class HeatingPlan(NamedTuple):
    """What the thermostat is told over time, and what it chooses by."""

    heating: Heating
    callers: Mapping[str, str]
    """Heat source -> the demand that calls it."""
    points: SetPoints
    price_edges: Floats
    price: Floats
    """Per kWh, between each two edges; nothing where no choice is made by it."""


@dataclass(frozen=True)
class Drive:
    """What a run is driven by. Raises nothing: names are those of the plant and its controller."""

    begin_utc: datetime
    start_s: int
    span_s: int
    zones: Zones
    weather: Weather | None = None
    """None where no heat depends on it."""
    fires: Mapping[str, Sequence[float]] = field(default_factory=dict)
    """Hourly heat of what burns or shines by itself [W]."""
    begins: Begins | None = None
    """None for a run that begins warm, with its shell in balance."""
    facts: Mapping[str, Sequence[Span]] = field(default_factory=dict)
    """When each fact that comes from outside is true: demands, power, the level, contacts, hand switches."""
    turns: Sequence[tuple[int, str, str | None]] = ()
    """(second, valve, position) of each turn; None for back to its usual position."""
    people: Sequence[tuple[int, int, bool]] = ()
    """(second, people in the water, whether it is covered all the same) from each change on."""
    resets: Sequence[tuple[int, str]] = ()
    """(second, heat source) of each reset by a person of what has tripped."""
    cuts: Sequence[tuple[int, str, bool]] = ()
    """(second, circuit, whether it loses its power then or has it again) of what trips alone."""
    welds: Sequence[tuple[int, str, str]] = ()
    """(second, machine, speed) from which on a contact is stuck closed."""
    heating: HeatingPlan | None = None
    frost: Watch | None = None
    """What looks at water for frost protection."""
    contacts: Sequence[WiredContact] = ()
    """Contacts beside the controller that water moves, or the call of a heat source."""
    steered: Mapping[str, Steered] = field(default_factory=dict)
    """Collectors whose pump or valve goes by their own temperature and the tub's."""


def has_laws(scenario: Scenario) -> bool:
    """Whether any heat depends on the water's temperature and the weather beyond its own."""
    plant = scenario.plant
    pumps = any(isinstance(s, HeatPump) or not s.switched for s in plant.heat_sources.values())
    return bool(scenario.schedule.bathing) or pumps or bool(plant.air) or plant.tub.cover == "none"


def by_calendar(
    plant: Assembly,
    programme: Programme,
    begin: date,
    days: int,
    *,
    seed: int = 0,
    warm_up_s: int = 0,
    begins: Begins | None = None,
    rooms: Zones | None = None,
) -> Drive:
    """What a scenario's calendar, weather and people make of *days* local days from *begin*.

    *seed* names the streams of chance. *warm_up_s* [s] goes before. *rooms*: zones as a run has warmed them.
    """
    scenario, schedule = plant.scenario, plant.scenario.schedule
    begin_utc = _instant(begin, programme.zone, begins.clock if begins else time())
    span_s = round((_instant(begin + timedelta(days=days), programme.zone) - begin_utc).total_seconds())
    origin, whole_s = begin_utc - timedelta(seconds=warm_up_s), warm_up_s + span_s
    outages = programme.outages(origin, whole_s)
    around = rooms or zones(scenario, begin_utc, warm_up_s, span_s, later(outages, -warm_up_s))
    air = weather(scenario, begin_utc, warm_up_s, span_s) if has_laws(scenario) else None
    bathed = sessions(scenario, origin, whole_s, seed)
    facts = {
        f"{name}.raised": spans for name, spans in programme.raised(origin, whole_s, bathed).items()
    } | programme.wired(origin, whole_s)
    facts[POWER_LOST] = outages
    facts[WAITS] = programme.waits(origin, whole_s)
    facts[LEVEL_LOW] = programme.low_water(origin, whole_s)
    times = {name: later(spans, -warm_up_s) for name, spans in facts.items()}
    if frost := schedule.frost_protection:
        times[f"{FROST}.raised"] = _cold(frost, around)
    for contact in programme.beside:
        if contact.line.thermostat:
            times[f"{contact.starter.name}.closed"] += _cold(contact.line.thermostat, around)
    return Drive(
        begin_utc,
        -warm_up_s,
        span_s,
        around,
        air,
        fires(plant, programme, origin, len(air.air_c)) if air else {},
        begins,
        times,
        [(at - warm_up_s, valve, to) for at, valve, to in programme.turns(origin, whole_s)],
        [(at - warm_up_s, people, covered) for at, people, covered in together(bathed)],
        cuts=_edges(programme.circuit_cuts(origin, whole_s), -warm_up_s),
        heating=_heating_plan(programme, begin_utc, warm_up_s, span_s),
        frost=schedule.frost_protection,
        contacts=programme.beside,
        steered=plant.steered,
    )


def _instant(day: date, zone: ZoneInfo, clock: time = time()) -> datetime:
    return datetime.combine(day, clock, tzinfo=zone).astimezone(UTC)


def later(spans: Sequence[Span], by_s: int) -> list[Span]:
    """Spans as much later [s]."""
    return [(start + by_s, end + by_s) for start, end in spans]


def _edges(spans_of: Mapping[str, Sequence[Span]], by_s: int) -> list[tuple[int, str, bool]]:
    """The edges of spans by name, later by *by_s* [s]; of one instant what ends comes first."""
    edges = [(at + by_s, name, up) for name, spans in spans_of.items() for s in spans
             for at, up in zip(s, (True, False), strict=True)]  # fmt: skip
    return sorted(edges, key=lambda edge: (edge[0], edge[2]))


def _cold(watch: Watch, around: Zones) -> list[Span]:
    """When a thermostat that watches a zone calls; none where it watches water, which the run alone knows."""
    series = around.series.get(watch.watches)
    if series is None:
        return []
    return below(series, around.origin_s, watch.starts_at_c, watch.stops_at_c)


def _heating_plan(
    programme: Programme, begin_utc: datetime, warm_up_s: int, span_s: int
) -> HeatingPlan | None:
    scenario, origin = programme.scenario, begin_utc - timedelta(seconds=warm_up_s)
    heating = scenario.schedule.heating
    if heating is None:
        return None
    edges, price, dear = np.zeros(0), np.zeros(0), list[Span]()
    if heating.when_dear or heating.choose == "price":
        edges, price = prices(scenario.supply.tariff, begin_utc, scenario.place.time_zone, span_s)
    if heating.when_dear:
        dear = later(dearer(edges, price, heating.when_dear.above.amount), warm_up_s)
    points = set_points(scenario, origin, warm_up_s + span_s, dear)
    points = programme.own_clock(origin, warm_up_s + span_s).real_points(points)
    reads_k = heating.reads_k or 0.0  # what is told to be warm enough is truly colder by as much
    shifted = SetPoints(
        tuple(Level(level.at_s - warm_up_s, level.keep_at_c - reads_k) for level in points.levels),
        tuple(
            ReadyBy(ready.from_s - warm_up_s, ready.ready_s - warm_up_s, ready.keep_at_c - reads_k)
            for ready in points.ready
        ),
    )
    return HeatingPlan(heating, programme.callers, shifted, edges, price)

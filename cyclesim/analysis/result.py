"""One call from a scenario to everything that is known of its run."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from importlib.metadata import version

from cyclesim.analysis.ages import body_of, measure_leg
from cyclesim.analysis.at_sessions import measure_sessions
from cyclesim.analysis.cold import measure_cold_spell
from cyclesim.analysis.disinfectant import measure_water_care
from cyclesim.analysis.energy import (
    measure_blower,
    measure_energy,
    measure_pump,
    measure_source,
    measure_treatment,
    meter,
)
from cyclesim.analysis.findings import Checked, Finding
from cyclesim.analysis.history import History
from cyclesim.analysis.left import LeftLeg, left_so, positions_left, worst_left
from cyclesim.analysis.metrics import Metrics
from cyclesim.analysis.outages import measure_outages
from cyclesim.analysis.own_water import measure_own_waters
from cyclesim.analysis.promises import measure_promises
from cyclesim.analysis.room_loads import measure_room
from cyclesim.analysis.rules import check
from cyclesim.analysis.suction_side import measure_suction
from cyclesim.analysis.tub import measure_tub
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.engine import simulate_trace
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.trace import Trace


@dataclass(frozen=True, slots=True)
class RunRecord:
    """What was run: enough to run it again."""

    title: str
    first_day: str
    days: int
    time_zone: str
    seed: int
    version: str
    warm_up_days: int
    format: int


@dataclass(frozen=True)
class Result:
    """A run: the scenario and what became of it."""

    scenario: Scenario
    plant: Assembly
    programme: Programme
    trace: Trace
    about: RunRecord
    metrics: Metrics
    findings: tuple[Finding, ...]
    checked: Checked
    left: dict[str, LeftLeg] = field(default_factory=dict)
    """What becomes of each leg in the worst position in which valves may be left; empty unless asked for."""


def simulate(
    scenario: Scenario,
    *,
    days: int | None = None,
    start: date | None = None,
    seed: int = 0,
    on_day: Callable[[int], None] | None = None,
    left: bool = False,
) -> Result:
    """Run a scenario for *days* local days from *start* (1 January of its year), measure and judge it.

    Without *days* a whole year is run, up to the same date of the next.

    *seed* names the streams of everything that is drawn by chance: bathing sessions. *on_day* is called with
    the number of days done. *left*: every position in which somebody may leave the valves is run, too.
    Raises ValueError for less than one day.
    """
    if days is None:
        days = days_of_year(start or date(scenario.place.year, 1, 1))
    if days < 1:
        raise ValueError(f"a run lasts at least one day, not {days}")
    plant, programme = Assembly(scenario), Programme(scenario)
    trace = simulate_trace(plant, programme, days=days, start=start, seed=seed, on_day=on_day)
    history = History(plant, programme, trace)
    findings, checked = check(history)
    about = RunRecord(
        title=scenario.title,
        first_day=trace.local(0).date().isoformat(),
        days=days,
        time_zone=trace.time_zone,
        seed=seed,
        version=version("cyclesim"),
        warm_up_days=-trace.zones.origin_s // 86_400 if trace.zones else 0,
        format=scenario.format,
    )
    metrics = measure(history)
    worst: dict[str, LeftLeg] = {}
    if left and len(plant.may_be_left) > 1:
        turned = {
            at: simulate(left_so(scenario, plant, at), days=days, start=start, seed=seed).metrics.legs
            for at in (plant.usually, *positions_left(plant))
        }
        worst = worst_left(plant, turned.pop(plant.usually), turned)
    return Result(scenario, plant, programme, trace, about, metrics, findings, checked, worst)


def days_of_year(first: date) -> int:
    """Days from *first* to the same date of the next year; 29 February counts to 1 March.

    >>> days_of_year(date(2027, 1, 1)), days_of_year(date(2028, 1, 1)), days_of_year(date(2027, 3, 1))
    (365, 366, 366)
    """
    leap_day = (first.month, first.day) == (2, 29)
    again = date(first.year + 1, 3, 1) if leap_day else first.replace(year=first.year + 1)
    return (again - first).days


def measure(history: History) -> Metrics:
    """Every number of a run."""
    plant, programme, trace = history.plant, history.programme, history.trace
    metered = meter(plant, programme, trace)
    legs = {
        name: measure_leg(
            plant,
            trace,
            name,
            rows,
            history.standing[name],
            history.warm_and_still[name],
            history.coldest_c.get(body_of(plant, name)),
        )
        for name, rows in history.ages.items()
    }
    sources = {name: measure_source(plant, programme, trace, name, metered) for name in trace.sources}
    tub = measure_tub(plant, trace, history.duties, history.filtered, history.truth.people, metered)
    return Metrics(
        legs=legs,
        pumps={name: measure_pump(plant, programme, trace, name, metered) for name in trace.pumps},
        heat_sources=sources,
        blowers={name: measure_blower(plant, trace, name, metered) for name in trace.blowers},
        tub=tub,
        energy=measure_energy(plant, trace, metered, history.truth),
        outages=measure_outages(plant, programme, trace),
        treatment={
            name: measure_treatment(plant, trace, name, history.truth, metered) for name in trace.treatments
        },
        own_water=measure_own_waters(plant, trace, history.truth, metered),
        water_care=measure_water_care(history, tub, sources),
        sessions=measure_sessions(history),
        cold_spell=measure_cold_spell(history),
        suction=measure_suction(plant, programme),
        pump_room=measure_room(plant, trace),
        promises=measure_promises(history, legs),
    )

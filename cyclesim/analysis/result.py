"""One call from a scenario to everything that is known of its run."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from importlib.metadata import version

from cyclesim.analysis.ages import body_of, measure_leg
from cyclesim.analysis.at_sessions import measure_sessions
from cyclesim.analysis.cold import measure_cold_spell
from cyclesim.analysis.device_metrics import (
    BlowerMetrics,
    EnergyMetrics,
    HeatSourceMetrics,
    OwnWaterMetrics,
    PumpMetrics,
    TreatmentMetrics,
)
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
from cyclesim.analysis.metrics import LegMetrics, Metrics, PumpRoomMetrics, TubMetrics
from cyclesim.analysis.outages import measure_outages
from cyclesim.analysis.own_water import measure_own_waters
from cyclesim.analysis.promises import measure_promises
from cyclesim.analysis.room_loads import measure_room
from cyclesim.analysis.rules import check
from cyclesim.analysis.suction_side import measure_suction
from cyclesim.analysis.tub import measure_tub
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.assembly import Assembly, Positions
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

        def turned(at: Positions) -> dict[str, LegMetrics]:
            there = left_so(scenario, plant, at)
            if there == scenario:  # nobody turns a valve
                return metrics.legs
            ran, told = Assembly(there), Programme(there)
            it = History(ran, told, simulate_trace(ran, told, days=days, start=start, seed=seed))
            return Measuring(it).legs

        worst = worst_left(plant, turned(plant.usually), {at: turned(at) for at in positions_left(plant)})
    return Result(scenario, plant, programme, trace, about, metrics, findings, checked, worst)


def days_of_year(first: date) -> int:
    """Days from *first* to the same date of the next year; 29 February counts to 1 March.

    >>> days_of_year(date(2027, 1, 1)), days_of_year(date(2028, 1, 1)), days_of_year(date(2027, 3, 1))
    (365, 366, 366)
    """
    leap_day = (first.month, first.day) == (2, 29)
    again = date(first.year + 1, 3, 1) if leap_day else first.replace(year=first.year + 1)
    return (again - first).days


class Measuring:
    """The numbers of a run, by their names in `Metrics`, each worked out when it is first asked for."""

    def __init__(self, history: History) -> None:
        self.history, self.plant, self.trace = history, history.plant, history.trace
        self._run = history.plant, history.programme, history.trace
        self._metered = meter(*self._run)

    @cached_property
    def legs(self) -> dict[str, LegMetrics]:
        """Of each leg, last stretch, dead end and housing."""
        history, plant = self.history, self.plant
        return {
            name: measure_leg(
                plant,
                self.trace,
                name,
                rows,
                history.standing[name],
                history.warm_and_still[name],
                history.coldest_c.get(body_of(plant, name)),
            )
            for name, rows in history.ages.items()
        }

    @cached_property
    def pumps(self) -> dict[str, PumpMetrics]:
        """Of each pump."""
        return {name: measure_pump(*self._run, name, self._metered) for name in self.trace.pumps}

    @cached_property
    def heat_sources(self) -> dict[str, HeatSourceMetrics]:
        """Of each heat source."""
        return {name: measure_source(*self._run, name, self._metered) for name in self.trace.sources}

    @cached_property
    def blowers(self) -> dict[str, BlowerMetrics]:
        """Of each blower."""
        plant, trace = self.plant, self.trace
        return {name: measure_blower(plant, trace, name, self._metered) for name in trace.blowers}

    @cached_property
    def tub(self) -> TubMetrics:
        """Of the tub."""
        history = self.history
        moved = history.duties, history.filtered, history.truth.people
        return measure_tub(self.plant, self.trace, *moved, self._metered)

    @cached_property
    def energy(self) -> EnergyMetrics:
        """Energy, money and current."""
        return measure_energy(self.plant, self.trace, self._metered, self.history.truth)

    @cached_property
    def treatment(self) -> dict[str, TreatmentMetrics]:
        """Of each treatment device."""
        truth, trace = self.history.truth, self.trace
        return {n: measure_treatment(self.plant, trace, n, truth, self._metered) for n in trace.treatments}

    @cached_property
    def own_water(self) -> dict[str, OwnWaterMetrics]:
        """Of each heat source that has water of its own."""
        return measure_own_waters(self.plant, self.trace, self.history.truth, self._metered)

    @cached_property
    def pump_room(self) -> PumpRoomMetrics | None:
        """Of what the pump room has on besides."""
        return measure_room(self.plant, self.trace)


def measure(history: History) -> Metrics:
    """Every number of a run."""
    plant, programme, trace = history.plant, history.programme, history.trace
    of = Measuring(history)
    return Metrics(
        legs=of.legs,
        pumps=of.pumps,
        heat_sources=of.heat_sources,
        blowers=of.blowers,
        tub=of.tub,
        energy=of.energy,
        outages=measure_outages(plant, programme, trace),
        treatment=of.treatment,
        own_water=of.own_water,
        water_care=measure_water_care(history, of.tub, of.heat_sources),
        sessions=measure_sessions(history),
        cold_spell=measure_cold_spell(history),
        suction=measure_suction(plant, programme),
        pump_room=of.pump_room,
        promises=measure_promises(history, of.legs),
    )

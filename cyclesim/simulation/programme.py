"""From the schedule and the interlocks to a controller, and to the edges at which its facts change."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from cyclesim.control.calendar import WEEKDAYS, Occurrence, runs, windows
from cyclesim.control.demands import Block, Condition, Demand, Keep, PumpControl, SourceControl
from cyclesim.control.machines import Machine, pump_machine, source_machine, tabulate
from cyclesim.control.step import Controller
from cyclesim.scenario.bathing import Bathing
from cyclesim.scenario.model import Scenario
from cyclesim.scenario.schedule import Block as BlockLine
from cyclesim.scenario.schedule import Keep as KeepLine
from cyclesim.scenario.schedule import Run
from cyclesim.simulation.trace import Span, joined

RANKS = ("bathing", "frost protection", "line flush", "heating", "filter run")
"""Who decides a pump when several ask, highest first, unless the file reorders them."""

HEATING, FROST = "heating", "frost protection"


@dataclass(frozen=True)
class Timed:
    """A demand of the calendar with the file's entry behind it."""

    demand: Demand
    run: Run | Bathing


class Programme:
    """The controller that a scenario wires and programmes, with its calendar."""

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        self.zone = ZoneInfo(scenario.place.time_zone)
        schedule = scenario.schedule
        order = tuple(kind.replace("_", " ") for kind in schedule.ranks) if schedule.ranks else RANKS
        self.timed: list[Timed] = []
        timed: dict[str, tuple[Run | Bathing, ...]] = {
            "bathing": schedule.bathing,
            "line flush": schedule.line_flushes,
            "filter run": schedule.filter_runs,
        }
        for kind, entries in timed.items():
            for k, run in enumerate(entries, start=1):
                if run.pump is None:  # still water asks for nothing
                    continue
                name = run.name or (kind if len(entries) == 1 else f"{kind} {k}")
                demand = Demand(name, kind, order.index(kind), run.pump.pump, run.pump.speed)
                self.timed.append(Timed(demand, run))
        demands = [t.demand for t in self.timed]
        if heating := schedule.heating:
            asked = heating.pump
            demands.append(
                Demand(
                    HEATING, HEATING, order.index(HEATING), asked.pump, asked.speed, tuple(heating.sources)
                )
            )
        if frost := schedule.frost_protection:
            demands.append(Demand(FROST, FROST, order.index(FROST), frost.pump.pump, frost.pump.speed))
        self.machines = dict(self._machines())
        self.controller = Controller(
            pumps=tuple(
                PumpControl(n, tuple(p.speeds), tabulate(self.machines[n]))
                for n, p in scenario.plant.pumps.items()
            ),
            sources=tuple(SourceControl(n, tabulate(self.machines[n])) for n in scenario.plant.heat_sources),
            demands=tuple(demands),
            blocks=tuple(self._blocks()),
            keeps=tuple(Keep(k.keep.pump, k.keep.speed, k.after) for k in self._keeps()),
            dwell_s=self._dwells(),
        )

    def _keeps(self) -> Iterator[KeepLine]:
        yield from (i for i in self.scenario.interlocks if isinstance(i, KeepLine))

    def _block_lines(self) -> Iterator[BlockLine]:
        yield from (i for i in self.scenario.interlocks if isinstance(i, BlockLine))

    def proof_s(self, source: str) -> int | None:
        """How long flow must have been sensed before *source* fires; None where nothing asks for it."""
        times = [
            b.for_s or 0.0 for b in self._block_lines() if b.block == source and b.unless == "flow proven"
        ]
        return round(max(times)) if times else None

    def run_on_s(self, source: str) -> int:
        """How long a pump is kept running after *source* [s]."""
        return round(max((k.lasting_s for k in self._keeps() if k.after == source), default=0.0))

    def _machines(self) -> Iterator[tuple[str, Machine]]:
        for name, pump in self.scenario.plant.pumps.items():
            yield name, pump_machine(name, tuple(pump.speeds))
        for name, source in self.scenario.plant.heat_sources.items():
            proves = self.proof_s(name) is not None
            yield name, source_machine(name, proves, self.run_on_s(name) > 0, source.rest_s > 0)

    def _blocks(self) -> Iterator[Block]:
        pumps = self.scenario.plant.pumps
        for line in self._block_lines():
            if line.unless == "flow proven":
                continue  # the proof is a state of the source's own machine
            subject, _, state = str(line.while_).rpartition(" ")
            condition = Condition(subject, state)
            target, _, speed = line.block.rpartition(" ")
            if target in pumps:
                yield Block(target, speed, condition, line.because or "")
            elif line.block in pumps:
                yield Block(line.block, "on", condition, line.because or "")
            else:
                yield Block(line.block, None, condition, line.because or "")

    def _dwells(self) -> dict[str, dict[str, int]]:
        dwells: dict[str, dict[str, int]] = {}
        for name, pump in self.scenario.plant.pumps.items():
            run = dict.fromkeys(pump.speeds, round(pump.minimum_run_s))
            changeover = round(pump.changeover_s) if len(run) > 1 else 0
            # stopping on the way from one speed to the other is no short cut around break before make
            dwells[name] = {"stopped": max(round(pump.rest_s), changeover), "changing": changeover, **run}
        for name, source in self.scenario.plant.heat_sources.items():
            proof = self.proof_s(name) or 0
            dwells[name] = {"off": round(source.rest_s), "proving": proof, "run_on": self.run_on_s(name)}
        return dwells

    # -- the calendar --------------------------------------------------------------------------------------

    def occurrences(self, run: Run | Bathing, begin_utc: datetime, span_s: int) -> list[Occurrence]:
        """When one entry of the schedule is raised, in seconds from *begin_utc*."""
        return runs(
            run.start or (),
            round(run.lasts_s or 0.0),
            days=_named(run.days),
            rrule=run.repeats,
            zone=self.scenario.place.time_zone,
            origin=begin_utc,
            span_s=span_s,
            year=self.scenario.place.year,
        )

    def quiet_spans(self, begin_utc: datetime, span_s: int) -> list[Span]:
        """The quiet hours as spans from *begin_utc* [s]."""
        quiet = self.scenario.schedule.quiet_hours
        if quiet is None:
            return []
        found = windows(
            quiet.from_time,
            quiet.to_time,
            days=_named(quiet.days),
            zone=self.scenario.place.time_zone,
            origin=begin_utc,
            span_s=span_s,
        )
        return joined(sorted((max(0, o.start_s), min(span_s, o.end_s)) for o in found))

    def raised(self, begin_utc: datetime, span_s: int) -> dict[str, list[Span]]:
        """Per demand of the calendar, the spans for which it is raised, from *begin_utc* [s]."""
        return {
            t.demand.name: joined(
                sorted((o.start_s, o.end_s) for o in self.occurrences(t.run, begin_utc, span_s))
            )
            for t in self.timed
        }

    def clock_notes(self, begin_utc: datetime, span_s: int) -> list[str]:
        """What the clock changes did to the schedule, in words."""
        notes = []
        for t in self.timed:
            for o in self.occurrences(t.run, begin_utc, span_s):
                if o.note and 0 <= o.start_s < span_s:
                    notes.append(f"{t.demand.name}: {o.note}")
        return notes


def _named(days: Sequence[int] | None) -> list[str] | None:
    return None if days is None else [WEEKDAYS[day] for day in days]

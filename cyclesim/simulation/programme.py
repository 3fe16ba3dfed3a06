"""From the schedule and the interlocks to a controller, and to the edges at which its facts change."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from cyclesim.control.calendar import WEEKDAYS, Occurrence, localize, runs, windows
from cyclesim.control.demands import (
    BlockInterlock,
    Condition,
    Demand,
    KeepInterlock,
    PumpControl,
    SourceControl,
    StarterContact,
)
from cyclesim.control.machines import PROOFS, Machine, pump_machine, source_machine, tabulate
from cyclesim.control.step import ControlLogic
from cyclesim.scenario.blocks.bathing import Bathing
from cyclesim.scenario.blocks.heat_sources import HeatSource, Solar
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.own_water import AnyCircuit
from cyclesim.scenario.blocks.schedule import SUN, Outage, Run
from cyclesim.scenario.blocks.schedule import Block as BlockLine
from cyclesim.scenario.blocks.schedule import Keep as KeepLine
from cyclesim.scenario.blocks.treatment import Treatment
from cyclesim.scenario.blocks.wiring import Starter as StarterLine
from cyclesim.scenario.forms.times import Occasion, Spell
from cyclesim.simulation.own_clock import OwnClock, somebody_by
from cyclesim.simulation.sessions import Session, sessions
from cyclesim.simulation.setpoints import days_away
from cyclesim.simulation.trace import Span, joined

HEATING, FROST, AIR = "heating", "frost protection", "air"
AIR_FLUSH, SAMPLING, TREATMENT = "air line flush", "sampling", "treatment"
_WAYS = {"thermostat": "own thermostat", "clock": "own time clock", "hand_switch": "hand switch"}


def sun_on(collectors: str) -> str:
    """Name of the demand of collectors whose pump is steered."""
    return f"{SUN} on {collectors}"


def heating_by(source: str) -> str:
    """Name of the demand that calls one of several heat sources."""
    return f"heating by {source}"


AnySwitched = HeatSource | Treatment


@dataclass(frozen=True)
class TimedDemand:
    """A demand of the calendar with the file's entry behind it, of whose pumps it asks for one."""

    demand: Demand
    run: Run | Bathing
    entry: str
    """What the entry is called; one of several pumps has its own name behind that."""
    place: int = 0
    """Which of the entry's pumps it asks for."""


@dataclass(frozen=True)
class WiredContact:
    """A contact beside the controller with the file's line behind it."""

    starter: StarterContact
    line: StarterLine


class Programme:
    """The controller that a scenario wires and programmes, with its calendar."""

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        self.zone = ZoneInfo(scenario.place.time_zone)
        schedule = scenario.schedule
        order = schedule.order
        self.timed: list[TimedDemand] = []
        for kind, entries in schedule.timed.items():
            for k, run in enumerate(entries, start=1):
                pumping = run.in_one
                entry = run.name or (kind if len(entries) == 1 else f"{kind} {k}")
                for place, (pump, speed) in enumerate(pumping.pumps if pumping else ()):
                    assert pumping is not None
                    name = entry if len(pumping.pumps) == 1 else f"{entry}, {pump}"
                    beside = pumping.beside(place)
                    demand = Demand(name, kind, order.index(kind), pump, speed, beside=beside)
                    self.timed.append(TimedDemand(demand, run, entry, place))
        self.entry_of = {t.demand.name: t.entry for t in self.timed}
        """Demand of the calendar -> what its entry is called, which may ask for several pumps."""
        demands = [t.demand for t in self.timed]
        self.callers: dict[str, str] = {}
        """Heat source -> the demand that calls it."""
        if heating := schedule.heating:
            rank, asked = order.index(HEATING), heating.pump
            alone = len(heating.sources) == 1
            turns = {n: (c.circulator,) for n in heating.sources if (c := self._own_circuit(n))}
            self.callers = {s: HEATING if alone else heating_by(s) for s in heating.sources}
            demands.append(
                Demand(
                    HEATING,
                    HEATING,
                    rank,
                    asked.pump,
                    asked.speed,
                    heating.sources if alone else (),
                    turns.get(heating.sources[0], ()) if alone else (),
                )
            )
            if not alone:
                demands += [
                    Demand(heating_by(s), HEATING, rank, asked.pump, asked.speed, (s,), turns.get(s, ()))
                    for s in heating.sources
                ]
            if heating.sensor:
                demands.append(Demand(SAMPLING, HEATING, rank, asked.pump, asked.speed))
        if frost := schedule.frost_protection:
            demands.append(Demand(FROST, FROST, order.index(FROST), frost.pump.pump, frost.pump.speed))
        for name, sheet in scenario.plant.heat_sources.items():
            if isinstance(sheet, Solar) and sheet.steered and sheet.steered.pump:
                turned = (sheet.own_water.circulator,) if sheet.own_water else ()
                demands.append(Demand(sun_on(name), SUN, order.index(SUN), *sheet.steered.pump, (), turned))
        self.air = [
            (Demand(f"{self.bathing_name(k)}, air", AIR, 0, blower, "on"), k)
            for k, entry in enumerate(schedule.bathing)
            for blower in scenario.plant.air
            if entry.air
        ]
        demands += [demand for demand, _ in self.air]
        self.air_flushes = [
            Demand(AIR_FLUSH, AIR_FLUSH, 1, b, "on") for b in scenario.plant.air if schedule.air_line_flushes
        ]
        demands += self.air_flushes
        self.treating = {
            name: Demand(f"{name}, {TREATMENT}", TREATMENT, len(order), "", "", (name,))
            for name, device in scenario.plant.treatment.items()
            if device.runs or device.with_
        }
        """Treatment device -> the demand that calls it."""
        demands += self.treating.values()
        self.beside = list(self._beside())
        self.machines = dict(self._machines())
        self.controller = ControlLogic(
            pumps=tuple(
                PumpControl(n, tuple(p.speeds), tabulate(self.machines[n]), p.contactors_lock)
                for n, p in scenario.plant.pumps.items()
            )
            + tuple(
                PumpControl(n, ("on",), tabulate(self.machines[n]))
                for n in (*scenario.plant.air, *scenario.plant.circulators)
            ),
            sources=tuple(
                SourceControl(
                    n, tabulate(self.machines[n]), self._active(n), device.own_flow_switch_s is not None
                )
                for n, device in self._devices.items()
            ),
            demands=tuple(demands),
            blocks=tuple(self._blocks()),
            keeps=tuple(KeepInterlock(k.keep.pump, k.keep.speed, k.after) for k in self._keeps()),
            dwell_s=self._dwells(),
            starters=tuple(b.starter for b in self.beside),
            hand_switched=tuple(dict.fromkeys(b.starter.target for b in self.beside if b.line.hand_switch)),
            reads_level=scenario.plant.tub.level_switch,
        )

    @property
    def entries(self) -> list[TimedDemand]:
        """The entries of the calendar that run pumps, each once, by its first pump."""
        return [timed for timed in self.timed if timed.place == 0]

    def bathing_name(self, entry: int) -> str:
        """What an entry of the bathing list is called."""
        entries = self.scenario.schedule.bathing
        return entries[entry].name or ("bathing" if len(entries) == 1 else f"bathing {entry + 1}")

    @property
    def switched(self) -> list[str]:
        """Heat sources that the controller switches."""
        return [n for n, source in self.scenario.plant.heat_sources.items() if source.switched]

    @property
    def _devices(self) -> dict[str, AnySwitched]:
        """Heat sources that the controller switches, and treatment devices."""
        plant = self.scenario.plant
        return {n: plant.heat_sources[n] for n in self.switched} | dict(plant.treatment)

    def _active(self, name: str) -> str:
        """What the state is called in which a heat source or a treatment device is on."""
        return "on" if name in self.scenario.plant.treatment else "firing"

    def _own_circuit(self, source: str) -> AnyCircuit | None:
        """The circuit of a heat source with water of its own."""
        return self.scenario.plant.heat_sources[source].own_water

    def _beside(self) -> Iterator[WiredContact]:
        """Every contact beside the controller's, under a name that says whose it is."""
        plant, names = self.scenario.plant, set[str]()
        pumping = (*plant.pumps, *plant.air, *plant.circulators)
        for target, sheet in {**plant.pumps, **plant.air, **plant.circulators, **self._devices}.items():
            for line in sheet.also_started_by:
                way = f"contact of {line.contact_of}" if line.contact_of else _WAYS[line.way]
                name = f"{target}, {way}"
                k = next(k for k in range(1, 100) if (f"{name} {k}" if k > 1 else name) not in names)
                names.add(name := f"{name} {k}" if k > 1 else name)
                speed = line.speed or "on" if target in pumping else None
                yield WiredContact(StarterContact(name, target, speed), line)

    @property
    def past(self) -> dict[str, list[str]]:
        """What is started past the controller -> the contacts that start it."""
        starters: dict[str, list[str]] = {}
        for beside in self.beside:
            starters.setdefault(beside.starter.target, []).append(beside.starter.name)
        return starters

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
        for name in (*self.scenario.plant.air, *self.scenario.plant.circulators):
            yield name, pump_machine(name, ("on",))
        for name in self.switched:
            source, proves = self.scenario.plant.heat_sources[name], self.proof_s(name) is not None
            least = source.minimum_run_s > 0
            yield name, source_machine(name, proves, self.run_on_s(name) > 0, source.rest_s > 0, least)
        for name in self.scenario.plant.treatment:
            yield name, source_machine(name, self.proof_s(name) is not None, False, active="on")

    def _blocks(self) -> Iterator[BlockInterlock]:
        pumps = {*self.scenario.plant.pumps, *self.scenario.plant.air}
        for line in self._block_lines():
            if line.unless == "flow proven":
                continue  # the proof is a state of the source's own machine
            subject, _, state = str(line.while_).rpartition(" ")
            condition = Condition(subject, state)
            target, _, speed = line.block.rpartition(" ")
            if target in pumps:
                yield BlockInterlock(target, speed, condition, line.because or "")
            elif line.block in pumps:
                yield BlockInterlock(line.block, "on", condition, line.because or "")
            else:
                yield BlockInterlock(line.block, None, condition, line.because or "")
        for name, device in self.scenario.plant.treatment.items():
            if device.with_ is not None:  # its contact is in series with the pump's
                yield BlockInterlock(name, None, Condition(device.with_, "running", negated=True))

    def _dwells(self) -> dict[str, dict[str, int]]:
        dwells: dict[str, dict[str, int]] = {}
        for name, pump in self.scenario.plant.pumps.items():
            run = dict.fromkeys(pump.speeds, round(pump.minimum_run_s))
            changeover = round(pump.changeover_s) if len(run) > 1 else 0
            # stopping on the way from one speed to the other is no short cut around break before make
            dwells[name] = {"stopped": max(round(pump.rest_s), changeover), "changing": changeover, **run}
        for name in self.switched:
            source = self.scenario.plant.heat_sources[name]
            dwells[name] = {
                "off": round(source.rest_s),
                **dict.fromkeys(PROOFS, self.proof_s(name) or 0),
                "firing": round(source.minimum_run_s),
                "run_on": self.run_on_s(name),
            }
        for name in self.scenario.plant.treatment:
            dwells[name] = {"proving": self.proof_s(name) or 0}
        return dwells

    # -- the calendar --------------------------------------------------------------------------------------

    def occurrences(
        self, run: Run | Bathing | Occasion, begin_utc: datetime, span_s: int
    ) -> list[Occurrence]:
        """When one entry of the schedule is raised, in seconds from *begin_utc*."""
        return runs(
            run.start or (),
            run.whole_s if isinstance(run, Run) else round(run.lasts_s or 0.0),
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
        spells = windows(
            quiet.from_time,
            quiet.to_time,
            days=_named(quiet.days),
            zone=self.scenario.place.time_zone,
            origin=begin_utc,
            span_s=span_s,
        )
        return joined(sorted((max(0, o.start_s), min(span_s, o.end_s)) for o in spells))

    def raised(
        self, begin_utc: datetime, span_s: int, bathed: Sequence[Session] | None = None
    ) -> dict[str, list[Span]]:
        """Per demand of the calendar, the spans for which it is raised, from *begin_utc* [s].

        *bathed* are the sessions of these seconds; without them those of seed 0 are taken.
        """
        if bathed is None:
            bathed = sessions(self.scenario, begin_utc, span_s, 0)
        entries, clock = self.scenario.schedule.bathing, self.own_clock(begin_utc, span_s)
        spans_of: dict[str, list[Span]] = {}
        for demand, run, later_s in ((t.demand, t.run, _later_s(t)) for t in self.timed):
            if isinstance(run, Bathing):  # the pumps of a session stop together
                jets = [j for s in bathed if entries[s.entry] is run for j in s.jets]
                spans = [(start + later_s, end) for start, end in jets if start + later_s < end]
            else:
                if run.after is not None:
                    begins = {end for end in (s.end_s for s in bathed) if not _anyone_at(bathed, end)}
                else:
                    begins = {o.start_s for o in self.occurrences(run, begin_utc, span_s)}
                own = [(at + later_s, at + later_s + round(run.lasts_s)) for at in sorted(begins)]
                own = [(start, end) for start, end in own if start < span_s and end > 0]
                spans = own if run.after is not None else clock.real(own)
            spans_of[demand.name] = joined(sorted(spans))
        for demand, k in self.air:
            spans_of[demand.name] = joined(sorted(a for s in bathed if s.entry == k for a in s.air))
        for demand in self.air_flushes:
            times = self._recurring(self.scenario.schedule.air_line_flushes, begin_utc, span_s)
            spans_of[demand.name] = joined(sorted(clock.real(times)))
        for name, demand in self.treating.items():
            runs_ = self.scenario.plant.treatment[name].runs
            times = [(0, span_s)] if runs_ is None else self._recurring(runs_, begin_utc, span_s)
            spans_of[demand.name] = joined(sorted(clock.real(times)))
        if (heating := self.scenario.schedule.heating) and (sensor := heating.sensor):
            every, lasts = round(sensor.every_s), round(sensor.for_s)
            spans_of[SAMPLING] = [(at, at + lasts) for at in range(0, span_s, every)]
        return spans_of

    def _recurring(self, occasions: Iterable[Occasion], begin_utc: datetime, span_s: int) -> list[Span]:
        times = (o for occasion in occasions for o in self.occurrences(occasion, begin_utc, span_s))
        return sorted((o.start_s, o.end_s) for o in times)

    @property
    def by_clock(self) -> set[str]:
        """The demands that the controller's own clock raises; bathers keep the real time."""
        timed = {t.demand.name for t in self.timed if not isinstance(t.run, Bathing) and t.run.after is None}
        return timed | {demand.name for demand in self.air_flushes}

    def own_clock(self, begin_utc: datetime, span_s: int) -> OwnClock:
        """What the controller takes for the time."""
        cuts, takes = self.outages(begin_utc, span_s), self.scenario.controller
        return OwnClock(takes, cuts, begin_utc, self.zone, span_s, days_away(self.scenario, begin_utc))

    def wired(self, begin_utc: datetime, span_s: int) -> dict[str, list[Span]]:
        """Per fact of what is beside the controller, when it is so as far as a clock or a person decides."""
        spans_of: dict[str, list[Span]] = {}
        for starter, line in ((b.starter, b.line) for b in self.beside):
            spans: list[Span] = []
            if line.clock is not None:  # a clock of its own, which no power cut resets
                shown = self._recurring([line.clock], begin_utc, span_s)
                cuts = self.without_power(starter.target, begin_utc, span_s) if line.clock_stops else []
                clock = OwnClock.of_device(line.clock_gains_s, cuts, span_s)
                spans = sorted(clock.real(shown)) if cuts or line.clock_gains_s else shown
            elif line.every_s is not None and line.for_s is not None:
                every, lasts = round(line.every_s), round(line.for_s)
                spans = [(at, at + lasts) for at in range(0, span_s, every)]
            elif line.hand_switch is not None:
                for to in ("hand", "off"):
                    left = [hand for hand in line.hand_switch if hand.to == to]
                    key = f"{starter.name}.closed" if to == "hand" else f"{starter.target}.switched_off"
                    if left:
                        spans_of[key] = joined(
                            sorted([*spans_of.get(key, []), *self._spells(left, begin_utc, span_s)])
                        )
                continue
            spans_of[f"{starter.name}.closed"] = joined(spans)
        return spans_of

    def outages(self, begin_utc: datetime, span_s: int) -> list[Span]:
        """Cuts of all power that reach into the span from *begin_utc* [s]."""
        return self._cuts(None, begin_utc, span_s)

    def circuit_cuts(self, begin_utc: datetime, span_s: int) -> dict[str, list[Span]]:
        """Per circuit that loses its power alone, when it has none, from *begin_utc* [s]."""
        named = dict.fromkeys(cut.circuit for cut in self.scenario.schedule.outages if cut.circuit)
        return {name: self._cuts(name, begin_utc, span_s) for name in named}

    def without_power(self, thing: str, begin_utc: datetime, span_s: int) -> list[Span]:
        """When a thing has no power, with all others or its circuit alone, from *begin_utc* [s]."""
        cuts = list(self.outages(begin_utc, span_s))
        for name, alone in self.circuit_cuts(begin_utc, span_s).items():
            cuts += alone if thing in self.scenario.circuits[name].feeds else ()
        return joined(sorted(cuts))

    def _cuts(self, circuit: str | None, begin_utc: datetime, span_s: int) -> list[Span]:
        cuts = [cut for cut in self.scenario.schedule.outages if cut.circuit == circuit]
        return joined(self._spells(cuts, begin_utc, span_s))

    def low_water(self, begin_utc: datetime, span_s: int) -> list[Span]:
        """When the water stands too low, from *begin_utc* [s]."""
        return joined(self._spells(self.scenario.schedule.low_water, begin_utc, span_s))

    def turns(self, begin_utc: datetime, span_s: int) -> list[tuple[int, str, str | None]]:
        """(second, valve, position) of every turn of a valve; None for back to its usual position."""
        turns: list[tuple[int, str, str | None]] = []
        for turned in self.scenario.schedule.valves_turned:
            for start, end in self._spells([turned], begin_utc, span_s):
                turns += [(start, turned.valve, turned.to), (end, turned.valve, None)]
        return sorted(turns, key=lambda turn: (turn[0], turn[2] is not None))

    def _spells(self, spells: Sequence[Spell | Outage], begin_utc: datetime, span_s: int) -> list[Span]:
        spans = []
        for spell in spells:
            start = round((localize(spell.from_local, self.zone)[0] - begin_utc).total_seconds())
            if start < span_s and start + spell.lasts_s > 0:
                spans.append((max(0, start), min(span_s, start + round(spell.lasts_s))))
        return sorted(spans)

    def outside(self, begin_utc: datetime, span_s: int) -> list[str]:
        """What the file dates wholly outside the span: it has no effect on it."""
        schedule = self.scenario.schedule
        dated: dict[str, Sequence[Spell | Outage]] = {
            b.starter.name: b.line.hand_switch for b in self.beside if b.line.hand_switch
        }
        for key in ("outages", "valves_turned", "low_water"):
            dated[key] = getattr(schedule, key)
        return [
            f"{name} from {spell.from_local:%Y-%m-%d %H:%M}"
            for name, spells in dated.items()
            for spell in spells
            if not self._spells([spell], begin_utc, span_s)
        ]

    def waits(self, begin_utc: datetime, span_s: int) -> list[Span]:
        """When the controller waits for a person after a power cut."""
        takes = self.scenario.controller
        if takes.after_power_cut != "wait":
            return []
        away, within_s = days_away(self.scenario, begin_utc), round(takes.person_within_s)
        ends = [end for _, end in self.outages(begin_utc, span_s) if end < span_s]
        return joined((end, min(span_s, somebody_by(end, within_s, away))) for end in ends)

    def clock_notes(self, begin_utc: datetime, span_s: int) -> list[str]:
        """What the clock changes did to the schedule, in words."""
        notes = []
        for t in self.entries:
            drawn = isinstance(t.run, Bathing) and t.run.drawn is not None
            for o in [] if drawn or t.run.start is None else self.occurrences(t.run, begin_utc, span_s):
                if o.note and 0 <= o.start_s < span_s:
                    notes.append(f"{t.entry}: {o.note}")
        return notes


def _later_s(timed: TimedDemand) -> int:
    """How long after the first pump of its entry a demand's own one starts [s]."""
    pumping = timed.run.in_one
    return pumping.starts_s(timed.run.lasts_s or 0.0)[timed.place] if pumping else 0


def _anyone_at(bathed: Sequence[Session], at_s: int) -> bool:
    """Whether somebody is in the water at *at_s*."""
    return any(s.start_s <= at_s < s.end_s for s in bathed)


def _named(days: Sequence[int] | None) -> list[str] | None:
    return None if days is None else [WEEKDAYS[day] for day in days]

"""What one run came to, as far as anybody decides by it: plain numbers that can be kept and read again."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from cyclesim.analysis.history import History
from cyclesim.analysis.result import Measuring
from cyclesim.analysis.rules import check
from cyclesim.analysis.spans import spans, total_s, while_in, without
from cyclesim.analysis.truth import people_in
from cyclesim.physics.water import G, density_kg_m3
from cyclesim.scenario.blocks.heat_sources import Solar
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.room_loads import SUMP_PUMP
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.trace import Trace


@dataclass(frozen=True, slots=True)
class LegOutcome:
    """How the water of a leg, last stretch or housing stood and aged; an age is None where it never moved."""

    kind: str
    longest_stagnant_h: float
    stagnant_share_percent: float
    oldest_water_h: float | None
    mean_water_age_h: float | None
    longest_warm_still_h: float


@dataclass(frozen=True, slots=True)
class DeviceOutcome:
    """What one pump, heat source, blower, treatment device or load of the pump room did."""

    kind: str
    """pump, heat source, blower, circulator, treatment or pump room."""
    running_h: float
    starts: int
    energy_kwh: float
    cost: float
    fuel_kwh: float = 0.0
    moved_m3: float | None = None
    """Of a pump, what passed it."""
    hydraulic_kwh: float | None = None
    """Of a pump, the work done on the water: density times g times flow times head."""
    heat_kwh: float | None = None
    """Of a heat source, what it gave the water."""
    sun_unused_kwh: float | None = None
    """Of collectors, what they could have given besides, had water moved."""


@dataclass(frozen=True, slots=True)
class Broken:
    """One finding of the run, as short as a choice needs it."""

    rule: str
    severity: str
    subject: str
    cause: str
    times: int
    worst_text: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """One run in the numbers that one decides by; the unit is in the name, unknown is None."""

    days: int
    currency: str
    legs: dict[str, LegOutcome]
    devices: dict[str, DeviceOutcome]
    turnovers_per_day: float
    fewest_turnovers_in_a_day: float | None
    energy_kwh: float
    fuel_kwh: float
    cost: float
    cost_by_month: dict[str, float]
    loud_min: float
    """Minutes of the whole run in which neighbours hear something while nobody bathes: what the file's quiet
    hours name, else every pump at its highest speed beside filtering; blowers too."""
    sessions: int
    cold_sessions: int
    """Of the sessions, those at which people stepped into water that was too cold."""
    coldest_c: float | None
    most_current_a: float
    findings: tuple[Broken, ...]

    @property
    def running_h(self) -> dict[str, float]:
        """Hours of each machine; the pump room's own loads are none that money wears by the hour."""
        return {n: device.running_h for n, device in self.devices.items() if device.kind != "pump room"}

    @property
    def pump_h(self) -> float:
        """Hours of all pumps together."""
        return sum(d.running_h for d in self.devices.values() if d.kind == "pump")

    @property
    def pump_starts(self) -> int:
        """Starts of all pumps together."""
        return sum(d.starts for d in self.devices.values() if d.kind == "pump")

    @property
    def oldest_water_h(self) -> float:
        """The oldest water anywhere that moves at all or should; infinite where some never moved."""
        return max((_never(leg.oldest_water_h) for leg in self.legs.values()), default=0.0)

    @property
    def oldest_leg(self) -> str:
        """Where that is."""
        return max(self.legs, key=lambda name: _never(self.legs[name].oldest_water_h))

    @property
    def sun_unused_kwh(self) -> float | None:
        """What all collectors could have given besides, had water moved; None where there are none."""
        known = [d.sun_unused_kwh for d in self.devices.values() if d.sun_unused_kwh is not None]
        return sum(known) if known else None

    @property
    def loud_min_a_day(self) -> float:
        """`loud_min` of a mean day."""
        return self.loud_min / self.days

    def broken(self, *severities: str) -> tuple[Broken, ...]:
        """The findings of these severities."""
        return tuple(f for f in self.findings if f.severity in severities)

    def as_values(self) -> dict[str, Any]:
        """Plain values, which `read` turns back into the same outcome."""
        return asdict(self)


def read(values: Mapping[str, Any]) -> Outcome:
    """The outcome whose plain values these are."""
    parsed = dict(values)
    parsed["legs"] = {name: LegOutcome(**leg) for name, leg in parsed["legs"].items()}
    parsed["devices"] = {name: DeviceOutcome(**device) for name, device in parsed["devices"].items()}
    parsed["findings"] = tuple(Broken(**finding) for finding in parsed["findings"])
    return Outcome(**parsed)


def outcome(plant: Assembly, programme: Programme, trace: Trace, days: int) -> Outcome:
    """What a run of so many days came to, measured and judged."""
    history = History(plant, programme, trace)
    metrics, (findings, _) = Measuring(history), check(history)
    tub, energy = metrics.tub, metrics.energy
    return Outcome(
        days=days,
        currency=energy.currency,
        legs={
            name: LegOutcome(
                leg.kind,
                leg.longest_stagnant_h,
                leg.stagnant_share_percent,
                leg.oldest_water_h,
                leg.mean_water_age_h,
                leg.longest_warm_still_h,
            )
            for name, leg in metrics.legs.items()
        },
        devices=dict(_devices(history, metrics)),
        turnovers_per_day=tub.turnovers_per_day,
        fewest_turnovers_in_a_day=tub.fewest_turnovers_in_a_day,
        energy_kwh=energy.energy_kwh,
        fuel_kwh=energy.fuel_kwh,
        cost=energy.cost,
        cost_by_month={month.month: month.cost for month in energy.by_month},
        loud_min=loud_s(plant, trace) / 60.0,
        sessions=tub.sessions,
        cold_sessions=sum(
            f.times for f in findings if f.rule == "cold-at-session" and f.subject == "bathing"
        ),
        coldest_c=tub.coldest_c,
        most_current_a=energy.most_current_a,
        findings=tuple(
            Broken(f.rule, f.severity, f.subject, f.cause, f.times, f.worst_text) for f in findings
        ),
    )


def _devices(history: History, metrics: Measuring) -> Iterator[tuple[str, DeviceOutcome]]:
    moved, work = _work(history)
    by_device = metrics.energy.by_device

    def entry(
        name: str, kind: str, running_h: float, starts: int, **amounts: Any
    ) -> tuple[str, DeviceOutcome]:
        used = by_device[name]
        return name, DeviceOutcome(
            kind, running_h, starts, used.energy_kwh, used.cost, used.fuel_kwh, **amounts
        )

    for name, pump in metrics.pumps.items():
        did = {"moved_m3": moved[name], "hydraulic_kwh": work[name] / 3.6e6}
        yield entry(name, "pump", pump.running_h, pump.starts, **did)
    for name, source in metrics.heat_sources.items():
        if name in by_device:
            gave = {"heat_kwh": source.heat_kwh, "sun_unused_kwh": source.sun_unused_kwh}
            yield entry(name, "heat source", source.firing_h, source.firings, **gave)
    for name, blower in metrics.blowers.items():
        yield entry(name, "blower", blower.running_h, blower.starts)
    for water in metrics.own_water.values():
        yield entry(water.circulator, "circulator", water.circulator_h, water.circulator_starts)
    for name, device in metrics.treatment.items():
        yield entry(name, "treatment", device.on_h, device.starts)
    for name, load in metrics.pump_room.loads.items() if metrics.pump_room else ():
        yield entry(name, "pump room", load.on_h, load.starts)
    if SUMP_PUMP in by_device:  # by its share of the time alone: its starts are not known
        power_w = history.plant.scenario.always_on[SUMP_PUMP]
        yield entry(SUMP_PUMP, "pump room", 1000.0 * by_device[SUMP_PUMP].energy_kwh / power_w, 0)


def _work(history: History) -> tuple[dict[str, float], dict[str, float]]:
    """Per pump, what passed it [m3] and the work done on it [J]; coasting moves nothing."""
    plant = history.plant
    moved, work = dict.fromkeys(plant.pumps, 0.0), dict.fromkeys(plant.pumps, 0.0)
    weight = density_kg_m3(plant.temp_c) * G
    for start, end, duty in history.duties:
        for name, speed in zip(plant.pumps, duty.speeds, strict=True):
            if speed != "stopped":
                passed = duty.flow_m3_s(name) * (end - start)
                moved[name] += passed
                work[name] += weight * passed * (duty.duty.pump_heads_m.get(name) or 0.0)
    return moved, work


def loud_speeds(scenario: Scenario) -> dict[str, tuple[str, ...]]:
    """Per pump, the speeds that neighbours hear: what the quiet hours name, else the highest of two speeds,
    and a pump that neither filters nor heats, by the sun or otherwise.
    """
    quiet, schedule = scenario.schedule.quiet_hours, scenario.schedule
    if quiet is not None:
        heard: dict[str, tuple[str, ...]] = {}
        for pump, speed in quiet.applies_to:
            if pump not in scenario.plant.pumps:
                continue  # a blower, which no programme of water moves
            own = tuple(scenario.plant.pumps[pump].speeds)
            heard[pump] = (*heard.get(pump, ()), *((speed,) if speed in own else own))
        return heard
    steady = {pump for run in schedule.filter_runs for pump, _ in run.pumping.pumps}
    steady |= {schedule.heating.pump[0]} if schedule.heating else set()
    sources = scenario.plant.heat_sources.values()
    steady |= {s.steered.pump[0] for s in sources if isinstance(s, Solar) and s.steered and s.steered.pump}
    loud = {name: tuple(pump.speeds) for name, pump in scenario.plant.pumps.items()}
    return {name: speeds[-1:] for name, speeds in loud.items() if len(speeds) > 1 or name not in steady}


def loud_s(plant: Assembly, trace: Trace) -> float:
    """How long neighbours hear something while nobody bathes [s]."""
    running = [while_in(trace.pumps[n], *speeds) for n, speeds in loud_speeds(plant.scenario).items()]
    running += [while_in(stream, "on") for stream in trace.blowers.values()]
    heard = spans([pair for during in running for pair in during.tolist()])
    return total_s(without(heard, people_in(trace)))


def _never(hours: float | None) -> float:
    return math.inf if hours is None else hours

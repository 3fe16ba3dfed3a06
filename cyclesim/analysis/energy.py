"""Pumps, heat sources and what their electricity costs, by the tariff's wall clock."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from cyclesim.analysis.ages import when
from cyclesim.analysis.conductors import with_drops
from cyclesim.analysis.device_metrics import (
    BlowerMetrics,
    DeviceEnergy,
    EnergyMetrics,
    HeatSourceMetrics,
    MonthEnergy,
    PumpMetrics,
    TreatmentMetrics,
)
from cyclesim.analysis.spans import Floats, Ints, integral, total_s, while_in, without
from cyclesim.analysis.sunshine import lost_by_plate_j, sun_j, sunshine, trapped_j
from cyclesim.analysis.supply import measure_circuits, most_current
from cyclesim.analysis.truth import Timeline
from cyclesim.control.calendar import has_day
from cyclesim.control.machines import PROOFS
from cyclesim.scenario.blocks.heat_sources import Boiler, HeatPump, Solar, Wood
from cyclesim.scenario.blocks.place import PriceFile, Tariff
from cyclesim.scenario.blocks.room_loads import SUMP_PUMP
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.prices import prices as price_edges
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.trace import Rows, Stream, Trace

_KWH = 3.6e6
_H_S = 3600.0
_RUNNING = ("on", "low", "high")


class Meter(NamedTuple):
    """Energy and cost of each device, counted from the start of the span to each of its edges."""

    at_s: Floats
    energy_kwh: dict[str, Floats]
    fuel_kwh: dict[str, Floats]
    """Of boilers only."""
    cost: dict[str, Floats]
    """Of electricity and fuel."""
    heat_j: dict[str, float]
    """Heat that each source gave the plant's water over the whole span, trapped or not."""

    def total(self, name: str) -> DeviceEnergy:
        """What one device took in all."""
        return self.between(name, 0, len(self.at_s) - 1)

    def between(self, name: str, a: int, b: int) -> DeviceEnergy:
        """What one device took from one edge to another, by their numbers."""
        energy, cost, fuel = (
            float(of[name][b] - of[name][a]) if name in of else 0.0
            for of in (self.energy_kwh, self.cost, self.fuel_kwh)
        )
        return DeviceEnergy(energy, cost, fuel)


def prices(tariff: Tariff | PriceFile, trace: Trace) -> tuple[Floats, Floats]:
    """The edges [s] of constant price over the span, and the price per kWh of each stretch between them.

    Raises InputError where a file of prices does not cover the span.
    """
    return price_edges(tariff, trace.begin_utc, trace.time_zone, trace.span_s)


def local_edges(trace: Trace, unit: str) -> list[int]:
    """The local midnights inside or at the ends of the span at which a "day" or a "month" begins [s]."""
    return list(_local_edges(trace.begin_utc, trace.time_zone, trace.span_s, unit))


@lru_cache(maxsize=16)
def _local_edges(begin_utc: datetime, time_zone: str, span_s: int, unit: str) -> tuple[int, ...]:
    zone = ZoneInfo(time_zone)
    edges: list[int] = []
    day = begin_utc.astimezone(zone).date()
    while True:
        instant = datetime(day.year, day.month, day.day, tzinfo=zone).astimezone(UTC)
        edge_s = round((instant - begin_utc).total_seconds())
        if edge_s > span_s:
            return tuple(edges)
        if edge_s >= 0 and (unit == "day" or day.day == 1) and has_day(zone, day):
            edges.append(edge_s)
        day += timedelta(days=1)


def meter(plant: Assembly, programme: Programme, trace: Trace) -> Meter:
    """Every device metered at each change of price and at the end of each month."""
    edges, price = prices(plant.scenario.supply.tariff, trace)
    at_s = np.unique(np.concatenate([edges, np.array(local_edges(trace, "month"), dtype=float)]))
    price = price[np.searchsorted(edges, at_s[:-1], side="right") - 1]
    energy, fuel, cost = {}, {}, {}
    for name, stream in {
        **trace.pumps,
        **trace.blowers,
        **trace.circulators,
        **trace.sources,
        **trace.treatments,
        **trace.loads,
    }.items():
        source = plant.sheet.heat_sources.get(name)
        if name in trace.burners:
            energy[name] = _of_rows_kwh(trace.own_waters[name], "input_j", at_s)
        elif isinstance(source, HeatPump):
            energy[name] = _drawn_kwh(trace, name, at_s)
        else:
            energy[name] = _integral_kwh(stream, _power_w(plant, name), at_s)
        cost[name] = np.concatenate(([0.0], np.cumsum(np.diff(energy[name]) * price)))
        if isinstance(source, Boiler):
            if name in trace.burners:
                fuel[name] = _of_rows_kwh(trace.own_waters[name], "given_j", at_s) / source.efficiency
            else:
                fuel[name] = _integral_kwh(stream, {"firing": source.output_w / source.efficiency}, at_s)
            cost[name] = cost[name] + fuel[name] * source.fuel_price.amount
    if (room := plant.sheet.pump_room) and room.sump_pump and (mean_w := room.sump_pump.mean_w):
        energy[SUMP_PUMP] = _integral_kwh(trace.power, {"on": mean_w, "waits": mean_w}, at_s)
        cost[SUMP_PUMP] = np.concatenate(([0.0], np.cumsum(np.diff(energy[SUMP_PUMP]) * price)))
    heat_j = {name: _heat_j(plant, programme, trace, name) for name in trace.sources}
    return Meter(at_s, energy, fuel, cost, heat_j)


def _power_w(plant: Assembly, name: str) -> dict[str, float]:
    """Electrical power by state of what draws the same whenever it is in one."""
    if name in plant.pumps:
        return {state: speed.power_w for state, speed in plant.speeds[name].items()}
    for sheets in (plant.sheet.air, plant.sheet.circulators):
        if name in sheets:
            return {"on": sheets[name].power_w}
    if (room := plant.sheet.pump_room) and name in room.loads:
        return {"on": room.loads[name]}
    if name in plant.sheet.treatment:
        return {"on": plant.sheet.treatment[name].power_w}
    return {"firing": plant.sheet.heat_sources[name].power_w}


def _integral_kwh(stream: Stream[str], power_w: dict[str, float], at_s: Floats) -> Floats:
    starts = np.array(stream.starts, dtype=float)
    rate = np.array([power_w.get(label, 0.0) for label in stream.labels])[np.array(stream.codes)]
    return integral(starts, np.append(starts[1:], float(stream.end_s)), rate, at_s) / _KWH


def _drawn_kwh(trace: Trace, name: str, at_s: Floats) -> Floats:
    """What a heat pump drew, which follows air and water."""
    rows = trace.exchanges.get(name)
    return np.zeros_like(at_s) if rows is None else _of_rows_kwh(rows, "input_j", at_s)


def _of_rows_kwh(rows: Rows, column: str, at_s: Floats) -> Floats:
    """A column of joules as it adds up by each second asked for."""
    start, end, joules = rows.start_s, rows.end_s, getattr(rows, column)
    return integral(start, end, joules / (end - start), at_s) / _KWH


def measure_energy(plant: Assembly, trace: Trace, metered: Meter, truth: Timeline) -> EnergyMetrics:
    """Energy and cost by device and by month, and the most current that was drawn."""
    by_device = {name: metered.total(name) for name in metered.energy_kwh}
    energy = sum(metered.energy_kwh.values(), start=np.zeros(len(metered.at_s)))
    fuel = sum(metered.fuel_kwh.values(), start=np.zeros(len(metered.at_s)))
    cost = sum(metered.cost.values(), start=np.zeros(len(metered.at_s)))
    ends = sorted({0, *local_edges(trace, "month"), trace.span_s})
    months = []
    for start, end in pairwise(ends):
        a, b = np.searchsorted(metered.at_s, (start, end))
        month = f"{trace.local(start):%Y-%m}"
        energy_kwh, cost_, fuel_kwh = (float(totals[b] - totals[a]) for totals in (energy, cost, fuel))
        of = {name: metered.between(name, int(a), int(b)) for name in metered.energy_kwh}
        months.append(MonthEnergy(month, energy_kwh, cost_, fuel_kwh, of))
    most_a, most_at = most_current(plant, truth)
    days = trace.span_s / 86_400.0
    total_kwh, total_cost = (sum(getattr(d, k) for d in by_device.values()) for k in ("energy_kwh", "cost"))
    return EnergyMetrics(
        currency=plant.scenario.supply.tariff.currency,
        by_device=by_device,
        energy_kwh=total_kwh,
        cost=total_cost,
        energy_kwh_per_day=total_kwh / days,
        cost_per_day=total_cost / days,
        by_month=tuple(months),
        most_current_a=most_a,
        most_current_at=None if most_at is None else when(trace, most_at),
        breaker_a=plant.scenario.supply.breaker_a,
        circuits=with_drops(plant, truth, measure_circuits(plant, trace, truth)),
        fuel_kwh=float(fuel[-1]),
    )


def starts_of(stream: Stream[str]) -> Floats:
    """When a pump started from rest; what ran when the span began had started before it."""
    starts = while_in(stream, *_RUNNING, "changing")[:, 0]
    return starts[starts > 0.0]


def within_an_hour(starts: Floats) -> Ints:
    """Per start [s, rising], how many come within the hour that begins with it, itself among them."""
    return np.searchsorted(starts, starts + _H_S, side="left") - np.arange(len(starts))


def _hours(stream: Stream[str], *states: str) -> float:
    return total_s(while_in(stream, *states)) / _H_S


def running_hours(trace: Trace) -> dict[str, float]:
    """How long each machine ran [h]; the pump room's own loads are none that money wears by the hour."""
    hours = {name: _hours(stream, *_RUNNING) for name, stream in trace.pumps.items()}
    hours |= {name: _hours(stream, "firing") for name, stream in trace.sources.items()}
    for streams in (trace.blowers, trace.circulators, trace.treatments):
        hours |= {name: _hours(stream, "on") for name, stream in streams.items()}
    return hours


def measure_pump(
    plant: Assembly, programme: Programme, trace: Trace, name: str, metered: Meter
) -> PumpMetrics:
    """What one pump did."""
    stream = trace.pumps[name]
    starts = starts_of(stream)
    changes, speed = 0, ""
    for stay in stream:
        if stay.state == "stopped":
            speed = ""
        elif stay.state != "changing":
            changes += bool(speed) and speed != stay.state
            speed = stay.state
    two = len(plant.speeds[name]) == 2
    total = metered.total(name)
    return PumpMetrics(
        running_h=_hours(stream, *_RUNNING),
        low_h=_hours(stream, "low") if two else None,
        high_h=_hours(stream, "high") if two else None,
        starts=len(starts),
        starts_per_day=len(starts) / (trace.span_s / 86_400.0),
        speed_changes=changes,
        most_starts_in_an_hour=int(np.max(within_an_hour(starts), initial=0)),
        energy_kwh=total.energy_kwh,
        cost=total.cost,
        asked_h={
            programme.entry_of.get(demand.name, demand.name): _hours(trace.demands[demand.name], "raised")
            for demand in programme.controller.demands
            if demand.pump == name
        },
    )


def measure_source(
    plant: Assembly, programme: Programme, trace: Trace, name: str, metered: Meter
) -> HeatSourceMetrics:
    """What one heat source did."""
    stream, reasons, sheet = trace.sources[name], trace.reasons[name], plant.sheet.heat_sources[name]
    total, heat_kwh = metered.total(name), metered.heat_j[name] / _KWH
    drew = isinstance(sheet, HeatPump) and total.energy_kwh > 0.0
    sun = sunshine(plant, programme, trace, name) if isinstance(sheet, Solar) else None
    return HeatSourceMetrics(
        firing_h=_hours(stream, "firing"),
        firings=int(np.sum(while_in(stream, "firing")[:, 0] > 0.0)),
        run_on_h=_hours(stream, "run_on"),
        proving_h=_hours(stream, *PROOFS),
        called_not_firing_h={
            why: hours for why in sorted(reasons.labels) if why and (hours := _hours(reasons, why))
        },
        tripped_h=_hours(stream, "tripped"),
        energy_kwh=total.energy_kwh,
        cost=total.cost,
        heat_kwh=heat_kwh,
        seasonal_cop=heat_kwh / total.energy_kwh if drew else None,
        fuel_kwh=total.fuel_kwh if isinstance(sheet, Boiler) else None,
        sun_unused_kwh=sun.unused_j / _KWH if sun else None,
        sun_unused_at_stop_kwh=sun.at_stop_j / _KWH if sun and sun.at_stop_j is not None else None,
        valve_moves=_valve_moves(plant, trace, name),
        stood_hot_h=sun.hot_s / _H_S if sun and sun.hot_s is not None else None,
        hottest_c=sun.hottest_c if sun else None,
        hottest_at=when(trace, sun.hottest_at_s) if sun and sun.hottest_at_s is not None else None,
    )


def _valve_moves(plant: Assembly, trace: Trace, name: str) -> int | None:
    """How often the motor valve of steered collectors moved, by hand too; None where they have none."""
    steered = plant.steered.get(name)
    if steered is None or steered.valve is None:
        return None
    k = list(plant.turnable).index(steered.valve.valve)
    stood = [stay.state[k] for stay in trace.positions if stay.state]
    return sum(before != after for before, after in pairwise(stood))


def measure_treatment(
    plant: Assembly, trace: Trace, name: str, truth: Timeline, metered: Meter
) -> TreatmentMetrics:
    """What one treatment device did, and for how long without the flow that it needs."""
    stream, total = trace.treatments[name], metered.total(name)
    unfed = without(truth.hot[name], truth.enough_flow[name])
    return TreatmentMetrics(
        kind=plant.sheet.treatment[name].kind,
        on_h=_hours(stream, "on"),
        starts=int(np.sum(while_in(stream, "on")[:, 0] > 0.0)),
        on_without_flow_h=total_s(unfed) / _H_S,
        held_off_h=_hours(stream, "held_off", "proving"),
        energy_kwh=total.energy_kwh,
        cost=total.cost,
    )


def _heat_j(plant: Assembly, programme: Programme, trace: Trace, name: str) -> float:
    """Heat [J] that a source gave the water, flowing or not.

    That of a dry collector never reaches it; one with a temperature loses some of what it takes in.
    """
    sheet, rows = plant.sheet.heat_sources[name], trace.exchanges.get(name)
    if name in trace.own_waters:
        own = trace.own_waters[name]
        return float(np.sum(own.given_j - own.lost_j if name in plant.behind_plates else own.given_j))
    if sheet.switched and not isinstance(sheet, HeatPump):
        return total_s(while_in(trace.sources[name], "firing")) * sheet.output_w
    moved_j = 0.0 if rows is None else float(np.sum(rows.heat_j))
    if name in plant.plates:
        return sun_j(plant, trace, name) - lost_by_plate_j(trace, name)
    return moved_j + (trapped_j(plant, programme, trace, name) if isinstance(sheet, Wood) else 0.0)


def measure_blower(plant: Assembly, trace: Trace, name: str, metered: Meter) -> BlowerMetrics:
    """What one blower did."""
    duty, total, sheet = plant.air_duty(name), metered.total(name), plant.sheet.air[name]
    return BlowerMetrics(
        running_h=_hours(trace.blowers[name], "on"),
        starts=len(starts_of(trace.blowers[name])),
        energy_kwh=total.energy_kwh,
        cost=total.cost,
        flow_l_min=duty.flow_m3_s * 60_000.0,
        pressure_kpa=duty.pressure_pa / 1000.0,
        why_not=duty.why_not,
        wet_volume_l=sheet.wet_volume_m3 * 1000.0,
        each_injector_l_min=duty.flow_m3_s * 60_000.0 / sheet.injectors if sheet.injectors else None,
    )

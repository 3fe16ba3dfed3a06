"""Pumps, heat sources and what their electricity costs, by the tariff's wall clock."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from cyclesim.analysis.ages import when
from cyclesim.analysis.metrics import DeviceEnergy, EnergyMetrics, HeatSourceMetrics, MonthEnergy, PumpMetrics
from cyclesim.analysis.spans import Floats, integral, total_s, while_in
from cyclesim.analysis.truth import Timeline, current_a
from cyclesim.scenario.place import PriceFile, Tariff
from cyclesim.simulation.assembly import Plant
from cyclesim.simulation.prices import prices as price_edges
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.trace import Stream, Trace

_KWH = 3.6e6
_H_S = 3600.0
_RUNNING = ("on", "low", "high")


class Meter(NamedTuple):
    """Energy and cost of each device, counted from the start of the span to each of its edges."""

    at_s: Floats
    energy_kwh: dict[str, Floats]
    cost: dict[str, Floats]

    def total(self, name: str) -> DeviceEnergy:
        """What one device took in all."""
        return DeviceEnergy(float(self.energy_kwh[name][-1]), float(self.cost[name][-1]))


def prices(tariff: Tariff | PriceFile, trace: Trace) -> tuple[Floats, Floats]:
    """The edges [s] of constant price over the span, and the price per kWh of each stretch between them.

    Raises InputError where a file of prices does not cover the span.
    """
    return price_edges(tariff, trace.begin_utc, trace.time_zone, trace.span_s)


def local_edges(trace: Trace, unit: str) -> list[int]:
    """The local midnights inside or at the ends of the span at which a "day" or a "month" begins [s]."""
    zone = ZoneInfo(trace.time_zone)
    found: list[int] = []
    day = trace.local(0).date()
    while True:
        instant = datetime(day.year, day.month, day.day, tzinfo=zone).astimezone(UTC)
        at = round((instant - trace.begin_utc).total_seconds())
        if at > trace.span_s:
            return found
        if at >= 0 and (unit == "day" or day.day == 1):
            found.append(at)
        day += timedelta(days=1)


def meter(plant: Plant, trace: Trace) -> Meter:
    """Every pump and heat source metered at each change of price and at the end of each month."""
    edges, price = prices(plant.scenario.supply.tariff, trace)
    at = np.unique(np.concatenate([edges, np.array(local_edges(trace, "month"), dtype=float)]))
    price = price[np.searchsorted(edges, at[:-1], side="right") - 1]
    energy, cost = {}, {}
    for name, stream in {**trace.pumps, **trace.sources}.items():
        if name in plant.pumps:
            power_w = {state: speed.power_w for state, speed in plant.speeds[name].items()}
        else:
            power_w = {"firing": plant.sheet.heat_sources[name].output_w}
        starts = np.array(stream.starts, dtype=float)
        rate = np.array([power_w.get(label, 0.0) for label in stream.labels])[np.array(stream.codes)]
        energy[name] = integral(starts, np.append(starts[1:], float(stream.end_s)), rate, at) / _KWH
        cost[name] = np.concatenate(([0.0], np.cumsum(np.diff(energy[name]) * price)))
    return Meter(at, energy, cost)


def measure_energy(plant: Plant, trace: Trace, metered: Meter, truth: Timeline) -> EnergyMetrics:
    """Energy and cost by device and by month, and the most current that was drawn."""
    by_device = {name: metered.total(name) for name in metered.energy_kwh}
    energy = sum(metered.energy_kwh.values(), start=np.zeros(len(metered.at_s)))
    cost = sum(metered.cost.values(), start=np.zeros(len(metered.at_s)))
    ends = sorted({0, *local_edges(trace, "month"), trace.span_s})
    months = []
    for start, end in pairwise(ends):
        a, b = np.searchsorted(metered.at_s, (start, end))
        month = f"{trace.local(start):%Y-%m}"
        months.append(MonthEnergy(month, float(energy[b] - energy[a]), float(cost[b] - cost[a])))
    most_a, most_at = max(
        ((current_a(snapshot, plant), -float(a[0, 0])) for snapshot, a in truth.snapshots), default=(0.0, 0.0)
    )
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
        most_current_at=when(trace, -most_at) if truth.snapshots else None,
        breaker_a=plant.scenario.supply.breaker_a or 0.0,
    )


def starts_of(stream: Stream) -> Floats:
    """When a pump started from rest; what ran when the span began had started before it."""
    starts = while_in(stream, *_RUNNING, "changing")[:, 0]
    return starts[starts > 0.0]


def _hours(stream: Stream, *states: str) -> float:
    return total_s(while_in(stream, *states)) / _H_S


def measure_pump(plant: Plant, programme: Programme, trace: Trace, name: str, metered: Meter) -> PumpMetrics:
    """What one pump did."""
    stream = trace.pumps[name]
    starts = starts_of(stream)
    in_an_hour = np.searchsorted(starts, starts + _H_S, side="left") - np.arange(len(starts))
    changes, speed = 0, ""
    for x in stream:
        if x.state == "stopped":
            speed = ""
        elif x.state != "changing":
            changes += bool(speed) and speed != x.state
            speed = x.state
    two = len(plant.speeds[name]) == 2
    total = metered.total(name)
    return PumpMetrics(
        running_h=_hours(stream, *_RUNNING),
        low_h=_hours(stream, "low") if two else None,
        high_h=_hours(stream, "high") if two else None,
        starts=len(starts),
        starts_per_day=len(starts) / (trace.span_s / 86_400.0),
        speed_changes=changes,
        most_starts_in_an_hour=int(np.max(in_an_hour, initial=0)),
        energy_kwh=total.energy_kwh,
        cost=total.cost,
        asked_h={
            demand.name: _hours(trace.demands[demand.name], "raised")
            for demand in programme.controller.demands
            if demand.pump == name
        },
    )


def measure_source(trace: Trace, name: str, metered: Meter) -> HeatSourceMetrics:
    """What one heat source did."""
    stream, reasons = trace.sources[name], trace.reasons[name]
    total = metered.total(name)
    return HeatSourceMetrics(
        firing_h=_hours(stream, "firing"),
        firings=int(np.sum(while_in(stream, "firing")[:, 0] > 0.0)),
        run_on_h=_hours(stream, "run_on"),
        proving_h=_hours(stream, "proving"),
        called_not_firing_h={
            why: hours for why in sorted(reasons.labels) if why and (hours := _hours(reasons, why))
        },
        tripped_h=_hours(stream, "tripped"),
        energy_kwh=total.energy_kwh,
        cost=total.cost,
    )

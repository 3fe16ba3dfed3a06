"""What the owner does by hand, and how often: the water, the filter, the covers, the winter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta

from cyclesim.analysis.history import moves_at
from cyclesim.scenario.blocks.heat_sources import Solar
from cyclesim.scenario.blocks.heating import Absence
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.hourly_weather import weather
from cyclesim.simulation.programme import Programme

_DAY_S, _HOURS_A_DAY = 86_400, 24
COVERS_EVERY_DAYS, COVERS_SOURCE = 30, "common practice, no source"
RCD_EVERY_DAYS, SUMP_EVERY_DAYS = 180, 90
BEFORE_FROST_DAYS, _WINTER_DAYS = 14, 180
"""How long before the first frost one gets ready: our choice; how far before the coldest hour that may be."""


@dataclass(frozen=True, slots=True)
class Chore:
    """One thing to do, first on a day, then every so many days; once where there are none."""

    name: str
    how: str
    first: date
    every_days: int | None
    known_from: str
    """Where the interval is from: the file, or practice."""
    days: tuple[date, ...] = ()
    """Every day on which it is done, where an absence puts one of those in the file's year off."""
    moved: tuple[date, ...] = ()
    """Of these days those on which it is done for it fell due while nobody came: when somebody is back, or,
    of what is done once a year, before."""


def chores(scenario: Scenario) -> list[Chore]:
    """The chores of the file's year, in the order of their first day; none falls on days away."""
    care, new_year = scenario.water_care, date(scenario.place.year, 1, 1)
    found = []
    if care and care.clean_filter_every_s:
        every = round(care.clean_filter_every_s / _DAY_S)
        first = new_year + timedelta(days=every)
        found.append(Chore("Clean the filter", "Pump off first.", first, every, "the file"))
    if care and care.refill_every_s:
        every = round(care.refill_every_s / _DAY_S)
        first = care.last_refill or new_year
        while first <= new_year:
            first += timedelta(days=every)
        how = "Empty the tub, clean it, fill it, and let every pump run until no air comes."
        found.append(Chore("Refill the tub", how, first, every, "the file"))
    if any(leg.suction for leg in scenario.plant.legs.values()):
        first = new_year + timedelta(days=COVERS_EVERY_DAYS)
        how = "Every one is whole and screwed on. Nobody bathes while one is loose, broken or missing."
        found.append(Chore("Look at the suction covers", how, first, COVERS_EVERY_DAYS, COVERS_SOURCE))
    if any(circuit.rcd for circuit in scenario.circuits.values()):
        first = new_year + timedelta(days=RCD_EVERY_DAYS)
        how = "Press the button of each: it trips at once, or an electrician comes. Then check the clocks."
        found.append(Chore("Test the residual-current devices", how, first, RCD_EVERY_DAYS, COVERS_SOURCE))
    if (room := scenario.plant.pump_room) and room.sump_pump:
        first = new_year + timedelta(days=SUMP_EVERY_DAYS)
        how = "Pour a bucket of water into the sump: its pump starts by itself and stops again."
        found.append(Chore("Try the sump pump", how, first, SUMP_EVERY_DAYS, COVERS_SOURCE))
    if frost := first_frost(scenario):
        how = "Lids and insulation are in place."
        if scenario.schedule.frost_protection:
            how += " The frost protection starts its pump when its sensor is cooled."
        ready = frost - timedelta(days=BEFORE_FROST_DAYS)
        found.append(Chore("Get ready for frost", how, ready, None, "the file's weather"))
        for name, pump_or_valve in drained_for_winter(scenario).items():
            how = "Empty it and its pipes outdoors. "
            how += f"{pump_or_valve} lets no water in until it is filled again, in an evening without frost."
            found.append(Chore(f"Drain {name}", how, ready, None, "the file's weather"))
    heating = scenario.schedule.heating
    away = heating.absences if heating else ()
    return sorted((_around(chore, away, scenario.place.year) for chore in found), key=lambda c: c.first)


def _around(chore: Chore, away: Sequence[Absence], year: int) -> Chore:
    """A chore with none of its days in an absence; what recurs is counted from when it was put off to."""
    if chore.every_days is None:
        ready = _out_of(away, chore.first, before=True)
        return replace(chore, first=ready, moved=(ready,) * (ready != chore.first))
    days, moved, due = list[date](), list[date](), chore.first
    while due.year == year:
        day = _out_of(away, due, before=False)
        days.append(day)
        moved += [day] * (day != due)
        due = day + timedelta(days=chore.every_days)
    return replace(chore, first=days[0], days=tuple(days), moved=tuple(moved)) if moved else chore


def _out_of(away: Sequence[Absence], day: date, *, before: bool) -> date:
    """The last day before the absences that a day lies in, or the first after them; else the day."""
    while spell := next((a for a in away if a.from_date <= day <= a.to_date), None):
        day = spell.from_date - timedelta(days=1) if before else spell.to_date + timedelta(days=1)
    return day


def drained_for_winter(scenario: Scenario) -> dict[str, str]:
    """Collectors in which neither glycol nor frost protection keeps ice away, and what lets water in."""
    frost, plant, found = scenario.schedule.frost_protection, Assembly(scenario), dict[str, str]()
    for name, source in scenario.plant.heat_sources.items():
        if not isinstance(source, Solar):
            continue
        own, steered = source.own_water, source.steered
        kept = own.glycol > 0.0 if own else frost and moves_at(plant, plant.at(*frost.pump), name)
        if not kept:
            valve, pump = (steered.valve, steered.pump) if steered else (None, None)
            found[name] = valve.valve if valve else pump.pump if pump else "Its valve"
    return found


def first_frost(scenario: Scenario) -> date | None:
    """The first day of the winter with an hour below 0 degC outdoors, by the file's weather; None if none.

    The winter is the half year that ends with the coldest hour of the file's year.
    """
    zone, year = Programme(scenario).zone, scenario.place.year
    begin, end = (datetime(y, 1, 1, tzinfo=zone).astimezone(UTC) for y in (year, year + 1))
    air_c = weather(scenario, begin, 0, round((end - begin).total_seconds())).air_c
    coldest = min(range(len(air_c)), key=air_c.__getitem__)
    before = (coldest - k for k in range(_WINTER_DAYS * _HOURS_A_DAY, -1, -1))
    first = next((hour for hour in before if air_c[hour % len(air_c)] < 0.0), None)
    if first is None:
        return None
    return (begin + timedelta(hours=first % len(air_c))).astimezone(zone).date()

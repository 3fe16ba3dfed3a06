"""What a person would notice of each single fault: every one is run by the engine beside the sound plant.

Both runs begin with all water at the set point and have the same weather and the same bathers, so that what
differs is the fault's.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import partial
from typing import Literal, NamedTuple

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from cyclesim.analysis.energy import meter
from cyclesim.analysis.history import History
from cyclesim.analysis.spans import Bools, covers, meet, spans, total_s, while_in
from cyclesim.analysis.supply import current_a
from cyclesim.analysis.tub import water_c_at
from cyclesim.control.step import LEVEL_LOW
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.drive import Begins, by_calendar
from cyclesim.simulation.engine import PlantRun
from cyclesim.simulation.jets import jet_name
from cyclesim.simulation.programme import HEATING, Programme
from cyclesim.simulation.trace import Trace
from cyclesim.verification.faults import FAULTS, FaultyPlant, PlantFault, faults_of, welds

DAYS, HOUR_S = 7, 3600.0
COLDER_K, LASTS_H, WEAKER, BILL, ODD_H = 2.0, 6, 0.75, 0.2, 0.5
"""What counts as noticed, our choice: so many kelvin, for so many hours (cold legs that empty into the tub
make a shorter dip, which any fault moves); less than such a share of a jet's flow; so much more or less
electricity; so many hours a day of a pump."""
_SEARCHED_DAYS = 180
_LOOKS_S = 60.0
"""How often it is looked how hot the water is."""
SignKind = Literal[
    "colder", "warmer", "no jets", "weak jets", "silent", "runs on", "breaker", "tripped", "dearer", "cheaper"
]
_SKIPPED = ("person", "clock")
"""Somebody who presses anything, and a clock that is wrong without a calendar, are no single run."""


class Sign(NamedTuple):
    """One thing that a person notices: of what, and how much of it."""

    kind: SignKind
    subject: str = ""
    amount: float = 0.0
    """Hours until so (colder, warmer), hours a day (silent, runs on), shares (jets, electricity), A."""


@dataclass(frozen=True)
class Noticed:
    """A fault and its signs in the week from a day on; none where nobody would notice it within a week."""

    fault: PlantFault
    signs: tuple[Sign, ...]
    begin: date


def noticed(scenario: Scenario, begin: date | None = None) -> tuple[Noticed, ...]:
    """Every single fault that a run can be given, with what is noticed of it in a week.

    Beside those that stories are replayed with, a temperature sensor that reads high or low.

    *begin*: the first day of the week. Unless given, the first usual one of February; what nobody would
    notice then is looked for in August besides, for a heat pump may stand still in the frost.
    """
    plant, programme = Assembly(scenario), Programme(scenario)
    faults, heats = [], bool(scenario.schedule.heating or scenario.schedule.frost_protection)
    for fault in faults_of(plant, programme):
        kind = FAULTS[fault.kind]
        if (kind.replayed and fault.kind not in _SKIPPED and not kind.known) or (heats and _misreads(fault)):
            faults.append(fault)
    if begin is not None:
        return tuple(_in_week(plant, programme, begin, faults))
    found = list(_in_week(plant, programme, usual_week(scenario, 2), faults))
    hidden = [one.fault for one in found if not one.signs]
    later = {one.fault: one for one in _in_week(plant, programme, usual_week(scenario, 8), hidden)}
    return tuple(later[one.fault] if not one.signs and later[one.fault].signs else one for one in found)


def usual_week(scenario: Scenario, month: int) -> date:
    """The first day from a month of the file's year on, after which nobody is away for a week.

    The first of that month where somebody always is.
    """
    heating, first = scenario.schedule.heating, date(scenario.place.year, month, 1)
    away = [(a.from_date, a.to_date) for a in heating.absences] if heating else []
    days = (first + timedelta(days=k) for k in range(_SEARCHED_DAYS))
    last = timedelta(days=DAYS - 1)
    return next((day for day in days if not any(a <= day + last and day <= b for a, b in away)), first)


def _in_week(
    plant: Assembly, programme: Programme, begin: date, faults: Sequence[PlantFault]
) -> Iterator[Noticed]:
    """What is noticed of each of the faults in the week from a day on."""
    sound = _Week(plant, plant, programme, begin, None) if faults else None
    for fault in faults:
        assert sound is not None, "there are faults"
        week = _Week(plant, FaultyPlant(plant, frozenset({fault})), programme, begin, fault)
        yield Noticed(fault, tuple(week.signs(sound)), begin)


def _misreads(fault: PlantFault) -> bool:
    """Whether the heating's sensor is off to one side, so that it always calls for heat, or never does."""
    return fault.kind == "sensor" and fault.subject in ("high", "low")


def lasts_from_h(so: Bools) -> int | None:
    """Of what is so at each hour or not, the first hour from which it lasts for so long as to be noticed."""
    lasts = sliding_window_view(so, LASTS_H).all(axis=1)
    return int(np.argmax(lasts)) if lasts.any() else None


class _Week:
    """A week of a plant, with a fault or without."""

    def __init__(
        self, sound: Assembly, plant: Assembly, programme: Programme, first: date, fault: PlantFault | None
    ) -> None:
        self.plant, self.programme, self.fault = plant, programme, fault
        drive = by_calendar(sound, programme, first, DAYS, begins=Begins(sound.temp_c))
        kind = FAULTS[fault.kind] if fault else None
        if fault is not None and kind is not None and kind.welds:
            drive = replace(drive, welds=[(0, *contact) for contact in welds([fault])])
        if fault is not None and _misreads(fault) and drive.heating is not None:
            calls = [(0, drive.span_s)] if fault.subject == "low" else []
            raised = {f"{d.name}.raised": calls for d in programme.controller.demands if d.kind == HEATING}
            drive = replace(drive, heating=None, facts={**drive.facts, **raised})
        if kind is not None and kind.low:
            drive = replace(drive, facts={**drive.facts, LEVEL_LOW: [(0, drive.span_s)]})
        facts = dict(drive.facts)
        while True:
            run = PlantRun(plant, programme.controller, replace(drive, facts=facts))
            run.warm_up()
            self.trace: Trace = run.finish()
            self.history = History(plant, programme, self.trace)
            found = self._first_trip()
            if found is None or f"{found[1]}.trips" in facts:
                break
            facts[f"{found[1]}.trips"] = [(found[0], drive.span_s)]  # again, with a limit that ends it there

    def _first_trip(self) -> tuple[int, str] | None:
        """When a high limit first feels flowing water that is too hot, to a minute, and whose it is.

        The engine trips what fires into still water, and by own water; only a fault lets the tub itself get
        so hot. What leaves a source is warmer than the tub by its output over its flow.
        """
        at_s = np.arange(0.0, self.trace.span_s, _LOOKS_S)
        tub_c, trips = water_c_at(self.trace, at_s), list[tuple[int, str]]()
        for name in (source.name for source in self.programme.controller.sources):
            sheet = self.plant.sheet.heat_sources.get(name)
            if (
                sheet is None
                or sheet.own_water
                or sheet.high_limit_c is None
                or not self.plant.trips_dry(name)
            ):
                continue
            rise_k = np.full(len(at_s), -np.inf)
            for since, until, duty in self.history.duties:
                flow_m3_s = abs(duty.flow_m3_s(name))
                if flow_m3_s > STILL_M3_S:
                    moves = slice(*np.searchsorted(at_s, (since, until)))
                    rise_k[moves] = sheet.output_w / (self.plant.per_m3_k * flow_m3_s)
            fires = covers(while_in(self.trace.sources[name], "firing"), at_s)
            hot = fires & (tub_c + rise_k >= sheet.high_limit_c)
            if hot.any():
                trips.append((int(at_s[int(np.argmax(hot))]), name))
        return min(trips, default=None)

    def signs(self, sound: _Week) -> list[Sign]:
        """What differs from the sound week enough to be noticed, the plainest first."""
        signs = [*self._temperature(sound), *self._jets(sound), *self._pumps(sound), *self._breakers()]
        signs += [Sign("tripped", name) for name, s in self.trace.sources.items() if s.seconds("tripped")]
        dead = self.fault is not None and FAULTS[self.fault.kind].dead
        return (
            signs if dead else [*signs, *self._bill(sound)]
        )  # what a dead pump's contact draws is not known

    def _temperature(self, sound: _Week) -> list[Sign]:
        at_s = np.arange(0.0, self.trace.span_s, HOUR_S)
        apart = water_c_at(self.trace, at_s) - water_c_at(sound.trace, at_s)
        kinds: tuple[tuple[SignKind, Bools], ...] = (
            ("colder", apart <= -COLDER_K),
            ("warmer", apart >= COLDER_K),
        )
        since_h = ((kind, lasts_from_h(so)) for kind, so in kinds)
        return [Sign(kind, "", float(hour)) for kind, hour in since_h if hour is not None]

    def _jets(self, sound: _Week) -> list[Sign]:
        """The last jet of each leg, at the duty that feeds it best in the sound week."""
        found = []
        for name, leg in self.plant.sheet.legs.items():
            if leg.manifold is None:
                continue
            last = jet_name(name, leg.manifold.jets)
            was, now = (week._most(last) for week in (sound, self))
            if was > 0.0 and now < WEAKER * was:
                found.append(Sign("weak jets" if now > 0.05 * was else "no jets", name, now / was))
        return found

    def _most(self, jet: str) -> float:
        return max((abs(duty.flow_m3_s(jet)) for _, _, duty in self.history.duties), default=0.0)

    def _pumps(self, sound: _Week) -> list[Sign]:
        """Pumps that are heard when the sound plant's stand still, or not heard when they run."""
        found = []
        for name in (*self.trace.pumps, *self.trace.blowers, *self.trace.circulators):
            mine, other = (spans(week._heard(name)) for week in (self, sound))
            both = total_s(meet(mine, other))
            more, less = ((total_s(one) - both) / HOUR_S / DAYS for one in (mine, other))
            least_h = 0.0 if name in self.trace.blowers else ODD_H  # air is missed at once
            if less > least_h and total_s(mine) == 0.0:
                found.append(Sign("silent", name, less))
            elif more >= ODD_H:
                found.append(Sign("runs on", name, more))
        return found

    def _heard(self, name: str) -> list[tuple[float, float]]:
        if name in self.plant.broken.dead:
            return []
        stream = {**self.trace.pumps, **self.trace.blowers, **self.trace.circulators}[name]
        return [(float(a), float(b)) for a, b in stream.spans("on", "low", "high")]

    def _breakers(self) -> list[Sign]:
        found = []
        for name, circuit in self.plant.scenario.circuits.items():
            drawn = partial(current_a, plant=self.plant, circuit=circuit)
            most = max((drawn(snapshot) for snapshot, _ in self.history.truth.snapshots), default=0.0)
            if circuit.breaker_a and most > circuit.breaker_a:
                found.append(Sign("breaker", name, most))
        return found

    def _bill(self, sound: _Week) -> list[Sign]:
        now, was = (week._kwh() for week in (self, sound))
        share = now / was - 1.0 if was else 0.0
        if abs(share) < BILL:
            return []
        return [Sign("dearer" if share > 0.0 else "cheaper", "", share)]

    def _kwh(self) -> float:
        metered = meter(self.plant, self.programme, self.trace)
        return sum(
            metered.total(name).energy_kwh + metered.total(name).fuel_kwh for name in metered.energy_kwh
        )

"""What may be keyed in: the runs among which a programme is chosen, each with what it moves and costs.

A run starts on the grid of the controller's own time step, outside quiet hours and bathing. Everything here
follows from duties, volumes and clocks; nothing is simulated. What heating, frost protection and bathers move
besides is not counted on: a programme must hold on a mild day when nobody comes.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, time, timedelta
from functools import cache
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from cyclesim.analysis.disinfectant import until_below_s
from cyclesim.analysis.history import FLUSH_VOLUMES
from cyclesim.analysis.pumped import duties_of, filtered_m3
from cyclesim.decide.sweeps.outcome import loud_speeds
from cyclesim.errors import CycleSimError
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.schedule import Run
from cyclesim.scenario.forms.fields import PumpSpeed
from cyclesim.scenario.forms.pumping import Pumping
from cyclesim.simulation.assembly import Assembly, PlantDuty
from cyclesim.simulation.prices import prices

DAY_S = 86_400
USUAL_STEP_S, LEAST_STEP_S = 900, 300
"""The grid where the controller's step is not given, and the finest that is searched."""
FILTER, FLUSH = "filter run", "line flush"
_FILTER_STEPS = (1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48)
_LONGEST_FILTER_S = 12 * 3600
_FLUSH_ROUND_S = 5
_HOUR = timedelta(hours=1)


class CannotTuneError(CycleSimError):
    """A scenario in which there is nothing to tune, or not on any clock."""


class UnevenStepError(CannotTuneError):
    """A step of the controller of which no whole number fills a day."""


@dataclass(frozen=True, slots=True)
class RunKind:
    """Runs of one pump at one speed, or of several together, of one length; starts make the difference."""

    does: str
    """line flush or filter run."""
    pumping: Pumping
    lasts_s: int
    """How long each pump runs."""
    allowed: tuple[bool, ...]
    """Per slot, whether one may start there."""
    cost: tuple[float, ...]
    """Per slot, what its electricity costs on the year's mean."""
    renews: dict[str, float]
    """Leg -> seconds until tub water has gone through all of it; only of legs that the run gets through."""
    filtered_m3: float
    loud: bool
    ends: Mapping[str, float] = field(default_factory=dict)
    """Leg -> seconds until it is fresh for the last time, where several pumps run."""

    def until_s(self, leg: str) -> float:
        """Until when a leg that it renews is fresh: what comes last is then as old as tub water takes [s]."""
        return self.ends.get(leg, self.lasts_s - self.renews[leg])


@dataclass(frozen=True)
class Space:
    """The day in equal steps, the kinds of runs, and what a programme must keep."""

    scenario: Scenario
    plant: Assembly
    step_s: int
    kinds: tuple[RunKind, ...]
    legs: dict[str, float]
    """Leg -> the longest that its water may wait for the next run that renews it [s]."""
    wanted_m3: float
    """What the filter must pass in a day."""
    most: dict[str, int | None]
    """Filter runs and line flushes that the controller takes in a day; None for any number."""
    unmoved: tuple[str, ...]
    """Legs that no run on offer gets through."""
    longer_night: tuple[int, int] | None = None
    """When the clock goes back in autumn, as it shows before [s of the day], and by how much [s].

    Of two times that it shows, the first counts: what starts in that hour has the longer wait behind it.
    """
    least: dict[str, int] = field(default_factory=dict)
    """Filter runs and line flushes that a programme has at least in a day."""
    least_filter_s: float = 0.0
    """How long its filter runs last together at least [s]."""

    def __getstate__(self) -> dict[str, object]:
        """What another process needs to place runs: all but the plant, with all that it has worked out."""
        return {name: value for name, value in vars(self).items() if name != "plant"}

    @property
    def slots(self) -> int:
        """Steps in a day."""
        return DAY_S // self.step_s

    def clock(self, slot: int) -> time:
        """The clock time of a slot."""
        minutes = slot * self.step_s // 60
        return time(minutes // 60, minutes % 60)

    def slot(self, clock: time) -> int:
        """The slot that a clock time lies in."""
        return _seconds(clock) // self.step_s


def space(scenario: Scenario) -> Space:
    """The space of a scenario. CannotTuneError where no pump moves anything, or no clock fits a day."""
    plant, step_s = Assembly(scenario), grid_s(scenario)
    offer = _Offer(scenario, plant, step_s)
    kinds = (*offer.flushes(), *offer.filter_runs())
    if not kinds:
        raise CannotTuneError("No pump of this plant moves water through its legs: there is nothing to tune.")
    limits, takes = scenario.limits, scenario.controller
    within_s = min(limits.water_age_s, _until_residual_lost_s(scenario))
    wanted = [name for name in plant.reported if not _dead_end(plant, name)]
    reached = [name for name in wanted if any(name in kind.renews for kind in kinds)]
    return Space(
        scenario,
        plant,
        step_s,
        kinds,
        dict.fromkeys(reached, within_s),
        limits.turnovers_per_day * plant.volume_m3,
        {FILTER: takes.filter_windows, FLUSH: takes.flushes_a_day},
        tuple(name for name in wanted if name not in reached),
        longer_night(scenario.place.time_zone, scenario.place.year),
    )


@cache
def longer_night(time_zone: str, year: int) -> tuple[int, int] | None:
    """When the clock goes back in a year, as it shows before, and by how much; None where it does not."""
    zone, hour = ZoneInfo(time_zone), datetime(year, 1, 1, tzinfo=UTC)
    while hour.year == year:
        before, after = (
            instant.astimezone(zone).utcoffset() or timedelta() for instant in (hour, hour + _HOUR)
        )
        if after < before:
            shown = (hour + _HOUR + before).time()
            return shown.hour * 3600 + shown.minute * 60, round((before - after).total_seconds())
        hour += _HOUR
    return None


def grid_s(scenario: Scenario) -> int:
    """The step of the search [s]: a multiple of the controller's own, no finer than five minutes.

    Raises UnevenStepError where no multiple fills a day evenly.
    """
    stated_s = scenario.controller.time_step_s
    if stated_s is None:
        return USUAL_STEP_S
    own = round(stated_s)
    for step in range(own, DAY_S // 2 + 1, own):
        if step >= LEAST_STEP_S and step % 60 == 0 and DAY_S % step == 0:
            return step
    raise UnevenStepError(
        f"controller.time_step: no whole number of steps of {stated_s:g} s fills a day, so that no daily\n"
        "programme can be placed on it."
    )


class _Offer:
    """Every kind of run that the plant can make and the controller take."""

    def __init__(self, scenario: Scenario, plant: Assembly, step_s: int) -> None:
        self.scenario, self.plant, self.step_s = scenario, plant, step_s
        self.price = _mean_price(scenario, step_s)
        self.loud = loud_speeds(scenario)

    def flushes(self) -> Iterator[RunKind]:
        """Line flushes: pumps of the file's flushes, else every pump that moves jets.

        Where no length on offer is long enough at any speed of a pump, the longest, which the run refuses.
        """
        jets = [name for name, leg in self.plant.sheet.legs.items() if leg.manifold]
        speeds_by_pump: dict[tuple[str, ...], list[tuple[Pumping, list[int]]]] = {}
        for pumping in self._offered(self.scenario.schedule.line_flushes):
            duties = list(duties_of(self.plant, pumping))
            if any(abs(duty.flow_m3_s(name)) > 0.0 for duty in duties for name in jets):
                lengths = [s for s in self._flush_lengths(duties) if pumping.in_turn or pumping.meet(s)]
                speeds_by_pump.setdefault(pumping.names, []).append((pumping, lengths))
        for speeds in speeds_by_pump.values():
            enough = [offer for offer in speeds if offer[1]]
            longest = [round(max(self.scenario.controller.flush_lengths_s or (1.0,)))]
            for pumping, lengths in enough or speeds:
                for lasts_s in lengths or longest:
                    yield self._kind(FLUSH, pumping, lasts_s)

    def filter_runs(self) -> Iterator[RunKind]:
        """Filter runs: pumps of the file's own, else every pump, at speeds that the filter bears;
        at none that neighbours hear where another does.
        """
        fit = [
            pumping
            for pumping in self._offered(self.scenario.schedule.filter_runs)
            if filtered_m3(self.plant, pumping, self.step_s) > 0.0
            and not any(map(self._overloads, duties_of(self.plant, pumping)))
        ]
        still = [pumping for pumping in fit if not is_loud(self.loud, pumping)]
        for pumping in still or fit:
            for lasts_s in self._filter_lengths(pumping):
                yield self._kind(FILTER, pumping, lasts_s)

    def _filter_lengths(self, pumping: Pumping) -> list[int]:
        """Some numbers of steps, and the file's own lengths that the controller takes [s]."""
        own_step_s = self.scenario.controller.time_step_s or 1.0
        own = {r.lasts_s for r in self.scenario.schedule.filter_runs if r.pumping == pumping}
        lengths = {steps * self.step_s for steps in _FILTER_STEPS}
        lengths |= {round(lasts_s) for lasts_s in own if lasts_s % own_step_s == 0.0}
        return sorted(lasts_s for lasts_s in lengths if lasts_s <= _LONGEST_FILTER_S)

    def _offered(self, runs: tuple[Run, ...]) -> Iterator[Pumping]:
        """The pumps of these runs, else every pump, at each speed; several that run together, as they are."""
        at_each: dict[tuple[str, ...], list[Pumping]] = {
            (pump,): [Pumping((PumpSpeed(pump, speed),)) for speed in speeds]
            for pump, speeds in self.plant.speeds.items()
        }
        own = [run.pumping for run in runs] or [speeds[0] for speeds in at_each.values()]
        for pumping in dict.fromkeys(own):
            yield from [pumping] if len(pumping.pumps) > 1 else at_each.pop(pumping.names, ())

    def _overloads(self, duty: PlantDuty) -> bool:
        return any(
            thing.at_most_m3_s is not None and abs(duty.flow_m3_s(name)) > thing.at_most_m3_s
            for name, thing in self.plant.sheet.equipment.items()
        )

    def _flush_lengths(self, duties: list[PlantDuty]) -> list[int]:
        """Lengths on offer that replace what is moved twice or more."""
        offered = self.scenario.controller.flush_lengths_s
        reached = [after for duty in duties for after in duty.reached_s.values() if 0.0 < after < math.inf]
        once_s = max(reached, default=0.0)
        if offered is None:
            due = (FLUSH_VOLUMES * once_s, (FLUSH_VOLUMES + 1) * once_s)
            return sorted({_FLUSH_ROUND_S * math.ceil(max(seconds, 1.0) / _FLUSH_ROUND_S) for seconds in due})
        return sorted(round(seconds) for seconds in offered if seconds >= FLUSH_VOLUMES * once_s)

    def _kind(self, does: str, pumping: Pumping, lasts_s: int) -> RunKind:
        plugs = {name: self.plant.plugs[plug].name for name, plug in self.plant.reported.items()}
        fresh = {name: self._fresh(pumping, lasts_s, plug) for name, plug in plugs.items()}
        renewed = {name: span for name, span in fresh.items() if span is not None}
        power_w = sum(self.plant.speeds[pump][speed].power_w for pump, speed in pumping.pumps)
        return RunKind(
            does,
            pumping,
            lasts_s,
            tuple(may_start(self.scenario, self.step_s, does, pumping, lasts_s)),
            tuple(power_w * lasts_s / 3.6e6 * price for price in self._over(pumping.whole_s(lasts_s))),
            {name: after for name, (after, _) in renewed.items()},
            filtered_m3(self.plant, pumping, lasts_s),
            is_loud(self.loud, pumping),
            {name: until for name, (_, until) in renewed.items()} if len(pumping.pumps) > 1 else {},
        )

    def _fresh(self, pumping: Pumping, lasts_s: int, plug: str) -> tuple[float, float] | None:
        """From when to when of a run [s] a plug is fresh: once tub water has gone through all of it, until
        what comes last is as old as tub water takes. None where it never gets through.
        """
        through, begins, until = 0.0, math.inf, -math.inf
        for start, end, pumps in pumping.parts(lasts_s):
            takes = self.plant.duty(self.plant.at_once(pumps)).reached_s.get(plug, math.inf)
            if math.isinf(takes):
                continue
            until = end - takes
            if math.isinf(begins) and (1.0 - through) * takes <= end - start:
                begins = start + (1.0 - through) * takes
            through += (end - start) / takes if takes else 1.0
        return None if math.isinf(begins) else (begins, until)

    def _over(self, lasts_s: int) -> Iterator[float]:
        """Per slot, the mean price while a run that starts there lasts."""
        steps = max(1, math.ceil(lasts_s / self.step_s))
        for slot in range(len(self.price)):
            yield float(np.mean(self.price.take(range(slot, slot + steps), mode="wrap")))


def is_loud(loud: Mapping[str, tuple[str, ...]], pumping: Pumping) -> bool:
    """Whether any of the pumps runs at a speed that neighbours hear."""
    return any(speed in loud.get(pump, ()) for pump, speed in pumping.pumps)


def may_start(scenario: Scenario, step_s: int, does: str, pumping: Pumping, lasts_s: int) -> Iterator[bool]:
    """Per slot of the day, whether one may start there: no flush on bathers, no noise when it is quiet."""
    closed, whole_s = bathed(scenario) if does == FLUSH else [], pumping.whole_s(lasts_s)
    if is_loud(loud_speeds(scenario), pumping):
        closed += quiet(scenario)
    for slot in range(DAY_S // step_s):
        start = slot * step_s
        yield not any(_overlap(start, start + whole_s, a, b) for a, b in closed)


def quiet(scenario: Scenario) -> list[tuple[int, int]]:
    """The quiet hours [s of the day], if the file has any."""
    span = scenario.schedule.quiet_hours
    return [] if span is None else [(_seconds(span.from_time), _seconds(span.to_time))]


def bathed(scenario: Scenario) -> list[tuple[int, int]]:
    """From when to when people may be in the water on some day [s of the day]."""
    spans = []
    for entry in scenario.schedule.bathing:
        if entry.drawn is not None:
            first, last = entry.drawn.between
            spans.append((_seconds(first), _seconds(last) + round(entry.drawn.lasts_s[1])))
        for start in entry.start or ():
            spans.append((_seconds(start), _seconds(start) + round(entry.lasts_s or 0.0)))
    return spans


def _overlap(start: int, end: int, opens: int, closes: int) -> bool:
    """Whether a run meets a window of the day, which may pass midnight."""
    closes += DAY_S if closes <= opens else 0
    return any(start + shift < closes and opens < end + shift for shift in (-DAY_S, 0, DAY_S))


def _seconds(clock: time) -> int:
    return clock.hour * 3600 + clock.minute * 60


def _dead_end(plant: Assembly, name: str) -> bool:
    leg = plant.sheet.legs.get(name)
    return leg is not None and leg.dead_end


def _until_residual_lost_s(scenario: Scenario) -> float:
    """The age at which water falls below the least residual at the slow decay."""
    care = scenario.water_care
    disinfectant = care.disinfectant if care else None
    if disinfectant is None:
        return math.inf
    return until_below_s(disinfectant)[1]


def _mean_price(scenario: Scenario, step_s: int) -> NDArray[np.float64]:
    """The year's mean price per kilowatt-hour at each slot of the local clock."""
    zone, year = ZoneInfo(scenario.place.time_zone), scenario.place.year
    begin = datetime(year, 1, 1, tzinfo=zone).astimezone(UTC)
    end = datetime(year + 1, 1, 1, tzinfo=zone).astimezone(UTC)
    edges, price = prices(
        scenario.supply.tariff, begin, scenario.place.time_zone, round((end - begin).total_seconds())
    )
    since_s = np.arange(0, round((end - begin).total_seconds()), step_s)
    offset = np.array(
        [
            (begin + timedelta(seconds=int(hour))).astimezone(zone).utcoffset() or timedelta()
            for hour in range(0, int(since_s[-1]) + 1, 3600)
        ],
        dtype="timedelta64[s]",
    ).astype(int)
    local = (since_s + offset[since_s // 3600] - offset[0]) % DAY_S // step_s
    per_kwh = price[np.searchsorted(edges, since_s, side="right") - 1]
    slots = DAY_S // step_s
    mean: NDArray[np.float64] = np.bincount(local, per_kwh, slots) / np.bincount(local, minlength=slots)
    return mean

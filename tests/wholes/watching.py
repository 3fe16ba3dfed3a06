"""What the plant's own control looks at: plan, thermostat, ready-by, frost protection, collectors."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from math import ceil, isclose
from zoneinfo import ZoneInfo

import numpy as np

from cyclesim.scenario.blocks.model import Scenario
from tests.wholes.control import Control, Facts
from tests.wholes.heat import Heat
from tests.wholes.hydraulics import Hydraulics
from tests.wholes.lanes import Lane
from tests.wholes.plant import Layout
from tests.wholes.times import Calendar, Ready
from tests.wholes.water import STILL_M3_S, Duties
from tests.wholes.weather import HOUR_S, Weather
from tests.wholes.wired import Wired

WARM_UP_S = 14 * 86_400
READY_MARGIN_S, FROST_AGAIN_S = 600, 60
ROUNDING_K = 1e-6
BACK_K = 1.0


@dataclass
class Sun:
    """What the controller of one set of collectors remembers."""

    since: int
    next_look: int
    stopped: bool = False
    on: bool = False
    moves_since: int | None = None
    """Since when the tub's water moves through them."""

    def again(self, now: int) -> int:
        """When it looks again while it is on."""
        return now + min(600, max(60, now - self.since))


class Watching:
    """What a run looks at; seconds count from the start of the span, the warm-up is before 0."""

    def __init__(self, scenario: Scenario, first_day: date, days: int, seed: int = 0) -> None:
        zone = ZoneInfo(scenario.place.time_zone)
        begin = datetime.combine(first_day, datetime.min.time(), zone).astimezone(UTC)
        end = datetime.combine(first_day + timedelta(days=days), datetime.min.time(), zone).astimezone(UTC)
        self.scenario, self.begin, self.zone = scenario, begin, zone
        self.span_s = round((end - begin).total_seconds())
        self.layout = Layout(scenario)
        self.hydraulics = Hydraulics(self.layout)
        self.weather = Weather(
            scenario, begin - timedelta(seconds=WARM_UP_S), (self.span_s + WARM_UP_S) // HOUR_S + 80
        )
        self.heat = Heat(self.layout, self.hydraulics, self.weather, -WARM_UP_S)
        self.control = Control(scenario)
        self.calendar = Calendar(
            scenario, begin - timedelta(seconds=WARM_UP_S), self.span_s + WARM_UP_S, seed
        )
        self.wired = Wired(scenario, self.calendar, WARM_UP_S)
        self.facts = Facts()
        self.lanes: dict[str, Lane] = {
            n: Lane()
            for n in (*self.control.pumps, *self.control.sources, *(d.name for d in self.control.demands))
        }
        self.lanes |= {f"heat of {n}": Lane() for n in self.layout.own}
        self.heats = dict.fromkeys(self.layout.own, False)
        """Whether the thermostat of a source's own water has its heat on while it fires."""
        self.lanes |= {f"deciding {n}": Lane() for n in self.control.pumps}
        self.lanes |= {n: Lane() for n in ("people", "power", "positions", *self.wired.treatment)}
        self.lanes |= {f"contact of {c.target}": Lane() for c in self.wired.contacts}
        self.tub: list[tuple[int, float]] = []
        self.hourly_c: list[float] = []
        self.ready: list[tuple[int, float, float]] = []
        self.coldest_c: dict[str, float] = {}
        self.bodies_hourly_c: dict[str, list[float]] = {name: [] for name in self.layout.bodies}
        self.duties: Duties = []
        self.called = 0
        self.early: dict[int, float] = {}  # due -> temperature, of what has begun
        self.heating = scenario.schedule.heating
        self.frozen, self.next_frost_look = False, -WARM_UP_S
        self.suns = {name: Sun(-WARM_UP_S, -WARM_UP_S) for name in self.layout.collectors}
        self.flowing: set[str] = set()
        self.unfed = frozenset[str]()
        self.windows, self.looks = self.calendar.plan()
        self.next_look = {r: r.from_s - WARM_UP_S for r in self.looks}

    # -- what is known beforehand -------------------------------------------------------------------------

    def _edges(self) -> list[int]:
        """Every second, from the span's start, at which the clock or the weather changes something."""
        cal, found = self.calendar, set[int]()
        windows, turned = [(a, b) for a, b, _ in self.windows], [(a, b) for a, b, _, _ in cal.turned]
        turned += [(a, b) for a, b, _ in cal.cut]
        for spans in (*cal.raised.values(), cal.outages, windows, turned):
            found |= {t for span in spans for t in span}
        found |= {t + WARM_UP_S for t in self.wired.edges()}
        found |= {t for s in cal.sessions for t in (s.start_s, s.end_s)}
        found |= set(range(0, self.span_s + WARM_UP_S, HOUR_S))
        return sorted({t - WARM_UP_S for t in found if 0 <= t < self.span_s + WARM_UP_S} | {-WARM_UP_S, 0})

    def planned_c(self, now: int) -> float:
        """The plan's set point, without what is heated early for a ready-by."""
        assert self.heating is not None
        level = self.heating.keep_at_c
        for a, b, keep in self.windows:
            level = keep if a <= now + WARM_UP_S < b else level
        return level

    def _level_c(self, now: int) -> float:
        level = self.planned_c(now)
        early = [c for due, c in self.early.items() if now < due]
        return max([level, *early])

    def _usable(self, now: int) -> list[str]:
        found = []
        for name in self.heating.sources:
            sheet = self.scenario.plant.heat_sources[name]
            if sheet.kind == "heat_pump":
                hour = self.heat.hour(now)
                if self.weather.zones[sheet.outside][hour] < sheet.lowest_air_c:
                    continue
            found.append(name)
        return found

    # -- the thermostat ----------------------------------------------------------------------------------

    def _joins_c(self, level: float) -> float:
        return level - self.heating.within_k - self.called * self.heating.next_below_k

    def _thermostat(self, now: int) -> tuple[float, float]:
        """Look at the water; between which two temperatures nothing needs looking at again."""
        if self.heating is None:
            return -99.0, 999.0
        level, usable, water = self._level_c(now), self._usable(now), self.heat.water_c
        if water >= level - ROUNDING_K:
            self.called = 0
        else:
            self.called = min(self.called, len(usable))
            while self.called < len(usable) and water <= self._joins_c(level) + ROUNDING_K:
                self.called += 1
        calls = usable[: self.called]
        alone = len(self.heating.sources) == 1
        names = {"heating", *(() if alone else (f"heating by {n}" for n in self.heating.sources))}
        self.facts.raised -= names
        if calls:
            self.facts.raised |= {"heating", *(() if alone else (f"heating by {n}" for n in calls))}
        low = self._joins_c(level) if self.called < len(usable) else -99.0
        return low, level if self.called else 999.0

    # -- ready-by ----------------------------------------------------------------------------------------

    def _takes_s(self, now: int, keep_at_c: float, within_s: int) -> int | None:
        """How long all usable sources would take with the cover on: tub and water that moves, and the shell.

        A minute a step (Heun); the cold water of legs counts from the start.
        """
        pump, speed = self.heating.pump
        plant = self.scenario.plant
        flows = self.hydraulics.flows(self.layout.alone(pump, speed))
        water_j, shell_j, g, outward, cover = self.layout.tub
        moved = [b for b in self.layout.bodies.values() if flows[b.name] > STILL_M3_S]
        capacity = water_j + sum(b.capacity_j_k for b in moved)
        water = water_j * self.heat.water_c + sum(b.capacity_j_k * self.heat.body_c(b.name) for b in moved)
        water, shell = water / capacity, float(self.heat.z[1])
        fixed = plant.pumps[pump].heat_to_water * plant.pumps[pump].speeds[speed].power_w
        usable = self._usable(now)
        fixed += sum(plant.heat_sources[n].output_w for n in usable if n not in self.heat.pumps)
        zones = self.weather.zones

        def rates(hour: int, w: float, s: float) -> tuple[float, float]:
            heat = fixed - cover * (w - zones[plant.tub.cover_zone][hour]) - g * (w - s)
            heat -= sum(b.ua_w_k * (w - zones[b.zone][hour]) for b in moved)
            for n in usable:
                if n in self.heat.pumps:
                    outside = plant.heat_sources[n].outside
                    heat += self.heat.pumps[n].at(zones[outside][hour], w)[0]
            out = g * (w - s) - outward * (s - zones[plant.tub.shell.zone][hour])
            return heat / capacity, out / shell_j

        at = 0.0
        while water < keep_at_c:
            if at >= within_s:
                return None
            hour = self.heat.hour(now + int(at))
            a = rates(hour, water, shell)
            b = rates(hour, water + 60 * a[0], shell + 60 * a[1])
            rise = 30 * (a[0] + b[0])
            if water + rise >= keep_at_c:
                return ceil(at + 60 * (keep_at_c - water) / rise)
            water, shell, at = water + rise, shell + 30 * (a[1] + b[1]), at + 60
        return 0

    def _look_ahead(self, ready: Ready, now: int) -> None:
        due = ready.due_s - WARM_UP_S
        if now >= due:
            del self.next_look[ready]
            return
        takes = self._takes_s(now, ready.keep_at_c, due - now)
        slack = 0 if takes is None else due - now - takes - READY_MARGIN_S
        at = now + max(READY_MARGIN_S, slack // 2)
        if slack <= 0 or at >= due:
            self.early[due] = ready.keep_at_c
            del self.next_look[ready]
        else:
            self.next_look[ready] = at

    # -- frost protection --------------------------------------------------------------------------------

    def _frost_protection(self, now: int) -> tuple[np.ndarray, float] | None:
        """Look at what it watches; of standing water, what is to be watched and down to which level.

        A zone is known by the hour. Water is watched as it cools, and looked at once a minute while the pump
        runs for it.
        """
        frost = self.scenario.schedule.frost_protection
        if frost is None:
            return None
        zone, body = self.weather.zones.get(frost.watches), None
        if zone is not None:
            c = zone[self.heat.hour(now)]
            self.frozen = not c > frost.stops_above_c if self.frozen else c < frost.starts_below_c
        else:
            c = self.heat.body_c(frost.watches)
            if not self.frozen:
                self.frozen = c <= frost.starts_below_c
            elif now >= self.next_frost_look:
                self.frozen = c < frost.stops_above_c
            if not self.frozen:
                body = self.heat.weights(frost.watches), frost.starts_below_c
            elif now >= self.next_frost_look:
                self.next_frost_look = now + FROST_AGAIN_S
        (self.facts.raised.add if self.frozen else self.facts.raised.discard)("frost protection")
        return body

    # -- collectors --------------------------------------------------------------------------------------

    def _sun(self, now: int) -> tuple[list[tuple[np.ndarray, float]], tuple[float, float]]:
        """Look at collectors and tub when it is time; what is to be watched of them, and of the tub.

        On at a difference, off at a smaller one or at the high stop, which lets go 1 K below; not begun while
        they are hotter than the file allows, and ended then if no water moves through them. It watches, but
        while water passes that stood in them and their pipes: then it looks a minute after it went on, then
        after as long again.
        """
        watched, low, high = list[tuple[np.ndarray, float]](), -99.0, 999.0
        for name, sheet in self.layout.collectors.items():
            steered, sun = sheet.steered, self.suns[name]
            tub = np.zeros(len(self.heat.z))
            tub[0] = 1.0
            seen, demand = self.heat.seen(name), f"sun on {name}"
            weights = seen - tub
            on, water, stop = sun.on, self.heat.water_c, steered.high_stop_c
            if stop is not None:
                sun.stopped = water >= (stop - BACK_K if sun.stopped else stop) - ROUNDING_K
            warmer, hot = float(weights @ self.heat.z), float(seen @ self.heat.z)
            scalds = steered.not_above_c is not None and hot > steered.not_above_c
            still = name not in self.flowing
            watches = still or name in self.layout.own or self._passed(name, now)
            if on and scalds and still:
                on = False
            elif on and (now >= sun.next_look or sun.stopped or watches):
                on = warmer > steered.off_at_k + ROUNDING_K and not sun.stopped
            elif not on:
                on = warmer >= steered.on_at_k - ROUNDING_K and not (sun.stopped or scalds)
            if on != sun.on:
                sun.on, sun.since, sun.next_look = on, now, now
                if steered.pump:
                    (self.facts.raised.add if on else self.facts.raised.discard)(demand)
            if now >= sun.next_look:
                sun.next_look = sun.again(now)
            if on:
                high = min(high, stop if stop is not None else high)
                if still and steered.not_above_c is not None:
                    watched.append((-seen, -steered.not_above_c - ROUNDING_K))
                if watches:
                    watched.append((weights, steered.off_at_k + ROUNDING_K))
            elif sun.stopped:
                low = max(low, stop - BACK_K)
            elif scalds:
                watched.append((seen, steered.not_above_c))
            elif warmer < steered.on_at_k - ROUNDING_K:
                watched.append((-weights, -steered.on_at_k))
        return watched, (low, high)

    def _passed(self, name: str, now: int) -> bool:
        """Whether water of the tub has passed collectors and their pipes since it began to move there."""
        since, flows = self.suns[name].moves_since, self.hydraulics.flows(self.duties[-1][2])
        if since is None:
            return False
        in_row = [b for n, b in self.layout.bodies.items() if isclose(flows[n], flows[name])]
        carried_w_k = flows[name] * self.layout.water_j_m3_k
        return now - since >= sum(b.capacity_j_k for b in in_row) / carried_w_k

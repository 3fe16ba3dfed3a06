"""The plant under its own control, from a warm start through two weeks that are not counted."""

from bisect import bisect_right
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from math import ceil, isclose
from zoneinfo import ZoneInfo

import numpy as np

from cyclesim.scenario.blocks.model import Scenario
from tests.wholes.control import Control, Facts, Machine
from tests.wholes.heat import LOSSES, Doing, Heat
from tests.wholes.hydraulics import Hydraulics
from tests.wholes.openloop import energy_of
from tests.wholes.plant import Layout
from tests.wholes.times import Calendar, Ready
from tests.wholes.water import STILL_M3_S, Age, Duties, ages
from tests.wholes.weather import HOUR_S, Weather
from tests.wholes.wired import Wired

WARM_UP_S = 14 * 86_400
READY_MARGIN_S, FROST_AGAIN_S = 600, 60
ROUNDING_K = 1e-6
BACK_K = 1.0


@dataclass
class Lane:
    """A state over time."""

    starts: list[int] = field(default_factory=list)
    states: list[str] = field(default_factory=list)

    def put(self, at_s: int, state: str) -> None:
        """From now on it is so."""
        if self.states and self.states[-1] == state:
            return
        if self.starts and self.starts[-1] == at_s:
            self.states[-1] = state
        else:
            self.starts.append(at_s)
            self.states.append(state)

    def at(self, at_s: int) -> str:
        """What it was then."""
        return self.states[bisect_right(self.starts, at_s) - 1]

    def seconds(self, begin_s: int, end_s: int) -> np.ndarray:
        """The state of every second, by number of `names`."""
        edges = np.clip([*self.starts, end_s], begin_s, end_s)
        codes = [self.names.index(s) for s in self.states]
        return np.repeat(np.array(codes, dtype=np.int8), np.diff(edges))

    @property
    def names(self) -> list[str]:
        """Every state that it was in."""
        return sorted(set(self.states))

    def is_(self, begin_s: int, end_s: int, *states: str) -> np.ndarray:
        """Whether it is in one of the states, second by second."""
        wanted = [i for i, n in enumerate(self.names) if n in states]
        return np.isin(self.seconds(begin_s, end_s), wanted)


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


class Closed:
    """A run; seconds count from the start of the span, the warm-up is before 0."""

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

    # -- the run -----------------------------------------------------------------------------------------

    def run(self) -> "Closed":
        """Second by second where something happens, in one go where nothing can."""
        cal, control, facts, heat = self.calendar, self.control, self.facts, self.heat
        wired = self.wired
        heat.settle(self.layout.temp_c)
        edges, now, end = self._edges(), -WARM_UP_S, self.span_s
        sensors = dict(self.scenario.plant.heat_sources)
        drawn_before = dict(heat.drawn_j)
        while now < end:
            if now == 0:
                drawn_before = dict(heat.drawn_j)
                heat.z[heat.n :] = 0.0
                control.reset(now)  # a person, so that what trips a source shows in the span
                facts.trips.clear()
            due = [t for t in self.early if t == now]
            for t in due:
                self.ready.append((t, heat.water_c, self.early.pop(t)))
            for ready in [r for r, at in self.next_look.items() if at <= now]:
                self._look_ahead(ready, now)
            at = now + WARM_UP_S
            for name, spans in cal.raised.items():
                on = any(a <= at < b for a, b in spans)
                (facts.raised.add if on else facts.raised.discard)(name)
            facts.dark = any(a <= at < b for a, b in cal.outages)
            body = self._frost_protection(now)
            bodies, stops = self._sun(now)
            bodies += [body] if body else []
            people = cal.people_at(at)
            wired.look(now, heat.water_c)
            mine, own = self._thermostat(now), wired.levels_c()
            watched = max(mine[0], own[0], stops[0]), min(mine[1], own[1], stops[1])
            again = control.settle(facts, now)
            self.unfed = cal.unfed_at(at)
            speeds = self._speeds() + self._positions(now)
            flows = self.hydraulics.flows(speeds)
            self.flowing = {n for n, flow in flows.items() if flow > STILL_M3_S}
            for name, sun in self.suns.items():
                since = now if sun.moves_since is None else sun.moves_since
                sun.moves_since = since if name in self.flowing else None
            facts.sensed = {n for n, s in sensors.items() if self._sensed(n, s, flows, speeds)}
            wired.feel(now, flows)
            doings = {n: wired.source(m, now, dark=facts.dark) for n, m in control.sources.items()}
            doings |= {n: "held_off" for n in self.unfed & doings.keys() if doings[n] == "firing"}
            for name, watts in heat.sun_w.items():  # a collector that gives less than 5 % counts as off
                hot = watts[heat.hour(now)] > 0.05 * self.layout.collectors[name].output_w
                own = self.layout.own.get(name)
                turns = own is None or control.pumps[own.circulator].state == "on"
                doings[name] = "firing" if hot and turns and flows[name] > STILL_M3_S else "off"
            firing = tuple(n for n, does in doings.items() if does == "firing")
            facts.trips |= {n for n in firing if self._too_hot(n)}
            heated = tuple(n for n in firing if self.heats.get(n, True))
            self._note(now, people, doings, heated)
            doing = Doing(
                speeds,
                heated,
                tuple(n for n in self.scenario.plant.air if control.pumps[n].state == "on"),
                people,
                not people,
                tuple(n for n, own in self.layout.own.items() if control.pumps[own.circulator].state == "on"),
            )
            if now >= 0 and now % HOUR_S == 0:
                self.hourly_c.append(heat.water_c)
                for name, seen in self.bodies_hourly_c.items():
                    seen.append(heat.body_c(name))
            until = min([edges[bisect_right(edges, now)] if now < edges[-1] else end, end])
            if again:
                until = now + 1
            others = [*self.next_look.values(), *self.early, *wired.next_over(now), self.next_frost_look]
            others += [sun.next_look for sun in self.suns.values()]
            for other in (control.next_over(now), *others):
                if other is not None and now < other < until:
                    until = other
            for n in firing:
                if (
                    n not in heat.own and flows[n] <= STILL_M3_S and n not in heat.pumps
                ):  # what it traps is near its high limit
                    until = now + 1
            if self.duties and self.duties[-1][2] != speeds:
                for sun in self.suns.values():  # what has begun to move is looked at anew
                    sun.next_look = sun.again(now)
            reached = heat.step(now, until, doing, *watched, bodies, self._own_levels(firing))
            self._own_thermostats()
            self.duties.append((now, reached, speeds))
            now = reached
            if now >= 0:
                self._see(now)
        self.hourly_c.append(heat.water_c)
        first = -float(WARM_UP_S)
        self.ages: dict[str, Age] = ages(self.layout, self.hydraulics, self.duties, first)
        drawn = {n: j - drawn_before[n] for n, j in heat.drawn_j.items()}
        self.energy_j = energy_of(self.scenario, self._seconds(), drawn)
        self.lost_j = dict(zip(LOSSES, heat.z[heat.n :].tolist(), strict=True))
        return self

    def _own_levels(self, firing: tuple[str, ...]) -> tuple[tuple[int, float, float], ...]:
        """Where own water is looked at again: at its thermostat, and at its source's high limit."""
        found = []
        for name, (inside, rest) in self.heat.own.items():
            own, on = self.layout.own[name], self.heats[name]
            if name in firing:
                limit = self.scenario.plant.heat_sources[name].high_limit_c or 999.0
                found.append((inside, -99.0, limit))
            found.append((rest, -99.0, own.stops_c) if on else (rest, own.starts_c, 999.0))
        return tuple(found)

    def _own_thermostats(self) -> None:
        for name, (_, rest) in self.heat.own.items():
            c = float(self.heat.z[rest])
            if c >= self.layout.own[name].stops_c:
                self.heats[name] = False
            elif c <= self.layout.own[name].starts_c:
                self.heats[name] = True

    def _speeds(self) -> tuple[str, ...]:
        machines = (self.control.pumps[n] for n in self.scenario.plant.pumps)
        states = ("stopped" if m.name in self.unfed else self._speed(m) for m in machines)
        return tuple("stopped" if s == "changing" else s for s in states)

    def _speed(self, machine: Machine) -> str:
        return self.wired.speed(machine, dark=self.facts.dark)

    def _positions(self, now: int) -> tuple[str, ...]:
        """Of every diverter: as somebody has left it, as its motor has it, or as usual."""
        by_motor = {}
        for name, sheet in self.layout.collectors.items():
            if sheet.steered.valve and self.suns[name].on:
                by_motor[sheet.steered.valve.valve] = sheet.steered.valve.position
        usual = zip(self.scenario.plant.diverters, self.layout.usual, strict=True)
        by_hand = self.calendar.positions_at(now + WARM_UP_S)
        return tuple(
            by_motor.get(name, own) if left == own else left
            for (name, own), left in zip(usual, by_hand, strict=True)
        )

    def _sensed(self, name: str, sheet: object, flows: dict[str, float], speeds: tuple[str, ...]) -> bool:
        by = sheet.proof.by
        if by == "pump_contact":
            return any(s != "stopped" for s in speeds[: len(self.scenario.plant.pumps)])
        return by == "flow_switch" and flows[name] >= sheet.needs_flow_m3_s

    def _too_hot(self, name: str) -> bool:
        limit = self.scenario.plant.heat_sources[name].high_limit_c
        if name in self.heat.own:
            return limit is not None and self.heat.z[self.heat.own[name][0]] >= limit
        return limit is not None and max(self.heat.z[k] for k in self.heat.cells[name]) >= limit

    def _note(self, now: int, people: int, doings: dict[str, str], heated: tuple[str, ...]) -> None:
        control, wired, dark = self.control, self.wired, self.facts.dark
        for m in control.pumps.values():
            self.lanes[m.name].put(now, "stopped" if m.name in self.unfed else self._speed(m))
        for name, does in doings.items():
            self.lanes[name].put(now, does)
        for name in self.layout.own:
            self.lanes[f"heat of {name}"].put(now, "on" if name in heated else "off")
        for name in wired.treatment:
            self.lanes[name].put(now, wired.treats(name, now, dark=dark))
        for c in wired.contacts:
            self.lanes[f"contact of {c.target}"].put(now, "closed" if c.closed else "")
        self.lanes["positions"].put(now, ", ".join(self._positions(now)))
        for d in control.demands:
            self.lanes[d.name].put(now, "raised" if d.name in self.facts.raised else "")
        for pump, who in control.deciding.items():
            self.lanes[f"deciding {pump}"].put(now, who)
        self.lanes["people"].put(now, str(people))
        self.lanes["power"].put(now, "lost" if self.facts.dark else "on")

    def _see(self, now: int) -> None:
        self.tub.append((now, self.heat.water_c))
        temps, whose = self.heat.coldest()
        for name, c in zip(whose, temps.tolist(), strict=True):
            self.coldest_c[name] = min(c, self.coldest_c.get(name, c))

    def _seconds(self) -> dict[tuple[str, str], int]:
        found = {}
        heats = (f"heat of {n}" for n in self.layout.own)
        for name in (*self.control.pumps, *self.control.sources, *self.wired.treatment, *heats):
            lane = self.lanes[name]
            seconds = lane.seconds(0, self.span_s)
            for i, state in enumerate(lane.names):
                found[name, state] = int(np.sum(seconds == i))
        return found

    def starts(self, pump: str) -> np.ndarray:
        """The seconds at which a pump starts from rest."""
        runs = ~self.lanes[pump].is_(0, self.span_s, "stopped")
        return np.flatnonzero(runs[1:] & ~runs[:-1]) + 1

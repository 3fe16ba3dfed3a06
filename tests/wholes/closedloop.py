"""The plant under its own control, from a warm start through two weeks that are not counted."""

from bisect import bisect_right

import numpy as np

from tests.wholes.control import Machine
from tests.wholes.heat import LOSSES, Doing
from tests.wholes.openloop import energy_of
from tests.wholes.watching import WARM_UP_S, Watching
from tests.wholes.water import STILL_M3_S, Age, ages
from tests.wholes.weather import HOUR_S


class Closed(Watching):
    """A run; seconds count from the start of the span, the warm-up is before 0."""

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

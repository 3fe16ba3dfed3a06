"""Rules of a run restated second by second, from the sentences that the package prints beside them.

`RESTATED` names those that are; the rest of the package's rules are not looked at here. Warm and still water
is looked at every hour, everything else every second.
"""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from itertools import product
from math import ceil

import numpy as np

from tests.wholes.closedloop import WARM_UP_S, Closed
from tests.wholes.times import asks, merged
from tests.wholes.water import STILL_M3_S

TOO_HOT_K = 0.2
FLUSH_VOLUMES = 2.0
RUNNING = ("on", "low", "high")


def spells(true: np.ndarray) -> list[tuple[int, int]]:
    """Where something is so: (from, until)."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], true.astype(np.int8), [0]])))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2)]


def longer(true: np.ndarray, by_s: float) -> np.ndarray:
    """Every spell outlasts its end by so many seconds (whole ones, rounded up)."""
    found = true.copy()
    for _, end in spells(true):
        found[end : end + ceil(by_s)] = True
    return found


def lasted(true: np.ndarray, at_least_s: float) -> np.ndarray:
    """Where it has been so for at least that long; what is so at second 0 has been for ever."""
    found = np.zeros_like(true)
    for start, end in spells(true):
        found[start + (ceil(at_least_s) if start else 0) : end] = True
    return found


class Judge:
    """One run with its streams as one value a second."""

    def __init__(self, run: Closed) -> None:
        self.run, self.scenario, self.plant, n = run, run.scenario, run.scenario.plant, run.span_s
        self.limits = run.scenario.limits
        self.n = n
        self.flow: dict[str, np.ndarray] = {}
        self.coasting: dict[str, np.ndarray] = {}
        self.speed = {p: self._speeds(p, coasting=False) for p in self.plant.pumps}
        coasts = {p: self._speeds(p, coasting=True) for p in self.plant.pumps}
        self.fed_through = {n: n for n in self.plant.heat_sources}
        self.fed_through |= {n: d.in_ for n, d in self.plant.treatment.items()}
        for name in (p.name for p in run.layout.pieces):
            self.flow[name] = self._flow(name, self.speed)
            if name in self.fed_through.values():
                self.coasting[name] = self._flow(name, coasts)
        self.people = ~run.lanes["people"].is_(0, n, "0")
        self.dark = run.lanes["power"].is_(0, n, "lost")
        self.hot = {
            name: longer(run.lanes[name].is_(0, n, "firing"), source.opens_within_s)[:n]
            for name, source in self.plant.heat_sources.items()
            if source.kind != "solar"  # nobody switches the sun
        }

    def _speeds(self, pump: str, *, coasting: bool) -> np.ndarray:
        """0 where it stands, else its speed's number from 1; coasting outlasts a stop, not the next start."""
        lane, sheet = self.run.lanes[pump], self.plant.pumps[pump]
        found = np.zeros(self.n, dtype=np.int8)
        for k, speed in enumerate(sheet.speeds, start=1):
            mine = lane.is_(0, self.n, speed)
            if coasting:
                late = longer(mine, sheet.coasts_s) & ~mine & (found == 0)
                found[late & ~lane.is_(0, self.n, *RUNNING)] = k
            found[mine] = k
        return found

    def _flow(self, piece: str, speeds: dict[str, np.ndarray]) -> np.ndarray:
        lane = self.run.lanes["positions"]
        code, base = lane.seconds(0, self.n).astype(int), len(lane.names)
        for values in speeds.values():
            code, base = code + base * values, base * 3
        found = np.zeros(self.n)
        for one in np.flatnonzero(np.bincount(code)):
            rest, at = divmod(int(one), len(lane.names))
            names, positions = list[str](), lane.names[at].split(", ") if lane.names[at] else []
            for sheet in self.plant.pumps.values():
                rest, k = divmod(rest, 3)
                names.append(["stopped", *sheet.speeds][k])
            found[code == one] = self.run.hydraulics.flows((*names, *positions))[piece]
        return found

    # -- one function a rule: whether it is broken -------------------------------------------------------

    def heat_without_flow(self) -> bool:
        """Heat for longer than the grace with less flow than the source needs."""
        grace = self.limits.heat_without_flow_grace_s
        return any(
            end - start > grace
            for n, hot in self.hot.items()
            for start, end in spells(hot & (self.coasting[n] < self.plant.heat_sources[n].needs_flow_m3_s))
        )

    def gas_without_flow(self) -> bool:
        """Ozone or a salt cell on for longer than the grace with less flow than it needs."""
        grace = self.limits.heat_without_flow_grace_s
        return any(
            end - start > grace
            for n, device in self.plant.treatment.items()
            if device.kind in ("ozone", "salt_cell")
            for start, end in spells(
                self.run.lanes[n].is_(0, self.n, "on") & (self.coasting[device.in_] < device.needs_flow_m3_s)
            )
        )

    def heat_before_proof(self) -> bool:
        """Heat while there is flow enough, but for less than the proof time."""
        for name, hot in self.hot.items():
            enough = self.coasting[name] >= self.plant.heat_sources[name].needs_flow_m3_s
            if np.any(hot & enough & ~lasted(enough, self.limits.proof_time_s)):
                return True
        return False

    def no_run_on(self) -> bool:
        """Water ends sooner after heat than the run-on; a gap within the grace is no end."""
        for name, hot in self.hot.items():
            flows = self.coasting[name] > STILL_M3_S
            for start, end in spells(~flows):
                if end - start <= self.limits.heat_without_flow_grace_s:
                    flows[start:end] = True
            for _, end in spells(hot):
                due = min(end + ceil(self.limits.run_on_s), self.n)
                again = np.flatnonzero(hot[end:due])
                due = end + int(again[0]) if len(again) else due
                if not flows[end:due].all():
                    return True
        return False

    def stale_water(self) -> bool:
        """Water of a leg or last jet older than the limit."""
        return self._oldest_s() > self.limits.water_age_s

    def _oldest_s(self) -> float:
        seconds = np.arange(self.n + 1.0)
        legs = [
            p for n, p in self.run.layout.reported.items() if n.removesuffix(", last jet") in self.plant.legs
        ]
        return max(float(self.run.ages[p].over(seconds).max()) for p in legs)

    def residual_lost(self) -> bool:
        """Water of a leg or last jet so old that half-lives, slow ones, leave less than the least."""
        care = self.scenario.water_care
        if care is None or care.disinfectant is None:
            return False
        given = care.disinfectant
        left = given.residual_kg_m3 * 0.5 ** (self._oldest_s() / given.half_life_s[1])
        return bool(left < given.at_least_kg_m3)

    def left_without_flush(self) -> bool:
        """In a position that may be left, no demand moves a leg that one moves with diverters as usual."""
        layout, flows = self.run.layout, self.run.hydraulics.flows
        asked = {(d.pump, d.speed) for d in self.run.control.demands if d.pump in self.plant.pumps}

        def moved(positions: tuple[str, ...]) -> set[str]:
            return {
                leg
                for leg in self.plant.legs
                if any(flows(layout.alone(*one, positions))[leg] > STILL_M3_S for one in asked)
            }

        left = product(*((d.usual, *d.may_be) for d in self.plant.diverters.values()))
        return any(moved(layout.usual) - moved(positions) for positions in left)

    def warm_stagnation(self) -> bool:
        """Water stands inside the growth band for longer than the limit."""
        low, high = self.limits.growth_band_c
        for name, temps in self.run.bodies_hourly_c.items():
            still = spells(self.flow[name] <= STILL_M3_S)
            within = (np.array(temps) >= low) & (np.array(temps) <= high)
            for start, end in still:
                hours = within[-(-start // 3600) : end // 3600]
                if any(3600 * (b - a) > self.limits.warm_stagnation_s for a, b in spells(hours)):
                    return True
        return False

    def too_few_turnovers(self) -> bool:
        """On some calendar day the filter passes less than the limit's share of the tub."""
        filters = [n for n, e in self.plant.equipment.items() if e.kind == "filter"]
        passed = np.cumsum(np.concatenate([[0.0], sum(self.flow[n] for n in filters)]))
        zone, day = self.run.zone, self.run.begin.astimezone(self.run.zone).date()
        edges = []
        while True:
            midnight = datetime.combine(day, datetime.min.time(), zone).astimezone(UTC)
            at = round((midnight - self.run.begin).total_seconds())
            if at > self.n:
                break
            edges.append(at)
            day += timedelta(days=1)
        return bool(np.diff(passed[edges]).min() / self.plant.tub.volume_m3 < self.limits.turnovers_per_day)

    def short_cycling(self) -> bool:
        """A pump rests between two starts for less than its motor needs."""
        for pump in self.plant.pumps:
            still = spells(self.run.lanes[pump].is_(0, self.n, "stopped"))
            if any(b - a < self.limits.pump_rest_s for a, b in still if a > 0 and b < self.n):
                return True
        return False

    def too_many_starts(self) -> bool:
        """More starts within any hour than the motor bears."""
        for pump in self.plant.pumps:
            at = [int(second) for second in self.run.starts(pump)]
            if any(sum(a <= b < a + 3600 for b in at) > self.limits.starts_per_hour for a in at):
                return True
        return False

    def quiet_hours(self) -> bool:
        """Something runs when it is to be quiet."""
        quiet = self.scenario.schedule.quiet_hours
        if quiet is None:
            return False
        is_quiet = np.zeros(self.n, dtype=bool)
        for a, b in merged(self.run.calendar.windows(quiet.days, quiet.from_time, quiet.to_time)):
            is_quiet[max(0, a - WARM_UP_S) : max(0, b - WARM_UP_S)] = True
        return any(
            bool(np.any(self.run.lanes[pump].is_(0, self.n, speed) & is_quiet))
            for pump, speed in quiet.applies_to
        )

    def demand_not_served(self) -> bool:
        """A demand is raised, and its pump is slower; a second to react, rest and changeover are granted."""
        for d in self.run.control.demands:
            lane, raised = self.run.lanes[d.pump], self.run.lanes[d.name].is_(0, self.n, "raised")
            own = self.run.control.speeds[d.pump]
            granted = lane.is_(0, self.n, *own[own.index(d.speed) :])
            granted |= longer(lane.is_(0, self.n, "changing"), 1)[: self.n]
            for start, _ in spells(raised):
                granted[start : start + 1] = True
            sheet = self.plant.pumps.get(d.pump)
            for start, end in spells(lane.is_(0, self.n, "stopped")) if sheet and sheet.rest_s else ():
                granted[start : min(end, start + ceil(sheet.rest_s)) + 1] = True
            if np.any(raised & ~granted):
                return True
        return False

    def supply_overload(self) -> bool:
        """The currents of what is on, and of what else hangs on it, above the breaker of any circuit."""
        supply = self.scenario.supply
        assert supply.region == "europe"

        def current(sheet: object) -> float:
            told = sheet.current_a
            return told if told is not None else sheet.power_w / supply.voltage_v

        drawn = {n: np.full(self.n, watts / supply.voltage_v) for n, watts in supply.also_on_it.items()}
        for pump, sheet in self.plant.pumps.items():
            drawn[pump] = np.zeros(self.n)
            for speed, at in sheet.speeds.items():
                drawn[pump] += current(at) * longer(
                    self.run.lanes[pump].is_(0, self.n, speed), sheet.opens_within_s
                )
        for name, thing in {**self.plant.air, **self.plant.circulators, **self.plant.treatment}.items():
            drawn[name] = current(thing) * self.run.lanes[name].is_(0, self.n, "on")
        for name, hot in self.hot.items():
            drawn[name] = current(self.plant.heat_sources[name]) * hot
        circuits = (
            [(supply.breaker_a, drawn)]
            if supply.breaker_a
            else [(circuit.breaker_a, circuit.feeds) for circuit in supply.circuits.values()]
        )
        return any(bool(sum(drawn[n] for n in feeds).max() > most + 1e-9) for most, feeds in circuits)

    def flush_onto_people(self) -> bool:
        """A line flush decides a pump while somebody is in the water and jets or a spout run."""
        flushes = {d.name for d in self.run.control.demands if d.kind == "line_flush"}
        outlets = [n for n, leg in self.plant.legs.items() if leg.manifold or leg.outlet_above_water_m > 0.0]
        hit = self.people
        if outlets:
            hit = hit & np.any([self.flow[n] > STILL_M3_S for n in outlets], axis=0)
        return any(
            bool(np.any(self.run.lanes[f"deciding {p}"].is_(0, self.n, *flushes) & hit))
            for p in self.plant.pumps
        )

    def frost_in_plant(self) -> bool:
        """Water of the tub, a leg or a housing at 0 degC; in the reference, any cell of it."""
        return min(self.run.coldest_c.values()) <= 0.0

    def _stepped_in(self) -> list[int]:
        return [start for start, _ in spells(self.people) if start > 0]

    def cold_at_session(self) -> bool:
        """Colder than the set point when people step in, or when it was to be ready."""
        least = self.limits.cold_session_k + 0.05  # what reads the same in tenths is not cold
        at, water = (np.array(x) for x in zip(*self.run.tub, strict=True))
        cold = any(c < wanted - least for t, c, wanted in self.run.ready if t >= 0)
        return cold or any(
            float(np.interp(t, at, water)) < self.run.planned_c(t) - least for t in self._stepped_in()
        )

    def cold_at_end(self) -> bool:
        """Far below the set point of stepping in when people step out."""
        at, water = (np.array(x) for x in zip(*self.run.tub, strict=True))
        stays = [(a, b) for a, b in spells(self.people) if a > 0 and b < self.n]
        least = self.limits.cold_end_k
        return any(float(np.interp(b, at, water)) < self.run.planned_c(a) - least for a, b in stays)

    def session_too_long(self) -> bool:
        """Somebody in the water for longer than the limit."""
        return any(b - a > self.limits.session_at_most_s for a, b in spells(self.people))

    def water_too_hot(self) -> bool:
        """Warmer than people may sit in."""
        return max(c for _, c in self.run.tub) > self.limits.bathing_temperature_c + TOO_HOT_K

    def flush_too_short(self) -> bool:
        """A flush moves less than twice what lies before the slowest last jet, or end that it alone moves."""
        layout, pieces = self.run.layout, {p.name: p for p in self.run.layout.pieces}
        runs = [
            (entry, dict(some))
            for entry in self.scenario.schedule.line_flushes
            for pumps in [[at for _, at, _ in asks(entry, "")]]
            for some in ([[at] for at in pumps] if entry.in_turn else [pumps])
        ]
        for entry, running in runs:
            flows = self.run.hydraulics.flows(layout.just(running))
            done: dict[str, float] = {}

            def reached_s(node: str, flows: dict[str, float] = flows, done: dict[str, float] = done) -> float:
                if node == "tub":
                    return 0.0
                if node not in done:
                    coming = [p for p in layout.pieces if p.b == node and flows[p.name] > STILL_M3_S]
                    done[node] = max(reached_s(p.a) + p.volume_m3 / flows[p.name] for p in coming)
                return done[node]

            for name, leg in self.plant.legs.items():
                if flows[name] > STILL_M3_S and (leg.manifold or not self._moved_else(name)):
                    last = pieces[f"{name} to jet {leg.manifold.jets}" if leg.manifold else name]
                    once = reached_s(last.a) + last.volume_m3 / flows[last.name]
                    if entry.lasts_s < FLUSH_VOLUMES * once:
                        return True
        return False

    def _moved_else(self, name: str) -> bool:
        """Whether anything but a flush or bathers has a pump that moves a leg."""
        schedule, layout = self.scenario.schedule, self.run.layout
        asked = [at for entry in schedule.filter_runs for _, at, _ in asks(entry, "")]
        asked += [part.pump for part in (schedule.heating, schedule.frost_protection) if part]
        return any(abs(self.run.hydraulics.flows(layout.alone(*at))[name]) > STILL_M3_S for at in asked)


RESTATED: dict[str, Callable[[Judge], bool]] = {
    "flush-too-short": Judge.flush_too_short,
    "heat-without-flow": Judge.heat_without_flow,
    "heat-before-proof": Judge.heat_before_proof,
    "gas-without-flow": Judge.gas_without_flow,
    "left-without-flush": Judge.left_without_flush,
    "residual-lost": Judge.residual_lost,
    "no-run-on": Judge.no_run_on,
    "stale-water": Judge.stale_water,
    "warm-stagnation": Judge.warm_stagnation,
    "too-few-turnovers": Judge.too_few_turnovers,
    "short-cycling": Judge.short_cycling,
    "too-many-starts": Judge.too_many_starts,
    "quiet-hours": Judge.quiet_hours,
    "demand-not-served": Judge.demand_not_served,
    "supply-overload": Judge.supply_overload,
    "flush-onto-people": Judge.flush_onto_people,
    "frost-in-plant": Judge.frost_in_plant,
    "cold-at-session": Judge.cold_at_session,
    "cold-at-end": Judge.cold_at_end,
    "session-too-long": Judge.session_too_long,
    "water-too-hot": Judge.water_too_hot,
}


def broken(run: Closed) -> set[str]:
    """Which of the restated rules a run breaks."""
    judge = Judge(run)
    return {rule for rule, is_broken in RESTATED.items() if is_broken(judge)}

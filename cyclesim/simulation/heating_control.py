"""What the heating asks for over time: set points, ready-by, dear hours, and which sources are used.

A sensor in a pipe is read once water has moved past it for as long as the file says, for as long as it moves;
what it reads is that body of water, which is the room's where the sample is too short.

One thermostat, sources in a row: the next source joins `next_below` lower, or at once where the one before
cannot fire; each has a demand of its own, so that a heat pump that is too cold is simply not called.

Ready-by asks the same model: `TubHeat.seconds_to_reach` runs the tub ahead in closed form with all usable
sources; the process looks again at half of the time that is left. What it came to is in `trace.ready`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from cyclesim.physics.laws import Law, constant_law
from cyclesim.physics.tub_heat import Watched
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.scenario.blocks.heat_sources import Boiler, HeatPump
from cyclesim.scenario.blocks.own_water import OwnCircuit
from cyclesim.simulation.assembly import PlantDuty
from cyclesim.simulation.board import RunParts
from cyclesim.simulation.clock import Priority
from cyclesim.simulation.drive import HeatingPlan
from cyclesim.simulation.exchanges import Exchanges
from cyclesim.simulation.own_water import circuits
from cyclesim.simulation.programme import HEATING
from cyclesim.simulation.setpoints import Level, ReadyBy
from cyclesim.simulation.thermostat import Thermostat

_READY_MARGIN_S = 600  # heating for a ready-by starts this much before it must


class HeatingControl:
    """The thermostat with the processes that move its set point and choose its sources."""

    def __init__(self, plan: HeatingPlan, run: RunParts, exchanges: Exchanges | None) -> None:
        self._plan, self._run, self._exchanges = plan, run, exchanges
        self._heating = heating = plan.heating
        self.thermostat = Thermostat(heating)
        bit = run.controller.bit
        self._heating_bit = bit(f"{HEATING}.raised")
        self._call_bits = {n: bit(f"{plan.callers[n]}.raised") for n in heating.sources}
        self._all_bits = sum({*self._call_bits.values(), self._heating_bit})
        self._own = circuits(run.plant)
        self._early: float | None = None
        self._body: int | None = None
        """The body of water that the sensor sits in; None for the tub."""
        self._moves_since: int | None = None
        self._reads = heating.sensor is None
        if heating.sensor:
            self._body = [b.name for b in run.plant.bodies].index(heating.sensor.in_)
        levels, board = plan.points.levels, run.board
        self._level_c = self.thermostat.keep_at_c = levels[0].keep_at_c
        self._watched = self._looks_again()
        self._known: dict[tuple[object, ...], tuple[int, tuple[Watched, ...]]] = {}
        """By the thermostat's state, the calls as facts, and what it watches."""
        if len(levels) > 1:
            board.process(self._set_points(levels[1:]))
        for ready in plan.points.ready:
            board.process(self._make_ready(ready))
        if heating.choose == "price" or any(self._is_heat_pump(n) for n in heating.sources):
            board.process(self._choose())

    def look(self) -> None:
        """The thermostat reads the water, one in a pipe only while that moves; its calls become facts."""
        if not self._reads:
            return
        level, early, thermostat = self._level_c, self._early, self.thermostat
        thermostat.keep_at_c = level if early is None else max(level, early)
        heat, body = self._run.heat, self._body
        thermostat.look(heat.water_c if body is None else heat.body_c(body, self._run.board.now))
        state = thermostat.state
        known = self._known.get(state)
        if known is None:
            calls = {self._call_bits[name] for name in thermostat.calls}
            known = sum(calls | {self._heating_bit}) if calls else 0, self._looks_again()
            self._known[state] = known
        facts, self._watched = known
        self._run.board.set(self._all_bits, facts)

    def watched(self) -> tuple[Watched, ...]:
        """Levels of the water that the sensor reads at which to look again."""
        return self._watched if self._reads else ()

    def _looks_again(self) -> tuple[Watched, ...]:
        return tuple((level, rising, self._body) for level, rising in self.thermostat.watched())

    def water_moves(self, duty: PlantDuty, now: int) -> None:
        """A sensor in a pipe is read once water has moved past it for a while, for as long as it moves."""
        sensor = self._heating.sensor
        if self._body is None or sensor is None:
            return
        if duty.body_flows_m3_s[self._body] <= STILL_M3_S:
            self._moves_since, self._reads = None, False
        elif self._moves_since is None:
            self._moves_since = now
            self._run.board.at(now + round(sensor.for_s), lambda: self._read(now))

    def _read(self, since: int) -> None:
        self._reads = self._reads or self._moves_since == since
        self.look()

    def _set_points(self, levels: tuple[Level, ...]) -> Iterator[int]:
        """The plan's set points, one after another."""
        for level in levels:
            yield level.at_s
            self._level_c = level.keep_at_c
            self.look()

    def _make_ready(self, ready: ReadyBy) -> Iterator[int]:
        """Start heating as early as the model's own prediction asks; look again at half of what is left."""
        run, board = self._run, self._run.board
        due, at = ready.ready_s, max(ready.from_s, run.drive.start_s)
        if due <= at or due >= run.drive.span_s:
            return
        while True:
            if at > board.now:
                yield at
            takes = self._takes(ready.keep_at_c, due - at)
            slack = 0 if takes is None else due - at - takes - _READY_MARGIN_S
            if slack <= 0:
                break
            at += max(_READY_MARGIN_S, slack // 2)
            if at >= due:
                break
        self._early = ready.keep_at_c
        self.look()
        board.at(due, lambda: self._is_due(ready), Priority.READ)

    def _is_due(self, ready: ReadyBy) -> None:
        """What was to be ready is as warm as it is."""
        run = self._run
        run.trace.ready.append((ready.ready_s, run.heat.water_c, ready.keep_at_c))
        self._early = None  # from now on the plan's own level counts, which is looked at in this very second

    def _takes(self, level_c: float, within_s: int) -> int | None:
        """Seconds until all usable sources together reach *level_c*, by the model; None if longer."""
        plant, usable, exchanges = self._run.plant, self.thermostat.usable, self._exchanges
        duty = plant.duty(plant.at(self._heating.pump.pump, self._heating.pump.speed))
        plain = [n for n in usable if n not in self._own]
        pumps = [exchanges.heat_pump(n)[1] for n in plain if exchanges and self._is_heat_pump(n)]
        fixed = sum(plant.sheet.heat_sources[n].output_w for n in plain if not self._is_heat_pump(n))
        behind = [(circuit, self._law(n)) for n, circuit in self._own.items() if n in usable]

        def heat_w(hour: int, water_c: float) -> float:
            direct_w = duty.pump_heat_w + fixed + sum(law(hour, water_c).heat_w for law in pumps)
            return direct_w + sum(own.reaches_w(law, hour, water_c, duty) for own, law in behind)

        return self._run.heat.seconds_to_reach(level_c, duty.plug_flows_m3_s, heat_w, within_s)

    def _law(self, name: str) -> Law:
        if self._exchanges and self._is_heat_pump(name):
            return self._exchanges.heat_pump(name)[1]
        return constant_law(self._run.plant.sheet.heat_sources[name].output_w)

    def _is_heat_pump(self, name: str) -> bool:
        return isinstance(self._run.plant.sheet.heat_sources[name], HeatPump)

    def _choose(self) -> Iterator[int]:
        """Hour by hour, and where the price changes: who can fire at all, and whose heat is cheapest."""
        drive, board, thermostat = self._run.drive, self._run.board, self.thermostat
        hours = range(drive.start_s, drive.span_s, 3600)
        too_cold = {name: self._too_cold(name) for name in self._heating.sources}
        for at in sorted({*hours, *(int(t) for t in self._plan.price_edges[:-1])}):
            hour = (at - drive.start_s) // 3600
            usable = [name for name, so in too_cold.items() if not (so and so[hour])]
            if self._heating.choose == "price" and at >= 0:
                usable.sort(key=lambda name: self._heat_price(name, at))
            if usable != list(thermostat.usable):
                if at > board.now:
                    yield at
                thermostat.usable = usable
                self.look()

    def _too_cold(self, name: str) -> list[bool]:
        """Hour by hour, whether a heat pump has too cold an air to fire; nothing for what needs none."""
        sheet = self._run.plant.sheet.heat_sources[name]
        if not isinstance(sheet, HeatPump):
            return []
        return [air_c < sheet.lowest_air_c for air_c in self._run.drive.zones.series[sheet.outside]]

    def _heat_price(self, name: str, at_s: int) -> float:
        """What a kilowatt-hour of heat costs then: fuel over efficiency, electricity over COP."""
        sheet = self._run.plant.sheet.heat_sources[name]
        if isinstance(sheet, Boiler):
            return sheet.fuel_price.amount / sheet.efficiency
        price = float(self._plan.price[int(np.searchsorted(self._plan.price_edges, at_s, side="right")) - 1])
        if isinstance(sheet, HeatPump) and self._exchanges:
            hour = (at_s - self._run.drive.start_s) // 3600
            own = self._own.get(name)
            at_c = self._heating.keep_at_c
            if own and isinstance(own.sheet, OwnCircuit):
                at_c = own.sheet.thermostat.starts_below_c
            x = self._exchanges.heat_pump(name)[1](hour, at_c)
            return price * x.input_w / x.heat_w if x.heat_w > 0.0 else math.inf
        return price

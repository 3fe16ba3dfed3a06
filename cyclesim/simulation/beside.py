"""What goes on beside the controller: contacts that start things past it, flow switches, turned valves."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Generator, Iterator
from datetime import datetime
from functools import partial
from typing import NamedTuple

import simpy

from cyclesim.control.step import Controller
from cyclesim.physics.tub_heat import TubHeat
from cyclesim.scenario.blocks.wiring import Watch
from cyclesim.simulation.assembly import Plant, Positions
from cyclesim.simulation.clock import At, Priority
from cyclesim.simulation.frost import TUB, FrostWatch
from cyclesim.simulation.hourly_weather import below
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.trace import Trace, Zones

Edge = tuple[int, str, bool]
"""Second, name of a fact, whether it turns true."""


class RunParts(NamedTuple):
    """What of the run these processes need."""

    env: simpy.Environment
    start_s: int
    span_s: int
    plant: Plant
    programme: Programme
    controller: Controller
    heat: TubHeat
    zones: Zones
    trace: Trace
    post: Callable[[int, bool], None]
    """Set or clear a mask of facts, and wake the arbiter."""
    wake: Callable[[int], None]


def cold(watch: Watch, zones: Zones) -> Iterator[tuple[int, bool]]:
    """(second, whether it is too cold) of every change of a zone that a thermostat watches."""
    series = zones.series.get(watch.watches)
    if series is not None:
        for start, end in below(series, zones.origin_s, watch.starts_below_c, watch.stops_above_c):
            yield from ((start, True), (end, False))


class Beside:
    """Thermostats, contacts and flow switches of the devices' own, and valves that somebody turns."""

    def __init__(self, run: RunParts, origin: datetime, own_switch_s: dict[str, float]) -> None:
        self._run, self._own_switch_s = run, own_switch_s
        self.watches: list[FrostWatch] = []
        """What looks at water: frost protection, and thermostats beside the controller."""
        self.positions: Positions = run.plant.usually
        self._contacts = run.programme.beside
        self._held: dict[str, set[str]] = {b.starter.name: set() for b in self._contacts}
        self._felt_since: dict[str, int] = {}
        for contact in self._contacts:
            if thermostat := contact.line.thermostat:
                self.watch(thermostat, partial(self._close, contact.starter.name, "thermostat"))
        if edges := self._edges(origin):
            run.env.process(self._move(edges))
        if turns := run.programme.turns(origin, run.span_s - run.start_s):
            run.env.process(self._turn(turns))

    def watch(self, watch: Watch, tell: Callable[[bool], None]) -> None:
        """Tell of water that passes a thermostat's two levels; a zone's are known beforehand."""
        run = self._run
        if watch.watches not in run.zones.series:
            names = [b.name for b in run.plant.bodies]
            body = None if watch.watches == TUB else names.index(watch.watches)
            self.watches.append(FrostWatch(watch, run.heat, body, run.env, run.span_s, tell))

    def feel(self, felt: Collection[str], now: int) -> int:
        """Flow switches of the devices' own: the facts to clear, for they open at once; they close later."""
        opened = 0
        for name, after_s in self._own_switch_s.items():
            mask = self._run.controller.bit(f"flow.{name}.own")
            if name not in felt:
                self._felt_since.pop(name, None)
                opened |= mask
            elif name not in self._felt_since:
                self._felt_since[name] = now
                At(self._run.env, now + math.ceil(after_s), Priority.POST).then(
                    partial(self._felt, name, mask, now)
                )
        return opened

    def _felt(self, name: str, mask: int, since: int, _: simpy.Event) -> None:
        if self._felt_since.get(name) == since:
            self._run.post(mask, True)
        self._wake()

    def _close(self, starter: str, why: str, closed: bool) -> None:
        """A contact closes or opens, and with it the contacts that its heat source closes."""
        held = self._held[starter]
        before = bool(held)
        (held.add if closed else held.discard)(why)
        if bool(held) == before:
            self._wake()
            return
        self._run.post(self._run.controller.bit(f"{starter}.closed"), bool(held))
        target = next(b.starter.target for b in self._contacts if b.starter.name == starter)
        for other in self._contacts:
            if other.line.contact_of != target:
                continue
            name, lasting = other.starter.name, round(other.line.lasting_s or 0.0)
            if closed or not lasting:
                self._close(name, starter, closed)
            else:
                later = partial(self._open_later, name, starter)
                At(self._run.env, int(self._run.env.now) + lasting, Priority.POST).then(later)

    def _open_later(self, name: str, why: str, _: simpy.Event) -> None:
        if not self._held[why]:  # its heat source has not called again meanwhile
            self._close(name, why, False)
        self._wake()

    def _wake(self) -> None:
        """Heat waits for the next event, so that each must hand it on, even where it changes nothing."""
        self._run.wake(int(self._run.env.now))

    def _edges(self, origin: datetime) -> list[Edge]:
        """Every contact and hand switch that a clock, a person or a zone moves."""
        run, edges = self._run, list[Edge]()
        for fact, spans in run.programme.wired(origin, run.span_s - run.start_s).items():
            for start, end in spans:
                edges += [(start + run.start_s, fact, True), (end + run.start_s, fact, False)]
        for contact in self._contacts:
            if contact.line.thermostat:
                fact = f"{contact.starter.name}.closed"
                edges += [(at, fact, up) for at, up in cold(contact.line.thermostat, run.zones)]
        return sorted((max(t, run.start_s), fact, up) for t, fact, up in edges if t < run.span_s)

    def _move(self, edges: list[Edge]) -> Generator[simpy.Event, None, None]:
        for at, fact, true in edges:
            if at > self._run.env.now:
                yield At(self._run.env, at, Priority.POST)
            name, _, what = fact.rpartition(".")
            if what == "closed":
                self._close(name, "clock", true)
            else:
                self._run.post(self._run.controller.bit(fact), true)

    def _turn(self, turns: list[tuple[int, str, str | None]]) -> Generator[simpy.Event, None, None]:
        """Somebody turns a valve."""
        run = self._run
        for since_origin, valve, to in turns:
            at = max(since_origin + run.start_s, run.start_s)
            if at >= run.span_s:
                return
            if at > run.env.now:
                yield At(run.env, at, Priority.POST)
            now = zip(run.plant.turnable.items(), self.positions, strict=True)
            self.positions = tuple((to or thing.usual) if n == valve else own for (n, thing), own in now)
            run.trace.positions.put(at, ", ".join(self.positions))
            run.wake(at)

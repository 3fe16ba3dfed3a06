"""What goes on beside the controller: contacts that start things past it, flow switches, turned valves."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from cyclesim.scenario.blocks.collectors import Steered
from cyclesim.scenario.blocks.wiring import Watch
from cyclesim.simulation.assembly import PlantDuty
from cyclesim.simulation.board import RunParts
from cyclesim.simulation.frost import TUB, FrostWatch
from cyclesim.simulation.programme import sun_on
from cyclesim.simulation.steering import Steering
from cyclesim.simulation.wired import NONE, Settled, Surroundings, Wiring


class Beside:
    """Thermostats, contacts and flow switches of the devices' own, and valves that somebody turns."""

    def __init__(self, run: RunParts, wiring: Wiring) -> None:
        self._run, self._wiring = run, wiring
        self.watches: list[FrostWatch | Steering] = []
        """What looks at water: frost protection, thermostats beside the controller, steered collectors."""
        self.around = Surroundings(run.plant.usually, NONE, frozenset())
        self._by_hand: dict[str, str] = {}
        """Valves that somebody has turned: no motor moves them meanwhile."""
        self._by_motor: dict[str, str] = {}
        self._contacts = run.drive.contacts
        self._held: dict[str, set[str]] = {s.name: set() for s in run.controller.starters}
        self._waiting: dict[int, int] = {}
        """Device, by its place, whose own switch feels water but has not closed -> since when."""
        for contact in self._contacts:
            if thermostat := contact.line.thermostat:
                self.watch(thermostat, partial(self._close, contact.starter.name, "thermostat"))
        self._steerings = [Steering(name, s, run, self._steer) for name, s in run.drive.steered.items()]
        self.watches += self._steerings

    def watch(self, watch: Watch, tell: Callable[[bool], None]) -> None:
        """Tell of water that passes a thermostat's two levels; a zone's are known beforehand."""
        run = self._run
        if watch.watches not in run.drive.zones.series:
            names = [b.name for b in run.plant.bodies]
            body = None if watch.watches == TUB else names.index(watch.watches)
            self.watches.append(FrostWatch(watch, run.heat, body, run.board, run.drive.span_s, tell))

    def follow(self, settled: Settled) -> None:
        """Flow switches of the devices' own: they open at once and close when water has moved for a while."""
        board, plant = self._run.board, self._run.plant
        for k in self._wiring.own:
            if settled.stops >> k & 1:
                self._waiting.pop(k, None)
            elif settled.feels >> k & 1 and k not in self._waiting:
                self._waiting[k] = board.now
                after_s = plant.own_switch_s(self._wiring.devices[k])
                board.at(board.now + after_s, partial(self._closes, k, board.now))

    def _closes(self, k: int, since: int) -> None:
        if self._waiting.get(k) == since:
            del self._waiting[k]
            self._run.board.post(self._wiring.own[k], True)

    def teller(self, fact: str, true: bool) -> Callable[[], None]:
        """What tells of a fact from outside: a contact passes it on to those that its device closes."""
        starter, _, what = fact.rpartition(".")
        if what == "closed":
            return partial(self._close, starter, "clock", true)
        return partial(self._run.board.post, self._run.controller.bit(fact), true)

    def _close(self, starter: str, why: str, closed: bool) -> None:
        """A contact closes or opens, and with it the contacts that its heat source closes."""
        board, held = self._run.board, self._held[starter]
        before = bool(held)
        (held.add if closed else held.discard)(why)
        if bool(held) == before:
            return
        board.post(self._run.controller.bit(f"{starter}.closed"), bool(held))
        target = next(s.target for s in self._run.controller.starters if s.name == starter)
        for other in self._contacts:
            if other.line.contact_of != target:
                continue
            name, lasting = other.starter.name, round(other.line.lasting_s or 0.0)
            if closed or not lasting:
                self._close(name, starter, closed)
            else:
                board.at(board.now + lasting, partial(self._open_later, name, starter))

    def _open_later(self, name: str, why: str) -> None:
        if not self._held[why]:  # its heat source has not called again meanwhile
            self._close(name, why, False)

    def turn(self, valve: str, to: str | None) -> None:
        """Somebody turns a valve; None puts it back to its usual position."""
        self._by_hand.pop(valve, None)
        if to is not None:
            self._by_hand[valve] = to
        self._put()

    def _steer(self, collectors: str, steered: Steered, on: bool) -> None:
        """Collectors let water in, or no more: their valve is moved, or their pump is asked for."""
        if steered.valve is None:
            self._run.board.post(self._run.controller.bit(f"{sun_on(collectors)}.raised"), on)
            return
        self._by_motor.pop(steered.valve.valve, None)
        if on:
            self._by_motor[steered.valve.valve] = steered.valve.position
        self._put()

    def _put(self) -> None:
        """Every valve as it is: by hand, by its motor, or as usual."""
        run, now = self._run, {**self._by_motor, **self._by_hand}
        positions = tuple(now.get(name, thing.usual) for name, thing in run.plant.turnable.items())
        self.around = self.around._replace(positions=positions)
        run.trace.positions.put(run.board.now, positions)
        run.board.wake()

    def water_moves(self, duty: PlantDuty) -> None:
        """Water begins to move, or moves otherwise."""
        for steering in self._steerings:
            steering.water_moves(duty)

    def cut(self, circuit: str, lost: bool) -> None:
        """A circuit loses its power, and all that hangs on it; or it has power again."""
        run = self._run
        feeds = frozenset(run.plant.scenario.circuits[circuit].feeds)
        unfed = self.around.unfed
        self.around = self.around._replace(unfed=unfed | feeds if lost else unfed - feeds)
        run.trace.circuits[circuit].put(run.board.now, "lost" if lost else "on")
        run.board.wake()

    def weld(self, machine: str, speed: str) -> None:
        """A contact welds; it stays closed."""
        contact = self._wiring.contact(machine, speed)
        self.around = self.around._replace(welded=self.around.welded | {contact})
        self._run.board.wake()

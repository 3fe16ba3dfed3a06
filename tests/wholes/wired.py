"""What is past the controller: contacts that start things, devices' own flow switches, devices that treat.

Written from what the format says of its keys. A contact acts beside the controller, whose machines and
interlocks know nothing of it; it wants power. A device's own flow switch holds it off, whoever starts it,
until its flow has lasted, and at once when that ends.
"""

from dataclasses import dataclass
from math import ceil

from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.wiring import Starter
from tests.wholes.control import ORDER, Machine
from tests.wholes.times import Calendar, Span

ROUNDING_K = 1e-6


@dataclass
class Contact:
    """One contact: whose it is, what it starts, whether it is closed, until when it lasts."""

    target: str
    line: Starter
    spans: tuple[Span, ...] = ()
    closed: bool = False
    wanted: bool = False
    """Whether the heat source that closes it wants water."""
    lasts_until_s: int = -(10**9)


class Wired:
    """The contacts and switches of a file; *warm_up_s* is what the calendar begins before second 0."""

    def __init__(self, scenario: Scenario, calendar: Calendar, warm_up_s: int) -> None:
        plant = scenario.plant
        self.pumps, self.treatment = plant.pumps, plant.treatment
        assert all(not c.also_started_by for c in plant.circulators.values())
        things = {**plant.pumps, **plant.heat_sources, **plant.treatment}
        self.contacts = [Contact(n, line) for n, thing in things.items() for line in thing.also_started_by]
        for contact in self.contacts:
            line = contact.line
            assert line.hand_switch is None
            assert line.every_s is None
            assert line.thermostat is None or line.thermostat.watches == "water"
            if line.clock is not None:
                starts, lasts = calendar.starts(line.clock), round(line.clock.lasts_s)
                contact.spans = tuple((t - warm_up_s, t + lasts - warm_up_s) for t in starts)
        for device in plant.treatment.values():
            assert device.with_ is None, "only what starts past the controller is restated"
            assert device.runs is None, "only what starts past the controller is restated"
        self.passes = {n: n for n in plant.heat_sources} | {n: d.in_ for n, d in plant.treatment.items()}
        self.sheets = {**plant.heat_sources, **plant.treatment}
        self.felt_since: dict[str, int] = {}

    def edges(self) -> set[int]:
        """The seconds at which a clock moves a contact."""
        return {t for c in self.contacts for span in c.spans for t in span}

    def look(self, now: int, water_c: float) -> None:
        """Thermostats and clocks first, then the contacts that a heat source's own contacts close."""
        for c in self.contacts:
            if c.line.thermostat is not None:
                watch = c.line.thermostat
                if c.closed:
                    c.closed = water_c < watch.stops_above_c - ROUNDING_K
                else:
                    c.closed = water_c <= watch.starts_below_c + ROUNDING_K
            elif c.line.clock is not None:
                c.closed = any(a <= now < b for a, b in c.spans)
        for c in self.contacts:
            if c.line.contact_of is not None:
                wants = any(other.closed for other in self.contacts if other.target == c.line.contact_of)
                if c.wanted and not wants:
                    c.lasts_until_s = now + round(c.line.lasting_s or 0)
                c.wanted, c.closed = wants, wants or now < c.lasts_until_s

    def levels_c(self) -> tuple[float, float]:
        """Between which two temperatures of the tub no thermostat needs looking at again."""
        watches = [(c.line.thermostat, c.closed) for c in self.contacts if c.line.thermostat is not None]
        low = max((w.starts_below_c for w, closed in watches if not closed), default=-99.0)
        return low, min((w.stops_above_c for w, closed in watches if closed), default=999.0)

    def next_over(self, now: int) -> list[int]:
        """The seconds at which a contact opens by itself, or a flow has lasted for an own switch."""
        found = [c.lasts_until_s for c in self.contacts]
        own = {n: s.own_flow_switch_s for n, s in self.sheets.items()}
        found += [t + ceil(own[n]) for n, t in self.felt_since.items() if own[n] is not None]
        return [t for t in found if t > now]

    def _started(self, name: str, *, dark: bool) -> bool:
        return not dark and any(c.closed and c.target == name for c in self.contacts)

    def speed(self, machine: Machine, *, dark: bool) -> str:
        """What a pump does: the controller's speed, or that of its contact if it is faster."""
        if self._started(machine.name, dark=dark) and not ORDER[machine.state]:
            (only,) = self.pumps[machine.name].speeds
            return only
        return machine.state

    def feel(self, now: int, flows: dict[str, float]) -> None:
        """Since when each device has had the flow that it needs."""
        for name, piece in self.passes.items():
            if flows[piece] < self.sheets[name].needs_flow_m3_s:
                self.felt_since.pop(name, None)
            else:
                self.felt_since.setdefault(name, now)

    def source(self, machine: Machine, now: int, *, dark: bool) -> str:
        """What a heat source does: its machine's state, `firing`, or `held_off` by its own flow switch."""
        if machine.state == "tripped":
            return machine.state
        if machine.state != "firing" and not self._started(machine.name, dark=dark):
            return machine.state
        return "firing" if self._fed(machine.name, now) else "held_off"

    def treats(self, name: str, now: int, *, dark: bool) -> str:
        """What a device that treats does."""
        if not self._started(name, dark=dark):
            return "off"
        return "on" if self._fed(name, now) else "held_off"

    def _fed(self, name: str, now: int) -> bool:
        own = self.sheets[name].own_flow_switch_s
        return own is None or (name in self.felt_since and now >= self.felt_since[name] + ceil(own))

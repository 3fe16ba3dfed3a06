"""What may change around the controller: the calendar or any order, sensors, power, valves, people."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import combinations, product
from math import prod
from typing import Literal

from cyclesim.control.demands import FLUSHES
from cyclesim.control.step import LEVEL_LOW, POWER_LOST, WAITS
from cyclesim.scenario.blocks.bathing import Bathing
from cyclesim.scenario.blocks.schedule import Run
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import FROST, HEATING, SAMPLING, Programme, sun_on
from cyclesim.verification.calendar_order import PEOPLE, WINDOW, Calendar
from cyclesim.verification.cone import Cone, groups


@dataclass(frozen=True)
class Value:
    """One thing that a dimension may be: the facts that it makes true, and what else it means."""

    sentence: str
    mask: int = 0
    people: bool = False
    position: str = ""
    hot: str = ""
    """An unswitched source that gives heat; collectors that give it to water at its high stop."""
    cold: str = ""
    """Collectors that cool the water."""
    half: str = ""
    """Collectors that are let in, and so on both sides of their plates."""
    raised: frozenset[str] = frozenset()
    """Names of demands, for stories and for replaying them."""
    windows: frozenset[str] = frozenset()
    unfed: str = ""
    """A circuit that has no power alone."""


@dataclass(frozen=True)
class Dim:
    """One thing that changes by itself: its values and, for each, those that it may change to."""

    name: str
    values: tuple[Value, ...]
    follows: tuple[tuple[int, ...], ...]
    window: str = ""
    """What the calendar must hold open while this is not at its first value."""
    starts: tuple[int, ...] = (0,)

    @classmethod
    def free(cls, name: str, values: Iterable[Value], window: str = "") -> Dim:
        """Each value may follow each."""
        all_ = tuple(values)
        n = range(len(all_))
        return cls(name, all_, tuple(tuple(b for b in n if b != a) for a in n), window)


POWER, LEVEL, CALENDAR, COMMANDS = "power", "level", "calendar", "commands"
MOTOR = "motor of"
"""Before the name of a valve: where its motor has put it."""
Kind = Literal["commands", "any order", "calendar"]
"""How demands may change: to anything they may come to, pump by pump in any order, or by the calendar."""
_MOST_COMMANDS = 20_000


class Environment:
    """The dimensions of a cone, each with as few values as the rule can tell apart.

    *turned*: of valves, the positions that it can tell apart, where these are known.
    """

    def __init__(
        self,
        plant: Assembly,
        programme: Programme,
        calendar: Calendar,
        cone: Cone,
        *,
        kind: Kind = "commands",
        person: bool = False,
        tells_flush: bool = False,
        hot: Iterable[str] = (),
        people: bool = False,
        kept_out: str = "",
        misread: str = "",
        turned: Mapping[str, tuple[str, ...]] | None = None,
    ) -> None:
        self._turned = turned or {}
        self.plant, self.programme, self.cone = plant, programme, cone
        self._misread = misread
        self._kept_out = kept_out
        self._calendar, self._tells_flush, self._people = calendar, tells_flush, people
        resets = programme.scenario.controller.after_power_cut == "midnight"
        resets |= any(contact.line.clock_stops for contact in programme.beside)
        self.kind: Kind = "any order" if kind == "calendar" and (person or resets) else kind
        self.any_order = self.kind != "calendar"
        controller = self._controller = cone.controller
        self._bits = {demand.name: controller.bit(f"{demand.name}.raised") for demand in controller.demands}
        self._demand_bits = sum(self._bits.values())
        self._suns = list(self._sun())
        free = [*self._thermostats(), *self._sessions()]
        dims = [*(self._each_pump(free) if self.any_order else [self._by_the_calendar(free)]), *free]
        if kind == "commands":
            dims = self._commands(dims)
        dims += self._contacts(person)
        dims += [self._power(), *self._circuits(), *self._level(), *self._valves(), *self._suns]
        dims += [
            Dim.free(name, [Value(f"{name} goes cold"), Value(f"{name} is hot", hot=name)]) for name in hot
        ]
        self.dims = tuple(dim for dim in dims if len(dim.values) > 1)

    # -- demands -------------------------------------------------------------------------------------------

    def _mask(self, names: Iterable[str]) -> int:
        return sum({name: self._bits[name] for name in names if name in self._bits}.values())

    def _thermostats(self) -> Iterator[Dim]:
        """Temperatures in the bands that guards look at: heating's calls, frost, and the look at a pipe."""
        if heating := self.programme.scenario.schedule.heating:
            callers, values = self.programme.callers, [Value("the water is warm enough")]
            masks = {0}
            for n in range(1, len(heating.sources) + 1):
                for called in combinations(heating.sources, n):
                    names = frozenset({HEATING, *(callers[name] for name in called)})
                    if (mask := self._mask(names)) not in masks:
                        masks.add(mask)
                        known = [name for name in called if name in self.cone.names]
                        who = f" from {' and '.join(known)}" if known else ""
                        values.append(Value(f"the thermostat calls for heat{who}", mask, raised=names))
            yield Dim.free("thermostat", values)
            if heating.sensor and SAMPLING in self._bits:
                yield self._switch(
                    SAMPLING, "the look at the water is over", "the pump brings the sensor water"
                )
        if self.programme.scenario.schedule.frost_protection and FROST in self._bits:
            yield self._switch(
                FROST, "it is warm enough for the frost protection", "the frost protection calls"
            )

    def _sun(self) -> Iterator[Dim]:
        """Collectors that are steered: cold, warmed by the sun, or so with the tub at its high stop.

        *misread*, what is wrong with a sensor, may let them in when they should be kept out.
        """
        loops = groups(self.plant)
        inside = {loops.get(pump) for pump in self.cone.names if pump in self.plant.pumps}
        for name, steered in self.plant.steered.items():
            demand, valve = sun_on(name), steered.valve
            bit = self._bits.get(demand, 0)
            if not bit and (valve is None or loops.get(self._place(valve.valve)) not in inside):
                continue
            raised = frozenset({demand}) if bit else frozenset[str]()
            on = Value(
                f"the sun has warmed {name}", bit, position=valve.position if valve else "", raised=raised
            )
            cold = name if self._kept_out == "cold" else ""
            half = name if self._kept_out == "half" else ""
            values = [Value(f"{name} cannot warm the water", cold=cold), replace(on, half=half)]
            if self._kept_out == "stop":
                said = f"the sun has warmed {name}, and the water is at its high stop"
                past = values[0] if steered.high_stop_c is not None else on
                values.append(replace(past, sentence=said, hot=name))
            if self._misread:
                out = values[0] if cold else values[-1]
                said = f"{out.sentence}, but {self._misread}"
                values.append(replace(on, sentence=said, cold=out.cold, hot=out.hot))
            yield Dim.free(f"{MOTOR} {valve.valve}" if valve else demand, values)

    def _place(self, valve: str) -> str:
        """The name under which a valve stands in the network."""
        place: str = getattr(self.plant.turnable[valve], "ways", (valve,))[0]
        return place

    def _switch(self, name: str, off: str, on: str) -> Dim:
        return Dim.free(name, [Value(off), Value(on, self._bits[name], raised=frozenset({name}))])

    def _sessions(self) -> Iterator[Dim]:
        """Drawn sessions may start anywhere in their window; what runs after them, too."""
        entries, drawn = self.programme.scenario.schedule.bathing, self._calendar.drawn
        for k in drawn:
            name = self.programme.bathing_name(k)
            air = frozenset(demand.name for demand, of in self.programme.air if of == k)
            values, masks = [Value(f"{name}: nobody bathes")], set[tuple[int, bool]]()
            started = (frozenset[str](), *self._started(entries[k]))
            for jets, blows in product(started, (False, True)):
                raised = jets | (air if blows else frozenset())
                mask = self._mask(raised)
                bare = self.plant.sheet.tub.cover == "none" or entries[k].cover == "off"
                key = (mask, self._people and bare)
                if key in masks or (jets and not mask):
                    continue
                masks.add(key)
                also = f" with the {'' if jets == started[-1] else 'first '}jets" if jets else ""
                also += " with air" if blows and air else ""
                values.append(Value(f"people bathe{also}", mask, people=bare, raised=raised))
            if len(values) > 1 and (masks != {(0, False)}):
                yield Dim.free(f"session {k}", values, window="" if self.any_order else f"{WINDOW} {k}")
        after = [t for t in self.programme.entries if getattr(t.run, "after", None) is not None]
        for timed in after if drawn else ():
            values = [Value(f"{timed.entry} ends")]
            for raised in self._started(timed.run):
                if (mask := self._mask(raised)) and mask not in {value.mask for value in values}:
                    begins = timed.entry if len(raised) > 1 else next(iter(raised))
                    values.append(Value(f"{begins} begins", mask, raised=raised))
            if len(values) > 1:
                opens = "" if self.any_order or len(drawn) > 1 else f"{WINDOW} {drawn[0]}"
                yield Dim.free(timed.entry, values, opens)

    def _started(self, run: Run | Bathing) -> list[frozenset[str]]:
        """What an entry raises: the demands of all of its pumps, or of those that have started so far."""
        mine = [t.demand.name for t in self.programme.timed if t.run is run]
        pumping = run.in_one
        if pumping is None:
            return []
        names = dict(zip(pumping.names, mine, strict=True))
        parts = pumping.parts(pumping.stagger_s * len(mine) + 1)
        if isinstance(run, Bathing):
            parts = [part for part in parts if pumping.pumps[0] in part.pumps]  # all stop together
        return [frozenset(names[pump] for pump, _ in part.pumps) for part in parts]

    def _free_names(self) -> set[str]:
        """Demands that something else than the calendar raises."""
        entries = self.programme.scenario.schedule.bathing
        by_chance = [entries[k] for k in self._calendar.drawn]
        named = {t.demand.name for t in self.programme.timed if any(t.run is entry for entry in by_chance)}
        named |= {demand.name for demand, of in self.programme.air if entries[of].drawn is not None}
        named |= {sun_on(name) for name in self.plant.steered}
        return {HEATING, FROST, SAMPLING, *self.programme.callers.values(), *named}

    def _signature(self, raised: int, free: list[Dim]) -> tuple[object, ...]:
        """What the cone can tell of a set of raised demands, whatever else is raised with it."""
        rows = []
        for values in product(*(dim.values for dim in (*free, *self._suns))):
            mask = raised
            for value in values:
                mask |= value.mask
            rows.append(self.asked(mask))
        return tuple(rows)

    def asked(self, mask: int) -> tuple[object, ...]:
        """What raised demands come to: which devices are called, and each pump's level."""
        controller = self._controller
        row: list[object] = [bool(mask & calls) for calls in controller.calls]
        for order in controller.orders:
            first = next(((k, level) for bit, k, level in order if mask & bit), (-1, 0))
            flush = self._tells_flush and first[0] >= 0 and controller.demands[first[0]].kind in FLUSHES
            row.append((first[1], first[0] if flush else -1))
        return tuple(row)

    def _commands(self, dims: list[Dim]) -> list[Dim]:
        """All that demands may come to, as one dimension in which anything may follow anything."""
        asking = [dim for dim in dims if any(v.mask or v.people for v in dim.values)]
        if prod(len(dim.values) for dim in asking) > _MOST_COMMANDS:
            return dims
        known: dict[object, Value] = {}
        for values in product(*(dim.values for dim in asking)):
            mask, people = 0, any(value.people for value in values)
            for value in values:
                mask |= value.mask
            starters = mask & ~self._demand_bits
            raised = frozenset(name for value in values for name in value.raised)
            key = (self._signature(mask, []), starters, people)
            known.setdefault(key, Value("", mask, people, raised=raised))
        return [Dim.free(COMMANDS, known.values())]

    def _by_the_calendar(self, free: list[Dim]) -> Dim:
        """One cyclic list of what is raised, with what the cone cannot tell apart made one."""
        clocks = {b.starter.name for b in self.programme.beside if b.line.clock is not None}
        starters = {s.name for s in self._controller.starters} & clocks
        unlike = self._free_names()
        names = [f"{name}.raised" for name in self._bits if name not in unlike]
        names += [f"{name}.closed" for name in starters]
        names += [PEOPLE] if self._people else []
        names += [
            f"{WINDOW} {k}" for k in self._calendar.drawn if any(d.window == f"{WINDOW} {k}" for d in free)
        ]
        order = self._calendar.order(names)
        kinds: dict[object, int] = {}
        place, values, links = [], list[Value](), list[set[int]]()
        for vector in order.vectors:
            raised = frozenset(n.removesuffix(".raised") for n in vector if n.endswith(".raised"))
            closed = frozenset(n.removesuffix(".closed") for n in vector if n.endswith(".closed"))
            opens = frozenset(n for n in vector if n.startswith(WINDOW))
            mask, people = self._mask(raised), PEOPLE in vector
            key = (self._signature(mask, free), closed, opens, people)
            if key not in kinds:
                kinds[key] = len(values)
                shut = self._closed(closed)
                values.append(Value("", mask | shut, people, raised=raised | closed, windows=opens))
                links.append(set())
            place.append(kinds[key])
        for index, after in enumerate(order.follows):
            links[place[index]] |= {place[k] for k in after} - {place[index]}
        follows = tuple(tuple(sorted(link)) for link in links)
        return Dim(CALENDAR, tuple(values), follows, starts=tuple(range(len(values))))

    def _each_pump(self, free: list[Dim]) -> Iterator[Dim]:
        """Any order: each pump is asked for whatever some demand asks of it, at any time."""
        unlike = self._free_names()
        timed = [d for d in self._controller.demands if d.name not in unlike]
        for pump in self._controller.pumps:
            signatures, values = set[object](), list[Value]()
            for name in (None, *(d.name for d in timed if d.pump == pump.name)):
                mask = self._bits[name] if name else 0
                if (key := self._signature(mask, free)) not in signatures:
                    signatures.add(key)
                    sentence = f"{name} begins" if name else f"what asked for {pump.name} ends"
                    values.append(Value(sentence, mask, raised=frozenset({name} if name else ())))
            yield Dim.free(f"demands of {pump.name}", values)
        for demand in timed:
            if not demand.pump:
                yield self._switch(demand.name, f"{demand.name} ends", f"{demand.name} begins")
        for b in self.programme.beside:
            if b.line.clock is not None and b.starter.name in {s.name for s in self._controller.starters}:
                values = [Value(f"the {b.starter.name} opens")]
                shut = frozenset({b.starter.name})
                values.append(Value(f"the {b.starter.name} closes", self._closed(shut), raised=shut))
                yield Dim.free(b.starter.name, values)
        if self._people and self.programme.scenario.schedule.bathing:
            yield Dim.free(PEOPLE, [Value("people leave the water"), Value("people step in", people=True)])

    # -- beside the controller -----------------------------------------------------------------------------

    def _closed(self, starters: Iterable[str]) -> int:
        """These contacts, and those that their heat sources close with them."""
        known = {s.name for s in self._controller.starters}
        closed, waiting = set[str](), list(starters)
        while waiting:
            name = waiting.pop()
            if name not in closed:
                closed.add(name)
                target = next(b.starter.target for b in self.programme.beside if b.starter.name == name)
                waiting += [b.starter.name for b in self.programme.beside if b.line.contact_of == target]
        return sum(self._controller.bit(f"{name}.closed") for name in closed & known)

    def _lingering(self, source: str) -> int:
        """The contacts that stay closed for a while after a heat source has wanted water."""
        beside = self.programme.beside
        lasting = [b for b in beside if b.line.contact_of == source and b.line.lasting_s]
        return self._closed(b.starter.name for b in lasting)

    def _contacts(self, person: bool) -> Iterator[Dim]:
        """Thermostats of the devices' own, contacts that look at the water, hand switches."""
        known = {s.name for s in self._controller.starters}
        for b in self.programme.beside:
            name, line = b.starter.name, b.line
            mask = self._closed([name])
            shut = Value(f"the {name} closes", mask, raised=frozenset({name}))
            opens = Value(f"the {name} opens")
            if not mask and name not in known:
                continue
            lingers = self._lingering(b.starter.target)
            if line.thermostat is not None and lingers:
                outlasts = Value(f"the {name} opens, and the contact that outlasts it stays closed", lingers)
                yield Dim(name, (opens, shut, outlasts), ((1,), (2,), (0, 1)))
            elif line.thermostat is not None or line.every_s is not None:
                yield Dim.free(name, [opens, shut])
            elif lingers:  # a clock or a person ends the call: the contact may then be closed alone
                alone = Value(f"the contact of {b.starter.target} outlasts its call", lingers)
                yield Dim.free(f"{name}, outlasting", [Value("the contact opens"), alone])
            elif line.hand_switch is not None and (line.hand_switch or person):
                target = b.starter.target
                off = self._controller.bit(f"{target}.switched_off") if name in known else 0
                settings = {turn.to for turn in line.hand_switch} | ({"hand", "off"} if person else set())
                values = [Value(f"the hand switch of {target} is put back to auto")]
                if "hand" in settings:
                    values.append(Value(f"somebody puts the hand switch of {target} to hand", mask,
                                        raised=frozenset({name})))  # fmt: skip
                if "off" in settings and off:
                    values.append(Value(f"somebody puts the hand switch of {target} to off", off))
                yield Dim.free(name, values)

    def _power(self) -> Dim:
        bit = self._controller.bit
        values = [Value("power returns"), Value("the power fails", bit(POWER_LOST))]
        if self.programme.scenario.controller.after_power_cut != "wait":
            return Dim(POWER, tuple(values), ((1,), (0,)))
        values[0] = Value("a person starts the controller")
        values.append(Value("power returns; the controller waits for a person", bit(WAITS)))
        return Dim(POWER, tuple(values), ((1,), (2,), (0, 1)))

    def _circuits(self) -> Iterator[Dim]:
        """The circuits that the file cuts alone on some day: at any time. Others trip as a fault does."""
        circuits, cuts = self.programme.scenario.circuits, self.programme.scenario.schedule.outages
        for name in dict.fromkeys(cut.circuit for cut in cuts if cut.circuit):
            if not set(self.cone.names).isdisjoint(circuits[name].feeds):
                trips = Value(f"the circuit {name} loses its power", unfed=name)
                yield Dim.free(f"circuit {name}", [Value(f"the circuit {name} has power again"), trips])

    def _level(self) -> Iterator[Dim]:
        if self.programme.scenario.schedule.low_water:
            low = Value("the water falls below the suction fittings", self._controller.bit(LEVEL_LOW))
            yield Dim.free(LEVEL, [Value("the water is topped up"), low])

    def _valves(self) -> Iterator[Dim]:
        loops = groups(self.plant)
        inside = {loops.get(pump) for pump in self.cone.names if pump in self.plant.pumps}
        for name, turnable in self.plant.turnable.items():
            motor = any(s.valve and s.valve.valve == name for s in self.plant.steered.values())
            positions = list(turnable.positions if motor else self._turned.get(name, turnable.positions))
            if len(positions) > 1 and loops.get(self._place(name)) in inside:
                sentences = [f"somebody turns {name} to {position}" for position in positions]
                if motor:
                    sentences.insert(0, f"somebody leaves {name} to its motor")
                    positions.insert(0, "")
                pairs = zip(sentences, positions, strict=True)
                yield Dim.free(
                    f"valve {name}", [Value(sentence, position=position) for sentence, position in pairs]
                )

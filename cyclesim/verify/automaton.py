"""The product automaton: the controller's own step, what surrounds it, and time as the order of timers.

A state is one instant after a pass. If another pass is due, exactly one second goes by; otherwise any time
may, until something around it changes or a timer ends. Of two timers, the one that was started later and
lasts longer never ends first; how long each lasts at least from now is kept while passes follow each other
second by second.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import combinations
from typing import NamedTuple

from cyclesim.analysis.truth import Snapshot, SourceTruth
from cyclesim.control.step import POWER_LOST, State
from cyclesim.scenario.heat_sources import HeatPump
from cyclesim.simulation.assembly import Plant
from cyclesim.verify.cone import Cone
from cyclesim.verify.environment import POWER, Environment
from cyclesim.verify.faults import Fault
from cyclesim.verify.flows import Effect, Flows

_MOST_S = 8
"""Beyond this no difference is made in how long a timer lasts at least from now."""


class Node(NamedTuple):
    """One state. `timers`: 0 where one does not run, else 1 more than the least seconds it has left."""

    state: State
    env: tuple[int, ...]
    """Which value each dimension has."""
    told: int
    """Facts that the plant itself decides: flow sensed, an own switch closed, a trip."""
    risen: int
    """Devices whose means of proof has seen the rise of still water."""
    coasts: tuple[int, ...]
    """Per pump, at which level water still moves though it is off."""
    timers: tuple[int, ...]
    order: int
    """Bit i * n + j: timer i ends before timer j."""
    truth: int
    """Per device that is watched: bit 2k, without flow for longer than the grace; 2k + 1, flow has lasted."""


class Move(NamedTuple):
    """Why one state follows another: what changed around it, which timers ended, what else happened."""

    changes: tuple[tuple[int, int], ...] = ()
    """(dimension, value)."""
    ended: tuple[int, ...] = ()
    event: tuple[str, int] = ("", 0)
    """`trips`, `rises` or `resets`, and the device; `fault` or `restarts`."""


_NOTHING = Move()


class Automaton:
    """The automaton of a cone; *watched* are the devices whose grace and flow are followed through time."""

    def __init__(
        self,
        plant: Plant,
        cone: Cone,
        env: Environment,
        watched: Sequence[str] = (),
        *,
        late: bool = False,
        faults: frozenset[Fault] = frozenset(),
    ) -> None:
        self.plant, self.cone, self.env, self.dims = plant, cone, env, env.dims
        self.controller = c = cone.controller
        self.watched = tuple(watched)
        switched = {source.name for source in c.sources}
        extra = [name for name in watched if name not in switched]
        self.faults, self.flows = faults, Flows(plant, cone, env.dims, extra, faults)
        kinds = {(fault.kind, fault.subject) for fault in faults}
        self._held = {
            k: kind == "own yes"
            for kind in ("own yes", "own no")
            for k, s in enumerate(c.sources)
            if (kind, s.name) in kinds
        }
        self._place = {name: k for k, name in enumerate(self.flows.devices)}
        self._first, self._all = len(c.pumps), len(c.pumps) + len(c.sources)
        self._dwell = c._dwell_rows
        self._up = [c.bit(f"{m.name}.time_up") for m in c._machines]
        self._trip = [c.bit(f"{s.name}.trips") for s in c.sources]
        self._reset = [c.bit(f"{s.name}.reset") for s in c.sources]
        self._sensed = [c.bit(f"flow.{s.name}.sensed") for s in c.sources]
        self._own_bit = [c.bit(f"flow.{s.name}.own") if s.own_switch else 0 for s in c.sources]
        self._all_sensed = sum(self._sensed)
        self._set_timers(late)
        self._rises = [
            k for k, s in enumerate(c.sources)
            if (sheet := plant.sheet.heat_sources.get(s.name)) and sheet.proof.by == "temperature_rise"
        ]  # fmt: skip
        self._limited = [k for k, s in enumerate(c.sources) if self.limited(s.name)]
        self._tripped = [s.table.states.index("tripped") for s in c.sources]
        self._windows = [dim.window for dim in self.dims]
        self._alone = [dim.name == POWER for dim in self.dims]
        self._snapshots: dict[object, Snapshot] = {}

    def _set_timers(self, late: bool) -> None:
        """Every timer with its name and how long it lasts; a machine's own lasts as its state says."""
        c, sheet, limits = self.controller, self.plant.sheet, self.plant.scenario.limits
        self.timers = [f"time of {m.name}" for m in c._machines]
        self._lasts = [0.0] * self._all

        def timer(name: str, lasts_s: float) -> int:
            self.timers.append(name)
            self._lasts.append(lasts_s)
            return len(self._lasts) - 1

        self._coast = {
            i: timer(f"coasting of {p.name}", self.plant.pumps[p.name].coasts_s)
            for i, p in enumerate(c.pumps)
            if self.watched and p.name in self.plant.pumps
        }
        self._grace = [timer(f"grace of {w}", limits.heat_without_flow_grace_s) for w in self.watched]
        self._lasted = [timer(f"flow through {w}", limits.proof_time_s) for w in self.watched]
        self._own: dict[int, int] = {}
        for k, source in enumerate(c.sources):
            if source.own_switch:
                device = sheet.treatment.get(source.name) or sheet.heat_sources[source.name]
                self._own[k] = timer(
                    f"own switch of {source.name}", math.ceil(device.own_flow_switch_s or 0.0)
                )
        self._late: dict[tuple[int, int], int] = {}
        if late or self.watched:
            for i, p in enumerate(c.pumps):
                opens_s = self.plant.pumps[p.name].opens_within_s if p.name in self.plant.pumps else 0.0
                for level, speed in enumerate(p.speeds, 1) if opens_s and late else ():
                    self._late[i, level] = timer(f"contact of {p.name} {speed}", opens_s)
            for k, s in enumerate(c.sources):
                opens_s = sheet.heat_sources[s.name].opens_within_s if s.name in sheet.heat_sources else 0.0
                if opens_s:
                    self._late[self._first + k, 1] = timer(f"contact of {s.name}", opens_s)
        self._n = len(self.timers)
        self._controls = [*range(self._all), *self._own.values()]
        self._silent = [i for i in range(self._all, self._n) if i not in self._controls]
        # in the second in which both end: flow has lasted; it is not yet missing for longer than the grace
        grace = set(self._grace)
        self._ranks = [2 if i in grace else 1 if i in self._controls else 0 for i in range(self._n)]
        self._own_of = {i: k for k, i in self._own.items()}
        self._columns = [sum(1 << (i * self._n + j) for i in range(self._n)) for j in range(self._n)]
        self._rows = [((1 << self._n) - 1) << (i * self._n) for i in range(self._n)]

    def limited(self, name: str) -> bool:
        """Whether a device has a high limit with a sensor of its own, which trips it in still water."""
        sheet = self.plant.sheet.heat_sources.get(name)
        if sheet is None or isinstance(sheet, HeatPump):
            return False
        return sheet.high_limit_c is not None and sheet.limit_sensor == "own"

    # -- where it starts and how it moves ------------------------------------------------------------------

    def starts(self) -> Iterator[Node]:
        """Everything stopped and off, all well, at any place of the calendar."""
        spots: list[tuple[int, ...]] = [()]
        for dim in self.dims:
            spots = [(*spot, k) for spot in spots for k in dim.starts]
        for env in spots:
            nothing = Node(self.controller.initial, env, 0, 0, (0,) * len(self._coast), (0,) * self._n, 0, 0)
            yield self._instant(nothing, env, _NOTHING, elapsed_s=0)
            still = self.flows.effect(self.controller.initial, env, 0).water.sensed
            if still:  # what says yes without flow may have been looked at already
                yield self._instant(nothing._replace(told=still), env, _NOTHING, elapsed_s=0)

    def onset(self, node: Node, before: Automaton) -> tuple[Move, Node]:
        """What a state becomes when the faults of this automaton come to those of the one before."""
        new = self.faults - before.faults
        restarts = any(fault.kind == "restart" for fault in new)
        move = Move(event=("restarts" if restarts else "fault", 0))
        effect = before.flows.effect(node.state, node.env, node.told)
        return move, self._instant(node, node.env, move, elapsed_s=None, before=effect)

    def facts(self, node: Node) -> int:
        """Every fact that the controller is told."""
        facts = self.flows.around(node.env).mask | node.told
        for i, bit in enumerate(self._up):
            if not node.timers[i]:
                facts |= bit
        return facts

    def is_due(self, node: Node) -> bool:
        """Whether another pass follows a second later."""
        return self.controller.step(node.state, self.facts(node)).moved

    def moves(self, node: Node) -> Iterator[tuple[Move, Node]]:
        """Every state that may come next."""
        due = self.is_due(node)
        may = [
            i for i, left in enumerate(node.timers)
            if left and (not due or left <= 2 - (self._ranks[i] == 2)) and not node.order & self._columns[i]
        ]  # fmt: skip
        for i in may:
            if i in self._silent:
                move = Move(ended=(i,))
                yield move, self._instant(node, node.env, move, elapsed_s=0 if due else None, silent=True)
        may = [i for i in may if i not in self._silent]
        ends = [(i,) for i in may] + list(combinations(may, 2))
        events = [("", 0), *self._events(node)]
        singles = list(self._changes(node.env))
        elapsed_s = 1 if due else None
        todo = [Move(ended=some) for some in ends] + [Move(event=event) for event in events[not due :]]
        # power is read before all else: with it, nothing else need change in the same second
        todo += [
            Move(one, some)
            for one in singles
            for some in [(), *(() if self._alone[one[0][0]] else ends[: len(may)])]
        ]
        for move in todo:
            yield move, self._instant(node, self._with(node.env, move.changes), move, elapsed_s=elapsed_s)
        for one, two in combinations(singles, 2) if not due else ():
            if one[0][0] != two[0][0] and not (self._alone[one[0][0]] or self._alone[two[0][0]]):
                env = self._with(node.env, (*one, *two))
                if all(env[d] == value for d, value in (*one, *two)):
                    move = Move((*one, *two))
                    yield move, self._instant(node, env, move, elapsed_s=elapsed_s)

    def _changes(self, env: tuple[int, ...]) -> Iterator[tuple[tuple[int, int], ...]]:
        opens = self.flows.around(env).windows
        for d, value in enumerate(env):
            if self._windows[d] and self._windows[d] not in opens:
                continue
            for other in self.dims[d].follows[value]:
                yield ((d, other),)

    def _with(self, env: tuple[int, ...], changes: tuple[tuple[int, int], ...]) -> tuple[int, ...]:
        """The changed values; what needs an open window goes when it closes."""
        if not changes:
            return env
        changed = list(env)
        for d, value in changes:
            changed[d] = value
        opens = self.flows.around(tuple(changed)).windows
        for d, window in enumerate(self._windows):
            if window and window not in opens:
                changed[d] = 0
        return tuple(changed)

    def _events(self, node: Node) -> Iterator[tuple[str, int]]:
        """A trip or a rise in still water; a person who resets what has tripped."""
        effect = self.flows.effect(node.state, node.env, node.told)
        for k in range(len(self._trip)):
            dry = effect.on[k] and effect.water.still >> k & 1
            if dry and k in self._limited and not node.told & self._trip[k]:
                yield "trips", k
            if dry and k in self._rises and not node.risen >> k & 1:
                yield "rises", k
            if node.state[self._first + k] == self._tripped[k]:
                yield "resets", k

    # -- one instant ---------------------------------------------------------------------------------------

    def _instant(
        self,
        node: Node,
        env: tuple[int, ...],
        move: Move,
        *,
        elapsed_s: int | None,
        silent: bool = False,
        before: Effect | None = None,
    ) -> Node:
        """What is so after a change and the pass that follows it in the same second.

        *silent*: only a timer that no controller sees has ended, and no pass follows. *before*: what was on,
        if it is not what this automaton makes of the state.
        """
        state, was_env, told, risen, coasts, timers_, order, truth = node
        if elapsed_s is None:
            timers = [1 if left else 0 for left in timers_]
        elif elapsed_s:
            timers = [left - 1 if left > 1 else left for left in timers_]
        else:
            timers = list(timers_)
        coasting, pulse = list(coasts), 0
        was = before or self.flows.effect(state, was_env, told)
        for i in move.ended:
            timers[i] = 0
            order &= ~(self._columns[i] | self._rows[i])
            if i in self._own_of:
                told |= self._own_bit[self._own_of[i]]
            elif i >= self._all:
                truth, coasting = self._ended(i, truth, coasting)
        event, k = move.event
        if event == "trips":
            told |= self._trip[k]
        elif event == "rises":
            risen |= 1 << k
            told &= ~self._sensed[k]
        elif event == "resets":
            told &= ~self._trip[k]
            pulse = self._reset[k]
        around = self.flows.around(env)
        started: list[int] = []
        new = state
        if event == "restarts":
            new = self.controller.initial
        elif not silent:
            facts = around.mask | told | pulse
            for i, bit in enumerate(self._up):
                if not timers[i]:
                    facts |= bit
            new = self.controller.step(state, facts).state
        if new != state:
            for i in range(self._all):
                if new[i] != state[i]:
                    if timers[i]:
                        timers[i], order = 0, order & ~(self._columns[i] | self._rows[i])
                    if self._dwell[i][new[i]]:
                        started.append(i)
        effect = self.flows.effect(new, env, told)
        if self._own:
            was_told = told
            for k, i in self._own.items():
                if self._held.get(k):
                    told |= self._own_bit[k]
                elif k in self._held or not effect.water.enough >> k & 1:
                    told &= ~self._own_bit[k]
                    if timers[i]:
                        timers[i], order = 0, order & ~(self._columns[i] | self._rows[i])
                elif not told & self._own_bit[k] and not timers[i]:
                    started.append(i)
            if told != was_told:
                effect = self.flows.effect(new, env, told)
        risen &= effect.water.still
        unseen = sum(bit for k, bit in enumerate(self._sensed) if risen >> k & 1)
        if effect.water is not was.water or effect.on != was.on:  # the engine, too, looks only then
            told = told & ~self._all_sensed | effect.water.sensed & ~unseen

        def stop(i: int) -> None:
            nonlocal order
            if timers[i]:
                timers[i], order = 0, order & ~(self._columns[i] | self._rows[i])

        levels = list(effect.levels)
        for slot, (p, i) in enumerate(self._coast.items()):
            if levels[p]:
                coasting[slot] = 0
                stop(i)
            elif was.levels[p] and self._lasts[i]:
                coasting[slot] = was.levels[p]
                started.append(i)
            levels[p] = levels[p] or coasting[slot]
        for (m, level), i in self._late.items():
            if self._closed(effect, m, level):
                stop(i)
            elif self._closed(was, m, level):
                started.append(i)
        if self.watched:
            water = self.flows.water(tuple(levels), tuple(map(bool, effect.contacts)), around)
            for w, name in enumerate(self.watched):
                k = self._place[name]
                enough = water.enough >> k & 1
                hot = self._hot(name, k, effect, around.hot, timers, started)
                past, lasted = 1 << 2 * w, 2 << 2 * w
                if not hot or enough:
                    truth &= ~past
                    stop(self._grace[w])
                elif not truth & past and not timers[self._grace[w]]:
                    started.append(self._grace[w])
                if not enough:
                    truth &= ~lasted
                    stop(self._lasted[w])
                elif not truth & lasted and not timers[self._lasted[w]]:
                    started.append(self._lasted[w])
        if started:
            order = self._start(started, timers, order, new)
        if any(timers):
            facts = around.mask | told
            for i, bit in enumerate(self._up):
                if not timers[i]:
                    facts |= bit
            if not self.controller.step(new, facts).moved:
                timers = [1 if left else 0 for left in timers]
        return Node(new, env, told, risen, tuple(coasting), tuple(timers), order, truth)

    def _ended(self, i: int, truth: int, coasting: list[int]) -> tuple[int, list[int]]:
        """What the end of a timer that no controller sees makes true."""
        if i in self._grace:
            truth |= 1 << 2 * self._grace.index(i)
        elif i in self._lasted:
            truth |= 2 << 2 * self._lasted.index(i)
        else:
            for slot, timer in enumerate(self._coast.values()):
                if timer == i:
                    coasting[slot] = 0
        return truth, coasting

    def _closed(self, effect: Effect, machine: int, level: int) -> bool:
        if machine < self._first:
            return level in effect.contacts[machine]
        return effect.on[machine - self._first]

    def _hot(
        self,
        name: str,
        k: int,
        effect: Effect,
        burning: frozenset[str],
        timers: Sequence[int],
        started: Sequence[int],
    ) -> bool:
        """Whether its heat is on, its contact's opening time included."""
        if k >= len(self.controller.sources):
            return name in burning
        late = self._late.get((self._first + k, 1), -1)
        return effect.on[k] or (late >= 0 and (bool(timers[late]) or late in started))

    def _start(self, started: list[int], timers: list[int], order: int, state: State) -> int:
        """Start timers in this instant: what runs already and lasts no longer ends before them."""
        lasts = {
            i: self._dwell[i][state[i]] if i < self._all else self._lasts[i]
            for i in (*started, *(i for i, left in enumerate(timers) if left))
        }
        for j in started:
            if timers[j]:  # started again: what it was to end before or after no longer holds
                order &= ~(self._columns[j] | self._rows[j])
                timers[j] = 0
        old = [i for i, left in enumerate(timers) if left]
        for j in started:
            timers[j] = 1 + min(_MOST_S, math.floor(lasts[j]))
            for i in old:
                if lasts[i] <= lasts[j]:
                    order |= 1 << (i * self._n + j)
            for i in started:
                if lasts[i] < lasts[j] or (lasts[i] == lasts[j] and self._ranks[i] < self._ranks[j]):
                    order |= 1 << (i * self._n + j)
        return order

    def held(self, node: Node, name: str) -> str:
        """What keeps a device off in a state in which it is asked for with too little flow; "" if none."""
        k, c = self._place[name], self.controller
        if k >= len(c.sources):
            return ""
        effect, mask = self.flows.effect(node.state, node.env, node.told), self.flows.around(node.env).mask
        if effect.water.enough >> k & 1 or effect.on[k] or mask & c.bit(POWER_LOST):
            return ""
        state = c.sources[k].table.states[node.state[self._first + k]]
        started = any(mask & c.bit(f"{s.name}.closed") for s in c.starters if s.target == name)
        started |= any(f.kind == "welded" and f.subject == f"{name}/on" for f in self.faults)
        if not started and not mask & c._calls[k]:
            return ""
        if state == "tripped":
            return "limit"
        own = bool(self._own_bit[k]) and not node.told & self._own_bit[k]
        return "own switch" if own and (started or state == c.sources[k].active) else "controller"

    # -- what is so ----------------------------------------------------------------------------------------

    def snapshot(self, node: Node) -> Snapshot:
        """The state as the rules of analysis judge it."""
        facts = self.facts(node)
        key = (node.state, node.env, node.told, node.coasts, node.truth, tuple(map(bool, node.timers)))
        found = self._snapshots.get(key)
        if found is None:
            found = self._snapshots[key] = self._take(node, facts)
        return found

    def _take(self, node: Node, facts: int) -> Snapshot:
        c, around = self.controller, self.flows.around(node.env)
        effect = self.flows.effect(node.state, node.env, node.told)
        levels = list(effect.levels)
        for slot, p in enumerate(self._coast):
            levels[p] = levels[p] or node.coasts[slot]
        water = self.flows.water(tuple(levels), tuple(map(bool, effect.contacts)), around)
        late = {key for key, i in self._late.items() if node.timers[i]}
        contacts = [
            (p.name, tuple(s for n, s in enumerate(p.speeds, 1) if n in effect.contacts[i] or (i, n) in late))
            for i, p in enumerate(c.pumps)
        ]
        truths = []
        for k, name in enumerate(self.flows.devices):
            flow = "enough" if water.enough >> k & 1 else "none" if water.still >> k & 1 else "low"
            w = self.watched.index(name) if name in self.watched else -1
            past = w >= 0 and bool(node.truth >> 2 * w & 1)
            lasted = w < 0 or bool(node.truth >> 2 * w & 2)
            hot = self._hot(name, k, effect, around.hot, node.timers, ())
            truths.append((name, SourceTruth(hot, flow, past, lasted)))
        deciding = c.step(node.state, facts).deciding
        flushing = tuple(
            (p.name, c.demands[d].name)
            for p, d in zip(c.pumps, deciding, strict=True)
            if d >= 0 and c.demands[d].kind == "line flush"
        )
        lasting: frozenset[tuple[str, str]] = frozenset()
        if self.plant.scenario.supply.region == "north_america":  # any of it may have run for hours
            lasting = frozenset(
                [(n, s) for n, on in contacts for s in on] + [(n, "on") for n, t in truths if t.hot]
            )
        names = tuple((m.name, s) for m, s in zip(c._machines, c.names(node.state), strict=True))
        sheet = self.plant.sheet
        return Snapshot(
            names,
            tuple(contacts),
            tuple((n, t) for n, t in truths if n in sheet.heat_sources),
            lasting,
            around.people,
            flushing,
            tuple((n, t) for n, t in truths if n in sheet.treatment),
            effect.started,
            around.low,
        )

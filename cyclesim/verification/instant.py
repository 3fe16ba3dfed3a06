"""One instant of the automaton: what changes, the pass that follows in the same second, and its timers."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from cyclesim.analysis.kept_out import LASTS_S
from cyclesim.analysis.truth import Inertia
from cyclesim.control.step import State
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.wired import Water, WhatIsOn
from cyclesim.verification.cone import Cone
from cyclesim.verification.environment import Environment
from cyclesim.verification.faults import PlantFault
from cyclesim.verification.flows import Around, Flows

_BEFORE_S = 1e-3
"""Any time before, where a bound itself is too late."""
_MOST_S = 8
"""Beyond this no difference is made in how long a timer lasts at least from now."""


class Node(NamedTuple):
    """One state. `timers`: 0 where one does not run, else 1 more than the least seconds it has left."""

    state: State
    env: tuple[int, ...]
    """Which value each dimension has."""
    feedback: int
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


class After(NamedTuple):
    """What an instant leaves: the state but for its surroundings and the order of timers, and what it does
    to that order."""

    state: State
    feedback: int
    risen: int
    coasts: tuple[int, ...]
    timers: tuple[int, ...]
    truth: int
    clears: int
    adds: int

    def on(self, env: tuple[int, ...], order: int) -> Node:
        """The whole state in some surroundings, from the order before."""
        state, feedback, risen, coasts, timers, truth, clears, adds = self
        return Node(state, env, feedback, risen, coasts, timers, order & ~clears | adds, truth)


class _Begun(NamedTuple):
    """An instant before its pass: what time and the timers that ended have made of a state."""

    timers: list[int]
    coasting: list[int]
    feedback: int
    risen: int
    truth: int
    clears: int
    pulse: int
    silent: bool
    runs: tuple[int, ...]
    """The timers that the controller sees."""
    controlled: dict[tuple[int, ...], _Controlled]
    """What the controller made of it, by the surroundings."""
    afters: dict[object, After]
    """What became of it, by what the controller and the surroundings came to."""


class Twins(NamedTuple):
    """What is known of states that differ in their surroundings and the order of their timers alone."""

    was: WhatIsOn
    felt: int
    begun: dict[object, _Begun]
    afters: dict[object, After]


class _Controlled(NamedTuple):
    """What the controller and the contacts come to in an instant."""

    state: State
    feedback: int
    risen: int
    effect: WhatIsOn
    stops: tuple[int, ...]
    starts: tuple[int, ...]
    due: bool


class Instants:
    """Timers and instants of a cone; of *watched* devices grace and flow are followed through time.

    *coarse*: of timers of the controller alone the order is not kept, which allows more than can be.
    """

    def __init__(
        self,
        plant: Assembly,
        cone: Cone,
        env: Environment,
        watched: Sequence[str] = (),
        *,
        late: bool = False,
        faults: frozenset[PlantFault] = frozenset(),
        coarse: bool = False,
    ) -> None:
        self.plant, self.cone, self.env, self.dims = plant, cone, env, env.dims
        self.controller = c = cone.controller
        self.watched, self.faults, self.coarse = tuple(watched), faults, coarse
        switched = {source.name for source in c.sources}
        self.flows = Flows(plant, cone, env.dims, [n for n in watched if n not in switched], faults)
        self._place = {name: k for k, name in enumerate(self.flows.devices)}
        self.wiring = wiring = self.flows.wiring
        self._first, self.machine_count = wiring.first, len(c.machines)
        self.dwells_s = c.dwell_rows
        self._up = [c.bit(f"{m.name}.time_up") for m in c.machines]
        self._set_timers(late)
        self._watch = [
            (name, self._place[name], 1 << 2 * w, 2 << 2 * w, self._grace[w], self._lasted[w])
            for w, name in enumerate(self.watched)
        ]
        self._known: dict[object, dict[tuple[int, ...], _Controlled]] = {}
        self._alike: dict[object, _Controlled] = {}
        """Of those that are felt alike, the one that stands for all."""
        self._before: dict[object, dict[tuple[int, ...], _Controlled]] = {}
        """Likewise of the onset of a fault, by what was on before it came."""

    def _set_timers(self, late: bool) -> None:
        """Every timer with its name and how long it lasts; a machine's own lasts as its state says."""
        c, inertia = self.controller, Inertia.of(self.plant)
        self.timers = [f"time of {m.name}" for m in c.machines]
        self.lasts_s = [0.0] * self.machine_count

        def timer(name: str, lasts_s: float) -> int:
            self.timers.append(name)
            self.lasts_s.append(lasts_s)
            return len(self.lasts_s) - 1

        self._own: dict[int, int] = {}
        for k, source in enumerate(c.sources):
            if source.own_switch:
                self._own[k] = timer(f"own switch of {source.name}", self.plant.own_switch_s(source.name))
        self.controller_timers = len(self.timers)
        """How many timers the controller sees; they come first."""
        self._coast = {
            i: timer(f"coasting of {p.name}", inertia.coasts_s[p.name])
            for i, p in enumerate(c.pumps)
            if self.watched and p.name in self.plant.pumps
        }
        steered = self.plant.steered
        self._grace = [
            timer(f"grace of {w}", LASTS_S if w in steered else inertia.grace_s) for w in self.watched
        ]
        self._lasted = [timer(f"flow through {w}", inertia.proof_s) for w in self.watched]
        self._late: dict[tuple[int, int], int] = {}
        if late or self.watched:
            for i, machine in enumerate(c.machines):
                opens_s, is_pump = inertia.opens_s.get(machine.name, 0.0), i < self._first
                speeds = c.pumps[i].speeds if is_pump else ("",)
                for level, speed in enumerate(speeds, 1) if opens_s and (late or not is_pump) else ():
                    self._late[i, level] = timer(f"contact of {machine.name} {speed}".rstrip(), opens_s)
        self._n = len(self.timers)
        # in the second in which both end: flow has lasted; it is not yet missing for longer than the grace
        grace = set(self._grace)
        self._ranks = [2 if i in grace else 1 if i < self.controller_timers else 0 for i in range(self._n)]
        self._own_of = {i: k for k, i in self._own.items()}
        self._columns = [sum(1 << (i * self._n + j) for i in range(self._n)) for j in range(self._n)]
        rows = [((1 << self._n) - 1) << (i * self._n) for i in range(self._n)]
        self._touching = [a | b for a, b in zip(self._columns, rows, strict=True)]

    def facts(self, node: Node) -> int:
        """Every fact that the controller is told."""
        return self.flows.around(node.env).mask | node.feedback | self._time_up(node.timers)

    def _time_up(self, timers: Sequence[int]) -> int:
        facts = 0
        for i, bit in enumerate(self._up):
            if not timers[i]:
                facts |= bit
        return facts

    def timer_lasts_s(self, node: Node, i: int) -> float:
        """How long a timer lasts that runs in a state [s]; a machine's own as its state says."""
        return float(self.dwells_s[i][node.state[i]] if i < self.machine_count else self.lasts_s[i])

    def spare_s(self, i: int, silent: bool) -> float:
        """How long before its end a timer that goes on can last see a move [s]; none where it ends after it.

        A pass comes on a whole second, and what ends in that second with a rank below has ended before it.
        """
        if i < self.controller_timers:
            return 1.0
        return 0.0 if silent or self._ranks[i] else _BEFORE_S

    def is_due(self, node: Node) -> bool:
        """Whether another pass follows a second later."""
        return self.controller.step(node.state, self.facts(node)).moved

    def after(
        self,
        node: Node,
        env: tuple[int, ...],
        move: Move,
        elapsed_s: int | None,
        twins: Twins | None = None,
        *,
        onset: bool = False,
    ) -> After:
        """What is so after a change and the pass that follows it in the same second.

        Where no timer ended but such as no controller sees, no pass follows. *elapsed_s*: how long after the
        last pass, None for any time. *twins*: what is known already of the state but for its surroundings.
        *onset*: what was on before is another automaton's, from which this one's faults lead.
        """
        if twins is None:
            was = self.flows.effect(node.state, node.env, node.feedback)
            twins = Twins(was, self.flows.felt(was), {}, {})
        begun = twins.begun.get((move.ended, move.event))
        if begun is None:
            begun = self._begin(node, move, elapsed_s, twins.felt, self._before if onset else self._known)
            twins.begun[move.ended, move.event] = begun
        done = begun.controlled.get(env)
        if done is None:
            restarts = move.event[0] == "restarts"
            done = begun.controlled[env] = self._control(node.state, twins.was, env, begun, restarts)
        around = self.flows.around(env)
        like = id(done), around.positions, around.low, around.hot
        after = begun.afters.get(like)
        if after is None:
            after = begun.afters[like] = self._end(begun, twins.was, around, done)
        return after

    def _begin(
        self,
        node: Node,
        move: Move,
        elapsed_s: int | None,
        felt: int,
        known: dict[object, dict[tuple[int, ...], _Controlled]],
    ) -> _Begun:
        """Time goes by, timers end, and something happens; what was on is *felt* so."""
        feedback, risen, truth, clears = node.feedback, node.risen, node.truth, 0
        if elapsed_s is None:
            timers = [1 if remaining else 0 for remaining in node.timers]
        elif elapsed_s:
            timers = [remaining - 1 if remaining > 1 else remaining for remaining in node.timers]
        else:
            timers = list(node.timers)
        coasting, pulse, silent = list(node.coasts), 0, False
        for i in move.ended:
            timers[i] = 0
            clears |= self._touching[i]
            if i in self._own_of:
                feedback |= self.wiring.own[self._own_of[i]]
            elif i >= self.machine_count:
                silent = True
                truth = self._ended(i, truth, coasting)
        event, k = move.event
        if event == "trips":
            feedback |= self.wiring.trips[k]
        elif event == "rises":
            risen |= 1 << k
            feedback &= ~self.wiring.sensed[k]
        elif event == "resets":
            feedback &= ~self.wiring.trips[k]
            pulse = self.wiring.resets[k]
        runs = tuple(timers[: self.controller_timers])
        told = node.state, felt, feedback, risen, runs, pulse, silent, event == "restarts"
        controlled = known.setdefault(told, {})
        return _Begun(timers, coasting, feedback, risen, truth, clears, pulse, silent, runs, controlled, {})

    def _end(self, begun: _Begun, was: WhatIsOn, around: Around, done: _Controlled) -> After:
        """What the pass does to water, to timers and to what is watched."""
        timers, coasting, truth, clears = list(begun.timers), list(begun.coasting), begun.truth, begun.clears
        adds = 0
        for i in done.stops:
            timers[i] = 0
            clears |= self._touching[i]
        started = list(done.starts)
        effect = done.effect
        levels, coasted = list(effect.levels), False
        for slot, (p, i) in enumerate(self._coast.items()):
            if levels[p]:
                coasting[slot] = 0
                if timers[i]:
                    timers[i] = 0
                    clears |= self._touching[i]
            elif was.levels[p] and self.lasts_s[i]:
                coasting[slot] = was.levels[p]
                started.append(i)
            if coasting[slot]:
                levels[p], coasted = coasting[slot], True
        for (m, level), i in self._late.items():
            if self._closed(effect, m, level):
                if timers[i]:
                    timers[i] = 0
                    clears |= self._touching[i]
            elif self._closed(was, m, level):
                started.append(i)
        if self.watched:
            water = effect.water
            if coasted:
                water = self.flows.coasted(effect, levels, around)
            truth, stops = self._judge(truth, water, effect, around, timers, started)
            for i in stops:
                timers[i] = 0
                clears |= self._touching[i]
        if started:
            restarted, adds = self._start(started, timers, done.state)
            clears |= restarted
        if not done.due:  # any time may go by
            timers = [1 if remaining else 0 for remaining in timers]
        return After(
            done.state, done.feedback, done.risen, tuple(coasting), tuple(timers), truth, clears, adds
        )

    def _control(
        self,
        state: State,
        was: WhatIsOn,
        env: tuple[int, ...],
        begun: _Begun,
        restarts: bool,
    ) -> _Controlled:
        """The controller's pass, and what follows from it for contacts, water and means of proof."""
        around, feedback, timers = self.flows.around(env), begun.feedback, begun.runs
        mask = around.mask
        new, starts, stops, runs = state, list[int](), list[int](), list(timers)
        if restarts:
            new = self.controller.initial
        elif not begun.silent:
            new = self.controller.step(state, mask | feedback | begun.pulse | self._time_up(timers)).state
        for i in range(self.machine_count):
            if new[i] != state[i]:
                if timers[i]:
                    stops.append(i)
                runs[i] = 0 if restarts else self.dwells_s[i][new[i]]  # it knows nothing of what was
                if runs[i]:
                    starts.append(i)
        settled = self.wiring.settled(
            was, new, mask | feedback, around.positions, begun.risen, self.flows.welded, around.unfed
        )
        for k, i in self._own.items():
            if settled.stops >> k & 1 and timers[i]:
                stops.append(i)
            elif settled.feels >> k & 1 and not timers[i]:
                starts.append(i)
        feedback = settled.facts & self.wiring.feedback
        due = self.controller.step(new, mask | feedback | self._time_up(runs)).moved
        done = _Controlled(new, feedback, settled.risen, settled.effect, tuple(stops), tuple(starts), due)
        return self._alike.setdefault((*done[:3], self.flows.felt(settled.effect), *done[4:]), done)

    def _judge(
        self,
        truth: int,
        water: Water,
        effect: WhatIsOn,
        around: Around,
        timers: Sequence[int],
        started: list[int],
    ) -> tuple[int, list[int]]:
        """What is true of the watched devices now, and which of their timers stop; others are started.

        Steered collectors that no water should run through have what they need while it stands, those that
        should be let in on both sides of their plates while it moves or stands on both.
        """
        stops, own_still = list[int](), effect.own_still
        for name, k, past, lasted, grace, flow in self._watch:
            fed = water.enough >> k & 1
            if name in self.plant.steered:
                fed = water.still >> k & 1 | own_still >> k & 1
                if name in around.half:
                    fed = not (water.still ^ own_still) >> k & 1
            if fed or not self._hot(name, k, effect, around.hot, timers, started):
                truth &= ~past
                if timers[grace]:
                    stops.append(grace)
            elif not truth & past and not timers[grace]:
                started.append(grace)
            if not fed:
                truth &= ~lasted
                if timers[flow]:
                    stops.append(flow)
            elif not truth & lasted and not timers[flow]:
                started.append(flow)
        return truth, stops

    def _ended(self, i: int, truth: int, coasting: list[int]) -> int:
        """What the end of a timer that no controller sees makes true."""
        if i in self._grace:
            return truth | 1 << 2 * self._grace.index(i)
        if i in self._lasted:
            return truth | 2 << 2 * self._lasted.index(i)
        for slot, timer in enumerate(self._coast.values()):
            if timer == i:
                coasting[slot] = 0
        return truth

    def _closed(self, effect: WhatIsOn, machine: int, level: int) -> bool:
        if machine < self._first:
            return level in effect.contacts[machine]
        return effect.on[machine - self._first]

    def _hot(
        self,
        name: str,
        k: int,
        effect: WhatIsOn,
        burning: frozenset[str],
        timers: Sequence[int],
        started: Sequence[int],
    ) -> bool:
        """Whether its heat is on, its contact's opening time included."""
        if k >= len(self.controller.sources):
            return name in burning
        if effect.on[k] or not self._late:
            return effect.on[k]
        late = self._late.get((self._first + k, 1), -1)
        return late >= 0 and (bool(timers[late]) or late in started)

    def _start(self, started: list[int], timers: list[int], state: State) -> tuple[int, int]:
        """Start timers in this instant: what runs already and lasts no longer ends before them.

        Gives what of the order no longer holds, for those that are started again, and what holds from now on.
        """
        clears = adds = 0
        for j in started:
            if timers[j]:
                clears |= self._touching[j]
                timers[j] = 0
        old = [i for i, remaining in enumerate(timers) if remaining]
        lasts = {
            i: self.dwells_s[i][state[i]] if i < self.machine_count else self.lasts_s[i]
            for i in (*started, *old)
        }
        for j in started:
            timers[j] = 1 + min(_MOST_S, math.floor(lasts[j]))
            before = [i for i in old if lasts[i] <= lasts[j]]
            before += [i for i in started if (lasts[i], self._ranks[i]) < (lasts[j], self._ranks[j])]
            for i in before:
                if not (self.coarse and i < self.controller_timers and j < self.controller_timers):
                    adds |= 1 << (i * self._n + j)
        return clears, adds

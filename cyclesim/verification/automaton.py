"""The product automaton: the controller's own step, what surrounds it, and time as the order of timers.

A state is one instant after a pass. If another pass is due, exactly one second goes by; otherwise any time
may, until something around it changes or a timer ends. Of two timers, the one that was started later and
lasts longer never ends first; how long each lasts at least from now is kept while passes follow each other
second by second.

Verification calls the same step. The automaton moves by `ControlLogic.step` and `ControlLogic.wired`, water
by the plant's duties, proof by `Assembly.sensed`; state rules are the functions of `analysis/state_rules.py`
on snapshots. It explores more orders than time allows (the environment is taken wider than it is), so that a
story counts as broken only when the engine has replayed it; else the rule is not decided.

Time in the automaton is an order: a timer started later that lasts longer never ends first; passes follow
each other by one second. Coarse first: commands for demands and no order among the controller's own timers
allow more than can be; only what breaks there is looked at exactly, then by the calendar.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

from cyclesim.analysis.kept_out import KeptOut
from cyclesim.analysis.truth import Snapshot, source_truth
from cyclesim.control.demands import FLUSHES
from cyclesim.control.step import POWER_LOST
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.wired import WhatIsOn
from cyclesim.verification.cone import Cone
from cyclesim.verification.environment import POWER, Environment
from cyclesim.verification.faults import PlantFault, welds
from cyclesim.verification.instant import Instants, Move, Node, Twins

__all__ = ["Automaton", "Move", "Node"]

_NOTHING = Move()
_Way = tuple[tuple[int, ...], tuple[int, ...], tuple[str, int]]
"""All of a move that the state after it depends on: what then is around, timers that end, what happens."""
Made = dict[tuple[int, int], set[int]]
"""The moves that a search has made, each by its number, by what twins have in common."""
_Ways = tuple[frozenset[int], tuple[tuple[int, tuple[int, ...], Move, int | None], ...]]
"""The numbers of moves; and each with what then is around and the time that it takes."""
_Pairs = tuple[tuple[int, int], ...]
_Changes = tuple[list[tuple[_Pairs, tuple[int, ...], bool]], list[tuple[_Pairs, tuple[int, ...]]]]
"""Single changes (change, what then is so, whether it comes alone); two (changes, what then is so)."""


class Automaton(Instants):
    """Where it starts, how it moves, and each state as the rules judge it."""

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
        super().__init__(plant, cone, env, watched, late=late, faults=faults, coarse=coarse)
        c = self.controller
        self._tripped = [s.table.states.index("tripped") for s in c.sources]
        self._windows = [dim.window for dim in self.dims]
        self._alone = [dim.name == POWER for dim in self.dims]
        self._snapshots: dict[object, Snapshot] = {}
        self._twins: dict[object, Twins] = {}
        self._known_ways: dict[object, _Ways] = {}
        self._number_of: dict[_Way, int] = {}
        self._onsets: dict[object, Twins] = {}
        self._changed: dict[tuple[int, ...], _Changes] = {}

    def same_as(self, before: Automaton) -> bool:
        """Whether what is new here has passed once it has come: the controller's restart."""
        return {fault.kind for fault in self.faults - before.faults} == {"restart"}

    def starts(self) -> Iterator[Node]:
        """Everything stopped and off, all well, at any place of the calendar."""
        spots: list[tuple[int, ...]] = [()]
        for dim in self.dims:
            spots = [(*spot, k) for spot in spots for k in dim.starts]
        for env in spots:
            none = (0,) * len(self._coast), (0,) * self._n
            still = self.flows.effect(self.controller.initial, env, 0).water.sensed  # a yes without flow
            nothing = Node(self.controller.initial, env, still, 0, *none, 0, 0)
            yield self.after(nothing, env, _NOTHING, 0).on(env, 0)

    def onset(self, node: Node, before: Automaton) -> tuple[Move, Node]:
        """What a state becomes when the faults of this automaton come to those of the one before."""
        restarts = any(fault.kind == "restart" for fault in self.faults - before.faults)
        move = Move(event=("restarts" if restarts else "fault", 0))
        was = before.flows.effect(node.state, node.env, node.feedback)
        felt = before.flows.felt(was)
        twin = (node.state, node.feedback, node.risen, node.coasts, node.timers, node.truth, felt)
        known = self._onsets.get(twin)
        if known is None:
            known = self._onsets[twin] = Twins(was, felt, {}, {})
        after = self.after(node, node.env, move, None, known, onset=True)
        return move, after.on(node.env, node.order)

    def moves(self, node: Node, made: Made | None = None) -> Iterator[tuple[Move, Node]]:
        """Every state that may come next; with *made*, but for those to which a twin has moved already.

        Twins are states that differ in nothing but their surroundings, and whose effect is felt alike: in the
        same surroundings the same follows from either.
        """
        state, env, feedback, risen, coasts, timers, order, truth = node
        due = self.is_due(node)
        may = tuple(i for i, remaining in enumerate(timers) if remaining and not order & self._columns[i])
        if due:  # whoever ends before or with the pass that comes in a second; a grace is over only after it
            may = tuple(i for i in may if timers[i] <= 2 - (self._ranks[i] == 2))
        effect = self.flows.effect(state, env, feedback)
        felt = self.flows.felt(effect)
        twin = (state, feedback, risen, coasts, timers, truth, felt, due)
        known = self._twins.get(twin)
        if known is None:
            known = self._twins[twin] = Twins(effect, felt, {}, {})
        done = set[int]() if made is None else made.setdefault((id(known), order), set())
        numbers, ways = self._ways(env, may, due, self._events(node, effect))
        fresh = numbers - done
        done |= fresh
        for number, to, move, elapsed_s in ways if fresh else ():
            if number in fresh:
                after = known.afters.get(number)
                if after is None:
                    after = known.afters[number] = self.after(node, to, move, elapsed_s, known)
                yield move, after.on(to, order)

    def _ways(
        self, env: tuple[int, ...], may: tuple[int, ...], due: bool, events: tuple[tuple[str, int], ...]
    ) -> _Ways:
        """Every move that may come, and the time that it takes, where these timers may be the next to end."""
        key = env, may, due, events
        if key in self._known_ways:
            return self._known_ways[key]
        silent = [(i,) for i in may if i >= self.controller_timers]
        may = tuple(i for i in may if i < self.controller_timers)
        ends = [(i,) for i in may] + list(combinations(may, 2))
        singles, pairs = self._changes(env)
        found = [(env, Move(ended=ended), 0 if due else None) for ended in silent]
        elapsed_s = 1 if due else None
        found += [(env, Move(ended=ended), elapsed_s) for ended in ends]
        found += [(env, Move(event=event), elapsed_s) for event in (*([("", 0)] if due else []), *events)]
        for changes, to, alone in singles:
            found += [(to, Move(changes, ended), elapsed_s)
                      for ended in [(), *(() if alone else ends[: len(may)])]]  # fmt: skip
        found += [(to, Move(changes), elapsed_s) for changes, to in (pairs if not due else ())]
        ways = dict[int, tuple[int, tuple[int, ...], Move, int | None]]()
        for to, move, elapsed in found:
            number = self._number_of.setdefault((to, move.ended, move.event), len(self._number_of))
            ways.setdefault(number, (number, to, move, elapsed))
        self._known_ways[key] = known = frozenset(ways), tuple(ways.values())
        return known

    def _changes(self, env: tuple[int, ...]) -> _Changes:
        """What may change, and what two together; power is read before all else, so that it changes alone."""
        if env not in self._changed:
            opens = self.flows.around(env).windows
            singles = [
                (d, other)
                for d, value in enumerate(env)
                if not self._windows[d] or self._windows[d] in opens
                for other in self.dims[d].follows[value]
            ]
            pairs: list[tuple[_Pairs, tuple[int, ...]]] = []
            for first, second in combinations(singles, 2):
                if first[0] != second[0] and not (self._alone[first[0]] or self._alone[second[0]]):
                    changed = self._with(env, (first, second))
                    if changed[first[0]] == first[1] and changed[second[0]] == second[1]:
                        pairs.append(((first, second), changed))
            alone: list[tuple[_Pairs, tuple[int, ...], bool]]
            alone = [((change,), self._with(env, (change,)), self._alone[change[0]]) for change in singles]
            self._changed[env] = alone, pairs
        return self._changed[env]

    def _with(self, env: tuple[int, ...], changes: tuple[tuple[int, int], ...]) -> tuple[int, ...]:
        """The changed values; what needs an open window goes when it closes."""
        changed = list(env)
        for d, value in changes:
            changed[d] = value
        opens = self.flows.around(tuple(changed)).windows
        for d, window in enumerate(self._windows):
            if window and window not in opens:
                changed[d] = 0
        return tuple(changed)

    def _events(self, node: Node, effect: WhatIsOn) -> tuple[tuple[str, int], ...]:
        """A trip or a rise in still water; a person who resets what has tripped."""
        wiring, dry, found = self.wiring, effect.dry, list[tuple[str, int]]()
        may_trip = wiring.may_trip(effect)
        for k, trips in enumerate(wiring.trips):
            if may_trip >> k & 1 and k in wiring.limited and not node.feedback & trips:
                found.append(("trips", k))
            if dry >> k & 1 and k in wiring.rising and not node.risen >> k & 1:
                found.append(("rises", k))
            if node.state[self._first + k] == self._tripped[k]:
                found.append(("resets", k))
        return tuple(found)

    # -- what is so ------------------------------------------------------------------------------------------

    def kept_off_by(self, node: Node, name: str) -> str:
        """What keeps a device off in a state in which it is asked for with too little flow; "" if none."""
        k, c = self._place[name], self.controller
        if k >= len(c.sources):
            return ""
        effect = self.flows.effect(node.state, node.env, node.feedback)
        mask = self.flows.around(node.env).mask
        if effect.water.enough >> k & 1 or effect.on[k] or mask & c.bit(POWER_LOST):
            return ""
        state = c.sources[k].table.states[node.state[self._first + k]]
        started = any(mask & c.bit(f"{s.name}.closed") for s in c.starters if s.target == name)
        started |= (name, "on") in welds(self.faults)
        if not started and not mask & c.calls[k]:
            return ""
        if state == "tripped":
            return "limit"
        own = k in self.wiring.own and not node.feedback & self.wiring.own[k]
        return "own switch" if own and (started or state == c.sources[k].active) else "controller"

    def snapshot(self, node: Node) -> Snapshot:
        """The state as the rules of analysis judge it."""
        key = (node.state, node.env, node.feedback, node.coasts, node.truth, tuple(map(bool, node.timers)))
        snapshot = self._snapshots.get(key)
        if snapshot is None:
            snapshot = self._snapshots[key] = self._take(node)
        return snapshot

    def _take(self, node: Node) -> Snapshot:
        c, around = self.controller, self.flows.around(node.env)
        effect = self.flows.effect(node.state, node.env, node.feedback)
        levels = list(effect.levels)
        for slot, p in enumerate(self._coast):
            levels[p] = levels[p] or node.coasts[slot]
        water = self.flows.coasted(effect, levels, around)
        late = {key for key, i in self._late.items() if node.timers[i]}
        contacts = [
            (p.name, tuple(s for n, s in enumerate(p.speeds, 1) if n in effect.contacts[i] or (i, n) in late))
            for i, p in enumerate(c.pumps)
        ]
        truths = []
        for k, name in enumerate(self.flows.devices):
            w = self.watched.index(name) if name in self.watched else -1
            past = w >= 0 and bool(node.truth >> 2 * w & 1)
            lasted = w < 0 or bool(node.truth >> 2 * w & 2)
            hot = self._hot(name, k, effect, around.hot, node.timers, ())
            moves, back, enough = not water.still >> k & 1, bool(water.back >> k & 1), water.enough >> k & 1
            stands = bool(effect.own_still >> k & 1)
            truths.append((name, source_truth(hot, moves, back, bool(enough), past, lasted, stands)))
        deciding = c.step(node.state, self.facts(node)).deciding
        flushing = tuple(
            (p.name, c.demands[d].name)
            for p, d in zip(c.pumps, deciding, strict=True)
            if d >= 0 and c.demands[d].kind in FLUSHES
        )
        lasting: frozenset[tuple[str, str]] = frozenset()
        if self.plant.scenario.supply.region == "north_america":  # any of it may have run for hours
            lasting = frozenset(
                [(n, s) for n, on in contacts for s in on] + [(n, "on") for n, t in truths if t.hot]
            )
        out: list[KeptOut] = [
            (n, "cold" if n in around.cold else "half" if n in around.half else "stop")
            for n, t in truths
            if n in self.plant.steered and t.hot and t.past_grace
        ]
        names = tuple((m.name, s) for m, s in zip(c.machines, c.names(node.state), strict=True))
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
            any(name in sheet.air and state == "on" for name, state in names),
            tuple(out),
        )

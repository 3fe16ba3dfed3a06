"""What is asked of the water outside the tub, and what each step from one such state to another comes to."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from typing import NamedTuple

import numpy as np

from cyclesim.physics.circuit import Circuit
from cyclesim.physics.stays import Moves, Stays
from cyclesim.physics.warmth import Floats
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.physics.ways import Way, Ways

_KEPT = 1000


class Plan(NamedTuple):
    """What is asked of every circuit by flows through all reaches."""

    asked_m3_s: Sequence[float]
    flows: list[float]
    ways: list[Way | None]
    sorted: dict[int, tuple[tuple[Way, ...], list[Circuit]]]
    """The ways whose water has settled and the circuits in which some is followed, by which have settled."""


class _Step(NamedTuple):
    """What changes from one plan to another where certain reaches are heated, however much."""

    plan: Plan
    changed: list[int]
    """Circuits whose flows do."""
    others: list[tuple[int, list[int]]]
    """Other circuits, each with reaches whose water stands and is heated otherwise."""
    opened: list[int]
    """Circuits whose water is told slug by slug: not all settles."""
    moves: list[tuple[int, bool]]
    """Which bodies count as moving from now on, which do not."""
    warmed: list[int]
    """Circuits that flow on, with heat into them otherwise, for which it takes long to come round."""


class Turn(NamedTuple):
    """What changes from one plan and its heats to another."""

    step: _Step
    heated: dict[int, float]
    """Heat into each reach that is heated."""
    heats_w: dict[int, float]
    """The same, and 0 for those that were."""
    into_tub_w: dict[int, float]
    """Heat that the tub gets at once, by what has settled."""


class Turns:
    """The steps that are met, each worked out once; at first all stands, and none is heated."""

    def __init__(self, ways: Ways, stays: Stays) -> None:
        self._ways, self._stays, self._reaches = ways, stays, ways.reaches
        self._circuit_of = {i: g for g, circuit in enumerate(ways.circuits) for i in circuit}
        still = [0.0] * len(self._reaches)
        self._plans: dict[int, Plan] = {}
        self._turns: dict[tuple[object, ...], Turn] = {}
        self._steps: dict[tuple[object, ...], _Step] = {}
        self._moves: dict[int, Moves] = {}
        self._heats: tuple[tuple[int, float], ...] = ()
        self.last = Turn(_Step(self.plan(still), [], [], [], [], []), {}, {}, {})
        """The step to what is now."""

    def plan(self, flows_m3_s: Sequence[float]) -> Plan:
        """What these flows, one for each reach, ask for; the sequence is kept and must not be changed."""
        plan = self._plans.get(id(flows_m3_s))  # they are kept with it, so that no other gets the same number
        if plan is None:
            flows = [q if abs(q) > STILL_M3_S else 0.0 for q in flows_m3_s]
            ways = [self._ways.of(g, flows) for g in range(len(self._ways.circuits))]
            plan = self._plans[id(flows_m3_s)] = Plan(flows_m3_s, flows, ways, {})
        return plan

    def to(self, flows_m3_s: Sequence[float], heat_w: Mapping[int, float]) -> Turn:
        """The step to these flows and heats, from those of now."""
        plan, before, last = self.plan(flows_m3_s), self._heats, self.last
        self._heats = tuple(heat_w.items())
        key = id(last.step.plan), before, id(plan), self._heats
        turn = self._turns.get(key)
        if turn is None:
            if len(self._turns) > _KEPT:  # stoves and collectors give another heat every hour
                self._turns.clear()
            turn = self._turns[key] = self._turn(last, plan, {i: w for i, w in heat_w.items() if w})
        self.last = turn
        return turn

    def _turn(self, last: Turn, plan: Plan, heated: dict[int, float]) -> Turn:
        was, before = last.heated, last.step.plan
        heats_w = {**dict.fromkeys(was, 0.0), **heated}
        otherwise = tuple(i for i, w in heats_w.items() if w != was.get(i))
        key = id(before), id(plan), tuple(heated), otherwise
        step = self._steps.get(key)
        if step is None:
            step = self._steps[key] = self._step(before, plan, heated, otherwise)
        return Turn(step, heated, heats_w, {})

    def _step(self, before: Plan, plan: Plan, heated: Collection[int], otherwise: Sequence[int]) -> _Step:
        reaches, stays = self._reaches, self._stays
        ways = enumerate(zip(before.ways, plan.ways, strict=True))
        changed = [g for g, (old, new) in ways if old is not new]
        others = dict[int, list[int]]()
        for i in otherwise:
            g = self._circuit_of[i]
            if not before.flows[i] and reaches[i].capacity_j_k and g not in changed:
                others.setdefault(g, []).append(i)
        moves = dict[int, bool]()
        for g in changed:
            way = plan.ways[g]
            moving = self.moves(way).bodies if way is not None else ()
            moves |= {body: body in moving for body in stays.of(self._ways.held[g])}
        standing = [i for i in heated if not plan.flows[i] and reaches[i].capacity_j_k]
        moves |= dict.fromkeys(stays.of(standing), True)
        for body in stays.of(i for stood in others.values() for i in stood):
            moves[body] = any(plan.flows[i] or i in heated for i in stays.members[body])
        opened = [g for g in changed if (way := plan.ways[g]) is not None and not way.is_fast]
        warmed = [
            g
            for g, way in enumerate(plan.ways)
            if way is not None and way.is_long and g not in changed and not way.members.isdisjoint(otherwise)
        ]
        return _Step(plan, changed, list(others.items()), opened, list(moves.items()), warmed)

    def moves(self, way: Way) -> Moves:
        """The bodies that a way moves."""
        known = self._moves.get(id(way))
        if known is None:
            rows, held = dict[int, Floats](), self._ways.held[way.circuit]
            for i, before in way.upstream:
                body = self._stays.body_of[i]
                if body is not None:
                    row = rows.setdefault(body, np.full(len(held), math.inf))
                    row[[held.index(k) for k in before if k in held]] = 0.0
            meets = np.array(list(rows.values())).reshape(len(rows), len(held))
            known = self._moves[id(way)] = Moves(list(rows), meets)
        return known

"""What is kept of water outside the tub: plans and turns of flows, passages that wait, pieces on trial."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from cyclesim.physics import warmth
from cyclesim.physics.warmth import Floats, Moved, Slug
from cyclesim.physics.ways import Way

_ALIKE_K = 0.01  # streams of the tub nearer than this are one slug


@dataclass(slots=True)
class Passing:
    """Water of a circuit on its way to be settled, worked out when it is, or when somebody asks before.

    Until then it is taken to return what it would if all stayed as it was at first, but for the tub, which
    what is returned makes warmer or colder.
    """

    way: Way
    before_c: float
    after_c: float
    acted: list[tuple[Floats, int]]
    """What has acted, and for how many seconds."""
    by_second: Floats
    """What it returns by the second [J]: itself, or factors of *causes* where each reach held one slug."""
    causes: Floats | None
    lasted_s: int = 0
    given_j: float = 0.0

    def lasts(self, dt_s: int, forces: Floats, tub_c: float, by_then_j: float) -> None:
        """It goes on for *dt_s* with these *forces*, until the tub is at *tub_c* and has got *by_then_j*."""
        before, so_long = self.acted[-1]
        if before is forces:
            self.acted[-1] = forces, so_long + dt_s
        else:
            self.acted.append((forces, dt_s))
        self.lasted_s += dt_s
        self.after_c, self.given_j = tub_c, by_then_j

    def forces(self) -> Floats:
        """What has acted on the mean."""
        if len(self.acted) == 1:
            return self.acted[0][0]
        mean: Floats = np.add.reduce([row * dt_s for row, dt_s in self.acted]) / self.lasted_s
        return mean

    def returned_j(self, after_s: int) -> float:
        """What it is taken to have returned so long after it began [J]."""
        then = self.by_second[after_s]
        return float(then if self.causes is None else then.dot(self.causes))

    def tub_c(self, after_s: int, tub_j_k: float) -> float:
        """How warm a tub of *tub_j_k* [J/K] was so long after it began [degC], as `sent_out` has it."""
        alone_c = self.before_c + self.returned_j(self.lasted_s) / tub_j_k
        else_k = (self.after_c - alone_c) * after_s / self.lasted_s  # what else has warmed it
        return self.before_c + self.returned_j(after_s) / tub_j_k + else_k

    def sent_out(self, tub_j_k: float, *, to_read: bool = False) -> list[Slug]:
        """What a tub of *tub_j_k* [J/K] has sent out since it began: a stream [s].

        *to_read*: as few slugs as are as near, though they hold another heat.
        """
        returned = self.by_second[: self.lasted_s + 1]
        if self.causes is not None:
            returned = returned @ self.causes
        temps_c = self.before_c + returned / tub_j_k
        temps_c += np.linspace(0.0, self.after_c - temps_c[-1], self.lasted_s + 1)  # what else has warmed it
        if to_read:
            return _in_few(temps_c)
        ends = pairwise(temps_c.tolist())
        return warmth.joined([(1.0, front, back) for front, back in ends], 0.0, _ALIKE_K)


def _in_few(temps_c: Floats) -> list[Slug]:
    """A stream [s] of few slugs of one length, as near to temperatures by the second [degC] as is told."""
    seconds, pieces = np.arange(len(temps_c)), 1
    while True:
        at = np.linspace(0, len(temps_c) - 1, pieces + 1).round().astype(int)
        knots_c = temps_c[at]
        if pieces == len(temps_c) - 1 or np.abs(np.interp(seconds, at, knots_c) - temps_c).max() <= _ALIKE_K:
            rows = zip(np.diff(at).tolist(), pairwise(knots_c.tolist()), strict=True)
            return [(float(dt), front, back) for dt, (front, back) in rows]
        pieces = min(2 * pieces, len(temps_c) - 1)


class Trial(NamedTuple):
    """What moving water would do over a piece."""

    dt_s: int
    returned_w: float
    moved: tuple[Moved, ...]
    passing: tuple[tuple[int, Passing, float], ...]
    """Circuits that wait until they settle, and what each is then taken to have returned [J]."""


class Plan(NamedTuple):
    """What is asked of every circuit by flows through all reaches."""

    asked_m3_s: Sequence[float]
    flows: list[float]
    ways: list[Way | None]


class Turn(NamedTuple):
    """What changes from one plan and its heats to another."""

    changed: list[int]
    """Circuits whose flows do."""
    others: list[int]
    """Reaches of other circuits whose water stands and is heated otherwise."""
    touched: list[int]
    """The bodies that these belong to."""
    standing: list[int]
    """Reaches whose water stands and is heated."""
    heated: dict[int, float]
    heats_w: dict[int, float]
    """Heat into each reach that is heated, or was."""
    moves: list[tuple[int, bool]]
    """Which bodies count as moving from now on, which do not."""

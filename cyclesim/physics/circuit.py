"""How the water of one circuit moves now: since when, and whether it has settled."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from cyclesim.physics.forces import Mark
from cyclesim.physics.passing import Passing
from cyclesim.physics.stays import Straight
from cyclesim.physics.ways import Way

FELL_K = 0.5
"""By how much a tub must have moved before its water settles for that to be told in the pipes."""


class Waited(NamedTuple):
    """When a circuit has settled, at which temperature of the tub, and how it had passed until then."""

    at_s: int
    tub_c: float
    passing: Passing


@dataclass(slots=True)
class Circuit:
    """A circuit by its number; all stands from *began_s* on.

    *began_c*: the tub then, or as water began to pass that is followed on.
    """

    number: int
    straight: Straight
    began_s: int
    began_c: float
    way: Way | None = None
    """None where all stands."""
    is_settled: bool = False
    due_s: int = 0
    """When it settles."""
    mark: Mark | None = None
    """From when on what has settled is to be told what it has lost."""
    rest_j: float = 0.0
    """What has settled holds beside the tub's part."""
    passing: Passing | None = None
    waited: Waited | None = None
    moved_s: int = 0
    """Since when water has moved like that, whatever has heated it."""
    asked: bool = False
    """Whether somebody has asked before it was settled: then it is followed piece by piece."""
    sent_c: tuple[float, float] = (0.0, 0.0)
    """The coldest and the warmest that the tub was at the ends of such pieces, while tub water passed."""

    def begin(self, way: Way | None, now: int, tub_c: float) -> None:
        """From now on its water moves like that, or is heated otherwise."""
        if way is not self.way:
            self.moved_s = now
        self.way, self.began_s, self.began_c, self.due_s = way, now, tub_c, now
        if way is not None:
            self.due_s += way.after_s
        self.is_settled, self.asked, self.waited = False, False, None
        self.sent_c = tub_c, tub_c

    @property
    def is_followed(self) -> bool:
        """Whether some of its water is."""
        return self.way is not None and not (self.is_settled and self.way.is_fast)

    @property
    def is_slow(self) -> bool:
        """Whether its water does not settle, or has passed once and is followed on since it moved the tub."""
        way = self.way
        return way is not None and (
            not way.is_fast or (self.asked and self.due_s > self.began_s + way.after_s)
        )

    def falls(self, tub_c: float) -> bool:
        """Whether, where it is followed piece by piece, it is to be so once as long again."""
        assert self.way is not None
        once = self.due_s == self.began_s + self.way.after_s
        if once and abs(tub_c - self.began_c) > FELL_K:
            self.goes_on(tub_c)
            return True
        return False

    def warmed_k_s(self, now: int, tub_c: float) -> float:
        """How fast the tub has warmed while the water that is in it now passed."""
        assert self.way is not None
        return (tub_c - self.began_c) / (now - self.due_s + self.way.after_s)

    def goes_on(self, tub_c: float) -> None:
        """It is followed until the tub's water of now has passed, too."""
        assert self.way is not None
        self.due_s += self.way.after_s
        self.began_c, self.sent_c = tub_c, (tub_c, tub_c)

    def has_settled_late(self, now: int, tub_c: float, tub_j_k: float) -> bool:
        """Whether the oldest of settled water left a tub of *tub_j_k* [J/K] before that moved by much."""
        way, waited = self.way, self.waited
        if way is None or waited is None or now - self.began_s >= 2 * way.after_s:
            return False
        passing = waited.passing
        sent_c = passing.tub_c(min(now - self.began_s - way.after_s, passing.lasted_s), tub_j_k)
        return abs(tub_c - sent_c) > FELL_K

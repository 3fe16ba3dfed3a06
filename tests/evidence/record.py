"""One check: what a source says beside what cyclesim says, and how far apart they may be.

A check is only declared here; its numbers are worked out when it is judged, so that a list of checks costs
nothing. Nothing heavy is imported: other lists of checks build on this module.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from importlib.metadata import version
from typing import Literal

Value = float | str | Callable[[], float]
"""A number, a number with its printed digits, or what works it out when asked."""

GROUPS = ("parts", "wholes", "weather", "standards", "practice", "bad-days", "engine")

READ, SECOND_HAND, MEMORY = "read", "seen second-hand", "from memory"
ARITHMETIC, PRACTICE, YARDSTICK = "arithmetic", "common practice, no source", "yardstick"


def computed(library: str) -> str:
    """The status of a number that a library works out while the check runs."""
    return f"computed with {library} {version(library)}"


@dataclass(frozen=True, slots=True)
class Check:
    """A quantity on which somebody else's number and cyclesim's must agree.

    `tolerance` is in the unit, or a share of `says` if `relative`. `how`: "within" it; "at most" or
    "at least" what the source says, the tolerance being a slack. A status that begins with "yardstick" is
    shown and never fails. `conclusion` tells in a sentence, from its numbers, what it comes to.
    """

    id: str
    group: str
    quantity: str
    inputs: str
    says: Value
    ours: Value
    unit: str
    tolerance: float
    source: str
    status: str
    relative: bool = False
    how: Literal["within", "at most", "at least"] = "within"
    conclusion: Callable[[], str] | None = None
    slow: bool = False

    @property
    def difference(self) -> float:
        """Ours less what the source says."""
        return judge(self).difference

    @property
    def holds(self) -> bool:
        """Whether the difference is within the tolerance."""
        return judge(self).holds


def near(
    name: str,
    group: str,
    quantity: str,
    inputs: str,
    unit: str,
    says: Value,
    ours: Value,
    tolerance: float,
    source: str,
    status: str,
    *,
    relative: bool = True,
    how: Literal["within", "at most", "at least"] = "within",
    conclusion: Callable[[], str] | None = None,
    slow: bool = False,
) -> Check:
    """A check whose tolerance is a share of what the source says, unless told otherwise."""
    return Check(
        name,
        group,
        quantity,
        inputs,
        says,
        ours,
        unit,
        tolerance,
        source,
        status,
        relative,
        how,
        conclusion,
        slow,
    )


@dataclass(frozen=True, slots=True)
class Judged:
    """A check with its numbers."""

    check: Check
    says: float
    ours: float
    difference: float
    """cyclesim's less the source's; a share of the source's where the tolerance is one."""
    used: float
    """How much of the tolerance is used, 1 being all; 0 for a bound that is kept."""
    holds: bool
    conclusion: str

    @property
    def yardstick(self) -> bool:
        """Whether it is shown and not judged."""
        return self.check.status.startswith(YARDSTICK)


def number(value: Value) -> float:
    """The number behind a value."""
    return float(value() if callable(value) else value)


def judge(check: Check) -> Judged:
    """Work out both sides of a check and compare them."""
    theirs, ours = number(check.says), number(check.ours)
    scale = abs(theirs) if check.relative else 1.0
    apart = ours - theirs
    difference = apart / scale if scale else (0.0 if apart == 0.0 else math.inf)
    beyond = {"within": abs(difference), "at most": difference, "at least": -difference}[check.how]
    beyond = 0.0 if check.how != "within" and beyond < 0.0 else beyond
    used = beyond / check.tolerance if check.tolerance else (0.0 if beyond == 0.0 else math.inf)
    holds = used <= 1.0 or check.status.startswith(YARDSTICK)  # not a number is no agreement
    return Judged(
        check, theirs, ours, difference, used, holds, check.conclusion() if check.conclusion else ""
    )

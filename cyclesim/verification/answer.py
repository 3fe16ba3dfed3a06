"""What a verification says, as plain values."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal

from cyclesim.analysis.findings import Severity
from cyclesim.scenario.reading.edit import Edit

Replayed = Literal["by the engine", "in order, not in time", "order only"]
"""Whether the engine went the same way; or no times fit it; or the engine has no such fault."""
Barrier = Literal["controller", "own switch", "limit", "kept", "time", "nothing", "undecided", "not needed"]
"""What holds under a fault: an interlock of the controller, the device's own switch, an independent limit
that ends it, or nothing. "kept": it is not broken, and of this rule no barrier is told. "time": an order is
allowed that no timed run reproduced. "undecided": too many states. "not needed": nothing was asked for that
had to be held."""


@dataclass(frozen=True)
class Scene:
    """What is to be seen of a plant after one step of a story."""

    came: tuple[str, ...]
    """What came from outside the controller, and which of its times ended."""
    did: tuple[str, ...]
    """What pumps and devices did then."""
    on: dict[str, str]
    """Each pump, source and treatment device that is on: at which speed, or `on`."""
    moves: tuple[str, ...]
    """Elements through which water moves; of a device that stands still its own name is not among them."""
    turned: dict[str, str]
    """Valves that are not in their usual position."""
    people: bool
    """Whether somebody is in the water."""


@dataclass(frozen=True)
class Story:
    """How a rule comes to be broken, a sentence a step."""

    steps: tuple[str, ...]
    replayed: Replayed
    at_s: tuple[int, ...] = ()
    """When each step comes in the engine's run, in seconds from the first."""
    first_on: str = ""
    """When the calendar first asks for what is asked for at its end, ISO 8601; "" where nothing is."""
    scenes: tuple[Scene, ...] = ()
    """What is to be seen after each step."""


@dataclass(frozen=True)
class Mend:
    """A change that was tried, and whether the rule then holds."""

    said: str
    holds: bool
    states: int
    never_on: bool = False
    """Whether it only holds because its subject then never comes on, which is no mend."""
    breaks: tuple[str, ...] = ()
    """Of a mend that holds: what a week of January breaks with it and not without."""
    edits: tuple[Edit, ...] = ()
    """What it is in the text of the file; none where that is to be changed by hand."""
    worsens: tuple[str, ...] = ()
    """Likewise what it breaks without it, and with it for much longer or more often."""


def harmless_first(mends: Iterable[Mend]) -> tuple[Mend, ...]:
    """What breaks another rule or makes it worse comes last; the others as they come."""
    return tuple(sorted(mends, key=lambda mend: bool(mend.breaks or mend.worsens)))


@dataclass(frozen=True)
class Cell:
    """One rule under one fault, or two."""

    faults: tuple[str, ...]
    states: int
    """0 where the fault lies outside all that the rule can see."""
    barrier: Barrier
    why: str = ""
    story: Story | None = None
    mends: tuple[Mend, ...] = ()
    """What was tried against it, where one rule alone was asked for."""
    held_by_time: bool = False
    """As in the verdict."""
    undoes_barrier: bool = False
    """Whether a fault takes a barrier away: a means of proof, an own switch, a contactor that is to open."""


@dataclass(frozen=True)
class Verdict:
    """One rule, for one thing that it is about."""

    rule: str
    severity: Severity
    subject: str
    sentence: str
    source: str
    cone: tuple[str, ...]
    states: int
    broken: bool
    """Whether some order of events without a fault breaks it, as far as time allows."""
    why: str = ""
    story: Story | None = None
    only_in_another_order: bool = False
    """The calendar as it stands does not break it, another order of the same demands would."""
    held_by_time: bool = False
    """Orders of its timers break it, and none of them fits their lengths."""
    mends: tuple[Mend, ...] = ()
    cells: tuple[Cell, ...] = ()
    undecided: str = ""
    cut_short: bool = False
    """Whether it was found broken before all states were known: no mend was tried, and no fault."""

    @property
    def is_open(self) -> bool:
        """Whether it is not decided: too many states, or an order breaks it that no timed run reproduced."""
        untimely = self.story is not None and not self.broken
        return bool(self.undecided) or untimely or any(c.barrier in ("time", "undecided") for c in self.cells)

    @property
    def unheld(self) -> tuple[Cell, ...]:
        """The faults that nothing holds."""
        return tuple(cell for cell in self.cells if cell.barrier == "nothing")

    @property
    def rests_on_one(self) -> bool:
        """Whether it holds by a barrier, and the loss of that one alone breaks it."""
        return not self.broken and any(c.undoes_barrier and len(c.faults) == 1 for c in self.unheld)


@dataclass(frozen=True)
class Timed:
    """A fact of time: from the times that the file declares, and seen on the trace of a year."""

    what: str
    subject: str
    declared: float
    """Seconds, or starts in an hour; infinite where nothing limits them."""
    limit: float
    holds: bool
    """Whether what is declared keeps the limit."""
    held_in_year: bool
    said: str
    """Both, in a sentence."""


@dataclass(frozen=True)
class DeadEnd:
    """Something in which control comes to a stop, or which the calendar asks for in vain."""

    kind: str
    subject: str
    said: str


@dataclass(frozen=True)
class Verification:
    """Everything that a verification came to."""

    title: str
    faults: int
    any_order: bool
    verdicts: tuple[Verdict, ...]
    dead_ends: tuple[DeadEnd, ...] = ()
    timed: tuple[Timed, ...] = ()
    assumed: tuple[str, ...] = ()
    not_needed: tuple[tuple[str, str], ...] = field(default=())
    """(rule, why there is nothing to verify)."""
    mends_faults: bool = False
    """Whether mends were tried against each single fault that nothing holds."""

    @property
    def tried(self) -> list[tuple[Verdict, Mend]]:
        """Every mend that was tried, in the order in which they are told, with what it is for."""
        sound = [(verdict, mend) for verdict in self.verdicts for mend in verdict.mends]
        return sound + [(v, mend) for v in self.verdicts for cell in v.unheld for mend in cell.mends]

    @property
    def states(self) -> int:
        """States found in all searches together."""
        return sum(v.states + sum(c.states for c in v.cells) for v in self.verdicts)

    @property
    def is_broken(self) -> bool:
        """Whether a rule of danger or hygiene is broken, without a fault or by one that nothing holds."""
        return any(v.severity in ("danger", "hygiene") and (v.broken or any(v.unheld)) for v in self.verdicts)

    @property
    def is_open(self) -> bool:
        """Whether a rule of danger or hygiene is not decided."""
        return any(v.severity in ("danger", "hygiene") and v.is_open for v in self.verdicts)

"""What is wired and programmed: pumps, heat sources, demands and interlocks, as plain data."""

from __future__ import annotations

from dataclasses import dataclass

from cyclesim.control.machines import MachineTable


@dataclass(frozen=True, slots=True)
class Condition:
    """What an interlock reads of a pump or a source.

    A pump is at a speed, "running" (at any speed) or "stopped" (at none: changing counts); a source is
    "firing". `negated` turns it round, for an interlock written with `unless`.
    """

    subject: str
    state: str
    negated: bool = False

    def holds(self, speed: str) -> bool:
        """Whether it is true while its subject is at a speed, or firing; "stopped" stands for neither."""
        at_any = self.state == "running" and speed != "stopped"
        return (at_any or speed == self.state) != self.negated

    def __str__(self) -> str:
        return f"{'unless' if self.negated else 'while'} {self.subject} {self.state}"


@dataclass(frozen=True, slots=True)
class PumpControl:
    """A pump, its speeds (slowest first) and the table of its machine."""

    name: str
    speeds: tuple[str, ...]
    table: MachineTable
    locked: bool = False
    """Whether the contactors of its speeds lock each other."""


@dataclass(frozen=True, slots=True)
class SourceControl:
    """A heat source or a treatment device and the table of its machine; `active` is the state it is on in."""

    name: str
    table: MachineTable
    active: str = "firing"
    own_switch: bool = False
    """Whether a flow switch of its own keeps it off, whoever starts it."""


@dataclass(frozen=True, slots=True)
class StarterContact:
    """A contact beside the controller's: while it is closed its target is on, at `speed` if it is a pump."""

    name: str
    target: str
    speed: str | None


@dataclass(frozen=True, slots=True)
class Demand:
    """One thing asked for; rank 0 stands highest.

    `calls` names the heat sources and treatment devices that it wants on; with an empty `pump` it asks for
    nothing else. `beside` are other pumps, each at its speed, that one entry of the schedule runs with it.
    """

    name: str
    kind: str
    rank: int
    pump: str
    speed: str
    calls: tuple[str, ...] = ()
    circulators: tuple[str, ...] = ()
    """Those of heat sources' own water, that it wants on beside its pump."""
    beside: tuple[tuple[str, str], ...] = ()


FLUSHES = ("line flush", "air line flush")
"""The kinds of demands that blow out what stood in the lines."""


@dataclass(frozen=True, slots=True)
class BlockInterlock:
    """An interlock that keeps a source from firing, or a pump from one speed, while its condition is true."""

    target: str
    speed: str | None
    condition: Condition
    because: str = ""


@dataclass(frozen=True, slots=True)
class KeepInterlock:
    """An interlock that keeps a pump at least at a speed while a source fires or runs on."""

    pump: str
    speed: str
    after: str

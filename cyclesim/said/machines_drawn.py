"""A state machine laid out in a row: its states, and numbered ways above (onwards) and below (back)."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from cyclesim.control.diagram import ways_out
from cyclesim.control.machines import Machine

_GAP, _SLOT, _LEVEL, _LETTER, _BOX = 56, 22, 24, 8, 32


class StateBox(NamedTuple):
    """A state: its name and place; double for the first."""

    name: str
    x: int
    wide: int
    first: bool


class Arrow(NamedTuple):
    """One way: its number in the table, and its corners from one state's edge to another's."""

    number: int
    corners: tuple[tuple[int, int], ...]

    @property
    def label(self) -> tuple[int, int]:
        """Where its number stands: the middle of its level stretch."""
        (ax, y), (bx, _) = self.corners[1:3]
        return (ax + bx) // 2, y


@dataclass(frozen=True, slots=True)
class DrawnMachine:
    """A machine as it is drawn; y counts down from the top of the states' row."""

    name: str
    width: int
    top: int
    bottom: int
    high: int
    """Of a state."""
    states: tuple[StateBox, ...]
    ways: tuple[Arrow, ...]


class _Arc(NamedTuple):
    number: int
    source: int
    dest: int

    @property
    def ends(self) -> tuple[int, int]:
        return min(self.source, self.dest), max(self.source, self.dest)

    @property
    def span(self) -> int:
        return abs(self.dest - self.source)


def drawn_machine(machine: Machine) -> DrawnMachine:
    """The layout of one machine; ways are numbered as `ways_out` tells them, from 1."""
    at = {name: k for k, name in enumerate(machine.states)}
    arcs = [_Arc(n, at[a], at[b]) for n, (a, b, _) in enumerate(ways_out(machine), 1) if a != b]
    sides = {
        onwards: [arc for arc in arcs if (arc.dest > arc.source) == onwards] for onwards in (True, False)
    }
    slots = {
        (onwards, k): _slots(side, k) for onwards, side in sides.items() for k in range(len(machine.states))
    }
    boxes, x = list[StateBox](), 0
    for k, name in enumerate(machine.states):
        most = max(len(slots[onwards, k]) for onwards in sides)
        wide = max(_LETTER * len(name) + 24, _SLOT * (most + 1))
        boxes.append(StateBox(name, x, wide, name == machine.initial))
        x += wide + _GAP
    ways, reach = list[Arrow](), {True: 0, False: 0}
    for onwards, side in sides.items():
        edge = 0 if onwards else _BOX
        for arc, level in _levelled(side):
            reach[onwards] = max(reach[onwards], level)
            y = edge - _LEVEL * level if onwards else edge + _LEVEL * level
            a, b = (
                _port(boxes[k], slots[onwards, k].index(arc), len(slots[onwards, k]))
                for k in (arc.source, arc.dest)
            )
            ways.append(Arrow(arc.number, ((a, edge), (a, y), (b, y), (b, edge))))
    top, bottom = -_LEVEL * reach[True] - 12, _BOX + _LEVEL * reach[False] + 12
    return DrawnMachine(machine.name, x - _GAP, top, bottom, _BOX, tuple(boxes), tuple(ways))


def _slots(side: Sequence[_Arc], state: int) -> list[_Arc]:
    """The ways that touch a state at one edge, so ordered that none crosses another there."""
    left = [arc for arc in side if state in arc.ends and arc.ends[1] == state]
    right = [arc for arc in side if state in arc.ends and arc.ends[0] == state]
    return [*sorted(left, key=lambda arc: arc.span), *sorted(right, key=lambda arc: -arc.span)]


def _port(box: StateBox, slot: int, of: int) -> int:
    return box.x + round(box.wide * (slot + 1) / (of + 1))


def _levelled(side: Iterable[_Arc]) -> list[tuple[_Arc, int]]:
    """Short ways close to the states, longer ones over those that they span."""
    placed = list[tuple[_Arc, int]]()
    for arc in sorted(side, key=lambda arc: (arc.span, arc.ends)):
        low, high = arc.ends
        below = [level for other, level in placed if other.ends[0] < high and low < other.ends[1]]
        placed.append((arc, 1 + max(below, default=0)))
    return placed

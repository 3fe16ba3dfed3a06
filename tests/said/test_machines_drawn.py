"""State machines as they are drawn: every way from its state to the next, none on another."""

from __future__ import annotations

from itertools import combinations, product

import pytest

from cyclesim.control.diagram import ways_out
from cyclesim.control.machines import Machine, pump_machine, source_machine
from cyclesim.said.machines_drawn import drawn_machine

MACHINES = [
    pump_machine("one", ("on",)),
    pump_machine("two", ("low", "high")),
    *(source_machine("heat", *flags) for flags in product((False, True), repeat=4)),
    source_machine("cell", True, True, active="on"),
]


@pytest.mark.parametrize("machine", MACHINES, ids=lambda machine: f"{machine.name} {len(machine.states)}")
def test_every_way_leads_from_its_state_to_the_next_and_lies_on_no_other(machine: Machine) -> None:
    """Ends at the edges of the two states, each at a place of its own; numbers apart; no stretch shared."""
    drawn = drawn_machine(machine)
    boxes = {box.name: box for box in drawn.states}
    assert [machine.initial] == [box.name for box in drawn.states if box.first]
    told = {n: (source, dest) for n, (source, dest, _) in enumerate(ways_out(machine), 1)}
    assert sorted(told) == sorted(way.number for way in drawn.ways)
    ports, stretches = set[tuple[int, int]](), list[tuple[int, int, int]]()
    for way in drawn.ways:
        for name, (x, y) in zip(told[way.number], (way.corners[0], way.corners[-1]), strict=True):
            assert boxes[name].x < x < boxes[name].x + boxes[name].wide
            assert y in (0, drawn.high)
            assert (x, y) not in ports
            ports.add((x, y))
        (ax, level), (bx, _) = way.corners[1:3]
        assert drawn.top <= level <= drawn.bottom
        assert not 0 <= level <= drawn.high
        stretches.append((level, min(ax, bx), max(ax, bx)))
    for (y, a, b), (other, c, d) in combinations(stretches, 2):
        assert y != other or b < c or d < a
    for one, other in combinations([way.label for way in drawn.ways], 2):
        assert abs(one[0] - other[0]) > 18 or abs(one[1] - other[1]) > 18
    for box, following in zip(drawn.states, drawn.states[1:], strict=False):
        assert box.x + box.wide < following.x
        assert box.wide >= 8 * len(box.name)

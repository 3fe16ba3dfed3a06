"""What a search says of barriers, and two searches of one verdict told as one."""

from __future__ import annotations

from dataclasses import replace

from cyclesim.verification.answer import Barrier, Cell, Verdict, harmless_first
from cyclesim.verification.search import Explored
from cyclesim.verification.subjects import Check


def still_works(explored: Explored, subject: str) -> bool:
    """A mend that keeps a device off for good is none."""
    devices = explored.automaton.flows.devices
    if subject not in devices[: len(explored.automaton.controller.sources)]:
        return True
    k = devices.index(subject)
    flows = explored.automaton.flows
    return any(flows.effect(node.state, node.env, node.feedback).on[k] for node in explored.came_from)


def barrier(explored: Explored, check: Check) -> Barrier:
    """What holds in the states of a search where something was asked for that had to be held.

    Where the own switch alone keeps a device off in a state that lasts, the rule rests on it, whatever the
    controller does in others. For the second until the controller's next pass it only comes first. A trip is
    named where nothing else holds: what trips has been on, and what a limit ends is a cell of its own.
    """
    if not check.about.watched:
        return "kept"
    automaton, barriers = explored.automaton, set[str]()
    for node in explored.came_from:
        by = automaton.kept_off_by(node, check.about.watched[0])
        barriers.add("controller" if by == "own switch" and automaton.is_due(node) else by)
        if by == "own switch" and by in barriers:
            break
    order: tuple[Barrier, ...] = ("own switch", "controller", "limit")
    return next((barrier for barrier in order if barrier in barriers), "not needed")


_WORST_LAST: tuple[Barrier, ...] = (
    "not needed", "kept", "controller", "own switch", "limit", "undecided", "time", "nothing",
)  # fmt: skip


def worse_cell(earlier: Cell, later: Cell) -> Cell:
    """Two searches of a rule under the same faults, as one: what holds in the worse of them."""
    worst = max(earlier, later, key=lambda cell: _WORST_LAST.index(cell.barrier))
    return replace(worst, states=earlier.states + later.states)


def worse(earlier: Verdict, later: Verdict) -> Verdict:
    """Two searches of one verdict, as one: broken before not decided, that before what was not broken."""

    def grade(verdict: Verdict) -> tuple[bool, bool]:
        return verdict.broken, bool(verdict.undecided or verdict.story)

    first, other = (earlier, later) if grade(earlier) >= grade(later) else (later, earlier)
    cells = [worse_cell(a, b) for a, b in zip(first.cells, other.cells, strict=False)]
    cone = tuple(dict.fromkeys((*first.cone, *other.cone)))
    mends = {mend.said: mend for mend in (*first.mends, *other.mends)}  # each was judged for all sets
    return replace(
        first,
        cone=cone,
        states=earlier.states + later.states,
        cells=tuple(cells) or first.cells,
        mends=harmless_first(mends.values()),
    )

"""What a search says of barriers, and two searches of one verdict told as one."""

from __future__ import annotations

from dataclasses import replace

from cyclesim.verification.answer import Barrier, Verdict
from cyclesim.verification.search import Found
from cyclesim.verification.subjects import Check


def still_works(found: Found, subject: str) -> bool:
    """A mend that keeps a device off for good is none."""
    devices = found.automaton.flows.devices
    if subject not in devices[: len(found.automaton.controller.sources)]:
        return True
    k = devices.index(subject)
    flows = found.automaton.flows
    return any(flows.effect(node.state, node.env, node.told).on[k] for node in found.seen)


def barrier(found: Found, check: Check) -> Barrier:
    """What holds in the states of a search where something was asked for that had to be held.

    Where the own switch alone keeps a device off in a state that lasts, the rule rests on it, whatever the
    controller does in others. For the second until the controller's next pass it only comes first. A trip is
    named where nothing else holds: what trips has been on, and what a limit ends is a cell of its own.
    """
    if not check.about.watched:
        return "controller"
    automaton, held = found.automaton, set[str]()
    for node in found.seen:
        by = automaton.held(node, check.about.watched[0])
        held.add("controller" if by == "own switch" and automaton.is_due(node) else by)
        if by == "own switch" and by in held:
            break
    order: tuple[Barrier, ...] = ("own switch", "controller", "limit")
    return next((barrier for barrier in order if barrier in held), "not needed")


def worse(one: Verdict, two: Verdict) -> Verdict:
    """Two searches of one verdict, as one."""
    first, other = (one, two) if one.broken or (one.story and not two.broken) else (two, one)
    cells = []
    for a, b in zip(first.cells, other.cells, strict=False):
        worse = b if b.barrier == "nothing" and a.barrier != "nothing" else a
        cells.append(replace(worse, states=a.states + b.states))
    cone = tuple(dict.fromkeys((*first.cone, *other.cone)))
    return replace(first, cone=cone, states=one.states + two.states, cells=tuple(cells) or first.cells)

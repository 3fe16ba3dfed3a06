"""Breadth first through an automaton: every reachable state, the shortest way to one that breaks a rule."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

from cyclesim.errors import CycleSimError
from cyclesim.verification.automaton import Automaton, Made, Move, Node

Judge = Callable[[Node], str]
"""Why a state breaks a rule; "" if it does not."""
Progress = Callable[[int, int], None]
"""Told of the states found so far and of those whose successors are not known yet."""
MOST_STATES = 400_000
_TELL_EVERY = 200


class TooManyStatesError(CycleSimError):
    """More states than are worth waiting for: a rule that none of them breaks is not decided."""

    def __init__(self, message: str, explored: Explored) -> None:
        super().__init__(message)
        self.explored = explored
        """What was found until then."""


@dataclass(eq=False)
class Explored:
    """What a search came to: its states in the order of finding, each with where it came from."""

    automaton: Automaton
    came_from: dict[Node, tuple[Node | None, Move | None]]
    layers: list[list[Node]]
    """The states by how many moves they are away."""
    broken: dict[str, list[tuple[Node, str]]] = field(default_factory=dict)
    """Per rule, the first states that break it, the nearest first, and why."""
    before: Explored | None = None
    """The search without the latest fault, from whose states this one began."""

    @property
    def states(self) -> int:
        """How many states were found."""
        return len(self.came_from)

    def path(self, node: Node) -> list[tuple[Automaton, Move | None, Node]]:
        """From a start to a state."""
        steps: list[tuple[Automaton, Move | None, Node]] = []
        explored: Explored | None = self
        reached: Node | None = node
        while explored is not None and reached is not None:
            before, move = explored.came_from[reached]
            steps.append((explored.automaton, move, reached))
            if move is not None and move.event[0] in ("fault", "restarts"):
                explored = explored.before
            reached = before
        return steps[::-1]


def search(
    automaton: Automaton,
    judges: Mapping[str, Judge],
    on_progress: Progress | None = None,
    *,
    after: Explored | None = None,
    until_broken: int = 0,
) -> Explored:
    """Explore until all states are known, or until *until_broken* states break each rule.

    With *after*, a fault comes to any of its states.
    """
    explored = Explored(automaton, {}, [], before=after)
    # a restart leaves nothing changed behind it: what was known before need not be followed again
    known = after.came_from if after is not None and automaton.same_as(after.automaton) else {}
    came_from, open_rules, made = explored.came_from, dict(judges), Made()

    def look(node: Node) -> None:
        for rule, judge in list(open_rules.items()):
            if why := judge(node):
                states = explored.broken.setdefault(rule, [])
                states.append((node, why))
                if len(states) >= max(1, until_broken):
                    del open_rules[rule]

    def begins(depth: int) -> Iterable[tuple[Node | None, Move | None, Node]]:
        if after is None:
            yield from ((None, None, node) for node in automaton.starts()) if not depth else ()
        elif depth < len(after.layers):
            for node in after.layers[depth]:
                move, broken = automaton.onset(node, after.automaton)
                yield node, move, broken

    frontier: list[Node] = []
    depth = done = 0
    while frontier or depth == 0 or (after is not None and depth < len(after.layers)):
        layer: list[Node] = []
        for before, move, node in begins(depth):
            if node not in came_from and node not in known:
                came_from[node] = (before, move)
                layer.append(node)
                look(node)
        for place, node in enumerate(frontier):
            for move, next_ in automaton.moves(node, made):
                if next_ not in came_from and not (known and next_ in known):
                    came_from[next_] = (node, move)
                    layer.append(next_)
                    look(next_)
            done += 1
            if on_progress is not None and done % _TELL_EVERY == 0:
                on_progress(len(came_from), len(frontier) - place - 1 + len(layer))
            if len(came_from) > MOST_STATES:
                raise TooManyStatesError(
                    f"more than {MOST_STATES} states; every order was looked at {depth - 1} moves deep, "
                    "and whether a longer one breaks it is not known",
                    explored,
                )
            if until_broken and not open_rules:
                explored.layers.append(layer)
                return explored
        explored.layers.append(layer)
        if until_broken and not open_rules:
            return explored
        frontier, depth = layer, depth + 1
    return explored

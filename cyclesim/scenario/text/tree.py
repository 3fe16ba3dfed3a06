"""What a file says as plain values, with the place of every key and value."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, TypeVar

from cyclesim.errors import Fault, shorten
from cyclesim.scenario.forms.forms import Steps

_Kept = TypeVar("_Kept")
KEY = "#key"
"""Last step of the path under which a key's own place is kept."""


@dataclass(frozen=True)
class Mark:
    """Where a key or value stands, and a scalar's text as written."""

    file: str
    line: int
    column: int
    text: str | None = None


@dataclass
class Tree:
    """What a file says: plain values, their places, and what is wrong with it as YAML."""

    value: Any = None
    marks: dict[Steps, Mark] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)
    gone: set[Steps] = field(default_factory=set)
    """Paths whose value is faulty in itself, so that no more is said about them."""

    def mark(self, path: Steps) -> Mark:
        """The place of this path, or of the nearest part above it."""
        while path not in self.marks and path:
            path = path[:-1]
        return self.marks.get(path, Mark("", 0, 0))

    def get(self, path: Steps, **otherwise: Any) -> Any:
        """The plain value at this path; the keyword `default`, or KeyError, where there is none."""
        value = self.value
        for step in path:
            listed = isinstance(value, list) and isinstance(step, int) and step < len(value)
            if not listed and not (isinstance(value, dict) and step in value):
                if "default" in otherwise:
                    return otherwise["default"]
                raise KeyError(step)
            value = value[step]
        return value

    def fault(
        self, path: Steps, found: str, allowed: str, hint: str = "", *, at: Mark | None = None
    ) -> Fault:
        """A fault at this path's place."""
        mark = at or self.mark(path)
        return Fault(mark.file, mark.line, mark.column, dotted(path), found, allowed, hint)

    def is_faulty_already(self, fault: Fault) -> bool:
        """Whether this fault is about a value that is faulty in itself."""
        return any(f"{fault.path}.".startswith(f"{dotted(path)}.") for path in self.gone)

    def match(self, pattern: str) -> Iterator[tuple[Steps, Any]]:
        """Every value where the pattern leads, with its path; * stands for each name or entry."""
        yield from _match(self.value, pattern.split("."), ())

    def texts(self, patterns: Iterable[str]) -> Iterator[tuple[Steps, str]]:
        """Every text where these patterns lead."""
        for pattern in patterns:
            for path, value in self.match(pattern):
                if isinstance(value, str):
                    yield path, value

    def remove(self, path: Steps) -> None:
        """Take a key or an entry out; the entries of a list after it move up, with their places."""
        *above, step = path
        parent = self.get(tuple(above))
        del parent[step]
        moves = isinstance(parent, list)
        self.marks = dict(_without(self.marks, path, moves))
        self.gone = {steps for steps, _ in _without(dict.fromkeys(self.gone), path, moves)}

    def graft(self, path: Steps, other: "Tree") -> None:
        """Put another tree where this path stands; the key keeps its place."""
        parent = self.value
        for step in path[:-1]:
            parent = parent[step]
        parent[path[-1]] = other.value
        for old in [p for p in self.marks if p[: len(path)] == path and p != (*path, KEY)]:
            del self.marks[old]
        self.marks |= {(*path, *steps): mark for steps, mark in other.marks.items()}
        self.faults += other.faults
        if other.value is None and other.faults:
            other.gone.add(())
        self.gone = {p for p in self.gone if p[: len(path)] != path} | {(*path, *p) for p in other.gone}


def _without(by_path: Mapping[Steps, _Kept], path: Steps, moves: bool) -> Iterator[tuple[Steps, _Kept]]:
    """What is kept by path, without this one; where it *moves*, steps of the same list count one less."""
    *above, gone = path
    depth = len(above)
    for steps, kept in by_path.items():
        step = steps[depth] if len(steps) > depth and steps[:depth] == path[:depth] else None
        if moves and isinstance(step, int) and isinstance(gone, int) and step > gone:
            yield (*above, step - 1, *steps[depth + 1 :]), kept
        elif step is None or step != gone:
            yield steps, kept


def _match(value: Any, steps: list[str], path: Steps) -> Iterator[tuple[Steps, Any]]:
    if not steps:
        yield path, value
        return
    entries: Iterable[tuple[Any, Any]] = ()
    if isinstance(value, dict):
        entries = value.items()
    elif isinstance(value, list):
        entries = enumerate(value)
    for key, inner in entries:
        if steps[0] in ("*", key):
            yield from _match(inner, steps[1:], (*path, key))


def dotted(path: Steps) -> str:
    """A path as people write it: plant.legs.left."""
    return ".".join(shorten(str(step)) for step in path if step != KEY)

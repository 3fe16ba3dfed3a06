"""The states of one element over time, in compact columns."""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Iterator, Sequence
from typing import Generic, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

Span = tuple[int, int]
"""Start and end [s]."""
State = TypeVar("State")


class Interval(NamedTuple, Generic[State]):
    """One stay in one state."""

    start_s: int
    end_s: int
    state: State


class Stream(Generic[State]):
    """The states of one element over time: intervals that tile the span."""

    def __init__(self, name: str, first: State) -> None:
        self.name = name
        self.starts: array[int] = array("q", (0,))
        self.codes: array[int] = array("l", (0,))
        self.labels: list[State] = [first]
        self._code_of = {first: 0}
        self.end_s = 0

    def put(self, at_s: int, state: State) -> None:
        """From *at_s* on the element is in *state*; a second state in one instant replaces the first."""
        code = self._code(state)
        if self.starts[-1] == at_s:
            self.codes[-1] = code
            if len(self.codes) > 1 and self.codes[-2] == code:
                del self.starts[-1], self.codes[-1]
        elif self.codes[-1] != code:
            self.starts.append(at_s)
            self.codes.append(code)

    def put_all(self, at_s: NDArray[np.int64], which: NDArray[np.int64], states: Sequence[State]) -> None:
        """As `put` at each of these seconds, which rise, the one of *states* that is numbered beside it."""
        self.put(int(at_s[0]), states[int(which[0])])
        codes = np.array([self._code(state) for state in states])[which]
        changes = 1 + np.flatnonzero(codes[1:] != codes[:-1])
        self.starts.extend(at_s[changes].tolist())
        self.codes.extend(codes[changes].tolist())

    def _code(self, state: State) -> int:
        code = self._code_of.get(state)
        if code is None:
            code = self._code_of[state] = len(self.labels)
            self.labels.append(state)
        return code

    @property
    def now(self) -> State:
        """The state it is in at the end of what is known."""
        return self.labels[self.codes[-1]]

    def restart(self, at_s: int) -> None:
        """Forget everything before *at_s* but the present state."""
        self.starts, self.codes = array("q", (at_s,)), array("l", (self.codes[-1],))

    def __iter__(self) -> Iterator[Interval[State]]:
        ends = [*self.starts[1:], self.end_s]
        for start, end, code in zip(self.starts, ends, self.codes, strict=True):
            yield Interval(start, end, self.labels[code])

    def spans(self, *states: State) -> list[Span]:
        """Spans spent in any of *states*, touching intervals joined."""
        return joined((x.start_s, x.end_s) for x in self if x.state in states)

    def seconds(self, *states: State) -> int:
        """Time spent in any of *states* [s]."""
        return sum(end - start for start, end in self.spans(*states))


def joined(spans: Iterable[Span]) -> list[Span]:
    """Ordered *spans* with those that touch or overlap made one."""
    out: list[Span] = []
    for start, end in spans:
        if out and start <= out[-1][1]:
            out[-1] = (out[-1][0], max(end, out[-1][1]))
        else:
            out.append((start, end))
    return out

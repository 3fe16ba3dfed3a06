"""What was when: one state over time."""

from bisect import bisect_right
from dataclasses import dataclass, field

import numpy as np


@dataclass
class Lane:
    """A state over time."""

    starts: list[int] = field(default_factory=list)
    states: list[str] = field(default_factory=list)

    def put(self, at_s: int, state: str) -> None:
        """From now on it is so."""
        if self.states and self.states[-1] == state:
            return
        if self.starts and self.starts[-1] == at_s:
            self.states[-1] = state
        else:
            self.starts.append(at_s)
            self.states.append(state)

    def at(self, at_s: int) -> str:
        """What it was then."""
        return self.states[bisect_right(self.starts, at_s) - 1]

    def seconds(self, begin_s: int, end_s: int) -> np.ndarray:
        """The state of every second, by number of `names`."""
        edges = np.clip([*self.starts, end_s], begin_s, end_s)
        codes = [self.names.index(s) for s in self.states]
        return np.repeat(np.array(codes, dtype=np.int8), np.diff(edges))

    @property
    def names(self) -> list[str]:
        """Every state that it was in."""
        return sorted(set(self.states))

    def is_(self, begin_s: int, end_s: int, *states: str) -> np.ndarray:
        """Whether it is in one of the states, second by second."""
        wanted = [i for i, n in enumerate(self.names) if n in states]
        return np.isin(self.seconds(begin_s, end_s), wanted)

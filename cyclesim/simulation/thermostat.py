"""Which heat sources are called: one set point, a band below it, and sources that join one after another."""

from __future__ import annotations

from collections.abc import Sequence

from cyclesim.scenario.blocks.heating import Heating

_ROUNDING_K = 1e-6


class Thermostat:
    """Calls the first source `within` below the set point, each further one `next_below` lower.

    All are called until the set point is reached. Sources that cannot fire at all are passed over.
    """

    def __init__(self, heating: Heating) -> None:
        self._heating = heating
        self.keep_at_c = heating.keep_at_c
        self.usable: Sequence[str] = heating.sources
        self._called = 0

    @property
    def state(self) -> tuple[object, ...]:
        """What its calls and what it watches follow from."""
        return self.keep_at_c, self._called, *self.usable

    @property
    def calls(self) -> Sequence[str]:
        """The sources that are called."""
        return self.usable[: self._called]

    def look(self, water_c: float) -> None:
        """Decide on the water's temperature now."""
        if water_c >= self.keep_at_c - _ROUNDING_K:
            self._called = 0
            return
        self._called = min(self._called, len(self.usable))
        while self._called < len(self.usable) and water_c <= self._joins_at_c() + _ROUNDING_K:
            self._called += 1

    def _joins_at_c(self) -> float:
        """Where the next source joins."""
        return self.keep_at_c - self._heating.within_k - self._called * self._heating.next_below_k

    def watched(self) -> list[tuple[float, bool]]:
        """Levels at which to look again: (temperature, from below)."""
        levels = [(self.keep_at_c, True)] if self._called else []
        if self._called < len(self.usable):
            levels.append((self._joins_at_c(), False))
        return levels

"""What watches water (frost protection, a thermostat of a device's own): the tub's, a leg's, a housing's."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from cyclesim.physics.tub_heat import TubHeat, Watched
from cyclesim.scenario.blocks.wiring import Watch
from cyclesim.simulation.board import Board

TUB = "water"
_AGAIN_S = 60  # how often water that moves is looked at again while the pump runs for it
_WITHIN_S = 1.0


class FrostWatch:
    """Raises and lowers the demand as the watched water passes its two levels.

    Standing water is looked at every hour and where it crosses within the hour. A sensor on a leg or housing
    reads the mean of what is in it, standing or moving.
    """

    def __init__(
        self,
        frost: Watch,
        heat: TubHeat,
        body: int | None,
        board: Board,
        end_s: int,
        raise_demand: Callable[[bool], None],
    ) -> None:
        self._frost, self._heat, self._body, self._board = frost, heat, body, board
        self._end_s, self._raise, self._raised = end_s, raise_demand, False
        if body is not None:
            board.at(board.now, lambda: board.process(self._watch(body)))

    def watched(self) -> list[Watched]:
        """The tub's level at which to look again, where the tub is watched."""
        if self._body is not None:
            return []
        frost = self._frost
        return [(frost.stops_at_c, True, None) if self._raised else (frost.starts_at_c, False, None)]

    def look(self, water_c: float) -> None:
        """Decide on the watched water's temperature now."""
        if self._raised and water_c >= self._frost.stops_at_c - 1e-6:
            self._raised = False
        elif not self._raised and water_c <= self._frost.starts_at_c + 1e-6:
            self._raised = True
        self._raise(self._raised)

    def look_at_tub(self) -> None:
        """As `look`, where the tub is watched."""
        if self._body is None:
            self.look(self._heat.water_c)

    def _watch(self, body: int) -> Iterator[int]:
        while self._board.now < self._end_s:
            now = self._board.now
            self.look(self._heat.body_c(body, now))
            at = now + _AGAIN_S if self._raised else self._crossing(body, now, now + 3600)
            if at >= self._end_s:
                return
            yield at

    def _crossing(self, body: int, now: int, until: int) -> int:
        """The first second at which standing water is too cold, if that is before *until*."""
        level = self._frost.starts_at_c
        if self._heat.body_c(body, until) > level:
            return until
        early, late = float(now), float(until)
        while late - early > _WITHIN_S:
            middle = 0.5 * (early + late)
            early, late = (middle, late) if self._heat.body_c(body, middle) > level else (early, middle)
        return max(now + 1, int(late) + 1)

"""One pass of the controller with all that follows in its second; worked out once for the same before it.

Nothing here takes time: timers, water and heat are told by the run.
"""

from __future__ import annotations

from typing import NamedTuple

from cyclesim.control.machines import PROOFS
from cyclesim.control.one_pass import PROVING
from cyclesim.control.step import NOBODY, ControlLogic, State
from cyclesim.simulation.effects import Effect, Effects
from cyclesim.simulation.wired import Settled, Surroundings, Wiring


class Passed(NamedTuple):
    """What a pass has come to, and what was so after it."""

    state: State
    effect: Effect
    facts: int
    deciding: tuple[int, ...]
    reasons: tuple[str, ...]
    """Who decides each pump, and why each called source does not fire."""
    entered: tuple[tuple[int, int], ...]
    """The machines that have come to another state, each with that state."""
    settled: Settled | None
    """What followed; None where nothing has moved, neither the machines nor what is around them."""
    again: bool
    """Whether a pass a second later would still change something."""


class Passes:
    """Every pass of a run; they are kept for as long as it lasts."""

    def __init__(
        self, controller: ControlLogic, wiring: Wiring, effects: Effects, around: Surroundings
    ) -> None:
        self._controller, self._wiring, self._effects = controller, wiring, effects
        self._up = [controller.bit(f"{machine.name}.time_up") for machine in controller.machines]
        self._around, self._known = around, dict[tuple[int, int, int], Passed]()
        self._of_around = {around: self._known}
        """What is known of passes in each surroundings, which seldom change."""
        state = controller.initial
        rest = wiring.effect(state, 0, *around)
        nobody, no_reasons = (NOBODY,) * len(controller.pumps), ("",) * len(controller.sources)
        effect, facts = effects.of(state, rest), sum(self._up) | rest.water.sensed
        self.at_rest = Passed(state, effect, facts, nobody, no_reasons, (), None, False)
        """As if before the first; what says yes to still water says so from the start."""

    def after(self, was: Passed, facts: int, around: Surroundings, risen: int) -> Passed:
        """The pass after another, with these *facts* now; *risen* as in `Settled`."""
        effect_id = 0 if was is self.at_rest else id(was.effect)
        if around is not self._around:
            self._around, self._known = around, self._of_around.setdefault(around, {})
        key = effect_id, facts, risen
        passed = self._known.get(key)
        if passed is None:
            passed = self._known[key] = self._work_out(was, facts, around, risen)
        return passed

    def _work_out(self, was: Passed, facts: int, around: Surroundings, risen: int) -> Passed:
        outcome, wiring = self._controller.step(was.state, facts), self._wiring
        state, what = outcome.state, was.effect.what
        same = not outcome.moved and wiring.effect(state, facts, *around) is what
        if same and was is not self.at_rest:  # all follows the first, even if it moves nothing
            return Passed(state, was.effect, facts, outcome.deciding, outcome.reasons, (), None, False)
        pairs = enumerate(zip(was.state, state, strict=True))
        entered = tuple((i, new) for i, (old, new) in pairs if old != new)
        for i, new in entered:
            lasts = self._controller.dwell_rows[i][new]
            facts = facts & ~self._up[i] if lasts else facts | self._up[i]
        settled = wiring.settled(what, state, facts, around.positions, risen, around.welded, around.unfed)
        follows = self._controller.step(state, settled.facts)  # a valve, too, changes what is sensed
        effect = self._effects.of(state, settled.effect)
        reasons = self._reasons(state, follows.reasons)
        return Passed(
            state, effect, settled.facts, outcome.deciding, reasons, entered, settled, follows.moved
        )

    def _reasons(self, state: State, follows: tuple[str, ...]) -> tuple[str, ...]:
        """Why sources do not fire, as the pass that follows says; but flow is proven while they prove it.

        Else the second before a proof would count as well, for which nothing keeps them off.
        """
        sources = zip(self._controller.sources, state[len(self._controller.pumps) :], follows, strict=True)
        return tuple(
            PROVING if source.table.states[now] in PROOFS else "" if why == PROVING else why
            for source, now, why in sources
        )

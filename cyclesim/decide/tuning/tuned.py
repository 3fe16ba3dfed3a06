"""A plant with the programme that was found for it in place of its file's own."""

from __future__ import annotations

from datetime import date

from cyclesim.decide.sweeps.sweep import HERE, How
from cyclesim.decide.tuning.programmes import scheduled
from cyclesim.decide.tuning.space import CannotTuneError
from cyclesim.decide.tuning.tuning import tune
from cyclesim.scenario.blocks.model import Scenario


def with_best_programme(
    scenario: Scenario, *, days: int, start: date | None = None, seed: int = 0, how: How = HERE
) -> Scenario:
    """The scenario told the programme that a tuning puts first. CannotTuneError where there is none."""
    found = tune(scenario, days=days, start=start, seed=seed, how=how).recommended
    if found is None:
        raise CannotTuneError(f"No programme keeps every limit of {scenario.title}: see cyclesim tune.")
    return scheduled(scenario, found.programme)

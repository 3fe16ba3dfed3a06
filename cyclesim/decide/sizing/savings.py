"""What would save most: each change that a file leaves room for, run for as long as the plant itself.

What a change costs to buy is not in it. The sizes are those that are sold commonly (common practice, no
source); whether a plant has room for them is for its builder to see.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from cyclesim.decide.sweeps.outcome import Outcome
from cyclesim.decide.sweeps.sweep import HERE, How, job, sweep
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.plant import Cover, Leg
from cyclesim.simulation.variant import with_each, with_plant

_PIPE_M, _COVER_M, _SHELL_M = 0.030, 0.100, 0.100
_COOLER_K = 1.0


class Change(NamedTuple):
    """One change as a sentence, and the scenario with it."""

    sentence: str
    scenario: Scenario


@dataclass(frozen=True, slots=True)
class Tried:
    """What one change takes off the run's cost and energy (below 0: it adds to them)."""

    change: str
    cost_less: float
    energy_kwh_less: float
    """Electricity and fuel."""
    breaks: tuple[str, ...]
    """Rules of danger and hygiene that are broken with it and not without."""


@dataclass(frozen=True, slots=True)
class Savings:
    """The changes that were tried, the one that saves most first."""

    days: int
    currency: str
    cost: float
    """Of the plant as told, over these days."""
    tried: tuple[Tried, ...]


def savings(
    scenario: Scenario, *, days: int, start: date | None = None, seed: int = 0, how: How = HERE
) -> Savings:
    """Run a scenario with each change that it has room for, *days* from *start*, and say what that saves."""
    made = list(changes(scenario))
    told, *after = sweep(
        [job(one, days, start, seed) for one in (scenario, *(change.scenario for change in made))], how
    )
    known = _grave(told)
    tried = [
        Tried(
            change.sentence,
            told.cost - run.cost,
            (told.energy_kwh + told.fuel_kwh) - (run.energy_kwh + run.fuel_kwh),
            tuple(rule for rule in _grave(run) if rule not in known),
        )
        for change, run in zip(made, after, strict=True)
    ]
    tried.sort(key=lambda one: -one.cost_less)
    return Savings(days, told.currency, told.cost, tuple(tried))


def changes(scenario: Scenario) -> Iterator[Change]:
    """What may save heat, as far as the file leaves room for it."""
    plant, heating = scenario.plant, scenario.schedule.heating
    thin = [name for name, leg in plant.legs.items() if _may_be_thicker(leg)]
    if thin:
        yield Change(
            f"insulate every pipe with {1000 * _PIPE_M:.0f} mm", with_each(scenario, "legs", _wrapped)
        )
    cover, shell = plant.tub.cover, plant.tub.shell
    if cover == "none" or cover.foam_m < _COVER_M or cover.fit != "good":
        thicker = Cover.model_construct(
            foam_m=_COVER_M if cover == "none" else max(cover.foam_m, _COVER_M), fit="good"
        )
        what = f"a cover of {1000 * thicker.foam_m:.0f} mm of foam that fits well"
        yield Change(what, _with_tub(scenario, cover=thicker))
    if shell.insulation_m < _SHELL_M:
        warmer = shell.model_copy(update={"insulation_m": _SHELL_M})
        yield Change(f"insulate the shell with {1000 * _SHELL_M:.0f} mm", _with_tub(scenario, shell=warmer))
    if heating is not None:
        plan = tuple(
            step.model_copy(update={"keep_at_c": step.keep_at_c - _COOLER_K}) for step in heating.plan
        )
        cooler = heating.model_copy(update={"keep_at_c": heating.keep_at_c - _COOLER_K, "plan": plan})
        schedule = scenario.schedule.model_copy(update={"heating": cooler})
        sentence = f"keep the water {_COOLER_K:.0f} K cooler"
        yield Change(sentence, scenario.model_copy(update={"schedule": schedule}))


def _may_be_thicker(leg: Leg) -> bool:
    return not leg.dead_end and leg.insulation_m < _PIPE_M


def _wrapped(leg: Leg) -> Leg:
    return leg.model_copy(update={"insulation_m": _PIPE_M}) if _may_be_thicker(leg) else leg


def _with_tub(scenario: Scenario, **parts: object) -> Scenario:
    return with_plant(scenario, tub=scenario.plant.tub.model_copy(update=parts))


def _grave(run: Outcome) -> list[str]:
    return list(dict.fromkeys(broken.rule for broken in run.broken("danger", "hygiene")))

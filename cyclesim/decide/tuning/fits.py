"""Whether a programme can be keyed into another controller, what comes nearest, and what that costs."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from cyclesim.analysis.findings import Breach, NotJudged
from cyclesim.analysis.plant_rules import programme_does_not_fit
from cyclesim.analysis.result import days_of_year
from cyclesim.decide.sweeps.outcome import Broken, Outcome
from cyclesim.decide.sweeps.sweep import HERE, How, job, sweep
from cyclesim.decide.tuning.moved_onto import moved_onto
from cyclesim.decide.tuning.programmes import Daily, own
from cyclesim.decide.tuning.space import CannotTuneError
from cyclesim.decide.tuning.tuning import tune
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.schedule import Controller
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme

_KEYING = "programme-does-not-fit"
_NONE = "No programme that can be keyed in keeps every limit"
_ROOM = ". With the new controller in the file, cyclesim tune tells what would make room."


@dataclass(frozen=True, slots=True)
class Misfit:
    """What cannot be keyed in, what mends it, and whether today's controller cannot take it either."""

    cause: str
    mend: str
    today_too: bool


@dataclass(frozen=True, slots=True)
class OnController:
    """A programme on the new controller: what a run of it came to, and which promises it no longer keeps."""

    programme: Daily
    outcome: Outcome
    lost: tuple[Broken, ...]
    """What it breaks and today's programme on today's controller does not."""
    lacks: tuple[str, ...] = ()
    """Of a tuned one, what it is short of beside the margins and minimums that the file asks for."""


_AFTER_A_CUT = {
    "resume": "goes on by itself",
    "midnight": "starts its clock at 00:00: until somebody sets it, all that goes by the clock comes at "
    "other hours",
    "wait": "waits for a person: until somebody comes nothing runs, frost protection neither",
}
"""What it does when power is back, the best first."""


@dataclass(frozen=True, slots=True)
class Fits:
    """Today's programme beside another controller."""

    title: str
    days: int
    judged: bool
    """Whether the new controller's file says anything of what can be keyed in."""
    misfits: tuple[Misfit, ...]
    today: Outcome
    nearest: OnController
    """Today's programme, moved as little as it takes; the same where it fits."""
    notes: tuple[str, ...]
    """What is moved beside filter runs and line flushes."""
    tuned: OnController | None = None
    """The best by a tuning; None where nothing has to be moved, or there is none."""
    not_tuned: str = ""
    """Why there is none, then."""
    after_a_cut: str = ""
    """What the new controller does worse when power is back: no run here has a power cut."""

    @property
    def fits(self) -> bool:
        """Whether all can be keyed in as it is and every promise is kept."""
        return not self.misfits and not self.nearest.lost

    @property
    def advised(self) -> OnController | None:
        """The programme to key in: the nearest if it keeps every promise, else the tuned one if that does."""
        return next((kept for kept in (self.nearest, self.tuned) if kept and not kept.lost), None)


def fits(
    scenario: Scenario,
    controller: Controller,
    *,
    days: int | None = None,
    start: date | None = None,
    seed: int = 0,
    how: How = HERE,
) -> Fits:
    """Lay a scenario's programme beside a controller that is to take the place of its own.

    *days* are those of a whole year unless given, *start* its first. Raises SweepError where a sweep ends
    early, and ValueError for less than one day.
    """
    days = days_of_year(start or date(scenario.place.year, 1, 1)) if days is None else days
    if days < 1:
        raise ValueError(f"a run lasts at least one day, not {days}")
    after = scenario.model_copy(update={"controller": controller})
    found = list(programme_does_not_fit(Assembly(after), Programme(after)))
    known = _causes(scenario)
    misfits = tuple(Misfit(b.cause, b.mend, b.cause in known) for b in found if isinstance(b, Breach))
    moved, notes = moved_onto(scenario, controller) if misfits else (after, ())
    today, outcome = sweep([job(plan, days, start, seed) for plan in (scenario, moved)], how)
    tuned, why = None, ""
    if misfits:
        try:
            tuning = tune(moved, days=days, start=start, seed=seed, how=how)
        except CannotTuneError as error:
            why = str(error)
        else:
            if (chosen := tuning.recommended) is not None:
                lost = _lost(today, chosen.outcome)
                tuned = OnController(chosen.programme, chosen.outcome, lost, chosen.lacks)
            else:
                why = "; ".join([_NONE, *(obstacle.text for obstacle in tuning.obstacles)]) + _ROOM
    return Fits(
        title=scenario.title,
        days=days,
        judged=not any(isinstance(b, NotJudged) for b in found),
        misfits=misfits,
        today=today,
        nearest=OnController(own(moved), outcome, _lost(today, outcome)),
        notes=notes,
        tuned=tuned,
        not_tuned=why,
        after_a_cut=_after_a_cut(scenario.controller, controller),
    )


def _after_a_cut(today: Controller, new: Controller) -> str:
    """What no longer goes on by itself when power is back; "" where it is as today, or better."""
    order = list(_AFTER_A_CUT)
    if order.index(new.after_power_cut) <= order.index(today.after_power_cut):
        return ""
    return f"After a power cut the new controller {_AFTER_A_CUT[new.after_power_cut]}, unlike today's."


def _causes(scenario: Scenario) -> set[str]:
    """What a scenario's own controller does not take."""
    judged = programme_does_not_fit(Assembly(scenario), Programme(scenario))
    return {breach.cause for breach in judged if isinstance(breach, Breach)}


def _lost(today: Outcome, then: Outcome) -> tuple[Broken, ...]:
    """What the second breaks and the first keeps; what cannot be keyed in is told apart from it."""
    known = {(broken.rule, broken.subject) for broken in today.findings}
    return tuple(b for b in then.findings if b.rule != _KEYING and (b.rule, b.subject) not in known)

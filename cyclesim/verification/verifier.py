"""One call from a scenario to what every order of events comes to."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import NamedTuple

from cyclesim.analysis.rules import of_kind
from cyclesim.errors import CycleSimError, shorten
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.forms.forms import did_you_mean, one_of
from cyclesim.simulation.uncollected import uncollected
from cyclesim.verification.answer import Verdict, Verification
from cyclesim.verification.assumed import assumed
from cyclesim.verification.judging import Ends, Judging, Progress


class Part(NamedTuple):
    """A part of a verification, which any process can do: one check, or, where *place* is None, its ends."""

    scenario: Scenario
    faults: int
    any_order: bool
    rule: str | None
    place: int | None


Found = tuple[list[Verdict], Ends]
Share = Callable[[Callable[[Part], Found], Sequence[Part]], Iterable[tuple[int, Found]]]
"""Does a function over parts, and gives what it found with the place of each, as they come."""


def verify(
    scenario: Scenario,
    *,
    faults: int = 0,
    rule: str | None = None,
    any_order: bool = False,
    on_progress: Progress | None = None,
    share: Share | None = None,
) -> Verification:
    """Explore every order of events of a scenario, and judge each state by the rules of one instant.

    *faults*: how many things may go wrong at once, 0 to 2. *rule*: this one alone. *any_order*: demands come
    in any order, not only as the calendar has them. *on_progress* may raise to interrupt. *share* does one
    function over the parts, in other processes perhaps; without it one part comes after another.
    Raises ValueError for other faults, CycleSimError for a rule that is none of them.
    """
    if faults not in (0, 1, 2):
        raise ValueError(f"0, 1 or 2 faults are verified, not {faults!r}")
    known = list(of_kind("state"))
    if rule is not None and rule not in known:
        due, near = f"expected {one_of(known)}", did_you_mean(rule, known)
        hint = f" ({near})" if near else ""
        raise CycleSimError(f"'{shorten(rule)}' is no rule that must hold at every moment; {due}{hint}.")
    run = Judging(scenario, faults, any_order, on_progress)
    run.mends_faults = rule is not None
    if share is None:
        with uncollected():
            verdicts, ends = run.verdicts(rule), run.ends() if rule is None else Ends()
    else:
        verdicts, ends = _shared(run, rule, share)
    return Verification(
        scenario.title,
        faults,
        any_order,
        tuple(verdicts),
        ends.dead_ends,
        ends.timed,
        assumed(run.plant.sheet),
        tuple(run.not_needed(rule)),
        run.mends_faults and faults > 0,
    )


def _shared(run: Judging, rule: str | None, share: Share) -> Found:
    """Every part by whoever shares them out; put together in the order of the checks, whoever was first."""
    places: list[int | None] = [*range(len(run.asked(rule))), *([None] if rule is None else [])]
    parts = [Part(run.scenario, run.faults, run.any_order, rule, place) for place in places]
    found: dict[int, Found] = {}
    for place, part in share(done, parts):
        found[place] = part
        if run.on_progress is not None:
            states = sum(v.states + sum(c.states for c in v.cells) for vs, _ in found.values() for v in vs)
            run.on_progress(f"{len(found)} of {len(parts)} searches done", states, 0)
    in_order = [found[place] for place in range(len(parts))]
    return run.put_together(v for verdicts, _ in in_order for v in verdicts), in_order[-1][1]


def done(part: Part) -> Found:
    """One part of a verification."""
    run = Judging(part.scenario, part.faults, part.any_order, None)
    run.mends_faults = part.rule is not None
    with uncollected():
        if part.place is None:
            return [], run.ends()
        return list(run.judged(run.asked(part.rule)[part.place])), Ends()

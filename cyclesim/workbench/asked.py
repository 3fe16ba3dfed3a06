"""What a question comes to, as the command of that name tells it: worked out in a process of its own."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field
from datetime import date
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cyclesim.decide.sweeps.kept import KeptRuns, kept_file
from cyclesim.decide.sweeps.pool import program
from cyclesim.errors import CycleSimError, InputError, shorten
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.workbench import decided
from cyclesim.workbench.folder import Folder
from cyclesim.workbench.handover import handed_over
from cyclesim.workbench.pressed import pressed
from cyclesim.workbench.views import Values, drawn_view, is_us, opened, page_view

if TYPE_CHECKING:
    from cyclesim.analysis.spans import Spans

Tell = Callable[[str, int, int | None], None]
"""Is told what is being done, how much of it is done, and of how much, None where nobody knows."""
FORTNIGHT = 14
_UNITS = {True: "us", False: "metric"}


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked of which file at which version.

    *others* are files that it is compared with or measured by; *beside*: what tells them from any others.
    """

    what: str
    file: Path
    options: Mapping[str, Any] = field(default_factory=dict)
    others: tuple[Path, ...] = ()
    beside: str = ""
    us: bool | None = None
    version: str = ""

    def option(self, name: str, kind: type | tuple[type, ...], otherwise: Any = None) -> Any:
        """An option of this kind, or *otherwise*; CycleSimError where it is another thing."""
        value = self.options.get(name)
        if value is None:
            return otherwise
        if not isinstance(value, kind) or (isinstance(value, bool) and kind is int):
            raise CycleSimError(f"Found {shorten(repr(value))} for {name}, which is of another kind.")
        return value

    def whole(self, name: str, low: int, high: int, otherwise: int | None = None) -> int | None:
        """A whole number between two bounds, or *otherwise*."""
        value: int | None = self.option(name, int, otherwise)
        if value is not None and not low <= value <= high:
            raise CycleSimError(f"Found {value} for {name}; expected a whole number from {low} to {high}.")
        return value


def answer(question: Question, tell: Tell) -> Values:
    """What a question comes to: `page` in its reader's units, `values` as `--json` has them, and more.

    Findings among the values have their sentences in the reader's units.

    Raises CycleSimError for whatever a person can mend.
    """
    plant = opened(Folder(question.file.parent), question.file.name)
    if plant.scenario is None:
        raise InputError(*plant.faults)
    if question.version not in ("", plant.version):
        raise CycleSimError("The file was changed meanwhile: ask again.")
    scenario, us = plant.scenario, is_us(plant, None if question.us is None else _UNITS[question.us])
    told: Values = {"what": question.what, "version": plant.version, "units": _UNITS[us]}
    return told | _ANSWERS[question.what](question, scenario, us, tell)


def _run(question: Question, scenario: Scenario, us: bool, tell: Tell) -> Values:
    """A fortnight or a year; what `run` works out besides of who steps out cold is left aside, for speed."""
    from cyclesim.analysis.history import History
    from cyclesim.analysis.promises import loud
    from cyclesim.analysis.result import days_of_year, simulate
    from cyclesim.said.answer import answer as answer_
    from cyclesim.said.mended import placed
    from cyclesim.said.run import run_page
    from cyclesim.said.stretch import chosen_span, stretch
    from cyclesim.said.values import result_values
    from cyclesim.shown.page.packed import packed

    year = question.what != "fortnight"
    start = _day(question) or date(scenario.place.year, 1, 1)
    days = days_of_year(start) if year else FORTNIGHT
    result = simulate(
        scenario, days=days, start=start, left=year, on_day=lambda day: tell("simulating", day, days)
    )
    answered = answer_(result)
    heard = loud(History(result.plant, result.programme, result.trace))
    whole = stretch(result, date.fromisoformat(result.about.first_day), days)
    values = result_values(result)
    worst = result.trace.local(chosen_span(result, None, min(FORTNIGHT, days))[0]).date()
    return {
        "about": asdict(result.about),
        "answer": pressed(
            {**asdict(answered), "worst": [list(map(asdict, group)) for group in answered.worst]}
        ),
        "page": page_view(run_page(result, everything=True), us),
        "values": values | {"findings": decided.in_units(values["findings"], us)},
        "drawing": drawn_view(result.plant, us, result.metrics.legs, result.findings),
        "timeline": packed(whole, us),
        "loud": None
        if heard is None
        else dict(zip(("ran", "in_quiet_hours"), map(_pairs, heard), strict=True)),
        "worst_from": worst.isoformat(),
        "placed": decided.in_units(list(map(asdict, placed(result))), us),
    }


def _pairs(spans: Spans) -> list[list[float]]:
    """Starts and ends, in seconds of the run."""
    pairs: list[list[float]] = spans.tolist()
    return pairs


def _day(question: Question) -> date | None:
    text = question.option("from", str)
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise CycleSimError(f"Found '{shorten(text)}' for from; expected a date, e.g. 2027-01-12.") from None


def _card(question: Question, scenario: Scenario, us: bool, tell: Tell) -> Values:
    """What a year's run comes to, for a card of the shelf; kept beside the sweeps' runs."""
    key = sha256(f"{program()} card {question.version} {us}".encode()).hexdigest()
    kept = KeptRuns(kept_file(), {key}) if question.version else None
    if kept is not None and isinstance(card := kept.readings.get(key), dict):
        return card
    card = _carded(_run(question, scenario, us, tell))
    if kept is not None:
        kept.put(key, card)
    return card


def _carded(found: Values) -> Values:
    promises = {promise["what"]: promise for promise in found["answer"]["promises"]}
    oldest = promises.get("Oldest water")
    return {
        "title": found["about"]["title"],
        "drawing": found["drawing"],
        "verdict": found["answer"]["verdict"],
        "tone": found["answer"]["tone"],
        "oldest_water": None if oldest is None else oldest["said"],
        "money": found["answer"]["money"],
        "worst_from": found["worst_from"],
    }


def _duty(question: Question, scenario: Scenario, us: bool, tell: Tell) -> Values:  # noqa: ARG001
    from cyclesim.analysis.combinations import asked_for
    from cyclesim.said.duty import duty_page
    from cyclesim.said.values import duty_values
    from cyclesim.simulation.assembly import Assembly
    from cyclesim.simulation.programme import Programme

    plant = Assembly(scenario)
    values = duty_values(plant)
    asked = asked_for(plant, Programme(scenario))
    return {"page": page_view(duty_page(scenario, values["duties"], asked), us), "values": values}


_ANSWERS: dict[str, Callable[[Question, Scenario, bool, Tell], Values]] = {
    "fortnight": _run,
    "year": _run,
    "card": _card,
    "verify": decided.verify,
    "tune": decided.tune,
    "compare": decided.compare,
    "size": decided.size,
    "savings": decided.savings,
    "measured": decided.measured,
    "duty": _duty,
    "mend": decided.mend,
    "page": decided.whole_page,
    "handover": handed_over,
}
WHATS = tuple(_ANSWERS)

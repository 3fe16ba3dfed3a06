"""What explains readings, what to measure next, and what follows, for a person."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any

from cyclesim.analysis.amounts import lasting, listed
from cyclesim.decide.readings.drift import Drift
from cyclesim.decide.readings.explanation import CauseAmount, Explained, Explanation, Part
from cyclesim.decide.readings.follows import Follows, Year
from cyclesim.decide.readings.logged import Logged
from cyclesim.decide.readings.next_reading import NextReading
from cyclesim.said.page import Amount, Cell, Column, Page, Row, cost, words
from cyclesim.said.reading_units import unit_of, with_off
from cyclesim.said.words import count, day
from cyclesim.scenario.forms.forms import one_of

_HOW = (
    "odds: how much likelier than that nothing is wrong beyond what drawings are usually off by. They rest "
    "on the causes that the program knows, each as likely beforehand; one cause is integrated over its "
    "range, two by Laplace's approximation. The interval holds 90 of 100."
)
_SURE, _GAPS = 0.5, 3

_CAUSE = (words("cause"), words("value"), words("90 % interval"))


def say_explained(page: Page, found: Explained) -> None:
    """What explains the readings: causes, likeliest first, and what cannot be told."""
    page.heading("What explains them")
    page.line(_answer(found), tone="good" if found.as_drawn > _SURE else "mind")
    if found.parts:
        _say_parts(page, found.parts)
    elif found.best and not found.fits:
        page.table(
            [*_CAUSE, Column("likely", "share", kind="share", digits=0)],
            _rows(found.best, odds=False),
            "What comes nearest",
            [f"likely: of all that may be; something else, or a wrong reading, is {found.other:.0%} likely."],
        )
    elif found.best:
        page.table(
            [*_CAUSE, Column("odds\nto 1", "odds"), Column("likely", "share", kind="share", digits=0)],
            _rows(found.best),
            notes=[_HOW],
        )
    for names in _groups(found.best) if found.fits else ():
        page.line(f"These readings cannot tell apart: {'; '.join(names)}.", tone="mind", hang=2)
    if found.unseen:
        page.line(
            f"These readings would show none of this, however bad: {'; '.join(_few(found.unseen))}.", hang=2
        )


def _few(names: Sequence[str]) -> list[str]:
    """Names, those of single jets of one leg as one."""
    jets: dict[str, list[str]] = {}
    for name in names:
        match = re.fullmatch(r"jet (\d+) of (.+) blocked", name)
        jets.setdefault(f"of {match[2]} blocked" if match else name, []).append(match[1] if match else "")
    return [name if not numbers[0] else f"jet {one_of(numbers)} {name}" for name, numbers in jets.items()]


def _say_parts(page: Page, parts: Sequence[Part]) -> None:
    """Causes that explain a part of it, and what those that explain most leave."""
    page.table(
        [*_CAUSE[:2], Column("explains", "explains", kind="share", digits=0)],
        (
            Row((name, _value(amount), part.explains if k == 0 else ""), amount.cause)
            for part in parts
            for k, (name, amount) in enumerate(_named_amounts(part.amounts))
        ),
        "What explains a part of it",
        ["explains: so much of what the readings are off by, by their squares in standard deviations."],
    )
    most = max(parts, key=lambda part: part.explains)
    names = listed([amount.cause for amount in most.amounts])
    left = f"What that leaves off: {'; '.join(most.leaves)}. Read these again." if most.leaves else ""
    page.line(f"Look first for {names}. {left}", tone="mind", hang=2)


def _answer(found: Explained) -> str:
    if not found.fits:
        none = f"None of the {found.causes} causes that were tried explains all of these readings"
        if found.odd is not None:
            fits = f" this cause: {found.odd.others_fit}" if found.odd.others_fit else ""
            without = f"Without one of them, {found.odd.reading}, the others fit{fits}"
            return f"{none}. {without}. Read that one again first."
        return f"{none}: it is something else, or more than two at once, or a reading is wrong."
    if found.needs_no_cause:
        return (
            "Nothing needs to be wrong: what drawings and instruments are usually off by explains them "
            f"({100.0 * found.as_drawn:.0f} % likely)."
        )
    best = found.best[0]
    names = listed([amount.cause for amount in best.amounts])
    if best.share > _SURE:
        return f"Most likely: {names}."
    return f"No cause stands out. The likeliest: {names}."


def _rows(best: Sequence[Explanation], *, odds: bool = True) -> Iterator[Row]:
    for explanation in best:
        to_1: Cell = float(f"{explanation.odds:.2g}") if explanation.odds < 1000.0 else "more than 1,000"
        told: tuple[Cell, ...] = (to_1, explanation.share) if odds else (explanation.share,)
        for k, (name, amount) in enumerate(_named_amounts(explanation.amounts)):
            last = told if k == 0 else ("",) * len(told)
            yield Row((name, _value(amount), _interval(amount), *last), amount.cause)


def _named_amounts(amounts: Sequence[CauseAmount]) -> Iterator[tuple[str, CauseAmount]]:
    for k, amount in enumerate(amounts):
        yield amount.cause if k == 0 else f"and {amount.cause}", amount


def _value(amount: CauseAmount) -> Cell:
    return "" if amount.value is None else Amount(amount.value, amount.unit, 2, "figures")


def _interval(amount: CauseAmount) -> Cell:
    return "" if amount.low is None or amount.high is None else _ends(amount.low, amount.high)


def _ends(low: float, high: float) -> str:
    return f"{float(f'{low:.2g}'):g} to {float(f'{high:.2g}'):g}"


def _groups(best: Sequence[Explanation]) -> list[list[str]]:
    """Explanations that cannot be told apart, together, each group once."""
    groups = list[list[str]]()
    for explanation in best:
        name = " and ".join(amount.cause for amount in explanation.amounts)
        if explanation.alike and not any(name in group for group in groups):
            groups.append([name, *explanation.alike])
    return groups


def say_next(page: Page, readings: Sequence[NextReading]) -> None:
    """The readings that would tell most, and what each explanation expects of the first."""
    page.heading("What to measure next")
    if not readings:
        page.line("Nothing that can be measured with what is there would tell much more.")
        return
    first, *others = readings
    page.line(f"{first.reading}: tells {first.bits:.2f} bits (1 decides between two).", tone="strong")
    page.table(
        [words("if it is"), words("it reads")],
        ([e.explanation, with_off(first.quantity, e.value, e.off)] for e in first.expected),
    )
    if others:
        also = "; ".join(f"{other.reading} ({other.bits:.2f} bits)" for other in others)
        page.line(f"Then: {also}.", hang=2)


def next_values(reading: NextReading) -> dict[str, Any]:
    """The same as plain values, each expectation in the unit that it names."""
    unit, each = unit_of(reading.quantity, max(expected.value for expected in reading.expected))
    return {
        "reading": reading.reading,
        "unit": unit,
        "bits": reading.bits,
        "expected": [
            {"explanation": e.explanation, "value": e.value * each, "off": e.off * each}
            for e in reading.expected
        ],
    }


def say_follows(page: Page, found: Follows) -> None:
    """What follows from the likeliest cause: rules, hours to hot, money."""
    page.heading("What follows")
    page.line(f"If it is that ({found.explanation}), run and judged for {count(found.days, 'day')}:")
    page.table(
        [words(""), cost(found.currency), Column("energy\n{unit}", "energy_kwh", "kWh", digits=0),
         Column("hot from a fill\nafter {unit}", "hours_to_hot", "h", unknown="never"),
         Column("rules\nbroken", kind="count")],
        (
            [name, plant.cost, plant.energy_kwh, plant.hours_to_hot, len(plant.broken)]
            for name, plant in (("as drawn", found.drawn), ("with that cause", found.corrected))
        ),
    )  # fmt: skip
    if found.newly_broken:
        page.line(f"Held as drawn, now broken: {_named(found.newly_broken)}.", tone="mind", hang=2)
    if found.mended:
        page.line(f"Broken as drawn, no longer: {_named(found.mended)}.", hang=2)
    more = found.costs_more
    if more >= 0.005:
        page.line(f"Over those days the cause costs {more:.2f} {found.currency}: so much its mend is worth.")


def _named(broken: Sequence[tuple[str, str]]) -> str:
    return "; ".join(f"{rule} ({subject})" if subject else rule for rule, subject in broken)


def follows_values(found: Follows) -> dict[str, Any]:
    """The same as plain values."""

    def plain(plant: Year) -> dict[str, Any]:
        return {
            **asdict(plant),
            "broken": [{"rule": rule, "subject": subject} for rule, subject in plant.broken],
        }

    return {
        "explanation": found.explanation,
        "days": found.days,
        "currency": found.currency,
        "drawn": plain(found.drawn),
        "corrected": plain(found.corrected),
        "costs_more": found.costs_more,
    }


def say_drift(page: Page, found: Drift) -> None:
    """How one cause goes on from file to file, and when it meets a limit."""
    page.heading("How it changes")
    page.table(
        [words(found.cause), Column("value"), words("90 % interval")],
        (
            [day(at.date), Amount(at.value, found.unit, 2, "figures"), _ends(at.low, at.high)]
            for at in found.at
        ),
    )
    rate = f"{found.per_year:+.2g} ±{found.per_year_off:.2g} {found.unit} a year"
    if not found.grows:
        page.line(f"No change is seen beyond what the readings are off by: {rate}.")
        return
    page.line(f"It changes by {rate}.")
    if found.limit is not None and found.limit_value is not None:
        page.line(
            f"If it goes on in a straight line: {found.limit}, at {found.limit_value:.2g} {found.unit}, "
            f"about {day(found.limit_on)}.",
            tone="mind",
        )
    else:
        page.line("If it goes on in a straight line, nothing more breaks in the next thirty years.")


def say_log(page: Page, log: Logged) -> None:
    """What is wrong with a log, and what was read off it."""
    page.line()
    page.line(f"{log.file}: {count(log.rows, 'row')} from {log.begins} to {log.ends}, one every "
              f"{lasting(log.step_s)}.")  # fmt: skip
    wrong = [f"{gap.begins} to {gap.ends}" for gap in log.gaps[:_GAPS]]
    if wrong:
        more = f" and {len(log.gaps) - _GAPS} more" if len(log.gaps) > _GAPS else ""
        page.line(f"Nothing was logged {', '.join(wrong)}{more}.", tone="mind", hang=2)
    if log.repeated:
        page.line(f"{count(log.repeated, 'row repeats', 'rows repeat')} a time: left out.", tone="mind")
    if log.clock_ahead_h:
        ahead = "ahead" if log.clock_ahead_h > 0.0 else "behind"
        page.line(
            f"Its clock is {abs(log.clock_ahead_h):g} h {ahead}, by its air beside the weather's.",
            tone="mind",
        )
    if log.air_off_k:
        page.line(f"Its air reads {log.air_off_k:+.1f} K against the weather's: taken off.", tone="mind")
    if log.water_off_k:
        before = ", or something else stops it before" if log.water_off_k < 0.0 else ""
        page.line(
            f"Its water reads {log.water_off_k:+.1f} K against the set point where the heating stops: its "
            f"sensor or the controller's is off{before}. Nothing is taken off.",
            tone="mind",
            hang=2,
        )
    page.line(f"Read off it: {'; '.join(log.readings) or 'nothing'}.", hang=2)

"""A verification as a page for the terminal, and as plain values."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import Any, NamedTuple

from cyclesim.analysis.amounts import listed
from cyclesim.analysis.rules import RULES
from cyclesim.said.cautions import ADVICE, say_cautions
from cyclesim.said.page import Column, Page, words
from cyclesim.said.words import count, when
from cyclesim.verification.answer import Barrier, Cell, Mend, Story, Verdict, Verification

HELD: dict[Barrier, str] = {
    "controller": "interlock",
    "own switch": "own switch",
    "limit": "limit",
    "kept": "kept",
    "time": "open",
    "nothing": "BROKEN",
    "undecided": "open",
    "not needed": "-",
}
REPLAYED = {
    "by the engine": "The engine has replayed it.",
    "in order, not in time": "This order is allowed, but no timed run reproduced it: not decided.",
    "order only": "This order is allowed and fits these times; no run can be given what happens.",
}


def verification_values(verification: Verification) -> dict[str, Any]:
    """Everything as plain values."""
    values = asdict(verification)
    for verdict, values_of in zip(verification.verdicts, values["verdicts"], strict=True):
        values_of["rests_on_one_barrier"] = verdict.rests_on_one
        values_of["principles"] = list(RULES[verdict.rule].principles)
        of: list[Verdict | Cell] = [verdict, *verdict.cells]
        for tried, told in zip(of, (values_of, *values_of["cells"]), strict=True):
            for mend, one in zip(tried.mends, told["mends"], strict=True):
                one["comes_to"] = comes_to(mend)
    return {**values, "states": verification.states, "broken": verification.is_broken}


def verify_page(verification: Verification) -> Page:
    """The answer, each broken rule with its story, the matrix of faults, dead ends, times, assumptions."""
    page = Page()
    page.line(verification.title, tone="strong", as_written=True)
    page.line(overall(verification), tone="danger" if verification.is_broken else "strong")
    _say_answer(page, verification)
    numbers = {id(mend): k for k, (_, mend) in enumerate(verification.tried, 1)}
    for verdict in verification.verdicts:
        if verdict.story is not None or verdict.broken:
            _say_broken(page, verdict, numbers)
    if verification.faults:
        _say_matrix(page, verification)
        _say_unheld(page, verification, numbers)
    if verification.dead_ends:
        page.heading("Dead ends and contradictions")
        for end in verification.dead_ends:
            page.line(f"- {end.kind}, {end.subject}: {end.said}.", hang=2)
    if verification.timed:
        page.heading("Times")
        for timed in verification.timed:
            page.line(f"- {timed.subject}, {timed.what}: {timed.said}.", hang=2)
    page.heading("What is assumed")
    page.line("It verifies the programme as written and wired as described, not the plant as built.")
    for line in verification.assumed:
        page.line(f"- {line}", hang=2)
    say_cautions(page, [ADVICE])
    return page


def overall(verification: Verification) -> str:
    """What a verification comes to, in one line."""
    verdicts = verification.verdicts
    broken = _rules(v for v in verdicts if v.broken)
    by_fault = [rule for rule in _rules(v for v in verdicts if v.unheld) if rule not in broken]
    open_ = [rule for rule in _rules(v for v in verdicts if v.is_open) if rule not in (*broken, *by_fault)]
    parts = []
    if broken:
        parts.append(f"{count(len(broken), 'rule is', 'rules are')} broken: {listed(broken)}")
    if by_fault:
        parts.append(f"{count(len(by_fault), 'rule is', 'rules are')} broken by a fault: {listed(by_fault)}")
    if open_:
        parts.append(f"{count(len(open_), 'rule is', 'rules are')} not decided: {listed(open_)}")
    held = len(_rules(verdicts)) - len(broken) - len(by_fault) - len(open_)
    if held:
        which = f"{f'{held} ' * (held > 1)}{'other ' * bool(parts)}{'rule' if held == 1 else 'rules'}"
        parts.append(f"no modelled order of events breaks the {which} verified here")
    said = "; ".join(parts) or "this plant has nothing to verify"
    return f"{said[0].upper()}{said[1:]}."


def _rules(verdicts: Iterable[Verdict]) -> list[str]:
    return list(dict.fromkeys(verdict.rule for verdict in verdicts))


def _say_answer(page: Page, verification: Verification) -> None:
    order = "any order of demands" if verification.any_order else "the calendar's own order"
    faults = ("no fault", "one fault at a time", "up to two faults at a time")[verification.faults]
    page.line(f"{count(verification.states, 'state')} in all; stories by {order}; {faults}.")
    page.heading("Rules that must hold at every moment")
    for verdict in verification.verdicts:
        page.line(f"{verdict.rule} ({verdict.subject}), {verdict.severity}", tone="strong")
        page.line(answer_of(verdict), indent=2)
        for principle in (
            RULES[verdict.rule].principles if verdict is _first(verification, verdict.rule) else ()
        ):
            page.line(f"Principle: {principle}.", indent=2, hang=2)
    if verification.not_needed:
        page.line()
    for rule, why in verification.not_needed:
        page.line(f"{rule}: nothing to verify, {why}.", hang=2)


def _first(verification: Verification, rule: str) -> Verdict:
    return next(v for v in verification.verdicts if v.rule == rule)


def answer_of(verdict: Verdict) -> str:
    """What is known of one rule, in a sentence or two."""
    states = count(verdict.states, "state")
    if verdict.undecided:
        return f"Not decided: {verdict.undecided}."
    if verdict.broken:
        return f"BROKEN: {verdict.why} ({states})."
    if verdict.story is not None:
        return f"Not decided: an order of events is allowed that breaks this: {verdict.why} ({states})."
    also = "; in another order of demands something would" if verdict.only_in_another_order else ""
    also += "; some order of its timers would, which their lengths rule out" if verdict.held_by_time else ""
    single = [cell for cell in verdict.cells if len(cell.faults) == 1]
    told = []
    for does, barriers in (
        ("Broken by", ("nothing",)),
        ("Not decided under", ("time", "undecided")),
        ("Its high limit alone ends it under", ("limit",)),
    ):
        if by := [cell.faults[0] for cell in single if cell.barrier in barriers]:
            told.append(f"{does} {len(by)} of {count(len(single), 'single fault')}: {'; '.join(by)}")
    if not told:
        return f"No modelled order of events breaks this ({states}{also})."
    alone = " It rests on one barrier alone." if verdict.rests_on_one else ""
    return f"Without a fault not broken ({states}{also}). {'. '.join(told)}.{alone}"


def _say_story(page: Page, story: Story) -> None:
    for k, step in enumerate(story.steps):
        time = f"{story.at_s[k]:>5} s  " if story.at_s else "    -  "
        page.line(f"{time}{step}", indent=2, hang=9)
    page.line(REPLAYED[story.replayed], indent=2)
    if story.first_on:
        page.line(f"The calendar first asks for this on {when(story.first_on)}.", indent=2)


def _say_broken(page: Page, verdict: Verdict, numbers: Mapping[int, int]) -> None:
    page.heading(f"How {verdict.rule} ({verdict.subject}) comes about")
    if verdict.story is not None:
        _say_story(page, verdict.story)
    else:
        page.line(f"By the plant alone: {verdict.why}.", indent=2, hang=2)
    if verdict.cut_short:
        page.line("Mends and faults were not tried: there are too many states.", indent=2)
    else:
        _say_mends(page, verdict.mends, numbers)


def comes_to(mend: Mend) -> str:
    """Whether the rule then holds, and what other rules the mend breaks or makes worse, as a clause."""
    if not mend.holds:
        return "then it never comes on" if mend.never_on else "not enough"
    result = f"then no modelled order of events breaks it ({count(mend.states, 'state')})"
    if not mend.states:
        result = "then nothing is left that could break it"
    harms = [f"breaks {listed(list(mend.breaks))}"] if mend.breaks else []
    harms += [f"makes {listed(list(mend.worsens))} worse"] if mend.worsens else []
    return f"{result}; but a week of January with it {', and '.join(harms)}" if harms else result


def _say_mends(page: Page, mends: Sequence[Mend], numbers: Mapping[int, int]) -> None:
    for mend in mends:
        page.line(f"Tried {numbers[id(mend)]}: {mend.said}: {comes_to(mend)}.", indent=2, hang=2)
    if not any(mend.holds for mend in mends):
        page.line("Nothing of the catalogue mends it alone.", indent=2)


def _say_matrix(page: Page, verification: Verification) -> None:
    page.heading("What holds under each fault")
    page.line(
        "interlock: one of the controller's holds; own switch: the device's own flow switch holds; limit: "
        "heat comes on, and an independent limit ends it; kept: not broken, whatever may hold it; BROKEN: "
        "nothing holds, in a timed run or, where none can be given what happens, in an order that is "
        "allowed; open: not decided, for a timed run was tried and did not break it, or there are too many "
        "states; -: nothing to protect here, or the rule cannot see the fault."
    )
    shown, rows = matrix(verification)
    for k, verdict in enumerate(shown, 1):
        states = sum(cell.states for cell in verdict.cells)
        page.line(
            f"{k:>2} {verdict.rule} ({verdict.subject}), {count(states, 'state')} with faults",
            indent=2,
            hang=3,
        )
    for verdict in (v for v in verification.verdicts if not v.cells):
        is_ = "broken" if verdict.broken else "not decided"
        page.line(f" - {verdict.rule} ({verdict.subject}) is {is_} without a fault", indent=2, hang=3)
    for first in range(0, len(shown), _WIDE):
        columns = range(first, min(first + _WIDE, len(shown)))
        heads = [words("fault"), *(Column(f"{k + 1}") for k in columns)]
        page.table(heads, [(" and ".join(row.faults), *(row.marks[k] for k in columns)) for row in rows])


class UnderFault(NamedTuple):
    """What holds under one fault or two, a mark for each verdict that has cells."""

    faults: tuple[str, ...]
    marks: tuple[str, ...]


def matrix(verification: Verification) -> tuple[list[Verdict], list[UnderFault]]:
    """The verdicts that faults were tried on, and the faults that any sees; of two at once, what breaks."""
    shown = [v for v in verification.verdicts if v.cells]
    rows = []
    for faults in dict.fromkeys(cell.faults for v in shown for cell in v.cells):
        marks = tuple(next((HELD[c.barrier] for c in v.cells if c.faults == faults), _NONE) for v in shown)
        if set(marks) != {_NONE} and (len(faults) == 1 or _BROKEN in marks):
            rows.append(UnderFault(faults, marks))
    return shown, rows


_WIDE = 3
_NONE, _BROKEN = HELD["not needed"], HELD["nothing"]


def _say_unheld(page: Page, verification: Verification, numbers: Mapping[int, int]) -> None:
    single = [(v, c) for v in verification.verdicts for c in v.unheld if len(c.faults) == 1]
    if single:
        page.heading("Broken by one fault")
        before: tuple[Mend, ...] = ()
        for verdict, cell in single:
            _say_cell(page, verdict, cell)
            if verification.mends_faults and cell.mends and cell.mends == before:
                page.line("Tried: the same as above, with the same outcome.", indent=2)
            elif verification.mends_faults:
                _say_mends(page, cell.mends, numbers)
            before = cell.mends
        if not verification.mends_faults:
            page.line("With --rule ID of one of them, mends are tried and verified again.", command=True)
    double = [(v, c) for v in verification.verdicts for c in v.unheld if len(c.faults) == 2]
    if double:
        page.heading("Broken by two faults")
        for verdict, cell in double:
            _say_cell(page, verdict, cell)


def _say_cell(page: Page, verdict: Verdict, cell: Cell) -> None:
    page.line(f"{verdict.rule} ({verdict.subject}): {cell.why}", tone="strong", hang=2)
    if cell.story is not None:
        _say_story(page, cell.story)

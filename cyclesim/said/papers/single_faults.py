"""The part of the electrician's paper that tells what happens when one thing fails."""

from __future__ import annotations

from collections.abc import Iterator

from cyclesim.said.page import Cell, words
from cyclesim.said.papers.paper import Sheet
from cyclesim.said.words import count
from cyclesim.verification.answer import Barrier, Verification

_ENDS: dict[Barrier, str] = {
    "nothing": "nothing",
    "limit": "its high limit alone",
    "time": "not decided",
    "undecided": "not decided",
}
"""What ends what a fault brings about, where no interlock and no own switch keeps it from coming."""


def say_single_faults(sheet: Sheet, verification: Verification | None) -> None:
    """Every single fault that breaks a rule; None: it was not asked for."""
    sheet.heading("What a single fault does")
    if verification is None:
        sheet.line(
            "Not searched for this paper, such as a breaker that trips or a contactor that welds. "
            "Whoever made it can add what nothing holds, and tell how that comes about."
        )
        return
    rows = list(_rows(verification))
    tried = {cell.faults for verdict in verification.verdicts for cell in verdict.cells}
    rules = {verdict.rule for verdict in verification.verdicts}
    sheet.line(
        "Every order of events that the model knows was searched, without a fault and with each of "
        f"{count(len(tried), 'single fault')}, against {count(len(rules), 'rule')}: the programme as written "
        "and the plant as described, not as built. "
        + ("What is not kept from coming:" if rows else "None breaks a rule.")
    )
    if rows:
        sheet.table((words("when this happens"), words("this comes"), words("what ends it")), rows)
        sheet.line("Whoever made this paper can tell step by step how each comes about.")


def _rows(verification: Verification) -> Iterator[tuple[Cell, ...]]:
    for verdict in verification.verdicts:
        if verdict.broken:
            yield "nothing fails", f"{verdict.subject}: {verdict.why}", _ENDS["nothing"]
        elif verdict.undecided or verdict.story is not None:
            why = verdict.undecided or verdict.why
            yield "nothing fails", f"{verdict.subject}, {verdict.rule}: {why}", _ENDS["undecided"]
        for cell in verdict.cells:
            if cell.barrier in _ENDS:
                what = cell.why or verdict.rule
                yield " and ".join(cell.faults), f"{verdict.subject}: {what}", _ENDS[cell.barrier]

"""What holds under each single fault, in words, and how what nothing holds comes about."""

from __future__ import annotations

from cyclesim.said.page import Cell, Column, Page, words
from cyclesim.said.verify import HELD, REPLAYED, answer_of
from cyclesim.said.words import count
from cyclesim.verification.answer import Story, Verdict, Verification


def say_faults(page: Page, verification: Verification | None) -> None:
    """Each rule's answer, the faults against the rules, and the stories."""
    if verification is None:
        page.line("Not looked at for this page: cyclesim verify FILE --faults 1 does.")
        return
    states = count(verification.states, "state")
    page.line(f"Every order of events was explored that the model knows, {states} in all.")
    columns = [words("rule"), words("about"), words("answer")]
    rows = [(v.rule, v.subject, answer_of(v)) for v in verification.verdicts]
    page.table(columns, rows, "Rules that must hold at every moment")
    _say_matrix(page, [v for v in verification.verdicts if v.cells])
    for verdict in verification.verdicts:
        if verdict.story is not None:
            _say_story(page, verdict, verdict.why, verdict.story)
        for cell in verdict.unheld:
            if cell.story is not None:
                _say_story(page, verdict, f"{cell.why}, after {' and '.join(cell.faults)}", cell.story)
    page.heading("What this takes for granted")
    for line in verification.assumed:
        page.line(f"- {line}", hang=2)


def _say_matrix(page: Page, verdicts: list[Verdict]) -> None:
    faults = dict.fromkeys(cell.faults for verdict in verdicts for cell in verdict.cells)
    rows = list[tuple[Cell, ...]]()
    for combination in faults:
        cells = [
            next((HELD[c.barrier] for c in v.cells if c.faults == combination), HELD["not needed"])
            for v in verdicts
        ]
        if set(cells) != {HELD["not needed"]}:
            rows.append((" and ".join(combination), *cells))
    if rows:
        heads = [words("fault"), *(Column(f"{v.rule}\n{v.subject}", kind="words") for v in verdicts)]
        page.table(
            heads,
            rows,
            "What holds each rule when one thing fails",
            [
                f"{HELD['not needed']} nothing to protect here, or the rule does not see the fault. "
                f"{HELD['nothing']}: this fault alone breaks the rule; how is told below. "
                f"{HELD['limit']}: heat comes on, and an independent limit ends it. "
                f"{HELD['time']}: not decided."
            ],
        )


def _say_story(page: Page, verdict: Verdict, why: str, story: Story) -> None:
    page.heading(f"{verdict.rule} ({verdict.subject}): {why}")
    seconds = [f"{second} s" for second in story.at_s] or ["" for _ in story.steps]
    page.table(
        [words("after"), words("what happens")],
        list(zip(seconds, story.steps, strict=True)),
        notes=[REPLAYED[story.replayed]],
    )

"""What a mend has in the file's language, told in words on papers and in a browser."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from cyclesim.said.as_done import as_done

ANALYSIS = Path(__file__).parents[2] / "cyclesim" / "analysis"
WRITTEN = re.compile(r"[{}]|schedule\.\w|\b\w+: (true|\[)|ready_by|steered:|own_flow_switch:")


@pytest.mark.parametrize(
    ("written", "done"),
    [
        ("wire {block: element, while: heat_pump firing, because: the breaker}",
         "wire a block on element while heat_pump is firing (because of the breaker)"),
        ("wire {block: element, while: main high}", "wire a block on element while main high runs"),
        ("prove the flow by a flow switch, and {block: cell, unless: flow proven, for: 5 s}",
         "prove the flow by a flow switch, and a block on cell until its flow has been proven for 5 s"),
        ("wire {keep: main low, after: element, lasting: 60 s}",
         "wire a run-on of main low for 60 s after element"),
        ("move one of them, or put line_flush before frost_protection in schedule.ranks",
         "move one of them, or rank line flush above frost protection"),
        ("a controller that keeps the time: after_power_cut: resume, or somebody who comes: person_within",
         "a controller that keeps the time, or somebody who comes"),
        ("let them end on 2027-02-10 (absences: to): it takes 24 h",
         "let them end on 2027-02-10: it takes 24 h"),
        ("let it begin earlier: plan: [{ready_by: ...}], or a stronger source",
         "let it begin earlier, by a time at which it is to be warm, or a stronger source"),
        ("frost_protection: {watches: soil, starts_below: 4 degC, stops_above: 6 degC, pump: jets}",
         "frost protection that watches soil and runs jets from below 4 degC to above 6 degC"),
        ("a level switch that stops it: level_switch: true", "a level switch that stops it"),
        ("stop it in time: steered: high_stop: 40 degC or less",
         "stop it in time: a high stop at 40 degC or less"),
        ("a flow switch in its own water that holds it off: own_water: flow_switch: true",
         "a flow switch in its own water that holds it off"),
        ("own_water: more glycol, measured by hand", "more glycol, measured by hand"),
        ("schedule.ranks: [bathing, line_flush, heating]",
         "another order of who wins a pump: bathing, line flush, heating"),
        ("more flushes, or longer ones", "more flushes, or longer ones"),
    ],
)  # fmt: skip
def test_a_mend_is_told_as_what_is_done(written: str, done: str) -> None:
    """Names and amounts stay; what has nothing of the file stays as it is."""
    assert done == as_done(written)


def test_no_sentence_of_a_rule_stays_in_the_files_language() -> None:
    """Of all sentences that rules and mends are made of, with a word in place of each name and amount."""
    texts = [text for file in ANALYSIS.glob("*.py") for text in _texts(ast.parse(file.read_text("utf-8")))]
    begin = ("wire ", "take out ", "give ", "let ", "move ", "frost_protection: ")
    mends = [text for text in texts if text.startswith(begin)]
    assert len(mends) > 10
    assert [] == [text for text in mends if WRITTEN.search(as_done(text))]


def _texts(tree: ast.Module) -> Iterator[str]:
    """Whole texts, with x for what is put in."""
    pieces = set[ast.AST]()
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            pieces.update(node.values)
            yield "".join(str(p.value) if isinstance(p, ast.Constant) else "x" for p in node.values)
        elif isinstance(node, ast.Constant) and node not in pieces:
            yield str(node.value)

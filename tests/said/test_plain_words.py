"""Words that no report may say: what passes for an approval, and what is no plain English."""

import ast
import re
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner

import cyclesim
from cyclesim.analysis.rules import check_plant
from cyclesim.cli import cli
from cyclesim.said.check import check_page
from cyclesim.said.duty import duty_page
from cyclesim.said.page import Heading, Line, Page, Table
from cyclesim.said.rules import rule_page
from cyclesim.said.run import run_page
from cyclesim.said.values import duty_values
from cyclesim.said.verify import verify_page
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme

SHIPPED = sorted((Path(__file__).parents[2] / "schedules").glob("*.yaml"))
NEVER = re.compile(
    r"guarantee|certif(?!ies nothing)|\bsafe\b|\bsafely\b|compliant|approved|all clear"
    r"|\b(?:is|are) due\b|\bMind\b|past the controller|has it on|not opened|not considered|counts on nothing",
    re.IGNORECASE,
)
"""Approvals first, then words with plainer ones."""


def sentences(page: Page) -> Iterator[str]:
    """Every text of a page: headings, lines, titles, heads, cells of words, notes."""
    for block in page.blocks:
        match block:
            case Heading():
                yield block.text
            case Line():
                yield block.text
            case Table():
                yield from (block.title, *block.notes, *(column.heading for column in block.columns))
                for row in block.rows:
                    yield from (cell for cell in row.cells if isinstance(cell, str))


@pytest.mark.parametrize("file", SHIPPED, ids=lambda file: file.stem)
def test_no_report_says_what_must_not_be_said(file: Path) -> None:
    """A week of each shipped plant with everything told, its duties and its check."""
    scenario = cyclesim.load(file)
    result = cyclesim.simulate(scenario, days=7, start=date(scenario.place.year, 1, 10), left=True)
    plant, programme = Assembly(scenario), Programme(scenario)
    pages = (
        run_page(result, everything=True),
        duty_page(scenario, duty_values(plant)["duties"]),
        check_page(file.name, plant, programme, *check_plant(plant, programme)),
    )
    assert [] == [text for page in pages for text in sentences(page) if NEVER.search(text)]


PLAINER = re.compile(
    r"was asked for by|Legs, then housings|of it low|waits for proof|was called and did not|stored in water"
    r"|spread as built|passes in order|DOES NOT HOLD|Possible in order|of one instant|had to be held"
    r"|Heat and all|about as good in everything|neighbours hear|would no longer do|is no part of a pass"
    r"|, with \S+ asked for"
)
"""What has a plainer form, by example."""
TALKING = ("analysis", "cli", "decide", "said", "shown", "simulation", "verification", "workbench")


def literals(path: Path) -> Iterator[str]:
    """Every text in a file of the source that is no docstring, the fixed parts of formatted ones too."""
    tree = ast.parse(path.read_text("utf-8"))
    alone = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in alone:
            yield node.value


@pytest.mark.parametrize("layer", TALKING)
def test_no_sentence_of_the_source_says_it(layer: str) -> None:
    """Every sentence that any command, paper or picture is put together from, whatever plant it is about."""
    files = sorted((Path(cyclesim.__file__).parent / layer).rglob("*.py"))
    assert files
    texts = [text for file in files for text in literals(file) if text != "mind"]  # the tone of a line
    assert [] == [text for text in texts if NEVER.search(text) or PLAINER.search(text)]
    assert [] == [
        text for text in texts if "a proven" in text or ("is proven" in text and "flow" not in text)
    ]


def test_neither_rules_nor_a_verification_nor_help_say_it() -> None:
    """Likewise every rule, a verification with stories, and what each command says of itself."""
    scenario = cyclesim.load(SHIPPED[0].with_stem("orchard-wall"))
    texts = [*sentences(rule_page()), *sentences(verify_page(cyclesim.verify(scenario)))]
    for command in ([], *([name] for name in cli.commands)):
        texts.append(CliRunner().invoke(cli, [*command, "--help"]).output)
    assert [] == [text for text in texts if NEVER.search(text)]


def test_the_walk_finds_what_it_looks_for() -> None:
    """In a line, a title, a note and a cell."""
    page = Page()
    page.line("It is certified.")
    page.table([], [("a volume is due",)], "Mind the gap", ["guaranteed"])
    assert 4 == sum(bool(NEVER.search(text)) for text in sentences(page))

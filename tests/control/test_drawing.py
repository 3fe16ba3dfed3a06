"""Drawings of machines: every transition is in them, and a light parse of each notation succeeds."""

from __future__ import annotations

import re
import shutil
from itertools import product
from xml.etree import ElementTree

import pytest

from cyclesim.control import diagram as drawing
from cyclesim.control.diagram import as_dot, as_mermaid, as_svg, as_text
from cyclesim.control.machines import Machine, Transition, pump_machine, source_machine

MAIN = pump_machine("main", ("low", "high"))
MACHINES = [
    MAIN,
    pump_machine("circulator", ("on",)),
    *(source_machine("element", *wiring) for wiring in product((False, True), repeat=3)),
]
every_machine = pytest.mark.parametrize("machine", MACHINES, ids=lambda m: f"{m.name}-{len(m.transitions)}")


def ends(machine: Machine) -> set[tuple[str, str]]:
    """The pairs of states that some transition joins."""
    return {(way.source, way.dest) for way in machine.transitions}


@every_machine
def test_text(machine: Machine) -> None:
    """The text fits 80 columns, names every pair of states that is joined, and no fact by its short name."""
    text = as_text(machine)
    assert max(len(line) for line in text.splitlines()) <= 80
    assert ends(machine) == set(re.findall(r"^  (\w+) -> (\w+): \w", text, re.MULTILINE))
    assert not set(machine.facts) & (set(re.findall(r"\w+", text)) - {"called", "trips", "reset"})


def test_text_of_a_person() -> None:
    """A line reads as a person would say it."""
    text = as_text(MAIN)
    assert "stopped -> low: low is wanted and it has rested\n" in text
    assert "low -> changing: high is wanted and the minimum run is over, or high is" in text
    assert "tripped -> off: nothing trips it and a person has reset it\n" in as_text(MACHINES[-1])


def test_unknown_fact() -> None:
    """A fact without words of its own is named as it is."""
    machine = Machine("m", "blower", ("off", "on"), "off", (Transition("off", "on", ("air",), ("level",)),))
    assert "off -> on: air and not level" in as_text(machine)


@every_machine
def test_mermaid(machine: Machine) -> None:
    """Every line of the Mermaid is an arrow between known states, with a label that ends no statement."""
    head, first, *arrows = as_mermaid(machine).splitlines()
    assert head == "stateDiagram-v2"
    assert first == f"    [*] --> {machine.initial}"
    found = [re.fullmatch(r"    (\w+) --> (\w+): ([\w ,-]+)", line) for line in arrows]
    assert None not in found
    assert ends(machine) == {match.group(1, 2) for match in found if match}


@every_machine
def test_dot(machine: Machine) -> None:
    """The dot declares every state once and joins declared states only; quotes and braces are balanced."""
    first, *lines, last = as_dot(machine).splitlines()
    assert first == f'digraph "{machine.name}" {{'
    assert last == "}"
    states = [m[1] for line in lines if (m := re.fullmatch(r"  (\w+)(?: \[peripheries=2\])?", line))]
    assert list(machine.states) == states
    edges = [
        m.group(1, 2) for line in lines if (m := re.fullmatch(r'  (\w+) -> (\w+) \[label="[^"]+"\]', line))
    ]
    assert ends(machine) == set(edges)
    assert len(lines) == len(states) + len(edges) + 2  # and the two lines of style


def test_dot_quotes_names() -> None:
    """A name with a quotation mark does not break the dot."""
    machine = Machine('the "old" one', "pump", MAIN.states, MAIN.initial, MAIN.transitions)
    assert as_dot(machine).startswith('digraph "the \\"old\\" one" {')


def test_no_dot(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without Graphviz there is no SVG, and no error."""
    monkeypatch.setattr(drawing.shutil, "which", lambda _: None)
    assert as_svg(MAIN) is None


@pytest.mark.skipif(shutil.which("dot") is None, reason="Graphviz is not installed")
@every_machine
def test_svg(machine: Machine) -> None:
    """Graphviz accepts the dot and draws every state and arrow."""
    svg = as_svg(machine)
    assert svg is not None
    titles = {
        element.text for element in ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}title")
    }
    assert set(machine.states) | {f"{a}->{b}" for a, b in ends(machine)} <= titles

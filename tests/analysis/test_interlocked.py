"""What a circuit carries at the worst, against every combination that a second reading of the file allows."""

from itertools import product

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from cyclesim.analysis.supply import most_carried
from cyclesim.scenario.reading.load import load_text
from cyclesim.simulation.assembly import Assembly
from tests.analysis.wirings import AMPS, LIGHTS_A, Wiring, wirings

FED_BY = {"element": "main", "second": "jets"}
"""Each loop touches nothing but the tub: water moves through a source just where this pump runs."""


def _true(cause: str, at: dict[str, str]) -> bool:
    subject, _, state = cause.partition(" ")
    now = at[subject]
    return bool(now) if state in ("running", "firing") else now == state


def _allowed(wiring: Wiring, at: dict[str, str], hot: dict[str, str]) -> bool:
    """*at*: what the controller has each thing at, "" for off; *hot*: a source fires, or its pump runs on."""
    kept = {(pump, speed) for pump, speed, source in wiring.keeps if hot[source]}
    order = {"": 0, "low": 1, "on": 1, "high": 2}
    if any(order[at[pump]] < order[speed] for pump, speed in kept):
        return False
    if at["cell"] and not at["main"]:
        return False
    for target, cause in wiring.blocks:
        name, _, speed = target.partition(" ")
        held = (name, at[name]) in kept  # a keep stands above a block
        if at[name] and speed in ("", at[name]) and not held and _true(cause, at):
            return False
    return True


def by_brute_force(wiring: Wiring) -> set[frozenset[tuple[str, str]]]:
    """Every set of things that may be on, found by trying them all."""
    found = set()
    names = ("main", "jets", "blower", "element", "second", "cell")
    ways = [("", "low", "high"), *[("", "on")] * 5]
    runs_on = {source for *_, source in wiring.keeps}
    for row in product(*ways):
        at = dict(zip(names, row, strict=True))
        for closed in product((False, True), repeat=len(wiring.past)):
            on = {(n, s) for n, s in at.items() if s}
            on |= {(n, "on") for n, is_closed in zip(wiring.past, closed, strict=True) if is_closed}
            moves = {name for name, _ in on}
            if any(at[source] and FED_BY[source] not in moves for source in wiring.proven):
                continue
            if wiring.own_switch and ("element", "on") in on and "main" not in moves:
                continue
            for extra in product((False, True), repeat=2):
                hot = {
                    source: at[source] or (more and source in runs_on)
                    for source, more in zip(("element", "second"), extra, strict=True)
                }
                if _allowed(wiring, at, hot):
                    found.add(frozenset(on))
    return found


def counted(wiring: Wiring, on: frozenset[tuple[str, str]] | set[tuple[str, str]]) -> float:
    """The sum by hand: heating, its pump, what is kept for it, the lights, the cell that goes with its pump
    and what a clock starts may go on for hours; a flush lasts a minute, and nothing asks for the rest."""
    most = 1.25 if wiring.region == "north_america" else 1.0
    long = {("main", "low"), ("element", "on"), ("second", "on"), ("cell", "on")}
    long |= {(pump, speed) for pump, speed, _ in wiring.keeps} | {(name, "on") for name in wiring.past}
    return most * LIGHTS_A + sum((most if key in long else 1.0) * AMPS[key] for key in on)


UNASKED = Wiring(
    (("main high", "jets running"), ("blower", "main low")),
    (),
    (("main", "high", "element"),),
    (),
    "europe",
    False,
)
"""A pump that is kept, and would read as lowered if it were asked for too."""


@settings(max_examples=60)
@given(wirings(), st.sampled_from(list(AMPS)))
@example(UNASKED, ("main", "high"))
def test_the_most_of_a_circuit_is_the_most_of_all_that_interlocks_allow(
    wiring: Wiring, having: tuple[str, str]
) -> None:
    """With a thing on at its worst; what may never be on is taken alone."""
    sums = [counted(wiring, on) for on in by_brute_force(wiring) if having in on]
    most = most_carried(Assembly(load_text(wiring.text())), "supply", having)
    assert having == most.loads[0][:2]
    assert max(sums, default=counted(wiring, {having})) == pytest.approx(most.counted_a)

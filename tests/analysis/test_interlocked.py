"""What a circuit carries at the worst: against sums by hand, and all that a search or a run reaches."""

from dataclasses import replace
from itertools import product

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from cyclesim.analysis.findings import Subject
from cyclesim.analysis.interlocked import holding
from cyclesim.analysis.most_carried import most_carried, most_of_all
from cyclesim.analysis.result import simulate
from cyclesim.analysis.supply import carried, loads_at
from cyclesim.scenario.reading.load import load_text
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from cyclesim.verification.judging import Judging
from cyclesim.verification.search import search
from cyclesim.verification.subjects import Check
from tests.analysis.wirings import AMPS, LIGHTS_A, Wiring, wirings
from tests.decide.test_supply_share import busy

ALONE = Wiring((), ("element", "second"), (), (), "europe", False)
WAYS = {
    "main": ("", "low", "high"),
    **dict.fromkeys(("jets", "blower", "element", "second", "cell"), ("", "on")),
}


def _true(cause: str, at: dict[str, str]) -> bool:
    subject, _, state = cause.partition(" ")
    now = at[subject]
    return bool(now) if state in ("running", "firing") else now == state


def by_brute_force(wiring: Wiring) -> list[set[tuple[str, str]]]:
    """Every set of things of which no block parts two, found by trying them all.

    What is started past the controller is on whatever its block says, and no block reads it.
    """
    blocks = [
        (target, cause)
        for target, cause in wiring.blocks
        if not {target.split()[0], cause.split()[0]} & {*wiring.past}
    ]
    found = []
    for row in product(*WAYS.values()):
        at = dict(zip(WAYS, row, strict=True))
        on = {(name, speed) for name, speed in at.items() if speed}
        parted = any(
            at[target.split()[0]] in (target.split()[1:] or ["on"]) and _true(cause, at)
            for target, cause in blocks
        )
        if not parted:
            found.append(on)
    return found


def counted(wiring: Wiring, on: set[tuple[str, str]]) -> float:
    """The sum by hand: heating, its pump, the lights, the cell that goes with its pump and what a clock
    starts may go on for hours; a flush lasts a minute, and nothing asks for the rest."""
    most = 1.25 if wiring.region == "north_america" else 1.0
    long = {("main", "low"), ("element", "on"), ("second", "on"), ("cell", "on")}
    long |= {(name, "on") for name in wiring.past}
    return most * LIGHTS_A + sum((most if key in long else 1.0) * AMPS[key] for key in on)


@settings(max_examples=20)
@given(wirings(), st.sampled_from(list(AMPS)))
def test_the_most_of_a_circuit_is_the_most_of_all_that_interlocks_allow(
    wiring: Wiring, having: tuple[str, str]
) -> None:
    """With sources that prove their flow, so that what reads them knows before they fire; and all at once."""
    wiring = wiring._replace(proven=("element", "second"), keeps=())
    lowered = {cause for _, cause in wiring.blocks} & {"main low"}
    assume(
        not (lowered and any(target == "main high" for target, _ in wiring.blocks))
    )  # it may be lowered late
    most = most_carried(Assembly(load_text(wiring.text())), "supply", having)
    assert having == most.kept.loads[0][:2]
    due = max(counted(wiring, on) for on in by_brute_force(wiring) if having in on)
    assert most.kept.counted_a == pytest.approx(due)
    free = wiring._replace(blocks=())
    assert most.without.counted_a == pytest.approx(
        max(counted(free, on) for on in by_brute_force(free) if having in on)
    )
    assert bool(most.by) == (most.kept.counted_a < most.without.counted_a - 1e-6)


@settings(max_examples=6)
@given(wirings(), st.sampled_from((0.0, 0.5)))
def test_no_state_that_a_search_reaches_draws_more(wiring: Wiring, opens_s: float) -> None:
    """Whatever is wired, proven or not, kept or started past the controller, with contacts that open late."""
    scenario = load_text(wiring.text().replace("current: 6 A", f"current: 6 A, opens_within: {opens_s} s"))
    judging = Judging(scenario, 0, True, None)
    fed = tuple(name for name, _ in AMPS)
    automaton = judging.automaton(
        Check((), Subject("supply", tuple(dict.fromkeys(fed)), late=True)), "commands"
    )
    snapshots = {id(s): s for s in map(automaton.snapshot, search(automaton, {}).came_from)}.values()
    drawn = [carried(judging.plant, "supply", loads_at(s, judging.plant)).drawn_a for s in snapshots]
    assert max(drawn) <= most_of_all(judging.plant, "supply").kept.drawn_a + 1e-9


@settings(max_examples=4)
@given(wirings())
def test_no_run_draws_more(wiring: Wiring) -> None:
    """Two busy days of winter."""
    scenario = busy(wiring, 20.0)
    most = most_of_all(Assembly(scenario), "supply").kept.drawn_a
    assert simulate(scenario, days=2).metrics.energy.circuits["supply"].most_current_a <= most + 1e-9


BLOCK = ("jets", "element firing")


@pytest.mark.parametrize(
    ("wiring", "opens_s", "holds"),
    [
        (ALONE._replace(blocks=(BLOCK,)), {}, True),  # the jets stop while the element proves its flow
        (ALONE._replace(blocks=(BLOCK,), proven=()), {}, False),  # it fires, and the jets stop a second later
        (
            ALONE._replace(blocks=(BLOCK,), past=("jets",)),
            {},
            False,
        ),  # a clock starts them past the controller
        (ALONE._replace(blocks=(("element", "jets running"),)), {}, True),  # it opens in the very pass
        (ALONE._replace(blocks=(("element", "jets running"),)), {"element": 0.2}, False),  # but not so soon
        (ALONE._replace(blocks=(BLOCK,)), {"jets": 0.2}, True),  # open before the proof is over
        (ALONE._replace(blocks=(("jets", "second firing"),), keeps=(("jets", "on", "second"),)), {}, False),
        (ALONE._replace(blocks=(("jets", "main running"),), keeps=(("jets", "on", "second"),)), {}, False),
    ],
)
def test_an_interlock_counts_only_if_it_holds_at_every_moment(
    wiring: Wiring, opens_s: dict[str, float], holds: bool
) -> None:
    """A keep stands above a block; what opens late, or is read too late, is on for a moment beside it."""
    controller = Programme(load_text(wiring.text())).controller
    mine = [b for b in controller.blocks if b.target in ("jets", "element") and not b.condition.negated]
    assert holding(controller, opens_s, WAYS) == (mine if holds else [])
    assert holding(controller, opens_s, ("jets",)) == [], "the other is on another circuit"
    assert holding(replace(controller, blocks=()), opens_s, WAYS) == []


def test_what_is_counted_despite_its_interlock_is_told() -> None:
    """10 A of the element and 6 A of the jets, for the second in which it fires unasked for proof."""
    plant = Assembly(load_text(ALONE._replace(blocks=(BLOCK,), proven=()).text()))
    most = most_carried(plant, "supply", ("jets", "on"))
    assert ("element", "on") in [load[:2] for load in most.kept.loads]
    assert [("jets", "element")] == [(b.target, b.condition.subject) for b in most.despite]
    assert not most.by

"""Plants drawn at random, run and verified: two ways that share the step, the water and the rules alone."""

import pytest

from cyclesim.analysis.findings import Breach
from cyclesim.analysis.history import History
from cyclesim.analysis.rules import judge, of_kind
from cyclesim.scenario.reading.load import load_text
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.engine import simulate_trace
from cyclesim.simulation.programme import Programme
from cyclesim.verification.judging import Judging
from tests.verify.drawn import DAYS, Drawn
from tests.verify.faulty import run_under, runnable

FAST, SLOW = range(30), range(30, 330)
FEW, MANY = 1_500, 6_000
"""States after which a rule counts as not decided, so that no plant takes long."""


def told(seed: int, most_states: int, monkeypatch: pytest.MonkeyPatch) -> tuple[set[tuple[str, str]], dict]:
    """(rule, subject) of what sixty days break, and the verdicts; mends are not what is looked at here."""
    monkeypatch.setattr("cyclesim.verification.search.MOST_STATES", most_states)
    monkeypatch.setattr(Judging, "_mends", lambda *_: iter(()))
    scenario = load_text(Drawn(seed).text, f"drawn-{seed}.yaml")
    plant, programme = Assembly(scenario), Programme(scenario)
    history = History(plant, programme, simulate_trace(plant, programme, days=DAYS, seed=seed))
    breaches = {
        (rule.id, breach.subject)
        for rule in of_kind("state").values()
        for breach in judge(rule, history)
        if isinstance(breach, Breach)
    }
    verdicts = Judging(scenario, 0, False, None).verdicts(None)
    return breaches, {(v.rule, v.subject): v for v in verdicts}


@pytest.mark.parametrize(
    ("seed", "most_states"),
    [*((seed, FEW) for seed in FAST), *(pytest.param(seed, MANY, marks=pytest.mark.slow) for seed in SLOW)],
)
def test_what_a_run_breaks_is_told_as_broken_or_not_decided(
    seed: int, most_states: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Sixty days of outages, starters, bathers and turned valves; what is told as broken was replayed."""
    breaches, verdicts = told(seed, most_states, monkeypatch)
    assert all(verdicts[key].broken or verdicts[key].is_open for key in breaches), breaches
    for verdict in verdicts.values():
        assert not verdict.broken or verdict.story is None or verdict.story.replayed == "by the engine"


@pytest.mark.parametrize(
    ("seed", "most_states"),
    [(1, 400), (10, FEW), *(pytest.param(seed, FEW, marks=pytest.mark.slow) for seed in range(2, 42))],
)
def test_what_a_run_breaks_under_a_fault_is_told_of_that_fault(
    seed: int, most_states: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ten days with each single fault: the cell of the matrix says broken, ended by a limit, or open."""
    monkeypatch.setattr("cyclesim.verification.search.MOST_STATES", most_states)
    monkeypatch.setattr(Judging, "_mends", lambda *_: iter(()))
    scenario = load_text(Drawn(seed).text, f"drawn-{seed}.yaml")
    plant, programme = Assembly(scenario), Programme(scenario)
    verdicts = {(v.rule, v.subject): v for v in Judging(scenario, 1, False, None).verdicts(None)}
    compared = 0
    for fault in runnable(plant, programme):
        history = run_under(plant, programme, fault, 10, warm_up_days=1, seed=seed)
        for key in {(rule.id, b.subject) for rule in of_kind("state").values() for b in judge(rule, history)
                    if isinstance(b, Breach)}:  # fmt: skip
            verdict, compared = verdicts[key], compared + 1
            cells = {cell.faults: cell.barrier for cell in verdict.cells}
            told = verdict.broken or verdict.undecided or verdict.story is not None
            assert told or cells[(fault.sentence,)] in ("nothing", "limit", "time", "undecided"), (key, fault)
    assert compared or seed > 10


def test_enough_of_the_drawn_plants_break_something_that_is_decided(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of the first ten plants most break a rule in their run, and what they break is decided."""
    decided = left = 0
    for seed in range(10):
        breaches, verdicts = told(seed, FEW, monkeypatch)
        decided += sum(verdicts[key].broken for key in breaches)
        left += sum(verdicts[key].is_open for key in breaches)
    assert decided > 10 * (left + 1)

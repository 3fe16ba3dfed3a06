"""Plants drawn at random, run and verified: two ways that share the step, the water and the rules alone.

What fails is told with the smallest file that shows it.
"""

from collections.abc import Callable

import pytest

from cyclesim.analysis.findings import Breach
from cyclesim.analysis.history import History
from cyclesim.analysis.rules import RULES, judge, of_kind
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load_text
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.engine import PlantRun, simulate_trace
from cyclesim.simulation.programme import Programme
from cyclesim.verification.answer import Verdict
from cyclesim.verification.judging import Judging
from tests.own_circuit import PLANT
from tests.verify.drawn import DAYS, Drawn
from tests.verify.drawn_wide import Wide
from tests.verify.faulty import run_under, runnable
from tests.verify.happening import Hours, read_off
from tests.verify.shrunk import shrunk

FAST, SLOW = range(30), range(30, 330)
FAST_WIDE = (9, 10, 13, 41)
SLOW_WIDE = [seed for seed in range(300) if seed not in FAST_WIDE]
"""Of those with more about them a few that are soon known, and have something of each kind between them."""
FEW, MANY = 1_500, 6_000
"""States after which a rule counts as not decided, so that no plant takes long."""
Key = tuple[str, str]
Told = dict[Key, Verdict]


@pytest.fixture(autouse=True)
def no_mends(monkeypatch: pytest.MonkeyPatch) -> None:
    """Mends are not what is looked at here."""
    monkeypatch.setattr(Judging, "_mends", lambda *_: iter(()))


@pytest.fixture
def looks_at(monkeypatch: pytest.MonkeyPatch) -> Callable[[int], None]:
    """Says how many states a search may have."""
    return lambda most: monkeypatch.setattr("cyclesim.verification.search.MOST_STATES", most)


def broken_in(history: History) -> set[Key]:
    """(rule, subject) of every rule of one instant that a run breaks."""
    rules = of_kind("state").values()
    return {(r.id, b.subject) for r in rules for b in judge(r, history) if isinstance(b, Breach)}


def told(scenario: Scenario, faults: int = 0, *, any_order: bool = False) -> Told:
    """The verdicts."""
    return {(v.rule, v.subject): v for v in Judging(scenario, faults, any_order, None).verdicts(None)}


def run(scenario: Scenario, seed: int) -> set[Key]:
    """What sixty days of outages, starters, bathers and turned valves break."""
    plant, programme = Assembly(scenario), Programme(scenario)
    return broken_in(History(plant, programme, simulate_trace(plant, programme, days=DAYS, seed=seed)))


def happened(scenario: Scenario, seed: int, times: int = 3) -> tuple[set[Key], set[Key]]:
    """What some hours of anything at all break, as the rules have it, and as it is read off.

    Whether collectors can warm the water the weather decides there, and not what happens.
    """
    plant, programme = Assembly(scenario), Programme(scenario)
    broken, read = set[Key](), set[Key]()
    for k in range(times):
        anything = PlantRun(plant, programme.controller, Hours(plant, programme, 1000 * seed + k).drive())
        anything.warm_up()
        trace = anything.finish()
        broken |= {key for key in broken_in(History(plant, programme, trace)) if "sun-" not in key[0]}
        read |= read_off(plant, trace)
    return broken, read


def held_by_switches(scenario: Scenario) -> set[Key]:
    """What flow switches that stand behind the contactors never let happen, whoever closes them."""
    sources = scenario.plant.heat_sources.items()
    own = {("own-water-still", n) for n, s in sources if s.own_water and s.own_water.flow_switch}
    return own | {
        ("heat-without-flow", n) for n, s in sources if s.switched and s.own_flow_switch_s is not None
    }


def untold(broken: set[Key], verdicts: Told) -> set[Key]:
    """What is broken, and neither told as broken nor as not decided."""
    return {key for key in broken if not (verdicts[key].broken or verdicts[key].is_open)}


def unreplayed(scenario: Scenario, verdicts: Told) -> set[Key]:
    """What is told as broken with a story that the engine has not run, and not by the plant alone."""
    plant, programme = Assembly(scenario), Programme(scenario)
    rules = [rule for rule in RULES.values() if rule.by_plant]
    by_plant = {(r.id, b.subject) for r in rules for b in r.by_plant(plant, programme)}
    broken = [v for v in verdicts.values() if v.broken and v.story and v.story.replayed != "by the engine"]
    return {(v.rule, v.subject) for v in broken} - by_plant


def smallest(text: str, shows: Callable[[Scenario], object]) -> str:
    """The smallest file that shows what was found, as it is told where a test fails."""
    return f"the smallest file:\n{shrunk(text, lambda scenario: bool(shows(scenario)))}"


CASES = [
    *(pytest.param(Drawn, seed, FEW, id=f"{seed}") for seed in FAST),
    *(pytest.param(Wide, seed, FEW, id=f"wide-{seed}") for seed in FAST_WIDE),
    *(pytest.param(Drawn, seed, MANY, id=f"{seed}", marks=pytest.mark.slow) for seed in SLOW),
    *(pytest.param(Wide, seed, MANY, id=f"wide-{seed}", marks=pytest.mark.slow) for seed in SLOW_WIDE),
]


@pytest.mark.parametrize(("kind", "seed", "most_states"), CASES)
def test_what_a_run_breaks_is_told_as_broken_or_not_decided(kind, seed, most_states, looks_at):
    """Sixty days; and what is told as broken was replayed."""
    looks_at(most_states)
    text = kind(seed).text
    scenario = load_text(text, f"drawn-{seed}.yaml")
    verdicts = told(scenario)
    if left := untold(run(scenario, seed), verdicts):
        raise AssertionError((left, smallest(text, lambda s: left <= untold(run(s, seed), told(s)))))
    if left := unreplayed(scenario, verdicts):
        raise AssertionError((left, smallest(text, lambda s: left <= unreplayed(s, told(s)))))


ANYTHING = [
    pytest.param(Drawn, 0, id="0"),
    *(pytest.param(Wide, seed, id=f"wide-{seed}") for seed in (*FAST_WIDE, 259)),
    *(pytest.param(Drawn, seed, id=f"{seed}", marks=pytest.mark.slow) for seed in range(1, 100)),
    *(pytest.param(Wide, seed, id=f"wide-{seed}", marks=pytest.mark.slow) for seed in SLOW_WIDE[:200]),
]


@pytest.mark.parametrize(("kind", "seed"), ANYTHING)
def test_what_may_happen_is_told_as_broken_or_not_decided(kind, seed, looks_at):
    """Demands, power, circuits, valves, people and contacts in any order, drawn without the search: what it
    says to be kept is never broken; and what can be read off second by second the rules have seen, too."""
    looks_at(FEW)
    text = kind(seed).text
    scenario = load_text(text, f"drawn-{seed}.yaml")
    broken, read = happened(scenario, seed)
    assert read <= broken
    assert not read & held_by_switches(scenario)

    def left(scenario: Scenario) -> set[Key]:
        return untold(happened(scenario, seed)[0], told(scenario, any_order=True))

    if found := left(scenario):
        raise AssertionError((found, smallest(text, lambda other: found <= left(other))))


def test_enough_happens_to_be_seen():
    """In hours of anything heat stands without water, own water stands under fire, and pumps run dry."""
    rules = {rule for seed in (3, 4) for rule, _ in happened(load_text(Wide(seed).text), seed, 1)[1]}
    assert {"heat-without-flow", "own-water-still"} <= rules


@pytest.mark.parametrize(
    ("kind", "seed", "most_states"),
    [
        (Drawn, 1, 400),
        (Drawn, 10, FEW),
        (Wide, 13, FEW),
        *(pytest.param(Drawn, seed, FEW, marks=pytest.mark.slow) for seed in range(2, 42)),
        *(pytest.param(Wide, seed, FEW, marks=pytest.mark.slow) for seed in range(60) if seed != 13),
    ],
)
def test_what_a_run_breaks_under_a_fault_is_told_of_that_fault(kind, seed, most_states, looks_at):
    """Ten days with each single fault: the cell of the matrix says broken, ended by a limit, or open."""
    looks_at(most_states)
    scenario = load_text(kind(seed).text, f"drawn-{seed}.yaml")
    plant, programme = Assembly(scenario), Programme(scenario)
    verdicts = told(scenario, 1)
    compared = 0
    for fault in runnable(plant, programme):
        history = run_under(plant, programme, fault, 10, warm_up_days=1, seed=seed)
        for key in broken_in(history):
            verdict, compared = verdicts[key], compared + 1
            cells = {cell.faults: cell.barrier for cell in verdict.cells}
            is_told = verdict.broken or verdict.undecided or verdict.story is not None
            unheld = cells.get((fault.sentence,)) in ("nothing", "limit", "time", "undecided")
            assert is_told or unheld, (key, fault)
    assert compared or seed > 10


def test_enough_of_the_drawn_plants_break_something_that_is_decided(looks_at):
    """Of the first five plants most break a rule in their run, and what they break is decided."""
    looks_at(FEW)
    decided = left = 0
    for seed in range(5):
        scenario = load_text(Drawn(seed).text, f"drawn-{seed}.yaml")
        breaches, verdicts = run(scenario, seed), told(scenario)
        decided += sum(verdicts[key].broken for key in breaches)
        left += sum(verdicts[key].is_open for key in breaches)
    assert decided > 5 * (left + 1)


def test_a_file_is_shrunk_to_what_shows_it():
    """What a file needs, and the circulator that was asked for with the boiler whose water it turns."""
    small = shrunk(PLANT, lambda scenario: bool(scenario.plant.circulators))
    plant = load_text(small, "small.yaml").plant
    assert (["boiler_pump"], ["boiler"]) == (list(plant.circulators), list(plant.heat_sources))
    assert [] == [word for word in ("interlocks", "keep_at", "high_limit") if word in small]

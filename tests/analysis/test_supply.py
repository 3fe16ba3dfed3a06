"""Circuits, what lasts for hours, and starting currents, against sums done by hand."""

from collections.abc import Callable

import pytest

from cyclesim.analysis.findings import Breach
from cyclesim.analysis.history import History
from cyclesim.analysis.result import measure
from cyclesim.analysis.rules import RULES, judge
from cyclesim.analysis.supply import current_a
from cyclesim.scenario.blocks.place import Circuit

Run = Callable[..., History]
Changes = tuple[tuple[str, str], ...]
H = 3600


def told(history: History) -> list[Breach]:
    """What breaks supply-overload."""
    rule = RULES["supply-overload"]
    return [b for b in judge(rule, history) if isinstance(b, Breach)]


def on(circuits: str, region: str = "europe") -> tuple[str, str]:
    """The supply on several circuits."""
    return "breaker: 20 A", f"circuits: {{{circuits}}}, region: {region}"


TWO = on("house: {breaker: 10 A, feeds: [main, lights]}, shed: {breaker: 9 A, feeds: [element]}")


def test_every_kind_of_load_is_in_the_current(run: Run, winter: Changes) -> None:
    """Pump 1.5 A, heat pump 8 A by its nameplate, boiler 115 W, blower 690 W and lights 230 W at 230 V."""
    history = run(
        *winter,
        pumps={"main": [(0, "low")]},
        sources={"unit": [(0, "firing")], "boiler": [(0, "firing")]},
        blowers={"blower": [(0, "on")]},
    )
    (snapshot, _), *rest = history.truth.snapshots
    assert [] == rest
    assert pytest.approx(1.5 + 8.0 + 0.5 + 3.0 + 1.0) == current_a(snapshot, history.plant)
    some = Circuit.model_construct(breaker_a=10.0, feeds=("blower", "boiler", "lights"))
    assert pytest.approx(0.5 + 3.0 + 1.0) == current_a(snapshot, history.plant, some)


def test_a_heat_pump_without_a_nameplate_current(run: Run, winter: Changes) -> None:
    """The most of its rated points, 6000 W / 4 = 4200 W / 2.8 = 1500 W, at 230 V."""
    history = run(*winter, ("current: 8 A, ", ""), sources={"unit": [(0, "firing")]})
    (snapshot, _), *_ = history.truth.snapshots
    assert pytest.approx(1500.0 / 230.0 + 1.0) == current_a(snapshot, history.plant)


def test_each_circuit_is_judged_by_what_it_feeds(run: Run) -> None:
    """Element 10 A on 9 A; the pump's 7 A and the lights' 1 A are well on 10 A."""
    history = run(TWO, pumps={"main": [(0, "high")]}, sources={"element": [(H, "firing"), (2 * H, "off")]})
    (breach,) = told(history)
    assert ("shed", "element alone", H) == (breach.subject, breach.cause, breach.at_s)
    assert "10.0 A of 9 A" == breach.text
    larger = (TWO[0], TWO[1].replace("9 A", "10 A"))
    assert [] == told(run(larger, pumps={"main": [(0, "high")]}, sources={"element": [(H, "firing")]}))


def test_the_most_current_of_each_circuit(run: Run) -> None:
    """House 1.5 + 1 A from 00:00 and 7 + 1 A from 10:00 on, shed 10 A from 12:00 on; 18 A in all."""
    history = run(
        TWO, pumps={"main": [(0, "low"), (10 * H, "high")]}, sources={"element": [(12 * H, "firing")]}
    )
    energy = measure(history).energy
    at = {name: (pytest.approx(c.most_current_a), c.at, c.breaker_a) for name, c in energy.circuits.items()}
    assert at == {
        "house": (8.0, "2027-03-01T10:00:00+00:00", 10.0),
        "shed": (10.0, "2027-03-01T12:00:00+00:00", 9.0),
    }
    assert (pytest.approx(18.0), None) == (energy.most_current_a, energy.breaker_a)


# 5.5 kW at 240 V = 22.92 A, and 125 % of that 28.65 A: arithmetic; the rule, for what runs for 3 h or more,
# is NEC 210.19 and 210.20, from memory, not opened
LARGE = (("voltage: 230 V", "voltage: 240 V"), ("output: 2300 W", "output: 5500 W"))


@pytest.mark.parametrize(
    ("region", "breaker", "lasts_s", "broken"),
    [
        ("north_america", 28, 3 * H, True),
        ("north_america", 28, 3 * H - 1, False),
        ("north_america", 29, 3 * H, False),
        ("europe", 28, 3 * H, False),
    ],
)
def test_what_runs_for_three_hours_counts_a_quarter_more(
    run: Run, region: str, breaker: int, lasts_s: int, broken: bool
) -> None:
    """In north_america only, from its first second, and with a cause of its own."""
    circuits = (
        f"shed: {{breaker: {breaker} A, feeds: [element]}}, house: {{breaker: 20 A, feeds: [main, lights]}}"
    )
    history = run(*LARGE, on(circuits, region), sources={"element": [(H, "firing"), (H + lasts_s, "off")]})
    breaches = told(history)
    assert broken == bool(breaches)
    for breach in breaches:
        assert (H, lasts_s, pytest.approx(28.65, abs=0.005)) == (breach.at_s, breach.lasts_s, breach.worst)
        assert "element alone, element for 3 h or more and so counted 125%" == breach.cause


def test_what_lasts_counts_more_than_what_does_not(run: Run) -> None:
    """Element 10 A for 3 h counts 12.5 A, the lights, always on, 1.25 A, and 7 A of a short high 7 A."""
    history = run(
        on("all: {breaker: 20 A, feeds: [main, lights, element]}", "north_america"),
        pumps={"main": [(2 * H, "high"), (2 * H + 60, "stopped")]},
        sources={"element": [(0, "firing"), (3 * H, "off")]},
    )
    (breach,) = told(history)
    assert (pytest.approx(20.75), 2 * H, 60) == (breach.worst, breach.at_s, breach.lasts_s)


def test_the_worst_second_of_a_start(run: Run) -> None:
    """High starts with 30 A beside the lights' 1 A at 01:00, and beside the element's 10 A too at 05:00."""
    steps = [(H, "high"), (2 * H, "stopped"), (5 * H, "low"), (5 * H + 60, "changing"), (5 * H + 62, "high")]
    history = run(
        ("current: 7 A", "current: 7 A, starting_current: 30 A"),
        pumps={"main": steps},
        sources={"element": [(4 * H, "firing"), (6 * H, "off")]},
    )
    circuit = measure(history).energy.circuits["supply"]
    assert (pytest.approx(41.0), "2027-03-01T05:01:02+00:00") == (
        circuit.most_starting_a,
        circuit.starting_at,
    )
    assert pytest.approx(18.0) == circuit.most_current_a, "what is told of a start is no running current"
    assert [] == told(history), "a start is no overload"


def test_without_a_starting_current_none_is_told(run: Run) -> None:
    """A file that leaves it out gets no number for it."""
    circuit = measure(run(pumps={"main": [(H, "high")]})).energy.circuits["supply"]
    assert (None, None) == (circuit.most_starting_a, circuit.starting_at)


@pytest.mark.parametrize(("breaker", "broken"), [(13, True), (16, False)])
def test_three_kilowatts_are_too_much_for_a_plug_of_13_a(run: Run, breaker: int, broken: bool) -> None:
    """3 kW at 230 V are 13.04 A: arithmetic."""
    house = "house: {breaker: 10 A, feeds: [main, lights]}"
    plug = on(f"plug: {{breaker: {breaker} A, feeds: [element]}}, {house}")
    breaches = told(run(plug, ("output: 2300 W", "output: 3 kW"), sources={"element": [(0, "firing")]}))
    assert (["13.04 A of 13 A"] if broken else []) == [b.text for b in breaches]


def test_a_start_with_nothing_else_on_the_supply(run: Run) -> None:
    """30 A as the pump starts, and nothing beside it: sums of no loads at all make no trouble either."""
    history = run(
        ("current: 7 A", "current: 7 A, starting_current: 30 A"),
        ("also_on_it: {lights: 230 W}", "also_on_it: {}"),
        pumps={"main": [(H, "high"), (2 * H, "stopped")]},
    )
    assert pytest.approx(30.0) == measure(history).energy.circuits["supply"].most_starting_a

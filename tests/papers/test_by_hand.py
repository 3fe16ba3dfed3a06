"""Tests by hand: told apart by the engine, with readings worked out on paper, and lost with their barrier."""

import re
from pathlib import Path

import pytest

from cyclesim.scenario.reading.load import load, load_text
from cyclesim.verification.by_hand import hand_tests
from cyclesim.verification.verifier import verify

SCHEDULES = Path(__file__).parents[2] / "schedules"
SHIPPED = sorted(SCHEDULES.glob("*.yaml"))
GARDEN = (SCHEDULES / "walled-garden.yaml").read_text(encoding="utf-8")


def told(scenario):
    """(what is done, what is looked at, with what) -> {kind of barrier: (drawn, without)} of each test."""
    return {
        (test.kind, test.subject, test.done): {
            one.barrier.kind: (test.reads_s, one.reads_s) for one in test.tells
        }
        for test in hand_tests(scenario).tests
    }


def test_the_readings_of_a_plant_are_those_worked_out_by_hand():
    """Walled garden: the flow is proven for 5 s, the pump runs on for 60 s, the file's own numbers.

    Without the block nothing delays the element: 0 s. A bridged switch has said yes all along, so that the
    proof begins in the pass that calls: 5 s. A block opens in the pass that asks for high.
    """
    assert {
        ("stays off", "element", "main"): {"proof": (None, 0.0), "flow switch": (None, 5.0)},
        ("wire off", "element", "element"): {"proof": (None, 0.0)},
        ("goes off", "element", "line flush"): {"block": (0.0, None)},
        ("runs on", "main", ""): {"keep": (60.0, 0.0)},
    } == told(load_text(GARDEN))


def test_what_no_watch_tells_is_said_to_be_untold():
    """A changeover of 2 s reads 1 s without it, which no person tells; of 10 s it is told."""
    untold = [(b.kind, b.subject) for b in hand_tests(load_text(GARDEN)).untold]
    assert [("high limit", "element"), ("changeover", "main")] == untold
    slow = load_text(GARDEN.replace("changeover: 2 s", "changeover: 10 s"))
    assert {"changeover": (10.0, 1.0)} == told(slow)["changes over", "main", "line flush"]


@pytest.mark.parametrize(
    ("line", "lost"),
    [
        ("block: element, unless: flow proven, for: 5 s", {"stays off", "wire off"}),
        ("block: element, while: main high, because: the breaker", {"goes off"}),
        ("keep: main low, after: element, lasting: 60 s", {"runs on"}),
    ],
)
def test_without_its_line_in_the_file_a_test_is_not_printed(line, lost):
    """The other way round, by the text of the file: what is not wired is not said to be tried."""
    kinds = {"stays off", "wire off", "goes off", "runs on"}
    assert line in GARDEN
    without = load_text(GARDEN.replace(f"  - {{{line}}}\n", ""))
    assert kinds - lost == {kind for kind, *_ in told(without)}


def test_what_is_never_on_is_not_said_to_go_off():
    """Heating at the very speed that blocks the element: it never comes on, and no test sees it go off."""
    blocked = told(load_text(GARDEN, sets=["schedule.heating.pump=main high"]))
    assert not [kind for kind, *_ in blocked if kind in ("goes off", "runs on")]


def test_a_level_switch_a_valve_and_a_pressure_switch_are_told_for_what_they_are():
    """Low water stops the pump; a shut valve keeps heat off by flow, and not by pressure."""
    level = told(load_text(GARDEN, sets=["plant.tub.level_switch=true"]))
    assert {"level switch": (0.0, None)} == level["low water", "main", "tub"]
    valve = "\n  valves:\n    isolating: {drop: 0.1 m at 400 L/min, usual: open}\n\n  network:"
    valved = GARDEN.replace("\n  network:", valve).replace("filter, element,", "filter, element, isolating,")
    with_flow = told(load_text(valved))
    assert {"proof", "flow switch"} == set(with_flow["stays off", "element", "isolating"])
    blind = valved.replace("by: flow_switch", "by: pressure_switch, closes_at: 1 m")
    assert ("stays off", "element", "isolating") not in told(load_text(blind))


def test_what_starts_past_the_controller_is_held_by_its_own_switch_or_by_nothing():
    """The orchard wall has nothing to try; mended, its own switch and its contact are both told."""
    assert {} == told(load(SCHEDULES / "orchard-wall.yaml"))
    assert {
        ("own start", "heat_pump", "circulator, jets"): {"own flow switch": (None, 0.0)},
        ("comes on", "circulator", ""): {"contact": (0.0, None)},
    } == told(load(SCHEDULES / "orchard-wall-mended.yaml"))


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_every_interlock_of_a_shipped_plant_is_told(path):
    """No line under `interlocks` is left without a test; one that no hand can try is told as such.

    A block while a circulator is stopped reads what the controller tells it: whoever isolates the circulator
    tries its flow switch, not the block.
    """
    scenario = load(path)
    told = hand_tests(scenario)
    lines = [one.barrier.line for test in told.tests for one in test.tells]
    left = [line for line in scenario.interlocks if not any(line is known for known in lines)]
    assert left == [
        line for line in scenario.interlocks if getattr(line, "while_", "") == "boiler_pump stopped"
    ]
    assert left == [barrier.line for barrier in told.untold if barrier.line is not None]


@pytest.mark.parametrize("name", ["walled-garden", "walled-garden-circulator", "orchard-wall-mended"])
def test_what_the_search_says_is_held_is_tried(name):
    """The matrix of faults is a second way: a pump that heats and does not start is held, and isolated."""
    scenario = load(SCHEDULES / f"{name}.yaml")
    tried = {(test.subject, pump) for test in hand_tests(scenario).tests for pump in test.done.split(", ")}
    heating = scenario.schedule.heating
    feeds = [heating.pump.pump] if heating else list(scenario.plant.pumps)
    held = set()
    for verdict in verify(scenario, faults=1, rule="heat-without-flow").verdicts:
        for cell in verdict.cells:
            match = re.match(r"(\w+) does not start", cell.faults[0])
            if match and match[1] in feeds and cell.barrier in ("controller", "own switch"):
                held.add((verdict.subject, match[1]))
    assert held
    assert held <= tried

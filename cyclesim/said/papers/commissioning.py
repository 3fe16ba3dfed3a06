"""The tests that a person does on the finished plant, in words."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

from cyclesim.analysis.amounts import exactly, lasting, listed
from cyclesim.control.demands import BlockInterlock
from cyclesim.said.papers.hand_test import WrittenTest
from cyclesim.said.papers.paper import Sheet
from cyclesim.scenario.blocks.schedule import Block, Keep
from cyclesim.scenario.reading.done_tests import FILLED
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import HEATING, Programme
from cyclesim.verification.by_hand import HandTests
from cyclesim.verification.hand_scripts import HandTest, Told
from cyclesim.verification.held_by import PlantBarrier

_SPARE_S = 3
"""What a person needs to look and to press a watch: our choice."""


def written(tests: HandTests, plant: Assembly, programme: Programme) -> tuple[WrittenTest, ...]:
    """Every test in words, each under a name of its own that stays the same while the plant does."""
    known: dict[str, int] = {}
    found = []
    for test in tests.tests:
        parts = filter(None, (test.kind, test.subject, test.done, test.source))
        id_ = "-".join(parts).replace(",", "").replace(" ", "-")
        known[id_] = count = known.get(id_, 0) + 1
        found.append(_Words(test, plant, programme).all(id_ if count == 1 else f"{id_}-{count}"))
    return tuple(found)


def say_untold(sheet: Sheet, tests: HandTests, plant: Assembly, programme: Programme) -> None:
    """What the plant as drawn does not hold, and the barriers that no test by hand tells, with why."""
    if tests.unheld:
        sheet.heading("What the plant as drawn does not hold")
        for test in tests.unheld:
            wanted = _Words(test, plant, programme).title
            comes_on = f"in the model {test.subject} comes on after {lasting(test.reads_s or 0.0)}"
            sheet.line(
                f"Not so: {wanted}; {comes_on}. Mend this before the plant is handed over.", tone="strong"
            )
    if tests.untold:
        sheet.heading("What these tests do not tell")
        said = ((barrier_said(barrier, plant), barrier.kind) for barrier in tests.untold)
        sheet.checks([f"{clause}: {_UNTOLD.get(kind, _NOT_APART)}" for clause, kind in said])


_NOT_APART = "no test tells it alone: something else does the same, or nothing calls it. Look at the wiring."
_UNTOLD = {
    "high limit": "no test here heats water that stands still. Try it as its maker says, and note how.",
    "changeover": "too short for a watch. See with an instrument that both contactors are open in between.",
}


def barrier_said(barrier: PlantBarrier, plant: Assembly) -> str:
    """What holds, as a clause."""
    name, line = barrier.subject, barrier.line
    match barrier.kind:
        case "proof" | "block" | "keep":
            assert line is not None
            return interlock_said(line)
        case "flow switch":
            device = plant.sheet.treatment.get(name) or plant.sheet.heat_sources[name]
            return f"the {device.proof.by.replace('_', ' ')} of {name} opens without flow"
        case "own flow switch":
            return f"the own flow switch of {name} keeps it off without flow"
        case "own water switch":
            return f"the flow switch in the own water of {name} keeps it off while that stands"
        case "high limit":
            return f"the high limit of {name} trips it"
        case "series":
            return f"the contact of {name} is in series with that of its pump"
        case "level switch":
            return "the level switch stops pumps and heat"
        case "changeover":
            return f"{name} is off for {exactly(plant.pumps[name].changeover_s)} between its speeds"
    return f"the contact of {barrier.starter.rpartition(' of ')[2]} starts {name}"


def interlock_said(line: Block | Keep) -> str:
    """An interlock of the file, as a clause."""
    if isinstance(line, Keep):
        return f"{_at(*line.keep)} is kept running for {exactly(line.lasting_s)} after {line.after}"
    if line.unless:
        return f"{line.block} is kept off until water has flowed for {exactly(line.for_s or 0.0)}"
    return _kept_off(line.block, str(line.while_))


def block_said(block: BlockInterlock) -> str:
    """An interlock as the controller has it that keeps one thing off while another is on, as a clause."""
    return _kept_off(
        _at(block.target, block.speed or "on"), f"{block.condition.subject} {block.condition.state}"
    )


def _kept_off(target: str, condition: str) -> str:
    return f"{target} is kept off while {_is(condition)}"


def _at(pump: str, speed: str) -> str:
    return pump if speed == "on" else f"{pump} {speed}"


def _is(condition: str) -> str:
    """`main high` as `main runs high`, `element firing` as `element is firing`."""
    name, _, state = condition.rpartition(" ")
    return f"{name} runs on {state}" if state in ("low", "high") else f"{name} is {state}"


class _Steps(NamedTuple):
    """What is done in one test."""

    name: str
    set_up: tuple[str, ...]
    do: str
    see: str
    reading: str


class _Words:
    """One test in words."""

    def __init__(self, test: HandTest, plant: Assembly, programme: Programme) -> None:
        self.test, self.plant, self.programme = test, plant, programme

    def all(self, id_: str) -> WrittenTest:
        """All that is written down of it."""
        steps = self._steps()
        barriers = [barrier_said(told.barrier, self.plant) for told in self.test.tells]
        rules = tuple(dict.fromkeys(rule for told in self.test.tells for rule in told.breaks))
        why = f"Shows that {listed(barriers)}."
        why += f" Rules that break without it: {', '.join(rules)}." if rules else ""
        name, set_up, do, see, reading = steps
        within_s = self._within_s()
        return WrittenTest(id_, name, why, set_up, do, see, within_s, reading, self._if_not(), rules)

    @property
    def title(self) -> str:
        """What is to be seen, in short."""
        return self._steps().name

    def _within_s(self) -> int:
        """How long one looks [s]."""
        if self.test.kind in ("goes off", "low water", "comes on", "changes over"):
            return math.ceil(self.test.reads_s or 0.0) + _SPARE_S
        return self.test.look_s

    def _steps(self) -> _Steps:
        test, name, within = self.test, self.test.subject, lasting(self._within_s())
        still = f"{name} stays off for {lasting(test.look_s)}."
        hand = f"Keep a hand at the isolator of {name}: if it comes on, switch it off at once."
        until_on = "seconds until it came on, or none"
        match test.kind:
            case "stays off" if test.done in self.plant.sheet.valves:
                set_up = (f"Shut {test.done}.", hand)
                title = f"{name} stays off with {test.done} shut"
                return _Steps(title, set_up, self._call(), f"{still} Open {test.done} again.", until_on)
            case "stays off":
                set_up = (f"Switch {test.done} off at its own isolator. All else is on.", hand)
                title = f"{name} stays off with {test.done} isolated"
                return _Steps(title, set_up, self._call(), still, until_on)
            case "wire off":
                proof = self._proof()
                wire = f"With the supply off and locked, take one wire off the {proof} of {name}. Switch on."
                title = f"{name} stays off with a wire of its {proof} off"
                see = f"{still} Put the wire back in the same way."
                return _Steps(title, (wire, hand), self._call(), see, until_on)
            case "own start":
                pumps = listed(test.done.split(", "))
                set_up = (f"Switch {pumps} off at their own isolators. All else is on.", hand)
                title = f"{name} stays off without a pump, whoever calls it"
                return _Steps(title, set_up, self._contact(), still, until_on)
            case "comes on":
                see, ready = f"{name} starts within {within}.", "All is on, and nothing is called."
                title = f"{test.source} starts {name}"
                return _Steps(title, (ready,), self._contact(), see, "seconds until it started")
            case "goes off":
                ready = f"{self._call()} Wait until {name} is on ({lasting(test.called_s)} at most)."
                do = f"{_upper(test.done)}." if test.done.startswith("end ") else _start(test.done)
                see = f"{name} goes off within {within} and stays off."
                title = f"{name} goes off at this: {test.done}"
                return _Steps(title, (ready,), do, see, "seconds until it went off")
            case "low water":
                ready = f"{_start(test.demand)} Wait until {name} runs."
                do = "Put the level switch where low water would put it."
                see = f"{name} stops within {within} and stays off."
                return _Steps(f"{name} stops at low water", (ready,), do, see, "seconds until it stopped")
            case "runs on":
                ready = f"{self._call()} Wait {lasting(test.called_s)}: {test.source} is on."
                least = lasting(float(self.programme.run_on_s(test.source)))
                see = f"{name} runs for {least} or more after {test.source} has gone off."
                do = "End the call for heat: set the set point below the water's temperature."
                return _Steps(f"{name} runs on after {test.source}", (ready,), do, see, "seconds that it ran")
        gap = lasting(self.plant.pumps[name].changeover_s)
        ready = f"{_start(test.demand)} Wait until {name} runs on low."
        see = f"Both contactors of {name} are open for {gap} or more before high closes."
        title = f"{name} changes over with a pause"
        return _Steps(title, (ready,), _start(test.done), see, "seconds of the pause")

    def _proof(self) -> str:
        name = self.test.subject
        device = self.plant.sheet.treatment.get(name) or self.plant.sheet.heat_sources[name]
        return device.proof.by.replace("_", " ")

    def _call(self) -> str:
        demand = next((d for d in self.programme.controller.demands if d.name == self.test.demand), None)
        if demand is not None and demand.kind == HEATING:
            alone = "" if demand.name == HEATING else f", so that {demand.calls[0]} is asked for"
            return f"Call for heat: set the set point above the water's temperature{alone}."
        return _start(self.test.demand)

    def _contact(self) -> str:
        target, _, way = self.test.demand.partition(", ")
        if "thermostat" in way:
            return f"Turn the thermostat of {target} up until it calls."
        return f"Let the {way} of {target} call."

    def _if_not(self) -> str:
        off = f"Leave {self.test.source or self.test.subject} switched off until the cause is found."
        return f"{off} In the model, {'; '.join(map(self._without, self.test.tells))}."

    def _without(self, told: Told) -> str:
        name, reads = self.test.subject, lasting(told.reads_s or 0.0)
        missing = "without the interlock" if told.barrier.line else "without it"
        if told.barrier.kind == "flow switch":
            missing = f"with the {self._proof()} bridged or stuck"
        match self.test.kind:
            case "runs on":
                return (
                    f"{missing}, {name} runs on for {reads}"
                    if told.reads_s
                    else f"{missing}, {name} does not"
                )
            case "changes over":
                return f"{missing}, the pause is {reads}"
            case "goes off" | "low water":
                return f"{missing}, {name} stays on"
            case "comes on":
                return f"{missing}, {name} does not start"
        return f"{missing}, it comes on after {reads}"


def _start(demand: str) -> str:
    if "bathing" in demand:
        return f"Press the button of the jets ({demand})."
    return f"Start this by hand: {demand}."


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def test_values(tests: tuple[WrittenTest, ...]) -> list[dict[str, Any]]:
    """Every test as plain values, with what is to be filled in left open."""
    return list(map(_values, tests))


def _values(test: WrittenTest) -> dict[str, Any]:
    done = test.done
    return {
        "id": test.id,
        "name": test.name,
        "why": test.why,
        "set_up": list(test.set_up),
        "do": test.do,
        "see": test.see,
        "within_s": test.within_s,
        "to_note": test.reading,
        "if_not": test.if_not,
        "rules_broken_without": list(test.breaks),
        **(done._asdict() if done else dict.fromkeys(FILLED, "")),
    }

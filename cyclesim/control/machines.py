"""The small state machine of one actuator, as data, and its table, filled in by the transitions library.

A changeover is served at rest too: a two-speed pump that stops on the way from high to low still waits it
out.

A call that comes back during a run-on leads to a proof of its own, `proving_again`, in which the pump is kept
as before: where the call ends there, the run-on that is still owed begins anew. A rest of the source's own
leads out of the run-on through `off` alone.

Proving is a state. A source whose file has `unless: flow proven` waits in `proving` for just as long; without
that line it fires at once, so that a missing interlock shows.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cache

from transitions import Machine as TransitionsMachine

TRIGGER = "settle"
PROOFS = ("proving", "proving_again")
"""The states in which a source waits while its flow is proven."""
OWES_RUN_ON = ("run_on", "proving_again")
"""The states in which a source has fired and its pump has not run on for all of its time yet."""


@dataclass(frozen=True, slots=True)
class Transition:
    """One way out of a state: taken when every fact of `when` is true and none of `unless`."""

    source: str
    dest: str
    when: tuple[str, ...] = ()
    unless: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Machine:
    """States and the transitions between them; of two that match, the one written first is taken."""

    name: str
    kind: str
    states: tuple[str, ...]
    initial: str
    transitions: tuple[Transition, ...]

    @property
    def facts(self) -> tuple[str, ...]:
        """The facts that the guards read, in order of first use."""
        return tuple(
            dict.fromkeys(
                fact for transition in self.transitions for fact in (*transition.when, *transition.unless)
            )
        )


@dataclass(frozen=True, slots=True)
class MachineTable:
    """A machine's answers: `next[state][bits]`, where bit i of `bits` says whether `facts[i]` is true."""

    facts: tuple[str, ...]
    states: tuple[str, ...]
    next: tuple[tuple[int, ...], ...]
    initial: int = 0

    def after(self, state: int, facts: Mapping[str, bool]) -> int:
        """The state after one look at the facts, which must name all of `self.facts`."""
        bits = 0
        for i, fact in enumerate(self.facts):
            if facts[fact]:
                bits |= 1 << i
        return self.next[state][bits]


def pump_machine(name: str, speeds: tuple[str, ...]) -> Machine:
    """The machine of a pump with speeds ("on",) or ("low", "high"), slowest first.

    `time_up` means that the time declared for the present state is over: the rest of `stopped`, the minimum
    run of a speed, the changeover of `changing` (break before make). `forced` leaves a speed before its
    minimum run is over; nothing shortens a rest or a changeover. `wants_high` counts only with `wants_run`.
    Raises ValueError for other speeds.
    """
    if speeds == ("on",):
        transitions = [Transition("stopped", "on", ("wants_run", "time_up")), *_stops("on")]
        return Machine(name, "pump", ("stopped", "on"), "stopped", tuple(transitions))
    if speeds != ("low", "high"):
        raise ValueError(f"pump {name!r}: speeds are ('on',) or ('low', 'high'), not {speeds!r}")
    transitions = [
        Transition("stopped", "high", ("wants_run", "wants_high", "time_up")),
        Transition("stopped", "low", ("wants_run", "time_up"), ("wants_high",)),
        *_stops("low"),
        Transition("low", "changing", ("wants_run", "wants_high", "time_up")),
        Transition("low", "changing", ("wants_run", "wants_high", "forced")),
        *_stops("high"),
        Transition("high", "changing", ("wants_run", "time_up"), ("wants_high",)),
        Transition("high", "changing", ("wants_run", "forced"), ("wants_high",)),
        Transition("changing", "high", ("wants_run", "wants_high", "time_up")),
        Transition("changing", "low", ("wants_run", "time_up"), ("wants_high",)),
        Transition("changing", "stopped", ("time_up",), ("wants_run",)),
    ]
    return Machine(name, "pump", ("stopped", "low", "high", "changing"), "stopped", tuple(transitions))


def _stops(speed: str) -> list[Transition]:
    return [
        Transition(speed, "stopped", ("time_up",), ("wants_run",)),
        Transition(speed, "stopped", ("forced",), ("wants_run",)),
    ]


def source_machine(
    name: str,
    proves: bool,
    runs_on: bool,
    rests: bool = False,
    runs_at_least: bool = False,
    active: str = "firing",
) -> Machine:
    """The machine of a heat source, or of a treatment device, whose `active` state has another name.

    `proves`: a means of proof is wired, so it waits in `proving` before it fires. `runs_on`: a keep is wired,
    so it waits in `run_on` after it fired. `rests`: it must rest after firing, so it leaves `run_on` only
    through `off`, where the rest is served; otherwise it may fire again from `run_on`, by way of
    `proving_again` where it proves.
    `runs_at_least`: once it fires it fires its minimum run, whether still called or not; a block or the loss
    of its flow opens it all the same. `time_up` is the rest of `off`, the proof time of `proving`, the least
    time of `firing`, the run-on time of `run_on`; `proving_again` has that of `proving`.
    """
    first, after = ("proving" if proves else active), ("run_on" if runs_on else "off")
    again = "proving_again" if proves and runs_on and not rests else active
    states = list(dict.fromkeys(["off", first, active, after, again, "tripped"]))
    calls = ("called", "flow_ok") if proves else ("called",)  # without a means of proof nothing asks for flow
    transitions = [Transition(state, "tripped", ("trips",)) for state in states[:-1]]
    transitions.append(Transition("tripped", "off", ("reset",), ("trips",)))  # only a person resets it
    transitions.append(Transition("off", first, (*calls, "time_up"), ("blocked",)))
    if proves:
        transitions += _opens("proving", "off", calls)
        transitions.append(Transition("proving", active, ("time_up",)))
    transitions += _opens(active, after, calls, ("time_up",) if runs_at_least else ())
    if runs_on:
        if not rests:
            transitions.append(Transition("run_on", again, calls, ("blocked",)))
        transitions.append(Transition("run_on", "off", ("time_up",)))
    if again != active:
        transitions += [*_opens(again, "run_on", calls), Transition(again, active, ("time_up",))]
    kind = "heat source" if active == "firing" else "treatment"
    return Machine(name, kind, tuple(states), "off", tuple(transitions))


def _opens(state: str, dest: str, calls: tuple[str, ...], served: tuple[str, ...] = ()) -> list[Transition]:
    """Out by a block, or by a call that is missing; `served` must be over before a mere end of the call."""
    transitions = [Transition(state, dest, ("blocked",))]
    return transitions + [
        Transition(state, dest, served if fact == "called" else (), (fact,)) for fact in calls
    ]


class MachineModel:
    """What the transitions library moves: a state, and the facts as plain attributes."""

    state: str


def adopt(machine: Machine, model: MachineModel) -> TransitionsMachine:
    """A flat machine of the transitions library that moves `model` on its one trigger."""
    return TransitionsMachine(
        model=model,
        states=list(machine.states),
        initial=machine.initial,
        transitions=[
            {
                "trigger": TRIGGER,
                "source": transition.source,
                "dest": transition.dest,
                "conditions": list(transition.when),
                "unless": list(transition.unless),
            }
            for transition in machine.transitions
        ],
        auto_transitions=False,
        queued=False,
    )


@contextmanager
def _quiet() -> Iterator[None]:
    """The library reports every state it leaves and enters at level INFO; thousands of lines help nobody."""
    logger = logging.getLogger("transitions")
    level = logger.level
    logger.setLevel(logging.WARNING)
    try:
        yield
    finally:
        logger.setLevel(level)


def tabulate(machine: Machine) -> MachineTable:
    """Every state times every assignment of the facts that its ways out read, fired once by the library.

    Every state needs a way out, or the library refuses the trigger there with a MachineError.
    """
    return _table(replace(machine, name=""))


@cache
def _table(machine: Machine) -> MachineTable:
    """That of every machine of this form: the pumps of a plant, and those of all candidates of a sweep."""
    model, facts = MachineModel(), machine.facts
    engine = adopt(machine, model)
    trigger = engine.events[TRIGGER].trigger

    def fire(state: str, bits: int) -> int:
        for i, fact in enumerate(facts):
            setattr(model, fact, bool(bits >> i & 1))
        engine.set_state(state, model)
        trigger(model)
        return machine.states.index(model.state)

    def row(state: str) -> tuple[int, ...]:
        out = replace(machine, transitions=tuple(t for t in machine.transitions if t.source == state))
        read = sum(1 << i for i, fact in enumerate(facts) if fact in out.facts)
        after = {bits: fire(state, bits) for bits in range(1 << len(facts)) if bits & ~read == 0}
        return tuple(after[bits & read] for bits in range(1 << len(facts)))

    with _quiet():
        rows = tuple(row(state) for state in machine.states)
    return MachineTable(facts, machine.states, rows, machine.states.index(machine.initial))

"""A story put to the engine: times are found that fit it, and the engine runs it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from cyclesim.analysis.findings import Breach
from cyclesim.analysis.history import History
from cyclesim.analysis.rules import RULES, judge
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.drive import Drive, has_laws
from cyclesim.simulation.engine import PlantRun
from cyclesim.simulation.hourly_weather import weather, zones
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.trace import Span, joined
from cyclesim.verification.answer import Replayed
from cyclesim.verification.automaton import Automaton, Move, Node
from cyclesim.verification.faults import FAULTS, FaultyPlant, welds

Path = Sequence[tuple[Automaton, Move | None, Node]]
_BEGINS_S, _WARM_UP_S = 600, 3600
_TAIL_S, _LONG_TAIL_S = 120, 4 * 3600
"""How long the last state is held: what lasts for 3 h counts more on a circuit in north_america."""


def replayed(
    plant: Assembly,
    programme: Programme,
    rule: str,
    subject: str,
    path: Path,
    at_most_s: Mapping[str, int] = {},
) -> tuple[Replayed, list[int]]:
    """Whether the engine, given the story's facts, breaks the same rule; and when its steps come [s].

    *at_most_s*: as in `fitted`. What no run can be given goes by its order, if some times fit it.
    """
    faults = path[-1][0].faults
    times = fitted(path, at_most_s)
    if times is None:
        return "in order, not in time", []
    arounds = [automaton.flows.around(node.env) for automaton, _, node in path]
    if not all(FAULTS[fault.kind].replayed for fault in faults) or any(
        a.hot - a.cold - a.half for a in arounds
    ):
        return "order only", times
    faulty = FaultyPlant(plant, faults) if faults else plant
    run = PlantRun(faulty, programme.controller, drive_of(plant, path, times, _tail_s(plant, rule)))
    run.warm_up()
    history = History(faulty, programme, run.finish())
    for breach in judge(RULES[rule], history):
        if isinstance(breach, Breach) and breach.subject == subject:
            return "by the engine", times
    return "in order, not in time", []


def _tail_s(plant: Assembly, rule: str) -> int:
    lasting = RULES[rule].continuous and plant.scenario.supply.region == "north_america"
    return _LONG_TAIL_S if lasting else _TAIL_S


def fitted(path: Path, at_most_s: Mapping[str, int] = {}) -> list[int] | None:
    """The earliest whole seconds at which the steps can come; None if none fit.

    *at_most_s*: how long facts that a clock decides are true at a stretch; where a person presses what they
    like, they are so for any time.
    Each state gives bounds between two instants; the earliest times that keep all of them are found by
    raising them round by round, and a bound that never settles shows that there are none.
    """
    least: list[tuple[int, int, float]] = [*_within(path, at_most_s)]  # T[b] >= T[a] + w
    began: dict[int, int] = {}
    last_pass = 0
    for k, (automaton, move, node) in enumerate(path):
        if k:
            before = path[k - 1]
            assert move is not None
            silent = bool(move.ended) and all(i >= automaton.controller_timers for i in move.ended)
            due = before[0].is_due(before[2])
            least.append((k - 1, k, 0.0))
            if not silent:
                least.append((last_pass, k, 1.0))
                if due:
                    least.append((k, last_pass, -1.0))
            elif due:
                least.append((k, last_pass, -1.0))
            for i in move.ended:
                lasts = before[0].timer_lasts_s(before[2], i)
                least += [(began[i], k, lasts), (k, began[i], -lasts)]
            if not silent:
                last_pass = k
            for i, remaining in enumerate(before[2].timers):
                if (
                    remaining and i not in move.ended
                ):  # it goes on, or is stopped no later than it would have ended
                    spare = automaton.spare_s(i, silent)
                    least.append((k, began[i], spare - before[0].timer_lasts_s(before[2], i)))
            for i, remaining in enumerate(node.timers):
                new = i < automaton.machine_count and node.state[i] != before[2].state[i]
                if remaining and (new or i in move.ended or not before[2].timers[i]):
                    began[i] = k
        else:
            began = {i: 0 for i, remaining in enumerate(node.timers) if remaining}
    times = [0.0] * len(path)
    for _ in range(len(path) + 1):
        moved = False
        for a, b, w in least:
            if times[b] < times[a] + w - 1e-9:
                times[b], moved = times[a] + w, True
        if not moved:
            return [round(t - times[0] + 0.49) for t in times]
    return None


def _within(path: Path, at_most_s: Mapping[str, int]) -> Iterator[tuple[int, int, float]]:
    """That nothing is true for longer at a stretch than the calendar ever has it so."""
    if any(fault.kind == "person" for fault in path[-1][0].faults):
        return
    controller = path[0][0].controller
    for name, most_s in at_most_s.items():
        bit, began = controller.bit(name) if name in controller.facts else 0, -1
        for k, (automaton, _, node) in enumerate(path):
            is_true = bool(automaton.flows.around(node.env).mask & bit)
            if began >= 0 and (not is_true or k == len(path) - 1):
                yield k, began, -float(most_s)
            began = (began if began >= 0 else k) if is_true else -1


def drive_of(plant: Assembly, path: Path, times: Sequence[int], tail_s: int) -> Drive:
    """A story as what drives a run: nothing moves but what it moves, after a while in which nothing does."""
    begins = [_BEGINS_S + t for t in times]
    ends = [*begins[1:], begins[-1] + tail_s]
    facts: dict[str, list[Span]] = {}
    people: list[tuple[int, int, bool]] = []
    turns: list[tuple[int, str, str | None]] = []
    resets: list[tuple[int, str]] = []
    broken: dict[tuple[str, str], int] = {}
    cuts: list[tuple[int, str, bool]] = []
    positions, out = plant.usually, frozenset[str]()
    for (automaton, move, node), start, end in zip(path, begins, ends, strict=True):
        around = automaton.flows.around(node.env)
        for n, fact in enumerate(automaton.controller.facts):
            if around.mask >> n & 1 and start < end:
                facts.setdefault(fact, []).append((start, end))
        people.append((start, 2 * around.people, False))
        turned = zip(plant.turnable, positions, around.positions, strict=True)
        turns += [(start, name, new) for name, old, new in turned if old != new]
        positions = around.positions
        cuts += [(start, circuit, circuit in around.circuits) for circuit in sorted(out ^ around.circuits)]
        out = around.circuits
        for contact in welds(automaton.faults):
            broken.setdefault(contact, start)
        if move is not None and move.event[0] == "resets":
            resets.append((start, automaton.flows.devices[move.event[1]]))
    return drive_by(
        plant,
        ends[-1],
        {fact: joined(spans) for fact, spans in facts.items()},
        turns=turns,
        people=people,
        resets=resets,
        cuts=cuts,
        welds=[(start_s, *contact) for contact, start_s in broken.items()],
    )


def drive_by(plant: Assembly, span_s: int, facts: Mapping[str, Sequence[Span]], **others: Any) -> Drive:
    """What drives a run in which nothing moves but what these *facts* move; *others*: fields of a `Drive`."""
    scenario = plant.scenario
    zone = ZoneInfo(scenario.place.time_zone)
    begin_utc = datetime(scenario.place.year, 3, 1, tzinfo=zone).astimezone(UTC)
    air = weather(scenario, begin_utc, _WARM_UP_S, span_s) if has_laws(scenario) else None
    around = zones(scenario, begin_utc, _WARM_UP_S, span_s)
    return Drive(begin_utc, -_WARM_UP_S, span_s, around, air, facts=facts, **others)

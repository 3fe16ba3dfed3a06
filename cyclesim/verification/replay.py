"""A story put to the engine: times are found that fit it, and the engine runs it."""

from __future__ import annotations

from collections.abc import Generator, Sequence
from dataclasses import replace
from datetime import date

import simpy

from cyclesim.analysis.findings import Breach
from cyclesim.analysis.history import History
from cyclesim.analysis.rules import RULES, judge
from cyclesim.control.step import LEVEL_LOW, POWER_LOST, WAITS, Starter
from cyclesim.scenario.blocks.wiring import Starter as StarterLine
from cyclesim.simulation.assembly import Plant, PlantDuty, Positions, Speeds
from cyclesim.simulation.clock import At, Priority
from cyclesim.simulation.engine import _Run
from cyclesim.simulation.programme import Programme, WiredContact
from cyclesim.simulation.trace import Span, joined
from cyclesim.verification.answer import Replayed
from cyclesim.verification.automaton import Automaton, Move, Node
from cyclesim.verification.faults import FAULTS, FaultyPlant, PlantFault, welds

Path = Sequence[tuple[Automaton, Move | None, Node]]
_BEGINS_S, _WARM_UP_S = 600, 3600
_TAIL_S, _LONG_TAIL_S = 120, 4 * 3600
"""How long the last state is held: what lasts for 3 h counts more on a circuit in north_america."""


def replayed(
    plant: Plant, programme: Programme, rule: str, subject: str, path: Path
) -> tuple[Replayed, list[int]]:
    """Whether the engine, given the story's facts, breaks the same rule; and when its steps come [s]."""
    faults = path[-1][0].faults
    if not all(FAULTS[fault.kind].replayed for fault in faults) or any(
        automaton.flows.around(node.env).hot for automaton, _, node in path
    ):
        return "order only", []
    times = fitted(path)
    if times is None:
        return "in order, not in time", []
    history = _Replay(plant, programme, path, times, faults, _tail_s(plant, rule)).history()
    for breach in judge(RULES[rule], history):
        if isinstance(breach, Breach) and breach.subject == subject:
            return "by the engine", times
    return "in order, not in time", []


def _tail_s(plant: Plant, rule: str) -> int:
    lasting = RULES[rule].continuous and plant.scenario.supply.region == "north_america"
    return _LONG_TAIL_S if lasting else _TAIL_S


def fitted(path: Path) -> list[int] | None:
    """The earliest whole seconds at which the steps can come; None if none fit.

    Each state gives bounds between two instants; the earliest times that keep all of them are found by
    raising them round by round, and a bound that never settles shows that there are none.
    """
    least: list[tuple[int, int, float]] = []  # T[b] >= T[a] + w
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
                lasts = _lasts_s(before[0], before[2], i)
                least += [(began[i], k, lasts), (k, began[i], -lasts)]
            if not silent:
                last_pass = k
            for i, left in enumerate(node.timers):
                goes_on = left and before[2].timers[i] and i not in move.ended
                if i < automaton.machine_count and node.state[i] != before[2].state[i]:
                    goes_on = False
                if goes_on:
                    spare = 1.0 if i < automaton.controller_timers else 0.0
                    least.append((k, began[i], spare - _lasts_s(automaton, node, i)))
                elif left:
                    began[i] = k
        else:
            began = {i: 0 for i, left in enumerate(node.timers) if left}
    times = [0.0] * len(path)
    for _ in range(len(path) + 1):
        moved = False
        for a, b, w in least:
            if times[b] < times[a] + w - 1e-9:
                times[b], moved = times[a] + w, True
        if not moved:
            return [round(t - times[0] + 0.49) for t in times]
    return None


def _lasts_s(automaton: Automaton, node: Node, i: int) -> float:
    return float(
        automaton.dwells_s[i][node.state[i]] if i < automaton.machine_count else automaton.lasts_s[i]
    )


class _ScriptedPlant(FaultyPlant):
    """The plant with the faults of a story, and none of what moves facts by itself."""

    def __init__(self, plant: Plant, faults: frozenset[PlantFault]) -> None:
        schedule = plant.scenario.schedule.model_copy(
            update={"heating": None, "frost_protection": None, "bathing": (), "low_water": ("by the story",)}
        )
        bare = Plant(plant.scenario.model_copy(update={"schedule": schedule}))
        super().__init__(bare, faults)
        self.temp_c = plant.temp_c  # that at which the search solved its duties

    def duty(self, speeds: Speeds, positions: Positions | None = None, *, dry: bool = False) -> PlantDuty:
        """A pump that does not start moves no water, whatever its contact says."""
        dead = [name in self.broken.dead for name in self.pumps]
        if not any(dead):
            return super().duty(speeds, positions, dry=dry)
        true = tuple("stopped" if off else speed for off, speed in zip(dead, speeds, strict=True))
        return replace(super().duty(true, positions, dry=dry), speeds=speeds)


class _Scripted(Programme):
    """The programme with its calendar and all that is beside it moved by a story."""

    def __init__(self, programme: Programme, spans: dict[str, list[Span]], welded: Sequence[str]) -> None:
        self.__dict__.update(programme.__dict__)
        self._spans = spans
        still = StarterLine.model_validate({"hand_switch": []})
        self.beside = [WiredContact(b.starter, still) for b in programme.beside]
        stuck = []
        for at in welded:
            target, _, speed = at.partition("/")
            pump = any(p.name == target for p in programme.controller.pumps)
            stuck.append(Starter(_weld(at), target, speed if pump else None))
        self.beside += [WiredContact(starter, still) for starter in stuck]
        self.controller = replace(programme.controller, starters=(*programme.controller.starters, *stuck))

    def raised(self, *_: object, **__: object) -> dict[str, list[Span]]:
        """Demands as the story raises them."""
        return {n.removesuffix(".raised"): s for n, s in self._spans.items() if n.endswith(".raised")}

    def wired(self, *_: object) -> dict[str, list[Span]]:
        """Contacts and hand switches as the story moves them."""
        return {n: s for n, s in self._spans.items() if n.endswith((".closed", ".switched_off"))}

    def outages(self, *_: object) -> list[Span]:
        """Power cuts of the story."""
        return self._spans.get(POWER_LOST, [])

    def waits(self, *_: object) -> list[Span]:
        """When the controller waits for a person in the story."""
        return self._spans.get(WAITS, [])

    def low_water(self, *_: object) -> list[Span]:
        """When the water is low in the story."""
        return self._spans.get(LEVEL_LOW, [])

    def turns(self, *_: object) -> list[tuple[int, str, str | None]]:
        """Valves that the story turns."""
        return []


def _weld(at: str) -> str:
    return f"{at.replace('/', ' ')}, welded contactor"


class _Replay(_Run):
    """The engine, with a story in place of the calendar, the weather and the people."""

    def __init__(
        self,
        plant: Plant,
        programme: Programme,
        path: Path,
        times: list[int],
        faults: frozenset[PlantFault],
        tail_s: int,
    ) -> None:
        begins_s = _WARM_UP_S + _BEGINS_S
        end_s = begins_s + times[-1] + tail_s
        welded = [f"{name}/{speed}" for name, speed in welds(faults)]
        spans, people = _spans(path, times, begins_s, end_s)
        script = _Scripted(programme, spans, welded)
        scripted_turns = _turns(plant, path, times, begins_s)
        script.turns = lambda *_: scripted_turns  # type: ignore[method-assign]
        days = (end_s - _WARM_UP_S) // 86_400 + 1
        super().__init__(
            _ScriptedPlant(plant, faults),
            script,
            date(plant.scenario.place.year, 3, 1),
            days,
            0,
            _WARM_UP_S,
            None,
        )
        if people:
            changes = [(at, n, False) for start, end in people for at, n in ((start, 2), (end, 0))]
            self.env.process(self._bathers(changes))
        resets = [
            (begins_s + t - _WARM_UP_S, automaton.wiring.resets[move.event[1]], automaton)
            for (automaton, move, _), t in zip(path, times, strict=True)
            if move is not None and move.event[0] == "resets"
        ]
        if resets:
            self.env.process(
                self._reset_at(
                    [(at, a.controller.sources[a.wiring.resets.index(b)].name) for at, b, a in resets]
                )
            )

    def _reset_at(self, resets: list[tuple[int, str]]) -> Generator[simpy.Event, None, None]:
        """A person resets what has tripped."""
        for at, name in resets:
            yield At(self.env, at, Priority.POST)
            self._post(self.controller.bit(f"{name}.trips"), False)
            self._post(self.controller.bit(f"{name}.reset"), True)
            yield At(self.env, at + 1, Priority.POST)
            self._post(self.controller.bit(f"{name}.reset"), False)

    def history(self) -> History:
        """The run from its warm-up on, in which nothing happens."""
        self.warm_up()
        return History(self.plant, self.programme, self.finish())


def _spans(
    path: Path, times: list[int], begins_s: int, end_s: int
) -> tuple[dict[str, list[Span]], list[Span]]:
    """Per fact when the story has it true, in seconds from the origin; and when people bathe."""
    found: dict[str, list[Span]] = {}
    people: list[Span] = []
    for k, (automaton, _, node) in enumerate(path):
        start = begins_s + times[k]
        end = begins_s + times[k + 1] if k + 1 < len(path) else end_s
        if end <= start:
            continue
        around = automaton.flows.around(node.env)
        for n, fact in enumerate(automaton.controller.facts):
            if around.mask >> n & 1:
                found.setdefault(fact, []).append((start, end))
        for name, speed in welds(automaton.faults):
            found.setdefault(f"{_weld(f'{name}/{speed}')}.closed", []).append((start, end))
        if around.people:
            people.append((start, end))
    return {fact: joined(spans) for fact, spans in found.items()}, joined(people)


def _turns(plant: Plant, path: Path, times: list[int], begins_s: int) -> list[tuple[int, str, str | None]]:
    """(second, valve, position) of every turn of the story."""
    now, found = plant.usually, list[tuple[int, str, str | None]]()
    for (automaton, _, node), t in zip(path, times, strict=True):
        positions = automaton.flows.around(node.env).positions
        for name, old, new in zip(plant.turnable, now, positions, strict=True):
            if old != new:
                found.append((begins_s + t, name, new))
        now = positions
    return found

"""Every check of a plant: searched, told, tried under faults and with mends."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator
from contextlib import suppress
from dataclasses import replace
from functools import cached_property
from itertools import combinations
from typing import NamedTuple

from cyclesim.analysis.mends import changes
from cyclesim.analysis.rules import RULES, of_kind
from cyclesim.analysis.trials import Days, run_days
from cyclesim.errors import CycleSimError
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.wired import Wiring
from cyclesim.verification.answer import Cell, DeadEnd, Mend, Timed, Verdict, harmless_first
from cyclesim.verification.automaton import Automaton
from cyclesim.verification.barriers import barrier, still_works, worse, worse_cell
from cyclesim.verification.calendar_order import Calendar
from cyclesim.verification.cone import Cone, cone_of, groups
from cyclesim.verification.dead_ends import dead_ends
from cyclesim.verification.environment import Environment, Kind
from cyclesim.verification.faults import (
    FAULTS,
    FaultyPlant,
    PlantFault,
    faults_of,
    misleads,
    reroutes,
    touches,
)
from cyclesim.verification.search import Explored, TooManyStatesError, search
from cyclesim.verification.subjects import Check, checks, judges
from cyclesim.verification.telling import Teller, in_any_order
from cyclesim.verification.timed import timed, year_of
from cyclesim.verification.turned import told_apart

Progress = Callable[[str, int, int], None]
"""Told what is looked at, the states found so far, and how many of them are still to be followed."""
_STORIES_TRIED = 40
"""How many states that break a rule are looked for: each is put to the engine before all ways in time are."""
_WEEK = 7
"""How many days of January are run with a mend that holds, for what it breaks besides."""


class Ends(NamedTuple):
    """What is no rule of one instant."""

    dead_ends: tuple[DeadEnd, ...] = ()
    timed: tuple[Timed, ...] = ()


class Judging:
    """One verification: plant, programme and calendar are read once."""

    def __init__(
        self, scenario: Scenario, faults: int, any_order: bool, on_progress: Progress | None
    ) -> None:
        self.scenario, self.faults, self.any_order, self.on_progress = (
            scenario,
            faults,
            any_order,
            on_progress,
        )
        self.plant, self.programme = Assembly(scenario), Programme(scenario)
        self.calendar = Calendar(self.programme)
        at_most_s = {} if any_order else self.calendar.longest_s
        self.teller = Teller(self.plant, self.programme, self.calendar, at_most_s)
        self.loops = groups(self.plant)
        self._apart: dict[object, dict[str, tuple[str, ...]]] = {}
        self._cones: dict[tuple[tuple[str, ...], bool], Cone] = {}
        self.mends_faults = False
        """Whether mends are tried against faults, too: it takes a while, so for one rule at a time."""
        self.every_fault = list(faults_of(self.plant, self.programme))

    def checks(self) -> list[Check]:
        """What there is to verify; what only a fault can break, if faults are tried."""
        return checks(self.plant, self.programme, faults=self.faults > 0)

    def not_needed(self, rule: str | None) -> Iterator[tuple[str, str]]:
        """Rules that have nothing to be about."""
        about = {name for check in self.checks() for name in check.rules}
        for name, of in of_kind("state").items():
            if rule in (None, name) and name not in about:
                yield name, of.nothing

    def verdicts(self, rule: str | None) -> list[Verdict]:
        """Every check of every rule, or of one."""
        return self.put_together(v for check in self.asked(rule) for v in self.judged(check))

    def asked(self, rule: str | None) -> list[Check]:
        """Every check, or those of one rule."""
        narrowed = (
            replace(check, rules=tuple(name for name in check.rules if rule in (None, name)))
            for check in self.checks()
        )
        return [check for check in narrowed if check.rules]

    def put_together(self, found: Iterable[Verdict]) -> list[Verdict]:
        """Verdicts in the order of the rules; the sets of an overload are told as one."""
        verdicts: dict[tuple[str, str], Verdict] = {}
        for verdict in found:
            key = verdict.rule, verdict.subject
            verdicts[key] = worse(verdicts[key], verdict) if key in verdicts else verdict
        order = list(of_kind("state"))
        return sorted(verdicts.values(), key=lambda v: order.index(v.rule))

    def ends(self) -> Ends:
        """Dead ends and facts of time, for which a year is run."""
        year = year_of(self.plant, self.programme)
        ends = dead_ends(self.plant, self.programme, self.calendar, year)
        return Ends(tuple(ends), tuple(timed(self.plant, self.programme, year)))

    def automaton(
        self,
        check: Check,
        kind: Kind,
        faults: frozenset[PlantFault] = frozenset(),
        *,
        whole: bool = False,
        coarse: bool = True,
    ) -> Automaton:
        """The automaton of a check; where demands come as they like, a *coarse* order is quicker."""
        person = any(fault.kind == "person" for fault in faults)
        misread = next((f.sentence for f in faults if misleads(f, check.about.kept_out)), "")
        cone = cone_of(self.plant, self.programme, check.about.machines, whole=whole, alone=check.about.flush)
        cone = self._cones.setdefault((cone.names, check.about.flush), cone)  # its steps are remembered
        env = Environment(
            self.plant,
            self.programme,
            self.calendar,
            cone,
            kind=kind,
            person=person,
            tells_flush=check.about.flush or bool(check.about.kept_out),
            hot=check.about.hot,
            people=check.about.people,
            kept_out=check.about.kept_out,
            misread=misread,
            turned=None if check.about.kept_out else self._told_apart(cone, check.about.watched),
        )
        return Automaton(
            self.plant,
            cone,
            env,
            check.about.watched,
            late=check.about.late,
            faults=faults,
            coarse=coarse and kind == "commands",
        )

    def _told_apart(self, cone: Cone, watched: tuple[str, ...]) -> dict[str, tuple[str, ...]]:
        """The positions of valves that a check can tell apart, under whatever fault."""
        if (known := self._apart.get((cone.names, watched))) is None:
            switched = {source.name for source in cone.controller.sources}
            extra = [name for name in watched if name not in switched]
            wirings = [Wiring(plant, cone.controller, extra) for plant in self._rerouted]
            known = self._apart[cone.names, watched] = told_apart(wirings)
        return known

    @cached_property
    def _rerouted(self) -> list[Assembly]:
        """The plant, and as it is with each fault, or each few at once, that moves water elsewhere."""
        faults = [fault for fault in self.every_fault if reroutes(fault)]
        some = (few for n in range(1, max(1, self.faults) + 1) for few in combinations(faults, n))
        turns = any(len(valve.positions) > 1 for valve in self.plant.turnable.values())
        return [self.plant, *(FaultyPlant(self.plant, frozenset(few)) for few in some if turns)]

    def _tell(self, search_name: str) -> Callable[[int, int], None] | None:
        tell = self.on_progress
        return None if tell is None else lambda states, left: tell(search_name, states, left)

    def judged(self, check: Check) -> Iterator[Verdict]:
        """Each rule of a check."""
        search_name = f"{check.rules[0]} ({check.subject})"
        automaton = self.automaton(check, "commands")
        try:
            commands = search(automaton, judges(check, automaton), self._tell(search_name))
        except TooManyStatesError as error:
            for name in check.rules:
                why = self._by_plant(name, check.subject)
                yield (
                    self._broken_by_plant(name, check, error.explored, why, cut_short=True)
                    if why
                    else self._cut_short(name, check, error)
                )
            return
        cells = self._cells(check, commands) if self.faults else {}
        for name in check.rules:
            if why := self._by_plant(name, check.subject):
                yield self._broken_by_plant(name, check, commands, why)
            elif name not in commands.broken:
                cone = commands.automaton.cone.names
                yield self._verdict(name, check, cone, commands.states, cells=cells.get(name, ()))
            else:
                try:
                    yield self._in_order(name, replace(check, rules=(name,)), commands)
                except TooManyStatesError as error:
                    yield self._cut_short(name, check, error)

    def _cut_short(self, name: str, check: Check, error: TooManyStatesError) -> Verdict:
        """A rule with more states than are searched: broken if the engine goes one way that was found."""
        cone = error.explored.automaton.cone.names
        try:
            explored = self._refined(name, check)
        except TooManyStatesError as by_calendar:
            explored = by_calendar.explored
        for node, why in explored.broken.get(name, ()):
            story = self.teller.told(name, check, explored.path(node))
            if story.replayed == "by the engine":
                return self._verdict(
                    name, check, cone, explored.states, broken=True, why=why, story=story, cut_short=True
                )
        return self._verdict(name, check, cone, 0, undecided=str(error))

    def _by_plant(self, name: str, subject: str) -> str:
        """Why the plant alone breaks a rule of a subject; "" where it does not."""
        by_plant = RULES[name].by_plant
        breaches = by_plant(self.plant, self.programme) if by_plant else ()
        return next((breach.cause for breach in breaches if breach.subject == subject), "")

    def _broken_by_plant(
        self, name: str, check: Check, commands: Explored, why: str, *, cut_short: bool = False
    ) -> Verdict:
        """Broken whatever the order of events; with its story where some order comes to it soon enough."""
        story = None
        if name in commands.broken:
            try:
                refined = self._refined(name, replace(check, rules=(name,)))
            except TooManyStatesError as error:
                refined = error.explored
            story = self.teller.story(name, check, refined)[1] if name in refined.broken else None
        return self._verdict(
            name, check, commands.automaton.cone.names, commands.states, broken=True,
            why=why, story=story, mends=() if cut_short else harmless_first(self._mends(name, check)),
            cut_short=cut_short,
        )  # fmt: skip

    def _in_order(self, name: str, check: Check, commands: Explored) -> Verdict:
        """A rule that some order breaks: whether the calendar's own does, and how."""
        cone = commands.automaton.cone.names
        exact = self._exactly(check)
        if name not in exact.broken:  # it was the coarse order of timers
            cells = self._cells(check, exact)[name] if self.faults else ()
            return self._verdict(name, check, cone, exact.states, cells=cells)
        refined = self._refined(name, check)
        if name not in refined.broken:
            cells = self._cells(check, refined, exact)[name] if self.faults else ()
            return self._verdict(name, check, cone, refined.states, cells=cells, only_in_another_order=True)
        why, story = self.teller.story(name, check, refined)
        if story is None:
            cells = self._cells(check, refined, exact)[name] if self.faults else ()
            return self._verdict(name, check, cone, refined.states, cells=cells, held_by_time=True)
        mends = harmless_first(self._mends(name, check))
        return self._verdict(
            name, check, cone, refined.states, broken=story.replayed == "by the engine",
            why=why, story=story, mends=mends,
        )  # fmt: skip

    def _refined(self, name: str, check: Check) -> Explored:
        """The search with the calendar, or with demands one by one in any order: as a story is told."""
        narrowed = replace(check, rules=(name,))
        automaton = self.automaton(narrowed, "any order" if self.any_order else "calendar")
        tell = self._tell(f"{name} ({check.subject}), by the calendar")
        return search(automaton, judges(narrowed, automaton), tell, until_broken=_STORIES_TRIED)

    def _verdict(
        self, name: str, check: Check, cone: Collection[str], states: int, **outcome: object
    ) -> Verdict:
        rule = RULES[name]
        fields: dict[str, object] = {"broken": False, **outcome}
        return Verdict(
            name,
            rule.severity,
            check.subject,
            rule.sentence,
            rule.source,
            tuple(cone),
            states,
            **fields,  # type: ignore[arg-type]
        )

    # -- faults --------------------------------------------------------------------------------------------

    def _cells(
        self, check: Check, before: Explored, any_order: Explored | None = None
    ) -> dict[str, tuple[Cell, ...]]:
        """Every fault, and every pair of two that each are held; *any_order* is what holds no calendar."""
        cells_of: dict[str, list[Cell]] = {name: [] for name in check.rules}
        rules = [name for name in check.rules if any_order is not None or name not in before.broken]
        single: list[tuple[PlantFault, Explored]] = []
        exact: Explored | None = None
        for fault in self.every_fault:
            base = any_order if any_order is not None and fault.any_order else before
            try:
                after = self._under(check, base, fault)
            except TooManyStatesError as error:
                for name in rules:
                    cells_of[name].append(self._cut_cell(name, check, (fault,), error, base))
                continue
            cells = [self._cell(name, check, (fault,), after, base) for name in rules]
            if any(cell.barrier == "time" for cell in cells) and base.automaton.coarse:
                with suppress(TooManyStatesError):  # then it is not decided
                    exact = exact or self._exactly(check)  # maybe only the coarse order is not in time
                    after = self._under(check, exact, fault)
                    cells = [self._cell(name, check, (fault,), after, exact) for name in rules]
            for name, cell in zip(rules, cells, strict=True):
                cells_of[name].append(cell)
            if self.faults == 2 and after is not None and any(cell.barrier != "nothing" for cell in cells):
                single.append((fault, after))
        for (first_fault, first), (second_fault, second) in combinations(single, 2):
            holding = [name for name in rules if name not in first.broken and name not in second.broken]
            if not holding or first_fault.any_order or second_fault.any_order or before in (first, second):
                continue
            both, cells = (first_fault, second_fault), list[Cell]()
            for base, late in ((first, second_fault), (second, first_fault)):
                try:
                    under_both = self._under(check, base, late)
                    ordered = [self._cell(name, check, both, under_both, base) for name in holding]
                except TooManyStatesError as error:
                    ordered = [self._cut_cell(name, check, both, error, base) for name in holding]
                cells = [worse_cell(a, b) for a, b in zip(cells, ordered, strict=True)] if cells else ordered
                if any(cell.barrier == "nothing" for cell in cells):
                    break  # whichever comes first, one order is enough
            for name, cell in zip(holding, cells, strict=True):
                cells_of[name].append(cell)
        return {name: tuple(cells) for name, cells in cells_of.items()}

    def _cut_cell(
        self,
        name: str,
        check: Check,
        faults: tuple[PlantFault, ...],
        error: TooManyStatesError,
        before: Explored,
    ) -> Cell:
        """A rule under a fault with more states than are searched."""
        if name in error.explored.broken:
            cell = self._cell(name, check, faults, error.explored, before)
            if cell.barrier in ("nothing", "limit"):
                return cell
        return Cell(tuple(fault.sentence for fault in faults), 0, "undecided")

    def _exactly(self, check: Check) -> Explored:
        """The search of a check with the whole order of its timers."""
        automaton = self.automaton(check, "commands", coarse=False)
        return search(automaton, judges(check, automaton), self._tell(f"{check.rules[0]} ({check.subject})"))

    def _under(self, check: Check, before: Explored, fault: PlantFault) -> Explored | None:
        """The search with a fault more; None where the rule cannot see it."""
        automaton, search_name = before.automaton, f"{check.rules[0]} ({check.subject}), {fault.sentence}"
        misled = misleads(fault, check.about.kept_out)
        if not misled and not touches(fault, automaton.cone, self.loops, self.plant):
            return None
        if misled or fault.kind == "person":  # what is around is another from the start
            faulty = self.automaton(check, "commands", automaton.faults | {fault})
            if [len(dim.values) for dim in faulty.dims] == [len(dim.values) for dim in automaton.dims]:
                return None
            return search(faulty, judges(check, faulty), self._tell(search_name), until_broken=_STORIES_TRIED)
        faulty = Automaton(
            self.plant,
            automaton.cone,
            automaton.env,
            check.about.watched,
            late=check.about.late,
            faults=automaton.faults | {fault},
            coarse=automaton.coarse,
        )
        if reroutes(fault) and faulty.wiring.same_water(automaton.wiring):
            return before  # it makes no difference to anything that is asked of the water
        return search(
            faulty, judges(check, faulty), self._tell(search_name), after=before, until_broken=_STORIES_TRIED
        )

    def _cell(
        self,
        name: str,
        check: Check,
        faults: tuple[PlantFault, ...],
        explored: Explored | None,
        before: Explored,
    ) -> Cell:
        sentences, fault = tuple(fault.sentence for fault in faults), faults[-1]
        sees = explored is not None or fault.kind == "person" or FAULTS[fault.kind].known
        explored, states = explored or before, explored.states if explored else 0
        if fault.kind == "restart" and name in before.broken:
            explored = before  # in any order, which a restart lets come: what follows it is no cause
        if name not in explored.broken:
            return Cell(sentences, states, barrier(explored, check) if sees else "not needed")
        node, why = explored.broken[name][0]
        snapshot = explored.automaton.snapshot(node)
        still = any(device == check.subject and truth.flow == "none" for device, truth in snapshot.sources)
        if RULES[name].limited and still and self._limit_ends(check.subject):
            return Cell(sentences, states, "limit", why)
        why, story = self.teller.story(name, check, explored)
        if story is None:
            return Cell(
                sentences, states, barrier(explored, check) if sees else "not needed", held_by_time=True
            )
        if story.replayed == "in order, not in time":
            return Cell(sentences, states, "time", why, story)
        if fault.any_order and (explored is before or fault.kind == "person"):
            story = in_any_order(story, fault.sentence)
        alone = self.mends_faults and len(faults) == 1
        mends = harmless_first(self._mends(name, check, faults[0])) if alone else ()
        undone = any(FAULTS[fault.kind].barrier for fault in faults)
        return Cell(sentences, states, "nothing", why, story, mends, undoes_barrier=undone)

    def _limit_ends(self, source: str) -> bool:
        """Whether a high limit trips a device that is on in the tub's still water; own water hides that."""
        sheet = self.plant.sheet.heat_sources.get(source)
        return self.plant.trips_dry(source) and (sheet is None or sheet.own_water is None)

    # -- mends ---------------------------------------------------------------------------------------------

    def _mends(self, name: str, check: Check, fault: PlantFault | None = None) -> Iterator[Mend]:
        """Every change of the catalogue, verified again, under a fault if there is one."""
        for change in changes(RULES[name], self.plant, self.programme, check.about):
            try:
                other = Judging(change.of(self.scenario), 0, self.any_order, None)
                holds, states, never_on = other.holds(name, check.subject)
                if holds and fault is not None:
                    holds, states_under = other.holds_under(name, check.subject, fault)
                    states += states_under
            except (CycleSimError, ValueError):
                continue
            after = run_days(change.of(self.scenario), _WEEK) if holds else self._week
            breaks, worsens = after.worse_than(self._week), after.longer_than(self._week)
            yield Mend(change.sentence, holds, states, never_on, breaks, change.edits, worsens)

    @cached_property
    def _week(self) -> Days:
        return run_days(self.scenario, _WEEK)

    def holds_under(self, name: str, subject: str, fault: PlantFault) -> tuple[bool, int]:
        """Whether something holds a rule under a fault, and in how many states; one that is gone is held."""
        same = [f for f in self.every_fault if (f.kind, f.subject) == (fault.kind, fault.subject)]
        states = 0
        for check in checks(self.plant, self.programme) if same else ():
            if name in check.rules and check.subject == subject:
                narrowed = replace(check, rules=(name,))
                before = self._exactly(narrowed)
                after = self._under(narrowed, before, same[0])
                states += before.states + (after.states if after else 0)
                if self._cell(name, narrowed, (same[0],), after, before).barrier in ("nothing", "time"):
                    return False, states
        return True, states

    def holds(self, name: str, subject: str) -> tuple[bool, int, bool]:
        """Whether a rule holds, in how many states, and whether that is because it never comes on."""
        states = 0
        if self._by_plant(name, subject):
            return False, 0, False
        for check in checks(self.plant, self.programme):
            if name not in check.rules or check.subject != subject:
                continue
            narrowed = replace(check, rules=(name,))
            automaton = self.automaton(narrowed, "commands")
            explored = search(automaton, judges(narrowed, automaton), until_broken=1)
            if name in explored.broken:
                explored = self._refined(name, check)
            states += explored.states
            if name in explored.broken:
                return False, states, False
            if not still_works(explored, subject):
                return False, states, True
        return True, states, False

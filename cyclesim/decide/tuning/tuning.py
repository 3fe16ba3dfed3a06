"""The best programme for a plant: placed by an integer programme, confirmed by a year's run.

Placing counts on duties, volumes and clocks alone, so that its answer is exact and quick; a run counts
everything. Nothing is reported that a run of the whole span did not confirm.

Cost decides by the year's run, not by the placing: most of what a flush costs is heat (it changes the water
in pipes that cool in the ground), and at which price heating buys it back follows from when the flush is. So
the cheapest programmes are moved about by an hour or two and run again.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date

from cyclesim.analysis.pumped import filtered_m3
from cyclesim.analysis.result import days_of_year
from cyclesim.decide.sweeps.outcome import Broken, Outcome
from cyclesim.decide.sweeps.sweep import HERE, How, Job, job, sweep
from cyclesim.decide.tuning.judged import of_the_plant, refused_for
from cyclesim.decide.tuning.limits import LimitTried, limits_tried
from cyclesim.decide.tuning.obstacles import Obstacle, obstacles
from cyclesim.decide.tuning.placed import all_placed, in_spaces, placements
from cyclesim.decide.tuning.placing import (
    Bound,
    Order,
    bound_of,
    fewest_flushes,
    orders,
    short_orders,
)
from cyclesim.decide.tuning.plumbing import Plumbing, plumbing
from cyclesim.decide.tuning.programmes import Daily, moved, own, relengthened, scheduled, takes
from cyclesim.decide.tuning.ranked import (
    NEAR,
    Marks,
    beside,
    marks,
    ranks,
    rough,
    surely_beaten,
    surely_dearer,
)
from cyclesim.decide.tuning.space import FILTER, FLUSH, Space, space
from cyclesim.decide.tuning.thumbs import thumbs
from cyclesim.decide.tuning.wishes import asks_more, lacks, wished
from cyclesim.scenario.blocks.model import Scenario

_ALIKE = 0.01
"""Programmes whose cost differs by less than this share are alike in cost."""
_TIGHTENED = 4
"""So often the placing is given less time where a run finds water older than it reckoned."""
_MARGIN_S = 60.0
_LONGER = 3.0
"""So many times the hours of filtering are tried, too: while a pump runs, heat may be bought cheaper.

From two hours, the short end of what is usual, it leads to six, near the long end of eight (`thumbs.SOURCE`).
"""
_AGES = ("stale-water", "residual-lost", "warm-stagnation")


@dataclass(frozen=True, slots=True)
class Choice:
    """One programme, what a run of it came to, and why it is refused, if it is."""

    name: str
    programme: Daily
    outcome: Outcome
    refused: tuple[Broken, ...]
    lacks: tuple[str, ...] = ()
    """What it is short of beside the margins and minimums that the file asks for."""


@dataclass(frozen=True, slots=True)
class Changed:
    """The cheapest programme for the same tub with one thing changed: a limit, or its plumbing."""

    about: LimitTried | Plumbing
    choice: Choice | None
    """None where no programme could be placed; refused where the run broke a rule."""


@dataclass(frozen=True, slots=True)
class Tuning:
    """The programmes of a plant, the best of them, and how good it is."""

    scenario: Scenario
    days: int
    space: Space
    tried: int
    """Programmes that were placed."""
    left_out: int
    """Of them, those that some days of each season told to be worse; the others ran the whole span."""
    held: int
    """Of those that ran it, the ones that no rule refuses."""
    own: Choice
    """The file's own programme."""
    best: tuple[Choice, ...]
    """Those than which no cheaper one is about as good in everything, the cheapest first."""
    recommended: Choice | None
    bound: Bound
    at_bound: Choice | None
    """Where every programme with so few flushes is refused, one of them."""
    thumbs: tuple[Choice, ...]
    """Rules of thumb."""
    limits: tuple[Changed, ...]
    standing: tuple[Broken, ...]
    """What is of the plant and no programme mends."""
    obstacles: tuple[Obstacle, ...]
    """What stands in the way where no programme could be placed."""
    nearest: Choice | None
    """Where every programme is refused, the one that breaks least."""
    plumbing: tuple[Changed, ...]
    """What would help then."""

    def own_turnovers(self, choice: Choice) -> float:
        """How often a day a programme's filter runs alone pass the tub's water."""
        plant = self.space.plant
        runs = [entry for entry in choice.programme.entries if entry.does == FILTER]
        passed = sum(filtered_m3(plant, run.pumping, run.lasts_s) * len(run.starts) for run in runs)
        return passed / plant.volume_m3

    @property
    def flushed_m3(self) -> float:
        """Volume of the legs that nothing but a flush renews."""
        kinds, plant = self.space.kinds, self.space.plant
        flushed = {leg for kind in kinds if kind.does == FLUSH for leg in kind.renews}
        filtered = {leg for kind in kinds if kind.does == FILTER for leg in kind.renews}
        return sum(plant.leg_volume_m3(leg) for leg in plant.sheet.legs if leg in flushed - filtered)


def tune(
    scenario: Scenario,
    *,
    days: int | None = None,
    start: date | None = None,
    seed: int = 0,
    how: How = HERE,
) -> Tuning:
    """Search the programmes that can be keyed in, run the candidates, and say which is best.

    Raises CannotTuneError where nothing can be tuned, SweepError where a sweep ends early, and ValueError for
    less than one day.
    """
    days = days_of_year(start or date(scenario.place.year, 1, 1)) if days is None else days
    if days < 1:
        raise ValueError(f"a run lasts at least one day, not {days}")
    return _Search(scenario, days, start, seed, how).result()


class _Search:
    def __init__(self, scenario: Scenario, days: int, start: date | None, seed: int, how: How) -> None:
        self.scenario, self.days, self.start, self.seed, self.how = scenario, days, start, seed, how
        self.own_programme, self.plain = own(scenario), space(scenario)
        self.before: Outcome
        self.standing: tuple[Broken, ...] = ()
        self.left_out = 0

    def result(self) -> Tuning:
        """Everything that is asked of a tuning."""
        plain, here = self.plain, wished(self.plain)
        named = list(thumbs(here))
        asked = [(here, order) for order in orders(here)]
        if asks_more(plain):  # what is gained by going to the edge of a limit is shown, too
            longer = replace(here, least_filter_s=_LONGER * here.least_filter_s)
            asked = [(there, order) for there in (longer, plain) for order in short_orders(there)] + asked
        unasked = replace(here, least={**here.least, FLUSH: 0})  # the bound is what the limits leave
        *found, fewest = placements([*asked, (unasked, fewest_flushes(unasked))], self.how)
        placed = dict.fromkeys(relengthened(here), Order.of(here))  # its own times may suit its heating
        placed |= {p: o for by_space in in_spaces(asked, found) for p, o in by_space.items()}
        first = [self.scenario, *(scheduled(self.scenario, p) for p in (*placed, *(p for _, p in named)))]
        self.before, *ran = self._run(first)
        self.standing = of_the_plant([self.before, *ran])
        schedule = self.scenario.schedule
        runs = (*schedule.filter_runs, *schedule.line_flushes)
        note = ", some runs on some days only" if any(run.days or run.repeats for run in runs) else ""
        mine = self._choice(f"as in the file{note}", self.own_programme, self.before)
        count = len(placed)
        usual = [self._choice(name, p, out) for (name, p), out in zip(named, ran[count:], strict=True)]
        choices = [self._choice("", p, out) for p, out in zip(placed, ran[:count], strict=True)]
        choices = self._until_held(here, choices, placed)
        if not note and not mine.refused and takes(here, self.own_programme):
            choices.append(mine)  # none is to be advised that is worse than the file's own
            placed.setdefault(self.own_programme, Order.of(here))
        if all(choice.lacks for choice in _held(choices)):  # a rule of thumb may lack less
            fit = [choice for choice in _held(usual) if takes(here, choice.programme)]
            choices += [choice for choice in fit if choice.programme not in placed]
            placed |= {choice.programme: Order.of(here) for choice in fit}
        choices += self._moved(here, _held(choices), placed)
        if not _held(choices):  # what keeps a stricter limit may keep the file's own, too
            others = self._limits(min((*choices, mine), key=_how_bad))
            choices += self._elsewhere(here, others, placed)
        held = _held(choices)
        lack_least, lack_more = _by_lacks(held)
        best = (*_best(lack_least), *_best(lack_more))
        nearest = None if best else min((*choices, mine), key=_how_bad)
        limits = self._limits(nearest or best[0])
        barred, helps = tuple[Obstacle, ...](), tuple[Changed, ...]()
        if nearest:
            barred = tuple(obstacles(here))
            helps = tuple(self._changed(list(self._plumbing(here, nearest, barred)), nearest.programme))
        return Tuning(
            scenario=self.scenario,
            days=self.days,
            space=here,
            tried=sum(choice is not mine for choice in choices) + self.left_out,
            left_out=self.left_out,
            held=sum(choice is not mine for choice in held),
            own=mine,
            best=best,
            recommended=_recommended(tuple(_best(lack_least))),
            bound=(least := bound_of(fewest)),
            at_bound=_at_bound(choices, least) if best else None,
            thumbs=tuple(usual),
            limits=limits,
            standing=self.standing,
            obstacles=barred,
            nearest=nearest,
            plumbing=helps,
        )

    def _placed(self, here: Space, asked: Iterable[Order]) -> dict[Daily, Order]:
        """Of one space alone."""
        return next(iter(all_placed([(here, order) for order in asked], self.how)), {})

    def _run(self, scenarios: Iterable[Scenario]) -> list[Outcome]:
        return sweep(list(map(self._job, scenarios)), self.how)

    def _job(self, scenario: Scenario) -> Job:
        return job(scenario, self.days, self.start, self.seed)

    def _choice(self, name: str, programme: Daily, outcome: Outcome) -> Choice:
        refused = refused_for(outcome, self.before, self.standing)
        return Choice(name, programme, outcome, refused, tuple(lacks(self.plain, programme, outcome)))

    def _until_held(self, here: Space, choices: list[Choice], placed: dict[Daily, Order]) -> list[Choice]:
        """The choices, with those that a run refused placed anew with less time until none is left.

        So are those whose water is older than the margin lets it be.
        """
        latest = choices
        for _ in range(_TIGHTENED):
            tighter = [_tighter(here, placed[c.programme], c) for c in latest if c.refused or c.lacks]
            again = self._placed(here, [o for o in tighter if o])
            again = {p: o for p, o in again.items() if p not in placed}
            if not again:
                break
            placed |= again
            ran = self._run(scheduled(here.scenario, p) for p in again)
            latest = [self._choice("", p, out) for p, out in zip(again, ran, strict=True)]
            choices = [*choices, *latest]
        return choices

    def _moved(self, here: Space, held: list[Choice], placed: dict[Daily, Order]) -> list[Choice]:
        """The cheapest with one run at a time moved to and fro: heating follows a flush, at its own price.

        That is the cheapest of those that lack least, and the cheapest of the others; what some days of the
        span tell to be worse than another is left out.
        """
        asked, others = list[tuple[Scenario, Choice, list[Daily]]](), list[list[Choice]]()
        for alike in _by_lacks(held):
            if alike:
                cheapest = min(alike, key=_marks)
                tried = [p for p in moved(here, cheapest.programme) if p not in placed]
                placed |= dict.fromkeys(tried, placed[cheapest.programme])
                asked.append((self.scenario, cheapest, tried))
                others.append(alike)
        worth = list[Daily]()
        for (_, _, tried), told, alike in zip(asked, self._told(asked), others, strict=True):
            ran = [_marks(choice) for choice in alike]
            beaten = [p for p in tried if p in told and surely_beaten(told[p], (*ran, *told.values()))]
            self.left_out += len(beaten)
            worth += [p for p in tried if p not in beaten]
        outcomes = self._run(scheduled(here.scenario, p) for p in worth)
        return [self._choice("", p, out) for p, out in zip(worth, outcomes, strict=True)]

    def _told(self, asked: Sequence[tuple[Scenario, Choice, list[Daily]]]) -> list[dict[Daily, Marks]]:
        """What some days make of programmes beside one that is known; nothing of a short span."""
        if not ranks(self.days):
            return [{} for _ in asked]
        plans = [scheduled(s, p) for s, known, tried in asked for p in (known.programme, *tried)]
        made, told = iter(rough(list(map(self._job, plans)), self.how)), list[dict[Daily, Marks]]()
        for _, known, tried in asked:
            whole, of_known = _marks(known), next(made)
            told.append({p: beside(whole, of_known, next(made)) for p in tried})
        return told

    def _elsewhere(self, here: Space, limits: Iterable[Changed], placed: dict[Daily, Order]) -> list[Choice]:
        """What holds under another limit, run under the file's own where it can be keyed in."""
        found = (c.choice.programme for c in limits if c.choice is not None and not c.choice.refused)
        fit = [p for p in dict.fromkeys(found) if p not in placed and takes(here, p)]
        placed |= dict.fromkeys(fit, Order.of(here))
        outcomes = self._run(scheduled(self.scenario, p) for p in fit)
        return [self._choice("", p, out) for p, out in zip(fit, outcomes, strict=True)]

    def _limits(self, known: Choice) -> tuple[Changed, ...]:
        """Each limit changed alone."""
        return tuple(self._changed(list(limits_tried(self.scenario)), known.programme))

    def _changed(self, about: Sequence[LimitTried | Plumbing], known: Daily) -> Iterator[Changed]:
        """The cheapest programme under each change; *known* is tried as well."""
        spaces = [wished(space(attempt.scenario)) for attempt in about]
        asked = [(there, order) for there in spaces for order in short_orders(there)]
        placed = all_placed(asked, self.how)
        for there, programmes in zip(spaces, placed, strict=True):
            programmes.update((p, Order.of(there)) for p in relengthened(there) if p not in programmes)
        as_known = self._run(scheduled(there.scenario, known) for there in spaces)
        mine = [self._choice("", known, out) for out in as_known]
        worth = self._may_be_cheaper(spaces, mine, placed)
        ran = iter(
            self._run(
                scheduled(there.scenario, p)
                for there, programmes in zip(spaces, worth, strict=True)
                for p in programmes
            )
        )
        for k, (attempt, there) in enumerate(zip(about, spaces, strict=True)):
            choices = [mine[k], *(self._choice("", p, next(ran)) for p in worth[k])]
            if all(choice.refused for choice in choices):
                choices = self._until_held(there, choices, {**placed[k], known: Order.of(there)})
            yield Changed(attempt, min(choices, key=_how_bad))  # within its margins, if any is

    def _may_be_cheaper(
        self, spaces: Sequence[Space], known: Sequence[Choice], placed: Sequence[Iterable[Daily]]
    ) -> list[list[Daily]]:
        """In each space those that some days do not tell to be dearer than one that is known to hold."""
        pairs = zip(known, placed, strict=True)
        tried = [[p for p in programmes if p != mine.programme] for mine, programmes in pairs]
        asked = [k for k, mine in enumerate(known) if tried[k] and not mine.refused and not mine.lacks]
        told = self._told([(spaces[k].scenario, known[k], tried[k]) for k in asked])
        for k, of in zip(asked, told, strict=True):
            tried[k] = [p for p in tried[k] if p not in of or not surely_dearer(of[p], _marks(known[k]))]
        return tried

    def _plumbing(self, here: Space, nearest: Choice, barred: Iterable[Obstacle]) -> Iterator[Plumbing]:
        """What would help the legs whose water is too old."""
        stale = [f.subject for f in nearest.refused if f.rule in (*_AGES, "never-flushed")]
        if any(f.rule == "flush-too-short" for f in nearest.refused):
            stale += [name for name, leg in self.scenario.plant.legs.items() if leg.manifold]
        stale += [leg for obstacle in barred for leg in obstacle.legs]
        stale += here.unmoved
        known = [*self.scenario.plant.legs, *here.legs]
        yield from plumbing(self.scenario, [leg for leg in dict.fromkeys(stale) if leg in known])


def _held(choices: Iterable[Choice]) -> list[Choice]:
    return [choice for choice in choices if not choice.refused]


def _by_lacks(held: Sequence[Choice]) -> tuple[list[Choice], list[Choice]]:
    """Those that lack least of what is wished, nothing if any keeps all, and the others."""
    least = min((len(choice.lacks) for choice in held), default=0)
    return [c for c in held if len(c.lacks) == least], [c for c in held if len(c.lacks) > least]


def _at_bound(choices: Iterable[Choice], least: Bound) -> Choice | None:
    """One with the fewest flushes, if a run refused every such."""
    fewest = [choice for choice in choices if choice.programme.count(FLUSH) == least.flushes]
    return None if not fewest or _held(fewest) else min(fewest, key=_how_bad)


def _tighter(here: Space, order: Order, choice: Choice) -> Order | None:
    """The order with less time for the legs that a run found too old, and more water to filter if that."""
    limits, within_s, wanted_m3 = here.scenario.limits, dict(order.within_s), order.wanted_m3
    for finding in choice.refused:
        leg = choice.outcome.legs.get(finding.subject)
        if finding.rule == "too-few-turnovers":
            least = choice.outcome.fewest_turnovers_in_a_day or 0.0
            wanted_m3 += max(0.0, limits.turnovers_per_day - least) * here.plant.volume_m3
        elif finding.rule in _AGES and leg is not None and finding.subject in within_s:
            stood_s, most_s = (leg.oldest_water_h or 0.0) * 3600.0, here.legs[finding.subject]
            if finding.rule == "warm-stagnation":
                stood_s, most_s = leg.longest_warm_still_h * 3600.0, limits.warm_stagnation_s
            over_s = max(0.0, stood_s - most_s)
            within_s[finding.subject] = min(within_s[finding.subject], most_s) - over_s - _MARGIN_S
    for name, most_s in here.legs.items():
        over_s = 3600.0 * (choice.outcome.legs[name].oldest_water_h or 0.0) - most_s
        if over_s > 0.0 and not choice.refused:
            within_s[name] = min(within_s[name], most_s) - over_s - _MARGIN_S
    new = order._replace(within_s=within_s, wanted_m3=wanted_m3)
    return None if new == order or min(within_s.values(), default=1.0) <= 0.0 else new


def _marks(choice: Choice) -> Marks:
    return marks(choice.outcome)


def _best(held: list[Choice]) -> Iterator[Choice]:
    """Those than which no cheaper one is about as good in everything, the cheapest first."""
    kept: list[Marks] = []
    for choice in sorted(held, key=_marks):
        mine = _marks(choice)
        if not any(all(a <= b * (1.0 + NEAR) for a, b in zip(other, mine, strict=True)) for other in kept):
            kept.append(mine)
            yield choice


def _recommended(best: tuple[Choice, ...]) -> Choice | None:
    """Of those that cost alike, the one that is heard least, then starts least, then keeps water freshest."""
    if not best:
        return None
    least = best[0].outcome.cost
    alike = [choice for choice in best if choice.outcome.cost <= least + _ALIKE * abs(least)]

    def first(choice: Choice) -> tuple[float, ...]:
        out = choice.outcome
        return out.loud_min, float(out.pump_starts), out.oldest_water_h, *_marks(choice)

    return min(alike, key=first)


def _how_bad(choice: Choice) -> tuple[float, ...]:
    """Held before refused, then what lacks least; of the refused, those whose water is youngest."""
    return (
        len(choice.refused),
        len(choice.lacks),
        choice.outcome.oldest_water_h if choice.refused else 0.0,
        choice.outcome.cost,
    )

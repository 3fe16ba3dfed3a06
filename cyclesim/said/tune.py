"""What a tuning found, for a person: the programme to key in, why, what else there is, and what limits it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any

from cyclesim.analysis.amounts import exactly, lasting, listed
from cyclesim.decide.sweeps.outcome import Broken
from cyclesim.decide.tuning.duty_effect import duty_effect
from cyclesim.decide.tuning.limits import LimitTried
from cyclesim.decide.tuning.programmes import Daily
from cyclesim.decide.tuning.space import FILTER, FLUSH
from cyclesim.decide.tuning.thumbs import SOURCE
from cyclesim.decide.tuning.tuning import Changed, Choice, Tuning
from cyclesim.decide.tuning.wishes import in_words
from cyclesim.said.cautions import ADVICE, WATER, say_cautions, sun_cautions
from cyclesim.said.flush_lengths import held_up, none_is_long_enough
from cyclesim.said.given_up import given_up
from cyclesim.said.not_coming import not_every
from cyclesim.said.page import Cell, Column, Page, Row, words
from cyclesim.said.words import count, number

_MOST_SHOWN, _MOST_EFFECTS = 8, 4
FILTERING = (
    "How long to filter follows from turnovers_per_day alone, which knows nothing of what bathers bring in. "
    f"2 to 8 hours a day are usual ({SOURCE}); where you want more, raise the limit and tune again."
)
ALONE = (
    "The programme needs no help from heating or bathers: they and frost protection may move water besides, "
    "and the run has them do so, but no leg depends on it."
)


def _whose(tuning: Tuning) -> str:
    """Who wishes for margins and minimums: the file, or nobody but what is usual."""
    said = bool(tuning.scenario.tuning.model_fields_set)
    return "tuning: in the file" if said else "usual; tuning: in the file asks for other"


def tune_page(tuning: Tuning) -> Page:
    """Everything that a tuning says to a person, the programme first."""
    page = Page()
    page.line(tuning.scenario.title, tone="strong", as_written=True)
    grid = exactly(tuning.space.step_s)
    if tuning.tried:
        page.line(_counted(tuning))
    else:
        page.line(f"On a grid of {grid} no programme can be placed that keeps every limit.")
    page.line(f"Asked for: {in_words(tuning.space)} ({_whose(tuning)}).")
    if tuning.recommended is not None:
        _say_recommended(page, tuning, tuning.recommended)
        _say_best(page, tuning)
    else:
        _say_why_not(page, tuning)
    if tuning.recommended is not None:
        _say_bound(page, tuning, tuning.recommended)
    _say_thumbs(page, tuning)
    _say_limits(page, tuning)
    if tuning.standing:
        page.heading("Broken by every programme: mend the plant first")
        for finding in tuning.standing:
            page.line(f"- {finding_words(finding)}", hang=2)
    say_cautions(page, (FILTERING, ALONE, *sun_cautions(tuning.scenario), WATER, ADVICE))
    return page


def _counted(tuning: Tuning) -> str:
    """How many programmes there were, and what became of them."""
    left, grid = tuning.left_out, exactly(tuning.space.step_s)
    held = f"{tuning.held} of them break no rule that a programme can keep."
    if not left:
        ran = f"and run for {count(tuning.days, 'day')} each"
        return f"{count(tuning.tried, 'programme')} placed on a grid of {grid} {ran}; {held}"
    return (
        f"{count(tuning.tried, 'programme')} placed on a grid of {grid}. Some days of each season leave out "
        f"{left} that cost more; {tuning.tried - left} are run for {count(tuning.days, 'day')} each; {held}"
    )


def _say_recommended(page: Page, tuning: Tuning, chosen: Choice) -> None:
    if chosen.lacks:
        page.heading("No programme keeps what is asked for; the nearest one")
        page.line(f"Key it in only if you accept this: {'; '.join(chosen.lacks)}.", tone="mind")
        if chosen.programme.count(FLUSH) < tuning.space.least[FLUSH]:
            for reason in none_is_long_enough(tuning):
                page.line(reason, tone="mind")
    elif chosen is tuning.own:
        page.heading("Leave it as the file has it: nothing that was tried is better")
    else:
        page.heading("Key this in")
    say_programme(page, chosen.programme)
    if not chosen.programme.count(FLUSH):
        page.line("No line flush: the filter runs themselves move the water of every leg far enough.")
    page.line()
    for reason in reasons(tuning, chosen):
        page.line(reason)


def say_programme(page: Page, programme: Daily) -> None:
    """The lines of a programme, as they are keyed in."""
    page.table(
        [words("what"), words("pump"), Column("lasts", unit="s", kind="keyed in"), words("starts")],
        ((e.does, str(e.pumping), e.lasts_s, e.clocks) for e in programme.entries),
    )


def reasons(tuning: Tuning, chosen: Choice) -> Iterator[str]:
    """Why this programme, each sentence with the numbers that it rests on."""
    out, mine, days = chosen.outcome, tuning.own.outcome, tuning.days
    limits = tuning.scenario.limits
    leg, oldest_h = out.oldest_leg, out.oldest_water_h
    yield (
        f"Its oldest water is {lasting(3600.0 * oldest_h)} old, in {leg}, with {lasting(limits.water_age_s)} "
        f"allowed. Its filter runs alone make {number(tuning.own_turnovers(chosen))} turnovers a day "
        f"({limits.turnovers_per_day:g} required); with everything that runs it is "
        f"{number(out.turnovers_per_day)}."
    )
    year = 365.0 / days
    change = (mine.cost - out.cost) * year
    if abs(change) >= 0.5:
        less = "less" if change > 0 else "more"
        yield (
            f"A year costs {number(out.cost * year)} {out.currency}, heating included, "
            f"{number(abs(change))} {less} than with the file's own programme; pumps run "
            f"{number(out.pump_h / days)} h a day (now {number(mine.pump_h / days)} h) and start "
            f"{number(out.pump_starts / days)} times (now {number(mine.pump_starts / days)}); "
            f"loud equipment runs {number(out.loud_min_a_day)} min a day (now "
            f"{number(mine.loud_min_a_day)} min)."
        )
    if chosen is tuning.own:
        yield f"A year costs {number(out.cost * year)} {out.currency}, heating included."
    cheapest = tuning.best[0]
    if chosen is not cheapest:
        yield (
            f"The cheapest costs {number((out.cost - cheapest.outcome.cost) * year)} {out.currency} a year "
            "less, which is within 1 %; of those this one is heard least."
        )
    volume_l = 1000.0 * tuning.flushed_m3
    if chosen.programme.count(FLUSH) and volume_l:
        yield (
            f"A flush changes {number(volume_l)} L of water in pipes, which then cools there: that heat is "
            "most of what a flush costs, and when heating buys it back follows from when the flush is."
        )
    yield from held_up(tuning, chosen.programme)
    yield from given_up(tuning.scenario, mine, out)
    for missed in not_every(out.findings, days):
        yield (
            f"{missed}; the numbers above count that. With these times in the file, cyclesim run tells what "
            "mends it."
        )
    if tuning.own.refused:
        yield f"The file's own programme is no choice: {finding_words(tuning.own.refused[0])}."


def _say_best(page: Page, tuning: Tuning) -> None:
    shown = spread(tuning.best, tuning.recommended)
    page.table(
        _columns(tuning, "flushes; filter runs"),
        (row for choice in shown for row in _timed(tuning, choice)),
        "Best trade-offs: every other programme is worse in at least one respect",
    )
    if len(shown) < len(tuning.best):
        page.line(f"{len(tuning.best) - len(shown)} more lie between; --json has all.")
    nearest = "it lacks least; " if tuning.recommended and tuning.recommended.lacks else ""
    page.line(
        f"* the one above: {nearest}of those within 1 % of the least cost, the one that is heard least."
    )
    if any(choice.lacks for choice in shown):
        page.line("Outside: no rule is broken, but less is kept than is asked for; shown for what it saves.")


def spread(best: Sequence[Choice], chosen: Choice | None) -> list[Choice]:
    """Some of many, evenly by cost, the chosen one among them."""
    if len(best) <= _MOST_SHOWN:
        return list(best)
    picks = {round(k * (len(best) - 1) / (_MOST_SHOWN - 2)) for k in range(_MOST_SHOWN - 1)}
    return [choice for k, choice in enumerate(best) if k in picks or choice is chosen]


def _columns(tuning: Tuning, head: str) -> list[Column]:
    columns = [
        words(head),
        Column("{unit}\na year", unit=tuning.own.outcome.currency),
        Column("pumps\n{unit}/day", unit="h"),
        Column("starts\n/day"),
        Column("loud\n{unit}/day", unit="min"),
        Column("oldest\n{unit}", unit="h"),
    ]
    if tuning.own.outcome.sun_unused_kwh is not None:
        columns.append(Column("sun not\nused {unit}\na year", unit="kWh"))
    return columns


def _row(tuning: Tuning, choice: Choice, name: str) -> Row:
    unused_kwh = choice.outcome.sun_unused_kwh
    sun = () if unused_kwh is None else (unused_kwh * 365.0 / tuning.days,)
    return Row((name, *a_day(tuning, choice), *sun), choice.name)


def a_day(tuning: Tuning, choice: Choice) -> tuple[float, ...]:
    """What a year costs, what a day has of pumps [h], starts and noise [min], and the oldest water [h]."""
    out, days = choice.outcome, tuning.days
    a_year = out.cost * 365.0 / days
    return a_year, out.pump_h / days, out.pump_starts / days, out.loud_min_a_day, out.oldest_water_h


def _timed(tuning: Tuning, choice: Choice) -> Iterator[Row]:
    yield _row(tuning, choice, f"{in_short(choice.programme)}{' *' if choice is tuning.recommended else ''}")
    yield Row((_times(choice.programme),), level=1)
    yield from _outside(choice)


def _outside(choice: Choice) -> Iterator[Row]:
    """What it lacks beside margins and minimums, below its row."""
    if choice.lacks:
        yield Row((f"outside: {'; '.join(choice.lacks)}",), choice.name, 1)


def in_short(programme: Daily) -> str:
    """A programme in a few words: `2 x 45 s; 1 x 2 h`."""
    parts = []
    for does in (FLUSH, FILTER):
        counts = [f"{len(e.starts)} x {exactly(e.lasts_s)}" for e in programme.entries if e.does == does]
        parts.append(" + ".join(counts) or "none")
    return "; ".join(parts)


def _times(programme: Daily) -> str:
    """When, flushes first: `07:00 20:45; 23:45`."""
    parts = []
    for does in (FLUSH, FILTER):
        start_times = [start for e in programme.entries if e.does == does for start in e.clocks]
        parts.append(" ".join(sorted(start_times)) or "-")
    return "; ".join(parts)


def _say_why_not(page: Page, tuning: Tuning) -> None:
    page.heading("No programme can do it")
    for obstacle in tuning.obstacles:
        page.line(f"- {obstacle.text}", hang=2)
    nearest = tuning.nearest
    if nearest is not None:
        page.line(f"The nearest ({nearest.name or in_short(nearest.programme)}) still breaks:")
        for finding in nearest.refused[:_MOST_SHOWN]:
            page.line(f"- {finding_words(finding)}", hang=2)
    if tuning.plumbing:
        page.heading("What plumbing would help, each tried")
        for changed in tuning.plumbing:
            _say_plumbing(page, tuning, changed)


def _say_plumbing(page: Page, tuning: Tuning, changed: Changed) -> None:
    assert not isinstance(changed.about, LimitTried)
    page.line(f"- {changed.about.sentence}", hang=2)
    if changed.choice is None:
        page.line("Even so no programme can be placed.", indent=2)
        return
    out = changed.choice.outcome
    short, cost = in_short(changed.choice.programme), number(out.cost * 365.0 / tuning.days)
    leg, oldest_h = out.oldest_leg, out.oldest_water_h
    was = tuning.nearest.outcome if tuning.nearest else tuning.own.outcome
    gain = f"oldest water {_age(oldest_h)}, in {leg}, where it was {_age(was.oldest_water_h)}"
    if changed.choice.refused:
        page.line(
            f"Not enough by itself: {short} still breaks {finding_words(changed.choice.refused[0])}; {gain}.",
            indent=2,
        )
    else:
        page.line(f"Then {short} holds, at {cost} {out.currency} a year; {gain}.", indent=2)
    for effect in duty_effect(tuning.scenario, changed.about.scenario)[:_MOST_EFFECTS]:
        page.line(effect.text, indent=4, hang=2)


def _age(hours: float) -> str:
    return "that never moves" if math.isinf(hours) else lasting(3600.0 * hours)


def _say_bound(page: Page, tuning: Tuning, chosen: Choice) -> None:
    bound = tuning.bound
    page.heading("How good that is")
    exact = "" if bound.closed else "at least "
    if not bound.flushes and not bound.closed:
        page.line("The search for the fewest flushes was cut off by its time, and excluded nothing.")
        return
    if not bound.flushes:
        page.line(
            "No flush is needed: filter runs alone can keep every leg within its limit, so that none is the "
            "fewest that there can be."
        )
        if wish := tuning.space.least[FLUSH]:
            asked = f"{count(wish, 'flush is', 'flushes are')} asked for a day all the same"
            page.line(f"{asked} ({_whose(tuning)}).")
        return
    page.line(
        f"Whatever their times, lengths and speeds, {exact}{count(bound.flushes, 'flush', 'flushes')} a day "
        f"{'is' if bound.flushes == 1 else 'are'} needed: no placement with fewer keeps every leg within its "
        f"limit, given quiet hours, bathing, volumes and duties, with filter runs wherever they help (an "
        f"integer programme, {'solved to its end' if bound.closed else 'cut off by its time'})."
    )
    gap = chosen.programme.count(FLUSH) - bound.flushes
    page.line(
        "The programme above has just as many."
        if gap == 0
        else f"The programme above has {gap} more, so its gap to the bound is {gap}."
        if gap > 0
        else f"The programme above has {-gap} fewer: it goes nearer to the limits than is asked for."
    )
    if tuning.at_bound is not None:
        page.line(
            f"Each of those with {bound.flushes} that was run was refused. "
            f"{in_short(tuning.at_bound.programme)}: {finding_words(tuning.at_bound.refused[0])}."
        )


def _say_thumbs(page: Page, tuning: Tuning) -> None:
    rows = []
    for choice in (tuning.own, *tuning.thumbs):
        rows.append(_row(tuning, choice, choice.name))
        if choice.refused:
            others = (
                f", and {count(len(choice.refused) - 1, 'more finding')}" if len(choice.refused) > 1 else ""
            )
            broken = choice.refused[0]
            rows.append(Row((f"breaks {broken.rule}: {broken.subject}{others}",), choice.name, 1))
        else:
            rows += _outside(choice)
    title = "Beside it: the file's own programme, and rules of thumb"
    page.table(_columns(tuning, "programme"), rows, title)
    page.line(f"About 30 s about twice a day is {SOURCE}.")
    told = {finding.rule for finding in (*tuning.own.refused, *tuning.standing)}
    borne = dict.fromkeys(f.rule for f in tuning.own.outcome.findings if f.rule not in told)
    if borne:
        page.line(f"No reason to refuse a programme, for the file's own breaks it too: {listed([*borne])}.")


def _say_limits(page: Page, tuning: Tuning) -> None:
    if not tuning.limits:
        return
    if not tuning.best:
        _say_room(page, tuning)
        return
    cheapest, year = tuning.best[0].outcome, 365.0 / tuning.days
    rows: list[tuple[Cell, ...]] = []
    for changed in tuning.limits:
        assert isinstance(changed.about, LimitTried)
        choice = changed.choice
        if choice is None or choice.refused:
            rows.append((changed.about.limit, changed.about.now, changed.about.tried, "no programme", ""))
            continue
        change = (choice.outcome.cost - cheapest.cost) * year
        if abs(change) <= 0.005:  # less than a cent
            change = 0.0
        rows.append(
            (changed.about.limit, changed.about.now, changed.about.tried, change, in_short(choice.programme)),
        )
    page.table(
        [
            words("limit"),
            words("now"),
            words("tried"),
            Column("{unit}\na year", unit=cheapest.currency, kind="change", digits=2),
            words("flushes; filter"),
        ],
        rows,
        "What each limit costs",
    )
    page.line("Daily programmes alone: every other day, or a day of the week, is not tried.")
    page.line(
        f"Each beside the cheapest that holds now, {number(cheapest.cost * year)} {cheapest.currency} a year."
    )


def _say_room(page: Page, tuning: Tuning) -> None:
    """Which limit, changed alone, would let a programme hold."""
    rows = []
    for changed in tuning.limits:
        assert isinstance(changed.about, LimitTried)
        holds = changed.choice is not None and not changed.choice.refused
        short = in_short(changed.choice.programme) if changed.choice is not None and holds else "no programme"
        rows.append((changed.about.limit, changed.about.now, changed.about.tried, short))
    page.table(
        [words("limit"), words("now"), words("tried"), words("then holds: flushes; filter")],
        rows,
        "Which limit alone, changed, would make room",
    )


def finding_words(finding: Broken) -> str:
    """What is broken, by what, and how badly."""
    worst = f" ({finding.worst_text})" if finding.worst_text else ""
    return f"{finding.rule}, {finding.subject}: {finding.cause}{worst}"


def programme_values(programme: Daily) -> list[dict[str, Any]]:
    """A programme as plain values."""
    return [
        {"does": entry.does, "pump": str(entry.pumping), "lasts_s": entry.lasts_s, "starts": entry.clocks}
        for entry in programme.entries
    ]


def tune_values(tuning: Tuning) -> dict[str, Any]:
    """The same as plain values; the unit is in the key."""

    def choice(chosen: Choice | None) -> dict[str, Any] | None:
        if chosen is None:
            return None
        return {
            "name": chosen.name,
            "programme": programme_values(chosen.programme),
            "refused_for": [asdict(finding) for finding in chosen.refused],
            "lacks": list(chosen.lacks),
            "outcome": chosen.outcome.as_values(),
        }

    def changed(change: Changed) -> dict[str, Any]:
        if isinstance(change.about, LimitTried):
            about = {"limit": change.about.limit, "now": change.about.now, "tried": change.about.tried}
        else:
            about = {
                "kind": change.about.kind,
                "subject": change.about.subject,
                "sentence": change.about.sentence,
            }
        return {**about, "choice": choice(change.choice)}

    return {
        "title": tuning.scenario.title,
        "days": tuning.days,
        "grid_s": tuning.space.step_s,
        "asked_for": in_words(tuning.space),
        "tried": tuning.tried,
        "left_out": tuning.left_out,
        "held": tuning.held,
        "recommended": choice(tuning.recommended),
        "best": [choice(chosen) for chosen in tuning.best],
        "own": choice(tuning.own),
        "rules_of_thumb": [choice(chosen) for chosen in tuning.thumbs],
        "fewest_flushes_a_day": tuning.bound.flushes,
        "fewest_is_exact": tuning.bound.closed,
        "limits": [changed(change) for change in tuning.limits],
        "broken_by_every_programme": [asdict(finding) for finding in tuning.standing],
        "obstacles": [asdict(obstacle) for obstacle in tuning.obstacles],
        "nearest": choice(tuning.nearest),
        "plumbing": [changed(change) for change in tuning.plumbing],
    }

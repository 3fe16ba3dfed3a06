"""What to take from plants side by side, in words with the numbers that they rest on."""

from __future__ import annotations

import math
from collections.abc import Iterator

from cyclesim.analysis.amounts import listed
from cyclesim.decide.comparing.comparison import Comparison, Side, Versus
from cyclesim.said.words import number

LETTERS = "ABCDEFGHIJ"
FEW = 20
"""Fewer futures have no percentiles worth the name."""


def takings(found: Comparison) -> Iterator[str]:
    """What a builder should take from it, each with the numbers that it rests on."""
    first, second = found.sides[:2]
    yield from _broken_words(found)
    if len(found.sides) == 2:
        yield from _cost_words(found, first, second)
    else:
        costs = [_judged(found, side) for side in found.sides]
        best = costs.index(min(costs))
        what = f"over {found.years} years" if found.by_total else "a year"
        yield f"{LETTERS[best]} costs least {what}: {number(costs[best])} {found.currency}."
    yield _water_words(found)
    if found.futures:
        yield _future_words(found)
    between = "" if len(found.sides) == 2 else " between A and B"
    flipping = [swing.assumption for swing in found.swings if swing.flips]
    if found.swings and flipping:
        yield f"The answer{between} turns with {listed(flipping)} alone, within the range given."
    elif found.swings:
        yield f"No assumption alone, within the range given, turns the answer{between}."


def _broken_words(found: Comparison) -> Iterator[str]:
    """What one plant breaks and another keeps, before anything is said for it."""
    rules = [{(f.severity, f.rule) for f in side.outcome.findings} for side in found.sides]
    for letter, own in zip(LETTERS, rules, strict=False):
        alone = sorted(rule for rule in own if any(rule not in other for other in rules))
        serious = [rule for severity, rule in alone if severity in ("danger", "hygiene")]
        lesser = [rule for severity, rule in alone if severity not in ("danger", "hygiene")]
        if serious:
            yield f"{letter} breaks what not all do: {listed(serious)}. Mend that first."
        if lesser:
            yield f"{letter} also breaks {listed(lesser)}, which not all do."


def _judged(found: Comparison, side: Side) -> float:
    if found.by_total:
        assert side.owning is not None
        return side.owning.total
    return side.cost_a_year


def _cost_words(found: Comparison, first: Side, second: Side) -> Iterator[str]:
    a, b = first.cost_a_year, second.cost_a_year
    if a == b:
        yield "Both cost the same to run."
    else:
        cheap, dear = ("A", "B") if a < b else ("B", "A")
        yield (
            f"{cheap} costs less to run: {number(min(a, b))} {found.currency} a year, {dear} "
            f"{number(max(a, b))}."
        )
    if first.owning is None or second.owning is None or first.owning.total == second.owning.total:
        return
    cheap, dear = ("A", "B") if first.owning.total < second.owning.total else ("B", "A")
    less = abs(first.owning.total - second.owning.total)
    said = (
        f"Over {found.years} years {cheap} costs {number(less)} {found.currency} less than {dear}, with what "
        "is bought and bought again."
    )
    extra = second.owning.purchase - first.owning.purchase
    if extra:
        more, at = ("B", found.pays_back()) if extra > 0.0 else ("A", found.pays_back())
        back = "never pays that back within 50 years" if at is None else f"has paid that back by year {at}"
        said += f" {more} costs {number(abs(extra))} {found.currency} more to buy and {back}."
    yield said


def _water_words(found: Comparison) -> str:
    parts = []
    for letter, side in zip(LETTERS, found.sides, strict=False):
        leg, hours = side.outcome.oldest_leg, side.outcome.oldest_water_h
        still = max(side.outcome.legs.values(), key=lambda one: one.stagnant_share_percent)
        age = "never moves" if math.isinf(hours) else f"gets {number(hours)} h old"
        parts.append(
            f"in {letter} the oldest water ({leg}) {age} and some stands for "
            f"{number(still.stagnant_share_percent)} % of the time"
        )
    text = "; ".join(parts)
    return f"{text[0].upper()}{text[1:]}."


def _future_words(found: Comparison) -> str:
    measure = "total" if found.by_total else "cost_a_year"
    what = f"over {found.years} years" if found.by_total else "a year"
    if len(found.sides) > 2:
        wins = [0] * len(found.sides)
        dearer = [found.changes(0, k, measure).tolist() for k in range(len(wins))]
        for than_a in zip(*dearer, strict=True):
            wins[than_a.index(min(than_a))] += 1
        told = listed([f"{LETTERS[k]} in {n}" for k, n in enumerate(wins)])
        return f"Of {len(found.futures)} futures, cheapest {what}: {told}."
    return f"{versus_words(found.versus(0, 1, measure), 'A', 'B', what, found.currency)}"


def versus_words(one: Versus, first: str, second: str, what: str, unit: str) -> str:
    """`A costs less than B in 188 of 200 futures; median difference 120 EUR, 40 to 210 from 5th to 95th`."""
    more = one.of - one.less - one.same
    cheap, dear, wins, sign = (
        (first, second, one.less, 1.0) if one.less >= more else (second, first, more, -1.0)
    )
    if one.same == one.of:
        return f"{first} and {second} cost the same in all {one.of} futures."
    low, high = sorted((sign * one.low, sign * one.high))
    return (
        f"{cheap} costs less than {dear} {what} in {wins} of {one.of} futures; median difference "
        f"{number(sign * one.median)} {unit}, {_signed(low)} to {_signed(high)} from the 5th to the 95th "
        f"percentile{'' if one.of >= FEW else ' (of so few, no more than a hint)'}."
    )


def or_never(value: float) -> float | str:
    """A difference of B less A; where one of the two plants never gets there, which."""
    if math.isinf(value):
        return "B never" if value > 0.0 else "A never"
    return value


def _signed(value: float) -> str:
    told = or_never(value)
    return told if isinstance(told, str) else number(told)

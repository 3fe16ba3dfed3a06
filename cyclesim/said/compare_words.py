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


def takings(comparison: Comparison) -> Iterator[str]:
    """What a builder should take from it, each with the numbers that it rests on."""
    first, second = comparison.sides[:2]
    yield from _broken_words(comparison)
    if len(comparison.sides) == 2:
        yield from _cost_words(comparison, first, second)
    else:
        costs = [_judged(comparison, side) for side in comparison.sides]
        best = costs.index(min(costs))
        what = f"over {comparison.years} years" if comparison.by_total else "a year"
        yield f"{LETTERS[best]} costs least {what}: {number(costs[best])} {comparison.currency}."
    yield _water_words(comparison)
    if comparison.futures:
        yield _future_words(comparison)
    between = "" if len(comparison.sides) == 2 else " between A and B"
    flipping = [swing.assumption for swing in comparison.swings if swing.flips]
    if comparison.swings and flipping:
        yield f"The answer{between} turns with {listed(flipping)} alone, within the range given."
    elif comparison.swings:
        yield f"No assumption alone, within the range given, turns the answer{between}."


def _broken_words(comparison: Comparison) -> Iterator[str]:
    """What one plant breaks and another keeps, before anything is said for it."""
    rules = [{(f.severity, f.rule) for f in side.outcome.findings} for side in comparison.sides]
    for letter, own in zip(LETTERS, rules, strict=False):
        alone = sorted(rule for rule in own if any(rule not in other for other in rules))
        serious = [rule for severity, rule in alone if severity in ("danger", "hygiene")]
        lesser = [rule for severity, rule in alone if severity not in ("danger", "hygiene")]
        other = "another keeps" if len(rules) > 2 else f"{'B' if letter == 'A' else 'A'} keeps"
        if serious:
            yield f"{letter} breaks {listed(serious)}, which {other}. Mend that first."
        if lesser:
            yield f"{letter} breaks {listed(lesser)}, which {other}."


def _judged(comparison: Comparison, side: Side) -> float:
    if comparison.by_total:
        assert side.owning is not None
        return side.owning.total
    return side.cost_a_year


def _cost_words(comparison: Comparison, first: Side, second: Side) -> Iterator[str]:
    a, b = first.cost_a_year, second.cost_a_year
    if a == b:
        yield "Both cost the same to run."
    else:
        cheap, dear = ("A", "B") if a < b else ("B", "A")
        yield (
            f"{cheap} costs less to run: {number(min(a, b))} {comparison.currency} a year, {dear} "
            f"{number(max(a, b))}."
        )
    if first.owning is None or second.owning is None or first.owning.total == second.owning.total:
        return
    cheap, dear = ("A", "B") if first.owning.total < second.owning.total else ("B", "A")
    less = abs(first.owning.total - second.owning.total)
    sentence = (
        f"Over {comparison.years} years {cheap} costs {number(less)} {comparison.currency} less than {dear}, "
        "with what is bought and bought again."
    )
    extra = second.owning.purchase - first.owning.purchase
    if extra:
        dearer_to_buy, year = ("B", comparison.pays_back()) if extra > 0.0 else ("A", comparison.pays_back())
        back = (
            "never pays that back within 50 years" if year is None else f"has paid that back by year {year}"
        )
        sentence += (
            f" {dearer_to_buy} costs {number(abs(extra))} {comparison.currency} more to buy and {back}."
        )
    yield sentence


def _water_words(comparison: Comparison) -> str:
    parts = []
    for letter, side in zip(LETTERS, comparison.sides, strict=False):
        leg, hours = side.outcome.oldest_leg, side.outcome.oldest_water_h
        still = max(side.outcome.legs.values(), key=lambda outcome: outcome.stagnant_share_percent)
        age = "never moves" if math.isinf(hours) else f"gets {number(hours)} h old"
        parts.append(
            f"in {letter} the oldest water ({leg}) {age} and some stands for "
            f"{number(still.stagnant_share_percent)} % of the time"
        )
    text = "; ".join(parts)
    return f"{text[0].upper()}{text[1:]}."


def _future_words(comparison: Comparison) -> str:
    measure = "total" if comparison.by_total else "cost_a_year"
    what = f"over {comparison.years} years" if comparison.by_total else "a year"
    if len(comparison.sides) > 2:
        wins = [0] * len(comparison.sides)
        dearer = [comparison.changes(0, k, measure).tolist() for k in range(len(wins))]
        for than_a in zip(*dearer, strict=True):
            wins[than_a.index(min(than_a))] += 1
        counts = listed([f"{LETTERS[k]} in {n}" for k, n in enumerate(wins)])
        return f"Of {len(comparison.futures)} futures, cheapest {what}: {counts}."
    return f"{versus_words(comparison.versus(0, 1, measure), 'A', 'B', what, comparison.currency)}"


def versus_words(versus: Versus, first: str, second: str, what: str, unit: str) -> str:
    """`A costs less than B in 188 of 200 futures; median difference 120 EUR, 40 to 210 from 5th to 95th`."""
    second_less = versus.of - versus.less - versus.same
    cheap, dear, wins, sign = (
        (first, second, versus.less, 1.0)
        if versus.less >= second_less
        else (second, first, second_less, -1.0)
    )
    if versus.same == versus.of:
        return f"{first} and {second} cost the same in all {versus.of} futures."
    low, high = sorted((sign * versus.low, sign * versus.high))
    return (
        f"{cheap} costs less than {dear} {what} in {wins} of {versus.of} futures; median difference "
        f"{number(sign * versus.median)} {unit}, {_signed(low)} to {_signed(high)} from the 5th to the 95th "
        f"percentile{'' if versus.of >= FEW else ' (of so few, no more than a hint)'}."
    )


def or_never(value: float) -> float | str:
    """A difference of B less A; where one of the two plants never gets there, which."""
    if math.isinf(value):
        return "B never" if value > 0.0 else "A never"
    return value


def _signed(value: float) -> str:
    cell = or_never(value)
    return cell if isinstance(cell, str) else number(cell)

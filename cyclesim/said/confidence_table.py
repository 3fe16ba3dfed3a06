"""How far the numbers may be off, and what a flush leaves if water does not pass in order."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby

from cyclesim.analysis.amounts import listed
from cyclesim.decide.ranges.confidence import Confidence, Estimate
from cyclesim.decide.ranges.flushes import OldWater
from cyclesim.physics.dispersion import FEW_TANKS, MEASURED_TANKS
from cyclesim.said.page import Amount, Between, Column, Page, Row, record, words
from cyclesim.said.words import count, number

_SAYS = {
    "oldest_water_h": ("oldest water in", "h"),
    "longest_warm_still_h": ("longest warm and still:", "h"),
    "tub_water_at_last_jet_s": ("tub water at the last jet:", "s"),
    "volumes_per_flush": ("volumes moved:", ""),
    "turnovers_per_day": ("turnovers a day", ""),
    "fewest_turnovers_in_a_day": ("fewest turnovers in a day", ""),
    "coldest_water_c": ("coldest water", "°C"),
    "coldest_at_session_c": ("coldest at a session", "°C"),
    "most_short_at_ready_by_k": ("shortfall at a ready-by", "K"),
    "running_h": ("hours run:", "h"),
    "energy_kwh": ("electricity", "kWh"),
    "fuel_kwh": ("fuel", "kWh"),
    "cost": ("cost", ""),
    "cost_of_month": ("cost in", ""),
    "most_current_a": ("most current at once:", "A"),
}
_WORST = {
    "oldest_water_h": 4,
    "longest_warm_still_h": 3,
    "tub_water_at_last_jet_s": 4,
    "volumes_per_flush": 4,
    "cost_of_month": 0,
}
"""Of these only so many are told, the worst first; the JSON has all."""
_LESS_IS_WORSE = ("volumes_per_flush",)
_NAMED = 3


def say_confidence(page: Page, sure: Confidence) -> None:
    """A range for each number that one decides by, and the inputs that it is most sensitive to."""
    page.table(
        [words("number"), Column("as run"), Column("likely from\nlow to high")],
        (
            row
            for _, group in groupby(sure.estimates, lambda estimate: estimate.number)
            for row in _rows(list(group), sure)
        ),
        "How far these numbers may be off",
    )
    page.line()
    crossing = [estimate for estimate in sure.estimates if estimate.crosses_limit]
    if crossing:
        names = list(dict.fromkeys(map(_with_limit, crossing)))
        rest = f", and {len(names) - 6} more" if len(names) > 6 else ""
        clause = "its limit lies" if len(names) == 1 else "their limits lie"
        page.line(f"Too close to call, {clause} inside the range: {'; '.join(names[:6])}{rest}.", tone="mind")
    page.line(
        f"{count(len(sure.inputs), 'input')} were put to their likely ends one at a time, in {sure.runs} "
        f"runs with {sure.draws} of all at once. A range is the root of the sum of squares of what each "
        "does, upward and downward apart, or what the draws came to where that is more. It is as good as the "
        "spreads, most of them common practice without a source, and knows nothing of what the model leaves "
        "out."
    )
    kept = [skipped.input for skipped in sure.not_varied if skipped.why.startswith("no range")]
    if kept:
        page.line(f"Left as they are, being no range of numbers: {listed(kept)}.")
    _say_flushes(page, sure.flushes)


def _rows(estimates: Sequence[Estimate], sure: Confidence) -> Iterator[Row]:
    """The rows of one number: the worst of it, and subjects that read the same together."""
    name = estimates[0].number
    if name in _WORST:
        estimates = sorted(estimates, key=lambda estimate: estimate.value, reverse=name not in _LESS_IS_WORSE)
    unit = sure.currency if name == "cost" else _SAYS[name][1]
    alike: dict[tuple[str, ...], list[Estimate]] = {}
    for estimate in estimates:
        texts = tuple(map(number, (estimate.value, estimate.low, estimate.high)))
        moved = set(texts) != {texts[0]}
        by = ", ".join(influence.input for influence in estimate.most_sensitive_to[:_NAMED]) if moved else ""
        alike.setdefault((*texts, by), []).append(estimate)
    for (value, low, high, by), group in list(alike.items())[: _WORST.get(name)]:
        first = group[0]
        spread = "the same" if low == high == value else Between(first.low, first.high, unit)
        yield Row((_name(group), Amount(first.value, unit), spread), first.subject)
        if by:
            yield Row((f"most sensitive to: {by}",), level=1)


def _name(group: Sequence[Estimate]) -> str:
    """What a row is about; of several subjects the first and how many more."""
    words, subjects = _SAYS[group[0].number][0], [estimate.subject for estimate in group]
    if not words.endswith((" in", ":")):
        return words
    return f"{words} {subjects[0]}" + (f" and {len(subjects) - 1} more" if len(subjects) > 1 else "")


def _with_limit(estimate: Estimate) -> str:
    unit = _SAYS[estimate.number][1]
    return f"{_name([estimate])} ({f'{number(estimate.limit)} {unit}'.strip()})"


def _say_flushes(page: Page, flushes: Sequence[OldWater]) -> None:
    if not flushes:
        return
    columns = (
        words("flush, leg"),
        Column("lasts\n{unit}", "lasts_s", "s"),
        Column("volumes\nmoved", "volumes"),
        Column("in\norder", "in_order_percent", "%", digits=0),
        Column(f"{MEASURED_TANKS:.0f}\ntanks", "measured_tanks_percent", "%"),
        Column("with filter\nstirred", "stirred_filter_percent", "%"),
        Column(f"{FEW_TANKS:.0f}\ntanks", "few_tanks_percent", "%"),
        Column("5 %\nat {unit}", "lasts_for_5_percent_s", "s", "fixed", 0),
    )
    page.table(
        columns,
        [record(columns, f"{old_water.flush}, {old_water.leg}", old_water) for old_water in flushes],
        "Old water that comes out at the last jet as a flush ends, % of it",
    )
    page.line(
        "The run moves water in order, the best that a flush can do. A front measured in 39 m of straight "
        f"pipe spreads like {MEASURED_TANKS:.0f} stirred tanks in a row; with elbows, tees and housings a "
        f"line may behave like {FEW_TANKS:.0f} (common practice, no source). The last column is how long a "
        f"flush must last for {FEW_TANKS:.0f} tanks to leave 5 %."
    )

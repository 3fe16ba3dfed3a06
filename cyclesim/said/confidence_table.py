"""How far the numbers may be off, and what a flush leaves if water does not pass in order."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import groupby
from textwrap import wrap

from cyclesim.analysis.amounts import listed
from cyclesim.decide.ranges.confidence import Confidence, Estimate
from cyclesim.decide.ranges.flushes import OldWater
from cyclesim.said.page import Column, Page
from cyclesim.said.words import UNKNOWN, count, number

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
    "most_current_a": ("most current at once:", "A"),
}
_WORST = {
    "oldest_water_h": 4,
    "longest_warm_still_h": 3,
    "tub_water_at_last_jet_s": 4,
    "volumes_per_flush": 4,
}
"""Of these only so many are told, the worst first; the JSON has all."""
_LESS_IS_WORSE = ("volumes_per_flush",)
_NAMED, _WIDE = 3, 54


def say_confidence(page: Page, sure: Confidence) -> None:
    """A range for each number that one decides by, and the inputs that it is most sensitive to."""
    page.heading("How far these numbers may be off")
    page.table(
        [Column("number", words=True), Column("as run"), Column("likely from\nlow to high")],
        (
            row
            for _, group in groupby(sure.estimates, lambda one: one.number)
            for row in _rows(list(group), sure)
        ),
    )
    page.line()
    crossing = [one for one in sure.estimates if one.crosses_limit]
    if crossing:
        told = list(dict.fromkeys(f"{_name([one])} ({number(one.limit)})" for one in crossing))
        more = f", and {len(told) - 6} more" if len(told) > 6 else ""
        said = "its limit lies" if len(told) == 1 else "their limits lie"
        page.line(f"Too close to call, {said} inside the range: {'; '.join(told[:6])}{more}.", tone="mind")
    page.line(
        f"{count(len(sure.inputs), 'input')} were put to their likely ends one at a time, in {sure.runs} "
        f"runs with {sure.draws} of all at once. A range is the root of the sum of squares of what each "
        "does, upward and downward apart, or what the draws came to where that is more. It is as good as the "
        "spreads, most of them common practice without a source, and knows nothing of what the model leaves "
        "out."
    )
    kept = [one.input for one in sure.not_varied if one.why.startswith("no range")]
    if kept:
        page.line(f"Left as they are, being no range of numbers: {listed(kept)}.")
    _say_flushes(page, sure.flushes)


def _rows(estimates: Sequence[Estimate], sure: Confidence) -> Iterator[tuple[str, str, str]]:
    """The rows of one number: the worst of it, and subjects that read the same together."""
    name = estimates[0].number
    if name in _WORST:
        estimates = sorted(estimates, key=lambda one: one.value, reverse=name not in _LESS_IS_WORSE)
    told: dict[tuple[str, str, str], list[Estimate]] = {}
    for one in estimates:
        unit = sure.currency if name == "cost" else _SAYS[name][1]
        value, low, high = (_shown(x) for x in (one.value, one.low, one.high))
        by, spread = "", "the same"
        if (low, high) != (value, value):
            by = ", ".join(influence.input for influence in one.most_sensitive_to[:_NAMED])
            spread = f"{low} to {high}"
        told.setdefault((f"{value} {unit}".strip(), spread, by), []).append(one)
    for (value, spread, by), group in list(told.items())[: _WORST.get(name)]:
        yield _name(group), value, spread
        if by:
            most = wrap(f"most sensitive to: {by}", _WIDE - 2)
            yield "\n".join(f"  {line}" for line in most), "", ""


def _name(group: Sequence[Estimate]) -> str:
    """What a row is about; of several subjects the first and how many more."""
    words, subjects = _SAYS[group[0].number][0], [one.subject for one in group]
    if not words.endswith((" in", ":")):
        return words
    return f"{words} {subjects[0]}" + (f" and {len(subjects) - 1} more" if len(subjects) > 1 else "")


def _shown(value: float) -> str:
    return "never" if value == math.inf else number(value)


def _say_flushes(page: Page, flushes: Sequence[OldWater]) -> None:
    if not flushes:
        return
    page.heading("Old water that comes out at the last jet as a flush ends, % of it")
    page.table(
        [
            Column("flush, leg", words=True),
            Column("lasts\ns"),
            Column("volumes\nmoved"),
            Column("in\norder"),
            Column("20\ntanks"),
            Column("with filter\nstirred"),
            Column("5\ntanks"),
            Column("5 %\nat s"),
        ],
        (
            (
                f"{one.flush}, {one.leg}",
                number(one.lasts_s),
                number(one.volumes),
                number(one.in_order_percent, 0),
                number(one.many_tanks_percent),
                number(one.stirred_filter_percent),
                number(one.few_tanks_percent),
                UNKNOWN if one.lasts_for_5_percent_s is None else f"{one.lasts_for_5_percent_s:.0f}",
            )
            for one in flushes
        ),
    )
    page.line(
        "The run moves water in order, the best that a flush can do. Elbows, tees and housings mix: a line "
        "may behave like 20 stirred tanks in a row, or 5 (common practice, no source). The last column is "
        "how long a flush must last for 5 tanks to leave 5 %."
    )

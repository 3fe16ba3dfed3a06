"""Plants side by side for a person: what differs, what it costs over the years, and how sure that is."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import asdict
from typing import Any

from cyclesim.analysis.amounts import listed
from cyclesim.decide.comparing.comparison import Comparison, Side
from cyclesim.decide.tuning.programmes import own
from cyclesim.said.cautions import ADVICE, WATER, say_cautions
from cyclesim.said.compare_words import LETTERS, or_never, takings
from cyclesim.said.page import Amount, Column, Page, Row, whole, words
from cyclesim.said.tune import programme_values
from cyclesim.said.words import count, month, number

_YEAR = 365.0
Of = Callable[[Side], float | None]


def compare_page(comparison: Comparison) -> Page:
    """Everything a comparison says to a person, the answer first."""
    page = Page()
    page.line("Side by side", tone="strong")
    for letter, side in zip(LETTERS, comparison.sides, strict=False):
        title = f" ({side.scenario.title})" if side.name != side.scenario.title else ""
        page.line(f"{letter}  {side.name}{title}", hang=3, as_written=True)
    page.line(f"The same weather and bathers for {count(comparison.days, 'day')}.")
    if comparison.tuned:
        page.line("Each runs the programme that cyclesim tune found for it:")
        _say_programmes(page, comparison)
    else:
        page.line(
            "Each runs its own file's programme. Tuning both may reverse the answer: --tuned does it.",
            tone="mind",
        )
    if comparison.unlike:
        page.line(
            f"Not the same: {listed(list(comparison.unlike))}. A difference may come from that, and not from "
            "the plant; --set PATH=VALUE tells all of them the same.",
            tone="mind",
        )
    page.heading("What to take from it")
    for sentence in takings(comparison):
        page.line(f"- {sentence}", hang=2)
    _say_water(page, comparison)
    _say_running(page, comparison)
    _say_money(page, comparison)
    _say_findings(page, comparison)
    if comparison.futures:
        _say_futures(page, comparison)
    if comparison.swings:
        _say_swings(page, comparison)
    say_cautions(page, (WATER, ADVICE))
    return page


def _say_programmes(page: Page, comparison: Comparison) -> None:
    page.table(
        [
            words(""),
            words("what"),
            words("pump"),
            Column("lasts", unit="s", kind="keyed in"),
            words("starts"),
        ],
        [
            (letter, entry.does, str(entry.pumping), entry.lasts_s, entry.clocks)
            for letter, side in zip(LETTERS, comparison.sides, strict=False)
            for entry in own(side.scenario).entries
        ],
    )


# -- tables ------------------------------------------------------------------------------------------------


def _table(page: Page, comparison: Comparison, head: str, rows: Sequence[tuple[str, Of, int]]) -> None:
    """One row a number, one column a plant, and for two plants the difference."""
    pair = len(comparison.sides) == 2
    columns = [words(head), *map(Column, LETTERS[: len(comparison.sides)])]
    columns += [Column("B - A")] if pair else []
    made = []
    for name, of, digits in rows:
        values = [of(side) for side in comparison.sides]
        what = name.removesuffix(", degC")
        units = ("", "") if what == name else ("°C", "K")
        cells = [Amount(value, units[0], digits) for value in values]
        made.append(Row((what, *cells, *((_change(values, digits, units[1]),) if pair else ())), name))
    page.table(columns, made)


def _change(values: Sequence[float | None], digits: int, unit: str = "") -> Amount:
    a, b = values
    if a == b:
        return Amount(0.0)
    if a is None or b is None or math.isinf(a) or math.isinf(b):
        return Amount(None)
    if math.isclose(a, b, rel_tol=1e-9):  # the same sum in another order
        return Amount(0.0)
    return Amount(b - a, unit, digits, kind="change")


def _legs(comparison: Comparison) -> list[str]:
    """Legs of any plant; those of several first."""
    names = list(dict.fromkeys(name for side in comparison.sides for name in side.outcome.legs))
    return sorted(names, key=lambda name: -sum(name in side.outcome.legs for side in comparison.sides))


def _say_water(page: Page, comparison: Comparison) -> None:
    page.heading("Water in each leg that has a counterpart, and in those that have none")

    def oldest_h(name: str) -> Of:
        def of(side: Side) -> float | None:
            leg = side.outcome.legs.get(name)
            if leg is None:
                return None
            return math.inf if leg.oldest_water_h is None else leg.oldest_water_h

        return of

    def stood_h(name: str) -> Of:
        return lambda s: s.outcome.legs[name].longest_stagnant_h if name in s.outcome.legs else None

    legs = _legs(comparison)
    _table(page, comparison, "oldest water, h", _alike(comparison, legs, oldest_h))
    page.line()
    _table(page, comparison, "longest stand, h", _alike(comparison, legs, stood_h))


def _alike(
    comparison: Comparison, names: Sequence[str], of: Callable[[str], Of]
) -> list[tuple[str, Of, int]]:
    """A row for each name, those that read the same in every plant as one."""
    groups: dict[tuple[str, ...], list[str]] = {}
    for name in names:
        groups.setdefault(tuple(number(of(name)(side)) for side in comparison.sides), []).append(name)
    return [("; ".join(group), of(group[0]), 1) for group in groups.values()]


def _say_running(page: Page, comparison: Comparison) -> None:
    page.heading("Running")

    def kind(what: str, of: str, per_day: bool = False) -> Of:
        def value(side: Side) -> float | None:
            chosen = [getattr(d, of) for d in side.outcome.devices.values() if d.kind == what]
            if not chosen:
                return None
            return float(sum(chosen)) / side.outcome.days * (1.0 if per_day else _YEAR)

        return value

    def per_m3(pump: str, of: str) -> Of:
        def value(side: Side) -> float | None:
            device = side.outcome.devices.get(pump)
            return (
                1000.0 * getattr(device, of) / device.moved_m3
                if device is not None and device.moved_m3
                else None
            )

        return value

    set_backs = {side.warming.set_back_c for side in comparison.sides if side.warming}
    low = f"{min(set_backs):g} degC" if len(set_backs) == 1 else "set-back"

    def per_filtered_m3(side: Side) -> float | None:
        filtered = side.outcome.turnovers_per_day * side.outcome.days * side.scenario.plant.tub.volume_m3
        used = sum(d.energy_kwh for d in side.outcome.devices.values() if d.kind == "pump")
        return 1000.0 * used / filtered if filtered else None

    def sun_unused(side: Side) -> float | None:
        return None if (kwh := side.outcome.sun_unused_kwh) is None else kwh / side.outcome.days * _YEAR

    names = dict.fromkeys(
        n for s in comparison.sides for n, d in s.outcome.devices.items() if d.kind == "pump"
    )

    rows: list[tuple[str, Of, int]] = [
        ("pumps run, h a day", kind("pump", "running_h", True), 1),
        ("pump starts a day", kind("pump", "starts", True), 1),
        ("heard, min a day", lambda s: s.outcome.loud_min_a_day, 1),
        ("weakest jet, % of what it needs", lambda s: s.weakest_jet_share and 100 * s.weakest_jet_share, 1),
        ("turnovers a day", lambda s: s.outcome.turnovers_per_day, 1),
        ("pumps, kWh a year", kind("pump", "energy_kwh"), 1),
        ("heat sources, kWh a year", kind("heat source", "energy_kwh"), 1),
        ("heat sources' fuel, kWh a year", kind("heat source", "fuel_kwh"), 1),
        ("sun not used, kWh a year", sun_unused, 1),
        ("blowers, kWh a year", kind("blower", "energy_kwh"), 1),
        ("circulators, kWh a year", kind("circulator", "energy_kwh"), 1),
        ("treatment, kWh a year", kind("treatment", "energy_kwh"), 1),
        ("pump room's own, kWh a year", kind("pump room", "energy_kwh"), 1),
        ("all electricity, kWh a year", lambda s: s.outcome.energy_kwh / s.outcome.days * _YEAR, 1),
        ("all pumps, Wh for each m3 filtered", per_filtered_m3, 1),
        *((f"{n}, Wh drawn for each m3 it moves", per_m3(n, "energy_kwh"), 1) for n in names),
        *((f"{n}, Wh of work on each m3 it moves", per_m3(n, "hydraulic_kwh"), 2) for n in names),
        ("most current at once, A", lambda s: s.outcome.most_current_a, 1),
        ("filled tub to set point, coldest week, h", lambda s: s.warming and s.warming.filled_h, 1),
        (f"from {low} to set point, coldest day, h", lambda s: s.warming and s.warming.set_back_h, 1),
        ("coldest tub, degC", lambda s: s.outcome.coldest_c, 1),
        ("bathing sessions", lambda s: float(s.outcome.sessions), 0),
        ("of them begun in cold water", lambda s: float(s.outcome.cold_sessions), 0),
    ]
    known_rows = [row for row in rows if any(row[1](side) for side in comparison.sides)]
    _table(page, comparison, "", known_rows)


def _say_money(page: Page, comparison: Comparison) -> None:
    page.heading(f"Money, {comparison.currency}")

    def by_month(side: Side) -> dict[str, float]:
        return side.outcome.cost_by_month

    rows: list[tuple[str, Of, int]] = [
        ("energy and fuel, a year", lambda s: s.cost_a_year, 2),
        ("in a mean month", lambda s: s.cost_a_year / 12.0, 2),
        ("in the dearest month", lambda s: max(by_month(s).values(), default=None), 2),
    ]
    if any(side.owning for side in comparison.sides):
        rows += [
            ("bought at the start", lambda s: s.owning.purchase if s.owning else None, 2),
            ("bought again", lambda s: s.owning.replacements if s.owning else None, 2),
            (f"energy over {comparison.years} years", lambda s: s.owning.energy if s.owning else None, 2),
            (f"all, over {comparison.years} years", lambda s: s.owning.total if s.owning else None, 2),
        ]
    _table(page, comparison, "", rows)
    dearest = [
        f"{letter} {month(max(months, key=lambda m: months[m]))}"
        for letter, side in zip(LETTERS, comparison.sides, strict=False)
        if (months := by_month(side))
    ]
    page.line(f"Dearest months: {listed(dearest)}.")
    priced = [side.scenario.money for side in comparison.sides if side.scenario.money]
    if not priced:
        page.line("Without money: in the files nothing is known of what is bought, nor of the years to come.")
        return
    missing = [LETTERS[k] for k, side in enumerate(comparison.sides) if side.owning is None]
    if missing:
        page.line(f"No money: in {listed(missing)}, so nothing is known of what is bought there.")
    rates: dict[str, list[str]] = {}
    for letter, side in zip(LETTERS, comparison.sides, strict=False):
        if (money := side.scenario.money) is not None:
            terms = (
                f"{money.discount_rate:.1%} discount a year, "
                f"energy {money.energy_price_rise:.1%} dearer a year"
            )
            rates.setdefault(terms, []).append(letter)
    counted = [terms if len(rates) == 1 else f"{listed(who)} with {terms}" for terms, who in rates.items()]
    page.line(
        f"Each at its value today: {'; '.join(counted)}, both beyond inflation; machines bought again when "
        "their hours or years are used up, nothing worth anything in the end."
    )


def _say_findings(page: Page, comparison: Comparison) -> None:
    findings_by_letter = [
        (letter, side.outcome.findings)
        for letter, side in zip(LETTERS, comparison.sides, strict=False)
        if side.outcome.findings
    ]
    page.heading("Rules broken")
    if not findings_by_letter:
        page.line("None in any of them.")
    for letter, findings in findings_by_letter:
        for rule in dict.fromkeys((f.severity, f.rule) for f in findings):
            subjects = list(dict.fromkeys(f.subject for f in findings if f.rule == rule[1]))
            page.line(f"{letter}  {rule[0]}, {rule[1]}: {listed(subjects)}", hang=3)


def _say_futures(page: Page, comparison: Comparison) -> None:
    page.heading(f"In {count(len(comparison.futures), 'future')}")
    rows = []
    for k in range(1, len(comparison.sides)):
        for name, measure in comparison.measures.items():
            versus = comparison.versus(0, k, name)
            label = measure.says.format(currency=comparison.currency, years=comparison.years)
            rows.append(
                (
                    f"{LETTERS[k]} - A: {label}",
                    versus.of - versus.less - versus.same,
                    versus.less,
                    *map(or_never, (versus.low, versus.median, versus.high)),
                )
            )
    letter = "B" if len(comparison.sides) == 2 else "other"
    columns = [words("difference"), whole(f"{letter} less\nin"), whole("A less\nin")]
    page.table([*columns, Column("5th"), Column("median"), Column("95th")], rows)
    page.line(
        "Each future has its own weather, bathers, price of energy, ratings of pumps and elements, prices "
        "and lives of machines, the same for every plant; a draw is most likely as told (ranges below)."
    )


def _say_swings(page: Page, comparison: Comparison) -> None:
    what = (
        f"{comparison.currency} over {comparison.years} years"
        if comparison.by_total
        else f"{comparison.currency} a year"
    )
    page.heading(f"What moves the answer: B - A in {what}")
    columns = [words("assumption alone"), words("from"), words("to")]
    page.table(
        [*columns, Column("B - A\nat from"), Column("B - A\nat to"), words("")],
        (
            (s.assumption, s.low, s.high, or_never(s.at_low), or_never(s.at_high), "turns" if s.flips else "")
            for s in comparison.swings
        ),
    )
    sources = list(dict.fromkeys(swing.source for swing in comparison.swings))
    page.line(f"Ranges: {'; '.join(sources)}.")


def compare_values(comparison: Comparison) -> dict[str, Any]:
    """The same as plain values; the unit is in the key."""
    return {
        "days": comparison.days,
        "years": comparison.years,
        "currency": comparison.currency,
        "tuned": comparison.tuned,
        "not_the_same": list(comparison.unlike),
        "plants": [
            {
                "name": side.name,
                "title": side.scenario.title,
                "programme": programme_values(own(side.scenario)),
                "outcome": side.outcome.as_values(),
                "weakest_jet_share": side.weakest_jet_share,
                "warming": None if side.warming is None else side.warming._asdict(),
                "owning": None
                if side.owning is None
                else {**asdict(side.owning), "total": side.owning.total},
            }
            for side in comparison.sides
        ],
        "takings": list(takings(comparison)),
        "futures": [[dict(measured) for measured in future] for future in comparison.futures],
        "versus_the_first": [
            {measure: asdict(comparison.versus(0, k, measure)) for measure in comparison.measures}
            for k in range(1, len(comparison.sides))
        ]
        if comparison.futures
        else [],
        "sensitivity": [asdict(swing) for swing in comparison.swings],
    }

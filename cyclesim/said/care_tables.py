"""Water care in a report: where the disinfectant fades, refills, the filter between two cleanings."""

from __future__ import annotations

from cyclesim.analysis.metrics import DisinfectantMetrics, Metrics, RefillCare
from cyclesim.said.page import Column, Page, whole, words
from cyclesim.said.run_tables import leg_row, worst_first
from cyclesim.said.words import NEVER_MOVES, count, hours, number

_PRACTICE = "US gallons / 3 / bathers a day: common practice, no source"


def say_water_care(page: Page, metrics: Metrics) -> None:
    """What the file's water care comes to; nothing where it says nothing of it."""
    care = metrics.water_care
    if care is None:
        return
    page.heading("Water care")
    if care.disinfectant:
        _say_disinfectant(page, metrics, care.disinfectant)
    if care.refill:
        _say_refill(page, care.refill, metrics.energy.currency)
    if care.filter:
        every = hours(24.0 * care.filter.clean_filter_every_days)
        flow_h, passed_m3 = care.filter.flow_between_cleans_h, care.filter.passed_between_cleans_m3
        passed = f"{number(passed_m3)} m3 pass it in {number(flow_h)} h of flow between two cleanings"
        page.line(f"Filter: cleaned every {every}; {passed}.", hang=2)


def _say_disinfectant(page: Page, metrics: Metrics, disinfectant: DisinfectantMetrics) -> None:
    fast, slow = number(disinfectant.until_below_fast_h), number(disinfectant.until_below_slow_h)
    page.line(
        f"Disinfectant: {number(disinfectant.residual_mg_l)} mg/L in the tub, halved in "
        f"{number(disinfectant.half_life_fast_h)} to {number(disinfectant.half_life_slow_h)} h once it has "
        f"left: below {number(disinfectant.at_least_mg_l)} mg/L in water older than {fast} h (fast) to "
        f"{slow} h (slow). While it flows, the hours are an upper bound.",
        hang=2,
    )
    rows = [leg_row(_FADING, name, disinfectant.legs) for name in worst_first(metrics.legs)]
    page.table(_FADING, rows)


_FADING = (
    words("leg"),
    Column("least\n{unit}\nfast", "least_fast_mg_l", "mg/L", unknown=NEVER_MOVES),
    Column("least\n{unit}\nslow", "least_slow_mg_l", "mg/L"),
    whole("times\nbelow\nfast", "times_below_fast"),
    Column("hours\nbelow\nfast", "below_fast_h", "h"),
    whole("times\nbelow\nslow", "times_below_slow"),
    Column("hours\nbelow\nslow", "below_slow_h", "h"),
)


def _say_refill(page: Page, refill: RefillCare, currency: str) -> None:
    clauses = []
    if refill.refill_every_days is not None:
        clauses.append(f"every {hours(24.0 * refill.refill_every_days)}")
    if refill.since_refill_days is not None:
        kept = ", if that is kept up," if refill.refill_every_days is not None else ""
        clauses.append(f"the last{kept} {count(int(refill.since_refill_days), 'day')} before the end")
    elif refill.last_refill is not None:
        clauses.append(f"the last on {refill.last_refill}, after the end")
    if refill.suggested_refill_days is None:
        clauses.append("nobody bathes, so that nothing suggests how often")
    else:
        bathers = f"{number(refill.bathers_per_day)} bathers a day"
        every, suggested = refill.refill_every_days, refill.suggested_refill_days
        if every is not None and every <= suggested:
            clauses.append(f"{bathers} would not ask for one sooner ({_PRACTICE})")
        else:
            clauses.append(f"{bathers} suggest every {hours(24.0 * suggested)} ({_PRACTICE})")
    page.line(f"Refills: {'; '.join(clauses)}.", hang=2)
    if refill.refills and refill.refills_heat_kwh:
        page.line(f"Not in the cost of these days: {refills_said(refill, currency)}.", hang=2)


def refills_said(refill: RefillCare, currency: str) -> str:
    """What it takes to warm the refills of the span, which no bill of a run has in it."""
    said = f"warming {count(refill.refills, 'refill')}, about {number(refill.refills_heat_kwh)} kWh of heat"
    cost = refill.refills_heat_cost
    return said if cost is None else f"{said} or {number(cost)} {currency}"

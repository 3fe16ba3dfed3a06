"""Two runs beside each other in the few numbers that decide between them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cyclesim.analysis.findings import SEVERITIES
from cyclesim.analysis.result import Result
from cyclesim.said.answer import answer
from cyclesim.said.page import Amount, Cell, Row, Table, words
from cyclesim.said.words import NEVER_MOVES

if TYPE_CHECKING:
    from cyclesim.analysis.metrics import Metrics


def side_by_side(first: Result, second: Result) -> Table:
    """A row for each number, with what it is of the first plant and of the second."""
    columns = [_column(first), _column(second)]
    rows = [Row((name, one, other)) for (name, one), (_, other) in zip(*columns, strict=True)]
    return Table((words(""), words("A"), words("B")), tuple(rows), "The two beside each other")


def _column(result: Result) -> list[tuple[str, Cell]]:
    metrics, rules = result.metrics, {f.rule: f.severity for f in result.findings}
    broken = [f"{n} {s}" for s in SEVERITIES if (n := list(rules.values()).count(s))]
    energy, days = metrics.energy, result.about.days
    pumps_h = sum(pump.running_h for pump in metrics.pumps.values())
    starts = sum(pump.starts_per_day for pump in metrics.pumps.values())
    return [
        ("rules broken", ", ".join(broken) or "none"),
        ("energy and fuel", Amount(energy.cost, energy.currency)),
        ("electricity", Amount(energy.energy_kwh, "kWh")),
        ("fuel", Amount(energy.fuel_kwh, "kWh")),
        ("oldest water", _oldest(metrics)),
        ("pumps run a day", Amount(pumps_h / days, "h")),
        ("pumps start a day", Amount(starts, "times")),
        ("heat lost by the pipes", Amount(metrics.tub.lost_from_legs_kwh, "kWh")),
        ("most current at once", Amount(energy.most_current_a, "A")),
        ("largest loss", answer(result).largest_loss or "none"),
    ]


def _oldest(metrics: Metrics) -> Cell:
    kept = metrics.promises
    if kept is None or kept.oldest_water_in is None:
        return None
    if kept.oldest_water_h is None:
        return f"{NEVER_MOVES}, in {kept.oldest_water_in}"
    return Amount(kept.oldest_water_h, "h", after=f"in {kept.oldest_water_in}")

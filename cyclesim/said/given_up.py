"""What a programme loses beside the file's own: of the sun, of the tariff's cheap hours, of what was kept."""

from __future__ import annotations

from collections.abc import Iterator

from cyclesim.analysis.amounts import listed
from cyclesim.decide.sweeps.outcome import Outcome
from cyclesim.said.words import count, number
from cyclesim.scenario.blocks.heat_sources import Solar
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.place import PriceFile

_YEAR_DAYS = 365.0
_CLEARLY = 0.01
"""A share of sun or of the price below which nobody would call it a loss."""


def given_up(scenario: Scenario, mine: Outcome, out: Outcome) -> Iterator[str]:
    """A sentence for each thing of which a programme keeps less than the file's own."""
    yield from _sun(scenario, mine, out)
    yield from _tariff(scenario, mine, out)
    worse = out.cold_sessions - mine.cold_sessions
    if worse > 0:
        yield f"People step into water that is too cold {count(worse, 'time')} more."
    kept = {(finding.rule, finding.subject) for finding in mine.findings}
    new = [f"{f.rule} ({f.subject})" for f in out.findings if (f.rule, f.subject) not in kept]
    if new:
        yield f"It breaks what the file's own programme keeps: {listed(list(dict.fromkeys(new)))}."


def _sun(scenario: Scenario, mine: Outcome, out: Outcome) -> Iterator[str]:
    names = [name for name, sheet in scenario.plant.heat_sources.items() if isinstance(sheet, Solar)]

    def in_a_year(one: Outcome) -> float:
        known = (one.devices[name].heat_kwh or 0.0 for name in names if name in one.devices)
        return sum(known) * _YEAR_DAYS / one.days

    was, gives = map(in_a_year, (mine, out))
    if was and was - gives > _CLEARLY * was:
        yield (
            f"It takes {number(was - gives)} kWh a year less from the sun, of {number(was)} kWh with the "
            "file's own programme: the pump of the collectors runs in fewer sunny hours."
        )


def _tariff(scenario: Scenario, mine: Outcome, out: Outcome) -> Iterator[str]:
    tariff = scenario.supply.tariff
    if not isinstance(tariff, PriceFile) and not tariff.windows:
        return
    was, pays = map(_mean_price, (mine, out))
    if was is not None and pays is not None and pays - was > _CLEARLY * was:
        yield (
            f"It buys a kilowatt-hour for {pays:.3f} {out.currency} as a mean, the file's own programme for "
            f"{was:.3f}: more of it in dear hours."
        )


def _mean_price(one: Outcome) -> float | None:
    """What a kilowatt-hour of electricity costs as a mean; a device that burns fuel is left out."""
    electric = [device for device in one.devices.values() if not device.fuel_kwh]
    kwh = sum(device.energy_kwh for device in electric)
    return sum(device.cost for device in electric) / kwh if kwh else None

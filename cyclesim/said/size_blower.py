"""What sizing a blower found, for a person: a table, and a sentence of advice with its reason."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from cyclesim.analysis.amounts import flow, lasting
from cyclesim.decide.sizing.blower_sizing import BlowerSizing, Blown
from cyclesim.said.cautions import ADVICE, say_cautions
from cyclesim.said.page import Column, Page, Row, words
from cyclesim.said.size_pump import ELECTRIC, percent
from cyclesim.said.words import number, of_pump


def _air(m3_s: float) -> str:
    """A flow of air, which a reader of US units has in a unit of its own."""
    return f"{flow(m3_s)} of air"


def blower_page(sizing: BlowerSizing) -> Page:
    """Everything that sizing a blower says, the advice first."""
    page = Page()
    page.line(f"{sizing.scenario.title}: the blower", tone="strong", as_written=True)
    pressures = f"The water over the holes asks for {sizing.depth_pa / 1000.0:.1f} kPa before any air comes"
    if sizing.wanted_m3_s is not None and sizing.wanted_pa is not None:
        fitted = any(blower.injectors for blower in sizing.scenario.plant.air.values())
        way = "the pipe and its injectors" if fitted else "the pipe"
        pressures += f"; {_air(sizing.wanted_m3_s)} through {way} ask for {sizing.wanted_pa / 1000.0:.1f} kPa"
    page.line(f"{pressures}.")
    page.heading("Advice")
    for sentence in blower_advice(sizing):
        page.line(f"- {of_pump(sentence)}", hang=2)
    month, air_c = sizing.coldest
    page.table(
        [
            words("blower"),
            Column("flow\n{unit}", unit="L/min of air"),
            Column("pressure\n{unit}", unit="kPa"),
            Column("to spare, {unit}\nflow", unit="%", kind="change"),
            Column("\npress.", unit="%", kind="change"),
            Column("power\n{unit}", unit="W of pump"),
            Column(f"{{unit}} in\n{month}", unit="K/h", digits=2),
            Column("{unit},\nmean", unit="K/h", digits=2),
            Column("1 K in\n(cold)", unit="h", kind="lasting"),
        ],
        (row for blown in sizing.given for row in _blown_rows(blown, blown is sizing.best)),
        "What each gives through this pipe, and how fast it cools the water",
        [
            f"Cooling by the air alone, water at {sizing.water_c:.1f} degC, drawn from {air_c:.1f} degC in "
            f"{month} and {sizing.mean_c:.1f} degC on the year's mean; that air leaves saturated is an upper "
            "bound. Cold water that replaces what evaporates is counted. To spare: flow beyond what is "
            "wanted; pressure at no flow, beyond what the depth asks for. * the one advised."
        ],
    )
    for blown in sizing.given:
        for caution in blown.cautions:
            page.line(f"- {blown.blower}: {caution}.", hang=2)
    say_cautions(page, (ELECTRIC, ADVICE))
    return page


def _blown_rows(blown: Blown, advised: bool) -> Iterator[Row]:
    cools = blown.cools_coldest_k_h
    cells = (
        blown.flow_m3_s * 60_000.0,
        blown.pressure_pa / 1000.0,
        percent(blown.flow_spare_share),
        percent(blown.pressure_spare_share),
        blown.power_w,
        cools,
        blown.cools_mean_k_h,
        1.0 / cools if cools > 0.0 else math.inf,
    )
    yield Row((f"{blown.blower}{' *' if advised else ''}", *cells), blown.blower)
    if blown.why_not:
        yield Row((blown.why_not,), blown.blower, 1)


def blower_advice(sizing: BlowerSizing) -> Iterator[str]:
    """Which to take and why."""
    best = sizing.best
    if sizing.wanted_m3_s is None:
        yield (
            "Nothing is advised until --flow says how much is wanted, e.g. 600 L/min of air; the table shows "
            "what each gives."
        )
        return
    if best is None:
        wanted = f" {_air(sizing.wanted_m3_s)}"
        most = max(sizing.given, key=lambda blown: blown.flow_m3_s)
        yield (
            f"None gives{wanted}: {most.blower} comes nearest with {_air(most.flow_m3_s)}. "
            "A wider or shorter pipe helps where the pipe takes the pressure, holes less deep where the "
            "water does."
        )
        return
    for_what = f"that give {_air(sizing.wanted_m3_s)}"
    if not best.cautions and any(blown.cautions for blown in sizing.given):
        for_what += " and that their circuit carries"
    yield (
        f"{best.blower}: of those {for_what} it draws least, {number(best.power_w)} W, and gives "
        f"{_air(best.flow_m3_s)} at {best.pressure_pa / 1000.0:.1f} kPa."
    )
    if best.cools_coldest_k_h > 0.0:
        kelvin = lasting(3600.0 / best.cools_coldest_k_h)
        yield (
            f"In {sizing.coldest[0]} it cools the water by 1 K in {kelvin}: a button "
            "that times out earlier keeps a session warm."
        )
    for caution in (*([best.why_not] if best.why_not else []), *best.cautions):
        yield f"But: {caution}."


def blower_values(sizing: BlowerSizing) -> dict[str, Any]:
    """The same as plain values; the unit is in the key."""
    return {
        "title": sizing.scenario.title,
        "depth_pa": sizing.depth_pa,
        "wanted_m3_s": sizing.wanted_m3_s,
        "wanted_pa": sizing.wanted_pa,
        "water_c": sizing.water_c,
        "coldest_month": {
            "month": sizing.coldest[0],
            "mean_air_c": sizing.coldest[1],
            "mean_humidity_share": sizing.coldest_humidity,
        },
        "mean_air_c": sizing.mean_c,
        "mean_humidity_share": sizing.mean_humidity,
        "given": [asdict(blown) for blown in sizing.given],
        "best": None if sizing.best is None else asdict(sizing.best),
        "advice": list(blower_advice(sizing)),
        "system_m3_s_pa": sizing.system,
        "curves_m3_s_pa": [{"blower": name, "points": points} for name, points in sizing.curves],
    }

"""The part of the plumber's paper that is about heat sources' own water."""

from __future__ import annotations

from collections.abc import Sequence

from cyclesim.analysis.findings import Finding
from cyclesim.analysis.own_water import OWN_WATER_FREEZES
from cyclesim.said.duties import L_MIN
from cyclesim.said.page import Amount, Cell, Column, words
from cyclesim.said.papers.paper import Sheet
from cyclesim.scenario.blocks.own_water import OwnCircuit
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.own_water import Circuit, circuits


def own_waters(sheet: Sheet, plant: Assembly, frozen: Sequence[Finding]) -> None:
    """Each circuit behind a plate exchanger: what is in it, what turns it, and what is looked at.

    *frozen*: what a year's run found to freeze.
    """
    coldest_c = {f.subject: f.worst for f in frozen if f.rule == OWN_WATER_FREEZES}
    for name, circuit in circuits(plant).items():
        own, source = circuit.sheet, plant.sheet.heat_sources[name]
        best = max(plant.duties(), key=circuit.over_w_k)
        rows: list[tuple[Cell, ...]] = [
            ("water in it", Amount(own.volume_m3 * 1000.0, "L")),
            ("of that in the source", Amount(own.in_source_m3 * 1000.0, "L")),
            ("propylene glycol", f"{100.0 * own.glycol:g} %"),
            ("it freezes at", Amount(circuit.freezes_c, "°C", 1)),
            ("turned by", own.circulator),
            ("flow that it gives", Amount(circuit.flow_m3_s * L_MIN, "L/min")),
        ]
        if isinstance(own, OwnCircuit):
            rows += [
                ("the source starts below", Amount(own.thermostat.starts_below_c, "°C", 0)),
                ("and stops above", Amount(own.thermostat.stops_above_c, "°C", 0)),
            ]
        rows += [
            ("goes over at most, per degree between the inlets", f"{circuit.over_w_k(best):.0f} W/K"),
            ("then with", best.name),
        ]
        sheet.heading(f"Own water of {name}, behind a plate exchanger")
        sheet.table((words(""), Column("", unit="")), rows)
        if isinstance(own, OwnCircuit):
            sheet.checks(_looked_at(circuit, own, source.high_limit_c, coldest_c.get(name)))
        else:
            sheet.checks([*_FOR_ALL, *_in_the_sun(circuit), *_glycol(circuit, coldest_c.get(name))])


_FOR_ALL = (
    "The two waters run through the plates against each other: hot in beside the tub's water out.",
    "A relief valve and an expansion vessel stand in the circuit, fitted and set by the installer.",
)


def _looked_at(
    circuit: Circuit, own: OwnCircuit, limit_c: float | None, coldest_c: float | None
) -> list[str]:
    looked = [
        *_FOR_ALL,
        f"With {own.circulator} off at its plug, {circuit.name} does not fire when it is called"
        + (": the flow switch holds it off." if own.flow_switch else "; if it does, end the test at once."),
    ]
    looked += _glycol(circuit, coldest_c)
    if limit_c is None:
        looked.append(f"No high limit of {circuit.name} is drawn.")
    return looked


def _in_the_sun(circuit: Circuit) -> list[str]:
    turned = circuit.sheet.circulator
    return [
        f"The expansion vessel takes what boils out of {circuit.name} in the sun with {turned} at rest.",
        f"A check valve keeps the water of {circuit.name} from turning by itself at night.",
    ]


def _glycol(circuit: Circuit, coldest_c: float | None) -> list[str]:
    """What is filled in; *coldest_c*: what a year comes to where that is below its freezing point."""
    share, freezes = 100.0 * circuit.sheet.glycol, f"{circuit.freezes_c:.1f} °C"
    if coldest_c is not None:
        drawn = f"{share:g} % propylene glycol is drawn" if share else "water without glycol is drawn"
        return [
            f"Not to be filled as drawn: {drawn}, down to {freezes}, and the year of the model comes to "
            f"{coldest_c:.1f} °C. Ask for how much glycol, and measure that with a refractometer."
        ]
    if not share:
        return []
    return [f"Glycol measured with a refractometer: {share:g} % propylene, down to {freezes}."]

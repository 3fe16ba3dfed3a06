"""What the papers say of collectors: controller and sensors, valve and pipes, and how hot they stand."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cyclesim.said.page import Amount, Cell, Column, words
from cyclesim.said.papers.paper import Sheet
from cyclesim.said.words import as_told
from cyclesim.scenario.blocks.collectors import BACK_K
from cyclesim.simulation.assembly import Assembly

if TYPE_CHECKING:
    from cyclesim.analysis.result import Result


def sun_controls(sheet: Sheet, plant: Assembly) -> None:
    """For the electrician: what each controller of collectors moves, and at which temperatures."""
    for name, steered in plant.steered.items():
        moved = str(steered.valve) if steered.valve else str(steered.pump)
        if own := plant.sheet.heat_sources[name].own_water:
            moved += f" and {own.circulator}, together"
        rows: list[tuple[Cell, ...]] = [
            ("moves", moved),
            ("sensors", f"in {name} and in the tub"),
            ("on when warmer than the tub by", Amount(steered.on_at_k, "K", 1)),
            ("off when warmer by no more than", Amount(steered.off_at_k, "K", 1)),
        ]
        if steered.high_stop_c is not None:
            rows += [
                ("off when the tub is at", Amount(steered.high_stop_c, "°C", 1)),
                ("on again when it is below", Amount(steered.high_stop_c - BACK_K, "°C", 1)),
            ]
        if steered.not_above_c is not None:
            scalds = Amount(steered.not_above_c, "°C", 1)
            rows.append(("does not go on while they are above", scalds))
            rows.append(("goes off if no water moves and they are above", scalds))
        sheet.heading(f"The controller of {name}")
        sheet.table((words(""), Column("", unit="")), rows)
        tries = [
            f"With the tub's sensor in water that is warmer than {name}, it is off.",
            f"Warm the sensor of {name} in a cup of hot water: it goes on; it goes off as the cup cools.",
        ]
        if steered.high_stop_c is None:
            tries.append(
                "No high stop is drawn: the sun may warm the tub until it scalds. Ask before it runs."
            )
        else:
            tries.append(
                "Warm the tub's sensor past the high stop: it goes off, however hot the other one is."
            )
        if steered.not_above_c is not None:
            tries.append(
                "It knows that no water moves, by a flow switch or the contact of the pump: with the pump "
                f"off and the sensor of {name} hotter than that, it is off."
            )
        tries.append(
            f"The cable of the sensor in {name} bears the heat that they stand at; see the owner's paper."
        )
        sheet.checks(tries)


def sun_pipes(sheet: Sheet, plant: Assembly) -> None:
    """For the plumber: collectors boil dry when nothing moves, and freeze when nobody drains them."""
    for name in plant.plates:
        sheet.heading(f"{name}, in the sun")
        own = plant.sheet.heat_sources[name].own_water
        drained = "" if own and own.glycol else "; drained before a frost"
        looked = [
            f"At {name} stand a vent at the top and a drain at the bottom{drained}.",
            "A relief valve stands between them and anything that shuts, and blows off where nobody stands.",
            "Pipes, seals and insulation beside them are made for steam: no plastic there.",
        ]
        if not own:
            looked.append(
                "Water that has stood in them comes out where nobody sits, or is mixed before it does."
            )
        steered = plant.steered.get(name)
        if steered and steered.valve:
            valve, position = steered.valve
            usual = plant.turnable[valve].usual
            looked.append(
                f"{valve} is moved by its motor: water runs through {name} at {position}, not at {usual}."
            )
        sheet.checks(looked)


def stands_hot(sheet: Sheet, year: Result) -> None:
    """For the owner: for how long collectors stand hot in a year, how hot, and what not to do."""
    for name in year.plant.plates:
        told = year.metrics.heat_sources[name]
        if told.hottest_c is None:
            continue
        sheet.heading(f"{name} in the sun")
        rows: list[tuple[Cell, ...]] = [
            ("stands hot in a year for", Amount(told.stood_hot_h, "h")),
            ("at the hottest, if its water did not boil", Amount(as_told(told.hottest_c), "°C")),
            ("heat that it gives in a year", Amount(told.heat_kwh, "kWh")),
            ("heat that goes unused", Amount(told.sun_unused_kwh, "kWh")),
        ]
        sheet.table((words(""), Column("", unit="")), rows)
        sheet.line(
            "That is no fault: nobody can switch off the sun. What stands in it boils, and steam and what "
            "then comes out scald. Do not touch it, open it or fill cold water into it on a sunny day; wait "
            "for the evening.",
            tone="strong",
        )

"""What the electrician's paper says of cables and residual-current devices: figures to check, no design."""

from __future__ import annotations

from cyclesim.analysis.amounts import listed
from cyclesim.analysis.conductors import conducted
from cyclesim.said.cautions import DROPS
from cyclesim.said.page import Cell, Column, words
from cyclesim.said.papers.paper import Sheet
from cyclesim.simulation.assembly import Assembly


def say_conductors(sheet: Sheet, plant: Assembly) -> None:
    """Each cable of the file with the most that it carries and loses; nothing where the file tells none."""
    supply = plant.scenario.supply
    rows: list[tuple[Cell, ...]] = []
    for row in conducted(plant):
        within = "within" if row.share <= supply.drop_at_most else "MORE THAN"
        rows.append(
            (
                row.to,
                row.cable.length_m,
                f"{row.cable.area.name} {row.cable.of}",
                row.carries_a,
                row.drop_v,
                100.0 * row.share,
                f"{within} {100.0 * supply.drop_at_most:g} %",
                row.starting_v,
            )
        )
    if not rows:
        return
    sheet.heading("Voltage lost on cables: figures to check")
    columns = [
        words("cable to"),
        Column("length\n{unit}", unit="m"),
        words("conductors"),
        Column("carries\n{unit}", unit="A"),
        Column("lost\n{unit}", unit="V"),
        Column("lost\n{unit}", unit="%"),
        words(""),
        Column("starting\n{unit}", unit="V", unknown=""),
    ]
    starts = any(row[-1] is not None for row in rows)
    told = len(columns) if starts else -1
    sheet.table(columns[:told], [row[:told] for row in rows])
    if starts:
        sheet.line(
            "Starting: what is lost for a moment while one motor starts and the others run, by resistance "
            "alone. A motor that gets too little voltage then may not start: a figure to check too."
        )
    sheet.line(
        f"{DROPS} The most is taken that the controller's interlocks let run together, as told above. "
        "Whether a cable bears its current, what protects it and how it is laid are yours to decide."
    )


def say_residual_current(sheet: Sheet, plant: Assembly) -> None:
    """Which circuits share a residual-current device, and which name none."""
    circuits = plant.scenario.circuits
    for rcd in dict.fromkeys(circuit.rcd for circuit in circuits.values() if circuit.rcd):
        behind = [name for name, circuit in circuits.items() if circuit.rcd == rcd]
        sheet.line(f"Behind the residual-current device {rcd}: {listed(behind)}.")
    without = [name for name, circuit in circuits.items() if not circuit.rcd]
    if without:
        sheet.line(
            f"No residual-current device is named for {listed(without)}: local code decides where one is "
            "needed, and of which kind."
        )

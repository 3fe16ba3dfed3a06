"""The electrician's paper: circuits, interlocks, means of proof, what is keyed in, and the tests."""

from __future__ import annotations

from collections.abc import Iterator

from cyclesim.analysis.amounts import exactly, listed
from cyclesim.analysis.most_carried import Most, most_of_all
from cyclesim.analysis.supply import Carried, load_a
from cyclesim.said.cautions import ADVICE
from cyclesim.said.page import Cell, Column, words
from cyclesim.said.papers.commissioning import block_said, interlock_said, say_untold
from cyclesim.said.papers.conductors import say_conductors, say_residual_current
from cyclesim.said.papers.hand_test import WrittenTest
from cyclesim.said.papers.keyed import say_keyed
from cyclesim.said.papers.paper import ELECTRICITY, Paper, Sheet
from cyclesim.said.papers.single_faults import say_single_faults
from cyclesim.said.papers.sun import sun_controls
from cyclesim.scenario.blocks.air import Blower
from cyclesim.scenario.blocks.schedule import Block, Keep
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from cyclesim.verification.answer import Verification
from cyclesim.verification.by_hand import HandTests

_STOPPED = " stopped"
"""How the condition of a block ends that asks for another machine to run."""
BLIND = {
    "flow_switch": "nothing, as long as its paddle moves freely; a stuck one is told by the tests",
    "pressure_switch": "a shut valve behind the pump: there is pressure, and no flow",
    "temperature_rise": "everything until heat is on: it sees only that still water warms",
    "pump_contact": "all of the water: it knows that a contact is closed, not that water moves",
    "none": "everything: nothing asks for flow",
}
"""What each means of proof does not see."""


def electrician(
    plant: Assembly,
    programme: Programme,
    tests: HandTests,
    written: tuple[WrittenTest, ...],
    faults: Verification | None = None,
) -> Paper:
    """Everything that whoever wires and tries the plant needs of it; *faults*: what one fault breaks."""
    sheet = Sheet()
    _loads(sheet, plant)
    _together(sheet, plant, programme)
    say_conductors(sheet, plant)
    _interlocks(sheet, plant, programme)
    _proofs(sheet, plant, programme)
    _limits(sheet, plant, programme)
    sun_controls(sheet, plant)
    say_keyed(sheet, programme)
    sheet.heading("Commissioning tests")
    if written:
        sheet.line(
            "Each was run in the model on the plant as drawn, where it reads as stated, and on the same "
            "plant with its barrier missing, where it does not. One person does, one looks and keeps the "
            "watch. Nobody is in the water, the tub is full, and all valves are as usual."
        )
        for test in written:
            sheet.add(test)
    else:
        sheet.line("Nothing is drawn that a test by hand could tell: no interlock, and no switch that holds.")
    say_untold(sheet, tests, plant, programme)
    say_single_faults(sheet, faults)
    return Paper("electrician", "Electrician: wiring and tests", tuple(sheet.blocks), (ELECTRICITY, ADVICE))


def _loads(sheet: Sheet, plant: Assembly) -> None:
    sheet.heading("Circuits and loads")
    columns = (
        words("what"),
        words("kind"),
        Column("power\n{unit}", unit="W", digits=0),
        Column("running\n{unit}", unit="A"),
        Column("starting\n{unit}", unit="A", unknown="not told"),
    )
    for name, circuit in plant.scenario.circuits.items():
        sheet.table(
            columns,
            [row for fed in circuit.feeds for row in _load(plant, fed)],
            title=f"Circuit {name}: breaker {circuit.breaker_a:g} A, {plant.voltage_v:g} V",
        )
    say_residual_current(sheet, plant)


def _load(plant: Assembly, name: str) -> Iterator[tuple[Cell, ...]]:
    sheet = plant.sheet
    if name in plant.pumps:
        for at, speed in plant.speeds[name].items():
            shown = name if at == "on" else f"{name} {at}"
            yield shown, "pump", speed.power_w, plant.current_a(name, at), speed.starting_current_a
        return
    kinds = (
        ("blower", sheet.air),
        ("circulator", sheet.circulators),
        ("heat source", sheet.heat_sources),
        ("treatment", sheet.treatment),
    )
    for kind, things in kinds:
        if name in things:
            thing = things[name]
            starting_a = thing.starting_current_a if isinstance(thing, Blower) else None
            yield name, kind, thing.power_w, load_a(plant, name), starting_a
            return
    room = plant.sheet.pump_room
    kind = "in the pump room" if room and name in room.loads else "on the same circuit"
    yield name, kind, plant.scenario.always_on[name], load_a(plant, name), None


def _together(sheet: Sheet, plant: Assembly, programme: Programme) -> None:
    """The most that each circuit carries, as the interlocks let things come together, and without them."""
    columns = (words("circuit"), Column("at most\n{unit}", unit="A"), words("with"), words(""))
    rows, said = [], list[str]()
    for name in plant.scenario.circuits:
        most = most_of_all(plant, name)
        on = [f"{load.name} {load.speed}".removesuffix(" on") for load in most.kept.loads]
        rows.append((name, most.kept.drawn_a, listed(on), _within(most.kept)))
        said += _rests_on(name, most)
    sheet.heading("What may run together")
    sheet.table(columns, rows)
    for sentence in said:
        sheet.line(sentence)
    if said:
        sheet.line(
            "Whether a circuit may rest on what a controller keeps apart is for you and the code to say."
        )
    sheet.line("Whatever is asked for is counted as asked for at once: a timetable keeps nothing apart.")
    blocks = [line for line in plant.scenario.interlocks if isinstance(line, Block) and line.while_]
    for line in blocks:
        why = f" ({line.because})" if line.because else ""
        how = "Only together" if str(line.while_).endswith(_STOPPED) else "Not together"
        sheet.line(f"{how}: {interlock_said(line)}{why}. A contact in series with {line.block} sees to it.")
    room = plant.sheet.pump_room
    if room and room.either:
        why = "no temperature of their room has both on; of the two the one that draws more is counted"
        sheet.line(f"Not together: {listed(list(room.either))}, for {why}.")
    if plant.scenario.supply.region == "north_america":
        sheet.line("What runs for 3 h or more counts 125 % against its breaker.")
    for target, way in ((b.starter.target, b.starter.name.partition(", ")[2]) for b in programme.beside):
        by = f"a {way}" if way.startswith("contact") else f"its {way}"
        sheet.line(f"{target} is also started by {by}: no interlock of the controller stops it then.")


def _within(carried: Carried) -> str:
    return "within the breaker" if carried.within(carried.counted_a) else "MORE THAN THE BREAKER"


def _rests_on(circuit: str, most: Most) -> Iterator[str]:
    """On which interlocks a sum rests, what the circuit would carry without them, and which do not count."""
    if most.by:
        by = dict.fromkeys(map(block_said, most.by))
        yield (
            f"{circuit}: at most {most.kept.drawn_a:.2f} A by the controller's interlocks ({'; '.join(by)}); "
            f"without them {most.without.drawn_a:.2f} A, {_within(most.without)}."
        )
    for block in dict.fromkeys(map(block_said, most.despite)):
        yield f"{circuit}: {block}, but for a moment both may be on: they are counted together."


def _interlocks(sheet: Sheet, plant: Assembly, programme: Programme) -> None:
    sheet.heading("Interlocks")
    columns = (words("acts on"), words("what it does"), words("reads"), words("why"))
    rows: list[tuple[Cell, ...]] = []
    for line in plant.scenario.interlocks:
        if isinstance(line, Keep):
            rows.append((line.keep.pump, interlock_said(line), f"contact of {line.after}",
                         "what is hot needs water until it has cooled"))  # fmt: skip
        elif line.unless:
            device = plant.sheet.treatment.get(line.block) or plant.sheet.heat_sources[line.block]
            reads = device.proof.by.replace("_", " ")
            rows.append((line.block, interlock_said(line), reads, line.because or "no heat without flow"))
        else:
            contact = f"contact of {str(line.while_).removesuffix(_STOPPED)}"
            rows.append((line.block, interlock_said(line), contact, line.because or ""))
    for name, source in plant.sheet.heat_sources.items():
        if source.own_water is not None and source.own_water.flow_switch:
            rows.append((name, f"off while {source.own_water.circulator} turns no water",
                         "flow switch in its own water", "what stands in it would boil"))  # fmt: skip
    for name, device in plant.sheet.treatment.items():
        if device.with_ is not None:
            rows.append(
                (
                    name,
                    f"runs only with {device.with_}",
                    f"contact of {device.with_}",
                    "no flow, no treatment",
                )
            )
    for name, pump in plant.pumps.items():
        if len(pump.speeds) > 1:
            gap = exactly(pump.changeover_s)
            rows.append(
                (name, f"off for {gap} between its speeds", "its two contactors", "one speed at a time")
            )
        if pump.rest_s:
            rows.append(
                (
                    name,
                    f"rests {exactly(pump.rest_s)} between two runs",
                    "the controller's clock",
                    "its motor cools",
                )
            )
    if plant.sheet.tub.level_switch:
        rows.append(("pumps and heat", "off at low water", "level switch", "a pump that runs dry"))
    if rows:
        sheet.table(columns, rows)
    else:
        sheet.line("None is drawn.")
    del programme


def _proofs(sheet: Sheet, plant: Assembly, programme: Programme) -> None:
    devices = {**{n: plant.sheet.heat_sources[n] for n in programme.switched}, **plant.sheet.treatment}
    if not devices:
        return
    sheet.heading("How flow is sensed, and what that does not see")
    columns = (words("device"), words("sensed by"), words("does not see"), words("own flow switch"))
    rows = []
    for name, device in devices.items():
        own = (
            "none"
            if device.own_flow_switch_s is None
            else f"closes after {exactly(device.own_flow_switch_s)}"
        )
        rows.append((name, device.proof.by.replace("_", " "), BLIND[device.proof.by], own))
    sheet.table(columns, rows)


def _limits(sheet: Sheet, plant: Assembly, programme: Programme) -> None:
    sources = {name: plant.sheet.heat_sources[name] for name in programme.switched}
    if not sources:
        return
    sheet.heading("High limits")
    columns = (words("heat source"), Column("trips at\n{unit}", unit="°C", unknown="none is drawn"),
               words("sensor"), words("reset"))  # fmt: skip
    rows: list[tuple[Cell, ...]] = []
    for name, source in sources.items():
        sensor = {"own": "its own", "thermostat": "the thermostat's: one fault blinds both"}[
            source.limit_sensor
        ]
        if source.unsaid("limit_sensor"):
            sensor = "the file does not say"
        known = source.high_limit_c is not None
        rows.append(
            (name, source.high_limit_c, sensor if known else "", "by hand, at the device" if known else "")
        )
    sheet.table(columns, rows)

"""What is keyed into the controller, in the order in which one does it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import time

from cyclesim.analysis.amounts import exactly, listed
from cyclesim.analysis.combinations import as_written
from cyclesim.control.calendar import WEEKDAYS
from cyclesim.said.not_coming import gives_way
from cyclesim.said.page import Amount, Cell, Column, whole, words
from cyclesim.said.papers.paper import Sheet
from cyclesim.scenario.blocks.bathing import Bathing
from cyclesim.scenario.blocks.heat_sources import HeatPump
from cyclesim.scenario.blocks.heating import Heating
from cyclesim.scenario.blocks.own_water import OwnCircuit
from cyclesim.scenario.blocks.room_loads import ROOM_FAN, ROOM_HEATER
from cyclesim.scenario.blocks.schedule import QuietHours, Run
from cyclesim.scenario.forms.times import Occasion
from cyclesim.simulation.programme import Programme

Setting = tuple[str, Cell]
_AFTER_A_CUT = {
    "resume": "goes on by itself",
    "midnight": "its clock starts at 00:00: set it again",
    "wait": "waits for a person",
}


def say_keyed(sheet: Sheet, programme: Programme) -> None:
    """The settings one below the other, each with its number."""
    sheet.heading("Controller settings, in the order in which they are keyed in")
    columns = (whole(""), words("setting"), Column("value"), words("keyed in"))
    sheet.table(columns, [(k, *setting, "☐") for k, setting in enumerate(settings(programme), 1)])
    for entry, but in gives_way(programme).items():
        sheet.line(f"{entry}: {but}, which stands above it.")


def settings(programme: Programme) -> Iterator[Setting]:
    """The clock first, then what protects, then the programme, then what is kept warm."""
    scenario = programme.scenario
    schedule, pumps = scenario.schedule, scenario.plant.pumps
    yield "clock", f"local time, {scenario.place.time_zone}"
    yield "after a power cut the controller", _AFTER_A_CUT[scenario.controller.after_power_cut]
    for name in (*programme.switched, *scenario.plant.treatment):
        if (proof_s := programme.proof_s(name)) is not None:
            yield f"{name}: water has flowed before it comes on for", exactly(proof_s)
    for name in programme.switched:
        source = scenario.plant.heat_sources[name]
        if run_on_s := programme.run_on_s(name):
            yield f"{name}: its pump runs on for", exactly(run_on_s)
        if source.rest_s:
            yield f"{name}: stays off at least", exactly(source.rest_s)
        if source.minimum_run_s:
            yield f"{name}: stays on at least", exactly(source.minimum_run_s)
        if isinstance(source, HeatPump):
            yield f"{name}: stays off when the air is below", _degrees(source.lowest_air_c)
        if isinstance(circuit := source.own_water, OwnCircuit):  # set at the source itself
            yield f"{name}: starts when its own water is below", _degrees(circuit.thermostat.starts_below_c)
            yield f"{name}: stops when its own water is above", _degrees(circuit.thermostat.stops_above_c)
    for name, pump in pumps.items():
        if len(pump.speeds) > 1:
            yield f"{name}: off between its speeds for", exactly(pump.changeover_s)
        if pump.rest_s:
            yield f"{name}: rests between two runs for", exactly(pump.rest_s)
        if pump.minimum_run_s:
            yield f"{name}: runs at least", exactly(pump.minimum_run_s)
    if frost := schedule.frost_protection:
        watches = frost.watches.replace("_", " ")
        yield (
            f"frost protection: {as_written(*frost.pump)} runs when {watches} is below",
            _degrees(frost.starts_below_c),
        )
        yield "frost protection: it stops above", _degrees(frost.stops_above_c)
    for run in schedule.filter_runs:
        yield f"{run.name or 'filter run'}: {run.pumping}, {runs_on(run)}", run_said(run)
    for run in schedule.line_flushes:
        yield f"{run.name or 'line flush'}: {run.pumping}, {runs_on(run)}", run_said(run)
    for flush in schedule.air_line_flushes:
        yield f"air line flush, {runs_on(flush)}", run_said(flush)
    yield from dict.fromkeys(row for entry in schedule.bathing for row in _buttons(entry))
    if quiet := schedule.quiet_hours:
        what, between = quiet_said(quiet)
        stay = "stays" if len(quiet.applies_to) == 1 else "stay"
        yield f"quiet hours: {what} {stay} off, {runs_on(quiet)}", between
    for name, device in scenario.plant.treatment.items():
        if device.with_:
            yield f"{name}: runs with", device.with_
        for occasion in device.runs or ():
            yield f"{name}, {runs_on(occasion)}", run_said(occasion)
    if schedule.heating:
        yield from _heating(schedule.heating)
    for beside in programme.beside:  # what is set at the device itself
        if watch := beside.line.thermostat:
            yield f"{beside.starter.name}: starts below", _degrees(watch.starts_below_c)
            yield f"{beside.starter.name}: stops above", _degrees(watch.stops_above_c)
        if own := beside.line.clock:
            yield f"{beside.starter.name}, {runs_on(own)}", run_said(own)
        if beside.line.lasting_s:
            yield f"{beside.starter.name}: stays closed after it for", exactly(beside.line.lasting_s)
    if room := scenario.plant.pump_room:
        if room.heater is not None:
            yield f"{ROOM_HEATER}, own thermostat: starts below", _degrees(room.heater.starts_below_c)
            yield f"{ROOM_HEATER}, own thermostat: stops above", _degrees(room.heater.stops_above_c)
        if room.fan is not None:
            yield f"{ROOM_FAN}, own thermostat: starts above", _degrees(room.fan.starts_above_c)
            yield f"{ROOM_FAN}, own thermostat: stops below", _degrees(room.fan.stops_below_c)
    asking = {demand.kind for demand in programme.controller.demands}
    yield "who wins a pump, first wins", listed([kind for kind in schedule.order if kind in asking])


def _buttons(entry: Bathing) -> Iterator[Setting]:
    """What goes off by itself after somebody has pressed for it."""
    if entry.in_one and entry.jets_at_most_s is not None:
        yield f"bathing: {entry.in_one} goes off after", exactly(entry.jets_at_most_s)
    if entry.air_at_most_s is not None:
        yield "bathing: air goes off after", exactly(entry.air_at_most_s)


def quiet_said(quiet: QuietHours) -> tuple[str, str]:
    """What is off in quiet hours, and from when to when."""
    what = listed([as_written(p.pump, p.speed or "on") for p in quiet.applies_to])
    return what, f"{clock(quiet.from_time)} to {clock(quiet.to_time)}"


def _heating(heating: Heating) -> Iterator[Setting]:
    by = f"heating with {listed(list(heating.sources))}, {as_written(*heating.pump)}"
    yield f"{by}: set point", _degrees(heating.keep_at_c)
    yield "heating: starts below the set point by", Amount(heating.within_k, "K", 1)
    if len(heating.sources) > 1:
        yield "heating: the next source joins below that by", Amount(heating.next_below_k, "K", 1)
    if sensor := heating.sensor:
        yield (
            "heating: the pump runs to read its sensor",
            f"every {exactly(sensor.every_s)} for {exactly(sensor.for_s)}",
        )
    for step in heating.plan:
        begin = f"ready by {clock(step.ready_by)}" if step.ready_by else f"from {clock(step.from_time)}"
        yield f"heating: {begin} until {clock(step.until)}, {runs_on(step)}", _degrees(step.keep_at_c)
    for away in heating.absences:
        yield f"heating: away from {away.from_date} to {away.to_date}", _degrees(away.keep_at_c)
    if dear := heating.when_dear:
        price = f"{dear.above.amount:g} {dear.above.currency}/kWh"
        yield (
            f"heating: while a kilowatt-hour costs more than {price} the set point is lower by",
            Amount(dear.let_fall_by_k, "K", 1),
        )


def run_said(run: Run | Occasion) -> str:
    """`03:00 and 15:00 for 3 h`, or after bathing; `for 45 s each` of several pumps."""
    starts = "after bathing" if getattr(run, "after", None) else listed([clock(at) for at in run.start or ()])
    each = " each" if isinstance(run, Run) and len(run.pumping.pumps) > 1 else ""
    return f"{starts} for {exactly(run.lasts_s)}{each}"


def clock(at: time | None) -> str:
    """`07:30`."""
    return f"{at:%H:%M}" if at else ""


def runs_on(entry: object) -> str:
    """On which days an entry is on: `every day`, `on friday`, or its rule."""
    days: Sequence[int] | None = getattr(entry, "days", None)
    rule: str | None = getattr(entry, "repeats", None)
    if rule:
        return rule
    return "every day" if days is None else f"on {listed([WEEKDAYS[day] for day in sorted(set(days))])}"


def _degrees(value_c: float) -> Amount:
    return Amount(value_c, "°C", 1)

"""What the owner sees and hears run, so that all else is a sign: the calendar, heat, people, the room."""

from __future__ import annotations

from collections.abc import Iterator

from cyclesim.analysis.amounts import exactly, listed
from cyclesim.analysis.combinations import as_written
from cyclesim.said.page import Amount, Cell
from cyclesim.said.papers.keyed import clock, quiet_said, run_said, runs_on
from cyclesim.said.words import day
from cyclesim.scenario.blocks.heat_sources import Solar
from cyclesim.scenario.blocks.heating import Heating
from cyclesim.scenario.blocks.room_loads import ROOM_FAN, ROOM_HEATER, SUMP_PUMP
from cyclesim.scenario.blocks.schedule import Keep, Run
from cyclesim.simulation.programme import Programme

Seen = tuple[Cell, ...]
"""What for, what runs, on which days, and when or how warm."""


def runs_when(programme: Programme) -> Iterator[Seen]:
    """Everything that switches anything on, each in a row."""
    scenario = programme.scenario
    schedule, plant = scenario.schedule, scenario.plant
    for timed in programme.entries:
        if isinstance(timed.run, Run):
            yield timed.entry, str(timed.run.pumping), runs_on(timed.run), run_said(timed.run)
    for flush in schedule.air_line_flushes:
        yield "air line flush", listed(list(plant.air)), runs_on(flush), run_said(flush)
    yield from _bathing(programme)
    for name, device in plant.treatment.items():
        if device.with_:
            yield name, name, "", f"while {device.with_} runs"
        for occasion in device.runs or ():
            yield name, name, runs_on(occasion), run_said(occasion)
    if schedule.heating:
        yield from _heating(schedule.heating)
    for name, source in plant.heat_sources.items():
        if isinstance(source, Solar) and (steered := source.steered):
            moved = steered.valve.valve if steered.valve else as_written(*(steered.pump or ("", "on")))
            yield f"sun on {name}, while it is warmer than the tub", moved, "every day", "in the sun"
        if source.own_water:
            yield f"own water of {name}", source.own_water.circulator, "", f"while {name} heats"
    for line in scenario.interlocks:
        if isinstance(line, Keep):
            yield (
                f"after {line.after} has gone off",
                as_written(*line.keep),
                "",
                f"for {exactly(line.lasting_s)}",
            )
    if frost := schedule.frost_protection:
        what = f"frost protection, when {frost.watches.replace('_', ' ')} is below"
        yield what, as_written(*frost.pump), "", Amount(frost.starts_below_c, "°C")
    for beside in programme.beside:
        yield "by itself, without the controller", beside.starter.name, "", "at any time"
    yield from _room(programme)
    if quiet := schedule.quiet_hours:
        what, between = quiet_said(quiet)
        yield "quiet hours", f"not {what}", runs_on(quiet), between


def _bathing(programme: Programme) -> Iterator[Seen]:
    """What people have running; sessions that are drawn by chance stand for when they like."""
    for k, entry in enumerate(programme.scenario.schedule.bathing):
        switched = [str(entry.in_one)] if entry.in_one else []
        switched += programme.scenario.plant.air if entry.air else []
        if not switched:
            continue  # still water
        runs = listed(switched)
        if entry.drawn:
            yield programme.bathing_name(k), runs, "", "when somebody bathes"
        else:
            starts = listed([clock(at) for at in entry.start or ()])
            yield (
                programme.bathing_name(k),
                runs,
                runs_on(entry),
                f"{starts} for {exactly(entry.lasts_s or 0.0)}",
            )


def _heating(heating: Heating) -> Iterator[Seen]:
    by = listed([*heating.sources, as_written(*heating.pump)])
    yield "heating", by, "every day", Amount(heating.keep_at_c, "°C")
    for step in heating.plan:
        begin = f"ready by {clock(step.ready_by)}" if step.ready_by else f"from {clock(step.from_time)}"
        yield f"heating {begin} until {clock(step.until)}", by, runs_on(step), Amount(step.keep_at_c, "°C")
    for away in heating.absences:
        days = f"{day(str(away.from_date))} to {day(str(away.to_date))}"
        yield "heating while nobody comes", by, days, Amount(away.keep_at_c, "°C")
    if sensor := heating.sensor:
        every = f"every {exactly(sensor.every_s)} for {exactly(sensor.for_s)}"
        yield "to read the temperature", as_written(*heating.pump), "every day", every


def _room(programme: Programme) -> Iterator[Seen]:
    """What the pump room has on by its own thermostats and its float."""
    room = programme.scenario.plant.pump_room
    if room is None:
        return
    if heater := room.heater:
        yield f"when {_zone(heater.zone)} is below", ROOM_HEATER, "", Amount(heater.starts_below_c, "°C")
    if fan := room.fan:
        yield f"when {_zone(fan.zone)} is above", ROOM_FAN, "", Amount(fan.starts_above_c, "°C")
    if room.sump_pump:
        yield "when water stands in the sump", SUMP_PUMP, "", ""


def _zone(name: str) -> str:
    return name.replace("_", " ")

"""The pump room's own heater, fan and sump pump: what they did, and the rules about them."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from cyclesim.analysis.amounts import apart, flow, listed
from cyclesim.analysis.findings import CHOICE, Breach, Judged, NotJudged, Rule
from cyclesim.analysis.history import History, halted
from cyclesim.analysis.metrics import PumpRoomMetrics, RoomLoadMetrics
from cyclesim.analysis.spans import Bools, Floats, join, total_s, while_in
from cyclesim.scenario.blocks.room_loads import (
    ROOM_FAN,
    ROOM_HEATER,
    SUMP_PUMP,
    RoomFan,
    RoomHeater,
    SumpPump,
)
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.trace import Trace

_H_S = 3600.0
DRY_FOR_H = 24.0
"""How long a room must stay dry while its sump pump stands, if no cut of the file lasts longer; a choice."""
HOTTEST_C = 40.0
"""The air that motors are rated in: IEC 60034-1, quoted from memory; document not checked."""
_COLDER_K = 1.0
"""How far below its start a heater that runs all the time may leave its room; project choice."""
_RECOVERS_H = 24
"""Hours after a power cut in which the room is not judged: it is still being warmed."""


def measure_room(plant: Assembly, trace: Trace | None = None) -> PumpRoomMetrics | None:
    """What the file says of the pump room, and what its own heater and fan did in a run."""
    room = plant.sheet.pump_room
    if room is None:
        return None
    return PumpRoomMetrics(
        room.below_ground,
        room.drain,
        room.weather_tight,
        room.distance_m,
        room.free_space_m,
        _measure_loads(plant, trace) if trace else {},
        room.sump_pump.dry_for_h if room.sump_pump else None,
    )


def _measure_loads(plant: Assembly, trace: Trace) -> dict[str, RoomLoadMetrics]:
    """What the room's own heater and fan did, and how cold and warm their zone got."""
    known, zones = _loads(plant), trace.zones
    found = {}
    for name, stream in trace.loads.items():
        temps = _zone_c(trace, known[name].zone) if zones else np.zeros(0)
        on = while_in(stream, "on")
        found[name] = RoomLoadMetrics(
            total_s(on) / _H_S,
            int(np.sum(on[:, 0] > 0.0)),
            float(np.min(temps)) if len(temps) else None,
            float(np.max(temps)) if len(temps) else None,
        )
    return found


def _loads(plant: Assembly) -> dict[str, RoomHeater | RoomFan]:
    room = plant.sheet.pump_room
    both = {ROOM_HEATER: room.heater, ROOM_FAN: room.fan} if room else {}
    return {name: load for name, load in both.items() if load is not None}


def _zone_c(trace: Trace, zone: str) -> Floats:
    """Mean temperature [degC] of a zone in each whole hour of the span."""
    zones = trace.zones
    if zones is None:
        return np.zeros(0)
    first = -zones.origin_s // 3600
    return np.array(zones.series[zone][first : first + trace.span_s // 3600])


def sump_fails(plant: Assembly, sump: SumpPump) -> Judged:
    """A sump pump that nothing starts, that lifts too little, or that stands while its room fills."""
    unsaid = [key for key, value in (("float", sump.float_), ("backed_up", sump.backed_up)) if value is None]
    if unsaid:
        yield NotJudged(f"the file does not say of the sump pump: {', '.join(unsaid)}")
    if sump.float_ is False:
        cause = "its sump pump has no float: somebody has to see the water and start it"
        yield Breach("pump_room", cause, None, "", "", "a float that starts it, with an alarm")
    runs_in, lifts = sump.inflow_m3_s, sump.lifts_m3_s
    if runs_in is not None and lifts is not None and runs_in > lifts:
        cause = "more water runs in than its sump pump lifts"
        text = f"{flow(runs_in)} where it lifts {flow(lifts)}"
        yield Breach("pump_room", cause, runs_in * 60_000.0, "L/min", text, "a larger sump pump, or two")
    if sump.backed_up is False:
        yield from _without_power(plant, sump)


def _without_power(plant: Assembly, sump: SumpPump) -> Judged:
    dry_h = sump.dry_for_h
    if dry_h is None:
        yield NotJudged(
            "the file does not say of the sump pump: inflow, holds, so how soon the room floods without power"
        )
        return
    circuits = plant.scenario.circuits
    name, circuit = next((n, c) for n, c in circuits.items() if SUMP_PUMP in c.feeds)
    cuts = [cut for cut in plant.scenario.schedule.outages if cut.circuit in (None, name)]
    limit_h = max((cut.lasts_s / _H_S for cut in cuts), default=0.0)
    limit_h = max(limit_h, DRY_FOR_H)
    if dry_h < limit_h:
        beside = [fed for fed in circuit.feeds if fed != SUMP_PUMP]
        trips = f", or when {name} trips" if len(circuits) > 1 else ""
        trips += f", which also feeds {listed(beside)}" if trips and beside else ""
        value, least = apart(dry_h, limit_h, 1)
        yield Breach(
            "pump_room",
            f"its sump pump stands in a power cut{trips}",
            dry_h,
            "h",
            f"{value} h until water is at its electrics, where {least} h are looked for",
            "a battery or a second pump on another supply (backed_up: true), a circuit of its own with an "
            "alarm, and electrics high on the wall",
            less_is_worse=True,
        )


def room_too_cold(history: History) -> Judged:
    """The room's heater runs all the time, and the room is colder than its thermostat asks for."""
    room = history.plant.sheet.pump_room
    heater = room.heater if room else None
    if heater is None or ROOM_HEATER not in history.trace.loads:
        return
    temps, limit_c = _zone_c(history.trace, heater.zone), heater.starts_below_c - _COLDER_K
    cold = (temps < limit_c) & _with_power(history, len(temps))
    for hour in _worst(np.where(cold, -temps, -np.inf), cold):
        loses_w_k = history.plant.scenario.place.zones[heater.zone].loses_w_k or 0.0
        needs_w = heater.power_w + loses_w_k * (heater.starts_below_c - float(temps[hour]))
        value, least = apart(float(temps[hour]), limit_c, 1)
        yield Breach(
            "pump_room",
            f"its heater of {heater.power_w:.0f} W is too small for this cold",
            float(temps[hour]),
            "degC",
            f"{value} of at least {least} degC, for {int(np.sum(cold))} h in all",
            f"a heater of at least {50 * int(needs_w / 50 + 1)} W, or insulation of the room",
            hour * _H_S,
            less_is_worse=True,
        )


def room_too_hot(history: History) -> Judged:
    """With its fan, the room is hotter than motors and switches bear."""
    room = history.plant.sheet.pump_room
    fan = room.fan if room else None
    if fan is None or ROOM_FAN not in history.trace.loads:
        return
    temps = _zone_c(history.trace, fan.zone)
    hot = temps > HOTTEST_C
    for hour in _worst(np.where(hot, temps, -np.inf), hot):
        value, most = apart(float(temps[hour]), HOTTEST_C, 1)
        yield Breach(
            "pump_room",
            "its fan takes away too little of what its machines give off",
            float(temps[hour]),
            "degC",
            f"{value} of at most {most} degC, for {int(np.sum(hot))} h in all",
            "a larger fan, a fan that starts sooner, or a shaded room",
            hour * _H_S,
        )


def _worst(badness: Floats, bad: Bools) -> Iterator[int]:
    """The worst of the bad hours, if there is one."""
    if bad.any():
        yield int(np.argmax(badness))


def _with_power(history: History, hours: int) -> Bools:
    """The hours in which the room's heater has had power for a day."""
    dark = join(halted(history, "lost", ()), halted(history, "circuit", (ROOM_HEATER,)))
    judged = np.ones(hours, dtype=bool)
    for start, end in dark.tolist():
        judged[int(start // _H_S) : int(end // _H_S) + _RECOVERS_H] = False
    return judged


RULES: tuple[Rule, ...] = (
    Rule(
        "room-too-cold",
        "history",
        "wear",  # what stands in it freezes and bursts
        sentence="The heater of the pump room keeps it about as warm as its thermostat asks for.",
        source=CHOICE,
        mend="a larger heater, or insulation",
        judge=room_too_cold,
        applies=lambda plant, _: bool((room := plant.sheet.pump_room) and room.heater),
    ),
    Rule(
        "room-too-hot",
        "history",
        "wear",  # windings and switches age
        sentence=f"With its fan the pump room stays below {HOTTEST_C:g} degC.",
        source="the air that motors are rated in: IEC 60034-1, quoted from memory; document not checked",
        mend="a larger fan",
        judge=room_too_hot,
        applies=lambda plant, _: bool((room := plant.sheet.pump_room) and room.fan),
    ),
)

"""Readings that no such plant can give, whatever is wrong with it: they say that the reading is wrong.

Each bound is generous: pumps 15 % beyond their sheets (twice ISO 9906 grade 3B's 7 %, from memory, not
opened), electric draws 15 % beyond their plates, and what the reading itself may be off by.
"""

from __future__ import annotations

from cyclesim.decide.readings.predicted import surroundings_c
from cyclesim.physics.curves import PumpCurve
from cyclesim.scenario.blocks.heat_sources import HeatPump
from cyclesim.scenario.blocks.readings import (
    Arrival,
    Bucket,
    Cooling,
    Energy,
    FlowMeter,
    Gauge,
    Reading,
    Readings,
    WarmUp,
)
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.jets import stretch_name
from cyclesim.units import format_quantity

BEYOND = 1.15
_WARMER_AIR = 1.5  # what a heat pump gives in air warmer than any that it is rated in; generous
VACUUM_M = -9.6
"""The least head over the water at a gauge: air at sea level less water's vapour at 38 degC, rounded."""


def contradiction(plant: Assembly, reading: Reading, measured: Readings) -> str:
    """Why a reading cannot be true of this plant; "" where it can."""
    off = reading.give_or_take
    match reading:
        case FlowMeter() | Bucket():
            most = BEYOND * _most_flow_m3_s(plant, reading)
            if reading.value - off > most:
                return f"the curve of what runs ends at {_said(most / BEYOND, 'flow')}"
        case Gauge():
            most = BEYOND * _most_head_m(plant, reading)
            if reading.value - off > most - reading.above_water_m:
                return f"what runs gives at most {_said(most / BEYOND, 'head')}, against no flow at all"
            if reading.value + off < VACUUM_M - reading.above_water_m:
                return "water boils before a vacuum is as deep"
        case Arrival():
            least_s = _least_s(plant, reading)
            if reading.value + off < least_s:
                return f"at all the flow of what runs, the pipe alone takes {_said(least_s, 'time')}"
        case WarmUp():
            most_k = _most_rise_k(plant, reading)
            if reading.value - off - reading.from_c > most_k:
                return f"all that was on warms the water alone by {most_k:.1f} K at most"
        case Cooling():
            around = surroundings_c(plant.scenario, measured.measured, reading.air_c)
            coldest = min(around.values())
            if reading.cover == "on" and reading.value + off < coldest:
                return f"nothing around it is colder than {coldest:.1f} °C"
        case Energy():
            most_j = BEYOND * _most_w(plant, reading.of) * reading.span_s
            if reading.value - off > most_j:
                return f"at full draw throughout it would be {_said(most_j / BEYOND, 'energy')}"
        case _:
            pass
    return ""


def _said(value: float, kind: str) -> str:
    return format_quantity(value, kind)


def _most_flow_m3_s(plant: Assembly, reading: FlowMeter | Bucket | Arrival) -> float:
    """Where the curves of all pumps that run end, at their highest speeds."""
    return sum(max(curve.last_flow_m3_s for curve in curves) for curves in _curves(plant, reading))


def _most_head_m(plant: Assembly, reading: Gauge) -> float:
    """All pumps that run in a row, against a shut valve, at their highest speeds."""
    return sum(max(curve.head_m(0.0) for curve in curves) for curves in _curves(plant, reading))


def _curves(plant: Assembly, reading: FlowMeter | Bucket | Arrival | Gauge) -> list[list[PumpCurve]]:
    """Of each pump that runs, the curve of each speed."""
    return [[plant.curve(pump, speed) for speed in plant.speeds[pump]] for pump, _ in reading.runs]


def _least_s(plant: Assembly, reading: Arrival) -> float:
    """The leg's own water at the most flow of all that runs."""
    names = [reading.at, *(stretch_name(reading.at, k) for k in range(2, (reading.jet or 1) + 1))]
    volume_m3 = sum(plant.plugs[plant.reach_at[name]].volume_m3 for name in names)
    return volume_m3 / (BEYOND * _most_flow_m3_s(plant, reading))


def _most_rise_k(plant: Assembly, reading: WarmUp) -> float:
    """All heat into the tub's water alone, which loses none."""
    heat_w = 0.0
    for name in reading.heat:
        source = plant.sheet.heat_sources[name]
        if isinstance(source, HeatPump):
            heat_w += _WARMER_AIR * max(point.output_w for point in source.rated)
        else:
            heat_w += source.output_w
    heat_w += sum(max(speed.power_w for speed in plant.speeds[pump].values()) for pump, _ in reading.runs)
    return BEYOND * heat_w * reading.took_s / plant.tub_node.water_j_k


def _most_w(plant: Assembly, name: str | None) -> float:
    """What one device, or all of them, can draw."""
    watts = {pump: max(s.power_w for s in speeds.values()) for pump, speeds in plant.speeds.items()}
    watts |= {blower: sheet.power_w for blower, sheet in plant.sheet.air.items()}
    for source, sheet in plant.sheet.heat_sources.items():
        if isinstance(sheet, HeatPump):
            watts[source] = max(point.output_w / point.cop for point in sheet.rated) * _WARMER_AIR
        else:
            watts[source] = float(getattr(sheet, "output_w", 0.0))
    watts |= {device: sheet.power_w for device, sheet in plant.sheet.treatment.items()}
    return sum(watts.values()) if name is None else watts[name]

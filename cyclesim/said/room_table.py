"""The pump room and the suction side of each pump."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import astuple

from cyclesim.analysis.metrics import PumpRoomMetrics, SuctionMetrics
from cyclesim.said.page import Column, Page
from cyclesim.said.words import UNKNOWN, number


def say_suction(page: Page, suction: Mapping[str, SuctionMetrics], room: PumpRoomMetrics | None) -> None:
    """A row for each pump, then the room's facts in a line; nothing where the file says nothing of them."""
    told = any(value is not None for row in suction.values() for value in astuple(row))
    if told or room is not None:
        page.heading("Pump room and suction")
    if told:
        page.table(
            [
                Column("pump", words=True),
                Column("above the\nwater m"),
                Column("NPSH at its\nworst m"),
                Column("needed\nm"),
                Column("fittings\nalways open"),
                Column("through a cover,\none blocked m/s"),
            ],
            (
                (
                    name,
                    UNKNOWN if row.above_water_m is None else f"{row.above_water_m:.2f}",
                    number(row.npsh_available_m),
                    number(row.npsh_needed_m),
                    UNKNOWN
                    if row.suction_fittings_always_open is None
                    else str(row.suction_fittings_always_open),
                    number(row.cover_speed_one_blocked_m_s, 2),
                )
                for name, row in suction.items()
            ),
        )
    if room is not None:
        page.line(f"The pump room: {'; '.join(_facts(room)) or 'nothing is said of it'}.", hang=2)


def _facts(room: PumpRoomMetrics) -> list[str]:
    said = [
        _either(room.below_ground, "below ground", "not below ground"),
        _either(room.drain, "drained", "without a drain"),
        _either(room.weather_tight, "weather-tight", "not weather-tight"),
        None if room.distance_m is None else f"{number(room.distance_m)} m from the tub",
        None
        if room.free_space_m is None
        else f"{1000.0 * room.free_space_m:.0f} mm free before its machines",
    ]
    return [fact for fact in said if fact is not None]


def _either(known: bool | None, yes: str, no: str) -> str | None:
    return None if known is None else yes if known else no

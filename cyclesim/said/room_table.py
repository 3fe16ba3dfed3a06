"""The pump room and the suction side of each pump."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import astuple

from cyclesim.analysis.metrics import PumpRoomMetrics, SuctionMetrics
from cyclesim.said.page import Column, Page, records, whole, words
from cyclesim.said.words import number

_TITLE = "Pump room and suction"
_SUCTION = (
    words("pump"),
    Column("above the\nwater {unit}", "above_water_m", "m", "fixed", 2),
    Column("NPSH at its\nworst {unit}", "npsh_available_m", "m"),
    Column("needed\n{unit}", "npsh_needed_m", "m"),
    whole("fittings\nalways open", "suction_fittings_always_open"),
    Column("through a cover,\none blocked {unit}", "cover_speed_one_blocked_m_s", "m/s", digits=2),
)


_LOADS = (
    words("in the room"),
    Column("on\n{unit}", "on_h", "h"),
    whole("starts", "starts"),
    Column("coldest\nhour {unit}", "coldest_c", "°C"),
    Column("warmest\nhour {unit}", "warmest_c", "°C"),
)


def say_suction(page: Page, suction: Mapping[str, SuctionMetrics], room: PumpRoomMetrics | None) -> None:
    """A row for each pump, then the room's facts in a line; nothing where the file says nothing of them."""
    any_known = any(value is not None for row in suction.values() for value in astuple(row))
    if any_known:
        page.table(_SUCTION, records(_SUCTION, suction), _TITLE)
    elif room is not None:
        page.heading(_TITLE)
    if room is not None:
        page.line(f"The pump room: {'; '.join(_facts(room)) or 'nothing is said of it'}.", hang=2)
        if room.loads:
            page.table(_LOADS, records(_LOADS, room.loads))
        if room.dry_without_power_h is not None:
            dry = f"{number(room.dry_without_power_h)} h"
            page.line(f"With its sump pump still, the pump room stays dry for {dry}.", hang=2)


def _facts(room: PumpRoomMetrics) -> list[str]:
    facts = [
        _either(room.below_ground, "below ground", "not below ground"),
        _either(room.drain, "drained", "without a drain"),
        _either(room.weather_tight, "weather-tight", "not weather-tight"),
        None if room.distance_m is None else f"{number(room.distance_m)} m from the tub",
        None
        if room.free_space_m is None
        else f"{1000.0 * room.free_space_m:.0f} mm free before its machines",
    ]
    return [fact for fact in facts if fact is not None]


def _either(known: bool | None, yes: str, no: str) -> str | None:
    return None if known is None else yes if known else no

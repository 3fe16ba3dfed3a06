"""The trace as one long CSV: a row for every interval of every element."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from typing import TextIO
from zoneinfo import ZoneInfo

from cyclesim.simulation.trace import Trace

_KINDS = {
    "pumps": "pump",
    "deciding": "pump decided by",
    "sources": "heat source",
    "reasons": "heat source waits because",
    "demands": "demand",
    "duties": "duty",
}
_VALUES = (
    "flow_l_min", "oldest_water_h", "oldest_water_mean_h", "mean_water_age_h", "above_limit_h",
    "start_c", "end_c", "mean_c", "shell_start_c",
    "heat_lost_kwh", "lost_through_cover_kwh", "lost_through_shell_kwh",
)  # fmt: skip
HEAD = ("element", "kind", "start_local", "end_local", "start_s", "end_s", "state", *_VALUES)

Row = tuple[str, str, float, float, str, dict[str, float]]
"""Element, kind, start and end [s], state, values by column."""


def write_trace(trace: Trace, stream: TextIO) -> None:
    """Write every interval, streams in the order of the file, each in the order of time.

    Times are seconds from the start of the counted span, and local clock with its offset from UTC.
    """
    write = csv.writer(stream, lineterminator="\n").writerow
    write(HEAD)
    local = _clock(trace)
    for element, kind, start, end, state, values in _rows(trace):
        cells = (repr(values[key]) if key in values else "" for key in _VALUES)
        write((element, kind, local(start), local(end), repr(start), repr(end), state, *cells))


def _rows(trace: Trace) -> Iterator[Row]:
    for kind, stream in trace.streams():
        for start, end, state in stream:
            yield stream.name, _KINDS[kind], start, end, state, {}
    for name, age in trace.ages.items():
        rows = zip(
            age.start_s, age.end_s, age.flow_m3_s, age.oldest_peak_s, age.oldest_integral_s2,
            age.mean_integral_s2, age.above_limit_s, strict=True,
        )  # fmt: skip
        for start, end, flow, peak, oldest, mean, above in rows:
            hours = 3600.0 * (end - start)
            values = {
                "flow_l_min": flow * 60_000.0,
                "oldest_water_h": peak / 3600.0,
                "above_limit_h": above / 3600.0,
            }
            if hours > 0.0:
                values |= {"oldest_water_mean_h": oldest / hours, "mean_water_age_h": mean / hours}
            yield name, "water age", start, end, "moving" if flow else "still", values
    for name, stay in trace.stays.items():
        stays = zip(stay.start_s, stay.end_s, stay.joined, stay.start_c, stay.end_c, stay.loss_j, strict=True)
        for first, last, joined, start_c, end_c, loss_j in stays:
            temps = {"start_c": start_c, "end_c": end_c, "heat_lost_kwh": loss_j / 3.6e6}
            yield name, "temperature", first, last, "joined to the tub" if joined else "standing", temps
    tub = trace.tub
    pieces = zip(
        tub.start_s, tub.end_s, tub.water_c, tub.shell_c, tub.water_integral_k_s, tub.cover_loss_j,
        tub.shell_loss_j, strict=True,
    )  # fmt: skip
    for first, last, water_c, shell_c, integral, cover_j, shell_j in pieces:
        heat = {
            "start_c": water_c,
            "shell_start_c": shell_c,
            "lost_through_cover_kwh": cover_j / 3.6e6,
            "lost_through_shell_kwh": shell_j / 3.6e6,
        }
        if last > first:
            heat["mean_c"] = integral / (last - first)
        yield "tub", "temperature", first, last, "", heat


def _clock(trace: Trace) -> Callable[[float], str]:
    """Local ISO times with their offset, each worked out once."""
    zone, texts = ZoneInfo(trace.time_zone), dict[float, str]()
    begin = trace.begin_utc

    def local(at_s: float) -> str:
        found = texts.get(at_s)
        if found is None:
            at: datetime = (begin + timedelta(seconds=at_s)).astimezone(zone)
            found = texts[at_s] = at.isoformat(timespec="seconds")
        return found

    return local

"""The trace as one long table: a row for every interval of every element."""

from __future__ import annotations

from collections.abc import Iterator

from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.simulation.trace import Rows, Trace

_KINDS = {
    "pumps": "pump",
    "blowers": "blower",
    "circulators": "circulator",
    "burners": "heat into own water",
    "deciding": "pump decided by",
    "sources": "heat source",
    "reasons": "heat source waits because",
    "treatments": "treatment",
    "demands": "demand",
    "starters": "without the controller",
    "circuits": "circuit",
    "loads": "pump room",
    "seconds": "second speed closed",
    "duties": "duty",
    "positions": "valves",
    "level": "water level",
    "people": "people in the water",
    "cover": "cover",
    "power": "power",
}
VALUES = (
    "flow_l_min", "oldest_water_h", "oldest_water_mean_h", "mean_water_age_h", "above_limit_h",
    "start_c", "end_c", "mean_c", "shell_start_c",
    "heat_lost_kwh", "lost_through_cover_kwh", "lost_through_shell_kwh",
    "heat_kwh", "input_kwh", "evaporated_kg", "wanted_c", "through_plates_kwh",
)  # fmt: skip
HEAD = ("element", "kind", "start_local", "end_local", "start_s", "end_s", "state", *VALUES)

Row = tuple[str, str, float, float, str, dict[str, float]]
"""Element, kind, start and end [s], state, values by column."""


def rows_of(trace: Trace) -> Iterator[Row]:
    """Every interval: streams, ages, temperatures, what took and gave heat, what was to be ready."""
    for kind, stream in trace.streams():
        for stay in stream:
            state = stay.state if isinstance(stay.state, str) else ", ".join(stay.state)
            yield stream.name, _KINDS[kind], stay.start_s, stay.end_s, state, {}
    for name, ages in trace.ages.items():
        columns = "start_s", "end_s", "flow_m3_s", "oldest_peak_s", "oldest_integral_s2", "mean_integral_s2"
        for start, end, flow, peak, oldest, mean, above in _by_row(ages, *columns, "above_limit_s"):
            values = {
                "flow_l_min": flow * 60_000.0,
                "oldest_water_h": peak / 3600.0,
                "above_limit_h": above / 3600.0,
            }
            if end > start:
                per_h = 1.0 / (3600.0 * (end - start))
                values |= {"oldest_water_mean_h": oldest * per_h, "mean_water_age_h": mean * per_h}
            yield name, "water age", start, end, "moving" if abs(flow) > STILL_M3_S else "still", values
    for name, stays in trace.stays.items():
        columns = "start_s", "end_s", "joined", "start_c", "end_c", "loss_j"
        for start, end, joined, start_c, end_c, loss_j in _by_row(stays, *columns):
            values = {"start_c": start_c, "end_c": end_c, "heat_lost_kwh": loss_j / 3.6e6}
            yield name, "temperature", start, end, "joined to the tub" if joined else "standing", values
    columns = "start_s", "end_s", "water_c", "shell_c", "water_integral_k_s", "cover_loss_j"
    for start, end, water_c, shell_c, integral, cover_j, shell_j in _by_row(
        trace.tub, *columns, "shell_loss_j"
    ):
        values = {
            "start_c": water_c,
            "shell_start_c": shell_c,
            "lost_through_cover_kwh": cover_j / 3.6e6,
            "lost_through_shell_kwh": shell_j / 3.6e6,
        }
        if end > start:
            values["mean_c"] = integral / (end - start)
        yield "tub", "temperature", start, end, "", values
    for name, exchanges in trace.exchanges.items():
        fields = "start_s", "end_s", "heat_j", "input_j", "evaporated_kg"
        for start, end, heat_j, input_j, gone_kg in _by_row(exchanges, *fields):
            values = {"heat_kwh": heat_j / 3.6e6, "input_kwh": input_j / 3.6e6, "evaporated_kg": gone_kg}
            yield name, "heat exchange", start, end, "", values
    for name, own in trace.own_waters.items():
        heats = "given_j", "input_j", "over_j", "lost_j"
        for start, end, source_c, given_j, input_j, over_j, lost_j in _by_row(
            own, "start_s", "end_s", "source_c", *heats
        ):
            values = {"start_c": source_c, "input_kwh": input_j / 3.6e6, "heat_lost_kwh": lost_j / 3.6e6}
            values |= {"heat_kwh": given_j / 3.6e6, "through_plates_kwh": over_j / 3.6e6}
            yield name, "own water", start, end, "", values
    for ready_s, water_c, wanted_c in trace.ready:
        yield "tub", "ready by", ready_s, ready_s, "", {"start_c": water_c, "wanted_c": wanted_c}


def _by_row(rows: Rows, *columns: str) -> Iterator[tuple[float, ...]]:
    """The records of *rows* as plain floats."""
    return zip(*(getattr(rows, column).tolist() for column in columns), strict=True)

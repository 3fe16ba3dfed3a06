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
COLUMNS = {
    "element": "The part, machine or demand that a row of the trace is about.",
    "kind": "What a row of the trace tells of its element: its state as a machine, its water's age, "
    "temperature or heat.",
    "start_local": "When the interval of a row of the trace begins, in local time with its offset from UTC.",
    "end_local": "When the interval of a row of the trace ends, in local time with its offset from UTC.",
    "start_s": "When the interval of a row of the trace begins, in seconds from the first counted day on.",
    "end_s": "When the interval of a row of the trace ends, in seconds from the first counted day on.",
    "state": "What the element was or did in the interval, in a word: the speed of a pump, why a source "
    "waits, whether water moves.",
    "flow_l_min": "The flow through a leg or housing in the interval, in L/min; below 0: against its "
    "direction.",
    "oldest_water_h": "The age of the oldest water of a leg or housing in the interval, in hours.",
    "oldest_water_mean_h": "The age of the oldest water, as a mean over the interval, in hours.",
    "mean_water_age_h": "The mean age of all water of a leg or housing over the interval, in hours.",
    "above_limit_h": "For how many hours of the interval the oldest water was older than limits.water_age.",
    "start_c": "How warm the water is as the interval begins, in degC: the tub's, what stands in a part, or "
    "a source's own.",
    "end_c": "How warm the water that stands in a part is as the interval ends, in degC.",
    "mean_c": "How warm the tub's water is over the interval, as a mean, in degC.",
    "shell_start_c": "How warm the tub's shell is as the interval begins, in degC.",
    "heat_lost_kwh": "The heat that a part, or a source's own water, lost in the interval, in kWh.",
    "lost_through_cover_kwh": "The heat that left the tub through its cover in the interval, in kWh.",
    "lost_through_shell_kwh": "The heat that left the tub through its walls and floor in the interval, in "
    "kWh.",
    "heat_kwh": "The heat that the element gave the water in the interval, in kWh; below 0: that it took.",
    "input_kwh": "The energy that a heat source took in for its heat in the interval, in kWh.",
    "evaporated_kg": "How much water evaporated in the interval, in kg.",
    "wanted_c": "The set point at a time to be ready, in degC.",
    "through_plates_kwh": "The heat that went through plates from a source's own water to the tub's in the "
    "interval, in kWh.",
}
"""The columns of the table, each in a sentence with its unit."""
HEAD = tuple(COLUMNS)
VALUES = HEAD[HEAD.index("state") + 1 :]

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

"""A run as tables for pandas, which is needed for this alone."""

from __future__ import annotations

from dataclasses import asdict
from importlib.util import find_spec
from typing import TYPE_CHECKING

from cyclesim.errors import CycleSimError
from cyclesim.said.trace_rows import rows_of

if TYPE_CHECKING:
    import pandas as pd

    from cyclesim.analysis.result import Result

_PARTS = {"water age": "water_ages", "heat exchange": "exchanges", "ready by": "ready"}


def frames(result: Result) -> dict[str, pd.DataFrame]:
    """Tables of a run: `states`, `water_ages`, `temperatures`, `tub`, `exchanges`, `ready`, and its numbers.

    Columns are those of the CSV trace; `start` and `end` are local times that know their zone. `legs`,
    `pumps`, `heat_sources` and `by_month` have the keys of the JSON, `findings` a row each. Raises
    CycleSimError without pandas.
    """
    if find_spec("pandas") is None:
        raise CycleSimError("tables for pandas need pandas: pip install pandas")
    import pandas as pd

    trace = result.trace
    parts: dict[str, list[dict[str, object]]] = {
        name: [] for name in ("states", "water_ages", "temperatures", "tub", "exchanges", "ready")
    }
    for element, kind, start, end, state, values in rows_of(trace):
        part = _PARTS.get(kind, "states")
        if kind == "temperature":
            part = "tub" if element == "tub" else "temperatures"
        row = {"element": element, "kind": kind, "start": start, "end": end, "state": state}
        parts[part].append(row | values)
    tables: dict[str, pd.DataFrame] = {}
    begin = pd.Timestamp(trace.begin_utc)
    for name, rows in parts.items():
        frame = pd.DataFrame(rows, columns=None if rows else ["element", "kind", "start", "end", "state"])
        frame["start_s"], frame["end_s"] = frame["start"], frame["end"]
        for column in ("start", "end"):
            since = pd.to_timedelta(frame[column].astype(float), unit="s")
            frame[column] = (begin + since).dt.tz_convert(trace.time_zone)
        tables[name] = frame
    metrics = asdict(result.metrics)
    for name in ("legs", "pumps", "heat_sources"):
        tables[name] = pd.DataFrame.from_dict(metrics[name], orient="index")
    tables["by_month"] = pd.DataFrame(list(metrics["energy"]["by_month"]))
    tables["findings"] = pd.DataFrame([asdict(finding) for finding in result.findings])
    return tables

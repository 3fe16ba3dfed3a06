"""The trace as one long table in a file: CSV or Parquet."""

from __future__ import annotations

import csv
from collections.abc import Callable
from datetime import datetime, timedelta
from importlib.util import find_spec
from itertools import islice
from typing import TYPE_CHECKING, BinaryIO, TextIO
from zoneinfo import ZoneInfo

from cyclesim.errors import CycleSimError
from cyclesim.said.trace_rows import HEAD, VALUES, rows_of

if TYPE_CHECKING:
    from cyclesim.simulation.trace import Trace

_AT_ONCE = 50_000


def write_trace(trace: Trace, stream: TextIO) -> None:
    """Write every interval, streams in the order of the file, each in the order of time.

    Times are seconds from the start of the counted span, and local clock with its offset from UTC.
    """
    write = csv.writer(stream, lineterminator="\n").writerow
    write(HEAD)
    local = _clock(trace)
    for element, kind, start, end, state, values in rows_of(trace):
        cells = (repr(values[key]) if key in values else "" for key in VALUES)
        about = _no_formula(element), kind, local(start), local(end), _seconds(start), _seconds(end)
        write((*about, _no_formula(state), *cells))


def _no_formula(text: str) -> str:
    """A text that a spreadsheet does not take for a formula and run."""
    return f"'{text}" if text.startswith(("=", "+", "-", "@", "\t", "\r")) else text


def write_parquet(trace: Trace, stream: BinaryIO) -> None:
    """Write the same table as Parquet, an unknown value as null; `check_parquet` is to be asked first."""
    import pyarrow as pa
    from pyarrow.parquet import ParquetWriter

    local = _clock(trace)
    types = dict.fromkeys(HEAD[:4], pa.string()) | {"start_s": pa.float64(), "end_s": pa.float64()}
    types |= {"state": pa.string()} | dict.fromkeys(VALUES, pa.float64())
    shape = pa.schema(list(types.items()))
    rows = rows_of(trace)
    with ParquetWriter(stream, shape, compression="zstd") as writer:
        while batch := list(islice(rows, _AT_ONCE)):
            table = []
            for name, kind, start, end, state, values in batch:
                cells = (name, kind, local(start), local(end), float(start), float(end), state)
                table.append(dict(zip(HEAD, cells, strict=False)) | values)
            writer.write_table(pa.Table.from_pylist(table, schema=shape))


def check_parquet() -> None:
    """Raise CycleSimError where Parquet cannot be written."""
    if find_spec("pyarrow") is None:
        raise CycleSimError(
            "a trace as Parquet needs pyarrow: pip install 'cyclesim[parquet]', or end the name with .csv"
        )


def _seconds(at_s: float) -> str:
    return str(int(at_s)) if at_s == int(at_s) else repr(at_s)


def _clock(trace: Trace) -> Callable[[float], str]:
    """Local ISO times with their offset, each worked out once."""
    zone, texts = ZoneInfo(trace.time_zone), dict[float, str]()
    begin = trace.begin_utc

    def local(at_s: float) -> str:
        text = texts.get(at_s)
        if text is None:
            moment: datetime = (begin + timedelta(seconds=at_s)).astimezone(zone)
            text = texts[at_s] = moment.isoformat(timespec="seconds")
        return text

    return local

"""What a data logger wrote: a CSV file with units in its header; rows may be missing or come twice."""

from array import array
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from cyclesim.errors import Fault
from cyclesim.scenario.text.csv_file import MAX_BYTES, TOLD, CsvColumn, Reader, Use
from cyclesim.scenario.text.yaml_file import read_text

LOGGED = {
    "water": CsvColumn("water_c", "temperature", -5.0, 100.0),
    "air": CsvColumn("air_c", "temperature", -60.0, 60.0),
    "power": CsvColumn("power_w", "power", 0.0, 200_000.0),
}
"""What a log may have beside its time; each pump by its name, in percent of the time that it was on."""


@dataclass(frozen=True)
class Log:
    """Rows as they were written: times without a zone, and values in SI, NaN where a field is empty."""

    name: str
    times: tuple[datetime, ...]
    columns: Mapping[str, "array[float]"]


def read_log(path: Path, name: str, pumps: Iterable[str]) -> Log | list[Fault]:
    """The log of a CSV file (time and water are expected), or what is wrong with it."""
    text = read_text(path, name, "expected a CSV file, e.g. logs/may.csv", MAX_BYTES, (".csv",))
    if isinstance(text, Fault):
        return [text]
    of_pumps = {pump.lower(): CsvColumn(pump, "fraction", 0.0, 1.0) for pump in pumps}
    reader = _LogReader(name, LOGGED | of_pumps)
    series = reader.read(text)
    if series is None or reader.faults:
        return sorted(set(reader.faults))[:TOLD]
    return Log(name, tuple(reader.times), series.columns)


class _LogReader(Reader):
    """Takes rows as they come, and a field without a value."""

    times: list[datetime]

    def spacing(self, times: list[tuple[datetime, int]], bad: list[int]) -> int | None:
        """Any: what is missing or comes twice is told of the log, not refused."""
        self.times = [time for time, _ in times]
        if len(times) < 2 and not bad:
            self.refuse(1, 1, "time", f"{len(times)} rows", "expected at least two")
        return 1 if self.times else None

    def value(self, text: str, use: Use, line: int, row: str, index: int) -> float:
        """A number, or NaN for nothing."""
        return super().value(text, use, line, row, index) if text else float("nan")

"""Weather and prices in CSV files: a header with units, a row a step; all faults by line and column."""

import re
from array import array
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from hashlib import sha256
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

from cyclesim.errors import Fault, shorten
from cyclesim.scenario.forms.forms import did_you_mean, one_of
from cyclesim.scenario.text.yaml_file import read_text
from cyclesim.units import KINDS, NUMBER, QuantityError, format_quantity, parse

MAX_BYTES = 64_000_000  # a year of minutes with five columns is some 25 MB
TOLD = 20
"""So many faults of one file are told, and how many more there are."""
MOST_FAULTS = 1000
"""After so many the rest of a file is not read."""
LONGEST_ROW = 2000
"""Characters; six columns take some sixty."""
DAY_S = 86_400


class CsvColumn(NamedTuple):
    """What a column may be called, what it is kept as, and between which values it is believed."""

    key: str
    kind: str
    low: float
    high: float


WEATHER = {
    "temperature": CsvColumn("air_c", "temperature", -60.0, 60.0),
    "humidity": CsvColumn("humidity", "fraction", 0.0, 1.0),
    "wind": CsvColumn("wind_m_s", "speed", 0.0, 60.0),
    "cloud": CsvColumn("cloud", "fraction", 0.0, 1.0),
    "sky temperature": CsvColumn("sky_c", "temperature", -100.0, 60.0),
}
PRICES = {"price": CsvColumn("price", "price", -1000.0, 1000.0)}


@dataclass(frozen=True)
class Series:
    """Even steps of values in SI: the first begins at *start* (naive), each rules for *step_s*."""

    name: str
    start: datetime
    step_s: int
    columns: Mapping[str, "array[float]"] = field(repr=False)
    currency: str = ""
    named_at: tuple[str, int, int] | None = field(default=None, repr=False, compare=False)
    """File, line and column at which a scenario names it."""
    digest: str = field(init=False)
    """Stands for the values where a scenario is printed: files of one name may differ."""

    def __post_init__(self) -> None:
        text = b"".join(key.encode() + values.tobytes() for key, values in self.columns.items())
        object.__setattr__(self, "digest", sha256(text).hexdigest())

    @property
    def steps(self) -> int:
        """How many values a column has."""
        return len(next(iter(self.columns.values())))

    @property
    def days(self) -> float:
        """How long the series is."""
        return self.steps * self.step_s / DAY_S


def read_series(path: Path, name: str, known: Mapping[str, CsvColumn]) -> Series | list[Fault]:
    """The series of a CSV file with these columns (time and the first required), or what is wrong with it.

    A fault without a line is about the file as a whole.
    """
    text = read_text(path, name, "expected a CSV file, e.g. weather/town.csv", MAX_BYTES, (".csv",))
    if isinstance(text, Fault):
        return [text]
    reader = Reader(name, known)
    series = reader.read(text)
    if series is not None and not reader.faults:
        return series
    faults = sorted(set(reader.faults))
    if len(faults) > TOLD:
        count = f"{'at least ' * (len(faults) >= MOST_FAULTS)}{len(faults) - TOLD}"
        remainder = Fault(
            name, faults[TOLD].line, 1, "", f"{count} more faults", f"the first {TOLD} are told"
        )
        faults = [*faults[:TOLD], remainder]
    return faults


class Use(NamedTuple):
    """A column as the header has it: SI value = number * slope + offset."""

    name: str
    unit: str
    column: CsvColumn
    slope: float
    offset: float


_TIME = re.compile(r"\d{4}-\d\d-\d\d(?:[T ]\d\d:\d\d(?::\d\d)?)?")
_TIME_DUE = "expected a time, e.g. 2027-01-31 14:00"
_NUMBER = re.compile(NUMBER, re.ASCII)
_LONE_RETURN = re.compile(r"\r(?![\r\n]|\Z)")
_STANDARD = "where the clock changes, write standard time all year round"


class Reader:
    """Reads one file; what is wrong with it is kept in *faults*, with line and column."""

    def __init__(self, name: str, known: Mapping[str, CsvColumn]) -> None:
        self.name, self.known = name, known
        self.faults: list[Fault] = []
        self.currency = ""

    def refuse(self, line: int, column: int, path: str, found: str, allowed: str, hint: str = "") -> None:
        """Keep a fault."""
        self.faults.append(Fault(self.name, line, column, path, found, allowed, hint))

    def read(self, text: str) -> Series | None:
        """The series; None, or some series, where there are faults."""
        lone = _LONE_RETURN.search(text)
        if lone is not None:
            begins = text.rfind("\n", 0, lone.start()) + 1
            line = text.count("\n", 0, begins) + 1
            due, hint = "a line ends with a line feed", "save the file with the line ends of Unix or Windows"
            self.refuse(line, lone.start() - begins + 1, "", "a carriage return alone", due, hint)
            return None
        rows = (
            (line, row.rstrip("\r"))
            for line, row in enumerate(text.split("\n"), start=1)
            if row.strip() and not row.startswith("#")
        )
        line, head = next(rows, (1, ""))
        uses = self._header(line, head)
        if uses is None:
            return None
        times, bad = self._rows(rows, uses)
        step_s = self.spacing(times, bad)
        if step_s is None:
            return None
        columns = {use.column.key: values for use, values in zip(uses, self.values, strict=True) if use}
        return Series(self.name, times[0][0], step_s, columns, self.currency)

    # -- the header ----------------------------------------------------------------------------------------

    def _header(self, line: int, head: str) -> list[Use | None] | None:
        """What each field after the time is; None in the list for the time itself."""
        first = next(iter(self.known))
        uses: list[Use | None] = []
        names_above: set[str] = set()
        due = f"expected a header, e.g. time, {first} [{'EUR/kWh' if first == 'price' else 'degC'}]"
        if ";" in head and "," not in head:
            self.refuse(line, head.index(";") + 1, "", "a semicolon", "fields are parted by commas", due)
            return None
        if self._too_long(line, head):
            return None
        before = len(self.faults)
        for column, cell in _cells(head):
            match = re.fullmatch(r"([^\[\]]*)(?:\[([^\[\]]*)\])?", cell)
            name = match[1].rstrip(" ").lower() if match else cell
            unit = match[2].strip() if match and match[2] is not None else ""
            if name in names_above:
                self.refuse(line, column, name, f"the column '{shorten(name)}' again", "each stands once")
            elif name == "time":
                if unit:
                    hint = "say times: utc beside file: where it is not local standard time"
                    self.refuse(line, column, name, f"the unit '{shorten(unit)}'", "time has no unit", hint)
                uses.append(None)
            elif name in self.known:
                uses.append(self._use(line, column, name, unit))
            else:
                names = ["time", *self.known]
                found = f"'{shorten(name)}', an unknown column" if name else "a column without a name"
                self.refuse(line, column, "", found, f"known: {', '.join(names)}", did_you_mean(name, names))
            names_above.add(name)
        self.refuse_missing(line, names_above, due, before)
        return uses if len(self.faults) == before else None

    def _too_long(self, line: int, row: str) -> bool:
        if len(row) > LONGEST_ROW:
            found = f"a line of {len(row):,} characters"
            self.refuse(line, 1, "", found, f"at most {LONGEST_ROW:,} are allowed", "is this the right file?")
        return len(row) > LONGEST_ROW

    def refuse_missing(self, line: int, names: set[str], due: str, before: int) -> None:
        """Refuse a header without the time or the one column that is expected."""
        missing = [name for name in ("time", next(iter(self.known))) if name not in names]
        if len(missing) == 2:
            del self.faults[before:]
            self.refuse(line, 1, "", "no header" if any(names) else "nothing", due)
        elif missing:
            self.refuse(line, 1, missing[0], "nothing", due)

    def _use(self, line: int, column: int, name: str, unit: str) -> Use:
        known = self.known[name]
        if known.kind == "price":
            match = re.fullmatch(r"([A-Z]{3}) ?/ ?(kWh|MWh)", unit)
            self.currency = match[1] if match else ""
            if match is None:
                self.refuse(line, column, name, _unit(unit), "expected a currency, e.g. price [EUR/kWh]")
            return Use(name, unit, known, 0.001 if match and match[2] == "MWh" else 1.0, 0.0)
        try:
            zero, hundred = parse(f"0 {unit}", known.kind), parse(f"100 {unit}", known.kind)
        except QuantityError:
            units = KINDS[known.kind].units
            self.refuse(line, column, name, _unit(unit), f"expected {one_of(units)}", f"{name} [{units[0]}]")
            return Use(name, unit, known, 1.0, 0.0)
        return Use(name, unit, known, (hundred - zero) / 100.0, zero)

    # -- the rows ------------------------------------------------------------------------------------------

    def _rows(
        self, rows: Iterator[tuple[int, str]], uses: list[Use | None]
    ) -> tuple[list[tuple[datetime, int]], list[int]]:
        """The times with their lines, and the lines whose time is unknown; the values go to *values*."""
        self.values = [array("d") for _ in uses]
        times: list[tuple[datetime, int]] = []
        bad: list[int] = []
        for line, row in rows:
            if len(self.faults) >= MOST_FAULTS:
                break
            if self._too_long(line, row):
                bad.append(line)
                continue
            cells = row.split(",")
            if len(cells) != len(uses):
                hint = "numbers have a point, not a comma" if len(cells) > len(uses) else ""
                allowed = f"expected {len(uses)}, as in the header"
                self.refuse(line, 1, "", f"{len(cells)} fields", allowed, hint)
                bad.append(line)
                continue
            for index, (cell, use) in enumerate(zip(cells, uses, strict=True)):
                cell = cell.strip(' "\t')
                if use is None:
                    time = self._time(cell, line, row, index)
                    if time is None:
                        bad.append(line)
                    else:
                        times.append((time, line))
                else:
                    self.values[index].append(self.value(cell, use, line, row, index))
        return times, bad

    def _time(self, text: str, line: int, row: str, index: int) -> datetime | None:
        found, hint = "no time", "year-month-day hour:minute"
        if _TIME.fullmatch(text):
            try:
                time = datetime.fromisoformat(text)
                if 1900 <= time.year <= 2200:
                    return time
                found, hint = "a time far off", ""
            except ValueError:
                found = "a time that does not exist"
                hint = "write 00:00 of the next day" if text[11:16] == "24:00" else ""
        elif re.fullmatch(rf"(?:{_TIME.pattern}) ?(?:Z|UTC|[-+]\d\d(?::?\d\d)?)", text):
            found, hint = "a time with an offset", "write UTC without it and say times: utc beside file:"
        elif not text:
            found = "nothing"
        self.refuse(line, _column(row, index), "time", _quoted(text, found), _TIME_DUE, hint)
        return None

    def value(self, text: str, use: Use, line: int, row: str, index: int) -> float:
        """A field as a number in SI."""
        if _NUMBER.fullmatch(text):
            value = round(float(text) * use.slope + use.offset, 9)
            if use.column.low <= value <= use.column.high:
                return value
            found, kind = f"{use.name} out of range", use.column.kind
            edges = (f"{e:g}" if kind == "price" else format_quantity(e, kind) for e in use.column[2:])
            allowed, hint = f"{' to '.join(edges)} is allowed", "leave no gaps: fill in what is not known"
        else:
            found, allowed, hint = "no number", f"expected a number in {use.unit}", ""
            if not text:
                found, hint = "nothing", "leave no gaps: fill in what is not known"
        self.refuse(line, _column(row, index), use.name, _quoted(text, found), allowed, hint)
        return 0.0

    # -- the times among each other ------------------------------------------------------------------------

    def spacing(self, times: list[tuple[datetime, int]], bad: list[int]) -> int | None:
        """The step of the file [s], with every row refused that does not keep to it."""
        if len(times) < 2:
            if not bad:
                line = times[0][1] if times else 1
                self.refuse(line, 1, "time", f"{len(times)} rows", "at least two tell what a step is")
            return None
        last, first_line, good = times[0][0], {times[0][0]: times[0][1]}, [times[0]]
        for time, line in times[1:]:
            if len(self.faults) >= MOST_FAULTS:
                return None
            if time in first_line:
                hint = f"the first is on line {first_line[time]}"
                hint += f"; {_STANDARD}" if time.hour < 4 else ""
                self.refuse(
                    line, 1, "time", f"the time {time:%Y-%m-%d %H:%M} again", "each stands once", hint
                )
                continue
            if time < last:
                found = f"{time:%Y-%m-%d %H:%M}, which is before the time above it"
                hint = "months from several years are written as one year" if last.year > time.year else ""
                self.refuse(line, 1, "time", found, "expected times in order", hint)
            first_line[time], last = line, max(last, time)
            good.append((time, line))
        good.sort()
        steps = Counter(round((b - a).total_seconds()) for (a, _), (b, _) in pairwise(good))
        step_s = max(steps, key=lambda s: (steps[s], -s), default=0)
        if not 60 <= step_s <= DAY_S or DAY_S % step_s:
            allowed = "expected steps from 1 min to 1 day that divide a day"
            self.refuse(good[-1][1], 1, "time", f"steps of {_lasting(step_s)}", allowed)
            return None
        lost = set(bad)
        for (a, line_a), (b, line) in pairwise(good):
            if len(self.faults) >= MOST_FAULTS:
                return None
            passed = round((b - a).total_seconds())
            in_order = line_a < line  # otherwise that is what is wrong
            if passed != step_s and in_order and not (lost and lost & set(range(line_a, line))):
                self._gap(line, a, passed, step_s)
        return step_s

    def _gap(self, line: int, before: datetime, passed: int, step_s: int) -> None:
        if passed % step_s:
            found = f"a step of {_lasting(passed)}"
            self.refuse(line, 1, "time", found, f"one step in a file; elsewhere it is {_lasting(step_s)}")
            return
        many = passed // step_s - 1
        start, end = before + timedelta(seconds=step_s), before + timedelta(seconds=passed - step_s)
        missing = f"{start:%Y-%m-%d %H:%M}" + (f" to {end:%Y-%m-%d %H:%M}" if many > 1 else "")
        hint = _STANDARD if passed - step_s == 3600 else ""
        self.refuse(line, 1, "time", f"a gap: {missing} is missing", "every step needs a row", hint)


def _cells(row: str) -> Iterator[tuple[int, str]]:
    """Each field of a row with the column at which it begins."""
    begins = 1
    for cell in row.split(","):
        yield begins + len(cell) - len(cell.lstrip()), cell.strip(' "\t')
        begins += len(cell) + 1


def _column(row: str, index: int) -> int:
    cells = row.split(",")
    return sum(len(cell) + 1 for cell in cells[:index]) + len(cells[index]) - len(cells[index].lstrip()) + 1


def _quoted(text: str, what: str) -> str:
    return f"'{shorten(text)}', {what}" if text else what


def _unit(unit: str) -> str:
    return f"'{shorten(unit)}', an unknown unit" if unit else "no unit"


def _lasting(seconds: int) -> str:
    return format_quantity(seconds, "time") if seconds >= 60 else f"{seconds} s"

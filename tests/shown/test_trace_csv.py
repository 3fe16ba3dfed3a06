"""The trace as CSV."""

import csv
from collections import defaultdict
from datetime import UTC, date, datetime
from io import StringIO
from itertools import pairwise

import pytest

from cyclesim.said.trace_rows import HEAD
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.shown.trace_files import write_trace
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.engine import simulate_trace
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.trace import Trace


@pytest.fixture(scope="module")
def written() -> str:
    """Two days of the starter over the spring clock change."""
    scenario = load_text(starter_text())
    trace = simulate_trace(Assembly(scenario), Programme(scenario), days=2, start=date(2027, 3, 27))
    stream = StringIO()
    write_trace(trace, stream)
    return stream.getvalue()


def test_every_stream_tiles_the_span(written: str) -> None:
    """The rows of each element and kind follow on each other from 0 to the end, 47 h in this span."""
    rows = list(csv.DictReader(StringIO(written)))
    streams = defaultdict(list)
    for row in rows:
        streams[row["element"], row["kind"]].append((float(row["start_s"]), float(row["end_s"])))
    kinds = {kind for _, kind in streams}
    assert kinds == {
        "pump", "pump decided by", "heat source", "heat source waits because", "demand", "duty", "water age",
        "temperature", "people in the water", "cover", "power", "heat exchange", "valves",
        "water level",
    }  # fmt: skip
    for name, spans in streams.items():
        if name[1] == "heat exchange":  # only while it lasts
            continue
        assert spans[0][0] == 0.0, name
        assert spans[-1][1] == 47 * 3600.0, name
        assert all(end == start for (_, end), (start, _) in pairwise(spans)), name


def test_local_times_agree_with_seconds(written: str) -> None:
    """Each local time carries its offset, so that it names one instant: start plus seconds."""
    for row in csv.DictReader(StringIO(written)):
        at = datetime.fromisoformat(row["start_local"])
        since = (at - datetime.fromisoformat("2027-03-27T00:00:00+00:00")).total_seconds()
        assert since == int(float(row["start_s"]))
        assert at.utcoffset() is not None


def test_form_of_the_file(written: str) -> None:
    """A head, line feeds alone, and as many cells in each row as there are columns."""
    assert written.startswith(",".join(HEAD) + "\n")
    assert "\r" not in written
    assert all(len(row) == len(HEAD) for row in csv.reader(StringIO(written)))


def test_mean_water_temperature_is_between_extremes(written: str) -> None:
    """The tub's mean over each piece is a temperature in degC, near the one at its start."""
    tub = [row for row in csv.DictReader(StringIO(written)) if row["element"] == "tub"]
    assert tub
    assert all(abs(float(row["mean_c"]) - float(row["start_c"])) < 2.0 for row in tub)


def test_heat_is_exchanged_while_the_cover_is_off(written: str) -> None:
    """Open water gives heat and vapour in just the time that the cover is off, when bathers are in it."""
    rows = list(csv.DictReader(StringIO(written)))
    off = [(row["start_s"], row["end_s"]) for row in rows if row["kind"] == "cover" and row["state"] == "off"]
    open_water = [row for row in rows if row["element"] == "open water"]
    assert off
    assert sum(float(b) - float(a) for a, b in off) == sum(
        float(row["end_s"]) - float(row["start_s"]) for row in open_water
    )
    assert all(float(row["heat_kwh"]) < 0.0 < float(row["evaporated_kg"]) for row in open_water)
    assert {"bathers"} < {row["element"] for row in rows if row["kind"] == "heat exchange"}


@pytest.mark.parametrize("sign", "=+-@")
def test_no_cell_is_a_formula(sign: str) -> None:
    """A spreadsheet runs a text that begins so, unless a quote stands before it (OWASP, CSV injection, from
    memory); numbers stay numbers."""
    text = starter_text().replace("lasts: 2 h}", f"lasts: 2 h, name: '{sign}1+1'}}", 1)
    scenario = load_text(text)
    stream = StringIO()
    write_trace(simulate_trace(Assembly(scenario), Programme(scenario), days=1), stream)
    rows = list(csv.reader(StringIO(stream.getvalue())))
    assert any(f"'{sign}1+1" in cell for row in rows for cell in row)
    for cell in (cell for row in rows for cell in row if cell.startswith(("=", "+", "-", "@"))):
        float(cell)


def test_flows_are_in_litres_a_minute() -> None:
    """0.5 L/s are 30 L/min."""
    begin = datetime(2027, 1, 1, tzinfo=UTC)
    trace = Trace(begin, "Etc/UTC", 60, [], [], [], ["run"], [])
    trace.ages["run"].put((0, 0.0, 60.0, 0.0005, 0.0, 0.0, 0.0, 0.0))
    trace.close()
    stream = StringIO()
    write_trace(trace, stream)
    (row,) = (row for row in csv.DictReader(StringIO(stream.getvalue())) if row["kind"] == "water age")
    assert ("run", "moving") == (row["element"], row["state"])
    assert 30.0 == pytest.approx(float(row["flow_l_min"]))

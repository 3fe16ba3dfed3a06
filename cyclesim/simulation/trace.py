"""What happened: streams of intervals, each tiling the span, in compact columns.

Times are whole seconds from the start of the counted span (the warm-up is not in the trace). Every number
that is reported is a function of what is here and of the model that was run.
"""

from __future__ import annotations

from array import array
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from cyclesim.physics.age_book import Emitted
from cyclesim.physics.own_water import OwnPiece
from cyclesim.physics.pieces import Piece
from cyclesim.physics.stays import Stay
from cyclesim.simulation.assembly import Positions
from cyclesim.simulation.stream import Interval, Span, State, Stream, joined

__all__ = [
    "COLD_JET_K",
    "AtJets",
    "Interval",
    "Rows",
    "Span",
    "State",
    "Stream",
    "Trace",
    "Zones",
    "joined",
]


class Zones(NamedTuple):
    """Hourly temperatures of every zone [degC]; the first hour begins at *origin_s*.

    powerless: of those that a heater on the supply keeps, what they would be with no power throughout; dark:
    when there is none.
    """

    origin_s: int
    series: dict[str, list[float]]
    powerless: Mapping[str, list[float]] = {}
    dark: Sequence[Span] = ()

    @property
    def without_power(self) -> Zones:
        """As they would be with no power throughout."""
        return self._replace(series={**self.series, **self.powerless})

    def warmed_h(self, name: str, span_s: int) -> int:
        """The hours of a run of *span_s* in which something on the supply keeps a zone warmer."""
        run = slice(-self.origin_s // 3600, (span_s - self.origin_s) // 3600)
        return int(np.sum(np.greater(self.series[name][run], self.powerless[name][run])))


class Rows:
    """Closed intervals of one kind, one record each, read back by column.

    A column is an attribute with the name of the record's field: `rows.start_s` is an array of floats.
    """

    def __init__(self, name: str, record: type[NamedTuple]) -> None:
        self.name, self.record = name, record
        self._values: array[float] = array("d")
        self._table: NDArray[np.float64] = np.empty((0, len(record._fields)))
        self._fresh: list[float] = []
        self.put: Callable[[Iterable[float]], None] = self._fresh.extend
        """Append one record; a list takes one in a tenth of the time that an array needs."""

    def put_all(self, records: NDArray[np.float64]) -> None:
        """Append many records, their numbers one after another; they are put in order as they are read."""
        self.pack()
        self._values.frombytes(records.tobytes())

    def clear(self) -> None:
        """Forget every record."""
        self._fresh.clear()
        del self._values[:]
        self._table = self._table[:0]

    def pack(self) -> None:
        """Put what is fresh to the rest, in a fifth of the room."""
        if not self._fresh:
            return
        self._values.extend(array("d", self._fresh))
        self._fresh.clear()

    def __len__(self) -> int:
        return (len(self._values) + len(self._fresh)) // len(self.record._fields)

    def __getattr__(self, field: str) -> NDArray[np.float64]:
        fields = self.__dict__["record"]._fields
        if field not in fields:
            raise AttributeError(
                f"rows of {self.name} have no column {field!r}; there are {', '.join(fields)}"
            )
        if len(self._table) != len(self):  # a copy: a view would lock the array
            self.pack()
            self._table = np.array(self._values).reshape(-1, len(fields))
            since = self._table[:, fields.index("start_s")]
            if (since[1:] < since[:-1]).any():
                self._table = self._table[np.argsort(since, kind="stable")]
        column: NDArray[np.float64] = self._table[:, fields.index(field)]
        return column


class AtJets(NamedTuple):
    """What comes out of the jets as water begins to move while people are in it.

    What is neither the coldest since they got in, nor felt as cold, may be left out.

    coldest_c: the coldest of it; cold_s: for how long some of it is more than COLD_JET_K colder than the tub.
    """

    start_s: int
    coldest_c: float
    cold_s: float


COLD_JET_K = 3.0
"""How much colder than the tub water from a jet is felt as cold; project choice, no standard."""


class Trace:
    """Everything one run left behind."""

    def __init__(
        self,
        begin_utc: datetime,
        time_zone: str,
        span_s: int,
        pumps: Sequence[str],
        sources: Sequence[str],
        demands: Sequence[str],
        legs: Sequence[str],
        bodies: Sequence[str],
        blowers: Sequence[str] = (),
        circulators: Sequence[str] = (),
        own_waters: Sequence[str] = (),
        treatments: Sequence[str] = (),
        starters: Sequence[str] = (),
        *,
        may_weld: bool = False,
        circuits: Sequence[str] = (),
    ) -> None:
        self.begin_utc, self.time_zone, self.span_s = begin_utc, time_zone, span_s
        self.pumps = {n: Stream(n, "stopped") for n in pumps}
        """State of each pump: stopped, on, low, high, changing."""
        self.deciding = {n: Stream(n, "") for n in pumps}
        """Who decided each pump: a demand's name, `keep ...`, or nobody ("")."""
        self.sources = {n: Stream(n, "off") for n in sources}
        """State of each heat source: off, proving, proving_again (within a run-on), firing, run_on, tripped;
        held_off by its own switch."""
        self.reasons = {n: Stream(n, "") for n in sources}
        """Why a source that is called does not fire ("" if it does or is not called)."""
        self.blowers = {n: Stream(n, "stopped") for n in blowers}
        """State of each blower: stopped or on."""
        self.circulators = {n: Stream(n, "stopped") for n in circulators}
        """State of each circulator of a heat source's own water: stopped or on."""
        self.burners = {n: Stream(n, "off") for n in own_waters}
        """Per source with water of its own, whether its own thermostat has its heat on while it fires."""
        self.own_waters = {n: Rows(n, OwnPiece) for n in own_waters}
        """Temperature of the own water of each such source, and what went in, over and away."""
        self.treatments = {n: Stream(n, "off") for n in treatments}
        """State of each treatment device: off, proving, on, held_off."""
        self.starters = {n: Stream(n, "") for n in starters}
        """`closed` while a contact beside the controller takes effect, else ""."""
        self.seconds = {n: Stream(n, "") for n in (pumps if starters or may_weld else ())}
        """A second speed of a pump whose contact is closed beside the one that runs, else ""."""
        self.positions: Stream[Positions] = Stream("positions", ())
        """Positions of valves and diverters, in the order of the plant."""
        self.level = Stream("level", "enough")
        """Whether the water is above the suction fittings: enough or low."""
        self.people = Stream("people", "0")
        """How many people are in the water, as text."""
        self.cover = Stream("cover", "on")
        """Whether the cover is on or off."""
        self.power = Stream("power", "on")
        """Whether there is power: on, lost, or back while the controller waits for a person."""
        self.circuits = {n: Stream(n, "on") for n in circuits}
        """Whether a circuit that loses its power alone has it: on or lost."""
        self.loads: dict[str, Stream[str]] = {}
        """Whether the pump room's own heater and fan run: on or off."""
        self.exchanges: dict[str, Rows] = {}
        """What laws of heat did, by their name: open water, bathers, a blower's air, a heat pump."""
        self.ready: list[tuple[int, float, float]] = []
        """What was to be ready: (second, water [degC], wanted [degC])."""
        self.demands = {n: Stream(n, "") for n in demands}
        """`raised` or "" for each demand."""
        self.duties = Stream("duty", "")
        """Name of the duty in force: `main low`, `circulator on + jets on`, or "" when all stands."""
        self.ages = {n: Rows(n, Emitted) for n in legs}
        """Water age of each leg, last stretch and housing: intervals of constant flow."""
        self.stays = {n: Rows(n, Stay) for n in bodies}
        """Temperature of each body of water outside the tub: standing, or joined to the tub."""
        self.tub = Rows("tub", Piece)
        """The tub's pieces of constant forcing: temperatures at the start, integrals, losses."""
        self.at_jets = Rows("jets", AtJets)
        """What comes out of the jets, for each time that water begins to move while people are in it."""
        self.trapped_j = 0.0
        self.heat_content_j = (0.0, 0.0)
        """Heat above 0 degC in all the plant's water and shell, at the start and at the end [J]."""
        self.end_water_c = 0.0
        self.zones: Zones | None = None
        """Hourly temperatures of the zones, kept for what is read from the trace afterwards."""
        self.passes = 0
        """How many passes the controller made."""

    def streams(self) -> Iterator[tuple[str, Stream[Any]]]:
        """Every stream of states with its kind."""
        for kind in (
            "pumps",
            "blowers",
            "circulators",
            "burners",
            "deciding",
            "sources",
            "reasons",
            "treatments",
            "demands",
            "starters",
            "circuits",
            "loads",
        ):
            for stream in getattr(self, kind).values():
                yield kind, stream
        for stream in self.seconds.values():
            yield "seconds", stream
        for kind in ("duties", "positions", "level", "people", "cover", "power"):
            yield kind, getattr(self, kind)

    def restart(self, at_s: int = 0) -> None:
        """Forget everything before *at_s* but the present states: what ran until then was warm-up."""
        for _, stream in self.streams():
            stream.restart(at_s)
        for rows in self._rows():
            rows.clear()
        self.ready.clear()
        self.passes = 0

    def _rows(self) -> Iterator[Rows]:
        yield from (*self.ages.values(), *self.stays.values(), *self.exchanges.values())
        yield from (*self.own_waters.values(), self.tub, self.at_jets)

    def pack(self) -> None:
        """Put together what has come so far, so that ten years need no more room than they must."""
        for rows in self._rows():
            rows.pack()

    def close(self) -> None:
        """Close every stream at the end of the span."""
        for _, stream in self.streams():
            stream.end_s = self.span_s
        self.pack()

    def local(self, at_s: float) -> datetime:
        """Local clock time of *at_s*."""
        return (self.begin_utc + timedelta(seconds=at_s)).astimezone(ZoneInfo(self.time_zone))

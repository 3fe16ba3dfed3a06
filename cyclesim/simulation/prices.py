"""The price of electricity over a run, by the tariff's wall clock or a file of prices."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from cyclesim.control.calendar import WEEKDAYS, windows
from cyclesim.scenario.blocks.place import PriceFile, Tariff
from cyclesim.simulation.hourly_weather import on_clock, unrolled
from cyclesim.simulation.trace import Span, joined

Floats = NDArray[np.float64]


def prices(
    tariff: Tariff | PriceFile, begin_utc: datetime, time_zone: str, span_s: int
) -> tuple[Floats, Floats]:
    """The edges [s] of constant price over the span, and the price per kWh of each stretch between them.

    Raises InputError where a file of prices does not cover the span.
    """
    if isinstance(tariff, PriceFile):
        begin = on_clock(tariff.times, begin_utc, ZoneInfo(time_zone))
        span = (begin, begin + timedelta(seconds=span_s))
        edges, price = unrolled(tariff.file, "price", *span, span, "supply.tariff.file")
        return np.clip(edges, 0.0, float(span_s)), price
    spans_of: list[list[Span]] = []
    for window in tariff.windows:
        times = windows(
            window.from_time,
            window.to_time,
            days=None if window.days is None else [WEEKDAYS[day] for day in window.days],
            zone=time_zone,
            origin=begin_utc,
            span_s=span_s,
        )
        spans_of.append(joined((max(0, o.start_s), min(span_s, o.end_s)) for o in times))
    marks = {0, span_s, *(t for spans in spans_of for span in spans for t in span)}
    edges = np.array(sorted(marks), dtype=float)
    price = np.full(len(edges) - 1, tariff.otherwise.amount)
    for window, spans in reversed(
        list(zip(tariff.windows, spans_of, strict=True))
    ):  # the first that fits decides
        for start, end in spans:
            price[np.searchsorted(edges, start) : np.searchsorted(edges, end)] = window.price.amount
    return edges, price


def dearer(edges: Floats, price: Floats, above: float) -> list[Span]:
    """The spans [s] in which a kilowatt-hour costs more than *above*."""
    dear = price > above
    return joined((int(a), int(b)) for a, b, yes in zip(edges, edges[1:], dear, strict=False) if yes)

"""`--what-if outage=START/DURATION`: power cuts added to a scenario for one run."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta

from cyclesim.errors import CycleSimError, shorten
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.forms.forms import RefusedError
from cyclesim.scenario.forms.times import read_moment
from cyclesim.units import QuantityError, parse

_DUE = 'outage=START/DURATION is due, e.g. "outage=2027-01-12 03:00/8 h"'
_LONGEST_S = 30 * 86_400


def outages_set(scenario: Scenario, texts: Sequence[str], start: date, days: int) -> str:
    """The `PATH=VALUE` that gives a scenario its own power cuts and those of *texts*.

    Raises CycleSimError where a text says no power cut, or one outside the *days* from *start*.
    """
    cuts = [(cut.from_local, cut.lasts_s) for cut in scenario.schedule.outages]
    for text in texts:
        cut_at, lasts_s = _outage(text)
        first, end = datetime.combine(start, time()), datetime.combine(start + timedelta(days=days), time())
        if cut_at >= end or cut_at + timedelta(seconds=lasts_s) <= first:
            last = end.date() - timedelta(days=1)
            raise CycleSimError(f"{_named(text)}: this is outside the run, which is from {start} to {last}")
        cuts.append((cut_at, lasts_s))
    entries = (f"{{from: {cut_at:%Y-%m-%d %H:%M}, lasts: {lasts_s:.0f} s}}" for cut_at, lasts_s in cuts)
    return f"schedule.outages=[{', '.join(entries)}]"


def _named(text: str) -> str:
    return f"--what-if {shorten(text)}"


def _outage(text: str) -> tuple[datetime, float]:
    what, equals, value = text.partition("=")
    moment, slash, lasting = value.partition("/")
    if what.strip() != "outage" or not equals or not slash:
        raise CycleSimError(f"{_named(text)}: {_DUE}")
    try:
        begin = read_moment(moment.strip().replace("T", " ", 1))
    except RefusedError as error:
        what = f"'{shorten(moment)}' is {error.what}"
        raise CycleSimError(f"{_named(text)}: {what}; {error.allowed}") from None
    try:
        lasts_s = parse(lasting.strip(), "time")
    except QuantityError as error:
        raise CycleSimError(f"{_named(text)}: {error}") from None
    if not 1 <= lasts_s <= _LONGEST_S or lasts_s % 1:
        lasts = shorten(lasting)
        raise CycleSimError(f"{_named(text)}: '{lasts}' is not from 1 s to 30 days in whole seconds")
    return begin, lasts_s

"""`--what-if outage=START/DURATION` and `cold=LOWEST/DURATION`: power cuts and frost tried for one run.

A circuit's name behind the duration cuts that circuit alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta

from cyclesim.errors import CycleSimError, shorten
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.forms.forms import RefusedError, did_you_mean
from cyclesim.scenario.forms.times import read_date, read_moment
from cyclesim.units import QuantityError, parse

_DUE = (
    'expected outage=START/DURATION or cold=LOWEST/DURATION, e.g. "outage=2027-01-12 03:00/8 h" or '
    '"cold=-18 degC/3 days"; /CIRCUIT behind a power cut cuts that circuit alone, /2027-01-12 behind a cold '
    "spell dates it"
)
_IN_THE_FILE = (
    "what else may happen is in the file: schedule.low_water, schedule.valves_turned, "
    "controller.after_power_cut, a hand_switch in also_started_by"
)
_LONGEST_S = 30 * 86_400


def what_if_sets(scenario: Scenario, texts: Sequence[str], start: date, days: int) -> list[str]:
    """The `PATH=VALUE`s that give a scenario its own power cuts and those of *texts*, and a cold spell.

    Raises CycleSimError where a text says neither, or a power cut outside the *days* from *start*.
    """
    cuts = [(cut.from_local, cut.lasts_s, cut.circuit) for cut in scenario.schedule.outages]
    sets = []
    for text in texts:
        if text.partition("=")[0].strip() == "cold":
            sets.append(_cold(text))
            continue
        cut_at, lasts_s, circuit = _outage(text, scenario)
        first, end = datetime.combine(start, time()), datetime.combine(start + timedelta(days=days), time())
        if cut_at >= end or cut_at + timedelta(seconds=lasts_s) <= first:
            last = end.date() - timedelta(days=1)
            raise CycleSimError(f"{_named(text)}: this is outside the run, which is from {start} to {last}")
        cuts.append((cut_at, lasts_s, circuit))
    entries = (
        f"{{from: {cut_at:%Y-%m-%d %H:%M}, lasts: {lasts_s:.0f} s{f', circuit: {name}' if name else ''}}}"
        for cut_at, lasts_s, name in cuts
    )
    return [f"schedule.outages=[{', '.join(entries)}]", *sets]


def _cold(text: str) -> str:
    """The `PATH=VALUE` of a cold spell."""
    lowest, *rest = (part.strip() for part in text.partition("=")[2].split("/"))
    if not 1 <= len(rest) <= 2 or not all((lowest, *rest)):
        raise CycleSimError(f"{_named(text)}: {_DUE}")
    try:
        lowest_c, lasts_s = parse(lowest, "temperature"), parse(rest[0], "time")
        begins = f", from: {read_date(rest[1])}" if len(rest) == 2 else ""
    except QuantityError as error:
        raise CycleSimError(f"{_named(text)}: {error}") from None
    except RefusedError as error:
        raise CycleSimError(
            f"{_named(text)}: '{shorten(rest[1])}' is {error.what}; {error.allowed}"
        ) from None
    if not -60 <= lowest_c <= 60:
        raise CycleSimError(f"{_named(text)}: '{shorten(lowest)}' is not from -60 to 60 degC")
    if not 3600 <= lasts_s <= _LONGEST_S or lasts_s % 1:
        raise CycleSimError(
            f"{_named(text)}: '{shorten(rest[0])}' is not from 1 h to 30 days in whole seconds"
        )
    return f"place.cold_spell={{lowest: {lowest_c:.10g} degC, lasts: {lasts_s:.0f} s{begins}}}"


def _named(text: str) -> str:
    return f"--what-if {shorten(text)}"


def _outage(text: str, scenario: Scenario) -> tuple[datetime, float, str | None]:
    """When, for how long [s], and which circuit alone."""
    what, equals, value = text.partition("=")
    moment, slash, rest = value.partition("/")
    lasting, behind, circuit = rest.partition("/")
    if what.strip() != "outage":
        raise CycleSimError(f"{_named(text)}: {_DUE}; {_IN_THE_FILE}")
    if not equals or not slash:
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
    circuits, name = scenario.supply.circuits or {}, circuit.strip()
    if behind and name not in circuits:
        due = f"known circuits: {', '.join(circuits)}" if circuits else "the file has no supply.circuits"
        hint = did_you_mean(name, circuits)
        raise CycleSimError(f"{_named(text)}: '{shorten(name)}' is no circuit; {due}{hint and f'; {hint}'}")
    return begin, lasts_s, name or None

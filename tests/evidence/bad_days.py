"""Bad days: the power fails in frost, and comes back."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache, partial
from math import exp, log, pi

import numpy as np

from cyclesim.analysis.metrics import OutageMetrics
from cyclesim.analysis.result import Result
from tests.evidence.plants import run
from tests.evidence.record import ARITHMETIC, Check, near

# -- power cuts -------------------------------------------------------------------------------------------

HUT_C, CUT_AT = -8.0, "2027-01-06 01:00"
FROST = (
    "place.weather.mean=-11 degC",
    "place.weather.seasonal_swing=0 K",
    "place.weather.daily_swing=0 K",
    "place.zones.soil={always: 5 degC}",
)
"""High valley in weather that stays at -11 degC: its hut is at -8 degC, its soil not frozen."""
ASHRAE = "ASHRAE Fundamentals ch. 23 eq. 1 with the film, seen second-hand"
LUMPS = ("element", "heat_pump", "filter", "hut_pipe")


@cache
def _cut(hours: int) -> tuple[Result, OutageMetrics]:
    """Eight days of January with a cut of so many hours in the sixth night."""
    sets = (*FROST, f"schedule.outages=[{{from: {CUT_AT}, lasts: {hours} h}}]")
    result = run("high-valley", *sets, days=8)
    (found,) = result.metrics.outages
    return result, found


def _lump(part: str) -> tuple[float, float, float]:
    """Heat capacity, conductance and water of a part of the hut, from its sheet and plain layers."""
    litres = {"element": 2.0, "heat_pump": 3.0, "filter": 14.0}
    if part in litres:
        volume = litres[part] / 1000.0
        width = (2.0 * volume / pi) ** (1.0 / 3.0)
        return _warm_j_k(volume), 8.0 * 2.5 * pi * width**2, volume
    bore, outside, skin, metres = 0.057, 0.063, 0.103, 4.0
    layers = log(outside / bore) / (2 * pi * 0.19) + log(skin / outside) / (2 * pi * 0.038)
    volume = pi / 4.0 * bore**2 * metres
    wall = pi / 4.0 * (outside**2 - bore**2) * 1390.0 * 900.0 * metres
    return _warm_j_k(volume) + wall, metres / (layers + 1.0 / (pi * skin * 10.0)), volume


def _warm_j_k(volume_m3: float) -> float:
    """Water at the plant's own 15 degC set point, by IAPWS-IF97."""
    from iapws import IAPWS97

    state = IAPWS97(T=288.15, P=0.101325)
    return float(volume_m3 * state.rho * state.cp * 1000.0)


def _before_c(hours: int) -> float:
    """The tub's water when the power fails: frost protection has kept every part of the loop as warm."""
    result, _ = _cut(hours)
    (start, _end) = result.trace.power.spans("lost")[0]
    return float(np.interp(start, result.trace.tub.start_s, result.trace.tub.water_c))


def _zero_by_hand_h(part: str) -> float:
    capacity, ua, _ = _lump(part)
    return capacity / ua * log((_before_c(24) - HUT_C) / (0.0 - HUT_C)) / 3600.0


def _ice_by_hand_h(part: str) -> float:
    _, ua, volume = _lump(part)
    return 0.1 * volume * 1000.0 * 334_000.0 / (ua * (0.0 - HUT_C)) / 3600.0


def _coldest_by_hand_c(hours: int) -> float:
    capacity, ua, _ = _lump("element")
    return HUT_C + (_before_c(hours) - HUT_C) * exp(-hours * 3600.0 * ua / capacity)


def _zero_h(part: str) -> float:
    return _cut(24)[1].until_zero_h[part] or 0.0


def _ice_h(part: str) -> float:
    return (_cut(24)[1].until_frozen_h[part] or 0.0) - _zero_h(part)


def _cuts() -> str:
    found = _cut(24)[1]
    by = {n: [p for p, h in found.until_zero_h.items() if h is not None and h <= n] for n in (1, 6, 24)}
    ice = {n: [p for p, h in found.until_frozen_h.items() if h is not None and h <= n] for n in (1, 6, 24)}
    first = min(h for h in found.until_zero_h.values() if h is not None)
    return (
        f"Power cuts beside {HUT_C:g} degC, water at {_before_c(24):.0f} degC: after 1 h {len(by[1])} parts"
        f" are at 0 degC,"
        f" after 6 h {len(by[6])} ({_listed(by[6])}), after 24 h {len(by[24])}; a tenth of the water is ice"
        f" in"
        f" {len(ice[1])}, {len(ice[6])} and {len(ice[24])} of {len(found.until_zero_h)}. The first is at 0"
        f" degC after"
        f" {first:.1f} h; the tub is"
        f" {'not within ten days' if found.until_zero_h['tub'] is None else 'later'}."
    )


def _listed(names: list[str]) -> str:
    return ", ".join(names) or "none"


RESTART = ("schedule.outages=[{from: 2027-01-20 02:30, lasts: 90 min}]",)
"""A cut that begins before a filter run of the walled garden (03:00 to 06:00) and ends in it."""


def _after_the_cut() -> tuple[Result, int]:
    result = run("walled-garden", *RESTART, days=21)
    return result, result.trace.power.spans("lost")[0][1]


def _waits_s() -> float:
    """Seconds from the power's return until the pump runs."""
    result, back = _after_the_cut()
    return float(
        min(start for start, end in result.trace.pumps["main"].spans("low", "high") if end > back) - back
    )


def _runs_until_h() -> float:
    """The clock time at which the interrupted filter run's demand ends."""
    result, back = _after_the_cut()
    raised = [x for n, s in result.trace.demands.items() if "filter" in n for x in s.spans("raised")]
    end = min(end for start, end in raised if start <= back < end)
    local = result.trace.local(end)
    return local.hour + local.minute / 60.0


def _proves_s() -> float:
    """Seconds of flow before the element first fires after the cut."""
    result, back = _after_the_cut()
    fires = min(start for start, _ in result.trace.sources["element"].spans("firing") if start >= back)
    flows = [(a, b) for a, b in result.trace.pumps["main"].spans("low", "high") if a <= fires < b]
    return float(fires - flows[0][0])


def _restart() -> str:
    return (
        f"After a cut over the start of a filter run the pump is back {_waits_s():.0f} s after the power,"
        f" the element"
        f" fires after {_proves_s():.0f} s of flow, and the run ends at its own time: what was missed is"
        f" not made up."
    )


def checks() -> Iterator[Check]:
    """Power cuts."""
    for part in LUMPS:
        inputs = f"high-valley, {part}, hut {HUT_C:g} degC"
        yield near(
            f"cut-zero-{part}",
            "bad-days",
            "time to 0 degC after a cut",
            inputs,
            "h",
            partial(_zero_by_hand_h, part),
            partial(_zero_h, part),
            0.01,
            ASHRAE,
            ARITHMETIC,
        )
        yield near(
            f"cut-ice-{part}",
            "bad-days",
            "from there to a tenth ice",
            inputs,
            "h",
            partial(_ice_by_hand_h, part),
            partial(_ice_h, part),
            0.01,
            "0.1 m L / (UA 8 K), 334 kJ/kg",
            ARITHMETIC,
            conclusion=_cuts if part == LUMPS[-1] else None,
        )
    for hours in (1, 6, 24):
        yield near(
            f"cut-coldest-{hours}",
            "bad-days",
            "coldest part at the end of a cut",
            f"high-valley, {hours} h, hut {HUT_C:g} degC",
            "degC",
            partial(_coldest_by_hand_c, hours),
            lambda h=hours: _cut(h)[1].coldest_c,
            0.1,
            ASHRAE,
            ARITHMETIC,
            relative=False,
        )
    yield near(
        "restart-pump",
        "bad-days",
        "pump's wait after the power is back",
        "walled-garden, cut 02:30 to 04:00",
        "s",
        "75",
        _waits_s,
        0.0,
        "the pump's rest on its sheet, long past",
        ARITHMETIC,
        how="at most",
    )
    yield near(
        "restart-end",
        "bad-days",
        "end of the interrupted filter run",
        "filter run 03:00 to 06:00",
        "h",
        "6",
        _runs_until_h,
        0.0,
        "its own clock time",
        ARITHMETIC,
    )
    yield near(
        "restart-proof",
        "bad-days",
        "flow before the element fires again",
        "proof 5 s",
        "s",
        "5",
        _proves_s,
        0.0,
        "the file's interlock",
        ARITHMETIC,
        how="at least",
        conclusion=_restart,
    )

"""Amounts in words, to the digits they deserve, for findings."""

from __future__ import annotations

import math


def lasting(seconds: float) -> str:
    """A length of time: `26 s`, `14 min`, `6.5 h`, `3.2 days`."""
    if seconds < 120.0:
        return f"{seconds:.0f} s" if seconds >= 10.0 or seconds == round(seconds) else f"{seconds:.1f} s"
    if seconds < 7200.0:
        return f"{seconds / 60.0:.0f} min"
    number, unit = (seconds / 3600.0, "h") if seconds < 172_800.0 else (seconds / 86_400.0, "days")
    return f"{f'{number:.1f}'.removesuffix('.0')} {unit}"


BOILS_C = 100.0
"""Where water boils at the pressure of the open air [degC]; by up to a few degrees hotter in pipes."""
_STEPS = ((119.0, 1.0), (7140.0, 60.0), (172_440.0, 360.0))
"""Up to how long `lasting` tells which step [s]; a tenth of a day above."""


def at_least(seconds: float) -> str:
    """A length of time rounded up to the digits that it is told with, for what must not be less."""
    step_s = next((step for most, step in _STEPS if seconds <= most), 8640.0)
    return lasting(step_s * math.ceil(seconds / step_s - 1e-9))


def exactly(seconds: float) -> str:
    """A length of time as it is keyed in, without rounding: `150 s`, `3 min`, `25 h`."""
    for unit_s, unit in ((3600, "h"), (60, "min")):
        if seconds >= 2 * unit_s and seconds % unit_s == 0:
            return f"{seconds / unit_s:.0f} {unit}"
    return f"{seconds:g} s"


def hotter(worst_c: float, limit_c: float) -> str:
    """How hot water gets, and the limit: `55.3 of 50 degC`; a run does not reckon with steam."""
    boils = ", as if it did not boil" if worst_c >= BOILS_C else ""
    return f"{' of '.join(apart(worst_c, limit_c, 1))} degC{boils}"


def apart(value: float, limit: float, places: int) -> tuple[str, str]:
    """A value and its limit with *places* decimals, or with as many more as make the two differ."""
    while places < 9 and value != limit and f"{value:.{places}f}" == f"{limit:.{places}f}":
        places += 1
    return f"{value:.{places}f}", f"{limit:.{places}f}".rstrip("0").rstrip(".") if places else f"{limit:.0f}"


def times_apart(seconds: float, limit_s: float) -> tuple[str, str]:
    """Two lengths of time, in seconds where they would else read the same."""
    if lasting(seconds) != lasting(limit_s):
        return lasting(seconds), lasting(limit_s)
    value, limit = apart(seconds, limit_s, 0)
    return f"{value} s", f"{limit} s"


def _places(l_min: float) -> int:
    return 1 if l_min < 99.95 else 0


def flow(m3_s: float) -> str:
    """A flow with the digits of the duty table: `125 L/min`, `28.5 L/min`, `60 L/min`."""
    l_min = m3_s * 60_000.0
    return f"{f'{l_min:.{_places(l_min)}f}'.removesuffix('.0')} L/min"


def flow_at_least(m3_s: float) -> str:
    """A flow rounded up to whole litres per minute, for what must not be less."""
    return f"{math.ceil(m3_s * 60_000.0 - 1e-9)} L/min"


def flows_apart(m3_s: float, limit_m3_s: float) -> tuple[str, str]:
    """A flow and its limit, with as many digits as make the two differ."""
    value, limit = apart(m3_s * 60_000.0, limit_m3_s * 60_000.0, _places(m3_s * 60_000.0))
    return f"{value} L/min", f"{limit} L/min"


def listed(words: list[str]) -> str:
    """`a`, `a and b`, `a, b and c`; where one has a comma of its own, `a; b; and c, d`."""
    if len(words) == 1:
        return words[0]
    comma, last = ("; ", "; and ") if any(", " in word for word in words) else (", ", " and ")
    return f"{comma.join(words[:-1])}{last}{words[-1]}"

"""Amounts in words, to the digits they deserve, for findings."""

from __future__ import annotations


def lasting(seconds: float) -> str:
    """A length of time: `26 s`, `14 min`, `6.5 h`, `3.2 days`."""
    if seconds < 120.0:
        return f"{seconds:.0f} s" if seconds >= 10.0 or seconds == round(seconds) else f"{seconds:.1f} s"
    if seconds < 7200.0:
        return f"{seconds / 60.0:.0f} min"
    number, unit = (seconds / 3600.0, "h") if seconds < 172_800.0 else (seconds / 86_400.0, "days")
    return f"{f'{number:.1f}'.removesuffix('.0')} {unit}"


def flow(m3_s: float) -> str:
    """A flow: `125 L/min`."""
    return f"{m3_s * 60_000.0:.0f} L/min" if m3_s * 60_000.0 >= 9.95 else f"{m3_s * 60_000.0:.1f} L/min"


def listed(words: list[str]) -> str:
    """`a`, `a and b`, `a, b and c`."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"

"""Parts: currents, and what lasts for three hours on a breaker."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from cyclesim.analysis.supply import Load, load_a
from tests.evidence.plants import plant
from tests.evidence.record import ARITHMETIC, MEMORY, Check, near

NEC = "NEC 210.19, 210.20: what runs 3 h or more counts 125 %"


def _lasting_w(breaker_a: float, volts: float) -> float:
    """Watts that may run for hours on a breaker, by the share that cyclesim counts."""
    return breaker_a / Load("load", "on", 1.0, True).counted_a * volts


def checks() -> Iterator[Check]:
    """Currents and breakers."""
    yield near(
        "amps-3kw",
        "parts",
        "current of a 3 kW element",
        "230 V",
        "A",
        "13.04",
        lambda: load_a(plant("walled-garden"), "element"),
        0.001,
        "power over voltage",
        ARITHMETIC,
    )
    big = ("plant.heat_sources.element.output=5.5 kW", "supply.voltage=240 V")
    yield near(
        "amps-5.5kw",
        "parts",
        "current of a 5.5 kW element",
        "240 V",
        "A",
        "22.92",
        lambda: load_a(plant("walled-garden", *big), "element"),
        0.001,
        "power over voltage",
        ARITHMETIC,
    )
    yield near(
        "amps-5.5kw-lasting",
        "parts",
        "the same counted as lasting",
        "240 V, North America",
        "A",
        "28.65",
        lambda: Load("element", "on", load_a(plant("walled-garden", *big), "element"), True).counted_a,
        0.001,
        NEC,
        MEMORY,
    )
    for breaker, volts, says in (
        (15, 120, "1440"),
        (20, 240, "3840"),
        (30, 240, "5760"),
        (40, 240, "7680"),
        (50, 240, "9600"),
    ):
        yield near(
            f"lasting-{breaker}-{volts}",
            "parts",
            "most that may run for hours",
            f"{breaker} A at {volts} V",
            "W",
            says,
            partial(_lasting_w, breaker, volts),
            1e-9,
            NEC,
            MEMORY,
        )

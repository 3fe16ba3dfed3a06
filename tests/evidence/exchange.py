"""Parts: turnovers of a mixed tub, and water that passes through a pipe in order."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from math import exp, pi

from cyclesim.physics.water_age import Plug, reached
from cyclesim.scenario.forms.pipes import read_pipe
from tests.evidence.record import ARITHMETIC, MEMORY, READ, Check, near
from tests.evidence.small import filtered_plant, filtered_run


def _flow_m3_h() -> float:
    return 3600.0 * filtered_plant().duty(("on",)).filtered_m3_s


def _turned_over(minutes: int) -> float:
    """Turnovers in one daily run."""
    return _flow_m3_h() * minutes / 60.0 / 1.5


def _passed(minutes: int) -> float:
    """The share of the water that passed the filter in a run, out of how long ago it last did.

    Standing for t0 and running for t1 every day, the time since filtered swings between a + t0/(1 - e^-n)
    just before a run (a = V/Q, n = t1/a) and the same less t0: what a run took away, over what it found.
    """
    still_h, mixing_h = 24.0 - minutes / 60.0, 1.5 / _flow_m3_h()
    longest = filtered_run(minutes).metrics.tub.since_filtered_max_h
    assert longest is not None
    return still_h / (longest - mixing_h)


def _seconds_through(bore_m: float, length_m: float, flow_m3_h: float) -> float:
    plug = Plug("pipe", "tub", "end", pi / 4.0 * bore_m**2 * length_m)
    return reached([plug], [flow_m3_h / 3600.0])[0]


def checks() -> Iterator[Check]:
    """Turnovers and plug flow."""
    for minutes in (11, 22, 33, 60):
        yield near(
            f"mixed-tub-{minutes}",
            "parts",
            "share of the water that passed the filter",
            f"1.5 m3, one run of {minutes} min",
            "",
            lambda m=minutes: 1.0 - exp(-_turned_over(m)),
            partial(_passed, minutes),
            1e-4,
            "1 - e^-n after n turnovers of a mixed tub, exact",
            ARITHMETIC,
        )
    yield near(
        "mixed-tub-measured",
        "parts",
        "share passed in one turnover",
        "as above, reckoned at n = 1",
        "",
        "0.63",
        lambda: 1.0 - (1.0 - _passed(22)) ** (1.0 / _turned_over(22)),
        0.05,
        "J. Water & Health 16(3):449, 2018, tracer tests 63, 86, 95 %: abstract",
        READ,
        relative=False,
    )
    for minutes in (30, 120):
        yield near(
            f"turnovers-{minutes}",
            "parts",
            "turnovers in a day",
            f"1.5 m3, {minutes} min of filtering",
            "1/day",
            partial(_turned_over, minutes),
            lambda m=minutes: filtered_run(m).metrics.tub.turnovers_per_day,
            1e-9,
            "flow x time / volume",
            ARITHMETIC,
        )
    for name, volume, seconds in (("50 PN10", "1.605", "7.22"), ("2 in Sch 40", "2.165", "9.74")):
        bore = read_pipe(name).bore_m
        yield near(
            f"litres-{name.replace(' ', '-')}",
            "parts",
            "water in a metre of pipe",
            name,
            "L",
            volume,
            lambda bore=bore: 1000.0 * pi / 4.0 * bore**2,
            0.001,
            "bore by EN ISO 1452-2, ASTM D1785",
            MEMORY,
        )
        yield near(
            f"through-{name.replace(' ', '-')}",
            "parts",
            "seconds through 10 m",
            f"{name}, 8 m3/h",
            "s",
            seconds,
            partial(_seconds_through, bore, 10.0, 8.0),
            0.001,
            "volume over flow",
            ARITHMETIC,
        )
    yield near(
        "leg-in-a-plant",
        "parts",
        "seconds until tub water is at a leg's end",
        "the same plant, whole",
        "s",
        lambda: pi / 4.0 * 0.0452**2 * 10.0 / filtered_plant().duty(("on",)).flow_m3_s("pipe"),
        lambda: filtered_plant().duty(("on",)).reached_s["pipe"],
        1e-9,
        "volume over flow",
        ARITHMETIC,
    )

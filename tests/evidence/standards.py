"""Standards and guidance as yardsticks: standby loss, turnovers, motor starts and rests, run-on.

None binds a private tub; each says how the shipped plants compare.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from itertools import pairwise

import numpy as np

from cyclesim.analysis.result import Result
from tests.evidence.plants import SHIPPED, plant, run
from tests.evidence.record import ARITHMETIC, MEMORY, PRACTICE, SECOND_HAND, YARDSTICK, Check, near

GALLON_M3, WATT_PER_HP = 3.785411784e-3, 745.7
STANDBY = "portable-spa limit 3.75 V^(2/3) + 40 W, V in US gal, at 37 degF over the air (a US state's bill)"
NEMA = "NEMA MG 10 table 2-3, 2-pole, polyphase motors: stricter for small single-phase ones"
MOTORS = ((1.0, 15.0, 75.0), (1.5, 12.9, 76.0), (2.0, 11.5, 77.0), (3.0, 9.9, 80.0), (5.0, 8.1, 83.0))
"""Horsepower, most starts an hour, least seconds off."""


def limit_w(volume_m3: float) -> float:
    """The portable-spa limit."""
    return float(3.75 * (volume_m3 / GALLON_M3) ** (2.0 / 3.0) + 40.0)


def _standby_w(name: str) -> float:
    """What tub and cover lose 20.56 K above what is around them: the plant's conductances in series."""
    node = plant(name).tub_node
    shell = node.g_w_k * node.ua_shell_w_k / (node.g_w_k + node.ua_shell_w_k)
    return (node.ua_cover_w_k + shell) * 37.0 / 1.8


def _pipes_w(name: str) -> float:
    """The same with every pipe and housing as warm as the tub, which the limit's test would count too."""
    return _standby_w(name) + sum(body.ua_w_k for body in plant(name).bodies) * 37.0 / 1.8


def _motor(pump_w: float) -> tuple[float, float, float]:
    """The row of the table for a motor that draws so much: the next larger one."""
    return next((row for row in MOTORS if row[0] * WATT_PER_HP >= pump_w), MOTORS[-1])


def _shortest_rest_s(result: Result, pump: str) -> float:
    """The least time between a stop and the next start in the year, read from the trace."""
    spans = result.trace.pumps[pump].spans("on", "low", "high", "changing")
    return float(min((b[0] - a[1] for a, b in pairwise(spans)), default=result.trace.span_s))


def _run_on_s(result: Result) -> float:
    """The least flow in the minute after an electric element went off; a change of speed may interrupt it."""
    found = []
    for name, sheet in result.scenario.plant.heat_sources.items():
        moves = [label for label in result.trace.duties.labels if label and _through(result, label, name)]
        flowing = np.array(result.trace.duties.spans(*moves), dtype=float)
        for _, off in result.trace.sources[name].spans("firing"):
            if sheet.kind == "electric" and off < result.trace.span_s:
                inside = np.minimum(flowing[:, 1], off + 60.0) - np.maximum(flowing[:, 0], off)
                found.append(float(np.sum(np.maximum(inside, 0.0))))
    return min(found)


def _through(result: Result, duty: str, source: str) -> bool:
    """Whether a duty of this name moves water through a source."""
    return any(abs(d.flow_m3_s(source)) > 1e-9 for d in result.plant.duties() if d.name == duty)


def checks() -> Iterator[Check]:
    """Yardsticks for the shipped plants."""
    for litres, says in (
        (800, "173.05"),
        (1000, "194.39"),
        (1500, "242.31"),
        (2000, "285.08"),
        (4000, "429.04"),
    ):
        yield near(
            f"standby-formula-{litres}",
            "standards",
            "the limit itself",
            f"{litres} L",
            "W",
            says,
            partial(limit_w, litres / 1000.0),
            0.01,
            STANDBY,
            SECOND_HAND,
            relative=False,
        )
    for name in SHIPPED:
        inputs = f"{name}, {1000 * plant(name).volume_m3:.0f} L"
        for what, ours in (("tub and cover", _standby_w), ("with all pipes warm", _pipes_w)):
            yield near(
                f"standby-{name}-{what.split()[0]}",
                "standards",
                f"standby loss, {what}",
                inputs,
                "W",
                lambda n=name: limit_w(plant(n).volume_m3),
                partial(ours, name),
                0.0,
                STANDBY,
                f"{YARDSTICK}, {SECOND_HAND}",
                how="at most",
            )
    for name in SHIPPED:
        filtered = "1 turnover at the filter's flow"
        for guidance, hours, status in (
            ("US state codes, spa 30 min (public-pool guidance)", "0.5", SECOND_HAND),
            ("HSG282, domestic-type spa in business use 15 min (public-pool guidance)", "0.25", MEMORY),
        ):
            yield near(
                f"turnover-{name}-{hours}",
                "standards",
                f"hours for {filtered}",
                f"{name}, when filtering",
                "h",
                hours,
                lambda n=name: 24.0 / (run(n).metrics.tub.turnovers_per_day * _filter_share(n)),
                0.0,
                guidance,
                f"{YARDSTICK}, {status}",
                how="at most",
            )
        yield near(
            f"turnovers-a-day-{name}",
            "standards",
            "turnovers on the poorest day",
            name,
            "1/day",
            "2",
            lambda n=name: run(n).metrics.tub.fewest_turnovers_in_a_day or 0.0,
            0.0,
            "domestic filtration, one or two a day at least",
            PRACTICE,
            how="at least",
        )
    for name in SHIPPED:
        for pump, speeds in plant(name).speeds.items():
            watts = max(speed.power_w for speed in speeds.values())
            horse, starts, rest = _motor(watts)
            inputs = f"{name}, {pump}, {watts:.0f} W: row of {horse:g} hp"
            yield near(
                f"starts-{name}-{pump}",
                "standards",
                "most starts in an hour",
                inputs,
                "1/h",
                str(starts),
                lambda n=name, p=pump: run(n).metrics.pumps[p].most_starts_in_an_hour,
                0.0,
                NEMA,
                f"{YARDSTICK}, {SECOND_HAND}",
                how="at most",
            )
            yield near(
                f"rest-{name}-{pump}",
                "standards",
                "shortest rest in a year",
                inputs,
                "s",
                str(rest),
                lambda n=name, p=pump: _shortest_rest_s(run(n), p),
                0.0,
                NEMA,
                f"{YARDSTICK}, {SECOND_HAND}",
                how="at least",
            )
        if any(sheet.kind == "electric" for sheet in plant(name).sheet.heat_sources.values()):
            yield near(
                f"run-on-{name}",
                "standards",
                "least flow in the minute after an element",
                name,
                "s",
                "30",
                lambda n=name: _run_on_s(run(n)),
                0.0,
                "30 s to 5 min",
                PRACTICE,
                how="at least",
            )
    for name in SHIPPED:
        for circuit in plant(name).scenario.circuits.values():
            yield near(
                f"most-current-{name}",
                "standards",
                "most current in a year",
                f"{name}, its breaker",
                "A",
                str(circuit.breaker_a),
                lambda n=name: run(n).metrics.energy.most_current_a,
                0.0,
                "what is switched together stays within the breaker",
                ARITHMETIC,
                how="at most",
            )
    yield near(
        "default-rest",
        "standards",
        "default of pump_rest",
        "limits left out",
        "s",
        "75",
        lambda: plant("walled-garden").scenario.limits.pump_rest_s,
        0.0,
        f"{NEMA}; 1 hp",
        SECOND_HAND,
    )
    yield near(
        "default-starts",
        "standards",
        "default of starts_per_hour",
        "limits left out",
        "1/h",
        "8.1",
        lambda: plant("walled-garden").scenario.limits.starts_per_hour,
        0.0,
        f"{NEMA}; 5 hp",
        SECOND_HAND,
        how="at most",
    )


def _filter_share(name: str) -> float:
    """24 h over the hours in which the filter has flow."""
    result = run(name)
    duties = {d.name: d.filtered_m3_s for d in result.plant.duties()}
    seconds = sum(x.end_s - x.start_s for x in result.trace.duties if duties.get(x.state, 0.0) > 0.0)
    return result.trace.span_s / seconds

"""The duties of a plant as tables for the terminal."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from cyclesim.analysis.amounts import listed
from cyclesim.said.cautions import DUTY_CAUTIONS, say_cautions
from cyclesim.said.defaults_table import say_defaults
from cyclesim.said.page import Column, Page
from cyclesim.said.words import UNKNOWN, count, number
from cyclesim.scenario.blocks.model import Scenario

Values = dict[str, Any]


def duty_page(scenario: Scenario, duties: list[Values]) -> Page:
    """What every duty gives each pump, leg, jet and device; *duties* as made by `said.duties`."""
    page = Page()
    page.line(scenario.title, tone="strong")
    each = f"{count(len(duties), 'duty', 'duties')}: every combination of pump speeds and valve positions"
    page.line(f"{each} that can occur, with water at {number(duties[0]['water_c'])} °C.")
    for duty, like in _alike(duties):
        _duty(page, duty, like)
    capped = [name for name, leg in duties[0]["legs"].items() if leg["dead_end"]]
    if capped:
        page.line()
        page.line(f"No duty moves water in {listed(capped)}: capped.")
    assumed = [d for d in scenario.defaults if d.path.startswith("plant.")]
    say_defaults(page, assumed)
    say_cautions(page, DUTY_CAUTIONS)
    return page


def _alike(duties: list[Values]) -> list[tuple[Values, list[str]]]:
    """Each duty once, with the names of those that give everything the same: a valve in a still loop."""
    found: dict[str, tuple[Values, list[str]]] = {}
    for duty in duties:
        gives = {key: value for key, value in duty.items() if key not in ("name", "positions")}
        first = found.setdefault(repr(gives), (duty, []))
        if first[0] is not duty:
            first[1].append(duty["name"])
    return list(found.values())


def _duty(page: Page, duty: Values, like: list[str]) -> None:
    page.heading(f"== {duty['name']} ==")
    if like:
        page.line(f"The same: {'; '.join(like)}.", hang=2)
    for problem in duty["problems"]:
        page.line(f"Problem: {problem}.", tone="danger", hang=9)
    for warning in _shortfalls(duty):
        page.line(f"Problem: {warning}.", tone="danger", hang=9)
    page.line()
    page.table(
        [
            Column("pump", words=True),
            Column("speed", words=True),
            Column("flow\nL/min"),
            Column("head\nm"),
            Column("power\nW"),
        ],
        (
            (name, p["speed"], number(p["flow_l_min"]), number(p["head_m"]), number(p["power_w"], 0))
            for name, p in duty["pumps"].items()
        ),
    )
    page.line()
    page.table(
        [
            Column("leg", words=True),
            Column("volume\nL"),
            Column("flow\nL/min"),
            Column("velocity\nm/s"),
            Column("Reynolds\nnumber"),
            Column("tub water is\nat its end\nafter s"),
        ],
        (
            row
            for name, leg in duty["legs"].items()
            if not leg["dead_end"]
            for row in _leg(name, leg, duty["jets"])
        ),
    )
    if duty["jets"]:
        page.line()
        page.table(
            [
                Column("jets of", words=True),
                Column("jets"),
                Column("each needs\nL/min"),
                Column("first gets\nL/min"),
                Column("last gets\nL/min"),
                Column("", words=True),
            ],
            (
                (
                    name,
                    str(jets["jets"]),
                    number(jets["needs_l_min"]),
                    number(jets["first_l_min"]),
                    number(jets["last_l_min"]),
                    _jets_get(jets),
                )
                for name, jets in duty["jets"].items()
            ),
        )
    if duty["equipment"] or duty["heat_sources"]:
        page.line()
        page.table(
            [
                Column("device", words=True),
                Column("flow\nL/min"),
                Column("limit\nL/min"),
                Column("", words=True),
            ],
            _devices(duty),
        )


def _leg(name: str, leg: Values, jets: Values) -> Iterator[tuple[str, ...]]:
    moves = bool(leg["flow_l_min"])
    yield (
        name,
        number(leg["volume_l"]),
        number(leg["flow_l_min"]) if moves else "still",
        number(leg["velocity_m_s"], 2) if moves else UNKNOWN,
        f"{float(format(leg['reynolds'], '.3g')):.0f}" if moves else UNKNOWN,
        _after(leg["tub_water_at_end_after_s"], moves),
    )
    if name in jets:
        yield "  its last jet", "", "", "", "", _after(jets[name]["tub_water_at_last_jet_after_s"], moves)


def _jets_get(jets: Values) -> str:
    if not jets["first_l_min"]:
        return "nothing"
    return {None: "need not known", True: "enough", False: "weaker than needed"}[jets["enough"]]


def _after(seconds: float | None, moves: bool) -> str:
    if seconds is None:
        return "never" if moves else UNKNOWN
    return number(seconds, 0)


def _devices(duty: Values) -> Iterator[tuple[str, ...]]:
    for name, device in duty["equipment"].items():
        most = device["at_most_l_min"]
        said = {None: "no limit given", True: "within", False: "too much"}[device["within_limit"]]
        yield name, number(device["flow_l_min"]), UNKNOWN if most is None else f"at most {number(most)}", said
    for name, source in duty["heat_sources"].items():
        said = "enough" if source["enough"] else "too little to heat"
        yield name, number(source["flow_l_min"]), f"at least {number(source['needs_l_min'])}", said


def _shortfalls(duty: Values) -> Iterator[str]:
    for name, device in duty["equipment"].items():
        if device["within_limit"] is False:
            flow, most = number(device["flow_l_min"]), number(device["at_most_l_min"])
            yield f"{name} gets {flow} L/min, more than the {most} L/min it may have"

"""The duties of a plant as tables for the terminal."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from cyclesim.analysis.amounts import listed
from cyclesim.said.cautions import DUTY_CAUTIONS, say_cautions
from cyclesim.said.defaults_table import say_defaults
from cyclesim.said.page import Amount, Column, Page, Row, whole, words
from cyclesim.said.run_tables import LAST_JET
from cyclesim.said.words import count, number
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.defaults import filled_in

Values = dict[str, Any]


def duty_page(
    scenario: Scenario, duties: list[Values], asked: Mapping[str, Sequence[str]] | None = None
) -> Page:
    """What duties give each pump, leg, jet and device; *duties* as made by `said.duties`.

    *asked*: the demands that ask for a duty, by its name, where only what the programme asks for is told.
    """
    page = Page()
    page.line(scenario.title, tone="strong", as_written=True)
    told = [duty for duty in duties if asked is None or duty["name"] in asked]
    if asked is None:
        each = f"{count(len(duties), 'duty', 'duties')}: every combination of pump speeds and valve positions"
        page.line(f"{each} that can occur, with water at {number(duties[0]['water_c'])} °C.")
    else:
        each = f"{len(told)} of {count(len(duties), 'duty', 'duties')} that can occur"
        page.line(
            f"What the programme asks for, {each}, with valves as usual{_or_in_sun(scenario)} and water at "
            f"{number(duties[0]['water_c'])} °C; --all tells every combination of speeds and positions."
        )
    for duty, like in _alike(told):
        _duty(page, duty, like, () if asked is None else asked[duty["name"]])
    capped = [name for name, leg in duties[0]["legs"].items() if leg["dead_end"]]
    if capped:
        page.line()
        page.line(f"No duty moves water in {listed(capped)}: capped.")
    say_defaults(page, filled_in(scenario), only="plant", everything=asked is None)
    say_cautions(page, DUTY_CAUTIONS)
    return page


def _or_in_sun(scenario: Scenario) -> str:
    steered = (getattr(source, "steered", None) for source in scenario.plant.heat_sources.values())
    return ", or as the sun turns them," if any(one and one.valve for one in steered) else ""


def _alike(duties: list[Values]) -> list[tuple[Values, list[str]]]:
    """Each duty once, with the names of those that give everything the same: a valve in a still loop."""
    alike: dict[str, tuple[Values, list[str]]] = {}
    for duty in duties:
        gives = {key: value for key, value in duty.items() if key not in ("name", "positions")}
        first = alike.setdefault(repr(gives), (duty, []))
        if first[0] is not duty:
            first[1].append(duty["name"])
    return list(alike.values())


def _duty(page: Page, duty: Values, like: list[str], asked: Sequence[str]) -> None:
    page.heading(f"== {duty['name']} ==")
    if asked:
        page.line(f"Asked for by: {listed(list(asked))}.", hang=2)
    if like:
        page.line(f"The same: {'; '.join(like)}.", hang=2)
    for problem in duty["problems"]:
        page.line(f"Problem: {problem}.", tone="danger", hang=9)
    for warning in _shortfalls(duty):
        page.line(f"Problem: {warning}.", tone="danger", hang=9)
    page.line()
    page.table(_PUMPS, (_row(_PUMPS, name, pump) for name, pump in duty["pumps"].items()))
    page.line()
    legs = ((name, leg) for name, leg in duty["legs"].items() if not leg["dead_end"])
    page.table(_LEGS, (row for name, leg in legs for row in _leg(name, leg, duty["jets"])))
    if duty["jets"]:
        page.line()
        page.table(_JETS, (Row((*_row(_JETS, n, j).cells, _jets_get(j)), n) for n, j in duty["jets"].items()))
    if duty["equipment"] or duty["heat_sources"]:
        page.line()
        page.table(_DEVICES, _devices(duty))


_PUMPS = (
    words("pump"),
    words("speed", "speed"),
    Column("flow\n{unit}", "flow_l_min", "L/min"),
    Column("head\n{unit}", "head_m", "m"),
    Column("power\n{unit}", "power_w", "W of pump", digits=0),
)
_LEGS = (
    words("leg"),
    Column("volume\n{unit}", "volume_l", "L"),
    Column("flow\n{unit}", "flow_l_min", "L/min"),
    Column("velocity\n{unit}", "velocity_m_s", "m/s", digits=2),
    Column("Reynolds\nnumber", "reynolds", kind="figures", digits=3),
    Column("tub water is\nat its end\nafter {unit}", "tub_water_at_end_after_s", "s", digits=0),
)
_JETS = (
    words("jets of"),
    whole("jets", "jets"),
    Column("each needs\n{unit}", "needs_l_min", "L/min"),
    Column("first gets\n{unit}", "first_l_min", "L/min"),
    Column("last gets\n{unit}", "last_l_min", "L/min"),
    words(""),
)
_DEVICES = (
    words("device"),
    Column("flow\n{unit}", "flow_l_min", "L/min"),
    Column("limit\n{unit}", unit="L/min"),
    words(""),
)


def _row(columns: Sequence[Column], name: str, values: Values) -> Row:
    return Row((name, *(values[column.key] for column in columns[1:] if column.key)), name)


def _leg(name: str, leg: Values, jets: Values) -> Iterator[Row]:
    moves = bool(leg["flow_l_min"])
    after = leg["tub_water_at_end_after_s"]
    if moves:
        flows = leg["flow_l_min"], leg["velocity_m_s"], leg["reynolds"], "never" if after is None else after
    else:
        flows = "still", None, None, after
    yield Row((name, leg["volume_l"], *flows), name)
    if name in jets:
        last = jets[name]["tub_water_at_last_jet_after_s"]
        yield Row((LAST_JET, "", "", "", "", "never" if last is None and moves else last), name, 1)


def _jets_get(jets: Values) -> str:
    if not jets["first_l_min"]:
        return "nothing"
    return {None: "need not known", True: "enough", False: "weaker than needed"}[jets["enough"]]


def _devices(duty: Values) -> Iterator[Row]:
    for name, device in duty["equipment"].items():
        most = device["at_most_l_min"]
        limit = None if most is None else Amount(most, before="at most")
        judged = {None: "no limit given", True: "within", False: "too much"}[device["within_limit"]]
        yield Row((name, device["flow_l_min"], limit, judged), name)
    for name, source in duty["heat_sources"].items():
        too_little = "too little to heat" if source["flow_l_min"] else "no water moves through it"
        judged = "enough" if source["enough"] else too_little
        yield Row(
            (name, source["flow_l_min"], Amount(source["needs_l_min"], before="at least"), judged), name
        )


def _shortfalls(duty: Values) -> Iterator[str]:
    for name, device in duty["equipment"].items():
        if device["within_limit"] is False:
            flow, most = number(device["flow_l_min"]), number(device["at_most_l_min"])
            yield f"{name} gets {flow} L/min, more than the {most} L/min it may have"

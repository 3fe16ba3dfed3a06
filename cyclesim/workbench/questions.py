"""A new plant from a dozen questions, each with a usual answer and why it is asked.

The answers are put into a starter's text, so that the new file has its comments; what is left empty stays as
the starter has it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from cyclesim.errors import CycleSimError, Fault, InputError, shorten
from cyclesim.scenario.reading.edit import Edit, edited
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.starter import LIKE, starter_text
from cyclesim.scenario.text.tree import Tree, dotted
from cyclesim.scenario.text.yaml_file import parse_text

KINDS = {
    "": "one pump of two speeds, an electric element",
    "two-pumps": "a circulator and a pump for the jets, an electric element",
    "heat-pump": "a heat pump, with an element that helps",
    "boiler": "a gas boiler",
    "solar": "solar collectors, with an element that helps",
    "us": "one pump of two speeds, in US units and for North America",
}


@dataclass(frozen=True, slots=True)
class Asked:
    """One question. *places*: where its answer goes, `*` for each name that a starter has there."""

    id: str
    asks: str
    why: str
    usual: str
    places: tuple[str, ...] = ()
    choices: tuple[tuple[str, str], ...] = ()


QUESTIONS = (
    Asked("title", "What is it called?", "Reports and papers are headed with it.", "", ("title",)),
    Asked(
        "like",
        "Which machines does it have?",
        "The file begins with these; each can be changed afterwards.",
        "",
        choices=tuple(KINDS.items()),
    ),
    Asked(
        "long",
        "How long is the tub inside, or how wide across if it is round?",
        "Its water decides what filtering and heating take.",
        "1.7 m",
    ),
    Asked("wide", "How wide is it? Leave this empty if it is round.", "As above.", ""),
    Asked("deep", "How deep is the water?", "As above.", "720 mm"),
    Asked(
        "jets",
        "How many jets are on each bench?",
        "They decide what the pump must give, and how many lines there are to keep fresh.",
        "5",
        ("plant.legs.*.manifold.jets",),
    ),
    Asked(
        "far",
        "How long is a pipe from the tub to the pump room?",
        "Long pipes cost pressure, lose heat and hold water that gets old.",
        "8 m",
        ("plant.legs.*.length",),
    ),
    Asked(
        "head",
        "How high can the jets' pump lift, by its plate? Or leave the next three as they are.",
        "With the largest flow it gives a usable curve; points off its diagram are better.",
        "",
    ),
    Asked("flow", "What is that pump's largest flow, by its plate?", "As above.", ""),
    Asked(
        "points",
        "Or points off its diagram: flow and head, from three on.",
        "The truest of the three: the jets are told from it.",
        "",
    ),
    Asked(
        "heater",
        "What does the heater give?",
        "It decides how long warming up takes.",
        "3 kW",
        ("plant.heat_sources.element.output", "plant.heat_sources.boiler.output"),
    ),
    Asked(
        "breaker",
        "What is printed on the breaker?",
        "Pump and heater together must not draw more.",
        "20 A",
        ("supply.breaker",),
    ),
    Asked(
        "price",
        "What does a kilowatt-hour cost, mostly?",
        "Money is told in it.",
        "0.24 EUR/kWh",
        ("supply.tariff.otherwise",),
    ),
    Asked(
        "zone",
        "In which time zone does it stand?",
        "The schedule goes by the clock on the wall.",
        "Europe/Lisbon",
        ("place.time_zone",),
    ),
    Asked(
        "mean",
        "How warm is the place, over the whole year?",
        "Off any climate table; heat is lost to it.",
        "15 degC",
        ("place.weather.mean",),
    ),
    Asked(
        "swing",
        "How far below that are the coldest weeks?",
        "Frost and the heater's size follow from it.",
        "7 K",
        ("place.weather.seasonal_swing",),
    ),
    Asked(
        "warm",
        "How warm shall the water be?",
        "It is kept so; at most 40 degC.",
        "36 degC",
        ("schedule.heating.keep_at",),
    ),
    Asked(
        "quiet_from",
        "From when must it be quiet?",
        "Loud pumps stay off while neighbours sleep.",
        "22:00",
        ("schedule.quiet_hours.from",),
    ),
    Asked("quiet_to", "Until when?", "As above.", "07:00", ("schedule.quiet_hours.to",)),
)


def asked() -> list[dict[str, Any]]:
    """The questions as a form shows them."""
    return [{key: value for key, value in asdict(one).items() if key != "places"} for one in QUESTIONS]


def answered(answers: Mapping[str, Any]) -> str:
    """The file that the answers make. InputError tells each fault at its question, by its id as the path."""
    given = _given(answers)
    like = given.pop("like", "")
    if like not in ("", *LIKE):
        raise CycleSimError(f"Found '{shorten(like)}' for like; expected one of {', '.join(LIKE)}.")
    text = starter_text(like or None)
    made = list(_edits(given, parse_text(text, "starter")))
    text = edited(text, [edit for _, edit in made])
    try:
        load_text(text)
    except InputError as error:
        raise InputError(*(_at_question(fault, made) for fault in error.faults)) from None
    return text


def _given(answers: Mapping[str, Any]) -> dict[str, str]:
    known = {one.id for one in QUESTIONS}
    for key, value in answers.items():
        if key not in known or not isinstance(value, str) or len(value) > 400:
            raise CycleSimError(f"Found something else for '{shorten(key)}'; expected a text for a question.")
    return {key: value.strip() for key, value in answers.items() if value.strip()}


def _edits(given: Mapping[str, str], starter: Tree) -> Iterator[tuple[str, Edit]]:
    """What the answers change, each with the question that it is of."""
    for one in QUESTIONS:
        if one.id in given:
            for place in one.places:
                for path, _ in starter.match(place):
                    yield one.id, Edit(path, given[one.id])
    if given.keys() & {"long", "wide", "deep"}:
        usual = {one.id: one.usual for one in QUESTIONS}
        long, deep = (given.get(key, usual[key]) for key in ("long", "deep"))
        yield "long", Edit(("plant", "tub", "dimensions", "diameter"), None)
        if "wide" in given:
            yield "wide", Edit(("plant", "tub", "dimensions", "length"), long)
            yield "wide", Edit(("plant", "tub", "dimensions", "width"), given["wide"])
        else:
            yield "long", Edit(("plant", "tub", "dimensions", "diameter"), long)
        yield "deep", Edit(("plant", "tub", "dimensions", "depth"), deep)
    yield from _pump(given, starter)


def _pump(given: Mapping[str, str], starter: Tree) -> Iterator[tuple[str, Edit]]:
    """The curve of the pump that drives the jets: by points, or by its plate."""
    pumps = starter.get(("plant", "pumps"))
    name = "jets" if "jets" in pumps else "main"
    speed = ("high",) if "high" in pumps[name] else ()
    at = ("plant", "pumps", name, *speed)
    if "points" in given:
        yield "points", Edit((*at, "curve"), given["points"])
    elif given.keys() & {"head", "flow"}:
        if not given.keys() >= {"head", "flow"}:
            missing = "flow" if "head" in given else "head"
            due = "expected both, the highest head and the largest flow"
            raise InputError(Fault("", 0, 0, missing, "nothing", due))
        yield "head", Edit((*at, "max_head"), given["head"])
        yield "flow", Edit((*at, "max_flow"), given["flow"])
        yield "head", Edit((*at, "curve"), None)
    else:
        return
    if speed:  # the other speed's curve was of another pump
        low = ("plant", "pumps", name, "low")
        yield "head", Edit((*low, "speed"), "50 %")
        yield "head", Edit((*low, "curve"), None)


def _at_question(fault: Fault, made: list[tuple[str, Edit]]) -> Fault:
    """A fault at the question whose answer stands there; what no answer is to blame for keeps its path."""
    own = (
        question
        for question, edit in reversed(made)
        if edit.text is not None and f"{fault.path}.".startswith(f"{dotted(edit.path)}.")
    )
    path = next(own, fault.path)
    return Fault("", 0, 0, path, fault.found, fault.allowed, fault.hint)

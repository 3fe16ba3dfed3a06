"""What the schedule and the interlocks ask of the plant: that it is there, and that it can do that."""

from collections.abc import Iterator
from contextlib import suppress
from math import prod
from typing import Any

from cyclesim.errors import Fault, shorten
from cyclesim.scenario.blocks.heat_sources import KINDS, UNSWITCHED
from cyclesim.scenario.blocks.place import read_price
from cyclesim.scenario.blocks.prices_and_lives import by_the_hour, read_sum
from cyclesim.scenario.blocks.room_loads import ROOM_FAN, ROOM_HEATER, SUMP_PUMP
from cyclesim.scenario.blocks.schedule import DEMANDS
from cyclesim.scenario.forms.forms import RefusedError, Steps, did_you_mean, one_of
from cyclesim.scenario.text.csv_file import Series
from cyclesim.scenario.text.tree import KEY, Tree
from cyclesim.units import QuantityError, parse

_STARTED = tuple(
    f"plant.{kind}.*.also_started_by.*"
    for kind in ("pumps", "heat_sources", "air", "circulators", "treatment")
)
_WATCHED = (
    "schedule.frost_protection.watches",
    *(f"{path}.thermostat.watches" for path in _STARTED),
)
_VOLUMES = "plant.equipment.*.volume", "plant.heat_sources.*.volume"
_SWITCHES = (
    "schedule.heating.with",
    "schedule.heating.with.*",
    "interlocks.*.after",
    "interlocks.*.block",
)
_PRICES = (
    "supply.tariff",
    "supply.tariff.otherwise",
    "supply.tariff.file",
    "plant.heat_sources.*.fuel",
    "schedule.heating.when_dear.above",
    "money.purchases.*.price",
    "money.changes.*",
    "candidates.pumps.*.price",
    "candidates.blowers.*.price",
)
MOST_DUTIES = 300
"""Five pumps with two speeds make 243."""


def check_uses(tree: Tree, names: dict[str, list[str] | None]) -> Iterator[Fault]:
    """Every such fault; `names` are the elements by kind, None for a kind that cannot be read."""
    yield from _watched(tree, names)
    yield from _switched(tree, names["heat_sources"] or [])
    yield from _needed(tree)
    yield from _one_currency(tree)
    yield from _fed(tree)
    yield from _cut_off(tree)
    yield from _cleaned(tree)
    yield from _worn(tree)
    yield from _combined(tree)


def _combined(tree: Tree) -> Iterator[Fault]:
    """Every pump doubles the duties that a check solves, or trebles them; so does a valve that is turned."""
    pumps, valves, diverters = (
        [block for _, block in tree.match(f"plant.{kind}.*") if isinstance(block, dict)]
        for kind in ("pumps", "valves", "diverters")
    )
    choices = [3 if block.keys() & {"low", "high"} else 2 for block in pumps]
    for block in valves:
        may_be = block.get("may_be", [])
        choices.append(1 + len(may_be) if isinstance(may_be, list) else 2)
    choices += [len(opens) for block in diverters if isinstance(opens := block.get("opens"), dict) and opens]
    if prod(choices) > MOST_DUTIES:
        found = f"{prod(choices):,} combinations of pump speeds and valve positions"
        hint = "leave out what is not there yet, or what nobody turns"
        path = ("plant",)
        yield tree.fault(
            path, found, f"at most {MOST_DUTIES} are worked out", hint, at=tree.mark((*path, KEY))
        )


def _worn(tree: Tree) -> Iterator[Fault]:
    """Only a machine of the plant is used up by its hours; years go by for anything."""
    blocks = {
        kind: tree.get(("plant", kind), default={})
        for kind in ("pumps", "heat_sources", "air", "circulators", "treatment")
    }
    machines = [name for block in blocks.values() if isinstance(block, dict) for name in block]
    for path, lasts in (
        pair for key in ("lasts", "every") for pair in tree.match(f"money.purchases.*.{key}")
    ):
        name = str(path[2])
        if name not in machines and by_the_hour(lasts):
            due = f"{one_of(machines)} runs by the hour; anything else is bought again every so many years"
            found = f"the hours of '{shorten(name)}', no machine of the plant"
            yield tree.fault(path, found, due, did_you_mean(name, machines), at=tree.mark((*path, KEY)))


def _cleaned(tree: Tree) -> Iterator[Fault]:
    """Only a filter that is there can be cleaned."""
    path, equipment = ("water_care", "clean_filter_every"), tree.get(("plant", "equipment"), default={})
    if tree.get(path, default=None) is None or not isinstance(equipment, dict):
        return
    if not any(isinstance(sheet, dict) and sheet.get("kind") == "filter" for sheet in equipment.values()):
        found = f"'{shorten(str(tree.get(path)))}' without a filter"
        yield tree.fault(path, found, "expected equipment of kind: filter")


def _watched(tree: Tree, names: dict[str, list[str] | None]) -> Iterator[Fault]:
    """A zone, or something with water in it."""
    zones = tree.get(("place", "zones"), default={})
    parts = [names[kind] for kind in ("legs", "equipment", "heat_sources")]
    if not isinstance(zones, dict) or None in parts:
        return
    air, dry = [*zones, "outdoors"], {path[2] for path, text in tree.texts(_VOLUMES) if _is_none(text)}
    water = ["water", *(name for known in parts for name in known or () if name not in dry)]
    for path, text in tree.texts(_WATCHED):
        if text in air and text in water:
            found = f"'{text}', a zone and something with water in it"
            yield tree.fault(path, found, "one of the two needs another name")
        elif text not in air and text not in water:
            allowed = f"expected a zone ({', '.join(air)}) or what has water in it ({', '.join(water)})"
            hint = did_you_mean(text, [*air, *water])
            what = "a part that holds no water" if text in dry else "nothing that can be watched"
            yield tree.fault(path, f"'{shorten(text)}', {what}", allowed, hint)


def _is_none(volume: str) -> bool:
    with suppress(QuantityError):  # said already where the value was read
        return parse(volume, "volume") == 0.0
    return False


def _switched(tree: Tree, sources: list[str]) -> Iterator[Fault]:
    """No controller starts or stops a fire or the sun."""
    kinds = {name: tree.get(("plant", "heat_sources", name, "kind"), default=None) for name in sources}
    free = [name for name, kind in kinds.items() if kind in UNSWITCHED]
    for path, text in tree.texts(_SWITCHES):
        if text in free:
            switched = [name for name in sources if name not in free]
            due = (
                f"expected {one_of(switched)}" if switched else "the file has no heat source that is switched"
            )
            yield tree.fault(path, f"'{text}', which nobody can switch off", due)


def _needed(tree: Tree) -> Iterator[Fault]:
    """Runs after bathing need bathing; air needs a blower."""
    bathing = tree.get(("schedule", "bathing"), default=None)
    for path, text in tree.texts(f"schedule.{key}.*.after" for key in DEMANDS.values()):
        if text == "bathing" and not bathing:
            yield tree.fault(path, "'bathing', which the schedule has none of", "expected schedule.bathing")
    if tree.get(("plant", "air"), default=None):
        return
    due = "expected plant.air, with the blower"
    for path, value in tree.match("schedule.bathing.*.air"):
        if value is True:
            yield tree.fault(path, "air without a blower", due)
    if tree.get(("schedule", "air_line_flushes"), default=None):
        path = ("schedule", "air_line_flushes")
        yield tree.fault(path, "air line flushes without a blower", due, at=tree.mark((*path, KEY)))


def _currency(value: Any) -> str:
    """The currency of a price as written, or of a file of prices; empty where there is none."""
    if isinstance(value, Series):
        return value.currency
    for reader in (read_price, read_sum):
        with suppress(RefusedError):  # said already where the value was read
            return reader(value).currency if isinstance(value, str) else ""
    return ""


def _one_currency(tree: Tree) -> Iterator[Fault]:
    first: tuple[str, Steps] | None = None
    for pattern in _PRICES:
        for path, value in tree.match(pattern):
            currency = _currency(value)
            if first is None and currency:
                first = currency, path
            elif first is not None and currency not in ("", first[0]):
                where = tree.mark(first[1]).line
                allowed = f"one currency in a file; the price on line {where} is in {first[0]}"
                yield tree.fault(path, f"'{shorten(str(value))}', another currency", allowed)


def _fed(tree: Tree) -> Iterator[Fault]:
    """Everything electric hangs on exactly one circuit, and a cable goes to something electric."""
    loads = ("supply", "also_on_it")
    plant = [("plant", kind) for kind in ("pumps", "heat_sources", "air", "circulators", "treatment")]
    blocks = {path: tree.get(path, default={}) for path in (loads, *plant)}
    if not all(isinstance(block, dict) for block in blocks.values()):
        return
    several = isinstance(tree.get(("supply", "circuits"), default=None), dict)
    electric: dict[str, Steps] = {}
    for above, block in blocks.items():
        for name, about in block.items():
            kind = about.get("kind") if isinstance(about, dict) else None
            if kind in UNSWITCHED:
                continue
            if several and electric.get(name, ())[:2] == loads:
                again = (*above, name)
                found, due = f"the name '{shorten(name)}' again", "a circuit feeds each name once"
                yield tree.fault(again, found, due, at=tree.mark((*again, KEY)))
            electric.setdefault(name, (*above, name))
    for name, key in ((ROOM_HEATER, "heater"), (ROOM_FAN, "fan"), (SUMP_PUMP, "sump_pump")):
        own: Steps = ("plant", "pump_room", key)
        if tree.get(own, default=None) is None:
            continue
        if name in electric:
            first = electric[name]
            due = f"{'.'.join(map(str, own))} is on the supply under this name"
            hint = f"take it out of {'.'.join(map(str, first[:-1]))}, or give that another name"
            yield tree.fault(first, f"the name '{name}' again", due, hint, at=tree.mark((*first, KEY)))
        electric.setdefault(name, own)
    for path, _ in tree.match("supply.cables_to.*"):
        if (name := str(path[-1])) not in electric:
            due, hint = f"a cable goes to {one_of(electric)}", did_you_mean(name, electric)
            yield tree.fault(
                path, f"'{shorten(name)}', nothing electric", due, hint, at=tree.mark((*path, KEY))
            )
    if not several:
        return
    placed: dict[str, Steps] = {}
    for path, name in tree.texts(("supply.circuits.*.feeds", "supply.circuits.*.feeds.*")):
        if name not in electric:
            due = f"{one_of(electric)} can be fed"
            yield tree.fault(path, f"'{shorten(name)}', nothing electric", due, did_you_mean(name, electric))
        elif name in placed:
            where = f"the first is on line {tree.mark(placed[name]).line}"
            yield tree.fault(path, f"'{name}' again", "each thing hangs on one circuit", where)
        placed.setdefault(name, path)
    for name, path in electric.items():
        if name not in placed and _takes_power(path, tree.get(path)):
            found, due = f"'{shorten(name)}' on no circuit", "supply.circuits says what feeds it"
            yield tree.fault(path, found, due, at=tree.mark((*path, KEY)))


def _cut_off(tree: Tree) -> Iterator[Fault]:
    """Only a circuit that the file names can be without power alone."""
    circuits = tree.get(("supply", "circuits"), default={})
    if not isinstance(circuits, dict):
        return
    for path, name in tree.texts(["schedule.outages.*.circuit"]):
        if name not in circuits:
            due = (
                f"known circuits: {', '.join(circuits)}"
                if circuits
                else "the file has no supply.circuits; a cut without circuit takes all power"
            )
            found = f"'{shorten(name)}', an unknown circuit"
            yield tree.fault(path, found, due, did_you_mean(name, circuits))


def _takes_power(path: Steps, about: Any) -> bool:
    """Not a boiler of which no power is said, nor a source of a kind that is not known."""
    if path[1] != "heat_sources" or not isinstance(about, dict):
        return True
    return (about.get("kind") != "boiler" and about.get("kind") in KINDS) or bool(
        {"power", "current"} & set(about)
    )

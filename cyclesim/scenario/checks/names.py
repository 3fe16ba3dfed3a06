"""What no single value can say: that every name that is referred to exists and stands for one thing.

The checks read the plain values, so that one faulty leg does not make its name unknown elsewhere."""

from collections.abc import Iterator
from typing import Any

from cyclesim.errors import Fault, shorten
from cyclesim.scenario.blocks.schedule import DEMANDS
from cyclesim.scenario.checks.chains import check_network
from cyclesim.scenario.checks.own_water import check_own_water
from cyclesim.scenario.checks.uses import check_uses
from cyclesim.scenario.checks.wiring import check_wiring
from cyclesim.scenario.forms.fields import RESERVED, read_pump_speed
from cyclesim.scenario.forms.forms import RefusedError, Steps, did_you_mean, one_of
from cyclesim.scenario.text.tree import KEY, Tree

ELEMENTS = {
    "legs": "leg",
    "pumps": "pump",
    "equipment": "piece of equipment",
    "heat_sources": "heat source",
    "valves": "valve",
    "check_valves": "check valve",
    "ways": "way of a diverter",
}
_ZONES = (
    "plant.tub.cover_zone",
    "plant.tub.shell.zone",
    "plant.legs.*.zone",
    "plant.pumps.*.zone",
    "plant.equipment.*.zone",
    "plant.heat_sources.*.zone",
    "plant.heat_sources.*.outside",
    "plant.heat_sources.*.own_water.zone",
    "plant.air.*.zone",
    "plant.air.*.air_from",
    "plant.pump_room.heater.zone",
    "plant.pump_room.fan.zone",
    "candidates.pumps.*.zone",
)
_BESIDE = ("air", "circulators", "diverters", "treatment")
"""What has a name but no place of its own in the network."""
_SPEEDS = (
    "schedule.heating.pump",
    "schedule.frost_protection.pump",
    "interlocks.*.keep",
    "plant.heat_sources.*.steered.pump",
)
_STARTED = tuple(
    f"plant.{kind}.*.also_started_by.*"
    for kind in ("pumps", "heat_sources", "air", "circulators", "treatment")
)
_SOURCES = (
    "schedule.heating.with",
    "schedule.heating.with.*",
    "interlocks.*.after",
    *(f"{path}.contact_of" for path in _STARTED),
)
_QUIET = ("schedule.quiet_hours.applies_to", "schedule.quiet_hours.applies_to.*")


def check(tree: Tree) -> Iterator[Fault]:
    """Every fault between the parts of a file."""
    names = {kind: _keys(tree, ("plant", kind)) for kind in ELEMENTS} | {"ways": _ways(tree)}
    named = names | {kind: _keys(tree, ("plant", kind)) for kind in _BESIDE}
    yield from _names_once(tree, named)
    yield from _zones(tree)
    if names["heat_sources"] is not None:
        for path, text in tree.texts(_SOURCES):
            yield from _known(tree, path, text, names["heat_sources"], "heat source")
    if names["pumps"] is not None:
        runs = (f"schedule.{key}.*.{said}" for key in DEMANDS.values() for said in ("pump", "pumps.*"))
        for path, text in tree.texts((*runs, *_SPEEDS)):
            if path[0] != "interlocks" or text not in (named["circulators"] or []):
                yield from _speed(tree, path, text, lone=False)
        for path, text in tree.texts(_QUIET):
            if text not in (named["air"] or []):
                yield from _speed(tree, path, text, lone=True)
    if names["heat_sources"] is not None and names["pumps"] is not None:
        treats = named["treatment"] or []
        own = named["circulators"] or []
        yield from _interlocks(tree, names["heat_sources"], names["pumps"], named["air"] or [], treats, own)
    if names["legs"] is not None:
        for path, text in tree.texts(["plant.trenches.*.legs.*"]):
            yield from _known(tree, path, text, names["legs"], "leg")
    places = [*(names["legs"] or []), *(names["equipment"] or []), *(names["heat_sources"] or [])]
    for path, text in tree.texts(("plant.heat_sources.*.proof.in", "plant.treatment.*.proof.in")):
        yield from _known(tree, path, text, places, "place")
    yield from check_own_water(tree, named["circulators"] or [])
    yield from check_wiring(tree, names)
    yield from check_uses(tree, names)
    yield from check_network(tree, names)


def _keys(tree: Tree, path: Steps) -> list[str] | None:
    """The names in this block; none where it is left out, None where it is no block."""
    if not isinstance(tree.get(path[:-1], default=None), dict):
        return None
    block = tree.get(path, default={})
    return list(block) if isinstance(block, dict) else None


def _ways(tree: Tree) -> list[str] | None:
    """The names that diverters give their ways."""
    return [text for _, text in tree.texts(["plant.diverters.*.ways.*"])]


def _names_once(tree: Tree, names: dict[str, list[str] | None]) -> Iterator[Fault]:
    first: dict[str, Steps] = {}
    places: list[Steps] = [
        ("plant", kind, name) for kind, known in names.items() if kind != "ways" for name in known or ()
    ]
    junctions = tree.get(("plant", "junctions"), default=[])
    placed: list[tuple[str, Steps]] = [(str(path[-1]), path) for path in places]
    placed += [(text, path) for path, text in tree.texts(["plant.diverters.*.ways.*"])]
    if isinstance(junctions, list):
        placed += [
            (name, ("plant", "junctions", i)) for i, name in enumerate(junctions) if isinstance(name, str)
        ]
    for name, path in placed:
        if name in RESERVED and path[1] == "junctions":  # other names are refused as keys
            yield tree.fault(path, f"'{name}', a name that is taken", f"{one_of(RESERVED)} are built in")
        if name in first:
            where = f"line {tree.mark((*first[name], KEY)).line}"
            yield tree.fault(
                path,
                f"the name '{shorten(name)}' again",
                "each name stands for one thing in the plant",
                f"the first is {'.'.join(map(str, first[name]))} on {where}",
                at=tree.mark((*path, KEY)),
            )
        first.setdefault(name, path)


def _zones(tree: Tree) -> Iterator[Fault]:
    zones = _keys(tree, ("place", "zones"))
    if zones is not None:
        for path, text in tree.texts(_ZONES):
            yield from _known(tree, path, text, [*zones, "outdoors"], "zone")


def _known(tree: Tree, path: Steps, text: str, names: list[str], noun: str) -> Iterator[Fault]:
    if text not in names:
        allowed = f"known {noun}s: {', '.join(names)}" if names else f"the file has no {noun}"
        yield tree.fault(path, f"'{shorten(text)}', an unknown {noun}", allowed, did_you_mean(text, names))


def speeds_of(tree: Tree, pump: str) -> tuple[str, ...]:
    """The speeds of a pump as the file has them; ("on",) for one."""
    block = tree.get(("plant", "pumps", pump), default=None)
    return ("low", "high") if isinstance(block, dict) and block.keys() & {"low", "high"} else ("on",)


def _speed(tree: Tree, path: Steps, text: str, *, lone: bool) -> Iterator[Fault]:
    """A reference to a pump and its speed; `lone` where the pump's name alone means every speed."""
    try:
        pump, speed = read_pump_speed(text)
    except RefusedError:
        return  # said already where the value was read
    pumps = tree.get(("plant", "pumps"), default={})
    if pump not in pumps:
        yield from _known(tree, path, pump, list(pumps), "pump")
        return
    speeds = speeds_of(tree, pump)
    if speed in speeds or (lone and speed == "on"):
        return
    references = [pump if name == "on" else f"{pump} {name}" for name in speeds]
    found = f"'{text}', a pump without its speed" if speed == "on" else f"'{text}', an unknown speed"
    yield tree.fault(
        path, found, f"expected {one_of(references)}", did_you_mean(text, references) if speed != "on" else ""
    )


def _interlocks(
    tree: Tree,
    sources: list[str],
    pumps: list[str],
    blowers: list[str],
    treats: list[str],
    circulators: list[str],
) -> Iterator[Fault]:
    """What blocks and keeps refer to, and that each is said once."""
    speeds = [
        f"{pump} {speed}" if speed != "on" else pump for pump in pumps for speed in speeds_of(tree, pump)
    ]
    speeds += blowers
    causes = [*(text for text in speeds if " " in text)]
    causes += [f"{name} running" for name in (*pumps, *blowers)]
    causes += [f"{source} firing" for source in sources]
    causes += [f"{name} {state}" for name in circulators for state in ("running", "stopped")]
    path_of: dict[tuple[str, str], Steps] = {}
    for path, interlock in tree.match("interlocks.*"):
        if not isinstance(interlock, dict):
            continue
        block, cause = interlock.get("block"), interlock.get("while")
        devices = [*sources, *treats]
        if isinstance(block, str) and block not in [*devices, *speeds]:
            allowed = f"{one_of([*devices, *speeds])} can be blocked"
            hint = did_you_mean(block, [*devices, *speeds])
            yield tree.fault((*path, "block"), f"'{shorten(block)}', nothing that is known", allowed, hint)
        elif isinstance(block, str) and block not in devices and "unless" in interlock:
            kinds = "a heat source or a treatment device" if treats else "a heat source"
            allowed = f"unless: flow proven goes with {kinds}: {', '.join(devices)}"
            yield tree.fault((*path, "unless"), f"'{block}', a pump", allowed)
        if isinstance(cause, str) and cause not in causes:
            yield tree.fault(
                (*path, "while"),
                f"'{shorten(cause)}', nothing that is known",
                f"expected {one_of(causes)}",
                f"did you mean '{cause} running'?"
                if cause in (*pumps, *blowers, *circulators)
                else did_you_mean(cause, causes),
            )
        if isinstance(block, str) and isinstance(cause, str) and cause in (block, f"{block} firing"):
            yield tree.fault((*path, "while"), f"'{cause}', the thing itself", "expected something else")
        subject = _subject(interlock, circulators)
        if subject in path_of:
            where = tree.mark(path_of[subject]).line
            yield tree.fault(
                path,
                f"{subject[0]} '{shorten(subject[1])}' again",
                "it is said once",
                f"the first is on line {where}",
            )
        elif subject[0]:
            path_of[subject] = path


def _subject(interlock: dict[str, Any], circulators: list[str]) -> tuple[str, str]:
    """What this interlock is about, where a second one about the same would contradict or repeat it."""
    if isinstance(interlock.get("after"), str) and "keep" in interlock:
        kept = interlock["keep"]
        return f"a keep of {kept} after" if kept in circulators else "a keep after", interlock["after"]
    if isinstance(interlock.get("block"), str):
        if "unless" in interlock:
            return "a block for want of flow on", interlock["block"]
        return f"a block while {interlock.get('while')} on", interlock["block"]
    return "", ""

"""What the wiring, the treatment and the valves refer to: that it is there, and that it can do that."""

from collections.abc import Iterator

from cyclesim.errors import Fault, shorten
from cyclesim.scenario.blocks.collectors import read_valve_at
from cyclesim.scenario.forms.forms import RefusedError, Steps, did_you_mean, one_of
from cyclesim.scenario.text.tree import Tree


def check_wiring(tree: Tree, names: dict[str, list[str] | None]) -> Iterator[Fault]:
    """Every such fault; `names` are the elements by kind, None for a kind that cannot be read."""
    yield from _speeds(tree, names["pumps"] or [])
    if names["pumps"] is not None:
        for path, text in tree.texts(["plant.treatment.*.with"]):
            yield from _known(tree, path, text, names["pumps"], "pump")
    legs, parts = names["legs"], [names[kind] for kind in ("equipment", "heat_sources")]
    if legs is not None and None not in parts:
        wet = [*legs, *(name for known in parts for name in known or ())]
        for path, text in tree.texts(["schedule.heating.sensor.in"]):
            yield from _known(tree, path, text, wet, "leg, piece of equipment or heat source")
        for path, text in tree.texts(["plant.treatment.*.in"]):
            places = [*wet, *(names["pumps"] or [])]
            yield from _known(tree, path, text, places, "leg, piece of equipment, pump or heat source")
    yield from _turned(tree)
    yield from _steered(tree)


def _known(tree: Tree, path: Steps, text: str, names: list[str], noun: str) -> Iterator[Fault]:
    if text not in names:
        allowed = f"expected {one_of(names)}" if names else f"the file has no {noun}"
        yield tree.fault(path, f"'{shorten(text)}', no {noun}", allowed, did_you_mean(text, names))


def _speeds(tree: Tree, pumps: list[str]) -> Iterator[Fault]:
    """A starter of a two-speed pump says which speed, and of nothing else."""
    for kind in ("pumps", "heat_sources", "air", "circulators", "treatment"):
        for path, entry in tree.match(f"plant.{kind}.*.also_started_by.*"):
            about = tree.get(path[:3])
            two = path[2] in pumps and isinstance(about, dict) and bool(about.keys() & {"low", "high"})
            if isinstance(entry, dict):
                if two and "speed" not in entry:
                    yield tree.fault(
                        (*path, "speed"), "nothing", "expected speed: low or high for a pump with two"
                    )
                elif not two and "speed" in entry:
                    found = f"'{shorten(str(entry['speed']))}' of something with one speed"
                    yield tree.fault((*path, "speed"), found, "only a pump with two speeds has a speed here")


def _turned(tree: Tree) -> Iterator[Fault]:
    """A valve that is turned exists, and has that position among those that it may be left in."""
    valves, diverters = (tree.get(("plant", kind), default={}) for kind in ("valves", "diverters"))
    if not isinstance(valves, dict) or not isinstance(diverters, dict):
        return
    known = valves | diverters
    for path, turned in tree.match("schedule.valves_turned.*"):
        if not isinstance(turned, dict):
            continue
        valve, to = turned.get("valve"), turned.get("to")
        if isinstance(valve, str) and valve not in known:
            yield from _known(tree, (*path, "valve"), valve, list(known), "valve")
        elif isinstance(valve, str) and isinstance(known[valve], dict) and isinstance(to, str):
            may_be = known[valve].get("may_be", [])
            positions = [
                position
                for position in (may_be if isinstance(may_be, list) else [may_be])
                if isinstance(position, str)
            ]
            if to not in positions:
                due = (
                    f"expected {one_of(positions)}: what may_be of {valve} lists"
                    if positions
                    else f"{valve} has no may_be"
                )
                yield tree.fault((*path, "to"), f"'{shorten(to)}'", due, did_you_mean(to, positions))


def _steered(tree: Tree) -> Iterator[Fault]:
    """A motor valve exists, has the position that leads through the collectors, and is theirs alone."""
    valves, diverters = (tree.get(("plant", kind), default={}) for kind in ("valves", "diverters"))
    if not isinstance(valves, dict) or not isinstance(diverters, dict):
        return
    known, of = valves | diverters, dict[str, Steps]()
    for path, text in tree.texts(["plant.heat_sources.*.steered.valve"]):
        try:
            valve, position = read_valve_at(text)
        except RefusedError:
            continue  # said already where the value was read
        if valve not in known:
            yield from _known(tree, path, valve, list(known), "valve")
        elif isinstance(about := known[valve], dict):
            more = about.get("opens" if valve in diverters else "throttled", {})
            usual = about.get("usual")
            positions = [] if valve in diverters else ["open", "shut"]
            positions += [str(p) for p in more] if isinstance(more, dict) else []
            if position not in positions or position == usual:
                others = [p for p in positions if p != usual]
                due = f"expected {one_of(others)}: a position of {valve} that is not its usual one"
                ways = about.get("ways")
                is_way = isinstance(ways, list) and position in ways
                hint = f"{position} is one of its ways" if is_way else did_you_mean(position, others)
                yield tree.fault(path, f"'{shorten(text)}'", due, hint)
        if valve in of:
            where = f"the first is on line {tree.mark(of[valve]).line}"
            yield tree.fault(path, f"'{shorten(text)}' again", "a motor valve is steered by one", where)
        of.setdefault(valve, path)

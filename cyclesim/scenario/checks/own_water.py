"""What a heat source's own water refers to: its circulator, which turns it alone and as the file says."""

from collections.abc import Iterator

from cyclesim.errors import Fault, shorten
from cyclesim.scenario.forms.forms import Steps, did_you_mean, one_of
from cyclesim.scenario.text.tree import KEY, Tree


def check_own_water(tree: Tree, circulators: list[str]) -> Iterator[Fault]:
    """Every such fault; `circulators` are the names of plant.circulators."""
    turns: dict[str, Steps] = {}
    for path, name in tree.texts(["plant.heat_sources.*.own_water.circulator"]):
        if name not in circulators:
            due = f"expected {one_of(circulators)}" if circulators else "expected it in plant.circulators"
            yield tree.fault(path, f"'{shorten(name)}', no circulator", due, did_you_mean(name, circulators))
        elif name in turns:
            where = f"the first is on line {tree.mark(turns[name]).line}"
            yield tree.fault(path, f"'{name}' again", "each circulator turns one circuit", where)
        else:
            turns[name] = path
            yield from _turned(tree, path, name)
    for name in circulators:
        if name not in turns:
            path = ("plant", "circulators", name)
            due = "expected own_water of a heat source that names it"
            yield tree.fault(path, f"'{shorten(name)}', which turns nothing", due, at=tree.mark((*path, KEY)))
    yield from _kept(tree, circulators)


def _turned(tree: Tree, path: Steps, name: str) -> Iterator[Fault]:
    """A circuit's drop goes with a curve: a flow that is stated is that against it."""
    about, circuit = tree.get(("plant", "circulators", name), default=None), tree.get(path[:-1])
    if not isinstance(about, dict):
        return
    if "drop" in circuit and "flow" in about:
        due = f"the flow of {name} is as it is installed; leave one of the two out"
        yield tree.fault((*path[:-1], "drop"), "a drop beside a flow", due)
    elif not ("drop" in circuit or "flow" in about) and about.keys() & {"curve", "max_head"}:
        due = f"expected drop: 0.8 m at 18 L/min, or the flow of {name} as it is installed"
        yield tree.fault(path, f"'{name}', which has a curve and nothing to work against", due)


def _kept(tree: Tree, circulators: list[str]) -> Iterator[Fault]:
    """A source runs on for one time, whatever it keeps running."""
    first: dict[str, Steps] = {}
    if not circulators:
        return
    for path, keep in tree.match("interlocks.*"):
        if not isinstance(keep, dict) or not isinstance(after := keep.get("after"), str):
            continue
        lasts = keep.get("lasting")
        if after in first and lasts != tree.get((*first[after], "lasting"), default=None):
            where = f"the other is on line {tree.mark(first[after]).line}"
            due = f"what is kept after {after} is kept equally long"
            yield tree.fault((*path, "lasting"), f"'{shorten(str(lasts))}', another time", due, where)
        first.setdefault(after, path)

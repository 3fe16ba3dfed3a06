"""That the network is one that water can run through: chains from node to node, each element once, a pump."""

from collections.abc import Iterator
from typing import Any

from cyclesim.errors import Fault, shorten
from cyclesim.scenario.blocks.chains import Chain, names_in, read_network
from cyclesim.scenario.forms.forms import RefusedError, SeveralError, Steps, did_you_mean, nearest, one_of
from cyclesim.scenario.text.tree import KEY, Tree

_NETWORK = ("plant", "network")


def check_network(tree: Tree, names: dict[str, list[str] | None]) -> Iterator[Fault]:
    """Every fault of the network; `names` are the elements by kind, None for a kind that cannot be read."""
    network = tree.get(_NETWORK, default=None)
    if not isinstance(network, list) or not network:
        return
    junctions = tree.get(("plant", "junctions"), default=[])
    nodes = (
        ["tub", *(name for name in junctions if isinstance(name, str) and name != "tub")]
        if isinstance(junctions, list)
        else None
    )
    written = [text.partition(" ")[0] for text in _strings(network)]  # what stands behind is told where it is
    if names["pumps"] is not None and not set(names["pumps"]) & set(written):
        yield tree.fault(
            _NETWORK,
            "a network without a pump",
            "at least one pump moves the water",
            at=tree.mark((*_NETWORK, KEY)),
        )
    if nodes is not None:
        for index, node in enumerate(junctions):
            if node not in nodes[1:]:
                continue
            uses = written.count(node)
            if uses < 2:
                found = f"'{shorten(node)}', a junction that the network uses {('never', 'once')[uses]}"
                yield tree.fault(("plant", "junctions", index), found, "a junction joins two chains or more")
        drawing: list[str] = []
        sound: list[tuple[int, Chain]] = []
        for index, raw in enumerate(network):
            try:
                (chain,) = read_network([raw])
            except (RefusedError, SeveralError):
                drawing += _strings(raw)
                continue  # said already where the value was read
            yield from _chain(tree, chain, (*_NETWORK, index), nodes)
            drawing += _after_tub(chain)
            if chain[0] in nodes and chain[-1] in nodes:
                sound.append((index, chain))
        if len(sound) == len(network):
            yield from _apart_from_tub(tree, sound, nodes)
        yield from _draws_elsewhere(tree, {*written} - {*drawing})
    if nodes is not None and None not in names.values():
        yield from _each_once(tree, network, names, nodes)
    everything = [*nodes, *(name for known in names.values() for name in known or ())] if nodes else []
    meant = [near for name in written if name not in everything and (near := nearest(name, everything))]
    ways = [way for name in written for way in _ways(tree, name)]
    yield from _left_out(tree, names, {*written, *meant, *ways})


def _ways(tree: Tree, name: str) -> list[str]:
    """The ways of a diverter; none where it is none."""
    ways = tree.get(("plant", "diverters", name, "ways"), default=())
    return [way for way in ways if isinstance(way, str)] if isinstance(ways, list) else []


def _after_tub(chain: Chain, after: Any = "") -> Iterator[str]:
    """Every name that follows the tub in a chain; `after` is what stands before a branch."""
    for item in chain:
        if isinstance(item, str):
            if after == "tub":
                yield item
        else:
            for branch in item.branches:
                yield from _after_tub(branch, after)
        after = item


def _apart_from_tub(tree: Tree, chains: list[tuple[int, Chain]], nodes: list[str]) -> Iterator[Fault]:
    """The first chain of each loop that no chain joins to the tub: its water would only circle."""
    loops: list[tuple[int, set[str]]] = []
    for index, chain in chains:
        met = {item for item in chain if isinstance(item, str) and item in nodes}
        joined = [loop for loop in loops if loop[1] & met]
        first = min([index, *(start for start, _ in joined)])
        loops = [loop for loop in loops if loop not in joined]
        loops.append((first, met.union(*(other_nodes for _, other_nodes in joined))))
    for index, met in sorted(loops):
        if "tub" not in met:
            path = (*_NETWORK, index, 0)
            found = f"'{shorten(str(tree.get(path)))}', in a loop that never meets the tub"
            yield tree.fault(path, found, "every chain leads to the tub, by way of others if need be")


def _draws_elsewhere(tree: Tree, names: set[str]) -> Iterator[Fault]:
    """Suction fittings of legs that do not start in the tub."""
    for path, _ in tree.match("plant.legs.*.suction"):
        if path[2] in names:
            found = f"suction fittings on the leg '{shorten(str(path[2]))}'"
            yield tree.fault(
                path, found, "they stand at a leg that follows tub in the network", at=tree.mark((*path, KEY))
            )


def _strings(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, list | dict):
        for inner in value.values() if isinstance(value, dict) else value:
            yield from _strings(inner)


def _place(tree: Tree, path: Steps) -> Steps:
    """The path as the file has it: a branch of one name may be written without a list."""
    return path if path in tree.marks else path[:-1]


def _chain(tree: Tree, chain: Chain, chain_path: Steps, nodes: list[str]) -> Iterator[Fault]:
    ends = f"a chain starts and ends at {one_of(nodes)}"
    for item, place, word in ((chain[0], 0, "starts"), (chain[-1], len(chain) - 1, "ends")):
        if item not in nodes:
            what = f"'{shorten(item)}'" if isinstance(item, str) else "a split"
            yield tree.fault((*chain_path, place), f"a chain that {word} at {what}", ends)
    if len(chain) < 3 and all(item in nodes for item in chain):
        yield tree.fault(chain_path, "a chain with nothing in it", "something lies between the two ends")
    yield from _inside(tree, chain, chain_path, nodes, after=None)


def _inside(tree: Tree, chain: Chain, chain_path: Steps, nodes: list[str], after: Any) -> Iterator[Fault]:
    """What follows what; `after` is what follows the whole chain where it is a branch."""
    branch = after is not None
    for index, item in enumerate(chain):
        path = (*chain_path, index)
        follows = chain[index + 1] if index + 1 < len(chain) else after
        if not isinstance(item, str):
            for number, inner in enumerate(item.branches):
                yield from _inside(tree, inner, (*path, "parallel", number), nodes, after=follows or "")
            continue
        if item in nodes:
            if branch:
                where = "starts or ends at" if index in (0, len(chain) - 1) else "passes"
                hint = "" if where != "passes" else "write chains of their own to and from it"
                yield tree.fault(
                    _place(tree, path),
                    f"a branch that {where} '{shorten(item)}'",
                    "a branch lies between the split and the join",
                    hint,
                )
            elif isinstance(follows, str) and follows in nodes and len(chain) > 2:
                yield tree.fault(
                    (*chain_path, index + 1),
                    f"'{shorten(follows)}' right after '{shorten(item)}'",
                    "something lies between two nodes",
                )
        leg = tree.get(("plant", "legs", item), default=None)
        if isinstance(leg, dict) and "manifold" in leg and follows != "tub":
            found = f"the leg '{shorten(item)}', whose jets end in the tub"
            yield tree.fault(_place(tree, path), found, "a leg with a manifold is followed by tub")
        elif isinstance(leg, dict) and "outlet_above_water" in leg and follows != "tub":
            found = f"the leg '{shorten(item)}', which ends above the water"
            yield tree.fault(_place(tree, path), found, "a leg with outlet_above_water is followed by tub")


def _each_once(
    tree: Tree, network: list[Any], names: dict[str, list[str] | None], nodes: list[str]
) -> Iterator[Fault]:
    known = [name for kind in names.values() for name in kind or ()]
    first: dict[str, Steps] = {}
    for index, raw in enumerate(network):
        try:
            (chain,) = read_network([raw])
        except (RefusedError, SeveralError):
            continue
        for name, long_path in names_in(chain, (*_NETWORK, index)):
            path = _place(tree, long_path)
            if name in nodes:
                continue
            if name not in known:
                ways = _ways(tree, name)
                lies = f"it lies there by its ways: {', '.join(ways)}"
                yield tree.fault(
                    path,
                    f"'{shorten(name)}', {'a diverter' if ways else 'an unknown name'}",
                    "the network joins what the plant has",
                    lies if ways else did_you_mean(name, [*known, *nodes]),
                )
            elif name in first:
                yield tree.fault(
                    path,
                    f"'{shorten(name)}' again",
                    "each element stands in the network once",
                    f"the first is on line {tree.mark(first[name]).line}",
                )
            elif tree.get(("plant", "legs", name, "dead_end"), default=False) is True:
                yield tree.fault(
                    path, f"'{shorten(name)}', a dead end", "a dead end is capped and in no network"
                )
            first.setdefault(name, path)


def _left_out(tree: Tree, names: dict[str, list[str] | None], written: set[str]) -> Iterator[Fault]:
    for kind, known in names.items():
        for name in known or ():
            path: Steps = ("plant", kind, name)
            if kind == "ways":
                path = next(steps for steps, text in tree.texts(["plant.diverters.*.ways.*"]) if text == name)
            capped = kind == "legs" and tree.get((*path, "dead_end"), default=False) is not False
            if name not in written and not capped:
                hint = "if it is capped, say dead_end: true" if kind == "legs" else ""
                yield tree.fault(
                    path,
                    f"'{shorten(name)}' in no network",
                    "plant.network says where it lies",
                    hint,
                    at=tree.mark(path if kind == "ways" else (*path, KEY)),
                )

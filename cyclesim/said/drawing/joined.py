"""The network as boxes in boxes: what follows each other, what stands side by side, and what goes across.

Chains between the tub and the junctions are reduced: two between the same ends stand side by side, two that
meet at a junction of nothing else follow each other. Chains that keep the rest from coming out as one are set
aside as links.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, islice
from typing import NamedTuple

from cyclesim.scenario.blocks.chains import Chain, Item

TUB = "tub"
_MOST_TRIED, _MOST_THINNED = 12, 120  # chains: of more not every pair is tried, and of many more none


class Tee(NamedTuple):
    """A junction on the way."""

    name: str


@dataclass(frozen=True, slots=True)
class Split:
    """Ways side by side."""

    branches: tuple[Run, ...]


Part = str | Tee | Split
Run = tuple[Part, ...]
"""What follows each other."""


class DrawnLink(NamedTuple):
    """What lies between two ends, which are the tub or junctions."""

    start: str
    end: str
    run: Run


class Joined(NamedTuple):
    """The ways from the tub back to it, and what goes across."""

    ways: tuple[Run, ...]
    links: tuple[DrawnLink, ...]


def joined(network: Sequence[Chain], junctions: Iterable[str]) -> Joined:
    """The network of a file in boxes."""
    whole, links = _reduced(list(_sections(network, {TUB, *junctions}))), list[DrawnLink]()
    while not _is_one(whole):
        fewest = _fewest(whole) if len(whole) <= _MOST_TRIED else ()
        aside = fewest or _one_loose(whole)
        if not aside or len(whole) > _MOST_THINNED:
            aside = tuple(one for one in whole if one[:2] != (TUB, TUB))
        links += aside
        whole = _reduced([one for one in whole if one not in aside])
    return Joined(tuple(one.run for one in whole), tuple(links))


def _fewest(whole: list[DrawnLink]) -> tuple[DrawnLink, ...]:
    """One chain or two, without which the rest comes out as one; none if there are no such."""
    for n in (1, 2):
        for aside in combinations(sorted(whole, key=_least), n):
            rest = _reduced([one for one in whole if one not in aside])
            if rest and _is_one(rest):
                return aside
    return ()


def _one_loose(whole: list[DrawnLink]) -> tuple[DrawnLink, ...]:
    """A chain without which water still comes to each end and leaves it."""
    starts, ends = ([one[k] for one in whole] for k in (0, 1))
    loose = (one for one in sorted(whole, key=_least) if starts.count(one.start) > 1 < ends.count(one.end))
    return tuple(islice(loose, 1))


def _least(one: DrawnLink) -> tuple[bool, int]:
    """What goes between junctions is set aside first, the shortest before others."""
    return TUB in one[:2], len(one.run)


def tees(run: Run) -> Iterator[str]:
    """The junctions on a way."""
    for part in run:
        if isinstance(part, Tee):
            yield part.name
        elif isinstance(part, Split):
            for branch in part.branches:
                yield from tees(branch)


def _sections(network: Sequence[Chain], ends: set[str]) -> Iterator[DrawnLink]:
    for chain in network:
        start, run = str(chain[0]), list[Part]()
        for item in chain[1:]:
            if isinstance(item, str) and item in ends:
                yield DrawnLink(start, item, tuple(run))
                start, run = item, []
            else:
                run.append(_part(item))


def _part(item: Item) -> Part:
    if isinstance(item, str):
        return item
    return Split(tuple(tuple(map(_part, branch)) for branch in item.branches))


def _reduced(sections: list[DrawnLink]) -> list[DrawnLink]:
    """The same with fewer chains; what leads from the tub to the tub stays apart."""
    while True:
        fewer = _in_series(_side_by_side(sections))
        if len(fewer) == len(sections):
            return fewer
        sections = fewer


def _side_by_side(sections: list[DrawnLink]) -> list[DrawnLink]:
    groups: dict[tuple[str, str], list[Run]] = {}
    for start, end, run in sections:
        groups.setdefault((start, end), []).append(run)
    merged = []
    for (start, end), runs in groups.items():
        if len(runs) == 1 or (start, end) == (TUB, TUB):
            merged += [DrawnLink(start, end, run) for run in runs]
        else:
            merged.append(DrawnLink(start, end, (Split(tuple(runs)),)))
    return merged


def _in_series(sections: list[DrawnLink]) -> list[DrawnLink]:
    """The first junction that just two chains meet at, one after the other, becomes a tee on the way."""
    into: dict[str, list[DrawnLink]] = {}
    out_of: dict[str, list[DrawnLink]] = {}
    for one in sections:
        out_of.setdefault(one.start, []).append(one)
        into.setdefault(one.end, []).append(one)
    for name, (first, *more) in into.items():
        after = out_of.get(name, [])
        if name == TUB or more or len(after) != 1 or after[0] is first:
            continue
        through = DrawnLink(first.start, after[0].end, (*first.run, Tee(name), *after[0].run))
        at = sections.index(first)
        return [*(one for one in sections[:at] if one is not after[0]), through,
                *(one for one in sections[at + 1 :] if one is not after[0])]  # fmt: skip
    return sections


def _is_one(sections: list[DrawnLink]) -> bool:
    return all(one[:2] == (TUB, TUB) for one in sections)

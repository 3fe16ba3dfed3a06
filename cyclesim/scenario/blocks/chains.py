"""How the water runs, as chains of names with {parallel: [...]} where it splits."""

import re
from collections.abc import Iterator
from typing import Annotated, NamedTuple, Union

from cyclesim.scenario.forms.fields import NAME, read_name
from cyclesim.scenario.forms.forms import Form, RefusedError, SeveralError, Steps, what_is


class Parallel(NamedTuple):
    """Branches that split at one point and meet at another."""

    branches: tuple["Chain", ...]


Item = Union[str, Parallel]  # noqa: UP007 - a forward reference
Chain = tuple[Item, ...]

_ITEM_DUE = "expected a name or {parallel: [...]}"
_ALONE = "a pump lies in the network by its name alone, at whatever speed it runs, and a diverter by its ways"


def _item(value: object, steps: Steps) -> Item:
    if isinstance(value, str):
        try:
            return read_name(value)
        except RefusedError as error:
            hint = _ALONE if re.fullmatch(rf"{NAME} +{NAME}", value, re.ASCII) else ""
            raise RefusedError(error.what, error.allowed, hint, at=steps) from None
    if not isinstance(value, dict) or set(value) != {"parallel"}:
        raise RefusedError(what_is(value), _ITEM_DUE, at=steps)
    branches = value["parallel"]
    if not isinstance(branches, list) or len(branches) < 2:
        what = what_is(branches) if not isinstance(branches, list) else f"{len(branches)} in parallel"
        raise RefusedError(what, "expected at least two branches in a list", at=(*steps, "parallel"))
    chains: list[Chain] = []
    for index, branch in enumerate(branches):
        where = (*steps, "parallel", index)
        chains.append(_chain(branch, where) if isinstance(branch, list) else (_item(branch, where),))
    return Parallel(tuple(chains))


def _chain(value: object, steps: Steps) -> Chain:
    if not isinstance(value, list):
        raise RefusedError(what_is(value), "expected a list of names in the direction of flow", at=steps)
    if not value:
        raise RefusedError("an empty list", "expected the names of what the water passes", at=steps)
    return tuple(_item(item, (*steps, index)) for index, item in enumerate(value))


def read_network(value: object) -> tuple[Chain, ...]:
    """The chains (no deeper than the file, which is bounded); each faulty one is refused at its place."""
    if not isinstance(value, list) or not value:
        raise RefusedError(what_is(value) if value != [] else "an empty list", "expected a list of chains")
    chains: list[Chain] = []
    wrong: list[RefusedError] = []
    for index, chain in enumerate(value):
        try:
            chains.append(_chain(chain, (index,)))
        except RefusedError as error:
            wrong.append(error)
    if wrong:
        raise SeveralError(*wrong)
    return tuple(chains)


def names_in(chain: Chain, steps: Steps) -> Iterator[tuple[str, Steps]]:
    """Every name of a chain with the steps that lead to it in the file's own shape, written with or without
    inner lists (a branch of one name may be written bare)."""
    for index, item in enumerate(chain):
        if isinstance(item, str):
            yield item, (*steps, index)
        else:
            for number, branch in enumerate(item.branches):
                yield from names_in(branch, (*steps, index, "parallel", number))


Network = Annotated[tuple[Chain, ...], Form(read_network, {"type": "array", "minItems": 1})]

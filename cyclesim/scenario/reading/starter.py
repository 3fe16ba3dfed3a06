"""The starter file that a new user changes line after line, and others like it for other plants.

A file in `like/` holds only what it has otherwise: blocks, each under a line `#= PATH`, that stand in place
of the starter's. So what they have in common is written once. A key after # is that of a block that the
starter offers as a comment.
"""

import re

LIKE = ("boiler", "heat-pump", "solar", "two-pumps", "us")
"""What a starter may be like beside the plain one."""
_PART = re.compile(r"^#= (\S+)\n", re.MULTILINE)


def starter_text(like: str | None = None) -> str:
    """The text of a commented scenario that runs as it is; *like*: one of LIKE, for such a plant."""
    text = _shipped("starter.yaml")
    if like is not None:
        _, *parts = _PART.split(own_text(like))
        for path, block in zip(parts[::2], parts[1::2], strict=True):
            text = _with_block(text, path, block)
    return text


def own_text(like: str) -> str:
    """What one of LIKE has otherwise than the plain starter, block by block."""
    return _shipped("like", f"{like}.yaml")


def _shipped(*names: str) -> str:
    from importlib.resources import files  # late: the command line asks this file for LIKE alone

    return files("cyclesim.scenario.reading").joinpath(*names).read_text(encoding="utf-8")


def _with_block(text: str, path: str, block: str) -> str:
    """The text with another block at *path*: down to the next key or comment that is no further in.

    Raises ValueError where there is none.
    """
    *above, key = path.split(".")
    start = re.search(rf"^{above[0]}:", text, re.MULTILINE).end() if above else 0  # type: ignore[union-attr]
    indent = "  " * len(above) + "# " * key.startswith("#")
    old = re.compile(rf"^{indent}{key.lstrip('#')}:.*\n(?:{indent} .*\n)*", re.MULTILINE).search(text, start)
    if old is None:
        raise ValueError(f"the starter has no {path}")
    return text[: old.start()] + block + text[old.end() :]

"""Defaults that were filled in, the same one of several elements on one line."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from cyclesim.analysis.amounts import listed
from cyclesim.said.page import Page
from cyclesim.scenario.reading.defaults import Default


def say_defaults(page: Page, defaults: Sequence[Default]) -> None:
    """What the file left out, what was taken instead, how far that may be off, and who says so."""
    if not defaults:
        return
    page.heading(
        "Left out in the file and filled in; a key with dots may be written there, or tried with --set"
    )
    for source in dict.fromkeys(default.source for default in defaults):
        page.line(f"{source}:")
        for line in _lines([default for default in defaults if default.source == source]):
            page.line(line, indent=2, hang=4)


def _lines(defaults: Sequence[Default]) -> Iterator[str]:
    """One line per value of one key of one kind of element."""
    paths: dict[tuple[str, ...], list[list[str]]] = {}
    for default in defaults:
        steps, spread = default.path.split("."), str(default.spread)
        paths.setdefault((*steps[:2], steps[-1], default.value_text, spread), []).append(steps)
    for (*_, value, spread), (first, *others) in paths.items():
        also = [step for steps in others for step, usual in zip(steps, first, strict=False) if step != usual]
        same = f"; the same for {listed(also)}" if also else ""
        yield f"{'.'.join(first)}: {value}; spread {spread}{same}"

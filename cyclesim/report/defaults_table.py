"""Defaults that were filled in, the same one of several elements on one line."""

from __future__ import annotations

from collections.abc import Sequence

from cyclesim.report.layout import Column, Page
from cyclesim.scenario.model import Default


def say_defaults(page: Page, defaults: Sequence[Default]) -> None:
    """What the file left out, what was taken instead, how far it may be off, and who says so."""
    if not defaults:
        return
    page.heading("Left out in the file and filled in (write it there, or try it with --set)")
    for source in dict.fromkeys(default.source_text for default in defaults):
        page.line()
        page.table(
            [Column(source, words=True), Column("taken as", words=True), Column("usual spread", words=True)],
            _grouped([default for default in defaults if default.source_text == source]),
        )


def _grouped(defaults: Sequence[Default]) -> list[tuple[str, ...]]:
    """One row per value of one key; elements that share it stand below the first."""
    rows: dict[tuple[str, ...], list[str]] = {}
    for path, value, spread, _ in defaults:
        start, _, key = path.rpartition(".")
        rows.setdefault((start.partition(".")[0], key, value, spread), []).append(path)
    return [(_joined(paths), *row[2:]) for row, paths in rows.items()]


def _joined(paths: Sequence[str]) -> str:
    """The first path, and below it what tells the others from it."""
    first = paths[0].split(".")
    others = []
    for path in paths[1:]:
        steps = path.split(".")
        differ = [b for a, b in zip(first, steps, strict=False) if a != b]
        others.append(differ[0] if len(steps) == len(first) and len(differ) == 1 else path)
    return "\n".join([paths[0], *(f"  and {other}" for other in others)])

"""Plants as one page for a browser: everything in one file, nothing fetched, text always shown as text."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from importlib.resources import files
from typing import TYPE_CHECKING

from cyclesim.said.words import plain
from cyclesim.shown.page.blocks import Viewed, bar_rows, viewed
from cyclesim.shown.page.machines import machine_svg
from cyclesim.shown.page.packed import packed
from cyclesim.shown.page.weeks import weeks_svg
from cyclesim.shown.pictures.plant import style, within
from cyclesim.shown.reader import sentence, turned

if TYPE_CHECKING:
    from cyclesim.said.page import Block, Table
    from cyclesim.said.report import Report

_BANDS = {band: f"var(--{band})" for band in ("young", "older", "over", "never")}
_LETTERS = "ab"
TIMELINE = ("carried", "drawn", "timeline")
"""The script of a timeline in parts, each of which may use those before it."""
_SCRIPTS = (*TIMELINE, "page")
MADE_BY = '<meta name="generator" content="cyclesim">'
"""What a page of ours has in its head."""


def page(reports: Sequence[Report], beside: Table | None = None, us: bool = False) -> str:
    """The page of one plant, or of two with a table of what they come to *beside* each other.

    *us*: in US units, but for what stands as it was written.
    """
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    folder = files("cyclesim.shown.page")
    look = (folder / "page.css").read_text(encoding="utf-8") + style("var(--ink)", "var(--paper)", _BANDS)
    parts = ((folder / f"{name}.js").read_text(encoding="utf-8") for name in _SCRIPTS)
    does = f'"use strict";\n(() => {{\n{"".join(parts)}}})();\n'
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    template = environment.from_string((folder / "page.html").read_text(encoding="utf-8"))

    def told(blocks: Sequence[Block]) -> list[Viewed]:
        return viewed(turned(blocks, us))

    plants = [
        {
            "letter": letter,
            "report": one,
            "title": plain(one.title),
            "drawing": Markup(within(one.drawing, f"{letter}-plant")),  # it escapes all that it is given
            "words": list(map(plain, one.drawing.alternative)),
            "key": one.drawing.key,
            "weeks": Markup(weeks_svg(one.spread)),
            "machines": [(Markup(machine_svg(m.drawn)), told(m.blocks)) for m in one.machines],
            "in_numbers": told([one.weeks]),
            "packed": packed(one.timeline, us),
            "noted": [(note.number, plain(sentence(note.text, us))) for note in one.timeline.noted],
            "chapters": {
                name: [*viewed(chapter.as_written), *told(chapter.blocks)]
                for name, chapter in one.chapters.items()
            },
            "bars": {name: [bar_rows(b) for b in chapter.bars] for name, chapter in one.chapters.items()},
        }
        for letter, one in zip(_LETTERS, reports, strict=False)
    ]
    return template.render(
        plants=plants,
        made_by=Markup(MADE_BY),
        beside=None if beside is None else told([beside]),
        policy=_policy(look, does),
        look=Markup(look),
        does=Markup(does),
    )


def _policy(look: str, does: str) -> str:
    """Nothing is fetched, and only this style and this script are used."""
    hashes = (base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() for text in (look, does))
    style_hash, script_hash = hashes
    return (
        f"default-src 'none'; style-src 'sha256-{style_hash}'; script-src 'sha256-{script_hash}'; "
        "img-src data:; base-uri 'none'; form-action 'none'"
    )

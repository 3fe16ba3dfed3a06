"""The state machines of a plant as one text, one Markdown page of Mermaid diagrams, or one SVG drawing."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from html import escape

from cyclesim.analysis.amounts import listed
from cyclesim.control import diagram as drawing
from cyclesim.control.machines import Machine
from cyclesim.errors import CycleSimError

_MARGIN_PT, _HEADING_PT = 12, 28


def drawn(machines: Iterable[Machine], form: str, past: Mapping[str, Sequence[str]] | None = None) -> str:
    """Every machine as `text`, `mermaid` or `svg`; CycleSimError where Graphviz is missing for svg.

    *past*: what else starts a machine's thing, past all of this; told in the text only.
    """
    if form == "svg":
        return _svg(machines)
    if form == "mermaid":
        return "\n".join(f"## {m.name}\n\n```mermaid\n{drawing.as_mermaid(m)}```\n" for m in machines)
    texts = []
    for machine in machines:
        ways = [way.partition(", ")[2] for way in (past or {}).get(machine.name, ())]
        beside = f"  whatever its state, its {listed(ways)} may have it on\n" if ways else ""
        texts.append(drawing.as_text(machine) + beside)
    return "\n".join(texts)


def _svg(machines: Iterable[Machine]) -> str:
    """The drawings below each other, each under its machine's name."""
    parts: list[str] = []
    width, y = 0.0, 0.0
    for machine in machines:
        svg = drawing.as_svg(machine)
        if svg is None:
            raise CycleSimError(
                "drawing as svg needs Graphviz: install it (its command is dot), or use --as text or mermaid"
            )
        start = svg.index("<svg")
        size = re.match(r'<svg width="([\d.]+)pt" height="([\d.]+)pt"', svg[start:])
        assert size is not None, "Graphviz gives sizes in points"
        heading = f'<text x="{_MARGIN_PT}" y="{y + 20:g}" font-size="16">{escape(machine.name)}</text>'
        inner = svg[start:].replace("<svg ", f'<svg x="{_MARGIN_PT}" y="{y + _HEADING_PT:g}" ', 1)
        inner = inner.replace(f'{size[1]}pt"', f'{size[1]}"', 1).replace(f'{size[2]}pt"', f'{size[2]}"', 1)
        parts += [heading, inner.rstrip()]
        width, y = max(width, float(size[1])), y + _HEADING_PT + float(size[2])
    box = f"{width + 2 * _MARGIN_PT:g} {y + _MARGIN_PT:g}"
    wide, high = box.split()
    head = f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide}pt" height="{high}pt" viewBox="0 0 {box}">'
    return "\n".join([head, *parts, "</svg>", ""])

"""The weeks of a run as a grid: a row for each leg, a cell for each week, in the colour of its band."""

from __future__ import annotations

from html import escape

from cyclesim.said.drawing.shapes import Band
from cyclesim.said.spread import WeekSpread
from cyclesim.said.words import number, plain

_MARKS: dict[Band, str] = {"older": "m0 10h7", "over": "m0 5l7 9m0 -9l-7 9"}
"""What stands on a cell besides its colour: a dash, and a cross."""
_CELL, _ROW, _LEFT, _TOP = 14, 22, 190, 20


def weeks_svg(spread: WeekSpread) -> str:
    """The grid as SVG for a page whose style knows its bands; each cell says its number."""
    wide, high = _LEFT + _CELL * len(spread.begins) + 8, _TOP + _ROW * len(spread.legs) + 4
    parts = [
        f'<svg viewBox="0 0 {wide} {high}" width="{wide}" height="{high}" class="weeks" aria-hidden="true">'
    ]
    month = ""
    for k, day in enumerate(spread.begins):
        if f"{day:%b}" != month:
            month = f"{day:%b}"
            if k + 2 < len(spread.begins) or not k:
                parts.append(f'<text x="{_LEFT + _CELL * k}" y="13">{month}</text>')
    for y, leg in enumerate(spread.legs):
        top = _TOP + _ROW * y
        parts.append(f'<text x="0" y="{top + 14}">{escape(plain(_short(leg.name)))}</text>')
        for k, (hours, band) in enumerate(zip(leg.oldest_h, leg.bands, strict=True)):
            day = spread.begins[k]
            told = f"{leg.name}, week from {day.day} {day:%b %Y}: oldest water {number(hours)} h"
            x, wide = _LEFT + _CELL * k, _CELL - 1
            mark = f'<path d="M{x + 3} {top}{_MARKS[band]}"/>' if band in _MARKS else ""
            parts.append(
                f'<g class="week {band}" data-row="{y}" data-column="{k}" '
                f'data-told="{escape(plain(told))}"><rect x="{x}" y="{top}" width="{wide}" '
                f'height="{_ROW - 3}"/>{mark}<title>{escape(plain(told))}</title></g>'
            )
    return "".join([*parts, "</svg>"])


def _short(name: str) -> str:
    return name if len(name) <= 27 else f"{name[:24]}..."

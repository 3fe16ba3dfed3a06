"""The drawing of a plant as SVG: for a file of its own, and for what it is set into.

Symbols follow ISO 10628-2 and ISO 14617 as remembered; the standards were not opened.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from xml.sax.saxutils import escape, quoteattr

from cyclesim.said.drawing import Drawing
from cyclesim.said.drawing.shapes import (
    NAME_PX,
    ROW_PX,
    TEXT_PX,
    Band,
    Label,
    Line,
    Point,
    Symbol,
    Way,
    label_width,
)
from cyclesim.said.words import plain
from cyclesim.shown.pictures.drawing import ADVICE

INK, PAPER = "#1b1f24", "#ffffff"
BANDS = {"young": "#1f78b4", "older": "#9a6700", "over": "#b3261e", "never": "#5b5b5b"}
"""The colour of each band, dark enough for words on white."""
_SHRINKS_PX = 690
"""Up to this width a page may shrink a drawing to a narrow screen's two thirds, and it can still be read."""
_TURNED: dict[Way, int] = {"east": 0, "west": 180, "north": -90}
_SHAPES = {
    "pump": '<circle r="16"/><path d="M-8 -13.9L16 0L-8 13.9"/>',
    "blower": '<circle r="16"/><path d="M-11 -11.6L14.4 -7M-11 11.6L14.4 7"/>',
    "filter": '<rect x="-16" y="-16" width="32" height="32"/><path d="M0 -16V16" stroke-dasharray="5 3"/>',
    "strainer": '<rect x="-16" y="-16" width="32" height="32"/><path d="M-16 16L16 -16" '
    'stroke-dasharray="5 3"/>',
    "vessel": '<rect x="-16" y="-16" width="32" height="32"/>',
    "exchanger": '<circle r="16"/><path d="M-16 0H-8L-3 -9L3 9L8 0H16"/>',
    "plates": '<rect x="-16" y="-16" width="32" height="32"/><path d="M-16 16L16 -16"/>',
    "electric": '<rect x="-16" y="-12" width="32" height="24"/><path d="M-16 0H-8L-3 -8L3 8L8 0H16"/>',
    "valve": '<path d="M-12 -8L12 8V-8L-12 8Z"/>',
    "check valve": '<path class="open" d="M-10 -9V9M10 -9V9M-10 -9L10 9"/>'
    '<path class="ink" d="M10 9L2 7.5L6.500 1.500Z"/>',
    "tee": '<circle class="ink" r="4"/>',
    "pipe end": '<circle r="7"/>',
    "cap": '<path class="open" d="M0 -8V8"/>',
    "arrow": '<path class="ink" d="M-6 -5L6 0L-6 5Z"/>',
    "jet": '<path d="M0 -4V4"/>',
    "last jet": '<path class="ink" d="M-6 -5H6L0 6Z"/>',
}


def write_plant(drawing: Drawing, mark: str | None = None) -> str:
    """The drawing as a file of its own, with its title and its key; *mark*: of which file it is.

    With a mark, be it empty, it says of itself what it is; without one that stands around it.
    """
    told = [] if mark is None else [" ".join(filter(None, (f"{ADVICE}.", mark)))]
    return _alone(drawing, 3 * ROW_PX, told)[0]


def sheet_of(drawing: Drawing) -> tuple[str, tuple[int, int]]:
    """The drawing with its key for a page that has its title; and how wide and high it is, in pixels."""
    return _alone(drawing, 0, ())


def _alone(drawing: Drawing, top: int, told: Sequence[str]) -> tuple[str, tuple[int, int]]:
    """What is a picture by itself: its title where *top* leaves room for it, its key, what else is told."""
    foot = 2 * ROW_PX * (bool(drawing.key) + len(told))
    key_wide = max((x for *_, x in _swatches(drawing)), default=0)
    wide = max(drawing.width, key_wide, 640 if top else 0)
    high = drawing.height + top + foot
    in_words = " ".join(map(plain, drawing.alternative))
    key = list(_key(drawing, high - ROW_PX * (1 + 2 * len(told))))
    key += [_text(16, high - ROW_PX, plain(text), "") for text in told]
    title = [_text(16, 2 * ROW_PX, plain(drawing.title), "name big")] if top else []
    body = f'<g transform="translate(0 {top})">{"".join(_body(drawing, "plant"))}</g>'
    svg = "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide} {high}" width="{wide}" '
            f'height="{high}" class="plant" role="img" aria-labelledby="plant-title plant-desc">',
            f'<title id="plant-title">{escape(plain(drawing.title))}</title>',
            f'<desc id="plant-desc">{escape(in_words)}</desc>',
            f"<style>{own_style()}</style>",
            f'<rect width="{wide}" height="{high}" fill="{PAPER}"/>',
            *title,
            body,
            *key,
            "</svg>\n",
        ]
    )
    return svg, (wide, high)


def within(drawing: Drawing, name: str = "plant") -> str:
    """The drawing for a page that has a style of its own; ids begin with *name*."""
    title, size = f"{name}-title", f'width="{drawing.width}" height="{drawing.height}"'
    kind = "plant small" if drawing.width <= _SHRINKS_PX else "plant"
    return "".join(
        [
            f'<svg viewBox="0 0 {drawing.width} {drawing.height}" {size} class="{kind}" role="img" '
            f"aria-labelledby={quoteattr(title)}>",
            f"<title id={quoteattr(title)}>The plant as drawn from its file. "
            "All that it shows stands below it in words.</title>",
            *_body(drawing, name),
            "</svg>",
        ]
    )


def own_style() -> str:
    """How a drawing in a file of its own looks."""
    return style(INK, PAPER, BANDS)


def style(ink: str, paper: str, bands: dict[str, str], of: str = ".plant") -> str:
    """The rules for a drawing in these colours."""
    thin = ",".join(f"{of} .{kind}" for kind in ("joint", "spray", "air", "own", "ground"))
    rules = [
        f"{of}{{font-family:'DejaVu Sans',Verdana,Arial,sans-serif;stroke-linejoin:round}}",
        f"{of} text{{fill:{ink};stroke:none;font-size:{TEXT_PX}px}}",
        f"{of} .name{{font-weight:bold;font-size:{NAME_PX}px}}",
        f"{of} .big{{font-size:16px}}",
        f"{thin}{{fill:none;stroke:{ink};stroke-width:2px}}",
        f"{of} .spray{{stroke-dasharray:2 4}}",
        f"{of} .air{{stroke-dasharray:8 4}}",
        f"{of} .pipe,{of} .jets{{fill:none;stroke:{ink}}}",
        f"{of} .symbol{{fill:{paper};stroke:{ink};stroke-width:1.6px}}",
        f"{of} .symbol .ink,{of} .shut{{fill:{ink}}}",
        f"{of} .symbol .open{{fill:none}}",
        f"{of} .water{{fill:{bands['young']};fill-opacity:0.16;stroke:none}}",
        f"{of} .wall{{fill:none;stroke:{ink};stroke-width:4px}}",
        f"{of} .mark{{fill:none;stroke:{paper};stroke-width:1.5px}}",
        f"{of} .mark.over{{stroke-dasharray:3 4}}",
        f"{of} .mark.never{{stroke-dasharray:1 3}}",
    ]
    for band, colour in bands.items():
        rules.append(f"{of} .pipe.{band},{of} .jets.{band}{{stroke:{colour}}}")
        rules.append(f"{of} text .{band},{of} text.{band}{{fill:{colour};font-weight:bold}}")
    return "".join(rules)


def _body(drawing: Drawing, name: str) -> Iterator[str]:
    yield from (_line(line) for line in drawing.lines if not line.about)
    yield _tub(drawing, name)
    yield from (_symbol(symbol) for symbol in drawing.symbols if symbol.about not in drawing.told)
    yield from (_label(label) for label in drawing.labels if label.about not in drawing.told)
    for about, told in drawing.told.items():
        parts = [
            *(_line(line) for line in drawing.lines if line.about == about),
            *(_symbol(symbol) for symbol in drawing.symbols if symbol.about == about),
            *(_label(label) for label in drawing.labels if label.about == about),
        ]
        if parts:
            yield f"<g id={quoteattr(f'{name}-{about}')}><title>{escape(plain(told))}</title>"
            yield from parts
            yield "</g>"


def _tub(drawing: Drawing, name: str) -> str:
    """An open vessel, with its water's level."""
    x0, y0, x1, y1 = drawing.tub
    level, middle = y0 + 16, x0 + (x1 - x0) // 4
    told = escape(drawing.told[drawing.tub_label.about])
    mark = f"M{middle - 6} {level - 9}H{middle + 6}L{middle} {level}Z"
    return (
        f"<g id={quoteattr(f'{name}-tub')}><title>{told}</title>"
        f'<rect class="water" x="{x0}" y="{level}" width="{x1 - x0}" height="{y1 - level}"/>'
        f'<path class="wall" d="M{x0} {y0}V{y1}H{x1}V{y0}"/>'
        f'<path class="joint" d="M{x0} {level}H{x1}"/><g class="symbol"><path d="{mark}"/></g>'
        f"{_label(drawing.tub_label)}</g>"
    )


def _line(line: Line) -> str:
    path = "M" + "L".join(f"{p.x} {p.y}" for p in line.points)
    if line.kind not in ("pipe", "jets"):
        return f'<path class="{line.kind}" d="{path}"/>'
    drawn = f'<path class="{line.kind} {line.band}" stroke-width="{line.px}" d="{path}"/>'
    if line.band in ("over", "never"):
        drawn += f'<path class="mark {line.band}" d="{path}"/>'
    return drawn


def _symbol(symbol: Symbol) -> str:
    turn = _TURNED[symbol.way]
    if symbol.kind in ("jet", "last jet"):
        turn = 90 if symbol.way == "north" else 0
    shut = " shut" if symbol.shut else ""
    place = f"translate({symbol.at.x} {symbol.at.y})" + (f" rotate({turn})" if turn else "")
    return f'<g class="symbol{shut}" transform="{place}">{_SHAPES[symbol.kind]}</g>'


def _label(label: Label) -> str:
    """Each line of text, its name first and its age in the colour of its band."""
    last = len(label.lines) - 1
    return "".join(
        _text(
            label.at.x,
            label.at.y + ROW_PX * k + TEXT_PX,
            plain(line),
            " ".join(
                filter(None, ("" if k else "name", label.band if label.age and k == last and k else ""))
            ),
            centred=label.centred,
        )
        for k, line in enumerate(label.lines)
    )


def _text(x: int, y: int, text: str, kind: str, *, centred: bool = False) -> str:
    middle = ' text-anchor="middle"' if centred else ""
    kind = f' class="{kind}"' if kind else ""
    return f'<text x="{x}" y="{y}"{kind}{middle}>{escape(text)}</text>'


def _swatches(drawing: Drawing) -> Iterator[tuple[Band, str, int, int]]:
    """What the colours mean, in a row: each with where it begins and ends."""
    x = 16
    for band, words in drawing.key:
        end = x + 34 + label_width(("", words)) + 16
        yield band, words, x, end
        x = end


def _key(drawing: Drawing, y: int) -> Iterator[str]:
    for band, words, x, _ in _swatches(drawing):
        swatch = Line((Point(x, y - 4), Point(x + 28, y - 4)), "pipe", "", 7, band)
        yield _line(swatch) + _text(x + 34, y, words, "")

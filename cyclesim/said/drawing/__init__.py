"""The plant drawn from its file: tub left, machines right, suction legs below, return legs above."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from cyclesim.analysis.amounts import listed
from cyclesim.analysis.findings import Finding
from cyclesim.analysis.metrics import LegMetrics
from cyclesim.said.drawing.elements import Elements
from cyclesim.said.drawing.joined import TUB, DrawnLink, Joined, Tee, joined
from cyclesim.said.drawing.pieces import GRID, DrawnPart, Layout, through
from cyclesim.said.drawing.routes import Grid
from cyclesim.said.drawing.shapes import ROW_PX, Box, Drawing, Label, Line, Point, Symbol
from cyclesim.said.verdict import alike
from cyclesim.scenario.blocks.chains import Chain
from cyclesim.simulation.assembly import Assembly

__all__ = ["Drawing", "drawing", "numbered"]

_MOST_ROUTED = 4
"""Links: of more, each stands below with the names of its ends, as lines would only tangle."""
_KEPT_CLEAR = ("pipe", "jets", "own", "ground")
_TUB_PX, _TO_TUB, _MARGIN, _APART = 12 * GRID, 5 * GRID, 2 * GRID, 4 * GRID


def drawing(
    plant: Assembly,
    ages: Mapping[str, LegMetrics] | None = None,
    us: bool = False,
    findings: Sequence[Finding] = (),
) -> Drawing:
    """The drawing of a plant; with *ages* of a run (`Metrics.legs`) each leg tells how old its water gets.

    *us*: in US units; words take room, so that they are the reader's own before anything has its place.
    *findings* stand by their numbers beside the elements that they are about.
    """
    sheet, elements = plant.sheet, Elements(plant, ages, us, numbered(findings))
    network = joined(sheet.network, sheet.junctions)
    machines = frozenset({*sheet.pumps, *sheet.equipment, *sheet.heat_sources})
    layout = Layout(elements.piece, machines, frozenset(sheet.legs))
    whole = layout.nested(network.ways) if network.ways else DrawnPart([], [], Box(0, 0, 0, 0))
    tub = _with_tub(whole)
    across = _strips(whole, layout, network)
    for name, leg in sheet.legs.items():
        if leg.dead_end:
            _below(whole, elements.dead_end(name))
    for name in sheet.trenches:
        _below(whole, elements.trench(name))
    for name in sheet.air:
        _air(whole, elements.blower(name), tub)
    _route(whole, tub, across)
    return _on_sheet(plant, elements, whole, tub)


def numbered(findings: Sequence[Finding]) -> dict[str, list[int]]:
    """The numbers that findings have in a report, by the element that each is about."""
    by_element: dict[str, list[int]] = {}
    for number, group in enumerate(alike(findings), start=1):
        for subject in dict.fromkeys(finding.subject.partition(", ")[0] for finding in group):
            by_element.setdefault(subject, []).append(number)
    return by_element


def _with_tub(whole: DrawnPart) -> Box:
    """Draw every way out to the tub's wall; the tub's box."""
    ends = whole.inlets + whole.outlets or [Point(0, 0)]
    for p in whole.inlets:
        whole.joint(Point(-_TO_TUB, p.y), p)
        whole.symbols.append(Symbol("arrow", Point(p.x - _TO_TUB // 2, p.y), "east"))
    whole.out_to(-_TO_TUB)
    for p in whole.outlets:
        whole.symbols.append(Symbol("arrow", Point(p.x - _TO_TUB // 2, p.y), "west"))
    top, bottom = min(p.y for p in ends) - 5 * GRID, max(p.y for p in ends) + 3 * GRID
    tub = Box(-_TO_TUB - _TUB_PX, top, -_TO_TUB, max(bottom, top + 14 * GRID))
    whole.box = whole.box.joined(tub)
    return tub


def _strips(whole: DrawnPart, layout: Layout, network: Joined) -> list[tuple[str, str, Point, Point]]:
    """Put what goes across below everything: a strip for each link, with what it is to be joined to."""
    across = []
    ends = dict.fromkeys(end for link in network.links for end in link[:2])
    for name in ends:
        if name != TUB and name not in whole.tees:
            _below(whole, layout.element(Tee(name), "east"))
    for link in network.links:
        start, end = _below(whole, _one_ended(layout, link, len(network.links) > _MOST_ROUTED))
        across.append((link.start, link.end, start, end))
    return across if len(across) <= _MOST_ROUTED else []


def _one_ended(layout: Layout, link: DrawnLink, named: bool) -> DrawnPart:
    """The strip of a link, with one end at each side; *named*: each end says where it belongs."""
    if named:
        return layout.straight((Tee(link.start), *link.run, Tee(link.end)), "east")
    run = link.run if link.run and isinstance(link.run[0], str) else (Tee(""), *link.run)
    if not isinstance(run[-1], str):
        run = (*run, Tee(""))
    return layout.straight(run, "east")


def _below(whole: DrawnPart, piece: DrawnPart) -> tuple[Point, Point]:
    """Put a piece below everything."""
    piece = piece.moved(-piece.box.x0, whole.box.y1 + _APART - piece.box.y0)
    whole.take(piece)
    return piece.inlets[0], piece.outlets[0]


def _air(whole: DrawnPart, piece: DrawnPart, tub: Box) -> None:
    """Put a blower above everything at the right, its pipe down into the tub."""
    right = whole.box.x1 - GRID
    piece = piece.moved(right - piece.box.x1, whole.box.y0 - _MARGIN - piece.box.y1)
    air = [Line(line.points, "air", piece.labels[0].about) for line in piece.lines[1:]]
    piece.lines = []
    whole.take(piece)
    x, end = (tub.x0 + tub.x1) // 2 // GRID * GRID, piece.outlets[0]
    down = Line((end, Point(x, end.y), Point(x, tub.y0 + 3 * GRID)), "air", piece.labels[0].about)
    whole.lines += [*air, down]


def _route(whole: DrawnPart, tub: Box, across: list[tuple[str, str, Point, Point]]) -> None:
    if not across:
        return
    wide = 6 * GRID
    within = Box(whole.box.x0, whole.box.y0 - wide, whole.box.x1 + wide, whole.box.y1 + wide)
    taken = [label.box for label in whole.labels]
    taken += [symbol.box for symbol in whole.symbols if symbol.kind != "tee"]
    taken += [line.box for line in whole.lines if line.kind in _KEPT_CLEAR]
    lines = [line for line in whole.lines if line.kind not in _KEPT_CLEAR]
    sheet = Grid(within, [*taken, tub], lines)
    berth = tub.x1 - GRID
    for start, end, leaves, arrives in across:
        for name, here, outward in ((start, leaves, True), (end, arrives, False)):
            if name == TUB:
                there, berth = Point(berth // GRID * GRID, -(-tub.y1 // GRID) * GRID), berth - 2 * GRID
            else:
                there = whole.tees[name]
            points = sheet.route(there, here) if outward else sheet.route(here, there)
            sheet.add(points)
            whole.lines.append(Line(points))
            for p in points:
                whole.box = whole.box.joined(Box(p.x, p.y, p.x, p.y))


def _on_sheet(plant: Assembly, elements: Elements, whole: DrawnPart, tub: Box) -> Drawing:
    dx, dy = _MARGIN - whole.box.x0, _MARGIN - whole.box.y0
    tub = tub.moved(dx, dy)
    placed = whole.moved(dx, dy)
    water = elements.quantity(plant.volume_m3, "volume")
    middle = Point((tub.x0 + tub.x1) // 2, (tub.y0 + tub.y1) // 2 - ROW_PX)
    return Drawing(
        title=plant.scenario.title,
        width=placed.box.x1 + _MARGIN,
        height=placed.box.y1 + _MARGIN,
        tub=tub,
        tub_label=Label(middle, ("tub", water), TUB, centred=True),
        lines=tuple(through([line for line in placed.lines if line.points[0] != line.points[-1]])),
        symbols=tuple(placed.symbols),
        labels=tuple(label for label in placed.labels if any(label.lines)),
        told={TUB: f"tub: {water} of water.", **elements.told()},
        ways=tuple(_said(chain) for chain in plant.sheet.network),
        key=elements.key(),
    )


def _said(chain: Chain) -> str:
    """How the water runs along a chain, as a sentence."""
    start, *between, end = (str(p) if isinstance(p, str) else p for p in chain)
    told = "; then ".join(_told(between)) or "nothing between"
    return f"Water runs from {_the(start)} to {_the(end)}: {told}."


def _told(run: object) -> Iterator[str]:
    assert isinstance(run, list | tuple)
    for item in run:
        if isinstance(item, str):
            yield item
        else:
            yield listed([", then ".join(_told(branch)) for branch in item.branches]) + " side by side"


def _the(end: object) -> str:
    return "the tub" if end == TUB else str(end)

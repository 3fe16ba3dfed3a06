"""The drawing of a plant: nothing on anything, everything joined as the network is, and read out in words."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Iterator
from itertools import combinations
from pathlib import Path
from types import SimpleNamespace

import pytest
import yaml
from click.testing import CliRunner

from cyclesim.cli import cli
from cyclesim.said.drawing import Drawing, drawing, numbered
from cyclesim.said.drawing.joined import Split, Tee, joined
from cyclesim.said.drawing.shapes import Box, Line, Point
from cyclesim.scenario.blocks.chains import read_network
from cyclesim.scenario.reading.load import load, load_text
from cyclesim.scenario.text.yaml_file import parse_text
from cyclesim.shown.pictures.plant import within, write_plant
from cyclesim.simulation.assembly import Assembly
from tests.evidence.engine_networks import drawn

SCHEDULES = Path(__file__).resolve().parents[2] / "schedules"
SHIPPED = sorted(path.name for path in SCHEDULES.glob("*.yaml"))
_HYDRAULIC = ("pumps", "equipment", "heat_sources", "valves", "check_valves", "circulators")


def plant(name: str) -> Assembly:
    """A shipped plant."""
    return Assembly(load(SCHEDULES / name))


def bled(title: str = "Walled garden") -> Assembly:
    """A plant with a link."""
    return Assembly(load_text(bled_text(title), "tub.yaml"))


def bled_text(title: str = "Walled garden") -> str:
    """A shipped plant with a bleed across from one pump's loop to the other's, and a capped spare."""
    text = (SCHEDULES / "walled-garden-circulator.yaml").read_text(encoding="utf-8")
    whole = parse_text(text, "tub.yaml").value
    whole["title"] = title
    parts = whole["plant"]
    parts["legs"]["bleed"] = {"pipe": "32 PN10", "length": "3 m", "zone": "pump_room"}
    parts["legs"]["spare"] = {"pipe": "63 PN10", "length": "2 m", "zone": "soil", "dead_end": True}
    parts["valves"] = {"tap_valve": {"drop": "1 m at 20 L/min", "usual": "open"}}
    parts["junctions"] = ["tap", "end"]
    first, second = parts["network"]
    first.insert(4, "tap")
    second.insert(3, "end")
    parts["network"].append(["tap", "bleed", "tap_valve", "end"])
    return yaml.safe_dump(whole)


def plates_across() -> Assembly:
    """The same with a boiler on water of its own in the bleed, so that its plates lie level on the sheet."""
    whole = parse_text(bled_text(), "tub.yaml").value
    own = parse_text((SCHEDULES / "slate-barn.yaml").read_text(encoding="utf-8"), "barn.yaml").value["plant"]
    parts = whole["plant"]
    parts["circulators"] = own["circulators"]
    parts["heat_sources"]["boiler"] = own["heat_sources"]["boiler"] | {"zone": "pump_room"}
    parts["network"][-1][2] = "boiler"
    del parts["valves"]
    whole["interlocks"].append({"block": "boiler", "while": "boiler_pump stopped"})
    return Assembly(load_text(yaml.safe_dump(whole), "tub.yaml"))


def ladder(rungs: int) -> Assembly:
    """The two loops of a shipped plant, joined by so many legs."""
    text = (SCHEDULES / "walled-garden-circulator.yaml").read_text(encoding="utf-8")
    whole = parse_text(text, "tub.yaml").value
    parts, legs = whole["plant"], whole["plant"]["legs"]
    first, second = parts["network"]
    chains = [[*first[:4], "a0"], [*second[:3], "b0"]]
    for k in range(rungs):
        pieces = [("rung", f"a{k}", f"b{k}")]
        pieces += [(f"{rail}rail", f"{rail}{k}", f"{rail}{k + 1}") for rail in "ab" if k + 1 < rungs]
        for name, start, end in pieces:
            legs[f"{name}{k}"] = {"pipe": "32 PN10", "length": "2 m", "zone": "pump_room"}
            chains.append([start, f"{name}{k}", end])
    parts["network"] = [*chains, [f"a{rungs - 1}", *first[4:]], [f"b{rungs - 1}", *second[3:]]]
    parts["junctions"] = [f"{rail}{k}" for rail in "ab" for k in range(rungs)]
    return Assembly(load_text(yaml.safe_dump(whole), "tub.yaml"))


def ages(of: Assembly, hours: float | None = 9.0) -> dict[str, SimpleNamespace]:
    """An age for everything that has one."""
    return {name: SimpleNamespace(oldest_water_h=hours) for name in of.reported}


def every() -> Iterator[tuple[str, Assembly]]:
    """The shipped plants, one with a link across, and drawn ones of every kind of network."""
    yield from ((name, plant(name)) for name in SHIPPED)
    yield "bled", bled()
    yield "plates across", plates_across()
    yield "ladder", ladder(4)
    yield from ((f"drawn {seed}", Assembly(drawn(seed))) for seed in range(33))


def _parts(sheet: Drawing) -> Iterator[tuple[Line, Box]]:
    """Each straight piece of each line."""
    for line in sheet.lines:
        for ends in zip(line.points, line.points[1:], strict=False):
            yield line, Line(ends, line.kind, line.about, line.px).box


@pytest.mark.parametrize(("name", "of"), [pytest.param(n, a, id=n) for n, a in every()])
@pytest.mark.parametrize("aged", [False, True], ids=["bare", "aged"])
def test_nothing_lies_on_anything(name: str, of: Assembly, aged: bool) -> None:
    """No label on a line, a symbol or another label; no symbol on a symbol; all on the sheet."""
    sheet = drawing(of, ages(of) if aged else None)
    whole = Box(0, 0, sheet.width, sheet.height)
    labels = [*sheet.labels, sheet.tub_label]
    segments = [box for _, box in _parts(sheet)]
    symbols = [symbol for symbol in sheet.symbols if symbol.kind not in ("arrow", "jet", "last jet")]
    own = [box for line, box in _parts(sheet) if line.kind in ("own", "ground")]
    water = [box for line, box in _parts(sheet) if line.kind not in ("own", "ground")]
    assert not [box for box in own if any(box.meets(other) for other in water)]
    for box in [*(label.box for label in labels), *(symbol.box for symbol in sheet.symbols), *segments]:
        assert (whole.x0, whole.y0) <= (box.x0, box.y0), name
        assert box.x1 <= whole.x1, name
        assert box.y1 <= whole.y1, name
    for label in labels:
        assert not [box for box in segments if label.box.meets(box)], label
        assert not [one for one in sheet.symbols if label.box.meets(one.box)], label
    for one, other in combinations(labels, 2):
        assert not one.box.meets(other.box), (one, other)
    for one, other in combinations(symbols, 2):
        assert not one.box.meets(other.box), (one, other)
    pipes = [line for line in sheet.lines if line.kind in ("pipe", "jets")]
    for one, other in combinations(pipes, 2):
        assert one.about == other.about or not one.box.meets(other.box), (one, other)


def nets(sheet: Drawing) -> dict[str, set[int]]:
    """Which lines, as joined sets by number, each element touches: read off the sheet alone."""
    joints = [line for line in sheet.lines if line.kind in ("joint", "spray")]
    parent = list(range(len(joints)))

    def root(k: int) -> int:
        while parent[k] != k:
            k = parent[k]
        return k

    def on(p: Point, line: Line) -> bool:
        return any(
            min(a.x, b.x) <= p.x <= max(a.x, b.x) and min(a.y, b.y) <= p.y <= max(a.y, b.y)
            for a, b in zip(line.points, line.points[1:], strict=False)
        )

    for (i, one), (k, other) in combinations(enumerate(joints), 2):
        ends = (one.points[0], one.points[-1]), (other.points[0], other.points[-1])
        if any(on(p, other) for p in ends[0]) or any(on(p, one) for p in ends[1]):
            parent[root(i)] = root(k)
    touched: dict[str, set[int]] = {}
    for line in sheet.lines:
        if line.kind in ("pipe", "jets"):
            for k, joint in enumerate(joints):
                if {line.points[0], line.points[-1]} & {joint.points[0], joint.points[-1]}:
                    touched.setdefault(line.about, set()).add(root(k))
    for symbol in sheet.symbols:
        if symbol.about and symbol.kind not in ("jet", "last jet", "cap", "blower"):
            box = symbol.box
            for k, joint in enumerate(joints):
                if any(
                    box.x0 <= p.x <= box.x1 and box.y0 <= p.y <= box.y1
                    for p in (joint.points[0], joint.points[-1])
                ) or (symbol.kind == "tee" and on(symbol.at, joint)):
                    touched.setdefault(symbol.about, set()).add(root(k))
    wall = sheet.tub
    for k, joint in enumerate(joints):
        if any(p.x == wall.x1 or p.y == wall.y1 for p in (joint.points[0], joint.points[-1])):
            touched.setdefault("tub", set()).add(root(k))
    return touched


@pytest.mark.parametrize("of", [pytest.param(a, id=n) for n, a in every()])
def test_what_is_joined_on_the_sheet_is_joined_in_the_network(of: Assembly) -> None:
    """Two elements touch one set of lines just where the solver's network has a node between them."""
    touched = nets(drawing(of))
    nodes: dict[str, set[str]] = {"tub": {"tub"}}
    for element, a, b in of._placed:
        nodes.setdefault(element, set()).update((a, b))
    for junction in of.sheet.junctions:
        nodes[junction] = {junction}
    spare = {leg for leg, sheet in of.sheet.legs.items() if sheet.dead_end}
    assert set(nodes) == set(touched) - spare
    for one, other in combinations(nodes, 2):
        if "tub" in (one, other):  # where several ways reach the tub, each has a line of its own
            continue
        shared = {node for node in nodes[one] & nodes[other] if node != "tub"}
        assert bool(shared) == bool((touched[one] & touched[other]) - touched["tub"]), (one, other)
    for element in nodes.keys() - {"tub"}:
        assert ("tub" in nodes[element]) == bool(touched[element] & touched["tub"]), element


@pytest.mark.parametrize("name", SHIPPED)
def test_every_element_is_drawn_once_with_its_name_beside_it_and_in_words(name: str) -> None:
    """Legs by their pipes, all else by symbols; what is written is the name in the file."""
    of = plant(name)
    sheet = drawing(of, ages(of))
    legs = [line.about for line in sheet.lines if line.kind == "pipe"]
    beside = ("jet", "last jet", "tee", "plates", "pipe end")
    machines = [s.about for s in sheet.symbols if s.about and s.kind not in beside]
    kinds = [thing for kind in _HYDRAULIC for thing in getattr(of.sheet, kind)]
    ways = [way for diverter in of.sheet.diverters.values() for way in diverter.ways]
    assert sorted(of.sheet.legs) == sorted(legs)
    assert sorted([*kinds, *ways, *of.sheet.air]) == sorted(machines)
    laid = [leg for trench in of.sheet.trenches.values() for leg in trench.legs]
    assert laid == [s.about for s in sheet.symbols if s.kind == "pipe end"]
    plates = ["plates" for s in sheet.symbols if s.kind == "plates"]
    titles = [f"trench {trench}" for trench in of.sheet.trenches]
    names = [*legs, *machines, *of.sheet.junctions, *laid, *plates, *titles]
    assert sorted(names) == sorted(label.lines[0] for label in sheet.labels)
    said = " ".join(sheet.alternative)
    assert all(thing in said for thing in [*legs, *machines, *of.sheet.treatment])


@pytest.mark.parametrize("of", [plant("slate-barn.yaml"), plates_across()], ids=["upright", "level"])
def test_own_water_is_a_ring_through_plates_circulator_and_source(of: Assembly) -> None:
    """Walked from one to the next along its lines: three symbols, each entered and left once, and back."""
    sheet = drawing(of)
    parts = [s for s in sheet.symbols if s.kind == "plates" or s.about == "boiler_pump"]
    parts += [s for s in sheet.symbols if s.about == "boiler" and s.kind != "plates"]
    lines = [line for line in sheet.lines if line.kind == "own"]
    ends = [p for line in lines for p in (line.points[0], line.points[-1])]
    entered = [
        [p for p in ends if s.box.x0 <= p.x <= s.box.x1 and s.box.y0 <= p.y <= s.box.y1] for s in parts
    ]
    assert [2, 2, 2] == list(map(len, entered))
    at_symbols = {p for touched in entered for p in touched}
    assert all(ends.count(p) == 2 for p in set(ends) - at_symbols)
    assert sum(line.kind == "own" for line in sheet.lines) == len(parts) + len(set(ends) - at_symbols)


def test_a_trench_is_cut_across_with_its_legs_in_their_order() -> None:
    """As the file says it: from side to side, 800 mm deep, 130 mm from axis to axis, for 6 m."""
    of = plant("moss-cellar.yaml")
    sheet = drawing(of)
    laid = [s for s in sheet.symbols if s.kind == "pipe end"]
    assert ["left_bench", "suction_left", "suction_right", "right_bench"] == [
        s.about for s in sorted(laid, key=lambda s: s.at.x)
    ]
    title = next(label for label in sheet.labels if label.about == "trenches.garden")
    assert title.lines == ("trench garden", "800 mm deep, 6 m long; 130 mm from axis to axis")
    assert (
        "31.5 in deep, 19.7 ft long; 5.12 in from axis to axis"
        in drawing(of, us=True).told["trenches.garden"]
    )
    label = next(label for label in sheet.labels if label.about == "left_bench")
    assert "in trench garden" in label.lines


def test_a_leg_is_as_long_and_as_wide_on_the_sheet_as_its_pipe() -> None:
    """By hand: 11 m against 7 m is 192 px against 122; drawn to 16 px. 63 PN10 has a bore of 57 mm,
    50 PN10 of 45.2 mm."""
    sheet = drawing(plant("walled-garden-circulator.yaml"))
    pipes = {line.about: line for line in sheet.lines if line.kind == "pipe"}
    long = {name: abs(line.points[1].x - line.points[0].x) for name, line in pipes.items()}
    assert long["right_bench"] == 192
    assert abs(long["drain"] - 192 * 7 / 11) <= 8
    assert pipes["drain"].px < pipes["suction_left"].px


@pytest.mark.parametrize(
    ("hours", "band", "words"),
    [(12.0, "young", "oldest 12.0 h"), (12.1, "older", "oldest 12.1 h"), (24.0, "older", "oldest 24.0 h"),
     (24.1, "over", "oldest 24.1 h !"), (None, "never", "never moves")],
)  # fmt: skip
def test_the_colour_and_the_number_tell_the_same(hours: float | None, band: str, words: str) -> None:
    """The file allows 24 h: up to half of it, up to it, above it, and water that nothing moves."""
    of = plant("walled-garden.yaml")
    sheet = drawing(of, ages(of, hours))
    leg = next(line for line in sheet.lines if line.kind == "pipe")
    label = next(label for label in sheet.labels if label.about == leg.about)
    assert (band, band) == (leg.band, label.band)
    assert label.lines[-1].startswith(words)
    assert words in sheet.told[leg.about]


def test_findings_stand_beside_what_they_are_about() -> None:
    """By the numbers of the report: alike ones share one, a last jet's stand at its leg, others at none."""

    def found(rule: str, subject: str, cause: str) -> SimpleNamespace:
        return SimpleNamespace(rule=rule, subject=subject, cause=cause, mend="")

    findings = [
        found("stale-water", "left_bench", "it stands"),
        found("stale-water", "right_bench, last jet", "it stands"),
        found("supply-overload", "supply", "too much"),
        found("starts", "main", "too often"),
        found("starts", "right_bench", "too often"),
    ]
    assert {"left_bench": [1], "right_bench": [1, 4], "supply": [2], "main": [3]} == numbered(
        [*findings[:4], found("other", "right_bench", "x")]
    )
    sheet = drawing(plant("walled-garden.yaml"), findings=findings)
    lines = {label.about: label.lines for label in sheet.labels}
    assert "finding 1" in lines["left_bench"]
    assert "findings 1 and 3" in lines["right_bench"]
    assert "finding 3" in lines["main"]
    assert not any("finding" in line for line in lines["filter"])
    assert "findings 1 and 3" in sheet.told["right_bench"]
    race = drawing(plant("mill-race.yaml"), findings=[found("gas-without-flow", "cell", "its clock")])
    assert "finding 1" in race.told["cell_body"]  # which the cell has its place in


def test_chains_that_meet_come_out_as_boxes_in_boxes() -> None:
    """A tee that two pumps draw from is a split; a chain between two ways is a link."""
    network = read_network(
        [["tub", "s", "t"], ["t", "p", "a", "tub"], ["t", "q", {"parallel": ["b", ["c", "d"]]}, "tub"]]
    )
    split = Split((("b",), ("c", "d")))
    assert joined(network, ["t"]) == ((("s", Tee("t"), Split((("p", "a"), ("q", split)))),), ())
    across = read_network(
        [["tub", "p", "t", "a", "tub"], ["tub", "q", "u", "b", "tub"], ["t", "link", "u"]]
    )  # whichever is set aside, the rest must come out as one; the one between junctions goes first
    ways, links = joined(across, ["t", "u"])
    assert ways == (("p", Tee("t"), "a"), ("q", Tee("u"), "b"))
    assert [("t", "u", ("link",))] == list(links)


def test_a_network_that_is_no_boxes_loses_no_chain_and_is_drawn_soon() -> None:
    """Five junctions, each joined with each other one: every leg is in a way or in a link, each once.
    Of a ladder of forty rungs between two loops most stand below with the names of their ends."""
    names = ["j1", "j2", "j3", "j4", "j5"]
    chains = [["tub", "p1", "j1"], ["j5", "l0", "tub"]]
    chains += [[a, f"l{a[1]}{b[1]}", b] for a, b in combinations(names, 2)]
    ways, links = joined(read_network(chains), names)
    drawn_once = [*flat(ways), *(name for link in links for name in flat(link.run))]
    assert sorted(name for chain in chains for name in chain[1:-1]) == sorted(drawn_once)
    assert 1 == len(ways)
    sheet = drawing(ladder(40))
    assert {f"rung{k}" for k in range(40)} <= {label.about for label in sheet.labels}
    below = [symbol.about for symbol in sheet.symbols if symbol.kind == "tee"]
    assert {"a20", "b20"} <= set(below)


def flat(part: object) -> Iterator[str]:
    """The elements of a run."""
    if isinstance(part, Split):
        part = part.branches
    if isinstance(part, tuple) and not isinstance(part, Tee):
        for inner in part:
            yield from flat(inner)
    elif isinstance(part, str):
        yield part


HOSTILE = ["</script><b>&amp;\"'", "# $x$ 100 %", "\u05d0\u05d1 right to left", "W" * 200]


@pytest.mark.parametrize("title", HOSTILE, ids=["markup", "signs", "rtl", "long"])
def test_a_hostile_title_is_text(title: str) -> None:
    """The file parses as XML and holds the title as its text."""
    of = bled(title)
    root = ET.fromstring(write_plant(drawing(of)))
    spoken = root.find("{http://www.w3.org/2000/svg}title")
    assert spoken is not None
    assert title == spoken.text
    assert root.find(".//{http://www.w3.org/2000/svg}b") is None


def test_ids_are_those_of_the_drawing_and_told_apart_by_its_name() -> None:
    """Two drawings on one page share no id."""
    sheet = drawing(bled())
    one, other = (
        {node.attrib["id"] for node in ET.fromstring(within(sheet, name)).iter() if "id" in node.attrib}
        for name in ("here", "there")
    )
    assert not one & other
    assert "here-bleed" in one


def test_the_same_plant_gives_the_same_bytes() -> None:
    """Nothing of a drawing depends on when it is made."""
    of = bled()
    assert write_plant(drawing(of, ages(of))) == write_plant(drawing(of, ages(of)))


def test_check_and_run_write_the_drawing_and_refuse_another_form(tmp_path: Path) -> None:
    """`check` draws the plant alone, `run` with the ages of its days."""
    file, at = str(SCHEDULES / "walled-garden.yaml"), tmp_path / "plant.svg"
    assert CliRunner().invoke(cli, ["check", file, "--drawing", str(at)]).exit_code == 0
    assert "oldest" not in at.read_text(encoding="utf-8")
    assert CliRunner().invoke(cli, ["run", file, "--days", "2", "--drawing", str(at)]).exit_code == 0
    assert "oldest" in at.read_text(encoding="utf-8")
    assert "<svg" in CliRunner().invoke(cli, ["check", file, "--drawing", "-"]).output[:5]
    refused = CliRunner().invoke(cli, ["check", file, "--drawing", str(tmp_path / "plant.pdf")])
    assert refused.exit_code == 2
    assert "end the name" in refused.output

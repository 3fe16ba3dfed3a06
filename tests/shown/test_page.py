"""The page of a plant as text: all that is said, what it carries for its timeline, and the command."""

from __future__ import annotations

import base64
import json
import re
import zlib
from datetime import UTC, date, datetime, timedelta
from html.parser import HTMLParser
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from click.testing import CliRunner

from cyclesim.analysis.result import Result, simulate
from cyclesim.analysis.trials import tried
from cyclesim.cli import cli
from cyclesim.said.inputs import inputs
from cyclesim.said.page import Heading, Line, Page, Table
from cyclesim.said.report import Report, report
from cyclesim.said.verdict import alike, told_findings, told_mends
from cyclesim.said.words import plain
from cyclesim.scenario.reading.load import load, load_text, written
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.shown.cells import shown
from cyclesim.shown.page import page
from cyclesim.shown.page.blocks import viewed
from cyclesim.shown.page.packed import packed
from cyclesim.shown.reader import turned
from cyclesim.shown.terminal import printed

SCHEDULES = Path(__file__).resolve().parents[2] / "schedules"
HARBOUR = SCHEDULES / "harbour-steps.yaml"
FIRST = date(2027, 3, 25)  # a clock change is in it


class Read(HTMLParser):
    """The texts and ids of a page; scripts and styles are no text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.ids: list[str] = []
        self.inside = ""
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note ids, and what is no text."""
        self.ids += [value or "" for name, value in attrs if name == "id"]
        if tag in ("script", "style"):
            self.inside = tag

    def handle_endtag(self, tag: str) -> None:
        """Text again."""
        if tag == self.inside:
            self.inside = ""

    def handle_data(self, data: str) -> None:
        """Keep what is read."""
        if not self.inside and data.strip():
            self.texts.append(" ".join(data.split()))


@pytest.fixture(scope="module")
def result() -> Result:
    """Ten days of a shipped plant."""
    return simulate(load(HARBOUR), days=10, start=FIRST)


@pytest.fixture(scope="module")
def told(result: Result) -> Report:
    """What its page says."""
    return report(result, tuple(inputs(written(HARBOUR))))


def test_everything_said_stands_on_the_page(told: Report) -> None:
    """Each heading, line, heading of a column and cell of each chapter is a text of the page, in order."""
    texts = iter(Read(page([told])).texts)
    for chapter in told.chapters.values():
        machines = told.machines if chapter.name == "machines" else ()
        drawn = (block for machine in machines for block in machine.blocks)
        for block in (*chapter.as_written, *turned([*chapter.blocks, *drawn], False)):
            match block:
                case Heading():
                    due = [block.text]
                case Line():
                    due = [block.text.removeprefix("- ")]
                case Table():
                    rows = [
                        shown(c, column)
                        for row in block.rows
                        for c, column in zip(row.cells, block.columns, strict=False)
                    ]
                    due = [block.title, *rows]
            for text in filter(None, (" ".join(one.split()) for one in due)):
                assert any(found == text for found in texts), (chapter.name, text)


def test_ids_are_told_apart_also_for_two_plants(told: Report) -> None:
    """No id twice, and each link of the page leads to one."""
    html = page([told, told])
    ids = Read(html).ids
    assert len(set(ids)) == len(ids)
    links = re.findall(r'href="#([^"]+)"', html)
    assert links
    assert set(links) <= set(ids)


def test_what_the_page_carries_is_the_stretch(told: Report) -> None:
    """Summed up again: seconds as they are, temperatures and ages to half a hundredth."""
    carried = json.loads(zlib.decompress(base64.b64decode(packed(told.timeline))))

    def summed(steps: list[int]) -> list[int]:
        sums, total = [], 0
        for step in steps:
            total += step
            sums.append(total)
        return sums

    for curve, (name, seconds, ages) in zip(carried["ages"], told.timeline.oldest, strict=True):
        assert name == curve["name"]
        assert pytest.approx(seconds, abs=0.5) == summed(curve["t"])
        assert pytest.approx(ages, abs=0.00501) == [v / 100 for v in summed(curve["v"])]
    for lane, carried_lane in zip(told.timeline.ran, carried["ran"], strict=True):
        edges = [edge for span in lane.full for edge in span]
        assert edges == summed(carried_lane.get("full", []))


@pytest.mark.parametrize("first", [date(2027, 3, 25), date(2027, 10, 27)], ids=["spring", "autumn"])
def test_the_clock_of_the_page_is_that_of_the_place(first: date) -> None:
    """Every quarter of an hour over a clock change, against zoneinfo."""
    result = simulate(load(SCHEDULES / "mill-race.yaml"), days=6, start=first)
    timeline = report(result).timeline
    offsets = json.loads(zlib.decompress(base64.b64decode(packed(timeline))))["offsets"]
    assert 2 == len(offsets)
    zone = ZoneInfo(result.about.time_zone)
    for second in range(timeline.span[0], timeline.span[1], 900):
        offset = next(o for at, o in reversed(offsets) if at <= second)
        there = (result.trace.begin_utc + timedelta(seconds=second)).astimezone(zone).replace(tzinfo=None)
        assert there == datetime.fromtimestamp(second + offset, UTC).replace(tzinfo=None)


def test_every_input_is_told_as_written_with_its_line() -> None:
    """Each line told holds the last step of the key, or the value, as the file has it."""
    lines = HARBOUR.read_text(encoding="utf-8").splitlines()
    given = list(inputs(written(HARBOUR, ["supply.breaker=25 A"])))
    for one in given:
        name, _, line = one.where.partition(", line ")
        if name == "--set":
            assert ("supply.breaker", "25 A") == (one.path, one.text)
            continue
        here = lines[int(line) - 1]
        assert one.path.rsplit(".", 1)[-1] in here or one.text[:6] in here or one.path == "plant.network"
    paths = [one.path for one in given]
    assert {"plant.tub.water", "plant.legs.suction.bore", "title", "schedule.heating.keep_at"} <= {*paths}


def test_a_plant_written_in_us_units_is_told_in_them_but_for_what_it_says_itself(tmp_path: Path) -> None:
    """By hand: 1514 L are 400 US gal and 6.1 m are 20 ft; what the file says stands as it is written."""
    words = [
        "page",
        str(SCHEDULES / "cedar-yard.yaml"),
        "--days",
        "1",
        "--no-faults",
        "--no-savings",
        "--out",
    ]
    out = tmp_path / "page.html"
    for more, unit, length, water in (
        ([], "°F", "20 ft", "tub | 400 gal"),
        (["--units", "metric"], "°C", "6.1 m", "1,514 L"),
    ):
        assert CliRunner().invoke(cli, [*words, str(out), *more]).exit_code == 0
        read = Read(out.read_text(encoding="utf-8"))
        texts = " | ".join(read.texts)
        assert f"{length}, 2 in Sch 40, 5 jets" in texts
        assert water in texts
        assert "| 400 gal |" in texts
        carried = re.search(r'id="a-packed">([^<]+)<', out.read_text(encoding="utf-8"))
        assert carried
        told = json.loads(zlib.decompress(base64.b64decode(carried[1])))
        assert unit == told["unit"]
        tub_c = told["tub"]["v"][0] / 100 if unit == "°C" else (told["tub"]["v"][0] / 100 - 32) / 1.8
        assert 36 < tub_c < 40


def test_what_has_no_curve_is_named_and_so_is_who_hands_over() -> None:
    """A capped spare never moves; names are text, whatever they hold."""
    sets = (
        "plant.legs.spare={pipe: 63 PN10, length: 2 m, zone: soil, dead_end: true}",
        "about={firm: 'Tubs & <b>Sons</b>', client: 'The mill'}",
    )
    told = report(simulate(load(HARBOUR, sets=sets), days=1))
    texts = Read(page([told])).texts
    assert "No curve, as nothing ever moves its water: spare." in texts
    assert "firm: Tubs & <b>Sons</b>; client: The mill" in texts


def test_a_file_that_is_named_is_told_by_its_name(tmp_path: Path) -> None:
    """Prices in a CSV file: the path as it is written, not what it holds."""
    rows = "".join(f"2027-01-0{day} 00:00,0.3\n" for day in range(1, 5))
    (tmp_path / "prices.csv").write_text(f"time,price [EUR/kWh]\n{rows}", encoding="utf-8")
    text = HARBOUR.read_text(encoding="utf-8").replace("tariff: 0.16 EUR/kWh", "tariff: {file: prices.csv}")
    (tmp_path / "tub.yaml").write_text(text, encoding="utf-8")
    told = {one.path: one.text for one in inputs(written(tmp_path / "tub.yaml"))}
    assert "prices.csv" == told["supply.tariff.file"]


def test_two_plants_stand_beside_each_other_in_their_own_numbers(tmp_path: Path) -> None:
    """Costs and ages of the table are those of each run alone."""
    other = SCHEDULES / "mill-race.yaml"
    out = tmp_path / "both.html"
    words = [
        "page",
        str(HARBOUR),
        "--with",
        str(other),
        "--days",
        "2",
        "--no-faults",
        "--no-savings",
        "--out",
        str(out),
    ]
    assert CliRunner().invoke(cli, words).exit_code in (0, 1)
    texts = Read(out.read_text(encoding="utf-8")).texts
    at = texts.index("electricity")
    for path, text in zip((HARBOUR, other), texts[at + 1 : at + 3], strict=True):
        kwh = simulate(load(path), days=2).metrics.energy.energy_kwh
        assert f"{kwh:.1f} kWh" == text


def test_mends_stand_on_the_page_as_a_run_tells_them() -> None:
    """Each as `run` prints it, with what it does besides; what was not tried says so, and what tries it."""
    scenario = load_text(starter_text().replace("start: [07:30", "start: [23:30"))
    result = simulate(scenario, days=2)
    trials = tried(result, told_findings(result.findings))
    due = [mend for group in alike(result.findings) for mend in told_mends(group, trials)]
    assert any(mend.holds for mend in due)
    texts = Read(page([report(result, tried=trials)])).texts
    for mend in due:
        assert any(plain(mend.line) in text or text.endswith(": as above.") for text in texts), mend.line
    assert any(mend.head.startswith("Mend 1, tried") and plain(mend.line) in texts for mend in due)
    how = "cyclesim run FILE --all tries whatever it can"
    assert any(how in text for text in texts) == any("not tried" in mend.head for mend in due)
    untried = Read(page([report(result)])).texts
    assert any("Mend, not tried" in text for text in untried)
    assert any(how in text for text in untried)


def test_the_command_names_its_page_after_the_file_and_leaves_a_stranger_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A page of its own is renewed; one that it did not make stays as it was."""
    monkeypatch.chdir(tmp_path)
    words = ["page", str(HARBOUR), "--days", "1", "--no-faults", "--no-savings"]
    made = tmp_path / "harbour-steps.html"
    for _ in range(2):
        assert CliRunner().invoke(cli, words).exit_code in (0, 1)
        assert made.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    made.write_text("<p>mine</p>", encoding="utf-8")
    refused = CliRunner().invoke(cli, words)
    assert (2, "<p>mine</p>") == (refused.exit_code, made.read_text(encoding="utf-8"))
    assert "name another with --out" in refused.output
    assert CliRunner().invoke(cli, [*words, "--out", "page.pdf"]).exit_code == 2


@pytest.mark.slow
@pytest.mark.parametrize("path", sorted(SCHEDULES.glob("*.yaml")), ids=lambda path: path.stem)
def test_a_year_is_less_than_a_megabyte_and_a_half(path: Path) -> None:
    """1.5 MB is the most that a page may weigh; without faults, which add some kilobytes."""
    html = page([report(simulate(load(path)), tuple(inputs(written(path))))])
    assert len(html.encode()) < 1_400_000


def test_what_to_type_is_left_out_where_nobody_types_commands() -> None:
    """A page in a browser has no command line; the terminal has one."""
    told = Page()
    told.line("A mend holds.")
    told.line("Write it: --apply 1", command=True)
    assert ["A mend holds."] == [block.text for block in viewed(told.blocks)]
    assert "--apply 1" in printed(told)

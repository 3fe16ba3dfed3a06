"""The PDF: text read back by another library, tags, sizes, the same bytes, and texts that mean harm."""

import json
import math
import re
from io import BytesIO
from pathlib import Path
from types import SimpleNamespace

import pytest
from click.testing import CliRunner
from pypdf import PdfReader

from cyclesim.analysis.result import simulate
from cyclesim.cli import cli
from cyclesim.said.drawing import drawing
from cyclesim.said.page import Heading, Table
from cyclesim.said.papers.collected import HandOver
from cyclesim.said.papers.paper import Paper, Papers
from cyclesim.scenario.reading.load import load, load_text
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.shown.papers.typeset import as_values, pdf
from cyclesim.simulation.assembly import Assembly
from tests.said.test_drawing import ladder

SCHEDULES = Path(__file__).parents[2] / "schedules"
TEXT = starter_text()
DAY = "2027-03-02"
HOSTILE = [
    "x" * 200,
    "ends here </script><b>#let a = 1 $x^2$ \\ \"quoted\" 'too' *bold* _it_ @ref <label> `raw`",
    "// no comment /* nor this */ #panic() ]#[",
]


def handed_over(scenario):
    """A hand-over on a fixed day."""
    return HandOver(scenario, "aaaa bbbb cccc dddd", (), DAY, "0.1.0")


@pytest.fixture(scope="module")
def harbour():
    """Harbour steps, its tests worked out once."""
    return handed_over(load(SCHEDULES / "harbour-steps.yaml"))


@pytest.fixture(scope="module")
def starter():
    """The starter's plant, likewise."""
    return handed_over(load_text(TEXT))


def read_back(made):
    """The text of a PDF without its breaks, as lines and hyphens fall differently in every reader."""
    return squeezed("".join(page.extract_text() for page in PdfReader(BytesIO(made)).pages))


def squeezed(text):
    """A text without white space, with the letters that are set as one taken apart."""
    for one, apart in {"ﬁ": "fi", "ﬂ": "fl", "ﬀ": "ff", "ﬃ": "ffi", "ﬄ": "ffl"}.items():
        text = text.replace(one, apart)
    return re.sub(r"\s+", "", text)


def texts(value):
    """Every text that is somewhere in what goes to the typesetter, but for names that steer it."""
    steers = {"kind", "size", "reader", "file", "logo", "says"}
    if isinstance(value, dict):
        for key, inner in value.items():
            if key not in steers:
                yield from texts(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from texts(inner)
    elif isinstance(value, str) and value:
        yield value


@pytest.mark.parametrize("us", [False, True], ids=["metric", "us"])
def test_all_that_is_said_is_in_the_pdf(us, harbour):
    """Text read back by pypdf: every heading, cell, test and caution stands there."""
    papers = harbour.papers(("electrician", "plumber"))
    made, note = pdf(papers, us=us)
    found = read_back(made)
    said = list(texts(as_values(papers, size="a4", us=us)))
    assert "" == note
    assert len(said) > 250
    assert [] == [text for text in said if squeezed(text) not in found]


def test_units_are_those_of_the_reader():
    """A 7 m suction at 57 mm bore and 9 mm of insulation: 23.0 ft, 2.24 in; 60 degC is 140 degF.

    Feet and inches are 0.3048 m and 25.4 mm; (60 x 9 / 5) + 32 = 140.
    """
    papers = handed_over(load(SCHEDULES / "walled-garden.yaml")).papers(("electrician", "plumber"))
    tables = [
        block for paper in as_values(papers, size="letter", us=True)["papers"] for block in paper["blocks"]
        if block["kind"] == "table"
    ]  # fmt: skip
    pipes = next(table for table in tables if "pipe" in table["heads"])
    assert ["bore, in", "length, ft"] == pipes["heads"][2:4]
    assert ["suction_left", "63 PN10", "2.24", "23.0"] == pipes["rows"][0]["cells"][:4]
    limits = next(table for table in tables if "trips at, °F" in table["heads"])
    assert "140" == limits["rows"][0]["cells"][1]


def test_a_whole_degree_of_a_us_file_reads_as_it_was_written():
    """98 degF are 36.67 degC: told as 37, they would come back as 99."""
    papers = handed_over(load(SCHEDULES / "cedar-yard.yaml", sets=["schedule.heating.keep_at=98 degF"]))
    said = list(texts(as_values(papers.papers(("plumber",)), size="letter", us=True)))
    assert any(text.startswith("With water at 98 °F") for text in said)


@pytest.mark.parametrize(("size", "points"), [("a4", (595, 842)), ("letter", (612, 792))])
def test_it_is_tagged_and_of_its_size(size, points, starter):
    """ISO 216 A4 is 210 x 297 mm, US letter 8.5 x 11 in, in points of 1/72 in; PDF/UA-1 and PDF/A-2a."""
    made, _ = pdf(starter.papers(("plumber",)), size=size)
    reader = PdfReader(BytesIO(made))
    assert points == tuple(round(float(side)) for side in reader.pages[0].mediabox[2:])
    catalogue = reader.trailer["/Root"]
    assert catalogue["/MarkInfo"]["/Marked"]
    assert "/StructTreeRoot" in catalogue
    assert "en" == catalogue["/Lang"]
    metadata = catalogue["/Metadata"].get_object().get_data().decode()
    assert "<pdfuaid:part>1</pdfuaid:part>" in metadata
    assert "<pdfaid:part>2</pdfaid:part><pdfaid:conformance>A</pdfaid:conformance>" in metadata
    assert load_text(TEXT).title == reader.metadata.title


def test_the_same_papers_are_the_same_bytes_and_carry_head_and_foot(starter):
    """Twice the same; date, version, fingerprint and page of pages at the foot of each page."""
    papers = starter.papers(("electrician", "plumber"))
    first, second = (pdf(papers)[0] for _ in range(2))
    assert first == second
    pages = [squeezed(page.extract_text()) for page in PdfReader(BytesIO(first)).pages]
    for page in pages:
        assert "2Mar2027,cyclesim0.1.0,fileaaaabbbbccccdddd" in page
    per_paper = [re.search(r"(Electrician|Plumber):[a-z]+,page(\d)of(\d)", page).groups() for page in pages]
    for name in ("Electrician", "Plumber"):
        own = [(int(k), int(n)) for paper, k, n in per_paper if paper == name]
        assert [(k, len(own)) for k in range(1, len(own) + 1)] == own


@pytest.mark.parametrize("text", HOSTILE, ids=["long", "signs", "comments"])
def test_a_text_that_means_something_elsewhere_stays_text(text):
    """Title, firm and a reason, whatever signs they have, stand in the paper as they were written."""
    quoted = json.dumps(text)
    about = TEXT.replace("\nplace:", f"\nabout: {{firm: {quoted}, revision: {quoted}}}\nplace:", 1)
    scenario = load_text(re.sub(r"(?m)^title: .*$", lambda _: f"title: {quoted}", about))
    made, note = pdf(handed_over(scenario).papers(("plumber",)))
    found = read_back(made)
    assert "" == note
    assert scenario.title == text == PdfReader(BytesIO(made)).metadata.title
    assert found.count(squeezed(text)) >= 3


def test_names_and_reasons_of_the_file_stay_text_in_tables_and_tests():
    """A run's name and an interlock's reason, each with signs that steer a typesetter."""
    text = (SCHEDULES / "walled-garden.yaml").read_text(encoding="utf-8")
    name, why = "#panic() $x$ <f>", "]#[ </script> *breaker*"
    text = text.replace("{pump: main high, start:", f"{{name: '{name}', pump: main high, start:")
    text = text.replace("because: the breaker", f"because: '{why}'")
    made, _ = pdf(handed_over(load_text(text)).papers(("electrician",)))
    found = read_back(made)
    assert squeezed(f"element goes off at this: {name}") in found
    assert found.count(squeezed(why)) >= 2


def test_letters_of_other_scripts_are_set_and_what_no_font_has_is_told():
    """Hebrew and Arabic run from right to left in fonts that come along; Linear B is in none."""
    for title, in_none in (("גן מוקף", False), ("حديقة", False), ("\U00010000", True)):
        scenario = load_text(re.sub(r"(?m)^title: .*$", f"title: garden {title}", TEXT))
        made, note = pdf(handed_over(scenario).papers(("plumber",)))
        assert in_none == bool(note)
        assert PdfReader(BytesIO(made)).pages


def test_a_test_that_was_done_is_printed_with_what_was_found(tmp_path):
    """The JSON, filled in and given back: reading, initials and date stand in the paper."""
    tub, filled, out = (tmp_path / name for name in ("tub.yaml", "tests.yaml", "out.pdf"))
    tub.write_text(TEXT, encoding="utf-8")
    run = CliRunner()
    assert 0 == run.invoke(cli, ["papers", str(tub), "--json", str(filled)]).exit_code
    values = json.loads(filled.read_text(encoding="utf-8"))
    values["tests"][0] |= {"as_expected": True, "reading": "no #start", "by": "Q. R.", "when": "2027-05-06"}
    filled.write_text(json.dumps(values), encoding="utf-8")
    args = ["papers", str(tub), "--for", "electrician", "--out", str(out), "--done", str(filled)]
    result = run.invoke(cli, args)
    assert 0 == result.exit_code, result.output
    found = read_back(out.read_bytes())
    assert squeezed("Seen as expected.") in found
    assert squeezed("no #start. By Q. R., 6 May 2027.") in found


def test_a_logo_that_no_drawing_program_reads_is_told(tmp_path):
    """Its first bytes are those of a picture and the rest is not: a sentence, no traceback, no file."""
    (tmp_path / "logo.png").write_bytes(b"\x89PNG\r\n\x1a\n and no more")
    tub, out = tmp_path / "tub.yaml", tmp_path / "out.pdf"
    tub.write_text(TEXT.replace("\nplace:", "\nabout: {logo: logo.png}\nplace:", 1), encoding="utf-8")
    result = CliRunner().invoke(cli, ["papers", str(tub), "--for", "plumber", "--out", str(out)])
    assert 2 == result.exit_code
    assert "The logo cannot be drawn" in result.output
    assert not out.exists()


def test_a_logo_is_drawn(tmp_path):
    """A logo of two pixels: the first page holds an image of two pixels."""
    from PIL import Image

    Image.new("RGB", (2, 1), "red").save(tmp_path / "logo.png")
    tub = tmp_path / "tub.yaml"
    tub.write_text(TEXT.replace("\nplace:", "\nabout: {logo: logo.png}\nplace:", 1), encoding="utf-8")
    made, note = pdf(handed_over(load(tub)).papers(("plumber",)))
    [image] = PdfReader(BytesIO(made)).pages[0].images
    assert ("", (2, 1)) == (note, image.image.size)


def test_papers_are_for_all_that_are_asked_for(tmp_path):
    """Asked for two readers, each has a paper; without --for all four have."""
    tub = tmp_path / "tub.yaml"
    tub.write_text(TEXT, encoding="utf-8")

    def titles(*asked: str) -> list[str]:
        out = tmp_path / "out.pdf"
        result = CliRunner().invoke(cli, ["papers", str(tub), *asked, "--out", str(out)])
        assert (0, f"{out} is written.\n") == (result.exit_code, result.output)
        words = " ".join(page.extract_text() for page in PdfReader(out).pages)
        return [name for name in ("Client:", "Electrician:", "Plumber:", "Owner:") if name in words]

    assert ["Plumber:", "Owner:"] == titles("--for", "owner", "--for", "plumber")
    assert ["Client:", "Electrician:", "Plumber:", "Owner:"] == titles()


def test_units_and_size_are_those_that_are_asked_for(tmp_path):
    """Metric on A4 for a metric file, gallons on letter where US units are asked for."""
    tub, out = tmp_path / "tub.yaml", tmp_path / "out.pdf"
    tub.write_text(TEXT, encoding="utf-8")
    for asked, unit, wide in ([], "water,L", 595), (["--units", "us"], "water,gal", 612):
        args = ["papers", str(tub), "--for", "plumber", "--out", str(out), *asked]
        assert 0 == CliRunner().invoke(cli, args).exit_code
        assert unit in read_back(out.read_bytes())
        assert wide == round(float(PdfReader(out).pages[0].mediabox[2]))


def test_what_was_put_in_for_this_call_stands_at_the_head(tmp_path):
    """So that nobody takes the paper for the file's own; the fingerprint is another one, too."""
    tub, out = tmp_path / "tub.yaml", tmp_path / "out.pdf"
    tub.write_text(TEXT, encoding="utf-8")
    args = ["papers", str(tub), "--for", "plumber", "--out", str(out), "--set", "place.altitude=300 m"]
    assert 0 == CliRunner().invoke(cli, args).exit_code
    plain = CliRunner().invoke(cli, ["check", str(tub), "--fingerprint"]).output
    changed = CliRunner().invoke(cli, ["check", str(tub), "--fingerprint", *args[-2:]]).output
    found = read_back(out.read_bytes())
    assert squeezed("Changed for this paper: place.altitude=300 m") in found
    assert squeezed(f"file {changed}") in found
    assert squeezed(f"file {plain}") not in found


def test_without_a_name_nothing_is_written_over(tmp_path, monkeypatch):
    """The file that the papers get by themselves is made once; a second time it has to be named."""
    monkeypatch.chdir(tmp_path)
    Path("tub.yaml").write_text(TEXT, encoding="utf-8")
    args = ["papers", "tub.yaml", "--for", "plumber"]
    assert 0 == CliRunner().invoke(cli, args).exit_code
    before = Path("tub-papers.pdf").read_bytes()
    again = CliRunner().invoke(cli, args)
    assert 2 == again.exit_code
    assert "tub-papers.pdf is there already" in again.output
    assert before == Path("tub-papers.pdf").read_bytes()
    assert 2 == CliRunner().invoke(cli, [*args, "--out", "tub.txt"]).exit_code


def test_what_nothing_holds_is_said_where_the_tests_end():
    """The orchard wall's heat pump has neither proof nor switch; mended, it has one."""
    said = {}
    for name in ("orchard-wall", "orchard-wall-mended"):
        papers = handed_over(load(SCHEDULES / f"{name}.yaml")).papers(("electrician",))
        said[name] = list(texts(as_values(papers, size="a4", us=False)))
    unheld = (
        "Not so: heat_pump stays off without a pump, whoever calls it; in the model heat_pump comes on "
        "after 0 s. Mend this before the plant is handed over."
    )
    assert unheld in said["orchard-wall"]
    assert unheld not in said["orchard-wall-mended"]
    assert "heat_pump, own thermostat: starts below" in said["orchard-wall"]


def test_what_is_wrong_with_a_plant_stands_first_in_the_plumbers_paper():
    """Harbour steps announces two legs that a diverter leaves without a flush; the walled garden nothing."""
    said = {}
    for name in ("harbour-steps", "walled-garden"):
        papers = handed_over(load(SCHEDULES / f"{name}.yaml")).papers(("plumber",))
        said[name] = [text for text in texts(as_values(papers, size="a4", us=False)) if "hygiene:" in text]
    assert ["left_bench", "right_bench"] == [text.split(": ")[1] for text in said["harbour-steps"]]
    assert [] == said["walled-garden"]


@pytest.mark.parametrize("name", ["cedar-yard", "walled-garden-circulator"])
def test_no_page_of_the_plumber_begins_in_the_midst_of_a_table(name):
    """A table of at most twenty rows is not parted, and the cautions stand together."""
    papers = handed_over(load(SCHEDULES / f"{name}.yaml")).papers(("plumber",))
    blocks = papers.papers[0].blocks
    headings = [block.text for block in blocks if isinstance(block, Heading)]
    headings += [block.title for block in blocks if isinstance(block, Table) and block.title]
    pages = [page.extract_text() for page in PdfReader(BytesIO(pdf(papers)[0])).pages]
    assert len(pages) > 1
    begin = (*headings, "Cautions", "The plant as drawn from its file")
    for page in pages[1:]:
        assert any(squeezed(page).startswith(squeezed(text)) for text in begin), page[:80]
    (with_cautions,) = [page for page in pages if "Cautions" in page]
    assert all(squeezed(caution) in squeezed(with_cautions) for caution in papers.papers[0].cautions)


def letters_pt(page):
    """How high each letter that is not blank is set on a page, as the file's own matrices have it."""
    found = []

    def seen(text, across, of_text, _font, size):
        if text.strip():
            found.append(size * math.hypot(*of_text[2:4]) * math.hypot(*across[2:4]))

    page.extract_text(visitor_text=seen)
    return found


@pytest.mark.parametrize(("size", "sides"), [("a4", (595, 842)), ("letter", (612, 792))])
@pytest.mark.parametrize(("name", "lies"), [("walnut-court", True), ("walled-garden-circulator", False)])
def test_the_plant_is_drawn_on_a_page_of_its_own_to_be_read_in_print(name, lies, size, sides):
    """The last page, turned for a plant that is wider than high: no letter is under 7 pt."""
    last = PdfReader(BytesIO(pdf(alone(with_ages(load(SCHEDULES / f"{name}.yaml"))), size=size)[0])).pages[-1]
    assert tuple(round(float(side)) for side in last.mediabox[2:]) == (sides[::-1] if lies else sides)
    assert len(letters_pt(last)) > 20
    assert min(letters_pt(last)) >= 7.0


def with_ages(scenario):
    """A plant drawn with an age for everything that has one."""
    plant = Assembly(scenario)
    ages = {one: SimpleNamespace(oldest_water_h=19.0) for one in plant.reported}
    return drawing(plant, ages, scenario.in_us_units)


@pytest.mark.slow
def test_every_shipped_plant_is_read_in_print_and_a_huge_one_says_where_it_is_larger():
    """With the ages that the client is told; of a ladder of sixty rungs the letters would be tiny."""
    for path in SCHEDULES.glob("*.yaml"):
        drawn = with_ages(load(path))
        for size in ("a4", "letter"):
            page = PdfReader(BytesIO(pdf(alone(drawn), size=size)[0])).pages[-1]
            assert min(letters_pt(page)) >= 7.0, (path.stem, size)
    page = PdfReader(BytesIO(pdf(alone(drawing(ladder(60))))[0])).pages[-1]
    assert min(letters_pt(page)) < 7.0
    assert "--drawing PLANT.svg" in page.extract_text()


def alone(drawn):
    """A paper of a drawing and nothing else."""
    paper = Paper("plumber", "Plumber: drawn", (), plant=drawn)
    return Papers("A plant", (), None, "aaaa", (), DAY, "0.1.0", (paper,))


@pytest.mark.slow
@pytest.mark.parametrize("name", ["long-table", "harbour-steps", "orchard-wall"])
def test_all_papers_of_a_shipped_plant(name):
    """A page and a drawing for the client, two pages for the owner; all that is said, the run's numbers."""
    scenario = load(SCHEDULES / f"{name}.yaml")
    papers = handed_over(scenario).papers(("client", "electrician", "plumber", "owner"))
    made, note = pdf(papers)
    pages = [squeezed(page.extract_text()) for page in PdfReader(BytesIO(made)).pages]
    counted = [re.search(r"(Client|Electrician|Plumber|Owner):[a-z]+,page(\d)of(\d)", page) for page in pages]
    last = {match[1]: int(match[3]) for match in counted}
    assert ("", 2, 2) == (note, last["Client"], last["Owner"])
    on_letter, _ = pdf(handed_over(scenario).papers(("client",)), size="letter")
    assert 2 == len(PdfReader(BytesIO(on_letter)).pages)
    found = "".join(pages)
    assert [] == [
        text for text in texts(as_values(papers, size="a4", us=False)) if squeezed(text) not in found
    ]
    energy = simulate(scenario).metrics.energy
    assert squeezed(f"A year costs {energy.cost:,.0f} {energy.currency}") in found
    for month in energy.by_month:
        assert f"{month.cost:,.0f}" in found


@pytest.mark.slow
def test_a_second_plant_stands_beside_the_first(tmp_path):
    """Both titles, and both costs of a year, in a page and a drawing."""
    files = [SCHEDULES / f"{name}.yaml" for name in ("walled-garden", "walled-garden-circulator")]
    out = tmp_path / "both.pdf"
    args = ["papers", str(files[0]), "--for", "client", "--with", str(files[1]), "--out", str(out)]
    result = CliRunner().invoke(cli, args)
    assert 0 == result.exit_code, result.output
    assert 2 == len(PdfReader(out).pages)
    found = read_back(out.read_bytes())
    for path in files:
        scenario = load(path)
        energy = simulate(scenario).metrics.energy
        assert squeezed(scenario.title) in found
        assert squeezed(f"{energy.cost:,.0f} {energy.currency}") in found

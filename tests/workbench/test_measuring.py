"""Readings as they are taken: written beside the plant, refused at their key."""

from pathlib import Path

import pytest
from starlette.testclient import TestClient

from cyclesim.scenario.blocks.readings import KINDS_OF_READING
from cyclesim.scenario.reading.load import load
from cyclesim.scenario.reading.readings import load_readings
from cyclesim.workbench import measuring

GARDEN = "/api/plants/garden.yaml"
GAUGE = {"kind": "gauge", "reads": "0.8 bar", "at": "after main", "with": ["main high"]}


def take(client: TestClient, **asked: object) -> dict:
    """What the server says to a reading; a refusal with its status."""
    answer = client.post(f"{GARDEN}/readings", json=asked)
    return {"status": answer.status_code, **answer.json()}


def begun(client: TestClient) -> str:
    """A file with one reading, by its name."""
    made = take(client, date="2027-04-10", title='The "spring" day', reading=GAUGE)
    assert made["status"] == 201, made
    return made["file"]


def test_every_kind_of_reading_can_be_taken(client: TestClient) -> None:
    """Each has its keys, what it may be off by, and the names of the plant."""
    kinds = {kind["kind"]: kind for kind in client.get(f"{GARDEN}/readings").json()["kinds"]}
    assert set(KINDS_OF_READING) == set(kinds)
    fields = {field["key"]: field for field in kinds["gauge"]["fields"]}
    assert "after main" in fields["at"]["choices"]
    assert ["main low", "main high"] == fields["with"]["choices"]
    assert (True, False) == (fields["reads"]["required"], fields["give_or_take"]["required"])
    assert kinds["bucket"]["tolerance"] == "8 %"


def test_tolerances_are_told_in_the_readers_units(client: TestClient) -> None:
    """0.3 K are 0.54 degF, told to one figure."""
    kinds = {k["kind"]: k for k in client.get(f"{GARDEN}/readings?units=us").json()["kinds"]}
    assert kinds["cooling"]["tolerance"] == "0.5 °F"


def test_a_reading_begins_a_file_and_the_next_is_added(client: TestClient, folder: Path) -> None:
    """The file is one that the command line reads; it is no plant of the shelf."""
    name = begun(client)
    assert name == "garden-readings-2027-04-10.yaml"
    added = take(client, file=name, reading={"kind": "current", "reads": "7.4 A", "of": "main high"})
    (file,) = added["files"]
    assert ["gauge after main, main high", "current of main high"] == [r["words"] for r in file["readings"]]
    taken = load_readings(folder / name, load(folder / "garden.yaml"))
    assert ("2027-04-10", 'The "spring" day', 2) == (
        taken.measured.isoformat(), taken.title, len(taken.readings),
    )  # fmt: skip
    assert name not in [plant["name"] for plant in client.get("/api/shelf").json()["plants"]]


def test_a_reading_is_put_anew_or_taken_out(client: TestClient, folder: Path) -> None:
    """And nothing else of the file changes, not even what somebody noted in it."""
    name = begun(client)
    take(client, file=name, reading={"kind": "current", "reads": "7.4 A", "of": "main high"})
    path = folder / name
    path.write_text(path.read_text(encoding="utf-8") + "# the gauge is a new one\n", encoding="utf-8")
    before = path.read_text(encoding="utf-8")
    take(client, file=name, place=1, reading={"kind": "current", "reads": "7.9 A", "of": "main high"})
    assert before.replace("7.4 A", "7.9 A") == path.read_text(encoding="utf-8")
    take(client, file=name, place=0, reading=None)
    left = "".join(line for line in before.splitlines(True) if "gauge, reads" not in line)
    assert left.replace("7.4 A", "7.9 A") == path.read_text(encoding="utf-8")


def test_the_mark_of_an_encoding_and_line_ends_stay(client: TestClient, folder: Path) -> None:
    """A file that an editor on Windows saved is told apart from before by its new reading alone."""
    name = begun(client)
    path = folder / name
    before = b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n")
    path.write_bytes(before)
    added = take(client, file=name, reading={"kind": "current", "reads": "7.4 A", "of": "main high"})
    assert added["status"] < 300, added
    after = path.read_bytes()
    assert after.startswith(before)
    assert after.count(b"7.4 A") == 1
    assert after.count(b"\r\n") == after.count(b"\n") == before.count(b"\n") + 1


def test_bytes_that_are_no_text_are_not_written_back(client: TestClient, folder: Path) -> None:
    """Latin-1 in a comment: the reading is refused in words, and every byte stays."""
    path = folder / begun(client)
    before = path.read_bytes() + "# Düse\n".encode("latin-1")
    path.write_bytes(before)
    said = take(client, file=path.name, reading={"kind": "current", "reads": "7.4 A", "of": "main high"})
    assert (400, True) == (said["status"], "no text" in said["error"])
    assert before == path.read_bytes()


def test_what_somebody_else_writes_meanwhile_is_not_lost(
    client: TestClient, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An editor saves between the look at the file and the write: the reading is refused."""
    path = folder / begun(client)
    theirs = path.read_bytes() + b"# theirs\n"
    check = measuring._check

    def meanwhile(*of: object) -> None:
        check(*of)  # type: ignore[arg-type]
        path.write_bytes(theirs)

    monkeypatch.setattr(measuring, "_check", meanwhile)
    said = take(client, file=path.name, reading={"kind": "current", "reads": "7.4 A", "of": "main high"})
    assert (400, True) == (said["status"], "at this very moment" in said["error"])
    assert theirs == path.read_bytes()


def test_the_latest_readings_of_this_plant_come_first(client: TestClient, folder: Path) -> None:
    """Then those of earlier days, then what does not fit the plant."""
    for day in ("2027-04-10", "2027-05-02"):
        take(client, date=day, reading=GAUGE)
    other = "measured: 2027-06-01\nreadings: [{kind: current, reads: 1 A, of: nobody}]\n"
    (folder / "other.yaml").write_text(other, encoding="utf-8")
    files = client.get(f"{GARDEN}/readings").json()["files"]
    stem = "garden-readings-2027"
    assert [f"{stem}-05-02.yaml", f"{stem}-04-10.yaml", "other.yaml"] == [file["file"] for file in files]
    assert [0, 0, 1] == [len(file["problems"]) for file in files]


@pytest.mark.parametrize(
    ("key", "value"),
    [("reads", "0.8 baar"), ("at", "after mian"), ("with", ["main fast"]), ("give_or_take", "2 s"),
     ("kind", "guage"), ("valves", "{bypass: shut}"), ("colour", "red")],
)  # fmt: skip
def test_what_cannot_be_is_told_at_its_key(client: TestClient, folder: Path, key: str, value: object) -> None:
    """And nothing is written."""
    name = begun(client)
    before = (folder / name).read_bytes()
    said = take(client, file=name, reading={**GAUGE, key: value})
    assert said["status"] == 400
    assert said["problems"][0]["path"].startswith(f"readings.1.{key}"), said
    assert before == (folder / name).read_bytes()


@pytest.mark.parametrize(
    "asked",
    [
        {"file": "../garden.yaml", "reading": GAUGE},
        {"file": "garden.yaml", "place": 0, "reading": None},
        {"date": "tomorrow", "reading": GAUGE},
        {"date": "2027-02-30", "reading": GAUGE},
        {"date": "2027-04-10", "reading": None},
        {"date": "2027-04-10", "reading": {"kind": 3}},
        {"file": "garden-readings-2027-04-10.yaml", "place": -1, "reading": GAUGE},
        {"date": "2027-04-10", "reading": GAUGE},
    ],
)
def test_no_other_file_is_written_or_written_over(client: TestClient, folder: Path, asked: dict) -> None:
    """Paths that lead elsewhere, plants, dates that are none, a day that has its file."""
    begun(client)
    before = {path: path.read_bytes() for path in folder.parent.rglob("*.yaml")}
    said = take(client, **asked)
    assert said["status"] == 400, said
    assert said["error"]
    assert before == {path: path.read_bytes() for path in folder.parent.rglob("*.yaml")}


def test_a_hostile_text_stays_a_text(client: TestClient, folder: Path) -> None:
    """What would be YAML of its own is put in quotes, and is then no name of the plant."""
    name = begun(client)
    before = (folder / name).read_bytes()
    for text in ("main high}\n  - {kind: gauge", "*alias", "a: b", "[unclosed", '"', "# none"):
        assert take(client, file=name, reading={**GAUGE, "at": text})["status"] == 400, text
    assert before == (folder / name).read_bytes()


def test_another_text_for_the_file_is_one_edit(client: TestClient) -> None:
    """What was found for a version is put in its place, and undone at once; never over another version."""
    plant = client.get(GARDEN).json()
    text = plant["text"].replace("title:", "# tuned\ntitle:", 1)
    asked = {"version": plant["version"], "text": text, "why": "tuned"}
    assert client.post(f"{GARDEN}/put", json=asked).json()["text"] == text
    assert client.post(f"{GARDEN}/put", json=asked).status_code == 409
    assert client.post(f"{GARDEN}/undo", json={}).json()["text"] == plant["text"]

"""Edits, undo and redo: byte for byte what the same edits by hand give, whoever else changes the file."""

import json
import os
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from textwrap import dedent
from typing import Any

import pytest
from httpx2 import Response
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from cyclesim.scenario.reading.edit import Edit
from cyclesim.workbench.desk import Desk
from cyclesim.workbench.edits import steps
from cyclesim.workbench.folder import Folder
from cyclesim.workbench.journal import Journal, Splice, difference, inverse, past, spliced
from cyclesim.workbench.views import opened
from tests.workbench.conftest import NoWorkers

FILE = """# A plant of nobody: ü 日本 😀
format: 1
title: {title}   # what it is called

place: {{year: {year}, zones: {{a: {{depth: {depth}}}}}}}   # in one line

schedule:                 # the programme
  line_flushes:
    - {{pump: main high, start: ["07:30", 19:30], lasts: {lasts}}}  # mornings
    - {{pump: main low, start: 06:00, lasts: 45 s}}
  heating:
    keep_at: "{keep_at}"  # in quotes
    # a comment between
    within: {within}
{note}limits: {{water_age: 24 h}}
"""
"""By hand: what stands at each key, and a place for somebody else's comment."""
PLACES = {
    "title": "title",
    "year": "place.year",
    "depth": "place.zones.a.depth",
    "lasts": "schedule.line_flushes.0.lasts",
    "keep_at": "schedule.heating.keep_at",
    "within": "schedule.heating.within",
}
BEGINS = {
    "title": "One",
    "year": "2027",
    "depth": "600 mm",
    "lasts": "60 s",
    "keep_at": "36 degC",
    "within": "1 K",
}
KEYS = st.sampled_from(sorted(PLACES))
VALUES = st.from_regex(r"[A-Za-z][A-Za-z0-9]{0,6}( [a-z]{1,3})?", fullmatch=True).filter(
    lambda word: word.lower() not in ("true", "false", "null")
)
ACTS = st.lists(
    st.one_of(
        st.tuples(st.just("edit"), st.dictionaries(KEYS, VALUES, min_size=1, max_size=3)),
        st.tuples(st.sampled_from(["undo", "redo", "restart"])),
        st.tuples(st.just("comment"), VALUES),
        st.tuples(st.just("outside"), KEYS, VALUES),
    ),
    max_size=14,
)


@dataclass
class ByHand:
    """The same file kept as values: what anybody would type, with a list of what to take back."""

    values: dict[str, str] = field(default_factory=lambda: dict(BEGINS))
    note: str = ""
    done: list[dict[str, tuple[str, str]]] = field(default_factory=list)
    undone: list[dict[str, tuple[str, str]]] = field(default_factory=list)

    def text(self) -> str:
        return FILE.format(**self.values, note=self.note)

    def edit(self, new: dict[str, str]) -> None:
        changed = {key: (self.values[key], text) for key, text in new.items() if self.values[key] != text}
        if changed:
            self.done.append(changed)
            self.undone.clear()
            self.values |= new

    def undo(self) -> None:
        self.undone.append(self.done.pop())
        self.values |= {key: old for key, (old, _) in self.undone[-1].items()}

    def redo(self) -> None:
        self.done.append(self.undone.pop())
        self.values |= {key: new for key, (_, new) in self.done[-1].items()}

    def outside(self, key: str, text: str) -> None:
        """Somebody else writes a value: what touches it can no longer be turned, nor what that rests on."""
        if self.values[key] != text:
            self.values[key] = text
            self.done, self.undone = (self.apart(stack, {key}) for stack in (self.done, self.undone))

    def apart(
        self, stack: list[dict[str, tuple[str, str]]], taken: set[str]
    ) -> list[dict[str, tuple[str, str]]]:
        kept = []
        for changed in reversed(stack):
            if changed.keys() & taken:
                taken = taken | changed.keys()
            else:
                kept.append(changed)
        return kept[::-1]


class TestAnySequence:
    @given(ACTS, st.sampled_from(["\n", "\r\n"]), st.booleans())
    @example(
        [
            ("edit", {"within": "Xa"}),
            ("edit", {"within": "Yb", "depth": "Zc"}),
            ("edit", {"title": "Tub"}),
            ("outside", "depth", "Qd"),
            *[("undo",)] * 3,
        ],
        "\n",
        False,
    )
    @settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
    def test_gives_the_file_that_hands_would_give(
        self, tmp_path_factory: pytest.TempPathFactory, acts: list[tuple[Any, ...]], ends: str, bom: bool
    ) -> None:
        """Somebody else's comments and values come between; the server ends and begins again."""
        root = tmp_path_factory.mktemp("plants")
        path, hand = root / "a.yaml", ByHand()

        def written() -> bytes:
            return (b"\xef\xbb\xbf" if bom else b"") + hand.text().replace("\n", ends).encode()

        path.write_bytes(written())
        desk = Desk(Folder(root), _NONE, kept=root / "kept")
        for act in acts:
            match act:
                case ("edit", new):
                    version = desk.plant("a.yaml")["version"]
                    edits = [Edit(steps(PLACES[key]), text) for key, text in new.items()]
                    desk.edit("a.yaml", version, edits, "because")
                    hand.edit(new)
                case ("outside", key, value):
                    hand.outside(key, value)
                    path.write_bytes(written())
                case ("comment", value):
                    hand.note = "" if hand.note else f"# {value}\n"
                    path.write_bytes(written())
                case ("restart",):
                    desk = Desk(Folder(root), _NONE, kept=root / "kept")
                case ("undo",) | ("redo",):
                    os.utime(path, (1, 1))  # an editor's change is taken up once it has stood for a while
                    can = desk.journal("a.yaml")["can"]
                    assert can == {"undo": len(hand.done), "redo": len(hand.undone)}
                    if can[act[0]]:
                        desk.turn("a.yaml", act[0])
                        getattr(hand, act[0])()
            assert path.read_bytes() == written(), act


_NONE = NoWorkers()


class TestSplices:
    @given(st.text("ab\n", max_size=30), st.text("ab\n", max_size=30))
    def test_make_one_text_into_another_and_back(self, before: str, after: str) -> None:
        splices = difference(before, after)
        assert spliced(before, splices) == after
        assert spliced(after, inverse(splices)) == before

    def test_move_past_others(self) -> None:
        """By hand: three letters come before, so it stands three further on; where both touch, neither."""
        assert past((Splice(5, "x", "y"),), (Splice(0, "", "abc"),)) == (Splice(8, "x", "y"),)
        assert past((Splice(5, "x", "y"),), (Splice(9, "q", ""),)) == (Splice(5, "x", "y"),)
        for at, old in ((5, "x"), (4, "x"), (6, ""), (5, ""), (3, "long")):
            assert past((Splice(5, "x", "y"),), (Splice(at, old, "z"),)) is None


class TestAJournal:
    def test_lets_go_what_somebody_else_has_overwritten_and_only_that(self, tmp_path: Path) -> None:
        """By hand: of three edits the middle one is overwritten in an editor; the others can be undone."""
        journal = Journal(tmp_path / "j")
        texts = ["a: 1\nb: 1\nc: 1\n", "a: 2\nb: 1\nc: 1\n", "a: 2\nb: 2\nc: 1\n", "a: 2\nb: 2\nc: 2\n"]
        for before, after in pairwise(texts):
            journal.edit(before, after, [], "")
        journal.follow("# new\na: 2\nb: 77\nc: 2\n")
        assert journal.can == {"undo": 2, "redo": 0}
        text, entry = journal.undone("# new\na: 2\nb: 77\nc: 2\n")
        assert text == "# new\na: 2\nb: 77\nc: 1\n"
        journal.took(entry, text)
        text, entry = journal.undone(text)
        assert text == "# new\na: 1\nb: 77\nc: 1\n"

    def test_survives_what_is_damaged(self, tmp_path: Path) -> None:
        """A line that is cut off, or foreign, costs itself alone; a foreign file its history."""
        path = tmp_path / "j"
        first = Journal(path)
        first.edit("a: 1\n", "a: 2\n", ["a"], "")
        with path.open("ab") as stream:
            stream.write(b'{"does": "edit", "splices": [[3, "2", "')
        again = Journal(path)
        again.edit("a: 2\n", "a: 3\n", ["a"], "")
        assert Journal(path).can == {"undo": 2, "redo": 0}
        path.write_bytes(b"\x00\xff nonsense\n" + path.read_bytes())
        assert Journal(path).can["undo"] in (0, 2)
        path.write_text("[]\n7\nnull\n", encoding="utf-8")
        fresh = Journal(path)
        assert fresh.can == {"undo": 0, "redo": 0}
        fresh.edit("a: 3\n", "a: 4\n", ["a"], "")
        assert Journal(path).can == {"undo": 1, "redo": 0}

    def test_is_shared_by_two_that_have_the_same_file(self, tmp_path: Path) -> None:
        one, other = Journal(tmp_path / "j"), Journal(tmp_path / "j")
        one.edit("a: 1\n", "a: 2\n", ["a"], "")
        other.edit("a: 2\n", "a: 3\n", ["a"], "")
        assert one.undone("a: 3\n")[0] == "a: 2\n"
        assert [entry.does for entry in one.entries] == ["edit", "edit"]

    def test_that_cannot_be_kept_says_so_and_goes_on(self, tmp_path: Path) -> None:
        (tmp_path / "taken").write_text("", encoding="utf-8")
        journal = Journal(tmp_path / "taken" / "j")
        journal.edit("a: 1\n", "a: 2\n", [], "")
        assert "cannot be kept" in journal.note
        assert journal.undone("a: 2\n")[0] == "a: 1\n"


class TestAFileThatIsEditedMeanwhile:
    def test_takes_an_edit_elsewhere_and_refuses_one_at_the_same_place(
        self, client: TestClient, folder: Path
    ) -> None:
        path, address = folder / "garden.yaml", "/api/plants/garden.yaml"
        version = client.get(address).json()["version"]
        path.write_text(path.read_text("utf-8").replace("breaker: 20 A", "breaker: 25 A"), encoding="utf-8")
        before = path.read_text("utf-8")
        same = {"path": "supply.breaker", "text": "32 A"}
        answer = client.post(f"{address}/edit", json={"version": version, "changes": [same]})
        told = answer.json()
        assert answer.status_code == 409
        assert told["differs"] == [{"path": "supply.breaker", "was": "20 A", "is": "25 A", "wanted": "32 A"}]
        assert told["plant"]["version"] != version
        assert path.read_text("utf-8") == before
        other = {"path": "supply.voltage", "text": "240 V"}
        answer = client.post(f"{address}/edit", json={"version": version, "changes": [other]})
        assert answer.status_code == 200
        assert path.read_text("utf-8") == before.replace("230 V", "240 V", 1)

    def test_counts_places_in_a_list_that_grew(self, client: TestClient, folder: Path) -> None:
        """The second entry of a list to which somebody has added a first one is another entry."""
        path, address = folder / "garden.yaml", "/api/plants/garden.yaml"
        version = client.get(address).json()["version"]
        text = path.read_text("utf-8")
        flush = "  line_flushes:                 # fresh water into every line to the jets\n"
        assert flush in text
        path.write_text(
            text.replace(flush, f"{flush}    - {{pump: main high, start: 12:00, lasts: 30 s}}\n"),
            encoding="utf-8",
        )
        change = {"path": "schedule.line_flushes.0.lasts", "text": "15 s"}
        answer = client.post(f"{address}/edit", json={"version": version, "changes": [change]})
        assert answer.status_code == 409

    def test_is_no_longer_what_was_asked_about(self, client: TestClient, desk: Desk) -> None:
        """Whoever asks about an older text is told so, and nobody works on it."""
        version = client.get("/api/plants/garden.yaml").json()["version"]
        over = []
        for asked in ("of long ago", version):
            body = {"what": "duty", "version": asked}
            job = client.post("/api/plants/garden.yaml/ask", json=body).json()["job"]
            over.append([kind for kind, _ in desk.workers.job(job).since(0)[0]])
        assert over == [["cancelled"], []]

    def test_is_edited_by_a_page_that_another_server_has_sent(self, client: TestClient, folder: Path) -> None:
        """The version is the file's, not the server's: nothing need have been looked at before."""
        version = opened(Folder(folder), "garden.yaml").version
        body = {"version": version, "changes": [{"path": "title", "text": "x"}]}
        assert client.post("/api/plants/garden.yaml/edit", json=body).json()["can"] == {"undo": 1, "redo": 0}

    def test_is_asked_about_where_nobody_knows_the_version(self, client: TestClient) -> None:
        change = {"path": "title", "text": "x"}
        body = {"version": "of long ago", "changes": [change]}
        answer = client.post("/api/plants/garden.yaml/edit", json=body)
        assert answer.status_code == 409
        assert json.loads(answer.text)["plant"]["title"]


class TestTwoWindows:
    """Each changes the same plant; neither takes back unasked what the other did meanwhile."""

    ADDRESS = "/api/plants/garden.yaml"

    def edit(self, client: TestClient, window: str, title: str) -> None:
        """A title written by a window."""
        version = client.get(self.ADDRESS).json()["version"]
        body = {"version": version, "changes": [{"path": "title", "text": title}], "why": f"called {title}"}
        assert client.post(f"{self.ADDRESS}/edit?window={window}", json=body).status_code == 200

    def turn(self, client: TestClient, does: str, window: str, since: str | None) -> Response:
        """Undo or redo as a window asks that opened the plant when *since* was the last thing done."""
        body = {} if since is None else {"since": since}
        return client.post(f"{self.ADDRESS}/{does}?window={window}", json=body)

    def test_an_undo_asks_before_it_takes_back_what_another_did(self, client: TestClient) -> None:
        """What was done before the window opened is anybody's; so is what is asked for a second time."""
        self.edit(client, "a", "one")
        begun = client.get(self.ADDRESS).json()["last"]
        self.edit(client, "b", "two")
        refused = self.turn(client, "undo", "a", begun)
        assert refused.status_code == 409
        assert refused.json() == {
            "error": "What was done last was another window's: called two.", "others": True
        }  # fmt: skip
        assert client.get(self.ADDRESS).json()["title"] == "two"
        assert self.turn(client, "undo", "b", begun).json()["title"] == "one"  # its own
        refused = self.turn(client, "redo", "a", begun)
        assert "undone last was another window's" in refused.json()["error"]
        assert self.turn(client, "undo", "a", begun).json()["title"] != "one"  # before both: its own, here
        assert self.turn(client, "redo", "a", begun).json()["title"] == "one"
        assert self.turn(client, "redo", "a", None).json()["title"] == "two"  # all the same

    def test_who_did_what_outlives_the_server(self, client: TestClient, desk: Desk) -> None:
        """The journal keeps it; what an older one kept was done by nobody that is known."""
        self.edit(client, "a", "one")
        [journal] = desk._edits._journals.values()
        assert ["a"] == [entry.by for entry in Journal(journal.path).entries]
        kept = [json.loads(line) for line in journal.path.read_text("utf-8").splitlines()]
        older = [{key: value for key, value in line.items() if key != "by"} for line in kept]
        journal.path.write_text("".join(f"{json.dumps(line)}\n" for line in older), "utf-8")
        assert [""] == [entry.by for entry in Journal(journal.path).entries]


class TestASectionInAFileOfItsOwn:
    """The plant of one file lies in another, and its weather in a third."""

    @pytest.fixture
    def parted(self, folder: Path) -> Path:
        text = (folder / "garden.yaml").read_text("utf-8")
        begins, ends = text.index("\nplant:\n") + 1, text.index("\ncontroller:") + 1
        (folder / "parts").mkdir()
        (folder / "parts" / "plant.yaml").write_text(dedent(text[begins + 7 : ends]), encoding="utf-8")
        (folder / "parted.yaml").write_text(f"{text[:begins]}plant: parts/plant.yaml\n{text[ends:]}", "utf-8")
        return folder

    def changed(self, client: TestClient, path: str, text: str | None) -> Response:
        version = client.get("/api/plants/parted.yaml").json()["version"]
        body = {"version": version, "changes": [{"path": path, "text": text}]}
        return client.post("/api/plants/parted.yaml/edit", json=body)

    def test_is_edited_and_undone_there(self, client: TestClient, parted: Path) -> None:
        """By hand: one word in each file; undone in the order of what was done last, then done again."""
        own, part = parted / "parted.yaml", parted / "parts" / "plant.yaml"
        texts = [(own.read_bytes(), part.read_bytes())]
        edits = {"plant.pumps.main.rest": "80 s", "supply.breaker": "25 A", "plant.tub.cover.foam": "70 mm"}
        for path, text in edits.items():
            answer = self.changed(client, path, text)
            assert answer.status_code == 200, answer.text
            assert not answer.json()["problems"]
            texts.append((own.read_bytes(), part.read_bytes()))
        assert texts[1] == (texts[0][0], texts[0][1].replace(b"rest: 75 s ", b"rest: 80 s ", 1))
        assert texts[2] == (texts[1][0].replace(b"breaker: 20 A", b"breaker: 25 A", 1), texts[1][1])
        assert texts[3] == (texts[2][0], texts[2][1].replace(b"foam: 60 mm", b"foam: 70 mm", 1))
        for does, order in (("undo", texts[-2::-1]), ("redo", texts[1:])):
            for expected in order:
                assert client.post(f"/api/plants/parted.yaml/{does}", json={}).status_code == 200
                assert (own.read_bytes(), part.read_bytes()) == expected
        told = client.get("/api/plants/parted.yaml/journal").json()
        assert told["can"] == {"undo": 3, "redo": 0}
        assert {entry["file"] for entry in told["entries"]} == {"parted.yaml", "plant.yaml"}

    def test_tells_its_fields_with_their_file_and_is_watched(
        self, client: TestClient, desk: Desk, parted: Path
    ) -> None:
        told = client.get("/api/plants/parted.yaml").json()
        fields = {field["path"]: field for field in told["fields"]}
        rest = fields["plant.pumps.main.rest"]
        assert (rest["file"], fields["supply.breaker"]["file"]) == ("parts/plant.yaml", "")
        part = parted / "parts" / "plant.yaml"
        assert "rest: 75 s" in part.read_text("utf-8").splitlines()[rest["line"] - 1]
        before = desk.stamp("parted.yaml")
        assert desk.stamp("parted.yaml", before) == before
        part.write_text(part.read_text("utf-8") + "# a word\n", encoding="utf-8")
        assert desk.stamp("parted.yaml", before)[0] != before[0]

    def test_that_leads_elsewhere_is_not_written(self, client: TestClient, parted: Path) -> None:
        outside = parted.parent / "outside.yaml"
        outside.write_bytes((parted / "parts" / "plant.yaml").read_bytes())
        (parted / "parts" / "plant.yaml").unlink()
        (parted / "parts" / "plant.yaml").symlink_to(outside)
        before = outside.read_bytes()
        assert self.changed(client, "plant.pumps.main.rest", "80 s").status_code == 400
        own = (parted / "parted.yaml").read_text("utf-8")
        (parted / "parted.yaml").write_text(
            own.replace("parts/plant.yaml", "../outside.yaml"), encoding="utf-8"
        )
        assert self.changed(client, "plant.pumps.main.rest", "80 s").status_code == 400
        assert outside.read_bytes() == before

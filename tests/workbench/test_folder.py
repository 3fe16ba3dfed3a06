"""No path leads out of the folder: names with dots, slashes and links; titles and names that are hostile."""

from pathlib import Path
from urllib.parse import quote

import pytest
from starlette.testclient import TestClient

from cyclesim.errors import CycleSimError
from cyclesim.scenario.reading.load import load, load_text
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.workbench.folder import Folder


@pytest.fixture
def outside(folder: Path) -> Path:
    """A plant beside the folder."""
    path = folder.parent / "secret.yaml"
    path.write_text(starter_text(), encoding="utf-8")
    return path


class TestAName:
    @pytest.mark.parametrize(
        "name",
        [
            "../secret.yaml",
            "..",
            ".",
            "",
            "/etc/passwd",
            "..\\secret.yaml",
            "garden.yaml/..",
            "a\0.yaml",
            "garden",
        ],
    )
    def test_that_leads_elsewhere_is_none(
        self, client: TestClient, folder: Path, outside: Path, name: str
    ) -> None:
        assert outside.exists()
        with pytest.raises(CycleSimError):
            Folder(folder).path(name)
        for way in (quote(name, safe=""), quote(name, safe="/")):
            assert client.get(f"/api/plants/{way}/journal").status_code in (404, 405, 307)

    def test_of_a_link_is_none(self, client: TestClient, folder: Path, outside: Path) -> None:
        (folder / "link.yaml").symlink_to(outside)
        (folder / "below").symlink_to(outside.parent)
        assert "link.yaml" not in [p["name"] for p in client.get("/api/shelf").json()["plants"]]
        assert client.get("/api/plants/link.yaml").status_code == 404
        with pytest.raises(CycleSimError):
            Folder(folder).inside("below/secret.yaml")
        with pytest.raises(CycleSimError):
            Folder(folder).inside("../secret.yaml")

    @pytest.mark.parametrize(
        "path", ["../__init__.py", "..%2f__init__.py", "%2e%2e/app.py", "/etc/hosts", "x.py"]
    )
    def test_of_an_asset_stays_among_the_assets(self, client: TestClient, path: str) -> None:
        assert client.get(f"/assets/{path}").status_code == 404

    def test_that_is_hostile_stays_text(self, client: TestClient, folder: Path) -> None:
        """Names and titles with markup, quotes and turns of direction are told as they are, in JSON alone."""
        name = "<img src=x onerror=alert(1)>'\"&\u202e.yaml"
        title = "</script><script>alert(1)</script>"
        text = starter_text().replace("title: ", f"title: '{title}' # ", 1)
        (folder / name).write_text(text, encoding="utf-8")
        (told,) = (p for p in client.get("/api/shelf").json()["plants"] if p["name"] == name)
        answer = client.get(f"/api/plants/{quote(name, safe='')}")
        assert told["title"] == title == answer.json()["title"]
        assert answer.headers["content-type"] == "application/json"
        assert "<script" not in (answer.json()["drawing"] or {"svg": ""})["svg"]


class TestANewPlant:
    def test_is_written_beside_the_others(self, client: TestClient, folder: Path) -> None:
        answer = client.post("/api/shelf/new", json={"name": "north yard", "from": {"like": "boiler"}})
        assert (answer.status_code, answer.json()) == (201, {"name": "north yard.yaml"})
        written = (folder / "north yard.yaml").read_text(encoding="utf-8")
        assert load(folder / "north yard.yaml").title == "north yard"
        titles = (load_text(starter_text("boiler")).title, '"north yard"')
        assert written == starter_text("boiler").replace(f"title: {titles[0]}", f"title: {titles[1]}")
        client.post("/api/shelf/new", json={"name": "again", "from": {"copy": "north yard.yaml"}})
        assert (folder / "again.yaml").read_bytes() == (folder / "north yard.yaml").read_bytes()

    def test_takes_the_place_of_nothing(self, client: TestClient, folder: Path) -> None:
        before = (folder / "garden.yaml").read_bytes()
        assert client.post("/api/shelf/new", json={"name": "garden", "from": {}}).status_code == 400
        assert (folder / "garden.yaml").read_bytes() == before

    @pytest.mark.parametrize(
        "name", ["../out", "a/b", ".hidden", "", "x" * 99, "a\nb", "con\0", "C:x", "a.yml"]
    )
    def test_has_a_name_that_any_system_takes(self, client: TestClient, folder: Path, name: str) -> None:
        before = sorted(folder.parent.rglob("*.y*ml"))
        assert client.post("/api/shelf/new", json={"name": name, "from": {}}).status_code == 400
        assert sorted(folder.parent.rglob("*.y*ml")) == before


class TestAFile:
    def test_keeps_who_may_read_it_and_the_mark_of_its_encoding(
        self, client: TestClient, folder: Path
    ) -> None:
        path = folder / "garden.yaml"
        path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))
        path.chmod(0o600)
        before, plant = path.read_bytes(), client.get("/api/plants/garden.yaml").json()
        change = {"path": "title", "text": "Another"}
        body = {"version": plant["version"], "changes": [change]}
        assert client.post("/api/plants/garden.yaml/edit", json=body).status_code == 200
        old = before[before.index(b"title: ") :].split(b"\r\n", 1)[0]
        assert path.read_bytes() == before.replace(old, b"title: Another", 1)
        assert path.stat().st_mode & 0o777 == 0o600

    def test_that_is_no_text_is_told_and_not_written(self, client: TestClient, folder: Path) -> None:
        path = folder / "garden.yaml"
        path.write_bytes(path.read_bytes() + b"# \xff\xfe\n")
        before, plant = path.read_bytes(), client.get("/api/plants/garden.yaml").json()
        assert plant["problems"]
        body = {"version": plant["version"], "changes": [{"path": "title", "text": "Another"}]}
        assert client.post("/api/plants/garden.yaml/edit", json=body).status_code == 400
        assert path.read_bytes() == before

    def test_that_would_no_longer_be_yaml_is_not_written(self, client: TestClient, folder: Path) -> None:
        """Whatever is typed becomes one value at its place."""
        before = (folder / "garden.yaml").read_text(encoding="utf-8")
        for typed in ("a: b", "[1, 2", "x\n  y: z", "'", "{", "# gone", "- a", "&x", "!!int 3", "@", "\t"):
            plant = client.get("/api/plants/garden.yaml").json()
            body = {"version": plant["version"], "changes": [{"path": "title", "text": typed}]}
            answer = client.post("/api/plants/garden.yaml/edit", json=body)
            assert answer.status_code == 200, typed
            now = (folder / "garden.yaml").read_text(encoding="utf-8")
            assert [a for a in now.splitlines() if not a.startswith("title")] == [
                b for b in before.splitlines() if not b.startswith("title")
            ], typed

"""What the server answers: shelf, plant, edits, undo and redo."""

from pathlib import Path

import pytest
import yaml
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from cyclesim.workbench import desk

GARDEN = "/api/plants/garden.yaml"


class TestAPlantOfTheShelf:
    def test_the_shelf_tells_every_plant_of_the_folder(self, client: TestClient, folder: Path) -> None:
        (folder / "notes.yaml").write_text("shopping: [salt]\n", encoding="utf-8")
        (folder / "broken.yaml").write_text("format: 1\ntitle: Half a tub\n", encoding="utf-8")
        told = client.get("/api/shelf").json()["plants"]
        assert ["boiler.yaml", "broken.yaml", "garden.yaml"] == [plant["name"] for plant in told]
        assert ["problem" in plant for plant in told] == [False, True, False]
        assert told[1]["title"] == "Half a tub"
        assert told[1]["problem"].startswith("line 1: ")
        assert str(folder) not in told[1]["problem"]

    def test_a_long_shelf_is_read_in_parts(
        self, client: TestClient, folder: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """Where each takes longer than a moment, one after the other, and what is left is counted."""
        for k in range(3):
            (folder / f"tub {k}.yaml").write_text("format: 1\ntitle: Half a tub\n", encoding="utf-8")
        whole = client.get("/api/shelf").json()
        assert (5, 0) == (len(whole["plants"]), whole["left"])
        monkeypatch.setattr(desk, "_MOMENT_S", -1.0)
        read: list[dict[str, str]] = []
        for left in (4, 3, 2, 1, 0):
            part = client.get("/api/shelf", params={"after": read[-1]["name"] if read else ""}).json()
            read += part["plants"]
            assert left == part["left"]
        assert whole["plants"] == read

    def test_a_value_is_changed_and_nothing_else(self, client: TestClient, folder: Path) -> None:
        before = (folder / "garden.yaml").read_text(encoding="utf-8")
        plant = client.get(GARDEN).json()
        field = next(f for f in plant["fields"] if f["path"] == "schedule.heating.keep_at")
        change = {"path": field["path"], "text": "35.5 degC"}
        answer = client.post(f"{GARDEN}/edit", json={"version": plant["version"], "changes": [change]})
        line = before.splitlines()[field["line"] - 1]
        assert answer.status_code == 200
        assert field["text"] in line
        expected = before.replace(line, line.replace(field["text"], "35.5 degC", 1), 1)
        assert expected == (folder / "garden.yaml").read_text(encoding="utf-8")
        assert answer.json()["version"] != plant["version"]
        assert {"undo": 1, "redo": 0} == answer.json()["can"]
        client.post(f"{GARDEN}/undo", json={})
        assert before == (folder / "garden.yaml").read_text(encoding="utf-8")
        client.post(f"{GARDEN}/redo", json={})
        assert expected == (folder / "garden.yaml").read_text(encoding="utf-8")

    def test_a_fault_is_told_at_its_field_with_the_text(self, client: TestClient) -> None:
        plant = client.get(GARDEN).json()
        change = {"path": "schedule.heating.keep_at", "text": "35 bar"}
        told = client.post(f"{GARDEN}/edit", json={"version": plant["version"], "changes": [change]}).json()
        (problem,) = told["problems"]
        field = next(f for f in told["fields"] if f["path"] == "schedule.heating.keep_at")
        assert problem["path"] == "schedule.heating.keep_at"
        assert problem["line"] == field["line"]
        assert "35 bar" in told["text"]
        assert told["drawing"] is None


PATHS = st.sampled_from(
    [
        "title",
        "format",
        "place",
        "plant.legs.left_bench.length",
        "plant.network",
        "plant.network.0.1.parallel.0",
        "schedule.line_flushes",
        "schedule.line_flushes.0",
        "schedule.line_flushes.0.start.1",
        "schedule.bathing.9",
        "limits.water_age",
        "limits.new.new",
        "plant.pumps.new.power",
        ".",
        "0",
        "title.0",
        "a-b",
        "plant..legs",
    ]
)
CHANGES = st.lists(
    st.fixed_dictionaries({"path": PATHS, "text": st.none() | st.text(max_size=8), "adds": st.booleans()}),
    max_size=3,
)
JSON = st.recursive(st.none() | st.booleans() | st.integers() | st.text(max_size=4), lambda inner: st.lists(
    inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner, max_size=3), max_leaves=6)  # fmt: skip


class TestAnythingThatIsAsked:
    @given(CHANGES)
    @settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
    def test_leaves_a_file_that_is_yaml(self, client: TestClient, folder: Path, changes: list[dict]) -> None:
        version = client.get(GARDEN).json()["version"]
        answer = client.post(f"{GARDEN}/edit", json={"version": version, "changes": changes})
        assert answer.status_code in (200, 400), answer.text
        assert isinstance(yaml.safe_load((folder / "garden.yaml").read_bytes()), dict)
        assert client.get(GARDEN).status_code == 200

    @given(
        st.sampled_from(["edit", "put", "undo", "ask", "readings"]),
        st.dictionaries(
            st.sampled_from(["version", "changes", "why", "what", "options", "file", "text"]), JSON
        ),
    )
    @settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
    def test_is_never_a_fault_of_ours(self, client: TestClient, way: str, body: dict) -> None:
        answer = client.post(f"{GARDEN}/{way}", json=body)
        assert answer.status_code in (200, 201, 202, 400, 409), answer.text
        assert answer.status_code < 300 or answer.json()["error"]

"""What the server answers: shelf, plant, edits, undo and redo."""

from pathlib import Path

from starlette.testclient import TestClient

GARDEN = "/api/plants/garden.yaml"


class TestAPlantOfTheShelf:
    def test_the_shelf_tells_every_plant_of_the_folder(self, client: TestClient, folder: Path) -> None:
        (folder / "notes.yaml").write_text("shopping: [salt]\n", encoding="utf-8")
        (folder / "broken.yaml").write_text("format: 1\ntitle: Half a tub\n", encoding="utf-8")
        told = client.get("/api/shelf").json()["plants"]
        assert ["boiler.yaml", "broken.yaml", "garden.yaml"] == [plant["name"] for plant in told]
        assert ["problem" in plant for plant in told] == [False, True, False]
        assert told[1]["title"] == "Half a tub"

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

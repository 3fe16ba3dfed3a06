"""What the views are sent: fields of any file, however broken; what the form says is what the file says."""

import time
from pathlib import Path

import pytest
import yaml
from starlette.testclient import TestClient

from cyclesim.scenario.reading.defaults import filled_in
from cyclesim.scenario.reading.load import load
from cyclesim.workbench.folder import Folder
from cyclesim.workbench.views import opened, plant_view

ROOT = Path(__file__).resolve().parents[2]
SHIPPED = sorted((ROOT / "schedules").glob("*.yaml"))
BROKEN = ROOT / "tests" / "scenario" / "broken"


@pytest.mark.parametrize("file", SHIPPED, ids=[file.stem for file in SHIPPED])
class TestTheFields:
    def test_have_every_value_of_the_file(self, file: Path) -> None:
        """The second way: the file as the YAML library reads it, value by value, and its lines."""
        told = plant_view(opened(Folder(file.parent), file.name))
        lines = file.read_text(encoding="utf-8").splitlines()
        fields = {field["path"]: field for field in told["fields"]}
        values = dict(leaves(yaml.load("\n".join(lines), Loader=yaml.BaseLoader)))
        for path, value in values.items():
            # the network has no fields: it is written as lists within lists
            if not path.startswith("plant.network") and path in fields:
                assert fields[path]["text"] == value, path
                key = path.rpartition(".")[2]
                assert fields[path]["file"] or key.isdecimal() or key in lines[fields[path]["line"] - 1], path
        named = {path for path in values if not path.startswith("plant.network")}
        inside = {path for path in named if any(path.startswith(f"{known}.") for known in fields)}
        assert named <= fields.keys() | inside

    def test_have_the_defaults_that_a_run_takes(self, file: Path) -> None:
        told = plant_view(opened(Folder(file.parent), file.name))
        fields = {field["path"]: field for field in told["fields"]}
        taken = {default.path: default.value_text for default in filled_in(load(file))}
        shown = {path: fields[path]["default"] for path in taken if path in fields}
        assert {path: taken[path] for path in shown} == shown
        assert len(shown) > len(taken) // 2


class TestTheChoices:
    def test_are_the_names_that_stand_elsewhere(self, client: TestClient) -> None:
        """By hand, off the starter."""
        fields = {field["path"]: field for field in client.get("/api/plants/garden.yaml").json()["fields"]}
        assert fields["plant.legs.left_bench.zone"]["choices"] == ["pump_room", "soil", "outdoors"]
        assert fields["schedule.heating.pump"]["choices"] == ["main low", "main high"]
        assert fields["interlocks.2.after"]["choices"] == ["element"]
        assert fields["schedule.line_flushes.0.after"]["choices"] == ["bathing"]
        assert fields["schedule.filter_runs.0.days"]["choices"][:2] == ["monday", "tuesday"]
        assert fields["plant.heat_sources.element.kind"]["choices"] == ["electric"]

    def test_are_circuits_of_the_supply_and_legs_of_the_plant(self) -> None:
        """By hand, off the moss cellar: what can be cut, and what can lie in a trench."""
        told = plant_view(opened(Folder(ROOT / "schedules"), "moss-cellar.yaml"))
        fields = {field["path"]: field for field in told["fields"]}
        cut, legs = fields["schedule.outages.0.circuit"], fields["plant.trenches.garden.legs"]
        assert ("one of", ["pumps", "heat", "room"]) == (cut["kind"], list(cut["choices"]))
        four = ["suction_left", "suction_right", "left_bench", "right_bench"]
        assert ("list", four) == (legs["kind"], list(legs["choices"]))


def leaves(value: object, path: str = "") -> list[tuple[str, str]]:
    """Every single value of a file by its path; what the program calls a list is told value by value."""
    inner: list[tuple[str, object]] = []
    if isinstance(value, dict):
        inner = [(str(key), one) for key, one in value.items()]
    elif isinstance(value, list):
        inner = [(str(k), one) for k, one in enumerate(value)]
    else:
        return [(path, str(value))]
    return [leaf for key, one in inner for leaf in leaves(one, f"{path}.{key}".removeprefix("."))]


class TestABrokenFile:
    def test_is_told_with_its_problems_and_its_text(self, folder: Path) -> None:
        """Each case of the tables of broken files: nothing is a fault of ours, everything is told."""
        from tests.scenario.test_broken import CASES

        place = Folder(folder)
        for base, case in CASES[:: max(1, len(CASES) // 25)]:
            text = base
            for old, new in case["edits"]:
                text = text.replace(old, new, 1)
            (folder / "case.yaml").write_text(text, encoding="utf-8")
            told = plant_view(opened(place, "case.yaml"))
            assert told["text"] == text
            assert told["problems"]
            unread = ("this is not YAML", "more than 32 levels")
            assert told["fields"] or any(w in told["problems"][0]["error"] for w in unread), case["name"]
            assert told["schedule"] is None

    @pytest.mark.parametrize(
        "data",
        [b"title", b"title: [", b"title: {a: b", b"- 1\n- 2\n", b"title: x\nplant: 7\nschedule: []\n",
         b"format: 2\ntitle: x\n", b"title: \x00\n", b"\xff\xfe\x00", b"title: &a [*a]\n", b"? [a]\n: 1\n",
         b"title: 1\nplace: {zones: [1, {}]}\nplant: {legs: {a: {manifold: [1]}}, pumps: [x]}\n",
         b"title: " + b"[" * 99, b"title: !!python/object:os.system x\n", b"plant: other.yaml\ntitle: x\n",
         b"plant: ../../x.yaml\ntitle: x\nschedule: {line_flushes: {a: 1}, bathing: 3, heating: [x]}\n"],
    )  # fmt: skip
    def test_that_is_no_scenario_at_all_is_told_too(
        self, client: TestClient, folder: Path, data: bytes
    ) -> None:
        (folder / "odd.yaml").write_bytes(data)
        answer = client.get("/api/plants/odd.yaml")
        assert answer.status_code == 200, answer.text
        told = answer.json()
        assert told["problems"]
        assert told["problems"][0]["error"]
        assert (told["drawing"], told["schedule"]) == (None, None)

    def test_of_any_size_is_answered_soon(self, client: TestClient, folder: Path) -> None:
        """A thousand legs with a hundred keys each are refused or told, not waited for."""
        legs = "".join(f"    leg{k}: {{pipe: 63 PN10, length: 1 m, zone: soil}}\n" for k in range(1000))
        (folder / "large.yaml").write_text(
            f"format: 1\ntitle: large\nplant:\n  legs:\n{legs}", encoding="utf-8"
        )
        begun = time.process_time()
        assert client.get("/api/plants/large.yaml").status_code == 200
        assert time.process_time() - begun < 10.0

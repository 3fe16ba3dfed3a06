"""Questions: worked on in processes of their own, told as they go, ended, and asked again."""

import json
import os
import signal
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from cyclesim.analysis.result import simulate
from cyclesim.said.values import result_values
from cyclesim.scenario.reading.load import load
from cyclesim.shown.as_json import as_text
from cyclesim.workbench.asked import Question, answer
from cyclesim.workbench.folder import Folder
from cyclesim.workbench.views import opened
from cyclesim.workbench.work import AskedJob, Workers

WAITS_S = 60.0


@pytest.fixture(scope="module")
def workers() -> Iterator[Workers]:
    """Two real processes."""
    made = Workers()
    yield made
    made.close()


def ended(job: AskedJob) -> tuple[str, dict]:
    """How a job ended, and what was told last."""
    assert job.over.wait(WAITS_S)
    kind, data = job.since(0)[0][-1]
    return kind, json.loads(data)


def begun(job: AskedJob) -> None:
    """Wait until a process works on it."""
    deadline = time.monotonic() + WAITS_S
    while job.worker is None and time.monotonic() < deadline:
        time.sleep(0.005)


class TestAQuestion:
    def test_is_answered_as_the_command_answers_it(self, workers: Workers, folder: Path) -> None:
        """The second way: the same run in this process, as `run --json` makes it."""
        file = folder / "garden.yaml"
        kind, told = ended(workers.ask(Question("fortnight", file), "a"))
        scenario = load(file)
        expected = json.loads(as_text(result_values(simulate(scenario, days=14))))
        assert kind == "result"
        assert expected == told["values"]
        assert told["answer"]["verdict"] in json.dumps(told["page"])

    def test_tells_findings_in_its_readers_units(self, folder: Path) -> None:
        """Water that is cold at a tenth of a kelvin below: degrees as the page writes them, C or F."""
        file = folder / "garden.yaml"
        file.write_text(file.read_text("utf-8").replace("water_age: 24 h", "cold_session: 0.1 K"), "utf-8")
        for us, degree in ((False, "°C"), (True, "°F")):
            told = answer(Question("fortnight", file, us=us), lambda *_: None)
            texts = {f["worst_text"] for f in told["values"]["findings"] if f["rule"] == "cold-at-session"}
            assert texts
            assert all(text.endswith(degree) for text in texts)

    @staticmethod
    def versioned(what: str, folder: Path) -> Question:
        return Question(what, folder / "garden.yaml", version=opened(Folder(folder), "garden.yaml").version)

    def test_that_was_answered_is_not_worked_on_again(self, workers: Workers, folder: Path) -> None:
        """Undo, and a view that is opened again, find their answer; another version is another question."""
        asked = self.versioned("duty", folder)
        first = workers.ask(asked, "g")
        assert workers.ask(asked, "g") is first, "also while it is worked on"
        assert ended(first)[0] == "result"
        assert workers.ask(asked, "g") is first
        kind, told = ended(workers.ask(replace(asked, version="of long ago"), "g"))
        assert (kind, "changed meanwhile" in told["error"]) == ("problem", True)

    def test_of_a_card_is_kept_beside_the_runs(
        self, folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """The second time nothing is run: a run would tell of its days."""
        monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
        text = (folder / "garden.yaml").read_text("utf-8")
        (folder / "garden.yaml").write_text(text.replace("60 s", "61 s"), encoding="utf-8")
        asked = self.versioned("card", folder)
        told, days = list[dict](), list[int]()
        monkeypatch.setattr("cyclesim.analysis.result.days_of_year", lambda _: 5)
        for _ in range(2):
            told.append(answer(asked, lambda _does, done, _of: days.append(done)))
        assert told[0] == told[1]
        assert days == [1, 2, 3, 4]
        assert told[0]["money"].startswith("5 days cost")

    def test_of_a_faulty_file_tells_its_faults(self, workers: Workers, folder: Path) -> None:
        file = folder / "garden.yaml"
        file.write_text(file.read_text(encoding="utf-8").replace("keep_at", "keep_it"), encoding="utf-8")
        kind, told = ended(workers.ask(Question("duty", file), "b"))
        assert kind == "problem"
        assert told["problems"][0]["line"] > 0

    def test_is_asked_no_more_once_a_newer_one_is(self, workers: Workers, folder: Path) -> None:
        first = workers.ask(Question("year", folder / "garden.yaml"), "c")
        begun(first)
        second = workers.ask(Question("duty", folder / "garden.yaml"), "c")
        assert ended(first)[0] == "cancelled"
        assert ended(second)[0] == "result"

    def test_is_answered_though_its_worker_dies(self, workers: Workers, folder: Path) -> None:
        job = workers.ask(Question("fortnight", folder / "garden.yaml"), "d")
        begun(job)
        assert job.worker is not None
        os.kill(job.worker.process.pid or 0, signal.SIGKILL)
        assert ended(job)[0] == "result"

    def test_of_two_windows_ends_when_neither_waits(self, workers: Workers, folder: Path) -> None:
        asked = self.versioned("year", folder)
        job = workers.ask(asked, "h", "left")
        assert workers.ask(asked, "h", "right") is job
        assert workers.ask(asked, "h", "right") is job, "who asks twice waits once"
        workers.leave(job, "right")
        assert not job.over.is_set()
        workers.leave(job, "left")
        assert ended(job)[0] == "cancelled"

    def test_is_not_ended_by_another_window(self, workers: Workers, folder: Path) -> None:
        """One kind of question with other options: each window has its own, and leaves what they shared."""
        asked = self.versioned("year", folder)
        shared = workers.ask(asked, "k", "left")
        assert workers.ask(asked, "k", "right") is shared
        other = workers.ask(replace(asked, us=True), "k", "left")
        assert not shared.over.is_set(), "the right one still waits"
        newest = workers.ask(replace(asked, what="duty"), "k", "right")
        assert ended(shared)[0] == "cancelled"
        assert not other.over.is_set()
        assert ended(newest)[0] == "result"
        workers.leave(other, "left")
        assert ended(other)[0] == "cancelled"

    def test_is_answered_though_idle_workers_were_ended(self, workers: Workers, folder: Path) -> None:
        ended(workers.ask(Question("duty", folder / "garden.yaml"), "i"))
        for worker in list(workers._idle):
            os.kill(worker.process.pid or 0, signal.SIGKILL)
            worker.process.join(WAITS_S)
        assert ended(workers.ask(Question("duty", folder / "boiler.yaml"), "i"))[0] == "result"

    @pytest.mark.slow
    def test_tells_how_far_it_is(self, workers: Workers, folder: Path) -> None:
        job = workers.ask(Question("year", folder / "garden.yaml"), "e")
        seen, told = 0, []
        while not job.over.is_set():
            events, seen = job.since(seen)
            told += [json.loads(data) for kind, data in events if kind == "progress"]
            time.sleep(0.01)
        assert told, "a year takes longer than a tenth of a second"
        assert all(0 < one["done"] <= one["of"] == 365 for one in told)
        assert [one["done"] for one in told] == sorted(one["done"] for one in told)

    def test_with_an_option_of_another_kind_is_refused(self, workers: Workers, folder: Path) -> None:
        asked = Question("verify", folder / "garden.yaml", {"faults": "all"})
        kind, told = ended(workers.ask(asked, "f"))
        assert kind == "problem"
        assert "faults" in told["error"]
        assert ended(workers.ask(replace(asked, options={"faults": 9}), "f"))[0] == "problem"

    def test_ends_where_no_process_lives(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        """Found dead again and again, or not to be had at all: told, not waited for."""

        class Dead:
            class process:  # noqa: N801 - as multiprocessing has it
                is_alive = staticmethod(lambda: False)

            def __init__(self, _: object) -> None:
                if not self.had:
                    raise OSError(11, "Resource temporarily unavailable")

            def end(self) -> None:
                pass

        for had, told in ((True, "die"), (False, "starts no more processes: Resource")):
            Dead.had = had  # type: ignore[attr-defined]
            monkeypatch.setattr("cyclesim.workbench.work._Worker", Dead)
            workers = Workers(ready=1)
            kind, found = ended(workers.ask(Question("duty", folder / "garden.yaml"), "j"))
            workers.close()
            assert kind == "problem"
            assert told in found["error"]

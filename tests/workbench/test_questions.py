"""A new plant from questions: a file that runs, with what was answered in it, or faults at the questions."""

import pytest
import yaml
from starlette.testclient import TestClient

from cyclesim.errors import InputError
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.starter import LIKE, starter_text
from cyclesim.workbench.questions import QUESTIONS, answered

USUAL = {one.id: one.usual for one in QUESTIONS if one.usual}


class TestTheAnswers:
    @pytest.mark.parametrize("like", ["", *LIKE])
    def test_of_nothing_are_the_starter(self, like: str) -> None:
        assert answered({"like": like}) == starter_text(like or None)

    @pytest.mark.parametrize("like", ["", *(kind for kind in LIKE if kind != "us")])
    def test_that_are_usual_make_a_plant_that_can_be_run(self, like: str) -> None:
        load_text(answered({**USUAL, "like": like}))

    def test_stand_in_the_file(self) -> None:
        """The second way: the file read by the YAML library alone."""
        text = answered(
            {"title": "Nettle court", "long": "2.2 m", "wide": "1.6 m", "deep": "0.8 m", "jets": "7",
             "far": "12 m", "head": "16 m", "flow": "500 L/min", "heater": "6 kW", "breaker": "32 A",
             "price": "0.31 EUR/kWh", "quiet_from": "21:30", "warm": "38 degC"}
        )  # fmt: skip
        told = yaml.load(text, Loader=yaml.BaseLoader)
        assert told["title"] == "Nettle court"
        assert told["plant"]["tub"]["dimensions"] == {"length": "2.2 m", "width": "1.6 m", "depth": "0.8 m"}
        assert {leg["length"] for leg in told["plant"]["legs"].values()} == {"12 m"}
        high = told["plant"]["pumps"]["main"]["high"]
        assert (high["max_head"], high["max_flow"], "curve" in high) == ("16 m", "500 L/min", False)
        assert told["plant"]["heat_sources"]["element"]["output"] == "6 kW"
        assert told["supply"]["breaker"] == "32 A"
        assert told["schedule"]["quiet_hours"]["from"] == "21:30"
        assert "# the number of this file format" in text
        load_text(text)

    def test_that_cannot_be_are_told_at_their_question(self, client: TestClient) -> None:
        with pytest.raises(InputError) as caught:
            answered({"breaker": "20 bar", "warm": "hot"})
        assert [fault.path for fault in caught.value.faults] == ["breaker", "warm"]
        with pytest.raises(InputError, match="largest flow"):
            answered({"head": "12 m"})
        answer = client.post("/api/shelf/new", json={"name": "n", "from": {"answers": {"far": "8"}}})
        assert answer.status_code == 400
        assert {problem["path"] for problem in answer.json()["problems"]} == {"far"}

    def test_are_refused_where_nobody_asked(self, client: TestClient) -> None:
        for answers in ({"secret": "1"}, {"title": 3}, [], {"title": "x" * 999}, {"like": "../../x"}):
            body = {"name": "n", "from": {"answers": answers}}
            assert client.post("/api/shelf/new", json=body).status_code == 400, answers

    def test_are_asked_for_by_whole_sentences(self, client: TestClient) -> None:
        told = client.get("/api/shelf/questions").json()["questions"]
        assert [one["id"] for one in told] == [one.id for one in QUESTIONS]
        assert all(one["asks"].rstrip().endswith(("?", ".")) and one["why"].endswith(".") for one in told)

"""What is handed over: each a download that opens, the same as the command writes."""

import io
from collections.abc import Iterator
from pathlib import Path

import pytest
from icalendar import Calendar
from pypdf import PdfReader
from starlette.testclient import TestClient

from cyclesim.scenario.reading.fingerprint import fingerprint
from cyclesim.workbench.app import app
from cyclesim.workbench.desk import Desk
from cyclesim.workbench.folder import Folder
from cyclesim.workbench.guard import Guard
from cyclesim.workbench.work import Workers
from tests.workbench.conftest import PLACE, TOKEN, let_in, told_by

GARDEN = "/api/plants/garden.yaml/handover"


@pytest.fixture
def served(folder: Path, tmp_path: Path) -> Iterator[TestClient]:
    """A client of a workbench that has a process to work."""
    workers = Workers(ready=1)
    client = told_by(Guard(app(Desk(Folder(folder), workers, kept=tmp_path)), TOKEN, 8123, PLACE))
    let_in(client)
    yield client
    workers.close()


class TestADownload:
    def test_opens(self, served: TestClient, folder: Path) -> None:
        """Read by other programs: digits as the file's, an SVG, a calendar that a library reads."""
        assert served.get(f"{GARDEN}/fingerprint").text == fingerprint([folder / "garden.yaml"])
        drawn = served.get(f"{GARDEN}/drawing.svg")
        assert drawn.text.startswith("<svg ")
        assert f"file {fingerprint([folder / 'garden.yaml'])}" in drawn.text
        assert drawn.headers["content-disposition"] == 'attachment; filename="garden.svg"'
        calendar = Calendar.from_ical(served.get(f"{GARDEN}/calendar.ics").content)
        assert calendar.walk("VEVENT")

    @pytest.mark.slow
    def test_of_a_paper_is_a_pdf(self, served: TestClient) -> None:
        answer = served.get(f"{GARDEN}/papers/plumber.pdf")
        assert answer.headers["content-type"] == "application/pdf"
        assert PdfReader(io.BytesIO(answer.content)).pages

    def test_of_what_is_not_there_is_none(self, served: TestClient, folder: Path) -> None:
        for path in ("papers/nobody.pdf", "papers/../x.pdf", "trace.csv", "papers/client.exe", ""):
            assert served.get(f"{GARDEN}/{path}").status_code in (400, 404), path
        (folder / "garden.yaml").write_text("title: half\nplant: {}\n", encoding="utf-8")
        assert served.get(f"{GARDEN}/drawing.svg").status_code == 400

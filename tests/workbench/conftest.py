"""A folder with two invented plants, and a client that is let in to its workbench."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from cyclesim.scenario.reading.starter import starter_text
from cyclesim.workbench.app import app
from cyclesim.workbench.desk import Desk
from cyclesim.workbench.folder import Folder
from cyclesim.workbench.guard import Guard
from cyclesim.workbench.work import Workers

HOST, TOKEN = "http://127.0.0.1:8123", "a-token-of-this-test"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Two plants in a folder of their own."""
    place = tmp_path / "plants"
    place.mkdir()
    (place / "garden.yaml").write_text(starter_text(), encoding="utf-8")
    (place / "boiler.yaml").write_text(starter_text("boiler"), encoding="utf-8")
    return place


class NoWorkers(Workers):
    """Takes questions and never answers them, so that no process is started."""

    def __init__(self) -> None:
        super().__init__(ready=0)


@pytest.fixture
def desk(folder: Path, tmp_path: Path) -> Iterator[Desk]:
    """A desk for that folder which starts no process."""
    workers = NoWorkers()
    yield Desk(Folder(folder), workers, kept=tmp_path / "kept")
    workers.close()


@pytest.fixture
def stranger(desk: Desk) -> TestClient:
    """A client that has not opened the printed address."""
    return TestClient(
        Guard(app(desk), TOKEN, 8123), base_url=HOST, follow_redirects=False, raise_server_exceptions=False
    )


@pytest.fixture
def client(stranger: TestClient) -> TestClient:
    """A client that has, and says where its requests come from as a browser does."""
    assert stranger.get("/", params={"token": TOKEN}).status_code == 303
    stranger.headers["origin"] = HOST
    return stranger

"""A folder with two invented plants, and a client that is let in to its workbench."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from httpx2 import Response
from starlette.testclient import TestClient

from cyclesim.scenario.reading.starter import starter_text
from cyclesim.workbench.app import app
from cyclesim.workbench.desk import Desk
from cyclesim.workbench.folder import Folder
from cyclesim.workbench.guard import Guard
from cyclesim.workbench.work import Workers
from tests.browser import chromium
from tests.workbench.driven import LOUD, Window, served

HOST, PLACE, TOKEN = "http://127.0.0.1:8123", "/here", "a-token-of-this-test"


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
    return told_by(Guard(app(desk), TOKEN, 8123, PLACE))


def told_by(guarded: Guard) -> TestClient:
    """A client that asks at the place of the test."""
    return TestClient(
        guarded, base_url=f"{HOST}{PLACE}", follow_redirects=False, raise_server_exceptions=False
    )


def let_in(client: TestClient, token: str = TOKEN) -> Response:
    """Open the printed address."""
    return client.get(f"{HOST}/", params={"token": token})


@pytest.fixture
def client(stranger: TestClient) -> TestClient:
    """A client that has, and says where its requests come from as a browser does."""
    assert let_in(stranger).status_code == 303
    stranger.headers["origin"] = HOST
    return stranger


@pytest.fixture(scope="module")
def window(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Window]:
    """A window on the module's own folder."""
    with served(folder, tmp_path_factory.mktemp("cache")) as address, chromium() as driver:
        made = Window(driver, address)
        made.screen(1280)
        yield made
        assert [] == [said for said in made.console() if "409 (Conflict)" not in said]


@pytest.fixture
def garden(folder: Path, request: pytest.FixtureRequest) -> Path:
    """In that folder the plant that is loud, afresh, under a name of its own."""
    assert LOUD != starter_text()
    name = re.sub(r"\W+", "-", request.node.name).strip("-")
    file = folder / f"{name}.yaml"
    file.write_text(LOUD, encoding="utf-8", newline="\n")
    return file


@pytest.fixture
def hand(window: Window, request: pytest.FixtureRequest) -> Iterator[Window]:
    """The module's window as one way of doing a task has it; what is shown at the end is well."""
    way = request.param
    window.console(), window.asked()
    window.screen(way.px, way.dark)
    window.by = way.by
    yield window
    window.is_well("409 (Conflict)", "400 (Bad Request)")
    window.by = "mouse"
    window.screen(1280)

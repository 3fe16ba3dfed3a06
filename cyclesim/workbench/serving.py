"""The server of a workbench: begun, its address told, and everything ended with it."""

from __future__ import annotations

import os
import secrets
import socket
from collections.abc import Callable
from pathlib import Path
from types import FrameType

import uvicorn

from cyclesim.errors import CycleSimError, plain
from cyclesim.workbench.app import app
from cyclesim.workbench.desk import Desk
from cyclesim.workbench.folder import Folder, NoPlantError
from cyclesim.workbench.guard import Guard
from cyclesim.workbench.work import Workers

ADDRESS = "127.0.0.1"


def serve(place: Path, port: int, on_ready: Callable[[str, str], object]) -> None:
    """Serve the plants of a folder, or of the folder of a file, until it is interrupted.

    *port* 0 takes one that is free. *on_ready* is told two addresses once it answers: one to print, and one
    that lets in once, to be given to a browser. CycleSimError where the place or the port cannot be had.
    """
    folder, opens = _place(place)
    listening = _listening(port)
    token, once, under = (secrets.token_urlsafe(32) for _ in range(3))
    port = listening.getsockname()[1]
    workers = Workers()
    try:
        desk = Desk(folder, workers, opens)
        config = uvicorn.Config(
            Guard(app(desk), token, port, f"/{under}", once),
            log_level="error" if os.environ.get("CYCLESIM_TRACEBACK") == "1" else "critical",
            access_log=False,
            proxy_headers=False,
            server_header=False,
            date_header=False,
            timeout_graceful_shutdown=1,
            h11_max_incomplete_event_size=32_768,
            lifespan="off",
            ws="none",
        )
        address = f"http://{ADDRESS}:{port}/?token="
        _Server(config, lambda: on_ready(address + token, address + once), desk).run(sockets=[listening])
    finally:
        workers.close()
        listening.close()


def _place(place: Path) -> tuple[Folder, str | None]:
    """The folder that is served, and the plant that is opened first."""
    place = place.resolve()
    if place.is_dir():
        return Folder(place), None
    try:
        folder = Folder(place.parent)
        return folder, folder.path(place.name).name
    except NoPlantError:
        due = "expected a folder of plants or the file of one, which ends with .yaml"
        raise CycleSimError(f"{plain(str(place), 400)}: {due}.") from None


def _listening(port: int) -> socket.socket:
    """A socket of this machine alone."""
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if os.name == "posix":  # elsewhere it would let another program take the port over
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((ADDRESS, port))
    except (OSError, OverflowError) as error:
        listening.close()
        why = getattr(error, "strerror", None) or str(error)
        raise CycleSimError(f"Port {port} cannot be had ({why}): name another with --port.") from None
    return listening


class _Server(uvicorn.Server):
    """Tells when it answers, and lets streams end when it is to end."""

    def __init__(self, config: uvicorn.Config, on_ready: Callable[[], object], desk: Desk) -> None:
        super().__init__(config)
        self._on_ready, self._desk = on_ready, desk

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Begin to answer."""
        await super().startup(sockets)
        self._on_ready()

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """Hear a signal to end."""
        self._desk.closing = True
        super().handle_exit(sig, frame)

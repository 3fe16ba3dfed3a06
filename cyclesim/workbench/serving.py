"""The server of a workbench: begun, its address told, and everything ended with it."""

from __future__ import annotations

import secrets
import socket
from collections.abc import Callable
from pathlib import Path

import uvicorn

from cyclesim.errors import CycleSimError
from cyclesim.workbench.app import app
from cyclesim.workbench.desk import Desk
from cyclesim.workbench.folder import Folder
from cyclesim.workbench.guard import Guard
from cyclesim.workbench.work import Workers

ADDRESS = "127.0.0.1"


def serve(place: Path, port: int, on_ready: Callable[[str], object]) -> None:
    """Serve the plants of a folder, or of the folder of a file, until it is interrupted.

    *port* 0 takes one that is free. *on_ready* is told the address to open once it answers.
    CycleSimError where the place or the port cannot be had.
    """
    folder, file = (place, None) if place.is_dir() else (place.parent, place)
    if file is not None and not file.is_file():
        raise CycleSimError(f"{place}: found nothing; expected a folder of plants or the file of one.")
    listening = _listening(port)
    token, port = secrets.token_urlsafe(32), listening.getsockname()[1]
    workers = Workers()
    try:
        desk = Desk(Folder(folder), workers, opens=file.name if file is not None else None)
        config = uvicorn.Config(
            Guard(app(desk), token, port),
            log_level="warning",
            access_log=False,
            server_header=False,
            date_header=False,
            timeout_graceful_shutdown=1,
            h11_max_incomplete_event_size=32_768,
            lifespan="off",
            ws="none",
        )
        server = _Server(config, lambda: on_ready(f"http://{ADDRESS}:{port}/?token={token}"))
        server.run(sockets=[listening])
    finally:
        workers.close()
        listening.close()


def _listening(port: int) -> socket.socket:
    """A socket of this machine alone."""
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((ADDRESS, port))
    except (OSError, OverflowError) as error:
        listening.close()
        why = getattr(error, "strerror", None) or str(error)
        raise CycleSimError(f"Port {port} cannot be had ({why}): name another with --port.") from None
    return listening


class _Server(uvicorn.Server):
    """Tells when it answers."""

    def __init__(self, config: uvicorn.Config, on_ready: Callable[[], object]) -> None:
        super().__init__(config)
        self._on_ready = on_ready

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Begin to answer."""
        await super().startup(sockets)
        self._on_ready()

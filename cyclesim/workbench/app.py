"""What the server answers at which address; everything is said as JSON, a refusal as one sentence."""

from __future__ import annotations

import asyncio
import json
import re
import secrets
from base64 import b64decode
from collections.abc import AsyncIterator, Callable, Mapping
from datetime import date
from importlib.resources import files
from pathlib import PurePosixPath
from typing import Any, Literal

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route

from cyclesim.errors import CycleSimError, InputError, plain, shorten
from cyclesim.scenario.reading.edit import Edit
from cyclesim.shown.as_json import as_text
from cyclesim.shown.page import TIMELINE
from cyclesim.workbench.desk import Desk
from cyclesim.workbench.edits import ConflictError, OthersError, steps
from cyclesim.workbench.folder import NoPlantError
from cyclesim.workbench.handover import KNOWN
from cyclesim.workbench.views import problem

_KINDS = {
    ".html": "text/html; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".svg": "image/svg+xml",
    ".json": "application/json",
    ".png": "image/png",
    ".woff2": "font/woff2",
    ".webmanifest": "application/manifest+json",
    ".txt": "text/plain; charset=utf-8",
    ".md": "text/plain; charset=utf-8",
}
_LOOKS_EVERY_S = 0.02
_WATCHES_EVERY_S = 0.4
_BEATS_EVERY_S = 15.0
"""So often an empty line tells that the server is still there."""


def app(desk: Desk) -> Starlette:
    """The application for a desk; who may ask is for `Guard`."""
    routes = _Routes(desk)
    return Starlette(
        routes=[
            Route("/", routes.index),
            Route("/look.css", routes.look),
            Route("/timeline.js", routes.timeline),
            Route("/assets/{path:path}", routes.asset),
            Route("/api/shelf", routes.shelf),
            Route("/api/shelf/new", routes.new, methods=["POST"]),
            Route("/api/plants/{name}", routes.plant),
            Route("/api/plants/{name}/card", routes.card),
            Route("/api/plants/{name}/edit", routes.edit, methods=["POST"]),
            Route("/api/plants/{name}/put", routes.put, methods=["POST"]),
            Route("/api/plants/{name}/readings", routes.readings),
            Route("/api/plants/{name}/readings", routes.take_reading, methods=["POST"]),
            Route("/api/plants/{name}/undo", routes.undo, methods=["POST"]),
            Route("/api/plants/{name}/redo", routes.redo, methods=["POST"]),
            Route("/api/plants/{name}/journal", routes.journal),
            Route("/api/plants/{name}/ask", routes.ask, methods=["POST"]),
            Route("/api/plants/{name}/watch", routes.watch),
            Route("/api/plants/{name}/handover/{path:path}", routes.handover),
            Route("/api/jobs/{job}", routes.cancel, methods=["DELETE"]),
            Route("/api/jobs/{job}/events", routes.events),
        ],
        exception_handlers={
            HTTPException: _refused,
            CycleSimError: _refused,
            OSError: _refused,
            Exception: _failed,
        },
    )


def _json(values: object, status: int = 200) -> Response:
    return Response(as_text(values, None), status, media_type="application/json")


async def _refused(request: Request, error: Exception) -> Response:  # noqa: ARG001
    """A refusal that a person can act on."""
    match error:
        case HTTPException():
            told = error.detail if error.detail.endswith(".") else "There is nothing here."
            return _json({"error": told}, error.status_code)
        case ConflictError():
            return _json({"error": str(error), "differs": list(error.differs)}, 409)
        case NoPlantError():
            return _json({"error": str(error)}, 404)
        case InputError():
            first = problem(error.faults[0])
            return _json({**first, "problems": list(map(problem, error.faults))}, 400)
        case CycleSimError():
            return _json({"error": str(error)}, 400)
        case OSError():
            return _json({"error": f"This machine refused: {plain(error.strerror or str(error))}."}, 400)
    raise error


async def _failed(request: Request, error: Exception) -> Response:  # noqa: ARG001
    told = f"This is a fault of cyclesim, not of your file: {type(error).__name__}: {shorten(str(error))}"
    return _json({"error": told}, 500)


class _Routes:
    """One method for each address."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.assets = files("cyclesim.workbench") / "assets"

    def index(self, request: Request) -> Response:  # noqa: ARG002
        """The page itself."""
        return self._asset("index.html")

    def asset(self, request: Request) -> Response:
        """A file of the page."""
        return self._asset(request.path_params["path"])

    def _asset(self, path: str) -> Response:
        parts = PurePosixPath(path).parts
        kind = _KINDS.get(PurePosixPath(path).suffix)
        if kind is None or not parts or any(part in ("..", "/") or "\\" in part for part in parts):
            raise HTTPException(404)
        found = self.assets.joinpath(*parts)
        if not found.is_file():
            raise HTTPException(404)
        return Response(found.read_bytes(), headers={"content-type": kind, "cache-control": "no-cache"})

    def look(self, request: Request) -> Response:  # noqa: ARG002
        """How a page of ours and a drawing in it look, in the page's own colours."""
        from cyclesim.shown.pictures.plant import style

        page = (files("cyclesim.shown.page") / "page.css").read_text(encoding="utf-8")
        bands = {band: f"var(--{band})" for band in ("young", "older", "over", "never")}
        return Response(page + style("var(--ink)", "var(--paper)", bands), media_type="text/css")

    def timeline(self, request: Request) -> Response:  # noqa: ARG002
        """The page's own timeline as a module."""
        folder = files("cyclesim.shown.page")
        parts = ((folder / f"{name}.js").read_text(encoding="utf-8") for name in TIMELINE)
        module = f"{''.join(parts)}\nexport {{ Timeline, opened, unpacked, valueAt }};\n"
        return Response(module, headers={"content-type": _KINDS[".js"], "cache-control": "no-cache"})

    def shelf(self, request: Request) -> Response:
        """The plants of the folder, or with `after` some of them."""
        return _json(self.desk.shelf(request.query_params.get("after")))

    async def new(self, request: Request) -> Response:
        """A plant that was not there."""
        wanted = await _body(request)
        name = await run_in_threadpool(self.desk.new, _text(wanted, "name"), wanted.get("from", {}))
        return _json({"name": name}, 201)

    def plant(self, request: Request) -> Response:
        """One plant."""
        return _json(self.desk.plant(request.path_params["name"], _units(request)))

    def card(self, request: Request) -> Response:
        """A plant's card, or so much of it as is known, with the job that works out the rest."""
        return _json(self.desk.card(request.path_params["name"], _units(request), _window(request)))

    async def edit(self, request: Request) -> Response:
        """Values of a file changed."""
        asked, name = await _body(request), request.path_params["name"]
        edits = [_edit(change) for change in _list(asked, "changes")]
        version, why, by = _text(asked, "version"), _text(asked, "why", ""), _window(request)
        return await self._changed(request, lambda: self.desk.edit(name, version, edits, why, by))

    async def put(self, request: Request) -> Response:
        """Another text for a file, as something that was found for it has it."""
        asked, name = await _body(request), request.path_params["name"]
        version, text, why = _text(asked, "version"), _text(asked, "text"), _text(asked, "why", "")
        by = _window(request)
        return await self._changed(request, lambda: self.desk.put(name, version, text, why, by))

    def readings(self, request: Request) -> Response:
        """What was measured at a plant, and what can be."""
        return _json(self.desk.readings(request.path_params["name"], _units(request)))

    async def take_reading(self, request: Request) -> Response:
        """One reading written, put anew or taken out."""
        asked, name = await _body(request), request.path_params["name"]
        file = await run_in_threadpool(self.desk.take_reading, name, asked)
        now = await run_in_threadpool(self.desk.readings, name, _units(request))
        return _json({"file": file, **now}, 201)

    async def undo(self, request: Request) -> Response:
        """The last edit taken back."""
        return await self._turned(request, "undo")

    async def redo(self, request: Request) -> Response:
        """The last edit that was taken back made again."""
        return await self._turned(request, "redo")

    async def _turned(self, request: Request, does: Literal["undo", "redo"]) -> Response:
        asked, name, by = await _body(request), request.path_params["name"], _window(request)
        since = _text(asked, "since") if "since" in asked else None
        return await self._changed(request, lambda: self.desk.turn(name, does, by, since))

    async def _changed(self, request: Request, change: Callable[[], None]) -> Response:
        name, units = request.path_params["name"], _units(request)
        try:
            await run_in_threadpool(change)
        except ConflictError as error:
            now = await run_in_threadpool(self.desk.plant, name, units)
            return _json({"error": str(error), "differs": list(error.differs), "plant": now}, 409)
        except OthersError as error:
            return _json({"error": str(error), "others": True}, 409)
        return _json(await run_in_threadpool(self.desk.plant, name, units))

    def journal(self, request: Request) -> Response:
        """What was done to a plant."""
        return _json(self.desk.journal(request.path_params["name"]))

    async def ask(self, request: Request) -> Response:
        """A question given to a worker."""
        asked = await _body(request)
        options = asked.get("options", {})
        if not isinstance(options, dict):
            raise CycleSimError("Found something else for options; expected a block of keys.")
        what, name = _text(asked, "what"), request.path_params["name"]
        version = _text(asked, "version", "")
        job = await run_in_threadpool(
            self.desk.ask, name, what, options, _units(request), version, _window(request)
        )
        return _json({"job": job.id}, 202)

    async def events(self, request: Request) -> Response:
        """What becomes known of a job."""
        job = self.desk.workers.job(request.path_params["job"])

        async def stream() -> AsyncIterator[str]:
            seen, quiet_s = 0, 0.0
            while not self.desk.closing:
                events, seen = job.since(seen)
                for event in events:
                    yield _event(event.kind, event.data)
                    if event.kind != "progress":
                        return
                quiet_s = 0.0 if events else quiet_s + _LOOKS_EVERY_S
                if quiet_s > _BEATS_EVERY_S:
                    yield ":\n\n"
                    quiet_s = 0.0
                await asyncio.sleep(_LOOKS_EVERY_S)

        return _streamed(stream())

    def cancel(self, request: Request) -> Response:
        """A question that is asked no more."""
        self.desk.workers.leave(self.desk.workers.job(request.path_params["job"]), _window(request))
        return _json({})

    async def watch(self, request: Request) -> Response:
        """The versions that a file comes to have, whoever changes it."""
        name = request.path_params["name"]
        first = await run_in_threadpool(self.desk.stamp, name)

        async def stream() -> AsyncIterator[str]:
            before, quiet_s = first, 0.0
            yield _event("version", json.dumps({"version": first[0]}))
            while not self.desk.closing:
                await asyncio.sleep(_WATCHES_EVERY_S)
                try:
                    now = await run_in_threadpool(self.desk.stamp, name, before)
                except (CycleSimError, OSError) as error:
                    yield _event("gone", json.dumps({"error": str(error)}))
                    return
                quiet_s += _WATCHES_EVERY_S
                if now[0] != before[0]:
                    yield _event("version", json.dumps({"version": now[0]}))
                    quiet_s = 0.0
                elif quiet_s > _BEATS_EVERY_S:
                    yield ":\n\n"
                    quiet_s = 0.0
                before = now

        return _streamed(stream())

    async def handover(self, request: Request) -> Response:
        """One thing to hand over, as a download."""
        name, path, units = request.path_params["name"], request.path_params["path"], _units(request)
        if path == "page.html":
            what, options = "page", dict[str, str]()
        elif KNOWN.fullmatch(path):
            what, options = "handover", {"path": path, "day": date.today().isoformat()}
        else:
            raise HTTPException(404)
        download = secrets.token_hex(8)
        job = await run_in_threadpool(self.desk.ask, name, what, options, units, "", download)
        while not job.over.is_set():
            await asyncio.sleep(_LOOKS_EVERY_S)
            if await request.is_disconnected():
                self.desk.workers.leave(job, download)
                break
        told = json.loads(job.events[-1].data)
        if not job.answered:
            return _json(told, 400)
        if what == "page":
            return _download(f"{PurePosixPath(name).stem}.html", "text/html", told["html"].encode())
        return _download(told["name"], told["kind"], b64decode(told["data"]))


def _download(name: str, kind: str, data: bytes) -> Response:
    """A file that the browser keeps; one without a name is only shown."""
    plain_name = re.sub(r"[^A-Za-z0-9._-]", "-", name)
    headers = {"content-disposition": f'attachment; filename="{plain_name}"'} if name else {}
    return Response(data, media_type=kind, headers=headers)


def _event(kind: str, data: str) -> str:
    """An event of a stream; JSON over several lines is told line by line."""
    lines = "".join(f"data: {line}\n" for line in data.splitlines())
    return f"event: {kind}\n{lines}\n"


def _streamed(stream: AsyncIterator[str]) -> Response:
    return StreamingResponse(stream, media_type="text/event-stream")


async def _body(request: Request) -> Mapping[str, Any]:
    try:
        value = json.loads(await request.body())
    except (ValueError, RecursionError):
        raise CycleSimError("Found a body that is no JSON.") from None
    if not isinstance(value, dict):
        raise CycleSimError("Found another body; expected a block of keys.")
    return value


def _text(values: Mapping[str, Any], key: str, otherwise: str | None = None) -> str:
    value = values.get(key, otherwise)
    if not isinstance(value, str):
        raise CycleSimError(f"Found something else for {key}; expected a text.")
    return value


def _list(values: Mapping[str, Any], key: str) -> list[Any]:
    value = values.get(key)
    if not isinstance(value, list):
        raise CycleSimError(f"Found something else for {key}; expected a list.")
    return value


def _edit(change: Any) -> Edit:
    """One change of a request."""
    if not isinstance(change, dict):
        raise CycleSimError("Found something else among the changes; expected path and text.")
    text, adds = change.get("text"), change.get("adds", False)
    if not isinstance(text, str | None) or not isinstance(adds, bool):
        raise CycleSimError("Found something else for text; expected a text, or null to leave the key out.")
    return Edit(steps(_text(change, "path")), text, adds)


def _window(request: Request) -> str:
    """Which of the windows asks, as it names itself."""
    return request.query_params.get("window", "")


def _units(request: Request) -> str | None:
    """The units that a page asks to be told in; those of the file where it does not."""
    units = request.query_params.get("units")
    if units not in (None, "us", "metric"):
        raise CycleSimError(f"Found '{shorten(str(units))}' for units; expected us or metric.")
    return units

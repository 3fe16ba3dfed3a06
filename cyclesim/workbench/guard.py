"""Who may ask the server, and what its answers allow a browser: checked before anything else is done.

Any page in the same browser can send requests to a port of this machine, and any user of the machine can
reach it. So the host must be this server's own name (no foreign name that was made to point here), a change
must come from a page of this server, and everything under `/api` needs the cookie that only the address with
the token sets. Browsers give a cookie to every port of a host: it holds until the server ends.
"""

from __future__ import annotations

import hmac
import json
from collections.abc import Iterable
from urllib.parse import parse_qs

from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

MOST_BYTES = 1_200_000
"""Of a request's body: a scenario file has a million at most."""
_CHANGES = frozenset({"POST", "PUT", "PATCH", "DELETE"})
_LOOKS = frozenset({"GET", "HEAD"})
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "font-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
_HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-store",
}
Headers = dict[str, str]


class Guard:
    """Lets through what comes from this server's own page; everything else is refused in a sentence.

    *token*: what the printed address has in it. *port*: where the server listens. *once*: what the address
    has that a browser is given as a word of its command, which every user of the machine can read: it lets in
    once. *place*: the path before all others, with a slash before it and none behind.
    """

    def __init__(self, app: ASGIApp, token: str, port: int, place: str, once: str = "") -> None:
        self.app, self.token, self.place, self.once = app, token, place, once
        ports = (f":{port}", "") if port == 80 else (f":{port}",)  # which browsers leave out
        self.hosts = {f"{name}{port}" for name in ("127.0.0.1", "localhost") for port in ports}
        self.cookie = f"cyclesim-{port}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, or hand on to the app with the headers that a browser must keep to."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        headers, path = _headers(scope["headers"]), scope["path"]
        inside = path.startswith(f"{self.place}/")
        if inside:
            scope = {**scope, "path": path.removeprefix(self.place), "raw_path": None}
        refusal = self._refusal(scope, headers)
        if refusal is not None:
            await _say(send, *refusal)
            return
        if not inside:
            tokens = parse_qs(scope["query_string"].decode("latin-1")).get("token", [""])
            await (
                self._let_in(send, tokens[0]) if path == "/" else _say(send, 404, "There is nothing here.")
            )
            return
        left = MOST_BYTES

        async def bounded() -> Message:
            nonlocal left
            message = await receive()
            left -= len(message.get("body", b""))
            if left < 0:
                raise HTTPException(*_TOO_LARGE)
            return message

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                own = {name for name, _ in message["headers"]}
                more = [(k.encode(), v.encode()) for k, v in _HEADERS.items() if k.encode() not in own]
                message = {**message, "headers": [*message["headers"], *more]}
            await send(message)

        await self.app(scope, bounded, guarded)

    def _refusal(self, scope: Scope, headers: Headers) -> tuple[int, str] | None:
        """Why a request is refused, if it is."""
        host, method = headers.get("host", ""), scope["method"]
        if host not in self.hosts:
            return 400, "This server answers to its own address alone."
        if method not in _CHANGES | _LOOKS:
            return 405, "Nothing here is asked in that way."
        if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none") and (
            method in _CHANGES or scope["path"].startswith("/api")
        ):
            return 403, "Only a page of this server may ask that."
        if method in _CHANGES:
            if headers.get("origin") != f"http://{host}":
                return 403, "Only a page of this server may change something."
            kind = headers.get("content-type", "").partition(";")[0].strip()
            if method != "DELETE" and kind != "application/json":
                return 415, "Found a body of another kind; expected application/json."
            if not _within(headers.get("content-length", "0")):
                return _TOO_LARGE
        if scope["path"].startswith("/api") and not self._known(headers.get("cookie", "")):
            return 401, _STRANGE
        return None

    def _known(self, cookies: str) -> bool:
        """Whether the cookie is among those of the host, however odd the others are."""
        pairs = (part.strip().partition("=") for part in cookies.split(";"))
        return any(name == self.cookie and _same(value, self.token) for name, _, value in pairs)

    async def _let_in(self, send: Send, token: str) -> None:
        if self.once and _same(token, self.once):
            self.once = ""
        elif not _same(token, self.token):
            await _say(
                send, 403, "This address does not let in, or no more: open the one that cyclesim printed."
            )
            return
        cookie = f"{self.cookie}={self.token}; HttpOnly; SameSite=Strict; Path={self.place}"
        await _send(send, 303, b"", {"location": f"{self.place}/", "set-cookie": cookie})


_STRANGE = "This window is not let in, or no more: open the address that cyclesim workbench printed last."
_TOO_LARGE = (413, f"Found more than {MOST_BYTES // 1000} kB; a scenario is far smaller.")


def _same(given: str, own: str) -> bool:
    return hmac.compare_digest(given.encode(), own.encode())


def _within(length: str) -> bool:
    return length.isascii() and length.isdigit() and int(length[:12]) <= MOST_BYTES and len(length) <= 12


def _headers(pairs: Iterable[tuple[bytes, bytes]]) -> Headers:
    """The headers by their names; one that stands twice is told as both."""
    headers: Headers = {}
    for name, value in pairs:
        key, text = name.decode("latin-1").lower(), value.decode("latin-1")
        headers[key] = f"{headers[key]}; {text}" if key in headers else text
    return headers


async def _say(send: Send, status: int, error: str) -> None:
    await _send(send, status, json.dumps({"error": error}).encode(), {"content-type": "application/json"})


async def _send(send: Send, status: int, body: bytes, headers: Headers) -> None:
    told = {**_HEADERS, **headers, "content-length": str(len(body))}
    pairs = [(name.encode(), value.encode()) for name, value in told.items()]
    await send({"type": "http.response.start", "status": status, "headers": pairs})
    await send({"type": "http.response.body", "body": body})

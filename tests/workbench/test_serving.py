"""The real thing: a process that answers, is killed and begins again; events over the wire; one port each."""

import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager
from http.client import HTTPConnection, HTTPResponse
from pathlib import Path

import pytest

from cyclesim.cli import cli
from cyclesim.errors import CycleSimError
from cyclesim.workbench.serving import serve

WAITS_S = 60.0
GARDEN = "/api/plants/garden.yaml"


class Wire:
    """Requests over the wire, with the cookie that the printed address sets."""

    def __init__(self, address: str) -> None:
        match = re.fullmatch(r"http://127\.0\.0\.1:(\d+)/\?token=(\S+)", address)
        assert match
        self.port, self.cookie, self.place = int(match[1]), "", ""
        self._open = ExitStack()
        answer = self.ask("GET", f"/?token={match[2]}")
        self.place = answer.headers["location"].rstrip("/")
        self.cookie = answer.headers["set-cookie"].partition(";")[0]

    def ask(self, method: str, path: str, body: object = None) -> HTTPResponse:
        """One request; the answer is not read yet."""
        line = HTTPConnection("127.0.0.1", self.port, timeout=WAITS_S)
        headers = {"cookie": self.cookie, "origin": f"http://127.0.0.1:{self.port}"}
        if body is not None:
            headers["content-type"] = "application/json"
        line.request(method, self.place + path, None if body is None else json.dumps(body), headers)
        answer = line.getresponse()
        self._open.callback(line.close)
        self._open.callback(answer.close)
        return answer

    def close(self) -> None:
        """Read nothing more."""
        self._open.close()

    def told(self, method: str, path: str, body: object = None) -> dict:
        """What an answer says."""
        return json.loads(self.ask(method, path, body).read())


def next_event(stream: HTTPResponse) -> tuple[str, dict]:
    """The next event of a stream that is open."""
    kind, data = "", ""
    while line := stream.readline().decode():
        if line.startswith("event: "):
            kind = line[7:].strip()
        elif line.startswith("data: "):
            data += line[6:]
        elif line == "\n" and kind:
            return kind, json.loads(data)
    raise EOFError


@contextmanager
def running(folder: Path, home: Path) -> Iterator[tuple[subprocess.Popen[str], Wire]]:
    """A workbench as a person starts it, and the wire to it."""
    environment = {**os.environ, "XDG_CACHE_HOME": str(home)}
    command = [sys.executable, "-m", "cyclesim", "workbench", str(folder), "--no-open"]
    pipe = subprocess.PIPE
    process = subprocess.Popen(command, env=environment, stdout=pipe, stderr=pipe, text=True)
    try:
        assert process.stdout is not None
        with closing(Wire(process.stdout.readline().strip())) as wire:
            yield process, wire
    finally:
        process.kill()
        process.communicate()


def until(true: Callable[[], bool]) -> bool:
    """Whether something becomes true before long."""
    deadline = time.monotonic() + WAITS_S
    while not true() and time.monotonic() < deadline:
        time.sleep(0.05)
    return true()


def children(pid: int) -> set[int]:
    """Every process below one, as the system lists them."""
    listed = subprocess.run(["ps", "-eo", "pid=,ppid="], capture_output=True, text=True, check=True).stdout
    above = [tuple(map(int, line.split())) for line in listed.splitlines()]
    found, last = set[int](), {pid}
    while last:
        last = {child for child, parent in above if parent in last} - found
        found |= last
    return found


class TestAWorkbench:
    @pytest.mark.slow
    def test_loses_nothing_when_it_is_killed(self, folder: Path, tmp_path: Path) -> None:
        """Edited, killed, begun again: the edit stands and can be undone; no process is left over."""
        before = (folder / "garden.yaml").read_bytes()
        with running(folder, tmp_path / "cache") as (process, wire):
            version = wire.told("GET", GARDEN)["version"]
            change = {"path": "supply.breaker", "text": "32 A"}
            wire.told(
                "POST", f"{GARDEN}/edit", {"version": version, "changes": [change], "why": "a larger one"}
            )
            wire.told("POST", f"{GARDEN}/ask", {"what": "year"})
            assert until(lambda: len(children(process.pid)) >= 2)
            below = children(process.pid)
            process.send_signal(signal.SIGKILL)
            process.wait()
            assert until(lambda: not any(Path(f"/proc/{pid}").exists() for pid in below))
        edited = (folder / "garden.yaml").read_bytes()
        assert edited == before.replace(b"breaker: 20 A", b"breaker: 32 A", 1)
        with running(folder, tmp_path / "cache") as (process, wire):
            (entry,) = wire.told("GET", f"{GARDEN}/journal")["entries"]
            assert (entry["old"], entry["new"], entry["why"]) == (["20 A"], ["32 A"], "a larger one")
            assert wire.told("POST", f"{GARDEN}/undo", {})["can"] == {"undo": 0, "redo": 1}
            assert (folder / "garden.yaml").read_bytes() == before
            next_event(wire.ask("GET", f"{GARDEN}/watch"))
            process.send_signal(signal.SIGINT)
            assert process.wait(WAITS_S) == 130
            assert process.stderr is not None
            assert process.stderr.read().strip() == "Interrupted; no file was left half written."

    @pytest.mark.slow
    def test_tells_over_the_wire_as_things_become_known(self, folder: Path, tmp_path: Path) -> None:
        """A file that an editor changes, and a question that is answered; no name leads elsewhere."""
        with running(folder, tmp_path / "cache") as (_, wire):
            watched = wire.ask("GET", f"{GARDEN}/watch")
            kind, first = next_event(watched)
            assert (kind, first["version"]) == ("version", wire.told("GET", GARDEN)["version"])
            path = folder / "garden.yaml"
            path.write_text(path.read_text("utf-8") + "# a word\n", encoding="utf-8")
            assert next_event(watched)[1] == {"version": wire.told("GET", GARDEN)["version"]}
            job = wire.told("POST", f"{GARDEN}/ask", {"what": "duty"})["job"]
            assert next_event(wire.ask("GET", f"/api/jobs/{job}/events"))[0] == "result"
            for name in ("..%2fgarden.yaml", "%2e%2e", "%2fetc%2fpasswd", "garden.yaml%00", "%252e%252e"):
                assert wire.ask("GET", f"/api/plants/{name}").status == 404
            for path_ in (
                "/assets/../serving.py",
                "/assets/%2e%2e/serving.py",
                "//etc/passwd",
                "/assets//etc/x",
            ):
                assert wire.ask("GET", path_).status == 404

    @pytest.mark.slow
    def test_answers_to_this_machine_alone_and_shares_no_port(self, folder: Path, tmp_path: Path) -> None:
        with running(folder, tmp_path / "cache") as (_, wire):
            with pytest.raises(ConnectionRefusedError):  # another address of the same machine
                socket.create_connection(("127.0.0.2", wire.port), WAITS_S)
            command = [sys.executable, "-m", "cyclesim", "workbench", str(folder), "--no-open"]
            done = subprocess.run(
                [*command, "--port", str(wire.port)],
                capture_output=True,
                text=True,
                timeout=WAITS_S,
                check=False,
            )
            assert done.returncode == 2
            assert "--port" in done.stderr
            with socket.create_connection(("127.0.0.1", wire.port), WAITS_S) as raw:
                raw.sendall(b"GET / HTTP/1.1\r\nHost: evil.example\r\n\r\n")
                assert raw.recv(65_536).startswith(b"HTTP/1.1 400")

    @pytest.mark.parametrize("place", ["nowhere", "nowhere/garden.yaml", "plants/notes.txt"])
    def test_is_refused_where_nothing_is(self, folder: Path, place: str) -> None:
        (folder / "notes.txt").write_text("", encoding="utf-8")
        with pytest.raises(CycleSimError, match="a folder of plants or the file of one"):
            serve(folder.parent / place, 0, lambda *_: pytest.fail("it answers"))

    def test_opens_a_browser_by_an_address_of_its_own(
        self, folder: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """What is printed lets in again and again; what the browser's command has does not."""
        opened, printed = list[str](), list[str]()

        def answering(place: Path, port: int, on_ready: Callable[[str, str], object]) -> None:
            assert (place, port) == (folder, 0)
            on_ready("http://printed", "http://once")

        monkeypatch.setattr("cyclesim.workbench.serving.serve", answering)
        monkeypatch.setattr("webbrowser.open", opened.append)
        monkeypatch.setattr("cyclesim.cli.workbench.show", printed.append)
        with pytest.raises(SystemExit) as ended:
            cli.main(["workbench", str(folder)])
        assert ended.value.code == 0
        assert until(lambda: opened == ["http://once"])
        assert printed == ["http://printed\n"]

"""One function over many things: in this process, in several, or on a cluster that is already there.

Processes by joblib, a cluster by dask's own client: joblib's dask backend waits for ever for a run that
killed its workers. A worker's death costs its runs another try; the order turns at each death, so that a run
which kills comes last.
"""

from __future__ import annotations

import os
import re
import signal
import socket
import threading
import time
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import CancelledError
from contextlib import contextmanager
from functools import cache, partial
from hashlib import sha256
from pathlib import Path
from typing import Any, TypeVar

from cyclesim.errors import CycleSimError, shorten

Thing = TypeVar("Thing")
Found = TypeVar("Found")
MOST_DEATHS = 3
"""So often in a row workers may die with nothing done: a run that kills who runs it would do so for ever."""
REACHED_WITHIN_S = 5
_LOOKS_EVERY_S = 1.0

_ADDRESS = re.compile(
    r"(?P<way>(?:tcp|tls|ucx|wss?)://)?(?P<host>[\w.-]{1,253}|\[[0-9a-fA-F:.]{2,45}\]):(?P<port>\d{1,5})",
    re.ASCII,
)
_LONGEST_GREETING = 1 << 20


class SweepError(CycleSimError):
    """A sweep that could not be finished; what was done until then is kept."""


def each(
    do: Callable[[Thing], Found],
    things: Sequence[Thing],
    workers: int | None = 1,
    cluster: str | None = None,
) -> Iterator[tuple[int, Found]]:
    """(place in the list, what *do* gave) as they come in.

    *workers* processes share the work, None for one a core; *cluster* is the address of a dask scheduler and
    takes their place. Raises SweepError where workers keep dying or the cluster is not to be reached.
    """
    count = min(len(things), (os.cpu_count() or 1) if workers is None else workers)
    if cluster is not None:
        yield from _on_cluster(do, things, cluster)
    elif count <= 1:
        yield from ((place, do(thing)) for place, thing in enumerate(things))
    else:
        yield from _in_processes(do, things, count)


def _placed(do: Callable[[Thing], Found], place: int, thing: Thing) -> tuple[int, Found]:
    return place, do(thing)


def _in_processes(
    do: Callable[[Thing], Found], things: Sequence[Thing], count: int
) -> Iterator[tuple[int, Found]]:
    from joblib import Parallel, delayed
    from joblib.externals.loky.process_executor import BrokenProcessPool

    left, deaths = dict(enumerate(things)), 0
    turned = False  # at every death, so that a run which kills who runs it comes after all others
    while left:
        try:
            with _interrupts_are_ours():
                own = {"initializer": end_with, "initargs": (os.getpid(),)}
                parallel = Parallel(n_jobs=count, return_as="generator_unordered", **own)
                tasks = [delayed(_placed)(do, place, thing) for place, thing in left.items()]
                coming = parallel(reversed(tasks) if turned else tasks)
            for place, answer in coming:
                del left[place]
                deaths = 0
                yield place, answer
        except BrokenProcessPool as error:
            deaths, turned = deaths + 1, not turned
            if deaths >= MOST_DEATHS:
                raise SweepError(
                    f"Worker processes died {deaths} times in a row with {len(left)} of {len(things)} runs\n"
                    "left, for want of memory perhaps. What was done is kept; try fewer: --workers 1."
                ) from error


@contextmanager
def _interrupts_are_ours() -> Generator[None]:
    """Processes that are started inside never hear Ctrl-C: who started them does, and ends them.

    It takes some hundredths of a second, in which nobody hears it; a signal to end is heard afterwards.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    heard: list[int] = []
    before = {
        signal.SIGINT: signal.signal(signal.SIGINT, signal.SIG_IGN),
        signal.SIGTERM: signal.signal(signal.SIGTERM, lambda number, _: heard.append(number)),
    }
    try:
        yield
    finally:
        for kind, handler in before.items():
            signal.signal(kind, handler)
        for number in heard:
            os.kill(os.getpid(), number)


def end_with(parent: int) -> None:
    """Let this process end within a second or two of the one that started it, whatever ended that."""

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(_LOOKS_EVERY_S)
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def _on_cluster(
    do: Callable[[Thing], Found], things: Sequence[Thing], address: str
) -> Iterator[tuple[int, Found]]:
    try:
        from distributed import Client, KilledWorker, as_completed
    except ImportError:
        raise SweepError("--cluster needs dask: pip install 'cyclesim[cluster]'") from None
    client, killers = _client(Client, address), 0
    try:
        _same_program(client)
        # not by joblib, whose dask backend waits for ever for a run that killed its workers
        tasks = client.map(partial(_placed, do), range(len(things)), things, pure=False)
        for future in as_completed(tasks, loop=client.loop):  # type: ignore[no-untyped-call]
            try:
                yield future.result()
            except KilledWorker:
                killers += 1
        if killers:
            raise SweepError(
                f"{killers} of {len(things)} runs killed every worker that the cluster at {address}\n"
                "gave them to. What was done is kept."
            )
    except CancelledError as error:
        raise SweepError(f"The cluster at {shorten(address)} is gone; what was done is kept.") from error
    finally:
        client.close()


def _client(kind: Any, address: str) -> Any:
    """A client of the scheduler; made only where one answers, because the library tells of its tries."""
    try:
        _reach(address)
    except (OSError, ValueError) as error:
        raise _no_cluster(address, error) from None
    try:
        return kind(address, timeout=REACHED_WITHIN_S, set_as_default=False)
    except Exception as error:  # whatever came over the wire
        raise _no_cluster(address, error) from None


def _no_cluster(address: str, error: Exception) -> SweepError:
    return SweepError(
        f"No cluster answers at {shorten(address)} ({shorten(str(error))}).\n"
        "expected the address of a dask scheduler, e.g. --cluster tcp://10.0.0.5:8786"
    )


def _reach(address: str) -> None:
    """OSError or ValueError where no scheduler can be at an address, or none is.

    One that is reached without encryption greets at once; its first eight bytes count what comes, and a page
    of the web or any other text is an absurd count.
    """
    match = _ADDRESS.fullmatch(address)
    if match is None:
        raise ValueError("it is no address of that form")
    host, port = match["host"].strip("[]"), int(match["port"])
    with socket.create_connection((host, port), REACHED_WITHIN_S) as stream:
        if match["way"] in (None, "tcp://"):
            stream.settimeout(REACHED_WITHIN_S)
            count = int.from_bytes(stream.recv(8), "little")
            if not 0 < count < _LONGEST_GREETING:
                raise ValueError("what answers there is no dask scheduler")


def _same_program(client: Any) -> None:
    """Another version on a worker would give other numbers without a word."""
    theirs = client.run(program, on_error="return")
    if not theirs:
        raise SweepError("The cluster has no workers.")
    others = sorted(address for address, their_program in theirs.items() if their_program != program())
    if others:
        raise SweepError(
            f"Another cyclesim than here, or none, is installed on {len(others)} of {len(theirs)} workers,\n"
            f"e.g. on {others[0]}."
        )


@cache
def program() -> str:
    """What tells this program from any other version of it: a digest of its text."""
    home = Path(__file__).resolve().parents[2]
    digest = sha256()
    for path in sorted(home.rglob("*.py")):
        digest.update(path.relative_to(home).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()

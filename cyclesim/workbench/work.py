"""Questions worked on in processes of their own, so that the page never waits and any of them can be ended.

Workers stand ready with everything imported. A question that is no longer asked ends with its worker, and
another worker takes its place; a question whose worker dies is asked once more of another.
"""

from __future__ import annotations

import json
import multiprocessing
import os
import secrets
import signal
import threading
import time
from collections import OrderedDict, deque
from contextlib import suppress
from multiprocessing.connection import Connection
from multiprocessing.context import BaseContext
from typing import Any, NamedTuple

from cyclesim.decide.sweeps.pool import end_with
from cyclesim.errors import CycleSimError, InputError, shorten
from cyclesim.shown.as_json import as_text
from cyclesim.workbench.asked import Question
from cyclesim.workbench.pressed import pressed

READY, MOST = 2, 6
"""So many workers stand ready, and so many there are at most."""
MOST_JOBS = 60
"""Whose events are kept for a page that asks again."""
_TELLS_EVERY_S = 0.1
_TRIES_EVERY_S = 1.0
_MOST_TRIED = 4
"""Of a job: a worker that dies at it counts two, one that was found dead counts one."""
_DIED = "The processes that are to work on this die, for want of memory perhaps. Nothing is lost."
_WARM = "cyclesim.workbench.warm"


class Event(NamedTuple):
    """One thing that became known of a job: its kind, and JSON."""

    kind: str
    data: str


class AskedJob:
    """A question that is being worked on, and what is known of it so far."""

    def __init__(self, question: Question, key: str, window: str = "") -> None:
        self.id, self.question, self.key = secrets.token_urlsafe(12), question, key
        self.windows = {window}
        """Those that wait for it."""
        self.events = list[Event]()
        self.over = threading.Event()
        self.worker: _Worker | None = None
        self.tried = 0
        self._dropped = 0
        self._lock = threading.Lock()

    def tell(self, kind: str, data: str) -> None:
        """Note an event, unless the job is over."""
        with self._lock:
            if self.over.is_set():
                return
            if kind == "progress" and self.events and self.events[-1].kind == "progress":
                self.events.pop()  # an older one tells nobody anything
                self._dropped += 1
            self.events.append(Event(kind, data))
            if kind != "progress":
                self.over.set()

    @property
    def answered(self) -> bool:
        """Whether it came to a result."""
        return bool(self.events) and self.events[-1].kind == "result"

    def since(self, seen: int) -> tuple[list[Event], int]:
        """The events after so many, and how many there are now."""
        with self._lock:
            return self.events[max(0, seen - self._dropped) :], self._dropped + len(self.events)


class _Worker:
    """One process and the line to it."""

    def __init__(self, context: Any) -> None:
        self.line, theirs = context.Pipe()
        self.process = context.Process(target=_work, args=(theirs,), daemon=False)
        self.process.start()
        theirs.close()

    def end(self) -> None:
        """End it now, with all that it has started."""
        with suppress(OSError, ValueError):
            self.process.kill()
        with suppress(OSError):
            self.line.close()


class Workers:
    """Takes questions, and lets processes answer them; `close` ends them all."""

    def __init__(self, ready: int = READY) -> None:
        self._context = _context()
        self._ready, self._idle = ready, list[_Worker]()
        self._jobs = OrderedDict[str, AskedJob]()
        self._waiting, self._change = deque[AskedJob](), threading.Condition()
        self._closed = False
        threading.Thread(target=self._fill, daemon=True).start()
        for _ in range(MOST):
            threading.Thread(target=self._serve, daemon=True).start()

    def ask(self, question: Question, key: str, window: str = "") -> AskedJob:
        """Ask a question; the same *window* waits no more for an older one of the same *key*.

        One that was answered before, or is being worked on, is not worked on again.
        """
        job = AskedJob(question, key, window)
        with self._change:
            known = list(self._jobs.values())
        same = (one for one in known if one.question == question and (one.answered or not one.over.is_set()))
        found = next(same, job)
        for other in known:
            if other is not found and other.key == key and not other.over.is_set():
                self.leave(other, window, "A newer question has taken the place of this one.")
        if found is not job:
            found.windows.add(window)
            return found
        self._remember(job)
        with self._change:
            self._waiting.append(job)
            self._change.notify_all()
        return job

    def decline(self, question: Question, why: str) -> AskedJob:
        """A question that is over before anybody works on it."""
        job = AskedJob(question, "")
        self._remember(job)
        self.cancel(job, why)
        return job

    def _remember(self, job: AskedJob) -> None:
        with self._change:
            self._jobs[job.id] = job
            while len(self._jobs) > MOST_JOBS:
                self._jobs.popitem(last=False)

    def job(self, id_: str) -> AskedJob:
        """A job that was asked for; CycleSimError where nobody knows it any more."""
        found = self._jobs.get(id_)
        if found is None:
            raise CycleSimError("This question is not known any more: ask it again.")
        return found

    def leave(self, job: AskedJob, window: str = "", why: str = "Nobody waits for it any more.") -> None:
        """A window waits for an answer no more; where none does, the work ends."""
        with self._change:
            waited = window in job.windows
            job.windows.discard(window)
        if waited and not job.windows:
            self.cancel(job, why)

    def cancel(self, job: AskedJob, why: str = "A newer question has taken the place of this one.") -> None:
        """Stop working on a job; whoever follows it is told."""
        if job.over.is_set():
            return
        job.tell("cancelled", json.dumps({"error": why}))
        with self._change:
            worker = job.worker
        if worker is not None:
            worker.end()

    def close(self) -> None:
        """End every process."""
        with self._change:
            self._closed = True
            idle, self._idle = self._idle, []
            jobs = list(self._jobs.values())
            self._change.notify_all()
        for job in jobs:
            self.cancel(job)
        for worker in idle:
            worker.end()

    def _fill(self) -> None:
        """Keep so many workers ready."""
        while True:
            with self._change:
                while not self._closed and len(self._idle) >= self._ready:
                    self._change.wait()
                if self._closed:
                    return
            try:
                worker = _Worker(self._context)
            except OSError as error:  # too many processes, perhaps
                self._refuse(f"This machine starts no more processes: {error.strerror or error}.")
                continue
            with self._change:
                if self._closed:
                    worker.end()
                    return
                self._idle.append(worker)
                self._change.notify_all()

    def _refuse(self, why: str) -> None:
        """Tell whoever waits that nobody can work, and wait a little."""
        with self._change:
            waiting = list(self._waiting)
            self._waiting.clear()
        for job in waiting:
            job.tell("problem", json.dumps({"error": why}))
        time.sleep(_TRIES_EVERY_S)

    def _serve(self) -> None:
        """Give one job after another to a worker."""
        while True:
            with self._change:
                while not self._closed and not (self._waiting and self._idle):
                    self._change.wait()
                if self._closed:
                    return
                job = self._waiting.popleft()
                if job.over.is_set():
                    continue
                worker = self._idle.pop()
                self._change.notify_all()
                ready = worker.process.is_alive()  # or somebody has ended it while it had nothing to do
                job.worker = worker if ready else None
            alive = ready and _followed(job, worker)
            if not alive and not job.over.is_set():
                self._again(job, 2 if ready else 1)
            with self._change:
                job.worker = None
                if alive and not self._closed and len(self._idle) < self._ready:
                    self._idle.append(worker)
                    self._change.notify_all()
                    continue
            worker.end()

    def _again(self, job: AskedJob, counts: int) -> None:
        """A job whose worker has died is given to another, unless that happens again and again."""
        job.tried += counts
        if job.tried >= _MOST_TRIED:
            job.tell("problem", json.dumps({"error": _DIED}))
            return
        with self._change:
            self._waiting.appendleft(job)
            self._change.notify_all()


def _followed(job: AskedJob, worker: _Worker) -> bool:
    """Ask a worker, and tell what it says until the job is over; whether it can be asked again."""
    try:
        worker.line.send(job.question)
        while True:
            kind, data = worker.line.recv()
            job.tell(kind, data)
            if kind != "progress":
                return True
    except (OSError, EOFError, ValueError):
        return False


def _context() -> BaseContext:
    """How processes are started: from one that has everything imported, where the system has that."""
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload([_WARM])
    return context


def _work(line: Connection) -> None:
    """Answer one question after another, until nobody asks any more."""
    from importlib import import_module

    for kind in (signal.SIGINT, signal.SIGTERM):
        signal.signal(kind, signal.SIG_IGN if kind == signal.SIGINT else signal.SIG_DFL)
    if os.environ.get("CYCLESIM_TRACEBACK") != "1":
        os.dup2(os.open(os.devnull, os.O_WRONLY), 2)  # libraries complain of processes that we ended
    end_with(os.getppid())
    import_module(_WARM)
    while True:
        try:
            question = line.recv()
        except (EOFError, OSError):
            return
        with suppress(BrokenPipeError):
            line.send(_told(question, line))


def _told(question: Question, line: Connection) -> Event:
    """What a question comes to, as an event."""
    from cyclesim.workbench.asked import answer
    from cyclesim.workbench.views import in_a_line, problem

    begun_s, told_s = time.monotonic(), 0.0

    def tell(does: str, done: int, of: int | None) -> None:
        nonlocal told_s
        now_s = time.monotonic()
        if now_s - told_s < _TELLS_EVERY_S:
            return
        told_s = now_s
        left_s = (now_s - begun_s) * (of - done) / done if of and done else None
        line.send(Event("progress", json.dumps({"does": does, "done": done, "of": of, "left_s": left_s})))

    try:
        return Event("result", as_text(answer(question, tell), None))
    except InputError as error:
        problems = [problem(fault) for fault in error.faults]
        told = pressed(in_a_line(error.faults[0]))
        return Event("problem", json.dumps({"error": told, "problems": problems}))
    except CycleSimError as error:
        return Event("problem", json.dumps({"error": str(error)}))
    except OSError as error:
        return Event("problem", json.dumps({"error": f"This machine refused: {error.strerror or error}."}))
    except Exception as error:
        told = f"This is a fault of cyclesim, not of your file: {type(error).__name__}: {shorten(str(error))}"
        return Event("problem", json.dumps({"error": told}))

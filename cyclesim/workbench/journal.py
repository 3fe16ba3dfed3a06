"""What was edited, kept beside the runs, so that undo and redo have no end and outlive the server.

An entry is one edit as splices of a file's text: what stood where, what stands there now, for which path,
why, when. A file that somebody changes in an editor meanwhile gets an entry of its own; edits that it
overlaps can no longer be undone, all others can.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from difflib import SequenceMatcher
from hashlib import sha256
from itertools import accumulate
from pathlib import Path
from typing import Any, Literal, NamedTuple, get_args

from cyclesim.errors import CycleSimError

Does = Literal["edit", "undo", "redo", "outside"]


class Splice(NamedTuple):
    """From *at* on, *old* stood and *new* stands."""

    at: int
    old: str
    new: str


Splices = tuple[Splice, ...]
"""In order of place, none of which touch; every place counts in the text before them all."""


class NothingLeftError(CycleSimError):
    """There is nothing to undo or redo."""


@dataclass(frozen=True, slots=True)
class JournalEntry:
    """One change of a file."""

    does: Does
    splices: Splices
    paths: tuple[str, ...] = ()
    why: str = ""
    when: str = ""
    by: str = ""
    """The window that did it, as it names itself."""


def difference(before: str, after: str) -> Splices:
    """What is otherwise between two texts, line by line, each as the values that differ.

    >>> difference("a: 36 degC  # why", "a: 38 degC  # why")
    (Splice(at=3, old='36 degC', new='38 degC'),)
    """
    whole = _stretch(before, after)
    if not any("\n" in old or "\n" in new for _, old, new in whole):
        return whole
    old, new = before.splitlines(keepends=True), after.splitlines(keepends=True)
    starts = [0, *accumulate(map(len, old))]
    return tuple(
        Splice(starts[i] + inner.at, inner.old, inner.new)
        for tag, i, j, m, n in SequenceMatcher(None, old, new, autojunk=False).get_opcodes()
        if tag != "equal"
        for inner in _stretch("".join(old[i:j]), "".join(new[m:n]))
    )


def _stretch(before: str, after: str) -> Splices:
    """The one stretch between the common beginning and end of two texts; within a line, of whole values."""
    if before == after:
        return ()
    most = min(len(before), len(after))
    head = next((k for k in range(most) if before[k] != after[k]), most)
    tail = next((k for k in range(most - head) if before[-1 - k] != after[-1 - k]), most - head)
    if "\n" not in before[head : len(before) - tail] + after[head : len(after) - tail]:
        while head and not _parts(before, head - 1):
            head -= 1
        while tail and not _parts(before, len(before) - tail):
            tail -= 1
        while before[head : head + 1] == after[head : head + 1] == " ":
            head += 1
        while min(len(before), len(after)) - tail > head and before[-tail - 1] == after[-tail - 1] == " ":
            tail += 1
    return (Splice(head, before[head : len(before) - tail], after[head : len(after) - tail]),)


def _parts(text: str, at: int) -> bool:
    """Whether a sign of a file parts one value from another."""
    return text[at] in "\n,[]{}\"'#" or text[at : at + 2] == ": "


def spliced(text: str, splices: Splices) -> str:
    """The text with these splices; ValueError where what should be there is not."""
    for at, old, new in reversed(splices):
        if text[at : at + len(old)] != old:
            raise ValueError(f"at {at} stands something else")
        text = text[:at] + new + text[at + len(old) :]
    return text


def inverse(splices: Splices) -> Splices:
    """What takes these back, counted in the text after them."""
    moved, back = 0, list[Splice]()
    for at, old, new in splices:
        back.append(Splice(at + moved, new, old))
        moved += len(new) - len(old)
    return tuple(back)


def past(splices: Splices, other: Splices) -> Splices | None:
    """The same splices counted in the text after *other*; None where both touch the same place."""
    shifted = list[Splice]()
    for at, old, new in splices:
        end, moved = at + len(old), 0
        for there, theirs, now in other:
            if there <= end and at <= there + len(theirs):
                return None
            if there < at:
                moved += len(now) - len(theirs)
        shifted.append(Splice(at + moved, old, new))
    return tuple(shifted)


class Journal:
    """What was done to one file, and what of it can be undone and done again.

    *path*: where it is kept, also by another workbench that has the same file; what cannot be kept is told by
    `note` and all goes on.
    """

    def __init__(self, path: Path) -> None:
        self.path, self.note = path, ""
        self.entries = list[JournalEntry]()
        self._done, self._undone = list[JournalEntry](), list[JournalEntry]()
        self._known: str | None = None
        self._size = 0
        self._read()

    def follow(self, text: str) -> None:
        """Take up what somebody else has made of the file since the journal last knew it."""
        if not self.note and _size_of(self.path) != self._size:
            self._read()
        if self._known is not None and self._known != text:
            self._add(JournalEntry("outside", difference(self._known, text), when=_now()), text)
        elif self._known is None:
            self._known = text

    def edit(self, before: str, after: str, paths: Sequence[str], why: str, by: str = "") -> None:
        """Note an edit that makes *before* into *after*."""
        self.follow(before)
        self._add(JournalEntry("edit", difference(before, after), tuple(paths), why[:200], _now(), by), after)

    def undone(self, text: str, by: str = "") -> tuple[str, JournalEntry]:
        """The text without the last edit that stands, and its entry, which `took` notes."""
        return self._turned(text, "undo", by)

    def redone(self, text: str, by: str = "") -> tuple[str, JournalEntry]:
        """The text with the edit that was last undone, likewise."""
        return self._turned(text, "redo", by)

    def took(self, entry: JournalEntry, text: str) -> None:
        """Note that the file now has this undo or redo."""
        self._add(entry, text)

    @property
    def can(self) -> dict[str, int]:
        """How many edits can be undone and redone."""
        return {"undo": len(self._done), "redo": len(self._undone)}

    def next(self, does: Literal["undo", "redo"]) -> JournalEntry:
        """What would be undone or redone next, with who did it and when."""
        return (self._done if does == "undo" else self._undone)[-1]

    @property
    def last(self) -> str:
        """When something was done last; empty where nothing was."""
        return self.entries[-1].when if self.entries else ""

    def _turned(self, text: str, does: Literal["undo", "redo"], by: str) -> tuple[str, JournalEntry]:
        self.follow(text)
        stack = self._done if does == "undo" else self._undone
        if not stack:
            raise NothingLeftError(f"There is nothing left to {does}.")
        last = stack[-1]
        return spliced(text, last.splices), replace(last, does=does, when=_now(), by=by)

    def _add(self, entry: JournalEntry, text: str) -> None:
        before, self._known = self._known, text
        self._take(entry)
        self._keep(entry, before or "", text)

    def _take(self, entry: JournalEntry) -> None:
        """Follow one entry; both stacks hold what would turn each edit, in the text as it then stands."""
        back = replace(entry, splices=inverse(entry.splices))
        if entry.does == "edit":
            self._done.append(back)
            self._undone.clear()
        elif entry.does == "undo":
            self._done.pop()
            self._undone.append(back)
        elif entry.does == "redo":
            self._undone.pop()
            self._done.append(back)
        else:
            self._done = _moved(self._done, entry.splices)
            self._undone = _moved(self._undone, entry.splices)
        self.entries.append(entry)

    def _keep(self, entry: JournalEntry, before: str, text: str) -> None:
        lines = [{**asdict(entry), "leaves": _digest(text)}]
        if not self._size:
            lines.insert(0, {"begins": before})
        data = "".join(json.dumps(line) + "\n" for line in lines).encode()
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            how = os.O_APPEND if self._size else os.O_TRUNC
            with os.fdopen(os.open(self.path, os.O_WRONLY | os.O_CREAT | how, 0o600), "ab") as stream:
                stream.write(data)
                stream.flush()
                self._size = os.fstat(stream.fileno()).st_size
        except OSError as error:
            self.note = f"Edits cannot be kept ({error.strerror}): they can be undone until the server ends."

    def _read(self) -> None:
        """What was kept; an entry that is damaged or fits nothing is left out."""
        self.entries, self._done, self._undone, self._known, self._size = [], [], [], None, 0
        with suppress(OSError):
            data = self.path.read_bytes()
            for line in data.decode("utf-8", "replace").split("\n"):
                with suppress(ValueError, KeyError, TypeError, IndexError):
                    self._read_one(json.loads(line))
            if self._known is not None:
                self._size = len(data)
                if not data.endswith(b"\n"):  # the last was not written whole
                    with self.path.open("ab") as stream:
                        self._size += stream.write(b"\n")

    def _read_one(self, kept: Any) -> None:
        if self._known is None:
            self._known = str(kept["begins"])
            return
        splices = tuple(Splice(int(at), str(old), str(new)) for at, old, new in kept["splices"])
        text = spliced(self._known, splices)
        if kept["does"] not in get_args(Does) or _digest(text) != kept["leaves"]:
            raise ValueError("no entry of ours, or of another text")
        paths = tuple(map(str, kept["paths"]))
        why, when, by = (str(kept.get(key, "")) for key in ("why", "when", "by"))
        self._take(JournalEntry(kept["does"], splices, paths, why, when, by))
        self._known = text


def _size_of(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def _moved(stack: Iterable[JournalEntry], other: Splices) -> list[JournalEntry]:
    """A stack of what would turn edits back, after somebody else changed the text; what overlaps is gone.

    The last is counted in the text as it stood; each one below in the text that those above it leave.
    """
    kept = list[JournalEntry]()
    for entry in reversed(list(stack)):
        after = past(entry.splices, other)
        if after is None:
            other = _joined(entry.splices, other)
            continue
        kept.append(replace(entry, splices=after))
        moved = past(other, entry.splices)
        assert moved is not None  # neither touches the other
        other = moved
    return kept[::-1]


def _joined(turn: Splices, other: Splices) -> Splices:
    """What leads from the text that *turn* would leave to the one that *other* left; both count in one text.

    Nobody reads what it says; only how long its stretches are matters to what is moved past them.
    """
    clusters = list[list[int]]()  # begin, end, what turning adds there, what the other added
    for (at, old, new), adds in sorted([(s, 2) for s in turn] + [(s, 3) for s in other]):
        if not clusters or at > clusters[-1][1]:
            clusters.append([at, at, 0, 0])
        clusters[-1][1] = max(clusters[-1][1], at + len(old))
        clusters[-1][adds] += len(new) - len(old)
    made, moved = list[Splice](), 0
    for begin, end, turned, added in clusters:
        made.append(Splice(begin + moved, " " * (end - begin + turned), " " * (end - begin + added)))
        moved += turned
    return tuple(made)


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="microseconds")


def _digest(text: str) -> str:
    return sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:16]


def journal_file(folder: Path, file: Path) -> Path:
    """Where the journal of one file lies, in a folder beside the kept runs."""
    return folder / "journal" / f"{_digest(str(file.resolve()))}.jsonl"

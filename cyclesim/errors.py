"""Errors that a person can act on: what was found, where, what is allowed."""

from dataclasses import dataclass

_WORD, _LINE = 120, 1000
"""Characters of a word and of a part of a message, beyond which it is cut: nothing we write is as long."""


def plain(text: str, word: int = _WORD, line: int = _LINE) -> str:
    """A text on one line that no terminal acts on, with words, and in all, no longer than so many letters.

    >>> plain("a\\x1b[31m\\u202eb"), plain("x" * 200, 9)
    ('a?[31m?b', 'xxxxxx...')
    """
    if not text.isprintable():
        text = "".join(char if char.isprintable() else "?" for char in text[: line + 1])
    return " ".join(_cut(part, word) for part in _cut(text, line).split(" "))


def shorten(text: str) -> str:
    """A text as a message quotes it."""
    return plain(text[:61], 60, 60)


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most - 3]}..."


class CycleSimError(Exception):
    """Root of every error that cyclesim raises on purpose."""


@dataclass(frozen=True, order=True)
class Fault:
    """One thing wrong with an input, and where it stands (line and column count from 1; 0: no place).

    Whatever a person has written goes into it as it is, and comes out plain and short.
    """

    file: str
    line: int
    column: int
    path: str
    found: str
    allowed: str
    hint: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "file", plain(self.file, _LINE))
        for part in ("path", "found", "allowed", "hint"):
            object.__setattr__(self, part, plain(getattr(self, part)))

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}:{self.column}" if self.line else self.file
        where = f"{place}: {self.path}" if self.path else place
        says = [f"found {self.found}", self.allowed, self.hint]
        return f"{where}: {'; '.join(part for part in says if part)}"


class InputError(CycleSimError, ValueError):
    """An input that cannot be used, with all of its faults."""

    def __init__(self, *faults: Fault) -> None:
        super().__init__(*faults)

    @property
    def faults(self) -> tuple[Fault, ...]:
        """Every fault, in the order of file and line."""
        return tuple(self.args)

    def __str__(self) -> str:
        return "\n".join(str(fault) for fault in self.faults)

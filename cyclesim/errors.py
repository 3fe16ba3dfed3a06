"""Errors that a person can act on: what was found, where, what is allowed."""

from dataclasses import dataclass


class CycleSimError(Exception):
    """Root of every error that cyclesim raises on purpose."""


@dataclass(frozen=True, order=True)
class Fault:
    """One thing wrong with an input, and where it stands (line and column count from 1; 0: no place)."""

    file: str
    line: int
    column: int
    path: str
    found: str
    allowed: str
    hint: str = ""

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

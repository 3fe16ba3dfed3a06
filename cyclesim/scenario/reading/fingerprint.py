"""A short text by which a paper and the file behind it can be matched."""

from collections.abc import Iterable, Sequence
from hashlib import sha256
from pathlib import Path

from cyclesim.errors import CycleSimError, plain

DIGITS, GROUP = 16, 4


def fingerprint(read: Iterable[Path], sets: Sequence[str] = ()) -> str:
    """The first digits of the SHA-256 of all files that a scenario was read from, one after the other.

    *read*: the files in the order in which `load` tells them. *sets*: what was put in for this call, each as
    a line of its own behind them. Where the scenario is one file, any tool for SHA-256 gives the same digits.
    Raises CycleSimError for what cannot be read a second time, such as a pipe.
    """
    digest = sha256()
    for path in dict.fromkeys(read):
        if not path.is_file():
            raise CycleSimError(f"{plain(str(path))}: a fingerprint needs a file that can be read twice.")
        digest.update(path.read_bytes())
    for text in sets:
        digest.update(f"{text}\n".encode())
    digits = digest.hexdigest()[:DIGITS]
    return " ".join(digits[k : k + GROUP] for k in range(0, DIGITS, GROUP))

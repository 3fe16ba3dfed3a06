"""The plants of one folder: read and written there and nowhere else, links left out."""

from __future__ import annotations

import re
import stat
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from cyclesim.errors import CycleSimError
from cyclesim.scenario.text.yaml_file import MAX_BYTES
from cyclesim.shown.files import write_whole_bytes

SUFFIXES = (".yaml", ".yml")
_A_PLANT = re.compile(rb"^(?:plant|schedule|title)[ \t]*:", re.MULTILINE)
_READINGS = re.compile(rb"^measured[ \t]*:", re.MULTILINE)
_BOM = b"\xef\xbb\xbf"
_NEW = re.compile(r"[A-Za-z0-9][A-Za-z0-9 _-]{0,79}")
MOST_PLANTS = 500


class NoPlantError(CycleSimError):
    """A name under which the folder has no plant."""


@dataclass(frozen=True, slots=True)
class Written:
    """A file as it stands: its bytes, and its text without the mark of its encoding."""

    data: bytes

    @property
    def text(self) -> str:
        """The text with its own line ends; bytes that are no text are replaced, which nobody writes back."""
        return self.data.removeprefix(_BOM).decode("utf-8", "replace")

    @property
    def is_text(self) -> bool:
        """Whether the text says all that the bytes say."""
        try:
            self.data.decode("utf-8")
        except UnicodeDecodeError:
            return False
        return True

    def with_text(self, text: str) -> bytes:
        """The bytes that say this text, with the same mark of encoding before it."""
        return (_BOM if self.data.startswith(_BOM) else b"") + text.encode("utf-8")


class Folder:
    """The scenario files that lie in one folder, not in folders below it."""

    def __init__(self, root: Path) -> None:
        self.root = root.resolve()

    def names(self) -> list[str]:
        """The file names of its plants in order, as many as one can look through."""
        return sorted(path.name for path in self._files())[:MOST_PLANTS]

    def _files(self) -> Iterator[Path]:
        for path, data in self._yaml(self.root):
            if _A_PLANT.search(data) and not _READINGS.search(data):
                yield path

    @staticmethod
    def _yaml(place: Path) -> Iterator[tuple[Path, bytes]]:
        """Every ordinary YAML file of a folder with what it says."""
        for path in place.iterdir():
            if path.suffix in SUFFIXES and not path.name.startswith(".") and _is_plain(path):
                with suppress(OSError), path.open("rb") as stream:
                    yield path, stream.read(MAX_BYTES).removeprefix(_BOM)

    def readings(self) -> list[str]:
        """The files of readings in this folder, and in one named `readings` in it."""
        below = self.root / "readings"
        places = [self.root, *([below] if below.is_dir() and not below.is_symlink() else [])]
        found = (path for place in places for path, data in self._yaml(place) if _READINGS.search(data))
        return sorted(path.relative_to(self.root).as_posix() for path in found)[:MOST_PLANTS]

    def path(self, name: str) -> Path:
        """Where a plant lies; NoPlantError unless it is one of the folder's own."""
        if name != Path(name).name or "\\" in name or "\0" in name or not name.endswith(SUFFIXES):
            raise NoPlantError("There is no plant of that name in this folder.")
        path = self.root / name
        if not _is_plain(path):
            raise NoPlantError("There is no plant of that name in this folder.")
        return path

    def inside(self, name: str) -> Path:
        """A file in this folder or one below it; CycleSimError for anything else, links too."""
        path = self.root / name
        parts = Path(name).parts
        plain = parts and not Path(name).is_absolute() and ".." not in parts and "\0" not in name
        above = [self.root.joinpath(*parts[:k]) for k in range(1, len(parts))]
        if (
            not plain
            or not name.endswith(SUFFIXES)
            or any(p.is_symlink() for p in above)
            or not _is_plain(path)
        ):
            raise CycleSimError("There is no such file in this folder.")
        return path

    def read(self, path: Path) -> Written:
        """What a file says; CycleSimError where no scenario is as large."""
        with path.open("rb") as stream:
            data = stream.read(MAX_BYTES + 1)
        if len(data) > MAX_BYTES:
            raise CycleSimError(f"The file has more than {MAX_BYTES // 1000} kB; a scenario is far smaller.")
        return Written(data)

    def write(self, path: Path, data: bytes, before: bytes) -> None:
        """Put other bytes into a file, whole or not at all; who may read it stays as it was.

        CycleSimError where it no longer has the bytes that it had *before*.
        """
        mode = stat.S_IMODE(path.stat().st_mode)
        if path.read_bytes() != before:
            raise CycleSimError("The file was changed at this very moment: look at it, and try again.")
        write_whole_bytes(path, lambda stream: stream.write(data))
        path.chmod(mode)

    def new(self, name: str, text: str) -> str:
        """Write a plant that was not there, and give its file's name; CycleSimError where something is."""
        stem = name.removesuffix(".yaml").strip()
        if not _NEW.fullmatch(stem):
            raise CycleSimError("A name of a file has letters, digits, blanks, - and _, at most 80.")
        path = self.root / f"{stem}.yaml"
        try:
            path.open("x").close()
        except FileExistsError:
            raise CycleSimError(f"{path.name} is there already; nothing is overwritten.") from None
        try:
            write_whole_bytes(path, lambda stream: stream.write(text.encode()))
        except CycleSimError:
            path.unlink()
            raise
        return path.name


def _is_plain(path: Path) -> bool:
    """Whether it is an ordinary file and no link to one."""
    try:
        return stat.S_ISREG(path.lstat().st_mode)
    except (OSError, ValueError):
        return False


def version_of(files: list[bytes]) -> str:
    """What tells these bytes from any others."""
    digest = sha256()
    for data in files:
        digest.update(len(data).to_bytes(8, "big") + data)
    return digest.hexdigest()

"""A picture in a file of its own, such as a firm's logo: read whole, told by its first bytes."""

from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path

from cyclesim.errors import Fault

MAX_BYTES = 2_000_000
SUFFIXES = (".svg", ".png", ".jpg", ".jpeg")
PICTURE_DUE = "expected the path of an SVG, PNG or JPEG file, e.g. logo.svg"


@dataclass(frozen=True)
class Picture:
    """A picture as it stands in its file."""

    name: str
    form: str
    """svg, png or jpg."""
    data: bytes = field(repr=False)
    digest: str = field(init=False)
    """Stands for the bytes where a scenario is printed: files of one name may differ."""

    def __post_init__(self) -> None:
        object.__setattr__(self, "digest", sha256(self.data).hexdigest())


def read_picture(path: Path, name: str) -> Picture | Fault:
    """The picture of a file, or what is wrong with the file as a whole."""

    def no(problem: str) -> Fault:
        return Fault(name, 0, 0, "", problem, PICTURE_DUE)

    try:
        if not path.is_file():
            return no("no file of this name")
        if path.stat().st_size > MAX_BYTES:
            return no("a picture of more than 2 MB")
        data = path.read_bytes()
    except OSError as error:
        return no(f"a file that cannot be read ({error.strerror})")
    form = _form_of(data)
    return Picture(name, form, data) if form else no("a file that is no such picture")


def _form_of(data: bytes) -> str:
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "png"
    if data.startswith(b"\xff\xd8\xff"):
        return "jpg"
    return "svg" if b"<svg" in data[:4096] and data.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<") else ""

"""Output files are whole or absent."""

from pathlib import Path

import pytest

from cyclesim.errors import InputError
from cyclesim.shown.files import check_writable, write_whole


def test_failed_write_leaves_the_old_file_and_nothing_beside_it(tmp_path: Path) -> None:
    """A fault half way through keeps what was there before."""
    target = tmp_path / "out.json"
    target.write_text("old")

    def half(stream: object) -> None:
        stream.write("half")  # type: ignore[attr-defined]
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        write_whole(target, half)
    assert target.read_text() == "old"
    assert [target] == list(tmp_path.iterdir())


def test_link_is_followed(tmp_path: Path) -> None:
    """Writing through a symbolic link changes the file that it points at."""
    real, link = tmp_path / "real.json", tmp_path / "link.json"
    link.symlink_to(real)
    write_whole(link, lambda stream: stream.write("new"))
    assert real.read_text() == "new"
    assert link.is_symlink()


def test_device_is_written_to_not_replaced() -> None:
    """What is no ordinary file stays what it is."""
    null = Path("/dev/null")
    check_writable(null)
    write_whole(null, lambda stream: stream.write("x"))
    assert null.is_char_device()


@pytest.mark.parametrize("name", [".", "missing/out.json", "file/out.json", "x" * 300])
def test_place_that_cannot_be_written_is_refused_beforehand(tmp_path: Path, name: str) -> None:
    """A folder, a missing folder, a file as a folder, and a name that is too long."""
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="nothing was written"):
        check_writable(tmp_path / name)
    assert [tmp_path / "file"] == list(tmp_path.iterdir())

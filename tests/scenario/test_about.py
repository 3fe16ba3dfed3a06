"""What papers are headed with, the logo, and the fingerprint by which paper and file are matched."""

import shutil
import subprocess
from hashlib import sha256

import pytest
from click.testing import CliRunner

from cyclesim.cli import cli
from cyclesim.errors import CycleSimError, InputError
from cyclesim.scenario.reading.fingerprint import fingerprint
from cyclesim.scenario.reading.load import load, load_text
from cyclesim.scenario.reading.starter import starter_text

TEXT = starter_text()
PNG = b"\x89PNG\r\n\x1a\n and whatever follows"


def with_about(about):
    """The starter with such a block before its place."""
    return TEXT.replace("\nplace:", f"\nabout: {about}\nplace:", 1)


def told(text, folder=None):
    """What is wrong with a file, without its first words: file, line and column."""
    with pytest.raises(InputError) as caught:
        load_text(text, "tub.yaml", folder=folder)
    return [str(fault).partition(": ")[2] for fault in caught.value.faults]


def test_every_line_of_the_head_is_kept_as_written():
    """Signs that mean something to a typesetter or a browser are text like any other."""
    about = load_text(
        with_about(
            "{firm: 'A #1 $x$ </script>', client: 'ב\"ה', address: 'Lane 3', drawing: 'D-7', revision: '2'}"
        )
    ).about
    assert ("A #1 $x$ </script>", 'ב"ה', "Lane 3", "D-7", "2") == (
        about.firm, about.client, about.address, about.drawing, about.revision,
    )  # fmt: skip
    assert load_text(TEXT).about is None


KEYS = "firm, client, address, drawing, revision, logo"
PATH = "expected the path of an SVG, PNG or JPEG file, e.g. logo.svg"
TOO_LONG = "a text; a text that is too long or empty is not accepted"
INSIDE = (
    "expected a file inside the scenario's own folder; write it relative to the scenario file, with / between"
)


@pytest.mark.parametrize(
    ("about", "says"),
    [
        ("{}", f"about: found an empty block; expected one of {KEYS}, or leave it out"),
        (
            "{frim: Hill}",
            f"about.frim: found an unknown key 'frim'; keys here are {KEYS}; did you mean 'firm'?",
        ),
        ("{revision: 3}", "about.revision: found '3', a bare number; expected a text; put it in quotes"),
        ("{firm: ''}", f"about.firm: found '', {TOO_LONG}"),
        (f"{{client: {'x' * 201}}}", f"about.client: found '{'x' * 57}...', {TOO_LONG}"),
        ("Hill", f"about: found 'Hill', a text; expected a block of keys; its keys are {KEYS}"),
        ("{logo: 7}", f"about.logo: found '7', a bare number; {PATH}"),
        (
            "{logo: a.png}",
            "about.logo: found 'a.png', a path; a text that is in no file cannot refer to files",
        ),
    ],
)
def test_a_head_that_cannot_be_used_is_told_by_its_place(about, says):
    """Each with what was found and what is due."""
    assert [says] == told(with_about(about))


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("logo.gif", b"GIF89a", f"'logo.gif', a text; {PATH}"),
        ("logo.png", None, f"'logo.png', no file of this name; {PATH}"),
        ("logo.png", b"GIF89a", f"'logo.png', a file that is no such picture; {PATH}"),
        ("logo.svg", b"words of <svg> alone", f"'logo.svg', a file that is no such picture; {PATH}"),
        ("logo.png", PNG + bytes(2_000_000), f"'logo.png', a picture of more than 2 MB; {PATH}"),
        ("../logo.png", None, f"'../logo.png', a path that leads elsewhere; {INSIDE}"),
    ],
)
def test_a_logo_that_is_none_is_told_where_it_is_named(tmp_path, name, content, says):
    """Whatever is wrong with it stands at the line that names it."""
    if content is not None:
        (tmp_path / name).write_bytes(content)
    assert [f"about.logo: found {says}"] == told(with_about(f"{{logo: {name}}}"), tmp_path)


def test_a_logo_is_read_whole_and_told_of(tmp_path):
    """Its bytes come along, and whoever writes files hears of it, so that nothing overwrites it."""
    (tmp_path / "logo.png").write_bytes(PNG)
    (tmp_path / "tub.yaml").write_text(with_about("{logo: logo.png}"), encoding="utf-8")
    read = []
    logo = load(tmp_path / "tub.yaml", on_read=read.append).about.logo
    assert ("png", PNG) == (logo.form, logo.data)
    assert {tmp_path / "tub.yaml", tmp_path / "logo.png"} == set(read)


def test_the_fingerprint_of_one_file_is_what_any_tool_says_of_it(tmp_path):
    """The first sixteen digits of its SHA-256, by hashlib and by the system's own tool."""
    file = tmp_path / "tub.yaml"
    file.write_text(TEXT, encoding="utf-8")
    printed = CliRunner().invoke(cli, ["check", str(file), "--fingerprint"], standalone_mode=False).output
    digits = printed.strip().replace(" ", "")
    assert sha256(TEXT.encode()).hexdigest()[:16] == digits
    if shutil.which("sha256sum"):
        assert subprocess.check_output(["sha256sum", file], text=True).startswith(digits)


def test_a_fingerprint_follows_every_file_and_every_set(tmp_path):
    """Of several files it is that of all their bytes in a row; a set adds its line."""
    (tmp_path / "logo.png").write_bytes(PNG)
    text = with_about("{logo: logo.png}")
    (tmp_path / "tub.yaml").write_text(text, encoding="utf-8")
    read, change = [], "place.year=2028"
    load(tmp_path / "tub.yaml", on_read=read.append)
    together = text.encode() + PNG
    assert sha256(together).hexdigest()[:16] == fingerprint(read).replace(" ", "")
    assert sha256(together + b"place.year=2028\n").hexdigest()[:16] == fingerprint(read, [change]).replace(
        " ", ""
    )
    with pytest.raises(CycleSimError, match="a file that can be read twice"):
        fingerprint([tmp_path])

"""Files that are no scenario, and sections in files of their own."""

import os

import pytest

from cyclesim.errors import InputError
from cyclesim.scenario.reading.load import load, load_text
from cyclesim.scenario.reading.starter import starter_text

TEXT = starter_text()


def told(tmp_path, name, **options):
    """What loading this file says, with the folder's name taken out."""
    with pytest.raises(InputError) as caught:
        load(tmp_path / name, **options)
    return str(caught.value).replace(f"{tmp_path}/", "")


def without_plant():
    """The starter's lines before and after its plant, and the plant's own with two spaces less."""
    head, rest = TEXT.split("\nplant:\n")
    plant, tail = rest.split("\ncontroller:")
    return f"{head}\nplant: plants/mill.yaml\ncontroller:{tail}", "\n".join(
        line[2:] for line in plant.split("\n")
    )


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "tub.yaml:1:1: found an empty file; a scenario begins with format: 1"),
        (b"# nothing yet\n", "tub.yaml:1:1: found an empty file; a scenario begins with format: 1"),
        (b"5", "tub.yaml:1:1: found '5', a bare number; a scenario begins with format: 1"),
        (b"- a", "tub.yaml:1:1: found a list; a scenario begins with format: 1"),
        (
            b"\x89PNG\r\n\x1a\n\xff",
            "tub.yaml:1:1: found bytes that are no text; expected a text file in UTF-8; "
            "save the file as UTF-8",
        ),
        (
            b"title: \xfc",
            "tub.yaml:1:8: found bytes that are no text; expected a text file in UTF-8; "
            "save the file as UTF-8",
        ),
        (
            b"format: 1\nplant: {legs: [a,\n  b\n\n",
            "tub.yaml:2:15: found a bracket that is not closed; "
            "this is not YAML; close [ with ] and { with }, commas between",
        ),
        (
            b"format: 1\nplant: {legs: 5\n",
            "tub.yaml:2:8: found a bracket that is not closed; "
            "this is not YAML; close [ with ] and { with }, commas between",
        ),
        (
            b"format: 1\nplant: {legs: \n\n# the end",
            "tub.yaml:2:8: found a bracket that is not closed; "
            "this is not YAML; close [ with ] and { with }, commas between",
        ),
        (
            b"format: 1\nplant: [a, {}",
            "tub.yaml:2:8: found a bracket that is not closed; "
            "this is not YAML; close [ with ] and { with }, commas between",
        ),
        (
            b"format: 1\nplant: [\n\n",
            "tub.yaml:2:8: found a bracket that is not closed; "
            "this is not YAML; close [ with ] and { with }, commas between",
        ),
        (b"a: 1\nb: \x07", "tub.yaml:2:4: found a sign that no text has; expected a text file in UTF-8"),
        (
            b"x" * 1_000_001,
            "tub.yaml: found more than 1000 kB; a scenario is far smaller; is this the right file?",
        ),
        (
            b"[" * 3000,
            "tub.yaml:1:1001: found brackets nested too deep; "
            "this is not YAML; at most 32 levels are allowed",
        ),
    ],
    ids=lambda value: None if isinstance(value, str) else ascii(value[:30]),
)
def test_a_file_that_is_no_scenario_is_told_in_one_line(tmp_path, content, message):
    """Whatever the bytes are, one line says what they are and what is due."""
    (tmp_path / "tub.yaml").write_bytes(content)
    assert message == told(tmp_path, "tub.yaml")


def test_an_alias_bomb_is_stopped_at_once(tmp_path):
    """Nine levels of nine would be 387 million values."""
    levels = ["a0: &a0 [1, 1, 1, 1, 1, 1, 1, 1, 1]"]
    levels += [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 9)}]" for n in range(1, 9)]
    (tmp_path / "tub.yaml").write_text("\n".join(levels))
    assert "found more than 10000 values; a scenario is far smaller; is an alias (*)" in told(
        tmp_path, "tub.yaml"
    )


def test_what_is_no_ordinary_file_is_not_opened(tmp_path):
    """A folder, a pipe that would never end, a name of a thousand letters, a name with a null byte."""
    os.mkfifo(tmp_path / "pipe.yaml")
    due = "expected a scenario file"
    assert f"pipe.yaml: found no ordinary file; {due}, e.g. tub.yaml" == told(tmp_path, "pipe.yaml")
    assert f"{tmp_path}: found a folder; {due}, e.g. tub.yaml" == told(tmp_path, "")
    assert due in told(tmp_path, "x" * 1000)
    assert due in told(tmp_path, "a\0b")


def test_a_missing_file_offers_the_nearest_name(tmp_path):
    """A slip in the name is the usual cause."""
    (tmp_path / "walled.yaml").write_text(TEXT)
    message = (
        "waled.yaml: found no file; expected a scenario file, e.g. tub.yaml; did you mean 'walled.yaml'?"
    )
    assert message == told(tmp_path, "waled.yaml")
    assert message.replace("waled.yaml", "walled.yml") == told(tmp_path, "walled.yml")
    assert "did you mean" not in told(tmp_path, "garden.yaml")  # the ending alone is alike


def test_a_byte_order_mark_and_dos_line_ends_are_read(tmp_path):
    """Editors on some machines write both."""
    (tmp_path / "tub.yaml").write_bytes(b"\xef\xbb\xbf" + TEXT.replace("\n", "\r\n").encode())
    assert load_text(TEXT) == load(tmp_path / "tub.yaml")


def test_a_section_may_stand_in_its_own_file(tmp_path):
    """The same scenario comes out, whether or not the plant's file has a format of its own."""
    text, plant = without_plant()
    (tmp_path / "plants").mkdir()
    (tmp_path / "tub.yaml").write_text(text)
    for head in ("", "format: 1\n"):
        (tmp_path / "plants" / "mill.yaml").write_text(head + plant)
        assert load_text(TEXT) == load(tmp_path / "tub.yaml")


def test_the_weather_may_stand_in_its_own_file(tmp_path):
    """A town's climate serves several tubs."""
    (tmp_path / "town.yaml").write_text(
        "{mean: 15 degC, seasonal_swing: 7 K, daily_swing: 5 K, coldest_day: 20 January}"
    )
    (tmp_path / "tub.yaml").write_text(TEXT)
    assert load_text(TEXT) == load(tmp_path / "tub.yaml", sets=["place.weather=town.yaml"])


def test_faults_in_another_file_name_that_file(tmp_path):
    """Line and column lead into the file where the mistake is, and the faults are in order."""
    text, plant = without_plant()
    (tmp_path / "plants").mkdir()
    (tmp_path / "tub.yaml").write_text(text.replace("lasts: 2 h", "lasts: 2"))
    (tmp_path / "plants" / "mill.yaml").write_text(plant.replace("foam: 60 mm", "foam: 60"))
    line = next(n for n, row in enumerate(plant.split("\n"), 1) if "foam: 60 mm" in row)
    column = plant.split("\n")[line - 1].index("60 mm") + 1
    first, second = told(tmp_path, "tub.yaml").split("\n")
    assert first.startswith(
        f"plants/mill.yaml:{line}:{column}: plant.tub.cover.foam: found '60', a bare number;"
    )
    assert second.startswith("tub.yaml:")


@pytest.mark.parametrize(
    ("reference", "found"),
    [
        ("../mill.yaml", "a path that leads elsewhere; expected a file inside"),
        ("plants/../../mill.yaml", "a path that leads elsewhere; expected a file inside"),
        ("/etc/mill.yaml", "a path that leads elsewhere; expected a file inside"),
        ("C:/mill.yaml", "a path that leads elsewhere; expected a file inside"),
        ("'plants\\mill.yaml'", "a path that leads elsewhere; expected a file inside"),
        ("link.yaml", "a link that leads elsewhere; expected a file inside"),
        ("folder/mill.yaml", "a link that leads elsewhere; expected a file inside"),
        ("loop.yaml", "a"),
        ("empty.yaml", "an empty file; expected a block of keys, or the path of a file such as"),
        ("mil.yaml", "no file; expected a scenario file, e.g. tub.yaml; did you mean 'mill.yaml'?"),
        ("mill.txt", "a text; expected a block of keys, or the path of a file such as plants/tub.yaml"),
    ],
)
def test_a_reference_out_of_the_folder_is_refused_where_it_stands(tmp_path, reference, found):
    """No way up, no absolute path, no link out; nothing outside is opened."""
    home = tmp_path / "home"
    home.mkdir()
    (tmp_path / "mill.yaml").write_text("out: there")
    (home / "mill.yaml").write_text("{}")
    (home / "empty.yaml").write_text("# nothing yet")
    (home / "link.yaml").symlink_to(tmp_path / "mill.yaml")
    (home / "folder").symlink_to(tmp_path)
    (home / "loop.yaml").symlink_to(home / "loop.yaml")
    text, _ = without_plant()
    (home / "tub.yaml").write_text(text.replace("plants/mill.yaml", reference))
    line = next(n for n, row in enumerate(text.split("\n"), 1) if row.startswith("plant:"))
    says = told(home, "tub.yaml")
    plain = reference.strip("'")
    assert says.startswith(f"tub.yaml:{line}:8: plant: found '{plain}', {found}")
    assert "\n" not in says


def test_a_text_in_no_file_refers_to_no_file():
    """There is no folder to look in."""
    text, _ = without_plant()
    with pytest.raises(InputError, match="a text that is in no file cannot refer to files"):
        load_text(text)

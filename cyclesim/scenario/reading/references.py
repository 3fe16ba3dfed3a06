"""Sections, series and a picture in files of their own, in the scenario file's folder and nowhere else."""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from pathlib import Path, PurePosixPath

from cyclesim.errors import Fault, shorten
from cyclesim.scenario.forms.forms import Steps
from cyclesim.scenario.text.csv_file import PRICES, WEATHER, CsvColumn, Series, read_series
from cyclesim.scenario.text.picture_file import PICTURE_DUE, SUFFIXES, Picture, read_picture
from cyclesim.scenario.text.tree import Tree
from cyclesim.scenario.text.yaml_file import read_file

REFERABLE: tuple[Steps, ...] = (
    ("place",),
    ("place", "weather"),
    ("supply",),
    ("plant",),
    ("controller",),
    ("schedule",),
    ("limits",),
)
SERIES: dict[Steps, dict[str, CsvColumn]] = {
    ("place", "weather", "file"): WEATHER,
    ("supply", "tariff", "file"): PRICES,
}
OnRead = Callable[[Path], object]
"""Is told every file that is read."""
LOGO: Steps = ("about", "logo")
SERIES_DUE = "expected the path of a CSV file, e.g. weather/town.csv"
_DUE = "expected a block of keys, or the path of a file such as plants/tub.yaml"


def resolve(tree: Tree, name: str, folder: Path | None, on_read: OnRead) -> None:
    """Put in every section that is the path of a file; what is wrong goes to the tree's faults."""
    for path in REFERABLE:
        text = tree.get(path, default=None)
        if isinstance(text, str) and path not in tree.gone:
            _resolve_one(tree, path, text, name, folder, on_read)


def name_files(tree: Tree, folder: Path | None, on_read: OnRead) -> None:
    """Tell of the other files that a scenario names, also of those that a set will put something else for."""
    for path in (*SERIES, LOGO):
        text = tree.get(path, default=None)
        if folder is not None and isinstance(text, str):
            with suppress(OSError, ValueError):  # a name that no file can have is refused later, by its line
                if (folder / text).is_file():
                    on_read(folder / text)


def resolve_series(tree: Tree, name: str, folder: Path | None, on_read: OnRead) -> None:
    """Put in what the CSV files say that a scenario names."""
    for path, columns in SERIES.items():
        text = tree.get(path, default=None)
        if not isinstance(text, str) or path in tree.gone:
            continue
        target = _inside(tree, path, text, folder, (".csv",), SERIES_DUE)
        if target is None:
            continue
        on_read(target)
        series = read_series(target, str(PurePosixPath(name).parent / PurePosixPath(text)), columns)
        if isinstance(series, Series):
            mark = tree.mark(path)
            tree.get(path[:-1])[path[-1]] = replace(series, named_at=(mark.file, mark.line, mark.column))
            continue
        tree.gone.add(path)
        for fault in series:  # nothing could be read: the place to mend is where the path is written
            tree.faults.append(fault if fault.line else _where_written(tree, path, text, fault))


def resolve_logo(tree: Tree, name: str, folder: Path | None, on_read: OnRead) -> None:
    """Put in the picture that a scenario names as its firm's logo."""
    text = tree.get(LOGO, default=None)
    if not isinstance(text, str) or LOGO in tree.gone:
        return
    target = _inside(tree, LOGO, text, folder, SUFFIXES, PICTURE_DUE)
    if target is None:
        return
    on_read(target)
    picture = read_picture(target, str(PurePosixPath(name).parent / PurePosixPath(text)))
    if isinstance(picture, Picture):
        tree.get(LOGO[:-1])[LOGO[-1]] = picture
    else:
        tree.faults.append(_where_written(tree, LOGO, text, picture))
        tree.gone.add(LOGO)


def _resolve_one(tree: Tree, path: Steps, text: str, name: str, folder: Path | None, on_read: OnRead) -> None:
    target = _inside(tree, path, text, folder, (".yaml", ".yml"), _DUE)
    if target is None:
        return
    on_read(target)
    part = read_file(target, str(PurePosixPath(name).parent / PurePosixPath(text)))
    unread = next((fault for fault in part.faults if not fault.line), None)
    if unread is not None:
        tree.faults.append(_where_written(tree, path, text, unread))
        tree.gone.add(path)
        return
    if part.value is None and not part.faults:
        _refuse(tree, path, text, "an empty file", _DUE)
        return
    if isinstance(part.value, dict) and "format" in part.value:
        head = part.value.pop("format")
        if head != 1 or isinstance(head, bool):
            tree.faults.append(part.fault(("format",), "an unknown format", "format 1 is known"))
    tree.graft(path, part)


def _inside(
    tree: Tree, path: Steps, text: str, folder: Path | None, suffixes: tuple[str, ...], due: str
) -> Path | None:
    """The file that a path means, which is inside the scenario's folder; or None, with the reason told."""
    inside = "expected a file inside the scenario's own folder"
    relative = PurePosixPath(text)
    if not text.endswith(suffixes):
        _refuse(tree, path, text, "a text", due)
    elif folder is None:
        _refuse(tree, path, text, "a path", "a text that is in no file cannot refer to files")
    elif relative.is_absolute() or ".." in relative.parts or "\\" in text or ":" in text or "\0" in text:
        hint = "write it relative to the scenario file, with / between"
        _refuse(tree, path, text, "a path that leads elsewhere", inside, hint)
    else:
        target = folder / relative
        try:
            if target.resolve().is_relative_to(folder.resolve()):
                return target
            _refuse(tree, path, text, "a link that leads elsewhere", inside)
        except (OSError, RuntimeError):
            _refuse(tree, path, text, "a path that cannot be followed", inside)
    return None


def _refuse(tree: Tree, path: Steps, text: str, what: str, allowed: str, hint: str = "") -> None:
    tree.faults.append(tree.fault(path, f"'{shorten(text)}', {what}", allowed, hint))
    tree.gone.add(path)


def _where_written(tree: Tree, path: Steps, text: str, fault: Fault) -> Fault:
    return tree.fault(path, f"'{shorten(text)}', {fault.found}", fault.allowed, fault.hint)

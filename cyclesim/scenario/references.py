"""Sections that stand in files of their own, inside the scenario file's folder and nowhere else."""

from pathlib import Path, PurePosixPath

from cyclesim.scenario.forms import Steps
from cyclesim.scenario.tree import Tree, shorten
from cyclesim.scenario.yaml_file import read_file

REFERABLE: tuple[Steps, ...] = (
    ("place",),
    ("place", "weather"),
    ("supply",),
    ("plant",),
    ("controller",),
    ("schedule",),
    ("limits",),
)
_DUE = "a block of keys, or the path of a file such as plants/tub.yaml, is due"


def resolve(tree: Tree, name: str, folder: Path | None) -> None:
    """Put in every section that is the path of a file; what is wrong goes to the tree's faults."""
    for path in REFERABLE:
        text = tree.get(path, default=None)
        if isinstance(text, str) and path not in tree.gone:
            _resolve_one(tree, path, text, name, folder)


def _resolve_one(tree: Tree, path: Steps, text: str, name: str, folder: Path | None) -> None:
    def refuse(what: str, allowed: str, hint: str = "") -> None:
        tree.faults.append(tree.fault(path, f"'{shorten(text)}', {what}", allowed, hint))
        tree.gone.add(path)

    if not text.endswith((".yaml", ".yml")):
        refuse("a text", _DUE)
        return
    if folder is None:
        refuse("a path", "a text that is in no file cannot refer to files")
        return
    inside = "a file inside the scenario's own folder is due"
    relative = PurePosixPath(text)
    if relative.is_absolute() or ".." in relative.parts or "\\" in text or ":" in text or "\0" in text:
        refuse(
            "a path that leads elsewhere", inside, "write it relative to the scenario file, with / between"
        )
        return
    target = folder / relative
    try:
        if not target.resolve().is_relative_to(folder.resolve()):
            refuse("a link that leads elsewhere", inside)
            return
    except (OSError, RuntimeError):
        refuse("a path that cannot be followed", inside)
        return
    part = read_file(target, str(PurePosixPath(name).parent / relative))
    for fault in part.faults:
        if not fault.line:  # nothing could be read: the place to mend is where the path is written
            refuse(fault.found, fault.allowed, fault.hint)
            return
    if part.value is None and not part.faults:
        refuse("an empty file", _DUE)
        return
    if isinstance(part.value, dict) and "format" in part.value:
        head = part.value.pop("format")
        if head != 1 or isinstance(head, bool):
            tree.faults.append(part.fault(("format",), "an unknown format", "format 1 is known"))
    tree.graft(path, part)

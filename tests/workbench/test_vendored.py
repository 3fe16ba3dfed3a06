"""What the workbench carries and was not written here is the file that its table names."""

import hashlib
import re
from pathlib import Path

VENDOR = Path(__file__).resolve().parents[2] / "cyclesim" / "workbench" / "assets" / "vendor"


def test_the_vendored_modules_are_those_of_the_table() -> None:
    """Nobody has changed one by hand: its checksum is the table's; each part's licence is beside it."""
    table = (VENDOR / "VENDORED.md").read_text(encoding="utf-8")
    modules = dict(re.findall(r"^\| (\S+\.js) \| +\| module \| (\w{64}) \|$", table, re.MULTILINE))
    assert {file.name for file in VENDOR.glob("*.js")} == modules.keys()
    for name, checksum in modules.items():
        assert checksum == hashlib.sha256((VENDOR / name).read_bytes()).hexdigest()
    licences = (VENDOR / "LICENSE").read_text(encoding="utf-8")
    carried = re.findall(r"^\| (\S+) \| [\d.]+ \| archive", table, re.MULTILINE)
    assert {"preact", "htm", "@codemirror/view"} <= set(carried)
    headed = set(re.findall(r"[@\w/-]+", " ".join(re.findall(r"^(\S.*)\n\n", licences, re.MULTILINE))))
    assert set(carried[:-1]) <= headed

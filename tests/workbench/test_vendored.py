"""What the workbench carries and was not written here is the file that its table names."""

import hashlib
import re
from pathlib import Path

VENDOR = Path(__file__).resolve().parents[2] / "cyclesim" / "workbench" / "assets" / "vendor"


def test_the_vendored_module_is_the_one_of_the_table() -> None:
    """Nobody has changed it by hand: its checksum is the table's; each part's licence is beside it."""
    table = (VENDOR / "VENDORED.md").read_text(encoding="utf-8")
    module = hashlib.sha256((VENDOR / "preact.js").read_bytes()).hexdigest()
    assert re.search(rf"\| preact\.js \| +\| module \| {module} \|", table)
    licences = (VENDOR / "LICENSE").read_text(encoding="utf-8")
    carried = re.findall(r"^\| ([@a-z/-]+) \| [\d.]+ \| archive", table, re.MULTILINE)
    assert {"preact", "htm", "@preact/signals", "@preact/signals-core"} <= set(carried)
    assert all(licences.count(f"{name}\n\n") for name in carried[:-1])

"""Fetch what the tests carry and did not write: axe-core, which finds what keeps people from reading a page.

`python scripts/vendor.py` asks npm for the version below, holds it to its checksum, and puts the script and
its licences into `tests/vendor`. Nobody needs npm to run or to test.
"""

from __future__ import annotations

import hashlib
import shutil
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path

NAME, VERSION = "axe-core", "4.14.1"
SHA256 = "e6b0ce02b84d892e2e33e403485e7f3d6c29e2be6df65daf44d89ba564139745"
KEPT = ("axe.min.js", "LICENSE", "LICENSE-3RD-PARTY.txt")
FOLDER = Path(__file__).resolve().parent.parent / "tests" / "vendor" / NAME


def main() -> int:
    """Fetch, check, unpack; 1 where the checksum is another one."""
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run(["npm", "pack", f"{NAME}@{VERSION}", "--silent"], cwd=folder, check=True)
        (packed,) = Path(folder).glob("*.tgz")
        found = hashlib.sha256(packed.read_bytes()).hexdigest()
        if found != SHA256:
            print(f"{NAME} {VERSION}: the checksum is {found}, not {SHA256}", file=sys.stderr)
            return 1
        with tarfile.open(packed) as archive:
            archive.extractall(folder, filter="data")
        FOLDER.mkdir(parents=True, exist_ok=True)
        for name in KEPT:
            shutil.copyfile(Path(folder) / "package" / name, FOLDER / name)
    return 0


if __name__ == "__main__":
    sys.exit(main())

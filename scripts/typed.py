"""Check the types of the workbench's JavaScript, which stand in its comments.

`python scripts/typed.py` fetches the checker by npm, held to its checksum, into a folder that is gone
afterwards. Where npm or the checker cannot be had it says so, and that is no fault.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from vendor import ROOT, Package, fetch

CHECKER = Package("typescript", "5.9.3", "10e108c9cf7d5f2879053dff18515fb405abf2ccef63eaaf017d9c571687a1d3")
ASSETS = ROOT / "cyclesim" / "workbench" / "assets"
HOW = (
    "--allowJs", "--checkJs", "--noEmit", "--strict", "--noImplicitAny", "false", "--noUnusedLocals",
    "--noUnusedParameters", "--skipLibCheck", "--target", "es2023", "--module", "es2022",
    "--moduleResolution", "bundler", "--lib", "es2023,dom,dom.iterable",
)  # fmt: skip


def main() -> int:
    """The checker's own status; 0 where it cannot be had."""
    with tempfile.TemporaryDirectory() as folder:
        try:
            fetch(CHECKER, Path(folder) / "checker")
        except (OSError, subprocess.CalledProcessError):
            print("types of the workbench's scripts: left out, npm or the checker cannot be had")
            return 0
        checker = Path(folder) / "checker" / "bin" / "tsc"
        scripts = sorted(map(str, ASSETS.glob("*.js")))
        return subprocess.run(["node", checker, *HOW, *scripts], check=False).returncode


if __name__ == "__main__":
    sys.exit(main())

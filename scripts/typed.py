"""Check the workbench's JavaScript: its types, which stand in its comments, and the usual slips.

`python scripts/typed.py [FILE...]` fetches the checker and a linter by npm, each held to its checksum, into
a folder that is gone afterwards. Where npm or one of them cannot be had it says so, and that is no fault.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from vendor import ROOT, Package, fetch

CHECKER = Package("typescript", "5.9.3", "10e108c9cf7d5f2879053dff18515fb405abf2ccef63eaaf017d9c571687a1d3")
LINTER = Package(
    "eslint-linter-browserify", "10.11.0", "5ad57636e68d94ee6ff740d3f3ce535f8cdbe73c79709f0cd253118f6dce744f"
)
"""ESLint in one file, with nothing to fetch besides."""
RULES = Package("@eslint/js", "10.0.1", "8ecd352ee99b1c8291bee007f43d58356ae5057782de9635563aec2e604dcee2")
"""Which of its rules are recommended."""
ASSETS = ROOT / "cyclesim" / "workbench" / "assets"
HOW = (
    "--allowJs", "--checkJs", "--noEmit", "--strict", "--noImplicitAny", "false", "--noUnusedLocals",
    "--noUnusedParameters", "--skipLibCheck", "--target", "es2023", "--module", "es2022",
    "--moduleResolution", "bundler", "--lib", "es2023,dom,dom.iterable",
)  # fmt: skip


def main(scripts: Sequence[str]) -> int:
    """0 where nothing is found in these, or what would find it cannot be had."""
    with tempfile.TemporaryDirectory() as temporary:
        checker, linter, rules = (Path(temporary) / name for name in ("checker", "linter", "rules"))
        statuses = [
            _run("types", {checker: CHECKER}, [checker / "bin" / "tsc", *HOW, *scripts]),
            _run(
                "lint",
                {linter: LINTER, rules: RULES},
                [
                    ROOT / "scripts" / "lint.mjs",
                    linter / "linter.cjs",
                    rules / "src" / "configs" / "eslint-recommended.js",
                    *scripts,
                ],
            ),
        ]
    return max(statuses)


def _run(what: str, needs: dict[Path, Package], words: Sequence[Path | str]) -> int:
    """The status of a program of node's; 0 where it cannot be had."""
    try:
        for folder, package in needs.items():
            fetch(package, folder)
    except (OSError, subprocess.CalledProcessError):
        print(f"{what} of the workbench's scripts: left out, npm or a package of it cannot be had")
        return 0
    return subprocess.run(["node", *words], check=False).returncode


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:] or sorted(map(str, ASSETS.glob("*.js")))))

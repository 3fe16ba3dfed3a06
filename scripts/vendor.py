"""Fetch what is carried here and was not written here; nobody needs npm to run or to test.

`python scripts/vendor.py` asks npm for the versions below, holds each archive to its checksum, and puts
axe-core, which finds what keeps people from reading a page, into `tests/vendor`, and what the workbench's
views are built on, as one module with its licences and its table, into `cyclesim/workbench/assets/vendor`.
"""

from __future__ import annotations

import hashlib
import shutil
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).resolve().parent.parent
AXE_FOLDER = ROOT / "tests" / "vendor" / "axe-core"
VIEWS_FOLDER = ROOT / "cyclesim" / "workbench" / "assets" / "vendor"


class Package(NamedTuple):
    """A package of the registry, held to the checksum of its archive."""

    name: str
    version: str
    sha256: str


AXE = Package("axe-core", "4.14.1", "e6b0ce02b84d892e2e33e403485e7f3d6c29e2be6df65daf44d89ba564139745")
CARRIED = (
    Package("preact", "11.2.0", "3c4456766bd32b6b534d52bf4e9c2a29b33e7eedf6e96ed479300ba1a7888ebf"),
    Package("htm", "3.1.1", "2425b9bee11409177bcabc7f32e319926fc6690c1701c0b257c88bdff2d5ba90"),
    Package("@preact/signals", "2.11.4", "66ea8221dd8aaa0da2365d49c3f116b071d56cfb63b2e16c072c6b4e08a928b7"),
    Package(
        "@preact/signals-core", "1.14.5", "94c421ac996214c94f532fb4c43d8ede048a16df0cd9538ffb965174dbe8daba"
    ),
)
BUNDLER = Package(
    "@esbuild/linux-x64", "0.28.2", "9573bb2233aab0f9ea7647d5cca9726113cc1768de61d66b17267f4db84488f6"
)
ENTRY = """\
import { h } from "preact";
import htm from "htm";
export { Fragment, render } from "preact";
export { useEffect, useErrorBoundary, useLayoutEffect, useMemo, useRef, useState } from "preact/hooks";
export { batch, computed, effect, signal, useComputed, useSignal, useSignalEffect } from "@preact/signals";
export const html = htm.bind(h);
"""
"""What the views may import."""


def main() -> int:
    """Fetch, check, unpack, bundle; 1 where a checksum is another one."""
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        try:
            for package in (AXE, *CARRIED, BUNDLER):
                fetch(package, folder / "node_modules" / package.name)
        except ValueError as error:
            print(error, file=sys.stderr)
            return 1
        AXE_FOLDER.mkdir(parents=True, exist_ok=True)
        for name in ("axe.min.js", "LICENSE", "LICENSE-3RD-PARTY.txt"):
            shutil.copyfile(folder / "node_modules" / AXE.name / name, AXE_FOLDER / name)
        _bundle(folder)
    return 0


def fetch(package: Package, into: Path) -> None:
    """Unpack a package; ValueError where its checksum is another one."""
    with tempfile.TemporaryDirectory() as temporary:
        wanted = f"{package.name}@{package.version}"
        patient = ["--fetch-retries", "1", "--fetch-timeout", "30000"]
        npm = ["npm", "pack", wanted, "--silent", *patient]
        subprocess.run(npm, cwd=temporary, check=True, stdout=subprocess.DEVNULL)
        (packed,) = Path(temporary).glob("*.tgz")
        found = hashlib.sha256(packed.read_bytes()).hexdigest()
        if found != package.sha256:
            raise ValueError(f"{wanted}: the checksum is {found}, not {package.sha256}")
        with tarfile.open(packed) as archive:
            archive.extractall(temporary, filter="data")
        shutil.move(Path(temporary) / "package", into)


def _bundle(folder: Path) -> None:
    """One module of all that the views are built on, its licences, and the table of what is in it."""
    (folder / "entry.js").write_text(ENTRY, encoding="utf-8")
    VIEWS_FOLDER.mkdir(parents=True, exist_ok=True)
    module = VIEWS_FOLDER / "preact.js"
    esbuild = folder / "node_modules" / BUNDLER.name / "bin" / "esbuild"
    words = ["--bundle", "--minify", "--format=esm", "--legal-comments=none", f"--outfile={module}"]
    subprocess.run([esbuild, "entry.js", *words, "--log-level=warning"], cwd=folder, check=True)
    licences = []
    for name in dict.fromkeys(package.name for package in CARRIED):
        text = (folder / "node_modules" / name / "LICENSE").read_text(encoding="utf-8").strip()
        licences.append(f"{name}\n\n{text}\n")
    (VIEWS_FOLDER / "LICENSE").write_text("\n\n".join(licences), encoding="utf-8")
    rows = [f"| {p.name} | {p.version} | archive | {p.sha256} |" for p in (*CARRIED, BUNDLER)]
    sha256 = hashlib.sha256(module.read_bytes()).hexdigest()
    table = [
        "Written by `scripts/vendor.py`; the licences stand in LICENSE. The last package bundled the others "
        "and is not in the module.\n",
        "| what | version | of | SHA-256 |",
        "| --- | --- | --- | --- |",
        *rows,
        f"| preact.js | | module | {sha256} |\n",
    ]
    (VIEWS_FOLDER / "VENDORED.md").write_text("\n".join(table), encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main())

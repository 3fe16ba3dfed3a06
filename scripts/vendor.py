"""Fetch what is carried here and was not written here; nobody needs npm to run or to test.

`python scripts/vendor.py` asks npm for the versions below, holds each archive to its checksum, and puts
axe-core, which finds what keeps people from reading a page, into `tests/vendor`, and what the workbench's
views are built on, as modules with their licences and their table, into `cyclesim/workbench/assets/vendor`.
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


def _packages(rows: str) -> tuple[Package, ...]:
    """A row each: name, version, checksum."""
    return tuple(Package(*row.split()) for row in rows.strip().splitlines())


(AXE,) = _packages("axe-core 4.14.1 e6b0ce02b84d892e2e33e403485e7f3d6c29e2be6df65daf44d89ba564139745")
(BUNDLER,) = _packages(
    "@esbuild/linux-x64 0.28.2 9573bb2233aab0f9ea7647d5cca9726113cc1768de61d66b17267f4db84488f6"
)
VIEWS = _packages(
    """
    preact 11.2.0 3c4456766bd32b6b534d52bf4e9c2a29b33e7eedf6e96ed479300ba1a7888ebf
    htm 3.1.1 2425b9bee11409177bcabc7f32e319926fc6690c1701c0b257c88bdff2d5ba90
    @preact/signals 2.11.4 66ea8221dd8aaa0da2365d49c3f116b071d56cfb63b2e16c072c6b4e08a928b7
    @preact/signals-core 1.14.5 94c421ac996214c94f532fb4c43d8ede048a16df0cd9538ffb965174dbe8daba
    """
)
EDITOR = _packages(
    """
    @codemirror/autocomplete 6.20.4 40b9657b137284426bcd829cdee7dc78a748337de997a12b10b5c725f67aa0d0
    @codemirror/commands 6.11.1 f477f46d8c00278e1b387baebd53bd6556fd5f3c7401ebe2a05543600fcbff0f
    @codemirror/lang-yaml 6.1.3 1ca03b21045ffbc35146ab068ca5c79b78da9197bdbfaa432718786563ac0712
    @codemirror/language 6.13.1 e711ec28da046f6c163e777c5466d8ac805ee9ef5f51c511e8729c6789be7f83
    @codemirror/search 6.7.2 cea9bcf62e34f89f2a49bc5e37bcf6d4f32049892f5a0b1cbd0b8160094dec97
    @codemirror/state 6.7.6 91d75acc955ceeaf86af9396c11cda7694fe6222aac8427fa033d89eff5ac839
    @codemirror/streamparser 6.0.0 b4888c5ab40350e7a1747d765948a8fa45cfd127c479dd4cdef8097046efe14a
    @codemirror/view 6.43.15 f0d5921406f841d211fa0887aabf10626c47676bfc63a4abed2a4d207e27c5ac
    @lezer/common 1.5.5 ed93cee36403124f51eae638b8a032d6694914c19704de7610db7f2a9441c963
    @lezer/highlight 1.2.5 e349eec1ff4382439c1e6286ae937e0203a8349c5192e2e133863391775ac7ff
    @lezer/lr 1.4.12 64382ee7f144221e4c655f2034393c6be9cecaf5ea2ec1c1edeb99424defb272
    @lezer/yaml 1.0.4 6423ff4510ce7e573b5666b0025be6516709e6285ee07d781dffc3218093b009
    @marijn/find-cluster-break 1.0.4 5d12b770b64d46632c84fcd18e1d4c09f195ed0f5dbc71f94a41f0af333eaeae
    crelt 1.0.7 3542299c0278fdc26aceb2b13d31bffbcb89d7367706bbc457130e3fd103c03e
    style-mod 4.1.5 c4a44844213a141da55c51a2f81d701acdb9944465328b4a2a6b9626c6d9fc39
    w3c-keyname 2.2.8 05d21484026d1f2dd842c843181e391e66d60f1d5dff292d562c3f40302dab36
    """
)
MODULES = {
    "preact.js": """\
import { h } from "preact";
import htm from "htm";
export { Fragment, render } from "preact";
export { useEffect, useErrorBoundary, useLayoutEffect, useMemo, useRef, useState } from "preact/hooks";
export { batch, computed, effect, signal, useComputed, useSignal, useSignalEffect } from "@preact/signals";
export const html = htm.bind(h);
""",
    "editor.js": """\
export { defaultKeymap, history, historyKeymap } from "@codemirror/commands";
export { yaml } from "@codemirror/lang-yaml";
export { HighlightStyle, syntaxHighlighting } from "@codemirror/language";
export { search, searchKeymap } from "@codemirror/search";
export { EditorState } from "@codemirror/state";
export { EditorView, drawSelection, highlightActiveLine, keymap, lineNumbers } from "@codemirror/view";
export { tags } from "@lezer/highlight";
""",
}
"""What the views may import, by the module that it is bundled into."""


def main() -> int:
    """Fetch, check, unpack, bundle; 1 where a checksum is another one."""
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        try:
            for package in (AXE, *VIEWS, *EDITOR, BUNDLER):
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
    """A module for each of what the views are built on, their licences, and the table of what is in them."""
    VIEWS_FOLDER.mkdir(parents=True, exist_ok=True)
    esbuild = folder / "node_modules" / BUNDLER.name / "bin" / "esbuild"
    modules = []
    for name, entry in MODULES.items():
        (folder / "entry.js").write_text(entry, encoding="utf-8")
        made = VIEWS_FOLDER / name
        words = ["--bundle", "--minify", "--format=esm", "--legal-comments=none", f"--outfile={made}"]
        subprocess.run([esbuild, "entry.js", *words, "--log-level=warning"], cwd=folder, check=True)
        modules.append(f"| {name} | | module | {hashlib.sha256(made.read_bytes()).hexdigest()} |")
    licences: dict[str, list[str]] = {}
    for package in (*VIEWS, *EDITOR):
        text = (folder / "node_modules" / package.name / "LICENSE").read_text(encoding="utf-8").strip()
        licences.setdefault(text, []).append(package.name)
    told = [f"{', '.join(names)}\n\n{text}\n" for text, names in licences.items()]
    (VIEWS_FOLDER / "LICENSE").write_text("\n\n".join(told), encoding="utf-8")
    rows = [f"| {p.name} | {p.version} | archive | {p.sha256} |" for p in (*VIEWS, *EDITOR, BUNDLER)]
    table = [
        "Written by `scripts/vendor.py`; the licences stand in LICENSE. The last package bundled the others "
        "and is in no module. `editor.js` is loaded when a text is to be edited.\n",
        "| what | version | of | SHA-256 |",
        "| --- | --- | --- | --- |",
        *rows,
        *modules,
    ]
    (VIEWS_FOLDER / "VENDORED.md").write_text("\n".join(table) + "\n", encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main())

"""Write a copy of the package in which what a year spends its time in is compiled to C by mypyc.

`python scripts/compile.py build/quick`, then `PYTHONPATH=build/quick` before the installed command: the same
commands and the same numbers, sooner. (`python -m cyclesim` looks first in the folder that it is started in.)
To undo it, delete the folder. It needs mypy, setuptools and a C compiler; the copy is of the text as it is
now, and a text that is changed later asks for another.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
MODULES = (
    *(f"physics/{name}" for name in ("age_book", "ahead", "circuit", "circuit_age", "contents")),
    *(f"physics/{name}" for name in ("evaporation", "forces", "heat", "inside", "laws", "loops", "outside")),
    *(f"physics/{name}" for name in ("own_water", "parcels", "passing", "pieces", "readings", "settled")),
    *(f"physics/{name}" for name in ("settling", "sources", "stays", "sunlit", "tub_heat", "tub_node")),
    *(f"physics/{name}" for name in ("turns", "warmth", "water_age", "ways")),
    *(f"simulation/{name}" for name in ("beside", "board", "clock", "dry", "effects", "engine", "exchanges")),
    *(f"simulation/{name}" for name in ("frost", "heating_control", "jets", "passes", "recorder")),
    *(f"simulation/{name}" for name in ("room", "room_thermostats", "steering", "stream", "thermostat")),
    *(f"simulation/{name}" for name in ("water_and_heat", "wired")),
)
"""Typed throughout, and called most often. None has a class with a `__getattr__`, with which mypyc's code
crashes, nor a `cached_property`, which it works out each time."""

SETUP = """
import sys
from mypyc.build import mypycify
from setuptools import setup
setup(name="cyclesim", packages=[], ext_modules=mypycify(sys.argv.pop().split(","), group_name="cyclesim"))
"""


def compile_to(folder: Path) -> None:
    """Write the compiled copy to *folder*, which must be new or empty."""
    if folder.exists() and any(folder.iterdir()):
        sys.exit(f"{folder} is not empty: give another folder, or delete it first")
    forgotten = shutil.ignore_patterns("__pycache__", "*.so")
    shutil.copytree(ROOT / "cyclesim", folder / "cyclesim", dirs_exist_ok=True, ignore=forgotten)
    files = ",".join(f"cyclesim/{name}.py" for name in MODULES)
    words = [sys.executable, "-c", SETUP, "build_ext", "--inplace", files]
    settings = (
        "[mypy]\nstrict = True\nplugins = pydantic.mypy\nignore_missing_imports = True\n"
        "disallow_untyped_calls = False\nwarn_unused_ignores = False\n"  # that is checked elsewhere
    )
    (folder / "mypy.ini").write_text(settings)
    done = subprocess.run(
        words,
        cwd=folder,
        env={**os.environ, "CFLAGS": "-O2 -g0 -fvisibility=hidden"},
        capture_output=True,
        text=True,
        check=False,
    )
    shutil.rmtree(folder / "build", ignore_errors=True)
    if done.returncode:
        sys.exit(done.stdout[-3000:] + done.stderr[-3000:])


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    compile_to(Path(sys.argv[1]))

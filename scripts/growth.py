#!/usr/bin/env python
"""How the time of `cyclesim check` grows with what it is given: each kind of input, doubled to its limit.

Where the time grows more than in proportion, an input within every limit could keep a machine busy for hours.
Prints a row a kind, in seconds of a processor, and ends with 1 where a doubling costs more than 2.5 times as
much, which is above the twofold of straight growth. No time below 0.2 s is judged.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

from click.testing import CliRunner

sys.path.insert(0, str(Path(__file__).parents[1]))
from cyclesim.cli import cli
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.scenario.text import csv_file, yaml_file

TEXT = starter_text()
JUDGED_FROM_S, AT_MOST = 0.2, 2.5
Given = tuple[str, str, list[str]]
"""A scenario, its weather file, and more words of the command."""

WEATHER = TEXT[TEXT.index("  weather:") : TEXT.index("  zones:")]
FROM_FILE = TEXT.replace(WEATHER, "  weather: {file: town.csv}\n")
HEAD = "time,temperature [degC]\n"


def _scenario(old: str, new: str) -> Given:
    assert old in TEXT, old
    return TEXT.replace(old, new, 1), "", []


def _csv(text: str) -> Given:
    return FROM_FILE, text, []


def _set(path: str, value: str) -> Given:
    return TEXT, "", ["--set", f"{path}={value}"]


def _many_sets(count: int) -> Given:
    return TEXT, "", [word for _ in range(count) for word in ("--set", "schedule.heating.keep_at=36 degC")]


def _rows(count: int, value: str = "5") -> str:
    first, step = datetime(2000, 1, 1), timedelta(minutes=1)
    return "".join(f"{first + k * step:%Y-%m-%d %H:%M},{value}\n" for k in range(count))


def _after(start: str, more: str) -> Given:
    """The starter with text put in after the line that begins so."""
    line = next(line for line in TEXT.splitlines(keepends=True) if line.startswith(start))
    return _scenario(line, line + more)


def _listed(form: str, count: int) -> str:
    return "[" + ", ".join(form.format(k) for k in range(count)) + "]"


def _lines(form: str, count: int) -> str:
    return "".join(f"{form.format(k)}\n" for k in range(count))


def _breaker(text: str) -> Given:
    return _scenario("breaker: 20 A", f"breaker: {text}")


YAML, VALUES = yaml_file.MAX_BYTES - len(TEXT) - 100, yaml_file.MAX_VALUES
CSV = csv_file.MAX_BYTES // 4
LEG = "    leg_{0}: {{length: 1 m, pipe: 63 PN10, zone: soil}}"
CHAIN = "    - [tub, suction, tub]\n"
LOCK = "  - {block: elemnt, while: main low}\n"
FLUSH = '    - {pump: main hi, start: "03:00", lasts: 1}\n'
SET = "plant.tub.water"

KINDS: dict[str, tuple[int, Callable[[int], Given]]] = {
    "a quantity of digits": (YAML, lambda n: _breaker(f"{'1' * n} A")),
    "a quantity of spaces": (YAML, lambda n: _breaker(f"'1{' ' * n}A'")),
    "a quantity of letters": (YAML, lambda n: _breaker(f"1 {'x' * n}")),
    "a bare number": (YAML, lambda n: _breaker("1" * n)),
    "a number with a comma": (YAML, lambda n: _breaker(f"'{'1' * n},5 A'")),
    "digits and spaces": (YAML // 2, lambda n: _breaker(f"'{'1 ' * n}'")),
    "digits and slashes": (YAML // 2, lambda n: _breaker(f"'{'1/' * n}'")),
    "points": (YAML, lambda n: _breaker(f"'{'.' * n}'")),
    "a long pipe": (YAML // 2, lambda n: _scenario("{pipe: 63 PN10", f"{{pipe: {'PN1' * (n // 2)}")),
    "a long price": (
        YAML // 2,
        lambda n: _scenario("otherwise: 0.24 EUR/kWh", f"otherwise: 0.24 {'/' * n} EUR"),
    ),
    "a long rule": (
        YAML // 2,
        lambda n: _set("schedule.bathing.0.repeats", "FREQ=DAILY;" + "BYDAY=MO;" * (n // 9)),
    ),
    "a long key": (1000, lambda n: _scenario("  tub:", f"  {'k' * n}: 5\n  tub:")),
    "a long key of two lines": (YAML, lambda n: _scenario("  tub:", f"  ? {'k' * n}\n  : 5\n  tub:")),
    "a long name": (YAML, lambda n: _after("  zones:", f"    ? {'k' * n}\n    : {{}}\n")),
    "a long title": (YAML, lambda n: _set("title", "x " * (n // 2))),
    "comments": (YAML // 2, lambda n: _after("format: 1", "#\n" * n)),
    "unknown keys": (VALUES // 2, lambda n: _after("plant:", _lines("  wter_{}: 5", n))),
    "unknown zones": (VALUES // 2, lambda n: _after("  zones:", _lines("    soil_{}: {{depht: 1}}", n))),
    "legs": (VALUES // 5, lambda n: _after("  legs:", _lines(LEG, n))),
    "junctions": (VALUES // 2, lambda n: _after("plant:", f"  junctions: {_listed('j{}', n)}\n")),
    "chains": (VALUES // 4, lambda n: _after("  network:", CHAIN * n)),
    "a long chain": (VALUES // 2, lambda n: _after("  network:", f"    - {_listed('x{}', n)}\n")),
    "interlocks": (VALUES // 3, lambda n: _after("interlocks:", LOCK * n)),
    "runs": (VALUES // 4, lambda n: _after("  line_flushes:", FLUSH * n)),
    "starts of a run": (VALUES // 2, lambda n: _set("schedule.filter_runs.0.start", _listed("3:00", n))),
    "points of a curve": (
        VALUES // 4,
        lambda n: _set("plant.pumps.main.low.curve", _listed("[1 m, 2 m]", n)),
    ),
    "a value set": (YAML, lambda n: _set(SET, "1" * n)),
    "a path set": (YAML, lambda n: _set("plant." * (n // 6), "1")),
    "many sets": (2000, _many_sets),
    "brackets": (YAML, lambda n: _set(SET, "[" * n)),
    "quotes": (YAML, lambda n: _set(SET, "'" * n)),
    "aliases": (VALUES // 2, lambda n: _set(SET, f"[&a 5, {', '.join(['*a'] * n)}]")),
    "rows": (CSV // 20, lambda n: _csv(HEAD + _rows(n))),
    "rows with lone returns": (CSV // 20, lambda n: _csv((HEAD + _rows(n)).replace("\n", "\r"))),
    "rows in turned order": (CSV // 20, lambda n: _csv(HEAD + "".join(_rows(n).splitlines(True)[::-1]))),
    "bad rows": (CSV // 20, lambda n: _csv(HEAD + _rows(n, "x"))),
    "bad times": (CSV // 20, lambda n: _csv(HEAD + _rows(n).replace(":", "."))),
    "every other time bad": (CSV // 40, lambda n: _csv(HEAD + _other(_rows(n)))),
    "gaps": (CSV // 40, lambda n: _csv(HEAD + _gappy(_rows(n)))),
    "header cells": (CSV // 4, lambda n: _csv("time,temperature [degC]" + ",abc" * n + "\n")),
    "a long header cell": (CSV, lambda n: _csv("time," + "[ " * (n // 2) + "\n")),
    "a header of spaces": (CSV, lambda n: _csv("time,x" + " " * n + "y\n")),
    "cells of a row": (CSV // 2, lambda n: _csv(HEAD + "1," * n + "\n")),
    "a long time": (CSV, lambda n: _csv(HEAD + "1" * n + ",5\n")),
    "a long number": (CSV, lambda n: _csv(HEAD + _rows(1, "1" * n) + _rows(1))),
    "empty rows": (CSV, lambda n: _csv(HEAD + "\n" * n)),
}


def _other(rows: str) -> str:
    return "".join(row if k % 2 else f"x{row}" for k, row in enumerate(rows.splitlines(True)))


def _gappy(rows: str) -> str:
    return "".join(row for k, row in enumerate(rows.splitlines(True)) if k % 7)


def _timed(given: Given, folder: Path) -> tuple[float, int]:
    text, weather, words = given
    (folder / "tub.yaml").write_text(text, encoding="utf-8")
    (folder / "town.csv").write_text(weather, encoding="utf-8", newline="")
    begun = time.process_time()
    result = CliRunner().invoke(cli, ["check", str(folder / "tub.yaml"), *words])
    return time.process_time() - begun, result.exit_code


def main() -> int:
    """Print how each kind grows; 1 if one grows more than in proportion."""
    worse = []
    only = sys.argv[1:]
    print(f"{'input':26}  {'size':>10}  {'time':>8}  {'a doubling costs':>18}  status")
    with tempfile.TemporaryDirectory() as folder:
        _timed((TEXT, "", []), Path(folder))
        for name, (limit, make) in KINDS.items():
            if only and not any(word in name for word in only):
                continue
            size, before, steps = max(1, limit // 64), 0.0, []
            while size <= limit:
                took, status = _timed(make(size), Path(folder))
                if before >= JUDGED_FROM_S:
                    steps.append(took / before)
                before, size = took, 2 * size
                if took > 20.0 or status == 3:
                    break
            grows = max(steps, default=0.0)
            print(f"{name:26}  {size // 2:10,}  {before:6.2f} s  {grows:16.1f} x  {status}", flush=True)
            if grows > AT_MOST or before > 20.0 or status == 3:
                worse.append(name)
    if worse:
        print(f"More than in proportion: {', '.join(worse)}")
    return 1 if worse else 0


if __name__ == "__main__":
    sys.exit(main())

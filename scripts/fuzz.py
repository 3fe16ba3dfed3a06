#!/usr/bin/env python
"""Mangled inputs for `cyclesim check` and `cyclesim run`: each is taken or refused, soon and in plain words.

`python scripts/fuzz.py check 10000`, `python scripts/fuzz.py run 1000`; `--seed S` for others, `--processes`
for commands of their own, `--only N` for one input, which is then kept and shown. An input is known by its
seed and number. What counts as a fault: a status other than 0, 1 and 2, a traceback, signs on the screen that
a terminal acts on, or more than ten seconds of processor time. Ends with 1 if there is one.
"""

from __future__ import annotations

import argparse
import os
import random
import re
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import chdir, contextmanager
from copy import deepcopy
from pathlib import Path
from types import FrameType
from typing import Any, NamedTuple

import yaml
from click.testing import CliRunner

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from cyclesim.cli import cli
from cyclesim.scenario.text.yaml_file import parse_text
from cyclesim.units import KINDS

ROOT = Path(__file__).resolve().parents[1]
MOST_CPU_S, MOST_S = 10.0, 300.0
"""Of processor time, and of the clock on a machine that others use: then it waits for something for ever."""
Random = random.Random


class Input(NamedTuple):
    """A call in a folder of its own, and what was done to it."""

    kind: str
    words: tuple[str, ...]


class Broken(NamedTuple):
    """An input that was neither taken nor refused."""

    number: int
    kind: str
    why: str


# -- what is mangled -----------------------------------------------------------------------------------------

SIGNS = [
    ": ", "- ", "[", "]", "{", "}", "|", "'", '"', "#", "*a", "&a ", "!!int ", "<<", "~", "0", "-1", "1e999",
    "nan", "\t", "\n", "\0", "é", "\u202e", "\x1b[2J", "\r", "\ufeff",
]  # fmt: skip
NUMBERS = [
    "0",
    "-1",
    "1e-9",
    "0.001",
    "0.5",
    "7",
    "99",
    "1000",
    "99999",
    "1e9",
    "1e99",
    "1" * 50,
    "1,5",
    "1/2",
]
VALUES: list[Any] = [
    None, True, False, 0, 1, -3, 5.5, 1e999, "", "x", "30 s", "1 m", "38 degC", "main low", "tub", "off",
    "03:00", "29 February", "FREQ=DAILY;INTERVAL=999", "2027-02-29", "none", [], {}, [[]], ["a"] * 40,
    {"a": {"b": [1]}},
    "\u202e", "x" * 3000, [None], {"": ""}, "plant.yaml", "town.csv", "../up.yaml", "/dev/zero", "*", "~",
]  # fmt: skip


def bases() -> list[str]:
    """The texts that are mangled: the starter and every shipped file."""
    starter = ROOT / "cyclesim" / "scenario" / "reading" / "starter.yaml"
    return [
        path.read_text(encoding="utf-8") for path in [starter, *sorted((ROOT / "schedules").glob("*.yaml"))]
    ]


def in_text(chance: Random, text: str) -> str:
    """Signs put in, taken out or doubled, lines swapped, dropped or doubled."""
    for _ in range(chance.choice([1, 1, 1, 2, 4])):
        at, lines = chance.randrange(len(text) + 1), text.split("\n")
        one, other = chance.randrange(len(lines)), chance.randrange(len(lines))
        what = chance.randrange(6)
        if what == 0:
            text = text[:at] + chance.choice(SIGNS) + text[at:]
        elif what == 1:
            text = text[:at] + text[at + chance.randrange(1, 30) :]
        elif what == 2:
            text = text[:at] + text[at : at + 9] * chance.randrange(2, 9) + text[at:]
        else:
            if what == 3:
                lines[one], lines[other] = lines[other], lines[one]
            elif what == 4:
                del lines[one : one + chance.randrange(1, 6)]
            else:
                lines[one:one] = lines[other : other + chance.randrange(1, 4)]
            text = "\n".join(lines)
    return text


def in_units(chance: Random, text: str) -> str:
    """Quantities of other numbers or other units, some of them of the right kind."""
    units = [unit for kind in KINDS.values() for unit in kind.units]
    places = list(re.finditer(r"(?<![\w.])(\d+(?:\.\d+)?) ?(°?[A-Za-z%][A-Za-z0-9/]*)", text))
    for match in sorted(chance.sample(places, chance.choice([1, 1, 2, 5])), key=lambda m: -m.start()):
        number, unit = match[1], match[2]
        if chance.random() < 0.75:
            near = [f"{float(number) * factor:g}" for factor in (0.01, 0.1, 0.5, 2, 10, 100)]
            number = chance.choice([*near, *near, *NUMBERS])
        else:
            unit = chance.choice([*units, "MW", "furlong", ""])
        text = f"{text[: match.start()]}{number} {unit}{text[match.end() :]}"
    return text


def in_names(chance: Random, text: str) -> str:
    """Names that stand for other things, for nothing, or for what is built in."""
    names = sorted(set(re.findall(r"[a-z][a-z_0-9]{2,}", text)))
    for _ in range(chance.choice([1, 1, 2, 3])):
        old = chance.choice(names)
        new = chance.choice(
            [chance.choice(names), "tub", "outdoors", "weather", "parallel", "x" * 41, f"{old}_", "on"]
        )
        places = [match.span() for match in re.finditer(rf"\b{old}\b", text)]
        for start, end in reversed(chance.choice([places, places[:1], places[-1:]])):
            text = text[:start] + new + text[end:]
    return text


def in_structure(chance: Random, text: str) -> str:
    """Blocks and entries left out, doubled, moved, or put to a value of another shape."""
    tree = parse_text(text, "").value
    for _ in range(chance.choice([1, 1, 2, 3])):
        holders = list(_holders(tree))
        holder, key = chance.choice(holders)
        other, its = chance.choice(holders)
        what = chance.randrange(8)
        if what == 0:
            del holder[key]
        elif what > 4:  # what stands under the same key elsewhere fits most often
            holder[key] = deepcopy(chance.choice([place[same] for place, same in holders if same == key]))
        elif what == 1:
            holder[key] = chance.choice(VALUES)
        elif what == 2:
            holder[key] = deepcopy(other[its])
        elif isinstance(holder, list):
            holder[key:key] = [holder[key]] * chance.choice([1, 2, 30])
        elif what == 3:
            holder[f"{key}_2"] = holder[key]
        else:
            holder[chance.choice(["file", "parallel", "kind", "after", f"{key}s", 5])] = holder.pop(key)
    return str(yaml.safe_dump(tree, sort_keys=False, allow_unicode=True, width=1000))


def _holders(tree: Any) -> Iterator[tuple[Any, Any]]:
    if isinstance(tree, dict | list):
        for key in list(tree) if isinstance(tree, dict) else range(len(tree)):
            yield tree, key
            yield from _holders(tree[key])


TEXTS: dict[str, Callable[[Random, str], str]] = {
    "text": in_text, "units": in_units, "names": in_names, "structure": in_structure
}  # fmt: skip


def in_files(chance: Random, text: str, folder: Path) -> bytes:
    """A scenario that names other files, each whole, mangled, another kind of thing, or not there."""
    tree = parse_text(text, "").value
    (folder / "plant.yaml").write_text(yaml.safe_dump({"format": 1, **tree["plant"]}), encoding="utf-8")
    if chance.random() < 0.5:
        tree["plant"] = "plant.yaml"
    if chance.random() < 0.8:
        tree["place"]["weather"] = {
            "file": "town.csv",
            **chance.choice([{}, {"times": "utc"}, {"wind": "1 m/s"}]),
        }
    if chance.random() < 0.3:
        tree["supply"]["tariff"] = {"file": "town.csv"}
    head = chance.choice(
        ["time,temperature [degC]", "time, temperature [degF], wind [mph]", "time,price [EUR/kWh]"]
    )
    cells = ",5" * head.count(",")
    step = chance.choice([1, 1, 1, 3, 24])
    days = chance.choice([3, 40, 365])
    rows = [
        f"{1 + k // 24 // 31 % 12:02}-{1 + k // 24 % 31:02} {k % 24:02}:00{cells}"
        for k in range(0, 24 * days, step)
    ]
    table = "\n".join([head, *(f"2027-{row}" for row in rows if row[:5] not in _NO_DAYS), ""])
    data = table.encode()
    whole = str(yaml.safe_dump(tree, sort_keys=False)).encode()
    what = chance.randrange(9)
    if what == 0:
        data = in_text(chance, table).encode("utf-8", "replace")
    elif what == 1:
        data = data.replace(b"\n", chance.choice([b"\r", b"\r\n", b"\n\n"]))
    elif what == 2:
        data = chance.randbytes(chance.randrange(3000))
    elif what == 3:
        whole = chance.choice(
            [whole[: chance.randrange(len(whole))], b"\xef\xbb\xbf" + whole, whole.decode().encode("utf-16")]
        )
    elif what == 4:
        place = folder / "plant.yaml"
        place.write_bytes(place.read_bytes()[: chance.randrange(900)])
    elif what == 5:
        whole = bytes(
            byte ^ (1 << chance.randrange(8)) if chance.random() < 0.001 else byte for byte in whole
        )
    if what == 6:
        other = chance.choice(
            [os.mkfifo, Path.mkdir, lambda path: path.symlink_to("town.csv"), lambda _: None]
        )
        other(folder / "town.csv")
    else:
        (folder / "town.csv").write_bytes(data)
    return whole


_NO_DAYS = ("02-29", "02-30", "02-31", "04-31", "06-31", "09-31", "11-31")

PATHS = [
    "place", "place.weather", "place.zones.soil", "supply.tariff", "supply.breaker", "plant", "plant.tub",
    "plant.tub.cover", "plant.legs", "plant.pumps", "plant.network", "plant.network.0", "schedule", "title",
    "schedule.heating", "schedule.heating.keep_at", "schedule.filter_runs.0", "schedule.filter_runs.0.lasts",
    "schedule.bathing.0.days", "schedule.quiet_hours", "interlocks.0", "interlocks", "limits.water_age",
    "format", "money", "water_care", "a.b", "", "plant..tub", "0",
]  # fmt: skip
ODD = [
    "", "-1", "0", "1", "2", "1e3", "9" * 30, "2027-02-29", "2027-06-01", "0000-01-01", "x" * 3000, "\x1b[2J",
    "\u202e", "a\nb", "null", "-", ".", "/", "/dev/null", "/dev/full", "there/is/none", "é",
]  # fmt: skip


def options(chance: Random, command: str) -> list[str]:
    """Options with values of any kind."""
    words: list[str] = []
    own = ["--days", "--from", "--seed", "--json", "--trace", "--what-if", "--figure-days", "--all"]
    for _ in range(chance.randrange(1, 4)):
        option = chance.choice([*(own if command == "run" else []), *["--set"] * 9, chance.choice(ODD)])
        if option == "--set":
            value = chance.choice([*map(str, VALUES), "null", "null", "[", "{a: b", "36 degC", "1 h", "x=y"])
            words += ["--set", f"{chance.choice(PATHS)}={value}".replace("\0", "")]
        elif option == "--what-if":
            words += [
                option,
                chance.choice(["outage=2027-01-01 03:00/8 h", f"outage={chance.choice(ODD)}", "x"]),
            ]
        else:
            words += [option] if option == "--all" else [option, chance.choice(ODD)]
    return words


def made(command: str, seed: int, number: int, texts: list[str], folder: Path) -> Input:
    """The input of this seed and number, its files written into the folder."""
    chance = Random(f"{seed}/{number}/{command}")
    text = chance.choice(texts)
    words = [command, "tub.yaml"]
    if command == "run":
        words += ["--days", "2", "--from", f"2027-{chance.randrange(1, 13):02}-{chance.randrange(1, 28):02}"]
    kind = chance.choice([*TEXTS, "units", "structure", "files", "options"])
    if kind == "files":
        data = in_files(chance, text, folder)
    elif kind == "options":
        data = text.encode()
        words += options(chance, command)
    else:
        data = TEXTS[kind](chance, text).encode("utf-8", "surrogatepass")
    (folder / "tub.yaml").write_bytes(data)
    return Input(kind, tuple(words))


# -- how it is judged ----------------------------------------------------------------------------------------


class TooLongError(BaseException):
    """Stops a command that would go on; nothing catches it."""


@contextmanager
def _stopped() -> Iterator[None]:
    def stop(_: int, __: FrameType | None) -> None:
        raise TooLongError

    timers = {signal.SIGPROF: (signal.ITIMER_PROF, MOST_CPU_S), signal.SIGALRM: (signal.ITIMER_REAL, MOST_S)}
    before = {number: signal.signal(number, stop) for number in timers}
    try:
        for timer, seconds in timers.values():
            signal.setitimer(timer, seconds)
        yield
    finally:
        for number, (timer, _) in timers.items():
            signal.setitimer(timer, 0.0)
            signal.signal(number, before[number])


def here(words: tuple[str, ...], folder: Path) -> tuple[int, str]:
    """Status and output of a command in this process."""
    with chdir(folder), _stopped():
        result = CliRunner().invoke(cli, words)
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        return 3, f"Traceback: {result.exception!r}"
    return result.exit_code, result.output


def apart(words: tuple[str, ...], folder: Path) -> tuple[int, str]:
    """Status and output of a command in a process of its own."""
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    command = [
        "sh",
        "-c",
        f'ulimit -t {MOST_CPU_S:.0f}; exec "$@"',
        "sh",
        sys.executable,
        "-m",
        "cyclesim",
        *words,
    ]
    try:
        ended = subprocess.run(command, cwd=folder, env=env, capture_output=True, timeout=MOST_S)
    except subprocess.TimeoutExpired:
        raise TooLongError from None
    if ended.returncode in (-signal.SIGXCPU, -signal.SIGKILL):
        raise TooLongError
    return ended.returncode, (ended.stdout + ended.stderr).decode("utf-8", "replace")


def judged(words: tuple[str, ...], folder: Path, how: Callable[..., tuple[int, str]]) -> tuple[int, str]:
    """The status, and what is wrong with how it came about."""
    try:
        status, output = how(words, folder)
    except TooLongError:
        return -1, f"more than {MOST_CPU_S:g} s"
    if status not in (0, 1, 2):
        return status, f"status {status}: {' '.join(output.split())[-300:]}"
    if "Traceback" in output:
        return status, f"a traceback: {' '.join(output.split())[-300:]}"
    bad = next((line for line in output.split("\n") if not line.isprintable()), None)
    if bad is not None:
        return status, f"a sign that a terminal acts on: {bad[:200]!r}"
    left = [path.name for path in folder.glob(".cyclesim-*")]
    return status, f"left behind: {left}" if left else ""


def fuzz(
    command: str,
    numbers: range,
    seed: int = 0,
    how: Callable[..., tuple[int, str]] = here,
    keep: Path | None = None,
) -> tuple[Counter[tuple[str, int]], list[Broken]]:
    """How many inputs of each kind ended with which status, and those that are faults of ours."""
    texts, counts, broken = bases(), Counter[tuple[str, int]](), []
    for number in numbers:
        with tempfile.TemporaryDirectory() as made_folder:
            folder = keep or Path(made_folder)
            given = made(command, seed, number, texts, folder)
            status, why = judged(given.words, folder, how)
        counts[given.kind, status] += 1
        if why:
            broken.append(Broken(number, given.kind, why))
            print(f"{command} --seed {seed} --only {number} ({given.kind}): {why}", flush=True)
        if keep is not None:
            print(f"{folder}: cyclesim {' '.join(map(ascii, given.words))}: status {status}")
    return counts, broken


def main() -> int:
    """Fuzz as the command line says; 1 if something broke."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("command", choices=["check", "run"])
    parser.add_argument("count", type=int, nargs="?", default=100)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", type=int)
    parser.add_argument("--processes", action="store_true")
    told = parser.parse_args()
    numbers = range(told.count) if told.only is None else range(told.only, told.only + 1)
    keep = None if told.only is None else Path(tempfile.mkdtemp())
    begun = time.monotonic()
    counts, broken = fuzz(told.command, numbers, told.seed, apart if told.processes else here, keep)
    for kind in sorted({kind for kind, _ in counts}):
        ways = ", ".join(f"{n} with {status}" for (k, status), n in sorted(counts.items()) if k == kind)
        print(f"{kind}: {ways}")
    print(f"{counts.total()} inputs in {time.monotonic() - begun:.0f} s: {len(broken)} faults")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())

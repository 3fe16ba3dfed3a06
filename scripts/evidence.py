"""Why to believe the numbers: every check beside its source. `python scripts/evidence.py [--only GROUP]`.

Needs what `pip install '.[dev]'` brings. Exit status: 0 all hold, 1 some do not, 2 the call is wrong.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections.abc import Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from rich.console import Console
from rich.table import Table

from tests.evidence.catalogue import checks
from tests.evidence.record import GROUPS, Judged, judge

STATUSES = (
    "read",
    "seen second-hand",
    "computed",
    "from memory",
    "arithmetic",
    "common practice",
    "yardstick",
)


def main(words: Sequence[str] | None = None) -> int:
    """Judge, print, write; the exit status."""
    parser = argparse.ArgumentParser(description="Every check of cyclesim beside its source.")
    parser.add_argument("--only", choices=GROUPS, metavar="GROUP", help=", ".join(GROUPS))
    parser.add_argument("--json", metavar="FILE", help="write every number, - to standard output")
    parser.add_argument("--markdown", metavar="FILE", type=Path, help="write the tables")
    asked = parser.parse_args(words)
    found: list[Judged] = []
    quiet = asked.json == "-"
    console = Console(file=sys.stderr if quiet else None, highlight=False, soft_wrap=False)
    for group in (asked.only,) if asked.only else GROUPS:
        of_group = [judge(check) for check in checks(group)]
        found += of_group
        if not of_group:
            console.print(f"{group}: no checks here.")
        else:
            say(console, group, of_group)
    console.print(closing(found))
    if asked.json:
        text = json.dumps({"summary": summary(found), "checks": [as_row(x) for x in found]}, indent=1)
        print(text) if quiet else Path(asked.json).write_text(text + "\n", encoding="utf-8")
    if asked.markdown:
        asked.markdown.write_text(as_markdown(found), encoding="utf-8")
    return 0 if all(x.holds for x in found) else 1


def digits(value: object, number: float) -> str:
    """A number as its source prints it, or to five digits."""
    return value if isinstance(value, str) else f"{number:.5g}"


def apart(judged: Judged) -> str:
    """The difference, as a share or in the unit."""
    size = judged.difference * (100.0 if judged.check.relative else 1.0)
    text = f"{size:+.0f}" if abs(size) >= 10.0 else f"{size:+.2g}"
    return f"{text} %" if judged.check.relative else text


def allowed(judged: Judged) -> str:
    """The tolerance in the same manner, or the side on which it must lie."""
    check = judged.check
    size = f"{100 * check.tolerance:g} %" if check.relative else f"{check.tolerance:g}"
    if check.how == "within":
        return size
    return f"{'≤' if check.how == 'at most' else '≥'}{f' ± {size}' if check.tolerance else ''}"


def verdict(judged: Judged) -> str:
    """Whether it holds; a yardstick is only shown."""
    if judged.yardstick:
        return "shown" if judged.used <= 1.0 else "beyond"
    return "holds" if judged.holds else "FAILS"


def sources(found: Sequence[Judged]) -> list[tuple[str, str]]:
    """Each source with its status, in order, once."""
    return list(dict.fromkeys((x.check.source, x.check.status) for x in found))


def say(console: Console, group: str, found: Sequence[Judged]) -> None:
    """One group: a table, its sources by number, and what it comes to."""
    known = sources(found)
    table = Table(title=f"{group} ({len(found)} checks)", title_justify="left", box=None, pad_edge=False)
    table.add_column("quantity (inputs)", ratio=1)
    for head in ("source", "cyclesim", "apart", "allowed"):
        table.add_column(head, justify="right", no_wrap=True)
    table.add_column("from", justify="right")
    table.add_column("")
    before = ""
    for x in found:
        check = x.check
        what = f"{check.quantity}{f' [{check.unit}]' if check.unit else ''}"
        if check.inputs != before:  # rows that share their inputs say them once
            what, before = f"{what} ({check.inputs})", check.inputs
        table.add_row(
            what.replace("[", r"\["),
            digits(check.says, x.says),
            f"{x.ours:.5g}",
            apart(x),
            allowed(x),
            str(known.index((check.source, check.status)) + 1),
            verdict(x),
        )
    console.print(table)
    console.print("")
    for k, (source, status) in enumerate(known, start=1):
        console.print(f"{k:>3}  {source}; {status}.", markup=False)
    for x in found:
        if x.conclusion:
            console.print("")
            console.print(x.conclusion, markup=False)
    console.print("")


def summary(found: Sequence[Judged]) -> dict[str, dict[str, object]]:
    """Per group: how many checks of each status, how many fail, the largest share of a tolerance used."""
    told: dict[str, dict[str, object]] = {}
    for group in GROUPS:
        mine = [
            x for x in found if x.check.group == group or (group == "wholes" and x.check.group not in GROUPS)
        ]
        if mine:
            judged = [x for x in mine if not x.yardstick]
            told[group] = {
                "checks": len(mine),
                "fail": sum(not x.holds for x in mine),
                "tightest": finite(max((x.used for x in judged), default=0.0)),
                **{s: sum(x.check.status.startswith(s) for x in mine) for s in STATUSES},
            }
    return told


def finite(value: float) -> float | None:
    """A number that JSON has a word for."""
    return value if math.isfinite(value) else None


def closing(found: Sequence[Judged]) -> str:
    """What it all came to."""
    judged = [x for x in found if not x.yardstick]
    worst = max(judged, key=lambda x: x.used, default=None)
    fails = [x.check.id for x in found if not x.holds]
    text = f"{len(judged)} checks, {len(found) - len(judged)} yardsticks"
    text += f"; FAIL: {', '.join(fails)}" if fails else "; all hold"
    return f"{text}; nearest to its tolerance: {worst.check.id}, {100 * worst.used:.0f} %" if worst else text


def as_row(x: Judged) -> dict[str, object]:
    """One check for JSON."""
    check = x.check
    row: dict[str, object] = {
        key: getattr(check, key)
        for key in (
            "id",
            "group",
            "quantity",
            "inputs",
            "unit",
            "tolerance",
            "relative",
            "how",
            "source",
            "status",
        )
    }
    row |= {
        "source_says": check.says if isinstance(check.says, str) else x.says,
        "cyclesim_says": finite(x.ours),
    }
    return row | {"difference": finite(x.difference), "holds": x.holds, "conclusion": x.conclusion}


def as_markdown(found: Sequence[Judged]) -> str:
    """Every group as a table."""
    lines = []
    for group in dict.fromkeys(x.check.group for x in found):
        lines += [
            f"## {group}",
            "",
            "| quantity | inputs | unit | source says | cyclesim says | apart | allowed |",
        ]
        lines[-1] += " source | status | |"
        lines.append("|" + " --- |" * 10)
        mine = [x for x in found if x.check.group == group]
        for x in mine:
            c = x.check
            cells = [c.quantity, c.inputs, c.unit, digits(c.says, x.says), f"{x.ours:.6g}"]
            cells += [apart(x), allowed(x), c.source, c.status, verdict(x)]
            lines.append("| " + " | ".join(cell.replace("|", r"\|") for cell in cells) + " |")
        lines += ["", *(f"{x.conclusion}\n" for x in mine if x.conclusion)]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    sys.exit(main())

"""Plastic pipe by nominal size and standard (outside diameter and wall), and the fittings in it."""

import re
from typing import Annotated, Literal, NamedTuple

from cyclesim.scenario.forms.forms import Count, RefusedError, did_you_mean, one_of

FITTINGS = Literal[
    "entrance",
    "exit",
    "elbow",
    "long_elbow",
    "elbow_45",
    "tee_run",
    "tee_branch",
    "ball_valve",
    "swing_check",
    "union",
]
Fittings = dict[FITTINGS, Annotated[int, Count(0, 100)]]

_INCH_M = 0.0254

# Minimum walls in mm of PVC-U pressure pipe by outside diameter in mm (EN ISO 1452-2 from memory, not opened;
# series S10 and S6.3 up to 90 mm, S12.5 and S8 from 110 mm on).
_METRIC_MM = {
    "PN10": {32: 1.6, 40: 1.9, 50: 2.4, 63: 3.0, 75: 3.6, 90: 4.3, 110: 4.2, 125: 4.8, 160: 6.2},
    "PN16": {
        20: 1.5,
        25: 1.9,
        32: 2.4,
        40: 3.0,
        50: 3.7,
        63: 4.7,
        75: 5.6,
        90: 6.7,
        110: 6.6,
        125: 7.4,
        160: 9.5,
    },
}
# Outside diameter and minimum walls in inches of ASTM D1785 PVC pipe by nominal size.
_INCH = {
    "0.5": (0.840, 0.109, 0.147),
    "0.75": (1.050, 0.113, 0.154),
    "1": (1.315, 0.133, 0.179),
    "1.25": (1.660, 0.140, 0.191),
    "1.5": (1.900, 0.145, 0.200),
    "2": (2.375, 0.154, 0.218),
    "2.5": (2.875, 0.203, 0.276),
    "3": (3.500, 0.216, 0.300),
    "4": (4.500, 0.237, 0.337),
    "6": (6.625, 0.280, 0.432),
}


class Pipe(NamedTuple):
    """A pipe's name as it is printed, with its bore and outside diameter in metres."""

    name: str
    bore_m: float
    outside_m: float


def _table() -> dict[str, Pipe]:
    pipes = []
    for pressure, walls in _METRIC_MM.items():
        pipes += [Pipe(f"{d} {pressure}", (d - 2 * wall) / 1000, d / 1000) for d, wall in walls.items()]
    for size, (outside, *walls_in) in _INCH.items():
        for schedule, wall in zip((40, 80), walls_in, strict=True):
            bore = (outside - 2 * wall) * _INCH_M
            pipes.append(Pipe(f"{size} in Sch {schedule}", bore, outside * _INCH_M))
    return {pipe.name: pipe for pipe in pipes}


PIPES = _table()
DUE = "expected a pipe by size and standard, e.g. 63 PN10 or 2 in Sch 40"


def _plain(text: str) -> str:
    """The spellings that are on drawings, brought to the one in the table."""
    text = re.sub(
        r"(\d)[ -](\d)/(\d)", lambda m: str(int(m[1]) + int(m[2]) / max(1, int(m[3]))), text.strip()
    )
    text = re.sub(r"^(\d)/(\d)", lambda m: str(int(m[1]) / max(1, int(m[2]))), text)
    text = re.sub(r"^([\d.]+) ?(?:\"|inch|in\b) ?", r"\1 in ", text)
    text = re.sub(r"^(?:DN|d) ?(\d+)", r"\1", text)
    text = re.sub(r"(?i)\b(?:sch|schedule)\.? ?(\d+)$", r"Sch \1", text)
    return re.sub(r"(?i)(?<=\d) ?PN ?(\d+)$", r" PN\1", text)


def read_pipe(text: str) -> Pipe:
    """The pipe of this name; raises RefusedError with the sizes that exist."""
    name = _plain(text)
    if name in PIPES:
        return PIPES[name]
    standard = next(
        (ending for ending in ("PN10", "PN16", "Sch 40", "Sch 80") if name.endswith(ending)), None
    )
    if standard is None:
        raise RefusedError(
            "an unknown pipe", DUE, did_you_mean(name, PIPES) or "or write bore: 57 mm instead"
        )
    sizes = [known.removesuffix(standard).strip() for known in PIPES if known.endswith(standard)]
    near = min(sizes, key=lambda size: abs(_number(size) - _number(name)))
    raise RefusedError(
        "an unknown pipe",
        f"{standard} comes as {one_of(sizes)}",
        f"did you mean '{near} {standard}'? otherwise write bore: 57 mm",
    )


def _number(text: str) -> float:
    match = re.match(r"\d{1,9}(\.\d{1,9})?", text)
    return float(match[0]) if match else 0.0

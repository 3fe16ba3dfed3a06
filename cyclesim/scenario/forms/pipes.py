"""Pipe by nominal size and standard (outside diameter, wall, material), and the fittings in it.

A standard implies its material: PN is PVC, SDR is PE, Sch is PVC unless `steel` stands behind it. Any other
pipe of PVC, PE, steel or copper is written as outside diameter and wall in mm.
"""

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
# Minimum walls in mm of PE pressure pipe by outside diameter in mm (EN 12201-2 from memory, not opened).
_PE_MM = {
    "SDR11": {20: 2.0, 25: 2.3, 32: 3.0, 40: 3.7, 50: 4.6, 63: 5.8, 75: 6.8, 90: 8.2, 110: 10.0, 125: 11.4},
    "SDR17": {32: 2.0, 40: 2.4, 50: 3.0, 63: 3.8, 75: 4.5, 90: 5.4, 110: 6.6, 125: 7.4, 160: 9.5},
}
# Outside diameter and minimum walls in inches of ASTM D1785 PVC pipe by nominal size; steel pipe has the same
# by ASME B36.10 (from memory, not opened).
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


PipeMaterial = Literal["PVC", "PE", "steel", "copper"]
MATERIALS: tuple[PipeMaterial, ...] = ("PVC", "PE", "steel", "copper")


class Pipe(NamedTuple):
    """A pipe's name as it is printed, with its bore and outside diameter in metres.

    *standard*: the one that it is made to; nothing where it is told by its wall.
    """

    name: str
    bore_m: float
    outside_m: float
    of: PipeMaterial = "PVC"
    standard: str = ""


def _table() -> dict[str, Pipe]:
    pipes = []
    metric: tuple[tuple[dict[str, dict[int, float]], PipeMaterial], ...] = (
        (_METRIC_MM, "PVC"),
        (_PE_MM, "PE"),
    )
    for walls_of, material in metric:
        for standard, walls in walls_of.items():
            for d, wall in walls.items():
                bore_m = (d - 2 * wall) / 1000
                pipes.append(Pipe(f"{d} {standard}", bore_m, d / 1000, material, standard))
    inch: tuple[tuple[str, PipeMaterial], ...] = (("", "PVC"), (" steel", "steel"))
    for named, material in inch:
        for size, (outside, *walls_in) in _INCH.items():
            for schedule, wall in zip((40, 80), walls_in, strict=True):
                bore, standard = (outside - 2 * wall) * _INCH_M, f"Sch {schedule}{named}"
                pipes.append(Pipe(f"{size} in {standard}", bore, outside * _INCH_M, material, standard))
    return {pipe.name: pipe for pipe in pipes}


PIPES = _table()
_STANDARDS = tuple(dict.fromkeys(pipe.standard for pipe in PIPES.values()))
DUE = "expected a pipe by size and standard, e.g. 63 PN10, 63 SDR11, 2 in Sch 40 or 54 x 1.5 copper"


def of_standard(pipe: Pipe | None) -> list[Pipe]:
    """All pipes of a pipe's standard, the narrowest first; none where no standard is known."""
    alike = (p for p in PIPES.values() if pipe is not None and p.standard == pipe.standard)
    return sorted(alike, key=lambda candidate: candidate.bore_m)


def _plain(text: str) -> str:
    """The spellings that are on drawings, brought to the one in the table."""
    text = re.sub(
        r"(\d)[ -](\d)/(\d)", lambda m: str(int(m[1]) + int(m[2]) / max(1, int(m[3]))), text.strip()
    )
    text = re.sub(r"^(\d)/(\d)", lambda m: str(int(m[1]) / max(1, int(m[2]))), text)
    text = re.sub(r"^([\d.]+) ?(?:\"|inch|in\b) ?", r"\1 in ", text)
    text = re.sub(r"^(?:DN|d) ?(\d+)", r"\1", text)
    text = re.sub(r"(?i)\b(?:sch|schedule)\.? ?(\d+)$", r"Sch \1", text)
    text = re.sub(r"(?i) ?\bPVC$", "", text) if not _BY_WALL.match(text) else text
    text = re.sub(r"(?i)\b(?:sch|schedule)\.? ?(\d+) ?steel$", r"Sch \1 steel", text)
    text = re.sub(r"(?i)(?<=\d) ?(?:PE ?)?SDR ?(\d+)(?: ?PE)?$", r" SDR\1", text)
    return re.sub(r"(?i)(?<=\d) ?PN ?(\d+)$", r" PN\1", text)


_BY_WALL = re.compile(r"(?i)^(\d{1,3}(?:\.\d{1,2})?) ?[x×] ?(\d{1,2}(?:\.\d{1,2})?) ?(?:mm)? ?([a-z]+)$")


def _by_wall(match: re.Match[str]) -> Pipe:
    """`54 x 1.5 copper`: outside diameter and wall in mm."""
    named = {material.lower(): material for material in MATERIALS}
    material = named.get(match[3].lower())
    if material is None:
        raise RefusedError(
            f"a pipe of '{match[3][:20]}'", f"expected {one_of(MATERIALS)}", did_you_mean(match[3], MATERIALS)
        )
    outside_mm, wall_mm = float(match[1]), float(match[2])
    if not (5.0 <= outside_mm <= 400.0 and 0.0 < wall_mm <= 0.25 * outside_mm):
        what = f"{outside_mm:g} mm with a wall of {wall_mm:g} mm"
        raise RefusedError(what, "expected an outside of 5 to 400 mm and a wall of at most a quarter of it")
    name = f"{outside_mm:g} x {wall_mm:g} {material}"
    return Pipe(name, (outside_mm - 2.0 * wall_mm) / 1000.0, outside_mm / 1000.0, material)


def read_pipe(text: str) -> Pipe:
    """The pipe of this name; raises RefusedError with the sizes that exist."""
    name = _plain(text)
    if name in PIPES:
        return PIPES[name]
    by_wall = _BY_WALL.match(name)
    if by_wall:
        return _by_wall(by_wall)
    standard = next((s for s in sorted(_STANDARDS, key=len, reverse=True) if name.endswith(s)), None)
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

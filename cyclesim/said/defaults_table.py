"""Defaults that were filled in, the same one of several elements on one line."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from cyclesim.analysis.amounts import listed
from cyclesim.said.page import Page
from cyclesim.said.words import count
from cyclesim.scenario.reading.defaults import Default
from cyclesim.spreads import NoRange

MATTER = (
    "conductivity of the soil",
    "conductivity of the tub's foam",
    "film outside filter and heater housings",
    "weather.wind",
    "heat_to_water",
    "weather.cloud",
    "weather.humidity",
    "fill_water",
)
"""Ends of what moves costs and ages most, by `--confidence` on three shipped plants; later ones fill up."""
_FEW = 5


def counted(filled: Sequence[Default], model: Sequence[Default] = ()) -> str:
    """How many numbers were filled in, told the same by every command: those of the file, and the model's."""
    said = f"{count(len(filled), 'number is', 'numbers are')} filled in"
    return said + (f", and {len(model)} are the model's own" if model else "")


def unmeasured(parts: Sequence[str]) -> str:
    """What stands in the file as in a starter, in words; "" if nothing does."""
    if not parts:
        return ""
    return (
        f"Still examples: {listed([*parts])} {'stands' if len(parts) == 1 else 'stand'} in the file just as "
        "`cyclesim new` writes them. Measure them, or read them off the data sheets, before anybody buys or "
        "builds by this."
    )


def never_met(paths: Sequence[str], year: int) -> str:
    """What has dates of other years alone, in words; "" if nothing has."""
    if not paths:
        return ""
    whose = "its" if len(paths) == 1 else "their"
    return f"No run of {year} meets {listed([*paths])}: {whose} dates are of other years."


def say_defaults(
    page: Page,
    filled: Sequence[Default],
    model: Sequence[Default] = (),
    *,
    only: str = "",
    everything: bool = True,
) -> None:
    """What the file left out, what was taken instead, how far that may be off, and who says so.

    *model*: what the model takes for granted. Unless *everything* is told, the few that numbers depend on
    most. *only*: tell those of this block alone; all are counted.
    """
    defaults = [default for default in (*filled, *model) if default.path.startswith(f"{only}." * bool(only))]
    told = defaults if everything else _few(defaults)
    if not told:
        return
    if not everything:
        page.heading("What the file leaves out and the numbers depend on most")
        for line in _lines(told):
            page.line(f"- {line}", hang=2)
        rest_on = f", {len(defaults)} of them for the {only}" if only else ""
        page.line(f"{counted(filled, model)}{rest_on}: --all lists them.")
        return
    page.heading(
        "Left out in the file and filled in; a key with dots may be written there, or tried with --set"
    )
    for source in dict.fromkeys(default.source for default in told):
        page.line(f"{source}:")
        for line in _lines([default for default in told if default.source == source]):
            page.line(line, indent=2, hang=4)


def _few(defaults: Sequence[Default]) -> list[Default]:
    """Those that matter most, the first five kinds that this file left out."""
    kinds = [end for end in MATTER if any(default.path.endswith(end) for default in defaults)][:_FEW]
    return [default for end in kinds for default in defaults if default.path.endswith(end)]


def _lines(defaults: Sequence[Default]) -> Iterator[str]:
    """One line per value of one key of one kind of element."""
    paths: dict[tuple[str, ...], list[list[str]]] = {}
    for default in defaults:
        steps, spread = default.path.split("."), _spread(default)
        paths.setdefault((*steps[:2], steps[-1], default.value_text, spread), []).append(steps)
    for (*_, value, spread), (first, *others) in paths.items():
        also = [step for steps in others for step, usual in zip(steps, first, strict=False) if step != usual]
        same = f"; the same for {listed(also)}" if also else ""
        yield f"{'.'.join(first)}: {value}; {spread}{same}"


def _spread(default: Default) -> str:
    """How far it may be off; where that is no range, in its own words."""
    told = str(default.spread)
    return told if isinstance(default.spread, NoRange) else f"spread {told}"

"""From what a person notices to the likeliest cause and the first thing to look at."""

from __future__ import annotations

from collections.abc import Sequence

from cyclesim.analysis.amounts import lasting, listed
from cyclesim.said.page import Row, words
from cyclesim.said.papers.paper import Sheet
from cyclesim.said.words import day
from cyclesim.verification.signs import COLDER_K, DAYS, LASTS_H, Noticed, Sign, SignKind

_SIGNS: dict[SignKind, str] = {
    "no jets": "no water comes from the jets",
    "weak jets": "the jets are weak",
    "colder": f"the water gets colder, {COLDER_K:.1f} K or more for {LASTS_H} h",
    "warmer": f"the water gets warmer, {COLDER_K:.1f} K or more for {LASTS_H} h",
    "tripped": "a heat source has tripped and stays off",
    "breaker": "the breaker trips",
    "silent": "something is silent that should run",
    "runs on": "something runs at odd hours",
    "dearer": "the bill goes up",
    "cheaper": "the bill goes down",
}
"""What is noticed, the plainest first."""
_LOOK = {
    "no start": "its breaker and isolator; whether its motor hums",
    "circuit": "its breaker or residual-current device; call an electrician if it trips again",
    "valve shut": "how that valve stands",
    "clogged": "the filter: clean it",
    "check valve": "call a plumber",
    "false yes": "call an electrician",
    "false no": "water level and filter; then an electrician",
    "sensor": "a thermometer in the water; then an electrician",
    "welded": "switch it off at its isolator; an electrician",
    "level low": "the water level in the tub",
}


def say_signs(sheet: Sheet, week: Sequence[Noticed]) -> None:
    """A table from the sign to its causes, and the faults that nobody would notice."""
    sheet.heading("Signs and causes")
    begin = min((one.begin for one in week), default=None)
    from_day = f" from {day(begin.isoformat())}" if begin else ""
    sheet.line(
        f"Single faults were run in the model, each for {DAYS} days{from_day} beside the sound plant; not "
        "among them a controller that restarts and a device's own flow switch that sticks. Of one sign's "
        "causes the first has the fewest other signs; how often each happens is not known. In other weather "
        "signs differ."
    )
    columns = (words("what you notice, and what it may be"), words("seen as"), words("look first at"))
    rows = list[Row]()
    for kind, notice in _SIGNS.items():
        causes = [(one, [sign for sign in one.signs if sign.kind == kind]) for one in week]
        causes = sorted((cause for cause in causes if cause[1]), key=lambda cause: len(cause[0].signs))
        rows += [Row((notice,))] * bool(causes)
        for one, signs in causes:
            look = _LOOK.get(one.fault.kind, "call who built it")
            then = "" if one.begin == begin else f", in {one.begin:%B}"
            rows.append(Row((one.fault.sentence, f"{_seen(signs)}{then}", look), level=1))
    if rows:
        sheet.table(columns, rows)
    hidden = [one for one in week if not one.signs]
    if hidden:
        them = "; ".join(one.fault.sentence for one in hidden)
        sheet.line(f"Nobody would notice within {DAYS} days, nor half a year later: {them}.")
    if any(one.fault.kind == "false yes" for one in hidden):
        sheet.line("A switch that always says yes shows in the electrician's tests alone: once a year.")


def _seen(signs: Sequence[Sign]) -> str:
    """How much of it, as far as that helps."""
    first, subjects = signs[0], listed([sign.subject for sign in signs])
    match first.kind:
        case "colder" | "warmer":
            return f"after {lasting(3600.0 * first.amount)}"
        case "silent" | "runs on":
            return "; ".join(f"{s.subject}, {lasting(3600.0 * s.amount)} a day" for s in signs)
        case "weak jets":
            return f"{subjects}: {100.0 * min(s.amount for s in signs):.0f} % of the flow"
        case "dearer" | "cheaper":
            return f"{100.0 * abs(first.amount):.0f} % {'more' if first.amount > 0.0 else 'less'}"
        case "breaker":
            return "; ".join(f"{s.subject}: {s.amount:.0f} A" for s in signs)
    return subjects

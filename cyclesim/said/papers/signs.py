"""From what a person notices to the likeliest cause and the first thing to look at."""

from __future__ import annotations

from collections.abc import Sequence

from cyclesim.analysis.amounts import lasting, listed
from cyclesim.said.page import words
from cyclesim.said.papers.paper import Sheet
from cyclesim.verification.signs import COLDER_K, DAYS, Noticed, Sign, SignKind

_SIGNS: dict[SignKind, str] = {
    "no jets": "no water comes from the jets",
    "weak jets": "the jets are weak",
    "colder": f"the water gets colder, {COLDER_K:.1f} K or more",
    "warmer": f"the water gets warmer, {COLDER_K:.1f} K or more",
    "tripped": "a heat source has tripped and stays off",
    "breaker": "the breaker trips",
    "silent": "something is silent that should run",
    "runs on": "something runs at odd hours",
    "dearer": "the bill goes up",
    "cheaper": "the bill goes down",
}
"""What is noticed, the plainest first."""
_LOOK = {
    "no start": "its breaker and isolator; then whether its motor hums",
    "circuit": "its breaker or residual-current device; call an electrician if it trips again",
    "valve shut": "how that valve stands",
    "clogged": "the filter: clean it",
    "check valve": "call a plumber",
    "false yes": "call an electrician",
    "false no": "the water level and the filter; then call an electrician",
    "sensor": "a thermometer in the water beside the display; call an electrician",
    "welded": "switch it off at its isolator; call an electrician",
    "level low": "the water level in the tub",
}


def say_signs(sheet: Sheet, week: Sequence[Noticed]) -> None:
    """A table from the sign to its causes, and the faults that nobody would notice."""
    sheet.heading("Signs and causes")
    sheet.line(
        f"Each single fault was run in the model for {DAYS} days beside the sound plant. Of one sign's "
        "causes the first is the one with the fewest other signs; how often each happens is not known."
    )
    columns = (words("what you notice"), words("what it may be"), words("seen as"), words("look first at"))
    rows = []
    for kind, notice in _SIGNS.items():
        causes = [(one, [sign for sign in one.signs if sign.kind == kind]) for one in week]
        causes = sorted((cause for cause in causes if cause[1]), key=lambda cause: len(cause[0].signs))
        for k, (one, signs) in enumerate(causes):
            look = _LOOK.get(one.fault.kind, "call who built it")
            rows.append((notice if k == 0 else "", one.fault.sentence, _seen(signs), look))
    if rows:
        sheet.table(columns, rows)
    hidden = [one.fault.sentence for one in week if not one.signs]
    if hidden:
        sheet.line(
            f"Nobody would notice within {DAYS} days: {'; '.join(hidden)}. Only a test shows it: have the "
            "electrician's tests done once a year."
        )


def _seen(signs: Sequence[Sign]) -> str:
    """How much of it, as far as that helps."""
    first, subjects = signs[0], listed([sign.subject for sign in signs])
    match first.kind:
        case "colder" | "warmer":
            return f"after {lasting(3600.0 * first.amount)}"
        case "silent" | "runs on":
            return "; ".join(f"{s.subject}, {lasting(3600.0 * s.amount)} a day" for s in signs)
        case "weak jets":
            return f"{subjects}: {min(s.amount for s in signs):.0%} of the flow"
        case "dearer" | "cheaper":
            return f"{abs(first.amount):.0%} {'more' if first.amount > 0.0 else 'less'}"
        case "breaker":
            return "; ".join(f"{s.subject}: {s.amount:.0f} A" for s in signs)
    return subjects

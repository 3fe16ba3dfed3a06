"""What a mend tells to write into the file, told as what is done: for papers and browsers."""

from __future__ import annotations

import re

_STATES = {"firing", "running", "stopped"}


def _block(found: re.Match[str]) -> str:
    """A block on something while something else is so."""
    what, condition, because = found.groups()
    thing, _, state = condition.rpartition(" ")
    so = f"{thing} is {state}" if state in _STATES else f"{condition} runs"
    return f"a block on {what} while {so}" + (f" (because of {because})" if because else "")


def _rank(found: re.Match[str]) -> str:
    low, high = (kind.replace("_", " ") for kind in found.groups())
    return f"rank {low} above {high}"


def _order(found: re.Match[str]) -> str:
    """All ranks, the first that wins a pump in front."""
    return f"another order of who wins a pump: {found.group(1).replace('_', ' ')}"


_WRITTEN = (
    (r"\{block: ([^,}]+), while: ([^,}]+)(?:, because: ([^}]+))?\}", _block),
    (r"\{block: ([^,}]+), unless: flow proven, for: ([^}]+)\}",
     r"a block on \1 until its flow has been proven for \2"),
    (r"\{keep: ([^,}]+), after: ([^,}]+), lasting: ([^}]+)\}", r"a run-on of \1 for \3 after \2"),
    (r"frost_protection: \{watches: ([^,}]+), starts_below: ([^,}]+), stops_above: ([^,}]+), pump: ([^}]+)\}",
     r"frost protection that watches \1 and runs \4 from below \2 to above \3"),
    (r"put (\w+) before (\w+) in schedule\.ranks", _rank),
    (r" in schedule\.ranks", ""),
    (r"schedule\.ranks: \[([^\]]+)\]", _order),
    (r": plan: \[\{ready_by: \.\.\.\}\]", ", by a time at which it is to be warm"),
    (r"with ready_by", "by a time at which it is to be warm"),
    (r"give it own_flow_switch: ", "give it a flow switch of its own, "),
    (r": own_flow_switch: ", ", "),
    (r": (level_switch|contactors_lock|own_water: flow_switch): true", ""),
    (r"^own_water: more glycol", "more glycol"),
    (r": after_power_cut: resume|: person_within| \(absences: to\)", ""),
    (r": steered: high_stop: ", ": a high stop at "),
    (r": steered: not_above: ", ": let them in at no more than "),
    (r": steered: (high_stop|not_above)", ""),
)  # fmt: skip
"""As the file has it -> what is done; the first that fits goes first."""
_PATTERNS = tuple((re.compile(written), done) for written, done in _WRITTEN)


def as_done(text: str) -> str:
    """A sentence with what it has in the file's language told in words; any other sentence as it is."""
    for written, done in _PATTERNS:
        text = written.sub(done, text)
    return text

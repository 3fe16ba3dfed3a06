"""What a browser's reader presses, where what is said tells what to type."""

from __future__ import annotations

from typing import Any

from cyclesim.said.as_done import as_done

PRESSED = {
    "; --all tells every combination of speeds and positions": "",
    ": --all lists them": "",
    "; --json has all": "",
    "; cyclesim savings tells what would help": "; “What would save”, under Decide, tells what would help",
    "; --sizes tries": "; “sizes to try”, above, tries",
    "; --from tells": "; “warm up from”, above, tells",
    "; --within tells": "; “within”, above, tells",
    "until --flow says": "until “air that is wanted”, above, says",
    ": --tuned does it": ": “each with its best programme”, above, does it",
    "; --set PATH=VALUE tells all of them the same": "; write the same into each file to be sure",
    "or tried with --set": "or tried in the view of the plant",
    "programme that cyclesim tune found": "best programme that was found",
    ": cyclesim tune finds a better one": ": “Better times” finds a better one",
    "see with --trace what": "see in the view of the year what",
    ": --faults 1 tries that": ": “one at a time” under “things that may go wrong at once” tries that",
    "with --faults 1, or": "with “one at a time” under “things that may go wrong at once”, or",
    "just as `cyclesim new` writes them": "just as a new file has them",
    "Mend, not tried": "Mend, not tried here (the finding itself, above, tries what it can)",
    "cyclesim run tells what mends it": "the view of the year tells what mends it",
    "--sizes:": "sizes to try:",
    "--from:": "warm up from:",
}
"""Words of a command -> those of the workbench; a phrase that says nothing to a browser goes."""


def pressed(said: Any) -> Any:
    """Plain values with what their texts tell to type told as pressed or done; keys stay as they are."""
    match said:
        case str():
            for typed, press in PRESSED.items():
                said = said.replace(typed, press)
            return as_done(said)
        case dict():
            return {key: pressed(inner) for key, inner in said.items()}
        case list() | tuple():
            return [pressed(inner) for inner in said]
    return said

"""What a verification takes for granted."""

from __future__ import annotations

from cyclesim.scenario.blocks.plant import Plant
from cyclesim.verification.calendar_order import DAYS

_ALWAYS = (
    "The programme is as written and the plant wired and plumbed as described; nothing of the plant as built "
    "is looked at.",
    "Thermostats, the frost protection and contacts that watch a temperature may say anything at any time; "
    "power may fail and return at any time, and so may a circuit that the file cuts alone; valves are turned "
    "only to where the file says they may be left.",
    "In one second, up to two things around the controller change, or one and one timer ends, or two timers "
    "end; power changes by itself.",
    "Two timers end only in orders that their lengths permit; beyond that any time may pass between events.",
    "Water moves as the duty table says, and for as long as a pump coasts; a high limit and a device's own "
    "flow switch act after the contactor, so that a weld does not bridge them.",
    "A fault comes at any time and stays.",
    f"Clocks keep the time, and the calendar is laid out over {DAYS} days from 1 January; what recurs less "
    "often than weekly is tried on every day that it may fall on in some year.",
)


def assumed(sheet: Plant) -> tuple[str, ...]:
    """What is always taken for granted, and what of a plant for want of a word in its file."""
    least = [n for n, one in {**sheet.pumps, **sheet.heat_sources}.items() if one.minimum_run_s]
    return (
        *_ALWAYS,
        *(
            f"A block, a lost flow, low water or a power cut ends the least run of {name} at once."
            for name in least
        ),
        *(
            f"What steers {name} reads its temperatures as they are, but where a sensor's fault is tried."
            for name, source in sheet.heat_sources.items()
            if getattr(source, "steered", None)
        ),
        *(
            f"The high limit of {name} has a sensor of its own: the file does not say (limit_sensor)."
            for name, source in sheet.heat_sources.items()
            if source.high_limit_c is not None and source.unsaid("limit_sensor")
        ),
    )

"""What a verification takes for granted."""

ASSUMED = (
    "The programme is as written and the plant wired and plumbed as described; nothing of the plant as built "
    "is looked at.",
    "Thermostats, the frost protection and contacts that watch a temperature may say anything at any time; "
    "power may fail and return at any time; valves are turned only to where the file says they may be left.",
    "In one second, up to two things around the controller change, or one and one timer ends, or two timers "
    "end; power changes by itself.",
    "Two timers end only in orders that their lengths permit; beyond that any time may pass between events.",
    "Water moves as the duty table says, and for as long as a pump coasts; a high limit and a device's own "
    "flow switch act after the contactor, so that a weld does not bridge them.",
    "A fault comes at any time and stays.",
)

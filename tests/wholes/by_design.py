"""Where cyclesim and the reference differ on purpose: that they differ by what was expected."""

from collections.abc import Iterator

import numpy as np

from tests.evidence.record import Check
from tests.wholes.cases import (
    AFTER_START_S,
    AGE_S,
    AGE_SHARE,
    DAY_S,
    FILLS_DAYS,
    TUB_K,
    Case,
    opened,
    ours,
    row,
    scenario,
    starts_of,
    tub_at,
)
from tests.wholes.hydraulics import Hydraulics
from tests.wholes.plant import Layout
from tests.wholes.water import Duties, ages


def by_design(case: Case) -> Iterator[Check]:
    """Where the two differ on purpose, that they differ by what was expected."""
    yield from _cold_water_arrives(case)
    yield from _coasting(case)


def _cold_water_arrives(case: Case) -> Iterator[Check]:
    """After a start cold water arrives within seconds; cyclesim tells the tub as straight over that piece."""
    trace, run = ours(case).trace, opened(case)
    seconds = np.array(sorted(run.moments_c))
    apart = dict(
        zip(seconds.tolist(), tub_at(trace, seconds) - [run.moments_c[t] for t in seconds], strict=True)
    )
    starts = [t for t in starts_of(trace) if t in run.cold_k and t + 600 in apart]
    coldest = max(starts, key=lambda t: run.cold_k[t])
    early = max((apart.get(coldest + s, 0.0) for s in AFTER_START_S[:-1]), key=abs)
    what = "tub in the first minutes after its coldest start, above the reference"
    yield row(case, "by design", what, 0.0, early, "K", 0.5 * run.cold_k[coldest])
    late = max((apart[t + 600] for t in starts), key=abs)
    yield row(case, "by design", "tub ten minutes after a start, above the reference", 0.0, late, "K", TUB_K)


def _coasting(case: Case) -> Iterator[Check]:
    """Ages if the water of a pump that is switched off ran on for as long as the file says that it coasts."""
    trace, plant = ours(case).trace, scenario(case).plant
    layout = Layout(scenario(case))
    late: Duties = []
    for start, end, speeds in opened(case).duties:
        if late:
            was = late[-1][2]
            coasts = tuple(s if s != "stopped" else w for s, w in zip(speeds, was, strict=True))
            lasts = min(end - start, max(round(p.coasts_s) for p in plant.pumps.values()))
            if coasts != speeds and lasts:
                late.append((start, start + lasts, coasts))
                start += lasts
        if start < end:
            late.append((start, end, speeds))
    found = ages(layout, Hydraulics(layout), late, -1e9)
    for name, piece in layout.reported.items():
        if name in plant.legs:
            rows = trace.ages[name]
            counted = rows.start_s >= FILLS_DAYS * DAY_S
            says = found[piece].peak_s(float(rows.start_s[counted].min()), trace.span_s)
            got = float(rows.oldest_peak_s[counted].max())
            yield row(
                case,
                "by design",
                f"oldest water if pumps coasted, {name}",
                says,
                got,
                "s",
                AGE_S + AGE_SHARE * says,
            )

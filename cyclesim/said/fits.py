"""Whether a programme fits another controller, for a person: what does not, and what to key in instead."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any

from cyclesim.analysis.amounts import lasting
from cyclesim.decide.tuning.fits import Fits, OnController
from cyclesim.decide.tuning.space import FLUSH
from cyclesim.said.cautions import ADVICE, WATER, say_cautions
from cyclesim.said.page import Cell, Column, Page, words
from cyclesim.said.tune import finding_words, programme_values, say_programme
from cyclesim.said.words import count, number

UNTUNED = (
    "Today's programme is as the file has it, not tuned: part of what a tuned one costs less may be had with "
    "the controller that is there (cyclesim tune)."
)


def fits_page(found: Fits) -> Page:
    """Everything that is said of another controller, the answer first."""
    page = Page()
    page.line(found.title, tone="strong", as_written=True)
    _say_misfits(page, found)
    if found.after_a_cut:
        page.line(found.after_a_cut, tone="mind")
    if found.misfits:
        _say_kept(page, "Nearest: today's programme, moved as little as it takes", found.nearest, found.notes)
        if found.tuned is not None:
            _say_kept(page, "Best that can be keyed in, by a tuning", found.tuned)
        else:
            page.heading("No tuned programme")
            page.line(found.not_tuned)
    else:
        _say_lost(page, found.nearest)
    _say_costs(page, found)
    say_cautions(page, (WATER, ADVICE))
    return page


def _say_misfits(page: Page, found: Fits) -> None:
    if not found.judged:
        page.line("The new controller's file does not say what it takes, so that nothing is judged by it.")
    elif not found.misfits:
        page.line("The programme can be keyed into the new controller as it is.", tone="good")
    else:
        cannot = count(len(found.misfits), "thing", "things")
        page.line(f"{cannot} of the programme cannot be keyed into the new controller.", tone="mind")
        for misfit in found.misfits:
            either = " (nor into today's)" if misfit.today_too else ""
            page.line(f"- {misfit.cause}{either}: {misfit.mend}", hang=2)
        page.line(_to_key_in(found))


def _to_key_in(found: Fits) -> str:
    """What to key in, and what that costs beside today's."""
    kept = found.advised
    if kept is None:
        return "No programme that can be keyed in keeps all that today's keeps: read below what each loses."
    nearest, tuned = kept is found.nearest, found.tuned
    told = f"The {'nearest' if nearest else 'tuned'} programme keeps all that today's keeps, and costs"
    said = f"{told} {_beside(found, kept.outcome.cost - found.today.cost)} today's."
    if nearest and tuned and not (tuned.lost or tuned.lacks) and tuned.outcome.cost < kept.outcome.cost:
        said += (
            f" The tuned one keeps it too, for {_beside(found, tuned.outcome.cost - kept.outcome.cost)} that."
        )
    return said


def _beside(found: Fits, change: float) -> str:
    """How much more or less a year costs than something else."""
    a_year = number(abs(change) * 365.0 / found.days)
    return f"{a_year} {found.today.currency} a year {'less' if change < 0.0 else 'more'} than"


def _say_kept(page: Page, title: str, kept: OnController, notes: Sequence[str] = ()) -> None:
    page.heading(title)
    say_programme(page, kept.programme)
    if not kept.programme.count(FLUSH):
        page.line("It has no line flush.")
    for note in notes:
        page.line(note)
    if kept.lacks:
        page.line(f"Key it in only if you accept this: {'; '.join(kept.lacks)}.", tone="mind")
    _say_lost(page, kept)


def _say_lost(page: Page, kept: OnController) -> None:
    if not kept.lost:
        page.line("It keeps every promise that today's programme keeps.", tone="good")
        return
    page.line("Kept today, and no longer then:", tone="mind")
    for broken in kept.lost:
        page.line(f"- {broken.severity}, {finding_words(broken)}", hang=2)


def _say_costs(page: Page, found: Fits) -> None:
    year = 365.0 / found.days

    def rows() -> Iterator[tuple[Cell, ...]]:
        named = {"today": found.today}
        if found.misfits or found.nearest.outcome != found.today:
            named["nearest" if found.misfits else "new controller"] = found.nearest.outcome
        if found.tuned is not None:
            named["tuned"] = found.tuned.outcome
        for name, out in named.items():
            change = None if out is found.today else (out.cost - found.today.cost) * year
            a_day = out.pump_h / found.days
            yield (
                name,
                out.cost * year,
                change,
                a_day,
                out.loud_min_a_day,
                out.oldest_water_h,
                out.cold_sessions,
            )

    page.table(
        [
            words("programme"),
            Column("{unit}\na year", unit=found.today.currency),
            Column("more\n{unit}", unit=found.today.currency, kind="change"),
            Column("pumps\n{unit}/day", unit="h"),
            Column("loud\n{unit}/day", unit="min"),
            Column("oldest\n{unit}", unit="h"),
            Column("sessions\nbegun cold", kind="count"),
        ],
        rows(),
        f"Beside today's controller, each run for {lasting(86_400.0 * found.days)}",
    )
    if found.tuned is not None:
        page.line(UNTUNED)


def fits_values(found: Fits) -> dict[str, Any]:
    """The same as plain values; the unit is in the key."""

    def kept(one: OnController | None) -> dict[str, Any] | None:
        if one is None:
            return None
        return {
            "programme": programme_values(one.programme),
            "no_longer_kept": [asdict(broken) for broken in one.lost],
            "lacks": list(one.lacks),
            "outcome": one.outcome.as_values(),
        }

    advised = found.advised
    return {
        "title": found.title,
        "days": found.days,
        "judged": found.judged,
        "fits": found.fits,
        "advised": None if advised is None else "nearest" if advised is found.nearest else "tuned",
        "cannot_be_keyed_in": [asdict(misfit) for misfit in found.misfits],
        "today": found.today.as_values(),
        "nearest": kept(found.nearest),
        "moved_beside_runs": list(found.notes),
        "tuned": kept(found.tuned),
        "not_tuned": found.not_tuned,
        "after_a_cut": found.after_a_cut,
    }

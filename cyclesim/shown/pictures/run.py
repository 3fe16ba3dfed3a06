"""A day or a week of a run as one drawing: who asked, what ran, temperatures, oldest water, findings.

Every row says in words what it is, and every shade has a shape beside it, so that nothing hangs on colour.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import timedelta
from textwrap import wrap
from typing import TYPE_CHECKING, Any, BinaryIO

import numpy as np

from cyclesim.said.stretch import Lane, Named, Noted, Span, Stretch, below_top
from cyclesim.said.words import number, plain
from cyclesim.shown.pictures.drawing import save, told_in
from cyclesim.shown.reader import sentence

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_DAY_S = 86_400
_WIDE, _LEFT, _RIGHT = 11.7, 2.05, 0.75  # inches; the width of a sheet of A4 on its side
_PRINTED, _PRINTED_LEFT, _PRINTED_RIGHT = 6.93, 1.55, 0.12  # inches; what is written on a sheet of A4
_TITLE, _FOOT, _GAP = 0.62, 0.50, 0.34
_ROW, _AGE_ROW, _TEMPERATURES, _TUB, _ROOMS = 0.19, 0.36, 1.75, 1.1, 0.8
_LOOKED_AT = 97  # times at which two legs are held beside each other
_SEEN = 0.0022  # of the width: the shortest that is seen
_LONGEST_NAME = 31
_KEY_ROW, _KEY_WIDTH, _MOST_KEYS = 0.155, 168, 10
_DARK, _BLUE, _SKY, _RED = "0.15", "#0072B2", "#56B4E9", "#D55E00"
_GREEN, _AMBER, _PINK = "#009E73", "#E69F00", "#CC79A7"  # colours that the colour blind tell apart
_FILLS = {
    "asked": _DARK,
    "pump": _BLUE,
    "heat": _RED,
    "air": _SKY,
    "treated": _PINK,
    "people": _GREEN,
    "cover": _AMBER,
}
_FOUND: dict[str, dict[str, Any]] = {
    "danger": {"fc": "black", "ec": "black"},
    "hygiene": {"fc": "white", "ec": "black", "hatch": "//////"},
    "wear": {"fc": "0.75", "ec": "black"},
    "comfort": {"fc": "white", "ec": "black"},
}


def write_figure(stretch: Stretch, stream: BinaryIO, form: str, mark: str = "", us: bool = False) -> None:
    """Draw a stretch of a run as `.svg`, `.pdf` or `.png`; the same stretch gives the same bytes."""
    save(lambda: draw(stretch, us), stream, form, mark)


def write_week(stretch: Stretch, stream: BinaryIO, us: bool = False) -> None:
    """Draw what ran and how warm it was as SVG, for paper: as wide as what is written on a sheet of A4."""
    save(lambda: draw_week(stretch, us), stream, ".svg")


def draw_week(stretch: Stretch, us: bool = False) -> Figure:
    """That drawing itself."""
    from matplotlib.figure import Figure

    lanes_high = _ROW * 1.25 * max(1, len(stretch.ran))
    foot = _FOOT + _GAP  # with the key, for which there is no room beside the title
    high = 2 * _GAP + foot + lanes_high + _TEMPERATURES - 0.6
    figure = Figure(figsize=(_PRINTED, high))
    left, wide = _PRINTED_LEFT / _PRINTED, 1.0 - (_PRINTED_LEFT + _PRINTED_RIGHT) / _PRINTED
    ran = figure.add_axes((left, 1.0 - (_GAP + lanes_high) / high, wide, lanes_high / high))
    temperatures = figure.add_axes((left, foot / high, wide, (_TEMPERATURES - 0.6) / high))
    _draw_lanes(ran, stretch.ran, "What ran")
    _draw_tub(temperatures, stretch)
    _draw_rooms(temperatures, stretch)
    _degrees(temperatures, "Temperatures", us)
    temperatures.legend(loc="lower right", bbox_to_anchor=(1.0 - _PRINTED_RIGHT / _PRINTED, 0.16 / high),
                        bbox_transform=figure.transFigure, ncols=6, frameon=False, columnspacing=1.2,
                        borderaxespad=0.0)  # fmt: skip
    for ax in (ran, temperatures):
        ax.set_xlim(*stretch.span)
        _time_axis(ax, stretch, last=ax is temperatures)
    return figure


def draw(stretch: Stretch, us: bool = False) -> Figure:
    """The drawing itself; degrees of Fahrenheit where *us*."""
    from matplotlib.figure import Figure

    span, asked, ran, curves = stretch.span, stretch.asked, stretch.ran, _merged(stretch.oldest)
    noted = stretch.noted[:_MOST_KEYS]
    lines = [part for key in noted for part in _key_lines(key, us)]
    if len(stretch.noted) > _MOST_KEYS:
        lines.append(f"      and {len(stretch.noted) - _MOST_KEYS} more, which the report tells")
    panels: list[tuple[str, float]] = [("found", _ROW * len(noted))] if noted else []
    panels += [("asked", _ROW * max(1, len(asked))), ("ran", _ROW * 1.25 * max(1, len(ran)))]
    panels += [("tub", _TUB)] + ([("rooms", _ROOMS)] if stretch.rooms else [])
    panels += [("ages", _AGE_ROW * max(1, len(curves)))]
    high = _TITLE + sum(size + _GAP for _, size in panels) + _FOOT + _KEY_ROW * (len(lines) + 1)
    figure = Figure(figsize=(_WIDE, high))
    axes: dict[str, Axes] = {}
    top = high - _TITLE
    for name, size in panels:
        top -= _GAP + size
        place = (_LEFT / _WIDE, top / high, 1.0 - (_LEFT + _RIGHT) / _WIDE, size / high)
        axes[name] = figure.add_axes(place)
        axes[name].set_xlim(*span)
    if noted:
        _draw_found(axes["found"], noted)
    _draw_lanes(axes["asked"], asked, "Who asked for a pump:  outline = asked,  filled = got it")
    low = "half height = low speed,  full = high;  " if any(lane.half for lane in ran) else ""
    unproven = [key for key in noted if key.severity == "danger" and {lane.name for lane in ran} & {*key.of}]
    red = ";  red frame = danger above" if unproven else ""
    _draw_lanes(axes["ran"], ran, f"What ran:  {low}hatched = waiting for proof, running on, or tripped{red}")
    _frame(axes["ran"], ran, unproven)
    _draw_tub(axes["tub"], stretch)
    _degrees(axes["tub"], "Temperature of the tub", us)
    if stretch.rooms:
        _draw_rooms(axes["rooms"], stretch)
        _degrees(axes["rooms"], "Around it", us)
    _draw_ages(axes["ages"], curves, stretch.limit_h)
    for ax in axes.values():
        _time_axis(ax, stretch, last=ax is axes["ages"])
    _say_title(figure, stretch, high)
    for k, line in enumerate(lines):
        y = _KEY_ROW * (len(lines) + 1 - k) - 0.02
        figure.text(0.35 / _WIDE, y / high, line, fontsize=7.5, va="center")
    return figure


def _merged(curves: Sequence[Named]) -> list[Named]:
    """Legs whose water is as old all the time, within a quarter of an hour, as one row."""
    alike: dict[tuple[int, ...], list[str]] = {}
    for name, seconds, ages in curves:
        at = np.linspace(seconds[0], seconds[-1], _LOOKED_AT)
        told = tuple(round(2.0 * age) for age in np.interp(at, seconds, ages).tolist())
        alike.setdefault((*told, round(2.0 * max(ages))), []).append(name)
    first = {names[0]: names for names in alike.values()}
    return [
        (name if len(first[name]) == 1 else f"{name} +{len(first[name]) - 1} alike", seconds, ages)
        for name, seconds, ages in curves
        if name in first
    ]


def _say_title(figure: Figure, stretch: Stretch, high: float) -> None:
    first, last = stretch.days
    when = f"{first:%A} {first.day} {first:%B %Y}"
    if first != last:
        when += f" to {last:%A} {last.day} {last:%B %Y}"
    left = 0.35 / _WIDE
    title = wrap(plain(stretch.title), 110, max_lines=1, placeholder=" ...")
    figure.text(left, 1 - 0.25 / high, "".join(title), fontsize=12, fontweight="bold", va="center")
    note = f"{when}, local time ({stretch.time_zone})"
    figure.text(left, 1 - 0.48 / high, note, va="center")


def _title(ax: Axes, text: str) -> None:
    ax.set_title(text, loc="left", fontsize=8.5, fontweight="bold", pad=4)


def _draw_lanes(ax: Axes, lanes: Sequence[Lane], title: str) -> None:
    """One row for each lane, its name to the left; nothing is too short to be seen."""
    _title(ax, title)
    for y, lane in enumerate(lanes):
        fill = _FILLS.get(lane.kind, _DARK)
        _bars(ax, lane.outline, y, 0.68, fc="white", ec="0.35")
        _bars(ax, lane.half, y, 0.38, fc=fill, ec=fill)
        _bars(ax, lane.full, y, 0.76, fc=fill, ec=fill)
        _bars(ax, lane.hatched, y, 0.76, fc="white", ec=fill, hatch="//////")
        for start, end, text in lane.notes:
            ax.text((start + end) / 2, y, text, ha="center", va="center", fontsize=6.5, fontweight="bold",
                    bbox={"boxstyle": "round,pad=0.1", "fc": "white", "ec": "none"})  # fmt: skip
    if not lanes:
        ax.text(0.5, 0.5, "nothing", transform=ax.transAxes, ha="center", va="center")
    ax.set_yticks(range(len(lanes)), [_short(lane.name) for lane in lanes])
    ax.set_ylim(max(1, len(lanes)) - 0.4, -0.6)


def _bars(ax: Axes, spans: Sequence[Span], y: float, height: float, **look: Any) -> None:
    """Bars that stand on the row's base line."""
    if spans:
        base, left, right = y + 0.38, *ax.get_xlim()
        least = _SEEN * (right - left)
        seen = [(start, max(end - start, least)) for start, end in spans]
        ax.broken_barh(seen, (base - height, height), **{"lw": 0.6, "zorder": 2, **look})


def _degrees(ax: Axes, what: str, us: bool) -> None:
    """The axis in degrees of the reader."""
    if ax.get_ylim()[0] < 0.0:
        ax.axhline(0.0, color="black", lw=0.5)
    ax.margins(y=0.08)
    ax.grid(axis="y", color="0.88", lw=0.5)
    _title(ax, f"{what} [{told_in(ax.yaxis, '°C', us, most=6)}]")
    ax.legend(loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=6, frameon=False, fontsize=8,
              handlelength=2.8, borderaxespad=0.1)  # fmt: skip


def _draw_tub(ax: Axes, stretch: Stretch) -> None:
    if stretch.kept is not None:
        seconds, low, high = stretch.kept
        ax.fill_between(seconds, low, high, step="post", fc="0.85", ec="0.55", lw=0.5, label="to be kept")
    ax.plot(*stretch.tub, color="black", lw=1.6, label="tub")
    if stretch.to_be_ready[0]:
        ax.plot(*stretch.to_be_ready, ls="none", marker="v", ms=6, mfc="white", mec="black",
                label="to be ready")  # fmt: skip


def _draw_rooms(ax: Axes, stretch: Stretch) -> None:
    looks = ("--", _BLUE), (":", _RED), ("-.", _GREEN)
    for (name, seconds, temps), (style, colour) in zip(stretch.rooms, looks, strict=False):
        ax.plot(seconds, temps, ls=style, color=colour, lw=1.1, label=_short(name))


def _draw_ages(ax: Axes, curves: Sequence[Named], limit_h: float) -> None:
    """A row for each leg on one scale; what is above the limit is filled dark and hatched."""
    oldest = max((max(ages) for _, _, ages in curves), default=limit_h)
    top_h = min(max(oldest, 1.1 * limit_h), 2.5 * limit_h)
    limit = number(limit_h, 1 if limit_h % 1 else 0)
    _title(ax, f"Oldest water:  dashed = the limit of {limit} h,  dark = above it,  right = the oldest here")
    for y, (_, seconds, ages) in enumerate(curves):
        base = y + 0.45
        times, shown = below_top(seconds, ages, top_h)
        scaled = [base - 0.9 * age / top_h for age in shown]
        ax.fill_between(times, base, scaled, fc="0.78", ec="0.3", lw=0.6, zorder=2)
        line = base - 0.9 * limit_h / top_h
        if max(ages) > limit_h:
            over = [height < line for height in scaled]
            ax.fill_between(
                times,
                line,
                scaled,
                where=over,
                interpolate=True,
                fc=_RED,
                ec="black",
                hatch="xxxx",
                lw=0.4,
                zorder=3,
            )
        ax.axhline(line, color="black", lw=0.7, ls=(0, (4, 3)), zorder=4)
        ax.axhline(base, color="0.5", lw=0.5)
        mark = " !" if max(ages) > limit_h else ""
        ax.text(1.006, y, f"{number(max(ages))} h{mark}", transform=ax.get_yaxis_transform(), va="center",
                fontweight="bold" if mark else "normal")  # fmt: skip
    if not curves:
        note = "water that never moves has no age"
        ax.text(0.5, 0.5, note, transform=ax.transAxes, ha="center", va="center")
    ax.set_yticks(range(len(curves)), [_short(name) for name, _, _ in curves])
    ax.set_ylim(max(1, len(curves)) - 0.5, -0.5)


def _time_axis(ax: Axes, stretch: Stretch, *, last: bool) -> None:
    """Days parted by lines; clock times below the last panel. Wall clock, so a changed clock shows."""
    span = stretch.span
    days = round((span[1] - span[0]) / _DAY_S)
    every = 2 if days == 1 else 3 if days <= 3 else 6 if days <= 10 else 24
    ticks, labels = list[int](), list[str]()
    for k in range(days + 1):
        day = stretch.days[0] + timedelta(days=k)
        for hour in range(0, 24, every):
            second = stretch.clock[day, hour]
            if span[0] <= second <= span[1]:
                ticks.append(second)
                labels.append(f"{hour:02d}" if days > 1 else f"{hour:02d}:00")
                ax.axvline(
                    second, color="0.55" if hour == 0 else "0.9", lw=0.7 if hour == 0 else 0.5, zorder=0
                )
        noon = stretch.clock[day, 12]
        if last and noon < span[1] and (days <= 10 or k % 2 == 0):
            name = f"{day:%a} {day.day} {day:%b}" if days <= 10 else f"{day.day} {day:%b}"
            ax.annotate(name, (noon, 0), xycoords=ax.get_xaxis_transform(), xytext=(0, -22),
                        textcoords="offset points", ha="center", va="center", fontweight="bold")  # fmt: skip
    ax.set_xticks(ticks, labels if last and days <= 10 else [""] * len(ticks), fontsize=7)
    ax.tick_params(length=2.5 if last else 0, width=0.6)
    ax.tick_params(axis="y", length=0)


# -- findings ----------------------------------------------------------------------------------------------


def _key_lines(key: Noted, us: bool) -> Iterator[str]:
    lines = wrap(plain(sentence(key.text, us)), _KEY_WIDTH, max_lines=2, placeholder=" ...")
    for k, line in enumerate(lines):
        yield f"{key.number:>3}  {line}" if k == 0 else f"       {line}"


def _draw_found(ax: Axes, noted: Sequence[Noted]) -> None:
    """A row for each finding, a bar while it was broken."""
    _title(ax, "Findings while they were broken, numbered as below:  black = danger,  hatched = hygiene")
    for y, key in enumerate(noted):
        _bars(ax, key.spells, y, 0.7, **_FOUND[key.severity])
    ax.set_yticks(range(len(noted)), [f"{key.severity}  {key.number}" for key in noted])
    ax.set_ylim(len(noted) - 0.4, -0.6)


def _frame(ax: Axes, lanes: Sequence[Lane], noted: Sequence[Noted]) -> None:
    """Red round what a device did while a rule of danger about it was broken."""
    for y, lane in enumerate(lanes):
        for key in noted:
            if lane.name in key.of:
                _bars(ax, key.spells, y, 0.95, fc="none", ec="#CC0000", lw=1.4, zorder=4)


def _short(name: str) -> str:
    name = plain(name)
    return name if len(name) <= _LONGEST_NAME else f"{name[: _LONGEST_NAME - 3]}..."

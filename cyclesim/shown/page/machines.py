"""A state machine as SVG, for a page that has its ways in a table beside it."""

from __future__ import annotations

from html import escape

from cyclesim.said.machines_drawn import DrawnMachine


def machine_svg(machine: DrawnMachine) -> str:
    """Boxes for states, the first with a double border, and numbered ways with an arrow at their end."""
    margin = 12
    wide, high = machine.width + 2 * margin, machine.bottom - machine.top + 2 * margin
    parts = [
        f'<svg viewBox="{-margin} {machine.top - margin} {wide} {high}" width="{wide}" height="{high}" '
        'class="machine" aria-hidden="true">'
    ]
    for way in machine.ways:
        path = "M" + "L".join(f"{x} {y}" for x, y in way.corners)
        (_, before), (x, y) = way.corners[-2:]
        back = -7 if before < y else 7
        parts.append(f'<path d="{path}"/><path class="tip" d="M{x - 4} {y + back}H{x + 4}L{x} {y}Z"/>')
    for state in machine.states:
        parts.append(f'<rect x="{state.x}" y="0" width="{state.wide}" height="{machine.high}" rx="6"/>')
        if state.first:
            inner = f'width="{state.wide - 6}" height="{machine.high - 6}"'
            parts.append(f'<rect x="{state.x + 3}" y="3" {inner} rx="4"/>')
        middle = state.x + state.wide // 2
        parts.append(f'<text x="{middle}" y="{machine.high // 2 + 4}">{escape(state.name)}</text>')
    for way in machine.ways:
        x, y = way.label
        parts.append(f'<circle cx="{x}" cy="{y}" r="9"/><text x="{x}" y="{y + 4}">{way.number}</text>')
    return "".join([*parts, "</svg>"])

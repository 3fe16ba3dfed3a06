"""What is told of each piece of time over which the heat of the plant is worked out at once."""

from __future__ import annotations

from typing import NamedTuple


class Piece(NamedTuple):
    """A stretch of constant forcing: temperatures at its start [degC], what it added up to."""

    start_s: int
    end_s: int
    water_c: float
    shell_c: float
    water_integral_k_s: float
    cover_loss_j: float
    shell_loss_j: float


class Exchanged(NamedTuple):
    """What one law did over a piece: heat into the water, energy drawn for it, water that left."""

    law: int
    start_s: int
    end_s: int
    heat_j: float
    input_j: float
    evaporated_kg: float

"""The pumps that one entry of the schedule runs: one, several at once, or one after the other."""

from itertools import pairwise
from typing import Annotated, NamedTuple

from pydantic import Field, model_validator

from cyclesim.scenario.forms.fields import Lasting, PumpAt, PumpSpeed, not_empty
from cyclesim.scenario.forms.forms import Model, RefusedError


class Part(NamedTuple):
    """A while of a run [s from its start] and the pumps that run in it."""

    start_s: int
    end_s: int
    pumps: tuple[PumpSpeed, ...]


class Pumping(NamedTuple):
    """Pumps, each at its speed, with how long each starts after the one before; or each after the other."""

    pumps: tuple[PumpSpeed, ...]
    stagger_s: int = 0
    in_turn: bool = False

    def __str__(self) -> str:
        last = str(self.pumps[-1])
        if len(self.pumps) == 1:
            return last
        before = ", ".join(map(str, self.pumps[:-1]))
        if self.in_turn:
            return f"{before}, then {last}"
        return f"{before} and {last}" + (f", {self.stagger_s} s apart" if self.stagger_s else "")

    @property
    def names(self) -> tuple[str, ...]:
        """The pumps without their speeds."""
        return tuple(pump for pump, _ in self.pumps)

    @property
    def written(self) -> str:
        """As the keys of an entry in a file, e.g. `pumps: [jets_left, jets_right], stagger: 10 s`."""
        if len(self.pumps) == 1:
            return f"pump: {self}"
        stagger = f", stagger: {self.stagger_s} s" if self.stagger_s else ""
        return f"pumps: [{', '.join(map(str, self.pumps))}]{stagger}" + (", in_turn: true" * self.in_turn)

    @property
    def fields(self) -> dict[str, object]:
        """As the fields of an entry say it."""
        if len(self.pumps) == 1:
            return {"pump": self.pumps[0]}
        stagger_s = float(self.stagger_s) if self.stagger_s else None
        return {"pumps": self.pumps, "stagger_s": stagger_s, "in_turn": self.in_turn}

    def starts_s(self, lasts_s: float) -> tuple[int, ...]:
        """How long after the start of a run each pump starts [s], if each runs for *lasts_s*."""
        apart_s = round(lasts_s) if self.in_turn else self.stagger_s
        return tuple(apart_s * k for k in range(len(self.pumps)))

    def whole_s(self, lasts_s: float) -> int:
        """How long a run lasts from first start to last stop [s], if each pump runs for *lasts_s*."""
        return self.starts_s(lasts_s)[-1] + round(lasts_s)

    def meet(self, lasts_s: float) -> bool:
        """Whether all of them run at once for a while, if each runs for *lasts_s* [s]."""
        return self.starts_s(lasts_s)[-1] < lasts_s

    def parts(self, lasts_s: float) -> list[Part]:
        """The stretches of a run in which the same pumps run."""
        starts_s = self.starts_s(lasts_s)
        spans = [(start, start + round(lasts_s)) for start in starts_s]
        edges = sorted({edge for span in spans for edge in span})
        return [
            Part(a, b, tuple(p for p, (on, off) in zip(self.pumps, spans, strict=True) if on <= a < off))
            for a, b in pairwise(edges)
        ]

    def beside(self, place: int) -> tuple[PumpSpeed, ...]:
        """The pumps that run beside one of them, by its place in the list."""
        return () if self.in_turn else (*self.pumps[:place], *self.pumps[place + 1 :])


class Pumped(Model):
    """An entry of the schedule that runs pumps, where it runs any."""

    pump: PumpAt | None = Field(None, description="The pump and its speed, e.g. main low.")
    pumps: Annotated[tuple[PumpAt, ...], not_empty] = Field(
        (), description="Or several pumps, each with its speed, e.g. [jets_left high, jets_right high]."
    )
    stagger_s: Lasting | None = Field(
        None,
        alias="stagger",
        description="Each of several pumps starts so long after the one before it, e.g. 10 s; all at once "
        "unless said.",
    )

    @model_validator(mode="after")
    def _said_once(self) -> "Pumped":
        if self.pump is not None and self.pumps:
            raise RefusedError("", "either pump or pumps is allowed, not both", at=("pumps",))
        for k, one in enumerate(self.pumps):
            if one.pump in [other.pump for other in self.pumps[:k]]:
                raise RefusedError(f"the pump '{one.pump}' again", "each pump stands once", at=("pumps", k))
        if self.stagger_s is not None and len(self.pumps) < 2:
            raise RefusedError("", "stagger goes with several pumps", at=("stagger",))
        return self

    @property
    def in_one(self) -> Pumping | None:
        """Its pumps and how they follow each other; None where it runs none."""
        own = self.pumps if self.pump is None else (self.pump,)
        in_turn = getattr(self, "in_turn", False)
        return Pumping(own, round(self.stagger_s or 0.0), in_turn) if own else None

"""What is built: the tub, the legs, and the plant that joins them with its machines."""

from math import pi
from typing import Annotated, Literal

from pydantic import BeforeValidator, Discriminator, Field, Tag, model_validator

from cyclesim.scenario.blocks.air import Blower
from cyclesim.scenario.blocks.chains import Network
from cyclesim.scenario.blocks.data_sheets import CheckValve, Diverter, Equipment, Pump, Valve
from cyclesim.scenario.blocks.heat_sources import AnyHeatSource
from cyclesim.scenario.blocks.own_water import Circulator
from cyclesim.scenario.blocks.pump_room import PumpRoom, Suction
from cyclesim.scenario.blocks.treatment import Treatment
from cyclesim.scenario.blocks.trenches import Trench
from cyclesim.scenario.forms.fields import (
    DEEPEST_TUB_M,
    Area,
    AtHead,
    Bore,
    Flow,
    Insulation,
    Length,
    Name,
    Nozzle,
    Rise,
    Side,
    Spacing,
    TubDepth,
    TubVolume,
    Wall,
    YesNo,
    named,
    not_empty,
)
from cyclesim.scenario.forms.forms import (
    JUDGED_BY,
    Assumed,
    Count,
    Model,
    Quantity,
    RefusedError,
    Text,
    default,
)
from cyclesim.scenario.forms.pipes import DUE, Fittings, Pipe, PipeMaterial, read_pipe
from cyclesim.spreads import ANY_ZONE, AS_BUILT, Spread
from cyclesim.units import format_quantity


class Dimensions(Model):
    """The water's shape: a box or an upright cylinder."""

    length_m: Side | None = Field(None, alias="length", description="Inside length of the water.")
    width_m: Side | None = Field(None, alias="width", description="Inside width of the water.")
    diameter_m: Side | None = Field(None, alias="diameter", description="Inside diameter of a round tub.")
    depth_m: TubDepth = Field(
        alias="depth", description="Mean depth of the water, benches taken into account."
    )

    @model_validator(mode="after")
    def _one_shape(self) -> "Dimensions":
        if self.model_fields_set - {"depth_m"} not in ({"length_m", "width_m"}, {"diameter_m"}):
            raise RefusedError("", "expected either length, width and depth, or diameter and depth")
        return self

    @property
    def surface_m2(self) -> float:
        """Area of the water's surface."""
        if self.diameter_m is not None:
            return pi / 4 * self.diameter_m**2
        return (self.length_m or 0.0) * (self.width_m or 0.0)


class Cover(Model):
    """The insulating cover that lies on the water when nobody bathes."""

    foam_m: Wall = Field(alias="foam", description="Mean thickness of the foam.")
    fit: Literal["good", "fair", "poor"] = Field(
        description="How tightly it lies on the rim: good, fair or poor."
    )


class Shell(Model):
    """The tub's wall and floor and what is around them."""

    wall_m: Wall = Field(alias="wall", description="Thickness of the wall, e.g. 150 mm.")
    of: Literal["concrete", "brick", "timber", "acrylic", "steel"] = Field(
        description="What the wall is made of."
    )
    insulation_m: Insulation = Field(
        alias="insulation", description="Thickness outside the wall; 0 mm for none."
    )
    area_m2: Area = Field(alias="area", description="Area of wall and floor together.")
    zone: Name = Field(description="The zone on the other side, e.g. soil.")


def _cover_or_none(value: object) -> str:
    return "<none>" if isinstance(value, str) else "<cover>"


class Tub(Model):
    """The tub and its water."""

    water_m3: TubVolume | None = Field(
        None,
        alias="water",
        description="Volume of the water as warm as heating keeps it (else 38 degC), e.g. 1600 L or 420 gal.",
    )
    dimensions: Dimensions | None = Field(None, description="Or the water's length, width and depth.")
    stated_surface_m2: Area | None = Field(
        None, alias="surface", description="Area of the water's surface; needed where the volume is given."
    )
    cover: Annotated[
        Annotated[Literal["none"], Tag("<none>")] | Annotated[Cover, Tag("<cover>")],
        Discriminator(_cover_or_none),
    ] = Field(description="The cover's foam and fit, or none.")
    cover_zone: Name = default(
        "outdoors",
        spread=ANY_ZONE,
        source="common practice, no source",
        description="The zone above the cover; outdoors unless said.",
    )
    shell: Shell = Field(description="Wall, insulation and what is behind them.")
    level_switch: YesNo = default(
        False,
        spread=AS_BUILT,
        source="common practice, no source",
        description="true if a switch stops pumps and heat when the water is below the suction fittings.",
    )
    fill_water_c: Annotated[float, Quantity("temperature", ge=0, le=60)] | None = Field(
        None,
        alias="fill_water",
        description="Temperature of the water that tops it up; the year's mean air temperature unless said.",
    )

    @model_validator(mode="after")
    def _volume_known(self) -> "Tub":
        if (self.water_m3 is None) == (self.dimensions is None):
            raise RefusedError("", "expected either water: 1600 L or dimensions")
        if self.dimensions is None and self.stated_surface_m2 is None:
            raise RefusedError("", "expected surface: 3.1 m2 beside water, or give dimensions instead")
        if not 0.05 <= self.volume_m3 <= 200:
            raise RefusedError("", "a tub from 50 L to 200000 L is allowed", at=("dimensions",))
        if (deep_m := self.volume_m3 / self.surface_m2) > DEEPEST_TUB_M and self.water_m3 is not None:
            deep, most = format_quantity(deep_m, "length"), format_quantity(DEEPEST_TUB_M, "length")
            text = f"over this surface it is {deep} deep; at most {most} is allowed; is a unit wrong?"
            raise RefusedError("", text, at=("water",))
        return self

    @property
    def volume_m3(self) -> float:
        """Volume of the water."""
        if self.water_m3 is not None:
            return self.water_m3
        shape = self.dimensions
        return shape.surface_m2 * shape.depth_m if shape else 0.0

    @property
    def surface_m2(self) -> float:
        """Area of the water's surface."""
        if self.stated_surface_m2 is not None:
            return self.stated_surface_m2
        return self.dimensions.surface_m2 if self.dimensions else 0.0

    def assumed(self) -> list[Assumed]:
        """The fill water's temperature: mains lie in soil, which is as warm as the year's mean."""
        if self.fill_water_c is not None:
            return []
        text = "the year's mean air (mains lie in soil)"
        return [Assumed("fill_water", text, Spread(-3, 5, "K", off=True), "common practice, no source")]


class Manifold(Model):
    """Jets along a leg, evenly spaced; the last one sees the least flow."""

    jets: Annotated[int, Count(1, 60)] = Field(description="How many jets the leg feeds.")
    spacing_m: Spacing = Field(alias="spacing", description="Pipe between one jet and the next, e.g. 400 mm.")
    each: AtHead | None = Field(
        None, description="One jet by its data sheet: flow at a pressure, e.g. 38 L/min at 6 m."
    )
    nozzle_m: Nozzle | None = Field(None, alias="nozzle", description="Or one jet by the bore of its nozzle.")
    stated_needs_m3_s: Flow | None = Field(
        None, alias="needs", description="The flow below which a jet is too weak; 75 % of `each` unless said."
    )

    @model_validator(mode="after")
    def _one_jet(self) -> "Manifold":
        if (self.each is None) == (self.nozzle_m is None):
            raise RefusedError("", "expected either each: 38 L/min at 6 m or nozzle: 8 mm")
        return self

    @property
    def needs_flow_m3_s(self) -> float | None:
        """The flow that a jet needs; None where neither a rated flow nor a need is given."""
        if self.stated_needs_m3_s is not None or self.each is None:
            return self.stated_needs_m3_s
        return 0.75 * self.each.flow_m3_s

    def assumed(self) -> list[Assumed]:
        """The need, where only the rated flow is given."""
        if self.stated_needs_m3_s is not None or self.each is None:
            return []
        need = format_quantity(0.75 * self.each.flow_m3_s, "flow")
        text, spread = f"{need} (75 % of rated)", Spread(60, 90, "%")
        return [Assumed("needs", text, spread, "common practice, no source", not_varied=JUDGED_BY)]


class Leg(Model):
    """One run of pipe."""

    pipe: Annotated[Pipe, Text(read_pipe, DUE, examples=("63 PN10", "2 in Sch 40"))] | None = Field(
        None,
        description="Size and standard as printed on it: 63 PN10, 63 PN16 (PVC), 63 SDR11, 63 SDR17 (PE), "
        "2 in Sch 40, 2 in Sch 80 (PVC, or steel behind it); or 54 x 1.5 copper.",
    )
    stated_bore_m: Bore | None = Field(
        None, alias="bore", description="Or the inside diameter of a PVC pipe."
    )
    stated_outside_m: Bore | None = Field(
        None, alias="outside", description="Outside diameter beside a bore; 1.12 times the bore unless said."
    )
    length_m: Length = Field(alias="length", description="Length of the run, e.g. 9 m or 30 ft.")
    fittings: Fittings = Field(
        default_factory=dict, description="How many of each fitting, e.g. {elbow: 6, tee_branch: 1}."
    )
    zone: Name = Field(description="The zone it lies in, e.g. soil.")
    insulation_m: Insulation = default(
        0.0,
        alias="insulation",
        spread=Spread(0, 25, "mm"),
        source="common practice, no source",
        description="Thickness of its insulation; none unless said.",
    )
    manifold: Manifold | None = Field(
        None, description="The jets along its end; the leg is then followed by tub."
    )
    dead_end: YesNo = Field(False, description="true: a capped pipe full of water, in no network.")
    outlet_above_water_m: Rise = Field(
        0.0,
        alias="outlet_above_water",
        description="How far above the water it ends, e.g. a spout; 0 unless said.",
    )
    suction: Suction | None = Field(
        None, description="The fittings through which it draws from the tub: how many, how open."
    )

    @model_validator(mode="after")
    def _sized(self) -> "Leg":
        if (self.pipe is None) == (self.stated_bore_m is None):
            raise RefusedError("", "expected either pipe: 63 PN10 or bore: 57 mm")
        if self.pipe is not None and self.stated_outside_m is not None:
            raise RefusedError("", "outside goes with bore only; pipe already says it", at=("outside",))
        if self.outside_m <= self.bore_m:
            raise RefusedError("", "outside must be more than bore", at=("outside",))
        if self.length_m < self.bore_m / 4.0:
            bore = format_quantity(self.bore_m, "length")
            expected = f"a leg is at least a quarter as long as it is wide inside ({bore})"
            raise RefusedError("a length that is too small", expected, "did you mean m?", at=("length",))
        if self.manifold is not None and self.outlet_above_water_m:
            raise RefusedError(
                "", "jets lie under water; give a spout a leg of its own", at=("outlet_above_water",)
            )
        if self.dead_end and self.manifold is not None:
            raise RefusedError("", "a dead end is capped and feeds no jets", at=("manifold",))
        if self.suction is not None and self.dead_end:
            raise RefusedError("", "a dead end is capped and draws nothing", at=("suction",))
        return self

    @property
    def bore_m(self) -> float:
        """Inside diameter."""
        return self.pipe.bore_m if self.pipe else self.stated_bore_m or 0.0

    @property
    def of(self) -> PipeMaterial:
        """What it is made of; a bore alone is PVC."""
        return self.pipe.of if self.pipe else "PVC"

    @property
    def outside_m(self) -> float:
        """Outside diameter."""
        return self.pipe.outside_m if self.pipe else self.stated_outside_m or 1.12 * self.bore_m

    def assumed(self) -> list[Assumed]:
        """The outside diameter, where only a bore is given."""
        if self.pipe or self.stated_outside_m:
            return []
        text = f"{format_quantity(self.outside_m, 'length')} (1.12 x bore)"
        return [Assumed("outside", text, Spread(1.08, 1.17, times="bore"), "common practice, no source")]


def _one_blower(value: object) -> object:
    if isinstance(value, dict) and len(value) > 1:
        raise RefusedError("more than one blower", "one blower is simulated", at=(list(value)[1], "#key"))
    return value


class Plant(Model):
    """Everything that is built, and how it is joined."""

    tub: Tub = Field(description="The tub: water, cover, shell.")
    pump_room: PumpRoom | None = Field(
        None, description="The room of the machines: below ground or not, drained, dry, with room to work."
    )
    legs: Annotated[dict[str, Leg], named] = Field(description="Runs of pipe, by name.")
    trenches: Annotated[dict[str, Trench], named] = Field(
        default_factory=dict,
        description="Legs that lie side by side and warm each other's soil, by the trench's name; each alone "
        "in its soil unless said.",
    )
    pumps: Annotated[dict[str, Pump], named] = Field(description="Pumps, by name.")
    equipment: Annotated[dict[str, Equipment], named] = Field(
        default_factory=dict, description="Filters and strainers, by name."
    )
    heat_sources: Annotated[dict[str, AnyHeatSource], named] = Field(
        default_factory=dict, description="Heaters, by name."
    )
    air: Annotated[dict[str, Blower], named, BeforeValidator(_one_blower)] = Field(
        default_factory=dict, description="The blower with its air pipe, by name; one at most."
    )
    circulators: Annotated[dict[str, Circulator], named] = Field(
        default_factory=dict, description="Pumps that turn a heat source's own water, by name."
    )
    valves: Annotated[dict[str, Valve], named] = Field(
        default_factory=dict, description="Valves that a person or a motor moves, by name."
    )
    diverters: Annotated[dict[str, Diverter], named] = Field(
        default_factory=dict, description="Valves of several ways, by name."
    )
    treatment: Annotated[dict[str, Treatment], named] = Field(
        default_factory=dict, description="Dosing, ozone, UV lamps and salt cells, by name."
    )
    check_valves: Annotated[dict[str, CheckValve], named] = Field(
        default_factory=dict, description="Check valves that stand on their own, by name."
    )
    junctions: list[Name] = Field(default_factory=list, description="Names of tees where chains meet.")
    network: Annotated[Network, not_empty] = Field(
        description="How the water runs: lists in the direction of flow, {parallel: [...]} where it splits."
    )

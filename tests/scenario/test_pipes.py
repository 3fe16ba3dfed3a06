"""Pipe by its name: size, wall and material, and what the material does to water and heat."""

from math import log, log10, pi

import pytest

from cyclesim.decide.sizing.pump_sizing import next_wider
from cyclesim.decide.tuning.plumbing import next_narrower
from cyclesim.errors import InputError
from cyclesim.physics.friction import darcy_factor
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.forms.pipes import PIPES, read_pipe
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.simulation.assembly import Assembly


@pytest.mark.parametrize(
    ("text", "bore_mm", "outside_mm", "of"),
    [
        ("63 PN10", 57.0, 63.0, "PVC"),
        ("63 PN 10 PVC", 57.0, 63.0, "PVC"),
        ("2 in Sch 40 PVC", 52.50, 60.33, "PVC"),
        ("63 SDR11", 51.4, 63.0, "PE"),
        ("63 PE SDR 17", 55.4, 63.0, "PE"),
        ("d63 SDR11 PE", 51.4, 63.0, "PE"),
        ("2 in Sch 40 steel", 52.50, 60.33, "steel"),  # 2.067 in of ASME B36.10, from memory
        ('2" schedule 80 Steel', 49.25, 60.33, "steel"),  # 1.939 in
        ("54 x 1.5 copper", 51.0, 54.0, "copper"),  # EN 1057, from memory
        ("28x1 mm Copper", 26.0, 28.0, "copper"),
        ("60.3 x 3.6 steel", 53.1, 60.3, "steel"),
        ("63 × 3 PVC", 57.0, 63.0, "PVC"),
    ],
)  # fmt: skip
def test_a_pipe_names_or_implies_its_material(text: str, bore_mm: float, outside_mm: float, of: str) -> None:
    """Standards by their tables, others by outside and wall; in the spellings of drawings."""
    pipe = read_pipe(text)
    assert of == pipe.of
    assert pytest.approx((bore_mm, outside_mm), abs=0.01) == (1000 * pipe.bore_m, 1000 * pipe.outside_m)
    assert read_pipe(pipe.name) == pipe, "its own name is understood"


def test_walls_of_pe_are_the_diameter_over_its_ratio() -> None:
    """SDR is what it says, but for the rounding of the wall, upwards to a tenth of a millimetre."""
    for pipe in PIPES.values():
        if pipe.of == "PE":
            wall_mm = 500.0 * (pipe.outside_m - pipe.bore_m)
            ratio = float(pipe.standard.removeprefix("SDR"))
            assert -0.05 < wall_mm - 1000.0 * pipe.outside_m / ratio < 0.2, pipe.name


def test_the_next_size_is_of_the_same_standard_and_material() -> None:
    """What is told by its wall alone has none."""
    wider, narrower = next_wider(PIPES["63 SDR11"]), next_narrower(PIPES["2 in Sch 40 steel"])
    assert wider is not None
    assert narrower is not None
    assert ("75 SDR11", "1.5 in Sch 40 steel") == (wider.name, narrower.name)
    assert "1.5 in Sch 40" == next_narrower(PIPES["2 in Sch 40"]).name  # type: ignore[union-attr]
    for none in (
        next_wider(read_pipe("54 x 1.5 copper")),
        next_narrower(PIPES["20 SDR11"]),
        next_wider(None),
    ):
        assert none is None


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("54 x 1.5 coper", "expected PVC, PE, steel or copper; did you mean 'copper'?"),
        ("54 x 20 copper", "a wall of at most a quarter of it"),
        ("999 x 1.5 steel", "5 to 400 mm"),
        ("64 SDR11", "did you mean '63 SDR11'?"),
        ("2.2 in Sch 40 steel", "did you mean '2 in Sch 40 steel'?"),
        ("63 PN10 steel", "expected a pipe by size and standard"),
    ],
)
def test_what_is_no_pipe_is_said(text: str, said: str) -> None:
    """With what is allowed, and the nearest spelling."""
    with pytest.raises(InputError) as caught:
        starter(f"plant.legs.left_bench.pipe={text}")
    assert said in str(caught.value)


def starter(*sets: str) -> Scenario:
    """The starter with another pipe."""
    return load_text(starter_text(), "starter.yaml", sets=sets)


def test_the_wall_of_a_pipe_takes_its_heat_by_its_material() -> None:
    """C_wall / C_water: 6.7 % in 63 PN10 of PVC, 27 % in 2 in Sch 40 of steel.

    By density times heat capacity: 1390 kg/m3 and 900 J/(kg K), 7800 and 450 (EN ISO 10456, from memory); of
    water 4.15 MJ/(m3 K).
    """
    for pipe, wall_j_m3_k, share in (("63 PN10", 1390 * 900, 0.067), ("2 in Sch 40 steel", 7800 * 450, 0.27)):
        plant = Assembly(starter(f"plant.legs.suction_left.pipe={pipe}"))
        body, leg = next(b for b in plant.bodies if b.name == "suction_left"), read_pipe(pipe)
        wall = wall_j_m3_k * (leg.outside_m**2 - leg.bore_m**2) / (4.15e6 * leg.bore_m**2)
        assert pytest.approx(wall, rel=0.01) == body.capacity_j_k / (body.volume_m3 * plant.per_m3_k) - 1.0
        assert share == pytest.approx(wall, abs=0.005)


def test_what_a_pipe_loses_goes_through_its_own_wall() -> None:
    """Bare in air: 1 / (ln(D/d) / (2 pi k) + 1 / (pi D 10)); k 0.19, 0.50, 50 and 380 W/(m K)."""
    for pipe, k in (
        ("63 PN10", 0.19),
        ("63 SDR11", 0.50),
        ("2 in Sch 40 steel", 50.0),
        ("54 x 1.5 copper", 380.0),
    ):
        leg, at = read_pipe(pipe), "plant.legs.suction_left"
        plant = Assembly(starter(f"{at}.pipe={pipe}", f"{at}.zone=outdoors", f"{at}.insulation=0 mm"))
        body = next(b for b in plant.bodies if b.name == "suction_left")
        inside = log(leg.outside_m / leg.bore_m) / (2 * pi * k)
        assert pytest.approx(6.0 / (inside + 1.0 / (pi * leg.outside_m * 10.0)), rel=1e-6) == body.ua_w_k


def test_steel_is_rougher_than_what_is_drawn() -> None:
    """0.045 mm in 52.5 mm at Re 150,000: f = 0.0212 by Haaland's formula, and 0.0166 for a smooth pipe."""
    steel, smooth = (
        next(link for link in Assembly(starter(f"plant.legs.left_bench.pipe={pipe}")).links
             if link.name == "left_bench")
        for pipe in ("2 in Sch 40 steel", "2 in Sch 40")
    )  # fmt: skip
    for link in (steel, smooth):
        relative = link.roughness_m / link.bore_m  # type: ignore[union-attr]
        haaland = (-1.8 * log10((relative / 3.7) ** 1.11 + 6.9 / 150_000.0)) ** -2
        assert pytest.approx(haaland, rel=0.02) == darcy_factor(150_000.0, relative)
    assert 4.5e-5 == steel.roughness_m  # type: ignore[union-attr]
    flows = [Assembly(starter(f"plant.legs.left_bench.pipe={pipe}")).duty(("high",)).flow_m3_s("left_bench")
             for pipe in ("2 in Sch 40 steel", "2 in Sch 40")]  # fmt: skip
    assert flows[0] < flows[1]

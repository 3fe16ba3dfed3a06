"""Layers against handbook arithmetic, worked freezing times and a published ceiling on standby power."""

import math

import pytest

from cyclesim.physics import walls
from cyclesim.physics.heat import TwoNode, relax

SCH40_2IN = (0.0525, 0.0603)


def test_shell_loses_what_its_layers_in_series_say() -> None:
    """In steady state water loses U A dT, U = 1 / (film + wall + foam + Rse), as in ISO 6946."""
    heat = walls.shell(0.15, "concrete", 0.05, 7.5)
    resistance = 1 / 300 + 0.15 / 2.3 + 0.05 / 0.036 + 0.04
    node = TwoNode(6.6e6, heat.c_j_k, heat.g_w_k, 0.0, heat.ua_w_k)
    shell_c = node.steady_shell(38.0, heat.ua_w_k * 8.0)
    assert pytest.approx(7.5 / resistance * (38.0 - 8.0), rel=1e-12) == heat.g_w_k * (38.0 - shell_c)
    assert pytest.approx(7.5 / resistance * (38.0 - 8.0), rel=1e-12) == heat.ua_w_k * (shell_c - 8.0)


def test_a_concrete_shell_stores_a_good_quarter_of_the_heat() -> None:
    """150 mm of concrete on 7.5 m2 is 1.125 m3 of 2300 kg/m3 and 1000 J/(kg K): 28 % of shell and 1600 L."""
    c_j_k = walls.shell(0.15, "concrete", 0.05, 7.5).c_j_k
    assert pytest.approx(1.125 * 2300.0 * 1000.0, rel=1e-12) == c_j_k
    assert pytest.approx(0.28, abs=0.01) == c_j_k / (c_j_k + 1.6 * 4.15e6)


def test_soil_around_a_tub_is_near_the_shape_factor_of_a_cube() -> None:
    """A cube of side D in an endless medium has S = 8.24 D (Incropera table 4.1; from memory, not opened)."""
    side_m = 1.1
    area_m2 = 6.0 * side_m**2
    shape_m = area_m2 / (walls.soil_resistance_m2k_w(area_m2) * walls.SOIL_W_MK.value)
    assert pytest.approx(8.24 * side_m, rel=0.06) == shape_m


def test_soil_is_one_more_layer_outside_the_shell() -> None:
    """Buried, the shell loses through half the wall, the foam and the soil in series."""
    beyond = 0.075 / 2.3 + 0.05 / 0.036 + walls.soil_resistance_m2k_w(7.5)
    assert pytest.approx(7.5 / beyond, rel=1e-12) == walls.shell(0.15, "concrete", 0.05, 7.5, "soil").ua_w_k


@pytest.mark.parametrize(
    ("insulation_m", "resistance", "tau_h", "zero_from_5_h", "zero_from_38_h"),
    [(0.0, 0.6439, 1.626, 0.659, 2.551), (0.013, 1.9864, 5.017, 2.034, 7.869)],
)
def test_pipes_in_frost_cool_as_worked_by_hand(
    insulation_m: float, resistance: float, tau_h: float, zero_from_5_h: float, zero_from_38_h: float
) -> None:
    """2 in Sch 40 in air at -10 degC, bare and in 13 mm of foam: resistance, time constant, time to 0 degC.

    Lumped cases worked apart (k PVC 0.19, foam 0.038, film 10 W/(m2 K), 1000 kg/m3, 4200 J/(kg K), no wall
    capacity), the second one confirmed by integrating its differential equation.
    """
    ua_w_mk = walls.pipe_ua_per_m(*SCH40_2IN, insulation_m)
    assert pytest.approx(resistance, rel=1e-3) == 1.0 / ua_w_mk
    tau_s = 1000.0 * 4200.0 * math.pi / 4.0 * 0.0525**2 / ua_w_mk
    assert pytest.approx(tau_h, rel=0.01) == tau_s / 3600.0
    assert pytest.approx(0.0, abs=0.02) == relax(5.0, -10.0, zero_from_5_h * 3600.0, tau_s)
    assert pytest.approx(0.0, abs=0.02) == relax(38.0, -10.0, zero_from_38_h * 3600.0, tau_s)


@pytest.mark.parametrize(("air_c", "published_h", "rel"), [(-27.778, 1.4, 0.03), (-6.667, 4.6, 0.02)])
def test_handbook_pipe_reaches_freezing_when_the_table_says(
    air_c: float, published_h: float, rel: float
) -> None:
    """ASHRAE Fundamentals ch. 23 (seen second-hand): NPS 2, 1.5 in of foam, 42 F water: 1.4, 4.6 h."""
    per_m_j_k = 999.9 * 4205.0 * math.pi * (0.05250 / 2.0) ** 2
    tau_s = per_m_j_k * walls.ring_resistance_mk_w(0.06033, 0.13653, 0.04327)
    assert relax(5.556, air_c, published_h * (1.0 - rel) * 3600.0, tau_s) > 0.0
    assert relax(5.556, air_c, published_h * (1.0 + rel) * 3600.0, tau_s) < 0.0


def test_pvc_pipe_wall_stores_what_its_weight_says() -> None:
    """2 in Sch 40: about 0.97 kg/m and 0.87 kJ/(m K), a tenth of its water."""
    assert pytest.approx(870.0, rel=0.02) == walls.pipe_wall_c_per_m(*SCH40_2IN)


def test_a_deep_pipe_follows_the_logarithm_of_its_depth() -> None:
    """The handbook's form for z > 3 D / 2 is 2 pi k / ln(4 z / D) (Incropera table 4.1; from memory)."""
    bare_mk_w = walls.ring_resistance_mk_w(0.057, 0.063, 0.19)
    soil_mk_w = 1.0 / walls.pipe_ua_per_m(0.057, 0.063, depth_m=0.6) - bare_mk_w
    assert pytest.approx(math.log(4.0 * 0.6 / 0.063) / (2.0 * math.pi * 1.5), rel=0.002) == soil_mk_w


def test_insulation_and_depth_only_ever_help() -> None:
    """More foam on a pipe in soil, and more soil above it, never lose more."""
    by_foam = [walls.pipe_ua_per_m(0.057, 0.063, mm / 1000.0, depth_m=0.6) for mm in range(0, 60, 5)]
    by_depth = [walls.pipe_ua_per_m(0.057, 0.063, depth_m=z / 10.0) for z in range(1, 30)]
    assert by_foam == sorted(by_foam, reverse=True)
    assert by_depth == sorted(by_depth, reverse=True)


def standby_ua_limit_w_k(volume_m3: float) -> float:
    """Ceiling on a portable spa's standby power, 3.75 V^(2/3) + 40 W (US gal), over 37 F (20.56 K)."""
    return (3.75 * (volume_m3 / 3.785411784e-3) ** (2.0 / 3.0) + 40.0) / (37.0 / 1.8)


@pytest.mark.parametrize(
    ("litres", "limit_w_k"), [(800, 8.419), (1000, 9.457), (1500, 11.788), (2000, 13.869), (4000, 20.872)]
)
def test_a_well_built_tub_passes_the_standby_ceiling_and_a_bare_one_does_not(
    litres: int, limit_w_k: float
) -> None:
    """Acrylic in 75 mm of foam under a good 80 mm cover stays below, bare acrylic above, at every size.

    Ceiling: US state standby limit for portable spas (seen in the text of a state bill). It counts
    circulation too, so a tub that just met it would have to lose less than this.
    """
    volume_m3 = litres / 1000.0
    assert pytest.approx(limit_w_k, abs=1e-3) == standby_ua_limit_w_k(volume_m3)
    surface_m2 = volume_m3 / 0.7
    wetted_m2 = surface_m2 + 0.7 * 4.0 * math.sqrt(surface_m2)

    def loss_w_k(insulation_m: float) -> float:
        heat = walls.shell(0.005, "acrylic", insulation_m, wetted_m2, outside=8.0)
        through_shell = heat.g_w_k * heat.ua_w_k / (heat.g_w_k + heat.ua_w_k)
        return through_shell + walls.cover_ua(0.08, "good", surface_m2)

    assert limit_w_k / 4.0 < loss_w_k(0.075) < limit_w_k
    assert loss_w_k(0.0) > limit_w_k


def test_a_cover_is_as_good_as_its_foam_and_fit() -> None:
    """60 mm of foam between ISO 6946 films (0.10 and 0.04 m2 K/W), times its leaks; worse fit, more loss."""
    tight_w_k = 3.1 / (0.10 + 0.060 / 0.036 + 0.04)
    losses = [walls.cover_ua(0.060, fit, 3.1) for fit in ("good", "fair", "poor")]
    assert pytest.approx(1.2 * tight_w_k, rel=1e-12) == losses[0]
    assert losses == sorted(losses)


def test_a_housing_is_a_cylinder_twice_as_high_as_wide() -> None:
    """d = 200 mm, h = 400 mm: 12.566 L and 0.31416 m2 with both ends; 8 W/(m2 K)."""
    assert pytest.approx(8.0 * (math.pi * 0.2 * 0.4 + 2.0 * math.pi * 0.1**2), rel=1e-12) == walls.housing_ua(
        math.pi * 0.1**2 * 0.4
    )


def test_a_lagged_housing_is_a_thick_pipe_with_flat_ends() -> None:
    """The same in 25 mm of foam. Its side by the ring of the handbook's pipe (the ASHRAE table above).

    By hand: ln(250 / 200) / (2 pi 0.038) = 0.9346 and 1 / (pi 0.25 8) = 0.1592 m K/W over 400 mm, so
    0.4 / 1.0937 = 0.3657 W/K; two ends of 0.03142 m2 behind 0.025 / 0.038 + 1 / 8 = 0.7829 m2 K/W lose
    0.0803 W/K.
    """
    volume_m3 = math.pi * 0.1**2 * 0.4
    lagged_w_k = walls.housing_ua(volume_m3, 0.025)
    assert pytest.approx(0.3657 + 0.0803, rel=1e-3) == lagged_w_k
    ring_mk_w = walls.ring_resistance_mk_w(0.2, 0.25, 0.038)
    ends_w_k = 2.0 * math.pi * 0.1**2 / (0.025 / 0.038 + 1.0 / 8.0)
    assert pytest.approx(0.4 / (ring_mk_w + 1.0 / (math.pi * 0.25 * 8.0)) + ends_w_k, rel=1e-12) == lagged_w_k
    assert pytest.approx(walls.housing_ua(volume_m3), rel=1e-6) == walls.housing_ua(volume_m3, 1e-9)


@pytest.mark.parametrize("name", walls.MATERIALS)
def test_every_material_lies_within_its_spread_and_names_a_source(name: str) -> None:
    """A value outside its own spread, or from nowhere, would mislead whoever reads the defaults."""
    material = walls.MATERIALS[name]
    low, high = material.spread_w_mk
    assert low <= material.conductivity_w_mk <= high
    assert material.source


@pytest.mark.parametrize(
    ("name", "conductivity", "density", "capacity"),
    [
        ("concrete", 2.3, 2300.0, 1000.0),  # reinforced, 1 % of steel; the capacity from memory
        ("timber", 0.13, 500.0, 1600.0),
        ("acrylic", 0.18, 1180.0, 1500.0),
        ("steel", 17.0, 7900.0, 460.0),
        ("PVC", pytest.approx(0.17, rel=0.15), 1390.0, 900.0),  # pipe makers have 0.19
    ],
)
def test_materials_are_those_of_the_tables(
    name: str, conductivity: float, density: float, capacity: float
) -> None:
    """Values of EN ISO 10456:2007 and EN ISO 10077-2 as public web tables quote them (seen second-hand)."""
    ours = walls.MATERIALS[name]
    assert (conductivity, density, capacity) == (
        ours.conductivity_w_mk,
        ours.density_kg_m3,
        ours.heat_capacity_j_kgk,
    )


def test_bad_sizes_are_refused() -> None:
    """Unknown materials, walls without thickness, pipes inside out or above ground raise ValueError."""
    with pytest.raises(ValueError, match="there are concrete, brick"):
        walls.shell(0.1, "marble", 0.0, 5.0)
    with pytest.raises(ValueError, match="thickness"):
        walls.shell(0.0, "steel", 0.0, 5.0)
    with pytest.raises(ValueError, match="no pipe"):
        walls.pipe_ua_per_m(0.06, 0.05)
    with pytest.raises(ValueError, match="not buried"):
        walls.pipe_ua_per_m(0.05, 0.06, depth_m=0.02)

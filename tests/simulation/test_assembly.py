"""From the file to links, plugs, bodies and duties."""

import math

import pytest

from cyclesim.physics import friction
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.assumptions import assumptions
from cyclesim.simulation.jets import last_stretch, rated_jet, stretch_name

JETS = """
plant:{tub}
  legs:
    suction: {{pipe: 63 PN10, length: 6 m, zone: soil}}
    side: {{pipe: 63 PN10, length: 8 m, fittings: {{elbow: 3}}, zone: soil,
            manifold: {{jets: 3, spacing: 500 mm, each: 38 L/min at 6 m}}}}
    plain: {{bore: 40 mm, length: 5 m, zone: room}}
    spare: {{pipe: 50 PN10, length: 4 m, zone: room, dead_end: true}}
  pumps:
    main: {{max_head: 14 m, max_flow: 400 L/min, power: 900 W, check_valve: true}}
    helper: {{max_head: 6 m, max_flow: 200 L/min, power: 200 W, check_valve: true}}
  valves: {{diverter: {{drop: 0.1 m at 100 L/min, usual: open, may_be: [open, shut]}}}}
  junctions: [tee]
  network:
    - [tub, suction, {{parallel: [main, helper]}}, tee]
    - [tee, side, tub]
    - [tee, diverter, plain, tub]
"""
NOTHING = "schedule: {}\n"


@pytest.fixture
def plant(build, tub_block):
    """Two pumps in parallel behind one suction leg, a tee, a manifold, a valve and a capped spare."""
    return Assembly(build(JETS.format(tub=tub_block), NOTHING))


def test_a_manifold_becomes_its_stretches(plant):
    """Three jets 0.5 m apart: a run of 8 m, two stretches of 0.5 m; the last one is reported."""
    names = [link.name for link in plant.links if link.name.startswith("side")]
    assert ["side", "side jet 1", "side to jet 2", "side jet 2", "side to jet 3", "side jet 3"] == names
    volumes = {p.name: p.volume_m3 for p in plant.plugs}
    area = math.pi / 4 * 0.057**2
    assert pytest.approx(8 * area) == volumes["side"]
    assert pytest.approx(0.5 * area) == volumes[stretch_name("side", 3)]
    assert pytest.approx(9 * area) == plant.leg_volume_m3("side")
    assert plant.plugs[plant.reported[last_stretch("side")]].name == "side to jet 3"


def test_flow_is_conserved_and_the_last_jet_gets_least(plant):
    """What both pumps give is what both branches take; jets get less along the manifold."""
    duty = plant.duty(("on", "on"))
    main, helper = duty.flow_m3_s("main"), duty.flow_m3_s("helper")
    assert pytest.approx(main + helper, abs=1e-12) == duty.flow_m3_s("side") + duty.flow_m3_s("plain")
    jets = [duty.flow_m3_s(f"side jet {k}") for k in (1, 2, 3)]
    assert sorted(jets, reverse=True) == jets
    assert "main + helper" == duty.name


def test_an_idle_pump_behind_its_check_valve_passes_nothing(plant):
    """The helper stands while the main pump runs: exactly zero flow, and the spare never moves."""
    duty = plant.duty(("on", "stopped"))
    assert 0.0 == duty.flow_m3_s("helper")
    assert "spare" not in duty.reached_s


def test_every_combination_that_can_occur(plant):
    """Two pumps and one valve with two positions: three running combinations, each twice."""
    names = [duty.name for duty in plant.duties()]
    assert 6 == len(set(names)) == len(names)
    assert "main with diverter shut" in names
    shut = next(d for d in plant.duties() if d.name == "main with diverter shut")
    assert 0.0 == shut.flow_m3_s("plain")


def test_transit_time_is_volume_over_flow_along_the_way(plant):
    """Suction, pump body, run and stretches one after another, by hand from the volumes and the flows."""
    duty = plant.duty(("on", "stopped"))
    volumes = {p.name: p.volume_m3 for p in plant.plugs}
    way = ["suction", "main", "side", "side to jet 2", "side to jet 3"]
    by_hand = sum(volumes[n] / duty.flow_m3_s(n) for n in way)
    assert pytest.approx(by_hand) == duty.reached_s["side to jet 3"]


def test_a_jet_by_its_nozzle(build, tub_block):
    """Torricelli with a coefficient: an 8 mm nozzle passes 0.9 A sqrt(2 g h), by hand 26.9 L/min at 5 m."""
    text = JETS.format(tub=tub_block).replace("each: 38 L/min at 6 m", "nozzle: 8 mm")
    head, flow = rated_jet(Assembly(build(text, NOTHING)).sheet.legs["side"].manifold)
    assert pytest.approx(26.9, abs=0.05) == flow * 60_000 * math.sqrt(5.0 / head)


def test_a_speed_given_as_a_share_follows_the_affinity_laws(build, tub_block):
    """Half speed in a loop of friction alone, no static lift: about half the flow, a quarter of the head."""
    text = f"""
plant:{tub_block}
  legs: {{only: {{pipe: 63 PN10, length: 1 m, fittings: {{ball_valve: 100}}, zone: soil}}}}
  pumps:
    main: {{low: {{speed: 50 %}}, high: {{max_head: 16 m, max_flow: 600 L/min, power: 1500 W}}}}
  network: [[tub, only, main, tub]]
"""
    plant = Assembly(build(text, NOTHING))
    low, high = plant.duty(("low",)), plant.duty(("high",))
    assert pytest.approx(0.5, rel=0.02) == low.flow_m3_s("main") / high.flow_m3_s("main")
    assert pytest.approx(0.25, rel=0.04) == low.duty.pump_heads_m["main"] / high.duty.pump_heads_m["main"]


def test_both_wings_know_the_same_fittings(plant):
    """The fitting names a file may use are those that have a loss coefficient."""
    from typing import get_args

    from cyclesim.scenario.forms.pipes import FITTINGS

    assert set(friction.FITTINGS) == set(get_args(FITTINGS))
    assert plant.links


def test_assumptions_name_value_spread_and_source(plant):
    """Every number that nobody gave is listed once, with a spread and a source."""
    listed = assumptions(plant.scenario)
    assert len({one.path for one in listed}) == len(listed) > 6
    assert all(one.value_text and str(one.spread) and one.source for one in listed)
    assert any("soil" in one.path for one in listed)

"""A pump room's own heater and fan, by hand and by integrating the same room in small steps."""

from itertools import pairwise
from math import log

import numpy as np
import pytest

from cyclesim.analysis.most_carried import most_together
from cyclesim.analysis.outages import had_it_tripped
from cyclesim.analysis.result import simulate
from cyclesim.errors import InputError
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.room_thermostats import Load, switched_room_c

HOUR, DAY = 3600, 86_400
OTHERS = "supply.also_on_it={}"  # where the starter has its room_heater
ROOM = "place.zones.pump_room={follows: weather, loses: 20 W/K, stores: 400 kJ/K}"
HEATER = "plant.pump_room.heater={zone: pump_room, power: 800 W, starts_below: 4 degC, stops_above: 6 degC}"
FAN = (
    "plant.pump_room.fan="
    "{zone: pump_room, power: 30 W, starts_above: 25 degC, stops_below: 22 degC, loses: 60 W/K}"
)


def starter(*sets, air="-5 degC"):
    """The starter in a cold that does not change, its room one that can be worked out."""
    sets = (OTHERS, *sets)
    steady = f"{{mean: {air}, seasonal_swing: 0 K, daily_swing: 0 K, coldest_day: 20 January}}"
    return load_text(starter_text(), "starter.yaml", sets=[f"place.weather={steady}", ROOM, *sets])


def heater(power_w, unpowered=()):
    """A heater between 4 and 6 degC."""
    return Load("room_heater", 4.0, 6.0, power_w, 0.0, unpowered)


def fan(loses_w_k):
    """A fan between 30 and 25 degC."""
    return Load("room_fan", 30.0, 25.0, 0.0, loses_w_k, ())


def test_a_heater_cycles_as_its_room_does():
    """Tau 400 kJ/K / 20 W/K = 20,000 s; up from 4 to 6 degC towards 35, down towards -5.

    On 20,000 ln(31/29) = 1,334 s, off 20,000 ln(11/9) = 4,013 s; each ends with its second,
    and a second of heat more takes up to 29/11 s to lose.
    """
    load = heater(800.0)
    means = switched_room_c([-5.0] * 96, [0.0] * 96, 20.0, 400e3, 0, [load])
    spans = load.stream(96 * HOUR).spans("on")
    on_s, off_s = 20_000 * log(31 / 29), 20_000 * log(11 / 9)
    assert all(end - start == pytest.approx(on_s, abs=1.5) for start, end in spans[1:-1])
    gaps = [b[0] - a[1] for a, b in pairwise(spans)]
    assert all(gap == pytest.approx(off_s, abs=4.0) for gap in gaps)
    assert all(4.0 - 0.01 <= mean <= 6.01 for mean in means[3:])


def test_the_same_room_in_small_steps():
    """Air that swings and machines that warm it; forward steps of 1 s with the same thermostats, apart."""
    hours = np.arange(72)
    air, heat = -2 + 18 * np.sin(hours / 6.0), 150 + 400 * (hours % 8 == 0)
    loads = [heater(500.0, [(30 * HOUR, 34 * HOUR)]), fan(70.0)]
    loads[1].starts_c, loads[1].stops_c = 12.0, 9.0
    means = switched_room_c(air.tolist(), heat.tolist(), 25.0, 300e3, 0, loads)
    temp, on, seconds = air[0] + heat[0] / 25.0, [False, False], []
    since = [-1e9, -1e9]
    for at in range(72 * HOUR):
        dark = 30 * HOUR <= at < 34 * HOUR
        due = [temp >= 6.0 if on[0] else temp <= 4.0, temp <= 9.0 if on[1] else temp >= 12.0]
        for k in (0, 1):
            if k == 0 and dark:
                since[0], on[0] = (at, False) if on[0] else (since[0], False)
            elif due[k] and at >= since[k] + 60:
                on[k], since[k] = not on[k], at
        g = 25.0 + 70.0 * on[1]
        temp += (g * (air[at // HOUR] - temp) + heat[at // HOUR] + 500.0 * on[0]) / 300e3
        seconds.append(temp)
    stepped = np.array(seconds).reshape(72, HOUR).mean(axis=1)
    assert np.max(np.abs(stepped - means)) < 0.15
    assert not [s for s in loads[0].stream(72 * HOUR).spans("on") if s[0] < 34 * HOUR and s[1] > 30 * HOUR]


def test_a_room_with_a_heater_costs_what_it_loses():
    """Kept near 5 degC in -5: energy is what leaves the room less what else warms it."""
    result = simulate(starter(HEATER), days=4)
    ((name, told),) = result.metrics.pump_room.loads.items()
    assert "room_heater" == name
    kwh = result.metrics.energy.by_device["room_heater"].energy_kwh
    assert pytest.approx(0.8 * told.on_h) == kwh
    zones = result.trace.zones
    first = -zones.origin_s // HOUR
    room = np.array(zones.series["pump_room"][first : first + 96])
    assert 3.9 <= told.coldest_c <= told.warmest_c
    assert kwh <= 0.02 * float(np.sum(room + 5.0)) + 0.4, "machines and pipes give the rest"
    assert kwh > 0.0
    by_device = result.metrics.energy.by_device
    assert result.metrics.energy.energy_kwh == pytest.approx(sum(d.energy_kwh for d in by_device.values()))


def test_without_power_the_room_cools_as_it_can():
    """In a cut of 6 h, and in one of its circuit alone, the heater is off and the room falls hour by hour."""
    fed = (
        "supply={voltage: 230 V, tariff: 0.20 EUR/kWh, circuits: {plant: {breaker: 25 A, feeds: "
        "[main, element]}, room: {breaker: 6 A, feeds: [room_heater]}}}"
    )
    begin, off_s = DAY + 6 * HOUR, 6 * HOUR
    cuts = ("from: 2027-01-02 06:00, lasts: 6 h", "from: 2027-01-02 06:00, lasts: 6 h, circuit: room")
    for cut in cuts:
        sets = (fed, f"schedule.outages=[{{{cut}}}]", "schedule.frost_protection.starts_below=-20 degC")
        trace = simulate(starter(HEATER, *sets), days=3).trace
        on = trace.loads["room_heater"].spans("on")
        assert not [span for span in on if span[0] < begin + off_s and span[1] > begin]
        first = (begin - trace.zones.origin_s) // HOUR
        room = trace.zones.series["pump_room"][first : first + 12]
        assert min(room[1:6]) < 3.9
        assert max(room[6:]) > 4.0
        assert cut != cuts[0] or all(b < a for a, b in pairwise(room[1:6])), "nothing warms it then"


def test_a_trip_in_the_coldest_hour_takes_the_heater_with_it_or_not():
    """What stands in the room freezes where the heater hangs on the pump's circuit, and never where not."""
    apart = "water: {breaker: 20 A, feeds: [main, element]}, room: {breaker: 6 A, feeds: [room_heater]}"
    beside = "water: {breaker: 25 A, feeds: [main, room_heater]}, room: {breaker: 20 A, feeds: [element]}"
    hours = {}
    for name, circuits in (("apart", apart), ("beside", beside)):
        fed = f"supply={{voltage: 230 V, tariff: 0.20 EUR/kWh, circuits: {{{circuits}}}}}"
        result = simulate(starter(HEATER, fed), days=3)
        cut = had_it_tripped(result.plant, result.programme, result.trace, "water")
        assert "water" == cut.circuit
        hours[name] = cut.until_zero_h
    assert hours["apart"]["filter"] is None
    assert 0.0 < hours["beside"]["filter"] < 48.0
    assert hours["apart"]["left_bench"] == pytest.approx(hours["beside"]["left_bench"], rel=0.02), "in soil"


def test_a_fan_lets_the_heat_of_the_machines_out():
    """In 30 degC a pump and an element's housing warm the room; with the fan less, and its hours are told."""
    hot = starter(FAN, air="30 degC")
    with_fan, without = simulate(hot, days=3).metrics.pump_room, simulate(starter(air="30 degC"), days=3)
    told = with_fan.loads["room_fan"]
    assert told.on_h > 60.0
    zones = without.trace.zones
    assert told.warmest_c < max(zones.series["pump_room"][-zones.origin_s // HOUR :])


@pytest.mark.parametrize(
    ("sets", "path", "said"),
    [
        ([HEATER.replace("zone: pump_room", "zone: pomp_room")], "plant.pump_room.heater.zone", "pump_room"),
        (
            [HEATER.replace("zone: pump_room", "zone: soil")],
            "plant.pump_room.heater.zone",
            "without loses and stores",
        ),
        (
            [HEATER, ROOM.replace("loses", "never_below: 2 degC, loses")],
            "plant.pump_room.heater.zone",
            "either never_below of the zone, or a heater",
        ),
        (
            [HEATER.replace("6 degC", "4 degC")],
            "plant.pump_room.heater.stops_above",
            "more than starts_below",
        ),
        ([FAN.replace("22 degC", "26 degC")], "plant.pump_room.fan.stops_below", "less than starts_above"),
        ([HEATER, FAN.replace("22 degC", "5 degC")], "plant.pump_room.fan.stops_below", "against each other"),
        ([HEATER.replace("800 W", "0 W")], "plant.pump_room.heater.power", "more than 0"),
        ([HEATER.replace("power", "pwer")], "plant.pump_room.heater.pwer", "did you mean 'power'?"),
    ],
)
def test_a_heater_or_fan_that_cannot_be(sets, path, said):
    """At its key, with what is expected."""
    with pytest.raises(InputError) as refused:
        starter(*sets)
    assert any(fault.path == path and said in str(fault) for fault in refused.value.faults), str(
        refused.value
    )


def test_what_the_room_draws_hangs_on_a_circuit():
    """Under its own name; a circuit for all has it too, and a file that feeds it from none is told."""
    assert "room_heater" in starter(HEATER).circuits["supply"].feeds
    fed = "circuits: {all: {breaker: 25 A, feeds: [main, element]}}"
    none = f"supply={{voltage: 230 V, tariff: 0.2 EUR/kWh, {fed}}}"
    with pytest.raises(InputError, match="heater' on no circuit"):
        starter(HEATER, none)
    with pytest.raises(InputError, match="or give that another name"):
        starter(HEATER, "supply.also_on_it={room_heater: 500 W}")


@pytest.mark.parametrize(("air", "drawn"), [("-5 degC", "room_heater"), ("30 degC", "room_fan")])
def test_the_most_current_counts_what_was_on_in_that_second(air, drawn):
    """Second by second from streams and plates, apart: heater or fan only while its thermostat has it.

    By the plates 1.5 A low, 7.4 A high, 3 kW, 800 W and 30 W at 230 V.
    """
    result = simulate(starter(HEATER, FAN, air=air), days=2)
    trace, total = result.trace, np.zeros(2 * DAY)
    on_a = {("main", "low"): 1.5, ("main", "high"): 7.4, ("element", "firing"): 3000 / 230}
    on_a |= {("room_heater", "on"): 800 / 230, ("room_fan", "on"): 30 / 230}
    for (name, state), amps in on_a.items():
        for start, end in {**trace.pumps, **trace.sources, **trace.loads}[name].spans(state):
            total[start:end] += amps
    assert trace.loads[drawn].spans("on")
    assert result.metrics.energy.most_current_a == pytest.approx(total.max())


def test_heater_and_fan_are_summed_only_where_they_keep_two_zones():
    """Of 800 W and 30 W at 230 V the heater's 3.48 A; with the fan in a zone of its own 3.61 A.

    Each has a row, so that a cable to the fan alone is worked out too.
    """
    fed = "feeds: [room_heater, room_fan]}, water: {breaker: 25 A, feeds: [main, element]}"
    fed = f"supply={{voltage: 230 V, tariff: 0.20 EUR/kWh, circuits: {{room: {{breaker: 6 A, {fed}}}}}"
    loft = ROOM.replace("pump_room", "loft"), FAN.replace("zone: pump_room", "zone: loft")
    apart = Assembly(starter(fed, HEATER, FAN))
    assert [row.kept.drawn_a for row in most_together(apart, "room")] == pytest.approx([800 / 230, 30 / 230])
    both = Assembly(starter(fed, HEATER, *loft))
    assert [row.kept.drawn_a for row in most_together(both, "room")] == pytest.approx([830 / 230])

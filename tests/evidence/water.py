"""Parts: water, moist air and an open surface, beside IAPWS-IF97, psychrolib and published tables."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from cyclesim.physics import blowing, evaporation, water
from tests.evidence.record import MEMORY, SECOND_HAND, Check, computed, near

IF97 = "IAPWS-IF97 at 0.101325 MPa"
HYLAND = "Hyland and Wexler, as in ASHRAE Fundamentals"
TABLE = "printed table of ASHRAE Transactions 2014 vol. 120 part 2 (attribution inferred), 50 % humidity"


def _if97(name: str, temp_c: float, factor: float = 1.0) -> float:
    from iapws import IAPWS97

    return factor * float(getattr(IAPWS97(T=temp_c + 273.15, P=0.101325), name))


def _latent_j_kg(temp_c: float) -> float:
    from iapws import IAPWS97

    at = {x: IAPWS97(T=temp_c + 273.15, x=x).h for x in (0, 1)}
    return 1000.0 * float(at[1] - at[0])


def _psychrolib(name: str, *at: float) -> float:
    import psychrolib

    psychrolib.SetUnitSystem(psychrolib.SI)
    return float(getattr(psychrolib, name)(*at))


def _pressure_over(temp_c: float) -> float:
    return evaporation.saturation(temp_c)[0]


def _latent(temp_c: float) -> float:
    return evaporation.latent_heat(temp_c)[0]


def open_water_kg_h(water_c: float, air_c: float, humidity: float, wind_m_s: float, activity: float) -> float:
    """What cyclesim evaporates from a square metre in an hour."""
    loss = evaporation.open_surface(1.0, air_c, humidity, wind_m_s, air_c, water_c, activity=activity)
    return 3600.0 * loss.evaporated_kg_s


def still_air_kg_h(water_c: float, air_c: float, humidity: float) -> float:
    """The buoyancy form for an undisturbed surface in still air, kg/(m2 h), its moist air by psychrolib.

    E = 35 rho_w (rho_r - rho_w)^(1/3) (W_w - W_r): ASHRAE Transactions 2014 vol. 120 part 2, from memory.
    """
    import psychrolib

    psychrolib.SetUnitSystem(psychrolib.SI)
    at_water = psychrolib.GetHumRatioFromRelHum(water_c, 1.0, 101325.0)
    in_room = psychrolib.GetHumRatioFromRelHum(air_c, humidity, 101325.0)
    light = 1.0 / psychrolib.GetMoistAirVolume(water_c, at_water, 101325.0)
    dense = 1.0 / psychrolib.GetMoistAirVolume(air_c, in_room, 101325.0)
    return float(35.0 * light * (dense - light) ** (1.0 / 3.0) * (at_water - in_room))


def _liquid() -> Iterator[Check]:
    rows = (
        ("density", "kg/m3", "rho", 1.0, water.density_kg_m3, 0.0005),
        ("heat capacity", "J/(kg K)", "cp", 1000.0, water.heat_capacity_j_kg_k, 0.001),
        ("viscosity", "uPa s", "mu", 1e6, lambda t: 1e6 * water.viscosity_pa_s(t), 0.005),
    )
    for temp in (5, 10, 20, 38, 40):
        for what, unit, name, factor, ours, within in rows:
            theirs = partial(_if97, name, temp, factor)
            yield near(
                f"water-{what.replace(' ', '-')}-{temp}",
                "parts",
                f"{what} of water",
                f"{temp} degC",
                unit,
                theirs,
                partial(ours, temp),
                within,
                IF97,
                computed("iapws"),
            )
        yield near(
            f"latent-heat-{temp}",
            "parts",
            "heat of evaporation",
            f"{temp} degC",
            "J/kg",
            partial(_latent_j_kg, temp),
            partial(_latent, temp),
            0.001,
            "IAPWS-IF97",
            computed("iapws"),
        )
    yield near(
        "viscosity-r12-08",
        "parts",
        "viscosity of water",
        "298.15 K, 998 kg/m3",
        "uPa s",
        "889.735100",
        lambda: 1e6 * water.viscosity_pa_s(25.0),
        0.005,
        "IAPWS R12-08, verification point",
        MEMORY,
    )
    yield near(
        "psat-if97",
        "parts",
        "saturation pressure",
        "300 K",
        "kPa",
        "3.53658941",
        lambda: _pressure_over(26.85) / 1000.0,
        0.001,
        "IAPWS R7-97, verification point",
        MEMORY,
    )


def _moist_air() -> Iterator[Check]:
    for temp in (-20, -10, -5, 0, 5, 10, 15, 20, 25, 28, 30, 35, 38, 40, 45, 50):
        yield near(
            f"psat-{temp}",
            "parts",
            "saturation pressure",
            f"{temp} degC",
            "Pa",
            partial(_psychrolib, "GetSatVapPres", temp),
            partial(_pressure_over, temp),
            0.0005,
            HYLAND,
            computed("psychrolib"),
        )
    yield near(
        "dew-point",
        "parts",
        "dew point",
        "20 degC, 50 %",
        "degC",
        partial(_psychrolib, "GetTDewPointFromRelHum", 20.0, 0.5),
        lambda: evaporation.dew_point_c(0.5 * _pressure_over(20.0)),
        0.01,
        HYLAND,
        computed("psychrolib"),
        relative=False,
    )
    yield near(
        "dew-point-example",
        "parts",
        "dew point",
        "84 degF, 50 %",
        "degF",
        "64",
        lambda: 1.8 * evaporation.dew_point_c(0.5 * _pressure_over((84.0 - 32.0) / 1.8)) + 32.0,
        1.0,
        "ASHRAE HVAC Applications 2019 ch. 6, example",
        SECOND_HAND,
        relative=False,
    )
    yield near(
        "humidity-ratio",
        "parts",
        "vapour in dry air",
        "20 degC, 50 %",
        "kg/kg",
        partial(_psychrolib, "GetHumRatioFromRelHum", 20.0, 0.5, 101325.0),
        lambda: blowing.humidity_ratio(0.5 * _pressure_over(20.0)),
        0.0005,
        HYLAND,
        computed("psychrolib"),
    )


def _open_water() -> Iterator[Check]:
    for at, says in (
        ((38, 20, 0.5, 0.0, 1.0), "0.7259"),
        ((38, 20, 0.5, 0.1, 1.0), "0.7897"),
        ((38, 5, 0.8, 0.0, 1.0), "0.7886"),
        ((38, 5, 0.8, 1.0, 1.0), "1.4815"),
        ((28, 28, 0.5, 0.0, 1.0), "0.2489"),
        ((28, 28, 0.5, 0.0, 0.5), "0.1244"),
        ((10, 5, 0.8, 0.0, 1.0), "0.0686"),
    ):
        yield near(
            "ashrae-" + "-".join(f"{x:g}" for x in at),
            "parts",
            "evaporation, ASHRAE natatoriums",
            f"water {at[0]}, air {at[1]} degC, {at[2]:.0%}, {at[3]:g} m/s, activity {at[4]:g}".replace(
                "%", " %"
            ),
            "kg/(m2 h)",
            says,
            partial(open_water_kg_h, *at),
            0.002,
            "A (pw - pa)(0.089 + 0.0782 V)/Y, worked apart with CoolProp 8.0.0; coefficients from memory",
            MEMORY,
        )
    for water_c, air_c, humidity in ((38, 20, 0.5), (38, 5, 0.8)):
        yield near(
            f"still-air-{water_c}-{air_c}",
            "parts",
            "evaporation, quiet tub in still air",
            f"water {water_c}, air {air_c} degC, {humidity:.0%}".replace("%", " %"),
            "kg/(m2 h)",
            partial(still_air_kg_h, water_c, air_c, humidity),
            partial(open_water_kg_h, water_c, air_c, humidity, 0.0, evaporation.ACTIVITY.value),
            0.12,
            "buoyancy form, ASHRAE Transactions 2014 vol. 120 part 2, from memory; its air by psychrolib",
            MEMORY,
        )
    for water_c, air_c, says in (
        (28, 28, "0.1360"),
        (28, 29, "0.1171"),
        (28, 30, "0.0968"),
        (30, 28, "0.1959"),
        (30, 29, "0.1771"),
        (30, 30, "0.1575"),
    ):
        yield near(
            f"quiet-pool-{water_c}-{air_c}",
            "parts",
            "evaporation, quiet pool",
            f"water {water_c}, air {air_c} degC, 50 %, activity 0.5",
            "kg/(m2 h)",
            says,
            partial(open_water_kg_h, water_c, air_c, 0.5, 0.0, 0.5),
            0.35,
            TABLE,
            SECOND_HAND,
        )


def checks() -> Iterator[Check]:
    """Water, moist air, open water."""
    yield from _liquid()
    yield from _moist_air()
    yield from _open_water()

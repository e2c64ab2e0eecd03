"""The air in the section: temperature, pressure and humidity, and what had to be assumed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from airflow_jobs.calc import air, humidity
from airflow_jobs.findings import Found, found
from airflow_jobs.models import AirPath, Call, Traverse
from airflow_jobs.wording import in_kilopascals, in_metres

# What an ordinary thermometer, hygrometer and barometer leave open, as standard uncertainties:
# common practice, widened where a value had to be assumed.
DRY_BULB_U_C: Final = 0.5
HUMIDITY_U: Final = 0.03
BAROMETER_RELATIVE_U: Final = 0.001
# Weather moves the pressure about its mean by some 1 %; an unknown elevation by more.
ELEVATION_RELATIVE_U: Final = 0.01
SEA_LEVEL_RELATIVE_U: Final = 0.03
ASSUMED_HUMIDITY: Final = 0.5
# Uniform from 0 to 100 %: half-width over the square root of three.
ASSUMED_HUMIDITY_U: Final = 0.5 / 3**0.5
# A usual dry bulb by air path and its standard uncertainty, degC: common practice.
ASSUMED_DRY_BULB_C: Final[dict[tuple[str, str], tuple[float, float]]] = {
    (AirPath.RETURN, ""): (23.0, 3.0),
    (AirPath.SUPPLY, Call.COOLING): (13.0, 3.0),
    (AirPath.SUPPLY, Call.DEHUMIDIFY): (13.0, 3.0),
    (AirPath.SUPPLY, Call.HEATING): (45.0, 8.0),
    (AirPath.SUPPLY, ""): (21.0, 8.0),
    (AirPath.OUTDOOR, ""): (15.0, 10.0),
    (AirPath.EXHAUST, ""): (23.0, 3.0),
}
# A barometer within 2 % of sea level where the elevation says at least 3.5 % less (300 m).
REDUCED_FROM_M: Final = 300.0
REDUCED_WITHIN: Final = 0.02


@dataclass(frozen=True, slots=True)
class AirState:
    """The air in the section: values and their standard uncertainties."""

    dry_bulb_c: float
    dry_bulb_u_c: float
    relative_humidity: float
    relative_humidity_u: float
    pressure_pa: float
    pressure_relative_u: float


def air_of(
    traverse: Traverse, site_elevation_m: float | None, path: str, said: list[Found]
) -> AirState:
    """Resolve temperature, pressure and humidity, saying what was assumed."""
    if traverse.dry_bulb_c is not None:
        dry_bulb, dry_bulb_u = traverse.dry_bulb_c, DRY_BULB_U_C
    else:
        dry_bulb, dry_bulb_u = ASSUMED_DRY_BULB_C.get(
            (path, traverse.call), ASSUMED_DRY_BULB_C[path, ""]
        )
        # Air is never colder than its wet bulb or dew point, whatever is usual.
        dry_bulb = max(dry_bulb, traverse.wet_bulb_c or dry_bulb, traverse.dew_point_c or dry_bulb)
        said.append(found("dry_bulb_assumed", pointer="/conditions/dry_bulb"))
    pressure, pressure_u = _pressure(traverse, site_elevation_m, said)
    moisture, moisture_u = _humidity(traverse, dry_bulb, pressure, said)
    return AirState(dry_bulb, dry_bulb_u, moisture, moisture_u, pressure, pressure_u)


def _pressure(
    traverse: Traverse, site_elevation_m: float | None, said: list[Found]
) -> tuple[float, float]:
    """Barometer (station), else elevation sent, else the site's, else sea level; plus static."""
    elevation = traverse.elevation_m if traverse.elevation_m is not None else site_elevation_m
    if traverse.barometric_pressure_pa is not None:
        ambient, relative_u = traverse.barometric_pressure_pa, BAROMETER_RELATIVE_U
        if (
            elevation is not None
            and elevation >= REDUCED_FROM_M
            and abs(ambient / air.SEA_LEVEL_PRESSURE_PA - 1.0) < REDUCED_WITHIN
        ):
            expected = float(air.pressure_from_elevation_pa(elevation))
            said.append(
                found(
                    "barometer_reduced_to_sea_level",
                    f"The barometer was entered as {in_kilopascals(ambient)}, which is sea level; "
                    f"at {in_metres(elevation)} the air has about {in_kilopascals(expected)}.",
                    "/conditions/barometric_pressure",
                )
            )
    elif elevation is not None:
        ambient, relative_u = float(air.pressure_from_elevation_pa(elevation)), ELEVATION_RELATIVE_U
        said.append(found("pressure_from_elevation", pointer="/conditions/barometric_pressure"))
    else:
        ambient, relative_u = air.SEA_LEVEL_PRESSURE_PA, SEA_LEVEL_RELATIVE_U
        said.append(found("pressure_from_sea_level", pointer="/conditions/barometric_pressure"))
    return ambient + (traverse.duct_static_pa or 0.0), relative_u


def _humidity(
    traverse: Traverse, dry_bulb_c: float, pressure_pa: float, said: list[Found]
) -> tuple[float, float]:
    if traverse.relative_humidity is not None:
        return traverse.relative_humidity, HUMIDITY_U
    if traverse.wet_bulb_c is not None:
        vapour = humidity.vapour_pressure_from_wet_bulb_pa(
            wet_bulb_c=traverse.wet_bulb_c, dry_bulb_c=dry_bulb_c, pressure_pa=pressure_pa
        )
    elif traverse.dew_point_c is not None:
        vapour = humidity.vapour_pressure_from_dew_point_pa(
            dew_point_c=traverse.dew_point_c, dry_bulb_c=dry_bulb_c
        )
    else:
        said.append(found("humidity_assumed", pointer="/conditions/relative_humidity"))
        return ASSUMED_HUMIDITY, ASSUMED_HUMIDITY_U
    ratio = float(
        humidity.relative_humidity(dry_bulb_c=dry_bulb_c, vapour_pressure_pa=float(vapour))
    )
    return min(ratio, 1.0), HUMIDITY_U

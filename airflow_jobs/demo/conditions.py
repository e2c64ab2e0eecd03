"""Conditions: the air in a section as it is, and what of it somebody wrote down."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Final

from scipy.optimize import brentq

from airflow_jobs.calc import humidity
from airflow_jobs.calc.air import SEA_LEVEL_PRESSURE_PA, pressure_from_elevation_pa
from airflow_jobs.calc.instruments import AirState, air_state
from airflow_jobs.models import AirPath, Call
from airflow_jobs.units import BAROMETRIC_PRESSURE, ELEVATION, PRESSURE, RATIO, TEMPERATURE

from .places import FOOT_M, Place
from .seeded import Seeded
from .typed import Typed, read_off

INDOOR_HUMIDITY: Final = {"humid": (0.45, 0.58), "mixed": (0.35, 0.5), "dry": (0.22, 0.34)}
HIGHEST_RISE_K: Final = 52.0
"""Where a limit switch ends it."""
WETTEST_SUPPLY: Final = 0.95
NO_HUMIDITY, WET_BULB, DEW_POINT = 0.10, 0.06, 0.04
NO_DRY_BULB: Final = 0.015
BAROMETER, OWN_ELEVATION, STATIC = 0.55, 0.08, 0.25
LEAST_DEPRESSION_C: Final = 0.2
THERMOMETER_SD_C, HYGROMETER_SD, BAROMETER_SD_PA = 0.2, 0.015, 40.0


@dataclass(frozen=True)
class Air:
    """The air in a section while it is measured."""

    dry_bulb_c: float
    relative_humidity: float
    station_pressure_pa: float
    duct_static_pa: float

    @property
    def state(self) -> AirState:
        """What instruments feel."""
        return air_state(
            dry_bulb_c=self.dry_bulb_c,
            pressure_pa=self.station_pressure_pa + self.duct_static_pa,
            vapour_pressure_pa=self.vapour_pressure_pa,
        )

    @property
    def vapour_pressure_pa(self) -> float:
        """Vapour pressure, Pa."""
        return float(
            humidity.vapour_pressure_from_relative_humidity_pa(
                relative_humidity=self.relative_humidity, dry_bulb_c=self.dry_bulb_c
            )
        )

    @property
    def density_kg_m3(self) -> float:
        """Density, kg/m3."""
        return float(self.state.density_kg_m3)


@dataclass(frozen=True)
class Weather:
    """A day at a place: outdoors, indoors, and the barometer."""

    outdoor_c: float
    indoor_c: float
    indoor_humidity: float
    station_pressure_pa: float

    @classmethod
    def of(cls, seeded: Seeded, place: Place, day: datetime.date) -> Weather:
        """Return a believable day."""
        outdoor = place.outdoor_c(seeded, day)
        return cls(
            outdoor_c=outdoor,
            indoor_c=seeded.uniform(20.5, 22.5) + (1.5 if outdoor > 20.0 else 0.0),
            indoor_humidity=seeded.uniform(*INDOOR_HUMIDITY[place.climate]),
            station_pressure_pa=place.station_pressure_pa(seeded),
        )

    @property
    def indoor_density_kg_m3(self) -> float:
        """Density of the air in the rooms, which is what blowers move, kg/m3."""
        indoor = Air(self.indoor_c, self.indoor_humidity, self.station_pressure_pa, 0.0)
        return indoor.density_kg_m3

    def air_in(self, seeded: Seeded, path: str, call: str, rise_k: float | None) -> Air:
        """Return the air in a section, for the air path and the call.

        `rise_k` is what the heat adds to the temperature; None where nothing heats.
        """
        sign = 1.0 if path == AirPath.SUPPLY else -1.0
        static = sign * seeded.uniform(15.0, 70.0)
        if path == AirPath.OUTDOOR:
            return Air(self.outdoor_c, seeded.uniform(0.4, 0.85), self.station_pressure_pa, static)
        indoor = Air(self.indoor_c, self.indoor_humidity, self.station_pressure_pa, static)
        if path != AirPath.SUPPLY or call == Call.FAN_ONLY:
            return indoor
        vapour_pa = indoor.vapour_pressure_pa
        if rise_k is not None:
            dry_bulb = self.indoor_c + min(rise_k, HIGHEST_RISE_K)
        else:
            dry_bulb = seeded.uniform(11.5, 14.5)
            vapour_pa = min(
                vapour_pa, WETTEST_SUPPLY * float(humidity.saturation_pressure_pa(dry_bulb))
            )
        moisture = humidity.relative_humidity(vapour_pressure_pa=vapour_pa, dry_bulb_c=dry_bulb)
        return Air(dry_bulb, float(moisture), self.station_pressure_pa, static)


def written_down(
    seeded: Seeded, air: Air, place: Place, *, in_si: bool, reduces_barometer: bool
) -> dict[str, Typed]:
    """Return the conditions as entered: read off scales, some left out.

    Parameters
    ----------
    seeded
        Where chance comes from.
    air
        The air as it is.
    place
        The site.
    in_si
        Whether whoever writes uses SI units.
    reduces_barometer
        Whether the barometer comes from a weather report, reduced to sea level.
    """
    temperature_unit = "degC" if in_si else "degF"
    noted: dict[str, Typed] = {}
    dry_bulb_c = air.dry_bulb_c + seeded.normal(0.0, THERMOMETER_SD_C)
    # The same thermometer reads all of them, so that none comes out above the dry bulb.
    coolest_c = dry_bulb_c - LEAST_DEPRESSION_C
    if not seeded.chance(NO_DRY_BULB):
        noted["dry_bulb"] = read_off(dry_bulb_c, temperature_unit, TEMPERATURE, 0.1)
    moisture = min(max(air.relative_humidity + seeded.normal(0.0, HYGROMETER_SD), 0.02), 0.99)
    how = seeded.generator.random()
    if how < WET_BULB:
        noted["wet_bulb"] = read_off(
            min(_wet_bulb_c(air), coolest_c), temperature_unit, TEMPERATURE, 0.1
        )
    elif how < WET_BULB + DEW_POINT:
        noted["dew_point"] = read_off(
            min(_dew_point_c(air), coolest_c), temperature_unit, TEMPERATURE, 0.1
        )
    elif how < 1.0 - NO_HUMIDITY:
        noted["relative_humidity"] = read_off(moisture, "%", RATIO, 1.0)
    noted |= _pressure(seeded, air, place, in_si=in_si, reduces_barometer=reduces_barometer)
    if seeded.chance(STATIC):
        unit, step = ("Pa", 1.0) if in_si else ("inH2O", 0.01)
        noted["duct_static"] = read_off(air.duct_static_pa, unit, PRESSURE, step)
    return noted


def _pressure(
    seeded: Seeded, air: Air, place: Place, *, in_si: bool, reduces_barometer: bool
) -> dict[str, Typed]:
    unit, step = ("hPa", 0.1) if in_si else ("inHg", 0.01)
    read = air.station_pressure_pa + seeded.normal(0.0, BAROMETER_SD_PA)
    if reduces_barometer:
        read *= SEA_LEVEL_PRESSURE_PA / float(pressure_from_elevation_pa(place.elevation_m))
    if reduces_barometer or seeded.chance(BAROMETER):
        return {"barometric_pressure": read_off(read, unit, BAROMETRIC_PRESSURE, step)}
    if seeded.chance(OWN_ELEVATION):
        feet = round(place.elevation_m / FOOT_M / 50.0) * 50
        return {"elevation": Typed(feet, "ft", ELEVATION)}
    return {}


def _wet_bulb_c(air: Air) -> float:
    pressure = air.station_pressure_pa + air.duct_static_pa

    def missing_pa(wet_bulb_c: float) -> float:
        try:
            reached = humidity.vapour_pressure_from_wet_bulb_pa(
                wet_bulb_c=wet_bulb_c, dry_bulb_c=air.dry_bulb_c, pressure_pa=pressure
            )
        except ValueError:
            # Drier than dry air: further from the answer than any wet bulb above.
            return air.vapour_pressure_pa
        return air.vapour_pressure_pa - float(reached)

    return float(brentq(missing_pa, -40.0, air.dry_bulb_c, xtol=1e-4))


def _dew_point_c(air: Air) -> float:
    vapour = air.vapour_pressure_pa
    return float(
        brentq(lambda t: float(humidity.saturation_pressure_pa(t)) - vapour, -60.0, air.dry_bulb_c)
    )

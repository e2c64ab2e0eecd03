"""Places: customers and their sites along an invented coast, its hills and its mountains."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from airflow_jobs.calc.air import (
    SEA_LEVEL_PRESSURE_PA,
    STANDARD_AIR_DENSITY_KG_M3,
    pressure_from_elevation_pa,
)
from airflow_jobs.models import Customer, Site
from airflow_jobs.units import ELEVATION

from . import names
from .seeded import Seeded
from .typed import Typed, columns, on_scale

SITES: Final = 60
HOUSES: Final = 18
FOOT_M: Final = 0.3048

# Mean and half-swing over the year of the outdoor temperature at sea level, degC, by climate.
OUTDOOR_C: Final = {"humid": (16.0, 7.0), "mixed": (15.0, 10.0), "dry": (17.0, 12.0)}
LAPSE_C_PER_M: Final = 0.0065
"""Standard atmosphere."""
WARMEST_DAY: Final = 205


@dataclass(frozen=True)
class Place:
    """A site with its weather."""

    row: Site
    town: str
    is_residence: bool
    least_systems: int
    most_systems: int
    joined_on: datetime.date

    @property
    def zone(self) -> ZoneInfo:
        """Time zone of the site."""
        return ZoneInfo(self.row.time_zone)

    @property
    def elevation_m(self) -> float:
        """Elevation, m."""
        assert self.row.elevation_m is not None
        return self.row.elevation_m

    @property
    def climate(self) -> str:
        """Climate of the site."""
        assert self.row.climate is not None
        return self.row.climate

    @property
    def usual_density_kg_m3(self) -> float:
        """Density of indoor air in ordinary weather, kg/m3."""
        relative = float(pressure_from_elevation_pa(self.elevation_m)) / SEA_LEVEL_PRESSURE_PA
        return STANDARD_AIR_DENSITY_KG_M3 * relative

    def outdoor_c(self, seeded: Seeded, day: datetime.date) -> float:
        """Return a believable outdoor temperature of a working day, degC."""
        mean, swing = OUTDOOR_C[self.climate]
        season = np.cos(2.0 * np.pi * (day.timetuple().tm_yday - WARMEST_DAY) / 365.25)
        return float(
            mean + swing * season - LAPSE_C_PER_M * self.elevation_m + seeded.normal(2.0, 2.5)
        )

    def station_pressure_pa(self, seeded: Seeded) -> float:
        """Return a station pressure, Pa: the elevation's, moved by the weather."""
        return float(pressure_from_elevation_pa(self.elevation_m)) * (1.0 + seeded.normal(0, 0.006))


def settle(
    seeded: Seeded, start: datetime.datetime, today: datetime.date
) -> tuple[list[Customer], list[Place]]:
    """Return the customers and sites of the company.

    Parameters
    ----------
    seeded
        Where chance comes from.
    start
        When the record begins.
    today
        Its last day; some sites joined in between.

    Returns
    -------
    (customers, places), 60 sites, two of them above 1,500 m.
    """
    customers: dict[str, Customer] = {}
    places: list[Place] = []
    families = seeded.shuffled(names.FAMILY_NAMES)
    buildings = [
        (town, building)
        for town in names.TOWNS
        for building in names.BUILDINGS
        if town[1] < names.SHORE_BELOW_M or building[0] not in names.ON_THE_SHORE
    ]
    chosen = [(names.HIGH_TOWNS[0], names.BUILDINGS[1]), (names.HIGH_TOWNS[1], names.BUILDINGS[4])]
    chosen += seeded.shuffled(buildings)[: SITES - HOUSES - len(chosen)]
    days = (today - start.date()).days
    for index in range(SITES):
        joined = start
        if index >= 4 and seeded.chance(0.2):
            joined = start + datetime.timedelta(days=round(days * seeded.uniform(0.15, 0.6)))
        if index < len(chosen):
            town, (building, customer_name, least, most) = chosen[index]
            site_name = f"{town[0]} {building}"
            customer_name = customer_name.format(town=town[0])
        else:
            town = seeded.pick(names.TOWNS)
            family = families.pop()
            site_name = f"{family} {seeded.pick(names.RESIDENCES)}, {town[0]}"
            customer_name = f"{family} household"
            least, most = 1, 2
        if customer_name not in customers:
            customers[customer_name] = Customer(
                id=seeded.new_id(joined),
                name=customer_name,
                contact=f"{seeded.pick(names.GIVEN_NAMES)} at the front desk",
                created_at=joined,
                updated_at=joined,
            )
        address = f"{seeded.whole(1, 180)} {seeded.pick(names.STREETS)}, {town[0]}"
        places.append(
            Place(
                row=_site(seeded, joined, site_name, customers[customer_name], town, address),
                town=town[0],
                is_residence=index >= len(chosen),
                least_systems=least,
                most_systems=most,
                joined_on=joined.date(),
            )
        )
    return list(customers.values()), places


def _site(
    seeded: Seeded,
    joined: datetime.datetime,
    name: str,
    customer: Customer,
    town: tuple[str, float, str, str],
    address: str,
) -> Site:
    _, town_elevation_m, climate, time_zone = town
    elevation_m = town_elevation_m + seeded.uniform(0.0, 0.06 * town_elevation_m + 4.0)
    typed = (
        Typed(on_scale(elevation_m, 1.0), "m", ELEVATION)
        if seeded.chance(0.2)
        else Typed(on_scale(elevation_m / FOOT_M, 10.0), "ft", ELEVATION)
    )
    return Site(
        id=seeded.new_id(joined),
        name=name,
        customer=customer,
        address=address,
        time_zone=time_zone,
        climate=climate,
        created_at=joined,
        updated_at=joined,
        **columns(elevation_m=typed),
    )

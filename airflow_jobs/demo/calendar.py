"""The calendar: which crew went where on which day, why, and with which meter."""

from __future__ import annotations

import datetime
from collections.abc import Collection
from dataclasses import dataclass
from typing import Final

from airflow_jobs.models import EquipmentKind, Purpose, Shows

from .meters import HIGH_READING, Meter
from .names import CREWS
from .places import Place
from .seeded import Seeded
from .stories import SMALL_CREW, TROUBLE_CREW
from .systems import System

DAYS_BETWEEN: Final = (142.0, 18.0)
DAYS_BETWEEN_IN_HOUSES: Final = (168.0, 20.0)
SYSTEMS_A_DAY: Final = 5
MEASURED_SHARE: Final = 0.88
FAULTS_A_YEAR: Final = 72
TROUBLE_CREWS_SHARE: Final = 0.72
VERIFICATIONS_A_YEAR: Final = 9
HOME_CREW_SHARE: Final = 0.6
PITOT_ABOVE_M_S: Final = 4.2
"""Where a pitot tube has enough pressure to read, some 830 ft/min."""
QUARTER_DAYS: Final = 91
UNCLEAR_BELOW_M: Final = 300.0
"""Nobody takes a meter into the hills of which it isn't known what it shows."""


@dataclass(frozen=True)
class Outing:
    """One crew at one site on one day."""

    place: Place
    crew_name: str
    day: datetime.date
    purpose: str
    systems: tuple[System, ...]


class Kit:
    """Which meters each crew carries: they change hands every quarter.

    So a meter can be told from its crew. Pitot tubes go to half of the crews at a time, besides
    their other meter.
    """

    def __init__(self, seeded: Seeded, meters: list[Meter], begins_on: datetime.date) -> None:
        self._seeded = seeded
        self._begins_on = begins_on
        self._plain = [meter for meter in meters if meter.row.principle != "pitot"]
        self._pitots = [meter for meter in meters if meter.row.principle == "pitot"]
        self._quarters: dict[int, tuple[list[Meter], list[Meter]]] = {}
        self._crews = [name for name, _ in CREWS]

    def meter_for(
        self, crew_name: str, day: datetime.date, velocity_m_s: float, elevation_m: float
    ) -> Meter:
        """Return what a crew takes out of the bag on a day, for air of some speed, at a height."""
        plain, pitots = self._quarter(day)
        index = self._crews.index(crew_name)
        if (
            velocity_m_s > PITOT_ABOVE_M_S
            and index % 2 == self._number(day) % 2
            and self._seeded.chance(0.7)
        ):
            return pitots[index // 2]
        is_high = elevation_m > UNCLEAR_BELOW_M
        if is_high and plain[index].make.shows == Shows.UNKNOWN:
            return plain[index - 1]
        return plain[index]

    def another(self, meter: Meter, velocity_m_s: float) -> Meter:
        """Return a second meter for a paired check, one that is known well."""
        plain = [other for other in self._plain if other.make.shows != Shows.UNKNOWN]
        choices = plain + (self._pitots if velocity_m_s > PITOT_ABOVE_M_S else [])
        others = [other for other in choices if other is not meter]
        weights = [2.5 if other.make.label == HIGH_READING else 1.0 for other in others]
        return self._seeded.pick(others, weights)

    def _number(self, day: datetime.date) -> int:
        return (day - self._begins_on).days // QUARTER_DAYS

    def _quarter(self, day: datetime.date) -> tuple[list[Meter], list[Meter]]:
        number = self._number(day)
        if number not in self._quarters:
            self._quarters[number] = (
                self._seeded.shuffled(self._plain),
                self._seeded.shuffled(self._pitots),
            )
        return self._quarters[number]


class Diary:
    """Who is out on which day; a crew does one site a day, and no weekends."""

    def __init__(self, last_day: datetime.date) -> None:
        self._last_day = last_day
        self._taken: set[tuple[str, datetime.date]] = set()

    def book(self, crew_name: str, day: datetime.date) -> datetime.date | None:
        """Return the first free working day from a day on, None where the record ends first."""
        while day.weekday() >= 5 or (crew_name, day) in self._taken:
            day += datetime.timedelta(days=1)
        if day > self._last_day:
            return None
        self._taken.add((crew_name, day))
        return day


def plan_outings(
    seeded: Seeded,
    places: list[Place],
    systems: list[System],
    quiet: Collection[System],
    begins_on: datetime.date,
    today: datetime.date,
) -> list[Outing]:
    """Return all outings of the record, in order of time.

    Parameters
    ----------
    seeded
        Where chance comes from.
    places, systems
        What there is.
    quiet
        Systems that follow a course of their own: measured at each visit, never a fault.
    begins_on, today
        First and last day of the record; nothing happens on its last two.
    """
    # Evening work of the day before may lie in today by UTC, and so in the future.
    diary = Diary(today - datetime.timedelta(days=2))
    at_place: dict[str, list[System]] = {}
    for system in systems:
        at_place.setdefault(system.place.row.name, []).append(system)
    outings: list[Outing] = []
    homes = _home_crews(seeded, len(places))
    for place, home in zip(places, homes, strict=True):
        outings += _regular(
            seeded, place, at_place[place.row.name], home, quiet, diary, begins_on, today
        )
    troublesome = [system for system in systems if system not in quiet]
    outings += _faults(seeded, troublesome, diary, begins_on, today)
    outings += _verifications(seeded, troublesome, diary, begins_on, today)
    return sorted(outings, key=lambda outing: (outing.day, outing.crew_name))


def _regular(
    seeded: Seeded,
    place: Place,
    systems: list[System],
    home: str,
    quiet: Collection[System],
    diary: Diary,
    begins_on: datetime.date,
    today: datetime.date,
) -> list[Outing]:
    mean, sd = DAYS_BETWEEN_IN_HOUSES if place.is_residence else DAYS_BETWEEN
    joined_later = place.joined_on > begins_on
    day = place.joined_on + datetime.timedelta(
        days=seeded.whole(2, 20) if joined_later else seeded.whole(1, round(mean))
    )
    purpose = Purpose.COMMISSIONING if joined_later else Purpose.MAINTENANCE
    outings = []
    while day < today:
        crew_name = home if seeded.chance(HOME_CREW_SHARE) else _crew(seeded)
        booked = diary.book(crew_name, day)
        measured = [
            system for system in systems if system in quiet or seeded.chance(MEASURED_SHARE)
        ][:SYSTEMS_A_DAY]
        if booked is not None and measured:
            outings.append(Outing(place, crew_name, booked, purpose, tuple(measured)))
        purpose = Purpose.MAINTENANCE
        day += datetime.timedelta(days=round(max(seeded.normal(mean, sd), 90.0)))
    return outings


def _faults(
    seeded: Seeded,
    systems: list[System],
    diary: Diary,
    begins_on: datetime.date,
    today: datetime.date,
) -> list[Outing]:
    days = (today - begins_on).days
    weights = [
        system.badness**4 * (0.3 if system.kind == EquipmentKind.VENTILATION else 1.0)
        for system in systems
    ]
    outings = []
    for _ in range(round(FAULTS_A_YEAR * days / 365.25)):
        system = seeded.pick(systems, weights)
        crew_name = TROUBLE_CREW if seeded.chance(TROUBLE_CREWS_SHARE) else _crew(seeded)
        day = begins_on + datetime.timedelta(days=seeded.whole(5, days - 3))
        booked = diary.book(crew_name, max(day, system.place.joined_on))
        if booked is not None:
            outings.append(Outing(system.place, crew_name, booked, Purpose.FAULT, (system,)))
    return outings


def _verifications(
    seeded: Seeded,
    systems: list[System],
    diary: Diary,
    begins_on: datetime.date,
    today: datetime.date,
) -> list[Outing]:
    days = (today - begins_on).days
    outings = []
    for _ in range(round(VERIFICATIONS_A_YEAR * days / 365.25)):
        system = seeded.pick(systems)
        crew_name = _crew(seeded)
        day = begins_on + datetime.timedelta(days=seeded.whole(60, days - 3))
        booked = diary.book(crew_name, max(day, system.place.joined_on))
        if booked is not None:
            outings.append(Outing(system.place, crew_name, booked, Purpose.VERIFICATION, (system,)))
    return outings


def _home_crews(seeded: Seeded, count: int) -> list[str]:
    """Return which crew each site usually sees: shared out evenly, the small one half as often."""
    names = [name for name, _ in CREWS if name not in (TROUBLE_CREW, SMALL_CREW)]
    round_of_sites = [*names, *names, SMALL_CREW]
    return seeded.shuffled((round_of_sites * (count // len(round_of_sites) + 1))[:count])


def _crew(seeded: Seeded) -> str:
    """Return a crew for ordinary work; the small one does less."""
    names = [name for name, _ in CREWS if name != TROUBLE_CREW]
    return seeded.pick(names, [0.5 if name == SMALL_CREW else 1.0 for name in names])

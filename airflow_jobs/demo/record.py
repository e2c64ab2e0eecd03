"""The record of the invented company: rows ready to store, and the truth behind them."""

from __future__ import annotations

from dataclasses import dataclass, field

from airflow_jobs.models import (
    Adjustment,
    BlowerTable,
    Calibration,
    Company,
    Crew,
    CrewMembership,
    Customer,
    DuctSection,
    Equipment,
    FlowReading,
    FlowSet,
    FlowSetMember,
    Instrument,
    Person,
    PressureReading,
    Site,
    Target,
    TemperatureRise,
    Visit,
)

from .ducts import Duct
from .jobs import Job
from .meters import Meter
from .places import Place
from .stories import Course
from .systems import System
from .traverses import Taken


@dataclass(frozen=True)
class Correction:
    """A traverse that somebody corrected afterwards: what came later, and why."""

    taken: Taken
    reason: str


@dataclass(repr=False)
class Invented:
    """Everything invented, unsaved."""

    company: Company
    customers: list[Customer] = field(default_factory=list)
    sites: list[Site] = field(default_factory=list)
    people: list[Person] = field(default_factory=list)
    crews: list[Crew] = field(default_factory=list)
    memberships: list[CrewMembership] = field(default_factory=list)
    instruments: list[Instrument] = field(default_factory=list)
    calibrations: list[Calibration] = field(default_factory=list)
    equipment: list[Equipment] = field(default_factory=list)
    targets: list[Target] = field(default_factory=list)
    blower_tables: list[BlowerTable] = field(default_factory=list)
    duct_sections: list[DuctSection] = field(default_factory=list)
    visits: list[Visit] = field(default_factory=list)
    adjustments: list[Adjustment] = field(default_factory=list)
    pressures: list[PressureReading] = field(default_factory=list)
    temperature_rises: list[TemperatureRise] = field(default_factory=list)
    flow_readings: list[FlowReading] = field(default_factory=list)
    flow_sets: list[FlowSet] = field(default_factory=list)
    flow_set_members: list[FlowSetMember] = field(default_factory=list)
    taken: list[Taken] = field(default_factory=list)
    corrections: list[Correction] = field(default_factory=list)
    # What stands in no record.
    places: list[Place] = field(default_factory=list)
    systems: list[System] = field(default_factory=list)
    ducts: dict[System, list[Duct]] = field(default_factory=dict)
    meters: list[Meter] = field(default_factory=list)
    courses: dict[System, Course] = field(default_factory=dict)
    jobs: list[Job] = field(default_factory=list)

"""The invented company as a whole: some years of work, made from a seed."""

from __future__ import annotations

import datetime
from typing import Final

from airflow_jobs.models import Company

from . import calendar, names
from .jobs import Life
from .measuring import Crewwork
from .meters import collect
from .neglected import neglect
from .peculiar import build_ducts, choose, slip_units
from .people import hire
from .places import settle
from .plans import plan_visits
from .record import Invented
from .seeded import Seeded
from .stories import tell
from .systems import equip

DAYS: Final = 1170
"""Some three years and two months."""


def invent(*, seed: int, today: datetime.date) -> Invented:
    """Return the invented company, unsaved.

    Parameters
    ----------
    seed
        Any whole number from 0; the same seed and day give the same company, ids included.
    today
        The day up to which it has worked.
    """
    seeded = Seeded(seed)
    start = datetime.datetime.combine(
        today - datetime.timedelta(days=DAYS), datetime.time(15), datetime.UTC
    )
    company = Company(
        id=seeded.new_id(start),
        name=names.COMPANY_NAME,
        time_zone=names.COAST_ZONE,
        report_mark=names.REPORT_MARK,
        created_at=start,
        updated_at=start,
    )
    staff = hire(seeded, start, today)
    customers, places = settle(seeded, start, today)
    systems = equip(seeded, places, company, today)
    courses = tell(seeded, systems, start.date(), today)
    ducts = build_ducts(seeded, systems, courses)
    meters = collect(seeded, start, today)
    record = Invented(
        company=company,
        customers=customers,
        sites=[place.row for place in places],
        people=staff.people,
        crews=staff.crews,
        memberships=staff.memberships,
        instruments=[meter.row for meter in meters],
        calibrations=[one for meter in meters for one in meter.calibrations],
        equipment=[system.row for system in systems],
        targets=[target for system in systems for target in system.targets],
        blower_tables=[system.table for system in systems if system.table is not None],
        duct_sections=[duct.row for system in systems for duct in ducts[system]],
        places=places,
        systems=systems,
        ducts=ducts,
        meters=meters,
        courses=courses,
    )
    work = Crewwork(
        seeded=seeded,
        record=record,
        kit=calendar.Kit(seeded, meters, start.date()),
        life=Life(seeded, courses, start.date()),
        peculiarities=choose(seeded, systems, ducts, places, courses),
    )
    for outing in calendar.plan_outings(seeded, places, systems, courses, start.date(), today):
        work.go_out(outing)
    slip_units(seeded, record)
    neglect(record, work.peculiarities, today)
    plan_visits(seeded, record, today)
    return record

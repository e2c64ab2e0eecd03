"""The company whose pages are looked at: small, and with something for every page to show."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from django.core.management import call_command

from airflow_jobs.models import Company, Crew, Instrument, Person, Role, Traverse
from tests import factories
from tests.dashboards.records import make_adjustment, make_job, make_measured
from tests.factories import NOW

FULL, EMPTY = "Test Air Services", "New Air Services"
# A crew is compared from twenty jobs on.
JOBS = 20


@dataclass(frozen=True, slots=True)
class Invented:
    """Who looks, and the rows whose pages have an address of their own."""

    manager: Person
    technician: Person
    administrator: Person
    traverse: Traverse | None
    """The last of a system with a history of its own; none in an empty record."""

    @property
    def ids(self) -> dict[str, str]:
        """What stands in the addresses, by the name of the part."""
        if self.traverse is None:
            return {}
        equipment = self.traverse.duct_section.equipment
        return {
            "traverse_id": str(self.traverse.pk),
            "instrument_id": str(self.traverse.instrument_id),
            "system_id": str(equipment.pk),
            "site_id": str(equipment.site_id),
            "visit_id": str(self.traverse.visit_id),
            "calibration_id": str(self.traverse.instrument.calibrations.latest("pk").pk),
            "other_system_id": str(
                Traverse.objects.exclude(duct_section__equipment=equipment)
                .earliest("pk")
                .duct_section.equipment_id
            ),
        }


def remove_everything() -> None:
    """Remove all rows, as they are between tests that write."""
    call_command("flush", verbosity=0, interactive=False, reset_sequences=False)


def found(*, is_empty: bool = False) -> Invented | None:
    """Return the company that is on record, if it is this one."""
    if not Company.objects.filter(name=EMPTY if is_empty else FULL).exists():
        return None
    people = {person.username: person for person in Person.objects.all()}
    if not {"manager", "technician", "administrator"} <= people.keys():
        return None
    traverse = Traverse.objects.filter(notes="the last").select_related("duct_section").first()
    if not is_empty and traverse is None:
        return None
    return Invented(people["manager"], people["technician"], people["administrator"], traverse)


def invent(*, is_empty: bool = False) -> Invented:
    """Write the company and, unless it is new, its work."""
    factories.make_company(name=EMPTY if is_empty else FULL, default_units="ip")
    factories.make_person(username="manager", name="Kim Manager", role=Role.MANAGER)
    factories.make_person(username="administrator", name="Ada Chief", role=Role.ADMINISTRATOR)
    technician = factories.make_person(username="technician", name="Tam Technician")
    if not is_empty:
        _work(technician)
    made = found(is_empty=is_empty)
    assert made is not None
    return made


def _work(technician: Person) -> None:
    crews = [_crew("North crew", technician), _crew("South crew")]
    section = factories.make_section()
    for number in range(6):
        taken_at = NOW - datetime.timedelta(days=70 * number)
        visit = make_job(
            found=300.0 + 40.0 * number,
            left=400.0,
            section=section,
            crew=crews[number % 2],
            taken_at=taken_at,
        )
        make_adjustment(
            visit=visit,
            equipment=section.equipment,
            made_at=taken_at + datetime.timedelta(minutes=20),
        )
    meter = factories.make_instrument(label="Vane 10", serial="V-10", accuracy_relative=0.03)
    factories.make_calibration(instrument=meter)
    make_measured(
        per_ton=300.0,
        stage="check",
        section=section,
        crew=crews[0],
        instrument=meter,
        taken_at=NOW + datetime.timedelta(days=3),
        notes="the last",
    )
    make_job(found=300.0, left=520.0, crew=crews[1])
    make_job(found=None, left=446.0, crew=crews[0])
    elsewhere = factories.make_section()
    for number in range(JOBS):
        for crew, left in zip(crews, (400.0, 520.0 if number % 2 else 400.0), strict=True):
            taken_at = NOW - datetime.timedelta(days=number + 3)
            make_job(found=None, left=left, section=elsewhere, crew=crew, taken_at=taken_at)
    _paired_checks(crews[0])


def _crew(name: str, *members: Person) -> Crew:
    crew = factories.make_crew(name=name)
    for person in (*members, *(factories.make_person() for _ in range(3 - len(members)))):
        factories.make_membership(crew=crew, person=person)
    return crew


def _paired_checks(crew: Crew) -> None:
    first, second = (
        factories.make_instrument(label=label, serial=label, accuracy_relative=0.03)
        for label in ("Vane 11", "Vane 12")
    )
    for number in range(4):
        one = _check(first, 400.0, crew)
        make_measured(
            stage="check",
            per_ton=400.0 * (1.05 + 0.002 * number),
            instrument=second,
            visit=one.visit,
            section=one.duct_section,
            taken_at=one.taken_at + datetime.timedelta(minutes=10),
            repeats=one,
        )


def _check(instrument: Instrument, per_ton: float, crew: Crew) -> Traverse:
    return make_measured(stage="check", per_ton=per_ton, instrument=instrument, crew=crew)

"""Rows of the record by the names that people call them."""

from __future__ import annotations

import datetime
from typing import Any, TypeVar
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import models

from airflow_jobs.models import Crew, DuctSection, Equipment, Instrument, Record, Site, Visit

Row = TypeVar("Row", bound=Record)


class NotNamed(ValueError):
    """No row goes by this name, or several do; the text says what to do."""


class NamedRows:
    """Looks rows up by id or name, each once; letter case doesn't count."""

    def __init__(self) -> None:
        self._found: dict[tuple[Any, ...], Any] = {}

    def site(self, text: str) -> Site:
        """Find a site by its id or name.

        Raises
        ------
        NotNamed
        """
        return self._one(Site, text, "name__iexact", "site", "its id")

    def equipment(self, site: Site, text: str) -> Equipment:
        """Find a system by its id, or by its tag at a site.

        Raises
        ------
        NotNamed
        """
        where = f"system at {site.name}"
        return self._one(Equipment, text, "tag__iexact", where, "its id", site=site)

    def section(self, equipment: Equipment, text: str) -> DuctSection:
        """Find a duct section by its id, or by its name at a system.

        Raises
        ------
        NotNamed
        """
        where = f"duct section of {equipment.tag}"
        return self._one(DuctSection, text, "name__iexact", where, "its id", equipment=equipment)

    def instrument(self, text: str) -> Instrument:
        """Find an instrument by its id, its serial, or its label where only one has it.

        Raises
        ------
        NotNamed
        """
        try:
            return self._one(Instrument, text, "serial__iexact", "instrument", "its id")
        except NotNamed:
            return self._one(Instrument, text, "label__iexact", "instrument", "its serial")

    def visit_of_id(self, identifier: UUID) -> Visit | None:
        """Find a visit by its id."""
        key = (Visit, identifier)
        if key not in self._found:
            self._found[key] = Visit.objects.select_related("site").filter(pk=identifier).first()
        found: Visit | None = self._found[key]
        return found

    def visit(self, site: Site, day: datetime.date, crew: str) -> Visit:
        """Find the visit to a site on a day there, by one crew where several came.

        Parameters
        ----------
        site
            The site.
        day
            The calendar day at the site on which the visit began or, where that isn't known,
            for which it was planned.
        crew
            Id or name of the crew; empty for any.

        Raises
        ------
        NotNamed
        """
        key = (Visit, site.pk, day, crew.lower())
        if key not in self._found:
            begin = datetime.datetime.combine(day, datetime.time(), ZoneInfo(site.time_zone))
            end = datetime.datetime.combine(
                day + datetime.timedelta(days=1), datetime.time(), ZoneInfo(site.time_zone)
            )
            visits = Visit.objects.filter(
                models.Q(started_at__gte=begin, started_at__lt=end)
                | models.Q(started_at__isnull=True, planned_for=day),
                site=site,
            )
            if crew:
                found = self._one(Crew, crew, "name__iexact", "crew", "its id")
                visits = visits.filter(crew=found)
            self._found[key] = list(visits.order_by("id")[:2])
        rows: list[Visit] = self._found[key]
        if not rows:
            by = f" by {crew}" if crew else ""
            raise NotNamed(
                f"there is no visit to {site.name} on {day}{by}: add it first, or give the day "
                "of one that exists as visit_on, or its id as visit"
            )
        if len(rows) > 1:
            raise NotNamed(
                f"there are several visits to {site.name} on {day}: give the crew, or the id of "
                "one as visit"
            )
        return rows[0]

    def _one(
        self, model: type[Row], text: str, named: str, what: str, rather: str, **within: Any
    ) -> Row:
        key = (model, named, text.lower(), *(row.pk for row in within.values()))
        if key not in self._found:
            identifier = uuid_of(text)
            wanted = {named: text} if identifier is None else {"pk": identifier}
            rows = model._default_manager.filter(**wanted, **within)
            self._found[key] = list(rows.order_by("pk")[:2])
        found: list[Row] = self._found[key]
        if not found:
            raise NotNamed(f"there is no {what} of this name or id: add it first, or correct it")
        if len(found) > 1:
            raise NotNamed(f"several have this name: give {rather} instead")
        return found[0]


def uuid_of(text: str) -> UUID | None:
    """Return the id that a text is, if it is one in its usual form."""
    if len(text) != 36:
        return None
    try:
        return UUID(text)
    except ValueError:
        return None

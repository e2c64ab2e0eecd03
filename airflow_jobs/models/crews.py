"""Crews and who was in them, from when to when."""

from __future__ import annotations

import datetime

from django.db import models

from .base import Record, with_history
from .people import Person


class CrewQuerySet(models.QuerySet["Crew"]):
    """Crews by person and day."""

    def of(
        self, person_id: object, day: datetime.date | models.expressions.Combinable
    ) -> CrewQuerySet:
        """Crews that this person belongs to on that day."""
        current = CrewMembership.objects.filter(
            models.Q(person_id=person_id),
            models.Q(from_on__lte=day),
            models.Q(to_on__isnull=True) | models.Q(to_on__gte=day),
        )
        return self.filter(pk__in=current.values("crew_id"))


@with_history()
class Crew(Record):
    """People who go out together."""

    name = models.CharField(max_length=100)
    retired_on = models.DateField(null=True, blank=True)

    objects = CrewQuerySet.as_manager()

    class Meta(Record.Meta):
        constraints = [
            models.UniqueConstraint(models.functions.Lower("name"), name="crew_name_once"),
        ]

    def __str__(self) -> str:
        return self.name


@with_history()
class CrewMembership(models.Model):
    """One person's time in a crew; the last day is included."""

    crew = models.ForeignKey(Crew, on_delete=models.PROTECT, related_name="memberships")
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="memberships")
    from_on = models.DateField()
    to_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["crew", "person", "from_on"], name="crew_membership_once"
            ),
            models.CheckConstraint(
                condition=models.Q(to_on__isnull=True) | models.Q(to_on__gte=models.F("from_on")),
                name="crew_membership_dates_ordered",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person_id} in {self.crew_id} from {self.from_on}"

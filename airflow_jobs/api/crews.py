"""Crews and people."""

from __future__ import annotations

from typing import Any, ClassVar
from uuid import UUID

from django.utils import timezone
from rest_framework import serializers

from airflow_jobs.actions.crews import Member, add_crew, change_crew
from airflow_jobs.actions.people import change_person, record_person
from airflow_jobs.actions.records import Recorded
from airflow_jobs.models import Crew, Person, Role

from .fields import DayField, FlagField, ReferenceField, TextField, WordField
from .filters import Filter, by_id, by_word, retired
from .records import OPTIONAL, ItemsField, RecordSerializer, RecordViewSet, StrictSerializer
from .redaction import RedactedViewSet


class MemberSerializer(StrictSerializer):
    """One person's time in a crew."""

    person = ReferenceField("people", help_text="Who.")
    name = serializers.CharField(
        source="person.name", read_only=True, help_text="The person's name."
    )
    from_on = DayField(help_text="The first day.")
    to_on = DayField(**OPTIONAL, help_text="The last day, included; null while it lasts.")


class MembershipsField(ItemsField):
    """Members of a crew, oldest first."""

    def to_representation(self, value: Any) -> list[Any]:
        """Answer them in the order of joining."""
        rows = sorted(value.all(), key=lambda row: (row.from_on, row.person_id))
        return super().to_representation(rows)


class CrewSerializer(RecordSerializer):
    """People who go out together."""

    hidden_as_sent: ClassVar[frozenset[str]] = frozenset({"members"})

    name = TextField(max_length=100, help_text="The crew's name; unique, letter case aside.")
    members = MembershipsField(
        MemberSerializer,
        source="memberships",
        required=False,
        max_length=200,
        help_text="Who was in it from when to when; a change sends the whole list.",
    )
    retired_on = DayField(**OPTIONAL, help_text="From this day on it no longer goes out.")


class CrewViewSet(RecordViewSet):
    """Crews; managers write them."""

    model = Crew
    serializer_class = CrewSerializer
    noun = "a crew"
    gathered = ("memberships__person",)
    filters = (
        by_id("person", "memberships__person_id", "Only crews that this person was ever in."),
        Filter("name", "name__icontains", "text", "Only those whose name holds this."),
        retired(),
    )

    def get_queryset(self) -> Any:
        """Return each crew once, however often somebody joined it."""
        rows = super().get_queryset()
        return rows.distinct() if "person" in self.request.query_params else rows

    def add(
        self, values: dict[str, Any], as_sent: dict[str, Any], identifier: UUID | None
    ) -> Recorded[Crew]:
        """Add a crew with its members."""
        members = _members(values.pop("memberships", []))
        return add_crew(
            actor=self.actor,
            values=values,
            members=members,
            crew_id=identifier,
            now=timezone.now(),
        )

    def change(
        self,
        identifier: UUID,
        values: dict[str, Any],
        as_sent: dict[str, Any],
        expected: int | None,
    ) -> Crew:
        """Change a crew, and its members where they are sent."""
        members = values.pop("memberships", None)
        return change_crew(
            actor=self.actor,
            crew_id=identifier,
            values=values,
            members=None if members is None else _members(members),
            expected_revision=expected,
            now=timezone.now(),
        )


def _members(sent: list[dict[str, Any]]) -> list[Member]:
    return [Member(**item) for item in sent]


class PersonSerializer(RecordSerializer):
    """Somebody with a sign-in."""

    username = TextField(
        max_length=64, help_text="For signing in: letters, digits and @ . + - _; unique."
    )
    name = TextField(max_length=200, help_text="What the person is called.")
    role = WordField(Role, help_text="What the person may do.")
    active = FlagField(
        source="is_active",
        required=False,
        help_text="Whether the person may sign in; taking it away ends every token.",
    )
    password = TextField(
        max_length=200,
        required=False,
        write_only=True,
        trim_whitespace=False,
        help_text="At least eight characters, not a common one; without it nobody can sign in.",
    )


class PersonViewSet(RedactedViewSet):
    """People; managers read, administrators write."""

    model = Person
    serializer_class = PersonSerializer
    noun = "a person"
    filters = (
        by_word("role", "role", Role, "Only people in this role."),
        Filter("active", "is_active", "flag", "Only people who may sign in, or who may not."),
        Filter("username", "username__iexact", "text", "Only the person with this user name."),
    )

    def add(
        self, values: dict[str, Any], as_sent: dict[str, Any], identifier: UUID | None
    ) -> Recorded[Person]:
        """Add somebody."""
        return record_person(
            actor=self.actor,
            password=values.pop("password", None),
            values=values,
            person_id=identifier,
            now=timezone.now(),
        )

    def change(
        self,
        identifier: UUID,
        values: dict[str, Any],
        as_sent: dict[str, Any],
        expected: int | None,
    ) -> Person:
        """Change somebody."""
        return change_person(
            actor=self.actor,
            person_id=identifier,
            password=values.pop("password", None),
            values=values,
            expected_revision=expected,
            now=timezone.now(),
        )

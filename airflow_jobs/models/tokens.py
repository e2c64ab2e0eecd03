"""Access tokens: stored as digests, bound to a person or to a crew."""

from __future__ import annotations

import datetime

from django.db import models

from .base import Record, count_revision
from .crews import Crew
from .people import Person


class TokenQuerySet(models.QuerySet["Token"]):
    """Tokens by what they are good for."""

    def live(self, now: datetime.datetime) -> TokenQuerySet:
        """Neither expired nor revoked."""
        return self.filter(expires_at__gt=now, revoked_at__isnull=True)


class Token(Record):
    """A secret that opens the API; only its SHA-256 digest is kept."""

    digest = models.CharField(max_length=64, unique=True)
    person = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="tokens"
    )
    crew = models.ForeignKey(
        Crew, null=True, blank=True, on_delete=models.PROTECT, related_name="tokens"
    )
    label = models.CharField(max_length=100, blank=True, default="")
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    last_used_at = models.DateTimeField(null=True, blank=True)

    objects = TokenQuerySet.as_manager()

    class Meta(Record.Meta):
        triggers = [count_revision("last_used_at")]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(person__isnull=False, crew__isnull=True)
                | models.Q(person__isnull=True, crew__isnull=False),
                name="token_of_person_or_crew",
            ),
        ]

    def __str__(self) -> str:
        return self.label or str(self.id)

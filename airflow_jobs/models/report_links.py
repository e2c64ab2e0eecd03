"""Links to one visit's report: stored as digests, expiring, to be revoked."""

from __future__ import annotations

import datetime

from django.db import models

from .base import Record, count_revision, with_history
from .people import Person
from .visits import Visit


@with_history(exclude=["digest", "last_opened_at"])
class ReportLink(Record):
    """A secret that opens the report of one visit; only its SHA-256 digest is kept."""

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="report_links")
    digest = models.CharField(max_length=64, unique=True)
    made_by = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="report_links"
    )
    label = models.CharField(max_length=100, blank=True, default="")
    """For whom it was made, as lists show it."""
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    last_opened_at = models.DateTimeField(null=True, blank=True)

    class Meta(Record.Meta):
        triggers = [count_revision("last_opened_at")]

    def __str__(self) -> str:
        return self.label or str(self.id)

    def is_live(self, now: datetime.datetime) -> bool:
        """Return whether it still opens the report: neither expired nor revoked."""
        return self.revoked_at is None and self.expires_at > now

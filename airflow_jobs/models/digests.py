"""Who gets the weekly digest by mail, and which week's was sent last."""

from __future__ import annotations

import datetime

from django.db import models
from django.db.models.functions import Now

from .people import Person, Role


class DigestSubscriptionQuerySet(models.QuerySet["DigestSubscription"]):
    """Subscriptions by what is to be sent."""

    def waiting_for(self, week_on: datetime.date) -> DigestSubscriptionQuerySet:
        """Those of active managers who did not get the digest of this week yet, in order.

        Parameters
        ----------
        week_on
            The Monday of the week in which it is sent.
        """
        return self.filter(
            models.Q(sent_week_on__isnull=True) | models.Q(sent_week_on__lt=week_on),
            person__is_active=True,
            person__role__in=(Role.MANAGER, Role.ADMINISTRATOR),
        ).order_by("id")


class DigestSubscription(models.Model):
    """A manager's wish to get the digest every week, at an address.

    It is a wish and no part of the record: gone when it is withdrawn, and without history.
    """

    person = models.OneToOneField(
        Person, on_delete=models.PROTECT, related_name="digest_subscription"
    )
    address = models.EmailField()
    made_at = models.DateTimeField(db_default=Now())
    sent_week_on = models.DateField(null=True, blank=True)
    """The Monday of the last week whose digest was sent, or that was passed over."""

    objects = DigestSubscriptionQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(sent_week_on__isnull=True)
                | models.Q(sent_week_on__iso_week_day=1),
                name="digest_subscription_week_begins_on_monday",
            ),
        ]

    def __str__(self) -> str:
        return f"digest for {self.person_id}"

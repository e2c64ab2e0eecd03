"""Customers."""

from __future__ import annotations

from django.db import models

from .base import Record, with_history


@with_history()
class Customer(Record):
    """Whoever the work is done for."""

    name = models.CharField(max_length=200)
    contact = models.TextField(blank=True, default="")
    notes = models.TextField(blank=True, default="")

    class Meta(Record.Meta):
        pass

    def __str__(self) -> str:
        return self.name

"""Blower tables: the maker's flow by setting and external static, as typed in."""

from __future__ import annotations

from django.db import models

from .base import Record, with_history
from .equipment import Equipment


@with_history()
class BlowerTable(Record):
    """The maker's data for one system."""

    equipment = models.ForeignKey(Equipment, on_delete=models.PROTECT, related_name="blower_tables")
    rows = models.JSONField(default=list)
    """List of {"setting", "external_static_pa", "flow_m3_s"}; as typed in `as_sent`."""
    source = models.CharField(max_length=200, blank=True, default="")
    retired_on = models.DateField(null=True, blank=True)

    class Meta(Record.Meta):
        pass

    def __str__(self) -> str:
        return f"Blower table of {self.equipment_id}"

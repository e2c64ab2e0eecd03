"""Measurements: what each computation is about beside what its result says, for the pages."""

from __future__ import annotations

import pgtrigger
from django.contrib.postgres.fields import ArrayField
from django.db import models

from .crews import Crew
from .duct_sections import DuctSection
from .equipment import Equipment
from .flow_sets import FlowSet
from .instruments import Instrument
from .measuring import says_changed
from .results import Computation, Result
from .traverses import Traverse
from .visits import Visit


def _copied(to: type[models.Model], *, null: bool = False) -> models.ForeignKey[models.Model]:
    """Refer to a row that the rows copied from refer to already: nothing to be checked again."""
    return models.ForeignKey(
        to,
        null=null,
        on_delete=models.DO_NOTHING,
        db_constraint=False,
        db_index=False,
        related_name="+",
    )


class Measurement(models.Model):
    """One traverse or flow-set in one narrow row: what pages count, compare and list.

    The database itself keeps it (see `measuring`), in the transaction of whatever changes; the
    service never writes it but to make it anew. Site, customer and kind are read of the equipment,
    and the state of the computation.
    """

    computation = models.OneToOneField(
        Computation, primary_key=True, on_delete=models.CASCADE, related_name="measurement"
    )
    traverse = _copied(Traverse, null=True)
    flow_set = _copied(FlowSet, null=True)
    visit = _copied(Visit)
    crew = _copied(Crew)
    equipment = _copied(Equipment)
    duct_section = _copied(DuctSection, null=True)
    repeats = _copied(Traverse, null=True)
    """These two of a traverse only."""
    instrument = _copied(Instrument, null=True)
    """Of a flow-set its first member's."""
    stage = models.CharField(max_length=8)
    call = models.CharField(max_length=12)
    """Of a flow-set unknown where its members were measured at several."""
    taken_at = models.DateTimeField()
    taken_on = models.DateField()
    """The day where the equipment stands."""
    air_paths = ArrayField(models.CharField(max_length=8), null=True)
    adjustments_before = models.IntegerField()
    """How often the system had been adjusted by then."""
    result = _copied(Result, null=True)
    verdict = models.CharField(max_length=12, blank=True, default="")
    judged_value = models.FloatField(null=True)
    judged_u = models.FloatField(null=True)
    judged_low = models.FloatField(null=True)
    judged_high = models.FloatField(null=True)
    target_low = models.FloatField(null=True)
    target_high = models.FloatField(null=True)
    flow_standard_m3_s = models.FloatField(null=True)
    flow_per_capacity_m3_s_per_w = models.FloatField(null=True)

    class Meta:
        triggers = [
            says_changed("say_changed_new", pgtrigger.Insert),
            says_changed("say_changed", pgtrigger.Update),
            says_changed("say_changed_old", pgtrigger.Delete),
        ]
        indexes = [
            models.Index(
                fields=["equipment", "-taken_at", "-computation"], name="measurement_latest"
            ),
            models.Index(fields=["taken_on"], name="measurement_day"),
            models.Index(fields=["instrument", "taken_on"], name="measurement_instrument"),
            models.Index(fields=["visit"], name="measurement_visit"),
        ]

    def __str__(self) -> str:
        return f"Measurement of {self.taken_at}"

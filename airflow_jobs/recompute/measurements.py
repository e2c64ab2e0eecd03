"""Measurements made anew: for what changed behind the database's back."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from django.db import connection, transaction

from airflow_jobs.models import Computation
from airflow_jobs.models.measuring import kept_anew

STEP: Final = 10_000
"""How many one transaction takes."""


def measure_anew(computations: Sequence[int] | None = None) -> None:
    """Make the measurements of some computations anew, or of all; what is right stays as it is.

    The database keeps them itself. This is for what it could not see: rows that were loaded with
    triggers off, and an input that was changed in the very moment in which another transaction
    recorded what rests on it.
    """
    keys = (
        list(Computation.objects.order_by("pk").values_list("pk", flat=True))
        if computations is None
        else sorted(computations)
    )
    for start in range(0, len(keys), STEP):
        part = keys[start : start + STEP]
        with transaction.atomic(), connection.cursor() as cursor:
            list(
                Computation.objects.filter(pk__in=part)
                .order_by("pk")
                .select_for_update(no_key=True)
                .values_list("pk", flat=True)
            )
            for statement in kept_anew("%(keys)s::bigint[]").split(";\n"):
                if statement.strip():
                    cursor.execute(statement, {"keys": part})

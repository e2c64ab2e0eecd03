"""Filling an empty record with the invented company: one transaction, a handful of statements."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from typing import Any, Final

import pghistory
from django.db import connection, models, transaction

from airflow_jobs import tasks
from airflow_jobs.actions.traverse_content import COLUMNS
from airflow_jobs.models import Company, Computation, Site, Traverse, TraverseRevision

from . import names
from .company import invent
from .record import Invented

ACTOR: Final = "demo"
LOCK: Final = 0x0D0C_DE30
"""Any number; two fills at once must agree on it."""
SENT_WITHIN_MINUTES: Final = 90


class RecordInUse(Exception):
    """The record already holds sites that aren't the invented company's."""


def fill_demo_company(*, seed: int, today: datetime.date, progress: Callable[[str], None]) -> None:
    """Fill an empty record with the invented company, or say that it is there already.

    Everything is written in one transaction: an interrupted fill leaves nothing. The results
    are pending afterwards; the worker computes them.

    Parameters
    ----------
    seed
        Any whole number from 0; the same seed and day give the same rows, ids included.
    today
        The day up to which the company has worked.
    progress
        Is told, in a sentence, what is going on.

    Raises
    ------
    RecordInUse
        There are sites, but not the invented company's.
    """
    with transaction.atomic(), pghistory.context(actor_name=ACTOR):
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [LOCK])
        if Site.objects.exists():
            if Company.objects.filter(report_mark=names.REPORT_MARK).exists():
                progress("The invented company is already there; nothing was changed.")
                return
            raise RecordInUse(
                "This record already holds sites of its own, and the invented company would mix "
                "with them: start it with another, empty data directory or database."
            )
        progress("Inventing a company and its years of work.")
        record = invent(seed=seed, today=today)
        progress(
            f"Writing {len(record.sites)} sites, {len(record.equipment)} systems, "
            f"{len(record.visits)} visits and {len(record.taken)} traverses."
        )
        _write(record)
        transaction.on_commit(tasks.wake_worker)
    progress("Written; the worker computes the results.")


def _write(record: Invented) -> None:
    _set_up(record.company)
    reference: tuple[Sequence[models.Model], ...] = (
        record.people,
        record.crews,
        record.memberships,
        record.customers,
        record.sites,
        record.instruments,
        record.calibrations,
        record.equipment,
        record.targets,
        record.blower_tables,
        record.duct_sections,
        record.visits,
        record.adjustments,
        record.pressures,
        record.temperature_rises,
        record.flow_readings,
    )
    for rows in reference:
        _store(rows)
    traverses = [_traverse(taken.identifier, taken.content) for taken in record.taken]
    _store(traverses)
    TraverseRevision.objects.bulk_create(
        TraverseRevision(
            traverse_id=taken.identifier,
            number=1,
            content=taken.content.sent,
            content_digest=taken.content.digest(),
            actor=ACTOR,
            recorded_at=row.created_at,
        )
        for taken, row in zip(record.taken, traverses, strict=True)
    )
    _correct(record)
    _store(record.flow_sets)
    _store(record.flow_set_members)
    Computation.objects.bulk_create(
        [Computation(traverse_id=taken.identifier) for taken in record.taken]
        + [Computation(flow_set_id=flow_set.pk) for flow_set in record.flow_sets]
    )


def _set_up(company: Company) -> None:
    """Give the one company there is the invented one's settings, or store that."""
    changed = Company.objects.update(
        name=company.name, time_zone=company.time_zone, report_mark=company.report_mark
    )
    if not changed:
        Company.objects.bulk_create([company])


def _store(rows: Sequence[models.Model]) -> None:
    if rows:
        type(rows[0])._default_manager.bulk_create(rows)


def _traverse(identifier: Any, content: Any) -> Traverse:
    row: Traverse = content.unsaved(identifier)
    # The phone sends when it has a signal: some time later, spread by the id's random bits.
    later = datetime.timedelta(minutes=5 + identifier.int % SENT_WITHIN_MINUTES)
    row.created_at = row.updated_at = content.taken_at + later
    return row


def _correct(record: Invented) -> None:
    """Make the corrected contents current, as a correction through the service does."""
    rows = []
    for correction in record.corrections:
        taken = correction.taken
        rows.append(_traverse(taken.identifier, taken.content))
    if not rows:
        return
    Traverse.objects.bulk_update(rows, [name for name in COLUMNS if name != "repeats_id"])
    TraverseRevision.objects.bulk_create(
        TraverseRevision(
            traverse_id=correction.taken.identifier,
            number=2,
            content=correction.taken.content.sent,
            content_digest=correction.taken.content.digest(),
            reason=correction.reason,
            actor=ACTOR,
            recorded_at=row.created_at + datetime.timedelta(days=1),
        )
        for correction, row in zip(record.corrections, rows, strict=True)
    )

"""The history as JSON lines: each traverse as it was sent, where it was, and what it means."""

from __future__ import annotations

import datetime
import itertools
import json
from collections.abc import Iterable, Iterator
from typing import Any, Final
from uuid import UUID

from django.db import connection, transaction

from airflow_jobs.api.results import render_result
from airflow_jobs.models import Computation, Traverse, TraverseRevision

ROWS_AT_A_TIME: Final = 500


def history_lines() -> Iterator[bytes]:
    """Say every traverse in a line, in the order in which they were taken.

    All lines are of one moment, however long they take; the rows come through a cursor of the
    server, so that a long history needs no more memory than a short one.

    Yields
    ------
    bytes
        One JSON object with its line end, in UTF-8.
    """
    traverses = (
        Traverse.objects.with_context()
        .with_result()
        .order_by("taken_at", "id")
        .iterator(chunk_size=ROWS_AT_A_TIME)
    )
    with transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        while rows := list(itertools.islice(traverses, ROWS_AT_A_TIME)):
            revisions = _current_revisions(rows)
            for row in rows:
                yield _encoded(_line(row, revisions[row.pk]))


def _current_revisions(rows: Iterable[Traverse]) -> dict[UUID, TraverseRevision]:
    found = (
        TraverseRevision.objects.filter(traverse_id__in=[row.pk for row in rows])
        .order_by("traverse_id", "-number")
        .distinct("traverse_id")
    )
    return {revision.traverse_id: revision for revision in found}


def _line(row: Traverse, revision: TraverseRevision) -> dict[str, Any]:
    visit, section, instrument = row.visit, row.duct_section, row.instrument
    equipment = section.equipment
    return {
        "id": row.pk,
        "site": {"id": equipment.site_id, "name": equipment.site.name},
        "visit": {
            "id": visit.pk,
            "purpose": visit.purpose,
            "crew": {"id": visit.crew_id, "name": visit.crew.name},
        },
        "equipment": {"id": equipment.pk, "tag": equipment.tag},
        "duct_section": {"id": section.pk, "name": section.name},
        "instrument": {
            "id": instrument.pk,
            "serial": instrument.serial,
            "label": instrument.label,
        },
        "revision": revision.number,
        "recorded_at": revision.recorded_at,
        "content": revision.content,
        "result": render_result(_computation_of(row), "si"),
    }


def _computation_of(row: Traverse) -> Computation | None:
    try:
        return row.computation
    except Computation.DoesNotExist:
        return None


def _encoded(line: dict[str, Any]) -> bytes:
    text = json.dumps(line, ensure_ascii=False, separators=(",", ":"), default=_plain)
    return f"{text}\n".encode()


def _plain(value: Any) -> str:
    match value:
        case UUID():
            return str(value)
        case datetime.datetime():
            return value.astimezone(datetime.UTC).isoformat().replace("+00:00", "Z")
    raise TypeError(f"{type(value).__name__} has no form in JSON")

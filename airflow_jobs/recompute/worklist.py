"""The work list: which results are to be computed, claimed and written so that none is lost.

The list is the table of computations. A row is claimed with a lock that others skip, computed,
written and committed; a crash frees the lock and leaves the row pending. What changes an input
marks the rows that depend on it; a sweep finds whatever was missed.
"""

from __future__ import annotations

import datetime
import logging
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final
from uuid import UUID

from django.db import DatabaseError, connection, models, transaction
from django.db.models import F, Q
from django.db.models.functions import Now
from django.utils import timezone

from airflow_jobs.models import (
    Company,
    Computation,
    FlowSet,
    Result,
    State,
    Target,
    Traverse,
)

from .companions import dependents_of, looked_at_too_early
from .dependents import dependents, last_moved_at
from .evaluate import outcomes_of_traverses
from .flow_sets import outcomes_of_flow_sets
from .measurements import measure_anew
from .outcomes import ENGINE, Computed, Failure, Outcome

LOG = logging.getLogger(__name__)

CLAIM: Final = 300
"""How many rows one transaction takes: enough for arrays to pay, few enough to lose."""
ATTEMPTS: Final = 5
"""How often a row is tried again before it counts as failed."""
BACK_OFF: Final = datetime.timedelta(seconds=10)
MEMBERS_PENDING: Final = datetime.timedelta(seconds=30)
"""When a flow-set whose members are not computed is looked at again, unless they wake it."""
COMMIT_LAG: Final = datetime.timedelta(seconds=10)
"""How long a change of an input may take from its time stamp to its commit."""
LONG_COMMIT_LAG: Final = datetime.timedelta(minutes=30)
"""The same for a change made by hand in a long transaction."""
RECENT: Final = datetime.timedelta(minutes=15)
INPUT_PATHS: Final = (
    "traverse",
    "traverse__duct_section",
    "traverse__duct_section__equipment",
    "traverse__duct_section__equipment__site",
    "traverse__duct_section__equipment__targets",
    "traverse__duct_section__equipment__blower_tables",
    "traverse__instrument",
    "traverse__instrument__calibrations",
    "traverse__visit__pressures",
    "traverse__visit__temperature_rises",
    "traverse__visit__flow_readings",
    "traverse__visit__adjustments",
    "flow_set",
    "flow_set__equipment",
    "flow_set__equipment__targets",
    "flow_set__equipment__blower_tables",
    "flow_set__members__flow_reading",
    "flow_set__visit__pressures",
    "flow_set__visit__temperature_rises",
    "flow_set__visit__flow_readings",
    "flow_set__visit__adjustments",
)
"""Where from a computation the rows lie that its result depends on."""

SAVE: Final = f"""
    UPDATE {Computation._meta.db_table} AS stored
    SET state = new.state, failure = new.failure, attempts = new.attempts, due_at = new.due_at,
        checked_at = new.checked_at, result_id = new.result_id
    FROM unnest(%s::bigint[], %s::text[], %s::text[], %s::smallint[], %s::timestamptz[],
                %s::timestamptz[], %s::bigint[])
        AS new(id, state, failure, attempts, due_at, checked_at, result_id)
    WHERE stored.id = new.id
"""

SETTLING: Final = 7_046_029_254_386_353_131
"""Number of the lock under which outcomes are stamped; any number that nothing else here uses."""

SETTLE: Final = f"""
    WITH latest AS (SELECT max(settled_at) AS at FROM {Computation._meta.db_table})
    UPDATE {Computation._meta.db_table} AS stored
    SET settled_at = greatest(clock_timestamp(), latest.at) + place * interval '1 microsecond'
    FROM unnest(%s::bigint[]) WITH ORDINALITY AS given(id, place), latest
    WHERE stored.id = given.id
"""

UNEXPECTED: Final = (
    "The computation met an error that is not of your making; it is in the service's log. The "
    "record itself is safe."
)


@dataclass(frozen=True, slots=True)
class Drained:
    """What one run did."""

    computed: int = 0
    failed: int = 0


def mark_pending(traverses: models.QuerySet[Traverse]) -> int:
    """Put traverses back on the work list; return how many."""
    return _pend(Computation.objects.filter(traverse__in=traverses))


def mark_affected_by(record: models.Model) -> int:
    """Put back on the work list whatever depends on a changed row; return how many.

    Call it in the transaction that changes the row, after the change: a worker that computes
    from the old row meanwhile holds the computation's lock, so this waits and marks it again.
    """
    return _pend(Computation.objects.filter(dependents(record)))


def _pend(computations: models.QuerySet[Computation]) -> int:
    return computations.update(state=State.PENDING, due_at=Now(), attempts=0, failure="")


def drain(*, most: int | None = None) -> Drained:
    """Compute what is due until nothing is left; return what was done.

    Parameters
    ----------
    most
        Stop after about so many rows; without it, run until the list is empty.
    """
    computed = failed = 0
    while most is None or computed + failed < most:
        try:
            done = _compute_claimed(CLAIM)
        except DatabaseError:
            raise
        except Exception:
            # One row must not hold up the others: take them one by one to find it.
            LOG.exception("A batch could not be computed; its rows are tried one by one")
            done = _compute_singly(CLAIM)
        if done is None:
            break
        computed += done.computed
        failed += done.failed
    return Drained(computed, failed)


def _claim(limit: int) -> list[Computation]:
    """Lock due rows that nobody else holds, in the order of the partial index."""
    return list(Computation.objects.due(timezone.now()).select_for_update(skip_locked=True)[:limit])


def _compute_claimed(limit: int) -> Drained | None:
    """Claim, compute, write, commit; None when nothing was due."""
    with transaction.atomic():
        started_at = timezone.now()
        claimed = _claim(limit)
        if not claimed:
            return None
        outcomes = _outcomes(claimed)
        return _write(claimed, outcomes, started_at)


def _compute_singly(limit: int) -> Drained | None:
    """Compute due rows one transaction each; a row that fails is set back or given up."""
    due = list(Computation.objects.due(timezone.now()).values_list("pk", flat=True)[:limit])
    computed = failed = 0
    for key in due:
        try:
            with transaction.atomic():
                started_at = timezone.now()
                claimed = list(
                    Computation.objects.pending().filter(pk=key).select_for_update(skip_locked=True)
                )
                if claimed:
                    done = _write(claimed, _outcomes(claimed), started_at)
                    computed += done.computed
                    failed += done.failed
        except DatabaseError:
            raise
        except Exception:
            LOG.exception("Computation %s failed", key)
            failed += 1
            _set_back(key)
    return Drained(computed, failed) if due else None


def _set_back(key: int) -> None:
    """Count a failed attempt outside the transaction that failed; give up after some."""
    with transaction.atomic():
        attempts = Computation.objects.values_list("attempts", flat=True).get(pk=key) + 1
        given_up = attempts >= ATTEMPTS
        Computation.objects.filter(pk=key).update(
            attempts=attempts,
            state=State.FAILED if given_up else State.PENDING,
            failure=UNEXPECTED if given_up else "",
            due_at=timezone.now() + BACK_OFF * 2**attempts,
        )
        _settle([key] if given_up else [])


def _outcomes(claimed: Sequence[Computation]) -> dict[int, Outcome]:
    """Return computation id -> what came out, for traverses and flow-sets."""
    traverses = {row.traverse_id: row.pk for row in claimed if row.traverse_id}
    flow_sets = {row.flow_set_id: row.pk for row in claimed if row.flow_set_id}
    found = {traverses[key]: item for key, item in outcomes_of_traverses(traverses).items()}
    found.update({flow_sets[key]: item for key, item in outcomes_of_flow_sets(flow_sets).items()})
    return found


def _write(
    claimed: Sequence[Computation],
    outcomes: dict[int, Outcome],
    started_at: datetime.datetime,
) -> Drained:
    """Write results and states: one statement each, whatever the number of rows."""
    known = _known_results(claimed, outcomes)
    fresh: dict[int, Result] = {}
    before = {row.pk: row.result_id for row in claimed}
    shown = {row.pk: _shown(row) for row in claimed}
    for row in claimed:
        outcome = outcomes.get(row.pk)
        if isinstance(outcome, Computed) and row.pk not in known:
            fresh[row.pk] = Result(
                computation=row,
                engine=ENGINE,
                inputs_digest=outcome.inputs_digest,
                content_revision=outcome.content_revision,
                computed_at=started_at,
                values=outcome.values,
                **outcome.columns,
            )
    Result.objects.bulk_create(fresh.values())
    failed = 0
    for row in claimed:
        outcome = outcomes.get(row.pk)
        row.checked_at = started_at
        row.attempts = 0
        if outcome is None:
            # Not yet possible (a flow-set whose members are still pending).
            row.due_at = started_at + MEMBERS_PENDING
        elif isinstance(outcome, Failure):
            row.state, row.failure = State.FAILED, outcome.reason
            failed += 1
        else:
            row.state, row.failure = State.COMPUTED, ""
            row.result_id = (known.get(row.pk) or fresh[row.pk]).pk
    _save(claimed)
    _pass_on(
        [
            row.traverse_id
            for row in claimed
            if row.traverse_id and (row.state == State.FAILED or before[row.pk] != row.result_id)
        ],
        [row.traverse_id for row in claimed if row.traverse_id],
    )
    _settle([row.pk for row in claimed if shown[row.pk] != _shown(row)])
    return Drained(len(claimed) - failed, failed)


def _shown(row: Computation) -> tuple[str, str, int | None]:
    """Return what of a computation its readers see."""
    return row.state, row.failure, row.result_id


def _settle(keys: Sequence[int]) -> None:
    """Stamp outcomes in the order of their commits; the last act of a transaction.

    Whoever has the lock holds it until its commit and waits for nothing meanwhile, so a stamp
    that can be seen means that all smaller ones can. Stamps go on rising where the clock is set
    back, and, as they are times, also after an older backup was restored.
    """
    if not keys:
        return
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [SETTLING])
        # A statement of its own: it must see what whoever had the lock before has committed.
        cursor.execute(SETTLE, [list(keys)])


def _pass_on(moved: Sequence[UUID], done: Sequence[UUID]) -> None:
    """Put back on the work list what rests on traverses whose results are others than before.

    Rows that another worker holds are left: two that wait for each other's would never end. The
    sweep looks at them again.
    """
    if not moved:
        return
    _pend(Computation.objects.filter(flow_set__members__traverse__in=moved))
    resting = dependents_of(moved, but=done)
    if resting:
        free = Computation.objects.filter(traverse__in=resting, state=State.COMPUTED)
        keys = free.order_by("pk").select_for_update(skip_locked=True).values_list("pk", flat=True)
        _pend(Computation.objects.filter(pk__in=list(keys)))


def _save(rows: Sequence[Computation]) -> None:
    """Write the rows' states in one statement (the ORM's has a branch for every row)."""
    with connection.cursor() as cursor:
        cursor.execute(
            SAVE,
            [
                [row.pk for row in rows],
                [row.state for row in rows],
                [row.failure for row in rows],
                [row.attempts for row in rows],
                [row.due_at for row in rows],
                [row.checked_at for row in rows],
                [row.result_id for row in rows],
            ],
        )


def _known_results(
    claimed: Sequence[Computation], outcomes: dict[int, Outcome]
) -> dict[int, Result]:
    """Return computation id -> the stored result of exactly these inputs, where there is one."""
    digests = {
        key: outcome.inputs_digest
        for key, outcome in outcomes.items()
        if isinstance(outcome, Computed)
    }
    rows = Result.objects.filter(
        computation__in=[row.pk for row in claimed],
        inputs_digest__in=set(digests.values()),
        engine=ENGINE,
    ).defer("values")
    return {
        row.computation_id: row
        for row in rows
        if digests.get(row.computation_id) == row.inputs_digest
    }


def sweep(*, thorough: bool = False) -> Drained:
    """Find what was missed and compute it; return what was done.

    Finds traverses and flow-sets without a computation, results of another engine, and results
    that may have been computed while one of their inputs was being changed. These last keep
    their state while they are looked at: most turn out to be right.

    Parameters
    ----------
    thorough
        Look at every input ever changed, and allow for changes that took long to commit;
        without it, only at what changed lately.
    """
    _add_missing()
    _pend(Computation.objects.filter(state=State.COMPUTED).exclude(result__engine=ENGINE))
    done = drain()
    keys = _suspects(
        since=None if thorough else timezone.now() - RECENT,
        lag=LONG_COMMIT_LAG if thorough else COMMIT_LAG,
    )
    measure_anew(keys)
    for start in range(0, len(keys), CLAIM):
        with transaction.atomic():
            started_at = timezone.now()
            held = list(
                Computation.objects.filter(
                    pk__in=keys[start : start + CLAIM], state=State.COMPUTED
                ).select_for_update(skip_locked=True)
            )
            again = _write(held, _outcomes(held), started_at) if held else Drained()
        done = Drained(done.computed + again.computed, done.failed + again.failed)
    if keys:
        # What turned out to be another result may have put others back on the list.
        last = drain()
        done = Drained(done.computed + last.computed, done.failed + last.failed)
    return done


def _suspects(*, since: datetime.datetime | None, lag: datetime.timedelta) -> list[int]:
    """Return computed rows one of whose inputs changed after, or shortly before, the look at it."""
    computed = Computation.objects.filter(state=State.COMPUTED)
    keys = looked_at_too_early(since=since, lag=lag)
    for path in INPUT_PATHS:
        condition = Q(**{f"{path}__updated_at__gt": F("checked_at") - lag})
        if since is not None:
            condition &= Q(**{f"{path}__updated_at__gt": since})
        keys.update(computed.filter(condition).values_list("pk", flat=True))
    everywhere = [last_moved_at(company) for company in Company.objects.all()]
    everywhere += [target.updated_at for target in Target.objects.filter(equipment__isnull=True)]
    for at in everywhere:
        if since is None or at > since:
            keys.update(computed.filter(checked_at__lt=at + lag).values_list("pk", flat=True))
    return sorted(keys)


def _add_missing() -> int:
    traverses = Traverse.objects.filter(computation__isnull=True).values_list("pk", flat=True)
    flow_sets = FlowSet.objects.filter(computation__isnull=True).values_list("pk", flat=True)
    rows = [Computation(traverse_id=key) for key in traverses]
    rows += [Computation(flow_set_id=key) for key in flow_sets]
    Computation.objects.bulk_create(rows, ignore_conflicts=True, batch_size=1000)
    return len(rows)

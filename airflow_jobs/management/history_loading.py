"""Loading a file of history through the same parser and the same action as the API."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass
from typing import IO, Final
from uuid import UUID, uuid5

from django.db import connection, transaction
from rest_framework.serializers import ValidationError

from airflow_jobs import tasks
from airflow_jobs.actions.access import Actor, NotAllowed
from airflow_jobs.actions.constraints import RulesBroken
from airflow_jobs.actions.traverse_content import TraverseContent
from airflow_jobs.actions.traverses import Outcome, record_batch
from airflow_jobs.api.problems import broken_rules, flattened
from airflow_jobs.api.traverse_body import TraverseSerializer, content_of

from .history_rows import HistoryFile, Problem, Row

ROWS_A_TRANSACTION: Final = 1000
# A name space of our own (RFC 9562, section 5.5): the same row has the same id wherever and
# however often it is loaded.
NAMESPACE: Final = UUID("0b7c1d3e-6a52-5f0c-9d1e-3f0a5a1c7e42")


@dataclass
class Tally:
    """What became of the rows so far."""

    stored: int = 0
    known: int = 0
    bad: int = 0


def identifier_of(content: TraverseContent) -> UUID:
    """Make the id of a traverse that came without one, from what it says.

    Parameters
    ----------
    content
        Parsed.

    Returns
    -------
    UUID
        The same for contents that the record takes for the same.
    """
    return uuid5(NAMESPACE, content.digest())


class Loading:
    """One run over a file.

    Parameters
    ----------
    file
        The file.
    actor
        In whose name rows are stored.
    now
        The clock.
    bad_rows
        Takes the rows that are refused, as they came, in a file of the same kind.
    complain
        Takes a line for each thing that is wrong.
    progress
        Takes how many bytes were read, and a note.
    """

    def __init__(
        self,
        file: HistoryFile,
        *,
        actor: Actor,
        now: datetime.datetime,
        bad_rows: IO[bytes],
        complain: Callable[[str], None],
        progress: Callable[[int, str], None],
    ) -> None:
        self.tally = Tally()
        self._file = file
        self._actor = actor
        self._now = now
        self._complain = complain
        self._progress = progress
        self._parser = TraverseSerializer(context={"units": "si"})
        self._waiting: dict[UUID, list[tuple[Row, TraverseContent]]] = {}
        self._count = 0
        self._bad = bad_rows

    def write(self) -> None:
        """Store the good rows, a thousand a transaction; the worker computes them."""
        try:
            self._run()
        finally:
            if self.tally.stored:
                tasks.wake_worker()

    def rehearse(self) -> None:
        """Do all that writing does, and take it back."""
        with transaction.atomic():
            with connection.cursor() as cursor:
                # What a commit would check is to be found out without one.
                cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
            self._run()
            transaction.set_rollback(True)

    def _run(self) -> None:
        for row in self._file.rows():
            parsed = self._parsed(row)
            if parsed is not None:
                key, content = parsed
                # A traverse that another one repeats must be stored before that one comes.
                if content.repeats_id in self._waiting:
                    self._flush()
                self._waiting.setdefault(key, []).append((row, content))
                self._count += 1
                if self._count >= ROWS_A_TRANSACTION:
                    self._flush()
            self._progress(self._file.bytes_read(), self._note())
        self._flush()

    def _parsed(self, row: Row) -> tuple[UUID, TraverseContent] | None:
        problems = list(row.problems)
        if not problems:
            try:
                values = dict(self._parser.run_validation(row.body))
            except ValidationError as error:
                problems = [
                    self._problem(row, item["pointer"], item["message"])
                    for item in flattened(error.detail)
                ]
            else:
                sent = {key: item for key, item in row.body.items() if key != "id"}
                content = content_of(values, sent)
                return values.pop("id", None) or identifier_of(content), content
        self._refuse(row, problems)
        return None

    def _flush(self) -> None:
        waiting = [
            (key, row, content) for key, rows in self._waiting.items() for row, content in rows
        ]
        self._waiting, self._count = {}, 0
        if not waiting:
            return
        outcomes = record_batch(
            actor=self._actor,
            items=[(key, content) for key, _, content in waiting],
            now=self._now,
        )
        bad = []
        for (_, row, _), outcome in zip(waiting, outcomes, strict=True):
            if outcome.recorded is None:
                bad.append((row, outcome))
            elif outcome.recorded.is_new:
                self.tally.stored += 1
            else:
                self.tally.known += 1
        for row, outcome in sorted(bad, key=lambda item: item[0].line):
            self._refuse(row, self._problems_of(row, outcome))

    def _problems_of(self, row: Row, outcome: Outcome) -> list[Problem]:
        match outcome.refused:
            case RulesBroken() as refusal:
                return [
                    self._problem(row, item["pointer"], item["message"])
                    for item in broken_rules(refusal)
                ]
            case NotAllowed() as refusal:
                return [self._problem(row, "/visit", str(refusal))]
            case refusal:
                return [self._problem(row, "/id", str(refusal))]

    def _problem(self, row: Row, pointer: str, message: str) -> Problem:
        column, value = self._file.place(row, pointer)
        return Problem(column, value, message)

    def _refuse(self, row: Row, problems: list[Problem]) -> None:
        if not self.tally.bad:
            self._file.write_head(self._bad)
        self.tally.bad += 1
        for problem in problems:
            self._complain(problem.in_words(row.line))
        self._file.write_row(self._bad, row, problems)

    def _note(self) -> str:
        return f"{self.tally.stored + self.tally.known:,} good, {self.tally.bad:,} bad rows"

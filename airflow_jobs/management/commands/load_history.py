"""Load traverses of earlier years from a file."""

from __future__ import annotations

import shutil
import sys
import tempfile
from argparse import ArgumentParser, RawDescriptionHelpFormatter
from pathlib import Path
from typing import IO, Any, Final

from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError, ProgrammingError
from django.utils import timezone

from airflow_jobs.actions.access import Actor
from airflow_jobs.end_requests import EndRequests
from airflow_jobs.management.csv_columns import COLUMNS
from airflow_jobs.management.csv_history import CsvHistory
from airflow_jobs.management.history_loading import Loading, Tally
from airflow_jobs.management.history_rows import BadFile, HistoryFile
from airflow_jobs.management.json_history import JsonHistory
from airflow_jobs.management.progress import Progress
from airflow_jobs.management.service import become_the_owner, database, make_folders
from airflow_jobs.management.whole_file import whole_file
from airflow_jobs.models import Person, Role, companys_day

BAD_ROWS_IN_MEMORY: Final = 1_000_000
"""In bytes; more of them go to a temporary file."""


class Command(BaseCommand):
    """Try a file out or store what is good in it; running it again changes nothing."""

    help = (
        "Load traverses from a file of JSON lines (.jsonl, .ndjson; what export_history writes, "
        "or bodies as the API takes them) or of CSV (any other name). Without --write it only "
        "says what would happen. Good rows are stored whatever the others are; bad ones are "
        "listed with line, column, value and reason, and with --write kept in a file beside it "
        "for a second try. It can be stopped and run again."
    )

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> Any:
        """List the columns of a CSV file below the options."""
        width = max(map(len, COLUMNS))
        listed = "\n".join(f"  {name:<{width}}  {what}" for name, what in COLUMNS.items())
        parser = super().create_parser(prog_name, subcommand, **kwargs)
        parser.formatter_class = RawDescriptionHelpFormatter
        parser.epilog = (
            "columns of a CSV file (visit or site, duct_section, instrument, stage, taken_at and\n"
            "readings are needed; a unit stands in the title, as 'dry_bulb [degF]', or in the\n"
            f"column dry_bulb_unit; see docs/history-file.md):\n{listed}"
        )
        return parser

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the file and how to read it."""
        parser.add_argument("file", type=Path, help="the file to read")
        parser.add_argument(
            "--as",
            dest="username",
            metavar="USERNAME",
            required=True,
            help="the administrator in whose name the rows are stored",
        )
        parser.add_argument("--write", action="store_true", help="store the good rows")
        parser.add_argument(
            "--decimal",
            choices=["comma", "point"],
            help="the decimal sign of a CSV file, where the file does not tell",
        )
        parser.add_argument(
            "--encoding", default="utf-8", help="the encoding of a CSV file (utf-8)"
        )
        parser.add_argument(
            "--ignore",
            action="append",
            default=[],
            metavar="COLUMN",
            help="a column of a CSV file to read over; may be given several times",
        )

    def execute(self, *args: Any, **options: Any) -> str | None:
        """Run as the data folder's owner: waking the worker leaves files there."""
        become_the_owner(self.stdout.write)
        return super().execute(*args, **options)

    def handle(self, *args: Any, **options: Any) -> None:
        """Try or load it."""
        path: Path = options["file"].absolute()
        if not path.is_file():
            raise CommandError(
                f"{path} is no file that this account reaches: name one with JSON lines or CSV."
            )
        try:
            file = _opened(path, options)
            with (
                EndRequests().caught(),
                database(),
                tempfile.SpooledTemporaryFile(BAD_ROWS_IN_MEMORY) as bad_rows,
            ):
                tally = self._load(file, options["username"], bad_rows, write=options["write"])
                self._report(file, tally, bad_rows, write=options["write"])
        except BadFile as error:
            raise CommandError(f"{path} can't be read: {error}") from error
        except OSError as error:
            raise CommandError(f"{path} can't be read: {error.strerror}.") from error
        except ProgrammingError as error:
            raise CommandError("There are no tables yet: run manage.py migrate first.") from error
        except DatabaseError as error:
            reason = str(error).strip().splitlines()[0]
            raise CommandError(
                f"The database refused: {reason}. Run it again once that is mended; what is "
                "stored stays, and is not stored twice."
            ) from error

    def _load(self, file: HistoryFile, username: str, bad_rows: IO[bytes], *, write: bool) -> Tally:
        actor = _administrator(username)
        progress = Progress(sys.stderr, "bytes read", file.path.stat().st_size)

        def complain(line: str) -> None:
            progress.clear()
            self.stdout.write(line)

        loading = Loading(
            file,
            actor=actor,
            now=timezone.now(),
            bad_rows=bad_rows,
            complain=complain,
            progress=progress.at,
        )
        try:
            file.prepare()
            if write:
                make_folders()
                loading.write()
            else:
                loading.rehearse()
        except KeyboardInterrupt as request:
            raise CommandError(_stopped(loading.tally, write), returncode=130) from request
        finally:
            progress.clear()
        return loading.tally

    def _report(self, file: HistoryFile, tally: Tally, bad_rows: IO[bytes], *, write: bool) -> None:
        for line in file.summary():
            self.stdout.write(line)
        if not write:
            self.stdout.write(
                f"Dry run: {tally.stored:,} rows would be stored, {tally.known:,} are stored "
                f"already, {tally.bad:,} are bad. Nothing was changed; --write stores what is good."
            )
        else:
            self.stdout.write(
                f"{tally.stored:,} rows were stored, {tally.known:,} were stored already, "
                f"{tally.bad:,} are bad."
            )
            if tally.stored:
                self.stdout.write("The worker computes their results.")
        if not tally.bad:
            return
        if not write:
            raise CommandError(f"{tally.bad:,} rows are bad: see above.")
        kept = _free_name(file.path)
        with whole_file(kept) as target:
            bad_rows.seek(0)
            shutil.copyfileobj(bad_rows, target)
        raise CommandError(
            f"{tally.bad:,} rows are bad and were put into {kept}: mend them there and load that "
            "file."
        )


def _opened(path: Path, options: dict[str, Any]) -> HistoryFile:
    if path.suffix.lower() in {".jsonl", ".ndjson"}:
        return JsonHistory(path)
    return CsvHistory(
        path,
        decimal=options["decimal"],
        encoding=options["encoding"],
        ignored=options["ignore"],
    )


def _administrator(username: str) -> Actor:
    person = Person.objects.filter(username__iexact=username).first()
    if person is None or not person.is_active or person.role != Role.ADMINISTRATOR:
        raise CommandError(
            f"{username} is no administrator of this record: name one with --as USERNAME."
        )
    return Actor.of_person(person, today=companys_day(timezone.now()))


def _stopped(tally: Tally, write: bool) -> str:
    if not write:
        return "Stopped; nothing was changed."
    return (
        f"Stopped; {tally.stored:,} rows were stored and stay. Run it again for the rest: what is "
        "stored is not stored twice."
    )


def _free_name(path: Path) -> Path:
    """Name a file beside another for its bad rows; an earlier one may be mended by now."""
    kept, number = path.with_name(f"{path.stem}.bad{path.suffix}"), 2
    while kept.exists():
        kept = path.with_name(f"{path.stem}.bad-{number}{path.suffix}")
        number += 1
    return kept

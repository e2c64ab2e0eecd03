"""Backing up the whole record, and bringing a backup back into an empty one."""

from __future__ import annotations

import datetime
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import BinaryIO, Final

from django.apps import apps
from django.conf import settings
from django.core.management.base import CommandError
from django.db import DatabaseError, OperationalError, ProgrammingError, connection, transaction
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder

from airflow_jobs.embedded import MAJOR, DatabaseUnavailable
from airflow_jobs.models import Person, Result, Site, Traverse

from .backup_archive import Archive, BadArchive, Contents, Manifest, opened_archive, write_archive
from .database_dump import DumpFailed, dumped, restore
from .whole_file import whole_file

COUNTED: Final = {"people": Person, "sites": Site, "traverses": Traverse, "results": Result}
# Functions of the triggers, which dropping their tables leaves behind.
TRIGGER_FUNCTIONS: Final = r"^(_?pgtrigger_|_pgh_)"


def back_up(path: Path, *, replace: bool, progress: Callable[[int], None]) -> Manifest:
    """Write the whole record, as it is at one moment, into a file, while the service goes on.

    Parameters
    ----------
    path
        The file.
    replace
        Whether it may exist already.
    progress
        Takes how many bytes were dumped so far.

    Returns
    -------
    Manifest
        What was written.

    Raises
    ------
    CommandError
        If there is nothing to back up or something fails, in one line; no file is left then.
    """
    try:
        with whole_file(path, replace=replace) as file, transaction.atomic():
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
                cursor.execute("SELECT pg_export_snapshot()")
                (snapshot,) = cursor.fetchone()
            contents = _contents_now()
            return write_archive(file, contents, _counted(dumped(snapshot), progress))
    except ProgrammingError as error:
        raise CommandError(
            "There are no tables yet, so there is nothing to back up: look at DATA_DIR and "
            "DATABASE_URL."
        ) from error
    except (DumpFailed, DatabaseUnavailable) as error:
        raise CommandError(f"There is no backup: {error}") from error
    except OperationalError as error:
        raise CommandError(f"There is no backup: {_one_line(error)}") from error


def bring_back(
    file: BinaryIO, name: str, *, across_majors: bool, say: Callable[[str], None]
) -> Manifest:
    """Bring a backup back into an empty record; a failure leaves that one empty.

    Parameters
    ----------
    file
        The backup, open for reading.
    name
        What to call it in messages.
    across_majors
        Whether it may come from an older major version of PostgreSQL.
    say
        Takes one short line for the operator.

    Returns
    -------
    Manifest
        What came back.

    Raises
    ------
    CommandError
        If the backup does not fit or something fails, in one line that says what to do.
    """
    try:
        with opened_archive(file) as archive:
            manifest = archive.manifest
            _refuse_unknown_migrations(manifest.contents, name)
            say(f"Checking {name} ({manifest.dump_bytes / 1e6:,.1f} MB) ...")
            archive.check()
            _refuse_other_major(manifest.contents, name, across_majors)
            _make_room()
            say(f"Restoring what was backed up at {manifest.contents.made_at} ...")
            _restore(archive)
            return manifest
    except BadArchive as error:
        raise CommandError(f"{name} was not restored: {error}") from error
    except (DumpFailed, DatabaseUnavailable) as error:
        raise CommandError(
            f"{name} was not restored, and the record is still empty: {error}"
        ) from (error)
    except DatabaseError as error:
        raise CommandError(f"{name} was not restored: {_one_line(error)}") from error


def product_version() -> str:
    """Read this release's version."""
    try:
        with (settings.BASE_DIR / "pyproject.toml").open("rb") as file:
            return str(tomllib.load(file)["project"]["version"])
    except FileNotFoundError:
        # An image holds only what the service runs on.
        return "unknown"


def _contents_now() -> Contents:
    major = _server_major()
    if major != MAJOR:
        raise CommandError(
            f"The server is PostgreSQL {major}, and this release dumps and restores PostgreSQL "
            f"{MAJOR} only: use that server's own pg_dump."
        )
    return Contents(
        product_version=product_version(),
        made_at=datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds"),
        postgresql_major=major,
        migrations=tuple(sorted(MigrationRecorder(connection).applied_migrations())),
        counts=_counts(),
    )


def _server_major() -> int:
    with connection.cursor() as cursor:
        cursor.execute("SHOW server_version_num")
        return int(cursor.fetchone()[0]) // 10000


def _counts() -> dict[str, int]:
    return {what: model._default_manager.count() for what, model in COUNTED.items()}


def _counted(blocks: Iterator[bytes], progress: Callable[[int], None]) -> Iterator[bytes]:
    done = 0
    for block in blocks:
        done += len(block)
        progress(done)
        yield block


def _refuse_unknown_migrations(contents: Contents, name: str) -> None:
    loader = MigrationLoader(None, ignore_no_migrations=True)
    known = set(loader.disk_migrations)
    for migration in loader.disk_migrations.values():
        known |= set(migration.replaces)
    unknown = sorted(set(contents.migrations) - known)
    if unknown:
        raise CommandError(
            f"{name} was made by release {contents.product_version}, which is newer than this one "
            f"({product_version()}; it does not know the migration {'.'.join(unknown[0])}): "
            "install that release or a later one and restore it there."
        )


def _refuse_other_major(contents: Contents, name: str, across_majors: bool) -> None:
    major, theirs = _server_major(), contents.postgresql_major
    if major != MAJOR:
        raise CommandError(
            f"The server is PostgreSQL {major}, and this release restores into PostgreSQL {MAJOR} "
            "only: name such a server with DATABASE_URL."
        )
    if theirs > major:
        raise CommandError(
            f"{name} was made by PostgreSQL {theirs}, and this server is {major}: restore it with "
            f"the release that brings PostgreSQL {theirs}."
        )
    if theirs < major and not across_majors:
        raise CommandError(
            f"{name} was made by PostgreSQL {theirs}, and this server is {major}: restore it with "
            f"the release that made it, or, to move the record up to {major}, add --across-majors "
            "and compare the counts afterwards."
        )


def _make_room() -> None:
    """Take away the tables of an empty record; refuse one that holds anything or is in use."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL lock_timeout = '5s'")
        cursor.execute(
            "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() "
            "AND pid <> pg_backend_pid() AND backend_type = 'client backend'"
        )
        if cursor.fetchone()[0]:
            raise CommandError(
                "Somebody is connected to the record that the backup would come into: stop the "
                "service, and whatever else uses that database, first."
            )
        present = set(connection.introspection.table_names(cursor))
        ours = {model._meta.db_table for model in apps.get_models(include_auto_created=True)}
        tables = sorted(present & (ours | {MigrationRecorder.Migration._meta.db_table}))
        quoted = [connection.ops.quote_name(table) for table in tables]
        if tables:
            # Nobody fills it between the look and the drop.
            cursor.execute(f"LOCK TABLE {', '.join(quoted)} IN ACCESS EXCLUSIVE MODE")
        held = {
            what: model._default_manager.count()
            for what, model in COUNTED.items()
            if model._meta.db_table in present
        }
        if any(held.values()):
            listed = ", ".join(f"{count:,} {what}" for what, count in held.items())
            raise CommandError(
                f"The record that the backup would come into is not empty ({listed}): name a new "
                "folder with DATA_DIR, or an empty database with DATABASE_URL."
            )
        if tables:
            cursor.execute(f"DROP TABLE {', '.join(quoted)} CASCADE")
        cursor.execute(
            "SELECT oid::regprocedure::text FROM pg_proc "
            "WHERE pronamespace = current_schema()::regnamespace AND proname ~ %s",
            [TRIGGER_FUNCTIONS],
        )
        for (function,) in cursor.fetchall():
            cursor.execute(f"DROP FUNCTION {function} CASCADE")


def _restore(archive: Archive) -> None:
    # The program takes a connection of its own.
    connection.close()
    restore(archive.blocks())
    came, expected = _counts(), archive.manifest.contents.counts
    if came != expected:
        raise CommandError(
            f"What came back ({came}) is not what the backup says ({expected}): do not use it; "
            "restore another backup into a new folder, and keep this one for an inquiry."
        )
    with connection.cursor() as cursor:
        # A restored database knows nothing of its own distribution, and would search badly.
        cursor.execute("ANALYZE")


def _one_line(error: Exception) -> str:
    return str(error).strip().splitlines()[0] if str(error).strip() else type(error).__name__

"""Backing up a record that is in use, and restoring it: all of it, or a sentence and nothing."""

from __future__ import annotations

import datetime
import hashlib
import io
import json
import signal
import stat
import subprocess
import threading
import time
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import quote

import psycopg
import pytest
from django.core.management import CommandError, call_command
from django.db import connection, connections

from airflow_jobs import embedded, recompute
from airflow_jobs.actions.one_time_codes import RECOVERY_CODES
from airflow_jobs.management.backup_archive import Contents, opened_archive, write_archive
from airflow_jobs.management.whole_file import whole_file
from airflow_jobs.models import Computation, Traverse
from tests import factories
from tests.authenticators import with_codes

from .conftest import free_port
from .running import Running

KEY = "vB7" + "qW3nZ8xK5jR1" * 5
PATIENCE_S = 60.0


def rows_of(cursor: Any) -> dict[str, tuple[int, str]]:
    """Return table -> how many rows it has and a digest of all that stands in them."""
    cursor.execute(
        "SELECT relname FROM pg_class WHERE relnamespace = 'public'::regnamespace "
        "AND relkind = 'r' ORDER BY relname"
    )
    found = {}
    for (table,) in cursor.fetchall():
        cursor.execute(
            f"SELECT count(*), coalesce(md5(string_agg(t::text, chr(10) ORDER BY t::text)), '') "
            f'FROM "{table}" t'
        )
        found[table] = cursor.fetchone()
    return found


def schema_of(cursor: Any) -> set[tuple[Any, ...]]:
    """Return triggers, indexes, constraints and functions by name."""
    cursor.execute(
        "SELECT 'trigger', tgname::text FROM pg_trigger WHERE NOT tgisinternal "
        "UNION SELECT 'index', relname::text FROM pg_class "
        "WHERE relkind = 'i' AND relnamespace = 'public'::regnamespace "
        "UNION SELECT 'constraint', conname::text FROM pg_constraint "
        "WHERE connamespace = 'public'::regnamespace "
        "UNION SELECT 'function', proname::text FROM pg_proc "
        "WHERE pronamespace = 'public'::regnamespace"
    )
    return set(cursor.fetchall())


@contextmanager
def looking_into(data: Path) -> Iterator[Any]:
    """Look into the record of a data folder, past the service."""
    with (
        embedded.running(data / "postgres") as server,
        psycopg.connect(server.url, autocommit=True) as there,
    ):
        yield there.cursor()


def restored(file: Path, data: Path, *options: str) -> Running:
    return Running(["restore", str(file), *options], data)


def made_over(file: Path, into: Path, **changed: Any) -> Path:
    """Copy a backup with some of its manifest changed."""
    with zipfile.ZipFile(file) as old, zipfile.ZipFile(into, "w") as new:
        manifest = json.loads(old.read("manifest.json"))
        new.writestr("record.dump", old.read("record.dump"))
        new.writestr("manifest.json", json.dumps({**manifest, **changed}))
    return into


@pytest.fixture
def measured(transactional_db: None) -> Traverse:
    """A record with a computed traverse, people and history."""
    factories.make_company(default_units="si")
    with_codes(factories.make_person(username="boss", role="administrator"))
    traverse = factories.make_traverse()
    factories.make_traverse(visit=traverse.visit, duct_section=traverse.duct_section)
    recompute.drain()
    assert set(Computation.objects.values_list("state", flat=True)) == {"computed"}
    return traverse


def test_a_backup_brings_back_every_row_every_result_and_every_rule(
    measured: Traverse, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = folder / "record.backup"
    call_command("backup", str(file))
    assert "1 people, 1 sites, 2 traverses, 2 results" in capsys.readouterr().out
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert [path.name for path in folder.iterdir()] == ["record.backup"]
    with connection.cursor() as cursor:
        rows, schema = rows_of(cursor), schema_of(cursor)
    # Who has one-time codes on has them on in what comes back.
    assert rows["otp_totp_totpdevice"][0] == 1
    assert rows["otp_static_statictoken"][0] == RECOVERY_CODES
    running = restored(file, folder / "var")
    assert running.ends() == (0, "")
    assert running.lines[-2].startswith(
        "Restored 1 people, 1 sites, 2 traverses, 2 results, backed up at "
    )
    assert running.lines[-1] == "Start it with: manage.py serve"
    assert not embedded.listens(folder / "var" / "postgres")
    with looking_into(folder / "var") as cursor:
        assert rows_of(cursor) == rows
        assert schema_of(cursor) == schema
    # The same folder is not empty any more.
    again = restored(file, folder / "var")
    status, errors = again.ends()
    assert status == 1
    assert errors == (
        "CommandError: The record that the backup would come into is not empty (1 people, "
        "1 sites, 2 traverses, 2 results): name a new folder with DATA_DIR, or an empty database "
        "with DATABASE_URL."
    )
    with looking_into(folder / "var") as cursor:
        assert rows_of(cursor) == rows


def test_a_backup_is_of_one_moment_while_others_go_on_writing(
    measured: Traverse, folder: Path
) -> None:
    stop, started = threading.Event(), threading.Event()

    def write() -> None:
        try:
            while not stop.is_set():
                factories.make_traverse(
                    visit=measured.visit,
                    duct_section=measured.duct_section,
                    instrument=measured.instrument,
                )
                started.set()
        finally:
            connections.close_all()

    writer = threading.Thread(target=write)
    writer.start()
    try:
        assert started.wait(PATIENCE_S)
        call_command("backup", str(folder / "record.backup"))
        during = Traverse.objects.count()
    finally:
        stop.set()
        writer.join()
    with (folder / "record.backup").open("rb") as file, opened_archive(file) as archive:
        counted = archive.manifest.contents.counts["traverses"]
    assert 2 < counted < during
    assert restored(folder / "record.backup", folder / "var").ends() == (0, "")
    earliest = [
        str(key) for key in Traverse.objects.order_by("created_at").values_list("pk", flat=True)
    ]
    with looking_into(folder / "var") as cursor:
        cursor.execute("SELECT id::text FROM airflow_jobs_traverse")
        assert {key for (key,) in cursor.fetchall()} == set(earliest[:counted])


@contextmanager
def waiting_backup(file: Path) -> Iterator[subprocess.Popen[str]]:
    """Have a backup of the tests' database that stands in the middle of its dump.

    A table is kept locked until the block ends.
    """
    settings = connection.settings_dict
    url = (
        f"postgresql://{settings['USER']}@/{settings['NAME']}"
        f"?host={quote(settings['HOST'], safe='')}"
    )
    with psycopg.connect(url) as holder, psycopg.connect(url, autocommit=True) as watcher:
        holder.execute("LOCK TABLE airflow_jobs_site IN ACCESS EXCLUSIVE MODE")
        running = Running(
            ["backup", str(file)], file.parent / "var", DATABASE_URL=url, SECRET_KEY=KEY
        )
        waiting = (
            "SELECT 1 FROM pg_locks WHERE NOT granted AND relation = 'airflow_jobs_site'::regclass"
        )
        until = time.monotonic() + PATIENCE_S
        while watcher.execute(waiting).fetchone() is None:
            assert running.process.poll() is None, running.ends()
            assert time.monotonic() < until
            time.sleep(0.05)
        yield running.process
        holder.rollback()


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_backup_that_is_stopped_half_way_leaves_nothing(
    measured: Traverse, folder: Path, number: int
) -> None:
    file = folder / "files" / "record.backup"
    file.parent.mkdir()
    with waiting_backup(file) as process:
        assert not file.exists()
        process.send_signal(number)
        _, errors = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 130
    assert errors.strip() == "CommandError: Stopped; no backup was written."
    assert list(file.parent.glob("*.backup*")) + list(file.parent.glob(".*")) == []


def test_a_backup_that_is_killed_half_way_leaves_no_file_of_that_name(
    measured: Traverse, folder: Path
) -> None:
    file = folder / "files" / "record.backup"
    file.parent.mkdir()
    with waiting_backup(file) as process:
        process.kill()
        process.communicate(timeout=PATIENCE_S)
    assert not file.exists()
    call_command("backup", str(file))
    assert sorted(path.name for path in file.parent.iterdir() if path.is_file()) == [
        "record.backup"
    ]


def test_a_backup_replaces_a_file_only_when_it_is_told_to(measured: Traverse, folder: Path) -> None:
    file = folder / "record.backup"
    file.write_text("precious")
    with pytest.raises(CommandError, match=r"is there already: name another file, or add --force"):
        call_command("backup", str(file))
    assert file.read_text() == "precious"
    call_command("backup", str(file), force=True)
    assert zipfile.is_zipfile(file)
    with pytest.raises(CommandError, match="cannot be written .No such file or directory.: name"):
        call_command("backup", str(folder / "nowhere" / "record.backup"))


@pytest.mark.parametrize(
    ("command", "words"),
    [
        (["backup", "record.backup"], "so there is nothing to back up"),
        (["export_history", "history.jsonl"], "so there is nothing to export"),
        (["load_history", "manage.py", "--as", "boss"], "run manage.py migrate first"),
    ],
)
def test_a_record_without_tables_is_told_in_one_line(
    folder: Path, command: list[str], words: str
) -> None:
    if command[0] != "load_history":
        command = [command[0], str(folder / command[1])]
    status, errors = Running(command, folder / "var").ends()
    assert status == 1
    assert errors.startswith("CommandError: There are no tables yet")
    assert words in errors
    assert "\n" not in errors
    assert [path for path in folder.iterdir() if path.is_file() and "lock" not in path.name] == []


def test_a_server_that_is_away_is_told_in_one_line(folder: Path) -> None:
    url = f"postgresql://record@localhost:{free_port()}/record"
    running = Running(
        ["backup", str(folder / "record.backup")], folder / "var", DATABASE_URL=url, SECRET_KEY=KEY
    )
    status, errors = running.ends()
    assert status == 1
    assert errors.startswith("CommandError: There is no backup: connection failed")
    assert "\n" not in errors


def test_a_file_that_is_just_being_written_is_left_to_its_writer(folder: Path) -> None:
    file = folder / "record.backup"
    with whole_file(file) as first:
        first.write(b"first")
        with (
            pytest.raises(CommandError, match="is just being written by another process"),
            whole_file(file),
        ):
            pass
    assert file.read_bytes() == b"first"


@pytest.fixture(scope="module")
def empty_backup(
    django_db_setup: None, django_db_blocker: Any, tmp_path_factory: pytest.TempPathFactory
) -> Path:
    """A backup of a record without anything in it."""
    file = tmp_path_factory.mktemp("backups") / "record.backup"
    with django_db_blocker.unblock():
        call_command("backup", str(file))
        connections.close_all()
    return file


def _cut(file: Path, into: Path) -> Path:
    into.write_bytes(file.read_bytes()[:-100])
    return into


def _damaged(file: Path, into: Path) -> Path:
    content = bytearray(file.read_bytes())
    content[len(content) // 2] ^= 1
    into.write_bytes(content)
    return into


def _another_zip(file: Path, into: Path) -> Path:
    with zipfile.ZipFile(into, "w") as archive:
        archive.writestr("letter.txt", "no backup")
    return into


def _of_newer_postgresql(file: Path, into: Path) -> Path:
    return made_over(file, into, postgresql_major=embedded.MAJOR + 1)


def _of_older_postgresql(file: Path, into: Path) -> Path:
    return made_over(file, into, postgresql_major=embedded.MAJOR - 1)


def _of_newer_release(file: Path, into: Path) -> Path:
    return made_over(file, into, product_version="9.9", migrations=[["airflow_jobs", "0999_later"]])


def _of_later_form(file: Path, into: Path) -> Path:
    return made_over(file, into, product_version="9.9", format=2)


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (_cut, "it is no backup, or is cut short: name a file made by the backup command"),
        (_damaged, "its dump does not match its checksum: copy it again"),
        (_another_zip, "no backup of this service: name a file made by the backup command"),
        (_of_newer_postgresql, "restore it with the release that brings PostgreSQL 19"),
        (_of_older_postgresql, "restore it with the release that made it, or, to move the record"),
        (_of_newer_release, "does not know the migration airflow_jobs.0999_later"),
        (_of_later_form, "install that release or a later one and restore it there"),
    ],
)
def test_a_backup_that_does_not_fit_is_refused_with_what_to_do_and_changes_nothing(
    transactional_db: None,
    empty_backup: Path,
    tmp_path: Path,
    spoil: Callable[[Path, Path], Path],
    words: str,
) -> None:
    with connection.cursor() as cursor:
        before = rows_of(cursor)
    spoiled = spoil(empty_backup, tmp_path / "spoiled.backup")
    with pytest.raises(CommandError) as refusal:
        call_command("restore", spoiled)
    assert words in str(refusal.value)
    assert "spoiled.backup" in str(refusal.value)
    assert "\n" not in str(refusal.value)
    with connection.cursor() as cursor:
        assert rows_of(cursor) == before


def test_a_restore_waits_for_no_one_who_is_connected_and_says_so(
    transactional_db: None, empty_backup: Path
) -> None:
    settings = connection.settings_dict
    with (
        psycopg.connect(host=settings["HOST"], user=settings["USER"], dbname=settings["NAME"]),
        pytest.raises(CommandError, match="stop the service, and whatever else uses"),
    ):
        call_command("restore", empty_backup)


def test_a_restore_that_fails_leaves_the_record_empty_and_the_next_one_works(
    measured: Traverse, folder: Path
) -> None:
    whole = folder / "record.backup"
    call_command("backup", str(whole))
    with zipfile.ZipFile(whole) as archive:
        dump = archive.read("record.dump")
        manifest = json.loads(archive.read("manifest.json"))
    # Half a dump with a checksum of its own: only PostgreSQL can notice.
    contents = Contents(
        **{name: manifest[name] for name in ("product_version", "made_at", "postgresql_major")},
        migrations=tuple(map(tuple, manifest["migrations"])),
        counts=manifest["counts"],
    )
    half = folder / "half.backup"
    with half.open("wb") as file:
        written = write_archive(file, contents, iter([dump[: len(dump) // 2]]))
    assert written.dump_sha256 == hashlib.sha256(dump[: len(dump) // 2]).hexdigest()
    status, errors = restored(half, folder / "var").ends()
    assert status == 1
    assert "was not restored, and the record is still empty: pg_restore failed:" in errors
    assert "\n" not in errors
    with looking_into(folder / "var") as cursor:
        assert rows_of(cursor) == {}
    assert restored(whole, folder / "var").ends() == (0, "")
    with looking_into(folder / "var") as cursor:
        cursor.execute("SELECT count(*) FROM airflow_jobs_traverse")
        assert cursor.fetchone() == (2,)


def test_a_restore_goes_into_a_record_that_was_set_up_but_never_used(
    transactional_db: None, empty_backup: Path
) -> None:
    with connection.cursor() as cursor:
        schema = schema_of(cursor)
    call_command("restore", empty_backup)
    with connection.cursor() as cursor:
        assert schema_of(cursor) == schema


def test_what_a_manifest_says_is_read_back_as_it_was_written() -> None:
    contents = Contents(
        product_version="1.2",
        made_at=datetime.datetime(2026, 6, 3, tzinfo=datetime.UTC).isoformat(),
        postgresql_major=18,
        migrations=(("airflow_jobs", "0001_initial"),),
        counts={"traverses": 3},
    )
    file = io.BytesIO()
    written = write_archive(file, contents, iter([b"one", b"two"]))
    with opened_archive(file) as archive:
        assert archive.manifest == written
        archive.check()
        assert b"".join(archive.blocks()) == b"onetwo"

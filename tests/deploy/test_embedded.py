"""The embedded PostgreSQL: real servers, real kills, real accounts."""

from __future__ import annotations

import contextlib
import ctypes
import os
import pwd
import re
import shutil
import stat
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import psutil
import psycopg
import pytest

from airflow_jobs import embedded
from config.env import PROJECT_DIRECTORY

from .conftest import copy_wheel, fork, kill_tree, postmaster_of, server_processes

as_root = pytest.mark.skipif(os.geteuid() != 0, reason="only root can act for another account")


def ask(directory: Path, statement: str) -> Any:
    with psycopg.connect(embedded.locate(directory).url, autocommit=True) as connection:
        cursor = connection.execute(statement.encode())
        row = cursor.fetchone() if cursor.description else None
    return row[0] if row else None


def write_rows(directory: Path) -> None:
    ask(directory, "CREATE TABLE kept AS SELECT generate_series(1, 1000) AS number")


def count_rows(directory: Path) -> Any:
    return ask(directory, "SELECT count(*) FROM kept")


def test_importing_starts_and_makes_nothing(folder: Path) -> None:
    subprocess.run(
        [
            *(sys.executable, "-c"),
            "import pathlib; from airflow_jobs import embedded; "
            "embedded.locate(pathlib.Path('postgres'))",
        ],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(PROJECT_DIRECTORY)},
        check=True,
    )
    assert list(folder.iterdir()) == []


def test_the_first_start_makes_a_database_that_keeps_what_it_confirms(folder: Path) -> None:
    directory = folder / "postgres"
    connection = embedded.ensure(directory)
    assert connection.url == embedded.locate(directory).url
    assert embedded.listens(directory)
    for name in ("fsync", "synchronous_commit", "full_page_writes", "data_checksums"):
        assert ask(directory, f"SHOW {name}") == "on"
    assert ask(directory, "SHOW server_encoding") == "UTF8"
    assert ask(directory, "SELECT lower('ÄÉΩ')") == "äéω"


def test_nobody_else_can_connect(folder: Path) -> None:
    directory = folder / "postgres"
    embedded.ensure(directory)
    assert ask(directory, "SHOW listen_addresses") == ""
    for path in (directory, directory / "data", directory / "socket"):
        assert stat.S_IMODE(path.stat().st_mode) == 0o700
    assert postmaster_of(directory).net_connections("inet") == []


def test_a_restart_keeps_the_rows(folder: Path) -> None:
    directory = folder / "postgres"
    embedded.ensure(directory)
    write_rows(directory)
    assert embedded.stop(directory)
    assert server_processes(directory) == []
    embedded.ensure(directory)
    assert count_rows(directory) == 1000


def test_stopping_what_never_ran_does_nothing(folder: Path) -> None:
    assert embedded.stop(folder / "postgres")
    assert list(folder.iterdir()) == []


def test_a_killed_server_starts_again_with_every_committed_row(folder: Path) -> None:
    directory = folder / "postgres"
    embedded.ensure(directory)
    write_rows(directory)
    with psycopg.connect(embedded.locate(directory).url) as open_transaction:
        open_transaction.execute("INSERT INTO kept VALUES (1001)")
        postmaster_of(directory).kill()
        embedded.ensure(directory)
        assert count_rows(directory) == 1000
        open_transaction.close()


def test_a_server_killed_with_all_its_processes_starts_again(folder: Path) -> None:
    directory = folder / "postgres"
    embedded.ensure(directory)
    write_rows(directory)
    kill_tree(postmaster_of(directory).pid)
    embedded.ensure(directory)
    assert count_rows(directory) == 1000


@pytest.mark.skipif(sys.platform != "linux", reason="adopting orphans is Linux's")
def test_a_dead_server_that_nobody_reaped_is_not_taken_for_alive(folder: Path) -> None:
    directory = folder / "postgres"

    def kill_unreaped() -> Any:
        become_subreaper = 36
        assert ctypes.CDLL(None).prctl(become_subreaper, 1) == 0
        embedded.ensure(directory)
        write_rows(directory)
        killed = postmaster_of(directory)
        killed.kill()
        while killed.status() != psutil.STATUS_ZOMBIE:
            time.sleep(0.01)
        embedded.ensure(directory)
        assert killed.status() == psutil.STATUS_ZOMBIE
        return count_rows(directory)

    assert fork(kill_unreaped)() == 1000


def test_a_note_that_names_a_strangers_process_does_not_stop_the_start(folder: Path) -> None:
    directory = folder / "postgres"
    embedded.ensure(directory)
    write_rows(directory)
    note = directory / "data" / "postmaster.pid"
    killed = postmaster_of(directory)
    kill_tree(killed.pid)
    lines = note.read_text().splitlines()
    note.write_text("\n".join([str(os.getpid()), *lines[1:]]) + "\n")
    embedded.ensure(directory)
    assert count_rows(directory) == 1000


def test_an_interrupted_first_start_leaves_nothing_in_the_way(folder: Path) -> None:
    directory = folder / "postgres"
    starting = fork(lambda: embedded.ensure(directory))
    while not (directory / "data.draft" / "PG_VERSION").exists():
        time.sleep(0.001)
    kill_tree(starting.process_id)  # type: ignore[attr-defined]
    with pytest.raises(ChildProcessError):
        starting()
    assert not (directory / "data").exists()
    embedded.ensure(directory)
    write_rows(directory)
    assert count_rows(directory) == 1000
    assert not (directory / "data.draft").exists()


def test_an_empty_data_folder_is_filled(folder: Path) -> None:
    directory = folder / "postgres"
    (directory / "data").mkdir(parents=True)
    if os.geteuid() == 0:
        nobody = pwd.getpwnam("nobody")
        os.chown(directory, nobody.pw_uid, nobody.pw_gid)
    embedded.ensure(directory)
    assert embedded.listens(directory)


def test_an_incomplete_data_folder_is_said_and_left_alone(folder: Path) -> None:
    directory = folder / "postgres"
    embedded.ensure(directory)
    embedded.stop(directory)
    (directory / "data" / "global" / "pg_control").unlink()
    with pytest.raises(embedded.DatabaseUnavailable, match=r"not a complete.*restore a backup"):
        embedded.ensure(directory)
    assert (directory / "data" / "PG_VERSION").exists()


def test_data_of_another_major_version_are_refused_with_what_to_do(folder: Path) -> None:
    directory = folder / "postgres"
    embedded.ensure(directory)
    embedded.stop(directory)
    (directory / "data" / "PG_VERSION").write_text("16\n")
    with pytest.raises(
        embedded.DatabaseUnavailable, match=r"made by PostgreSQL 16 .* brings 18: make a backup"
    ) as caught:
        embedded.ensure(directory)
    assert "\n" not in str(caught.value)


def test_a_server_that_cannot_start_says_why(folder: Path) -> None:
    directory = folder / "postgres"
    embedded.ensure(directory)
    embedded.stop(directory)
    with (directory / "data" / "postgresql.conf").open("a") as configuration:
        configuration.write("shared_buffers = 'much'\n")
    with pytest.raises(embedded.DatabaseUnavailable, match=r"did not start .*server\.log"):
        embedded.ensure(directory)


@pytest.mark.parametrize("name", ["two words", "a'b\"c", "price $(touch x) `y`", "a,b", "Größe"])
def test_any_folder_name_will_do(folder: Path, name: str) -> None:
    directory = folder / name / "postgres"
    directory.parent.mkdir()
    embedded.ensure(directory)
    write_rows(directory)
    assert embedded.stop(directory)
    embedded.ensure(directory)
    assert count_rows(directory) == 1000


def test_a_path_too_long_for_a_socket_gets_one_in_a_private_folder_elsewhere(folder: Path) -> None:
    directory = folder / ("deep" * 20) / ("deeper" * 10) / "postgres"
    embedded.ensure(directory)
    write_rows(directory)
    socket_directory = embedded.locate(directory).socket_directory
    assert socket_directory.parent == Path("/tmp")
    assert stat.S_IMODE(socket_directory.stat().st_mode) == 0o700
    embedded.stop(directory)
    embedded.ensure(directory)
    assert count_rows(directory) == 1000


def test_a_socket_folder_that_others_can_enter_is_refused(folder: Path) -> None:
    directory = folder / ("deep" * 20) / ("deeper" * 10) / "postgres"
    socket_directory = embedded.locate(directory).socket_directory
    socket_directory.mkdir()
    socket_directory.chmod(0o777)
    try:
        with pytest.raises(embedded.DatabaseUnavailable, match=re.escape(str(socket_directory))):
            embedded.ensure(directory)
    finally:
        socket_directory.rmdir()


def test_starts_at_the_same_moment_make_one_server(folder: Path) -> None:
    directory = folder / "postgres"
    starts = [fork(lambda: embedded.ensure(directory).url) for _ in range(4)]
    assert len({start() for start in starts}) == 1
    processes = server_processes(directory)
    leaders = []
    for process in processes:
        # A child that only answered a question may be gone by now.
        with contextlib.suppress(psutil.NoSuchProcess):
            if process.ppid() not in {one.pid for one in processes}:
                leaders.append(process)
    assert len(leaders) == 1


def test_a_folder_moved_while_it_is_served_is_served_from_its_new_place(folder: Path) -> None:
    before, after = folder / "before" / "postgres", folder / "after" / "postgres"
    embedded.ensure(before)
    write_rows(before)
    before.parent.rename(after.parent)
    embedded.ensure(after)
    assert count_rows(after) == 1000


def test_the_last_to_leave_stops_the_server(folder: Path) -> None:
    directory = folder / "postgres"
    with embedded.running(directory):
        with embedded.running(directory):
            pass
        assert embedded.listens(directory)
        assert not embedded.stop(directory, only_if_unused=True)
        assert embedded.listens(directory)
    assert server_processes(directory) == []


def test_stopping_waits_for_a_server_that_ends_later_than_its_note(folder: Path) -> None:
    directory = folder / "postgres"
    embedded.ensure(directory)
    # The server itself takes an instant to end; one that stands in for it takes its time.
    lingering = folder / "postgres-lingering"
    lingering.symlink_to(shutil.which("sleep") or "sleep")
    with subprocess.Popen([lingering, "2"], cwd=directory / "data") as ending:
        assert embedded.stop(directory)
        assert ending.poll() == 0
    assert server_processes(directory) == []


def test_a_killed_user_does_not_count(folder: Path) -> None:
    directory = folder / "postgres"

    def use_for_long() -> None:
        with embedded.running(directory):
            (folder / "in use").touch()
            time.sleep(600)

    using = fork(use_for_long)
    while not (folder / "in use").exists():
        time.sleep(0.01)
    assert not embedded.stop(directory, only_if_unused=True)
    os.kill(using.process_id, 9)  # type: ignore[attr-defined]
    with pytest.raises(ChildProcessError):
        using()
    assert embedded.stop(directory, only_if_unused=True)
    assert server_processes(directory) == []


@as_root
def test_root_has_the_server_run_by_an_account_without_rights(folder: Path) -> None:
    directory = folder / "postgres"
    embedded.ensure(directory)
    accounts = set()
    for process in server_processes(directory):
        # One that only answered a question may be gone by now.
        with contextlib.suppress(psutil.NoSuchProcess):
            accounts.add(process.username())
    assert accounts == {"nobody"}


@as_root
def test_an_ordinary_user_runs_the_server_oneself(
    folder: Path, reachable_wheel: Callable[[], None]
) -> None:
    _give(folder)
    directory = folder / "postgres"

    def use() -> Any:
        reachable_wheel()
        embedded.ensure(directory)
        write_rows(directory)
        embedded.stop(directory)
        embedded.ensure(directory)
        return count_rows(directory)

    assert fork(use, account="nobody")() == 1000


@as_root
def test_root_locks_no_ordinary_user_out(folder: Path, reachable_wheel: Callable[[], None]) -> None:
    _give(folder)
    directory = folder / "var" / "postgres"
    (folder / "var").mkdir()
    _give(folder / "var")
    embedded.ensure(directory)
    write_rows(directory)

    def use() -> Any:
        reachable_wheel()
        embedded.ensure(directory)
        embedded.stop(directory)
        with embedded.running(directory):
            return count_rows(directory)

    assert fork(use, account="nobody")() == 1000


@as_root
def test_an_ordinary_user_in_roots_folder_is_told_what_to_do(
    folder: Path, reachable_wheel: Callable[[], None]
) -> None:
    embedded.ensure(folder / "postgres")

    def use() -> None:
        reachable_wheel()
        embedded.ensure(folder / "postgres")

    with pytest.raises(
        embedded.DatabaseUnavailable, match=r"belongs to root: run as that account .* DATA_DIR"
    ):
        fork(use, account="nobody")()


@as_root
def test_below_a_folder_closed_to_others_the_data_go_where_the_account_can_reach(
    folder: Path,
) -> None:
    closed = folder / "closed"
    closed.mkdir(mode=0o700)
    directory = closed / "postgres"
    embedded.ensure(directory)
    write_rows(directory)
    real = directory.resolve()
    assert real.is_relative_to(embedded.SHARED_DIRECTORY)
    embedded.stop(directory)
    embedded.ensure(directory)
    assert count_rows(directory) == 1000
    assert directory.resolve() == real


@as_root
def test_programs_that_the_account_cannot_reach_are_copied_for_it(folder: Path) -> None:
    closed, shared = folder / "closed", folder / "shared"
    closed.mkdir(mode=0o700)
    copy_wheel(closed)
    directory = folder / "postgres"

    def use() -> Any:
        sys.path.insert(0, str(closed))
        embedded.SHARED_DIRECTORY = shared  # type: ignore[misc]
        assert embedded.program("initdb").is_relative_to(closed)
        embedded.ensure(directory)
        write_rows(directory)
        embedded.stop(directory)
        embedded.ensure(directory)
        return count_rows(directory), postmaster_of(directory).exe()

    rows, program = fork(use)()
    assert rows == 1000
    assert Path(program).is_relative_to(shared)


@as_root
@pytest.mark.skipif(shutil.which("setpriv") is None, reason="setpriv is Linux's")
def test_root_without_a_view_of_other_accounts_processes_can_start_again(folder: Path) -> None:
    # As in a container. The interpreter is the same, the capability is gone.
    script = (
        "import os, pathlib, psutil\n"
        "from airflow_jobs import embedded\n"
        f"directory = pathlib.Path({str(folder / 'postgres')!r})\n"
        "def pid(): return int((directory / 'data/postmaster.pid').read_text().split()[0])\n"
        "embedded.ensure(directory); first = pid()\n"
        "try: psutil.Process(first).cwd(); print('sees')\n"
        "except psutil.AccessDenied: print('blind')\n"
        "embedded.ensure(directory); assert pid() == first\n"
        "os.kill(first, 9)\n"
        "embedded.ensure(directory); assert pid() != first\n"
        "assert embedded.stop(directory); print('stopped')\n"
    )
    done = subprocess.run(
        [
            *("setpriv", "--bounding-set", "-sys_ptrace", "--inh-caps", "-sys_ptrace"),
            *(sys.executable, "-c", script),
        ],
        cwd=PROJECT_DIRECTORY,
        env={**os.environ, "PYTHONPATH": str(PROJECT_DIRECTORY)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.stdout.split(), done.stderr) == (["blind", "stopped"], "")
    assert server_processes(folder / "postgres") == []


def _give(path: Path) -> None:
    nobody = pwd.getpwnam("nobody")
    os.chown(path, nobody.pw_uid, nobody.pw_gid)

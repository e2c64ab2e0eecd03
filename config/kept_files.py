"""The data folder and the secret key that is kept there."""

import os
import secrets
import stat
from pathlib import Path
from typing import Final

from .setting_values import BadSetting, Database

PROJECT_DIRECTORY: Final = Path(__file__).resolve().parent.parent

# Django's own deployment check calls a shorter key, or one of fewer different characters, weak.
SECRET_KEY_LENGTH: Final = 50
SECRET_KEY_DIFFERENT_CHARACTERS: Final = 10
SAMPLE_KEY_MARKS: Final = (
    "change-me",
    "change_me",
    "changeme",
    "django-insecure",
    "do-not-use",
    "example",
    "insecure",
    "placeholder",
    "replace-me",
    "your-secret",
    "yoursecret",
    "supersecret",
)
MAKE_A_KEY: Final = "python3 -c 'import secrets; print(secrets.token_urlsafe(48))'"


def data_directory_of(value: str | None) -> Path:
    directory = PROJECT_DIRECTORY / Path(value or "var").expanduser()
    if directory.exists() and not directory.is_dir():
        raise BadSetting("DATA_DIR", f"{value!r}", "is a file", "name a folder")
    return directory


def secret_key_of(value: str | None, data_directory: Path, database: Database | None) -> str:
    if value is None:
        if database is not None:
            raise BadSetting(
                "SECRET_KEY",
                "is unset",
                "it must be set where DATABASE_URL is, so that every process has the same",
                f"make one with {MAKE_A_KEY}",
            )
        return _kept_key(data_directory / "secret_key")
    if len(value) < SECRET_KEY_LENGTH:
        raise bad_key(f"has {len(value)} characters, fewer than {SECRET_KEY_LENGTH}")
    if len(set(value)) < SECRET_KEY_DIFFERENT_CHARACTERS:
        raise bad_key(f"has only {len(set(value))} different characters")
    if any(mark in value.lower() for mark in SAMPLE_KEY_MARKS):
        raise bad_key("looks like a sample that others have too")
    return value


def bad_key(problem: str) -> BadSetting:
    return BadSetting("SECRET_KEY", "(not shown)", problem, f"make one with {MAKE_A_KEY}")


def _kept_key(path: Path) -> str:
    """Read the key kept in the data folder; make it first where there is none."""
    try:
        if not path.exists():
            make_directory(path.parent)
            _make_key(path)
        mode = stat.S_IMODE(path.stat().st_mode)
        key = path.read_text("ascii").strip()
    except (OSError, UnicodeDecodeError) as error:
        raise BadSetting(
            "SECRET_KEY",
            "is unset",
            f"the one kept in {path} cannot be used ({getattr(error, 'strerror', error)})",
            "run as the owner of that folder, or name another with DATA_DIR",
        ) from error
    if mode & 0o077:
        raise BadSetting(
            "SECRET_KEY",
            "is unset",
            f"others may read the one kept in {path} (mode {mode:04o})",
            "chmod 600 that file, or delete it to have a new one made",
        )
    if len(key) < SECRET_KEY_LENGTH:
        raise BadSetting(
            "SECRET_KEY",
            "is unset",
            f"the one kept in {path} is cut short",
            "delete that file to have a new one made: everybody signs in again",
        )
    return key


def _make_key(path: Path) -> None:
    # Written whole under another name, then linked: of two processes that start at once both
    # read the same key, and none reads half of one.
    draft = path.with_name(f"{path.name}.{os.getpid()}.{secrets.token_hex(4)}")
    descriptor = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(descriptor, "w") as file:
            file.write(secrets.token_urlsafe(48) + "\n")
            file.flush()
            os.fsync(file.fileno())
        give_to_owner_of(path.parent, draft)
        try:
            os.link(draft, path)
        except FileExistsError:
            pass
    finally:
        draft.unlink()


def make_directory(path: Path) -> None:
    """Make a folder and those above it; where root makes them, for whom the one above is.

    Parameters
    ----------
    path
        The folder; it may exist.

    Raises
    ------
    OSError
        If it cannot be made.
    """
    if path.is_dir():
        return
    make_directory(path.parent)
    path.mkdir(mode=0o755, exist_ok=True)
    give_to_owner_of(path.parent, path)


def give_to_owner_of(folder: Path, path: Path) -> None:
    # What root leaves in somebody's folder must not lock that person out.
    if os.geteuid() == 0:
        owner = folder.stat()
        os.chown(path, owner.st_uid, owner.st_gid, follow_symlinks=False)

"""Files that come into being whole: written under another name and renamed at the end."""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from django.core.management.base import CommandError


@contextmanager
def whole_file(path: Path, *, replace: bool = False) -> Iterator[BinaryIO]:
    """Write a file that has its name only once it is complete and on the disk.

    Its owner alone may read it. An exception, Ctrl-C included, leaves nothing; what a killed
    process leaves behind has another name, and the next one to write the same file takes it over.

    Parameters
    ----------
    path
        The file.
    replace
        Whether it may exist already.

    Yields
    ------
    BinaryIO
        The draft, open for writing; it can seek.

    Raises
    ------
    CommandError
        If the file is there already, is just being written, or cannot be written; in one line.
    """
    _refuse_existing(path, replace)
    draft = path.with_name(f".{path.name}.part")
    try:
        file = os.fdopen(os.open(draft, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW, 0o600), "r+b")
    except OSError as error:
        raise CommandError(
            f"{path} cannot be written ({error.strerror}): name a file in a folder that is there "
            "and that you may write to."
        ) from error
    with file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise CommandError(
                f"{path} is just being written by another process: wait for it, or name another "
                "file."
            ) from error
        try:
            file.truncate()
            os.fchmod(file.fileno(), 0o600)
            yield file
            file.flush()
            os.fsync(file.fileno())
            _refuse_existing(path, replace)
            draft.rename(path)
            _sync(path.parent)
        except OSError as error:
            draft.unlink(missing_ok=True)
            raise CommandError(f"{path} cannot be written ({error.strerror or error}).") from error
        except BaseException:
            draft.unlink(missing_ok=True)
            raise


def _refuse_existing(path: Path, replace: bool) -> None:
    if path.is_dir():
        raise CommandError(f"{path} is a folder: name a file in it.")
    if path.exists() and not replace:
        raise CommandError(f"{path} is there already: name another file, or add --force.")


def _sync(directory: Path) -> None:
    descriptor = os.open(directory, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)

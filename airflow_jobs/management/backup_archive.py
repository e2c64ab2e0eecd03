"""The file of a backup: a zip of the database's dump and of a manifest that says what it is."""

from __future__ import annotations

import hashlib
import json
import zipfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from typing import Any, BinaryIO, Final

FORMAT: Final = 1
MANIFEST: Final = "manifest.json"
DUMP: Final = "record.dump"
BLOCK_BYTES: Final = 1024 * 1024
LARGEST_MANIFEST: Final = 1024 * 1024


class BadArchive(ValueError):
    """The file is no backup that can be used; the text is one line that says what to do."""


@dataclass(frozen=True, kw_only=True)
class Contents:
    """What a backup is a backup of."""

    product_version: str
    made_at: str
    postgresql_major: int
    migrations: tuple[tuple[str, str], ...]
    """Application and name of each migration that was applied."""
    counts: dict[str, int]
    """How many rows there are, by what they are."""


@dataclass(frozen=True, kw_only=True)
class Manifest:
    """What a backup is of, and the mark by which its dump is known to be whole."""

    contents: Contents
    dump_bytes: int
    dump_sha256: str


def write_archive(file: BinaryIO, contents: Contents, dump: Iterable[bytes]) -> Manifest:
    """Write a backup: the dump as it comes, and after it the manifest with its checksum.

    Parameters
    ----------
    file
        Open for writing, empty.
    contents
        What the dump is of.
    dump
        The dump in blocks. PostgreSQL has compressed it already.

    Returns
    -------
    Manifest
        What was written.
    """
    digest, size = hashlib.sha256(), 0
    with zipfile.ZipFile(file, "w", zipfile.ZIP_STORED) as archive:
        with archive.open(DUMP, "w", force_zip64=True) as target:
            for block in dump:
                target.write(block)
                digest.update(block)
                size += len(block)
        manifest = Manifest(contents=contents, dump_bytes=size, dump_sha256=digest.hexdigest())
        document = {
            "format": FORMAT,
            **asdict(contents),
            "dump_bytes": size,
            "dump_sha256": manifest.dump_sha256,
        }
        archive.writestr(MANIFEST, json.dumps(document, indent=2) + "\n")
    return manifest


@contextmanager
def opened_archive(file: BinaryIO) -> Iterator[Archive]:
    """Open a backup for reading and read its manifest.

    Parameters
    ----------
    file
        Open for reading; it can seek.

    Yields
    ------
    Archive
        The backup; its dump is not checked yet.

    Raises
    ------
    BadArchive
        If it is no backup, is cut short, or is of a later kind.
    """
    try:
        archive = zipfile.ZipFile(file)
    except zipfile.BadZipFile as error:
        raise BadArchive(
            "it is no backup, or is cut short: name a file made by the backup command, or copy it "
            "again."
        ) from error
    with archive:
        yield Archive(archive, _manifest(archive))


class Archive:
    """A backup that is open for reading."""

    def __init__(self, archive: zipfile.ZipFile, manifest: Manifest) -> None:
        self._archive = archive
        self.manifest = manifest

    def check(self) -> None:
        """Read the dump once and hold it against its checksum.

        Raises
        ------
        BadArchive
            If they differ.
        """
        digest = hashlib.sha256()
        for block in self.blocks():
            digest.update(block)
        if digest.hexdigest() != self.manifest.dump_sha256:
            raise BadArchive(_DAMAGED)

    def blocks(self) -> Iterator[bytes]:
        """Read the dump in blocks.

        Raises
        ------
        BadArchive
            If it is damaged.
        """
        try:
            with self._archive.open(DUMP) as dump:
                while block := dump.read(BLOCK_BYTES):
                    yield block
        except (zipfile.BadZipFile, EOFError, OSError) as error:
            raise BadArchive(_DAMAGED) from error


_DAMAGED: Final = "its dump does not match its checksum: copy it again, or take another backup."


def _manifest(archive: zipfile.ZipFile) -> Manifest:
    try:
        if archive.getinfo(MANIFEST).file_size > LARGEST_MANIFEST:
            raise ValueError("the manifest is too long")
        archive.getinfo(DUMP)
        document = json.loads(archive.read(MANIFEST))
        kind = int(document["format"])
        if kind > FORMAT:
            raise BadArchive(
                f"it was made by release {document['product_version']}, in a form that this one "
                "does not know: install that release or a later one and restore it there."
            )
        return _parsed(document)
    except (KeyError, TypeError, ValueError, AttributeError, zipfile.BadZipFile) as error:
        if isinstance(error, BadArchive):
            raise
        raise BadArchive(
            "it is a zip file, but no backup of this service: name a file made by the backup "
            "command."
        ) from error


def _parsed(document: Any) -> Manifest:
    return Manifest(
        contents=Contents(
            product_version=str(document["product_version"]),
            made_at=str(document["made_at"]),
            postgresql_major=int(document["postgresql_major"]),
            migrations=tuple((str(app), str(name)) for app, name in document["migrations"]),
            counts={str(what): int(count) for what, count in document["counts"].items()},
        ),
        dump_bytes=int(document["dump_bytes"]),
        dump_sha256=str(document["dump_sha256"]),
    )

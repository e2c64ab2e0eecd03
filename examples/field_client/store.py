"""What is kept on the device: reference data, the queue, and what was sent."""

from __future__ import annotations

import contextlib
import json
import os
import sqlite3
import uuid
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from .service import Trouble

# A batch may hold 1,000; on a bad line less has to go again with fewer.
BATCH = 100

TABLES = """
CREATE TABLE IF NOT EXISTS reference (
    resource TEXT, id TEXT, content TEXT NOT NULL, PRIMARY KEY (resource, id)
);
CREATE TABLE IF NOT EXISTS synced (resource TEXT PRIMARY KEY, updated_at TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS token (url TEXT PRIMARY KEY, secret TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS queue (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    traverse TEXT NOT NULL,  -- the id, made when the traverse was taken
    content TEXT NOT NULL,   -- frozen from the moment sending begins
    reason TEXT,             -- of a correction; a new traverse has none
    revision INTEGER,        -- the one that a correction builds on
    state TEXT NOT NULL DEFAULT 'waiting' CHECK (state IN ('waiting', 'sending', 'parked')),
    problem TEXT             -- what the service said when it refused
);
CREATE TABLE IF NOT EXISTS sent (
    traverse TEXT PRIMARY KEY, revision INTEGER NOT NULL, content TEXT NOT NULL
);
"""


@dataclass(frozen=True)
class Item:
    """One thing in the queue: a new traverse, or a correction with its reason."""

    number: int
    traverse: str
    content: dict[str, Any]
    reason: str | None
    revision: int | None
    state: str
    """`waiting`; `sending`: begun, and perhaps stored already; `parked`: refused."""
    problem: dict[str, Any]


class Store:
    """The device's SQLite file."""

    def __init__(self, path: Path | str) -> None:
        self.db = sqlite3.connect(path, timeout=30, isolation_level=None)
        # It may hold a token, which is nobody else's business.
        os.chmod(path, 0o600)
        self.db.row_factory = sqlite3.Row
        self.db.executescript(f"PRAGMA journal_mode = WAL; {TABLES}")
        # An empty battery loses nothing, either.
        self.db.execute("PRAGMA synchronous = FULL")

    def close(self) -> None:
        """Close the file."""
        self.db.close()

    @contextlib.contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        """Open a transaction beside which nobody else writes; on the disk when it ends."""
        self.db.execute("BEGIN IMMEDIATE")
        try:
            yield self.db
        except BaseException:
            self.db.execute("ROLLBACK")
            raise
        self.db.execute("COMMIT")

    # Signing in

    def token(self, url: str) -> str:
        """Return the token that was got from a service; empty where there is none."""
        row = self.db.execute("SELECT secret FROM token WHERE url = ?", (url,)).fetchone()
        return row["secret"] if row else ""

    def keep_token(self, url: str, secret: str) -> None:
        """Keep a service's token in place of the one before."""
        with self._writing() as db:
            db.execute("INSERT OR REPLACE INTO token VALUES (?, ?)", (url, secret))

    # Reference data

    def synced_until(self, resource: str) -> str | None:
        """Return `updated_at` of the last record that was synced down."""
        row = self.db.execute(
            "SELECT updated_at FROM synced WHERE resource = ?", (resource,)
        ).fetchone()
        return row["updated_at"] if row else None

    def keep(self, resource: str, records: Sequence[Mapping[str, Any]]) -> None:
        """Keep a page of records, and how far syncing has come with it."""
        if not records:
            return
        with self._writing() as db:
            db.executemany(
                "INSERT OR REPLACE INTO reference VALUES (?, ?, ?)",
                [(resource, record["id"], json.dumps(record)) for record in records],
            )
            db.execute(
                "INSERT OR REPLACE INTO synced VALUES (?, ?)",
                (resource, records[-1]["updated_at"]),
            )

    def keep_only(self, resource: str, ids: Collection[str]) -> None:
        """Forget the records that a whole sync did not bring."""
        gone = [(resource, key) for key in self.reference(resource) if key not in ids]
        with self._writing() as db:
            db.executemany("DELETE FROM reference WHERE resource = ? AND id = ?", gone)

    def forget_given_away(self, page: Sequence[Mapping[str, Any]]) -> None:
        """Forget visits that are another crew's now, and how far asking for them has come."""
        if not page:
            return
        with self._writing() as db:
            db.executemany(
                "DELETE FROM reference WHERE resource = 'visits' AND id = ?",
                [(item["visit"],) for item in page],
            )
            db.execute(
                "INSERT OR REPLACE INTO synced VALUES (?, ?)",
                ("visits/given-away", page[-1]["given_away_at"]),
            )

    def reference(self, resource: str) -> dict[str, dict[str, Any]]:
        """Return id -> record, retired ones included: older measurements name them."""
        rows = self.db.execute("SELECT id, content FROM reference WHERE resource = ?", (resource,))
        return {row["id"]: json.loads(row["content"]) for row in rows}

    # The queue

    def items(self) -> list[Item]:
        """Return the queue, oldest first."""
        return [_item(row) for row in self.db.execute("SELECT * FROM queue ORDER BY number")]

    def sent(self) -> dict[str, dict[str, Any]]:
        """Return id -> content of what the service has, oldest first."""
        rows = self.db.execute("SELECT traverse, content FROM sent ORDER BY rowid")
        return {row["traverse"]: json.loads(row["content"]) for row in rows}

    def take(self, content: Mapping[str, Any]) -> str:
        """Keep a traverse under an id made here and now, and return the id."""
        traverse = str(uuid.uuid4())
        with self._writing() as db:
            db.execute(
                "INSERT INTO queue (traverse, content) VALUES (?, ?)",
                (traverse, json.dumps(content)),
            )
        return traverse

    def change(self, traverse: str, content: Mapping[str, Any], reason: str) -> bool:
        """Change what was taken, and return whether that became a correction.

        What hasn't begun to leave, or was refused, is changed where it is. Once sending has begun
        the content is frozen, as the service may have it: the change goes after it.

        Parameters
        ----------
        traverse
            The id of one that was taken here.
        content
            The whole new content.
        reason
            Why, in words.
        """
        with self._writing() as db:
            changed = db.execute(
                "UPDATE queue SET content = ?, state = 'waiting', problem = NULL,"
                " reason = CASE WHEN reason IS NULL THEN NULL ELSE ? END,"
                " revision = coalesce(json_extract(problem, '$.current.revision'), revision)"
                " WHERE number = (SELECT max(number) FROM queue WHERE traverse = ?)"
                " AND state != 'sending'",
                (json.dumps(content), reason, traverse),
            )
            if not changed.rowcount:
                db.execute(
                    "INSERT INTO queue (traverse, content, reason) VALUES (?, ?, ?)",
                    (traverse, json.dumps(content), reason),
                )
        return not changed.rowcount

    def begin(self, but: Collection[int]) -> list[Item]:
        """Freeze what goes out next and return it: new traverses together, or one correction.

        Whatever waits behind something else of its traverse stays until that is stored.

        Parameters
        ----------
        but
            Numbers of items that have had their turn.
        """
        with self._writing() as db:
            rows = db.execute(
                "SELECT q.number, q.reason, s.revision FROM queue q LEFT JOIN sent s"
                " USING (traverse) WHERE q.state != 'parked' AND NOT EXISTS (SELECT 1"
                " FROM queue e WHERE e.traverse = q.traverse AND e.number < q.number)"
                " ORDER BY q.number"
            ).fetchall()
            rows = [row for row in rows if row["number"] not in but]
            lot = [row for row in rows if row["reason"] is None][:BATCH] or rows[:1]
            db.executemany(
                "UPDATE queue SET state = 'sending', revision = coalesce(revision, ?)"
                " WHERE number = ?",
                [(row["revision"], row["number"]) for row in lot],
            )
        begun = {row["number"] for row in lot}
        return [item for item in self.items() if item.number in begun]

    def mark_stored(self, item: Item, revision: int) -> None:
        """Take out of the queue what the service has, and remember at which revision."""
        with self._writing() as db:
            db.execute("DELETE FROM queue WHERE number = ?", (item.number,))
            db.execute(
                "INSERT INTO sent VALUES (?, ?, ?) ON CONFLICT (traverse) DO UPDATE"
                " SET revision = excluded.revision, content = excluded.content",
                (item.traverse, revision, json.dumps(item.content)),
            )

    def park(self, item: Item, problem: Mapping[str, Any]) -> None:
        """Put aside what the service refused, with what it said, until somebody decides.

        Content that is not acceptable is stored nowhere: a change that waits behind it takes its
        place at once.
        """
        with self._writing() as db:
            after = db.execute(
                "SELECT min(number) FROM queue WHERE traverse = ? AND number > ?",
                (item.traverse, item.number),
            ).fetchone()[0]
            if after is not None and problem["status"] in (400, 422):
                db.execute("DELETE FROM queue WHERE number = ?", (item.number,))
                if item.reason is None:
                    db.execute("UPDATE queue SET reason = NULL WHERE number = ?", (after,))
                return
            db.execute(
                "UPDATE queue SET state = 'parked', problem = ? WHERE number = ?",
                (json.dumps(problem), item.number),
            )

    def settle(self, item: Item, how: str) -> None:
        """Do what somebody decided about a parked item.

        Parameters
        ----------
        item
            The parked one.
        how
            `again`: send it as it is; `correct`: make it a correction of what is stored;
            `new`: send it under an id of its own; `drop`: forget it and what waits behind it.
        """
        stored: dict[str, Any] = item.problem.get("stored") or item.problem.get("current") or {}
        if how == "correct" and not stored:
            raise Trouble("Nothing is stored that could be corrected: choose another way.")
        if how == "new" and item.reason is not None:
            raise Trouble("A correction has no id of its own: choose another way.")
        with self._writing() as db:
            if how == "drop":
                db.execute(
                    "DELETE FROM queue WHERE traverse = ? AND number >= ?",
                    (item.traverse, item.number),
                )
                return
            db.execute(
                "UPDATE queue SET state = 'waiting', problem = NULL WHERE number = ?",
                (item.number,),
            )
            if how == "new":
                db.execute(
                    "UPDATE queue SET traverse = ? WHERE traverse = ? AND number >= ?",
                    (str(uuid.uuid4()), item.traverse, item.number),
                )
            if how == "correct":
                db.execute(
                    "UPDATE queue SET revision = ?, reason = coalesce(reason, ?) WHERE number = ?",
                    (stored["revision"], "Entered again in the field.", item.number),
                )


def _item(row: sqlite3.Row) -> Item:
    problem = json.loads(row["problem"] or "{}")
    return Item(**{**dict(row), "content": json.loads(row["content"]), "problem": problem})

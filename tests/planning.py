"""How the database plans its statements, where a test leaves it no time to find out by itself."""

from __future__ import annotations

from django.core.management.color import no_style
from django.db import connection


def begin_as_new() -> None:
    """Have the database know nothing of its tables, as in a new record; part of a transaction.

    What it noted of them after other tests says that they take up room and hold nothing: their
    rows were rolled back. By that it would plan for a row or two where a test fills the tables with
    thousands in one transaction, and take minutes; it looks at them again only after a commit.
    """
    tables = connection.introspection.django_table_names(only_existing=True)
    with connection.cursor() as cursor:
        for statement in connection.ops.sql_flush(no_style(), tables):
            cursor.execute(statement)

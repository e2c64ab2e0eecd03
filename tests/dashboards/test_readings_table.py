"""The table of readings lies as the drawing above it: points below each other, lines beside."""

from __future__ import annotations

import csv
import io

import pytest
from django.test import Client

from tests import factories

pytestmark = pytest.mark.django_db


def test_a_row_is_a_point_and_a_column_a_line(manager: Client) -> None:
    values: list[list[float | None]] = [[1.0, 2.0, 3.0, 4.0, 5.0] for _ in range(4)]
    values.append([6.0, 7.0, None, 8.0, 9.0])
    traverse = factories.make_traverse(
        readings={"values": values},
    )
    factories.make_company(default_units="si")
    response = manager.get(f"/traverses/{traverse.pk}/readings.csv")
    rows = list(csv.DictReader(io.StringIO(response.content.decode())))
    assert list(rows[0]) == ["Point", "Line 1", "Line 2", "Line 3", "Line 4", "Line 5"]
    assert [row["Point"] for row in rows] == ["1", "2", "3", "4", "5"]
    assert [float(row["Line 1"]) for row in rows] == pytest.approx([1.0, 2.0, 3.0, 4.0, 5.0])
    assert [row["Line 5"] for row in rows] == ["6.0", "7.0", "", "8.0", "9.0"]
    page = manager.get(f"/traverses/{traverse.pk}/").content.decode()
    assert "a column is a line in the order of the holes" in page

"""What the files hold: the numbers that the page shows, in columns that say what they are."""

from __future__ import annotations

import csv
import io

import pytest
from django.test import Client

from dashboards.tables import Cell, Column, Table
from tests import factories
from tests.dashboards.records import make_job, make_measured

pytestmark = pytest.mark.django_db


def _rows(client: Client, address: str) -> list[dict[str, str]]:
    response = client.get(address)
    assert response.status_code == 200
    return list(csv.DictReader(io.StringIO(response.content.decode())))


def test_numbers_in_files_are_free_of_the_noise_of_conversions() -> None:
    table = Table(
        slug="t",
        caption="",
        columns=(Column("Number", is_number=True),),
        rows=tuple(
            (Cell("", number),) for number in (400.00000000000017, 1 / 3, 7, 1e-9, -0.1 - 0.2)
        ),
    )
    assert table.as_csv().splitlines()[1:] == ["400.0", "0.333333333333", "7", "1e-09", "-0.3"]


@pytest.mark.parametrize("page", ["look", "site"])
def test_a_file_says_in_numbers_where_a_system_stands(manager: Client, page: str) -> None:
    job = make_job(found=None, left=330.0)
    address = {"look": "/needs-a-look/all.csv", "site": f"/sites/{job.site_id}/systems.csv"}[page]
    (row,) = _rows(manager, address)
    assert "Weight" not in row
    assert float(row["Value"]) == pytest.approx(330.0)
    assert float(row["Interval, low end"]) == pytest.approx(310.0)
    assert float(row["Interval, high end"]) == pytest.approx(350.0)
    assert (float(row["Target low"]), float(row["Target high"])) == (350.0, 450.0)
    assert row["Unit"] == "ft³/min per ton"


@pytest.mark.parametrize("page", ["look", "site"])
def test_a_file_leaves_empty_where_nothing_was_judged(manager: Client, page: str) -> None:
    system = factories.make_section().equipment
    if page == "look":
        assert _rows(manager, "/needs-a-look/all.csv") == []
    else:
        (row,) = _rows(manager, f"/sites/{system.site_id}/systems.csv")
        assert (row["Value"], row["Unit"], row["Target low"]) == ("", "", "")


@pytest.mark.parametrize("slug", ["left", "found", "place"])
def test_limits_over_time_stand_in_files_as_numbers_only(manager: Client, slug: str) -> None:
    response = manager.get(f"/over-time/{slug}.csv?period=all")
    head = response.content.decode().splitlines()[0]
    assert "Limit, low" in head
    assert "If like the others" not in head
    assert "Limits of the smoothed" not in head


@pytest.mark.parametrize(
    "address", ["/instruments/register.csv", "/instruments/compared.csv", "/due/overdue.csv"]
)
def test_files_about_meters_tell_them_apart_by_serial_number(manager: Client, address: str) -> None:
    make_measured(instrument=factories.make_instrument(label="Grid 1", serial="S-4711"))
    (row,) = _rows(manager, address)
    assert (row["Meter"], row["Serial"]) == ("Grid 1", "S-4711")


def test_the_results_that_rest_on_a_meter_name_the_site_in_the_file(manager: Client) -> None:
    traverse = make_measured()
    (row,) = _rows(manager, f"/instruments/{traverse.instrument_id}/results.csv?period=all")
    assert row["Site"] == traverse.visit.site.name

"""The report on paper: what can be read on it, on how many pages, and with which letters."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest

from airflow_jobs.documents.typeface import UNSET, Typeface, own_typeface, typeface
from airflow_jobs.documents.values import VisitReport
from airflow_jobs.documents.visit_pdf import visit_pdf
from airflow_jobs.documents.visit_report import visit_report
from airflow_jobs.models import Visit
from tests import factories
from tests.airflow_jobs.pdf_text import pages_of, text_of
from tests.dashboards.records import make_adjustment, make_job, make_measured
from tests.factories import NOW

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def company() -> None:
    """The company, speaking inch-pound."""
    factories.make_company(name="Test Air Services", default_units="ip", report_mark="Licence 7")


@pytest.fixture
def visit() -> Visit:
    """An ordinary visit to one system."""
    site = factories.make_site(name="Mill", customer=factories.make_customer(name="Bakery"))
    section = factories.make_section(equipment=factories.make_equipment(site=site, tag="AH-1"))
    visit = make_job(found=300.0, left=400.0, section=section)
    make_adjustment(visit=visit, equipment=section.equipment)
    return visit


def _report(visit: Visit) -> VisitReport:
    report = visit_report(visit.pk)
    assert report is not None
    return report


def _printed(report: VisitReport, **more: Any) -> bytes:
    return visit_pdf(report, printed_at=NOW, compressed=False, **({"face": own_typeface()} | more))


def test_an_ordinary_visit_is_one_page_that_says_it_all(visit: Visit) -> None:
    (page,) = pages_of(_printed(_report(visit)))
    text = re.sub(r"\s+", " ", page)
    for fact in (
        "Test Air Services",
        "Licence 7",
        "Airflow report",
        "3 Jun 2026",
        "Bakery",
        "Mill",
        "Maintenance",
        visit.crew.name,
        "AH-1 was found low and left in range.",
        "Before (as found), 14:12",
        "After (as left), 15:12",
        "300 ± 20 ft³/min per ton",
        "400 ± 20 ft³/min per ton",
        "The true value lies between 380 and 420 with 95 % confidence.",
        "350 to 450 ft³/min per ton, nominal 400; the company's word, standard air",
        "By the rule's average",
        "Blower setting from tap 4 to tap 3 (14:12)",
        "no calibration on record by that day",
        "Local code, the maker's instructions and the licensed professional on site come before "
        "what this report says.",
        f"Visit {visit.pk}. Printed 2026-06-03 19:12 UTC.",
        "Page 1 of 1",
    ):
        assert fact in text, fact


def test_the_same_report_at_the_same_time_is_the_same_bytes(visit: Visit) -> None:
    report = _report(visit)
    assert visit_pdf(report, printed_at=NOW) == visit_pdf(report, printed_at=NOW)


def test_the_document_says_what_it_is(visit: Visit) -> None:
    document = _printed(_report(visit))
    assert b"/Title (Airflow report, Mill, 3 Jun 2026)" in document
    assert b"/Author (Test Air Services)" in document
    assert b"/Lang (en)" in document
    assert b"/CreationDate (D:20260603191200+00'00')" in document


@pytest.mark.parametrize(("units", "width", "height"), [("ip", 612, 792), ("si", 595, 841)])
def test_the_paper_goes_with_the_company_s_units(
    visit: Visit, units: str, width: int, height: int
) -> None:
    factories.make_company(default_units=units)
    box = re.search(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", _printed(_report(visit)))
    assert box is not None
    assert (int(float(box[1])), int(float(box[2]))) == (width, height)


def test_a_crew_that_is_not_to_be_named_is_not_on_it(visit: Visit) -> None:
    text = text_of(_printed(_report(visit), names_crew=False))
    assert visit.crew.name not in text
    assert "Crew" not in text


def test_twelve_systems_flow_on_under_repeated_heads_with_numbered_pages() -> None:
    visit = factories.make_visit(site=factories.make_site(name="School"))
    for number in range(12):
        equipment = factories.make_equipment(site=visit.site, tag=f"AH-{number:02d}")
        section = factories.make_section(equipment=equipment)
        make_measured(per_ton=300.0, stage="as_found", visit=visit, section=section)
        make_measured(per_ton=400.0, visit=visit, section=section)
        make_adjustment(visit=visit, equipment=equipment)
    pages = pages_of(_printed(_report(visit)))
    assert 4 <= len(pages) <= 12
    for number, page in enumerate(pages, start=1):
        assert f"Page {number} of {len(pages)}" in page
        assert "Local code, the maker's instructions" in page
        if number > 1:
            assert "Test Air Services: airflow report, School, 3 Jun 2026" in page
    for number in range(12):
        assert f"AH-{number:02d} was found low and left in range." in pages[0]


def test_a_visit_without_anything_measured_is_a_page_that_says_so() -> None:
    text = text_of(_printed(_report(factories.make_visit())))
    assert "Nothing was measured or changed on this visit." in text
    assert "Holes plugged: not on record." in text


def test_names_and_notes_of_any_length_find_room(visit: Visit) -> None:
    report = _report(visit)
    (system,) = report.systems
    long = "W" * 3000
    words = "many words " * 1500
    stretched = replace(
        report,
        company=long,
        mark=words,
        customer=long,
        site=long,
        address=words,
        crew=long,
        notes=words,
        systems=(
            replace(
                system,
                tag=long[:64],
                about=words,
                done=tuple(words[:300] for _ in range(60)),
                findings=(words, long),
            ),
        ),
    )
    pages = pages_of(_printed(stretched))
    assert len(pages) > 2
    assert "and 48 more" in "".join(pages)


@pytest.mark.parametrize("face", [own_typeface, typeface], ids=["own", "widest"])
def test_no_character_stops_it(visit: Visit, face: Any) -> None:
    report = _report(visit)
    strange = "".join(chr(code) for code in range(1, 0x3000, 7) if not 0xD800 <= code < 0xE000)
    names = (
        strange,
        "<b>&amp;</b> </para> <font size=99>",
        "\u202egnp.exe \u0000\ufeff",
        "مطعم Ω שלום क्षेत्र 東京ビル 서울 😀",
        "e\u0301 \u0301",
        "\udc80",
    )
    for name in names:
        document = _printed(
            replace(report, company=name, site=name, notes=name, customer=name), face=face()
        )
        assert document.startswith(b"%PDF")


def test_markup_in_a_name_is_text(visit: Visit) -> None:
    report = replace(_report(visit), customer="<b>Bold & Sons</b>")
    assert "<b>Bold & Sons</b>" in text_of(_printed(report))


def test_east_asian_names_are_set_and_can_be_read_back(visit: Visit) -> None:
    text = text_of(_printed(replace(_report(visit), customer="東京ビル 서울 Müller")))
    assert "東京ビル" in text
    assert "서울" in text
    assert "Müller" in text


def test_letters_lose_their_accents_sooner_than_they_go_missing() -> None:
    face = own_typeface()
    assert face.markup("Dvořák, Erdős, Łódź, inH₂O") == "Dvorák, Erdos, Łódz, inH2O"
    assert face.markup("Ελλάδα") != "Ελλάδα"


def test_what_no_typeface_has_is_marked_once_for_each_run() -> None:
    face = own_typeface()
    assert face.markup("مطعم Ltd") == f"{UNSET} Ltd"
    assert face.line("東京 Ltd") == f"{UNSET} Ltd"
    # Letters that join are marked even where there are forms of them.
    wide = Typeface("a", "b", frozenset(range(0x20, 0x3000)))
    assert wide.markup("شركة") == UNSET
    assert wide.markup("Ελλάδα Київ ქართული") == "Ελλάδα Київ ქართული"


def test_a_number_stays_with_its_sign_when_lines_break() -> None:
    assert own_typeface().markup("± 20, 95 %") == "±\xa020, 95\xa0%"

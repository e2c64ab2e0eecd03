"""The pages: who may see what, what they say, and how many statements they take."""

import csv
import datetime
import html
import io
import re
from collections.abc import Callable
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from airflow_jobs.models import Company, Crew, Person, Site, Traverse
from dashboards.words import ADVICE_LINE
from tests import factories
from tests.dashboards.records import make_adjustment, make_job, make_measured, make_result
from tests.factories import NOW

pytestmark = pytest.mark.django_db
EVERYTHING = "/?period=all"

# Statements that a page takes, sign-in, company and a technician's crews included; a change
# here is a decision.
STATEMENTS = {"fleet": 17, "systems": 6, "system": 14, "traverse": 10}


def _text(client: Client, address: str) -> str:
    response = client.get(address)
    assert response.status_code == 200, response.content[:300]
    page = re.sub(r"<script.*?</script>", " ", response.content.decode(), flags=re.DOTALL)
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", page)))


def _rows(client: Client, address: str) -> list[dict[str, str]]:
    response = client.get(address)
    assert response.status_code == 200
    assert response["Content-Type"] == "text/csv; charset=utf-8"
    assert "attachment" in response["Content-Disposition"]
    return list(csv.DictReader(io.StringIO(response.content.decode())))


def _addresses(traverse: Traverse) -> list[str]:
    system = traverse.duct_section.equipment_id
    return [
        "/",
        "/crews/",
        "/over-time/",
        "/instruments/",
        f"/instruments/{traverse.instrument_id}/",
        "/systems/",
        f"/systems/{system}/",
        "/systems/returning/",
        f"/systems/compare/?system={system}",
        f"/sites/{traverse.visit.site_id}/",
        f"/traverses/{traverse.pk}/",
        f"/traverses/{traverse.pk}/revisions/",
        "/due/",
        "/needs-a-look/",
        "/crews/left.csv",
        "/over-time/left.csv",
        "/instruments/compared.csv",
        f"/instruments/{traverse.instrument_id}/results.csv",
        "/tables/months.csv",
        f"/systems/{system}/measurements.csv",
        "/systems/returning/often.csv",
        f"/systems/compare/points.csv?system={system}",
        f"/sites/{traverse.visit.site_id}/systems.csv",
        f"/traverses/{traverse.pk}/readings.csv",
    ]


def test_everything_needs_a_sign_in(ip_company: Company) -> None:
    for address in _addresses(make_measured()):
        response = Client().get(address)
        assert response.status_code == 302
        assert response["Location"].startswith("/sign-in/?next=")


def test_pages_only_read_and_are_not_kept_by_proxies(manager: Client) -> None:
    for address in _addresses(make_measured()):
        assert manager.post(address).status_code == 405
        assert "no-store" in manager.get(address)["Cache-Control"]


def test_pages_bring_their_policy_and_no_inline_script_or_style(manager: Client) -> None:
    for address in _addresses(make_measured())[:11]:
        response = manager.get(address)
        policy = response["Content-Security-Policy"]
        assert "script-src 'self'" in policy
        assert "style-src 'self'" in policy
        assert "unsafe" not in policy
        page = response.content.decode()
        assert " style=" not in page
        assert "<style" not in page
        assert " onclick" not in page
        for script in re.findall(r"<script([^>]*)>", page):
            assert "src=" in script or 'type="application/json"' in script


@pytest.mark.parametrize("size", [3, 30])
@pytest.mark.parametrize("page", list(STATEMENTS))
def test_a_page_takes_as_many_statements_however_long_the_history(
    manager: Client, page: str, size: int
) -> None:
    section = factories.make_section()
    for number in range(size):
        taken_at = NOW - datetime.timedelta(days=number)
        visit = make_job(found=300.0, left=400.0, section=section, taken_at=taken_at)
        make_adjustment(visit=visit, equipment=section.equipment, made_at=taken_at)
        make_job(found=300.0, left=500.0)
    traverse = Traverse.objects.filter(duct_section=section).order_by("pk").first()
    assert traverse is not None
    address = {
        "fleet": EVERYTHING,
        "systems": "/systems/",
        "system": f"/systems/{section.equipment_id}/",
        "traverse": f"/traverses/{traverse.pk}/",
    }[page]
    with CaptureQueriesContext(connection) as statements:
        assert manager.get(address).status_code == 200
    assert len(statements) == STATEMENTS[page]


def test_an_empty_record_says_what_to_do_first(manager: Client) -> None:
    text = _text(manager, "/")
    assert "Nothing is on record yet" in text
    assert "send the first traverse" in text


def test_a_view_without_jobs_says_how_to_find_some(manager: Client) -> None:
    factories.make_equipment()
    text = _text(manager, "/")
    assert "Nothing was measured and judged as left in this view" in text
    assert "has been measured yet" in text


def test_the_fleet_page_says_how_things_stand_with_the_interval(manager: Client) -> None:
    for number in range(12):
        make_job(found=300.0, left=500.0 if number % 4 == 0 else 400.0)
    text = _text(manager, EVERYTHING)
    assert "75 % (47 to 91 %) of 12 jobs on record were left in range." in text
    assert ADVICE_LINE in text


def test_the_stage_says_which_of_the_two_facts_is_shown(manager: Client) -> None:
    make_job(found=300.0, left=400.0)
    assert "1 of 1 job on record was left in range" in _text(manager, EVERYTHING)
    text = _text(manager, f"{EVERYTHING}&stage=as_found")
    assert "0 of 1 job on record was found in range" in text


def test_the_systems_that_need_a_look_come_with_reason_and_next_step(manager: Client) -> None:
    section = factories.make_section()
    make_job(found=None, left=520.0, section=section)
    text = _text(manager, EVERYTHING)
    assert section.equipment.tag in text
    assert "Left high on 3 Jun 2026: 520 ± 20 ft³/min per ton against 350 to 450" in text
    step = "Plan a visit: lower the airflow by some 23 %, to nominal, then measure as left."
    assert step in text
    assert step in _text(manager, f"/systems/{section.equipment_id}/")


def test_filters_that_are_on_can_be_taken_off(manager: Client) -> None:
    section = factories.make_section(equipment=factories.make_equipment(kind="heat_pump"))
    make_job(found=None, left=400.0, section=section)
    response = manager.get(f"{EVERYTHING}&kind=heat_pump&site={section.equipment.site_id}")
    page = response.content.decode()
    assert "Kind: Heat pump" in page
    assert f'href="/?period=all&amp;site={section.equipment.site_id}"' in page
    assert f"Site: {section.equipment.site.name}" in page


def test_a_filter_that_makes_no_sense_is_named(manager: Client) -> None:
    factories.make_equipment()
    assert "There is no kind “toaster”" in _text(manager, "/?kind=toaster")


def test_a_technician_sees_the_own_crew_against_the_whole_and_no_other_name(
    technician: Client, crew: Crew
) -> None:
    other = factories.make_crew(name="Rival crew")
    section = factories.make_section()
    for number in range(3):
        factories.make_membership(
            crew=other, person=factories.make_person(username=f"rival{number}")
        )
    make_job(found=None, left=400.0, crew=crew, section=section)
    make_job(found=None, left=500.0, crew=other, section=section)
    traverse = Traverse.objects.get(visit__crew=other)
    for address in (
        EVERYTHING,
        "/systems/",
        f"/systems/{section.equipment_id}/",
        f"/traverses/{traverse.pk}/",
    ):
        page = technician.get(address).content.decode()
        assert "Rival crew" not in page, address
    text = _text(technician, EVERYTHING)
    assert "Your crew and the company" in text
    assert "North crew" in text
    rows = _rows(technician, "/tables/crews.csv?period=all")
    assert [(row["Crew"], row["Jobs"]) for row in rows] == [
        ("North crew", "1"),
        ("The company", "2"),
    ]
    rows = _rows(technician, f"/systems/{section.equipment_id}/measurements.csv")
    assert {row["Meter and crew"].split("; ")[1] for row in rows} == {"North crew", "another crew"}


def test_a_technician_cannot_set_another_crew_apart_by_address(
    technician: Client, crew: Crew
) -> None:
    other = factories.make_crew(name="Rival crew")
    for number in range(3):
        factories.make_membership(
            crew=other, person=factories.make_person(username=f"rival{number}")
        )
    make_job(found=None, left=400.0, crew=crew)
    make_job(found=None, left=500.0, crew=other)
    text = _text(technician, f"{EVERYTHING}&crew={other.pk}")
    assert "That crew can't be shown by itself" in text
    assert "1 of 2 jobs" in text
    assert "1 of 1 job " in _text(technician, f"{EVERYTHING}&crew={crew.pk}")


def _pair() -> Crew:
    pair = factories.make_crew(name="Pair crew")
    for number in range(2):
        factories.make_membership(crew=pair, person=factories.make_person(username=f"p{number}"))
    return pair


def test_a_crew_of_two_shows_only_with_consent(
    manager: Client, crew: Crew, ip_company: Company
) -> None:
    pair = _pair()
    make_job(found=None, left=400.0, crew=crew)
    make_job(found=None, left=500.0, crew=pair)
    page = manager.get(EVERYTHING).content.decode()
    assert "Pair crew" not in page
    assert "1 crew has fewer than three people" in page
    assert "is not shown by itself" in _text(manager, f"{EVERYTHING}&crew={pair.pk}")
    assert "Pair crew" not in manager.get("/tables/crews.csv?period=all").content.decode()
    factories.make_company(compare_small_crews=True)
    assert "Pair crew" in manager.get(EVERYTHING).content.decode()
    assert "0 of 1 job " in _text(manager, f"{EVERYTHING}&crew={pair.pk}")


def test_a_crew_of_two_does_not_see_itself_without_consent(
    sign_in: Callable[[Person], Client],
) -> None:
    pair = _pair()
    make_job(found=None, left=500.0, crew=pair)
    client = sign_in(Person.objects.get(username="p0"))
    assert "Pair crew" not in client.get(EVERYTHING).content.decode()


def test_only_an_administrator_is_led_to_the_administration(
    manager: Client, administrator: Client
) -> None:
    factories.make_equipment()
    assert "/administration/" not in manager.get("/").content.decode()
    assert "/administration/" in administrator.get("/").content.decode()


def test_the_tables_come_as_files_in_full_precision(manager: Client) -> None:
    crew = factories.make_crew(name="=cmd()")
    make_job(found=300.0, left=400.0, crew=crew)
    factories.make_company(compare_small_crews=True)
    (row,) = _rows(manager, "/tables/crews.csv?period=all")
    assert row["Crew"] == "'=cmd()"
    assert float(row["Share"]) == 1.0
    assert float(row["Interval, low end"]) == pytest.approx(0.2065, abs=1e-4)
    months = _rows(manager, "/tables/months.csv?period=all")
    assert {(one["Stage"], one["Jobs"]) for one in months} == {("As left", "1"), ("As found", "1")}
    assert manager.get("/tables/secrets.csv").status_code == 404


def test_a_file_has_all_rows_and_the_page_the_first(manager: Client) -> None:
    for _ in range(12):
        make_job(found=None, left=520.0)
    assert len(_rows(manager, "/needs-a-look/all.csv")) == 12
    assert "All 12 of them" in _text(manager, EVERYTHING)


def test_the_systems_are_searched_by_all_words(manager: Client) -> None:
    site = factories.make_site(name="Elm Street school", customer=factories.make_customer())
    factories.make_equipment(site=site, tag="AH-17", model_number="X200")
    factories.make_equipment(tag="AH-18")
    assert "AH-17" in _text(manager, "/systems/?q=elm+ah-17")
    text = _text(manager, "/systems/?q=x200")
    assert "AH-17" in text
    assert "AH-18" not in text
    assert "No system matches" in _text(manager, "/systems/?q=elm+ah-18")
    assert "No system matches" in _text(manager, "/systems/?q=%25")
    assert manager.get("/systems/?q=%00&page=-1").status_code == 200


def test_the_list_of_systems_has_each_once_over_its_pages(manager: Client) -> None:
    site = factories.make_site(name="One site")
    tags = {factories.make_equipment(site=site, tag=f"S{number:03d}").tag for number in range(103)}
    seen: list[str] = []
    for page in (1, 2, 3):
        seen += re.findall(r"S\d{3}", _text(manager, f"/systems/?page={page}"))
    assert sorted(seen) == sorted(tags)
    assert "page 3 of 3" in _text(manager, "/systems/?page=99")


def test_a_system_page_tells_its_history(manager: Client) -> None:
    section = factories.make_section()
    visit = make_job(found=300.0, left=405.0, section=section)
    make_adjustment(visit=visit, equipment=section.equipment)
    text = _text(manager, f"/systems/{section.equipment_id}/")
    assert "405 ± 20 ft³/min per ton" in text
    assert "As left on" in text
    assert "2 judged measurements, cooling: 1 as found (open circles) and 1 as left" in text
    assert "Two measurements under this call" in text
    assert "tap 4" in text
    rows = _rows(manager, f"/systems/{section.equipment_id}/measurements.csv")
    assert [row["Stage"] for row in rows] == ["As left", "As found"]
    assert float(rows[0]["Judged value"]) == pytest.approx(405.0)
    assert rows[0]["Judged unit"] == "ft³/min per ton"


def test_a_system_that_was_never_measured_says_what_to_do(manager: Client) -> None:
    equipment = factories.make_equipment()
    assert "Not measured yet. Plan a visit" in _text(manager, f"/systems/{equipment.pk}/")


def test_a_traverse_page_shows_one_number_large_and_the_rule_s_small(manager: Client) -> None:
    traverse = make_measured(per_ton=400.0)
    response = manager.get(f"/traverses/{traverse.pk}/")
    page = response.content.decode()
    assert '<span class="figure">400</span>' in page
    text = _text(manager, f"/traverses/{traverse.pk}/")
    assert "400 ± 20 ft³/min per ton" in text
    assert "By the rule's average alone: 404 ft³/min per ton." in text
    assert "between 380 and 420 with 95 % confidence" in text
    assert "Target: 350 to 450 ft³/min per ton, nominal 400" in text
    assert "14:12" in text


def test_a_traverse_page_shows_the_three_findings_of_most_effect_first(manager: Client) -> None:
    traverse = make_measured()
    page = manager.get(f"/traverses/{traverse.pk}/").content.decode()
    order = [page.index(f"Message {number}.") for number in (2, 3, 1, 4)]
    assert order == sorted(order)
    assert page.index("<summary>1 more</summary>") < page.index("Message 4.")


def test_a_list_too_long_for_the_form_says_so_and_keeps_what_is_chosen(manager: Client) -> None:
    make_job(found=None, left=400.0)
    Site.objects.bulk_create(
        Site(name=f"Site {number:03}", time_zone="UTC") for number in range(301)
    )
    last = Site.objects.get(name="Site 300")
    page = manager.get(f"{EVERYTHING}&site={last.pk}").content.decode()
    listed = page[page.index('id="f-site"') : page.index("</select>", page.index('id="f-site"'))]
    assert listed.count("<option") == 301
    assert f'value="{last.pk}" selected' in listed
    assert "Site: Site 300" in page
    assert "The first 300 by name" in page


def test_what_is_undecided_is_said_with_the_likelier_side(manager: Client) -> None:
    traverse = make_measured(per_ton=440.0)
    text = _text(manager, f"/traverses/{traverse.pk}/")
    assert "Too close to call, probably in range (84 %)" in text
    high = make_measured(per_ton=458.0)
    assert "Too close to call, probably high (79 %)" in _text(manager, f"/traverses/{high.pk}/")


def test_what_hangs_on_the_target_s_basis_is_not_called_close(manager: Client) -> None:
    traverse = make_measured(stage="as_found")
    computation = traverse.computation
    computation.result = make_result(
        computation, per_ton=300.0, verdict="undecided", leaning="low", inputs_digest="open"
    )
    computation.save()
    text = _text(manager, f"/traverses/{traverse.pk}/")
    assert "The target's basis decides; as it stands low (>99 %)" in text
    needed = _text(manager, EVERYTHING)
    assert "The target's basis decides; as it stands low (>99 %), found so on" in needed
    assert "Ask the maker whether the target is of standard or of actual flow" in needed
    site = traverse.visit.site_id
    assert "Ask the maker whether the target is of standard" in _text(manager, f"/sites/{site}/")


def test_while_a_result_is_pending_the_previous_values_are_marked(manager: Client) -> None:
    traverse = make_measured(state="pending")
    text = _text(manager, f"/traverses/{traverse.pk}/")
    assert "these are the previous values" in text
    assert "400 ± 20" in text
    first = factories.make_traverse()
    assert "Being computed. What was sent is safely kept" in _text(
        manager, f"/traverses/{first.pk}/"
    )


def test_a_failed_result_gives_its_reason_and_keeps_what_was_sent(manager: Client) -> None:
    traverse = make_measured(state="failed")
    traverse.computation.failure = "The section has no inside: check its sizes."
    traverse.computation.save()
    text = _text(manager, f"/traverses/{traverse.pk}/")
    assert "The section has no inside: check its sizes." in text
    assert "400 ± 20" not in text
    assert "See the content as it was sent" in text
    assert "574" in text


def test_what_is_not_judged_is_explained(manager: Client) -> None:
    traverse = factories.make_traverse()
    computation = traverse.computation
    computation.result = make_result(
        computation,
        per_ton=400.0,
        verdict="not_judged",
        judged_value=None,
        judged_u=None,
        judged_low=None,
        judged_high=None,
        values={"best_estimate": {"flow_standard": 0.5}, "findings": []},
    )
    computation.state = "computed"
    computation.save()
    text = _text(manager, f"/traverses/{traverse.pk}/")
    assert "Not judged" in text
    assert "there is no target for this call" in text
    assert "1,060 ft³/min" in text


def test_a_system_by_design_flow_is_shown_in_flow(manager: Client) -> None:
    traverse = factories.make_traverse(stage="as_left")
    computation = traverse.computation
    computation.result = make_result(
        computation,
        per_ton=400.0,
        judged_value=0.80,
        judged_u=0.02,
        judged_low=0.76,
        judged_high=0.84,
        target_low=0.72,
        target_nominal=0.80,
        target_high=0.88,
        flow_per_capacity_m3_s_per_w=None,
        values={
            "best_estimate": {"flow_standard": 0.80, "flow_actual": 0.82, "why": "So."},
            "flow_standard": 0.81,
            "target": {
                "quantity": "flow",
                "low": 0.72,
                "nominal": 0.80,
                "high": 0.88,
                "basis": "standard",
                "source": "design",
                "call": "cooling",
                "tolerance": 0.1,
            },
        },
    )
    computation.state = "computed"
    computation.save()
    text = _text(manager, f"/traverses/{traverse.pk}/")
    assert "1,695 ± 85 ft³/min" in text
    assert "(± 10 %); the design's word" in text
    page = manager.get(f"/systems/{traverse.duct_section.equipment_id}/").content.decode()
    assert "Flow, % of design flow" in page


def test_si_companies_are_shown_si(manager: Client) -> None:
    factories.make_company(default_units="si")
    traverse = make_measured(per_ton=400.0)
    assert "53.7 ± 2.7 L/s per kW" in _text(manager, f"/traverses/{traverse.pk}/")


def test_what_was_sent_is_shown_as_it_was(manager: Client) -> None:
    traverse = make_measured()
    revision = traverse.revisions.get()
    page = manager.get(f"/traverses/{traverse.pk}/revisions/").content.decode()
    assert "It was sent once and never corrected." in page
    assert str(revision.content["id"]) in page


def test_text_from_outside_is_only_text(manager: Client) -> None:
    evil = "</script><script>alert(1)</script>"
    section = factories.make_section(
        name=evil, equipment=factories.make_equipment(tag=evil, site=factories.make_site(name=evil))
    )
    visit = make_job(
        found=300.0,
        left=520.0,
        section=section,
        notes=evil,
        crew=factories.make_crew(name=evil),
        instrument=factories.make_instrument(label=evil),
    )
    for _ in range(3):
        factories.make_membership(crew=visit.crew, person=factories.make_person())
    make_adjustment(visit=visit, equipment=section.equipment, to_value=evil)
    other = factories.make_section(equipment=factories.make_equipment(tag=f"{evil}2"))
    traverse = Traverse.objects.order_by("pk").first()
    assert traverse is not None
    for address in (
        EVERYTHING,
        "/due/",
        "/needs-a-look/",
        "/crews/?period=all",
        "/over-time/?period=all&campaign=2026-01-01&campaign_name=<script>alert(1)</script>",
        "/instruments/?period=all",
        f"/instruments/{traverse.instrument_id}/?period=all",
        "/systems/",
        f"/systems/{section.equipment_id}/",
        "/systems/returning/?period=all",
        f"/systems/compare/?period=all&system={section.equipment_id}&system={other.equipment_id}",
        f"/sites/{section.equipment.site_id}/?period=all",
        f"/traverses/{traverse.pk}/",
    ):
        assert "<script>alert" not in manager.get(address).content.decode(), address


def test_what_does_not_exist_says_that_nothing_was_changed(manager: Client) -> None:
    for address in (f"/systems/{uuid4()}/", f"/traverses/{uuid4()}/", "/nowhere/"):
        response = manager.get(address)
        assert response.status_code == 404
        assert b"Nothing is here" in response.content

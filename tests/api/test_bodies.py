"""Bodies that are no good JSON, or too much of it: always a problem document, never a 500."""

from __future__ import annotations

import io
import json
from typing import Any

import pytest

from tests import factories
from tests.api.worlds import World
from tests.conftest import Actors

pytestmark = pytest.mark.django_db


def site(**more: Any) -> dict[str, Any]:
    """Return the body of a good site."""
    return {"name": "Mill", "time_zone": "America/Denver", **more}


def assert_is_problem(answer: Any, status: int) -> dict[str, Any]:
    """Check the shape of a problem document and return it."""
    assert answer.status_code == status, answer.content
    assert answer["Content-Type"] == "application/problem+json"
    assert answer["X-Request-ID"]
    problem: dict[str, Any] = answer.json()
    assert {"type", "title", "status", "detail", "instance", "errors"} <= set(problem)
    assert problem["status"] == status
    assert problem["detail"]
    for error in problem["errors"]:
        assert error["pointer"] == "" or error["pointer"].startswith("/")
        assert error["code"]
        assert error["message"]
    return problem


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (b"  ", "empty"),
        (b"{", "line 1, column 2"),
        (b'{"name": "a",}', "line 1"),
        (b'{"name": NaN}', "NaN"),
        (b'{"name": -Infinity}', "Infinity"),
        (b'{"name": 1e999}', "larger"),
        (b'{"name": ' + b"9" * 200 + b"}", "200 digits"),
        (b'{"name": "a", "name": "b"}', "twice"),
        (b"[" * 40 + b"]" * 40, "32 levels"),
        (b"[" * 200_000 + b"]" * 200_000, "32 levels"),
        (b'{"name": "\xff"}', "UTF-8"),
        (b'{"name": "\\u0000"}', "NUL"),
        (b'{"name": "\\ud800"}', "surrogate"),
        (b'{"\\udfff": 1}', "surrogate"),
        ('{"name": "a"}'.encode("utf-16"), "UTF-8"),
    ],
)
def test_a_malformed_body_is_a_400_that_says_where(actors: Actors, body: bytes, words: str) -> None:
    problem = assert_is_problem(actors.owner.post("sites/", body), 400)
    assert words in problem["detail"]


def test_a_malformed_body_is_told_from_one_that_broke_off(actors: Actors) -> None:
    malformed = assert_is_problem(actors.owner.post("sites/", b'{"name'), 400)
    assert [(error["pointer"], error["code"]) for error in malformed["errors"]] == [
        ("", "malformed")
    ]
    broken: dict[str, Any] = {"wsgi.input": io.BytesIO(b'{"name'), "CONTENT_LENGTH": "100"}
    answer = actors.owner.client.generic(
        "POST",
        "/api/v1/sites/",
        b"-",
        "application/json",
        headers={"Authorization": f"Bearer {actors.owner.secret}"},
        **broken,
    )
    broken_off = assert_is_problem(answer, 400)
    assert [(error["pointer"], error["code"]) for error in broken_off["errors"]] == [
        ("", "broken_off")
    ]
    assert "send it again" in broken_off["detail"]


def test_the_detail_of_a_single_error_names_the_field(actors: Actors) -> None:
    single = assert_is_problem(actors.owner.post("sites/", {"time_zone": "America/Denver"}), 422)
    assert single["detail"] == "/name: This field is required."
    assert single["errors"][0]["message"] == "This field is required."
    both = assert_is_problem(actors.owner.post("sites/", {}), 422)
    assert both["detail"].startswith("2 things")
    whole = assert_is_problem(actors.owner.post("sites/", []), 422)
    assert whole["detail"] == whole["errors"][0]["message"]


def test_without_a_token_the_answer_says_how_to_send_one_and_where_to_get_it(
    actors: Actors,
) -> None:
    answer = actors.stranger.get("sites/")
    problem = assert_is_problem(answer, 401)
    assert "Authorization: Bearer <token>" in problem["detail"]
    assert "POST /api/v1/tokens/" in problem["detail"]
    assert answer["WWW-Authenticate"] == 'Bearer realm="api"'


@pytest.mark.parametrize("path", ["/api/", "/api/v1", "/api/v1/"])
def test_the_root_names_the_page_that_explains_the_rest(actors: Actors, path: str) -> None:
    problem = assert_is_problem(actors.stranger.get(path), 404)
    assert "/api/v1/docs/" in problem["detail"]


@pytest.mark.parametrize("body", [[], "text", 7, True, None])
def test_a_body_that_is_no_object_is_refused(actors: Actors, body: Any) -> None:
    assert_is_problem(actors.owner.post("sites/", json.dumps(body).encode()), 422)


def test_no_body_at_all_lacks_what_is_required(actors: Actors) -> None:
    assert_is_problem(actors.owner.post("sites/"), 422)


def test_a_byte_order_mark_is_ignored(actors: Actors) -> None:
    body = b"\xef\xbb\xbf" + factories.json_bytes(site())
    assert actors.owner.post("sites/", body).status_code == 201


@pytest.mark.parametrize(
    "content_type",
    [
        "text/plain",
        "application/x-www-form-urlencoded",
        "multipart/form-data; boundary=x",
        "application/json; charset=iso-8859-1",
        "",
    ],
)
def test_other_content_types_are_415(actors: Actors, content_type: str) -> None:
    answer = actors.owner.post("sites/", site(), content_type=content_type)
    problem = assert_is_problem(answer, 415)
    assert problem["detail"].endswith("Send `Content-Type: application/json`.")


def test_compressed_bodies_are_415(actors: Actors) -> None:
    answer = actors.owner.post("sites/", site(), headers={"Content-Encoding": "gzip"})
    assert_is_problem(answer, 415)


def test_a_body_over_12_mb_is_413(actors: Actors) -> None:
    body = b'{"name": "' + b"a" * (12 * 1024 * 1024) + b'"}'
    assert_is_problem(actors.owner.post("sites/", body), 413)


def test_a_body_of_almost_12_mb_is_read(actors: Actors) -> None:
    body = factories.json_bytes([site(notes="a" * 1000)] * 10_000)
    assert 10_000_000 < len(body) < 12 * 1024 * 1024
    assert_is_problem(actors.owner.post("traverses/batch/", body), 422)


def test_what_can_not_be_accepted_is_406(actors: Actors) -> None:
    answer = actors.owner.client.get(
        "/api/v1/sites/",
        headers={"Authorization": f"Bearer {actors.owner.secret}", "Accept": "image/png"},
    )
    assert_is_problem(answer, 406)


def test_a_method_that_is_not_there_is_405_with_allow(actors: Actors) -> None:
    answer = actors.owner.send("PUT", "sites/", site())
    assert_is_problem(answer, 405)
    assert "POST" in answer["Allow"]
    assert "PUT" not in answer["Allow"]
    assert_is_problem(actors.owner.delete("company/"), 405)


@pytest.mark.parametrize(
    "path",
    ["/api/", "/api/v2/", "nowhere/", "sites/17/", "sites", "traverses/batch", "sites/%00/"],
)
@pytest.mark.parametrize("method", ["GET", "POST"])
def test_addresses_that_lead_nowhere_are_404(actors: Actors, path: str, method: str) -> None:
    problem = assert_is_problem(actors.owner.send(method, path, {}), 404)
    if path == "sites":
        assert "/api/v1/sites/" in problem["detail"]


def test_an_id_that_nobody_has_is_404(actors: Actors) -> None:
    path = "sites/0198f0a2-7c1e-7000-8000-00000000ffff/"
    assert_is_problem(actors.owner.get(path), 404)
    assert_is_problem(actors.owner.patch(path, {}, revision=1), 404)


@pytest.mark.parametrize(
    ("query", "parameter"),
    [
        ({"custmer": "x"}, "custmer"),
        ({"customer": "17"}, "customer"),
        ({"climate": "polar"}, "climate"),
        ({"retired": "yes"}, "retired"),
        ({"updated_since": "2026-06-03"}, "updated_since"),
        ({"updated_since": "2026-06-03T00:00:00"}, "updated_since"),
        ({"page_size": "0"}, "page_size"),
        ({"page_size": "201"}, "page_size"),
        ({"page_size": "ten"}, "page_size"),
        ({"page_size": "²"}, "page_size"),
        ({"cursor": "!!!"}, "cursor"),
        ({"cursor": "bnVsbA"}, "cursor"),
        ({"cursor": "W1sxXSwyLDMsNF0"}, "cursor"),
        ({"order": "random"}, "order"),
        ({"units": "metric"}, "units"),
        ({"name": ["a", "b"]}, "name"),
        ({"name": "a\x00b"}, "name"),
    ],
)
def test_a_query_that_can_not_be_used_is_400_and_names_the_parameter(
    actors: Actors, query: dict[str, Any], parameter: str
) -> None:
    problem = assert_is_problem(actors.owner.get("sites/", **query), 400)
    assert [error["parameter"] for error in problem["errors"]] == [parameter]


def test_a_misspelt_parameter_is_met_with_the_nearest_one(actors: Actors) -> None:
    problem = assert_is_problem(actors.owner.get("sites/", custmer="x"), 400)
    assert "did you mean customer?" in problem["detail"]


def test_a_misspelt_key_is_met_with_the_nearest_one(actors: Actors) -> None:
    problem = assert_is_problem(actors.owner.post("sites/", site(elevaton=3)), 422)
    assert problem["errors"][0]["pointer"] == "/elevaton"
    assert "did you mean 'elevation'?" in problem["errors"][0]["message"]


def test_pointers_escape_what_json_pointers_must(actors: Actors) -> None:
    answer = actors.owner.post("sites/", site(**{"a/b~c": 1}))
    assert answer.json()["errors"][0]["pointer"] == "/a~1b~0c"


def test_the_type_of_a_problem_leads_to_its_explanation(actors: Actors) -> None:
    problem = actors.stranger.get("sites/").json()
    explained = actors.stranger.get(problem["type"])
    assert explained.status_code == 200
    assert explained.json()["status"] == 401
    assert_is_problem(actors.stranger.get("problems/nonsense/"), 404)


@pytest.mark.parametrize(
    ("header", "status"),
    [
        (None, 428),
        ("", 428),
        ('"2"', 412),
        ("W/nothing", 400),
        ('"1", "2"', 400),
        ('"99999999999999999999"', 400),
        ("0", 400),
        ('"1"', 200),
        ("1", 200),
        ("*", 200),
    ],
)
def test_if_match_says_which_revision_is_changed(
    actors: Actors, world: World, header: str | None, status: int
) -> None:
    answer = actors.owner.send(
        "PATCH",
        f"sites/{world.site.pk}/",
        {"notes": "gate code"},
        headers={} if header is None else {"If-Match": header},
    )
    assert answer.status_code == status
    if status == 412:
        assert answer.json()["current"]["id"] == str(world.site.pk)

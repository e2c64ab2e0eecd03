"""The drawing of a section: what is planned, what was read, what is missing, and where."""

from __future__ import annotations

import math
import re
from typing import Any

import pytest
from django.test import Client

from airflow_jobs import recompute
from airflow_jobs.models import Traverse
from dashboards.charts.section import SectionDrawing, section_drawing
from dashboards.queries.places import places_of
from dashboards.values.places import SectionPlaces
from tests import factories
from tests.dashboards.test_pages import _rows, _text
from tests.factories import INCH

pytestmark = pytest.mark.django_db


def _places(traverse: Traverse) -> SectionPlaces:
    places = places_of(traverse)
    assert places is not None
    return places


def _drawing(traverse: Traverse) -> SectionDrawing:
    return section_drawing(
        _places(traverse),
        length_text=lambda length: f"{length / INCH:.0f} in",
        scale_lengths_m=(INCH, 6 * INCH, 12 * INCH),
    )


def _of(drawing: SectionDrawing, kind: str) -> list[tuple[float, float]]:
    return [(float(one.x), float(one.y)) for one in drawing.marks if one.kind == kind]


def _oval(**fields: Any) -> Traverse:
    section = factories.make_section(
        shape="flat_oval", width_m=40 * INCH, height_m=16 * INCH, **fields
    )
    return factories.make_traverse(duct_section=section)


def test_a_rectangle_is_drawn_to_scale_with_its_holes_on_the_drilled_side() -> None:
    drawing = _drawing(factories.make_traverse())
    taken = _of(drawing, "taken")
    assert len(taken) == 25
    assert not _of(drawing, "planned")
    x, y = [one[0] for one in taken], [one[1] for one in taken]
    # 18 wide, 24 high; both by the fractions 0.074 to 0.926.
    assert (max(x) - min(x)) / (max(y) - min(y)) == pytest.approx(18 / 24, rel=1e-3)
    assert [one.text for one in drawing.labels if one.kind == "number"] == list("12345")
    holes = [one for one in drawing.strokes if one.kind == "line"]
    assert all(one.x1 == one.x2 and float(one.y1) < float(one.y2) for one in holes)
    (drilled,) = (one for one in drawing.strokes if one.kind == "drilled")
    assert drilled.y1 == drilled.y2
    assert float(drilled.y1) < min(y)


def test_a_section_drilled_along_its_height_is_drilled_at_the_left() -> None:
    section = factories.make_section(drilled_side="height")
    drawing = _drawing(factories.make_traverse(duct_section=section))
    holes = [one for one in drawing.strokes if one.kind == "line"]
    assert all(one.y1 == one.y2 and float(one.x1) < float(one.x2) for one in holes)
    tops = [float(one.y1) for one in holes]
    assert tops == sorted(tops)


def test_a_round_duct_has_its_first_hole_on_top_and_goes_clockwise() -> None:
    section = factories.make_round_section()
    traverse = factories.make_traverse(
        duct_section=section, readings={"values": [[3.0] * 6 for _ in range(3)]}
    )
    first, second, third = _places(traverse).lines
    radius = 8 * INCH
    assert (first.hole.x_m, first.hole.y_m) == pytest.approx((0.0, -radius))
    assert (second.hole.x_m, second.hole.y_m) == pytest.approx(
        (radius * math.sin(math.pi / 3), -radius / 2)
    )
    assert third.hole.x_m > 0 < third.hole.y_m
    assert first.points[0].actual.y_m < 0 < first.points[-1].actual.y_m


@pytest.mark.parametrize("side", ["width", "height"])
def test_every_point_of_an_oval_lies_inside_it(side: str) -> None:
    places = _places(_oval(drilled_side=side, lining_thickness_m=INCH))
    assert (places.width_m, places.height_m) == pytest.approx((38 * INCH, 14 * INCH))
    radius, straight = 7 * INCH, 12 * INCH
    for line in places.lines:
        for point in line.points:
            away = math.hypot(max(abs(point.actual.x_m) - straight, 0.0), point.actual.y_m)
            assert away < radius
        for end in (line.hole, line.far_end):
            at_end = math.hypot(max(abs(end.x_m) - straight, 0.0), end.y_m)
            assert at_end == pytest.approx(radius)


def test_a_moved_hole_is_drawn_hollow_where_it_was_planned_and_filled_where_it_is(
    manager: Client,
) -> None:
    section = factories.make_section(width_m=0.5, height_m=0.4)
    traverse = factories.make_traverse(
        duct_section=section, positions={"lines": [0.037, 0.144, 0.270, 0.356, 0.463]}
    )
    drawing = _drawing(traverse)
    # The hole and its five points; the others are on plan to half a millimetre.
    assert len(_of(drawing, "planned")) == 6
    assert len(_of(drawing, "taken")) == 25
    factories.make_company(default_units="si")
    text = _text(manager, f"/traverses/{traverse.pk}/")
    assert "Hole 3 is 20 mm from where the rule puts it: at 270 mm instead of 250 mm." in text
    assert "planned by the rule, read elsewhere" in text
    rows = _rows(manager, f"/traverses/{traverse.pk}/positions.csv")
    assert len(rows) == 25
    third = next(row for row in rows if row["Line"] == "3")
    assert float(third["Hole along the side, m, planned"]) == pytest.approx(0.25)
    assert float(third["Hole along the side, m"]) == pytest.approx(0.27)
    assert third["Note"] == "moved 20 mm"


def test_a_point_that_was_not_read_is_crossed_with_its_reason(manager: Client) -> None:
    values: list[list[float | None]] = [[2.9] * 5 for _ in range(5)]
    values[1][2] = None
    values[4][0] = None
    traverse = factories.make_traverse(
        readings={"values": values}, reasons=[[2, 3, "a turning vane is in the way"]]
    )
    drawing = _drawing(traverse)
    assert len(_of(drawing, "missing")) == 2
    text = _text(manager, f"/traverses/{traverse.pk}/")
    assert "Line 2, point 3 was not read: a turning vane is in the way." in text
    assert "Line 5, point 1 was not read: no reason given." in text


def test_a_sweep_is_drawn_along_what_was_swept() -> None:
    traverse = factories.make_traverse(
        mode="sweeps",
        readings={
            "lines": [{"mean": 2.9, "seconds": 12.0} for _ in range(5)],
            "near_gap_m": 0.02,
            "far_gap_m": 0.05,
        },
    )
    line = _places(traverse).lines[0]
    assert line.swept is not None
    start, end = line.swept
    assert start.y_m == pytest.approx(-12 * INCH + 0.02)
    assert end.y_m == pytest.approx(12 * INCH - 0.05)
    assert len([one for one in _drawing(traverse).strokes if one.kind == "swept"]) == 5


def test_a_lining_is_drawn_and_named(manager: Client) -> None:
    section = factories.make_section(lining_thickness_m=INCH, material="lined_sheet")
    traverse = factories.make_traverse(duct_section=section)
    assert _drawing(traverse).walls
    text = _text(manager, f"/traverses/{traverse.pk}/")
    assert "lining, 1 in" in text
    assert "16 in inside" in text


def test_what_does_not_go_together_says_so_and_breaks_nothing(manager: Client) -> None:
    section = factories.make_section()
    traverse = factories.make_traverse(
        duct_section=section, positions={"lines": [0.1, 0.2, 0.3, 0.4, 9.0]}
    )
    recompute.drain()
    assert places_of(traverse) is None
    text = _text(manager, f"/traverses/{traverse.pk}/")
    assert "The section can't be drawn" in text
    assert manager.get(f"/traverses/{traverse.pk}/positions.csv").status_code == 404


def test_the_drawing_has_a_name_and_no_style(manager: Client) -> None:
    traverse = factories.make_traverse()
    page = manager.get(f"/traverses/{traverse.pk}/").content.decode()
    (picture,) = re.findall(r'<svg class="duct" .*?</svg>', page, flags=re.DOTALL)
    assert 'role="img" aria-labelledby="duct-title"' in picture
    assert "<title id=" in picture
    assert " style=" not in picture

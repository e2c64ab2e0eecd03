"""Inside sizes, areas, hydraulic diameters and siting."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airflow_jobs.calc import sections, siting
from airflow_jobs.calc.sections import InsideSection, inside_dimension_m, inside_section
from tests.calc import published

INCH = 0.0254
FOOT = 0.3048

sizes = st.floats(0.05, 3.0)


@published.each("SD-DH")
def test_the_hydraulic_diameter_of_a_rectangle_is_four_areas_over_its_perimeter(
    row: published.Row,
) -> None:
    section = InsideSection("rectangular", row.inputs["a"] / 1000, row.inputs["b"] / 1000)
    row.assert_matches(section.hydraulic_diameter_m * 1000)


@published.each("TP-EPAD")
def test_the_equivalent_diameter_of_a_rectangle_is_the_hydraulic_one(row: published.Row) -> None:
    section = InsideSection("rectangular", row.inputs["L_m"], row.inputs["W_m"])
    row.assert_matches(section.hydraulic_diameter_m)


@published.each("SD-OV-A")
def test_a_flat_oval_has_the_area_of_a_rectangle_and_a_circle(row: published.Row) -> None:
    oval = InsideSection("flat_oval", row.inputs["A_in"] * INCH, row.inputs["a_in"] * INCH)
    row.assert_matches(oval.area_m2 / INCH**2)


@published.each("SD-OV-P")
def test_a_flat_oval_has_the_perimeter_of_two_sides_and_a_circle(row: published.Row) -> None:
    oval = InsideSection("flat_oval", row.inputs["A_in"] * INCH, row.inputs["a_in"] * INCH)
    row.assert_matches(oval.perimeter_m / INCH)


@published.each("SD-EPA")
def test_the_preferred_site_is_the_regulations(row: published.Row) -> None:
    upstream, downstream = row.expected
    at_the_limit = siting.siting(
        hydraulic_diameter_m=1.0, straight_upstream_m=upstream, straight_downstream_m=downstream
    )
    just_short = siting.siting(
        hydraulic_diameter_m=1.0,
        straight_upstream_m=upstream - 0.01,
        straight_downstream_m=downstream,
    )
    row.assert_matches([at_the_limit.upstream_diameters, at_the_limit.downstream_diameters])
    assert (at_the_limit.judgement, just_short.judgement) == ("good", "acceptable")


@published.each("SD-EPAM")
def test_the_least_site_is_the_regulations(row: published.Row) -> None:
    upstream, downstream = row.expected
    at_the_limit = siting.siting(
        hydraulic_diameter_m=1.0, straight_upstream_m=upstream, straight_downstream_m=downstream
    )
    just_short = siting.siting(
        hydraulic_diameter_m=1.0,
        straight_upstream_m=upstream,
        straight_downstream_m=downstream - 0.01,
    )
    row.assert_matches([at_the_limit.upstream_diameters, at_the_limit.downstream_diameters])
    assert (at_the_limit.judgement, just_short.judgement) == ("acceptable", "poor")


def test_what_is_unknown_about_a_site_leaves_it_unjudged_unless_the_rest_is_poor() -> None:
    def judged(upstream: float | None, downstream: float | None) -> str:
        return siting.siting(
            hydraulic_diameter_m=0.5,
            straight_upstream_m=upstream,
            straight_downstream_m=downstream,
        ).judgement

    assert judged(None, None) == "unknown"
    assert judged(10.0, None) == "unknown"
    assert judged(float("nan"), 5.0) == "unknown"
    assert judged(0.5, None) == "poor"
    assert judged(None, 0.2) == "poor"


def test_eighteen_by_twenty_four_inches_is_three_square_feet() -> None:
    section = inside_section("rectangular", outside_width_m=18 * INCH, outside_height_m=24 * INCH)
    assert section.area_m2 == pytest.approx(3.0 * FOOT**2, rel=1e-12)
    assert section.area_m2 == pytest.approx(0.27871, abs=5e-6)
    assert section.hydraulic_diameter_m == pytest.approx(0.5225, abs=1e-4)


def test_an_inch_of_lining_leaves_sixteen_inches_and_2_444_square_feet() -> None:
    lined = inside_section(
        "rectangular",
        outside_width_m=18 * INCH,
        outside_height_m=24 * INCH,
        lining_thickness_m=INCH,
    )
    assert lined.width_m / INCH == pytest.approx(16.0)
    assert lined.area_m2 / FOOT**2 == pytest.approx(2.444, abs=5e-4)
    assert 3.0 * FOOT**2 / lined.area_m2 - 1 == pytest.approx(0.227, abs=5e-4)
    velocity_ft_min = 574.0
    flow_ft3_min = velocity_ft_min * lined.area_m2 / FOOT**2
    assert flow_ft3_min == pytest.approx(1403, abs=0.5)
    assert flow_ft3_min / 3 == pytest.approx(468, abs=0.5)


def test_three_quarter_inch_board_leaves_sixteen_and_a_half_inches() -> None:
    inside = inside_dimension_m(outside_m=18 * INCH, lining_thickness_m=0.75 * INCH)
    assert float(inside) / INCH == pytest.approx(16.5)


@given(width=sizes, height=sizes)
def test_a_flat_oval_lies_between_its_inscribed_and_circumscribed_rectangles(
    width: float, height: float
) -> None:
    wide, low = max(width, height), min(width, height)
    oval = InsideSection("flat_oval", wide, low)
    assert low * (wide - low) <= oval.area_m2 <= low * wide
    assert oval.perimeter_m <= 2 * (wide + low)


@given(size=sizes)
def test_a_flat_oval_as_wide_as_high_is_round(size: float) -> None:
    oval, circle = InsideSection("flat_oval", size, size), InsideSection("round", size, size)
    assert oval.area_m2 == pytest.approx(circle.area_m2)
    assert oval.perimeter_m == pytest.approx(circle.perimeter_m)
    assert circle.hydraulic_diameter_m == pytest.approx(size)


@given(width=sizes, height=sizes, factor=st.floats(0.1, 10.0))
def test_areas_grow_with_the_square_of_the_size(width: float, height: float, factor: float) -> None:
    small = InsideSection("rectangular", width, height)
    large = InsideSection("rectangular", width * factor, height * factor)
    assert large.area_m2 == pytest.approx(small.area_m2 * factor**2)
    assert large.hydraulic_diameter_m == pytest.approx(small.hydraulic_diameter_m * factor)


@given(outside=sizes, share=st.floats(0.0, 0.49))
def test_lining_comes_off_at_both_walls(outside: float, share: float) -> None:
    lining = share * outside
    inside = float(inside_dimension_m(outside_m=outside, lining_thickness_m=lining))
    assert inside + 2 * lining == pytest.approx(outside)


def test_arrays_give_what_scalars_give() -> None:
    width, height = np.array([0.3, 0.6, np.nan]), np.array([0.2, 0.6, 0.5])
    for shape in ("rectangular", "flat_oval"):
        areas = sections.area_m2(shape, width_m=width, height_m=height)
        for i in range(2):
            assert areas[i] == sections.area_m2(shape, width_m=width[i], height_m=height[i])
        assert np.isnan(areas[2])


def test_impossible_sections_are_refused_by_name_value_and_limit() -> None:
    with pytest.raises(ValueError, match=r"lining_thickness_m is 0\.2 m .* below half .* 0\.2 m"):
        inside_dimension_m(outside_m=0.4, lining_thickness_m=0.2)
    with pytest.raises(ValueError, match=r"outside_m is -1 m; it must be above 0 m"):
        inside_dimension_m(outside_m=-1.0)
    with pytest.raises(ValueError, match=r"width_m is 0.2 m; in a flat oval"):
        inside_section("flat_oval", outside_width_m=0.2, outside_height_m=0.3)
    with pytest.raises(ValueError, match="outside_diameter_m is missing"):
        inside_section("round", outside_width_m=0.3)
    with pytest.raises(ValueError, match="outside_height_m is missing"):
        inside_section("rectangular", outside_width_m=0.3)
    with pytest.raises(ValueError, match="shape is 'square'"):
        sections.area_m2("square", width_m=1.0, height_m=1.0)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="straight_upstream_m is -1 m"):
        siting.siting(hydraulic_diameter_m=0.5, straight_upstream_m=-1.0, straight_downstream_m=1.0)


def test_the_drilled_side_decides_which_extent_is_which() -> None:
    section = InsideSection("rectangular", 0.5, 0.3)
    assert section.extents_m("width") == (0.5, 0.3)
    assert section.extents_m("height") == (0.3, 0.5)
    with pytest.raises(ValueError, match="drilled_side is 'top'"):
        section.extents_m("top")  # type: ignore[arg-type]

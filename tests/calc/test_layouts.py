"""Where the published rules put the points."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import dblquad, quad

from airflow_jobs.calc import layouts, ovals, rules
from airflow_jobs.calc.layouts import Plan, default_counts, plan_by_rule, plan_for
from airflow_jobs.calc.sections import InsideSection
from tests.calc import published

INCH = 0.0254
EXPONENTS = (5, 6, 7, 8, 9, 10)

aspects = st.floats(0.15, 6.0)


def _plans() -> list[Plan]:
    plans = [
        plan_by_rule("rectangular", "log_tchebycheff", n, m)
        for n in rules.LOG_TCHEBYCHEFF_COUNTS
        for m in (5, 7)
    ]
    plans += [plan_by_rule("rectangular", "equal_area", n, 4) for n in (1, 2, 5, 13)]
    plans += [
        plan_by_rule("round", "log_linear", d, n) for d in (2, 3) for n in rules.LOG_LINEAR_PRINTED
    ]
    plans += [plan_by_rule("round", "equal_annuli", d, n) for d in (2, 3) for n in (2, 6, 12)]
    for aspect in (0.4, 1.0, 2.5):
        plans += [plan_by_rule("flat_oval", "log_tchebycheff", 5, 5, aspect)]
        plans += [plan_by_rule("flat_oval", "equal_area", 4, 6, aspect)]
    return plans


def _rows_of_nodes() -> list[published.Row]:
    return published.rows("TP-LTR?", "TP-LLC[0-9]*", "TP-LTC[0-9]*", "TP-EPA[0-9][0-9]")


def _round_power_law_error_percent(fractions: np.ndarray, exponent: int) -> float:
    """Error of the plain mean of (y/R)^(1/m) at these fractions of the diameter."""
    from_wall = 2.0 * np.minimum(fractions, 1.0 - fractions)
    exact = 2.0 * exponent**2 / ((exponent + 1) * (2 * exponent + 1))
    return 100.0 * (float(np.mean(from_wall ** (1.0 / exponent))) / exact - 1.0)


def _mean_over_rings(function: object, first: float, last: float) -> float:
    """Mean of a function of y/R over the rings between two shares of the area, inside out."""
    value, _ = quad(lambda s: function(1.0 - np.sqrt(s)), first, last)  # type: ignore[operator]
    return float(value) / (last - first)


def _log_linear_from_first_principles(points_a_radius: int) -> np.ndarray:
    distances: list[float] = []
    for ring in range(0, points_a_radius - 1, 2):
        first, last = ring / points_a_radius, (ring + 2) / points_a_radius
        half_sum = _mean_over_rings(lambda y: y, first, last)
        product = np.exp(2.0 * _mean_over_rings(np.log, first, last))
        spread = np.sqrt(half_sum**2 - product)
        distances += [half_sum + spread, half_sum - spread]
    if points_a_radius % 2:
        outermost = (points_a_radius - 1) / points_a_radius
        distances.append(float(np.exp(_mean_over_rings(np.log, outermost, 1.0))))
    near = np.sort(distances) / 2.0
    return np.concatenate([near, 1.0 - near[::-1]])


def _log_tchebycheff_circle(points_a_radius: int) -> np.ndarray:
    """Radii r/R by the circular log-Tchebycheff rule: its outer ring and Chebyshev in r^2."""
    n = points_a_radius
    inner = (1.0 - 1.0 / n) * 0.5 * (1.0 + rules.chebyshev_equal_weight_nodes(n - 1))
    outer = 1.0 - np.exp(_mean_over_rings(np.log, 1.0 - 1.0 / n, 1.0))
    return np.concatenate([np.sqrt(inner), [outer]])


@published.each("TP-LTR?")
def test_log_tchebycheff_lines_are_the_printed_ones(row: published.Row) -> None:
    row.assert_matches(rules.log_tchebycheff_fractions(row.inputs["lines"]))


@published.each("TP-LTR?")
def test_log_tchebycheff_lines_follow_from_first_principles(row: published.Row) -> None:
    row.assert_matches(rules.log_tchebycheff_formula(row.inputs["lines"]))


@pytest.mark.parametrize("count", rules.LOG_TCHEBYCHEFF_PRINTED)
def test_the_formula_rounds_to_the_printed_log_tchebycheff_digits(count: int) -> None:
    rounded = tuple(round(x, 3) for x in rules.log_tchebycheff_formula(count))
    assert rounded == rules.LOG_TCHEBYCHEFF_PRINTED[count]


@published.each("TP-LLC4", "TP-LLC6", "TP-LLC10")
def test_log_linear_points_are_the_printed_ones(row: published.Row) -> None:
    row.assert_matches(rules.log_linear_fractions(row.inputs["points_per_diameter"]))


@pytest.mark.parametrize("count", rules.LOG_LINEAR_PRINTED)
def test_first_principles_round_to_the_printed_log_linear_digits(count: int) -> None:
    rounded = tuple(np.round(_log_linear_from_first_principles(count // 2), 3))
    assert rounded == rules.LOG_LINEAR_PRINTED[count]


@published.each("TP-LLCr3")
def test_log_linear_radii_follow_from_first_principles(row: published.Row) -> None:
    fractions = _log_linear_from_first_principles(row.inputs["points_per_radius"])
    row.assert_matches(np.sort(1.0 - 2.0 * fractions[fractions < 0.5]))


@published.each("TP-LTCr*")
def test_chebyshev_nodes_give_the_circular_log_tchebycheff_radii(row: published.Row) -> None:
    row.assert_matches(_log_tchebycheff_circle(row.inputs["points_per_radius"]))


@published.each("TP-LTC6", "TP-LTC10")
def test_chebyshev_nodes_give_the_circular_log_tchebycheff_positions(row: published.Row) -> None:
    radii = _log_tchebycheff_circle(row.inputs["points_per_radius"])
    near = np.sort(0.5 * (1.0 - radii))
    row.assert_matches(np.concatenate([near, 1.0 - near[::-1]]))


@published.each("TP-EPA[0-9][0-9]")
def test_equal_annuli_points_are_the_regulations(row: published.Row) -> None:
    fractions = rules.equal_annuli_fractions(row.inputs["points_per_diameter"])
    row.assert_matches(100.0 * np.array(fractions))


@published.each("TP-EPAR*")
def test_equal_area_layouts_have_the_regulations_rows_and_columns(row: published.Row) -> None:
    lines, points = row.expected
    plan = plan_by_rule("rectangular", "equal_area", lines, points)
    assert plan.number_of_points == row.inputs["points"]
    row.assert_matches([len(np.unique(plan.xi)), len(np.unique(plan.eta))])


@published.each("TP-LINES*")
def test_the_number_of_lines_follows_the_side(row: published.Row) -> None:
    sides_in = {"<30 in.": (12.0, 29.9), "30 to 36 in.": (30.0, 36.0), ">36 in.": (36.1, 60.0)}
    for side in sides_in[row.inputs["side"]]:
        section = InsideSection("rectangular", side * INCH, 0.3)
        lines, points = default_counts(section, "log_tchebycheff")
        row.assert_matches(lines)
        assert points == 5
        assert default_counts(section, "log_tchebycheff", "height") == (points, lines)


@published.each("AC-NMIN25")
def test_the_smallest_duct_gets_the_least_number_of_log_tchebycheff_points(
    row: published.Row,
) -> None:
    row.assert_matches(plan_for(InsideSection("rectangular", 0.1, 0.1)).number_of_points)


@published.each("AC-NMINEA")
def test_equal_area_defaults_follow_the_balancing_procedure(row: published.Row) -> None:
    row.assert_matches(
        [
            layouts.EQUAL_AREA_LEAST_A_SIDE**2,
            layouts.EQUAL_AREA_MOST_POINTS,
            round(1000 * layouts.EQUAL_AREA_SPACING_M),
        ]
    )


@published.each("TP-SYM")
def test_every_published_table_is_symmetric(row: published.Row) -> None:
    for table in _rows_of_nodes():
        nodes = np.array(table.expected)
        scale = 100.0 if table.unit.startswith("%") else 1.0
        for pair in (nodes + nodes[::-1]) / scale:
            row.assert_matches(pair)


@published.each("TP-ERRC-LLC*")
def test_log_linear_means_err_as_published_in_a_power_law(row: published.Row) -> None:
    count = int(row.inputs["nodes"].removeprefix("TP-LLC"))
    fractions = np.array(rules.log_linear_fractions(count))
    row.assert_matches([_round_power_law_error_percent(fractions, m) for m in row.inputs["m"]])


@published.each("TP-ERRC-EPA*")
def test_equal_annuli_means_err_as_published_in_a_power_law(row: published.Row) -> None:
    count = int(row.inputs["nodes"].removeprefix("TP-EPA"))
    # The row is worked out from the printed positions, a tenth of a percent of the diameter.
    fractions = np.round(rules.equal_annuli_fractions(count), 3)
    row.assert_matches([_round_power_law_error_percent(fractions, m) for m in row.inputs["m"]])


@published.each("TP-ERRC-LTC6")
def test_circular_log_tchebycheff_means_err_as_published(row: published.Row) -> None:
    count = int(row.inputs["nodes"].removeprefix("TP-LTC"))
    fractions = np.round(0.5 * (1.0 - _log_tchebycheff_circle(count // 2)), 4)
    row.assert_matches([_round_power_law_error_percent(fractions, m) for m in row.inputs["m"]])


@published.each("TP-ERRR-*")
def test_rectangular_means_err_as_published_in_a_power_law(row: published.Row) -> None:
    kind, count = row.inputs["nodes"][:3], int(row.inputs["nodes"][3:])
    rule = {"LTR": "log_tchebycheff", "EAR": "equal_area"}[kind]
    plan = plan_by_rule("rectangular", rule, count, count)  # type: ignore[arg-type]
    errors = []
    for m in row.inputs["m"]:
        velocities = ((1.0 - np.abs(plan.xi)) * (1.0 - np.abs(plan.eta))) ** (1.0 / m)
        errors.append(100.0 * (float(np.mean(velocities)) / (m / (m + 1)) ** 2 - 1.0))
    row.assert_matches(errors)


@published.each("TP-PWR7")
def test_many_equal_annuli_find_the_mean_of_the_seventh_power_law(row: published.Row) -> None:
    m = row.inputs["m"]
    row.assert_matches(2.0 * m**2 / ((m + 1) * (2 * m + 1)))
    fractions = np.array(rules.equal_annuli_fractions(20_000))
    from_wall = 2.0 * np.minimum(fractions, 1.0 - fractions)
    assert float(np.mean(from_wall ** (1.0 / m))) == pytest.approx(row.expected, rel=1e-4)


@published.each("TP-PWR7R")
def test_many_equal_strips_find_the_mean_of_the_seventh_power_law(row: published.Row) -> None:
    m = row.inputs["m"]
    row.assert_matches(m / (m + 1))
    fractions = np.array(rules.equal_area_fractions(20_000))
    from_wall = 2.0 * np.minimum(fractions, 1.0 - fractions)
    assert float(np.mean(from_wall ** (1.0 / m))) == pytest.approx(row.expected, rel=1e-4)


def test_five_lines_on_eighteen_inches_are_34_132_229_326_423_millimetres() -> None:
    plan = plan_for(InsideSection("rectangular", 18 * INCH, 24 * INCH))
    millimetres = [int(np.floor(1000 * 18 * INCH * x + 0.5)) for x in plan.lines]
    assert millimetres == [34, 132, 229, 326, 423]


@pytest.mark.parametrize("plan", _plans(), ids=str)
def test_every_plan_is_its_own_mirror_image(plan: Plan) -> None:
    points = np.column_stack([plan.xi, plan.eta])
    assert np.all(np.abs(points) < 1.0)
    images = [points * [1, -1], points * [-1, 1], -points]
    if plan.shape == "round" and len(plan.lines) == 3:
        # Three diameters from 0 deg mirror onto themselves too: 60 and 120 deg change places.
        assert plan.lines == (0.0, 60.0, 120.0)
    for image in images:
        distances = np.linalg.norm(points[:, None, :] - image[None, :, :], axis=-1)
        assert np.all(distances.min(axis=0) < 1e-12)


@pytest.mark.parametrize("plan", _plans(), ids=str)
def test_points_of_a_plan_come_line_by_line(plan: Plan) -> None:
    assert plan.number_of_points == plan.xi.size == plan.eta.size == plan.line_of_point.size
    for j, depths in enumerate(plan.depths):
        assert np.sum(plan.line_of_point == j) == len(depths)
        assert list(depths) == sorted(depths)
    assert np.all(np.diff(plan.line_of_point) >= 0)
    assert list(plan.lines) == sorted(plan.lines)


@pytest.mark.parametrize("count", rules.LOG_TCHEBYCHEFF_COUNTS)
def test_inner_log_tchebycheff_points_average_polynomials_exactly(count: int) -> None:
    inner = np.array(rules.log_tchebycheff_formula(count)[1:-1])
    low, high = 1.0 / count, 1.0 - 1.0 / count
    for power in range(count - 1):
        exact = (high ** (power + 1) - low ** (power + 1)) / ((power + 1) * (high - low))
        assert float(np.mean(inner**power)) == pytest.approx(exact, rel=1e-10)


@pytest.mark.parametrize("count", rules.LOG_TCHEBYCHEFF_COUNTS)
def test_the_outer_log_tchebycheff_point_sits_at_the_mean_of_a_logarithm(count: int) -> None:
    outer = rules.log_tchebycheff_formula(count)[0]
    mean_logarithm, _ = quad(np.log, 0.0, 1.0 / count)
    assert np.log(outer) == pytest.approx(mean_logarithm * count, rel=1e-8)


def test_a_log_tchebycheff_rule_of_ten_or_twelve_points_does_not_exist() -> None:
    for count in (0, 1, 2, 10, 12, 13):
        with pytest.raises(ValueError, match=f"count is {count}; .* 3 to 9 and for 11"):
            rules.log_tchebycheff_fractions(count)


@given(count=st.integers(1, 40).map(lambda n: 2 * n))
def test_equal_annuli_points_halve_each_ring(count: int) -> None:
    fractions = np.array(rules.equal_annuli_fractions(count))
    area_inside = np.sort((1.0 - 2.0 * fractions[: count // 2]) ** 2)
    assert np.allclose(area_inside, (np.arange(count // 2) + 0.5) / (count // 2), atol=1e-12)


def test_first_points_of_a_round_plan_face_the_first_hole() -> None:
    plan = plan_by_rule("round", "log_linear", 2, 6)
    # The first hole is at the top (eta = 1); the second, clockwise facing downstream, at the right.
    assert plan.eta[0] == pytest.approx(0.936)
    assert plan.xi[0] == pytest.approx(0.0)
    assert plan.xi[6] == pytest.approx(0.936)
    assert plan.eta[6] == pytest.approx(0.0, abs=1e-15)


def test_a_round_duct_gets_three_diameters_of_six_by_default() -> None:
    plan = plan_for(InsideSection("round", 0.3, 0.3))
    assert (plan.rule, plan.lines) == ("log_linear", (0.0, 60.0, 120.0))
    assert plan.depths == ((0.032, 0.135, 0.321, 0.679, 0.865, 0.968),) * 3


@given(width=st.floats(0.1, 3.0), height=st.floats(0.1, 3.0))
def test_default_equal_area_points_are_16_to_64_and_close_where_they_can_be(
    width: float, height: float
) -> None:
    lines, points = default_counts(InsideSection("rectangular", width, height), "equal_area")
    assert lines >= 4
    assert points >= 4
    assert 16 <= lines * points <= 64
    if lines * points < 50:
        assert width / lines <= 0.15 + 1e-9
        assert height / points <= 0.15 + 1e-9


def test_equal_plans_are_one_object_and_can_be_dictionary_keys() -> None:
    first = plan_for(InsideSection("rectangular", 0.4, 0.5))
    second = plan_for(InsideSection("rectangular", 0.5, 0.6), drilled_side="height")
    assert first is second
    assert len({first, second}) == 1
    with pytest.raises(ValueError, match="read-only"):
        first.xi[0] = 0.0


@given(aspect=aspects, xi=st.floats(-1.0, 1.0))
def test_an_ovals_area_grows_by_its_chord(aspect: float, xi: float) -> None:
    step = 1e-5
    low, high = max(-1.0, xi - step), min(1.0, xi + step)
    share = ovals.oval_area_fraction(high, aspect) - ovals.oval_area_fraction(low, aspect)
    whole, _ = quad(
        lambda t: ovals.oval_chord(np.asarray(t), aspect), 0.0, 1.0, epsrel=1e-9,
        points=[1.0 - 1.0 / aspect] if aspect > 1 else None,
    )  # fmt: skip
    middle = ovals.oval_chord(np.asarray(0.5 * (low + high)), aspect)
    assert share / (high - low) == pytest.approx(float(middle) / (2.0 * whole), abs=3e-3)


@given(aspect=aspects, fraction=st.floats(0.001, 0.999))
def test_an_ovals_area_fraction_survives_the_round_trip(aspect: float, fraction: float) -> None:
    line = ovals.oval_line_fraction(fraction, aspect)
    assert ovals.oval_area_fraction(2.0 * line - 1.0, aspect) == pytest.approx(fraction, abs=1e-12)
    mirrored = ovals.oval_line_fraction(1.0 - fraction, aspect)
    assert line + mirrored == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize("aspect", [0.3, 0.5, 1.0, 2.0, 4.0])
def test_equal_weights_hold_in_a_flat_oval(aspect: float) -> None:
    """A fine equal-area plan averages smooth functions over the oval, whichever side is drilled."""
    plan = plan_by_rule("flat_oval", "equal_area", 300, 60, aspect)

    def over_the_area(power_along: int, power_across: int) -> float:
        def chord(x: float) -> float:
            return float(ovals.oval_chord(np.asarray(x), aspect))

        top, _ = dblquad(lambda y, x: x**power_along * y**power_across, 0, 1, 0, chord, epsabs=1e-8)
        bottom, _ = quad(chord, 0, 1)
        return float(top / bottom)

    for along, across in ((2, 0), (0, 2), (2, 2)):
        plain = float(np.mean(plan.xi**along * plan.eta**across))
        assert plain == pytest.approx(over_the_area(along, across), abs=2e-4)


def test_both_ways_of_drilling_an_oval_see_the_same_oval() -> None:
    oval = InsideSection("flat_oval", 0.6, 0.3)
    wide = plan_for(oval, rule="equal_area", lines=400, points=100, drilled_side="width")
    high = plan_for(oval, rule="equal_area", lines=400, points=100, drilled_side="height")
    assert (wide.oval_aspect, high.oval_aspect) == (2.0, 0.5)
    assert float(np.mean(wide.xi**2)) == pytest.approx(float(np.mean(high.eta**2)), abs=1e-4)
    assert float(np.mean(wide.eta**2)) == pytest.approx(float(np.mean(high.xi**2)), abs=1e-4)


def test_rules_counts_and_shapes_that_do_not_go_together_are_refused() -> None:
    with pytest.raises(ValueError, match="rule is 'log_linear'; a rectangular section has"):
        plan_by_rule("rectangular", "log_linear", 5, 5)
    with pytest.raises(ValueError, match="lines is 4; a round section is measured on 2 or 3"):
        plan_by_rule("round", "log_linear", 4, 6)
    with pytest.raises(ValueError, match="points_per_diameter is 5; a log-linear rule has 4, 6"):
        plan_by_rule("round", "log_linear", 2, 5)
    with pytest.raises(ValueError, match=r"points_per_diameter is 7; .* an even number"):
        plan_by_rule("round", "equal_annuli", 2, 7)
    with pytest.raises(ValueError, match="count is 0; an equal-area rule needs at least 1"):
        plan_by_rule("rectangular", "equal_area", 0, 4)
    with pytest.raises(ValueError, match="oval_aspect is None"):
        plan_by_rule("flat_oval", "equal_area", 4, 4)
    with pytest.raises(ValueError, match="shape is 'square'"):
        plan_by_rule("square", "equal_area", 4, 4)  # type: ignore[arg-type]


def test_a_plan_of_other_positions_keeps_its_rule() -> None:
    plan = plan_for(InsideSection("rectangular", 0.4, 0.5))
    moved = layouts.Plan(plan.shape, plan.rule, (0.074, 0.238, 0.5, 0.712, 0.926), plan.depths)
    assert moved != plan
    assert moved.xi[5] == pytest.approx(2 * 0.238 - 1)

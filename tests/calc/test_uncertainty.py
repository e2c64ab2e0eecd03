"""The budget: against published examples, against two judges, and by Monte Carlo."""

import numpy as np
import pytest
import statsmodels.api as sm
import uncertainties
from scipy.integrate import quad
from scipy.stats import chi2
from uncertainties import umath

from airflow_jobs.calc.components import RECTANGULAR_DIVISOR, alignment, density_uncertainty
from airflow_jobs.calc.coverage_factor import student_factor, welch_satterthwaite
from airflow_jobs.calc.flow_sums import summed_flow
from airflow_jobs.calc.narrowing import narrowing, narrowing_sentence
from airflow_jobs.calc.uncertainty import (
    COMPONENT_NAMES,
    COMPONENTS,
    blades_are_resolved,
    budget_of_basis,
    combined_budget,
)
from tests.calc import published

# ---- Published examples. Where an example isn't about a flow, it holds the judge (the package
# `uncertainties`, which the budget is compared with below) or the rule that both share.


def _end_gauge(row: published.Row) -> tuple[uncertainties.UFloat, dict[str, uncertainties.UFloat]]:
    given = row.inputs
    standard = uncertainties.ufloat(*given["l_S"][:2])
    difference = sum(uncertainties.ufloat(*given[name][:2]) for name in ("d0", "d1", "d2"))
    half_expansion, half_theta = given["alpha_S"][2], given["d_theta"][2]
    expansion = uncertainties.ufloat(given["alpha_S"][1], half_expansion / RECTANGULAR_DIVISOR)
    d_expansion = uncertainties.ufloat(0.0, given["d_alpha"][2] / RECTANGULAR_DIVISOR)
    d_theta = uncertainties.ufloat(0.0, half_theta / RECTANGULAR_DIVISOR)
    theta = uncertainties.ufloat(*given["theta_bar"]) + uncertainties.ufloat(
        0.0, given["Delta"][2] / 2.0**0.5
    )
    length = standard + difference - standard * (d_expansion * theta + expansion * d_theta)
    return length, {
        "l_S": standard,
        "d": difference,
        "d_alpha": d_expansion,
        "d_theta": d_theta,
        "theta": theta,
        "alpha_S": expansion,
    }


def test_the_judge_measures_the_end_gauge() -> None:
    length, _ = _end_gauge(published.row("UN-H1-L"))
    published.row("UN-H1-L").assert_matches(length.nominal_value)
    published.row("UN-H1-U").assert_matches(length.std_dev)


def test_the_judge_splits_the_end_gauge_into_its_contributions() -> None:
    row = published.row("UN-H1-C")
    _, parts = _end_gauge(row)
    nominal = row.inputs["l_S"][0]
    row.assert_matches(
        [
            parts["l_S"].std_dev,
            parts["d"].std_dev,
            nominal * abs(parts["theta"].nominal_value) * parts["d_alpha"].std_dev,
            nominal * parts["alpha_S"].nominal_value * parts["d_theta"].std_dev,
        ]
    )


def test_second_order_terms_widen_the_end_gauge() -> None:
    row = published.row("UN-H1-2ND")
    length, parts = _end_gauge(row)
    nominal = row.inputs["l_S"][0]
    products = (
        parts["d_alpha"].std_dev * parts["theta"].std_dev,
        parts["alpha_S"].std_dev * parts["d_theta"].std_dev,
    )
    row.assert_matches(np.sqrt(length.std_dev**2 + sum((nominal * p) ** 2 for p in products)))


def test_degrees_of_freedom_of_the_end_gauge_are_those_of_the_guide() -> None:
    row = published.row("UN-H1-VD")
    names = ("d0", "d1", "d2")
    u = np.array([row.inputs[name][1] for name in names])
    freedom = np.array([float(row.inputs[name][2]) for name in names])
    of_difference = welch_satterthwaite(np.sqrt(np.sum(u**2)), u, freedom)
    row.assert_matches(of_difference)

    row = published.row("UN-H1-V")
    length, parts = _end_gauge(row)
    nominal = row.inputs["l_S"][0]
    u = np.array(
        [
            parts["l_S"].std_dev,
            parts["d"].std_dev,
            nominal * abs(parts["theta"].nominal_value) * parts["d_alpha"].std_dev,
            nominal * parts["alpha_S"].nominal_value * parts["d_theta"].std_dev,
        ]
    )
    row.assert_matches(
        welch_satterthwaite(length.std_dev, u, np.array([18.0, of_difference, 50.0, 2.0]))
    )


def test_the_end_gauge_has_the_expanded_uncertainty_of_the_guide() -> None:
    row = published.row("UN-H1-U99")
    length, _ = _end_gauge(row)
    row.assert_matches(student_factor(np.array(16.0), probability=0.99) * length.std_dev)


def _impedance(row: published.Row) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    series = np.array([row.inputs[name] for name in ("V", "I_A", "phi")])
    return series, series.mean(axis=1), np.cov(series) / series.shape[1]


@published.each("UN-H2-X", "UN-H2-Z", "UN-H2-uR", "UN-H2-uZ")
def test_the_judge_keeps_the_correlation_of_simultaneous_readings(row: published.Row) -> None:
    _, means, covariance = _impedance(row)
    voltage, current, phase = uncertainties.correlated_values(means, covariance)
    resistance = voltage / current * umath.cos(phase)
    reactance = voltage / current * umath.sin(phase)
    impedance = voltage / current
    row.assert_matches(
        {
            "UN-H2-X": reactance.nominal_value,
            "UN-H2-Z": impedance.nominal_value,
            "UN-H2-uR": resistance.std_dev,
            "UN-H2-uZ": impedance.std_dev,
        }[row.id]
    )


def test_simultaneous_readings_have_the_correlations_of_the_guide() -> None:
    row = published.row("UN-H2-rin")
    correlation = np.corrcoef(_impedance(row)[0])
    row.assert_matches([correlation[0, 1], correlation[0, 2], correlation[1, 2]])


@published.each("UN-H3-*")
def test_the_judge_of_lines_meets_the_thermometer_example(row: published.Row) -> None:
    temperature = np.array(row.inputs["t"]) - row.inputs["t0"]
    fit = sm.OLS(row.inputs["b"], sm.add_constant(temperature)).fit()
    covariance = fit.cov_params()
    row.assert_matches(
        {
            "UN-H3-y": fit.params,
            "UN-H3-u": fit.bse,
            "UN-H3-r": covariance[0, 1] / np.sqrt(covariance[0, 0] * covariance[1, 1]),
        }[row.id]
    )


def test_ten_errors_wrongly_taken_as_independent_add_up_in_squares() -> None:
    row = published.row("UN-522W")
    count, u = row.inputs["n"], row.inputs["u"]
    ones = np.ones(count)
    apart = summed_flow(
        ones,
        sign=ones,
        own_relative_u=u * ones,
        shared_relative_u=np.zeros((0, count)),
        shared_with=np.zeros((0, count)),
    )
    row.assert_matches(apart.standard_uncertainty_m3_s)
    shared = summed_flow(
        ones,
        sign=ones,
        own_relative_u=0.0 * ones,
        shared_relative_u=u * np.ones((1, count)),
        shared_with=np.zeros((1, count)),
    )
    assert shared.standard_uncertainty_m3_s == pytest.approx(count * u)


def test_welch_and_satterthwaite_meet_the_course_example() -> None:
    row = published.row("UN-WS")
    u = np.array(row.inputs["u"])
    freedom = np.array([float(value) for value in row.inputs["nu"]])
    row.assert_matches(welch_satterthwaite(np.sqrt(np.sum(u**2)), u, freedom))


def test_a_product_combines_relative_uncertainties_in_squares() -> None:
    row = published.row("UN-XRF")
    first, second, third = (row.inputs[name] for name in ("X1", "X2", "Yu"))
    value = first[0] / second[0] * third[0]
    relative = np.array([part[1] / part[0] for part in (first, second, third)])
    budget = combined_budget(
        dict(zip(("spatial", "area", "density"), relative, strict=True)),
        number=1,
        spatial_degrees_of_freedom=9.0,
    )
    row.assert_matches([value, value * budget.relative_u[0]])
    published.row("UN-XRF-V").assert_matches(
        welch_satterthwaite(
            budget.relative_u[0], relative, np.array([first[2], second[2], third[2]])
        )
    )


def test_the_judge_meets_the_thermal_expansion_example() -> None:
    row = published.row("UN-TN1900-13")
    start, end, cold, hot = (uncertainties.ufloat(*row.inputs[n]) for n in ("L0", "L1", "T0", "T1"))
    coefficient = (end - start) / (start * (hot - cold))
    row.assert_matches([coefficient.nominal_value, coefficient.std_dev])


def test_four_unit_errors_have_the_half_width_of_the_supplement() -> None:
    budget = combined_budget(
        {name: np.ones(1) for name in ("calibration", "area", "density", "drift")},
        number=1,
        spatial_degrees_of_freedom=10.0,
    )
    published.row("UN-S1-N").assert_matches(budget.relative_u95[0])


def test_a_logarithm_to_first_order_is_not_the_exact_one() -> None:
    row = published.row("UN-NPLLOG")
    low, high = row.inputs["a"], row.inputs["b"]
    middle = uncertainties.ufloat(0.5 * (low + high), 0.5 * (high - low) / RECTANGULAR_DIVISOR)
    first_order = umath.log(middle)
    mean = quad(lambda x: np.log(x) / (high - low), low, high)[0]
    square = quad(lambda x: np.log(x) ** 2 / (high - low), low, high)[0]
    row.assert_matches(
        [first_order.nominal_value, first_order.std_dev, mean, np.sqrt(square - mean**2)]
    )


def test_a_limit_of_error_has_the_standard_uncertainty_of_a_rectangle() -> None:
    row = published.row("UN-RECT")
    row.assert_matches(row.inputs["a"] / RECTANGULAR_DIVISOR)


def test_half_of_pressure_and_of_density_enters_a_velocity() -> None:
    row = published.row("UN-SENS")
    pressure = uncertainties.ufloat(50.0, 50.0 * row.inputs["u_pv_pct"] / 100.0)
    density = uncertainties.ufloat(1.2, 1.2 * row.inputs["u_rho_pct"] / 100.0)
    velocity = umath.sqrt(2.0 * pressure / density)
    row.assert_matches(100.0 * velocity.std_dev / velocity.nominal_value)
    by_budget = combined_budget(
        {
            "pitot_zero": np.array([0.5 * row.inputs["u_pv_pct"]]),
            "density": np.array([0.5 * row.inputs["u_rho_pct"]]),
        },
        number=1,
        spatial_degrees_of_freedom=4.0,
    )
    row.assert_matches(by_budget.relative_u[0])


# ---- The budget itself.


def test_components_add_up_in_squares_and_their_shares_to_one() -> None:
    rng = np.random.default_rng(31)
    relative = {name: np.abs(rng.normal(0.0, 0.01, 7)) for name in COMPONENT_NAMES}
    budget = combined_budget(relative, number=7, spatial_degrees_of_freedom=11.5)
    np.testing.assert_allclose(budget.relative_u**2, sum(u**2 for u in relative.values()))
    np.testing.assert_allclose(budget.shares.sum(axis=0), 1.0)
    np.testing.assert_array_equal(budget.component("drift"), relative["drift"])


def test_an_unknown_component_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match="components has 'weather'"):
        combined_budget({"weather": np.zeros(1)}, number=1, spatial_degrees_of_freedom=4.0)


def test_common_and_own_errors_are_all_of_the_budget() -> None:
    relative = {name: np.full(1, 0.01 + 0.001 * i) for i, name in enumerate(COMPONENT_NAMES)}
    budget = combined_budget(relative, number=1, spatial_degrees_of_freedom=4.0)
    parts = [budget.shared_u(kind)[0] for kind in ("meter", "section", "air", "nothing")]
    assert np.sqrt(np.sum(np.square(parts))) == pytest.approx(budget.relative_u[0])
    assert {c.name for c in COMPONENTS if c.shared_by == "meter"} >= {"calibration", "compensation"}
    assert {c.name for c in COMPONENTS if c.shared_by == "section"} >= {"area"}


def test_few_degrees_of_freedom_widen_the_interval() -> None:
    u = {"spatial": np.array([0.02]), "calibration": np.array([0.01])}
    few = combined_budget(u, number=1, spatial_degrees_of_freedom=4.0)
    many = combined_budget(u, number=1, spatial_degrees_of_freedom=1e6)
    assert few.relative_u95[0] > 1.2 * many.relative_u95[0]
    assert few.degrees_of_freedom[0] == pytest.approx(few.relative_u[0] ** 4 / (0.02**4 / 4.0))


def test_nothing_finite_leaves_the_normal_factor() -> None:
    budget = combined_budget(
        {"calibration": np.array([0.02])}, number=1, spatial_degrees_of_freedom=4.0
    )
    assert np.isinf(budget.degrees_of_freedom[0])
    assert budget.coverage_factor[0] == pytest.approx(1.959964, abs=1e-6)


def test_a_traverse_without_estimate_has_no_interval() -> None:
    budget = combined_budget(
        {"spatial": np.array([np.nan, 0.01])}, number=2, spatial_degrees_of_freedom=4.0
    )
    assert np.isnan(budget.relative_u95[0])
    assert np.isfinite(budget.relative_u95[1])
    narrow = narrowing(budget, spatial_degrees_of_freedom=4.0)
    assert narrow.component.tolist() == [-1, 0]


def test_student_factors_are_those_of_the_distribution() -> None:
    uncertainties_of_sd = np.array([1.0, 2.0, 3.5, 4.0, 11.5, 23.5, 200.0, 1e5])
    for probability in (0.95, 0.99):
        factor = student_factor(uncertainties_of_sd, probability=probability)
        # A squared Student variable is an F variable; its tail is found by integration.
        for freedom, got in zip(uncertainties_of_sd, factor, strict=True):
            covered = quad(
                lambda s, f=freedom, k=got: (
                    chi2.pdf(s, f) * chi2.cdf(k**2 * s / f, 1)
                ),
                chi2.ppf(1e-13, freedom), chi2.isf(1e-13, freedom), limit=200,
            )[0]  # fmt: skip
            assert covered == pytest.approx(probability, abs=1e-7)


def test_the_budget_of_a_basis_is_that_of_each_traverse() -> None:
    one = combined_budget({"density": np.full(2, 0.01)}, number=2, spatial_degrees_of_freedom=4.0)
    two = combined_budget({"density": np.full(2, 0.03)}, number=2, spatial_degrees_of_freedom=4.0)
    chosen = budget_of_basis(one, two, np.array([True, False]))
    np.testing.assert_array_equal(chosen.relative_u, [0.01, 0.03])


def test_what_would_narrow_it_most_is_the_largest_gain() -> None:
    budget = combined_budget(
        {
            "spatial": np.array([0.010, 0.030]),
            "calibration": np.array([0.029, 0.006]),
            "area": np.array([0.005, 0.005]),
        },
        number=2,
        spatial_degrees_of_freedom=11.5,
    )
    narrow = narrowing(budget, spatial_degrees_of_freedom=11.5)
    assert [COMPONENT_NAMES[i] for i in narrow.component] == ["calibration", "spatial"]
    assert (narrow.relative_u95_after < budget.relative_u95).all()
    np.testing.assert_allclose(narrow.share, budget.shares[narrow.component, [0, 1]])


@pytest.mark.parametrize("component", range(len(COMPONENTS)), ids=COMPONENT_NAMES)
def test_every_component_has_a_sentence_that_says_what_to_do(component: int) -> None:
    sentence = narrowing_sentence(
        component=component, share=0.5, relative_u95=0.05, relative_u95_after=0.03
    )
    assert COMPONENTS[component].noun in sentence
    assert COMPONENTS[component].remedy in sentence
    assert "±5.0 %" in sentence
    assert "±3.0 %" in sentence
    assert sentence.endswith(".")


def test_a_grid_resolves_blades_from_seven_by_seven_or_eight_by_eight() -> None:
    assert blades_are_resolved(lines=7, points_per_line=7, is_equal_area=False)
    assert not blades_are_resolved(lines=7, points_per_line=5, is_equal_area=False)
    assert not blades_are_resolved(lines=7, points_per_line=7, is_equal_area=True)
    assert blades_are_resolved(lines=8, points_per_line=8, is_equal_area=True)


# ---- Flow sets.


def test_a_meter_shared_by_two_members_is_one_error_and_two_meters_are_two() -> None:
    flows, ones = np.array([0.6, 0.4]), np.ones(2)
    relative = np.full((1, 2), 0.02)
    same = summed_flow(flows, sign=ones, own_relative_u=0.01 * ones, shared_relative_u=relative,
                       shared_with=np.array([[1, 1]]))  # fmt: skip
    other = summed_flow(flows, sign=ones, own_relative_u=0.01 * ones, shared_relative_u=relative,
                        shared_with=np.array([[1, 2]]))  # fmt: skip
    own = 0.01 * np.hypot(0.6, 0.4)
    assert same.flow_m3_s == pytest.approx(1.0)
    assert same.standard_uncertainty_m3_s == pytest.approx(np.hypot(own, 0.02))
    assert other.standard_uncertainty_m3_s == pytest.approx(
        np.hypot(own, 0.02 * np.hypot(0.6, 0.4))
    )


def test_a_shared_error_cancels_in_a_difference() -> None:
    difference = summed_flow(
        np.array([1.0, 0.9]),
        sign=np.array([1.0, -1.0]),
        own_relative_u=np.zeros(2),
        shared_relative_u=np.full((1, 2), 0.05),
        shared_with=np.array([[3, 3]]),
    )
    assert difference.flow_m3_s == pytest.approx(0.1)
    assert difference.standard_uncertainty_m3_s == pytest.approx(0.005)


# ---- Components against the judge and against chance.


def test_the_density_is_as_uncertain_as_the_judge_says() -> None:
    dry_bulb, humidity, pressure = 27.0, 0.5, 98000.0
    known = density_uncertainty(
        dry_bulb_c=np.array(dry_bulb),
        relative_humidity=np.array(humidity),
        pressure_pa=np.array(pressure),
        dry_bulb_u_c=np.array(1.5),
        relative_humidity_u=np.array(0.1),
        pressure_u_pa=np.array(900.0),
    )
    celsius = uncertainties.ufloat(dry_bulb, 1.5)
    relative = uncertainties.ufloat(humidity, 0.1)
    absolute = uncertainties.ufloat(pressure, 900.0)
    # August-Roche-Magnus form, good to 0.4 % here: another formula than the one under test.
    saturation = 610.94 * umath.exp(17.625 * celsius / (celsius + 243.04))
    density = (absolute - 0.378 * relative * saturation) / (287.05 * (celsius + 273.15))
    assert float(known.total) == pytest.approx(density.std_dev / density.nominal_value, rel=5e-3)


@pytest.mark.parametrize("exponent", [1.0, 0.5, 2.0])
def test_the_alignment_term_is_what_chance_tilts_do(exponent: float) -> None:
    rng = np.random.default_rng(32)
    common, single = np.radians(4.0), np.radians(3.0)
    tilt = rng.normal(0.0, common, (40000, 1)) + rng.normal(0.0, single, (40000, 25))
    read = np.mean(np.cos(tilt) ** exponent, axis=1)
    expected = alignment(exponent=np.array(exponent), is_unknown=np.array(False))
    assert 1.0 / read.mean() == pytest.approx(float(expected.factor), abs=1e-4)
    assert read.std() == pytest.approx(float(expected.relative_u), rel=0.05)


def test_an_unknown_response_makes_the_whole_correction_uncertain() -> None:
    unknown = alignment(exponent=np.array(1.0), is_unknown=np.array(True))
    assert float(unknown.relative_u) == pytest.approx(float(unknown.factor) - 1.0)
    blind = alignment(exponent=np.array(0.0), is_unknown=np.array(False))
    assert float(blind.factor) == 1.0
    assert float(blind.relative_u) == 0.0

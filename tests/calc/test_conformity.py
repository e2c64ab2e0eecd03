"""Verdicts: the probabilities of JCGM 106 and what they decide."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.stats import gamma, norm

from airflow_jobs.calc.conformity import (
    GUARD_FACTOR,
    HIGH,
    IN_RANGE,
    LOW,
    NOT_JUDGED,
    UNDECIDED,
    VERDICTS,
    Conformity,
    both_bases,
    judge,
)
from tests.calc import published

FAR = 1e9


def _judged(value: float, u95: float, low: float, high: float) -> Conformity:
    """One value with an expanded uncertainty of twice the standard one."""
    return judge(value=value, standard_uncertainty=0.5 * u95 * value, low=low, high=high)


# Three tons at 1722 ft3/min are 574 a ton.
def test_three_tons_at_574_are_high_for_350_to_450_at_any_sensible_uncertainty() -> None:
    for u95 in (0.02, 0.05, 0.08, 0.12):
        result = _judged(574.0, u95, 350.0, 450.0)
        assert VERDICTS[result.verdict[0]] == "high"
    assert result.probability_in_range[0] == pytest.approx(1.6e-4, abs=0.05e-4)


def test_the_same_flow_is_in_range_of_400_to_600_with_a_good_meter_only() -> None:
    good = _judged(574.0, 0.05, 400.0, 600.0)
    assert VERDICTS[good.verdict[0]] == "in_range"
    assert good.probability_in_range[0] == pytest.approx(0.965, abs=5e-4)
    poor = _judged(574.0, 0.08, 400.0, 600.0)
    assert VERDICTS[poor.verdict[0]] == "undecided"
    assert VERDICTS[poor.leaning[0]] == "in_range"
    assert poor.probability_in_range[0] == pytest.approx(0.871, abs=5e-4)


def test_at_seven_percent_only_372_to_425_can_be_called_in_range_of_350_to_450() -> None:
    values = np.arange(340, 461)
    result = judge(value=values, standard_uncertainty=0.035 * values, low=350.0, high=450.0)
    passing = values[result.verdict == IN_RANGE]
    assert (passing.min(), passing.max()) == (372, 425)
    assert result.accepted_low[0] == pytest.approx(371.4, abs=0.1)
    assert result.accepted_high[0] == pytest.approx(425.5, abs=0.1)


@published.each("UN-106-z*")
def test_a_one_sided_limit_needs_the_guard_band_of_its_probability(row: published.Row) -> None:
    def lacking(z: float) -> float:
        result = judge(value=z, standard_uncertainty=1.0, low=0.0, high=FAR)
        return float(result.probability_in_range[0]) - float(row.inputs["pc"])

    row.assert_matches(brentq(lacking, 0.0, 5.0))


def test_the_guard_band_is_that_of_95_percent() -> None:
    published.row("UN-106-z0.95").assert_matches(GUARD_FACTOR)


def test_a_value_near_its_upper_limit_conforms_with_the_published_probability() -> None:
    row = published.row("UN-106-ZEN")
    result = judge(
        value=row.inputs["y"],
        standard_uncertainty=row.inputs["u"],
        low=-FAR,
        high=row.inputs["T_U"],
    )
    row.assert_matches(result.probability_in_range[0])


def test_consumers_run_the_published_risk_when_acceptance_has_no_guard_band() -> None:
    production = gamma(4.0, scale=0.25)
    limit = published.row("UN-106-OOT").inputs["T_U"]
    published.row("UN-106-OOT").assert_matches(100.0 * production.sf(limit))
    row = published.row("UN-106-RC")

    def accepted_though_out(true_value: float) -> float:
        result = judge(
            value=true_value, standard_uncertainty=row.inputs["u_m"], low=-FAR, high=limit
        )
        return float(production.pdf(true_value) * result.probability_in_range[0])

    row.assert_matches(100.0 * quad(accepted_though_out, limit, limit + 3.0)[0])


@given(st.floats(100, 900), st.floats(0.001, 0.3), st.floats(100, 500), st.floats(10, 400))
def test_the_three_probabilities_are_those_of_a_normal_value(
    value: float, relative: float, low: float, width: float
) -> None:
    u = relative * value
    result = judge(value=value, standard_uncertainty=u, low=low, high=low + width)
    total = result.probability_low + result.probability_in_range + result.probability_high
    assert total[0] == pytest.approx(1.0)
    assert result.probability_low[0] == pytest.approx(norm.cdf(low, value, u), abs=1e-12)
    assert result.probability_high[0] == pytest.approx(norm.sf(low + width, value, u), abs=1e-12)


@given(st.floats(300, 500), st.floats(0.005, 0.1))
def test_scaling_everything_changes_no_verdict(value: float, relative: float) -> None:
    one = judge(value=value, standard_uncertainty=relative * value, low=350.0, high=450.0)
    si = 1.34e-7
    other = judge(
        value=si * value,
        standard_uncertainty=si * relative * value,
        low=si * 350.0,
        high=si * 450.0,
    )
    assert one.probability_in_range[0] == pytest.approx(other.probability_in_range[0], abs=1e-9)


def test_verdicts_go_from_low_over_undecided_and_in_range_to_high_as_the_flow_rises() -> None:
    values = np.linspace(300.0, 500.0, 401)
    verdict = judge(value=values, standard_uncertainty=8.0, low=350.0, high=450.0).verdict
    changes = verdict[np.flatnonzero(np.diff(verdict)) + 1]
    assert [verdict[0], *changes] == [LOW, UNDECIDED, IN_RANGE, UNDECIDED, HIGH]


def test_the_undecided_lean_to_the_likeliest() -> None:
    result = judge(value=[345.0, 352.0, 455.0], standard_uncertainty=15.0, low=350.0, high=450.0)
    assert [VERDICTS[i] for i in result.leaning] == ["low", "in_range", "high"]
    assert (result.verdict == UNDECIDED).all()


def test_a_range_narrower_than_four_standard_uncertainties_can_hardly_be_passed() -> None:
    result = judge(value=400.0, standard_uncertainty=[24.0, 26.0], low=350.0, high=450.0)
    assert result.can_hardly_pass.tolist() == [False, True]
    assert result.verdict[1] == UNDECIDED


def test_without_uncertainty_the_limits_themselves_decide() -> None:
    result = judge(
        value=[349.0, 350.0, 450.0, 451.0], standard_uncertainty=0.0, low=350.0, high=450.0
    )
    assert result.verdict.tolist() == [LOW, IN_RANGE, IN_RANGE, HIGH]


@pytest.mark.parametrize("lacking", ["value", "standard_uncertainty", "low", "high"])
def test_whatever_lacks_a_number_is_not_judged(lacking: str) -> None:
    numbers = {"value": 400.0, "standard_uncertainty": 10.0, "low": 350.0, "high": 450.0}
    numbers[lacking] = np.nan
    result = judge(**numbers)
    assert result.verdict[0] == NOT_JUDGED
    assert result.leaning[0] == -1
    assert np.isnan(result.probability_in_range[0])
    assert not result.can_hardly_pass[0]


def test_a_part_of_a_system_is_not_judged() -> None:
    result = judge(
        value=400.0, standard_uncertainty=10.0, low=350.0, high=450.0, is_judged=[True, False]
    )
    assert [VERDICTS[i] for i in result.verdict] == ["in_range", "not_judged"]


def test_impossible_limits_and_uncertainties_are_refused_by_name() -> None:
    with pytest.raises(ValueError, match="low is 450"):
        judge(value=400.0, standard_uncertainty=1.0, low=450.0, high=350.0)
    with pytest.raises(ValueError, match="standard_uncertainty is -1"):
        judge(value=400.0, standard_uncertainty=-1.0, low=350.0, high=450.0)


def test_two_bases_that_disagree_leave_the_verdict_open_unless_the_maker_said_which() -> None:
    standard = judge(value=330.0, standard_uncertainty=6.0, low=350.0, high=450.0)
    actual = judge(value=400.0, standard_uncertainty=6.0, low=350.0, high=450.0)
    open_, decides = both_bases(standard, actual, False)
    assert VERDICTS[open_.verdict[0]] == "undecided"
    assert VERDICTS[open_.leaning[0]] == "low"
    assert decides[0]
    said, decides = both_bases(standard, actual, True)
    assert VERDICTS[said.verdict[0]] == "low"
    assert not decides[0]


def test_two_bases_that_agree_change_nothing() -> None:
    standard = judge(value=330.0, standard_uncertainty=6.0, low=350.0, high=450.0)
    other = judge(value=333.0, standard_uncertainty=6.0, low=350.0, high=450.0)
    result, decides = both_bases(standard, other, False)
    assert result.verdict[0] == standard.verdict[0]
    assert not decides[0]


def test_a_percent_of_density_is_no_disagreement_about_the_verdict() -> None:
    standard = judge(value=356.0, standard_uncertainty=4.0, low=350.0, high=450.0)
    actual = judge(value=360.0, standard_uncertainty=4.0, low=350.0, high=450.0)
    assert VERDICTS[standard.verdict[0]] == "undecided"
    assert VERDICTS[actual.verdict[0]] == "in_range"
    result, decides = both_bases(standard, actual, False)
    assert VERDICTS[result.verdict[0]] == "undecided"
    assert VERDICTS[result.leaning[0]] == "in_range"
    assert not decides[0]
    swapped, _ = both_bases(actual, standard, False)
    assert VERDICTS[swapped.verdict[0]] == "in_range"

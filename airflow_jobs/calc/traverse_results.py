"""What one evaluation gives back: N traverses' results, as arrays in SI."""

from dataclasses import dataclass

import numpy as np

from airflow_jobs.calc.conformity import Conformity
from airflow_jobs.calc.narrowing import Narrowing
from airflow_jobs.calc.profile import Profile
from airflow_jobs.calc.quantities import BoolArray, FloatArray
from airflow_jobs.calc.uncertainty import Budget


@dataclass(frozen=True)
class Interval:
    """Ends of a 95 % interval, shape (N,); NaN where there is none.

    Attributes
    ----------
    low, high : ndarray
    """

    low: FloatArray
    high: FloatArray


@dataclass(frozen=True)
class Flows:
    """Velocity and flows of N traverses from one kind of mean, shape (N,).

    Attributes
    ----------
    velocity_mean_m_s : ndarray
    actual_m3_s, standard_m3_s : ndarray
    mass_kg_s : ndarray
    per_capacity_m3_s_per_w : ndarray
        Flow on the target's basis over the capacity; NaN without a capacity.
    """

    velocity_mean_m_s: FloatArray
    actual_m3_s: FloatArray
    standard_m3_s: FloatArray
    mass_kg_s: FloatArray
    per_capacity_m3_s_per_w: FloatArray


@dataclass(frozen=True)
class Correction:
    """One step from what the display showed to the best estimate.

    Attributes
    ----------
    step : str
        `positions`, `calibration`, `density`, `sweep_gap` (by here m), `wall`, `alignment`
        (by here q).
    factor : ndarray, shape (N,)
    velocity_after_m_s : ndarray, shape (N,)
    """

    step: str
    factor: FloatArray
    velocity_after_m_s: FloatArray


@dataclass(frozen=True)
class Signs:
    """What the readings give away, for findings; shape (N,) each.

    Attributes
    ----------
    missing_share, dead_band_share, backflow_share : ndarray
        Shares of the planned, and of the taken readings.
    below_range_share, above_range_share : ndarray
        Shares of the taken readings outside the instrument's range.
    over_twice_mean_share : ndarray
        Share of readings over twice the mean by the rule.
    are_all_equal : ndarray of bool
        Four readings or more, and all the same.
    is_slow_vane : ndarray of bool
        A vane in under 1 m/s, where its bearing drag begins to tell.
    is_bound : ndarray of bool
        Over a fifth of the readings lie in the dead band: a bound, not a value.
    accuracy_is_assumed : ndarray of bool
    compensation_is_unknown : ndarray of bool
        It isn't known what the display assumes, and the result depends on it.
    gaps_are_wide : ndarray of bool
        A strip of over a tenth of the depth wasn't swept.
    """

    missing_share: FloatArray
    dead_band_share: FloatArray
    backflow_share: FloatArray
    below_range_share: FloatArray
    above_range_share: FloatArray
    over_twice_mean_share: FloatArray
    are_all_equal: BoolArray
    is_slow_vane: BoolArray
    is_bound: BoolArray
    accuracy_is_assumed: BoolArray
    compensation_is_unknown: BoolArray
    gaps_are_wide: BoolArray


@dataclass(frozen=True)
class Evaluation:
    """Everything that N traverses say, in SI; arrays of shape (N,) unless said otherwise.

    Attributes
    ----------
    air_density_kg_m3, standard_density_kg_m3 : ndarray
    inside_area_m2, hydraulic_diameter_m : ndarray
        The area is the override where one is given.
    velocity_indicated_m_s : ndarray
        Plain mean of what the display showed; for velocity pressures, of the velocities that
        the meter would have shown at its reference density (roots averaged).
    velocity_max_m_s : ndarray
        Largest corrected reading; NaN for an average.
    by_rule : Flows
        From m, the mean by the published rule.
    best_estimate : Flows
        From q; NaN with fewer than four readings.
    interval_actual_m3_s, interval_standard_m3_s, interval_per_capacity : Interval
        q less and plus U95.
    budget_actual, budget_standard : Budget
        Of actual flow; of standard and mass flow. They differ by what the density does.
    budget_judged : Budget
        The one of the target's basis.
    narrowing : Narrowing
        Of the judged basis.
    spatial_degrees_of_freedom : float
    weights : ndarray, shape (m,)
        Of the readings taken, in the mean by the rule.
    corrections : tuple of Correction
    judged_value, judged_u : ndarray
        What is held against the target, m3/s per W or m3/s, and its standard uncertainty.
    conformity : Conformity
        Undecided where the basis decides and isn't the maker's word.
    basis_decides : ndarray of bool
        Standard and actual flow give different verdicts and the maker hasn't said which.
    profile : Profile
    signs : Signs
    indicative_reasons : dict of str to ndarray of bool
        `few_points`, `no_positive_estimate`, `line_missing`, `arm_missing`, `blades`,
        `average_only`, `dead_band`.
    """

    air_density_kg_m3: FloatArray
    standard_density_kg_m3: FloatArray
    inside_area_m2: FloatArray
    hydraulic_diameter_m: FloatArray
    velocity_indicated_m_s: FloatArray
    velocity_max_m_s: FloatArray
    by_rule: Flows
    best_estimate: Flows
    interval_actual_m3_s: Interval
    interval_standard_m3_s: Interval
    interval_per_capacity: Interval
    budget_actual: Budget
    budget_standard: Budget
    budget_judged: Budget
    narrowing: Narrowing
    spatial_degrees_of_freedom: float
    weights: FloatArray
    corrections: tuple[Correction, ...]
    judged_value: FloatArray
    judged_u: FloatArray
    conformity: Conformity
    basis_decides: BoolArray
    profile: Profile
    signs: Signs
    indicative_reasons: dict[str, BoolArray]

    @property
    def is_indicative(self) -> BoolArray:
        """Whether there is any reason to call a result indicative."""
        flags: BoolArray = np.any(np.array(list(self.indicative_reasons.values())), axis=0)
        return flags

"""What the readings of a batch give away, and what makes a result indicative only."""

import numpy as np

from airflow_jobs.calc import sweeps
from airflow_jobs.calc.best_estimate import LEAST_POINTS
from airflow_jobs.calc.instruments import VANE
from airflow_jobs.calc.places import Places, gaps_of, has_gaps
from airflow_jobs.calc.quantities import BoolArray, FloatArray
from airflow_jobs.calc.sensing import SensedVelocities
from airflow_jobs.calc.sensor_limits import (
    DEAD_BAND_SHARE_FOR_A_BOUND,
    VANE_DRAG_FINDING_BELOW_M_S,
    dead_band_share,
)
from airflow_jobs.calc.traverse_batch import TraverseBatch
from airflow_jobs.calc.traverse_budget import blades_tell
from airflow_jobs.calc.traverse_results import Signs


def signs_of(
    batch: TraverseBatch,
    places: Places,
    sensed: SensedVelocities,
    velocity: FloatArray,
    mean: FloatArray,
) -> Signs:
    """Read off what the readings give away.

    Parameters
    ----------
    batch : TraverseBatch
    places : Places
    sensed : SensedVelocities
        Of the readings taken.
    velocity : ndarray, shape (N, m), m/s
        Corrected readings.
    mean : ndarray, shape (N,), m/s
        By the rule.

    Returns
    -------
    Signs

    Notes
    -----
    Source: limits are those of `sensor_limits` and `sweeps`; twice the mean is common practice.
    """
    shown = np.abs(sensed.indicated_m_s)
    in_dead_band = np.asarray(dead_band_share(sensed))
    readings = batch.readings[:, places.taken]
    gaps_are_wide = np.zeros(batch.number, dtype=bool)
    if has_gaps(batch):
        near, far = gaps_of(batch, places)
        gaps_are_wide = np.maximum(near, far).max(axis=1) > sweeps.WIDEST_GAP
    known = sensed.factor.low == sensed.factor.high
    return Signs(
        missing_share=np.full(batch.number, 1.0 - places.taken.mean()),
        dead_band_share=in_dead_band,
        backflow_share=(velocity < 0.0).mean(axis=1),
        below_range_share=(shown < batch.range_low_m_s[:, None]).mean(axis=1),
        above_range_share=(shown > batch.range_high_m_s[:, None]).mean(axis=1),
        over_twice_mean_share=(velocity > 2.0 * mean[:, None]).mean(axis=1),
        are_all_equal=(readings == readings[:, :1]).all(axis=1)
        & (readings.shape[1] >= LEAST_POINTS),
        is_slow_vane=(batch.instruments.principle == VANE) & (mean < VANE_DRAG_FINDING_BELOW_M_S),
        is_bound=in_dead_band > DEAD_BAND_SHARE_FOR_A_BOUND,
        accuracy_is_assumed=np.isnan(batch.accuracy_relative)
        & np.isnan(batch.accuracy_absolute_m_s),
        compensation_is_unknown=np.broadcast_to(~known, (batch.number,)),
        gaps_are_wide=gaps_are_wide,
    )


def indicative_reasons(
    batch: TraverseBatch,
    places: Places,
    sensed: SensedVelocities,
    best: FloatArray,
    arms_complete: bool,
) -> dict[str, BoolArray]:
    """Collect the reasons that make a result indicative only.

    Parameters
    ----------
    batch : TraverseBatch
    places : Places
    sensed : SensedVelocities
        Of the readings taken.
    best : ndarray, shape (N,), m/s
        Best estimates; NaN where there is none.
    arms_complete : bool
        False where two diameters lack an arm.

    Returns
    -------
    dict of str to ndarray of bool, shape (N,)
        By the names that `Evaluation.indicative_reasons` lists.
    """

    def for_all(flag: bool) -> BoolArray:
        return np.full(batch.number, flag)

    has_few = batch.mode != "average" and places.actual.count < LEAST_POINTS
    return {
        "few_points": for_all(has_few),
        "no_positive_estimate": ~(best > 0.0) & (not has_few),
        "line_missing": for_all(places.line_is_missing),
        "arm_missing": for_all(not arms_complete),
        "blades": blades_tell(batch),
        "average_only": for_all(batch.mode == "average"),
        "dead_band": np.asarray(dead_band_share(sensed)) > DEAD_BAND_SHARE_FOR_A_BOUND,
    }

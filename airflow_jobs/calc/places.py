"""Where the readings of a batch stand, what they weigh, and what of each line was swept."""

from dataclasses import dataclass

import numpy as np

from airflow_jobs.calc import sweeps
from airflow_jobs.calc.integration import transfer_weights
from airflow_jobs.calc.ovals import oval_chord
from airflow_jobs.calc.quantities import BoolArray, FloatArray
from airflow_jobs.calc.sampling import Sampling, lines_of_plan, points_of_plan
from airflow_jobs.calc.traverse_batch import TraverseBatch


@dataclass(frozen=True)
class Places:
    """Where the readings that were taken stand, and what they weigh.

    Attributes
    ----------
    planned, actual : Sampling
        Of the rule; of the m readings taken.
    taken : ndarray of bool, shape (k,)
        Which columns of the readings are there.
    weights : ndarray, shape (m,)
        In the mean by the rule.
    time_order : ndarray, shape (m,), -1/2 to 1/2
    line_is_missing : bool
    """

    planned: Sampling
    actual: Sampling
    taken: BoolArray
    weights: FloatArray
    time_order: FloatArray
    line_is_missing: bool


def places_of(batch: TraverseBatch) -> Places:
    """Find out where the readings of a batch stand and what they weigh.

    Parameters
    ----------
    batch : TraverseBatch

    Returns
    -------
    Places

    Raises
    ------
    ValueError
        If there is no traverse, or nothing was read.

    Notes
    -----
    Source: see `integration.transfer_weights`.
    """
    sampling_of = points_of_plan if batch.mode == "points" else lines_of_plan
    planned = sampling_of(batch.plan)
    everywhere = sampling_of(batch.taken if batch.taken is not None else batch.plan)
    if batch.number == 0:
        raise ValueError("readings hold no traverse; at least 1 is needed")
    taken = ~np.isnan(batch.readings[0])
    present = np.full(everywhere.count, taken[0]) if batch.mode == "average" else taken
    if not present.any():
        raise ValueError("readings are all missing; at least 1 is needed")
    actual = everywhere.keep(present)
    return Places(
        planned=planned,
        actual=actual,
        taken=taken,
        weights=transfer_weights(planned, actual),
        time_order=_time_order(batch, everywhere.line)[present],
        line_is_missing=np.unique(actual.line).size < len(batch.plan.lines),
    )


def _time_order(batch: TraverseBatch, line: np.ndarray) -> FloatArray:
    """When each reading was due, from -1/2 for the first to 1/2 for the last."""
    if batch.mode == "average" or line.size < 2:
        return np.zeros(line.size)
    order = np.arange(line.size, dtype=float)
    if batch.taken_in == "back_and_forth":
        _, turn = np.unique(line, return_inverse=True)
        for index in range(1, turn.max() + 1, 2):
            order[turn == index] = order[turn == index][::-1]
    return order / (line.size - 1) - 0.5


def extents_m(batch: TraverseBatch) -> tuple[FloatArray, FloatArray]:
    """Give the inside extents along the drilled side and along the depth.

    Parameters
    ----------
    batch : TraverseBatch

    Returns
    -------
    tuple of ndarray, shape (N,), m
        Both the diameter in a round section.
    """
    if batch.plan.shape == "round" or batch.drilled_side == "width":
        return batch.width_m, batch.height_m
    return batch.height_m, batch.width_m


def gaps_of(batch: TraverseBatch, places: Places) -> tuple[FloatArray, FloatArray]:
    """Give the unswept strips at both ends of each line as fractions of its chord.

    Parameters
    ----------
    batch : TraverseBatch
        Of sweeps or averages.
    places : Places

    Returns
    -------
    tuple of ndarray, shape (N, m), dimensionless
        At the drilled wall and at the far one.
    """
    _, depth = extents_m(batch)
    lines = places.actual.averaged(places.actual.xi)
    chord = depth[:, None] * np.ones_like(lines)
    if batch.plan.shape == "flat_oval":
        chord = depth[:, None] * oval_chord(lines, places.actual.aspect)
    return batch.near_gap_m[:, None] / chord, batch.far_gap_m[:, None] / chord


def has_gaps(batch: TraverseBatch) -> bool:
    """Say whether readings are means over lines whose ends may not have been swept.

    Parameters
    ----------
    batch : TraverseBatch

    Returns
    -------
    bool
        False for points, and for sweeps with depth stamps.
    """
    return batch.mode != "points" and not batch.is_depth_stamped


def gap_factor_of(batch: TraverseBatch, places: Places) -> FloatArray:
    """Give the factor from swept to whole lines.

    Parameters
    ----------
    batch : TraverseBatch
    places : Places

    Returns
    -------
    ndarray, shape (N, m), dimensionless
        One, of shape (1, 1), for points and stamped sweeps. An average, which is one reading
        for all lines, takes on the shape (N, m) with it.

    Notes
    -----
    Source: see `sweeps.gap_factor`.
    """
    if not has_gaps(batch):
        return np.ones((1, 1))
    near, far = gaps_of(batch, places)
    return sweeps.gap_factor(near=near, far=far)

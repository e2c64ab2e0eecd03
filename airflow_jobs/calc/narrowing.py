"""What would narrow an interval most, as numbers and as one sentence."""

from dataclasses import dataclass

import numpy as np

from airflow_jobs.calc.quantities import FloatArray
from airflow_jobs.calc.uncertainty import COMPONENTS, Budget, summed_budget


@dataclass(frozen=True)
class Narrowing:
    """What would narrow each interval most.

    Attributes
    ----------
    component : ndarray of int, shape (N,)
        Index into `COMPONENTS`; -1 where there is no interval.
    share : ndarray, shape (N,)
        Its share in the variance.
    relative_u95_after : ndarray, shape (N,)
        Half width that its remedy would leave, over the best estimate.
    """

    component: np.ndarray
    share: FloatArray
    relative_u95_after: FloatArray


def narrowing(budget: Budget, *, spatial_degrees_of_freedom: float) -> Narrowing:
    """Find the component whose remedy would narrow each interval most.

    Parameters
    ----------
    budget : Budget
    spatial_degrees_of_freedom : float
        As in `combined_budget`.

    Returns
    -------
    Narrowing

    Notes
    -----
    Source: what a remedy leaves is common practice, see `COMPONENTS`.
    """
    left = np.array([component.left_after for component in COMPONENTS])[:, None]
    least = np.array([component.least for component in COMPONENTS])[:, None]
    improved = np.minimum(budget.relative, np.maximum(left * budget.relative, least))
    gain = budget.relative**2 - improved**2
    has_interval = np.isfinite(budget.relative_u)
    best = np.argmax(np.where(has_interval, gain, 0.0), axis=0)
    columns = np.arange(best.size)
    after = budget.relative.copy()
    after[best, columns] = improved[best, columns]
    return Narrowing(
        component=np.where(has_interval, best, -1),
        share=budget.shares[best, columns],
        relative_u95_after=summed_budget(after, spatial_degrees_of_freedom).relative_u95,
    )


def narrowing_sentence(
    *, component: int, share: float, relative_u95: float, relative_u95_after: float
) -> str:
    """Say in one sentence what would narrow an interval most.

    Parameters
    ----------
    component : int
        Index into `COMPONENTS`.
    share, relative_u95, relative_u95_after : float
        As in `Narrowing` and `Budget`.

    Returns
    -------
    str

    Examples
    --------
    >>> narrowing_sentence(component=1, share=0.62, relative_u95=0.044, relative_u95_after=0.027)
    'What would narrow the interval most: a meter good to ±1 %, from ±4.4 % to ±2.7 %. Of the \
variance, 62 % comes from the accuracy of the meter.'
    """
    chosen = COMPONENTS[component]
    return (
        f"What would narrow the interval most: {chosen.remedy}, from ±{100 * relative_u95:.1f} % "
        f"to ±{100 * relative_u95_after:.1f} %. Of the variance, {100 * share:.0f} % comes from "
        f"{chosen.noun}."
    )

"""Several flows that add up to one system's, with what their members share kept correlated."""

from dataclasses import dataclass

import numpy as np

from airflow_jobs.calc.quantities import FloatArray


@dataclass(frozen=True)
class SummedFlow:
    """Several flows that add up to one system's.

    Attributes
    ----------
    flow_m3_s : float
    standard_uncertainty_m3_s : float
    """

    flow_m3_s: float
    standard_uncertainty_m3_s: float


def summed_flow(
    flow_m3_s: FloatArray,
    *,
    sign: FloatArray,
    own_relative_u: FloatArray,
    shared_relative_u: FloatArray,
    shared_with: np.ndarray,
) -> SummedFlow:
    """Add flows whose members may share errors.

    Parameters
    ----------
    flow_m3_s : ndarray, shape (k,), m3/s
        Standard flows of the members.
    sign : ndarray, shape (k,), 1 or -1
    own_relative_u : ndarray, shape (k,)
        Relative standard uncertainty of what each member has to itself.
    shared_relative_u : ndarray, shape (S, k)
        Relative standard uncertainties of what members may share, one row a cause (meter,
        air, section).
    shared_with : ndarray, shape (S, k)
        Whom they share it with: equal entries of one row share one error.

    Returns
    -------
    SummedFlow

    Notes
    -----
    Source: JCGM 100:2008, 5.2.2, full correlation within a group and none between.

    Examples
    --------
    >>> summed = summed_flow(np.array([1.0, 1.0]), sign=np.ones(2), own_relative_u=np.zeros(2),
    ...                      shared_relative_u=np.full((1, 2), 0.03),
    ...                      shared_with=np.array([[7, 7]]))
    >>> round(summed.standard_uncertainty_m3_s, 6)
    0.06
    """
    signed = np.asarray(flow_m3_s, dtype=float) * np.asarray(sign, dtype=float)
    variance = float(np.sum((signed * own_relative_u) ** 2))
    for relative, owners in zip(shared_relative_u, shared_with, strict=True):
        _, group = np.unique(owners, return_inverse=True)
        variance += float(np.sum(np.bincount(group, weights=signed * relative) ** 2))
    return SummedFlow(
        flow_m3_s=float(signed.sum()), standard_uncertainty_m3_s=float(np.sqrt(variance))
    )

"""The spread of measured values, and how much of it is the measurements' own blur."""

from __future__ import annotations

import math

from .shares import QUARTILES_TO_SD


def real_part_of_spread(*, lower: float, upper: float, u: float) -> float:
    """Return which part of a spread would remain if nothing were uncertain.

    Parameters
    ----------
    lower, upper
        Quartiles of the measured values.
    u
        A typical standard uncertainty of one of them, same unit, at least zero.

    Returns
    -------
    float
        From 0 (the values scatter no more than their own uncertainty) to 1.

    Raises
    ------
    ValueError
        The upper quartile is below the lower one, or the uncertainty is below zero.

    Notes
    -----
    Variances of independent errors add: sqrt(1 - u2 / s2), with s the standard deviation from
    the quartiles, (upper - lower) / 1.349. It is the square root of the weight by which
    `shares.corrected_share_inside` shrinks, after B. Efron and C. Morris, J. Am. Stat. Assoc. 70
    (1975) 311.

    Examples
    --------
    >>> round(real_part_of_spread(lower=370.0, upper=430.0, u=15.0), 3)
    0.941
    """
    if upper < lower:
        raise ValueError(f"upper must not lie below lower {lower}, not {upper}")
    if u < 0.0:
        raise ValueError(f"u must be at least 0, not {u}")
    sd = (upper - lower) / QUARTILES_TO_SD
    if sd <= u:
        return 1.0 if u == 0.0 else 0.0
    return math.sqrt(1.0 - (u / sd) ** 2)

"""The geometry of a flat oval: a rectangle between two semicircular ends."""

import numpy as np
from scipy.optimize import brentq

from airflow_jobs.calc.quantities import FloatArray


def oval_chord(xi: FloatArray, oval_aspect: float) -> FloatArray:
    """Return the local chord of a flat oval, relative to its extent along the depth.

    Parameters
    ----------
    xi
        Scalar or array, position along the drilled side from the centre, -1 to 1.
    oval_aspect
        Extent along the drilled side over extent along the depth, above 0; at least 1
        where the long side is drilled.

    Returns
    -------
    Shape of `xi`, from 0 to 1.

    Notes
    -----
    Source: geometry, semicircular ends.

    Examples
    --------
    >>> float(oval_chord(np.asarray(0.0), 2.0))
    1.0
    """
    distance = np.abs(xi)
    if oval_aspect >= 1.0:
        into_end = np.maximum(distance * oval_aspect - (oval_aspect - 1.0), 0.0)
        chord = np.sqrt(np.maximum(1.0 - into_end**2, 0.0))
    else:
        chord = (1.0 - oval_aspect) + oval_aspect * np.sqrt(np.maximum(1.0 - distance**2, 0.0))
    result: FloatArray = np.asarray(chord, dtype=np.float64)
    return result


def oval_area_fraction(xi: float, oval_aspect: float) -> float:
    """Return the share of a flat oval's area that lies before a line.

    Parameters
    ----------
    xi
        The line's position along the drilled side from the centre, -1 to 1.
    oval_aspect
        As for `oval_chord`.

    Returns
    -------
    From 0 to 1.

    Notes
    -----
    Source: geometry; the circular segment's area is (t + sqrt(1 - t^2) t)/2 with t its arcsine.

    Examples
    --------
    >>> oval_area_fraction(0.0, 2.0)
    0.5
    """
    return 0.5 + float(np.sign(xi)) * 0.5 * _oval_half_area(abs(xi), oval_aspect) / _oval_half_area(
        1.0, oval_aspect
    )


def oval_line_fraction(area_fraction: float, oval_aspect: float) -> float:
    """Return where along the drilled side a given share of a flat oval's area is passed.

    Parameters
    ----------
    area_fraction
        Share of the area, 0 to 1.
    oval_aspect
        As for `oval_chord`.

    Returns
    -------
    Fraction of the drilled side's inside extent, 0 to 1: the inverse of `oval_area_fraction`.

    Examples
    --------
    >>> oval_line_fraction(0.5, 2.0)
    0.5
    """
    # Solved on one half and mirrored, so that the plan is symmetric to the last digit.
    share = abs(area_fraction - 0.5)
    if share == 0.0:
        return 0.5
    distance = float(
        brentq(lambda xi: oval_area_fraction(xi, oval_aspect) - 0.5 - share, 0.0, 1.0, xtol=1e-15)
    )
    return 0.5 + 0.5 * distance * (1.0 if area_fraction > 0.5 else -1.0)


def _oval_half_area(distance: float, aspect: float) -> float:
    """Area from the centre line to a line, the depth extent being 1 and the side `aspect`."""
    if aspect >= 1.0:
        straight = min(0.5 * distance * aspect, 0.5 * (aspect - 1.0))
        into_end = min(max(distance * aspect - (aspect - 1.0), 0.0), 1.0)
        return straight + 0.5 * _segment(into_end)
    return 0.5 * aspect * ((1.0 - aspect) * distance + aspect * _segment(distance))


def _segment(t: float) -> float:
    """Integral of sqrt(1 - s^2) over s from 0 to t."""
    return 0.5 * (float(np.arcsin(t)) + t * float(np.sqrt(1.0 - t * t)))

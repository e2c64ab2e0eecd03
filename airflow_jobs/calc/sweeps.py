"""Lines drawn at an even pace: what the unswept strips at the walls hide, and depth stamps.

A line drawn at an even pace is its depth mean. Lines count alike, whatever time each took.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from airflow_jobs.calc.quantities import FloatArray, checked, unwrapped

GAP_EXPONENT: Final = 7.0
STEEP_EXPONENT, FLAT_EXPONENT = 5.0, 10.0
# Standard uncertainties of a sweep, relative: pace by hand; how an average weighed its lines.
UNEVEN_PACE_U: Final = 0.015
TIME_WEIGHTING_U: Final = 0.03
WIDEST_GAP: Final = 0.1
"""Up to gaps of a tenth of the depth a corrected sweep is as good as five points a line."""


def gap_factor(
    *,
    near: npt.ArrayLike,
    far: npt.ArrayLike,
    exponent: float = GAP_EXPONENT,
) -> FloatArray:
    """Return the mean over a whole line over the mean over its swept part.

    Parameters
    ----------
    near, far : array_like, dimensionless, 0 to 1
        Unswept strips as fractions of the depth, less than 1 together.
    exponent : float, positive
        n of the 1/n wall law.

    Returns
    -------
    ndarray, dimensionless
        G, at most one where both gaps are alike.

    Raises
    ------
    ValueError
        If a gap is negative or nothing was swept.

    Notes
    -----
    ``G = (1/p)(1 - near - far)/(I(1 - far) - I(near))``, p = 1 + 1/n, I(t) the integral of the wall
    law from the near wall: ``(2t)^p/(2p)`` to the middle, ``1/p - (2(1-t))^p/(2p)`` beyond.
    Source: derived from the 1/n power law.

    Examples
    --------
    >>> round(float(gap_factor(near=0.05, far=0.05)), 4)
    0.9698
    """
    near_gap = checked("near", near, "1", at_least=0.0, below=1.0)
    far_gap = checked("far", far, "1", at_least=0.0, below=1.0)
    swept = 1.0 - near_gap - far_gap
    if np.any(swept <= 0.0):
        raise ValueError(
            f"near and far leave {np.nanmin(swept):g} of the depth swept; it must be above 0"
        )
    power = 1.0 + 1.0 / exponent
    passed = _passed(1.0 - far_gap, power) - _passed(near_gap, power)
    return unwrapped(swept / (power * passed))


def _passed(t: FloatArray, power: float) -> FloatArray:
    """Integral of the wall law from the near wall to a fraction of the depth."""
    near_side = (2.0 * np.minimum(t, 0.5)) ** power / (2.0 * power)
    far_side = 1.0 / power - (2.0 * (1.0 - np.maximum(t, 0.5))) ** power / (2.0 * power)
    return np.where(t <= 0.5, near_side, far_side)


def gap_uncertainty(
    *, near: npt.ArrayLike, far: npt.ArrayLike, is_skew_possible: npt.ArrayLike
) -> FloatArray:
    """Return the relative standard uncertainty of the gap correction.

    Parameters
    ----------
    near, far : array_like, dimensionless
        As in `gap_factor`.
    is_skew_possible : array_like of bool
        Nothing says that the profile is even along the depth.

    Returns
    -------
    ndarray, dimensionless
        A quarter of the distance between the factors of a flat and a steep profile, with half
        of the whole correction in quadrature where the profile may be skewed.

    Notes
    -----
    Source: chosen on simulated duct fields with exactly known means.
    """
    spread = (
        gap_factor(near=near, far=far, exponent=FLAT_EXPONENT)
        - gap_factor(near=near, far=far, exponent=STEEP_EXPONENT)
    ) / 4.0
    whole = 0.5 * np.abs(1.0 - gap_factor(near=near, far=far))
    return unwrapped(
        np.where(np.asarray(is_skew_possible, bool), np.hypot(spread, whole), np.abs(spread))
    )


@dataclass(frozen=True)
class StampedProfile:
    """A stamped sweep in the order of depth.

    Attributes
    ----------
    fraction : ndarray, shape (k,), 0 to 1
        Depth over the chord.
    velocity_m_s : ndarray, shape (k,)
        Mean of the readings stamped with that depth.
    """

    fraction: FloatArray
    velocity_m_s: FloatArray


def stamped_profile(
    *, depth_m: npt.ArrayLike, velocity_m_s: npt.ArrayLike, chord_m: float
) -> StampedProfile:
    """Put the stamps of one line in order of depth; stamps at one depth are averaged.

    Parameters
    ----------
    depth_m : array_like, shape (k,), m
        From the inside face of the drilled wall, 0 to the chord.
    velocity_m_s : array_like, shape (k,), m/s
    chord_m : float, m, above 0
        Depth of the duct along this line.

    Returns
    -------
    StampedProfile

    Raises
    ------
    ValueError
        If there are fewer than three different depths or one lies outside.
    """
    depth = checked("depth_m", depth_m, "m", at_least=0.0, at_most=chord_m * (1.0 + 1e-9))
    velocity = checked("velocity_m_s", velocity_m_s, "m/s")
    if depth.ndim != 1 or depth.shape != velocity.shape:
        raise ValueError(
            f"depth_m and velocity_m_s have shapes {depth.shape} and {velocity.shape}; "
            "they must be alike and of one dimension"
        )
    places, where = np.unique(depth, return_inverse=True)
    if places.size < 3:
        raise ValueError(f"depth_m holds {places.size} different depths; at least 3 are needed")
    sums = np.bincount(where, weights=velocity, minlength=places.size)
    return StampedProfile(places / chord_m, sums / np.bincount(where, minlength=places.size))


def line_mean_from_stamps_m_s(profile: StampedProfile) -> float:
    """Return the mean over the whole depth of one stamped line.

    Parameters
    ----------
    profile : StampedProfile

    Returns
    -------
    float, m/s
        Between stamps velocities run straight; towards each wall they follow the 1/7 law from
        the outermost stamp.

    Notes
    -----
    Source: trapezoidal rule and power law, as in `gap_factor`.

    Examples
    --------
    >>> profile = stamped_profile(depth_m=[0.0, 0.2, 0.4], velocity_m_s=[3.0] * 3, chord_m=0.4)
    >>> line_mean_from_stamps_m_s(profile)
    3.0
    """
    place, velocity = profile.fraction, profile.velocity_m_s
    total = np.trapezoid(velocity, place)
    power = 1.0 + 1.0 / GAP_EXPONENT
    total += velocity[0] * place[0] / power + velocity[-1] * (1.0 - place[-1]) / power
    return float(total)


def radius_means_from_stamps_m_s(profile: StampedProfile) -> tuple[float, float]:
    """Return the area means that the two radii of one stamped diameter stand for.

    Parameters
    ----------
    profile : StampedProfile
        Of a diameter; fractions of the diameter from the hole.

    Returns
    -------
    tuple of float, m/s
        The radius on the side of the hole, then the far one; each mean weighted by the radius.

    Raises
    ------
    ValueError
        If a side has no stamp.

    Notes
    -----
    Source: polar integration; between stamps velocities run straight, to the wall by the 1/7
    law, as in `line_mean_from_stamps_m_s`.
    """
    radius = 2.0 * profile.fraction - 1.0
    near, far = radius < 0.0, radius > 0.0
    if not near.any() or not far.any():
        raise ValueError("profile has stamps on one side of the centre only; both are needed")
    centre = float(np.interp(0.0, radius, profile.velocity_m_s))
    means = []
    for side, sign in ((near, -1.0), (far, 1.0)):
        order = np.argsort(sign * radius[side])
        place = np.concatenate([[0.0], (sign * radius[side])[order]])
        velocity = np.concatenate([[centre], profile.velocity_m_s[side][order]])
        means.append(_radius_mean(place, velocity))
    return means[0], means[1]


def _radius_mean(place: FloatArray, velocity: FloatArray) -> float:
    """Mean weighted by the radius of a broken line from the centre, with the law to the wall."""
    inner, outer = place[:-1], place[1:]
    slope = np.diff(velocity) / np.diff(place)
    level = velocity[:-1] - slope * inner
    total = np.sum(level * (outer**2 - inner**2) / 2.0 + slope * (outer**3 - inner**3) / 3.0)
    gap = 1.0 - place[-1]
    if gap > 0.0:
        # Velocity falls as (distance to the wall / gap)^(1/7); the radius is one less the distance.
        power = 1.0 / GAP_EXPONENT
        total += velocity[-1] * gap * (1.0 / (power + 1.0) - gap / (power + 2.0))
    return float(2.0 * total)

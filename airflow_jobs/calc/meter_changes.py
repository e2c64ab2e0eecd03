"""A meter that a calibration found off: what its earlier readings may have been worth.

The meter changed at a moment that nobody knows, between a day on which it was still good and the
day on which it was found off. What a reading between the two is short of lies between nothing and
the whole of what was found.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from airflow_jobs.calc.components import ASSUMED_ACCURACY_RELATIVE, positive_or_nan
from airflow_jobs.calc.quantities import FloatArray, checked, unwrapped


@dataclass(frozen=True, slots=True)
class MeterBetween:
    """Gain and offset of a meter between the last good day and the day it was found off.

    Attributes
    ----------
    gain, offset_m_s
        To take: true = gain x indicated + offset.
    gain_u, offset_u_m_s
        Standard uncertainties, of one cause: they go up and down together, sign and all.
    """

    gain: float
    offset_m_s: float
    gain_u: float
    offset_u_m_s: float


def meter_between(
    *,
    gain_before: float,
    offset_before_m_s: float,
    gain_found: float,
    offset_found_m_s: float,
    share: float,
) -> MeterBetween:
    """Return what to take for a meter that went off at an unknown moment.

    Parameters
    ----------
    gain_before, offset_before_m_s
        In force until it went off, 1 and m/s.
    gain_found, offset_found_m_s
        What the calibration found, 1 and m/s.
    share
        How much of the time between the last good day and the calibration had passed, 0 to 1;
        1 where the moment is known to lie before the reading.

    Returns
    -------
    MeterBetween

    Raises
    ------
    ValueError
        If the share is not from 0 to 1.

    Notes
    -----
    With nothing known of the moment it is as likely at any time (JCGM 100:2008, 4.3.7), so a
    reading had the whole change with probability `share` and none of it otherwise. Mean and
    standard deviation of that two-point distribution (JCGM 100:2008, 4.3.1) are ``share`` and
    ``sqrt(share (1 - share))`` of the change. A meter that went off little by little has the
    same mean, and no distribution between none and all with that mean spreads wider (Bhatia and
    Davis, American Mathematical Monthly 107 (2000), from memory), so the interval holds for both.

    Examples
    --------
    >>> between = meter_between(gain_before=1.0, offset_before_m_s=0.0, gain_found=1.06,
    ...                         offset_found_m_s=0.0, share=0.5)
    >>> round(between.gain, 3), round(between.gain_u, 3)
    (1.03, 0.03)
    """
    if not 0.0 <= share <= 1.0:
        raise ValueError(f"share is {share}; it must be from 0 to 1")
    spread = float(np.sqrt(share * (1.0 - share)))
    gain, offset = gain_found - gain_before, offset_found_m_s - offset_before_m_s
    return MeterBetween(
        gain=gain_before + share * gain,
        offset_m_s=offset_before_m_s + share * offset,
        gain_u=spread * gain,
        offset_u_m_s=spread * offset,
    )


def relative_change(
    *,
    gain_before: npt.ArrayLike,
    offset_before_m_s: npt.ArrayLike,
    gain_found: npt.ArrayLike,
    offset_found_m_s: npt.ArrayLike,
    indicated_m_s: npt.ArrayLike,
) -> FloatArray:
    """Return by how much readings change when one calibration takes the place of another.

    Parameters
    ----------
    gain_before, offset_before_m_s, gain_found, offset_found_m_s
        Scalars or arrays, 1 and m/s.
    indicated_m_s
        What the meter showed, m/s.

    Returns
    -------
    Broadcast shape, relative: 0.05 is 5 % more than before. NaN where the velocity by the
    earlier calibration isn't above zero.

    Raises
    ------
    ValueError
        If a value is infinite.

    Notes
    -----
    Source: the definition, true = gain x indicated + offset.

    Examples
    --------
    >>> round(float(relative_change(gain_before=1.0, offset_before_m_s=0.0, gain_found=1.04,
    ...                             offset_found_m_s=0.02, indicated_m_s=4.0)), 4)
    0.045
    """
    indicated = checked("indicated_m_s", indicated_m_s, "m/s")
    before = np.asarray(gain_before) * indicated + np.asarray(offset_before_m_s)
    after = np.asarray(gain_found) * indicated + np.asarray(offset_found_m_s)
    return unwrapped(after / np.where(before > 0.0, before, np.nan) - 1.0)


def allowed_error(
    *,
    accuracy_relative: npt.ArrayLike,
    accuracy_absolute_m_s: npt.ArrayLike,
    velocity_m_s: npt.ArrayLike,
) -> FloatArray:
    """Return the error that a meter's stated accuracy allows at a velocity.

    Parameters
    ----------
    accuracy_relative
        Of reading; NaN where not known.
    accuracy_absolute_m_s
        Whatever the reading, m/s; NaN where not known. Where both are unknown 5 % is taken.
    velocity_m_s
        m/s, above 0.

    Returns
    -------
    Broadcast shape, relative: ``sqrt(a^2 + (f/v)^2)``, as the budget adds the two.

    Raises
    ------
    ValueError
        If the velocity isn't positive.

    Notes
    -----
    Source: common practice.

    Examples
    --------
    >>> round(float(allowed_error(accuracy_relative=0.03, accuracy_absolute_m_s=0.02,
    ...                           velocity_m_s=2.0)), 4)
    0.0316
    """
    relative = np.asarray(accuracy_relative, dtype=np.float64)
    absolute = np.asarray(accuracy_absolute_m_s, dtype=np.float64)
    velocity = checked("velocity_m_s", velocity_m_s, "m/s", above=0.0)
    is_unknown = np.isnan(relative) & np.isnan(absolute)
    known = np.hypot(np.nan_to_num(relative), np.nan_to_num(absolute) / velocity)
    return unwrapped(np.where(is_unknown, ASSUMED_ACCURACY_RELATIVE, known))


def meter_change_u(
    *,
    gain_u: FloatArray,
    offset_u_m_s: FloatArray,
    indicated_mean_m_s: FloatArray,
    velocity_mean_m_s: FloatArray,
) -> FloatArray:
    """What not knowing when the meter went off does, the same to every point.

    Parameters
    ----------
    gain_u, offset_u_m_s : ndarray
        Standard uncertainties of one cause, see `meter_between`.
    indicated_mean_m_s : ndarray, m/s
        Of the readings as shown.
    velocity_mean_m_s : ndarray, m/s
        Of the calibrated readings.

    Returns
    -------
    ndarray, relative standard uncertainty
        ``|u(gain) v_indicated + u(offset)|/v``: the two share their cause.

    Notes
    -----
    Source: JCGM 100:2008, 5.2.2, with a correlation of 1.
    """
    together = np.abs(gain_u * indicated_mean_m_s + offset_u_m_s)
    relative: FloatArray = together / positive_or_nan(velocity_mean_m_s)
    return np.where(together > 0.0, relative, 0.0)

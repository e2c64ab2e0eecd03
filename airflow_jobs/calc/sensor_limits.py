"""What a sensor can't do: the dead band, bearing drag, a wandering zero, a tilted flow.

None of these is corrected; each is a budget term, a bound or a finding.
"""

from typing import Any, Final

import numpy as np
import numpy.typing as npt

from airflow_jobs.calc.instruments import DIRECTION_RESPONSES, OMNIDIRECTIONAL, codes
from airflow_jobs.calc.quantities import FloatArray, checked, unwrapped
from airflow_jobs.calc.sensing import (
    DEAD_BAND_M_S,
    SensedVelocities,
    for_each_reading,
    velocity_pressure_pa,
)

DEAD_BAND_SHARE_FOR_A_BOUND: Final = 0.2
"""With more of the points in the dead band the result is a bound, not a value."""

VANE_DRAG_VELOCITY_M_S: Final = 0.15
"""Starting velocity of a vane, whose bearing drag doesn't shrink with density. From memory, after
Ower and Pankhurst, The Measurement of Air Flow."""

VANE_DRAG_FINDING_BELOW_M_S: Final = 1.0
PITOT_ZERO_ERROR_PA: Final = 0.5
"""What a zeroed pressure meter drifts by within one traverse. Common practice."""


def dead_band_share(sensed: SensedVelocities) -> FloatArray:
    """Return the share of the readings taken that lie in the dead band.

    Parameters
    ----------
    sensed
        The sensed velocities, (N, m) or (m,).

    Returns
    -------
    Shape (N,) or scalar, 0 to 1; NaN where nothing was read. Above
    `DEAD_BAND_SHARE_FOR_A_BOUND` the result is a bound, not a value.

    Examples
    --------
    >>> from airflow_jobs.calc.instruments import air_state, instruments
    >>> from airflow_jobs.calc.sensing import sensed_velocities
    >>> air = air_state(dry_bulb_c=20.0, pressure_pa=101325.0, vapour_pressure_pa=0.0)
    >>> meter = instruments(principle="thermal", shows="standard_velocity")
    >>> float(dead_band_share(sensed_velocities([0.1, 1.0, 1.0, np.nan], meter, air)).round(3))
    0.333
    """
    taken = np.sum(~np.isnan(sensed.indicated_m_s), axis=-1)
    inside = np.sum(sensed.in_dead_band, axis=-1)
    return unwrapped(np.where(taken > 0, inside / np.maximum(taken, 1), np.nan))


def dead_band_uncertainty_m_s(sensed: SensedVelocities) -> FloatArray:
    """Return how far each reading in the dead band may stand from the truth.

    Parameters
    ----------
    sensed
        The sensed velocities, (N, m) or (m,).

    Returns
    -------
    Shape of the readings, m/s actual: the root mean square distance from the reading to a
    velocity anywhere in the dead band; 0 for the other readings. These errors are alike, so
    they add up over a traverse with their weights instead of averaging out.

    Notes
    -----
    sqrt(b^2/12 + (b/2 - v)^2) for a rectangular distribution over (0, b): JCGM 100:2008, 4.3.7.

    Examples
    --------
    >>> from airflow_jobs.calc.instruments import air_state, instruments
    >>> from airflow_jobs.calc.sensing import sensed_velocities
    >>> air = air_state(dry_bulb_c=20.0, pressure_pa=101325.0, vapour_pressure_pa=0.0)
    >>> meter = instruments(principle="vane")
    >>> dead_band_uncertainty_m_s(sensed_velocities([0.1, 1.0], meter, air)).tolist()
    [0.0, 0.0]
    """
    distance = np.sqrt(
        DEAD_BAND_M_S**2 / 12.0 + (0.5 * DEAD_BAND_M_S - np.abs(sensed.indicated_m_s)) ** 2
    )
    factor = for_each_reading(sensed.factor.central, sensed.indicated_m_s)
    return unwrapped(np.where(sensed.in_dead_band, distance * factor, 0.0))


def vane_drag_drift(
    *,
    velocity_m_s: npt.ArrayLike,
    density_kg_m3: npt.ArrayLike,
    reference_density_kg_m3: npt.ArrayLike,
) -> FloatArray:
    """Return the relative error that a vane's bearing drag makes at another density.

    Parameters
    ----------
    velocity_m_s
        Scalar or array, m/s, above 0.
    density_kg_m3, reference_density_kg_m3
        Scalars or arrays, in the section and at calibration, kg/m3, above 0.

    Returns
    -------
    Broadcast shape, ratio, positive where the vane reads low. A budget term and, below
    `VANE_DRAG_FINDING_BELOW_M_S`, a finding; never applied.

    Raises
    ------
    ValueError
        If an argument isn't positive.

    Notes
    -----
    V0^2 (rho_ref/rho - 1)/v^2: a constant drag against a torque that goes with rho v^2.
    Derived; the size of V0 is from memory (Ower and Pankhurst).

    Examples
    --------
    >>> drift = vane_drag_drift(velocity_m_s=1.0, density_kg_m3=1.0, reference_density_kg_m3=1.2)
    >>> round(float(drift), 4)
    0.0045
    """
    velocity = checked("velocity_m_s", velocity_m_s, "m/s", above=0.0)
    density = checked("density_kg_m3", density_kg_m3, "kg/m3", above=0.0)
    reference = checked("reference_density_kg_m3", reference_density_kg_m3, "kg/m3", above=0.0)
    return unwrapped((VANE_DRAG_VELOCITY_M_S / velocity) ** 2 * (reference / density - 1.0))


def pitot_zero_drift(
    *,
    velocity_m_s: npt.ArrayLike,
    density_kg_m3: npt.ArrayLike,
    zero_error_pa: npt.ArrayLike = PITOT_ZERO_ERROR_PA,
) -> FloatArray:
    """Return the relative error in velocity that a wrong zero of the pressure makes.

    Parameters
    ----------
    velocity_m_s
        Scalar or array, true velocity, m/s, above 0.
    density_kg_m3
        Scalar or array, kg/m3, above 0.
    zero_error_pa
        Scalar or array, Pa, at least 0.

    Returns
    -------
    Broadcast shape, ratio.

    Raises
    ------
    ValueError
        If an argument is impossible.

    Notes
    -----
    sqrt(1 + dp_zero/(rho v^2/2)) - 1, Bernoulli.

    Examples
    --------
    >>> round(float(pitot_zero_drift(velocity_m_s=1.0, density_kg_m3=1.2)), 2)
    0.35
    """
    velocity = checked("velocity_m_s", velocity_m_s, "m/s", above=0.0)
    zero_error = checked("zero_error_pa", zero_error_pa, "Pa", at_least=0.0)
    pressure = velocity_pressure_pa(velocity_m_s=velocity, density_kg_m3=density_kg_m3)
    return unwrapped(np.sqrt(1.0 + zero_error / pressure) - 1.0)


def direction_exponent(direction_response: Any) -> FloatArray:
    """Return k of a sensor whose response to a tilt is the k-th power of its cosine.

    Parameters
    ----------
    direction_response
        `cosine`, `omnidirectional` or `unknown`; one word, an array, or codes.

    Returns
    -------
    Same shape: 1, 0, and 1 where unknown (whose whole effect is then uncertainty).

    Raises
    ------
    ValueError
        For another word.

    Notes
    -----
    k = 1 reads the axial part of a swirling flow, k = 0 its whole speed, +10 to 13 % at 30 deg of
    swirl. Source: geometry.

    Examples
    --------
    >>> direction_exponent(["cosine", "omnidirectional", "unknown"]).tolist()
    [1.0, 0.0, 1.0]
    """
    response = codes("direction_response", direction_response, DIRECTION_RESPONSES)
    return unwrapped(np.where(response == OMNIDIRECTIONAL, 0.0, 1.0))

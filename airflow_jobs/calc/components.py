"""The components of the uncertainty budget, one function each: relative, standard, closed form.

Every function takes arrays over N traverses and gives shape (N,). A mean that isn't positive has
no relative uncertainty: NaN.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from airflow_jobs.calc.air import VAPOUR_LIGHTNESS
from airflow_jobs.calc.humidity import ZERO_CELSIUS_K, saturation_pressure_pa
from airflow_jobs.calc.instruments import (
    COMPENSATED,
    COMPENSATION_UNKNOWN,
    SHOWS_UNKNOWN,
    STANDARD_VELOCITY,
    THERMAL,
    CodeArray,
    Instruments,
)
from airflow_jobs.calc.integration import gradient_forms
from airflow_jobs.calc.quadratic_forms import QuadraticForms, prepared_forms
from airflow_jobs.calc.quantities import BoolArray, FloatArray
from airflow_jobs.calc.sampling import Sampling
from airflow_jobs.calc.sections import Shape, area_m2, perimeter_m
from airflow_jobs.calc.sensing import DENSITY_EXPONENTS

# JCGM 100:2008, 4.3.7: standard uncertainty of a rectangular distribution of half width a.
RECTANGULAR_DIVISOR: Final = 3.0**0.5

ASSUMED_ACCURACY_RELATIVE: Final = 0.05
"""Limit of error of a meter that states none. Common practice."""

COMMON_TILT_RAD: Final = float(np.radians(4.0))
POINT_TILT_RAD: Final = float(np.radians(3.0))
"""Tilt of the probe: the same for a whole traverse, and anew at each point. Common practice."""

POINT_PLACE_U_M: Final = 0.003
HOLE_PLACE_U_M: Final = 0.005
DEPTH_PLACE_U_M: Final = 0.004
"""Standard uncertainties of place: of a point, of a hole, of a line's depths. Common practice."""

DRIFT_U: Final = 0.02
DRIFT_SHARE_OF_ITSELF: Final = 0.15
"""How much a running plant wanders during one traverse, and the part that no order of reading
takes out. Common practice."""

BLADES_U: Final = 0.026
DISTURBANCE_U: Final = 0.01
"""Blades within five hydraulic diameters; any disturbance within two. Found on simulated fields."""

# Clausius and Clapeyron: latent heat over the gas constant of water vapour, from memory.
VAPOUR_TEMPERATURE_K: Final = 5417.0

BLOCK: Final = 4096


def positive_or_nan(mean: FloatArray) -> FloatArray:
    """The mean where it is above zero, NaN elsewhere."""
    return np.where(mean > 0.0, mean, np.nan)


def calibration_u(
    *,
    accuracy_relative: FloatArray,
    accuracy_absolute_m_s: FloatArray,
    velocity_mean_m_s: FloatArray,
) -> FloatArray:
    """What the meter's limits of error do, the same to every point.

    Parameters
    ----------
    accuracy_relative : ndarray, ratio
        NaN where not known.
    accuracy_absolute_m_s : ndarray, m/s
        NaN where not known; where both are unknown, 5 % is assumed.
    velocity_mean_m_s : ndarray, m/s
        Of the calibrated readings, on the display's scale.

    Returns
    -------
    ndarray, relative standard uncertainty
        ``sqrt((a/sqrt 3)^2 + (f/(sqrt 3 v))^2)``.

    Notes
    -----
    Source: JCGM 100:2008, 4.3.7.
    """
    is_unknown = np.isnan(accuracy_relative) & np.isnan(accuracy_absolute_m_s)
    relative = np.where(is_unknown, ASSUMED_ACCURACY_RELATIVE, np.nan_to_num(accuracy_relative))
    absolute = np.nan_to_num(accuracy_absolute_m_s) / positive_or_nan(velocity_mean_m_s)
    combined: FloatArray = np.hypot(relative, absolute) / RECTANGULAR_DIVISOR
    return combined


def resolution_u(
    *, resolution_m_s: FloatArray, weights: FloatArray, velocity_mean_m_s: FloatArray
) -> FloatArray:
    """What the last digit of the display does, anew at each point.

    Parameters
    ----------
    resolution_m_s : ndarray, shape (N,), m/s
        NaN where not known, counted as zero.
    weights : ndarray, shape (m,)
        Of the readings in the mean.
    velocity_mean_m_s : ndarray, shape (N,), m/s
        On the display's scale.

    Returns
    -------
    ndarray, relative standard uncertainty
        ``d/sqrt(12) sqrt(sum w^2)/v``.

    Notes
    -----
    Source: JCGM 100:2008, F.2.2.1.
    """
    spread = np.sqrt(np.sum(weights**2) / 12.0)
    relative: FloatArray = np.nan_to_num(resolution_m_s) * spread
    return relative / positive_or_nan(velocity_mean_m_s)


@dataclass(frozen=True)
class Alignment:
    """What tilting the sensor does.

    Attributes
    ----------
    factor : ndarray, shape (N,)
        By which the best estimate is raised.
    relative_u : ndarray, shape (N,)
        Relative standard uncertainty that is left.
    """

    factor: FloatArray
    relative_u: FloatArray


def alignment(
    *,
    exponent: FloatArray,
    is_unknown: BoolArray,
    common_tilt_rad: float = COMMON_TILT_RAD,
    point_tilt_rad: float = POINT_TILT_RAD,
) -> Alignment:
    """Correct for the tilt of the sensor and say what stays unknown.

    Parameters
    ----------
    exponent : ndarray, dimensionless, 0 or more
        k of a direction response cos^k.
    is_unknown : ndarray of bool
        Nobody knows the response: the whole correction is uncertainty too.
    common_tilt_rad, point_tilt_rad : float, rad
        Standard deviations of the tilt of a traverse and of a point.

    Returns
    -------
    Alignment
        Factor ``1 + (k/2)(s_c^2 + s_p^2)``; uncertainty ``(k/sqrt 2) s_c^2``.

    Notes
    -----
    Source: second-order propagation through cos^k, JCGM 100:2008, 5.1.2 note; derived.
    """
    effect = 0.5 * exponent * (common_tilt_rad**2 + point_tilt_rad**2)
    left = exponent / np.sqrt(2.0) * common_tilt_rad**2
    return Alignment(factor=1.0 + effect, relative_u=np.where(is_unknown, effect, left))


@lru_cache(maxsize=512)
def _position_forms(planned: Sampling, actual: Sampling) -> QuadraticForms:
    forms = gradient_forms(planned, actual)
    stacked = np.array([forms.point_x, forms.point_y, forms.hole, forms.depth])
    return prepared_forms(stacked, actual)


def position_u(
    velocity_m_s: FloatArray,
    *,
    planned: Sampling,
    actual: Sampling,
    along_m: FloatArray,
    depth_m: FloatArray,
    velocity_mean_m_s: FloatArray,
) -> FloatArray:
    """What errors of place do: of points, of holes, of a line's depths.

    Parameters
    ----------
    velocity_m_s : ndarray, shape (N, m), m/s
        Corrected readings.
    planned, actual : Sampling
        As in `integration.transfer_weights`.
    along_m, depth_m : ndarray, shape (N,), m
        Inside extents along the drilled side and along the depth.
    velocity_mean_m_s : ndarray, shape (N,), m/s

    Returns
    -------
    ndarray, relative standard uncertainty

    Notes
    -----
    Source: JCGM 100:2008, 5.1.2, with the slopes of `integration.gradient_forms`.
    """
    forms = _position_forms(planned, actual)
    variance = np.empty((4, velocity_m_s.shape[0]))
    for start in range(0, velocity_m_s.shape[0], BLOCK):
        block = np.ascontiguousarray(velocity_m_s[start : start + BLOCK].T)
        variance[:, start : start + BLOCK] = forms.of(block)
    np.maximum(variance, 0.0, out=variance)
    per_metre_along, per_metre_depth = (2.0 / along_m) ** 2, (2.0 / depth_m) ** 2
    total = per_metre_along * (POINT_PLACE_U_M**2 * variance[0] + HOLE_PLACE_U_M**2 * variance[2])
    total += per_metre_depth * (POINT_PLACE_U_M**2 * variance[1] + DEPTH_PLACE_U_M**2 * variance[3])
    relative: FloatArray = np.sqrt(total) / positive_or_nan(velocity_mean_m_s)
    return relative


def area_u(
    *,
    shape: Shape,
    width_m: FloatArray,
    height_m: FloatArray,
    tolerance_m: FloatArray,
    lining_thickness_m: FloatArray,
) -> FloatArray:
    """What the limits of error of the inside sizes and of the lining do.

    Parameters
    ----------
    shape : {'rectangular', 'round', 'flat_oval'}
    width_m, height_m : ndarray, m
        Inside; both the diameter in a round section.
    tolerance_m : ndarray, m
        Limit of error of each size, and of the lining's thickness where there is one.
    lining_thickness_m : ndarray, m
        Zero without.

    Returns
    -------
    ndarray, relative standard uncertainty

    Notes
    -----
    Source: JCGM 100:2008, 4.3.7 and 5.1.2, on the areas of `sections.area_m2`; derived.
    """
    size_u = tolerance_m / RECTANGULAR_DIVISOR
    area = area_m2(shape, width_m=width_m, height_m=height_m)
    if shape == "rectangular":
        sizes = np.hypot(size_u / width_m, size_u / height_m)
    elif shape == "round":
        sizes = 2.0 * size_u / width_m
    else:
        by_height = width_m + (0.5 * np.pi - 2.0) * height_m
        sizes = size_u * np.hypot(height_m, by_height) / area
    # A wall that is thicker all round takes its thickness times the perimeter off the area; in a
    # rectangle that is 2 u (1/width + 1/height).
    lining = size_u * perimeter_m(shape, width_m=width_m, height_m=height_m) / area
    combined: FloatArray = np.hypot(sizes, np.where(lining_thickness_m > 0.0, lining, 0.0))
    return combined


@dataclass(frozen=True)
class DensityUncertainty:
    """Relative standard uncertainty of the density by what it comes from, shape (N,).

    Attributes
    ----------
    temperature, humidity, pressure : ndarray
    """

    temperature: FloatArray
    humidity: FloatArray
    pressure: FloatArray

    @property
    def total(self) -> FloatArray:
        """All three together."""
        combined: FloatArray = np.sqrt(self.temperature**2 + self.humidity**2 + self.pressure**2)
        return combined


def density_uncertainty(
    *,
    dry_bulb_c: FloatArray,
    relative_humidity: FloatArray,
    pressure_pa: FloatArray,
    dry_bulb_u_c: FloatArray,
    relative_humidity_u: FloatArray,
    pressure_u_pa: FloatArray,
) -> DensityUncertainty:
    """How well the density of the air is known.

    Parameters
    ----------
    dry_bulb_c, relative_humidity, pressure_pa : ndarray, degC, ratio, Pa
    dry_bulb_u_c, relative_humidity_u, pressure_u_pa : ndarray
        Their standard uncertainties; the humidity is relative, so that the temperature
        moves the vapour pressure too.

    Returns
    -------
    DensityUncertainty

    Notes
    -----
    Source: JCGM 100:2008, 5.1.2, on `air.moist_air_density_kg_m3`, with the slope of the
    saturation pressure after Clausius and Clapeyron; derived.
    """
    kelvin = dry_bulb_c + ZERO_CELSIUS_K
    saturation = saturation_pressure_pa(dry_bulb_c)
    lightness = VAPOUR_LIGHTNESS * relative_humidity * saturation
    heavy = pressure_pa - lightness
    by_kelvin = 1.0 / kelvin + lightness / heavy * VAPOUR_TEMPERATURE_K / kelvin**2
    return DensityUncertainty(
        temperature=by_kelvin * dry_bulb_u_c,
        humidity=VAPOUR_LIGHTNESS * saturation * relative_humidity_u / heavy,
        pressure=pressure_u_pa / heavy,
    )


def flow_density_u(
    density: DensityUncertainty, meter: Instruments, is_velocity_pressure: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """What the doubt about the density does to actual and to standard flow.

    Parameters
    ----------
    density : DensityUncertainty
    meter : Instruments
    is_velocity_pressure : ndarray of bool, shape (N,)

    Returns
    -------
    tuple of ndarray, relative standard uncertainties
        Of actual flow, ``c u(rho)/rho`` where the meter compensates nothing; of standard and
        mass flow, ``(1 - c) u(rho)/rho`` there. A variable that the meter compensates has
        already been taken out of the actual velocity, and so counts in full in standard flow.
        Where compensation is unknown, the larger of the two counts.

    Notes
    -----
    Source: JCGM 100:2008, 5.1.2, on the law of `sensing`; derived.
    """
    exponent = DENSITY_EXPONENTS[meter.principle]
    shows_reference = is_velocity_pressure | (
        (meter.principle == THERMAL) & (meter.shows == STANDARD_VELOCITY)
    )
    shows_unknown = (meter.principle == THERMAL) & (meter.shows == SHOWS_UNKNOWN)
    actual, standard = np.zeros(()), np.zeros(())
    for part, code in (
        (density.temperature, meter.compensates_temperature),
        (density.humidity, meter.compensates_humidity),
        (density.pressure, meter.compensates_pressure),
    ):
        least, most = _compensation_ends(code, shows_reference, shows_unknown)
        actual = np.hypot(actual, exponent * (1.0 - least) * part)
        standard = np.hypot(standard, (1.0 - exponent + exponent * most) * part)
    return actual, standard


def _compensation_ends(
    code: CodeArray, shows_reference: BoolArray, shows_unknown: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """Least and most share of a variable that the display may have taken out."""
    least = (code == COMPENSATED) & ~shows_reference & ~shows_unknown
    most = ((code == COMPENSATED) | (code == COMPENSATION_UNKNOWN)) & ~shows_reference
    return least.astype(float), most.astype(float)


def drift_u(
    velocity_m_s: FloatArray,
    *,
    weights: FloatArray,
    time_order: FloatArray,
    velocity_mean_m_s: FloatArray,
) -> FloatArray:
    """What a plant does that wanders while the traverse is taken.

    Parameters
    ----------
    velocity_m_s : ndarray, shape (N, m), m/s
    weights : ndarray, shape (m,)
    time_order : ndarray, shape (m,), -1/2 to 1/2
        When each reading was taken, from the first to the last.
    velocity_mean_m_s : ndarray, shape (N,), m/s

    Returns
    -------
    ndarray, relative standard uncertainty
        ``0.02 (|sum w v t|/v + 0.15)``.

    Notes
    -----
    Source: JCGM 100:2008, 5.1.2; a linear drift times the order of reading, derived.
    """
    unbalanced = np.abs(velocity_m_s @ (weights * time_order)) / positive_or_nan(velocity_mean_m_s)
    return DRIFT_U * (unbalanced + DRIFT_SHARE_OF_ITSELF)

"""From what the instrument shows to the velocity of the air: one law for every principle.

A display assumes some density: the measured value of each variable that it compensates, its
reference value of each that it doesn't (humidity reference: dry). Then

    v = v_indicated (density assumed / density)^c,    c = 1 thermal, 1/2 pitot, 0 vane.

A thermal sensor responds to mass flux, a pitot tube to density times the velocity's square, a
vane to the velocity itself. One that shows *standard velocity* (thermal only) assumes its
reference density whatever it compensates: "temperature compensated" then means that the mass
flux is right at any temperature. A velocity pressure carries no assumption at all.
"""

from dataclasses import dataclass
from itertools import product
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from airflow_jobs.calc.air import moist_air_density_kg_m3
from airflow_jobs.calc.instruments import (
    ACTUAL_VELOCITY,
    COMPENSATED,
    COMPENSATION_UNKNOWN,
    PITOT,
    PRINCIPLES,
    STANDARD_VELOCITY,
    THERMAL,
    AirState,
    Instruments,
)
from airflow_jobs.calc.quantities import BoolArray, FloatArray, checked, unwrapped

DENSITY_EXPONENTS: Final = np.array([1.0, 0.0, 0.5])
"""c of the law, in the order of `PRINCIPLES`. King's law (thermal), Bernoulli (pitot)."""

DEAD_BAND_M_S: Final = 0.2032
"""40 ft/min: under it a thermal sensor can't tell flow from its own convection. Common practice."""


@dataclass(frozen=True, slots=True)
class DensityFactor:
    """What turns an indicated into an actual velocity, and how well it is known.

    Attributes
    ----------
    central
        The factor to use: the middle of the two ends, shape (N,) or scalar.
    low, high
        The ends over everything that is unknown about the instrument; equal if nothing is.
    standard_uncertainty
        Of the factor: half of the distance between the ends.
    """

    central: FloatArray
    low: FloatArray
    high: FloatArray
    standard_uncertainty: FloatArray

    @property
    def relative_standard_uncertainty(self) -> FloatArray:
        """Standard uncertainty over the central factor."""
        return unwrapped(self.standard_uncertainty / self.central)


@dataclass(frozen=True, slots=True)
class SensedVelocities:
    """The readings of many traverses, step by step.

    Attributes
    ----------
    indicated_m_s
        What the display shows, or would show for a velocity pressure at its reference density;
        shape (N, m).
    calibrated_m_s
        After gain and offset, (N, m).
    actual_m_s
        After the density factor, (N, m).
    factor
        The density factor, (N,).
    in_dead_band
        Thermal readings too low to be values, (N, m).
    """

    indicated_m_s: FloatArray
    calibrated_m_s: FloatArray
    actual_m_s: FloatArray
    factor: DensityFactor
    in_dead_band: BoolArray


def velocity_from_velocity_pressure_m_s(
    *, velocity_pressure_pa: npt.ArrayLike, density_kg_m3: npt.ArrayLike
) -> FloatArray:
    """Return the velocity that a velocity pressure stands for, with its sign.

    Parameters
    ----------
    velocity_pressure_pa
        Scalar or array, Pa; negative for backflow.
    density_kg_m3
        Scalar or array, kg/m3, above 0.

    Returns
    -------
    Broadcast shape, m/s, of the sign of the pressure.

    Raises
    ------
    ValueError
        If the density isn't positive.

    Notes
    -----
    v = sqrt(2 dp/rho), Bernoulli; ISO 3966. Take the root of each reading and then the mean:
    the root of the mean pressure over-reads, see `root_of_mean_overread`.

    Examples
    --------
    >>> float(velocity_from_velocity_pressure_m_s(velocity_pressure_pa=-60.0, density_kg_m3=1.2))
    -10.0
    """
    pressure = checked("velocity_pressure_pa", velocity_pressure_pa, "Pa")
    density = checked("density_kg_m3", density_kg_m3, "kg/m3", above=0.0)
    return unwrapped(np.copysign(np.sqrt(2.0 * np.abs(pressure) / density), pressure))


def velocity_pressure_pa(
    *, velocity_m_s: npt.ArrayLike, density_kg_m3: npt.ArrayLike
) -> FloatArray:
    """Return the velocity pressure of moving air, with the velocity's sign.

    Parameters
    ----------
    velocity_m_s
        Scalar or array, m/s.
    density_kg_m3
        Scalar or array, kg/m3, above 0.

    Returns
    -------
    Broadcast shape, Pa.

    Raises
    ------
    ValueError
        If the density isn't positive.

    Notes
    -----
    Source: the inverse of `velocity_from_velocity_pressure_m_s`.

    Examples
    --------
    >>> float(velocity_pressure_pa(velocity_m_s=10.0, density_kg_m3=1.2))
    60.0
    """
    velocity = checked("velocity_m_s", velocity_m_s, "m/s")
    density = checked("density_kg_m3", density_kg_m3, "kg/m3", above=0.0)
    return unwrapped(0.5 * density * velocity * np.abs(velocity))


def root_of_mean_overread(coefficient_of_variation: npt.ArrayLike) -> FloatArray:
    """Return by what factor the root of a mean velocity pressure exceeds the mean velocity.

    Parameters
    ----------
    coefficient_of_variation
        Scalar or array: standard deviation of the velocities over their mean, at least 0.

    Returns
    -------
    Shape of the input, at least 1.

    Raises
    ------
    ValueError
        If the coefficient is negative.

    Notes
    -----
    sqrt(1 + CV^2), from the definition of the variance.

    Examples
    --------
    >>> round(float(root_of_mean_overread(0.3)), 3)
    1.044
    """
    variation = checked("coefficient_of_variation", coefficient_of_variation, "1", at_least=0.0)
    return unwrapped(np.sqrt(1.0 + variation**2))


def density_factor(
    meter: Instruments, air: AirState, *, is_velocity_pressure: npt.ArrayLike = False
) -> DensityFactor:
    """Return the factor from indicated to actual velocity for each traverse.

    Parameters
    ----------
    meter
        The instruments, fields scalar or (N,).
    air
        The air in the section, fields scalar or (N,).
    is_velocity_pressure
        Scalar or (N,): the readings are velocity pressures, taken as the velocities they
        stand for at the reference density.

    Returns
    -------
    DensityFactor
        Fields scalar or (N,). Where what the instrument shows or compensates is unknown,
        `low` and `high` are the ends over all possibilities.

    Raises
    ------
    ValueError
        If readings of an instrument other than a pitot are called velocity pressures.

    Notes
    -----
    The law is in the module's text. What is unknown is either this or that, never something
    between, so the standard uncertainty is half of the distance (the standard deviation of a
    two-point distribution, JCGM 100:2008, 4.3), not 1/sqrt(3) of it, which would cover the two
    ends too seldom. `shows` matters for thermal sensors only; vanes and velocity pressures
    ignore compensation too.

    Examples
    --------
    >>> from airflow_jobs.calc.instruments import air_state, instruments
    >>> air = air_state(dry_bulb_c=13.0, pressure_pa=83524.0, vapour_pressure_pa=599.0)
    >>> meter = instruments(principle="thermal", shows="standard_velocity")
    >>> round(float(density_factor(meter, air).central), 3)
    1.183
    """
    pressure_given = np.asarray(is_velocity_pressure, dtype=np.bool_)
    if np.any(pressure_given & (meter.principle != PITOT)):
        wrong = np.broadcast_to(
            meter.principle, np.broadcast_shapes(pressure_given.shape, meter.principle.shape)
        )
        first = wrong[np.broadcast_to(pressure_given, wrong.shape) & (wrong != PITOT)].flat[0]
        raise ValueError(
            f"is_velocity_pressure is true for a {PRINCIPLES[first]} instrument; "
            "only a pitot shows velocity pressure"
        )
    density = air.density_kg_m3
    exponent = DENSITY_EXPONENTS[meter.principle]
    reference = meter.reference_density_kg_m3
    thermal = meter.principle == THERMAL
    only_reference = pressure_given | (thermal & (meter.shows == STANDARD_VELOCITY))
    perhaps_reference = only_reference | (thermal & (meter.shows != ACTUAL_VELOCITY))

    shape = np.broadcast_shapes(
        density.shape, exponent.shape, reference.shape, perhaps_reference.shape,
        meter.compensates_temperature.shape, meter.compensates_pressure.shape,
        meter.compensates_humidity.shape,
    )  # fmt: skip
    lowest = np.where(np.broadcast_to(perhaps_reference, shape), reference, np.inf)
    highest = np.where(np.broadcast_to(perhaps_reference, shape), reference, -np.inf)
    for temperature, pressure, humidity in product((False, True), repeat=3):
        possible = (
            ~only_reference
            & _may_be(meter.compensates_temperature, temperature)
            & _may_be(meter.compensates_pressure, pressure)
            & _may_be(meter.compensates_humidity, humidity)
        )
        if not np.any(possible):
            continue
        assumed = moist_air_density_kg_m3(
            dry_bulb_c=air.dry_bulb_c if temperature else meter.reference_dry_bulb_c,
            pressure_pa=air.pressure_pa if pressure else meter.reference_pressure_pa,
            vapour_pressure_pa=air.vapour_pressure_pa if humidity else 0.0,
        )
        lowest = np.where(possible, np.minimum(lowest, assumed), lowest)
        highest = np.where(possible, np.maximum(highest, assumed), highest)
    low = (lowest / density) ** exponent
    high = (highest / density) ** exponent
    return DensityFactor(
        central=unwrapped(0.5 * (low + high)),
        low=unwrapped(low),
        high=unwrapped(high),
        standard_uncertainty=unwrapped(0.5 * (high - low)),
    )


def sensed_velocities(
    readings: npt.ArrayLike,
    meter: Instruments,
    air: AirState,
    *,
    is_velocity_pressure: npt.ArrayLike = False,
) -> SensedVelocities:
    """Return the velocities behind the readings of many traverses.

    Parameters
    ----------
    readings
        As indicated, shape (N, m), (m,) for one traverse, or a scalar; m/s, or Pa where
        they are velocity pressures; NaN where not taken. Signed: negative is backflow.
    meter
        The instruments, fields scalar or (N,).
    air
        The air in the section, fields scalar or (N,).
    is_velocity_pressure
        Scalar or (N,).

    Returns
    -------
    SensedVelocities

    Raises
    ------
    ValueError
        If readings of an instrument other than a pitot are called velocity pressures, or a
        reading is infinite.

    Notes
    -----
    A calibration certificate compares the display with a reference in the laboratory's air, so
    gain and offset act on the indicated velocity, before density. A meter that was read in
    pressure would have shown sqrt(2 dp/rho_ref); gain and offset act on that, and the density
    factor with c = 1/2 then brings it to the section. Without an offset this is exactly
    gain x sqrt(2 dp/rho); with one, the meter's error is a pressure error, as it should be.
    The offset is added to signed velocities.

    Examples
    --------
    >>> from airflow_jobs.calc.instruments import air_state, instruments
    >>> air = air_state(dry_bulb_c=20.0, pressure_pa=101325.0, vapour_pressure_pa=0.0)
    >>> meter = instruments(principle="vane", gain=1.02)
    >>> [round(v, 2) for v in sensed_velocities([2.0, 3.0], meter, air).actual_m_s.tolist()]
    [2.04, 3.06]
    """
    shown = checked("readings", readings, "m/s or Pa")
    is_pressure = np.asarray(is_velocity_pressure, dtype=np.bool_)
    factor = density_factor(meter, air, is_velocity_pressure=is_pressure)
    indicated = shown
    if np.any(is_pressure):
        as_velocity = velocity_from_velocity_pressure_m_s(
            velocity_pressure_pa=shown,
            density_kg_m3=for_each_reading(meter.reference_density_kg_m3, shown),
        )
        indicated = np.where(for_each_reading(is_pressure, shown), as_velocity, shown)
    gain = for_each_reading(meter.gain, shown)
    offset = for_each_reading(meter.offset_m_s, shown)
    calibrated = gain * indicated + offset
    actual = calibrated * for_each_reading(factor.central, shown)
    thermal = for_each_reading(meter.principle == THERMAL, shown)
    dead = thermal & (np.abs(indicated) < DEAD_BAND_M_S)
    return SensedVelocities(
        indicated_m_s=unwrapped(indicated),
        calibrated_m_s=unwrapped(calibrated),
        actual_m_s=unwrapped(actual),
        factor=factor,
        in_dead_band=np.asarray(dead, dtype=np.bool_),
    )


def _may_be(code: npt.NDArray[np.int8], compensated: bool) -> BoolArray:
    result: BoolArray = (code == COMPENSATION_UNKNOWN) | ((code == COMPENSATED) == compensated)
    return result


def for_each_reading(
    per_traverse: FloatArray | BoolArray, readings: FloatArray
) -> npt.NDArray[Any]:
    """Return one value a traverse so that it broadcasts over that traverse's readings.

    Parameters
    ----------
    per_traverse
        Shape (N,) or scalar.
    readings
        Shape (N, m), (m,) or scalar.

    Returns
    -------
    Shape (N, 1), or the scalar.

    Examples
    --------
    >>> for_each_reading(np.ones(3), np.ones((3, 5))).shape
    (3, 1)
    """
    array = np.asarray(per_traverse)
    return array if readings.ndim == 0 or array.ndim == 0 else array[..., np.newaxis]

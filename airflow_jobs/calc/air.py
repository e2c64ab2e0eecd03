"""Moist air: density, station pressure and specific heat, and what standard air is."""

from typing import Final

import numpy.typing as npt

from airflow_jobs.calc.humidity import (
    COLDEST_C,
    HOTTEST_C,
    ZERO_CELSIUS_K,
    checked_pressures,
    vapour_pressure_from_relative_humidity_pa,
)
from airflow_jobs.calc.quantities import FloatArray, checked, unwrapped

POUND_KG: Final = 0.45359237
"""One avoirdupois pound, kg; exact. NIST SP 811 (2008), Appendix B."""

FOOT_M: Final = 0.3048
"""One foot, m; exact. NIST SP 811 (2008), Appendix B."""

INCH_OF_MERCURY_PA: Final = 3386.388640341
"""One conventional inch of mercury (13,595.1 kg/m3, 9.80665 m/s2), Pa. NIST SP 811 (2008)."""

STANDARD_AIR_DENSITY_KG_M3: Final = 0.075 * POUND_KG / FOOT_M**3
"""Standard air, 0.075 lb/ft3 = 1.2014 kg/m3. AMCA 210, ASHRAE 41.2 (definition)."""

REFERENCE_DRY_BULB_C: Final = (70.0 - 32.0) / 1.8
"""70 degF, the reference temperature of an instrument that states none. Common practice."""

REFERENCE_PRESSURE_PA: Final = 29.921 * INCH_OF_MERCURY_PA
"""29.921 inHg, the reference pressure of an instrument that states none. Common practice."""

SEA_LEVEL_PRESSURE_PA: Final = 101325.0
"""The standard atmosphere at sea level. US Standard Atmosphere 1976."""

DRY_AIR_GAS_CONSTANT_J_KG_K: Final = 287.042
"""Specific gas constant of dry air. ASHRAE Handbook Fundamentals 2017, chapter 1, Eq. 1 (older
editions print 287.055, which is 0.005 % further from the real gas)."""

VAPOUR_LIGHTNESS: Final = 0.378
"""One less the ratio of the molar masses of water and dry air, 1 - 0.622. Common practice."""

STATION_PRESSURE_RELATIVE_UNCERTAINTY: Final = 0.01
"""Standard uncertainty of a pressure known from elevation only: the weather. Common practice."""

# ASHRAE Handbook Fundamentals 2017, chapter 1, Eq. 3, with one digit more in the exponent
# (from memory; the handbook prints 5.2559).
_LAPSE_PER_M = 2.25577e-5
_LAPSE_EXPONENT = 5.25588
_LOWEST_ELEVATION_M = -5000.0
_HIGHEST_ELEVATION_M = 11000.0


def moist_air_density_kg_m3(
    *,
    dry_bulb_c: npt.ArrayLike,
    pressure_pa: npt.ArrayLike,
    vapour_pressure_pa: npt.ArrayLike | None = None,
    relative_humidity: npt.ArrayLike | None = None,
) -> FloatArray:
    """Return the density of moist air, vapour included.

    Parameters
    ----------
    dry_bulb_c
        Scalar or array, degC, from -100 to 200.
    pressure_pa
        Scalar or array, absolute pressure in the section (barometric plus duct static), Pa,
        above 0.
    vapour_pressure_pa
        Scalar or array, Pa, at least 0, below the total pressure.
    relative_humidity
        Scalar or array, ratio, 0 to 1, in place of the vapour pressure.

    Returns
    -------
    Broadcast shape, kg/m3.

    Raises
    ------
    ValueError
        If an argument is impossible, or not exactly one humidity is given.

    Notes
    -----
    rho = (p - 0.378 e)/(287.042 T), two ideal gases: within 0.075 % of real-gas moist air
    from -10 to 50 degC and 0 to 3000 m. Source: ASHRAE Handbook Fundamentals, chapter 1.

    Examples
    --------
    >>> round(float(moist_air_density_kg_m3(dry_bulb_c=20.0, pressure_pa=101325.0,
    ...                                     relative_humidity=0.5)), 4)
    1.1989
    """
    if (vapour_pressure_pa is None) == (relative_humidity is None):
        raise ValueError("give vapour_pressure_pa or relative_humidity, one of the two")
    temperature = checked("dry_bulb_c", dry_bulb_c, "degC", at_least=COLDEST_C, at_most=HOTTEST_C)
    if relative_humidity is not None:
        vapour_pressure_pa = vapour_pressure_from_relative_humidity_pa(
            relative_humidity=relative_humidity, dry_bulb_c=temperature
        )
    assert vapour_pressure_pa is not None
    vapour, pressure = checked_pressures(vapour_pressure_pa, pressure_pa)
    return unwrapped(
        (pressure - VAPOUR_LIGHTNESS * vapour)
        / (DRY_AIR_GAS_CONSTANT_J_KG_K * (temperature + ZERO_CELSIUS_K))
    )


def pressure_from_elevation_pa(elevation_m: npt.ArrayLike) -> FloatArray:
    """Return the standard barometric pressure at an elevation.

    Parameters
    ----------
    elevation_m
        Scalar or array, above sea level, m, from -5000 to 11000.

    Returns
    -------
    Shape of the input, Pa; the weather moves it by some
    `STATION_PRESSURE_RELATIVE_UNCERTAINTY`.

    Raises
    ------
    ValueError
        Outside the range of the formula.

    Notes
    -----
    Source: ASHRAE Handbook Fundamentals 2017, chapter 1, Eq. 3. Runs up to 0.025 % below the
    1976 standard atmosphere, which counts geopotential height.

    Examples
    --------
    >>> round(float(pressure_from_elevation_pa(1600.0)))
    83524
    """
    elevation = checked(
        "elevation_m",
        elevation_m,
        "m",
        at_least=_LOWEST_ELEVATION_M,
        at_most=_HIGHEST_ELEVATION_M,
    )
    return unwrapped(SEA_LEVEL_PRESSURE_PA * (1.0 - _LAPSE_PER_M * elevation) ** _LAPSE_EXPONENT)


def elevation_from_pressure_m(pressure_pa: npt.ArrayLike) -> FloatArray:
    """Return the elevation at which a barometric pressure is standard.

    Parameters
    ----------
    pressure_pa
        Scalar or array, Pa, above 0.

    Returns
    -------
    Shape of the input, m.

    Raises
    ------
    ValueError
        If the pressure isn't positive.

    Notes
    -----
    Source: the inverse of `pressure_from_elevation_pa`.

    Examples
    --------
    >>> round(float(elevation_from_pressure_m(83524.0)))
    1600
    """
    pressure = checked("pressure_pa", pressure_pa, "Pa", above=0.0)
    ratio = pressure / SEA_LEVEL_PRESSURE_PA
    return unwrapped((1.0 - ratio ** (1.0 / _LAPSE_EXPONENT)) / _LAPSE_PER_M)


def specific_heat_j_kg_k(humidity_ratio: npt.ArrayLike = 0.0) -> FloatArray:
    """Return the specific heat of moist air, for each kilogram of moist air.

    Parameters
    ----------
    humidity_ratio
        Scalar or array, kg of vapour for each kg of dry air, at least 0.

    Returns
    -------
    Shape of the input, J/(kg K).

    Raises
    ------
    ValueError
        If the ratio is negative.

    Notes
    -----
    (1.006 + 1.86 W)/(1 + W) kJ/(kg K): ASHRAE Handbook Fundamentals 2017, chapter 1, Eq. 30,
    brought from dry to moist air so that it goes with `moist_air_density_kg_m3`.

    Examples
    --------
    >>> float(specific_heat_j_kg_k(0.0))
    1006.0
    """
    ratio = checked("humidity_ratio", humidity_ratio, "kg/kg", at_least=0.0)
    return unwrapped(1000.0 * (1.006 + 1.86 * ratio) / (1.0 + ratio))

"""Water vapour in air: saturation, and the vapour pressure from any humidity that is measured.

Over ice below 0 degC. Relative humidity is a ratio from 0 to 1.
"""

from typing import Final

import numpy as np
import numpy.typing as npt

from airflow_jobs.calc.quantities import FloatArray, checked, unwrapped

ZERO_CELSIUS_K: Final = 273.15

MOLAR_MASS_RATIO: Final = 0.621945
"""Water over dry air. ASHRAE Handbook Fundamentals 2017, chapter 1, Eq. 20."""

COLDEST_C: Final = -100.0
HOTTEST_C: Final = 200.0

# ASHRAE Handbook Fundamentals 2017, chapter 1, Eqs. 5 and 6, after Hyland and Wexler (1983):
# ln p = sum of c_k T^k for k = -1, 0, 1, ... and the last coefficient times ln T; T in K, p in Pa.
_OVER_ICE = (
    -5.6745359e3,
    6.3925247e0,
    -9.677843e-3,
    6.2215701e-7,
    2.0747825e-9,
    -9.484024e-13,
    4.1635019e0,
)
_OVER_WATER = (
    -5.8002206e3,
    1.3914993e0,
    -4.8640239e-2,
    4.1764768e-5,
    -1.4452093e-8,
    0.0,
    6.5459673e0,
)


def saturation_pressure_pa(temperature_c: npt.ArrayLike) -> FloatArray:
    """Return the saturation pressure of water vapour, over ice below 0 degC.

    Parameters
    ----------
    temperature_c
        Scalar or array, degC, from -100 to 200.

    Returns
    -------
    Shape of the input, Pa.

    Raises
    ------
    ValueError
        Outside the range of the formulas.

    Notes
    -----
    Source: Hyland and Wexler, ASHRAE Transactions 89(2A) (1983); ASHRAE Handbook
    Fundamentals 2017, chapter 1, Eqs. 5 and 6.

    Examples
    --------
    >>> round(float(saturation_pressure_pa(25.0)), 1)
    3169.2
    """
    temperature = checked(
        "temperature_c", temperature_c, "degC", at_least=COLDEST_C, at_most=HOTTEST_C
    )
    kelvin = temperature + ZERO_CELSIUS_K
    logarithm = np.where(
        temperature < 0.0, _log_pressure(kelvin, _OVER_ICE), _log_pressure(kelvin, _OVER_WATER)
    )
    return unwrapped(np.exp(logarithm))


def vapour_pressure_from_relative_humidity_pa(
    *, relative_humidity: npt.ArrayLike, dry_bulb_c: npt.ArrayLike
) -> FloatArray:
    """Return the vapour pressure of air of known relative humidity.

    Parameters
    ----------
    relative_humidity
        Scalar or array, ratio, 0 to 1.
    dry_bulb_c
        Scalar or array, degC, from -100 to 200.

    Returns
    -------
    Broadcast shape, Pa.

    Raises
    ------
    ValueError
        If an argument is out of its range.

    Notes
    -----
    Source: definition; ASHRAE Handbook Fundamentals 2017, chapter 1, Eq. 22.

    Examples
    --------
    >>> round(float(vapour_pressure_from_relative_humidity_pa(relative_humidity=0.5,
    ...                                                       dry_bulb_c=25.0)), 1)
    1584.6
    """
    humidity = checked("relative_humidity", relative_humidity, "1", at_least=0.0, at_most=1.0)
    return unwrapped(humidity * saturation_pressure_pa(dry_bulb_c))


def relative_humidity(
    *, vapour_pressure_pa: npt.ArrayLike, dry_bulb_c: npt.ArrayLike
) -> FloatArray:
    """Return the relative humidity of air of known vapour pressure.

    Parameters
    ----------
    vapour_pressure_pa
        Scalar or array, Pa, at least 0.
    dry_bulb_c
        Scalar or array, degC, from -100 to 200.

    Returns
    -------
    Broadcast shape, ratio; over 1 where the pressure exceeds saturation.

    Raises
    ------
    ValueError
        If an argument is out of its range.

    Notes
    -----
    Source: definition; the inverse of `vapour_pressure_from_relative_humidity_pa`.

    Examples
    --------
    >>> round(float(relative_humidity(vapour_pressure_pa=1584.6, dry_bulb_c=25.0)), 3)
    0.5
    """
    vapour = checked("vapour_pressure_pa", vapour_pressure_pa, "Pa", at_least=0.0)
    return unwrapped(vapour / saturation_pressure_pa(dry_bulb_c))


def vapour_pressure_from_dew_point_pa(
    *, dew_point_c: npt.ArrayLike, dry_bulb_c: npt.ArrayLike
) -> FloatArray:
    """Return the vapour pressure of air of known dew point (frost point below 0 degC).

    Parameters
    ----------
    dew_point_c
        Scalar or array, degC, at least -100, at most the dry bulb.
    dry_bulb_c
        Scalar or array, degC.

    Returns
    -------
    Broadcast shape, Pa.

    Raises
    ------
    ValueError
        If the dew point is above the dry bulb or out of range.

    Notes
    -----
    Source: definition; ASHRAE Handbook Fundamentals 2017, chapter 1.

    Examples
    --------
    >>> round(float(vapour_pressure_from_dew_point_pa(dew_point_c=10.0, dry_bulb_c=25.0)), 1)
    1228.0
    """
    dry, dew = np.broadcast_arrays(
        checked("dry_bulb_c", dry_bulb_c, "degC", at_least=COLDEST_C, at_most=HOTTEST_C),
        checked("dew_point_c", dew_point_c, "degC", at_least=COLDEST_C, at_most=HOTTEST_C),
    )
    _refuse_above("dew_point_c", dew, dry)
    return unwrapped(np.where(np.isnan(dry), np.nan, saturation_pressure_pa(dew)))


def vapour_pressure_from_wet_bulb_pa(
    *, wet_bulb_c: npt.ArrayLike, dry_bulb_c: npt.ArrayLike, pressure_pa: npt.ArrayLike
) -> FloatArray:
    """Return the vapour pressure of air of known wet bulb (iced below 0 degC).

    Parameters
    ----------
    wet_bulb_c
        Scalar or array, degC, at least -100, at most the dry bulb.
    dry_bulb_c
        Scalar or array, degC.
    pressure_pa
        Scalar or array, barometric, Pa, above 0.

    Returns
    -------
    Broadcast shape, Pa.

    Raises
    ------
    ValueError
        If the wet bulb is above the dry bulb, or lower than dry air would show.

    Notes
    -----
    Source: ASHRAE Handbook Fundamentals 2017, chapter 1, Eqs. 33 and 35.

    Examples
    --------
    >>> round(float(vapour_pressure_from_wet_bulb_pa(wet_bulb_c=20.0, dry_bulb_c=40.0,
    ...                                              pressure_pa=101325.0)))
    1032
    """
    wet, dry, pressure = np.broadcast_arrays(
        checked("wet_bulb_c", wet_bulb_c, "degC", at_least=COLDEST_C, at_most=HOTTEST_C),
        checked("dry_bulb_c", dry_bulb_c, "degC", at_least=COLDEST_C, at_most=HOTTEST_C),
        checked("pressure_pa", pressure_pa, "Pa", above=0.0),
    )
    _refuse_above("wet_bulb_c", wet, dry)
    saturated = np.asarray(
        humidity_ratio(vapour_pressure_pa=saturation_pressure_pa(wet), pressure_pa=pressure)
    )
    over_water = ((2501.0 - 2.326 * wet) * saturated - 1.006 * (dry - wet)) / (
        2501.0 + 1.86 * dry - 4.186 * wet
    )
    over_ice = ((2830.0 - 0.24 * wet) * saturated - 1.006 * (dry - wet)) / (
        2830.0 + 1.86 * dry - 2.1 * wet
    )
    ratio = np.where(wet < 0.0, over_ice, over_water)
    if np.any(ratio < 0.0):
        first = ratio < 0.0
        raise ValueError(
            f"wet_bulb_c is {wet[first].flat[0]:g} degC; at a dry bulb of "
            f"{dry[first].flat[0]:g} degC even dry air shows a higher one"
        )
    return vapour_pressure_from_humidity_ratio_pa(humidity_ratio=ratio, pressure_pa=pressure)


def humidity_ratio(*, vapour_pressure_pa: npt.ArrayLike, pressure_pa: npt.ArrayLike) -> FloatArray:
    """Return the mass of vapour for each mass of dry air.

    Parameters
    ----------
    vapour_pressure_pa
        Scalar or array, Pa, at least 0, below the total pressure.
    pressure_pa
        Scalar or array, total, Pa, above 0.

    Returns
    -------
    Broadcast shape, kg/kg.

    Raises
    ------
    ValueError
        If an argument is impossible.

    Notes
    -----
    Source: ASHRAE Handbook Fundamentals 2017, chapter 1, Eq. 20 (ideal gases).

    Examples
    --------
    >>> round(float(humidity_ratio(vapour_pressure_pa=1584.6, pressure_pa=101325.0)), 5)
    0.00988
    """
    vapour, pressure = checked_pressures(vapour_pressure_pa, pressure_pa)
    return unwrapped(MOLAR_MASS_RATIO * vapour / (pressure - vapour))


def vapour_pressure_from_humidity_ratio_pa(
    *, humidity_ratio: npt.ArrayLike, pressure_pa: npt.ArrayLike
) -> FloatArray:
    """Return the vapour pressure of air of known humidity ratio.

    Parameters
    ----------
    humidity_ratio
        Scalar or array, kg of vapour for each kg of dry air, at least 0.
    pressure_pa
        Scalar or array, total, Pa, above 0.

    Returns
    -------
    Broadcast shape, Pa.

    Raises
    ------
    ValueError
        If an argument is impossible.

    Notes
    -----
    Source: the inverse of `humidity_ratio`.

    Examples
    --------
    >>> round(float(vapour_pressure_from_humidity_ratio_pa(humidity_ratio=0.00988,
    ...                                                    pressure_pa=101325.0)))
    1584
    """
    ratio = checked("humidity_ratio", humidity_ratio, "kg/kg", at_least=0.0)
    pressure = checked("pressure_pa", pressure_pa, "Pa", above=0.0)
    return unwrapped(pressure * ratio / (MOLAR_MASS_RATIO + ratio))


def _log_pressure(kelvin: FloatArray, c: tuple[float, ...]) -> FloatArray:
    polynomial = c[1] + kelvin * (c[2] + kelvin * (c[3] + kelvin * (c[4] + kelvin * c[5])))
    logarithm: FloatArray = c[0] / kelvin + polynomial + c[6] * np.log(kelvin)
    return logarithm


def checked_pressures(
    vapour_pressure_pa: npt.ArrayLike, pressure_pa: npt.ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Return both pressures as arrays, or refuse vapour that outweighs the whole.

    Parameters
    ----------
    vapour_pressure_pa
        Scalar or array, Pa, at least 0, below the total pressure.
    pressure_pa
        Scalar or array, total, Pa, above 0.

    Returns
    -------
    (vapour pressure, total pressure), each in its own shape, Pa.

    Raises
    ------
    ValueError
        If a pressure is impossible.

    Examples
    --------
    >>> checked_pressures(1000.0, 100000.0)
    (array(1000.), array(100000.))
    """
    vapour = checked("vapour_pressure_pa", vapour_pressure_pa, "Pa", at_least=0.0)
    pressure = checked("pressure_pa", pressure_pa, "Pa", above=0.0)
    too_wet = vapour >= pressure
    if np.any(too_wet):
        first = np.broadcast_to(vapour, too_wet.shape)[too_wet].flat[0]
        limit = np.broadcast_to(pressure, too_wet.shape)[too_wet].flat[0]
        raise ValueError(
            f"vapour_pressure_pa is {first:g} Pa; it must be below the total pressure, {limit:g} Pa"
        )
    return vapour, pressure


def _refuse_above(name: str, value: FloatArray, dry_bulb: FloatArray) -> None:
    above = value > dry_bulb
    if np.any(above):
        raise ValueError(
            f"{name} is {value[above].flat[0]:g} degC; it must be at most the dry bulb, "
            f"{dry_bulb[above].flat[0]:g} degC"
        )

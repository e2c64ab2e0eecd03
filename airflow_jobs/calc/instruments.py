"""What an instrument is, for many traverses at once: principle, what it shows and compensates.

Words become small integers once, so that a hundred thousand traverses are a few array
operations. Every field holds one value a traverse, or one for all.
"""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from airflow_jobs.calc.air import (
    REFERENCE_DRY_BULB_C,
    REFERENCE_PRESSURE_PA,
    moist_air_density_kg_m3,
)
from airflow_jobs.calc.quantities import FloatArray, checked

CodeArray = npt.NDArray[np.int8]

PRINCIPLES: Final = ("thermal", "vane", "pitot")
THERMAL, VANE, PITOT = range(3)

SHOWS: Final = ("standard_velocity", "actual_velocity", "unknown")
STANDARD_VELOCITY, ACTUAL_VELOCITY, SHOWS_UNKNOWN = range(3)

DIRECTION_RESPONSES: Final = ("cosine", "omnidirectional", "unknown")
COSINE, OMNIDIRECTIONAL, DIRECTION_UNKNOWN = range(3)

NOT_COMPENSATED, COMPENSATED, COMPENSATION_UNKNOWN = 0, 1, -1


@dataclass(frozen=True, slots=True)
class AirState:
    """The air in the section while it was measured.

    Attributes
    ----------
    dry_bulb_c, pressure_pa, vapour_pressure_pa
        Shape (N,) or scalars; degC, Pa absolute (barometric plus duct static), Pa.
    density_kg_m3
        Of that air, kg/m3.
    """

    dry_bulb_c: FloatArray
    pressure_pa: FloatArray
    vapour_pressure_pa: FloatArray
    density_kg_m3: FloatArray


@dataclass(frozen=True, slots=True)
class Instruments:
    """One instrument a traverse, or one for all, as codes and floats.

    Attributes
    ----------
    principle, shows
        Indexes into `PRINCIPLES` and `SHOWS`.
    compensates_temperature, compensates_pressure, compensates_humidity
        `COMPENSATED`, `NOT_COMPENSATED` or `COMPENSATION_UNKNOWN`.
    reference_dry_bulb_c, reference_pressure_pa
        What its display assumes for what it doesn't compensate, degC and Pa, dry air.
    gain, offset_m_s
        The calibration in force: true = gain x indicated + offset.
    """

    principle: CodeArray
    shows: CodeArray
    compensates_temperature: CodeArray
    compensates_pressure: CodeArray
    compensates_humidity: CodeArray
    reference_dry_bulb_c: FloatArray
    reference_pressure_pa: FloatArray
    gain: FloatArray
    offset_m_s: FloatArray

    @property
    def reference_density_kg_m3(self) -> FloatArray:
        """Density of dry air at the reference temperature and pressure, kg/m3."""
        return moist_air_density_kg_m3(
            dry_bulb_c=self.reference_dry_bulb_c,
            pressure_pa=self.reference_pressure_pa,
            vapour_pressure_pa=0.0,
        )


def air_state(
    *,
    dry_bulb_c: npt.ArrayLike,
    pressure_pa: npt.ArrayLike,
    vapour_pressure_pa: npt.ArrayLike,
) -> AirState:
    """Return the state of the air in the section, its density with it.

    Parameters
    ----------
    dry_bulb_c, pressure_pa, vapour_pressure_pa
        Shape (N,) or scalars, as for `air.moist_air_density_kg_m3`.

    Returns
    -------
    AirState

    Raises
    ------
    ValueError
        If a value is impossible.

    Notes
    -----
    Source: see `air.moist_air_density_kg_m3`.

    Examples
    --------
    >>> state = air_state(dry_bulb_c=20.0, pressure_pa=101325.0, vapour_pressure_pa=0.0)
    >>> round(float(state.density_kg_m3), 3)
    1.204
    """
    return AirState(
        np.asarray(dry_bulb_c, dtype=np.float64),
        np.asarray(pressure_pa, dtype=np.float64),
        np.asarray(vapour_pressure_pa, dtype=np.float64),
        moist_air_density_kg_m3(
            dry_bulb_c=dry_bulb_c, pressure_pa=pressure_pa, vapour_pressure_pa=vapour_pressure_pa
        ),
    )


def instruments(
    *,
    principle: Any,
    shows: Any = "actual_velocity",
    compensates_temperature: Any = None,
    compensates_pressure: Any = None,
    compensates_humidity: Any = None,
    reference_dry_bulb_c: npt.ArrayLike = np.nan,
    reference_pressure_pa: npt.ArrayLike = np.nan,
    gain: npt.ArrayLike = 1.0,
    offset_m_s: npt.ArrayLike = 0.0,
) -> Instruments:
    """Return instruments as codes and floats, from the words of the record.

    Parameters
    ----------
    principle
        `thermal`, `vane` or `pitot`; one word, an array of words (N,), or of their codes.
    shows
        `standard_velocity`, `actual_velocity` or `unknown`, likewise.
    compensates_temperature, compensates_pressure, compensates_humidity
        True, False or None for unknown; one value or an array (N,).
    reference_dry_bulb_c
        degC, scalar or (N,); NaN: 70 degF.
    reference_pressure_pa
        Pa, scalar or (N,); NaN: 29.921 inHg.
    gain
        Of the calibration, scalar or (N,), above 0.
    offset_m_s
        Of the calibration, scalar or (N,), m/s.

    Returns
    -------
    Instruments

    Raises
    ------
    ValueError
        For an unknown word, or a gain that isn't positive.

    Examples
    --------
    >>> meter = instruments(principle="thermal", shows="standard_velocity")
    >>> round(float(meter.reference_density_kg_m3), 3)
    1.2
    """
    dry_bulb = np.asarray(reference_dry_bulb_c, dtype=np.float64)
    pressure = np.asarray(reference_pressure_pa, dtype=np.float64)
    return Instruments(
        principle=codes("principle", principle, PRINCIPLES),
        shows=codes("shows", shows, SHOWS),
        compensates_temperature=compensation_codes(
            "compensates_temperature", compensates_temperature
        ),
        compensates_pressure=compensation_codes("compensates_pressure", compensates_pressure),
        compensates_humidity=compensation_codes("compensates_humidity", compensates_humidity),
        reference_dry_bulb_c=np.where(np.isnan(dry_bulb), REFERENCE_DRY_BULB_C, dry_bulb),
        reference_pressure_pa=np.where(np.isnan(pressure), REFERENCE_PRESSURE_PA, pressure),
        gain=checked("gain", gain, "1", above=0.0),
        offset_m_s=checked("offset_m_s", offset_m_s, "m/s"),
    )


def codes(name: str, words: Any, known: tuple[str, ...]) -> CodeArray:
    """Return the index of each word among the known ones.

    Parameters
    ----------
    name
        The argument's name, for the message.
    words
        One word, an array of words, or whole numbers that already are indexes.
    known
        The possible words, in the order of their codes.

    Returns
    -------
    Array of int8, the shape of `words`.

    Raises
    ------
    ValueError
        For a word or number that isn't among them.

    Examples
    --------
    >>> codes("principle", ["pitot", "vane"], PRINCIPLES)
    array([2, 1], dtype=int8)
    """
    array = np.asarray(words)
    if array.dtype.kind in "iu":
        wrong = (array < 0) | (array >= len(known))
        result = array.astype(np.int8)
    else:
        result = np.full(array.shape, -1, dtype=np.int8)
        for index, word in enumerate(known):
            result[array == word] = index
        wrong = result < 0
    if np.any(wrong):
        first = array[wrong].flat[0]
        raise ValueError(f"{name} is {str(first)!r}; it must be one of {', '.join(known)}")
    return result


def compensation_codes(name: str, answers: Any) -> CodeArray:
    """Return a code for each answer to "does it compensate this?".

    Parameters
    ----------
    name
        The argument's name, for the message.
    answers
        True, False or None (unknown); one or an array; or the codes themselves.

    Returns
    -------
    Array of int8: `COMPENSATED`, `NOT_COMPENSATED`, `COMPENSATION_UNKNOWN`.

    Raises
    ------
    ValueError
        For any other answer.

    Examples
    --------
    >>> compensation_codes("compensates_pressure", [True, False, None])
    array([ 1,  0, -1], dtype=int8)
    """
    array = np.asarray(answers)
    if array.dtype.kind == "O":
        unknown = np.array([answer is None for answer in array.flat], dtype=np.bool_)
        array = np.where(unknown.reshape(array.shape), COMPENSATION_UNKNOWN, array)
    try:
        result = array.astype(np.int8)
    except (TypeError, ValueError):
        raise ValueError(f"{name} is {answers!r}; it must be true, false or unknown") from None
    if np.any((result < COMPENSATION_UNKNOWN) | (result > COMPENSATED)) or np.any(result != array):
        raise ValueError(f"{name} is {answers!r}; it must be true, false or unknown")
    return result

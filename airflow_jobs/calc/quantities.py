"""The array type of the numerical core, and the check that a quantity is possible."""

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]


def checked(
    name: str,
    value: npt.ArrayLike,
    unit: str,
    *,
    at_least: float | None = None,
    at_most: float | None = None,
    above: float | None = None,
    below: float | None = None,
) -> FloatArray:
    """Return the value as an array of floats, or say which limit it breaks.

    Parameters
    ----------
    name
        The argument's name, as the caller wrote it.
    value
        Scalar or array of any shape; NaN stands for a missing value and passes.
    unit
        The unit, for the message.
    at_least, at_most
        Limits that themselves are allowed.
    above, below
        Limits that themselves are not allowed.

    Returns
    -------
    ndarray of float, the shape of `value`.

    Raises
    ------
    ValueError
        Naming the argument, the first offending value and the limit.

    Examples
    --------
    >>> checked("relative_humidity", 0.4, "1", at_least=0.0, at_most=1.0)
    array(0.4)
    """
    array = np.asarray(value, dtype=np.float64)
    limits = (
        (at_least, array < at_least if at_least is not None else None, "at least"),
        (at_most, array > at_most if at_most is not None else None, "at most"),
        (above, array <= above if above is not None else None, "above"),
        (below, array >= below if below is not None else None, "below"),
    )
    for limit, broken, wording in limits:
        if broken is not None and np.any(broken):
            first = array[broken].flat[0]
            raise ValueError(f"{name} is {first:g} {unit}; it must be {wording} {limit:g} {unit}")
    infinite = np.isinf(array)
    if np.any(infinite):
        raise ValueError(f"{name} is infinite; it must be a finite number of {unit}")
    return array


def unwrapped(array: npt.ArrayLike) -> FloatArray:
    """Return an array unchanged, but a zero-dimensional one as a numpy scalar.

    Parameters
    ----------
    array
        Array of any shape.

    Returns
    -------
    The same values; for a scalar input a `numpy.float64`, which is a Python float.

    Examples
    --------
    >>> float(unwrapped(np.asarray(2.5)))
    2.5
    """
    result: FloatArray = np.asarray(array, dtype=np.float64)[()]
    return result

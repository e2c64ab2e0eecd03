"""The published rules: positions across one side, or on one diameter, as fractions.

Every rule here gives each point the same weight.
"""

from functools import lru_cache
from typing import Literal

import numpy as np

from airflow_jobs.calc.quantities import FloatArray
from airflow_jobs.calc.sections import Shape

Rule = Literal["log_tchebycheff", "equal_area", "log_linear", "equal_annuli"]

RULES_BY_SHAPE: dict[Shape, tuple[Rule, ...]] = {
    "rectangular": ("log_tchebycheff", "equal_area"),
    "round": ("log_linear", "equal_annuli"),
    "flat_oval": ("log_tchebycheff", "equal_area"),
}

# ISO 3966, arithmetic methods clause, and ASHRAE 111 print the same three decimals (from
# memory; the formula below reproduces every digit). The printed digits are the rule: they
# are what a tape is set to and what others lay out.
LOG_TCHEBYCHEFF_PRINTED: dict[int, tuple[float, ...]] = {
    5: (0.074, 0.288, 0.5, 0.712, 0.926),
    6: (0.061, 0.235, 0.437, 0.563, 0.765, 0.939),
    7: (0.053, 0.203, 0.366, 0.5, 0.634, 0.797, 0.947),
}
LOG_LINEAR_PRINTED: dict[int, tuple[float, ...]] = {
    4: (0.043, 0.290, 0.710, 0.957),
    6: (0.032, 0.135, 0.321, 0.679, 0.865, 0.968),
    8: (0.021, 0.117, 0.184, 0.345, 0.655, 0.816, 0.883, 0.979),
    10: (0.019, 0.077, 0.153, 0.217, 0.361, 0.639, 0.783, 0.847, 0.923, 0.981),
}
# A Chebyshev rule of equal weights has real nodes only for 1 to 7 and 9 points (Bernstein
# 1937); a log-Tchebycheff rule has two more.
LOG_TCHEBYCHEFF_COUNTS = (3, 4, 5, 6, 7, 8, 9, 11)


def log_tchebycheff_fractions(count: int) -> tuple[float, ...]:
    """Return the log-Tchebycheff positions across one side of a rectangle.

    Parameters
    ----------
    count
        Number of lines or of points on a line: 3 to 9, or 11.

    Returns
    -------
    Fractions of the side from one inside face, rising; for 5, 6 and 7 the printed three decimals.

    Raises
    ------
    ValueError
        For a count that the rule doesn't exist for.

    Notes
    -----
    Outer points at 1/(n e), where a logarithmic law takes its mean over the outer 1/n of the
    side; inner ones by Chebyshev's equal-weight rule over the rest. Source: ISO 3966,
    arithmetic methods clause (from memory), reproduced from first principles.

    Examples
    --------
    >>> log_tchebycheff_fractions(5)
    (0.074, 0.288, 0.5, 0.712, 0.926)
    """
    if count not in LOG_TCHEBYCHEFF_COUNTS:
        raise ValueError(
            f"count is {count}; a log-Tchebycheff rule exists for 3 to 9 and for 11 lines or points"
        )
    return LOG_TCHEBYCHEFF_PRINTED.get(count) or log_tchebycheff_formula(count)


@lru_cache
def log_tchebycheff_formula(count: int) -> tuple[float, ...]:
    """Return the log-Tchebycheff positions from first principles, unrounded.

    Parameters
    ----------
    count
        Number of lines or points, one of `LOG_TCHEBYCHEFF_COUNTS`.

    Returns
    -------
    Fractions of the side from one inside face, rising.

    Notes
    -----
    Source: see `log_tchebycheff_fractions`.

    Examples
    --------
    >>> [round(x, 4) for x in log_tchebycheff_formula(5)]
    [0.0736, 0.2879, 0.5, 0.7121, 0.9264]
    """
    outer = 1.0 / (count * np.e)
    half_width = 0.5 - 1.0 / count
    nodes = 0.5 + half_width * chebyshev_equal_weight_nodes(count - 2)
    return (outer, *(float(x) for x in nodes), 1.0 - outer)


def equal_area_fractions(count: int) -> tuple[float, ...]:
    """Return the centres of equal strips across one side.

    Parameters
    ----------
    count
        Number of strips, at least 1.

    Returns
    -------
    Fractions of the side from one inside face, rising.

    Raises
    ------
    ValueError
        For a count below 1.

    Notes
    -----
    Source: common practice (geometry); matrix layouts of 40 CFR 60 Appendix A-1, Method 1.

    Examples
    --------
    >>> equal_area_fractions(4)
    (0.125, 0.375, 0.625, 0.875)
    """
    if count < 1:
        raise ValueError(f"count is {count}; an equal-area rule needs at least 1")
    return tuple((i + 0.5) / count for i in range(count))


def log_linear_fractions(points_per_diameter: int) -> tuple[float, ...]:
    """Return the log-linear positions on one diameter of a round duct.

    Parameters
    ----------
    points_per_diameter
        4, 6, 8 or 10 (2, 3, 4 or 5 a radius).

    Returns
    -------
    Fractions of the inside diameter from the inside face, rising, the printed three decimals.

    Raises
    ------
    ValueError
        For another count.

    Notes
    -----
    Source: Winternitz and Fischl, "A simplified integration technique for pipe-flow
    measurement", Water Power 9 (1957); ISO 3966, arithmetic methods clause (from memory).
    A pair of points for every two equal rings, exact for v = a + b y + c ln y; with an odd
    number of rings the outermost has one point, exact for a logarithmic law.

    Examples
    --------
    >>> log_linear_fractions(6)
    (0.032, 0.135, 0.321, 0.679, 0.865, 0.968)
    """
    if points_per_diameter not in LOG_LINEAR_PRINTED:
        raise ValueError(
            f"points_per_diameter is {points_per_diameter}; a log-linear rule has 4, 6, 8 or 10"
        )
    return LOG_LINEAR_PRINTED[points_per_diameter]


def equal_annuli_fractions(points_per_diameter: int) -> tuple[float, ...]:
    """Return the positions on one diameter that halve each of the equal rings by area.

    Parameters
    ----------
    points_per_diameter
        Even, at least 2.

    Returns
    -------
    Fractions of the inside diameter from the inside face, rising.

    Raises
    ------
    ValueError
        For an odd count or one below 2.

    Notes
    -----
    x/D = (1 -+ sqrt((2i - 1)/N))/2 with N points a diameter: 40 CFR 60 Appendix A-1, Method 1,
    Table 1-2 (from memory; every printed entry is this formula to 0.1 %).

    Examples
    --------
    >>> [round(x, 3) for x in equal_annuli_fractions(4)]
    [0.067, 0.25, 0.75, 0.933]
    """
    if points_per_diameter < 2 or points_per_diameter % 2:
        raise ValueError(
            f"points_per_diameter is {points_per_diameter}; an equal-annuli rule needs an even "
            "number, at least 2"
        )
    rings = points_per_diameter // 2
    near = [0.5 * (1.0 - ((2 * i - 1) / points_per_diameter) ** 0.5) for i in range(rings, 0, -1)]
    return (*near, *(1.0 - x for x in reversed(near)))


def chebyshev_equal_weight_nodes(count: int) -> FloatArray:
    """Return the nodes on [-1, 1] whose plain mean is exact for polynomials up to their number.

    Parameters
    ----------
    count
        Number of nodes, 1 to 7 or 9; others have no real nodes.

    Returns
    -------
    Shape (count,), rising.

    Notes
    -----
    Newton's identities turn the wanted power sums into a polynomial whose roots the nodes are.
    Source: Chebyshev (1874); Abramowitz and Stegun, 25.4.28 (from memory).

    Examples
    --------
    >>> chebyshev_equal_weight_nodes(3).round(4).tolist()
    [-0.7071, 0.0, 0.7071]
    """
    power_sums = [0.0] + [0.0 if k % 2 else count / (k + 1) for k in range(1, count + 1)]
    symmetric = [1.0]
    for k in range(1, count + 1):
        total = sum((-1) ** (i - 1) * symmetric[k - i] * power_sums[i] for i in range(1, k + 1))
        symmetric.append(total / k)
    roots = np.sort(np.real(np.roots([(-1) ** k * e for k, e in enumerate(symmetric)])))
    nodes: FloatArray = 0.5 * (roots - roots[::-1])
    return nodes

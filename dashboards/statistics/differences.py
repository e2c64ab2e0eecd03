"""Whether a few systems differ: all pairs of means, their intervals allowing for one another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit


@dataclass(frozen=True, slots=True)
class Difference:
    """The second mean less the first, of one pair."""

    first: int
    second: int
    """Numbers of the groups."""
    size: float
    low: float
    high: float
    """Ends of the interval: all pairs' hold at once with the level; infinite where one group has
    fewer than two values, NaN where one has none."""

    @property
    def is_sure(self) -> bool:
        """Whether the interval leaves 0 out."""
        return self.low > 0.0 or self.high < 0.0


def pairwise_differences(
    groups: Sequence[ArrayLike], *, level: float = 0.95, least_sd: float = 0.0
) -> tuple[Difference, ...]:
    """Return the differences of the means of all pairs, with intervals that hold all at once.

    Parameters
    ----------
    groups
        Values of each group, two groups or more; each of shape (n,), NaN is left out.
    level
        Confidence, between 0 and 1.
    least_sd
        Standard deviation of a single value below which a group's own is not believed: a few
        values may agree by chance more closely than they were measured.

    Raises
    ------
    ValueError
        If there are fewer than two groups or the level is not between 0 and 1.

    Notes
    -----
    A. C. Tamhane, J. Am. Stat. Assoc. 74 (1979) 471, procedure T2: B. L. Welch's interval
    (Biometrika 29 (1938) 350), its level raised to the power of one over the number of pairs
    (Z. Sidak, J. Am. Stat. Assoc. 62 (1967) 626). For two groups that is Welch's.

    Examples
    --------
    >>> (one,) = pairwise_differences([[1.0, 2.0, 3.0], [4.0, 5.0, 6.0]])
    >>> one.size, round(one.low, 2), round(one.high, 2)
    (3.0, 0.73, 5.27)
    """
    if len(groups) < 2:
        raise ValueError("groups must be two or more")
    if not 0.0 < level < 1.0:
        raise ValueError(f"level must be between 0 and 1, not {level}")
    values = [np.asarray(group, float) for group in groups]
    known = [group[np.isfinite(group)] for group in values]
    means = [float(np.mean(group)) if group.size else np.nan for group in known]
    squares = [
        max(float(np.var(group, ddof=1)), least_sd**2) / group.size if group.size > 1 else np.inf
        for group in known
    ]
    pairs = len(known) * (len(known) - 1) // 2
    each = level ** (1.0 / pairs)
    found = []
    for first, second in combinations(range(len(known)), 2):
        size = means[second] - means[first]
        both = squares[first] + squares[second]
        if not np.isfinite(size):
            half = np.nan
        elif not np.isfinite(both):
            half = np.inf
        elif both == 0.0:
            half = 0.0
        else:
            freedom = both**2 / sum(
                squares[index] ** 2 / (known[index].size - 1) for index in (first, second)
            )
            half = float(stdtrit(freedom, 0.5 + each / 2.0)) * float(np.sqrt(both))
        found.append(Difference(first, second, size, size - half, size + half))
    return tuple(found)

"""The uncertainty budget: named components into one interval, and what would narrow it.

Source: JCGM 100:2008, Guide to the expression of uncertainty in measurement, sections 5 and 6 and
Annex G (effective degrees of freedom after Welch and Satterthwaite, G.4).
"""

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from scipy.special import stdtrit

from airflow_jobs.calc.quantities import BoolArray, FloatArray

SharedBy = Literal["meter", "section", "air", "nothing"]
COVERAGE_PROBABILITY: Final = 0.95
POSITION_DEGREES_OF_FREEDOM: Final = 20.0


@dataclass(frozen=True)
class Component:
    """One line of the budget.

    Attributes
    ----------
    name : str
    shared_by : {'meter', 'section', 'air', 'nothing'}
        What two measurements must have in common to have this error in common.
    left_after : float
        Share of it that the remedy leaves.
    least : float
        Relative standard uncertainty below which the remedy doesn't bring it.
    noun : str
        What it is, in a sentence.
    remedy : str
        What would make it smaller, in a sentence.
    """

    name: str
    shared_by: SharedBy
    left_after: float
    least: float
    noun: str
    remedy: str


_BETTER_METER = 0.01 / 3.0**0.5

COMPONENTS: Final = (
    Component("spatial", "nothing", 0.5, 0.004, "where and how densely the flow was measured",
              "a straighter section or two more lines"),
    Component("calibration", "meter", 0.0, _BETTER_METER, "the accuracy of the meter",
              "a meter good to ±1 %"),
    Component("resolution", "nothing", 0.1, 0.0, "the last digit of the display",
              "a display with one digit more"),
    Component("alignment", "nothing", 0.25, 0.0, "the tilt of the probe",
              "holding the probe square to within 2°"),
    Component("position", "nothing", 0.5, 0.0, "the places of the holes and depths",
              "marking the shaft and drilling to within 2 mm"),
    Component("area", "section", 1.0 / 3.0, 0.0, "the inside size of the duct",
              "measuring the inside to ±1 mm"),
    Component("density", "air", 0.0, 0.002, "the density of the air",
              "measuring air temperature and barometric pressure at the duct"),
    Component("compensation", "meter", 0.0, 0.0, "not knowing what the meter corrects by itself",
              "finding out what the meter compensates"),
    Component("drift", "nothing", 0.5, 0.0, "the plant wandering during the traverse",
              "reading back and forth while the system runs steadily"),
    Component("sweep_pace", "nothing", 0.0, 0.0, "the uneven pace of the sweep",
              "reading point by point"),
    Component("sweep_gap", "nothing", 1.0 / 3.0, 0.0, "the strips that were not swept",
              "sweeping from wall to wall"),
    Component("time_weighting", "nothing", 0.0, 0.0, "an average that may have weighed lines by "
              "their time", "writing down each line's own mean"),
    Component("average_only", "nothing", 0.0, 0.012, "having one average and no profile",
              "writing down each line or point"),
    Component("dead_band", "meter", 0.0, 0.0, "readings too low for the sensor",
              "a section with more velocity, or a more sensitive meter"),
    Component("vane_drag", "meter", 0.0, 0.0, "the bearing drag of the vane at this density",
              "a section with more velocity"),
    Component("pitot_zero", "nothing", 0.2, 0.0, "the zero of the pressure meter",
              "zeroing before every line, or a section with more velocity"),
    Component("blades", "section", 0.0, 0.0, "blades close by that the grid is too coarse for",
              "seven lines and points or more, or a section further from the blades"),
    Component("disturbance", "section", 0.0, 0.0, "a disturbance close upstream",
              "a section further from it"),
)  # fmt: skip
COMPONENT_NAMES: Final = tuple(component.name for component in COMPONENTS)
_INDEX: Final = {name: index for index, name in enumerate(COMPONENT_NAMES)}


@dataclass(frozen=True)
class Budget:
    """Relative standard uncertainties of K components over N traverses, and their sum.

    Attributes
    ----------
    relative : ndarray, shape (K, N)
        In the order of `COMPONENT_NAMES`; zero where a component doesn't apply.
    relative_u : ndarray, shape (N,)
        Combined; NaN where there is no estimate above zero.
    degrees_of_freedom : ndarray, shape (N,)
        Effective; infinite where nothing finite enters.
    coverage_factor : ndarray, shape (N,)
    relative_u95 : ndarray, shape (N,)
        Half width of the 95 % interval over the best estimate.
    """

    relative: FloatArray
    relative_u: FloatArray
    degrees_of_freedom: FloatArray
    coverage_factor: FloatArray
    relative_u95: FloatArray

    @property
    def shares(self) -> FloatArray:
        """Share of each component in the variance, shape (K, N)."""
        shares: FloatArray = self.relative**2 / self.relative_u**2
        return shares

    def component(self, name: str) -> FloatArray:
        """One component by name, shape (N,)."""
        values: FloatArray = self.relative[_INDEX[name]]
        return values

    def shared_u(self, shared_by: SharedBy) -> FloatArray:
        """Combined relative standard uncertainty of what is shared in one way, shape (N,)."""
        chosen = [c.shared_by == shared_by for c in COMPONENTS]
        combined: FloatArray = np.sqrt(np.sum(self.relative[chosen] ** 2, axis=0))
        return combined


def combined_budget(
    components: dict[str, FloatArray], *, number: int, spatial_degrees_of_freedom: float
) -> Budget:
    """Combine components into an interval.

    Parameters
    ----------
    components : dict of name to ndarray
        Relative standard uncertainties, shape (N,) or scalar; those left out are zero.
    number : int
        N.
    spatial_degrees_of_freedom : float
        Of the component `spatial`; of `position` they are 20, of all others infinite.

    Returns
    -------
    Budget

    Raises
    ------
    ValueError
        For an unknown component.

    Notes
    -----
    Source: JCGM 100:2008, equations (10) and (G.2b).

    Examples
    --------
    >>> budget = combined_budget({"spatial": np.array([0.01]), "calibration": np.array([0.0173])},
    ...                          number=1, spatial_degrees_of_freedom=11.5)
    >>> round(float(budget.relative_u95[0]), 4)
    0.0394
    """
    relative = np.zeros((len(COMPONENTS), number))
    for name, values in components.items():
        if name not in _INDEX:
            raise ValueError(f"components has {name!r}; known are {', '.join(COMPONENT_NAMES)}")
        relative[_INDEX[name]] = values
    return _summed(relative, spatial_degrees_of_freedom)


def _summed(relative: FloatArray, spatial_degrees_of_freedom: float) -> Budget:
    finite = [_INDEX["spatial"], _INDEX["position"]]
    freedoms = np.array([spatial_degrees_of_freedom, POSITION_DEGREES_OF_FREEDOM])
    relative_u = np.sqrt(np.sum(relative**2, axis=0))
    freedom = welch_satterthwaite(relative_u, relative[finite], freedoms[:, None])
    factor = student_factor(freedom)
    return Budget(
        relative=relative,
        relative_u=relative_u,
        degrees_of_freedom=freedom,
        coverage_factor=factor,
        relative_u95=factor * relative_u,
    )


def budget_of_basis(actual: Budget, standard: Budget, is_actual: BoolArray) -> Budget:
    """Choose each traverse's budget by the basis of its target.

    Parameters
    ----------
    actual, standard : Budget
        Over the same N traverses.
    is_actual : ndarray of bool, shape (N,)

    Returns
    -------
    Budget
    """
    return Budget(
        relative=np.where(is_actual, actual.relative, standard.relative),
        relative_u=np.where(is_actual, actual.relative_u, standard.relative_u),
        degrees_of_freedom=np.where(
            is_actual, actual.degrees_of_freedom, standard.degrees_of_freedom
        ),
        coverage_factor=np.where(is_actual, actual.coverage_factor, standard.coverage_factor),
        relative_u95=np.where(is_actual, actual.relative_u95, standard.relative_u95),
    )


def welch_satterthwaite(
    combined_u: FloatArray, component_u: FloatArray, degrees_of_freedom: FloatArray
) -> FloatArray:
    """Effective degrees of freedom of a combined standard uncertainty.

    Parameters
    ----------
    combined_u : ndarray, shape (N,) or scalar
    component_u : ndarray, shape (K, N) or (K,)
        Contributions with finite degrees of freedom; others don't change the result.
    degrees_of_freedom : ndarray, broadcasting against `component_u`

    Returns
    -------
    ndarray, shape (N,) or scalar
        Infinite where no contribution has finite degrees of freedom.

    Notes
    -----
    Source: JCGM 100:2008, equation (G.2b).

    Examples
    --------
    >>> u = np.array([0.57, 0.25])
    >>> round(float(welch_satterthwaite(np.hypot(*u), u, np.array([9.0, np.inf]))), 1)
    12.8
    """
    spread = np.sum(np.asarray(component_u) ** 4 / degrees_of_freedom, axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        freedom = np.asarray(combined_u) ** 4 / spread
    return np.where(spread > 0.0, freedom, np.where(np.isnan(spread), np.nan, np.inf))


def student_factor(degrees_of_freedom: FloatArray) -> FloatArray:
    """Coverage factor of the two-sided 95 % interval of a Student distribution.

    Parameters
    ----------
    degrees_of_freedom : ndarray, above 0

    Returns
    -------
    ndarray

    Notes
    -----
    Source: JCGM 100:2008, Table G.2; computed, not read from the table.

    Examples
    --------
    >>> student_factor(np.array([4.0, np.inf])).round(3).tolist()
    [2.776, 1.96]
    """
    upper = 0.5 * (1.0 + COVERAGE_PROBABILITY)
    return np.asarray(stdtrit(degrees_of_freedom, upper), dtype=np.float64)


@dataclass(frozen=True)
class Narrowing:
    """What would narrow each interval most.

    Attributes
    ----------
    component : ndarray of int, shape (N,)
        Index into `COMPONENTS`; -1 where there is no interval.
    share : ndarray, shape (N,)
        Its share in the variance.
    relative_u95_after : ndarray, shape (N,)
        Half width that its remedy would leave, over the best estimate.
    """

    component: np.ndarray
    share: FloatArray
    relative_u95_after: FloatArray


def narrowing(budget: Budget, *, spatial_degrees_of_freedom: float) -> Narrowing:
    """Find the component whose remedy would narrow each interval most.

    Parameters
    ----------
    budget : Budget
    spatial_degrees_of_freedom : float
        As in `combined_budget`.

    Returns
    -------
    Narrowing

    Notes
    -----
    Source: what a remedy leaves is common practice, see `COMPONENTS`.
    """
    left = np.array([component.left_after for component in COMPONENTS])[:, None]
    least = np.array([component.least for component in COMPONENTS])[:, None]
    improved = np.minimum(budget.relative, np.maximum(left * budget.relative, least))
    gain = budget.relative**2 - improved**2
    has_interval = np.isfinite(budget.relative_u)
    best = np.argmax(np.where(has_interval, gain, 0.0), axis=0)
    columns = np.arange(best.size)
    after = budget.relative.copy()
    after[best, columns] = improved[best, columns]
    return Narrowing(
        component=np.where(has_interval, best, -1),
        share=budget.shares[best, columns],
        relative_u95_after=_summed(after, spatial_degrees_of_freedom).relative_u95,
    )


def narrowing_sentence(
    *, component: int, share: float, relative_u95: float, relative_u95_after: float
) -> str:
    """Say in one sentence what would narrow an interval most.

    Parameters
    ----------
    component : int
        Index into `COMPONENTS`.
    share, relative_u95, relative_u95_after : float
        As in `Narrowing` and `Budget`.

    Returns
    -------
    str

    Examples
    --------
    >>> narrowing_sentence(component=1, share=0.62, relative_u95=0.044, relative_u95_after=0.027)
    'Most is to be gained on the accuracy of the meter (62 % of the variance): with a meter good \
to ±1 % the interval would shrink from ±4.4 % to ±2.7 %.'
    """
    chosen = COMPONENTS[component]
    return (
        f"Most is to be gained on {chosen.noun} ({100 * share:.0f} % of the variance): with "
        f"{chosen.remedy} the interval would shrink from ±{100 * relative_u95:.1f} % to "
        f"±{100 * relative_u95_after:.1f} %."
    )


@dataclass(frozen=True)
class SummedFlow:
    """Several flows that add up to one system's.

    Attributes
    ----------
    flow_m3_s : float
    standard_uncertainty_m3_s : float
    """

    flow_m3_s: float
    standard_uncertainty_m3_s: float


def summed_flow(
    flow_m3_s: FloatArray,
    *,
    sign: FloatArray,
    own_relative_u: FloatArray,
    shared_relative_u: FloatArray,
    shared_with: np.ndarray,
) -> SummedFlow:
    """Add flows whose members may share errors.

    Parameters
    ----------
    flow_m3_s : ndarray, shape (k,), m3/s
        Standard flows of the members.
    sign : ndarray, shape (k,), 1 or -1
    own_relative_u : ndarray, shape (k,)
        Relative standard uncertainty of what each member has to itself.
    shared_relative_u : ndarray, shape (S, k)
        Relative standard uncertainties of what members may share, one row a cause (meter,
        air, section).
    shared_with : ndarray, shape (S, k)
        Whom they share it with: equal entries of one row share one error.

    Returns
    -------
    SummedFlow

    Notes
    -----
    Source: JCGM 100:2008, 5.2.2, full correlation within a group and none between.

    Examples
    --------
    >>> summed = summed_flow(np.array([1.0, 1.0]), sign=np.ones(2), own_relative_u=np.zeros(2),
    ...                      shared_relative_u=np.full((1, 2), 0.03),
    ...                      shared_with=np.array([[7, 7]]))
    >>> round(summed.standard_uncertainty_m3_s, 6)
    0.06
    """
    signed = np.asarray(flow_m3_s, dtype=float) * np.asarray(sign, dtype=float)
    variance = float(np.sum((signed * own_relative_u) ** 2))
    for relative, owners in zip(shared_relative_u, shared_with, strict=True):
        _, group = np.unique(owners, return_inverse=True)
        variance += float(np.sum(np.bincount(group, weights=signed * relative) ** 2))
    return SummedFlow(
        flow_m3_s=float(signed.sum()), standard_uncertainty_m3_s=float(np.sqrt(variance))
    )


def blades_are_resolved(*, lines: int, points_per_line: int, is_equal_area: bool) -> bool:
    """Whether a grid is fine enough for the wakes of blades close by.

    Parameters
    ----------
    lines, points_per_line : int
        Of a rectangle or oval. Which way the blades lie isn't known, so both must do; along a
        swept line there is no limit.
    is_equal_area : bool

    Returns
    -------
    bool
        True with seven by seven, in equal-area layouts with eight by eight.

    Notes
    -----
    Source: chosen on simulated duct fields; wakes finer than the grid can't be seen by it.
    """
    needed = 8 if is_equal_area else 7
    return min(lines, points_per_line) >= needed

"""The uncertainty budget: named components into one interval, and what would narrow it.

Source: JCGM 100:2008, Guide to the expression of uncertainty in measurement, sections 5 and 6 and
Annex G (effective degrees of freedom after Welch and Satterthwaite, G.4).
"""

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from airflow_jobs.calc.coverage_factor import student_factor, welch_satterthwaite
from airflow_jobs.calc.quantities import BoolArray, FloatArray

SharedBy = Literal["meter", "section", "air", "nothing"]
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
    Component("meter_change", "meter", 0.7, 0.0, "not knowing when the meter went off",
              "calibrations twice as often"),
    Component("resolution", "nothing", 0.1, 0.0, "the last digit of the display",
              "a display with one digit more"),
    Component("alignment", "nothing", 0.25, 0.0, "the tilt of the probe",
              "holding the probe square to within 2°"),
    Component("position", "nothing", 0.5, 0.0, "the places of the holes and depths",
              "marking the shaft and drilling to within 2 mm (0.08 in)"),
    Component("area", "section", 1.0 / 3.0, 0.0, "the inside size of the duct",
              "measuring the inside to ±1 mm (0.04 in)"),
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
    Component("time_weighting", "nothing", 0.0, 0.0, "an average in which some lines may have "
              "counted more than others", "writing down each line's own mean"),
    Component("average_only", "nothing", 0.0, 0.010, "having one average and no profile",
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
    return summed_budget(relative, spatial_degrees_of_freedom)


def summed_budget(relative: FloatArray, spatial_degrees_of_freedom: float) -> Budget:
    """Combine components that already stand in the order of the budget.

    Parameters
    ----------
    relative : ndarray, shape (K, N)
    spatial_degrees_of_freedom : float
        As in `combined_budget`.

    Returns
    -------
    Budget
    """
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

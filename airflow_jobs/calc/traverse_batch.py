"""What one evaluation takes in: N traverses that share a layout, a mode and a mask, as arrays."""

from dataclasses import dataclass, field
from typing import Literal, get_args

import numpy as np

from airflow_jobs.calc.air import STANDARD_AIR_DENSITY_KG_M3
from airflow_jobs.calc.instruments import (
    DIRECTION_RESPONSES,
    DIRECTION_UNKNOWN,
    CodeArray,
    Instruments,
    codes,
)
from airflow_jobs.calc.layouts import Plan
from airflow_jobs.calc.quantities import BoolArray, FloatArray
from airflow_jobs.calc.sections import DrilledSide

DEFAULT_DIMENSION_TOLERANCE_M = 0.003
"""Limit of error of a tape on a duct. Common practice."""

Mode = Literal["points", "sweeps", "average"]
TakenIn = Literal["line_by_line", "back_and_forth"]

PER_TRAVERSE_FLOATS = (
    "width_m",
    "height_m",
    "dimension_tolerance_m",
    "lining_thickness_m",
    "area_override_m2",
    "dry_bulb_c",
    "relative_humidity",
    "pressure_pa",
    "dry_bulb_u_c",
    "relative_humidity_u",
    "pressure_u_pa",
    "standard_density_kg_m3",
    "accuracy_relative",
    "accuracy_absolute_m_s",
    "gain_u",
    "offset_u_m_s",
    "resolution_m_s",
    "range_low_m_s",
    "range_high_m_s",
    "near_gap_m",
    "far_gap_m",
    "capacity_w",
    "target_low",
    "target_nominal",
    "target_high",
)
PER_TRAVERSE_FLAGS = (
    "is_velocity_pressure",
    "target_is_flow",
    "target_is_actual",
    "basis_is_makers_word",
    "carries_whole_flow",
    "blades_within_5_diameters",
    "disturbance_within_2_diameters",
    "depth_skew_is_possible",
)


def _not_known() -> FloatArray:
    return np.asarray(np.nan)


def _zero() -> FloatArray:
    return np.asarray(0.0)


def _no() -> BoolArray:
    return np.asarray(False)


def _yes() -> BoolArray:
    return np.asarray(True)


def _unknown_response() -> CodeArray:
    return np.asarray(DIRECTION_UNKNOWN, dtype=np.int8)


def _tape_tolerance() -> FloatArray:
    return np.asarray(DEFAULT_DIMENSION_TOLERANCE_M)


def _standard_air() -> FloatArray:
    return np.asarray(STANDARD_AIR_DENSITY_KG_M3)


@dataclass(frozen=True, kw_only=True)
class TraverseBatch:
    """N traverses of one plan, taken at the same normalised places, with the same ones missing.

    Every field called "per traverse" is one value for all or shape (N,), and is an array of
    shape (N,) once the batch is made.

    Attributes
    ----------
    plan : Plan
        Where the rule puts the points.
    taken : Plan or None
        Where they were taken, with as many lines and points; None: in their planned places.
    mode : {'points', 'sweeps', 'average'}
    drilled_side : {'width', 'height'}
        The side along which the holes are spaced; no matter in a round section.
    taken_in : {'line_by_line', 'back_and_forth'}
        In which order points were read; no matter for an average.
    is_depth_stamped : bool
        Sweeps whose readings are true depth means (in a round section: radius means), worked
        out from depth stamps, see `sweeps.line_mean_from_stamps_m_s` and
        `sweeps.radius_means_from_stamps_m_s`. A sweep of a round section must be.
    readings : ndarray, shape (N, k)
        As indicated, m/s, or Pa where velocity pressures; NaN where not taken, in the same
        columns for every traverse. points: k points, line by line in the plan's order;
        sweeps: one a line, or two a diameter (the hole's side first) in a round section;
        average: one.
    is_velocity_pressure : per traverse, bool
    instruments : Instruments
        One or N, calibration included.
    direction_response : per traverse, codes of `DIRECTION_RESPONSES` or words
    accuracy_relative, accuracy_absolute_m_s : per traverse
        Limits of error in force (the calibration's, or else the instrument's), ratio and m/s;
        NaN where not known.
    gain_u, offset_u_m_s : per traverse
        Standard uncertainties of gain and offset, of one cause, sign and all: of a meter that
        was found off later, see `meter_changes.meter_between`.
    resolution_m_s : per traverse
        Last digit of the display, m/s; NaN where not known.
    range_low_m_s, range_high_m_s : per traverse
        What the instrument is made for, m/s; NaN where not known.
    width_m, height_m : per traverse
        Inside sizes, m; both the diameter in a round section.
    dimension_tolerance_m : per traverse
        Limit of error of each inside size, m.
    lining_thickness_m : per traverse
        At each wall, m; 0 without.
    area_override_m2 : per traverse
        Free area that takes the place of the computed one, m2; NaN without.
    dry_bulb_c, relative_humidity, pressure_pa : per traverse
        Air in the section: degC; ratio 0 to 1; absolute (barometric plus duct static), Pa.
    dry_bulb_u_c, relative_humidity_u, pressure_u_pa : per traverse
        Their standard uncertainties.
    standard_density_kg_m3 : per traverse
        Of standard air, kg/m3.
    near_gap_m, far_gap_m : per traverse
        Sweeps and averages: unswept lengths at the drilled and at the far wall, m.
    depth_skew_is_possible : per traverse, bool
        Sweeps and averages: nothing says that the profile is even along the depth.
    capacity_w : per traverse
        Rated, or else nominal, W; NaN where none.
    target_low, target_nominal, target_high : per traverse
        Limits, m3/s per W; where `target_is_flow`, m3/s; NaN where none.
    target_is_flow : per traverse, bool
        The target is a design flow.
    target_is_actual : per traverse, bool
        On the basis of actual flow; else of standard flow.
    basis_is_makers_word : per traverse, bool
        The basis is the maker's word; else both bases are tried.
    carries_whole_flow : per traverse, bool
        False: "flow in this duct", not judged.
    blades_within_5_diameters : per traverse, bool
        A damper, vanes, coil face or straightener within five hydraulic diameters.
    disturbance_within_2_diameters : per traverse, bool
        Any disturbance within two hydraulic diameters upstream.
    """

    plan: Plan
    readings: FloatArray
    instruments: Instruments
    width_m: FloatArray
    height_m: FloatArray
    dry_bulb_c: FloatArray
    relative_humidity: FloatArray
    pressure_pa: FloatArray
    taken: Plan | None = None
    mode: Mode = "points"
    drilled_side: DrilledSide = "width"
    taken_in: TakenIn = "line_by_line"
    is_depth_stamped: bool = False
    is_velocity_pressure: BoolArray = field(default_factory=_no)
    direction_response: CodeArray = field(default_factory=_unknown_response)
    accuracy_relative: FloatArray = field(default_factory=_not_known)
    accuracy_absolute_m_s: FloatArray = field(default_factory=_not_known)
    gain_u: FloatArray = field(default_factory=_zero)
    offset_u_m_s: FloatArray = field(default_factory=_zero)
    resolution_m_s: FloatArray = field(default_factory=_not_known)
    range_low_m_s: FloatArray = field(default_factory=_not_known)
    range_high_m_s: FloatArray = field(default_factory=_not_known)
    dimension_tolerance_m: FloatArray = field(default_factory=_tape_tolerance)
    lining_thickness_m: FloatArray = field(default_factory=_zero)
    area_override_m2: FloatArray = field(default_factory=_not_known)
    dry_bulb_u_c: FloatArray = field(default_factory=_zero)
    relative_humidity_u: FloatArray = field(default_factory=_zero)
    pressure_u_pa: FloatArray = field(default_factory=_zero)
    standard_density_kg_m3: FloatArray = field(default_factory=_standard_air)
    near_gap_m: FloatArray = field(default_factory=_zero)
    far_gap_m: FloatArray = field(default_factory=_zero)
    depth_skew_is_possible: BoolArray = field(default_factory=_yes)
    capacity_w: FloatArray = field(default_factory=_not_known)
    target_low: FloatArray = field(default_factory=_not_known)
    target_nominal: FloatArray = field(default_factory=_not_known)
    target_high: FloatArray = field(default_factory=_not_known)
    target_is_flow: BoolArray = field(default_factory=_no)
    target_is_actual: BoolArray = field(default_factory=_no)
    basis_is_makers_word: BoolArray = field(default_factory=_no)
    carries_whole_flow: BoolArray = field(default_factory=_yes)
    blades_within_5_diameters: BoolArray = field(default_factory=_no)
    disturbance_within_2_diameters: BoolArray = field(default_factory=_no)

    def __post_init__(self) -> None:
        if self.mode not in get_args(Mode):
            raise ValueError(f"mode is {self.mode!r}; it must be points, sweeps or average")
        readings = np.asarray(self.readings, dtype=np.float64)
        if readings.ndim != 2 or readings.shape[1] != self.columns:
            raise ValueError(
                f"readings has shape {readings.shape}; for this plan and mode it must be "
                f"(N, {self.columns})"
            )
        if self.plan.shape == "round" and self.mode != "points" and not self.is_depth_stamped:
            raise ValueError(
                "mode is sweeps or average in a round section without depth stamps; a probe "
                "drawn along a diameter spends too little time in the outer rings, over-reads by "
                "5 to 30 %, and no factor mends that"
            )
        if self.mode == "average" and self.is_depth_stamped:
            raise ValueError("is_depth_stamped is true for an average; stamps belong to sweeps")
        if self.taken is not None:
            self._check_taken(self.taken)
        number = readings.shape[0]
        object.__setattr__(self, "readings", readings)
        for name in PER_TRAVERSE_FLOATS:
            self._spread(name, np.asarray(getattr(self, name), dtype=np.float64), number)
        for name in PER_TRAVERSE_FLAGS:
            self._spread(name, np.asarray(getattr(self, name), dtype=np.bool_), number)
        response = codes("direction_response", self.direction_response, DIRECTION_RESPONSES)
        self._spread("direction_response", response, number)
        missing = np.isnan(readings)
        if number and not (missing == missing[0]).all():
            raise ValueError("readings are missing in different columns; they must be the same")

    @property
    def columns(self) -> int:
        """How many readings a traverse has, missing ones included."""
        if self.mode == "points":
            return self.plan.number_of_points
        if self.mode == "average":
            return 1
        return len(self.plan.lines) * (2 if self.plan.shape == "round" else 1)

    @property
    def number(self) -> int:
        """N, how many traverses there are."""
        return int(self.readings.shape[0])

    def _check_taken(self, taken: Plan) -> None:
        if (taken.shape, len(taken.lines)) != (self.plan.shape, len(self.plan.lines)):
            raise ValueError(
                f"taken is a {taken.shape} plan of {len(taken.lines)} lines; it must be like the "
                f"plan, {self.plan.shape} of {len(self.plan.lines)}"
            )
        if self.mode == "points" and taken.number_of_points != self.plan.number_of_points:
            raise ValueError(
                f"taken has {taken.number_of_points} points; the plan has "
                f"{self.plan.number_of_points}"
            )

    def _spread(self, name: str, values: np.ndarray, number: int) -> None:
        if values.ndim > 1 or (values.ndim == 1 and values.size not in (1, number)):
            raise ValueError(
                f"{name} has shape {values.shape}; it must be one value or ({number},)"
            )
        object.__setattr__(self, name, np.broadcast_to(values.reshape(-1), (number,)))

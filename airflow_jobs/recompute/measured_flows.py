"""A traverse's flow with its doubt split by what other measurements share of it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from airflow_jobs.calc.traverse_results import Evaluation
from airflow_jobs.calc.uncertainty import COMPONENTS, Budget, SharedBy

from .air_states import DRY_BULB_U_C
from .inputs import TraverseInputs


@dataclass(frozen=True, slots=True)
class Doubt:
    """Relative standard uncertainty of a flow, split by what it is shared with."""

    own: float
    meter: float
    section: float
    air: float

    @property
    def total(self) -> float:
        """All of it."""
        return math.hypot(self.own, self.meter, self.section, self.air)

    def apart_from(self, *, same_meter: bool, same_section: bool, same_air: bool) -> float:
        """Return what is left where two measurements have these in common."""
        return math.hypot(
            self.own,
            0.0 if same_meter else self.meter,
            0.0 if same_section else self.section,
            0.0 if same_air else self.air,
        )


@dataclass(frozen=True, slots=True)
class MeasuredFlow:
    """The best estimate of one traverse's flow."""

    inputs: TraverseInputs
    standard_m3_s: float
    actual_m3_s: float
    standard_doubt: Doubt
    actual_doubt: Doubt
    coverage_factor: float
    """Of the 95 % interval of the standard flow."""
    indicative: bool

    def shares_air_with(self, other: MeasuredFlow) -> bool:
        """Whether the same thermometer and barometer stand behind both.

        Where a dry bulb had to be assumed for one of them, its error is that one's alone.
        """
        return all(item.inputs.air.dry_bulb_u_c == DRY_BULB_U_C for item in (self, other))


_PLACES: Final[dict[SharedBy, list[int]]] = {
    cause: [index for index, item in enumerate(COMPONENTS) if item.shared_by == cause]
    for cause in ("nothing", "meter", "section", "air")
}


def measured_flow(inputs: TraverseInputs, evaluation: Evaluation, row: int) -> MeasuredFlow | None:
    """Return the flow of one evaluated traverse, or None where there is none above zero."""
    standard = float(evaluation.best_estimate.standard_m3_s[row])
    actual = float(evaluation.best_estimate.actual_m3_s[row])
    budget = evaluation.budget_standard
    if not (standard > 0.0 and actual > 0.0 and math.isfinite(float(budget.relative_u[row]))):
        return None
    return MeasuredFlow(
        inputs=inputs,
        standard_m3_s=standard,
        actual_m3_s=actual,
        standard_doubt=_doubt(budget, row),
        actual_doubt=_doubt(evaluation.budget_actual, row),
        coverage_factor=float(budget.coverage_factor[row]),
        indicative=any(flags[row] for flags in evaluation.indicative_reasons.values()),
    )


def _doubt(budget: Budget, row: int) -> Doubt:
    squares = budget.relative[:, row] ** 2
    own, meter, section, air = (
        float(np.sqrt(squares[_PLACES[cause]].sum()))
        for cause in ("nothing", "meter", "section", "air")
    )
    return Doubt(own=own, meter=meter, section=section, air=air)

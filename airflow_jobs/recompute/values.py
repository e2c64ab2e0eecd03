"""What came out of an evaluation, written down as results keep it: plain SI numbers."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from airflow_jobs.calc.narrowing import narrowing_sentence
from airflow_jobs.calc.traverse_results import Evaluation, Interval
from airflow_jobs.calc.uncertainty import COMPONENT_NAMES, COMPONENTS
from airflow_jobs.findings import in_order
from airflow_jobs.models import Mode
from airflow_jobs.wording import percent

from .conclusions import Companions, conclusions
from .inputs import TraverseInputs
from .outcomes import Computed, finite, guard_band, judgement_columns, verdict_words
from .plausibility import Facts, findings_of

INDICATIVE_WORDS: Final = {
    "few_points": "fewer than four readings",
    "no_positive_estimate": "the estimate is not above zero",
    "line_missing": "a whole line is missing",
    "arm_missing": "a radius has no reading",
    "blades": "blades stand close by and the grid is too coarse for their wakes",
    "average_only": "only an overall average is known",
    "dead_band": "too many readings lie in the sensor's dead band",
}
STEP_NOTES: Final = {
    "positions": "Each reading counts for what its true place stands for.",
    "calibration": "Gain and offset of the calibration in force on that day.",
    "density": "From what the display assumes to the air as it was.",
    "sweep_gap": "Strips at the walls that the sweep did not reach.",
    "wall": "The slow layer at the wall that no probe sees.",
    "alignment": "A probe held by hand tilts a little and then reads low.",
}
DIFFERENCES: Final = {
    "wall": "the slow layer at the walls and between the points, which the rule cannot see",
    "alignment": "the tilt of a probe held by hand",
}
LEAST_WORTH_SAYING: Final = 0.0005
"""Below this relative difference the best estimate and the rule's average are the same."""


def computed(
    inputs: TraverseInputs, evaluation: Evaluation, row: int, companions: Companions
) -> Computed:
    """Write down one traverse's result."""
    rule, best = evaluation.by_rule, evaluation.best_estimate
    budget = evaluation.budget_judged
    conformity = evaluation.conformity
    verdict, leaning, probability = verdict_words(conformity, row)
    reasons = [
        INDICATIVE_WORDS.get(name, name.replace("_", " "))
        for name, flags in evaluation.indicative_reasons.items()
        if flags[row]
    ]
    found = findings_of(inputs, _facts(inputs, evaluation, row))
    concluded = conclusions(
        inputs,
        evaluation,
        row,
        verdict=verdict,
        leaning=leaning,
        said=found,
        companions=companions,
    )
    relative_u = finite(float(budget.relative_u[row]))
    values: dict[str, Any] = {
        "air_density": float(evaluation.air_density_kg_m3[row]),
        "standard_density": float(evaluation.standard_density_kg_m3[row]),
        "inside_area": float(evaluation.inside_area_m2[row]),
        "hydraulic_diameter": float(evaluation.hydraulic_diameter_m[row]),
        "velocity_indicated": finite(float(evaluation.velocity_indicated_m_s[row])),
        "velocity_mean": finite(float(rule.velocity_mean_m_s[row])),
        "velocity_max": finite(float(evaluation.velocity_max_m_s[row])),
        "flow_actual": finite(float(rule.actual_m3_s[row])),
        "flow_standard": finite(float(rule.standard_m3_s[row])),
        "mass_flow": finite(float(rule.mass_kg_s[row])),
        "flow_per_capacity": finite(float(rule.per_capacity_m3_s_per_w[row])),
        "best_estimate": _best(evaluation, row),
        "interval95": {
            "flow_actual": _interval(evaluation.interval_actual_m3_s, row),
            "flow_standard": _interval(evaluation.interval_standard_m3_s, row),
            "flow_per_capacity": _interval(evaluation.interval_per_capacity, row),
        },
        "indicative": bool(reasons),
        "indicative_because": reasons,
        "budget": _budget(evaluation, row),
        "narrow_it": _narrow_it(evaluation, row),
        "corrections": _corrections(inputs, evaluation, row),
        "target": inputs.aim.as_dict() if inputs.aim else None,
        "verdict": verdict,
        "leaning": leaning,
        "probability": probability,
        "profile": {
            "max_over_mean": finite(float(evaluation.profile.max_over_mean[row])),
            "share_under_tenth": finite(float(evaluation.profile.share_under_tenth[row])),
            "variation": finite(float(evaluation.profile.variation[row])),
            "asymmetry": finite(float(evaluation.profile.asymmetry[row])),
        },
        "guard_band": guard_band(conformity, row),
        "findings": in_order([*found, *concluded.said]),
        **concluded.values,
    }
    judged, judged_u = (
        finite(float(evaluation.judged_value[row])),
        finite(float(evaluation.judged_u[row])),
    )
    factor = finite(float(budget.coverage_factor[row]))
    return Computed(
        inputs_digest=inputs.digest(),
        content_revision=inputs.content_revision,
        values=values,
        columns=judgement_columns(
            velocity_mean_m_s=finite(float(best.velocity_mean_m_s[row])),
            flow_actual_m3_s=finite(float(best.actual_m3_s[row])),
            flow_standard_m3_s=finite(float(best.standard_m3_s[row])),
            flow_relative_u=relative_u,
            flow_per_capacity_m3_s_per_w=finite(float(best.per_capacity_m3_s_per_w[row])),
            judged_value=judged,
            judged_u=judged_u,
            judged_half_width=(None if judged_u is None or factor is None else factor * judged_u),
            aim=inputs.aim,
            probability=probability,
            verdict=verdict,
            leaning=leaning,
            indicative=bool(reasons),
        ),
    )


def _best(evaluation: Evaluation, row: int) -> dict[str, Any]:
    best, rule = evaluation.best_estimate, evaluation.by_rule
    steps = {step.step: float(step.factor[row]) for step in evaluation.corrections}
    velocity = finite(float(best.velocity_mean_m_s[row]))
    by_rule = finite(float(rule.velocity_mean_m_s[row]))
    return {
        "velocity_mean": velocity,
        "flow_actual": finite(float(best.actual_m3_s[row])),
        "flow_standard": finite(float(best.standard_m3_s[row])),
        "flow_per_capacity": finite(float(best.per_capacity_m3_s_per_w[row])),
        "why": _why(velocity, by_rule, steps),
    }


def _why(best: float | None, by_rule: float | None, steps: dict[str, float]) -> str:
    """Say in one sentence why the best estimate differs from the rule's average."""
    if best is None or not by_rule:
        return "There are too few readings for a best estimate."
    difference = best / by_rule - 1.0
    if abs(difference) < LEAST_WORTH_SAYING:
        return "The rule's average and the best estimate agree here."
    direction = "below" if difference < 0 else "above"
    parts = [
        f"{percent(steps[step] - 1.0, 1, signed=True)} for {why}"
        for step, why in DIFFERENCES.items()
        if abs(steps.get(step, 1.0) - 1.0) >= LEAST_WORTH_SAYING
    ]
    apart = f"{percent(abs(difference), 1)} {direction} the rule's average"
    return f"The best estimate lies {apart}: {' and '.join(parts)}."


def _corrections(inputs: TraverseInputs, evaluation: Evaluation, row: int) -> list[dict[str, Any]]:
    """Return the steps from the display to the best estimate; those that apply to this mode."""
    left_out = set()
    if inputs.mode == Mode.POINTS:
        left_out.add("sweep_gap")
    if inputs.actual is inputs.plan:
        left_out.add("positions")
    return [
        {
            "step": step.step,
            "factor": finite(float(step.factor[row])),
            "velocity_after": finite(float(step.velocity_after_m_s[row])),
            "note": _note(step.step, inputs),
        }
        for step in evaluation.corrections
        # What is left out may still move the number: missing readings move weights.
        if step.step not in left_out or abs(float(step.factor[row]) - 1.0) > 1e-9
    ]


def _note(step: str, inputs: TraverseInputs) -> str:
    later = inputs.corrected_later
    if step == "calibration" and later is not None:
        return (
            f"With {later.share:.0%} of what the calibration of {later.found_on} found beyond the "
            "one in force on that day."
        )
    return STEP_NOTES.get(step, "")


def _interval(interval: Interval, row: int) -> dict[str, float] | None:
    low, high = finite(float(interval.low[row])), finite(float(interval.high[row]))
    return None if low is None or high is None else {"low": low, "high": high}


def _budget(evaluation: Evaluation, row: int) -> list[dict[str, Any]]:
    """Return the components that apply, the largest first."""
    relative = evaluation.budget_judged.relative[:, row]
    shares = evaluation.budget_judged.shares[:, row]
    lines = [
        {
            "component": name,
            "relative_standard_uncertainty": float(relative[index]),
            "share": finite(float(shares[index])),
        }
        for index, name in enumerate(COMPONENT_NAMES)
        if relative[index] > 0.0
    ]
    return sorted(lines, key=lambda line: -line["relative_standard_uncertainty"])


def _narrow_it(evaluation: Evaluation, row: int) -> str | None:
    component = int(evaluation.narrowing.component[row])
    if not 0 <= component < len(COMPONENTS):
        return None
    return narrowing_sentence(
        component=component,
        share=float(evaluation.narrowing.share[row]),
        relative_u95=float(evaluation.budget_judged.relative_u95[row]),
        relative_u95_after=float(evaluation.narrowing.relative_u95_after[row]),
    )


def _facts(inputs: TraverseInputs, evaluation: Evaluation, row: int) -> Facts:
    signs = evaluation.signs
    best = evaluation.best_estimate
    return Facts(
        velocity_mean_m_s=finite(float(evaluation.by_rule.velocity_mean_m_s[row])),
        velocity_max_m_s=finite(float(evaluation.velocity_max_m_s[row])),
        indicated_mean_m_s=finite(float(evaluation.velocity_indicated_m_s[row])),
        flow_per_capacity=finite(float(best.per_capacity_m3_s_per_w[row]))
        or finite(float(evaluation.by_rule.per_capacity_m3_s_per_w[row])),
        share_under_tenth=finite(float(evaluation.profile.share_under_tenth[row])),
        area_m2=float(evaluation.inside_area_m2[row]),
        hydraulic_diameter_m=float(evaluation.hydraulic_diameter_m[row]),
        flags={
            "compensation_matters": float(signs.compensation_is_unknown[row]),
            "is_a_bound": float(signs.is_bound[row]),
            "below_range": float(signs.below_range_share[row]),
            "above_range": float(signs.above_range_share[row]),
            "vane_is_slow": float(signs.is_slow_vane[row]),
            "over_twice_mean": float(signs.over_twice_mean_share[row]),
            "all_equal": float(signs.are_all_equal[row]),
            "backflow": float(signs.backflow_share[row]),
            "blades_near": float(
                evaluation.indicative_reasons.get("blades", np.zeros(row + 1))[row]
            ),
            "bases_disagree": float(evaluation.basis_decides[row]),
            "can_hardly_pass": float(evaluation.conformity.can_hardly_pass[row]),
        },
    )

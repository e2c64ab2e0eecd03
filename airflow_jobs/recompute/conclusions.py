"""What follows from a flow beside what else was recorded: advice, checks, before and after."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from airflow_jobs.calc import humidity
from airflow_jobs.calc.air import specific_heat_j_kg_k
from airflow_jobs.calc.traverse_results import Evaluation
from airflow_jobs.findings import Found

from .advice import blower_advice
from .as_left import AsLeftCheck, as_left_check
from .companions import FOUND, OTHER_SIDE, Companion
from .cross_checks import KnownFlow, cross_checks
from .inputs import TraverseInputs
from .leakage import return_against_supply
from .measured_flows import MeasuredFlow, measured_flow
from .outcomes import finite
from .system_flows import SystemFlow

Companions = Mapping[str, tuple[Companion, MeasuredFlow]]
"""Relation -> the other traverse and its flow."""


@dataclass(frozen=True, slots=True)
class Conclusions:
    """Keys of a result, and what is worth saying besides."""

    values: dict[str, Any]
    said: list[Found]


def conclusions(
    inputs: TraverseInputs,
    evaluation: Evaluation,
    row: int,
    *,
    verdict: str,
    leaning: str | None,
    said: Sequence[Found],
    companions: Companions,
) -> Conclusions:
    """Return what follows for one traverse.

    Parameters
    ----------
    inputs, evaluation, row
        The traverse and where it stands in its evaluation.
    verdict, leaning
        How it was judged.
    said
        Findings so far.
    companions
        Other traverses that it is held against.
    """
    flow = measured_flow(inputs, evaluation, row) if inputs.carries_all else None
    known = None if flow is None else _known(flow, inputs)
    checks, found = cross_checks(known, inputs.beside) if inputs.carries_all else ([], [])
    check, leak = AsLeftCheck(), None
    if flow is not None and FOUND in companions:
        companion, before = companions[FOUND]
        check = as_left_check(flow, before, companion, inputs.beside)
        found += check.said
    if flow is not None and OTHER_SIDE in companions:
        companion, other = companions[OTHER_SIDE]
        leak, leaking = return_against_supply(flow, other, companion)
        found += leaking
    advice, why_none = blower_advice(
        _system(inputs, evaluation, row, verdict, leaning),
        inputs.beside,
        [*said, *found],
        check.belief,
    )
    return Conclusions(
        values={
            "blower_advice": advice,
            "why_no_blower_advice": why_none,
            "as_left_check": check.values,
            "cross_checks": checks,
            "leakage": leak,
        },
        said=found,
    )


def _known(flow: MeasuredFlow, inputs: TraverseInputs) -> KnownFlow:
    air = inputs.air
    vapour = humidity.vapour_pressure_from_relative_humidity_pa(
        relative_humidity=air.relative_humidity, dry_bulb_c=air.dry_bulb_c
    )
    ratio = humidity.humidity_ratio(vapour_pressure_pa=vapour, pressure_pa=air.pressure_pa)
    return KnownFlow(
        standard_m3_s=flow.standard_m3_s,
        actual_m3_s=flow.actual_m3_s,
        standard_relative_u=flow.standard_doubt.total,
        actual_relative_u=flow.actual_doubt.total,
        meter_relative_u=flow.actual_doubt.meter,
        standard_density_kg_m3=inputs.standard_density_kg_m3,
        specific_heat_j_kg_k=float(specific_heat_j_kg_k(ratio)),
        call=inputs.call,
    )


def _system(
    inputs: TraverseInputs, evaluation: Evaluation, row: int, verdict: str, leaning: str | None
) -> SystemFlow:
    best = evaluation.best_estimate
    is_actual = inputs.aim is not None and inputs.aim.basis == "actual"
    flow = best.actual_m3_s[row] if is_actual else best.standard_m3_s[row]
    budget = evaluation.budget_judged
    return SystemFlow(
        flow_m3_s=finite(float(flow)),
        relative_u=finite(float(budget.relative_u[row])),
        coverage_factor=float(budget.coverage_factor[row]),
        standard_over_actual=float(
            evaluation.air_density_kg_m3[row] / evaluation.standard_density_kg_m3[row]
        ),
        aim=inputs.aim,
        capacity_w=inputs.capacity_w,
        verdict=verdict,
        leaning=leaning,
        carries_all=inputs.carries_all,
        basis_is_open=bool(evaluation.basis_decides[row]),
        call=inputs.call,
        effective_call=inputs.effective_call,
        setting=str(inputs.state.get("blower_setting") or ""),
        coil=str(inputs.state.get("coil") or ""),
    )

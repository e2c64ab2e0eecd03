"""A stored result as the pages read it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from airflow_jobs.findings import SEVERITIES
from airflow_jobs.models import Result

from ..values.traverses import (
    BudgetLine,
    Correction,
    Interval,
    Outcome,
    TargetRange,
    TraverseFinding,
)

BESIDE = (
    "blower_advice",
    "why_no_blower_advice",
    "cross_checks",
    "leakage",
    "as_left_check",
    "guard_band",
)


def interval_of(value: float | None, low: float | None, high: float | None) -> Interval:
    """Return a number with its ends; both ends or none."""
    if low is None or high is None:
        return Interval(value)
    return Interval(value, low, high)


def outcome_of(result: Result) -> Outcome:
    """Return the values of a result; what an older engine did not keep is empty."""
    values: Mapping[str, Any] = result.values or {}
    best: Mapping[str, Any] = values.get("best_estimate") or {}
    probability: Mapping[str, Any] = values.get("probability") or {}
    target = values.get("target")

    def estimate(name: str) -> Interval:
        ends = (values.get("interval95") or {}).get(name) or {}
        return interval_of(best.get(name), ends.get("low"), ends.get("high"))

    return Outcome(
        engine=result.engine,
        computed_at=result.computed_at,
        verdict=result.verdict,
        leaning=result.leaning,
        probability_low=probability.get("low"),
        probability_in_range=probability.get("in_range"),
        probability_high=probability.get("high"),
        indicative=result.indicative,
        indicative_because=tuple(values.get("indicative_because") or ()),
        flow_actual=estimate("flow_actual"),
        flow_standard=estimate("flow_standard"),
        flow_per_capacity=estimate("flow_per_capacity"),
        judged=interval_of(result.judged_value, result.judged_low, result.judged_high),
        by_design_flow=target is not None and target.get("quantity") == "flow",
        rule_flow_actual=values.get("flow_actual"),
        rule_flow_standard=values.get("flow_standard"),
        rule_flow_per_capacity=values.get("flow_per_capacity"),
        why=best.get("why") or "",
        velocity_indicated=values.get("velocity_indicated"),
        velocity_mean=best.get("velocity_mean"),
        rule_velocity_mean=values.get("velocity_mean"),
        velocity_max=values.get("velocity_max"),
        mass_flow=values.get("mass_flow"),
        air_density=values.get("air_density"),
        standard_density=values.get("standard_density"),
        inside_area=values.get("inside_area"),
        hydraulic_diameter=values.get("hydraulic_diameter"),
        corrections=tuple(_correction(one) for one in values.get("corrections") or ()),
        budget=tuple(
            sorted(
                (_budget_line(one) for one in values.get("budget") or ()),
                key=lambda line: -line.share,
            )
        ),
        narrow_it=values.get("narrow_it") or "",
        target=_target(target) if target else None,
        findings=_findings(values.get("findings") or ()),
        beside={key: values[key] for key in BESIDE if values.get(key)},
        profile=dict(values.get("profile") or {}),
    )


def _correction(kept: Mapping[str, Any]) -> Correction:
    return Correction(
        step=kept.get("step", ""),
        factor=kept.get("factor"),
        velocity_after_m_s=kept.get("velocity_after"),
        note=kept.get("note") or "",
    )


def _budget_line(kept: Mapping[str, Any]) -> BudgetLine:
    return BudgetLine(
        component=kept.get("component", ""),
        relative_standard_uncertainty=kept.get("relative_standard_uncertainty") or 0.0,
        share=kept.get("share") or 0.0,
    )


def _target(kept: Mapping[str, Any]) -> TargetRange:
    return TargetRange(
        low=kept.get("low"),
        nominal=kept.get("nominal"),
        high=kept.get("high"),
        basis=kept.get("basis") or "",
        source=kept.get("source") or "",
        call=kept.get("call") or "",
        tolerance=kept.get("tolerance"),
    )


def _findings(kept: Any) -> tuple[TraverseFinding, ...]:
    """Return the findings, those of most effect first; of one severity as they were found."""
    findings = [
        TraverseFinding(
            code=one.get("code", ""),
            severity=one.get("severity", "note"),
            message=one.get("message") or "",
            advice=one.get("advice") or "",
        )
        for one in kept
    ]
    order: dict[str, int] = {severity: index for index, severity in enumerate(SEVERITIES)}
    return tuple(sorted(findings, key=lambda one: order.get(one.severity, len(order))))

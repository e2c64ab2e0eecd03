"""Flow-sets: sections that add up to one system, summed in standard flow, then judged.

What members share is kept correlated: the errors of one meter add up linearly, what is each
member's own adds up in quadrature (JCGM 100:2008, 5.2.2 and F.1.2.3).
"""

from __future__ import annotations

import hashlib
import json
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final
from uuid import UUID
from zoneinfo import ZoneInfo

import numpy as np
from scipy import stats

from airflow_jobs.calc.conformity import judge
from airflow_jobs.calc.flow_sums import summed_flow
from airflow_jobs.calc.uncertainty import COMPONENTS
from airflow_jobs.findings import Found, found, in_order
from airflow_jobs.models import (
    Call,
    FlowSet,
    FlowSetMember,
    State,
    Target,
)

from .outcomes import Computed, Failure, Outcome, judgement_columns, verdict_words
from .surroundings import the_company
from .targets import Aim, aim_for

# A flow known without a traverse and without an uncertainty of its own: common practice.
FLOW_READING_RELATIVE_U: Final = 0.075
SHARED_BY_METER: Final = frozenset(item.name for item in COMPONENTS if item.shared_by == "meter")


@dataclass(frozen=True, slots=True)
class Part:
    """One member's flow in standard and actual air, with what it shares with others."""

    sign: int
    flow_standard_m3_s: float
    flow_actual_m3_s: float
    rule_standard_m3_s: float
    rule_actual_m3_s: float
    own_u: float
    """Relative standard uncertainty that is this member's alone."""
    shared_u: float
    """Relative standard uncertainty shared by all members of the same meter."""
    meter: str
    indicative: bool
    call: str
    digest: str


def outcomes_of_flow_sets(keys: Iterable[UUID]) -> dict[UUID, Outcome]:
    """Return flow-set id -> what came out; None while a member is still pending."""
    wanted = list(keys)
    if not wanted:
        return {}
    sets = {
        row.pk: row
        for row in FlowSet.objects.filter(pk__in=wanted).select_related("equipment__site")
    }
    members: dict[UUID, list[FlowSetMember]] = defaultdict(list)
    for member in (
        FlowSetMember.objects.filter(flow_set__in=wanted)
        .select_related("traverse__computation__result", "traverse__instrument", "flow_reading")
        .order_by("pk")
    ):
        members[member.flow_set_id].append(member)
    equipment = {row.equipment_id for row in sets.values()}
    targets = list(Target.objects.filter(equipment__in=equipment)) + list(
        Target.objects.filter(equipment__isnull=True)
    )
    return {key: _outcome(sets[key], members[key], targets) for key in wanted if key in sets}


def _outcome(flow_set: FlowSet, members: list[FlowSetMember], targets: list[Target]) -> Outcome:
    if not members:
        return Failure("The flow-set has no members: add the traverses that make up the system.")
    parts: list[Part] = []
    days = []
    for member in members:
        if member.traverse is not None:
            computation = member.traverse.computation
            if computation.state == State.PENDING:
                return None
            if computation.state == State.FAILED or computation.result is None:
                return Failure(
                    "One of the traverses that add up could not be computed; see its reason."
                )
            days.append(member.traverse.taken_at)
            if computation.result.flow_standard_m3_s is None:
                return Failure("One of the traverses that add up has no flow.")
            parts.append(_part_of_traverse(member))
        else:
            assert member.flow_reading is not None
            days.append(member.flow_reading.taken_at)
            parts.append(_part_of_reading(member))
    calls = {part.call for part in parts} - {""}
    call = calls.pop() if len(calls) == 1 else Call.UNKNOWN
    zone = ZoneInfo(flow_set.equipment.site.time_zone)
    company = the_company()
    aim = aim_for(
        equipment=flow_set.equipment,
        call=call,
        day=min(days).astimezone(zone).date(),
        targets=targets,
        company=company,
    )
    capacity = None if call == Call.HEATING else flow_set.equipment.cooling_capacity_w
    return _summed(parts, aim, capacity, call, flow_set.revision, company.standard_density_kg_m3)


def _part_of_traverse(member: FlowSetMember) -> Part:
    traverse = member.traverse
    assert traverse is not None
    result = traverse.computation.result
    assert result is not None
    assert result.flow_standard_m3_s is not None
    assert result.flow_actual_m3_s is not None
    budget = result.values["budget"]
    shared = sum(
        item["relative_standard_uncertainty"] ** 2
        for item in budget
        if item["component"] in SHARED_BY_METER
    )
    total = (result.flow_relative_u or 0.0) ** 2
    return Part(
        sign=member.sign,
        flow_standard_m3_s=result.flow_standard_m3_s,
        flow_actual_m3_s=result.flow_actual_m3_s,
        rule_standard_m3_s=result.values["flow_standard"],
        rule_actual_m3_s=result.values["flow_actual"],
        own_u=max(total - shared, 0.0) ** 0.5,
        shared_u=shared**0.5,
        meter=str(traverse.instrument_id),
        indicative=result.indicative,
        call=traverse.call,
        digest=result.inputs_digest,
    )


def _part_of_reading(member: FlowSetMember) -> Part:
    reading = member.flow_reading
    assert reading is not None
    half_width = reading.relative_uncertainty
    return Part(
        sign=member.sign,
        # Its air is not on record: actual and standard flow count as the same.
        flow_standard_m3_s=reading.flow_m3_s,
        flow_actual_m3_s=reading.flow_m3_s,
        rule_standard_m3_s=reading.flow_m3_s,
        rule_actual_m3_s=reading.flow_m3_s,
        own_u=half_width / 1.96 if half_width else FLOW_READING_RELATIVE_U,
        shared_u=0.0,
        meter=str(reading.instrument_id or reading.pk),
        indicative=half_width is None,
        call="",
        digest=f"{reading.pk}:{reading.revision}",
    )


def _summed(
    parts: list[Part],
    aim: Aim | None,
    capacity_w: float | None,
    call: str,
    revision: int,
    standard_density_kg_m3: float,
) -> Computed:
    total = summed_flow(
        np.array([part.flow_standard_m3_s for part in parts]),
        sign=np.array([float(part.sign) for part in parts]),
        own_relative_u=np.array([part.own_u for part in parts]),
        shared_relative_u=np.array([[part.shared_u for part in parts]]),
        shared_with=np.array([[part.meter for part in parts]]),
    )
    standard, absolute_u = total.flow_m3_s, total.standard_uncertainty_m3_s
    own = sum((part.own_u * part.flow_standard_m3_s) ** 2 for part in parts)
    shared = max(absolute_u**2 - own, 0.0)
    actual = sum(part.sign * part.flow_actual_m3_s for part in parts)
    said: list[Found] = []
    if capacity_w is None:
        said.append(found("no_capacity"))
    if aim is None:
        said.append(found("call_unknown" if call == Call.UNKNOWN else "no_target"))
    on_actual = aim is not None and aim.basis == "actual"
    flow, scale = (actual if on_actual else standard), (actual / standard if standard else 1.0)
    flow_u = absolute_u * (abs(scale) if on_actual else 1.0)
    judged = judged_u = None
    if aim is not None and (aim.is_flow or capacity_w):
        divisor = 1.0 if aim.is_flow else float(capacity_w or 1.0)
        judged, judged_u = flow / divisor, flow_u / divisor
    per_capacity = flow / capacity_w if capacity_w else None
    k = float(stats.norm.ppf(0.975))
    conformity = (
        judge(value=judged, standard_uncertainty=judged_u, low=aim.low, high=aim.high)
        if judged is not None and judged_u is not None and aim is not None
        else None
    )
    verdict, leaning, probability = verdict_words(conformity)
    indicative = any(part.indicative for part in parts)
    rule_flow = sum(
        part.sign * (part.rule_actual_m3_s if on_actual else part.rule_standard_m3_s)
        for part in parts
    )

    def interval(value: float | None, u: float | None) -> dict[str, float] | None:
        return None if value is None or u is None else {"low": value - k * u, "high": value + k * u}

    values: dict[str, Any] = {
        "standard_density": standard_density_kg_m3,
        "flow_actual": sum(part.sign * part.rule_actual_m3_s for part in parts),
        "flow_standard": sum(part.sign * part.rule_standard_m3_s for part in parts),
        "flow_per_capacity": rule_flow / capacity_w if capacity_w else None,
        "best_estimate": {
            "flow_actual": actual,
            "flow_standard": standard,
            "flow_per_capacity": per_capacity,
            "why": "The sum of the members' best estimates.",
        },
        "interval95": {
            "flow_actual": interval(actual, absolute_u * abs(scale)),
            "flow_standard": interval(standard, absolute_u),
            "flow_per_capacity": interval(
                per_capacity, flow_u / capacity_w if capacity_w else None
            ),
        },
        "indicative": indicative,
        "indicative_because": ["a member is indicative"] if indicative else [],
        "budget": [
            {
                "component": name,
                "relative_standard_uncertainty": variance**0.5 / abs(standard),
                "share": variance / (own + shared) if own + shared else 0.0,
            }
            for name, variance in (("each_member", own), ("shared_meter", shared))
            if standard
        ],
        "members": len(parts),
        "target": aim.as_dict() if aim else None,
        "verdict": verdict,
        "leaning": leaning,
        "probability": probability,
        "findings": in_order(said),
    }
    digest = hashlib.sha256(
        json.dumps(
            [[part.digest, part.sign, part.meter] for part in parts]
            + [aim.as_dict() if aim else None, capacity_w, call],
            sort_keys=True,
            default=str,
        ).encode()
    ).hexdigest()
    return Computed(
        inputs_digest=f"sha256:{digest}",
        content_revision=revision,
        values=values,
        columns=judgement_columns(
            velocity_mean_m_s=None,
            flow_actual_m3_s=actual,
            flow_standard_m3_s=standard,
            flow_relative_u=absolute_u / abs(standard) if standard else None,
            flow_per_capacity_m3_s_per_w=per_capacity,
            judged_value=judged,
            judged_u=judged_u,
            judged_half_width=None if judged_u is None else k * judged_u,
            aim=aim,
            probability=probability,
            verdict=verdict,
            leaning=leaning,
            indicative=indicative,
        ),
    )

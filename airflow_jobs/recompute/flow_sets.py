"""Flow-sets: sections that add up to one system, summed in standard flow, then judged.

What members share is kept correlated: the errors of one meter add up linearly, what is each
member's own adds up in quadrature (JCGM 100:2008, 5.2.2 and F.1.2.3).
"""

from __future__ import annotations

import hashlib
import json
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any, Final
from uuid import UUID
from zoneinfo import ZoneInfo

import numpy as np
from scipy import stats

from airflow_jobs.calc.conformity import both_bases, judge
from airflow_jobs.calc.crosschecks import DRY_AIR_SPECIFIC_HEAT_J_KG_K
from airflow_jobs.calc.fans import PRIOR
from airflow_jobs.calc.flow_sums import summed_flow
from airflow_jobs.calc.uncertainty import COMPONENTS
from airflow_jobs.findings import BY_CODE, Found, found, in_order
from airflow_jobs.models import (
    Call,
    Company,
    FlowSet,
    FlowSetMember,
    State,
    Target,
)

from .advice import blower_advice
from .beside import Beside, Subject, beside_of, plain_setting
from .cross_checks import FLOW_READING_RELATIVE_U, KnownFlow, cross_checks
from .inputs import effective_call
from .outcomes import Computed, Failure, Outcome, guard_band, judgement_columns, verdict_words
from .surroundings import cooling_settings, the_company
from .system_flows import SystemFlow
from .targets import COOLING_CALLS, Aim, aim_for

WITHOUT_TARGET: Final[dict[str, str]] = {
    Call.UNKNOWN: "call_unknown",
    Call.FAN_ONLY: "fan_only_not_judged",
}
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
    setting: str
    coil: str
    serious: tuple[Found, ...]
    """Findings after which this flow is not to be acted on."""
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
    outcomes: dict[UUID, Outcome] = {}
    summands: dict[UUID, list[Part]] = {}
    for key in sets:
        parts = _parts_of(members[key])
        if isinstance(parts, list):
            summands[key] = parts
        else:
            outcomes[key] = parts
    subjects = {key: _subject(sets[key], members[key], parts) for key, parts in summands.items()}
    beside = beside_of(list(subjects.values())) if subjects else {}
    company = the_company()
    settings = cooling_settings(
        {row.equipment.pk for row in subjects.values() if row.call == Call.FAN_ONLY}
    )
    for key, parts in summands.items():
        subject = subjects[key]
        applies = effective_call(subject.call, subject.setting, settings.get(subject.equipment.pk))
        outcomes[key] = _outcome(
            sets[key], parts, replace(subject, call=applies), beside[key], targets, company
        )
    return outcomes


def _parts_of(members: list[FlowSetMember]) -> list[Part] | Failure | None:
    """Return the flows that add up, or why there is no sum; None while one is pending."""
    if not members:
        return Failure("The flow-set has no members: add the traverses that make up the system.")
    parts: list[Part] = []
    for member in members:
        if member.traverse is None:
            parts.append(_part_of_reading(member))
            continue
        computation = member.traverse.computation
        if computation.state == State.PENDING:
            return None
        if computation.state == State.FAILED or computation.result is None:
            return Failure(
                "One of the traverses that add up could not be computed; see its reason."
            )
        if computation.result.flow_standard_m3_s is None:
            return Failure("One of the traverses that add up has no flow.")
        parts.append(_part_of_traverse(member))
    return parts


def _subject(flow_set: FlowSet, members: list[FlowSetMember], parts: list[Part]) -> Subject:
    calls = {part.call for part in parts} - {""}
    settings = {plain_setting(part.setting) for part in parts} - {""}
    flows = [member.traverse or member.flow_reading for member in members]
    taken_at = min(flow.taken_at for flow in flows if flow is not None)
    return Subject(
        key=flow_set.pk,
        visit_id=flow_set.visit_id,
        equipment=flow_set.equipment,
        stage=flow_set.stage,
        call=calls.pop() if len(calls) == 1 else Call.UNKNOWN,
        # Taken at several settings it is of none.
        setting=next(part.setting for part in parts if part.setting) if len(settings) == 1 else "",
        taken_at=taken_at,
        day=taken_at.astimezone(ZoneInfo(flow_set.equipment.site.time_zone)).date(),
        instrument_ids=frozenset(
            flow.instrument_id for flow in flows if flow is not None and flow.instrument_id
        ),
    )


def _outcome(
    flow_set: FlowSet,
    parts: list[Part],
    subject: Subject,
    beside: Beside,
    targets: list[Target],
    company: Company,
) -> Outcome:
    aim = aim_for(
        equipment=flow_set.equipment,
        call=subject.call,
        day=subject.day,
        targets=targets,
        company=company,
    )
    capacity = None if subject.call == Call.HEATING else flow_set.equipment.cooling_capacity_w
    return _summed(
        parts, aim, capacity, subject, beside, flow_set.revision, company.standard_density_kg_m3
    )


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
        setting=str(traverse.operating_state.get("blower_setting") or ""),
        coil=str(traverse.operating_state.get("coil") or ""),
        serious=tuple(
            Found(BY_CODE[item["code"]], item["message"], item["pointer"])
            for item in result.values["findings"]
            if item["severity"] == "serious" and item["code"] in BY_CODE
        ),
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
        setting="",
        coil="",
        serious=(),
        digest=f"{reading.pk}:{reading.revision}",
    )


def _summed(
    parts: list[Part],
    aim: Aim | None,
    capacity_w: float | None,
    subject: Subject,
    beside: Beside,
    revision: int,
    standard_density_kg_m3: float,
) -> Computed:
    call = subject.call
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
    if capacity_w is None and call in COOLING_CALLS and not (aim is not None and aim.is_flow):
        said.append(found("no_capacity"))
    if aim is None:
        said.append(found(WITHOUT_TARGET.get(call, "no_target")))
    on_actual = aim is not None and aim.basis == "actual"
    flow, scale = (actual if on_actual else standard), (actual / standard if standard else 1.0)
    flow_u = absolute_u * (abs(scale) if on_actual else 1.0)
    judged = judged_u = None
    conformity, basis_is_open = None, False
    if aim is not None and (aim.is_flow or capacity_w):
        divisor = 1.0 if aim.is_flow else float(capacity_w or 1.0)
        judged, judged_u = flow / divisor, flow_u / divisor
        here, there = (
            judge(
                value=judged * factor,
                standard_uncertainty=judged_u * factor,
                low=aim.low,
                high=aim.high,
            )
            for factor in (1.0, 1.0 / scale if on_actual else scale)
        )
        conformity, open_ = both_bases(here, there, aim.basis_is_certain)
        basis_is_open = bool(open_[0])
    if basis_is_open:
        said.append(found("target_basis_needed"))
    per_capacity = flow / capacity_w if capacity_w else None
    k = float(stats.norm.ppf(0.975))
    verdict, leaning, probability = verdict_words(conformity)
    indicative = any(part.indicative for part in parts)
    rule_flow = sum(
        part.sign * (part.rule_actual_m3_s if on_actual else part.rule_standard_m3_s)
        for part in parts
    )

    known, system = (
        _as_known(
            parts, standard, actual, absolute_u, shared**0.5, standard_density_kg_m3, subject
        ),
        SystemFlow(
            flow_m3_s=flow if flow > 0.0 else None,
            relative_u=flow_u / flow if flow > 0.0 else None,
            coverage_factor=k,
            standard_over_actual=1.0 / scale if scale > 0.0 else 1.0,
            aim=aim,
            capacity_w=capacity_w,
            verdict=verdict,
            leaning=leaning,
            carries_all=True,
            basis_is_open=basis_is_open,
            call=call,
            effective_call=call,
            setting=subject.setting,
            coil=next((part.coil for part in parts if part.coil), ""),
        ),
    )
    checks, found_beside = cross_checks(known, beside)
    said += found_beside
    serious = [item for part in parts for item in part.serious]
    advice, why_none = blower_advice(system, beside, [*said, *serious], PRIOR)

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
        "guard_band": guard_band(conformity),
        "findings": in_order(said),
        "blower_advice": advice,
        "why_no_blower_advice": why_none,
        "cross_checks": checks,
    }
    digest = hashlib.sha256(
        json.dumps(
            [[part.digest, part.sign, part.meter] for part in parts]
            + [aim.as_dict() if aim else None, capacity_w, call, repr(beside)],
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


def _as_known(
    parts: list[Part],
    standard_m3_s: float,
    actual_m3_s: float,
    absolute_u: float,
    shared_u: float,
    standard_density_kg_m3: float,
    subject: Subject,
) -> KnownFlow | None:
    if standard_m3_s <= 0.0 or actual_m3_s <= 0.0:
        return None
    relative_u = absolute_u / standard_m3_s
    is_one_meter = len({part.meter for part in parts}) == 1
    return KnownFlow(
        standard_m3_s=standard_m3_s,
        actual_m3_s=actual_m3_s,
        standard_relative_u=relative_u,
        actual_relative_u=relative_u,
        meter_relative_u=shared_u / standard_m3_s if is_one_meter else 0.0,
        standard_density_kg_m3=standard_density_kg_m3,
        specific_heat_j_kg_k=DRY_AIR_SPECIFIC_HEAT_J_KG_K,
        call=subject.call,
    )

"""Measured systems for the tests of pages: rows with results as the worker would write them."""

from __future__ import annotations

import datetime
import hashlib
from typing import Any

from scipy.special import ndtr

from airflow_jobs.models import (
    Adjustment,
    Computation,
    Crew,
    DuctSection,
    Equipment,
    Result,
    Traverse,
    Visit,
)
from tests import factories
from tests.factories import NOW, PER_TON

SURE = 0.95


def make_measured(
    *,
    per_ton: float = 400.0,
    u_per_ton: float = 10.0,
    stage: str = "as_left",
    taken_at: datetime.datetime = NOW,
    crew: Crew | None = None,
    visit: Visit | None = None,
    section: DuctSection | None = None,
    state: str = "computed",
    has_serious: bool = False,
    **fields: Any,
) -> Traverse:
    """Make a traverse of a three-ton system with its result, in (ft3/min)/ton."""
    section = section or factories.make_section()
    if visit is None:
        visit = factories.make_visit(
            site=section.equipment.site, crew=crew or factories.make_crew(), started_at=taken_at
        )
    traverse = factories.make_traverse(
        visit=visit, duct_section=section, stage=stage, taken_at=taken_at, **fields
    )
    computation = traverse.computation
    computation.result = make_result(
        computation, per_ton=per_ton, u_per_ton=u_per_ton, has_serious=has_serious
    )
    computation.state = state
    computation.save()
    return traverse


def make_job(*, found: float | None, left: float | None, **fields: Any) -> Visit:
    """Make a visit to one system: as found, as left, or both; in (ft3/min)/ton."""
    section = fields.pop("section", None) or factories.make_section()
    taken_at = fields.pop("taken_at", NOW)
    visit = factories.make_visit(
        site=section.equipment.site,
        crew=fields.pop("crew", None) or factories.make_crew(),
        started_at=taken_at,
    )
    if found is not None:
        make_measured(
            per_ton=found,
            stage="as_found",
            taken_at=taken_at,
            visit=visit,
            section=section,
            **fields,
        )
    if left is not None:
        later = taken_at + datetime.timedelta(hours=1)
        make_measured(
            per_ton=left, stage="as_left", taken_at=later, visit=visit, section=section, **fields
        )
    return visit


def make_adjustment(*, visit: Visit, equipment: Equipment, **fields: Any) -> Adjustment:
    """Make a change of the blower's setting."""
    return Adjustment.objects.create(
        **{
            "visit": visit,
            "equipment": equipment,
            "kind": "blower_setting",
            "from_value": "tap 4",
            "to_value": "tap 3",
            "made_at": NOW,
            **fields,
        }
    )


def make_result(
    computation: Computation,
    *,
    per_ton: float,
    u_per_ton: float = 10.0,
    has_serious: bool = False,
    **fields: Any,
) -> Result:
    """Write a result against 350 to 450 (ft3/min)/ton, verdict and all.

    It has four findings, one of them serious where that is asked for.
    """
    low, nominal, high = (limit * PER_TON for limit in (350.0, 400.0, 450.0))
    value, u = per_ton * PER_TON, u_per_ton * PER_TON
    chances = {
        "low": float(ndtr((low - value) / u)),
        "high": float(1.0 - ndtr((high - value) / u)),
    }
    chances["in_range"] = 1.0 - chances["low"] - chances["high"]
    likeliest = max(chances, key=lambda side: chances[side])
    is_sure = chances[likeliest] >= SURE
    flow = value * 3.0 * factories.TON_W
    columns: dict[str, Any] = {
        "engine": "1",
        "inputs_digest": f"sha256:{hashlib.sha256(str(computation.pk).encode()).hexdigest()}",
        "content_revision": 1,
        "computed_at": NOW,
        "velocity_mean_m_s": 2.9,
        "flow_actual_m3_s": flow * 1.02,
        "flow_standard_m3_s": flow,
        "flow_relative_u": u / value,
        "flow_per_capacity_m3_s_per_w": value,
        "judged_value": value,
        "judged_u": u,
        "judged_low": value - 2.0 * u,
        "judged_high": value + 2.0 * u,
        "target_low": low,
        "target_nominal": nominal,
        "target_high": high,
        "probability_low": chances["low"],
        "probability_in_range": chances["in_range"],
        "probability_high": chances["high"],
        "verdict": likeliest if is_sure else "undecided",
        "leaning": "" if is_sure else likeliest,
        "indicative": False,
        **fields,
    }
    if "values" not in columns:
        columns["values"] = _values(columns, worst="serious" if has_serious else "warning")
    return Result.objects.create(computation=computation, **columns)


def _values(columns: dict[str, Any], *, worst: str) -> dict[str, Any]:
    """Return the whole answer as the worker keeps it, consistent with the columns."""
    flow, value = columns["flow_standard_m3_s"], columns["judged_value"]
    relative = 2.0 * columns["flow_relative_u"]

    def ends(number: float) -> dict[str, float]:
        return {"low": number * (1.0 - relative), "high": number * (1.0 + relative)}

    return {
        "air_density": 1.19,
        "standard_density": 1.2014,
        "inside_area": 0.2787,
        "hydraulic_diameter": 0.52,
        "velocity_indicated": 2.9,
        "velocity_mean": 2.93,
        "velocity_max": 3.3,
        "flow_actual": flow * 1.03,
        "flow_standard": flow * 1.01,
        "mass_flow": flow * 1.2,
        "flow_per_capacity": value * 1.01,
        "best_estimate": {
            "velocity_mean": 2.9,
            "flow_actual": flow * 1.02,
            "flow_standard": flow,
            "flow_per_capacity": value,
            "why": "The best estimate lies 1.0% below the rule's average.",
        },
        "interval95": {
            "flow_actual": ends(flow * 1.02),
            "flow_standard": ends(flow),
            "flow_per_capacity": ends(value),
        },
        "indicative": False,
        "indicative_because": [],
        "budget": [
            {"component": "area", "relative_standard_uncertainty": 0.008, "share": 0.3},
            {"component": "calibration", "relative_standard_uncertainty": 0.012, "share": 0.7},
        ],
        "narrow_it": "A better meter would narrow it.",
        "corrections": [
            {"step": "calibration", "factor": 1.0, "velocity_after": 2.9, "note": "In force."},
            {"step": "density", "factor": 1.01, "velocity_after": 2.93, "note": "To this air."},
        ],
        "target": {
            "low": columns["target_low"],
            "nominal": columns["target_nominal"],
            "high": columns["target_high"],
            "quantity": "flow_per_capacity",
            "basis": "standard",
            "source": "company",
            "call": "cooling",
            "tolerance": None,
        },
        "verdict": columns["verdict"],
        "leaning": columns["leaning"] or None,
        "probability": {
            "low": columns["probability_low"],
            "in_range": columns["probability_in_range"],
            "high": columns["probability_high"],
        },
        "profile": {
            "max_over_mean": 1.13,
            "share_under_tenth": 0.0,
            "variation": 0.08,
            "asymmetry": 0.02,
        },
        "findings": [
            {
                "code": f"finding_{number}",
                "severity": severity,
                "message": f"Message {number}.",
                "advice": f"Advice {number}.",
                "pointer": "",
            }
            for number, severity in enumerate(["note", worst, "warning", "note"], start=1)
        ],
        "blower_advice": None,
    }

"""How a result is described in the OpenAPI document."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

from airflow_jobs.models import Call, State, Verdict
from airflow_jobs.units import (
    AREA,
    DENSITY,
    FLOW,
    FLOW_PER_CAPACITY,
    LENGTH,
    MASS_FLOW,
    VELOCITY,
    Dimension,
)

Schema = dict[str, Any]
Reference = Callable[[Dimension], Schema]

_BY_RULE: Final = "by the published rule"
FINDING: Final[Schema] = {
    "type": "object",
    "required": ["code", "severity", "message", "advice", "pointer"],
    "properties": {
        "code": {"type": "string", "description": "Its name; see GET /api/v1/findings/."},
        "severity": {"type": "string", "enum": ["note", "warning", "serious"]},
        "message": {"type": "string", "description": "What is to be said of this measurement."},
        "advice": {"type": "string", "description": "What to do about it."},
        "pointer": {
            "type": "string",
            "description": "What it is about, as a JSON pointer into the content; may be empty.",
        },
    },
}


def nullable(schema: Schema, description: str = "") -> Schema:
    """Allow null beside a schema."""
    either: Schema = {"oneOf": [schema, {"type": "null"}]}
    return either | ({"description": description} if description else {})


def result_schema(of: Reference) -> Schema:
    """Describe a result.

    Parameters
    ----------
    of
        Returns the reference to a dimension's quantities.
    """
    properties = _values(of)
    return {
        "type": "object",
        "required": ["state"],
        "description": "What a measurement means. Only `state` is always there: while it is "
        "pending, `previous` keeps the last values; where it failed, `reason` says why.",
        "properties": {
            "state": {
                "type": "string",
                "enum": [str(word) for word in State.values],
                "description": "Where it stands.",
            },
            "reason": {
                "type": "string",
                "description": "Why it could not be computed, for a technician.",
            },
            "settled_at": {
                "type": ["string", "null"],
                "format": "date-time",
                "description": "When the latest outcome was settled, that is, could be read; null "
                "before the first, absent in a preview. `computed_since` goes by it.",
            },
            "engine": {"type": "string", "description": "Which version computed it."},
            "computed_at": {"type": "string", "format": "date-time", "description": "When."},
            "inputs_digest": {
                "type": "string",
                "description": "Digest of everything that went in.",
            },
            **properties,
            "previous": nullable(
                {"type": "object", "properties": properties},
                "The last values, while others are pending or could not be computed.",
            ),
        },
    }


def _values(of: Reference) -> dict[str, Schema]:
    flow, rate, velocity = of(FLOW), of(FLOW_PER_CAPACITY), of(VELOCITY)
    return {
        "air_density": of(DENSITY),
        "standard_density": of(DENSITY),
        "inside_area": of(AREA),
        "hydraulic_diameter": of(LENGTH),
        "velocity_indicated": nullable(velocity, "Plain mean as indicated."),
        "velocity_mean": nullable(velocity, f"Mean velocity {_BY_RULE}."),
        "velocity_max": nullable(velocity, "The fastest reading, corrected."),
        "flow_actual": nullable(flow, f"Flow of the air as it was, {_BY_RULE}."),
        "flow_standard": nullable(flow, f"The same mass as standard air, {_BY_RULE}."),
        "mass_flow": nullable(of(MASS_FLOW), f"Mass flow {_BY_RULE}."),
        "flow_per_capacity": nullable(
            rate, f"Flow on the target's basis over capacity, {_BY_RULE}."
        ),
        "best_estimate": {
            "type": "object",
            "description": "The best estimate of what really flowed: what people are shown.",
            "properties": {
                "velocity_mean": nullable(velocity),
                "flow_actual": nullable(flow),
                "flow_standard": nullable(flow),
                "flow_per_capacity": nullable(rate),
                "why": {
                    "type": "string",
                    "description": "Why it differs from the rule's average, in a sentence.",
                },
            },
        },
        "interval95": {
            "type": "object",
            "description": "The 95 % interval about the best estimate.",
            "properties": {
                "flow_actual": _interval(flow),
                "flow_standard": _interval(flow),
                "flow_per_capacity": _interval(rate),
            },
        },
        "indicative": {
            "type": "boolean",
            "description": "Whether it is good for orientation only.",
        },
        "indicative_because": {
            "type": "array",
            "items": {"type": "string"},
            "description": "Why, each in a few words.",
        },
        "budget": {
            "type": "array",
            "description": "What the interval is made of, the largest first.",
            "items": {
                "type": "object",
                "properties": {
                    "component": {"type": "string"},
                    "relative_standard_uncertainty": {"type": "number"},
                    "share": {"type": ["number", "null"], "description": "Share of the variance."},
                },
            },
        },
        "narrow_it": {
            "type": ["string", "null"],
            "description": "What would narrow the interval most, in a sentence.",
        },
        "corrections": {
            "type": "array",
            "description": "How the velocity came about, step by step.",
            "items": {
                "type": "object",
                "properties": {
                    "step": {"type": "string"},
                    "factor": {"type": ["number", "null"]},
                    "velocity_after": nullable(velocity),
                    "note": {"type": "string"},
                },
            },
        },
        "target": nullable(
            {
                "type": "object",
                "properties": {
                    **{name: {"oneOf": [rate, flow]} for name in ("low", "nominal", "high")},
                    "quantity": {
                        "type": "string",
                        "enum": ["flow_per_capacity", "flow"],
                        "description": "Which quantity is held against it.",
                    },
                    "basis": {"type": "string", "enum": ["standard", "actual"]},
                    "source": {"type": "string", "description": "Whose word it is."},
                    "call": {"type": "string", "enum": [str(word) for word in Call.values]},
                    "tolerance": {
                        "type": ["number", "null"],
                        "description": "Of a design flow, relative.",
                    },
                },
            },
            "What the flow was held against; null where nothing applies.",
        ),
        "verdict": {
            "type": "string",
            "enum": [str(word) for word in Verdict.values],
            "description": "low, in_range or high at 95 % probability; else undecided; not_judged "
            "without capacity or target, or for a part of a system.",
        },
        "leaning": {
            "type": ["string", "null"],
            "description": "Where undecided: the likeliest verdict.",
        },
        "probability": nullable(
            {
                "type": "object",
                "properties": {
                    name: {"type": "number", "minimum": 0, "maximum": 1}
                    for name in ("low", "in_range", "high")
                },
            },
            "How probable each verdict is; null where nothing is judged.",
        ),
        "profile": {
            "type": "object",
            "description": "The shape of the velocities.",
            "properties": {
                name: {"type": ["number", "null"]}
                for name in ("max_over_mean", "share_under_tenth", "variation", "asymmetry")
            },
        },
        "members": {"type": "integer", "description": "Of a flow-set: how many flows it has."},
        "findings": {
            "type": "array",
            "items": FINDING,
            "description": "What is worth saying, serious ones first.",
        },
        "blower_advice": nullable(
            {"type": "object"},
            "What to do about the blower: `by` (makers_table, fan_laws or drive), `kind`, "
            "settings, `expected_flow` with its 95 % ends, `cautions`, `validity`, `precedence` "
            "(whose word comes first) and the same as a `sentence`.",
        ),
        "why_no_blower_advice": nullable(
            {"type": "string"}, "Why there is no advice on the blower, in plain words."
        ),
        "as_left_check": nullable(
            {"type": "object"},
            "As left only: the flow to expect from as found and the change of setting or speed "
            "against the flow measured, `score` in standard deviations, and a `sentence`.",
        ),
        "cross_checks": {
            "type": "array",
            "items": {"type": "object"},
            "description": "The same flow by other ways (heat balance, other flow readings) and "
            "the external static against its maximum; `agrees` within the joint 95 % interval, "
            "null where the two can't be held against each other. Of the external static: true "
            "where its whole interval is within the maximum, false where it is over it, null "
            "where it is too close to tell.",
        },
        "leakage": nullable(
            {"type": "object"},
            "Supply less return in standard flow with its 95 % ends, said once, by the later "
            "traverse of the two.",
        ),
        "guard_band": nullable(
            {"type": "object"},
            "How far inside a limit the judged number must be to be called in range (`inside`), "
            "and between which values that is (`accepted_low`, `accepted_high`); in m3/s per W, "
            "or m3/s by a design flow.",
        ),
    }


def _interval(quantity: Schema) -> Schema:
    return nullable({"type": "object", "properties": {"low": quantity, "high": quantity}})

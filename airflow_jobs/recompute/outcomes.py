"""What a computation can come to: values, a reason why not, or nothing yet."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

from airflow_jobs.calc.conformity import VERDICTS, Conformity
from airflow_jobs.models import Verdict

from .targets import Aim

ENGINE: Final = "1"
"""Version of everything between a record and its result; raised when a result moves."""


@dataclass(frozen=True, slots=True)
class Computed:
    """A result: all of it (`values`, SI) and what pages and statistics ask for (`columns`)."""

    inputs_digest: str
    content_revision: int
    values: dict[str, Any]
    columns: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Failure:
    """Why something can't be computed, in words that a technician understands."""

    reason: str


Outcome = Computed | Failure | None
"""None: not yet, something it depends on is still pending."""


def finite(value: float | None) -> float | None:
    """Return a plain float, or None where there is no number."""
    if value is None or not math.isfinite(value):
        return None
    return float(value)


def verdict_words(
    conformity: Conformity | None, row: int = 0
) -> tuple[str, str | None, dict[str, float] | None]:
    """Return verdict, leaning and probabilities of one row as results keep them."""
    if conformity is None:
        return Verdict.NOT_JUDGED.value, None, None
    verdict = VERDICTS[int(conformity.verdict[row])]
    leaning = int(conformity.leaning[row])
    if verdict == Verdict.NOT_JUDGED:
        return verdict, None, None
    return (
        verdict,
        VERDICTS[leaning] if leaning >= 0 else None,
        {
            "low": float(conformity.probability_low[row]),
            "in_range": float(conformity.probability_in_range[row]),
            "high": float(conformity.probability_high[row]),
        },
    )


def guard_band(conformity: Conformity | None, row: int = 0) -> dict[str, float | None] | None:
    """Return how far inside a limit a value must be to be called in range; None if not judged.

    Between the accepted values a flow known as well as this one would be called in range. Where
    they have crossed, or there is no lower one, none could be.
    """
    if conformity is None or not math.isfinite(float(conformity.guard_band[row])):
        return None
    return {
        "inside": float(conformity.guard_band[row]),
        "accepted_low": finite(float(conformity.accepted_low[row])),
        "accepted_high": finite(float(conformity.accepted_high[row])),
    }


def judgement_columns(
    *,
    velocity_mean_m_s: float | None,
    flow_actual_m3_s: float | None,
    flow_standard_m3_s: float | None,
    flow_relative_u: float | None,
    flow_per_capacity_m3_s_per_w: float | None,
    judged_value: float | None,
    judged_u: float | None,
    judged_half_width: float | None,
    aim: Aim | None,
    probability: dict[str, float] | None,
    verdict: str,
    leaning: str | None,
    indicative: bool,
) -> dict[str, Any]:
    """Return the columns of a result that pages and statistics ask for."""
    has_interval = judged_value is not None and judged_half_width is not None
    return {
        "velocity_mean_m_s": velocity_mean_m_s,
        "flow_actual_m3_s": flow_actual_m3_s,
        "flow_standard_m3_s": flow_standard_m3_s,
        "flow_relative_u": flow_relative_u,
        "flow_per_capacity_m3_s_per_w": flow_per_capacity_m3_s_per_w,
        "judged_value": judged_value,
        "judged_u": judged_u,
        "judged_low": judged_value - judged_half_width if has_interval else None,  # type: ignore[operator]
        "judged_high": judged_value + judged_half_width if has_interval else None,  # type: ignore[operator]
        "target_low": aim.low if aim else None,
        "target_nominal": aim.nominal if aim else None,
        "target_high": aim.high if aim else None,
        "probability_low": probability["low"] if probability else None,
        "probability_in_range": probability["in_range"] if probability else None,
        "probability_high": probability["high"] if probability else None,
        "verdict": verdict,
        "leaning": leaning or "",
        "indicative": indicative,
    }

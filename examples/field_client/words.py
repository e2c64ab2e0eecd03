"""What the service says, in words for the people in the field."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

VERDICTS = {
    "low": "Low",
    "in_range": "In range",
    "high": "High",
    "not_judged": "Not judged",
}
FLOWS = (
    ("flow_per_capacity", "Flow per capacity"),
    ("flow_standard", "Flow, standard air"),
    ("flow_actual", "Flow, actual"),
)
MOST_FINDINGS = 3
DECIDING = 0.95


def short(identifier: str) -> str:
    """Return the beginning of an id, which is enough to name it here."""
    return identifier[:8]


def of_result(result: Mapping[str, Any]) -> str:
    """Say what a traverse means, whatever the state of its result.

    Parameters
    ----------
    result
        As the API answers it.

    Returns
    -------
    str
        Some lines: the best estimate with its interval first, as it is the one number to go by.
    """
    match result["state"]:
        case "computed":
            return _computed(result)
        case "failed":
            return f"It could not be computed: {result['reason']}"
        case _ if result.get("previous"):
            return f"Being computed again. Until then:\n{_computed(result['previous'])}"
        case _:
            return "Being computed; ask again in a moment."


def of_problem(problem: Any) -> str:
    """Say what the service refused, and each thing that is to be mended."""
    if not isinstance(problem, dict):
        return "The service gave no reason."
    lines = [f"{problem.get('title', 'Refused')}. {problem.get('detail', '')}".strip()]
    lines += [
        f"  {error.get('pointer') or error.get('parameter', '')}: {error['message']}"
        for error in problem.get("errors", [])
    ]
    return "\n".join(lines)


def of_parked(content: Mapping[str, Any], problem: Mapping[str, Any]) -> str:
    """Say why something is parked, how it differs from what is stored, and how to go on."""
    stored = problem.get("stored") or problem.get("current")
    ways = "change it, or settle it: again, drop"
    if problem["status"] == 409:
        ways = "settle it: correct (put yours over it), new (keep both), drop (keep what is stored)"
    elif problem["status"] == 412:
        ways = "change it to fit, or settle it: correct (put yours over it), drop"
    differences = [
        f"  {key}: {_brief(content.get(key))} here, {_brief(stored['as_sent'].get(key))} there"
        for key in sorted({*content, *stored["as_sent"]} - {"id"})
        if content.get(key) != stored["as_sent"].get(key)
    ] if stored else []  # fmt: skip
    return "\n".join([of_problem(problem), *differences, f"To go on: {ways}."])


def _computed(result: Mapping[str, Any]) -> str:
    best, intervals = result.get("best_estimate") or {}, result.get("interval95") or {}
    lines = [f"Verdict: {_verdict(result)}"]
    for key, label in FLOWS:
        if best.get(key):
            lines.append(f"{label}: {_with_interval(best[key], intervals.get(key))}")
    if result.get("flow_actual"):
        lines.append(f"  by the rule's average alone, actual: {_rounded(result['flow_actual'])}")
    if result.get("indicative"):
        lines.append("Indicative only: not measured in a way that can be judged.")
    findings = result.get("findings", [])
    lines += [f"* {item['message']} {item['advice']}" for item in findings[:MOST_FINDINGS]]
    if len(findings) > MOST_FINDINGS:
        lines.append(f"* and {len(findings) - MOST_FINDINGS} more")
    return "\n".join(lines)


def _verdict(result: Mapping[str, Any]) -> str:
    verdict, leaning = result["verdict"], result.get("leaning")
    if verdict != "undecided":
        return VERDICTS[verdict]
    if not leaning:
        return "Too close to call"
    likely = f"{result['probability'][leaning]:.0%}".replace("%", " %")
    if result["probability"][leaning] >= DECIDING:
        # So sure, it would be decided, did it not hang on what the target is of.
        side = VERDICTS[leaning].lower()
        return f"The target's basis decides; as it stands {side} ({likely})"
    return f"Too close to call, probably {VERDICTS[leaning].lower()} ({likely})"


def _with_interval(quantity: Mapping[str, Any], bounds: Mapping[str, Any] | None) -> str:
    if not bounds:
        return _rounded(quantity)
    low, high = bounds["low"]["value"], bounds["high"]["value"]
    # The interval says how many digits mean something.
    decimals = 1 - math.floor(math.log10(high - low)) if high > low else 0
    span = f"{_number(low, decimals)} to {_number(high, decimals)}"
    return f"{_number(quantity['value'], decimals)} {quantity['unit']} (95 %: {span})"


def _rounded(quantity: Mapping[str, Any]) -> str:
    value = quantity["value"]
    decimals = 2 - math.floor(math.log10(abs(value))) if value else 0
    return f"{_number(value, decimals)} {quantity['unit']}"


def _number(value: float, decimals: int) -> str:
    return f"{round(value, decimals):,.{max(0, decimals)}f}"


def _brief(value: Any) -> str:
    text = "nothing" if value is None else json.dumps(value, ensure_ascii=False)
    return text if len(text) <= 60 else f"{text[:57]}..."

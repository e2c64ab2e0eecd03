"""A traverse's result as a small table of plain text."""

import math
from collections.abc import Mapping
from typing import Any, Final

from airflow_jobs.calc.conformity import DECIDING_PROBABILITY

WORDS: Final = {
    "low": "Low",
    "in_range": "In range",
    "high": "High",
    "not_judged": "Not judged",
}
PROBABLY: Final = {"low": "low", "in_range": "in range", "high": "high"}


def table_of(traverse: Mapping[str, Any]) -> str:
    """Write a computed traverse as a table.

    Parameters
    ----------
    traverse
        As the API answers it, its result computed.

    Returns
    -------
    str
        Some lines; numbers rounded by their interval, each with its unit.
    """
    result = traverse["result"]
    best = result.get("best_estimate") or {}
    intervals = result.get("interval95") or {}
    rows = [
        ("Velocity indicated", _number(result["velocity_indicated"])),
        ("Velocity corrected", _number(result["velocity_mean"])),
        ("Air density", _number(result["air_density"])),
        ("Area inside", _number(result["inside_area"])),
    ]
    for label, key in (
        ("Flow, actual", "flow_actual"),
        ("Flow, standard", "flow_standard"),
        ("Flow per ton", "flow_per_capacity"),
    ):
        quantity = best.get(key) or result.get(key)
        if quantity:
            rows.append((label, _with_interval(quantity, intervals.get(key))))
    rows.append(("Verdict", verdict_words(result)))
    for number, finding in enumerate(result["findings"][:3]):
        rows.append(("" if number else "Findings", finding["message"]))
    if len(result["findings"]) > 3:
        rows.append(("", f"and {len(result['findings']) - 3} more"))
    width = max(len(label) for label, _ in rows)
    return "\n".join(f"  {label:<{width}}  {value}" for label, value in rows)


def verdict_words(result: Mapping[str, Any]) -> str:
    """Say a verdict in words, as the pages do.

    Parameters
    ----------
    result
        As the API answers it.

    Returns
    -------
    str
        One phrase; where it is too close to call, with the likelier side and how likely.
    """
    verdict = result["verdict"]
    if verdict != "undecided":
        return WORDS[verdict]
    leaning = result.get("leaning")
    if not leaning:
        return "Too close to call"
    likely = result["probability"][leaning]
    if likely >= DECIDING_PROBABILITY:
        return f"The target's basis decides; as it stands {PROBABLY[leaning]} ({likely:.0%})"
    return f"Too close to call, probably {PROBABLY[leaning]} ({likely:.0%})"


def _number(quantity: Mapping[str, Any], digits: int = 3) -> str:
    return f"{_rounded(quantity['value'], digits)} {quantity['unit']}"


def _with_interval(quantity: Mapping[str, Any], bounds: Mapping[str, Any] | None) -> str:
    if not bounds:
        return _number(quantity)
    low, high = bounds["low"]["value"], bounds["high"]["value"]
    # As many digits as two of the interval's width.
    digits = 2 + max(0, _magnitude(quantity["value"]) - _magnitude(high - low))
    text = _number(quantity, digits)
    return f"{text}  (95 %: {_rounded(low, digits)} to {_rounded(high, digits)})"


def _rounded(value: float, digits: int) -> str:
    decimals = digits - 1 - _magnitude(value)
    return f"{round(value, decimals):,.{max(0, decimals)}f}"


def _magnitude(value: float) -> int:
    return math.floor(math.log10(abs(value))) if value else 0

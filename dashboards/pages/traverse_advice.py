"""What a traverse's page says beyond the number: the blower, other ways, before and after."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from airflow_jobs import units as dimensions
from airflow_jobs.advice_words import sentence_with
from airflow_jobs.wording import percent
from airflow_jobs.words import METHODS

from ..display import Units
from ..values.traverses import Outcome


@dataclass(frozen=True, slots=True)
class BlowerAdvice:
    """What to do about the blower, or why there is nothing to say."""

    sentence: str
    cautions: tuple[str, ...]
    validity: tuple[str, ...]
    precedence: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """One other way to the flow, or another flow beside it."""

    title: str
    says: str
    anchor: str
    """Section of the method page."""


def blower_advice(outcome: Outcome | None, units: Units) -> BlowerAdvice | None:
    """Return the advice in the company's units."""
    advice = outcome.beside.get("blower_advice") if outcome else None
    if not advice:
        return None

    def flow(value_m3_s: float, half_width_m3_s: float | None) -> str:
        half = half_width_m3_s
        shown = units.show(
            value_m3_s,
            dimensions.FLOW,
            low_si=None if half is None else value_m3_s - half,
            high_si=None if half is None else value_m3_s + half,
        )
        if shown is None:
            return "–"
        return shown.plain

    return BlowerAdvice(
        sentence=sentence_with(advice, flow),
        cautions=tuple(one["message"] for one in advice.get("cautions") or ()),
        validity=tuple(advice.get("validity") or ()),
        precedence=advice.get("precedence") or "",
    )


def why_no_advice(outcome: Outcome | None) -> str:
    """Return why there is no advice on the blower, where that is worth saying."""
    return (outcome.beside.get("why_no_blower_advice") or "") if outcome else ""


def comparisons(outcome: Outcome | None, units: Units) -> list[Comparison]:
    """Return other ways to the same flow, leakage, and how the prediction came out."""
    if outcome is None:
        return []
    found = [_cross_check(one, units) for one in outcome.beside.get("cross_checks") or ()]
    leakage = outcome.beside.get("leakage")
    if leakage:
        found.append(_leakage(leakage, units))
    left = outcome.beside.get("as_left_check")
    if left:
        found.append(Comparison("Before and after", left["sentence"], "as-left"))
    return found


def _flow(value: float | None, low: float | None, high: float | None, units: Units) -> str:
    shown = units.show(value, dimensions.FLOW, low_si=low, high_si=high)
    return shown.plain if shown else "–"


def _cross_check(check: dict[str, Any], units: Units) -> Comparison:
    title = METHODS.get(check["method"], check["method"].replace("_", " ").capitalize())
    if check["kind"] == "external_static":
        static = units.show(
            check["external_static"],
            dimensions.PRESSURE,
            low_si=check["external_static_low"],
            high_si=check["external_static_high"],
        )
        most = units.show(check.get("max_external_static"), dimensions.PRESSURE)
        says = f"It is {static.plain if static else '–'}"
        if most is not None:
            says += f"; the nameplate allows {most.plain}"
    else:
        other = _flow(
            check.get("other_flow"),
            check.get("other_flow_low"),
            check.get("other_flow_high"),
            units,
        )
        difference = check.get("relative_difference")
        says = f"It gives {other} of {check.get('basis', 'standard')} air"
        if difference is not None:
            says += f", {percent(difference, 1, signed=True)} against the traverse"
    agreement = {
        True: ". They agree within their joint interval.",
        False: ". That is more than both leave open.",
        None: ".",
    }[check.get("agrees")]
    if check["kind"] == "external_static":
        agreement = {
            True: ": within it.",
            False: ": over it.",
            None: ": too close to tell whether it is over." if most is not None else ".",
        }[check.get("agrees")]
    note = f" {check['note']}" if check.get("note") else ""
    return Comparison(title, says + agreement + note, "cross-checks")


def _leakage(leakage: dict[str, Any], units: Units) -> Comparison:
    less = leakage["flow_difference"] < 0
    ends = (leakage["flow_difference_low"], leakage["flow_difference_high"])
    low, high = (-ends[1], -ends[0]) if less else ends
    difference = _flow(abs(leakage["flow_difference"]), low, high, units)
    meaning = (
        "the ducts seem to leak between the two"
        if leakage["excludes_zero"]
        else "no leakage can be shown"
    )
    return Comparison(
        "Return and supply",
        f"In standard air the supply carries {difference} {'less' if less else 'more'} than the "
        f"return: {meaning}.",
        "leakage",
    )

"""Return against supply: what is lost or drawn in between, compared in standard flow.

The later of the two traverses says it, once; both must be of one stage of one visit (or one of
them a check), in the same state, with nothing changed in between, each through a section that
carries all of the system's flow.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from airflow_jobs.calc.flow_sums import summed_flow
from airflow_jobs.findings import Found, found
from airflow_jobs.models import AirPath
from airflow_jobs.wording import percent

from .beside import plain_setting
from .companions import Companion
from .measured_flows import MeasuredFlow

IN_BETWEEN = (
    "Look at the joints between the two sections, the cabinet and its panels; an outdoor intake, "
    "or a section that doesn't carry all of the flow, would show in the same way."
)


def return_against_supply(
    later: MeasuredFlow, other: MeasuredFlow, companion: Companion
) -> tuple[dict[str, Any] | None, list[Found]]:
    """Return supply less return in standard flow, and what is worth saying of it.

    Parameters
    ----------
    later
        The flow whose result says it.
    other
        The flow on the other side of the blower.
    companion
        How the other is related.

    Returns
    -------
    The difference with its 95 % interval (None where the two can't be compared),
    and a finding where the interval excludes zero and neither is indicative.

    Notes
    -----
    What the two share is kept correlated: the errors of one meter, and of the one air where both
    temperatures were read. JCGM 100:2008, 5.2.2. The coverage factor is the larger of the two.
    """
    settings = {plain_setting(item.inputs.state.get("blower_setting")) for item in (later, other)}
    if len(settings - {""}) > 1 or _was_changed_between(other, later):
        return None, []
    is_supply = later.inputs.air_path == AirPath.SUPPLY
    supply, back = (later, other) if is_supply else (other, later)
    doubts = (supply.standard_doubt, back.standard_doubt)
    difference = summed_flow(
        np.array([supply.standard_m3_s, back.standard_m3_s]),
        sign=np.array([1.0, -1.0]),
        own_relative_u=np.array([np.hypot(doubt.own, doubt.section) for doubt in doubts]),
        shared_relative_u=np.array([[doubt.meter for doubt in doubts], [d.air for d in doubts]]),
        shared_with=np.array(
            [
                [0, 0 if companion.same_meter else 1],
                [0, 0 if supply.shares_air_with(back) else 1],
            ]
        ),
    )
    value = difference.flow_m3_s
    factor = max(supply.coverage_factor, back.coverage_factor)
    half_width = factor * difference.standard_uncertainty_m3_s
    indicative = supply.indicative or back.indicative
    excludes_zero = abs(value) > half_width
    said = []
    if excludes_zero and not indicative:
        said.append(found("possible_leakage", _in_words(value, half_width, back.standard_m3_s)))
    return {
        "return_flow": back.standard_m3_s,
        "supply_flow": supply.standard_m3_s,
        "flow_difference": value,
        "flow_difference_low": value - half_width,
        "flow_difference_high": value + half_width,
        "relative_difference": value / back.standard_m3_s,
        "relative_half_width": half_width / back.standard_m3_s,
        "excludes_zero": excludes_zero,
        "indicative": indicative,
        "other_traverse": companion.traverse,
    }, said


def _was_changed_between(earlier: MeasuredFlow, later: MeasuredFlow) -> bool:
    since = earlier.inputs.beside.taken_at
    return since is not None and any(
        change.made_at >= since for change in later.inputs.beside.changes
    )


def _in_words(value: float, half_width: float, return_flow: float) -> str:
    relative, give_or_take = value / return_flow, half_width / return_flow
    how = (
        "less standard air than the return: air may be lost"
        if relative < 0.0
        else "more standard air than the return: air may be drawn in"
    )
    return (
        f"The supply carries {percent(abs(relative))} (±{percent(give_or_take)} of the return) "
        f"{how} in between. {IN_BETWEEN}"
    )

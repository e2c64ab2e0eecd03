"""Blower advice in one sentence, put together where it is shown, in the units asked for.

Imports nothing but `units`, so that the API and the pages can both use it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

from airflow_jobs.units import FLOW, from_si

FlowWords = Callable[[float, float | None], str]
"""A flow in m3/s and, if it has one, the half-width of its interval, as text with its unit."""


def advice_sentence(advice: Mapping[str, Any], units: str) -> str:
    """Return blower advice in one or two sentences, flows rounded by their interval.

    Parameters
    ----------
    advice
        `blower_advice` of a result, in SI.
    units
        `si` or `ip`.
    """
    unit = FLOW.answer_unit(units)

    def flow(value_m3_s: float, half_width_m3_s: float | None) -> str:
        value = from_si(value_m3_s, unit, FLOW)
        if half_width_m3_s is None:
            return f"{_rounded(value, abs(value) / 100.0)} {unit}"
        half = from_si(half_width_m3_s, unit, FLOW)
        return f"{_rounded(value, half)} ± {_rounded(half, half)} {unit}"

    return sentence_with(advice, flow)


def sentence_with(advice: Mapping[str, Any], flow: FlowWords) -> str:
    """Return blower advice in words, with flows as the caller writes them.

    Parameters
    ----------
    advice
        `blower_advice` of a result, in SI.
    flow
        How a flow is written.
    """
    target = flow(advice["target_flow"], None)
    air = f"{advice['basis']} air"
    if advice["kind"] == "set_programmed_flow":
        return f"Set the programmed flow to {target} of {air}."
    half = 0.5 * (advice["expected_flow_high"] - advice["expected_flow_low"])
    words = (
        f"{change_words(advice)}: expect {flow(advice['expected_flow'], half)} of {air}; "
        f"the target is {target}."
    )
    if advice.get("is_one_step_of_more"):
        return f"{words} It takes more than this one step: measure again, then go on."
    if advice.get("to_setting") and not advice["expected_in_range"]:
        return f"{words} It comes nearer, but stays outside of the range."
    return words


def change_words(advice: Mapping[str, Any]) -> str:
    """Return the change that is advised, without what to expect of it.

    Parameters
    ----------
    advice
        `blower_advice` of a result that is not to set a programmed flow.
    """
    before, after = advice["from_setting"], advice["to_setting"]
    if advice["by"] == "makers_table":
        return f"Change the blower from {before} to {after}"
    percent = 100.0 * (advice["speed_ratio"] - 1.0)
    how = "faster" if percent > 0.0 else "slower"
    if advice["kind"] == "change_setting":
        return f"Choose a setting about {abs(percent):.0f} % {how} in speed"
    speeds = f" (from {before} to about {after})" if before and after else ""
    return f"Run the blower {abs(percent):.0f} % {how}{speeds}"


def _rounded(value: float, uncertainty: float) -> str:
    """Write a number with one digit of its uncertainty, with two where it begins with 1 or 2.

    Common practice, after JCGM 100:2008, 7.2.6.
    """
    if not uncertainty > 0.0:
        return f"{value:,.6g}"
    exponent = math.floor(math.log10(uncertainty))
    places = -exponent if uncertainty / 10.0**exponent >= 3.0 else 1 - exponent
    return f"{round(value, places):,.{max(places, 0)}f}"

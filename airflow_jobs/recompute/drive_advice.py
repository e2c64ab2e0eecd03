"""Advice by how the blower is driven: how far to go in speed, and what to expect of it."""

from __future__ import annotations

from typing import Any

from airflow_jobs.calc.fan_advice import fan_advice
from airflow_jobs.calc.fans import FanBelief
from airflow_jobs.calc.speed_outcomes import Expected, outcome_at_speed, response_interval
from airflow_jobs.models import FanDrive

from .adjusted_speeds import speed_in
from .beside import Beside
from .cautions import cautions_for, worded
from .system_flows import OffTarget
from .table_advice import LEAST_STATIC_PA


def advice_by_drive(
    target: OffTarget, beside: Beside, belief: FanBelief, notes: list[str]
) -> dict[str, Any]:
    """Return a step in speed with what it does, or the flow to programme.

    Parameters
    ----------
    target
        The flow and what it should be.
    beside
        What was recorded beside it.
    belief
        What is known of fan and system.
    notes
        Why the maker's table, if there is one, can't be used.
    """
    advised = fan_advice(
        flow_m3_s=target.flow_m3_s,
        target_flow_m3_s=target.target_m3_s,
        relative_standard_uncertainty=target.relative_u,
        drive=beside.fan_drive,  # type: ignore[arg-type]  # a named constraint holds it
        cooling_capacity_w=target.cooling_capacity_w,
        needs_minimum_airflow=beside.needs_minimum_airflow,
        burns_fuel=beside.burns_fuel,
        belief=belief,
    )
    if advised.step is None or advised.expected is None:
        return {
            **target.advice(kind=advised.kind, by="drive"),
            "validity": [
                *notes,
                "The blower holds the flow that is programmed. Where it misses that flow, it is "
                "at its limit: look for the resistance instead.",
            ],
            "cautions": worded(
                [*advised.cautions, *cautions_for(target, beside, target.target_m3_s)]
            ),
        }
    ratio = float(advised.step.step_ratio)
    expected = target.expected_flow(
        float(advised.expected.flow_m3_s),
        float(advised.expected.low_m3_s),
        float(advised.expected.high_m3_s),
    )
    outcome = outcome_at_speed(belief, ratio)
    return {
        **target.advice(kind=advised.kind, by="fan_laws"),
        "to_setting": _setting_at(target.system.setting, ratio),
        "speed_ratio": ratio,
        "speed_ratio_to_target": float(advised.step.wanted_ratio),
        "is_one_step_of_more": bool(advised.step.is_limited),
        **expected,
        **_expected_static(beside, outcome.pressure_ratio),
        **_ratios("pressure_ratio", outcome.pressure_ratio),
        **_ratios("power_ratio", outcome.power_ratio),
        **_ratios("response_exponent", response_interval(belief)),
        "validity": [
            *notes,
            "For a fan on the falling side of its curve and ducts left as they are; one step "
            "changes the speed by 15 % at most, then measure again.",
            *_of_the_drive(beside, ratio),
        ],
        "cautions": worded(
            [*advised.cautions, *cautions_for(target, beside, expected["expected_flow"])]
        ),
    }


def _of_the_drive(beside: Beside, speed_ratio: float) -> list[str]:
    if beside.fan_drive == FanDrive.VARIABLE_FREQUENCY and speed_ratio > 1.0:
        return ["No further than the nameplate frequency of motor and drive."]
    return []


def _setting_at(setting: str, speed_ratio: float) -> str | None:
    """Return the setting for another speed where the setting is a speed."""
    speed = speed_in(setting)
    return None if speed is None or not speed.unit else speed.times(speed_ratio).words


def _expected_static(beside: Beside, ratio: Expected) -> dict[str, float]:
    static = beside.static(beside.stage)
    if static is None or static.external_static_pa <= LEAST_STATIC_PA:
        return {}
    return {
        key: factor * static.external_static_pa
        for key, factor in (
            ("expected_external_static", ratio.middle),
            ("expected_external_static_low", ratio.low),
            ("expected_external_static_high", ratio.high),
        )
    }


def _ratios(name: str, expected: Expected) -> dict[str, float]:
    return {
        name: expected.middle,
        f"{name}_low": expected.low,
        f"{name}_high": expected.high,
    }

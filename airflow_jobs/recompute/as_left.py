"""How the flow as left came out against what the change of the blower promised.

The promise is made anew from the flow as found: by the fan's response to a change of speed, or
by the maker's table to a change of setting.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from airflow_jobs.calc.crosschecks import COVERAGE_FACTOR_95
from airflow_jobs.calc.fan_laws import FASTEST_RATIO, SLOWEST_RATIO
from airflow_jobs.calc.fans import (
    PRIOR,
    FanBelief,
    FlowPrediction,
    as_left_score,
    belief_after,
    predicted_flow,
)
from airflow_jobs.findings import Found, found
from airflow_jobs.models import Stage
from airflow_jobs.wording import percent

from .adjusted_speeds import BlowerChange, change_between
from .beside import Beside, plain_setting
from .companions import Companion
from .measured_flows import MeasuredFlow
from .table_advice import held_to_table

MISSED: Final = 2.0
"""Beyond so many standard deviations something else changed too. Common practice."""
LEAST_CHANGE: Final = 1e-3
"""A speed that changed by less says nothing of the fan."""


@dataclass(frozen=True, slots=True)
class AsLeftCheck:
    """What was promised, how it came out, and what that teaches about the fan."""

    values: dict[str, Any] | None = None
    said: tuple[Found, ...] = ()
    belief: FanBelief = PRIOR


def as_left_check(
    left: MeasuredFlow, found_flow: MeasuredFlow, companion: Companion, beside: Beside
) -> AsLeftCheck:
    """Hold a flow as left against what was to be expected from the one as found.

    Parameters
    ----------
    left, found_flow
        After and before.
    companion
        How the one as found is related.
    beside
        What was recorded beside the one as left.
    """
    before_at, after_at = found_flow.inputs.beside.taken_at, beside.taken_at
    assert before_at is not None
    assert after_at is not None
    change = change_between(
        beside.changes,
        found_at=before_at,
        left_at=after_at,
        found_setting=_setting(found_flow),
        left_setting=_setting(left),
    )
    # Another call runs another setting by itself: nothing is promised across calls.
    if change is None or found_flow.inputs.call != left.inputs.call:
        return AsLeftCheck()
    same_air = left.shares_air_with(found_flow)
    before_u, after_u = (
        flow.actual_doubt.apart_from(
            same_meter=companion.same_meter,
            same_section=companion.same_section,
            same_air=same_air,
        )
        for flow in (found_flow, left)
    )
    promised = _promised(found_flow, before_u, change, beside)
    if promised is None:
        return AsLeftCheck()
    by, prediction = promised
    score = float(
        as_left_score(
            flow_m3_s=left.actual_m3_s,
            prediction=prediction,
            first_independent_uncertainty=before_u,
            second_independent_uncertainty=after_u,
        )
    )
    belief = PRIOR
    if by == "speed" and not change.also and change.speed_ratio is not None:
        belief = belief_after(
            PRIOR,
            speed_ratio=change.speed_ratio,
            flow_ratio=left.actual_m3_s / found_flow.actual_m3_s,
            relative_standard_uncertainty=max(float(np.hypot(before_u, after_u)), LEAST_CHANGE),
        )
    sentence = _sentence(left, prediction, score, change)
    came_out = "as_expected" if abs(score) <= MISSED else "above" if score > 0.0 else "below"
    values = {
        "by": by,
        "from_setting": change.from_setting,
        "to_setting": change.to_setting,
        "speed_ratio": change.speed_ratio,
        "found_flow": found_flow.actual_m3_s,
        "expected_flow": float(prediction.flow_m3_s),
        "expected_flow_low": float(prediction.low_m3_s),
        "expected_flow_high": float(prediction.high_m3_s),
        "measured_flow": left.actual_m3_s,
        "basis": "actual",
        "score": score,
        "came_out": came_out,
        "also_changed": list(change.also),
        "response_exponent": belief.mean_response if by == "speed" else None,
        "sentence": sentence,
        "other_traverse": companion.traverse,
    }
    # Where a filter or a damper was changed too, the flow is expected to come out otherwise.
    is_missed = came_out != "as_expected" and not change.also
    said = (found("prediction_missed", sentence),) if is_missed else ()
    return AsLeftCheck(values, said, belief)


def _setting(flow: MeasuredFlow) -> str:
    return str(flow.inputs.state.get("blower_setting") or "")


def _promised(
    found_flow: MeasuredFlow, before_u: float, change: BlowerChange, beside: Beside
) -> tuple[str, FlowPrediction] | None:
    """Return by what the flow can be predicted, and the prediction."""
    ratio = change.speed_ratio
    if ratio is not None:
        if not SLOWEST_RATIO <= ratio <= FASTEST_RATIO or abs(ratio - 1.0) < LEAST_CHANGE:
            return None
        return "speed", predicted_flow(
            flow_m3_s=found_flow.actual_m3_s,
            speed_ratio=ratio,
            relative_standard_uncertainty=before_u,
        )
    if beside.table is None:
        return None
    static = beside.static(Stage.AS_FOUND)
    held = held_to_table(
        beside.table,
        setting=change.from_setting,
        actual_m3_s=found_flow.actual_m3_s,
        relative_u=before_u,
        standard_over_actual=found_flow.standard_m3_s / found_flow.actual_m3_s,
        external_static_pa=None if static is None else static.external_static_pa,
        notes=[],
    )
    if held is None:
        return None
    wanted = plain_setting(change.to_setting)
    item = next((one for one in held[1].settings if plain_setting(one.setting) == wanted), None)
    if item is None or not item.flow_m3_s > 0.0:
        return None
    reach = float(np.exp(COVERAGE_FACTOR_95 * item.relative_u))
    return "makers_table", FlowPrediction(
        flow_m3_s=np.float64(item.flow_m3_s),  # type: ignore[arg-type]
        low_m3_s=np.float64(item.flow_m3_s / reach),  # type: ignore[arg-type]
        high_m3_s=np.float64(item.flow_m3_s * reach),  # type: ignore[arg-type]
        model_standard_uncertainty=np.float64(item.model_relative_u),  # type: ignore[arg-type]
    )


def _sentence(
    left: MeasuredFlow, prediction: FlowPrediction, score: float, change: BlowerChange
) -> str:
    expected = float(prediction.flow_m3_s)
    off = left.actual_m3_s / expected - 1.0
    where = (
        "just as"
        if abs(off) < 0.005
        else f"{percent(abs(off))} {'above' if off > 0 else 'below'} what"
    )
    give_or_take = 0.5 * float(prediction.high_m3_s - prediction.low_m3_s) / expected
    words = (
        f"From {change.from_setting} to {change.to_setting} the flow came out {where} was to be "
        f"expected from as found (good to ±{percent(give_or_take)})."
    )
    if change.also:
        others = ", ".join(kind.replace("_", " ") for kind in change.also)
        return f"{words} Changed as well: {others}."
    if abs(score) > MISSED:
        return f"{words} That is more than both measurements leave open: something else changed."
    return words

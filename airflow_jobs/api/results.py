"""Results as the API answers them: the SI numbers of a result with their units put on."""

from __future__ import annotations

from typing import Any, Final

from airflow_jobs.advice_words import advice_sentence
from airflow_jobs.models import Computation, State
from airflow_jobs.units import (
    AREA,
    DENSITY,
    FLOW,
    FLOW_PER_CAPACITY,
    LENGTH,
    MASS_FLOW,
    PRESSURE,
    VELOCITY,
    Dimension,
    quantity,
)

QUANTITIES: Final[dict[str, Dimension]] = {
    "air_density": DENSITY,
    "standard_density": DENSITY,
    "inside_area": AREA,
    "hydraulic_diameter": LENGTH,
    "velocity_indicated": VELOCITY,
    "velocity_mean": VELOCITY,
    "velocity_max": VELOCITY,
    "velocity_after": VELOCITY,
    "flow_actual": FLOW,
    "flow_standard": FLOW,
    "mass_flow": MASS_FLOW,
    "flow_per_capacity": FLOW_PER_CAPACITY,
    **dict.fromkeys(
        (
            "measured_flow",
            "found_flow",
            "target_flow",
            "expected_flow",
            "expected_flow_low",
            "expected_flow_high",
            "other_flow",
            "other_flow_low",
            "other_flow_high",
            "return_flow",
            "supply_flow",
            "flow_difference",
            "flow_difference_low",
            "flow_difference_high",
        ),
        FLOW,
    ),
    "expected_flow_per_capacity": FLOW_PER_CAPACITY,
    **dict.fromkeys(
        (
            "external_static",
            "external_static_low",
            "external_static_high",
            "expected_external_static",
            "expected_external_static_low",
            "expected_external_static_high",
            "max_external_static",
        ),
        PRESSURE,
    ),
}
"""The key of a number in a result says what it is a number of."""


def render_values(values: dict[str, Any], units: str) -> dict[str, Any]:
    """Return a result's values with quantities in `si` or `ip`, full precision."""
    rendered = {key: _rendered(key, item, units) for key, item in values.items()}
    if values.get("target"):
        rendered["target"] = _target(values["target"], units)
    if values.get("guard_band") and values.get("target"):
        dimension = _judged_dimension(values["target"])
        rendered["guard_band"] = {
            key: quantity(value, dimension, units) for key, value in values["guard_band"].items()
        }
    if values.get("blower_advice"):
        rendered["blower_advice"]["sentence"] = advice_sentence(values["blower_advice"], units)
    if values.get("interval95"):
        rendered["interval95"] = {
            key: bounds
            and {end: quantity(value, QUANTITIES[key], units) for end, value in bounds.items()}
            for key, bounds in values["interval95"].items()
        }
    return rendered


def render_result(computation: Computation | None, units: str) -> dict[str, Any]:
    """Return the `result` of a traverse or flow-set, whatever its state.

    While a computation is pending, `previous` keeps the last values; a failed one says why.
    """
    if computation is None:
        return {"state": State.PENDING.value, "settled_at": None, "previous": None}
    state = {"state": computation.state, "settled_at": computation.settled_at}
    kept = None
    if computation.result is not None:
        row = computation.result
        kept = {
            "engine": row.engine,
            "computed_at": row.computed_at,
            "inputs_digest": row.inputs_digest,
            **render_values(row.values, units),
        }
    if computation.state == State.COMPUTED:
        assert kept is not None
        return {**state, **kept, "previous": None}
    if computation.state == State.FAILED:
        return {**state, "reason": computation.failure, "previous": kept}
    return {**state, "previous": kept}


def render_preview(values: dict[str, Any], engine: str, units: str) -> dict[str, Any]:
    """Return a result that was computed but not stored."""
    return {"state": "computed", "engine": engine, **render_values(values, units), "previous": None}


def _rendered(key: str, item: Any, units: str) -> Any:
    if isinstance(item, dict):
        return {inner: _rendered(inner, value, units) for inner, value in item.items()}
    if isinstance(item, list):
        return [_rendered(key, value, units) for value in item]
    dimension = QUANTITIES.get(key)
    if dimension is None or isinstance(item, bool) or not isinstance(item, int | float):
        return item
    return quantity(float(item), dimension, units)


def _judged_dimension(target: dict[str, Any]) -> Dimension:
    return QUANTITIES["flow_standard" if target["quantity"] == "flow" else "flow_per_capacity"]


def _target(target: dict[str, Any], units: str) -> dict[str, Any]:
    dimension = _judged_dimension(target)
    return {
        **target,
        **{key: quantity(target[key], dimension, units) for key in ("low", "nominal", "high")},
    }

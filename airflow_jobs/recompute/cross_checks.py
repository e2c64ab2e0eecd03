"""The same flow by another way, and the static pressure against what the unit may have.

A check never changes the flow; where two ways disagree, a finding says so.
"""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass
from typing import Any, Final

from airflow_jobs.calc.blower_tables import STATIC_U_PA
from airflow_jobs.calc.crosschecks import COVERAGE_FACTOR_95, agreement, heat_balance_flow
from airflow_jobs.findings import Found, found
from airflow_jobs.models import Basis, Call
from airflow_jobs.wording import in_pascals, percent

from .beside import Beside, Heat, OtherFlow

# A flow known without a traverse and without an uncertainty of its own: common practice.
FLOW_READING_RELATIVE_U: Final = 0.075
ELECTRIC_HEAT_U: Final = 0.03
"""Of a measured electric power. Common practice."""
FUEL_HEAT_U: Final = 0.05
"""Of a fuel's input times an efficiency; a nameplate is no better. Common practice."""

METHOD_WORDS: Final = {
    "electric_heat": "the temperature rise over electric heat",
    "fuel_heat": "the temperature rise over the burner",
    "capture_hood": "the capture hood",
    "flow_grid": "the flow grid",
    "maker_table": "the maker's table",
    "historical": "the flow from earlier records",
}


@dataclass(frozen=True, slots=True)
class KnownFlow:
    """A system's flow, as it is held against other ways of knowing it."""

    standard_m3_s: float
    actual_m3_s: float
    standard_relative_u: float
    actual_relative_u: float
    meter_relative_u: float
    """The part that another reading of the same meter would share."""
    standard_density_kg_m3: float
    specific_heat_j_kg_k: float
    call: str


def cross_checks(
    known: KnownFlow | None, beside: Beside
) -> tuple[list[dict[str, Any]], list[Found]]:
    """Return every check that what was recorded allows, and what is worth saying of it.

    Parameters
    ----------
    known
        The flow of the whole system; None where there is none.
    beside
        What was recorded beside it.
    """
    checks: list[dict[str, Any]] = []
    said: list[Found] = []
    if known is not None:
        for heat in beside.heats:
            if heat.leaving_c <= heat.entering_c or heat.heat_w <= 0.0:
                said.append(found("temperature_rise_unlikely"))
            else:
                checks.append(_by_heat(known, heat))
        checks += [_by_reading(known, reading) for reading in beside.flows]
        said += [_disagreement(check) for check in checks if check["agrees"] is False]
    static = _external_static(beside)
    if static is not None:
        checks.append(static)
        if static["agrees"] is False:
            said.append(_static_high(static))
    return checks, said


def _by_heat(known: KnownFlow, heat: Heat) -> dict[str, Any]:
    balance = heat_balance_flow(
        heat_w=heat.heat_w,
        entering_c=heat.entering_c,
        leaving_c=heat.leaving_c,
        density_kg_m3=known.standard_density_kg_m3,
        specific_heat_j_kg_k=known.specific_heat_j_kg_k,
        heat_relative_uncertainty=FUEL_HEAT_U if heat.is_fuel else ELECTRIC_HEAT_U,
    )
    is_comparable = known.call == Call.HEATING
    return _check(
        kind="heat_balance",
        method="fuel_heat" if heat.is_fuel else "electric_heat",
        taken_at=heat.taken_at,
        basis=Basis.STANDARD,
        flow_m3_s=float(balance.flow_m3_s),
        relative_u=float(balance.relative_standard_uncertainty),
        known_m3_s=known.standard_m3_s,
        known_u=known.standard_relative_u,
        note=""
        if is_comparable
        else "The heat was on for this, but the traverse wasn't taken in heating: the blower may "
        "have run at another speed, so the two aren't held against each other.",
        is_comparable=is_comparable,
    )


def _by_reading(known: KnownFlow, reading: OtherFlow) -> dict[str, Any]:
    own = reading.relative_half_width
    relative_u = own / COVERAGE_FACTOR_95 if own else FLOW_READING_RELATIVE_U
    return _check(
        kind="flow_reading",
        method=reading.method,
        taken_at=reading.taken_at,
        basis=Basis.ACTUAL,
        flow_m3_s=reading.flow_m3_s,
        relative_u=relative_u,
        known_m3_s=known.actual_m3_s,
        known_u=known.actual_relative_u,
        shared_u=min(known.meter_relative_u, relative_u) if reading.same_meter else 0.0,
        note=""
        if own
        else "No uncertainty is on record for it; "
        f"±{percent(2 * FLOW_READING_RELATIVE_U)} was taken.",
    )


def _check(
    *,
    kind: str,
    method: str,
    taken_at: datetime.datetime,
    basis: str,
    flow_m3_s: float,
    relative_u: float,
    known_m3_s: float,
    known_u: float,
    shared_u: float = 0.0,
    note: str,
    is_comparable: bool = True,
) -> dict[str, Any]:
    compared = agreement(
        first_flow_m3_s=flow_m3_s,
        second_flow_m3_s=known_m3_s,
        first_relative_uncertainty=relative_u,
        second_relative_uncertainty=known_u,
        shared_relative_uncertainty=min(shared_u, known_u),
    )
    half_width = COVERAGE_FACTOR_95 * relative_u * flow_m3_s
    return {
        "kind": kind,
        "method": method,
        "taken_at": taken_at.isoformat(),
        "basis": str(basis),
        "other_flow": flow_m3_s,
        "other_flow_low": flow_m3_s - half_width,
        "other_flow_high": flow_m3_s + half_width,
        "measured_flow": known_m3_s,
        "relative_difference": math.expm1(float(compared.log_ratio)),
        "relative_half_width": float(compared.joint_half_width),
        "agrees": bool(compared.agree) if is_comparable else None,
        "note": note,
    }


def _disagreement(check: dict[str, Any]) -> Found:
    difference = check["relative_difference"]
    return found(
        "methods_disagree",
        f"By {METHOD_WORDS.get(check['method'], check['method'])} the flow is "
        f"{percent(abs(difference))} {'more' if difference > 0 else 'less'} than by the traverse; "
        f"±{percent(check['relative_half_width'])} would be explained by what both leave open.",
    )


def is_static_within(external_static_pa: float, most_pa: float) -> bool | None:
    """Return whether an external static is within what the unit may have; None: too close to tell.

    Over and within are said only where the whole 95 % interval lies there, as of a flow.
    """
    half_width = COVERAGE_FACTOR_95 * STATIC_U_PA
    if external_static_pa - half_width > most_pa:
        return False
    return True if external_static_pa + half_width <= most_pa else None


def _external_static(beside: Beside) -> dict[str, Any] | None:
    static, most = beside.static(beside.stage), beside.max_external_static_pa
    if static is None or not most:
        return None
    value = static.external_static_pa
    half_width = COVERAGE_FACTOR_95 * STATIC_U_PA
    return {
        "kind": "external_static",
        "method": "static_pressure",
        "taken_at": static.taken_at.isoformat(),
        "external_static": value,
        "external_static_low": value - half_width,
        "external_static_high": value + half_width,
        "max_external_static": most,
        "agrees": is_static_within(value, most),
        "note": "",
    }


def _static_high(check: dict[str, Any]) -> Found:
    value, most = check["external_static"], check["max_external_static"]
    half_width = check["external_static_high"] - value
    return found(
        "external_static_high",
        f"Total external static is {in_pascals(value, half_width)}, over the {in_pascals(most)} "
        "that the unit may have.",
    )

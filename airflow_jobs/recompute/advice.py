"""What to do about the blower: by the maker's table where there is one, else by its drive.

Advice is numbers in SI, names of settings and codes with their words; the sentence is put
together where it is shown, in the units asked for. Where there is no advice, the reason stands
in its place.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from airflow_jobs.calc.fans import FanBelief
from airflow_jobs.findings import Found
from airflow_jobs.models import Call, Verdict

from .beside import Beside
from .drive_advice import advice_by_drive
from .system_flows import OffTarget, SystemFlow
from .table_advice import advice_by_table

NEAR_NOMINAL: Final = 0.05
"""Within this of nominal a system in range is left alone. Common practice."""


def blower_advice(
    system: SystemFlow, beside: Beside, said: Sequence[Found], belief: FanBelief
) -> tuple[dict[str, Any] | None, str | None]:
    """Return what to do about the blower and None, or None and why there is no advice.

    Parameters
    ----------
    system
        The flow and how it was judged.
    beside
        What was recorded beside it.
    said
        Findings so far: after a serious one the flow is not to be acted on.
    belief
        What is known of fan and system.
    """
    reason = _why_not_judged(system) or _why_not_trusted(system, said)
    if reason is not None:
        return None, reason
    flow, relative_u, nominal = system.flow_m3_s, system.relative_u, system.nominal_m3_s
    if flow is None or relative_u is None or flow <= 0.0 or nominal is None or system.aim is None:
        return None, "There is no estimate of the flow that a change could be based on."
    is_inside = Verdict.IN_RANGE in (system.verdict, system.leaning)
    # Judged against nominal, not just inside: far from it, a flow in range is worth a step.
    near = max(NEAR_NOMINAL, system.coverage_factor * relative_u)
    if is_inside and abs(nominal / flow - 1.0) <= near:
        return None, "The flow is as near to nominal as it can be told: leave the blower alone."
    target = OffTarget(flow, relative_u, nominal, system.aim, system)
    notes: list[str] = []
    if beside.table is not None:
        advised = advice_by_table(target, beside, beside.table, notes)
        if advised is not None:
            return advised
    return advice_by_drive(target, beside, belief, notes), None


def _why_not_judged(system: SystemFlow) -> str | None:
    if not system.carries_all:
        return (
            "This is the flow in one duct of several: the blower is set by the system's flow, "
            "which is that of the flow-set."
        )
    if system.nominal_m3_s is not None and system.verdict != Verdict.NOT_JUDGED:
        return None
    if system.call == Call.UNKNOWN:
        return "What the system was asked to do isn't on record, so there is no target."
    if system.effective_call == Call.FAN_ONLY:
        return "Fan-only often runs another speed: measure in cooling or heating."
    if system.effective_call == Call.HEATING and system.aim is None:
        return "Heating is set by a design flow and the nameplate's rise; no design flow is known."
    if system.aim is None:
        return "There is no target for this system in this operating state."
    if system.nominal_m3_s is None:
        return "The system's capacity isn't on record, so there is no target flow."
    return "There is no estimate of the flow that a change could be based on."


def _why_not_trusted(system: SystemFlow, said: Sequence[Found]) -> str | None:
    serious = next((item for item in said if item.finding.severity == "serious"), None)
    if serious is not None:
        return f"First clear this up, then measure again: {serious.message}"
    if system.basis_is_open:
        return "First look up whether the target is for standard or for actual air."
    return None

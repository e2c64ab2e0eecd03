"""The sentences of a visit's report."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, Final

from airflow_jobs.display import day_text
from airflow_jobs.found_off import CalibrationFound
from airflow_jobs.models import Call, EquipmentKind, Verdict
from airflow_jobs.words import misread_text

from .values import Standing, SystemReport

PRECEDENCE: Final = (
    "Local code, the maker's instructions and the licensed professional on site come before what "
    "this report says."
)
HOW_TO_READ: Final = (
    "Each large number is the best estimate; the true value lies between the ends given with 95 % "
    "confidence."
)
TOO_CLOSE: Final = "“Too close to call” means that the interval reaches over a limit of the target."
BASIS_DECIDES: Final = (
    "“The target's basis decides” means that it is not on record for sure whether the target is of "
    "standard or of actual air, and that the answer hangs on it."
)
REFRIGERANT: Final = (
    "The refrigerant charge can be set right only on the right airflow, and by certified people."
)
NOT_LEFT: Final = "Not measured as left."
NOT_FOUND: Final = "Not measured as found."
BEING_COMPUTED: Final = "Being computed: the number is not in this report yet."
COMPUTED_AGAIN: Final = (
    "Being computed again, because something that it depends on was changed; these are the "
    "previous values."
)
NOT_COMPUTED: Final = "It was measured, but its result could not be computed."
NOTHING_READ: Final = "There is no flow to show: too little was read."

_WITH_REFRIGERANT: Final = frozenset(
    {
        EquipmentKind.SPLIT_SYSTEM,
        EquipmentKind.HEAT_PUMP,
        EquipmentKind.PACKAGED_UNIT,
        EquipmentKind.FURNACE_WITH_COIL,
    }
)

# Of the findings these are the customer's business: what makes the number weaker, and what to
# see to. The rest is for whoever measures, and stands on the traverse's page.
FOR_CUSTOMERS: Final = frozenset(
    {
        "dry_bulb_assumed",
        "pressure_from_sea_level",
        "accuracy_unknown",
        "compensation_unknown",
        "calibration_overdue",
        "calibration_missing",
        "below_instrument_range",
        "above_instrument_range",
        "dead_band",
        "pitot_too_slow",
        "swirl_not_correctable",
        "backflow",
        "profile_uneven",
        "readings_missing",
        "line_missing",
        "too_few_readings",
        "overall_average_only",
        "pressures_averaged",
        "velocity_high_for_residence",
        "siting_poor",
        "disturbance_near",
        "blades_near",
        "flexible_duct",
        "target_basis_needed",
        "methods_disagree",
        "external_static_high",
        "possible_leakage",
        "as_left_before_as_found",
        "states_not_comparable",
    }
)
_NOT_JUDGED_BECAUSE: Final = {
    "call_unknown": "it is not on record what the system was asked to do",
    "fan_only_not_judged": "it ran fan-only, which often runs another speed",
    "part_of_system": "this duct carries only a part of the system's flow",
    "no_capacity": "the system's capacity is not on record",
    "no_target": "there is no target for it",
}


def for_customers(findings: Iterable[dict[str, Any]]) -> tuple[str, ...]:
    """Return the messages of those findings that matter to a customer; serious ones always do."""
    return tuple(
        one["message"]
        for one in findings
        if one.get("message")
        and (one.get("severity") == "serious" or one.get("code") in FOR_CUSTOMERS)
    )


def not_judged_because(findings: Iterable[dict[str, Any]]) -> str:
    """Say why a flow was not held against a target."""
    codes = {one.get("code") for one in findings}
    for code, reason in _NOT_JUDGED_BECAUSE.items():
        if code in codes:
            return f"Not judged, because {reason}."
    return "Not judged: there is no target or no capacity for it, or only a part was measured."


def in_doubt(found: CalibrationFound) -> str:
    """Say of a number that its meter was found off after it was measured."""
    return (
        f"In doubt: the calibration of {day_text(found.performed_on)} found that the meter, "
        f"{found.meter}, read {misread_text(found.change or 0.0)}. It may have done so on this day "
        "already; this number is not corrected."
    )


def summary(name: str, before: Standing | None, after: Standing | None) -> str:
    """Say how a system was found and left, and whether that is in doubt."""
    said = _summary(name, before, after)
    in_doubt = [one is not None and bool(one.in_doubt) for one in (before, after)]
    if not any(in_doubt):
        return said
    which = (
        "" if all(in_doubt) or None in (before, after) else " before" if in_doubt[0] else " after"
    )
    return (
        f"{said} That is in doubt: the meter{which} was found off later, and nothing is corrected."
    )


def _summary(name: str, before: Standing | None, after: Standing | None) -> str:
    if before is None and after is None:
        return f"{name} was measured for a check only."
    found = before.how if before else ""
    left = after.how if after else ""
    if after is None:
        return f"{name} was {_was('found', before, found)}; it was not measured as left."
    if before is None:
        return f"{name} was {_was('left', after, left)}; it was not measured as found."
    if found and found == left:
        return f"{name} was found and left {found}."
    if found and left:
        return f"{name} was found {found} and left {left}."
    return f"{name} was {_was('found', before, found)} and {_was('left', after, left)}."


def _was(act: str, standing: Standing | None, how: str) -> str:
    if how:
        return f"{act} {how}"
    when = "before the work" if act == "found" else "after it"
    if standing is not None and standing.notice == BEING_COMPUTED:
        return f"measured {when}, which is still being computed"
    if standing is not None and standing.notice == NOT_COMPUTED:
        return f"measured {when}, which could not be computed"
    return f"measured {when}, but not judged"


def how_to_read(systems: Sequence[SystemReport]) -> str:
    """Say what the large numbers are, and what those verdicts mean that need it."""
    texts = [
        text.lower()
        for system in systems
        for pair in system.pairs
        for text in (
            *(one.verdict_text for one in (pair.before, pair.after) if one),
            *pair.others,
        )
    ]
    said = [HOW_TO_READ]
    if any("too close to call" in text for text in texts):
        said.append(TOO_CLOSE)
    if any("the target's basis decides" in text for text in texts):
        said.append(BASIS_DECIDES)
    return " ".join(said)


def refrigerant_line(kind: str, calls: Iterable[tuple[str, Standing | None]]) -> str:
    """Return the caution about the refrigerant where cooling was not shown to be in range.

    Parameters
    ----------
    kind
        The kind of equipment.
    calls
        Each call with how the system stood last.
    """
    is_open = any(
        call in (Call.COOLING, Call.DEHUMIDIFY)
        and (last is None or last.verdict != Verdict.IN_RANGE)
        for call, last in calls
    )
    return REFRIGERANT if is_open and kind in _WITH_REFRIGERANT else ""


def closing_words(closing: dict[str, Any]) -> tuple[str, ...]:
    """Say how the site was left, and what of it is not on record."""
    parts = []
    for key, yes, no in (
        ("holes_plugged", "Holes plugged", "Holes not plugged"),
        ("panels_closed", "Panels closed", "Panels not closed"),
        ("guards_on", "Guards on", "Guards not on"),
    ):
        kept = closing.get(key)
        if kept is None:
            parts.append(f"{yes}: not on record")
        else:
            parts.append(yes if kept else no)
    return tuple(parts)

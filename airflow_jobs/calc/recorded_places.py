"""From what was recorded of a traverse to its plan, and to the places of its points."""

from collections.abc import Mapping, Sequence
from typing import Any

from airflow_jobs.calc.layouts import Plan
from airflow_jobs.calc.positions import plan_as_drilled
from airflow_jobs.calc.sections import DrilledSide, InsideSection


def counts_read(
    mode: str, readings: Mapping[str, Any], *, lines: int | None, points: int | None
) -> tuple[int | None, int | None]:
    """Return the lines and the points a line of a traverse's plan.

    Parameters
    ----------
    mode
        `points`, `sweeps` or `average`.
    readings
        As the record keeps them: `values` of points, `lines` of sweeps, perhaps a number of
        `lines` of an average.
    lines, points
        What the section asks for; None where the rule says.

    Returns
    -------
    (lines, points a line): as many as were read, else the section's; None where neither says.

    Examples
    --------
    >>> counts_read("points", {"values": [[2.0, 2.1], [2.2, None]]}, lines=5, points=5)
    (2, 2)
    """
    if mode == "points":
        values: Sequence[Sequence[float | None]] = readings["values"]
        return len(values), len(values[0])
    if mode == "sweeps":
        return len(readings["lines"]), points
    return readings.get("lines") or lines, points


def plan_as_recorded(
    plan: Plan,
    section: InsideSection,
    drilled_side: DrilledSide,
    *,
    drilled: Mapping[str, Any] | None,
    sent: Mapping[str, Any] | None,
) -> Plan:
    """Return where the points really were: as sent, else as drilled, else as planned.

    Parameters
    ----------
    plan
        The plan by the rule.
    section, drilled_side
        As for `positions.chords_m`.
    drilled, sent
        Positions of the section's holes and of the traverse, each `lines` (m) or `angles`
        (degrees) and `depths` (m); None or without a key where nothing is known.

    Returns
    -------
    Plan
        Equal to `plan` where nothing differs.

    Raises
    ------
    ValueError
        As for `positions.plan_as_drilled`.

    Examples
    --------
    >>> from airflow_jobs.calc.layouts import plan_for
    >>> duct = InsideSection("rectangular", 0.5, 0.5)
    >>> plan = plan_for(duct)
    >>> plan_as_recorded(plan, duct, "width", drilled=None, sent=None) is plan
    True
    """
    drilled, sent = drilled or {}, sent or {}
    along_key = "angles" if plan.shape == "round" else "lines"
    along = sent.get(along_key) or drilled.get(along_key)
    depths = sent.get("depths") or drilled.get("depths")
    if not along and not depths:
        return plan
    lines = tuple(float(value) for value in along) if along else None
    return plan_as_drilled(
        plan,
        section,
        drilled_side,
        lines_m=None if plan.shape == "round" else lines,
        angles_deg=lines if plan.shape == "round" else None,
        depths_m=(
            tuple(tuple(float(value) for value in line) for line in depths) if depths else None
        ),
    )

"""Systems found outside again: each visit held against the one before, same call, same target."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any, Final
from uuid import UUID
from zoneinfo import ZoneInfo

import numpy as np

from airflow_jobs.models import AdjustmentKind

from ..statistics.repeats import found_too_often
from ..values.filters import Filters
from ..values.returning import ChangeMade, FoundOften, NeverRight, Return, Returning, Side
from ..values.shares import Share
from ..values.systems import SystemName
from .jobs import jobs
from .measured import of_systems, parameters, rows
from .shares import shares_of

# A visit is held against one this many days before the period at most: what was left in range
# earlier than that says nothing about how well it was set.
LOOKS_BACK: Final = datetime.timedelta(days=3 * 365)
MOST_ON_PAGE: Final = 12
COUNTS: Final = (
    "total",
    "below",
    "above",
    "below_undecided",
    "above_undecided",
    "inside_undecided",
)

# One line for each system, call and visit, as found and as left side by side, with what the visit
# before left. Two visits compare where the target is the same, and where they are not of one day:
# visits of one day, which may overlap, are one occasion.
_CHAIN: Final = """
visited AS (
    SELECT coalesce(f.visit_id, l.visit_id) AS visit_id,
           coalesce(f.equipment_id, l.equipment_id) AS equipment_id,
           coalesce(f.call, l.call) AS call, coalesce(l.taken_at, f.taken_at) AS ended_at,
           coalesce(f.taken_on, l.taken_on) AS day,
           f.taken_at AS found_at, f.taken_on AS found_on, f.verdict AS found_verdict,
           f.is_below, f.is_above, f.is_below OR f.is_above AS found_outside,
           f.judged_value AS found_value, f.judged_low AS found_low, f.judged_high AS found_high,
           f.instrument_id AS found_meter_id, f.target_low, f.target_high,
           f.judged_value IS DISTINCT FROM f.flow_per_capacity_m3_s_per_w AS by_design_flow,
           l.taken_at AS left_at, l.taken_on AS left_on, l.verdict AS left_verdict,
           NOT (l.is_below OR l.is_above) AS left_inside,
           l.judged_value AS left_value, l.judged_low AS left_low, l.judged_high AS left_high,
           l.instrument_id AS left_meter_id,
           l.target_low AS left_target_low, l.target_high AS left_target_high,
           coalesce(NOT (l.is_below OR l.is_above), NOT (f.is_below OR f.is_above)) AS ends_inside
    FROM (SELECT * FROM jobs WHERE stage = 'as_found') f
    FULL JOIN (SELECT * FROM jobs WHERE stage = 'as_left') l USING (visit_id, equipment_id, call)
),
numbered AS (
    SELECT visited.*, max(ended_at) FILTER (WHERE ends_inside) OVER alike AS last_inside_at,
           lag(visit_id) OVER same AS before_visit_id, lag(left_at) OVER same AS before_left_at,
           lag(left_on) OVER same AS before_left_on, lag(left_verdict) OVER same AS before_verdict,
           lag(left_value) OVER same AS before_value, lag(left_low) OVER same AS before_low,
           lag(left_high) OVER same AS before_high, lag(left_meter_id) OVER same AS before_meter_id,
           lag(left_target_low) OVER same AS before_target_low,
           lag(left_target_high) OVER same AS before_target_high,
           coalesce(lag(left_inside) OVER same, FALSE)
           AND lag(day) OVER same IS DISTINCT FROM day AS was_left_inside,
           NOT lag(ends_inside, 1, TRUE) OVER same
           AND lag(day) OVER same IS DISTINCT FROM day AS was_outside_before
    FROM visited
    WINDOW alike AS (PARTITION BY equipment_id, call), same AS (alike ORDER BY ended_at, visit_id)
),
chain AS MATERIALIZED (
    SELECT n.*,
           coalesce(abs(n.target_low - n.before_target_low)
                    + abs(n.target_high - n.before_target_high)
                    < 1e-6 * (n.target_high + n.before_target_high), FALSE) AS has_same_target,
           n.found_at IS NOT NULL
           AND (%(begins_on)s::date IS NULL OR n.found_on >= %(begins_on)s) AS counts
    FROM numbered n
)
"""

_SYSTEMS: Final = """
counted AS (
    SELECT equipment_id, count(*) AS total,
           count(*) FILTER (WHERE is_below) AS below,
           count(*) FILTER (WHERE is_above) AS above,
           count(*) FILTER (WHERE is_below AND found_verdict = 'undecided') AS below_undecided,
           count(*) FILTER (WHERE is_above AND found_verdict = 'undecided') AS above_undecided,
           count(*) FILTER (WHERE NOT found_outside AND found_verdict = 'undecided')
               AS inside_undecided,
           count(*) FILTER (WHERE found_outside AND was_outside_before) AS never_between,
           count(*) FILTER (WHERE was_left_inside AND NOT has_same_target) AS target_changed,
           count(*) FILTER (WHERE follows) AS set_right,
           count(*) FILTER (WHERE follows AND found_outside) AS returned,
           count(*) FILTER (WHERE follows AND found_outside AND before_verdict = 'in_range'
                            AND found_verdict IN ('low', 'high')) AS returned_surely,
           count(*) FILTER (WHERE follows AND found_meter_id IS DISTINCT FROM before_meter_id)
               AS set_right_other_meter,
           count(*) FILTER (WHERE follows AND found_outside
                            AND found_meter_id IS DISTINCT FROM before_meter_id)
               AS returned_other_meter,
           array_agg(found_on - before_left_on) FILTER (WHERE follows AND found_outside) AS days,
           max(found_on) AS last_found_on
    FROM (SELECT chain.*, was_left_inside AND has_same_target AS follows FROM chain) chain
    WHERE counts
    GROUP BY equipment_id
),
systems AS (
    SELECT counted.*, e.tag, e.kind, s.id AS site_id, s.name AS site,
           coalesce(k.name, '') AS customer, {systems} AS is_in_view,
           row_number() OVER (ORDER BY e.id) AS place
    FROM counted
    JOIN airflow_jobs_equipment e ON e.id = counted.equipment_id
    JOIN airflow_jobs_site s ON s.id = e.site_id
    LEFT JOIN airflow_jobs_customer k ON k.id = s.customer_id
)
"""

_RETURNS: Final = """
returns AS (
    SELECT c.equipment_id, e.tag, e.kind, s.id AS site_id, s.name AS site, c.call, c.visit_id,
           c.found_at, c.found_on, c.found_verdict, c.found_value, c.found_low, c.found_high,
           c.found_meter_id, coalesce(nullif(fi.label, ''), fi.serial, '') AS found_meter,
           c.before_visit_id, c.before_left_at, c.before_left_on, c.before_verdict,
           c.before_value, c.before_low, c.before_high, c.before_meter_id,
           coalesce(nullif(bi.label, ''), bi.serial, '') AS before_meter,
           c.target_low, c.target_high, c.by_design_flow, c.is_below, c.place
    FROM (
        SELECT c.*, row_number() OVER (ORDER BY c.found_at DESC, c.visit_id, c.equipment_id, c.call)
                    AS place
        FROM chain c
        JOIN airflow_jobs_equipment e ON e.id = c.equipment_id
        JOIN airflow_jobs_site s ON s.id = e.site_id
        WHERE c.counts AND c.was_left_inside AND c.has_same_target AND c.found_outside
          AND {systems}
    ) c
    JOIN airflow_jobs_equipment e ON e.id = c.equipment_id
    JOIN airflow_jobs_site s ON s.id = e.site_id
    LEFT JOIN airflow_jobs_instrument fi ON fi.id = c.found_meter_id
    LEFT JOIN airflow_jobs_instrument bi ON bi.id = c.before_meter_id
    WHERE %(limit)s::int IS NULL OR c.place <= %(limit)s
)
"""

# Found outside on two days or more since it was last known to be in range, or since the beginning.
_NEVER_RIGHT: Final = """
never AS (
    SELECT never.*, row_number() OVER (ORDER BY times DESC, last_on DESC, equipment_id, call)
                    AS place
    FROM (
        SELECT c.equipment_id, e.tag, e.kind, s.id AS site_id, s.name AS site, c.call,
               count(DISTINCT c.found_on) AS times,
               min(c.found_on) AS since_on, max(c.found_on) AS last_on,
               count(DISTINCT c.found_on) FILTER (WHERE c.left_at IS NOT NULL) AS left_outside,
               (array_agg(c.is_below ORDER BY c.found_at DESC))[1] AS is_below,
               (SELECT count(*) FROM airflow_jobs_adjustment a
                WHERE a.equipment_id = c.equipment_id AND a.made_at >= min(c.found_at)) AS changes,
               EXISTS (SELECT FROM airflow_jobs_adjustment a
                       WHERE a.equipment_id = c.equipment_id AND a.made_at > max(c.ended_at))
                   AS is_changed_since
        FROM chain c
        JOIN airflow_jobs_equipment e ON e.id = c.equipment_id
        JOIN airflow_jobs_site s ON s.id = e.site_id
        WHERE c.found_outside AND (c.last_inside_at IS NULL OR c.ended_at > c.last_inside_at)
          AND e.retired_on IS NULL AND s.retired_on IS NULL AND {systems}
        GROUP BY c.equipment_id, e.tag, e.kind, s.id, s.name, c.call
        HAVING count(DISTINCT c.found_on) > 1 AND bool_or(c.counts)
    ) never
)
"""

_SYSTEM: Final = ("place", "equipment_id", "tag", "kind", "site_id", "site")
_LISTS: Final = {
    "systems": (
        *_SYSTEM,
        *COUNTS,
        "never_between",
        "target_changed",
        "set_right",
        "returned",
        "returned_surely",
        "set_right_other_meter",
        "returned_other_meter",
        "days",
        "last_found_on",
        "customer",
        "is_in_view",
    ),
    "returns": (
        *_SYSTEM,
        "call",
        "visit_id",
        "found_at",
        "found_on",
        "found_verdict",
        "found_value",
        "found_low",
        "found_high",
        "found_meter_id",
        "found_meter",
        "before_visit_id",
        "before_left_at",
        "before_left_on",
        "before_verdict",
        "before_value",
        "before_low",
        "before_high",
        "before_meter_id",
        "before_meter",
        "target_low",
        "target_high",
        "by_design_flow",
        "is_below",
    ),
    "never": (
        *_SYSTEM,
        "call",
        "times",
        "since_on",
        "last_on",
        "left_outside",
        "is_below",
        "changes",
        "is_changed_since",
    ),
}

# The chain is worked out once for the three lists, which come beside each other.
_ALL: Final = f"""
WITH {{jobs}}, {_CHAIN}, {_SYSTEMS}, {_RETURNS}, {_NEVER_RIGHT}
SELECT {
    ", ".join(f"{name}.{column} AS {name}_{column}" for name in _LISTS for column in _LISTS[name])
}
FROM systems
FULL JOIN returns ON returns.place = systems.place
FULL JOIN never ON never.place = coalesce(systems.place, returns.place)
ORDER BY coalesce(systems.place, returns.place, never.place)
"""

_CHANGES: Final = """
SELECT a.visit_id, a.equipment_id, a.made_at, a.kind, a.from_value, a.to_value, s.time_zone
FROM airflow_jobs_adjustment a
JOIN airflow_jobs_equipment e ON e.id = a.equipment_id
JOIN airflow_jobs_site s ON s.id = e.site_id
WHERE a.equipment_id = ANY(%(equipment)s)
ORDER BY a.made_at, a.id
"""

# What the next visit finds as it was before somebody set it: put back, not worn again.
_SETTINGS: Final = frozenset(
    {AdjustmentKind.BLOWER_SETTING, AdjustmentKind.SPEED, AdjustmentKind.DAMPER}
)
_KIND_TEXTS: Final = {str(kind): label for kind, label in AdjustmentKind.choices}


def returning(filters: Filters, *, limit: int | None = MOST_ON_PAGE) -> Returning:
    """Return which systems are found outside again in the period; two statements.

    Parameters
    ----------
    filters
        Period and air path say which visits count; customer, site and kind which systems are
        shown. Each system is held against all others of its kind, shown or not. The crew is left
        out: one finds a system, another may have left it.
    limit
        How many returns are read, the latest first; None reads all.
    """
    fleet = replace(filters, crew=None, customer=None, site=None, kind=None)
    found = rows(
        _ALL.format(jobs=_all_jobs(fleet), systems=of_systems(filters)),
        {**_values(filters), "limit": limit},
    )
    counted, returns, never = (_list(found, name) for name in _LISTS)
    return Returning(
        **_counts(counted),
        returns=_returns(returns),
        never_right=tuple(
            NeverRight(
                system=_name(row),
                call=row["call"],
                times=row["times"],
                since_on=row["since_on"],
                last_on=row["last_on"],
                left_outside=row["left_outside"],
                changes=row["changes"],
                is_changed_since=row["is_changed_since"],
                is_below=row["is_below"],
            )
            for row in never
        ),
    )


def _all_jobs(filters: Filters) -> str:
    """Return the jobs of the period and those before it that its visits are held against."""
    begins = None if filters.from_on is None else filters.from_on - LOOKS_BACK
    return jobs(replace(filters, from_on=begins))


def _list(found: Sequence[dict[str, Any]], name: str) -> list[dict[str, Any]]:
    """Return the rows of one of the lists."""
    return [
        {column: row[f"{name}_{column}"] for column in _LISTS[name]}
        for row in found
        if row[f"{name}_place"] is not None
    ]


def _values(filters: Filters) -> dict[str, Any]:
    begins = None if filters.from_on is None else filters.from_on - LOOKS_BACK
    return {
        **parameters(replace(filters, crew=None)),
        "from_on": begins,
        "begins_on": filters.from_on,
        "step": "month",
    }


def _counts(counted: Sequence[dict[str, Any]]) -> dict[str, Any]:
    kinds = {kind: number for number, kind in enumerate(sorted({r["kind"] for r in counted}))}
    compared = found_too_often(
        np.array([row["below"] + row["above"] for row in counted], float),
        np.array([row["total"] for row in counted], float),
        np.array([kinds[row["kind"]] for row in counted], int),
    )
    shares = shares_of(list(counted))
    systems = [
        FoundOften(
            system=_name(row),
            customer=row["customer"],
            found=shares[index],
            expected_share=float(compared.expected_share[index]),
            p_value=(
                float(compared.p_value[index]) if np.isfinite(compared.p_value[index]) else None
            ),
            is_marked=bool(compared.is_marked[index]),
            set_right=row["set_right"],
            returned=row["returned"],
            never_between=row["never_between"],
            last_found_on=row["last_found_on"],
        )
        for index, row in enumerate(counted)
        if row["is_in_view"]
    ]
    systems.sort(key=_surest_first)
    in_view = [row for row in counted if row["is_in_view"]]

    def total(name: str) -> int:
        return sum(row[name] for row in in_view)

    def kept(set_right: int, returned: int) -> Share:
        # Which side it was found on doesn't matter here: all count as below.
        return shares_of([{"total": set_right, "below": returned}])[0]

    other, other_back = total("set_right_other_meter"), total("returned_other_meter")
    return {
        "systems": tuple(systems),
        "found": shares_of([{name: total(name) for name in COUNTS}])[0],
        "compared": int(np.count_nonzero(np.isfinite(compared.p_value))),
        "set_right": kept(total("set_right"), total("returned")),
        "set_right_same_meter": kept(total("set_right") - other, total("returned") - other_back),
        "set_right_other_meter": kept(other, other_back),
        "returned_surely": total("returned_surely"),
        "days": tuple(sorted(day for row in in_view for day in row["days"] or ())),
        "target_changed": total("target_changed"),
    }


def _surest_first(one: FoundOften) -> tuple[Any, ...]:
    chance = 1.0 if one.p_value is None else one.p_value
    return (
        not one.is_marked,
        chance,
        -one.found.outside,
        one.system.site.lower(),
        one.system.tag.lower(),
        one.system.id,
    )


def _returns(found: Sequence[dict[str, Any]]) -> tuple[Return, ...]:
    if not found:
        return ()
    changes: dict[UUID, list[ChangeMade]] = {}
    for row in rows(_CHANGES, {"equipment": list({row["equipment_id"] for row in found})}):
        changes.setdefault(row["equipment_id"], []).append(
            ChangeMade(
                visit_id=row["visit_id"],
                at=row["made_at"].astimezone(ZoneInfo(row["time_zone"])),
                kind=row["kind"],
                kind_text=_KIND_TEXTS.get(row["kind"], row["kind"]),
                from_value=row["from_value"],
                to_value=row["to_value"],
            )
        )
    return tuple(_return(row, changes.get(row["equipment_id"], [])) for row in found)


def _return(row: dict[str, Any], changes: Iterable[ChangeMade]) -> Return:
    def side(prefix: str, at: str, visit: str) -> Side:
        return Side(
            at=row[f"{at}_at"],
            on=row[f"{at}_on"],
            visit_id=row[visit],
            value=row[f"{prefix}_value"],
            low=row[f"{prefix}_low"],
            high=row[f"{prefix}_high"],
            verdict=row[f"{prefix}_verdict"],
            meter_id=row[f"{prefix}_meter_id"],
            meter=row[f"{prefix}_meter"],
        )

    kept = tuple(changes)
    left = side("before", "before_left", "before_visit_id")
    found = side("found", "found", "visit_id")
    made = tuple(one for one in kept if one.visit_id == left.visit_id)
    later = [one for one in kept if one.visit_id == found.visit_id]
    return Return(
        system=_name(row),
        call=row["call"],
        left=left,
        found=found,
        target_low=row["target_low"],
        target_high=row["target_high"],
        by_design_flow=row["by_design_flow"],
        is_below=row["is_below"],
        made=made,
        undone=tuple(one for one in later if _undoes(one, made)),
        between=tuple(
            one
            for one in kept
            if left.at < one.at < found.at and one.visit_id not in (left.visit_id, found.visit_id)
        ),
    )


def _undoes(later: ChangeMade, made: Sequence[ChangeMade]) -> bool:
    """Return whether what a visit found set is not what the last one had set of that kind."""
    if later.kind not in _SETTINGS or not later.from_value:
        return False
    last = [one.to_value for one in made if one.kind == later.kind and one.to_value]
    return bool(last) and last[-1].casefold() != later.from_value.casefold()


def _name(row: dict[str, Any]) -> SystemName:
    return SystemName(row["equipment_id"], row["tag"], row["kind"], row["site_id"], row["site"])

"""A few systems beside each other: what was judged of each under one call."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any, Final
from uuid import UUID
from zoneinfo import ZoneInfo

import numpy as np

from airflow_jobs.models import Stage

from ..statistics.differences import pairwise_differences
from ..values.compare import ComparedSystem, Comparison, PairDifference
from ..values.filters import Filters
from ..values.shares import Share
from ..values.systems import Judged, Measurement, SystemName
from .measured import MEASURED, in_period, parameters, rows
from .measurements import COLUMNS, JOINS, measurement_of
from .series import OTHER_METER_SD
from .shares import shares_of
from .trend import trends

# Ten years of four measurements a month: what is older is of no use beside it.
LATEST: Final = 480

_SYSTEMS: Final = f"""
WITH {MEASURED}
SELECT e.id AS equipment_id, e.tag, e.kind, s.id AS site_id, s.name AS site, s.time_zone,
       coalesce(k.name, '') AS customer, latest.*
FROM airflow_jobs_equipment e
JOIN airflow_jobs_site s ON s.id = e.site_id
LEFT JOIN airflow_jobs_customer k ON k.id = s.customer_id
LEFT JOIN LATERAL (
    SELECT {COLUMNS}
    FROM measured m {JOINS}
    WHERE m.equipment_id = e.id AND m.stage <> 'check' AND {{period}}
    ORDER BY m.taken_at DESC, m.computation_id DESC
    LIMIT {LATEST}
) latest ON TRUE
WHERE e.id = ANY(%(systems)s)
ORDER BY e.id, latest.taken_at, latest.traverse_id, latest.flow_set_id
"""


def comparison(
    systems: Sequence[UUID], filters: Filters, *, call: str, is_relative: bool
) -> Comparison:
    """Return systems beside each other, in the order that is asked for; one statement.

    Parameters
    ----------
    systems
        Which; those that don't exist are left out.
    filters
        The period counts, nothing else.
    call
        The call to compare under; empty takes the one under which most were judged.
    is_relative
        Whether each is seen in its own target range, 0 its low limit and 1 its high one; else by
        flow per capacity, as far as all have one.
    """
    found = rows(
        _SYSTEMS.format(period=in_period(filters)),
        {**parameters(filters), "systems": list(systems)},
    )
    grouped: dict[UUID, list[dict[str, Any]]] = {}
    for row in found:
        grouped.setdefault(row["equipment_id"], []).append(row)
    histories = {
        key: [
            measurement_of(row, ZoneInfo(row["time_zone"]))
            for row in group
            if row["taken_at"] is not None
        ]
        for key, group in grouped.items()
    }
    judged_under = Counter(
        call
        for history in histories.values()
        for call in {one.call for one in history if one.judged is not None}
    )
    calls = tuple(sorted(judged_under, key=lambda one: (-judged_under[one], one)))
    chosen = call if call in calls else (calls[0] if calls else call)
    compared = [
        _compared(grouped[key][0], histories[key], chosen) for key in systems if key in grouped
    ]
    all_judged = [
        one.judged for system in compared for one in system.measurements if one.judged is not None
    ]
    has_capacities = bool(all_judged) and not any(one.by_design_flow for one in all_judged)
    relative = is_relative or not has_capacities
    return Comparison(
        systems=tuple(compared),
        call=chosen,
        calls=calls,
        pairs=_pairs(compared, all_judged, is_relative=relative),
        is_relative=relative,
        has_capacities=has_capacities,
    )


def _compared(row: dict[str, Any], history: list[Measurement], call: str) -> ComparedSystem:
    of_call = [one for one in history if one.call == call]
    jobs = _jobs(of_call)
    (trend,) = trends([of_call])
    return ComparedSystem(
        system=SystemName(
            row["equipment_id"], row["tag"], row["kind"], row["site_id"], row["site"]
        ),
        customer=row["customer"],
        measurements=jobs,
        found=_share(jobs, Stage.AS_FOUND),
        left=_share(jobs, Stage.AS_LEFT),
        trend=trend,
        other_calls=tuple(sorted({one.call for one in history if one.judged is not None} - {call})),
    )


def _jobs(measurements: Sequence[Measurement]) -> tuple[Measurement, ...]:
    """Return of each visit the first judged measurement as found and the last as left."""
    kept: dict[tuple[UUID, str], Measurement] = {}
    for one in measurements:
        key = one.visit_id, one.stage
        if one.judged is not None and (one.stage == Stage.AS_LEFT or key not in kept):
            kept[key] = one
    return tuple(sorted(kept.values(), key=lambda one: (one.taken_at, one.stage)))


def _share(jobs: Sequence[Measurement], stage: str) -> Share:
    judged = [(one, one.judged) for one in jobs if one.stage == stage and one.judged is not None]
    below = [one for one, j in judged if j.value < j.target_low]
    above = [one for one, j in judged if j.value > j.target_high]
    undecided = [one for one, _ in judged if one.verdict == "undecided"]
    return shares_of(
        [
            {
                "total": len(judged),
                "below": len(below),
                "above": len(above),
                "below_undecided": sum(one.verdict == "undecided" for one in below),
                "above_undecided": sum(one.verdict == "undecided" for one in above),
                "inside_undecided": len(undecided)
                - sum(one.verdict == "undecided" for one in (*below, *above)),
            }
        ]
    )[0]


def position(judged: Judged, value: float) -> float:
    """Return where a value lies in its own target range: 0 at its low limit, 1 at its high one."""
    return (value - judged.target_low) / (judged.target_high - judged.target_low)


def _pairs(
    compared: Sequence[ComparedSystem], all_judged: Sequence[Judged], *, is_relative: bool
) -> tuple[PairDifference, ...]:
    if len(compared) < 2 or not all_judged:
        return ()
    # What two meters may differ by, in the unit that is compared.
    meters = OTHER_METER_SD * float(
        np.median(
            [
                one.value / (one.target_high - one.target_low) if is_relative else one.value
                for one in all_judged
            ]
        )
    )
    pairs: list[PairDifference] = []
    for stage in (Stage.AS_FOUND, Stage.AS_LEFT):
        groups = [
            np.array([position(j, j.value) if is_relative else j.value for j in system.at(stage)])
            for system in compared
        ]
        pairs += [
            PairDifference(
                first=compared[one.first].system,
                second=compared[one.second].system,
                stage=str(stage),
                size=one.size,
                low=one.low,
                high=one.high,
                is_sure=one.is_sure,
            )
            for one in pairwise_differences(groups, least_sd=meters)
        ]
    return tuple(pairs)

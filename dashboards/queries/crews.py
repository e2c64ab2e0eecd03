"""Crews beside each other, whoever is asked for: a crew is compared with all the others."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final
from uuid import UUID

import numpy as np

from ..statistics.comparisons import FEWEST_JOBS
from ..statistics.funnels import spread_limits
from ..values.crews import CrewComparison, CrewShare, Funnel, Visits
from ..values.filters import Filters
from ..values.shares import FleetShares, NamedShare, Share
from .measured import in_period, of_systems, parameters, rows
from .shares import fleet_shares

# Outside one crew in twenty; and, divided by the number of crews, outside any of them.
OUTSIDE: Final = 0.05
STEPS: Final = 48

# A visit says at which site it was, not which systems should have been measured.
_VISITS: Final = """
SELECT m.crew_id, w.name AS crew, count(*) AS total,
       count(*) FILTER (WHERE NOT is_measured) AS unmeasured,
       count(*) FILTER (WHERE is_measured AND NOT is_judged) AS unjudged
FROM (
    SELECT v.crew_id, v.site_id, (v.started_at AT TIME ZONE p.time_zone)::date AS taken_on,
           EXISTS (SELECT FROM airflow_jobs_measurement k WHERE k.visit_id = v.id) AS is_measured,
           EXISTS (SELECT FROM airflow_jobs_measurement k
                   WHERE k.visit_id = v.id AND k.verdict NOT IN ('', 'not_judged')) AS is_judged
    FROM airflow_jobs_visit v
    JOIN airflow_jobs_site p ON p.id = v.site_id
    WHERE v.started_at IS NOT NULL
) m
JOIN airflow_jobs_site s ON s.id = m.site_id
JOIN airflow_jobs_crew w ON w.id = m.crew_id
WHERE {conditions}
GROUP BY m.crew_id, w.name
ORDER BY m.crew_id
"""


def crew_comparison(filters: Filters, *, shares: FleetShares | None = None) -> CrewComparison:
    """Return every crew's shares and visits in the period; two statements.

    Parameters
    ----------
    filters
        Period, customer, site, kind and air path; the crew is left out, for a crew can only be
        compared with others. Kind and air path don't narrow the visits.
    shares
        The shares of these filters without a crew, where they are at hand; one statement less.
    """
    everybody = replace(filters, crew=None)
    if shares is None:
        shares = fleet_shares(everybody)
    by_place = replace(everybody, kind=None)
    conditions = " AND ".join((of_systems(by_place), in_period(by_place)))
    visits = rows(_VISITS.format(conditions=conditions), parameters(by_place))
    return CrewComparison(
        crews=_crews(shares.by_crew, visits),
        found=shares.found,
        left=shares.left,
        funnel=_funnel(shares.by_crew),
        pending=shares.pending,
    )


def _crews(named: tuple[NamedShare, ...], visits: list[dict[str, Any]]) -> tuple[CrewShare, ...]:
    nothing = Share.of_none()
    known = {one.id: one for one in named}
    counted: dict[UUID, Visits] = {}
    for row in visits:
        counted[row["crew_id"]] = Visits(row["total"], row["unmeasured"], row["unjudged"])
        if row["crew_id"] not in known:
            known[row["crew_id"]] = NamedShare(row["crew_id"], row["crew"], nothing, nothing)
    crews = [CrewShare(one, counted.get(one.id, Visits())) for one in known.values()]
    # Who surely leaves most outside comes first; who has no job as left comes last.
    return tuple(
        sorted(
            crews,
            key=lambda one: (
                not one.named.left.total,
                one.named.left.high_end,
                one.name.lower(),
                one.id,
            ),
        )
    )


def _funnel(named: tuple[NamedShare, ...]) -> Funnel | None:
    """Return the limits around what the crews left that are not marked."""
    compared = [
        (one.left, one.left_compared)
        for one in named
        if one.left_compared is not None and one.left_compared.is_comparable
    ]
    if len(compared) < 2:
        return None
    ordinary = [
        one.left for one in named if one.left_compared is None or not one.left_compared.differs
    ]
    jobs = sum(share.total for share in ordinary)
    outside = sum(share.outside for share in ordinary)
    # Half a job on either side keeps the centre off 0 and 1, where there is no funnel.
    centre = 1.0 - (outside + 0.5) / (jobs + 1.0)
    spread = float(np.median([held.spread for _, held in compared]))
    most = max(share.total for share, _ in compared)
    steps = np.unique(np.round(np.geomspace(FEWEST_JOBS / 2, most * 1.1, STEPS)).astype(int))

    def limits(probability: float) -> tuple[float, ...]:
        found = spread_limits(total=steps, share=centre, probability=probability, spread=spread)
        return tuple(float(one) for one in found)

    one, any_of_them = OUTSIDE / 2.0, OUTSIDE / 2.0 / len(compared)
    return Funnel(
        jobs=tuple(int(step) for step in steps),
        centre=centre,
        low_one=limits(one),
        high_one=limits(1.0 - one),
        low_all=limits(any_of_them),
        high_all=limits(1.0 - any_of_them),
        compared=len(compared),
    )

"""Jobs: what shares, distributions and comparisons count."""

from __future__ import annotations

from typing import Final

from ..values.filters import Filters
from .measured import MEASURED, in_period, of_measurements, of_systems

# A job is one system in one state on one visit at one stage: as it was found counts the first
# judged measurement, as it was left the last. Both stages are read in one go and stay apart.
_JOBS: Final = """
jobs AS (
    SELECT DISTINCT ON (m.visit_id, m.equipment_id, m.call, m.stage)
           m.visit_id, m.equipment_id, m.stage, m.call, m.state, v.crew_id,
           s.id AS site_id, e.kind,
           date_trunc(%(step)s, m.taken_at AT TIME ZONE s.time_zone)::date AS month,
           m.taken_at, (m.taken_at AT TIME ZONE s.time_zone)::date AS taken_on, m.instrument_id,
           r.verdict, r.judged_value, r.judged_u, r.judged_low, r.judged_high,
           r.target_low, r.target_high,
           r.flow_per_capacity_m3_s_per_w,
           r.judged_value < r.target_low AS is_below,
           r.judged_value > r.target_high AS is_above,
           (r.judged_value - r.target_low) / (r.target_high - r.target_low) AS position,
           r.judged_u / (r.target_high - r.target_low) AS position_u
    FROM measured m
    JOIN airflow_jobs_result r ON r.id = m.result_id
    JOIN airflow_jobs_visit v ON v.id = m.visit_id
    JOIN airflow_jobs_equipment e ON e.id = m.equipment_id
    JOIN airflow_jobs_site s ON s.id = e.site_id
    WHERE m.stage IN ('as_found', 'as_left') AND r.verdict <> 'not_judged'
      AND r.judged_u > 0 AND r.target_high > r.target_low
      AND {conditions}
    ORDER BY m.visit_id, m.equipment_id, m.call, m.stage,
             CASE m.stage WHEN 'as_found' THEN 1 ELSE -1 END * extract(epoch FROM m.taken_at),
             m.computation_id
)
"""


def jobs(filters: Filters) -> str:
    """Return the jobs in the view as the named subquery `jobs` of a WITH clause.

    Its columns: visit_id, equipment_id, call, stage, state (of the computation), crew_id, site_id,
    kind (of the equipment), month (its first day, or its quarter's, by the parameter `step`),
    taken_at, taken_on (the day where the system stands), instrument_id, verdict, is_below,
    is_above, judged_value, judged_u, judged_low, judged_high, target_low, target_high,
    flow_per_capacity_m3_s_per_w (null without a capacity), position and position_u (the judged
    value and its standard uncertainty, 0 at the low limit and 1 at the high one). The statement's
    parameters are `measured.parameters(filters)` and `step`.
    """
    conditions = " AND ".join((of_systems(filters), of_measurements(filters), in_period(filters)))
    return f"{MEASURED}, {_JOBS.format(conditions=conditions)}"

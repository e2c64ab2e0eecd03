"""Jobs: what shares, distributions and comparisons count."""

from __future__ import annotations

from typing import Final

from ..values.filters import Filters
from .measured import in_period, of_measurements, of_systems

# A job is one system in one state on one visit at one stage: as it was found counts the first
# judged measurement, as it was left the last. Both stages are read in one go and stay apart. A site
# is always there; joined like this it is not even looked up where nothing is asked of it.
_JOBS: Final = """
jobs AS (
    SELECT DISTINCT ON (m.visit_id, m.equipment_id, m.call, m.stage)
           m.visit_id, m.equipment_id, m.stage, m.call, coalesce(open.state, 'computed') AS state,
           m.crew_id, e.site_id, e.kind, date_trunc(%(step)s, m.taken_on)::date AS month,
           m.taken_at, m.taken_on, m.instrument_id,
           m.verdict, m.judged_value, m.judged_u, m.judged_low, m.judged_high,
           m.target_low, m.target_high, m.flow_per_capacity_m3_s_per_w,
           m.judged_value < m.target_low AS is_below,
           m.judged_value > m.target_high AS is_above,
           (m.judged_value - m.target_low) / (m.target_high - m.target_low) AS position,
           m.judged_u / (m.target_high - m.target_low) AS position_u
    FROM airflow_jobs_measurement m
    JOIN airflow_jobs_equipment e ON e.id = m.equipment_id
    LEFT JOIN airflow_jobs_site s ON s.id = e.site_id
    LEFT JOIN airflow_jobs_computation open
           ON open.id = m.computation_id AND open.state <> 'computed'
    WHERE m.stage IN ('as_found', 'as_left') AND m.verdict <> 'not_judged'
      AND m.judged_u > 0 AND m.target_high > m.target_low
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
    return _JOBS.format(conditions=conditions)

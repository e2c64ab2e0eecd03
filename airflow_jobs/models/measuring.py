"""How the database keeps the table of measurements in step with the rows it is made of.

Every statement that changes such a row makes the measurements that show it anew, in its own
transaction. The computation is locked before its measurement is looked up, so that of two
transactions that touch one measurement the later one sees what the earlier one committed.
"""

from __future__ import annotations

from typing import Final

import pgtrigger

# What a measurement is: a traverse, or a flow-set at the time of its last member.
MEASURED_ANEW: Final = """
    SELECT c.id AS computation_id, t.id AS traverse_id, f.id AS flow_set_id,
           coalesce(t.visit_id, f.visit_id) AS visit_id, v.crew_id, e.id AS equipment_id,
           t.duct_section_id, t.repeats_id,
           coalesce(t.instrument_id, m.instrument_id) AS instrument_id,
           coalesce(t.stage, f.stage) AS stage, coalesce(t.call, m.call) AS call, m.taken_at,
           (m.taken_at AT TIME ZONE s.time_zone)::date AS taken_on,
           CASE WHEN t.id IS NULL THEN m.air_paths ELSE ARRAY[d.air_path] END AS air_paths,
           (SELECT count(*) FROM airflow_jobs_adjustment a
            WHERE a.equipment_id = e.id AND a.made_at <= m.taken_at) AS adjustments_before,
           c.result_id, coalesce(r.verdict, '') AS verdict, r.judged_value, r.judged_u,
           r.judged_low, r.judged_high, r.target_low, r.target_high,
           r.flow_standard_m3_s, r.flow_per_capacity_m3_s_per_w
    FROM airflow_jobs_computation c
    LEFT JOIN airflow_jobs_result r ON r.id = c.result_id
    LEFT JOIN airflow_jobs_traverse t ON t.id = c.traverse_id
    LEFT JOIN airflow_jobs_ductsection d ON d.id = t.duct_section_id
    LEFT JOIN airflow_jobs_flowset f ON f.id = c.flow_set_id
    JOIN LATERAL (
        SELECT t.taken_at, NULL::text AS call, NULL::uuid AS instrument_id,
               NULL::text[] AS air_paths
        WHERE t.id IS NOT NULL
        UNION ALL
        SELECT max(coalesce(mt.taken_at, mr.taken_at)),
               CASE WHEN count(DISTINCT mt.call) = 1 THEN min(mt.call) ELSE 'unknown' END,
               (array_agg(coalesce(mt.instrument_id, mr.instrument_id) ORDER BY m.id))[1],
               array_agg(md.air_path ORDER BY m.id) FILTER (WHERE md.id IS NOT NULL)
        FROM airflow_jobs_flowsetmember m
        LEFT JOIN airflow_jobs_traverse mt ON mt.id = m.traverse_id
        LEFT JOIN airflow_jobs_flowreading mr ON mr.id = m.flow_reading_id
        LEFT JOIN airflow_jobs_ductsection md ON md.id = mt.duct_section_id
        WHERE m.flow_set_id = f.id
    ) m ON m.taken_at IS NOT NULL
    JOIN airflow_jobs_visit v ON v.id = coalesce(t.visit_id, f.visit_id)
    JOIN airflow_jobs_equipment e ON e.id = coalesce(d.equipment_id, f.equipment_id)
    JOIN airflow_jobs_site s ON s.id = e.site_id
"""

COLUMNS: Final = (
    "computation_id",
    "traverse_id",
    "flow_set_id",
    "visit_id",
    "crew_id",
    "equipment_id",
    "duct_section_id",
    "repeats_id",
    "instrument_id",
    "stage",
    "call",
    "taken_at",
    "taken_on",
    "air_paths",
    "adjustments_before",
    "result_id",
    "verdict",
    "judged_value",
    "judged_u",
    "judged_low",
    "judged_high",
    "target_low",
    "target_high",
    "flow_standard_m3_s",
    "flow_per_capacity_m3_s_per_w",
)


def _listed(prefix: str = "") -> str:
    return ", ".join(f"{prefix}{column}" for column in COLUMNS)


def kept_anew(computations: str) -> str:
    """Return the statements that make the measurements of some computations anew.

    Parameters
    ----------
    computations
        An SQL expression for an array of their ids.
    """
    changes = ", ".join(f"{column} = excluded.{column}" for column in COLUMNS[1:])
    return f"""
    DELETE FROM airflow_jobs_measurement AS kept
    WHERE kept.computation_id = ANY ({computations}) AND kept.flow_set_id IS NOT NULL
      AND NOT EXISTS (SELECT FROM airflow_jobs_flowsetmember m
                      WHERE m.flow_set_id = kept.flow_set_id);
    INSERT INTO airflow_jobs_measurement AS kept ({_listed()})
    SELECT {_listed("anew.")} FROM ({MEASURED_ANEW} WHERE c.id = ANY ({computations})) AS anew
    ON CONFLICT (computation_id) DO UPDATE SET {changes}
    WHERE ({_listed("kept.")}) IS DISTINCT FROM ({_listed("excluded.")});
    """


def of_rows(name: str, operation: pgtrigger.Operation, changed: str) -> pgtrigger.Trigger:
    """Return the trigger on computations: one run for all rows of a statement."""
    has_old = str(operation) != "INSERT"
    return pgtrigger.Trigger(
        name=name,
        level=pgtrigger.Statement,
        when=pgtrigger.After,
        operation=operation,
        referencing=pgtrigger.Referencing(old="old_rows" if has_old else None, new="new_rows"),
        declare=[("changed", "bigint[]")],
        func=f"""
    changed = ARRAY({changed});
    {kept_anew("changed")}
    RETURN NULL;
""",
    )


def says_changed(name: str, operation: pgtrigger.Operation) -> pgtrigger.Trigger:
    """Return the trigger on measurements that says of which systems some changed."""
    rows = {"INSERT": ["new"], "DELETE": ["old"]}.get(str(operation), ["old", "new"])
    changed = " UNION ".join(f"SELECT equipment_id FROM {row}_rows" for row in rows)
    return pgtrigger.Trigger(
        name=name,
        level=pgtrigger.Statement,
        when=pgtrigger.After,
        operation=operation,
        referencing=pgtrigger.Referencing(**{row: f"{row}_rows" for row in rows}),
        func=f"""
    INSERT INTO airflow_jobs_changedsystem (equipment_id)
    SELECT DISTINCT equipment_id FROM ({changed}) AS changed;
    RETURN NULL;
""",
    )


def shown_by(
    what: str,
    *,
    operation: pgtrigger.Operation = pgtrigger.Update,
    fields: tuple[str, ...] = (),
    name: str = "keep_measured",
) -> pgtrigger.Trigger:
    """Return the trigger on a row that measurements show: they are made anew when it changes.

    Parameters
    ----------
    what
        A query for the ids of the computations that it is shown by; `NEW` and `OLD` are the row.
    operation
        What happens to the row.
    fields
        Which of its fields show; the others may change unnoticed.
    name
        Of the trigger, where a model has several.
    """
    return pgtrigger.Trigger(
        name=name,
        level=pgtrigger.Row,
        when=pgtrigger.After,
        operation=operation,
        condition=pgtrigger.AnyChange(*fields) if fields else None,
        declare=[("changed", "bigint[]")],
        func=f"""
    changed = ARRAY(
        SELECT id FROM airflow_jobs_computation WHERE id IN ({what}) ORDER BY id FOR NO KEY UPDATE
    );
    {kept_anew("changed")}
    RETURN NULL;
""",
    )


def of_traverses(which: str) -> str:
    """Return the query for the computations of traverses, and of the flow-sets they are in."""
    return f"""
        SELECT c.id FROM airflow_jobs_computation c
        JOIN airflow_jobs_traverse t ON t.id = c.traverse_id WHERE {which}
        UNION ALL
        SELECT c.id FROM airflow_jobs_computation c
        JOIN airflow_jobs_flowsetmember m ON m.flow_set_id = c.flow_set_id
        JOIN airflow_jobs_traverse t ON t.id = m.traverse_id WHERE {which}
    """


def of_flow_sets(which: str) -> str:
    """Return the query for the computations of flow-sets."""
    return f"""
        SELECT c.id FROM airflow_jobs_computation c
        JOIN airflow_jobs_flowset f ON f.id = c.flow_set_id WHERE {which}
    """


def of_kept(which: str) -> str:
    """Return the query for the computations of measurements that are kept already."""
    return f"SELECT k.computation_id FROM airflow_jobs_measurement k WHERE {which}"

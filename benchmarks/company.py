"""An invented company of any size, put straight into the tables of an empty database.

Nothing is computed: results are drawn with plausible columns and an empty `values`, so that a
million traverses take minutes. While the rows go in, triggers and foreign keys are off for that
connection (`session_replication_role`): no history of changes and no revisions are written, and
what the database keeps of each measurement is made afterwards, as `manage.py recompute --all`
makes it, and what the worker works out ahead, as it does. The tables are vacuumed and analysed
then, as those of a database that has run for a day are.
"""

import json
from dataclasses import dataclass, fields
from typing import Any, Final, Self
from uuid import UUID

from django.db import connection, models

from airflow_jobs import recompute
from airflow_jobs.models import (
    Adjustment,
    Calibration,
    Company,
    Computation,
    Crew,
    CrewMembership,
    Customer,
    DuctSection,
    Equipment,
    FlowSet,
    FlowSetMember,
    Instrument,
    Person,
    Result,
    Role,
    Site,
    State,
    Target,
    Traverse,
    TraverseRevision,
    Visit,
)
from dashboards.standings import renew_standings

YEARS: Final = 10
TRAVERSES_A_SYSTEM: Final = 100
SYSTEMS_A_SITE: Final = 4
SITES_A_CUSTOMER: Final = 10
TRAVERSES_A_CREW: Final = 5000
FEWEST_CREWS: Final = 10
PEOPLE_A_CREW: Final = 4
METERS_A_CREW: Final = 2
ROUNDS: Final = 55
"""Visits to each site; some more than are kept, see `_taken`."""
DAYS_BETWEEN_ROUNDS: Final = 365.25 * YEARS / ROUNDS
# 400 (ft3/min)/ton in m3/s per watt, and a ton in watts.
NOMINAL: Final = 5.3674e-5
TON_W: Final = 3516.85
ZONES: Final = ("America/Chicago", "America/Denver", "America/New_York", "America/Los_Angeles")

_SETUP: Final = f"""
SELECT setseed(0.5);

-- Time-ordered identifiers, as the service makes them, that can be made again from a number.
CREATE FUNCTION pg_temp.key(kind text, number bigint, at timestamptz) RETURNS uuid
LANGUAGE sql IMMUTABLE PARALLEL SAFE AS $$
    SELECT (lpad(to_hex((extract(epoch FROM at) * 1000)::bigint), 12, '0') || '7'
            || substr(md5(kind || number), 1, 3) || 'a' || substr(md5(kind || number), 4, 15))::uuid
$$;
CREATE FUNCTION pg_temp.start() RETURNS timestamptz LANGUAGE sql STABLE AS $$
    SELECT date_trunc('day', now()) - interval '1 day' * {365.25 * YEARS}
$$;

CREATE TEMP TABLE the_site AS
SELECT i, pg_temp.key('site', i, pg_temp.start()) AS id, random() AS dice
FROM generate_series(0, %(sites)s - 1) AS i;

CREATE TEMP TABLE the_system AS
SELECT i, i / {SYSTEMS_A_SITE} AS site, pg_temp.key('system', i, pg_temp.start()) AS id,
       pg_temp.key('section', 2 * i, pg_temp.start()) AS return_id,
       pg_temp.key('section', 2 * i + 1, pg_temp.start()) AS supply_id,
       -- Its flow against nominal when the record began, and what it loses in a year.
       random_normal(1.0, 0.06) AS level,
       CASE WHEN random() < 0.15 THEN 0.02 + 0.03 * random() ELSE 0.0 END AS loss,
       -- In one of twenty, return and supply add up.
       mod(i, 20) = 7 AS by_set, {TON_W} * (2 + floor(4 * random())) AS capacity_w
FROM generate_series(0, %(systems)s - 1) AS i;

CREATE TEMP TABLE the_crew AS
SELECT i, pg_temp.key('crew', i, pg_temp.start()) AS id FROM generate_series(0, %(crews)s - 1) AS i;

CREATE TEMP TABLE the_meter AS
SELECT i, pg_temp.key('meter', i, pg_temp.start()) AS id, random_normal(0.0, 0.012) AS reads
FROM generate_series(0, %(crews)s * {METERS_A_CREW} - 1) AS i;

CREATE TEMP TABLE the_visit AS
SELECT site, round, site * {ROUNDS} + round AS i, at,
       pg_temp.key('visit', site * {ROUNDS} + round, at) AS id,
       CASE WHEN random() < 0.7 THEN mod(site, %(crews)s)
            ELSE floor(random() * %(crews)s)::int END AS crew
FROM (
    SELECT s.i AS site, round, pg_temp.start() + interval '1 day' * least(
               ({DAYS_BETWEEN_ROUNDS} * (round + s.dice))::int, {365.25 * YEARS}::int - 1)
               + interval '14 hours' + interval '1 minute' * floor(240 * random()) AS at
    FROM the_site s CROSS JOIN generate_series(0, {ROUNDS} - 1) AS round
) planned;

CREATE TEMP TABLE the_job AS
SELECT s.*, v.i AS visit, v.id AS visit_id, v.at + interval '20 minutes' * mod(s.i, 4) AS at,
       v.crew, found, (CASE WHEN random() < 0.12 THEN 'heating' ELSE 'cooling' END) AS call,
       (found NOT BETWEEN 0.9 AND 1.1 AND random() < 0.85) AS is_left,
       random() < 0.10 AS is_checked, random() < 0.45 AS has_supply
FROM (
    SELECT v.*, s.i AS system,
           s.level * (1 - s.loss * extract(epoch FROM v.at - pg_temp.start()) / 31557600)
               * (1 + random_normal(0.0, 0.05)) AS found
    FROM the_visit v JOIN the_system s ON s.site = v.site
) v JOIN the_system s ON s.i = v.system;

-- The latest traverses, so that there are as many as were asked for.
CREATE TEMP TABLE the_traverse AS
SELECT row_number() OVER (ORDER BY taken_at) AS i, planned.*,
       pg_temp.key('traverse', job * 8 + place, taken_at) AS id
FROM (
    SELECT visit * {SYSTEMS_A_SITE} + mod(j.i, {SYSTEMS_A_SITE}) AS job, j.i AS system, j.visit,
           j.visit_id, j.crew, j.call, j.by_set, j.capacity_w, p.place, p.stage, p.is_supply,
           j.at + interval '1 minute' * p.minutes AS taken_at,
           CASE p.stage WHEN 'as_left' THEN 1.0 + random_normal(0.0, 0.05) ELSE j.found END
               * CASE WHEN j.by_set THEN 0.5 ELSE 1.0 END AS level,
           j.crew * {METERS_A_CREW} + CASE WHEN p.place = 2 THEN 1 ELSE 0 END AS meter
    FROM the_job j
    JOIN (VALUES (0, 'as_found', false, 0), (1, 'as_found', true, 4), (2, 'check', false, 8),
                 (3, 'as_left', false, 14), (4, 'as_left', true, 18))
         AS p (place, stage, is_supply, minutes)
      ON CASE p.place WHEN 0 THEN true WHEN 1 THEN j.has_supply OR j.by_set
                      WHEN 2 THEN j.is_checked WHEN 3 THEN j.is_left
                      ELSE j.is_left AND j.by_set END
    ORDER BY taken_at DESC LIMIT %(traverses)s
) planned;
CREATE INDEX ON the_traverse (job, place);

CREATE TEMP TABLE the_set AS
SELECT %(traverses)s + row_number() OVER (ORDER BY taken_at) AS i, job, system, visit_id, stage,
       call, capacity_w, taken_at, level, count, pg_temp.key('set', job * 8 + place, taken_at) AS id
FROM (
    SELECT job, system, visit_id, stage, call, capacity_w, max(taken_at) AS taken_at,
           sum(level) AS level, count(*) AS count, min(place) AS place
    FROM the_traverse WHERE by_set AND stage <> 'check'
    GROUP BY job, system, visit_id, stage, call, capacity_w
) added WHERE count = 2;

CREATE TEMP TABLE the_profile AS
SELECT i, jsonb_build_object('values', jsonb_agg(line ORDER BY number)) AS readings
FROM (
    SELECT i, number, jsonb_agg(round((2.9 + random_normal(0.0, 0.25))::numeric, 2)) AS line
    FROM generate_series(0, 499) AS i CROSS JOIN generate_series(1, 5) AS number
    CROSS JOIN generate_series(1, 5) AS point
    GROUP BY i, number
) lines GROUP BY i;
ANALYZE the_site, the_system, the_crew, the_meter, the_visit, the_traverse, the_set;
"""

# What was computed: the interval from the budget of the meter, the verdict from the interval.
_OUTCOMES: Final = f"""
CREATE TEMP TABLE the_outcome AS
SELECT i, at, value, u, value * capacity_w AS flow, indicative,
       p_low, 1 - p_low - p_high AS p_in, p_high,
       CASE WHEN NOT is_judged THEN 'not_judged' WHEN p_low >= 0.95 THEN 'low'
            WHEN p_high >= 0.95 THEN 'high' WHEN 1 - p_low - p_high >= 0.95 THEN 'in_range'
            ELSE 'undecided' END AS verdict, is_judged
FROM (
    SELECT drawn.*, 0.5 * (1 + erf((0.875 * {NOMINAL} - value) / u / sqrt(2))) AS p_low,
           0.5 * (1 - erf((1.125 * {NOMINAL} - value) / u / sqrt(2))) AS p_high
    FROM (
        SELECT i, at, capacity_w, value, value * relative_u AS u, is_judged, indicative
        FROM (
            SELECT t.i, t.taken_at AS at, t.capacity_w, NOT t.by_set AS is_judged,
                   {NOMINAL} * t.level * (1 + m.reads + random_normal(0.0, 0.015)) AS value,
                   0.02 + 0.02 * random() AS relative_u, random() < 0.1 AS indicative
            FROM the_traverse t JOIN the_meter m ON m.i = t.meter
            UNION ALL
            SELECT s.i, s.taken_at, s.capacity_w, true,
                   {NOMINAL} * s.level * (1 + random_normal(0.0, 0.02)),
                   0.02 + 0.02 * random(), false
            FROM the_set s
        ) measured
    ) drawn
) judged;
"""


@dataclass(frozen=True, kw_only=True)
class Filled:
    """Which rows of the company the pages are asked for.

    Attributes
    ----------
    traverses, systems, crews : int
        How many there are.
    manager : Person
        Who looks.
    system_id, set_system_id : UUID
        A system measured in one section, and one measured by flow-sets.
    traverse_id, visit_id, crew_id, site_id, customer_id, instrument_id : UUID
        The traverse has a result that was really computed.
    """

    traverses: int
    systems: int
    crews: int
    manager: Person
    system_id: UUID
    set_system_id: UUID
    traverse_id: UUID
    visit_id: UUID
    crew_id: UUID
    site_id: UUID
    customer_id: UUID
    instrument_id: UUID

    def as_json(self) -> str:
        """Return what `from_json` reads, for a company that is used again."""
        return json.dumps(
            {field.name: getattr(self, field.name) for field in fields(self)},
            default=lambda value: str(value.pk if isinstance(value, Person) else value),
        )

    @classmethod
    def from_json(cls, text: str) -> Self:
        """Return what was kept of a company that is in the database."""
        kept = json.loads(text)
        for name in kept:
            if name.endswith("_id"):
                kept[name] = UUID(kept[name])
        return cls(**{**kept, "manager": Person.objects.get(pk=kept["manager"])})


def fill(traverses: int) -> Filled:
    """Put a company with so many traverses into the empty tables.

    Parameters
    ----------
    traverses : int
        A hundred for each system; a crew for every five thousand, ten at least.

    Returns
    -------
    Filled
    """
    systems = -(-traverses // TRAVERSES_A_SYSTEM)
    crews = max(traverses // TRAVERSES_A_CREW, FEWEST_CREWS)
    size = {
        "traverses": traverses,
        "systems": systems,
        "sites": -(-systems // SYSTEMS_A_SITE),
        "crews": crews,
    }
    manager = Person(username="manager", name="Manager", role=Role.MANAGER)
    manager.set_unusable_password()
    manager.save(force_insert=True)
    Company.objects.create(name="Invented Air Services", time_zone="America/Chicago")
    with connection.cursor() as cursor:
        cursor.execute("SET session_replication_role = replica")
        # A session's own tables live in buffers of their own, a few megabytes unless told.
        cursor.execute("SET temp_buffers = '256MB'; SET work_mem = '256MB'")
        for part in (_SETUP, _OUTCOMES):
            for statement in part.split(";\n"):
                if statement.strip():
                    cursor.execute(statement, size)
        _fill_places()
        _fill_people()
        _fill_measurements()
        cursor.execute("SET session_replication_role = origin")
        cursor.execute("RESET temp_buffers; RESET work_mem")
        cursor.execute("DISCARD TEMP")
        for model in (Computation, Result, FlowSetMember, CrewMembership):
            cursor.execute(
                f"SELECT setval(pg_get_serial_sequence('{model._meta.db_table}', 'id'),"
                f" (SELECT max(id) FROM {model._meta.db_table}))"
            )
        cursor.execute("ANALYZE")
    recompute.measure_anew()
    chosen = _chosen(systems)
    _compute(chosen["traverse_id"])
    renew_standings()
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE")
    return Filled(traverses=traverses, systems=systems, crews=crews, manager=manager, **chosen)


def _insert(model: type[models.Model], rows: str, /, **columns: str) -> None:
    """Insert what a query gives; columns that are not named get the model's defaults."""
    values: dict[str, str] = {}
    constants: list[Any] = []
    for field in model._meta.concrete_fields:
        if field.column in columns:
            values[field.column] = columns.pop(field.column)
        elif field.primary_key or field.null or field.has_db_default():
            continue
        else:
            values[field.column] = "%s"
            constants.append(field.get_db_prep_save(field.get_default(), connection))
    if columns:
        raise ValueError(f"{model.__name__} has no column {', '.join(columns)}")
    with connection.cursor() as cursor:
        cursor.execute(
            f"INSERT INTO {model._meta.db_table} ({', '.join(values)}) "
            f"SELECT {', '.join(values.values())} FROM {rows}",
            constants,
        )


def _fill_places() -> None:
    zones = "(ARRAY[" + ", ".join(f"'{zone}'" for zone in ZONES) + "])"
    _insert(
        Customer,
        f"(SELECT DISTINCT i / {SITES_A_CUSTOMER} AS i FROM the_site) c",
        id="pg_temp.key('customer', c.i, pg_temp.start())",
        name="'Customer ' || c.i",
    )
    _insert(
        Site,
        "the_site s",
        id="s.id",
        name="'Site ' || s.i",
        customer_id=f"pg_temp.key('customer', s.i / {SITES_A_CUSTOMER}, pg_temp.start())",
        address="s.i || ' Long Street'",
        elevation_m="floor(1600 * s.dice)",
        time_zone=f"{zones}[1 + mod(s.i, {len(ZONES)})]",
    )
    _insert(
        Equipment,
        "the_system s JOIN the_site p ON p.i = s.site",
        id="s.id",
        site_id="p.id",
        tag="'AH-' || s.i",
        kind="(ARRAY['split_system', 'heat_pump', 'air_handler'])[1 + mod(s.i, 3)]",
        model_number="'M' || mod(s.i, 40)",
        serial_number="'N' || s.i",
        nominal_capacity_w="s.capacity_w",
    )
    for path, key in (("return", "return_id"), ("supply", "supply_id")):
        _insert(
            DuctSection,
            "the_system s",
            id=f"s.{key}",
            equipment_id="s.id",
            name=f"'Main {path}'",
            air_path=f"'{path}'",
            carries_all="NOT s.by_set",
            shape="'rectangular'",
            width_m="0.4572",
            height_m="0.6096",
            layout_rule="'log_tchebycheff'",
        )
    _insert(
        Target,
        "(VALUES ('cooling'), ('heating')) AS c (call)",
        id="pg_temp.key(c.call, 0, pg_temp.start())",
        call="c.call",
        low_m3_s_per_w=f"{0.875 * NOMINAL}",
        nominal_m3_s_per_w=f"{NOMINAL}",
        high_m3_s_per_w=f"{1.125 * NOMINAL}",
        basis="'standard'",
        source="'company'",
    )


def _fill_people() -> None:
    people = f"the_crew c CROSS JOIN generate_series(1, {PEOPLE_A_CREW}) AS n"
    _insert(Crew, "the_crew c", id="c.id", name="'Crew ' || c.i")
    _insert(
        Person,
        people,
        id="pg_temp.key('person', c.i * 10 + n, pg_temp.start())",
        username="'person' || c.i * 10 + n",
        name="'Person ' || c.i * 10 + n",
        password="'!'",
    )
    _insert(
        CrewMembership,
        people,
        crew_id="c.id",
        person_id="pg_temp.key('person', c.i * 10 + n, pg_temp.start())",
        from_on="pg_temp.start()::date",
    )
    _insert(
        Instrument,
        "the_meter m",
        id="m.id",
        serial="'A-' || m.i",
        label="'Meter ' || m.i",
        principle="'vane'",
        shows="'actual_velocity'",
        accuracy_relative="0.03",
    )
    # One in thirty calibrations came a month late.
    _insert(
        Calibration,
        f"the_meter m CROSS JOIN generate_series(0, {YEARS}) AS year "
        "CROSS JOIN LATERAL (SELECT (pg_temp.start() + interval '1 year' * year "
        "+ interval '1 day' * (CASE WHEN random() < 1.0 / 30 THEN 30 ELSE -5 END))::date AS day) d",
        id="pg_temp.key('calibration', m.i * 20 + year, pg_temp.start())",
        instrument_id="m.id",
        performed_on="d.day",
        due_on="d.day + 365",
        accuracy_relative="0.03",
    )


def _fill_measurements() -> None:
    _insert(
        Visit,
        "the_visit v JOIN the_crew c ON c.i = v.crew JOIN the_site s ON s.i = v.site",
        id="v.id",
        site_id="s.id",
        crew_id="c.id",
        purpose="'maintenance'",
        planned_for="v.at::date",
        started_at="v.at - interval '10 minutes'",
        finished_at="v.at + interval '2 hours'",
        created_at="v.at",
        updated_at="v.at",
    )
    _insert(
        Traverse,
        "the_traverse t JOIN the_system s ON s.i = t.system JOIN the_meter m ON m.i = t.meter "
        "JOIN the_profile p ON p.i = mod(t.i, 500) LEFT JOIN the_traverse first "
        "ON first.job = t.job AND first.place = 0 AND t.place = 2",
        id="t.id",
        visit_id="t.visit_id",
        duct_section_id="CASE WHEN t.is_supply THEN s.supply_id ELSE s.return_id END",
        instrument_id="m.id",
        repeats_id="first.id",
        stage="t.stage",
        taken_at="t.taken_at",
        mode="'points'",
        call="t.call",
        dry_bulb_c="21.5",
        relative_humidity="0.45",
        reading_kind="'velocity'",
        readings="p.readings",
        mean_reading_m_s="2.9",
        created_at="t.taken_at + interval '1 hour'",
        updated_at="t.taken_at + interval '1 hour'",
    )
    _insert(
        TraverseRevision,
        "the_traverse t",
        traverse_id="t.id",
        number="1",
        content="jsonb_build_object('id', t.id)",
        content_digest="md5(t.id::text)",
        actor="'field app'",
        recorded_at="t.taken_at + interval '1 hour'",
    )
    _insert(
        FlowSet,
        "the_set f JOIN the_system s ON s.i = f.system",
        id="f.id",
        visit_id="f.visit_id",
        equipment_id="s.id",
        stage="f.stage",
        created_at="f.taken_at + interval '1 hour'",
        updated_at="f.taken_at + interval '1 hour'",
    )
    _insert(
        FlowSetMember,
        "the_set f JOIN the_traverse t ON t.job = f.job AND t.stage = f.stage",
        flow_set_id="f.id",
        traverse_id="t.id",
    )
    _insert(
        Adjustment,
        "the_traverse t JOIN the_system s ON s.i = t.system WHERE t.place = 3",
        id="pg_temp.key('adjustment', t.i, t.taken_at)",
        visit_id="t.visit_id",
        equipment_id="s.id",
        kind="'blower_setting'",
        from_value="'tap 4'",
        to_value="'tap 3'",
        made_at="t.taken_at - interval '5 minutes'",
    )
    for kind, source in (("traverse", "the_traverse"), ("flow_set", "the_set")):
        _insert(
            Computation,
            f"{source} m",
            id="m.i",
            **{f"{kind}_id": "m.id"},
            state="'computed'",
            result_id="m.i",
            checked_at="m.taken_at + interval '1 hour'",
            due_at="m.taken_at + interval '1 hour'",
        )
    low, high = f"{0.875 * NOMINAL}", f"{1.125 * NOMINAL}"

    def judged(value: str) -> str:
        return f"CASE WHEN o.is_judged THEN {value} END"

    _insert(
        Result,
        "the_outcome o",
        id="o.i",
        computation_id="o.i",
        engine=f"'{recompute.ENGINE}'",
        inputs_digest="md5(o.i::text)",
        content_revision="1",
        computed_at="o.at + interval '1 hour'",
        velocity_mean_m_s="2.9",
        flow_actual_m3_s="o.flow * 1.02",
        flow_standard_m3_s="o.flow",
        flow_relative_u="o.u / o.value",
        flow_per_capacity_m3_s_per_w="o.value",
        judged_value=judged("o.value"),
        judged_u=judged("o.u"),
        judged_low=judged("o.value - 1.96 * o.u"),
        judged_high=judged("o.value + 1.96 * o.u"),
        target_low=judged(low),
        target_nominal=judged(f"{NOMINAL}"),
        target_high=judged(high),
        probability_low=judged("o.p_low"),
        probability_in_range=judged("o.p_in"),
        probability_high=judged("o.p_high"),
        verdict="o.verdict",
        leaning="CASE WHEN o.verdict <> 'undecided' THEN '' WHEN o.p_low > o.p_high THEN 'low' "
        "ELSE 'high' END",
        indicative="o.indicative",
        values="'{}'::jsonb",
    )


def _chosen(systems: int) -> dict[str, UUID]:
    """Return which rows the pages are asked for: in the middle of the list, of the last weeks."""
    middle = systems // 2
    system = Equipment.objects.get(tag=f"AH-{middle if middle % 20 != 7 else middle + 1}")
    by_set = Equipment.objects.get(tag=f"AH-{middle // 20 * 20 + 7}")
    latest = (
        Traverse.objects.filter(duct_section__equipment=system)
        .order_by("-taken_at")
        .select_related("visit__site")[0]
    )
    customer_id = latest.visit.site.customer_id
    assert customer_id is not None
    return {
        "system_id": system.pk,
        "set_system_id": by_set.pk,
        "traverse_id": latest.pk,
        "visit_id": latest.visit_id,
        "crew_id": latest.visit.crew_id,
        "site_id": latest.visit.site_id,
        "customer_id": customer_id,
        "instrument_id": latest.instrument_id,
    }


def _compute(traverse_id: UUID) -> None:
    """Compute one result as the worker does, so that its page has all there is to show."""
    recompute.mark_pending(Traverse.objects.filter(pk=traverse_id))
    done = recompute.drain()
    state = Computation.objects.get(traverse_id=traverse_id).state
    if not done.computed or state != State.COMPUTED:
        raise RuntimeError(f"The traverse to be shown was not computed: it is {state}.")

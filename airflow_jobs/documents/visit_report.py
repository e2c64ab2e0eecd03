"""A visit's report put together: by system and call, before and after."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import replace
from uuid import UUID

from airflow_jobs import units as dimensions
from airflow_jobs import words
from airflow_jobs.display import Units, day_text
from airflow_jobs.models import Call, Equipment, FlowReading, Stage, Traverse

from . import report_words as said
from .beside import beside_of, done_of
from .measured import Measured
from .standings import in_one_line, standing_of
from .values import FactRow, Pair, Standing, SystemReport, VisitReport
from .visit_rows import VisitRows, visit_rows

# As a report lists them; a visit has mostly one.
_CALLS = (Call.COOLING, Call.HEATING, Call.DEHUMIDIFY, Call.FAN_ONLY, Call.UNKNOWN)


def visit_report(visit_id: UUID) -> VisitReport | None:
    """Return a visit's report, or nothing where there is no such visit; twelve statements."""
    rows = visit_rows(visit_id)
    return None if rows is None else report_of(rows)


def report_of(rows: VisitRows) -> VisitReport:
    """Return the report of a visit's rows."""
    units = Units(rows.company.default_units)
    visit, site = rows.visit, rows.visit.site
    day = _day(rows)
    systems = tuple(_system(system, rows, units) for system in rows.systems())
    return VisitReport(
        visit_id=visit.pk,
        company=rows.company.name,
        mark=rows.company.report_mark,
        units=units.system,
        customer=site.customer.name if site.customer else "",
        site=site.name,
        address=site.address,
        day=day,
        day_text=day_text(day) if day else "day not on record",
        purpose=visit.get_purpose_display(),
        crew_id=visit.crew_id,
        crew=visit.crew.name,
        systems=systems,
        closing=said.closing_words(visit.closing or {}),
        notes=str((visit.closing or {}).get("notes") or "").strip(),
        how_to_read=said.how_to_read(systems),
        precedence=said.PRECEDENCE,
        reference=_reference(visit.pk, systems),
    )


def _day(rows: VisitRows) -> datetime.date | None:
    visit = rows.visit
    began = visit.started_at or min((row.taken_at for row in rows.traverses), default=None)
    return began.astimezone(rows.zone).date() if began else visit.planned_for


def _reference(visit_id: UUID, systems: Sequence[SystemReport]) -> tuple[str, ...]:
    standings = [
        one
        for system in systems
        for pair in system.pairs
        for one in (pair.before, pair.after)
        if one is not None and one.result
    ]
    found = [f"Visit {visit_id}"]
    if standings:
        found.append(f"Results {', '.join(one.result for one in standings)}")
        engines = sorted({one.engine for one in standings})
        found.append(f"Engine {', '.join(engines)}")
    return tuple(found)


def _system(system: Equipment, rows: VisitRows, units: Units) -> SystemReport:
    measured = _measured(system, rows)
    in_sets = {part.pk for one in measured for part in one.parts if isinstance(part, FlowReading)}
    by_call = {one.call for one in measured}
    pairs = tuple(
        _pair(
            [one for one in measured if one.call == call],
            # A flow's call is only said where the system ran under several.
            system.tag if len(by_call) == 1 else f"{system.tag}, {words.CALLS[call].lower()},",
            call,
            rows,
            units,
        )
        for call in _CALLS
        if call in by_call
    )
    last = [
        (call, pair.after or pair.before)
        for call, pair in zip((one for one in _CALLS if one in by_call), pairs, strict=True)
    ]
    beside = beside_of(
        system,
        [row for row in rows.pressures if row.equipment_id == system.pk],
        [row for row in rows.rises if row.equipment_id == system.pk],
        [
            row
            for row in rows.flow_readings
            if row.equipment_id == system.pk and row.pk not in in_sets
        ],
        units,
    )
    if pairs:
        pairs = (replace(pairs[0], rows=(*pairs[0].rows, *beside)), *pairs[1:])
    return SystemReport(
        equipment_id=system.pk,
        tag=system.tag,
        about=_about(system, units),
        pairs=pairs,
        done=tuple(
            f"{done_of(row.get_kind_display(), row.from_value, row.to_value)} "
            f"({row.made_at.astimezone(rows.zone):%H:%M})"
            for row in rows.adjustments
            if row.equipment_id == system.pk
        ),
        beside=() if pairs else beside,
        findings=_findings(pairs),
        caution=said.refrigerant_line(system.kind, last),
    )


def _about(system: Equipment, units: Units) -> str:
    capacity = units.show(system.cooling_capacity_w, dimensions.CAPACITY)
    parts = [words.KINDS.get(system.kind, system.kind)]
    if capacity is not None:
        parts.append(f"{capacity.plain} {'rated' if system.rated_capacity_w else 'nominal'}")
    if system.model_number:
        parts.append(f"model {system.model_number}")
    if system.serial_number:
        parts.append(f"serial number {system.serial_number}")
    return ", ".join(parts)


def _measured(system: Equipment, rows: VisitRows) -> list[Measured]:
    """Return the traverses and flow-sets of a system, oldest first."""
    own = {row.pk: row for row in rows.traverses if row.duct_section.equipment_id == system.pk}
    found = [
        Measured(
            row=row,
            stage=row.stage,
            call=row.call,
            taken_at=row.taken_at,
            corrected_at=rows.corrected_at.get(row.pk),
            calibrations=rows.calibrations,
            found=rows.found,
        )
        for row in own.values()
    ]
    every = {row.pk: row for row in rows.traverses}
    for row in rows.flow_sets:
        if row.equipment_id != system.pk:
            continue
        parts: list[Traverse | FlowReading] = []
        for member in rows.members.get(row.pk, ()):
            if member.flow_reading is not None:
                parts.append(member.flow_reading)
            elif member.traverse_id in every:
                parts.append(every[member.traverse_id])
        if not parts:
            continue
        calls = {part.call for part in parts if isinstance(part, Traverse)}
        found.append(
            Measured(
                row=row,
                stage=row.stage,
                call=calls.pop() if len(calls) == 1 else Call.UNKNOWN.value,
                taken_at=max(part.taken_at for part in parts),
                parts=tuple(parts),
                calibrations=rows.calibrations,
                found=rows.found,
                corrected_at=max(
                    (rows.corrected_at[part.pk] for part in parts if part.pk in rows.corrected_at),
                    default=None,
                ),
            )
        )
    return sorted(found, key=lambda one: (one.taken_at, one.row.pk))


def _pair(
    measured: Sequence[Measured], name: str, call: str, rows: VisitRows, units: Units
) -> Pair:
    first = _chosen(measured, Stage.AS_FOUND)
    last = _chosen(measured, Stage.AS_LEFT)
    before = standing_of(first, units, rows.zone) if first else None
    after = standing_of(last, units, rows.zone) if last else None
    in_sets = {part.pk for one in measured for part in one.parts}
    return Pair(
        call=words.CALLS[call],
        summary=said.summary(name, before, after),
        before=before,
        after=after,
        missing_before=said.NOT_FOUND,
        missing_after=said.NOT_LEFT,
        rows=_rows(before, after),
        others=tuple(
            in_one_line(one, units, rows.zone)
            for one in measured
            if one is not first and one is not last and one.row.pk not in in_sets
        ),
    )


def _chosen(measured: Sequence[Measured], stage: str) -> Measured | None:
    """Return what a stage is shown by: the first as found, the last as left.

    What was judged goes before what wasn't, and a whole flow before a part of one.
    """
    of_stage = [one for one in measured if one.stage == stage]
    in_sets = {part.pk for one in measured for part in one.parts}
    whole = [one for one in of_stage if one.row.pk not in in_sets] or of_stage
    eligible = [one for one in whole if one.is_judged] or whole
    if not eligible:
        return None
    return eligible[0] if stage == Stage.AS_FOUND else eligible[-1]


def _rows(before: Standing | None, after: Standing | None) -> tuple[FactRow, ...]:
    """Return the facts of both stages side by side, in the order of either."""
    sides = [{fact.name: fact.text for fact in one.facts} if one else {} for one in (before, after)]
    names = dict.fromkeys([*sides[0], *sides[1]])
    return tuple(FactRow(name, sides[0].get(name, ""), sides[1].get(name, "")) for name in names)


def _findings(pairs: Sequence[Pair]) -> tuple[str, ...]:
    """Return each finding once; what is said of one stage alone says of which."""
    found: dict[str, None] = {}
    for pair in pairs:
        before = pair.before.findings if pair.before else ()
        after = pair.after.findings if pair.after else ()
        is_one = pair.before is None or pair.after is None
        for message in after:
            found[message if is_one or message in before else f"As left: {message}"] = None
        for message in before:
            if message not in after:
                found[message if is_one else f"As found: {message}"] = None
    return tuple(found)

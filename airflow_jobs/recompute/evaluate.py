"""From traverses to outcomes: rows resolved, grouped by layout, evaluated as arrays."""

from __future__ import annotations

import logging
import math
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any
from uuid import UUID

import numpy as np

from airflow_jobs.calc.evaluation import evaluate
from airflow_jobs.calc.instruments import DIRECTION_RESPONSES, codes, instruments
from airflow_jobs.calc.sweeps import (
    line_mean_from_stamps_m_s,
    radius_means_from_stamps_m_s,
    stamped_profile,
)
from airflow_jobs.calc.traverse_batch import TraverseBatch
from airflow_jobs.calc.traverse_results import Evaluation
from airflow_jobs.models import Basis, Calibration, Mode, ReadingKind, Shape, Traverse

from .companions import Companion, companions_of
from .conclusions import Companions
from .inputs import Surroundings, TraverseInputs, flat_readings, resolve
from .measured_flows import MeasuredFlow, measured_flow
from .outcomes import Computed, Failure, Outcome
from .surroundings import surroundings_of
from .values import computed

LOG = logging.getLogger(__name__)

NEAR_BLADES = 5.0
NEAR_DISTURBANCE = 2.0


def outcomes_of_traverses(keys: Iterable[UUID]) -> dict[UUID, Outcome]:
    """Return traverse id -> what came out, for many traverses in a few statements."""
    wanted = list(keys)
    if not wanted:
        return {}
    return outcomes_of(_with_context(wanted))


def preview(traverse: Traverse) -> Outcome:
    """Compute an unsaved traverse whose visit, section and instrument are saved."""
    return outcomes_of([traverse])[traverse.pk]


def outcomes_as_if(keys: Iterable[UUID], calibration: Calibration) -> dict[UUID, Outcome]:
    """Compute stored traverses as if one calibration were the unsaved row given; store nothing."""
    return outcomes_of(_with_context(list(keys)), instead=calibration)


def outcomes_of(
    traverses: Sequence[Traverse], *, instead: Calibration | None = None
) -> dict[UUID, Outcome]:
    """Return traverse id -> what came out; rows need their context at hand.

    Parameters
    ----------
    traverses
        What is computed.
    instead
        A calibration that takes the place of the stored one of its id.
    """
    related = companions_of(traverses)
    given = {row.pk for row in traverses}
    others = _with_context({key for keys in related.values() for key in keys.values()} - given)
    around = surroundings_of([*traverses, *others])
    if instead is not None:
        around = _with_instead(around, instead)
    evaluated = _evaluated(traverses, around)
    held_against = _Flows({**_evaluated_if_possible(others, around), **evaluated})
    return {
        row.pk: _outcome(evaluated[row.pk], held_against.of(row, related.get(row.pk, {})))
        for row in traverses
    }


def _with_instead(around: Surroundings, calibration: Calibration) -> Surroundings:
    rows = around.calibrations.get(calibration.instrument_id, [])
    kept = [row for row in rows if row.pk != calibration.pk]
    return replace(
        around,
        calibrations={**around.calibrations, calibration.instrument_id: [*kept, calibration]},
    )


def _with_context(keys: Collection[UUID]) -> list[Traverse]:
    """Fetch traverses with their section, system, site and meter, a table a statement.

    A join of so many tables is at the mercy of statistics, and just after a bulk load there are
    none: the same rows then took minutes.
    """
    if not keys:
        return []
    return list(
        Traverse.objects.filter(pk__in=keys).prefetch_related(
            "visit", "duct_section__equipment__site", "instrument"
        )
    )


@dataclass(frozen=True, slots=True)
class Evaluated:
    """A traverse resolved to numbers, and where it stands in an evaluation."""

    traverse: Traverse
    inputs: TraverseInputs
    evaluation: Evaluation
    row: int


class _Flows:
    """The flows of companions, each worked out once."""

    def __init__(self, known: dict[UUID, Evaluated | Failure]) -> None:
        self._known = known
        self._flows: dict[UUID, tuple[str, MeasuredFlow] | None] = {}

    def of(self, traverse: Traverse, related: dict[str, UUID]) -> Companions:
        """Return relation -> companion and its flow, as far as there is one."""
        found = {}
        for relation, key in sorted(related.items()):
            flow = self._flow(key)
            other = self._known.get(key)
            if flow is None or not isinstance(other, Evaluated):
                continue
            companion = Companion(
                relation=relation,
                traverse=str(key),
                same_meter=other.traverse.instrument_id == traverse.instrument_id,
                same_section=other.traverse.duct_section_id == traverse.duct_section_id,
                digest=flow[0],
            )
            found[relation] = (companion, flow[1])
        return found

    def _flow(self, key: UUID) -> tuple[str, MeasuredFlow] | None:
        if key not in self._flows:
            item = self._known.get(key)
            flow = (
                measured_flow(item.inputs, item.evaluation, item.row)
                if isinstance(item, Evaluated)
                else None
            )
            self._flows[key] = None if flow is None else (flow.inputs.flow_digest(), flow)
        return self._flows[key]


def _evaluated(
    traverses: Sequence[Traverse], around: Surroundings
) -> dict[UUID, Evaluated | Failure]:
    found: dict[UUID, Evaluated | Failure] = {}
    groups: dict[object, list[tuple[Traverse, TraverseInputs]]] = defaultdict(list)
    for traverse in traverses:
        try:
            inputs = resolve(traverse, around)
            groups[_group_of(inputs)].append((traverse, inputs))
        except ValueError as error:
            found[traverse.pk] = Failure(_in_words(error))
    for group in groups.values():
        found.update(_evaluated_group(group))
    return found


def _evaluated_if_possible(
    traverses: Sequence[Traverse], around: Surroundings
) -> dict[UUID, Evaluated | Failure]:
    """Evaluate companions; a broken one is left out, its own turn says what is wrong with it."""
    try:
        return _evaluated(traverses, around)
    except Exception:
        if len(traverses) == 1:
            LOG.exception("Traverse %s is left out as a companion", traverses[0].pk)
            return {}
        found: dict[UUID, Evaluated | Failure] = {}
        for traverse in traverses:
            found.update(_evaluated_if_possible([traverse], around))
        return found


def _in_words(error: ValueError) -> str:
    return f"This can't be computed as it was recorded: {error}."


def _group_of(inputs: TraverseInputs) -> object:
    """Return what traverses must share to be evaluated as one set of arrays."""
    missing = (
        tuple(value is None for value in flat_readings(inputs)) if inputs.mode == "points" else ()
    )
    stamped = inputs.mode == Mode.SWEEPS and _is_stamped(inputs)
    return (
        inputs.mode,
        inputs.plan,
        inputs.actual,
        missing,
        inputs.drilled_side,
        inputs.taken_in,
        stamped,
    )


def _evaluated_group(
    group: list[tuple[Traverse, TraverseInputs]],
) -> dict[UUID, Evaluated | Failure]:
    """Evaluate one group; where the arrays are refused, find the row that is to blame."""
    try:
        evaluation = evaluate(batch_of([inputs for _, inputs in group]))
    except ValueError as error:
        if len(group) == 1:
            return {group[0][0].pk: Failure(_in_words(error))}
        found: dict[UUID, Evaluated | Failure] = {}
        for item in group:
            found.update(_evaluated_group([item]))
        return found
    return {
        traverse.pk: Evaluated(traverse, inputs, evaluation, row)
        for row, (traverse, inputs) in enumerate(group)
    }


def _outcome(item: Evaluated | Failure, companions: Companions) -> Computed | Failure:
    if isinstance(item, Failure):
        return item
    if not math.isfinite(float(item.evaluation.by_rule.actual_m3_s[item.row])):
        return Failure("No reading is left to compute a flow from: send at least one.")
    inputs = item.inputs
    if not inputs.carries_all:
        companions = {}
    if companions:
        inputs = replace(inputs, companions=tuple(one for one, _ in companions.values()))
    return computed(inputs, item.evaluation, item.row, companions)


def batch_of(rows: Sequence[TraverseInputs]) -> TraverseBatch:
    """Put traverses that share a layout into arrays for `calc`."""
    first = rows[0]
    stamped = first.mode == Mode.SWEEPS and _is_stamped(first)

    def floats(of: Callable[[TraverseInputs], float | None]) -> np.ndarray:
        return np.array([_number(of(row)) for row in rows], dtype=np.float64)

    def flags(of: Callable[[TraverseInputs], bool]) -> np.ndarray:
        return np.array([of(row) for row in rows], dtype=np.bool_)

    def words(of: Callable[[TraverseInputs], Any]) -> list[Any]:
        return [of(row) for row in rows]

    return TraverseBatch(
        plan=first.plan,
        taken=None if first.actual is first.plan else first.actual,
        mode=first.mode,  # type: ignore[arg-type]  # a named constraint holds it to the modes
        drilled_side=first.drilled_side,  # type: ignore[arg-type]
        taken_in=first.taken_in,  # type: ignore[arg-type]
        is_depth_stamped=stamped,
        readings=np.array([_columns(row, stamped) for row in rows], dtype=np.float64),
        is_velocity_pressure=flags(lambda row: row.reading_kind == ReadingKind.VELOCITY_PRESSURE),
        instruments=instruments(
            principle=words(lambda row: row.principle),
            shows=words(lambda row: row.shows),
            compensates_temperature=words(lambda row: row.compensates[0]),
            compensates_pressure=words(lambda row: row.compensates[1]),
            compensates_humidity=words(lambda row: row.compensates[2]),
            reference_dry_bulb_c=floats(lambda row: row.reference_dry_bulb_c),
            reference_pressure_pa=floats(lambda row: row.reference_pressure_pa),
            gain=floats(lambda row: row.gain),
            offset_m_s=floats(lambda row: row.offset_m_s),
        ),
        direction_response=codes(
            "direction_response", words(lambda row: row.direction_response), DIRECTION_RESPONSES
        ),
        accuracy_relative=floats(lambda row: row.accuracy_relative),
        accuracy_absolute_m_s=floats(lambda row: row.accuracy_absolute_m_s),
        gain_u=floats(lambda row: row.gain_u),
        offset_u_m_s=floats(lambda row: row.offset_u_m_s),
        resolution_m_s=floats(lambda row: row.resolution_m_s),
        range_low_m_s=floats(lambda row: row.range_low_m_s),
        range_high_m_s=floats(lambda row: row.range_high_m_s),
        width_m=floats(lambda row: row.section.width_m),
        height_m=floats(lambda row: row.section.height_m),
        dimension_tolerance_m=floats(lambda row: row.tolerance_m),
        lining_thickness_m=floats(lambda row: row.section.wall_m),
        area_override_m2=floats(lambda row: row.area_override_m2),
        dry_bulb_c=floats(lambda row: row.air.dry_bulb_c),
        relative_humidity=floats(lambda row: row.air.relative_humidity),
        pressure_pa=floats(lambda row: row.air.pressure_pa),
        dry_bulb_u_c=floats(lambda row: row.air.dry_bulb_u_c),
        relative_humidity_u=floats(lambda row: row.air.relative_humidity_u),
        pressure_u_pa=floats(lambda row: row.air.pressure_pa * row.air.pressure_relative_u),
        standard_density_kg_m3=floats(lambda row: row.standard_density_kg_m3),
        near_gap_m=floats(lambda row: row.readings.get("near_gap_m") or 0.0),
        far_gap_m=floats(lambda row: row.readings.get("far_gap_m") or 0.0),
        capacity_w=floats(lambda row: row.capacity_w),
        target_low=floats(lambda row: row.aim.low if row.aim else None),
        target_nominal=floats(lambda row: row.aim.nominal if row.aim else None),
        target_high=floats(lambda row: row.aim.high if row.aim else None),
        target_is_flow=flags(lambda row: row.aim is not None and row.aim.is_flow),
        target_is_actual=flags(lambda row: row.aim is not None and row.aim.basis == Basis.ACTUAL),
        basis_is_makers_word=flags(lambda row: row.aim is not None and row.aim.basis_is_certain),
        carries_whole_flow=flags(lambda row: row.carries_all),
        blades_within_5_diameters=flags(
            lambda row: _nearer(row, row.nearest_blades_m, NEAR_BLADES)
        ),
        disturbance_within_2_diameters=flags(
            lambda row: _nearer(row, row.straight_upstream_m, NEAR_DISTURBANCE)
        ),
    )


def _nearer(inputs: TraverseInputs, distance_m: float | None, diameters: float) -> bool:
    """Whether something stands nearer than so many hydraulic diameters."""
    return distance_m is not None and distance_m < diameters * inputs.section.hydraulic_diameter_m


def _number(value: float | None) -> float:
    return math.nan if value is None else float(value)


def _is_stamped(inputs: TraverseInputs) -> bool:
    return all(line.get("stamps") for line in inputs.readings["lines"])


def _columns(inputs: TraverseInputs, stamped: bool) -> list[float]:
    """Return the readings of one traverse as `calc` wants them, NaN where not taken."""
    if not stamped:
        return [_number(value) for value in flat_readings(inputs)]
    if inputs.reading_kind == ReadingKind.VELOCITY_PRESSURE:
        raise ValueError("a sweep of velocity pressures can't be averaged: roots are averaged")
    columns: list[float] = []
    _, across = inputs.section.extents_m(inputs.drilled_side)  # type: ignore[arg-type]
    for line in inputs.readings["lines"]:
        profile = stamped_profile(
            depth_m=[stamp[1] for stamp in line["stamps"]],
            velocity_m_s=[stamp[2] for stamp in line["stamps"]],
            chord_m=across,
        )
        if inputs.section.shape == Shape.ROUND:
            columns.extend(radius_means_from_stamps_m_s(profile))
        else:
            columns.append(line_mean_from_stamps_m_s(profile))
    return columns

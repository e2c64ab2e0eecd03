"""Traverses: a content as a field app sends it, parsed the same way, and the truth behind it."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, replace
from typing import Any, Final
from uuid import UUID

import numpy as np

from airflow_jobs.actions.traverse_content import TraverseContent
from airflow_jobs.calc.air import STANDARD_AIR_DENSITY_KG_M3
from airflow_jobs.calc.quantities import FloatArray
from airflow_jobs.models import Basis, Call, Mode, Principle, ReadingKind, Shape, TakenIn
from airflow_jobs.units import LENGTH, PRESSURE, VELOCITY, Dimension, from_si, to_si

from .conditions import Air, written_down
from .ducts import Duct
from .indications import point_velocities_m_s, shown, sweep_velocities_m_s
from .jobs import Job
from .meters import Meter
from .seeded import Seeded
from .typed import Typed, on_scale

SWEEPS, AVERAGE = 0.24, 0.06
MISSING: Final = 0.035
POSITIONS_SENT: Final = 0.06
REASONS: Final = (
    "hanger rod in the way",
    "wire behind the sheet",
    "probe touches a turning vane",
    "reading would not settle",
)
NOTES: Final = (
    "",
    "",
    "",
    "",
    "doors open during the measurement",
    "second crew member held the ladder",
    "holes found plugged, opened again",
    "customer present",
    "windy, entrance door swinging",
)


@dataclass(frozen=True)
class Truth:
    """What is really so, and stands in no record."""

    ratio: float
    """Flow of the system over the flow asked for, on the target's basis."""
    low_ratio: float
    high_ratio: float
    flow_actual_m3_s: float
    """In this section."""
    flow_standard_m3_s: float
    velocity_m_s: float

    @property
    def is_outside(self) -> bool:
        """Whether the system was outside its target."""
        return not self.low_ratio <= self.ratio <= self.high_ratio


@dataclass(frozen=True)
class Taken:
    """One traverse as sent, and the truth behind it."""

    identifier: UUID
    content: TraverseContent
    truth: Truth
    duct: Duct
    meter: Meter
    job: Job


def choose_mode(seeded: Seeded, duct: Duct, meter: Meter) -> str:
    """Return how a crew takes a traverse: swept only where that can be averaged."""
    if duct.row.shape == Shape.ROUND or meter.row.principle == Principle.PITOT:
        return Mode.POINTS
    return seeded.pick(
        (Mode.POINTS, Mode.SWEEPS, Mode.AVERAGE), (1.0 - SWEEPS - AVERAGE, SWEEPS, AVERAGE)
    )


def truth_of(job: Job, ratio: float, duct: Duct, air: Air) -> Truth:
    """Return the true flow in a section for a ratio of the system's flow."""
    density = air.density_kg_m3
    asked_m3_s = ratio * job.system.nominal_flow_m3_s(job.call) * duct.share
    is_standard = job.aim.basis == Basis.STANDARD
    actual = asked_m3_s * STANDARD_AIR_DENSITY_KG_M3 / density if is_standard else asked_m3_s
    return Truth(
        ratio=ratio,
        low_ratio=job.low_ratio,
        high_ratio=job.high_ratio,
        flow_actual_m3_s=actual,
        flow_standard_m3_s=actual * density / STANDARD_AIR_DENSITY_KG_M3,
        velocity_m_s=actual / duct.inside.area_m2,
    )


def take(
    seeded: Seeded,
    *,
    job: Job,
    visit_id: UUID,
    duct: Duct,
    meter: Meter,
    stage: str,
    at: datetime.datetime,
    truth: Truth,
    air: Air,
    mode: str,
    state: dict[str, Any] | None,
    reduces_barometer: bool = False,
    repeats: UUID | None = None,
) -> Taken:
    """Return a traverse taken with a meter in a section where the truth is known.

    Parameters
    ----------
    seeded
        Where chance comes from.
    job, visit_id, duct, meter
        What, on which visit, where and with what.
    stage, at, mode
        When: stage and local time with its offset; and how.
    truth, air
        What is really so.
    state
        The operating state as entered; None where nobody entered any.
    reduces_barometer
        Whether the barometer comes from a weather report.
    repeats
        The traverse that this one repeats, if any.
    """
    unit = meter.make.unit
    dimension = PRESSURE if meter.is_pressure else VELOCITY
    noted = written_down(
        seeded, air, job.system.place, in_si=meter.speaks_si, reduces_barometer=reduces_barometer
    )
    sent: dict[str, Any] = {
        "visit": str(visit_id),
        "duct_section": str(duct.row.pk),
        "instrument": str(meter.row.pk),
        "stage": str(stage),
        "taken_at": at.isoformat(),
        "mode": str(mode),
    }
    if repeats is not None:
        sent["repeats"] = str(repeats)
    if state is not None:
        sent["operating_state"] = state
    sent["conditions"] = {name: quantity.as_json() for name, quantity in noted.items()}
    readings, reasons = _readings(seeded, duct, meter, at.date(), truth, air, mode)
    sent["readings"] = readings
    positions = _positions(seeded, duct, mode)
    if positions is not None:
        sent["positions"] = positions
    if reasons:
        sent["reasons"] = reasons
    taken_in = TakenIn.BACK_AND_FORTH if seeded.chance(0.2) else TakenIn.LINE_BY_LINE
    if mode == Mode.POINTS and taken_in == TakenIn.BACK_AND_FORTH:
        sent["taken_in"] = str(taken_in)
    notes = duct.hole_note or seeded.pick(NOTES)
    if notes:
        sent["notes"] = notes
    content = TraverseContent(
        visit_id=visit_id,
        duct_section_id=duct.row.pk,
        instrument_id=meter.row.pk,
        repeats_id=repeats,
        stage=stage,
        taken_at=at.astimezone(datetime.UTC),
        mode=mode,
        reading_kind=ReadingKind.VELOCITY_PRESSURE if meter.is_pressure else ReadingKind.VELOCITY,
        readings=_in_si(readings, mode, unit, dimension),
        sent=sent,
        operating_state={key: item for key, item in (state or {}).items() if key != "call"},
        positions=_positions_in_si(positions),
        reasons=reasons,
        taken_in=sent.get("taken_in", TakenIn.LINE_BY_LINE),
        notes=notes,
        call=state["call"] if state else Call.UNKNOWN,
        **_columns_of(noted),
    )
    return Taken(seeded.new_id(at), content, truth, duct, meter, job)


def slipped(taken: Taken, factor: float) -> Taken:
    """Return the same traverse, its readings typed in another unit than the one named.

    Parameters
    ----------
    taken
        A traverse by points, in velocities.
    factor
        How many of the unit named go into one of the unit typed: 196.85 for m/s typed as
        ft/min, 88 for mi/h.
    """
    readings = taken.content.sent["readings"]
    unit = readings["unit"]
    values = [
        [None if value is None else on_scale(value / factor, 0.01) for value in line]
        for line in readings["values"]
    ]
    wrong = {"unit": unit, "values": values}
    content = replace(
        taken.content,
        readings=_in_si(wrong, taken.content.mode, unit, VELOCITY),
        sent={**taken.content.sent, "readings": wrong},
    )
    return replace(taken, content=content)


def _readings(
    seeded: Seeded,
    duct: Duct,
    meter: Meter,
    day: datetime.date,
    truth: Truth,
    air: Air,
    mode: str,
) -> tuple[dict[str, Any], list[list[Any]]]:
    if mode == Mode.POINTS:
        velocities = point_velocities_m_s(seeded, duct, truth.velocity_m_s)
        display = iter(_on_display(meter, shown(meter, day, np.concatenate(velocities), air.state)))
        values: list[list[float | None]] = [[next(display) for _ in line] for line in velocities]
        reasons = _leave_out(seeded, values) if seeded.chance(MISSING) else []
        return {"unit": meter.make.unit, "values": values}, reasons
    gap_in = 0.5 if meter.row.principle == Principle.VANE else 0.25
    gap = Typed(gap_in, "in", LENGTH)
    swept = sweep_velocities_m_s(seeded, duct, truth.velocity_m_s, gap.si, gap.si)
    means = _on_display(meter, shown(meter, day, np.asarray(swept), air.state))
    seconds = [on_scale(seeded.uniform(10.0, 15.0), 0.1) for _ in means]
    if mode == Mode.SWEEPS:
        lines = [
            {"mean": mean, "seconds": second} for mean, second in zip(means, seconds, strict=True)
        ]
        return {
            "unit": meter.make.unit,
            "lines": lines,
            "near_gap": gap.as_json(),
            "far_gap": gap.as_json(),
        }, []
    # The instrument averages over time, so a line that took longer counts more.
    mean = float(np.average(means, weights=seconds))
    return {
        "unit": meter.make.unit,
        "mean": on_scale(mean, meter.make.step),
        "seconds": on_scale(sum(seconds), 0.1),
        "lines": len(means),
    }, []


def _on_display(meter: Meter, values_si: FloatArray) -> list[float]:
    dimension = PRESSURE if meter.is_pressure else VELOCITY
    return [
        on_scale(from_si(float(value), meter.make.unit, dimension), meter.make.step)
        for value in values_si
    ]


def _leave_out(seeded: Seeded, values: list[list[float | None]]) -> list[list[Any]]:
    """Take out a few readings, or now and then a line, and return why."""
    reason = seeded.pick(REASONS)
    line = seeded.whole(1, len(values))
    points = len(values[line - 1])
    gone = (
        range(1, points + 1)
        if seeded.chance(0.06)
        else sorted({seeded.whole(1, points) for _ in range(seeded.whole(1, 2))})
    )
    for point in gone:
        values[line - 1][point - 1] = None
    return [[line, point, reason] for point in gone]


def _positions(seeded: Seeded, duct: Duct, mode: str) -> dict[str, Any] | None:
    along = "angles" if duct.inside.shape == "round" else "lines"
    if duct.moved_hole is not None:
        return {"unit": "mm", along: duct.lines_mm()}
    if mode == Mode.POINTS and seeded.chance(POSITIONS_SENT):
        return {"unit": "mm", along: duct.lines_mm(), "depths": duct.depths_mm()}
    return None


def _positions_in_si(positions: dict[str, Any] | None) -> dict[str, Any] | None:
    if positions is None:
        return None
    parsed: dict[str, Any] = {}
    if "angles" in positions:
        parsed["angles"] = positions["angles"]
    if "lines" in positions:
        parsed["lines"] = [to_si(line, "mm", LENGTH) for line in positions["lines"]]
    if "depths" in positions:
        parsed["depths"] = [
            [to_si(depth, "mm", LENGTH) for depth in line] for line in positions["depths"]
        ]
    return parsed


def _in_si(readings: dict[str, Any], mode: str, unit: str, dimension: Dimension) -> dict[str, Any]:
    if mode == Mode.POINTS:
        return {
            "values": [
                [None if value is None else to_si(value, unit, dimension) for value in line]
                for line in readings["values"]
            ]
        }
    if mode == Mode.SWEEPS:
        return {
            "lines": [
                {"mean": to_si(line["mean"], unit, dimension), "seconds": line["seconds"]}
                for line in readings["lines"]
            ],
            "near_gap_m": _gap_m(readings["near_gap"]),
            "far_gap_m": _gap_m(readings["far_gap"]),
        }
    return {
        "mean": to_si(readings["mean"], unit, dimension),
        "seconds": readings["seconds"],
        "lines": readings["lines"],
    }


def _gap_m(gap: dict[str, Any]) -> float:
    return to_si(gap["value"], gap["unit"], LENGTH)


COLUMN_OF: Final = {
    "dry_bulb": "dry_bulb_c",
    "relative_humidity": "relative_humidity",
    "wet_bulb": "wet_bulb_c",
    "dew_point": "dew_point_c",
    "barometric_pressure": "barometric_pressure_pa",
    "elevation": "elevation_m",
    "duct_static": "duct_static_pa",
}


def _columns_of(noted: dict[str, Typed]) -> dict[str, Any]:
    return {COLUMN_OF[name]: quantity.si for name, quantity in noted.items()}

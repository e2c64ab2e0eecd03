"""Indications: what a meter shows where the air really moves so and so fast."""

from __future__ import annotations

import datetime
from typing import Final

import numpy as np

from airflow_jobs.calc.instruments import AirState
from airflow_jobs.calc.layouts import Plan
from airflow_jobs.calc.quantities import FloatArray
from airflow_jobs.calc.sensing import density_factor, velocity_pressure_pa

from .ducts import Duct
from .meters import Meter
from .seeded import Seeded

HOLE_SD_M: Final = 0.002
DEPTH_SD_M: Final = 0.003
REPEAT: Final = 0.015
"""Repeatability of one point in a well sited section, relative."""
REPEAT_WITH_DISTURBANCE: Final = 0.025
PLANT_DRIFT: Final = 0.008
HAND_SPEED: Final = 0.010
SWEEP_SAMPLES: Final = 48
TILT_RAD: Final = 0.06
"""Some 3.5 degrees: nobody holds a probe quite square to the flow."""


def reached(seeded: Seeded, duct: Duct) -> Plan:
    """Return where the sensor really was, when it was put where the tape says."""
    along, _ = duct.inside.extents_m(duct.side)
    is_round = duct.inside.shape == "round"
    lines = []
    for position in duct.lines_mm():
        error_m = seeded.normal(0.0, HOLE_SD_M)
        lines.append(
            position + np.degrees(2.0 * error_m / along)
            if is_round
            else min(max((position / 1000.0 + error_m) / along, 0.005), 0.995)
        )
    depths = []
    for line_mm, extent in zip(duct.depths_mm(), duct.depth_extents_m(), strict=True):
        errors = seeded.generator.normal(0.0, DEPTH_SD_M, size=len(line_mm))
        ratios = (np.asarray(line_mm) / 1000.0 + errors) / extent
        depths.append(tuple(float(ratio) for ratio in np.clip(ratios, 0.008, 0.992)))
    plan = duct.plan
    return Plan(plan.shape, plan.rule, tuple(map(float, lines)), tuple(depths), plan.oval_aspect)


def point_velocities_m_s(seeded: Seeded, duct: Duct, mean_m_s: float) -> list[FloatArray]:
    """Return the velocity that the sensor met at each point, one array a line.

    Parameters
    ----------
    seeded
        Where chance comes from.
    duct
        The section.
    mean_m_s
        True mean velocity.
    """
    plan = reached(seeded, duct)
    velocities = mean_m_s * duct.field.relative(plan.xi, plan.eta)
    noise = seeded.generator.normal(0.0, _repeatability(duct), size=velocities.size)
    drift = seeded.normal(0.0, PLANT_DRIFT) * np.linspace(-1.0, 1.0, velocities.size)
    velocities = velocities * (1.0 + noise + drift) * _tilted(seeded)
    ends = np.cumsum([len(depths) for depths in plan.depths])[:-1]
    return np.split(velocities, ends)


def sweep_velocities_m_s(
    seeded: Seeded, duct: Duct, mean_m_s: float, near_gap_m: float, far_gap_m: float
) -> list[float]:
    """Return the mean velocity that the sensor met on each line drawn at a nearly even pace.

    Parameters
    ----------
    seeded
        Where chance comes from.
    duct
        The section, not a round one.
    mean_m_s
        True mean velocity.
    near_gap_m, far_gap_m
        Strips at both walls that the sensor doesn't reach.
    """
    plan = reached(seeded, duct)
    steps = (np.arange(SWEEP_SAMPLES) + 0.5) / SWEEP_SAMPLES
    means = []
    for line, extent in zip(plan.lines, duct.depth_extents_m(), strict=True):
        near, far = near_gap_m / extent, far_gap_m / extent
        depths = tuple(near + steps * (1.0 - near - far))
        path = Plan(plan.shape, plan.rule, (line,), (depths,), plan.oval_aspect)
        mean = float(duct.field.relative(path.xi, path.eta).mean())
        means.append(mean_m_s * mean * (1.0 + seeded.normal(0.0, HAND_SPEED)) * _tilted(seeded))
    return means


def shown(
    meter: Meter, day: datetime.date, velocities_m_s: FloatArray, air: AirState
) -> FloatArray:
    """Return what the meter shows: m/s, or Pa where it shows velocity pressure.

    Parameters
    ----------
    meter
        The meter with its calibration and what the calibration doesn't know.
    day
        Day of use.
    velocities_m_s
        Actual velocities.
    air
        The air in the section.

    Returns
    -------
    Shape of `velocities_m_s`: the inverse of `calc.sensing.sensed_velocities`.
    """
    law = meter.as_it_is(day)
    factor = density_factor(law, air, is_velocity_pressure=meter.is_pressure).central
    calibrated = velocities_m_s * (1.0 + meter.error_on(day)) / factor
    indicated = (calibrated - law.offset_m_s) / law.gain
    if not meter.is_pressure:
        result: FloatArray = np.asarray(indicated)
        return result
    return velocity_pressure_pa(velocity_m_s=indicated, density_kg_m3=law.reference_density_kg_m3)


def _repeatability(duct: Duct) -> float:
    upstream = duct.row.straight_upstream_m
    is_disturbed = upstream is None or upstream < 3.0 * duct.inside.hydraulic_diameter_m
    return REPEAT_WITH_DISTURBANCE if is_disturbed else REPEAT


def _tilted(seeded: Seeded) -> float:
    return float(np.cos(seeded.normal(0.0, TILT_RAD)))

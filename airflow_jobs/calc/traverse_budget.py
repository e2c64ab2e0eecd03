"""The budget's components of a batch, each worked out from what the batch says."""

from typing import Final

import numpy as np

from airflow_jobs.calc import components, sweeps
from airflow_jobs.calc.instruments import PITOT, VANE, AirState
from airflow_jobs.calc.meter_changes import meter_change_u
from airflow_jobs.calc.places import Places, extents_m, gaps_of, has_gaps
from airflow_jobs.calc.quantities import BoolArray, FloatArray
from airflow_jobs.calc.sensing import SensedVelocities
from airflow_jobs.calc.sensor_limits import (
    dead_band_uncertainty_m_s,
    pitot_zero_drift,
    vane_drag_drift,
)
from airflow_jobs.calc.traverse_batch import TraverseBatch
from airflow_jobs.calc.uncertainty import blades_are_resolved

AREA_OVERRIDE_U: Final = 0.02
"""Relative standard uncertainty of a free area by grille or filter face. Common practice."""

BLADES_ANY_POINTS: Final = 1000
"""A swept line passes every place along it."""


def common_components(
    batch: TraverseBatch,
    places: Places,
    sensed: SensedVelocities,
    velocity: FloatArray,
    mean: FloatArray,
    air: AirState,
) -> dict[str, FloatArray]:
    """Work out the components that standard and actual flow have in common.

    Parameters
    ----------
    batch : TraverseBatch
    places : Places
    sensed : SensedVelocities
        Of the readings taken.
    velocity : ndarray, shape (N, m), m/s
        Corrected readings, of whole lines where lines were swept.
    mean : ndarray, shape (N,), m/s
        By the rule.
    air : AirState

    Returns
    -------
    dict of str to ndarray, shape (N,)
        Relative standard uncertainties by the names of `uncertainty.COMPONENTS`, without
        `spatial`, `average_only`, `alignment` and `density`.

    Notes
    -----
    Source: see `components`, `sweeps` and `sensor_limits`.
    """
    along, depth = extents_m(batch)
    shown = sensed.calibrated_m_s.mean(axis=1)
    indicated = sensed.indicated_m_s.mean(axis=1)
    if batch.mode != "average":
        shown = sensed.calibrated_m_s @ places.weights
        indicated = sensed.indicated_m_s @ places.weights
    area = components.area_u(
        shape=batch.plan.shape,
        width_m=batch.width_m,
        height_m=batch.height_m,
        tolerance_m=batch.dimension_tolerance_m,
        lining_thickness_m=batch.lining_thickness_m,
    )
    parts = {
        "calibration": components.calibration_u(
            accuracy_relative=batch.accuracy_relative,
            accuracy_absolute_m_s=batch.accuracy_absolute_m_s,
            velocity_mean_m_s=shown,
        ),
        "meter_change": meter_change_u(
            gain_u=batch.gain_u,
            offset_u_m_s=batch.offset_u_m_s,
            indicated_mean_m_s=indicated,
            velocity_mean_m_s=shown,
        ),
        "resolution": components.resolution_u(
            resolution_m_s=batch.resolution_m_s,
            weights=places.weights,
            velocity_mean_m_s=shown,
        ),
        "position": components.position_u(
            velocity,
            planned=places.planned,
            actual=places.actual,
            along_m=along,
            depth_m=depth,
            velocity_mean_m_s=mean,
        ),
        "area": np.where(np.isnan(batch.area_override_m2), area, AREA_OVERRIDE_U),
        "compensation": np.asarray(sensed.factor.relative_standard_uncertainty),
        "drift": components.drift_u(
            velocity,
            weights=places.weights,
            time_order=places.time_order,
            velocity_mean_m_s=mean,
        ),
        "blades": np.where(blades_tell(batch), components.BLADES_U, 0.0),
        "disturbance": np.where(
            batch.disturbance_within_2_diameters, components.DISTURBANCE_U, 0.0
        ),
    }
    return (
        parts
        | _sweep_components(batch, places)
        | _sensor_components(batch, places, sensed, mean, air)
    )


def _sweep_components(batch: TraverseBatch, places: Places) -> dict[str, FloatArray]:
    if not has_gaps(batch):
        return {}
    near, far = gaps_of(batch, places)
    gap = sweeps.gap_uncertainty(
        near=near, far=far, is_skew_possible=batch.depth_skew_is_possible[:, None]
    )
    parts = {
        "sweep_pace": np.full(batch.number, sweeps.UNEVEN_PACE_U),
        "sweep_gap": gap @ places.weights,
    }
    if batch.mode == "average":
        parts["time_weighting"] = np.full(batch.number, sweeps.TIME_WEIGHTING_U)
    return parts


def _sensor_components(
    batch: TraverseBatch,
    places: Places,
    sensed: SensedVelocities,
    mean: FloatArray,
    air: AirState,
) -> dict[str, FloatArray]:
    """What each principle adds: the dead band, the vane's drag, the zero of the pressure."""
    parts: dict[str, FloatArray] = {}
    weights = places.weights if batch.mode != "average" else np.ones(1)
    if sensed.in_dead_band.any():
        parts["dead_band"] = (
            dead_band_uncertainty_m_s(sensed) @ weights / components.positive_or_nan(mean)
        )
    meter = batch.instruments
    is_flowing = mean > 0.0
    safe_mean = np.where(is_flowing, mean, 1.0)
    if np.any(meter.principle == VANE):
        drag = vane_drag_drift(
            velocity_m_s=safe_mean,
            density_kg_m3=air.density_kg_m3,
            reference_density_kg_m3=meter.reference_density_kg_m3,
        )
        parts["vane_drag"] = np.where(meter.principle == VANE, np.abs(drag), 0.0)
    zero_matters = (meter.principle == PITOT) & np.isnan(batch.accuracy_absolute_m_s)
    if np.any(zero_matters):
        zero = pitot_zero_drift(velocity_m_s=safe_mean, density_kg_m3=air.density_kg_m3)
        parts["pitot_zero"] = np.where(zero_matters, zero / components.RECTANGULAR_DIVISOR, 0.0)
    return parts


def density_components(batch: TraverseBatch) -> tuple[FloatArray, FloatArray]:
    """Work out what the doubt about the air's density does to actual and to standard flow.

    Parameters
    ----------
    batch : TraverseBatch

    Returns
    -------
    tuple of ndarray, shape (N,) or scalar
        Relative standard uncertainties.

    Notes
    -----
    Source: see `components.density_uncertainty` and `components.flow_density_u`.
    """
    known = components.density_uncertainty(
        dry_bulb_c=batch.dry_bulb_c,
        relative_humidity=batch.relative_humidity,
        pressure_pa=batch.pressure_pa,
        dry_bulb_u_c=batch.dry_bulb_u_c,
        relative_humidity_u=batch.relative_humidity_u,
        pressure_u_pa=batch.pressure_u_pa,
    )
    return components.flow_density_u(known, batch.instruments, batch.is_velocity_pressure)


def blades_tell(batch: TraverseBatch) -> BoolArray:
    """Say where blades are close and the grid is too coarse for what they leave in the flow.

    Parameters
    ----------
    batch : TraverseBatch

    Returns
    -------
    ndarray of bool, shape (N,)
        In a round section wherever blades are close.

    Notes
    -----
    Source: see `uncertainty.blades_are_resolved`.
    """
    if batch.plan.shape == "round":
        return batch.blades_within_5_diameters
    depths = [len(depths) for depths in batch.plan.depths]
    is_resolved = blades_are_resolved(
        lines=len(batch.plan.lines),
        points_per_line=min(depths) if batch.mode == "points" else BLADES_ANY_POINTS,
        is_equal_area=batch.plan.rule == "equal_area",
    )
    return batch.blades_within_5_diameters & (not is_resolved)

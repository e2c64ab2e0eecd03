"""From the readings of N traverses to everything their results say, in one call.

Three numbers: m, the mean by the published rule; q, the best estimate of the true mean, corrected
for the wall and the tilt of the sensor; U95, the half width of the interval around q. Nothing
here depends on the other traverses of the batch.
"""

import numpy as np

from airflow_jobs.calc import components
from airflow_jobs.calc.best_estimate import MeanEstimate, estimate_mean, expected_wall_factor
from airflow_jobs.calc.conformity import Conformity, both_bases, judge
from airflow_jobs.calc.humidity import vapour_pressure_from_relative_humidity_pa
from airflow_jobs.calc.instruments import DIRECTION_UNKNOWN, AirState, air_state
from airflow_jobs.calc.narrowing import narrowing
from airflow_jobs.calc.places import Places, gap_factor_of, places_of
from airflow_jobs.calc.profile import Profile, profile_of
from airflow_jobs.calc.quantities import BoolArray, FloatArray
from airflow_jobs.calc.reading_signs import indicative_reasons, signs_of
from airflow_jobs.calc.sections import area_m2, hydraulic_diameter_m, perimeter_m
from airflow_jobs.calc.sensing import SensedVelocities, sensed_velocities
from airflow_jobs.calc.sensor_limits import direction_exponent
from airflow_jobs.calc.spatial import AVERAGE_ONLY_U, spatial_uncertainty
from airflow_jobs.calc.traverse_batch import TraverseBatch
from airflow_jobs.calc.traverse_budget import common_components, density_components
from airflow_jobs.calc.traverse_results import Correction, Evaluation, Flows, Interval
from airflow_jobs.calc.uncertainty import Budget, budget_of_basis, combined_budget


def evaluate(batch: TraverseBatch) -> Evaluation:
    """Evaluate N traverses that share a plan, a mode and a mask.

    Parameters
    ----------
    batch : TraverseBatch

    Returns
    -------
    Evaluation

    Raises
    ------
    ValueError
        If a quantity is impossible, or nothing was read.

    Notes
    -----
    Source: see the modules of the steps: `sensing`, `sweeps`, `integration`, `best_estimate`,
    `components`, `uncertainty`, `conformity`.

    Examples
    --------
    >>> from airflow_jobs.calc.instruments import instruments
    >>> from airflow_jobs.calc.layouts import plan_by_rule
    >>> batch = TraverseBatch(
    ...     plan=plan_by_rule("rectangular", "log_tchebycheff", 5, 5),
    ...     readings=np.full((1, 25), 574 * 0.00508), instruments=instruments(principle="vane"),
    ...     width_m=np.array(0.4572), height_m=np.array(0.6096), dry_bulb_c=np.array(21.0),
    ...     relative_humidity=np.array(0.45), pressure_pa=np.array(101325.0))
    >>> round(float(evaluate(batch).by_rule.actual_m3_s[0] / 0.3048**3 * 60))
    1722
    """
    places = places_of(batch)
    air = _air_of(batch)
    sensed = sensed_velocities(
        batch.readings[:, places.taken],
        batch.instruments,
        air,
        is_velocity_pressure=batch.is_velocity_pressure,
    )
    gap = gap_factor_of(batch, places)
    velocity = sensed.actual_m_s * gap
    mean = velocity @ places.weights
    estimate = _estimate(batch, places, velocity, mean)
    tilt = components.alignment(
        exponent=direction_exponent(batch.direction_response),
        is_unknown=batch.direction_response == DIRECTION_UNKNOWN,
    )
    best = estimate.velocity_m_s * tilt.factor
    spatial = spatial_uncertainty(velocity, places.actual, estimate, rule=batch.plan.rule)

    density = np.broadcast_to(air.density_kg_m3, (batch.number,))
    area, hydraulic_diameter = _geometry(batch)
    by_rule = _flows(batch, mean, area, density)
    best_estimate = _flows(batch, best, area, density)
    parts = common_components(batch, places, sensed, velocity, mean, air)
    parts["alignment"] = tilt.relative_u
    if batch.mode == "average":
        parts["average_only"] = np.where(best > 0.0, AVERAGE_ONLY_U, np.nan)
    else:
        parts["spatial"] = spatial.relative
    by_density = density_components(batch)
    actual, standard = (
        combined_budget(
            parts | {"density": doubt},
            number=batch.number,
            spatial_degrees_of_freedom=spatial.degrees_of_freedom,
        )
        for doubt in by_density
    )
    judged = budget_of_basis(actual, standard, batch.target_is_actual)
    value, conformity, basis_decides = _judged(batch, best_estimate, actual, standard)
    is_average = batch.mode == "average"
    return Evaluation(
        air_density_kg_m3=density,
        standard_density_kg_m3=batch.standard_density_kg_m3,
        inside_area_m2=area,
        hydraulic_diameter_m=hydraulic_diameter,
        velocity_indicated_m_s=sensed.indicated_m_s.mean(axis=1),
        velocity_max_m_s=np.full(batch.number, np.nan) if is_average else velocity.max(axis=1),
        by_rule=by_rule,
        best_estimate=best_estimate,
        interval_actual_m3_s=_interval(best_estimate.actual_m3_s, actual),
        interval_standard_m3_s=_interval(best_estimate.standard_m3_s, standard),
        interval_per_capacity=_interval(best_estimate.per_capacity_m3_s_per_w, judged),
        budget_actual=actual,
        budget_standard=standard,
        budget_judged=judged,
        narrowing=narrowing(judged, spatial_degrees_of_freedom=spatial.degrees_of_freedom),
        spatial_degrees_of_freedom=spatial.degrees_of_freedom,
        weights=places.weights,
        corrections=_corrections(sensed, places.weights, mean, estimate, best),
        judged_value=value,
        judged_u=value * judged.relative_u,
        conformity=conformity,
        basis_decides=basis_decides,
        profile=_profile(batch, velocity, places),
        signs=signs_of(batch, places, sensed, velocity, mean),
        indicative_reasons=indicative_reasons(batch, places, sensed, best, spatial.arms_complete),
    )


def _estimate(
    batch: TraverseBatch, places: Places, velocity: FloatArray, mean: FloatArray
) -> MeanEstimate:
    """The mixture's estimate; for an average, of which no profile is known, the expected one."""
    if batch.mode != "average":
        return estimate_mean(velocity, places.actual)
    factor = expected_wall_factor(places.actual, places.weights)
    return MeanEstimate(velocity_m_s=factor * mean, deviation_m_s=np.full(batch.number, np.nan))


def _air_of(batch: TraverseBatch) -> AirState:
    return air_state(
        dry_bulb_c=batch.dry_bulb_c,
        pressure_pa=batch.pressure_pa,
        vapour_pressure_pa=vapour_pressure_from_relative_humidity_pa(
            relative_humidity=batch.relative_humidity, dry_bulb_c=batch.dry_bulb_c
        ),
    )


def _geometry(batch: TraverseBatch) -> tuple[FloatArray, FloatArray]:
    """Area of flow and hydraulic diameter."""
    shape = batch.plan.shape
    inside = area_m2(shape, width_m=batch.width_m, height_m=batch.height_m)
    perimeter = perimeter_m(shape, width_m=batch.width_m, height_m=batch.height_m)
    area = np.where(np.isnan(batch.area_override_m2), inside, batch.area_override_m2)
    return area, hydraulic_diameter_m(area_m2=inside, perimeter_m=perimeter)


def _flows(
    batch: TraverseBatch, velocity: FloatArray, area: FloatArray, density: FloatArray
) -> Flows:
    actual = velocity * area
    mass = actual * density
    standard = mass / batch.standard_density_kg_m3
    return Flows(
        velocity_mean_m_s=velocity,
        actual_m3_s=actual,
        standard_m3_s=standard,
        mass_kg_s=mass,
        per_capacity_m3_s_per_w=np.where(batch.target_is_actual, actual, standard)
        / batch.capacity_w,
    )


def _interval(value: FloatArray, budget: Budget) -> Interval:
    return Interval(
        low=value * (1.0 - budget.relative_u95), high=value * (1.0 + budget.relative_u95)
    )


def _judged(
    batch: TraverseBatch, flows: Flows, actual: Budget, standard: Budget
) -> tuple[FloatArray, Conformity, BoolArray]:
    """Value on the target's basis, what it says, and whether the other basis says otherwise."""
    divisor = np.where(batch.target_is_flow, 1.0, batch.capacity_w)
    on_actual, on_standard = flows.actual_m3_s / divisor, flows.standard_m3_s / divisor
    value = np.where(batch.target_is_actual, on_actual, on_standard)
    other = np.where(batch.target_is_actual, on_standard, on_actual)
    u_actual, u_standard = on_actual * actual.relative_u, on_standard * standard.relative_u
    first, second = (
        judge(
            value=judged,
            standard_uncertainty=u,
            low=batch.target_low,
            high=batch.target_high,
            is_judged=batch.carries_whole_flow,
        )
        for judged, u in (
            (value, np.where(batch.target_is_actual, u_actual, u_standard)),
            (other, np.where(batch.target_is_actual, u_standard, u_actual)),
        )
    )
    conformity, basis_decides = both_bases(first, second, batch.basis_is_makers_word)
    return value, conformity, basis_decides


def _corrections(
    sensed: SensedVelocities,
    weights: FloatArray,
    mean: FloatArray,
    estimate: MeanEstimate,
    best: FloatArray,
) -> tuple[Correction, ...]:
    """From the plain mean of the display to the best estimate, step by step."""
    before = sensed.indicated_m_s.mean(axis=1)
    if sensed.indicated_m_s.shape[1] != weights.size:
        weights = np.ones(1)
    steps: list[Correction] = []
    for step, after in (
        ("positions", sensed.indicated_m_s @ weights),
        ("calibration", sensed.calibrated_m_s @ weights),
        ("density", sensed.actual_m_s @ weights),
        ("sweep_gap", mean),
        ("wall", estimate.velocity_m_s),
        ("alignment", best),
    ):
        with np.errstate(divide="ignore", invalid="ignore"):
            factor = np.where(before != 0.0, after / before, np.nan)
        steps.append(Correction(step=step, factor=factor, velocity_after_m_s=after))
        before = after
    return tuple(steps)


def _profile(batch: TraverseBatch, velocity: FloatArray, places: Places) -> Profile:
    if batch.mode != "average":
        return profile_of(velocity, places.weights, places.actual)
    unknown = np.full(batch.number, np.nan)
    return Profile(
        max_over_mean=unknown, share_under_tenth=unknown, variation=unknown, asymmetry=unknown
    )

"""Whether a probe gets its sensor to every point of a plan, and from which side."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from airflow_jobs.calc.layouts import Plan
from airflow_jobs.calc.positions import chords_m, layout_distances, walls_along_shaft_m
from airflow_jobs.calc.quantities import checked
from airflow_jobs.calc.sections import DrilledSide, InsideSection

ReachJudgement = Literal["from_one_side", "from_both_sides", "not_reached", "unknown"]


@dataclass(frozen=True, slots=True)
class Reach:
    """Whether a probe gets the sensor to every point.

    Attributes
    ----------
    judgement
        `from_one_side`, `from_both_sides` (some points through a hole in the facing wall),
        `not_reached` or `unknown`.
    out_of_reach
        (line, point) of each point that no side reaches, counted from 0.
    from_the_far_side
        (line, point) of each point that only the far side reaches.
    """

    judgement: ReachJudgement
    out_of_reach: tuple[tuple[int, int], ...] = ()
    from_the_far_side: tuple[tuple[int, int], ...] = ()


def reach(
    plan: Plan,
    section: InsideSection,
    drilled_side: DrilledSide = "width",
    *,
    probe_reach_m: float | None,
    tip_to_sensor_m: float | None = None,
) -> Reach:
    """Return whether a probe gets its sensor to every point of a plan.

    Parameters
    ----------
    plan, section, drilled_side
        As for `chords_m`.
    probe_reach_m
        Usable length from the probe's tip, m, above 0; None or NaN: unknown.
    tip_to_sensor_m
        How far the sensor sits behind the tip, m, at least 0; None or NaN: at the tip.

    Returns
    -------
    Reach

    Raises
    ------
    ValueError
        If a length is impossible.

    Notes
    -----
    Two things stop a probe: its length, and its tip touching the far wall before the sensor is
    there. Through a hole opposite, the last points become the first. Source: geometry.

    Examples
    --------
    >>> from airflow_jobs.calc.layouts import plan_for
    >>> duct = InsideSection("rectangular", 1.2, 1.2)
    >>> reach(plan_for(duct), duct, probe_reach_m=0.9).judgement
    'from_both_sides'
    """
    if probe_reach_m is None or np.isnan(probe_reach_m):
        return Reach("unknown")
    probe = float(checked("probe_reach_m", probe_reach_m, "m", above=0.0))
    tip = 0.0 if tip_to_sensor_m is None or np.isnan(tip_to_sensor_m) else tip_to_sensor_m
    distances = layout_distances(plan, section, drilled_side, tip_to_sensor_m=tip)
    chords = chords_m(plan, section, drilled_side)
    walls = walls_along_shaft_m(plan, section, drilled_side)
    far_side, beyond = [], []
    for j, (depths, chord, wall) in enumerate(zip(distances.depths_m, chords, walls, strict=True)):
        for i, depth in enumerate(depths):
            if wall + depth + tip <= probe and depth + tip <= chord:
                continue
            from_far = chord - depth
            if wall + from_far + tip <= probe and from_far + tip <= chord:
                far_side.append((j, i))
            else:
                beyond.append((j, i))
    judgement: ReachJudgement = "from_one_side"
    if beyond:
        judgement = "not_reached"
    elif far_side:
        judgement = "from_both_sides"
    return Reach(judgement, tuple(beyond), tuple(far_side))

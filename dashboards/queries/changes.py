"""Changes of level that no adjustment explains: series into arrays, places into values."""

from __future__ import annotations

import datetime
import math
from collections.abc import Collection, Mapping, Sequence
from uuid import UUID

from ..values.systems import LevelChange, Measurement
from .series import (
    MOST_CHANGES,
    apart_from,
    clearest,
    series_of,
    stretches_between_adjustments,
    takes_over,
)


def level_changes(
    measurements: Sequence[Measurement],
    call: str,
    *,
    calibrated_on: Mapping[UUID, Sequence[datetime.date]],
    corrected: Collection[UUID],
) -> tuple[LevelChange, ...]:
    """Return the changes of one system under one call, in order of time.

    Parameters
    ----------
    measurements
        The system's measurements in order of time.
    call
        Those of this call count.
    calibrated_on
        The days on which each meter was calibrated.
    corrected
        The traverses whose content was corrected.
    """
    series = series_of(measurements, call)
    stretch = stretches_between_adjustments(series)
    found: list[LevelChange] = []
    for _ in range(MOST_CHANGES):
        change = clearest(series, stretch)
        if change is None:
            break
        place = change.after
        before, after = series[place], series[place + 1]
        found.append(
            LevelChange(
                before=before,
                after=after,
                size=math.expm1(change.size),
                low=math.expm1(change.low),
                high=math.expm1(change.high),
                is_step=change.is_step,
                may_be_step=change.may_be_step,
                has_another_meter=takes_over(series, stretch, place),
                has_another_section=set(before.air_paths).isdisjoint(after.air_paths),
                calibrated_on=_calibrated(before, after, calibrated_on),
                corrected=bool({before.traverse_id, after.traverse_id} & set(corrected)),
            )
        )
        # What lies beyond stands apart from now on, and both parts are looked at again.
        stretch = apart_from(stretch, place)
    return tuple(sorted(found, key=lambda one: one.after.taken_at))


def _calibrated(
    before: Measurement,
    after: Measurement,
    calibrated_on: Mapping[UUID, Sequence[datetime.date]],
) -> datetime.date | None:
    if before.instrument_id is None or before.instrument_id != after.instrument_id:
        return None
    days = [
        day
        for day in calibrated_on.get(before.instrument_id, ())
        if before.taken_at.date() < day <= after.taken_at.date()
    ]
    return max(days, default=None)

"""What an adjustment did to the blower: from which speed or setting to which."""

from __future__ import annotations

import datetime
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from airflow_jobs.models import AdjustmentKind

from .beside import Change, plain_setting

_SPEED: Final = re.compile(r"^\s*(\d[\d,]*(?:\.\d+)?)\s*(rpm|r/min|hz|%)?\s*$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Speed:
    """A speed as somebody wrote it: a number and what it counts, if that was said."""

    value: float
    unit: str

    def times(self, ratio: float) -> Speed:
        """Return so many times this speed."""
        return Speed(self.value * ratio, self.unit)

    @property
    def words(self) -> str:
        """As people write it."""
        number = f"{self.value:,.0f}" if self.value >= 100.0 else f"{self.value:.3g}"
        return f"{number} {self.unit}".strip()


def speed_in(text: str) -> Speed | None:
    """Return the speed in "1,050 rpm", "48 Hz" or "85 %"; None where there is none above zero."""
    found = _SPEED.match(text)
    if found is None:
        return None
    value = float(found.group(1).replace(",", ""))
    return Speed(value, found.group(2) or "") if value > 0.0 else None


@dataclass(frozen=True, slots=True)
class BlowerChange:
    """What was done to a system between two flows."""

    from_setting: str
    to_setting: str
    speed_ratio: float | None
    also: tuple[str, ...]
    """Kinds of other changes in the same time."""


def change_between(
    changes: Sequence[Change],
    *,
    found_at: datetime.datetime,
    left_at: datetime.datetime,
    found_setting: str,
    left_setting: str,
) -> BlowerChange | None:
    """Return what became of the blower between two flows; None where nothing is on record.

    Parameters
    ----------
    changes
        Adjustments of the visit, oldest first.
    found_at, left_at
        When the flows were taken.
    found_setting, left_setting
        At which settings; used where no adjustment of the blower is on record.
    """
    between = [change for change in changes if found_at <= change.made_at <= left_at]
    of_blower = (AdjustmentKind.SPEED, AdjustmentKind.BLOWER_SETTING)
    also = tuple(sorted({change.kind for change in between if change.kind not in of_blower}))
    speeds = [change for change in between if change.kind == AdjustmentKind.SPEED]
    settings = [change for change in between if change.kind == AdjustmentKind.BLOWER_SETTING]
    if speeds:
        first, last = speed_in(speeds[0].from_value), speed_in(speeds[-1].to_value)
        is_one_kind = first is not None and last is not None and _same_unit(first, last)
        return BlowerChange(
            from_setting=speeds[0].from_value,
            to_setting=speeds[-1].to_value,
            speed_ratio=last.value / first.value if is_one_kind and first and last else None,
            also=also,
        )
    before = settings[0].from_value if settings else found_setting
    after = settings[-1].to_value if settings else left_setting
    if not before or not after or plain_setting(before) == plain_setting(after):
        return None
    return BlowerChange(from_setting=before, to_setting=after, speed_ratio=None, also=also)


def _same_unit(first: Speed, last: Speed) -> bool:
    return first.unit.casefold() == last.unit.casefold()

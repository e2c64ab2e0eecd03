"""When a measurement is due: by the company's interval, and by a system's trend."""

from __future__ import annotations

import calendar
import datetime

from .values.systems import Trend


def months_after(day: datetime.date, months: int) -> datetime.date:
    """Return the same day so many months later, or the last one of a shorter month."""
    years, month = divmod(day.month - 1 + months, 12)
    year, month = day.year + years, month + 1
    return datetime.date(year, month, min(day.day, calendar.monthrange(year, month)[1]))


def next_by(trend: Trend | None, today: datetime.date) -> datetime.date | None:
    """Return the day by which a drift asks for a measurement: before the earliest end of leaving.

    None where no leaving date is foreseeable.
    """
    if trend is None or not trend.is_certain or trend.leaves_on is None:
        return None
    earliest = trend.leaves_earliest_on or trend.leaves_on
    return max(earliest - datetime.timedelta(days=1), today)

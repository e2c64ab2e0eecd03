"""Sentences that say what they mean: of when a trend leaves, of few jobs, of free text."""

from __future__ import annotations

import datetime
from uuid import uuid4

import pytest

from dashboards import change_words, flow_words, words
from dashboards.display import Units
from dashboards.next_steps import next_step
from dashboards.values.shares import FleetShares, Share
from dashboards.values.systems import NeedsALook, Reason, SystemName, Trend
from tests.factories import NOW
from tests.spaces import loose

TODAY = datetime.date(2026, 11, 26)


def _trend(
    on: datetime.date, earliest: datetime.date | None, latest: datetime.date | None
) -> Trend:
    return Trend(
        per_year=-0.03,
        per_year_low=-0.05,
        per_year_high=-0.01,
        pairs=6,
        since=NOW,
        centre_at=NOW,
        centre_value=1.0,
        leaves_on=on,
        leaves_earliest_on=earliest,
        leaves_latest_on=latest,
    )


def test_the_list_asks_for_the_day_that_the_page_of_what_is_due_has() -> None:
    trend = _trend(datetime.date(2027, 3, 1), datetime.date(2027, 1, 14), None)
    reason = Reason("drifting", 1.0, trend=trend)
    needs = NeedsALook(SystemName(uuid4(), "AC-1", "other", uuid4(), "Mill"), (reason,), None)
    units = Units("ip")
    step = next_step(needs, today=TODAY, units=units)
    assert loose(step).startswith("Plan a visit by 13 Jan 2027: ")
    late = next_step(needs, today=datetime.date(2027, 1, 13), units=units)
    assert late.startswith("Plan a visit now: ")


def _share(inside: int, total: int) -> Share:
    return Share(total, total - inside, 0, 0, 0, 0, 0.0, 1.0)


@pytest.mark.parametrize(
    ("on", "earliest", "latest", "said"),
    [
        (
            datetime.date(2027, 3, 1),
            datetime.date(2026, 12, 1),
            None,
            "may leave the range from 1 Dec 2026 on; by when is open",
        ),
        (
            datetime.date(2026, 11, 10),
            datetime.date(2026, 7, 1),
            datetime.date(2027, 4, 1),
            "may be leaving the range about now (Jul 2026 to Apr 2027)",
        ),
        (
            datetime.date(2026, 2, 10),
            datetime.date(2025, 7, 1),
            datetime.date(2027, 4, 1),
            "may have left the range about Feb 2026 (Jul 2025 to Apr 2027)",
        ),
        (
            datetime.date(2026, 2, 10),
            datetime.date(2025, 7, 1),
            datetime.date(2026, 6, 1),
            "left the range, it seems, about Feb 2026, between Jul 2025 and Jun 2026",
        ),
    ],
)
def test_what_may_lie_ahead_is_not_told_as_past(
    on: datetime.date, earliest: datetime.date, latest: datetime.date | None, said: str
) -> None:
    text = loose(words.drift_text(_trend(on, earliest, latest), TODAY))
    assert text == f"Falls by 3 % a year (1 to 5 %); {said}"


@pytest.mark.parametrize(
    ("found", "left", "said"),
    [
        (
            (1, 2),
            (2, 2),
            "1 of 2 jobs was found in range and 2 of 2 jobs were left in range; the two are "
            "different facts and never added up.",
        ),
        (
            (9, 36),
            (1, 1),
            "25 % of the jobs were found in range and 1 of 1 job was left in range; the two are "
            "different facts and never added up.",
        ),
        ((0, 0), (0, 3), "0 of 3 jobs were left in range; nothing was measured as found."),
        ((1, 4), (0, 0), "1 of 4 jobs was found in range; nothing was measured as left."),
    ],
)
def test_few_jobs_are_counted_once(
    found: tuple[int, int], left: tuple[int, int], said: str
) -> None:
    shares = FleetShares(
        step="month",
        found=_share(*found),
        left=_share(*left),
        found_by_month=(),
        left_by_month=(),
        by_crew=(),
        by_site=(),
        left_corrected=None,
        found_corrected=None,
        found_outside_without_as_left=0,
        pending=0,
    )
    assert loose(words.months_sentence(shares)) == said


@pytest.mark.parametrize(
    ("place", "said"),
    [
        (-0.21, "21 % of the target's width below the low limit"),
        (0.45, "45 % of the way from the low limit to the high one"),
        (1.1, "10 % of the target's width above the high limit"),
    ],
)
def test_a_place_is_told_from_the_limits(place: float, said: str) -> None:
    assert loose(flow_words.place_text(place)) == said


@pytest.mark.parametrize(
    ("values", "said"),
    [
        (
            ("wrong size, bypassing", "new, right size"),
            "from “wrong size, bypassing” to “new, right size”",
        ),
        (("", "tap 3"), "to “tap 3”"),
        (("tap 4", ""), "from “tap 4”"),
        (("", ""), ""),
    ],
)
def test_what_was_typed_stands_in_quotes(values: tuple[str, str], said: str) -> None:
    assert change_words.setting_text(*values) == said

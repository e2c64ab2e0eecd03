"""The sentences over time: no evidence is no all-clear where there are too few jobs to tell."""

from __future__ import annotations

import datetime
from typing import Any

import pytest

from dashboards import day_words
from dashboards import over_time_words as words
from dashboards.filters import read_filters
from dashboards.pages.over_time_tables import day_table, parts_table
from dashboards.queries.counted import known_change
from dashboards.values.over_time import Campaign, Contrast, HeldStep, HeldSteps, OverTime, Part
from dashboards.values.shares import Share
from tests.factories import TODAY
from tests.spaces import loose

ASKED = read_filters({}, today=TODAY)


def _share(inside: int, total: int) -> Share:
    return Share(total, total - inside, 0, 0, 0, 0, 0.1, 0.9)


def _held(*bands: tuple[float, float], differs: tuple[int, ...] = ()) -> HeldSteps:
    steps = tuple(
        HeldStep(datetime.date(2026, number + 1, 1), _share(4, 5), low, high, number in differs)
        for number, (low, high) in enumerate(bands)
    )
    return HeldSteps("as_left", "month", _share(12, 15), steps, 0.8, 0.0, has_spread=False)


def test_months_with_too_few_jobs_are_not_called_alike() -> None:
    held = _held((0.0, 1.0), (0.1, 1.0), (0.2, 1.0))
    assert loose(words.held_sentence(held)) == (
        "With so few jobs a month only a very different one would stand out, and none does: 80 % "
        "were left in range, 12 of 15 jobs in 3 months."
    )
    said = loose(words.held_sentence(_held((0.0, 1.0), (0.0, 1.0), (0.03, 1.0))))
    assert said.startswith("There are too few jobs a month to tell whether any differs: 80 %")
    assert {words.says_of_step(one, held) for one in held.steps} == {"Too few jobs to tell"}


def test_months_that_can_be_told_apart_are_counted() -> None:
    held = _held((0.6, 1.0), (0.55, 1.0), (0.2, 1.0))
    said = words.held_sentence(held)
    assert "No month of the 2 with jobs enough to tell differs from the others" in said
    assert "1 month with too few jobs can't be told from chance." in said
    assert words.says_of_step(held.steps[0], held) == "Like the others, as far as can be told"
    all_told = words.held_sentence(_held((0.6, 1.0), (0.55, 1.0), (0.6, 1.0)))
    assert all_told.startswith("No month differs from the others by more than chance explains:")
    assert "too few" not in all_told
    differing = words.held_sentence(_held((0.9, 1.0), (0.6, 1.0), (0.2, 1.0), differs=(0,)))
    assert "differs from the other months by more than chance explains" in differing
    assert "1 month with too few jobs can't be told from chance." in differing


def _part(key: str, per_year: float, low: float, high: float) -> Part:
    change, *ends = (known_change(value) for value in (per_year, low, high))
    return Part(key, _share(3, 5), _share(4, 5), (), change, *ends)


@pytest.mark.parametrize(
    ("per_year", "low", "high", "cell", "says"),
    [
        (0.0, -8.19, 8.19, "–", "Too few jobs to tell"),
        (0.40, -0.35, 1.14, "–", "Too few jobs to tell"),
        (-0.14, -0.61, 0.34, "–", "Too few jobs to tell"),
        (0.02, -0.20, 0.25, "+2", "No evidence of a change"),
        (0.60, 0.05, 1.20, "+60", "Rises by more than chance explains"),
        (-1.40, -2.0, -0.8, "−100", "Falls by more than chance explains"),
    ],
)
def test_a_change_that_no_share_can_make_is_not_shown(
    per_year: float, low: float, high: float, cell: str, says: str
) -> None:
    part = _part("other", per_year, low, high)
    table = parts_table((part,), ASKED, slug="kinds", noun="kind")
    names = [column.label for column in table.columns]
    (row,) = table.rows
    change = row[names.index("Change a year, points")]
    assert change.text == cell
    assert (change.note == "too few jobs") is (cell == "–")
    assert (row[names.index("Change, low end")].value == "") is (cell == "–")
    assert row[names.index("What it says")].text == says


def test_kinds_of_which_nothing_can_be_told_are_named() -> None:
    vague, clear = _part("other", 0.0, -8.0, 8.0), _part("furnace", 0.02, -0.2, 0.2)
    assert words.kinds_sentence((vague,), nouns="kinds") == (
        "There are too few jobs to tell whether the share left in range changes for any of the "
        "kinds."
    )
    said = words.kinds_sentence((clear, vague), nouns="kinds")
    assert said.startswith("There are too few jobs to tell of Other. No evidence")
    assert said.endswith("No evidence that the share left in range changes for furnace.")
    also = _part("ventilation", 0.01, -0.2, 0.2)
    assert "for any of the other kinds" in words.kinds_sentence((clear, also, vague), nouns="kinds")
    sure = words.kinds_sentence((_part("furnace", -1.4, -2.0, -0.8), vague), nouns="kinds")
    assert "falls by 100 points a year, more than chance explains." in sure
    assert sure.endswith("There are too few jobs to tell of Other.")


def _contrast(difference: float, low: float, high: float, *, jobs: int = 20) -> Contrast:
    shares = _share(4, 5), _share(3, 5)
    return Contrast(*shares, difference, low, high, (jobs, jobs), (0, 0), 1, 6, 0.0, 0.0)


@pytest.mark.parametrize("claims", [True, False])
def test_a_contrast_always_comes_to_a_conclusion(claims: bool) -> None:
    def said(difference: float, low: float, high: float) -> str:
        return loose(
            words.contrast_sentence(
                _contrast(difference, low, high), first="One", second="two", claims=claims
            )
        )

    assert said(-0.07, -0.17, 0.03).endswith(
        "the latter is 7 points lower (interval of the difference −17 to +3): no evidence that "
        "the two differ."
    )
    assert said(-0.5, -1.0, 1.0).endswith(
        "So few jobs can't tell whether the two differ: at the same sites with the same kinds the "
        "difference may lie anywhere between −100 and +100 points."
    )
    assert ("more than chance" in said(-0.2, -0.3, -0.1)) is claims


def test_a_difference_that_rounds_to_nothing_is_less_than_one_point() -> None:
    assert words.signed_points(0.004) == words.points(-0.004) == "less than one point"
    assert words.signed_points(0.0) == words.points(0.0) == "0 points"
    said = words.contrast_sentence(
        _contrast(0.004, -0.08, 0.09), first="One", second="two", claims=True
    )
    assert "the latter is less than one point higher (interval" in said


@pytest.mark.parametrize(("difference", "end"), [(0.0, 0.0), (1.0, 1.0)])
def test_a_handful_of_jobs_that_all_agree_prove_nothing(difference: float, end: float) -> None:
    few = _contrast(difference, end, end, jobs=3)
    assert not few.is_sure
    assert words.contrast_sentence(few, first="One", second="two", claims=True).endswith(
        "can't tell whether the two differ: 3 and 3 of them are at the same sites with the same "
        "kinds."
    )


def test_a_day_with_few_jobs_before_and_after_says_that_it_cannot_tell() -> None:
    day = Campaign(
        datetime.date(2026, 3, 1),
        "",
        _contrast(-0.5, -1.0, 1.0),
        -0.6,
        0.5,
        _share(1, 2),
        _share(1, 3),
        _contrast(-0.5, -1.0, 1.0),
    )
    said = day_words.campaign_sentence(day)
    assert "So few jobs can't tell whether it changed: at the same sites" in said
    assert "between −100 and +100 points." in said
    assert "No evidence" not in said
    notes = " ".join(day_words.campaign_notes(day))
    assert "whatever the mix" not in notes
    assert "−50" not in notes
    before, since = day_table(day, ASKED).rows
    assert [cell.text for cell in since].count("–") >= 1
    assert "too few jobs" in [cell.note for cell in since]
    assert "too few jobs" not in [cell.note for cell in before]


def test_a_short_record_says_that_halves_of_the_year_do_not_differ() -> None:
    fields: dict[str, Any] = {
        "left": _held((0.6, 1.0), (0.6, 1.0), (0.6, 1.0)),
        "found": _held((0.6, 1.0), (0.6, 1.0), (0.6, 1.0)),
        "drift": None,
        "calendar": (),
        "months_spanned": 12,
        "halves": _contrast(-0.07, -0.17, 0.03),
        "calls": None,
        "kinds": (),
        "by_call": (),
        "part_step": "quarter",
        "campaign": None,
        "pending": 0,
    }
    found = OverTime(**fields)
    assert words.season_sentence(found).endswith("no evidence that the two differ.")
    assert "less than two years" in words.short_season_note(found)

"""The weekly digest: the sentences of the pages, the week that ended, and what to do first."""

from __future__ import annotations

import datetime
from typing import Final
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from django.template.loader import render_to_string
from django.urls import reverse

from airflow_jobs.found_off import calibrations

from . import calibration_words, due_words, fleet_words, group_words, meter_words, words
from .access import Viewer
from .filters import Asked, day_text, read_filters
from .next_steps import next_step
from .queries.attention import attention
from .queries.beside_standing import beside_standings
from .queries.crews import crew_comparison
from .queries.due import due, next_visits
from .queries.frame import House, choices, house
from .queries.meters import register
from .queries.shares import change_against_before, fleet_shares
from .values.digest import Digest, DigestItem, DigestSection
from .values.filters import Filters
from .values.shares import FleetShares, Share
from .values.systems import Attention

MOST_ITEMS: Final = 5

# The mail goes to managers, and only to them.
_MANAGER: Final = Viewer(name="", is_manager=True, is_administrator=False, crew_ids=frozenset())


def digest_at(now: datetime.datetime) -> Digest:
    """Return the digest as it stands at an instant; some ten statements, whatever the record."""
    company = house()
    return digest_of(company, today=now.astimezone(ZoneInfo(company.time_zone)).date())


def digest_of(company: House, *, today: datetime.date) -> Digest:
    """Return the digest of a day: the last twelve months, and the last whole week.

    Parameters
    ----------
    company
        Whose digest; its units and whether it shows small crews.
    today
        The day in the company's time zone.
    """
    asked = read_filters({}, today=today)
    standing = attention(asked.filters, today=today)
    shares = fleet_shares(asked.filters)
    sections = (
        _standing(asked, shares.left),
        _last_week(today),
        _look(standing, company, today),
        _due(standing, asked.filters, company, today),
        _crews(asked.filters, shares, company),
        _meters(asked.filters, today),
    )
    return Digest(
        subject=f"Airflow on {day_text(today)}: {sections[0].sentences[0]}",
        company=company.name,
        on=today,
        sections=sections,
        advice_line=words.ADVICE_LINE,
    )


def as_mail(digest: Digest, *, site_url: str) -> tuple[str, str]:
    """Return the digest as plain text and as HTML, with whole addresses."""
    context = {"digest": digest, "site": site_url, "stop_href": reverse("office:digest")}
    return (
        render_to_string("dashboards/digest_mail.txt", context),
        render_to_string("dashboards/digest_mail.html", context),
    )


def _standing(asked: Asked, share: Share) -> DigestSection:
    change = change_against_before(asked.filters, share)
    stands = fleet_words.standing(share, change, asked)
    if stands is None:
        said: tuple[str, ...] = ("Nothing was measured and judged as left in the last 12 months.",)
    else:
        said = (
            stands.sentence,
            fleet_words.composition_sentence(share),
            fleet_words.before_sentence(change),
        )
    return DigestSection(
        "How things stand", tuple(one for one in said if one), reverse("fleet"), "Fleet"
    )


def _last_week(today: datetime.date) -> DigestSection:
    monday = today - datetime.timedelta(days=today.weekday() + 7)
    sunday = monday + datetime.timedelta(days=6)
    shares = fleet_shares(Filters(from_on=monday, to_on=sunday))
    said = [
        f"From {day_text(monday)} to {day_text(sunday)}: {_week_text(shares.found, 'found')} and "
        f"{_week_text(shares.left, 'left')}."
    ]
    unmeasured = shares.found_outside_without_as_left
    if unmeasured:
        verb = "was" if unmeasured == 1 else "were"
        said.append(
            f"{words.count_of(unmeasured, 'system')} found out of range {verb} not measured as "
            "left."
        )
    if shares.found.total or shares.left.total:
        said.append("One week is few jobs and moves by chance; the twelve months tell more.")
    query = urlencode({"period": "dates", "from": monday.isoformat(), "to": sunday.isoformat()})
    return DigestSection(
        "The week that ended", tuple(said), f"{reverse('fleet')}?{query}", "That week"
    )


def _week_text(share: Share, verb: str) -> str:
    if not share.total:
        return f"nothing was judged as {verb}"
    return f"{share.inside:,} of {words.count_of(share.total, 'job')} {verb} in range"


def _look(standing: Attention, company: House, today: datetime.date) -> DigestSection:
    first = standing.systems[:MOST_ITEMS]
    visits = next_visits([one.system.site_id for one in first], today=today)
    beside = beside_standings(first, today=today)
    planned = {key: f"On {day_text(one.on)}, {one.crew.name}:" for key, one in visits.items()}
    count = len(standing.systems)
    return DigestSection(
        "Needs a look",
        (
            f"{f'{count:,}' if count else 'None'} of "
            f"{words.count_of(standing.looked_at, 'system')}"
            f"{'; these first' if count > MOST_ITEMS else ''}.",
        ),
        reverse("needs-a-look"),
        "All of them",
        tuple(
            DigestItem(
                f"{one.system.tag}, {one.system.site}",
                f"{words.reason_text(one.reasons[0], company.units, today)}. "
                + next_step(
                    one,
                    today=today,
                    units=company.units,
                    planned=planned.get(one.system.site_id, ""),
                    beside=beside.get(one.system.id),
                ),
                reverse("system", args=[one.system.id]),
            )
            for one in first
        ),
    )


def _due(
    standing: Attention, filters: Filters, company: House, today: datetime.date
) -> DigestSection:
    months = company.measure_every_months
    found = due(filters, standing, today=today, months=months, limit=1)
    return DigestSection(
        "Due", (due_words.due_sentence(found, months=months),), reverse("due"), "Due"
    )


def _crews(filters: Filters, shares: FleetShares, company: House) -> DigestSection:
    offered = choices(filters, _MANAGER, shows_small_crews=company.shows_small_crews)
    comparison = crew_comparison(filters, shares=shares)
    shown = [one.named for one in comparison.crews if one.named.id not in offered.small_crew_ids]
    differing = [one for one in shown if one.left_compared and one.left_compared.differs]
    if differing:
        said = tuple(group_words.crew_sentence(one, subject=one.name) for one in differing)
    else:
        said = (group_words.funnel_sentence(shown, comparison.funnel, whole=comparison.left),)
    return DigestSection("Crews", said, reverse("crews"), "Crews")


def _meters(filters: Filters, today: datetime.date) -> DigestSection:
    found = register(filters, today=today)
    if not found.meters:
        said: tuple[str, ...] = ("No meter is on record yet.",)
    else:
        calibrated = calibrations()
        found_off = calibration_words.found_off_in(calibrated, filters)
        said = (
            calibration_words.found_off_sentence(calibrated),
            meter_words.meters_sentence(found, tuple(found_off.values())),
            meter_words.register_sentence(found, today=today),
        )
    return DigestSection("Meters", said, reverse("instruments"), "Instruments")

"""What every page needs: the company, and what its filters offer."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Final
from uuid import UUID

from airflow_jobs.models import Company

from ..access import Viewer
from ..display import Units
from ..values.filters import Choice, Choices, Filters
from .measured import rows

# A longer list helps nobody in a form; the systems page searches.
LONGEST_LIST: Final = 300
SMALL_CREW: Final = 3


@dataclass(frozen=True, slots=True)
class House:
    """The company as the pages need it."""

    name: str
    units: Units
    time_zone: str
    shows_small_crews: bool
    measure_every_months: int


def house() -> House:
    """Return the company's name, units and zone; one statement."""
    company = Company.objects.order_by("pk").first() or Company()
    return House(
        name=company.name,
        units=Units(company.default_units),
        time_zone=company.time_zone,
        shows_small_crews=company.compare_small_crews,
        measure_every_months=company.measure_every_months,
    )


_CHOICES: Final = f"""
(SELECT 'customer' AS what, c.id, c.name, NULL::bigint AS people
 FROM airflow_jobs_customer c
 ORDER BY c.id = %(customer)s DESC NULLS LAST, lower(c.name), c.id LIMIT {LONGEST_LIST} + 1)
UNION ALL
(SELECT 'site', s.id, s.name, NULL FROM airflow_jobs_site s
 WHERE s.id = %(site)s
    OR s.retired_on IS NULL
   AND (s.customer_id = %(customer)s
        OR NOT EXISTS (SELECT FROM airflow_jobs_customer WHERE id = %(customer)s))
 ORDER BY s.id = %(site)s DESC NULLS LAST, lower(s.name), s.id
 LIMIT {LONGEST_LIST} + 1)
UNION ALL
(SELECT 'crew', w.id, w.name,
        (SELECT count(DISTINCT p.person_id) FROM airflow_jobs_crewmembership p
         WHERE p.crew_id = w.id
           AND (%(to_on)s::date IS NULL OR p.from_on <= %(to_on)s)
           AND (%(from_on)s::date IS NULL OR p.to_on IS NULL OR p.to_on >= %(from_on)s))
 FROM airflow_jobs_crew w ORDER BY lower(w.name), w.id)
UNION ALL
(SELECT 'equipment', e.id, '', NULL FROM airflow_jobs_equipment e LIMIT 1)
"""


def choices(filters: Filters, viewer: Viewer, *, shows_small_crews: bool) -> Choices:
    """Return what the filters offer to this viewer; one statement.

    What is chosen is among it if it exists, a site of another customer than the one chosen too.
    """
    found = rows(
        _CHOICES,
        {
            "customer": filters.customer,
            "site": filters.site,
            "from_on": filters.from_on,
            "to_on": filters.to_on,
        },
    )
    small: frozenset[UUID] = frozenset()
    if not shows_small_crews:
        small = frozenset(
            row["id"] for row in found if row["what"] == "crew" and row["people"] < SMALL_CREW
        )

    counts = Counter(row["what"] for row in found)

    def of(what: str, chosen: UUID | None) -> tuple[Choice, ...]:
        listed = sorted(
            (row["name"].lower(), row["name"], row["id"])
            for row in found
            if row["what"] == what
            and (what != "crew" or (row["id"] not in small and viewer.sees_crew(row["id"])))
        )
        if what != "crew" and len(listed) > LONGEST_LIST:
            # What is chosen stays, wherever it comes in the alphabet.
            last = max(at for at, (_, _, key) in enumerate(listed) if key != chosen)
            del listed[last]
        return tuple(Choice(str(key), name, key == chosen) for _, name, key in listed)

    return Choices(
        customers=of("customer", filters.customer),
        sites=of("site", filters.site),
        crews=of("crew", filters.crew),
        cut_lists=frozenset(what for what in ("customer", "site") if counts[what] > LONGEST_LIST),
        small_crew_ids=small,
        other_crew_ids=frozenset(
            row["id"] for row in found if row["what"] == "crew" and not viewer.sees_crew(row["id"])
        ),
        is_empty=not any(row["what"] == "equipment" for row in found),
    )
